package efficiency

import (
	"fmt"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/table"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// A Calculation is one number of a result with its formula, the numbers put in,
// its unit and the source of the formula.
type Calculation struct {
	Name    string // of the result's field
	Title   string
	Formula string // in LaTeX
	Numbers string // the formula with the numbers put in, and the result; in LaTeX
	Symbols string // what the letters are
	Source  string
	// Beside names what the number is to be read with.
	Beside string
}

// Latex returns formula and numbers as one display formula.
func (c Calculation) Latex() string {
	return "$$" + c.Formula + " = " + c.Numbers + "$$"
}

// Markdown shows formula, numbers, letters and source.
func (c Calculation) Markdown() string {
	var b strings.Builder
	fmt.Fprintf(&b, "**%s**\n\n$$%s$$\n\n$$= %s$$\n\n%s\n\nSource: %s", c.Title, c.Formula, c.Numbers, c.Symbols, c.Source)
	if c.Beside != "" {
		fmt.Fprintf(&b, "\n\nTo be read with: %s", c.Beside)
	}
	return b.String() + "\n"
}

// String shows the calculation as text.
func (c Calculation) String() string {
	s := fmt.Sprintf("%s\n  %s\n  = %s\n%s\nSource: %s", c.Title, c.Formula, c.Numbers, c.Symbols, c.Source)
	if c.Beside != "" {
		s += "\nTo be read with: " + c.Beside
	}
	return s
}

// The sources of the formulas.
const (
	pharmacopoeia = "USP General Chapter 621, official 1 December 2022, harmonised with Ph. Eur. 2.2.46"
	iupac         = "L. S. Ettre, Pure Appl. Chem. 65 (1993) 819-872 (IUPAC)"
	practice      = "common practice of column packing, no source"
	geometry      = "geometry of a cylinder"
)

// Calculation shows how a number of the result was worked out. The name is that
// of the field: Plates, PlatesExact, PlatesMoments, PlatesPerMetre, HETP,
// ReducedPlateHeight, Asymmetry, SymmetryFactor, RetentionVolume,
// ColumnVolumes or Velocity. Another name is an error that lists them.
func (r PulseResult) Calculation(name string) (Calculation, error) {
	all := r.calculations()
	names := make([]string, len(all))
	for i, c := range all {
		if strings.EqualFold(c.Name, name) {
			return c, nil
		}
		names[i] = c.Name
	}
	return Calculation{}, fmt.Errorf("no calculation %q; there are %s", name, strings.Join(names, ", "))
}

// Calculations shows all of them in one page.
func (r PulseResult) Calculations() CalculationList { return CalculationList(r.calculations()) }

// A CalculationList shows several calculations below each other.
type CalculationList []Calculation

// Markdown shows every calculation.
func (l CalculationList) Markdown() string {
	parts := make([]string, len(l))
	for i, c := range l {
		parts[i] = c.Markdown()
	}
	return strings.Join(parts, "\n")
}

// String shows every calculation as text.
func (l CalculationList) String() string {
	var p table.Page
	for _, c := range l {
		p.Text(c.String())
	}
	return p.String()
}

func (r PulseResult) calculations() []Calculation {
	unit, letter := "min", "t_R"
	one := float64(units.Minute)
	if r.Axis == trace.Volume {
		unit, letter, one = "L", "V_R", float64(units.Litre)
	}
	on := func(x float64) string { return quantity(x/one, 4, unit) }
	x, w := on(r.Apex.X), on(r.Half.Width())
	peak := strings.Replace(letter, "_", "", 1) + " position of the maximum, w width at half height, "
	length := r.Pulse.BedHeight
	metres := quantity(length.In(units.Metre), 4, "m")
	h, as, u := fixed(r.ReducedPlateHeight, 1), fixed(r.Asymmetry, 2), r.Velocity
	with := fmt.Sprintf("reduced plate height %s, asymmetry %s, at %v", h, as, u)
	m := func(x float64) string { return significant(x/one, 5) }
	area := r.Pulse.Column.Area()
	square := fmt.Sprintf(`\left( \frac{%s}{w} \right)^2`, letter)
	numbers := fmt.Sprintf(`\left( \frac{%s}{%s} \right)^2`, x, w)
	volumeFormula, volumeNumbers := "V_R = Q t_R", quantity(r.Pulse.Flow.In(units.LitrePerHour), 4, "L/h")+` \cdot `+on(r.Apex.X)
	if r.Axis == trace.Volume {
		volumeFormula, volumeNumbers = "V_R", "read from the trace"
	}
	litres := quantity(r.RetentionVolume.In(units.Litre), 4, "L")
	return []Calculation{
		{"Plates", "Plates by the width at half height, pharmacopoeia", "N = 5.54 " + square, "5.54 " + numbers + " = " + fixed(r.Plates, 0),
			peak + "N plates", pharmacopoeia, with},
		{"PlatesExact", "Plates by the width at half height, exact for a Gaussian", `N = 8 \ln 2 \, ` + square, "5.545177 " + numbers + " = " + fixed(r.PlatesExact, 0),
			peak + "N plates", iupac, with},
		{"PlatesMoments", "Plates by moments", `N = \frac{M_1^2}{M_2}`, fmt.Sprintf(`\frac{%s^2}{%s} = %s`, m(r.Moments.Mean), significant(r.Moments.Variance/one/one, 5), fixed(r.PlatesMoments, 0)),
			"M1 mean, M2 variance of the peak, taken from " + r.Moments.Range.String(), iupac, with},
		{"PlatesPerMetre", "Plates per metre", `\frac{N}{L} = \frac{5.54}{L} ` + square, fmt.Sprintf(`\frac{5.54}{%s} %s = %s`, metres, numbers, exact(fixed(r.PlatesPerMetre, 0), "m^{-1}")),
			peak + "L bed height", pharmacopoeia + "; the bed height divides it", with},
		{"HETP", "Height equivalent to a theoretical plate", `H = \frac{L}{N}`, fmt.Sprintf(`\frac{%s}{%s} = %s`, quantity(length.In(units.Millimetre), 4, "mm"), fixed(r.Plates, 1), exact(fixed(r.HETP.In(units.Millimetre), 3), "mm")),
			"L bed height, N plates by half height (5.54)", iupac, with},
		{"ReducedPlateHeight", "Reduced plate height", `h = \frac{H}{d_p}`, fmt.Sprintf(`\frac{%s}{%s} = %s`, quantity(r.HETP.In(units.Micrometre), 4, "µm"), quantity(r.Bead.In(units.Micrometre), 4, "µm"), h),
			"H plate height, dp mean bead diameter", iupac, fmt.Sprintf("asymmetry %s, at %v", as, u)},
		{"Asymmetry", "Asymmetry at 10 % of the height", `A_s = \frac{b}{a}`, fmt.Sprintf(`\frac{%s}{%s} = %s`, on(r.Tenth.Back(r.Apex)), on(r.Tenth.Front(r.Apex)), as),
			"a width in front of the maximum, b width behind it, at a tenth of the height", practice, ""},
		{"SymmetryFactor", "Symmetry factor at 5 % of the height", `S = \frac{w}{2 a}`, fmt.Sprintf(`\frac{%s}{2 \cdot %s} = %s`, on(r.Fifth.Width()), on(r.Fifth.Front(r.Apex)), fixed(r.SymmetryFactor, 2)),
			"w width, a its part in front of the maximum, at a twentieth of the height", pharmacopoeia, ""},
		{"RetentionVolume", "Retention volume", volumeFormula, volumeNumbers + " = " + litres,
			"Q flow, tR time of the maximum", iupac, ""},
		{"ColumnVolumes", "Retention in column volumes", `\frac{V_R}{V} = \frac{V_R}{\frac{\pi}{4} D^2 L}`,
			fmt.Sprintf(`\frac{%s}{%s} = %s`, litres, quantity(r.volume.In(units.Litre), 4, "L"), fixed(r.ColumnVolumes, 3)),
			"VR retention volume, V column volume, D inner diameter, L bed height", geometry, ""},
		{"Velocity", "Superficial velocity", `u = \frac{Q}{\frac{\pi}{4} D^2}`,
			fmt.Sprintf(`\frac{%s}{%s} = %s`, quantity(r.Pulse.Flow.In(units.LitrePerHour), 4, "L/h"), quantity(area.In(units.SquareCentimetre), 4, "cm^2"), quantity(u.In(units.CentimetrePerHour), 4, "cm/h")),
			"Q flow, D inner diameter", geometry, ""},
	}
}

// quantity writes a number to so many digits with a unit, in LaTeX.
func quantity(v float64, digits int, unit string) string {
	return exact(significant(v, digits), unit)
}

// exact writes a number as it is with a unit, in LaTeX; a power of the unit
// stands outside its upright letters.
func exact(number, unit string) string {
	letters, power, _ := strings.Cut(unit, "^")
	if power != "" {
		power = "^" + power
	}
	return number + `\,\mathrm{` + letters + `}` + power
}
