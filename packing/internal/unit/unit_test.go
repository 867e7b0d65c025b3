package unit

import (
	"math"
	"testing"
)

func TestOf(t *testing.T) {
	// One of each in SI, by the definition of the units; those of NIST SP 811,
	// appendix B.8, where no definition gives it.
	for symbol, want := range map[string]Unit{
		"s": {Time, 1, 0}, "mins": {Time, 60, 0}, "d": {Time, 86400, 0}, "cm³": {Volume, 1e-6, 0}, "µl": {Volume, 1e-9, 0}, "μL": {Volume, 1e-9, 0}, "BV": {CV, 1, 0},
		"mL/s": {Flow, 1e-6, 0}, "uL/min": {Flow, 1e-9 / 60, 0}, "m3/h": {Flow, 1. / 3600, 0}, "m/h": {Velocity, 1. / 3600, 0}, "cm/hr": {Velocity, 0.01 / 3600, 0},
		"nm": {Length, 1e-9, 0}, "cm³/min": {Flow, 1e-6 / 60, 0}, "mm/min": {Velocity, 1e-3 / 60, 0}, "barg": {Pressure, 1e5, 0}, "bar(g)": {Pressure, 1e5, 0}, "mbar g": {Pressure, 100, 0}, "kPa (g)": {Pressure, 1000, 0}, "psig": {Pressure, 6894.757, 0}, "hPa": {Pressure, 100, 0}, "atm": {Pressure, 101325, 0}, "PSI": {Pressure, 6894.757, 0}, "kN": {Force, 1000, 0},
		"mL min-1": {Flow, 1e-6 / 60, 0}, "cm h^-1": {Velocity, 0.01 / 3600, 0}, "mS·cm⁻¹": {Conductivity, 0.1, 0}, "S/cm": {Conductivity, 100, 0}, "mS/cm": {Conductivity, 0.1, 0}, "deg C": {Temperature, 1, 273.15}, "ºC": {Temperature, 1, 273.15}, "K": {Temperature, 1, 0},
		"_mL/min": {Flow, 1e-6 / 60, 0}, "mL_min": {Flow, 1e-6 / 60, 0}, "mL_per_min": {Flow, 1e-6 / 60, 0}, "mS / cm": {Conductivity, 0.1, 0}, "deg_C": {Temperature, 1, 273.15},
		"%B": {Fraction, 0.01, 0}, "‰": {Fraction, 1e-3, 0}, "mg/L": {Density, 1e-3, 0}, "g/cm3": {Density, 1000, 0}, "mM": {Concentration, 1, 0}, "pH": {Acidity, 1, 0},
	} {
		u, ok := Of(symbol)
		if !ok || u.Kind != want.Kind || math.Abs(u.One/want.One-1) > 1e-12 || math.Abs(u.Zero-want.Zero) > 1e-12 || !Written(symbol) {
			t.Errorf("%q: %+v, %v; want %+v", symbol, u, ok, want)
		}
	}
	for _, symbol := range []string{"a.u.", "cps", "hh:mm:ss", "M"} {
		if u, ok := Of(symbol); ok || u.Kind != None || !Written(symbol) {
			t.Errorf("%q is written as a unit but has no size: %+v, %v", symbol, u, ok)
		}
	}
	for _, symbol := range []string{"", "mpa", "furlong", "bara", "bar a", "bar (a)", "1 min-1", "kg m3-1", "Min", "ML", "UV", "1_min", "_", "mL_bar", "per min"} {
		if _, ok := Of(symbol); ok || Written(symbol) {
			t.Errorf("%q is taken for a unit", symbol)
		}
	}
}

func TestConvert(t *testing.T) {
	of := func(symbol string) Unit { u, _ := Of(symbol); return u }
	// NIST SP 811, appendix B.9: 68 °F is 20 °C, and 212 °F 100 °C.
	for i, got := range Convert([]float64{68, 212, 32}, of("°F"), of("°C")) {
		if want := []float64{20, 100, 0}[i]; math.Abs(got-want) > 1e-12 {
			t.Errorf("%v °C, want %v", got, want)
		}
	}
	if got := Convert([]float64{0.1}, of("mL"), of("ml"))[0]; got != 0.1 {
		t.Errorf("the same unit changes a number: %v", got)
	}
}

// Every kind has a name, and its example is a unit of it.
func TestKinds(t *testing.T) {
	for k := None + 1; k < Other; k++ {
		if k.String() == "" || KindOf(k.Example()) != k {
			t.Errorf("kind %d, %q: %q is %v", k, k, k.Example(), KindOf(k.Example()))
		}
	}
}
