package units

import (
	"math"

	"github.com/evenbed/evenbed/packing/internal/number"
)

// Density is a mass per volume, or a difference of two, in kilograms per cubic metre.
type Density float64

// Units of density.
const (
	KilogramPerCubicMetre  Density = 1
	GramPerMillilitre              = 1e3 * KilogramPerCubicMetre
	GramPerCubicCentimetre         = GramPerMillilitre
	KilogramPerLitre               = GramPerMillilitre
	MilligramPerMillilitre         = KilogramPerCubicMetre
	GramPerLitre                   = KilogramPerCubicMetre
)

// In returns the number of units in d.
func (d Density) In(unit Density) float64 { return float64(d) / float64(unit) }

// Times returns v times the density d: KilogramPerCubicMetre.Times(v).
func (d Density) Times(v float64) Density { return Density(v * float64(d)) }

// String shows d in kg/m³.
func (d Density) String() string { return show(float64(d), "kg/m³", step{1, "kg/m³", 0}) }

// Viscosity is a dynamic viscosity in pascal seconds.
type Viscosity float64

// Units of dynamic viscosity.
const (
	PascalSecond      Viscosity = 1
	MillipascalSecond           = 1e-3 * PascalSecond
)

// In returns the number of units in m.
func (m Viscosity) In(unit Viscosity) float64 { return float64(m) / float64(unit) }

// Times returns v times the viscosity m: MillipascalSecond.Times(v).
func (m Viscosity) Times(v float64) Viscosity { return Viscosity(v * float64(m)) }

// String shows m in mPa·s.
func (m Viscosity) String() string { return show(float64(m), "mPa·s", step{1e-3, "mPa·s", 0}) }

// Temperature is an absolute temperature in kelvins. Enter degrees Celsius with
// [Celsius] and leave with the method of that name.
type Temperature float64

// Kelvin is the unit of temperature.
const Kelvin Temperature = 1

// zeroCelsius is 0 °C.
const zeroCelsius = 273.15

// Celsius returns the temperature of t degrees Celsius.
func Celsius(t float64) Temperature { return Temperature(t + zeroCelsius) }

// Celsius returns t in degrees Celsius.
func (t Temperature) Celsius() float64 { return float64(t) - zeroCelsius }

// In returns the number of units in t.
func (t Temperature) In(unit Temperature) float64 { return float64(t) / float64(unit) }

// Times returns v times the temperature t: Kelvin.Times(v).
func (t Temperature) Times(v float64) Temperature { return Temperature(v * float64(t)) }

// String shows t in °C, to a hundredth.
func (t Temperature) String() string {
	c := t.Celsius()
	if math.IsNaN(c) || math.IsInf(c, 0) {
		return show(c, "°C")
	}
	return number.UpTo(c, 2) + " °C"
}
