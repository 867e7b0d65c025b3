package record

import (
	"strings"

	"github.com/evenbed/evenbed/packing/units"
)

// A kind is what a unit measures.
type kind int

const (
	noKind kind = iota
	timeKind
	volumeKind
	columnVolumeKind
	flowKind
	velocityKind
	lengthKind
	pressureKind
	forceKind
	absorbanceKind
	conductivityKind
	temperatureKind
	fractionKind
	densityKind
	concentrationKind
	acidityKind
	voltageKind
	currentKind
	turbidityKind
	rotationKind
)

func (k kind) String() string {
	return [...]string{"nothing known", "time", "volume", "column volumes", "flow", "velocity", "length", "pressure", "force", "absorbance",
		"conductivity", "temperature", "fraction", "density", "concentration", "pH", "voltage", "current", "turbidity", "rotation"}[k]
}

// example returns a unit of the kind.
func (k kind) example() string {
	return [...]string{"mAU", "min", "L", "CV", "L/h", "cm/h", "cm", "bar", "N", "mAU",
		"mS/cm", "°C", "%", "g/L", "mol/L", "pH", "mV", "mA", "NTU", "rpm"}[k]
}

// A unit is a kind, the size of one unit in SI and what zero of the unit is in
// SI. Kinds that units has no type for count in the first unit of their line.
type unit struct {
	kind kind
	one  float64
	zero float64
}

// unitOf returns the unit of a symbol as exports write it.
func unitOf(symbol string) (unit, bool) {
	u := func(k kind, one float64) (unit, bool) { return unit{kind: k, one: one}, true }
	s := strings.ReplaceAll(strings.TrimSpace(symbol), "μ", "µ") // the Greek letter for the micro sign
	switch s {
	case "ms":
		return u(timeKind, float64(units.Millisecond))
	case "s", "sec", "second", "seconds":
		return u(timeKind, float64(units.Second))
	case "min", "minute", "minutes":
		return u(timeKind, float64(units.Minute))
	case "h", "hr", "hour", "hours":
		return u(timeKind, float64(units.Hour))
	case "d", "day", "days":
		return u(timeKind, 24*float64(units.Hour))

	case "µL", "uL", "µl", "ul":
		return u(volumeKind, float64(units.Microlitre))
	case "mL", "ml", "cm3", "cm³":
		return u(volumeKind, float64(units.Millilitre))
	case "L", "l", "dm3", "dm³":
		return u(volumeKind, float64(units.Litre))
	case "m3", "m³":
		return u(volumeKind, float64(units.CubicMetre))
	case "CV":
		return u(columnVolumeKind, 1)

	case "µL/min", "uL/min", "µl/min", "ul/min":
		return u(flowKind, 1e-3*float64(units.MillilitrePerMinute))
	case "mL/min", "ml/min":
		return u(flowKind, float64(units.MillilitrePerMinute))
	case "mL/s", "ml/s":
		return u(flowKind, 60*float64(units.MillilitrePerMinute))
	case "mL/h", "ml/h":
		return u(flowKind, 1e-3*float64(units.LitrePerHour))
	case "L/min", "l/min":
		return u(flowKind, float64(units.LitrePerMinute))
	case "L/h", "l/h", "L/hr", "l/hr":
		return u(flowKind, float64(units.LitrePerHour))
	case "m3/h", "m³/h":
		return u(flowKind, 1e3*float64(units.LitrePerHour))

	case "cm/h", "cm/hr":
		return u(velocityKind, float64(units.CentimetrePerHour))
	case "cm/min":
		return u(velocityKind, float64(units.CentimetrePerMinute))
	case "mm/s":
		return u(velocityKind, float64(units.MillimetrePerSecond))
	case "m/s":
		return u(velocityKind, float64(units.MetrePerSecond))

	case "nm":
		return u(lengthKind, 1e-3*float64(units.Micrometre))
	case "µm", "um":
		return u(lengthKind, float64(units.Micrometre))
	case "mm":
		return u(lengthKind, float64(units.Millimetre))
	case "cm":
		return u(lengthKind, float64(units.Centimetre))
	case "m":
		return u(lengthKind, float64(units.Metre))

	case "Pa":
		return u(pressureKind, float64(units.Pascal))
	case "kPa":
		return u(pressureKind, float64(units.Kilopascal))
	case "MPa":
		return u(pressureKind, float64(units.Megapascal))
	case "mbar":
		return u(pressureKind, float64(units.Millibar))
	case "bar":
		return u(pressureKind, float64(units.Bar))
	case "psi", "PSI":
		return u(pressureKind, float64(units.PSI))
	case "N":
		return u(forceKind, float64(units.Newton))
	case "kN":
		return u(forceKind, float64(units.Kilonewton))

	case "mAU":
		return u(absorbanceKind, float64(units.MilliAU))
	case "AU":
		return u(absorbanceKind, float64(units.AU))
	case "mS/cm":
		return u(conductivityKind, float64(units.MillisiemensPerCentimetre))
	case "µS/cm", "uS/cm":
		return u(conductivityKind, float64(units.MicrosiemensPerCentimetre))
	case "S/m":
		return u(conductivityKind, float64(units.SiemensPerMetre))
	case "°C", "ºC", "℃", "degC", "deg C":
		return unit{temperatureKind, 1, float64(units.Celsius(0))}, true
	case "K":
		return u(temperatureKind, float64(units.Kelvin))
	case "1", "-":
		return u(fractionKind, 1)
	case "%":
		return u(fractionKind, float64(units.Percent))
	case "‰":
		return u(fractionKind, float64(units.Permille))
	case "kg/m3", "kg/m³", "g/L", "g/l", "mg/mL", "mg/ml":
		return u(densityKind, float64(units.GramPerLitre))
	case "g/mL", "g/ml", "g/cm3", "g/cm³", "kg/L", "kg/l":
		return u(densityKind, float64(units.GramPerMillilitre))

	case "mol/m3", "mol/m³", "mmol/L", "mmol/l", "mM":
		return u(concentrationKind, 1)
	case "mol/L", "mol/l":
		return u(concentrationKind, 1e3)
	case "pH":
		return u(acidityKind, 1)
	case "V":
		return u(voltageKind, 1)
	case "mV":
		return u(voltageKind, 1e-3)
	case "A":
		return u(currentKind, 1)
	case "mA":
		return u(currentKind, 1e-3)
	case "NTU":
		return u(turbidityKind, 1)
	case "rpm", "1/min":
		return u(rotationKind, 1)
	}
	return unit{}, false
}

// kindOf returns what a unit measures; noKind if it is not known.
func kindOf(symbol string) kind {
	u, _ := unitOf(symbol)
	return u.kind
}

// convert returns values of the unit from in the unit to, of the same kind.
// Where both are one unit the numbers stay as they are.
func convert(values []float64, from, to unit) []float64 {
	out := make([]float64, len(values))
	for i, v := range values {
		if from == to {
			out[i] = v
		} else {
			out[i] = (v*from.one + (from.zero - to.zero)) / to.one
		}
	}
	return out
}
