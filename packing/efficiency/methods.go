package efficiency

import (
	"errors"
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// PlatesTangent returns the plate number by the width at the base, between the
// feet of the tangents at the points of inflection:
//
//	N = 16 (tR/wb)²
//
// with tR the time of the maximum and wb that width, both [s]. It holds for a
// Gaussian, whose tangents meet the baseline 4σ apart. It returns NaN unless
// both are positive.
//
// Source: L. S. Ettre, Pure Appl. Chem. 65 (1993) 819-872 (IUPAC).
func PlatesTangent(retention, base units.Time) float64 {
	return plates(16, float64(retention), float64(base))
}

// PlatesAreaHeight returns the plate number by area and height:
//
//	N = 2π (tR h/A)²
//
// with tR the time of the maximum [s], h the height in the signal's unit and A
// the area in that unit times seconds. It holds for a Gaussian. It returns NaN
// unless all are positive.
//
// Source: from the height of a Gaussian, A/(σ√(2π)), with N = (tR/σ)².
func PlatesAreaHeight(retention units.Time, height, area float64) float64 {
	if !(height > 0 && area > 0) {
		return math.NaN()
	}
	return plates(2*math.Pi, float64(retention), area/height)
}

// PlatesMoments returns the plate number by the first moment M1 and the standard
// deviation √M2 of the peak:
//
//	N = M1²/M2
//
// It holds for any shape, and depends on the limits of the moments. It returns
// NaN unless both are positive.
//
// Source: L. S. Ettre, Pure Appl. Chem. 65 (1993) 819-872 (IUPAC).
func PlatesMoments(mean, deviation units.Time) float64 {
	return plates(1, float64(mean), float64(deviation))
}

// A ModifiedGaussian is an exponentially modified Gaussian with the maximum and
// the widths of a peak at a tenth of its height, after Foley and Dorsey.
type ModifiedGaussian struct {
	// Plates is 41.7 (tR/w)²/(B/A + 1.25). It stands for tR²/M2, with tR the
	// time of the maximum; M1²/M2 is larger by (M1/tR)².
	Plates float64
	// Ratio is B/A, the longer part of the width over the shorter one.
	Ratio float64
	// Mirrored reports a peak that fronts: the numbers are those of its mirror
	// image, which has the same plates and variance.
	Mirrored bool
	// Sigma is the standard deviation of the Gaussian. Below a ratio of 1.09 it
	// is too low, by 4 % at 1.
	Sigma    units.Time
	Tau      units.Time // time constant of the exponential
	Centre   units.Time // of the Gaussian
	M1       units.Time // first moment
	Variance float64    // M2 [s²]
}

// foleyDorseyMost is the largest ratio that the formulas were made for.
const foleyDorseyMost = 2.76

// FoleyDorsey returns plates and parameters of an exponentially modified
// Gaussian from the time tR of the maximum and the two parts of the width w at
// a tenth of the height, A in front of it and B behind it, all [s]:
//
//	N  = 41.7 (tR/w)²/(B/A + 1.25)
//	σ  = w/(3.27 B/A + 1.2)
//	M2 = w²/(1.764 (B/A)² - 11.15 B/A + 28)
//	τ  = √(M2 - σ²)
//	tG = tR - σ(-0.193 (B/A)² + 1.162 B/A - 0.545)
//	M1 = tG + τ
//
// It holds for B/A from 1.00 to 2.76: N is then right to 1.5 %, and σ to 0.8 %
// from 1.09 on, as a test against exact peaks shows. A ratio below 1 is that of
// a peak that fronts: its mirror image is taken, and Mirrored says so. A ratio
// above 2.76, or below 1/2.76, is an error, as are times that are not positive.
//
// Source: J. P. Foley, J. G. Dorsey, Anal. Chem. 55 (1983) 730-737; the
// coefficients from memory, checked against exact peaks.
func FoleyDorsey(retention, front, back units.Time) (ModifiedGaussian, error) {
	if !(retention > 0 && front > 0 && back > 0) {
		return ModifiedGaussian{}, fmt.Errorf("retention %v and widths %v and %v in front and behind: all three must be positive", retention, front, back)
	}
	g := foleyDorsey(float64(retention), float64(front), float64(back))
	if g.Ratio > foleyDorseyMost {
		return ModifiedGaussian{}, fmt.Errorf("the parts of the width at 10 %% stand as %.2f to 1; the formulas of Foley and Dorsey hold up to %v: use moments or a fit", g.Ratio, foleyDorseyMost)
	}
	return g, nil
}

func foleyDorsey(tr, a, b float64) ModifiedGaussian {
	mirror := 1.0
	if b < a {
		a, b, mirror = b, a, -1
	}
	w, q := a+b, b/a
	sigma := w / (3.27*q + 1.2)
	m2 := w * w / (1.764*q*q - 11.15*q + 28)
	tau := math.Sqrt(m2 - sigma*sigma)
	centre := tr - mirror*sigma*(-0.193*q*q+1.162*q-0.545)
	return ModifiedGaussian{
		Plates: 41.7 * (tr / w) * (tr / w) / (q + 1.25), Ratio: q, Mirrored: mirror < 0,
		Sigma: units.Time(sigma), Tau: units.Time(tau), Centre: units.Time(centre),
		M1: units.Time(centre + mirror*tau), Variance: m2,
	}
}

// A Method is one plate number of a peak.
type Method struct {
	Name    string // as that of its calculation
	Title   string
	Formula string
	// Plates and what follows from it; NaN where the method does not apply.
	Plates             float64
	PlatesPerMetre     float64
	HETP               units.Length
	ReducedPlateHeight float64
	Why                string // why it differs from the others
	Refusal            error  // why there is no number, or nil
}

// Methods are all plate numbers of one peak, side by side.
type Methods struct {
	List []Method
	// What they are to be read with.
	Asymmetry float64
	Velocity  units.Velocity
	Quote     string // which to quote
	heading   string
	refused   error
}

var errNothing = errors.New("nothing has been evaluated")

// ready returns why there is nothing to work with, or nil.
func (r PulseResult) ready() error {
	switch {
	case r.Refusal != nil:
		return r.Refusal
	case r.Plates == 0:
		return errNothing
	}
	return nil
}

// errMarker is why an excluded marker has no plates.
var errMarker = errors.New("an excluded marker stays between the beads: it gives the void and no plates; test with a tracer that enters the beads")

// plated is ready for what needs plates.
func (r PulseResult) plated() error {
	if err := r.ready(); err != nil {
		return err
	}
	if r.Pulse.Tracer.Kind == ExcludedMarker {
		return errMarker
	}
	return nil
}

// Methods returns the plate number by every method, with what each sees of the
// peak and which to quote.
func (r PulseResult) Methods() Methods {
	if err := r.plated(); err != nil {
		return Methods{heading: r.name(), refused: err}
	}
	m := Methods{Asymmetry: r.Asymmetry, Velocity: r.Velocity, heading: "Plate numbers: " + r.name()}
	add := func(name, title, formula string, n float64, refusal error, why string) {
		if refusal == nil && math.IsNaN(n) {
			refusal = errors.New("not available for this trace")
		}
		if refusal != nil {
			n = math.NaN()
		}
		height := r.Pulse.BedHeight / units.Length(n)
		m.List = append(m.List, Method{name, title, formula, n, n / r.Pulse.BedHeight.In(units.Metre), height, height.In(r.Bead), why, refusal})
	}
	add("Plates", "half height, pharmacopoeia", "5.54 (tR/w)²", r.Plates, nil, "8 ln 2 rounded, 0.09 % less. Sees the upper half only: blind to a tail")
	add("PlatesExact", "half height, Gaussian", "8 ln 2 (tR/w)²", r.PlatesExact, nil, "The same width with the exact factor")
	base, err := r.tangents()
	add("PlatesTangent", "tangents", "16 (tR/wb)²", r.plates(16, base.Width()), err, "Sees both flanks near 60 % of the height; nearly as blind to a tail")
	add("PlatesAreaHeight", "area and height", "2π (tR h/A)²", r.plates(2*math.Pi, r.Moments.Area/r.Height), nil, "The tail counts in the area, but only once")
	tenth, _, err := r.PlatesAtWidth(0.1)
	add("PlatesTenth", "width at 10 %", "8 ln 10 (tR/w)²", tenth, err, "Lower on the flank: sees the start of a tail")
	low, _, err := r.PlatesAtWidth(fiveSigma)
	add("PlatesFiveSigma", "width at 4.4 %", "25 (tR/w)²", low, err, "Five σ of a Gaussian: sees more of the tail, and of noise and baseline")
	g, err := r.FoleyDorsey()
	why := "Allows for a tail by b/a; stands for tR²/M2, not M1²/M2"
	if g.Mirrored {
		why += ". The peak fronts: made for its mirror image, so read it with care"
	}
	add("PlatesFoleyDorsey", "Foley and Dorsey", "41.7 (tR/w)²/(b/a+1.25)", g.Plates, err, why)
	e, err := r.EMG()
	why = "Every point of the peak through one model: least noise, blind to what the model has not, as a shoulder"
	if n := len(e.Warnings); err == nil && n > 0 {
		why += fmt.Sprintf(". Its fit is in doubt (%d): see EMG()", n)
	}
	add("PlatesEMG", "fit of a modified Gaussian", "(µ+τ)²/(σ²+τ²)", e.Plates.Value, err, why)
	add("PlatesMoments", "moments", "M1²/M2", r.PlatesMoments, nil, "Sees all of the peak, whatever its shape; depends most on baseline and limits, here "+r.Moments.Range.String())

	m.Quote = "Quote the one that your procedure names, with reduced plate height, asymmetry and velocity; never compare numbers of different methods. If it names none, half height by the pharmacopoeia is what most limits were set with (common practice, no source)."
	if above := r.Plates/r.PlatesMoments - 1; above > momentsApart {
		m.Quote += fmt.Sprintf(" Here half height gives %.0f %% more than moments: give both, or a limit on the asymmetry beside it.", 100*above)
	}
	return m
}

// fiveSigma is the height at which a Gaussian is five σ wide: the factor of its
// plates is 24.989, printed as 25.
const fiveSigma = 0.044

// plates returns factor (tR/w)² with a width on the trace's axis.
func (r PulseResult) plates(factor, w float64) float64 { return plates(factor, r.Apex.X, w) }

// tangents finds the tangents at the flanks.
func (r PulseResult) tangents() (trace.Tangents, error) {
	return r.calm.Tangents(r.Apex, r.PointsAboveHalfHeight/8)
}

// FoleyDorsey is [FoleyDorsey] of the peak.
func (r PulseResult) FoleyDorsey() (ModifiedGaussian, error) {
	if err := r.ready(); err != nil {
		return ModifiedGaussian{}, err
	}
	one := r.secondsPerUnit()
	return FoleyDorsey(r.Retention, units.Time(r.Tenth.Front(r.Apex)*one), units.Time(r.Tenth.Back(r.Apex)*one))
}

// secondsPerUnit returns how many seconds one unit of the trace's axis takes.
func (r PulseResult) secondsPerUnit() float64 {
	if r.Axis == trace.Volume {
		return float64(units.CubicMetre.PumpedAt(r.Pulse.Flow))
	}
	return 1
}

// PlatesAtWidth returns the plate number of a Gaussian by the width at any
// fraction of the height, and that width on the trace's axis. A fraction outside
// 0 to 1, and one to which the signal does not fall, is an error.
func (r PulseResult) PlatesAtWidth(fraction float64) (float64, trace.Width, error) {
	if err := r.ready(); err != nil {
		return math.NaN(), trace.Width{}, err
	}
	_, w, err := r.widthAt(fraction)
	if err != nil {
		return math.NaN(), w, err
	}
	if math.IsNaN(w.Width()) {
		return math.NaN(), w, fmt.Errorf("the signal does not fall to %.4g %% of the height on both sides", 100*fraction)
	}
	return r.plates(-8*math.Log(fraction), w.Width()), w, nil
}

// widthAt finds the width at a fraction near the peak, or in all of the trace if
// the signal does not fall so far there, and returns that part with it.
func (r PulseResult) widthAt(fraction float64) (trace.Trace, trace.Width, error) {
	w, err := r.calm.Width(r.Apex, fraction)
	if err != nil || !math.IsNaN(w.Width()) || r.calm.Len() == r.recorded.Len() {
		return r.calm, w, err
	}
	net, err := r.net()
	if err != nil {
		return r.calm, w, err
	}
	w, err = net.Width(net.Apex(r.reach()), fraction)
	return net, w, err
}

// Method returns one of the methods by the name of its calculation.
func (m Methods) Method(name string) (Method, error) {
	for _, one := range m.List {
		if one.Name == name {
			return one, nil
		}
	}
	if m.refused != nil {
		return Method{}, m.refused
	}
	return Method{}, fmt.Errorf("no method %q; there are Plates, PlatesExact, PlatesTangent, PlatesAreaHeight, PlatesTenth, PlatesFiveSigma, PlatesFoleyDorsey, PlatesEMG and PlatesMoments", name)
}

// with names what plates are read with.
func (m Methods) with() string {
	return fmt.Sprintf("asymmetry at 10 %% %s, at %v", number.Fixed(m.Asymmetry, 2), m.Velocity)
}

// Page shows the methods side by side.
func (m Methods) Page() page.Page {
	var p page.Page
	p.Heading(m.heading)
	if m.refused != nil || len(m.List) == 0 {
		p.NoResult(m.refused, "nothing has been evaluated.")
		return p
	}
	p.Text("To be read with: " + m.with() + ".")
	t := table.Table{Caption: "One peak, every method", RowHeaders: true, Columns: []table.Column{
		{Name: "method"}, {Name: "formula"}, {Name: "plates", Right: true}, {Name: "plates/m", Right: true},
		{Name: "HETP", Unit: "mm", Right: true}, {Name: "h", Right: true}, {Name: "what it sees"}}}
	for _, one := range m.List {
		why := one.Why
		if one.Refusal != nil {
			why = "No number: " + one.Refusal.Error()
		}
		t.Add(one.Title, one.Formula, number.Fixed(one.Plates, 0), number.Fixed(one.PlatesPerMetre, 0),
			number.Fixed(one.HETP.In(units.Millimetre), 3), number.Fixed(one.ReducedPlateHeight, 1), why)
	}
	p.Table(t)
	p.Notice("Which to quote:", m.Quote)
	return p
}

// errOf returns what a refusal says.
func errOf(err error) string {
	if err == nil {
		err = errNothing
	}
	return err.Error() + "."
}

// String returns the page as text.
func (m Methods) String() string { return m.Page().String() }

// A MomentLimit is what the moments are between the crossings of one fraction
// of the height.
type MomentLimit struct {
	Fraction float64 // of the height; 0: the range that the result reports
	Moments  trace.Moments
	Plates   float64 // M1²/M2; NaN if not available
	Refusal  error
}

// MomentLimits shows how plates by moments depend on the limits.
type MomentLimits struct {
	List               []MomentLimit
	Asymmetry          float64
	ReducedPlateHeight float64 // by half height
	Velocity           units.Velocity
	axis               trace.Axis
	heading            string
	refused            error
}

// MomentLimits takes the moments between the crossings of 0.1, 1, 5 and 10 % of
// the height and within the range that the result reports.
func (r PulseResult) MomentLimits() MomentLimits {
	l := MomentLimits{heading: "Moments and their limits: " + r.name()}
	if l.refused = r.plated(); l.refused != nil {
		return l
	}
	l.Asymmetry, l.ReducedPlateHeight, l.Velocity, l.axis = r.Asymmetry, r.ReducedPlateHeight, r.Velocity, r.Axis
	l.List = []MomentLimit{{Moments: r.Moments, Plates: r.PlatesMoments}}
	for _, f := range []float64{0.001, 0.01, 0.05, 0.1} {
		one := MomentLimit{Fraction: f, Plates: math.NaN()}
		if one.Moments, one.Refusal = r.MomentsAt(f); one.Refusal == nil {
			one.Plates = one.Moments.Mean * one.Moments.Mean / one.Moments.Variance
		}
		l.List = append(l.List, one)
	}
	return l
}

// MomentsAt takes the moments of the peak between the crossings of a fraction of
// its height that stand next to the apex. A fraction outside 0 to 1, and one to
// which the signal does not fall on both sides, is an error.
func (r PulseResult) MomentsAt(fraction float64) (trace.Moments, error) {
	if err := r.plated(); err != nil {
		return trace.Moments{}, err
	}
	part, w, err := r.widthAt(fraction)
	if err != nil {
		return trace.Moments{}, err
	}
	limits := trace.Range{Axis: r.Axis, From: w.InnerLeft, To: w.InnerRight}
	if math.IsNaN(limits.To - limits.From) {
		return trace.Moments{}, fmt.Errorf("the signal does not fall to %.4g %% of the height on both sides", 100*fraction)
	}
	return part.Moments(limits)
}

// Page shows the table.
func (l MomentLimits) Page() page.Page {
	var p page.Page
	p.Heading(l.heading)
	if l.refused != nil || len(l.List) == 0 {
		p.NoResult(l.refused, "nothing has been evaluated.")
		return p
	}
	p.Text(fmt.Sprintf("The narrower the limits, the more of the tail is cut off and the more plates there seem to be. To be read with: reduced plate height by half height %s, asymmetry at 10 %% %s, at %v.",
		number.Fixed(l.ReducedPlateHeight, 1), number.Fixed(l.Asymmetry, 2), l.Velocity))
	t := table.Table{Caption: "Plates by moments", RowHeaders: true, Columns: []table.Column{
		{Name: "limits at"}, {Name: "from"}, {Name: "to"}, {Name: "M1"}, {Name: "standard deviation"}, {Name: "plates", Right: true}}}
	for _, one := range l.List {
		name := fmt.Sprintf("%v %%", 100*one.Fraction)
		if one.Fraction == 0 {
			name = "as reported"
		}
		if one.Refusal != nil {
			t.Add(name, one.Refusal.Error())
			continue
		}
		m := one.Moments
		t.Add(name, l.axis.Show(m.Range.From), l.axis.Show(m.Range.To), l.axis.Show(m.Mean), l.axis.Show(math.Sqrt(m.Variance)), number.Fixed(one.Plates, 0))
	}
	p.Table(t)
	return p
}

// String returns the page as text.
func (l MomentLimits) String() string { return l.Page().String() }
