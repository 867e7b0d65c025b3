package trace

import "fmt"

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

// smooth smooths y with half-window m in place. The sums over the window are
// carried from point to point:
//
//	S0 = Σ y_(i+j), S1 = Σ j y_(i+j), S2 = Σ j² y_(i+j)
func smooth(y []float64, m int) {
	if m < 2 { // a quadratic through one or three points goes through them
		return
	}
	n, h := len(y), float64(m)
	count := 2*h + 1
	t2 := h * (h + 1) * count / 3    // Σ j²
	t4 := t2 * (3*h*h + 3*h - 1) / 5 // Σ j⁴
	det := count*t4 - t2*t2
	a, b := t4/det, t2/det
	below, ahead2, below2 := h+1, h*h, (h+1)*(h+1)
	first, last := quadratic(y[:2*m+1], count, t2, t4), quadratic(y[n-2*m-1:], count, t2, t4)

	// was holds the points as they were, from m before a block to m behind it.
	was := make([]float64, smoothBlock+2*m)
	copy(was, y[:m])
	for start := m; start < n-m; start += smoothBlock {
		out := y[start:min(start+smoothBlock, n-m)]
		copy(was[m:], y[start:start+len(out)+m])
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
		copy(was, was[len(out):len(out)+m])
	}
	for i := range m {
		y[i] = first.at(float64(i) - h)
		y[n-m+i] = last.at(float64(i) + 1)
	}
}

// A parabola is a quadratic about the middle of a window.
type parabola struct{ c0, c1, c2 float64 }

func (p parabola) at(j float64) float64 { return p.c0 + j*(p.c1+j*p.c2) }

// quadratic fits a window by least squares; t2 and t4 are Σ j² and Σ j⁴.
func quadratic(y []float64, count, t2, t4 float64) parabola {
	s0, s1, s2 := windowSums(y)
	det := count*t4 - t2*t2
	return parabola{(t4*s0 - t2*s2) / det, s1 / t2, (count*s2 - t2*s0) / det}
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
