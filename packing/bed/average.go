package bed

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/evenbed/evenbed/packing/fit"
	"github.com/evenbed/evenbed/packing/units"
)

// fitted is one law with the parameters that were found for it.
type fitted struct {
	problem estimator
	result  fit.Result
	drift   []float64 // by how much the parameters would move with a held friction, ∂p/∂µ; nil: it has no error
}

// weighted is a law that the readings do not exclude.
type weighted struct {
	fitted
	weight float64 // all together 1
}

// excluded is by how much a law's criterion may be above the best before the
// readings exclude it. Source: K. P. Burnham and D. R. Anderson, Model Selection and
// Multimodel Inference (Springer, 2002), section 2.6, from memory.
const excluded = 10

// weigh gives the laws their weights and makes the best of them stand for all that
// the readings do not exclude. Lowest is the lowest criterion, infinite if no law
// converged.
func (r *EstimationResult) weigh(lowest float64) error {
	sum := 0.0
	for i := range r.Fits {
		f := &r.Fits[i]
		if above := f.AICc - lowest; f.Fit.Converged() && above <= excluded {
			f.Weight = math.Exp(-above / 2)
			sum += f.Weight
		}
	}
	var laws []weighted
	for i := range r.Fits {
		f := &r.Fits[i]
		f.Weight /= math.Max(sum, 1)
		if f.Weight > 0 {
			laws = append(laws, weighted{f.fitted, f.Weight})
		}
		if f.AICc == lowest && f.Fit.Converged() {
			r.Best = *f
		}
	}
	if len(laws) < 2 {
		return nil
	}
	r.Best.laws, r.Best.Critical = laws, nil
	for _, c := range r.Estimation.Curves {
		critical, err := r.Best.CriticalAt(Size{c.InnerDiameter, c.SettledHeight}, c.Viscosity)
		if err != nil {
			return err
		}
		r.Best.Critical = append(r.Best.Critical, critical)
	}
	return nil
}

// members returns the laws that the fit stands for.
func (f LawFit) members() []weighted {
	if f.laws == nil {
		return []weighted{{f.fitted, 1}}
	}
	return f.laws
}

// covariance returns the covariance of the parameters, with that of a friction
// that was held: C + (∂p/∂µ)(∂p/∂µ)ᵀs(µ)².
func (f fitted) covariance() [][]float64 {
	sd := f.problem.e.frictionError()
	c := make([][]float64, len(f.result.Params))
	free := func(i int) bool { return !f.result.Params[i].Fixed && !f.result.Params[i].OnBound }
	for i := range c {
		c[i] = make([]float64, len(c))
		for j := range c[i] {
			if free(i) && free(j) {
				c[i][j] = f.result.Covariance[i][j]
			}
			if f.drift != nil {
				c[i][j] += f.drift[i] * f.drift[j] * sd * sd
			}
		}
	}
	return c
}

// slopes returns numbers of a bed of a size in a liquid, and their derivatives by
// each parameter that has an error. Of reports false for a bed that has none.
func (f fitted) slopes(size Size, mu units.Viscosity, of func(b Compressible) ([2]float64, bool)) (at [2]float64, by [][2]float64, ok bool) {
	const h = 1e-4 // of logarithms and of friction
	p := f.result.Values()
	value := func(p []float64) ([2]float64, bool) {
		b := f.problem.bed(0, p).In(size)
		b.Viscosity = mu
		return of(b)
	}
	if at, ok = value(p); !ok {
		return at, nil, false
	}
	by = make([][2]float64, len(p))
	for i, e := range f.result.Params {
		if (e.Fixed || e.OnBound) && (i != friction || f.drift == nil) {
			continue
		}
		var ends [2][2]float64
		var x [2]float64
		for k, step := range [2]float64{-h, h} {
			q := append([]float64(nil), p...)
			if q[i] += step; i == friction {
				q[i] = math.Max(q[i], 0)
			}
			x[k] = q[i]
			if ends[k], ok = value(q); !ok {
				return at, nil, false
			}
		}
		for k := range at {
			by[i][k] = (ends[1][k] - ends[0][k]) / (x[1] - x[0])
		}
	}
	return at, by, true
}

// product returns aᵀCb for the first or second number of each.
func product(a [][2]float64, k int, c [][]float64, b [][2]float64, l int) float64 {
	sum := 0.0
	for i := range c {
		for j := range c[i] {
			if a[i][k] != 0 && b[j][l] != 0 {
				sum += a[i][k] * c[i][j] * b[j][l]
			}
		}
	}
	return sum
}

// lnCritical is the logarithm of the critical velocity of a bed, for slopes.
func lnCritical(b Compressible) ([2]float64, bool) {
	u, _ := b.critical()
	return [2]float64{math.Log(float64(u))}, u > 0 && !math.IsInf(float64(u), 1)
}

// stateAt is the compression factor and the pressure of a bed at a velocity, for
// slopes.
func stateAt(u units.Velocity) func(b Compressible) ([2]float64, bool) {
	return func(b Compressible) ([2]float64, bool) {
		y, ok := b.solve(u, nil)
		return [2]float64{1 / (1 - y.lost/float64(b.SettledHeight)), y.pressure}, ok
	}
}

// part is what one law says of a critical velocity.
type part struct {
	weight, ln, sd float64 // ln is infinite if no flow brings the bed there
	freedom        float64
}

// quantile returns the logarithm below which the mixture of the laws' Student
// distributions holds the probability p; infinite if the laws without a critical
// velocity hold more than the rest.
func quantile(parts []part, p float64) float64 {
	most, low, high := 0.0, math.Inf(1), math.Inf(-1)
	for _, x := range parts {
		if !math.IsInf(x.ln, 1) {
			most += x.weight
			t := fit.StudentT(math.Abs(2*p-1), x.freedom)
			low, high = math.Min(low, x.ln-t*x.sd), math.Max(high, x.ln+t*x.sd)
		}
	}
	if most <= p {
		return math.Inf(1)
	}
	excess := func(y float64) float64 {
		sum := -p
		for _, x := range parts {
			switch {
			case math.IsInf(x.ln, 1):
			case x.sd > 0:
				sum += x.weight * distuv.StudentsT{Mu: x.ln, Sigma: x.sd, Nu: x.freedom}.CDF(y)
			case y >= x.ln:
				sum += x.weight
			}
		}
		return sum
	}
	// Alone, each law has its quantile between these two; a law without a critical
	// velocity moves that of the mixture up.
	for step := high - low + 1e-6; excess(high) < 0; step *= 2 {
		high += step
	}
	for step := high - low + 1e-6; excess(low) > 0; step *= 2 {
		low -= step
	}
	for range 60 {
		if mid := (low + high) / 2; excess(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// In returns the bed that was found in another size and liquid; zero viscosity
// keeps the liquid of the first curve.
func (f LawFit) In(size Size, mu units.Viscosity) Compressible {
	b := f.Bed.In(size)
	if mu != 0 {
		b.Viscosity = mu
	}
	return b
}

// CriticalAt returns the critical velocity of another size in a liquid of
// viscosity mu, zero: that of the first curve. The number is that of the fit's law.
// The confidence interval holds the first-order errors of the parameters and of a
// friction that was held, see Estimation.FrictionError, and for the Best of an
// estimation the choice of the law, see Estimation.Fit. It refuses an impossible
// size and a LawFit that was not made by a fit.
func (f LawFit) CriticalAt(size Size, mu units.Viscosity) (CriticalEstimate, error) {
	c, err := f.criticalAt(size, mu)
	c.Doubts = f.doubts
	c.Refusal = err
	return c, err
}

func (f LawFit) criticalAt(size Size, mu units.Viscosity) (CriticalEstimate, error) {
	if f.problem.law == nil {
		return CriticalEstimate{}, fmt.Errorf("bed: the law was not fitted; use Estimation.Fit")
	}
	b := f.In(size, mu)
	nan := units.Velocity(math.NaN())
	c := CriticalEstimate{Size: size, Viscosity: b.Viscosity, Velocity: nan, StdErr: nan, Low: nan, High: nan}
	critical, err := b.CriticalVelocity()
	if err != nil {
		if e := b.Check(); e != nil {
			return c, e
		}
		c.High, c.Reason = units.Velocity(math.Inf(1)), "no flow brings the bed there"
		return c, nil
	}
	c.Velocity = critical
	if !f.Fit.Converged() {
		c.Low, c.High = 0, units.Velocity(math.Inf(1))
		c.Reason = "the data do not fix the parameters (" + f.Fit.Status.String() + ")"
		return c, nil
	}
	ln := math.Log(float64(critical))
	var parts []part
	var variance, wall float64
	for _, m := range f.members() {
		at, by, ok := m.slopes(size, b.Viscosity, lnCritical)
		x := part{weight: m.weight, ln: math.Inf(1), freedom: float64(m.result.DegreesOfFreedom)}
		if ok {
			c := m.covariance()
			x.ln, x.sd = at[0], math.Sqrt(math.Max(product(by, 0, c, by, 0), 0))
			variance += m.weight * (x.sd*x.sd + (x.ln-ln)*(x.ln-ln))
			if m.drift != nil {
				along := 0.0
				for i := range by {
					along += by[i][0] * m.drift[i]
				}
				wall += m.weight * math.Pow(along*m.problem.e.frictionError(), 2)
			}
		}
		parts = append(parts, x)
	}
	e := f.problem.e
	tail := (1 - e.confidence()) / 2
	c.StdErr = critical.Times(math.Sqrt(variance))
	c.Low, c.High = units.Velocity(math.Exp(quantile(parts, tail))), units.Velocity(math.Exp(quantile(parts, 1-tail)))
	highest := critical.Times(f.reached)
	if limit := highest.Times(e.reach()); c.High > limit {
		c.Reason = fmt.Sprintf("the upper end of its interval, %.4g cm/h, is more than %.3g times the highest velocity measured, here %.4g cm/h",
			c.High.In(units.CentimetrePerHour), e.reach(), highest.In(units.CentimetrePerHour))
		if name := f.widest(parts, limit); name != "" {
			c.Reason += "; the law of " + name + ", which the readings do not exclude, makes it so"
		}
		if wall > variance/2 {
			c.Reason += fmt.Sprintf("; most of its error is friction at the wall, which was not measured (%.2g ± %.2g): measure a second column, its settled height over diameter at least %.3g times larger or smaller",
				e.friction(), e.frictionError(), unlike)
		}
		return c, nil
	}
	c.Determined = true
	return c, nil
}

// widest returns the name of the law other than the fit's own of which most of the
// probability above a velocity comes; empty: of its own.
func (f LawFit) widest(parts []part, limit units.Velocity) string {
	most, name := 0.0, ""
	y := math.Log(float64(limit))
	for i, m := range f.members() {
		x := parts[i]
		above := x.weight
		if !math.IsInf(x.ln, 1) {
			above *= 1 - distuv.StudentsT{Mu: x.ln, Sigma: math.Max(x.sd, 1e-12), Nu: x.freedom}.CDF(y)
		}
		if above > most {
			most, name = above, ""
			if own := lawName(m.problem.law); own != lawName(f.Bed.Law) {
				name = own
			}
		}
	}
	return name
}

// errorAt returns the standard errors of compression factor and pressure of a bed
// at a velocity: that of the readings, those of the parameters and of a friction
// that was held, and the distance of the laws from the fit's own,
//
//	s² = r² + Σ w·(gᵀCg + (y - y_best)²)
//
// over the laws with their weights w. The error r of a reading is there since gauge,
// ruler and viscosity may be off in all readings alike, which no fit can see. Where
// one of the laws has no steady state it returns that law's bed, too.
func (f LawFit) errorAt(b Compressible, u units.Velocity) (PointError, *Compressible) {
	own, _ := stateAt(u)(b)
	e := f.problem.e
	v := [2]float64{math.Pow(own[0]*own[0]*e.heightError()/float64(b.SettledHeight), 2), math.Pow(own[1]*e.pressureError(), 2)}
	for _, m := range f.members() {
		at, by, ok := m.slopes(Size{b.InnerDiameter, b.SettledHeight}, b.Viscosity, stateAt(u))
		if !ok {
			other := m.problem.bed(0, m.result.Values()).In(Size{b.InnerDiameter, b.SettledHeight})
			other.Viscosity = b.Viscosity
			return PointError{math.NaN(), units.Pressure(math.NaN())}, &other
		}
		c := m.covariance()
		for k := range v {
			v[k] += m.weight * (product(by, k, c, by, k) + math.Pow(at[k]-own[k], 2))
		}
	}
	return PointError{math.Sqrt(math.Max(v[0], 0)), units.Pressure(math.Sqrt(math.Max(v[1], 0)))}, nil
}
