package figure

import (
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// plot builds the axes and what is between them. Only the last panel of a stack
// names its x axis.
func (f Figure) plot(width, height float64, last bool) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	title := ""
	if last {
		title = f.X.Title()
	}
	dress(&p.X, title, width, 90)
	dress(&p.Y, f.Y.Title(), height, 55)
	p.X.Min, p.X.Max = f.X.Min, f.X.Max
	p.Y.Min, p.Y.Max = f.Y.Min, f.Y.Max
	if f.Y.Min == 0 && f.Y.Max == 0 {
		lo, hi := f.reach(false)
		lo, hi = lo/f.Y.one(), hi/f.Y.one()
		room := 0.06 * (hi - lo)
		p.Y.Min, p.Y.Max = lo-room, hi+room
		if lo >= 0 && lo < 0.25*hi { // near zero: show it
			p.Y.Min = 0
		}
	}
	if !(p.X.Max > p.X.Min) {
		p.X.Min, p.X.Max = spread(p.X.Min, p.X.Max)
	}
	if !(p.Y.Max > p.Y.Min) {
		p.Y.Min, p.Y.Max = spread(p.Y.Min, p.Y.Max)
	}
	if !last {
		p.X.Tick.Label.Font.Size = 0
		p.X.Tick.Label.Color = color.Transparent
	}
	p.Add(layer{f})
	return p
}

// spread makes a range of a single value, or of none.
func spread(lo, hi float64) (float64, float64) {
	if math.IsInf(lo, 0) || math.IsNaN(lo) {
		return 0, 1
	}
	d := math.Max(math.Abs(lo)*0.1, 1e-12)
	return lo - d, hi + d
}

// A layer draws everything between the axes.
type layer struct{ f Figure }

// Plot draws the layer.
func (l layer) Plot(c draw.Canvas, p *plot.Plot) {
	f := l.f
	tx, ty := p.Transforms(&c)
	at := func(x, y float64) vg.Point {
		return vg.Point{X: tx(x / f.X.one()), Y: ty(y / f.Y.one())}
	}
	var labels labels
	labels.inside = c.Rectangle

	for i, s := range f.Spans {
		from, to := at(s.From, 0).X, at(s.To, 0).X
		from, to = max(from, c.Min.X), min(to, c.Max.X)
		if to <= from {
			continue
		}
		c.SetColor(shades[i%len(shades)])
		c.Fill(vg.Rectangle{Min: vg.Point{X: from, Y: c.Min.Y}, Max: vg.Point{X: to, Y: c.Max.Y}}.Path())
		labels.add(s.Label, vg.Point{X: (from + to) / 2, Y: c.Max.Y - 1}, Below, ink)
	}
	g := plotter.NewGrid()
	g.Vertical = draw.LineStyle{Color: grid, Width: 0.6}
	g.Horizontal = g.Vertical
	g.Plot(c, p)

	for i, v := range f.Levels {
		y := at(0, v.Y).Y
		style := draw.LineStyle{Color: colourOf(1), Width: 1.2, Dashes: []vg.Length{7, 4}}
		c.StrokeLine2(style, c.Min.X, y, c.Max.X, y)
		place := Above
		if i > 0 && f.Levels[i-1].Y > v.Y && f.Levels[i-1].Y-v.Y < 0.08*f.Y.one()*(p.Y.Max-p.Y.Min) {
			place = Below
		}
		labels.add(v.Label, vg.Point{X: c.Max.X - 4 - labelStyle().Width(v.Label)/2, Y: y}, place, colourOf(1))
	}
	for _, pass := range []bool{true, false} { // faint lines go behind
		n := 0
		for _, line := range f.Lines {
			style := draw.LineStyle{Color: faint, Width: 0.8}
			if !line.Faint {
				style = draw.LineStyle{Color: colourOf(n), Width: 1.6, Dashes: dashes[n%len(dashes)]}
				n++
			}
			if line.Faint == pass {
				line.draw(c, at, style)
			}
		}
	}
	for _, m := range f.Marks {
		m.draw(c, at, &labels)
	}
	labels.draw(c)
	c.StrokeLines(draw.LineStyle{Color: ink, Width: 0.8}, []vg.Point{c.Min, {X: c.Min.X, Y: c.Max.Y}, c.Max, {X: c.Max.X, Y: c.Min.Y}, c.Min})
}

// draw draws a line of points, broken where one is missing.
func (l Line) draw(c draw.Canvas, at func(x, y float64) vg.Point, style draw.LineStyle) {
	var run []vg.Point
	flush := func() {
		if len(run) > 1 && !l.Bare {
			c.StrokeLines(style, c.ClipLinesXY(thinned(run))...)
		}
		run = run[:0]
	}
	for i := range l.Points.Len() {
		x, y := l.Points.XY(i)
		if math.IsNaN(x) || math.IsNaN(y) || math.IsInf(x, 0) || math.IsInf(y, 0) {
			flush()
			continue
		}
		run = append(run, at(x, y))
		if pt := run[len(run)-1]; l.Dots && c.Contains(pt) {
			dot(c, pt, style.Color, 2.6)
		}
	}
	flush()
}

// dot fills a circle.
func dot(c draw.Canvas, at vg.Point, colour color.Color, radius vg.Length) {
	var path vg.Path
	path.Move(vg.Point{X: at.X + radius, Y: at.Y})
	path.Arc(at, radius, 0, 2*math.Pi)
	path.Close()
	c.SetColor(colour)
	c.Fill(path)
}

// thinned leaves out points that cannot be told apart: of all points in one
// pixel column it keeps the first, lowest, highest and last. Lines that run
// backwards are kept whole.
func thinned(pts []vg.Point) []vg.Point {
	if len(pts) < 2000 {
		return pts
	}
	for i := 1; i < len(pts); i++ {
		if pts[i].X < pts[i-1].X {
			return pts
		}
	}
	var out []vg.Point
	for i := 0; i < len(pts); {
		column := math.Floor(float64(pts[i].X) * 2)
		lo, hi, j := i, i, i
		for ; j < len(pts) && math.Floor(float64(pts[j].X)*2) == column; j++ {
			if pts[j].Y < pts[lo].Y {
				lo = j
			}
			if pts[j].Y > pts[hi].Y {
				hi = j
			}
		}
		last := -1
		for _, k := range []int{i, min(lo, hi), max(lo, hi), j - 1} {
			if k != last {
				out = append(out, pts[k])
				last = k
			}
		}
		i = j
	}
	return out
}

// draw draws a mark and notes its label.
func (m Mark) draw(c draw.Canvas, at func(x, y float64) vg.Point, labels *labels) {
	from, to := at(m.X1, m.Y1), at(m.X2, m.Y2)
	colour := colourOf(m.Colour)
	if from == to {
		dot(c, from, colour, 3.2)
	} else {
		style := draw.LineStyle{Color: colour, Width: 1.3}
		if m.Dashed {
			style.Dashes = []vg.Length{3, 3}
		}
		c.StrokeLines(style, c.ClipLinesXY([]vg.Point{from, to})...)
		if m.Ends {
			dx, dy := float64(to.X-from.X), float64(to.Y-from.Y)
			n := math.Hypot(dx, dy)
			across := vg.Point{X: vg.Length(-dy / n * 4), Y: vg.Length(dx / n * 4)}
			style.Dashes = nil
			for _, end := range []vg.Point{from, to} {
				c.StrokeLine2(style, end.X-across.X, end.Y-across.Y, end.X+across.X, end.Y+across.Y)
			}
		}
	}
	labels.add(m.Label, vg.Point{X: (from.X + to.X) / 2, Y: (from.Y + to.Y) / 2}, m.Place, colour)
}

// labels are texts that keep clear of each other.
type labels struct {
	inside vg.Rectangle
	wanted []label
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

// draw writes every label at its place, or at the next that is free.
func (l labels) draw(c draw.Canvas) {
	var taken []vg.Rectangle
	for _, w := range l.wanted {
		style := labelStyle()
		style.Color = darker(w.colour)
		size := vg.Point{X: style.Width(w.text), Y: 13}
		box := l.fit(w, size, w.place)
		for _, place := range []Place{w.place, Above, Below, RightOf, LeftOf} {
			if try := l.fit(w, size, place); free(try, taken) {
				box = try
				break
			}
		}
		for i := 0; i < 8 && !free(box, taken); i++ { // move down until free
			box.Min.Y -= 4
			box.Max.Y -= 4
		}
		taken = append(taken, box)
		c.SetColor(color.NRGBA{0xff, 0xff, 0xff, 0xc8}) // lines shine through
		c.Fill(vg.Rectangle{Min: vg.Point{X: box.Min.X - 1, Y: box.Min.Y}, Max: vg.Point{X: box.Max.X + 1, Y: box.Max.Y}}.Path())
		c.FillText(style, vg.Point{X: box.Min.X, Y: box.Min.Y + 3}, w.text)
	}
}

// fit returns the box of a label at a place, moved inside the axes.
func (l labels) fit(w label, size vg.Point, place Place) vg.Rectangle {
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

func free(box vg.Rectangle, taken []vg.Rectangle) bool {
	for _, t := range taken {
		if box.Min.X < t.Max.X+3 && t.Min.X < box.Max.X+3 && box.Min.Y < t.Max.Y && t.Min.Y < box.Max.Y {
			return false
		}
	}
	return true
}

// darker returns a colour with more contrast, for text.
func darker(c color.RGBA) color.RGBA {
	return color.RGBA{c.R / 4 * 3, c.G / 4 * 3, c.B / 4 * 3, 0xff}
}

// key draws the lines' names above the axes and returns the height it took: 0
// if no line has a name.
func (f Figure) key(c draw.Canvas) vg.Length {
	style := textStyle(11, false)
	style.YAlign = draw.YCenter
	x, n, named := c.Min.X+44, 0, false
	rows := vg.Length(1)
	for _, line := range f.Lines {
		stroke := draw.LineStyle{Color: faint, Width: 0.8}
		if !line.Faint {
			stroke = draw.LineStyle{Color: colourOf(n), Width: 1.6, Dashes: dashes[n%len(dashes)]}
			n++
		}
		if line.Name == "" {
			continue
		}
		wide := 28 + style.Width(line.Name) + 18
		if named && x+wide > c.Max.X {
			x = c.Min.X + 44
			rows++
		}
		named = true
		y := c.Max.Y - (rows-0.5)*keySpace + 4
		if !line.Bare {
			c.StrokeLine2(stroke, x, y, x+22, y)
		}
		if line.Dots {
			dot(c, vg.Point{X: x + 11, Y: y}, stroke.Color, 2.6)
		}
		c.FillText(style, vg.Point{X: x + 28, Y: y}, line.Name)
		x += wide
	}
	if !named {
		return 0
	}
	return rows * keySpace
}
