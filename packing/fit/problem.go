package fit

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/task"
)

// A Problem is a least-squares problem whose residuals are worked out all at
// once. The search lowers Σ r².
type Problem struct {
	Params []Param
	Points int // number of residuals
	// Residuals writes the residuals at the parameters p into r: (model -
	// data)/standard deviation. Values that are not finite make the search turn
	// back; at the start they are an error.
	Residuals func(p, r []float64)
	// Jacobian writes the derivatives of the residuals at p into j, column by
	// column: j[k*Points+i] is that of residual i by parameter k. It is called
	// after Residuals, with the parameters of the last call that was accepted.
	// Nil: central differences.
	Jacobian func(p, j []float64)
	// Y are the data in the weighting of the residuals. They serve for R2 only;
	// nil: not given.
	Y []float64
	// KnownNoise says that the residuals are in known standard deviations, so
	// that standard errors come from these and not from the residuals.
	KnownNoise bool
	// MaxIterations limits the search; zero: 1000.
	MaxIterations int
	// Tolerance is how far from the minimum the search may stop, in standard
	// errors; zero: 1e-8.
	Tolerance float64
}

const (
	defaultIterations = 1000
	defaultTolerance  = 1e-8
	stalledTolerance  = 1e-4  // when no step lowers the sum of squares any more
	exactStep         = 1e-12 // relative step at the minimum of data without noise
	stalledStep       = 1e-8
	cubeRootEps       = 6.055454452393343e-06
	eps               = 2.220446049250313e-16
	// A Jacobian is singular if its columns, scaled to length one, have a
	// condition number above 1/tolerance.
	singularAnalytic  = 1e-13
	singularNumerical = 1e-9
	// firstReach is how far the first step may go, in scaled lengths of the
	// start (Moré).
	firstReach = 100
)

// Fit searches for the minimum from the start by the method of Levenberg and
// Marquardt, with a trust region scaled by the columns of the Jacobian after
// Moré; parameters on a bound that want to go beyond it rest there.
//
// A problem that cannot be started (no parameters, fewer points than free
// parameters, a start outside its bounds, residuals that are not finite) is an
// error, and so is an interrupt. How the search ended otherwise is the result's
// Status: Converged needs, at the end, a Gauss-Newton step of less than
// Tolerance standard errors (or of no size at all, for data without noise) and
// a Jacobian that fixes every free parameter.
//
// Sources: J. J. Moré, The Levenberg-Marquardt algorithm, Lecture Notes in
// Mathematics 630 (1978) 105-116; the end of the search: D. M. Bates and D. G.
// Watts, Technometrics 23 (1981) 179-183.
func (p Problem) Fit() (Result, error) {
	s, err := newSearch(p)
	if err != nil {
		return Result{}, err
	}
	if err := s.run(); err != nil {
		return Result{}, err
	}
	return s.result(), nil
}

// check refuses a problem that cannot be started.
func (p Problem) check() error {
	if len(p.Params) == 0 {
		return fmt.Errorf("fit: no parameters; give Params: []fit.Param{{Name: \"a\", Start: 1}}")
	}
	if p.Residuals == nil {
		return fmt.Errorf("fit: no function for the residuals")
	}
	if p.Y != nil && len(p.Y) != p.Points {
		return fmt.Errorf("fit: %d data for %d residuals", len(p.Y), p.Points)
	}
	return checkParams(p.Params, p.Points)
}

func checkParams(params []Param, points int) error {
	free := 0
	seen := map[string]bool{}
	for i, x := range params {
		name := fmt.Sprintf("parameter %d (%q)", i+1, x.Name)
		low, high := x.Bounds.Limits()
		switch {
		case x.Name == "":
			return fmt.Errorf("fit: parameter %d has no name; give every parameter one", i+1)
		case seen[x.Name]:
			return fmt.Errorf("fit: %s has the name of another", name)
		case !finite(x.Start):
			return fmt.Errorf("fit: %s starts at %v, which is not a number", name, x.Start)
		case !(low <= high):
			return fmt.Errorf("fit: %s has bounds the wrong way round, %v", name, x.Bounds)
		case !x.Fixed && low == high:
			return fmt.Errorf("fit: %s has no room between its bounds, %v; fix it instead", name, x.Bounds)
		case x.Start < low || x.Start > high:
			return fmt.Errorf("fit: %s starts at %v, outside its bounds, %v", name, x.Start, x.Bounds)
		}
		seen[x.Name] = true
		if !x.Fixed {
			free++
		}
	}
	switch {
	case free == 0:
		return fmt.Errorf("fit: every parameter is fixed; there is nothing to fit")
	case points < free:
		return fmt.Errorf("fit: %d points for %d free parameters; give more points or fix parameters", points, free)
	}
	return nil
}

func finite(v float64) bool { return v-v == 0 }

// A search is the state of a fit.
type search struct {
	Problem
	free      []int // indices of the parameters that are not fixed
	low, high []float64
	p, trial  []float64 // all parameters
	r, next   []float64 // residuals at p and at the trial
	rss       float64
	j         []float64 // Jacobian, by all parameters
	work      []float64 // columns of the free ones, where some are fixed; overwritten
	up        []float64 // residuals beside p, for differences
	t         *triangle // of the free parameters
	scale     []float64 // of the free parameters, lengths of columns
	natural   []float64 // change of a parameter that moves the residuals by their length; numerical derivatives only
	reach     float64   // of the trust region
	lin       linearized
	inverse   [][]float64 // (JᵀJ)⁻¹

	status      Status
	reason      string
	iterations  int
	evaluations int
}

func newSearch(p Problem) (*search, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	if p.MaxIterations == 0 {
		p.MaxIterations = defaultIterations
	}
	if p.Tolerance == 0 {
		p.Tolerance = defaultTolerance
	}
	s := &search{Problem: p}
	for i, x := range p.Params {
		low, high := x.Bounds.Limits()
		s.low, s.high = append(s.low, low), append(s.high, high)
		s.p = append(s.p, x.Start)
		if !x.Fixed {
			s.free = append(s.free, i)
		}
	}
	n, m := len(s.free), p.Points
	s.trial = append([]float64(nil), s.p...)
	s.r, s.next = make([]float64, m), make([]float64, m)
	s.j = make([]float64, len(p.Params)*m)
	if n < len(p.Params) {
		s.work = make([]float64, n*m)
	}
	if p.Jacobian == nil {
		s.up = make([]float64, m)
	}
	s.t = newTriangle(n)
	s.scale = make([]float64, n)
	s.natural = make([]float64, n)
	s.rss = s.evaluate(s.p, s.r)
	if !finite(s.rss) {
		for i, v := range s.r {
			if !finite(v) {
				return nil, fmt.Errorf("fit: at the start the residual of point %d is %v; choose another start, or leave the point out", i+1, v)
			}
		}
		return nil, fmt.Errorf("fit: at the start the sum of squares is too large for a number; choose another start")
	}
	return s, nil
}

// evaluate works the residuals out and returns their sum of squares.
func (s *search) evaluate(p, r []float64) float64 {
	s.evaluations++
	s.Residuals(p, r)
	sum := 0.0
	for _, v := range r {
		sum += v * v
	}
	return sum
}

// factor works out the Jacobian at p and reduces it.
func (s *search) factor() {
	m := s.Points
	if s.Jacobian != nil {
		s.Jacobian(s.p, s.j)
	} else {
		s.differences()
	}
	a := s.j // overwritten, as it is filled anew each time
	if len(s.free) < len(s.Params) {
		a = s.work
		for k, i := range s.free {
			copy(a[k*m:(k+1)*m], s.j[i*m:(i+1)*m])
		}
	}
	copy(s.next, s.r)
	s.t.reset()
	s.t.add(a, s.next)
}

// differences fills the Jacobian by central differences, or by one-sided ones
// of the same order next to a bound.
func (s *search) differences() {
	m := s.Points
	up, down := s.up, s.next
	for k, i := range s.free {
		x := s.p[i]
		h := cubeRootEps * s.size(k)
		column := s.j[i*m : (i+1)*m]
		switch {
		case x-h < s.low[i] || x+h > s.high[i]:
			if x-h < s.low[i] && x+2*h <= s.high[i] || s.high[i]-x > x-s.low[i] {
				h = math.Min(h, (s.high[i]-x)/2)
			} else {
				h = -math.Min(h, (x-s.low[i])/2)
			}
			s.trial[i] = x + h
			h1 := s.trial[i] - x
			s.evaluate(s.trial, up)
			s.trial[i] = x + 2*h
			h2 := s.trial[i] - x
			s.evaluate(s.trial, down)
			for q := range column {
				a, b := (up[q]-s.r[q])/h1, (down[q]-s.r[q])/h2
				column[q] = (a*h2 - b*h1) / (h2 - h1)
			}
		default:
			s.trial[i] = x + h
			above := s.trial[i]
			s.evaluate(s.trial, up)
			s.trial[i] = x - h
			s.evaluate(s.trial, down)
			d := above - s.trial[i]
			for q := range column {
				column[q] = (up[q] - down[q]) / d
			}
		}
		s.trial[i] = x
	}
}

// size returns how large a free parameter is, for the step of a difference: its
// value, or, where that is close to zero, a part of the change that the
// residuals notice.
func (s *search) size(k int) float64 {
	i := s.free[k]
	floor := 0.01 * s.natural[k]
	if start := math.Abs(s.Params[i].Start); start > 0 && (floor == 0 || floor > 1e-3*start) {
		floor = 1e-3 * start
	}
	size := math.Max(math.Abs(s.p[i]), floor)
	if size == 0 {
		return 1
	}
	return size
}

// run searches until there is a status.
func (s *search) run() error {
	ctx := task.Default().Context()
	polished := 0
	for ; ; s.iterations++ {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("fit: stopped after %d iterations: %w", s.iterations, err)
		}
		copy(s.trial, s.p)
		s.factor()
		if !s.rescale() {
			s.status, s.reason = Stalled, "the derivatives of the model are not finite here"
			return nil
		}
		s.lin = s.linearize()
		if s.there(s.Tolerance, exactStep) {
			return nil
		}
		if s.iterations >= s.MaxIterations {
			s.status, s.reason = IterationLimit, "no minimum after "+count(s.iterations, "iteration")+"; start closer, or raise MaxIterations"
			return nil
		}
		if polished >= 3 || !s.step(&polished) {
			if !s.there(stalledTolerance, stalledStep) {
				s.status, s.reason = Stalled, "no step lowers the sum of squares, yet the slope is not zero; check the derivatives, or start elsewhere"
			}
			return nil
		}
	}
}

// rescale updates the scale of the parameters; it reports whether all
// derivatives are finite.
func (s *search) rescale() bool {
	for k := range s.free {
		norm := s.t.norm(k)
		if !finite(norm) {
			return false
		}
		s.natural[k] = 0
		if norm > 0 {
			s.natural[k] = math.Sqrt(s.rss) / norm
		}
		s.scale[k] = math.Max(s.scale[k], norm)
		if s.scale[k] == 0 {
			s.scale[k] = 1
		}
	}
	if s.reach == 0 {
		length := 0.0
		for k, i := range s.free {
			length = math.Hypot(length, s.scale[k]*s.p[i])
		}
		if length == 0 {
			length = 1
		}
		s.reach = firstReach * length
	}
	return true
}

// step makes the next step; it reports false when none lowers the sum of
// squares. Steps too small to be seen in the sum of squares are made and
// counted as polish.
func (s *search) step(polished *int) bool {
	for {
		predicted, length := s.propose()
		if !(predicted > 0) || length == 0 {
			return false
		}
		trial := s.evaluate(s.trial, s.next)
		gain := 1 - trial/s.rss
		if !finite(trial) {
			gain = math.Inf(-1)
		}
		relative := predicted / s.rss
		if relative < 1e-14 {
			*polished++
			if gain < -1e-13 {
				return false
			}
			s.accept(trial)
			return true
		}
		ratio := gain / relative
		switch {
		case ratio < 0.25:
			// The minimum of the parabola through the two sums and the slope.
			shrink := 0.1
			if gain > -99 {
				slope := s.slope()
				shrink = 0.5
				if gain < 0 {
					shrink = math.Max(0.1, 0.5*slope/(slope+0.5*gain))
				}
			}
			s.reach = shrink * math.Min(s.reach, 10*length)
		case ratio > 0.75 || s.lin.damping == 0:
			s.reach = 2 * length
		}
		if ratio > 1e-4 {
			s.accept(trial)
			return true
		}
		size := 0.0
		for k, i := range s.free {
			size = math.Hypot(size, s.scale[k]*s.p[i])
		}
		if s.reach <= eps*size {
			return false
		}
	}
}

// accept makes the trial the current point.
func (s *search) accept(rss float64) {
	s.p, s.trial = s.trial, s.p
	s.r, s.next = s.next, s.r
	s.rss = rss
}
