package efficiency

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// TestOtherFormulasAgainstEMG checks every column of plates and of Foley and
// Dorsey's formulas against widths, places and moments of the same row.
//
// Tangents, inflection and moments: IUPAC 1993 (Ettre). 10 % width with b/a:
// Foley and Dorsey 1983.
func TestOtherFormulasAgainstEMG(t *testing.T) {
	for _, c := range readNumbers(t, "testdata/emg_reference.csv") {
		tr := Time(c["t_peak"])
		a, b := c["t_peak"]-c["tL_10"], c["tR_10"]-c["t_peak"]
		g := foleyDorsey(c["t_peak"], a, math.Max(a, b)) // equal but for their last digit in the first row
		for _, n := range []struct {
			column string
			got    float64
		}{
			{"N_tangent_16", PlatesTangent(tr, Time(c["w_tangent"]))},
			{"N_tangent_16", PlatesTangent(tr, Time(c["tb_R"]-c["tb_L"]))},
			{"N_infl_4", PlatesAtHeight(math.Exp(-0.5), tr, Time(c["w_60.65"]))},
			{"N_area_height", PlatesAreaHeight(tr, c["h_peak"], 1)},
			{"N_moments", PlatesMoments(Time(c["M1"]), Time(math.Sqrt(c["M2"])))},
			{"N_tpeak2_over_M2", PlatesMoments(tr, Time(math.Sqrt(c["M2"])))},
			{"N_4.4_25", PlatesAtHeight(0.044, tr, Time(c["w_4.4"])) * 25 / (8 * math.Log(1/0.044))},
			{"BA_10", g.Ratio},
			{"N_FoleyDorsey", g.Plates},
			{"FD_sigma", float64(g.Sigma)},
			{"FD_M2", g.Variance},
			{"FD_tau", float64(g.Tau)},
			{"FD_tG", float64(g.Centre)},
			{"FD_M1", float64(g.M1)},
		} {
			// The file has 12 digits. τ is the root of a difference, which
			// magnifies by M2/τ² at the most, 4 here.
			near(t, fmt.Sprintf("τ %v: %s", c["tau"], n.column), n.got, c[n.column], 1e-9*c[n.column], emgSource)
		}
	}
}

func TestMoreFormulasByHand(t *testing.T) {
	for _, tc := range []struct {
		what      string
		got, want float64
		source    string
	}{
		{"tangent", PlatesTangent(300, 24), 2500, "16 · 12.5²"},
		{"area and height", PlatesAreaHeight(10, 2, 10), 2 * math.Pi * 4, "2π · (10 · 2/10)²"},
		{"moments", PlatesMoments(10, 0.5), 400, "(10/0.5)²"},
		{"resolution", Resolution(10, 0.55, 12, 0.6), 2.052174, "1.18 · 2/1.15; USP <621>, Ph. Eur. 2.2.46"},
		{"signal to noise", SignalToNoise(85, 1.7), 100, "2 · 85/1.7; USP <621>, Ph. Eur. 2.2.46"},
		{"peak to valley", PeakToValley(50, 4), 12.5, "50/4"},
	} {
		near(t, tc.what, tc.got, tc.want, 5e-7, tc.source)
	}
	for what, got := range map[string]float64{
		"no base": PlatesTangent(10, 0), "no area": PlatesAreaHeight(10, 1, 0), "negative height": PlatesAreaHeight(10, -1, 1),
		"no deviation": PlatesMoments(10, 0), "no noise": SignalToNoise(10, 0), "no valley": PeakToValley(10, 0),
		"peaks the wrong way round": Resolution(12, 1, 10, 1), "no width": Resolution(10, 0, 12, 1),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s gives %v, want NaN", what, got)
		}
	}
}

// TestFoleyDorseyIsAsGoodAsClaimed compares the formulas with exact peaks of
// nine and more ratios τ/σ: plates against tR²/M2, and σ from a ratio of 1.09.
func TestFoleyDorseyIsAsGoodAsClaimed(t *testing.T) {
	worst, seen := 0.0, 0
	for _, c := range readNumbers(t, "testdata/emg_reference.csv") {
		g, err := FoleyDorsey(Time(c["t_peak"]), Time(c["t_peak"]-c["tL_10"]), Time(c["tR_10"]-c["t_peak"]))
		if c["BA_10"] > 2.76 {
			if err == nil || !strings.Contains(err.Error(), "hold up to 2.76") {
				t.Errorf("ratio %v: %v", c["BA_10"], err)
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		seen++
		n := g.Plates/c["N_tpeak2_over_M2"] - 1
		worst = math.Max(worst, math.Abs(n))
		t.Logf("b/a %.4f: plates %+.2f %%, σ %+.2f %%, against M1²/M2 %+.1f %%", g.Ratio, 100*n, 100*(float64(g.Sigma)/c["sigma"]-1), 100*(g.Plates/c["N_moments"]-1))
		if math.Abs(n) > 0.015 {
			t.Errorf("b/a %.3f: plates wrong by %.2f %%, claimed 1.5 %%", g.Ratio, 100*n)
		}
		if s := float64(g.Sigma)/c["sigma"] - 1; g.Ratio >= 1.09 && math.Abs(s) > 0.008 {
			t.Errorf("b/a %.3f: σ wrong by %.2f %%, claimed 0.8 %%", g.Ratio, 100*s)
		} else if g.Ratio == 1 && math.Abs(s+0.04) > 0.001 {
			t.Errorf("b/a 1: σ wrong by %.2f %%, said to be -4 %%", 100*s)
		}
	}
	if seen < 6 || worst < 0.005 {
		t.Errorf("%d cases, worst error %v: this shows nothing", seen, worst)
	}
}

func TestFoleyDorseyMirrorsAndRefuses(t *testing.T) {
	tail, err := FoleyDorsey(600, 30, 45)
	if err != nil {
		t.Fatal(err)
	}
	front, err := FoleyDorsey(600, 45, 30)
	if err != nil {
		t.Fatal(err)
	}
	if !front.Mirrored || tail.Mirrored || front.Plates != tail.Plates || front.Ratio != 1.5 {
		t.Errorf("tail %+v, front %+v", tail, front)
	}
	near(t, "first moment", float64(front.M1-600), -float64(tail.M1-600), 1e-9, "mirror about the maximum")
	for _, bad := range [][3]Time{{600, 30, 84}, {600, 84, 30}, {0, 30, 40}, {600, 0, 40}, {600, 30, -1}, {Time(math.NaN()), 1, 1}} {
		if g, err := FoleyDorsey(bad[0], bad[1], bad[2]); err == nil {
			t.Errorf("%v gives %+v", bad, g)
		}
	}
}

// footBound returns how far off the foot of a tangent can be that is taken from
// a cubic fitted over a length r to both sides. Beyond its own cubic the peak has
// f4 x⁴/24 + f5 x⁵/120 there. By least squares over -r to r, x⁴ becomes
// (6/7) r² x² - (3/35) r⁴ and x⁵ becomes (10/9) r² x³ - (5/21) r⁴ x: the value is
// off by (3/35) r⁴ f4/24, the slope by (5/21) r⁴ f5/120, and half the second
// derivative by (6/7) r² f4/24, which moves the inflection.
//
// The foot of the tangent at x, x - f/f', does not change with x at the
// inflection (its derivative is f f”/f'²), so that move counts in second order.
// The fit stands about the sample next to the inflection, which is half a step
// off it at most, u = h/2r: the slope there is off by |(12/7) u - 4u³| r³ f4/24.
// The largest derivatives within the fit are taken, and twice the sum, for terms
// of higher order in r.
func footBound(r, h, at, mu, sigma, tau float64) float64 {
	f := made.EMG(at, mu, sigma, tau)
	d1, _, d3 := slopes(at, mu, sigma, tau)
	s, bend := math.Abs(d1), math.Abs(d3)
	f4, f5, d := 0.0, 0.0, 1e-3*sigma
	for i := -20; i <= 20; i++ {
		x := at + float64(i)/20*r
		_, _, a := slopes(x-d, mu, sigma, tau)
		_, _, b := slopes(x, mu, sigma, tau)
		_, _, c := slopes(x+d, mu, sigma, tau)
		f4, f5 = math.Max(f4, math.Abs(c-a)/(2*d)), math.Max(f5, math.Abs(a-2*b+c)/(d*d))
	}
	r2 := r * r
	off := 2 * 6.0 / 7 * r2 * f4 / 24 / bend
	u := h / 2 / r
	return 2 * (3.0/35*r2*r2*f4/24/s + f*math.Abs(12.0/7*u-4*u*u*u)*r*r2*f4/24/(s*s) + f*5.0/21*r2*r2*f5/120/(s*s) + f*bend/(s*s)/2*off*off)
}

func TestSampledMethods(t *testing.T) {
	for _, c := range readNumbers(t, "testdata/emg_reference.csv") {
		mu, sigma, tau := c["mu"], c["sigma"], c["tau"]
		unit := retention04 / mu
		for _, h := range []float64{0.1 * sigma, 0.02 * sigma} {
			p := test04()
			p.Baseline = trace.Baseline{None: true}
			p.Smoothing = Smoothing{Window: 1}
			tr := emgTrace(t, h, mu, sigma, tau)
			p.MomentRange = tr.Span()
			r := evaluate(t, p, tr)
			name := func(what string) string { return fmt.Sprintf("µ %v, τ %v, step %v: %s", mu, tau, h, what) }
			source := emgSource + "; error of the sampling"
			apexErr, _ := sampledErrors(h, c["t_peak"], nil, 0, mu, sigma, tau)

			for _, w := range []struct {
				column   string
				fraction float64
			}{{"60.65", math.Exp(-0.5)}, {"50", 0.5}, {"10", 0.1}, {"5", 0.05}, {"4.4", 0.044}, {"1", 0.01}} {
				n, width, err := r.PlatesAtWidth(w.fraction)
				if err != nil {
					t.Fatal(err)
				}
				left, right := c["tL_"+w.column], c["tR_"+w.column]
				_, e := sampledErrors(h, c["t_peak"], []float64{left, right}, w.fraction, mu, sigma, tau)
				near(t, name("left at "+w.column), width.Left/unit, left, e[0]+1e-9, source)
				near(t, name("right at "+w.column), width.Right/unit, right, e[1]+1e-9, source)
				relative := 2 * (apexErr/c["t_peak"] + (e[0]+e[1])/c["w_"+w.column])
				relative += relative * relative
				want := PlatesAtHeight(w.fraction, Time(c["t_peak"]), Time(c["w_"+w.column]))
				near(t, name("plates at "+w.column), n, want, relative*want+1e-6, source)
				a, b := (r.Apex.X-width.Left)/unit, (width.Right-r.Apex.X)/unit
				relative = (apexErr+e[0])/(c["t_peak"]-left) + (apexErr+e[1])/(right-c["t_peak"])
				relative += relative * relative
				near(t, name("b/a at "+w.column), b/a, c["BA_"+w.column], relative*c["BA_"+w.column]+1e-9, source)
			}

			g, err := r.tangents()
			if err != nil {
				t.Fatal(err)
			}
			m := max(2, r.PointsAboveHalfHeight/8)
			// Samples stand for the length about them: half a step more.
			front := footBound((float64(m)+0.5)*h, h, c["t_infl_L"], mu, sigma, tau)
			back := footBound((float64(m)+0.5)*h, h, c["t_infl_R"], mu, sigma, tau)
			near(t, name("front foot"), g.Front.Foot/unit, c["tb_L"], front+1e-9, source)
			near(t, name("back foot"), g.Back.Foot/unit, c["tb_R"], back+1e-9, source)
			relative := 2 * (apexErr/c["t_peak"] + (front+back)/c["w_tangent"])
			relative += relative * relative
			tangent, err := r.Methods().Method("PlatesTangent")
			if err != nil {
				t.Fatal(err)
			}
			near(t, name("tangent"), tangent.Plates, c["N_tangent_16"], relative*c["N_tangent_16"]+1e-6, source)
			if relative > 0.03 {
				t.Errorf("%s: the bound of %v shows little", name("tangent"), relative)
			}

			// The trapezoidal rule is exact to rounding for a smooth peak; the
			// trace ends 60σ behind µ, where a tail of e^(-60σ/τ) is left.
			cut := 1e-9
			if tau > 0 {
				far := 60 * sigma
				cut += math.Exp(sigma*sigma/(2*tau*tau)-far/tau) * (far*far + 2*far*tau + 2*tau*tau) / c["M2"] * 2
			}
			near(t, name("M1"), r.Moments.Mean/unit, c["M1"], cut*c["M1"], source)
			near(t, name("M2"), r.Moments.Variance/unit/unit, c["M2"], cut*c["M2"], source)
			near(t, name("plates by moments"), r.PlatesMoments, c["N_moments"], 3*cut*c["N_moments"], source)

			// Height: wrong by h³/(9√3) max|f”'|, in sampledErrors.
			third := 0.0
			for i := -20; i <= 20; i++ {
				_, _, d := slopes(c["t_peak"]+float64(i)/20*2*h, mu, sigma, tau)
				third = math.Max(third, math.Abs(d))
			}
			relative = 2 * (h*h*h/(9*math.Sqrt(3))*third/c["h_peak"] + apexErr/c["t_peak"] + cut)
			relative += relative * relative
			near(t, name("height"), r.Height/100, c["h_peak"], relative*c["h_peak"], source)
			area, err := r.Methods().Method("PlatesAreaHeight")
			if err != nil {
				t.Fatal(err)
			}
			near(t, name("area and height"), area.Plates, c["N_area_height"], relative*c["N_area_height"], source)
		}
	}
}

// TestMomentLimits checks how plates by moments depend on the limits.
func TestMomentLimits(t *testing.T) {
	var x, y []float64
	for _, row := range readNumbers(t, "testdata/pulse_trace.csv") {
		x, y = append(x, row["t_min"]*60), append(y, row["signal_clean"])
	}
	tr, err := trace.Make("UV", "mAU", trace.Time, x, y)
	if err != nil {
		t.Fatal(err)
	}
	p := test04()
	p.Flow *= 4 // the peak comes at 10 min
	p.Smoothing, p.Baseline = Smoothing{Window: 1}, trace.Baseline{None: true}
	base := evaluate(t, p, tr)
	list := base.MomentLimits().List
	if len(list) != 5 || list[0].Plates != base.PlatesMoments {
		t.Fatalf("%+v", list)
	}
	// Computed with SciPy over the samples above a fraction of the highest one.
	highest := 0.0
	for _, v := range y {
		highest = math.Max(highest, v)
	}
	for i, want := range []float64{223.3370, 236.8867, 275.0635, 314.8882} {
		one := list[i+1]
		first, last := 0, len(y)-1
		for y[first] < one.Fraction*highest {
			first++
		}
		for y[last] < one.Fraction*highest {
			last--
		}
		p.MomentRange = trace.Range{Axis: trace.Time, From: x[first], To: x[last]}
		near(t, fmt.Sprintf("within the samples above %v", one.Fraction), evaluate(t, p, tr).PlatesMoments, want, 5e-5, "SciPy, seven digits")

		// Between the crossings: the exact integrals of the same peak, by
		// Simpson's rule; the trapezoidal rule's error is step²/12 of the
		// change of the integrand's slope between the limits.
		f := func(u float64) float64 { return made.EMG(u, 10, 0.5, 0.5) }
		a, b := one.Moments.Range.From/60, one.Moments.Range.To/60
		var s [3]float64
		const parts = 4000
		for j := 0; j <= parts; j++ {
			u := a + (b-a)*float64(j)/parts
			w := 2.0 + 2*float64(j%2)
			if j == 0 || j == parts {
				w = 1
			}
			for k := range s {
				s[k] += w * f(u) * math.Pow(u-10, float64(k))
			}
		}
		mean := s[1] / s[0]
		n := (mean + 10) * (mean + 10) / (s[2]/s[0] - mean*mean)
		steep := math.Abs(f(a)-f(a-0.05)) + math.Abs(f(b+0.05)-f(b)) // of 0.05 min
		bound := 0.05 * steep / 12 / (s[0] * (b - a) / parts / 3) * (b - a) * (b - a) / 0.25 * 3
		near(t, fmt.Sprintf("between the crossings at %v", one.Fraction), one.Plates, n, bound*n+1e-6, "Simpson's rule on the exact peak")
		if bound > 0.05 {
			t.Errorf("at %v the bound of %v shows little", one.Fraction, bound)
		}
	}
	for i := 2; i < len(list); i++ {
		if !(list[i].Plates > list[i-1].Plates) {
			t.Errorf("narrower limits give fewer plates: %+v", list)
		}
	}
	for _, f := range []float64{0, 1, math.NaN()} {
		if _, err := base.MomentsAt(f); err == nil {
			t.Errorf("moments at %v of the height", f)
		}
	}
}

func TestMethodsTogether(t *testing.T) {
	// Of a Gaussian all methods say the same.
	r := evaluate(t, test04(), of(t, 4001, 1.2, gaussian))
	want := math.Pow(retention04/86, 2)
	for _, m := range r.Methods().List {
		tol := 2e-3 * want // smoothing over 35 points and the fit of the tangents
		switch m.Name {
		case "PlatesFoleyDorsey":
			tol = 0.0061*want + tol // its own error on a Gaussian
		case "Plates":
			tol = (1-5.54/(8*math.Ln2))*want + tol
		}
		near(t, m.Name, m.Plates, want, tol, "(tR/σ)² as put in")
		near(t, m.Name+" per metre", m.PlatesPerMetre, m.Plates/0.18, 1e-9*m.PlatesPerMetre, "N/L")
		near(t, m.Name+" reduced", m.ReducedPlateHeight, 0.18/m.Plates/90e-6, 1e-9, "L/N/dp")
		if m.Why == "" || m.Title == "" || m.Formula == "" {
			t.Errorf("%s is incomplete", m.Name)
		}
		if _, err := r.Calculation(m.Name); err != nil {
			t.Errorf("%s has no calculation: %v", m.Name, err)
		}
	}
	// Of a strong tail they do not, and Foley and Dorsey's formulas refuse.
	p := test04()
	tail := evaluate(t, p, of(t, 6001, 1.2, func(x float64) float64 { return 1e4 * made.EMG(x, retention04-50, 50, 200) }))
	text := tail.Methods().String()
	for _, want := range []string{"hold up to 2.76", "more than moments", "at 25 cm/h", "asymmetry at 10 %"} {
		if !strings.Contains(strings.Join(strings.Fields(text), " "), want) {
			t.Errorf("not in the table: %q\n%s", want, text)
		}
	}
	if _, err := tail.Calculation("PlatesFoleyDorsey"); err == nil || !strings.Contains(err.Error(), "2.76") {
		t.Errorf("calculation of a refused method: %v", err)
	}
	if _, err := tail.Methods().Method("Plate"); err == nil {
		t.Error("a method without a name")
	}
	// A peak that fronts is mirrored and says so.
	front := evaluate(t, p, of(t, 4001, 1.2, func(x float64) float64 { return 1e4 * made.EMG(4800-x, 4800-retention04-50, 60, 60) }))
	if m, err := front.Methods().Method("PlatesFoleyDorsey"); err != nil || !strings.Contains(m.Why, "fronts") || math.IsNaN(m.Plates) {
		t.Errorf("%+v, %v", m, err)
	}
}

// A long tail falls to 0.1 % of the height far from the peak only.
func TestMomentLimitsFarOut(t *testing.T) {
	f := func(x float64) float64 { return 1e4 * made.EMG(x, retention04-50, 30, 200) }
	r := evaluate(t, test04(), of(t, 8001, 1.2, f))
	list := r.MomentLimits().List
	m := list[1].Moments.Range
	if list[1].Refusal != nil {
		t.Fatal(list[1].Refusal)
	}
	// Beyond four widths at half height; smoothing and straight pieces between
	// samples move a crossing by less than a sample.
	if m.To < r.Apex.X+5*r.Half.Width() {
		t.Errorf("limits %v are not far out: this shows nothing", m)
	}
	near(t, "level there", f(m.To), 0.001*r.Height, 0.0001*r.Height, "the crossing of 0.1 %")
	if again, w, err := r.PlatesAtWidth(0.001); err != nil || w.InnerRight != m.To || !(again > 0) {
		t.Errorf("%v, %v, %v", again, w, err)
	}
}

// Against volume every number is the same.
func TestMethodsAgainstVolume(t *testing.T) {
	p := test04()
	p.ExtraColumn = ExtraColumn{Volume: 0.2 * Litre, Deviation: 0.1 * Litre}
	byTime := evaluate(t, p, of(t, 4001, 1.2, gaussian))
	var x, y []float64
	for i := range 4001 {
		x, y = append(x, float64(p.Flow)*1.2*float64(i)), append(y, gaussian(1.2*float64(i)))
	}
	tr, err := trace.Make("UV", "mAU", trace.Volume, x, y)
	if err != nil {
		t.Fatal(err)
	}
	r := evaluate(t, p, tr)
	for i, m := range r.Methods().List {
		near(t, m.Name, m.Plates, byTime.Methods().List[i].Plates, 1e-6*m.Plates, "flow is constant")
	}
	c, err := r.Corrected()
	if err != nil {
		t.Fatal(err)
	}
	d, err := byTime.Corrected()
	if err != nil {
		t.Fatal(err)
	}
	for i := range c.List {
		near(t, "corrected", c.List[i].Plates, d.List[i].Plates, 1e-6*d.List[i].Plates, "flow is constant")
	}
	if _, err := r.Calculation("PlatesCorrected"); err != nil {
		t.Error(err)
	}
}
