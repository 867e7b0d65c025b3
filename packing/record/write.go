package record

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/evenbed/evenbed/packing/internal/unit"
	"github.com/evenbed/evenbed/packing/record/internal/columnar"
	"github.com/evenbed/evenbed/packing/record/internal/netcdf"
	"github.com/evenbed/evenbed/packing/record/internal/sheet"
	"github.com/evenbed/evenbed/packing/record/internal/source"
	"github.com/evenbed/evenbed/packing/record/internal/text"
	"github.com/evenbed/evenbed/packing/trace"
)

// Write writes the record into a file, in the format that the ending names:
// .csv, .parquet, .xlsx for a workbook, or .nc and .cdf for netCDF classic. [Read]
// reads it back with the same names, units, numbers to the last bit, events and
// preamble; but texts and workbooks cannot tell axes of the same length apart,
// Parquet and netCDF keep notes in the preamble, and all but netCDF hold moments in
// place of times that count from one. A workbook has the columns in its first
// sheet, as many rows as a sheet holds at most, and in its second preamble, notes,
// events and where the record comes from. A file that exists is replaced once the new one is
// whole; the one that the record was read from is never replaced.
func (r Record) Write(path string) error {
	write, err := r.writer(path)
	if err != nil {
		return err
	}
	return r.save(path, func(w io.Writer) error { return write(w, r.table()) })
}

// WriteSignal writes one signal and its axis of time into a file of netCDF
// classic, arranged as ASTM E1947 has chromatograms: the form in which other
// programs that evaluate chromatograms take a detector's trace. The name may be
// shortened, as for [Record.Column]. [Read] reads it back with the same name,
// unit and numbers to the last bit; the axis is called Time and its unit is
// written out ("minutes"). Of the record's preamble each key is kept, and a
// moment of zero as the entry "Start"; other columns and events are left out.
func (r Record) WriteSignal(path, name string) error {
	if ending := strings.ToLower(filepath.Ext(path)); ending != ".cdf" && ending != ".nc" {
		return Error{File: path, Problem: fmt.Sprintf("a signal alone cannot be written with the ending %q", ending), Remedy: "use .cdf, or Write for other formats"}
	}
	c, err := r.Column(name)
	if err != nil {
		return err
	}
	if c.Axis == "" {
		_, err := r.Signal(name) // says why it is none
		return err
	}
	axis, err := r.Column(c.Axis)
	if err != nil {
		return err
	}
	u, _ := unit.Of(axis.Unit)
	word, ok := map[unit.Unit]string{{Kind: unit.Time, One: 1}: "seconds", {Kind: unit.Time, One: 60}: "minutes", {Kind: unit.Time, One: 3600}: "hours"}[u]
	if !ok {
		remedy := "bring it to time first: ByTime"
		if u.Kind == unit.Time {
			remedy = fmt.Sprintf("bring it into another unit first: Converted(%q, \"min\")", axis.Name)
		}
		return Error{File: r.File, Problem: fmt.Sprintf("column %q runs against %q, which is not in seconds, minutes or hours", c.Name, axis.title()), Remedy: remedy}
	}
	t := keyed(source.Table{Meta: r.table().Meta})
	if !axis.Start.IsZero() {
		t.Meta = append(t.Meta, source.Entry{Key: "Start", Value: axis.Start.Format("2006-01-02 15:04:05.999999999")})
	}
	t.Columns = []source.Column{{Name: "Time", Unit: word, Values: axis.Values, Axis: -1}, {Name: c.Name, Unit: c.Unit, Values: c.Values, Axis: 0}}
	d, err := netcdf.Chromatogram(t, 1)
	if err != nil {
		return located(r.File, err)
	}
	return r.save(path, func(w io.Writer) error { return netcdf.Write(w, d) })
}

// save writes a file, which comes to be once it is whole.
func (r Record) save(path string, write func(io.Writer) error) error {
	if same(path, r.File) {
		return Error{File: path, Problem: "the record was read from this file", Remedy: "give another name: the export stays as it is"}
	}
	failed := func(err error) error {
		if errors.As(err, new(Error)) || errors.As(err, new(source.Error)) { // it is the record that cannot be written so
			return located(path, err)
		}
		return Error{File: path, Problem: "cannot be written: " + err.Error(), Remedy: "look whether the folder exists and has room, and whether you may write there", Err: err}
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".evenbed-*")
	if err != nil {
		return failed(err)
	}
	defer os.Remove(f.Name()) // what is left of it after an error
	b := bufio.NewWriterSize(f, 1<<16)
	err = write(b)
	if err == nil {
		err = b.Flush()
	}
	if err == nil {
		err = f.Chmod(0o644)
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err != nil {
		return failed(err)
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return failed(err)
	}
	return nil
}

// same reports whether two paths lead to one file.
func same(a, b string) bool {
	x, err := os.Stat(a)
	if err != nil {
		return false
	}
	y, err := os.Stat(b)
	return err == nil && os.SameFile(x, y)
}

// writer returns the function that writes a table in the format of a path.
func (r Record) writer(path string) (func(io.Writer, source.Table) error, error) {
	switch ending := strings.ToLower(filepath.Ext(path)); ending {
	case ".csv":
		return r.timed(writeCSV), nil
	case ".parquet":
		return r.timed(func(w io.Writer, t source.Table) error { return columnar.Write(w, keyed(t)) }), nil
	case ".xlsx":
		return r.timed(func(w io.Writer, t source.Table) error { return sheet.Write(w, t, r.about()) }), nil
	case ".nc", ".cdf":
		return writeNetCDF, nil
	default:
		return nil, Error{File: path, Problem: fmt.Sprintf("no format is known by the ending %q", ending), Remedy: "use .csv, .parquet, .xlsx, .nc or .cdf"}
	}
}

// table returns the record as the table that readers make: events in columns of
// text beside the axis at whose positions they stand.
func (r Record) table() source.Table {
	var t source.Table
	for _, e := range r.Preamble {
		t.Meta = append(t.Meta, source.Entry(e))
	}
	for _, e := range r.Notes {
		t.Notes = append(t.Notes, source.Entry(e))
	}
	for _, c := range r.Columns { // each axis, what runs against it, what was noted there
		switch {
		case c.Axis == "" && !r.isAxis(c.Name):
			t.Columns = append(t.Columns, sourceOf(c, -1))
		case c.Axis == "":
			at := len(t.Columns)
			t.Columns = append(t.Columns, sourceOf(c, -1))
			for _, of := range r.Columns {
				if of.Axis == c.Name {
					t.Columns = append(t.Columns, sourceOf(of, at))
					if of.Status != nil {
						t.Columns = append(t.Columns, source.Column{Name: of.Name + " status", Texts: of.Status, Axis: at})
					}
				}
			}
		}
	}
	var names []string
	for _, e := range r.Events {
		if !slices.Contains(names, e.Name) {
			names = append(names, e.Name)
		}
	}
	for _, name := range names {
		r.addEvents(&t, name)
	}
	for i := range t.Columns {
		t.Columns[i].Place = i + 1
	}
	return t
}

// sourceOf returns a column as readers make it.
func sourceOf(c Column, axis int) source.Column {
	return source.Column{Name: c.Name, Unit: c.Unit, Values: c.Values, Texts: c.Texts, Axis: axis, Start: c.Start}
}

// timed returns a writer that gets moments in place of times that count from
// one.
func (r Record) timed(write func(io.Writer, source.Table) error) func(io.Writer, source.Table) error {
	return func(w io.Writer, t source.Table) error {
		t.Columns = slices.Clone(t.Columns)
		for i := range t.Columns {
			of := &t.Columns[i]
			if of.Start.IsZero() {
				continue
			}
			c, err := r.Column(of.Name)
			if err != nil {
				return err
			}
			if of.Times, err = c.moments(); err != nil {
				return Error{File: r.File, Problem: err.Error(), Remedy: "write it as netCDF, which keeps times as they are", Err: err}
			}
			of.Values, of.Unit = nil, ""
		}
		return write(w, t)
	}
}

// farthest is how far from the start a moment may lie, in seconds: 3000 years.
const farthest = 1e11

// moments returns a column's values as moments, to the nanosecond: those of the
// file where the values have not been changed.
func (c Column) moments() ([]time.Time, error) {
	u, known := unit.Of(c.Unit)
	if !known || u.Kind != unit.Time {
		return nil, fmt.Errorf("column %q has a start but is in %q, which is no unit of time", c.Name, c.Unit)
	}
	out := make([]time.Time, len(c.Values))
	for i, v := range c.Values {
		if math.IsNaN(v) {
			continue
		}
		x := v * u.One
		if math.Abs(x) > farthest {
			return nil, fmt.Errorf("column %q, row %d: %v %s from %s is no moment that can be written", c.Name, i+1, v, c.Unit, c.Start.Format(time.DateTime))
		}
		whole, part := math.Modf(x)
		out[i] = c.Start.Add(time.Duration(math.Round(part * 1e9)))
		out[i] = time.Unix(out[i].Unix()+int64(whole), int64(out[i].Nanosecond())).In(c.Start.Location())
		if len(c.exact) == len(c.Values) && math.Abs(seconds(c.exact[i], c.Start)-x) <= 4e-16*math.Abs(x) {
			out[i] = c.exact[i].In(c.Start.Location())
		}
	}
	return out, nil
}

// addEvents adds a column of the events of one name, beside the first axis that
// has all their positions, or beside an axis of their own.
func (r Record) addEvents(t *source.Table, name string) {
	var events []Event
	for _, e := range r.Events {
		if e.Name == name {
			events = append(events, e)
		}
	}
	for i, of := range t.Columns {
		if of.Axis >= 0 {
			continue
		}
		c, err := r.Column(of.Name)
		if err != nil || !r.isAxis(c.Name) {
			continue
		}
		x, kind, err := r.positions(c)
		if err != nil || kind != events[0].Axis {
			continue
		}
		if texts, ok := inRows(x, events); ok {
			insert(t, source.Column{Name: name, Texts: texts, Axis: i})
			return
		}
	}
	own := source.Column{Name: "Time of " + name, Unit: "s", Axis: -1}
	if events[0].Axis == trace.Volume {
		own.Name, own.Unit = "Volume of "+name, "m3"
	}
	var texts []string
	for _, e := range events {
		own.Values, texts = append(own.Values, e.At), append(texts, e.Text)
	}
	t.Columns = append(t.Columns, own, source.Column{Name: name, Texts: texts, Axis: len(t.Columns)})
}

// insert puts a column behind those of its axis.
func insert(t *source.Table, c source.Column) {
	at := c.Axis + 1
	for at < len(t.Columns) && t.Columns[at].Axis == c.Axis {
		at++
	}
	t.Columns = slices.Insert(t.Columns, at, c)
	for i := at + 1; i < len(t.Columns); i++ {
		if t.Columns[i].Axis >= at {
			t.Columns[i].Axis++
		}
	}
}

// inRows puts events into the rows of an axis; false if one has no row of its
// own. Positions may differ by rounding.
func inRows(x []float64, events []Event) ([]string, bool) {
	if len(x) == 0 {
		return nil, false
	}
	texts := make([]string, len(x))
	from := 0
	for _, e := range events {
		near := 1e-9 * math.Max(math.Abs(e.At), math.Abs(x[len(x)-1])*1e-3)
		i := slices.IndexFunc(x[from:], func(v float64) bool { return math.Abs(v-e.At) <= near })
		if i < 0 {
			return nil, false
		}
		texts[from+i] = e.Text
		from += i + 1
	}
	return texts, true
}

// keyed returns a table whose preamble has a key in each entry, the notes among
// them, for formats that keep keys and values.
func keyed(t source.Table) source.Table {
	all := append(slices.Clone(t.Meta), t.Notes...)
	for i := range all {
		if all[i].Key == "" {
			all[i].Key = fmt.Sprintf("line %d", i+1)
		}
	}
	t.Meta, t.Notes = all, nil
	return t
}

// about returns the events and the provenance of a record as rows for people.
func (r Record) about() (rows [][3]string) {
	for _, e := range r.Events {
		rows = append(rows, [3]string{"event", e.Axis.Show(e.At), e.Name + ": " + e.Text})
	}
	p := r.report.Provenance
	for _, e := range [][2]string{{"file", p.File}, {"file in the archive", p.Member}, {"SHA-256", p.SHA256}, {"read by", r.report.Code}} {
		if e[1] != "" {
			rows = append(rows, [3]string{"import", e[0], e[1]})
		}
	}
	return rows
}

// writeNetCDF writes variables and their coordinate variables.
func writeNetCDF(w io.Writer, t source.Table) error {
	d, err := netcdf.Signals(keyed(t))
	if err != nil {
		return err
	}
	return netcdf.Write(w, d)
}

// writeCSV writes commas, decimal points, UTF-8 and lines that end with \n. The
// preamble stands above, one line of names with units in brackets follows.
func writeCSV(w io.Writer, t source.Table) error {
	b, ok := w.(*bufio.Writer)
	if !ok {
		b = bufio.NewWriter(w)
		defer b.Flush()
	}
	writeLines(b, t.Meta)
	if len(t.Meta) > 0 {
		b.WriteByte('\n')
	}
	rows := 0
	for j, c := range t.Columns {
		if j > 0 {
			b.WriteByte(',')
		}
		b.WriteString(csvCell(text.Heading(c.Name, c.Unit)))
		rows = max(rows, length(c))
	}
	b.WriteByte('\n')
	var number []byte
	for i := range rows {
		for j, c := range t.Columns {
			if j > 0 {
				b.WriteByte(',')
			}
			switch {
			case i < len(c.Values) && !math.IsNaN(c.Values[i]):
				number = strconv.AppendFloat(number[:0], c.Values[i], 'g', -1, 64)
				b.Write(number)
			case i < len(c.Texts):
				b.WriteString(csvCell(c.Texts[i]))
			case i < len(c.Times) && !c.Times[i].IsZero():
				b.WriteString(sheet.ISO(c.Times[i]))
			}
		}
		if err := b.WriteByte('\n'); err != nil {
			return err
		}
	}
	writeLines(b, t.Notes)
	return nil
}

// writeLines writes entries as lines of "key: value".
func writeLines(b *bufio.Writer, list []source.Entry) {
	for _, e := range list {
		line := e.Value
		if e.Key != "" {
			line = e.Key + ": " + e.Value
		}
		b.WriteString(strings.Join(strings.Fields(line), " ") + "\n")
	}
}

// csvCell quotes a cell where it must be.
func csvCell(s string) string {
	if s == "" || !strings.ContainsAny(s, ",\"\r\n") && strings.TrimSpace(s) == s {
		return s
	}
	return `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
}
