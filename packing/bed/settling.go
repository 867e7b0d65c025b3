package bed

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/units"
)

// gravity is the standard acceleration of free fall, 9.80665 m/s² (CGPM 1901).
const gravity = 9.80665

// StokesVelocity returns the terminal velocity of one bead in a still liquid,
//
//	ut = g·Δρ·d²/(18 µ)
//
// for a bead diameter d [m], a density excess Δρ over the liquid [kg/m³] and the
// viscosity µ [Pa s]. It holds for creeping flow, Reynolds number below 0.1.
// Source: G. G. Stokes, Trans. Cambridge Phil. Soc. 9 (1851) 8-106.
func StokesVelocity(bead units.Length, excess units.Density, mu units.Viscosity) units.Velocity {
	d := float64(bead)
	return units.Velocity(gravity * float64(excess) * d * d / (18 * float64(mu)))
}

// Reynolds returns the Reynolds number of a bead moving at velocity u through a
// liquid of density rho and viscosity mu, ρud/µ.
func Reynolds(u units.Velocity, bead units.Length, rho units.Density, mu units.Viscosity) float64 {
	return float64(rho) * float64(u) * float64(bead) / float64(mu)
}

// A Suspension settles in a tube. Beads are alike, and the bed they form does
// not compress.
type Suspension struct {
	Terminal  units.Velocity // of one bead, downwards
	Exponent  float64        // of Richardson and Zaki
	Solids    float64        // φ0, volume fraction of beads at the start
	BedSolids float64        // φm, volume fraction of beads in the settled bed
	Downflow  units.Velocity // of the liquid from above, zero with the outlet shut
}

// A Sediment tells how a suspension settled.
type Sediment struct {
	Interface   units.Velocity // at which the upper edge of the suspension falls
	Growth      units.Velocity // at which the surface of the bed rises
	Solids      float64        // φ of the layer that arrives on the bed
	SingleShock bool           // true if that is the suspension itself
	Height      units.Length   // of the bed at the end
	Time        units.Time     // until the bed has grown to its height
	Refusal     error          // why there are no numbers, or nil
}

// Hindered returns the velocity at which beads of the suspension fall through
// the liquid around them,
//
//	v = ut·(1-φ0)ⁿ
//
// n is 4.65 in creeping flow without walls. Source: J. F. Richardson and
// W. N. Zaki, Trans. Inst. Chem. Eng. 32 (1954) 35-53.
func (s Suspension) Hindered() units.Velocity {
	return s.Terminal.Times(math.Pow(1-s.Solids, s.Exponent))
}

// flux is the volume of beads that passes per area and time, F(φ).
func (s Suspension) flux(φ float64) float64 {
	return φ * (float64(s.Downflow) + float64(s.Terminal)*math.Pow(1-φ, s.Exponent))
}

// Check refuses a suspension that does not settle to a bed.
func (s Suspension) Check() error {
	bad := func(what, problem, remedy string) error {
		return &packing.InputError{Where: "suspension", What: what, Problem: problem, Remedy: remedy}
	}
	switch {
	case !(s.Terminal > 0) || math.IsInf(float64(s.Terminal), 0):
		return bad(fmt.Sprintf("terminal velocity %v", s.Terminal), "beads must sink", "floating beads are another problem")
	case !(s.Exponent >= 2) || math.IsInf(s.Exponent, 0):
		return bad(fmt.Sprintf("exponent %v", s.Exponent), "it must be 2 or more", "4.65 holds for small beads")
	case !(s.Downflow >= 0) || math.IsInf(float64(s.Downflow), 0):
		return bad(fmt.Sprintf("downflow %v", s.Downflow), "it must not be negative", "settling against upflow is another problem")
	case !(s.BedSolids > 0 && s.BedSolids < 1):
		return bad(fmt.Sprintf("solids of the bed %v", s.BedSolids), "they must be between 0 and 1", "0.6 is usual")
	case !(s.Solids > 0 && s.Solids < s.BedSolids):
		return bad(fmt.Sprintf("solids %v", s.Solids), fmt.Sprintf("they must be between 0 and those of the bed, %v", s.BedSolids),
			"a slurry that is no thinner than the bed has settled already")
	}
	return nil
}

// Settle returns how a suspension of the given height becomes a bed, after Kynch:
//
//	F(φ) = φ·(q + ut·(1-φ)ⁿ)
//	U    = min F(φ)/(φm - φ) over φ0 <= φ < φm
//	t    = H·φ0/(φm·U),  final height H·φ0/φm
//
// with the downflow q [m/s], the velocity U at which the bed rises and the
// height H of the suspension [m]. The minimum is the envelope of
// Kynch's construction for a bed of fixed φm; where it lies above φ0, layers of
// higher concentration reach the bed before the suspension does and slow its
// growth. Dispersion, walls and beads of different size are left out: fines take
// longer. It refuses what Check refuses, and heights that no column has.
// Source: G. J. Kynch, Trans. Faraday Soc. 48 (1952) 166-176.
func (s Suspension) Settle(height units.Length) (Sediment, error) {
	r, err := s.settle(height)
	if err != nil {
		return Sediment{Refusal: err}, err
	}
	return r, nil
}

func (s Suspension) settle(height units.Length) (Sediment, error) {
	if err := s.Check(); err != nil {
		return Sediment{}, err
	}
	if !(height > 0) || math.IsInf(float64(height), 0) {
		return Sediment{}, &packing.InputError{Where: "suspension", What: fmt.Sprintf("height %v", height),
			Problem: "it must be above zero", Remedy: "write for example 40 * Centimetre"}
	}
	φ0, φm := s.Solids, s.BedSolids
	growth := func(φ float64) float64 { return s.flux(φ) / (φm - φ) }
	φ := lowest(growth, φ0, φm)
	u := units.Velocity(growth(φ))
	final := height.Times(φ0 / φm)
	return Sediment{
		Interface:   s.Downflow + s.Hindered(),
		Growth:      u,
		Solids:      φ,
		SingleShock: φ == φ0,
		Height:      final,
		Time:        final.Passed(u),
	}, nil
}

// lowest returns where f is lowest in [a, b): the best of a scan, refined by
// golden sections. It is a itself if nothing beats it. f is positive.
func lowest(f func(float64) float64, a, b float64) float64 {
	const scan = 2000
	h := (b - a) / scan
	best := 0
	for i := 1; i < scan; i++ {
		if f(a+float64(i)*h) < f(a+float64(best)*h) {
			best = i
		}
	}
	low, high := a+float64(max(best-1, 0))*h, a+float64(min(best+1, scan-1))*h
	ratio := (math.Sqrt(5) - 1) / 2
	x, y := high-ratio*(high-low), low+ratio*(high-low)
	for range 60 {
		if f(x) < f(y) {
			high, y = y, x
			x = high - ratio*(high-low)
		} else {
			low, x = x, y
			y = low + ratio*(high-low)
		}
	}
	if m := (low + high) / 2; f(m) < f(a)*(1-1e-12) { // lower by more than rounding
		return m
	}
	return a
}
