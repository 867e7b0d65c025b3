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

// ByVolume returns the record with its signals and events against volume, at a
// constant flow from time zero on:
//
//	V = qt
//
// The times stay as ordinary columns. The flow must be positive.
func (r Record) ByVolume(flow units.VolumeFlow) (Record, error) {
	return r.constant(trace.Volume, float64(flow), fmt.Sprintf("time × %v", flow))
}

// ByTime returns the record with its signals and events against time, at a
// constant flow from volume zero on:
//
//	t = V/q
//
// The volumes stay as ordinary columns. The flow must be positive.
func (r Record) ByTime(flow units.VolumeFlow) (Record, error) {
	return r.constant(trace.Time, 1/float64(flow), fmt.Sprintf("volume / %v", flow))
}

func (r Record) constant(to trace.Axis, factor float64, how string) (Record, error) {
	if !(factor > 0) || math.IsInf(factor, 0) {
		return Record{}, Error{File: r.File, Problem: "the flow is not a positive number", Remedy: "give it with its unit, as 21.2 * LitrePerHour"}
	}
	return r.against(to, how, func(x float64) float64 { return x * factor })
}

// ByVolumeOf returns the record with its signals and events against the volume
// that a recorded flow moved, by the trapezium rule:
//
//	V(i) = V(i-1) + (q(i-1)+q(i))/2 · (t(i)-t(i-1)),  V = 0 at the first flow
//
// with the flow on a straight line between two readings. Rows before the first
// reading of the flow and after the last are left out. A flow below zero is an
// error. [Record.ByTimeOf] is its inverse.
func (r Record) ByVolumeOf(flow string) (Record, error) {
	t, q, err := r.flow(flow, trace.Time)
	if err != nil {
		return Record{}, err
	}
	v := make([]float64, len(t))
	for i := 1; i < len(t); i++ {
		v[i] = v[i-1] + (q[i-1]+q[i])/2*(t[i]-t[i-1])
	}
	return r.against(trace.Volume, fmt.Sprintf("integral of %q over time by the trapezium rule", flow), func(x float64) float64 {
		i, ok := between(t, x)
		if !ok {
			return math.NaN()
		}
		d, step := x-t[i], 0.0
		if i+1 < len(t) {
			step = t[i+1] - t[i]
		}
		if step == 0 {
			return v[i]
		}
		return v[i] + q[i]*d + (q[i+1]-q[i])*d*d/(2*step)
	})
}

// ByTimeOf returns the record with its signals and events against the time in
// which a recorded flow moved the volume:
//
//	t(i) = t(i-1) + 2(V(i)-V(i-1))/(q(i-1)+q(i)),  t = 0 at the first flow
//
// with the flow on a straight line in time between two readings. Rows before
// the first reading of the flow and after the last are left out. A flow that
// stands still between two volumes is an error.
func (r Record) ByTimeOf(flow string) (Record, error) {
	v, q, err := r.flow(flow, trace.Volume)
	if err != nil {
		return Record{}, err
	}
	t := make([]float64, len(v))
	for i := 1; i < len(v); i++ {
		if v[i] == v[i-1] {
			t[i] = t[i-1]
			continue
		}
		if q[i-1]+q[i] == 0 {
			return Record{}, Error{File: r.File, Problem: fmt.Sprintf("no flow between %s and %s", trace.Volume.Show(v[i-1]), trace.Volume.Show(v[i])),
				Remedy: "the time of a stop cannot be found from volumes; cut it out"}
		}
		t[i] = t[i-1] + 2*(v[i]-v[i-1])/(q[i-1]+q[i])
	}
	return r.against(trace.Time, fmt.Sprintf("volume over %q by the trapezium rule", flow), func(x float64) float64 {
		i, ok := between(v, x)
		if !ok {
			return math.NaN()
		}
		if i+1 == len(v) || v[i+1] == v[i] {
			return t[i]
		}
		// Solve d = q0 s + (q1-q0)s²/(2T) for s, in the form that does not
		// lose digits where the flow hardly changes.
		d, q0, slope := x-v[i], q[i], (q[i+1]-q[i])/(t[i+1]-t[i])
		if d == 0 {
			return t[i]
		}
		return t[i] + 2*d/(q0+math.Sqrt(math.Max(0, q0*q0+2*slope*d)))
	})
}

// between returns the last index whose position is not behind x; false outside.
func between(positions []float64, x float64) (int, bool) {
	n := len(positions)
	if n == 0 || !(x >= positions[0] && x <= positions[n-1]) {
		return 0, false
	}
	return sort.Search(n, func(i int) bool { return positions[i] > x }) - 1, true
}

// flow returns a recorded flow and its positions, both in SI.
func (r Record) flow(name string, want trace.Axis) (x, q []float64, err error) {
	c, err := r.Column(name)
	if err != nil {
		return nil, nil, err
	}
	u, known := unit.Of(c.Unit)
	if !known || u.Kind != unit.Flow {
		_, err := r.inSI(c, unit.Flow)
		return nil, nil, err
	}
	signal, err := r.Signal(c.Name)
	if err != nil {
		return nil, nil, err
	}
	if signal.Axis() != want {
		return nil, nil, Error{File: r.File, Problem: fmt.Sprintf("column %q runs against %s already", c.Name, signal.Axis()), Remedy: "take the record as it is"}
	}
	x, q = signal.Positions(), signal.Values()
	for i := range q {
		if q[i] *= u.One; q[i] < 0 {
			return nil, nil, Error{File: r.File, Problem: fmt.Sprintf("column %q is negative at %s", c.title(), want.Show(x[i])),
				Remedy: "volume would run backwards; cut the record there first: Within"}
		}
	}
	return x, q, nil
}

// against returns the record with every axis put to another kind. Rows and
// events for which f knows no position are left out, and counted.
func (r Record) against(to trace.Axis, how string, f func(float64) float64) (Record, error) {
	axes, err := r.axes()
	if err != nil {
		return Record{}, err
	}
	if axes[0].kind == to {
		return Record{}, Error{File: r.File, Problem: fmt.Sprintf("the record runs against %s already", to), Remedy: "take it as it is"}
	}
	name, unitName, in := "Volume", "L", unit.Unit{Kind: unit.Volume, One: float64(units.Litre)}
	if to == trace.Time {
		name, unitName, in = "Time", "min", unit.Unit{Kind: unit.Time, One: float64(units.Minute)}
	}
	out, left := r, 0
	out.Columns = nil
	for _, a := range axes {
		x := make([]float64, 0, len(a.x))
		var rows []int
		for i, v := range a.x {
			if v := f(v); !math.IsNaN(v) {
				x, rows = append(x, v), append(rows, i)
			}
		}
		left += len(a.x) - len(rows)
		made := Column{Name: Record{Columns: append(slices.Clone(r.Columns), out.Columns...)}.unused(name), Unit: unitName,
			Values: unit.Convert(x, unit.Unit{Kind: in.Kind, One: 1}, in), computed: true}
		out.Columns = append(out.Columns, made)
		for _, c := range r.Columns {
			if r.rows(c) != a.column.Name {
				continue
			}
			c = c.part(rows)
			c.Axis = made.Name
			out.Columns = append(out.Columns, c)
		}
	}
	out.Events = nil
	lost := 0
	for _, e := range r.Events {
		if e.Axis != to {
			if e.Axis, e.At = to, f(e.At); math.IsNaN(e.At) {
				lost++
				continue
			}
		}
		out.Events = append(out.Events, e)
	}
	out.report = r.report.altered(out)
	out.report.fact("axis", fmt.Sprintf("%s: %s", to, how))
	if left+lost > 0 {
		out.report.Remarks = append(slices.Clone(r.report.Remarks), fmt.Sprintf("%s and %s outside the recorded flow left out", plural(left, "row"), plural(lost, "event")))
	}
	return out, nil
}

// part returns the rows of a column that are named.
func (c Column) part(rows []int) Column {
	if c.Texts != nil {
		c.Texts = picked(c.Texts, rows)
	}
	if c.Values != nil {
		c.Values = picked(c.Values, rows)
	}
	if c.Status != nil {
		c.Status = picked(c.Status, rows)
	}
	if len(c.exact) > 0 {
		c.exact = picked(c.exact, rows)
	}
	return c
}
