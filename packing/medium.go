package packing

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/units"
)

// Medium is a packing medium, as delivered in one lot.
type Medium struct {
	Name, Lot        string
	Class            MediumClass    // soft gel, rigid polymer, mineral; zero: not given
	MeanBead         units.Length   // mean diameter, surface over volume
	SettledVoid      float64        // void between the beads of a bed settled by gravity, 0 to 1
	DensityExcess    units.Density  // of the wet bead over the liquid it settles in
	SettlingExponent float64        // of Richardson and Zaki; zero: 4.65, small beads in a wide column
	MaxBedPressure   units.Pressure // over the bed; zero: not given
	MaxVelocity      units.Velocity // of the packed bed, where the maker or the critical velocity sets one; zero: not given
	Charge           Charge         // fixed in the beads; zero: not given
	// LeastBackground is the salt that must stand in the liquid of a pulse test with
	// salt, since a charged bead keeps salt out of weaker liquid. Zero: 0.4 mol/L
	// where Charge is not Uncharged (common practice, no source).
	LeastBackground units.Molarity
}

// A Charge says whether a medium has fixed charges, as an ion exchanger has.
type Charge int

// The charges.
const (
	ChargeNotGiven Charge = iota
	Uncharged
	Charged
)

// String names the charge.
func (c Charge) String() string {
	switch c {
	case Uncharged:
		return "uncharged"
	case Charged:
		return "charged"
	case ChargeNotGiven:
		return "not given"
	}
	return fmt.Sprintf("Charge(%d)", int(c))
}

// Exponent returns the exponent of Richardson and Zaki that is in use: the
// medium's own, or 4.65 (J. F. Richardson and W. N. Zaki, Trans. Inst. Chem.
// Eng. 32 (1954) 35-53, creeping flow, no wall).
func (m Medium) Exponent() float64 {
	if m.SettlingExponent == 0 {
		return 4.65
	}
	return m.SettlingExponent
}

// Check refuses a medium that cannot be. Limits that were not given pass.
func (m Medium) Check() error {
	where := m.Label()
	if err := m.Class.Check(); err != nil {
		return err
	}
	if err := span(where, "mean bead", m.MeanBead,
		1e-6, 2e-3, "1 µm", "2 mm", "90 * Micrometre"); err != nil {
		return err
	}
	if err := m.checkVoid(); err != nil {
		return err
	}
	if err := span(where, "density excess", m.DensityExcess,
		1, 20000, "1 kg/m³", "20000 kg/m³", "80 * KilogramPerCubicMetre"); err != nil {
		return err
	}
	if n := m.Exponent(); !(n >= 2 && n <= 10) {
		return &InputError{where, fmt.Sprintf("settling exponent %v", n), "is outside 2 to 10",
			"leave it zero for 4.65, the value for small beads"}
	}
	if m.Charge < ChargeNotGiven || m.Charge > Charged {
		return &InputError{where, fmt.Sprintf("charge %d", int(m.Charge)), "there is no such charge", "write packing.Uncharged or packing.Charged"}
	}
	if err := optional(where, "least background", m.LeastBackground, float64(units.MillimolePerLitre), float64(6*units.MolePerLitre), "1 mmol/L", "6 mol/L", "0.4 * MolePerLitre"); err != nil {
		return err
	}
	if err := optional(where, "maximum bed pressure", m.MaxBedPressure,
		100, 1e8, "1 mbar", "1000 bar", "2 * Bar"); err != nil {
		return err
	}
	return optional(where, "maximum velocity", m.MaxVelocity,
		float64(units.CentimetrePerHour), float64(20000*units.CentimetrePerHour), "1 cm/h", "20000 cm/h", "400 * CentimetrePerHour")
}

func (m Medium) checkVoid() error {
	if !(m.SettledVoid > 0 && m.SettledVoid < 1) {
		return &InputError{m.Label(), fmt.Sprintf("settled void %v", m.SettledVoid), "it must be between 0 and 1",
			"0.40 is usual for beads settled by gravity"}
	}
	return nil
}

// Label names the medium and its lot, as far as they are given.
func (m Medium) Label() string {
	switch {
	case m.Name == "":
		return "medium"
	case m.Lot == "":
		return m.Name
	}
	return m.Name + ", lot " + m.Lot
}

// MaxCompressionFactor returns the compression factor at which no void is left,
// 1/(1-ε0).
func (m Medium) MaxCompressionFactor() float64 { return 1 / (1 - m.SettledVoid) }

// CheckCompressionFactor refuses a factor below 1, and one that leaves no void.
func (m Medium) CheckCompressionFactor(cf float64) error {
	what := fmt.Sprintf("compression factor %v", cf)
	switch {
	case math.IsNaN(cf) || cf < 1:
		return &InputError{m.Label(), what, "a packed bed is not higher than the settled bed",
			"the factor is settled over packed height: write for example 1.12 for 12 % more settled bed"}
	case cf >= m.MaxCompressionFactor():
		return &InputError{m.Label(), what,
			fmt.Sprintf("no void is left from %.4g on at a settled void of %v", m.MaxCompressionFactor(), m.SettledVoid),
			"give settled over packed height, 1.12 and not 12"}
	}
	return nil
}

// Void returns the void between the beads at compression factor cf,
//
//	ε = 1 - (1-ε0)·CF
//
// with ε0 = m.SettledVoid. Beads are taken to keep their volume, so it does not
// hold for beads that swell or shrink: settle in the packing buffer. It refuses
// what CheckCompressionFactor refuses.
func (m Medium) Void(cf float64) (float64, error) {
	if err := m.checkVoid(); err != nil {
		return math.NaN(), err
	}
	if err := m.CheckCompressionFactor(cf); err != nil {
		return math.NaN(), err
	}
	return 1 - (1-m.SettledVoid)*cf, nil
}

// PermeabilityRatio returns the permeability at compression factor cf over that
// of the settled bed, after Kozeny and Carman:
//
//	k/k0 = (ε/ε0)³·((1-ε0)/(1-ε))²
//
// It has the limits and errors of Void. Source: P. C. Carman, Trans. Inst. Chem.
// Eng. 15 (1937) 150-166.
func (m Medium) PermeabilityRatio(cf float64) (float64, error) {
	e, err := m.Void(cf)
	e0 := m.SettledVoid
	return math.Pow(e/e0, 3) * math.Pow((1-e0)/(1-e), 2), err
}

// PressureRatio returns the pressure drop of the bed at compression factor cf
// over that of the settled bed, at equal velocity: the permeability is lower and
// the bed shorter, (k0/k)/CF. It has the limits and errors of Void.
func (m Medium) PressureRatio(cf float64) (float64, error) {
	k, err := m.PermeabilityRatio(cf)
	return 1 / (k * cf), err
}
