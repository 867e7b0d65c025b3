package figure

import (
	"math"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// hasRight reports whether something is drawn against the axis on the right.
func (f Figure) hasRight() bool {
	for _, l := range f.Lines {
		if l.Right {
			return true
		}
	}
	return false
}

// rightMarks returns the marks of the axis on the right, their places from 0 at
// its foot to 1, and the title.
func (f Figure) rightMarks(height float64) (places []float64, texts, title []string) {
	lo, hi := f.ends(f.Right, alongRight)
	for _, t := range (ticks{height / 55}).Ticks(lo, hi) {
		places, texts = append(places, (t.Value-lo)/(hi-lo)), append(texts, t.Label)
	}
	if name := f.Right.Title(); name != "" {
		title = broken(textStyle(12, false), name, vg.Length(height-50))
	}
	return places, texts, title
}

const (
	tickLength = 4
	tickGap    = 3
	titleStep  = 15 // from line to line of the title
)

// rightSpace is the width that the axis on the right takes.
func (f Figure) rightSpace(height float64) vg.Length {
	if !f.hasRight() {
		return 0
	}
	_, texts, title := f.rightMarks(height)
	return tickLength + tickGap + widest(texts) + titleStep*vg.Length(len(title)) + 4
}

func widest(texts []string) (wide vg.Length) {
	style := textStyle(11, false)
	for _, t := range texts {
		wide = max(wide, style.Width(t))
	}
	return wide
}

// drawRight draws the axis on the right of the place where the lines are.
func (f Figure) drawRight(c draw.Canvas, height float64) {
	if !f.hasRight() {
		return
	}
	places, texts, title := f.rightMarks(height)
	style := textStyle(11, false)
	style.YAlign = draw.YCenter
	x := c.Max.X
	for i, t := range texts {
		y := c.Y(places[i])
		c.StrokeLine2(draw.LineStyle{Color: ink, Width: 0.8}, x, y, x+tickLength, y)
		c.FillText(style, vg.Point{X: x + tickLength + tickGap, Y: y}, t)
	}
	style = textStyle(12, false)
	style.XAlign, style.YAlign, style.Rotation = draw.XCenter, draw.YTop, math.Pi/2
	for i, line := range title {
		c.FillText(style, vg.Point{X: x + tickLength + tickGap + widest(texts) + 4 + titleStep*vg.Length(i), Y: (c.Min.Y + c.Max.Y) / 2}, line)
	}
}
