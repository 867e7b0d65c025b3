package efficiency

import (
	"fmt"
	"math"
)

// doubts collects what speaks against the numbers.
func (r *TransitionResult) doubts() {
	if what, do := wrongFlow(r.flows, r.Transition.Flow); what != "" {
		r.warn(what, do)
	}
	r.doubtPlateaus()
	r.doubtFront()
	r.doubtMethods()
}

// doubtPlateaus looks at the levels on both sides of the step.
func (r *TransitionResult) doubtPlateaus() {
	step := math.Abs(r.Step)
	for _, p := range []struct {
		side string
		Plateau
	}{{"before", r.Before}, {"after", r.After}} {
		// A slope's own error along n points is √(12/n) of the noise.
		if d := math.Abs(p.Drift); d > mostPlateauDrift*step && d > 4*p.Noise*math.Sqrt(12/float64(p.Points)) {
			what := fmt.Sprintf("The plateau %s the step is not level: it changes by %s of the step from %s", p.side, percentage(d/step), p.Range)
			if p.Sloped {
				what += ". The step was measured from a straight line through it"
			}
			r.warn(what, "Record until the signal is steady, set Before and After to level stretches, and look at the temperature compensation; moments suffer first")
		}
	}
	_, sigma := r.front.centre(r.lo, r.hi)
	if least := math.Min(float64(r.Moments.Mean-r.Moments.From), float64(r.Moments.To-r.Moments.Mean)); least < 6*sigma {
		r.warn(fmt.Sprintf("Little of the plateaus was recorded: the moments reach only %.1f standard deviations of the front from its middle", least/sigma),
			"Record more of both plateaus; a tail beyond is missing in the moments")
	}
	if x, part := r.elsewhere(); part > 0 {
		axis := r.front.axis
		r.warn(fmt.Sprintf("Beyond the plateaus the signal changes again, by up to %.0f %% of the step, at %s", 100*part, axis.Show(r.onAxis(axis, x))),
			"Check that the right step was measured, or set Search to it")
	}
	if step < goodStep*r.Noise {
		r.warn(fmt.Sprintf("The step is only %.0f times the noise", step/r.Noise), "Take a larger step or a better signal; the asymmetry suffers first")
	}
	r.doubtSaturation()
}

// Saturated plateaus. TestSaturatedSteps measures how often they are told.
const (
	quietTop     = 0.3   // noise of the higher plateau, over that of the lower
	squareCorner = 0.56  // (V98-V90)/(V84-V50) at the higher plateau: 0.77 for a Gaussian
	cornerNoise  = 0.004 // of the step: above, V98 is not known
)

// doubtSaturation looks at the plateau of the higher signal: whether the detector
// takes the noise away there, or the end of the front.
func (r *TransitionResult) doubtSaturation() {
	const do = "Use a shorter light path or another signal, or set Before and After within the detector's range; the front is cut at its top, and plates, place and symmetry are those of the cut"
	low, high, step := r.Before, r.After, math.Abs(r.Step)
	at := func(part float64) float64 { return part }
	if !r.Rising {
		low, high = high, low
		at = func(part float64) float64 { return 1 - part }
	}
	if low.Noise > 1e-6*step && high.Noise < quietTop*low.Noise && (low.Points >= 20 && high.Points >= 20 || high.Noise < 1e-9*step) {
		r.warn(fmt.Sprintf("The plateau of the higher signal has %.2g times the noise of the other: the detector may be saturated", high.Noise/low.Noise), do)
		return
	}
	if r.calmNoise() > cornerNoise || r.straight() {
		return
	}
	middle := r.calm.middle(r.lo, r.hi)
	cross := func(part float64) float64 { return r.calm.crossing(at(part), middle) }
	if corner := (cross(0.98) - cross(0.90)) / (cross(1-gaussianLow) - cross(0.5)); corner < squareCorner {
		r.warn(fmt.Sprintf("The front meets the plateau of the higher signal in a corner, from 90 to 98 %% in %.2f of the way from 50 to 84 %%: the detector may be saturated, with noise on top", corner), do)
	}
}

// straight reports whether the front looks like a gradient.
func (r *TransitionResult) straight() bool {
	middle := r.calm.middle(r.lo, r.hi)
	return r.calm.crossing(0.95, middle)-r.calm.crossing(0.05, middle) < straightFront*float64(r.V84-r.V16)
}

// elsewhere returns where, beyond the plateaus, the front is farthest from its
// levels, and how far; 0 if it is near them.
func (r TransitionResult) elsewhere() (x, part float64) {
	noise := r.Noise / math.Abs(r.Step)
	for i, v := range r.front.y {
		switch {
		case i <= r.lo-r.Before.Points:
		case i >= r.hi+r.After.Points:
			v--
		default:
			continue
		}
		if off := math.Abs(v); off > part && off > otherChange+8*noise {
			x, part = r.front.x(i), off
		}
	}
	return x, part
}

// doubtFront looks at the front between its plateaus.
func (r *TransitionResult) doubtFront() {
	if r.PointsInFront < fewInFront {
		r.warn(fmt.Sprintf("%d steps of recording lie between 15.87 and 84.13 %% of the step: few", r.PointsInFront), "Record more often: 10 to 20 or more")
	}
	core := float64(r.V84 - r.V16)
	if r.straight() {
		r.warn("The front is as straight as a gradient", "Look whether the pump or the valve made a ramp of the step; then it says nothing about the bed")
	}
	if window := float64(r.SmoothingWindow-1) * r.front.h; window > mostWindow*core {
		r.warn(fmt.Sprintf("The smoothing window of %d points is wider than the front from 15.87 to 84.13 %%", r.SmoothingWindow), "Take a smaller Smoothing.Window, or none; it makes the front wider")
	}
	if noise := r.slopeNoise() / r.slope.at(float64(r.Peak)); noise > mostSlopeNoise {
		smoothed := fmt.Sprintf("over %d points", r.SmoothingWindow)
		if r.SmoothingWindow < 5 {
			smoothed = "without smoothing"
		}
		r.warn(fmt.Sprintf("The derivative, taken %s, has a noise of %s of its height", smoothed, percentage(noise)), "Smooth more, or read the moments and quantiles, which need no derivative")
	}
	if math.IsNaN(r.Asymmetry) {
		r.warn("The derivative does not fall to 10 % of its height on both sides", "Record more of both plateaus; the asymmetry is not available")
	}
	if v := r.FrontVolume; v < leastFrontVolume || v > mostFrontVolume {
		r.warn(fmt.Sprintf("The front comes after %.2f column volumes, outside %v to %v", v, leastFrontVolume, mostFrontVolume),
			"Check flow, bed height, ExtraColumnVolume, and whether the trace's zero is the switch of the buffers; a buffer that binds comes late, and its front says little about the bed")
	}
	if !math.IsNaN(r.Recovered) && math.Abs(r.Recovered-1) > math.Max(mostBalance, 2*r.RecoveredStdErr) {
		r.warn(fmt.Sprintf("The mass balance closes to %.1f %%", 100*r.Recovered), "Check flow and extra-column volume; then look for binding, or for a part of the bed that the flow does not reach")
	}
}

// slopeNoise returns the standard deviation of the derivative between plateaus
// and peak.
func (r TransitionResult) slopeNoise() float64 {
	g := make(gradient, len(r.front.y))
	middle := (r.lo + r.hi) / 2
	r.spreadSlope(g, middle, 1)
	sum := 0.0
	for _, v := range g {
		sum += v * v
	}
	return r.Noise / math.Abs(r.Step) * math.Sqrt(sum)
}

// doubtMethods compares the methods.
func (r *TransitionResult) doubtMethods() {
	few := 1 - r.ByMoments.Plates/r.ByQuantiles.Plates
	if few > methodsApart {
		r.warn(fmt.Sprintf("By moments the front has %.0f %% fewer plates than by quantiles", 100*few),
			"It has a tail, or a plateau is off: look at the picture, and read both numbers")
	}
	if p := r.ByMoments; p.PlatesStdErr > 0.1*p.Plates {
		r.warn(fmt.Sprintf("Noise makes the plates by moments uncertain by %.0f %%", 100*p.PlatesStdErr/p.Plates),
			"Trend the number by quantiles, or set Before and After closer to the front")
	}
}
