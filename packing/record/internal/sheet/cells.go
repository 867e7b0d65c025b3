package sheet

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/evenbed/evenbed/packing/record/internal/markup"
	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// What a sheet of the format has at most.
const (
	maxRows    = 1048576
	maxColumns = 16384
)

// A table holds the texts that cells share, in one piece.
type table struct {
	bytes []byte
	ends  []uint32 // of each text
}

func (t *table) get(i int) []byte {
	from := uint32(0)
	if i > 0 {
		from = t.ends[i-1]
	}
	return t.bytes[from:t.ends[i]]
}

// sharedStrings reads the texts. Guides to pronunciation (rPh) are left out.
func (b *book) sharedStrings(part string) error {
	guide := 0
	return b.walk(part, func(e markup.Element) error {
		switch {
		case e.Name == "rPh" && e.Text == nil:
			if e.End {
				guide--
			} else {
				guide++
			}
		case e.Name == "t" && e.Text != nil && guide == 0:
			if len(b.strings.bytes)+len(e.Text) > math.MaxUint32 {
				return errors.New("more than 4 GiB of text")
			}
			b.strings.bytes = append(b.strings.bytes, e.Text...)
		case e.Name == "si" && e.End:
			b.strings.ends = append(b.strings.ends, uint32(len(b.strings.bytes)))
		}
		return nil
	})
}

// A style tells what a number means.
type style uint8

const (
	plainNumber style = iota
	date              // a day, perhaps with a time
	clock             // a time without a day
	percent           // a share, shown a hundred times as large with a sign behind
)

// readStyles reads which cell formats show a date, a time or a percentage.
func (b *book) readStyles(part string) error {
	custom := map[string]style{}
	inside := false
	return b.walk(part, func(e markup.Element) error {
		switch {
		case e.Text != nil:
		case e.Name == "cellXfs":
			inside = !e.End
		case e.End:
		case e.Name == "numFmt":
			custom[e.Attribute("numFmtId")] = styleOf(e.Attribute("formatCode"))
		case e.Name == "xf" && inside:
			id := e.Attribute("numFmtId")
			s, ok := custom[id]
			if !ok {
				s = builtIn(id)
			}
			if b.styles = append(b.styles, s); len(b.styles) > 1<<16 {
				return errors.New("more than 65,536 cell formats")
			}
		}
		return nil
	})
}

// builtIn returns what the formats with fixed numbers show (ISO/IEC 29500-1,
// 18.8.30).
func builtIn(id string) style {
	n, _ := strconv.Atoi(id)
	switch {
	case n >= 14 && n <= 17, n == 22, n >= 27 && n <= 31, n == 36, n >= 50 && n <= 54, n >= 57 && n <= 58:
		return date
	case n >= 18 && n <= 21, n >= 32 && n <= 35, n >= 45 && n <= 47, n >= 55 && n <= 56:
		return clock
	case n == 9, n == 10:
		return percent
	}
	return plainNumber
}

// styleOf returns what a format code shows: letters of a date (y, d, or m
// without h and s) or only of a time, or the sign of a percentage, outside quotes and
// brackets.
func styleOf(code string) style {
	var letters strings.Builder
	code = strings.ToLower(code)
	for i := 0; i < len(code); i++ {
		switch c := code[i]; c {
		case '"':
			if n := strings.IndexByte(code[i+1:], '"'); n >= 0 {
				i += n + 1
			}
		case '\\', '_', '*':
			i++
		case '[':
			n := strings.IndexByte(code[i:], ']')
			if n < 0 {
				continue
			}
			if inner := code[i+1 : i+n]; strings.Trim(inner, "h") == "" || strings.Trim(inner, "m") == "" || strings.Trim(inner, "s") == "" {
				letters.WriteByte('h') // elapsed time
			}
			i += n
		case ';':
			i = len(code)
		default:
			letters.WriteByte(c)
		}
	}
	s := strings.NewReplacer("am/pm", "h", "a/p", "h", "general", "").Replace(letters.String())
	switch {
	case strings.ContainsAny(s, "yd"), strings.Contains(s, "m") && !strings.ContainsAny(s, "hs"):
		return date
	case strings.ContainsAny(s, "hs"):
		return clock
	case strings.Contains(s, "%"):
		return percent
	}
	return plainNumber
}

// A cell while it is read.
type cell struct {
	row, column int // from 1
	kind        string
	style       style
	value       []byte // what <v> or <is> holds
	formula     bool
}

func (c *cell) place(sheet string) string {
	return fmt.Sprintf("sheet %q, cell %s", sheet, cellName(c.row, c.column))
}

// cellName writes B12.
func cellName(row, column int) string {
	name := ""
	for ; column > 0; column = (column - 1) / 26 {
		name = string(rune('A'+(column-1)%26)) + name
	}
	return name + strconv.Itoa(row)
}

// parseName reads B12.
func parseName(s string) (row, column int, ok bool) {
	i := 0
	for ; i < len(s) && i < 4 && s[i]|0x20 >= 'a' && s[i]|0x20 <= 'z'; i++ {
		column = column*26 + int(s[i]|0x20-'a') + 1
	}
	row, err := strconv.Atoi(s[i:])
	return row, column, err == nil && i > 0 && row > 0 && row <= maxRows && column <= maxColumns
}

// A builder makes a grid while the sheet is read.
type builder struct {
	g      Grid
	b      *book
	raw    []byte // rows with as many cells as they have
	widths []int32
	row    int // the one being written, from 1
	column int // the next cell in it, from 1
	commas []int
	points int // texts that are numbers with a point
}

// read reads the cells of a sheet.
func (b *book) read(s sheetPart) (Grid, error) {
	w := &builder{b: b, g: Grid{Name: s.name}, row: 1, column: 1}
	var c cell
	row, column := 0, 0 // of the last cell, in the file
	guide := 0
	err := b.walk(s.part, func(e markup.Element) error {
		if e.Text != nil {
			if e.Name == "v" || e.Name == "t" && guide == 0 {
				c.value = append(c.value, e.Text...)
			}
			return nil
		}
		switch e.Name {
		case "rPh":
			if e.End {
				guide--
			} else {
				guide++
			}
		case "row":
			if e.End {
				return nil
			}
			row, column = row+1, 0
			if r := e.Attribute("r"); r != "" {
				n, err := strconv.Atoi(r)
				if err != nil || n < row || n > maxRows {
					return source.Error{Place: fmt.Sprintf("sheet %q, row %.20q", s.name, r), Problem: "rows stand in no order, or there are too many", Remedy: "open the file in a spreadsheet program and save it again"}
				}
				row = n
			}
		case "c":
			if e.End {
				return w.add(&c)
			}
			column++
			if name := e.Attribute("r"); name != "" {
				r, n, ok := parseName(name)
				if !ok || r != row || n < column {
					return source.Error{Place: fmt.Sprintf("sheet %q, row %d, cell %.20q", s.name, row, name), Problem: "cells stand in no order", Remedy: "open the file in a spreadsheet program and save it again"}
				}
				column = n
			}
			if row < 1 || column > maxColumns {
				return source.Error{Place: fmt.Sprintf("sheet %q, row %d", s.name, row), Problem: "a cell stands outside the sheet", Remedy: "open the file in a spreadsheet program and save it again"}
			}
			c = cell{row: row, column: column, kind: e.Attribute("t"), value: c.value[:0]}
			if n, err := strconv.Atoi(e.Attribute("s")); err == nil && n >= 0 && n < len(b.styles) {
				c.style = b.styles[n]
			}
		case "f":
			c.formula = true
		case "mergeCell":
			if !e.End {
				w.g.Merged++
			}
		}
		return nil
	})
	if err != nil {
		return Grid{}, err
	}
	return w.grid()
}

// add takes one cell.
func (w *builder) add(c *cell) error {
	refuse := func(problem, remedy string) error {
		return source.Error{Place: c.place(w.g.Name), Problem: problem, Remedy: remedy}
	}
	if len(c.value) == 0 && c.kind != "s" {
		if c.formula && c.kind != "str" {
			return refuse("it holds a formula without its result", "open the file in a spreadsheet program and save it again")
		}
		return nil
	}
	switch c.kind {
	case "e":
		if v := string(c.value); v != "#N/A" {
			return refuse(fmt.Sprintf("the result of the formula is an error, %.20s", v), "correct the formula or empty the cell, save the file and read it again")
		}
		w.put(c, c.value)
	case "b":
		w.g.Numbers++
		w.put(c, c.value)
	case "s":
		i, err := strconv.Atoi(string(bytes.TrimSpace(c.value)))
		if err != nil || i < 0 || i >= len(w.b.strings.ends) {
			return refuse(fmt.Sprintf("it asks for text %.20q of %d", c.value, len(w.b.strings.ends)), "the file is damaged: save or copy it again")
		}
		w.text(c, w.b.strings.get(i))
	case "str", "inlineStr":
		w.text(c, c.value)
	case "d":
		w.g.Dates++
		w.put(c, bytes.TrimSuffix(bytes.Replace(c.value, []byte("T"), []byte(" "), 1), []byte("Z")))
	case "", "n":
		v := bytes.TrimSpace(c.value)
		x, err := strconv.ParseFloat(string(v), 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			return refuse(fmt.Sprintf("%.40q is not a number", v), "the file is damaged: save or copy it again")
		}
		switch {
		case c.style == date && x >= 1:
			s, err := w.b.moment(x)
			if err != nil {
				return refuse(err.Error(), "correct the cell or give it a number format, save the file and read it again")
			}
			w.g.Dates++
			w.put(c, []byte(s))
		case c.style == percent:
			w.g.Percents++
			w.g.Numbers++
			w.put(c, []byte(hundredfold(x)+"%"))
		case c.style != plainNumber && x >= 0 && x < 1e6:
			w.g.Clocks++
			w.put(c, []byte(span(x)))
		case c.style == date:
			return refuse(fmt.Sprintf("%g is no day", x), "correct the cell or give it a number format, save the file and read it again")
		default:
			w.g.Numbers++
			w.put(c, v)
		}
	default:
		return refuse(fmt.Sprintf("its type %.20q is not known", c.kind), "open the file in a spreadsheet program and save it again")
	}
	return nil
}

// moment writes a day number as the date and time that the sheet shows, to the
// millisecond. It knows no time zone, as the sheet does not.
func (b *book) moment(days float64) (string, error) {
	first := time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)
	switch {
	case b.from04:
		first = time.Date(1904, 1, 1, 0, 0, 0, 0, time.UTC)
	case days >= 60 && days < 61:
		return "", errors.New("it shows 29 February 1900, a day that never was")
	case days < 60:
		first = time.Date(1899, 12, 31, 0, 0, 0, 0, time.UTC)
	}
	if days >= 2958466 {
		return "", fmt.Errorf("day %g is after the year 9999", days)
	}
	whole := math.Floor(days)
	t := first.AddDate(0, 0, int(whole)).Add(time.Duration(math.Round((days-whole)*86400e3)) * time.Millisecond)
	return t.Format("2006-01-02 15:04:05.000"), nil
}

// hundredfold writes a number times a hundred with the digits that it has.
func hundredfold(x float64) string {
	digits, exponent, _ := strings.Cut(strconv.FormatFloat(x, 'e', -1, 64), "e")
	n, _ := strconv.Atoi(exponent)
	v, err := strconv.ParseFloat(digits+"e"+strconv.Itoa(n+2), 64)
	if err != nil {
		v = 100 * x
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// span writes a number of days as hours, minutes and seconds.
func span(days float64) string {
	ms := int64(math.Round(days * 86400e3))
	return fmt.Sprintf("%02d:%02d:%02d.%03d", ms/3600000, ms/60000%60, ms/1000%60, ms%1000)
}

// text takes a text. One that is a number is counted; its decimal mark is
// settled when all are known.
func (w *builder) text(c *cell, s []byte) {
	s = bytes.TrimSpace(s)
	if len(s) == 0 {
		return
	}
	at := w.put(c, s)
	if comma, ok := numeric(s); ok && w.g.Name != aboutSheet { // which has texts alone
		if w.g.NumbersAsText++; w.g.NumbersAsText == 1 {
			w.g.FirstAsText = cellName(c.row, c.column)
		}
		if comma >= 0 {
			w.commas = append(w.commas, at+comma)
		} else if bytes.IndexByte(s, '.') >= 0 {
			w.points++
		}
	}
}

// numeric tells whether a text is a plain number, and where its comma is, -1 if
// it has none.
func numeric(s []byte) (comma int, ok bool) {
	comma = -1
	digits, points := 0, 0
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case c >= '0' && c <= '9':
			digits++
		case c == '.':
			points++
		case c == ',' && comma < 0:
			comma = i
		case (c == '+' || c == '-') && (i == 0 || s[i-1]|0x20 == 'e'):
		case c|0x20 == 'e' && digits > 0 && i+1 < len(s):
		default:
			return -1, false
		}
	}
	return comma, digits > 0 && (points == 0 || points == 1 && comma < 0)
}

// put writes a cell behind what is there, and returns where it begins.
func (w *builder) put(c *cell, s []byte) int {
	for w.row < c.row {
		w.endRow()
	}
	for ; w.column < c.column; w.column++ {
		w.raw = append(w.raw, '\t')
	}
	at := len(w.raw)
	for _, x := range s {
		switch x {
		case '\t', '\n', '\r':
			x = ' '
		}
		w.raw = append(w.raw, x)
	}
	w.g.Width = max(w.g.Width, c.column)
	return at
}

func (w *builder) endRow() {
	w.raw = append(w.raw, '\n')
	w.widths = append(w.widths, int32(w.column))
	w.row++
	w.column = 1
}

// grid ends the last row and makes all rows of equal width.
func (w *builder) grid() (Grid, error) {
	g := &w.g
	if g.Width == 0 {
		return *g, nil
	}
	w.endRow()
	g.Rows = len(w.widths)
	if err := w.settleCommas(); err != nil {
		return Grid{}, err
	}
	missing := 0
	for _, n := range w.widths {
		missing += g.Width - int(n)
	}
	// Padding may cost as much as the cells do, but a stray cell far out must
	// not fill the memory.
	if missing > 4*len(w.raw)+(16<<20) {
		return Grid{}, source.Error{Place: fmt.Sprintf("sheet %q", g.Name),
			Problem: fmt.Sprintf("it reaches to %s, but nearly all of it is empty", cellName(g.Rows, g.Width)),
			Remedy:  "delete what stands far out, or copy the table into a sheet of its own"}
	}
	g.Text = make([]byte, 0, len(w.raw)+missing)
	rest := w.raw
	for _, n := range w.widths {
		end := bytes.IndexByte(rest, '\n')
		line := rest[:end]
		rest = rest[end+1:]
		g.Text = append(g.Text, line...)
		// An empty row stays an empty line.
		for ; len(line) > 0 && int(n) < g.Width; n++ {
			g.Text = append(g.Text, '\t')
		}
		g.Text = append(g.Text, '\n')
	}
	return *g, nil
}

// settleCommas makes points of the commas in texts that are numbers. Where they
// could as well part the thousands, it asks.
func (w *builder) settleCommas() error {
	if len(w.commas) == 0 {
		return nil
	}
	clear := false
	for _, at := range w.commas {
		n := 0
		for at+1+n < len(w.raw) && w.raw[at+1+n] >= '0' && w.raw[at+1+n] <= '9' {
			n++
		}
		clear = clear || n != 3
	}
	if w.points > 0 || !clear {
		return source.Error{Place: fmt.Sprintf("sheet %q, cell %s", w.g.Name, w.g.FirstAsText),
			Problem: "numbers are stored as text, and their commas could be decimal marks or part the thousands",
			Remedy:  "make numbers of the texts in the spreadsheet program, save the file and read it again"}
	}
	for _, at := range w.commas {
		w.raw[at] = '.'
	}
	w.g.CommaNumbers = len(w.commas)
	return nil
}
