package bed

import (
	"fmt"

	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// experimentCaution stands beside every pressure-flow experiment.
const experimentCaution = "Pressure on glass and acrylic: keep to the pressure marked on the tube, vent trapped air first, and set a relief device or pressure trip at or below the weakest part; the equipment's manual comes first."

// title is how headings call it.
func (r ExperimentResult) title() string {
	if r.Experiment.Label == "" {
		return "Pressure-flow experiment"
	}
	return "Pressure-flow experiment, " + r.Experiment.Label
}

// Page shows the plateaus with their verdicts, the hysteresis and the picture.
func (r ExperimentResult) Page() page.Page {
	var p page.Page
	if len(r.Steps) == 0 {
		p.NoResult(r.Refusal, "nothing has been evaluated.")
		return p
	}
	p.Heading(r.title())
	p.List("Doubts", r.Doubts)
	p.Table(r.Table())
	p.Text("Change is what happened over the judged part; what was not steady gives the mean over it. The curve shows the standard errors.")
	p.Table(r.HysteresisTable())
	if finite(r.Lasting) {
		p.Text(fmt.Sprintf("At rest after the flow a compression factor of %.4f is left.", r.Lasting))
	}
	p.Figure(r.Figure())
	p.List("Taken for granted", r.Taken)
	p.List("Cautions", []string{experimentCaution, "What was read going down belongs to a bed that was pressed harder before; only the way up makes the curve."})
	return p
}

// Table returns the plateaus with their readings and verdicts.
func (r ExperimentResult) Table() table.Table {
	t := table.Table{Caption: fmt.Sprintf("Plateaus; pressure over the bed, settled height %.2f cm", r.SettledHeight.In(units.Centimetre)),
		Columns: []table.Column{{Name: "step", Right: true}, {Name: "way"}, {Name: "velocity", Unit: "cm/h", Right: true},
			{Name: "pressure", Unit: "bar", Right: true}, {Name: "change", Unit: "mbar", Right: true},
			{Name: "height", Unit: "cm", Right: true}, {Name: "change", Unit: "mm", Right: true},
			{Name: "factor", Right: true}, {Name: "verdict"}}}
	for i, s := range r.Steps {
		t.Add(fmt.Sprint(i+1), s.Direction.String(), number.Fixed(s.Velocity.In(units.CentimetrePerHour), 1),
			number.Cell(number.Fixed(s.Pressure.In(units.Bar), 4)), number.Cell(number.Signed(s.PressureChange.In(units.Millibar), 1)),
			number.Cell(number.Fixed(s.Height.In(units.Centimetre), 3)), number.Cell(number.Signed(s.HeightChange.In(units.Millimetre), 2)),
			number.Cell(number.Fixed(s.CompressionFactor, 4)), s.verdict())
	}
	return t
}

// verdict writes both verdicts, in one word if they agree.
func (s Step) verdict() string {
	p, h := s.PressureSteady, s.HeightSteady
	switch {
	case p == h:
		return p.String()
	case h == Steady:
		return "pressure " + p.String()
	case p == Steady:
		return "height " + h.String()
	}
	return "pressure " + p.String() + ", height " + h.String()
}

// HysteresisTable returns the way down beside the way up.
func (r ExperimentResult) HysteresisTable() table.Table {
	t := table.Table{Caption: "Going down beside going up", Columns: []table.Column{{Name: "velocity", Unit: "cm/h", Right: true},
		{Name: "factor up", Right: true}, {Name: "factor down", Right: true}, {Name: "pressure up", Unit: "bar", Right: true},
		{Name: "pressure down", Unit: "bar", Right: true}, {Name: "more pressure", Unit: "%", Right: true}}}
	for _, l := range r.Hysteresis {
		t.Add(number.Fixed(l.Down.Velocity.In(units.CentimetrePerHour), 1), number.Fixed(l.Up.CompressionFactor, 4), number.Fixed(l.Down.CompressionFactor, 4),
			number.Fixed(l.Up.Pressure.In(units.Bar), 4), number.Fixed(l.Down.Pressure.In(units.Bar), 4), number.Signed(100*(l.Down.Pressure.In(l.Up.Pressure)-1), 1))
	}
	return t
}

// String returns the page as text.
func (r ExperimentResult) String() string { return r.Page().String() }

// velocityAxis is the x axis of pressure-flow figures.
func velocityAxis() figure.Axis {
	return figure.Axis{Label: "Velocity", Unit: "cm/h", One: float64(units.CentimetrePerHour)}
}

// Figure draws pressure and bed height against velocity, up and down; dots that
// stand by themselves were not steady.
func (r ExperimentResult) Figure() figure.Stack {
	var lines [2][3]figure.Points // pressure, height; up, down, left out
	add := func(which int, s Step) {
		u := float64(s.Velocity)
		lines[0][which].X, lines[0][which].Y = append(lines[0][which].X, u), append(lines[0][which].Y, float64(s.Pressure))
		lines[1][which].X, lines[1][which].Y = append(lines[1][which].X, u), append(lines[1][which].Y, float64(s.Height))
	}
	add(0, Step{Height: r.SettledHeight})
	for _, s := range r.up() {
		add(0, s)
	}
	if up := r.up(); len(up) > 0 {
		add(1, up[len(up)-1])
	}
	for _, s := range r.Steps {
		switch {
		case s.Direction == Down && s.Usable():
			add(1, s)
		case s.Direction != Rest && !s.Usable() && finite(float64(s.Pressure)) && finite(float64(s.Height)):
			add(2, s)
		case s.Direction == Rest && len(lines[0][1].X) > 1 && finite(float64(s.Height)) && s.From > r.Steps[0].From:
			add(1, s)
		}
	}
	out := figure.Stack{Title: r.title(), Description: "Pressure over the bed and bed height against velocity, on the way up and on the way down; readings that were not steady stand by themselves."}
	for k, y := range []figure.Axis{{Label: "Pressure", Unit: "bar", One: float64(units.Bar)}, {Label: "Bed height", Unit: "cm", One: float64(units.Centimetre)}} {
		names := [3]string{"up", "down", "not steady"}
		panel := figure.Figure{X: velocityAxis(), Y: y, Height: 260}
		for which, points := range lines[k] {
			if len(points.X) == 0 || which == 1 && len(points.X) == 1 {
				continue
			}
			line := figure.Line{Points: points, Dots: true, Bare: which == 2}
			if k == 0 {
				line.Name = names[which]
			}
			panel.Lines = append(panel.Lines, line)
		}
		out.Panels = append(out.Panels, panel)
	}
	return out
}

// Record draws velocity, pressure and bed height against time, with the judged
// parts of the plateaus shaded.
func (r ExperimentResult) Record() figure.Stack {
	e := r.Experiment
	x := figure.Axis{Label: "Time", Unit: "min", One: float64(units.Minute)}
	var spans []figure.Span
	for _, s := range r.Steps {
		spans = append(spans, figure.Span{From: float64(s.JudgedFrom), To: float64(s.To)})
	}
	t, u := plain(e.Time), e.velocities()
	height := figure.Line{Points: read(t, plainLengths(e.Height))}
	if len(e.HeightTime) > 0 {
		height = figure.Line{Points: read(plain(e.HeightTime), plainLengths(e.Height)), Dots: true}
	}
	panel := func(label, unit string, one float64, line figure.Line) figure.Figure {
		return figure.Figure{X: x, Y: figure.Axis{Label: label, Unit: unit, One: one}, Lines: []figure.Line{line}, Spans: spans, Height: 170}
	}
	return figure.Stack{Title: r.title(), Description: fmt.Sprintf("Velocity, pressure at the gauge and bed height against time; %d plateaus, each shaded where it was judged.", len(r.Steps)),
		Panels: []figure.Figure{
			panel("Velocity", "cm/h", float64(units.CentimetrePerHour), figure.Line{Points: figure.Points{X: t, Y: u}}),
			panel("Gauge", "bar", float64(units.Bar), figure.Line{Points: read(t, plainPressures(e.Pressure))}),
			panel("Bed height", "cm", float64(units.Centimetre), height)}}
}

// read returns the points that were read.
func read(x, y []float64) figure.Points {
	var p figure.Points
	for i, v := range y {
		if i < len(x) && finite(v) {
			p.X, p.Y = append(p.X, x[i]), append(p.Y, v)
		}
	}
	return p
}
