package record

import (
	"strings"

	"github.com/evenbed/evenbed/packing/units"
)

// A kind is what a unit measures.
type kind int

const (
	signalKind kind = iota // a detector's signal: kept as written
	timeKind
	volumeKind
	flowKind
	velocityKind
	lengthKind
	pressureKind
)

func (k kind) String() string {
	return [...]string{"signal", "time", "volume", "flow", "velocity", "length", "pressure"}[k]
}

// example returns a unit of the kind.
func (k kind) example() string {
	return [...]string{"mAU", "min", "L", "L/h", "cm/h", "cm", "bar"}[k]
}

// A unit is a kind and the size of one unit in SI.
type unit struct {
	kind kind
	one  float64
}

// unitOf returns the unit of a symbol as exports write it.
func unitOf(symbol string) (unit, bool) {
	s := strings.ReplaceAll(symbol, "μ", "µ") // the Greek letter for the micro sign
	switch s {
	case "ms":
		return unit{timeKind, float64(units.Millisecond)}, true
	case "s", "sec", "seconds":
		return unit{timeKind, float64(units.Second)}, true
	case "min", "minutes":
		return unit{timeKind, float64(units.Minute)}, true
	case "h", "hr", "hours":
		return unit{timeKind, float64(units.Hour)}, true

	case "µL", "uL", "µl", "ul":
		return unit{volumeKind, float64(units.Microlitre)}, true
	case "mL", "ml", "cm3", "cm³":
		return unit{volumeKind, float64(units.Millilitre)}, true
	case "L", "l", "dm3", "dm³":
		return unit{volumeKind, float64(units.Litre)}, true
	case "m3", "m³":
		return unit{volumeKind, float64(units.CubicMetre)}, true

	case "mL/min", "ml/min":
		return unit{flowKind, float64(units.MillilitrePerMinute)}, true
	case "L/min", "l/min":
		return unit{flowKind, float64(units.LitrePerMinute)}, true
	case "L/h", "l/h":
		return unit{flowKind, float64(units.LitrePerHour)}, true

	case "cm/h", "cm/hr":
		return unit{velocityKind, float64(units.CentimetrePerHour)}, true
	case "cm/min":
		return unit{velocityKind, float64(units.CentimetrePerMinute)}, true
	case "mm/s":
		return unit{velocityKind, float64(units.MillimetrePerSecond)}, true
	case "m/s":
		return unit{velocityKind, float64(units.MetrePerSecond)}, true

	case "µm", "um":
		return unit{lengthKind, float64(units.Micrometre)}, true
	case "mm":
		return unit{lengthKind, float64(units.Millimetre)}, true
	case "cm":
		return unit{lengthKind, float64(units.Centimetre)}, true
	case "m":
		return unit{lengthKind, float64(units.Metre)}, true

	case "Pa":
		return unit{pressureKind, float64(units.Pascal)}, true
	case "kPa":
		return unit{pressureKind, float64(units.Kilopascal)}, true
	case "MPa":
		return unit{pressureKind, float64(units.Megapascal)}, true
	case "mbar":
		return unit{pressureKind, float64(units.Millibar)}, true
	case "bar":
		return unit{pressureKind, float64(units.Bar)}, true
	case "psi":
		return unit{pressureKind, float64(units.PSI)}, true

	case "mAU", "AU", "mS/cm", "µS/cm", "uS/cm", "S/m", "°C", "%", "V", "mV", "mA", "NTU", "rpm", "CV", "pH", "1", "-":
		return unit{signalKind, 1}, true
	}
	return unit{}, false
}

// splitUnit takes the unit in brackets off the end of a heading. Brackets that
// begin with a digit, as in "UV (280 nm)", belong to the name.
func splitUnit(heading string) (name, unit string) {
	for _, b := range []string{"()", "[]"} {
		if !strings.HasSuffix(heading, b[1:]) {
			continue
		}
		i := strings.LastIndex(heading, b[:1])
		if i <= 0 {
			continue
		}
		in := strings.TrimSpace(heading[i+1 : len(heading)-1])
		if in == "" || in[0] >= '0' && in[0] <= '9' && in != "1" {
			continue
		}
		return strings.TrimSpace(heading[:i]), in
	}
	return heading, ""
}
