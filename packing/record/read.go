package record

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"path/filepath"
	"runtime/debug"
	"slices"

	"github.com/evenbed/evenbed/packing/record/internal/animl"
	"github.com/evenbed/evenbed/packing/record/internal/columnar"
	"github.com/evenbed/evenbed/packing/record/internal/netcdf"
	"github.com/evenbed/evenbed/packing/record/internal/sheet"
	"github.com/evenbed/evenbed/packing/record/internal/source"
	"github.com/evenbed/evenbed/packing/record/internal/text"
	"github.com/evenbed/evenbed/packing/task"
	"github.com/evenbed/evenbed/packing/units"
)

// Options say what is known of a file. What is zero is found out, and the
// report says how.
type Options struct {
	// Member names the file in an archive that holds several.
	Member string
	// MaxBytes limits what a packed file may unpack to; zero means 2 GiB.
	MaxBytes int64
	// Table names the sheet or series of a file that holds several.
	Table string

	// Of delimited text, and from HeaderLine on of workbooks, too:

	Separator string // "," ";" "\t" " " (runs of blanks) "|" or "none" for one column
	Decimal   string // decimal mark: "." or ","
	Thousands string // mark between thousands: "," "." "'" " " or "none"
	Encoding  string // "utf-8", "utf-16le", "utf-16be" or "windows-1252"

	HeaderLine int // line with the columns' names, from 1; -1 if there is none
	HeaderRows int // rows from the names to the numbers; 2 for names and units
	DataLine   int // line of the first row
	LastLine   int // line of the last row; what follows goes to the notes

	DateOrder  string   // "dmy", "mdy" or "ymd"
	TimeLayout string   // "hh:mm:ss", "mm:ss", "hh:mm" or a layout of package time
	Missing    []string // more markers for a value that is missing, words or numbers: "Bad", "-9999"
	Comment    string   // what begins a line of comment; "#" if empty, "none" for no comments

	DropBadRows bool // leave out rows that do not fit the table or are shifted by a cell, and report them

	// Of any format:

	// Units gives columns their unit, in place of the file's: {"Time": "min"}. Of a
	// text, a heading named whole is the name of its column: {"Flow mL/min": "L/h"}.
	Units map[string]string
	// Axis names the column that the others run against.
	Axis string
	// SignalColumn names the column whose words name the signals, where rows of
	// several signals stand below each other.
	SignalColumn string
	// Status "none" takes no column for the status of another's values, "words" those
	// that are found. Bad values are then missing, and the status of each is kept.
	Status string
	// ColumnVolume is the size of one CV, for an axis in column volumes.
	ColumnVolume units.Volume
	// Clock says what to do with rows whose position repeats or runs backwards.
	Clock Clock
	// Run chooses the run to keep with CutAtReset, from 1; zero is the first.
	Run int
}

// Read reads an export. The format is told by the content, never by the name:
//
//   - delimited text in any of its forms
//   - workbooks (.xlsx)
//   - chromatography data on netCDF classic (ASTM E1947)
//   - AnIML
//   - Parquet and Arrow files
//   - each of them packed with gzip or zip
//
// Errors are of type [Error] and tell file, place and remedy. Reading can be
// interrupted; a file of more than 50 MB shows how far it is.
func Read(path string, options ...Options) (Record, error) {
	o, err := one(path, options)
	if err != nil {
		return Record{}, err
	}
	c, err := openFile(path)
	if err != nil {
		return Record{}, err
	}
	defer c.close()
	r, err := o.readOpen(path, c)
	if err != nil && len(c.data) > quietUpTo {
		debug.FreeOSMemory() // what a long read had gathered is garbage now, and may be much
	}
	return r, err
}

// readOpen reads a file that is open, and may become shorter at any moment.
func (o Options) readOpen(path string, c content) (r Record, err error) {
	if fault := source.Guarded(c.data, func() { r, err = o.read(path, c) }); fault != nil {
		return Record{}, located(path, fault)
	}
	return r, err
}

// Parse reads the bytes of an export; name stands for the file in messages.
// See [Read].
func Parse(name string, data []byte, options ...Options) (Record, error) {
	o, err := one(name, options)
	if err != nil {
		return Record{}, err
	}
	return o.read(name, content{data: data})
}

// one returns the options, or the error that there are several.
func one(name string, options []Options) (Options, error) {
	switch {
	case len(options) == 0:
		return Options{}, nil
	case len(options) > 1:
		return Options{}, Error{File: name, Problem: fmt.Sprintf("%d sets of options", len(options)), Remedy: "give one"}
	}
	o := options[0]
	wrong := func(problem, remedy string) (Options, error) {
		return Options{}, Error{File: name, Problem: problem, Remedy: remedy}
	}
	switch {
	case o.MaxBytes < 0:
		return wrong(fmt.Sprintf("a limit of %d bytes", o.MaxBytes), "give a positive one, or none for 2 GiB")
	case o.Clock < RefuseRows || o.Clock > AcrossSummerTime:
		return wrong("an unknown policy "+o.Clock.String(), "use one of record.KeepRows, SortRows, MeanOfDuplicates, LastOfDuplicates, CutAtReset, AcrossMidnight, AcrossSummerTime")
	case o.Run < 0:
		return wrong(fmt.Sprintf("run %d", o.Run), "count runs from 1")
	case o.Run > 0 && o.Clock != CutAtReset:
		return wrong(fmt.Sprintf("run %d without cutting", o.Run), "add Clock: record.CutAtReset")
	case o.Status != "" && o.Status != "none" && o.Status != "words":
		return wrong(fmt.Sprintf("status %q", o.Status), `use "none" or "words"`)
	case o.ColumnVolume < 0 || o.ColumnVolume-o.ColumnVolume != 0:
		return wrong(fmt.Sprintf("a column volume of %v", o.ColumnVolume), "give a positive one")
	}
	return o, nil
}

// quietUpTo is the size of a file up to which no progress is shown.
const quietUpTo = 50 << 20

// quiet is a monitor that stops work but shows nothing.
type quiet struct{ task.Monitor }

func (quiet) Progress(string, int, int) {}

func (o Options) read(name string, c content) (Record, error) {
	m := task.Default()
	if len(c.data) <= quietUpTo {
		m = quiet{m}
	}
	wait := digest(m.Context(), c.data)
	defer wait(true)
	r := Record{File: name, report: Report{Provenance: Provenance{File: filepath.Base(name), Bytes: int64(len(c.data)), Options: o}}}
	for depth := 0; ; depth++ {
		inner, member, err := unpack(name, c, o, m)
		if err != nil {
			return Record{}, err
		}
		if len(inner.data) == len(c.data) && (len(c.data) == 0 || &inner.data[0] == &c.data[0]) {
			break
		}
		defer inner.close()
		if depth == 2 {
			return Record{}, Error{File: name, Problem: "an archive in an archive in an archive", Remedy: "unpack it and read the file you need"}
		}
		r.report.Provenance.Member = member
		c = inner
		if len(c.data) > quietUpTo {
			m = task.Default()
		}
	}
	file, used, err := o.parse(c.data, m)
	if err != nil {
		return Record{}, located(name, err)
	}
	b := builder{name: name, options: o, used: used, record: &r, report: &r.report}
	if err := b.build(file); err != nil {
		return Record{}, err
	}
	if r.report.Provenance.SHA256, err = wait(false); err != nil {
		return Record{}, located(name, err)
	}
	r.report.Code, r.report.again = b.used.call(name), b.used
	return r, nil
}

// digest begins to take the SHA-256 of data, beside the reading of it. The
// function it returns waits for the end; called with true it has it given up.
// It must be called before the data go.
func digest(ctx context.Context, data []byte) func(giveUp bool) (string, error) {
	ctx, cancel := context.WithCancel(ctx)
	var sum string
	var err error
	done := make(chan struct{})
	go func() {
		defer close(done)
		h := sha256.New()
		fault := source.Guarded(data, func() {
			for part := range slices.Chunk(data, 1<<20) {
				if err = ctx.Err(); err != nil {
					return
				}
				h.Write(part)
			}
		})
		if err == nil {
			err = fault
		}
		sum = fmt.Sprintf("%x", h.Sum(nil))
	}()
	return func(giveUp bool) (string, error) {
		if giveUp {
			cancel()
		}
		<-done
		return sum, err
	}
}

// A signature is how files of one kind begin.
type signature struct{ begins, what, remedy string }

// unsupported are kinds of files that often lie beside exports.
var unsupported = []signature{
	{"\x89HDF\r\n\x1a\n", "HDF5 (netCDF-4 is one of its forms)", "save it as CSV, as Parquet, or as netCDF classic"},
	{"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an old binary office file, as .xls", "save it as .xlsx or as CSV"},
	{"FEA1", "the first Feather format", "save it as Parquet or as an Arrow file"},
	{"BZh", "a bzip2 file", "unpack it first"},
	{"\xfd7zXZ\x00", "an xz file", "unpack it first"},
	{"\x28\xb5\x2f\xfd", "a zstd file", "unpack it first"},
	{"7z\xbc\xaf\x27\x1c", "a 7z archive", "unpack it first"},
	{"Rar!\x1a\x07", "a RAR archive", "unpack it first"},
	{"SQLite format 3\x00", "an SQLite database", "export the table you need as CSV"},
	{"%PDF-", "a PDF document", "export the numbers themselves, as CSV"},
	{"\x89PNG\r\n\x1a\n", "a picture", "export the numbers themselves, as CSV"},
	{"\xff\xd8\xff", "a picture", "export the numbers themselves, as CSV"},
	{"\x7fELF", "a program", "give the path of an export"},
	{"MZ\x90\x00", "a program", "give the path of an export"},
}

// parse reads the bytes with the reader of their format. It returns the options
// with what the reader found out filled in.
func (o Options) parse(data []byte, m task.Monitor) (source.File, Options, error) {
	for _, s := range unsupported {
		if bytes.HasPrefix(data, []byte(s.begins)) {
			return source.File{}, o, source.Error{Problem: s.what + ", which is not supported", Remedy: s.remedy}
		}
	}
	meter := source.NewMeter(m, len(data))
	switch begins := func(s string) bool { return bytes.HasPrefix(data, []byte(s)) }; {
	case begins("CDF\x01"), begins("CDF\x02"), begins("CDF\x05"):
		d, err := netcdf.Read(data, meter)
		if err != nil {
			return source.File{}, o, err
		}
		f, err := netcdf.File(d, meter)
		return f, o, err
	case begins("PAR1"):
		f, err := columnar.Parquet(data, meter)
		return f, o, err
	case begins("ARROW1"), begins("\xff\xff\xff\xff"): // a file, a stream
		f, err := columnar.Arrow(data, meter)
		return f, o, err
	case begins("PK\x03\x04"): // unpack leaves workbooks alone
		f, err := sheet.Read(data, sheet.Options{Sheet: o.Table, Limit: o.limit(), Meter: meter}, o.text(), m)
		return f, o, err
	}
	if start := beginning(data); isXML(start) {
		if bytes.Contains(start, []byte("AnIML")) {
			f, err := animl.Read(data, meter)
			return f, o, err
		}
		return source.File{}, o, source.Error{Problem: "a web page or another XML file, which is not supported", Remedy: "save it as .xlsx or as CSV"}
	}
	r, err := text.ReadAll(data, o.text(), m)
	if err != nil {
		return source.File{}, o, err
	}
	u, used := r.Used, o
	used.Separator, used.Decimal, used.Thousands, used.Encoding = u.Separator, u.Decimal, u.Thousands, u.Encoding
	used.HeaderLine, used.HeaderRows, used.DataLine, used.LastLine = u.HeaderLine, u.HeaderRows, u.DataLine, u.LastLine
	used.DateOrder, used.TimeLayout, used.Missing, used.Comment = u.DateOrder, u.TimeLayout, u.Missing, u.Comment
	used.DropBadRows = u.DropBadRows
	return r.File, used, nil
}

// text returns the options that concern texts and sheets.
func (o Options) text() text.Options {
	return text.Options{
		Separator: o.Separator, Decimal: o.Decimal, Thousands: o.Thousands, Encoding: o.Encoding,
		HeaderLine: o.HeaderLine, HeaderRows: o.HeaderRows, DataLine: o.DataLine, LastLine: o.LastLine,
		DateOrder: o.DateOrder, TimeLayout: o.TimeLayout, Missing: o.Missing, Comment: o.Comment,
		Units: o.Units, DropBadRows: o.DropBadRows,
	}
}

// beginning returns the first bytes without byte order mark, zero bytes and
// blanks, so that text in any encoding can be told by its first words.
func beginning(data []byte) []byte {
	start := bytes.Clone(data[:min(len(data), 4096)])
	start = bytes.ReplaceAll(start, []byte{0}, nil)
	for _, mark := range []string{"\xef\xbb\xbf", "\xff\xfe", "\xfe\xff"} {
		start = bytes.TrimPrefix(start, []byte(mark))
	}
	return bytes.TrimSpace(start)
}

// isXML tells whether a text is made of tags.
func isXML(start []byte) bool {
	if len(start) < 2 || start[0] != '<' || bytes.IndexByte(start, '>') < 0 {
		return false
	}
	c := start[1]
	return c == '?' || c == '!' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z'
}
