package plan

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/units"
)

// inCentimetres writes a height, or that it is not known.
func inCentimetres(h units.Length) string {
	if math.IsNaN(float64(h)) {
		return number.Missing
	}
	return number.Fixed(h.In(units.Centimetre), 2) + " cm"
}

// String says heights, velocity and pressure at the moment.
func (m Moment) String() string {
	s := fmt.Sprintf("%s: bed %s", minutes(m.Time), inCentimetres(m.Bed))
	if !math.IsNaN(float64(m.Interface)) {
		s += ", slurry up to " + inCentimetres(m.Interface)
	}
	s += ", adapter "
	if math.IsNaN(float64(m.Adapter)) {
		s += "out of the tube"
	} else {
		s += inCentimetres(m.Adapter)
	}
	pressure := "pressure not known"
	if known(m.Pressure) {
		pressure = bar(m.Pressure) + " bar over the bed"
	}
	return s + fmt.Sprintf(", %v, %s", m.Velocity, pressure)
}

// String says which parts of the compression come back, and how fast.
func (r Recovery) String() string {
	if r.FastTime == 0 {
		return "not recorded"
	}
	s := fmt.Sprintf("%.3g %% of the compression re-expands with a time constant of %v", 100*r.Fast, r.FastTime)
	if r.Slow > 0 {
		s += fmt.Sprintf(", %.3g %% with %v", 100*r.Slow, r.SlowTime)
	}
	return s + fmt.Sprintf("; %.3g %% stays", 100*(1-r.Fast-r.Slow))
}

// String says when the step was, and how it ended.
func (s Step) String() string {
	return fmt.Sprintf("%s, %s to %s: %v, at its end bed %s, adapter %s, %s bar", s.Name, minutes(s.Start), minutes(s.End), s.Velocity,
		inCentimetres(s.Height), inCentimetres(s.Adapter), number.Fixed(s.Pressure.In(units.Bar), 3))
}

// String says from where to where the adapter went.
func (m AdapterMove) String() string {
	return fmt.Sprintf("%s to %s: %s to %s, %s mm/s down", minutes(m.Start), minutes(m.End), inCentimetres(m.From), inCentimetres(m.To),
		number.Fixed(m.Speed.In(units.MillimetrePerSecond), 2))
}

// String says what was planned and what was found.
func (d Deviation) String() string {
	unit := d.Unit
	if unit != "" {
		unit = " " + unit
	}
	return fmt.Sprintf("%s: planned %s, found %s%s, %v", d.What, number.Fixed(d.Planned, d.decimals()), number.Fixed(d.Found, d.decimals()), unit, d.Verdict)
}
