package sheet

import (
	"archive/zip"
	"bufio"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strconv"
	"time"
	"unicode/utf16"

	"github.com/evenbed/evenbed/packing/record/internal/source"
	"github.com/evenbed/evenbed/packing/record/internal/text"
)

const (
	signalsSheet = "Signals"
	aboutSheet   = "About this record" // with what is no column: Read takes it from there
	maxCellText  = 32767
)

// What stands in the first column of the sheet about the record.
const (
	preamblePart = "preamble"
	notesPart    = "notes"
)

// parts are those of a workbook beside its sheets. Cells of style 1 are moments,
// those of style 2 bold.
var parts = []struct{ name, content string }{
	{"[Content_Types].xml", `<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" ContentType="application/xml"/>` +
		`<Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/><Override PartName="/xl/styles.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml"/>` +
		`<Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/><Override PartName="/xl/worksheets/sheet2.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>`},
	{"_rels/.rels", `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="` + relation + `officeDocument" Target="xl/workbook.xml"/></Relationships>`},
	{"xl/workbook.xml", `<workbook xmlns="` + main + `" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="` + signalsSheet + `" sheetId="1" r:id="rId1"/><sheet name="` + aboutSheet + `" sheetId="2" r:id="rId2"/></sheets></workbook>`},
	{"xl/_rels/workbook.xml.rels", `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="` + relation + `worksheet" Target="worksheets/sheet1.xml"/>` +
		`<Relationship Id="rId2" Type="` + relation + `worksheet" Target="worksheets/sheet2.xml"/><Relationship Id="rId3" Type="` + relation + `styles" Target="styles.xml"/></Relationships>`},
	{"xl/styles.xml", `<styleSheet xmlns="` + main + `"><numFmts count="1"><numFmt numFmtId="164" formatCode="yyyy\-mm\-dd\ hh:mm:ss.000"/></numFmts><fonts count="2"><font/><font><b/></font></fonts><fills count="2"><fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill></fills>` +
		`<borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs count="3"><xf xfId="0"/><xf numFmtId="164" xfId="0" applyNumberFormat="1"/><xf fontId="1" xfId="0" applyFont="1"/></cellXfs><cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>`},
}

const (
	relation = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/"
	main     = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
)

// Write writes a table as a workbook that Read reads back equal: a sheet of the
// columns below one row of names with units in brackets, and a sheet of preamble,
// notes and further rows for people. Numbers keep all digits; moments are dates of
// the sheet if they are whole milliseconds, texts after ISO 8601 otherwise; what
// is missing is an empty cell. Texts stay texts, whatever they begin with.
func Write(w io.Writer, t source.Table, further [][3]string) error {
	rows := 0
	for _, c := range t.Columns {
		rows = max(rows, len(c.Values), len(c.Texts), len(c.Times))
	}
	if rows >= maxRows || len(t.Columns) > maxColumns {
		return source.Error{Problem: fmt.Sprintf("%d rows and %d columns; a sheet has room for %d rows below the names and %d columns", rows, len(t.Columns), maxRows-1, maxColumns),
			Remedy: "write it as .parquet or .csv, or write a part: Within"}
	}
	z := zip.NewWriter(w)
	for _, p := range parts {
		f, err := z.Create(p.name)
		if err != nil {
			return err
		}
		if _, err := io.WriteString(f, xml.Header+p.content); err != nil {
			return err
		}
	}
	about := [][3]string{{"part of the record", "key", "value"}}
	for _, e := range t.Meta {
		about = append(about, [3]string{preamblePart, e.Key, e.Value})
	}
	for _, e := range t.Notes {
		about = append(about, [3]string{notesPart, e.Key, e.Value})
	}
	about = append(about, further...)
	if err := writeSheet(z, "xl/worksheets/sheet1.xml", rows+1, len(t.Columns), func(s *sheetWriter, i, j int) {
		if c := &t.Columns[j]; i == 0 {
			s.text(text.Heading(c.Name, c.Unit), 2)
		} else {
			s.value(c, i-1)
		}
	}); err != nil {
		return err
	}
	if err := writeSheet(z, "xl/worksheets/sheet2.xml", len(about), 3, func(s *sheetWriter, i, j int) {
		style := 0
		if i == 0 {
			style = 2
		}
		s.text(about[i][j], style)
	}); err != nil {
		return err
	}
	return z.Close()
}

// A sheetWriter writes cells one after the other.
type sheetWriter struct {
	*bufio.Writer
	row, column int // from 1
	buffer      []byte
	dates       map[*source.Column]bool
	err         error
}

// writeSheet writes a sheet whose first row stays in sight.
func writeSheet(z *zip.Writer, part string, rows, columns int, cell func(s *sheetWriter, i, j int)) error {
	f, err := z.Create(part)
	if err != nil {
		return err
	}
	s := &sheetWriter{Writer: bufio.NewWriterSize(f, 1<<16), dates: map[*source.Column]bool{}}
	s.WriteString(xml.Header + `<worksheet xmlns="` + main + `"><dimension ref="A1:` + cellName(max(rows, 1), max(columns, 1)) + `"/><sheetViews><sheetView workbookViewId="0"><pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/></sheetView></sheetViews><sheetFormatPr defaultRowHeight="15"/>` +
		fmt.Sprintf(`<cols><col min="1" max="%d" width="22" customWidth="1"/></cols><sheetData>`, max(columns, 1)))
	for i := range rows {
		fmt.Fprintf(s, `<row r="%d">`, i+1)
		for j := range columns {
			s.row, s.column = i+1, j+1
			if cell(s, i, j); s.err != nil {
				return s.err
			}
		}
		if _, err := s.WriteString("</row>"); err != nil {
			return err
		}
	}
	s.WriteString("</sheetData></worksheet>")
	return s.Flush()
}

// text writes a cell of text; the empty text is none.
func (s *sheetWriter) text(v string, style int) {
	if n := len(utf16.Encode([]rune(v))); n > maxCellText {
		s.err = source.Error{Place: "cell " + cellName(s.row, s.column), Problem: fmt.Sprintf("a text of %d characters, and a cell has room for %d", n, maxCellText), Remedy: "write it as .parquet or .csv"}
	}
	if v == "" || s.err != nil {
		return
	}
	fmt.Fprintf(s, `<c r="%s" s="%d" t="inlineStr"><is><t xml:space="preserve">`, cellName(s.row, s.column), style)
	xml.EscapeText(s, []byte(v))
	s.WriteString("</t></is></c>")
}

// number writes a cell of a number.
func (s *sheetWriter) number(v float64, style int) {
	if math.IsInf(v, 0) {
		s.err = source.Error{Place: "cell " + cellName(s.row, s.column), Problem: "infinity, which a workbook cannot hold", Remedy: "write it as .parquet or .csv"}
		return
	}
	s.buffer = strconv.AppendFloat(s.buffer[:0], v, 'g', -1, 64)
	fmt.Fprintf(s, `<c r="%s" s="%d"><v>%s</v></c>`, cellName(s.row, s.column), style, s.buffer)
}

// value writes what stands in a row of a column, if there is something.
func (s *sheetWriter) value(c *source.Column, i int) {
	switch {
	case i < len(c.Values) && !math.IsNaN(c.Values[i]):
		s.number(c.Values[i], 0)
	case i < len(c.Texts):
		s.text(c.Texts[i], 0)
	case i < len(c.Times) && !c.Times[i].IsZero():
		dates, known := s.dates[c]
		if !known {
			dates = dateCells(c.Times)
			s.dates[c] = dates
		}
		if dates {
			s.number(float64(c.Times[i].Sub(dayZero).Milliseconds())/86_400_000, 1)
		} else {
			s.text(ISO(c.Times[i]), 0)
		}
	}
}

// dayZero is the day from which sheets count, for days from March 1900 on.
var dayZero = time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)

// dateCells tells whether moments can be dates of a sheet to the last digit.
func dateCells(times []time.Time) bool {
	for _, t := range times {
		if _, offset := t.Zone(); !t.IsZero() && (t.Nanosecond()%1e6 != 0 || t.Year() < 1901 || t.Year() > 2150 || offset != 0) {
			return false
		}
	}
	return true
}

// ISO writes a moment after ISO 8601, with its zone if it has one.
func ISO(t time.Time) string {
	form := "2006-01-02T15:04:05.999999999"
	if _, offset := t.Zone(); offset != 0 {
		form += "-07:00"
	}
	return t.Format(form)
}
