package text

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// A run that was stopped before its first point leaves a header without rows.
// Such a file is read as a table of no rows: its names, units and preamble are
// there. The header must be the last thing in the file, and must show that it is
// one: a unit, or a column of time or volume.

// headerAlone finds the header of a file without rows and tells whether there
// is one.
func (r *reader) headerAlone() bool {
	if !r.whole || r.o.DataLine > 0 {
		return false
	}
	asked := r.o.Separator
	if asked == "" {
		asked = saidSeparator(r.head)
	}
	for _, sep := range []byte("\t;|,") {
		if asked != "" && asked != string(sep) {
			continue
		}
		recs := records(r.head, 1, headRecords, sep)
		if len(recs) == headRecords { // there may be more
			continue
		}
		for len(recs) > 0 && blank(recs[len(recs)-1].text, sep) {
			recs = recs[:len(recs)-1]
		}
		n := len(recs)
		if n == 0 {
			continue
		}
		if r.o.HeaderLine > 0 { // rows are counted in records: one may take several lines
			first := slices.IndexFunc(recs, func(rec record) bool { return rec.line >= r.o.HeaderLine })
			if first < 0 || n-first > max(r.o.HeaderRows, 2) {
				continue
			}
		}
		cells := r.cellsOf(recs[n-1], sep)
		above := 0 // cells of the line above
		if n > 1 {
			above = len(r.cellsOf(recs[n-2], sep))
		}
		if len(cells) < 2 || !r.namesColumns(cells) && !(isUnits(cells, true) && above == len(cells)) {
			continue
		}
		r.sep = sep
		r.table.records, r.table.firstIndex, r.table.width, r.table.empty = recs, n, len(cells), true
		return true
	}
	return false
}

// cellsOf returns the cells of a record as texts, without those at the end that
// are empty.
func (r *reader) cellsOf(rec record, sep byte) []string {
	var out []string
	for _, c := range cut(nil, r.withoutComment(rec.text), sep) {
		out = append(out, strings.ToValidUTF8(string(bytes.TrimSpace(c)), "?"))
	}
	return trimStrings(out)
}

// namesColumns tells whether cells are names of columns: one has a known unit or
// is a time or a volume ("Time", "Run time"), and none is a number or a sentence.
func (r *reader) namesColumns(cells []string) bool {
	sure := r.o.HeaderLine > 0
	for _, c := range cells {
		if c != "" && (r.fits([]byte(c), 0) || len([]rune(c)) > 60) {
			return false
		}
		name, unit := splitUnit(c)
		words := strings.Fields(name)
		sure = sure || unit != "" && knownUnit(unit) || len(words) == 1 && axisName(name, "") || len(words) == 2 && axisName(words[1], "")
	}
	return sure
}

// noRows makes the file of a header alone.
func (r *reader) noRows() (Result, error) {
	t := &r.table
	cols := make([]source.Column, t.width)
	for j := range cols {
		cols[j] = source.Column{Name: t.cols[j].name, Unit: t.cols[j].unit, Axis: -1, Place: j + 1, Values: []float64{}}
	}
	r.axes(cols)
	if err := r.givenUnits(cols); err != nil {
		return Result{}, err
	}
	line := t.records[len(t.records)-1].line
	r.fact("rows", fmt.Sprintf("none: nothing stands below the header, which ends on line %d", line))
	r.used.Missing, r.used.Units, r.used.Comment, r.used.DropBadRows = r.o.Missing, r.o.Units, r.o.Comment, r.o.DropBadRows
	r.used.DataLine, r.used.LastLine, r.used.TimeLayout = 0, 0, r.o.TimeLayout
	return Result{File: source.File{Tables: []source.Table{{Columns: cols, Meta: t.meta}}, Facts: r.facts}, Used: r.used}, nil
}
