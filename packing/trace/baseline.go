package trace

import (
	"fmt"
	"math"
	"sort"
)

// A Baseline says how the signal without the peak is taken. The zero value is
// a straight line between quiet stretches at both ends of the trace.
type Baseline struct {
	// None takes the values as they are.
	None bool
	// RubberBand takes the convex hull of the points on the side away from the
	// peak, as a band stretched under it: for a baseline that bends away from the
	// peak. Which side the peak is on is told by its being narrow. The band is
	// lifted to the mean of the points in the quiet stretches, so that it runs
	// through the noise and not along its edge. It rests on few points; where a
	// straight line fits, the line is better.
	RubberBand bool
	// Before and After are the quiet stretches in front of and behind the
	// peak. Zero: the first and the last twelfth of the trace's points, without
	// what lies within one and a half widths at half height of the peak.
	Before, After Range
}

// A Line is the baseline found under a peak. A rubber band has its values at its
// knots; level and slope are then those of the straight line through the quiet
// stretches.
type Line struct {
	Axis   Axis
	Origin float64 // position where the line has its level
	Level  float64 // value at the origin
	Slope  float64 // change of value per second or cubic metre
	// Before and After are the stretches it was fitted to; zero if none.
	Before, After Range
	// Noise is the standard deviation of the points about the line in the
	// stretches; NaN without stretches.
	Noise float64
	// Points is their number, and Squares the sum of their squared distances
	// from the origin: the variances of level and slope are Noise²/Points and
	// Noise²/Squares if the noise is independent from point to point.
	Points  int
	Squares float64
	// Lag is the correlation of neighbouring points' distances from the line:
	// about -2/Points for independent noise, which scatters by 1/√Points.
	Lag float64
	// DriftBefore and DriftAfter are the changes of value along each stretch,
	// from a line through that stretch alone, less the line's own change.
	DriftBefore, DriftAfter float64

	// The knots of a rubber band; none for a straight line.
	kx, ky []float64
}

// At returns the value of the line at position x. Outside its knots a rubber
// band goes on as its last piece does.
func (l Line) At(x float64) float64 {
	if len(l.kx) == 0 {
		return l.Level + l.Slope*(x-l.Origin)
	}
	return l.bent(x)
}

func (l *Line) bent(x float64) float64 {
	return l.piece(min(max(1, sort.SearchFloat64s(l.kx, x)), len(l.kx)-1), x)
}

// piece returns the value at x of the straight piece that ends at knot k.
func (l *Line) piece(k int, x float64) float64 {
	x0, y0 := l.kx[k-1], l.ky[k-1]
	return y0 + (l.ky[k]-y0)*(x-x0)/(l.kx[k]-x0)
}

// Knots returns the points between which a rubber band is straight; none for a
// straight line.
func (l Line) Knots() (x, y []float64) {
	return append([]float64(nil), l.kx...), append([]float64(nil), l.ky...)
}

// Bent reports whether the line is a rubber band.
func (l Line) Bent() bool { return len(l.kx) > 0 }

// Flipped returns the line with its values' sign changed.
func (l Line) Flipped() Line {
	l.Level, l.Slope, l.DriftBefore, l.DriftAfter = -l.Level, -l.Slope, -l.DriftBefore, -l.DriftAfter
	ky := make([]float64, len(l.ky))
	for i, v := range l.ky {
		ky[i] = -v
	}
	l.ky = ky
	return l
}

// take puts the values y at the positions x, less the line, into out.
func (l *Line) take(out, x, y []float64) {
	x, out = x[:len(y)], out[:len(y)]
	if len(l.kx) == 0 {
		level, slope := l.Level-l.Slope*l.Origin, l.Slope
		for i, v := range y {
			out[i] = v - (level + slope*x[i])
		}
		return
	}
	k := 1
	for i, v := range y {
		for k < len(l.kx)-1 && l.kx[k] < x[i] {
			k++
		}
		out[i] = v - l.piece(k, x[i])
	}
}

// sums are the sums of a straight-line fit about an origin.
type sums struct{ n, x, y, xx, xy float64 }

func (s *sums) add(xs, ys []float64, x0, y0 float64) {
	var sx, sy, sxx, sxy float64
	ys = ys[:len(xs)]
	for i, v := range xs {
		x, y := v-x0, ys[i]-y0
		sx += x
		sy += y
		sxx += x * x
		sxy += x * y
	}
	s.n += float64(len(xs))
	s.x += sx
	s.y += sy
	s.xx += sxx
	s.xy += sxy
}

// line returns mean position, mean value and slope.
func (s sums) line() (x, y, slope float64) {
	x, y = s.x/s.n, s.y/s.n
	if sxx := s.xx - s.n*x*x; sxx > 0 {
		slope = (s.xy - s.n*x*y) / sxx
	}
	return x, y, slope
}

// BaselineUnder fits the baseline b by least squares through the points of both
// quiet stretches, or stretches a rubber band under the points. A stretch with
// fewer than 3 points is an error, as are stretches that overlap.
func (t Trace) BaselineUnder(b Baseline) (Line, error) {
	l := Line{Axis: t.axis, Noise: math.NaN()}
	if b.None && b.RubberBand {
		return Line{}, fmt.Errorf("trace %q: a baseline cannot be none and a rubber band at once; take one of them away", t.Name)
	}
	if b.None {
		if !b.Before.IsZero() || !b.After.IsZero() {
			return Line{}, fmt.Errorf("trace %q: no baseline was asked for, but quiet stretches are given; take one of them away", t.Name)
		}
		return l, nil
	}
	n := len(t.x)
	if n < 6 {
		return Line{}, fmt.Errorf("trace %q has %d points; a baseline needs 3 at each end", t.Name, n)
	}
	var ends [2][2]int
	if b.RubberBand {
		l.kx, l.ky = t.band()
	}
	if b.Before.IsZero() || b.After.IsZero() {
		flat := t
		if b.RubberBand {
			flat = t.Minus(l)
		}
		ends = flat.quietEnds()
	}
	for i, r := range []Range{b.Before, b.After} {
		if r.IsZero() {
			continue
		}
		lo, hi, err := t.indices(r)
		if err != nil {
			return Line{}, err
		}
		ends[i] = [2]int{lo, hi}
	}
	before, after := ends[0], ends[1]
	for _, e := range ends {
		if e[1]-e[0] < 3 || e[0] < 0 || e[1] > n {
			return Line{}, fmt.Errorf("trace %q has too few points in a quiet stretch for a baseline (it has %d from %s); record longer or give other stretches", t.Name, n, t.Span())
		}
	}
	if before[1] > after[0] {
		return Line{}, fmt.Errorf("trace %q: the quiet stretches for the baseline overlap; give one in front of the peak and one behind it", t.Name)
	}

	x0, y0 := t.x[before[0]], t.y[before[0]]
	var front, back, all sums
	front.add(t.x[before[0]:before[1]], t.y[before[0]:before[1]], x0, y0)
	back.add(t.x[after[0]:after[1]], t.y[after[0]:after[1]], x0, y0)
	all = sums{front.n + back.n, front.x + back.x, front.y + back.y, front.xx + back.xx, front.xy + back.xy}
	x, y, slope := all.line()
	l.Origin, l.Level, l.Slope = x0+x, y0+y, slope
	l.Before = Range{t.axis, t.x[before[0]], t.x[before[1]-1]}
	l.After = Range{t.axis, t.x[after[0]], t.x[after[1]-1]}
	if b.RubberBand {
		front, back = l.rest(t, before), l.rest(t, after)
		lift := (front.y + back.y) / all.n
		for i := range l.ky {
			l.ky[i] += lift
		}
		slope = 0 // the band is taken away already
	}
	rest, next := l.squares(t, before)
	one, other := l.squares(t, after)
	rest, next = rest+one, next+other
	l.Noise = math.Sqrt(rest / (all.n - 2))
	l.Points, l.Squares = int(all.n), all.xx-all.n*x*x
	if rest > 0 {
		l.Lag = next / rest
	}
	_, _, s := front.line()
	l.DriftBefore = (s - slope) * (l.Before.To - l.Before.From)
	_, _, s = back.line()
	l.DriftAfter = (s - slope) * (l.After.To - l.After.From)
	return l, nil
}

// squares returns the sum of the squares of a stretch's points less the line,
// and of the products of each with the next.
func (l *Line) squares(t Trace, e [2]int) (sum, next float64) {
	x, y := t.x[e[0]:e[1]], t.y[e[0]:e[1]]
	level, slope := l.Level-l.Slope*l.Origin, l.Slope
	if l.Bent() {
		left := make([]float64, len(y))
		l.take(left, x, y)
		y, level, slope = left, 0, 0
	}
	last := 0.0
	for i, v := range y[:len(x)] {
		d := v - (level + slope*x[i])
		sum += d * d
		next += d * last
		last = d
	}
	return sum, next
}

// rest returns the sums of the points of a stretch less the line.
func (l *Line) rest(t Trace, e [2]int) sums {
	x, y := t.x[e[0]:e[1]], make([]float64, e[1]-e[0])
	l.take(y, x, t.y[e[0]:e[1]])
	var s sums
	s.add(x, y, x[0], 0)
	return s
}

// band returns the corners of the hull on the side away from the peak: of both
// hulls the one over which fewer points reach half of the greatest distance.
func (t Trace) band() (x, y []float64) {
	fewest := len(t.x) + 1
	for _, sign := range []float64{1, -1} {
		var l Line
		l.kx, l.ky = t.hull(sign)
		left := t.Minus(l).y
		top, count := 0.0, 0
		for _, v := range left {
			top = math.Max(top, sign*v)
		}
		for _, v := range left {
			if 2*sign*v >= top {
				count++
			}
		}
		if count < fewest {
			fewest, x, y = count, l.kx, l.ky
		}
	}
	return x, y
}

// hull returns the corners of the convex hull of the points from below, or from
// above for a negative sign, by Andrew's monotone chain.
//
// Source: A. M. Andrew, Inf. Process. Lett. 9 (1979) 216-219.
func (t Trace) hull(sign float64) (x, y []float64) {
	for i, px := range t.x {
		py := sign * t.y[i]
		if n := len(x); n > 0 && x[n-1] == px {
			if py >= y[n-1] {
				continue
			}
			x, y = x[:n-1], y[:n-1]
		}
		for n := len(x); n > 1; n = len(x) {
			if (y[n-1]-y[n-2])*(px-x[n-2]) < (py-y[n-2])*(x[n-1]-x[n-2]) {
				break
			}
			x, y = x[:n-1], y[:n-1]
		}
		x, y = append(x, px), append(y, py)
	}
	for i := range y {
		y[i] *= sign
	}
	return x, y
}

// quietEnds returns the first and the last twelfth of the points, cut short
// where they come within one and a half widths at half height of the peak, but
// of a hundredth of the points and three at least. The peak is what stands
// farthest from the straight line between both ends, up or down.
func (t Trace) quietEnds() [2][2]int {
	n := len(t.x)
	x, y := t.x[:n], t.y[:n]
	first, last := (y[0]+y[1]+y[2])/3, (y[n-1]+y[n-2]+y[n-3])/3
	slope := (last - first) / (x[n-1] - x[0])
	level := first - slope*x[0]
	k, top := 0, 0.0
	for i, v := range y {
		if d := math.Abs(v - level - slope*x[i]); d > top {
			k, top = i, d
		}
	}
	stands := func(i int) bool { return 2*math.Abs(y[i]-level-slope*x[i]) >= top }
	i, j := k, k
	for i > 0 && stands(i) {
		i--
	}
	for j < n-1 && stands(j) {
		j++
	}
	reach := 1.5 * (x[j] - x[i])
	before := sort.SearchFloat64s(x, x[k]-reach)
	after := sort.SearchFloat64s(x, x[k]+reach)
	least := max(3, n/100)
	return [2][2]int{{0, max(least, min(n/12, before))}, {min(n-least, max(n-n/12, after)), n}}
}

// Minus returns the trace less the line.
func (t Trace) Minus(l Line) Trace {
	net := t
	net.y = make([]float64, len(t.y))
	l.take(net.y, t.x, t.y)
	return net
}
