package plan

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/fit"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/units"
)

// A RiseRecord is how the surface of the bed rose after the last compression, from the
// stop of the flow until the adapter met it.
//
//	h(t) = h0 + Σ a (1 - exp(-t/τ)),  first velocity Σ a/τ (+ c)
//
// counted from the moment at which half of the flow had stopped, with one or two
// terms, or with one and a steady creep ct. Without friction it starts at the
// velocity that was flowing, whatever the medium.
type RiseRecord struct {
	From, Until   units.Time // on the record's clock
	Points        int
	Seen          units.Length   // risen in that time
	Terms         []RiseTerm     // fastest first
	First         units.Velocity // at which it started
	FirstStdErr   units.Velocity
	Bound         units.Velocity // that which was flowing
	Creep         units.Velocity // of a slower part, where the record is too short for its time constant
	CreepStdErr   units.Velocity
	Whole         units.Length // it would have risen in the end
	WholeStdErr   units.Length
	Lasting       float64 // part of the compression that would have stayed
	LastingStdErr float64
	Problem       string // why there is nothing, or no terms
}

// A RiseTerm is a part of the rise with its time constant.
type RiseTerm struct {
	Size       units.Length
	SizeStdErr units.Length
	Time       units.Time
	TimeStdErr units.Time
}

// rise reads the bed's recovery after the last compression.
func (w *reviewer) rise() {
	f, sig := w.f, w.f.signals
	r := &f.Rise
	last, stop := f.step(Compression), f.step(Stop)
	switch {
	case w.r.StepsBy == StepsByAdapter:
		r.Problem = "the adapter held the bed"
		return
	case last == nil || stop == nil || stop.Start < last.Start:
		r.Problem = "no stop after a compression"
		return
	case !sig.bed.recorded():
		r.Problem = "the bed height was not recorded"
		w.notJudged("re-expansion after the stop (%s)", r.Problem)
		return
	}
	r.From, r.Bound = stop.Start, last.Velocity
	i, j := sig.bed.within(float64(stop.Start), float64(stop.End))
	// It ends where the adapter meets the bed, or where the bed is pressed down.
	noise := bedNoise(sig.bed, last)
	end, top := i, math.Inf(-1)
	for k := i; k < j; k++ {
		y := sig.bed.y[k]
		if sig.adapter.recorded() && sig.adapter.at(sig.bed.x[k]) < y+float64(units.Millimetre) {
			break
		}
		if k+2 < j && math.Max(y, math.Max(sig.bed.y[k+1], sig.bed.y[k+2])) < top-math.Max(4*noise, 5e-4) {
			break
		}
		top = math.Max(top, y)
		end = k + 1
	}
	r.Points = end - i
	if r.Points < 6 {
		r.Problem = fmt.Sprintf("only %d readings of the height between the stop and the adapter", max(r.Points, 0))
		w.notJudged("re-expansion after the stop (%s)", r.Problem)
		return
	}
	r.Until = units.Time(sig.bed.x[end-1])
	t, h := make([]float64, 0, r.Points), make([]float64, 0, r.Points)
	every := max(1, r.Points/250) // more do not make it better known than the model is
	for k := i; k < end; k += every {
		t, h = append(t, sig.bed.x[k]-float64(r.From)), append(h, sig.bed.y[k])
	}
	r.Seen = units.Length(signal{t, h}.median(t[len(t)-1]*0.8, t[len(t)-1])) - last.Height
	if float64(r.Seen) < math.Max(4*noise, 3e-4) {
		r.Problem = fmt.Sprintf("the bed rose by %.1f mm, no more than its readings scatter", r.Seen.In(units.Millimetre))
		return
	}
	w.fitRise(t, h)
}

// bedNoise returns the scatter of the height at the end of a step.
func bedNoise(s signal, at *Step) float64 {
	_, sd := s.meanSD(at.to-math.Min(60, (at.to-at.from)/4), at.to)
	return sd
}

// fitRise fits one term, and two where the record tells them apart. Where it
// shows that there is a slower part but is too short for its time constant, that
// part becomes a steady creep.
func (w *reviewer) fitRise(t, h []float64) {
	f := w.f
	r := &f.Rise
	best, ok := riseFit(t, h, 1, false, r)
	if !ok {
		r.Problem = "no time constant fits the rise"
		w.notJudged("time constants of the re-expansion (%s)", r.Problem)
		return
	}
	terms, creeps := 1, false
	if len(t) >= 12 {
		if two, ok := riseFit(t, h, 2, false, r); ok && clearlyBetter(two, best) && told(two, 1, 2, 3, 4) {
			best, terms = two, 2
		} else if creep, ok := riseFit(t, h, 1, true, r); ok && clearlyBetter(creep, best) && told(creep, 1, 2, 3) {
			best, creeps = creep, true
		}
	}
	for k := range terms {
		a, tau := best.Params[1+2*k], best.Params[2+2*k]
		r.Terms = append(r.Terms, RiseTerm{units.Length(a.Value), units.Length(a.StdErr), units.Time(tau.Value), units.Time(tau.StdErr)})
	}
	if terms == 2 && r.Terms[0].Time > r.Terms[1].Time {
		r.Terms[0], r.Terms[1] = r.Terms[1], r.Terms[0]
	}
	first, firstErr := best.Derived(func(p []float64) float64 {
		sum := 0.0
		if creeps {
			sum = p[3]
		}
		for k := range terms {
			sum += p[1+2*k] / p[2+2*k]
		}
		return sum
	})
	r.First, r.FirstStdErr = units.Velocity(first), units.Velocity(firstErr)
	if first-2*firstErr > 1.1*float64(r.Bound) {
		w.doubt("The bed started to rise at %.2f mm/s, faster than the %.2f mm/s that was flowing: look at the clock and the scale of the height.",
			r.First.In(units.MillimetrePerSecond), r.Bound.In(units.MillimetrePerSecond))
	}
	if creeps {
		r.Creep, r.CreepStdErr = units.Velocity(best.Params[3].Value), units.Velocity(best.Params[3].StdErr)
		w.notJudged("how far the bed would have risen (it was still rising when the adapter met it or the record ended)")
		return
	}
	whole, wholeErr := best.Derived(func(p []float64) float64 {
		sum := 0.0
		for k := range terms {
			sum += p[1+2*k]
		}
		return sum
	})
	r.Whole, r.WholeStdErr = units.Length(whole), units.Length(wholeErr)
	if l0 := f.SettledHeight; l0 > 0 {
		compressed := float64(l0) - best.Params[0].Value
		r.Lasting = 1 - whole/compressed
		r.LastingStdErr = math.Abs(whole/compressed) * math.Hypot(wholeErr/whole, math.Hypot(float64(f.SettledHeightStdErr), float64(w.r.HeightStdErr))/compressed)
	} else {
		w.notJudged("lasting part of the compression (no settled height)")
	}
}

// clearlyBetter tells whether the parameters that a model has more than another
// lower the sum of squares by clearly more than noise lets them: F above 6.
func clearlyBetter(more, less fit.Result) bool {
	extra := float64(less.DegreesOfFreedom - more.DegreesOfFreedom)
	return (less.RSS-more.RSS)/extra > 6*more.RSS/float64(more.DegreesOfFreedom)
}

// told tells whether parameters are known to better than half of themselves.
func told(r fit.Result, params ...int) bool {
	for _, k := range params {
		if !(r.Params[k].StdErr < r.Params[k].Value/2) {
			return false
		}
	}
	return true
}

// riseFit fits a rise with a number of terms, and with a creep if asked.
func riseFit(t, h []float64, terms int, creep bool, r *RiseRecord) (fit.Result, bool) {
	span, seen := t[len(t)-1], math.Max(float64(r.Seen), 1e-6)
	above := fit.AtLeast(0)
	times := fit.Between(span/1000, 20*span)
	params := []fit.Param{{Name: "h0", Start: h[0]}}
	switch {
	case terms == 2:
		params = append(params, fit.Param{Name: "a1", Start: 0.6 * seen, Bounds: above}, fit.Param{Name: "τ1", Start: span / 12, Bounds: times},
			fit.Param{Name: "a2", Start: 0.4 * seen, Bounds: above}, fit.Param{Name: "τ2", Start: span / 2, Bounds: times})
	case creep:
		params = append(params, fit.Param{Name: "a", Start: 0.7 * seen, Bounds: above}, fit.Param{Name: "τ", Start: span / 10, Bounds: times},
			fit.Param{Name: "creep", Start: 0.3 * seen / span, Bounds: above})
	default:
		params = append(params, fit.Param{Name: "a", Start: seen, Bounds: above}, fit.Param{Name: "τ", Start: span / 5, Bounds: times})
	}
	result, err := fit.Curve{Params: params, X: t, Y: h,
		Model: func(x float64, p []float64) float64 {
			sum := p[0]
			for k := 1; k+1 < len(p); k += 2 {
				sum += p[k] * -math.Expm1(-x/p[k+1])
			}
			if creep {
				sum += p[3] * x
			}
			return sum
		},
		Gradient: func(x float64, p, g []float64) {
			g[0] = 1
			for k := 1; k+1 < len(p); k += 2 {
				e := math.Exp(-x / p[k+1])
				g[k], g[k+1] = 1-e, -p[k]*e*x/(p[k+1]*p[k+1])
			}
			if creep {
				g[3] = x
			}
		}}.Fit()
	return result, err == nil && result.Converged()
}

// String writes the rise in a sentence.
func (r RiseRecord) String() string {
	if r.Problem != "" {
		return r.Problem
	}
	s := fmt.Sprintf("%.1f mm seen in %.0f s", r.Seen.In(units.Millimetre), (r.Until - r.From).In(units.Second))
	for _, term := range r.Terms {
		s += fmt.Sprintf("; %s mm with a time constant of %s s", withError(term.Size.In(units.Millimetre), term.SizeStdErr.In(units.Millimetre)), withError(term.Time.In(units.Second), term.TimeStdErr.In(units.Second)))
	}
	if !math.IsNaN(float64(r.Creep)) {
		s += fmt.Sprintf("; beside it a creep of %s mm/s", withError(r.Creep.In(units.MillimetrePerSecond), r.CreepStdErr.In(units.MillimetrePerSecond)))
	}
	return s
}

// withError writes a value with its standard error, or to three digits without one.
func withError(v, stdErr float64) string {
	if !(stdErr > 0) {
		return number.Significant(v, 3)
	}
	return number.PlusMinus(v, stdErr)
}
