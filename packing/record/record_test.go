package record

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/unit"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

func read(t testing.TB, path string, options ...Options) Record {
	t.Helper()
	r, err := Read(path, options...)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestReadGolden(t *testing.T) {
	files, err := filepath.Glob("testdata/*")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, in := range files {
		if ext := filepath.Ext(in); ext != ".csv" && ext != ".txt" {
			continue
		}
		n++
		r, err := Read(in)
		got := r.String()
		if err != nil {
			got = err.Error() + "\n"
		}
		if refused := err != nil; refused != strings.HasPrefix(filepath.Base(in), "bad_") {
			t.Errorf("%s: refused %v: %v", in, refused, err)
		}
		golden := in + ".golden"
		if os.Getenv("UPDATE_GOLDEN") == "1" {
			if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(golden)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			t.Errorf("%s differs; UPDATE_GOLDEN=1 rewrites it\n--- got\n%s\n--- want\n%s", golden, got, want)
		}
	}
	if n < 20 {
		t.Errorf("only %d files", n)
	}
}

func TestErrorsTellThePlace(t *testing.T) {
	for _, tc := range []struct {
		file         string
		line, column int
		cause        error
	}{
		{"testdata/bad_text.csv", 6, 5, nil},
		{"testdata/bad_text_first_row.csv", 2, 5, nil},
		{"testdata/bad_mixed_decimals.csv", 3, 0, nil},
		{"testdata/bad_backwards.csv", 4, 0, nil},
		{"testdata/bad_short_row.csv", 3, 0, nil},
		{"testdata/bad_empty.csv", 0, 0, nil},
		{"testdata/not_there.csv", 0, 0, fs.ErrNotExist},
		{"testdata", 0, 0, nil},
	} {
		_, err := Read(tc.file)
		var e Error
		if !errors.As(err, &e) {
			t.Errorf("%s: %v is no record.Error", tc.file, err)
			continue
		}
		if e.File != tc.file || e.Line != tc.line || e.Column != tc.column || e.Remedy == "" {
			t.Errorf("%s: error at %s:%d:%d, remedy %q; want line %d, column %d", tc.file, e.File, e.Line, e.Column, e.Remedy, tc.line, tc.column)
		}
		if tc.cause != nil && !errors.Is(err, tc.cause) {
			t.Errorf("%s: %v does not keep its cause", tc.file, err)
		}
	}
	_, err := Read("testdata/bad_txt.csv")
	if err == nil || !strings.Contains(err.Error(), `did you mean "testdata/bad_text.csv"?`) {
		t.Errorf("misspelt file: %v", err)
	}
}

func TestForms(t *testing.T) {
	for _, tc := range []struct {
		file   string
		names  []string
		units  []string
		values [][]float64
	}{
		{"semicolon_comma_bom.csv", []string{"Time", "UV 280 nm", "Pressure"}, []string{"min", "mAU", "bar"},
			[][]float64{{0, 0.5, 1}, {1.5, 10.25, 3}, {0.2, 0.21, 0.2}}},
		{"tab_units_row.txt", []string{"Time", "UV", "Volume"}, []string{"min", "mAU", "L"},
			[][]float64{{0, 1, 2}, {0.1, 0.5, 0.2}, {0, 0.35, 0.71}}},
		{"quoted_decimal_comma.csv", []string{"Time, elapsed", "UV (280 nm)"}, []string{"s", "mAU"},
			[][]float64{{0, 10}, {1.5, 2.25}}},
		{"no_header.csv", []string{"column 1", "column 2"}, []string{"", ""},
			[][]float64{{0, 1, 2}, {1.5, 2.5, 0.5}}},
		{"odd_names_trailing.csv", []string{"Time", "UV", "UV 2", "column 4", "Odd"}, []string{"min", "mAU", "mAU", "", "furlong"},
			[][]float64{{0, 0.5, 1}, {1, 1, 2}, {2, 2, 2}, {3, 3, 3}, {4, 4, 4}}},
	} {
		r := read(t, "testdata/"+tc.file)
		for i, c := range r.Columns {
			if c.Name != tc.names[i] || c.Unit != tc.units[i] || !slices.Equal(c.Values, tc.values[i]) {
				t.Errorf("%s, column %d: %q (%s) %v, want %q (%s) %v", tc.file, i+1, c.Name, c.Unit, c.Values, tc.names[i], tc.units[i], tc.values[i])
			}
		}
		if len(r.Columns) != len(tc.names) {
			t.Errorf("%s: %d columns, want %d", tc.file, len(r.Columns), len(tc.names))
		}
	}
}

func TestPreamble(t *testing.T) {
	clock := parse(t, "Exported 2/3/2026 2:05 PM\nStart: 14:05:11\n\nTime (min),UV (mAU)\n0,1\n1,2\n", Options{})
	if want := []Entry{{"", "Exported 2/3/2026 2:05 PM", 1}, {"Start", "14:05:11", 2}}; !slices.Equal(clock.Preamble, want) {
		t.Errorf("preamble %v, want %v", clock.Preamble, want)
	}
	r := read(t, "../../testdata/column04-pulse.csv")
	if v, err := r.Lookup("bed height"); err != nil || v != "18.0 cm" {
		t.Errorf("bed height: %q, %v", v, err)
	}
	if _, err := r.Lookup("bed hight"); err == nil || !strings.Contains(err.Error(), `did you mean "Bed height"?`) {
		t.Errorf("misspelt key: %v", err)
	}
	tab := read(t, "testdata/tab_units_row.txt")
	if want := []Entry{{"Run", "invented", 1}, {"Flow", "21.2 L/h", 2}}; !slices.Equal(tab.Preamble, want) {
		t.Errorf("preamble %v, want %v", tab.Preamble, want)
	}
}

func TestSignal(t *testing.T) {
	r := read(t, "../../testdata/column04-pulse.csv")
	uv, err := r.Signal("uv")
	if err != nil {
		t.Fatal(err)
	}
	if uv.Name != "UV 280 nm" || uv.Unit != "mAU" || uv.Axis() != trace.Time || uv.Len() != 3001 || uv.Span() != trace.Times(0, 60*Minute) {
		t.Errorf("signal %v", uv)
	}
	byVolume, err := r.SignalAgainst("UV 280", "Volume")
	if err != nil {
		t.Fatal(err)
	}
	if byVolume.Axis() != trace.Volume || byVolume.Span() != trace.Volumes(0, 21.2*Litre) {
		t.Errorf("signal %v", byVolume)
	}
	gaps := read(t, "testdata/empty_cells.csv")
	c, err := gaps.Signal("cond")
	if err != nil || c.Len() != 3 {
		t.Errorf("signal with an empty cell: %v, %v", c, err)
	}
	for _, tc := range []struct {
		r      Record
		name   string
		want   string
		signal bool
	}{
		{r, "UW 280", `did you mean "UV 280 nm"?`, true},
		{r, "", `the columns are "Time", "Volume", "UV 280 nm", "Conductivity", "Pressure"`, true},
		{read(t, "testdata/odd_names_trailing.csv"), "U", `"U" fits several columns; write more of the name: "UV", "UV 2"`, true},
		{read(t, "testdata/no_header.csv"), "column 2", "no column of time or of volume", true},
		{r, "Time", "against itself", true},
	} {
		_, err := tc.r.Signal(tc.name)
		if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("signal %q: %v, want an error with %q", tc.name, err, tc.want)
		}
	}
	if uv, err := read(t, "testdata/odd_names_trailing.csv").Signal("uv"); err != nil || uv.Name != "UV" {
		t.Errorf("a whole name is not ambiguous: %v, %v", uv, err)
	}
}

func TestQuantities(t *testing.T) {
	r := read(t, "../../testdata/column04-curve.csv")
	u, err := r.Velocities("velocity")
	if err != nil || len(u) != 21 || math.Abs(u[0].In(CentimetrePerHour)-20) > 1e-12 {
		t.Errorf("velocities %v, %v", u, err)
	}
	h, err := r.Lengths("bed height")
	if err != nil || math.Abs(h[0].In(Centimetre)-19.95) > 1e-12 {
		t.Errorf("heights %v, %v", h, err)
	}
	p, err := r.Pressures("pressure")
	if err != nil || math.Abs(p[0].In(Bar)-0.015) > 1e-12 {
		t.Errorf("pressures %v, %v", p, err)
	}
	if _, err := r.Pressures("velocity"); err == nil || !strings.Contains(err.Error(), `"Velocity" is in cm/h, a unit of velocity, not of pressure`) {
		t.Errorf("wrong kind: %v", err)
	}
	bare := read(t, "testdata/no_header.csv")
	if _, err := bare.Times("column 1"); err == nil || !strings.Contains(err.Error(), `record.Options{Units: map[string]string{"column 1": "min"}}`) {
		t.Errorf("no unit: %v", err)
	}
	given := read(t, "testdata/no_header.csv", Options{Units: map[string]string{"column 1": "min", "column 2": "mL"}})
	tm, err := given.Times("column 1")
	if err != nil || tm[1] != Minute {
		t.Errorf("times %v, %v", tm, err)
	}
	v, err := given.Volumes("column 2")
	if err != nil || math.Abs(v[1].In(Millilitre)-2.5) > 1e-12 {
		t.Errorf("volumes %v, %v", v, err)
	}
	values, err := given.Values("column 2")
	if err != nil || !slices.Equal(values, []float64{1.5, 2.5, 0.5}) {
		t.Errorf("values %v, %v", values, err)
	}
	values[0] = 99
	if again, _ := given.Values("column 2"); again[0] != 1.5 {
		t.Error("Values hands out the record's own numbers")
	}
}

func TestUnits(t *testing.T) {
	// One of each unit, in SI; by definition of the units.
	for symbol, want := range map[string]float64{
		"ms": 1e-3, "s": 1, "min": 60, "h": 3600, "µL": 1e-9, "μL": 1e-9, "mL": 1e-6, "L": 1e-3, "m³": 1,
		"mL/min": 1e-6 / 60, "L/min": 1e-3 / 60, "L/h": 1e-3 / 3600, "cm/h": 0.01 / 3600, "cm/min": 0.01 / 60, "mm/s": 1e-3, "m/s": 1,
		"µm": 1e-6, "mm": 1e-3, "cm": 0.01, "m": 1, "Pa": 1, "kPa": 1e3, "MPa": 1e6, "mbar": 100, "bar": 1e5, "psi": 6894.757,
	} {
		if u, ok := unit.Of(symbol); !ok || math.Abs(u.One/want-1) > 1e-12 {
			t.Errorf("1 %s = %v in SI, want %v", symbol, u.One, want)
		}
	}
	for _, symbol := range []string{"", "mpa", "furlong", "M", "Min"} {
		if u, ok := unit.Of(symbol); ok {
			t.Errorf("%q is taken for a unit: %+v", symbol, u)
		}
	}
}

func TestOptions(t *testing.T) {
	found := read(t, "testdata/semicolon_comma_bom.csv")
	given := read(t, "testdata/semicolon_comma_bom.csv", Options{Separator: ";", Decimal: ",", HeaderLine: 1})
	if fmt.Sprint(found.Columns) != fmt.Sprint(given.Columns) {
		t.Errorf("found %v, given %v", found.Columns, given.Columns)
	}
	if want := `record.Read("testdata/semicolon_comma_bom.csv", record.Options{Separator: ";", Decimal: ",", `; !strings.HasPrefix(given.Report().Code, want) || given.Report().Code != found.Report().Code {
		t.Errorf("code %s and %s, want %s", found.Report().Code, given.Report().Code, want)
	}
	for _, tc := range []struct {
		o    Options
		want string
	}{
		{Options{Separator: "/"}, `separator "/"`},
		{Options{Decimal: "·"}, "decimal mark"},
		{Options{HeaderLine: 99}, "no rows of numbers"},
		{Options{HeaderLine: -2}, "negative line"},
		{Options{Units: map[string]string{"Time": "fortnight"}}, `unit "fortnight"`},
		{Options{Units: map[string]string{"Tim": "min", "Speed": "min"}}, `"Speed", which the file does not have`},
		{Options{Separator: "\t"}, "no rows of numbers"},
	} {
		_, err := Read("testdata/semicolon_comma_bom.csv", tc.o)
		if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%+v: %v, want an error with %q", tc.o, err, tc.want)
		}
	}
	if _, err := Read("testdata/no_header.csv", Options{}, Options{}); err == nil {
		t.Error("two sets of options were accepted")
	}
}

func TestFrame(t *testing.T) {
	f := read(t, "testdata/semicolon_comma_bom.csv").Frame()
	if f.Err != nil || f.Nrow() != 3 || !slices.Equal(f.Names(), []string{"Time (min)", "UV 280 nm (mAU)", "Pressure (bar)"}) {
		t.Fatalf("frame %v", f)
	}
	if got := f.Col("UV 280 nm (mAU)").Float(); !slices.Equal(got, []float64{1.5, 10.25, 3}) {
		t.Errorf("column %v", got)
	}
}

func TestReportEscapes(t *testing.T) {
	r := read(t, "testdata/html_in_names.csv")
	for name, text := range map[string]string{"record": r.Page().HTML(), "report": r.Report().Page().HTML()} {
		if strings.Contains(text, "<script>") || strings.Contains(text, "<b>") || !strings.Contains(text, "&lt;script&gt;") {
			t.Errorf("%s does not escape the file's text:\n%s", name, text)
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, pattern := range []string{"testdata/*.csv", "testdata/*.txt", "../../testdata/export-*"} {
		files, err := filepath.Glob(pattern)
		if err != nil {
			f.Fatal(err)
		}
		for _, in := range files {
			data, err := os.ReadFile(in)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(data)
		}
	}
	f.Add(gzipped(f, []byte(small)))
	f.Add(zipped(f, "a.csv", small))
	f.Add(zipped(f, "a.csv", small, "b.csv", small))
	f.Fuzz(func(t *testing.T, data []byte) {
		limits := Options{MaxBytes: 1 << 20}
		r, err := Parse("fuzz.csv", bytes.Clone(data), limits)
		if err != nil {
			if e := (Error{}); !errors.As(err, &e) || e.Remedy == "" {
				t.Errorf("%v tells no remedy", err)
			}
			return
		}
		for _, c := range r.Columns {
			if c.Name == "" || (c.Values == nil) == (c.Texts == nil) {
				t.Errorf("column %q with %d numbers and %d words", c.Name, len(c.Values), len(c.Texts))
			}
			if c.Axis == "" {
				continue
			}
			if a, err := r.Column(c.Axis); err != nil || a.len() != c.len() {
				t.Errorf("column %q with %d rows against %q with %d: %v", c.Name, c.len(), a.Name, a.len(), err)
			}
		}
		again, err := Parse("fuzz.csv", data, options(t, r.Report().Code))
		if err != nil {
			t.Fatalf("not the same again: %s: %v", r.Report().Code, err)
		}
		sameRecord(t, r.Report().Code, again, r)
		_, _ = r.Page().HTML(), r.Frame()
	})
}

func BenchmarkRead(b *testing.B) {
	data, err := os.ReadFile("../../testdata/column04-pulse.csv")
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := Parse("column04-pulse.csv", data); err != nil {
			b.Fatal(err)
		}
	}
}

// The report of a column tells of its own numbers, also where rows were put in
// order or made fewer, and of none where there are words.
func TestReportOfColumns(t *testing.T) {
	for _, tc := range []struct {
		name, text string
		clock      Clock
		want       []ColumnReport // by hand
	}{
		{"words", "UV (mAU),Pressure (bar),Vial\n2,1,a\n-1,1,b\n,1,c\n1,1,d\n", 0, []ColumnReport{
			{Rows: 4, Missing: 1, First: 2, Last: 1, Least: -1, Largest: 2},
			{Rows: 4, First: 1, Last: 1, Least: 1, Largest: 1},
			{Rows: 4, First: math.NaN(), Last: math.NaN(), Least: math.NaN(), Largest: math.NaN()}}},
		{"sorted", "Time (min),UV (mAU)\n2,5\n0,7\n1,\n3,6\n", SortRows, []ColumnReport{
			{Rows: 4, First: 0, Last: 3, Least: 0, Largest: 3},
			{Rows: 4, Missing: 1, First: 7, Last: 6, Least: 5, Largest: 7}}},
		{"cut", "Time (min),UV (mAU)\n0,5\n1,7\n0,9\n2,8\n", CutAtReset, []ColumnReport{
			{Rows: 2, First: 0, Last: 1, Least: 0, Largest: 1},
			{Rows: 2, First: 5, Last: 7, Least: 5, Largest: 7}}},
		{"merged", "Time (min),UV (mAU)\n0,5\n1,7\n1,9\n2,8\n", MeanOfDuplicates, []ColumnReport{
			{Rows: 3, First: 0, Last: 2, Least: 0, Largest: 2},
			{Rows: 3, First: 5, Last: 8, Least: 5, Largest: 8}}},
		{"without position", "Time (min),UV (mAU)\n0,5\n,70\n1,9\n2,8\n", 0, []ColumnReport{
			{Rows: 3, First: 0, Last: 2, Least: 0, Largest: 2},
			{Rows: 3, First: 5, Last: 8, Least: 5, Largest: 9}}},
	} {
		r, err := Parse(tc.name, []byte(tc.text), Options{Clock: tc.clock})
		if err != nil {
			t.Error(err)
			continue
		}
		for i, c := range r.Report().Columns {
			w := tc.want[i]
			if c.Rows != w.Rows || c.Missing != w.Missing || !equal([]float64{c.First, c.Last, c.Least, c.Largest}, []float64{w.First, w.Last, w.Least, w.Largest}) {
				t.Errorf("%s: column %d: %+v, want %+v", tc.name, i+1, c, w)
			}
		}
	}
}

// TestElementsShow: a column and where a record comes from show in words.
func TestElementsShow(t *testing.T) {
	for _, tc := range []struct {
		c    Column
		want string
	}{
		{Column{Name: "UV", Unit: "mAU", Axis: "time", Values: []float64{3, math.NaN(), 1}}, `"UV" in mAU against time: 2 values from 1 to 3, 1 missing`},
		{Column{Name: "remark", Texts: []string{"start"}}, `"remark": 1 text`},
	} {
		if got := tc.c.String(); got != tc.want {
			t.Errorf("%s, want %s", got, tc.want)
		}
	}
	if got := (Provenance{File: "a.zip", Member: "b.csv", Bytes: 12, SHA256: "ab"}).String(); got != "a.zip, in it b.csv, 12 bytes, SHA-256 ab" {
		t.Error(got)
	}
}
