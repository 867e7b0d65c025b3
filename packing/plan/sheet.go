package plan

import (
	"fmt"
	"math"
	"strings"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// blank is a place to write on.
const blank, initials = "____________", "______"

// factorWords writes a compression factor with the same as a percentage of the
// settled height, which many sites use alone.
func factorWords(cf float64) string {
	return fmt.Sprintf("CF %v (%.1f %% compression)", cf, 100*packing.CompressionOfSettled(cf))
}

// gaugeName is the gauge as the site calls it.
func (p Procedure) gaugeName() string {
	if g := p.Request.Site.Gauge; g != "" {
		return g
	}
	return "gauge ____________"
}

// gaugeTable tells what the gauge shows at the end of each step, when to act and
// when to stop.
func (p Procedure) gaugeTable() table.Table {
	t := table.Table{Caption: "Pressures at the end of each step, at " + p.gaugeName() + ", zeroed with the liquid standing", RowHeaders: true, Columns: []table.Column{
		{Name: "step"}, {Name: "velocity", Unit: "cm/h", Right: true}, {Name: "flow", Right: true}, {Name: "bed", Unit: "cm", Right: true}, {Name: "expected", Unit: "bar", Right: true},
		{Name: "act at", Unit: "bar", Right: true}, {Name: "stop at", Unit: "bar", Right: true}, {Name: "stop is the limit of"}, {Name: "found", Unit: "bar", Right: true}}}
	if len(p.Gauge) == 0 {
		return t
	}
	good := math.Inf(-1)
	for _, g := range p.Gauge {
		act, flow := gaugeBar(g.Act), ""
		if known(g.Velocity) {
			flow = p.flow(p.Request.Column.Flow(g.Velocity))
		}
		if act == "" {
			act = "______"
		}
		expected := gaugeBar(g.Expected)
		if expected == "" {
			expected = number.Missing
		}
		stop := "not given"
		if known(g.Stop) {
			stop = gaugeBar(stopShown(g.Stop))
		}
		if known(g.Error) && known(g.Expected) {
			good = math.Max(good, g.Error.In(units.Bar))
		}
		t.Add(g.Step, number.Cell(number.Fixed(g.Velocity.In(units.CentimetrePerHour), 0)), flow, number.Cell(number.Fixed((g.BedHeight+p.Request.RulerZero).In(units.Centimetre), 1)), expected, act, stop, g.StopBy, "______")
	}
	if p.Request.RulerZero != 0 {
		t.Columns[3].Name = "ruler: bed"
	}
	part := "the empty column's part is in it"
	if !p.hasHardware() {
		part = "the empty column is not known and not in it: a gauge reads more"
	}
	notes := []string{"Expected at the end of the step, " + part + "; a bed that is forming reads less. 1 m between gauge and outlet is 0.1 bar."}
	if p.Request.Site.ActAbove == 0 {
		curve := "how good the curve alone is, is not known"
		if !math.IsInf(good, 0) {
			curve = fmt.Sprintf("the curve alone is good to ± %.2g bar", good)
		}
		notes = append(notes, "Act is yours to fill in; usual: expected + 25 % (common practice); "+curve+".")
	}
	notes = append(notes, "At the stop: lower the flow slowly, the outlet stays open, never shut it against the pump; open nothing before the gauge reads zero; note time, flow, pressure and height.")
	t.Note = strings.Join(notes, " ")
	return t
}

// stopShown is a stop as the page has it: to 10 mbar, never rounded up.
func stopShown(p units.Pressure) units.Pressure {
	return units.Pressure(math.Floor(p.In(0.01*units.Bar)+1e-6)) * 0.01 * units.Bar
}

// gaugeBar writes a pressure as a gauge is read, in bar; nothing if it is not known.
func gaugeBar(p units.Pressure) string {
	if p < 0.1*units.Bar {
		return number.Cell(number.Fixed(p.In(units.Bar), 3))
	}
	return number.Cell(number.Fixed(p.In(units.Bar), 2))
}

func (p Procedure) hasHardware() bool {
	w := work{c: p.Request}
	return w.hasHardware()
}

// heightTable has a box for the height of the bed at each point that the site reads.
func (p Procedure) heightTable() table.Table {
	n := p.Request.Site.HeightPoints
	t := table.Table{Caption: "Heights of the bed by the ruler; \"not visible\" is an answer", RowHeaders: true, Columns: []table.Column{{Name: "at the end of"}, {Name: "expected", Unit: "cm", Right: true}, {Name: "time"}}}
	for i := range n {
		name := "found"
		if n > 1 {
			name = fmt.Sprintf("point %d", i+1)
		}
		t.Columns = append(t.Columns, table.Column{Name: name, Unit: "cm"})
	}
	if n > 1 {
		t.Columns = append(t.Columns, table.Column{Name: "tilt", Unit: "mm"})
	}
	t.Columns = append(t.Columns, table.Column{Name: "initials"})
	for _, s := range p.Stages {
		if !known(s.BedHeight) || s.BedHeight == p.Pour.SlurryHeight || s.Name == "test" {
			continue // no bed to read, or none that changes
		}
		row := []string{s.Name, number.Cell(number.Fixed((s.BedHeight + p.Request.RulerZero).In(units.Centimetre), 1))}
		for len(row) < len(t.Columns) {
			row = append(row, "______")
		}
		t.Add(row...)
	}
	return t
}

// loweringTable compares the outlet shut and open while the adapter goes down.
func (p Procedure) loweringTable() table.Table {
	t := table.Table{Caption: "Stopping the flow and lowering the adapter: outlet shut or open?", RowHeaders: true, Columns: []table.Column{
		{Name: "adapter", Unit: "mm/s", Right: true}, {Name: "takes", Right: true}, {Name: "outlet shut: re-expansion at most", Unit: "mm", Right: true},
		{Name: "outlet open: re-expansion at most", Unit: "mm", Right: true}, {Name: "pressure over the bed", Unit: "bar", Right: true}, {Name: "force of the drive", Unit: "kN", Right: true}}}
	if len(p.Lowering) == 0 {
		return t
	}
	for _, l := range p.Lowering {
		open, pressure, force := number.Cell(number.Fixed(l.Open.In(units.Millimetre), 1)), number.Cell(number.Fixed(l.Pressure.In(units.Bar), 2)), ""
		if known(l.Force) {
			force = number.Significant(l.Force.In(units.Kilonewton), 3)
		}
		if open == "" {
			open, pressure, force = "faster than the flow before", "", ""
		}
		t.Add(number.Significant(l.Speed.In(units.MillimetrePerSecond), 2), span(l.Time), number.Cell(number.Fixed(l.Shut.In(units.Millimetre), 1)), open, pressure, force)
	}
	limit := "the medium's limit was not given"
	if w := (&work{c: p.Request, p: &p}); known(w.forceAtLimit()) {
		limit = "the medium's limit is met at " + force(w.forceAtLimit()) + " of the drive"
	}
	drive := "; the drive's own limit was not given: not checked"
	if f := p.Request.Limits.AdapterForce; f > 0 {
		drive = "; the drive gives " + force(f)
	}
	t.Note = "Bounds until the adapter meets the bed: friction and the beads' own slowness make it less. With the outlet open the displaced liquid goes through the bed: " + limit + drive + "."
	return t
}

// standTable tells what other liquids may flow at.
func (p Procedure) standTable() table.Table {
	t := table.Table{Caption: fmt.Sprintf("What the packed bed stands, with a drag margin of %v", p.Request.DragMargin), RowHeaders: true, Columns: []table.Column{
		{Name: "liquid"}, {Name: "temperature"}, {Name: "viscosity", Unit: "mPa·s", Right: true}, {Name: "at most", Unit: "cm/h", Right: true}}}
	for _, s := range p.Stands {
		mu, u := number.Missing, "measure its viscosity"
		if known(s.Viscosity) {
			mu, u = number.Significant(s.Viscosity.In(units.MillipascalSecond), 3), number.AtMost(s.Velocity.In(units.CentimetrePerHour), 3)
		}
		t.Add(s.Liquid, s.Temperature.String(), mu, u)
	}
	if len(p.Stands) > 0 {
		t.Note = "The strongest salt buffer, urea, guanidine, glycerol and the product, where they are used: give each as a process step with its viscosity."
	}
	return t
}

// String says what the gauge shows.
func (g GaugeRow) String() string {
	bars := func(p units.Pressure) string {
		if !known(p) {
			return "not given"
		}
		return bar(p) + " bar"
	}
	expected := number.Missing
	if known(g.Expected) {
		expected = bar(g.Expected) + " bar"
	}
	return fmt.Sprintf("%s: expected %s, act at %s, stop at %s (%s)", g.Step, expected, bars(g.Act), bars(g.Stop), g.StopBy)
}

// String says how far the bed rises before the adapter meets it.
func (l Lowering) String() string {
	open := "too fast for an open outlet"
	if known(l.Open) {
		open = number.Cell(number.Fixed(l.Open.In(units.Millimetre), 1)) + " mm with it open"
	}
	return fmt.Sprintf("adapter at %s: re-expansion at most %s mm with the outlet shut, %s", speed(l.Speed), number.Cell(number.Fixed(l.Shut.In(units.Millimetre), 1)), open)
}

// String says flow, pressure and height.
func (r RaiseStep) String() string {
	s := fmt.Sprintf("%v", r.Velocity)
	if known(r.After) {
		s = fmt.Sprintf("after %v %s", r.After, s)
	}
	if known(r.Pressure) {
		s += fmt.Sprintf(": %s bar over the bed, %s", bar(r.Pressure), inCentimetres(r.BedHeight))
	}
	return s
}

// String says what the liquid may flow at.
func (s Stand) String() string {
	if !known(s.Velocity) {
		return fmt.Sprintf("%s at %v: not known", s.Liquid, s.Temperature)
	}
	return fmt.Sprintf("%s at %v: at most %s cm/h", s.Liquid, s.Temperature, number.AtMost(s.Velocity.In(units.CentimetrePerHour), 3))
}

// String says what to do, with which valves, and what ends it.
func (s Stage) String() string {
	out := fmt.Sprintf("%s (%s): %s Ends: %s.", s.Name, s.Valves, strings.ReplaceAll(s.Do, "\n", " "), strings.ReplaceAll(s.Ends, "\n", " "))
	if known(s.Pressure) {
		out += fmt.Sprintf(" %s bar over the bed.", bar(s.Pressure))
	}
	if known(s.BedHeight) {
		out += " Bed " + inCentimetres(s.BedHeight) + "."
	}
	if known(s.Adapter) {
		out += " Adapter " + inCentimetres(s.Adapter) + "."
	}
	return out
}
