package record

import (
	"math"
	"slices"
	"sort"
	"sync"

	"github.com/evenbed/evenbed/packing/internal/unit"
	"github.com/evenbed/evenbed/packing/trace"
)

// doubtsOf returns the doubts that concern one of the columns.
func (r Record) doubtsOf(columns ...Column) []string {
	var texts []string
	for _, d := range r.report.Doubts {
		if !d.seen && (d.Column == "" || slices.ContainsFunc(columns, func(c Column) bool { return c.Name == d.Column })) {
			texts = append(texts, d.Text)
		}
	}
	return texts
}

// eventsOn returns the record's events on the axis column a of a signal c. Those
// that stand on the other kind of axis are put there by the rows in which the
// signal's own axis stands beside a; where that cannot be done their place is NaN.
func (r Record) eventsOn(kind trace.Axis, a, c Column) []trace.Event {
	if len(r.Events) == 0 {
		return nil
	}
	var from, to []float64 // places on the other axis and on this one
	looked := false
	all := make([]trace.Event, len(r.Events))
	for i, e := range r.Events {
		at := e.At
		if e.Axis != kind {
			if !looked {
				from, to = r.sideBySide(a, c, e.Axis)
				looked = true
			}
			at = placed(from, to, e.At)
		}
		all[i] = trace.Event{At: at, Name: e.Name, Text: e.Text}
	}
	return all
}

// sideBySide returns, of the rows of a signal c, the positions of a kind and those
// of the axis a beside them; nil if there is no column of that kind, or if one of
// them runs backwards.
func (r Record) sideBySide(a, c Column, kind trace.Axis) (from, to []float64) {
	to, _, err := r.positions(a)
	if err != nil {
		return nil, nil
	}
	for _, other := range r.Columns {
		if other.Values == nil || r.rows(other) != r.rows(c) || len(other.Values) != len(to) {
			continue
		}
		x, k, err := r.positions(other)
		if err != nil || k != kind {
			continue
		}
		from, to = both(x, to)
		if backwards(from) == 0 && backwards(to) == 0 {
			return from, to
		}
		return nil, nil
	}
	return nil, nil
}

// both returns the rows in which neither of two columns is missing, as copies.
func both(a, b []float64) (x, y []float64) {
	x, y = make([]float64, 0, len(a)), make([]float64, 0, len(a))
	for i := range a {
		if !math.IsNaN(a[i]) && !math.IsNaN(b[i]) {
			x, y = append(x, a[i]), append(y, b[i])
		}
	}
	return x, y
}

// placed returns the value of to at the position v of from, on a straight line; NaN
// outside.
func placed(from, to []float64, v float64) float64 {
	n := len(from)
	if n == 0 || !(v >= from[0] && v <= from[n-1]) {
		return math.NaN()
	}
	i := sort.SearchFloat64s(from, v)
	if i == 0 || from[i] == v {
		return to[i]
	}
	return to[i-1] + (to[i]-to[i-1])*(v-from[i-1])/(from[i]-from[i-1])
}

// meters returns the recorded flows and totalisers whose rows have an axis of the
// kind of column a, counted from the same zero. Volumes and times that were computed
// from each other tell nothing of a flow and are left out.
func (r Record) meters(a Column) []trace.Meter {
	var all []trace.Meter
	for _, m := range r.Columns {
		what := unit.KindOf(m.Unit)
		if m.Values == nil || m.computed || what != unit.Flow && what != unit.Volume {
			continue
		}
		axis, err := r.Column(r.rows(m))
		if err != nil {
			continue
		}
		times, volumes := Column{}, Column{}
		for _, c := range r.Columns {
			if c.Values == nil || c.computed || r.rows(c) != r.rows(m) {
				continue
			}
			switch unit.KindOf(c.Unit) {
			case unit.Time:
				if times.Values == nil {
					times = c
				}
			case unit.Volume:
				if volumes.Values == nil {
					volumes = c
				}
			}
		}
		switch {
		case r.rows(m) == r.rows(a):
			axis = a // also where the signal was asked for against another column of its rows
		case isVolume(axis) != isVolume(a) || !axis.Start.Equal(a.Start):
			continue
		}
		if times.Values == nil && (what == unit.Volume || volumes.Values == nil) {
			continue
		}
		// Read once, since every cycle of a record asks.
		points := sync.OnceValue(func() (p [3][]float64) {
			p[0], p[1], p[2] = r.metered(m, axis, times, volumes)
			return p
		})
		all = append(all, trace.Meter{Name: m.title(), Totaliser: what == unit.Volume, Read: func() (at, volume, time []float64) {
			p := points()
			return p[0], p[1], p[2]
		}})
	}
	return all
}

// isVolume reports whether a column holds volumes, be it in column volumes.
func isVolume(c Column) bool {
	k := unit.KindOf(c.Unit)
	return k == unit.Volume || k == unit.CV
}

// metered returns the points of a meter m: positions of its axis, and the volume
// and the time that had passed. They are empty if one of them runs backwards, and for
// a column of volumes that never grows.
func (r Record) metered(m, axis, times, volumes Column) (at, volume, time []float64) {
	x, _, err := r.positions(axis)
	if err != nil {
		return nil, nil, nil
	}
	against := times // by which a flow is summed up
	if times.Values == nil {
		against = volumes
	}
	base, _, err := r.positions(against)
	if err != nil {
		return nil, nil, nil
	}
	kind := unit.KindOf(m.Unit)
	y, err := r.inSI(m, kind)
	if err != nil {
		return nil, nil, nil
	}
	sum, lastBase, lastY := 0.0, math.NaN(), math.NaN()
	for i := range y {
		if math.IsNaN(x[i]) || math.IsNaN(base[i]) || math.IsNaN(y[i]) {
			continue
		}
		if n := len(at); n > 0 {
			if x[i] < at[n-1] || base[i] < lastBase {
				return nil, nil, nil
			}
			step := base[i] - lastBase
			switch mean := (y[i] + lastY) / 2; {
			case kind == unit.Volume && y[i] >= lastY:
				sum += y[i] - lastY
			case kind == unit.Volume: // it was set back, and counts anew from zero
				sum += y[i]
			case times.Values != nil:
				sum += mean * step
			case step > 0:
				sum += step / mean
			}
		}
		lastBase, lastY = base[i], y[i]
		at = append(at, x[i])
		if times.Values != nil {
			volume, time = append(volume, sum), append(time, base[i])
		} else {
			volume, time = append(volume, base[i]), append(time, sum)
		}
	}
	if kind == unit.Volume && sum == 0 {
		return nil, nil, nil
	}
	return at, volume, time
}
