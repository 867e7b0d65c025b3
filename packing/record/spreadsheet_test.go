package record

import (
	"path/filepath"
	"slices"
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
