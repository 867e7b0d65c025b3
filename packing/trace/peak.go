package trace

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// An Apex is the highest point of a trace.
type Apex struct {
	Index  int     // of the highest sample
	X      float64 // position of the maximum, in seconds or cubic metres
	Height float64 // value of the maximum
}

// Apex returns the maximum of a parabola through the highest sample and reach
// samples on each side, by least squares. A reach of 1 puts the parabola
// through three points; 0 returns the highest sample itself. Near the end of
// the trace, or where the parabola does not bend down inside its points, the
// highest sample is returned. The baseline should have been taken away before. A
// trace without points has its apex at NaN.
func (t Trace) Apex(reach int) Apex {
	if len(t.y) == 0 {
		return Apex{-1, math.NaN(), math.NaN()}
	}
	return t.apexAt(highest(t.y), reach)
}

// apexAt returns the apex at sample k.
func (t Trace) apexAt(k, reach int) Apex {
	at := Apex{k, t.x[k], t.y[k]}
	if reach < 1 || k < reach || k+reach >= len(t.y) {
		return at
	}
	// Sums about the highest sample, positions in units of the reach.
	x0, y0, scale := t.x[k], t.y[k], (t.x[k+reach]-t.x[k-reach])/2
	if scale <= 0 {
		return at
	}
	var n, sx, sxx, sxxx, sxxxx, sy, sxy, sxxy float64
	for i := k - reach; i <= k+reach; i++ {
		x, y := (t.x[i]-x0)/scale, t.y[i]-y0
		n++
		sx += x
		sxx += x * x
		sxxx += x * x * x
		sxxxx += x * x * x * x
		sy += y
		sxy += x * y
		sxxy += x * x * y
	}
	// Normal equations, reduced by the mean, of y = c0 + c1 x + c2 x².
	a11, a12, a22 := sxx-sx*sx/n, sxxx-sx*sxx/n, sxxxx-sxx*sxx/n
	b1, b2 := sxy-sx*sy/n, sxxy-sxx*sy/n
	det := a11*a22 - a12*a12
	c1, c2 := (b1*a22-b2*a12)/det, (a11*b2-a12*b1)/det
	c0 := (sy - c1*sx - c2*sxx) / n
	top := -c1 / (2 * c2)
	if !(c2 < 0) || !(math.Abs(top) <= 1) {
		return at
	}
	at.X, at.Height = x0+top*scale, y0+c0+top*(c1+top*c2)
	return at
}

// highest returns the index of the first of the highest values.
func highest(y []float64) int {
	k := 0
	for start := 0; start < len(y); start += extremeBlock {
		block, top := y[start:min(start+extremeBlock, len(y))], y[k]
		if !slices.ContainsFunc(block, func(v float64) bool { return v > top }) {
			continue
		}
		for i, v := range block {
			if v > top {
				k, top = start+i, v
			}
		}
	}
	return k
}

// A Width is where a peak crosses a fraction of its height. The positions are
// interpolated between samples by a straight line; a side that never falls to
// the level is NaN.
type Width struct {
	Fraction float64 // of the height, 0 to 1
	Level    float64 // the value that is crossed
	// Left and Right are the outermost crossings from the apex.
	Left, Right float64
	// InnerLeft and InnerRight are the crossings next to the apex: others than
	// the outermost if noise or a second peak crosses the level several times.
	InnerLeft, InnerRight float64
}

// Width returns the distance of the outermost crossings; NaN if one is missing.
func (w Width) Width() float64 { return w.Right - w.Left }

// Front returns the part of the width in front of the apex.
func (w Width) Front(a Apex) float64 { return a.X - w.Left }

// Back returns the part of the width behind the apex.
func (w Width) Back(a Apex) float64 { return w.Right - a.X }

// Width finds where the trace crosses a fraction of the height of the apex.
// The fraction must lie between 0 and 1. The baseline should have been taken
// away before.
func (t Trace) Width(a Apex, fraction float64) (Width, error) {
	w, err := t.Widths(a, []float64{fraction})
	if err != nil {
		return Width{}, err
	}
	return w[0], nil
}

// Widths is [Trace.Width] for several fractions; it is quickest when they rise.
func (t Trace) Widths(a Apex, fractions []float64) ([]Width, error) {
	nan := math.NaN()
	widths := make([]Width, 0, len(fractions))
	x, y, k := t.x, t.y, a.Index
	// All points outside first and last lie below the level of the fraction
	// before, and so below every higher one.
	first, last, before := 0, len(y)-1, 0.0
	for _, f := range fractions {
		if !(f > 0 && f < 1) {
			return nil, fmt.Errorf("fraction %v of a peak's height; it must lie between 0 and 1, as 0.5", f)
		}
		level := f * a.Height
		w := Width{f, level, nan, nan, nan, nan}
		if k < 0 || k >= len(y) || !(y[k] > level) {
			widths = append(widths, w)
			continue
		}
		if f < before {
			first, last = 0, len(y)-1
		}
		before = f
		reaches := func(v float64) bool { return !(v < level) }
		first += slices.IndexFunc(y[first:k+1], reaches)
		if first > 0 {
			w.Left = between(x, y, first-1, level)
		}
		last = k + lastIndexFunc(y[k:last+1], reaches)
		if last < len(y)-1 {
			w.Right = between(x, y, last, level)
		}
		misses := func(v float64) bool { return !(v >= level) }
		if i := lastIndexFunc(y[:k], misses); i >= 0 {
			w.InnerLeft = between(x, y, i, level)
		}
		if j := slices.IndexFunc(y[k:], misses); j >= 0 {
			w.InnerRight = between(x, y, k+j-1, level)
		}
		widths = append(widths, w)
	}
	return widths, nil
}

// lastIndexFunc returns the last index at which f holds; -1 if there is none.
func lastIndexFunc(y []float64, f func(v float64) bool) int {
	for i := len(y) - 1; i >= 0; i-- {
		if f(y[i]) {
			return i
		}
	}
	return -1
}

// between returns where the line from sample i to the next has the level.
func between(x, y []float64, i int, level float64) float64 {
	return x[i] + (x[i+1]-x[i])*(level-y[i])/(y[i+1]-y[i])
}

// Moments are the area and the first moments of a peak.
type Moments struct {
	Range Range   // from where to where they were taken
	Area  float64 // value times seconds or cubic metres
	Mean  float64 // first moment M1
	// Variance is the second moment about the mean, M2.
	Variance float64
}

// Moments returns area, mean and variance of the trace within r by the
// trapezoidal rule; the values at the limits are interpolated. The zero Range
// takes the whole trace.
//
//	A = ∫ y dx,  M1 = ∫ xy dx / A,  M2 = ∫ (x-M1)² y dx / A
//
// An area or a variance that is not positive is an error: take the baseline
// away first.
func (t Trace) Moments(r Range) (Moments, error) {
	span := t.Span()
	if r.IsZero() {
		r = span
	}
	lo, hi, err := t.indices(r)
	if err != nil {
		return Moments{}, err
	}
	if r.From < span.From || r.To > span.To || hi-lo < 1 {
		return Moments{}, fmt.Errorf("moments of trace %q from %s: the trace runs from %s, and a point must lie inside", t.Name, r, span)
	}
	c := (r.From + r.To) / 2 // sums about the middle keep digits
	var s0, s1, s2 float64
	x0, y0 := r.From, t.valueAt(r.From, lo)
	f1 := (x0 - c) * y0
	f2 := (x0 - c) * f1
	limit := Trace{x: []float64{r.To}, y: []float64{t.valueAt(r.To, hi)}}
	for _, part := range []Trace{t.part(lo, hi), limit} {
		ys := part.y[:len(part.x)]
		for i, x1 := range part.x {
			y1 := ys[i]
			h, d := (x1-x0)/2, x1-c
			g1 := d * y1
			g2 := d * g1
			s0 += h * (y0 + y1)
			s1 += h * (f1 + g1)
			s2 += h * (f2 + g2)
			x0, y0, f1, f2 = x1, y1, g1, g2
		}
	}
	m := Moments{Range: r, Area: s0, Mean: c + s1/s0, Variance: s2/s0 - (s1/s0)*(s1/s0)}
	if !(s0 > 0) || !(m.Variance > 0) {
		return Moments{}, fmt.Errorf("moments of trace %q from %s: area %.4g and variance %.4g must be positive; check the baseline and the range", t.Name, r, s0, m.Variance)
	}
	return m, nil
}

// valueAt interpolates the value at x, where i is the first index behind x or
// on it.
func (t Trace) valueAt(x float64, i int) float64 {
	if i == 0 {
		return t.y[0]
	}
	if i == len(t.x) {
		return t.y[i-1]
	}
	if step := t.x[i] - t.x[i-1]; step > 0 {
		return t.y[i-1] + (t.y[i]-t.y[i-1])*(x-t.x[i-1])/step
	}
	return t.y[i]
}

// Extremes returns the indices of the first of the lowest and of the first of
// the highest values; -1 for a trace without points.
func (t Trace) Extremes() (lowest, highest int) {
	if len(t.y) == 0 {
		return -1, -1
	}
	low, high := t.y[0], t.y[0]
	for i, v := range t.y {
		if v > high {
			highest, high = i, v
		} else if v < low {
			lowest, low = i, v
		}
	}
	return lowest, highest
}

// ExtremesOver returns the indices of the first of the points farthest below
// and above a line; -1 for a trace without points.
func (t Trace) ExtremesOver(l Line) (lowest, highest int) {
	if l.Bent() {
		return t.Minus(l).Extremes()
	}
	lowest, highest = -1, -1
	level, slope := l.Level-l.Slope*l.Origin, l.Slope
	low, high := math.Inf(1), math.Inf(-1)
	// A stretch in which no point passes the extremes so far, even where the line
	// is lowest or highest in it, is not measured point by point.
	for start := 0; start < len(t.y); start += extremeBlock {
		end := min(start+extremeBlock, len(t.y))
		under, over := level+slope*t.x[start], level+slope*t.x[end-1]
		if over < under {
			under, over = over, under
		}
		y := t.y[start:end]
		top, bottom := high+under, low+over // rounding cannot lift a lower v above high+under
		if !slices.ContainsFunc(y, func(v float64) bool { return v >= top || v <= bottom }) {
			continue
		}
		x := t.x[start:end][:len(y)]
		for i, v := range y {
			v -= level + slope*x[i]
			if v > high {
				highest, high = start+i, v
			}
			if v < low {
				lowest, low = start+i, v
			}
		}
	}
	return lowest, highest
}

// extremeBlock is how many points are looked at together for an extreme: most
// have none, which is quick to see.
const extremeBlock = 64

// Count returns the number of points from one position to another.
func (t Trace) Count(from, to float64) int {
	lo := sort.SearchFloat64s(t.x, from)
	hi := sort.Search(len(t.x), func(i int) bool { return t.x[i] > to })
	return max(0, hi-lo)
}
