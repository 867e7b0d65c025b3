// Package unit knows the units that exports write: how their symbols are
// spelt, what they measure and how large they are.
//
//	Of         what a symbol measures, and its size in SI
//	Written    whether a text is a unit at all, be its size known or not
//	Convert    numbers from one unit into another of its kind
package unit

import (
	"maps"
	"strings"

	"github.com/evenbed/evenbed/packing/units"
)

// A Kind is what a unit measures.
type Kind int

// The kinds. CV counts volumes of the packed bed, whose size the file does not
// tell. Other is for what is written as a unit and has no size here: arbitrary
// units, counts, forms of a clock.
const (
	None Kind = iota
	Time
	Volume
	CV
	Flow
	Velocity
	Length
	Pressure
	Force
	Absorbance
	Conductivity
	Temperature
	Fraction
	Density
	Concentration
	Acidity
	Voltage
	Current
	Turbidity
	Rotation
	Other
)

// kinds are names and, for messages, a unit of each kind.
var kinds = [...]struct{ name, example string }{
	None: {"nothing known", "mAU"}, Time: {"time", "min"}, Volume: {"volume", "L"}, CV: {"column volumes", "CV"},
	Flow: {"flow", "L/h"}, Velocity: {"velocity", "cm/h"}, Length: {"length", "cm"}, Pressure: {"pressure", "bar"}, Force: {"force", "N"},
	Absorbance: {"absorbance", "mAU"}, Conductivity: {"conductivity", "mS/cm"}, Temperature: {"temperature", "°C"}, Fraction: {"fraction", "%"},
	Density: {"density", "g/L"}, Concentration: {"concentration", "mol/L"}, Acidity: {"pH", "pH"}, Voltage: {"voltage", "mV"}, Current: {"current", "mA"},
	Turbidity: {"turbidity", "NTU"}, Rotation: {"rotation", "rpm"}, Other: {"nothing known", "mAU"},
}

// String returns what is measured.
func (k Kind) String() string { return kinds[k].name }

// Example returns a unit of the kind.
func (k Kind) Example() string { return kinds[k].example }

// A Unit is a kind, the size of one unit in SI and what zero of the unit is in
// SI. Kinds that package units has no type for count in the first unit of their
// line below.
type Unit struct {
	Kind Kind
	One  float64
	Zero float64
}

// known holds every symbol. Upper and lower case matter: M is not m.
var known = func() map[string]Unit {
	m := map[string]Unit{}
	add := func(k Kind, one float64, symbols string) {
		for _, s := range strings.Fields(symbols) {
			m[s] = Unit{Kind: k, One: one}
		}
	}
	add(Time, float64(units.Second), "s sec secs second seconds")
	add(Time, float64(units.Millisecond), "ms")
	add(Time, float64(units.Minute), "min mins minute minutes")
	add(Time, float64(units.Hour), "h hr hrs hour hours")
	add(Time, 24*float64(units.Hour), "d day days")

	add(Volume, float64(units.CubicMetre), "m3 m³")
	add(Volume, float64(units.Litre), "L l dm3 dm³")
	add(Volume, float64(units.Millilitre), "mL ml cm3 cm³")
	add(Volume, float64(units.Microlitre), "µL uL µl ul")
	add(CV, 1, "CV cv BV")

	add(Flow, float64(units.MillilitrePerMinute), "mL/min ml/min cm3/min cm³/min")
	add(Flow, 1e-3*float64(units.MillilitrePerMinute), "µL/min uL/min µl/min ul/min")
	add(Flow, 60*float64(units.MillilitrePerMinute), "mL/s ml/s")
	add(Flow, 1e-3*float64(units.LitrePerHour), "mL/h ml/h mL/hr ml/hr")
	add(Flow, float64(units.LitrePerMinute), "L/min l/min")
	add(Flow, float64(units.LitrePerHour), "L/h l/h L/hr l/hr")
	add(Flow, 1e3*float64(units.LitrePerHour), "m3/h m³/h")

	add(Velocity, float64(units.MetrePerSecond), "m/s")
	add(Velocity, float64(units.MillimetrePerSecond), "mm/s")
	add(Velocity, float64(units.MillimetrePerSecond)/60, "mm/min")
	add(Velocity, float64(units.CentimetrePerMinute), "cm/min")
	add(Velocity, float64(units.CentimetrePerHour), "cm/h cm/hr")
	add(Velocity, 100*float64(units.CentimetrePerHour), "m/h m/hr")

	add(Length, float64(units.Metre), "m")
	add(Length, float64(units.Centimetre), "cm")
	add(Length, float64(units.Millimetre), "mm")
	add(Length, float64(units.Micrometre), "µm um")
	add(Length, 1e-3*float64(units.Micrometre), "nm")

	// Of pressures those over the ambient are meant, marked g or not: bar, barg,
	// bar(g), bar g.
	add(Pressure, float64(units.Pascal), "Pa")
	add(Pressure, 100*float64(units.Pascal), "hPa")
	add(Pressure, float64(units.Kilopascal), "kPa")
	add(Pressure, float64(units.Megapascal), "MPa")
	add(Pressure, float64(units.Millibar), "mbar")
	add(Pressure, float64(units.Bar), "bar")
	add(Pressure, float64(units.PSI), "psi PSI")
	add(Pressure, 101325*float64(units.Pascal), "atm") // NIST SP 811, appendix B.8
	add(Force, float64(units.Newton), "N")
	add(Force, float64(units.Kilonewton), "kN")

	add(Absorbance, float64(units.MilliAU), "mAU mOD")
	add(Absorbance, float64(units.AU), "AU OD")
	add(Conductivity, float64(units.SiemensPerMetre), "S/m")
	add(Conductivity, 100*float64(units.SiemensPerMetre), "S/cm")
	add(Conductivity, float64(units.MillisiemensPerCentimetre), "mS/cm")
	add(Conductivity, float64(units.MicrosiemensPerCentimetre), "µS/cm uS/cm")
	add(Temperature, float64(units.Kelvin), "K")
	for _, s := range []string{"°C", "℃", "degC", "deg C"} {
		m[s] = Unit{Temperature, 1, float64(units.Celsius(0))}
	}
	for _, s := range []string{"°F", "degF", "deg F"} {
		m[s] = Unit{Temperature, 5. / 9, 459.67 * 5 / 9} // NIST SP 811, appendix B.8
	}
	add(Fraction, 1, "1 -")
	add(Fraction, float64(units.Percent), "% %B %v/v")
	add(Fraction, float64(units.Permille), "‰")
	add(Density, float64(units.GramPerLitre), "kg/m3 kg/m³ g/L g/l mg/mL mg/ml")
	add(Density, float64(units.GramPerMillilitre), "g/mL g/ml g/cm3 g/cm³ kg/L kg/l")
	add(Density, 1e-3*float64(units.GramPerLitre), "mg/L mg/l")

	add(Concentration, 1, "mol/m3 mol/m³ mmol/L mmol/l mM")
	add(Concentration, 1e3, "mol/L mol/l")
	add(Acidity, 1, "pH")
	add(Voltage, 1, "V")
	add(Voltage, 1e-3, "mV")
	add(Voltage, 1e-6, "µV uV")
	add(Current, 1, "A")
	add(Current, 1e-3, "mA")
	add(Turbidity, 1, "NTU")
	add(Rotation, 1, "rpm 1/min")

	add(Other, 0, `a.u. au arb mS µS uS W M 1/s Hz g mg kg µg mPa.s mPas cP RIU nRIU dBm counts cps
		hh:mm:ss mm:ss hh:mm h:mm:ss hh:mm:ss.fff`)

	for s, u := range maps.Clone(m) {
		if u.Kind == Pressure {
			for _, gauge := range []string{"g", " g", "(g)", " (g)"} {
				m[s+gauge] = u
			}
		}
		if over, under, ok := strings.Cut(s, "/"); ok && u.Kind != Other && over != "1" && strings.TrimRight(under, "0123456789³") == under {
			for _, power := range []string{"-1", "^-1", "⁻¹"} { // mL min-1
				m[over+" "+under+power], m[over+"·"+under+power] = u, u
			}
		}
	}
	return m
}()

// Spelt returns a symbol as it is looked up: without blanks and underscores around
// it, with the micro sign for the Greek letter and the degree sign for the ordinal
// that looks like it, and a quotient with a slash: "mL_min", "mL per min" and
// "mL / min" are "mL/min".
func Spelt(symbol string) string {
	s := strings.Trim(strings.TrimSpace(symbol), "_")
	s = strings.ReplaceAll(strings.ReplaceAll(s, "μ", "µ"), "º", "°")
	if _, ok := known[s]; ok || !strings.ContainsAny(s, " _") {
		return s
	}
	if spaced := strings.ReplaceAll(s, "_", " "); known[spaced].Kind != None {
		return spaced // deg_C
	}
	quotient := per.Replace(s)
	over, under, _ := strings.Cut(quotient, "/")
	if known[quotient].Kind != None && known[over].Kind != None && known[under].Kind != None && over != "1" {
		return quotient
	}
	return s
}

// per are the ways to write a slash.
var per = strings.NewReplacer("_per_", "/", " per ", "/", " / ", "/", "/ ", "/", " /", "/", "_", "/")

// Of returns the unit of a symbol as exports write it; false if its size is not
// known.
func Of(symbol string) (Unit, bool) {
	u, ok := known[Spelt(symbol)]
	if u.Kind == Other {
		return Unit{}, false
	}
	return u, ok
}

// Written tells whether a text is a unit, be its size known or not.
func Written(symbol string) bool {
	_, ok := known[Spelt(symbol)]
	return ok
}

// KindOf returns what a unit measures; None if its size is not known.
func KindOf(symbol string) Kind {
	u, _ := Of(symbol)
	return u.Kind
}

// Convert returns values of the unit from in the unit to, of the same kind.
// Where both are one unit the numbers stay as they are.
func Convert(values []float64, from, to Unit) []float64 {
	out := make([]float64, len(values))
	for i, v := range values {
		if from == to {
			out[i] = v
		} else {
			out[i] = (v*from.One + (from.Zero - to.Zero)) / to.One
		}
	}
	return out
}
