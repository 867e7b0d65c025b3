package record

import (
	"fmt"
	"slices"

	"github.com/evenbed/evenbed/packing/trace"
)

// Within returns the rows and the events inside a range, its ends included:
// Within(trace.Times(5*Minute, 20*Minute)). Positions stay as they are.
func (r Record) Within(part trace.Range) (Record, error) {
	axes, err := r.axes()
	if err != nil {
		return Record{}, err
	}
	switch {
	case part.Axis != axes[0].kind:
		return Record{}, Error{File: r.File, Problem: fmt.Sprintf("the record runs against %s, but the range %s is one of %s", axes[0].kind, part, part.Axis),
			Remedy: "use trace.Times or trace.Volumes accordingly"}
	case !(part.From < part.To):
		return Record{}, Error{File: r.File, Problem: fmt.Sprintf("the range %s runs the wrong way round", part), Remedy: "put the smaller end first"}
	}
	keep := map[string][]int{}
	n := 0
	for _, a := range axes {
		rows := []int{}
		for i, x := range a.x {
			if x >= part.From && x <= part.To {
				rows = append(rows, i)
			}
		}
		keep[a.column.Name] = rows
		n += len(rows)
	}
	if n == 0 {
		a := axes[slices.IndexFunc(axes, func(a axis) bool { return len(a.x) > 0 })] // axes has refused a record without rows
		span := trace.Range{Axis: a.kind, From: a.x[0], To: a.x[len(a.x)-1]}
		return Record{}, Error{File: r.File, Problem: fmt.Sprintf("nothing from %s", part), Remedy: fmt.Sprintf("%q runs from %s", a.column.Name, span)}
	}
	out := r
	out.Columns = nil
	for _, c := range r.Columns {
		if rows, ok := keep[r.rows(c)]; ok {
			c = c.part(rows)
		}
		out.Columns = append(out.Columns, c)
	}
	out.Events = nil
	for _, e := range r.Events {
		if e.At >= part.From && e.At <= part.To {
			out.Events = append(out.Events, e)
		}
	}
	out.report = r.report.altered(out)
	out.report.fact("cut", fmt.Sprintf("%s: %s", part, plural(n, "row")))
	return out, nil
}

// Between returns the part of the record from one event to another, which are
// named as in [Record.Event]. The second is looked for behind the first.
func (r Record) Between(from, to string) (Record, error) {
	first, err := r.Event(from)
	if err != nil {
		return Record{}, err
	}
	later := r
	later.Events = nil
	for _, e := range r.Events {
		if e.At > first.At {
			later.Events = append(later.Events, e)
		}
	}
	second, err := later.Event(to)
	if err != nil {
		return Record{}, Error{File: r.File, Problem: fmt.Sprintf("no event %q behind %q at %s", to, first.Text, first.Axis.Show(first.At)), Remedy: "look at the events of the record", Err: err}
	}
	return r.Within(trace.Range{Axis: first.Axis, From: first.At, To: second.At})
}
