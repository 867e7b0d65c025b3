package plan

import (
	"fmt"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// A Comparison holds procedures side by side.
type Comparison struct{ Procedures []Procedure }

// Compare puts procedures side by side, such as several methods for one bed.
func Compare(procedures ...Procedure) Comparison { return Comparison{procedures} }

// Page shows the methods side by side.
func (c Comparison) Page() page.Page {
	var out page.Page
	if len(c.Procedures) == 0 {
		out.NoResult(nil, "there is nothing to compare.")
		return out
	}
	t := table.Table{Caption: "Methods side by side", RowHeaders: true, Columns: []table.Column{{Name: "packing by"}, {Name: "bed forms in"}, {Name: "compressed by"},
		{Name: "pressure", Unit: "bar", Right: true}, {Name: "adapter", Unit: "kN", Right: true}, {Name: "buffer", Right: true}}}
	for _, p := range c.Procedures {
		if p.Refusal != nil {
			t.Add(p.Request.Method, "refused")
			out.Notice("Refused, "+p.Request.Method+":", strings.TrimPrefix(p.Refusal.Error(), "plan refused: "))
			continue
		}
		formed := "not determined"
		if p.Request.Method == packInPlace {
			formed = span(p.Pour.SlurryVolume.PumpedAt(p.Request.FillFlow))
		} else if known(p.First.Time) {
			formed = span(p.First.Time)
			if known(p.First.Bound) {
				formed += ", never over " + spanBound(p.First.Bound)
			}
		}
		highest := units.Pressure(nan)
		for _, s := range p.Stages {
			if !known(highest) || s.Pressure > highest {
				highest = s.Pressure
			}
		}
		load := "none"
		if known(p.Adapter.CompressionFactor) {
			load = "not determined"
			if known(p.Adapter.Force) {
				load = number.Significant(p.Adapter.Force.In(units.Kilonewton), 3)
			}
		}
		t.Add(p.Request.Method, formed, p.compressed(), number.Cell(number.Fixed(highest.In(units.Bar), 2)), load, strings.ReplaceAll(volume(p.TotalBuffer()), " ", "\u00a0"))
	}
	out.Table(t)
	return out
}

// compressed says what compresses the bed, and how far.
func (p Procedure) compressed() string {
	a, s := p.Adapter, p.Second
	flow := "flow, not determined"
	if known(s.CompressionFactor) {
		flow = fmt.Sprintf("flow %.3f at %.0f cm/h", s.CompressionFactor, s.Velocity.In(units.CentimetrePerHour))
	}
	adapter := fmt.Sprintf("adapter %.3f", a.CompressionFactor)
	switch {
	case p.Request.Method == packInPlace:
		return fmt.Sprintf("slurry pumped in, %v", p.Request.CompressionFactor)
	case !known(a.CompressionFactor):
		return flow
	case !p.byFlow():
		return adapter
	}
	return flow + " · " + adapter
}

// String returns the page as text.
func (c Comparison) String() string { return c.Page().String() }
