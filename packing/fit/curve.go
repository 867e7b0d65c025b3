package fit

import (
	"fmt"
	"math"
)

// A Curve is a model of the user's own, to be fitted to points (X, Y).
type Curve struct {
	// Model returns the curve at x for the parameters p, in the order of
	// Params. It must not keep or change p.
	Model func(x float64, p []float64) float64
	// Gradient writes the derivatives of the model by the parameters into g.
	// Nil: they are taken by central differences, which costs two calls of the
	// model for each point and parameter.
	Gradient func(x float64, p, g []float64)
	Params   []Param
	X, Y     []float64
	// StdDev are the standard deviations of Y, or numbers in proportion to
	// them. The points count by 1/StdDev². Nil: all alike.
	StdDev []float64
	// KnownNoise says that StdDev are known sizes, not only proportions:
	// standard errors then come from them and not from the residuals.
	KnownNoise bool
	// MaxIterations limits the search; zero: 1000.
	MaxIterations int
}

// Fit searches for the parameters that make Σ ((Y - Model)/StdDev)² least, from
// their starts. What it refuses and how the search may end: see [Problem.Fit].
func (c Curve) Fit() (Result, error) {
	if c.Model == nil {
		return Result{}, fmt.Errorf("fit: no model; write Model: func(x float64, p []float64) float64 { return ... }")
	}
	weight, err := weights(c.X, c.Y, c.StdDev, c.KnownNoise)
	if err != nil {
		return Result{}, err
	}
	n := len(c.X)
	problem := Problem{Params: c.Params, Points: n, Y: weighted(c.Y, weight), KnownNoise: c.KnownNoise, MaxIterations: c.MaxIterations,
		Residuals: func(p, r []float64) {
			for i, x := range c.X {
				r[i] = weight[i] * (c.Model(x, p) - c.Y[i])
			}
		},
	}
	if c.Gradient != nil {
		g := make([]float64, len(c.Params))
		problem.Jacobian = func(p, j []float64) {
			for i, x := range c.X {
				c.Gradient(x, p, g)
				for k, v := range g {
					j[k*n+i] = weight[i] * v
				}
			}
		}
	}
	r, err := problem.Fit()
	if err != nil {
		return Result{}, err
	}
	for i := range r.Residuals {
		r.Residuals[i] /= weight[i]
	}
	r.at, r.gradient, r.x = c.Model, c.Gradient, c.X
	return r, nil
}

// weights checks the points and returns 1/StdDev for each.
func weights(x, y, sd []float64, known bool) ([]float64, error) {
	switch {
	case len(x) != len(y):
		return nil, fmt.Errorf("fit: %d values of X for %d of Y; give one for each", len(x), len(y))
	case len(x) == 0:
		return nil, fmt.Errorf("fit: no points; give X and Y")
	case sd != nil && len(sd) != len(y):
		return nil, fmt.Errorf("fit: %d standard deviations for %d points; give one for each, or none", len(sd), len(y))
	case known && sd == nil:
		return nil, fmt.Errorf("fit: KnownNoise without StdDev; give the standard deviations of the points")
	}
	w := make([]float64, len(y))
	for i := range y {
		if !finite(x[i]) || !finite(y[i]) {
			return nil, fmt.Errorf("fit: point %d is (%v, %v), not a number; leave it out", i+1, x[i], y[i])
		}
		w[i] = 1
		if sd != nil {
			if !(sd[i] > 0) || math.IsInf(sd[i], 0) {
				return nil, fmt.Errorf("fit: the standard deviation of point %d is %v; it must be above zero", i+1, sd[i])
			}
			w[i] = 1 / sd[i]
		}
	}
	return w, nil
}

func weighted(y, w []float64) []float64 {
	out := make([]float64, len(y))
	for i := range y {
		out[i] = y[i] * w[i]
	}
	return out
}
