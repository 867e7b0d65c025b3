package record

import (
	"crypto/sha256"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/table"
)

// A Report tells how a file was understood.
type Report struct {
	File    string
	SHA256  string // of the file's bytes, in hexadecimal
	Bytes   int
	Facts   []Fact   // what was understood, in order
	Guesses []string // what the file does not say plainly
	Columns []ColumnReport
	// Code is the line of Go that reads the file again without finding
	// anything out.
	Code  string
	found dialect
}

// A Fact is one thing that was understood of a file.
type Fact struct{ What, Value string }

// A ColumnReport tells what one column holds.
type ColumnReport struct {
	Name, Unit     string
	Rows, Empty    int
	First, Last    float64
	Least, Largest float64
}

func newReport(name string, data []byte) Report {
	return Report{File: name, Bytes: len(data), SHA256: fmt.Sprintf("%x", sha256.Sum256(data))}
}

func (r *Report) fact(what, value string) { r.Facts = append(r.Facts, Fact{what, value}) }
func (r *Report) guess(text string)       { r.Guesses = append(r.Guesses, text) }

// dialect notes separator and decimal mark.
func (r *Report) dialect(d, asked dialect, rivals int) {
	r.found = d
	how := func(given byte) string {
		if given != 0 {
			return ", as given"
		}
		return ", found"
	}
	r.fact("separator", separatorName(d.separator)+how(asked.separator))
	r.fact("decimal mark", decimalName(d.decimal)+how(asked.decimal))
	if rivals > 0 {
		r.guess("no number has a decimal mark: " + decimalName(d.decimal) + " was taken")
	}
}

func separatorName(b byte) string {
	return map[byte]string{',': "comma", ';': "semicolon", '\t': "tab"}[b]
}

func decimalName(b byte) string {
	if b == ',' {
		return "comma"
	}
	return "point"
}

// tell completes the report when all is read.
func (p *parser) tell(cols []Column) {
	r := p.report
	if p.header >= 0 {
		r.fact("header", "line "+strconv.Itoa(p.header+1))
	}
	switch {
	case p.units >= 0:
		r.fact("units", "line "+strconv.Itoa(p.units+1))
	case p.header >= 0:
		r.fact("units", "in brackets in the header")
	}
	rows := cols[0].lines
	r.fact("rows", fmt.Sprintf("%d, lines %d to %d", len(rows), rows[0], rows[len(rows)-1]))
	for _, c := range cols {
		if _, known := unitOf(c.Unit); c.Unit != "" && !known {
			r.guess(fmt.Sprintf("the unit %q of column %q is not known: shown as written", c.Unit, c.Name))
		}
		cr := ColumnReport{c.Name, c.Unit, len(c.Values), 0, math.NaN(), math.NaN(), math.Inf(1), math.Inf(-1)}
		same := 0
		for i, v := range c.Values {
			if math.IsNaN(v) {
				cr.Empty++
				continue
			}
			if math.IsNaN(cr.First) {
				cr.First = v
			}
			if i > 0 && v == c.Values[i-1] {
				same++
			}
			cr.Last = v
			cr.Least, cr.Largest = math.Min(cr.Least, v), math.Max(cr.Largest, v)
		}
		if cr.Empty == cr.Rows {
			cr.Least, cr.Largest = math.NaN(), math.NaN()
		}
		if cr.Empty > 0 {
			r.guess(fmt.Sprintf("%d of %d cells of column %q are empty: taken as not measured, and left out of its signal", cr.Empty, cr.Rows, c.Name))
		}
		if same > 0 && c.is(timeKind) {
			r.guess(fmt.Sprintf("%d rows have the same %s as the row before: kept as they are", same, c.Name))
		}
		r.Columns = append(r.Columns, cr)
	}
	r.Code = p.code()
}

// code returns the call that says everything that was found out.
func (p *parser) code() string {
	var parts []string
	parts = append(parts, fmt.Sprintf("Separator: %q", string(p.dialect.separator)), fmt.Sprintf("Decimal: %q", string(p.dialect.decimal)))
	if p.header >= 0 {
		parts = append(parts, fmt.Sprintf("HeaderLine: %d", p.header+1))
	}
	if len(p.options.Units) > 0 {
		var given []string
		for _, name := range sortedKeys(p.options.Units) {
			given = append(given, fmt.Sprintf("%q: %q", name, p.options.Units[name]))
		}
		parts = append(parts, "Units: map[string]string{"+strings.Join(given, ", ")+"}")
	}
	return fmt.Sprintf("record.Read(%q, record.Options{%s})", p.name, strings.Join(parts, ", "))
}

func sortedKeys(m map[string]string) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// page lays the report out.
func (r Report) page() table.Page {
	var p table.Page
	facts := table.Table{Caption: "Import of " + r.File, Columns: []table.Column{{Name: "what"}, {Name: "understood"}}, RowHeaders: true}
	for _, f := range r.Facts {
		facts.Add(f.What, f.Value)
	}
	facts.Add("file", fmt.Sprintf("%d bytes, SHA-256 %s", r.Bytes, r.SHA256))
	p.Table(facts)
	p.List("Guessed", r.Guesses)
	cols := table.Table{Caption: "Columns", RowHeaders: true, Columns: []table.Column{
		{Name: "name"}, {Name: "unit"}, {Name: "values", Right: true}, {Name: "first", Right: true}, {Name: "last", Right: true},
		{Name: "least", Right: true}, {Name: "largest", Right: true}}}
	for _, c := range r.Columns {
		cols.Add(c.Name, c.Unit, strconv.Itoa(c.Rows-c.Empty), shown(c.First), shown(c.Last), shown(c.Least), shown(c.Largest))
	}
	p.Table(cols)
	p.Text("The same again, with nothing to find out: " + r.Code)
	return p
}

// shown writes a number to six digits.
func shown(v float64) string {
	if math.IsNaN(v) {
		return "none"
	}
	return strconv.FormatFloat(v, 'g', 6, 64)
}

// HTML shows the report as tables.
func (r Report) HTML() string { p := r.page(); return p.HTML() }

// Markdown shows the report as tables.
func (r Report) Markdown() string { p := r.page(); return p.Markdown() }

// String shows the report as text.
func (r Report) String() string { p := r.page(); return p.String() }

// page lays the record out: its preamble and the report.
func (r Record) page() table.Page {
	p := r.report.page()
	lines := table.Table{Caption: "Preamble", Columns: []table.Column{{Name: "line", Right: true}, {Name: "key"}, {Name: "value"}}}
	for _, e := range r.Preamble {
		lines.Add(strconv.Itoa(e.Line), e.Key, shortValue(e.Value))
	}
	p.Table(lines)
	return p
}

// shortValue keeps one line of a preamble readable in a table.
func shortValue(s string) string {
	if c := []rune(s); len(c) > 200 {
		return string(c[:200]) + "…"
	}
	return s
}

// HTML shows what the record holds and how it was understood.
func (r Record) HTML() string { p := r.page(); return p.HTML() }

// Markdown shows what the record holds and how it was understood.
func (r Record) Markdown() string { p := r.page(); return p.Markdown() }

// String shows what the record holds and how it was understood.
func (r Record) String() string { p := r.page(); return p.String() }
