package efficiency

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

func near(t *testing.T, what string, got, want, tol float64, source string) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %v, want %v ± %.3g (%s)", what, got, want, tol, source)
	}
}

// table reads a CSV of numbers as maps from column to value.
func readNumbers(t *testing.T, file string) []map[string]float64 {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]float64
	for _, row := range rows[1:] {
		m := map[string]float64{}
		for j, cell := range row {
			if m[rows[0][j]], err = strconv.ParseFloat(cell, 64); err != nil {
				t.Fatal(err)
			}
		}
		out = append(out, m)
	}
	return out
}

const emgSource = "emg_reference.csv: mpmath at 40 digits, cross-checked with SciPy exponnorm"

func TestFormulasAgainstEMG(t *testing.T) {
	// The file has 12 digits, so widths and places carry 5e-12 and numbers made
	// of them 1e-9 at most.
	cases := readNumbers(t, "testdata/emg_reference.csv")
	if len(cases) != 9 {
		t.Fatalf("%d cases, want 9", len(cases))
	}
	for _, c := range cases {
		tr := Time(c["t_peak"])
		for _, n := range []struct {
			column string
			got    float64
		}{
			{"N_half_5.54", Plates(tr, Time(c["w_50"]))},
			{"N_half_8ln2", PlatesAtHeight(0.5, tr, Time(c["w_50"]))},
			{"N_10_8ln10", PlatesAtHeight(0.1, tr, Time(c["w_10"]))},
			{"N_5_8ln20", PlatesAtHeight(0.05, tr, Time(c["w_5"]))},
			{"As_10", Asymmetry(tr-Time(c["tL_10"]), Time(c["tR_10"])-tr)},
			{"S_5", SymmetryFactor(Time(c["w_5"]), tr-Time(c["tL_5"]))},
		} {
			near(t, fmt.Sprintf("τ %v: %s", c["tau"], n.column), n.got, c[n.column], 1e-9*c[n.column], emgSource)
		}
	}
}

func TestFormulasByHand(t *testing.T) {
	for _, tc := range []struct {
		what      string
		got, want float64
		source    string
	}{
		{"Plates", Plates(300, 12), 3462.5, "by hand: 5.54 · 25²"},
		{"Plates, other unit", Plates(5*Minute, 12*Second), 3462.5, "same peak in minutes"},
		{"PlatesAtHeight 0.5", PlatesAtHeight(0.5, 300, 12), 3465.7359, "by hand: 8 ln 2 · 25²"},
		{"PlatesAtHeight 0.044", PlatesAtHeight(0.044, 5, 5), 24.98853, "8 ln(1/0.044), the 5σ rule's 25"},
		{"Asymmetry", Asymmetry(2, 3), 1.5, "definition"},
		{"SymmetryFactor", SymmetryFactor(5, 2), 1.25, "definition"},
	} {
		near(t, tc.what, tc.got, tc.want, 1e-4, tc.source)
	}
	for what, got := range map[string]float64{
		"no width": Plates(10, 0), "negative retention": Plates(-1, 1), "not a number": Plates(Time(math.NaN()), 1),
		"fraction 1": PlatesAtHeight(1, 10, 1), "fraction 0": PlatesAtHeight(0, 10, 1),
		"no front": Asymmetry(0, 1), "no back": Asymmetry(1, 0), "no half": SymmetryFactor(1, 0),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s gives %v, want NaN", what, got)
		}
	}
}

// column04 is the demonstration column, and test its pulse test, for a bed in
// which a peak at 10 min comes after 0.93 column volumes.
func column04() packing.Column {
	return packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre}
}

func test04() Pulse {
	c := column04()
	return Pulse{Column: c, BedHeight: 18 * Centimetre, Flow: c.Flow(25 * CentimetrePerHour),
		MeanBead: 90 * Micrometre, SampleVolume: c.Volume(18*Centimetre) / 100}
}

// retention04 is where a peak with its µ there comes after 0.93 column volumes
// in test04.
const retention04 = 2400.0 // s

// emgTrace returns a peak of area 100 sampled at a step, its time scaled so that
// µ is at retention04.
func emgTrace(t testing.TB, step, mu, sigma, tau float64) trace.Trace {
	t.Helper()
	n := int((mu+60*sigma)/step) + 1
	x, y := make([]float64, n), make([]float64, n)
	for i := range x {
		u := float64(i) * step
		x[i], y[i] = u*retention04/mu, 100*made.EMG(u, mu, sigma, tau)
	}
	tr, err := trace.Make("UV", "mAU", trace.Time, x, y)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

// slopes returns the first three derivatives of the EMG of area 1 at x, from
// τf' = g - f with g the Gaussian; for τ = 0 those of the Gaussian itself.
func slopes(x, mu, sigma, tau float64) (d1, d2, d3 float64) {
	z := (x - mu) / sigma
	g := math.Exp(-z*z/2) / (sigma * math.Sqrt(2*math.Pi))
	g1 := -z / sigma * g
	g2 := (z*z - 1) / (sigma * sigma) * g
	g3 := -z * (z*z - 3) / (sigma * sigma * sigma) * g
	if tau == 0 {
		return g1, g2, g3
	}
	d1 = (g - made.EMG(x, mu, sigma, tau)) / tau
	d2 = (g1 - d1) / tau
	d3 = (g2 - d2) / tau
	return d1, d2, d3
}

// sampledErrors returns bounds of the errors that sampling at a step makes in
// the place of the apex and of the crossings, without smoothing.
//
// Apex: a parabola through three samples has a slope wrong by h²/3 max|f”'| at
// most between them (the derivative of the interpolation error f”' (x-x0)
// (x-x1)(x-x2)/6), which shifts its maximum by that over the least curvature.
// Its height is wrong by h³/(9√3) max|f”'| at most.
//
// Crossing: a straight line between samples is wrong by h²/8 max|f”| at most,
// and the level by its fraction of the height's error; both over the least
// slope.
func sampledErrors(h, apex float64, crossings []float64, fraction, mu, sigma, tau float64) (apexErr float64, crossErr []float64) {
	extreme := func(at float64, pick func(d1, d2, d3 float64) float64, largest bool) float64 {
		best := math.NaN()
		for i := -20; i <= 20; i++ {
			v := math.Abs(pick(slopes(at+float64(i)/20*2*h, mu, sigma, tau)))
			if math.IsNaN(best) || largest == (v > best) {
				best = v
			}
		}
		return best
	}
	third := extreme(apex, func(_, _, d3 float64) float64 { return d3 }, true)
	bend := extreme(apex, func(_, d2, _ float64) float64 { return d2 }, false)
	apexErr = h * h / 3 * third / bend
	heightErr := h * h * h / (9 * math.Sqrt(3)) * third
	for _, x := range crossings {
		curve := extreme(x, func(_, d2, _ float64) float64 { return d2 }, true)
		steep := extreme(x, func(d1, _, _ float64) float64 { return d1 }, false)
		crossErr = append(crossErr, (h*h/8*curve+fraction*heightErr)/steep)
	}
	return apexErr, crossErr
}

func TestSampledEMG(t *testing.T) {
	for _, c := range readNumbers(t, "testdata/emg_reference.csv") {
		mu, sigma, tau := c["mu"], c["sigma"], c["tau"]
		unit := retention04 / mu // seconds in the file's unit of time
		for _, h := range []float64{0.1 * sigma, 0.02 * sigma} {
			p := test04()
			p.Baseline = trace.Baseline{None: true}
			p.Smoothing = Smoothing{Window: 1}
			r, err := p.Evaluate(emgTrace(t, h, mu, sigma, tau))
			if err != nil {
				t.Fatalf("µ %v, τ %v, step %v: %v", mu, tau, h, err)
			}
			name := func(what string) string { return fmt.Sprintf("µ %v, τ %v, step %v: %s", mu, tau, h, what) }
			source := emgSource + "; error of the sampling"

			apexErr, half := sampledErrors(h, c["t_peak"], []float64{c["tL_50"], c["tR_50"]}, 0.5, mu, sigma, tau)
			near(t, name("apex"), r.Retention.In(Second)/unit, c["t_peak"], apexErr+1e-9, source)
			wide := half[0] + half[1]
			near(t, name("width at half height"), r.Half.Width()/unit, c["w_50"], wide+1e-9, source)
			relative := 2 * (apexErr/c["t_peak"] + wide/c["w_50"])
			relative += relative * relative // the square of a sum, to second order
			near(t, name("plates 5.54"), r.Plates, c["N_half_5.54"], relative*c["N_half_5.54"]+1e-6, source)
			near(t, name("plates 8 ln 2"), r.PlatesExact, c["N_half_8ln2"], relative*c["N_half_8ln2"]+1e-6, source)

			a, b := c["t_peak"]-c["tL_10"], c["tR_10"]-c["t_peak"]
			_, tenth := sampledErrors(h, c["t_peak"], []float64{c["tL_10"], c["tR_10"]}, 0.1, mu, sigma, tau)
			relative = (apexErr+tenth[0])/a + (apexErr+tenth[1])/b
			relative += relative * relative
			near(t, name("asymmetry"), r.Asymmetry, c["As_10"], relative*c["As_10"]+1e-9, source)

			d := c["t_peak"] - c["tL_5"]
			_, fifth := sampledErrors(h, c["t_peak"], []float64{c["tL_5"], c["tR_5"]}, 0.05, mu, sigma, tau)
			relative = (fifth[0]+fifth[1])/c["w_5"] + (apexErr+fifth[0])/d
			relative += relative * relative
			near(t, name("symmetry factor"), r.SymmetryFactor, c["S_5"], relative*c["S_5"]+1e-9, source)
		}
	}
}

func TestMomentsOfTheSampledTrace(t *testing.T) {
	var x, clean, drifting []float64
	for _, row := range readNumbers(t, "testdata/pulse_trace.csv") {
		x = append(x, row["t_min"]*60)
		clean = append(clean, row["signal_clean"])
		drifting = append(drifting, row["signal_with_linear_baseline"])
	}
	source := "pulse_trace.csv: µ + τ, σ² + τ² and M1²/M2; the trapezoidal rule on a smooth peak is exact to the file's 10 digits"
	tr, err := trace.Make("UV", "mAU", trace.Time, x, clean)
	if err != nil {
		t.Fatal(err)
	}
	p := test04()
	p.Flow *= 4 // the peak comes at 10 min
	p.Smoothing = Smoothing{Window: 1}
	p.Baseline = trace.Baseline{None: true}
	p.MomentRange = tr.Span()
	r, err := p.Evaluate(tr)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "M1", r.Moments.Mean/60, 10.5, 1e-8, source)
	near(t, "M2", r.Moments.Variance/3600, 0.5, 1e-8, source)
	near(t, "N by moments", r.PlatesMoments, 220.5, 1e-5, source)

	// The same on a straight rising baseline, taken away.
	if tr, err = trace.Make("UV", "mAU", trace.Time, x, drifting); err != nil {
		t.Fatal(err)
	}
	p.Baseline = trace.Baseline{}
	if r, err = p.Evaluate(tr); err != nil {
		t.Fatal(err)
	}
	near(t, "M1 on a baseline", r.Moments.Mean/60, 10.5, 1e-6, source)
	near(t, "N by moments on a baseline", r.PlatesMoments, 220.5, 1e-3, source)

	// From the first to the last sample above a tenth of the height: limits
	// matter, and are reported.
	first, last := math.Ceil(r.Tenth.Left/3)*3, math.Floor(r.Tenth.Right/3)*3
	p.MomentRange = trace.Range{Axis: trace.Time, From: first - 1e-6, To: last + 1e-6}
	if r, err = p.Evaluate(tr); err != nil {
		t.Fatal(err)
	}
	near(t, "N cut at 10 % of the height", r.PlatesMoments, 314.8882, 1e-3, "computed with SciPy over the samples above a tenth")
	if r.Moments.Range != p.MomentRange {
		t.Errorf("moments reported from %v, asked for %v", r.Moments.Range, p.MomentRange)
	}
}
