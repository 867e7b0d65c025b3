package check

import (
	"go/token"
	"testing"

	"github.com/evenbed/evenbed/kernel/symbols"
)

// The symbols are those of the SI Brochure, 9th edition, tables 2 to 8; psi
// and AU are of the trade.
func TestSymbols(t *testing.T) {
	named := map[string]string{}
	for _, d := range symbols.Names(Units) {
		if d.Kind != "constant" {
			continue
		}
		s := symbol(d.Name)
		if other, ok := named[s]; ok || s == "" {
			t.Errorf("%s has the symbol %q, as %q has", d.Name, s, other)
		}
		named[s] = d.Name
	}
	for s, want := range map[string]string{
		"m": "Metre", "cm": "Centimetre", "mm": "Millimetre", "µm": "Micrometre", "nm": "Nanometre", "cm²": "SquareCentimetre", "m³": "CubicMetre",
		"L": "Litre", "mL": "Millilitre", "µL": "Microlitre", "s": "Second", "ms": "Millisecond", "min": "Minute", "h": "Hour",
		"g": "Gram", "kg": "Kilogram", "mg": "Milligram", "g/mL": "GramPerMillilitre", "kg/m³": "KilogramPerCubicMetre",
		"Pa": "Pascal", "kPa": "Kilopascal", "MPa": "Megapascal", "bar": "Bar", "mbar": "Millibar", "psi": "PSI", "N": "Newton", "kN": "Kilonewton",
		"Pa·s": "PascalSecond", "mPa·s": "MillipascalSecond", "m²/s": "SquareMetrePerSecond", "K": "Kelvin", "%": "Percent", "‰": "Permille",
		"cm/h": "CentimetrePerHour", "m/s": "MetrePerSecond", "m³/s": "CubicMetrePerSecond", "mL/min": "MillilitrePerMinute", "L/h": "LitrePerHour",
		"mol/L": "MolePerLitre", "mmol/L": "MillimolePerLitre", "mol/m³": "MolePerCubicMetre",
		"AU": "AU", "mAU": "MilliAU", "S/m": "SiemensPerMetre", "mS/cm": "MillisiemensPerCentimetre", "µS/cm": "MicrosiemensPerCentimetre",
	} {
		if named[s] != want {
			t.Errorf("%s is %q, want %s", s, named[s], want)
		}
	}
	for text, want := range map[string]string{"ml": "Millilitre", "l": "Litre", "μm": "Micrometre", "uL": "Microlitre", "M": "", "furlong": "", "": "", "/": ""} {
		if got := unitOf(text); got != want {
			t.Errorf("%q is %q, want %q", text, got, want)
		}
	}
	for other, s := range otherSymbols {
		if named[s] == "" {
			t.Errorf("%s stands for %s, which is no unit", other, s)
		}
	}
}

func TestInGo(t *testing.T) {
	for text, want := range map[string]string{
		"15 cm": "15 * Centimetre", "15cm": "15 * Centimetre", " -2.5e-1 bar ": "-2.5e-1 * Bar", "150 cm/h": "150 * CentimetrePerHour",
		"3 Minute": "3 * Minute", "25 °C": "Celsius(25)", "2 %": "2 * Percent", "3*mm": "3 * Millimetre",
		"15 foo": "", "cm": "", "15": "", "15 cm 3": "", "5 +": "", "": "",
	} {
		if got, ok := InGo(text, ""); got != want && ok || ok != (want != "") {
			t.Errorf("%q is %q, want %q", text, got, want)
		}
	}
	if got, _ := InGo("15 cm", "units."); got != "15 * units.Centimetre" {
		t.Error(got)
	}
}

func TestSideBySide(t *testing.T) {
	c := New(token.NewFileSet())
	if got, want := c.SideBySide("20 cm", 4), "20 cm is no expression; write 20 * Centimetre, after import . \"github.com/evenbed/evenbed/packing/units\""; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	c.imports[". "+Units] = importOf{name: ".", path: Units}
	for _, tc := range []struct {
		line   string
		column int
		want   string
	}{
		{"h := 20 cm", 9, "20 cm is no expression; write 20 * Centimetre"},
		{"f(.5m/2)", 5, ".5 m is no expression; write .5 * Metre"},
		{"u := 150 cm/h + 3", 10, "150 cm/h is no expression; write 150 * CentimetrePerHour"},
		{"p := 5 %", 9, "5 % is no expression; write 5 * Percent"},
		{"f(x, 0.5%)", 10, "0.5 % is no expression; write 0.5 * Percent"},
		{"t := 25 °C", 9, "25 °C is no expression; write Celsius(25)"},
		{"for i := 0; i < 10 i++ {", 20, "10 and i stand side by side; if a product is meant, write 10 * i"},
		{"x := 3 if", 8, ""}, {"x := y cm", 8, ""}, {"x2 cm", 4, ""}, {"x.3 cm", 5, ""}, {"x := 3 4", 8, ""}, {"x := 3 \"a\"", 8, ""}, {"3", 9, ""}, {"", 0, ""},
	} {
		if got := c.SideBySide(tc.line, tc.column); got != tc.want {
			t.Errorf("%s: %q, want %q", tc.line, got, tc.want)
		}
	}
	delete(c.imports, ". "+Units)
	c.imports["u"] = importOf{path: Units} // as under its own name
	if got, want := c.SideBySide("20 cm", 4), "20 cm is no expression; write 20 * u.Centimetre"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got, want := c.SideBySide("20 u.Bar", 4), "20 u.Bar is no expression; write 20 * u.Bar"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
