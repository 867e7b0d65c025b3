package bed

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/units"
)

// A Law tells how the void of a bed falls when stress is put on its beads. ε0 is
// the void without stress.
type Law interface {
	// Void returns the void at a stress; zero or less if no void is left.
	Void(settled float64, stress units.Pressure) float64
	// Stress returns the stress at a void, the inverse of Void.
	Stress(settled, void float64) units.Pressure
	// Stiffness returns how fast the stress rises as the void falls, -dσ/dε.
	Stiffness(settled, void float64) units.Pressure
	// Check refuses parameters that no bed has.
	Check() error
	String() string
}

// LinearStrain is the law of a bed that gives way in proportion to the stress,
//
//	λ = σ/M,  ε = (ε0-λ)/(1-λ)
//
// with the height lost over the settled height λ and the constrained modulus M
// [Pa]. No void is left from σ = M·ε0 on.
type LinearStrain struct{ Modulus units.Pressure }

// Void returns the void at a stress.
func (l LinearStrain) Void(settled float64, stress units.Pressure) float64 {
	λ := float64(stress / l.Modulus)
	return (settled - λ) / (1 - λ)
}

// Stress returns the stress at a void, σ = M·(ε0-ε)/(1-ε).
func (l LinearStrain) Stress(settled, void float64) units.Pressure {
	return l.Modulus.Times((settled - void) / (1 - void))
}

// Stiffness returns -dσ/dε = M·(1-ε0)/(1-ε)².
func (l LinearStrain) Stiffness(settled, void float64) units.Pressure {
	return l.Modulus.Times((1 - settled) / ((1 - void) * (1 - void)))
}

// Check refuses a modulus that no bed has.
func (l LinearStrain) Check() error {
	return checkStress("linear strain", "modulus", l.Modulus)
}

// String names the law with its modulus.
func (l LinearStrain) String() string { return fmt.Sprintf("linear strain, modulus %v", l.Modulus) }

// ExponentialVoid is the law of a bed that stiffens as its void goes,
//
//	ε = ε0·exp(-σ/E)
//
// with E [Pa]. Some void is always left.
type ExponentialVoid struct{ Modulus units.Pressure }

// Void returns the void at a stress.
func (l ExponentialVoid) Void(settled float64, stress units.Pressure) float64 {
	return settled * math.Exp(-float64(stress/l.Modulus))
}

// Stress returns the stress at a void, σ = E·ln(ε0/ε).
func (l ExponentialVoid) Stress(settled, void float64) units.Pressure {
	return l.Modulus.Times(math.Log(settled / void))
}

// Stiffness returns -dσ/dε = E/ε.
func (l ExponentialVoid) Stiffness(settled, void float64) units.Pressure {
	return l.Modulus.Times(1 / void)
}

// Check refuses a modulus that no bed has.
func (l ExponentialVoid) Check() error {
	return checkStress("exponential void", "modulus", l.Modulus)
}

// String names the law with its modulus.
func (l ExponentialVoid) String() string {
	return fmt.Sprintf("exponential void, modulus %v", l.Modulus)
}

// PowerSolids is the power law of filter cakes,
//
//	1-ε = (1-ε0)·(1 + σ/pa)^β
//
// with the stress pa [Pa] and the exponent β. Source: F. M. Tiller and W. F.
// Leu, J. Chin. Inst. Chem. Eng. 11 (1980) 61-70, from memory.
type PowerSolids struct {
	Stress0  units.Pressure // pa
	Exponent float64        // β
}

// Void returns the void at a stress.
func (l PowerSolids) Void(settled float64, stress units.Pressure) float64 {
	return 1 - (1-settled)*math.Exp(l.Exponent*math.Log1p(float64(stress/l.Stress0)))
}

// Stress returns the stress at a void, σ = pa·[((1-ε)/(1-ε0))^(1/β) - 1].
func (l PowerSolids) Stress(settled, void float64) units.Pressure {
	return l.Stress0.Times(math.Expm1(math.Log((1-void)/(1-settled)) / l.Exponent))
}

// Stiffness returns -dσ/dε = pa/β·((1-ε)/(1-ε0))^(1/β)/(1-ε).
func (l PowerSolids) Stiffness(settled, void float64) units.Pressure {
	return l.Stress0.Times(math.Exp(math.Log((1-void)/(1-settled))/l.Exponent) / (l.Exponent * (1 - void)))
}

// Check refuses parameters that no bed has.
func (l PowerSolids) Check() error {
	if !(l.Exponent >= 1e-3 && l.Exponent <= 1) {
		return &packing.InputError{Where: "power of solids", What: fmt.Sprintf("exponent %v", l.Exponent),
			Problem: "it must be between 0.001 and 1", Remedy: "0.04 to 0.12 is usual for soft gels"}
	}
	return checkStress("power of solids", "stress", l.Stress0)
}

// String names the law with its stress and exponent.
func (l PowerSolids) String() string {
	return fmt.Sprintf("power of solids, stress %v, exponent %v", l.Stress0, l.Exponent)
}

func checkStress(where, what string, p units.Pressure) error {
	if !(p >= 10*units.Pascal && p <= 1e13*units.Pascal) {
		return &packing.InputError{Where: where, What: fmt.Sprintf("%s %v", what, p),
			Problem: "it must be between 10 Pa and 1e8 bar", Remedy: "was the unit forgotten? Write for example 4 * Bar"}
	}
	return nil
}

var (
	_ Law = LinearStrain{}
	_ Law = ExponentialVoid{}
	_ Law = PowerSolids{}
)
