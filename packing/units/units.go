// Package units holds quantities with their unit.
//
// A quantity is a float64 in SI units with a type of its own; a unit is a
// constant of that type, in the manner of time.Duration:
//
//	p := 2 * units.Bar
//	p.In(units.Kilopascal)             // 200
//	u := units.CentimetrePerHour.Times(v) // v is a float64 variable
//	all := units.Bar.Each(0.1, 0.2, 0.4)  // several at once
//
// Notebooks import it with a dot and write 18 * Centimetre. Quantities of
// different kinds do not mix. Products and quotients of two quantities are
// methods, since Go would give them the wrong type:
//
//	d.Disc()       area of a disc            a.Filled(h)     volume at height h
//	q.Through(a)   velocity of a flow        u.Across(a)     flow of a velocity
//	v.Height(a)    height of a volume        v.PumpedAt(q)   time to pump it
//	l.Passed(u)    time to pass a length     p.On(a)         force on an area
//
// Two quantities of one kind give their ratio with In: length.In(diameter).
// A bare number fits every quantity and then means SI. So always write the unit;
// cells of evenbed refuse a number without one.
//
// Names of units end up in the reader's own namespace, so they are spelt out.
package units

import (
	"math"
	"strconv"

	"github.com/evenbed/evenbed/packing/internal/number"
)

// A step is a unit that String may choose, with the size from which it is used.
type step struct {
	unit float64 // in SI
	name string
	from float64 // smallest shown magnitude in SI; 0 for the first step
}

// show writes v, in SI, in the largest unit whose threshold it reaches after
// rounding. Zero and values that are no finite number, which stand as they are
// since errors name them, are shown in rest, the unit at rest.
func show(v float64, rest string, steps ...step) string {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return strconv.FormatFloat(v, 'f', -1, 64) + " " + rest
	}
	i, x := 0, v/steps[0].unit
	for i+1 < len(steps) {
		next := steps[i+1]
		if math.Abs(number.Round(x, 4))*steps[i].unit < next.from*(1-1e-9) {
			break
		}
		x = v / next.unit
		if math.Abs(x)*next.unit < next.from { // reached by rounding only
			x = math.Copysign(next.from/next.unit, v)
		}
		i++
	}
	return number.Compact(x, 4) + " " + steps[i].name
}
