// Package trace holds one signal of a test against time or against volume,
// and measures peaks in it.
//
// A [Trace] comes from a record or from [New]. [Trace.BaselineUnder] finds the
// line under a peak and [Trace.Minus] takes it away; [Trace.Smoothed] calms the
// noise; [Trace.Apex], [Trace.Width], [Trace.Tangents] and
// [Trace.Moments] then measure, and [Trace.TwoPeaks] a peak that is split. Nothing
// is measured silently: every result says from where to where it was taken.
// [Figure] draws several together. A [Source] gives many traces, one at a time.
//
// A trace that was cut from a record keeps the record's events, at their places
// on the trace's axis, and its flow and totaliser: [Trace.Passed] tells the volume
// that passed within a stretch, and [Trace.Shift] how far the zero was moved. What
// alters a trace keeps them right. None of them moves the zero by itself.
//
//	record      reads traces from instrument exports
//	efficiency  makes plates and asymmetry of them
package trace

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"github.com/evenbed/evenbed/packing/units"
)

// An Axis says what a trace runs against.
type Axis int

// The axes. Positions on them are in seconds and in cubic metres.
const (
	Time Axis = iota
	Volume
)

// String returns the axis' name in lower case.
func (a Axis) String() string {
	if a == Volume {
		return "volume"
	}
	return "time"
}

// Show writes a position on the axis with its unit.
func (a Axis) Show(x float64) string {
	if a == Volume {
		return units.Volume(x).String()
	}
	return units.Time(x).String()
}

// A Range is a stretch of an axis. The zero Range stands for the choice that
// the function it is given to makes itself. Make one with [Times] or [Volumes].
type Range struct {
	Axis     Axis
	From, To float64 // in seconds or cubic metres
}

// Times returns the range between two times.
func Times(from, to units.Time) Range { return Range{Time, float64(from), float64(to)} }

// Volumes returns the range between two volumes.
func Volumes(from, to units.Volume) Range { return Range{Volume, float64(from), float64(to)} }

// IsZero reports whether the range was not given.
func (r Range) IsZero() bool { return r.From == 0 && r.To == 0 }

// String shows the range with its unit.
func (r Range) String() string {
	return r.Axis.Show(r.From) + " to " + r.Axis.Show(r.To)
}

// A Trace is one signal against time or volume. Its points do not change; what
// alters a trace returns a new one.
type Trace struct {
	Name string // of the signal, as "UV 280 nm"
	Unit string // of the values, as "mAU"; empty if not known
	From string // where it comes from, as a file's name; may be empty
	// Events are those of its record, also those outside the trace's points. They
	// keep their places when the trace is cut, and move with its zero.
	Events []Event
	// Doubts tell what in its record's file may make the values wrong, as the record's
	// report has them.
	Doubts []string

	axis   Axis
	x, y   []float64
	shift  float64 // by which the zero was moved
	meters []Meter
}

// New returns the trace of the values y at the times t. Times must not run
// backwards, and every number must be finite.
func New(name, unit string, t []units.Time, y []float64) (Trace, error) {
	x := make([]float64, len(t))
	for i, v := range t {
		x[i] = float64(v)
	}
	return Make(name, unit, Time, x, y)
}

// NewVolume returns the trace of the values y at the volumes v. Volumes must
// not run backwards, and every number must be finite.
func NewVolume(name, unit string, v []units.Volume, y []float64) (Trace, error) {
	x := make([]float64, len(v))
	for i, v := range v {
		x[i] = float64(v)
	}
	return Make(name, unit, Volume, x, y)
}

// Make returns the trace of the values y at the positions x of an axis, in
// seconds or cubic metres. Positions must not run backwards, and every number
// must be finite. The slices are copied.
func Make(name, unit string, axis Axis, x, y []float64) (Trace, error) {
	switch {
	case len(x) != len(y):
		return Trace{}, fmt.Errorf("trace %q: %d positions for %d values; give one position for each value", name, len(x), len(y))
	case len(x) < 2:
		return Trace{}, fmt.Errorf("trace %q has %d points; a trace needs at least 2", name, len(x))
	case axis != Time && axis != Volume:
		return Trace{}, fmt.Errorf("trace %q: unknown axis %d; use trace.Time or trace.Volume", name, int(axis))
	}
	for i := range x {
		if !finite(x[i]) || !finite(y[i]) {
			return Trace{}, fmt.Errorf("trace %q: point %d is (%v, %v), not a number; leave such points out", name, i+1, x[i], y[i])
		}
		if i > 0 && x[i] < x[i-1] {
			return Trace{}, fmt.Errorf("trace %q: %s runs backwards at point %d, from %s to %s; cut the trace there or sort it", name, axis, i+1, axis.Show(x[i-1]), axis.Show(x[i]))
		}
	}
	if x[len(x)-1] == x[0] {
		return Trace{}, fmt.Errorf("trace %q: all %d points are at %s", name, len(x), axis.Show(x[0]))
	}
	n := len(x)
	both := slices.Concat(x, y) // one piece of memory, since thousands of traces come and go
	return Trace{Name: name, Unit: unit, axis: axis, x: both[:n:n], y: both[n:]}, nil
}

func finite(v float64) bool { return v-v == 0 }

// Axis returns what the trace runs against.
func (t Trace) Axis() Axis { return t.axis }

// Len returns the number of points.
func (t Trace) Len() int { return len(t.x) }

// XY returns point i: its position in seconds or cubic metres and its value.
func (t Trace) XY(i int) (x, y float64) { return t.x[i], t.y[i] }

// Points ranges over points lo to hi-1, as XY has them, in less time.
func (t Trace) Points(lo, hi int) func(yield func(x, y float64) bool) {
	x, y := t.x[lo:hi], t.y[lo:hi]
	return func(yield func(x, y float64) bool) {
		for i, v := range y {
			if !yield(x[i], v) {
				return
			}
		}
	}
}

// Values returns a copy of the values.
func (t Trace) Values() []float64 { return append([]float64(nil), t.y...) }

// Positions returns a copy of the positions, in seconds or cubic metres.
func (t Trace) Positions() []float64 { return append([]float64(nil), t.x...) }

// Span returns the range from the first to the last point.
func (t Trace) Span() Range {
	if len(t.x) == 0 {
		return Range{Axis: t.axis}
	}
	return Range{t.axis, t.x[0], t.x[len(t.x)-1]}
}

// Step returns the mean distance of two points.
func (t Trace) Step() float64 {
	if len(t.x) < 2 {
		return math.NaN()
	}
	return (t.x[len(t.x)-1] - t.x[0]) / float64(len(t.x)-1)
}

// Steps returns the longest step between neighbouring points within r, where it
// begins, and how many points stand where the one before stands.
func (t Trace) Steps(r Range) (longest, at float64, same int) {
	lo, hi, err := t.indices(r)
	if err != nil || hi <= lo {
		return 0, math.NaN(), 0
	}
	x := t.x[lo:hi]
	at = x[0]
	for i := 1; i < len(x); i++ {
		if d := x[i] - x[i-1]; d > longest {
			longest, at = d, x[i-1]
		} else if d == 0 {
			same++
		}
	}
	return longest, at, same
}

// Within returns the part of the trace inside r.
func (t Trace) Within(r Range) (Trace, error) {
	lo, hi, err := t.indices(r)
	if err != nil {
		return Trace{}, err
	}
	if hi-lo < 2 {
		return Trace{}, fmt.Errorf("trace %q has %d points from %s; it runs from %s", t.Name, hi-lo, r, t.Span())
	}
	return t.part(lo, hi), nil
}

// Since returns the trace with its zero moved to a time: what was then is now
// at 0. Use it when the sample did not start at the record's zero. A trace
// against volume is an error.
func (t Trace) Since(start units.Time) (Trace, error) { return t.since(Time, float64(start)) }

// SinceVolume is [Trace.Since] for a trace against volume.
func (t Trace) SinceVolume(start units.Volume) (Trace, error) { return t.since(Volume, float64(start)) }

func (t Trace) since(axis Axis, start float64) (Trace, error) {
	if axis != t.axis {
		return Trace{}, fmt.Errorf("trace %q runs against %s; its zero cannot be moved to %s", t.Name, t.axis, axis.Show(start))
	}
	if !finite(start) {
		return Trace{}, fmt.Errorf("trace %q: its zero cannot be moved to %v", t.Name, start)
	}
	moved := t
	moved.x = make([]float64, len(t.x))
	for i, v := range t.x {
		moved.x[i] = v - start
	}
	moved.Events, moved.shift = movedEvents(t.Events, start), t.shift+start
	return moved, nil
}

// Flipped returns the trace with its values' sign changed.
func (t Trace) Flipped() Trace {
	up := t
	up.y = make([]float64, len(t.y))
	for i, v := range t.y {
		up.y[i] = -v
	}
	return up
}

// part returns the points lo to hi-1, sharing memory.
func (t Trace) part(lo, hi int) Trace {
	t.x, t.y = t.x[lo:hi:hi], t.y[lo:hi:hi]
	return t
}

// indices returns the first index inside r and the first one behind it.
func (t Trace) indices(r Range) (lo, hi int, err error) {
	if r.Axis != t.axis {
		return 0, 0, fmt.Errorf("trace %q runs against %s, but the range %s is one of %s; use trace.Times or trace.Volumes accordingly", t.Name, t.axis, r, r.Axis)
	}
	if !(r.From < r.To) {
		return 0, 0, fmt.Errorf("range %s runs the wrong way round; put the smaller end first", r)
	}
	lo = sort.SearchFloat64s(t.x, r.From)
	hi = sort.Search(len(t.x), func(i int) bool { return t.x[i] > r.To })
	return lo, hi, nil
}

// String describes the trace in one line.
func (t Trace) String() string {
	if len(t.x) == 0 {
		return "trace without points"
	}
	lo, hi := t.y[0], t.y[0]
	for _, v := range t.y {
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	unit := ""
	if t.Unit != "" {
		unit = " " + t.Unit
	}
	return fmt.Sprintf("%s: %d points, %s, %.6g to %.6g%s", t.Name, len(t.x), t.Span(), lo, hi, unit)
}

// At returns the value at position x, interpolated by a straight line; outside
// the trace the value of its nearest end, without points NaN.
func (t Trace) At(x float64) float64 {
	if len(t.y) == 0 {
		return math.NaN()
	}
	return t.valueAt(x, sort.SearchFloat64s(t.x, x))
}
