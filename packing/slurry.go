package packing

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/units"
)

// Slurry is a stirred suspension of beads.
type Slurry struct {
	Concentration units.Fraction // settled bed volume over slurry volume
}

// Check refuses a concentration that cannot be.
func (s Slurry) Check() error {
	what := fmt.Sprintf("concentration %v", s.Concentration)
	c := float64(s.Concentration)
	switch {
	case math.IsNaN(c) || c <= 0:
		return &InputError{"slurry", what, "it must be above zero", "write for example 52 * Percent"}
	case c > 1:
		return &InputError{"slurry", what, "a slurry holds at most its own volume of settled bed",
			"was the unit forgotten? Write for example 52 * Percent"}
	}
	return nil
}

// Volume returns the volume of slurry that holds a settled bed, V/C.
func (s Slurry) Volume(settled units.Volume) units.Volume {
	return settled.Times(1 / float64(s.Concentration))
}

// Height returns how high the slurry of a settled bed stands in its tube, L0/C.
func (s Slurry) Height(settled units.Length) units.Length {
	return settled.Times(1 / float64(s.Concentration))
}

// Solids returns the volume fraction of beads in the slurry of a medium,
// φ = C(1-ε0), with ε0 the void of the settled bed.
func (s Slurry) Solids(m Medium) float64 { return float64(s.Concentration) * (1 - m.SettledVoid) }

// DilutedTo returns the liquid to add to the volume v of this slurry so that it
// has the concentration of the other, V(C1/C2 - 1). It refuses a slurry that
// would have to be thickened.
func (s Slurry) DilutedTo(to Slurry, v units.Volume) (units.Volume, error) {
	if err := s.Check(); err != nil {
		return 0, err
	}
	if err := to.Check(); err != nil {
		return 0, err
	}
	if to.Concentration > s.Concentration {
		return 0, &InputError{"slurry", fmt.Sprintf("concentration %v", s.Concentration),
			fmt.Sprintf("adding liquid cannot raise it to %v", to.Concentration), "settle and decant instead"}
	}
	return v.Times(float64(s.Concentration/to.Concentration) - 1), nil
}
