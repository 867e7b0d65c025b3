package liquid

import (
	"math"

	"github.com/evenbed/evenbed/packing/units"
)

// The range of the equations for water, in K.
const (
	coldest units.Temperature = 253.15
	hottest units.Temperature = 383.15
)

func check(quantity string, t units.Temperature) error {
	return checkRange(quantity, t, coldest, hottest)
}

// WaterViscosity returns the dynamic viscosity of liquid water at 0.1 MPa:
//
//	µ/(1 µPa·s) = Σ aᵢ·(T/300 K)^bᵢ, i = 1..4
//
// It holds from 253.15 to 383.15 K, in practice up to 0.3 MPa, and returns a
// *RangeError outside, with NaN. IAPWS R12-08 differs from it by less than
// 0.004 %. Source: IAPWS SR6-08(2011).
func WaterViscosity(t units.Temperature) (units.Viscosity, error) {
	if err := check("viscosity of water", t); err != nil {
		return units.Viscosity(math.NaN()), err
	}
	T := float64(t) / 300
	µ := 280.68*math.Pow(T, -1.9) +
		511.45*math.Pow(T, -7.7) +
		61.131*math.Pow(T, -19.6) +
		0.45903*math.Pow(T, -40)
	return units.Viscosity(µ * 1e-6), nil
}

// WaterDensity returns the density of liquid water at 0.1 MPa, the reciprocal of
// the specific volume
//
//	v = (R·Tr/p0)·[a5 + Σ aᵢ·αⁿⁱ (i = 6..10) + Σ bᵢ·βᵐⁱ (i = 5..10)]
//	α = Tr/(593 K - T), β = Tr/(T - 232 K), Tr = 10 K, p0 = 0.1 MPa,
//	R = 461.51805 J/(kg K)
//
// It holds from 253.15 to 383.15 K and returns a *RangeError outside, with NaN.
// Source: IAPWS SR6-08(2011).
func WaterDensity(t units.Temperature) (units.Density, error) {
	if err := check("density of water", t); err != nil {
		return units.Density(math.NaN()), err
	}
	const R, Tr, p0 = 461.51805, 10.0, 1e5
	α := Tr / (593 - float64(t))
	β := Tr / (float64(t) - 232)
	sum := 1.93763157e-2
	for _, a := range []struct{ a, n float64 }{
		{6.74458446e3, 4}, {-2.22521604e5, 5}, {1.00231247e8, 7}, {-1.63552118e9, 8}, {8.32299658e9, 9},
	} {
		sum += a.a * math.Pow(α, a.n)
	}
	for i, b := range []float64{
		5.78545292e-3, -1.53195665e-2, 3.11337859e-2, -4.23546241e-2, 3.38713507e-2, -1.19946761e-2,
	} {
		sum += b * math.Pow(β, float64(i+1))
	}
	return units.Density(p0 / (R * Tr * sum)), nil
}
