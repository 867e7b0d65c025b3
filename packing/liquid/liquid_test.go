package liquid_test

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/liquid"
	. "github.com/evenbed/evenbed/packing/units"
)

func near(t *testing.T, name string, got, want, tolerance float64, source string) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Abs(want)) {
		t.Errorf("%s: %.10g, want %.10g within %g (%s)", name, got, want, tolerance, source)
	}
}

// rows reads a table with its head.
func rows(t *testing.T, file string, want int) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(all)-1 != want {
		t.Fatalf("%s: %d rows, want %d", file, len(all)-1, want)
	}
	return all
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// density and viscosity in kg/m³ and mPa·s.
func density(t *testing.T, l liquid.Liquid, celsius float64) float64 {
	t.Helper()
	ρ, err := l.Density(Celsius(celsius))
	if err != nil {
		t.Fatal(err)
	}
	return ρ.In(KilogramPerCubicMetre)
}

func viscosity(t *testing.T, l liquid.Liquid, celsius float64) float64 {
	t.Helper()
	µ, err := l.Viscosity(Celsius(celsius))
	if err != nil {
		t.Fatal(err)
	}
	return µ.In(MillipascalSecond)
}

// molal returns sodium chloride of a molality in mol/kg.
func molal(m float64) liquid.Liquid {
	return liquid.SodiumChlorideByMass(Fraction(m * 0.058443 / (1 + m*0.058443)))
}

func TestWaterTable(t *testing.T) {
	for n, row := range rows(t, "water_reference.csv", 19)[1:] {
		c := number(t, row[0])
		source := fmt.Sprintf("water_reference.csv line %d", n+2)
		near(t, "density", density(t, liquid.Water(), c), number(t, row[2]), 1e-9, source+", nine digits")
		near(t, "viscosity", viscosity(t, liquid.Water(), c), number(t, row[3]), 1.5e-7, source+", seven decimals")
		near(t, "viscosity", viscosity(t, liquid.Water(), c), number(t, row[4]), 4e-5, source+": IAPWS R12-08, another formulation")
	}
}

func TestFluidTable(t *testing.T) {
	used := 0
	for n, row := range rows(t, "fluid_reference.csv", 92)[1:] {
		solute, c, w, mu := row[0], number(t, row[1]), Fraction(number(t, row[2])), number(t, row[3])
		source := fmt.Sprintf("fluid_reference.csv line %d, %s", n+2, row[5])
		outside := func(l liquid.Liquid) {
			t.Helper()
			µ, err := l.Viscosity(Celsius(c))
			var e *liquid.RangeError
			if !errors.As(err, &e) || !math.IsNaN(float64(µ)) {
				t.Errorf("%s: outside of the range, but %v, %v", source, µ, err)
			}
		}
		used++
		switch solute {
		case "NaCl", "NaOH", "Na2SO4":
			l := map[string]func(Fraction) liquid.Liquid{"NaCl": liquid.SodiumChlorideByMass,
				"NaOH": liquid.SodiumHydroxideByMass, "Na2SO4": liquid.SodiumSulfateByMass}[solute](w)
			near(t, "density", density(t, l, c), number(t, row[4]), 5e-8, source+", eight digits")
			if low := map[string]float64{"NaCl": 5, "NaOH": 12.5, "Na2SO4": 15}[solute]; c < low {
				outside(l)
				continue
			}
			if solute == "NaOH" { // the table at 20 °C, carried to c by the equation
				µ20 := map[Fraction]float64{0.02: 1.112, 0.04: 1.248}[w]
				at20 := map[Fraction]float64{0.02: 1.024430, 0.04: 1.133925}[w]
				mu *= µ20 / at20
				source += ", over itself at 20 °C, times CRC Handbook at 20 °C"
			}
			near(t, "viscosity", viscosity(t, l, c), mu, 1.2e-6, source+", seven digits")
		case "glycerol":
			near(t, "viscosity", viscosity(t, liquid.GlycerolByMass(w), c), mu, 5e-7, source+", seven digits")
		case "EtOH": // another equation: the table is preferred, and differs by up to 9 %
			near(t, "density", density(t, liquid.EthanolByMass(w), c), number(t, row[4]), 6e-3, source+"; another equation, 0.6 % off at most")
			near(t, "viscosity", viscosity(t, liquid.EthanolByMass(w), c), mu, 0.19, source+"; another equation, far off in the cold")
		case "NaCl(molal)":
			m := number(t, row[2])
			if c < 5 {
				t.Fatal("a row below the range")
			}
			l := molal(m)
			off := 0.008
			if c == 5 {
				off = 0.017
			}
			near(t, "viscosity", viscosity(t, l, c), mu, off, source+"; another equation, 0.8 % off at most, 1.7 % in the cold")
		default:
			t.Fatalf("unknown solute %s", solute)
		}
	}
	if used != 92 {
		t.Errorf("%d rows were used", used)
	}
}

// TestHandbook compares with the concentrative properties of aqueous solutions at
// 20 °C in the CRC Handbook of Chemistry and Physics, 102nd edition (2021), after
// A. V. Wolf (1966), which lists three to five digits.
func TestHandbook(t *testing.T) {
	for _, tc := range []struct {
		of      func(Fraction) liquid.Liquid
		percent float64
		ρ, µ    float64 // g/mL, mPa·s
		off     float64 // of the viscosity
	}{
		{liquid.SodiumHydroxideByMass, 0.5, 1.0039, 1.027, 1e-3}, // between points of the spline
		{liquid.SodiumHydroxideByMass, 1, 1.0095, 1.054, 1e-9},
		{liquid.SodiumHydroxideByMass, 2, 1.0207, 1.112, 1e-9},
		{liquid.SodiumHydroxideByMass, 4, 1.0428, 1.248, 1e-9},
		{liquid.SodiumHydroxideByMass, 10, 1.1089, 1.882, 1e-9},
		{liquid.SodiumHydroxideByMass, 40, 1.4299, 36.312, 1e-9},
		{liquid.SodiumChlorideByMass, 1, 1.0053, 1.020, 0.006},
		{liquid.SodiumChlorideByMass, 5, 1.0340, 1.085, 0.006},
		{liquid.SodiumChlorideByMass, 10, 1.0707, 1.193, 0.006},
		{liquid.SodiumChlorideByMass, 20, 1.1478, 1.557, 0.006},
		{liquid.SodiumSulfateByMass, 5, 1.0436, 1.163, 0.011},
		{liquid.SodiumSulfateByMass, 10, 1.0905, 1.390, 0.011},
		{liquid.SodiumSulfateByMass, 20, 1.1907, 2.227, 0.011},
		{liquid.EthanolByMass, 5, 0.9893, 1.228, 0.026}, // between points of the table
		{liquid.EthanolByMass, 10, 0.9819, 1.501, 0.026},
		{liquid.EthanolByMass, 16, 0.9739, 1.890, 0.026},
		{liquid.EthanolByMass, 20, 0.9687, 2.142, 0.026},
		{liquid.EthanolByMass, 50, 0.9139, 2.813, 0.026},
		{liquid.EthanolByMass, 80, 0.8436, 1.881, 0.07},
		{liquid.GlycerolByMass, 10, 1.0215, 1.310, 0.015},
		{liquid.GlycerolByMass, 20, 1.0459, 1.766, 0.015},
		{liquid.GlycerolByMass, 40, 1.0984, 3.73, 0.015},
		{liquid.GlycerolByMass, 60, 1.1530, 10.9, 0.015},
		{liquid.GlycerolByMass, 80, 1.2085, 60.6, 0.03},
	} {
		l := tc.of(Percent.Times(tc.percent))
		off := 1.1e-3
		if tc.percent == 40 && tc.ρ > 1.4 {
			off = 2.8e-3 // strong sodium hydroxide is denser than the equation has it
		}
		near(t, l.Name()+", density", density(t, l, 20), 1000*tc.ρ, off, "CRC Handbook, 2021")
		near(t, l.Name()+", viscosity", viscosity(t, l, 20), tc.µ, tc.off, "CRC Handbook, 2021")
	}
	// At 25 °C the sum of the ions' Jones-Dole coefficients, 0.085 and 0.122 L/mol
	// (from memory), gives 0.25 mol/L of sodium hydroxide 1 + 0.207·0.25 over water.
	water := viscosity(t, liquid.SodiumHydroxideByMass(0), 25)
	near(t, "over water at 25 °C", viscosity(t, liquid.SodiumHydroxide(0.25*MolePerLitre), 25)/water, 1.052, 0.005, "Jones and Dole")
}

// The table's own points come back, and between them what another spline gives.
func TestEthanolTable(t *testing.T) {
	all := rows(t, "ethanol_water_viscosity_table.csv", 9)
	for _, row := range all[1:9] { // the row at 80 °C is not complete and not used
		for i, cell := range row[1:] {
			near(t, "viscosity", viscosity(t, liquid.EthanolByMass(Percent.Times(10*float64(i))), number(t, row[0])), number(t, cell), 1e-12, "the table's own point")
		}
	}
	near(t, "between", viscosity(t, liquid.EthanolByMass(16.16*Percent), 20), 1.933458, 3e-7, "SciPy, cubic spline through ln µ, seven digits")
	near(t, "between", viscosity(t, liquid.EthanolByMass(20*Percent), 25), 1.834632, 3e-7, "SciPy, cubic spline through ln µ, seven digits")
	near(t, "straight", viscosity(t, liquid.EthanolByMass(16.16*Percent), 20), 1.908307, 0.015, "SciPy, straight lines through ln µ: how far a spline goes from them")
	if _, err := liquid.EthanolByMass(0.2).Viscosity(Celsius(71)); err == nil || !strings.Contains(err.Error(), "holds from 0 °C to 70 °C") {
		t.Error(err)
	}
}

func TestMixtures(t *testing.T) {
	mass := func(l liquid.Liquid) float64 {
		t.Helper()
		w, err := l.MassFraction()
		if err != nil {
			t.Fatal(err)
		}
		return float64(w)
	}
	storage, salt := liquid.Ethanol(20*Percent), liquid.SodiumChloride(1*MolePerLitre)
	cold := viscosity(t, storage, 5) / viscosity(t, liquid.Water(), 20)
	for _, tc := range []struct {
		name                 string
		got, want, tolerance float64
		source               string
	}{
		{"ethanol, mass", mass(storage), 0.1621, 3e-4, "0.2·789.24/973.56, alcohol formula of EEC 76/766, four digits"},
		{"ethanol, density", density(t, storage, 20), 973.56, 6e-6, "alcohol formula of EEC 76/766, five digits"},
		{"pure ethanol", density(t, liquid.Ethanol(1), 20), 789.24, 7e-6, "OIML R 22, general information, five digits"},
		{"pure ethanol, mass", mass(liquid.Ethanol(1)), 1, 1e-12, "definition"},
		{"ethanol 40 %", density(t, liquid.Ethanol(40*Percent), 20), 948.05, 6e-6, "OIML R 22, table IVa, from memory"},
		{"no ethanol", density(t, liquid.Ethanol(0), 20), 998.20, 6e-6, "OIML R 22, from memory"},
		{"storage solution over water at 20 °C", viscosity(t, storage, 20) / viscosity(t, liquid.Water(), 20), 1.93, 0.005, "1.9366/1.0016, SciPy's spline"},
		{"storage solution in the cold", cold, 3.474, 0.001, "3.4796/1.0016, SciPy's spline"},
		{"salt, mass", mass(salt), 0.05628024, 2e-7, "fixed point of c·M/ρ, Python, seven digits"},
		{"salt, density", density(t, salt, 20), 1038.428, 5e-7, "Python, seven digits"},
		{"salt, viscosity", viscosity(t, salt, 20), 1.091906, 5e-7, "Python, seven digits"},
		{"saline, mass", mass(liquid.SodiumChloride(0.15 * MolePerLitre)), 0.008728572, 5e-7, "Python, seven digits"},
		{"saline, viscosity", viscosity(t, liquid.SodiumChloride(150*MillimolePerLitre), 20), 1.013713, 5e-7, "Python, seven digits"},
		{"little salt in the cold", viscosity(t, liquid.SodiumChlorideByMass(0.005810), 5), 1.528582858, 5e-10, "Laliberté's equation in a public test suite"},
		{"water of the salts", viscosity(t, liquid.SodiumChlorideByMass(0), 24.85), 0.8932264487, 1e-9, "the same at 298 K, ten digits"},
		{"water of the salts", density(t, liquid.SodiumChlorideByMass(0), 25), 997.0448954, 1e-9, "the same, ten digits"},
		{"water of the salts", density(t, liquid.SodiumChlorideByMass(0), 50), 988.0362916, 1e-9, "the same, ten digits"},
		{"0.5 mol/kg", viscosity(t, molal(0.5), 20), 1.042684, 1e-6, "Laliberté's equation, Python, seven digits"},
		{"1 mol/kg", viscosity(t, molal(1), 20), 1.089843, 1e-6, "Laliberté's equation, Python, seven digits"},
		{"1 mol/kg", viscosity(t, molal(1), 25), 0.9717153, 1e-6, "Laliberté's equation, Python, seven digits"},
		{"2 mol/kg", viscosity(t, molal(2), 25), 1.074549, 1e-6, "Laliberté's equation, Python, seven digits"},
		{"glycerol", density(t, liquid.GlycerolByMass(0), 20), 998.2, 3e-4, "water"},
		{"glycerol", density(t, liquid.GlycerolByMass(0.1), 20), 1022.1, 1e-3, "handbooks, from memory"},
		{"glycerol", density(t, liquid.GlycerolByMass(0.5), 20), 1126.3, 1e-3, "handbooks, from memory"},
		{"glycerol", density(t, liquid.GlycerolByMass(0.8), 20), 1208.5, 1e-3, "handbooks, from memory"},
		{"glycerol", density(t, liquid.GlycerolByMass(1), 20), 1261.1, 1e-3, "handbooks, from memory"},
		{"glycerol", viscosity(t, liquid.GlycerolByMass(1), 25), 905.68, 1e-6, "Cheng 2008, Python, six digits"},
	} {
		near(t, tc.name, tc.got, tc.want, tc.tolerance, tc.source)
	}
	// 20 % by volume, taken for 20 % by mass, is the classic mistake.
	if by := viscosity(t, liquid.EthanolByMass(20*Percent), 20) / viscosity(t, storage, 20); !(by > 1.12 && by < 1.14) {
		t.Errorf("20 %% by mass over 20 %% by volume: %v, want 2.183/1.937", by)
	}
	if liquid.Ethanol(0.2) != storage || (liquid.Liquid{}) != liquid.Water() {
		t.Error("liquids made alike are not equal")
	}
}

func TestLiquidRefusals(t *testing.T) {
	nan := math.NaN()
	for _, tc := range []struct {
		liquid  liquid.Liquid
		celsius float64
		want    string
	}{
		{liquid.SodiumChloride(0.5 * MolePerLitre), 4.9, "viscosity of 500 mmol/L of sodium chloride at 4.9 °C: the equation holds from 5 °C to 154 °C"},
		{liquid.SodiumHydroxideByMass(0.04), 12, "holds from 12.5 °C to 70 °C"},
		{liquid.SodiumHydroxideByMass(0.45), 20, "45 % by mass: the equation holds up to 40 %; measure it"},
		{liquid.SodiumSulfateByMass(0.05), 10, "holds from 15 °C to 150 °C"},
		{liquid.SodiumChlorideByMass(0.27), 20, "27 % by mass: the equation holds up to 26.4 %; measure it"},
		{liquid.SodiumChloride(0.5), 20, ""}, // half a millimole is little, not nothing
		{liquid.Ethanol(20), 20, "2000 % ethanol by volume: there is no such mixture; was the unit forgotten? Write for example 20 * Percent"},
		{liquid.EthanolByMass(-0.1), 20, "there is no such mixture; an amount is zero or more"},
		{liquid.GlycerolByMass(Fraction(nan)), 20, "there is no such mixture"},
		{liquid.SodiumChloride(50 * MolePerLitre), 20, "it does not dissolve so much"},
		{liquid.SodiumChloride(Molarity(math.Inf(1))), 20, "there is no such mixture"},
		{liquid.Ethanol(20 * Percent), 80, "holds from 0 °C to 70 °C"},
		{liquid.GlycerolByMass(0.5), -1, "holds from 0 °C to 100 °C"},
		{liquid.Water(), 120, "viscosity of water at 120 °C: the equation holds from -20 °C to 110 °C"},
	} {
		µ, err := tc.liquid.Viscosity(Celsius(tc.celsius))
		switch {
		case tc.want == "" && err != nil:
			t.Errorf("refused: %v", err)
		case tc.want != "" && (err == nil || !strings.Contains(err.Error(), tc.want) || !math.IsNaN(float64(µ))):
			t.Errorf("got %v, %v\nwant %s", µ, err, tc.want)
		}
	}
	if _, err := liquid.GlycerolByMass(0.5).Density(Celsius(5)); err == nil || !strings.Contains(err.Error(), "density of 50 % glycerol by mass at 5 °C: the equation holds from 15 °C to 30 °C") {
		t.Error(err)
	}
	if _, err := liquid.Ethanol(0.2).Density(Celsius(41)); err == nil || !strings.Contains(err.Error(), "to 40 °C") {
		t.Error(err)
	}
	if _, err := liquid.SodiumChlorideByMass(0.2).Viscosity(20); err == nil || !strings.Contains(err.Error(), "Celsius(20)") {
		t.Errorf("20 K does not ask for the scale: %v", err)
	}
}

// TestMixturesShape: more solute is denser (ethanol lighter) and salts thicker;
// nothing jumps between the points of the ethanol table.
func TestMixturesShape(t *testing.T) {
	for _, make := range []func(Fraction) liquid.Liquid{liquid.SodiumChlorideByMass, liquid.SodiumHydroxideByMass, liquid.SodiumSulfateByMass, liquid.GlycerolByMass} {
		lastρ, lastµ := 0.0, 0.0
		for w := 0.0; w <= 0.26; w += 0.0025 {
			ρ, µ := density(t, make(Fraction(w)), 20), viscosity(t, make(Fraction(w)), 20)
			if !(ρ > lastρ && µ > lastµ) {
				t.Errorf("%v: %v, %v after %v, %v", make(Fraction(w)), ρ, µ, lastρ, lastµ)
			}
			lastρ, lastµ = ρ, µ
		}
	}
	last := 1.005
	for i := 1; i <= 1000; i++ {
		µ := viscosity(t, liquid.EthanolByMass(Fraction(float64(i)/1000)), 20)
		if !(math.Abs(µ/last-1) < 0.006) {
			t.Errorf("ethanol %d permille: %v after %v", i, µ, last)
		}
		last = µ
	}
}

func TestLiquidShows(t *testing.T) {
	text := liquid.Ethanol(20 * Percent).Page().Markdown()
	for _, want := range []string{"**20 % ethanol by volume**", "| 20 | 973.6 | 1.937 | 1.93 |"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, text)
		}
	}
	if text := liquid.SodiumHydroxide(0.5 * MolePerLitre).Page().HTML(); !strings.Contains(text, "out of range") || !strings.Contains(text, "leave a margin") {
		t.Error(text)
	}
	if text := liquid.Ethanol(20).Page().HTML(); !strings.Contains(text, "No result:") {
		t.Error(text)
	}
	for want, l := range map[string]liquid.Liquid{"water": liquid.Water(), "500 mmol/L of sodium chloride": liquid.SodiumChloride(0.5 * MolePerLitre),
		"20 % ethanol by volume": liquid.Ethanol(20 * Percent), "50 % glycerol by mass": liquid.GlycerolByMass(50 * Percent), "2 mol/L of sodium sulfate": liquid.SodiumSulfate(2 * MolePerLitre)} {
		if l.String() != want {
			t.Errorf("%q, want %q", l, want)
		}
	}
}

func TestExchange(t *testing.T) {
	e := liquid.Exchange{Vessel: 20 * Litre, Settled: 10 * Litre, Porosity: 95 * Percent, Decanted: 9 * Litre}
	near(t, "liquid", e.Liquid().In(Litre), 19.5, 1e-12, "20 - 10·0.05, by hand")
	r, err := e.Remaining(1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "remaining", float64(r), 0.5384615, 1e-7, "1 - 9/19.5")
	c, _ := e.After(3, 20*Percent, 0)
	near(t, "after three", c.In(Percent), 3.122440, 2e-7, "20 %·0.5384615³, seven digits")
	n, err := e.Cycles(Fraction(1. / 20))
	if n != 5 || err != nil {
		t.Errorf("%d cycles to 1 %%, want 5 (4.839326 rounded up): %v", n, err)
	}
	if n, _ := e.Cycles(Fraction(math.Pow(10.5/19.5, 4))); n != 4 {
		t.Errorf("%d cycles to exactly the fourth power", n)
	}
	// The shortcut with total volumes is a bed that is all liquid: 11/20 is left.
	all := e
	all.Porosity = 1
	c, _ = all.After(3, 20*Percent, 0)
	near(t, "shortcut", c.In(Percent), 3.3275, 1e-9, "20 %·(11/20)³ by hand")
	c, _ = e.After(2, 0, 1) // fresh liquid comes in as the old one leaves
	r, _ = e.Remaining(2)
	near(t, "fresh", float64(c), 1-float64(r), 1e-12, "conservation")
	e.Decanted = 0
	r, _ = e.Remaining(1)
	near(t, "all above the bed", float64(r), 1-10/19.5, 1e-12, "by hand")

	for _, tc := range []struct {
		change func(*liquid.Exchange)
		want   string
	}{
		{func(e *liquid.Exchange) { e.Vessel = 0 }, "vessel 0 L: it must hold something"},
		{func(e *liquid.Exchange) { e.Settled = 20 * Litre }, "settled bed 20 L"},
		{func(e *liquid.Exchange) { e.Porosity = 95 }, "porosity 9500 %"},
		{func(e *liquid.Exchange) { e.Decanted = 11 * Litre }, "decanted volume 11 L: above the settled bed stand 10 L"},
		{func(e *liquid.Exchange) { e.Decanted = -1 }, "decanted volume"},
	} {
		bad := e
		tc.change(&bad)
		if _, err := bad.Remaining(1); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%v, want %q", err, tc.want)
		}
		if !strings.Contains(bad.Page().HTML(), "No result:") {
			t.Error("a refusal does not show")
		}
	}
	if _, err := e.Remaining(-1); err == nil {
		t.Error("a negative number of cycles")
	}
	if _, err := e.Cycles(0); err == nil {
		t.Error("nothing left at all")
	}
	if text := e.Page().Markdown(); !strings.Contains(text, "| 3 | 11.6 | 30 |") { // (9.5/19.5)³ is 11.56 %
		t.Error(text)
	}
}

func ExampleEthanol() {
	storage := liquid.Ethanol(20 * Percent)
	w, _ := storage.MassFraction()
	cold, _ := storage.Viscosity(Celsius(5))
	water, err := liquid.Water().Viscosity(Celsius(20))
	fmt.Printf("%.1f %% by mass, %.1f times water at 20 °C, %v\n", w.In(Percent), cold.In(water), err)
	// Output: 16.2 % by mass, 3.5 times water at 20 °C, <nil>
}
