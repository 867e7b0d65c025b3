package efficiency

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/fit"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/trace"
)

// A Ground is what lies under a peak that is fitted, with parameters of its own.
type Ground int

// The grounds. The zero value is a line.
const (
	SlopedGround  Ground = iota // a straight line
	LevelGround                 // a constant
	WithoutGround               // nothing: the baseline has been taken away
)

// An EMGFit fits an exponentially modified Gaussian to a peak:
//
//	result, err := efficiency.EMGFit{}.Evaluate(uv)
//
// The zero value fits it to the whole trace, on a sloped ground.
type EMGFit struct {
	Range  trace.Range // of the trace that is fitted; zero: all of it
	Ground Ground
}

// An Uncertain is a number with one standard error, NaN where there is none.
type Uncertain struct{ Value, StdErr float64 }

// String shows the number to the second digit of its error.
func (u Uncertain) String() string {
	return number.PlusMinus(u.Value, u.StdErr)
}

// An EMGResult is a fitted peak. Positions and widths are in seconds or cubic
// metres, as the axis is; the standard errors take the noise as independent from
// sample to sample, and Warnings tell when it is not.
type EMGResult struct {
	Refusal error // why there are no numbers, or nil
	Peak    EMG
	Signal  string
	Unit    string
	Axis    trace.Axis
	Range   trace.Range // that was fitted
	Ground  Ground

	Area, Mu, Sigma, Tau  Uncertain // of the peak; Tau below zero: it fronts
	Mean, Variance        Uncertain // M1 = µ + τ, M2 = σ² + τ²
	Plates                Uncertain // M1²/M2
	Top, Height           Uncertain // position and height of the maximum
	HalfWidth             Uncertain // at half height
	TenthFront, TenthBack Uncertain // a and b at 10 % of the height
	Asymmetry             Uncertain // b/a

	// How well the curve fits.
	R2         float64
	ResidualSD float64
	Noise      float64 // from point to point; ResidualSD is about as large if the model is right
	// Lag1 is the correlation of each residual with the next, over the points
	// of the peak; about 0 if the model is right and the noise independent.
	// Runs is how many standard deviations fewer runs of one sign there are
	// there than chance makes (Wald, Wolfowitz); NaN for too few points.
	Lag1, Runs float64
	Fit        fit.Result // in the parameters of the search: area, mean, standard deviation, (τ/√M2)³, ground
	Warnings   []Warning

	fitted trace.Trace // the part of the trace that was fitted
}

// The bounds of the fit and its warnings. Common practice, no source.
const (
	mostCube      = 0.999 // of (τ/√M2)³: σ is 2.6 % of √M2 there
	lagDoubt      = 4.0   // standard deviations of the correlation of neighbours
	runsDoubt     = 4.0
	noiseDoubt    = 1.2 // residual standard deviation over noise
	leastPeakPart = 0.01
)

// Evaluate fits the peak by least squares on all points of the range.
//
// The search runs over the mean, the standard deviation and the cube of
// τ/√M2, which stay apart where the peak comes close to a Gaussian; µ, σ and τ
// with their errors follow from them, with the same values and errors as a
// search over µ, σ, τ gives. For a peak that is a Gaussian within its noise µ,
// σ and τ are not known apart: a warning says so, and Mean and Variance hold.
// Tau comes out below zero for a peak that fronts, again with a warning.
//
// The start comes from the widths at 10 % of the height by the relations of
// Foley and Dorsey. A trace without a peak is an error, and so is a fit that
// ends without a minimum; the result then has the error as Refusal.
//
// Sources: E. Grushka, Anal. Chem. 44 (1972) 1733-1738; J. P. Foley and J. G.
// Dorsey, Anal. Chem. 55 (1983) 730-737.
func (f EMGFit) Evaluate(t trace.Trace) (EMGResult, error) {
	r, err := f.evaluate(t)
	if err != nil {
		return EMGResult{Signal: t.Name, Axis: t.Axis(), Refusal: err}, err
	}
	return r, nil
}

// EMG fits an exponentially modified Gaussian to the peak of a pulse test, less
// the baseline of the test, over the range of its moments.
func (r PulseResult) EMG() (EMGResult, error) {
	if r.Refusal != nil || r.Plates == 0 {
		err := fmt.Errorf("the pulse test has no result, so that there is no peak to fit")
		return EMGResult{Refusal: err}, err
	}
	return EMGFit{Range: r.Moments.Range, Ground: WithoutGround}.Evaluate(r.recorded.Minus(r.Baseline))
}

func (f EMGFit) evaluate(t trace.Trace) (EMGResult, error) {
	if !f.Range.IsZero() {
		part, err := t.Within(f.Range)
		if err != nil {
			return EMGResult{}, err
		}
		t = part
	}
	if f.Ground < SlopedGround || f.Ground > WithoutGround {
		return EMGResult{}, fmt.Errorf("unknown ground %d; use SlopedGround, LevelGround or WithoutGround", int(f.Ground))
	}
	if t.Len() < 10 {
		return EMGResult{}, fmt.Errorf("trace %q has %d points in the range; an exponentially modified Gaussian needs 10 at the very least", t.Name, t.Len())
	}
	m := newEMGModel(t, f.Ground)
	params, err := m.start(t.Name)
	if err != nil {
		return EMGResult{}, err
	}
	found, err := fit.Problem{Params: params, Points: t.Len(), Residuals: m.residuals, Jacobian: m.jacobian, Y: m.y, MaxIterations: 2000, Tolerance: 1e-5}.Fit()
	if err != nil {
		return EMGResult{}, fmt.Errorf("trace %q: %w", t.Name, err)
	}
	if found.Status != fit.Converged && found.Status != fit.OnBound {
		return EMGResult{}, fmt.Errorf("trace %q: no exponentially modified Gaussian fits (%v): either the peak has another shape, as a cut top or more than one apex, or its baseline is bent; look at it, and narrow Range to one whole peak", t.Name, found.Status)
	}
	r := EMGResult{Signal: t.Name, Unit: t.Unit, Axis: t.Axis(), Range: t.Span(), Ground: f.Ground, Fit: found, fitted: t,
		R2: found.R2, ResidualSD: found.ResidualSD}
	r.numbers()
	r.judge(m)
	return r, nil
}

// An emgModel holds the data of a fit and what the last evaluation found, so
// that the derivatives cost next to nothing.
type emgModel struct {
	ground Ground
	x, y   []float64
	middle float64 // of the x axis, and half its length: the ground's own scale
	half   float64
	p      []float64 // parameters of the last evaluation
	shape  shape
	f, g   []float64 // the shape there, and its Gaussian
	lo, hi int       // the points between which they are not zero
}

// The parameters of the search.
const (
	pArea = iota
	pMean
	pSD
	pCube // (τ/√M2)³
	pLevel
	pSlope
)

func newEMGModel(t trace.Trace, ground Ground) *emgModel {
	x := t.Positions()
	first, last := x[0], x[len(x)-1]
	return &emgModel{ground: ground, x: x, y: t.Values(), middle: (first + last) / 2, half: (last - first) / 2,
		p: make([]float64, pCube+1), f: make([]float64, len(x)), g: make([]float64, len(x))}
}

// evaluate works the shape out at every point, unless it was the last one.
func (m *emgModel) evaluate(p []float64) {
	if m.p[pMean] == p[pMean] && m.p[pSD] == p[pSD] && m.p[pCube] == p[pCube] {
		return
	}
	copy(m.p, p)
	c := math.Cbrt(p[pCube])
	m.shape = newShape(c, math.Sqrt((1-c)*(1+c)))
	mean, per := p[pMean], 1/p[pSD]
	from, to := m.shape.ends()
	clear(m.f[m.lo:m.hi])
	clear(m.g[m.lo:m.hi])
	m.lo = sort.SearchFloat64s(m.x, mean+from*p[pSD])
	m.hi = max(m.lo, sort.SearchFloat64s(m.x, mean+to*p[pSD]))
	for i := m.lo; i < m.hi; i++ {
		m.f[i], m.g[i] = m.shape.at((m.x[i] - mean) * per)
	}
}

func (m *emgModel) residuals(p, r []float64) {
	m.evaluate(p)
	height := p[pArea] / p[pSD]
	switch m.ground {
	case WithoutGround:
		for i, y := range m.y {
			r[i] = height*m.f[i] - y
		}
	case LevelGround:
		for i, y := range m.y {
			r[i] = height*m.f[i] + p[pLevel] - y
		}
	default:
		for i, y := range m.y {
			r[i] = height*m.f[i] + p[pLevel] + p[pSlope]*(m.x[i]-m.middle)/m.half - y
		}
	}
}

func (m *emgModel) jacobian(p, j []float64) {
	m.evaluate(p)
	n := len(m.x)
	area, mean, sd, cube := j[:n], j[n:2*n], j[2*n:3*n], j[3*n:4*n]
	per := 1 / p[pSD]
	a := p[pArea] * per
	for _, column := range [][]float64{area, mean, sd, cube} {
		clear(column[:m.lo])
		clear(column[m.hi:])
	}
	for i := m.lo; i < m.hi; i++ {
		f, u := m.f[i], (m.x[i]-p[pMean])*per
		d := m.shape.derive(u, f, m.g[i])
		area[i] = f * per
		mean[i] = -a * per * d.f1
		sd[i] = -a * per * (f + u*d.f1)
		cube[i] = -a / 3 * d.h3
	}
	if m.ground != WithoutGround {
		for i := range n {
			j[pLevel*n+i] = 1
		}
	}
	if m.ground == SlopedGround {
		for i, x := range m.x {
			j[pSlope*n+i] = (x - m.middle) / m.half
		}
	}
}

// start returns the parameters with their starts: a line through the ends of
// the data as ground, the relations of Foley and Dorsey for the peak.
func (m *emgModel) start(name string) ([]fit.Param, error) {
	n := len(m.x)
	end := max(1, n/20)
	front, back := mean(m.y[:end]), mean(m.y[n-end:])
	above := func(i int) float64 { return m.y[i] - front - (back-front)*float64(i)/float64(n-1) }
	if m.ground == WithoutGround {
		above = func(i int) float64 { return m.y[i] }
	}
	top := 0
	for i := range n {
		if math.Abs(above(i)) > math.Abs(above(top)) {
			top = i
		}
	}
	height := above(top)
	if height == 0 || top == 0 || top == n-1 {
		return nil, fmt.Errorf("trace %q has no peak to fit: its largest value is at an end of the range; set Range around a whole peak", name)
	}
	// Where the trace crosses a fraction of the height for good, two points in
	// a row.
	cross := func(fraction float64, step int) float64 {
		level := fraction * math.Abs(height)
		i := top
		for i+2*step >= 0 && i+2*step < n {
			if i += step; above(i)*height < level*math.Abs(height) && above(i+step)*height < level*math.Abs(height) {
				break
			}
		}
		return math.Abs(m.x[i] - m.x[top])
	}
	a, b := cross(0.1, -1), cross(0.1, 1)
	if !(a > 0 && b > 0) {
		return nil, fmt.Errorf("trace %q has no peak to fit: its highest point, at %v, is a spike; set Range around a whole peak", name, m.x[top])
	}
	side := 1.0
	if b < a {
		a, b, side = b, a, -1
	}
	as, w := math.Min(math.Max(b/a, 1.09), 2.76), a+b // the range of the relations
	sigma := w / (3.27*as + 1.2)
	variance := w * w / (1.764*as*as - 11.15*as + 28)
	tau := math.Sqrt(math.Max(variance-sigma*sigma, 0))
	sd := math.Hypot(sigma, tau)
	centre := m.x[top] + side*(tau-sigma*(-0.193*as*as+1.162*as-0.545))
	cube := side * math.Pow(tau/sd, 3)
	shape := newShape(cubeRoot(cube))
	f, _ := shape.at((m.x[top] - centre) / sd)
	if !(f > 0.1) {
		f = 0.4
	}
	span := m.x[n-1] - m.x[0]
	params := []fit.Param{
		{Name: "area", Start: height * sd / f},
		{Name: "mean", Start: centre},
		{Name: "standard deviation", Start: sd, Bounds: fit.Between(span*1e-7, 10*span)},
		{Name: "cube", Start: cube, Bounds: fit.Between(-mostCube, mostCube)},
	}
	if m.ground != WithoutGround {
		params = append(params, fit.Param{Name: "level", Start: (front + back) / 2})
	}
	if m.ground == SlopedGround {
		params = append(params, fit.Param{Name: "slope", Start: (back - front) / 2})
	}
	return params, nil
}

// cubeRoot returns c and σ/√M2 of a shape from the cube of c.
func cubeRoot(cube float64) (c, sigma float64) {
	c = math.Cbrt(cube)
	return c, math.Sqrt((1 - c) * (1 + c))
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// numbers works out what follows from the parameters of the search, with errors
// by the delta method.
func (r *EMGResult) numbers() {
	p := r.Fit.Values()
	a, m, s, q := p[pArea], p[pMean], p[pSD], p[pCube]
	c, sigma := cubeRoot(q)
	r.Peak = EMG{Area: a, Mu: m - s*c, Sigma: s * sigma, Tau: s * c}
	byCube := 1 / (3 * c * c) // dc/dq
	held := r.Fit.Params[pCube].OnBound
	// The error of v from its derivatives by area, mean, sd and cube.
	uncertain := func(v float64, g ...float64) Uncertain {
		sum := 0.0
		for i := range g {
			for k := range g {
				if g[i] == 0 || g[k] == 0 || held && (i == pCube || k == pCube) {
					continue
				}
				sum += g[i] * r.Fit.Covariance[i][k] * g[k]
			}
		}
		if c == 0 && len(g) > pCube && math.IsInf(g[pCube], 0) {
			sum = math.NaN()
		}
		return Uncertain{v, math.Sqrt(sum)}
	}
	r.Area = uncertain(a, 1)
	r.Mean = uncertain(m, 0, 1)
	r.Variance = uncertain(s*s, 0, 0, 2*s)
	r.Plates = uncertain(m*m/(s*s), 0, 2*m/(s*s), -2*m*m/(s*s*s))
	r.Mu = uncertain(r.Peak.Mu, 0, 1, -c, -s*byCube)
	r.Sigma = uncertain(r.Peak.Sigma, 0, 0, sigma, -s*c/sigma*byCube)
	r.Tau = uncertain(r.Peak.Tau, 0, 0, c, s*byCube)

	at := func(q float64) marks {
		shape := newShape(cubeRoot(q))
		return shape.marks()
	}
	here := at(q)
	h := 1e-5 * math.Max(math.Abs(q), 1e-3)
	if math.Abs(q)+h > mostCube {
		h = -math.Copysign(h, q) // one step back from the bound
	}
	there := at(q + h)
	slope := func(of func(m marks) float64) float64 { return (of(there) - of(here)) / h }
	if math.Abs(q)+math.Abs(h) <= mostCube {
		other := at(q - h)
		slope = func(of func(m marks) float64) float64 { return (of(there) - of(other)) / (2 * h) }
	}
	position := func(of func(m marks) float64) (v, byMean, bySD, byQ float64) {
		return m + s*of(here), 1, of(here), s * slope(of)
	}
	width := func(of func(m marks) float64) Uncertain {
		return uncertain(s*of(here), 0, 0, of(here), s*slope(of))
	}
	v, g1, g2, g3 := position(func(m marks) float64 { return m.top })
	r.Top = uncertain(v, 0, g1, g2, g3)
	height := func(m marks) float64 { return m.height }
	r.Height = uncertain(a/s*here.height, here.height/s, 0, -a/(s*s)*here.height, a/s*slope(height))
	r.HalfWidth = width(func(m marks) float64 { return m.halfRight - m.halfLeft })
	r.TenthFront = width(func(m marks) float64 { return m.top - m.tenthLeft })
	r.TenthBack = width(func(m marks) float64 { return m.tenthRight - m.top })
	as := func(m marks) float64 { return (m.tenthRight - m.top) / (m.top - m.tenthLeft) }
	r.Asymmetry = uncertain(as(here), 0, 0, 0, slope(as))
}

func (r *EMGResult) warn(what, do string) {
	r.Warnings = append(r.Warnings, Warning{What: what, Do: do})
}

// judge compares the residuals with chance and adds the warnings.
func (r *EMGResult) judge(m *emgModel) {
	m.evaluate(r.Fit.Values()) // the last trial may have been another
	left := r.Fit.Residuals
	r.Noise = pointToPoint(m.y)
	// Over the points of the peak.
	var part []float64
	least := leastPeakPart * r.Height.Value / (r.Area.Value / r.Fit.Values()[pSD]) // in the scale of the shape
	for i, f := range m.f {
		if f > least {
			part = append(part, left[i])
		}
	}
	r.Lag1, r.Runs = neighbours(part), runs(part)
	n := math.Sqrt(float64(len(part)))
	exact := r.ResidualSD <= 1e-9*math.Abs(r.Height.Value) // rounding, which is no noise

	q := r.Fit.Params[pCube]
	switch {
	case q.OnBound:
		r.warn("The peak is steeper in front than an exponentially modified Gaussian can be told to be: its Gaussian part is held at the least the fit allows", "Read mean and variance with care, and look for a step or a dead volume in front of the detector")
	case !(math.Abs(q.Value) > 2*q.StdErr) && !exact:
		r.warn("The peak is a Gaussian within its noise: µ, σ and τ are not known apart", "Use mean, variance and plates, which are")
	case q.Value < 0 && math.Abs(math.Cbrt(q.Value)) > 1e-3:
		r.warn("The peak fronts: the exponential is mirrored and τ is below zero", "Look for overload, a cracked or over-compressed bed; judge the asymmetry, which is below 1")
	}
	if r.Area.Value < 0 {
		r.warn("The peak points down, so that its area and height are below zero", "Check that this is the right signal; a sample of less salt than the buffer gives such a peak in conductivity")
	}
	if exact {
		return
	}
	if r.Lag1 > lagDoubt/n && r.Runs > runsDoubt {
		r.warn(fmt.Sprintf("Neighbouring residuals go together (correlation %.2f): either the peak has another shape than the curve, or the detector smooths its noise", r.Lag1),
			"Look at the residuals: waves under the peak mean another shape, and plates and asymmetry should then be taken from the trace itself. The standard errors are too small either way")
	}
	if r.ResidualSD > noiseDoubt*r.Noise {
		r.warn(fmt.Sprintf("The curve misses the trace by %.2g on average, while the noise from point to point is %.2g", r.ResidualSD, r.Noise), "The peak has another shape than the curve; take the numbers from the trace itself")
	}
}

// pointToPoint returns the standard deviation of independent noise from second
// differences, √(Σ(y1 - 2 y2 + y3)²/6n).
func pointToPoint(y []float64) float64 {
	sum := 0.0
	for i := 2; i < len(y); i++ {
		d := y[i-2] - 2*y[i-1] + y[i]
		sum += d * d
	}
	return math.Sqrt(sum / 6 / float64(len(y)-2))
}

// neighbours returns the correlation of each number with the next.
func neighbours(v []float64) float64 {
	own, next := 0.0, 0.0
	for i, x := range v {
		own += x * x
		if i > 0 {
			next += x * v[i-1]
		}
	}
	return next / own
}

// runs returns by how many standard deviations there are fewer runs of one sign
// than chance makes; NaN for fewer than 20 numbers.
//
// Source: A. Wald and J. Wolfowitz, Ann. Math. Stat. 11 (1940) 147-162.
func runs(v []float64) float64 {
	if len(v) < 20 {
		return math.NaN()
	}
	plus, minus, count := 0.0, 0.0, 0.0
	for i, x := range v {
		if x >= 0 {
			plus++
		} else {
			minus++
		}
		if i == 0 || (x >= 0) != (v[i-1] >= 0) {
			count++
		}
	}
	n := plus + minus
	expected := 2*plus*minus/n + 1
	return (expected - count) / math.Sqrt((expected-1)*(expected-2)/(n-1))
}

// Calculation shows how a number was worked out from the fitted µ, σ and τ:
// Mean, Variance, Plates or Asymmetry. Another name is an error that lists them.
func (r EMGResult) Calculation(name string) (Calculation, error) {
	if r.Fit.Status == fit.NotFitted {
		return Calculation{}, fmt.Errorf("no calculation: nothing has been fitted")
	}
	one, unit := r.axisUnit()
	on := func(v float64) string { return quantity(v/one, 5, unit) }
	bare := func(v float64) string { return number.Significant(v/one, 5) }
	const grushka = "E. Grushka, Anal. Chem. 44 (1972) 1733-1738"
	letters := "µ and σ mean and standard deviation of the Gaussian, τ time constant of the exponential, fitted by least squares"
	all := []Calculation{
		{"Mean", "Mean of the fitted peak", `M_1 = \mu + \tau`, fmt.Sprintf(`%s + %s = %s`, bare(r.Mu.Value), bare(r.Tau.Value), on(r.Mean.Value)), letters, grushka, ""},
		{"Variance", "Variance of the fitted peak", `M_2 = \sigma^2 + \tau^2`, fmt.Sprintf(`(%s)^2 + (%s)^2 = %s`, bare(r.Sigma.Value), bare(r.Tau.Value), exact(number.Significant(r.Variance.Value/one/one, 5), unit+"^2")), letters, grushka, ""},
		{"Plates", "Plates of the fitted peak by its moments", `N = \frac{M_1^2}{M_2} = \frac{(\mu + \tau)^2}{\sigma^2 + \tau^2}`,
			fmt.Sprintf(`\frac{(%s)^2}{%s} = %s`, bare(r.Mean.Value), number.Significant(r.Variance.Value/one/one, 5), number.Fixed(r.Plates.Value, 0)), letters, grushka, "asymmetry " + r.Asymmetry.String() + ", and the test's velocity"},
		{"Asymmetry", "Asymmetry of the fitted peak at 10 % of its height", `A_s = \frac{b}{a}`, fmt.Sprintf(`\frac{%s}{%s} = %s`, on(r.TenthBack.Value), on(r.TenthFront.Value), number.Fixed(r.Asymmetry.Value, 2)),
			"a width in front of the maximum, b width behind it, at a tenth of the height of the fitted curve", practice, ""},
	}
	return calculationNamed(all, name)
}

// Page lays the result out.
func (r EMGResult) Page() page.Page {
	var p page.Page
	p.Heading("Exponentially modified Gaussian of " + r.Signal)
	if r.Refusal != nil || r.Fit.Status == fit.NotFitted {
		p.NoResult(r.Refusal, "nothing has been fitted.")
		return p
	}
	p.List("Doubts", sentences(r.Warnings))
	p.Table(r.Table())
	p.Figure(r.Figure())
	p.Table(r.Goodness())
	return p
}

// Doubts returns the warnings, each with what to do.
func (r EMGResult) Doubts() table.Table {
	if r.Fit.Status == fit.NotFitted {
		return without("Doubts", r.Refusal)
	}
	return doubts(r.Warnings)
}

// Table returns the numbers of the peak with their errors.
func (r EMGResult) Table() table.Table {
	if r.Fit.Status == fit.NotFitted {
		return without("The peak", r.Refusal)
	}
	one, unit := r.axisUnit()
	t := table.Table{Caption: "The peak", RowHeaders: true, Columns: []table.Column{{Name: "quantity"}, {Name: "value", Right: true}, {Name: "standard error", Right: true}, {Name: "unit"}}}
	add := func(name string, u Uncertain, one float64, unit string) {
		v, e := number.WithError(u.Value/one, u.StdErr/one)
		t.Add(name, v, e, unit)
	}
	add("plates, M1²/M2", r.Plates, 1, "")
	add("asymmetry at 10 %, b/a", r.Asymmetry, 1, "")
	add("µ", r.Mu, one, unit)
	add("σ", r.Sigma, one, unit)
	add("τ", r.Tau, one, unit)
	add("mean, M1 = µ + τ", r.Mean, one, unit)
	add("variance, M2 = σ² + τ²", r.Variance, one*one, unit+"²")
	add("maximum at", r.Top, one, unit)
	add("height", r.Height, 1, r.Unit)
	add("width at 50 %", r.HalfWidth, one, unit)
	add("a at 10 %", r.TenthFront, one, unit)
	add("b at 10 %", r.TenthBack, one, unit)
	add("area", r.Area, one, strings.TrimSpace(r.Unit+" "+unit))
	return t
}

// Goodness tells how well the curve fits.
func (r EMGResult) Goodness() table.Table {
	if r.Fit.Status == fit.NotFitted {
		return without("How well it fits", r.Refusal)
	}
	g := table.Table{Caption: "How well it fits", RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "found"}}}
	g.Add("fitted", fmt.Sprintf("%d points, %s, %s", r.Fit.Points, r.Range, []string{"on a sloped ground", "on a level ground", "without a ground"}[r.Ground]))
	g.Add("R²", number.Fixed(r.R2, 6))
	g.Add("residual standard deviation", fmt.Sprintf("%.3g %s; noise from point to point %.3g %s", r.ResidualSD, r.Unit, r.Noise, r.Unit))
	chance := "too few points for a test of their runs"
	switch {
	case r.Runs > 0:
		chance = fmt.Sprintf("%.1f standard deviations fewer runs of one sign than by chance", r.Runs)
	case r.Runs <= 0:
		chance = fmt.Sprintf("%.1f standard deviations more runs of one sign than by chance", -r.Runs)
	}
	g.Add("residuals of neighbours", fmt.Sprintf("correlation %.2f; %s", r.Lag1, chance))
	g.Add("search", r.Fit.Status.String()+", "+r.Fit.Reason)
	return g
}

// axisUnit returns the unit that positions are shown in.
func (r EMGResult) axisUnit() (one float64, unit string) {
	if r.Axis == trace.Volume {
		return 1e-3, "L"
	}
	return 60, "min"
}

// ground returns the fitted ground at x.
func (r EMGResult) ground(x float64) float64 {
	p := r.Fit.Values()
	switch r.Ground {
	case LevelGround:
		return p[pLevel]
	case SlopedGround:
		from, to := r.Range.From, r.Range.To
		return p[pLevel] + p[pSlope]*(2*x-from-to)/(to-from)
	}
	return 0
}

// Figure draws the trace with the fitted curve, above the residuals.
func (r EMGResult) Figure() figure.Stack {
	one, unit := r.axisUnit()
	if r.fitted.Len() == 0 {
		return figure.Stack{Title: "No fit", Description: "Nothing has been fitted"}
	}
	s := math.Sqrt(r.Peak.Variance())
	from, to := math.Max(r.Range.From, r.Peak.Mean()-6*s), math.Min(r.Range.To, r.Peak.Mean()+8*s)
	var xs, ys, curve, left []float64
	for i := range r.fitted.Len() {
		x, y := r.fitted.XY(i)
		if x >= from && x <= to {
			xs, ys = append(xs, x), append(ys, y)
			curve, left = append(curve, r.Peak.At(x)+r.ground(x)), append(left, r.Fit.Residuals[i])
		}
	}
	axis := figure.Axis{Label: strings.ToUpper(r.Axis.String()[:1]) + r.Axis.String()[1:], Unit: unit, One: one}
	return figure.Stack{
		Title:       "Exponentially modified Gaussian of " + r.Signal,
		Description: fmt.Sprintf("Trace and fitted curve above, residuals below. Plates M1²/M2 %v, asymmetry at 10 %% %v, residual standard deviation %.2g against a noise of %.2g, correlation of neighbouring residuals %.2f.", r.Plates, r.Asymmetry, r.ResidualSD, r.Noise, r.Lag1),
		Panels: []figure.Figure{
			{X: axis, Y: figure.Axis{Label: r.Signal, Unit: r.Unit}, Height: 300,
				Lines: []figure.Line{{Name: "recorded", Points: figure.Points{X: xs, Y: ys}, Faint: true}, {Name: "fitted", Points: figure.Points{X: xs, Y: curve}}}},
			{X: axis, Y: figure.Axis{Label: "Residual", Unit: r.Unit}, Height: 160,
				Lines: []figure.Line{{Points: figure.Points{X: xs, Y: left}}}, Levels: []figure.Level{{Y: 0}}},
		},
	}
}

// String returns the page as text.
func (r EMGResult) String() string { return r.Page().String() }
