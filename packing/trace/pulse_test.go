package trace

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
)

func TestRubberBand(t *testing.T) {
	// A baseline that bends upwards at both ends is its own convex hull; the
	// band crosses under the peak on a chord, wrong by curvature · length²/8.
	const bend = 4e-5
	base := func(x float64) float64 { return 5 + bend*(x-1000)*(x-1000) }
	peak := func(x float64) float64 { return 40 * math.Exp(-(x-1000)*(x-1000)/(2*50*50)) }
	for _, sign := range []float64{1, -1} {
		tr := sampled(t, 1001, 2, func(x float64) float64 { return sign * (base(x) + peak(x)) })
		l, err := tr.BaselineUnder(Baseline{RubberBand: true})
		if err != nil {
			t.Fatal(err)
		}
		x, y := l.Knots()
		if !l.Bent() || len(x) != len(y) || x[0] != 0 || x[len(x)-1] != 2000 {
			t.Fatalf("knots %v, %v", x, y)
		}
		for x := 0.0; x < 700; x += 10 {
			near(t, "band", l.At(x), sign*base(x), peak(x)+1e-9, "the baseline put in, at its samples, with what the peak has there")
			near(t, "band in a sample", l.At(x+1), sign*base(x+1), bend*2*2/8*2+peak(x+2)+1e-9, "chord of a sample: curvature h²/8")
		}
		near(t, "band under the peak", l.At(1000), sign*base(1000), bend*600*600/4, "chord of 600 s, 2 bend L²/8")
		net := tr.Minus(l)
		for i := range 300 {
			if _, v := net.XY(i); math.Abs(v) > 1e-9 {
				t.Fatalf("point %d of what is left is %v, want 0", i, v)
			}
		}
		straight, err := tr.BaselineUnder(Baseline{})
		if err != nil {
			t.Fatal(err)
		}
		if straight.Bent() || math.Abs(straight.At(1000)-sign*base(1000)) < 5 {
			t.Errorf("a straight line is %v under the peak, the baseline %v: this test would show nothing", straight.At(1000), sign*base(1000))
		}
		low, high := tr.ExtremesOver(l)
		if l, h := net.Extremes(); l != low || h != high {
			t.Errorf("extremes %d, %d over the band; %d, %d of what is left", low, high, l, h)
		}
		down := tr.Flipped().Minus(l.Flipped())
		for i := range tr.Len() {
			_, a := net.XY(i)
			if _, b := down.XY(i); a != -b {
				t.Fatalf("point %d: %v, turned over %v", i, a, b)
			}
		}
	}
}

func TestRubberBandRunsThroughTheNoise(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	const noise, n = 0.1, 4000
	tr := sampled(t, n, 1, func(x float64) float64 {
		return 40*math.Exp(-(x-2000)*(x-2000)/(2*100*100)) + noise*r.NormFloat64()
	})
	l, err := tr.BaselineUnder(Baseline{RubberBand: true})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "noise", l.Noise, noise, 4*noise/math.Sqrt(2*666)+0.1*noise, "666 points; the band follows some of them")
	mean := 0.0
	net := tr.Minus(l)
	for i := range n / 12 {
		_, v := net.XY(i)
		mean += v / (n / 12)
	}
	// Without the lift it would be about three times the noise.
	if math.Abs(mean) > noise {
		t.Errorf("the points stand %v above the band in a quiet stretch with noise %v", mean, noise)
	}
}

func TestNetWithin(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 9))
	tr := sampled(t, 1500, 1, func(x float64) float64 { return 50 + 0.1*x + 3*r.NormFloat64() })
	line := Line{Origin: 100, Level: 60, Slope: 0.1}
	for _, window := range []int{1, 3, 5, 21, 701} {
		whole, err := tr.Net(line, window, Range{})
		if err != nil {
			t.Fatal(err)
		}
		for _, near := range []Range{Times(0, 1499), Times(400, 900), Times(0, 10), Times(1490, 1499), Times(700, 700.5)} {
			part, front, back, err := tr.NetWithin(line, window, near)
			if err != nil {
				t.Fatal(err)
			}
			wantFront, wantBack, k := math.Inf(-1), math.Inf(-1), 0
			for i := range whole.Len() {
				switch x, y := whole.XY(i); {
				case x < near.From:
					wantFront = math.Max(wantFront, y)
				case x > near.To:
					wantBack = math.Max(wantBack, y)
				default:
					if px, py := part.XY(k); px != x || math.Abs(py-y) > 1e-12*math.Abs(y)+1e-12 {
						t.Fatalf("window %d, %v: (%v, %v), want (%v, %v)", window, near, px, py, x, y)
					}
					k++
				}
			}
			if k != part.Len() || math.Abs(front-wantFront) > 1e-12*math.Abs(front) || math.Abs(back-wantBack) > 1e-12*math.Abs(back) {
				t.Errorf("window %d, %v: %d points, %v and %v outside; want %d, %v and %v", window, near, part.Len(), front, back, k, wantFront, wantBack)
			}
		}
	}
	for _, bad := range []struct {
		window int
		near   Range
	}{{2, Times(0, 10)}, {1501, Times(0, 10)}, {5, Times(2000, 3000)}, {5, Volumes(0, 1)}} {
		if _, _, _, err := tr.NetWithin(line, bad.window, bad.near); err == nil {
			t.Errorf("window %d within %v was accepted", bad.window, bad.near)
		}
	}
}

func TestTangents(t *testing.T) {
	// A cubic flank up and down: y = 3u² - 2u³ from u = 0 to 1 has its inflection
	// at u = 1/2, y = 1/2, with a slope of 3/2, and its tangent's foot at 1/6.
	f := func(u float64) float64 { return u * u * (3 - 2*u) }
	tr := sampled(t, 201, 0.01, func(x float64) float64 {
		if x <= 1 {
			return f(x)
		}
		return f(2 - x)
	})
	g, err := tr.Tangents(tr.Apex(1), 5)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"front inflection", g.Front.X, 0.5}, {"its value", g.Front.Y, 0.5}, {"its slope", g.Front.Slope, 1.5}, {"its foot", g.Front.Foot, 1.0 / 6},
		{"back inflection", g.Back.X, 1.5}, {"its slope", g.Back.Slope, -1.5}, {"its foot", g.Back.Foot, 2 - 1.0/6},
		{"width", g.Width(), 2 - 1.0/3},
	} {
		near(t, c.what, c.got, c.want, 1e-9, "by hand: the fit of a cubic to a cubic")
	}
	ramp := sampled(t, 20, 1, func(x float64) float64 { return x })
	if _, err := ramp.Tangents(ramp.Apex(1), 2); err == nil {
		t.Error("tangents of a ramp")
	}
	same, err := Make("s", "", Time, []float64{0, 1, 1, 1, 1, 1, 2, 3}, []float64{0, 1, 2, 3, 4, 3, 2, 0})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := same.Tangents(same.Apex(1), 2); err == nil {
		t.Error("tangents of samples at one place")
	}
}

func TestTwoPeaks(t *testing.T) {
	g := func(x, at, sigma float64) float64 { return math.Exp(-(x - at) * (x - at) / (2 * sigma * sigma)) }
	// Far apart: each is as if alone.
	tr := sampled(t, 2001, 0.01, func(x float64) float64 { return 10*g(x, 6, 0.5) + 4*g(x, 13, 0.8) })
	p, err := tr.TwoPeaks(1, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "first", p.First.X, 6, 1e-4, "put in; a parabola through three samples")
	near(t, "second", p.Second.X, 13, 1e-4, "put in; a parabola through three samples")
	near(t, "first width", p.FirstHalf.Width(), 2.354820*0.5, 1e-4, "√(8 ln 2) σ")
	near(t, "second width", p.SecondHalf.Width(), 2.354820*0.8, 1e-4, "√(8 ln 2) σ")
	if !(p.Valley.X > 8 && p.Valley.X < 11) || p.Valley.Height > 0.01 {
		t.Errorf("valley %+v", p.Valley)
	}
	near(t, "rise", p.Rise, 4-p.Valley.Height, 1e-4, "from the valley to the lower apex")
	// Mirrored they change places.
	m := sampled(t, 2001, 0.01, func(x float64) float64 { return 10*g(20-x, 6, 0.5) + 4*g(20-x, 13, 0.8) })
	q, err := m.TwoPeaks(1, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mirrored", q.First.X, 20-p.Second.X, 1e-9, "mirror")
	near(t, "mirrored width", q.FirstHalf.Width(), p.SecondHalf.Width(), 1e-9, "mirror")

	// The valley above half height of both: no width on that side.
	close := sampled(t, 2001, 0.01, func(x float64) float64 { return 10*g(x, 9, 0.6) + 10*g(x, 10.5, 0.6) })
	p, err = close.TwoPeaks(1, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	if p.Valley.Height < 5 || !math.IsNaN(p.FirstHalf.Width()) || !math.IsNaN(p.SecondHalf.Width()) {
		t.Errorf("valley %v, widths %v and %v", p.Valley.Height, p.FirstHalf.Width(), p.SecondHalf.Width())
	}

	one := sampled(t, 2001, 0.01, func(x float64) float64 { return made.EMG(x, 10, 0.5, 0.5) })
	if _, err := one.TwoPeaks(1, 0.01); err == nil || !strings.Contains(err.Error(), "one peak") {
		t.Errorf("one peak: %v", err)
	}
	for _, least := range []float64{0, -1, math.NaN()} {
		if _, err := one.TwoPeaks(1, least); err == nil {
			t.Errorf("a rise of %v was accepted", least)
		}
	}
	var none Trace
	if _, err := none.TwoPeaks(1, 1); err == nil {
		t.Error("two peaks of nothing")
	}
}

func TestSteps(t *testing.T) {
	tr, err := Make("s", "", Time, []float64{0, 1, 2, 2, 2, 5, 6, 9}, make([]float64, 8))
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		r           Range
		longest, at float64
		same        int
	}{{Times(0, 6), 3, 2, 2}, {Times(0, 9), 3, 2, 2}, {Times(4, 9), 3, 6, 0}, {Times(1.5, 3), 0, 2, 2}} {
		if longest, at, same := tr.Steps(tc.r); longest != tc.longest || at != tc.at || same != tc.same {
			t.Errorf("%v: %v at %v, %d; want %v at %v, %d", tc.r, longest, at, same, tc.longest, tc.at, tc.same)
		}
	}
	for _, r := range []Range{Times(20, 30), Volumes(0, 1), Times(3, 2)} {
		if longest, at, same := tr.Steps(r); longest != 0 || !math.IsNaN(at) || same != 0 {
			t.Errorf("%v: %v at %v, %d", r, longest, at, same)
		}
	}
}
