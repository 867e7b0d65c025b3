package figure

import (
	"fmt"
	"math"
	"strings"
)

// describe returns the description, or one made of axes, lines and limits.
func (s Stack) describe() string {
	if s.Description != "" || len(s.Panels) == 0 {
		return s.Description
	}
	parts := make([]string, len(s.Panels))
	for i, f := range s.Panels {
		f.X = s.Panels[0].X
		parts[i] = f.describe()
	}
	return strings.Join(parts, " ")
}

// describe says what the figure shows.
func (f Figure) describe() string {
	if f.Description != "" {
		return f.Description
	}
	var said []string
	for i, l := range f.Lines {
		name, y := l.Name, f.Y
		if name == "" {
			name = "line"
			if len(f.Lines) > 1 {
				name = fmt.Sprintf("line %d", i+1)
			}
		}
		if l.Right {
			y = f.Right
		}
		said = append(said, fmt.Sprintf("%s: %s", name, stretch(l.Points, f.X, y)))
	}
	for i, b := range f.Bands {
		name := b.Name
		if name == "" {
			name = fmt.Sprintf("band %d", i+1)
		}
		said = append(said, fmt.Sprintf("%s: low edge %s; high edge %s", name, stretch(b.Low, f.X, f.Y), stretch(b.High, f.X, f.Y)))
	}
	for _, v := range f.Levels {
		said = append(said, strings.TrimSpace(fmt.Sprintf("limit %s at %s", v.Label, f.Y.write(v.Y))))
	}
	for _, v := range f.Spans {
		said = append(said, strings.TrimSpace(fmt.Sprintf("stretch %s from %s to %s", v.Label, f.X.write(v.From), f.X.write(v.To))))
	}
	for _, m := range f.Marks {
		if m.Label != "" {
			said = append(said, "marked: "+m.Label)
		}
	}
	axes := f.Y.Title()
	if f.hasRight() {
		axes += " and, on the right, " + f.Right.Title()
	}
	s := strings.TrimSpace(axes + " against " + f.X.Title())
	if len(said) == 0 {
		return s + ", without points."
	}
	return s + ". " + strings.Join(said, "; ") + "."
}

// write returns a position with its unit to four digits.
func (a Axis) write(v float64) string {
	return strings.TrimSpace(fmt.Sprintf("%.4g %s", v/a.one()+0, a.Unit))
}

// stretch says from where to where a series goes.
func stretch(s Series, x, y Axis) string {
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	n := 0
	for i := range s.Len() {
		var v [2]float64
		if v[0], v[1] = s.XY(i); math.IsNaN(v[0]+v[1]) || math.IsInf(v[0]+v[1], 0) {
			continue
		}
		n++
		for j := range v {
			lo[j], hi[j] = math.Min(lo[j], v[j]), math.Max(hi[j], v[j])
		}
	}
	switch n {
	case 0:
		return "no points"
	case 1:
		return fmt.Sprintf("1 point, %s at %s", y.write(lo[1]), x.write(lo[0]))
	}
	return fmt.Sprintf("%d points, %s to %s, from %s to %s", n, y.write(lo[1]), y.write(hi[1]), x.write(lo[0]), x.write(hi[0]))
}
