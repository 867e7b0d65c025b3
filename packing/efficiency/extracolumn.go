package efficiency

import (
	"errors"
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// An ExtraColumn is what tubing, valves, end pieces and detector do to a peak
// without the column. Measure it with a joint of no volume in the column's
// place, at the flow of the test: [MeasureExtraColumn] takes it from the trace.
// It is not estimated from the tubing: the formulas for tubes hold for slow
// flows only.
type ExtraColumn struct {
	// Volume is the mean of the peak, its first moment, from the start of the
	// sample: the extra-column volume.
	Volume units.Volume
	// Deviation is the peak's standard deviation, the root of its variance.
	Deviation units.Volume
	// SampleVolume is that of this measurement. Its own half and its own width
	// are in both numbers and are taken out of them.
	SampleVolume units.Volume
}

// check refuses what no system has.
func (e ExtraColumn) check() error {
	if !(e.Volume >= 0 && e.Deviation >= 0 && e.SampleVolume >= 0) || math.IsInf(float64(e.Volume+e.Deviation+e.SampleVolume), 0) {
		return &packing.InputError{What: fmt.Sprintf("extra-column volume %v, deviation %v, sample %v", e.Volume, e.Deviation, e.SampleVolume),
			Problem: "none of them can be negative", Remedy: "measure them with a joint of no volume in the column's place"}
	}
	if own := float64(e.SampleVolume) / math.Sqrt(12); own > float64(e.Deviation) || e.SampleVolume/2 > e.Volume {
		return &packing.InputError{What: fmt.Sprintf("extra-column volume %v with a deviation of %v", e.Volume, e.Deviation),
			Problem: fmt.Sprintf("a sample of %v alone comes to half of that and a deviation of %v", e.SampleVolume, units.Volume(own)),
			Remedy:  "give the sample volume of that measurement, and its time from the start of the sample"}
	}
	return nil
}

// system returns mean and variance without the sample's own.
func (e ExtraColumn) system() (mean, variance float64) {
	v := float64(e.SampleVolume)
	return float64(e.Volume) - v/2, float64(e.Deviation)*float64(e.Deviation) - v*v/12
}

// MeasureExtraColumn returns the extra-column volume and deviation from the
// trace of a test with a joint of no volume in the column's place: the moments
// of its peak between one width at 5 % in front of it and one behind it, with
// the baseline between quiet stretches. It counts from the one event that says
// injection or sample, or else from the trace's zero, as [Pulse] does. Flow makes volumes of times; it is not used for a trace against
// volume.
func MeasureExtraColumn(tr trace.Trace, flow units.VolumeFlow, sample units.Volume) (ExtraColumn, error) {
	if tr.Axis() == trace.Time && !(flow > 0) {
		return ExtraColumn{}, &packing.InputError{What: fmt.Sprintf("flow %v", flow), Problem: "a trace against time needs it to make volumes", Remedy: "give the flow of the test"}
	}
	o, err := Zero{}.of(tr, sampleStart, flow, sample)
	if err != nil {
		return ExtraColumn{}, err
	}
	if tr, err = o.moved(tr, false); err != nil {
		return ExtraColumn{}, err
	}
	line, err := tr.BaselineUnder(trace.Baseline{})
	if err != nil {
		return ExtraColumn{}, err
	}
	net := tr.Minus(line)
	w, err := net.Width(net.Apex(1), lowestCrossing)
	if err != nil {
		return ExtraColumn{}, err
	}
	if math.IsNaN(w.Width()) {
		return ExtraColumn{}, fmt.Errorf("trace %q does not fall to 5 %% of its peak's height on both sides; record the whole peak", tr.Name)
	}
	span := net.Span()
	m, err := net.Moments(trace.Range{Axis: tr.Axis(), From: math.Max(span.From, w.Left-w.Width()), To: math.Min(span.To, w.Right+w.Width())})
	if err != nil {
		return ExtraColumn{}, err
	}
	one := 1.0
	if tr.Axis() == trace.Time {
		one = float64(flow)
	}
	e := ExtraColumn{units.Volume(m.Mean * one), units.Volume(math.Sqrt(m.Variance) * one), sample}
	return e, e.check()
}

// CorrectedPlates returns the plate number of the column alone:
//
//	N = (V - Ve)²/(σ² - σe²)
//
// with V the first moment and σ the standard deviation of the observed peak and
// Ve and σe those of what is not the column: means add, and so do variances. It
// can be less than (V/σ)². If σe is not below σ, or Ve not below V, it is an
// error: the column cannot be told from the rest.
//
// Source: the variance of a sum of independent steps.
func CorrectedPlates(mean, deviation, extra, extraDeviation units.Volume) (float64, error) {
	v, s := float64(mean-extra), float64(deviation)*float64(deviation)-float64(extraDeviation)*float64(extraDeviation)
	switch {
	case !(mean > 0 && deviation > 0 && extra >= 0 && extraDeviation >= 0):
		return math.NaN(), fmt.Errorf("mean %v with deviation %v, outside the column %v with %v: they cannot be negative, and the peak's must be positive", mean, deviation, extra, extraDeviation)
	case !(s > 0):
		return math.NaN(), fmt.Errorf("what is not the column has a deviation of %v, the whole peak %v: the column's own width cannot be told; test with less tubing, a faster detector or a smaller sample", extraDeviation, deviation)
	case !(v > 0):
		return math.NaN(), fmt.Errorf("what is not the column holds %v, and the peak comes after %v: check where the zero of both traces is", extra, mean)
	}
	return v * v / s, nil
}

// A CorrectedMethod is one plate number with and without what is not the column.
type CorrectedMethod struct {
	Title              string
	Mean, Deviation    units.Volume // observed
	Observed           float64      // plates as observed
	Plates             float64      // of the column alone
	PlatesPerMetre     float64
	HETP               units.Length
	ReducedPlateHeight float64
}

// A Correction is the test corrected for the system outside the column and for
// the sample's own width. It stands beside the observed numbers.
type Correction struct {
	// Shift is how much later the peak comes because of system and sample, Taken
	// their variance on the trace's axis.
	Shift units.Volume
	Taken float64
	// System and Sample are the parts of both.
	System, Sample CorrectionPart
	List           []CorrectedMethod
	Asymmetry      float64
	Velocity       units.Velocity
	heading        string
	refused        error
}

// A CorrectionPart is one of the things that are not the column.
type CorrectionPart struct {
	Mean, Deviation units.Volume
	Share           float64 // of the observed variance M2
}

// Corrected takes the mean and the variance of the system outside the column
// ([Pulse.ExtraColumn]) and of the sample, V/2 and V²/12 for a plug, off the
// observed ones. It does so for two widths only: the moments, to which it
// applies as it stands, and the width at half height, whose variance w²/(8 ln 2)
// is that of a Gaussian. Tangents, asymmetry and the rest are not corrected: no
// sum of variances says what becomes of them.
//
// With neither an extra-column volume nor a sample volume, and where the column
// cannot be told from the rest, it is an error.
func (r PulseResult) Corrected() (Correction, error) {
	c := Correction{heading: "Without system and sample: " + r.name()}
	if c.refused = r.corrected(&c); c.refused != nil {
		return c, c.refused
	}
	return c, nil
}

func (r PulseResult) corrected(c *Correction) error {
	if err := r.plated(); err != nil {
		return err
	}
	v := float64(r.Pulse.SampleVolume)
	if v == 0 && r.Pulse.ExtraColumn == (ExtraColumn{}) {
		return errors.New("neither SampleVolume nor ExtraColumn is given; there is nothing to correct for")
	}
	if math.IsNaN(r.Moments.Variance) {
		return errors.New("the moments of the peak are not available; set Baseline to quiet stretches next to the peak")
	}
	one := r.cubicMetresPerUnit()
	mean, variance := r.Pulse.ExtraColumn.system()
	observed := r.Moments.Variance * one * one
	c.System = CorrectionPart{units.Volume(mean), units.Volume(math.Sqrt(variance)), variance / observed}
	c.Sample = CorrectionPart{units.Volume(v / 2), units.Volume(v / math.Sqrt(12)), v * v / 12 / observed}
	c.Shift = c.System.Mean + c.Sample.Mean
	variance += v * v / 12
	c.Taken = variance / one / one
	c.Asymmetry, c.Velocity = r.Asymmetry, r.Velocity
	for _, m := range []CorrectedMethod{
		{Title: "moments", Mean: units.Volume(r.Moments.Mean * one), Deviation: units.Volume(math.Sqrt(observed)), Observed: r.PlatesMoments},
		{Title: "half height, as of a Gaussian (8 ln 2)", Mean: units.Volume(r.Apex.X * one), Deviation: units.Volume(r.Half.Width() / gaussianWidth * one), Observed: r.PlatesExact},
	} {
		var err error
		if m.Plates, err = CorrectedPlates(m.Mean, m.Deviation, c.Shift, units.Volume(math.Sqrt(variance))); err != nil {
			return fmt.Errorf("%s: %w", m.Title, err)
		}
		m.PlatesPerMetre = m.Plates / r.Pulse.BedHeight.In(units.Metre)
		m.HETP = r.Pulse.BedHeight / units.Length(m.Plates)
		m.ReducedPlateHeight = m.HETP.In(r.Bead)
		c.List = append(c.List, m)
	}
	return nil
}

// cubicMetresPerUnit returns the volume that passes in one unit of the axis.
func (r PulseResult) cubicMetresPerUnit() float64 {
	if r.Axis == trace.Time {
		return float64(r.Pulse.Flow)
	}
	return 1
}

// Page shows both numbers side by side.
func (c Correction) Page() page.Page {
	var p page.Page
	p.Heading(c.heading)
	if c.refused != nil || len(c.List) == 0 {
		p.NoResult(c.refused, "nothing has been evaluated.")
		return p
	}
	p.Text(fmt.Sprintf("The column alone, beside what was observed. Asymmetry at 10 %% %s, as observed, at %v.", number.Fixed(c.Asymmetry, 2), c.Velocity))
	t := table.Table{Caption: "Plates of the column alone", RowHeaders: true, Columns: []table.Column{
		{Name: "method"}, {Name: "observed", Right: true}, {Name: "corrected", Right: true}, {Name: "plates/m", Right: true},
		{Name: "HETP", Unit: "mm", Right: true}, {Name: "h", Right: true}}}
	for _, m := range c.List {
		t.Add(m.Title, number.Fixed(m.Observed, 0), number.Fixed(m.Plates, 0), number.Fixed(m.PlatesPerMetre, 0), number.Fixed(m.HETP.In(units.Millimetre), 3), number.Fixed(m.ReducedPlateHeight, 1))
	}
	p.Table(t)
	t = table.Table{Caption: "What was taken off", RowHeaders: true, Columns: []table.Column{
		{Name: "part"}, {Name: "mean"}, {Name: "standard deviation"}, {Name: "of the observed variance", Right: true}}}
	for _, part := range []struct {
		name string
		CorrectionPart
	}{{"system outside the column", c.System}, {"sample, V/2 and V²/12", c.Sample}} {
		if part.Mean == 0 && part.Deviation == 0 {
			t.Add(part.name, "not given")
			continue
		}
		t.Add(part.name, part.Mean.String(), part.Deviation.String(), percentage(part.Share))
	}
	p.Table(t)
	return p
}

// String returns the page as text.
func (c Correction) String() string { return c.Page().String() }
