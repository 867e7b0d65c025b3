package figure

import (
	"image/color"
	"math"

	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// labels are texts that keep clear of each other and of the dots of marks.
type labels struct {
	inside vg.Rectangle
	wanted []label
	dots   []vg.Point

	taken   []vg.Rectangle
	leaders [][2]vg.Point
}

type label struct {
	text   string
	at     vg.Point
	place  Place
	colour color.RGBA
}

func (l *labels) add(text string, at vg.Point, place Place, colour color.RGBA) {
	if text != "" {
		l.wanted = append(l.wanted, label{text, at, place, colour})
	}
}

func labelStyle() text.Style {
	s := textStyle(11, false)
	s.YAlign = draw.YBottom
	return s
}

// draw writes every label at its place, or at the next that is free, or further
// away at the end of a line. Where there is no room at all, it stands at its
// place on top of others.
func (l *labels) draw(c draw.Canvas) {
	style := labelStyle()
	for i, w := range l.wanted {
		l.wanted[i].text = clipped(style, w.text, l.inside.Max.X-l.inside.Min.X-4)
		size := vg.Point{X: style.Width(l.wanted[i].text), Y: 13}
		box, far := l.place(w, size)
		if far {
			end := nearest(w.at, box)
			c.StrokeLine2(draw.LineStyle{Color: w.colour, Width: 0.6}, w.at.X, w.at.Y, end.X, end.Y)
			l.leaders = append(l.leaders, [2]vg.Point{w.at, end})
		}
		l.taken = append(l.taken, box)
	}
	for i, w := range l.wanted {
		box := l.taken[i]
		c.SetColor(color.NRGBA{0xff, 0xff, 0xff, 0xc8}) // lines shine through
		c.Fill(vg.Rectangle{Min: vg.Point{X: box.Min.X - 1, Y: box.Min.Y}, Max: vg.Point{X: box.Max.X + 1, Y: box.Max.Y}}.Path())
		style.Color = darker(w.colour)
		c.FillText(style, vg.Point{X: box.Min.X, Y: box.Min.Y + 3}, w.text)
	}
}

// nearest returns the point of a box that is nearest to another.
func nearest(to vg.Point, box vg.Rectangle) vg.Point {
	return vg.Point{X: min(max(to.X, box.Min.X), box.Max.X), Y: min(max(to.Y, box.Min.Y), box.Max.Y)}
}

// place returns the box of a label, and whether it stands so far from its mark
// that a line has to lead there. Lines run through other labels only where there
// is no other way.
func (l *labels) place(w label, size vg.Point) (box vg.Rectangle, far bool) {
	for _, place := range []Place{w.place, Above, Below, RightOf, LeftOf} {
		if try := l.fit(w, size, place); l.free(try, w.at) && l.clear(try) {
			return try, false
		}
	}
	if seen := (&draw.Canvas{Rectangle: l.inside}).Contains(w.at); !seen { // no line to it
		return l.fit(w, size, w.place), false
	}
	first := map[Place]float64{Above: math.Pi / 2, Below: -math.Pi / 2, LeftOf: math.Pi, RightOf: 0}[w.place]
	for _, strict := range []bool{true, false} {
		for reach := 20.0; reach <= 220; reach += 10 {
			for turn := range 16 { // from the place that was asked for to both sides
				sin, cos := math.Sincos(first + math.Pi/8*float64((turn+1)/2)*float64(1-2*(turn%2)))
				corner := vg.Point{
					X: w.at.X + vg.Length(reach*cos) - size.X/2 + size.X/2*vg.Length(cos),
					Y: w.at.Y + vg.Length(reach*sin) - size.Y/2,
				}
				try := vg.Rectangle{Min: corner, Max: corner.Add(size)}
				if l.within(try) && l.free(try, w.at) && (!strict || l.clear(try) && !l.crossed(w.at, try)) {
					return try, true
				}
			}
		}
	}
	return l.fit(w, size, w.place), false
}

// within reports whether a box lies inside the axes.
func (l *labels) within(box vg.Rectangle) bool {
	return box.Min.X >= l.inside.Min.X+2 && box.Max.X <= l.inside.Max.X-2 && box.Min.Y >= l.inside.Min.Y+1 && box.Max.Y <= l.inside.Max.Y-1
}

// free reports whether a box is clear of labels and of the dots but its own.
func (l *labels) free(box vg.Rectangle, own vg.Point) bool {
	for _, t := range l.taken {
		if box.Min.X < t.Max.X+3 && t.Min.X < box.Max.X+3 && box.Min.Y < t.Max.Y && t.Min.Y < box.Max.Y {
			return false
		}
	}
	for _, d := range l.dots {
		if d != own && box.Min.X < d.X+3 && d.X-3 < box.Max.X && box.Min.Y < d.Y+3 && d.Y-3 < box.Max.Y {
			return false
		}
	}
	return true
}

// clear reports whether no line that leads to a label runs through a box.
func (l *labels) clear(box vg.Rectangle) bool {
	for _, s := range l.leaders {
		if meets(s, box) {
			return false
		}
	}
	return true
}

// crossed reports whether the line from a mark to its box would run through
// another label.
func (l *labels) crossed(from vg.Point, box vg.Rectangle) bool {
	end := nearest(from, box)
	for _, t := range l.taken {
		if meets([2]vg.Point{from, end}, t) {
			return true
		}
	}
	return false
}

// meets reports whether a line from point to point runs through a box: whether
// some stretch of it is inside along both axes (Liang, Barsky).
func meets(line [2]vg.Point, box vg.Rectangle) bool {
	from, to := vg.Length(0), vg.Length(1)
	for _, axis := range [][4]vg.Length{
		{line[0].X, line[1].X - line[0].X, box.Min.X, box.Max.X},
		{line[0].Y, line[1].Y - line[0].Y, box.Min.Y, box.Max.Y},
	} {
		start, step, lo, hi := axis[0], axis[1], axis[2], axis[3]
		if step == 0 {
			if start <= lo || start >= hi {
				return false
			}
			continue
		}
		a, b := (lo-start)/step, (hi-start)/step
		from, to = max(from, min(a, b)), min(to, max(a, b))
	}
	return from < to
}

// fit returns the box of a label at a place, moved inside the axes.
func (l *labels) fit(w label, size vg.Point, place Place) vg.Rectangle {
	const gap = 4
	min := vg.Point{X: w.at.X - size.X/2, Y: w.at.Y - size.Y/2}
	switch place {
	case Above:
		min.Y = w.at.Y + gap
	case Below:
		min.Y = w.at.Y - gap - size.Y
	case LeftOf:
		min.X = w.at.X - 2*gap - size.X
	case RightOf:
		min.X = w.at.X + 2*gap
	}
	if over := min.X + size.X - (l.inside.Max.X - 2); over > 0 {
		min.X -= over
	}
	if under := l.inside.Min.X + 2 - min.X; under > 0 {
		min.X += under
	}
	if over := min.Y + size.Y - (l.inside.Max.Y - 1); over > 0 {
		min.Y -= over
	}
	if under := l.inside.Min.Y + 1 - min.Y; under > 0 {
		min.Y += under
	}
	return vg.Rectangle{Min: min, Max: vg.Point{X: min.X + size.X, Y: min.Y + size.Y}}
}

// darker returns a colour with more contrast, for text.
func darker(c color.RGBA) color.RGBA {
	return color.RGBA{c.R / 4 * 3, c.G / 4 * 3, c.B / 4 * 3, 0xff}
}
