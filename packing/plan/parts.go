package plan

import (
	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// alone is a table of the procedure to be shown by itself: of a refused one only
// why.
func (p Procedure) alone(t table.Table) table.Table {
	if p.Refusal != nil {
		return table.Table{Caption: t.Caption, Note: p.Refusal.Error()}
	}
	return t
}

// Table returns the plan in short.
func (p Procedure) Table() table.Table { return p.alone(p.summary()) }

// StepTable returns what to do, what to watch and what ends each step.
func (p Procedure) StepTable() table.Table { return p.alone(p.stageTable()) }

// NumberTable returns the steps in numbers.
func (p Procedure) NumberTable() table.Table { return p.alone(p.numberTable()) }

// LimitTable returns the limits, lowest first, with what is left of them. That of
// a refused procedure shows which are passed.
func (p Procedure) LimitTable() table.Table { return p.limitTable() }

// SheetTable returns the sheet to fill in at the column.
func (p Procedure) SheetTable() table.Table { return p.alone(p.sheetTable()) }

// Recovery returns what a recorded rise tells about the next stop of such a bed,
// with the height that its flow had taken, settled less under flow. It refuses a
// record without time constants, and one that rose by more than that height.
func (r RiseRecord) Recovery(lost units.Length) (Recovery, error) {
	bad := func(problem, remedy string) (Recovery, error) {
		return Recovery{}, &packing.InputError{Where: "recorded rise", Problem: problem, Remedy: remedy}
	}
	switch {
	case len(r.Terms) == 0 || len(r.Terms) > 2:
		return bad("it has no time constants", "record a rise for longer, with more readings")
	case !(lost > 0):
		return bad("the height that the flow had taken is not above zero", "give the settled height less that under flow")
	}
	out := Recovery{Fast: r.Terms[0].Size.In(lost), FastTime: r.Terms[0].Time}
	if len(r.Terms) == 2 {
		out.Slow, out.SlowTime = r.Terms[1].Size.In(lost), r.Terms[1].Time
	}
	if !(out.Fast >= 0 && out.Slow >= 0 && out.Fast+out.Slow <= 1) {
		return bad("its parts are not between nothing and all that the flow had taken", "look at the heights of the record and of the settled bed")
	}
	return out, nil
}
