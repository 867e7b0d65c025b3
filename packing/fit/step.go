package fit

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// A linearized problem is the one that the Jacobian makes of the residuals:
// |r + J d|², over the parameters that may move.
type linearized struct {
	moving  []int // positions in search.free
	resting []int // positions in search.free of those held by a bound
	// The singular value decomposition of R D⁻¹ over the moving ones, with D
	// the scale: R D⁻¹ = U S Vᵀ.
	s       []float64
	c       []float64 // UᵀQᵀr
	v       mat.Dense
	offset  float64 // length of the part of the residuals that a step can take away
	newton  []float64
	rank    int
	damping float64   // of the last step
	d       []float64 // the last step, by the free parameters
}

// linearize decomposes the problem at the current point. Parameters on a bound
// rest there if their slope leads beyond it, or if the Gauss-Newton step of all
// that move does.
func (s *search) linearize() linearized {
	rests := make([]bool, len(s.free))
	for k, i := range s.free {
		slope := 0.0 // half of the derivative of the sum of squares
		for q := 0; q <= k; q++ {
			slope += s.t.at(q, k) * s.t.right(q)
		}
		rests[k] = s.p[i] <= s.low[i] && slope >= 0 || s.p[i] >= s.high[i] && slope <= 0
	}
	for {
		l := s.decompose(rests)
		beyond := false
		for q, k := range l.moving {
			i := s.free[k]
			if s.p[i] <= s.low[i] && l.newton[q] < 0 || s.p[i] >= s.high[i] && l.newton[q] > 0 {
				rests[k], beyond = true, true
			}
		}
		if !beyond {
			return l
		}
	}
}

// decompose linearizes the problem over the parameters that do not rest.
func (s *search) decompose(rests []bool) linearized {
	n := len(s.free)
	l := linearized{d: make([]float64, n)}
	for k := range s.free {
		if rests[k] {
			l.resting = append(l.resting, k)
		} else {
			l.moving = append(l.moving, k)
		}
	}
	w := len(l.moving)
	if w == 0 {
		return l
	}
	a := mat.NewDense(n, w, nil)
	for c, k := range l.moving {
		for q := 0; q <= k; q++ {
			a.Set(q, c, s.t.at(q, k)/s.scale[k])
		}
	}
	var svd mat.SVD
	if !svd.Factorize(a, mat.SVDThin) {
		// The decomposition of a finite matrix converges.
		panic("fit: the singular values of a finite matrix were not found")
	}
	var u mat.Dense
	svd.UTo(&u)
	svd.VTo(&l.v)
	l.s = svd.Values(nil)
	l.c = make([]float64, w)
	for c := range l.c {
		for q := range n {
			l.c[c] += u.At(q, c) * s.t.right(q)
		}
	}
	for c, v := range l.s {
		if v > eps*l.s[0] {
			l.rank = c + 1
			l.offset = math.Hypot(l.offset, l.c[c])
		}
	}
	l.newton = s.solve(l, 0)
	return l
}

// solve returns the step that lowers |r + J d|² + damping |D d|² most, in
// scaled lengths, by the moving parameters.
func (s *search) solve(l linearized, damping float64) []float64 {
	d := make([]float64, len(l.moving))
	for c := range l.rank {
		f := -l.s[c] * l.c[c] / (l.s[c]*l.s[c] + damping)
		for q := range d {
			d[q] += f * l.v.At(q, c)
		}
	}
	return d
}

// propose writes the next step within reach into trial. It returns what the
// linearized problem gains by it in the sum of squares, and its scaled length.
func (s *search) propose() (gain, length float64) {
	l := &s.lin
	if len(l.moving) == 0 {
		return 0, 0
	}
	l.damping = 0
	d := l.newton
	if norm(d) > 1.1*s.reach {
		l.damping = l.dampingFor(s.reach)
		d = s.solve(*l, l.damping)
	}
	s.put(d, 1)
	gain = s.gain()
	if !(gain > 0) {
		// The bounds bent the step too much: shorten it to the first of them.
		t := 1.0
		for q, k := range l.moving {
			i := s.free[k]
			step := d[q] / s.scale[k]
			if step > 0 {
				t = math.Min(t, (s.high[i]-s.p[i])/step)
			} else if step < 0 {
				t = math.Min(t, (s.low[i]-s.p[i])/step)
			}
		}
		s.put(d, t)
		gain = s.gain()
	}
	for k := range s.free {
		length = math.Hypot(length, s.scale[k]*l.d[k])
	}
	return gain, length
}

// dampingFor returns the damping with which a step has the given length, to a
// tenth, by Hebden's iteration.
func (l *linearized) dampingFor(reach float64) float64 {
	damping := 0.0
	for range 30 {
		sum, slope := 0.0, 0.0
		for c := range l.rank {
			q := l.s[c]*l.s[c] + damping
			f := l.s[c] * l.c[c] / q
			sum += f * f
			slope += f * f / q
		}
		length := math.Sqrt(sum)
		if damping > 0 && math.Abs(length-reach) <= 0.1*reach {
			break
		}
		damping += (length - reach) / reach * sum / slope
	}
	return damping
}

// put writes the point at t times the scaled step d into trial, no further than
// the bounds.
func (s *search) put(d []float64, t float64) {
	l := &s.lin
	copy(s.trial, s.p)
	clear(l.d)
	for q, k := range l.moving {
		i := s.free[k]
		s.trial[i] = math.Min(math.Max(s.p[i]+t*d[q]/s.scale[k], s.low[i]), s.high[i])
		l.d[k] = s.trial[i] - s.p[i]
	}
}

// gain returns |r|² - |r + J d|² for the step that was put.
func (s *search) gain() float64 {
	n, sum := len(s.free), 0.0
	for q := range n {
		rd := 0.0
		for k := q; k < n; k++ {
			rd += s.t.at(q, k) * s.lin.d[k]
		}
		sum -= rd * (rd + 2*s.t.right(q))
	}
	return sum
}

// slope returns the derivative of half the sum of squares along the step that
// was put, as a part of the sum of squares.
func (s *search) slope() float64 {
	n, sum := len(s.free), 0.0
	for q := range n {
		rd := 0.0
		for k := q; k < n; k++ {
			rd += s.t.at(q, k) * s.lin.d[k]
		}
		sum += rd * s.t.right(q)
	}
	return sum / s.rss
}

func norm(d []float64) float64 {
	s := 0.0
	for _, v := range d {
		s = math.Hypot(s, v)
	}
	return s
}

// there sets the status and returns true if this is a minimum: the rest of the
// way is less than tolerance standard errors, or less than step of the
// parameters themselves.
func (s *search) there(tolerance, step float64) bool {
	l := &s.lin
	f := s.Points - len(l.moving)
	left := math.Max(0, s.rss-l.offset*l.offset)
	close := f > 0 && l.offset/math.Sqrt(float64(max(1, l.rank))) <= tolerance*math.Sqrt(left/float64(f))
	if !close {
		size, way := 0.0, norm(l.newton)
		for _, k := range l.moving {
			size = math.Hypot(size, s.scale[k]*s.p[s.free[k]])
		}
		close = way <= step*size
	}
	if !close && s.rss > 0 {
		return false
	}
	s.end()
	return true
}

// end sets the status at a minimum.
func (s *search) end() {
	l := &s.lin
	loose := s.spread()
	switch {
	case len(loose) > 0:
		s.status, s.reason = Singular, "the data do not fix "+strings.Join(loose, ", ")+": other values fit as well; fix some of them, or take a simpler model"
	case len(l.resting) > 0:
		var names []string
		for _, k := range l.resting {
			x := s.Params[s.free[k]]
			names = append(names, fmt.Sprintf("%s (bounds %v)", x.Name, x.Bounds))
		}
		s.status, s.reason = OnBound, "held by a bound: "+strings.Join(names, ", ")+"; the errors of the others take it as known"
	default:
		s.status, s.reason = Converged, "a minimum after "+count(s.iterations, "iteration")
	}
}

// spread works out (JᵀJ)⁻¹ over the moving parameters, into a square of all
// parameters that is NaN elsewhere. It returns the names of parameters that the
// data do not fix, whose rows are NaN, too.
func (s *search) spread() (loose []string) {
	all := len(s.Params)
	s.inverse = make([][]float64, all)
	for i := range s.inverse {
		s.inverse[i] = make([]float64, all)
		for j := range s.inverse[i] {
			s.inverse[i][j] = math.NaN()
		}
	}
	n, w := len(s.free), len(s.lin.moving)
	if w == 0 {
		return nil
	}
	for _, k := range s.lin.moving {
		if !finite(s.t.norm(k)) { // the search ended where there are no derivatives
			for _, k := range s.lin.moving {
				loose = append(loose, s.Params[s.free[k]].Name)
			}
			return loose
		}
	}
	tolerance := singularAnalytic
	if s.Jacobian == nil {
		tolerance = singularNumerical
	}
	a := mat.NewDense(n, w, nil)
	lengths := make([]float64, w)
	for c, k := range s.lin.moving {
		if lengths[c] = s.t.norm(k); lengths[c] == 0 {
			lengths[c] = 1
		}
		for q := 0; q <= k; q++ {
			a.Set(q, c, s.t.at(q, k)/lengths[c])
		}
	}
	var svd mat.SVD
	if !svd.Factorize(a, mat.SVDThin) {
		panic("fit: the singular values of a finite matrix were not found")
	}
	var v mat.Dense
	svd.VTo(&v)
	values := svd.Values(nil)
	rank := 0
	for rank < w && values[rank] > tolerance*values[0] {
		rank++
	}
	unfixed := make([]bool, w)
	for c := rank; c < w; c++ {
		for q := range w {
			// The directions that cost nothing have length one: a part of a
			// tenth belongs to it, less is rounding or a weak tie.
			unfixed[q] = unfixed[q] || math.Abs(v.At(q, c)) > 0.1
		}
	}
	for q, weak := range s.weak(lengths, values, &v, rank) {
		unfixed[q] = unfixed[q] || weak
	}
	for q, k := range s.lin.moving {
		i := s.free[k]
		if unfixed[q] {
			loose = append(loose, s.Params[i].Name)
			continue
		}
		for u, o := range s.lin.moving {
			if unfixed[u] {
				continue
			}
			sum := 0.0
			for c := range rank {
				sum += v.At(q, c) * v.At(u, c) / (values[c] * values[c])
			}
			s.inverse[i][s.free[o]] = sum / (lengths[q] * lengths[u])
		}
	}
	return loose
}

// weak tells which of the moving parameters the model hardly depends on: their
// standard error is a million times their size, and a change by their size
// moves the model by no more than rounding does. That is how a search ends that
// has run off to where an exponential is zero.
func (s *search) weak(lengths, values []float64, v *mat.Dense, rank int) []bool {
	size := make([]float64, len(lengths))
	most := 0.0
	for q, k := range s.lin.moving {
		i := s.free[k]
		size[q] = math.Max(math.Abs(s.p[i]), math.Abs(s.Params[i].Start))
		most = math.Max(most, lengths[q]*size[q])
	}
	variance := s.rss / float64(s.Points-len(s.free))
	if s.KnownNoise {
		variance = 1
	}
	weak := make([]bool, len(lengths))
	for q := range weak {
		sum := 0.0
		for c := range rank {
			sum += math.Pow(v.At(q, c)/values[c], 2)
		}
		stdErr := math.Sqrt(variance*sum) / lengths[q]
		weak[q] = stdErr > 1e6*size[q] && lengths[q]*size[q] < 1e-12*most
	}
	return weak
}

// count writes a number of things.
func count(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}
