package efficiency

import (
	"fmt"
	"math"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
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

// Latex returns formula and numbers as one display formula, with what the number
// is to be read with.
func (c Calculation) Latex() string {
	s := c.Formula + " = " + c.Numbers
	if c.Beside != "" {
		s += `\quad \text{(` + c.Beside + `)}`
	}
	return "$$" + s + "$$"
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
	gaussianShape = "the shape of a Gaussian"

	foleyDorseySource = "J. P. Foley, J. G. Dorsey, Anal. Chem. 55 (1983) 730-737; coefficients from memory, checked against exact peaks"
)

// Calculation shows how a number of the result was worked out. The name is that
// of the field: Plates, PlatesExact, PlatesMoments, PlatesPerMetre, HETP,
// ReducedPlateHeight, Asymmetry, SymmetryFactor, RetentionVolume,
// ColumnVolumes or Velocity; or that of another method: PlatesTangent,
// PlatesAreaHeight, PlatesTenth, PlatesFiveSigma, PlatesFoleyDorsey, PlatesEMG,
// PlatesCorrected or SignalToNoise. A method that has no number for this peak is
// an error that says why, and another name one that lists them.
func (r PulseResult) Calculation(name string) (Calculation, error) {
	if err := r.plated(); err != nil {
		return Calculation{}, err
	}
	more, refused := r.moreCalculations()
	for _, no := range refused {
		if strings.EqualFold(no.name, name) {
			return Calculation{}, fmt.Errorf("no calculation of %s: %w", no.name, no.err)
		}
	}
	return calculationNamed(append(r.calculations(), more...), name)
}

// calculationNamed finds a calculation; another name is an error that lists them.
func calculationNamed(all []Calculation, name string) (Calculation, error) {
	names := make([]string, len(all))
	for i, c := range all {
		if strings.EqualFold(c.Name, name) {
			return c, nil
		}
		names[i] = c.Name
	}
	if len(all) == 0 {
		return Calculation{}, fmt.Errorf("no calculation %q: there are no numbers", name)
	}
	return Calculation{}, fmt.Errorf("no calculation %q; there are %s", name, strings.Join(names, ", "))
}

// Calculations shows all of them in one page, without those that have no number
// for this peak.
func (r PulseResult) Calculations() CalculationList {
	if r.plated() != nil {
		return nil
	}
	more, _ := r.moreCalculations()
	return append(r.calculations(), more...)
}

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
	var p page.Page
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
	h, as, u := number.Fixed(r.ReducedPlateHeight, 1), number.Fixed(r.Asymmetry, 2), r.Velocity
	with := fmt.Sprintf("reduced plate height %s, asymmetry %s, at %v", h, as, u)
	m := func(x float64) string { return number.Significant(x/one, 5) }
	area := r.Pulse.Column.Area()
	square := fmt.Sprintf(`\left( \frac{%s}{w} \right)^2`, letter)
	numbers := fmt.Sprintf(`\left( \frac{%s}{%s} \right)^2`, x, w)
	volumeFormula, volumeNumbers := "V_R = Q t_R", quantity(r.Pulse.Flow.In(units.LitrePerHour), 4, "L/h")+` \cdot `+on(r.Apex.X)
	if r.Axis == trace.Volume {
		volumeFormula, volumeNumbers = "V_R", "read from the trace"
	}
	litres := quantity(r.RetentionVolume.In(units.Litre), 4, "L")
	return []Calculation{
		{"Plates", "Plates by the width at half height, pharmacopoeia", "N = 5.54 " + square, "5.54 " + numbers + " = " + number.Fixed(r.Plates, 0),
			peak + "N plates", pharmacopoeia, with},
		{"PlatesExact", "Plates by the width at half height, exact for a Gaussian", `N = 8 \ln 2 \, ` + square, "5.545177 " + numbers + " = " + number.Fixed(r.PlatesExact, 0),
			peak + "N plates", iupac, with},
		{"PlatesMoments", "Plates by moments", `N = \frac{M_1^2}{M_2}`, fmt.Sprintf(`\frac{%s^2}{%s} = %s`, m(r.Moments.Mean), number.Significant(r.Moments.Variance/one/one, 5), number.Fixed(r.PlatesMoments, 0)),
			"M1 mean, M2 variance of the peak, taken from " + r.Moments.Range.String(), iupac, with},
		{"PlatesPerMetre", "Plates per metre", `\frac{N}{L} = \frac{5.54}{L} ` + square, fmt.Sprintf(`\frac{5.54}{%s} %s = %s`, metres, numbers, exact(number.Fixed(r.PlatesPerMetre, 0), "m^{-1}")),
			peak + "L bed height", pharmacopoeia + "; the bed height divides it", with},
		{"HETP", "Height equivalent to a theoretical plate", `H = \frac{L}{N}`, fmt.Sprintf(`\frac{%s}{%s} = %s`, quantity(length.In(units.Millimetre), 4, "mm"), number.Fixed(r.Plates, 1), exact(number.Fixed(r.HETP.In(units.Millimetre), 3), "mm")),
			"L bed height, N plates by half height (5.54)", iupac, with},
		{"ReducedPlateHeight", "Reduced plate height", `h = \frac{H}{d_p}`, fmt.Sprintf(`\frac{%s}{%s} = %s`, quantity(r.HETP.In(units.Micrometre), 4, "µm"), quantity(r.Bead.In(units.Micrometre), 4, "µm"), h),
			"H plate height, dp mean bead diameter", iupac, fmt.Sprintf("asymmetry %s, at %v", as, u)},
		{"Asymmetry", "Asymmetry at 10 % of the height", `A_s = \frac{b}{a}`, fmt.Sprintf(`\frac{%s}{%s} = %s`, on(r.Tenth.Back(r.Apex)), on(r.Tenth.Front(r.Apex)), as),
			"a width in front of the maximum, b width behind it, at a tenth of the height", practice, ""},
		{"SymmetryFactor", "Symmetry factor at 5 % of the height", `S = \frac{w}{2 a}`, fmt.Sprintf(`\frac{%s}{2 \cdot %s} = %s`, on(r.Fifth.Width()), on(r.Fifth.Front(r.Apex)), number.Fixed(r.SymmetryFactor, 2)),
			"w width, a its part in front of the maximum, at a twentieth of the height", pharmacopoeia, ""},
		{"RetentionVolume", "Retention volume", volumeFormula, volumeNumbers + " = " + litres,
			"Q flow, tR time of the maximum", iupac, ""},
		{"ColumnVolumes", "Retention in column volumes", `\frac{V_R}{V} = \frac{V_R}{\frac{\pi}{4} D^2 L}`,
			fmt.Sprintf(`\frac{%s}{%s} = %s`, litres, quantity(r.volume.In(units.Litre), 4, "L"), number.Fixed(r.ColumnVolumes, 3)),
			"VR retention volume, V column volume, D inner diameter, L bed height", geometry, ""},
		{"Velocity", "Superficial velocity", `u = \frac{Q}{\frac{\pi}{4} D^2}`,
			fmt.Sprintf(`\frac{%s}{%s} = %s`, quantity(r.Pulse.Flow.In(units.LitrePerHour), 4, "L/h"), quantity(area.In(units.SquareCentimetre), 4, "cm^2"), quantity(u.In(units.CentimetrePerHour), 4, "cm/h")),
			"Q flow, D inner diameter", geometry, ""},
	}
}

// A noCalculation is one that has no number for this peak.
type noCalculation struct {
	name string
	err  error
}

// moreCalculations are those of the numbers that are worked out when they are
// asked for.
func (r PulseResult) moreCalculations() (list []Calculation, refused []noCalculation) {
	unit, letter, one := "min", "t_R", float64(units.Minute)
	if r.Axis == trace.Volume {
		unit, letter, one = "L", "V_R", float64(units.Litre)
	}
	on := func(x float64) string { return quantity(x/one, 4, unit) }
	x := on(r.Apex.X)
	peak := strings.Replace(letter, "_", "", 1) + " position of the maximum, "
	with := fmt.Sprintf("reduced plate height %s by half height, asymmetry %s, at %v", number.Fixed(r.ReducedPlateHeight, 1), number.Fixed(r.Asymmetry, 2), r.Velocity)
	add := func(err error, c Calculation) {
		if err != nil {
			refused = append(refused, noCalculation{c.Name, err})
			return
		}
		list = append(list, c)
	}
	square := func(above, below string) string { return `\left( \frac{` + above + `}{` + below + `} \right)^2` }
	all := r.Methods()
	plates := func(name string) (string, error) {
		m, err := all.Method(name)
		if err == nil {
			err = m.Refusal
		}
		return number.Fixed(m.Plates, 0), err
	}

	base, _ := r.tangents()
	n, err := plates("PlatesTangent")
	add(err, Calculation{"PlatesTangent", "Plates by the tangents at the points of inflection", "N = 16 " + square(letter, "w_b"), "16 " + square(x, on(base.Width())) + " = " + n,
		peak + "wb width at the base, from " + r.Axis.Show(base.Front.Foot) + " to " + r.Axis.Show(base.Back.Foot), iupac, with})

	n, err = plates("PlatesAreaHeight")
	add(err, Calculation{"PlatesAreaHeight", "Plates by area and height", `N = 2 \pi \left( \frac{` + letter + ` h}{A} \right)^2`,
		fmt.Sprintf(`2 \pi \left( \frac{%s \cdot %s}{%s} \right)^2 = %s`, x, number.Significant(r.Height, 4), quantity(r.Moments.Area/one, 4, unit), n),
		peak + "h height and A area of the peak, taken from " + r.Moments.Range.String(), gaussianShape, with})

	for _, w := range []struct {
		name, factor string
		fraction     float64
		source       string
	}{{"PlatesTenth", "18.42068", 0.1, gaussianShape}, {"PlatesFiveSigma", "24.98853", fiveSigma, gaussianShape + "; the factor is printed as 25"}} {
		_, width, _ := r.PlatesAtWidth(w.fraction)
		percent := number.Compact(100*w.fraction, 4)
		n, err = plates(w.name)
		add(err, Calculation{w.name, "Plates by the width at " + percent + " % of the height", fmt.Sprintf(`N = 8 \ln \frac{1}{%v} \, `, w.fraction) + square(letter, "w"),
			w.factor + " " + square(x, on(width.Width())) + " = " + n, peak + "w width at " + percent + " % of the height", w.source, with})
	}

	a, b := on(r.Tenth.Front(r.Apex)), on(r.Tenth.Back(r.Apex))
	g, _ := r.FoleyDorsey()
	n, err = plates("PlatesFoleyDorsey")
	letters := peak + "w width at a tenth of the height, b its part behind the maximum, a the one in front. N stands for tR²/M2"
	if g.Mirrored {
		letters += ". The peak fronts: a and b are taken the other way round"
	}
	add(err, Calculation{"PlatesFoleyDorsey", "Plates of an exponentially modified Gaussian, from the width at 10 %", `N = \frac{41.7 ` + square(letter, "w") + `}{b/a + 1.25}`,
		fmt.Sprintf(`\frac{41.7 %s}{%s + 1.25} = %s`, square(x, on(r.Tenth.Width())), number.Fixed(g.Ratio, 3), n),
		letters + fmt.Sprintf("; a = %s and b = %s here", plain(a), plain(b)), foleyDorseySource, with})

	e, err := r.EMG()
	var fitted Calculation
	if err == nil {
		fitted, err = e.Calculation("Plates")
	}
	fitted.Name, fitted.Title, fitted.Beside = "PlatesEMG", "Plates by the fit of an exponentially modified Gaussian", with
	add(err, fitted)

	c, err := r.Corrected()
	var m CorrectedMethod
	if err == nil {
		m = c.List[0]
	}
	parts := "those of the system without the column and of the sample, V/2 and V/√12"
	if r.Pulse.ExtraColumn == (ExtraColumn{}) {
		parts = "those of the sample alone, V/2 and V/√12: no ExtraColumn is given"
	}
	litres := func(v units.Volume) string { return quantity(v.In(units.Litre), 4, "L") }
	add(err, Calculation{"PlatesCorrected", "Plates by moments of the column alone", `N = \frac{(V_1 - V_e)^2}{\sigma^2 - \sigma_e^2}`,
		fmt.Sprintf(`\frac{(%s - %s)^2}{(%s)^2 - (%s)^2} = %s`, litres(m.Mean), litres(c.Shift), litres(m.Deviation), litres(units.Volume(math.Sqrt(c.Taken)*r.cubicMetresPerUnit())), number.Fixed(m.Plates, 0)),
		"V1 first moment and σ standard deviation as observed, Ve and σe " + parts, "the variance of a sum of independent steps", with + "; " + number.Fixed(m.Observed, 0) + " as observed"})

	s, err := r.SignalToNoise()
	add(err, Calculation{"SignalToNoise", "Signal-to-noise ratio", `S/N = \frac{2H}{h}`, fmt.Sprintf(`\frac{2 \cdot %s}{%s} = %s`, number.Significant(s.Height, 4), number.Significant(s.Noise, 3), number.Fixed(s.Ratio, 0)),
		fmt.Sprintf("H height of the peak, h range of the noise from %s, %.1f widths at half height", s.Window, s.Widths), pharmacopoeia, ""})
	return list, refused
}

// plain takes the LaTeX off a quantity.
func plain(s string) string {
	return strings.NewReplacer(`\,\mathrm{`, " ", "}", "").Replace(s)
}

// quantity writes a number to so many digits with a unit, in LaTeX.
func quantity(v float64, digits int, unit string) string {
	return exact(number.Significant(v, digits), unit)
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
