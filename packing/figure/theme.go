package figure

import (
	"image/color"
	"math"
	"strconv"
	"strings"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// The colours. Lines stand out from ground and shades by 3 to 1, texts by 4.5 to
// 1 (W3C, Web Content Accessibility Guidelines 2.2, success criteria 1.4.11 and
// 1.4.3), and can be told apart with any kind of colour vision: the first three
// are of M. Okabe and K. Ito, Color Universal Design (2008), whose lighter ones
// stand out too little. Dashes and markers tell the lines apart as well.
var (
	ground = color.RGBA{0xff, 0xff, 0xff, 0xff}
	ink    = color.RGBA{0x22, 0x22, 0x22, 0xff}
	grid   = color.RGBA{0xe4, 0xe4, 0xe4, 0xff}
	faint  = color.RGBA{0x8c, 0x8c, 0x8c, 0xff}
	shades = [...]color.RGBA{{0xef, 0xf3, 0xf7, 0xff}, {0xf8, 0xf4, 0xea, 0xff}}

	palette = [...]color.RGBA{
		{0x00, 0x72, 0xb2, 0xff}, {0xd5, 0x5e, 0x00, 0xff}, {0x00, 0x9e, 0x73, 0xff},
		{0xc4, 0x6c, 0x9e, 0xff}, {0x6a, 0x3d, 0x00, 0xff}, {0x33, 0x22, 0x88, 0xff},
	}
	dashes = [...][]vg.Length{nil, {7, 3}, {2, 3}, {9, 3, 2, 3}, {4, 4}, {1, 4}}
)

func colourOf(i int) color.RGBA { return palette[i%len(palette)] }

// tint returns a colour that lines and texts shine through.
func tint(c color.RGBA) color.NRGBA { return color.NRGBA{c.R, c.G, c.B, 0x30} }

// sans returns the measured font; the SVG names others of the same widths
// behind it.
func sans(size vg.Length, bold bool) font.Font {
	f := font.Font{Typeface: "Liberation", Variant: "Sans", Size: size}
	if bold {
		f.Weight = xfont.WeightBold
	}
	return f
}

func textStyle(size vg.Length, bold bool) text.Style {
	return text.Style{Color: ink, Font: sans(size, bold), Handler: plot.DefaultTextHandler}
}

func titleStyle() text.Style {
	s := textStyle(14, true)
	s.YAlign = draw.YTop
	return s
}

// ticks marks round numbers about every so many pixels.
type ticks struct{ count float64 }

// Ticks returns the marks between two ends.
func (t ticks) Ticks(lo, hi float64) []plot.Tick {
	step, decimals := roundStep((hi - lo) / math.Max(2, t.count))
	var marks []plot.Tick
	for i := math.Ceil(lo/step - 1e-9); i*step <= hi+1e-9*step; i++ {
		v := i * step
		marks = append(marks, plot.Tick{Value: v, Label: strconv.FormatFloat(v+0, 'f', decimals, 64)})
	}
	return marks
}

// roundStep returns the first of 1, 2, 5, 10, … times a power of ten that is
// not below rough, and the decimals it needs.
func roundStep(rough float64) (step float64, decimals int) {
	power := int(math.Floor(math.Log10(rough)))
	for _, f := range []float64{1, 2, 5, 10} {
		step = f * math.Pow10(power)
		if f == 10 {
			power++
		}
		if step >= rough*(1-1e-9) {
			break
		}
	}
	return step, max(0, -power)
}

// dress sets the style of an axis. Its title is broken where it is longer than
// the room it has, pixels less what stands at the ends of the axis.
func dress(a *plot.Axis, title string, pixels, ends, every float64) {
	a.LineStyle = draw.LineStyle{Color: ink, Width: 0.8}
	a.Padding = 0
	style := textStyle(12, false)
	style.XAlign, style.YAlign = a.Label.TextStyle.XAlign, a.Label.TextStyle.YAlign
	a.Label.TextStyle = style
	a.Label.Text = strings.Join(broken(style, title, vg.Length(pixels-ends)), "\n")
	a.Label.Padding = 4
	style = textStyle(11, false)
	style.XAlign, style.YAlign = a.Tick.Label.XAlign, a.Tick.Label.YAlign
	a.Tick.Label = style
	a.Tick.LineStyle = draw.LineStyle{Color: ink, Width: 0.8}
	a.Tick.Length = 4
	a.Tick.Marker = ticks{pixels / every}
}

// broken breaks text between words into lines that are no wider than that; a
// word that is wider stands alone.
func broken(style text.Style, words string, wide vg.Length) []string {
	if style.Width(words) <= wide {
		return []string{words}
	}
	var lines []string
	line := ""
	for _, word := range strings.Fields(words) {
		longer := word
		if line != "" {
			longer = line + " " + word
		}
		if line != "" && style.Width(longer) > wide {
			lines = append(lines, line)
			longer = word
		}
		line = longer
	}
	return append(lines, line)
}

// clipped returns text that is no wider than that, with a sign where it was cut.
func clipped(style text.Style, s string, wide vg.Length) string {
	if style.Width(s) <= wide {
		return s
	}
	r := []rune(s)
	for len(r) > 0 && style.Width(string(r)+"…") > wide {
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}
