package trace

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/units"
)

// sampled returns n points of f from 0 on, step apart.
func sampled(t testing.TB, n int, step float64, f func(float64) float64) Trace {
	t.Helper()
	x, y := make([]float64, n), make([]float64, n)
	for i := range x {
		x[i] = float64(i) * step
		y[i] = f(x[i])
	}
	tr, err := Make("signal", "mAU", Time, x, y)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

func near(t *testing.T, what string, got, want, tol float64, source string) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %v, want %v ± %v (%s)", what, got, want, tol, source)
	}
}

func TestMakeRefuses(t *testing.T) {
	nan := math.NaN()
	for _, tc := range []struct {
		name string
		x, y []float64
		want string
	}{
		{"lengths", []float64{1, 2}, []float64{1}, "2 positions for 1 values"},
		{"one point", []float64{1}, []float64{1}, "needs at least 2"},
		{"not a number", []float64{1, 2, 3}, []float64{1, nan, 3}, "point 2"},
		{"infinite", []float64{1, math.Inf(1)}, []float64{1, 2}, "point 2"},
		{"backwards", []float64{0, 60, 30}, []float64{1, 2, 3}, "runs backwards at point 3, from 1 min to 30 s"},
		{"one place", []float64{60, 60}, []float64{1, 2}, "all 2 points"},
	} {
		_, err := Make("UV", "mAU", Time, tc.x, tc.y)
		if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: error %v, want one with %q", tc.name, err, tc.want)
		}
	}
}

func TestTraceIsItsOwnCopy(t *testing.T) {
	times, values := []units.Time{0, 1, 2}, []float64{1, 2, 3}
	tr, err := New("UV", "mAU", times, values)
	if err != nil {
		t.Fatal(err)
	}
	values[1], times[1] = 99, 99
	if x, y := tr.XY(1); x != 1 || y != 2 {
		t.Errorf("point 1 became (%v, %v) with the caller's slices", x, y)
	}
}

func TestSmoothingCoefficients(t *testing.T) {
	// The answer to a single 1 is the published row of coefficients.
	for _, tc := range []struct {
		window int
		row    []float64
		norm   float64
		source string
	}{
		{5, []float64{-3, 12, 17, 12, -3}, 35, "Savitzky & Golay 1964, table I"},
		{7, []float64{-2, 3, 6, 7, 6, 3, -2}, 21, "Savitzky & Golay 1964, table I"},
		{9, []float64{-21, 14, 39, 54, 59, 54, 39, 14, -21}, 231, "Savitzky & Golay 1964, table I"},
	} {
		one := sampled(t, 61, 1, func(x float64) float64 {
			if x == 30 {
				return 1
			}
			return 0
		})
		calm, err := one.Smoothed(tc.window)
		if err != nil {
			t.Fatal(err)
		}
		for j, c := range tc.row {
			_, got := calm.XY(30 - tc.window/2 + j)
			near(t, "coefficient", got, c/tc.norm, 1e-14, tc.source)
		}
	}
}

func TestSmoothingKeepsQuadratics(t *testing.T) {
	// A quadratic passes unchanged, ends included; 3000 points cross several
	// blocks of the running sums.
	f := func(x float64) float64 { return 3 - 0.02*x + 1e-5*x*x }
	for _, window := range []int{1, 3, 5, 31, 301} {
		tr := sampled(t, 3000, 1, f)
		calm, err := tr.Smoothed(window)
		if err != nil {
			t.Fatal(err)
		}
		for i := range tr.Len() {
			x, got := calm.XY(i)
			if math.Abs(got-f(x)) > 1e-9 {
				t.Fatalf("window %d, point %d: %v, want %v", window, i, got, f(x))
			}
		}
	}
}

func TestSmoothingEqualsDirectSum(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	tr := sampled(t, 2000, 1, func(float64) float64 { return 1000 * r.NormFloat64() })
	const m = 15
	calm, err := tr.Smoothed(2*m + 1)
	if err != nil {
		t.Fatal(err)
	}
	for i := m; i < tr.Len()-m; i++ {
		want := 0.0
		for j := -m; j <= m; j++ {
			c := float64(3*(3*m*m+3*m-1)-15*j*j) / float64((2*m-1)*(2*m+1)*(2*m+3))
			want += c * tr.y[i+j]
		}
		if math.Abs(calm.y[i]-want) > 1e-9 {
			t.Fatalf("point %d: %v, by direct sum %v", i, calm.y[i], want)
		}
	}
}

func TestNetIsMinusThenSmoothed(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	tr := sampled(t, 900, 1, func(x float64) float64 { return 50 + 0.1*x + r.NormFloat64() })
	line := Line{Origin: 100, Level: 60, Slope: 0.1}
	long, err := tr.Minus(line).Smoothed(21)
	if err != nil {
		t.Fatal(err)
	}
	net, err := tr.Net(line, 21, Range{})
	if err != nil {
		t.Fatal(err)
	}
	near, err := tr.Net(line, 21, Times(200, 400))
	if err != nil {
		t.Fatal(err)
	}
	for i := range tr.Len() {
		if net.y[i] != long.y[i] {
			t.Fatalf("point %d: %v in one go, %v in two", i, net.y[i], long.y[i])
		}
		if inside := i >= 210 && i <= 390; inside && math.Abs(near.y[i]-long.y[i]) > 1e-9 {
			t.Fatalf("point %d: %v smoothed nearby, %v smoothed everywhere", i, near.y[i], long.y[i])
		}
		if outside := i < 200 || i > 400; outside && near.y[i] != tr.y[i]-(50+0.1*float64(i)) {
			t.Fatalf("point %d: %v is smoothed outside the range", i, near.y[i])
		}
	}
	low, high := tr.ExtremesOver(line)
	if l, h := tr.Minus(line).Extremes(); l != low || h != high {
		t.Errorf("extremes %d, %d over the line; %d, %d of what is left", low, high, l, h)
	}
	for _, window := range []int{0, 2, 203} {
		if _, err := tr.Net(line, window, Times(200, 400)); err == nil {
			t.Errorf("window %d was accepted in 201 points", window)
		}
	}
}

func TestWithoutPoints(t *testing.T) {
	var none Trace
	if a := none.Apex(1); a.Index != -1 || !math.IsNaN(a.X) {
		t.Errorf("apex %+v", a)
	}
	if w, err := none.Width(none.Apex(1), 0.5); err != nil || !math.IsNaN(w.Width()) {
		t.Errorf("width %+v, %v", w, err)
	}
	if _, err := none.BaselineUnder(Baseline{}); err == nil {
		t.Error("a baseline under nothing")
	}
	if _, err := none.Moments(Range{}); err == nil {
		t.Error("moments of nothing")
	}
	if !math.IsNaN(none.At(1)) || none.String() == "" || none.SVG() == "" {
		t.Error("nothing cannot be shown")
	}
}

func TestSmoothingRefuses(t *testing.T) {
	tr := sampled(t, 20, 1, func(x float64) float64 { return x })
	for _, window := range []int{-1, 0, 4, 21} {
		if _, err := tr.Smoothed(window); err == nil {
			t.Errorf("window %d was accepted", window)
		}
	}
}

func TestBaseline(t *testing.T) {
	tr := sampled(t, 1000, 2, func(x float64) float64 {
		return 5 + 0.01*x + 40*math.Exp(-(x-1000)*(x-1000)/(2*50*50))
	})
	l, err := tr.BaselineUnder(Baseline{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope", l.Slope, 0.01, 1e-12, "put in")
	near(t, "level at 1000 s", l.At(1000), 15, 1e-9, "put in")
	near(t, "noise", l.Noise, 0, 1e-9, "none put in")
	near(t, "end of first stretch", l.Before.To, 164, 1e-9, "a twelfth of 1000 points, 2 s apart")

	net := tr.Minus(l)
	_, foot := net.XY(3)
	near(t, "foot", foot, 0, 1e-9, "baseline taken away")
	for _, k := range []float64{-100, 1e6} { // moving the signal up moves only the line
		up := sampled(t, 1000, 2, func(x float64) float64 { return tr.y[int(x/2+0.5)] + k })
		m, err := up.BaselineUnder(Baseline{})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "level moved", m.At(1000)-k, 15, 1e-9*math.Abs(k), "shift law")
	}

	given, err := tr.BaselineUnder(Baseline{Before: Times(0, 300), After: Times(1500, 1900)})
	if err != nil {
		t.Fatal(err)
	}
	if given.Before != Times(0, 300) || given.After != Times(1500, 1900) {
		t.Errorf("stretches reported as %v and %v", given.Before, given.After)
	}
	none, err := tr.BaselineUnder(Baseline{None: true})
	if err != nil || none.At(700) != 0 {
		t.Errorf("no baseline: %v, %v", none, err)
	}
}

func TestBaselineRefuses(t *testing.T) {
	tr := sampled(t, 100, 1, func(x float64) float64 { return x })
	for _, tc := range []struct {
		name string
		b    Baseline
		want string
	}{
		{"overlap", Baseline{Before: Times(0, 60), After: Times(50, 99)}, "overlap"},
		{"too short", Baseline{Before: Times(0, 1)}, "too few points"},
		{"wrong axis", Baseline{Before: Volumes(0, 1)}, "runs against time"},
		{"wrong way round", Baseline{Before: Times(10, 5)}, "wrong way round"},
		{"none but given", Baseline{None: true, Before: Times(0, 10)}, "take one of them away"},
	} {
		_, err := tr.BaselineUnder(tc.b)
		if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: error %v, want one with %q", tc.name, err, tc.want)
		}
	}
}

func TestApexOfParabola(t *testing.T) {
	tr := sampled(t, 101, 1, func(x float64) float64 { return 7 - 0.5*(x-40.3)*(x-40.3) })
	for _, reach := range []int{1, 2, 10} {
		a := tr.Apex(reach)
		near(t, "apex", a.X, 40.3, 1e-9, "a parabola is its own fit")
		near(t, "height", a.Height, 7, 1e-9, "a parabola is its own fit")
	}
	if a := tr.Apex(0); a.X != 40 || a.Index != 40 {
		t.Errorf("reach 0 gives %v, want the sample at 40", a)
	}
	ramp := sampled(t, 10, 1, func(x float64) float64 { return x })
	if a := ramp.Apex(1); a.X != 9 {
		t.Errorf("a ramp has its apex at %v, want its last sample", a.X)
	}
}

func TestWidthTakesTheOutermostCrossings(t *testing.T) {
	// Straight flanks, so that interpolation is exact, and a notch at 12 to 14.
	y := []float64{0, 0, 0, 0, 0, 2, 4, 6, 8, 10, 8, 6, 4, 6, 4, 2, 0, 0}
	x := make([]float64, len(y))
	for i := range x {
		x[i] = float64(i)
	}
	tr, err := Make("s", "", Time, x, y)
	if err != nil {
		t.Fatal(err)
	}
	w, err := tr.Width(tr.Apex(0), 0.5)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "left", w.Left, 6.5, 1e-12, "by hand")
	near(t, "inner right", w.InnerRight, 11.5, 1e-12, "by hand")
	near(t, "right", w.Right, 13.5, 1e-12, "by hand")

	cut, err := tr.Within(Times(7, 17))
	if err != nil {
		t.Fatal(err)
	}
	w, err = cut.Width(cut.Apex(0), 0.5)
	if err != nil || !math.IsNaN(w.Left) || math.IsNaN(w.Right) {
		t.Errorf("a peak cut on its left has crossings %v, %v, %v", w.Left, w.Right, err)
	}
	for _, f := range []float64{0, 1, -0.1, 50, math.NaN()} {
		if _, err := tr.Width(tr.Apex(0), f); err == nil {
			t.Errorf("fraction %v was accepted", f)
		}
	}
}

func TestWidthsTogether(t *testing.T) {
	// In any order they are what each is alone.
	tr := sampled(t, 601, 0.05, func(x float64) float64 { return made.EMG(x, 10, 0.5, 1) + 0.02*math.Sin(9*x) })
	a := tr.Apex(1)
	fractions := []float64{0.05, 0.1, 0.5, 0.1, 0.9, 0.01}
	all, err := tr.Widths(a, fractions)
	if err != nil {
		t.Fatal(err)
	}
	for i, f := range fractions {
		one, err := tr.Width(a, f)
		if err != nil {
			t.Fatal(err)
		}
		same := func(p, q float64) bool { return p == q || math.IsNaN(p) && math.IsNaN(q) }
		if g := all[i]; !same(g.Left, one.Left) || !same(g.Right, one.Right) || !same(g.InnerLeft, one.InnerLeft) || !same(g.InnerRight, one.InnerRight) {
			t.Errorf("at %v: together %+v, alone %+v", f, g, one)
		}
	}
}

func TestMoments(t *testing.T) {
	// The trapezoidal rule is exact to rounding for a smooth peak that is zero
	// at both ends.
	tr := sampled(t, 601, 0.05, func(x float64) float64 { return 100 * made.EMG(x, 10, 0.5, 0.5) })
	m, err := tr.Moments(Range{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "area", m.Area, 100, 1e-9*100, "put in")
	near(t, "M1", m.Mean, 10.5, 1e-9, "µ + τ")
	near(t, "M2", m.Variance, 0.5, 1e-9, "σ² + τ²")

	// A triangle from 0 over 1 to 4 within half samples: by hand.
	tri, err := Make("s", "", Time, []float64{0, 1, 4}, []float64{0, 3, 0})
	if err != nil {
		t.Fatal(err)
	}
	part, err := tri.Moments(Times(0.5, 2.5))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "area of a cut triangle", part.Area, (1.5+3)/2*0.5+(3+1.5)/2*1.5, 1e-12, "two trapezoids by hand")

	for _, r := range []Range{Times(-1, 5), Times(2, 1), Volumes(0, 1), Times(1.01, 1.02)} {
		if _, err := tr.Moments(r); err == nil {
			t.Errorf("moments from %v were accepted", r)
		}
	}
	if _, err := tr.Flipped().Moments(Range{}); err == nil {
		t.Error("moments of a negative peak were accepted")
	}
}

func TestSince(t *testing.T) {
	tr := sampled(t, 10, 60, func(x float64) float64 { return x })
	moved, err := tr.Since(2 * units.Minute)
	if err != nil || moved.Span() != Times(-2*units.Minute, 7*units.Minute) {
		t.Errorf("moved span %v, %v", moved.Span(), err)
	}
	if _, err := tr.SinceVolume(1 * units.Litre); err == nil || !strings.Contains(err.Error(), "runs against time") {
		t.Errorf("a volume on an axis of time: %v", err)
	}
}

func TestQuietStretchesKeepClearOfThePeak(t *testing.T) {
	for _, tc := range []struct {
		at, sigma   float64 // of 1200 samples, 1 s apart
		to, from    float64 // ends of the stretches
		description string
	}{
		{600, 30, 99, 1100, "far from both ends: a twelfth each"},
		{150, 30, 44, 1100, "one and a half widths, 3.53 σ, in front of the apex"},
		{1090, 30, 99, 1188, "no room behind: a hundredth"},
	} {
		for _, sign := range []float64{1, -1} {
			tr := sampled(t, 1200, 1, func(x float64) float64 {
				z := (x - tc.at) / tc.sigma
				return 5 + sign*math.Exp(-z*z/2)
			})
			l, err := tr.BaselineUnder(Baseline{})
			if err != nil {
				t.Fatal(err)
			}
			// The width is taken from sample to sample, two too many at most,
			// and one and a half times it counts.
			near(t, tc.description+": end in front", l.Before.To, tc.to, 3, "by hand, to the samples")
			near(t, tc.description+": start behind", l.After.From, tc.from, 3, "by hand, to the samples")
		}
	}
}

func TestMeasuringDoesNotAllocate(t *testing.T) {
	tr := sampled(t, 2000, 1, func(x float64) float64 { return made.EMG(x, 1000, 50, 30) })
	got := testing.AllocsPerRun(10, func() {
		_ = tr.Apex(3)
		if _, err := tr.Moments(Range{}); err != nil {
			t.Fatal(err)
		}
	})
	if got != 0 {
		t.Errorf("%v allocations for apex and moments", got)
	}
}

func BenchmarkSmoothed10k(b *testing.B) {
	tr := sampled(b, 10000, 1, func(x float64) float64 { return math.Sin(x / 100) })
	for b.Loop() {
		if _, err := tr.Smoothed(31); err != nil {
			b.Fatal(err)
		}
	}
}

func TestPointsAreThoseOfXY(t *testing.T) {
	tr, err := Make("UV", "mAU", Time, []float64{0, 1, 2, 4}, []float64{5, 7, 6, 5})
	if err != nil {
		t.Fatal(err)
	}
	i := 1
	for x, y := range tr.Points(1, 4) {
		if wantX, wantY := tr.XY(i); x != wantX || y != wantY {
			t.Errorf("point %d: %v, %v; want %v, %v", i, x, y, wantX, wantY)
		}
		i++
		if i == 3 {
			break
		}
	}
	if i != 3 {
		t.Errorf("stopped in front of point %d, want 3", i)
	}
}
