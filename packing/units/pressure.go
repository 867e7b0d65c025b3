package units

// Pressure is a pressure in pascals; for columns the pressure above the
// surroundings, or a drop of pressure.
type Pressure float64

// Units of pressure.
const (
	Pascal     Pressure = 1
	Kilopascal          = 1e3 * Pascal
	Megapascal          = 1e6 * Pascal
	Millibar            = 1e2 * Pascal
	Bar                 = 1e5 * Pascal
	PSI                 = 6894.757 * Pascal // NIST SP 811, appendix B.8
)

// In returns the number of units in p.
func (p Pressure) In(unit Pressure) float64 { return float64(p) / float64(unit) }

// Times returns v times the pressure p: Bar.Times(v).
func (p Pressure) Times(v float64) Pressure { return Pressure(v * float64(p)) }

// Each returns values in the unit p: Bar.Each(1, 2.5).
func (p Pressure) Each(values ...float64) []Pressure {
	all := make([]Pressure, len(values))
	for i, x := range values {
		all[i] = p.Times(x)
	}
	return all
}

// String shows p in Pa, kPa (from 1 kPa) or bar (from 1 bar).
func (p Pressure) String() string {
	return show(float64(p), "bar",
		step{1, "Pa", 0}, step{1e3, "kPa", 1e3}, step{1e5, "bar", 1e5})
}

// On returns the force of pressure p on an area a, pa.
func (p Pressure) On(a Area) Force { return Force(float64(p) * float64(a)) }

// Force is a force in newtons.
type Force float64

// Units of force.
const (
	Newton     Force = 1
	Kilonewton       = 1e3 * Newton
)

// In returns the number of units in f.
func (f Force) In(unit Force) float64 { return float64(f) / float64(unit) }

// Times returns v times the force f: Kilonewton.Times(v).
func (f Force) Times(v float64) Force { return Force(v * float64(f)) }

// String shows f in N or kN (from 1 kN).
func (f Force) String() string {
	return show(float64(f), "N", step{1, "N", 0}, step{1e3, "kN", 1e3})
}

// Over returns the pressure of force f spread over an area a, f/a.
func (f Force) Over(a Area) Pressure { return Pressure(float64(f) / float64(a)) }
