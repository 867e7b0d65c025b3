package record

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Options say what is known of a file. What is zero is found out, and the
// report says how.
type Options struct {
	Separator string // between cells: ",", ";" or "\t"
	Decimal   string // decimal mark: "." or ","; comma for both needs numbers in quotes
	// HeaderLine is the line with the columns' names, from 1.
	HeaderLine int
	// Units gives columns their unit, in place of the file's: {"Time": "min"}.
	Units map[string]string
}

// Read reads a delimited text file: UTF-8 with or without a byte order mark;
// comma, semicolon or tab between cells; decimal point or comma; any number of
// lines above the header; units in brackets behind the names or in a row below
// them. Every row below must hold numbers, or nothing, in every column.
//
// Errors are of type [Error] and tell file, line and remedy. Times that run
// backwards are one of them.
func Read(path string, options ...Options) (Record, error) {
	data, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return Record{}, Error{File: path, Problem: "no such file", Remedy: beside(path), Err: err}
	case err != nil:
		var cause *fs.PathError
		problem := err.Error()
		if errors.As(err, &cause) {
			problem = cause.Err.Error()
		}
		return Record{}, Error{File: path, Problem: "cannot be read: " + problem, Remedy: "give the path of an export", Err: err}
	}
	return Parse(path, data, options...)
}

// beside says what lies in the folder in which a file was looked for.
func beside(path string) string {
	folder := filepath.Dir(path)
	entries, err := os.ReadDir(folder)
	if err != nil {
		return fmt.Sprintf("there is no folder %q either; a notebook looks from its own folder", folder)
	}
	var names []string
	for _, e := range entries {
		if !e.IsDir() {
			names = append(names, e.Name())
		}
	}
	if best := nearest(names, filepath.Base(path)); best != "" {
		return fmt.Sprintf("did you mean %q?", filepath.Join(folder, best))
	}
	return fmt.Sprintf("look into the folder %q; a notebook looks from its own folder", folder)
}

// Parse reads the bytes of an export; name stands for the file in messages.
// See [Read].
func Parse(name string, data []byte, options ...Options) (Record, error) {
	var o Options
	switch len(options) {
	case 0:
	case 1:
		o = options[0]
	default:
		return Record{}, Error{File: name, Problem: fmt.Sprintf("%d sets of options", len(options)), Remedy: "give one"}
	}
	asked, err := o.dialect(name)
	if err != nil {
		return Record{}, err
	}
	r := Record{File: name, report: newReport(name, data)}
	lines, err := decode(name, data)
	if err != nil {
		return Record{}, err
	}
	p := parser{name: name, lines: lines, options: o, report: &r.report}
	if err := p.layout(asked); err != nil {
		return Record{}, err
	}
	r.Preamble = p.preamble()
	if r.Columns, err = p.columns(); err != nil {
		return Record{}, err
	}
	for _, c := range r.Columns {
		if !c.is(timeKind) {
			continue
		}
		if i := backwards(c.Values); i > 0 {
			return Record{}, r.backwards(c, i)
		}
	}
	p.tell(r.Columns)
	return r, nil
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
	p.report.dialect(best, asked, rivals)

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
	var at []int
	room := len(p.lines) - p.first
	at = make([]int, 0, room)
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
		at = append(at, i+1)
	}
	for j := range cols {
		cols[j].lines = at
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
		p.report.guess("no header row found: the columns are numbered")
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
				p.report.guess(fmt.Sprintf("column %d has no name: it is called %q", j+1, cols[j].Name))
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
	taken := map[string]bool{}
	for j := range cols {
		cols[j].place = j + 1
		name := cols[j].Name
		for n := 2; taken[strings.ToLower(cols[j].Name)]; n++ {
			cols[j].Name = name + " " + strconv.Itoa(n)
		}
		taken[strings.ToLower(cols[j].Name)] = true
		if cols[j].Name != name {
			p.report.guess(fmt.Sprintf("the name of column %d occurs before: it is called %q", j+1, cols[j].Name))
		}
	}
	return cols, p.givenUnits(cols)
}

// givenUnits puts in the units of the options.
func (p *parser) givenUnits(cols []Column) error {
	named := Record{File: p.name, Columns: cols}
	for _, name := range sortedKeys(p.options.Units) {
		c, err := named.Column(name)
		if err != nil {
			return err
		}
		u := p.options.Units[name]
		if _, known := unitOf(u); !known {
			return Error{File: p.name, Problem: fmt.Sprintf("the unit %q given for column %q is not known", u, c.Name),
				Remedy: "units are written as min, s, mL, L, L/h, cm/h, cm, bar, kPa, mAU, mS/cm"}
		}
		cols[c.place-1].Unit = u
	}
	return nil
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

// shortened cuts long text for a message.
func shortened(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}
