package efficiency

import (
	"fmt"
	"math"
	"strings"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// A Breakthrough is the loading of a column until the feed comes through.
// Column and BedHeight, or BedVolume alone, must be given, FeedConcentration
// too, and Flow if the trace runs against time. Volumes count from the start of
// the load: from the one event of the record that says load, feed, injection or
// sample, or as Zero says, or else from the trace's own zero.
type Breakthrough struct {
	Label             string // for tables and figures
	Column            packing.Column
	BedHeight         units.Length
	BedVolume         units.Volume // in place of Column and BedHeight
	Flow              units.VolumeFlow
	FeedConcentration units.Density // of what binds
	// HoldUp is the hold-up volume V0, at which a feed that does not bind comes
	// through: the liquid in the column and the extra-column volume together.
	// Zero: not given, and the capacities count it as bound.
	//
	// Source of the term: L. S. Ettre, Pure Appl. Chem. 65 (1993) 819-872 (IUPAC).
	HoldUp units.Volume

	// Zero is from where the feed counts; zero: from the record.
	Zero Zero
	// Search is the stretch of the trace that holds the load; zero: all of it.
	// It and NonBinding are on the axis of the trace.
	Search trace.Range
	// NonBinding is where only what does not bind comes through: its level is
	// taken off. Zero: from a fifth to three fifths of the way from HoldUp to
	// 5 % breakthrough.
	NonBinding trace.Range
	// FeedSignal is the signal of the feed with the column bypassed. Zero: the
	// mean of the trace's last twelfth, which must be level.
	FeedSignal float64
	// Percents are the parts of the feed at which capacities are reported;
	// none: 5 and 10 %.
	Percents []units.Fraction
	// Smoothing is done before crossings are measured. A Window of zero is a
	// hundredth of the points. PeakOnly means nothing here.
	Smoothing Smoothing
}

// A BreakthroughPoint is the capacity at one percentage of breakthrough.
type BreakthroughPoint struct {
	Percent      units.Fraction
	Volume       units.Volume  // Vx, of feed, at which it is reached
	VolumeStdErr units.Volume  // from the noise of the signal
	Simple       units.Density // (Vx-V0)·C0 per bed volume: all that went in
	Integral     units.Density // less what came through
	Bound        units.Mass    // Integral times the bed volume
	Utilisation  float64       // Integral over the equilibrium capacity; NaN without one
}

// A BreakthroughResult is what a load says about the capacity of a column.
type BreakthroughResult struct {
	Refusal      error // why there are no numbers, or nil
	Breakthrough Breakthrough
	Signal       string // name of the trace
	Unit         string // of its values
	File         string // it came from
	BedVolume    units.Volume
	// CountedFrom says from where the feed counts, and ZeroAt is that place on the
	// axis of the trace, in seconds or cubic metres.
	CountedFrom   string
	ZeroAt        float64
	Velocity      units.Velocity // superficial; NaN if not known
	ResidenceTime units.Time     // bed volume over flow; NaN without a flow

	NonBinding Plateau // the signal of what does not bind
	FeedLevel  float64 // the signal of the feed
	Noise      float64 // standard deviation of one sample
	Highest    units.Fraction
	Points     []BreakthroughPoint

	// Of a load to saturation, NaN of others: the volume at which a sharp front
	// would come, and what the column holds in equilibrium with the feed.
	FrontVolume units.Volume
	Equilibrium units.Density
	// The mass transfer zone, from 5 to 95 %; NaN of a load that stops before,
	// its length NaN without a bed height.
	ZoneStart, ZoneEnd units.Volume
	ZoneLength         units.Length

	SmoothingWindow int
	Warnings        []Warning

	front, calm even   // the part of the feed, one sample a step, and smoothed
	missing     string // what is not checked about the zero
	flows       []flowSeen
	search      trace.Range // Search, or from the start of the load on
}

// The bounds of loads. Common practice, no source.
const (
	saturated     = 0.99 // of the feed, at the end of the trace
	mostFeedDrift = 0.02 // of the step, along the last twelfth
	mostLoadDrift = 0.01 // of the step, along the non-binding level
	crossingsOff  = 0.01 // of the volume, between several crossings
	zoneFrom      = 0.05
	zoneTo        = 0.95
)

// Evaluate measures the capacities of a load. A percentage that the trace does
// not reach is an error that lists them all; the result then has the error as
// Refusal, and shows it.
func (b Breakthrough) Evaluate(tr trace.Trace) (BreakthroughResult, error) {
	r, err := b.evaluate(tr)
	if err != nil {
		return BreakthroughResult{Breakthrough: b, Refusal: err}, err
	}
	return r, nil
}

func (b Breakthrough) evaluate(tr trace.Trace) (BreakthroughResult, error) {
	none := BreakthroughResult{}
	r, err := b.start(tr)
	if err != nil {
		return none, err
	}
	signal, err := r.evenly(tr)
	if err != nil {
		return none, err
	}
	if err := r.levels(signal); err != nil {
		return none, err
	}
	if err := r.reached(); err != nil {
		return none, err
	}
	r.whole()
	for _, p := range r.Breakthrough.Percents {
		point, err := r.At(p)
		if err != nil {
			return none, err
		}
		r.Points = append(r.Points, point)
	}
	span := tr.Span()
	r.flows = flows(tr, r.ZeroAt, span.To, b.Flow)
	r.doubts()
	for _, what := range recordDoubts(tr) {
		r.warn(what, readAgain)
	}
	return r, nil
}

// start checks the inputs and works out what needs no trace.
func (b Breakthrough) start(tr trace.Trace) (BreakthroughResult, error) {
	none := BreakthroughResult{}
	if tr.Len() < 20 {
		return none, fmt.Errorf("trace %q has %d points; a breakthrough cannot be measured in fewer than 20", tr.Name, tr.Len())
	}
	nan := math.NaN()
	r := BreakthroughResult{Signal: tr.Name, Unit: tr.Unit, File: tr.From, BedVolume: b.BedVolume, Velocity: units.Velocity(nan), ResidenceTime: units.Time(nan)}
	if b.BedVolume == 0 {
		if err := b.Column.Check(); err != nil {
			return none, fmt.Errorf("%w; or give BedVolume: 10 * Millilitre", err)
		}
		if err := packing.CheckBedHeight(b.BedHeight); err != nil {
			return none, fmt.Errorf("%w; or give BedVolume: 10 * Millilitre", err)
		}
		r.BedVolume = b.Column.Volume(b.BedHeight)
	} else if b.Column.InnerDiameter != 0 && b.BedHeight != 0 {
		return none, &packing.InputError{What: "bed volume " + b.BedVolume.String(), Problem: "Column and BedHeight give one as well", Remedy: "give one of both"}
	}
	if v := r.BedVolume; !(v > 0 && v < 100*units.CubicMetre) {
		return none, &packing.InputError{What: "bed volume " + v.String(), Problem: "no column has it", Remedy: "write for example 10 * Millilitre"}
	}
	if c := b.FeedConcentration; !(c > 0 && c < 1000*units.GramPerLitre) {
		return none, &packing.InputError{What: "feed concentration " + concentration(c), Problem: "it must be above zero and below 1000 g/L", Remedy: "write for example 5 * GramPerLitre"}
	}
	if !(b.HoldUp >= 0 && b.HoldUp < 20*r.BedVolume) {
		return none, &packing.InputError{What: "hold-up " + b.HoldUp.String(), Problem: "it must lie between zero and twenty bed volumes of " + r.BedVolume.String(), Remedy: "write for example 3.5 * Millilitre"}
	}
	if err := checkLoadFlow(b.Flow, tr.Axis()); err != nil {
		return none, err
	}
	if math.IsNaN(b.FeedSignal) || math.IsInf(b.FeedSignal, 0) {
		return none, &packing.InputError{What: fmt.Sprintf("feed signal %v", b.FeedSignal), Problem: "it is not a number",
			Remedy: "give the signal of the feed with the column bypassed, or leave FeedSignal out"}
	}
	if b.Flow > 0 {
		r.ResidenceTime = r.BedVolume.PumpedAt(b.Flow)
		if b.Column.InnerDiameter > 0 {
			r.Velocity = b.Column.Velocity(b.Flow)
			if err := packing.CheckVelocity("velocity of the load, from Flow and the column's diameter,", r.Velocity); err != nil {
				return none, err
			}
		}
	}
	if len(b.Percents) == 0 {
		b.Percents = []units.Fraction{0.05, 0.10}
	}
	for _, p := range b.Percents {
		if !(p > 0 && p < 1) {
			return none, &packing.InputError{What: fmt.Sprintf("breakthrough of %v", p), Problem: "it must lie between 0 and 100 %", Remedy: "write for example 10 * Percent"}
		}
	}
	if err := b.Smoothing.check(); err != nil {
		return none, err
	}
	r.Breakthrough = b
	o, err := b.Zero.of(tr, loadStart, b.Flow, 0)
	if err != nil {
		return none, err
	}
	r.CountedFrom, r.ZeroAt, r.missing, r.search = o.from, o.at, o.notChecked(tr), b.Search
	if o.event && b.Search.IsZero() && o.at > tr.Span().From {
		r.search = trace.Range{Axis: tr.Axis(), From: o.at, To: tr.Span().To}
	}
	return r, nil
}

// onAxis is a transition with the axis of the load, which converts places.
func (r BreakthroughResult) onAxis() TransitionResult {
	return TransitionResult{Transition: Transition{Flow: r.Breakthrough.Flow}, Signal: r.Signal, ZeroAt: r.ZeroAt}
}

// checkLoadFlow refuses a flow that no load has; one against volume needs none.
func checkLoadFlow(flow units.VolumeFlow, axis trace.Axis) error {
	problem := ""
	switch {
	case flow == 0 && axis == trace.Time:
		problem = "the trace runs against time, and a breakthrough is measured in volume"
	case !(flow >= 0) || math.IsInf(float64(flow), 0):
		problem = "it must be a number above zero"
	default:
		return nil
	}
	return &packing.InputError{What: "flow " + flow.String(), Problem: problem, Remedy: flowRemedy}
}

// evenly returns the signal against volume in even steps, by the transition's
// rules.
func (r *BreakthroughResult) evenly(tr trace.Trace) (even, error) {
	t := r.onAxis()
	t.Transition.Search = r.search
	e, err := t.evenly(tr)
	r.Warnings = t.Warnings
	return e, err
}

func (r *BreakthroughResult) warn(what, do string) {
	r.Warnings = append(r.Warnings, Warning{What: what, Do: do})
}

// levels finds the signals of what does not bind and of the feed, and
// normalises: F = (S-Sn)/(Sf-Sn).
func (r *BreakthroughResult) levels(s even) error {
	b, n := r.Breakthrough, len(s.y)
	r.SmoothingWindow = b.Smoothing.Window
	if r.SmoothingWindow == 0 {
		r.SmoothingWindow = 1
		if points := n / 100; points >= 5 {
			r.SmoothingWindow = (points-1)/2*2 + 1
		}
	}
	if r.SmoothingWindow > n/2 {
		return fmt.Errorf("smoothing window of %d points is longer than half the trace %q with its %d points", r.SmoothingWindow, r.Signal, n)
	}
	last := s.plateau([2]int{n - max(leastPlateau, n/12), n})
	r.FeedLevel = b.FeedSignal
	if r.FeedLevel == 0 {
		r.FeedLevel = last.Level
	}
	calm := s.smoothed(r.SmoothingWindow)
	zero := int(math.Ceil((float64(b.HoldUp) - s.x0) / s.h))
	if zero < 0 || zero > n-2*leastPlateau {
		return fmt.Errorf("trace %q runs from %v to %v of feed, and HoldUp, %v, must lie well inside", r.Signal, units.Volume(s.x0), units.Volume(s.x(n-1)), b.HoldUp)
	}
	if !b.NonBinding.IsZero() {
		t := r.onAxis()
		lo, hi, err := t.given(s, b.NonBinding)
		if err != nil {
			return err
		}
		r.NonBinding = s.plateau([2]int{lo, hi})
		r.NonBinding.Range = b.NonBinding
	} else {
		first := s.plateau([2]int{zero, zero + max(leastPlateau, (n-zero)/50)})
		level := first.Level + zoneFrom*(r.FeedLevel-first.Level)
		i := zero
		for i < n && (calm.y[i] < level) == (first.Level < level) {
			i++
		}
		lo, hi := zero+(i-zero)/5, zero+3*(i-zero)/5
		if hi-lo < leastPlateau {
			return fmt.Errorf("trace %q has too few points between HoldUp and the breakthrough to see the level of what does not bind; give NonBinding, the stretch where only that comes through, and check FeedSignal", r.Signal)
		}
		r.NonBinding = s.plateau([2]int{lo, hi})
		t := r.onAxis()
		r.NonBinding.Range = trace.Range{Axis: s.axis, From: t.onAxis(s.axis, s.x(lo)), To: t.onAxis(s.axis, s.x(hi-1))}
	}
	r.Noise = r.NonBinding.Noise
	step := r.FeedLevel - r.NonBinding.Level
	if !(math.Abs(step) > 0) || math.Abs(step) < leastStep*r.Noise {
		return fmt.Errorf("trace %q shows no breakthrough: the feed, %.4g %s, and what does not bind, %.4g, are less than %v times the noise of %.2g apart; check that it is the right signal", r.Signal, r.FeedLevel, r.Unit, r.NonBinding.Level, leastStep, r.Noise)
	}
	if end := (last.Level - r.NonBinding.Level) / step; end < -zoneFrom && -end*math.Abs(step) > leastStep*last.Noise {
		return fmt.Errorf("trace %q ends at %.4g %s, on the other side of what does not bind, %.4g, than the feed, %.4g; check FeedSignal and its sign", r.Signal, last.Level, r.Unit, r.NonBinding.Level, r.FeedLevel)
	}
	if b.FeedSignal == 0 && math.Abs(last.Drift) > mostFeedDrift*math.Abs(step) && math.Abs(last.Drift) > 4*last.Noise*math.Sqrt(12/float64(last.Points)) {
		return fmt.Errorf("trace %q does not end level: its last twelfth changes by %s of the step, so the signal of the feed is not known; give FeedSignal, measured with the column bypassed", r.Signal, percentage(math.Abs(last.Drift/step)))
	}
	if math.Abs(r.NonBinding.Drift) > mostLoadDrift*math.Abs(step) {
		r.warn(fmt.Sprintf("The signal of what does not bind is not level: it changes by %s of the step from %s", percentage(math.Abs(r.NonBinding.Drift/step)), r.NonBinding.Range),
			"Set NonBinding to where only that comes through; small percentages depend on it most")
	}
	r.front, r.calm = s.scaled(r.NonBinding.Level, step), calm.scaled(r.NonBinding.Level, step)
	return nil
}

// top returns the sample with the highest part of the feed.
func (r BreakthroughResult) top() int {
	k := 0
	for i, v := range r.calm.y {
		if v > r.calm.y[k] {
			k = i
		}
	}
	return k
}

// reached refuses percentages that the trace does not show.
func (r *BreakthroughResult) reached() error {
	r.Highest = units.Fraction(r.calm.y[r.top()])
	var missing []string
	for _, p := range r.Breakthrough.Percents {
		if p > r.Highest {
			missing = append(missing, p.String())
		}
	}
	if len(missing) > 0 {
		return fmt.Errorf("trace %q reaches %.3g %% of the feed and not %s; load longer, or ask for less in Percents", r.Signal, r.Highest.In(units.Percent), strings.Join(missing, ", "))
	}
	return nil
}

// crossing returns where the front reaches a part of the feed: of several
// places the one in the rise to the front's highest. What rises and comes back
// before it, as air does, is passed over.
func (r BreakthroughResult) crossing(part float64) float64 {
	top := r.top()
	if r.calm.y[top] < part {
		return math.NaN()
	}
	k := top
	for k > 0 && r.calm.y[k] >= float64(r.Highest)/2 {
		k--
	}
	for k < top && r.calm.y[k] < part+(1-part)/2 { // not as far as noise on the plateau
		k++
	}
	return r.calm.cross(part, k, -1)
}

// whole works out what a load to saturation tells.
func (r *BreakthroughResult) whole() {
	nan := math.NaN()
	r.FrontVolume, r.Equilibrium = units.Volume(nan), units.Density(nan)
	r.ZoneStart, r.ZoneEnd, r.ZoneLength = units.Volume(r.crossing(zoneFrom)), units.Volume(r.crossing(zoneTo)), units.Length(nan)
	n := len(r.front.y)
	if end := r.front.plateau([2]int{n - max(leastPlateau, n/12), n}); end.Level < saturated {
		return
	}
	v0 := float64(r.Breakthrough.HoldUp)
	to := r.front.x(n - 1)
	r.FrontVolume = units.Volume(to) - r.through(to)
	r.Equilibrium = r.perBed(float64(r.FrontVolume) - v0)
	r.ZoneLength = r.Breakthrough.BedHeight * units.Length((r.ZoneEnd-r.ZoneStart)/(r.FrontVolume-r.Breakthrough.HoldUp))
	if r.Breakthrough.BedHeight == 0 {
		r.ZoneLength = units.Length(nan)
	}
}

// through returns the volume of feed whose binding part came through up to a
// position: ∫ F dV. It begins with the stretch where only what does not bind
// comes through: before it nothing else can.
func (r BreakthroughResult) through(to float64) units.Volume {
	t := r.onAxis()
	from := math.Max(float64(r.Breakthrough.HoldUp), t.inVolume(r.front.axis, r.NonBinding.Range.From))
	if to <= from {
		return 0
	}
	return units.Volume(r.front.integral(from, to))
}

// perBed returns the capacity that a volume of feed makes.
func (r BreakthroughResult) perBed(feed float64) units.Density {
	return r.Breakthrough.FeedConcentration * units.Density(feed/float64(r.BedVolume))
}

// At returns the capacities at a percentage of breakthrough:
//
//	simple    (Vx-V0)·C0/V
//	integral  (Vx - V0 - ∫ F dV up to Vx)·C0/V
//
// with Vx [m³] the volume of feed at which the part x of its signal comes
// through, V0 the hold-up, C0 the feed concentration [kg/m³], V the bed volume
// and F = (S-Sn)/(Sf-Sn) of the signals S, Sn of what does not bind and Sf of
// the feed; in front of the stretch for Sn, F is 0. The integral is what is bound; the simple one counts what came
// through as bound too. A percentage that was not reached is an error.
//
// Source: mass balance over the column; common practice, no source, for the
// simple form.
func (r BreakthroughResult) At(percent units.Fraction) (BreakthroughPoint, error) {
	if len(r.front.y) == 0 {
		return BreakthroughPoint{}, fmt.Errorf("no breakthrough was evaluated")
	}
	part := float64(percent)
	if !(part > 0 && part < 1) {
		return BreakthroughPoint{}, &packing.InputError{What: fmt.Sprintf("breakthrough of %v", percent), Problem: "it must lie between 0 and 100 %", Remedy: "write for example 10 * Percent"}
	}
	x := r.crossing(part)
	v0 := float64(r.Breakthrough.HoldUp)
	if math.IsNaN(x) {
		return BreakthroughPoint{}, fmt.Errorf("trace %q reaches %.3g %% of the feed and not %v; load longer", r.Signal, r.Highest.In(units.Percent), percent)
	}
	if x <= v0 {
		return BreakthroughPoint{}, fmt.Errorf("trace %q reaches %v at %v, not behind HoldUp, %v; check HoldUp and the trace's zero, the start of the load", r.Signal, percent, units.Volume(x), r.Breakthrough.HoldUp)
	}
	p := BreakthroughPoint{Percent: percent, Volume: units.Volume(x), Simple: r.perBed(x - v0), Integral: r.perBed(x - v0 - float64(r.through(x)))}
	p.Bound = p.Integral.Filling(r.BedVolume)
	p.Utilisation = float64(p.Integral / r.Equilibrium)
	p.VolumeStdErr = units.Volume(r.noise() / r.calm.steepness(x, max(1, r.SmoothingWindow/2)))
	return p, nil
}

// noise returns the standard error of one smoothed value, in parts of the feed.
func (r BreakthroughResult) noise() float64 {
	return r.Noise / math.Abs(r.FeedLevel-r.NonBinding.Level) * math.Sqrt(centre(r.SmoothingWindow))
}

// doubts collects what speaks against the numbers.
func (r *BreakthroughResult) doubts() {
	if what, do := wrongFlow(r.flows, r.Breakthrough.Flow); what != "" {
		r.warn(what, do)
	}
	for _, p := range r.Points {
		part := float64(p.Percent)
		for i, v := range r.calm.y {
			if x := r.calm.x(i); v >= part && x > float64(r.Breakthrough.HoldUp) {
				if float64(p.Volume)-x > crossingsOff*float64(p.Volume) {
					r.warn(fmt.Sprintf("The signal reaches %v at %v already, and again at %v", p.Percent, units.Volume(x), p.Volume),
						"Look for air or for a part of the feed that binds less; the later place was taken, which is the larger capacity")
				}
				break
			}
		}
		if end := r.end(); end < part/2 && end < part-5*r.noise() {
			r.warn(fmt.Sprintf("The signal reaches %v of the feed at %v, but the trace ends at %s", p.Percent, p.Volume, percentage(end)),
				"Look for air at that place, or set Search to the load alone; the capacity holds only if the front was there")
		}
		if r.Breakthrough.HoldUp == 0 && p.Volume < r.BedVolume {
			r.warn(fmt.Sprintf("%v of the feed is reached at %v already, within one bed volume, and HoldUp was not given", p.Percent, p.Volume),
				"Look whether this is what does not bind, which comes through there: give HoldUp, and NonBinding if need be")
		}
		if r.noise() > part/5 {
			r.warn(fmt.Sprintf("%v of the feed is only %.1f times the noise", p.Percent, part/r.noise()), "Smooth more, or report a larger percentage")
		}
	}
	if low := r.NonBinding; r.Highest > 0.9 {
		n := len(r.front.y)
		end := r.front.plateau([2]int{n - max(leastPlateau, n/12), n})
		if step := math.Abs(r.FeedLevel - low.Level); low.Noise > 1e-6*step && end.Noise*step < quietTop*low.Noise && end.Points >= 20 && low.Points >= 20 {
			r.warn(fmt.Sprintf("The signal of the feed has %.2g times the noise of the level before it: the detector may be saturated", end.Noise*step/low.Noise),
				"Use a shorter light path or another wavelength; the feed seems weaker than it is, and capacities are too small")
		}
	}
	if r.Highest > 1.05 {
		r.warn(fmt.Sprintf("The signal rises to %.0f %% of the feed's", r.Highest.In(units.Percent)),
			"Check FeedSignal; a weakly bound part that is pushed off by another does this too, and then one capacity does not describe the feed")
	}
	if !math.IsNaN(float64(r.Equilibrium)) && r.Equilibrium <= 0 {
		r.warn("The equilibrium capacity is not above zero", "Check HoldUp and the trace's zero, the start of the load")
	}
}

// end returns the part of the feed at the end of the trace.
func (r BreakthroughResult) end() float64 {
	n := len(r.front.y)
	return r.front.plateau([2]int{n - max(leastPlateau, n/100), n}).Level
}

// integral returns the integral of the values between two positions, by
// Simpson's rule on the cubic through the samples.
func (e even) integral(from, to float64) float64 {
	n := 4 * int(math.Ceil((to-from)/e.h))
	step := (to - from) / float64(n)
	sum := 0.0
	for i := 0; i <= n; i++ {
		w := 2 + 2*float64(i%2)
		if i == 0 || i == n {
			w = 1
		}
		sum += w * e.at(from+float64(i)*step)
	}
	return sum * step / 3
}

// concentration writes a concentration or a capacity.
func concentration(c units.Density) string {
	return number.Significant(c.In(units.MilligramPerMillilitre), 4) + " mg/mL"
}
