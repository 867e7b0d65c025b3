package trace

import (
	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/units"
)

var _ figure.Series = Trace{}

// SVG draws the trace.
func (t Trace) SVG() string {
	x := figure.Axis{Label: "Time", Unit: "min", One: float64(units.Minute)}
	if t.axis == Volume {
		x = figure.Axis{Label: "Volume", Unit: "L", One: float64(units.Litre)}
	}
	return figure.Figure{
		Title:       t.Name,
		Description: t.String(),
		X:           x,
		Y:           figure.Axis{Label: t.Name, Unit: t.Unit},
		Lines:       []figure.Line{{Points: t}},
	}.SVG()
}
