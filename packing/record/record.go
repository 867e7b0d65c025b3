// Package record reads what an instrument or a historian exported.
//
// [Read] tells a file's format by its content and returns a [Record]. Its
// [Report] says what was understood, what was guessed and how to override it,
// and gives the line of Go that repeats the reading, with what it leaves to guess.
// What is ambiguous is an error that asks. What may make numbers wrong and cannot be
// told from the file alone is a [Doubt]: codes for no value, a last row that was cut,
// times that contradict the run length that the file states, an hour of summer time,
// values whose status is bad, a signal that a historian thinned. Doubts stand first in
// the report and go along with the signals.
//
// A signal takes the events, the flow and the totaliser of its record along; see
// package trace.
//
//	export.Signal("UV")             a trace, for package efficiency
//	export.SignalIn("mAU")          the only one in that unit, whatever its name
//	export.Cycles("Inject", "UV")   a trace from each event to the next
//	export.Velocities("Velocity")   a column as quantities
//	export.Frame()                  a data frame to explore
//	export.Aligned(...)             all columns on one axis
//	export.ByVolume(flow)           the same against volume
//	export.Within(...)              a part of it
//	export.Write("copy.parquet")    CSV, Parquet, a workbook or netCDF
//	export.WriteSignal("uv.cdf", "UV")   one signal for other programs (ASTM E1947)
//
// [Folder] takes one signal from each file of a folder, for many tests at once.
package record

import (
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/go-gota/gota/dataframe"
	"github.com/go-gota/gota/series"

	"github.com/evenbed/evenbed/packing/internal/unit"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// A Record is what one export holds. Its parts do not change; what alters a
// record returns a new one.
type Record struct {
	File     string
	Preamble []Entry  // what stands above or beside the columns, in order
	Columns  []Column // in order of the file
	Events   []Event  // in order of the file
	Notes    []Entry  // what stands below the columns
	report   Report
}

// An Entry is one line of the preamble: "Flow: 21.2 L/h" has the key Flow. A
// line without a key has it empty.
type Entry struct {
	Key, Value string
	Line       int // from 1; 0 in a file without lines
}

// A Column is one column of a file. One that has an Axis is a signal against
// it, row by row.
type Column struct {
	Name   string
	Unit   string    // as written; empty if the file has none
	Axis   string    // name of the column of times or volumes that it runs against; empty if there is none
	Values []float64 // in that unit; NaN where nothing was measured
	Texts  []string  // of a column of words without an axis; Values is then nil
	// Status is what the file says of each value, as "Good" or "Bad"; nil if it says
	// nothing. A bad value is NaN.
	Status []string
	// Start is the moment of zero, if the file holds moments; without a time
	// zone, as written.
	Start time.Time

	// exact are the file's moments where Values, counted from Start, round
	// them; nil elsewhere.
	exact []time.Time
	// computed says that a column of times or volumes was not recorded but made of
	// the other by ByVolume, ByTime or their like.
	computed bool
}

// An Event is something that was noted at a position on an axis: a mark, a
// step, a remark.
type Event struct {
	Axis trace.Axis
	At   float64 // in seconds or cubic metres; NaN if the position is not known
	Name string  // of the column it stands in
	Text string
}

// Time returns when the event was; NaN if it stands at a volume.
func (e Event) Time() units.Time {
	if e.Axis != trace.Time {
		return units.Time(math.NaN())
	}
	return units.Time(e.At)
}

// Volume returns at which volume the event was; NaN if it stands at a time.
func (e Event) Volume() units.Volume {
	if e.Axis != trace.Volume {
		return units.Volume(math.NaN())
	}
	return units.Volume(e.At)
}

// String writes position, name and text.
func (e Event) String() string { return e.Axis.Show(e.At) + ": " + e.Name + ": " + e.Text }

// Lookup returns the value of a key in the preamble, upper and lower case
// alike.
func (r Record) Lookup(key string) (string, error) {
	var keys []string
	for _, e := range r.Preamble {
		if strings.EqualFold(e.Key, key) {
			return e.Value, nil
		}
		if e.Key != "" {
			keys = append(keys, e.Key)
		}
	}
	return "", Error{File: r.File, Problem: fmt.Sprintf("the preamble has no %q", key), Remedy: choices("it has", keys, key)}
}

// Event returns the first event whose text or name is the one asked for, or
// begins with it, upper and lower case alike.
func (r Record) Event(text string) (Event, error) {
	var names []string
	for _, whole := range []bool{true, false} {
		for _, e := range r.Events {
			for _, s := range []string{e.Text, e.Name} {
				if strings.EqualFold(s, text) || !whole && text != "" && hasPrefixFold(s, text) {
					return e, nil
				}
			}
			if whole {
				names = append(names, e.Text)
			}
		}
	}
	return Event{}, Error{File: r.File, Problem: fmt.Sprintf("no event %q", text), Remedy: choices("the events are", names, text)}
}

func hasPrefixFold(s, prefix string) bool {
	return len(s) >= len(prefix) && strings.EqualFold(s[:len(prefix)], prefix)
}

// Column returns the column with the name, or the only one whose name begins
// with it, upper and lower case alike.
func (r Record) Column(name string) (Column, error) {
	i, err := r.index(name)
	if err != nil {
		return Column{}, err
	}
	return r.Columns[i], nil
}

// index returns the place of a column in the record.
func (r Record) index(name string) (int, error) {
	var found []int
	var names, close []string
	for i, c := range r.Columns {
		if strings.EqualFold(c.Name, name) {
			return i, nil
		}
		if name != "" && hasPrefixFold(c.Name, name) {
			found = append(found, i)
			close = append(close, c.Name)
		}
		names = append(names, c.Name)
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return 0, Error{File: r.File, Problem: fmt.Sprintf("no column %q", name), Remedy: choices("the columns are", names, name)}
	}
	return 0, Error{File: r.File, Problem: fmt.Sprintf("%q fits several columns", name), Remedy: "write more of the name: " + quoted(close)}
}

// Values returns a column's numbers as they stand in the file, in its unit.
func (r Record) Values(name string) ([]float64, error) {
	c, err := r.Column(name)
	if err == nil && c.Values == nil {
		err = r.words(c)
	}
	return append([]float64(nil), c.Values...), err
}

// words tells that a column holds no numbers.
func (r Record) words(c Column) error {
	return Error{File: r.File, Problem: fmt.Sprintf("column %q holds words, not numbers", c.Name), Remedy: "ask for another column, or read its Texts"}
}

// inSI returns a column's numbers in SI.
func (r Record) inSI(c Column, want unit.Kind) ([]float64, error) {
	u, known := unit.Of(c.Unit)
	switch {
	case c.Values == nil:
		return nil, r.words(c)
	case c.Unit == "":
		return nil, Error{File: r.File, Problem: fmt.Sprintf("column %q has no unit", c.Name),
			Remedy: fmt.Sprintf("give it: record.Options{Units: map[string]string{%q: %q}}", c.Name, want.Example())}
	case !known:
		return nil, Error{File: r.File, Problem: fmt.Sprintf("column %q has the unit %q, which is not known", c.Name, c.Unit),
			Remedy: fmt.Sprintf("give one for a %s: record.Options{Units: map[string]string{%q: %q}}", want, c.Name, want.Example())}
	case u.Kind == unit.CV && want == unit.Volume && r.report.columnVolume() > 0:
		u = unit.Unit{Kind: unit.Volume, One: r.report.columnVolume()}
	case u.Kind == unit.CV && want == unit.Volume:
		return nil, Error{File: r.File, Problem: fmt.Sprintf("column %q is in column volumes", c.Name),
			Remedy: "say how large the column volume is: record.Options{ColumnVolume: 12.7 * Litre}"}
	case u.Kind != want:
		return nil, Error{File: r.File, Problem: fmt.Sprintf("column %q is in %s, a unit of %s, not of %s", c.Name, c.Unit, u.Kind, want),
			Remedy: "ask for another column"}
	}
	return unit.Convert(c.Values, u, unit.Unit{Kind: want, One: 1}), nil
}

// quantities returns a column's numbers in SI as quantities.
func quantities[Q ~float64](r Record, name string, want unit.Kind) ([]Q, error) {
	c, err := r.Column(name)
	if err != nil {
		return nil, err
	}
	v, err := r.inSI(c, want)
	out := make([]Q, len(v))
	for i, x := range v {
		out[i] = Q(x)
	}
	return out, err
}

// Times returns a column of times.
func (r Record) Times(name string) ([]units.Time, error) {
	return quantities[units.Time](r, name, unit.Time)
}

// Volumes returns a column of volumes.
func (r Record) Volumes(name string) ([]units.Volume, error) {
	return quantities[units.Volume](r, name, unit.Volume)
}

// Velocities returns a column of velocities.
func (r Record) Velocities(name string) ([]units.Velocity, error) {
	return quantities[units.Velocity](r, name, unit.Velocity)
}

// Flows returns a column of flows.
func (r Record) Flows(name string) ([]units.VolumeFlow, error) {
	return quantities[units.VolumeFlow](r, name, unit.Flow)
}

// Lengths returns a column of lengths.
func (r Record) Lengths(name string) ([]units.Length, error) {
	return quantities[units.Length](r, name, unit.Length)
}

// Pressures returns a column of pressures.
func (r Record) Pressures(name string) ([]units.Pressure, error) {
	return quantities[units.Pressure](r, name, unit.Pressure)
}

// Absorbances returns a column of absorbances.
func (r Record) Absorbances(name string) ([]units.Absorbance, error) {
	return quantities[units.Absorbance](r, name, unit.Absorbance)
}

// Conductivities returns a column of conductivities.
func (r Record) Conductivities(name string) ([]units.Conductivity, error) {
	return quantities[units.Conductivity](r, name, unit.Conductivity)
}

// Temperatures returns a column of temperatures.
func (r Record) Temperatures(name string) ([]units.Temperature, error) {
	return quantities[units.Temperature](r, name, unit.Temperature)
}

// Fractions returns a column of fractions.
func (r Record) Fractions(name string) ([]units.Fraction, error) {
	return quantities[units.Fraction](r, name, unit.Fraction)
}

// Converted returns the record with a column in another unit of the same kind:
// Converted("Pressure", "kPa").
func (r Record) Converted(name, to string) (Record, error) {
	i, err := r.index(name)
	if err != nil {
		return Record{}, err
	}
	c := r.Columns[i]
	u, known := unit.Of(to)
	if !known {
		return Record{}, Error{File: r.File, Problem: fmt.Sprintf("the unit %q is not known", to), Remedy: unitsRemedy}
	}
	if from, known := unit.Of(c.Unit); known && from.Kind == u.Kind {
		c.Values = unit.Convert(c.Values, from, u)
	} else {
		v, err := r.inSI(c, u.Kind)
		if err != nil {
			return Record{}, err
		}
		c.Values = unit.Convert(v, unit.Unit{Kind: u.Kind, One: 1}, u)
	}
	c.Unit = to
	return r.with(i, c), nil
}

const unitsRemedy = "units are written as min, s, mL, L, L/h, cm/h, cm, bar, kPa, mAU, mS/cm, °C, %"

// with returns the record with column i changed.
func (r Record) with(i int, c Column) Record {
	r.Columns = append([]Column(nil), r.Columns...)
	r.Columns[i] = c
	return r
}

// Signal returns a column as a trace against its own axis. The name may be
// shortened, as for [Record.Column]. Rows without a value are left out; the
// report tells how many there are.
func (r Record) Signal(name string) (trace.Trace, error) {
	c, err := r.Column(name)
	if err != nil {
		return trace.Trace{}, err
	}
	switch {
	case c.Axis != "":
		return r.SignalAgainst(c.Name, c.Axis)
	case r.isAxis(c.Name):
		return trace.Trace{}, Error{File: r.File, Problem: fmt.Sprintf("column %q would run against itself", c.Name), Remedy: "ask for a signal"}
	}
	return trace.Trace{}, Error{File: r.File, Problem: fmt.Sprintf("no column of time or of volume belongs to %q", c.Name),
		Remedy: fmt.Sprintf("a signal runs against one of them; give the column its unit: record.Options{Units: map[string]string{%q: \"min\"}}", r.Columns[0].Name)}
}

// SignalIn returns the only signal in a unit, or if there is none in just that one
// the only signal in a unit of the same kind: SignalIn("mAU") also finds one in AU,
// which then stays in AU. Several, or none, are an error that lists what there is.
func (r Record) SignalIn(symbol string) (trace.Trace, error) {
	want, kind := unit.Spelt(symbol), unit.KindOf(symbol)
	if !unit.Written(symbol) {
		return trace.Trace{}, Error{File: r.File, Problem: fmt.Sprintf("the unit %q is not known", symbol), Remedy: unitsRemedy}
	}
	var all, same, alike []string
	for _, c := range r.Columns {
		if c.Values == nil || r.isAxis(c.Name) {
			continue
		}
		all = append(all, c.title())
		if unit.Spelt(c.Unit) == want {
			same = append(same, c.Name)
		}
		if kind != unit.None && unit.KindOf(c.Unit) == kind {
			alike = append(alike, c.Name)
		}
	}
	found := same
	if len(found) == 0 {
		found = alike
	}
	switch len(found) {
	case 1:
		return r.Signal(found[0])
	case 0:
		return trace.Trace{}, Error{File: r.File, Problem: fmt.Sprintf("no signal in %s", want), Remedy: choices("the signals are", all, "")}
	}
	return trace.Trace{}, Error{File: r.File, Problem: fmt.Sprintf("several signals in %s", want), Remedy: "ask for one by its name with Signal: " + quoted(found)}
}

// isAxis reports whether some column runs against the one named.
func (r Record) isAxis(name string) bool {
	for _, c := range r.Columns {
		if c.Axis == name {
			return true
		}
	}
	return false
}

// SignalAgainst returns a column as a trace against the column axis, which
// holds times or volumes in the same rows.
func (r Record) SignalAgainst(name, axis string) (trace.Trace, error) {
	c, err := r.Column(name)
	if err != nil {
		return trace.Trace{}, err
	}
	a, err := r.Column(axis)
	if err != nil {
		return trace.Trace{}, err
	}
	switch {
	case a.Name == c.Name:
		return trace.Trace{}, Error{File: r.File, Problem: fmt.Sprintf("column %q would run against itself", c.Name), Remedy: "ask for a signal"}
	case c.Values == nil:
		return trace.Trace{}, r.words(c)
	case r.rows(a) != r.rows(c):
		return trace.Trace{}, Error{File: r.File, Problem: fmt.Sprintf("columns %q and %q are not of the same rows", c.Name, a.Name),
			Remedy: "put them on one axis first: Aligned"}
	}
	x, against, err := r.positions(a)
	if err != nil {
		return trace.Trace{}, err
	}
	y := append([]float64(nil), c.Values...)
	n := 0
	for i := range y {
		if !math.IsNaN(y[i]) && !math.IsNaN(x[i]) {
			x[n], y[n] = x[i], y[i]
			n++
		}
	}
	if i := backwards(x[:n]); i > 0 {
		return trace.Trace{}, Error{File: r.File,
			Problem: fmt.Sprintf("column %q runs backwards, from %s to %s", a.title(), against.Show(x[i-1]), against.Show(x[i])),
			Remedy:  "read it with a policy for that, as record.Options{Clock: record.SortRows} or record.Options{Clock: record.CutAtReset}"}
	}
	t, err := trace.Make(c.Name, c.Unit, against, x[:n], y[:n])
	if err != nil {
		return trace.Trace{}, Error{File: r.File, Problem: err.Error(), Remedy: "look at the columns in the report", Err: err}
	}
	t.From, t.Events, t.Doubts = r.File, r.eventsOn(against, a, c), r.doubtsOf(a, c)
	return t.WithMeters(r.meters(a)...), nil
}

// positions returns a column of times or volumes in SI, as a copy.
func (r Record) positions(a Column) ([]float64, trace.Axis, error) {
	switch unit.KindOf(a.Unit) {
	case unit.Volume, unit.CV:
		x, err := r.inSI(a, unit.Volume)
		return x, trace.Volume, err
	}
	x, err := r.inSI(a, unit.Time)
	return x, trace.Time, err
}

// rows returns the name of the column that stands for the rows a column is
// made of: its axis, or itself if it is one; empty in a table without an axis.
func (r Record) rows(c Column) string {
	if c.Axis == "" && r.isAxis(c.Name) {
		return c.Name
	}
	return c.Axis
}

// title returns name and unit as a heading.
func (c Column) title() string {
	if c.Unit == "" {
		return c.Name
	}
	return c.Name + " (" + c.Unit + ")"
}

// len returns the number of rows.
func (c Column) len() int { return max(len(c.Values), len(c.Texts)) }

// backwards returns the first index whose value is below the one before it,
// or 0.
func backwards(x []float64) int {
	for i := 1; i < len(x); i++ {
		if x[i] < x[i-1] {
			return i
		}
	}
	return 0
}

// Frame returns the columns as a data frame. A column is named with its unit,
// as "UV 280 nm (mAU)". Columns with different axes have no rows in common: the
// frame then holds an error that says how to align them.
func (r Record) Frame() dataframe.DataFrame {
	cols := make([]series.Series, len(r.Columns))
	for i, c := range r.Columns {
		if r.rows(c) != r.rows(r.Columns[0]) || c.len() != r.Columns[0].len() {
			return dataframe.DataFrame{Err: Error{File: r.File,
				Problem: fmt.Sprintf("columns %q and %q are not of the same rows", r.Columns[0].Name, c.Name),
				Remedy:  fmt.Sprintf("put all on one axis first: export.Aligned(record.Alignment{Axis: %q})", r.Columns[0].Name)}}
		}
		if c.Texts != nil {
			cols[i] = series.New(c.Texts, series.String, c.title())
		} else {
			cols[i] = series.New(c.Values, series.Float, c.title())
		}
	}
	return dataframe.New(cols...)
}

// Report returns how the file was understood.
func (r Record) Report() Report { return r.report }
