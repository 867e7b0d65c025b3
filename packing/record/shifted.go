package record

import (
	"fmt"
	"math"
	"slices"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// minTelling is how many cells of a row must fit the column beside them, and not
// their own, before the row counts as shifted.
const minTelling = 2

// shifted refuses rows whose cells stand one column beside their own: rows with an
// empty cell in which at least two numbers lie where the column beside has its values
// and their own has none, all in one direction.
func (b *builder) shifted() error {
	cols := b.table.Columns
	if b.table.FirstLine == 0 || b.origin != nil || len(b.usedAxes()) > 1 {
		return nil
	}
	var of []int // columns of numbers
	holes := map[int]bool{}
	n := 0
	for j := range cols {
		c := &cols[j]
		if c.Values == nil {
			continue
		}
		of, n = append(of, j), max(n, len(c.Values))
		if s := c.Span(); s.Missing == 0 || 4*s.Missing > s.Rows {
			continue // a column that is often empty tells nothing
		}
		for i, v := range c.Values {
			if math.IsNaN(v) {
				holes[i] = true
			}
		}
	}
	if len(holes) == 0 || len(of) < 3 || 4*len(holes) > n {
		return nil
	}
	// Where each column has its values, rows with holes left out.
	low, high := make([]float64, len(of)), make([]float64, len(of))
	for k, j := range of {
		low[k], high[k] = math.Inf(1), math.Inf(-1)
		for i, v := range cols[j].Values {
			if !holes[i] && !math.IsNaN(v) {
				low[k], high[k] = math.Min(low[k], v), math.Max(high[k], v)
			}
		}
		margin := 0.5 * (high[k] - low[k])
		low[k], high[k] = low[k]-margin, high[k]+margin
	}
	fits := func(k, i int, v float64) bool { return k >= 0 && k < len(of) && v >= low[k] && v <= high[k] }
	var rows []int
	for i := range holes {
		for _, side := range []int{-1, 1} { // the column whose values they are
			telling, against := 0, 0
			for k, j := range of {
				v := math.NaN()
				if i < len(cols[j].Values) {
					v = cols[j].Values[i]
				}
				switch own, other := fits(k, i, v), fits(k+side, i, v); {
				case math.IsNaN(v) || own:
				case other:
					telling++
				default:
					against++
				}
			}
			if telling >= minTelling && against == 0 {
				rows = append(rows, i)
				break
			}
		}
	}
	if len(rows) == 0 {
		return nil
	}
	slices.Sort(rows)
	if b.options.DropBadRows {
		for _, i := range rows {
			b.report.Dropped = append(b.report.Dropped, Drop{Line: b.table.Line(i), Why: "its cells stand a column beside their own"})
		}
		g := group{}
		keep := make([]int, 0, n)
		for i := range n {
			if _, is := slices.BinarySearch(rows, i); !is {
				keep = append(keep, i)
			}
		}
		for j := range cols {
			g.all = append(g.all, &cols[j])
		}
		g.pad()
		g.take(keep)
		for j := range cols {
			if cols[j].Values != nil {
				cols[j].Missing = cols[j].Span().Missing
			}
		}
		b.kept(keep)
		return nil
	}
	lines := fmt.Sprintf("line %d", b.table.Line(rows[0]))
	if len(rows) > 1 {
		lines = fmt.Sprintf("%d rows, the first on line %d, the last on line %d,", len(rows), b.table.Line(rows[0]), b.table.Line(rows[len(rows)-1]))
	}
	return Error{File: b.name, Line: b.table.Line(rows[0]),
		Problem: lines + " have an empty cell, and numbers where the column beside has its own: they are shifted by a cell",
		Remedy:  "export again or correct them, or leave such rows out: record.Options{DropBadRows: true}"}
}

// kept tells the table that only some rows are left, so that lines stay right.
func (b *builder) kept(rows []int) {
	t := b.table
	var breaks []source.Break
	for k, i := range rows {
		if line := t.Line(i); k == 0 {
			b.table.FirstLine = line
		} else if line != t.Line(rows[k-1])+1 {
			breaks = append(breaks, source.Break{Row: k, Line: line})
		}
	}
	b.table.Breaks = breaks
}
