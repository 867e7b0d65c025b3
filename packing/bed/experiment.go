package bed

import (
	"fmt"
	"math"
	"strings"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/fit"
	"github.com/evenbed/evenbed/packing/internal/steps"
	"github.com/evenbed/evenbed/packing/units"
)

// An Experiment is the record of a pressure-flow experiment: the flow is raised
// in steps, each held until height and pressure are steady, then lowered again.
// No schedule is needed, the plateaus are found in the flow.
//
//	experiment, err := bed.Experiment{
//		SettledHeight: 20.16 * Centimetre, InnerDiameter: 30 * Centimetre,
//		Viscosity: 1 * MillipascalSecond,
//		Time: t, Flow: q, Pressure: p, Height: h, Hardware: hardware,
//	}.Evaluate()
//	curve, err := experiment.Curve()
//
// Pressure and Height may hold NaN where nothing was read.
type Experiment struct {
	Label         string
	SettledHeight units.Length    // of the bed at rest; zero: as read before the flow
	InnerDiameter units.Length    // of the column; needed with Flow
	Viscosity     units.Viscosity // of the liquid; zero: not given

	Time     []units.Time
	Velocity []units.Velocity   // at each time
	Flow     []units.VolumeFlow // in place of Velocity
	Pressure []units.Pressure   // at each time, as the gauge shows it
	Height   []units.Length     // of the bed, at each time
	// HeightTime says when Height was read, if not at each time but by hand.
	HeightTime []units.Time

	GaugeZero units.Pressure // what the gauge shows at rest; zero: as read before the flow, if it was
	Hardware  Hardware       // the column without a bed; zero: not subtracted
	Shortest  units.Time     // a plateau lasts at least so long; zero: a hundredth of the record
	Change    units.Velocity // the smallest step; zero: 2 % of the largest velocity
	Steady    Steadiness
}

// Steadiness is when a reading counts as steady: it changes by no more than this
// over the last part of its plateau. What is zero is common practice, no source.
type Steadiness struct {
	Over     units.Time     // the last part of the plateau, over which readings are averaged; zero: its last third
	Pressure units.Fraction // change over the mean; zero: 2 %
	Gauge    units.Pressure // a change of the pressure that the gauge does not show; zero: none
	Height   units.Length   // zero: 1 mm
}

func (s Steadiness) pressure() float64 {
	if s.Pressure == 0 {
		return 0.02
	}
	return float64(s.Pressure)
}

func (s Steadiness) height() float64 {
	if s.Height == 0 {
		return 1e-3
	}
	return float64(s.Height)
}

// A Verdict tells whether a reading was steady.
type Verdict int

// The verdicts. A change is known with an error: it is Steady if its 95 %
// interval lies within what is allowed, Drifting if it lies outside of that, and
// Unclear if it lies on both sides.
const (
	NotRead  Verdict = iota
	Steady           // for all that noise lets see
	Unclear          // noise hides it: longer plateaus or a calmer signal would tell
	Drifting         // it was still changing
	TooShort         // the plateau is shorter than the time over which it must be steady
	ByHand           // too few readings for a verdict
)

// String returns the verdict in words.
func (v Verdict) String() string {
	return [...]string{"not read", "steady", "unclear", "drifting", "too short", "few readings"}[v]
}

// A Direction tells which way a step went.
type Direction int

// The directions. A bed remembers the highest velocity it has seen, so a step
// that goes up again but stays below that belongs to the way down.
const (
	Rest Direction = iota
	Up             // higher than any before
	Down           // below the highest before
)

// String returns the direction in words.
func (d Direction) String() string { return [...]string{"rest", "up", "down"}[d] }

// A Step is a plateau of the flow and what was read on it.
type Step struct {
	From, To    units.Time // of the plateau
	JudgedFrom  units.Time // readings from here on were averaged
	Direction   Direction
	Velocity    units.Velocity
	VelocityErr units.Velocity // one standard error, as are all Err

	Gauge          units.Pressure // as the gauge shows it; NaN: not read
	Hardware       units.Pressure // of the column without a bed
	Pressure       units.Pressure // over the bed: gauge less its zero and the hardware
	PressureErr    units.Pressure
	PressureChange units.Pressure // over the judged part
	PressureSteady Verdict

	Height               units.Length // NaN: not read
	HeightErr            units.Length
	HeightChange         units.Length // over the judged part
	HeightSteady         Verdict
	CompressionFactor    float64
	CompressionFactorErr float64 // of the height under flow alone
}

// Usable tells whether pressure and height were read and neither was seen to
// drift.
func (s Step) Usable() bool {
	ok := func(v Verdict) bool { return v == Steady || v == Unclear || v == ByHand }
	return ok(s.PressureSteady) && ok(s.HeightSteady)
}

// A Lag is how a step on the way down differs from the bed on the way up at the
// same velocity.
type Lag struct {
	Up, Down Point
}

// ExperimentResult holds the steps in the order of time.
type ExperimentResult struct {
	Experiment    Experiment
	SettledHeight units.Length   // given, or read at rest
	GaugeZero     units.Pressure // given, or read at rest
	Steps         []Step
	Hysteresis    []Lag   // of usable steps on the way down
	Lasting       float64 // compression factor at rest after the flow; NaN: not read
	Doubts        []string
	Taken         []string // what was taken for granted
	Refusal       error    // why there are no numbers, or nil

	carried []string // the doubts about readings that are used
}

// restPart of the highest velocity is no flow.
const restPart = 0.005

// repeatPart is how far two plateaus of the same velocity may differ.
const repeatPart = 0.01

// check refuses slices that do not belong together.
func (e Experiment) check() error {
	bad := func(what, problem, remedy string) error {
		return &packing.InputError{Where: e.name(), What: what, Problem: problem, Remedy: remedy}
	}
	n := len(e.Time)
	heights := n
	if len(e.HeightTime) > 0 {
		heights = len(e.HeightTime)
	}
	switch {
	case n < 10:
		return bad(fmt.Sprintf("%d times", n), "that is no record", "give Time, Velocity or Flow, Pressure and Height of a record; for single readings use bed.Readings")
	case len(e.Velocity) > 0 && len(e.Flow) > 0:
		return bad("", "velocities and flows were given", "give one of them")
	case len(e.Velocity)+len(e.Flow) != n:
		return bad(fmt.Sprintf("%d times, %d velocities or flows", n, len(e.Velocity)+len(e.Flow)), "they do not belong together", "give one of each for every time")
	case len(e.Flow) > 0 && !(e.InnerDiameter > 0):
		return bad("inner diameter", "none was given, but flow becomes velocity by it", "write for example 30 * Centimetre")
	case len(e.Pressure) != n:
		return bad(fmt.Sprintf("%d times, %d pressures", n, len(e.Pressure)), "they do not belong together", "give one of each for every time")
	case len(e.Height) != heights:
		return bad(fmt.Sprintf("%d heights for %d times", len(e.Height), heights), "they do not belong together",
			"give one for every time, or HeightTime with the times at which they were read")
	case !(e.Steady.Over >= 0 && e.Steady.Pressure >= 0 && e.Steady.Gauge >= 0 && e.Steady.Height >= 0 && e.Shortest >= 0 && e.Change >= 0):
		return bad("steadiness", "a time or a change is negative", "leave what is not known at zero")
	}
	if err := (Curve{Label: e.Label, SettledHeight: e.SettledHeight, InnerDiameter: e.InnerDiameter, Viscosity: e.Viscosity}).checkBed(); err != nil {
		return err
	}
	if e.hasHardware() {
		if h := e.Hardware.Viscosity; h != 0 && e.Viscosity != 0 && math.Abs(h.In(e.Viscosity)-1) > 0.05 {
			return bad(fmt.Sprintf("empty column at %v", h), fmt.Sprintf("the bed was measured at %v", e.Viscosity), "measure both with the same liquid at the same temperature")
		}
		return e.Hardware.Check()
	}
	return nil
}

func (e Experiment) hasHardware() bool { return len(e.Hardware.Velocity) > 0 }

func (e Experiment) name() string {
	if e.Label == "" {
		return "pressure-flow experiment"
	}
	return e.Label
}

// Evaluate finds the plateaus of the flow, and on the last part of each the
// steady pressure and bed height with their standard errors. A reading that was
// not steady is given with its change and flagged. It refuses slices that do not
// belong together, times that do not rise, a record without a plateau under
// flow, and a settled height that is neither given nor read at rest.
func (e Experiment) Evaluate() (ExperimentResult, error) {
	r, err := e.evaluate()
	if err != nil {
		return ExperimentResult{Experiment: e, Refusal: err}, err
	}
	return r, nil
}

func (e Experiment) evaluate() (ExperimentResult, error) {
	if err := e.check(); err != nil {
		return ExperimentResult{}, err
	}
	t, u := plain(e.Time), e.velocities()
	found, err := steps.Finder{Shortest: float64(e.Shortest), Within: float64(e.Change / 2)}.Plateaus(t, u)
	if err != nil {
		return ExperimentResult{}, &packing.InputError{Where: e.name(), What: "flow against time", Problem: err.Error(),
			Remedy: "cut the record to the experiment, and leave out rows without a flow"}
	}
	r := ExperimentResult{Experiment: e, SettledHeight: e.SettledHeight, GaugeZero: e.GaugeZero, Lasting: math.NaN()}
	highest := 0.0
	for _, p := range found {
		highest = math.Max(highest, p.Level)
	}
	if !(highest > 0) {
		return ExperimentResult{}, &packing.InputError{Where: e.name(), What: "flow", Problem: "no plateau was found in it",
			Remedy: "say with Shortest how long the shortest plateau is, and with Change how small the smallest step"}
	}
	heightTime := t
	if len(e.HeightTime) > 0 {
		heightTime = plain(e.HeightTime)
	}
	pressure, height := plainPressures(e.Pressure), plainLengths(e.Height)
	seen := 0.0
	for _, p := range found {
		s := Step{From: units.Time(p.From), To: units.Time(p.To), Direction: Rest}
		over := (p.To - p.From) / 3
		if e.Steady.Over > 0 {
			over = math.Min(float64(e.Steady.Over), p.To-p.From)
		}
		from := p.To - over
		s.JudgedFrom = units.Time(from)
		flow := steps.DriftOf(t, u, from, p.To)
		s.Velocity, s.VelocityErr = units.Velocity(flow.Level), units.Velocity(flow.LevelErr)
		switch {
		case flow.Level < restPart*highest:
			s.Velocity = 0
		case flow.Level < seen*(1-repeatPart):
			s.Direction = Down
		default:
			s.Direction = Up
			seen = math.Max(seen, flow.Level)
		}
		short := e.Steady.Over > 0 && p.To-p.From < float64(e.Steady.Over)*(1-1e-9)

		at := steps.DriftOf(t, pressure, from, p.To)
		s.Gauge, s.PressureErr = units.Pressure(at.Level), units.Pressure(at.LevelErr)
		if s.Direction == Rest && seen == 0 && e.GaugeZero == 0 && finite(at.Level) {
			r.GaugeZero = s.Gauge
		}
		change, changeErr := at.Change()
		s.PressureChange = units.Pressure(change)
		s.PressureSteady = verdict(at, change, changeErr, math.Max(e.Steady.pressure()*math.Abs(at.Level-float64(r.GaugeZero)), float64(e.Steady.Gauge)), short)

		// A bed read by hand is read now and then: its last reading counts.
		lastHeight := from
		if len(e.HeightTime) > 0 && steps.DriftOf(heightTime, height, from, p.To).Samples == 0 {
			lastHeight = p.From
		}
		at = steps.DriftOf(heightTime, height, lastHeight, p.To)
		s.Height, s.HeightErr = units.Length(at.Level), units.Length(at.LevelErr)
		change, changeErr = at.Change()
		s.HeightChange = units.Length(change)
		s.HeightSteady = verdict(at, change, changeErr, e.Steady.height(), short)
		r.Steps = append(r.Steps, s)
	}
	if err := r.atRest(); err != nil {
		return ExperimentResult{}, err
	}
	for i := range r.Steps {
		s := &r.Steps[i]
		s.Pressure = s.Gauge - r.GaugeZero
		if e.hasHardware() && s.Velocity > 0 {
			p, err := e.Hardware.At(s.Velocity)
			if err != nil {
				return ExperimentResult{}, err
			}
			s.Hardware = p
			s.Pressure -= p
		}
		s.CompressionFactor = r.SettledHeight.In(s.Height)
		s.CompressionFactorErr = s.CompressionFactor * s.HeightErr.In(s.Height)
	}
	r.lags()
	r.doubts()
	return r, nil
}

// velocities returns the velocity at each time, in m/s.
func (e Experiment) velocities() []float64 {
	u := make([]float64, len(e.Time))
	for i := range u {
		if len(e.Flow) > 0 {
			u[i] = float64(e.Flow[i].Through(e.InnerDiameter.Disc()))
		} else {
			u[i] = float64(e.Velocity[i])
		}
	}
	return u
}

// verdict judges a change by its 95 % interval; the block means leave ten
// degrees of freedom where there are enough samples.
func verdict(d steps.Drift, change, stdErr, allowed float64, short bool) Verdict {
	switch {
	case d.Samples == 0:
		return NotRead
	case short:
		return TooShort
	case d.Blocks < 4:
		return ByHand
	}
	reach := fit.StudentT(0.95, float64(d.Blocks-2)) * stdErr
	switch {
	case math.Abs(change)+reach <= allowed:
		return Steady
	case math.Abs(change)-reach > allowed:
		return Drifting
	}
	return Unclear
}

// atRest takes the settled height from the plateau before the flow if it was not
// given, the lasting compression from one after it, and says what was taken.
func (r *ExperimentResult) atRest() error {
	e := r.Experiment
	flowed := false
	for _, s := range r.Steps {
		if s.Direction != Rest {
			flowed = true
			continue
		}
		height := float64(s.Height)
		if flowed {
			if finite(height) {
				r.Lasting = height
			}
			continue
		}
		if finite(height) {
			switch {
			case e.SettledHeight == 0:
				r.SettledHeight = s.Height
			case math.Abs(s.Height.In(e.SettledHeight)-1) > 0.005:
				r.carry(fmt.Sprintf("At rest before the flow the bed was read at %v, %v was given as its settled height.", s.Height, e.SettledHeight))
			}
		}
	}
	if e.SettledHeight == 0 && r.SettledHeight > 0 {
		r.Taken = append(r.Taken, fmt.Sprintf("the settled height as read at rest before the flow, %.4g cm", r.SettledHeight.In(units.Centimetre)))
	}
	if e.GaugeZero == 0 && r.GaugeZero != 0 {
		r.Taken = append(r.Taken, fmt.Sprintf("the zero of the gauge as read at rest before the flow, %.2g mbar", r.GaugeZero.In(units.Millibar)))
	}
	if e.GaugeZero == 0 && r.GaugeZero == 0 {
		r.Taken = append(r.Taken, "the zero of the gauge as right")
	}
	if !(r.SettledHeight > 0) {
		return &packing.InputError{Where: e.name(), What: "settled height", Problem: "it was neither given nor read at rest before the flow",
			Remedy: "write for example SettledHeight: 20 * Centimetre"}
	}
	r.Lasting = float64(r.SettledHeight) / r.Lasting
	if e.Steady.Pressure == 0 || e.Steady.Height == 0 {
		r.Taken = append(r.Taken, fmt.Sprintf("steady: pressure within %.3g %% and height within %.3g mm over the judged part (common practice where not given)",
			100*e.Steady.pressure(), 1000*e.Steady.height()))
	}
	if !e.hasHardware() {
		r.Taken = append(r.Taken, "the pressure of hoses, valves and nets as nothing (no Hardware given)")
	}
	return nil
}

// up returns the usable steps on the way up, at each velocity the last.
func (r ExperimentResult) up() []Step {
	var up []Step
	for _, s := range r.Steps {
		if s.Direction != Up || !s.Usable() {
			continue
		}
		if n := len(up); n > 0 && s.Velocity <= up[n-1].Velocity.Times(1+repeatPart) {
			up = up[:n-1]
		}
		up = append(up, s)
	}
	return up
}

// Measured returns the readings on the way up as they are, with their standard
// errors and the doubts about them; an [Estimation] takes them. Readings that drifted or stood on a plateau
// too short are left out. For a curve to read values from see Curve.
func (r ExperimentResult) Measured() Curve {
	e := r.Experiment
	c := Curve{Label: e.Label, SettledHeight: r.SettledHeight, InnerDiameter: e.InnerDiameter, Viscosity: e.Viscosity, Doubts: r.carried}
	for _, s := range r.up() {
		c.Points = append(c.Points, Point{s.Velocity, s.CompressionFactor, s.Pressure})
		c.StdErr = append(c.StdErr, PointError{s.CompressionFactorErr, s.PressureErr})
	}
	return c
}

// Curve returns Measured as a curve that a plan takes. It refuses what the
// curve's Check refuses, such as heights that scatter so much that they do not
// fall.
func (r ExperimentResult) Curve() (Curve, error) {
	c := r.Measured()
	if err := c.Check(); err != nil {
		return Curve{}, err
	}
	return c, nil
}

// lags compares the way down with the way up.
func (r *ExperimentResult) lags() {
	c, err := r.Curve()
	if err != nil {
		return // said by Curve
	}
	for _, s := range r.Steps {
		if s.Direction == Down && s.Usable() {
			if up, err := c.At(s.Velocity); err == nil {
				r.Hysteresis = append(r.Hysteresis, Lag{up, Point{s.Velocity, s.CompressionFactor, s.Pressure}})
			}
		}
	}
}

// carry notes a doubt about readings that are used all the same; it goes with them
// into the curve.
func (r *ExperimentResult) carry(doubt string) {
	r.Doubts, r.carried = append(r.Doubts, doubt), append(r.carried, doubt)
}

// doubts tells which readings are not what they should be.
func (r *ExperimentResult) doubts() {
	unclear := map[string][]string{}
	flowed := false
	for i, s := range r.Steps {
		if s.Direction == Rest {
			if !flowed && s.HeightSteady == Drifting {
				r.carry(fmt.Sprintf("At rest before the flow the height still changed, by %.2g mm over the judged part: the bed had not settled.", s.HeightChange.In(units.Millimetre)))
			}
			if !flowed && s.PressureSteady == Drifting && r.Experiment.Steady.Gauge > 0 { // no change is allowed without it
				r.carry(fmt.Sprintf("At rest before the flow the gauge still changed, by %.2g mbar over the judged part: its zero is doubtful.", s.PressureChange.In(units.Millibar)))
			}
			continue
		}
		flowed = true
		for _, x := range []struct {
			what   string
			v      Verdict
			change string
		}{
			{"pressure", s.PressureSteady, fmt.Sprintf("%.2g mbar", s.PressureChange.In(units.Millibar))},
			{"height", s.HeightSteady, fmt.Sprintf("%.2g mm", s.HeightChange.In(units.Millimetre))},
		} {
			at := fmt.Sprintf("Step %d, %.4g cm/h: the %s", i+1, s.Velocity.In(units.CentimetrePerHour), x.what)
			switch x.v {
			case NotRead:
				r.Doubts = append(r.Doubts, at+" was not read.")
			case Unclear:
				unclear[x.what] = append(unclear[x.what], fmt.Sprint(i+1))
			case Drifting:
				r.Doubts = append(r.Doubts, at+" was not steady, it changed by "+x.change+" over the judged part; the value is not used.")
			case TooShort:
				r.Doubts = append(r.Doubts, at+" was held for a shorter time than it must be steady; the value is not used.")
			}
		}
	}
	for _, what := range []string{"pressure", "height"} {
		if in := unclear[what]; len(in) > 0 {
			r.Doubts = append(r.Doubts, fmt.Sprintf("Steps %s: noise hides whether the %s still changed; the values are used.", strings.Join(in, ", "), what))
		}
	}
	if _, err := r.Curve(); err != nil {
		r.Doubts = append(r.Doubts, "No curve comes of these readings: "+err.Error()+".")
	}
}

func plain(t []units.Time) []float64 {
	x := make([]float64, len(t))
	for i, v := range t {
		x[i] = float64(v)
	}
	return x
}

func plainPressures(p []units.Pressure) []float64 {
	x := make([]float64, len(p))
	for i, v := range p {
		x[i] = float64(v)
	}
	return x
}

func plainLengths(l []units.Length) []float64 {
	x := make([]float64, len(l))
	for i, v := range l {
		x[i] = float64(v)
	}
	return x
}
