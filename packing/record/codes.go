package record

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// missing takes the numbers among Options.Missing out of the columns. A column that
// only grows holds none: there they are positions.
func (b *builder) missing() {
	var codes []float64
	for _, m := range b.options.Missing {
		if v, err := strconv.ParseFloat(strings.Replace(m, ",", ".", 1), 64); err == nil {
			codes = append(codes, v)
		}
	}
	if len(codes) == 0 {
		return
	}
	for j := range b.table.Columns {
		c := &b.table.Columns[j]
		if c.Values == nil || c.Span().Rising {
			continue
		}
		n := 0
		for _, v := range c.Values {
			if slices.Contains(codes, v) {
				n++
			}
		}
		if n == 0 {
			continue
		}
		c.Values, c.Known = slices.Clone(c.Values), source.Span{}
		for i, v := range c.Values {
			if slices.Contains(codes, v) {
				c.Values[i] = math.NaN()
			}
		}
		c.Missing += n
		b.report.fact("values that are missing", fmt.Sprintf("column %q: %d by Options.Missing", c.Name, n))
	}
}

// isCode tells whether a number is one that programs write where they have no value:
// a row of nines, the largest number of a kind of integer or float, or one that
// nothing measured reaches.
func isCode(v float64) bool {
	a := math.Abs(v)
	switch a {
	case 32767, 32768, 65535, 2147483647, 2147483648, 4294967295:
		return true
	}
	if a >= 1e15 {
		return true
	}
	if a < 99 {
		return false
	}
	for _, r := range strconv.FormatFloat(a, 'f', -1, 64) {
		if r != '9' && r != '.' {
			return false
		}
	}
	return true
}

// farOff is how far a code lies from the other values of its column, in their span.
const farOff = 3

// codes looks for numbers that stand for no value: codes far from all others of
// their column.
func (b *builder) codes() {
	for j := range b.table.Columns {
		c := &b.table.Columns[j]
		if c.Values == nil || c.Axis < 0 {
			continue
		}
		if c.Censored > 0 {
			b.report.doubt(c.Name, "Of %q %s beyond a limit and count as missing: the signal is not known there.", c.Name, are(c.Censored, "value"))
		}
		s := c.Span()
		if !isCode(s.Least) && !isCode(s.Most) {
			continue
		}
		count, first := map[float64]int{}, map[float64]int{}
		low, high := math.Inf(1), math.Inf(-1) // of the others
		for i, v := range c.Values {
			switch {
			case math.IsNaN(v):
			case isCode(v):
				if count[v]++; count[v] == 1 {
					first[v] = i
				}
			default:
				low, high = math.Min(low, v), math.Max(high, v)
			}
		}
		var codes []float64
		for v := range count {
			far := farOff * math.Max(high-low, math.Max(math.Abs(low), math.Abs(high))/100)
			if low > high {
				far = 0
				if math.Abs(v) < 1e15 && v > -99 {
					continue // it may be the value
				}
			}
			if low > high || v > high+far || v < low-far {
				codes = append(codes, v)
			}
		}
		slices.Sort(codes)
		for _, v := range codes {
			word := strconv.FormatFloat(v, 'g', -1, 64)
			line := fmt.Sprintf("row %d", first[v]+1)
			if b.origin == nil && b.table.Line(first[v]) > 0 {
				line = fmt.Sprintf("line %d", b.table.Line(first[v]))
			}
			b.report.doubt(c.Name, "%q holds %s %s, first on %s, far from its other values: a code for no value, or for one beyond the detector's range? If so, say it: record.Options{Missing: []string{%q}}.",
				c.Name, word, times(count[v]), line, word)
		}
	}
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}
