package efficiency

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

func (r *PulseResult) warn(what, do string) { r.Warnings = append(r.Warnings, Warning{what, do}) }

// doubts collects what speaks against the numbers.
func (r *PulseResult) doubts(tr trace.Trace) {
	r.doubtShape(tr)
	r.doubtBaseline()
	r.doubtSampling(tr)
	r.doubtTest()
	r.doubtLimits()
}

// doubtShape looks at the peak itself.
func (r *PulseResult) doubtShape(tr trace.Trace) {
	if run := r.flat(tr); run > flatTop*r.Half.Width() {
		r.warn(fmt.Sprintf("The top of the peak is flat over %s: the detector may be saturated", r.Axis.Show(run)),
			"Take less sample or a shorter light path; plates from a cut top are too few")
	}
	if x, rise := r.second(); rise > 0 {
		r.warn(fmt.Sprintf("A second apex stands at %s", r.Axis.Show(x)),
			"Look for a channel or a crack in the bed, air, or a sample that went in twice; the numbers describe both together")
	}
	for _, w := range []trace.Width{r.Half, r.Tenth, r.Fifth} {
		if apart := (w.InnerLeft - w.Left) + (w.Right - w.InnerRight); apart > crossingsApart*w.Width() {
			r.warn(fmt.Sprintf("The signal crosses %.0f %% of the height several times, %s apart; the outermost crossings were taken", 100*w.Fraction, r.Axis.Show(apart)),
				"Smooth more, or set Search to the peak if something else stands beside it")
		}
	}
	if math.IsNaN(r.Fifth.Width()) {
		r.warn("The signal does not fall to 5 % of the height on both sides", "Record longer; the symmetry factor is not available")
	}
	if below := 1 - r.PlatesMoments/r.Plates; below > momentsApart {
		r.warn(fmt.Sprintf("By moments the peak has %.0f %% fewer plates than by half height", 100*below),
			"Read the plate number with the asymmetry: half height does not see the tail. A baseline that is off makes the same difference")
	}
}

// flat returns how long the trace stays exactly at its highest value within the
// peak, if that is for three samples or more.
func (r PulseResult) flat(tr trace.Trace) float64 {
	near, err := tr.Within(trace.Range{Axis: r.Axis, From: r.Half.Left, To: r.Half.Right})
	if err != nil {
		return 0
	}
	if r.down {
		near = near.Flipped()
	}
	longest := 0.0
	_, highest := near.Extremes()
	top := value(near, highest)
	for i := highest; i < near.Len(); i++ {
		if value(near, i) != top {
			continue
		}
		j := i
		for j+1 < near.Len() && value(near, j+1) == top {
			j++
		}
		if j-i >= 2 {
			longest = math.Max(longest, position(near, j)-position(near, i))
		}
		i = j
	}
	return longest
}

// second looks for an apex beside the main one and returns its place and its
// rise above the valley between them, 0 if there is none.
func (r PulseResult) second() (x, rise float64) {
	least := math.Max(secondApex*r.Height, 6*r.noise())
	for _, step := range []int{-1, 1} {
		valley, top, at := r.Height, 0.0, 0.0
		for i := r.Apex.Index; i >= 0 && i < r.calm.Len(); i += step {
			p, y := r.calm.XY(i)
			if p < r.Tenth.Left || p > r.Tenth.Right {
				break
			}
			valley = math.Min(valley, y)
			if y-valley > top {
				top, at = y-valley, p
			}
		}
		if top > least && top > rise {
			x, rise = at, top
		}
	}
	return x, rise
}

// doubtBaseline looks at the line under the peak.
func (r *PulseResult) doubtBaseline() {
	l, h := r.Baseline, r.Height
	if !l.After.IsZero() {
		if d := math.Abs(l.DriftBefore); d > mostDrift*h {
			r.warn(fmt.Sprintf("The signal is not quiet in front of the peak: it changes by %.2g %% of the height from %s", 100*d/h, l.Before),
				"Start recording earlier, let the detector settle, or set Baseline.Before to a quiet stretch")
		}
		if d := math.Abs(l.DriftAfter); d > mostDrift*h {
			r.warn(fmt.Sprintf("The signal has not returned to the baseline: it changes by %.2g %% of the height from %s", 100*d/h, l.After),
				"Record until the signal is steady, or set Baseline.After to a quiet stretch")
		}
		wide := r.Fifth.Width()
		if math.IsNaN(wide) {
			wide = r.Tenth.Width()
		}
		if d := math.Abs(l.Slope) * wide; d > mostDrift*h {
			r.warn(fmt.Sprintf("The baseline drifts by %.2g %% of the height under the peak", 100*d/h),
				"Let lamp and temperature settle before the test; a straight line was taken away")
		}
	}
	span, half := r.net.Span(), r.Half.Width()
	if before := r.Apex.X - span.From; before < leastRoom*half {
		r.warn(fmt.Sprintf("The recording begins only %.1f widths at half height in front of the apex", before/half),
			"The baseline is uncertain: start recording with the sample")
	}
	if behind := span.To - r.Apex.X; behind < leastRoom*half {
		r.warn(fmt.Sprintf("The recording ends only %.1f widths at half height behind the apex: the signal has not returned to the baseline", behind/half),
			"The baseline is uncertain: record until the signal is steady")
	}
	if n := l.Noise; h < goodSignalToNoise*n {
		r.warn(fmt.Sprintf("The peak is only %.0f times as high as the noise", h/n), "Take a stronger tracer or smooth more; the asymmetry suffers first")
	}
}

// doubtSampling looks at the points.
func (r *PulseResult) doubtSampling(tr trace.Trace) {
	if n := r.PointsAboveHalfHeight; n < fewPoints {
		how := "few"
		if n < tooFewPoints {
			how = "too few for a reliable width"
		}
		r.warn(fmt.Sprintf("%d points stand above half height: %s", n, how), "Record more often: 20 to 30 points or more")
	}
	near, err := r.calm.Within(trace.Range{Axis: r.Axis, From: r.Tenth.Left, To: r.Tenth.Right})
	if err != nil {
		return
	}
	widest, at := 0.0, 0.0
	for i := 1; i < near.Len(); i++ {
		last, _ := near.XY(i - 1)
		if x, _ := near.XY(i); x-last > widest {
			widest, at = x-last, last
		}
	}
	if mean := tr.Step(); widest > unevenStep*mean && widest > r.Half.Width()/fewPoints {
		r.warn(fmt.Sprintf("Samples are missing within the peak: the longest gap is %s at %s, the mean step %s", r.Axis.Show(widest), r.Axis.Show(at), r.Axis.Show(mean)),
			"Export every sample; smoothing takes the points as evenly spaced")
	}
}

// doubtTest looks at how the test was run.
func (r *PulseResult) doubtTest() {
	if v := r.Pulse.SampleVolume; v > 0 {
		// The sample's plug has the variance V²/12 of the V_R²/N that was seen.
		part := v.In(r.RetentionVolume)
		lost := r.Plates / 12 * part * part
		if share := v.In(r.volume); share > mostSample || lost > mostPlatesLost {
			r.warn(fmt.Sprintf("The sample is %.2g %% of the column volume and its own width takes %.2g %% of the plates", 100*share, 100*lost),
				"Repeat with 1 to 2 % of the column volume")
		}
	}
	if u := math.Round(r.Velocity.In(units.CentimetrePerHour)); u < leastVelocity || u > mostVelocity {
		r.warn(fmt.Sprintf("The test ran at %v; pulse tests usually run at %d to %d cm/h", r.Velocity, leastVelocity, mostVelocity),
			"Compare only with tests at the same velocity, or repeat at the usual one (common practice, no source)")
	}
	if v := r.ColumnVolumes; v < leastRetention || v > mostRetention {
		r.warn(fmt.Sprintf("The peak comes after %.2f column volumes, outside %v to %v", v, leastRetention, mostRetention),
			"Check flow and bed height, and whether the trace's zero is the start of the sample; then look for a tracer that binds, a gap above the bed, or hold-up in the tubing")
	}
}

// doubtLimits looks at what is asked for.
func (r *PulseResult) doubtLimits() {
	bound := r.Pulse.Limits.PlatesPerMetre.Min
	if least, _, ok := bounded(bound); ok {
		if h := 1 / (least * r.Bead.In(units.Metre)); h < leastReduced || h > mostReduced {
			r.warn(fmt.Sprintf("At least %s plates per metre asks for a reduced plate height of %.1f of beads of %v", bound, h, r.Bead),
				fmt.Sprintf("Check the limit: well packed beds reach about %v to %v", leastReduced, mostReduced))
		}
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
