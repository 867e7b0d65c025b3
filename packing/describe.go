package packing

import (
	"fmt"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/number"
)

// A description lists what was given of something, and names what was not.
type description struct{ given, missing []string }

func (d *description) add(name string, value fmt.Stringer, given bool) {
	if given {
		d.given = append(d.given, name+" "+value.String())
	} else {
		d.missing = append(d.missing, name)
	}
}

// line writes the description on one line, and what is wrong with it if a check
// has found that.
func (d description) line(name string, err error) string {
	s := name
	if len(d.given) > 0 {
		s += ": " + strings.Join(d.given, ", ")
	}
	if len(d.missing) > 0 {
		s += "; not given: " + strings.Join(d.missing, ", ")
	}
	if err != nil {
		s += "; cannot be: " + err.Error()
	}
	return s
}

// String describes the column on one line.
func (c Column) String() string {
	var d description
	d.add("inner diameter", c.InnerDiameter, c.InnerDiameter != 0)
	if c.InnerDiameter != 0 {
		d.add("area", c.Area(), true)
	}
	d.add("tube height", c.TubeHeight, c.TubeHeight != 0)
	if c.Extension != 0 {
		d.add("extension", c.Extension, true)
	}
	if c.Allowance != 0 {
		d.add("allowance", c.Allowance, true)
	}
	d.add("maximum pressure", c.MaxPressure, c.MaxPressure != 0)
	return d.line(c.name(), c.Check())
}

// String describes the medium on one line.
func (m Medium) String() string {
	var d description
	d.add("class", m.Class, m.Class != UnknownClass)
	d.add("mean bead", m.MeanBead, m.MeanBead != 0)
	d.add("settled void", ratio(m.SettledVoid), m.SettledVoid != 0)
	d.add("density excess", m.DensityExcess, m.DensityExcess != 0)
	d.add("settling exponent", ratio(m.Exponent()), true)
	d.add("maximum bed pressure", m.MaxBedPressure, m.MaxBedPressure != 0)
	d.add("maximum velocity", m.MaxVelocity, m.MaxVelocity != 0)
	return d.line(m.Label(), m.Check())
}

// String describes the slurry on one line.
func (s Slurry) String() string {
	var d description
	d.add("settled bed over slurry", s.Concentration, s.Concentration != 0)
	return d.line("slurry", s.Check())
}

// String describes the limits on one line.
func (l Limits) String() string {
	var d description
	d.add("system pressure", l.SystemPressure, l.SystemPressure != 0)
	d.add("tube pressure", l.TubePressure, l.TubePressure != 0)
	d.add("pump pressure", l.PumpPressure, l.PumpPressure != 0)
	d.add("relief pressure", l.ReliefPressure, l.ReliefPressure != 0)
	d.add("pump flow", l.PumpFlow, l.PumpFlow != 0)
	d.add("least pump flow", l.LeastPumpFlow, l.LeastPumpFlow != 0)
	d.add("adapter force", l.AdapterForce, l.AdapterForce != 0)
	return d.line("limits", l.Check())
}

// A ratio is described as it is.
type ratio float64

func (r ratio) String() string { return number.Compact(float64(r), 4) }
