package units

// Molarity is an amount of substance per volume of solution, in moles per cubic
// metre.
type Molarity float64

// Units of molarity.
const (
	MolePerCubicMetre Molarity = 1
	MolePerLitre               = 1e3 * MolePerCubicMetre
	MillimolePerLitre          = MolePerCubicMetre
)

// In returns the number of units in m.
func (m Molarity) In(unit Molarity) float64 { return float64(m) / float64(unit) }

// Times returns v times the molarity m: MolePerLitre.Times(v).
func (m Molarity) Times(v float64) Molarity { return Molarity(v * float64(m)) }

// String shows m in mmol/L or mol/L (from 1 mol/L).
func (m Molarity) String() string {
	return show(float64(m), "mol/L", step{1, "mmol/L", 0}, step{1e3, "mol/L", 1e3})
}
