package trace

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/units"
)

var _ figure.Series = Trace{}

// SVG draws the trace.
func (t Trace) SVG() string {
	f := figure.Figure{X: t.axis.drawn(t.Span()), Lines: []figure.Line{{Points: t}}}
	f.Title, f.Description, f.Y = t.Name, t.String(), figure.Axis{Label: t.Name, Unit: t.Unit}
	return f.SVG()
}

// drawn returns the axis of a figure: time in minutes, volume in litres, or in
// millilitres if it stays below one litre.
func (a Axis) drawn(r Range) figure.Axis {
	switch {
	case a == Time:
		return figure.Axis{Label: "Time", Unit: "min", One: float64(units.Minute)}
	case math.Abs(r.From) < float64(units.Litre) && math.Abs(r.To) < float64(units.Litre):
		return figure.Axis{Label: "Volume", Unit: "mL", One: float64(units.Millilitre)}
	}
	return figure.Axis{Label: "Volume", Unit: "L", One: float64(units.Litre)}
}

// Figure draws traces together, as UV and conductivity of one run, or one signal
// of several runs:
//
//	trace.Figure(uv, conductivity)
//
// The unit of the first is that of the y axis on the left; those of one other
// unit stand against an axis on the right. Traces against time and volume, and
// of three units and more, are an error. The figure can be changed before it is
// shown.
func Figure(traces ...Trace) (figure.Figure, error) {
	if len(traces) == 0 {
		return figure.Figure{}, errors.New("no trace was given; give at least one")
	}
	first := traces[0]
	all := first.Span()
	var left, right []string // names at the axes
	var f figure.Figure
	for _, t := range traces {
		switch {
		case t.Len() == 0:
			return figure.Figure{}, fmt.Errorf("trace %q has no points; look whether its signal was found", t.Name)
		case t.axis != first.axis:
			return figure.Figure{}, fmt.Errorf("%q runs against %s and %q against %s; bring both on one axis, with ByVolumeOf or ByTimeOf of their record", first.Name, first.axis, t.Name, t.axis)
		case t.Unit != first.Unit && len(right) > 0 && t.Unit != f.Right.Unit:
			return figure.Figure{}, fmt.Errorf("%q is in %q, after signals in %q and %q; a figure has two y axes: draw it in another", t.Name, t.Unit, first.Unit, f.Right.Unit)
		}
		line := figure.Line{Name: t.Name, Points: t}
		for _, other := range traces {
			if other.Name == t.Name && other.From != t.From {
				line.Name = t.Name + ", " + t.From
			}
		}
		names := &left
		if t.Unit != first.Unit {
			names, line.Right, f.Right.Unit = &right, true, t.Unit
		}
		if !slices.Contains(*names, t.Name) {
			*names = append(*names, t.Name)
		}
		f.Lines = append(f.Lines, line)
		all.From, all.To = math.Min(all.From, t.Span().From), math.Max(all.To, t.Span().To)
	}
	f.X = first.axis.drawn(all)
	f.Y = figure.Axis{Label: strings.Join(left, ", "), Unit: first.Unit}
	f.Right.Label = strings.Join(right, ", ")
	return f, nil
}
