package trace

import (
	"fmt"
	"math"
	"sort"
)

// A Tangent touches a flank of a peak where it is steepest.
type Tangent struct {
	X, Y  float64 // the point of inflection
	Slope float64 // change of value per second or cubic metre there
	Foot  float64 // where the tangent meets zero
}

// Tangents are those of both flanks of a peak.
type Tangents struct{ Front, Back Tangent }

// Width returns the distance of the feet, the peak's width at its base.
func (t Tangents) Width() float64 { return t.Back.Foot - t.Front.Foot }

// Tangents finds the tangents at the points of inflection of the peak with apex
// a. Each is that of a cubic, by least squares, through reach samples on each
// side, 2 at least, of the one next to the inflection, which is looked for from
// the steepest sample of the flank above a tenth of the height. The baseline
// should have been taken away before. A flank with too few samples is an error.
//
// The cubic is exact for a cubic; on a Gaussian of standard deviation σ a reach
// over a length r makes the slope wrong by about 0.012 (r/σ)⁴ of itself.
func (t Trace) Tangents(a Apex, reach int) (Tangents, error) {
	reach = max(2, reach)
	front, err := t.tangent(a, reach, -1)
	if err != nil {
		return Tangents{}, err
	}
	back, err := t.tangent(a, reach, 1)
	return Tangents{front, back}, err
}

func (t Trace) tangent(a Apex, reach, step int) (Tangent, error) {
	steepest, at := 0.0, -1
	for i := a.Index; i >= reach && i+reach < len(t.y); i += step {
		if s := -float64(step) * t.slopeAt(i, reach); s > steepest {
			steepest, at = s, i
		}
		if t.y[i] < 0.1*a.Height {
			break
		}
	}
	if at < 0 {
		return Tangent{}, fmt.Errorf("trace %q has no flank of %d points beside its apex at %s for a tangent; record more often, or the whole peak", t.Name, 2*reach+1, t.axis.Show(a.X))
	}
	g, err := t.touch(at, reach, step)
	for range 5 { // put the fit about the inflection that it found
		next := t.nearest(g.X)
		if err != nil || next == at || next < reach || next+reach >= len(t.y) {
			break
		}
		at = next
		g, err = t.touch(at, reach, step)
	}
	return g, err
}

// nearest returns the sample next to a position.
func (t Trace) nearest(x float64) int {
	i := min(sort.SearchFloat64s(t.x, x), len(t.x)-1)
	if i > 0 && x-t.x[i-1] < t.x[i]-x {
		i--
	}
	return i
}

// touch fits a cubic about sample i and returns the tangent at its inflection.
func (t Trace) touch(at, reach, step int) (Tangent, error) {
	// Normal equations of y = c0 + c1 u + c2 u² + c3 u³, u in units of the reach.
	var m [4][5]float64
	x0, scale := t.x[at], (t.x[at+reach]-t.x[at-reach])/2
	for i := at - reach; i <= at+reach; i++ {
		u := (t.x[i] - x0) / scale
		p := [4]float64{1, u, u * u, u * u * u}
		for j := range p {
			for k := range p {
				m[j][k] += p[j] * p[k]
			}
			m[j][4] += p[j] * t.y[i]
		}
	}
	c, ok := solve(m)
	if !ok {
		return Tangent{}, fmt.Errorf("trace %q has several points at one place near %s; a tangent needs points apart", t.Name, t.axis.Show(x0))
	}
	u := -c[2] / (3 * c[3])
	if !(math.Abs(u) <= 1) || c[3]*float64(step) <= 0 {
		u = 0 // no inflection within the fit: the steepest sample
	}
	g := Tangent{X: x0 + u*scale, Y: c[0] + u*(c[1]+u*(c[2]+u*c[3])), Slope: (c[1] + u*(2*c[2]+u*3*c[3])) / scale}
	g.Foot = g.X - g.Y/g.Slope
	return g, nil
}

// slopeAt returns the slope of the straight line through sample i and reach
// samples on each side, by least squares; 0 if they are at one place.
func (t Trace) slopeAt(i, reach int) float64 {
	var s sums
	s.add(t.x[i-reach:i+reach+1], t.y[i-reach:i+reach+1], t.x[i], t.y[i])
	_, _, slope := s.line()
	return slope
}

// solve solves four linear equations by elimination with pivots.
func solve(m [4][5]float64) (c [4]float64, ok bool) {
	for k := range m {
		p := k
		for i := k + 1; i < 4; i++ {
			if math.Abs(m[i][k]) > math.Abs(m[p][k]) {
				p = i
			}
		}
		m[k], m[p] = m[p], m[k]
		if !(math.Abs(m[k][k]) > 1e-12) {
			return c, false
		}
		for i := k + 1; i < 4; i++ {
			f := m[i][k] / m[k][k]
			for j := k; j < 5; j++ {
				m[i][j] -= f * m[k][j]
			}
		}
	}
	for k := 3; k >= 0; k-- {
		c[k] = m[k][4]
		for j := k + 1; j < 4; j++ {
			c[k] -= m[k][j] * c[j]
		}
		c[k] /= m[k][k]
	}
	return c, true
}
