package efficiency

import (
	"fmt"
	"math"
	"strings"

	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// doubts collects what speaks against the numbers.
func (r *PulseResult) doubts(tr trace.Trace) {
	r.doubtShape()
	r.takeForm()
	r.faults()
	r.doubtForm()
	r.doubtBaseline()
	r.doubtSampling(tr)
	r.doubtSmoothing()
	r.doubtTest()
	r.doubtLimits()
	r.doubtBreadth()
	for _, what := range recordDoubts(tr) {
		r.warn(kindRecord, what, readAgain)
	}
}

// readAgain is what to do about a doubt of the record.
const readAgain = "Look at the report of the record"

// recordDoubts returns what reading the record left in doubt of a signal.
func recordDoubts(tr trace.Trace) []string {
	var all []string
	for _, d := range tr.Doubts {
		all = append(all, "The record is in doubt: "+strings.TrimRight(d, "."))
	}
	return all
}

// doubtShape looks at the peak itself.
func (r *PulseResult) doubtShape() {
	switch x, rise := r.second(); {
	case rise > peaksApart*r.Height:
		r.warn(kindPeaks, fmt.Sprintf("A second peak stands at %s, with the baseline between both; the numbers are of all peaks together", r.Axis.Show(x)),
			"If the record holds several tests, cut them apart and count each from its own sample: part, err := signal.Within(trace.Times(25*Minute, 50*Minute)), then part.Since(25 * Minute). If it was one sample, look for air or a second injection")
	case rise > 0:
		r.warn(kindSecondApex, fmt.Sprintf("A second apex stands at %s", r.Axis.Show(x)),
			"Repeat and watch the sample go in: a sample that went in twice or with air makes it, too; then look for a channel or a crack in the bed. The numbers describe both together")
	}
	for _, w := range []trace.Width{r.Half, r.Tenth, r.Fifth} {
		if apart := (w.InnerLeft - w.Left) + (w.Right - w.InnerRight); apart > crossingsApart*w.Width() && apart > r.jitter(w) && !r.drowned(w) {
			r.warn(kindCrossings, fmt.Sprintf("The signal crosses %.0f %% of the height several times, %s apart; the outermost crossings were taken", 100*w.Fraction, r.Axis.Show(apart)),
				"Smooth more, or set Search to the peak if something else stands beside it")
		}
	}
	if math.IsNaN(r.Fifth.Width()) && !r.drowned(r.Fifth) {
		r.warn(kindEdge, "The signal does not fall to 5 % of the height on both sides", "Record longer; the symmetry factor is not available")
	}
	if below := 1 - r.PlatesMoments/r.Plates; below > momentsApart && r.sureOfMoments() {
		r.warn(kindMoments, fmt.Sprintf("By moments the peak has %.0f %% fewer plates than by half height", 100*below),
			"Read the plate number with the asymmetry: half height does not see the tail. A baseline that is off makes the same difference")
	}
}

// drowned reports whether the noise by itself reaches a level, so that a crossing
// far out says nothing. The interval of what is measured there then has a doubt.
func (r *PulseResult) drowned(w trace.Width) bool { return drowns*r.noise() > w.Level }

// sureOfMoments reports whether plates by moments are fewer than those by half
// height by more than noise makes of them.
func (r *PulseResult) sureOfMoments() bool {
	u, err := r.Uncertainty().Of("PlatesMoments")
	return err == nil && (math.IsNaN(u.StdErr) || !r.drowned(r.Fifth) && u.Value*math.Exp(3*u.StdErr/u.Value) < (1-momentsApart)*r.Plates)
}

// jitter returns how far apart noise alone may set the crossings of a level: nine
// times the smoothed noise, over the slope between 10 % and 5 % of the height.
func (r *PulseResult) jitter(w trace.Width) float64 {
	if w.Fraction > 0.1 || math.IsNaN(r.Fifth.Width()) {
		return 0
	}
	longest := math.Max(r.Tenth.InnerLeft-r.Fifth.InnerLeft, r.Fifth.InnerRight-r.Tenth.InnerRight)
	return 9 * r.noise() * longest / (r.Tenth.Level - r.Fifth.Level)
}

// second looks for an apex beside the main one and returns its place and its
// rise above the valley between them, 0 if there is none.
func (r *PulseResult) second() (x, rise float64) {
	_, x, rise = r.calm.SecondApex(r.Apex, trace.Range{Axis: r.Axis, From: r.Tenth.Left, To: r.Tenth.Right})
	if rise < r.leastRise() {
		return x, 0
	}
	return x, rise
}

// leastRise is how far a second apex must rise above the valley.
func (r *PulseResult) leastRise() float64 { return math.Max(secondApex*r.Height, 6*r.noise()) }

// doubtBaseline looks at the line under the peak.
func (r *PulseResult) doubtBaseline() {
	l, h := r.Baseline, r.Height
	if !l.After.IsZero() {
		if d := math.Abs(l.DriftBefore); d > mostDrift*h && d > r.wander(l.Before) {
			r.warn(kindBaseline, fmt.Sprintf("The signal is not quiet in front of the peak: it changes by %s of the height from %s", percentage(d/h), l.Before),
				"Start recording earlier, let the detector settle, or set Baseline.Before to a quiet stretch")
		}
		if d := math.Abs(l.DriftAfter); d > mostDrift*h && d > r.wander(l.After) {
			r.warn(kindBaseline, fmt.Sprintf("The signal has not returned to the baseline: it changes by %s of the height from %s", percentage(d/h), l.After),
				"Record until the signal is steady, or set Baseline.After to a quiet stretch")
		}
		wide := r.Fifth.Width()
		if math.IsNaN(wide) {
			wide = r.Tenth.Width()
		}
		if d := math.Abs(l.At(r.Apex.X+wide/2) - l.At(r.Apex.X-wide/2)); d > mostDrift*h {
			r.warn(kindBaseline, fmt.Sprintf("The baseline drifts by %s of the height under the peak", percentage(d/h)),
				"Let lamp and temperature settle before the test; a "+baselineKind(l)+" was taken away")
		}
	}
	span, half := r.recorded.Span(), r.Half.Width()
	if before := r.Apex.X - span.From; before < leastRoom*half {
		r.warn(kindEdge, fmt.Sprintf("The recording begins only %.1f widths at half height in front of the apex", before/half),
			"The baseline is uncertain: start recording with the sample")
	}
	if behind := span.To - r.Apex.X; behind < leastRoom*half {
		r.warn(kindEdge, fmt.Sprintf("The recording ends only %.1f widths at half height behind the apex: the signal has not returned to the baseline", behind/half),
			"The baseline is uncertain: record until the signal is steady")
	}
	if n := l.Noise; h < goodSignalToNoise*n {
		r.warn(kindNoise, fmt.Sprintf("The peak is only %.0f times as high as the noise", h/n), "Take a stronger tracer or smooth more; the asymmetry suffers first")
	}
}

// wander returns the drift of a stretch that noise makes by itself, four standard
// errors: a line through n points is uncertain by √(12/n) of the noise along them,
// which is taken from neighbours.
func (r *PulseResult) wander(stretch trace.Range) float64 {
	t := &r.recorded
	lo, hi := indexOf(t, stretch.From), indexOf(t, stretch.To)
	sum, n := 0.0, float64(hi-lo)
	for i := lo; i < hi; i++ {
		d := value(t, i+1) - value(t, i)
		sum += d * d / 2
	}
	return 4 * math.Sqrt(sum/n) * math.Sqrt(12/n)
}

// doubtSampling looks at the points.
func (r *PulseResult) doubtSampling(tr trace.Trace) {
	if n := r.PointsAboveHalfHeight; n < fewPoints {
		how := "few"
		if n < tooFewPoints {
			how = "too few for a reliable width"
		}
		r.warn(kindSampling, fmt.Sprintf("%d points stand above half height: %s", n, how), "Record more often: 20 to 30 points or more")
	}
	widest, at, same := r.recorded.Steps(trace.Range{Axis: r.Axis, From: r.Tenth.Left, To: r.Tenth.Right})
	if same > 0 {
		r.warn(kindSampling, fmt.Sprintf("Within the peak %d samples stand at the %s of the sample before", same, r.Axis),
			"Export the "+r.Axis.String()+" with more digits: widths are no better than its steps")
	}
	if mean := tr.Step(); widest > unevenStep*mean && widest > r.Half.Width()/fewPoints {
		r.warn(kindSampling, fmt.Sprintf("Samples are missing within the peak: the longest gap is %s at %s, the mean step %s", r.Axis.Show(widest), r.Axis.Show(at), r.Axis.Show(mean)),
			"Export every sample; smoothing takes the points as evenly spaced")
	}
}

// doubtSmoothing looks at what a window that was given does to the peak.
func (r *PulseResult) doubtSmoothing() {
	m, sigma := float64(r.SmoothingWindow/2), r.Half.Width()/r.calm.Step()/gaussianWidth
	lowered := 0.03 * math.Pow(m/sigma, 4)
	if m > sigma { // the formula ends here, and the width is not the peak's any more
		_, top := r.recorded.ExtremesOver(r.Baseline)
		x, y := r.recorded.XY(top)
		lowered = 1 - r.Height/(y-r.Baseline.At(x))
	}
	if !(m > 1 && lowered > mostLowered) {
		return
	}
	do := "Leave Smoothing.Window out"
	if m <= sigma {
		do = fmt.Sprintf("Take %d points or fewer, or leave Smoothing.Window out", max(1, int(sigma/2)*2-1))
	}
	r.warn(kindSmoothing, fmt.Sprintf("Smoothing over %d points lowers the peak by about %s and widens it", r.SmoothingWindow, percentage(lowered)), do)
}

// gaussianWidth is the width at half height of a Gaussian of σ = 1, √(8 ln 2).
const gaussianWidth = 2.3548200450309493

// doubtTest looks at how the test was run.
func (r *PulseResult) doubtTest() {
	if r.Pulse.Temperature == 0 && r.isConductivity() {
		r.warn(kindTemperature, "The signal is a conductivity and the temperature of the test was not given",
			"Note the temperature and give it: conductivity rises by about 2 % a kelvin, and viscosity changes as much")
	}
	if r.Pulse.ExtraColumn != (ExtraColumn{}) {
		r.doubtExtraColumn()
	}
	if v := r.Pulse.SampleVolume; v > 0 {
		// The sample's plug has the variance V²/12 of the V_R²/N that was seen.
		part := v.In(r.RetentionVolume)
		lost := r.Plates / 12 * part * part
		if share := v.In(r.volume); share > mostSample || lost > mostPlatesLost {
			k, what, do := kindSample, fmt.Sprintf("The sample is %s of the column volume and its own width takes %s of the plates", percentage(share), percentage(lost)), "Repeat with 1 to 2 % of the column volume"
			if lost >= 1 {
				k, what, do = kindUnit, fmt.Sprintf("The sample, %s of the column volume, is wider by itself than the peak", percentage(share)), "Check SampleVolume and Flow: one of them cannot be right"
			}
			r.warn(k, what, do)
		}
	}
	if h := r.ReducedPlateHeight; h < leastReduced {
		k := kindPlateHeight
		if h < 1 { // shorter than a bead
			k = kindUnit
		}
		r.warn(k, fmt.Sprintf("A reduced plate height of %.2g is less than well packed beds reach, about %v", h, leastReduced),
			"Check bed height, mean bead, and whether the trace's zero is the start of the sample: one of them is likely to be wrong")
	}
	if u := math.Round(r.Velocity.In(units.CentimetrePerHour)); u < leastVelocity || u > mostVelocity {
		r.warn(kindVelocity, fmt.Sprintf("The test ran at %v; pulse tests usually run at %d to %d cm/h", r.Velocity, leastVelocity, mostVelocity),
			"Compare only with tests at the same velocity, or repeat at the usual one (common practice, no source)")
	}
	r.doubtZero()
	r.doubtTracer()
	r.judgeRetention()
	r.doubtRecipe()
}

// doubtZero looks at what the record says of sample and flow.
func (r *PulseResult) doubtZero() {
	if what, do := wrongFlow(r.flows, r.Pulse.Flow); what != "" {
		r.warn(kindFlow, what, do)
	}
	v, o := r.Pulse.SampleVolume, r.origin
	if !(v > 0) || math.IsNaN(o.end) {
		return
	}
	went := units.Volume((o.end - o.at) * r.cubicMetresPerUnit())
	// Both ends are known to a sample of the trace.
	if off, step := math.Abs(float64(went-v)), 2*r.recorded.Step()*r.cubicMetresPerUnit(); off > mostSampleOff*float64(v)+step {
		r.warn(kindZero, fmt.Sprintf("Between start and end of the sample %v went in, and %v was given as its volume", went, v),
			"Give the volume that went in, and look whether both places are those of the sample and the flow is right")
	}
}

// isConductivity reports whether unit or name of the signal says so.
func (r *PulseResult) isConductivity() bool {
	return strings.HasPrefix(r.Unit, "mS") || strings.HasPrefix(r.Unit, "µS") || strings.HasPrefix(r.Unit, "S/") ||
		strings.Contains(strings.ToLower(r.Signal), "conductivity")
}

// doubtExtraColumn looks at how much of the width comes from outside the bed.
func (r *PulseResult) doubtExtraColumn() {
	c, err := r.Corrected()
	if err != nil {
		r.warn(kindExtraColumn, "The numbers cannot be corrected for the system outside the column: "+err.Error(),
			"Measure the system without the column again, at this flow, and read the numbers as those of column and system together")
		return
	}
	if share := c.Taken / r.Moments.Variance; share > mostExtra {
		r.warn(kindExtraColumn, fmt.Sprintf("Tubing, detector and sample make %.0f %% of the peak's variance", 100*share),
			"Read the corrected numbers beside the others; shorten or narrow the tubing before the next test")
	}
}

// doubtLimits looks at what is asked for.
func (r *PulseResult) doubtLimits() {
	question := func(limit string, h float64) {
		if h < leastReduced || h > mostReduced {
			r.warn(kindLimit, fmt.Sprintf("%s asks for a reduced plate height of %.1f of beads of %v", limit, h, r.Bead),
				fmt.Sprintf("Check the limit: well packed beds reach about %v to %v", leastReduced, mostReduced))
		}
	}
	bound := r.Pulse.Limits.PlatesPerMetre.Min
	if least, _, ok := bounded(bound); ok {
		question("At least "+bound+" plates per metre", 1/(least*r.Bead.In(units.Metre)))
	}
	bound = r.Pulse.Limits.ReducedPlateHeight.Max
	if most, _, ok := bounded(bound); ok {
		question("A reduced plate height of at most "+bound, most)
	}
}

// noise returns the standard error of one smoothed value.
func (r PulseResult) noise() float64 {
	if math.IsNaN(r.Baseline.Noise) {
		return 0
	}
	return r.Baseline.Noise * math.Sqrt(centre(r.SmoothingWindow))
}

// centre returns the middle coefficient of the moving quadratic over a window,
// which is also the sum of the squares of its coefficients.
func centre(window int) float64 {
	m := float64(window / 2)
	if m < 1 {
		return 1
	}
	return 3 * (3*m*m + 3*m - 1) / ((2*m - 1) * (2*m + 1) * (2*m + 3))
}

// coefficient returns the moving quadratic's coefficient at offset i of a
// window with half-width m.
func coefficient(m int, i float64) float64 {
	if m == 0 {
		return 1
	}
	h := float64(m)
	return (3*(3*h*h+3*h-1) - 15*i*i) / ((2*h - 1) * (2*h + 1) * (2*h + 3))
}
