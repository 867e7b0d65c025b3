package liquid_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/liquid"
	. "github.com/evenbed/evenbed/packing/units"
)

// TestEthanolDensityTable: the density of ethanol and water from 10 to 40 °C, g/cm³,
// per cent by mass. Perry's Chemical Engineers' Handbook, table "densities of
// mixtures of ethanol and water at atmospheric pressure" (values of the Bureau of
// Standards), from memory. Its ethanol was a little denser than that of the formula,
// by 0.00010 g/cm³ when pure; what temperature does agrees to 0.00006 g/cm³.
func TestEthanolDensityTable(t *testing.T) {
	celsius := []float64{10, 15, 20, 25, 30, 35, 40}
	for _, row := range []struct {
		mass float64
		want [7]float64
	}{
		{10, [7]float64{0.98393, 0.98304, 0.98187, 0.98043, 0.97875, 0.97685, 0.97475}},
		{20, [7]float64{0.97252, 0.97068, 0.96864, 0.96639, 0.96395, 0.96134, 0.95856}},
		{30, [7]float64{0.95977, 0.95686, 0.95382, 0.95067, 0.94741, 0.94403, 0.94055}},
		{40, [7]float64{0.94238, 0.93882, 0.93518, 0.93148, 0.92770, 0.92385, 0.91992}},
		{50, [7]float64{0.92162, 0.91776, 0.91384, 0.90985, 0.90580, 0.90168, 0.89750}},
		{60, [7]float64{0.89927, 0.89523, 0.89113, 0.88699, 0.88278, 0.87851, 0.87417}},
		{70, [7]float64{0.87602, 0.87187, 0.86766, 0.86340, 0.85908, 0.85470, 0.85025}},
		{80, [7]float64{0.85197, 0.84772, 0.84344, 0.83911, 0.83473, 0.83029, 0.82578}},
		{90, [7]float64{0.82654, 0.82227, 0.81797, 0.81362, 0.80922, 0.80478, 0.80028}},
		{100, [7]float64{0.79784, 0.79360, 0.78934, 0.78506, 0.78075, 0.77641, 0.77203}},
	} {
		l := liquid.EthanolByMass(Percent.Times(row.mass))
		for i, c := range celsius {
			got, err := l.Density(Celsius(c))
			at20, err20 := l.Density(Celsius(20))
			g, g20 := got.In(KilogramPerCubicMetre)/1000, at20.In(KilogramPerCubicMetre)/1000
			if err != nil || err20 != nil || math.Abs(g-row.want[i]) > 12e-5 || math.Abs(g-g20-(row.want[i]-row.want[2])) > 6e-5 {
				t.Errorf("%v %% at %v °C: %.5f, %v, at 20 °C %.5f; the handbook has %.5f and %.5f", row.mass, c, g, err, g20, row.want[i], row.want[2])
			}
		}
	}
}

// TestRanges: each formula answers to the ends of the range that the documentation of
// Density and Viscosity gives, and not beyond; the error names the range.
func TestRanges(t *testing.T) {
	for _, tc := range []struct {
		l                      liquid.Liquid
		density, viscosity     [2]float64 // °C
		mostDensity, mostThick float64    // mass fraction; 1: no limit
		at                     func(w Fraction) liquid.Liquid
	}{
		{liquid.SodiumChlorideByMass(0.1), [2]float64{0, 140}, [2]float64{5, 154}, 0.266, 0.264, liquid.SodiumChlorideByMass},
		{liquid.SodiumHydroxideByMass(0.1), [2]float64{4, 120}, [2]float64{12.5, 70}, 0.56, 0.40, liquid.SodiumHydroxideByMass},
		{liquid.SodiumSulfateByMass(0.1), [2]float64{0, 125}, [2]float64{15, 150}, 0.331, 0.331, liquid.SodiumSulfateByMass},
		{liquid.EthanolByMass(0.3), [2]float64{-20, 40}, [2]float64{0, 70}, 1, 1, liquid.EthanolByMass},
		{liquid.GlycerolByMass(0.3), [2]float64{15, 30}, [2]float64{0, 100}, 1, 1, liquid.GlycerolByMass},
	} {
		density := func(l liquid.Liquid, c float64) error { _, err := l.Density(Celsius(c)); return err }
		viscosity := func(l liquid.Liquid, c float64) error { _, err := l.Viscosity(Celsius(c)); return err }
		for _, x := range []struct {
			what string
			of   func(liquid.Liquid, float64) error
			ends [2]float64
			most float64
		}{{"density", density, tc.density, tc.mostDensity}, {"viscosity", viscosity, tc.viscosity, tc.mostThick}} {
			for k, end := range x.ends {
				if err := x.of(tc.l, end); err != nil {
					t.Errorf("%s of %v at %v °C: %v", x.what, tc.l, end, err)
				}
				beyond := end + []float64{-0.001, 0.001}[k]
				var outside *liquid.RangeError
				if err := x.of(tc.l, beyond); !errors.As(err, &outside) || !strings.Contains(err.Error(), "°C") {
					t.Errorf("%s of %v at %v °C: %v", x.what, tc.l, beyond, err)
				}
			}
			middle := 20.0
			if err := x.of(tc.at(Fraction(x.most)), middle); err != nil {
				t.Errorf("%s of a mass fraction of %v: %v", x.what, x.most, err)
			}
			if err := x.of(tc.at(Fraction(x.most+0.0005)), middle); err == nil {
				t.Errorf("%s of %v answers for a mass fraction of %v, it ends at %v", x.what, tc.l, x.most+0.0005, x.most)
			}
		}
	}
}

// TestTableOfALiquid: density and viscosity at the temperatures of workplaces, with the
// viscosity over that of water at 20 °C. The numbers of water: IAPWS SR6-08.
func TestTableOfALiquid(t *testing.T) {
	text := liquid.Water().Page().Markdown()
	for _, row := range []string{"5 | 1000.0 | 1.518 | 1.52", "10 | 999.7 | 1.306 | 1.30", "15 | 999.1 | 1.138 | 1.14", "20 | 998.2 | 1.002 | 1.00",
		"25 | 997.0 | 0.890 | 0.89", "30 | 995.6 | 0.797 | 0.80", "37 | 993.3 | 0.691 | 0.69"} {
		if !strings.Contains(strings.Join(strings.Fields(text), " "), row) {
			t.Errorf("%q is missing in\n%s", row, text)
		}
	}
	if text := fmt.Sprint(liquid.SodiumSulfate(0.5).Page().Markdown()); strings.Count(text, "out of range") != 2 { // viscosity at 5 and 10 °C
		t.Errorf("out of range stands %d times in\n%s", strings.Count(text, "out of range"), text)
	}
}
