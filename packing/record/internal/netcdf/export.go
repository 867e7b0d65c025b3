package netcdf

import (
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// Signals returns a table as a Dataset that File reads back: each axis is the
// coordinate variable of a dimension of its name, columns without an axis share
// the dimension "row". Moments become seconds since the first of them. What
// stands above and below the columns become attributes of the file.
func Signals(t source.Table) (Dataset, error) {
	var d Dataset
	names := map[string]bool{}
	unique := func(name string) string {
		name = variableName(name)
		for n, base := 2, name; names[name]; n++ {
			name = fmt.Sprintf("%s %d", base, n)
		}
		names[name] = true
		return name
	}
	for i, e := range append(append([]source.Entry(nil), t.Meta...), t.Notes...) {
		key := e.Key
		if key == "" {
			key = fmt.Sprintf("line %d", i+1)
		}
		d.Attributes = append(d.Attributes, Attribute{unique(key), e.Value})
	}
	names = map[string]bool{}
	isAxis := map[int]bool{}
	for _, c := range t.Columns {
		isAxis[c.Axis] = true
	}
	over := map[int]int{} // dimension of each axis; -1 stands for rows without one
	for i, c := range t.Columns {
		key := c.Axis
		if isAxis[i] {
			key = i
		}
		name := unique(c.Name)
		k, ok := over[key]
		switch {
		case !ok:
			dim := name
			if key < 0 {
				dim = unique("row")
			} else if key != i {
				return d, source.Error{Problem: fmt.Sprintf("column %q stands before its axis", c.Name), Remedy: "put axes first"}
			}
			k = len(d.Dimensions)
			over[key] = k
			d.Dimensions = append(d.Dimensions, Dimension{Name: dim, Length: length(c)})
		case d.Dimensions[k].Length != length(c):
			return d, source.Error{Problem: fmt.Sprintf("column %q has %d rows, its axis %d", c.Name, length(c), d.Dimensions[k].Length), Remedy: "give every row a place"}
		}
		v := Variable{Name: name, Dimensions: []int{k}}
		unit := c.Unit
		switch {
		case c.Texts != nil:
			width := 1
			for _, s := range c.Texts {
				width = max(width, len(s))
			}
			v.Dimensions = append(v.Dimensions, len(d.Dimensions))
			d.Dimensions = append(d.Dimensions, Dimension{Name: unique("length of " + c.Name), Length: width})
			var b strings.Builder
			for _, s := range c.Texts {
				b.WriteString(s + strings.Repeat("\x00", width-len(s)))
			}
			v.Data = b.String()
		case c.Times != nil:
			var start time.Time
			values := make([]float64, len(c.Times))
			for i, at := range c.Times {
				if start.IsZero() {
					start = at
				}
				values[i] = math.NaN()
				if !at.IsZero() {
					values[i] = float64(at.Sub(start)) / 1e9
				}
			}
			v.Data, unit = values, "s since "+start.Format("2006-01-02 15:04:05.999999999")
		default:
			v.Data = c.Values
		}
		if c.Name != name {
			v.Attributes = append(v.Attributes, Attribute{"long_name", c.Name})
		}
		if unit != "" {
			v.Attributes = append(v.Attributes, Attribute{"units", unit})
		}
		d.Variables = append(d.Variables, v)
	}
	return d, nil
}

func length(c source.Column) int { return max(len(c.Values), len(c.Texts), len(c.Times)) }

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
