// Package fit finds the parameters of a model by least squares, each with its
// standard error, and says honestly how the search ended.
//
// [Curve] takes a model of the user's own, a function of x and the parameters:
//
//	result, err := fit.Curve{
//		Model:  func(x float64, p []float64) float64 { return p[0] * (1 - math.Exp(-p[1]*x)) },
//		Params: []fit.Param{{Name: "top", Start: 250}, {Name: "rate", Start: 5e-4, Bounds: fit.AtLeast(0)}},
//		X: x, Y: y,
//	}.Fit()
//
// [Linear] takes a sum of terms, each with a coefficient; [Line] and
// [Polynomial] are short for it. [Problem] is the same search as [Curve] for
// programs that work out all residuals at once. All give a [Result]: values and
// standard errors, how well they fit, [Result.Band] of the fitted curve,
// [Result.Interval] of a parameter and [Result.Derived] for a number worked out
// from several.
//
// Everything here is plain float64: the unit of a parameter is that of the data
// given. A model is called from one goroutine only.
package fit

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"
)

// Bounds are where a parameter must stay. The zero value stands for none.
type Bounds struct {
	low, high       float64
	hasLow, hasHigh bool
}

// AtLeast returns the bounds of a parameter that is low or more.
func AtLeast(low float64) Bounds { return Bounds{low: low, hasLow: true} }

// AtMost returns the bounds of a parameter that is high or less.
func AtMost(high float64) Bounds { return Bounds{high: high, hasHigh: true} }

// Between returns the bounds of a parameter from low to high, both included.
func Between(low, high float64) Bounds { return Bounds{low, high, true, true} }

// Limits returns the lowest and the highest value, infinite where there is no
// bound.
func (b Bounds) Limits() (low, high float64) {
	low, high = math.Inf(-1), math.Inf(1)
	if b.hasLow {
		low = b.low
	}
	if b.hasHigh {
		high = b.high
	}
	return low, high
}

// String shows the bounds in words.
func (b Bounds) String() string {
	switch {
	case b.hasLow && b.hasHigh:
		return fmt.Sprintf("%.6g to %.6g", b.low, b.high)
	case b.hasLow:
		return fmt.Sprintf("at least %.6g", b.low)
	case b.hasHigh:
		return fmt.Sprintf("at most %.6g", b.high)
	}
	return "none"
}

// A Param is a parameter before the fit. Start it at about the size that is
// expected: the search goes to the minimum next to the start.
type Param struct {
	Name   string
	Start  float64
	Bounds Bounds
	Fixed  bool // keeps its start
}

// A Status tells how a fit ended. Only [Converged] is a success; the zero value
// means that nothing was fitted.
type Status int

// The ways in which a fit ends.
const (
	NotFitted      Status = iota
	Converged             // at a minimum that fixes every free parameter
	OnBound               // at a minimum on the bounds of some parameters; the others are conditional on that
	Singular              // the data do not fix every parameter
	Stalled               // no step lowers the sum of squares, yet this is no minimum
	IterationLimit        // not there yet
)

// String returns the status in words.
func (s Status) String() string {
	switch s {
	case Converged:
		return "converged"
	case OnBound:
		return "converged on a bound"
	case Singular:
		return "singular"
	case Stalled:
		return "stalled"
	case IterationLimit:
		return "iteration limit"
	}
	return "not fitted"
}

// An Estimate is one parameter after the fit.
type Estimate struct {
	Name   string
	Value  float64
	StdErr float64 // one standard error; NaN if fixed, on a bound, or not fixed by the data
	Start  float64
	Fixed  bool
	// OnBound tells that the fit wants to go beyond the parameter's bound.
	OnBound bool
}

// A Result is what a fit found.
type Result struct {
	Status   Status
	Reason   string // how the fit ended, in a sentence
	Warnings []string

	Params []Estimate
	RSS    float64 // residual sum of squares, weighted if standard deviations were given
	// ResidualSD is the residual standard deviation, √(RSS/DegreesOfFreedom);
	// about 1 if standard deviations were given and are right.
	ResidualSD       float64
	R2               float64 // 1 - RSS/(sum of squares about the mean); NaN if the data were not given
	Points           int
	DegreesOfFreedom int // points less free parameters
	Iterations       int
	Evaluations      int // of all residuals, those for derivatives included

	// Covariance and Correlation of the parameters in order; NaN in the rows of
	// those without a standard error.
	Covariance, Correlation [][]float64

	// Residuals are data minus model, not weighted.
	Residuals []float64

	at       func(x float64, p []float64) float64
	gradient func(x float64, p, g []float64) // by the parameters; may be nil
	x        []float64
	known    bool // the standard deviations of the data were given as known
}

// Converged reports whether the fit ended at a minimum that fixes every free
// parameter.
func (r Result) Converged() bool { return r.Status == Converged }

// Values returns the parameters in order.
func (r Result) Values() []float64 {
	p := make([]float64, len(r.Params))
	for i, e := range r.Params {
		p[i] = e.Value
	}
	return p
}

// Param returns a parameter by its name. Another name is an error that lists
// them.
func (r Result) Param(name string) (Estimate, error) {
	names := make([]string, len(r.Params))
	for i, e := range r.Params {
		if e.Name == name {
			return e, nil
		}
		names[i] = e.Name
	}
	return Estimate{}, fmt.Errorf("fit: no parameter %q; there are %s", name, strings.Join(names, ", "))
}

// StudentT returns the quantile t of Student's distribution for a two-sided
// interval: with f degrees of freedom, |T| < t with probability confidence. It
// returns NaN unless 0 < confidence < 1 and f > 0.
func StudentT(confidence, f float64) float64 {
	if !(confidence > 0 && confidence < 1 && f > 0) {
		return math.NaN()
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: f}.Quantile(0.5 + confidence/2)
}

// quantile is the factor of a standard error: Student's, or that of a Gaussian
// if the standard deviations of the data are known.
func (r Result) quantile(confidence float64) (float64, error) {
	if !(confidence > 0 && confidence < 1) {
		return 0, fmt.Errorf("fit: a confidence of %v is not between 0 and 1; write for example 0.95", confidence)
	}
	if r.known {
		return distuv.UnitNormal.Quantile(0.5 + confidence/2), nil
	}
	return StudentT(confidence, float64(r.DegreesOfFreedom)), nil
}

// Interval returns the confidence interval of a parameter, value ± t·StdErr with
// Student's t. Its ends are NaN if the parameter has no standard error.
func (r Result) Interval(name string, confidence float64) (low, high float64, err error) {
	e, err := r.Param(name)
	if err != nil {
		return 0, 0, err
	}
	t, err := r.quantile(confidence)
	if err != nil {
		return 0, 0, err
	}
	return e.Value - t*e.StdErr, e.Value + t*e.StdErr, nil
}

// Derived returns a number worked out from the parameters, and its standard
// error by the delta method:
//
//	s² = gᵀ C g
//
// with g the derivatives of f by the parameters, taken by central differences,
// and C their covariance. Parameters that are fixed or on a bound count as
// known. The error is NaN if the data do not fix a parameter that matters.
func (r Result) Derived(f func(p []float64) float64) (value, stdErr float64) {
	p := r.Values()
	value = f(p)
	g := make([]float64, len(p))
	for i, e := range r.Params {
		if e.Fixed || e.OnBound {
			continue
		}
		h := cubeRootEps * math.Max(math.Abs(e.Value), 1e-3*math.Abs(e.StdErr))
		if !(h > 0) {
			h = cubeRootEps
		}
		p[i] = e.Value + h
		up, above := f(p), p[i]
		p[i] = e.Value - h
		g[i] = (up - f(p)) / (above - p[i])
		p[i] = e.Value
	}
	return value, math.Sqrt(r.variance(g))
}

// variance returns gᵀ C g over the parameters that were free. A derivative of
// zero leaves its parameter out.
func (r Result) variance(g []float64) float64 {
	v := 0.0
	for i, e := range r.Params {
		if g[i] == 0 || e.Fixed || e.OnBound {
			continue
		}
		for j, o := range r.Params {
			if g[j] != 0 && !o.Fixed && !o.OnBound {
				v += g[i] * r.Covariance[i][j] * g[j]
			}
		}
	}
	return math.Max(v, 0) // rounding of a sum that cancels; NaN stays NaN
}

// A Band is a fitted curve with its confidence limits.
type Band struct {
	Confidence float64
	X          []float64
	Y          []float64 // the curve
	StdErr     []float64 // of the curve
	Low, High  []float64 // the curve may lie between, at each x by itself
}

// At returns the fitted curve at x; NaN if the fit was not one of a curve.
func (r Result) At(x float64) float64 {
	if r.at == nil {
		return math.NaN()
	}
	return r.at(x, r.Values())
}

// Band returns the fitted curve at the positions x with its confidence limits,
// by the delta method:
//
//	f(x) ± t √(gᵀ C g)
//
// with g the derivatives of the curve by the parameters and C their covariance.
// The limits hold at each x by itself, for the curve and not for single points.
// A result that is not one of a curve, or has no covariance, is an error.
func (r Result) Band(x []float64, confidence float64) (Band, error) {
	if r.at == nil {
		return Band{}, fmt.Errorf("fit: this result has no curve; Band works for Curve, Linear with Terms, Line and Polynomial")
	}
	t, err := r.quantile(confidence)
	if err != nil {
		return Band{}, err
	}
	n := len(x)
	b := Band{confidence, append([]float64(nil), x...), make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)}
	p, g := r.Values(), make([]float64, len(r.Params))
	for i, x := range x {
		if r.gradient != nil {
			b.Y[i] = r.at(x, p)
			r.gradient(x, p, g)
			b.StdErr[i] = math.Sqrt(r.variance(g))
		} else {
			b.Y[i], b.StdErr[i] = r.Derived(func(p []float64) float64 { return r.at(x, p) })
		}
		b.Low[i], b.High[i] = b.Y[i]-t*b.StdErr[i], b.Y[i]+t*b.StdErr[i]
	}
	return b, nil
}
