package efficiency

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/fit"
	"github.com/evenbed/evenbed/packing/units"
)

// A PlateHeightLaw is how the plate height depends on the velocity: VanDeemter
// or Knox.
type PlateHeightLaw int

// The laws.
const (
	VanDeemter PlateHeightLaw = iota // H = A + B/u + C u, in the superficial velocity
	Knox                             // h = A ν^(1/3) + B/ν + C ν, reduced, in the interstitial velocity
)

// String returns the law's name.
func (l PlateHeightLaw) String() string {
	if l == Knox {
		return "Knox"
	}
	return "van Deemter"
}

// PlateHeightTests are pulse tests of one column at several velocities, one
// number of each kind for every test; repeats are tests at the same velocity.
// Give PlateHeight, or Plates and BedHeight.
//
//	curve, err := efficiency.PlateHeightTests{
//		Velocity:    CentimetrePerHour.Each(30, 60, 100, 150, 250, 500),
//		PlateHeight: Millimetre.Each(0.387, 0.316, 0.311, 0.325, 0.368, 0.511),
//		Tracer: efficiency.Tracer{Name: "acetone 1 %"}, MeanBead: 90 * Micrometre,
//	}.Fit()
type PlateHeightTests struct {
	Column      packing.Column // its tag names the result
	Medium      packing.Medium // its mean bead and settled void serve where the next two are not given
	MeanBead    units.Length
	Void        float64          // between the beads, for the interstitial velocity of the Knox law
	Tracer      Tracer           // the curve is one of its tracer
	Velocity    []units.Velocity // superficial: flow over the area of the empty column
	PlateHeight []units.Length
	Plates      []float64
	BedHeight   units.Length

	Law       PlateHeightLaw    // zero: VanDeemter
	Diffusion units.Diffusivity // of the tracer in the liquid; the Knox law needs it
	// Confidence of the band; zero: 0.95.
	Confidence float64
}

// A PlateHeightResult is a fitted curve of plate height against velocity.
type PlateHeightResult struct {
	Refusal error // why there are no numbers, or nil
	Tests   PlateHeightTests
	Bead    units.Length
	Void    float64 // of the Knox law

	// A, B and C of the law: m, m²/s and s for van Deemter, without unit for
	// Knox. One that rests at zero has no standard error.
	A, B, C Uncertain
	AtZero  []string // the names of those

	// The velocity of the least plate height and that height; NaN if B or C
	// rests at zero, so that the curve has no minimum.
	Optimum                units.Velocity // superficial
	OptimumStdErr          units.Velocity
	LeastPlateHeight       units.Length
	LeastPlateHeightStdErr units.Length
	LeastReduced           float64 // least plate height in bead diameters; NaN without a bead

	Fit      fit.Result // x in the velocity, y in the plate height of the law
	Warnings []Warning

	heights []units.Length // of the tests
}

// The bounds of the warnings. Common practice, no source, except the constants
// of the hint on flat curves, which are worked out from the Knox law.
const (
	flatCurve   = 1.25 // highest over lowest plate height in the tested range
	fewSpeeds   = 5
	lackOfFit   = 0.01 // probability
	goodReduced = 3.0
	fairReduced = 5.0
)

// Fit fits the law by least squares, all tests alike and A, B and C held at zero
// or above; the result names those that rest there.
//
// Van Deemter:
//
//	H = A + B/u + C u,  u_opt = √(B/C),  H_min = A + 2 √(BC)
//
// with H plate height [m], u superficial velocity [m/s], A [m], B [m²/s], C [s].
//
// Knox:
//
//	h = A ν^(1/3) + B/ν + C ν,  h = H/d,  ν = u d/(ε D)
//
// with d bead diameter [m], ε void between the beads, so that u/ε is the
// interstitial velocity [m/s], and D diffusion coefficient of the tracer
// [m²/s]; its minimum is found numerically.
//
// Standard errors and band take the tests as independent and equally precise.
// Numbers that do not belong together, fewer than three different velocities
// or fewer than four tests are errors; the result then has the error as
// Refusal.
//
// Sources: J. J. van Deemter, F. J. Zuiderweg, A. Klinkenberg, Chem. Eng. Sci. 5
// (1956) 271-289; J. H. Knox, J. Chromatogr. Sci. 15 (1977) 352-364.
func (t PlateHeightTests) Fit() (PlateHeightResult, error) {
	r, err := t.fit()
	if err != nil {
		return PlateHeightResult{Tests: t, Refusal: err}, err
	}
	return r, nil
}

func (t PlateHeightTests) fit() (PlateHeightResult, error) {
	r, err := t.start()
	if err != nil {
		return PlateHeightResult{}, err
	}
	x, y := make([]float64, len(r.heights)), make([]float64, len(r.heights))
	for i, h := range r.heights {
		x[i], y[i] = r.toLaw(t.Velocity[i]), float64(h/r.length())
	}
	first := fit.Term{Name: "A", F: func(float64) float64 { return 1 }}
	if t.Law == Knox {
		first.F = math.Cbrt
	}
	terms := []fit.Term{first,
		{Name: "B", F: func(x float64) float64 { return 1 / x }}, {Name: "C", F: func(x float64) float64 { return x }}}
	found, err := fit.Linear{Terms: terms, X: x, Y: y, NonNegative: true}.Fit()
	if err != nil {
		return PlateHeightResult{}, err
	}
	if found.Status != fit.Converged && found.Status != fit.OnBound {
		return PlateHeightResult{}, fmt.Errorf("plate height curve: %s", found.Reason)
	}
	r.Fit = found
	for i, u := range []*Uncertain{&r.A, &r.B, &r.C} {
		e := found.Params[i]
		*u = Uncertain{e.Value, e.StdErr}
		if e.OnBound {
			r.AtZero = append(r.AtZero, e.Name)
		}
	}
	r.minimum()
	r.doubts()
	return r, nil
}

// start checks the tests.
func (t PlateHeightTests) start() (PlateHeightResult, error) {
	bad := func(problem, remedy string) (PlateHeightResult, error) {
		return PlateHeightResult{}, &packing.InputError{Where: "plate height curve", Problem: problem, Remedy: remedy}
	}
	n := len(t.Velocity)
	r := PlateHeightResult{Tests: t, Bead: t.MeanBead, Void: t.Void, heights: t.PlateHeight}
	if r.Bead == 0 {
		r.Bead = t.Medium.MeanBead
	}
	if r.Void == 0 {
		r.Void = t.Medium.SettledVoid
	}
	switch {
	case t.Law != VanDeemter && t.Law != Knox:
		return bad(fmt.Sprintf("unknown law %d", int(t.Law)), "use VanDeemter or Knox")
	case (t.PlateHeight == nil) == (t.Plates == nil):
		return bad("plate heights or plates are needed, and not both", "write PlateHeight: Millimetre.Each(...), or Plates with BedHeight")
	case t.Plates != nil && packing.CheckBedHeight(t.BedHeight) != nil:
		return PlateHeightResult{}, packing.CheckBedHeight(t.BedHeight)
	case !(t.Confidence >= 0 && t.Confidence < 1):
		return bad(fmt.Sprintf("a confidence of %v", t.Confidence), "write for example 0.95")
	case r.Bead != 0 && !(r.Bead >= units.Micrometre && r.Bead < 5*units.Millimetre):
		return bad("no bead has a diameter of "+r.Bead.String(), "was the unit forgotten? Write for example 90 * Micrometre")
	case t.Law == Knox && !(r.Bead > 0 && r.Void > 0 && r.Void < 1 && t.Diffusion > 1e-13 && t.Diffusion < 1e-7):
		return bad(fmt.Sprintf("the Knox law needs the bead's diameter (given: %v), the void between the beads (%v) and the tracer's diffusion coefficient (%v)", r.Bead, r.Void, t.Diffusion),
			"write for example MeanBead: 90 * Micrometre, Void: 0.38, Diffusion: 1.2e-9 * SquareMetrePerSecond")
	}
	if t.Plates != nil {
		r.heights = nil
		for i, plates := range t.Plates {
			if !(plates > 0) || math.IsInf(plates, 0) {
				return bad(fmt.Sprintf("test %d has %v plates", i+1, plates), "leave the test out")
			}
			r.heights = append(r.heights, t.BedHeight/units.Length(plates))
		}
	}
	if len(r.heights) != n {
		return bad(fmt.Sprintf("%d velocities for %d plate heights", n, len(r.heights)), "give one of each for every test")
	}
	for i, u := range t.Velocity {
		if err := packing.CheckVelocity(fmt.Sprintf("velocity of test %d", i+1), u); err != nil {
			return PlateHeightResult{}, err
		}
		if h := r.heights[i]; !(h > 0 && h < 10*units.Centimetre) {
			return bad(fmt.Sprintf("the plate height of test %d is %v, which no packed bed has", i+1, h), "was the unit forgotten? Write for example Millimetre.Each(0.39, 0.32)")
		}
	}
	if n < 4 || len(r.speeds()) < 3 {
		return bad(fmt.Sprintf("%d tests at %d velocities", n, len(r.speeds())), "three unknowns need at least four tests at three velocities; six velocities with a repeat each are a good plan")
	}
	if r.Tests.Confidence == 0 {
		r.Tests.Confidence = 0.95
	}
	return r, nil
}

// speeds returns the different velocities, rising.
func (r PlateHeightResult) speeds() []units.Velocity {
	s := slices.Clone(r.Tests.Velocity)
	slices.Sort(s)
	return slices.Compact(s)
}

// tested returns the slowest and the fastest test.
func (r PlateHeightResult) tested() (slow, fast units.Velocity) {
	return slices.Min(r.Tests.Velocity), slices.Max(r.Tests.Velocity)
}

// length is the plate height that the law counts as one.
func (r PlateHeightResult) length() units.Length {
	if r.Tests.Law == Knox {
		return r.Bead
	}
	return units.Metre
}

// speed is the superficial velocity that the law counts as one: 1 m/s, or the
// one of reduced velocity 1.
func (r PlateHeightResult) speed() units.Velocity {
	if r.Tests.Law == Knox {
		return units.Velocity(r.Void * float64(r.Tests.Diffusion) / float64(r.Bead))
	}
	return 1
}

func (r PlateHeightResult) toLaw(u units.Velocity) float64 { return float64(u / r.speed()) }

// ReducedVelocity returns ν = u d/(ε D) of a superficial velocity, by the
// interstitial velocity u/ε; NaN without bead, void or diffusion coefficient.
func (r PlateHeightResult) ReducedVelocity(u units.Velocity) float64 {
	if !(r.Bead > 0 && r.Void > 0 && r.Tests.Diffusion > 0) {
		return math.NaN()
	}
	return float64(u) * float64(r.Bead) / (r.Void * float64(r.Tests.Diffusion))
}

// minimum finds the least plate height.
func (r *PlateHeightResult) minimum() {
	nan := math.NaN()
	r.Optimum, r.OptimumStdErr, r.LeastPlateHeight, r.LeastPlateHeightStdErr, r.LeastReduced = units.Velocity(nan), units.Velocity(nan), units.Length(nan), units.Length(nan), nan
	if !(r.B.Value > 0 && (r.C.Value > 0 || r.Tests.Law == Knox && r.A.Value > 0)) {
		return
	}
	best := func(p []float64) float64 { return math.Sqrt(p[1] / p[2]) }
	if r.Tests.Law == Knox {
		best = knoxOptimum
	}
	u, uErr := r.Fit.Derived(best)
	h, hErr := r.Fit.Derived(func(p []float64) float64 { x := best(p); return r.lawAt(x, p) })
	r.Optimum, r.OptimumStdErr = units.Velocity(u)*r.speed(), units.Velocity(uErr)*r.speed()
	r.LeastPlateHeight, r.LeastPlateHeightStdErr = units.Length(h)*r.length(), units.Length(hErr)*r.length()
	if r.Bead > 0 {
		r.LeastReduced = r.LeastPlateHeight.In(r.Bead)
	}
}

// lawAt returns the law at x for the parameters p.
func (r PlateHeightResult) lawAt(x float64, p []float64) float64 {
	first := p[0]
	if r.Tests.Law == Knox {
		first *= math.Cbrt(x)
	}
	return first + p[1]/x + p[2]*x
}

// knoxOptimum returns where A/3 ν^(4/3) + C ν² = B.
func knoxOptimum(p []float64) float64 {
	hi := 1.0
	f := func(x float64) (float64, float64) {
		third := math.Cbrt(x)
		return p[0]/3*x*third + p[2]*x*x - p[1], p[0]*4/9*third + 2*p[2]*x
	}
	for y, _ := f(hi); y < 0; y, _ = f(hi) {
		hi *= 2
	}
	return root(0, hi, f)
}

// PlateHeight returns the curve at a superficial velocity with its confidence
// limits. They hold at each velocity by itself, for the curve and not for a
// single test.
func (r PlateHeightResult) PlateHeight(u units.Velocity) (h, low, high units.Length, err error) {
	if r.Fit.Status == fit.NotFitted {
		return 0, 0, 0, fmt.Errorf("plate height curve: there is no fit")
	}
	if err := packing.CheckVelocity("velocity", u); err != nil {
		return 0, 0, 0, err
	}
	b, err := r.band([]units.Velocity{u})
	if err != nil {
		return 0, 0, 0, err
	}
	one := r.length()
	return units.Length(b.Y[0]) * one, units.Length(b.Low[0]) * one, units.Length(b.High[0]) * one, nil
}

func (r PlateHeightResult) band(u []units.Velocity) (fit.Band, error) {
	x := make([]float64, len(u))
	for i, u := range u {
		x[i] = r.toLaw(u)
	}
	return r.Fit.Band(x, r.Tests.Confidence)
}

func (r *PlateHeightResult) warn(what, do string) {
	r.Warnings = append(r.Warnings, Warning{What: what, Do: do})
}

// doubts adds the warnings.
func (r *PlateHeightResult) doubts() {
	slow, fast := r.tested()
	if len(r.AtZero) > 0 {
		what := map[string]string{"A": "the part that does not depend on the velocity", "B": "diffusion along the column, seen at low velocity", "C": "mass transfer, seen at high velocity"}
		var parts []string
		for _, name := range r.AtZero {
			parts = append(parts, name+" ("+what[name]+")")
		}
		r.warn(strings.Join(parts, " and ")+" rests at zero: the tests would make it negative", "Take the curve inside the tested range only, and test at lower and higher velocity if a term or the optimum matters. Errors and band take the zero as known, so they are too narrow")
	}
	if n := len(r.speeds()); n < fewSpeeds {
		r.warn(fmt.Sprintf("Only %d velocities for three unknowns", n), "Test at six velocities from a third of the optimum to the fastest run, with repeats")
	}
	if r.Optimum > 0 && (r.Optimum < slow || r.Optimum > fast) {
		r.warn(fmt.Sprintf("The optimum, %v, lies outside the tested range, %v to %v", r.Optimum, slow, fast), "Do not quote it; it is drawn from the law alone")
	}
	if r.Tests.Tracer.Name == "" {
		r.warn("No tracer is named", "Name it: a plate height without its tracer and velocity says nothing")
	}
	low, high := r.spread()
	if high < flatCurve*low {
		r.warn(fmt.Sprintf("Between %v and %v the curve changes by no more than %.0f %%", slow, fast, 100*(high/low-1)),
			"For a small tracer on process beads that is usual: it tests the packing, not the mass transfer of a protein. Quote velocity and tracer, and leave A, B and C alone")
	}
	if nu := r.ReducedVelocity(slow); nu > 10 && r.B.Value > 0 && !(r.B.Value > 2*r.B.StdErr) {
		r.warn(fmt.Sprintf("Diffusion along the column is not seen: the slowest test has the reduced velocity %.3g", nu), "B and the optimum are loose; do not quote them")
	}
	if h := r.LeastReduced; h > mostReduced || h < leastReduced {
		r.warn(fmt.Sprintf("The least reduced plate height is %.2g; well packed process beads have about 2 to 5 (common practice, no source)", h), "Check bead diameter, bed height and the extra-column volume; above 6 look at the packing")
	}
	if p := r.pureError(); p < lackOfFit {
		r.warn(fmt.Sprintf("The means of the repeats lie off the curve further than the repeats scatter (probability %.1g)", p), "Something changed between the velocities, or the law does not hold here; errors and band are not to be trusted")
	}
}

// spread returns the lowest and highest plate height of the curve in the tested
// range.
func (r PlateHeightResult) spread() (low, high float64) {
	slow, fast := r.tested()
	p := r.Fit.Values()
	low, high = math.Inf(1), 0
	for i := range 101 {
		h := r.lawAt(r.toLaw(slow+(fast-slow)*units.Velocity(i)/100), p)
		low, high = math.Min(low, h), math.Max(high, h)
	}
	return low, high
}

// pureError compares the distance of the means from the curve with the scatter
// of repeats, by an F test; it returns the probability of so large a distance,
// NaN without repeats.
func (r PlateHeightResult) pureError() float64 {
	within, repeats := 0.0, 0
	for _, u := range r.speeds() {
		if _, sd, n := r.repeats(u); n > 1 {
			within += sd * sd * float64(n-1)
			repeats += n - 1
		}
	}
	free := len(r.speeds()) - (3 - len(r.AtZero))
	if repeats == 0 || free < 1 || within == 0 {
		return math.NaN()
	}
	off := (r.Fit.RSS - within) / float64(free)
	return distuv.F{D1: float64(free), D2: float64(repeats)}.Survival(off / (within / float64(repeats)))
}

// repeats returns mean and standard deviation of the tests at a velocity, in
// the plate height of the law, and their number.
func (r PlateHeightResult) repeats(u units.Velocity) (mean, sd float64, n int) {
	for i, v := range r.Tests.Velocity {
		if v == u {
			mean += float64(r.heights[i] / r.length())
			n++
		}
	}
	mean /= float64(n)
	for i, v := range r.Tests.Velocity {
		if v == u {
			d := float64(r.heights[i]/r.length()) - mean
			sd += d * d
		}
	}
	if n < 2 {
		return mean, math.NaN(), n
	}
	return mean, math.Sqrt(sd / float64(n-1)), n
}

// A PlateHeightNeed is what a run asks of the column.
type PlateHeightNeed struct {
	BedHeight     units.Length // of the column that shall run
	ResidenceTime units.Time   // at least: bed height over superficial velocity; zero: no demand
	// Plates over the bed, at least; or the plate height, at most.
	Plates      float64
	PlateHeight units.Length
}

// A FastestRun is the largest velocity that meets a need, and what it takes it
// from. Velocities are superficial.
type FastestRun struct {
	Need        PlateHeightNeed
	PlateHeight units.Length   // the most that is allowed: as given, or bed height over plates
	Velocity    units.Velocity // that meets all: the smaller of the next two
	ByResidence units.Velocity // bed height over residence time; +Inf without demand
	ByPlates    units.Velocity // the upper limit of the band still meets the plate height there
	ByCurve     units.Velocity // the curve itself does; one has no room for error there
	// AtEdge tells that the fastest test still meets the plate height: ByPlates
	// is then the velocity of that test, since nothing is known beyond.
	AtEdge    bool
	Residence units.Time   // at Velocity
	Expected  units.Length // plate height of the curve at Velocity
	High      units.Length // upper limit of its band there
	Plates    float64      // bed height over Expected
	PlatesLow float64      // bed height over High

	curve PlateHeightResult
}

// Fastest returns the largest velocity at which the column still meets a need.
//
// Two demands bound the velocity. The residence time t is counted on the empty
// column, t = L/u with L bed height and u superficial velocity, so that a bed
// of given height must not run faster than
//
//	u = L/t
//
// The required plate height H, or L/N for N required plates, is met as long as
// the upper limit of the curve's band is below it; with the usual band of 95 %
// the curve lies above that limit with a probability of 2.5 %. The largest such
// velocity within the tested range is taken. The smaller of both is the answer.
//
// A need that even the best velocity does not meet is an error. The pressure is
// another bound, which this does not know.
func (r PlateHeightResult) Fastest(need PlateHeightNeed) (FastestRun, error) {
	bad := func(problem, remedy string) (FastestRun, error) {
		return FastestRun{}, &packing.InputError{Where: "fastest run", Problem: problem, Remedy: remedy}
	}
	if r.Fit.Status == fit.NotFitted {
		return bad("there is no curve", "fit one first")
	}
	if err := packing.CheckBedHeight(need.BedHeight); err != nil {
		return FastestRun{}, err
	}
	f := FastestRun{Need: need, PlateHeight: need.PlateHeight, ByResidence: units.Velocity(math.Inf(1)), curve: r}
	switch {
	case (need.Plates == 0) == (need.PlateHeight == 0):
		return bad("a plate height or a number of plates is needed, and not both", "write for example Plates: 400")
	case !(need.Plates >= 0 && need.PlateHeight >= 0 && need.ResidenceTime >= 0):
		return bad("a demand is below zero or not a number", "leave out what is not asked for")
	}
	if need.Plates > 0 {
		f.PlateHeight = need.BedHeight / units.Length(need.Plates)
	}
	if need.ResidenceTime > 0 {
		f.ByResidence = need.BedHeight.Within(need.ResidenceTime)
	}
	slow, fast := r.tested()
	upper := func(u units.Velocity) units.Length {
		b, err := r.band([]units.Velocity{u})
		if err != nil {
			panic("efficiency: a fitted curve has a band: " + err.Error())
		}
		return units.Length(b.High[0]) * r.length()
	}
	curve := func(u units.Velocity) units.Length {
		return units.Length(r.lawAt(r.toLaw(u), r.Fit.Values())) * r.length()
	}
	var ok bool
	if f.ByPlates, f.AtEdge, ok = largest(slow, fast, f.PlateHeight, upper); !ok {
		return bad(fmt.Sprintf("no tested velocity has a plate height of %v or less with certainty: the curve's best is %v, its band goes up to %v there",
			f.PlateHeight, lowest(slow, fast, curve), lowest(slow, fast, upper)), "ask for less, take a higher bed, or pack a better one; more tests make the band narrower")
	}
	f.ByCurve, _, _ = largest(slow, fast, f.PlateHeight, curve)
	f.Velocity = min(f.ByPlates, f.ByResidence)
	if f.Velocity < slow {
		return bad(fmt.Sprintf("the residence time of %v allows no more than %v, slower than the slowest test, %v", need.ResidenceTime, f.Velocity, slow), "test at that velocity, too")
	}
	if f.PlateHeight < upper(f.Velocity) {
		return bad(fmt.Sprintf("at %v, which the residence time allows, the plate height may be %v, more than %v", f.Velocity, upper(f.Velocity), f.PlateHeight), "take a lower bed at the same residence time only if its plates suffice; else ask for a shorter residence time")
	}
	f.Residence = need.BedHeight.Passed(f.Velocity)
	f.Expected, f.High = curve(f.Velocity), upper(f.Velocity)
	f.Plates, f.PlatesLow = float64(need.BedHeight/f.Expected), float64(need.BedHeight/f.High)
	return f, nil
}

// largest returns the largest velocity from slow to fast at which h is at most
// limit; edge tells that it is the fastest one. There is none if ok is false.
func largest(slow, fast units.Velocity, limit units.Length, h func(units.Velocity) units.Length) (u units.Velocity, edge, ok bool) {
	const steps = 2000
	at := func(i int) units.Velocity { return slow + (fast-slow)*units.Velocity(i)/steps }
	for i := steps; i >= 0; i-- {
		if h(at(i)) > limit {
			continue
		}
		if i == steps {
			return fast, true, true
		}
		good, high := at(i), at(i+1)
		for range 60 {
			if middle := (good + high) / 2; h(middle) > limit {
				high = middle
			} else {
				good = middle
			}
		}
		return good, false, true
	}
	return 0, false, false
}

func lowest(slow, fast units.Velocity, h func(units.Velocity) units.Length) units.Length {
	best := h(slow)
	for i := range 401 {
		best = min(best, h(slow+(fast-slow)*units.Velocity(i)/400))
	}
	return best
}
