package efficiency

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

const frontSource = "transition_reference.csv: SciPy and mpmath"

// transition04 is a transition of the demonstration column, against volume.
func transition04() Transition {
	return Transition{Name: "wash to strip", Column: column04(), BedHeight: 18 * Centimetre, MeanBead: 90 * Micrometre}
}

// inColumnVolumes returns a transition in a bed of any height, and the size of
// its column volume.
func inColumnVolumes(height Length) (Transition, Volume) {
	t := transition04()
	t.BedHeight = height
	return t, t.Column.Volume(height)
}

// stepOf returns the trace of f over column volumes, one sample each step.
func stepOf(t testing.TB, cv Volume, n int, step float64, f func(v float64) float64) trace.Trace {
	t.Helper()
	x, y := make([]float64, n), make([]float64, n)
	for i := range x {
		v := float64(i) * step
		x[i], y[i] = v*float64(cv), f(v)
	}
	tr, err := trace.Make("Conductivity", "mS/cm", trace.Volume, x, y)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

func evaluateFront(t testing.TB, p Transition, tr trace.Trace) TransitionResult {
	t.Helper()
	r, err := p.Evaluate(tr)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The formulas alone, from the places and moments of the reference. Its places
// have ten digits, so each carries 5e-11 or less, and the plates twice what
// their parts carry.
func TestFrontFormulas(t *testing.T) {
	cases := readNumbers(t, "testdata/transition_reference.csv")
	if len(cases) != 4 {
		t.Fatalf("%d cases, want 4", len(cases))
	}
	for _, c := range cases {
		name := func(what string) string { return fmt.Sprintf("µ %v, τ %v: %s", c["mu_CV"], c["tau_CV"], what) }
		digits := 2 * 5e-10 / (c["V84.13"] - c["V15.87"])
		if c["V15.87"] == 0.95 { // the exact Gaussian, whose quantiles are rounded: 0.8413 is not 1 σ to the last digit
			digits = 1e-9
		}
		n := QuantilePlates(Volume(c["V15.87"]), Volume(c["V50"]), Volume(c["V84.13"]))
		near(t, name("quantiles"), n, c["N_quantile"], math.Max(1e-9, 2*digits)*n, frontSource)
		m := FrontMoments{Mean: Volume(c["M1"]), Variance: c["M2"]}
		near(t, name("moments"), m.Plates(), c["N_moments"], 1e-9*c["N_moments"], frontSource)
		near(t, name("HETP"), c["L_cm"]/m.Plates(), c["HETP_moments_cm"], 1e-9, frontSource)
		n = plates(halfHeight, c["V_peak_of_derivative"], c["w50_derivative"])
		near(t, name("half height"), n, c["N_half_height"], 2e-9*n, frontSource)
	}
	for what, n := range map[string]float64{"no width": QuantilePlates(1, 1, 1), "backwards": QuantilePlates(3, 2, 1), "nothing": FrontMoments{}.Plates()} {
		if !math.IsNaN(n) {
			t.Errorf("%s: %v", what, n)
		}
	}
}

// Fronts sampled at several steps, without noise and smoothing.
func TestSampledFronts(t *testing.T) {
	for _, c := range readNumbers(t, "testdata/transition_reference.csv") {
		mu, sigma, tau := c["mu_CV"], c["sigma_CV"], c["tau_CV"]
		p, cv := inColumnVolumes(Centimetre.Times(c["L_cm"]))
		p.Smoothing.Window = 1
		p.Before, p.After = trace.Volumes(0, cv.Times(0.3)), trace.Volumes(cv.Times(4.6), cv.Times(5))
		for _, part := range []float64{0.2, 0.05} {
			h := part * sigma
			r := evaluateFront(t, p, stepOf(t, cv, int(5/h)+1, h, func(v float64) float64 { return 2 + 48*made.EMGFront(v, mu, sigma, tau) }))
			name := func(what string) string { return fmt.Sprintf("µ %v, τ %v, step %v: %s", mu, tau, h, what) }
			one, two := float64(cv), float64(cv*cv)

			// The rule's own error is below 2exp(-2π²σ²/h²), nothing here; what
			// is left is rounding, the fourth power of distances of 4 CV. The tail
			// behind 4.6 CV is exp(-3.6/0.08) of the step.
			source := "µ + τ, σ² + τ², 2τ³/M2^1.5, 6τ⁴/M2²"
			m2 := sigma*sigma + tau*tau
			near(t, name("M1"), float64(r.Moments.Mean)/one, mu+tau, 1e-12, source)
			near(t, name("M2"), r.Moments.Variance/two, m2, 1e-9*m2, source)
			near(t, name("skewness"), r.Moments.Skewness, 2*tau*tau*tau/math.Pow(m2, 1.5), 1e-9, source)
			near(t, name("kurtosis"), r.Moments.Kurtosis, 6*math.Pow(tau, 4)/m2/m2, 1e-8, source)
			near(t, name("N by moments"), r.ByMoments.Plates, c["N_moments"], 1e-9*c["N_moments"], frontSource)
			near(t, name("HETP by moments"), r.HETP.In(Centimetre), c["HETP_moments_cm"], 1e-9, frontSource)
			near(t, name("M1 by differences"), float64(r.Derivative.Mean)/one, mu+tau, 1e-12, source)
			near(t, name("M2 by differences"), r.Derivative.Variance/two, m2, 1e-9*m2, source)
			near(t, name("skewness by differences"), r.Derivative.Skewness, r.Moments.Skewness, 1e-9, "the same front")
			near(t, name("kurtosis by differences"), r.Derivative.Kurtosis, r.Moments.Kurtosis, 1e-8, "the same front")
			near(t, name("h²/12"), r.Discretisation/two, h*h/12, 1e-12*h*h, "Sheppard")

			// A cubic is wrong by 3/128 h⁴ max|F⁗|, and f”' is at most that of its
			// Gaussian, 0.5506/σ⁴; a tenth more for the slope's change on the way.
			wrong := 3.0 / 128 * math.Pow(part, 4) * 0.5506
			source = frontSource + "; error of the cubic over the slope"
			for column, got := range map[string]Volume{"V15.87": r.V16, "V50": r.V50, "V84.13": r.V84} {
				slope := made.EMG(c[column], mu, sigma, tau)
				near(t, name(column), float64(got)/one, c[column], 1.1*wrong/slope+5e-10, source)
			}

			// The derivative: four samples give it to 3/640 h⁴ max|f⁗|, f⁗ at most
			// 1.197/σ⁵; then as a peak. Value and level at a crossing are both wrong
			// by that, the level by its fraction of it.
			stencil := 3.0 / 640 * math.Pow(part, 4) * 1.197 / sigma
			peak, w := c["V_peak_of_derivative"], c["w50_derivative"]
			left, right := crossings(peak, 0.5, mu, sigma, tau)
			apexErr, cross := sampledErrors(h, peak, []float64{left, right}, 0.5, mu, sigma, tau)
			_, d2, _ := slopes(peak, mu, sigma, tau)
			apexErr += stencil / h / math.Abs(d2)
			wide := cross[0] + cross[1]
			for _, x := range []float64{left, right} {
				d1, _, _ := slopes(x, mu, sigma, tau)
				wide += 1.5 * stencil / math.Abs(d1)
			}
			source = frontSource + "; error of the sampling"
			near(t, name("width at half height"), r.Half.Width()/one, w, wide+1e-9, source)
			near(t, name("peak"), float64(r.Peak)/one, peak, apexErr+1e-9, source)
			relative := 2 * (apexErr/peak + wide/w)
			relative += relative * relative
			near(t, name("N by half height"), r.ByHalfHeight.Plates, c["N_half_height"], relative*c["N_half_height"]+1e-6, source)
			left, right = crossings(peak, 0.1, mu, sigma, tau)
			_, cross = sampledErrors(h, peak, []float64{left, right}, 0.1, mu, sigma, tau)
			a, b := peak-left, right-peak
			for i, x := range []float64{left, right} {
				d1, _, _ := slopes(x, mu, sigma, tau)
				cross[i] += 1.1 * stencil / math.Abs(d1)
			}
			relative = (apexErr+cross[0])/a + (apexErr+cross[1])/b
			relative += relative * relative
			near(t, name("asymmetry"), r.Asymmetry, c["BA10_derivative"], relative*c["BA10_derivative"]+1e-9, source)
		}
	}
}

// crossings returns where the EMG falls to a fraction of its height on both
// sides of its peak, by bisection.
func crossings(peak, fraction, mu, sigma, tau float64) (left, right float64) {
	level := fraction * made.EMG(peak, mu, sigma, tau)
	find := func(far float64) float64 {
		in, out := peak, far
		for range 80 {
			if mid := (in + out) / 2; made.EMG(mid, mu, sigma, tau) > level {
				in = mid
			} else {
				out = mid
			}
		}
		return in
	}
	return find(peak - 8*sigma), find(peak + 8*sigma + 30*tau)
}

// The sampled trace, rising and falling. Its values have eight decimals: 5e-9
// of 48 mS/cm a sample, which moves M2 by Σ 2h|V-M1| 1e-10 at most.
func TestSampledTransitionTrace(t *testing.T) {
	rows := readNumbers(t, "testdata/transition_trace.csv")
	p, cv := inColumnVolumes(20 * Centimetre)
	p.Smoothing.Window = 1
	p.Before, p.After = trace.Volumes(0, cv.Times(0.3)), trace.Volumes(cv.Times(2), cv.Times(3))
	wrong := 1.7 * 1.7 * 1.1e-10
	for _, column := range []string{"cond_up_mS_cm", "cond_down_mS_cm"} {
		var x, y []float64
		for _, row := range rows {
			x, y = append(x, row["V_CV"]*float64(cv)), append(y, row[column])
		}
		tr, err := trace.Make("Conductivity", "mS/cm", trace.Volume, x, y)
		if err != nil {
			t.Fatal(err)
		}
		r := evaluateFront(t, p, tr)
		two := float64(cv * cv)
		near(t, column+" M1", r.FrontVolume, 1.03, 1.7*1.1e-10, frontSource)
		near(t, column+" M2", r.Moments.Variance/two, 0.0034, wrong, frontSource)
		near(t, column+" M2 with h²/12", (r.Derivative.Variance+r.Discretisation)/two, 3.402083e-3, 5e-10+wrong, "SciPy, seven digits: 0.0034 + 0.005²/12")
		near(t, column+" M2 by differences", r.Derivative.Variance/two, 0.0034, wrong, frontSource)
		near(t, column+" HETP", r.HETP.In(Centimetre), 0.06409652182, 20*wrong/1.03/1.03+1e-9, frontSource)
		if r.Rising != (column == "cond_up_mS_cm") || math.Abs(math.Abs(r.Step)-48) > 1e-7 {
			t.Errorf("%s: step %v, rising %v", column, r.Step, r.Rising)
		}

		// With nothing given, plateaus and smoothing are found. The plateaus
		// begin 8 standard deviations away, where a tail of 0.03 CV has left
		// exp(-0.46/0.03+1.4) of the step, and the window lowers the derivative
		// by 0.03 (m/σ)⁴ for m = 0.35 σ.
		auto := p
		auto.Smoothing, auto.Before, auto.After = Smoothing{}, trace.Range{}, trace.Range{}
		r = evaluateFront(t, auto, tr)
		near(t, column+" N by moments, found", r.ByMoments.Plates, 312.0294118, 1e-4*312, frontSource)
		near(t, column+" N by half height, found", r.ByHalfHeight.Plates, 338.2669, 0.005*338, frontSource)
		near(t, column+" N by quantiles, found", r.ByQuantiles.Plates, 325.1716, 0.002*325, frontSource)
		if len(r.Warnings) != 0 {
			t.Errorf("%s: warnings %v", column, r.Warnings)
		}
	}
}

// A whole cycle: the step that is meant is found between plateaus that are given
// or within Search, and the others do not disturb it.
func TestOneStepOfSeveral(t *testing.T) {
	p, cv := inColumnVolumes(20 * Centimetre)
	p.Smoothing.Window = 1
	h := 0.005
	f := func(v float64) float64 { return made.EMGFront(v, 1, 0.05, 0.03) }
	want := evaluateFront(t, p, stepOf(t, cv, 401, h, f))
	cycle := stepOf(t, cv, 1201, h, func(v float64) float64 { return f(v) - 2*f(v-2) + 1.5*f(v-4) })
	if _, err := p.Evaluate(cycle); err == nil {
		t.Error("three steps were taken for one")
	}
	between := p
	between.Before, between.After = want.Before.Range, want.After.Range
	within := p
	within.Search = trace.Volumes(0, cv.Times(2))
	for name, q := range map[string]Transition{"plateaus given": between, "search": within} {
		r := evaluateFront(t, q, cycle)
		near(t, name+": plates by moments", r.ByMoments.Plates, want.ByMoments.Plates, 1e-6*want.ByMoments.Plates, "the step alone")
		near(t, name+": asymmetry", r.Asymmetry, want.Asymmetry, 1e-6, "the step alone")
	}
}

// Clipping a Gaussian at 1 and 99 % keeps 1 - 2zφ(z)/0.98 of its variance.
func TestClippedMoments(t *testing.T) {
	const z = 2.3263478740408408
	kept := 1 - 2*z*math.Exp(-z*z/2)/math.Sqrt(2*math.Pi)/0.98
	p, cv := inColumnVolumes(20 * Centimetre)
	p.Smoothing.Window = 1
	h := 0.005
	r := evaluateFront(t, p, stepOf(t, cv, 401, h, func(v float64) float64 { return made.EMGFront(v, 1, 0.05, 0) }))
	// The cubics of ends and integral are wrong by 3/128 (h/σ)⁴ of 0.5506, over
	// the slope at the ends; the moments do not follow the ends.
	wrong := 3.0 / 128 * 1e-4 * 0.5506
	near(t, "variance", r.Clipped.Variance/float64(cv*cv), kept*0.0025, 4*0.12*0.12*wrong, "truncated normal distribution")
	near(t, "mean", float64(r.Clipped.Mean/cv), 1, 1e-9, "symmetry")
	near(t, "start", float64(r.Start/cv), 1-0.05*z, 0.05*wrong/0.0267*1.1, "normal quantile")
	near(t, "skewness", r.Clipped.Skewness, 0, 1e-6, "symmetry")
	if r.Clipped.From != r.Start || r.Clipped.To != r.End {
		t.Error("the window is not the front's start and end")
	}
}

// noisyFront is a front with a tail and noise, 0.2 % of the step.
func noisyFront(t testing.TB, seed uint64, noise float64) (Transition, trace.Trace) {
	p, cv := inColumnVolumes(18 * Centimetre)
	r := rand.New(rand.NewPCG(seed, 9))
	return p, stepOf(t, cv, 601, 0.003, func(v float64) float64 {
		return 5 + 80*(made.EMGFront(v, 0.9, 0.03, 0.02)+noise*r.NormFloat64())
	})
}

// Fronts of known moments whose plateaus drift along straight lines, by parts of
// the step in a column volume. Seen from level plateaus, 2 % made N 373 of 670.
func TestDriftingFronts(t *testing.T) {
	const mu, sigma, tau, noise, seeds = 0.9, 0.032, 0.015, 4e-4, 25
	p, cv := inColumnVolumes(18 * Centimetre)
	front := func(seed uint64, before, after float64) TransitionResult {
		r := rand.New(rand.NewPCG(seed, 11))
		return evaluateFront(t, p, stepOf(t, cv, 900, 0.0025, func(v float64) float64 {
			f := made.EMGFront(v, mu, sigma, tau)
			return 5 + 80*(f+(1-f)*before*v+f*after*v+noise*r.NormFloat64())
		}))
	}
	wide := func(r TransitionResult) float64 { return (r.Moments.To - r.Moments.From).In(cv) }
	level := front(0, 0, 0)
	if level.Before.Sloped || level.After.Sloped {
		t.Error("a level plateau has a slope")
	}
	for _, d := range [][2]float64{{0.005, 0.005}, {0.02, 0.02}, {-0.05, -0.05}, {0.1, 0.1}, {0.02, 0.005}, {-0.02, 0.02}} {
		// A line whose slopes differ makes no other front: F is what was put in.
		plates, mean := (mu+tau)*(mu+tau)/(sigma*sigma+tau*tau), mu+tau
		sum := 0.0
		for seed := range uint64(seeds) {
			r := front(seed, d[0], d[1])
			if !r.Before.Sloped || !r.After.Sloped {
				t.Errorf("drift %v: no slope was seen", d)
			}
			z := (r.ByMoments.Plates - plates) / r.ByMoments.PlatesStdErr
			sum += z
			// Of 150 independent errors the largest is seldom above 3.5.
			if math.Abs(z) > 4 {
				t.Errorf("drift %v: %v plates by moments, want %v to %v", d, r.ByMoments.Plates, plates, r.ByMoments.PlatesStdErr)
			}
			near(t, "mean", r.FrontVolume, mean, 4*r.FrontVolumeStdErr, "µ + τ")
			near(t, "range of the moments", wide(r), wide(level), 0.03*wide(level), "the same front without drift")
		}
		if bias := sum / seeds; math.Abs(bias) > 3/math.Sqrt(seeds) {
			t.Errorf("drift %v: the plates are off by %.2f standard errors on average", d, bias)
		}
	}
	r := front(1, 0.05, 0.05)
	if s := r.String(); !strings.Contains(s, "The step was measured from a straight line through it") || !strings.Contains(r.Measured().String(), "straight line") {
		t.Errorf("the drift is not told:\n%s", s)
	}
}

// What is taken for the drift of a plateau, and what is not.
func TestPlateauLevel(t *testing.T) {
	const n, noise = 200, 0.001
	made := func(seed uint64, f func(x float64) float64) level {
		r := rand.New(rand.NewPCG(seed, 12))
		e := even{h: 1, y: make([]float64, n)}
		for i := range e.y {
			e.y[i] = f(float64(i)/n) + noise*r.NormFloat64()
		}
		return e.level([2]int{0, n}, 1)
	}
	false3 := 0
	for seed := range uint64(400) {
		if made(seed, func(float64) float64 { return 1 }).slope != 0 {
			false3++
		}
	}
	if false3 > 5 { // 0.27 % of 400 are 1.1; more than 5 in 1 of 1000
		t.Errorf("noise has a slope %d times of 400", false3)
	}
	// The error of a slope is σ√(12/n³).
	near(t, "slope", made(1, func(x float64) float64 { return 0.02 * x }).slope, 0.02/n, 4*noise*math.Sqrt(12.0/n/n/n), "as made")
	if l := made(1, func(x float64) float64 { return 0.05 * math.Exp(-6*x) }); l.slope != 0 {
		t.Errorf("a signal that comes to rest has the slope %v of a drift", l.slope)
	}
	if l := made(1, func(x float64) float64 { return 0.05 * x * (1 - x) }); l.slope != 0 {
		t.Errorf("a bow has the slope %v of a drift", l.slope)
	}
}

// What must not change the numbers.
func TestFrontLaws(t *testing.T) {
	p, tr := noisyFront(t, 1, 0.002)
	base := evaluateFront(t, p, tr)
	numbers := func(r TransitionResult) []float64 {
		return []float64{r.ByMoments.Plates, r.ByDerivative.Plates, r.ByClipped.Plates, r.ByHalfHeight.Plates, r.ByQuantiles.Plates,
			r.ByMoments.PlatesStdErr, r.ByHalfHeight.PlatesStdErr, r.ByQuantiles.PlatesStdErr, r.AsymmetryStdErr,
			r.Asymmetry, r.Moments.Skewness, r.Moments.Kurtosis, r.FrontVolume, float64(r.Start / r.volume), float64(r.End / r.volume), r.HETP.In(p.BedHeight)}
	}
	want := numbers(base)
	same := func(what string, p Transition, axis trace.Axis, x, y []float64) {
		t.Helper()
		tr, err := trace.Make("Conductivity", "mS/cm", axis, x, y)
		if err != nil {
			t.Fatal(err)
		}
		for i, got := range numbers(evaluateFront(t, p, tr)) {
			if math.Abs(got-want[i]) > 1e-6*math.Abs(want[i]) {
				t.Errorf("%s: number %d is %v, was %v", what, i, got, want[i])
			}
		}
	}
	x, y := tr.Positions(), tr.Values()
	changed := func(v []float64, k, d float64) []float64 {
		out := make([]float64, len(v))
		for i := range v {
			out[i] = k*v[i] + d
		}
		return out
	}
	same("signal times 1000", p, trace.Volume, x, changed(y, 1000, 0))
	same("signal moved", p, trace.Volume, x, changed(y, 1, -300))
	same("a falling step", p, trace.Volume, x, changed(y, -1, 100))
	held := p
	held.ExtraColumnVolume = 700 * Millilitre
	same("extra-column volume", held, trace.Volume, changed(x, 1, float64(700*Millilitre)), y)
	timed := p
	timed.Flow = p.Column.Flow(150 * CentimetrePerHour)
	same("against time", timed, trace.Time, changed(x, 1/float64(timed.Flow), 0), y)
	small := p
	small.Column.InnerDiameter /= 10
	same("a column a hundredth in size", small, trace.Volume, changed(x, 0.01, 0), y)
}

// The standard errors are those of many repeats with other noise, and the means
// those of the front without noise.
func TestFrontStandardErrors(t *testing.T) {
	const n, noise = 300, 0.001
	p, clean := noisyFront(t, 0, 0)
	// The same work on the clean front: the plateaus and the window as found.
	p.Before, p.After = trace.Volumes(p.Column.Volume(p.BedHeight).Times(0.2), p.Column.Volume(p.BedHeight).Times(0.6)), trace.Volumes(p.Column.Volume(p.BedHeight).Times(1.25), p.Column.Volume(p.BedHeight).Times(1.7))
	p.Smoothing.Window = 9
	p.ExpectedVolume = p.Column.Volume(p.BedHeight).Times(0.92)
	values := func(r TransitionResult) (v, e [10]float64) {
		return [10]float64{r.ByMoments.Plates, r.ByDerivative.Plates, r.ByClipped.Plates, r.ByHalfHeight.Plates, r.ByQuantiles.Plates,
				r.Asymmetry, r.Moments.Skewness, r.Moments.Kurtosis, r.FrontVolume, r.Recovered},
			[10]float64{r.ByMoments.PlatesStdErr, r.ByDerivative.PlatesStdErr, r.ByClipped.PlatesStdErr, r.ByHalfHeight.PlatesStdErr, r.ByQuantiles.PlatesStdErr,
				r.AsymmetryStdErr, r.SkewnessStdErr, r.KurtosisStdErr, r.FrontVolumeStdErr, r.RecoveredStdErr}
	}
	truth, _ := values(evaluateFront(t, p, clean))
	var sum, squares, errs [10]float64
	for seed := range uint64(n) {
		_, tr := noisyFront(t, seed+1, noise)
		v, e := values(evaluateFront(t, p, tr))
		for i := range v {
			d := v[i] - truth[i]
			sum[i] += d
			squares[i] += d * d
			errs[i] += e[i] / n
		}
	}
	for i, name := range []string{"moments", "differences", "clipped", "half height", "quantiles", "asymmetry", "skewness", "kurtosis", "front volume", "recovered"} {
		sd := math.Sqrt((squares[i] - sum[i]*sum[i]/n) / (n - 1))
		// A standard deviation of 300 has an error of 4 %: three of them, and what
		// the second order adds to a ratio, up to a tenth at this noise.
		if ratio := errs[i] / sd; ratio < 0.80 || ratio > 1.20 {
			t.Errorf("%s: standard error %.4g, of %d repeats %.4g", name, errs[i], n, sd)
		}
		// The mean is off by its own error, four of them, and by the second order,
		// small beside one repeat.
		if off := math.Abs(sum[i] / n); off > 4*sd/math.Sqrt(n)+0.15*sd {
			t.Errorf("%s: off by %.4g on average, standard deviation %.4g", name, off, sd)
		}
		if testing.Verbose() {
			t.Logf("%-13s truth %.6g, standard error %.4g, of repeats %.4g, mean off %.4g", name, truth[i], errs[i], sd, sum[i]/n)
		}
	}
}

// A front in much noise is found where both plateaus were recorded.
func TestFrontInNoise(t *testing.T) {
	for _, noises := range []float64{100, 20, 10, 7} {
		const n = 40
		sum := 0.0
		for seed := range uint64(n) {
			p, cv := inColumnVolumes(18 * Centimetre)
			r := rand.New(rand.NewPCG(seed, 3))
			got, err := p.Evaluate(stepOf(t, cv, 1500, 0.003, func(v float64) float64 { return made.EMGFront(v, 0.9, 0.03, 0.02) + r.NormFloat64()/noises }))
			if err != nil {
				t.Fatalf("a step of %v noises, seed %d: %v", noises, seed, err)
			}
			sum += got.ByQuantiles.Plates / n
			if shown := got.String() + got.Calculations().String(); strings.Contains(shown, "NaN") {
				t.Fatalf("a step of %v noises, seed %d, shows NaN: %v", noises, seed, got)
			}
		}
		// The bias of second order: a crossing's variance times the curvature
		// there, and a wider window; stated as up to a tenth.
		near(t, fmt.Sprintf("quantiles of a step of %v noises", noises), sum, 687.8, 0.1*687.8, "the front put in, without noise")
	}
}

// Whatever a trace holds, it is measured or refused, and shows itself.
func TestAnyFront(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 11))
	measured := 0
	for i := range 400 {
		p, cv := inColumnVolumes(18 * Centimetre)
		a, b, c := r.Float64(), 2*r.Float64(), r.NormFloat64()
		tr := stepOf(t, cv, 20+r.IntN(400), 0.001+0.02*r.Float64(), func(v float64) float64 {
			y := made.EMGFront(v, a+0.2, 0.01+0.1*a, 0.1*b) + c*made.EMGFront(v, a+b, 0.05, 0)
			return y + math.Pow(10, -1-float64(i%5))*r.NormFloat64()
		})
		if i%7 == 0 {
			p.Smoothing.Window = 1 + 2*r.IntN(30)
		}
		got, err := p.Evaluate(tr)
		if err != nil {
			continue
		}
		if measured++; measured%20 == 0 && strings.Contains(got.Page().SVG(), "NaN") {
			t.Fatalf("trace %d draws what is not a number", i)
		}
		if shown := got.String() + got.Calculations().String(); strings.Contains(shown, "NaN") || strings.Contains(shown, "Inf") {
			t.Fatalf("trace %d shows %v", i, got)
		}
		if !(got.ByQuantiles.Plates > 0 && got.V16 < got.V50 && got.V50 < got.V84) {
			t.Errorf("trace %d: %v plates, %v, %v, %v", i, got.ByQuantiles.Plates, got.V16, got.V50, got.V84)
		}
	}
	if measured < 50 {
		t.Errorf("only %d of 400 traces were measured; the test tests little", measured)
	}
}

func TestMassBalance(t *testing.T) {
	p, tr := noisyFront(t, 0, 0)
	cv := p.Column.Volume(p.BedHeight)
	p.ExpectedVolume = cv.Times(0.92)
	r := evaluateFront(t, p, tr)
	near(t, "closed", r.Recovered, 1, 1e-6, "the front's mean is µ + τ = 0.92 CV")
	p.ExpectedVolume = cv.Times(0.80)
	r = evaluateFront(t, p, tr)
	near(t, "binds", r.Recovered, 1-0.12/float64(r.Moments.To/cv), 1e-6, "by hand: 0.12 CV more than expected")
	if !strings.Contains(fmt.Sprint(r.Warnings), "mass balance") {
		t.Errorf("no doubt about the balance: %v", r.Warnings)
	}
}

func TestFrontDoubts(t *testing.T) {
	p, _ := inColumnVolumes(18 * Centimetre)
	cv := p.Column.Volume(p.BedHeight)
	front := func(v float64) float64 { return made.EMGFront(v, 0.9, 0.03, 0.02) }
	noise := rand.New(rand.NewPCG(3, 3))
	for _, tc := range []struct {
		want   string
		change func(p *Transition)
		n      int
		step   float64
		f      func(v float64) float64
	}{
		{"plateau after the step is not level", nil, 601, 0.003, func(v float64) float64 { return front(v) + 0.08*math.Max(0, v-1) }},
		{"Little of the plateaus", nil, 385, 0.003, front},
		{"only 20 times the noise", func(p *Transition) {
			p.Before, p.After = trace.Volumes(0, cv.Times(0.6)), trace.Volumes(cv.Times(1.2), cv.Times(1.7))
		}, 601, 0.003,
			func(v float64) float64 { return front(v) + 0.05*noise.NormFloat64() }},
		{"may be saturated", nil, 601, 0.003, func(v float64) float64 { return math.Min(0.97, front(v)+0.002*noise.NormFloat64()) }},
		{"does not only rise", nil, 601, 0.003, func(v float64) float64 { return front(v) + 0.05*made.EMG(v, 1.0, 0.02, 0)/20 }},
		{"changes again, by up to 40 %", nil, 601, 0.004, func(v float64) float64 { return front(v) - 0.4*made.EMGFront(v, 2, 0.03, 0) }},
		{"few", nil, 101, 0.015, front},
		{"straight as a gradient", nil, 601, 0.005, func(v float64) float64 { return math.Min(1, math.Max(0, v-1)/0.4) }},
		{"wider than the front", func(p *Transition) { p.Smoothing.Window = 41 }, 601, 0.003, front},
		{"without smoothing", func(p *Transition) { p.Smoothing.Window = 1 }, 601, 0.003, func(v float64) float64 { return front(v) + 0.005*noise.NormFloat64() }},
		{"0.33 column volumes", func(p *Transition) { p.ExtraColumnVolume = cv.Times(0.59) }, 601, 0.003, front},
		{"fewer plates than by quantiles", nil, 601, 0.005, func(v float64) float64 { return made.EMGFront(v, 0.8, 0.01, 0.09) }},
		{"Samples are missing", nil, 601, 0.003, nil},
	} {
		q := p
		if tc.change != nil {
			tc.change(&q)
		}
		var tr trace.Trace
		if tc.f != nil {
			tr = stepOf(t, cv, tc.n, tc.step, tc.f)
		} else {
			whole := stepOf(t, cv, tc.n, tc.step, front)
			x, y := whole.Positions(), whole.Values()
			tr, _ = trace.Make("Conductivity", "mS/cm", trace.Volume, append(x[:310:310], x[316:]...), append(y[:310:310], y[316:]...))
		}
		r, err := q.Evaluate(tr)
		if err != nil {
			t.Errorf("%q: %v", tc.want, err)
			continue
		}
		if !strings.Contains(fmt.Sprint(r.Warnings), tc.want) {
			t.Errorf("no doubt with %q: %v", tc.want, r.Warnings)
		}
	}
}

// TestSaturatedSteps counts how often a cut step is told, rising and falling, and
// how often one is told that is none. A clip at 97 % with the noise on top is not
// counted: behind a tail its corner is no sharper than that of a Gaussian.
func TestSaturatedSteps(t *testing.T) {
	p, _ := inColumnVolumes(18 * Centimetre)
	cv := p.Column.Volume(p.BedHeight)
	for _, tc := range []struct {
		clip        float64
		after       bool // the noise comes behind the clip
		least, most int  // of 20
	}{{1e9, false, 0, 1}, {0.90, false, 19, 20}, {0.97, false, 19, 20}, {0.90, true, 19, 20}} {
		for _, tau := range []float64{0.001, 0.01, 0.03} {
			for _, falling := range []bool{false, true} {
				told := 0
				for seed := range uint64(20) {
					noise := rand.New(rand.NewPCG(seed, 9))
					tr := stepOf(t, cv, 901, 0.002, func(v float64) float64 {
						f, e := made.EMGFront(v, 0.9, 0.03, tau), 0.003*noise.NormFloat64()
						if falling {
							f = 1 - f
						}
						if tc.after {
							return math.Min(tc.clip, f) + e
						}
						return math.Min(tc.clip, f+e)
					})
					r, err := p.Evaluate(tr)
					if err != nil {
						t.Fatal(err)
					}
					if strings.Contains(fmt.Sprint(r.Warnings), "may be saturated") {
						told++
					}
				}
				if told < tc.least || told > tc.most {
					t.Errorf("clip at %g, noise behind it %v, τ %g, falling %v: %d of 20 told", tc.clip, tc.after, tau, falling, told)
				}
			}
		}
	}
}

func TestFrontRefusals(t *testing.T) {
	p, tr := noisyFront(t, 1, 0.002)
	cv := p.Column.Volume(p.BedHeight)
	noise := rand.New(rand.NewPCG(1, 1))
	make := func(f func(v float64) float64) trace.Trace { return stepOf(t, cv, 601, 0.003, f) }
	timed, err := trace.Make("Conductivity", "mS/cm", trace.Time, tr.Positions(), tr.Values())
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for _, tc := range []struct {
		name   string
		change func(p *Transition)
		tr     trace.Trace
	}{
		{"no column", func(p *Transition) { p.Column = packing.Column{} }, tr},
		{"no bed height", func(p *Transition) { p.BedHeight = 0 }, tr},
		{"no bead", func(p *Transition) { p.MeanBead = 0 }, tr},
		{"against time without a flow", func(p *Transition) {}, timed},
		{"negative extra-column volume", func(p *Transition) { p.ExtraColumnVolume = -1 * Litre }, tr},
		{"expected volume of a ship", func(p *Transition) { p.ExpectedVolume = 12.7 }, tr},
		{"window from 1 % to 50 %", func(p *Transition) { p.To = 50 * Percent }, tr},
		{"even smoothing", func(p *Transition) { p.Smoothing.Window = 10 }, tr},
		{"no trace", func(p *Transition) {}, trace.Trace{}},
		{"a constant", func(p *Transition) {}, make(func(float64) float64 { return 5 })},
		{"noise", func(p *Transition) {}, make(func(float64) float64 { return noise.NormFloat64() })},
		{"a step of four noises", func(p *Transition) {}, make(func(v float64) float64 { return 4*made.EMGFront(v, 0.9, 0.03, 0) + noise.NormFloat64() })},
		{"a peak", func(p *Transition) {}, make(func(v float64) float64 { return 0.01*v + made.EMG(v, 0.9, 0.03, 0) })},
		{"up and half back", func(p *Transition) {}, make(func(v float64) float64 { return made.EMGFront(v, 0.8, 0.03, 0) - 0.4*made.EMGFront(v, 1.1, 0.03, 0) })},
		{"a gradient over all of it", func(p *Transition) {}, make(func(v float64) float64 { return v })},
		{"the end not recorded", func(p *Transition) {}, stepOf(t, cv, 320, 0.003, func(v float64) float64 { return made.EMGFront(v, 0.9, 0.03, 0.02) })},
		{"the start not recorded", func(p *Transition) { p.Search = trace.Volumes(cv.Times(0.88), cv.Times(1.8)) }, tr},
		{"search on the wrong axis", func(p *Transition) { p.Search = trace.Times(1*Minute, 2*Minute) }, tr},
		{"search over nothing", func(p *Transition) { p.Search = trace.Volumes(cv.Times(3), cv.Times(4)) }, tr},
		{"plateau on the wrong axis", func(p *Transition) { p.Before = trace.Times(1*Minute, 2*Minute) }, tr},
		{"plateaus exchanged", func(p *Transition) {
			p.Before, p.After = trace.Volumes(cv.Times(1.2), cv.Times(1.6)), trace.Volumes(0, cv.Times(0.5))
		}, tr},
		{"plateau of a point", func(p *Transition) { p.After = trace.Volumes(cv.Times(1.2), cv.Times(1.203)) }, tr},
		{"extra-column volume behind the front", func(p *Transition) { p.ExtraColumnVolume = cv }, tr},
		{"a front of two samples", func(p *Transition) {}, stepOf(t, cv, 61, 0.03, func(v float64) float64 { return made.EMGFront(v, 0.9, 0.015, 0) })},
	} {
		q := p
		tc.change(&q)
		r, err := q.Evaluate(tc.tr)
		if err == nil {
			t.Errorf("%s was accepted", tc.name)
			continue
		}
		if r.Refusal != err || r.Page().SVG() != "" || !strings.Contains(r.Page().HTML(), "No result:") {
			t.Errorf("%s: the result does not show its refusal", tc.name)
		}
		fmt.Fprintf(&b, "%s\n    %v\n", tc.name, err)
	}
	golden(t, "transition-refusals.golden", b.String())
}

// Uneven samples are put on even steps: a front sampled with a jitter of a
// fifth of a step keeps its numbers to what straight lines do, h²/8 of the
// curvature.
func TestUnevenFront(t *testing.T) {
	p, cv := inColumnVolumes(18 * Centimetre)
	p.Smoothing.Window = 9
	r := rand.New(rand.NewPCG(5, 5))
	var x, y []float64
	for i := range 901 {
		v := 0.002 * (float64(i) + 0.2*(2*r.Float64()-1)*math.Min(1, float64(i)))
		x, y = append(x, v*float64(cv)), append(y, made.EMGFront(v, 0.9, 0.03, 0.02))
	}
	tr, err := trace.Make("Conductivity", "mS/cm", trace.Volume, x, y)
	if err != nil {
		t.Fatal(err)
	}
	got := evaluateFront(t, p, tr)
	want := evaluateFront(t, p, stepOf(t, cv, 901, 0.002, func(v float64) float64 { return made.EMGFront(v, 0.9, 0.03, 0.02) }))
	if !got.Resampled || want.Resampled {
		t.Errorf("resampled %v and %v", got.Resampled, want.Resampled)
	}
	// Straight lines widen the variance by h²/6 at most.
	near(t, "moments", got.ByMoments.Plates, want.ByMoments.Plates, want.ByMoments.Plates*0.002*0.002/6/0.0013*1.5, "the even samples")
	near(t, "quantiles", got.ByQuantiles.Plates, want.ByQuantiles.Plates, 0.01*want.ByQuantiles.Plates, "the even samples")
}

func TestFrontComparison(t *testing.T) {
	p, tr := noisyFront(t, 1, 0.001)
	p.Label = "cycle 1"
	cv := p.Column.Volume(p.BedHeight)
	reference := evaluateFront(t, p, tr)
	p.Label = "cycle 2"
	second := func(shift, tau, noise float64) TransitionResult {
		r := rand.New(rand.NewPCG(77, 9))
		return evaluateFront(t, p, stepOf(t, cv, 601, 0.003, func(v float64) float64 {
			return 5 + 80*(made.EMGFront(v, 0.9+shift, 0.03, tau)+noise*r.NormFloat64())
		}))
	}
	compare := func(a, b TransitionResult) FrontComparison {
		t.Helper()
		c, err := a.Against(b)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	itself := compare(reference, reference)
	if itself.Distance != 0 || itself.ShapeDistance > 1e-12 {
		t.Errorf("a front differs from itself by %v and %v", itself.Distance, itself.ShapeDistance)
	}
	// Noise alone: 600 values of at most three standard errors, seldom four.
	c := compare(second(0, 0.02, 0.001), reference)
	if c.Distance > 4.5/3*c.Floor || !(c.Floor > 0) {
		t.Errorf("noise alone makes %v, the floor is %v", c.Distance, c.Floor)
	}
	// A shift by δ is δ times the steepest slope, and no change of shape.
	shift := 0.005
	c = compare(second(shift, 0.02, 0), reference)
	top := 0.0
	for v := 0.8; v < 1; v += 1e-4 {
		top = math.Max(top, math.Abs(made.EMGFront(v, 0.9, 0.03, 0.02)-made.EMGFront(v-shift, 0.9, 0.03, 0.02)))
	}
	near(t, "distance of a shift", c.Distance, top, c.Floor, "largest difference of the fronts put in")
	if c.ShapeDistance > 1.5*c.Floor {
		t.Errorf("a shift changes the shape by %v, the floor is %v", c.ShapeDistance, c.Floor)
	}
	back := compare(reference, second(shift, 0.02, 0))
	near(t, "the other way round", back.Distance, c.Distance, 1e-12, "symmetry")
	// A longer tail is a change of shape.
	if c = compare(second(0, 0.04, 0), reference); c.ShapeDistance < 3*c.Floor {
		t.Errorf("twice the tail changes the shape by %v only", c.ShapeDistance)
	}
	for _, s := range []string{c.String(), c.Page().HTML(), c.Page().Markdown()} {
		if !strings.Contains(s, "HETP by quantiles") || !strings.Contains(s, "cycle 1") {
			t.Errorf("shows %s", s)
		}
	}

	for want, change := range map[string]func(r TransitionResult) TransitionResult{
		"only like with like": func(r TransitionResult) TransitionResult { r.Transition.Name = "strip to wash"; return r },
		"without a name":      func(r TransitionResult) TransitionResult { r.Transition.Name = ""; return r },
		"the other falls":     func(r TransitionResult) TransitionResult { r.Rising = false; return r },
		"same signal":         func(r TransitionResult) TransitionResult { r.Unit = "mAU"; return r },
		"one column":          func(r TransitionResult) TransitionResult { r.Transition.Column.InnerDiameter *= 2; return r },
		"without an error":    func(r TransitionResult) TransitionResult { return TransitionResult{} },
	} {
		bad, err := reference.Against(change(reference))
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(bad.String(), "No comparison:") || bad.Page().SVG() != "" {
			t.Errorf("%q: %v", want, err)
		}
	}
	other := reference
	other.Transition.BedHeight *= 1.05
	if c, err := reference.Against(other); err != nil || len(c.Warnings) != 1 {
		t.Errorf("another bed height: %v, %v", c.Warnings, err)
	}
}

func TestFrontCalculations(t *testing.T) {
	p, tr := noisyFront(t, 1, 0.002)
	p.ExpectedVolume = p.Column.Volume(p.BedHeight).Times(0.92)
	p.Flow = p.Column.Flow(150 * CentimetrePerHour)
	r := evaluateFront(t, p, tr)
	for _, c := range r.Calculations() {
		if c.Formula == "" || c.Numbers == "" || c.Source == "" || c.Symbols == "" || strings.Contains(c.Numbers, "NaN") {
			t.Errorf("%s is incomplete: %+v", c.Name, c)
		}
	}
	if _, err := r.Calculation("Plates"); err == nil || !strings.Contains(err.Error(), "ByMoments") {
		t.Errorf("unknown: %v", err)
	}
	if _, err := (TransitionResult{}).Calculation("HETP"); err == nil {
		t.Error("a calculation of nothing")
	}
	golden(t, "transition-calculations.golden", r.Calculations().String())
	golden(t, "transition.golden", r.String())
	golden(t, "transition.svg", r.Page().SVG())
}

func BenchmarkTransition(b *testing.B) {
	p, tr := noisyFront(b, 1, 0.002)
	for b.Loop() {
		if _, err := p.Evaluate(tr); err != nil {
			b.Fatal(err)
		}
	}
}
