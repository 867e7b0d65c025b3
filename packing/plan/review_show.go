package plan

import (
	"fmt"
	"math"
	"strings"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// String returns the page as text.
func (f Findings) String() string { return f.Page().String() }

// Page lays the findings out: the advice with its reasons, what could not be
// judged, the summary, the picture, the details.
func (f Findings) Page() page.Page {
	var p page.Page
	title := "Recorded pack"
	for _, s := range []string{f.Review.Column.Tag, f.Run.Label} {
		if s != "" {
			title += ": " + s
			break
		}
	}
	p.Heading(title)
	if f.Refusal != nil || len(f.Steps) == 0 {
		p.NoResult(f.Refusal, "nothing has been read back.")
		return p
	}
	p.Notice(capital(f.Advice.String())+":", strings.Join(f.Reasons, "; ")+".")
	p.Table(f.optionTable())
	p.List("Not judged", f.NotJudged)
	p.List("Doubts", f.Doubts)
	p.Table(f.Table())
	p.Figure(f.Figure())
	p.Table(f.StepTable())
	p.Table(f.EndTable())
	p.Table(f.SteadyTable())
	p.Table(f.DeviationTable())
	p.Table(f.LimitTable())
	p.Table(f.MoveTable())
	p.Table(f.RiseTable())
	p.List("Taken, since not given (numbers are common practice, no source)", f.Taken)
	p.List("Cautions", f.cautions())
	p.Table(f.SheetTable())
	return p
}

// Table returns the bed that was found against the one asked for.
func (f Findings) Table() table.Table {
	r := f.Review
	t := table.Table{Caption: "The bed", RowHeaders: true, Columns: []table.Column{
		{Name: "quantity"}, {Name: "asked for", Right: true}, {Name: "found", Right: true}, {Name: "standard error", Right: true}, {Name: "unit"}, {Name: "from"}}}
	if len(f.Steps) == 0 {
		return t
	}
	cm := units.Centimetre
	t.Add("gravity-settled height", number.Fixed(r.BedHeight.Times(r.CompressionFactor).In(cm), 2), number.Fixed(f.SettledHeight.In(cm), 2), number.Fixed(f.SettledHeightStdErr.In(cm), 2), "cm", "end of step 1")
	t.Add("packed height", number.Fixed(r.BedHeight.In(cm), 2), number.Fixed(f.BedHeight.In(cm), 2), number.Fixed(f.BedHeightStdErr.In(cm), 2), "cm", f.BedHeightFrom)
	t.Add("compression factor", number.Fixed(r.CompressionFactor, 3), number.Fixed(f.CompressionFactor, 3), number.Fixed(f.CompressionFactorStdErr, 3), "", "heights")
	t.Add("compression factor", number.Fixed(r.CompressionFactor, 3), number.Fixed(f.BySlurry, 3), number.Fixed(f.BySlurryStdErr, 3), "", "slurry poured")
	percent := func(cf float64) string { return number.Fixed(100*packing.CompressionOfSettled(cf), 1) }
	t.Add("compression, (L0 - L)/L0", percent(r.CompressionFactor), percent(f.CompressionFactor), number.Fixed(100*f.CompressionFactorStdErr/(f.CompressionFactor*f.CompressionFactor), 1), "%", "heights")
	unit, one, decimals := volumeUnit(r.Column)
	t.Add("column volume", number.Fixed(r.Column.Volume(r.BedHeight).In(one), decimals), number.Fixed(r.Column.Volume(f.BedHeight).In(one), decimals), "", unit, "packed height")
	t.Add("adapter travel, compression to the end", "", number.Fixed(f.Travel.In(cm), 2), "", "cm", "adapter")
	t.Add("gap under the adapter", "0.0", number.Fixed(f.Gap.In(units.Millimetre), 1), "", "mm", "adapter, bed height")
	return t
}

// StepTable returns the steps that were found.
func (f Findings) StepTable() table.Table {
	unit, one, decimals := volumeUnit(f.Review.Column)
	t := table.Table{Caption: "Steps", RowHeaders: true, Columns: []table.Column{
		{Name: "step"}, {Name: "start", Unit: "min", Right: true}, {Name: "end", Unit: "min", Right: true}, {Name: "lasts", Unit: "min", Right: true},
		{Name: "volume", Unit: unit, Right: true}, {Name: "volume", Unit: "CV", Right: true}, {Name: "flow", Unit: f.flowUnit(), Right: true},
		{Name: "velocity", Unit: "cm/h", Right: true}, {Name: "spread", Unit: "cm/h", Right: true}}}
	for _, s := range f.Steps {
		t.Add(s.Name, number.Fixed(s.Start.In(units.Minute), 1), number.Fixed(s.End.In(units.Minute), 1), number.Fixed(s.Duration.In(units.Minute), 1),
			number.Fixed(s.Volume.In(one), decimals), number.Fixed(s.ColumnVolumes, 3), f.flow(s.Flow),
			number.Fixed(s.Velocity.In(units.CentimetrePerHour), 1), number.Fixed(s.VelocitySD.In(units.CentimetrePerHour), 1))
	}
	return t
}

// EndTable returns heights and pressure at the end of each step.
func (f Findings) EndTable() table.Table {
	t := table.Table{Caption: "At the end of each step", RowHeaders: true, Columns: []table.Column{
		{Name: "step"}, {Name: "bed height", Unit: "cm", Right: true}, {Name: "adapter", Unit: "cm", Right: true}, {Name: "pressure", Unit: "bar", Right: true}}}
	for _, s := range f.Steps {
		t.Add(s.Name, number.Fixed(s.Height.In(units.Centimetre), 2), number.Fixed(s.Adapter.In(units.Centimetre), 2), number.Fixed(s.Pressure.In(units.Bar), 3))
	}
	return t
}

// narrow tells whether volumes and flows are written in mL and mL/min, below
// 10 cm of diameter, and not in L and L/h.
func narrow(c packing.Column) bool { return c.InnerDiameter < 10*units.Centimetre }

// volumeUnit is the unit of the column's volumes, and their decimals.
func volumeUnit(c packing.Column) (unit string, one units.Volume, decimals int) {
	if narrow(c) {
		return "mL", units.Millilitre, 1
	}
	return "L", units.Litre, 2
}

func (f Findings) flowUnit() string {
	if narrow(f.Review.Column) {
		return "mL/min"
	}
	return "L/h"
}

func (f Findings) flow(q units.VolumeFlow) string {
	if f.flowUnit() == "mL/min" {
		return number.Fixed(q.In(units.MillilitrePerMinute), 2)
	}
	return number.Fixed(q.In(units.LitrePerHour), 1)
}

// SteadyTable returns whether height and pressure were steady at the end of the steps with flow.
func (f Findings) SteadyTable() table.Table {
	c := f.Review.Steady
	t := table.Table{Caption: fmt.Sprintf("Steady at the end: height within %v and pressure within %v over %v", c.Height, c.Pressure, c.Over), RowHeaders: true, Columns: []table.Column{
		{Name: "step"}, {Name: "height changed by", Unit: "mm", Right: true}, {Name: "height"}, {Name: "pressure changed by", Unit: "%", Right: true}, {Name: "pressure"}}}
	byPressure, byAdapter := f.Review.StepsBy == StepsByPressure, f.Review.StepsBy == StepsByAdapter
	if byPressure {
		t.Caption = fmt.Sprintf("Steady at the end: height within %v, pressure and flow within %v over %v", c.Height, c.Pressure, c.Over)
		t.Columns = append(t.Columns, table.Column{Name: "flow changed by", Unit: "%", Right: true}, table.Column{Name: "flow"})
	}
	if byAdapter {
		t.Caption = fmt.Sprintf("Steady at the end: height within %v over %v", c.Height, c.Over)
		t.Columns = t.Columns[:3]
	}
	change := func(v, se float64, decimals int) string {
		if math.IsNaN(v) {
			return number.Missing
		}
		if math.IsNaN(se) {
			return number.Fixed(v, decimals)
		}
		return fmt.Sprintf("%s ± %s", number.Fixed(v, decimals), number.Fixed(se, decimals))
	}
	verdict := func(v Verdict, why string) string {
		if v == NotJudged {
			return "not judged: " + why
		}
		return steadyWord(v)
	}
	for _, s := range f.Steps {
		if s.Kind == LooseBed || s.Kind == Compression && !byAdapter || s.Kind == Stop && byAdapter {
			k := s.Steadiness
			row := []string{s.Name, change(k.Height.In(units.Millimetre), k.HeightStdErr.In(units.Millimetre), 2), verdict(k.HeightIs, k.HeightWhy)}
			if !byAdapter {
				row = append(row, change(k.Pressure.In(units.Percent), k.PressureStdErr.In(units.Percent), 1), verdict(k.PressureIs, k.PressureWhy))
			}
			if byPressure {
				row = append(row, change(k.Flow.In(units.Percent), k.FlowStdErr.In(units.Percent), 1), verdict(k.FlowIs, k.FlowWhy))
			}
			t.Add(row...)
		}
	}
	return t
}

// DeviationTable returns what was found against what was planned.
func (f Findings) DeviationTable() table.Table {
	t := table.Table{Caption: "Against the plan", RowHeaders: true, Columns: []table.Column{
		{Name: "quantity"}, {Name: "unit"}, {Name: "planned", Right: true}, {Name: "found", Right: true}, {Name: "difference", Right: true}, {Name: "allowed", Right: true}, {Name: "verdict"}}}
	for _, d := range f.Deviations {
		n := d.decimals()
		verdict := d.Verdict.String()
		if d.Why != "" {
			verdict += ", " + d.Why
		}
		planned, allowed := number.Fixed(d.Planned, n), number.Fixed(d.Allowed, n)
		if math.IsNaN(d.Planned) {
			planned = "not planned"
		}
		if math.IsNaN(d.Allowed) {
			allowed = ""
		}
		difference := ""
		if v := d.Found - d.Planned; !math.IsNaN(v) {
			difference = fmt.Sprintf("%+.*f", n, v)
			if strings.Trim(difference, "-+0.") == "" {
				difference = number.Fixed(0, n)
			}
		}
		t.Add(d.What, d.Unit, planned, number.Fixed(d.Found, n), difference, allowed, verdict)
	}
	return t
}

// LimitTable returns the limits, lowest first, against the most that was recorded.
func (f Findings) LimitTable() table.Table {
	t := table.Table{Caption: "Limits, lowest first", RowHeaders: true, Columns: []table.Column{
		{Name: "limit"}, {Name: "allowed", Right: true}, {Name: "highest", Right: true}, {Name: "at", Unit: "min", Right: true}, {Name: "beyond for", Unit: "s", Right: true}, {Name: "verdict"}}}
	row := func(l LimitCheck, allowed, most string) {
		at, over := number.Fixed(l.At.In(units.Minute), 1), number.Fixed(l.Over.In(units.Second), 0)
		verdict := [...]string{"not judged", "kept", "passed"}[l.Verdict]
		if l.Verdict == NotJudged {
			most, at, over = number.Missing, "", ""
		}
		t.Add(l.Name, allowed, most, at, over, verdict)
	}
	for _, l := range f.Pressures {
		row(l, bar(units.Pressure(l.Limit))+" bar", fmt.Sprintf("%.3f bar", units.Pressure(l.Most).In(units.Bar)))
	}
	for _, l := range f.Flows {
		row(l, fmt.Sprintf("%.0f cm/h", units.Velocity(l.Limit).In(units.CentimetrePerHour)), fmt.Sprintf("%.0f cm/h", units.Velocity(l.Most).In(units.CentimetrePerHour)))
	}
	return t
}

// MoveTable returns the movements of the adapter.
func (f Findings) MoveTable() table.Table {
	t := table.Table{Caption: "Movements of the adapter", RowHeaders: true, Columns: []table.Column{
		{Name: "start", Unit: "min", Right: true}, {Name: "end", Unit: "min", Right: true}, {Name: "from", Unit: "cm", Right: true}, {Name: "to", Unit: "cm", Right: true}, {Name: "mean speed down", Unit: "mm/s", Right: true}}}
	for _, m := range f.Moves {
		t.Add(number.Fixed(m.Start.In(units.Minute), 2), number.Fixed(m.End.In(units.Minute), 2), number.Fixed(m.From.In(units.Centimetre), 2), number.Fixed(m.To.In(units.Centimetre), 2), number.Fixed(m.Speed.In(units.MillimetrePerSecond), 2))
	}
	return t
}

// RiseTable returns the rise of the bed after the stop.
func (f Findings) RiseTable() table.Table {
	r := f.Rise
	t := table.Table{Caption: "Re-expansion of the bed after the stop", RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "found"}}}
	if r.Points == 0 {
		return t
	}
	t.Add("record", r.String())
	if len(r.Terms) == 0 {
		return t
	}
	t.Add("velocity at first", fmt.Sprintf("%s mm/s; at most %.2f mm/s was to be expected, the velocity that was flowing",
		number.PlusMinus(r.First.In(units.MillimetrePerSecond), r.FirstStdErr.In(units.MillimetrePerSecond)), r.Bound.In(units.MillimetrePerSecond)))
	if !math.IsNaN(float64(r.Whole)) {
		t.Add("left alone it would re-expand by", withError(r.Whole.In(units.Millimetre), r.WholeStdErr.In(units.Millimetre))+" mm")
	}
	if !math.IsNaN(r.Lasting) {
		t.Add("part of the compression that stays", number.PlusMinus(100*r.Lasting, 100*r.LastingStdErr)+" %")
	}
	return t
}

// SheetTable returns the sheet for the batch record.
func (f Findings) SheetTable() table.Table {
	t := table.Table{Caption: "Sheet for the batch record", RowHeaders: true,
		Columns: []table.Column{{Name: "what"}, {Name: "expected"}, {Name: "found"}, {Name: "initials"}}}
	for _, r := range f.Sheet {
		t.Add(r.What, r.Expected, r.Found)
	}
	return t
}

// cautions are what one has to know beside the numbers.
func (f Findings) cautions() []string {
	c := []string{
		"A record says how the bed was packed, not whether it is even: only the test does. No pack is accepted before it.",
		"The compression factor from the slurry is no better known than the slurry's concentration; that from heights takes the upper edge of the settled bed as level and at rest.",
		"Pressures are as recorded: hoses, valves and nets are in them.",
		"Release the pressure slowly before anything on the column is opened or moved. The manual of the equipment, local codes and qualified people come before this page.",
	}
	if f.Advice == AddStep {
		c = append(c, "One further compression step is common practice (no source); if that misses too, unpack and repack. Every limit of the plan holds for it.")
	}
	return c
}

// Figure draws heights, velocity and pressure against time with the steps
// shaded, the target and the limits as lines.
func (f Findings) Figure() figure.Stack {
	if len(f.Steps) == 0 {
		return figure.Stack{}
	}
	s := f.signals
	first, last := s.velocity.x[0], s.velocity.x[len(s.velocity.x)-1]
	x := figure.Axis{Label: "Time", Unit: "min", One: 60, Min: first / 60, Max: last / 60}
	var named, plain []figure.Span
	words := make([]string, len(f.Steps))
	for i, step := range f.Steps {
		label := ""
		switch step.Kind {
		case LooseBed:
			label = "step 1"
		case AdapterDown:
			label = "adapter"
		case Compression:
			label, _, _ = strings.Cut(step.Name, ",")
		case Stop:
			label = "lowering"
		case LaterFlow:
			label = "later"
		}
		if float64(step.Duration) < 0.045*(last-first) { // no room for it
			label = ""
		}
		named = append(named, figure.Span{From: float64(step.Start), To: float64(step.End), Label: label})
		plain = append(plain, figure.Span{From: float64(step.Start), To: float64(step.End)})
		words[i] = fmt.Sprintf("%s from %s to %s min at %s cm/h", step.Name, number.Fixed(step.Start.In(units.Minute), 1), number.Fixed(step.End.In(units.Minute), 1), number.Fixed(step.Velocity.In(units.CentimetrePerHour), 0))
	}
	height := f.heightPanel(x, named, 250)
	flow := figure.Figure{X: x, Y: figure.Axis{Label: "Velocity", Unit: "cm/h", One: float64(units.CentimetrePerHour)}, Spans: plain, Height: 170,
		Lines: []figure.Line{{Points: s.velocity.points()}}}
	panels := []figure.Figure{}
	if len(height.Lines) > 0 {
		panels = append(panels, height)
	} else {
		flow.Spans = named
	}
	flow.Levels = levels(f.Flows)
	panels = append(panels, flow)
	if s.pressure.recorded() {
		p := figure.Figure{X: x, Y: figure.Axis{Label: "Pressure", Unit: "bar", One: float64(units.Bar)}, Spans: plain, Height: 170,
			Lines: []figure.Line{{Points: s.pressure.points()}}}
		p.Levels = levels(f.Pressures)
		panels = append(panels, p)
	}
	title := "Recorded pack"
	if tag := f.Review.Column.Tag; tag != "" {
		title += " of " + tag
	}
	return figure.Stack{Title: title, Panels: panels, Description: "Height, velocity and pressure against time. " + strings.Join(words, "; ") + "."}
}

func (s signal) points() figure.Points { return figure.Points{X: s.x, Y: s.y} }

// levels returns the lowest limit, and every other that was passed, from the
// highest down. A limit far above what was recorded would hide the record.
func levels(limits []LimitCheck) []figure.Level {
	var out []figure.Level
	for i := len(limits) - 1; i >= 0; i-- {
		if l := limits[i]; i == 0 || l.Verdict == Outside {
			out = append(out, figure.Level{Y: l.Limit, Label: l.Name})
		}
	}
	return out
}

// heightPanel draws bed and adapter over the target.
func (f Findings) heightPanel(x figure.Axis, spans []figure.Span, high int) figure.Figure {
	s := f.signals
	panel := figure.Figure{X: x, Y: figure.Axis{Label: "Height", Unit: "cm", One: float64(units.Centimetre)}, Spans: spans, Height: high,
		Levels: []figure.Level{{Y: float64(f.Review.BedHeight), Label: "target " + cm(f.Review.BedHeight)}}}
	if s.bed.recorded() {
		panel.Lines = append(panel.Lines, figure.Line{Name: "bed", Points: s.bed.points()})
	}
	if s.adapter.recorded() {
		panel.Lines = append(panel.Lines, figure.Line{Name: "adapter", Points: s.adapter.points()})
	}
	if len(f.Run.Readings) > 0 {
		var p figure.Points
		for _, r := range f.Run.Readings {
			p.X, p.Y = append(p.X, float64(r.At)), append(p.Y, float64(r.Height-f.Run.RulerZero))
		}
		panel.Lines = append(panel.Lines, figure.Line{Name: "bed, read by eye", Points: p, Dots: true, Bare: true})
	}
	return panel
}

// Closeup draws bed and adapter from shortly before the last stop until shortly
// after the adapter has come to rest: how the bed rose, and where it was caught.
// Without a stop after a compression it is empty.
func (f Findings) Closeup() figure.Stack {
	stop := f.step(Stop)
	if stop == nil || (!f.signals.bed.recorded() && !f.signals.adapter.recorded()) {
		return figure.Stack{}
	}
	from, to := stop.Start-20*units.Second, stop.Start+2*units.Minute
	for _, m := range f.Moves {
		if m.Start >= stop.Start && m.Start < stop.End {
			to = m.End + 20*units.Second
		}
	}
	if stop.End < to {
		to = stop.End
	}
	part := func(s signal) signal {
		i, j := s.within(float64(from), float64(to))
		return signal{s.x[i:j], s.y[i:j]}
	}
	near := f
	near.signals.bed, near.signals.adapter = part(f.signals.bed), part(f.signals.adapter)
	near.Run.Readings = nil
	x := figure.Axis{Label: "Time", Unit: "min", One: 60, Min: from.In(units.Minute), Max: to.In(units.Minute)}
	panel := near.heightPanel(x, []figure.Span{{From: float64(stop.Start), To: float64(to), Label: "flow off"}}, 300)
	return figure.Stack{Title: "Stopping the flow and lowering the adapter", Panels: []figure.Figure{panel},
		Description: "Bed and adapter about the last stop. " + capital(f.Rise.String()) + "."}
}
