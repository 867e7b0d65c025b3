package plan_test

import (
	"math"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	. "github.com/evenbed/evenbed/packing/units"
)

// demo is an invented medium whose bed follows the power law of filter cakes
// (F. M. Tiller and W. F. Leu, J. Chin. Inst. Chem. Eng. 11 (1980) 61-70):
//
//	1-ε = (1-ε0)·(1+σ/pa)^β,  k = d²ε³/(180(1-ε)²)
//
// Without wall friction and weight the stress at the bottom is the pressure drop
// P, and with the settled height L0
//
//	µu·(1-ε0)·L0 = ∫ k(1-ε) dσ,  L = ∫ k dσ/(µu),  both from 0 to P.
var demo = struct{ pa, beta, void, bead, viscosity float64 }{5e3, 0.08, 0.40, 90e-6, 1e-3}

// demoLaw is that law as package bed has it.
func demoLaw() bed.Law { return bed.PowerSolids{Stress0: 5 * Kilopascal, Exponent: 0.08} }

// demoState returns velocity and compression factor of the demo bed at a
// pressure drop, by Simpson's rule in ln(1+σ/pa), in which the integrands are
// smooth.
func demoState(pressure, settled float64) (u, cf float64) {
	top := math.Log1p(pressure / demo.pa)
	const n = 100
	var solids, height float64
	for i := 0; i <= n; i++ {
		x := top * float64(i) / n
		s := (1 - demo.void) * math.Exp(demo.beta*x)
		k := demo.bead * demo.bead * math.Pow(1-s, 3) / (180 * s * s)
		weight := []float64{2, 4}[i%2]
		if i == 0 || i == n {
			weight = 1
		}
		weight *= top / (3 * n) * demo.pa * math.Exp(x) // dσ
		solids += weight * k * s
		height += weight * k
	}
	u = solids / (demo.viscosity * (1 - demo.void) * settled)
	return u, settled * demo.viscosity * u / height
}

// demoPressure returns the pressure drop at a velocity, by bisection.
func demoPressure(u, settled float64) float64 {
	low, high := 0.0, 1e7
	for range 60 {
		mid := (low + high) / 2
		if v, _ := demoState(mid, settled); v < u {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// demoCurve is a curve measured on the demo bed without any error, in steps of
// 20 cm/h.
func demoCurve(t *testing.T, settled Length, last Velocity) bed.Curve {
	t.Helper()
	c := bed.Curve{Label: "invented"}
	for u := 20 * CentimetrePerHour; u <= last.Times(1+1e-9); u += 20 * CentimetrePerHour {
		p := demoPressure(float64(u), float64(settled))
		_, cf := demoState(p, float64(settled))
		c.Points = append(c.Points, bed.Point{Velocity: u, CompressionFactor: cf, Pressure: Pressure(p)})
	}
	if err := c.Check(); err != nil {
		t.Fatal(err)
	}
	return c
}

// The demo bed itself against two independent scripts (SciPy, initial-value
// problem in the bead coordinate), to the digits they gave.
func TestDemoBed(t *testing.T) {
	for _, tc := range []struct{ settled, u, cf, pressure, tolerance float64 }{
		{0.2016, 332.124, 1.12, 0.52691, 2e-5},
		{0.23, 395.544, 1.15, 0.93450, 2e-5},
	} {
		p := demoPressure(tc.u/360000, tc.settled)
		_, cf := demoState(p, tc.settled)
		near(t, "pressure", p/1e5, tc.pressure, tc.tolerance, "SciPy, five digits")
		near(t, "factor", cf, tc.cf, tc.tolerance, "SciPy, five digits")
	}
	for settled, want := range map[float64]float64{0.2016: 1.01070, 0.23: 1.01213} {
		_, cf := demoState(demoPressure(20./360000, settled), settled)
		near(t, "factor at 20 cm/h", cf, want, 6e-6, "SciPy, six digits")
	}
}

func near(t *testing.T, name string, got, want, tolerance float64, source string) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Abs(want)) {
		t.Errorf("%s: %.8g, want %.8g within %g (%s)", name, got, want, tolerance, source)
	}
}
