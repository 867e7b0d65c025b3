package units_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	. "github.com/evenbed/evenbed/packing/units"
)

// Both sides of each switch of unit: rounding must not leave 1000 of the
// smaller unit, nor 0.9999 of the larger one.
func TestString(t *testing.T) {
	for _, tc := range []struct {
		q    fmt.Stringer
		want string
	}{
		{999.94 * Pascal, "999.9 Pa"}, {999.96 * Pascal, "1 kPa"}, {Pascal, "1 Pa"},
		{99.994 * Kilopascal, "99.99 kPa"}, {99.996 * Kilopascal, "1 bar"},
		{-2.5 * Bar, "-2.5 bar"}, {-999.96 * Pascal, "-1 kPa"}, {0 * Pascal, "0 bar"},
		{Pressure(math.NaN()), "NaN bar"}, {Pressure(math.Inf(1)), "+Inf bar"},
		{0.52691 * Bar, "52.69 kPa"}, {20 * Megapascal, "200 bar"},
		{999.94 * Micrometre, "999.9 µm"}, {999.96 * Micrometre, "1 mm"}, {90 * Micrometre, "90 µm"},
		{9.9994 * Millimetre, "9.999 mm"}, {9.9996 * Millimetre, "1 cm"},
		{18 * Centimetre, "18 cm"}, {99.994 * Centimetre, "99.99 cm"}, {99.996 * Centimetre, "1 m"},
		{1.6 * Metre, "1.6 m"}, {34 * Nanometre, "0.034 µm"},
		{0.99994 * SquareCentimetre, "99.99 mm²"}, {0.99996 * SquareCentimetre, "1 cm²"},
		{706.858 * SquareCentimetre, "706.9 cm²"}, {9999.4 * SquareCentimetre, "9999 cm²"},
		{9999.6 * SquareCentimetre, "1 m²"},
		{999.94 * Microlitre, "999.9 µL"}, {999.96 * Microlitre, "1 mL"},
		{999.94 * Millilitre, "999.9 mL"}, {999.96 * Millilitre, "1 L"}, {402.1 * Litre, "402.1 L"},
		{1.2 * CubicMetre, "1200 L"}, {123456.7 * Litre, "123457 L"},
		{999.94 * Millisecond, "999.9 ms"}, {999.96 * Millisecond, "1 s"},
		{59.994 * Second, "59.99 s"}, {59.996 * Second, "1 min"}, {26.4 * Minute, "26.4 min"},
		{119.94 * Minute, "119.9 min"}, {119.96 * Minute, "2 h"}, {3 * Hour, "3 h"},
		{332.124 * CentimetrePerHour, "332.1 cm/h"}, {0.922566 * MillimetrePerSecond, "332.1 cm/h"},
		{1234.5678 * CentimetrePerHour, "1235 cm/h"}, {0.00001234 * CentimetrePerHour, "1.234e-05 cm/h"},
		{99.994 * MillilitrePerMinute, "99.99 mL/min"}, {99.996 * MillilitrePerMinute, "6 L/h"},
		{5 * LitrePerMinute, "300 L/h"}, {3015.93 * LitrePerHour, "3016 L/h"},
		{80 * KilogramPerCubicMetre, "80 kg/m³"}, {1.08 * GramPerMillilitre, "1080 kg/m³"},
		{1.0015673 * MillipascalSecond, "1.002 mPa·s"},
		{1.2e-5 * SquareCentimetrePerSecond, "1.2e-09 m²/s"},
		{Celsius(20), "20 °C"}, {Celsius(-0.001), "0 °C"}, {Celsius(4.256), "4.26 °C"},
		{Temperature(math.NaN()), "NaN °C"},
		{999.94 * Newton, "999.9 N"}, {999.96 * Newton, "1 kN"}, {236 * Kilonewton, "236 kN"},
		{52 * Percent, "52 %"}, {2 * Permille, "0.2 %"}, {Fraction(1), "100 %"},
		{0.99994 * AU, "999.9 mAU"}, {0.99996 * AU, "1 AU"}, {-3.25 * MilliAU, "-3.25 mAU"},
		{999.94 * MicrosiemensPerCentimetre, "999.9 µS/cm"}, {999.96 * MicrosiemensPerCentimetre, "1 mS/cm"},
	} {
		if got := tc.q.String(); got != tc.want {
			t.Errorf("%T(%g): %q, want %q", tc.q, tc.q, got, tc.want)
		}
	}
}

func TestUnits(t *testing.T) {
	for _, tc := range []struct {
		name, source string
		got, want    float64
	}{
		{"bar in kPa", "definition", (2 * Bar).In(Kilopascal), 200},
		{"psi in Pa", "NIST SP 811, appendix B.8: 6.894757 E+03", PSI.In(Pascal), 6894.757},
		{"cm/h in m/s", "definition: 1 cm = 0.01 m, 1 h = 3600 s", CentimetrePerHour.In(MetrePerSecond), 0.01 / 3600},
		{"mL/min in L/h", "definition: 60 min/h, 1000 mL/L", (1000 * MillilitrePerMinute).In(LitrePerHour), 60},
		{"L/min in L/h", "definition", LitrePerMinute.In(LitrePerHour), 60},
		{"cm/min in cm/h", "definition", CentimetrePerMinute.In(CentimetrePerHour), 60},
		{"°C in K", "definition of the Celsius scale, SI brochure", Celsius(25).In(Kelvin), 298.15},
		{"K in °C", "the same, back", (298.15 * Kelvin).Celsius(), 25},
		{"g/mL in kg/m³", "definition", GramPerMillilitre.In(KilogramPerCubicMetre), 1000},
		{"mS/cm in S/m", "definition", MillisiemensPerCentimetre.In(SiemensPerMetre), 0.1},
		{"ratio of lengths", "by hand", (18 * Centimetre).In(90 * Micrometre), 2000},
		{"variable", "by hand", CentimetrePerHour.Times(150).In(CentimetrePerHour), 150},
	} {
		near(t, tc.name, tc.got, tc.want, tc.source)
	}
}

// The check values are arithmetic; the column is 30 cm wide and 20 cm high.
func TestProducts(t *testing.T) {
	a := (30 * Centimetre).Disc()
	v := a.Filled(20 * Centimetre)
	u := 200 * CentimetrePerHour
	q := u.Across(a)
	for _, tc := range []struct {
		name, source string
		got, want    float64
	}{
		{"disc", "π·30²/4", a.In(SquareCentimetre), math.Pi * 225},
		{"filled", "area times height", v.In(Litre), math.Pi * 4.5},
		{"height", "volume over area", v.Height(a).In(Centimetre), 20},
		{"across", "velocity times area", q.In(LitrePerHour), math.Pi * 45},
		{"through", "flow over area", q.Through(a).In(CentimetrePerHour), 200},
		{"passed", "20 cm at 200 cm/h", (20 * Centimetre).Passed(u).In(Minute), 6},
		{"pumped", "same time by volume and flow", v.PumpedAt(q).In(Minute), 6},
		{"length within", "20 cm in 6 min", (20 * Centimetre).Within(6 * Minute).In(CentimetrePerHour), 200},
		{"volume within", "the flow again", v.Within(6 * Minute).In(LitrePerHour), math.Pi * 45},
		{"velocity for", "200 cm/h for 6 min", u.For(6 * Minute).In(Centimetre), 20},
		{"flow for", "the volume again", q.For(6 * Minute).In(Litre), math.Pi * 4.5},
		{"on", "3 bar on 30 cm: 3e5·0.0706858 N", (3 * Bar).On(a).In(Kilonewton), 21.205750411731103},
		{"over", "the pressure again", (3 * Bar).On(a).Over(a).In(Bar), 3},
	} {
		near(t, tc.name, tc.got, tc.want, tc.source)
	}
}

// TestTimes: entering a number with Times and leaving with In changes nothing.
func TestEach(t *testing.T) {
	for name, got := range map[string]bool{
		"Length":     slices.Equal(Centimetre.Each(1, 2.5), []Length{Centimetre, 2.5 * Centimetre}),
		"Volume":     slices.Equal(Litre.Each(1, 2.5), []Volume{Litre, 2.5 * Litre}),
		"Time":       slices.Equal(Minute.Each(1, 2.5), []Time{Minute, 2.5 * Minute}),
		"Velocity":   slices.Equal(CentimetrePerHour.Each(1, 2.5), []Velocity{CentimetrePerHour, 2.5 * CentimetrePerHour}),
		"VolumeFlow": slices.Equal(LitrePerHour.Each(1, 2.5), []VolumeFlow{LitrePerHour, 2.5 * LitrePerHour}),
		"Pressure":   slices.Equal(Bar.Each(1, 2.5), []Pressure{Bar, 2.5 * Bar}),
		"none":       len(Bar.Each()) == 0,
	} {
		if !got {
			t.Errorf("Each of %s is wrong", name)
		}
	}
}

func TestTimes(t *testing.T) {
	for _, v := range []float64{-3.7, 0, 1, 1.5e6} {
		for name, got := range map[string]float64{
			"Length": Centimetre.Times(v).In(Centimetre), "Area": SquareCentimetre.Times(v).In(SquareCentimetre),
			"Volume": Litre.Times(v).In(Litre), "Time": Minute.Times(v).In(Minute),
			"Velocity": CentimetrePerHour.Times(v).In(CentimetrePerHour), "VolumeFlow": LitrePerHour.Times(v).In(LitrePerHour),
			"Pressure": Bar.Times(v).In(Bar), "Force": Kilonewton.Times(v).In(Kilonewton),
			"Density": GramPerMillilitre.Times(v).In(GramPerMillilitre), "Viscosity": MillipascalSecond.Times(v).In(MillipascalSecond),
			"Temperature": Kelvin.Times(v).In(Kelvin), "Fraction": Percent.Times(v).In(Percent),
			"Absorbance": MilliAU.Times(v).In(MilliAU), "Conductivity": MillisiemensPerCentimetre.Times(v).In(MillisiemensPerCentimetre),
		} {
			near(t, name, got, v, "round trip")
		}
	}
}

// near allows four units of the last place: units are not exact in binary.
func near(t *testing.T, name string, got, want float64, source string) {
	t.Helper()
	if math.Abs(got-want) > 1e-15*4*math.Abs(want) {
		t.Errorf("%s: %.17g, want %.17g (%s)", name, got, want, source)
	}
}

func Example() {
	diameter := 30 * Centimetre
	flow := 21.2 * LitrePerHour
	v := 150.0 // a number without unit
	fmt.Println(flow.Through(diameter.Disc()), CentimetrePerHour.Times(v), 2*Bar, Celsius(22))
	// Output: 29.99 cm/h 150 cm/h 2 bar 22 °C
}
