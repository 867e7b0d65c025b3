package plan

import (
	"fmt"
	"math"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// String returns the page as text.
func (p Procedure) String() string { return p.Page().String() }

// doubtsOfCurve heads what is doubtful about the curve that a plan is made from.
const doubtsOfCurve = "Doubts about the curve"

// title names method and column.
func (p Procedure) title() string {
	title := "Packing by " + p.Request.Method
	if tag := p.Request.Column.Tag; tag != "" {
		title += ": " + tag
	}
	return title + ", " + p.Request.Medium.Label()
}

// Page lays the procedure out: what is wrong or open first, then the summary,
// the steps, the limits and the cautions, and the sheet to print.
func (p Procedure) Page() page.Page {
	var out page.Page
	out.Heading(p.title())
	if p.Refusal != nil {
		reasons := []error{p.Refusal}
		if r, ok := p.Refusal.(*Refusal); ok {
			reasons = r.Reasons
		}
		for _, err := range reasons {
			out.Notice("Refused:", err.Error())
		}
		out.List(doubtsOfCurve, p.Request.Curve.Doubts)
		out.Table(p.limitTable())
		out.Table(p.dutyTable())
		return out
	}
	if len(p.NotChecked) > 0 {
		out.List("Not checked", p.NotChecked)
	}
	out.List(doubtsOfCurve, p.Request.Curve.Doubts)
	out.Table(p.summary())
	out.Picture(p.Picture())
	if len(p.Taken) > 0 {
		out.Text("Taken, since not given: " + strings.Join(p.Taken, "; ") + ".")
	}
	p.atColumn(&out)
	out.Table(p.gaugeTable())
	out.Table(p.limitTable())
	out.Table(p.dutyTable())
	out.Table(p.standTable())
	out.Table(p.forceTable())
	out.Table(p.bufferTable())
	out.Table(p.largeTable())
	out.List("What this method cannot predict", p.Unknown)
	out.List("Cautions", p.Cautions)
	out.List("Safety", p.Safety)
	out.Table(p.sheetTable())
	return out
}

// atColumn adds what is read beside the column.
func (p Procedure) atColumn(out *page.Page) {
	out.Table(p.checkTable())
	out.Table(p.numberTable())
	out.Table(p.stageTable())
	out.Table(p.riseTable())
	out.Table(p.loweringTable())
	out.Table(p.choiceTable())
	out.Table(p.Test.RecipeTable())
	out.Table(p.Test.ExpectedTable())
}

// checkTable has a box to tick before each item, and a place for initials.
func (p Procedure) checkTable() table.Table {
	t := table.Table{Caption: "Before packing", Columns: []table.Column{{Name: "☐"}, {Name: "check"}, {Name: "initials"}}}
	for _, s := range p.Checklist {
		t.Add("☐", s, "______")
	}
	return t
}

// summary is the first table on the screen.
func (p Procedure) summary() table.Table {
	c, b := p.Request, p.Bed
	t := table.Table{Caption: "Plan", RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "plan"}}}
	t.Add("column", fmt.Sprintf("%s i.d., %s cm², column volume %s", cm(c.Column.InnerDiameter), number.Significant(b.Area.In(units.SquareCentimetre), 4), volume(b.ColumnVolume)))
	t.Add("target", fmt.Sprintf("%s at %s", cm(c.BedHeight), factorWords(c.CompressionFactor)))
	t.Add("settled bed", fmt.Sprintf("%.2f cm = %s", b.SettledHeight.In(units.Centimetre), volume(b.SettledVolume)))
	p.pourSummary(&t)
	p.stepSummary(&t)
	if h := p.EmptyColumn; known(h.Pressure) {
		t.Add("empty column", fmt.Sprintf("adds %.3g bar at %.4g cm/h", h.Pressure.In(units.Bar), h.Velocity.In(units.CentimetrePerHour)))
	}
	t.Add("limits", p.limitSummary())
	if len(p.Pressures) > 0 {
		if l := p.Pressures[0]; l.Used > l.Expected {
			t.Add("error of the curve", fmt.Sprintf("in the pressures held against limits: %s bar, the upper end of its 95 %% interval; without it %s bar, and of the lowest limit %s",
				bar(l.Used), bar(l.Expected), margin(1-l.Expected.In(l.Limit))))
		}
	}
	if known(p.Second.RiseBound) && len(p.Rises) > 0 {
		t.Add("re-expansion on the stop", fmt.Sprintf("at most %.2f mm/s", p.Second.RiseBound.In(units.MillimetrePerSecond)))
	}
	if len(p.Buffer) > 0 {
		t.Add("buffer in all", volume(p.TotalBuffer()))
	}
	t.Add("test", fmt.Sprintf("%s sample at %v = %s, %.0f min per column volume", volume(p.Test.Recipe.SampleVolume), p.Test.Recipe.Velocity, p.flow(p.Test.Flow), p.Test.ColumnTime.In(units.Minute)))
	return t
}

func (p Procedure) pourSummary(t *table.Table) {
	c := p.Request
	prepare := ""
	if c.DeadVolume > 0 {
		prepare = fmt.Sprintf(", prepare %s", volume(p.Pour.Prepared))
	}
	if c.Method == packInPlace {
		t.Add("fill", fmt.Sprintf("%s at %v%s, at %s: %s", volume(p.Pour.SlurryVolume), c.Slurry.Concentration, prepare, p.flow(c.FillFlow), span(p.Pour.SlurryVolume.PumpedAt(c.FillFlow))))
		return
	}
	tube := "stands " + cm(p.Pour.SlurryHeight) + ", tube height not given"
	if c.Column.TubeHeight > 0 {
		tube = fmt.Sprintf("stands %.1f of %s", p.Pour.SlurryHeight.In(units.Centimetre), cm(p.Pour.Usable))
	}
	rinse := ""
	if c.Rinse > 0 {
		rinse = ", rinse " + volume(c.Rinse)
	}
	name := "slurry transfer"
	if c.Method == suctionFill {
		name = "slurry transfer, drawn"
		rinse = fmt.Sprintf(", adapter at %s", speed(c.DrawSpeed))
	}
	t.Add(name, fmt.Sprintf("%s at %v%s%s, %s", volume(p.Pour.SlurryVolume), c.Slurry.Concentration, prepare, rinse, tube))
}

func (p Procedure) stepSummary(t *table.Table) {
	c, a := p.Request, p.Adapter
	switch {
	case c.Method == packInPlace:
		t.Add("end", fmt.Sprintf("%s bar and the flow stopped, with all slurry in", bar(c.PackingPressure)))
	case c.Method == constantPressure:
		form := "bed forms in a time that is not determined"
		if known(p.First.Time) {
			form = fmt.Sprintf("bed forms at a quarter of it in %s (%s at half the density excess), never over %s", span(p.First.Time), span(p.First.TimeAtHalfDensity), spanBound(p.First.Bound))
		}
		t.Add("pressure", fmt.Sprintf("%s bar in four steps; %s", bar(c.PackingPressure), form))
		t.Add("plateau", p.secondSummary())
	case p.First.Velocity > 0:
		t.Add("step 1", fmt.Sprintf("%v = %s, %.0f min (%.0f min at half the density excess), never over %s",
			p.First.Velocity, p.flow(p.First.Flow), p.First.Time.In(units.Minute), p.First.TimeAtHalfDensity.In(units.Minute), spanBound(p.First.Bound)))
	default:
		t.Add("settle", fmt.Sprintf("%.0f min by gravity (%.0f min at half the density excess)", p.First.Time.In(units.Minute), p.First.TimeAtHalfDensity.In(units.Minute)))
	}
	if p.byFlow() && c.Method != constantPressure {
		t.Add("step 2", p.secondSummary())
	}
	switch {
	case known(a.CompressionFactor):
		load := "load not determined"
		if known(a.Load) {
			load = fmt.Sprintf("load %.3g bar = %s by the law", a.Load.In(units.Bar), force(a.Force))
		}
		t.Add("adapter", fmt.Sprintf("%.1f mm at %s in %s, CF %.3f by it; %s", (a.From-a.To).In(units.Millimetre), speed(a.Speed), span(a.Time), a.CompressionFactor, load))
	case known(a.Time):
		t.Add("adapter left", fmt.Sprintf("%.1f mm to the target position, %s at %s", (a.From-a.To).In(units.Millimetre), span(a.Time), speed(a.Speed)))
	}
	reach := ""
	if known(p.Reach.Curve.CompressionFactor) {
		reach = fmt.Sprintf("CF %.3f at the end of the curve, %.0f cm/h and %.2f bar", p.Reach.Curve.CompressionFactor, p.Reach.Curve.Velocity.In(units.CentimetrePerHour), p.Reach.Curve.Pressure.In(units.Bar))
	}
	if known(p.Reach.Ceiling) {
		if reach != "" {
			reach += "; "
		}
		reach += fmt.Sprintf("by the law at most %.3f, at the critical velocity of %.0f cm/h", p.Reach.Ceiling, p.Reach.Critical.In(units.CentimetrePerHour))
	}
	if reach != "" {
		t.Add("flow alone gives", reach)
	}
}

func (p Procedure) secondSummary() string {
	s := p.Second
	if !known(s.Velocity) {
		return "packing velocity: not determined"
	}
	out := fmt.Sprintf("%.0f cm/h = %s, ", s.Velocity.In(units.CentimetrePerHour), p.flow(s.Flow))
	if !known(s.Pressure) {
		return out + "pressure not known"
	}
	out += fmt.Sprintf("about %.2f bar, CF %.3f by flow", s.Pressure.In(units.Bar), s.CompressionFactor)
	if known(s.Time) {
		out += fmt.Sprintf(", 99 %% of it in about %s", span(s.Time))
	}
	return out
}

// limitSummary is one line: the limits given, lowest first, with their margins.
func (p Procedure) limitSummary() string {
	var s []string
	for _, l := range p.Pressures {
		s = append(s, fmt.Sprintf("%s %s bar (%s)", l.Name, bar(l.Limit), margin(l.Margin)))
	}
	for _, l := range p.Flows {
		s = append(s, fmt.Sprintf("%s %.0f cm/h (%s)", l.Name, l.Limit.In(units.CentimetrePerHour), margin(l.Margin)))
	}
	if len(s) == 0 {
		return "none given: not checked"
	}
	return "lowest first: " + strings.Join(s, ", ")
}

func bar(p units.Pressure) string { return number.Compact(p.In(units.Bar), 3) }

func margin(m float64) string {
	if math.IsNaN(m) {
		return "not checked"
	}
	return fmt.Sprintf("%.0f %% left", math.Floor(100*m+1e-9))
}

// numberTable holds the steps in numbers, as far as there are any. A ruler that is
// not at zero at the bottom net has columns of its own.
func (p Procedure) numberTable() table.Table {
	flowUnit, one := "L/h", units.LitrePerHour
	volumeUnit, litre := "L", units.Litre
	if p.Request.Column.InnerDiameter < 10*units.Centimetre {
		flowUnit, one = "mL/min", units.MillilitrePerMinute
		volumeUnit, litre = "mL", units.Millilitre
	}
	t := table.Table{Caption: "Steps in numbers, heights above the bottom net", RowHeaders: true, Columns: []table.Column{{Name: "step"}, {Name: "time", Right: true}, {Name: "longest", Right: true},
		{Name: "velocity", Unit: "cm/h", Right: true}, {Name: "flow", Unit: flowUnit, Right: true}, {Name: "volume", Unit: volumeUnit, Right: true},
		{Name: "pressure", Unit: "bar", Right: true}, {Name: "bed", Unit: "cm", Right: true}, {Name: "adapter", Unit: "cm", Right: true}}}
	zero := p.Request.RulerZero
	if zero != 0 {
		t.Caption += "; the ruler reads " + cm(zero) + " there"
		t.Columns = append(t.Columns, table.Column{Name: "ruler: bed", Unit: "cm", Right: true}, table.Column{Name: "ruler: adapter", Unit: "cm", Right: true})
	}
	digits := func(x float64) string {
		if math.IsNaN(x) {
			return ""
		}
		return number.Significant(x, 3)
	}
	for _, s := range p.Stages {
		if !known(s.BedHeight) && !known(s.Velocity) && !known(s.Adapter) {
			continue // words only
		}
		time, longest, adapter := "", "", "out"
		if known(s.Time) {
			time = strings.ReplaceAll(span(s.Time), " ", "\u00a0")
		}
		if known(s.Longest) {
			longest = strings.ReplaceAll(spanBound(s.Longest), " ", "\u00a0")
		}
		if known(s.Adapter) {
			adapter = number.Cell(number.Fixed(s.Adapter.In(units.Centimetre), 1))
		} else if !known(s.BedHeight) {
			adapter = ""
		}
		row := []string{s.Name, time, longest, number.Cell(number.Fixed(s.Velocity.In(units.CentimetrePerHour), 0)), digits(s.Flow.In(one)), digits(s.Volume.In(litre)),
			number.Cell(number.Fixed(s.Pressure.In(units.Bar), 2)), number.Cell(number.Fixed(s.BedHeight.In(units.Centimetre), 1)), adapter}
		if zero != 0 {
			row = append(row, number.Cell(number.Fixed((s.BedHeight+zero).In(units.Centimetre), 1)), number.Cell(number.Fixed((s.Adapter+zero).In(units.Centimetre), 1)))
		}
		t.Add(row...)
	}
	return t
}

func (p Procedure) stageTable() table.Table {
	t := table.Table{Caption: "Steps", RowHeaders: true, Columns: []table.Column{{Name: "step"}, {Name: "do"}, {Name: "watch"}, {Name: "ends when"}}}
	for _, s := range p.Stages {
		t.Add(s.Name, "Valves: "+s.Valves+".\n"+s.Do, s.Watch, s.Ends)
	}
	return t
}

func (p Procedure) riseTable() table.Table {
	t := table.Table{Caption: "How fast must the adapter be? Re-expansion of the bed after the stop, outlet shut", RowHeaders: true, Columns: []table.Column{{Name: "re-expansion"}}}
	if len(p.Rises) == 0 {
		return t
	}
	most, record := []string{"at most"}, []string{"by your record"}
	for _, r := range p.Rises {
		t.Columns = append(t.Columns, table.Column{Name: fmt.Sprintf("after %.0f s", r.After.In(units.Second)), Unit: "mm", Right: true})
		most = append(most, number.Fixed(r.AtMost.In(units.Millimetre), 1))
		record = append(record, number.Fixed(r.ByRecord.In(units.Millimetre), 1))
	}
	t.Add(most...)
	if p.Request.Recovery.FastTime > 0 {
		t.Add(record...)
	}
	return t
}

func (p Procedure) choiceTable() table.Table {
	c := p.Request
	read := "bed after step 1"
	if c.FirstVelocity == 0 && c.Method != constantPressure {
		read = "settled bed"
	}
	byFlow := p.byFlow() && c.Method != flowThenAdapter
	t := table.Table{Caption: "If the " + read + " reads otherwise: keep the factor or the height, and note which", RowHeaders: true, Columns: []table.Column{{Name: "ruler reads", Unit: "cm", Right: true},
		{Name: "settled height", Unit: "cm", Right: true}, {Name: "keep the factor: ruler at the target position", Unit: "cm", Right: true}, {Name: "keep the height: factor", Right: true}}}
	if byFlow {
		t.Columns = append(t.Columns, table.Column{Name: "with it: velocity", Unit: "cm/h", Right: true}, table.Column{Name: "pressure", Unit: "bar", Right: true})
	}
	if known(p.Adapter.Load) {
		t.Columns = append(t.Columns, table.Column{Name: "with it: force of the adapter", Unit: "kN", Right: true})
	}
	for _, x := range p.Choices {
		keep := number.Fixed(x.Way.KeepHeight, 3)
		if x.Way.CannotKeep != "" {
			keep = "cannot be kept"
		}
		row := []string{number.Fixed((x.Found + c.RulerZero).In(units.Centimetre), 2), number.Fixed(x.Way.Settled.In(units.Centimetre), 2),
			number.Fixed((x.Way.KeepFactor + c.RulerZero).In(units.Centimetre), 2), keep}
		if byFlow {
			reach := number.Cell(number.Fixed(x.Velocity.In(units.CentimetrePerHour), 0))
			if reach == "" {
				reach = number.Missing
				if known(p.Reach.Curve.CompressionFactor) && x.Way.CannotKeep == "" {
					reach = "beyond the curve"
				}
			}
			row = append(row, reach, number.Cell(number.Fixed(x.Pressure.In(units.Bar), 2)))
		}
		if known(p.Adapter.Load) {
			row = append(row, number.Cell(number.Fixed(x.Load.On(p.Bed.Area).In(units.Kilonewton), 2)))
		}
		t.Add(row...)
	}
	return t
}

func (p Procedure) bufferTable() table.Table {
	t := table.Table{Caption: "Liquid that the pack takes", RowHeaders: true, Columns: []table.Column{{Name: "for"}, {Name: "volume", Right: true}}}
	for _, b := range p.Buffer {
		t.Add(b.What, volume(b.Volume))
	}
	if len(p.Buffer) > 0 {
		t.Add("in all", volume(p.TotalBuffer()))
	}
	return t
}

func (p Procedure) largeTable() table.Table {
	t := table.Table{Caption: "Because the column is large", RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "plan"}}}
	for _, r := range p.Large {
		t.Add(r.What, r.Value)
	}
	return t
}

func (p Procedure) limitTable() table.Table {
	t := table.Table{Caption: "Limits, lowest first", RowHeaders: true,
		Columns: []table.Column{{Name: "limit"}, {Name: "allowed", Right: true}, {Name: "planned", Right: true}, {Name: "left", Right: true}}}
	interval := false
	for _, l := range p.Pressures {
		used := number.Missing
		if known(l.Used) {
			used = fmt.Sprintf("%.2f bar%s", l.Used.In(units.Bar), p.onlyFirst())
		}
		t.Add(l.Name, bar(l.Limit)+" bar", used, tableMargin(l.Margin))
		if l.Used > l.Expected {
			interval = true
			t.Add(l.Name+", by the curve itself", "", fmt.Sprintf("%.2f bar%s", l.Expected.In(units.Bar), p.onlyFirst()), tableMargin(1-l.Expected.In(l.Limit)))
		}
	}
	if interval {
		t.Note = "Pressures are held against their limits with the upper end of the curve's 95 % interval; the lines below say what the curve itself would leave."
	}
	for _, l := range p.Flows {
		t.Add(l.Name, fmt.Sprintf("%.0f cm/h", l.Limit.In(units.CentimetrePerHour)), fmt.Sprintf("%.0f cm/h%s", l.Used.In(units.CentimetrePerHour), p.onlyFirst()), tableMargin(l.Margin))
	}
	if a := p.Adapter; known(a.Margin) {
		t.Add("drive of the adapter", force(p.Request.Limits.AdapterForce), force(a.Force), tableMargin(a.Margin))
	} else if f := p.Request.Limits.AdapterForce; f > 0 {
		t.Add("drive of the adapter", force(f), "not determined", tableMargin(nan))
	}
	return t
}

// onlyFirst marks numbers in which the second step has no part, because its
// velocity is not determined.
func (p Procedure) onlyFirst() string {
	if !known(p.Second.Velocity) && (p.Request.Method == constantFlow || p.Request.Method == suctionFill && p.Request.Then == ByFlow) {
		return ", first step alone"
	}
	return ""
}

func tableMargin(m float64) string {
	switch {
	case math.IsNaN(m):
		return "not checked"
	case m < 0:
		return "passed"
	}
	return fmt.Sprintf("%.0f %%", math.Floor(100*m+1e-9))
}

func (p Procedure) dutyTable() table.Table {
	t := table.Table{Caption: "Process steps against the drag of packing", RowHeaders: true, Columns: []table.Column{
		{Name: "process step"}, {Name: "liquid"}, {Name: "velocity", Unit: "cm/h", Right: true}, {Name: "viscosity", Unit: "mPa·s", Right: true},
		{Name: "drags like", Unit: "cm/h", Right: true}, {Name: "packing over step", Right: true}, {Name: "wanted", Right: true}, {Name: "about", Unit: "bar", Right: true}}}
	for _, d := range p.Duties {
		over, pressure := "not checked", number.Missing
		if !math.IsNaN(d.Margin) {
			over = number.Fixed(d.Margin, 2)
		}
		if !math.IsNaN(float64(d.Pressure)) {
			pressure = number.Fixed(d.Pressure.In(units.Bar), 2)
		}
		t.Add(d.Duty.Name, fmt.Sprintf("%s, %v", dutyLiquid(d.Duty), d.Duty.Temperature), number.Fixed(d.Duty.Velocity.In(units.CentimetrePerHour), 0),
			number.Significant(d.Duty.Viscosity.In(units.MillipascalSecond), 3), number.Fixed(d.Equivalent.In(units.CentimetrePerHour), 0), over, number.Fixed(d.Wanted, 2), pressure)
	}
	return t
}

func (p Procedure) forceTable() table.Table {
	t := table.Table{Caption: "Force on the end plate", RowHeaders: true,
		Columns: []table.Column{{Name: "at"}, {Name: "pressure", Unit: "bar", Right: true}, {Name: "force", Unit: "kN", Right: true}, {Name: "left of the rating"}}}
	for _, f := range p.Forces {
		t.Add(f.At, number.Fixed(f.Pressure.In(units.Bar), 2), number.Significant(f.Force.In(units.Kilonewton), 3), tableMargin(f.Margin))
	}
	if r := p.Request.Limits.EndPlateForce; r > 0 {
		t.Note = "Rating as typed from the plate: " + force(r) + "."
	}
	return t
}

func (p Procedure) sheetTable() table.Table {
	t := table.Table{Caption: "Sheet for the column", RowHeaders: true,
		Columns: []table.Column{{Name: "what"}, {Name: "expected"}, {Name: "found"}, {Name: "initials"}}}
	c := p.Request
	t.Add("column, medium and lot", strings.TrimPrefix(c.Column.Tag+", "+c.Medium.Label(), ", "), blank, initials)
	t.Add("target", cm(c.BedHeight)+" at "+factorWords(c.CompressionFactor), blank, initials)
	t.Add("date, start, end", "", blank, initials)
	t.Add("operator, second person", "", blank, initials)
	for _, r := range p.Sheet {
		t.Add(r.What, r.Expected, blank, initials)
	}
	if c.RulerZero != 0 {
		t.Add("ruler at the bottom net", cm(c.RulerZero), blank, initials)
	}
	t.Add("deviations: what, when, told to whom", "", blank, initials)
	t.Add("remarks", "", blank, initials)
	return t
}

// Paper is what goes to the column: checks, steps, tables to look up, and the
// sheet to fill in, without what was weighed before.
type Paper struct{ Procedure Procedure }

// Paper returns what to print for the column. A refused procedure has nothing to
// print but its refusal.
func (p Procedure) Paper() Paper { return Paper{p} }

// Page shows what to print.
func (s Paper) Page() page.Page {
	p := s.Procedure
	if p.Refusal != nil || len(p.Stages) == 0 {
		return p.Page()
	}
	var out page.Page
	out.Heading(p.title())
	out.List(doubtsOfCurve, p.Request.Curve.Doubts)
	out.Table(p.gaugeTable())
	out.Table(p.heightTable())
	out.Text("☐ vented: no air in lines, nets and under the adapter   ☐ path for the displaced liquid open before the adapter moves   Initials ______")
	out.List("Cautions", p.Safety)
	out.Break()
	out.List("Not checked", p.NotChecked)
	out.Table(p.summary())
	p.atColumn(&out)
	out.Break()
	out.Table(p.sheetTable())
	log := table.Table{Caption: "Readings during a step, until it is steady", Columns: []table.Column{{Name: "step"}, {Name: "time"}, {Name: "flow"}, {Name: "pressure"}, {Name: "bed height"}}}
	for range 12 {
		log.Add("________", "________", "________", "________", "________")
	}
	out.Table(log)
	return out
}

// String returns the page as text.
func (s Paper) String() string { return s.Page().String() }
