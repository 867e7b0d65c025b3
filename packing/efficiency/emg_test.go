package efficiency

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/fit"
	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// rows reads a CSV file of testdata; lines with # are remarks. See the README
// there for where the numbers come from.
func rows(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, line := range all[1:] {
		m := map[string]string{}
		for i, name := range all[0] {
			m[name] = line[i]
		}
		out = append(out, m)
	}
	return out
}

func num(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestEMGFunctions(t *testing.T) {
	kinds := map[string]int{}
	for _, row := range rows(t, "emg_functions.csv") {
		kinds[row["kind"]]++
		x, want := num(t, row["t"]), num(t, row["value"])
		if row["kind"] == "erfcx" {
			if got := erfcx(x); math.Abs(got/want-1) > 1e-15*5 {
				t.Errorf("erfcx(%v) is %.17g, want %.17g", x, got, want)
			}
			continue
		}
		e := EMG{1, num(t, row["mu"]), num(t, row["sigma"]), num(t, row["tau"])}
		s := math.Sqrt(e.Variance())
		// Absolute errors count: 1e-13 of the height for the peak; the
		// derivatives lose (σ/τ)² or so by cancelling where τ is small.
		if got := e.At(x); math.Abs(got-want) > 1e-13/s {
			t.Errorf("%+v at %v is %.17g, want %.17g", e, x, got, want)
		}
		var g [4]float64
		e.Gradient(x, g[:])
		for i, name := range []string{"by_mu", "by_sigma", "by_tau"} {
			if want := num(t, row[name]); math.Abs(g[i+1]-want) > 3e-11/(s*s) {
				t.Errorf("%+v at %v, %s: %.15g, want %.15g", e, x, name, g[i+1], want)
			}
		}
		if got := e.At(x); math.Abs(g[0]-got) > 1e-15 {
			t.Errorf("the derivative by area is %v, for an area of 1 that is the peak itself, %v", g[0], got)
		}
	}
	if kinds["erfcx"] != 20 || kinds["emg"] != 64 {
		t.Errorf("read %v", kinds)
	}
}

// sampled returns a peak as trace, made by the formula that the invented data
// are made with, which is written down apart from the one that is fitted.
func sampled(t testing.TB, e EMG, n int, noise float64, ground func(x float64) float64, seed uint64) trace.Trace {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 5))
	s := math.Sqrt(e.Variance())
	from, to := e.Mean()-9*s, e.Mean()+13*s
	x, y := make([]float64, n), make([]float64, n)
	for i := range x {
		x[i] = from + (to-from)*float64(i)/float64(n-1)
		at := x[i]
		if e.Tau < 0 {
			at = 2*e.Mu - at
		}
		y[i] = e.Area*made.EMG(at, e.Mu, e.Sigma, math.Abs(e.Tau)) + noise*r.NormFloat64()
		if ground != nil {
			y[i] += ground(x[i])
		}
	}
	tr, err := trace.Make("UV", "mAU", trace.Time, x, y)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

func mustEMG(t testing.TB, f EMGFit, tr trace.Trace) EMGResult {
	t.Helper()
	r, err := f.Evaluate(tr)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestEMGReference fits the nine peaks without noise: what follows from the fit
// must be what mpmath has for the peak. The Gaussian has no τ that could be
// found; its cube of τ comes out as zero to rounding, which leaves τ below a
// thousandth of σ.
func TestEMGReference(t *testing.T) {
	cases := rows(t, "emg_reference.csv")
	if len(cases) != 9 {
		t.Fatalf("%d cases", len(cases))
	}
	for _, row := range cases {
		get := func(name string) float64 { return num(t, row[name]) }
		want := EMG{1, get("mu"), get("sigma"), get("tau")}
		r := mustEMG(t, EMGFit{}, sampled(t, want, 1000, 0, nil, 1))
		s := math.Sqrt(want.Variance())
		check := func(name string, got, want, size float64) {
			t.Helper()
			if !(math.Abs(got-want) <= 1e-8*size) {
				t.Errorf("τ/σ %s, %s: %.12g, want %.12g", row["tau_over_sigma"], name, got, want)
			}
		}
		if want.Tau == 0 {
			if math.Abs(r.Tau.Value) > 1e-3*want.Sigma {
				t.Errorf("Gaussian: τ is %v", r.Tau.Value)
			}
		} else {
			check("mu", r.Mu.Value, want.Mu, s)
			check("sigma", r.Sigma.Value, want.Sigma, s)
			check("tau", r.Tau.Value, want.Tau, s)
		}
		check("area", r.Area.Value, 1, 1)
		check("M1", r.Mean.Value, get("M1"), s)
		check("M2", r.Variance.Value, get("M2"), get("M2"))
		check("N_moments", r.Plates.Value, get("N_moments"), get("N_moments"))
		check("t_peak", r.Top.Value, get("t_peak"), s)
		check("h_peak", r.Height.Value, get("h_peak"), get("h_peak"))
		check("w_50", r.HalfWidth.Value, get("w_50"), s)
		check("a at 10 %", r.TenthFront.Value, get("t_peak")-get("tL_10"), s)
		check("b at 10 %", r.TenthBack.Value, get("tR_10")-get("t_peak"), s)
		check("As_10", r.Asymmetry.Value, get("As_10"), get("As_10"))
		if r.Fit.Status != fit.Converged || r.R2 < 1-1e-12 {
			t.Errorf("τ/σ %s: %v, R² %v", row["tau_over_sigma"], r.Fit.Status, r.R2)
		}
	}
}

// TestEMGErrors compares standard errors with a search over the parameters of
// the formula itself, with written derivatives on a ground of its own.
func TestEMGErrors(t *testing.T) {
	for _, tau := range []float64{0.4, 1, 2.5, -0.8} {
		truth := EMG{50, 30, 1, tau}
		tr := sampled(t, truth, 600, 0.05, func(x float64) float64 { return 2 + 0.05*x }, 3)
		r := mustEMG(t, EMGFit{}, tr)
		name := []string{"area", "µ", "σ", "τ"}
		direct, err := fit.Curve{
			Model: func(x float64, p []float64) float64 { return EMG{p[0], p[1], p[2], p[3]}.At(x) + p[4] + p[5]*x },
			Gradient: func(x float64, p, g []float64) {
				EMG{p[0], p[1], p[2], p[3]}.Gradient(x, g)
				g[4], g[5] = 1, x
			},
			Params: []fit.Param{{Name: "area", Start: 50}, {Name: "µ", Start: 30}, {Name: "σ", Start: 1, Bounds: fit.AtLeast(0.1)}, {Name: "τ", Start: tau},
				{Name: "level", Start: 2}, {Name: "slope", Start: 0.05}},
			X: tr.Positions(), Y: tr.Values(),
		}.Fit()
		if err != nil || !direct.Converged() {
			t.Fatalf("τ %v: %v, %v", tau, direct.Status, err)
		}
		for i, u := range []Uncertain{r.Area, r.Mu, r.Sigma, r.Tau} {
			e := direct.Params[i]
			if math.Abs(u.Value-e.Value) > 1e-3*e.StdErr || math.Abs(u.StdErr/e.StdErr-1) > 1e-4 {
				t.Errorf("τ %v, %s: %.8g ± %.6g, searched for directly %.8g ± %.6g", tau, name[i], u.Value, u.StdErr, e.Value, e.StdErr)
			}
			want := []float64{truth.Area, truth.Mu, truth.Sigma, truth.Tau}[i]
			if math.Abs(u.Value-want) > 5*u.StdErr {
				t.Errorf("τ %v, %s: %v is far from %v", tau, name[i], u, want)
			}
		}
		// Derived numbers against numerical derivatives of the same by the
		// parameters of the formula.
		for what, x := range map[string]struct {
			got Uncertain
			of  func(e EMG, m marks, s float64) float64
		}{
			"plates":     {r.Plates, func(e EMG, m marks, s float64) float64 { return e.Plates() }},
			"top":        {r.Top, func(e EMG, m marks, s float64) float64 { return e.Mean() + s*m.top }},
			"height":     {r.Height, func(e EMG, m marks, s float64) float64 { return e.Area / s * m.height }},
			"half width": {r.HalfWidth, func(e EMG, m marks, s float64) float64 { return s * (m.halfRight - m.halfLeft) }},
			"asymmetry":  {r.Asymmetry, func(e EMG, m marks, s float64) float64 { return (m.tenthRight - m.top) / (m.top - m.tenthLeft) }},
		} {
			v, e := direct.Derived(func(p []float64) float64 {
				peak := EMG{p[0], p[1], p[2], p[3]}
				s := math.Sqrt(peak.Variance())
				shape := newShape(peak.Tau/s, peak.Sigma/s)
				return x.of(peak, shape.marks(), s)
			})
			if math.Abs(x.got.Value-v) > 1e-3*e || math.Abs(x.got.StdErr/e-1) > 1e-3 {
				t.Errorf("τ %v, %s: %.8g ± %.6g, from the direct search %.8g ± %.6g", tau, what, x.got.Value, x.got.StdErr, v, e)
			}
		}
		if len(r.Warnings) != 0 && tau > 0 || r.Noise < 0.045 || r.Noise > 0.055 || math.Abs(r.ResidualSD-0.05) > 0.005 || math.Abs(r.Lag1) > 0.25 {
			t.Errorf("τ %v: noise %v, residual %v, correlation %v, %v", tau, r.Noise, r.ResidualSD, r.Lag1, r.Warnings)
		}
	}
}

// TestEMGLaws: a mirrored peak mirrors the numbers; scales of both axes and of
// the ground do what they must.
func TestEMGLaws(t *testing.T) {
	base := sampled(t, EMG{50, 30, 1, 0.8}, 500, 0.05, nil, 9)
	r := mustEMG(t, EMGFit{}, base)
	x, y := base.Positions(), base.Values()
	n := len(x)
	change := func(f func(i int) (float64, float64)) EMGResult {
		xs, ys := make([]float64, n), make([]float64, n)
		for i := range n {
			xs[i], ys[i] = f(i)
		}
		tr, err := trace.Make("UV", "mAU", trace.Volume, xs, ys)
		if err != nil {
			t.Fatal(err)
		}
		return mustEMG(t, EMGFit{}, tr)
	}
	same := func(what string, a, b Uncertain, scale float64) {
		t.Helper()
		if math.Abs(a.Value-scale*b.Value) > 1e-4*math.Abs(scale)*b.StdErr || math.Abs(a.StdErr/(math.Abs(scale)*b.StdErr)-1) > 1e-5 {
			t.Errorf("%s: %.10g ± %.6g, want %.10g ± %.6g", what, a.Value, a.StdErr, scale*b.Value, math.Abs(scale)*b.StdErr)
		}
	}
	mirrored := change(func(i int) (float64, float64) { return 60 - x[n-1-i], y[n-1-i] })
	same("mirrored τ", mirrored.Tau, r.Tau, -1)
	same("mirrored σ", mirrored.Sigma, r.Sigma, 1)
	same("mirrored a", mirrored.TenthFront, r.TenthBack, 1)
	if len(mirrored.Warnings) != 1 || !strings.Contains(mirrored.Warnings[0].What, "fronts") {
		t.Errorf("a fronting peak: %v", mirrored.Warnings)
	}
	small := change(func(i int) (float64, float64) { return 1e-6 * x[i], 1e4 * y[i] })
	same("τ in small units", small.Tau, r.Tau, 1e-6)
	same("area", small.Area, r.Area, 1e-2)
	same("plates", small.Plates, r.Plates, 1)
	same("asymmetry", small.Asymmetry, r.Asymmetry, 1)
	down := change(func(i int) (float64, float64) { return x[i], 7 - 0.1*x[i] - y[i] })
	same("height of a peak that points down", down.Height, r.Height, -1)
	same("its τ", down.Tau, r.Tau, 1)
	if len(down.Warnings) != 1 || !strings.Contains(down.Warnings[0].What, "points down") {
		t.Errorf("a peak that points down: %v", down.Warnings)
	}
}

func TestEMGWarnings(t *testing.T) {
	seen := func(r EMGResult, want string) {
		t.Helper()
		for _, w := range r.Warnings {
			if strings.Contains(w.What, want) {
				return
			}
		}
		t.Errorf("no warning has %q: %v", want, r.Warnings)
	}
	gauss := mustEMG(t, EMGFit{}, sampled(t, EMG{50, 30, 1, 0}, 500, 0.1, nil, 2))
	seen(gauss, "Gaussian within its noise")
	if math.Abs(gauss.Mean.Value-30) > 4*gauss.Mean.StdErr || math.Abs(gauss.Variance.Value-1) > 4*gauss.Variance.StdErr {
		t.Errorf("a Gaussian: %v, %v", gauss.Mean, gauss.Variance)
	}
	// Two columns in one: another shape.
	two := sampled(t, EMG{30, 30, 1, 0.5}, 800, 0.05, func(x float64) float64 { return 20 * made.EMG(x, 33, 1, 0.5) }, 2)
	r := mustEMG(t, EMGFit{}, two)
	seen(r, "Neighbouring residuals")
	seen(r, "misses the trace")
}

func TestEMGRefusals(t *testing.T) {
	good := sampled(t, EMG{50, 30, 1, 0.8}, 500, 0.05, nil, 9)
	ramp := func(n int) trace.Trace {
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = float64(i), float64(i*i)
		}
		tr, err := trace.Make("ramp", "", trace.Time, x, y)
		if err != nil {
			t.Fatal(err)
		}
		return tr
	}
	for _, tc := range []struct {
		want string
		f    EMGFit
		tr   trace.Trace
	}{
		{"has 5 points", EMGFit{}, ramp(5)},
		{"no peak to fit", EMGFit{Ground: WithoutGround}, ramp(50)},
		{"unknown ground", EMGFit{Ground: 7}, good},
		{"runs against time", EMGFit{Range: trace.Volumes(0, 1)}, good},
	} {
		r, err := tc.f.Evaluate(tc.tr)
		if err == nil || !strings.Contains(err.Error(), tc.want) || !strings.Contains(r.String(), tc.want) {
			t.Errorf("%v does not say %q", err, tc.want)
		}
	}
	if _, err := (PulseResult{}).EMG(); err == nil {
		t.Error("an empty pulse test was fitted")
	}
	var zero EMGResult
	if !strings.Contains(zero.String(), "nothing has been fitted") || zero.Page().SVG() != "" {
		t.Errorf("the zero result shows %q", zero.String())
	}
}

func TestEMGOfPulse(t *testing.T) {
	p, tr := bench10k(t)
	pulse, err := p.Evaluate(tr)
	if err != nil {
		t.Fatal(err)
	}
	r, err := pulse.EMG()
	if err != nil {
		t.Fatal(err)
	}
	// The trace was made with these; the line under it is known to a few 1e-5.
	for i, u := range []Uncertain{r.Area, r.Mu, r.Sigma, r.Tau} {
		if want := []float64{1000, 600, 18, 9}[i]; math.Abs(u.Value/want-1) > 5e-4 {
			t.Errorf("number %d: %v, want about %v", i, u, want)
		}
	}
	if math.Abs(r.Plates.Value/pulse.PlatesMoments-1) > 2e-3 || math.Abs(r.Asymmetry.Value-pulse.Asymmetry) > 5e-3 {
		t.Errorf("plates %v and %v, asymmetry %v and %v", r.Plates, pulse.PlatesMoments, r.Asymmetry, pulse.Asymmetry)
	}
	_ = Second
}

func TestEMGCalculation(t *testing.T) {
	r := mustEMG(t, EMGFit{}, sampled(t, EMG{1, 600, 30, 15}, 1000, 0, nil, 1))
	// By hand: µ 10 min, σ 0.5 min, τ 0.25 min; N = 10.25²/0.3125 = 336.2.
	for name, want := range map[string]string{
		"Mean":     `10.000 + 0.25000 = 10.250\,\mathrm{min}`,
		"variance": `(0.50000)^2 + (0.25000)^2 = 0.31250\,\mathrm{min}^2`,
		"Plates":   `\frac{(10.250)^2}{0.31250} = 336`,
	} {
		if c, err := r.Calculation(name); err != nil || c.Numbers != want {
			t.Errorf("%s: %s, want %s (%v)", name, c.Numbers, want, err)
		}
	}
	if _, err := r.Calculation("x"); err == nil || !strings.Contains(err.Error(), "Mean, Variance, Plates, Asymmetry") {
		t.Errorf("an unknown name: %v", err)
	}
	if _, err := (EMGResult{}).Calculation("Mean"); err == nil {
		t.Error("an empty result has a calculation")
	}
}

// TestEMGAllocations: the evaluation of all points and their derivatives
// allocates nothing.
func TestEMGAllocations(t *testing.T) {
	tr := sampled(t, EMG{50, 30, 1, 0.8}, 500, 0.05, nil, 9)
	m := newEMGModel(tr, SlopedGround)
	out, j := make([]float64, 500), make([]float64, 6*500)
	q := 0.3
	if n := testing.AllocsPerRun(20, func() {
		q += 1e-3
		p := [6]float64{50, 31, 1.3, q, 0, 0}
		m.residuals(p[:], out)
		m.jacobian(p[:], j)
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}
