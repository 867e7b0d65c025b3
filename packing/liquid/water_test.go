package liquid_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/liquid"
	"github.com/evenbed/evenbed/packing/units"
)

func TestWater(t *testing.T) {
	for _, tc := range []struct {
		kelvin, density, viscosity, tolerance float64
		source                                string // a wanted NaN is not compared
	}{
		// The release's own program check prints nine digits of the density.
		{260, 997.06836, math.NaN(), 1e-8, "IAPWS SR6-08(2011), program check"},
		{298.15, 997.0470134, 0.8899967738e-3, 1e-9, "equations of SR6-08 evaluated independently, ten digits"},
		{375, 957.0097103, 0.2762072449e-3, 1e-9, "equations of SR6-08 evaluated independently, ten digits"},
		// Another formulation of the viscosity, an uncertainty of 1 % of its own.
		{298.15, math.NaN(), 889.735100e-6, 5e-4, "IAPWS R12-08, table 4, at 998 kg/m³"},
		{293.15, math.NaN(), 1.0016e-3, 1e-4, "the classic reference, 1.0016 mPa·s at 20 °C (ISO/TR 3666)"},
	} {
		T := units.Kelvin.Times(tc.kelvin)
		rho, err := liquid.WaterDensity(T)
		if err != nil {
			t.Fatal(err)
		}
		mu, err := liquid.WaterViscosity(T)
		if err != nil {
			t.Fatal(err)
		}
		if !math.IsNaN(tc.density) && !(math.Abs(float64(rho)/tc.density-1) <= tc.tolerance) {
			t.Errorf("density at %v K: %.10g, want %.10g (%s)", tc.kelvin, rho.In(1), tc.density, tc.source)
		}
		if !math.IsNaN(tc.viscosity) && !(math.Abs(float64(mu)/tc.viscosity-1) <= tc.tolerance) {
			t.Errorf("viscosity at %v K: %.10g, want %.10g (%s)", tc.kelvin, mu.In(1), tc.viscosity, tc.source)
		}
	}
}

func TestWaterRange(t *testing.T) {
	for _, T := range []units.Temperature{253.14, 383.16, 0, 20, units.Temperature(math.NaN()), units.Temperature(math.Inf(1))} {
		mu, err := liquid.WaterViscosity(T)
		var e *liquid.RangeError
		if !errors.As(err, &e) || !math.IsNaN(float64(mu)) {
			t.Errorf("viscosity at %g K: %v, %v", float64(T), mu, err)
		}
		if rho, err := liquid.WaterDensity(T); err == nil || !math.IsNaN(float64(rho)) {
			t.Errorf("density at %g K: %v, %v", float64(T), rho, err)
		}
	}
	for _, T := range []units.Temperature{253.15, 383.15} { // the edges belong to the range
		if _, err := liquid.WaterViscosity(T); err != nil {
			t.Error(err)
		}
	}
	if _, err := liquid.WaterDensity(20); err == nil || !strings.Contains(err.Error(), "Celsius(20)") {
		t.Errorf("20 K does not ask for the scale: %v", err)
	}
}

// TestWaterShape: the density has its one maximum at 4 °C, the viscosity falls.
func TestWaterShape(t *testing.T) {
	var top, last units.Temperature
	best := units.Density(0)
	before := units.Viscosity(math.Inf(1))
	for c := -20.0; c <= 110; c += 0.01 {
		last = units.Celsius(c)
		rho, _ := liquid.WaterDensity(last)
		mu, _ := liquid.WaterViscosity(last)
		if rho > best {
			top, best = last, rho
		}
		if !(mu < before) {
			t.Fatalf("the viscosity does not fall at %v", last)
		}
		before = mu
	}
	if math.Abs(top.Celsius()-3.98) > 0.02 {
		t.Errorf("greatest density at %v, want 3.98 °C (handbooks, common knowledge)", top)
	}
}

func ExampleWaterViscosity() {
	cold, _ := liquid.WaterViscosity(units.Celsius(5))
	warm, err := liquid.WaterViscosity(units.Celsius(20))
	fmt.Printf("%.4f %.4f %.3f %v\n", cold.In(units.MillipascalSecond), warm.In(units.MillipascalSecond), cold.In(warm), err)
	// Output: 1.5182 1.0016 1.516 <nil>
}
