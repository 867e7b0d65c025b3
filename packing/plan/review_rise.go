package plan

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/fit"
	"github.com/evenbed/evenbed/packing/units"
)

// Rise is how the surface of the bed rose after the last compression, from the
// stop of the flow until the adapter met it.
//
//	h(t) = h0 + Σ a (1 - exp(-t/τ)),  first velocity Σ a/τ
//
// with one or two terms. Without friction it starts at the velocity that was
// flowing, whatever the medium.
type Rise struct {
	From, Until   units.Time // on the record's clock
	Points        int
	Seen          units.Length   // risen in that time
	Terms         []RiseTerm     // fastest first
	First         units.Velocity // at which it started
	FirstStdErr   units.Velocity
	Bound         units.Velocity // that which was flowing
	Whole         units.Length   // it would have risen in the end
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
	case last == nil || stop == nil || stop.Start < last.Start:
		r.Problem = "no stop after a compression"
		return
	case !sig.bed.recorded():
		r.Problem = "the bed height was not recorded"
		w.notJudged("rise after the stop (%s)", r.Problem)
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
		w.notJudged("rise after the stop (%s)", r.Problem)
		return
	}
	r.Until = units.Time(sig.bed.x[end-1])
	t, h := make([]float64, 0, r.Points), make([]float64, 0, r.Points)
	every := max(1, r.Points/500) // more do not make it better known than the model is
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

// fitRise fits two terms, and one if two are not determined.
func (w *reviewer) fitRise(t, h []float64) {
	f := w.f
	r := &f.Rise
	one, ok := riseFit(t, h, 1, float64(r.Seen), float64(r.Bound))
	if !ok {
		r.Problem = "no time constant fits the rise"
		w.notJudged("time constants of the rise (%s)", r.Problem)
		return
	}
	best, terms := one, 1
	if two, ok := riseFit(t, h, 2, float64(r.Seen), float64(r.Bound)); ok && len(t) >= 12 {
		known := true
		for k := 1; k < 5; k++ {
			known = known && two.Params[k].StdErr < two.Params[k].Value/2
		}
		// Two more parameters must take away clearly more than their share.
		gain := (one.RSS - two.RSS) / 2 / (two.RSS / float64(two.DegreesOfFreedom))
		if known && gain > 6 {
			best, terms = two, 2
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
		for k := range terms {
			sum += p[1+2*k] / p[2+2*k]
		}
		return sum
	})
	whole, wholeErr := best.Derived(func(p []float64) float64 {
		sum := 0.0
		for k := range terms {
			sum += p[1+2*k]
		}
		return sum
	})
	r.First, r.FirstStdErr = units.Velocity(first), units.Velocity(firstErr)
	r.Whole, r.WholeStdErr = units.Length(whole), units.Length(wholeErr)
	if l0 := f.SettledHeight; l0 > 0 {
		compressed := float64(l0) - best.Params[0].Value
		r.Lasting = 1 - whole/compressed
		r.LastingStdErr = math.Abs(whole/compressed) * math.Hypot(wholeErr/whole, math.Hypot(float64(f.SettledHeightStdErr), float64(w.r.HeightStdErr))/compressed)
	} else {
		w.notJudged("lasting part of the compression (no settled height)")
	}
	if first-2*firstErr > 1.1*float64(r.Bound) {
		w.doubt("The bed started to rise at %.2f mm/s, faster than the %.2f mm/s that was flowing: look at the clock and the scale of the height.",
			r.First.In(units.MillimetrePerSecond), r.Bound.In(units.MillimetrePerSecond))
	}
}

// riseFit fits a rise with a number of terms, from time constants spread over
// the record.
func riseFit(t, h []float64, terms int, seen, bound float64) (fit.Result, bool) {
	span := t[len(t)-1]
	above := fit.AtLeast(0)
	short := fit.Between(span/1000, 20*span)
	params := []fit.Param{{Name: "h0", Start: h[0]}}
	if terms == 1 {
		params = append(params, fit.Param{Name: "a", Start: seen, Bounds: above}, fit.Param{Name: "τ", Start: math.Min(span/3, math.Max(seen/bound, span/100)), Bounds: short})
	} else {
		params = append(params, fit.Param{Name: "a1", Start: 0.6 * seen, Bounds: above}, fit.Param{Name: "τ1", Start: span / 12, Bounds: short},
			fit.Param{Name: "a2", Start: 0.4 * seen, Bounds: above}, fit.Param{Name: "τ2", Start: span, Bounds: short})
	}
	result, err := fit.Curve{Params: params, X: t, Y: h,
		Model: func(x float64, p []float64) float64 {
			sum := p[0]
			for k := 1; k < len(p); k += 2 {
				sum += p[k] * -math.Expm1(-x/p[k+1])
			}
			return sum
		},
		Gradient: func(x float64, p, g []float64) {
			g[0] = 1
			for k := 1; k < len(p); k += 2 {
				e := math.Exp(-x / p[k+1])
				g[k], g[k+1] = 1-e, -p[k]*e*x/(p[k+1]*p[k+1])
			}
		}}.Fit()
	return result, err == nil && result.Converged()
}

// String writes the rise in a sentence.
func (r Rise) String() string {
	if r.Problem != "" {
		return r.Problem
	}
	s := fmt.Sprintf("%.1f mm seen in %.0f s", r.Seen.In(units.Millimetre), (r.Until - r.From).In(units.Second))
	for _, term := range r.Terms {
		s += fmt.Sprintf("; %s mm with a time constant of %s s", withError(term.Size.In(units.Millimetre), term.SizeStdErr.In(units.Millimetre)), withError(term.Time.In(units.Second), term.TimeStdErr.In(units.Second)))
	}
	return s
}

// withError writes a value and its standard error to the digits that the error
// leaves.
func withError(v, se float64) string {
	if !(se > 0) || math.IsInf(se, 0) {
		return significant(v, 3)
	}
	digits := max(0, min(6, int(math.Ceil(-math.Log10(se)+0.3))))
	return fmt.Sprintf("%.*f ± %.*f", digits, v, digits, se)
}
