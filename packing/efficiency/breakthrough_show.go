package efficiency

import (
	"fmt"
	"math"
	"strings"

	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// String writes the point in a line.
func (p BreakthroughPoint) String() string {
	return fmt.Sprintf("%v at %v of feed: simple %s, integral %s, %v bound", p.Percent, p.Volume, concentration(p.Simple), concentration(p.Integral), p.Bound)
}

// name returns how the load is called in headings.
func (r BreakthroughResult) name() string {
	s := "Breakthrough"
	if tag := r.Breakthrough.Column.Tag; tag != "" {
		s += " of " + tag
	}
	if r.Breakthrough.Label != "" {
		s += ", " + r.Breakthrough.Label
	}
	return s
}

// Page lays the result out.
func (r BreakthroughResult) Page() page.Page {
	var p page.Page
	p.Heading(r.name())
	if r.Refusal != nil || len(r.front.y) == 0 {
		p.NoResult(r.Refusal, "nothing has been evaluated.")
		return p
	}
	if missing := r.unchecked(); missing != "" {
		p.Notice("Not checked:", missing)
	}
	p.List("Doubts", sentences(r.Warnings))
	p.Table(r.Table())
	p.Table(r.wholeTable())
	p.Figure(r.Figure())
	p.Table(r.Measured())
	p.List("Cautions", []string{
		"Say which definition a capacity is by: the simple one counts what came through as bound. The integral is what is bound.",
		"A capacity holds for this feed, this residence time and this temperature. The concentration of the feed goes into it one to one, with its error; only repeats tell the whole uncertainty.",
	})
	return p
}

// unchecked lists what no input was given for.
func (r BreakthroughResult) unchecked() string {
	var names []string
	if r.missing != "" {
		names = append(names, r.missing)
	}
	if r.Breakthrough.Flow > 0 && len(r.flows) == 0 {
		names = append(names, "the flow (the record has none)")
	}
	if r.Breakthrough.HoldUp == 0 {
		names = append(names, "hold-up (no HoldUp given; the capacities count the liquid in tubing and column as bound)")
	}
	return strings.Join(names, "; ")
}

// unit returns the unit that volumes are shown in, by the size of the bed.
func (r BreakthroughResult) unit() (units.Volume, string) {
	if r.BedVolume < units.Litre {
		return units.Millilitre, "mL"
	}
	return units.Litre, "L"
}

// Table returns the capacities.
func (r BreakthroughResult) Table() table.Table {
	if len(r.front.y) == 0 {
		return without("Dynamic binding capacity", r.Refusal)
	}
	one, unit := r.unit()
	t := table.Table{Caption: "Dynamic binding capacity", RowHeaders: true, Columns: []table.Column{
		{Name: "breakthrough"}, {Name: "feed volume", Unit: unit, Right: true}, {Name: "standard error", Unit: unit, Right: true},
		{Name: "simple", Unit: "mg/mL", Right: true}, {Name: "integral", Unit: "mg/mL", Right: true},
		{Name: "bound", Right: true}, {Name: "of equilibrium", Unit: "%", Right: true}}}
	mg := func(c units.Density) string { return number.Significant(c.In(units.MilligramPerMillilitre), 4) }
	for _, p := range r.Points {
		used := number.Missing
		if !math.IsNaN(p.Utilisation) {
			used = number.Fixed(100*p.Utilisation, 1)
		}
		t.Add(p.Percent.String(), number.Significant(p.Volume.In(one), 5), number.Significant(p.VolumeStdErr.In(one), 2), mg(p.Simple), mg(p.Integral), p.Bound.String(), used)
	}
	return t
}

// wholeTable holds what a load to saturation tells.
func (r BreakthroughResult) wholeTable() table.Table {
	t := table.Table{Caption: "The whole front", RowHeaders: true, Columns: []table.Column{{Name: "quantity"}, {Name: "value"}}}
	if math.IsNaN(float64(r.Equilibrium)) {
		t.Add("equilibrium capacity", fmt.Sprintf("not available: the trace ends before %v of the feed, at most %.3g %%", units.Fraction(saturated), r.Highest.In(units.Percent)))
		return t
	}
	t.Add("equilibrium capacity", concentration(r.Equilibrium))
	t.Add("a sharp front would come at", r.FrontVolume.String())
	zone := fmt.Sprintf("from %v to %v of feed", r.ZoneStart, r.ZoneEnd)
	if !math.IsNaN(float64(r.ZoneLength)) {
		zone += fmt.Sprintf(": %v of the bed of %v", r.ZoneLength, r.Breakthrough.BedHeight)
	}
	t.Add("mass transfer zone, 5 to 95 %", zone)
	return t
}

// Doubts returns the warnings, each with what to do.
func (r BreakthroughResult) Doubts() table.Table {
	if len(r.front.y) == 0 {
		return without("Doubts", r.Refusal)
	}
	return doubts(r.Warnings)
}

// Measured tells how the numbers were measured.
func (r BreakthroughResult) Measured() table.Table {
	if len(r.front.y) == 0 {
		return without("How it was measured", r.Refusal)
	}
	t := table.Table{Caption: "How it was measured", RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "found"}}}
	b := r.Breakthrough
	t.Add("bed", r.BedVolume.String())
	t.Add("feed", concentration(b.FeedConcentration)+" of what binds")
	if b.Flow > 0 {
		s := fmt.Sprintf("%v, residence time %v", b.Flow, r.ResidenceTime)
		if !math.IsNaN(float64(r.Velocity)) {
			s += fmt.Sprintf(", %v", r.Velocity)
		}
		t.Add("flow", s)
	}
	t.Add("counted from", r.CountedFrom)
	if len(r.flows) > 0 {
		t.Add("flow of the record", toldFlows(r.flows))
	}
	if b.HoldUp > 0 {
		t.Add("hold-up, V0", b.HoldUp.String())
	}
	signal := r.Signal + " against " + r.front.axis.String()
	if r.File != "" {
		signal += ", from " + r.File
	}
	t.Add("signal", signal)
	t.Add("what does not bind", fmt.Sprintf("%s %s, from %s; it changes by %s of the step", number.Significant(r.NonBinding.Level, 4), r.Unit, r.NonBinding.Range, percentage(math.Abs(r.NonBinding.Drift/(r.FeedLevel-r.NonBinding.Level)))))
	from := "given"
	if b.FeedSignal == 0 {
		from = "mean of the last twelfth of the trace"
	}
	t.Add("feed signal", fmt.Sprintf("%s %s, %s", number.Significant(r.FeedLevel, 4), r.Unit, from))
	smoothing := "none"
	if r.SmoothingWindow > 1 {
		smoothing = fmt.Sprintf("moving quadratic (Savitzky, Golay) over %d points, before crossings; the integrals do without", r.SmoothingWindow)
	}
	t.Add("smoothing", smoothing)
	return t
}

// Figure returns the front against bed volumes, with its percentages.
func (r BreakthroughResult) Figure() figure.Figure {
	if len(r.front.y) == 0 {
		return figure.Figure{}
	}
	one := float64(r.BedVolume)
	n := len(r.front.y)
	points := func(e even) figure.Points {
		var p figure.Points
		for i, v := range e.y {
			p.X, p.Y = append(p.X, e.x(i)), append(p.Y, 100*v)
		}
		return p
	}
	f := figure.Figure{
		Title: r.name(),
		X:     figure.Axis{Label: "Volume of feed, counted from " + shortened(r.CountedFrom), Unit: "bed volumes", One: one, Min: r.front.x(0) / one, Max: r.front.x(n-1) / one},
		Y:     figure.Axis{Label: "Part of the feed", Unit: "%", Min: -10, Max: math.Max(112, 108*float64(r.Highest))},
		Lines: []figure.Line{{Name: "as recorded, less what does not bind", Points: points(r.front)}},
	}
	if r.SmoothingWindow > 1 {
		f.Lines[0].Faint = true
		f.Lines = append(f.Lines, figure.Line{Name: fmt.Sprintf("smoothed over %d points", r.SmoothingWindow), Points: points(r.calm)})
	}
	text := fmt.Sprintf("The part of the feed that comes through against bed volumes of feed, up to %.3g %%.", r.Highest.In(units.Percent))
	for _, p := range r.Points {
		x, y := float64(p.Volume), 100*float64(p.Percent)
		place := figure.LeftOf
		if y < 4 { // off the line
			place = figure.Below
		}
		f.Marks = append(f.Marks,
			figure.Mark{X1: x, X2: x, Y1: -10, Y2: y, Dashed: true, Colour: 1},
			figure.Mark{X1: x, X2: x, Y1: y, Y2: y, Label: fmt.Sprintf("%v: %s", p.Percent, concentration(p.Integral)), Place: place, Colour: 1})
		text += fmt.Sprintf(" %v at %.3f bed volumes: %s bound.", p.Percent, x/one, concentration(p.Integral))
	}
	if v := r.Breakthrough.HoldUp; v > 0 {
		f.Marks = append(f.Marks, figure.Mark{X1: float64(v), X2: float64(v), Y1: 0, Y2: 60, Dashed: true, Colour: 2},
			figure.Mark{X1: float64(v), X2: float64(v), Y1: 60, Y2: 60, Label: "hold-up V0", Place: figure.RightOf, Colour: 2})
	}
	if !math.IsNaN(float64(r.Equilibrium)) {
		x := float64(r.FrontVolume)
		f.Marks = append(f.Marks, figure.Mark{X1: x, X2: x, Y1: 0, Y2: 100, Dashed: true, Colour: 3},
			figure.Mark{X1: x, X2: x, Y1: 100, Y2: 100, Label: "sharp front: " + concentration(r.Equilibrium), Place: figure.Above, Colour: 3})
		text += fmt.Sprintf(" In equilibrium %s.", concentration(r.Equilibrium))
	}
	f.Description = text
	return f
}

// String returns the page as text.
func (r BreakthroughResult) String() string { return r.Page().String() }

// Calculation shows how a capacity was worked out. The name is Simple or
// Integral, both of the last percentage, Equilibrium or ZoneLength. Another
// name is an error that lists those there are.
func (r BreakthroughResult) Calculation(name string) (Calculation, error) {
	return calculationNamed(r.Calculations(), name)
}

// Calculations shows all of them in one page.
func (r BreakthroughResult) Calculations() CalculationList {
	if len(r.front.y) == 0 || len(r.Points) == 0 {
		return nil
	}
	b, p := r.Breakthrough, r.Points[len(r.Points)-1]
	one, unit := r.unit()
	l := func(v units.Volume) string { return quantity(v.In(one), 5, unit) }
	c0 := quantity(b.FeedConcentration.In(units.MilligramPerMillilitre), 4, "mg/mL")
	mg := func(c units.Density) string { return quantity(c.In(units.MilligramPerMillilitre), 4, "mg/mL") }
	percent := fmt.Sprintf("%.4g %%", p.Percent.In(units.Percent))
	letters := fmt.Sprintf("Vx volume of feed at which %s of it comes through, V0 hold-up, C0 concentration of the feed, V bed volume", percent)
	through := r.through(float64(p.Volume))
	list := CalculationList{
		{Name: "Simple", Title: "Dynamic binding capacity at " + percent + ", simple", Formula: `\frac{(V_x - V_0) C_0}{V}`,
			Numbers: fmt.Sprintf(`\frac{(%s - %s) \cdot %s}{%s} = %s`, l(p.Volume), l(b.HoldUp), c0, l(r.BedVolume), mg(p.Simple)), Symbols: letters, Source: commonFronts},
		{Name: "Integral", Title: "Dynamic binding capacity at " + percent + ", what is bound", Formula: `\frac{C_0}{V} \left( V_x - V_0 - \int^{V_x} F \, dV \right)`,
			Numbers: fmt.Sprintf(`\frac{%s}{%s} (%s - %s - %s) = %s`, c0, l(r.BedVolume), l(p.Volume), l(b.HoldUp), l(through), mg(p.Integral)),
			Symbols: letters + ", F part of the feed that comes through", Source: "mass balance over the column"},
	}
	if math.IsNaN(float64(r.Equilibrium)) {
		return list
	}
	list = append(list, Calculation{Name: "Equilibrium", Title: "Equilibrium capacity", Formula: `\frac{C_0}{V} \left( V_s - V_0 \right),\quad V_s = V_e - \int^{V_e} F \, dV`,
		Numbers: fmt.Sprintf(`\frac{%s}{%s} (%s - %s) = %s`, c0, l(r.BedVolume), l(r.FrontVolume), l(b.HoldUp), mg(r.Equilibrium)),
		Symbols: "Vs volume at which a sharp front would come, Ve end of the trace, V0 hold-up, C0 concentration of the feed, V bed volume, F part of the feed that comes through", Source: "mass balance over the column"})
	if !math.IsNaN(float64(r.ZoneLength)) {
		list = append(list, Calculation{Name: "ZoneLength", Title: "Length of the mass transfer zone, 5 to 95 %", Formula: `L \frac{V_{95} - V_5}{V_s - V_0}`,
			Numbers: fmt.Sprintf(`%s \cdot \frac{%s - %s}{%s - %s} = %s`, quantity(b.BedHeight.In(units.Centimetre), 4, "cm"), l(r.ZoneEnd), l(r.ZoneStart), l(r.FrontVolume), l(b.HoldUp), quantity(r.ZoneLength.In(units.Centimetre), 4, "cm")),
			Symbols: "L bed height, V5 and V95 volumes at 5 and 95 %, Vs volume at which a sharp front would come, V0 hold-up; for a front that keeps its shape along the bed",
			Source:  "common practice, no source; the idea is that of A. S. Michaels, Ind. Eng. Chem. 44 (1952) 1922-1930, quoted from memory"})
	}
	return list
}
