package bed

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/interp"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/fit"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// A Point of a curve is a steady state of a bed under flow.
type Point struct {
	Velocity          units.Velocity
	CompressionFactor float64 // settled height over the height at this velocity
	Pressure          units.Pressure
}

// A Curve is what was measured on one bed at rising velocity, each point after
// height and pressure had become steady. Readings taken while the velocity falls
// belong to another curve, since beds remember.
//
// The bed at rest belongs to every curve: no velocity, no pressure, and the
// compression factor 1, which is how the factor is defined.
type Curve struct {
	Label         string          // where it comes from: a file, a date
	SettledHeight units.Length    // of the bed it was measured on; zero: not given
	InnerDiameter units.Length    // of the column it was measured in; zero: not given
	Viscosity     units.Viscosity // of the liquid while measuring; zero: not given
	Points        []Point         // by rising velocity
	StdErr        []PointError    // of each point; nil: not known
	Freedom       int             // degrees of freedom of StdErr; zero: many
	Predicted     string          // what a curve was predicted from that was not measured at this size; empty: measured
	Doubts        []string        // of the readings that it comes from, for all that is made from it
}

// A PointError holds one standard error of each number of a point.
type PointError struct {
	CompressionFactor float64
	Pressure          units.Pressure
}

// Readings are what was read on one bed at rising velocity, one number of each
// kind for every velocity. The bed is given by its height or by its compression
// factor:
//
//	curve, err := bed.Readings{
//		SettledHeight: 20.16 * Centimetre,
//		Velocity:      CentimetrePerHour.Each(20, 40, 60, 80),
//		Height:        Centimetre.Each(19.95, 19.75, 19.58, 19.42),
//		Pressure:      Bar.Each(0.015, 0.031, 0.050, 0.070),
//	}.Curve()
type Readings struct {
	Label             string           // where they come from
	Velocity          []units.Velocity // rising
	Height            []units.Length   // of the bed under flow
	CompressionFactor []float64        // in place of Height
	Pressure          []units.Pressure // over the bed
	SettledHeight     units.Length     // of the bed at rest; needed with Height
	InnerDiameter     units.Length     // of the column; zero: not given
	Viscosity         units.Viscosity  // of the liquid; zero: not given
}

// Curve returns the readings as a curve, CF = L0/L from heights. It refuses
// readings of different number, and what the curve's Check refuses.
func (r Readings) Curve() (Curve, error) {
	c := Curve{Label: r.Label, SettledHeight: r.SettledHeight, InnerDiameter: r.InnerDiameter, Viscosity: r.Viscosity}
	bad := func(problem, remedy string) (Curve, error) {
		return Curve{}, &packing.InputError{Where: c.name(), Problem: problem, Remedy: remedy}
	}
	heights := len(r.Height) > 0
	n := len(r.CompressionFactor)
	if heights {
		n = len(r.Height)
	}
	switch {
	case heights && len(r.CompressionFactor) > 0:
		return bad("heights and compression factors were given", "give one of them")
	case len(r.Velocity) != n || len(r.Velocity) != len(r.Pressure):
		return bad(fmt.Sprintf("%d velocities, %d heights or compression factors and %d pressures", len(r.Velocity), n, len(r.Pressure)),
			"give one of each for every reading")
	case heights && !(r.SettledHeight > 0):
		return bad("heights were given without the settled height", "write for example SettledHeight: 20 * Centimetre")
	}
	for i, u := range r.Velocity {
		p := Point{Velocity: u, Pressure: r.Pressure[i]}
		if heights {
			p.CompressionFactor = r.SettledHeight.In(r.Height[i])
		} else {
			p.CompressionFactor = r.CompressionFactor[i]
		}
		c.Points = append(c.Points, p)
	}
	if err := c.Check(); err != nil {
		return Curve{}, err
	}
	return c, nil
}

// Check refuses a curve that cannot be read: fewer than three points with flow,
// numbers that are none, velocities or pressures that do not rise, a bed that
// grows under flow. It sorts and smooths nothing.
func (c Curve) Check() error {
	bad := func(i int, problem, remedy string) error {
		return &packing.InputError{Where: c.name(), What: fmt.Sprintf("point %d (%v)", i+1, c.Points[i].Velocity),
			Problem: problem, Remedy: remedy}
	}
	last := Point{0, 1, 0}
	flowing := 0
	for i, p := range c.Points {
		switch {
		case !finite(float64(p.Velocity)) || !finite(p.CompressionFactor) || !finite(float64(p.Pressure)):
			return bad(i, "it holds something that is not a number", "leave the reading out")
		case p.Velocity > 20000*units.CentimetrePerHour:
			return bad(i, "no bed sees that velocity", "was the unit forgotten? Write for example 20 * CentimetrePerHour")
		case i == 0 && p.Velocity == 0:
			if p.CompressionFactor != 1 || p.Pressure != 0 {
				return bad(i, "the bed at rest has compression factor 1 and no pressure", "subtract the reading at rest from all pressures")
			}
			continue
		case p.Velocity <= last.Velocity:
			return bad(i, fmt.Sprintf("the velocity does not rise from %v", last.Velocity), "give the readings at rising velocity only, in order")
		case p.CompressionFactor < last.CompressionFactor:
			return bad(i, fmt.Sprintf("the compression factor falls from %.5g to %.5g", last.CompressionFactor, p.CompressionFactor),
				"use steady readings; leave out those taken before the bed was settled")
		case p.Pressure <= last.Pressure:
			return bad(i, fmt.Sprintf("the pressure does not rise from %v", last.Pressure), "use steady readings, with the zero of the gauge subtracted")
		}
		last = p
		flowing++
	}
	if flowing < 3 {
		return &packing.InputError{Where: c.name(), Problem: fmt.Sprintf("%d points with flow", flowing),
			Remedy: "measure at least three, better eight, from the first step's velocity to beyond the target"}
	}
	if n := len(c.StdErr); n > 0 && n != len(c.Points) {
		return &packing.InputError{Where: c.name(), What: fmt.Sprintf("%d standard errors", n),
			Problem: fmt.Sprintf("there are %d points", len(c.Points)), Remedy: "give one for every point, or none"}
	}
	return c.checkBed()
}

// checkBed refuses sizes of the measured bed that cannot be.
func (c Curve) checkBed() error {
	for _, x := range []struct {
		what, shown, example string
		v, low, high         float64
	}{
		{"settled height", c.SettledHeight.String(), "20 * Centimetre", float64(c.SettledHeight), 1e-3, 5},
		{"inner diameter", c.InnerDiameter.String(), "30 * Centimetre", float64(c.InnerDiameter), 1e-3, 3},
		{"viscosity", c.Viscosity.String(), "1 * MillipascalSecond", float64(c.Viscosity), 1e-4, 1},
	} {
		if x.v != 0 && !(x.v >= x.low && x.v <= x.high) {
			return &packing.InputError{Where: c.name(), What: x.what + " " + x.shown, Problem: "no bed was measured so",
				Remedy: "was the unit forgotten? Write for example " + x.example}
		}
	}
	return nil
}

// down writes a number to four digits, rounded so that who takes it at its word does
// not exceed it; up, so that he does not fall short of it.
func down(v float64) string {
	return rounded(v, func(x float64) float64 { return math.Floor(x + 1e-8) })
}
func up(v float64) string { return rounded(v, func(x float64) float64 { return math.Ceil(x - 1e-8) }) }

func rounded(v float64, to func(float64) float64) string {
	if !finite(v) || v == 0 {
		return fmt.Sprint(v)
	}
	place := math.Pow(10, 3-math.Floor(math.Log10(math.Abs(v))))
	return number.Compact(to(v*place)/place, 4)
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func (c Curve) name() string {
	if c.Label == "" {
		return "curve"
	}
	return "curve " + c.Label
}

// bed is how sentences call the bed of the curve.
func (c Curve) bed() string {
	if c.Label == "" || strings.HasPrefix(c.Label, "of ") {
		return "the " + c.name()
	}
	return c.Label
}

// Last returns the point at the highest velocity; of a curve without points, the
// bed at rest.
func (c Curve) Last() Point {
	if len(c.Points) == 0 {
		return Point{0, 1, 0}
	}
	return c.Points[len(c.Points)-1]
}

// A RangeError tells that a curve was asked for something it does not reach. It
// is never extrapolated.
type RangeError struct {
	Curve string // its name
	Asked string
	Last  Point // the end of the curve
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("%s: does not reach %s: it ends at %s cm/h with compression factor %s and %v; measure on, it is not extrapolated",
		e.Curve, e.Asked, down(e.Last.Velocity.In(units.CentimetrePerHour)), down(e.Last.CompressionFactor), e.Last.Pressure)
}

// At returns compression factor and pressure at a velocity, between the points
// by monotone cubic interpolation (F. N. Fritsch and J. Butland, SIAM J. Sci.
// Stat. Comput. 5 (1984) 300-304), which never swings beyond them. It refuses
// what Check refuses, and a velocity beyond the curve with a *RangeError.
func (c Curve) At(u units.Velocity) (Point, error) {
	nan := Point{u, math.NaN(), units.Pressure(math.NaN())}
	if err := c.Check(); err != nil {
		return nan, err
	}
	if !(u >= 0) {
		return nan, &packing.InputError{Where: c.name(), What: fmt.Sprintf("velocity %v", u), Problem: "it must not be negative"}
	}
	if u > c.Last().Velocity {
		return nan, &RangeError{c.name(), fmt.Sprintf("a velocity of %v", u), c.Last()}
	}
	return c.smooth().at(u), nil
}

// ErrorAt returns the standard errors at a velocity, on straight lines between
// the points; the bed at rest has none. They are NaN where the curve does not
// know them. It refuses what At refuses.
func (c Curve) ErrorAt(u units.Velocity) (PointError, error) {
	nan := PointError{math.NaN(), units.Pressure(math.NaN())}
	if _, err := c.At(u); err != nil || len(c.StdErr) == 0 {
		return nan, err
	}
	var before Point
	var low PointError
	for i, p := range c.Points {
		high := c.StdErr[i]
		if u <= p.Velocity {
			if p.Velocity == before.Velocity {
				return high, nil
			}
			f := (u - before.Velocity).In(p.Velocity - before.Velocity)
			return PointError{low.CompressionFactor + f*(high.CompressionFactor-low.CompressionFactor), low.Pressure + (high.Pressure - low.Pressure).Times(f)}, nil
		}
		before, low = p, high
	}
	return nan, nil
}

// Upper returns the pressure at a velocity with its error: the upper end of the
// 95 % interval,
//
//	p + t·s
//
// with the pressure p, its standard error s and Student's t, 1.960 if Freedom is
// zero. It is NaN where the error is not known, and refuses what At refuses.
func (c Curve) Upper(u units.Velocity) (units.Pressure, error) {
	at, err := c.At(u)
	if err != nil {
		return units.Pressure(math.NaN()), err
	}
	e, err := c.ErrorAt(u)
	return at.Pressure + e.Pressure.Times(c.student()), err
}

// student returns Student's t for a 95 % interval.
func (c Curve) student() float64 {
	if c.Freedom > 0 {
		return fit.StudentT(0.95, float64(c.Freedom))
	}
	return fit.StudentT(0.95, 1e9) // as good as many
}

// VelocityFor returns the lowest velocity at which the bed has compression
// factor cf. It refuses what Check refuses, a factor below 1, and one beyond
// the curve with a *RangeError.
func (c Curve) VelocityFor(cf float64) (units.Velocity, error) {
	nan := units.Velocity(math.NaN())
	if err := c.Check(); err != nil {
		return nan, err
	}
	if !(cf >= 1) {
		return nan, &packing.InputError{Where: c.name(), What: fmt.Sprintf("compression factor %v", cf),
			Problem: "a bed under flow is not higher than the settled bed", Remedy: "give settled over packed height"}
	}
	if cf > c.Last().CompressionFactor {
		return nan, &RangeError{c.name(), fmt.Sprintf("compression factor %.4g", cf), c.Last()}
	}
	s := c.smooth()
	low, high := units.Velocity(0), c.Last().Velocity // cf(low) <= cf <= cf(high)
	if cf == 1 {
		return 0, nil
	}
	for range 60 {
		if mid := (low + high) / 2; s.at(mid).CompressionFactor < cf {
			low = mid
		} else {
			high = mid
		}
	}
	return high, nil
}

// WithViscosity returns the curve as it would be in a liquid of viscosity mu. In
// creeping flow the bed answers to the drag µu alone, so each velocity changes
// by the ratio of the viscosities; factors and pressures stay. It refuses a
// curve whose own viscosity was not given.
func (c Curve) WithViscosity(mu units.Viscosity) (Curve, error) {
	if err := c.checkBed(); err != nil {
		return Curve{}, err
	}
	for _, m := range []units.Viscosity{c.Viscosity, mu} {
		if !(m > 0) || math.IsInf(float64(m), 0) {
			return Curve{}, &packing.InputError{Where: c.name(), What: fmt.Sprintf("viscosity %v", m),
				Problem: "the drag cannot be compared", Remedy: "give the viscosity of the liquid it was measured in"}
		}
	}
	out := c
	out.Viscosity = mu
	out.Points = make([]Point, len(c.Points))
	for i, p := range c.Points {
		p.Velocity = p.Velocity.Times(c.Viscosity.In(mu))
		out.Points[i] = p
	}
	return out, nil
}

// smoothed is a curve ready to be read between its points.
type smoothed struct{ factor, pressure interp.FritschButland }

func (c Curve) smooth() *smoothed {
	var u, f, p []float64
	if c.Points[0].Velocity > 0 {
		u, f, p = []float64{0}, []float64{1}, []float64{0}
	}
	for _, x := range c.Points {
		u = append(u, float64(x.Velocity))
		f = append(f, x.CompressionFactor)
		p = append(p, float64(x.Pressure))
	}
	s := new(smoothed)
	for _, err := range []error{s.factor.Fit(u, f), s.pressure.Fit(u, p)} {
		if err != nil {
			panic("bed: a checked curve could not be interpolated: " + err.Error())
		}
	}
	return s
}

func (s *smoothed) at(u units.Velocity) Point {
	return Point{u, s.factor.Predict(float64(u)), units.Pressure(s.pressure.Predict(float64(u)))}
}

// oneDigit writes an error to its first digit; nothing for one that is not known.
func oneDigit(v float64) string {
	if !(v > 0) {
		return ""
	}
	return number.Cell(number.Significant(v, 1))
}

// table lists the points, with their errors if they are known.
func (c Curve) table() table.Table {
	t := table.Table{Caption: c.name(), Columns: []table.Column{
		{Name: "velocity", Unit: "cm/h", Right: true}, {Name: "compression factor", Right: true}, {Name: "pressure", Unit: "bar", Right: true}}}
	known := len(c.StdErr) == len(c.Points) && len(c.StdErr) > 0
	if known {
		column := t.Columns
		t.Columns = []table.Column{column[0], column[1], {Name: "±", Right: true}, column[2], {Name: "±", Unit: "bar", Right: true}}
	}
	for i, p := range c.Points {
		row := []string{number.Fixed(p.Velocity.In(units.CentimetrePerHour), 1), number.Fixed(p.CompressionFactor, 4)}
		if known {
			row = append(row, oneDigit(c.StdErr[i].CompressionFactor), number.Fixed(p.Pressure.In(units.Bar), 4), oneDigit(c.StdErr[i].Pressure.In(units.Bar)))
		} else {
			row = append(row, number.Fixed(p.Pressure.In(units.Bar), 3))
		}
		t.Add(row...)
	}
	return t
}

// Page shows the points as a table.
func (c Curve) Page() page.Page {
	var p page.Page
	if len(c.Points) == 0 {
		p.NoResult(nil, "the curve has no points.")
		return p
	}
	p.List("Doubts", c.Doubts)
	p.Table(c.table())
	return p
}

// String returns the page as text.
func (c Curve) String() string { return c.Page().String() }
