package netcdf

import (
	"fmt"
	"math"
	"strings"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// Chromatogram makes a dataset after ASTM E1947 of one signal and its axis of
// time, both columns of the table. Times that delay and interval give to the
// last bit are written as these, else one by one. The file is said to be of the
// kind C1, which holds raw data. Numbers that single precision
// holds are written in it, as the standard has them, the others in double.
func Chromatogram(t source.Table, column int) (Dataset, error) {
	refuse := func(problem string) (Dataset, error) {
		return Dataset{}, source.Error{Problem: problem, Remedy: "write it with the general layout, or as text or Parquet"}
	}
	if column < 0 || column >= len(t.Columns) || t.Columns[column].Values == nil {
		return refuse(fmt.Sprintf("column %d holds no numbers", column+1))
	}
	y := t.Columns[column]
	if y.Axis < 0 || y.Axis >= len(t.Columns) || t.Columns[y.Axis].Values == nil {
		return refuse(fmt.Sprintf("%q has no axis of numbers", y.Name))
	}
	x := t.Columns[y.Axis]
	n := len(y.Values)
	if len(x.Values) != n || n == 0 {
		return refuse(fmt.Sprintf("%q has %d values at %d times", y.Name, n, len(x.Values)))
	}
	d := Dataset{Dimensions: []Dimension{{Name: pointNumber, Length: n}}}
	d.Attributes = attributes(t.Meta, map[string]string{completeness: "C1", retentionUnit: x.Unit, detectorName: y.Name, detectorUnit: y.Unit})
	flag := "Y"
	start, step := even(x.Values)
	if step == 0 {
		flag = "N"
	}
	ordinate := numeric(ordinates, y.Values)
	ordinate.Attributes = append(ordinate.Attributes, Attribute{uniform, flag})
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range y.Values {
		if v == v {
			low, high = min(low, v), max(high, v)
		}
	}
	d.Variables = append(d.Variables, ordinate)
	single := func(name string, v float64) {
		s := numeric(name, []float64{v})
		s.Dimensions = nil
		d.Variables = append(d.Variables, s)
	}
	if low <= high {
		single("detector_minimum_value", low)
		single("detector_maximum_value", high)
	}
	single(delay, start)
	single(interval, step)
	single("actual_run_time_length", x.Values[n-1]-x.Values[0])
	if flag == "N" {
		d.Variables = append(d.Variables, numeric(retentions, x.Values))
	}
	return d, nil
}

// even returns start and step of times that are start + i step to the last bit;
// a step of 0 if they are not.
func even(x []float64) (start, step float64) {
	if start = x[0]; len(x) < 2 {
		return start, 0
	}
	step = x[1] - x[0]
	if last := (x[len(x)-1] - x[0]) / float64(len(x)-1); reproduces(x, start, last) {
		step = last
	} else if !reproduces(x, start, step) {
		step = 0
	}
	if !(step > 0) || math.IsInf(step, 0) {
		return start, 0
	}
	return start, step
}

// reproduces tells whether start and step give the times exactly.
func reproduces(x []float64, start, step float64) bool {
	for i, v := range x {
		if start+float64(float64(i)*step) != v {
			return false
		}
	}
	return true
}

// numeric makes a variable over the first dimension, in single precision if
// that loses nothing. A value that happens to be the one for "not written" gets
// another such value beside it.
func numeric(name string, values []float64) Variable {
	v := Variable{Name: name, Dimensions: []int{0}}
	narrow := make([]float32, len(values))
	fits, fill := true, false
	for i, x := range values {
		narrow[i] = float32(x)
		fits = fits && (x != x || float64(narrow[i]) == x)
		fill = fill || x == fillFloat
	}
	v.Data = values
	if fits {
		v.Data = narrow
	}
	if fill {
		nan := Attribute{"_FillValue", []float64{math.NaN()}}
		if fits {
			nan.Data = []float32{float32(math.NaN())}
		}
		v.Attributes = append(v.Attributes, nan)
	}
	return v
}

// attributes makes notes of a file of a table's. Those of the layout win.
func attributes(meta []source.Entry, own map[string]string) []Attribute {
	var list []Attribute
	used := map[string]bool{}
	for _, name := range []string{completeness, detectorName, detectorUnit, retentionUnit} {
		if value, ok := own[name]; ok {
			used[plain(name)] = true
			if value != "" {
				list = append(list, Attribute{name, value})
			}
		}
	}
	// Single values of the layout are variables.
	for _, name := range []string{delay, interval, uniform, ordinates, retentions, "actual_run_time_length", "detector_minimum_value", "detector_maximum_value"} {
		used[plain(name)] = true
	}
	for _, e := range meta {
		name := variableName(e.Key)
		if e.Key == "" || used[plain(name)] || len(list) >= maxAttributes {
			continue
		}
		used[plain(name)] = true
		list = append(list, Attribute{name, e.Value})
	}
	return list
}

// Signals makes a dataset of all columns of a table that hold numbers or texts:
// an axis is the coordinate variable of a dimension, and columns without an
// axis share a dimension with those of their length.
func Signals(t source.Table) (Dataset, error) {
	refuse := func(problem, remedy string) (Dataset, error) {
		return Dataset{}, source.Error{Problem: problem, Remedy: remedy}
	}
	d := Dataset{Attributes: attributes(t.Meta, nil)}
	names := map[string]bool{}
	isAxis := map[int]bool{}
	for _, c := range t.Columns {
		if c.Axis >= 0 && c.Axis < len(t.Columns) {
			isAxis[c.Axis] = true
		}
	}
	ofAxis, ofLength := map[int]int{}, map[int]int{} // dimensions
	for i, c := range t.Columns {
		name := variableName(c.Name)
		if names[name] {
			return refuse(fmt.Sprintf("column %d: the name %q is there already", i+1, c.Name), "give every column a name of its own")
		}
		names[name] = true
		if c.Times != nil {
			return refuse(fmt.Sprintf("column %q holds moments", c.Name), "count them as seconds from a start")
		}
		if isAxis[i] {
			ofAxis[i] = len(d.Dimensions)
			d.Dimensions = append(d.Dimensions, dimension(name, max(len(c.Values), len(c.Texts))))
		}
	}
	for i, c := range t.Columns {
		n := max(len(c.Values), len(c.Texts))
		axis := c.Axis
		if isAxis[i] {
			axis = i
		}
		dim, ok := ofAxis[axis]
		if !ok {
			if dim, ok = ofLength[n]; !ok {
				dim = len(d.Dimensions)
				ofLength[n] = dim
				row := "row"
				for names[row] {
					row += "_"
				}
				names[row] = true
				d.Dimensions = append(d.Dimensions, dimension(row, n))
			}
		}
		if d.Dimensions[dim].Length != n {
			return refuse(fmt.Sprintf("column %q has %d values, its axis %d", c.Name, n, d.Dimensions[dim].Length), "make them of equal length")
		}
		var v Variable
		if c.Values != nil {
			v = numeric(variableName(c.Name), c.Values)
			v.Dimensions = []int{dim}
		} else {
			v = d.texts(c, dim, names)
		}
		switch {
		case !c.Start.IsZero() && c.Values != nil:
			v.Attributes = append(v.Attributes, Attribute{"units", since(c.Unit, c.Start)}, Attribute{"calendar", "proleptic_gregorian"})
		case c.Unit != "":
			v.Attributes = append(v.Attributes, Attribute{"units", c.Unit})
		}
		if v.Name != c.Name {
			v.Attributes = append(v.Attributes, Attribute{"long_name", c.Name})
		}
		d.Variables = append(d.Variables, v)
	}
	unlimited := 0
	for _, dim := range d.Dimensions {
		if dim.Unlimited {
			unlimited++
		}
	}
	if unlimited > 1 {
		return refuse("columns of several axes are empty, and netCDF has room for one", "leave them out, or write CSV or Parquet")
	}
	return d, nil
}

// dimension returns a dimension of n entries. The format has none of zero but
// the one that records make, when there is no record.
func dimension(name string, n int) Dimension {
	return Dimension{Name: name, Length: n, Unlimited: n == 0}
}

// texts makes a variable of texts, padded with NUL to one length, which is a
// dimension.
func (d *Dataset) texts(c source.Column, dim int, names map[string]bool) Variable {
	width := 1
	for _, s := range c.Texts {
		width = max(width, len(s))
	}
	length := fmt.Sprintf("_%d_byte_string", width)
	at := -1
	for i, other := range d.Dimensions {
		if other.Name == length {
			at = i
		}
	}
	if at < 0 {
		at = len(d.Dimensions)
		names[length] = true
		d.Dimensions = append(d.Dimensions, Dimension{Name: length, Length: width})
	}
	var b strings.Builder
	for _, s := range c.Texts {
		b.WriteString(s + strings.Repeat("\x00", width-len(s)))
	}
	return Variable{Name: variableName(c.Name), Dimensions: []int{dim, at}, Data: b.String()}
}

// variableName makes a name that the format allows: no slash, no control
// character, something at the front, no blank at the end.
func variableName(name string) string {
	name = strings.Map(func(r rune) rune {
		if r == '/' || r < ' ' || r == 0x7f {
			return '_'
		}
		return r
	}, strings.TrimSpace(name))
	if name == "" {
		return "_"
	}
	return name
}
