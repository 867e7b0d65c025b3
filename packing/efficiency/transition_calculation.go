package efficiency

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// The sources of the formulas of transitions.
const (
	larson       = "D. M. Larson et al., Biotechnol. Prog. 19 (2003) 485"
	byParts      = "by parts from ∫ V dF; moments of transitions: " + larson
	monitoring   = "A. S. Rathore, R. Mhatre (eds.), Quality by Design for Biopharmaceuticals, Wiley 2009, section 12.8"
	sheppard     = "W. F. Sheppard, Proc. London Math. Soc. 29 (1898) 353-380, for h²/12"
	commonFronts = "common practice, no source"
)

// Calculation shows how a number of the result was worked out. The name is one
// of HETP, ReducedPlateHeight, ByMoments, ByDerivative, ByClipped,
// ByHalfHeight, ByQuantiles, Mean, Variance, Asymmetry, Skewness, Kurtosis,
// FrontVolume or Recovered; what is not available is left out. Another name is
// an error that lists those there are.
func (r TransitionResult) Calculation(name string) (Calculation, error) {
	return calculationNamed(r.calculations(), name)
}

// Calculations shows all of them in one page.
func (r TransitionResult) Calculations() CalculationList { return r.calculations() }

func (r TransitionResult) calculations() CalculationList {
	if len(r.front.y) == 0 {
		return nil
	}
	litre := float64(units.Litre)
	l := func(v units.Volume) string { return quantity(v.In(units.Litre), 5, "L") }
	bare := func(v float64) string { return number.Significant(v/litre, 5) }
	squared := func(v float64) string { return number.Significant(v/litre/litre, 5) }
	moments := func(m FrontMoments, n FrontPlates) string {
		return fmt.Sprintf(`\frac{%s^2}{%s} = %s`, bare(float64(m.Mean)), squared(m.Variance), number.Fixed(n.Plates, 0))
	}
	m, a := r.Moments, trace.Apex{X: float64(r.Peak)}
	h, length, as := number.Fixed(r.ReducedPlateHeight, 1), r.Transition.BedHeight, number.Fixed(r.Asymmetry, 2)
	beside := func(p FrontPlates) string {
		with := fmt.Sprintf("reduced plate height %s, asymmetry %s", number.Fixed(p.ReducedPlateHeight, 1), as)
		if !math.IsNaN(float64(r.Velocity)) {
			with += fmt.Sprintf(", at %v", r.Velocity)
		}
		return with
	}
	letters := "F front in parts of the step, V volume less extra-column volume, M1 mean and M2 variance in litres, N plates"
	taken := fmt.Sprintf(", from %v to %v", m.From, m.To)
	sd := math.Sqrt(m.Variance)
	list := CalculationList{
		{Name: "HETP", Title: "Height equivalent to a theoretical plate, by moments", Formula: `H = \frac{L}{N}`,
			Numbers: fmt.Sprintf(`\frac{%s}{%s} = %s`, quantity(length.In(units.Millimetre), 4, "mm"), number.Fixed(r.ByMoments.Plates, 1), exact(number.Fixed(r.HETP.In(units.Millimetre), 3), "mm")),
			Symbols: "L bed height, N plates by the moments of the whole front", Source: larson, Beside: beside(r.ByMoments)},
		{Name: "ReducedPlateHeight", Title: "Reduced plate height, by moments", Formula: `h = \frac{H}{d_p}`,
			Numbers: fmt.Sprintf(`\frac{%s}{%s} = %s`, quantity(r.HETP.In(units.Micrometre), 4, "µm"), quantity(r.Bead.In(units.Micrometre), 4, "µm"), h),
			Symbols: "H plate height, dp mean bead diameter", Source: iupac, Beside: beside(r.ByMoments)},
		{Name: "Mean", Title: "Mean of the front, without differentiation", Formula: `M_1 = V_a + \int_{V_a}^{V_b} (1-F) \, dV`,
			Numbers: l(m.Mean), Symbols: "F front in parts of the step, V volume less extra-column volume" + taken, Source: byParts},
		{Name: "Variance", Title: "Variance of the front, without differentiation", Formula: `M_2 = 2 \int V (1-F) \, dV - M_1^2`,
			Numbers: squared(m.Variance) + `\,\mathrm{L}^2`, Symbols: "F front in parts of the step, V volume less extra-column volume" + taken + "; evaluated about the middle of the front, which keeps digits", Source: byParts},
		{Name: "ByMoments", Title: "Plates by the moments of the whole front", Formula: `N = \frac{M_1^2}{M_2}`, Numbers: moments(m, r.ByMoments),
			Symbols: letters + taken, Source: larson, Beside: beside(r.ByMoments)},
		{Name: "ByDerivative", Title: "Plates by the moments of the differences", Formula: `N = \frac{M_1^2}{M_2},\quad M_1 = \frac{\sum \bar{V} \Delta C}{\sum \Delta C},\quad M_2 = \frac{\sum (\bar{V}-M_1)^2 \Delta C}{\sum \Delta C} - \frac{h^2}{12}`,
			Numbers: moments(r.Derivative, r.ByDerivative), Symbols: fmt.Sprintf("%s, V with a bar midway between two samples, C signal, h sampling step of %v", letters, r.SamplingStep) + taken,
			Source: monitoring + "; " + sheppard, Beside: beside(r.ByDerivative)},
		{Name: "ByClipped", Title: "Plates by moments clipped to a window", Formula: `N = \frac{M_1^2}{M_2}`, Numbers: moments(r.Clipped, r.ByClipped),
			Symbols: fmt.Sprintf("%s, of the front between %v and %v of the step only, from %v to %v", letters, r.Transition.From, r.Transition.To, r.Clipped.From, r.Clipped.To), Source: commonFronts, Beside: beside(r.ByClipped)},
		{Name: "ByHalfHeight", Title: "Plates by the width of the derivative at half height", Formula: `N = 5.54 \left( \frac{V_{max}}{w} \right)^2`,
			Numbers: fmt.Sprintf(`5.54 \left( \frac{%s}{%s} \right)^2 = %s`, l(r.Peak), l(units.Volume(r.Half.Width())), number.Fixed(r.ByHalfHeight.Plates, 0)),
			Symbols: "Vmax peak of the derivative, w its width at half height, N plates", Source: monitoring, Beside: beside(r.ByHalfHeight)},
		{Name: "ByQuantiles", Title: "Plates by quantiles", Formula: `N = \left( \frac{V_{50}}{\sigma} \right)^2,\quad \sigma = \frac{V_{84} - V_{16}}{2}`,
			Numbers: fmt.Sprintf(`\left( \frac{2 \cdot %s}{%s - %s} \right)^2 = %s`, bare(float64(r.V50)), bare(float64(r.V84)), bare(float64(r.V16)), number.Fixed(r.ByQuantiles.Plates, 0)),
			Symbols: "V16, V50, V84 volumes at 15.87, 50 and 84.13 % of the step in litres, N plates", Source: commonFronts, Beside: beside(r.ByQuantiles)},
		{Name: "Asymmetry", Title: "Asymmetry of the derivative at 10 % of its height", Formula: `A_f = \frac{b}{a}`,
			Numbers: fmt.Sprintf(`\frac{%s}{%s} = %s`, l(units.Volume(r.Tenth.Back(a))), l(units.Volume(r.Tenth.Front(a))), as),
			Symbols: "a width in front of the peak, b width behind it, at a tenth of the height", Source: monitoring},
		{Name: "Skewness", Title: "Skewness of the front", Formula: `\gamma_1 = \frac{M_3}{M_2^{3/2}}`,
			Numbers: fmt.Sprintf(`\frac{%s}{%s^{3/2}} = %s`, number.Significant(m.Skewness*sd*sd*sd/litre/litre/litre, 4), squared(m.Variance), number.Fixed(m.Skewness, 3)),
			Symbols: "M2 and M3 second and third moment about the mean, in litres" + taken, Source: monitoring},
		{Name: "Kurtosis", Title: "Kurtosis of the front above that of a Gaussian", Formula: `\gamma_2 = \frac{M_4}{M_2^2} - 3`,
			Numbers: fmt.Sprintf(`\frac{%s}{%s^2} - 3 = %s`, number.Significant((m.Kurtosis+3)*sd*sd*sd*sd/litre/litre/litre/litre, 4), squared(m.Variance), number.Fixed(m.Kurtosis, 3)),
			Symbols: "M2 and M4 second and fourth moment about the mean, in litres" + taken, Source: monitoring},
		{Name: "FrontVolume", Title: "Mean of the front in column volumes", Formula: `\frac{M_1}{V} = \frac{M_1}{\frac{\pi}{4} D^2 L}`,
			Numbers: fmt.Sprintf(`\frac{%s}{%s} = %s`, l(m.Mean), l(r.volume), number.Fixed(r.FrontVolume, 4)),
			Symbols: "M1 mean of the front, V column volume, D inner diameter, L bed height", Source: geometry},
	}
	if !math.IsNaN(r.Recovered) {
		list = append(list, Calculation{Name: "Recovered", Title: "Mass balance up to the end of the moments", Formula: `R = \frac{(V_b - M_1) + V_x}{V_b}`,
			Numbers: fmt.Sprintf(`\frac{(%s - %s) + %s}{%s} = %s`, bare(float64(m.To)), bare(float64(m.Mean)), bare(float64(r.Transition.ExpectedVolume)), bare(float64(m.To)), number.Fixed(r.Recovered, 4)),
			Symbols: "Vb end of the moments, M1 mean of the front, Vx expected volume, in litres: what came out, ∫F dV = Vb - M1, and what fills the column, over what went in",
			Source:  "mass balance of the tracer"})
	}
	return slices.DeleteFunc(list, func(c Calculation) bool {
		return strings.Contains(c.Numbers, "NaN") || strings.Contains(c.Numbers, number.Missing)
	})
}
