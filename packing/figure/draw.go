package figure

import (
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// plot builds the axes and what is between them, below a key of that height. Only
// the last panel of a stack names its x axis.
func (f Figure) plot(width, height, keyed float64, last bool) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	title := ""
	if last {
		title = f.X.Title()
	}
	dress(&p.X, title, width, 90, 90)
	dress(&p.Y, f.Y.Title(), height, 50+keyed, 55)
	p.X.Min, p.X.Max = f.X.Min, f.X.Max
	if !(p.X.Max > p.X.Min) {
		p.X.Min, p.X.Max = spread(p.X.Min, p.X.Max)
	}
	p.Y.Min, p.Y.Max = f.ends(f.Y, alongY)
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
	atRight := at
	if f.hasRight() {
		lo, hi := f.ends(f.Right, alongRight)
		atRight = func(x, y float64) vg.Point {
			return vg.Point{X: tx(x / f.X.one()), Y: c.Y((y/f.Right.one() - lo) / (hi - lo))}
		}
	}
	labels := labels{inside: c.Rectangle}

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

	for _, b := range f.Bands {
		b.draw(c, at)
	}
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
			place, number := at, 0
			style := draw.LineStyle{Color: faint, Width: 0.8}
			if line.Right {
				place = atRight
			}
			if !line.Faint {
				style = draw.LineStyle{Color: colourOf(n), Width: 1.6, Dashes: dashes[n%len(dashes)]}
				number = n
				n++
			}
			if line.Faint == pass {
				line.draw(c, place, style, number)
			}
		}
	}
	for _, m := range f.Marks {
		m.draw(c, at, &labels)
	}
	labels.draw(c)
	c.StrokeLines(draw.LineStyle{Color: ink, Width: 0.8}, []vg.Point{c.Min, {X: c.Min.X, Y: c.Max.Y}, c.Max, {X: c.Max.X, Y: c.Min.Y}, c.Min})
}

// draw draws a line of points, broken where one is missing, with the markers of
// its number among the lines.
func (l Line) draw(c draw.Canvas, at func(x, y float64) vg.Point, style draw.LineStyle, number int) {
	var run, dots []vg.Point
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
		pt := at(x, y)
		run = append(run, pt)
		if l.Dots && c.Contains(pt) {
			dots = append(dots, pt)
		}
	}
	flush()
	for _, pt := range sparse(dots) {
		marker(c, pt, style.Color, markerSize, number)
	}
}

// draw fills the band, broken where a point is missing, and draws its edges.
func (b Band) draw(c draw.Canvas, at func(x, y float64) vg.Point) {
	var low, high []vg.Point
	flush := func() {
		if len(low) > 1 {
			lower, upper := thinned(low), thinned(high)
			around := append([]vg.Point(nil), upper...)
			for i := len(lower) - 1; i >= 0; i-- {
				around = append(around, lower[i])
			}
			c.FillPolygon(tint(colourOf(b.Colour)), c.ClipPolygonXY(around))
			edge := draw.LineStyle{Color: colourOf(b.Colour), Width: 0.6}
			c.StrokeLines(edge, c.ClipLinesXY(upper)...)
			c.StrokeLines(edge, c.ClipLinesXY(lower)...)
		}
		low, high = low[:0], high[:0]
	}
	for i := range min(b.Low.Len(), b.High.Len()) {
		x, lo := b.Low.XY(i)
		x2, hi := b.High.XY(i)
		if sum := x + x2 + lo + hi; math.IsNaN(sum) || math.IsInf(sum, 0) {
			flush()
			continue
		}
		low, high = append(low, at(x, lo)), append(high, at(x2, hi))
	}
	flush()
}

// markerSize is the radius of the markers of lines.
const markerSize = 2.6

// marker fills a shape of about one area for all: a circle, a square, a triangle,
// a diamond, a triangle on its tip, a cross.
func marker(c draw.Canvas, at vg.Point, colour color.Color, radius vg.Length, number int) {
	var corners []vg.Point
	switch number % len(palette) {
	case 0:
		dot(c, at, colour, radius)
		return
	case 1:
		corners = []vg.Point{{X: -0.9, Y: -0.9}, {X: 0.9, Y: -0.9}, {X: 0.9, Y: 0.9}, {X: -0.9, Y: 0.9}}
	case 2:
		corners = []vg.Point{{X: -1.25, Y: -0.9}, {X: 1.25, Y: -0.9}, {Y: 1.3}}
	case 3:
		corners = []vg.Point{{X: -1.3}, {Y: -1.3}, {X: 1.3}, {Y: 1.3}}
	case 4:
		corners = []vg.Point{{X: -1.25, Y: 0.9}, {X: 1.25, Y: 0.9}, {Y: -1.3}}
	default:
		const a, b = 0.4, 1.4
		corners = []vg.Point{{X: a, Y: a}, {X: a, Y: b}, {X: -a, Y: b}, {X: -a, Y: a}, {X: -b, Y: a}, {X: -b, Y: -a},
			{X: -a, Y: -a}, {X: -a, Y: -b}, {X: a, Y: -b}, {X: a, Y: -a}, {X: b, Y: -a}, {X: b, Y: a}}
	}
	for i, p := range corners {
		corners[i] = vg.Point{X: at.X + radius*p.X, Y: at.Y + radius*p.Y}
	}
	c.FillPolygon(colour, corners)
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

// thinned leaves out points that cannot be told apart: of all that follow each
// other in one column of half a pixel it keeps the first, lowest, highest and
// last.
func thinned(pts []vg.Point) []vg.Point {
	if len(pts) < 2000 {
		return pts
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

// sparse leaves out markers that others cover: of many it keeps one in each
// square of a pixel, of very many one in each square of three, which a marker
// still fills.
func sparse(dots []vg.Point) []vg.Point {
	for _, side := range []vg.Length{1, 3} {
		if len(dots) < 2000 {
			break
		}
		taken := make(map[[2]int]bool, len(dots))
		kept := dots[:0:0]
		for _, pt := range dots {
			square := [2]int{int(pt.X / side), int(pt.Y / side)}
			if !taken[square] {
				taken[square] = true
				kept = append(kept, pt)
			}
		}
		dots = kept
		if len(dots) < 20_000 {
			break
		}
	}
	return dots
}

// draw draws a mark and notes its label.
func (m Mark) draw(c draw.Canvas, at func(x, y float64) vg.Point, labels *labels) {
	from, to := at(m.X1, m.Y1), at(m.X2, m.Y2)
	colour := colourOf(m.Colour)
	if from == to {
		dot(c, from, colour, 3.2)
		labels.dots = append(labels.dots, from)
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

// key draws the names of lines and bands above the axes and returns the height it
// took: 0 if nothing has a name.
func (f Figure) key(c draw.Canvas) vg.Length {
	style := textStyle(11, false)
	style.YAlign = draw.YCenter
	x, named := c.Min.X+44, false
	rows := vg.Length(1)
	entry := func(name string, sample func(x, y vg.Length)) {
		name = clipped(style, name, c.Max.X-c.Min.X-44-28)
		wide := 28 + style.Width(name) + 18
		if named && x+wide > c.Max.X {
			x = c.Min.X + 44
			rows++
		}
		named = true
		y := c.Max.Y - (rows-0.5)*keySpace + 4
		sample(x, y)
		c.FillText(style, vg.Point{X: x + 28, Y: y}, name)
		x += wide
	}
	n := 0
	for _, line := range f.Lines {
		number := 0
		stroke := draw.LineStyle{Color: faint, Width: 0.8}
		if !line.Faint {
			stroke = draw.LineStyle{Color: colourOf(n), Width: 1.6, Dashes: dashes[n%len(dashes)]}
			number = n
			n++
		}
		name := line.Name
		if name == "" {
			continue
		}
		if line.Right {
			name += " (right axis)"
		}
		entry(name, func(x, y vg.Length) {
			if !line.Bare {
				c.StrokeLine2(stroke, x, y, x+22, y)
			}
			if line.Dots {
				marker(c, vg.Point{X: x + 11, Y: y}, stroke.Color, markerSize, number)
			}
		})
	}
	for _, b := range f.Bands {
		if b.Name == "" {
			continue
		}
		entry(b.Name, func(x, y vg.Length) {
			colour := colourOf(b.Colour)
			box := vg.Rectangle{Min: vg.Point{X: x, Y: y - 5}, Max: vg.Point{X: x + 22, Y: y + 5}}
			c.SetColor(tint(colour))
			c.Fill(box.Path())
			edge := draw.LineStyle{Color: colour, Width: 0.6}
			c.StrokeLine2(edge, x, y+5, x+22, y+5)
			c.StrokeLine2(edge, x, y-5, x+22, y-5)
		})
	}
	if !named {
		return 0
	}
	return rows * keySpace
}
