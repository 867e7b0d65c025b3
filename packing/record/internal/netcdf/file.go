package netcdf

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/evenbed/evenbed/packing/internal/unit"
	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// Names that ASTM E1947 gives to what a chromatogram needs. Every item may be
// missing.
const (
	ordinates     = "ordinate_values"
	retentions    = "raw_data_retention"
	interval      = "actual_sampling_interval"
	delay         = "actual_delay_time"
	uniform       = "uniform_sampling_flag"
	retentionUnit = "retention_unit"
	detectorUnit  = "detector_unit"
	detectorName  = "detector_name"
	completeness  = "dataset_completeness"
	pointNumber   = "point_number"
	peakNumber    = "peak_number"
)

// File returns what a dataset says as tables.
func File(d *Dataset, meter *source.Meter) (source.File, error) {
	f := source.File{Facts: []source.Fact{{What: "format", Value: fmt.Sprintf("netCDF classic, CDF-%d", d.Version)}}}
	var err error
	if v := d.find(ordinates); v != nil && len(v.Dimensions) == 1 {
		err = d.chromatogram(&f, v)
	} else {
		err = d.general(&f, meter)
	}
	if err != nil {
		return source.File{}, err
	}
	if len(f.Tables) == 0 {
		return source.File{}, source.Error{Problem: "no variable with one dimension holds numbers: it has " + d.contents(),
			Remedy: "save each signal as a variable over time"}
	}
	return f, nil
}

// contents names the variables with their dimensions.
func (d *Dataset) contents() string {
	if len(d.Variables) == 0 {
		return "no variables"
	}
	var names []string
	for i, v := range d.Variables {
		if i == 20 {
			names = append(names, fmt.Sprintf("and %d more", len(d.Variables)-i))
			break
		}
		var dims []string
		for _, k := range v.Dimensions {
			dims = append(dims, d.Dimensions[k].Name)
		}
		names = append(names, fmt.Sprintf("%q(%s)", v.Name, strings.Join(dims, ", ")))
	}
	return strings.Join(names, ", ")
}

// find returns the variable with the name, however it is written; nil if there
// is none.
func (d *Dataset) find(name string) *Variable {
	for i := range d.Variables {
		if plain(d.Variables[i].Name) == plain(name) {
			return &d.Variables[i]
		}
	}
	return nil
}

// scalar returns the single number of a variable or of an attribute of the
// file, if it is there and was written.
func (d *Dataset) scalar(name string) (float64, bool) {
	if v := d.find(name); v != nil {
		if x, missing := v.numbers(); len(x) == 1 && missing == 0 {
			return x[0], true
		}
		return 0, false
	}
	switch a := lookup(d.Attributes, name).(type) {
	case nil:
	case string:
		x, err := strconv.ParseFloat(clean(a), 64)
		return x, err == nil
	default:
		if x := floats(a); len(x) == 1 {
			return x[0], true
		}
	}
	return 0, false
}

// word returns an attribute of the file or a variable that holds text.
func (d *Dataset) word(name string) string {
	if s := attribute(d.Attributes, name); s != "" {
		return s
	}
	if v := d.find(name); v != nil {
		if s, ok := v.Data.(string); ok {
			return clean(s)
		}
	}
	return ""
}

// chromatogram reads a dataset after ASTM E1947.
func (d *Dataset) chromatogram(f *source.File, v *Variable) error {
	f.Facts = append(f.Facts, source.Fact{What: "layout", Value: "chromatography after ASTM E1947"})
	y, missing := v.numbers()
	if y == nil {
		return source.Error{Place: fmt.Sprintf("variable %q", v.Name), Problem: "it holds text instead of numbers", Remedy: "export it again"}
	}
	symbol := d.word(retentionUnit)
	if symbol == "" {
		symbol = "s"
		f.Facts = append(f.Facts, source.Fact{What: "time unit", Value: "seconds, since the file has no retention_unit", Guessed: true})
	} else {
		f.Facts = append(f.Facts, source.Fact{What: "time unit", Value: symbol})
	}
	x, gaps, how, err := d.retention(v, len(y), f)
	if err != nil {
		return err
	}
	signal := source.Column{Name: d.word(detectorName), Unit: d.word(detectorUnit), Values: y, Missing: missing, Axis: -1}
	if signal.Name == "" {
		signal.Name = "Signal"
		f.Facts = append(f.Facts, source.Fact{What: "signal", Value: `called "Signal", since the file has no detector_name`, Guessed: true})
	}
	if signal.Unit == "" {
		signal.Unit = attribute(v.Attributes, "units")
	}
	t := source.Table{Meta: d.meta()}
	if x != nil {
		f.Facts = append(f.Facts, source.Fact{What: "time axis", Value: how})
		t.Columns = append(t.Columns, source.Column{Name: "Time", Unit: symbol, Values: x, Missing: gaps, Axis: -1})
		signal.Axis = 0
	}
	t.Columns = append(t.Columns, signal)
	number(&t)
	f.Tables = append(f.Tables, t)
	d.peaks(f)
	return nil
}

// retention returns the times of n points and tells where they are from.
func (d *Dataset) retention(v *Variable, n int, f *source.File) (x []float64, missing int, how string, err error) {
	step, hasStep := d.scalar(interval)
	hasStep = hasStep && step > 0 && !math.IsInf(step, 0)
	start, _ := d.scalar(delay)
	var own []float64
	if r := d.find(retentions); r != nil {
		own, missing = r.numbers()
		if missing > 0 && missing == len(own) { // present, but never written
			own = nil
		}
	}
	if own != nil && len(own) != n {
		return nil, 0, "", source.Error{Place: fmt.Sprintf("variable %q", retentions),
			Problem: fmt.Sprintf("%d times for %d values of %s", len(own), n, ordinates), Remedy: "export it again"}
	}
	flag := attribute(v.Attributes, uniform)
	if flag == "" {
		flag = d.word(uniform)
	}
	even := strings.HasPrefix(strings.ToUpper(flag), "Y")
	if own != nil && !(even && hasStep) {
		return own, missing, "the file's own, from " + retentions, nil
	}
	if !hasStep {
		f.Facts = append(f.Facts, source.Fact{What: "time axis",
			Value: fmt.Sprintf("none: the file has neither a sampling interval above zero nor %s", retentions), Guessed: true})
		return nil, 0, "", nil
	}
	if flag != "" && !even {
		f.Facts = append(f.Facts, source.Fact{What: "sampling",
			Value: fmt.Sprintf("taken as even: the file says it is not (%s %q) but has no times", uniform, flag), Guessed: true})
	}
	x = make([]float64, n)
	for i := range x {
		x[i] = start + float64(float64(i)*step)
		if own != nil && math.Abs(own[i]-x[i]) > step/2 {
			return nil, 0, "", source.Error{Place: fmt.Sprintf("variable %q, value %d", retentions, i+1),
				Problem: fmt.Sprintf("two times for one point: %g from %s, %g from delay and interval", own[i], retentions, x[i]),
				Remedy:  "ask whoever wrote the file which is right, and export it again with one of them"}
		}
	}
	return x, 0, fmt.Sprintf("%g + i × %g, from delay and interval", start, step), nil
}

// peaks adds the table of peaks, if there are any.
func (d *Dataset) peaks(f *source.File) {
	t := source.Table{Name: "peaks"}
	for i := range d.Variables {
		v := &d.Variables[i]
		if len(v.Dimensions) == 0 || plain(d.Dimensions[v.Dimensions[0]].Name) != plain(peakNumber) {
			continue
		}
		if c, ok := d.column(v); ok && len(c.Values)+len(c.Texts) > 0 {
			t.Columns = append(t.Columns, c)
		}
	}
	if len(t.Columns) > 0 {
		number(&t)
		f.Tables = append(f.Tables, t)
	}
}

// number gives the columns their places.
func number(t *source.Table) {
	for i := range t.Columns {
		t.Columns[i].Place = i + 1
	}
}

// holdsColumn tells whether a variable can be a column: one over one dimension, or
// of texts over one and their length.
func (d *Dataset) holdsColumn(v *Variable) bool {
	if _, ok := v.Data.(string); ok && len(v.Dimensions) == 2 {
		return d.Dimensions[v.Dimensions[1]].Length > 0
	}
	return len(v.Dimensions) == 1
}

// column makes a column of a variable that holds one; false for others.
func (d *Dataset) column(v *Variable) (source.Column, bool) {
	c := source.Column{Name: clean(v.Name), Unit: attribute(v.Attributes, "units"), Axis: -1}
	if long := attribute(v.Attributes, "long_name"); long != "" && variableName(long) == v.Name {
		c.Name = long
	}
	if !d.holdsColumn(v) {
		return c, false
	}
	if s, ok := v.Data.(string); ok {
		width := 1
		if len(v.Dimensions) == 2 {
			width = d.Dimensions[v.Dimensions[1]].Length
		}
		c.Texts = make([]string, len(s)/width)
		for i := range c.Texts {
			c.Texts[i] = clean(s[i*width : (i+1)*width])
			if c.Texts[i] == "" {
				c.Missing++
			}
		}
		return c, true
	}
	c.Values, c.Missing = v.numbers()
	return c, true
}

// general reads variables against their coordinate variable, one table for each
// dimension.
func (d *Dataset) general(f *source.File, meter *source.Meter) error {
	f.Facts = append(f.Facts, source.Fact{What: "layout", Value: "variables and their coordinate variables"})
	var left []string
	var empty []source.Table // of dimensions without an entry, told only if there is nothing else
	for k, dim := range d.Dimensions {
		var members []*Variable
		for i := range d.Variables {
			v := &d.Variables[i]
			if len(v.Dimensions) == 0 || v.Dimensions[0] != k {
				continue
			}
			if !d.holdsColumn(v) || len(v.Dimensions) == 1 && d.label(v) {
				continue
			}
			members = append(members, v)
		}
		axis := d.coordinate(members, dim.Name)
		if axis > 0 {
			v := members[axis]
			copy(members[1:axis+1], members[:axis])
			members[0] = v
		}
		t := source.Table{}
		for i, v := range members {
			if err := meter.Stop(); err != nil {
				return err
			}
			c, _ := d.column(v)
			if i > 0 && axis >= 0 {
				c.Axis = 0
			}
			if symbol, origin, ok := strings.Cut(c.Unit, " since "); ok && c.Values != nil {
				c.Unit, origin = strings.TrimSpace(symbol), strings.TrimSpace(origin)
				if c.Start, ok = momentOf(origin, attribute(v.Attributes, "calendar")); !ok || unit.KindOf(c.Unit) != unit.Time {
					c.Start = time.Time{}
					t.Meta = append(t.Meta, source.Entry{Key: c.Name + " since", Value: origin})
				}
				f.Facts = append(f.Facts, source.Fact{What: "time form", Value: fmt.Sprintf("%s since %s in %q", c.Unit, origin, c.Name)})
			}
			t.Columns = append(t.Columns, c)
		}
		if len(t.Columns) == 0 {
			continue
		}
		if len(t.Columns[0].Values)+len(t.Columns[0].Texts) == 0 && (axis < 0 || len(t.Columns) == 1) {
			number(&t)
			empty = append(empty, t)
			continue
		}
		if axis < 0 {
			f.Facts = append(f.Facts, source.Fact{What: "axis", Value: fmt.Sprintf("none for the variables over %q: there is no variable of that name", dim.Name), Guessed: true})
		}
		t.Name = clean(dim.Name)
		number(&t)
		f.Tables = append(f.Tables, t)
	}
	for i := range d.Variables {
		v := &d.Variables[i]
		if len(v.Dimensions) == 0 {
			continue
		}
		if !d.holdsColumn(v) {
			left = append(left, fmt.Sprintf("%q (%d dimensions)", v.Name, len(v.Dimensions)))
		}
	}
	if len(left) > 0 {
		if len(left) > 20 {
			left = append(left[:20], fmt.Sprintf("and %d more", len(left)-20))
		}
		f.Facts = append(f.Facts, source.Fact{What: "left out", Value: strings.Join(left, ", ")})
	}
	if len(f.Tables) == 0 {
		f.Tables = empty
	}
	if len(f.Tables) == 1 {
		f.Tables[0].Name = ""
	}
	if len(f.Tables) > 0 {
		f.Tables[0].Meta = append(d.meta(), f.Tables[0].Meta...)
	}
	return nil
}

// label tells whether a variable is one text over a dimension of its own.
func (d *Dataset) label(v *Variable) bool {
	if _, ok := v.Data.(string); !ok {
		return false
	}
	for i := range d.Variables {
		w := &d.Variables[i]
		if _, isText := w.Data.(string); !isText && len(w.Dimensions) > 0 && w.Dimensions[0] == v.Dimensions[0] {
			return false
		}
	}
	return true
}

// coordinate returns which of the variables over a dimension is its axis: the
// one of the same name, the one that a "coordinates" note names, or the one
// that counts time since a date; -1 if none is.
func (d *Dataset) coordinate(members []*Variable, dim string) int {
	numeric := func(v *Variable) bool {
		_, isText := v.Data.(string)
		return !isText && len(v.Dimensions) == 1
	}
	for i, v := range members {
		if v.Name == dim && numeric(v) {
			return i
		}
	}
	for _, v := range members {
		for _, name := range strings.Fields(attribute(v.Attributes, "coordinates")) {
			for i, w := range members {
				if w.Name == name && numeric(w) {
					return i
				}
			}
		}
	}
	for i, v := range members {
		if numeric(v) && (strings.Contains(attribute(v.Attributes, "units"), " since ") || strings.EqualFold(v.Name, "time")) {
			return i
		}
	}
	return -1
}

// meta returns the notes on the file, and what is a single number or text.
func (d *Dataset) meta() []source.Entry {
	var list []source.Entry
	add := func(key, value string) {
		if value != "" {
			list = append(list, source.Entry{Key: clean(key), Value: value})
		}
	}
	for _, a := range d.Attributes {
		add(a.Name, text(a.Data))
	}
	for i := range d.Variables {
		v := &d.Variables[i]
		s, isText := v.Data.(string)
		switch {
		case isText && (len(v.Dimensions) == 0 || len(v.Dimensions) == 1 && d.label(v)):
			add(v.Name, clean(s))
		case len(v.Dimensions) == 0 && !isText:
			if _, missing := v.numbers(); missing == 0 {
				add(v.Name, strings.TrimSpace(text(v.Data)+" "+attribute(v.Attributes, "units")))
			}
		}
	}
	for i := range d.Variables {
		for _, a := range d.Variables[i].Attributes {
			switch plain(a.Name) {
			case "units", "calendar", "fillvalue", "missingvalue", "scalefactor", "addoffset", "longname", "coordinates":
				continue
			}
			add(d.Variables[i].Name+"."+a.Name, text(a.Data))
		}
	}
	return list
}

// numbers returns a variable's values as it means them: unpacked by
// scale_factor and add_offset, NaN where a value is missing, and how many are.
// It is nil for text.
func (v *Variable) numbers() (values []float64, missing int) {
	kind, n, err := typeOf(v.Data)
	if err != nil || kind == Char {
		return nil, 0
	}
	values = floats(v.Data)
	if kind == Double {
		values = append([]float64(nil), values...) // they are changed below
	}
	if kind == Byte && strings.EqualFold(attribute(v.Attributes, "_Unsigned"), "true") {
		for i := range values {
			if values[i] < 0 {
				values[i] += 256
			}
		}
	}
	gaps, low, high := v.gaps(kind)
	scale, scaleNarrow := one(v.Attributes, "scale_factor", 1)
	offset, offsetNarrow := one(v.Attributes, "add_offset", 0)
	// The CF conventions: unpacked values have the type of the factors.
	narrow := scaleNarrow && offsetNarrow && kind != Int && kind != UInt && kind.size() < 8
	for i, x := range values {
		switch {
		case x < low || x > high || contains(gaps, x):
			values[i] = math.NaN()
		case scale == 1 && offset == 0:
		case narrow:
			values[i] = float64(float32(float32(x)*float32(scale)) + float32(offset))
		default:
			values[i] = float64(x*scale) + offset
		}
		if values[i] != values[i] {
			missing++
		}
	}
	if values == nil {
		values = make([]float64, n)
	}
	return values, missing
}

func contains(list []float64, x float64) bool {
	for _, y := range list {
		if x == y {
			return true
		}
	}
	return false
}

// one returns a number from an attribute and whether it is of single precision
// or not there at all.
func one(list []Attribute, name string, without float64) (x float64, narrow bool) {
	d := lookup(list, name)
	if x := floats(d); len(x) == 1 {
		_, narrow = d.([]float32)
		return x[0], narrow
	}
	return without, d == nil
}

// gaps returns the values that stand for a missing one, and the range of valid
// ones.
func (v *Variable) gaps(kind Type) (list []float64, low, high float64) {
	low, high = math.Inf(-1), math.Inf(1)
	if r := floats(lookup(v.Attributes, "valid_range")); len(r) == 2 {
		low, high = r[0], r[1]
	}
	if m := floats(lookup(v.Attributes, "valid_min")); len(m) == 1 {
		low = m[0]
	}
	if m := floats(lookup(v.Attributes, "valid_max")); len(m) == 1 {
		high = m[0]
	}
	fill := floats(lookup(v.Attributes, "_FillValue"))
	if len(fill) == 0 {
		// What the netCDF library puts where nothing was written. A byte has no
		// such value, since all of its values are in use.
		switch kind {
		case Short:
			fill = []float64{-32767}
		case Int:
			fill = []float64{-2147483647}
		case UShort:
			fill = []float64{65535}
		case UInt:
			fill = []float64{4294967295}
		case Int64:
			fill = []float64{-9223372036854775806}
		case UInt64:
			fill = []float64{18446744073709551614}
		case Float, Double:
			fill = []float64{fillFloat}
		}
	}
	return append(fill[:len(fill):len(fill)], floats(lookup(v.Attributes, "missing_value"))...), low, high
}

// fillFloat is the netCDF library's value for a float or double that was not
// written, exact in both.
const fillFloat = 9.9692099683868690e+36
