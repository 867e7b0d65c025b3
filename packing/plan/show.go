package plan

import (
	"fmt"
	"math"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/table"
	"github.com/evenbed/evenbed/packing/units"
)

// HTML shows the procedure, or its refusal.
func (p Procedure) HTML() string { return p.page().HTML() }

// Markdown shows the procedure, or its refusal.
func (p Procedure) Markdown() string { return p.page().Markdown() }

// String shows the procedure, or its refusal.
func (p Procedure) String() string { return p.page().String() }

// page lays the procedure out: what is wrong or open first, then the summary,
// the details and the cautions.
func (p Procedure) page() table.Page {
	var page table.Page
	title := "Packing by constant flow"
	if tag := p.Request.Column.Tag; tag != "" {
		title += ": " + tag
	}
	page.Heading(title + ", " + p.Request.Medium.Label())
	if p.Refusal != nil {
		reasons := []error{p.Refusal}
		if r, ok := p.Refusal.(*Refusal); ok {
			reasons = r.Reasons
		}
		for _, err := range reasons {
			page.Notice("Refused:", err.Error())
		}
		page.Table(p.limitTable())
		page.Table(p.dutyTable())
		return page
	}
	if len(p.NotChecked) > 0 {
		page.List("Not checked", p.NotChecked)
	}
	page.Table(p.summary())
	picture := p.Picture()
	page.SVG(picture.SVG(), picture.String())
	if len(p.Taken) > 0 {
		page.Text("Taken, since not given: " + strings.Join(p.Taken, "; ") + ".")
	}
	page.Table(p.stageTable())
	page.Table(p.limitTable())
	page.Table(p.dutyTable())
	page.Table(p.forceTable())
	page.List("Cautions", p.Cautions)
	page.List("Safety", p.Safety)
	page.Table(p.sheetTable())
	return page
}

// summary is the first table on the screen.
func (p Procedure) summary() table.Table {
	c, b := p.Request, p.Bed
	t := table.Table{Caption: "Plan", RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "plan"}}}
	t.Add("column", fmt.Sprintf("%s i.d., %s cm², column volume %s", cm(c.Column.InnerDiameter), significant(b.Area.In(units.SquareCentimetre), 4), volume(b.ColumnVolume)))
	t.Add("target", fmt.Sprintf("%s at CF %v; settled bed %.2f cm = %s", cm(c.BedHeight), c.CompressionFactor, b.SettledHeight.In(units.Centimetre), volume(b.SettledVolume)))
	tube := "stands " + cm(p.Pour.SlurryHeight) + ", tube height not given"
	if c.Column.TubeHeight > 0 {
		tube = fmt.Sprintf("stands %.1f of %s", p.Pour.SlurryHeight.In(units.Centimetre), cm(p.Pour.Usable))
	}
	t.Add("pour", fmt.Sprintf("%s at %v, %s", volume(p.Pour.SlurryVolume), c.Slurry.Concentration, tube))
	t.Add("step 1", fmt.Sprintf("%v = %s, %.0f min (%.0f min at half the density excess), never over %.0f min",
		p.First.Velocity, p.flow(p.First.Flow), p.First.Time.In(units.Minute), p.First.TimeAtHalfDensity.In(units.Minute), math.Ceil(p.First.Bound.In(units.Minute)-1e-9)))
	t.Add("step 2", p.secondSummary())
	t.Add("limits", p.limitSummary())
	if !math.IsNaN(float64(p.Second.RiseBound)) {
		t.Add("rise on stop", fmt.Sprintf("at most %.2f mm/s", p.Second.RiseBound.In(units.MillimetrePerSecond)))
	}
	t.Add("test", fmt.Sprintf("%s sample at %v = %s, %.0f min per column volume", volume(p.Test.Sample), p.Test.Velocity, p.flow(p.Test.Flow), p.Test.ColumnTime.In(units.Minute)))
	return t
}

func (p Procedure) secondSummary() string {
	s := p.Second
	if math.IsNaN(float64(s.Velocity)) {
		return "second velocity: not determined"
	}
	out := fmt.Sprintf("%.0f cm/h = %s, ", s.Velocity.In(units.CentimetrePerHour), p.flow(s.Flow))
	if math.IsNaN(float64(s.Pressure)) {
		return out + "pressure not known"
	}
	return out + fmt.Sprintf("about %.2f bar, CF %.3f by flow", s.Pressure.In(units.Bar), s.CompressionFactor)
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

func bar(p units.Pressure) string { return fmt.Sprintf("%.3g", p.In(units.Bar)) }

func margin(m float64) string {
	if math.IsNaN(m) {
		return "not checked"
	}
	return fmt.Sprintf("%.0f %% left", math.Floor(100*m+1e-9))
}

func (p Procedure) stageTable() table.Table {
	t := table.Table{Caption: "Steps", RowHeaders: true, Columns: []table.Column{{Name: "step"}, {Name: "do"}, {Name: "ends when"}}}
	for _, s := range p.Stages {
		t.Add(s.Name, s.Do, s.Ends)
	}
	return t
}

func (p Procedure) limitTable() table.Table {
	t := table.Table{Caption: "Limits, lowest first", RowHeaders: true,
		Columns: []table.Column{{Name: "limit"}, {Name: "allowed", Right: true}, {Name: "planned", Right: true}, {Name: "left", Right: true}}}
	for _, l := range p.Pressures {
		used := "not known"
		if !math.IsNaN(float64(l.Used)) {
			used = fmt.Sprintf("%.2f bar%s", l.Used.In(units.Bar), p.onlyFirst())
		}
		t.Add(l.Name, bar(l.Limit)+" bar", used, tableMargin(l.Margin))
	}
	for _, l := range p.Flows {
		t.Add(l.Name, fmt.Sprintf("%.0f cm/h", l.Limit.In(units.CentimetrePerHour)), fmt.Sprintf("%.0f cm/h%s", l.Used.In(units.CentimetrePerHour), p.onlyFirst()), tableMargin(l.Margin))
	}
	return t
}

// onlyFirst marks numbers in which the second step has no part, because its
// velocity is not determined.
func (p Procedure) onlyFirst() string {
	if math.IsNaN(float64(p.Second.Velocity)) {
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
	t := table.Table{Caption: "Duties against the drag of packing", RowHeaders: true, Columns: []table.Column{
		{Name: "duty"}, {Name: "liquid"}, {Name: "velocity", Unit: "cm/h", Right: true}, {Name: "viscosity", Unit: "mPa·s", Right: true},
		{Name: "drags like", Unit: "cm/h", Right: true}, {Name: "packing over duty", Right: true}, {Name: "about", Unit: "bar", Right: true}}}
	for _, d := range p.Duties {
		over, pressure := "not checked", "not known"
		if !math.IsNaN(d.Margin) {
			over = fmt.Sprintf("%.2f", d.Margin)
		}
		if !math.IsNaN(float64(d.Pressure)) {
			pressure = fmt.Sprintf("%.2f", d.Pressure.In(units.Bar))
		}
		t.Add(d.Duty.Name, fmt.Sprintf("%s, %v", dutyLiquid(d.Duty), d.Duty.Temperature), fmt.Sprintf("%.0f", d.Duty.Velocity.In(units.CentimetrePerHour)),
			significant(d.Duty.Viscosity.In(units.MillipascalSecond), 3), fmt.Sprintf("%.0f", d.Equivalent.In(units.CentimetrePerHour)), over, pressure)
	}
	return t
}

func (p Procedure) forceTable() table.Table {
	t := table.Table{Caption: "Force on the end plate", RowHeaders: true,
		Columns: []table.Column{{Name: "at"}, {Name: "pressure", Unit: "bar", Right: true}, {Name: "force", Unit: "kN", Right: true}}}
	for _, f := range p.Forces {
		t.Add(f.At, fmt.Sprintf("%.2f", f.Pressure.In(units.Bar)), significant(f.Force.In(units.Kilonewton), 3))
	}
	return t
}

func (p Procedure) sheetTable() table.Table {
	t := table.Table{Caption: "Sheet for the column", RowHeaders: true,
		Columns: []table.Column{{Name: "what"}, {Name: "expected"}, {Name: "found"}, {Name: "initials"}}}
	for _, r := range p.Sheet {
		t.Add(r.What, r.Expected)
	}
	return t
}
