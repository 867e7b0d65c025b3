// Package sheet reads workbooks in the Office Open XML format (XLSX, ISO/IEC
// 29500): the values as they are stored, not as they are shown.
//
// The file is read as a stream, part by part. A row iterator of a spreadsheet
// library would be shorter, but the one tried hides the type and the style of a
// cell, which alone tell a date from a number, and ends without an error where
// a sheet is damaged.
//
//	Grids   the cells of the sheets
//	Read    and what they say as tables
package sheet

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"path"
	"strings"

	"github.com/evenbed/evenbed/packing/record/internal/markup"
	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// Options tell what to read.
type Options struct {
	Sheet string // the name of one sheet; empty reads all that are not hidden
	Limit int64  // bytes that the file may unpack to; 0 is 2 GiB

	Meter *source.Meter // is told how far reading is; may be nil
}

// A Grid holds the cells of one sheet as text: rows by line feeds, cells by
// tabs, every row of equal width, numbers with all their digits and a point.
// Line n is row n of the sheet; empty rows at the end are left out.
type Grid struct {
	Name          string
	Text          []byte
	Rows, Width   int
	Numbers       int    // cells that hold numbers
	Dates         int    // cells that hold moments, written 2006-01-02 15:04:05.000
	Clocks        int    // cells that hold a time without a date, written 15:04:05.000
	Percents      int    // cells that show a share as a percentage, written as shown: 12.5%
	NumbersAsText int    // cells that hold text which is a number
	CommaNumbers  int    // of these, the ones with a decimal comma, turned into a point
	FirstAsText   string // the name of the first such cell
	Merged        int    // merged ranges; their text stands in their first cell
}

const (
	maxParts = 10000    // in the archive
	bombSize = 16 << 20 // a part is suspicious from this size ...
	bombRate = 100      // ... when it unpacks to more than this many times itself
)

// Grids returns the cells of the sheets that the options ask for, and what was
// understood of the workbook.
func Grids(data []byte, o Options) ([]Grid, []source.Fact, error) {
	if o.Limit == 0 {
		o.Limit = 2 << 30
	}
	if len(data) >= 8 && string(data[:8]) == "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" {
		return nil, nil, source.Error{Problem: "this is an old binary workbook (.xls) or one with a password, neither of which is supported", Remedy: "save it without a password as .xlsx or as text (CSV)"}
	}
	b, err := openBook(data, o)
	if err != nil {
		return nil, nil, err
	}
	facts := []source.Fact{{What: "format", Value: "workbook (XLSX), values as stored"}, {What: "date system", Value: b.dateSystem()}}
	var grids, about []Grid
	var hidden, names []string
	for _, s := range b.sheets {
		names = append(names, fmt.Sprintf("%q", s.name))
		if s.name == aboutSheet && o.Sheet != aboutSheet {
			g, err := b.read(s)
			if err != nil {
				return nil, nil, err
			}
			about = append(about, g)
			continue
		}
		if o.Sheet != "" && !strings.EqualFold(s.name, o.Sheet) {
			continue
		}
		if o.Sheet == "" && s.hidden {
			hidden = append(hidden, fmt.Sprintf("%q", s.name))
			continue
		}
		g, err := b.read(s)
		if err != nil {
			return nil, nil, err
		}
		grids = append(grids, g)
	}
	if len(grids) == 0 {
		problem := "it has no sheet to read"
		if o.Sheet != "" {
			problem = fmt.Sprintf("it has no sheet %q", o.Sheet)
		}
		return nil, nil, source.Error{Problem: problem, Remedy: "the sheets are " + strings.Join(names, ", ")}
	}
	if len(hidden) > 0 {
		facts = append(facts, source.Fact{What: "hidden sheets left out", Value: strings.Join(hidden, ", "), Override: `record.Options{Table: "name"}`})
	}
	return append(grids, about...), facts, nil
}

// A book is an opened workbook.
type book struct {
	parts   map[string]*zip.File // by name in small letters
	sheets  []sheetPart
	strings table
	styles  []style
	from04  bool // days are counted from 1904

	meter        *source.Meter
	size         int    // of the file
	total, taken uint64 // bytes unpacked: of all parts, and so far
}

type sheetPart struct {
	name, part string
	hidden     bool
}

func (b *book) dateSystem() string {
	if b.from04 {
		return "days from 1 January 1904"
	}
	return "days from 1900, with the 29 February 1900 that never was"
}

func damaged(place string, err error) error {
	if e, ok := err.(source.Error); ok {
		return e
	}
	return source.Error{Place: place, Problem: fmt.Sprintf("it cannot be read (%v)", err), Remedy: "the file is damaged or cut short: save or copy it again", Err: err}
}

func openBook(data []byte, o Options) (*book, error) {
	archive, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, damaged("archive", err)
	}
	b := &book{parts: map[string]*zip.File{}, meter: o.Meter, size: len(data)}
	if len(archive.File) > maxParts {
		return nil, source.Error{Place: "archive", Problem: fmt.Sprintf("%d parts are more than %d", len(archive.File), maxParts), Remedy: "this is no workbook of measurements"}
	}
	var total uint64
	for _, f := range archive.File {
		total += f.UncompressedSize64
		if f.UncompressedSize64 > uint64(o.Limit) || total > uint64(o.Limit) {
			return nil, source.Error{Place: fmt.Sprintf("part %q", f.Name), Problem: fmt.Sprintf("the file unpacks to more than %d MiB", o.Limit>>20), Remedy: "raise the limit if you trust the file", Err: nil}
		}
		if f.UncompressedSize64 > bombSize && f.UncompressedSize64/bombRate > f.CompressedSize64 {
			return nil, source.Error{Place: fmt.Sprintf("part %q", f.Name), Problem: fmt.Sprintf("it unpacks from %d bytes to %d, as files do that are made to fill the memory", f.CompressedSize64, f.UncompressedSize64), Remedy: "open it in a spreadsheet program and save the sheet as text (CSV)"}
		}
		b.parts[partName(f.Name)] = f
	}
	b.total = total
	main, err := b.mainPart()
	if err != nil {
		return nil, err
	}
	targets, err := b.relations(main)
	if err != nil {
		return nil, err
	}
	if err := b.workbook(main, targets); err != nil {
		return nil, err
	}
	for _, t := range targets {
		switch path.Base(t.kind) {
		case "sharedStrings":
			err = b.sharedStrings(t.part)
		case "styles":
			err = b.readStyles(t.part)
		}
		if err != nil {
			return nil, err
		}
	}
	return b, nil
}

// partName makes names of parts comparable: they are told apart without upper
// and lower case.
func partName(name string) string {
	return strings.ToLower(strings.TrimPrefix(strings.ReplaceAll(name, `\`, "/"), "/"))
}

// mainPart returns the name of the part that lists the sheets.
func (b *book) mainPart() (string, error) {
	roots, err := b.relations("")
	if err != nil {
		return "", err
	}
	for _, t := range roots {
		if path.Base(t.kind) == "officeDocument" && strings.HasSuffix(t.part, ".xml") && b.parts[t.part] != nil {
			return t.part, nil
		}
	}
	switch {
	case b.parts["xl/workbook.xml"] != nil:
		return "xl/workbook.xml", nil
	case b.parts["xl/workbook.bin"] != nil:
		return "", source.Error{Problem: "this is a binary workbook (.xlsb), which is not supported", Remedy: "save it as .xlsx or as text (CSV)"}
	case b.parts["content.xml"] != nil:
		return "", source.Error{Problem: "this is an OpenDocument file (.ods), which is not supported", Remedy: "save it as .xlsx or as text (CSV)"}
	}
	return "", source.Error{Place: "archive", Problem: "it holds no workbook", Remedy: "check that this is the file you meant"}
}

// A target is what a part refers to.
type target struct{ id, kind, part string }

// relations returns what a part refers to; "" asks for the whole file.
func (b *book) relations(part string) ([]target, error) {
	name := path.Join(path.Dir(part), "_rels", path.Base(part)+".rels")
	if part == "" {
		name = "_rels/.rels"
	}
	if b.parts[name] == nil {
		return nil, nil
	}
	var list []target
	err := b.walk(name, func(e markup.Element) error {
		if e.Name == "Relationship" && !e.End {
			t := target{id: e.Attribute("Id"), kind: e.Attribute("Type"), part: e.Attribute("Target")}
			if !strings.HasPrefix(t.part, "/") {
				t.part = path.Join(path.Dir(part), t.part)
			}
			t.part = partName(t.part)
			if list = append(list, t); len(list) > maxParts {
				return fmt.Errorf("more than %d relations", maxParts)
			}
		}
		return nil
	})
	return list, err
}

// workbook reads the list of sheets.
func (b *book) workbook(part string, targets []target) error {
	return b.walk(part, func(e markup.Element) error {
		switch {
		case e.End:
		case e.Name == "workbookPr":
			v := e.Attribute("date1904")
			b.from04 = v == "1" || v == "true"
		case e.Name == "sheet":
			for _, t := range targets {
				if t.id == e.Attribute("id") && path.Base(t.kind) == "worksheet" {
					b.sheets = append(b.sheets, sheetPart{name: e.Attribute("name"), part: t.part, hidden: strings.HasSuffix(strings.ToLower(e.Attribute("state")), "hidden")})
				}
			}
			if len(b.sheets) > maxParts {
				return fmt.Errorf("more than %d sheets", maxParts)
			}
		}
		return nil
	})
}

// open opens a part.
func (b *book) open(part string) (io.ReadCloser, error) {
	f := b.parts[part]
	if f == nil {
		return nil, source.Error{Place: fmt.Sprintf("part %q", part), Problem: "it is missing", Remedy: "the file is damaged or cut short: save or copy it again"}
	}
	r, err := f.Open()
	if err != nil {
		return nil, damaged(fmt.Sprintf("part %q", part), err)
	}
	return r, nil
}

// metered reads a part until the work shall stop.
type metered struct {
	r io.Reader
	b *book
}

func (m metered) Read(p []byte) (int, error) {
	n, err := m.r.Read(p)
	m.b.taken += uint64(n)
	share := float64(m.b.taken) / float64(max(m.b.total, 1))
	if stop := m.b.meter.At(int(share * float64(m.b.size))); stop != nil {
		return 0, stop
	}
	return n, err
}

// maxToken bounds a piece of XML; a cell has at most 32,767 characters.
const maxToken = 4 << 20

// walk goes through a part.
func (b *book) walk(part string, do func(markup.Element) error) error {
	r, err := b.open(part)
	if err != nil {
		return err
	}
	defer r.Close()
	return markup.Walk(metered{r, b}, fmt.Sprintf("part %q", part), maxToken, do)
}
