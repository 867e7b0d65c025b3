package plan

import (
	"fmt"
	"math"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// An Option is a way on from a pack that missed its target. A number that is not
// known, or does not apply, is NaN.
type Option struct {
	What     string
	Velocity units.Velocity
	Flow     units.VolumeFlow
	Pressure units.Pressure // over the bed
	Travel   units.Length   // of the adapter, down from where it stands
	Force    units.Force    // of the adapter, without friction of its seal
	Height   units.Length   // of the bed then
	Factor   float64        // compression factor then
	Against  string         // why curve or limits do not allow it, or why it cannot help; empty: they allow it
	Open     string         // what of it could not be checked; empty: nothing
}

func (w *reviewer) option(what string) Option {
	o := Option{What: what}
	unknown(&o)
	return o
}

// missed tells what the flow never reached from what stopping and lowering lost.
func (w *reviewer) missed() {
	f, r := w.f, w.r
	last := f.step(Compression)
	if last == nil || r.StepsBy == StepsByAdapter || math.IsNaN(float64(last.Height)) {
		return
	}
	f.NotReached = last.Height - r.BedHeight
	f.Lost = f.BedHeight - last.Height
	tol := r.Tolerances.Mark
	if !(f.BedHeight-r.BedHeight > tol) {
		return
	}
	at := fmt.Sprintf("under %.4g cm/h the bed stood at %.2f cm", last.Velocity.In(units.CentimetrePerHour), last.Height.In(units.Centimetre))
	switch {
	case f.NotReached > tol && f.Lost > tol:
		w.reason("%s, %.1f mm too high: the flow never reached the target; another %.1f mm were lost in stopping and lowering", at, f.NotReached.In(units.Millimetre), f.Lost.In(units.Millimetre))
	case f.NotReached > tol:
		w.reason("%s, %.1f mm too high: the flow never reached the target", at, f.NotReached.In(units.Millimetre))
	default:
		w.reason("%s, and at %.2f cm in the end: %.1f mm were lost in stopping and lowering, not missed by the flow", at, f.BedHeight.In(units.Centimetre), f.Lost.In(units.Millimetre))
	}
}

// options lists the ways on, each held against curve and limits.
func (w *reviewer) options() {
	f, r := w.f, w.r
	last := f.step(Compression)
	tol := r.Tolerances.Mark
	high := f.BedHeight - r.BedHeight
	need := r.CompressionFactor
	if f.SettledHeight > 0 {
		need = f.SettledHeight.In(r.BedHeight)
	}
	byFlow := r.StepsBy != StepsByAdapter
	unsteady := last.Steadiness.HeightIs == Outside || last.Steadiness.PressureIs == Outside || last.Steadiness.FlowIs == Outside
	if byFlow && (high > tol || unsteady) {
		w.sameFlow(last, unsteady)
	}
	if byFlow && high > tol && f.NotReached > tol {
		w.moreFlow(last, need)
	}
	if byFlow && high > tol && f.NotReached <= tol && !math.IsNaN(float64(last.Height)) {
		w.holdBed(last)
	}
	switch {
	case high > tol:
		w.adapterFurther("flow off, outlet open, the adapter on to its target position", r.BedHeight, need)
	case f.Gap > tol:
		o := w.option("flow off, path for the displaced liquid open, adapter down onto the bed")
		o.Travel, o.Height, o.Factor = f.Gap, f.BedHeight, f.CompressionFactor
		f.Options = append(f.Options, o)
	}
}

// sameFlow is the same step again: of use only where it was not steady, or where
// the lowering lost what it had reached.
func (w *reviewer) sameFlow(last *Step, unsteady bool) {
	f, tol := w.f, w.r.Tolerances.Mark
	o := w.option("the same flow again, until it is steady")
	o.Velocity, o.Flow, o.Pressure = last.Velocity, last.Flow, last.Pressure
	switch {
	case unsteady:
		o.Open = "how far the bed falls when it is steady"
	case f.NotReached > tol && last.Steadiness.HeightIs == Within:
		o.Against = "the step was steady: the same step cannot help"
	case f.NotReached > tol:
		o.Open = "whether the step was steady; if it was, the same step cannot help"
	case f.NotReached <= tol:
		o.Against = "the flow had reached the target: what lost it was stopping and lowering, and the same again loses it again"
	default:
		o.Open = "what the flow had reached (no height under it)"
	}
	w.offer(o)
}

// offer adds an option, with the limits that stand against it.
func (w *reviewer) offer(o Option) {
	if o.Against == "" {
		o.Against = w.against(o.Velocity, o.Pressure, o.Force)
	}
	w.f.Options = append(w.f.Options, o)
}

// moreFlow is a higher flow, read off the curve. If the bed found is less
// compressed than the curve says at the flow that was run, that part is carried over.
func (w *reviewer) moreFlow(last *Step, need float64) {
	f, r := w.f, w.r
	o := w.option("a higher flow until it is steady, then the adapter")
	o.Height, o.Factor, o.Travel = r.BedHeight, need, f.BedHeight-r.BedHeight
	curve := w.curve()
	switch {
	case len(curve.Points) == 0:
		o.Open = "flow and pressure (no curve)"
		w.f.Options = append(w.f.Options, o)
		return
	case !(f.SettledHeight > 0):
		o.Open = "flow and pressure (no settled height)"
		w.f.Options = append(w.f.Options, o)
		return
	}
	ask := need
	if at, err := curve.At(last.Velocity); err == nil {
		found := f.SettledHeight.In(last.Height)
		if by := at.CompressionFactor / found; by > 1.005 {
			ask *= by
			o.Open = fmt.Sprintf("why the bed is compressed %.1f %% less than its curve says at the flow that was run; that part is carried over", 100*(by-1))
		}
	}
	u, err := curve.VelocityFor(ask)
	if err != nil {
		end := curve.Last()
		o.Against = fmt.Sprintf("the curve ends at %s cm/h with a factor of %s, and a factor of %.3f is needed: it is not extrapolated", number.AtMost(end.Velocity.In(units.CentimetrePerHour), 4), number.AtMost(end.CompressionFactor, 4), ask)
		w.f.Options = append(w.f.Options, o)
		return
	}
	at, err := curve.At(u)
	if err != nil {
		o.Against = err.Error()
		w.f.Options = append(w.f.Options, o)
		return
	}
	o.Velocity, o.Flow, o.Pressure = u, r.Column.Flow(u), at.Pressure
	if len(curve.StdErr) > 0 {
		if upper, err := curve.Upper(u); err == nil && known(upper) {
			o.Pressure = upper // held against limits with its error
		}
	}
	if u <= last.Velocity.Times(1.02) {
		o.Against = "the curve has the factor at the flow that was run, and the bed did not reach it there: the same step cannot help"
	} else if c := w.r.Plan.Reach.Critical; w.planned && u >= c {
		o.Against = fmt.Sprintf("it is not below the critical velocity by the law, %v", c)
	}
	w.offer(o)
}

// holdBed is the same flow, with the outlet open while the adapter goes down, so
// that the displaced liquid holds what the flow reached.
func (w *reviewer) holdBed(last *Step) {
	f, r := w.f, w.r
	o := w.option("the same flow, then the adapter down with the outlet open, at the velocity of the flow or a little less")
	o.Velocity, o.Flow, o.Pressure, o.Height = last.Velocity, last.Flow, last.Pressure, max(last.Height, r.BedHeight)
	o.Force = last.Pressure.On(r.Column.Area())
	o.Travel = f.BedHeight - o.Height
	if f.SettledHeight > 0 {
		o.Factor = f.SettledHeight.In(o.Height)
	}
	if w.planned && r.Plan.Request.Catch == OutletOpen {
		o.Open = "whether the outlet was open and the adapter as fast as planned: the plan already had it so"
	}
	w.offer(o)
}

// adapterFurther is the adapter alone, down to a height.
func (w *reviewer) adapterFurther(what string, to units.Length, need float64) {
	f, r := w.f, w.r
	o := w.option(what)
	o.Travel, o.Height, o.Factor = f.BedHeight-to, to, need
	if f.Gap > 0 {
		o.Travel += f.Gap
	}
	if w.r.Plan.Request.Law == nil || !w.planned || !(f.SettledHeight > 0) {
		o.Open = "its force (no law of the bed, or no settled height): raise it slowly"
		if m := r.Medium.MaxBedPressure; m > 0 {
			o.Open += fmt.Sprintf(", and stop at %s, where the medium's limit is met", force(m.On(r.Column.Area())))
		}
		w.f.Options = append(w.f.Options, o)
		return
	}
	b := (&work{c: r.Plan.Request, p: &r.Plan}).model()
	b.SettledHeight = f.SettledHeight
	load, err := b.LoadFor(need, 0)
	if err != nil {
		o.Against = err.Error()
		w.f.Options = append(w.f.Options, o)
		return
	}
	o.Pressure, o.Force = load, load.On(r.Column.Area())
	w.offer(o)
}

// against says which limit stands against a flow, a pressure over the bed and a
// force of the adapter; nothing if none does.
func (w *reviewer) against(u units.Velocity, over units.Pressure, drive units.Force) string {
	r := w.r
	add := units.Pressure(0)
	if w.planned && known(u) {
		if q := (&work{c: r.Plan.Request, p: &r.Plan}); q.hasHardware() {
			add = q.testHardware(u)
		}
	}
	for _, l := range []struct {
		name  string
		limit units.Pressure
		p     units.Pressure
	}{
		{bedLimit + mediumName(r.Medium), r.Medium.MaxBedPressure, over}, {columnLimit, r.Column.MaxPressure, over + add}, {tubeLimit, r.Limits.TubePressure, over + add},
		{"system", r.Limits.SystemPressure, over + add}, {"relief device", r.Limits.ReliefPressure, over + add}, {"pump", r.Limits.PumpPressure, over + add},
		{"end plate", units.Pressure(float64(r.Limits.EndPlateForce) / float64(r.Column.Area())), over + add},
	} {
		if l.limit > 0 && l.p > l.limit {
			return fmt.Sprintf("%s bar pass the limit of the %s, %s bar", bar(l.p), l.name, bar(l.limit))
		}
	}
	for _, l := range []struct {
		name  string
		limit units.Velocity
	}{{"velocity of " + mediumName(r.Medium), r.Medium.MaxVelocity}, {"flow of the pump", r.Column.Velocity(r.Limits.PumpFlow)}} {
		if l.limit > 0 && u > l.limit {
			return fmt.Sprintf("%.4g cm/h pass the limit for the %s, %.4g cm/h", u.In(units.CentimetrePerHour), l.name, l.limit.In(units.CentimetrePerHour))
		}
	}
	if f := r.Limits.AdapterForce; f > 0 && drive > f {
		return fmt.Sprintf("%s pass the limit of the drive, %s", force(drive), force(f))
	}
	return ""
}

// allowed tells whether any option is left.
func (w *reviewer) allowed() bool {
	for _, o := range w.f.Options {
		if o.Against == "" {
			return true
		}
	}
	return false
}

// optionTable shows the ways on, with what stands against them.
func (f Findings) optionTable() table.Table {
	t := table.Table{Caption: "Ways on, held against curve and limits", RowHeaders: true, Columns: []table.Column{
		{Name: "way"}, {Name: "velocity", Unit: "cm/h", Right: true}, {Name: "flow", Unit: f.flowUnit(), Right: true}, {Name: "pressure over the bed", Unit: "bar", Right: true},
		{Name: "adapter down by", Unit: "mm", Right: true}, {Name: "force", Unit: "kN", Right: true}, {Name: "bed then", Unit: "cm", Right: true}, {Name: "CF then", Right: true}, {Name: "possible?"}}}
	for _, o := range f.Options {
		answer := "yes"
		switch {
		case o.Against != "":
			answer = "no: " + o.Against
		case o.Open != "":
			answer = "yes; not checked: " + o.Open
		}
		flow, newtons := "", ""
		if known(o.Flow) {
			flow = f.flow(o.Flow)
		}
		if known(o.Force) {
			newtons = number.Significant(o.Force.In(units.Kilonewton), 3)
		}
		t.Add(o.What, number.Cell(number.Fixed(o.Velocity.In(units.CentimetrePerHour), 0)), flow, number.Cell(number.Fixed(o.Pressure.In(units.Bar), 2)), number.Cell(number.Fixed(o.Travel.In(units.Millimetre), 1)),
			newtons, number.Cell(number.Fixed(o.Height.In(units.Centimetre), 2)), number.Cell(number.Fixed(o.Factor, 3)), answer)
	}
	return t
}

// String says what to do, with its numbers.
func (o Option) String() string {
	s := []string{o.What}
	add := func(is bool, format string, a ...any) {
		if is {
			s = append(s, fmt.Sprintf(format, a...))
		}
	}
	add(known(o.Velocity), "%v", o.Velocity)
	add(known(o.Pressure), "%s bar over the bed", bar(o.Pressure))
	add(known(o.Travel), "adapter down by %.1f mm", o.Travel.In(units.Millimetre))
	add(known(o.Force), "force %s", forceWords(o.Force))
	add(known(o.Height), "bed at %s", inCentimetres(o.Height))
	add(o.Open != "", "not checked: %s", o.Open)
	add(o.Against != "", "not possible: %s", o.Against)
	return strings.Join(s, "; ")
}
