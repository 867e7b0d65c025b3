// Package liquid gives density and viscosity of the liquids in columns, and how
// far a storage solution is left by decanting.
//
//	salt := liquid.SodiumChloride(0.5 * units.MolePerLitre)
//	mu, err := salt.Viscosity(units.Celsius(5))
//
// The zero [Liquid] is water. Others are made by [SodiumChloride],
// [SodiumHydroxide] and [SodiumSulfate] from a molarity, by [Ethanol] from a
// fraction by volume, by [GlycerolByMass] and the other names in ByMass from a
// fraction by mass. [WaterViscosity] and [WaterDensity] are functions of the
// temperature alone. Each equation holds in a range of temperature and
// composition, and gives an error that says the range outside of it.
package liquid

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// substance is what is mixed with water.
type substance int

const (
	water substance = iota
	sodiumChloride
	sodiumHydroxide
	sodiumSulfate
	ethanol
	glycerol
)

func (s substance) String() string {
	return [...]string{"water", "sodium chloride", "sodium hydroxide", "sodium sulfate", "ethanol", "glycerol"}[s]
}

// basis is how the amount in the mixture was given.
type basis int

const (
	byMass   basis = iota // fraction of the mass
	byVolume              // fraction of the volume at 20 °C
	molar                 // mol/m³ at 20 °C
)

// prepared is the temperature at which volumes are measured.
var prepared = units.Celsius(20)

// A Liquid is water or a mixture with water. The zero value is water. Liquids
// made alike are equal.
type Liquid struct {
	with   substance
	by     basis
	amount float64
}

// Water returns water.
func Water() Liquid { return Liquid{} }

// SodiumChloride returns a solution of sodium chloride, made up at 20 °C.
func SodiumChloride(c units.Molarity) Liquid { return Liquid{sodiumChloride, molar, float64(c)} }

// SodiumChlorideByMass returns a solution with a fraction of its mass sodium chloride.
func SodiumChlorideByMass(w units.Fraction) Liquid { return Liquid{sodiumChloride, byMass, float64(w)} }

// SodiumHydroxide returns a solution of sodium hydroxide, made up at 20 °C.
func SodiumHydroxide(c units.Molarity) Liquid { return Liquid{sodiumHydroxide, molar, float64(c)} }

// SodiumHydroxideByMass returns a solution with a fraction of its mass sodium hydroxide.
func SodiumHydroxideByMass(w units.Fraction) Liquid {
	return Liquid{sodiumHydroxide, byMass, float64(w)}
}

// SodiumSulfate returns a solution of sodium sulfate, made up at 20 °C.
func SodiumSulfate(c units.Molarity) Liquid { return Liquid{sodiumSulfate, molar, float64(c)} }

// SodiumSulfateByMass returns a solution with a fraction of its mass sodium sulfate.
func SodiumSulfateByMass(w units.Fraction) Liquid { return Liquid{sodiumSulfate, byMass, float64(w)} }

// Ethanol returns ethanol in water, as a fraction by volume: the volume of the
// ethanol alone over that of the mixture, both at 20 °C. Storage solutions are
// given so; 20 % by volume is 16.2 % by mass.
func Ethanol(v units.Fraction) Liquid { return Liquid{ethanol, byVolume, float64(v)} }

// EthanolByMass returns a mixture with a fraction of its mass ethanol.
func EthanolByMass(w units.Fraction) Liquid { return Liquid{ethanol, byMass, float64(w)} }

// GlycerolByMass returns a mixture with a fraction of its mass glycerol.
func GlycerolByMass(w units.Fraction) Liquid { return Liquid{glycerol, byMass, float64(w)} }

// Name says what the liquid is.
func (l Liquid) Name() string {
	switch {
	case l.with == water:
		return "water"
	case l.by == molar:
		return fmt.Sprintf("%v of %v", units.Molarity(l.amount), l.with)
	case l.by == byVolume:
		return fmt.Sprintf("%v %v by volume", units.Fraction(l.amount), l.with)
	}
	return fmt.Sprintf("%v %v by mass", units.Fraction(l.amount), l.with)
}

// A RangeError tells that a temperature lies outside the range of an equation.
type RangeError struct {
	Quantity    string // "viscosity of water"
	Temperature units.Temperature
	Low, High   units.Temperature // the equation holds from here to there
}

func (e *RangeError) Error() string {
	s := fmt.Sprintf("%s at %v: the equation holds from %v to %v", e.Quantity, e.Temperature, e.Low, e.High)
	if e.Temperature >= 0 && e.Temperature < 110 {
		s += fmt.Sprintf("; was the scale forgotten? Write Celsius(%v)", float64(e.Temperature))
	}
	return s
}

// A CompositionError tells that a mixture lies outside the range of an equation,
// or that there is none of that kind.
type CompositionError struct {
	Quantity string         // "viscosity of 5 mol/L of sodium chloride"
	Mass     units.Fraction // of the solute, by mass; NaN if the amount given makes no mixture
	High     units.Fraction // the equation holds from 0 to here, by mass
	Remedy   string
}

func (e *CompositionError) Error() string {
	s := fmt.Sprintf("%s: there is no such mixture", e.Quantity)
	if !math.IsNaN(float64(e.Mass)) {
		s = fmt.Sprintf("%s, %v by mass: the equation holds up to %v", e.Quantity, e.Mass, e.High)
	}
	if e.Remedy != "" {
		s += "; " + e.Remedy
	}
	return s
}

// checkRange refuses a temperature outside the range.
func checkRange(quantity string, t, low, high units.Temperature) error {
	const slack = 1e-9 * units.Kelvin // Celsius(-20) rounds to just below 253.15 K
	if !(t >= low-slack && t <= high+slack) {
		return &RangeError{quantity, t, low, high}
	}
	return nil
}

// checkMass refuses a mass fraction outside the range.
func checkMass(quantity string, w, high float64) error {
	if !(w >= 0 && w <= high*(1+1e-12)) {
		return &CompositionError{Quantity: quantity, Mass: units.Fraction(w), High: units.Fraction(high), Remedy: "measure it"}
	}
	return nil
}

// Check refuses an amount that makes no mixture, and one that no equation of its
// density reaches, since a volume is converted with the density.
func (l Liquid) Check() error {
	_, err := l.MassFraction()
	return err
}

// MassFraction returns the mass of the solute over that of the mixture; from a
// molarity c with the molar mass M,
//
//	w = c·M/ρ(w), and from a fraction by volume w = v·ρ(1)/ρ(w), both at 20 °C
//
// It refuses what Check refuses, with a *CompositionError.
func (l Liquid) MassFraction() (units.Fraction, error) {
	nan := units.Fraction(math.NaN())
	none := func(remedy string) (units.Fraction, error) {
		return nan, &CompositionError{Quantity: l.Name(), Mass: nan, Remedy: remedy}
	}
	switch {
	case l.with == water:
		return 0, nil
	case !(l.amount >= 0) || math.IsInf(l.amount, 0):
		return none("an amount is zero or more")
	case l.by != molar && l.amount > 1:
		return none("was the unit forgotten? Write for example 20 * Percent")
	case l.by == byMass:
		return units.Fraction(l.amount), nil
	}
	per := pureEthanol // kg of solute per m³ of it
	if l.by == molar {
		per = salts[l.with].molarMass
	}
	w := l.amount * per / 1000
	for range 100 {
		ρ := l.density(math.Min(w, 1), prepared)
		next := l.amount * per / ρ
		if !(next <= 1.0001) {
			remedy := "it does not dissolve so much"
			if l.amount < 20 {
				remedy = "was the unit forgotten? Write for example 0.5 * MolePerLitre"
			}
			return none(remedy)
		}
		if math.Abs(next-w) <= 1e-14 {
			return units.Fraction(math.Min(next, 1)), nil
		}
		w = next
	}
	return none("the amount could not be converted")
}

// density returns the density of the mixture without a look at its range.
func (l Liquid) density(w float64, t units.Temperature) float64 {
	switch l.with {
	case ethanol:
		return ethanolDensity(w, t.Celsius())
	case glycerol:
		return glycerolDensity(w, t.Celsius())
	}
	return salts[l.with].density(w, t.Celsius())
}

// Density returns the density at a temperature. Sources and ranges, with the
// temperature from and to and the largest mass fraction:
//
//	water             IAPWS SR6-08(2011)                            -20 to 110 °C
//	sodium chloride   Laliberté and Cooper 2004 (2009 coefficients)   0 to 140 °C, 26.6 %
//	sodium hydroxide  the same                                        4 to 120 °C, 56 %
//	sodium sulfate    the same                                        0 to 125 °C, 33.1 %
//	ethanol           OIML R 22 (1975)                              -20 to 40 °C
//	glycerol          Volk and Kähler 2018                           15 to 30 °C
//
// It returns a *RangeError or a *CompositionError outside, with NaN.
func (l Liquid) Density(t units.Temperature) (units.Density, error) {
	if l.with == water {
		return WaterDensity(t)
	}
	nan := units.Density(math.NaN())
	w, err := l.MassFraction()
	if err != nil {
		return nan, err
	}
	low, high, most := -20.0, 40.0, 1.0
	switch l.with {
	case ethanol:
	case glycerol:
		low, high = 15, 30
	default:
		s := salts[l.with]
		low, high, most = s.densityLow, s.densityHigh, s.densityMost
	}
	quantity := "density of " + l.Name()
	if err := checkRange(quantity, t, units.Celsius(low), units.Celsius(high)); err != nil {
		return nan, err
	}
	if err := checkMass(quantity, float64(w), most); err != nil {
		return nan, err
	}
	return units.Density(l.density(float64(w), t)), nil
}

// Viscosity returns the dynamic viscosity at a temperature. Sources and ranges,
// with the temperature from and to and the largest mass fraction:
//
//	water             IAPWS SR6-08(2011)                       -20 to 110 °C
//	sodium chloride   Laliberté 2007 (2009 coefficients)         5 to 154 °C, 26.4 %
//	sodium hydroxide  CRC Handbook, 2021, at 20 °C; elsewhere times the same
//	                  equation over itself at 20 °C           12.5 to 70 °C, 40 %
//	sodium sulfate    the same                                  15 to 150 °C, 33.1 %
//	ethanol           Bingham and Jackson 1918, interpolated     0 to 70 °C
//	glycerol          Cheng 2008                                 0 to 100 °C
//
// Equations for one liquid differ: those for sodium chloride up to 2 mol/kg by
// 0.8 % from 20 to 25 °C and by 1.7 % at 5 °C (Kestin, Khalifa and Correia 1981;
// Mao and Duan 2009), and each has a water of its own. Laliberté's equation for
// sodium hydroxide does not serve by itself: at 20 °C it is 6 % too low at 1 % by
// mass, where it lies below water, and 9 % from 3 to 6 %. That for ethanol lies
// above the CRC Handbook's at 20 °C, by 2 to 3 % up to half of the mass and by 7 %
// at 80 %. It returns a *RangeError or a *CompositionError outside, with NaN.
func (l Liquid) Viscosity(t units.Temperature) (units.Viscosity, error) {
	if l.with == water {
		return WaterViscosity(t)
	}
	nan := units.Viscosity(math.NaN())
	fraction, err := l.MassFraction()
	if err != nil {
		return nan, err
	}
	w, c := float64(fraction), t.Celsius()
	low, high, most := 0.0, 70.0, 1.0
	switch l.with {
	case ethanol:
	case glycerol:
		high = 100
	default:
		s := salts[l.with]
		low, high, most = s.viscosityLow, s.viscosityHigh, s.viscosityMost
	}
	quantity := "viscosity of " + l.Name()
	if err := checkRange(quantity, t, units.Celsius(low), units.Celsius(high)); err != nil {
		return nan, err
	}
	if err := checkMass(quantity, w, most); err != nil {
		return nan, err
	}
	switch l.with {
	case ethanol:
		return units.MillipascalSecond.Times(ethanolViscosity(w, c)), nil
	case glycerol:
		return units.MillipascalSecond.Times(glycerolViscosity(w, c)), nil
	case sodiumHydroxide:
		return units.MillipascalSecond.Times(hydroxideViscosity(w, c)), nil
	}
	return units.MillipascalSecond.Times(salts[l.with].viscosity(w, c)), nil
}

// table lists density and viscosity at the temperatures of workplaces.
func (l Liquid) table() table.Table {
	t := table.Table{Caption: l.Name(), Columns: []table.Column{
		{Name: "temperature", Unit: "°C", Right: true}, {Name: "density", Unit: "kg/m³", Right: true},
		{Name: "viscosity", Unit: "mPa·s", Right: true}, {Name: "over water at 20 °C", Right: true}}}
	reference, err := WaterViscosity(units.Celsius(20))
	if err != nil {
		panic("liquid: " + err.Error())
	}
	for _, c := range []float64{5, 10, 15, 20, 25, 30, 37} {
		at := units.Celsius(c)
		density, viscosity, ratio := "out of range", "out of range", ""
		if ρ, err := l.Density(at); err == nil {
			density = number.Fixed(ρ.In(units.KilogramPerCubicMetre), 1)
		}
		if µ, err := l.Viscosity(at); err == nil {
			viscosity, ratio = number.Fixed(µ.In(units.MillipascalSecond), 3), number.Fixed(µ.In(reference), 2)
		}
		t.Add(fmt.Sprint(c), density, viscosity, ratio)
	}
	return t
}

// Page shows density and viscosity at several temperatures.
func (l Liquid) Page() page.Page {
	var p page.Page
	if err := l.Check(); err != nil {
		p.NoResult(err, "")
		return p
	}
	p.Table(l.table())
	if l.with == sodiumHydroxide {
		p.List("Cautions", []string{
			"The viscosity is known at 20 °C; how it changes with the temperature is an estimate: leave a margin.",
			"Sodium hydroxide burns skin and eyes: wear what the site's rules and the safety data sheet ask for.",
		})
	}
	return p
}

// String is the name of the liquid.
func (l Liquid) String() string { return l.Name() }
