package trace

import (
	"slices"
	"sort"

	"github.com/evenbed/evenbed/packing/units"
)

// An Event is something that the trace's record noted: a mark, a step, a remark.
type Event struct {
	At   float64 // position on the trace's axis, in seconds or cubic metres; NaN if it is not known there
	Name string  // of the column it stands in
	Text string
}

// A Meter is what a record tells of the liquid that passed: a recorded flow,
// summed up over time, or a totaliser.
type Meter struct {
	Name      string // of its column, with the unit, as "Flow (mL/min)"
	Totaliser bool
	// Read returns points in order: positions on the record's axis, in seconds or
	// cubic metres, with the volume and the time that had passed there, in SI, each
	// from any zero. It is called when the points are needed.
	Read func() (at, volume, time []float64)
}

// A Passage is the liquid that passed within a stretch of a trace, as one meter
// of its record has it.
type Passage struct {
	Meter     string // name of the meter
	Totaliser bool
	Range     Range // the stretch, on the trace's axis
	Volume    units.Volume
	Time      units.Time
}

// Flow returns the mean flow, volume over time.
func (p Passage) Flow() units.VolumeFlow {
	return units.VolumeFlow(float64(p.Volume) / float64(p.Time))
}

// WithMeters returns the trace with the meters of its record, whose positions are
// those of the trace's axis before its zero was moved.
func (t Trace) WithMeters(meters ...Meter) Trace {
	t.meters = meters
	return t
}

// Passed returns what passed within r, one passage for each recorded flow and
// each totaliser that covers all of r. It is empty if the record has none.
func (t Trace) Passed(r Range) []Passage {
	if r.Axis != t.axis || !(r.From < r.To) {
		return nil
	}
	var all []Passage
	for _, m := range t.meters {
		at, volume, time := m.Read()
		from, to := r.From+t.shift, r.To+t.shift
		if len(at) < 2 || from < at[0] || to > at[len(at)-1] {
			continue
		}
		p := Passage{Meter: m.Name, Totaliser: m.Totaliser, Range: r,
			Volume: units.Volume(interpolated(at, volume, to) - interpolated(at, volume, from)),
			Time:   units.Time(interpolated(at, time, to) - interpolated(at, time, from))}
		if finite(float64(p.Volume)) && finite(float64(p.Time)) && p.Time > 0 {
			all = append(all, p)
		}
	}
	return all
}

// Shift returns how far [Trace.Since] and [Trace.SinceVolume] have moved the zero of
// the trace's axis, in seconds or cubic metres: a point at x stands at x + Shift in
// the record. A trace whose record has points in front of its own zero, as one
// whose program set the axis to zero at the injection, has Span().From + Shift() < 0.
func (t Trace) Shift() float64 { return t.shift }

// interpolated returns y at v, on the straight line between two of the positions x,
// which hold v.
func interpolated(x, y []float64, v float64) float64 {
	i := sort.SearchFloat64s(x, v)
	if i == 0 || x[i] == v {
		return y[i]
	}
	return y[i-1] + (y[i]-y[i-1])*(v-x[i-1])/(x[i]-x[i-1])
}

// movedEvents returns the events with their positions less start.
func movedEvents(events []Event, start float64) []Event {
	moved := slices.Clone(events)
	for i := range moved {
		moved[i].At -= start
	}
	return moved
}
