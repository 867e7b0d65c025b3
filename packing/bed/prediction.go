package bed

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/fit"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/units"
)

// A Prediction asks for the curve of a bed of another size, from parameters that
// were estimated. Its curve says that it is predicted and carries the standard
// errors of the readings, of the parameters, of a friction that was guessed and of the
// choice of the law; a plan takes it with a caution.
//
//	wide, err := bed.Prediction{Fit: estimates.Best,
//		Size: bed.Size{InnerDiameter: 100 * Centimetre, SettledHeight: 22.4 * Centimetre}}.Evaluate()
//	wide.Curve
type Prediction struct {
	Fit       LawFit
	Size      Size
	Viscosity units.Viscosity // zero: that of the first measured curve
	// Velocities are where the curve has its points; none: sixteen up to the part of
	// the critical velocity to which beds were measured.
	Velocities []units.Velocity
	// Extrapolate answers for proportions L0/D outside of those that were measured,
	// too.
	Extrapolate bool
}

// PredictionResult holds what was predicted.
type PredictionResult struct {
	Prediction Prediction
	Curve      Curve
	Critical   CriticalEstimate
	// Highest is the part of the critical velocity to which beds were measured, as a
	// velocity of this bed.
	Highest units.Velocity
	Doubts  []string
	Refusal error // why there are no numbers, or nil
}

// Evaluate returns the curve with its errors, by first order in the parameters,
// and the critical velocity. It refuses a size that cannot be, or of a proportion
// outside of the measured ones unless Extrapolate is set, velocities that do not
// rise, and with a *CriticalError velocities that are not below the critical one, by
// the fit's law or one that the readings do not exclude.
func (p Prediction) Evaluate() (PredictionResult, error) {
	r, err := p.evaluate()
	if err != nil {
		return PredictionResult{Prediction: p, Refusal: err}, err
	}
	return r, nil
}

func (p Prediction) evaluate() (PredictionResult, error) {
	s := p.Fit.problem
	bad := func(what, problem, remedy string) (PredictionResult, error) {
		return PredictionResult{}, &packing.InputError{Where: "prediction", What: what, Problem: problem, Remedy: remedy}
	}
	if s.law == nil {
		return bad("fit", "there is none", "give the Best of Estimation.Fit")
	}
	if !p.Fit.Fit.Converged() {
		return bad("fit", "its search ended as "+p.Fit.Fit.Status.String(), "predict from a law that fits")
	}
	b := p.Fit.In(p.Size, p.Viscosity)
	b.Label = ""
	if err := b.Check(); err != nil {
		return PredictionResult{}, err
	}
	critical, err := p.Fit.CriticalAt(p.Size, b.Viscosity)
	if err != nil {
		return PredictionResult{}, err
	}
	r := PredictionResult{Prediction: p, Critical: critical, Doubts: slices.Clone(p.Fit.doubts)}
	least, most := s.e.ratios()
	ratio := p.Size.Ratio()
	if ratio < least*(1-sameRatio) || ratio > most*(1+sameRatio) {
		span := fmt.Sprintf("from %.3g to %.3g", least, most)
		if most < least*(1+sameRatio) {
			span = fmt.Sprintf("at %.3g only", least)
		}
		if !p.Extrapolate {
			return bad(fmt.Sprintf("height over diameter %.3g", ratio), "it was measured "+span, "measure there, or set Extrapolate and keep a margin")
		}
		r.Doubts = append(r.Doubts, fmt.Sprintf("Settled height over diameter is %.3g, it was measured %s: the support of the wall is extrapolated.", ratio, span))
	}
	if x := p.Fit.Parameters[friction]; x.Held && math.Abs(p.Size.Ratio()/least-1) > sameRatio {
		its := "its error is in none of the errors here"
		if p.Fit.drift != nil {
			its = fmt.Sprintf("an error of ± %.2g of it is in the errors here", s.e.frictionError())
		}
		r.Doubts = append(r.Doubts, fmt.Sprintf("Friction at the wall was held at %.3g, not measured: %s.", x.Value, its))
	}
	r.Highest = critical.Velocity.Times(p.Fit.reached)
	velocities := p.Velocities
	if len(velocities) == 0 {
		if !(r.Highest > 0) || math.IsInf(float64(r.Highest), 0) {
			return bad("velocities", "none were given, and the bed has no critical velocity to go by", "give Velocities")
		}
		for k := range 16 {
			velocities = append(velocities, r.Highest.Times(float64(k+1)/16))
		}
	}
	r.Curve = Curve{Label: fmt.Sprintf("predicted for %v", p.Size), SettledHeight: p.Size.SettledHeight, InnerDiameter: p.Size.InnerDiameter, Viscosity: b.Viscosity,
		Freedom: p.Fit.Fit.DegreesOfFreedom, Predicted: "from " + s.e.names() + " by the law of " + p.Fit.lawNames()}
	for _, u := range velocities {
		y, err := b.At(u)
		if err != nil {
			return PredictionResult{}, err
		}
		e, unsteady := p.Fit.errorAt(b, u)
		if unsteady != nil {
			other, _ := unsteady.critical()
			return PredictionResult{}, &CriticalError{"bed by the law of " + lawName(unsteady.Law) + ", which the readings do not exclude", u, other}
		}
		r.Curve.Points = append(r.Curve.Points, Point{u, y.CompressionFactor, y.Pressure})
		r.Curve.StdErr = append(r.Curve.StdErr, e)
	}
	if err := r.Curve.Check(); err != nil {
		return PredictionResult{}, err
	}
	if last := r.Curve.Last().Velocity; last > r.Highest.Times(1.01) {
		r.Doubts = append(r.Doubts, fmt.Sprintf("Beds were measured up to %.2g of their critical velocity, %.4g cm/h here: above, the law is extrapolated.", p.Fit.reached, r.Highest.In(units.CentimetrePerHour)))
	}
	if !critical.Determined {
		r.Doubts = append(r.Doubts, "The critical velocity is not determined: "+critical.Reason+".")
	}
	r.Curve.Doubts = r.Doubts
	return r, nil
}

// lawNames names the fit's law and those that its errors stand for, too.
func (f LawFit) lawNames() string {
	name := lawName(f.problem.law)
	var others []string
	for _, m := range f.laws {
		if other := lawName(m.problem.law); other != name {
			others = append(others, other)
		}
	}
	if len(others) == 0 {
		return name
	}
	return name + ", with that of " + strings.Join(others, " and ") + " in its errors"
}

// names lists the curves.
func (e Estimation) names() string {
	var s []string
	for _, c := range e.Curves {
		s = append(s, c.bed())
	}
	return strings.Join(s, " and ")
}

func (r PredictionResult) title() string {
	return fmt.Sprintf("Bed of %v, predicted", r.Prediction.Size)
}

// Page shows the curve with its errors and the picture.
func (r PredictionResult) Page() page.Page {
	var p page.Page
	if len(r.Curve.Points) == 0 {
		p.NoResult(r.Refusal, "nothing has been predicted.")
		return p
	}
	p.Heading(r.title())
	p.List("Doubts", r.Doubts)
	p.Text(fmt.Sprintf("Predicted %s. Beds were measured up to %.2g of their critical velocity, which is %.0f cm/h here.", r.Curve.Predicted, r.Prediction.Fit.reached, r.Highest.In(units.CentimetrePerHour)))
	c := r.Critical
	if c.Determined {
		p.Text(fmt.Sprintf("Critical velocity %.0f cm/h, %.4g %% interval %.0f to %.0f cm/h.", c.Velocity.In(units.CentimetrePerHour),
			100*r.Prediction.Fit.problem.e.confidence(), c.Low.In(units.CentimetrePerHour), c.High.In(units.CentimetrePerHour)))
	}
	p.Table(r.Curve.table())
	p.Figure(r.Figure())
	p.List("Cautions", []string{caution, "± is one standard error of readings, parameters and friction alone: from pack to pack beds differ by more. Measure the curve at this size as soon as there is a bed."})
	return p
}

// String returns the page as text.
func (r PredictionResult) String() string { return r.Page().String() }

// Figure draws the predicted pressure and compression factor with their
// confidence limits, beside the readings they come from.
func (r PredictionResult) Figure() figure.Stack {
	s := figure.Stack{Title: r.title(), Description: "Predicted pressure and compression factor against velocity with their confidence limits, and the readings from which they were predicted."}
	if len(r.Curve.Points) == 0 {
		return s
	}
	e := r.Prediction.Fit.problem.e
	t := fit.StudentT(e.confidence(), float64(r.Prediction.Fit.Fit.DegreesOfFreedom))
	for k, y := range []figure.Axis{{Label: "Pressure", Unit: "bar", One: float64(units.Bar)}, {Label: "Compression factor"}} {
		value := func(p Point) float64 {
			if k == 0 {
				return float64(p.Pressure)
			}
			return p.CompressionFactor
		}
		line := figure.Points{X: []float64{0}, Y: []float64{value(Point{0, 1, 0})}}
		low, high := line, line
		for i, p := range r.Curve.Points {
			err := r.Curve.StdErr[i].CompressionFactor
			if k == 0 {
				err = float64(r.Curve.StdErr[i].Pressure)
			}
			u, v := float64(p.Velocity), value(p)
			line.X, line.Y = append(line.X, u), append(line.Y, v)
			low.X, low.Y = append(low.X, u), append(low.Y, v-t*err)
			high.X, high.Y = append(high.X, u), append(high.Y, v+t*err)
		}
		f := figure.Figure{X: velocityAxis(), Y: y, Height: 240}
		name := func(s string) string {
			if k == 0 {
				return s
			}
			return ""
		}
		f.Lines = []figure.Line{{Name: name("predicted"), Points: line}}
		for _, c := range e.Curves {
			var measured figure.Points
			for _, p := range c.Points {
				measured.X, measured.Y = append(measured.X, float64(p.Velocity)), append(measured.Y, value(p))
			}
			f.Lines = append(f.Lines, figure.Line{Name: name(c.bed()), Points: measured, Dots: true, Bare: true})
		}
		f.Lines = append(f.Lines, figure.Line{Points: low, Faint: true}, figure.Line{Points: high, Faint: true})
		s.Panels = append(s.Panels, f)
	}
	return s
}
