package bed

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// A Window asks how fast a bed may be packed and then operated: the largest
// velocities that its measured curve, its critical velocity and a pressure limit
// allow, with margins. Margins that are zero are common practice, no source.
//
// A bed answers to the drag µ·u: in a liquid of another viscosity each velocity
// changes by the ratio of the viscosities, and pressures stay.
//
// Where the curve carries errors, it is the upper end of its 95 % interval of the
// pressure that is held against the limit.
type Window struct {
	Curve    Curve            // measured, or predicted, at this size
	Critical CriticalEstimate // of the same size; zero: not checked
	// MaxPressure is the limit of the medium over the bed; zero: not checked.
	MaxPressure units.Pressure
	// CompressionFactor is the target of the pack; zero: as high as the window allows.
	CompressionFactor float64

	PackingViscosity   units.Viscosity // zero: that of the curve
	OperatingViscosity units.Viscosity // of the most viscous liquid, at the lowest temperature; zero: as packing

	CriticalPart float64 // of the lower end of the critical velocity's interval; zero: 0.75
	PressurePart float64 // of MaxPressure; zero: 0.75
	Drag         float64 // of packing over that of operating, µ·u; zero: 1.25

	// Experiment is drawn as well, with its way down; zero: not given.
	Experiment ExperimentResult
}

// A VelocityBound is a bound of the packing velocity.
type VelocityBound struct {
	Name     string
	Velocity units.Velocity // in the packing liquid
}

// WindowResult holds the velocities, those of packing in the packing liquid.
type WindowResult struct {
	Window    Window
	Curve     Curve           // in the packing liquid
	Bounds    []VelocityBound // lowest first
	Unreached string          // a bound that lies beyond the end of the curve; empty: none
	Largest   Point           // at the lowest bound: the most that packing may be
	Packing   Point           // at the target compression factor, or Largest
	// Upper ends of the 95 % intervals of the pressures there; NaN: the curve does not
	// know its errors.
	LargestUpper, PackingUpper units.Pressure
	Operating                  units.Velocity // the most that operating may be, in its liquid
	// OperatingPressure is that of the packed bed at Operating, in proportion to
	// drag, since its height is held.
	OperatingPressure units.Pressure
	NotChecked        []string
	Taken             []string
	Doubts            []string
	Refusal           error // why there are no numbers, or nil
}

// Evaluate returns the velocities. It refuses what the curve's Check refuses, a
// critical velocity of another size, margins and limits that cannot be, a curve
// without viscosity where one is needed, and a target compression factor that
// lies beyond the bounds.
func (w Window) Evaluate() (WindowResult, error) {
	r, err := w.evaluate()
	if err != nil {
		return WindowResult{Window: w, Refusal: err}, err
	}
	return r, nil
}

func (w Window) evaluate() (WindowResult, error) {
	bad := func(what, problem, remedy string) (WindowResult, error) {
		return WindowResult{}, &packing.InputError{Where: w.Curve.name(), What: what, Problem: problem, Remedy: remedy}
	}
	if err := w.Curve.Check(); err != nil {
		return WindowResult{}, err
	}
	or := func(v, usual float64) float64 {
		if v == 0 {
			return usual
		}
		return v
	}
	criticalPart, pressurePart, drag := or(w.CriticalPart, 0.75), or(w.PressurePart, 0.75), or(w.Drag, 1.25)
	switch {
	case !(criticalPart > 0 && criticalPart < 1):
		return bad(fmt.Sprintf("part %v of the critical velocity", w.CriticalPart), "it must be between 0 and 1", "0.7 to 0.8 is common practice")
	case !(pressurePart > 0 && pressurePart <= 1):
		return bad(fmt.Sprintf("part %v of the pressure limit", w.PressurePart), "it must be between 0 and 1", "0.7 to 0.8 is common practice")
	case !(drag >= 1) || math.IsInf(drag, 0):
		return bad(fmt.Sprintf("drag %v", w.Drag), "packing must drag at least as much as operating", "1.2 to 1.3 is common practice")
	case !(w.MaxPressure >= 0 && w.MaxPressure <= 1e8):
		return bad(fmt.Sprintf("maximum pressure %v", w.MaxPressure), "it must be between 0 and 1000 bar", "write for example 2 * Bar")
	case w.CompressionFactor != 0 && !(w.CompressionFactor > 1):
		return bad(fmt.Sprintf("compression factor %v", w.CompressionFactor), "it must be above 1", "leave it zero for the most the window allows")
	}
	for _, mu := range []units.Viscosity{w.PackingViscosity, w.OperatingViscosity} {
		if mu != 0 && !(mu >= 1e-4 && mu <= 1) {
			return bad(fmt.Sprintf("viscosity %v", mu), "it must be between 0.1 and 1000 mPa·s", "write for example 1 * MillipascalSecond")
		}
	}
	r := WindowResult{Window: w, Curve: w.Curve}
	packingViscosity := w.PackingViscosity
	if packingViscosity == 0 {
		packingViscosity = w.Curve.Viscosity
	} else {
		c, err := w.Curve.WithViscosity(packingViscosity)
		if err != nil {
			return WindowResult{}, err
		}
		r.Curve = c
	}
	last := r.Curve.Last()
	add := func(name string, u units.Velocity) {
		i := len(r.Bounds)
		for i > 0 && r.Bounds[i-1].Velocity > u {
			i--
		}
		r.Bounds = append(r.Bounds[:i], append([]VelocityBound{{name, u}}, r.Bounds[i:]...)...)
	}
	add("end of the curve", last.Velocity)
	switch c := w.Critical; {
	case c.Size == Size{}:
		r.NotChecked = append(r.NotChecked, "the distance from the critical velocity (no Critical given)")
	case c.Viscosity == 0 || packingViscosity == 0:
		return bad("critical velocity", "it is that of another liquid for all that is known", "give the viscosity with the curve")
	case w.Curve.SettledHeight != 0 && math.Abs(c.Size.SettledHeight.In(w.Curve.SettledHeight)-1) > 0.01,
		w.Curve.InnerDiameter != 0 && math.Abs(c.Size.InnerDiameter.In(w.Curve.InnerDiameter)-1) > 0.01:
		return bad("critical velocity", fmt.Sprintf("it is that of a bed of %v", c.Size), "use LawFit.CriticalAt for the size of the curve")
	case !c.Determined:
		r.NotChecked = append(r.NotChecked, "the distance from the critical velocity, which is not determined: "+c.Reason)
	default:
		add(fmt.Sprintf("%.0f %% of the critical velocity's lower end", 100*criticalPart), c.Low.Times(criticalPart*c.Viscosity.In(packingViscosity)))
	}
	if w.MaxPressure == 0 {
		r.NotChecked = append(r.NotChecked, "the pressure over the bed (no MaxPressure given)")
	} else {
		name := fmt.Sprintf("%.0f %% of the pressure limit", 100*pressurePart)
		u, found, known := r.Curve.velocityAt(w.MaxPressure.Times(pressurePart))
		if known {
			name += ", with the error of the curve"
		} else {
			r.NotChecked = append(r.NotChecked, "the error of the curve against the pressure limit (the curve does not give it for every point)")
		}
		if found {
			add(name, u)
		} else {
			r.Unreached = name
		}
	}
	largest, err := r.Curve.At(r.Bounds[0].Velocity)
	if err != nil {
		return WindowResult{}, err
	}
	r.Largest, r.Packing = largest, largest
	if w.CompressionFactor != 0 {
		u, err := r.Curve.VelocityFor(w.CompressionFactor)
		var beyond *RangeError
		if err != nil && !errors.As(err, &beyond) {
			return WindowResult{}, err
		}
		if err != nil || u > largest.Velocity {
			return bad(fmt.Sprintf("compression factor %.4g", w.CompressionFactor),
				fmt.Sprintf("flow gives at most %s, at %s cm/h (%s)", down(largest.CompressionFactor), down(largest.Velocity.In(units.CentimetrePerHour)), r.Bounds[0].Name),
				fmt.Sprintf("ask for that or less, or let the adapter give the rest, a factor of %s", up(w.CompressionFactor/largest.CompressionFactor)))
		}
		if r.Packing, err = r.Curve.At(u); err != nil {
			return WindowResult{}, err
		}
	}
	if r.LargestUpper, err = r.Curve.Upper(r.Largest.Velocity); err != nil {
		return WindowResult{}, err
	}
	if r.PackingUpper, err = r.Curve.Upper(r.Packing.Velocity); err != nil {
		return WindowResult{}, err
	}
	r.Operating = r.Packing.Velocity.Times(1 / drag)
	if w.OperatingViscosity != 0 {
		if packingViscosity == 0 {
			return bad("viscosity", "the curve does not say in what liquid it was measured", "give the viscosity with the curve")
		}
		r.Operating = r.Operating.Times(packingViscosity.In(w.OperatingViscosity))
	} else {
		r.Taken = append(r.Taken, "operating in the packing liquid at its temperature; a colder or more viscous liquid allows less")
	}
	r.OperatingPressure = r.Packing.Pressure.Times(1 / drag)
	if w.CriticalPart == 0 || w.PressurePart == 0 || w.Drag == 0 {
		r.Taken = append(r.Taken, fmt.Sprintf("margins: %.0f %% of the critical velocity, %.0f %% of the pressure limit, packing drag %.3g times that of operating (common practice, no source, where not given)",
			100*criticalPart, 100*pressurePart, drag))
	}
	if w.Curve.Predicted != "" {
		r.Doubts = append(r.Doubts, "The curve was not measured at this size, it is predicted "+w.Curve.Predicted+".")
	}
	r.Doubts = append(r.Doubts, w.Curve.Doubts...)
	for _, s := range w.Critical.Doubts {
		if !slices.Contains(r.Doubts, s) {
			r.Doubts = append(r.Doubts, s)
		}
	}
	if c := w.Critical; c.Determined && c.Reason != "" {
		r.Doubts = append(r.Doubts, "The critical velocity is "+c.Reason+".")
	}
	return r, nil
}

// velocityAt returns the lowest velocity at which the upper end of the pressure of a
// checked curve has a value, and whether the curve reaches it. If the error of a
// point is not known, all errors are left out and known is false.
func (c Curve) velocityAt(p units.Pressure) (u units.Velocity, found, known bool) {
	known = len(c.StdErr) == len(c.Points)
	for _, e := range c.StdErr {
		known = known && finite(float64(e.Pressure))
	}
	upper := c
	if known {
		upper.Points = slices.Clone(c.Points)
		t := c.student()
		for i, e := range c.StdErr {
			x := &upper.Points[i]
			x.Pressure += e.Pressure.Times(t)
			if i > 0 { // an error that falls must not hide what a lower velocity may reach
				x.Pressure = max(x.Pressure, upper.Points[i-1].Pressure)
			}
		}
	}
	if !(p < upper.Last().Pressure) {
		return 0, false, known
	}
	s := upper.smooth()
	low, high := units.Velocity(0), c.Last().Velocity
	for range 60 {
		if mid := (low + high) / 2; s.at(mid).Pressure < p {
			low = mid
		} else {
			high = mid
		}
	}
	return low, true, known
}

func (r WindowResult) title() string { return "Operating window, " + r.Curve.name() }

// Page shows the velocities, what bounds them, and the picture.
func (r WindowResult) Page() page.Page {
	var p page.Page
	if len(r.Bounds) == 0 {
		p.NoResult(r.Refusal, "nothing has been worked out.")
		return p
	}
	p.Heading(r.title())
	for _, s := range r.NotChecked {
		p.Notice("Not checked:", s+".")
	}
	p.List("Doubts", r.Doubts)
	p.Table(r.Table())
	p.Table(r.BoundTable())
	p.Figure(r.Figure())
	p.List("Taken for granted", r.Taken)
	p.List("Cautions", []string{"Column, tube, hoses, pump and relief device have limits of their own, which a plan checks. The pressure of hoses and nets comes on top of that of the bed and is in none of these numbers.",
		"The curve holds for this lot, liquid, settled height and diameter."})
	return p
}

// Table returns the velocities.
func (r WindowResult) Table() table.Table {
	cmh := func(u units.Velocity) string { return number.Fixed(u.In(units.CentimetrePerHour), 1) }
	bar := func(p units.Pressure) string { return number.Fixed(p.In(units.Bar), 3) }
	t := table.Table{Caption: "Velocities", RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "velocity", Unit: "cm/h", Right: true},
		{Name: "compression factor", Right: true}, {Name: "pressure", Unit: "bar", Right: true}, {Name: "upper end", Unit: "bar", Right: true}}}
	upper := func(p units.Pressure) string { return number.Cell(number.Fixed(p.In(units.Bar), 3)) }
	if r.Packing != r.Largest {
		t.Add("packing, for the target", cmh(r.Packing.Velocity), number.Fixed(r.Packing.CompressionFactor, 3), bar(r.Packing.Pressure), upper(r.PackingUpper))
	}
	t.Add("packing, at most", cmh(r.Largest.Velocity), number.Fixed(r.Largest.CompressionFactor, 3), bar(r.Largest.Pressure), upper(r.LargestUpper))
	t.Add("operating, at most, of the bed packed so", cmh(r.Operating), number.Fixed(r.Packing.CompressionFactor, 3), "about "+bar(r.OperatingPressure), upper(r.PackingUpper.Times(r.OperatingPressure.In(r.Packing.Pressure))))
	return t
}

// BoundTable returns what bounds the packing velocity, lowest first.
func (r WindowResult) BoundTable() table.Table {
	t := table.Table{Caption: "What bounds the packing velocity", RowHeaders: true, Columns: []table.Column{{Name: "bound"}, {Name: "velocity", Unit: "cm/h", Right: true}}}
	for _, b := range r.Bounds {
		t.Add(b.Name, number.Fixed(b.Velocity.In(units.CentimetrePerHour), 1))
	}
	if r.Unreached != "" {
		t.Add(r.Unreached, "beyond the curve")
	}
	return t
}

// String returns the page as text.
func (r WindowResult) String() string { return r.Page().String() }

// Figure draws pressure and bed height, or compression factor, against velocity
// in the packing liquid, up and down, with the limits and the window shaded.
func (r WindowResult) Figure() figure.Stack {
	out := figure.Stack{Title: r.title(), Description: "Pressure over the bed and its height against velocity in the packing liquid, with the limits; shaded where operating and where packing may be."}
	if len(r.Bounds) == 0 {
		return out
	}
	w := r.Window
	operating := r.Packing.Velocity.Times(r.OperatingPressure.In(r.Packing.Pressure)) // at equal drag, in the packing liquid
	spans := []figure.Span{{From: 0, To: float64(operating), Label: "operating"}, {From: float64(operating), To: float64(r.Largest.Velocity), Label: "packing"}}
	tall := w.Curve.SettledHeight > 0
	second := figure.Axis{Label: "Compression factor"}
	if tall {
		second = figure.Axis{Label: "Bed height", Unit: "cm", One: float64(units.Centimetre)}
	}
	height := func(cf float64) float64 {
		if tall {
			return float64(w.Curve.SettledHeight) / cf
		}
		return cf
	}
	var up, down [2]figure.Points
	add := func(to *[2]figure.Points, p Point) {
		for k, y := range [2]float64{float64(p.Pressure), height(p.CompressionFactor)} {
			to[k].X, to[k].Y = append(to[k].X, float64(p.Velocity)), append(to[k].Y, y)
		}
	}
	if r.Curve.Points[0].Velocity > 0 {
		add(&up, Point{0, 1, 0})
	}
	for _, p := range r.Curve.Points {
		add(&up, p)
	}
	ratio := 1.0
	if r.Curve.Viscosity != w.Curve.Viscosity {
		ratio = w.Curve.Viscosity.In(r.Curve.Viscosity)
	}
	add(&down, r.Curve.Last())
	for _, l := range w.Experiment.Hysteresis {
		p := l.Down
		p.Velocity = p.Velocity.Times(ratio)
		add(&down, p)
	}
	for k, y := range []figure.Axis{{Label: "Pressure", Unit: "bar", One: float64(units.Bar)}, second} {
		f := figure.Figure{X: velocityAxis(), Y: y, Height: 250, Spans: spans}
		name := "going up"
		if w.Curve.Predicted != "" {
			name = "predicted"
		}
		f.Lines = []figure.Line{{Points: up[k], Dots: true}}
		if k == 0 {
			f.Lines[0].Name = name
		}
		if len(down[k].X) > 1 {
			f.Lines = append(f.Lines, figure.Line{Points: down[k], Dots: true})
			if k == 0 {
				f.Lines[1].Name = "going down"
			}
		}
		if k == 0 && w.MaxPressure > 0 {
			f.Levels = []figure.Level{{Y: float64(w.MaxPressure), Label: "limit of the bed"}}
			f.Y.Max = 1.2 * max(w.MaxPressure, r.Curve.Last().Pressure).In(units.Bar) // leaves room for the names of the spans
		}
		y := [2]float64{float64(r.Packing.Pressure), height(r.Packing.CompressionFactor)}[k]
		u := float64(r.Packing.Velocity)
		mark := figure.Mark{X1: u, Y1: y, X2: u, Y2: y, Colour: 2, Place: figure.LeftOf}
		if r.Packing != r.Largest && k == 0 {
			mark.Label = "target"
		}
		f.Marks = append(f.Marks, mark)
		out.Panels = append(out.Panels, f)
	}
	return out
}
