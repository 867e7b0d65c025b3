package efficiency

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/trace"
)

// The bounds of a bootstrap.
const (
	fewestTraces, mostTraces = 100, 100_000
	kernel                   = 0.5  // of the normal noise that is added to a drawn residual, in its standard deviation
	mostWithout              = 0.05 // of the resampled traces may give no value
	mostTail                 = 1.5  // half of the 95 % interval, in two standard errors
	pilotShare               = 2    // the model is smoothed over half the points above half height
	modelEnd                 = 2.0  // times its noise, where the model of the peak ends
)

func (b Bootstrap) check() error {
	if n := b.Traces; n != 0 && (n < fewestTraces || n > mostTraces) {
		return &packing.InputError{What: fmt.Sprintf("a bootstrap of %d traces", n), Problem: "too few or too many for a 95 % interval",
			Remedy: fmt.Sprintf("write 400, or another number from %d to %d", fewestTraces, mostTraces)}
	}
	return nil
}

// A drawing is what resampled traces gave.
type drawing struct {
	model measured // of the peak without noise
	all   []measured
}

// draw evaluates resampled traces.
func (r *PulseResult) draw(s *spread) (*drawing, error) {
	model, err := r.model(s)
	if err != nil {
		return nil, err
	}
	x := r.recorded.Positions()
	y := make([]float64, len(x))
	from, scale := r.innovations(s)
	random := rand.New(rand.NewPCG(r.Pulse.Bootstrap.Seed, 1))
	d := &drawing{all: make([]measured, r.Pulse.Bootstrap.Traces)}
	if d.model, err = r.again(x, model); err != nil {
		return nil, fmt.Errorf("bootstrap: %w", err)
	}
	for k := range d.all {
		e := 0.0
		next := func() {
			e = s.lag*e + (from[random.IntN(len(from))]+kernel*scale*random.NormFloat64())/math.Hypot(1, kernel)
		}
		for range 50 { // until the beginning is forgotten
			next()
		}
		for i, v := range model {
			next()
			y[i] = v + e
		}
		if d.all[k], err = r.again(x, y); err != nil {
			for i := range d.all[k] {
				d.all[k][i] = math.NaN()
			}
		}
	}
	return d, nil
}

// model returns the peak on its baseline without noise: smoothed over half its
// width at half height, and nothing from where it sinks into the noise.
func (r *PulseResult) model(s *spread) ([]float64, error) {
	window := max(r.SmoothingWindow, r.PointsAboveHalfHeight/pilotShare/2*2+1)
	calm, err := r.recorded.Net(r.Baseline, window, trace.Range{})
	if err != nil {
		return nil, err
	}
	y := calm.Values()
	end := modelEnd * s.noise * math.Sqrt(math.Min(1, centre(window)*s.inflation()))
	k := indexOf(&calm, r.Apex.X)
	lo, hi := k, k
	for lo > 0 && (y[lo] > end || position(&calm, lo) > r.Half.Left) {
		lo--
	}
	for hi < len(y)-1 && (y[hi] > end || position(&calm, hi) < r.Half.Right) {
		hi++
	}
	for i := range y {
		if i < lo || i > hi {
			y[i] = 0
		}
		y[i] += r.Baseline.At(position(&calm, i))
	}
	return y, nil
}

// innovations returns what the autoregression leaves of the residuals in the
// quiet stretches, with mean zero and the standard deviation, scale, that makes
// the noise.
func (r *PulseResult) innovations(s *spread) (out []float64, scale float64) {
	mean := 0.0
	for _, q := range s.quiet {
		last := 0.0
		for i := q[0]; i < q[1]; i++ {
			x, y := r.recorded.XY(i)
			d := y - r.Baseline.At(x)
			if i > q[0] || s.lag == 0 {
				out = append(out, d-s.lag*last)
				mean += d - s.lag*last
			}
			last = d
		}
	}
	mean /= float64(len(out))
	square := 0.0
	for i := range out {
		out[i] -= mean
		square += out[i] * out[i] / float64(len(out))
	}
	scale = s.noise * math.Sqrt(1-s.lag*s.lag)
	for i := range out {
		out[i] *= scale / math.Sqrt(square)
	}
	return out, scale
}

// again measures a trace as the result was measured: with its smoothing, quiet
// stretches and limits of the moments.
func (r *PulseResult) again(x, y []float64) (measured, error) {
	tr, err := trace.Make(r.Signal, r.Unit, r.Axis, x, y)
	if err != nil {
		return measured{}, err
	}
	a := PulseResult{Pulse: r.Pulse, Signal: r.Signal, Axis: r.Axis}
	a.Pulse.Smoothing.Window = r.SmoothingWindow
	a.baseline = r.baseline
	a.baseline.Before, a.baseline.After = r.Baseline.Before, r.Baseline.After
	if err := a.prepare(tr); err != nil {
		return measured{}, err
	}
	if err := a.findPeak(); err != nil {
		return measured{}, err
	}
	if a.Moments, err = a.momentsWithin(r.Moments.Range); err != nil {
		nan := math.NaN()
		a.Moments = trace.Moments{Area: nan, Mean: nan, Variance: nan}
	}
	return a.measured(), nil
}

// interval returns standard error and 95 % interval of a number with value v.
func (d *drawing) interval(r *PulseResult, f function, v float64) (se, low, high float64, doubt string) {
	nan := math.NaN()
	base := f(r, d.model)
	ratios := make([]float64, 0, len(d.all))
	for _, m := range d.all {
		if q := f(r, m) / base; !math.IsNaN(q) {
			ratios = append(ratios, q)
		}
	}
	without := 1 - float64(len(ratios))/float64(len(d.all))
	if math.IsNaN(base) || without > 0.5 {
		return nan, nan, nan, "most resampled traces give no value"
	}
	slices.Sort(ratios)
	at := func(p float64) float64 { // between the nearest ranks
		x := p*float64(len(ratios)+1) - 1
		i := min(max(int(x), 0), len(ratios)-2)
		return ratios[i] + (x-float64(i))*(ratios[i+1]-ratios[i])
	}
	se = math.Abs(v) * (at(0.8413) - at(0.1587)) / 2
	switch wide := math.Abs(v) * (at(0.975) - at(0.025)) / 4; {
	case without > mostWithout:
		doubt = fmt.Sprintf("%.0f %% of the resampled traces give no value", 100*without)
	case wide > mostTail*se:
		doubt = "some of the resampled traces give a value far off"
	}
	return se, v / at(0.975), v / at(0.025), doubt
}
