package fit

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/task"
)

// decay is a e^(-bx) + c.
func decay(x float64, p []float64) float64 { return p[0]*math.Exp(-p[1]*x) + p[2] }

func decayGradient(x float64, p, g []float64) {
	e := math.Exp(-p[1] * x)
	g[0], g[1], g[2] = e, -p[0]*x*e, 1
}

// noisy returns a seeded decay of 3 e^(-0.5x) + 1 with noise of 0.02.
func noisy(n int) Curve {
	r := rand.New(rand.NewPCG(11, 3))
	c := Curve{Model: decay, Gradient: decayGradient,
		Params: []Param{{Name: "a", Start: 1}, {Name: "b", Start: 1}, {Name: "c", Start: 0}}}
	for i := range n {
		x := 10 * float64(i) / float64(n-1)
		c.X = append(c.X, x)
		c.Y = append(c.Y, decay(x, []float64{3, 0.5, 1})+0.02*r.NormFloat64())
	}
	return c
}

func mustFit(t *testing.T, c Curve) Result {
	t.Helper()
	r, err := c.Fit()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Max(math.Abs(want), 1e-300)) {
		t.Errorf("%s is %.12g, want %.12g to %.0e of it", what, got, want, relative)
	}
}

func TestStudentT(t *testing.T) {
	// NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.2,
	// probability 0.975, three decimals.
	for f, want := range map[float64]float64{1: 12.706, 2: 4.303, 10: 2.228, 30: 2.042, 100: 1.984} {
		if got := StudentT(0.95, f); math.Abs(got-want) > 5.1e-4 {
			t.Errorf("t for %v degrees of freedom is %.4f, want %v", f, got, want)
		}
	}
	for _, v := range []float64{StudentT(0, 3), StudentT(1, 3), StudentT(0.95, 0), StudentT(math.NaN(), 3)} {
		if !math.IsNaN(v) {
			t.Errorf("a quantile outside its range is %v, want NaN", v)
		}
	}
}

func TestLineBand(t *testing.T) {
	x, y := []float64{1, 2, 3, 4, 5, 6}, []float64{2.1, 3.9, 6.2, 7.8, 10.1, 12.2}
	r, err := Line(x, y)
	if err != nil {
		t.Fatal(err)
	}
	// Textbook formulas of a straight line by hand: slope Sxy/Sxx, error of the
	// line at x s √(1/n + (x - x̄)²/Sxx).
	mean, meanY, sxx, sxy := 3.5, 42.3/6, 17.5, 0.0
	for i := range x {
		sxy += (x[i] - mean) * (y[i] - meanY)
	}
	slope := sxy / sxx
	rss := 0.0
	for i := range x {
		rss += math.Pow(y[i]-meanY-slope*(x[i]-mean), 2)
	}
	s := math.Sqrt(rss / 4)
	near(t, "slope", r.Params[1].Value, slope, 1e-13)
	near(t, "error of the slope", r.Params[1].StdErr, s/math.Sqrt(sxx), 1e-12)
	near(t, "residual standard deviation", r.ResidualSD, s, 1e-12)
	b, err := r.Band([]float64{0, 3.5, 8}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for i, x := range b.X {
		want := s * math.Sqrt(1.0/6+(x-mean)*(x-mean)/sxx)
		near(t, "error of the line", b.StdErr[i], want, 1e-12)
		near(t, "upper limit", b.High[i], meanY+slope*(x-mean)+2.7764451051977987*want, 1e-9) // t for 4 degrees of freedom, SciPy t.ppf(0.975, 4)
	}
	if low, high, err := r.Interval("slope", 0.95); err != nil || math.Abs((high+low)/2-slope) > 1e-12 || math.Abs((high-low)/2-2.7764451051977987*s/math.Sqrt(sxx)) > 1e-9 {
		t.Errorf("interval of the slope %v to %v, %v", low, high, err)
	}
	// The same line as a Curve must have the same band.
	c := mustFit(t, Curve{Model: func(x float64, p []float64) float64 { return p[0] + p[1]*x }, X: x, Y: y,
		Params: []Param{{Name: "intercept", Start: 1}, {Name: "slope", Start: 1}}})
	d, err := c.Band(b.X, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for i := range d.X {
		near(t, "lower limit by differences", d.Low[i], b.Low[i], 1e-7)
	}
}

func TestNonNegative(t *testing.T) {
	// Every subset of three columns tried by hand in the loop below: the best
	// one without a negative coefficient is the answer.
	r := rand.New(rand.NewPCG(4, 4))
	zeros := 0
	for range 200 {
		var design [][]float64
		var y []float64
		for range 8 {
			design = append(design, []float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()})
			y = append(y, r.NormFloat64())
		}
		l := Linear{Names: []string{"a", "b", "c"}, Design: design, Y: y, NonNegative: true}
		got, err := l.Fit()
		if err != nil {
			t.Fatal(err)
		}
		best := 0.0
		for _, v := range y {
			best += v * v // no column at all
		}
		for set := 1; set < 8; set++ {
			sub := Linear{Y: y}
			for k := range 3 {
				if set>>k&1 == 1 {
					sub.Names = append(sub.Names, l.Names[k])
				}
			}
			for _, row := range design {
				var part []float64
				for k := range 3 {
					if set>>k&1 == 1 {
						part = append(part, row[k])
					}
				}
				sub.Design = append(sub.Design, part)
			}
			f, err := sub.Fit()
			if err != nil {
				t.Fatal(err)
			}
			allowed := true
			for _, e := range f.Params {
				allowed = allowed && e.Value >= 0
			}
			if allowed {
				best = math.Min(best, f.RSS)
			}
		}
		near(t, "least sum of squares", got.RSS, best, 1e-11)
		for _, e := range got.Params {
			if e.Value < 0 {
				t.Errorf("%s is %v", e.Name, e.Value)
			}
			if e.OnBound != (e.Value == 0) || e.OnBound != math.IsNaN(e.StdErr) {
				t.Errorf("%+v: at zero, on its bound and without error go together", e)
			}
			if e.OnBound {
				zeros++
				if got.Status != OnBound || !strings.Contains(got.Reason, e.Name+" (") {
					t.Errorf("%v: %s does not name %s", got.Status, got.Reason, e.Name)
				}
			}
		}
	}
	if zeros < 100 {
		t.Errorf("only %d coefficients were held at zero; the test tests little", zeros)
	}
}

func TestDerivatives(t *testing.T) {
	written := mustFit(t, noisy(50))
	c := noisy(50)
	c.Gradient = nil
	differences := mustFit(t, c)
	if !written.Converged() || !differences.Converged() {
		t.Fatalf("%v and %v", written.Status, differences.Status)
	}
	for i, e := range written.Params {
		near(t, e.Name, differences.Params[i].Value, e.Value, 1e-8)
		near(t, "error of "+e.Name, differences.Params[i].StdErr, e.StdErr, 1e-7)
		// The truth lies within four standard errors, but not within a
		// thousandth of one for all three.
		if off := math.Abs(e.Value-[]float64{3, 0.5, 1}[i]) / e.StdErr; off > 4 {
			t.Errorf("%s is %.1f standard errors off", e.Name, off)
		}
	}
	near(t, "noise", written.ResidualSD, 0.02, 0.3) // 47 degrees of freedom: 10 % standard error
	if sum := written.Residuals[3] + written.At(written.x[3]) - c.Y[3]; math.Abs(sum) > 1e-14 {
		t.Errorf("residual and curve do not add up to the data, %v is left", sum)
	}
}

// TestScale: the units of x and y change the parameters as they must and nothing
// else.
func TestScale(t *testing.T) {
	one := mustFit(t, noisy(40))
	for _, k := range []float64{1e-9, 1e7} {
		c := noisy(40)
		for i := range c.X {
			c.X[i] *= k
			c.Y[i] *= k
		}
		c.Params[0].Start *= k
		c.Params[1].Start /= k
		r := mustFit(t, c)
		for i, scale := range []float64{k, 1 / k, k} {
			near(t, r.Params[i].Name, r.Params[i].Value, one.Params[i].Value*scale, 1e-8)
			near(t, "error of "+r.Params[i].Name, r.Params[i].StdErr, one.Params[i].StdErr*scale, 1e-7)
		}
		near(t, "R²", r.R2, one.R2, 1e-10)
		near(t, "correlation", r.Correlation[0][1], one.Correlation[0][1], 1e-6)
	}
}

func TestWeights(t *testing.T) {
	c := noisy(40)
	c.StdDev = make([]float64, 40)
	for i := range c.StdDev {
		c.StdDev[i] = 0.01 * float64(1+i%3)
	}
	proportional := mustFit(t, c)
	c.KnownNoise = true
	known := mustFit(t, c)
	for i := range c.StdDev {
		c.StdDev[i] *= 2
	}
	c.KnownNoise = false
	double := mustFit(t, c)
	for i, e := range proportional.Params {
		near(t, "error with standard deviations doubled", double.Params[i].StdErr, e.StdErr, 1e-9)
		near(t, "error from known noise", known.Params[i].StdErr*known.ResidualSD, e.StdErr, 1e-9)
	}
	// A point with next to no weight counts as left out.
	all := noisy(40)
	all.StdDev = make([]float64, 40)
	for i := range all.StdDev {
		all.StdDev[i] = 1
	}
	all.StdDev[7], all.Y[7] = 1e8, 50
	without := noisy(40)
	without.X, without.Y = append(without.X[:7], without.X[8:]...), append(without.Y[:7], without.Y[8:]...)
	a, b := mustFit(t, all), mustFit(t, without)
	near(t, "a", a.Params[0].Value, b.Params[0].Value, 1e-10)
}

func TestBoundsAndFixed(t *testing.T) {
	for _, differences := range []bool{false, true} {
		c := noisy(40)
		if differences {
			c.Gradient = nil
		}
		c.Params[2].Bounds = Between(0, 0.9)
		r := mustFit(t, c)
		e := r.Params[2]
		if r.Status != OnBound || r.Converged() || e.Value != 0.9 || !e.OnBound || !math.IsNaN(e.StdErr) || !strings.Contains(r.Reason, "c (bounds 0 to 0.9)") {
			t.Errorf("the bound at 0.9: %v, %s, %+v", r.Status, r.Reason, e)
		}
		// Held by the bound or fixed there: the same minimum. The errors count
		// one degree of freedom more when it is fixed.
		c = noisy(40)
		c.Params[2] = Param{Name: "c", Start: 0.9, Fixed: true}
		f := mustFit(t, c)
		if f.Status != Converged || f.DegreesOfFreedom != 38 || !math.IsNaN(f.Params[2].StdErr) {
			t.Errorf("fixed at 0.9: %v, %+v", f.Status, f.Params[2])
		}
		near(t, "a", r.Params[0].Value, f.Params[0].Value, 1e-8)
		near(t, "error of a", r.Params[0].StdErr*math.Sqrt(37), f.Params[0].StdErr*math.Sqrt(38), 1e-6)
		if b, err := f.Band([]float64{1}, 0.95); err != nil || !(b.StdErr[0] > 0) {
			t.Errorf("band beside a fixed parameter: %v, %v", b, err)
		}
		// Bounds that do not matter change nothing; a model that must not be
		// called outside them is not.
		c = noisy(40)
		c.Gradient = nil
		free := mustFit(t, c)
		c.Params[1].Start, c.Params[1].Bounds = 0, AtLeast(0)
		c.Model = func(x float64, p []float64) float64 {
			if p[1] < 0 {
				t.Fatalf("the model was called with b = %v, below its bound", p[1])
			}
			return decay(x, p)
		}
		r = mustFit(t, c)
		near(t, "b", r.Params[1].Value, free.Params[1].Value, 1e-8)
	}
}

func TestHonesty(t *testing.T) {
	c := noisy(40)
	c.MaxIterations = 2
	if r := mustFit(t, c); r.Status != IterationLimit || !math.IsNaN(r.Params[0].StdErr) || !strings.Contains(r.Reason, "2 iterations") {
		t.Errorf("two iterations: %v, %s, %+v", r.Status, r.Reason, r.Params[0])
	}
	for _, differences := range []bool{false, true} {
		c = noisy(40)
		c.Params = append(c.Params, Param{Name: "d", Start: 0.1}) // only c + d counts
		c.Model = func(x float64, p []float64) float64 { return decay(x, p) + p[3] }
		c.Gradient = func(x float64, p, g []float64) { decayGradient(x, p, g); g[3] = 1 }
		if differences {
			c.Gradient = nil
		}
		r := mustFit(t, c)
		if r.Status != Singular || !strings.Contains(r.Reason, "do not fix c, d:") || !math.IsNaN(r.Params[2].StdErr) || !math.IsNaN(r.Params[3].StdErr) {
			t.Errorf("two constants: %v, %s", r.Status, r.Reason)
		}
		if r.Params[0].StdErr > 0.1 || math.IsNaN(r.Params[0].StdErr) {
			t.Errorf("two constants: the error of a is %v, though a is fixed well", r.Params[0].StdErr)
		}
	}
	// A derivative of the wrong sign is no minimum.
	c = noisy(40)
	c.Gradient = func(x float64, p, g []float64) { decayGradient(x, p, g); g[0], g[1], g[2] = -g[0], -g[1], -g[2] }
	if r := mustFit(t, c); r.Status != Stalled {
		t.Errorf("wrong derivatives: %v, %s", r.Status, r.Reason)
	}
	// As many points as parameters: a curve, but no errors.
	c = noisy(3)
	if r := mustFit(t, c); !math.IsNaN(r.Params[0].StdErr) || len(r.Warnings) == 0 {
		t.Errorf("three points: %+v, %v", r.Params[0], r.Warnings)
	}
	var zero Result
	if zero.Converged() || !strings.Contains(zero.String(), "nothing has been fitted") {
		t.Errorf("the zero result: %v", zero)
	}
}

// TestExact: data without noise end at the parameters they were made with.
func TestExact(t *testing.T) {
	c := noisy(30)
	for i, x := range c.X {
		c.Y[i] = decay(x, []float64{2, 0.25, 0})
	}
	for _, differences := range []bool{false, true} {
		if differences {
			c.Gradient = nil
		}
		r := mustFit(t, c)
		if !r.Converged() || math.Abs(r.Params[0].Value-2) > 1e-9 || math.Abs(r.Params[2].Value) > 1e-9 {
			t.Errorf("%v: %s, %v", r.Status, r.Reason, r.Values())
		}
	}
}

func TestRefusals(t *testing.T) {
	good := noisy(10)
	for want, change := range map[string]func(c *Curve){
		"no model":                     func(c *Curve) { c.Model = nil },
		"no parameters":                func(c *Curve) { c.Params = nil },
		"has no name":                  func(c *Curve) { c.Params[1].Name = "" },
		"has the name of another":      func(c *Curve) { c.Params[1].Name = "a" },
		"outside its bounds, 2 to 3":   func(c *Curve) { c.Params[0].Bounds = Between(2, 3) },
		"wrong way round":              func(c *Curve) { c.Params[0].Bounds = Between(3, 2) },
		"no room between its bounds":   func(c *Curve) { c.Params[0].Bounds = Between(1, 1) },
		"which is not a number":        func(c *Curve) { c.Params[0].Start = math.NaN() },
		"every parameter is fixed":     func(c *Curve) { c.Params[0].Fixed, c.Params[1].Fixed, c.Params[2].Fixed = true, true, true },
		"2 points for 3 free":          func(c *Curve) { c.X, c.Y = c.X[:2], c.Y[:2] },
		"10 values of X for 9 of Y":    func(c *Curve) { c.Y = c.Y[:9] },
		"no points":                    func(c *Curve) { c.X, c.Y = nil, nil },
		"point 3 is":                   func(c *Curve) { c.Y[2] = math.Inf(1) },
		"1 standard deviations for 10": func(c *Curve) { c.StdDev = []float64{1} },
		"deviation of point 1 is 0":    func(c *Curve) { c.StdDev = make([]float64, 10) },
		"KnownNoise without StdDev":    func(c *Curve) { c.KnownNoise = true },
		"at the start the residual":    func(c *Curve) { c.Params[1].Start = -1000 },
	} {
		c := good
		c.X, c.Y = append([]float64(nil), good.X...), append([]float64(nil), good.Y...)
		c.Params = append([]Param(nil), good.Params...)
		change(&c)
		if _, err := c.Fit(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("the error %v does not say %q", err, want)
		}
	}
	for want, l := range map[string]Linear{
		"give either Terms":          {Y: []float64{1}},
		"has no function":            {Terms: []Term{{Name: "a"}}, X: []float64{1}, Y: []float64{1}},
		"row 2 of the design has 1":  {Names: []string{"a", "b"}, Design: [][]float64{{1, 2}, {1}, {2, 3}}, Y: []float64{1, 2, 3}},
		"3 rows of the design for 1": {Names: []string{"a"}, Design: [][]float64{{1}, {1}, {2}}, Y: []float64{1}},
		"u is +Inf at point 1":       {Terms: []Term{{"u", func(x float64) float64 { return 1 / x }}}, X: []float64{0, 1}, Y: []float64{1, 2}},
		"1 points for 2 free":        {Terms: powers("a", "b"), X: []float64{0}, Y: []float64{1}},
		"2 values of X for 1 of Y":   {Terms: powers("a"), X: []float64{0, 1}, Y: []float64{1}},
	} {
		if _, err := l.Fit(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("the error %v does not say %q", err, want)
		}
	}
	if _, err := Polynomial([]float64{1}, []float64{1}, 16); err == nil {
		t.Error("a polynomial of degree 16 was not refused")
	}
	r := mustFit(t, good)
	if _, err := r.Param("z"); err == nil || !strings.Contains(err.Error(), "there are a, b, c") {
		t.Errorf("an unknown parameter: %v", err)
	}
	if _, err := r.Band([]float64{1}, 95); err == nil {
		t.Error("a confidence of 95 was not refused")
	}
	if r, err := (Linear{Terms: powers("a", "b"), X: []float64{2, 2, 2}, Y: []float64{1, 2, 3}}).Fit(); err != nil || r.Status != Singular {
		t.Errorf("a line through one x: %v, %v", r.Status, err)
	}
}

func TestDerived(t *testing.T) {
	r := mustFit(t, noisy(50))
	half, e := r.Derived(func(p []float64) float64 { return math.Ln2 / p[1] })
	b := r.Params[1]
	near(t, "half-life", half, math.Ln2/b.Value, 1e-14)
	near(t, "its error", e, math.Ln2/(b.Value*b.Value)*b.StdErr, 1e-8) // by hand: |dh/db| s
	sum, e := r.Derived(func(p []float64) float64 { return p[0] + p[2] })
	c := r.Covariance
	near(t, "error of a sum", e, math.Sqrt(c[0][0]+c[2][2]+2*c[0][2]), 1e-8)
	near(t, "the sum", sum, r.At(0), 1e-12)
}

// TestCallbacks: a panic of the model reaches the caller, and an interrupt ends
// the search.
func TestCallbacks(t *testing.T) {
	func() {
		defer func() {
			if v := recover(); v != "stop" {
				t.Errorf("recovered %v", v)
			}
		}()
		c := noisy(10)
		c.Model = func(x float64, p []float64) float64 { panic("stop") }
		_, err := c.Fit()
		t.Errorf("no panic, %v", err)
	}()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	task.SetDefault(cancelled{ctx})
	defer task.SetDefault(nil)
	if _, err := noisy(10).Fit(); !errors.Is(err, context.Canceled) {
		t.Errorf("interrupted: %v", err)
	}
}

type cancelled struct{ ctx context.Context }

func (c cancelled) Context() context.Context  { return c.ctx }
func (c cancelled) Progress(string, int, int) {}

func ExampleCurve() {
	// Misra1a of NIST's Statistical Reference Datasets. Certified: b1
	// 238.94212918 ± 2.7070075241, b2 5.5015643181e-04 ± 7.2668688436e-06.
	result, err := Curve{
		Model:  func(x float64, p []float64) float64 { return p[0] * (1 - math.Exp(-p[1]*x)) },
		Params: []Param{{Name: "b1", Start: 250}, {Name: "b2", Start: 5e-4, Bounds: AtLeast(0)}},
		X:      []float64{77.6, 114.9, 141.1, 190.8, 239.9, 289, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760},
		Y:      []float64{10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.4, 75.47, 81.78},
	}.Fit()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(result)
	// Output:
	// Fit
	//
	// Converged: a minimum after 4 iterations.
	//
	// Parameters
	// parameter      value  standard error           95 % interval  remark
	// ---------  ---------  --------------  ----------------------  ------
	// b1             238.9             2.7          233.0 to 244.8
	// b2         0.0005502          7.3e-6  0.0005343 to 0.0005660
	//
	// How well it fits
	// quantity                        value
	// ---------------------------  --------
	// residual standard deviation  0.101879
	// residual sum of squares      0.124551
	// R²                           0.999982
	// points                             14
	// degrees of freedom                 12
	//
	// Correlation
	// parameter      b1      b2
	// ---------  ------  ------
	// b1          1.000  -0.999
	// b2         -0.999   1.000
}

// TestEdge: a search that comes to rest where the model ends has no derivatives,
// and says so.
func TestEdge(t *testing.T) {
	for _, jacobian := range []func(p, j []float64){nil, func(p, j []float64) { j[0], j[1] = math.NaN(), 1 }} {
		r, err := Problem{Params: []Param{{Name: "a", Start: 1}}, Points: 2, Jacobian: jacobian, Residuals: func(p, r []float64) {
			r[0], r[1] = 5-p[0], math.Sqrt(1-p[0]) // no number above 1
		}}.Fit()
		if err != nil || r.Converged() || !math.IsNaN(r.Params[0].StdErr) {
			t.Errorf("%v, %v, %v", r.Status, r.Params, err)
		}
	}
}

// TestCorner: a parameter starts on its bound with a slope that leads inwards,
// while the Gauss-Newton step of both leads beyond. By hand: the sum of squares
// (a - 0.9b - 1)² + (√0.19·b - 1.8353)² + 1 over b ≤ 0 is least at a = 1, b = 0.
func TestCorner(t *testing.T) {
	r, err := Problem{Params: []Param{{Name: "a"}, {Name: "b", Bounds: AtMost(0)}}, Points: 3, Residuals: func(p, r []float64) {
		r[0], r[1], r[2] = p[0]-0.9*p[1]-1, math.Sqrt(0.19)*p[1]-1.8353, 1
	}}.Fit()
	if err != nil || r.Status != OnBound || math.Abs(r.Params[0].Value-1) > 1e-9 || r.Params[1].Value != 0 {
		t.Errorf("%v (%s), %v, %v", r.Status, r.Reason, r.Params, err)
	}
}

// A fit no better than the mean has an R² of zero, without a sign.
func TestShownR2(t *testing.T) {
	r := mustFit(t, noisy(40))
	r.R2 = -1e-9
	if s := r.String(); !strings.Contains(s, "0.000000") || strings.Contains(s, "-0.000000") {
		t.Error(s)
	}
}
