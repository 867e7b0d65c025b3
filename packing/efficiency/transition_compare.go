package efficiency

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// A FrontComparison is a transition beside a reference of the same kind, an
// earlier cycle of the same column. Differences are this one less the
// reference.
type FrontComparison struct {
	Refusal               error // why there is no comparison, or nil
	Transition, Reference TransitionResult

	// Distance is the largest difference of the two fronts, in parts of the
	// step, against column volumes, and At is where it is, in column volumes.
	Distance, At float64
	// ShapeDistance is the same with both moved so that their half is at the
	// same place: what is left when the one only comes earlier.
	ShapeDistance, ShapeAt float64
	// Floor is a distance that noise alone may make: three standard errors of
	// the difference of two smoothed values.
	Floor float64

	Warnings []Warning
}

// Against compares the transition with a reference of the same kind. Another
// name, direction or unit of the signal, or a column of other width, is
// refused: such fronts differ for reasons that are not in the bed.
func (r TransitionResult) Against(reference TransitionResult) (FrontComparison, error) {
	c, err := r.against(reference)
	if err != nil {
		return FrontComparison{Refusal: err}, err
	}
	return c, nil
}

func (r TransitionResult) against(reference TransitionResult) (FrontComparison, error) {
	none := FrontComparison{}
	a, b := r.Transition, reference.Transition
	switch {
	case len(r.front.y) == 0 || len(reference.front.y) == 0:
		return none, fmt.Errorf("a comparison needs two transitions that were evaluated without an error")
	case a.Name == "" || b.Name == "":
		return none, fmt.Errorf("transitions without a name are not compared: give both a Name that says which step it is, as \"wash to elution\"")
	case a.Name != b.Name:
		return none, fmt.Errorf("transition %q is not compared with %q: compare only like with like", a.Name, b.Name)
	case r.Rising != reference.Rising:
		return none, fmt.Errorf("one transition %q rises and the other falls: they are two kinds of transition, give them two names", a.Name)
	case r.Unit != reference.Unit:
		return none, fmt.Errorf("the signals are in %q and %q: compare fronts of the same signal", r.Unit, reference.Unit)
	case math.Abs(a.Column.InnerDiameter.In(b.Column.InnerDiameter)-1) > 1e-6:
		return none, fmt.Errorf("the columns are %v and %v wide: compare cycles of one column", a.Column.InnerDiameter, b.Column.InnerDiameter)
	}
	c := FrontComparison{Transition: r, Reference: reference}
	if ratio := a.BedHeight.In(b.BedHeight); math.Abs(ratio-1) > 0.01 {
		c.warn(fmt.Sprintf("The beds are %v and %v high", a.BedHeight, b.BedHeight), "Another pack is another column: take a reference of this one")
	}
	if ratio := float64(r.Velocity / reference.Velocity); math.Abs(ratio-1) > 0.1 {
		c.warn(fmt.Sprintf("The velocities are %v and %v", r.Velocity, reference.Velocity), "Plate height depends on velocity: compare cycles at one velocity")
	}
	c.Distance, c.At = r.distance(reference, 0, 0)
	c.ShapeDistance, c.ShapeAt = r.distance(reference, float64(r.V50)/float64(r.volume), float64(reference.V50)/float64(reference.volume))
	c.Floor = 3 * math.Hypot(r.calmNoise(), reference.calmNoise())
	return c, nil
}

func (c *FrontComparison) warn(what, do string) {
	c.Warnings = append(c.Warnings, Warning{What: what, Do: do})
}

// calmNoise returns the standard error of one smoothed value of the front.
func (r TransitionResult) calmNoise() float64 {
	return r.Noise / math.Abs(r.Step) * math.Sqrt(centre(r.SmoothingWindow))
}

// part returns the smoothed front at so many column volumes, 0 before it and 1
// behind.
func (r TransitionResult) part(cv float64) float64 {
	x := cv * float64(r.volume)
	switch {
	case x <= r.calm.x(r.lo):
		return 0
	case x >= r.calm.x(r.hi):
		return 1
	}
	return r.calm.at(x)
}

// distance returns the largest difference of two fronts, each counted from its
// own zero, and where it is.
func (r TransitionResult) distance(other TransitionResult, zero, otherZero float64) (most, at float64) {
	look := func(cv float64) {
		if d := math.Abs(r.part(cv+zero) - other.part(cv+otherZero)); d > most {
			most, at = d, cv+zero
		}
	}
	for i := r.lo; i <= r.hi; i++ {
		look(r.calm.x(i)/float64(r.volume) - zero)
	}
	for i := other.lo; i <= other.hi; i++ {
		look(other.calm.x(i)/float64(other.volume) - otherZero)
	}
	return most, at
}

// label returns how a transition is called beside another.
func (r TransitionResult) label(otherwise string) string {
	if r.Transition.Label != "" {
		return r.Transition.Label
	}
	if r.File != "" {
		return r.File
	}
	return otherwise
}

// Table returns both transitions beside each other.
func (c FrontComparison) Table() table.Table {
	if c.Refusal != nil || len(c.Transition.front.y) == 0 {
		return without("Beside the reference", c.Refusal)
	}
	t := table.Table{Caption: "Beside the reference", RowHeaders: true, Columns: []table.Column{
		{Name: "quantity"}, {Name: "unit"}, {Name: c.Transition.label("this one"), Right: true}, {Name: c.Reference.label("reference"), Right: true},
		{Name: "difference", Right: true}, {Name: "its standard error", Right: true}}}
	a, b := c.Transition, c.Reference
	row := func(name, unit string, decimals int, x, y, ex, ey float64) {
		t.Add(name, unit, number.Fixed(x, decimals), number.Fixed(y, decimals), number.Signed(x-y, decimals), number.Significant(math.Hypot(ex, ey), 2))
	}
	mm := func(l units.Length) float64 { return l.In(units.Millimetre) }
	cv := func(r TransitionResult, v units.Volume) float64 { return v.In(r.volume) }
	row("HETP by moments", "mm", 3, mm(a.HETP), mm(b.HETP), mm(a.ByMoments.HETPStdErr), mm(b.ByMoments.HETPStdErr))
	row("HETP by quantiles", "mm", 3, mm(a.ByQuantiles.HETP), mm(b.ByQuantiles.HETP), mm(a.ByQuantiles.HETPStdErr), mm(b.ByQuantiles.HETPStdErr))
	row("HETP by half height", "mm", 3, mm(a.ByHalfHeight.HETP), mm(b.ByHalfHeight.HETP), mm(a.ByHalfHeight.HETPStdErr), mm(b.ByHalfHeight.HETPStdErr))
	row("reduced plate height, moments", "", 2, a.ReducedPlateHeight, b.ReducedPlateHeight, a.ByMoments.HETPStdErr.In(a.Bead), b.ByMoments.HETPStdErr.In(b.Bead))
	row("asymmetry at 10 %", "", 2, a.Asymmetry, b.Asymmetry, a.AsymmetryStdErr, b.AsymmetryStdErr)
	row("skewness", "", 2, a.Moments.Skewness, b.Moments.Skewness, a.SkewnessStdErr, b.SkewnessStdErr)
	row("kurtosis", "", 2, a.Moments.Kurtosis, b.Moments.Kurtosis, a.KurtosisStdErr, b.KurtosisStdErr)
	row("half of the step at", "CV", 4, cv(a, a.V50), cv(b, b.V50), cv(a, a.V50StdErr), cv(b, b.V50StdErr))
	t.Add("start of the front at", "CV", number.Fixed(cv(a, a.Start), 3), number.Fixed(cv(b, b.Start), 3), number.Signed(cv(a, a.Start)-cv(b, b.Start), 3))
	t.Add("end of the front at", "CV", number.Fixed(cv(a, a.End), 3), number.Fixed(cv(b, b.End), 3), number.Signed(cv(a, a.End)-cv(b, b.End), 3))
	return t
}

// Figure returns both fronts over each other, and their difference below.
func (c FrontComparison) Figure() figure.Stack {
	if c.Refusal != nil || len(c.Transition.front.y) == 0 {
		return figure.Stack{}
	}
	a, b := c.Transition, c.Reference
	lo := math.Min(float64(a.Start/a.volume), float64(b.Start/b.volume))
	hi := math.Max(float64(a.End/a.volume), float64(b.End/b.volume))
	room := 0.35 * (hi - lo)
	lo, hi = lo-room, hi+room
	const n = 400
	points := func(f func(cv float64) float64) figure.Points {
		p := figure.Points{}
		for i := 0; i <= n; i++ {
			x := lo + (hi-lo)*float64(i)/n
			p.X, p.Y = append(p.X, x), append(p.Y, f(x))
		}
		return p
	}
	return figure.Stack{
		Title:       a.name() + " beside " + b.label("the reference"),
		Description: c.sentence(),
		Panels: []figure.Figure{
			{X: figure.Axis{Label: "Volume since the start of the new liquid, less extra-column volume", Unit: "CV", Min: lo, Max: hi}, Y: figure.Axis{Label: "Front, parts of the step"}, Height: 300,
				Lines: []figure.Line{{Name: a.label("this one"), Points: points(a.part)}, {Name: b.label("reference"), Points: points(b.part)}},
				Marks: []figure.Mark{{X1: c.At, X2: c.At, Y1: a.part(c.At), Y2: b.part(c.At), Ends: true, Colour: 2},
					{X1: c.At, X2: c.At, Y1: (a.part(c.At) + b.part(c.At)) / 2, Y2: (a.part(c.At) + b.part(c.At)) / 2, Label: "largest distance " + number.Fixed(c.Distance, 3), Place: figure.RightOf, Colour: 2}}},
			{Y: figure.Axis{Label: "Difference"}, Height: 150,
				Lines:  []figure.Line{{Points: points(func(x float64) float64 { return a.part(x) - b.part(x) })}},
				Levels: []figure.Level{{Y: 0}}},
		},
	}
}

// sentence says the outcome in words.
func (c FrontComparison) sentence() string {
	s := fmt.Sprintf("The fronts differ by %.2f %% of the step at most, at %.3f CV; with their halves at one place by %.2f %%.", 100*c.Distance, c.At, 100*c.ShapeDistance)
	if c.Floor > 0 {
		s += fmt.Sprintf(" Noise alone may make %.2f %%.", 100*c.Floor)
	}
	return s
}

// Page lays the comparison out.
func (c FrontComparison) Page() page.Page {
	var p page.Page
	if c.Refusal != nil {
		p.Notice("No comparison:", c.Refusal.Error())
		return p
	}
	if len(c.Transition.front.y) == 0 {
		p.Notice("No comparison:", "nothing has been compared.")
		return p
	}
	p.Heading(c.Transition.name() + " beside " + c.Reference.label("the reference"))
	p.Text(c.sentence())
	p.List("Doubts", sentences(c.Warnings))
	p.Table(c.Table())
	p.Figure(c.Figure())
	p.List("Cautions", []string{"A distance has no limit of its own: what is usual from cycle to cycle has to be learnt from cycles in which the bed was good."})
	return p
}

// String returns the page as text.
func (c FrontComparison) String() string { return c.Page().String() }

// sentences writes warnings for a list.
func sentences(warnings []Warning) []string {
	all := make([]string, len(warnings))
	for i, w := range warnings {
		all[i] = w.String()
	}
	return all
}
