package plan

import (
	"fmt"
	"html"
	"math"
	"strings"

	"github.com/evenbed/evenbed/packing/units"
)

// A Picture is a drawing of the column's states, to scale in height.
type Picture struct{ svg, text string }

// SVG returns the drawing.
func (p Picture) SVG() string { return p.svg }

// String says in words what is drawn.
func (p Picture) String() string { return p.text }

// state is one column in the picture.
type state struct {
	name    string
	top     units.Length // of slurry or bed
	adapter units.Length // its lower face; 0: not in the tube
	slurry  bool
}

// Picture draws the column poured, after the first step, under the flow of the
// second if that is known, and at the mark. Its lines take the colour of the
// text around. A refused procedure has no picture.
func (p Procedure) Picture() Picture {
	if p.Refusal != nil {
		return Picture{}
	}
	states := []state{
		{"poured", p.Pour.SlurryHeight, 0, true},
		{"after step 1", p.First.BedHeight, p.First.BedHeight + 2*units.Millimetre, false},
	}
	if !math.IsNaN(float64(p.Second.BedHeight)) {
		states = append(states, state{"step 2", p.Second.BedHeight, p.First.BedHeight + 2*units.Millimetre, false})
	}
	states = append(states, state{"at the mark", p.Request.BedHeight, p.Request.BedHeight, false})

	tube := p.Pour.SlurryHeight.Times(1.1)
	if p.Request.Column.TubeHeight > 0 {
		tube = p.Request.Column.TubeHeight + p.Request.Column.Extension
	}
	const wide, gap, high, top = 70.0, 70.0, 190.0, 14.0
	y := func(h units.Length) float64 { return top + high*(1-h.In(tube)) }
	total := gap/2 + float64(len(states))*(wide+gap)

	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f 240" width="%.0f" height="240" font-family="sans-serif" font-size="11" fill="currentColor">`+"\n", total, total)
	words := make([]string, len(states))
	for i, s := range states {
		x := gap/2 + float64(i)*(wide+gap)
		colour, opacity := "#4a7fb5", 0.75
		if s.slurry {
			opacity = 0.3
		}
		fmt.Fprintf(&b, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="%s" fill-opacity="%.2f"/>`+"\n", x, y(s.top), wide, top+high-y(s.top), colour, opacity)
		if s.adapter > 0 {
			fmt.Fprintf(&b, `<rect x="%.1f" y="%.1f" width="%.1f" height="5" fill="currentColor" fill-opacity="0.55"/>`+"\n", x+1, y(s.adapter)-5, wide-2)
			fmt.Fprintf(&b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" stroke="currentColor" stroke-opacity="0.55" stroke-width="4"/>`+"\n", x+wide/2, y(s.adapter)-5, x+wide/2, top-8)
		}
		fmt.Fprintf(&b, `<path d="M%.1f %.1fV%.1fH%.1fV%.1f" fill="none" stroke="currentColor" stroke-width="1.5"/>`+"\n", x, top, top+high, x+wide, top)
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f">%s</text>`+"\n", x+wide+5, y(s.top)+4, cm(s.top))
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle">%s</text>`+"\n", x+wide/2, top+high+16, html.EscapeString(s.name))
		words[i] = fmt.Sprintf("%s %s", s.name, cm(s.top))
	}
	b.WriteString("</svg>\n")
	return Picture{b.String(), "Heights in the tube of " + cm(tube) + ": " + strings.Join(words, ", ") + "."}
}
