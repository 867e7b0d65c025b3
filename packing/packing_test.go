package packing_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing"
	. "github.com/evenbed/evenbed/packing/units"
)

func near(t *testing.T, name string, got, want, tolerance float64, source string) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Abs(want)) {
		t.Errorf("%s: %.10g, want %.10g within %g (%s)", name, got, want, tolerance, source)
	}
}

// must takes the error off a value that has none.
func must(t *testing.T) func(float64, error) float64 {
	return func(v float64, err error) float64 {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// Plain geometry; the numbers were computed independently with NumPy to seven
// digits or more, so the tolerance is half of the last digit given.
func TestGeometry(t *testing.T) {
	ok := must(t)
	small := packing.Column{InnerDiameter: 1.6 * Centimetre}
	large := packing.Column{InnerDiameter: 30 * Centimetre}
	q := 5 * MillilitrePerMinute
	m := packing.Medium{Name: "Marram", SettledVoid: 0.40}
	half := packing.Slurry{Concentration: 50 * Percent}
	thick := packing.Slurry{Concentration: 70 * Percent}
	settled := large.Volume(20 * Centimetre).Times(1.15)
	dilution, err := thick.Adjust(half, 100*Litre)
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name      string
		got, want float64
		source    string
	}{
		{"area, cm²", small.Area().In(SquareCentimetre), 2.010619, "πD²/4, D 1.6 cm"},
		{"column volume, mL", small.Volume(20 * Centimetre).In(Millilitre), 40.21239, "AL, L 20 cm"},
		{"velocity, cm/h", small.Velocity(q).In(CentimetrePerHour), 149.2078, "60 Q/A, Q 5 mL/min"},
		{"column volumes per hour", q.For(Hour).In(small.Volume(20 * Centimetre)), 7.460388, "u/L"},
		{"residence time, min", small.ResidenceTime(20*Centimetre, q).In(Minute), 8.042477, "V/Q"},
		{"large column, L", large.Volume(20 * Centimetre).In(Litre), 14.13717, "AL, D 30 cm, L 20 cm"},
		{"large flow, L/h", large.Flow(200 * CentimetrePerHour).In(LitrePerHour), 141.3717, "uA at 200 cm/h"},
		{"large flow, mL/min", large.Flow(200 * CentimetrePerHour).In(MillilitrePerMinute), 2356.194, "uA at 200 cm/h"},
		{"compression factor", ok(packing.CompressionFactor(23*Centimetre, 20*Centimetre)), 1.15, "L0/L"},
		{"of the settled height", packing.CompressionOfSettled(1.15), 0.1304348, "1 - 1/CF, form of Stickel and Fotopoulos 2001"},
		{"of the packed height", packing.CompressionOfPacked(1.15), 0.15, "CF - 1, form of Keener 2004"},
		{"void", ok(m.Void(1.15)), 0.31, "1 - 0.6·1.15"},
		{"void by the other form", (0.40 - packing.CompressionOfSettled(1.15)) / (1 - packing.CompressionOfSettled(1.15)), 0.31, "(ε0-λ)/(1-λ), Stickel and Fotopoulos 2001"},
		{"largest factor", m.MaxCompressionFactor(), 1.666667, "1/(1-ε0)"},
		{"settled volume, L", settled.In(Litre), 16.25774, "V·CF"},
		{"slurry volume, L", half.Volume(settled).In(Litre), 32.51548, "V·CF/C"},
		{"slurry height, cm", half.Height(23 * Centimetre).In(Centimetre), 46, "L·CF/C"},
		{"slurry solids", half.Solids(m), 0.30, "C(1-ε0)"},
		{"liquid to add, L", dilution.Add.In(Litre), 40, "V(C1/C2 - 1): 100 L of 70 % to 50 %"},
		{"large scale, L", packing.Column{InnerDiameter: 1.6 * Metre}.Volume(20 * Centimetre).In(Litre), 402.1239, "π·0.64·0.2 m³"},
	} {
		near(t, tc.name, tc.got, tc.want, 3e-7, tc.source)
	}
}

// Kozeny and Carman with the bead volume kept, ε0 = 0.40, computed independently
// with seven digits.
func TestPermeability(t *testing.T) {
	ok := must(t)
	m := packing.Medium{SettledVoid: 0.40}
	for _, tc := range []struct{ cf, void, permeability, pressure float64 }{
		{1, 0.40, 1, 1},
		{1.05, 0.37, 0.7178713, 1.326674},
		{1.10, 0.34, 0.5075413, 1.791166},
		{1.15, 0.31, 0.3519731, 2.470545},
		{1.20, 0.28, 0.2381944, 3.498542},
		{1.25, 0.25, 0.1562500, 5.120000},
	} {
		near(t, "void", ok(m.Void(tc.cf)), tc.void, 1e-12, "by hand")
		near(t, "permeability", ok(m.PermeabilityRatio(tc.cf)), tc.permeability, 2e-7, "Kozeny-Carman, NumPy")
		near(t, "pressure", ok(m.PressureRatio(tc.cf)), tc.pressure, 4e-7, "Kozeny-Carman, NumPy")
	}
}

func TestTube(t *testing.T) {
	c := packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre, TubeHeight: 60 * Centimetre, Allowance: 5 * Centimetre}
	// Settled 23 cm in 55 cm usable: least concentration 0.4181818, computed
	// independently. The message rounds it up to 41.9 %.
	if err := c.CheckSlurry(packing.Slurry{Concentration: 0.4182}, 23*Centimetre); err != nil {
		t.Error(err)
	}
	err := c.CheckSlurry(packing.Slurry{Concentration: 40 * Percent}, 23*Centimetre)
	want := "column 04: slurry of 40 % stands 57.5 cm high: the tube takes 55.0 cm (tube 60.0 cm + extension 0.0 cm - allowance 5.0 cm); " +
		"use a slurry of at least 41.9 %, an extension of 2.5 cm more, or fill in stages"
	if err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
	c.Extension = 2.5 * Centimetre
	if err := c.CheckSlurry(packing.Slurry{Concentration: 40.01 * Percent}, 23*Centimetre); err != nil {
		t.Errorf("the extension that was named does not do: %v", err)
	}
	if err := c.CheckSlurry(packing.Slurry{Concentration: 1}, 70*Centimetre); err == nil || !strings.Contains(err.Error(), "even the settled bed of 70 cm does not fit") {
		t.Error(err)
	}
	c.TubeHeight = 0
	if err := c.CheckSlurry(packing.Slurry{Concentration: 1 * Percent}, 23*Centimetre); err != nil {
		t.Errorf("a tube that was not given refuses: %v", err)
	}
}

func TestRefusals(t *testing.T) {
	column := packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre, TubeHeight: 60 * Centimetre}
	medium := packing.Medium{Name: "Marram", MeanBead: 90 * Micrometre, SettledVoid: 0.4, DensityExcess: 80}
	with := func(change func(*packing.Column)) error { c := column; change(&c); return c.Check() }
	within := func(change func(*packing.Medium)) error { m := medium; change(&m); return m.Check() }
	slurry := func(f Fraction) error { return packing.Slurry{Concentration: f}.Check() }
	_, higher := packing.CompressionFactor(18*Centimetre, 20*Centimetre)
	_, forgot := packing.CompressionFactor(23, 20)
	_, low := medium.Void(0.99)
	_, full := medium.Void(1.7)
	_, none := packing.Medium{}.Void(1.1)
	nan, inf := math.NaN(), math.Inf(1)
	for _, tc := range []struct {
		err  error
		want string
	}{
		{column.Check(), ""}, {medium.Check(), ""}, {slurry(1), ""}, {slurry(0.52), ""}, {packing.Limits{}.Check(), ""},
		{packing.CheckBedHeight(18 * Centimetre), ""}, {packing.CheckPressure("x", 0), ""}, {packing.CheckTemperature("x", Celsius(4)), ""},
		{with(func(c *packing.Column) { c.InnerDiameter = 0 }), "column 04: inner diameter 0 m: it is zero or was not given; write for example 30 * Centimetre"},
		{with(func(c *packing.Column) { c.InnerDiameter = 30 }), "column 04: inner diameter 30 m: more than 3 m, which does not occur; was the unit forgotten? Write for example 30 * Centimetre"},
		{with(func(c *packing.Column) { c.InnerDiameter = -0.3 }), "must be above zero"},
		{with(func(c *packing.Column) { c.InnerDiameter = Length(nan) }), "inner diameter NaN m: is not a number"},
		{with(func(c *packing.Column) { c.InnerDiameter = Length(inf) }), "inner diameter +Inf m: is not a number"},
		{with(func(c *packing.Column) { c.InnerDiameter = 30 * Micrometre }), "less than 1 mm"},
		{with(func(c *packing.Column) { c.TubeHeight = 60 }), "tube height 60 m"},
		{with(func(c *packing.Column) { c.Extension = Length(nan) }), "extension NaN"},
		{with(func(c *packing.Column) { c.Allowance = 60 * Centimetre }), "allowance 60 cm: leaves nothing of the tube of 60 cm"},
		{with(func(c *packing.Column) { c.MaxPressure = 3 }), "column 04: maximum pressure 3 Pa: less than 1 mbar, which does not occur; was the unit forgotten? Write for example 3 * Bar"},
		{with(func(c *packing.Column) { c.MaxPressure = Pressure(inf) }), "maximum pressure +Inf"},
		{within(func(m *packing.Medium) { m.MeanBead = 90 }), "Marram: mean bead 90 m: more than 2 mm"},
		{within(func(m *packing.Medium) { m.MeanBead = 0 }), "mean bead 0 m: it is zero or was not given"},
		{within(func(m *packing.Medium) { m.SettledVoid = 40 }), "settled void 40: it must be between 0 and 1"},
		{within(func(m *packing.Medium) { m.SettledVoid = nan }), "settled void NaN"},
		{within(func(m *packing.Medium) { m.DensityExcess = 0 }), "density excess 0 kg/m³: it is zero or was not given"},
		{within(func(m *packing.Medium) { m.DensityExcess = -20 }), "density excess -20 kg/m³: it must be above zero"},
		{within(func(m *packing.Medium) { m.SettlingExponent = 1 }), "settling exponent 1: is outside 2 to 10"},
		{within(func(m *packing.Medium) { m.SettlingExponent = nan }), "settling exponent NaN"},
		{within(func(m *packing.Medium) { m.MaxBedPressure = 2 }), "maximum bed pressure 2 Pa"},
		{within(func(m *packing.Medium) { m.MaxVelocity = 400 }), "was the unit forgotten? Write for example 400 * CentimetrePerHour"},
		{slurry(52), "slurry: concentration 5200 %: a slurry holds at most its own volume of settled bed; was the unit forgotten? Write for example 52 * Percent"},
		{slurry(0), "must be above zero"}, {slurry(Fraction(nan)), "must be above zero"},
		{higher, "packed height 20 cm: is above the settled height 18 cm"},
		{forgot, "bed height 23 m: more than 3 m"},
		{low, "Marram: compression factor 0.99: a packed bed is not higher than the settled bed"},
		{full, "compression factor 1.7: no void is left from 1.667 on"},
		{none, "settled void 0"},
		{medium.CheckCompressionFactor(nan), "compression factor NaN"}, {medium.CheckCompressionFactor(inf), "no void is left"},
		{packing.CheckVelocity("first velocity", 20), "first velocity 7200000 cm/h: more than 20000 cm/h"},
		{packing.CheckTemperature("temperature", 20), "was the scale forgotten? Write for example Celsius(20)"},
		{packing.CheckTemperature("temperature", Temperature(nan)), "temperature NaN °C"},
		{packing.Limits{SystemPressure: 4}.Check(), "system pressure limit 4 Pa"},
		{packing.Limits{PumpFlow: 300}.Check(), "pump flow limit"},
	} {
		switch {
		case tc.want == "" && tc.err != nil:
			t.Errorf("refused: %v", tc.err)
		case tc.want != "" && (tc.err == nil || !strings.Contains(tc.err.Error(), tc.want)):
			t.Errorf("got  %v\nwant %s", tc.err, tc.want)
		case tc.want != "":
			var in *packing.InputError
			if !errors.As(tc.err, &in) || in.Problem == "" {
				t.Errorf("not an InputError: %#v", tc.err)
			}
		}
	}
}

func ExampleColumn() {
	column := packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre}
	fmt.Println(column.Area(), column.Volume(18*Centimetre), column.Flow(30*CentimetrePerHour))
	column.InnerDiameter = 30
	fmt.Println(column.Check())
	// Output:
	// 706.9 cm² 12.72 L 21.21 L/h
	// column 04: inner diameter 30 m: more than 3 m, which does not occur; was the unit forgotten? Write for example 30 * Centimetre
}

func ExampleMedium_Void() {
	m := packing.Medium{Name: "Marram", SettledVoid: 0.40}
	void, err := m.Void(1.15) // 1 - 0.6·1.15
	fmt.Printf("%.2f %v\n", void, err)
	// Output: 0.31 <nil>
}

func ExampleSlurry() {
	slurry := packing.Slurry{Concentration: 50 * Percent}
	column := packing.Column{InnerDiameter: 30 * Centimetre, TubeHeight: 40 * Centimetre}
	fmt.Println(slurry.Height(23*Centimetre), slurry.Volume(column.Volume(23*Centimetre)))
	fmt.Println(column.CheckSlurry(slurry, 23*Centimetre))
	// Output:
	// 46 cm 32.52 L
	// column: slurry of 50 % stands 46.0 cm high: the tube takes 40.0 cm; use a slurry of at least 57.5 %, an extension of 6.0 cm more, or fill in stages
}
