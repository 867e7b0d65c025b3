package efficiency

import (
	"errors"
	"fmt"
	"math"
	"sort"
	"strings"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// A Transition is a change of the liquid that runs into a packed column, from
// one buffer to another, and the step it makes in a detector behind it. It
// needs no test of its own: every cycle of a process has several. Column,
// BedHeight and a mean bead diameter must be given, and Flow if the trace runs
// against time.
//
// Volumes count from the moment at which the new buffer enters the system: the
// trace's zero, or what Zero says. Numbers of different transitions do not compare: name each one.
type Transition struct {
	// Name says which transition it is, as "wash to elution": only those of
	// one name are compared.
	Name      string
	Label     string // of this one, for tables and figures: "cycle 12"
	Column    packing.Column
	BedHeight units.Length
	Flow      units.VolumeFlow
	Medium    packing.Medium // its mean bead makes the reduced plate height
	MeanBead  units.Length   // in place of the medium's
	// ExtraColumnVolume is what lies outside the column: between the valve and the
	// column, and between the column and the detector. It is taken off every
	// volume. It is not the hold-up volume of [Breakthrough], which has the liquid
	// in the column, too. Zero: not given.
	ExtraColumnVolume units.Volume
	// ExpectedVolume is the volume of liquid in the column that the tracer
	// reaches, as a pulse of the same tracer found it. Zero: not given, the mass
	// balance is not made.
	ExpectedVolume units.Volume

	// Zero is from where the volumes count. No event is taken by itself: those of
	// valves and phases are offered by name. Zero: the trace's own zero.
	Zero Zero
	// Search is the stretch of the trace that holds this step and no other;
	// zero: all of it. It and the two below are on the axis of the trace.
	Search trace.Range
	// Before and After are the plateaus in front of and behind the step; zero:
	// found, as the stretches from eight standard deviations of the front from
	// its middle to twice as far. The moments are taken between them. A plateau
	// that drifts along a straight line is one: the front is measured from line
	// to line.
	Before, After trace.Range
	// From and To are the parts of the step at which the front starts and
	// ends, and between which the clipped moments are taken; zero: 1 and 99 %.
	From, To units.Fraction
	// Smoothing is done before the front is differentiated and crossings are
	// measured; the moments of the whole front do without. A Window of zero is
	// 0.35 of the distance from 15.87 to 84.13 %, and more, by the root of how
	// much the step falls short of 50 noises. PeakOnly means nothing here.
	Smoothing Smoothing
}

// A Plateau is a quiet stretch in front of or behind a step.
type Plateau struct {
	Range  trace.Range // on the axis of the trace
	Level  float64     // mean, in the signal's unit
	Noise  float64     // standard deviation about a straight line
	Drift  float64     // change along the stretch, of that line
	Points int
	// Sloped tells that the drift is a straight line that stands out from the
	// noise, and that the step of a transition was measured from that line.
	Sloped bool
}

// FrontMoments are the mean, the variance and the shape of the residence
// distribution dF/dV.
type FrontMoments struct {
	From, To units.Volume // between which they were taken
	Mean     units.Volume // M1
	Variance float64      // M2, in m⁶
	Skewness float64      // M3/M2^(3/2)
	Kurtosis float64      // M4/M2² - 3: 0 for a Gaussian
}

// FrontPlates are the plates of a front by one method.
type FrontPlates struct {
	Plates, PlatesStdErr float64
	HETP, HETPStdErr     units.Length
	ReducedPlateHeight   float64
}

// A TransitionResult is what a transition says about a packed column. Volumes
// count from the start of the new liquid, less the extra-column volume.
//
// Standard errors hold the noise of the signal, taken as independent from
// sample to sample, and through it the error of both plateaus' levels, and of
// their slopes where a drift was taken off. Other drift, flow, extra-column
// volume and what the front itself does from cycle to cycle are not in them.
// They are of first order, and too small by a tenth or more for the asymmetry
// once its warning about the derivative's noise stands beside it. In a
// resampled trace the noise is not independent, and they are rough. Without
// noise they are zero.
type TransitionResult struct {
	Refusal    error // why there are no numbers, or nil
	Transition Transition
	Signal     string // name of the trace
	Unit       string // of its values
	File       string // it came from
	Bead       units.Length
	Velocity   units.Velocity // superficial; NaN without a flow
	// CountedFrom says from where the volumes count, and ZeroAt is that place on the
	// axis of the trace, in seconds or cubic metres.
	CountedFrom string
	ZeroAt      float64

	Before, After Plateau
	Step          float64 // from one level to the other amid the front, in the signal's unit
	Rising        bool
	Noise         float64 // standard deviation of one sample about the plateaus

	// The front F = (C-C0)/(C∞-C0).
	Start, End        units.Volume // where it has From and To of the step
	V16, V50, V84     units.Volume // where it has 15.87, 50 and 84.13 %, midway between the first and the last such place
	V50StdErr         units.Volume
	Moments           FrontMoments // of the whole front, without differentiation
	Clipped           FrontMoments // between Start and End
	Derivative        FrontMoments // by differences, less Discretisation
	Discretisation    float64      // h²/12, in m⁶: what differences over steps h add to M2
	Peak              units.Volume // of the smoothed derivative
	Half, Tenth       trace.Width  // of the derivative at 50 and 10 % of its height, in m³
	SmoothingWindow   int
	SamplingStep      units.Volume // h
	Resampled         bool         // onto even steps, by straight lines
	PointsInFront     int          // from 15.87 to 84.13 %
	FrontVolume       float64      // M1 in column volumes
	FrontVolumeStdErr float64

	// Plates by five methods. They differ for the same front: compare each with
	// itself only.
	ByMoments    FrontPlates // M1²/M2 of Moments
	ByDerivative FrontPlates // M1²/M2 of Derivative
	ByClipped    FrontPlates // M1²/M2 of Clipped
	ByHalfHeight FrontPlates // 5.54 (Vmax/w)² of the derivative
	ByQuantiles  FrontPlates // (V50/σ)², σ = (V84-V16)/2

	HETP               units.Length // of ByMoments
	ReducedPlateHeight float64
	Asymmetry          float64 // b/a of the derivative at 10 %; NaN if it does not fall so far
	AsymmetryStdErr    float64
	SkewnessStdErr     float64
	KurtosisStdErr     float64
	// Recovered is the mass balance: what came out and what fills the expected
	// volume, over what went in, up to the end of Moments. NaN without an
	// expected volume.
	Recovered, RecoveredStdErr float64

	Warnings []Warning

	front   even // F, one sample a step
	calm    even // F smoothed
	slope   even // its derivative
	lo, hi  int  // the samples of front between the plateaus
	levels  [2]level
	volume  units.Volume // one column volume
	origin  origin
	missing string // what is not checked about the zero
	flows   []flowSeen
}

// The bounds of transitions. Common practice, no source.
const (
	leastStep         = 5.0  // noises; below: no step
	goodStep          = 50.0 // noises; below: a doubt
	frontReach        = 8.0  // standard deviations of the front on each side
	leastReach        = 3.0
	leastPlateau      = 5    // points
	mostPlateauDrift  = 0.01 // of the step
	noPlateau         = 0.20 // of the step, along what should be one
	otherChange       = 0.10 // of the step, beyond the plateaus
	mostReversal      = 0.02 // of the step, before it is a doubt
	otherReversal     = 0.25 // of the step, from which it is not one step
	fewInFront        = 8    // points from 15.87 to 84.13 %
	tooFewInFront     = 3
	leastFrontVolume  = 0.5 // column volumes
	mostFrontVolume   = 1.2
	driftStands       = 3.0  // standard errors of a slope; below: no drift
	leastDrift        = 1e-5 // of the step, along a plateau; below: no drift
	straightFront     = 1.45 // (V95-V5)/(V84-V16): 1.65 for a Gaussian, 1.32 for a gradient
	methodsApart      = 0.25 // plates by moments below those by quantiles
	mostSlopeNoise    = 0.02 // of the derivative's height
	mostWindow        = 1.0  // of the distance from 15.87 to 84.13 %
	mostBalance       = 0.02 // from 1
	gaussianLow       = 0.158655253931457
	defaultFrontStart = 0.01
)

// QuantilePlates returns the plates of a front by three of its volumes:
//
//	N = (V50/σ)²,  σ = (V84 - V16)/2
//
// with V16, V50 and V84 the volumes [m³] at which 15.87, 50 and 84.13 % of the
// step have come. It holds for a Gaussian front. It returns NaN unless they
// rise and are positive. Source: common practice, no source.
func QuantilePlates(v16, v50, v84 units.Volume) float64 {
	if !(v16 > 0 && v16 < v50 && v50 < v84) {
		return math.NaN()
	}
	return plates(1, float64(v50), float64(v84-v16)/2)
}

// Plates returns M1²/M2; NaN unless both are positive.
//
// Source: D. M. Larson et al., Biotechnol. Prog. 19 (2003) 485.
func (m FrontMoments) Plates() float64 {
	if !(m.Mean > 0 && m.Variance > 0) {
		return math.NaN()
	}
	return plates(1, float64(m.Mean), math.Sqrt(m.Variance))
}

// Evaluate measures the step of a trace, rising or falling. A trace without a
// step, one whose plateaus were not recorded, one that goes up and comes back,
// and inputs that cannot be are errors; the result then has the error as
// Refusal, and shows it.
func (t Transition) Evaluate(tr trace.Trace) (TransitionResult, error) {
	r, err := t.evaluate(tr)
	if err != nil {
		return TransitionResult{Transition: t, Refusal: err}, err
	}
	return r, nil
}

func (t Transition) evaluate(tr trace.Trace) (TransitionResult, error) {
	r, err := t.start(tr)
	if err != nil {
		return TransitionResult{}, err
	}
	signal, err := r.evenly(tr)
	if err != nil {
		return TransitionResult{}, err
	}
	if err := r.plateaus(signal); err != nil {
		return TransitionResult{}, err
	}
	if err := r.measure(); err != nil {
		return TransitionResult{}, err
	}
	r.errors()
	r.flows = flows(tr, r.ZeroAt, r.onAxis(tr.Axis(), float64(r.End)), t.Flow)
	r.doubts()
	for _, what := range recordDoubts(tr) {
		r.warn(what, readAgain)
	}
	return r, nil
}

// start checks the inputs and works out what needs no trace.
func (t Transition) start(tr trace.Trace) (TransitionResult, error) {
	none := TransitionResult{}
	if tr.Len() < 20 {
		return none, fmt.Errorf("trace %q has %d points; a transition cannot be measured in fewer than 20", tr.Name, tr.Len())
	}
	if err := t.Column.Check(); err != nil {
		return none, err
	}
	if err := packing.CheckBedHeight(t.BedHeight); err != nil {
		return none, err
	}
	bead, err := meanBead(t.MeanBead, t.Medium)
	if err != nil {
		return none, err
	}
	u := units.Velocity(math.NaN())
	if t.Flow != 0 || tr.Axis() == trace.Time {
		u = t.Column.Velocity(t.Flow)
		if err := checkFlow("the transition", t.Flow, t.Column); err != nil {
			if t.Flow == 0 {
				err = fmt.Errorf("%w; the trace runs against time, and a transition is measured in volume", err)
			}
			return none, err
		}
	}
	volume := t.Column.Volume(t.BedHeight)
	for _, v := range []struct {
		name string
		v    units.Volume
	}{{"extra-column volume", t.ExtraColumnVolume}, {"expected volume", t.ExpectedVolume}} {
		if !(v.v >= 0 && v.v < 5*volume) {
			return none, &packing.InputError{What: v.name + " " + v.v.String(), Problem: "it must lie between zero and five column volumes of " + volume.String(),
				Remedy: "write for example 350 * Millilitre"}
		}
	}
	if t.From == 0 {
		t.From = defaultFrontStart
	}
	if t.To == 0 {
		t.To = 1 - defaultFrontStart
	}
	if !(t.From > 0 && t.From <= 0.15 && t.To >= 0.85 && t.To < 1) {
		return none, &packing.InputError{What: fmt.Sprintf("front from %v to %v of the step", t.From, t.To),
			Problem: "From must lie above 0 and up to 15 %, To from 85 to below 100 %", Remedy: "write for example 1 * Percent and 99 * Percent"}
	}
	if err := t.Smoothing.check(); err != nil {
		return none, err
	}
	o, err := t.Zero.of(tr, changeStart, t.Flow, 0)
	if err != nil {
		return none, err
	}
	return TransitionResult{Transition: t, Signal: tr.Name, Unit: tr.Unit, File: tr.From, Bead: bead, Velocity: u, volume: volume,
		CountedFrom: o.from, ZeroAt: o.at, origin: o, missing: o.notChecked(tr)}, nil
}

// inVolume returns where a position of the trace is in volume.
func (r TransitionResult) inVolume(axis trace.Axis, x float64) float64 {
	x -= r.ZeroAt
	if axis == trace.Time {
		x *= float64(r.Transition.Flow)
	}
	return x - float64(r.Transition.ExtraColumnVolume)
}

// onAxis is the other way round, for messages and plateaus.
func (r TransitionResult) onAxis(axis trace.Axis, v float64) float64 {
	v += float64(r.Transition.ExtraColumnVolume)
	if axis == trace.Time {
		v /= float64(r.Transition.Flow)
	}
	return v + r.ZeroAt
}

// evenly returns the signal in steps of volume that are all alike.
func (r *TransitionResult) evenly(tr trace.Trace) (even, error) {
	if search := r.Transition.Search; !search.IsZero() {
		part, err := tr.Within(search)
		if err != nil {
			return even{}, err
		}
		if tr = part; tr.Len() < 20 {
			return even{}, fmt.Errorf("trace %q has %d points from %s; a transition cannot be measured in fewer than 20, widen Search", tr.Name, tr.Len(), search)
		}
	}
	n, step := tr.Len(), tr.Step()
	first, axis := position(&tr, 0), tr.Axis()
	e := even{x0: r.inVolume(axis, first), h: step, y: tr.Values(), axis: axis}
	if axis == trace.Time {
		e.h *= float64(r.Transition.Flow)
	}
	r.SamplingStep = units.Volume(e.h)
	widest := 0.0
	for i := 1; i < n; i++ {
		widest = math.Max(widest, math.Abs(position(&tr, i)-position(&tr, i-1)-step))
	}
	if widest > unevenSteps*step {
		r.Resampled = true
		for i := range e.y {
			e.y[i] = tr.At(first + float64(i)*step)
		}
		_, _, same := tr.Steps(tr.Span())
		if same > 0 {
			r.warn(fmt.Sprintf("%d samples stand at the %s of the sample before", same, axis),
				"Export the "+axis.String()+" with more digits: the front is no better known than its steps")
		}
		apart := step * float64(n-1) / float64(n-1-same) // of those that differ
		if widest+step > unevenStep*apart {
			r.warn(fmt.Sprintf("Samples are missing: the longest gap is %s, the mean step %s", axis.Show(widest+step), axis.Show(step)),
				"Export every sample; straight lines were put into the gaps")
		}
	}
	return e, nil
}

// unevenSteps is the part of a step that samples may be off before the trace is
// resampled.
const unevenSteps = 1e-3

func (r *TransitionResult) warn(what, do string) {
	r.Warnings = append(r.Warnings, Warning{What: what, Do: do})
}

// errNoStep is behind every refusal of a trace that holds no single step.
var errNoStep = errors.New("check that it is the right signal, and set Search to one transition")

func (r TransitionResult) noStep(format string, values ...any) error {
	return fmt.Errorf("trace %q has no step that can be measured: %s; %w", r.Signal, fmt.Sprintf(format, values...), errNoStep)
}

// plateaus finds the levels in front of and behind the step and normalises it.
func (r *TransitionResult) plateaus(s even) error {
	n := len(s.y)
	ends, given := [2][2]int{{0, 0}, {n, n}}, [2]bool{}
	for i, g := range []trace.Range{r.Transition.Before, r.Transition.After} {
		if g.IsZero() {
			continue
		}
		lo, hi, err := r.given(s, g)
		if err != nil {
			return err
		}
		ends[i], given[i] = [2]int{lo, hi}, true
	}
	if ends[0][1]+1 >= ends[1][0] {
		return fmt.Errorf("trace %q: the plateau before the step must end before the one after it begins; set Before and After to quiet stretches on both sides", r.Signal)
	}
	part := [2]int{0, n}
	if given[0] {
		part[0] = ends[0][0]
	}
	if given[1] {
		part[1] = ends[1][1]
	}
	if err := r.onePiece(s.y[part[0]:part[1]]); err != nil {
		return err
	}
	ends, err := r.beside(s, ends, given)
	if err != nil {
		return err
	}
	r.Before, r.After = s.plateau(ends[0]), s.plateau(ends[1])
	nb, na := float64(r.Before.Points-2), float64(r.After.Points-2)
	r.Noise = math.Sqrt((nb*r.Before.Noise*r.Before.Noise + na*r.After.Noise*r.After.Noise) / (nb + na))
	r.lo, r.hi = ends[0][1]-1, ends[1][0]
	rough := r.After.Level - r.Before.Level
	r.levels = [2]level{s.level(ends[0], rough), s.level(ends[1], rough)}
	r.Before.Sloped, r.After.Sloped = r.levels[0].slope != 0, r.levels[1].slope != 0
	amid := (r.lo + r.hi) / 2
	r.Step = r.levels[1].at(amid) - r.levels[0].at(amid)
	r.Rising = r.Step > 0
	for i, p := range []*Plateau{&r.Before, &r.After} {
		p.Range = trace.Range{Axis: s.axis, From: r.onAxis(s.axis, s.x(ends[i][0])), To: r.onAxis(s.axis, s.x(ends[i][1]-1))}
	}
	for i, p := range []Plateau{r.Before, r.After} {
		jitter, step := s.jitter(ends[i]), math.Abs(r.Step)
		change := math.Max(math.Abs(p.Drift), 3*p.Noise)
		if change > noPlateau*step && change > 9*jitter {
			return r.noStep("beside the step it changes by another %.0f %% of it from %s, where a plateau should be", 100*change/step, p.Range)
		}
	}
	if math.Abs(r.Step) < leastStep*r.Noise {
		return r.noStep("its levels, %.4g and %.4g %s, are less than %v times the noise of %.2g apart", r.Before.Level, r.After.Level, r.Unit, leastStep, r.Noise)
	}
	r.front = s.between(r.levels[0], r.levels[1], r.lo, r.hi)
	return nil
}

// onePiece refuses a signal that does not change, and one that goes and comes
// back.
func (r TransitionResult) onePiece(y []float64) error {
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range y {
		low, high = math.Min(low, v), math.Max(high, v)
	}
	if low == high {
		return r.noStep("it is %.4g %s all along", low, r.Unit)
	}
	n, few := len(y), max(leastPlateau, len(y)/50)
	s := even{y: y}
	first, last := s.plateau([2]int{0, few}), s.plateau([2]int{n - few, n})
	if high-low > 2*math.Abs(last.Level-first.Level)+10*math.Max(first.Noise, last.Noise) {
		return r.noStep("it goes from %.4g to %.4g %s, twice as far as from one end to the other, as a peak does", low, high, r.Unit)
	}
	return nil
}

// given returns the samples of a plateau that the user gave.
func (r TransitionResult) given(s even, g trace.Range) (lo, hi int, err error) {
	if g.Axis != s.axis {
		return 0, 0, fmt.Errorf("trace %q runs against %s, but the plateau %s is one of %s; use trace.Times or trace.Volumes accordingly", r.Signal, s.axis, g, g.Axis)
	}
	if !(g.From < g.To) {
		return 0, 0, fmt.Errorf("plateau %s runs the wrong way round; put the smaller end first", g)
	}
	from, to := r.inVolume(s.axis, g.From), r.inVolume(s.axis, g.To)
	lo = sort.Search(len(s.y), func(i int) bool { return s.x(i) >= from-1e-9*s.h })
	hi = sort.Search(len(s.y), func(i int) bool { return s.x(i) > to+1e-9*s.h })
	if hi-lo < leastPlateau {
		return 0, 0, fmt.Errorf("trace %q has %d points on the plateau %s; %d are needed", r.Signal, hi-lo, g, leastPlateau)
	}
	return lo, hi, nil
}

// beside puts the plateaus beside the front. The front lies where two levels
// fit the signal best; then levels and width are found in turn, from narrow to
// wide, until the front is what lies within eight of its standard deviations of
// its middle. A plateau is as long as that again at most. Where the trace is
// shorter, both are.
//
// Seen from level plateaus, a drift makes the front too wide. So where they
// drift, its width is found again, from line to line, until it stays.
func (r TransitionResult) beside(s even, ends [2][2]int, given [2]bool) ([2][2]int, error) {
	if given[0] && given[1] {
		return ends, nil
	}
	n := len(s.y)
	first, last := ends[0][1], ends[1][0] // the front lies from first to before last
	at := float64(s.split(first, last))
	wide, least, moved := 1.0, max(leastPlateau, n/20), 0.0
	for pass := 0; pass < 40; pass++ {
		reach := frontReach * wide
		lo := min(max(int(at-reach), first), last-2)
		hi := max(min(int(math.Ceil(at+reach)), last-1), lo+1)
		length := max(int(reach), least)
		if !given[0] {
			end := max(lo+1, min(leastPlateau, last))
			ends[0] = [2]int{max(0, end-length), end}
		}
		if !given[1] {
			begin := min(hi, n-min(leastPlateau, n-first))
			ends[1] = [2]int{begin, min(n, begin+length)}
		}
		zero := s.plateau(ends[0]).Level
		step := s.plateau(ends[1]).Level - zero
		if step == 0 {
			return ends, r.noStep("no step lies between its levels of %.4g %s", zero, r.Unit)
		}
		mean, sigma := s.scaled(zero, step).centre(lo, hi)
		was := wide
		at, wide = math.Min(math.Max((mean-s.x0)/s.h, float64(first)), float64(last-1)), math.Max(sigma/s.h, 0.5)
		if pass > 5 { // noise may make it go to and fro
			wide = math.Sqrt(was * wide)
		}
		if moved = math.Abs(wide/was - 1); moved < 0.01 || reach > float64(2*n) {
			break
		}
	}
	if moved > 0.25 && frontReach*wide < float64(n) {
		return ends, r.noStep("beside the step near %s it changes again before it has come to rest", s.axis.Show(r.onAxis(s.axis, s.x0+at*s.h)))
	}
	ends, short := aside(at, wide, n, ends, given)
	for range 40 {
		rough := s.plateau(ends[1]).Level - s.plateau(ends[0]).Level
		zero, one := s.level(ends[0], rough), s.level(ends[1], rough)
		if zero.slope == 0 && one.slope == 0 {
			break
		}
		lo, hi := ends[0][1]-1, ends[1][0]
		mean, sigma := s.between(zero, one, lo, hi).centre(lo, hi)
		if v := mean + sigma; v-v != 0 { // no number
			if short[0] || short[1] {
				break
			}
			return ends, r.noStep("the lines through both plateaus meet amid the front")
		}
		was := wide
		at, wide = math.Min(math.Max((mean-s.x0)/s.h, float64(first)), float64(last-1)), math.Max(sigma/s.h, 0.5)
		ends, short = aside(at, wide, n, ends, given)
		if math.Abs(wide/was-1) < 0.01 {
			break
		}
	}
	for i, room := range []float64{at, float64(n-1) - at} {
		if short[i] {
			side, verb, more := "before", "begins", "start recording earlier"
			if i == 1 {
				side, verb, more = "after", "ends", "record until the signal is steady"
			}
			return ends, fmt.Errorf("trace %q does not show the plateau %s the step: it %s only %.1f standard deviations of the front from its middle, and %.0f are the least; %s, or give the plateau, or set Search to one transition. A gradient of the pump has no plateau and no plates",
				r.Signal, side, verb, room/wide, leastReach+1, more)
		}
	}
	return ends, nil
}

// aside puts the plateaus that were not given beside a front of this middle and
// width, and tells which side is too short for one.
func aside(at, wide float64, n int, ends [2][2]int, given [2]bool) (_ [2][2]int, short [2]bool) {
	if !(wide < float64(n)) {
		wide = float64(n)
	}
	for i, room := range []float64{at, float64(n-1) - at} {
		if given[i] {
			continue
		}
		// The plateau needs some points and a standard deviation of length.
		need := math.Max(leastPlateau, math.Min(wide, room/2))
		reach := math.Min(frontReach*wide, room-need)
		short[i] = reach < leastReach*wide
		length := int(math.Max(reach, need))
		if i == 0 {
			end := max(int(at-reach)+1, leastPlateau)
			ends[0] = [2]int{max(0, end-length), end}
		} else {
			begin := min(int(math.Ceil(at+reach)), n-leastPlateau)
			ends[1] = [2]int{begin, min(n, begin+length)}
		}
	}
	return ends, short
}

// plateNumber makes plates of one method.
func (r TransitionResult) plateNumber(n float64) FrontPlates {
	h := r.Transition.BedHeight / units.Length(n)
	return FrontPlates{Plates: n, HETP: h, ReducedPlateHeight: h.In(r.Bead)}
}

// measure takes everything that is measured in the front.
func (r *TransitionResult) measure() error {
	f := r.front
	if err := r.smooth(); err != nil {
		return err
	}
	if err := r.monotone(); err != nil {
		return err
	}
	middle := r.calm.middle(r.lo, r.hi)
	cross := func(level float64) units.Volume { return units.Volume(r.calm.crossing(level, middle)) }
	_, sigma := r.front.centre(r.lo, r.hi)
	far := int(3 * sigma / f.h) // beyond it noise alone may reach the level
	between := func(level float64) units.Volume {
		return units.Volume(r.calm.cross(level, max(r.lo, middle-far), 1)+r.calm.cross(level, min(r.hi, middle+far), -1)) / 2
	}
	r.V16, r.V50, r.V84 = between(gaussianLow), between(0.5), between(1-gaussianLow)
	r.Start, r.End = cross(float64(r.Transition.From)), cross(float64(r.Transition.To))
	within := float64((r.V84 - r.V16) / r.SamplingStep)
	if !(within >= 0) || math.IsInf(within, 0) {
		return fmt.Errorf("trace %q does not pass 15.87 and 84.13 %% of the step between its plateaus; look at the plateaus, or give others", r.Signal)
	}
	r.PointsInFront = int(within)
	if r.PointsInFront < tooFewInFront {
		return fmt.Errorf("trace %q has %d steps between 15.87 and 84.13 %% of the step; %d are the very least, record more often", r.Signal, r.PointsInFront, tooFewInFront)
	}
	r.Moments = f.moments(r.lo, r.hi)
	r.Derivative, r.Discretisation = f.differences(r.lo, r.hi)
	r.Clipped = r.calm.clipped(float64(r.Start), float64(r.End), float64(r.Transition.From), float64(r.Transition.To))
	if !(r.Moments.Mean > 0) {
		return fmt.Errorf("trace %q: the front comes at %v, before the new buffer can be there; the trace's zero must be the moment it enters the system, and ExtraColumnVolume only what lies outside the column", r.Signal, r.Moments.Mean)
	}
	if !(r.V16 < r.V50 && r.V50 < r.V84 && r.Clipped.Variance > 0) {
		return r.noStep("15.87, 50 and 84.13 %% of its step do not follow each other")
	}
	if !(r.Moments.Variance > 0 && r.Derivative.Variance > 0) {
		r.warn("The variance of the whole front is not positive: its noise is larger than its width", "Read the quantiles, smooth more, or set Before and After closer to the front; moments are not available")
	}
	r.derivative()
	r.numbers()
	return nil
}

// numbers works out what is reported.
func (r *TransitionResult) numbers() {
	r.ByMoments = r.plateNumber(r.Moments.Plates())
	r.ByDerivative = r.plateNumber(r.Derivative.Plates())
	r.ByClipped = r.plateNumber(r.Clipped.Plates())
	r.ByHalfHeight = r.plateNumber(plates(halfHeight, float64(r.Peak), r.Half.Width()))
	r.ByQuantiles = r.plateNumber(QuantilePlates(r.V16, r.V50, r.V84))
	r.HETP, r.ReducedPlateHeight = r.ByMoments.HETP, r.ByMoments.ReducedPlateHeight
	apex := trace.Apex{X: float64(r.Peak)}
	r.Asymmetry = asymmetry(r.Tenth.Front(apex), r.Tenth.Back(apex))
	r.FrontVolume = r.Moments.Mean.In(r.volume)
	r.Recovered = math.NaN()
	if expected := r.Transition.ExpectedVolume; expected > 0 {
		in := r.Moments.To
		r.Recovered = (in - r.Moments.Mean + expected).In(in)
	}
}

// smooth smooths the front, without a window given by the rule of
// [Transition.Smoothing], from a quick look at the width.
func (r *TransitionResult) smooth() error {
	r.SmoothingWindow = r.Transition.Smoothing.Window
	if r.SmoothingWindow == 0 {
		_, sigma := r.front.centre(r.lo, r.hi)
		r.SmoothingWindow = 1
		more := 1.0
		if s := math.Abs(r.Step); s < goodStep*r.Noise {
			more = math.Sqrt(goodStep * r.Noise / s)
		}
		if points := int(0.7 * more * sigma / r.front.h); points >= 5 {
			r.SmoothingWindow = (points-1)/2*2 + 1
		}
	}
	if r.SmoothingWindow > len(r.front.y)/2 {
		return fmt.Errorf("smoothing window of %d points is longer than half the trace %q with its %d points", r.SmoothingWindow, r.Signal, len(r.front.y))
	}
	r.calm = r.front.smoothed(r.SmoothingWindow)
	r.slope = r.calm.slopes()
	return nil
}

// monotone refuses a front that goes back far, and doubts one that does a
// little.
func (r *TransitionResult) monotone() error {
	top, back, at := math.Inf(-1), 0.0, 0
	for i := r.lo; i <= r.hi; i++ {
		v := r.calm.y[i]
		top = math.Max(top, v)
		if top-v > back {
			back, at = top-v, i
		}
	}
	where := r.front.axis.Show(r.onAxis(r.front.axis, r.front.x(at)))
	noise := r.calmNoise()
	switch {
	case back > otherReversal && back > 8*noise:
		return r.noStep("it goes back by %.0f %% of the step, at %s", 100*back, where)
	case back > mostReversal && back > 8*noise:
		r.warn(fmt.Sprintf("The front does not only %s: it goes back by %.1f %% of the step, at %s", map[bool]string{true: "rise", false: "fall"}[r.Rising], 100*back, where),
			"Look for air, a valve that switched twice, or a buffer that reacts with the medium (pH, ion exchange); moments and derivative suffer")
	}
	return nil
}

// derivative measures the peak of the smoothed derivative.
func (r *TransitionResult) derivative() {
	d := r.slope
	k := r.lo
	for i := r.lo; i < r.hi; i++ {
		if d.y[i] > d.y[k] {
			k = i
		}
	}
	top := d.apex(k, r.reach())
	r.Peak = units.Volume(top.X)
	r.Half, r.Tenth = d.width(top, 0.5), d.width(top, 0.1)
}

// reach is the number of points on each side of the highest that the parabola
// of the peak goes through.
func (r TransitionResult) reach() int { return max(1, r.SmoothingWindow/2) }

// name returns how the transition is called in headings.
func (r TransitionResult) name() string {
	parts := []string{"Transition"}
	if r.Transition.Name != "" {
		parts[0] += " \"" + r.Transition.Name + "\""
	}
	if tag := r.Transition.Column.Tag; tag != "" {
		parts[0] += " of " + tag
	}
	if r.Transition.Label != "" {
		parts = append(parts, r.Transition.Label)
	}
	return strings.Join(parts, ", ")
}
