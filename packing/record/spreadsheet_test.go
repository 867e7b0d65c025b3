package record

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/units"
)

// What a spreadsheet program's export dialog writes reads without an option.
// The numbers are those typed into the sheet, or as its cells show them.
func TestSpreadsheetExports(t *testing.T) {
	held := map[string][]float64{
		"Time": {0, 0.125, 0.25, 10.5}, "UV": {2.5, 1299.75, 12345.5, 3}, "Temperature": {20.125, 20.25, -0.375, 21},
	}
	shown := map[string][]float64{
		"Time": {0, 0.13, 0.25, 10.5}, "UV": {2.5, 1299.8, 12345.5, 3}, "Temperature": {20.13, 20.25, -0.38, 21},
	}
	files := map[string]map[string][]float64{
		"utf8_comma_raw.csv":        held,
		"utf8_comma_shown.csv":      shown,
		"utf8_tab_shown.csv":        shown,
		"utf8_texts_quoted.csv":     shown,
		"utf8_bar_raw.csv":          held,
		"utf16_tab_raw.csv":         held,
		"utf8_semicolon_shown.csv":  shown,
		"utf8_comma_comma.csv":      shown,
		"windows1252_semicolon.csv": held,
		"workbook.xlsx":             held,
	}
	for name, want := range files {
		r, err := Read(filepath.Join("testdata", "spreadsheet", name))
		if err != nil {
			t.Error(err)
			continue
		}
		if len(r.Columns) != 3 {
			t.Errorf("%s: %d columns of numbers", name, len(r.Columns))
		}
		for column, unit := range map[string]string{"Time": "min", "UV": "mAU", "Temperature": "°C"} {
			c, err := r.Column(column)
			if err != nil || c.Unit != unit || !slices.Equal(c.Values, want[column]) {
				t.Errorf("%s: %s is %v %q, want %v %q (%v)", name, column, c.Values, c.Unit, want[column], unit, err)
			}
		}
		if len(r.Preamble) != 1 || r.Preamble[0].Value != "Invented run of column 04, 21 °C" {
			t.Errorf("%s: preamble %+v", name, r.Preamble)
		}
		if len(r.Events) != 2 || r.Events[0].Text != "load; slow, by hand" || r.Events[1].Text != "wash" ||
			r.Events[1].Time() != 0.25*units.Minute {
			t.Errorf("%s: events %v", name, r.Events)
		}
	}
}

// A spreadsheet that saves "CSV UTF-8" puts a byte order mark first and ends lines
// with CR and LF. Both change nothing but what the report says of them, even if the
// first cell is quoted.
func TestSpreadsheetByteOrderMark(t *testing.T) {
	files, err := filepath.Glob("testdata/spreadsheet/utf8_*.csv")
	if err != nil || len(files) < 6 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, path := range files {
		plain, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		want, err := Parse(path, plain)
		if err != nil {
			t.Error(err)
			continue
		}
		lines := bytes.ReplaceAll(bytes.ReplaceAll(plain, []byte("\r\n"), []byte("\n")), []byte("\n"), []byte("\r\n"))
		quoted := lines
		if end := bytes.IndexAny(lines, ";\t|"); lines[0] != '"' {
			quoted = slices.Concat([]byte(`"`), lines[:end], []byte(`"`), lines[end:])
		}
		for _, data := range [][]byte{lines, quoted} {
			r, err := Parse(path, slices.Concat([]byte("\xef\xbb\xbf"), data))
			if err != nil {
				t.Error(err)
				continue
			}
			sameRecord(t, path+" with byte order mark", r, want)
			if !strings.Contains(r.String(), "utf-8 with byte order mark") || !strings.Contains(r.String(), "CRLF") {
				t.Errorf("%s: the report does not tell of mark and line ends:\n%s", path, r)
			}
		}
	}
	// A header in the first line, the mark before a quote.
	r, err := Parse("bom.csv", []byte("\xef\xbb\xbf\"Time (min)\",\"UV (mAU)\"\r\n\"0\",\"1.5\"\r\n\"1\",\"2.5\"\r\n"))
	if err != nil {
		t.Fatal(err)
	}
	if uv, err := r.Column("UV"); err != nil || r.Columns[0].Name != "Time" || r.Columns[0].Unit != "min" || !slices.Equal(uv.Values, []float64{1.5, 2.5}) {
		t.Errorf("%+v, %v", r.Columns, err)
	}
}
