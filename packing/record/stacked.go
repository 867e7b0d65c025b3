package record

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/evenbed/evenbed/packing/internal/unit"
	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// mostSignals is how many signals are looked for below each other.
const mostSignals = 64

// words returns the different words of a column, in order, and how often one is
// followed by another; nil if there are more than mostSignals, if rows have none
// or if words hardly come again.
func words(c *source.Column) (list []string, changes int) {
	seen := map[string]bool{}
	for i, s := range c.Texts {
		if s == "" || len(list) > mostSignals {
			return nil, 0
		}
		if !seen[s] {
			seen[s] = true
			list = append(list, s)
		}
		if i > 0 && s != c.Texts[i-1] {
			changes++
		}
	}
	if len(list) < 2 || 2*len(list) > len(c.Texts) {
		return nil, 0
	}
	return list, changes
}

// stacked returns the column of words that tells rows in question from the row
// above, as the name of the signal does where several stand below each other;
// empty if there is none.
func (g group) stacked(rows []int) (name string, list []string) {
	for _, c := range g.all {
		if list, _ := words(c); list != nil &&
			!slices.ContainsFunc(rows, func(i int) bool { return c.Texts[i] == c.Texts[i-1] }) {
			return c.Name, list
		}
	}
	return "", nil
}

// alternating returns a column of words that change from row to row more often
// than not, and come again; empty if there is none.
func (g group) alternating() (name string, list []string) {
	for _, c := range g.all {
		if list, changes := words(c); 2*changes > len(c.Texts) {
			return c.Name, list
		}
	}
	return "", nil
}

// stackedRefusal refuses rows of several signals below each other, which sorting
// or merging would mix.
func (f troubles) stackedRefusal(file string, t source.Table, g group, name string, list []string) error {
	first := slices.Min(append(slices.Clone(f.same), f.back...))
	return Error{File: file, Line: g.line(t, first),
		Problem: fmt.Sprintf("rows of several signals or runs stand below each other: column %q has %s, and column %q repeats or runs backwards with them",
			name, quoted(list[:min(len(list), 4)]), Column{Name: g.axis.Name, Unit: g.axis.Unit}.title()),
		Remedy: fmt.Sprintf("if its words name signals, say so: record.Options{SignalColumn: %q}; if it is one signal, Clock: record.KeepRows leaves all rows, CutAtReset keeps one run", name)}
}

// unstack makes a column of each signal where rows of several signals stand
// below each other, with the signal's name in a column of words. The options
// name that column; without them it is found if it is the only one that explains
// why the axis repeats itself, and each signal's own positions do not go back.
func (b *builder) unstack() error {
	axis, err := b.axisColumn()
	if err != nil {
		return err
	}
	named := -1
	if b.options.SignalColumn != "" {
		if named, err = (Record{File: b.name, Columns: columnsNamed(b.table.Columns)}).index(b.options.SignalColumn); err != nil {
			return err
		}
	}
	switch {
	case named >= 0 && b.table.Columns[named].Texts == nil:
		return Error{File: b.name, Problem: fmt.Sprintf("column %q cannot name signals: it holds numbers", b.table.Columns[named].Name), Remedy: "name a column of words"}
	case named >= 0 && axis < 0:
		return Error{File: b.name, Problem: "signals stand below each other, and there is no column of times or volumes", Remedy: "name it: record.Options{Axis: \"Time\"}, or give it a unit"}
	case named < 0:
		if named = b.namesOfSignals(axis); named < 0 {
			return nil
		}
	}
	return b.split(axis, named)
}

// namesOfSignals returns the column that names the signals of rows below each
// other, or -1.
func (b *builder) namesOfSignals(axis int) int {
	cols := b.table.Columns
	if axis < 0 || !slices.Contains([]Clock{RefuseRows, SortRows, MeanOfDuplicates, LastOfDuplicates}, b.options.Clock) ||
		len(b.usedAxes()) > 1 || cols[axis].Times == nil && cols[axis].Span().Rising {
		return -1
	}
	x := positionsOf(&cols[axis])
	found := look(x)
	if len(found.same)+len(found.back) == 0 {
		return -1
	}
	in := -1
	for j := range cols {
		g := group{axis: &cols[axis], all: []*source.Column{&cols[j]}}
		if name, _ := g.stacked(slices.Concat(found.same, found.back)); name == "" || holdsUnits(&cols[j]) {
			continue
		}
		if in >= 0 {
			return -1 // two could be it
		}
		in = j
	}
	if in < 0 {
		return -1
	}
	last := map[string]float64{}
	for i, v := range x {
		name := cols[in].Texts[i]
		if before, ok := last[name]; ok && v < before {
			return -1
		}
		if v == v {
			last[name] = v
		}
	}
	return in
}

// A layer is the rows of one signal.
type layer struct {
	name string
	rows []int
}

// layers returns the rows of each word of a column, in the order of the words,
// and how many rows have none.
func layers(c *source.Column) (all []*layer, nameless int) {
	of := map[string]*layer{}
	for i, name := range c.Texts {
		if name == "" {
			nameless++
			continue
		}
		l := of[name]
		if l == nil {
			l = &layer{name: name}
			of[name] = l
			all = append(all, l)
		}
		l.rows = append(l.rows, i)
	}
	return all, nameless
}

// split makes columns of the layers that a column of words names.
func (b *builder) split(axis, named int) error {
	cols := b.table.Columns
	all, nameless := layers(&cols[named])
	if len(all) == 0 {
		return Error{File: b.name, Problem: fmt.Sprintf("column %q names no signal: it is empty", cols[named].Name), Remedy: "name the column with the signals' names"}
	}
	if nameless > 0 {
		b.report.Dropped = append(b.report.Dropped, Drop{Why: fmt.Sprintf("%s without a name in %q", plural(nameless, "row"), cols[named].Name)})
	}
	units, err := b.layerUnits(all, axis, named)
	if err != nil {
		return err
	}
	var numbers, texts []int
	for j, c := range cols {
		switch {
		case j == axis || j == named || j == units:
		case c.Texts == nil:
			numbers = append(numbers, j)
		case alike(c.Texts):
			b.table.Meta = append(b.table.Meta, source.Entry{Key: c.Name, Value: c.Texts[0]})
		default:
			texts = append(texts, j)
		}
	}
	var out []source.Column
	b.origin = map[int][]int{}
	for k, l := range all {
		at := len(out)
		if k > 0 && sameRows(&cols[axis], all[0].rows, l.rows) {
			at = 0
		} else {
			own := part(cols[axis], l.rows)
			if k > 0 {
				own.Name = cols[axis].Name + ", " + l.name
			}
			out = append(out, own)
			b.origin[at] = l.rows
		}
		for _, j := range append(slices.Clone(numbers), texts...) {
			c := part(cols[j], l.rows)
			if c.Name = l.name; len(numbers) != 1 || c.Texts != nil {
				c.Name += ", " + cols[j].Name
			}
			if units >= 0 && c.Values != nil {
				c.Unit = cols[units].Texts[l.rows[0]]
			}
			c.Axis = at
			out = append(out, c)
		}
	}
	var names []string
	for _, l := range all {
		names = append(names, l.name)
	}
	fact := Fact{What: "signals below each other", Value: fmt.Sprintf("%d, named in %q: %s", len(all), cols[named].Name, quoted(names[:min(len(names), 8)])),
		Guessed: b.options.SignalColumn == "", Override: fmt.Sprintf("record.Options{SignalColumn: %q}", cols[named].Name)}
	if fact.Guessed {
		fact.Value += "; Clock: record.KeepRows takes them for one signal"
	}
	b.report.Facts = append(b.report.Facts, fact)
	b.used.SignalColumn, b.used.Axis = cols[named].Name, cols[axis].Name
	b.table.Columns = out
	return nil
}

// layerUnits returns the column that holds the unit of each row's value, or -1.
// A signal that changes its unit is refused.
func (b *builder) layerUnits(all []*layer, axis, named int) (int, error) {
	cols := b.table.Columns
	for j, c := range cols {
		if j == axis || j == named || !holdsUnits(&c) {
			continue
		}
		for _, l := range all {
			for _, i := range l.rows {
				if u := c.Texts[i]; u != c.Texts[l.rows[0]] {
					return -1, Error{File: b.name, Line: b.table.Line(i),
						Problem: fmt.Sprintf("signal %q changes its unit from %q to %q", l.name, c.Texts[l.rows[0]], u),
						Remedy:  "export it in one unit"}
				}
			}
		}
		return j, nil
	}
	return -1, nil
}

// holdsUnits tells whether a column of words holds known units, and nothing else
// unless its heading says that they are units.
func holdsUnits(c *source.Column) bool {
	known, unknown := false, false
	for _, s := range c.Texts {
		if s == "" {
			continue
		}
		if _, ok := unit.Of(s); ok {
			known = true
		} else {
			unknown = true
		}
	}
	return known && (!unknown || strings.Contains(strings.ToLower(c.Name), "unit"))
}

// alike tells whether all texts are the same word.
func alike(texts []string) bool {
	return len(texts) > 0 && texts[0] != "" && !slices.ContainsFunc(texts, func(s string) bool { return s != texts[0] })
}

// sameRows tells whether two signals have the same positions.
func sameRows(axis *source.Column, a, b []int) bool {
	if len(a) != len(b) {
		return false
	}
	for k := range a {
		if axis.Times != nil {
			if !axis.Times[a[k]].Equal(axis.Times[b[k]]) {
				return false
			}
		} else if v, w := axis.Values[a[k]], axis.Values[b[k]]; v != w && (v == v || w == w) {
			return false
		}
	}
	return true
}

// part returns some rows of a column, without an axis.
func part(c source.Column, rows []int) source.Column {
	c.Axis, c.Known, c.Missing, c.Censored = -1, source.Span{}, 0, 0
	switch {
	case c.Texts != nil:
		c.Texts = picked(c.Texts, rows)
	case c.Times != nil:
		c.Times = picked(c.Times, rows)
		for _, t := range c.Times {
			if t.Equal(time.Time{}) {
				c.Missing++
			}
		}
	default:
		c.Values = picked(c.Values, rows)
		c.Missing = c.Span().Missing
	}
	return c
}
