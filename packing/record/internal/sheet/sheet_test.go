package sheet

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"github.com/evenbed/evenbed/packing/record/internal/source"
	"github.com/evenbed/evenbed/packing/record/internal/text"
	"github.com/evenbed/evenbed/packing/task"
)

func load(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// The cells are those that testdata/make.py writes.
func TestGrids(t *testing.T) {
	for _, tc := range []struct {
		file, sheet string
		want        []string
		understood  string
	}{
		{"several.xlsx", "run", []string{"Run\n" +
			"Pulse test of column 04\t\t\t\n" +
			"\n" +
			"UV\t\tCond\t\n" +
			"min\tmAU\tmin\tmS/cm\n" +
			"0\t0.1\t0\t1.5\n" +
			"0.5\t0.3333333333333333\t1\t1.25\n" +
			"1\t1e-07\t\t\n"}, "numbers 10, dates 0, clocks 0, as text 0, commas 0, merged 3\n"},
		{"several.xlsx", "Log", []string{"Log\n" +
			"Time\tPressure [bar]\tAlarm\n" +
			"2024-03-01 08:30:00.000\t1.5\t1\n" +
			"2024-03-01 08:30:00.250\t1.75\t0\n" +
			"1900-02-28 00:00:00.000\t2\t\n"}, "numbers 4, dates 3, clocks 0, as text 1, commas 0, merged 0\n"},
		{"several.xlsx", "draft", []string{"Draft\n1\t2\n"}, "numbers 2, dates 0, clocks 0, as text 0, commas 0, merged 0\n"},
		{"days_from_1904.xlsx", "", []string{"Log\n" +
			"Date\tElapsed\tpH\n" +
			"2024-03-01 00:00:00.000\t25:00:01.500\t7.05\n" +
			"1904-01-02 00:00:00.000\t00:00:02.000\t7.1\n"}, "numbers 0, dates 2, clocks 2, as text 2, commas 2, merged 0\n"},
	} {
		grids, _, err := Grids(load(t, tc.file), Options{Sheet: tc.sheet})
		if err != nil {
			t.Errorf("%s: %v", tc.file, err)
			continue
		}
		var got []string
		understood := ""
		for _, g := range grids {
			got = append(got, g.Name+"\n"+string(g.Text))
			understood += fmt.Sprintf("numbers %d, dates %d, clocks %d, as text %d, commas %d, merged %d\n", g.Numbers, g.Dates, g.Clocks, g.NumbersAsText, g.CommaNumbers, g.Merged)
		}
		if fmt.Sprintf("%q", got) != fmt.Sprintf("%q", tc.want) || understood != tc.understood {
			t.Errorf("%s %s:\n got %q, %s\nwant %q, %s", tc.file, tc.sheet, got, understood, tc.want, tc.understood)
		}
	}
	grids, facts, err := Grids(load(t, "several.xlsx"), Options{})
	if err != nil || len(grids) != 3 || grids[2].Name != "Notes" {
		t.Errorf("%d sheets, %v; want all but the hidden one", len(grids), err)
	}
	if last := facts[len(facts)-1]; last.Value != `"Draft"` {
		t.Errorf("the hidden sheet is not told: %+v", facts)
	}
}

// packed makes an archive of names and contents.
func packed(t testing.TB, parts ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for i := 0; i < len(parts); i += 2 {
		f, err := w.Create(parts[i])
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(f, parts[i+1]); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

const (
	bookXML = `<workbook xmlns="m" xmlns:r="r"><sheets><sheet name="S" sheetId="1" r:id="a"/></sheets></workbook>`
	relsXML = `<Relationships><Relationship Id="a" Type="x/worksheet" Target="worksheets/one.xml"/>` +
		`<Relationship Id="b" Type="x/styles" Target="styles.xml"/><Relationship Id="c" Type="x/sharedStrings" Target="/xl/texts.xml"/></Relationships>`
	// Format 1 shows a date, 2 a date of its own, 3 minutes, 4 a number with units.
	stylesXML = `<styleSheet><numFmts><numFmt numFmtId="164" formatCode="dd\.mm\.yyyy"/><numFmt numFmtId="165" formatCode="0.0 &quot;days&quot;"/></numFmts>` +
		`<cellStyleXfs><xf numFmtId="14"/></cellStyleXfs><cellXfs><xf numFmtId="0"/><xf numFmtId="22"/><xf numFmtId="164"/><xf numFmtId="45"/><xf numFmtId="165"/></cellXfs></styleSheet>`
	textsXML = `<sst><si><t>one</t></si><si><r><t xml:space="preserve">tw</t></r><r><t>o </t></r><rPh><t>guide</t></rPh></si></sst>`
)

// workbook makes a workbook of one sheet from the XML of its cells.
func workbook(t testing.TB, cells string) []byte {
	return packed(t, "xl/workbook.xml", bookXML, "xl/_rels/workbook.xml.rels", relsXML, "xl/styles.xml", stylesXML, "xl/texts.xml", textsXML,
		"xl/worksheets/one.xml", "<worksheet><sheetData>"+cells+"</sheetData></worksheet>")
}

func TestCells(t *testing.T) {
	for _, tc := range []struct{ what, cells, want string }{
		{"no names of cells", `<row><c><v>1</v></c><c/><c><v>2</v></c></row><row><c><v>3</v></c></row>`, "1\t\t2\n3\t\t\n"},
		{"ragged", `<row r="2"><c r="B2"><v>1</v></c></row><row r="3"><c r="A3"><v>2</v></c></row>`, "\n\t1\n2\t\n"},
		{"styled and empty", `<row r="1"><c r="A1"><v>1</v></c><c r="XFD1" s="1"/></row><row r="1048576"><c r="A1048576" s="1"/></row>`, "1\n"},
		{"shared and inline texts", `<row><c t="s"><v>0</v></c><c t="s"><v>1</v></c><c t="inlineStr"><is><t>a&amp;b</t></is></c></row>`, "one\ttwo\ta&b\n"},
		{"tab and line feed in a text", "<row><c t=\"inlineStr\"><is><t>a\tb\nc</t></is></c></row>", "a b c\n"},
		{"all digits", `<row><c><v>0.1000000000000000055511151231257827</v></c><c><v>1E-3</v></c></row>`, "0.1000000000000000055511151231257827\t1E-3\n"},
		{"formula with its result", `<row><c><f>1+1</f><v>2</v></c><c t="str"><f>""</f><v></v></c></row>`, "2\n"},
		{"not available", `<row><c t="e"><v>#N/A</v></c><c t="b"><v>1</v></c></row>`, "#N/A\t1\n"},
		{"ISO date", `<row><c t="d"><v>2024-03-01T08:30:00Z</v></c></row>`, "2024-03-01 08:30:00\n"},
		// 45352 is 1 March 2024 in a spreadsheet program; 59 and 61 are the days
		// around the one that never was.
		{"dates", `<row><c s="1"><v>45352.5</v></c><c s="2"><v>59</v></c><c s="2"><v>61</v></c></row>`, "2024-03-01 12:00:00.000\t1900-02-28 00:00:00.000\t1900-03-01 00:00:00.000\n"},
		{"a millisecond before midnight", `<row><c s="1"><v>45352.99999999</v></c></row>`, "2024-03-01 23:59:59.999\n"},
		{"half a millisecond before midnight", `<row><c s="1"><v>45352.999999997</v></c></row>`, "2024-03-02 00:00:00.000\n"},
		{"minutes; a number with a word", `<row><c s="3"><v>0.0625</v></c><c s="4"><v>1.5</v></c></row>`, "01:30:00.000\t1.5\n"},
		{"empty", ``, ""},
	} {
		t.Run(tc.what, func(t *testing.T) {
			grids, _, err := Grids(workbook(t, tc.cells), Options{})
			if err != nil {
				t.Fatal(err)
			}
			if got := string(grids[0].Text); got != tc.want {
				t.Errorf("got %q, want %q", got, tc.want)
			}
		})
	}
}

func TestStyleOf(t *testing.T) {
	for code, want := range map[string]style{
		"General": plainNumber, "0.00": plainNumber, "0.00E+00": plainNumber, `0.0 "min"`: plainNumber, `[Red]-0.0;[Blue]0`: plainNumber, "#,##0 \\h": plainNumber,
		"yyyy-mm-dd": date, "mmm": date, "d/m/yy h:mm": date, "[$-409]dd mmmm": date,
		"h:mm": clock, "[h]:mm:ss": clock, "[mm]:ss.0": clock, "mm:ss.0": clock, "h AM/PM": clock,
	} {
		if got := styleOf(code); got != want {
			t.Errorf("%q shows %d, want %d", code, got, want)
		}
	}
}

func TestRefusals(t *testing.T) {
	good := workbook(t, `<row><c><v>1</v></c></row>`)
	bomb := packed(t, "xl/workbook.xml", bookXML, "xl/_rels/workbook.xml.rels", relsXML, "xl/worksheets/one.xml", strings.Repeat(" ", 64<<20))
	whole := load(t, "several.xlsx")
	for _, tc := range []struct {
		what string
		data []byte
		o    Options
		want string
	}{
		{"empty", nil, Options{}, "archive: it cannot be read"},
		{"old", []byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 and more"), Options{}, "old binary workbook"},
		{"binary", packed(t, "xl/workbook.bin", ""), Options{}, ".xlsb"},
		{"OpenDocument", packed(t, "content.xml", ""), Options{}, ".ods"},
		{"any archive", packed(t, "a.txt", "a"), Options{}, "it holds no workbook"},
		{"cut short", whole[:len(whole)-200], Options{}, "archive: it cannot be read"},
		{"no such sheet", good, Options{Sheet: "Run"}, `it has no sheet "Run"; the sheets are "S"`},
		{"missing part", packed(t, "xl/workbook.xml", bookXML, "xl/_rels/workbook.xml.rels", relsXML, "xl/styles.xml", stylesXML, "xl/texts.xml", textsXML), Options{}, `part "xl/worksheets/one.xml": it is missing`},
		{"formula error", workbook(t, `<row r="3"><c r="AB3" t="e"><f>1/0</f><v>#DIV/0!</v></c></row>`), Options{}, `sheet "S", cell AB3: the result of the formula is an error, #DIV/0!; correct`},
		{"formula without result", load(t, "bad_formula.xlsx"), Options{}, `sheet "Sum", cell B2: it holds a formula without its result`},
		{"29 February 1900", workbook(t, `<row><c s="1"><v>60.5</v></c></row>`), Options{}, "cell A1: it shows 29 February 1900"},
		{"day before the first", workbook(t, `<row><c s="1"><v>-1</v></c></row>`), Options{}, "cell A1: -1 is no day"},
		{"year 10000", workbook(t, `<row><c s="1"><v>2958466</v></c></row>`), Options{}, "after the year 9999"},
		{"no number", workbook(t, `<row><c><v>1,5</v></c></row>`), Options{}, `cell A1: "1,5" is not a number`},
		{"infinite", workbook(t, `<row><c><v>1e999</v></c></row>`), Options{}, `is not a number`},
		{"unknown text", workbook(t, `<row><c t="s"><v>2</v></c></row>`), Options{}, `asks for text "2" of 2`},
		{"unknown type", workbook(t, `<row><c t="q"><v>2</v></c></row>`), Options{}, `its type "q" is not known`},
		{"rows in no order", workbook(t, `<row r="2"/><row r="1"/>`), Options{}, "rows stand in no order"},
		{"too many rows", workbook(t, `<row r="1048577"/>`), Options{}, "too many"},
		{"cells in no order", workbook(t, `<row r="1"><c r="B1"/><c r="A1"/></row>`), Options{}, "cells stand in no order"},
		{"far out", workbook(t, `<row r="1"><c r="XFD1"><v>1</v></c></row>`+strings.Repeat(`<row><c><v>1</v></c></row>`, 3000)), Options{}, "it reaches to XFD3001, but nearly all of it is empty"},
		{"texts with commas", workbook(t, `<row><c t="str"><v>1,234</v></c></row>`), Options{}, "cell A1: numbers are stored as text, and their commas"},
		{"cut XML", workbook(t, `<row><c><v>1</v>`), Options{}, `part "xl/worksheets/one.xml": it cannot be read`},
		{"entities", packed(t, "xl/workbook.xml", `<!DOCTYPE a [<!ENTITY b "bbbbbbbb">]><workbook>&b;</workbook>`), Options{}, "it declares a document type"},
		{"unknown entity", workbook(t, `<row><c t="str"><v>&b;</v></c></row>`), Options{}, "invalid character entity"},
		{"deep", workbook(t, strings.Repeat("<a>", 1000)), Options{}, "more than 64 elements in each other"},
		{"one long text", packed(t, "xl/workbook.xml", `<workbook a="`+strings.Repeat("0123456789abcdef", 1<<19)+`"/>`), Options{}, "one piece of XML is longer than 4 MiB"},
		{"other encoding", packed(t, "xl/workbook.xml", `<?xml version="1.0" encoding="koi8-r"?><workbook/>`), Options{}, `"koi8-r" instead of UTF-8`},
		{"bomb", bomb, Options{}, "as files do that are made to fill the memory"},
		{"limit", whole, Options{Limit: 1000}, "the file unpacks to more than"},
	} {
		t.Run(tc.what, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			start := time.Now()
			_, _, err := Grids(tc.data, tc.o)
			took := time.Since(start)
			runtime.ReadMemStats(&after)
			var e source.Error
			if !errors.As(err, &e) || e.Problem == "" || e.Remedy == "" || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got %v, want %q and a remedy", err, tc.want)
			}
			if grown := after.TotalAlloc - before.TotalAlloc; grown > 64<<20 || took > 20*time.Second {
				t.Errorf("the refusal took %v and %d MiB", took, grown>>20)
			}
		})
	}
}

// A spreadsheet in which somebody coloured whole columns.
func TestStyledAndEmptyRows(t *testing.T) {
	var b strings.Builder
	b.WriteString(`<row r="1"><c r="A1"><v>1</v></c></row>`)
	const rows = 1000000
	for r := 2; r <= rows; r++ {
		fmt.Fprintf(&b, `<row r="%d"><c r="A%d" s="4"/><c r="B%d" s="4"/></row>`, r, r, r)
	}
	data := workbook(t, b.String())
	size := b.Len()
	b.Reset()
	var grids []Grid
	var err error
	start := time.Now()
	grown := peak(func() { grids, _, err = Grids(data, Options{}) })
	took := time.Since(start)
	if err != nil || string(grids[0].Text) != "1\n" {
		t.Fatalf("%v, %v", grids, err)
	}
	t.Logf("%d MB of XML in %v, heap grown by %d KiB", size>>20, took, grown>>10)
	if grown > 64<<20 || took > 60*time.Second {
		t.Errorf("took %v and %d MiB", took, grown>>20)
	}
}

// peak returns by how many bytes the heap grew at most while do ran.
func peak(do func()) int64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	before, most := m.HeapAlloc, m.HeapAlloc
	done := make(chan struct{})
	go func() {
		defer close(done)
		do()
	}()
	for {
		select {
		case <-done:
			return int64(most) - int64(before)
		case <-time.After(5 * time.Millisecond):
			runtime.ReadMemStats(&m)
			most = max(most, m.HeapAlloc)
		}
	}
}

// What another library writes reads back; it writes 15 digits.
func TestOtherWriter(t *testing.T) {
	f := excelize.NewFile()
	values := []float64{0, 1, -1.5, 0.333333333333333, 1e-300, 1.79769313486231e308, 5e-324, 123456789.123456}
	for i, v := range values {
		if err := f.SetCellValue("Sheet1", fmt.Sprintf("B%d", i+1), v); err != nil {
			t.Fatal(err)
		}
	}
	moment := time.Date(2024, 2, 29, 23, 59, 59, 0, time.UTC)
	for cell, v := range map[string]any{"A1": moment, "A2": "UV <280>", "A3": true} {
		if err := f.SetCellValue("Sheet1", cell, v); err != nil {
			t.Fatal(err)
		}
	}
	var b bytes.Buffer
	if _, err := f.WriteTo(&b); err != nil {
		t.Fatal(err)
	}
	grids, _, err := Grids(b.Bytes(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(string(grids[0].Text), "\n")
	for i, want := range values {
		first, second, _ := strings.Cut(lines[i], "\t")
		if got, err := strconv.ParseFloat(second, 64); err != nil || got != want {
			t.Errorf("row %d: %q, want %v", i+1, second, want)
		}
		if want := []string{"2024-02-29 23:59:59.000", "UV <280>", "1", "", "", "", "", ""}[i]; first != want {
			t.Errorf("row %d begins with %q, want %q", i+1, first, want)
		}
	}
}

// Reading stops when it is told to, within a sheet.
func TestStop(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	long := workbook(t, strings.Repeat("<row><c><v>1</v></c></row>", 10000))
	m := stopAfter{ctx, cancel}
	if _, _, err := Grids(long, Options{Meter: source.NewMeter(m, len(long))}); !errors.Is(err, context.Canceled) {
		t.Errorf("%v, want it stopped", err)
	}
}

// stopAfter is a monitor that stops work at its first progress.
type stopAfter struct {
	ctx  context.Context
	stop func()
}

func (s stopAfter) Context() context.Context  { return s.ctx }
func (s stopAfter) Progress(string, int, int) { s.stop() }

// spanned has the columns of numbers know their span.
func spanned(cols []source.Column) []source.Column {
	for i := range cols {
		if cols[i].Values != nil {
			cols[i].Span()
		}
	}
	return cols
}

// The numbers are those that testdata/make.py writes.
func TestRead(t *testing.T) {
	f, err := Read(load(t, "several.xlsx"), Options{Sheet: "Run"}, text.Options{}, task.Default())
	if err != nil {
		t.Fatal(err)
	}
	want := []source.Column{
		{Name: "UV time", Unit: "min", Values: []float64{0, 0.5, 1}, Axis: -1, Place: 1},
		{Name: "UV", Unit: "mAU", Values: []float64{0.1, 1.0 / 3, 1e-7}, Axis: 0, Place: 2},
		{Name: "Cond time", Unit: "min", Values: []float64{0, 1}, Axis: -1, Place: 3},
		{Name: "Cond", Unit: "mS/cm", Values: []float64{1.5, 1.25}, Axis: 2, Place: 4},
	}
	if len(f.Tables) != 1 || !reflect.DeepEqual(spanned(f.Tables[0].Columns), spanned(want)) {
		t.Errorf("got %+v\nwant %+v", f.Tables, want)
	}
	f, err = Read(load(t, "days_from_1904.xlsx"), Options{}, text.Options{}, task.Default())
	if err != nil {
		t.Fatal(err)
	}
	want = []source.Column{
		{Name: "Date", Times: []time.Time{time.Date(2024, 3, 1, 0, 0, 0, 0, time.UTC), time.Date(1904, 1, 2, 0, 0, 0, 0, time.UTC)}, Axis: -1, Place: 1},
		{Name: "Elapsed", Unit: "s", Values: []float64{90001.5, 2}, Axis: 0, Place: 2},
		{Name: "pH", Values: []float64{7.05, 7.1}, Axis: 0, Place: 3},
	}
	if len(f.Tables) != 1 || !reflect.DeepEqual(spanned(f.Tables[0].Columns), spanned(want)) {
		t.Errorf("got %+v\nwant %+v", f.Tables, want)
	}
	f, err = Read(load(t, "several.xlsx"), Options{}, text.Options{}, task.Default())
	if err != nil || len(f.Tables) != 2 || f.Tables[0].Name != "Run" || f.Tables[1].Name != "Log" {
		t.Errorf("all sheets: %+v, %v", f.Tables, err)
	}
	_, err = Read(workbook(t, `<row r="1"><c t="inlineStr"><is><t>Time</t></is></c></row><row r="5"><c><v>1</v></c><c><v>2</v></c></row>`), Options{}, text.Options{HeaderLine: 9}, task.Default())
	var e source.Error
	if !errors.As(err, &e) || !strings.HasPrefix(e.Place, `sheet "S"`) || e.Remedy == "" {
		t.Errorf("an error of the table: %v", err)
	}
	head := `<row r="1"><c t="inlineStr"><is><t>Time (min)</t></is></c><c t="inlineStr"><is><t>UV (mAU)</t></is></c></row>`
	want = []source.Column{{Name: "Time", Unit: "min", Values: []float64{}, Axis: -1, Place: 1}, {Name: "UV", Unit: "mAU", Values: []float64{}, Axis: 0, Place: 2}}
	f, err = Read(workbook(t, head), Options{}, text.Options{}, task.Default())
	if err != nil || !reflect.DeepEqual(spanned(f.Tables[0].Columns), spanned(want)) {
		t.Errorf("a header alone: %+v, %v", f.Tables, err)
	}
	_, err = Read(workbook(t, `<row r="1"><c t="inlineStr"><is><t>a remark</t></is></c></row>`), Options{}, text.Options{}, task.Default())
	if !errors.As(err, &e) || e.Problem != "there are no numbers in it" || e.Place != `sheet "S"` {
		t.Errorf("no table: %v", err)
	}
}

func FuzzGrids(f *testing.F) {
	for _, name := range []string{"several.xlsx", "days_from_1904.xlsx", "bad_formula.xlsx"} {
		f.Add(load(f, name))
	}
	f.Fuzz(func(t *testing.T, data []byte) { check(t, data) })
}

// FuzzSheet puts any XML into the place of the cells, which changes of a packed
// file seldom reach.
func FuzzSheet(f *testing.F) {
	f.Add(`<row r="1"><c r="A1" t="s"><v>0</v></c><c r="C1" s="1"><v>45352.5</v></c></row>`)
	f.Add(`<row><c t="str"><v>1,5</v></c><c t="e"><v>#N/A</v></c></row></sheetData><mergeCells><mergeCell ref="A1:B1"/></mergeCells><sheetData>`)
	f.Fuzz(func(t *testing.T, cells string) { check(t, workbook(t, cells)) })
}

func check(t *testing.T, data []byte) {
	grids, _, err := Grids(data, Options{Limit: 16 << 20})
	if err != nil {
		return
	}
	for _, g := range grids {
		lines := bytes.Split(g.Text, []byte{'\n'})
		if len(lines) != g.Rows+1 {
			t.Errorf("%d lines for %d rows", len(lines)-1, g.Rows)
		}
		for i, line := range lines[:g.Rows] {
			if n := bytes.Count(line, []byte{'\t'}) + 1; len(line) > 0 && n != g.Width {
				t.Errorf("row %d has %d cells of %d", i+1, n, g.Width)
			}
		}
	}
}

// What Write cannot put into a workbook, and what spreadsheets make of texts.
func TestWrite(t *testing.T) {
	for _, tc := range []struct {
		c    source.Column
		want string
	}{
		{source.Column{Name: "a", Values: make([]float64, maxRows)}, "1048576 rows and 1 columns; a sheet has room for 1048575 rows below the names and 16384 columns; write it as .parquet or .csv, or write a part: Within"},
		{source.Column{Name: "a", Texts: []string{"b", strings.Repeat("x", maxCellText+1)}}, "cell A3: a text of 32768 characters, and a cell has room for 32767"},
		{source.Column{Name: "a", Values: []float64{math.Inf(-1)}}, "cell A2: infinity"},
	} {
		err := Write(io.Discard, source.Table{Columns: []source.Column{tc.c}}, nil)
		var e source.Error
		if !errors.As(err, &e) || e.Remedy == "" || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%v, want %q", err, tc.want)
		}
	}
	var b bytes.Buffer
	day := time.Date(2026, 3, 9, 8, 30, 0, 250e6, time.UTC)
	if err := Write(&b, source.Table{Columns: []source.Column{{Name: "At", Times: []time.Time{day, {}}}, {Name: "Note", Texts: []string{"=1+1", "<b>\x01 "}}}}, nil); err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenReader(&b)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	// By hand: 46090 days from 30 December 1899, and 30600.25 s of 86400 s.
	if raw, err := f.GetCellValue(signalsSheet, "A2", excelize.Options{RawCellValue: true}); err != nil || !strings.HasPrefix(raw, "46090.35416956018") {
		t.Errorf("the moment is %q, %v", raw, err)
	}
	for cell, want := range map[string]string{"A1": "At", "A3": "", "B2": "=1+1", "B3": "<b>\ufffd "} {
		if got, err := f.GetCellValue(signalsSheet, cell); err != nil || got != want {
			t.Errorf("%s: %q, %v, want %q", cell, got, err, want)
		}
	}
	if formula, err := f.GetCellFormula(signalsSheet, "B2"); err != nil || formula != "" {
		t.Errorf("a text became the formula %q, %v", formula, err)
	}
}
