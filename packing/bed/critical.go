package bed

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/fit"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// A CriticalTest is a critical velocity that was measured or estimated on one bed.
type CriticalTest struct {
	Size      Size
	Velocity  units.Velocity
	StdErr    units.Velocity  // zero: not known
	Viscosity units.Viscosity // of the liquid; zero: that of all tests
}

// CriticalTests are critical velocities of one medium in beds of several
// proportions. Fit puts a straight line through them, of
//
//	u_crit·L0 = m·(L0/D) + b
//
// each brought to one viscosity first, since critical velocities go with 1/µ.
// Source: J. J. Stickel and A. Fotopoulos, Biotechnol. Prog. 17 (2001) 740-751,
// from memory.
type CriticalTests struct {
	Label        string
	Tests        []CriticalTest
	Viscosity    units.Viscosity // that the line is for
	MeanBead     units.Length    // these three are for CriticalLine.At; zero: it cannot be used
	SettledVoid  float64
	CriticalLoss float64 // λ at the critical velocity
	Extrapolate  bool    // answer outside of the tested proportions too
	Confidence   float64 // zero: 0.95
}

// CriticalFit is a fitted line.
type CriticalFit struct {
	Tests                  CriticalTests
	Line                   CriticalLine
	SlopeErr, InterceptErr HeightVelocity
	ResidualSD             HeightVelocity
	Fit                    fit.Result // of u·L0 in m²/s against L0/D
	x, y                   []float64
	confidence             float64
	Refusal                error // why there are no numbers, or nil
}

// Fit finds slope and intercept by least squares, weighted if every test has a
// standard error. It refuses less than three tests, tests of one proportion only,
// sizes and velocities that cannot be, and a line that no bed has: one that falls
// with L0/D, though walls support a bed.
func (t CriticalTests) Fit() (CriticalFit, error) {
	r, err := t.fit()
	if err != nil {
		return CriticalFit{Tests: t, Refusal: err}, err
	}
	return r, nil
}

func (t CriticalTests) fit() (CriticalFit, error) {
	bad := func(what, problem, remedy string) (CriticalFit, error) {
		where := "critical velocities"
		if t.Label != "" {
			where = t.Label
		}
		return CriticalFit{}, &packing.InputError{Where: where, What: what, Problem: problem, Remedy: remedy}
	}
	r := CriticalFit{Tests: t, confidence: t.Confidence}
	if r.confidence == 0 {
		r.confidence = 0.95
	}
	switch {
	case len(t.Tests) < 3:
		return bad(fmt.Sprintf("%d tests", len(t.Tests)), "a line with an error needs three", "measure beds of at least three proportions, and the widest that can be had")
	case !(t.Viscosity >= 1e-4 && t.Viscosity <= 1):
		return bad(fmt.Sprintf("viscosity %v", t.Viscosity), "it must be between 0.1 and 1000 mPa·s", "write for example 1 * MillipascalSecond")
	case !(r.confidence > 0 && r.confidence < 1):
		return bad(fmt.Sprintf("confidence %v", t.Confidence), "it must be between 0 and 1", "0.95 is usual")
	}
	var sds []float64
	least, most := math.Inf(1), math.Inf(-1)
	for i, x := range t.Tests {
		at := fmt.Sprintf("test %d", i+1)
		mu := x.Viscosity
		if mu == 0 {
			mu = t.Viscosity
		}
		switch {
		case !(x.Size.InnerDiameter >= 1e-3 && x.Size.InnerDiameter <= 3 && x.Size.SettledHeight >= 1e-3 && x.Size.SettledHeight <= 5):
			return bad(fmt.Sprintf("%s, size %v", at, x.Size), "no bed has it", "was the unit forgotten? Write for example bed.Size{InnerDiameter: 30 * Centimetre, SettledHeight: 20 * Centimetre}")
		case !(x.Velocity > 0 && x.Velocity <= 20000*units.CentimetrePerHour):
			return bad(fmt.Sprintf("%s, velocity %v", at, x.Velocity), "no bed sees it", "was the unit forgotten? Write for example 700 * CentimetrePerHour")
		case !(mu >= 1e-4 && mu <= 1) || !(x.StdErr >= 0) || math.IsInf(float64(x.StdErr), 0):
			return bad(at, fmt.Sprintf("viscosity %v and standard error %v do not make sense", mu, x.StdErr), "leave what is not known at zero")
		}
		one := float64(x.Size.SettledHeight) * mu.In(t.Viscosity)
		r.x, r.y = append(r.x, x.Size.Ratio()), append(r.y, float64(x.Velocity)*one)
		if x.StdErr > 0 {
			sds = append(sds, float64(x.StdErr)*one)
		}
		least, most = math.Min(least, x.Size.Ratio()), math.Max(most, x.Size.Ratio())
	}
	if !(most > least*(1+1e-6)) {
		return bad("tests", fmt.Sprintf("all have the same settled height over diameter, %.3g", least), "measure beds of other proportions")
	}
	line := fit.Linear{Terms: []fit.Term{{Name: "b", F: func(float64) float64 { return 1 }}, {Name: "m", F: func(x float64) float64 { return x }}}, X: r.x, Y: r.y}
	if len(sds) == len(r.x) {
		line.StdDev = sds
	}
	result, err := line.Fit()
	if err != nil {
		return CriticalFit{}, err
	}
	r.Fit = result
	b, m := result.Params[0], result.Params[1]
	r.Line = CriticalLine{Slope: HeightVelocity(m.Value), Intercept: HeightVelocity(b.Value), Viscosity: t.Viscosity, CriticalLoss: t.CriticalLoss,
		MeanBead: t.MeanBead, SettledVoid: t.SettledVoid, LeastRatio: least, MostRatio: most, Extrapolate: t.Extrapolate}
	r.SlopeErr, r.InterceptErr = HeightVelocity(m.StdErr), HeightVelocity(b.StdErr)
	sum := 0.0
	for _, e := range result.Residuals {
		sum += e * e
	}
	r.ResidualSD = HeightVelocity(math.Sqrt(sum / float64(result.DegreesOfFreedom)))
	switch {
	case !(m.Value >= 0):
		return bad(fmt.Sprintf("slope %.4g ± %.2g cm²/h", r.Line.Slope.In(SquareCentimetrePerHour), r.SlopeErr.In(SquareCentimetrePerHour)),
			"walls support a bed, so it must not be negative", "look for a test that does not belong to the others, or measure beds of more different proportions")
	case !(b.Value > 0):
		return bad(fmt.Sprintf("intercept %.4g ± %.2g cm²/h", r.Line.Intercept.In(SquareCentimetrePerHour), r.InterceptErr.In(SquareCentimetrePerHour)),
			"a wide bed would have no critical velocity", "measure a wider bed")
	}
	return r, nil
}

// At returns the critical velocity of a size in a liquid of viscosity mu, with
// the confidence band of the line. It refuses a size that cannot be, and one
// outside of the tested proportions unless Extrapolate is set; then it says so.
func (f CriticalFit) At(size Size, mu units.Viscosity) (CriticalEstimate, error) {
	c, err := f.at(size, mu)
	c.Refusal = err
	return c, err
}

func (f CriticalFit) at(size Size, mu units.Viscosity) (CriticalEstimate, error) {
	bad := func(what, problem, remedy string) (CriticalEstimate, error) {
		return CriticalEstimate{}, &packing.InputError{Where: "critical line", What: what, Problem: problem, Remedy: remedy}
	}
	switch {
	case len(f.x) == 0:
		return bad("", "it was not fitted", "use CriticalTests.Fit")
	case !(size.InnerDiameter >= 1e-3 && size.InnerDiameter <= 3 && size.SettledHeight >= 1e-3 && size.SettledHeight <= 5):
		return bad(fmt.Sprintf("size %v", size), "no bed has it", "write for example bed.Size{InnerDiameter: 30 * Centimetre, SettledHeight: 20 * Centimetre}")
	case !(mu >= 1e-4 && mu <= 1):
		return bad(fmt.Sprintf("viscosity %v", mu), "it must be between 0.1 and 1000 mPa·s", "write for example 1 * MillipascalSecond")
	}
	ratio := size.Ratio()
	outside := f.Line.outside(ratio)
	if outside && !f.Line.Extrapolate {
		return bad(fmt.Sprintf("height over diameter %.3g", ratio), fmt.Sprintf("it was measured from %.3g to %.3g", f.Line.LeastRatio, f.Line.MostRatio),
			"measure there, or set Extrapolate and keep a margin")
	}
	band, err := f.Fit.Band([]float64{ratio}, f.confidence)
	if err != nil {
		return CriticalEstimate{}, err
	}
	one := f.Line.Viscosity.In(mu) / float64(size.SettledHeight)
	u := func(y float64) units.Velocity { return units.Velocity(y * one) }
	c := CriticalEstimate{Size: size, Viscosity: mu, Velocity: u(band.Y[0]), StdErr: u(band.StdErr[0]), Low: u(band.Low[0]), High: u(band.High[0])}
	switch {
	case !finite(float64(c.StdErr)) || !(c.Low > 0):
		c.Reason = "the tests do not fix the line"
	case outside:
		c.Determined = true
		c.Reason = fmt.Sprintf("extrapolated: height over diameter %.3g, measured from %.3g to %.3g", ratio, f.Line.LeastRatio, f.Line.MostRatio)
	default:
		c.Determined = true
	}
	return c, nil
}

// Page shows the line and its picture.
func (f CriticalFit) Page() page.Page {
	var p page.Page
	if len(f.x) == 0 {
		p.NoResult(f.Refusal, "nothing has been fitted.")
		return p
	}
	p.Heading(f.title())
	cm := func(v HeightVelocity) string { return number.Compact(v.In(SquareCentimetrePerHour), 5) }
	t := table.Table{Caption: fmt.Sprintf("u·L0 = m·(L0/D) + b at %v", f.Line.Viscosity), RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "value", Unit: "cm²/h", Right: true},
		{Name: "standard error", Unit: "cm²/h", Right: true}}}
	t.Add("slope m", cm(f.Line.Slope), number.Compact(f.SlopeErr.In(SquareCentimetrePerHour), 2))
	t.Add("intercept b", cm(f.Line.Intercept), number.Compact(f.InterceptErr.In(SquareCentimetrePerHour), 2))
	t.Add("residual standard deviation", cm(f.ResidualSD), "")
	p.Table(t)
	p.Text(fmt.Sprintf("%d tests, settled height over diameter from %.3g to %.3g.", len(f.x), f.Line.LeastRatio, f.Line.MostRatio))
	p.Figure(f.Figure())
	p.List("Cautions", []string{"The line holds for this lot, liquid and temperature and for the proportions that were measured. Keep well below the critical velocity."})
	return p
}

func (f CriticalFit) title() string {
	if f.Tests.Label == "" {
		return "Critical velocities"
	}
	return "Critical velocities, " + f.Tests.Label
}

// String returns the page as text.
func (f CriticalFit) String() string { return f.Page().String() }

// Figure draws the tests with the line and its confidence band.
func (f CriticalFit) Figure() figure.Figure {
	g := figure.Figure{Title: f.title(), Description: "Critical velocity times settled height against settled height over diameter, with the fitted line and its confidence band.",
		X: figure.Axis{Label: "Settled height over diameter"}, Y: figure.Axis{Label: "Critical velocity times settled height", Unit: "cm²/h", One: float64(SquareCentimetrePerHour)}}
	if len(f.x) == 0 {
		return g
	}
	var x []float64
	for k := range 41 {
		x = append(x, f.Line.LeastRatio+(f.Line.MostRatio-f.Line.LeastRatio)*float64(k)/40)
	}
	g.Lines = []figure.Line{{Name: "tests", Points: figure.Points{X: f.x, Y: f.y}, Dots: true, Bare: true}}
	if band, err := f.Fit.Band(x, f.confidence); err == nil {
		g.Lines = append(g.Lines, figure.Line{Name: "line", Points: figure.Points{X: x, Y: band.Y}},
			figure.Line{Name: fmt.Sprintf("%.4g %% band", 100*f.confidence), Points: figure.Points{X: x, Y: band.Low}, Faint: true},
			figure.Line{Points: figure.Points{X: x, Y: band.High}, Faint: true})
	}
	return g
}
