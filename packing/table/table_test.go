package table

import (
	"encoding/xml"
	"fmt"
	"io"
	"strings"
	"testing"
)

func sample() Table {
	t := Table{Caption: "Heights <of> \"beds\"", RowHeaders: true,
		Columns: []Column{{Name: "stage"}, {Name: "height", Unit: "cm", Right: true}}}
	t.Add("settled", "20.16")
	t.Add("packed\nat µ", "18.0")
	t.Add("a|b *c* <script>")
	return t
}

// TestSentences: lines of a cell stand in one line of Markdown, after a full stop
// without another mark.
func TestSentences(t *testing.T) {
	var x Table
	x.Columns = []Column{{Name: "do"}}
	x.Add("Valves: shut.\nVent.")
	x.Add("packed\nat µ")
	if got, want := x.Markdown(), "| do |\n| --- |\n| Valves: shut. Vent. |\n| packed; at µ |\n"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

func TestText(t *testing.T) {
	want := `Heights <of> "beds"
stage             height
                      cm
----------------  ------
settled            20.16
packed              18.0
at µ
a|b *c* <script>
`
	if got := sample().String(); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestWrap(t *testing.T) {
	words := strings.TrimSpace(strings.Repeat("abcdefghi ", 13)) // six fit: 6·9 + 5
	t1 := Table{Columns: []Column{{Name: "a"}, {Name: "b", Right: true}}}
	t1.Add(words, "1")
	line := strings.TrimSpace(strings.Repeat("abcdefghi ", 6))
	want := "a" + strings.Repeat(" ", 58) + "  b\n" + strings.Repeat("-", 59) + "  -\n" + line + "  1\n" + line + "\nabcdefghi\n"
	if got := t1.String(); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestMarkdown(t *testing.T) {
	want := `**Heights \<of\> "beds"**

| stage | height \[cm\] |
| --- | ---: |
| settled | 20.16 |
| packed; at µ | 18.0 |
| a\|b \*c\* \<script\> |  |
`
	if got := sample().Markdown(); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestTooManyCells(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("a row with more cells than columns passed")
		}
	}()
	_ = Table{Columns: []Column{{Name: "a"}}, Rows: [][]string{{"1", "2"}}}.String()
}

// wellFormed reads the block with the line break closed, as XML would want it.
func wellFormed(t *testing.T, s string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(strings.ReplaceAll(s, "<br>", "<br/>")))
	for {
		if _, err := d.Token(); err == io.EOF {
			return
		} else if err != nil {
			t.Fatalf("%v in\n%.2000s", err, s)
		}
	}
}

// A note stands below the rows, and alone where there are none.
func TestNote(t *testing.T) {
	some := sample()
	some.Note = "Measured <twice>."
	none := Table{Caption: "Result", Columns: some.Columns, Note: "No result: no *peak*."}
	for _, tc := range []struct {
		got, want string
	}{
		{some.String(), "a|b *c* <script>\nMeasured <twice>.\n"},
		{some.Markdown(), "|  |\n\nMeasured \\<twice\\>.\n"},
		{some.HTML(), "Measured &lt;twice&gt;.</td></tr></tfoot>\n</table>\n"},
		{none.String(), "Result\nNo result: no *peak*.\n"},
		{none.Markdown(), "**Result**\n\nNo result: no \\*peak\\*.\n"},
	} {
		if !strings.HasSuffix(tc.got, tc.want) {
			t.Errorf("%q does not end in %q", tc.got, tc.want)
		}
	}
	wellFormed(t, some.HTML())
	wellFormed(t, none.HTML())
	if strings.Contains(none.HTML(), "<thead") {
		t.Error("heads without rows")
	}
}

// large has a number in each cell that tells its place.
func large(rows, columns int, cell string) Table {
	t := Table{Caption: "large", Note: "Its note."}
	for j := range columns {
		t.Columns = append(t.Columns, Column{Name: fmt.Sprintf("c%d", j), Right: true})
	}
	for i := range rows {
		row := make([]string, columns)
		for j := range row {
			row[j] = fmt.Sprintf("r%dc%d%s", i, j, cell)
		}
		t.Add(row...)
	}
	return t
}

func TestLargeTablesAreAbridged(t *testing.T) {
	for _, tc := range []struct {
		rows, columns int
		seen, not     []string
		counted       bool
		lines, cells  int
	}{
		{60, 20, []string{"r0c0", "r59c19", "r40c13"}, []string{"…"}, false, 60, 20},
		{61, 3, []string{"r0c0", "r39c0", "r41c2", "r60c2"}, []string{"r40c"}, true, 61, 3},
		{5000, 3, []string{"r39c1", "r4980c0", "r4999c2"}, []string{"r40c", "r4979c"}, true, 61, 3},
		{2, 21, []string{"r0c0", "r0c12", "r0c14", "r1c20"}, []string{"c13"}, true, 2, 20},
		{2, 500, []string{"r0c12", "r1c493", "r1c499"}, []string{"c13", "c492"}, true, 2, 20},
	} {
		big := large(tc.rows, tc.columns, " ")
		for form, got := range map[string]string{"HTML": big.HTML(), "Markdown": big.Markdown(), "text": big.String()} {
			name := fmt.Sprintf("%d × %d, %s", tc.rows, tc.columns, form)
			for _, want := range tc.seen {
				if !strings.Contains(got, want) {
					t.Errorf("%s: no %s", name, want)
				}
			}
			for _, not := range tc.not {
				if strings.Contains(got, not) {
					t.Errorf("%s: %s is shown", name, not)
				}
			}
			count := fmt.Sprintf("… %d rows × %d columns. Its note.", tc.rows, tc.columns)
			if strings.Contains(got, count) != tc.counted {
				t.Errorf("%s: counted %v, want %v", name, !tc.counted, tc.counted)
			}
		}
		if n := strings.Count(big.HTML(), "<td style=\"text-align:right"); n != tc.lines*tc.cells {
			t.Errorf("%d × %d: %d cells, want %d", tc.rows, tc.columns, n, tc.lines*tc.cells)
		}
		if len(big.Rows) != tc.rows || len(big.Columns) != tc.columns || big.Note != "Its note." {
			t.Errorf("%d × %d: showing changed the table", tc.rows, tc.columns)
		}
	}
	empty := Table{Columns: []Column{{Name: "a"}}}
	empty.Add()
	empty.Add("x")
	if got := empty.String(); strings.Contains(got, "…") {
		t.Errorf("a row without cells became a gap: %s", got)
	}
}

// Whatever is in it, a table has at most 256 KiB in each form.
func TestBounded(t *testing.T) {
	for name, big := range map[string]Table{
		"long cells": large(100, 30, strings.Repeat(" <&\"é", 1000)),
		"one cell":   large(1, 1, strings.Repeat("\"", 2_000_000)),
		"lines":      large(3, 3, strings.Repeat("\n", 100_000)),
		"caption":    {Caption: strings.Repeat("<", 1_000_000), Note: strings.Repeat(">", 1_000_000)},
	} {
		got := big.HTML()
		wellFormed(t, got)
		for form, text := range map[string]string{"HTML": got, "Markdown": big.Markdown(), "text": big.String()} {
			if len(text) > 256<<10 {
				t.Errorf("%s: %s has %d bytes", name, form, len(text))
			}
		}
	}
}

// Colours come from the page around, whichever its theme.
func TestHTMLKeepsThePagesColours(t *testing.T) {
	got := large(100, 30, "").HTML()
	for _, not := range []string{"color:#", "background", "white", "black", "<script", "onclick", "http"} {
		if strings.Contains(got, not) {
			t.Errorf("%s is in the table", not)
		}
	}
}
