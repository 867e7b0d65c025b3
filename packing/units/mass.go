package units

// Mass is a mass in kilograms.
type Mass float64

// Units of mass.
const (
	Kilogram  Mass = 1
	Gram           = 1e-3 * Kilogram
	Milligram      = 1e-6 * Kilogram
)

// In returns the number of units in m.
func (m Mass) In(unit Mass) float64 { return float64(m) / float64(unit) }

// Times returns v times the mass m: Gram.Times(v).
func (m Mass) Times(v float64) Mass { return Mass(v * float64(m)) }

// String shows m in mg, g (from 1 g) or kg (from 1 kg).
func (m Mass) String() string {
	return show(float64(m), "kg", step{1e-6, "mg", 0}, step{1e-3, "g", 1e-3}, step{1, "kg", 1})
}

// Filling returns the mass in a volume v of density or concentration d, dv.
func (d Density) Filling(v Volume) Mass { return Mass(float64(d) * float64(v)) }
