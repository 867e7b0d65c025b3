package figure

import (
	"fmt"
	"hash/fnv"
	"html"
	"image"
	"image/color"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// A canvas writes SVG. Positions are worked out here, so that the text holds
// plain numbers and no transformation but the turn of a label.
type canvas struct {
	width, height float64
	body          strings.Builder
	stack         []state
}

type state struct {
	colour color.Color
	width  vg.Length
	dashes []vg.Length
	offset vg.Length
	// x' = a x + c y + e, y' = b x + d y + f
	a, b, c, d, e, f float64
}

func newCanvas(width, height float64) *canvas {
	c := &canvas{width: width, height: height, stack: []state{{a: 1, d: 1}}}
	vg.Initialize(c)
	return c
}

var _ vg.CanvasSizer = (*canvas)(nil)

func (c *canvas) now() *state { return &c.stack[len(c.stack)-1] }

// Size returns the canvas' size.
func (c *canvas) Size() (x, y vg.Length) { return vg.Length(c.width), vg.Length(c.height) }

// SetLineWidth sets the width of strokes.
func (c *canvas) SetLineWidth(w vg.Length) { c.now().width = w }

// SetLineDash sets the dashes of strokes.
func (c *canvas) SetLineDash(pattern []vg.Length, offset vg.Length) {
	c.now().dashes, c.now().offset = pattern, offset
}

// SetColor sets the colour of strokes, areas and text.
func (c *canvas) SetColor(colour color.Color) {
	if colour == nil {
		colour = color.Black
	}
	c.now().colour = colour
}

// Rotate turns what follows.
func (c *canvas) Rotate(rad float64) {
	s, o := math.Sincos(rad)
	c.apply(o, s, -s, o, 0, 0)
}

// Translate moves what follows.
func (c *canvas) Translate(pt vg.Point) { c.apply(1, 0, 0, 1, float64(pt.X), float64(pt.Y)) }

// Scale stretches what follows.
func (c *canvas) Scale(x, y float64) { c.apply(x, 0, 0, y, 0, 0) }

func (c *canvas) apply(a, b, d, e, x, y float64) {
	n := c.now()
	n.a, n.b, n.c, n.d, n.e, n.f = n.a*a+n.c*b, n.b*a+n.d*b, n.a*d+n.c*e, n.b*d+n.d*e,
		n.a*x+n.c*y+n.e, n.b*x+n.d*y+n.f
}

// Push remembers the settings.
func (c *canvas) Push() { c.stack = append(c.stack, *c.now()) }

// Pop goes back to the settings remembered last.
func (c *canvas) Pop() { c.stack = c.stack[:len(c.stack)-1] }

// place returns a position as SVG has it: y grows downwards.
func (c *canvas) place(pt vg.Point) (x, y float64) {
	n := c.now()
	px, py := float64(pt.X), float64(pt.Y)
	return n.a*px + n.c*py + n.e, c.height - (n.b*px + n.d*py + n.f)
}

// scale returns how much lengths are stretched.
func (c *canvas) scale() float64 { return math.Hypot(c.now().a, c.now().b) }

// Stroke draws a path.
func (c *canvas) Stroke(path vg.Path) {
	n := c.now()
	if n.width <= 0 {
		return
	}
	colour, alpha := paint(n.colour)
	fmt.Fprintf(&c.body, `<path d="%s" fill="none" stroke="%s" stroke-width="%s"`, c.data(path), colour, num(float64(n.width)*c.scale()))
	if alpha < 1 {
		fmt.Fprintf(&c.body, ` stroke-opacity="%s"`, num(alpha))
	}
	if len(n.dashes) > 0 {
		parts := make([]string, len(n.dashes))
		for i, d := range n.dashes {
			parts[i] = num(float64(d) * c.scale())
		}
		fmt.Fprintf(&c.body, ` stroke-dasharray="%s"`, strings.Join(parts, " "))
		if n.offset != 0 {
			fmt.Fprintf(&c.body, ` stroke-dashoffset="%s"`, num(float64(n.offset)*c.scale()))
		}
	}
	c.body.WriteString(` stroke-linejoin="round"/>` + "\n")
}

// Fill fills a path.
func (c *canvas) Fill(path vg.Path) {
	colour, alpha := paint(c.now().colour)
	fmt.Fprintf(&c.body, `<path d="%s" fill="%s"`, c.data(path), colour)
	if alpha < 1 {
		fmt.Fprintf(&c.body, ` fill-opacity="%s"`, num(alpha))
	}
	c.body.WriteString("/>\n")
}

// data writes a path.
func (c *canvas) data(path vg.Path) string {
	var b strings.Builder
	to := func(letter string, pts ...vg.Point) {
		b.WriteString(letter)
		for i, pt := range pts {
			if i > 0 {
				b.WriteByte(' ')
			}
			x, y := c.place(pt)
			b.WriteString(num(x) + "," + num(y))
		}
	}
	for _, p := range path {
		switch p.Type {
		case vg.MoveComp:
			to("M", p.Pos)
		case vg.LineComp:
			to("L", p.Pos)
		case vg.CurveComp:
			letter := "Q"
			if len(p.Control) == 2 {
				letter = "C"
			}
			to(letter, append(append([]vg.Point(nil), p.Control...), p.Pos)...)
		case vg.ArcComp:
			c.arc(&b, p)
		case vg.CloseComp:
			b.WriteByte('Z')
		}
	}
	return b.String()
}

// arc writes an arc as pieces of a third of a circle at most.
func (c *canvas) arc(b *strings.Builder, p vg.PathComp) {
	pieces := max(1, int(math.Ceil(math.Abs(p.Angle)/(2*math.Pi/3)-1e-9)))
	point := func(angle float64) vg.Point {
		s, o := math.Sincos(angle)
		return vg.Point{X: p.Pos.X + p.Radius*vg.Length(o), Y: p.Pos.Y + p.Radius*vg.Length(s)}
	}
	x, y := c.place(point(p.Start))
	fmt.Fprintf(b, "L%s,%s", num(x), num(y))
	sweep := "0"
	if p.Angle < 0 {
		sweep = "1"
	}
	r := num(float64(p.Radius) * c.scale())
	for i := 1; i <= pieces; i++ {
		x, y := c.place(point(p.Start + p.Angle*float64(i)/float64(pieces)))
		fmt.Fprintf(b, "A%s,%s 0 0 %s %s,%s", r, r, sweep, num(x), num(y))
	}
}

// FillString writes text. Its measured length goes with it, so that it keeps
// its place where another font is used.
func (c *canvas) FillString(f font.Face, pt vg.Point, text string) {
	size := float64(f.Font.Size) * c.scale()
	if size <= 0 || text == "" {
		return
	}
	colour, alpha := paint(c.now().colour)
	if alpha == 0 {
		return
	}
	x, y := c.place(pt)
	fmt.Fprintf(&c.body, `<text x="%s" y="%s" font-size="%s" fill="%s"`, num(x), num(y), num(size), colour)
	if f.Font.Weight > 0 {
		c.body.WriteString(` font-weight="bold"`)
	}
	if turn := math.Atan2(c.now().b, c.now().a) * 180 / math.Pi; math.Abs(turn) > 1e-6 {
		fmt.Fprintf(&c.body, ` transform="rotate(%s %s %s)"`, num(-turn), num(x), num(y))
	}
	fmt.Fprintf(&c.body, ` textLength="%s" lengthAdjust="spacingAndGlyphs">%s</text>`+"\n",
		num(float64(f.Width(text))*c.scale()), html.EscapeString(text))
}

// DrawImage panics: figures hold no images.
func (c *canvas) DrawImage(vg.Rectangle, image.Image) {
	panic("figure: images cannot be drawn")
}

// document returns the whole SVG text.
func (c *canvas) document(title, description string) string {
	h := fnv.New64a()
	h.Write([]byte(title + "\x00" + description + "\x00" + c.body.String()))
	id := fmt.Sprintf("figure-%016x", h.Sum64())
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%s" height="%s" viewBox="0 0 %s %s" role="img" aria-labelledby="%s-title %s-desc" font-family="Liberation Sans, Arial, Helvetica, sans-serif" style="max-width:100%%;height:auto">`+"\n",
		num(c.width), num(c.height), num(c.width), num(c.height), id, id)
	fmt.Fprintf(&b, "<title id=\"%s-title\">%s</title>\n", id, html.EscapeString(title))
	fmt.Fprintf(&b, "<desc id=\"%s-desc\">%s</desc>\n", id, html.EscapeString(description))
	b.WriteString(c.body.String())
	b.WriteString("</svg>\n")
	return b.String()
}

// num writes a number to a hundredth.
func num(v float64) string {
	return strconv.FormatFloat(math.Round(v*100)/100+0, 'f', -1, 64)
}

// paint returns a colour as SVG has it, and its opacity.
func paint(c color.Color) (string, float64) {
	n := color.NRGBAModel.Convert(c).(color.NRGBA)
	return fmt.Sprintf("#%02x%02x%02x", n.R, n.G, n.B), float64(n.A) / 255
}
