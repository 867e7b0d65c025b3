package efficiency

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// A Pulse is a pulse test: a small sample of a tracer that does not bind runs
// through the packed column, and a detector behind it records the peak. Column,
// BedHeight, Flow and a mean bead diameter must be given.
type Pulse struct {
	Column       packing.Column
	BedHeight    units.Length
	Flow         units.VolumeFlow
	SampleVolume units.Volume      // zero: not given, its part in the width is not checked
	Tracer       Tracer            // what the sample is made of; zero: not given, and not checked
	Medium       packing.Medium    // its mean bead makes the reduced plate height
	MeanBead     units.Length      // in place of the medium's
	Temperature  units.Temperature // for the report; zero: not given
	Direction    Direction         // of the flow through the bed, for the report
	Purpose      string            // why the test is made, one of [Purposes]; empty: not given
	Limits       Limits

	// Recipe is how the test was to be run; zero: not given. The result says what was
	// done otherwise.
	Recipe Recipe
	// Zero is from where the test counts; zero: from the one event of the record
	// that says injection or sample, or else from the trace's own zero.
	Zero Zero
	// RetentionError is one relative standard error of the retention in column
	// volumes, of flow, bed height and diameter together. Zero: 2.5 %, which is
	// 2 % of flow, 1 % of height and 0.3 % of diameter.
	RetentionError units.Fraction
	// Void is the part of the packed bed between the beads: nothing can come
	// earlier. Zero: 0.28 (common practice, no source).
	Void float64

	// ExtraColumn is what the system adds without the column; zero: not given.
	// [PulseResult.Corrected] takes it off, beside the numbers and never in
	// their place.
	ExtraColumn ExtraColumn

	// Search is the stretch of the trace in which the peak is looked for;
	// zero: all of it.
	Search trace.Range
	// Baseline is the line under the peak; zero: between the ends of the trace.
	Baseline trace.Baseline
	// Smoothing is done before apex, widths and moments are measured.
	Smoothing Smoothing
	// MomentRange is from where to where the moments are taken; zero: from one
	// width at 5 % in front of the peak to one behind it.
	MomentRange trace.Range
	// Bootstrap takes the uncertainty from resampled traces; zero: from the
	// first order, which is quick.
	Bootstrap Bootstrap
}

// A Smoothing is a moving quadratic after Savitzky and Golay.
type Smoothing struct {
	// Window is its number of points, odd. Zero: a fifth of the width at half
	// height, which lowers the peak by about 0.01 %. One: none.
	Window int
	// PeakOnly smooths, and looks for crossings, only near the peak: within
	// four times its width at half height.
	PeakOnly bool
}

// check refuses a window that has no middle.
func (s Smoothing) check() error {
	if w := s.Window; w < 0 || w > 1 && w%2 == 0 {
		return fmt.Errorf("smoothing window of %d points; use an odd number, or 1 for no smoothing", w)
	}
	return nil
}

// A Direction is that of the flow through the bed. Test in the one that the
// column is used in.
type Direction int

// The directions.
const (
	DirectionNotGiven Direction = iota
	Downflow
	Upflow
)

// String writes the direction in words.
func (d Direction) String() string {
	switch d {
	case Downflow:
		return "downflow"
	case Upflow:
		return "upflow"
	}
	return "not given"
}

// A PulseResult is what a pulse test says about a packed column.
//
// Read plates with reduced plate height, asymmetry and velocity. More is worked
// out when it is asked for: [PulseResult.Methods] and [PulseResult.MomentLimits]
// for other plate numbers, [PulseResult.Shape], [PulseResult.SignalToNoise],
// [PulseResult.Corrected], [PulseResult.Separation].
type PulseResult struct {
	Refusal  error // why there are no numbers, or nil
	Pulse    Pulse
	Signal   string // name of the trace
	Unit     string // of its values
	File     string // it came from
	Bead     units.Length
	Velocity units.Velocity // superficial

	// CountedFrom says from where the test counts, "Injection at 3.2 L", and ZeroAt is
	// that place on the axis of the trace as it was given, in seconds or cubic metres.
	CountedFrom string
	ZeroAt      float64

	// The peak. Retention counts from the start of the sample.
	Retention       units.Time
	RetentionVolume units.Volume
	ColumnVolumes   float64 // the retention volume in column volumes
	// NetRetention is that less the hold-up outside the column, if ExtraColumn gives
	// it, and less half the sample: what tracer and bed make of it.
	NetRetention float64
	Height       float64 // above the baseline, in the signal's unit

	Plates             float64 // 5.54 (tR/w)², pharmacopoeia
	PlatesExact        float64 // 8 ln 2 (tR/w)²
	PlatesMoments      float64 // M1²/M2
	PlatesPerMetre     float64 // of Plates
	HETP               units.Length
	ReducedPlateHeight float64
	Asymmetry          float64 // b/a at 10 %
	SymmetryFactor     float64 // w/(2a) at 5 %; NaN if the trace does not fall so far

	// One standard error from the noise of the signal; NaN where there is no
	// noise to tell it from. What the test does to the number if it is repeated
	// (flow, sample, bed) is not in it. Uncertainty has those of all numbers,
	// with intervals.
	PlatesPerMetreStdErr, ReducedPlateHeightStdErr, AsymmetryStdErr, SymmetryFactorStdErr float64

	// How it was measured, in the units of the trace's axis. The index of the
	// apex counts in the part near the peak.
	Axis                  trace.Axis
	Apex                  trace.Apex
	Half, Tenth, Fifth    trace.Width // at 50, 10 and 5 % of the height
	Moments               trace.Moments
	Baseline              trace.Line
	SmoothingWindow       int
	PointsAboveHalfHeight int
	Form                  Form // of the whole record

	Checks []Check
	// RetentionCheck is NetRetention against what is possible and what the user
	// states for the tracer.
	RetentionCheck Check
	Verdict        Outcome // of all limits that were given
	Warnings       []Warning

	recorded trace.Trace // the peak pointing up
	calm     trace.Trace // less the baseline and smoothed, near the peak or more
	down     bool        // the peak points down in the trace
	volume   units.Volume
	spread   *spread // nil if there is no noise to tell
	origin   origin
	flows    []flowSeen
	// What was given on the trace's axis, counted from the start of the sample.
	search, moments trace.Range
	baseline        trace.Baseline
}

// The bounds of the warnings. Common practice, no source.
const (
	nearPeak                    = 4        // widths at half height, on both sides
	mostDown                    = 0.5      // of the height, below the baseline
	leastVelocity, mostVelocity = 15, 30   // cm/h, usual for a pulse test
	mostPlatesLost              = 0.05     // to the sample's own width
	mostSample                  = 0.03     // of the column volume
	mostSampleOff               = 0.10     // of the sample, between its volume and its start and end
	fewPoints, tooFewPoints     = 20, 7    // above half height
	leastSignalToNoise          = 10.0     // below: no peak
	goodSignalToNoise           = 20.0     // below: a doubt
	mostDrift                   = 0.02     // of the height, under the peak
	halfPeak                    = 0.50     // of the height, under one that points down: no peak
	leastRoom                   = 2.0      // widths at half height on both sides of the apex
	leastReduced, mostReduced   = 1.8, 6.0 // plate height that beds reach
	momentsApart                = 0.15     // plates by moments below those by half height
	flatTop                     = 0.15     // of the half-height width
	secondApex                  = 0.02     // of the height
	peaksApart                  = 0.9      // of the height: with the baseline between them
	crossingsApart              = 0.02     // of the width
	drowns                      = 4.5      // times the smoothed noise, at a crossing
	unevenStep                  = 3.0      // times the mean
	mostLowered                 = 0.005    // of the height, by smoothing
	mostExtra                   = 0.10     // of the variance, from outside the column
)

// Evaluate measures the peak of a trace and judges it. The largest peak counts;
// one that points down is turned over, with a warning. A trace without a peak,
// one whose peak was not recorded whole, does not fall to a tenth of its height
// on both sides or stands before the trace's zero, and inputs that cannot be are
// errors; the result then has the error as Refusal, and shows it.
func (p Pulse) Evaluate(tr trace.Trace) (PulseResult, error) {
	r, err := p.evaluate(tr)
	if err != nil {
		return PulseResult{Pulse: p, Refusal: err}, err
	}
	return r, nil
}

func (p Pulse) evaluate(tr trace.Trace) (PulseResult, error) {
	r, err := p.start(tr)
	if err != nil {
		return PulseResult{}, err
	}
	whole := tr
	if tr, err = r.locate(tr); err != nil {
		return PulseResult{}, err
	}
	if err := r.measure(tr); err != nil {
		return PulseResult{}, r.orBehind(whole, err)
	}
	r.numbers()
	r.flows = flows(tr, 0, r.Tenth.Right, p.Flow)
	if err := r.errors(); err != nil {
		return PulseResult{}, err
	}
	r.doubts(tr)
	r.judge()
	return r, nil
}

// start checks the inputs and works out what needs no trace.
func (p Pulse) start(tr trace.Trace) (PulseResult, error) {
	if err := p.Column.Check(); err != nil {
		return PulseResult{}, err
	}
	if err := packing.CheckBedHeight(p.BedHeight); err != nil {
		return PulseResult{}, err
	}
	u, err := p.Column.Velocity(p.Flow), checkFlow("the pulse test", p.Flow, p.Column)
	if err != nil {
		return PulseResult{}, err
	}
	bead, err := meanBead(p.MeanBead, p.Medium)
	if err != nil {
		return PulseResult{}, err
	}
	volume := p.Column.Volume(p.BedHeight)
	if !(p.SampleVolume >= 0) {
		return PulseResult{}, &packing.InputError{What: "sample volume " + p.SampleVolume.String(),
			Problem: "it must be above zero, or left out", Remedy: "write for example 127 * Millilitre"}
	}
	if p.SampleVolume >= volume {
		return PulseResult{}, &packing.InputError{What: "sample volume " + p.SampleVolume.String(),
			Problem: "a pulse needs less than one column volume, " + volume.String(), Remedy: "write for example 127 * Millilitre"}
	}
	if p.Temperature != 0 {
		if err := packing.CheckTemperature("temperature", p.Temperature); err != nil {
			return PulseResult{}, err
		}
	}
	if p.Direction < DirectionNotGiven || p.Direction > Upflow {
		return PulseResult{}, &packing.InputError{What: fmt.Sprintf("direction of flow %d", int(p.Direction)), Problem: "not known",
			Remedy: "use efficiency.Downflow or efficiency.Upflow"}
	}
	if err := p.ExtraColumn.check(); err != nil {
		return PulseResult{}, err
	}
	if err := p.Tracer.check(); err != nil {
		return PulseResult{}, err
	}
	if err := p.Recipe.check(); err != nil {
		return PulseResult{}, err
	}
	if err := checkPurpose(p.Purpose); err != nil {
		return PulseResult{}, err
	}
	if !(p.RetentionError >= 0 && p.RetentionError < 0.5) {
		return PulseResult{}, &packing.InputError{What: "error of the retention " + p.RetentionError.String(), Problem: "it is one relative standard error, below 50 %", Remedy: "write for example 1.5 * Percent, or leave it out for 2.5 %"}
	}
	if !(p.Void >= 0 && p.Void < 1) {
		return PulseResult{}, &packing.InputError{What: fmt.Sprintf("void of the packed bed %v", p.Void), Problem: "it must be between 0 and 1", Remedy: "write for example 0.35, or leave it out"}
	}
	if err := p.Limits.check(); err != nil {
		return PulseResult{}, err
	}
	if err := p.Bootstrap.check(); err != nil {
		return PulseResult{}, err
	}
	if tr.Len() < 8 {
		return PulseResult{}, fmt.Errorf("trace %q has %d points; a peak cannot be measured in fewer than 8", tr.Name, tr.Len())
	}
	return PulseResult{Pulse: p, Signal: tr.Name, Unit: tr.Unit, File: tr.From, Bead: bead, Velocity: u, Axis: tr.Axis(), volume: volume}, nil
}

// locate moves the trace's zero to the start of the sample, and with it what was
// given on its axis.
func (r *PulseResult) locate(tr trace.Trace) (trace.Trace, error) {
	p := r.Pulse
	o, err := p.Zero.of(tr, sampleStart, p.Flow, p.SampleVolume)
	if err != nil {
		return trace.Trace{}, err
	}
	r.origin, r.CountedFrom, r.ZeroAt = o, o.from, o.at
	r.search, r.moments, r.baseline = o.own(p.Search), o.own(p.MomentRange), p.Baseline
	r.baseline.Before, r.baseline.After = o.own(p.Baseline.Before), o.own(p.Baseline.After)
	inFront := func(g trace.Range) bool { return !g.IsZero() && g.From < 0 }
	return o.moved(tr, inFront(r.search) || inFront(r.moments) || inFront(r.baseline.Before))
}

// behind is the refusal of a test whose zero lies behind its peak.
func (r *PulseResult) behind(peak float64) error {
	return fmt.Errorf("trace %q has its peak at %s, before the sample can be there: the zero of the test, %s, lies behind the peak; say where the sample starts with Zero: efficiency.Zero{%s}, or set Search to the peak of this sample",
		r.Signal, r.Axis.Show(peak), r.CountedFrom, example(r.Axis))
}

// orBehind returns the refusal of a trace that was cut at the start of the sample,
// or says that its peak lies in front of that.
func (r *PulseResult) orBehind(whole trace.Trace, refusal error) error {
	if !r.origin.event || !r.search.IsZero() {
		return refusal
	}
	line, err := whole.BaselineUnder(trace.Baseline{})
	if err != nil {
		return refusal
	}
	low, high := whole.ExtremesOver(line)
	x0, y0 := whole.XY(low)
	x1, y1 := whole.XY(high)
	if line.At(x0)-y0 > y1-line.At(x1) {
		x1 = x0
	}
	if x1 >= r.ZeroAt {
		return refusal
	}
	return r.behind(x1)
}

// meanBead returns the bead that was given, or the medium's, and refuses what is
// none.
func meanBead(given units.Length, m packing.Medium) (units.Length, error) {
	bead := given
	if bead == 0 {
		bead = m.MeanBead
	}
	if !(bead > 0 && bead < 5*units.Millimetre) {
		return 0, &packing.InputError{What: "mean bead " + bead.String(), Problem: "no bead that a reduced plate height can be taken from",
			Remedy: "give Medium, or MeanBead: 90 * Micrometre; plates are not shown without it"}
	}
	return bead, nil
}

// flowRemedy is how a flow is given.
const flowRemedy = "write for example Flow: 21.2 * LitrePerHour"

// checkFlow refuses a flow through a column that no test has.
func checkFlow(test string, flow units.VolumeFlow, c packing.Column) error {
	if !(flow > 0) {
		return &packing.InputError{What: "flow of " + test + " " + flow.String(), Problem: "it was not given, or is not above zero", Remedy: flowRemedy}
	}
	return packing.CheckVelocity("velocity of "+test+", from Flow and the column's diameter,", c.Velocity(flow))
}

// measure takes the baseline away, smooths, and finds apex, widths and moments.
func (r *PulseResult) measure(tr trace.Trace) error {
	if search := r.search; !search.IsZero() {
		part, err := tr.Within(search)
		if err != nil {
			return err
		}
		tr = part
	}
	if err := r.prepare(tr); err != nil {
		return err
	}
	if err := r.findPeak(); err != nil {
		return err
	}
	return r.takeMoments()
}

// noPeak is the refusal of a trace in which no peak can be measured.
func (r PulseResult) noPeak(why string) error {
	return fmt.Errorf("trace %q has no peak: %s; check that it is the right signal, that the sample went in, and that the recording is long enough", r.Signal, why)
}

// prepare takes the baseline away, turns a peak that points down over, and
// smooths.
func (r *PulseResult) prepare(tr trace.Trace) error {
	line, err := tr.BaselineUnder(r.baseline)
	if err != nil {
		return err
	}
	low, high := tr.ExtremesOver(line)
	if line.At(position(&tr, low))-value(&tr, low) > value(&tr, high)-line.At(position(&tr, high)) {
		tr, line = tr.Flipped(), line.Flipped()
		low, high, r.down = high, low, true
		r.warn(kindDirection, "The peak points down and was turned over", "Check that this is the right signal; a sample of less salt than the buffer gives such a peak in conductivity")
	}
	r.Baseline, r.recorded = line, tr
	above := func(i int) float64 {
		x, y := tr.XY(i)
		return y - line.At(x)
	}
	height := above(high)
	if !(height > 0) {
		return r.noPeak("nothing stands above the baseline")
	}
	if high == 0 || high == tr.Len()-1 {
		return r.noPeak(fmt.Sprintf("its highest point, %s, is at the end of the trace", r.Axis.Show(position(&tr, high))))
	}
	if down := -above(low); down > mostDown*height && down > leastSignalToNoise*line.Noise {
		return r.noPeak(fmt.Sprintf("it goes %.2g above and %.2g below its baseline, as a step does, or a peak that was not recorded whole", height, down))
	}

	// A first look at the width. Noise may make it too narrow, which smooths
	// less.
	i, j := high, high
	for i > 0 && 2*above(i) >= height {
		i--
	}
	for j < tr.Len()-1 && 2*above(j) >= height {
		j++
	}
	r.SmoothingWindow = r.Pulse.Smoothing.Window
	if r.SmoothingWindow == 0 {
		r.SmoothingWindow = 1
		if points := (j - i) / 5; points >= 5 {
			r.SmoothingWindow = points/2*2 + 1
		}
	}
	reach := nearPeak*(j-i) + r.SmoothingWindow
	near := trace.Range{Axis: r.Axis, From: position(&tr, max(0, high-reach)), To: position(&tr, min(tr.Len()-1, high+reach))}
	if r.Pulse.Smoothing.PeakOnly {
		part, err := tr.Within(near)
		if err != nil {
			return err
		}
		if r.calm, err = part.Net(line, r.SmoothingWindow, trace.Range{}); err != nil {
			return err
		}
		r.Apex = r.calm.Apex(r.reach())
		return nil
	}
	if head, limit := r.quietBehind(near); limit < lowestCrossing*height {
		if err := r.smoothNear(head, near); err == nil && limit < lowestCrossing*r.Apex.Height {
			return nil
		}
	}
	return r.smoothNear(tr, near)
}

// smoothNear keeps what is near the peak, smoothed; all of the trace if something
// stands elsewhere in tr too.
func (r *PulseResult) smoothNear(tr trace.Trace, near trace.Range) error {
	part, front, back, err := tr.NetWithin(r.Baseline, r.SmoothingWindow, near)
	if err != nil {
		return err
	}
	r.calm, r.Apex = part, part.Apex(r.reach())
	if math.Max(front, back) >= lowestCrossing*r.Apex.Height {
		if r.calm, err = r.net(); err != nil {
			return err
		}
		r.Apex = r.calm.Apex(r.reach())
	}
	return nil
}

// quietBehind returns what no smoothed value behind the peak can exceed, and the
// trace as far as it must be smoothed if that is little. To look at the points
// takes less than to smooth them, except over a rubber band.
func (r *PulseResult) quietBehind(near trace.Range) (head trace.Trace, limit float64) {
	t, span := r.recorded, r.recorded.Span()
	limit = math.Inf(1)
	first := t.Count(span.From, near.To) // behind near
	last := first + r.SmoothingWindow
	if r.Baseline.Bent() || last >= t.Len() {
		return t, limit
	}
	head, err := t.Within(trace.Range{Axis: r.Axis, From: span.From, To: position(&t, last)})
	if err != nil {
		return t, limit
	}
	smoothed, err := t.Within(trace.Range{Axis: r.Axis, From: position(&t, first-r.SmoothingWindow), To: span.To})
	if err != nil {
		return t, limit
	}
	low, high := smoothed.ExtremesOver(r.Baseline)
	x0, y0 := smoothed.XY(low)
	x1, y1 := smoothed.XY(high)
	return head, mostRaised * math.Max(r.Baseline.At(x0)-y0, y1-r.Baseline.At(x1))
}

// mostRaised is how many times farther from zero than all its points a smoothed
// value may stand, the sum of the sizes of its coefficients: at the last point of
// a long window ∫|15u²/4 + 3u/2 - 3/4| du over -1 … 1 = 2.18, elsewhere and in
// short windows less.
const mostRaised = 2.2

// net returns all of the trace less its baseline and smoothed. It is made anew
// each time, so that a result needs no memory for it.
func (r *PulseResult) net() (trace.Trace, error) {
	return r.recorded.Net(r.Baseline, r.SmoothingWindow, trace.Range{})
}

// lowestCrossing is the lowest fraction of the height at which a width is taken.
const lowestCrossing = 0.05

// findPeak finds apex and widths.
func (r *PulseResult) findPeak() error {
	r.Height = r.Apex.Height
	if n := r.Baseline.Noise; r.Height < leastSignalToNoise*n {
		return r.noPeak(fmt.Sprintf("its highest point stands only %.2g times the noise above the baseline, less than %v", r.Height/n, leastSignalToNoise))
	}
	if !(r.Apex.X > 0) {
		return r.behind(r.Apex.X + r.ZeroAt)
	}
	widths, err := r.calm.Widths(r.Apex, []float64{lowestCrossing, 0.1, 0.5})
	if err != nil {
		return err
	}
	r.Fifth, r.Tenth, r.Half = widths[0], widths[1], widths[2]
	if math.IsNaN(r.Tenth.Width()) {
		side := "behind"
		if math.IsNaN(r.Tenth.Left) {
			side = "in front of"
		}
		return fmt.Errorf("trace %q does not fall to 10 %% of the peak's height %s its maximum at %s: width and asymmetry cannot be measured; record the whole peak, or widen Search", r.Signal, side, r.Axis.Show(r.Apex.X))
	}
	if b := r.Pulse.Baseline; r.down && b == (trace.Baseline{}) {
		if change := math.Abs(r.Baseline.At(r.Tenth.Right)-r.Baseline.At(r.Tenth.Left)) / r.Height; change > halfPeak {
			return fmt.Errorf("trace %q points down at %s from a baseline that itself changes by %s of that there, as a peak that was not recorded whole makes it; record the whole peak, or set Search or the stretches of Baseline", r.Signal, r.Axis.Show(r.Apex.X), percentage(change))
		}
	}
	if !(r.Half.Front(r.Apex) > 0 && r.Half.Back(r.Apex) > 0) {
		return r.noPeak(fmt.Sprintf("its highest point, at %s, is a spike of a sample or two", r.Axis.Show(r.Apex.X)))
	}
	r.PointsAboveHalfHeight = r.calm.Count(r.Half.Left, r.Half.Right)
	if r.PointsAboveHalfHeight < 3 {
		return fmt.Errorf("trace %q has too few points above half the peak's height: %d, and a width needs 3 at the very least; record more often", r.Signal, r.PointsAboveHalfHeight)
	}
	return nil
}

// takeMoments takes the moments. Smoothing by a quadratic leaves area, mean and
// variance of a peak as they are.
func (r *PulseResult) takeMoments() error {
	limits, span := r.moments, r.recorded.Span()
	if limits.IsZero() {
		outer := r.Fifth
		if math.IsNaN(outer.Width()) {
			outer = r.Tenth
		}
		limits = trace.Range{Axis: r.Axis, From: math.Max(span.From, outer.Left-outer.Width()), To: math.Min(span.To, outer.Right+outer.Width())}
	}
	var err error
	r.Moments, err = r.momentsWithin(limits)
	if err != nil && r.Pulse.MomentRange.IsZero() {
		r.Moments = trace.Moments{Range: limits, Area: math.NaN(), Mean: math.NaN(), Variance: math.NaN()}
		if r.drowned(r.Fifth) {
			return nil // in the noise
		}
		r.warn(kindBaseline, "The moments cannot be taken: the signal lies below its baseline for too long", "Set Baseline to quiet stretches next to the peak")
		return nil
	}
	return err
}

// momentsWithin takes the moments between limits, of the part near the peak if
// they lie in it.
func (r *PulseResult) momentsWithin(limits trace.Range) (trace.Moments, error) {
	if part := r.calm.Span(); limits.From >= part.From && limits.To <= part.To {
		return r.calm.Moments(limits)
	}
	net, err := r.net()
	if err != nil {
		return trace.Moments{}, err
	}
	return net.Moments(limits)
}

// position returns where point i is.
func position(t *trace.Trace, i int) float64 {
	x, _ := t.XY(i)
	return x
}

// value returns the value of point i.
func value(t *trace.Trace, i int) float64 {
	_, y := t.XY(i)
	return y
}

// reach is the number of points on each side of the highest that the parabola
// of the apex goes through.
func (r PulseResult) reach() int { return max(1, r.SmoothingWindow/4) }

// numbers works out everything that is reported.
func (r *PulseResult) numbers() {
	q := r.Pulse.Flow
	if r.Axis == trace.Volume {
		r.RetentionVolume = units.Volume(r.Apex.X)
		r.Retention = r.RetentionVolume.PumpedAt(q)
	} else {
		r.Retention = units.Time(r.Apex.X)
		r.RetentionVolume = q.For(r.Retention)
	}
	r.ColumnVolumes = r.RetentionVolume.In(r.volume)
	outside, _ := r.Pulse.holdUp()
	r.NetRetention = (r.RetentionVolume - outside - r.Pulse.SampleVolume/2).In(r.volume)
	x, w := r.Apex.X, r.Half.Width()
	r.Plates = plates(halfHeight, x, w)
	r.PlatesExact = plates(8*math.Ln2, x, w)
	r.PlatesMoments = r.Moments.Mean * r.Moments.Mean / r.Moments.Variance
	length := r.Pulse.BedHeight
	r.PlatesPerMetre = r.Plates / length.In(units.Metre)
	r.HETP = length / units.Length(r.Plates)
	r.ReducedPlateHeight = r.HETP.In(r.Bead)
	r.Asymmetry = asymmetry(r.Tenth.Front(r.Apex), r.Tenth.Back(r.Apex))
	r.SymmetryFactor = symmetryFactor(r.Fifth.Width(), r.Fifth.Front(r.Apex))
	if r.Pulse.Tracer.Kind == ExcludedMarker { // never plates
		nan := math.NaN()
		r.Plates, r.PlatesExact, r.PlatesMoments, r.PlatesPerMetre, r.HETP, r.ReducedPlateHeight, r.Asymmetry, r.SymmetryFactor = nan, nan, nan, nan, units.Length(nan), nan, nan, nan
	}
}

// judge compares the reportable numbers with the limits.
func (r *PulseResult) judge() {
	l := r.Pulse.Limits
	r.Checks = make([]Check, 0, 4)
	for _, c := range []struct {
		quantity string
		value    float64
		of       function
		stdErr   *float64
		limit    Limit
	}{
		{"plates per metre", r.PlatesPerMetre, func(r *PulseResult, m measured) float64 { return plates50(r, m) / r.Pulse.BedHeight.In(units.Metre) }, &r.PlatesPerMetreStdErr, l.PlatesPerMetre},
		{"reduced plate height", r.ReducedPlateHeight, func(r *PulseResult, m measured) float64 { return r.Pulse.BedHeight.In(r.Bead) / plates50(r, m) }, &r.ReducedPlateHeightStdErr, l.ReducedPlateHeight},
		{"asymmetry at 10 %", r.Asymmetry, asymmetry10, &r.AsymmetryStdErr, l.Asymmetry},
		{"symmetry factor at 5 %", r.SymmetryFactor, symmetry5, &r.SymmetryFactorStdErr, l.SymmetryFactor},
	} {
		se, low, high, doubt := math.NaN(), math.NaN(), math.NaN(), "there is no value"
		if !math.IsNaN(c.value) {
			se, low, high, doubt = r.interval(r.spread, c.of)
		}
		*c.stdErr = se
		r.Checks = append(r.Checks, newCheck(c.quantity, c.value, low, high, doubt, c.limit))
	}
	if len(r.invalid()) > 0 {
		for i := range r.Checks {
			r.Checks[i].withhold()
		}
		r.RetentionCheck.withhold()
	}
	r.Verdict = verdict(r.Checks)
}
