package efficiency

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// noisy returns a tailing peak, 50 high, with seeded noise.
func noisy(t testing.TB, n int, noise float64) trace.Trace {
	t.Helper()
	r := rand.New(rand.NewPCG(21, 1))
	top := 0.0
	for x := 2300.0; x < 2600; x++ {
		top = math.Max(top, made.EMG(x, 2400, 70, 50))
	}
	return of(t, n, 4800/float64(n-1), func(x float64) float64 { return 50/top*made.EMG(x, 2400, 70, 50) + noise*r.NormFloat64() })
}

func uncertainty(t testing.TB, r PulseResult, name string) Uncertainty {
	t.Helper()
	u, err := r.Uncertainty().Of(name)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// TestFirstOrder moves every sample of a trace in turn and evaluates it again:
// the root of the sum of squares of what that does to a number, times the
// noise, is its standard error by definition.
func TestFirstOrder(t *testing.T) {
	for _, window := range []int{1, 5, 11} {
		tr := noisy(t, 501, 0.002)
		p := test04()
		p.Smoothing.Window = window
		r := evaluate(t, p, tr)
		again := func(y []float64) measured {
			m, err := r.again(tr.Positions(), y)
			if err != nil {
				t.Fatal(err)
			}
			return m
		}
		const d = 1e-4
		var up, down []measured
		for i := range tr.Len() {
			y := tr.Values()
			y[i] += d
			up = append(up, again(y))
			y[i] -= 2 * d
			down = append(down, again(y))
		}
		list := r.Uncertainty()
		for k, f := range r.functions() {
			sum := 0.0
			for i := range up {
				g := (f.of(&r, up[i]) - f.of(&r, down[i])) / (2 * d)
				sum += g * g
			}
			want := r.Baseline.Noise * math.Sqrt(sum)
			if r.spread.lag > 0 {
				t.Fatalf("the noise is white, but a correlation of %v was seen", r.spread.lag)
			}
			// The slopes are taken over half a window on both sides. 5 is the
			// usual window of this peak, 11 half its width.
			tolerance := 0.02
			if window == 11 {
				tolerance = 0.06
			}
			near(t, fmt.Sprintf("window %d, %s", window, f.name), list[k].StdErr, want, tolerance*want, "every sample moved in turn")
		}
	}
}

// TestLaws: how errors must scale.
func TestLaws(t *testing.T) {
	p := test04()
	base := evaluate(t, p, noisy(t, 1201, 0.05)).Uncertainty()
	twice := evaluate(t, p, noisy(t, 1201, 0.1)).Uncertainty()
	x, y := noisy(t, 1201, 0.05).Positions(), noisy(t, 1201, 0.05).Values()
	for i := range x {
		x[i] *= 7
		y[i] = 3 * y[i]
	}
	tr, err := trace.Make("UV", "mAU", trace.Time, x, y)
	if err != nil {
		t.Fatal(err)
	}
	p.Flow /= 7
	scaled := evaluate(t, p, tr).Uncertainty()
	for i, u := range base {
		near(t, u.Name+" of twice the noise", twice[i].StdErr, 2*u.StdErr, 0.1*u.StdErr, "the first order; slopes differ a little")
		near(t, u.Name+" of another scale", scaled[i].StdErr/scaled[i].Value, u.StdErr/u.Value, 1e-6*u.StdErr/u.Value, "a relative error has no unit")
		if !(u.Low < u.Value && u.Value < u.High) || !u.Reliable() {
			t.Errorf("%v", u)
		}
	}
	n, _ := base.Of("Plates")
	h, _ := base.Of("HETP")
	near(t, "HETP", h.StdErr/h.Value, n.StdErr/n.Value, 1e-3*n.StdErr/n.Value, "H = L/N")
	near(t, "HETP from", h.Low*n.High, 180, 1e-3, "H = L/N at the ends of the interval")
}

// TestBootstrapAgrees compares both ways where both hold.
func TestBootstrapAgrees(t *testing.T) {
	p := test04()
	tr := noisy(t, 601, 0.02)
	first := evaluate(t, p, tr).Uncertainty()
	p.Bootstrap = Bootstrap{Traces: 800, Seed: 3}
	drawn := evaluate(t, p, tr)
	for i, u := range drawn.Uncertainty() {
		// The scatter of a standard error from 800 traces by percentiles is
		// 3.5 %, of a percentile at the end of the interval 5 %.
		se := first[i].StdErr
		near(t, u.Name, u.StdErr, se, 0.15*se, "first order")
		near(t, u.Name+" from", u.Low, first[i].Low, 0.4*se, "first order")
		near(t, u.Name+" to", u.High, first[i].High, 0.4*se, "first order")
		if u.Value != first[i].Value || u.How != "bootstrap of 800 traces" || !u.Reliable() {
			t.Errorf("%v, %s", u, u.How)
		}
	}
	same, other := evaluate(t, p, tr), p
	other.Bootstrap.Seed++
	if same.String() != drawn.String() || same.Uncertainty().String() != drawn.Uncertainty().String() {
		t.Error("the same seed gives other numbers")
	}
	if evaluate(t, other, tr).PlatesPerMetreStdErr == drawn.PlatesPerMetreStdErr {
		t.Error("another seed gives the same numbers")
	}
}

// TestBootstrapSaysSo: values far off among the resampled traces.
func TestBootstrapSaysSo(t *testing.T) {
	p := test04()
	p.Bootstrap.Traces = 200
	u := uncertainty(t, evaluate(t, p, noisy(t, 281, 2)), "Asymmetry")
	if u.Reliable() {
		t.Errorf("%v", u)
	}
	for _, traces := range []int{-1, 1, 99, 1_000_000} {
		p.Bootstrap.Traces = traces
		if _, err := p.Evaluate(noisy(t, 281, 2)); err == nil || !strings.Contains(err.Error(), "400") {
			t.Errorf("a bootstrap of %d traces: %v", traces, err)
		}
	}
}

// TestCorrelatedNoise: the correlation is found, and makes the errors larger.
func TestCorrelatedNoise(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 2))
	e := 0.0
	tr := of(t, 4001, 1.2, func(x float64) float64 {
		e = 0.8*e + 0.6*r.NormFloat64() // standard deviation 1
		return gaussian(x) + 0.1*e
	})
	slow := evaluate(t, test04(), tr)
	near(t, "correlation", slow.spread.lag, 0.8, 4*math.Sqrt((1-0.64)/666), "put in; 666 quiet points")
	near(t, "noise", slow.spread.noise, 0.1, 4*0.1/math.Sqrt(2*666*0.36/1.64), "put in")
	white := evaluate(t, test04(), of(t, 4001, 1.2, func(x float64) float64 { return gaussian(x) + 0.1*r.NormFloat64() }))
	a, b := uncertainty(t, slow, "Moments.Mean"), uncertainty(t, white, "Moments.Mean")
	near(t, "error of M1", a.StdErr/b.StdErr, 3, 0.6, "by hand: (1+ρ)/(1-ρ) = 9 in the variance of a sum; the correlation is known to 3 %")

	short := rand.New(rand.NewPCG(8, 2))
	few := evaluate(t, test04(), of(t, 281, 4800.0/280, func(x float64) float64 {
		e = 0.9*e + math.Sqrt(0.19)*short.NormFloat64()
		return gaussian(x) + 0.1*e
	}))
	if u := uncertainty(t, few, "Plates"); !strings.Contains(u.Doubt, "too short") {
		t.Errorf("46 quiet points of correlated noise: %v", u)
	}
}

func TestNoNoise(t *testing.T) {
	p := test04()
	p.Baseline.None = true
	r := evaluate(t, p, of(t, 4001, 1.2, gaussian))
	for _, u := range r.Uncertainty() {
		if !math.IsNaN(u.StdErr) || !math.IsNaN(u.Low) || u.Reliable() || u.String() == "" {
			t.Errorf("without a baseline: %v", u)
		}
	}
	if !math.IsNaN(r.PlatesPerMetreStdErr) || r.Checks[0].Close {
		t.Errorf("without a baseline: %v, %+v", r.PlatesPerMetreStdErr, r.Checks[0])
	}
	if l := (PulseResult{}).Uncertainty(); l != nil || !strings.Contains(l.String(), "No result") {
		t.Errorf("of nothing: %v", l)
	}
	if _, err := r.Uncertainty().Of("Plate"); err == nil || !strings.Contains(err.Error(), "Plates") {
		t.Errorf("misspelt: %v", err)
	}
}

// TestClose: the interval decides whether the outcome is sure, with the digits
// of the limit.
func TestClose(t *testing.T) {
	for _, tc := range []struct {
		v, low, high float64
		limit        Limit
		close        bool
		why          string
	}{
		{4001, 3997, 4005, AtLeast("4000"), true, "3997 does not meet"},
		{4001, 3999.6, 4005, AtLeast("4000"), false, "3999.6 is reported as 4000 and meets"},
		{1.45, 1.40, 1.52, Between("0.80", "1.50"), true, "1.52 does not meet"},
		{1.45, 1.40, 1.504, Between("0.80", "1.50"), false, "1.504 is reported as 1.50 and meets"},
		{3000, 2990, 3010, AtLeast("4000"), false, "does not meet anywhere"},
		{4001, math.NaN(), math.NaN(), AtLeast("4000"), false, "no interval"},
	} {
		if c := newCheck("plates per metre", tc.v, tc.low, tc.high, "", tc.limit); c.Close != tc.close {
			t.Errorf("%v, %v to %v, limit %v: close is %v; %s", tc.v, tc.low, tc.high, tc.limit, c.Close, tc.why)
		}
	}
	p := test04()
	tr := noisy(t, 1201, 0.5)
	value := evaluate(t, p, tr).PlatesPerMetre
	p.Limits.PlatesPerMetre = AtLeast(fmt.Sprintf("%.0f", value-3))
	if s := evaluate(t, p, tr).String(); !strings.Contains(s, "\nUncertainty: plates per metre lies between") {
		t.Errorf("close to the limit:\n%s", s)
	}
	p.Limits.PlatesPerMetre = AtLeast("100")
	if s := evaluate(t, p, tr).String(); strings.Contains(s, "Uncertainty:") {
		t.Errorf("far from the limit:\n%s", s)
	}
}

// TestStudent compares with gonum.
func TestStudent(t *testing.T) {
	for _, freedom := range []float64{1, 2, 3.9, 4, 5, 8, 14.5, 40, 1e3, 1e6} {
		want := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: freedom}.Quantile(0.975)
		near(t, fmt.Sprintf("t of %v", freedom), student(freedom), want, 4e-4*want, "gonum; the expansion is cut")
	}
}

// TestHighest simulates parabolic tops with noise and compares position and
// height of the apex with the first order, corrected.
func TestHighest(t *testing.T) {
	const runs = 2000
	random := rand.New(rand.NewPCG(1, 2))
	for _, window := range []int{1, 5, 9, 31} {
		tolerance := 0.1
		if window == 1 {
			tolerance = 0.18
		}
		var r PulseResult
		r.SmoothingWindow = window
		m, q := r.half(), r.reach()
		n, t2, t4 := integers(q)
		det := n*t4 - t2*t2
		// The standard deviation of c0 + c1 d + c2 d² by the parabola's weights.
		sd := func(a0, a1, a2 float64) float64 {
			p, w := make([]float64, 2*q+1), make([]float64, 2*q+1+2*m)
			for i := range p {
				d := float64(i - q)
				p[i] = a0*(t4-t2*d*d)/det + a1*d/t2 + a2*(n*d*d-t2)/det
			}
			smoothWeights(w, p, m)
			sum := 0.0
			for _, v := range w {
				sum += v * v
			}
			return math.Sqrt(sum)
		}
		for _, ratio := range []float64{0.1, 0.5, 1, 2, 4} {
			curvature := 2 * sd(0, 0, 1) / ratio // noise 1
			half := int(6*sd(0, 1, 0)/curvature) + 4*m + 10
			var position, height []float64
			first, firstHeight := 0.0, 0.0
			x, y := make([]float64, 2*half+1), make([]float64, 2*half+1)
			for range runs {
				off := random.Float64() - 0.5
				for i := range x {
					x[i] = float64(i-half) + off
					y[i] = -curvature/2*x[i]*x[i] + random.NormFloat64()
				}
				tr, err := trace.Make("top", "", trace.Time, x, y)
				if err != nil {
					t.Fatal(err)
				}
				if tr, err = tr.Smoothed(window); err != nil {
					t.Fatal(err)
				}
				a := tr.Apex(q)
				u := a.X - x[a.Index]
				s, h := sd(0, 1, 2*u)/curvature, sd(1, u, u*u)
				first += s * s / runs
				firstHeight += h * h / runs
				position, height = append(position, a.X), append(height, a.Height)
			}
			_, seen := meanSD(position)
			above, seenHeight := meanSD(height)
			aside, lower, bias := highest(ratio)
			name := fmt.Sprintf("window %d, ratio %v: ", window, ratio)
			// A scatter from 2000 is known to 1.6 %.
			near(t, name+"scatter of the position", seen/math.Sqrt(first), aside, tolerance*aside, "simulated; one curve for all windows")
			near(t, name+"scatter of the height", seenHeight/math.Sqrt(firstHeight), lower, tolerance*lower, "simulated; one curve for all windows")
			near(t, name+"height above", above/math.Sqrt(firstHeight), bias, 0.15, "simulated; one curve for all windows")
		}
	}
}

func TestUncertaintyIsShown(t *testing.T) {
	r := demo(t)
	golden(t, "uncertainty.golden", r.Uncertainty().String()+"\n"+uncertainty(t, r, "PlatesPerMetre").String()+"\n")
	for _, s := range []string{r.Uncertainty().Page().HTML(), r.Uncertainty().Page().Markdown()} {
		if !strings.Contains(s, "first moment M1") || !strings.Contains(s, "only repeats tell") {
			t.Errorf("shows %s", s)
		}
	}
	// Against volume the same.
	x := r.recorded.Positions()
	for i := range x {
		x[i] *= float64(r.Pulse.Flow)
	}
	tr, err := trace.Make("UV", "mAU", trace.Volume, x, r.recorded.Values())
	if err != nil {
		t.Fatal(err)
	}
	byVolume := evaluate(t, r.Pulse, tr)
	litres := r.Pulse.Flow.In(LitrePerHour) / 60
	for i, u := range r.Uncertainty() {
		v, want := byVolume.Uncertainty()[i], u.StdErr
		switch v.Unit {
		case "L":
			want *= litres
		case "L²":
			want *= litres * litres
		}
		near(t, u.Name+" against volume", v.StdErr, want, 1e-6*want, "flow is constant")
	}
}

// TestSampling puts Gaussians at many places between the samples: the numbers
// differ from those of the Gaussian by no more than what is said.
func TestSampling(t *testing.T) {
	const retention = 2400.0
	p := test04()
	p.Baseline.None = true
	for _, step := range []float64{20, 10, 4} { // 7 points above half height and more
		for _, sd := range []float64{60, 86} {
			largest := map[string]float64{} // share of what is said
			for off := 0.0; off < 1; off += 0.05 {
				at := retention + off*step
				tr := of(t, int(4800/step)+1, step, func(x float64) float64 { return 50 * bell(x, at, sd) })
				p.Smoothing.Window = 1
				r := evaluate(t, p, tr)
				half := 2 * sd * math.Sqrt(2*math.Ln2)
				for name, want := range map[string]float64{"Plates": plates(halfHeight, at, half), "Asymmetry": 1, "SymmetryFactor": 1, "Apex.X": at / 60, "Half.Width": half / 60, "Height": 50} {
					u := uncertainty(t, r, name)
					wrong := math.Abs(u.Value - want)
					largest[name] = math.Max(largest[name], wrong/u.Sampling)
					// The derivatives are taken over some points, 25 %.
					if wrong > 1.25*u.Sampling {
						t.Errorf("step %v, σ %v, %v off: %s is %v, want %v, said to be within %.2g", step, sd, off, name, u.Value, want, u.Sampling)
					}
				}
			}
			for name, share := range largest {
				if share < 0.05 {
					t.Errorf("step %v, σ %v: %s is said to be wrong by %.0f times as much as it is", step, sd, name, 1/share)
				}
			}
		}
	}
}

// TestUncertaintyOfAnyTrace: an interval that is called reliable is one.
func TestUncertaintyOfAnyTrace(t *testing.T) {
	random := rand.New(rand.NewPCG(13, 7))
	reliable, doubted := 0, 0
	for i := range 1500 {
		n := 12 + random.IntN(300)
		at, wide, noise := random.Float64()*float64(n), 1+random.Float64()*float64(n)/10, math.Pow(10, 3*random.Float64()-4)
		x, y := make([]float64, n), make([]float64, n)
		for j := range x {
			x[j] = float64(j)
			if j > 0 && random.IntN(30) == 0 {
				x[j] = x[j-1] // the same time twice
			}
			y[j] = bell(x[j], at, wide) + noise*random.NormFloat64()
		}
		tr, err := trace.Make("any", "", trace.Time, x, y)
		if err != nil {
			t.Fatal(err)
		}
		p := test04()
		p.Smoothing = Smoothing{Window: []int{0, 1, 5, 9}[random.IntN(4)], PeakOnly: random.IntN(2) == 0}
		if random.IntN(10) == 0 {
			p.Bootstrap = Bootstrap{Traces: 100, Seed: uint64(i)}
		}
		r, err := p.Evaluate(tr)
		if err != nil {
			continue
		}
		for _, u := range r.Uncertainty() {
			if !u.Reliable() {
				doubted++
				continue
			}
			reliable++
			if !(u.StdErr > 0) || !(u.Low < u.High) || math.IsInf(u.High, 0) || u.Sampling < 0 || math.IsNaN(u.Sampling) {
				t.Fatalf("trace %d: %+v", i, u)
			}
		}
	}
	if reliable < 2000 || doubted < 500 {
		t.Errorf("%d reliable and %d doubted intervals", reliable, doubted)
	}
}
