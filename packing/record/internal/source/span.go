package source

import "math"

// A Span is what one look over the numbers of a column tells.
type Span struct {
	Rows, Missing int
	First, Last   float64 // that are not missing; NaN if there are none
	Least, Most   float64
	Rising        bool // each is larger than the one before
}

// SpanOf looks at numbers, of which NaN is missing.
func SpanOf(values []float64) Span {
	s := Span{Rows: len(values), First: math.NaN(), Last: math.NaN(), Least: math.NaN(), Most: math.NaN(), Rising: true}
	for len(values) > 0 && math.IsNaN(values[0]) {
		values = values[1:]
	}
	missing := s.Rows - len(values)
	if len(values) == 0 {
		s.Missing = missing
		return s
	}
	// As long as they rise there is nothing else to see.
	first := values[0]
	last, i := first, 1
	for ; i < len(values); i++ {
		if v := values[i]; v > last {
			last = v
		} else if v == v {
			break
		} else {
			missing++
		}
	}
	least, most := first, last
	for _, v := range values[i:] {
		if v < least {
			least = v
		}
		if v > most {
			most = v
		}
		if v != v {
			missing++
		}
	}
	if i < len(values) {
		s.Rising = false
		for k := len(values) - 1; k >= i; k-- {
			if last = values[k]; !math.IsNaN(last) {
				break
			}
		}
	}
	if least == 0 || most == 0 {
		// The sign of zero: min and max know it, but take longer.
		for _, v := range values {
			if v == 0 {
				least, most = min(least, v), max(most, v)
			}
		}
	}
	s.Missing, s.First, s.Last, s.Least, s.Most = missing, first, last, least, most
	return s
}

// And returns the span of both, next behind s.
func (s Span) And(next Span) Span {
	switch {
	case s.Missing == s.Rows:
		next.Missing += s.Missing
		next.Rows += s.Rows
		return next
	case next.Missing == next.Rows:
		s.Missing += next.Missing
		s.Rows += next.Rows
		return s
	}
	return Span{
		Rows: s.Rows + next.Rows, Missing: s.Missing + next.Missing,
		First: s.First, Last: next.Last, Least: min(s.Least, next.Least), Most: max(s.Most, next.Most),
		Rising: s.Rising && next.Rising && next.First > s.Last,
	}
}

// Span returns the span of the column's numbers: the one that is known if it is
// of as many rows. Who puts others into as many rows sets Known to Span{}.
func (c *Column) Span() Span {
	switch n := len(c.Values); {
	case n == 0:
		return SpanOf(nil)
	case n != c.Known.Rows:
		c.Known = SpanOf(c.Values)
	}
	return c.Known
}
