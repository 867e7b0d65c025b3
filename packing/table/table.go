// Package table writes tables for reading: a caption, heads with units, rows and
// a note, as HTML, Markdown and plain text.
//
// A [Table] is what the Table method of a result returns, so that a part of the
// result can be shown alone, and what a notebook can fill itself:
//
//	t := table.Table{Caption: "Pressure", Columns: []table.Column{
//		{Name: "step"}, {Name: "pressure", Unit: "bar", Right: true}}}
//	t.Add("pack", "1.8")
//
// Text goes in as plain text; each form escapes it. HTML takes its colours from
// the page around it, so that it reads on light and on dark ground, and refers
// to nothing outside. A large table is abridged: its first and last rows and
// columns are shown and all are counted below; Rows keeps them all.
package table

import (
	"fmt"
	"html"
	"strings"
	"unicode/utf8"

	"github.com/evenbed/evenbed/packing/internal/markdown"
)

// A Column is one column's head. Unit may be empty; if all are, no row of units
// is written.
type Column struct {
	Name  string
	Unit  string
	Right bool // align to the right, for numbers
}

// A Table is a caption, a head, rows and a note. A row with too few cells is
// filled with empty ones; cells beyond the last column panic, being a mistake in
// the program.
type Table struct {
	Caption    string
	Columns    []Column
	Rows       [][]string
	RowHeaders bool   // the first cell names its row
	Note       string // below the rows, or in their place: why there are none
}

// Add appends a row.
func (t *Table) Add(cells ...string) { t.Rows = append(t.Rows, cells) }

// cell returns a cell's text, empty where the row is too short.
func (t Table) cell(row []string, i int) string {
	if len(row) > len(t.Columns) {
		panic("table: " + t.Caption + ": a row has more cells than the table has columns")
	}
	if i < len(row) {
		return row[i]
	}
	return ""
}

func (t Table) hasUnits() bool {
	for _, c := range t.Columns {
		if c.Unit != "" {
			return true
		}
	}
	return false
}

func (t Table) hasNames() bool {
	for _, c := range t.Columns {
		if c.Name != "" {
			return true
		}
	}
	return false
}

const (
	line  = "border-bottom:1px solid rgba(128,128,128,.45);"
	pad   = "padding:.25em .8em;vertical-align:top;"
	left  = "text-align:left;"
	right = "text-align:right;font-variant-numeric:tabular-nums;"
)

func align(c Column) string {
	if c.Right {
		return right
	}
	return left
}

// HTML writes the table with a caption and scoped heads, in at most 256 KiB.
func (t Table) HTML() string { return t.bounded(Table.html) }

func (t Table) html() string {
	var b strings.Builder
	b.WriteString(`<table style="border-collapse:collapse;margin:.6em 0">` + "\n")
	if t.Caption != "" {
		b.WriteString(`<caption style="caption-side:top;text-align:left;font-weight:bold;padding:.3em 0">` +
			html.EscapeString(t.Caption) + "</caption>\n")
	}
	if t.hasNames() && len(t.Rows) > 0 {
		b.WriteString("<thead>\n")
		t.headRow(&b, func(c Column) string { return c.Name }, "font-weight:bold;", !t.hasUnits())
		if t.hasUnits() {
			t.headRow(&b, func(c Column) string { return c.Unit }, "font-weight:normal;", true)
		}
		b.WriteString("</thead>\n")
	}
	if len(t.Rows) > 0 {
		b.WriteString("<tbody>\n")
	}
	for _, row := range t.Rows {
		b.WriteString("<tr>")
		for i, c := range t.Columns {
			text := strings.ReplaceAll(html.EscapeString(t.cell(row, i)), "\n", "<br>")
			style := align(c) + pad + line
			if i == 0 && t.RowHeaders {
				b.WriteString(`<th scope="row" style="` + style + `font-weight:normal">` + text + "</th>")
				continue
			}
			b.WriteString(`<td style="` + style + `">` + text + "</td>")
		}
		b.WriteString("</tr>\n")
	}
	if len(t.Rows) > 0 {
		b.WriteString("</tbody>\n")
	}
	if t.Note != "" { // as a group of rows: a foot would stand on every printed page
		fmt.Fprintf(&b, `<tfoot style="display:table-row-group"><tr><td colspan="%d" style="%s">%s</td></tr></tfoot>`+"\n",
			max(1, len(t.Columns)), left+pad, html.EscapeString(t.Note))
	}
	b.WriteString("</table>\n")
	return b.String()
}

func (t Table) headRow(b *strings.Builder, text func(Column) string, weight string, last bool) {
	b.WriteString("<tr>")
	for _, c := range t.Columns {
		style := align(c) + pad + weight
		if last {
			style += "border-bottom:2px solid rgba(128,128,128,.8);"
		}
		b.WriteString(`<th scope="col" style="` + style + `">` + html.EscapeString(text(c)) + "</th>")
	}
	b.WriteString("</tr>\n")
}

// inOneLine puts the lines of a cell, or its sentences, into one.
var inOneLine = strings.NewReplacer(".\n", ". ", "\n", "; ")

// Markdown writes a pipe table under its caption; units stand in the head.
func (t Table) Markdown() string { return t.bounded(Table.markdown) }

func (t Table) markdown() string {
	var b strings.Builder
	if t.Caption != "" {
		b.WriteString("**" + markdown.Escape(t.Caption) + "**\n\n")
	}
	if len(t.Rows) == 0 && t.Note != "" {
		return b.String() + markdown.Escape(t.Note) + "\n"
	}
	b.WriteString("|")
	for _, c := range t.Columns {
		b.WriteString(" " + markdown.Escape(headText(c)) + " |")
	}
	b.WriteString("\n|")
	for _, c := range t.Columns {
		if c.Right {
			b.WriteString(" ---: |")
		} else {
			b.WriteString(" --- |")
		}
	}
	b.WriteString("\n")
	for _, row := range t.Rows {
		b.WriteString("|")
		for i := range t.Columns {
			b.WriteString(" " + inOneLine.Replace(markdown.Escape(t.cell(row, i))) + " |")
		}
		b.WriteString("\n")
	}
	if t.Note != "" {
		b.WriteString("\n" + markdown.Escape(t.Note) + "\n")
	}
	return b.String()
}

// headText is a column's name with its unit in brackets.
func headText(c Column) string {
	if c.Unit == "" {
		return c.Name
	}
	return strings.TrimSpace(c.Name + " [" + c.Unit + "]")
}

// widest is how many characters a cell has in plain text before it is wrapped.
const widest = 60

// String writes the table in columns, without trailing spaces; long cells are
// wrapped between words.
func (t Table) String() string { return t.bounded(Table.text) }

func (t Table) text() string {
	var head [][]string
	if t.hasNames() && (len(t.Rows) > 0 || t.Note == "") {
		names, unitRow := make([]string, len(t.Columns)), make([]string, len(t.Columns))
		for i, c := range t.Columns {
			names[i], unitRow[i] = c.Name, c.Unit
		}
		head = append(head, names)
		if t.hasUnits() {
			head = append(head, unitRow)
		}
	}
	var body [][]string
	for _, row := range t.Rows {
		body = append(body, t.split(row)...)
	}
	width := make([]int, len(t.Columns))
	for _, row := range append(append([][]string{}, head...), body...) {
		for i, c := range row {
			width[i] = max(width[i], utf8.RuneCountInString(c))
		}
	}
	var b strings.Builder
	if t.Caption != "" {
		b.WriteString(t.Caption + "\n")
	}
	for _, row := range head {
		t.textRow(&b, row, width)
	}
	if len(head) > 0 {
		rule := make([]string, len(width))
		for i, w := range width {
			rule[i] = strings.Repeat("-", w)
		}
		t.textRow(&b, rule, width)
	}
	for _, row := range body {
		t.textRow(&b, row, width)
	}
	if t.Note != "" {
		b.WriteString(t.Note + "\n")
	}
	return b.String()
}

// split cuts a row at the line breaks of its cells and where they are too wide.
func (t Table) split(row []string) [][]string {
	var out [][]string
	for i := range t.Columns {
		for j, s := range wrap(t.cell(row, i)) {
			if j == len(out) {
				out = append(out, make([]string, len(t.Columns)))
			}
			out[j][i] = s
		}
	}
	return out
}

// wrap cuts text at its line breaks, and between words where a line would be
// wider than widest.
func wrap(text string) []string {
	var out []string
	for _, s := range strings.Split(text, "\n") {
		line := ""
		for _, word := range strings.Fields(s) {
			if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > widest {
				out = append(out, line)
				line = ""
			}
			if line != "" {
				line += " "
			}
			line += word
		}
		out = append(out, line)
	}
	return out
}

func (t Table) textRow(b *strings.Builder, row []string, width []int) {
	var s strings.Builder
	for i, c := range row {
		space := strings.Repeat(" ", width[i]-utf8.RuneCountInString(c))
		if i > 0 {
			s.WriteString("  ")
		}
		if t.Columns[i].Right {
			s.WriteString(space + c)
		} else {
			s.WriteString(c + space)
		}
	}
	b.WriteString(strings.TrimRight(s.String(), " ") + "\n")
}
