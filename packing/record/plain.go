package record

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/evenbed/evenbed/packing/record/internal/source"
	"github.com/evenbed/evenbed/packing/task"
)

// text reads a delimited text.
func (o Options) text(data []byte, _ task.Monitor) (source.File, Options, error) {
	const name = ""
	asked, err := o.dialect(name)
	if err != nil {
		return source.File{}, o, err
	}
	lines, err := decode(name, data)
	if err != nil {
		return source.File{}, o, err
	}
	var rep Report
	p := parser{name: name, lines: lines, options: o, report: &rep}
	if err := p.layout(asked); err != nil {
		return source.File{}, o, err
	}
	t := source.Table{FirstLine: p.first + 1}
	for _, e := range p.preamble() {
		t.Meta = append(t.Meta, source.Entry(e))
	}
	cols, err := p.columns()
	if err != nil {
		return source.File{}, o, err
	}
	for _, c := range cols {
		t.Columns = append(t.Columns, source.Column{Name: c.Name, Unit: c.Unit, Values: c.Values, Axis: -1})
	}
	used := o
	used.Separator, used.Decimal = string(p.dialect.separator), string(p.dialect.decimal)
	return source.File{Tables: []source.Table{t}}, used, nil
}

// dialect returns what the options say of it; zero bytes where they do not.
func (o Options) dialect(name string) (d dialect, err error) {
	switch o.Separator {
	case "":
	case ",", ";", "\t":
		d.separator = o.Separator[0]
	default:
		return d, Error{File: name, Problem: fmt.Sprintf("separator %q", o.Separator), Remedy: `use ",", ";" or "\t"`}
	}
	switch o.Decimal {
	case "":
	case ".", ",":
		d.decimal = o.Decimal[0]
	default:
		return d, Error{File: name, Problem: fmt.Sprintf("decimal mark %q", o.Decimal), Remedy: `use "." or ","`}
	}
	return d, nil
}

// decode returns the lines of a text without their ends.
func decode(name string, data []byte) ([]string, error) {
	if len(bytes.TrimSpace(data)) == 0 {
		return nil, Error{File: name, Problem: "the file is empty", Remedy: "export it again"}
	}
	if bytes.HasPrefix(data, []byte{0xff, 0xfe}) || bytes.HasPrefix(data, []byte{0xfe, 0xff}) {
		return nil, Error{File: name, Problem: "text in UTF-16", Remedy: "save it as UTF-8"}
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	lines := strings.Split(string(data), "\n")
	for i, line := range lines {
		lines[i] = strings.TrimSuffix(line, "\r")
		if j := strings.IndexByte(line, 0); j >= 0 {
			return nil, Error{File: name, Line: i + 1, Problem: "a zero byte: not a text file", Remedy: "export it as text with separators"}
		}
		if !utf8.ValidString(line) {
			return nil, Error{File: name, Line: i + 1, Problem: "text that is not UTF-8", Remedy: "save it as UTF-8"}
		}
	}
	return lines, nil
}

// A parser carries what is known of a file from step to step.
type parser struct {
	name    string
	lines   []string
	options Options
	report  *Report

	dialect dialect
	header  int // index of the line with the names; -1 if there is none
	units   int // index of the line with the units; -1 if there is none
	first   int // index of the first row of numbers
	width   int // cells in a row
}

// layout finds separator, decimal mark, header, units and first row.
func (p *parser) layout(asked dialect) error {
	start := 0
	if h := p.options.HeaderLine; h != 0 {
		if h < 1 || h > len(p.lines) {
			return Error{File: p.name, Problem: fmt.Sprintf("header line %d of a file with %d lines", h, len(p.lines)), Remedy: "count lines from 1"}
		}
		start = h
	}
	best, rivals := sniff(p.lines[start:], asked)
	if best.separator == 0 {
		return Error{File: p.name, Problem: "no rows of numbers found",
			Remedy: "rows need two or more columns of numbers with comma, semicolon or tab between them; if they have, say so: record.Options{Separator: \";\", Decimal: \",\"}"}
	}
	p.dialect = best
	_ = rivals

	p.first = -1
	for i := start; i < len(p.lines); i++ {
		if cells := best.cut(nil, p.lines[i]); best.isData(cells) {
			p.first, p.width = i, len(cells)
			break
		}
	}
	// A row with a fault in it may stand above.
	for p.first > start {
		cells := best.cut(nil, p.lines[p.first-1])
		if len(cells) < 2 || !isNumber(cells[0], best.decimal) {
			break
		}
		p.first--
	}
	p.header, p.units = -1, -1
	if p.options.HeaderLine != 0 {
		p.header = start - 1
		for i := start; i < p.first; i++ {
			if isUnits(best.cut(nil, p.lines[i])) {
				p.units = i
			}
		}
		return nil
	}
	above := p.above(p.first)
	if above >= 0 && isUnits(p.row(above)) {
		p.units = above
		above = p.above(above)
	}
	if above >= 0 && len(p.row(above)) > 1 {
		p.header = above
	}
	return nil
}

// above returns the index of the next line above i that is not blank, or -1.
func (p *parser) above(i int) int {
	for i--; i >= 0 && strings.TrimSpace(p.lines[i]) == ""; i-- {
	}
	return i
}

// row returns the cells of a line without empty ones at its end.
func (p *parser) row(i int) []string {
	cells := p.dialect.cut(nil, p.lines[i])
	for len(cells) > 0 && cells[len(cells)-1] == "" {
		cells = cells[:len(cells)-1]
	}
	return cells
}

// preamble returns the lines above the header.
func (p *parser) preamble() []Entry {
	end := p.first
	if p.units >= 0 {
		end = p.units
	}
	if p.header >= 0 {
		end = p.header
	}
	var entries []Entry
	for i, line := range p.lines[:end] {
		line = strings.TrimRight(strings.TrimSpace(line), string(p.dialect.separator))
		if line == "" {
			continue
		}
		key, value, ok := strings.Cut(line, ":")
		if !ok {
			key, value, ok = strings.Cut(line, string(p.dialect.separator))
		}
		if !ok {
			key, value = "", line
		}
		entries = append(entries, Entry{strings.TrimSpace(key), strings.Trim(value, " \t;,"), i + 1})
	}
	return entries
}

// columns reads the names and the numbers.
func (p *parser) columns() ([]Column, error) {
	cols, err := p.headings()
	if err != nil {
		return nil, err
	}
	var cells []string
	room := len(p.lines) - p.first
	for j := range cols {
		cols[j].Values = make([]float64, 0, room)
	}
	for i := p.first; i < len(p.lines); i++ {
		line := p.lines[i]
		if strings.TrimSpace(line) == "" {
			continue
		}
		cells = p.dialect.cut(cells[:0], line)
		for len(cells) > len(cols) && cells[len(cells)-1] == "" {
			cells = cells[:len(cells)-1]
		}
		if len(cells) != len(cols) {
			return nil, Error{File: p.name, Line: i + 1,
				Problem: fmt.Sprintf("%d cells in a row of a table with %d columns", len(cells), len(cols)),
				Remedy:  "complete the row, or take the line out if it does not belong to the table"}
		}
		for j, cell := range cells {
			v := math.NaN()
			if cell != "" {
				var ok bool
				if v, ok = number(cell, p.dialect.decimal); !ok {
					return nil, Error{File: p.name, Line: i + 1, Column: p.dialect.place(line, j),
						Problem: fmt.Sprintf("%q in column %q is not a number", shortened(cell), cols[j].title()),
						Remedy:  p.numberRemedy(cell)}
				}
			}
			cols[j].Values = append(cols[j].Values, v)
		}
	}
	return cols, nil
}

// numberRemedy says what to do about text in a number's place.
func (p *parser) numberRemedy(cell string) string {
	other := byte(',')
	if p.dialect.decimal == ',' {
		other = '.'
	}
	if isNumber(cell, other) {
		return fmt.Sprintf("the file's decimal mark was taken to be %q; write all numbers alike", string(p.dialect.decimal))
	}
	return "correct the cell, or leave it empty if nothing was measured"
}

// headings returns the columns with name and unit, still without numbers.
func (p *parser) headings() ([]Column, error) {
	cols := make([]Column, p.width)
	if p.header < 0 {
		for j := range cols {
			cols[j] = Column{Name: "column " + strconv.Itoa(j+1)}
		}

	} else {
		names := p.row(p.header)
		if p.width > len(names) { // lines may end with separators
			p.width = max(len(names), p.filled())
		}
		if len(names) != p.width {
			return nil, Error{File: p.name, Line: p.header + 1,
				Problem: fmt.Sprintf("the header names %d columns, but the first row of numbers (line %d) has %d", len(names), p.first+1, p.width),
				Remedy:  "give every column a name, or say which line the header is: record.Options{HeaderLine: 12}"}
		}
		cols = cols[:p.width]
		for j, name := range names {
			cols[j].Name, cols[j].Unit = splitUnit(name)
			if cols[j].Name == "" {
				cols[j].Name = "column " + strconv.Itoa(j+1)
			}
		}
	}
	if p.units >= 0 {
		for j, u := range p.row(p.units) {
			if j < len(cols) && u != "" {
				cols[j].Unit = unbracket(u)
			}
		}
	}
	return cols, nil
}

// filled returns the number of columns in which some row has something.
func (p *parser) filled() int {
	last := 0
	var cells []string
	for _, line := range p.lines[p.first:] {
		cells = p.dialect.cut(cells[:0], line)
		for j := len(cells) - 1; j >= last; j-- {
			if cells[j] != "" {
				last = j + 1
			}
		}
	}
	return last
}

// slowNumber reads the numbers that number leaves: with an exponent or with
// many digits.
func slowNumber(s string, decimal byte) (float64, bool) {
	for i := range len(s) {
		c := s[i]
		if (c < '0' || c > '9') && c != decimal && c != '+' && c != '-' && c != 'e' && c != 'E' {
			return 0, false
		}
	}
	if decimal != '.' {
		s = strings.Replace(s, string(decimal), ".", 1)
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil
}

// splitUnit takes the unit in brackets off the end of a heading. Brackets that
// begin with a digit, as in "UV (280 nm)", belong to the name.
func splitUnit(heading string) (name, unit string) {
	for _, b := range []string{"()", "[]"} {
		if !strings.HasSuffix(heading, b[1:]) {
			continue
		}
		i := strings.LastIndex(heading, b[:1])
		if i <= 0 {
			continue
		}
		in := strings.TrimSpace(heading[i+1 : len(heading)-1])
		if in == "" || in[0] >= '0' && in[0] <= '9' && in != "1" {
			continue
		}
		return strings.TrimSpace(heading[:i]), in
	}
	return heading, ""
}
