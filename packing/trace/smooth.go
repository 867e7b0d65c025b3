package trace

import (
	"fmt"
	"math"
)

// smoothBlock is the number of points after which the running sums of
// [Trace.Smoothed] are taken afresh, so that rounding does not build up.
const smoothBlock = 256

// Smoothed returns the trace smoothed by a moving quadratic over window points
// after Savitzky and Golay. Inside it is, with m = (window-1)/2,
//
//	s_i = Σ c_j y_(i+j), j = -m … m, c_j = (3(3m²+3m-1) - 15j²) / ((2m-1)(2m+1)(2m+3)),
//
// and the first and last m points come from the quadratic through the first and
// last window. The points are taken as evenly spaced. A window of 1 changes
// nothing; an even, negative or too long window is an error.
//
// It keeps a peak's place, and lowers a Gaussian by about 0.03 (m/σ)⁴ of its
// height, σ counted in points.
//
// Source: A. Savitzky, M. J. E. Golay, Anal. Chem. 36 (1964) 1627-1639, table I.
func (t Trace) Smoothed(window int) (Trace, error) {
	if err := t.checkWindow(window); err != nil {
		return Trace{}, err
	}
	if window == 1 {
		return t, nil
	}
	calm := t
	calm.y = append([]float64(nil), t.y...)
	smooth(calm.y, window/2)
	return calm, nil
}

// Net returns the trace less the line and then smoothed as by [Trace.Smoothed],
// within near only unless that is zero. It does both in one go.
func (t Trace) Net(l Line, window int, near Range) (Trace, error) {
	lo, hi := 0, len(t.y)
	if !near.IsZero() {
		var err error
		if lo, hi, err = t.indices(near); err != nil {
			return Trace{}, err
		}
	}
	if err := t.part(lo, hi).checkWindow(window); err != nil {
		return Trace{}, err
	}
	net := t.Minus(l)
	smooth(net.y[lo:hi], window/2)
	return net, nil
}

// NetWithin returns the part within near of the trace less the line and then
// smoothed as by [Trace.Net] over all points, with the highest of the smoothed
// values in front of it and behind it, -Inf where there are none. It needs
// memory for the part only.
func (t Trace) NetWithin(l Line, window int, near Range) (part Trace, front, back float64, err error) {
	front, back = math.Inf(-1), math.Inf(-1)
	if err = t.checkWindow(window); err != nil {
		return Trace{}, front, back, err
	}
	lo, hi, err := t.indices(near)
	if err != nil {
		return Trace{}, front, back, err
	}
	if hi <= lo {
		return Trace{}, front, back, fmt.Errorf("trace %q has no points from %s; it runs from %s", t.Name, near, t.Span())
	}
	part = t.part(lo, hi)
	part.y = make([]float64, hi-lo)
	m := window / 2
	if m < 2 {
		m = 0
	}
	n := len(t.y)
	f := newFilter(m)
	var space, smoothed [2 * smoothBlock]float64
	was := space[:]
	if smoothBlock+2*m > len(was) {
		was = make([]float64, smoothBlock+2*m)
	}
	keep := func(start int, out []float64) {
		for i := 0; i < len(out); {
			switch at := start + i; {
			case at < lo:
				end := min(len(out), lo-start)
				for _, v := range out[i:end] {
					if v > front {
						front = v
					}
				}
				i = end
			case at < hi:
				i += copy(part.y[at-lo:], out[i:])
			default:
				for _, v := range out[i:] {
					if v > back {
						back = v
					}
				}
				i = len(out)
			}
		}
	}
	for start := m; start < n-m; start += smoothBlock {
		out := smoothed[:min(smoothBlock, n-m-start)]
		from, to := start-m, start+len(out)+m
		l.take(was, t.x[from:to], t.y[from:to])
		if start == m {
			ends := f.ends(was[:2*m+1], m)
			for i := range m {
				smoothed[0] = ends.at(float64(i - m))
				keep(i, smoothed[:1])
			}
		}
		f.block(out, was[:to-from])
		keep(start, out)
		if to == n {
			ends := f.ends(was[to-from-2*m-1:to-from], m)
			for i := range m {
				smoothed[0] = ends.at(float64(i + 1))
				keep(n-m+i, smoothed[:1])
			}
		}
	}
	return part, front, back, nil
}

// checkWindow refuses a window that the trace cannot be smoothed over.
func (t Trace) checkWindow(window int) error {
	switch {
	case window < 1 || window%2 == 0:
		return fmt.Errorf("smoothing window of %d points; use an odd number, or 1 for no smoothing", window)
	case window > len(t.y):
		return fmt.Errorf("smoothing window of %d points is longer than trace %q with its %d points", window, t.Name, len(t.y))
	}
	return nil
}

// smooth smooths y with half-window m in place.
func smooth(y []float64, m int) {
	if m < 2 { // a quadratic through one or three points goes through them
		return
	}
	n, f := len(y), newFilter(m)
	first, last := f.ends(y[:2*m+1], m), f.ends(y[n-2*m-1:], m)

	// was holds the points as they were, from m before a block to m behind it.
	var space [2 * smoothBlock]float64
	was := space[:]
	if smoothBlock+2*m > len(was) {
		was = make([]float64, smoothBlock+2*m)
	}
	copy(was, y[:m])
	for start := m; start < n-m; start += smoothBlock {
		out := y[start:min(start+smoothBlock, n-m)]
		copy(was[m:], y[start:start+len(out)+m])
		f.block(out, was)
		copy(was, was[len(out):len(out)+m])
	}
	for i := range m {
		y[i] = first.at(float64(i - m))
		y[n-m+i] = last.at(float64(i + 1))
	}
}

// A filter holds the constants of a moving quadratic of half-window m: Σ j⁰, Σ j²
// and Σ j⁴ over the window, and what they make.
type filter struct{ h, count, t2, t4, a, b float64 }

func newFilter(m int) filter {
	h := float64(m)
	f := filter{h: h, count: 2*h + 1, a: 1}
	if m == 0 {
		return f
	}
	f.t2 = h * (h + 1) * f.count / 3
	f.t4 = f.t2 * (3*h*h + 3*h - 1) / 5
	det := f.count*f.t4 - f.t2*f.t2
	f.a, f.b = f.t4/det, f.t2/det
	return f
}

// block smooths was, which has m points more than out at each end, into out. The
// sums over the window are carried from point to point:
//
//	S0 = Σ y_(i+j), S1 = Σ j y_(i+j), S2 = Σ j² y_(i+j)
func (f filter) block(out, was []float64) {
	m := int(f.h)
	if m == 0 {
		copy(out, was)
		return
	}
	h, a, b := f.h, f.a, f.b
	below, ahead2, below2 := h+1, h*h, (h+1)*(h+1)
	leaving, entering := was[:len(out)], was[2*m:][:len(out)]
	s0, s1, s2 := windowSums(was[:2*m+1])
	out[0] = a*s0 - b*s2
	for i := 1; i < len(out); i++ {
		o, e := leaving[i-1], entering[i]
		s2 += s0 - 2*s1 + (ahead2*e - below2*o)
		s1 += below*o + h*e - s0
		s0 += e - o
		out[i] = a*s0 - b*s2
	}
}

// A parabola is a quadratic about the middle of a window.
type parabola struct{ c0, c1, c2 float64 }

func (p parabola) at(j float64) float64 { return p.c0 + j*(p.c1+j*p.c2) }

// ends returns the quadratic through a window by least squares.
func (f filter) ends(y []float64, m int) parabola {
	s0, s1, s2 := windowSums(y)
	if m == 0 {
		return parabola{c0: s0}
	}
	det := f.count*f.t4 - f.t2*f.t2
	return parabola{(f.t4*s0 - f.t2*s2) / det, s1 / f.t2, (f.count*s2 - f.t2*s0) / det}
}

func windowSums(y []float64) (s0, s1, s2 float64) {
	j := -float64(len(y) / 2)
	for _, v := range y {
		s0 += v
		s1 += j * v
		s2 += j * j * v
		j++
	}
	return
}
