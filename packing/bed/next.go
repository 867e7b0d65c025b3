package bed

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/units"
)

// A NextReading is the reading that tells most about a critical velocity that is not
// determined: its column, its velocity, and what the interval would become.
type NextReading struct {
	Curve     string // of the column to measure in
	Velocity  units.Velocity
	Critical  string         // the curve whose critical velocity it is for
	Low, High units.Velocity // expected confidence interval of that critical velocity
	Enough    bool           // the critical velocity would then be determined
}

// String says where to measure.
func (n NextReading) String() string {
	if n.Curve == "" {
		return "no reading was found that helps"
	}
	text := fmt.Sprintf("measure next in %s at about %s cm/h, if every limit allows it", n.Curve, twoDigits(n.Velocity))
	if !n.Enough {
		return text + "; more readings will be needed after that to determine the critical velocity of " + n.Critical
	}
	return text + fmt.Sprintf("; the critical velocity of %s would then be known to about %s to %s cm/h", n.Critical, twoDigits(n.Low), twoDigits(n.High))
}

// twoDigits writes a velocity in cm/h, rounded to two digits.
func twoDigits(u units.Velocity) string {
	v := u.In(units.CentimetrePerHour)
	one := math.Pow(10, math.Floor(math.Log10(v))-1)
	return number.Fixed(math.Round(v/one)*one, 0)
}

// Beyond what was measured a next reading goes up to this part of the lower end of
// its column's critical velocity, and this many times the highest velocity measured
// there (common practice, no source).
const (
	nextPart = 0.8
	nextStep = 1.5
)

// next finds the next reading for the critical velocity that is furthest from being
// determined. A reading y of pressure and compression factor lowers the variance of
// its logarithm θ by
//
//	cov(θ,y)·var(y)⁻¹·cov(y,θ)
//
// with the covariances within the laws and between them, and the errors of a
// reading in var(y).
func (r EstimationResult) next() NextReading {
	e, best := r.Estimation, r.Best
	target, furthest := -1, 0.0
	limit := func(i int) float64 { return e.reach() * best.reached * float64(best.Critical[i].Velocity) }
	for i, c := range best.Critical {
		if far := float64(c.High) / limit(i); !c.Determined && finite(far) && far > furthest {
			target, furthest = i, far
		}
	}
	if target < 0 {
		return NextReading{}
	}
	critical := best.Critical[target]
	members := best.members()
	var θ []float64
	var gθ [][][2]float64
	var covariances [][][]float64
	var weights []float64
	mean := 0.0
	for _, m := range members {
		at, by, ok := m.slopes(critical.Size, critical.Viscosity, lnCritical)
		if !ok {
			return NextReading{}
		}
		θ, gθ, covariances, weights = append(θ, at[0]), append(gθ, by), append(covariances, m.covariance()), append(weights, m.weight)
		mean += m.weight * at[0]
	}
	variance := 0.0
	for k, w := range weights {
		variance += w * (product(gθ[k], 0, covariances[k], gθ[k], 0) + math.Pow(θ[k]-mean, 2))
	}
	scatter := math.Max(best.Fit.ResidualSD, 1)
	// lowers returns the part of the variance that a reading takes away.
	lowers := func(c Curve, u units.Velocity) float64 {
		var y [][2]float64
		var gy [][][2]float64
		var middle [2]float64
		for k, m := range members {
			at, by, ok := m.slopes(Size{c.InnerDiameter, c.SettledHeight}, c.Viscosity, stateAt(u))
			if !ok {
				return 0
			}
			y, gy = append(y, at), append(gy, by)
			for l := range at {
				middle[l] += weights[k] * at[l]
			}
		}
		height := float64(c.SettledHeight) / middle[0]
		v := [2][2]float64{{math.Pow(scatter*e.heightError()/height*middle[0], 2)}, {0, math.Pow(scatter*e.pressureError()*middle[1], 2)}}
		var with [2]float64
		for k, w := range weights {
			for l := range with {
				with[l] += w * (product(gθ[k], 0, covariances[k], gy[k], l) + (θ[k]-mean)*(y[k][l]-middle[l]))
				for m := range with {
					v[l][m] += w * (product(gy[k], l, covariances[k], gy[k], m) + (y[k][l]-middle[l])*(y[k][m]-middle[m]))
				}
			}
		}
		det := v[0][0]*v[1][1] - v[0][1]*v[1][0]
		return (with[0]*with[0]*v[1][1] - 2*with[0]*with[1]*v[0][1] + with[1]*with[1]*v[0][0]) / det / variance
	}
	var found NextReading
	nearest := 0.98 * furthest
	u := float64(critical.Velocity)
	for i, c := range e.Curves {
		highest := c.Last().Velocity
		top := math.Min(float64(highest)*nextStep, nextPart*float64(best.Critical[i].Low))
		for k := range 12 {
			try := units.Velocity(top * float64(k+1) / 12)
			narrower := math.Sqrt(math.Max(1-lowers(c, try), 0))
			high := u * math.Pow(float64(critical.High)/u, narrower)
			reached := math.Max(best.reached, try.In(best.Critical[i].Velocity))
			if far := high / (e.reach() * reached * u); far < nearest {
				nearest = far
				found = NextReading{c.bed(), try, e.Curves[target].bed(),
					units.Velocity(u * math.Pow(float64(critical.Low)/u, narrower)), units.Velocity(high), far <= 1}
			}
		}
	}
	return found
}
