package packing

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/units"
)

// An InputError tells which input cannot be used, why, and what to do about it.
type InputError struct {
	Where   string // what it belongs to: the column's tag, the medium's name
	What    string // the input, with its value
	Problem string
	Remedy  string // what to do; may be empty
}

// Error joins the parts to one line.
func (e *InputError) Error() string {
	s := e.Problem
	if e.What != "" {
		s = e.What + ": " + s
	}
	if e.Where != "" {
		s = e.Where + ": " + s
	}
	if e.Remedy != "" {
		s += "; " + e.Remedy
	}
	return s
}

// forgotten is the remedy for a size that nothing has.
func forgotten(example string) string {
	return "was the unit forgotten? Write for example " + example
}

// span checks a positive quantity against the sizes that occur. Its value is
// written only if it is refused, and example shows how to write it.
func span[Q quantity](where, what string, q Q, low, high float64, lowText, highText, example string) error {
	v := float64(q)
	if v >= low && v <= high {
		return nil
	}
	what += " " + q.String()
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return &InputError{where, what, "is not a number that can be used", "give a measured value"}
	case v == 0:
		return &InputError{where, what, "it is zero or was not given", "write for example " + example}
	case v < 0:
		return &InputError{where, what, "it must be above zero", "write for example " + example}
	case v > high:
		return &InputError{where, what, "more than " + highText + ", which does not occur", forgotten(example)}
	}
	return &InputError{where, what, "less than " + lowText + ", which does not occur", forgotten(example)}
}

// A quantity is a number in SI that shows itself with its unit.
type quantity interface {
	~float64
	String() string
}

// optional is span for an input whose zero value means "not given".
func optional[Q quantity](where, what string, q Q, low, high float64, lowText, highText, example string) error {
	switch {
	case q == 0:
		return nil
	case q < 0:
		return &InputError{where, what + " " + q.String(), "it must not be below zero", "leave it out, or write for example " + example}
	}
	return span(where, what, q, low, high, lowText, highText, example)
}

// CheckBedHeight refuses a bed height that no column has.
func CheckBedHeight(h units.Length) error {
	return span("", "bed height", h, 1e-3, 3, "1 mm", "3 m", "18 * Centimetre")
}

// CheckVelocity refuses a velocity that no packed bed sees. Name says which
// velocity it is, for the message.
func CheckVelocity(name string, u units.Velocity) error {
	return span("", name, u, float64(0.01*units.CentimetrePerHour), float64(20000*units.CentimetrePerHour),
		"0.01 cm/h", "20000 cm/h", "20 * CentimetrePerHour")
}

// CheckPressure refuses a pressure that no column sees. Name says which
// pressure it is, for the message; zero, not given, passes.
func CheckPressure(name string, p units.Pressure) error {
	return optional("", name, p, 100, 1e8, "1 mbar", "1000 bar", "3 * Bar")
}

// CheckTemperature refuses a temperature at which no column is packed.
func CheckTemperature(name string, t units.Temperature) error {
	what := fmt.Sprintf("%s %v", name, t)
	if math.IsNaN(float64(t)) || t < units.Celsius(-30) || t > units.Celsius(130) {
		return &InputError{"", what, "is outside -30 to 130 °C", "was the scale forgotten? Write for example Celsius(20)"}
	}
	return nil
}
