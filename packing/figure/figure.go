// Package figure draws: lines and bands against axes with units, shaded stretches,
// limits and marked distances, as SVG text that stands on its own.
//
// A [Figure] is one pair of axes, or two y axes; a [Stack] puts several above each
// other with one x axis. Whatever has points can be drawn ([Series]), a million
// of them too: of those that fall together the first, lowest, highest and last
// are drawn, so that no peak is lost. The same figure gives the same text, byte
// for byte; it refers to nothing outside, carries its title and description for
// readers who do not see it, and has a white ground of its own, so that it reads
// on dark pages. [Figure.Raster] makes pixels of it, for where SVG does not show.
//
//	figure.Figure{
//		Title: "Pressure", X: figure.Axis{Label: "Velocity", Unit: "cm/h"},
//		Y: figure.Axis{Label: "Pressure", Unit: "bar"},
//		Lines: []figure.Line{{Name: "bed", Points: figure.Points{X: u, Y: p}}},
//	}
package figure

import (
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// A Series is anything with points.
type Series interface {
	Len() int
	XY(i int) (x, y float64)
}

// Points are points as two slices. What one slice has too many is left out.
type Points struct{ X, Y []float64 }

// Len returns the number of points.
func (p Points) Len() int { return min(len(p.X), len(p.Y)) }

// XY returns point i.
func (p Points) XY(i int) (x, y float64) { return p.X[i], p.Y[i] }

var _ Series = Points{}

// An Axis is named with its unit. One is the size of that unit in the numbers
// of the series: 60 to show seconds in minutes. Zero stands for 1. The numbers of
// a trace are seconds or cubic metres, and trace.Figure sets One for them.
type Axis struct {
	Label, Unit string
	One         float64
	// Min and Max are the ends of the axis in its unit; both zero: as the
	// series need it.
	Min, Max float64
}

func (a Axis) one() float64 {
	if a.One == 0 {
		return 1
	}
	return a.One
}

// Title returns label and unit.
func (a Axis) Title() string {
	if a.Unit == "" {
		return a.Label
	}
	return a.Label + " (" + a.Unit + ")"
}

// A Line is a series drawn as a line. Lines take their colours, dashes and
// markers in order.
type Line struct {
	Name   string // in the key; empty: not in it
	Points Series
	Dots   bool // a marker at every point
	Bare   bool // no line between the markers
	Faint  bool // grey and thin, behind the others
	Right  bool // against the axis on the right
}

// A Band is the filled stretch between two series, behind the lines: a
// confidence band. Points with equal numbers are its two edges at one x.
type Band struct {
	Name      string // in the key; empty: not in it
	Low, High Series
	Colour    int // in the order of the lines' colours, from 0
}

// A Place is where a label stands from its mark.
type Place int

// The places.
const (
	Above Place = iota
	Below
	LeftOf
	RightOf
)

// A Mark is a distance between two points that is not data, with a label at its
// middle; between equal points it is a dot.
type Mark struct {
	X1, Y1, X2, Y2 float64
	Label          string
	Place          Place
	Dashed         bool
	Ends           bool // short strokes across both ends
	Colour         int  // in the order of the lines' colours, from 0
}

// A Level is a limit: a dashed line across the figure at the height Y.
type Level struct {
	Y     float64
	Label string
}

// A Span is a shaded stretch of the x axis.
type Span struct {
	From, To float64
	Label    string
}

// A Figure is one pair of axes and what is drawn between them. All positions
// are in the numbers of the series.
type Figure struct {
	Title       string
	Description string // in words, for those who do not see it; empty: made of axes and lines
	X, Y        Axis
	Right       Axis // a second y axis, for the lines with Right; drawn if there are any
	Spans       []Span
	Bands       []Band
	Lines       []Line
	Levels      []Level
	Marks       []Mark
	// Width and Height are in CSS pixels; zero: 720 and 400.
	Width, Height int
}

// SVG draws the figure.
func (f Figure) SVG() string { return f.stack().SVG() }

// stack returns the figure as a stack of one.
func (f Figure) stack() Stack {
	return Stack{Title: f.Title, Description: f.Description, Panels: []Figure{f}, Width: f.Width}
}

// String returns title and description.
func (f Figure) String() string { return f.stack().String() }

// A Stack is several figures above each other, with the x axis of the first.
// Titles of the panels are not drawn: their y axes name them.
type Stack struct {
	Title       string
	Description string
	Panels      []Figure
	Width       int // in CSS pixels; zero: 720
}

// String returns title and description.
func (s Stack) String() string {
	if s.Title == "" {
		return s.describe()
	}
	return s.Title + ". " + s.describe()
}

// The spaces around the axes, in pixels.
const (
	edge       = 10
	titleSpace = 24
	titleLine  = 18 // for every line of a title behind the first
	keySpace   = 20
	panelSpace = 14
)

// A layout is a stack with its sizes, in pixels.
type layout struct {
	Stack
	title         []string
	width, height float64
	heights       []float64 // of the panels
}

func (s Stack) layout() layout {
	l := layout{Stack: s, width: float64(s.Width), heights: make([]float64, len(s.Panels))}
	if l.width == 0 {
		l.width = 720
	}
	l.height = 2.0 * edge
	if s.Title != "" {
		l.title = broken(titleStyle(), s.Title, vg.Length(l.width-2*edge))
		l.height += titleSpace + titleLine*float64(len(l.title)-1)
	}
	for i, f := range s.Panels {
		l.heights[i] = float64(f.Height)
		if l.heights[i] == 0 {
			l.heights[i] = 400
			if len(s.Panels) > 1 {
				l.heights[i] = 220
			}
		}
		l.height += l.heights[i]
		if i > 0 {
			l.height += panelSpace
		}
	}
	return l
}

// SVG draws the stack.
func (s Stack) SVG() string {
	l := s.layout()
	c := newCanvas(l.width, l.height)
	l.draw(c)
	return c.document(s.Title, s.describe())
}

// draw draws the stack on a canvas of its size.
func (s layout) draw(c vg.Canvas) {
	width, heights := s.width, s.heights
	whole := draw.NewCanvas(c, vg.Length(width), vg.Length(s.height))
	whole.SetColor(ground)
	whole.Fill(whole.Rectangle.Path())
	area := draw.Crop(whole, edge, -edge-6, edge, -edge)
	for i, line := range s.title {
		area.FillText(titleStyle(), vg.Point{X: area.Min.X, Y: area.Max.Y - vg.Length(i)*titleLine}, line)
	}
	if n := len(s.title); n > 0 {
		area.Max.Y -= titleSpace + vg.Length(n-1)*titleLine
	}
	if len(s.Panels) == 0 {
		return
	}

	// One x axis for all, and the y axes under each other.
	x := s.Panels[0].X
	if x.Min == 0 && x.Max == 0 {
		x.Min, x.Max = math.Inf(1), math.Inf(-1)
		for _, f := range s.Panels {
			lo, hi := f.reach(alongX)
			x.Min, x.Max = math.Min(x.Min, lo/x.one()), math.Max(x.Max, hi/x.one())
		}
	}
	plots := make([]*plot.Plot, len(s.Panels))
	areas := make([]draw.Canvas, len(s.Panels))
	left, right := vg.Length(0), area.Max.X // edges of the narrowest axes
	for i, f := range s.Panels {
		f.X = x
		areas[i] = area
		areas[i].Min.Y = area.Max.Y - vg.Length(heights[i])
		area.Max.Y = areas[i].Min.Y - panelSpace
		keyed := f.key(areas[i])
		areas[i].Max.Y -= keyed
		plots[i] = f.plot(width, heights[i], float64(keyed), i == len(s.Panels)-1)
		areas[i].Max.X -= f.rightSpace(heights[i])
		inner := plots[i].DataCanvas(areas[i])
		left, right = max(left, inner.Min.X), min(right, inner.Max.X)
	}
	for i, p := range plots {
		// Move the edges until all axes stand below each other.
		inner := p.DataCanvas(areas[i])
		areas[i].Min.X += left - inner.Min.X
		areas[i].Max.X += right - inner.Max.X
		p.Draw(areas[i])
		s.Panels[i].drawRight(p.DataCanvas(areas[i]), heights[i])
	}
}

// The directions in which a figure reaches.
type direction int

const (
	alongX direction = iota
	alongY
	alongRight
)

// reach returns the smallest and largest number of what is drawn along an axis;
// of the limits too along y.
func (f Figure) reach(along direction) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	add := func(x, y float64) {
		v := y
		if along == alongX {
			v = x
		}
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	all := func(s Series) {
		for i := range s.Len() {
			add(s.XY(i))
		}
	}
	for _, l := range f.Lines {
		if along == alongX || l.Right == (along == alongRight) {
			all(l.Points)
		}
	}
	if along == alongRight {
		return lo, hi
	}
	for _, b := range f.Bands {
		all(b.Low)
		all(b.High)
	}
	if along == alongY {
		for _, l := range f.Levels {
			add(0, l.Y)
		}
	}
	for _, m := range f.Marks {
		add(m.X1, m.Y1)
		add(m.X2, m.Y2)
	}
	return lo, hi
}

// ends returns the ends of a y axis in its unit, with some room where the axis
// has none of its own.
func (f Figure) ends(a Axis, along direction) (lo, hi float64) {
	lo, hi = a.Min, a.Max
	if lo == 0 && hi == 0 {
		lo, hi = f.reach(along)
		lo, hi = lo/a.one(), hi/a.one()
		room := 0.06 * (hi - lo)
		near := lo >= 0 && lo < 0.25*hi // zero: show it
		lo, hi = lo-room, hi+room
		if near {
			lo = 0
		}
	}
	if !(hi > lo) {
		return spread(lo, hi)
	}
	return lo, hi
}
