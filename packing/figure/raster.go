package figure

import (
	"bytes"
	"fmt"
	"image/png"
	"math"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

// A Raster is a figure as pixels, for where SVG does not show. In a notebook it
// takes the room of the figure: more pixels make it sharp, not large.
type Raster struct {
	png           []byte
	width, height int // in CSS pixels
	text          string
}

// PNG returns the contents of a PNG file:
//
//	os.WriteFile("pulse.png", result.Figure().Raster(2).PNG(), 0o644)
func (r Raster) PNG() []byte { return r.png }

// Size returns the room it takes, in CSS pixels.
func (r Raster) Size() (width, height int) { return r.width, r.height }

// String returns title and description of the figure.
func (r Raster) String() string { return r.text }

// Raster draws the figure as so many pixels to the CSS pixel, 0.5 to 8; 0 stands
// for 2. It panics if asked for another scale.
func (f Figure) Raster(scale float64) Raster { return f.stack().Raster(scale) }

// Raster draws the stack as so many pixels to the CSS pixel, 0.5 to 8; 0 stands
// for 2. It panics if asked for another scale.
func (s Stack) Raster(scale float64) Raster {
	if scale == 0 {
		scale = 2
	}
	if !(scale >= 0.5 && scale <= 8) {
		panic(fmt.Sprintf("figure: a raster of %v pixels to the CSS pixel: use 0.5 to 8, or 0 for 2", scale))
	}
	l := s.layout()
	// The canvas counts in points, 72 to the inch; here a point is a CSS pixel.
	c := vgimg.NewWith(vgimg.UseWH(vg.Length(l.width), vg.Length(l.height)), vgimg.UseDPI(int(math.Round(72*scale))))
	l.draw(c)
	var b bytes.Buffer
	if err := png.Encode(&b, c.Image()); err != nil {
		panic("figure: " + err.Error()) // a buffer takes everything, and no side is empty
	}
	return Raster{b.Bytes(), int(l.width), int(l.height), s.String()}
}
