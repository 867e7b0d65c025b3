package efficiency

import (
	"math"

	"github.com/evenbed/evenbed/packing/units"
)

// A gradient is how a number follows each value of the front: all that is
// measured in a front is, for a small change, a sum over its samples.
type gradient []float64

// plus adds k times another.
func (g gradient) plus(k float64, other gradient) gradient {
	for i, v := range other {
		g[i] += k * v
	}
	return g
}

// times multiplies by k.
func (g gradient) times(k float64) gradient {
	for i := range g {
		g[i] *= k
	}
	return g
}

// copied returns a copy.
func (g gradient) copied() gradient { return append(gradient(nil), g...) }

// spread hands what follows smoothed value i on to the samples of its window.
func (r TransitionResult) spread(g gradient, i int, w float64) {
	m := r.SmoothingWindow / 2
	if m < 2 || i < m || i >= len(g)-m {
		g[i] += w
		return
	}
	for j := -m; j <= m; j++ {
		g[i+j] += w * coefficient(m, float64(j))
	}
}

// spreadSlope hands what follows derivative i on to the samples.
func (r TransitionResult) spreadSlope(g gradient, i int, w float64) {
	for j, c := range slopeWeights {
		if at := i - 1 + j; at >= 0 && at < len(g) {
			r.spread(g, at, w*c/(24*r.slope.h))
		}
	}
}

// stdErr returns the standard error of a number with this gradient: its own
// samples, and those of the plateaus, which make the levels.
//
//	∂F/∂C = 1/ΔC,  ∂F/∂C0 = -(1-F)/ΔC,  ∂F/∂C∞ = -F/ΔC
func (r TransitionResult) stdErr(g gradient) float64 {
	var mean, tilt [2]float64 // how the number follows each level and its slope
	for i, v := range g {
		f := r.front.y[i]
		for k, part := range [2]float64{v * (1 - f), v * f} {
			at := min(i, r.hi)
			if k == 1 {
				at = max(i, r.lo)
			}
			mean[k] += part
			tilt[k] += part * (float64(at) - r.levels[k].middle)
		}
	}
	sum := 0.0
	for i, v := range g {
		for k, l := range r.levels {
			from := float64(i) - l.middle
			if math.Abs(from) > l.points/2 {
				continue
			}
			v -= mean[k] / l.points
			if l.slope != 0 {
				v -= tilt[k] * from * 12 / (l.points * (l.points*l.points - 1))
			}
		}
		sum += v * v
	}
	return r.Noise / math.Abs(r.Step) * math.Sqrt(sum)
}

// errors works out the standard errors.
func (r *TransitionResult) errors() {
	h := r.front.h
	fresh := func() gradient { return make(gradient, len(r.front.y)) }
	set := func(p *FrontPlates, g gradient) {
		p.PlatesStdErr = r.stdErr(g)
		p.HETPStdErr = p.HETP * units.Length(p.PlatesStdErr/p.Plates)
	}
	// ratio returns the gradient of k (x/w)².
	ratio := func(n, x float64, gx gradient, w float64, gw gradient) gradient {
		return gx.copied().times(2*n/x).plus(-2*n/w, gw)
	}

	// Moments without differentiation: ∂M1 = -h, ∂M2 = -2h(V-M1) and so on.
	m := r.Moments
	m1, sd := float64(m.Mean), math.Sqrt(m.Variance)
	g1, g2, g3, g4 := fresh(), fresh(), fresh(), fresh()
	for i := r.lo; i <= r.hi; i++ {
		w := h
		if i == r.lo || i == r.hi {
			w = h / 2
		}
		z := (r.front.x(i) - m1) / sd
		g1[i] = -w
		g2[i] = -2 * w * z / sd // over M2
		g3[i] = -3*w*z*z/sd + 3*w/sd
		g4[i] = -4*w*z*z*z/sd + 4*w*m.Skewness/sd
	}
	set(&r.ByMoments, g1.copied().times(2*r.ByMoments.Plates/m1).plus(-r.ByMoments.Plates, g2))
	e1 := r.stdErr(g1)
	r.FrontVolumeStdErr = units.Volume(e1).In(r.volume)
	r.RecoveredStdErr = math.NaN()
	if !math.IsNaN(r.Recovered) {
		r.RecoveredStdErr = units.Volume(e1).In(m.To)
	}
	r.SkewnessStdErr = r.stdErr(g3.plus(-1.5*m.Skewness, g2))
	r.KurtosisStdErr = r.stdErr(g4.plus(-2*(m.Kurtosis+3), g2))

	// By differences: the same but for the ends, which the sum is divided by.
	d := r.Derivative
	d1, v := float64(d.Mean), d.Variance+r.Discretisation
	total := r.front.y[r.hi] - r.front.y[r.lo]
	gd1, gd2 := fresh(), fresh()
	for i := r.lo; i < r.hi; i++ {
		x := r.front.x(i) + h/2 - d1
		gd1[i+1] += x / total
		gd1[i] -= x / total
		gd2[i+1] += (x*x - v) / total
		gd2[i] -= (x*x - v) / total
	}
	set(&r.ByDerivative, gd1.times(2*r.ByDerivative.Plates/d1).plus(-r.ByDerivative.Plates/d.Variance, gd2))

	// Clipped: what moves the ends moves nothing, for the part counted there is
	// nothing.
	c := r.Clipped
	c1, csd := float64(c.Mean), math.Sqrt(c.Variance)
	share := float64(r.Transition.To - r.Transition.From)
	gc1, gc2 := fresh(), fresh()
	for i := range r.calm.y {
		x := r.calm.x(i)
		if x < float64(r.Start) || x > float64(r.End) {
			continue
		}
		r.spread(gc1, i, -h/share)
		r.spread(gc2, i, -2*h/share*(x-c1)/csd/csd)
	}
	set(&r.ByClipped, gc1.times(2*r.ByClipped.Plates/c1).plus(-r.ByClipped.Plates, gc2))

	// Quantiles: a crossing moves by the error of the value over the slope.
	crossing := func(x units.Volume) gradient {
		g := fresh()
		first, w := r.calm.weights(float64(x))
		slope := r.calm.steepness(float64(x), 1)
		for j, v := range w {
			r.spread(g, first+j, -v/slope)
		}
		return g
	}
	g16, g50, g84 := crossing(r.V16), crossing(r.V50), crossing(r.V84)
	r.V50StdErr = units.Volume(r.stdErr(g50))
	set(&r.ByQuantiles, ratio(r.ByQuantiles.Plates, float64(r.V50), g50, float64(r.V84-r.V16), g84.plus(-1, g16)))

	r.peakErrors(fresh, ratio, set)
}

// peakErrors works out the errors of what is measured in the derivative's peak:
// its place moves by the error of the slope over the curvature, its crossings
// by the error of the value there, less that of the level, over the slope.
func (r *TransitionResult) peakErrors(fresh func() gradient, ratio func(n, x float64, gx gradient, w float64, gw gradient) gradient, set func(*FrontPlates, gradient)) {
	d, reach, peak := r.slope, r.reach(), float64(r.Peak)
	k := int(math.Round((peak - d.x0) / d.h))
	if k < reach || k+reach >= len(d.y) {
		reach = 0
	}
	top, height := fresh(), fresh()
	if reach > 0 {
		_, _, c2 := d.parabola(k, reach)
		n, s2, s4 := float64(2*reach+1), 0.0, 0.0
		for j := 1; j <= reach; j++ {
			s2 += 2 * float64(j*j)
			s4 += 2 * float64(j*j) * float64(j*j)
		}
		for j := -reach; j <= reach; j++ {
			x := float64(j)
			r.spreadSlope(top, k+j, -d.h*x/s2/(2*c2))
			r.spreadSlope(height, k+j, (s4-s2*x*x)/(n*s4-s2*s2))
		}
	} else {
		r.spreadSlope(height, k, 1)
	}
	crossing := func(x, fraction float64) gradient {
		g := fresh()
		first, w := d.weights(x)
		for j, v := range w {
			r.spreadSlope(g, first+j, v)
		}
		return g.plus(-fraction, height).times(-1 / d.steepness(x, r.reach()))
	}
	left, right := crossing(r.Half.Left, 0.5), crossing(r.Half.Right, 0.5)
	set(&r.ByHalfHeight, ratio(r.ByHalfHeight.Plates, peak, top, r.Half.Width(), right.plus(-1, left)))
	r.AsymmetryStdErr = math.NaN()
	if math.IsNaN(r.Asymmetry) {
		return
	}
	a, b := peak-r.Tenth.Left, r.Tenth.Right-peak
	front := top.copied().plus(-1, crossing(r.Tenth.Left, 0.1))
	back := crossing(r.Tenth.Right, 0.1).plus(-1, top)
	r.AsymmetryStdErr = r.stdErr(back.times(1/a).plus(-b/a/a, front))
}
