package record

import (
	"math"
	"slices"
	"strings"
	"time"

	"github.com/evenbed/evenbed/packing/internal/unit"
	"github.com/evenbed/evenbed/packing/record/internal/source"
)

const hour = 3600.0 // seconds

// A jump is a row at which a clock was put by an hour.
type jump struct {
	row   int
	hours float64 // to add from this row on to count on: 1 where the clock went back, -1 where it went forth
}

// usualStep returns the median of at most a thousand steps that go forward; 0 if there
// are too few.
func usualStep(x []float64) float64 {
	var steps []float64
	for i := 1; i < len(x); i += 1 + len(x)/1000 {
		if d := x[i] - x[i-1]; d > 0 {
			steps = append(steps, d)
		}
	}
	if len(steps) < 3 {
		return 0
	}
	slices.Sort(steps)
	return steps[len(steps)/2]
}

// summerTimes finds where a clock of moments or of the day was put by an hour: back by
// an hour less a step, or forth by an hour and a step, over an hour between midnight
// and four.
func summerTimes(x []float64, axis *source.Column) []jump {
	one := 1.0
	if axis.Times == nil {
		u, _ := unit.Of(axis.Unit)
		if u.Kind != unit.Time {
			return nil
		}
		one = u.One
	}
	step := usualStep(x) * one
	if !(step > 0) || step > hour/3 {
		return nil
	}
	var jumps []jump
	last, at := math.NaN(), 0
	for i, v := range x {
		if math.IsNaN(v) {
			continue
		}
		v *= one
		switch d := v - last; {
		case math.Abs(d+hour-step) < step/2+1e-6:
			jumps = append(jumps, jump{i, 1})
		case math.Abs(d-hour-step) < step/2+1e-6 && leftOut(axis, at, i):
			jumps = append(jumps, jump{i, -1})
		}
		last, at = v, i
	}
	return jumps
}

// leftOut tells whether an hour between midnight and four lies whole between two rows
// of a clock of moments. Of one without a date it cannot be told: a time that counts
// from a start looks the same.
func leftOut(axis *source.Column, from, to int) bool {
	if axis.Times == nil {
		return false
	}
	before, after := axis.Times[from], axis.Times[to]
	begin := before.Truncate(time.Hour)
	if !begin.Equal(before) {
		begin = begin.Add(time.Hour)
	}
	return begin.Hour() < 4 && !after.Before(begin.Add(time.Hour))
}

// explainedBy tells whether all rows that go back are jumps.
func (f troubles) explainedBy(jumps []jump) bool {
	for _, i := range f.back {
		if !slices.ContainsFunc(jumps, func(j jump) bool { return j.row == i && j.hours > 0 }) {
			return false
		}
	}
	return len(jumps) > 0
}

// countOn puts the hours right.
func (g group) countOn(x []float64, jumps []jump) {
	c := g.axis
	one := 1.0
	if c.Times == nil {
		u, _ := unit.Of(c.Unit)
		one = u.One
		c.Values, c.Known = slices.Clone(x), source.Span{}
	} else {
		c.Times = slices.Clone(c.Times)
	}
	hours, k := 0.0, 0
	for i := range x {
		for k < len(jumps) && jumps[k].row == i {
			hours += jumps[k].hours
			k++
		}
		switch {
		case c.Times == nil:
			c.Values[i] += hours * hour / one
		case !c.Times[i].IsZero():
			c.Times[i] = c.Times[i].Add(time.Duration(hours) * time.Hour)
		}
	}
}

// places names the rows of jumps.
func (g group) places(t source.Table, jumps []jump) string {
	var all []string
	for _, j := range jumps {
		all = append(all, g.rowsText(t, j.row, j.row))
	}
	return strings.Join(all, ", ")
}

// doubtSummerTime doubts an hour left out where clocks are put forth.
func (b *builder) doubtSummerTime(g group) {
	if g.axis.Times == nil {
		return
	}
	for _, j := range summerTimes(positionsOf(g.axis), g.axis) {
		if j.hours < 0 {
			b.report.doubt(g.axis.Name, "At %s the clock of %q leaves out an hour at night, as one does that is put forth when summer time begins. If it was, count on: record.Options{Clock: record.AcrossSummerTime}; if recording stopped there, nothing is to be done.",
				g.rowsText(b.table, j.row, j.row), g.axis.Name)
		}
	}
}
