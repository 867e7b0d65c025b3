package bed

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/fit"
	"github.com/evenbed/evenbed/packing/units"
)

// An Estimation asks which compressible bed fits measured pressure-flow curves of
// one medium: the parameters of its law, the bead diameter that explains the
// pressure, and the friction at the wall if the beds differ enough in proportion.
//
//	estimates, err := bed.Estimation{
//		Curves: []bed.Curve{wide, narrow}, MeanBead: 90 * Micrometre, SettledVoid: 0.40,
//	}.Fit()
//
// All curves must give settled height, inner diameter and viscosity. Their
// readings may scatter: what [ExperimentResult.Measured] gives will do. The settled
// void is held as it was given: pressure and height do not tell it from the
// bead diameter.
type Estimation struct {
	Label         string
	Curves        []Curve
	Laws          []Law // which to try; their parameters are where the search starts, zero: found by itself. Empty: all three
	MeanBead      units.Length
	SettledVoid   float64
	DensityExcess units.Density // zero: weight left out

	// FixBead holds the bead diameter, for a Kozeny constant that is known.
	FixBead        bool
	KozenyConstant float64 // zero: 180
	// WallFriction is held if all beds are about alike in settled height over
	// diameter, or with FixFriction; otherwise the search starts there. Zero without
	// FixFriction: 0.095, the middle of the usual range.
	WallFriction float64
	FixFriction  bool
	// FrictionError is the standard uncertainty of a held WallFriction, as a part of
	// it; it enters all errors of what is worked out from the fit. Zero: 82 %, unless
	// FixFriction says that the friction is known. That is the root mean square
	// distance of the usual range of 0.03 to 0.3 (common practice, no source), even
	// in its logarithm, from its middle: with r = 10 from end to end
	// √((r-1/r)/(2 ln r) - 2(√r-1/√r)/ln r + 1).
	FrictionError units.Fraction

	// How well a reading is known, beside the standard errors of the curves;
	// what is zero is common practice, no source. In the search only their proportions
	// count. A prediction carries them as well.
	PressureError units.Fraction // zero: 1 %
	HeightError   units.Length   // zero: 0.5 mm

	Confidence float64 // of all intervals; zero: 0.95
	Reach      float64 // see CriticalEstimate.Determined; zero: 2
}

// A Parameter is one number of a bed that was estimated. The interval is that of
// its logarithm, except for friction.
type Parameter struct {
	Name      string
	Value     float64 // in SI units
	StdErr    float64 // NaN: held, or not fixed by the data
	Low, High float64 // confidence interval
	Held      bool

	one  float64 // its unit for show
	unit string
}

// A CriticalEstimate is a critical velocity that was worked out from estimated
// parameters.
type CriticalEstimate struct {
	Size      Size
	Viscosity units.Viscosity
	Velocity  units.Velocity
	StdErr    units.Velocity
	Low, High units.Velocity // confidence interval, of its logarithm
	// Determined tells whether the data determine it: the upper end of its
	// interval is at most Reach times the highest velocity that was measured, in
	// another bed the same part of that bed's critical velocity. Beyond, the number
	// is what the law makes of the data and no more (common practice, no source).
	Determined bool
	Reason     string   // why not
	Doubts     []string // of the readings that it comes from
	Refusal    error    // why there are no numbers, or nil
}

// A LawFit holds the parameters for one law.
type LawFit struct {
	Bed        Compressible // with the parameters found, of the size of the first curve
	Parameters []Parameter
	Critical   []CriticalEstimate // for each curve
	Fit        fit.Result         // in logarithms, except friction
	PressureSD units.Fraction     // root mean square of the residuals, of the pressure
	HeightSD   units.Length       // and of the height
	AICc       float64            // Akaike's criterion, the lower the better
	Weight     float64            // among the laws that the readings do not exclude; zero: excluded

	fitted
	reached float64    // the highest velocity that was measured over the critical one of its bed
	laws    []weighted // the laws that its critical velocities and errors stand for; nil: its own alone
	doubts  []string   // of the readings
}

// EstimationResult holds the fits in the order of the laws.
type EstimationResult struct {
	Estimation Estimation
	Fits       []LawFit
	// Best is, of those that converged, the one with the lowest AICc. Its parameters
	// are those of its law. The intervals of its critical velocities and the errors of
	// what is predicted from it stand for all laws that the readings do not exclude.
	Best    LawFit
	Next    NextReading // where to measure next; zero: every critical velocity is determined, or no reading helps
	Doubts  []string
	Taken   []string
	Refusal error // why there are no numbers, or nil
}

// unlike is by how much two beds must differ in settled height over diameter to
// tell friction. The balance of stress depends on sizes through this ratio and
// L0·u alone.
const unlike = 1.5

func (e Estimation) name() string {
	if e.Label == "" {
		return "estimation"
	}
	return e.Label
}

func (e Estimation) laws() []Law {
	if len(e.Laws) == 0 {
		return []Law{LinearStrain{}, ExponentialVoid{}, PowerSolids{}}
	}
	return e.Laws
}

func (e Estimation) confidence() float64 {
	if e.Confidence == 0 {
		return 0.95
	}
	return e.Confidence
}

func (e Estimation) reach() float64 {
	if e.Reach == 0 {
		return 2
	}
	return e.Reach
}

func (e Estimation) pressureError() float64 {
	if e.PressureError == 0 {
		return 0.01
	}
	return float64(e.PressureError)
}

func (e Estimation) heightError() float64 {
	if e.HeightError == 0 {
		return 0.5e-3
	}
	return float64(e.HeightError)
}

// ratios returns the lowest and the highest settled height over diameter.
func (e Estimation) ratios() (least, most float64) {
	least, most = math.Inf(1), math.Inf(-1)
	for _, c := range e.Curves {
		ratio := c.SettledHeight.In(c.InnerDiameter)
		least, most = math.Min(least, ratio), math.Max(most, ratio)
	}
	return least, most
}

// frictionFree tells whether friction is to be found.
func (e Estimation) frictionFree() bool {
	least, most := e.ratios()
	return !e.FixFriction && most >= unlike*least
}

// The friction where none is given, √(0.03·0.3), and FrictionError where that is
// not given.
const (
	usualFriction      = 0.0948683
	usualFrictionError = 0.8232
)

// friction returns the friction that is held or from which the search starts.
func (e Estimation) friction() float64 {
	if e.WallFriction == 0 && !e.FixFriction {
		return usualFriction
	}
	return e.WallFriction
}

// frictionError returns the standard uncertainty of the friction, zero if it is
// found or known.
func (e Estimation) frictionError() float64 {
	switch {
	case e.frictionFree():
		return 0
	case e.FrictionError == 0 && !e.FixFriction:
		return usualFrictionError * e.friction()
	}
	return float64(e.FrictionError) * e.friction()
}

func (e Estimation) check() error {
	bad := func(what, problem, remedy string) error {
		return &packing.InputError{Where: e.name(), What: what, Problem: problem, Remedy: remedy}
	}
	if len(e.Curves) == 0 {
		return bad("curves", "there are none", "give what bed.Readings or bed.Experiment make of a pressure-flow experiment")
	}
	for _, c := range e.Curves {
		if err := checkScattered(c); err != nil {
			return err
		}
		if c.Predicted != "" {
			return bad(c.name(), "it was predicted, not measured", "leave it out")
		}
		for _, x := range []struct {
			what    string
			v       float64
			example string
		}{{"settled height", float64(c.SettledHeight), "SettledHeight: 20 * Centimetre"}, {"inner diameter", float64(c.InnerDiameter), "InnerDiameter: 30 * Centimetre"},
			{"viscosity", float64(c.Viscosity), "Viscosity: 1 * MillipascalSecond"}} {
			if x.v == 0 {
				return bad(c.name()+", "+x.what, "it was not given with the curve", "write for example "+x.example)
			}
		}
	}
	switch {
	case !(e.PressureError >= 0 && e.PressureError < 1) || !(e.HeightError >= 0 && e.HeightError < 1):
		return bad("error of a reading", "it must be between 0 and 100 %, and below 1 m", "write for example PressureError: 1 * Percent, HeightError: 0.5 * Millimetre")
	case !(e.FrictionError >= 0 && e.FrictionError <= 2):
		return bad(fmt.Sprintf("friction error %v", e.FrictionError), "it must be between 0 and 200 % of the wall friction", "leave it zero for 82 %, or write for example FrictionError: 30 * Percent")
	case e.Confidence != 0 && !(e.Confidence > 0 && e.Confidence < 1):
		return bad(fmt.Sprintf("confidence %v", e.Confidence), "it must be between 0 and 1", "0.95 is usual")
	case e.Reach != 0 && !(e.Reach >= 1):
		return bad(fmt.Sprintf("reach %v", e.Reach), "it must be at least 1", "leave it zero for 2")
	case !(e.WallFriction >= 0 && e.WallFriction <= 2):
		return bad(fmt.Sprintf("wall friction %v", e.WallFriction), "it must be between 0 and 2", "0.03 to 0.3 is usual")
	}
	for _, l := range e.laws() {
		switch l.(type) {
		case LinearStrain, ExponentialVoid, PowerSolids:
		default:
			return bad(fmt.Sprintf("law %v", l), "its parameters are not known here", "use LinearStrain, ExponentialVoid or PowerSolids, or package fit with Compressible.At")
		}
		if l != (LinearStrain{}) && l != (ExponentialVoid{}) && l != (PowerSolids{}) && l.Check() != nil {
			return l.Check()
		}
	}
	b := Compressible{Label: e.name(), Law: LinearStrain{Modulus: 1e5}, MeanBead: e.MeanBead, SettledVoid: e.SettledVoid, DensityExcess: e.DensityExcess,
		KozenyConstant: e.KozenyConstant, Viscosity: e.Curves[0].Viscosity, SettledHeight: e.Curves[0].SettledHeight}
	return b.Check()
}

// checkScattered is Check of a curve whose readings may scatter: heights and
// pressures need not rise.
func checkScattered(c Curve) error {
	bad := func(i int, problem, remedy string) error {
		return &packing.InputError{Where: c.name(), What: fmt.Sprintf("point %d (%v)", i+1, c.Points[i].Velocity), Problem: problem, Remedy: remedy}
	}
	var last units.Velocity
	flowing := 0
	for i, p := range c.Points {
		switch {
		case i == 0 && p.Velocity == 0:
			continue
		case !finite(float64(p.Velocity)) || !finite(p.CompressionFactor) || !finite(float64(p.Pressure)):
			return bad(i, "it holds something that is not a number", "leave the reading out")
		case !(p.Velocity > last):
			return bad(i, fmt.Sprintf("the velocity does not rise from %v", last), "give the readings at rising velocity only, in order")
		case p.Velocity > 20000*units.CentimetrePerHour:
			return bad(i, "no bed sees that velocity", "was the unit forgotten? Write for example 20 * CentimetrePerHour")
		case !(p.CompressionFactor > 0.95 && p.CompressionFactor < 2):
			return bad(i, fmt.Sprintf("the compression factor is %.4g", p.CompressionFactor), "settled over packed height is between 0.95 and 2 for all that a reading can be off; leave it out")
		case !(p.Pressure > 0):
			return bad(i, "there is no pressure", "subtract the zero of the gauge; leave out readings of which nothing is left")
		}
		last = p.Velocity
		flowing++
	}
	if flowing < 3 {
		return &packing.InputError{Where: c.name(), Problem: fmt.Sprintf("%d points with flow", flowing),
			Remedy: "measure at least three, better ten, up to as high as every limit allows"}
	}
	if n := len(c.StdErr); n > 0 && n != len(c.Points) {
		return &packing.InputError{Where: c.name(), What: fmt.Sprintf("%d standard errors", n),
			Problem: fmt.Sprintf("there are %d points", len(c.Points)), Remedy: "give one for every point, or none"}
	}
	return c.checkBed()
}

// Fit finds the parameters for every law by least squares of pressures and
// heights, each over how well it is known, and compares the laws. Standard errors
// are first-order, scaled by the residuals; intervals of parameters and of the
// critical velocity of one law are Student's, for the logarithm. It refuses curves
// that cannot be read or do not say what bed they are of. A law that does not fit is
// no error: its fit says how it ended.
//
// Several laws may fit the readings and still disagree on the critical velocity. So
// the choice of the law is part of the interval: that of Best is of the mixture
// of the laws' distributions, each with its Akaike weight w = exp(-Δ/2)/Σexp(-Δ/2),
// where Δ is by how much its AICc lies above the best. Laws with Δ above 10 are
// excluded. testdata/coverage-laws.md shows how often such intervals hold the truth.
// Source: D. Turek and D. Fletcher, Comput. Stat. Data Anal. 56 (2012) 2809-2815,
// and K. P. Burnham and D. R. Anderson, Model Selection and Multimodel Inference
// (Springer, 2002), both from memory.
//
// The criterion is AICc, n·ln(RSS/n) + 2k + 2k(k+1)/(n-k-1) with n readings and k
// parameters found. Source: C. M. Hurvich and C.-L. Tsai, Biometrika 76 (1989)
// 297-307, from memory.
func (e Estimation) Fit() (EstimationResult, error) {
	r, err := e.fit()
	if err != nil {
		return EstimationResult{Estimation: e, Refusal: err}, err
	}
	return r, nil
}

func (e Estimation) fit() (EstimationResult, error) {
	if err := e.check(); err != nil {
		return EstimationResult{}, err
	}
	r := EstimationResult{Estimation: e}
	best := math.Inf(1)
	for _, law := range e.laws() {
		f, err := e.fitLaw(law)
		if err != nil {
			return EstimationResult{}, err
		}
		r.Fits = append(r.Fits, f)
		if f.Fit.Converged() && f.AICc < best {
			best = f.AICc
		}
	}
	if err := r.weigh(best); err != nil {
		return EstimationResult{}, err
	}
	r.notes()
	return r, nil
}

// An estimator is the least-squares problem for one law.
type estimator struct {
	e      Estimation
	law    Law
	beds   []Compressible // one for each curve
	meshes [][]float64    // one for each point, in order
	sds    []float64      // of pressure and height of each point
	held   []bool         // the parameters that are not looked for
}

// friction is the place of the wall friction among the parameters.
const friction = 1

// parameters returns the problem's parameters, started from the data.
func (s *estimator) parameters() []fit.Param {
	// A little inside of what the bed's Check allows.
	least, most := math.Log(11), math.Log(1e12)
	p := []fit.Param{{Name: "ln bead", Start: math.Log(float64(s.e.MeanBead)), Bounds: fit.Between(math.Log(1.001e-6), math.Log(1.999e-3)), Fixed: s.e.FixBead}}
	p = append(p, fit.Param{Name: "friction", Start: s.e.friction(), Bounds: fit.Between(0, 2), Fixed: !s.e.frictionFree()})
	switch l := s.law.(type) {
	case LinearStrain:
		p = append(p, fit.Param{Name: "ln modulus", Start: math.Log(float64(l.Modulus)), Bounds: fit.Between(least, most)})
	case ExponentialVoid:
		p = append(p, fit.Param{Name: "ln modulus", Start: math.Log(float64(l.Modulus)), Bounds: fit.Between(least, most)})
	case PowerSolids:
		p = append(p, fit.Param{Name: "ln stress", Start: math.Log(float64(l.Stress0)), Bounds: fit.Between(least, most)},
			fit.Param{Name: "ln exponent", Start: math.Log(l.Exponent), Bounds: fit.Between(math.Log(1.001e-3), 0)})
	}
	return p
}

// bed returns curve i's bed with the parameters.
func (s *estimator) bed(i int, p []float64) Compressible {
	b := s.beds[i]
	b.MeanBead, b.WallFriction = units.Length(math.Exp(p[0])), p[1]
	switch s.law.(type) {
	case LinearStrain:
		b.Law = LinearStrain{units.Pressure(math.Exp(p[2]))}
	case ExponentialVoid:
		b.Law = ExponentialVoid{units.Pressure(math.Exp(p[2]))}
	case PowerSolids:
		b.Law = PowerSolids{units.Pressure(math.Exp(p[2])), math.Exp(p[3])}
	}
	return b
}

// flowing returns the points of a curve that have flow.
func flowing(c Curve) (points []Point, errors []PointError) {
	points, errors = c.Points, c.StdErr
	if points[0].Velocity == 0 {
		points = points[1:]
		if len(errors) > 0 {
			errors = errors[1:]
		}
	}
	return points, errors
}

// residuals writes pressure and height of each point, model less data over its
// standard deviation; NaN above the critical velocity.
func (s *estimator) residuals(p, r []float64) {
	at := 0
	for i, curve := range s.e.Curves {
		b := s.bed(i, p)
		points, _ := flowing(curve)
		c := b.at(0)
		for _, x := range points {
			c.a = b.drag(x.Velocity)
			y, ok := c.along(s.meshes[at])
			r[2*at], r[2*at+1] = math.NaN(), math.NaN()
			if ok {
				r[2*at] = (y.pressure - float64(x.Pressure)) / s.sds[2*at]
				r[2*at+1] = (float64(curve.SettledHeight)*(1-1/x.CompressionFactor) - y.lost) / s.sds[2*at+1]
			}
			at++
		}
	}
}

// jacobian writes the derivatives of the residuals by central differences, by
// one-sided ones beside a critical state or a bound.
func (s *estimator) jacobian(p, j []float64) {
	const h = 1e-5 // of logarithms and of a friction factor
	m := len(s.sds)
	middle, up, down := make([]float64, m), make([]float64, m), make([]float64, m)
	s.residuals(p, middle)
	x := append([]float64(nil), p...)
	for k := range p {
		if s.held[k] {
			continue
		}
		x[k] = p[k] + h
		s.residuals(x, up)
		x[k] = p[k] - h
		s.residuals(x, down)
		x[k] = p[k]
		below := k == friction && p[k] < h // there is no negative friction
		for i := range m {
			switch {
			case below || !finite(down[i]):
				j[k*m+i] = (up[i] - middle[i]) / h
			case !finite(up[i]):
				j[k*m+i] = (middle[i] - down[i]) / h
			default:
				j[k*m+i] = (up[i] - down[i]) / (2 * h)
			}
		}
	}
}

// drift returns by how much the least-squares parameters move with the friction
// that is held, ∂p/∂µ = -(JᵀJ)⁻¹Jᵀj, with J the derivatives of the residuals by the
// free parameters and j those by friction. A held friction that is off makes the
// others off, so that the beds that were measured come out as measured all the
// same. It returns nil if the friction has no error or the data do not fix the
// parameters.
func (s estimator) drift(r fit.Result) []float64 {
	p := r.Values()
	s.meshes = nil
	if s.e.frictionError() == 0 || !r.Converged() || !s.mesh(p) {
		return nil
	}
	s.held = append([]bool(nil), s.held...)
	s.held[friction] = false
	m := len(s.sds)
	j := make([]float64, len(p)*m)
	s.jacobian(p, j)
	drift := make([]float64, len(p))
	drift[friction] = 1
	var free []int
	for i, x := range r.Params {
		if !x.Fixed && !x.OnBound {
			free = append(free, i)
		}
	}
	if len(free) == 0 {
		return drift
	}
	columns, wall := mat.NewDense(m, len(free), nil), mat.NewDense(m, 1, append([]float64(nil), j[friction*m:(friction+1)*m]...))
	for k, i := range free {
		columns.SetCol(k, j[i*m:(i+1)*m])
	}
	var x mat.Dense
	if err := x.Solve(columns, wall); err != nil {
		return nil
	}
	for k, i := range free {
		drift[i] = -x.At(k, 0)
	}
	return drift
}

// meshError is the error allowed in the solutions that a fit compares.
const meshError = 1e-6

// mesh makes the places at which the beds are worked out, from the parameters. It
// reports false if a bed has no steady state at one of its velocities.
func (s *estimator) mesh(p []float64) bool {
	s.meshes = s.meshes[:0]
	for i, curve := range s.e.Curves {
		b := s.bed(i, p)
		c := b.at(0)
		c.allowed = meshError
		points, _ := flowing(curve)
		for _, x := range points {
			c.a = b.drag(x.Velocity)
			var mesh []float64
			if _, ok := c.solve(func(w float64, _ state) { mesh = append(mesh, w) }); !ok {
				return false
			}
			s.meshes = append(s.meshes, mesh)
		}
	}
	return true
}

// start puts the bead diameter that the lowest pressure asks for, and, unless the
// law came with parameters, the best of some that give the compression of the
// last point under half its pressure or are stiffer, so that every point has a
// steady state.
func (s *estimator) start(params []fit.Param) ([]fit.Param, bool) {
	if !s.e.FixBead {
		c := s.e.Curves[0]
		points, _ := flowing(c)
		x := points[0]
		b := s.beds[0]
		rigid := b.drag(x.Velocity) * math.Pow(1-b.SettledVoid, 2) / math.Pow(b.SettledVoid, 3) * float64(c.SettledHeight)
		params[0].Start += 0.5 * math.Log(rigid/float64(x.Pressure))
	}
	last := s.e.Curves[0].Last()
	stress := float64(last.Pressure) / 2
	λ, e0 := math.Max(1-1/last.CompressionFactor, 1e-4), s.e.SettledVoid
	var p []float64
	for _, x := range params {
		p = append(p, x.Start)
	}
	var firsts [][2]float64 // of the law's parameters
	switch {
	case !math.IsInf(params[2].Start, -1):
		firsts = [][2]float64{{p[2]}}
		if len(p) > 3 {
			firsts[0][1] = p[3]
		}
	default:
		switch s.law.(type) {
		case LinearStrain:
			firsts = [][2]float64{{math.Log(stress / λ)}}
		case ExponentialVoid:
			firsts = [][2]float64{{math.Log(stress / math.Log(e0/math.Max((e0-λ)/(1-λ), 0.05)))}}
		case PowerSolids:
			for _, β := range []float64{0.06, 0.15, 0.4} {
				firsts = append(firsts, [2]float64{math.Log(stress / math.Expm1(-math.Log1p(-λ)/β)), math.Log(β)})
			}
		}
	}
	// Inside of the bounds, which may be far from what the data ask for.
	inside := func() {
		for i, x := range params {
			low, high := x.Bounds.Limits()
			if !x.Fixed {
				p[i] = math.Min(math.Max(p[i], low+1e-3), high-1e-3)
			}
		}
	}
	best := math.Inf(1)
	r := make([]float64, len(s.sds))
	for _, first := range firsts {
		found := 0
		for step := range 40 {
			p[2] = first[0] + 0.4*float64(step)
			if len(p) > 3 {
				p[3] = first[1]
			}
			inside()
			if !s.mesh(p) {
				continue
			}
			s.residuals(p, r)
			sum := 0.0
			for _, v := range r {
				sum += v * v
			}
			if sum < best { // not for NaN
				best = sum
				for i := range params {
					params[i].Start = p[i]
				}
			}
			if found++; found == 3 {
				break
			}
		}
	}
	if math.IsInf(best, 1) {
		return params, false
	}
	for i := range params {
		p[i] = params[i].Start
	}
	return params, s.mesh(p)
}

func (e Estimation) fitLaw(law Law) (LawFit, error) {
	s := estimator{e: e, law: law}
	n := 0
	for _, c := range e.Curves {
		s.beds = append(s.beds, Compressible{Label: e.Label, MeanBead: e.MeanBead, SettledVoid: e.SettledVoid, SettledHeight: c.SettledHeight,
			Viscosity: c.Viscosity, InnerDiameter: c.InnerDiameter, DensityExcess: e.DensityExcess, KozenyConstant: e.KozenyConstant})
		points, errors := flowing(c)
		for i, x := range points {
			height := float64(c.SettledHeight) / x.CompressionFactor
			sp, sh := e.pressureError()*float64(x.Pressure), e.heightError()
			if len(errors) > 0 { // NaN: not known
				if v := float64(errors[i].Pressure); v > 0 {
					sp = math.Hypot(sp, v)
				}
				if v := errors[i].CompressionFactor / x.CompressionFactor * height; v > 0 {
					sh = math.Hypot(sh, v)
				}
			}
			s.sds = append(s.sds, sp, sh)
		}
		n += len(points)
	}
	params, ok := s.start(s.parameters())
	if !ok {
		return LawFit{}, &packing.InputError{Where: e.name(), What: fmt.Sprint(law), Problem: "no parameters were found with which the beds stand the highest velocities",
			Remedy: "give a law with parameters to start from, or look at the readings"}
	}
	for _, x := range params {
		s.held = append(s.held, x.Fixed)
	}
	var result fit.Result
	for range 3 {
		var err error
		result, err = fit.Problem{Params: params, Points: 2 * n, Residuals: s.residuals, Jacobian: s.jacobian, Tolerance: 1e-6, MaxIterations: 200}.Fit()
		if err != nil {
			return LawFit{}, fmt.Errorf("%s: %w", e.name(), err)
		}
		values := result.Values()
		moved := 0.0
		for i := range params {
			moved = math.Max(moved, math.Abs(values[i]-params[i].Start))
			params[i].Start = values[i]
		}
		if moved < 1e-3 || !s.mesh(values) { // the places suit these parameters
			break
		}
	}
	f := LawFit{Fit: result, fitted: fitted{s, result, s.drift(result)}, Bed: s.bed(0, result.Values())}
	f.Parameters = s.found(result)
	var pressure, height float64
	at := 0
	for _, c := range e.Curves {
		points, _ := flowing(c)
		for _, x := range points {
			pressure += math.Pow(result.Residuals[2*at]*s.sds[2*at]/float64(x.Pressure), 2)
			height += math.Pow(result.Residuals[2*at+1]*s.sds[2*at+1], 2)
			at++
		}
	}
	f.PressureSD, f.HeightSD = units.Fraction(math.Sqrt(pressure/float64(n))), units.Length(math.Sqrt(height/float64(n)))
	k := 1.0 // the residual standard deviation
	for _, p := range result.Params {
		if !p.Fixed {
			k++
		}
	}
	m := float64(2 * n)
	f.AICc = math.NaN()
	if m > k+1 {
		f.AICc = m*math.Log(result.RSS/m) + 2*k + 2*k*(k+1)/(m-k-1)
	}
	for i, c := range e.Curves {
		if u, _ := s.bed(i, result.Values()).critical(); u > 0 {
			f.reached = math.Max(f.reached, c.Last().Velocity.In(u))
		}
	}
	for _, c := range e.Curves {
		critical, err := f.CriticalAt(Size{c.InnerDiameter, c.SettledHeight}, c.Viscosity)
		if err != nil {
			return LawFit{}, err
		}
		f.Critical = append(f.Critical, critical)
	}
	return f, nil
}

// found returns the parameters in their own units.
func (s *estimator) found(r fit.Result) []Parameter {
	var out []Parameter
	for i, p := range r.Params {
		x := Parameter{Held: p.Fixed, StdErr: math.NaN(), Low: math.NaN(), High: math.NaN()}
		low, high, _ := r.Interval(p.Name, s.e.confidence())
		if i == friction {
			x.Name, x.Value, x.StdErr, x.one = "wall friction", p.Value, p.StdErr, 1
			x.Low, x.High = math.Max(low, 0), high
		} else {
			x.Value = math.Exp(p.Value)
			x.StdErr = x.Value * p.StdErr
			x.Low, x.High = math.Exp(low), math.Exp(high)
			switch {
			case i == 0:
				x.Name, x.one, x.unit = "bead diameter", float64(units.Micrometre), "µm"
			case p.Name == "ln exponent":
				x.Name, x.one = "exponent β", 1
			case p.Name == "ln stress":
				x.Name, x.one, x.unit = "stress pa", float64(units.Kilopascal), "kPa"
			default:
				x.Name, x.one, x.unit = "modulus", float64(units.Kilopascal), "kPa"
			}
		}
		out = append(out, x)
	}
	return out
}

// notes says what is doubtful and what was assumed.
func (r *EstimationResult) notes() {
	e := r.Estimation
	doubt := func(format string, a ...any) { r.Doubts = append(r.Doubts, fmt.Sprintf(format, a...)) }
	taken := func(format string, a ...any) { r.Taken = append(r.Taken, fmt.Sprintf(format, a...)) }
	for _, c := range e.Curves {
		for _, s := range c.Doubts {
			doubt("Of %s: %s", c.bed(), s)
		}
		for _, s := range []string{e.doubtedBead(c), e.doubtedHeight(c)} {
			if s != "" {
				doubt("%s", s)
			}
		}
	}
	if r.Best.Bed.Law != nil {
		if sd := r.Best.Fit.ResidualSD; sd > 3 {
			doubt("Even the best law leaves residuals %.2g times as large as the errors of the readings: look for a curve that does not belong to the others, or for readings that were not steady.", sd)
		}
	}
	r.carry(r.Doubts)
	least, most := e.ratios()
	if !e.frictionFree() && !e.FixFriction {
		if len(e.Curves) == 1 {
			doubt("Friction at the wall cannot be told from one bed: it is held at %.3g ± %.2g, which is in the errors of all other diameters.", e.friction(), e.frictionError())
		} else {
			doubt("Friction at the wall cannot be told from beds that are alike in settled height over diameter (%.3g to %.3g): it is held at %.3g ± %.2g.", least, most, e.friction(), e.frictionError())
		}
	}
	if r.Best.Bed.Law == nil {
		doubt("No law was found that fits.")
	} else {
		for _, f := range r.Fits {
			switch {
			case f.Bed.Law == r.Best.Bed.Law:
			case f.Weight > 0:
				doubt("The readings do not exclude the law of %s (weight %.2g %%): it is in all intervals and errors.", lawName(f.Bed.Law), 100*f.Weight)
			case !f.Fit.Converged() && f.AICc-r.Best.AICc <= excluded:
				doubt("The search for the law of %s did not end (%v): it is in none of the intervals.", lawName(f.Bed.Law), f.Fit.Status)
			case f.atEdge():
				doubt("With the law of %s the beds would hardly stand the highest velocities that were measured: it does not describe them.", lawName(f.Bed.Law))
			}
		}
		for i, c := range r.Best.Critical {
			if !c.Determined {
				doubt("The critical velocity of %s is not determined: %s.", e.Curves[i].bed(), c.Reason)
			}
		}
		if r.Next = r.next(); r.Next.Curve != "" {
			text := r.Next.String()
			doubt("%s.", strings.ToUpper(text[:1])+text[1:])
		}
	}
	if sd := e.frictionError(); sd > 0 {
		text := ""
		if e.FrictionError == 0 {
			text = ": 0.03 to 0.3, the usual range, even in its logarithm (common practice, no source)"
		}
		taken("friction at the wall of %.3g ± %.2g, not measured%s", e.friction(), sd, text)
	}
	taken("the settled void of %.3g, held", e.SettledVoid)
	if e.PressureError == 0 || e.HeightError == 0 {
		taken("pressures known to %.3g %% and heights to %.3g mm (common practice where not given)", 100*e.pressureError(), 1000*e.heightError())
	}
	if e.Reach == 0 {
		taken("a critical velocity as determined up to %.3g times the highest velocity measured (common practice, no source)", e.reach())
	}
	if e.DensityExcess == 0 {
		taken("beads without weight (no density excess given)")
	}
}

// carry gives doubts about the readings to all that is worked out from them.
func (r *EstimationResult) carry(doubts []string) {
	doubts = slices.Clone(doubts)
	give := func(f *LawFit) {
		f.doubts = doubts
		for i := range f.Critical {
			f.Critical[i].Doubts = doubts
		}
	}
	for i := range r.Fits {
		give(&r.Fits[i])
	}
	give(&r.Best)
}

func lawName(l Law) string {
	switch l.(type) {
	case LinearStrain:
		return "linear strain"
	case ExponentialVoid:
		return "exponential void"
	case PowerSolids:
		return "power of solids"
	}
	return fmt.Sprint(l)
}
