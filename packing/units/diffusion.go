package units

// Diffusivity is a diffusion coefficient, or another area per time, in square
// metres per second.
type Diffusivity float64

// Units of diffusivity.
const (
	SquareMetrePerSecond      Diffusivity = 1
	SquareCentimetrePerSecond             = 1e-4 * SquareMetrePerSecond
)

// In returns the number of units in d.
func (d Diffusivity) In(unit Diffusivity) float64 { return float64(d) / float64(unit) }

// Times returns v times the diffusivity d: SquareMetrePerSecond.Times(v).
func (d Diffusivity) Times(v float64) Diffusivity { return Diffusivity(v * float64(d)) }

// String shows d in m²/s.
func (d Diffusivity) String() string { return show(float64(d), "m²/s", step{1, "m²/s", 0}) }
