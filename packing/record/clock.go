package record

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
	"time"

	"github.com/evenbed/evenbed/packing/internal/unit"
	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// A Clock is what to do with rows whose time or volume is that of the row
// before (a duplicate), lies before it, or starts again (a reset).
type Clock int

// The policies. Whatever one of them does to the rows is in the report.
const (
	// RefuseRows makes such rows an error that shows them.
	RefuseRows Clock = iota
	// KeepRows keeps all rows as they are. Signals run over duplicates, but not
	// backwards.
	KeepRows
	// SortRows puts the rows in order of their position. Duplicates stay, in
	// the order of the file.
	SortRows
	// MeanOfDuplicates makes one row of duplicates, with the mean of each
	// column. Rows that run backwards stay an error.
	MeanOfDuplicates
	// LastOfDuplicates keeps the last of duplicates. Rows that run backwards
	// stay an error.
	LastOfDuplicates
	// CutAtReset cuts the rows into runs where they go backwards and keeps the
	// one that Options.Run names. Duplicates stay.
	CutAtReset
	// AcrossMidnight adds a day wherever a clock of the day starts again: where
	// it falls by more than twelve hours. Rows that run backwards by less stay an
	// error. Duplicates stay.
	AcrossMidnight
	// AcrossSummerTime counts on in the time of the first row where a clock was put an
	// hour back or forth: where it goes back by an hour less a step, and where an hour
	// between midnight and four is left out. Rows that run backwards otherwise stay an
	// error. Duplicates stay.
	AcrossSummerTime
)

// clockNames are the policies as written in Go.
var clockNames = [...]string{"RefuseRows", "KeepRows", "SortRows", "MeanOfDuplicates", "LastOfDuplicates", "CutAtReset", "AcrossMidnight", "AcrossSummerTime"}

// String returns the policy's name.
func (c Clock) String() string {
	if c < 0 || int(c) >= len(clockNames) {
		return fmt.Sprintf("Clock(%d)", int(c))
	}
	return clockNames[c]
}

// A group is the columns of one table that have their rows in common.
type group struct {
	axis *source.Column
	all  []*source.Column // the axis among them
	row  []int            // where each row stood in the table; nil if it is there still
}

// line returns the line of a row; 0 if rows have no lines.
func (g group) line(t source.Table, i int) int {
	if g.row != nil {
		i = g.row[i]
	}
	return t.Line(i)
}

// troubles are the rows, from 0, whose position is that of the row before or
// lies before it.
type troubles struct{ same, back []int }

// look finds the troubles of positions in which missing ones are NaN.
func look(x []float64) (t troubles) {
	last := math.NaN()
	for i, v := range x {
		switch {
		case math.IsNaN(v):
			continue
		case v == last:
			t.same = append(t.same, i)
		case v < last:
			t.back = append(t.back, i)
		}
		last = v
	}
	return t
}

// follow applies the policy to the rows of a group and says what it did.
func (o Options) follow(file string, t source.Table, g group) (did string, err error) {
	if g.axis.Times == nil && g.axis.Span().Rising {
		return "", nil
	}
	x := positionsOf(g.axis)
	found := look(x)
	if o.Clock == AcrossSummerTime {
		if jumps := summerTimes(x, g.axis); jumps != nil && found.explainedBy(jumps) {
			g.countOn(x, jumps)
			return "an hour put right at " + g.places(t, jumps), nil
		}
	}
	if len(found.same)+len(found.back) == 0 {
		return "", nil
	}
	if name, words := g.stacked(append(slices.Clone(found.same), found.back...)); name != "" && !slices.Contains([]Clock{KeepRows, CutAtReset, AcrossMidnight, AcrossSummerTime}, o.Clock) {
		return "", found.stackedRefusal(file, t, g, name, words)
	}
	switch o.Clock {
	case KeepRows:
		return fmt.Sprintf("%s; kept as they are", found.count()), nil
	case SortRows:
		order := make([]int, len(x))
		for i := range order {
			order[i] = i
		}
		sort.SliceStable(order, func(i, j int) bool { return x[order[i]] < x[order[j]] })
		g.take(order)
		return fmt.Sprintf("%s; rows put in order", found.count()), nil
	case MeanOfDuplicates, LastOfDuplicates:
		if len(found.back) == 0 {
			g.merge(x, o.Clock == MeanOfDuplicates)
			how := "the last row of each position kept"
			if o.Clock == MeanOfDuplicates {
				how = "one row of the mean made of each"
			}
			return fmt.Sprintf("%s; %s", found.count(), how), nil
		}
	case CutAtReset:
		if len(found.back) == 0 {
			return fmt.Sprintf("%s; kept as they are", found.count()), nil
		}
		runs := append(append([]int{0}, found.back...), len(x))
		n := max(o.Run, 1)
		if n >= len(runs) {
			return "", Error{File: file, Problem: fmt.Sprintf("run %d of a file with %d runs", n, len(runs)-1), Remedy: "count runs from 1"}
		}
		from, to := runs[n-1], runs[n]
		var order []int
		for i := from; i < to; i++ {
			order = append(order, i)
		}
		g.take(order)
		return fmt.Sprintf("%s; cut into %d runs; run %d kept: %s (choose with Options.Run)", found.count(), len(runs)-1, n, g.rowsText(t, from, to-1)), nil
	case AcrossMidnight:
		if day := found.midnights(x, g.axis); day > 0 {
			g.axis.Values, g.axis.Known = slices.Clone(x), source.Span{}
			days := 0.0
			for i := range x {
				if int(days) < len(found.back) && i == found.back[int(days)] {
					days++
				}
				g.axis.Values[i] += days * day
			}
			return fmt.Sprintf("%s; a day added at each midnight: %d", found.count(), len(found.back)), nil
		}
	}
	return "", found.refusal(file, t, g, x, o.Clock)
}

// midnights returns the length of a day in the unit of a clock of the day that
// goes back at midnight alone; 0 if it does not.
func (f troubles) midnights(x []float64, axis *source.Column) float64 {
	u, _ := unit.Of(axis.Unit)
	if axis.Times != nil || u.Kind != unit.Time || len(f.back) == 0 {
		return 0
	}
	day := 86400 / u.One
	for i, v := range x {
		if v < 0 || v >= day {
			return 0
		}
		if _, back := slices.BinarySearch(f.back, i); back && lastBefore(x, i)-v <= day/2 {
			return 0
		}
	}
	return day
}

// lastBefore returns the last position before row i that is one.
func lastBefore(x []float64, i int) float64 {
	for i--; i > 0 && math.IsNaN(x[i]); i-- {
	}
	return x[i]
}

// rowsText names a stretch of rows by their lines, if they have some.
func (g group) rowsText(t source.Table, from, to int) string {
	switch {
	case t.FirstLine > 0 && from == to:
		return fmt.Sprintf("line %d", g.line(t, from))
	case from == to:
		return fmt.Sprintf("row %d", from+1)
	case t.FirstLine > 0:
		return fmt.Sprintf("lines %d to %d", g.line(t, from), g.line(t, to))
	}
	return fmt.Sprintf("rows %d to %d", from+1, to+1)
}

func (f troubles) count() string {
	var parts []string
	if n := len(f.back); n > 0 {
		parts = append(parts, plural(n, "row")+" before the row above")
	}
	if n := len(f.same); n > 0 {
		parts = append(parts, plural(n, "row")+" at the position of the row above")
	}
	return strings.Join(parts, ", ")
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// refusal shows the first rows in question and names the policies.
func (f troubles) refusal(name string, t source.Table, g group, x []float64, clock Clock) error {
	rows := append(append([]int(nil), f.back...), f.same...)
	slices.Sort(rows)
	var shown []string
	for _, i := range rows[:min(len(rows), 3)] {
		before := i - 1
		for before > 0 && math.IsNaN(x[before]) {
			before--
		}
		place := fmt.Sprintf("row %d", i+1)
		if line := g.line(t, i); line > 0 {
			place = fmt.Sprintf("line %d", line)
		}
		shown = append(shown, fmt.Sprintf("%s: %s after %s", place, cellText(g.axis, i), cellText(g.axis, before)))
	}
	if len(rows) > 3 {
		shown = append(shown, fmt.Sprintf("and %d more", len(rows)-3))
	}
	what := "repeats positions"
	if len(f.back) > 0 {
		what = "runs backwards"
		i := f.back[0]
		if first := x[0]; x[i] <= first+0.05*math.Abs(x[i-1]-first) {
			what = "starts again"
		}
	}
	e := Error{File: name, Line: g.line(t, rows[0]),
		Problem: fmt.Sprintf("column %q %s (%s)", Column{Name: g.axis.Name, Unit: g.axis.Unit}.title(), what, strings.Join(shown, "; "))}
	switch {
	case clock != AcrossSummerTime && len(f.back) > 0 && f.explainedBy(summerTimes(x, g.axis)):
		e.Remedy = "a clock does so that is put back at the end of summer time: record.Options{Clock: record.AcrossSummerTime} counts on; if it is another run, CutAtReset keeps one"
	case len(f.back) > 0 && clock == AcrossSummerTime:
		e.Remedy = "AcrossSummerTime is for clocks that go back by an hour; use record.SortRows or record.CutAtReset"
	case f.midnights(x, g.axis) > 0:
		e.Remedy = "a clock of the day does so at midnight: record.Options{Clock: record.AcrossMidnight} adds a day there; if it is another run, CutAtReset keeps one"
	case len(f.back) > 0 && clock == AcrossMidnight:
		e.Remedy = "AcrossMidnight is for clocks of the day that fall by more than twelve hours; use record.SortRows or record.CutAtReset"
	case len(f.back) > 0 && (clock == MeanOfDuplicates || clock == LastOfDuplicates):
		e.Remedy = fmt.Sprintf("%s is for duplicates alone; use record.SortRows or record.CutAtReset", clock)
	case len(f.back) > 0:
		e.Remedy = "say what to do: record.Options{Clock: record.CutAtReset} keeps one run, SortRows puts the rows in order, KeepRows leaves all as it is"
	default:
		e.Remedy = "say what to do: record.Options{Clock: record.KeepRows} leaves them, MeanOfDuplicates and LastOfDuplicates make one row of each position"
	}
	return e
}

// cellText writes a position as the column holds it.
func cellText(c *source.Column, i int) string {
	if c.Times != nil {
		return c.Times[i].Format("2006-01-02 15:04:05.999")
	}
	return fmt.Sprint(c.Values[i])
}

// positionsOf returns a column's numbers; moments as seconds since the first.
func positionsOf(c *source.Column) []float64 { return positionsSince(c, firstMoment(c)) }

// positionsSince returns a column's numbers; moments as seconds since start.
func positionsSince(c *source.Column, start time.Time) []float64 {
	if c.Times == nil {
		return c.Values
	}
	x := make([]float64, len(c.Times))
	for i, v := range c.Times {
		x[i] = math.NaN()
		if !v.IsZero() {
			x[i] = seconds(v, start)
		}
	}
	return x
}

// seconds returns the time from start to v, correctly rounded within a hundred
// days.
func seconds(v, start time.Time) float64 {
	if whole := v.Unix() - start.Unix(); whole > 1e9 || whole < -1e9 {
		return float64(whole) + float64(v.Nanosecond()-start.Nanosecond())/1e9
	}
	return float64(v.Sub(start)) / 1e9
}

// take keeps the rows of order, in that order.
func (g group) take(order []int) {
	for _, c := range g.all {
		c.Known = source.Span{}
		switch {
		case c.Texts != nil:
			c.Texts = picked(c.Texts, order)
		case c.Times != nil:
			c.Times = picked(c.Times, order)
		default:
			c.Values = picked(c.Values, order)
		}
	}
}

func picked[T any](from []T, order []int) []T {
	out := make([]T, len(order))
	for i, j := range order {
		out[i] = from[j]
	}
	return out
}

// merge makes one row of those at one position: the last, or their mean. What
// was noted in them is kept together.
func (g group) merge(x []float64, mean bool) {
	var last []int // row that stands for each position
	var first []int
	for i, v := range x {
		if len(last) > 0 && v == x[last[len(last)-1]] {
			last[len(last)-1] = i
			continue
		}
		first, last = append(first, i), append(last, i)
	}
	for _, c := range g.all {
		c.Known = source.Span{}
		switch {
		case c.Texts != nil:
			texts := make([]string, len(last))
			for k := range last {
				var noted []string
				for _, s := range c.Texts[first[k] : last[k]+1] {
					if s != "" {
						noted = append(noted, s)
					}
				}
				texts[k] = strings.Join(noted, "; ")
			}
			c.Texts = texts
		case c.Times != nil:
			c.Times = picked(c.Times, last)
		case mean && c != g.axis:
			values := make([]float64, len(last))
			for k := range last {
				sum, n := 0.0, 0
				for _, v := range c.Values[first[k] : last[k]+1] {
					if !math.IsNaN(v) {
						sum += v
						n++
					}
				}
				values[k] = sum / float64(n)
			}
			c.Values = values
		default:
			c.Values = picked(c.Values, last)
		}
	}
}
