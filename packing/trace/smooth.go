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
	switch {
	case window < 1 || window%2 == 0:
		return Trace{}, fmt.Errorf("smoothing window of %d points; use an odd number, or 1 for no smoothing", window)
	case window > len(t.y):
		return Trace{}, fmt.Errorf("smoothing window of %d points is longer than trace %q with its %d points", window, t.Name, len(t.y))
	case window == 1:
		return t, nil
	}
	calm := t
	calm.y = make([]float64, len(t.y))
	if window == 3 { // a quadratic through three points goes through them
		copy(calm.y, t.y)
		return calm, nil
	}
	smooth(calm.y, t.y, window/2)
	return calm, nil
}

// smooth writes the quadratic smoothing of y with half-window m into dst. The
// sums over the window are carried from point to point:
//
//	S0 = Σ y_(i+j), S1 = Σ j y_(i+j), S2 = Σ j² y_(i+j)
func smooth(dst, y []float64, m int) {
	n, h := len(y), float64(m)
	count := 2*h + 1
	t2 := h * (h + 1) * count / 3    // Σ j²
	t4 := t2 * (3*h*h + 3*h - 1) / 5 // Σ j⁴
	a, b := t4/(count*t4-t2*t2), t2/(count*t4-t2*t2)
	below, ahead2, below2 := h+1, h*h, (h+1)*(h+1)

	var s0, s1, s2 float64
	for start := m; start < n-m; start += smoothBlock {
		end := min(start+smoothBlock, n-m)
		s0, s1, s2 = windowSums(y[start-m : start+m+1])
		if start == m {
			fillEnd(dst[:m], -h, s0, s1, s2, count, t2, t4)
		}
		out := dst[start:end]
		leaving := y[start-m:][:len(out)]
		entering := y[start+m:][:len(out)]
		out[0] = a*s0 - b*s2
		for i := 1; i < len(out); i++ {
			o, e := leaving[i-1], entering[i]
			s2 += s0 - 2*s1 + (ahead2*e - below2*o)
			s1 += below*o + h*e - s0
			s0 += e - o
			out[i] = a*s0 - b*s2
		}
	}
	s0, s1, s2 = windowSums(y[n-2*m-1:])
	fillEnd(dst[n-m:], 1, s0, s1, s2, count, t2, t4)
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

// fillEnd evaluates the quadratic of a window from the offset first on.
func fillEnd(dst []float64, first, s0, s1, s2, count, t2, t4 float64) {
	det := count*t4 - t2*t2
	c0, c1, c2 := (t4*s0-t2*s2)/det, s1/t2, (count*s2-t2*s0)/det
	for i := range dst {
		j := first + float64(i)
		dst[i] = c0 + j*(c1+j*c2)
	}
}
