package efficiency

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// An Uncertainty is one number of a result with its standard error and its
// 95 % interval.
//
// The interval is about the number that the same evaluation, with the same
// smoothing window, quiet stretches and limits of the moments, would give of
// the same signal without noise. It holds the noise of this recording alone:
// flow, sample and bed differ from run to run, and only repeats tell how much.
// The noise is taken from the quiet stretches, so noise that grows with the
// signal is not in it. Nor is the error of the method: half height does not see
// a tail, with or without noise.
type Uncertainty struct {
	Name   string // of the result's field
	Title  string
	Unit   string // of the numbers below
	Value  float64
	StdErr float64 // one standard error; NaN if there is no noise to tell it from
	// Low and High bound the 95 % interval, on a scale of logarithms: as many
	// standard errors on both sides as Student's t asks of the points in the
	// quiet stretches.
	Low, High float64
	How       string // "first order" or "bootstrap of 400 traces"
	// Sampling is by how much at most the distance of the samples moves the
	// value: straight lines between them, and a parabola at the apex. It is the
	// same in every recording at these points and is not in the interval. The
	// trapezoidal rule of the moments adds next to nothing.
	Sampling float64
	// Doubt says why the interval is not reliable; empty if it is.
	Doubt string
}

// Reliable reports whether nothing speaks against the interval.
func (u Uncertainty) Reliable() bool { return u.Doubt == "" }

// String writes the number with its interval.
func (u Uncertainty) String() string {
	if math.IsNaN(u.StdErr) {
		return fmt.Sprintf("%s: %s, interval not available: %s", u.Title, withUnit(number.Significant(u.Value, 4), u.Unit), u.Doubt)
	}
	d := u.decimals()
	s := fmt.Sprintf("%s: %s, standard error %s, 95 %% interval %s to %s (%s)", u.Title,
		withUnit(number.Fixed(u.Value, d), u.Unit), number.Significant(u.StdErr, 2), number.Fixed(u.Low, d), number.Fixed(u.High, d), u.How)
	if u.Doubt != "" {
		s += "; interval not reliable: " + u.Doubt
	}
	return s
}

func withUnit(number, unit string) string { return strings.TrimSpace(number + " " + unit) }

// decimals returns how many show two digits of the standard error.
func (u Uncertainty) decimals() int {
	if !(u.StdErr > 0) || math.IsInf(u.StdErr, 0) {
		return 3
	}
	return min(9, max(0, 1-int(math.Floor(math.Log10(u.StdErr)))))
}

// A Bootstrap asks for intervals from resampled traces in place of those from
// the first order: the smoothed peak with noise drawn again from the quiet
// stretches is evaluated so many times. It is slower than an evaluation by that
// factor, and holds where the first order does not: noise that crosses a level
// twice, or a top that is flat beside the noise.
//
// The noise is drawn from the residuals in the quiet stretches, smoothed by a
// normal kernel of half their standard deviation, since a few residuals have no
// tails; if neighbours are correlated, from what a first-order autoregression
// leaves of them. The
// interval of a number T, which the peak without noise gives as T0 and a
// resampled trace as T*, is T/(T*/T0) between the 97.5th and the 2.5th
// percentile of T*/T0 (the basic bootstrap, of logarithms), and its standard
// error half the distance from the 16th to the 84th.
//
// Source: B. Efron, R. J. Tibshirani, An Introduction to the Bootstrap, Chapman
// & Hall (1993), chapters 8, 9, 13 and 16 (from memory).
type Bootstrap struct {
	Traces int    // how many; zero: none. 400 is enough for an interval
	Seed   uint64 // the same seed gives the same numbers
}

// Uncertainties are those of all numbers of a result.
type Uncertainties []Uncertainty

// Uncertainty returns the numbers of the result with their intervals.
//
// To the first order, what is measured (apex, height, crossings, moments) is
// linear in the noise e_i of the samples: δm = Σ w_i e_i, where w_i holds the
// parabola of the apex, the interpolation at a crossing and the slope there,
// the smoothing, and the baseline's level and slope, which are common to all.
// With σ the noise and ρ the correlation of neighbouring samples, both from the
// residuals in the quiet stretches (ρ is 0 unless it is seen),
//
//	cov(m, n) = σ² Σ_ij w_i v_j ρ^|i-j|,  u²(T) = Σ_mn ∂T/∂m ∂T/∂n cov(m, n)
//
// for a number T. Where the top is flat beside the noise, the scatter of the
// apex is taken from simulated peaks. The coverage of the intervals is tested
// with six shapes and three levels of noise.
//
// Source: JCGM 100:2008 (GUM), 5.2, equation 13 (from memory).
func (r PulseResult) Uncertainty() Uncertainties {
	if r.Refusal != nil || r.Plates == 0 {
		return nil
	}
	var s *spread
	if r.spread != nil {
		all := *r.spread
		s = &all
		r.momentSpread(s)
	}
	var list Uncertainties
	at, most := r.measured(), r.sampling()
	for _, n := range r.functions() {
		u := Uncertainty{Name: n.name, Title: n.title, Unit: n.unit, Value: n.of(&r, at)}
		u.StdErr, u.Low, u.High, u.Doubt = r.interval(s, n.of)
		u.How = "first order"
		if s != nil && s.drawn != nil {
			u.How = fmt.Sprintf("bootstrap of %d traces", len(s.drawn.all))
		}
		for i, d := range most {
			if d > 0 {
				moved := at
				moved[i] += d
				if change := math.Abs(n.of(&r, moved) - u.Value); change > 0 { // not NaN
					u.Sampling += change
				}
			}
		}
		list = append(list, u)
	}
	return list
}

// Of returns the uncertainty of a number by the name of its field. Another name
// is an error that lists them.
func (l Uncertainties) Of(name string) (Uncertainty, error) {
	names := make([]string, len(l))
	for i, u := range l {
		if strings.EqualFold(u.Name, name) {
			return u, nil
		}
		names[i] = u.Name
	}
	return Uncertainty{}, fmt.Errorf("no uncertainty of %q; there are %s", name, strings.Join(names, ", "))
}

// A namedFunction is a number of a result, in its unit.
type namedFunction struct {
	name, title, unit string
	of                function
}

// functions returns the numbers of a result as functions of what is measured.
func (r *PulseResult) functions() []namedFunction {
	unit, one := "min", float64(units.Minute)
	if r.Axis == trace.Volume {
		unit, one = "L", float64(units.Litre)
	}
	perMetre := 1 / r.Pulse.BedHeight.In(units.Metre)
	millimetres := r.Pulse.BedHeight.In(units.Millimetre)
	beads := r.Pulse.BedHeight.In(r.Bead)
	volumes := r.ColumnVolumes / r.Apex.X
	exactly := 8 * math.Ln2 / halfHeight
	all := []namedFunction{
		{"PlatesPerMetre", "plates per metre", "1/m", func(r *PulseResult, m measured) float64 { return perMetre * plates50(r, m) }},
		{"ReducedPlateHeight", "reduced plate height", "", func(r *PulseResult, m measured) float64 { return beads / plates50(r, m) }},
		{"Asymmetry", "asymmetry at 10 %, b/a", "", asymmetry10},
		{"SymmetryFactor", "symmetry factor at 5 %, w/2a", "", symmetry5},
		{"HETP", "plate height, HETP", "mm", func(r *PulseResult, m measured) float64 { return millimetres / plates50(r, m) }},
		{"Plates", "plates, 5.54 (tR/w)²", "", plates50},
		{"PlatesExact", "plates, 8 ln 2 (tR/w)²", "", func(r *PulseResult, m measured) float64 { return exactly * plates50(r, m) }},
		{"PlatesMoments", "plates by moments, M1²/M2", "", func(_ *PulseResult, m measured) float64 { return m[mMean] * m[mMean] / m[mVariance] }},
		{"ColumnVolumes", "retention", "CV", func(_ *PulseResult, m measured) float64 { return volumes * m[mApex] }},
		{"Apex.X", "position of the apex", unit, func(_ *PulseResult, m measured) float64 { return m[mApex] / one }},
		{"Height", "height", r.Unit, func(_ *PulseResult, m measured) float64 { return m[mHeight] }},
		{"Half.Width", "width at 50 %", unit, func(_ *PulseResult, m measured) float64 { return (m[mRight50] - m[mLeft50]) / one }},
		{"Moments.Mean", "first moment M1", unit, func(_ *PulseResult, m measured) float64 { return m[mMean] / one }},
		{"Moments.Variance", "second moment M2", unit + "²", func(_ *PulseResult, m measured) float64 { return m[mVariance] / one / one }},
	}
	if r.plated() != nil { // what says nothing of the bed is left out
		all = all[slices.IndexFunc(all, func(f namedFunction) bool { return f.name == "ColumnVolumes" }):]
	}
	return all
}

// interval returns standard error and 95 % interval of a number, and what
// speaks against them.
func (r *PulseResult) interval(s *spread, f function) (se, low, high float64, doubt string) {
	nan := math.NaN()
	v := f(r, r.measured())
	switch {
	case math.IsNaN(v):
		return nan, nan, nan, "there is no value"
	case s == nil:
		return nan, nan, nan, "there is no noise to tell it from"
	case s.drawn != nil:
		return s.drawn.interval(r, f, v)
	}
	se, bias, doubt := r.stdErr(s, f)
	if v <= 0 { // a position in front of the trace's zero
		return se, v - bias - s.wide*se, v - bias + s.wide*se, doubt
	}
	return se, v * math.Exp((-bias-s.wide*se)/v), v * math.Exp((-bias+s.wide*se)/v), doubt
}

// closeness tells of each number with a limit whether the noise alone can decide
// the outcome; nothing if it cannot.
func (r PulseResult) closeness() string {
	var parts []string
	for _, c := range r.Checks {
		switch {
		case c.Outcome == NotChecked:
		case c.Doubt != "" && !math.IsNaN(c.Low):
			parts = append(parts, fmt.Sprintf("the interval of %s is not reliable: %s", c.Quantity, c.Doubt))
		case c.Close:
			d := Uncertainty{StdErr: (c.High - c.Low) / 4}.decimals()
			parts = append(parts, fmt.Sprintf("%s lies between %s and %s (95 %%) by the noise alone, and the outcome is not the same there", c.Quantity, number.Fixed(c.Low, d), number.Fixed(c.High, d)))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return strings.Join(parts, "; ") + "."
}

// Page lays the list out.
func (l Uncertainties) Page() page.Page {
	var p page.Page
	p.Heading("Uncertainty")
	if len(l) == 0 {
		p.NoResult(nil, "nothing has been evaluated.")
		return p
	}
	t := table.Table{RowHeaders: true, Columns: []table.Column{
		{Name: "quantity"}, {Name: "value", Right: true}, {Name: "unit"}, {Name: "standard error", Right: true},
		{Name: "95 % from", Right: true}, {Name: "to", Right: true}, {Name: "sampling", Right: true}, {Name: "reliable"}, {Name: "how"}}}
	var doubts []string
	for _, u := range l {
		reliable := "yes"
		if !u.Reliable() {
			reliable = "no"
			doubts = append(doubts, u.Title+": "+u.Doubt+".")
		}
		d := u.decimals()
		t.Add(u.Title, number.Fixed(u.Value, d), u.Unit, number.Significant(u.StdErr, 2), number.Fixed(u.Low, d), number.Fixed(u.High, d), number.Significant(u.Sampling, 1), reliable, u.How)
	}
	p.Table(t)
	p.List("Intervals that are not reliable", doubts)
	p.List("Cautions", []string{
		"The intervals hold the noise of this recording. Flow, sample and bed differ from run to run: only repeats tell how much.",
		"Sampling is the largest change by the distance of the samples. It is not in the interval; record more often where it is not small beside the standard error.",
		"The noise is that of the quiet stretches; noise that grows with the signal is not seen.",
	})
	return p
}

// String returns the page as text.
func (l Uncertainties) String() string { return l.Page().String() }
