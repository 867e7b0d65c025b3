package record

import (
	"fmt"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// A Report tells how a file was understood.
type Report struct {
	Provenance Provenance
	Doubts     []Doubt  // what may make the numbers wrong
	Facts      []Fact   // what was understood, in order
	Remarks    []string // what to look at
	Columns    []ColumnReport
	Dropped    []Drop // rows that were left out
	// Code is the line of Go that reads the file again in the same way.
	Code string

	again Options // those of Code
}

// A Doubt is something in a file that may make its numbers wrong. It goes along with
// every signal that it concerns.
type Doubt struct {
	Column string // that it concerns; empty if it is all of them
	Text   string // what was seen, and what to do

	seen bool // by who looks at the signal itself: it goes along with none
}

// String writes the doubt.
func (d Doubt) String() string { return d.Text }

// Provenance is where a record comes from. SHA-256 and size tell which file it
// was. When the file was last changed is left out: a copy has another time, and a
// notebook would then differ from one machine to the next.
type Provenance struct {
	File    string  // base name
	Member  string  // name of the file inside an archive; empty if there is none
	Bytes   int64   // size of the file
	SHA256  string  // of the file's bytes, in hexadecimal
	Options Options // as given
}

// A Fact is one thing that was understood of a file, and how to say it in the
// options.
type Fact struct {
	What, Value string
	Guessed     bool // the file does not say it plainly
	Override    string
}

// A Drop is a row that was left out; Line is 0 where it stands for several.
type Drop struct {
	Line int
	Why  string
}

// A ColumnReport tells what one column holds.
type ColumnReport struct {
	Name, Unit, Axis string
	Rows             int
	Missing          int // rows without a number
	Censored         int // those of them that hold a limit, as "<0.5"
	First, Last      float64
	Least, Largest   float64
}

func (r *Report) fact(what, value string) {
	r.Facts = append(r.Facts, Fact{What: what, Value: value})
}

func (r *Report) remark(format string, args ...any) {
	r.Remarks = append(r.Remarks, fmt.Sprintf(format, args...))
}

// doubt notes what may make numbers of a column wrong; of all columns if it has no
// name.
func (r *Report) doubt(column, format string, args ...any) {
	r.Doubts = append(r.Doubts, Doubt{Column: column, Text: fmt.Sprintf(format, args...)})
}

// left returns what the line of Code leaves to be found out again.
func (r Report) left() []string {
	var left []string
	for _, f := range r.Facts {
		if f.Guessed && !r.again.has(optionIn(f.Override)) && !slices.Contains(left, f.What) {
			left = append(left, f.What)
		}
	}
	return left
}

// columnVolume returns the column volume of the options, in cubic metres.
func (r Report) columnVolume() float64 { return float64(r.Provenance.Options.ColumnVolume) }

// call writes the line of Go that reads a file with the options.
func (o Options) call(name string) string {
	v := reflect.ValueOf(o)
	var parts []string
	for i := range v.NumField() {
		if f := v.Field(i); !f.IsZero() {
			parts = append(parts, v.Type().Field(i).Name+": "+literal(f.Interface()))
		}
	}
	given := ""
	if len(parts) > 0 {
		given = ", record.Options{" + strings.Join(parts, ", ") + "}"
	}
	return fmt.Sprintf("record.Read(%q%s)", filepath.ToSlash(name), given)
}

// literal writes a value as Go does.
func literal(x any) string {
	switch x := x.(type) {
	case Clock:
		return "record." + x.String()
	case units.Volume:
		return strconv.FormatFloat(float64(x), 'g', -1, 64) + " * CubicMetre"
	case map[string]string:
		var parts []string
		for _, k := range sortedKeys(x) {
			parts = append(parts, fmt.Sprintf("%q: %q", k, x[k]))
		}
		return "map[string]string{" + strings.Join(parts, ", ") + "}"
	}
	return fmt.Sprintf("%#v", x)
}

func sortedKeys(m map[string]string) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// How much of a report is shown; the rest is counted.
const (
	shownRows    = 20
	shownColumns = 40
)

// Page lays the report out.
func (r Report) Page() page.Page {
	var p page.Page
	var doubts []string
	for _, d := range r.Doubts {
		doubts = append(doubts, cutText(d.Text, 600))
	}
	p.List("Doubts", atMost(doubts, shownRows))
	p.Table(r.Table())
	file := plural(int(r.Provenance.Bytes), "byte")
	if r.Provenance.Member != "" {
		file += fmt.Sprintf(", an archive, and in it %q", shortened(r.Provenance.Member))
	}
	p.Text("The file: " + file + ", SHA-256 " + r.Provenance.SHA256)
	p.List("Remarks", atMost(r.Remarks, shownRows))
	p.Table(r.ColumnTable())
	dropped := table.Table{Caption: "Rows left out", Columns: []table.Column{{Name: "line", Right: true}, {Name: "why"}}}
	for _, d := range r.Dropped[:min(len(r.Dropped), shownRows)] {
		line := ""
		if d.Line > 0 {
			line = strconv.Itoa(d.Line)
		}
		dropped.Add(line, shortValue(d.Why))
	}
	more(&dropped, len(r.Dropped), shownRows)
	p.Table(dropped)
	if r.Code != "" {
		left := r.left()
		switch {
		case len(left) > 0:
			p.Text("To read the file again in the same way; it does not settle: " + strings.Join(left, ", "))
		case len(r.Doubts) > 0:
			p.Text("To read the file again in the same way, doubts included:")
		default:
			p.Text("To read the file again, with nothing left to guess:")
		}
		p.Code(r.Code)
	}
	return p
}

// option returns `Separator: ";"` of `record.Options{Separator: ";"}`.
func option(override string) string {
	inner, ok := strings.CutPrefix(override, "record.Options{")
	if !ok {
		return override
	}
	return strings.TrimSuffix(inner, "}")
}

// Table returns what was understood of the file.
func (r Report) Table() table.Table {
	facts := table.Table{Caption: "Import of " + shortened(r.Provenance.File), Columns: []table.Column{{Name: "what"}, {Name: "understood"}, {Name: ""}, {Name: "to say it in record.Options"}}, RowHeaders: true}
	for _, f := range r.Facts {
		how := ""
		if f.Guessed {
			how = "guessed"
		}
		facts.Add(shortened(f.What), shortValue(f.Value), how, option(f.Override))
	}
	return facts
}

// ColumnTable returns what each column holds.
func (r Report) ColumnTable() table.Table {
	cols := table.Table{Caption: "Columns", RowHeaders: true, Columns: []table.Column{
		{Name: "name"}, {Name: "unit"}, {Name: "against"}, {Name: "values", Right: true}, {Name: "first", Right: true}, {Name: "last", Right: true},
		{Name: "least", Right: true}, {Name: "largest", Right: true}}}
	missing := slices.ContainsFunc(r.Columns, func(c ColumnReport) bool { return c.Missing > 0 })
	if missing {
		cols.Columns = append(cols.Columns, table.Column{Name: "missing", Right: true})
	}
	for _, c := range r.Columns[:min(len(r.Columns), shownColumns)] {
		row := []string{shortened(c.Name), shortened(c.Unit), shortened(c.Axis), strconv.Itoa(c.Rows - c.Missing), number.Cell(number.Compact(c.First, 6)), number.Cell(number.Compact(c.Last, 6)), number.Cell(number.Compact(c.Least, 6)), number.Cell(number.Compact(c.Largest, 6))}
		if missing {
			row = append(row, c.missing())
		}
		cols.Add(row...)
	}
	more(&cols, len(r.Columns), shownColumns)
	return cols
}

// missing counts the rows without a number.
func (c ColumnReport) missing() string {
	switch {
	case c.Missing == 0:
		return ""
	case c.Censored > 0:
		return fmt.Sprintf("%d, of them %d beyond a limit", c.Missing, c.Censored)
	}
	return strconv.Itoa(c.Missing)
}

// more adds a row that counts what is not shown.
func more(t *table.Table, n, shown int) {
	if n > shown {
		t.Add("…", fmt.Sprintf("%d more", n-shown))
	}
}

func atMost(items []string, n int) []string {
	if len(items) <= n {
		return items
	}
	return append(slices.Clone(items[:n]), fmt.Sprintf("%d more", len(items)-n))
}

// String returns the page as text.
func (r Report) String() string { return r.Page().String() }

// Page lays the record out: its report, preamble, events and notes.
func (r Record) Page() page.Page {
	if len(r.Columns) == 0 {
		var p page.Page
		p.Text("a record without columns: nothing was read")
		return p
	}
	p := r.report.Page()
	p.Table(entries("Preamble", r.Preamble))
	events := table.Table{Caption: "Events", Columns: []table.Column{{Name: "at", Right: true}, {Name: "column"}, {Name: "text"}}}
	for _, e := range r.Events[:min(len(r.Events), shownRows)] {
		events.Add(e.Axis.Show(e.At), shortened(e.Name), shortValue(e.Text))
	}
	more(&events, len(r.Events), shownRows)
	p.Table(events)
	p.Table(entries("Notes below the columns", r.Notes))
	return p
}

// entries lays lines of a preamble or of notes out.
func entries(caption string, list []Entry) table.Table {
	t := table.Table{Caption: caption, Columns: []table.Column{{Name: "line", Right: true}, {Name: "key"}, {Name: "value"}}}
	for _, e := range list[:min(len(list), shownColumns)] {
		line := ""
		if e.Line > 0 {
			line = strconv.Itoa(e.Line)
		}
		t.Add(line, shortened(e.Key), shortValue(e.Value))
	}
	more(&t, len(list), shownColumns)
	return t
}

// shortValue keeps text of a file readable in a table.
func shortValue(s string) string { return cutText(s, 200) }

// cutText cuts a text off behind so many characters.
func cutText(s string, most int) string {
	if c := []rune(s); len(c) > most {
		return string(c[:most]) + "…"
	}
	return s
}

// String returns the page as text.
func (r Record) String() string { return r.Page().String() }

// String says what the column holds.
func (c Column) String() string {
	s := fmt.Sprintf("%q", shortened(c.Name))
	if c.Unit != "" {
		s += " in " + shortened(c.Unit)
	}
	if c.Axis != "" {
		s += " against " + shortened(c.Axis)
	}
	if c.Values == nil {
		return s + ": " + plural(len(c.Texts), "text")
	}
	r := reportOf(c)
	if r.Rows == r.Missing {
		return s + fmt.Sprintf(": no values, %d missing", r.Missing)
	}
	return s + fmt.Sprintf(": %s from %s to %s, %d missing", plural(r.Rows-r.Missing, "value"), number.Compact(r.Least, 6), number.Compact(r.Largest, 6), r.Missing)
}

// String says which file was read.
func (p Provenance) String() string {
	s := p.File
	if p.Member != "" {
		s += ", in it " + p.Member
	}
	return fmt.Sprintf("%s, %s, SHA-256 %s", s, plural(int(p.Bytes), "byte"), p.SHA256)
}
