package figure

import (
	"image/color"
	"math"
	"testing"
)

// linear returns a colour as linear light, 0 to 1, from sRGB as W3C has it:
// Web Content Accessibility Guidelines 2.2, relative luminance.
func linear(c color.RGBA) [3]float64 {
	var out [3]float64
	for i, v := range [3]uint8{c.R, c.G, c.B} {
		s := float64(v) / 255
		if s <= 0.04045 {
			out[i] = s / 12.92
		} else {
			out[i] = math.Pow((s+0.055)/1.055, 2.4)
		}
	}
	return out
}

// contrast is that of the same guidelines, (L1 + 0.05)/(L2 + 0.05).
func contrast(a, b color.RGBA) float64 {
	l := func(c color.RGBA) float64 {
		v := linear(c)
		return 0.2126*v[0] + 0.7152*v[1] + 0.0722*v[2]
	}
	x, y := l(a), l(b)
	return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
}

// over returns what is seen of a colour with its opacity on a ground.
func over(c color.NRGBA, ground color.RGBA) color.RGBA {
	mix := func(a, b uint8) uint8 {
		o := float64(c.A) / 255
		return uint8(math.Round(o*float64(a) + (1-o)*float64(b)))
	}
	return color.RGBA{mix(c.R, ground.R), mix(c.G, ground.G), mix(c.B, ground.B), 0xff}
}

func TestContrast(t *testing.T) {
	black, white := color.RGBA{A: 0xff}, color.RGBA{0xff, 0xff, 0xff, 0xff}
	// The extremes of the definition, and the lightest grey that passes 4.5 to 1.
	if c := contrast(black, white); math.Abs(c-21) > 1e-9 {
		t.Errorf("black on white %v, want 21", c)
	}
	if a, b := contrast(color.RGBA{0x76, 0x76, 0x76, 0xff}, white), contrast(color.RGBA{0x77, 0x77, 0x77, 0xff}, white); a < 4.5 || b >= 4.5 {
		t.Errorf("greys 76 and 77 on white: %v and %v, want the limit of 4.5 between", a, b)
	}

	// The figure brings its own ground, so the page's theme does not matter.
	// Success criteria 1.4.11 (graphical objects) and 1.4.3 (text), level AA.
	grounds := append([]color.RGBA{ground}, shades[:]...)
	lines := append([]color.RGBA{faint, ink}, palette[:]...)
	for _, g := range grounds {
		for _, c := range lines {
			if got := contrast(c, g); got < 3 {
				t.Errorf("line %v on %v: %.2f to 1, want 3", c, g, got)
			}
		}
		for _, c := range append([]color.RGBA{ink}, palette[:]...) {
			text := c
			if c != ink {
				text = darker(c)
			}
			if got := contrast(text, g); got < 4.5 {
				t.Errorf("text %v on %v: %.2f to 1, want 4.5", text, g, got)
			}
		}
	}
	// A line in the tint of its own band.
	for _, c := range palette {
		if got := contrast(c, over(tint(c), ground)); got < 2.3 {
			t.Errorf("line %v in its band: %.2f to 1", c, got)
		}
	}
}

// Lines can be told apart by people with any kind of colour vision. The matrices
// are those of G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, IEEE Trans. Vis.
// Comput. Graph. 15 (2009) 1291-1298, severity 1, on linear light. A distance of
// about 2 in CIELAB is just seen between areas side by side (G. Sharma, Digital
// Color Imaging Handbook, 2003, from memory); thin lines apart need much more, and
// 15 is what the palette keeps.
func TestColoursCanBeToldApart(t *testing.T) {
	for name, m := range map[string][3][3]float64{
		"all cones":    {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
		"protanopia":   {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
		"deuteranopia": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}},
		"tritanopia":   {{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}},
	} {
		seen := make([][3]float64, len(palette))
		for i, c := range palette {
			v := linear(c)
			var s [3]float64
			for j := range s {
				s[j] = math.Min(1, math.Max(0, m[j][0]*v[0]+m[j][1]*v[1]+m[j][2]*v[2]))
			}
			seen[i] = lab(s)
			for k := range i {
				d := math.Hypot(math.Hypot(seen[i][0]-seen[k][0], seen[i][1]-seen[k][1]), seen[i][2]-seen[k][2])
				if d < 15 {
					t.Errorf("%s: colours %d and %d are %.1f apart", name, k, i, d)
				}
			}
		}
	}
}

// lab returns CIELAB from linear sRGB, white D65 (IEC 61966-2-1; CIE 15).
func lab(v [3]float64) [3]float64 {
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return (24389.0/27*t + 16) / 116
	}
	x := f((0.4124*v[0] + 0.3576*v[1] + 0.1805*v[2]) / 0.9505)
	y := f(0.2126*v[0] + 0.7152*v[1] + 0.0722*v[2])
	z := f((0.0193*v[0] + 0.1192*v[1] + 0.9505*v[2]) / 1.089)
	return [3]float64{116*y - 16, 500 * (x - y), 200 * (y - z)}
}
