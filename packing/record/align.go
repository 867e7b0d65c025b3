package record

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"github.com/evenbed/evenbed/packing/internal/unit"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// A Method is how a value is found at a position at which none was measured.
type Method int

// The methods. None of them gives a value before the first measured one or
// after the last.
const (
	// Linear takes the straight line between the two neighbours.
	Linear Method = iota
	// Previous takes the last value before.
	Previous
	// Nearest takes the nearer neighbour; of two as near, the earlier.
	Nearest
	// Mean takes the mean of the values within half a step on either side, that
	// on the left included and that on the right not. It needs a step.
	Mean
)

// String describes the method.
func (m Method) String() string {
	switch m {
	case Linear:
		return "straight line between neighbours"
	case Previous:
		return "previous value"
	case Nearest:
		return "nearest value"
	case Mean:
		return "mean within half a step"
	}
	return fmt.Sprintf("Method(%d)", int(m))
}

// An Alignment says onto which positions columns are put, and how. Give one of
// Axis, Step and VolumeStep.
type Alignment struct {
	Axis       string       // a column of times or volumes, or a signal that runs against one
	Step       units.Time   // distance of two positions
	VolumeStep units.Volume // the same for records against volume
	Method     Method
}

// maxPositions is the most positions a step may make.
const maxPositions = 100_000_000

// Aligned returns the record with all its columns on one axis. A step begins at
// the first position of any column. Where a column has no value on both sides
// the result has none. The report states the method.
func (r Record) Aligned(a Alignment) (Record, error) {
	if a.Method < Linear || a.Method > Mean {
		return Record{}, Error{File: r.File, Problem: "an unknown method " + a.Method.String(), Remedy: "use record.Linear, Previous, Nearest or Mean"}
	}
	axes, err := r.axes()
	if err != nil {
		return Record{}, err
	}
	to, onto, err := r.target(a, axes)
	if err != nil {
		return Record{}, err
	}
	half := 0.0
	if a.Method == Mean {
		half = (to.x[1] - to.x[0]) / 2
	}
	out := r
	out.Columns = []Column{to.column}
	for _, c := range r.Columns {
		if c.Axis == "" || c.Values == nil {
			continue
		}
		from := axes[slices.IndexFunc(axes, func(x axis) bool { return x.column.Name == c.Axis })]
		moved := c
		moved.Axis = to.column.Name
		if a.Axis == "" || from.column.Name != to.column.Name {
			moved.Values, moved.Status = at(to.x, from.x, c.Values, a.Method, half), nil
		}
		out.Columns = append(out.Columns, moved)
	}
	out.report = r.report.altered(out)
	out.report.fact("aligned", fmt.Sprintf("%d positions, %s; %s; nothing before the first or after the last value of a column", len(to.x), onto, a.Method))
	return out, nil
}

// An axis is a column that others run against, with its positions in SI.
type axis struct {
	column Column
	kind   trace.Axis
	x      []float64
}

// axes returns the axes of a record, which must be all of time or all of
// volume and must not run backwards.
func (r Record) axes() ([]axis, error) {
	var all []axis
	rows := 0
	for _, c := range r.Columns {
		if !r.isAxis(c.Name) {
			continue
		}
		x, kind, err := r.positions(c)
		if err != nil {
			return nil, err
		}
		if i := backwards(x); i > 0 {
			return nil, Error{File: r.File, Problem: fmt.Sprintf("column %q runs backwards, from %s to %s", c.title(), kind.Show(x[i-1]), kind.Show(x[i])),
				Remedy: "read it with a policy for that, as record.Options{Clock: record.SortRows}"}
		}
		if len(all) > 0 && all[0].kind != kind {
			return nil, Error{File: r.File, Problem: fmt.Sprintf("column %q is of %s, column %q of %s", all[0].column.Name, all[0].kind, c.Name, kind),
				Remedy: "bring them to one kind first: ByVolume or ByTime"}
		}
		if len(all) > 0 && !all[0].column.Start.Equal(c.Start) {
			return nil, Error{File: r.File, Problem: fmt.Sprintf("columns %q and %q do not count from the same zero: one of them holds moments", all[0].column.Name, c.Name),
				Remedy: "take their signals one by one, and move the zero of one with Since"}
		}
		all = append(all, axis{c, kind, x})
		rows += len(x)
	}
	if len(all) == 0 {
		return nil, Error{File: r.File, Problem: "no column of time or of volume", Remedy: "give a column its unit: record.Options{Units: map[string]string{\"Time\": \"min\"}}"}
	}
	if rows == 0 {
		return nil, Error{File: r.File, Problem: "the record has no rows", Remedy: "export the file again, with data"}
	}
	return all, nil
}

// target returns the axis to align to, and says what it is.
func (r Record) target(a Alignment, axes []axis) (axis, string, error) {
	wrong := func(problem, remedy string) (axis, string, error) {
		return axis{}, "", Error{File: r.File, Problem: problem, Remedy: remedy}
	}
	given := 0
	for _, is := range []bool{a.Axis != "", a.Step != 0, a.VolumeStep != 0} {
		if is {
			given++
		}
	}
	if given != 1 {
		return wrong("an alignment needs one of Axis, Step and VolumeStep", fmt.Sprintf("as record.Alignment{Axis: %q}", axes[0].column.Name))
	}
	if a.Axis != "" {
		c, err := r.Column(a.Axis)
		if err != nil {
			return axis{}, "", err
		}
		for _, x := range axes {
			if x.column.Name != r.rows(c) {
				continue
			}
			if a.Method == Mean {
				return wrong("a mean needs a step", "give record.Alignment{Step: ...}, or another method")
			}
			return x, "those of " + x.column.Name, nil
		}
		return wrong(fmt.Sprintf("column %q runs against nothing", c.Name), "name an axis or a signal")
	}
	step, kind := float64(a.Step), trace.Time
	if a.VolumeStep != 0 {
		step, kind = float64(a.VolumeStep), trace.Volume
	}
	first, last := math.Inf(1), math.Inf(-1)
	for _, x := range axes {
		if len(x.x) > 0 {
			first, last = min(first, x.x[0]), max(last, x.x[len(x.x)-1])
		}
	}
	switch {
	case kind != axes[0].kind:
		return wrong(fmt.Sprintf("a step of %s in a record against %s", kind.Show(step), axes[0].kind), "give a step of the record's own kind")
	case !(step > 0) || math.IsInf(step, 0):
		return wrong(fmt.Sprintf("a step of %s", kind.Show(step)), "give a positive one")
	case !(last > first):
		return wrong("the record has no length", "look at its columns")
	case (last-first)/step > maxPositions:
		return wrong(fmt.Sprintf("a step of %s makes more than %d positions", kind.Show(step), maxPositions), "give a longer one")
	case (last-first)/step < 1:
		return wrong(fmt.Sprintf("a step of %s is longer than the record", kind.Show(step)), "give a shorter one")
	}
	x := make([]float64, int(math.Floor((last-first)/step*(1+1e-12)))+1)
	for i := range x {
		x[i] = first + float64(i)*step
	}
	to := axis{column: axes[0].column, kind: kind, x: x}
	u := unit.Unit{Kind: unit.Time, One: 1}
	if kind == trace.Volume {
		u.Kind = unit.Volume
	}
	own, _ := unit.Of(to.column.Unit)
	if own.Kind == unit.CV {
		own = unit.Unit{Kind: unit.Volume, One: r.report.columnVolume()}
	}
	to.column.Values = unit.Convert(x, u, own)
	return to, "every " + kind.Show(step), nil
}

// unused returns the name, with a number behind it if a column has it.
func (r Record) unused(name string) string {
	for n := 1; ; n++ {
		try := name
		if n > 1 {
			try = fmt.Sprintf("%s %d", name, n)
		}
		if !slices.ContainsFunc(r.Columns, func(c Column) bool { return c.Name == try }) {
			return try
		}
	}
}

// at returns values at the positions to of what was measured at from; NaN
// outside. Neither positions run backwards.
func at(to, from, values []float64, m Method, half float64) []float64 {
	x, y := make([]float64, 0, len(from)), make([]float64, 0, len(from))
	for i, v := range values {
		if !math.IsNaN(v) {
			x, y = append(x, from[i]), append(y, v)
		}
	}
	out := make([]float64, len(to))
	for i, p := range to {
		out[i] = math.NaN()
		if m == Mean {
			lo, hi := sort.SearchFloat64s(x, p-half), sort.SearchFloat64s(x, p+half)
			if hi > lo {
				sum := 0.0
				for _, v := range y[lo:hi] {
					sum += v
				}
				out[i] = sum / float64(hi-lo)
			}
			continue
		}
		if len(x) == 0 || p < x[0] || p > x[len(x)-1] {
			continue
		}
		j := sort.Search(len(x), func(j int) bool { return x[j] > p }) - 1 // the last not behind p
		switch {
		case x[j] == p || m == Previous:
			out[i] = y[j]
		case m == Nearest:
			out[i] = y[j]
			if x[j+1]-p < p-x[j] {
				out[i] = y[j+1]
			}
		default:
			out[i] = y[j] + (y[j+1]-y[j])*((p-x[j])/(x[j+1]-x[j]))
		}
	}
	return out
}

// altered returns the report of a record that was made of the one reported.
func (r Report) altered(made Record) Report {
	r.Facts = slices.Clone(r.Facts)
	r.Columns = nil
	for _, c := range made.Columns {
		r.Columns = append(r.Columns, reportOf(c))
	}
	return r
}
