package plan

import (
	"fmt"
	"math"
	"reflect"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// A Review asks of a recorded pack what became of it, and whether it may go on
// to its test. With a Plan only what was measured on the day has to be added:
//
//	found, err := plan.Review{Plan: steps, SlurryPoured: 27.5 * Litre}.Of(plan.Run{
//		Flow: flow, Pressure: pressure, BedHeight: height,
//		Adapter: adapter, AdapterReads: plan.AboveNet})
//
// A tolerance that is zero takes a value of common practice, which has no
// source; the answer states every one that was used.
type Review struct {
	Plan Procedure // what was planned; the zero value: nothing to compare with

	// What is zero here is taken from the plan.
	Column            packing.Column
	Medium            packing.Medium
	BedHeight         units.Length // of the packed bed, asked for
	CompressionFactor float64      // asked for
	Curve             bed.Curve    // brings the height under the first flow to rest
	Limits            packing.Limits

	Slurry       packing.Slurry // as measured; zero: of the plan
	SlurryPoured units.Volume   // as measured; zero: not known
	SlurryStdErr units.Fraction // of the concentration, absolute; zero: 3 % of it
	PouredStdErr units.Volume   // zero: 1 % of it
	HeightStdErr units.Length   // of reading a height; zero: 0.5 mm

	Steady     Steady
	Tolerances Tolerances

	StepsBy         StepsBy        // which signal tells the steps; zero: by the method of the plan, without one by flow
	ShortestPlateau units.Time     // of constant flow, pressure or adapter; zero: 20 s
	FlowTolerance   units.Fraction // within which a flow, or the pressure that was set, counts as constant; zero: 5 %
}

// StepsBy says which signal tells the steps of a record.
type StepsBy int

// The signals. A pack by constant pressure has steps of pressure in which the flow
// falls; one by the adapter alone has its travel.
const (
	AsPlanned StepsBy = iota
	StepsByFlow
	StepsByPressure
	StepsByAdapter
)

// String returns the signal in words.
func (s StepsBy) String() string {
	if s < AsPlanned || s > StepsByAdapter {
		return "unknown signal"
	}
	return [...]string{"as planned", "flow", "pressure", "adapter"}[s]
}

// Steady is the user's criterion for the end of a step: how much height and
// pressure may change over a time.
type Steady struct {
	Height   units.Length   // zero: 1 mm
	Pressure units.Fraction // of the pressure; zero: 2 %
	Over     units.Time     // zero: 5 min
}

// Tolerances are how far the pack may be from what was asked.
type Tolerances struct {
	Velocity          units.Fraction // zero: 5 %
	Pressure          units.Fraction // zero: 20 %
	Height            units.Fraction // of the settled bed and of the bed under flow; zero: 5 %
	Mark              units.Length   // of the packed bed from its target height, and of a gap under the adapter; zero: that of the plan, else 2 mm
	CompressionFactor float64        // zero: 0.03
	Volume            units.Fraction // zero: 10 %
}

// A Run is a recorded pack. Signals run against time, each with times of its
// own; what was not recorded is left out.
type Run struct {
	Label     string
	Flow      trace.Trace  // flow or velocity, told by its unit; downflow counts positive
	Pressure  trace.Trace  // at the inlet of the column
	BedHeight trace.Trace  // upper edge of the bed, or of the slurry while it settles
	RulerZero units.Length // what heights of the bed read at the bottom net

	Adapter      trace.Trace // position of the adapter's lower face
	AdapterReads AdapterReading
	AdapterZero  units.Length // with DrivenDown: height above the bottom net at which it reads zero

	Readings []HeightReading // heights of the bed read by eye, by rising time

	typed *Typed // the record that this was made of; nil: recorded
}

// AdapterReading says how an adapter's position is counted. It has to be said,
// since both are in use.
type AdapterReading int

const (
	// NotSaid is refused if the adapter was recorded.
	NotSaid AdapterReading = iota
	// AboveNet counts the height of the adapter's lower face above the bottom
	// net: it falls while the adapter goes down.
	AboveNet
	// DrivenDown counts how far the adapter has gone down from AdapterZero.
	DrivenDown
)

// A HeightReading is a height of the bed read by eye.
type HeightReading struct {
	At     units.Time // on the record's clock
	Height units.Length
}

// Findings are what became of a recorded pack. A number that is not known is NaN,
// and what could not be judged says why.
type Findings struct {
	Refusal   error    // why nothing was found, or nil
	NotJudged []string // what could not be judged, and why
	Taken     []string // what was not given and taken instead
	Doubts    []string
	Review    Review // with what was taken
	Run       Run

	Advice  Advice
	Reasons []string // for the advice
	Options []Option // ways on from a pack that missed its target, each held against curve and limits

	Steps        []Step
	Moves        []AdapterMove
	Compressions int // compression steps, each ended by a stop

	SettledHeight       units.Length // at rest, from the end of step 1
	SettledHeightStdErr units.Length
	BedHeight           units.Length // of the packed bed, at the end
	BedHeightStdErr     units.Length
	BedHeightFrom       string       // adapter, bed height or reading
	Gap                 units.Length // between bed and adapter at the end
	NotReached          units.Length // by which the bed stood above its target under the flow of the last compression
	Lost                units.Length // by which it rose from there to the end, while the flow was stopped and the adapter lowered
	Travel              units.Length // of the adapter, from before the compression to the end

	CompressionFactor       float64 // settled over packed height
	CompressionFactorStdErr float64
	BySlurry                float64 // the same from the slurry poured
	BySlurryStdErr          float64

	Rise       RiseRecord
	Deviations []Deviation
	Pressures  []LimitCheck // lowest first
	Flows      []LimitCheck // lowest first
	Sheet      []FoundRow

	signals signals
}

// An Advice is what to do with a pack after it was read back. A pack is never
// accepted before its test.
type Advice int

// The advices.
const (
	Undecided     Advice = iota // something that decides is not known
	ProceedToTest               // nothing speaks against the test
	AddStep                     // one further compression step
	Repack                      // unpack and pack again
)

// String returns the advice in words.
func (a Advice) String() string {
	switch a {
	case Undecided:
		return "not decided"
	case ProceedToTest:
		return "proceed to test"
	case AddStep:
		return "add a step"
	case Repack:
		return "unpack and repack"
	}
	return "unknown advice"
}

// A Verdict says whether something is as it was asked to be.
type Verdict int

// The verdicts.
const (
	NotJudged Verdict = iota
	Within
	Outside
)

// String returns the verdict in words.
func (v Verdict) String() string {
	switch v {
	case NotJudged:
		return "not judged"
	case Within:
		return "within"
	case Outside:
		return "outside"
	}
	return "unknown verdict"
}

// A StepKind tells what a step of a record is.
type StepKind int

// The kinds of steps.
const (
	Waiting     StepKind = iota // no flow, neither of the two below
	LooseBed                    // low flow before the first compression
	AdapterDown                 // no flow between the loose bed and the first compression: time for the adapter
	Compression                 // high flow
	Stop                        // no flow after a compression, in which the adapter goes to the mark
	LaterFlow                   // lower flow after a compression
)

// A Step is a stretch of constant flow, of constant pressure where that is set, or
// of one travel of the adapter. It lasts from and to the moments at which the
// signal was half way between that of two steps, or the adapter met the bed.
type Step struct {
	Kind          StepKind
	Name          string
	Start, End    units.Time
	Duration      units.Time
	Volume        units.Volume
	ColumnVolumes float64          // of the bed height asked for
	Flow          units.VolumeFlow // mean over the part without the change at both ends; at its end where the pressure is set; displaced where the adapter compresses
	FlowSD        units.VolumeFlow // spread of the readings
	Velocity      units.Velocity
	VelocitySD    units.Velocity
	Pressure      units.Pressure // at its end
	Height        units.Length   // of the bed at its end
	Adapter       units.Length   // at its end
	Steadiness    Steadiness

	from, to float64 // the part without the changes, s
}

// Steadiness tells by how much height and pressure change over the time of the
// user's criterion at the end of a step, by a straight line.
type Steadiness struct {
	Height         units.Length
	HeightStdErr   units.Length // NaN: of two readings by eye
	HeightIs       Verdict
	HeightWhy      string // why it is not judged
	Pressure       units.Fraction
	PressureStdErr units.Fraction
	PressureIs     Verdict
	PressureWhy    string

	// Flow is judged where the pressure is set, by the criterion of the pressure.
	Flow       units.Fraction
	FlowStdErr units.Fraction
	FlowIs     Verdict
	FlowWhy    string
}

// An AdapterMove is a movement of the adapter between two places of rest.
type AdapterMove struct {
	Start, End units.Time
	From, To   units.Length   // above the bottom net
	Speed      units.Velocity // mean, downwards positive
}

// A Deviation holds what was found against what was planned.
type Deviation struct {
	What, Unit     string
	Planned, Found float64
	Allowed        float64 // largest difference, in the same unit
	Verdict        Verdict
	Why            string // why it is not judged, or how it is judged if not by the difference
}

// A LimitCheck is a limit against the most that was recorded.
type LimitCheck struct {
	Name    string
	Limit   float64    // Pa or m/s
	Most    float64    // NaN: not recorded
	At      units.Time // of the most
	Over    units.Time // spent beyond the limit
	Verdict Verdict
}

// A FoundRow is a line of the sheet for the batch record.
type FoundRow struct{ What, Expected, Found string }

// Of reads a recorded pack back: it cuts the run into its steps, judges how each
// ended, and holds the bed against what was asked.
//
//	CF = L1 CF(u1)/L       L1 height under the flow u1 at the end of step 1
//	(u(CF)/CF)² = (u(L1)/L1)² + (u(L)/L)²
//	CFs = V C/(A L)        from the slurry poured
//	(u(CFs)/CFs)² = (u(C)/C)² + (u(V)/V)² + (u(L)/L)²
//
// with L the height of the packed bed, V and C volume and concentration of the
// slurry and A the column's area. CF(u1) is read off the curve; without one L1 is
// taken as it is, which makes CF a little too low.
//
// A step is a stretch in which the flow stays within a tolerance of its own
// median; the flows themselves tell the steps, not the times of the plan. Of a
// pack by constant pressure it is the pressure that stays so, and the flow at the
// end of each step counts; of one by the adapter alone the steps are settling,
// travel to the bed, compression from where the adapter comes down to the settled
// height, and hold. What a missing signal leaves open is listed, never guessed.
func (r Review) Of(run Run) (Findings, error) {
	f := Findings{Run: run, BySlurry: math.NaN()}
	unknown(&f)
	unknown(&f.Rise)
	w := &reviewer{r: r, run: run, f: &f}
	err := w.prepare()
	if err == nil {
		err = w.cut()
	}
	if err != nil {
		f.Refusal, f.Review = err, w.r
		return f, err
	}
	w.steadiness()
	w.heights()
	w.rise()
	w.limits()
	w.deviations()
	w.decide()
	w.sheet()
	f.Review = w.r
	return f, nil
}

// reviewer is a review in the making: r has its defaults filled in.
type reviewer struct {
	r       Review
	run     Run
	f       *Findings
	planned bool
}

func (w *reviewer) notJudged(format string, a ...any) {
	w.f.NotJudged = append(w.f.NotJudged, fmt.Sprintf(format, a...))
}

func (w *reviewer) taken(format string, a ...any) {
	w.f.Taken = append(w.f.Taken, fmt.Sprintf(format, a...))
}

func (w *reviewer) doubt(format string, a ...any) {
	w.f.Doubts = append(w.f.Doubts, fmt.Sprintf(format, a...))
}

// stepsBy is the signal that tells the steps of a method.
func stepsBy(r Request) StepsBy {
	switch {
	case r.Method == constantPressure:
		return StepsByPressure
	case r.Method == axialCompression, r.Method == suctionFill && r.Then == ByAdapter:
		return StepsByAdapter
	}
	return StepsByFlow
}

// prepare fills in what was not given, checks the inputs and reads the signals.
func (w *reviewer) prepare() error {
	r := &w.r
	w.planned = r.Plan.Request.Column.InnerDiameter != 0
	if r.Plan.Refusal != nil {
		return &packing.InputError{Where: r.Plan.Request.Column.Tag, What: "plan", Problem: "it was refused: " + r.Plan.Refusal.Error(),
			Remedy: "hold the run against the plan that was run, or leave the plan out"}
	}
	if w.planned {
		q := r.Plan.Request
		for _, x := range []struct{ own, plan any }{
			{&r.Column, q.Column}, {&r.Medium, q.Medium}, {&r.BedHeight, q.BedHeight}, {&r.CompressionFactor, q.CompressionFactor},
			{&r.Curve, q.Curve}, {&r.Limits, q.Limits}, {&r.Slurry, q.Slurry},
		} {
			if own := reflect.ValueOf(x.own).Elem(); own.IsZero() {
				own.Set(reflect.ValueOf(x.plan))
			}
		}
	}
	if r.StepsBy == AsPlanned {
		r.StepsBy = stepsBy(r.Plan.Request)
	}
	w.takeDefaults()
	if err := w.checkInputs(); err != nil {
		return err
	}
	for _, s := range r.Curve.Doubts {
		w.doubt("Of the curve: %s", s)
	}
	return w.read()
}

func (w *reviewer) takeDefaults() {
	r := &w.r
	fraction := func(to *units.Fraction, usual units.Fraction, what string) {
		if *to == 0 {
			*to = usual
			w.taken("%s %v", what, usual)
		}
	}
	c := &r.Steady
	if c.Height == 0 {
		c.Height = 1 * units.Millimetre
		w.taken("height changes by no more than %v when a step is over", c.Height)
	}
	if c.Pressure == 0 {
		c.Pressure = 2 * units.Percent
		w.taken("pressure changes by no more than %v when a step is over", c.Pressure)
	}
	if c.Over == 0 {
		c.Over = 5 * units.Minute
		w.taken("both over %v", c.Over)
	}
	t := &r.Tolerances
	if t.Mark == 0 && w.planned {
		t.Mark = r.Plan.Request.TargetTolerance
	}
	fraction(&t.Velocity, 5*units.Percent, "tolerance of velocity")
	fraction(&t.Pressure, 20*units.Percent, "tolerance of pressure")
	fraction(&t.Height, 5*units.Percent, "tolerance of settled height and heights under flow")
	if t.Mark == 0 {
		t.Mark = usualTarget
		w.taken("tolerance of the target position and of a gap under the adapter %v", t.Mark)
	}
	if t.CompressionFactor == 0 {
		t.CompressionFactor = 0.03
		w.taken("tolerance of the compression factor %v", t.CompressionFactor)
	}
	fraction(&t.Volume, 10*units.Percent, "tolerance of volumes")
	if r.HeightStdErr == 0 {
		r.HeightStdErr = 0.5 * units.Millimetre
		w.taken("standard error of a height reading 0.5 mm")
	}
	if r.SlurryPoured != 0 {
		if r.SlurryStdErr == 0 {
			r.SlurryStdErr = r.Slurry.Concentration * 3 * units.Percent
			w.taken("standard error of the slurry concentration 3 %% of it")
		}
		if r.PouredStdErr == 0 {
			r.PouredStdErr = r.SlurryPoured.Times(0.01)
			w.taken("standard error of the volume poured 1 %% of it")
		}
	}
	if r.ShortestPlateau == 0 {
		r.ShortestPlateau = 20 * units.Second
		w.taken("shortest stretch of constant flow %v", r.ShortestPlateau)
	}
	fraction(&r.FlowTolerance, 5*units.Percent, "a flow counts as constant within")
}

func (w *reviewer) checkInputs() error {
	r := w.r
	bad := func(what, problem, remedy string) error {
		return &packing.InputError{Where: r.Column.Tag, What: what, Problem: problem, Remedy: remedy}
	}
	if r.Column.InnerDiameter == 0 {
		return bad("", "neither a plan nor a column was given", "give Plan, or Column, BedHeight and CompressionFactor")
	}
	if r.StepsBy < StepsByFlow || r.StepsBy > StepsByAdapter {
		return bad(fmt.Sprintf("steps by %d", int(r.StepsBy)), "there is no such signal", "write plan.StepsByFlow, plan.StepsByPressure or plan.StepsByAdapter")
	}
	for _, err := range []error{r.Column.Check(), packing.CheckBedHeight(r.BedHeight), r.Limits.Check(),
		packing.CheckPressure("tube pressure limit", r.Limits.TubePressure), packing.CheckPressure("pump pressure limit", r.Limits.PumpPressure),
		packing.CheckPressure("relief pressure", r.Limits.ReliefPressure)} {
		if err != nil {
			return err
		}
	}
	if !(r.CompressionFactor >= 1 && r.CompressionFactor < 3) {
		return bad(fmt.Sprintf("compression factor %v", r.CompressionFactor), "no bed was asked to be compressed so", "give settled over packed height, for example 1.12")
	}
	if len(r.Curve.Points) > 0 {
		if err := r.Curve.Check(); err != nil {
			return err
		}
	}
	if r.SlurryPoured != 0 {
		if v := r.SlurryPoured.Height(r.Column.Area()); !(v > 0 && v < 10) {
			return bad(fmt.Sprintf("slurry poured %v", r.SlurryPoured), fmt.Sprintf("it would stand %v high", v), "was the unit forgotten? Write for example 27.5 * Litre")
		}
		if _, err := w.bySlurry(r.BedHeight); err != nil {
			return err
		}
	}
	for _, x := range []struct {
		what, example string
		v, most       float64
	}{
		{"steady height", "1 * Millimetre", float64(r.Steady.Height), 0.1},
		{"steady pressure", "2 * Percent", float64(r.Steady.Pressure), 1},
		{"time to be steady", "5 * Minute", float64(r.Steady.Over), 86400},
		{"velocity tolerance", "5 * Percent", float64(r.Tolerances.Velocity), 1},
		{"pressure tolerance", "20 * Percent", float64(r.Tolerances.Pressure), 1},
		{"height tolerance", "5 * Percent", float64(r.Tolerances.Height), 1},
		{"target tolerance", "2 * Millimetre", float64(r.Tolerances.Mark), 0.1},
		{"compression factor tolerance", "0.03", r.Tolerances.CompressionFactor, 1},
		{"volume tolerance", "10 * Percent", float64(r.Tolerances.Volume), 1},
		{"height error", "0.5 * Millimetre", float64(r.HeightStdErr), 0.1},
		{"shortest plateau", "20 * Second", float64(r.ShortestPlateau), 86400},
		{"flow tolerance", "5 * Percent", float64(r.FlowTolerance), 0.5},
	} {
		if !(x.v > 0 && x.v <= x.most) {
			return bad(fmt.Sprintf("%s %v", x.what, x.v), fmt.Sprintf("it must be above zero and at most %v in SI units", x.most), "was the unit forgotten? Write for example "+x.example)
		}
	}
	return nil
}
