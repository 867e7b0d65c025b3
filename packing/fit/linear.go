package fit

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// A Term of a linear model is a function of x; the fit finds its coefficient.
type Term struct {
	Name string
	F    func(x float64) float64
}

// A Linear is a sum of terms, each with a coefficient, to be fitted to points.
// Give Terms and X, or, for a model of several variables, Names and Design.
type Linear struct {
	Terms []Term
	X     []float64
	// Design holds, for each point, the numbers that the coefficients multiply.
	Names  []string
	Design [][]float64

	Y []float64
	// StdDev are the standard deviations of Y, or numbers in proportion to
	// them. Nil: all alike.
	StdDev     []float64
	KnownNoise bool // StdDev are known sizes: standard errors come from them
	// NonNegative holds every coefficient at zero or above. Those that would
	// fall below rest at zero, and the result names them.
	NonNegative bool
}

// Fit finds the coefficients that make Σ ((Y - Σ cF)/StdDev)² least, by
// Householder reflections of the design with its columns scaled; with
// NonNegative by the method of Lawson and Hanson.
//
// Points that do not fit together are an error. If the terms are not
// independent at these points the result is Singular; coefficients at zero make
// it OnBound.
//
// Source: C. L. Lawson and R. J. Hanson, Solving Least Squares Problems
// (Prentice-Hall 1974), chapters 11 and 23.
func (l Linear) Fit() (Result, error) {
	rows, names, err := l.rows()
	if err != nil {
		return Result{}, err
	}
	x := l.X
	if l.Terms == nil {
		x = make([]float64, len(l.Y)) // of several variables; no curve
	}
	weight, err := weights(x, l.Y, l.StdDev, l.KnownNoise)
	if err != nil {
		return Result{}, err
	}
	m, n := len(rows), len(names)
	params := make([]Param, n)
	for k, name := range names {
		params[k].Name = name
		if l.NonNegative {
			params[k].Bounds = AtLeast(0)
		}
	}
	if err := checkParams(params, m); err != nil {
		return Result{}, err
	}
	y := weighted(l.Y, weight)
	s := &search{Problem: Problem{Params: params, Points: m, Y: y, KnownNoise: l.KnownNoise,
		// The columns are exact: they are singular by rounding only.
		Jacobian: func(p, j []float64) {}}, t: newTriangle(n), p: make([]float64, n), r: make([]float64, m)}
	columns, right := make([]float64, n*m), append([]float64(nil), y...)
	for i, row := range rows {
		for k, v := range row {
			if !finite(v) {
				return Result{}, fmt.Errorf("fit: %s is %v at point %d; leave the point out or change the term", names[k], v, i+1)
			}
			columns[k*m+i] = v * weight[i]
		}
	}
	for k := range n {
		s.free = append(s.free, k)
	}
	s.t.add(columns, right)
	moving := s.free
	if l.NonNegative {
		moving = s.t.nonNegative()
	}
	s.lin.moving = moving
	rest := map[int]bool{}
	for _, k := range s.free {
		rest[k] = true
	}
	for _, k := range moving {
		delete(rest, k)
	}
	for _, k := range s.free {
		if rest[k] {
			s.lin.resting = append(s.lin.resting, k)
		}
	}
	for q, v := range s.t.solve(moving) {
		s.p[moving[q]] = v
	}
	for i, row := range rows {
		sum := 0.0
		for k, v := range row {
			sum += v * s.p[k]
		}
		s.r[i] = weight[i] * (sum - l.Y[i])
		s.rss += s.r[i] * s.r[i]
	}
	s.end()
	s.iterations, s.evaluations = 0, 1
	if s.status == Converged {
		s.reason = "solved directly"
	}
	r := s.result()
	for i := range r.Residuals {
		r.Residuals[i] /= weight[i]
	}
	for i := range r.Params {
		r.Params[i].Start = math.NaN()
	}
	if l.Terms != nil {
		terms := l.Terms
		r.x = l.X
		r.at = func(x float64, p []float64) float64 {
			sum := 0.0
			for k, t := range terms {
				sum += p[k] * t.F(x)
			}
			return sum
		}
		r.gradient = func(x float64, p, g []float64) {
			for k, t := range terms {
				g[k] = t.F(x)
			}
		}
	}
	return r, nil
}

// rows returns the design and the names of its columns.
func (l Linear) rows() ([][]float64, []string, error) {
	if (l.Terms == nil) == (l.Design == nil) {
		return nil, nil, fmt.Errorf("fit: give either Terms and X, or Names and Design")
	}
	if l.Terms == nil {
		if len(l.Design) != len(l.Y) {
			return nil, nil, fmt.Errorf("fit: %d rows of the design for %d values of Y; give one for each", len(l.Design), len(l.Y))
		}
		for i, row := range l.Design {
			if len(row) != len(l.Names) {
				return nil, nil, fmt.Errorf("fit: row %d of the design has %d numbers for %d names", i+1, len(row), len(l.Names))
			}
		}
		return l.Design, l.Names, nil
	}
	names := make([]string, len(l.Terms))
	for k, t := range l.Terms {
		if t.F == nil {
			return nil, nil, fmt.Errorf("fit: term %d (%q) has no function", k+1, t.Name)
		}
		names[k] = t.Name
	}
	rows := make([][]float64, len(l.X))
	for i, x := range l.X {
		rows[i] = make([]float64, len(l.Terms))
		for k, t := range l.Terms {
			rows[i][k] = t.F(x)
		}
	}
	return rows, names, nil
}

// solve returns the least-squares solution over some of the columns.
func (t *triangle) solve(columns []int) []float64 {
	w := len(columns)
	if w == 0 {
		return nil
	}
	sub, scale := newTriangle(w), make([]float64, w)
	a, b := make([]float64, t.n*w), make([]float64, t.n)
	for q := range b {
		b[q] = t.right(q)
	}
	for c, k := range columns {
		if scale[c] = t.norm(k); scale[c] == 0 {
			scale[c] = 1
		}
		for q := 0; q <= k; q++ {
			a[c*t.n+q] = t.at(q, k) / scale[c]
		}
	}
	sub.add(a, b)
	r := mat.NewDense(w, w, nil)
	qb := mat.NewVecDense(w, nil)
	for i := range w {
		qb.SetVec(i, sub.right(i))
		for j := i; j < w; j++ {
			r.Set(i, j, sub.at(i, j))
		}
	}
	var svd mat.SVD
	if !svd.Factorize(r, mat.SVDThin) {
		panic("fit: the singular values of a finite matrix were not found")
	}
	var x mat.Dense
	rank := 0
	for values := svd.Values(nil); rank < w && values[rank] > singularLinear*values[0]; rank++ {
	}
	out := make([]float64, w)
	if rank > 0 {
		svd.SolveTo(&x, qb, rank)
		for c := range out {
			out[c] = x.At(c, 0) / scale[c]
		}
	}
	return out
}

// singularLinear is the smallest singular value of scaled columns that counts.
const singularLinear = 1e-14

// nonNegative returns the columns with coefficients above zero in the solution
// without negative ones.
func (t *triangle) nonNegative() []int {
	x := make([]float64, t.n)
	in := make([]bool, t.n)
	list := func() (columns []int) {
		for k, v := range in {
			if v {
				columns = append(columns, k)
			}
		}
		return columns
	}
	length := 0.0 // of b inside A's columns
	for q := range t.n {
		length = math.Hypot(length, t.right(q))
	}
	// Each round of the outer loop lowers the sum of squares, so that no set
	// of columns comes twice; rounding might, hence a limit.
	for range 3*t.n + 10 {
		// The column that lowers the sum of squares fastest comes in.
		best, steepest := -1, 1e-12*length
		for k := range t.n {
			if in[k] {
				continue
			}
			slope := 0.0
			for q := 0; q <= k; q++ {
				rest := t.right(q)
				for c := q; c < t.n; c++ {
					rest -= t.at(q, c) * x[c]
				}
				slope += t.at(q, k) * rest
			}
			if norm := t.norm(k); norm > 0 && slope/norm > steepest {
				best, steepest = k, slope/norm
			}
		}
		if best < 0 {
			break
		}
		in[best] = true
		for {
			columns := list()
			z := t.solve(columns)
			step, first := 1.0, -1
			for c, k := range columns {
				if z[c] <= 0 && x[k]/(x[k]-z[c]) < step {
					step, first = x[k]/(x[k]-z[c]), k
				}
			}
			for c, k := range columns {
				x[k] = math.Max(0, x[k]+step*(z[c]-x[k]))
			}
			if first < 0 {
				break
			}
			x[first], in[first] = 0, false // the first that would fall below zero goes out
		}
	}
	return list()
}

// Line fits y = intercept + slope·x.
func Line(x, y []float64) (Result, error) {
	return Linear{Terms: powers("intercept", "slope"), X: x, Y: y}.Fit()
}

// Polynomial fits y = c0 + c1·x + ... to a degree from 0 to 15.
func Polynomial(x, y []float64, degree int) (Result, error) {
	if degree < 0 || degree > 15 {
		return Result{}, fmt.Errorf("fit: a polynomial of degree %d; give 0 to 15", degree)
	}
	names := make([]string, degree+1)
	for k := range names {
		names[k] = fmt.Sprintf("c%d", k)
	}
	return Linear{Terms: powers(names...), X: x, Y: y}.Fit()
}

// powers returns the terms 1, x, x² and so on.
func powers(names ...string) []Term {
	terms := make([]Term, len(names))
	for k, name := range names {
		terms[k] = Term{name, func(x float64) float64 {
			power := 1.0
			for range k {
				power *= x
			}
			return power
		}}
	}
	return terms
}
