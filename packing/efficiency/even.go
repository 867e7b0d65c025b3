package efficiency

import (
	"math"

	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// An even is a signal in even steps: value i stands at x0 + i h.
type even struct {
	x0, h float64
	y     []float64
	axis  trace.Axis // of the trace it came from
}

func (e even) x(i int) float64 { return e.x0 + float64(i)*e.h }

// scaled returns (y - zero)/one.
func (e even) scaled(zero, one float64) even {
	y := make([]float64, len(e.y))
	for i, v := range e.y {
		y[i] = (v - zero) / one
	}
	e.y = y
	return e
}

// plateau returns mean, drift and noise of the samples from ends[0] to before
// ends[1].
func (e even) plateau(ends [2]int) Plateau {
	part := e.y[ends[0]:ends[1]]
	n := float64(len(part))
	mean, sxy, sxx, rest := 0.0, 0.0, 0.0, 0.0
	for _, v := range part {
		mean += v / n
	}
	middle := (n - 1) / 2
	for i, v := range part {
		x := float64(i) - middle
		sxy += x * (v - mean)
		sxx += x * x
	}
	slope := sxy / sxx
	for i, v := range part {
		d := v - mean - slope*(float64(i)-middle)
		rest += d * d
	}
	return Plateau{Level: mean, Noise: math.Sqrt(rest / (n - 2)), Drift: slope * (n - 1), Points: len(part)}
}

// A level is the straight line of a plateau, by samples.
type level struct{ middle, mean, slope, points float64 }

func (l level) at(i int) float64 { return l.mean + l.slope*(float64(i)-l.middle) }

// level returns the mean of the samples from ends[0] to before ends[1], and with
// it their slope if that is a drift: it stands out from the noise, is no more
// bent than it is steep, and is not nothing beside the step.
func (e even) level(ends [2]int, step float64) level {
	p := e.plateau(ends)
	n := float64(p.Points)
	l := level{middle: float64(ends[0]+ends[1]-1) / 2, mean: p.Level, points: n}
	half := (ends[0] + ends[1]) / 2
	if half-ends[0] < leastPlateau {
		return l
	}
	slope, own := p.Drift/(n-1), p.Noise*math.Sqrt(12/n)/n
	first, second := e.plateau([2]int{ends[0], half}), e.plateau([2]int{half, ends[1]})
	bend := math.Abs(first.Drift/float64(first.Points-1) - second.Drift/float64(second.Points-1))
	// A half of the points knows its slope √8 times worse, and two of them
	// differ by √2 times that.
	if math.Abs(slope) > driftStands*own && math.Abs(p.Drift) > leastDrift*math.Abs(step) && bend < math.Max(math.Abs(slope), 4*driftStands*own) {
		l.slope = slope
	}
	return l
}

// between returns the front from one level to the other, F = (C-C0)/(C∞-C0).
// Behind sample hi C0 stays as it is there, and C∞ in front of lo, so that no
// line is drawn on where it counts no more.
func (e even) between(zero, one level, lo, hi int) even {
	y := make([]float64, len(e.y))
	for i, v := range e.y {
		z := zero.at(min(i, hi))
		y[i] = (v - z) / (one.at(max(i, lo)) - z)
	}
	e.y = y
	return e
}

// jitter returns the noise from ends[0] to before ends[1] by differences of
// neighbours, which does not see what changes slowly.
func (e even) jitter(ends [2]int) float64 {
	sum := 0.0
	for i := ends[0] + 1; i < ends[1]; i++ {
		d := e.y[i] - e.y[i-1]
		sum += d * d
	}
	return math.Sqrt(sum / 2 / float64(ends[1]-ends[0]-1))
}

// split returns the sample from first to before last in front of which and from
// which on the signal is closest to two levels, by least squares.
func (e even) split(first, last int) int {
	n := float64(len(e.y))
	mean := 0.0
	for _, v := range e.y {
		mean += v / n
	}
	best, at, sum := 0.0, (first+last)/2, 0.0
	for i, v := range e.y[:last] {
		if k := float64(i); i >= max(first, 1) {
			// What two levels explain: n/(k(n-k)) of the squared sum of the first k
			// differences from the mean.
			if explained := sum * sum * n / (k * (n - k)); explained > best {
				best, at = explained, i
			}
		}
		sum += v - mean
	}
	return at
}

// centre returns the mean of a front and, from its mean distance from there,
// ∫ |V-M1| dF = σ√(2/π) of a Gaussian, a standard deviation that a tail does
// not dominate. Both are integrals of the front itself, so noise averages out.
func (e even) centre(lo, hi int) (mean, sigma float64) {
	mean = e.x(lo) + e.h*(1-e.y[lo]+1-e.y[hi])/2
	for i := lo + 1; i < hi; i++ {
		mean += e.h * (1 - e.y[i])
	}
	for i := lo; i <= hi; i++ {
		if e.x(i) < mean {
			sigma += e.h * e.y[i]
		} else {
			sigma += e.h * (1 - e.y[i])
		}
	}
	return mean, sigma * math.Sqrt(math.Pi/2)
}

// smoothed is the moving quadratic of [trace.Trace.Smoothed].
func (e even) smoothed(window int) even {
	m := window / 2
	if m < 2 {
		return e
	}
	c := make([]float64, 2*m+1)
	for j := range c {
		c[j] = coefficient(m, float64(j-m))
	}
	y := append([]float64(nil), e.y...)
	for i := m; i < len(y)-m; i++ {
		s := 0.0
		for j, w := range c {
			s += w * e.y[i-m+j]
		}
		y[i] = s
	}
	e.y = y
	return e
}

// The weights of a slope midway between the second and third of four samples,
// over 24 h. Over two samples it would be the mean of the slope over a step,
// and a peak of such slopes too wide by h²/12 in its variance.
var slopeWeights = [4]float64{1, -27, 27, -1}

// slopes returns the derivative midway between samples.
func (e even) slopes() even {
	d := even{x0: e.x0 + e.h/2, h: e.h, y: make([]float64, len(e.y)-1), axis: e.axis}
	for i := range d.y {
		if i == 0 || i == len(d.y)-1 {
			d.y[i] = (e.y[i+1] - e.y[i]) / e.h
			continue
		}
		for j, w := range slopeWeights {
			d.y[i] += w * e.y[i-1+j] / (24 * e.h)
		}
	}
	return d
}

// weights returns the first of four samples around a position and what each
// counts in the cubic through them.
func (e even) weights(x float64) (first int, w [4]float64) {
	p := (x - e.x0) / e.h
	first = min(max(int(math.Floor(p))-1, 0), len(e.y)-4)
	t := p - float64(first)
	return first, [4]float64{
		-(t - 1) * (t - 2) * (t - 3) / 6, t * (t - 2) * (t - 3) / 2,
		-t * (t - 1) * (t - 3) / 2, t * (t - 1) * (t - 2) / 6,
	}
}

// at returns the value at a position, by the cubic through four samples.
func (e even) at(x float64) float64 {
	first, w := e.weights(x)
	sum := 0.0
	for j, v := range w {
		sum += v * e.y[first+j]
	}
	return sum
}

// steepness returns the change of value per length at a position, over reach
// steps on both sides.
func (e even) steepness(x float64, reach int) float64 {
	d := float64(reach) * e.h
	return (e.at(x+d) - e.at(x-d)) / (2 * d)
}

// root returns where the value is level between samples i and i+1.
func (e even) root(level float64, i int) float64 {
	a, b := e.x(i), e.x(i+1)
	above := e.y[i] >= level
	for range 60 {
		if mid := (a + b) / 2; (e.at(mid) >= level) == above {
			a = mid
		} else {
			b = mid
		}
	}
	return (a + b) / 2
}

// cross walks from a sample until the level is crossed and returns where; NaN
// if it is not.
func (e even) cross(level float64, from, step int) float64 {
	above := e.y[from] >= level
	for i := from + step; i >= 0 && i < len(e.y); i += step {
		if (e.y[i] >= level) != above {
			return e.root(level, min(i, i-step))
		}
	}
	return math.NaN()
}

// middle returns the sample of a rising front next to its half: of the
// crossings the middle one.
func (e even) middle(lo, hi int) int {
	var found []int
	for i := lo; i < hi; i++ {
		if (e.y[i] >= 0.5) != (e.y[i+1] >= 0.5) {
			found = append(found, i)
		}
	}
	if len(found) == 0 {
		return (lo + hi) / 2
	}
	return found[len(found)/2]
}

// crossing returns where a rising front has the level, nearest to the sample in
// its middle.
func (e even) crossing(level float64, middle int) float64 {
	if e.y[middle] >= level {
		return e.cross(level, middle, -1)
	}
	return e.cross(level, middle, 1)
}

// parabola fits one through the samples within reach of k, in steps about k.
func (e even) parabola(k, reach int) (c0, c1, c2 float64) {
	var n, s2, s4, y0, y1, y2 float64
	for j := -reach; j <= reach; j++ {
		x, y := float64(j), e.y[k+j]
		n++
		s2 += x * x
		s4 += x * x * x * x
		y0 += y
		y1 += x * y
		y2 += x * x * y
	}
	det := n*s4 - s2*s2
	return (s4*y0 - s2*y2) / det, y1 / s2, (n*y2 - s2*y0) / det
}

// apex returns the maximum of a parabola through the samples within reach of k;
// the sample itself where it does not bend down.
func (e even) apex(k, reach int) trace.Apex {
	at := trace.Apex{Index: k, X: e.x(k), Height: e.y[k]}
	if k < reach || k+reach >= len(e.y) {
		return at
	}
	c0, c1, c2 := e.parabola(k, reach)
	if top := -c1 / (2 * c2); c2 < 0 && math.Abs(top) <= float64(reach) {
		at.X, at.Height = e.x(k)+top*e.h, c0+c1*top/2
	}
	return at
}

// width returns where the peak falls to a fraction of its height, next to its
// apex.
func (e even) width(a trace.Apex, fraction float64) trace.Width {
	level := fraction * a.Height
	left, right := e.cross(level, a.Index, -1), e.cross(level, a.Index, 1)
	return trace.Width{Fraction: fraction, Level: level, Left: left, Right: right, InnerLeft: left, InnerRight: right}
}

// moments returns the moments of a front without differentiating it: about a
// sample c,
//
//	E(V-c)ᵏ = k ∫_c^b (V-c)ᵏ⁻¹(1-F) dV - k ∫_a^c (V-c)ᵏ⁻¹ F dV
//
// by the trapezium rule. The integrand of k = 2 has a kink at c and that of
// k = 4 one in its third derivative, which the rule takes wrong by -h²/6 and
// h⁴/30, whatever F is; both are put right, and what is left falls faster than
// any power of h. The front is taken as 0 before sample lo and 1 behind hi.
//
// Source: by parts from ∫ Vᵏ dF; the rule's errors by Euler and Maclaurin.
func (e even) moments(lo, hi int) FrontMoments {
	mean, _ := e.centre(lo, hi)
	c := min(max(lo+int(math.Round((mean-e.x(lo))/e.h)), lo), hi)
	var m [5]float64
	add := func(i int, rest, w float64) {
		x, p := float64(i-c), 1.0
		for k := 1; k <= 4; k++ {
			m[k] += float64(k) * w * p * rest
			p *= x
		}
	}
	weight := func(i, from, to int) float64 {
		if from == to {
			return 0
		}
		if i == from || i == to {
			return 0.5
		}
		return 1
	}
	for i := lo; i <= c; i++ {
		add(i, -e.y[i], weight(i, lo, c))
	}
	for i := c; i <= hi; i++ {
		add(i, 1-e.y[i], weight(i, c, hi))
	}
	m[2] += 1.0 / 6
	m[4] -= 1.0 / 30
	return e.central(m, e.x(c), e.x(lo), e.x(hi))
}

// central makes moments about the mean of moments about c, in steps.
func (e even) central(m [5]float64, c, from, to float64) FrontMoments {
	d := m[1]
	m2 := m[2] - d*d
	m3 := m[3] - 3*d*m[2] + 2*d*d*d
	m4 := m[4] - 4*d*m[3] + 6*d*d*m[2] - 3*d*d*d*d
	return FrontMoments{From: units.Volume(from), To: units.Volume(to), Mean: units.Volume(c + d*e.h), Variance: m2 * e.h * e.h,
		Skewness: m3 / math.Pow(m2, 1.5), Kurtosis: m4/(m2*m2) - 3}
}

// differences returns the moments of the differences of a front, each put
// midway between its samples, and what that adds to the variance, h²/12, which
// is taken off again:
//
//	M1 = Σ Vmid ΔF/Σ ΔF,  M2 = Σ (Vmid-M1)² ΔF/Σ ΔF - h²/12
//
// The fourth moment loses h²M2/2 - 7h⁴/240, with M2 as the differences give it.
//
// Source: W. F. Sheppard, Proc. London Math. Soc. 29 (1898) 353-380.
func (e even) differences(lo, hi int) (m FrontMoments, added float64) {
	mean, _ := e.centre(lo, hi)
	c := math.Round((mean-e.x(lo))/e.h) + float64(lo)
	var s [5]float64
	for i := lo; i < hi; i++ {
		x, p := float64(i)+0.5-c, e.y[i+1]-e.y[i]
		for k := range s {
			s[k] += p
			p *= x
		}
	}
	for k := 1; k < len(s); k++ {
		s[k] /= s[0]
	}
	// From moments of the groups to those of the distribution, about c.
	s[4] += -s[2]/2 + 7.0/240
	s[3] -= s[1] / 4
	s[2] -= 1.0 / 12
	return e.central(s, e.x0+c*e.h, e.x(lo), e.x(hi)), e.h * e.h / 12
}

// clipped returns the moments of a front between two of its crossings,
//
//	E(V-c)ᵏ = (Vb-c)ᵏ - k ∫ (V-c)ᵏ⁻¹ (F-Fa)/(Fb-Fa) dV, from Va to Vb,
//
// by Simpson's rule on the cubic through the samples.
func (e even) clipped(va, vb, fa, fb float64) FrontMoments {
	c := (va + vb) / 2
	n := 4 * int(math.Ceil((vb-va)/e.h))
	step := (vb - va) / float64(n)
	var m [5]float64
	for i := 0; i <= n; i++ {
		w := 2 + 2*float64(i%2)
		if i == 0 || i == n {
			w = 1
		}
		x := va + float64(i)*step
		part := w * step / 3 * (e.at(x) - fa) / (fb - fa) / e.h
		d := (x - c) / e.h
		for k := 1; k <= 4; k++ {
			m[k] -= float64(k) * part
			part *= d
		}
	}
	for k, p := 1, 1.0; k <= 4; k++ {
		p *= (vb - c) / e.h
		m[k] += p
	}
	return e.central(m, c, va, vb)
}
