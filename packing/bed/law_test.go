package bed_test

import (
	"math"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	. "github.com/evenbed/evenbed/packing/units"
)

// A law and its inverse come back to where they began, and its stiffness is the
// slope of the stress.
func TestLaws(t *testing.T) {
	for _, law := range []bed.Law{bed.LinearStrain{Modulus: 4 * Bar}, bed.ExponentialVoid{Modulus: 6 * Bar}, bed.PowerSolids{Stress0: 5 * Kilopascal, Exponent: 0.08}} {
		for _, settled := range []float64{0.36, 0.40, 0.45} {
			near(t, law.String()+", without stress", law.Void(settled, 0), settled, 1e-15, "definition")
			last := settled
			for _, stress := range Kilopascal.Each(0.001, 1, 10, 50, 100) {
				void := law.Void(settled, stress)
				if !(void > 0 && void < last) {
					t.Errorf("%v: void %v after %v at %v", law, void, last, stress)
				}
				last = void
				near(t, law.String()+", back", float64(law.Stress(settled, void)), float64(stress), 1e-9, "inverse; a small stress loses digits")
				const h = 1e-6
				slope := float64(law.Stress(settled, void-h)-law.Stress(settled, void+h)) / (2 * h)
				near(t, law.String()+", stiffness", float64(law.Stiffness(settled, void)), slope, 1e-6, "central difference")
			}
		}
	}
	// By hand: at a tenth of the modulus the strain is 0.1, ε = 0.3/0.9.
	near(t, "linear strain", bed.LinearStrain{Modulus: 4 * Bar}.Void(0.4, 0.4*Bar), 1./3, 1e-15, "by hand")
	near(t, "exponential void", bed.ExponentialVoid{Modulus: 6 * Bar}.Void(0.4, 6*Bar), 0.4/math.E, 1e-15, "by hand")
	near(t, "power of solids", bed.PowerSolids{Stress0: 5 * Kilopascal, Exponent: 0.5}.Void(0.4, 5*Kilopascal), 1-0.6*math.Sqrt2, 1e-14, "by hand")
	near(t, "its last void", float64(bed.LinearStrain{Modulus: 4 * Bar}.Stress(0.4, 0)), 1.6e5, 1e-15, "M·ε0 by hand")
	for want, law := range map[string]bed.Law{"linear strain, modulus 4 bar": bed.LinearStrain{Modulus: 4 * Bar}, "exponential void, modulus 6 bar": bed.ExponentialVoid{Modulus: 6 * Bar},
		"power of solids, stress 5 kPa, exponent 0.08": bed.PowerSolids{Stress0: 5 * Kilopascal, Exponent: 0.08}} {
		if law.String() != want {
			t.Errorf("%q, want %q", law, want)
		}
	}
}
