package plan

import (
	"fmt"
	"html"
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
	note    string       // second line below
	top     units.Length // of slurry or bed
	adapter units.Length // its lower face; 0: not in the tube
	slurry  bool         // top is that of slurry
	edge    units.Length // upper edge of slurry above the bed; 0: none
	liquid  units.Length // upper edge of clear liquid above; 0: not drawn
}

// tube is the height that pictures show.
func (p Procedure) tube() units.Length {
	if c := p.Request.Column; c.TubeHeight > 0 {
		return max(c.TubeHeight+c.Extension, p.Request.BedHeight)
	}
	return max(p.Pour.SlurryHeight, p.Request.BedHeight).Times(1.1)
}

// Picture draws the column with the slurry in, after the first step, under the flow of the
// second if that is known, and at the target position. Its lines take the colour of the
// text around. A refused procedure has no picture.
func (p Procedure) Picture() Picture {
	if p.Refusal != nil {
		return Picture{}
	}
	mark := state{name: "at the target", top: p.Request.BedHeight, adapter: p.Request.BedHeight}
	if p.Request.Method == packInPlace {
		return drawStates([]state{{name: "filling", top: p.Request.BedHeight.Times(0.5), edge: p.Request.BedHeight, adapter: p.Request.BedHeight}, mark}, p.tube())
	}
	states := []state{
		{name: "slurry in", top: p.Pour.SlurryHeight, slurry: true},
		{name: "after step 1", top: p.First.BedHeight, liquid: p.Pour.SlurryHeight},
	}
	if w := (&work{c: p.Request}); w.closed() {
		states[1].adapter = p.Pour.SlurryHeight
	}
	if p.Request.Method == suctionFill {
		states[0].name, states[0].adapter = "drawn", p.Pour.SlurryHeight
	}
	if p.First.Velocity == 0 || !known(p.First.Velocity) {
		states[1].name = "settled"
	}
	if known(p.Second.BedHeight) {
		states = append(states, state{name: "step 2", top: p.Second.BedHeight, adapter: p.waits()})
	} else if known(p.waits()) {
		states = append(states, state{name: "adapter down", top: p.First.BedHeight, adapter: p.waits()})
	}
	return drawStates(append(states, mark), p.tube())
}

// perRow is how many columns stand side by side.
const perRow = 5

func drawStates(states []state, tube units.Length) Picture {
	const wide, gap, high, top, row = 70.0, 70.0, 190.0, 14.0, 252.0
	rows := (len(states) + perRow - 1) / perRow
	total := gap/2 + float64(min(len(states), perRow))*(wide+gap)
	tall := row*float64(rows) - 12
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" width="%.0f" style="max-width:100%%;height:auto" font-family="sans-serif" font-size="11" fill="currentColor">`+"\n", total, tall, total)
	words := make([]string, len(states))
	for i, s := range states {
		x, from := gap/2+float64(i%perRow)*(wide+gap), row*float64(i/perRow)+top
		y := func(h units.Length) float64 { return from + high*(1-h.In(tube)) }
		layer := func(low, up units.Length, opacity float64) {
			if up > low {
				fmt.Fprintf(&b, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="#4a7fb5" fill-opacity="%.2f"/>`+"\n", x, y(up), wide, y(low)-y(up), opacity)
			}
		}
		const ofBed, ofSlurry, ofLiquid = 0.75, 0.3, 0.08
		shown := s.top
		if s.slurry {
			layer(0, s.top, ofSlurry)
		} else {
			layer(0, s.top, ofBed)
			layer(s.top, s.edge, ofSlurry)
			layer(max(s.top, s.edge), s.liquid, ofLiquid)
		}
		if s.adapter > 0 {
			fmt.Fprintf(&b, `<rect x="%.1f" y="%.1f" width="%.1f" height="5" fill="currentColor" fill-opacity="0.55"/>`+"\n", x+1, y(s.adapter)-5, wide-2)
			fmt.Fprintf(&b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" stroke="currentColor" stroke-opacity="0.55" stroke-width="4"/>`+"\n", x+wide/2, y(s.adapter)-5, x+wide/2, from-8)
		}
		fmt.Fprintf(&b, `<path d="M%.1f %.1fV%.1fH%.1fV%.1f" fill="none" stroke="currentColor" stroke-width="1.5"/>`+"\n", x, from, from+high, x+wide, from)
		if shown == 0 {
			shown = s.edge
		}
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f">%s</text>`+"\n", x+wide+5, y(shown)+4, cm(shown))
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle">%s</text>`+"\n", x+wide/2, from+high+16, html.EscapeString(s.name))
		words[i] = fmt.Sprintf("%s %s", s.name, cm(shown))
		if s.note != "" {
			fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle">%s</text>`+"\n", x+wide/2, from+high+30, html.EscapeString(s.note))
			words[i] = fmt.Sprintf("%s, %s %s", s.note, s.name, cm(shown))
		}
	}
	b.WriteString("</svg>\n")
	return Picture{b.String(), "Heights in the tube of " + cm(tube) + ": " + strings.Join(words, ", ") + "."}
}
