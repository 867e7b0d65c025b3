// Package record reads what an instrument exported.
//
// [Read] takes a delimited text file with any preamble, a header row, units in
// brackets or in a row of their own, and columns of numbers, and returns a
// [Record]. Its [Report] tells what was understood, what was guessed, and the
// line of Go that repeats the reading without a guess.
//
//	export.Signal("UV")             a trace for package efficiency
//	export.Frame()                  a data frame to explore
//	export.Velocities("Velocity")   a column as quantities
package record

import (
	"fmt"
	"math"
	"strings"

	"github.com/go-gota/gota/dataframe"
	"github.com/go-gota/gota/series"

	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// A Record is what one export holds.
type Record struct {
	File     string
	Preamble []Entry  // the lines above the header, in order
	Columns  []Column // in order of the file
	report   Report
}

// An Entry is one line of the preamble: "Flow: 21.2 L/h" has the key Flow. A
// line without a key has it empty.
type Entry struct {
	Key, Value string
	Line       int
}

// A Column is one column of numbers as written in the file.
type Column struct {
	Name   string
	Unit   string    // as written; empty if the file has none
	Values []float64 // in that unit; NaN where the cell is empty
	place  int       // in the file, from 1
	lines  []int     // of each value, from 1
}

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

// Column returns the column with the name, or the only one whose name begins
// with it, upper and lower case alike.
func (r Record) Column(name string) (Column, error) {
	var found []Column
	var names, close []string
	for _, c := range r.Columns {
		if strings.EqualFold(c.Name, name) {
			return c, nil
		}
		if name != "" && len(c.Name) >= len(name) && strings.EqualFold(c.Name[:len(name)], name) {
			found = append(found, c)
			close = append(close, c.Name)
		}
		names = append(names, c.Name)
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return Column{}, Error{File: r.File, Problem: fmt.Sprintf("no column %q", name), Remedy: choices("the columns are", names, name)}
	}
	return Column{}, Error{File: r.File, Problem: fmt.Sprintf("%q fits several columns", name), Remedy: "write more of the name: " + quoted(close)}
}

// Values returns a column's numbers as they stand in the file, in its unit.
func (r Record) Values(name string) ([]float64, error) {
	c, err := r.Column(name)
	return append([]float64(nil), c.Values...), err
}

// quantities returns a column's numbers in SI.
func (r Record) quantities(name string, want kind) ([]float64, error) {
	c, err := r.Column(name)
	if err != nil {
		return nil, err
	}
	return r.inSI(c, want)
}

func (r Record) inSI(c Column, want kind) ([]float64, error) {
	u, known := unitOf(c.Unit)
	switch {
	case c.Unit == "":
		return nil, Error{File: r.File, Problem: fmt.Sprintf("column %q has no unit", c.Name),
			Remedy: fmt.Sprintf("give it: record.Options{Units: map[string]string{%q: %q}}", c.Name, want.example())}
	case !known:
		return nil, Error{File: r.File, Problem: fmt.Sprintf("column %q has the unit %q, which is not known", c.Name, c.Unit),
			Remedy: fmt.Sprintf("give one for a %s: record.Options{Units: map[string]string{%q: %q}}", want, c.Name, want.example())}
	case u.kind != want:
		return nil, Error{File: r.File, Problem: fmt.Sprintf("column %q is in %s, a unit of %s, not of %s", c.Name, c.Unit, u.kind, want),
			Remedy: "ask for another column"}
	}
	v := make([]float64, len(c.Values))
	for i, x := range c.Values {
		v[i] = x * u.one
	}
	return v, nil
}

// Times returns a column of times.
func (r Record) Times(name string) ([]units.Time, error) {
	v, err := r.quantities(name, timeKind)
	out := make([]units.Time, len(v))
	for i, x := range v {
		out[i] = units.Time(x)
	}
	return out, err
}

// Volumes returns a column of volumes.
func (r Record) Volumes(name string) ([]units.Volume, error) {
	v, err := r.quantities(name, volumeKind)
	out := make([]units.Volume, len(v))
	for i, x := range v {
		out[i] = units.Volume(x)
	}
	return out, err
}

// Velocities returns a column of velocities.
func (r Record) Velocities(name string) ([]units.Velocity, error) {
	v, err := r.quantities(name, velocityKind)
	out := make([]units.Velocity, len(v))
	for i, x := range v {
		out[i] = units.Velocity(x)
	}
	return out, err
}

// Flows returns a column of flows.
func (r Record) Flows(name string) ([]units.VolumeFlow, error) {
	v, err := r.quantities(name, flowKind)
	out := make([]units.VolumeFlow, len(v))
	for i, x := range v {
		out[i] = units.VolumeFlow(x)
	}
	return out, err
}

// Lengths returns a column of lengths.
func (r Record) Lengths(name string) ([]units.Length, error) {
	v, err := r.quantities(name, lengthKind)
	out := make([]units.Length, len(v))
	for i, x := range v {
		out[i] = units.Length(x)
	}
	return out, err
}

// Pressures returns a column of pressures.
func (r Record) Pressures(name string) ([]units.Pressure, error) {
	v, err := r.quantities(name, pressureKind)
	out := make([]units.Pressure, len(v))
	for i, x := range v {
		out[i] = units.Pressure(x)
	}
	return out, err
}

// Signal returns a column as a trace against time; where the record has no
// time, against volume. The name may be shortened, as for [Record.Column].
// Rows without a value are left out; the report tells how many there are.
func (r Record) Signal(name string) (trace.Trace, error) {
	for _, k := range []kind{timeKind, volumeKind} {
		for _, axis := range r.Columns {
			if axis.is(k) {
				return r.SignalAgainst(name, axis.Name)
			}
		}
	}
	if len(r.Columns) == 0 {
		return trace.Trace{}, Error{File: r.File, Problem: "the record has no columns", Remedy: "read an export first"}
	}
	return trace.Trace{}, Error{File: r.File, Problem: "no column of time or of volume",
		Remedy: fmt.Sprintf("a signal runs against one of them; give the column its unit: record.Options{Units: map[string]string{%q: \"min\"}}", r.Columns[0].Name)}
}

// SignalAgainst returns a column as a trace against the column axis, which
// holds times or volumes.
func (r Record) SignalAgainst(name, axis string) (trace.Trace, error) {
	c, err := r.Column(name)
	if err != nil {
		return trace.Trace{}, err
	}
	a, err := r.Column(axis)
	if err != nil {
		return trace.Trace{}, err
	}
	want, against := timeKind, trace.Time
	if a.is(volumeKind) {
		want, against = volumeKind, trace.Volume
	}
	x, err := r.inSI(a, want)
	if err != nil {
		return trace.Trace{}, err
	}
	if a.place == c.place {
		return trace.Trace{}, Error{File: r.File, Problem: fmt.Sprintf("column %q would run against itself", c.Name), Remedy: "ask for a signal"}
	}
	y := append([]float64(nil), c.Values...)
	n := 0
	for i := range y {
		if !math.IsNaN(y[i]) && !math.IsNaN(x[i]) {
			x[n], y[n] = x[i], y[i]
			n++
		}
	}
	if i := backwards(x[:n]); i > 0 && n == len(x) {
		return trace.Trace{}, r.backwards(a, i)
	}
	t, err := trace.Make(c.Name, c.Unit, against, x[:n], y[:n])
	if err != nil {
		return trace.Trace{}, Error{File: r.File, Problem: err.Error(), Remedy: "look at the columns in the report", Err: err}
	}
	t.From = r.File
	return t, nil
}

// is reports whether the column's unit is one of the kind.
func (c Column) is(k kind) bool {
	u, known := unitOf(c.Unit)
	return known && u.kind == k
}

// title returns name and unit as a heading.
func (c Column) title() string {
	if c.Unit == "" {
		return c.Name
	}
	return c.Name + " (" + c.Unit + ")"
}

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

func (r Record) backwards(c Column, i int) error {
	return Error{File: r.File, Line: c.lines[i],
		Problem: fmt.Sprintf("column %q runs backwards, from %v to %v", c.title(), c.Values[i-1], c.Values[i]),
		Remedy:  "the file may hold two runs one after the other: keep one of them, or number the rows anew"}
}

// Frame returns the columns as a data frame. A column is named with its unit,
// as "UV 280 nm (mAU)".
func (r Record) Frame() dataframe.DataFrame {
	cols := make([]series.Series, len(r.Columns))
	for i, c := range r.Columns {
		cols[i] = series.New(c.Values, series.Float, c.title())
	}
	return dataframe.New(cols...)
}

// Report returns how the file was understood.
func (r Record) Report() Report { return r.report }
