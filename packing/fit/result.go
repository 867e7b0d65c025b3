package fit

import (
	"fmt"
	"math"
)

// The bounds of the warnings. Common practice, no source.
const (
	closeTies = 0.999 // correlation of two parameters
)

// result makes the result of a search that has ended.
func (s *search) result() Result {
	if s.inverse == nil {
		s.spread()
	}
	if s.status != Converged && s.status != OnBound && s.status != Singular {
		// Away from the minimum the curvature says nothing about errors.
		for _, row := range s.inverse {
			for j := range row {
				row[j] = math.NaN()
			}
		}
	}
	r := Result{
		Status: s.status, Reason: s.reason, RSS: s.rss, Points: s.Points, DegreesOfFreedom: s.Points - len(s.free),
		Iterations: s.iterations, Evaluations: s.evaluations, known: s.KnownNoise,
		R2: rSquared(s.Y, s.rss),
	}
	resting := map[int]bool{}
	for _, k := range s.lin.resting {
		resting[s.free[k]] = true
	}
	for i, x := range s.Params {
		r.Params = append(r.Params, Estimate{Name: x.Name, Value: s.p[i], Start: x.Start, Fixed: x.Fixed, OnBound: resting[i]})
	}
	r.Residuals = s.r // the search is over
	for i, v := range s.r {
		r.Residuals[i] = -v
	}
	r.errors(s.inverse)
	return r
}

// rSquared returns 1 - RSS/(sum of squares about the mean).
func rSquared(y []float64, rss float64) float64 {
	mean := 0.0
	for _, v := range y {
		mean += v / float64(len(y))
	}
	about := 0.0
	for _, v := range y {
		about += (v - mean) * (v - mean)
	}
	return 1 - rss/about // NaN without data, as 0/0
}

// errors works out everything that follows from (JᵀJ)⁻¹, and the warnings.
func (r *Result) errors(inverse [][]float64) {
	r.ResidualSD = math.Sqrt(r.RSS / float64(r.DegreesOfFreedom)) // NaN if none are left
	variance := r.ResidualSD * r.ResidualSD
	if r.DegreesOfFreedom == 0 {
		r.ResidualSD, variance = math.NaN(), math.NaN()
	}
	if r.known {
		variance = 1
	}
	n := len(r.Params)
	r.Covariance, r.Correlation = make([][]float64, n), make([][]float64, n)
	for i := range n {
		r.Covariance[i], r.Correlation[i] = make([]float64, n), make([]float64, n)
		for j := range n {
			r.Covariance[i][j] = variance * inverse[i][j]
			r.Correlation[i][j] = inverse[i][j] / math.Sqrt(inverse[i][i]*inverse[j][j])
		}
		r.Params[i].StdErr = math.Sqrt(r.Covariance[i][i])
	}
	if r.DegreesOfFreedom == 0 && !r.known {
		r.warn("There are as many parameters as points: the residuals tell nothing, and there are no errors")
	}
	for i := range n {
		for j := range i {
			if c := r.Correlation[i][j]; math.Abs(c) > closeTies {
				r.warn(fmt.Sprintf("%s and %s are hard to tell apart, their correlation is %.6f", r.Params[j].Name, r.Params[i].Name, c))
			}
		}
	}
}

func (r *Result) warn(text string) { r.Warnings = append(r.Warnings, text) }
