package plan

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"sort"
	"strings"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/efficiency"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/liquid"
	"github.com/evenbed/evenbed/packing/units"
)

// The methods in words.
const (
	constantFlow     = "constant flow"
	flowThenAdapter  = "flow, then adapter"
	constantPressure = "constant pressure"
	axialCompression = "axial compression"
	suctionFill      = "suction fill"
	packInPlace      = "nozzle, in place"
)

// Common practice, no source.
const (
	usualFirstVelocity = 20 * units.CentimetrePerHour
	usualTestVelocity  = 30 * units.CentimetrePerHour
	mostTestSample     = 0.20 // of the column volume
	usualAdapterSpeed  = 30 * units.CentimetrePerHour
	usualSample        = 1 * units.Percent
	usualDragMargin    = 1.2
	usualPart          = 0.7 // of the lowest pressure limit
	clearLayer         = 1 * units.Centimetre
	aboveBed           = 2 * units.Millimetre // where the adapter waits
	largeDiameter      = 30 * units.Centimetre
	usualRaiseSteps    = 4
	usualTarget        = 2 * units.Millimetre
	condition          = 3 // column volumes before the test
	testVolumes        = 2 // column volumes for the test
)

const sameBed = 0.01 // relative difference at which a measured bed still counts as this one

var nan = math.NaN()

// usualTemperature is taken when none is given.
func usualTemperature() units.Temperature { return units.Celsius(20) }

// known tells whether a number is one.
func known[T ~float64](x T) bool { return !math.IsNaN(float64(x)) }

// request puts the fields of a method into a Request, by name.
func request(method string, asked any) Request {
	r := Request{Method: method}
	to, from := reflect.ValueOf(&r).Elem(), reflect.ValueOf(asked)
	for i := range from.NumField() {
		to.FieldByName(from.Type().Field(i).Name).Set(from.Field(i))
	}
	return r
}

// plan works the procedure out; compute and stages are the method's own.
func (r Request) plan(compute, stages func(*work)) (Procedure, error) {
	p := Procedure{Request: r, Viscosity: units.Viscosity(nan)}
	for _, part := range []any{&p.Bed, &p.Pour, &p.First, &p.Second, &p.Third, &p.Adapter, &p.Reach, &p.Reach.Curve, &p.EmptyColumn, &p.Test} {
		unknown(part)
	}
	w := &work{c: r, p: &p}
	w.takeDefaults()
	w.checkInputs()
	if len(w.reasons) == 0 {
		w.liquid()
	}
	if len(w.reasons) == 0 {
		w.geometry()
		w.pour()
		w.readCurve()
		compute(w)
		w.test()
		w.gauge()
		w.limits()
		w.duties()
		w.forces()
		w.large()
		w.checklist()
		stages(w)
		w.cautions()
	}
	w.productFirst()
	p.Request = w.c
	if len(w.reasons) > 0 {
		p.Refusal = &Refusal{w.reasons}
		p.Test.Refusal = p.Refusal
	}
	return p, p.Refusal
}

// unknown sets the numbers of a struct to NaN.
func unknown(part any) {
	v := reflect.ValueOf(part).Elem()
	for i := range v.NumField() {
		if f := v.Field(i); f.Kind() == reflect.Float64 {
			f.SetFloat(nan)
		}
	}
}

// work is a procedure in the making: c has its defaults filled in.
type work struct {
	c       Request
	p       *Procedure
	reasons []error
	curve   bed.Curve // in the packing liquid; without points: none
	uses    []use
}

// A use is a flow of the procedure, with the pressure over the bed.
type use struct {
	velocity units.Velocity
	pressure units.Pressure // NaN: not known
	upper    units.Pressure // upper end of its 95 % interval; pressure itself if the curve has no errors
	adapter  bool           // driven by the adapter, not by the pump
}

func (w *work) refuse(what, problem, remedy string) {
	w.reasons = append(w.reasons, &packing.InputError{Where: w.c.Column.Tag, What: what, Problem: problem, Remedy: remedy})
}

// refuseError adds a reason, if there is one; a reason that does not say where it
// belongs is about the column.
func (w *work) refuseError(err error) {
	if in, ok := err.(*packing.InputError); ok && in.Where == "" {
		w.refuse(in.What, in.Problem, in.Remedy)
	} else if err != nil {
		w.reasons = append(w.reasons, err)
	}
}

func (w *work) taken(format string, a ...any) {
	w.p.Taken = append(w.p.Taken, fmt.Sprintf(format, a...))
}

func (w *work) notChecked(format string, a ...any) {
	w.p.NotChecked = append(w.p.NotChecked, fmt.Sprintf(format, a...))
}

func (w *work) caution(format string, a ...any) {
	w.p.Cautions = append(w.p.Cautions, fmt.Sprintf(format, a...))
}

func (w *work) cannot(format string, a ...any) {
	w.p.Unknown = append(w.p.Unknown, fmt.Sprintf(format, a...))
}

// byFlow tells whether the bed is compressed by two steps of flow.
func (w *work) byFlow() bool {
	return w.c.Method == constantFlow || w.c.Method == suctionFill && w.c.Then == ByFlow
}

// byAdapter tells whether the adapter compresses a bed that has settled.
func (w *work) byAdapter() bool {
	return w.c.Method == axialCompression || w.c.Method == suctionFill && w.c.Then == ByAdapter
}

// flows tells whether liquid is pumped through the bed before the test.
func (w *work) flows() bool { return !w.byAdapter() || w.c.FirstVelocity > 0 }

func (w *work) takeDefaults() {
	c := &w.c
	if c.FirstVelocity == 0 && (w.byFlow() || c.Method == flowThenAdapter) {
		c.FirstVelocity = usualFirstVelocity
		w.taken("first velocity %v (common practice, no source)", c.FirstVelocity)
	}
	if c.AdapterSpeed == 0 && (w.byAdapter() || c.Method == flowThenAdapter) {
		c.AdapterSpeed = usualAdapterSpeed
		w.taken("adapter speed %s (common practice, no source)", speed(c.AdapterSpeed))
	}
	if c.RaiseSteps == 0 && c.Ramp == 0 && (w.byFlow() || c.Method == flowThenAdapter) {
		c.RaiseSteps = usualRaiseSteps
		w.taken("packing velocity raised in %d steps (common practice, no source)", c.RaiseSteps)
	}
	if c.TargetTolerance == 0 && c.Method != packInPlace {
		c.TargetTolerance = usualTarget
		w.taken("target position of the adapter and gap under it within %v (common practice, no source)", c.TargetTolerance)
	}
	if c.Site.HeightPoints == 0 {
		c.Site.HeightPoints = 1
		if c.Column.InnerDiameter >= largeDiameter {
			c.Site.HeightPoints = 4
		}
	}
	if c.Temperature == 0 {
		c.Temperature = usualTemperature()
		w.taken("temperature %v", c.Temperature)
	}
	if c.Liquid == "" && c.Viscosity == 0 {
		c.Liquid = "water"
		w.taken("packing liquid water")
	}
	if c.Liquid == "" {
		c.Liquid = "packing liquid"
	}
	if c.Medium.SettlingExponent == 0 {
		c.Medium.SettlingExponent = c.Medium.Exponent()
		w.taken("settling exponent %v (Richardson and Zaki, small beads)", c.Medium.SettlingExponent)
	}
	if c.DragMargin == 0 {
		c.DragMargin = usualDragMargin
		w.taken("drag of packing at least %v times that of a process step (common practice, no source)", c.DragMargin)
	}
	if c.Test.Velocity == 0 {
		c.Test.Velocity = usualTestVelocity
		w.taken("test velocity %v (common practice, no source)", c.Test.Velocity)
	}
	if c.Test.SampleVolume == 0 {
		c.Test.SampleVolume = c.Column.Volume(c.BedHeight).Times(float64(usualSample))
		w.taken("test sample %v of the column volume (common practice, no source)", usualSample)
	}
	if c.Test.Temperature == 0 {
		c.Test.Temperature = c.Temperature
	}
	w.dutyDefaults()
}

// dutyDefaults fills in liquids and temperatures of the process steps. Each is
// checked at the coldest temperature of the site.
func (w *work) dutyDefaults() {
	c := &w.c
	coldest := c.Site.Coldest
	c.Duties = append([]Duty(nil), c.Duties...)
	for i := range c.Duties {
		d := &c.Duties[i]
		if d.Name == "" {
			d.Name = fmt.Sprintf("process step %d", i+1)
		}
		if d.Liquid == "" && (d.Mixture != liquid.Water() || d.Viscosity == 0) {
			d.Liquid = d.Mixture.Name()
		}
		switch {
		case d.Temperature == 0 && coldest != 0:
			d.Temperature = coldest
		case d.Temperature == 0:
			d.Temperature = c.Temperature
		case coldest == 0 || d.Temperature <= coldest:
		case d.Viscosity != 0:
			w.notChecked("process step %s at %v, the coldest of the site (its viscosity was given at %v)", d.Name, coldest, d.Temperature)
		default:
			w.taken("process step %s at %v, the coldest of the site, in place of %v", d.Name, coldest, d.Temperature)
			d.Temperature = coldest
		}
	}
}

// hasCurve tells whether the user gave a curve, good or bad.
func (w *work) hasCurve() bool { return !reflect.ValueOf(w.c.Curve).IsZero() }

func (w *work) hasHardware() bool { return !reflect.ValueOf(w.c.Hardware).IsZero() }

func (w *work) checkInputs() {
	c := w.c
	for _, err := range []error{c.Column.Check(), c.Medium.Check(), c.Slurry.Check(), packing.CheckBedHeight(c.BedHeight),
		packing.CheckTemperature("temperature", c.Temperature),
		packing.CheckVelocity("test velocity", c.Test.Velocity), c.Limits.Check(), checkViscosity("viscosity", c.Viscosity)} {
		w.refuseError(err)
	}
	if c.Medium.Check() == nil {
		w.refuseError(c.Medium.CheckCompressionFactor(c.CompressionFactor))
	}
	if c.Site.Coldest != 0 {
		w.refuseError(packing.CheckTemperature("coldest temperature of the site", c.Site.Coldest))
	}
	for _, u := range []struct {
		name string
		u    units.Velocity
	}{{"first velocity", c.FirstVelocity}, {"packing velocity", c.PackingVelocity}, {"third velocity", c.ThirdVelocity},
		{"adapter speed", c.AdapterSpeed}, {"speed of drawing", c.DrawSpeed}} {
		if u.u != 0 {
			w.refuseError(packing.CheckVelocity(u.name, u.u))
		}
	}
	w.refuseError(packing.CheckPressure("packing pressure", c.PackingPressure))
	if w.hasCurve() {
		w.refuseError(c.Curve.Check())
	}
	if w.hasHardware() {
		w.refuseError(c.Hardware.Check())
		w.refuseError(checkViscosity("viscosity of the empty column's readings", c.Hardware.Viscosity))
	}
	w.checkLaw()
	if c.Catch != OutletShut && c.Catch != OutletOpen {
		w.refuse(fmt.Sprintf("catch %d", int(c.Catch)), "there is no such catch", "write plan.OutletShut or plan.OutletOpen")
	}
	if c.Then != ByAdapter && c.Then != ByFlow {
		w.refuse(fmt.Sprintf("then %d", int(c.Then)), "there is no such way", "write plan.ByAdapter or plan.ByFlow")
	}
	if c.Then == ByAdapter && (c.PackingVelocity != 0 || c.Catch != OutletShut || c.RaiseSteps != 0 || c.Ramp != 0) && c.Method == suctionFill {
		w.refuse("then "+c.Then.String(), "a packing velocity, its steps and Catch belong to packing by flow", "write Then: plan.ByFlow, or leave them out")
	}
	w.checkProcedure()
	for _, x := range []struct {
		name    string
		v, high float64
		example string
	}{
		{"standard error of the slurry concentration", float64(c.SlurryStdErr), 0.5, "1.5 * Percent"},
		{"dead volume", float64(c.DeadVolume), 10, "2 * Litre"},
		{"rinse", float64(c.Rinse), 10, "2 * Litre"},
		{"fill flow", float64(c.FillFlow), 0.1, "300 * LitrePerHour"},
		{"transfer flow", float64(c.Site.TransferFlow), 0.1, "300 * LitrePerHour"},
		{"mass of the column", float64(c.Site.ColumnMass), 1e5, "80 * Kilogram"},
		{"hold-up", float64(c.Test.HoldUp), 1, "0.3 * Litre"},
		{"lift", float64(c.Lift), 20, "1 * Metre"},
		{"settled height found", float64(c.SettledFound), 5, "20.5 * Centimetre"},
		{"ramp", float64(c.Ramp), 86400, "10 * Minute"},
		{"tolerance of the target position", float64(c.TargetTolerance), 0.05, "2 * Millimetre"},
		{"pressure to act at, above the expected one", float64(c.Site.ActAbove), 1, "25 * Percent"},
		{"time of recovery", float64(c.Recovery.FastTime), 1e6, "20 * Second"},
		{"slow time of recovery", float64(c.Recovery.SlowTime), 1e6, "20 * Minute"},
		{"part that recovers", c.Recovery.Fast, 1, "0.6"},
		{"part that recovers slowly", c.Recovery.Slow, 1, "0.2"},
	} {
		if !(x.v >= 0 && x.v <= x.high) {
			w.refuse(fmt.Sprintf("%s %.4g", x.name, x.v), fmt.Sprintf("it is outside 0 to %v, in SI units", x.high), "was the unit forgotten? Write for example "+x.example)
		}
	}
	if r := c.Recovery; r != (Recovery{}) && (r.FastTime == 0 || r.Slow > 0 && r.SlowTime == 0 || r.Fast+r.Slow > 1) {
		w.refuse("recovery", "its parts need a time each, and come to at most 1", "write for example plan.Recovery{Fast: 0.6, FastTime: 20 * Second}")
	}
	if !(c.DragMargin >= 1) || math.IsInf(c.DragMargin, 0) {
		w.refuse(fmt.Sprintf("drag margin %v", c.DragMargin), "packing must drag at least as much as every process step", "write for example 1.2")
	}
	if cv := c.Column.Volume(c.BedHeight); c.Column.Check() == nil && packing.CheckBedHeight(c.BedHeight) == nil &&
		!(c.Test.SampleVolume > 0 && c.Test.SampleVolume.In(cv) <= mostTestSample*(1+1e-9)) {
		w.refuse(fmt.Sprintf("test sample %v", c.Test.SampleVolume), fmt.Sprintf("it is outside 0 to 20 %% of the column volume, %v", cv),
			fmt.Sprintf("write for example %.3g * Litre, which is 1 %%", cv.Times(0.01).In(units.Litre)))
	}
	if !(math.Abs(float64(c.RulerZero)) <= 5) {
		w.refuse(fmt.Sprintf("ruler zero %v", c.RulerZero), "no ruler at a column reads that", "was the unit forgotten? Write for example 12 * Millimetre")
	}
	for _, d := range c.Duties {
		w.refuseError(inDuty(d, packing.CheckVelocity("velocity", d.Velocity)))
		w.refuseError(inDuty(d, packing.CheckTemperature("temperature", d.Temperature)))
		w.refuseError(inDuty(d, checkViscosity("viscosity", d.Viscosity)))
		switch mixed := d.Mixture != liquid.Water(); {
		case d.Viscosity == 0 && !mixed && (d.Liquid != "water" || d.Product):
			w.refuseError(inDuty(d, &packing.InputError{What: d.Liquid, Problem: "its viscosity was not given",
				Remedy: fmt.Sprintf("give the viscosity at %v, or a Mixture", d.Temperature)}))
		case d.Viscosity != 0 && mixed:
			w.refuseError(inDuty(d, &packing.InputError{What: d.Liquid, Problem: fmt.Sprintf("a viscosity and a mixture, %s, were given", d.Mixture.Name()),
				Remedy: "leave one of them out"}))
		case mixed:
			_, err := d.Mixture.Viscosity(d.Temperature)
			w.refuseError(inDuty(d, asInput(d.Liquid, err)))
		}
	}
	if c.Viscosity == 0 && c.Liquid != "water" {
		w.refuse("packing liquid "+c.Liquid, "its viscosity was not given", fmt.Sprintf("give the viscosity at %v", c.Temperature))
	}
}

// checkProcedure refuses ways of packing that contradict each other.
func (w *work) checkProcedure() {
	c := w.c
	if c.FirstBy < SealedAdapter || c.FirstBy > DrawnFromOutlet {
		w.refuse(fmt.Sprintf("first by %d", int(c.FirstBy)), "there is no such way", "write plan.SealedAdapter, plan.OpenTop or plan.DrawnFromOutlet")
	}
	if c.FirstBy != SealedAdapter && c.FirstVelocity == 0 {
		w.refuse("first by "+c.FirstBy.String(), "there is no flow in step 1", "give a first velocity, or leave FirstBy out: the bed then settles by gravity under the open top")
	}
	if n := c.RaiseSteps; n != 0 && (n < 2 || n > 20) {
		w.refuse(fmt.Sprintf("%d steps up to the packing velocity", n), "a jump crusts the outlet of a soft bed, and nobody writes down more than 20", "3 to 5 are usual: write for example RaiseSteps: 4")
	}
	if c.RaiseSteps != 0 && c.Ramp != 0 {
		w.refuse("packing velocity", "it is to be raised in steps and in a ramp", "give RaiseSteps or Ramp, not both")
	}
	if n := c.Site.HeightPoints; n != 1 && n != 3 && n != 4 {
		w.refuse(fmt.Sprintf("height read at %d points", n), "sheets have room for 1, 3 or 4", "write for example HeightPoints: 4")
	}
}

// checkLaw refuses a law with parameters that no bed has, and one for beads that
// do not give way.
func (w *work) checkLaw() {
	c := w.c
	if c.Law == nil {
		if c.WallFriction != 0 {
			w.refuse(fmt.Sprintf("wall friction %v", c.WallFriction), "it belongs to a law, and none was given", "give the law too, or leave the friction out")
		}
		return
	}
	w.refuseError(c.Law.Check())
	if !(c.WallFriction >= 0 && c.WallFriction <= 2) {
		w.refuse(fmt.Sprintf("wall friction %v", c.WallFriction), "it must be between 0 and 2", "0.03 to 0.3 is usual")
	}
	if c.Medium.Class == packing.Mineral {
		w.refuse("law "+c.Law.String(), "the beads of "+c.Medium.Class.String()+" do not give way: laws of stress do not apply", "leave the law out and give a measured curve")
	}
}

// asInput makes an error about a liquid one about an input; nil stays nil.
func asInput(what string, err error) error {
	if err == nil {
		return nil
	}
	return &packing.InputError{What: what, Problem: err.Error(), Remedy: "give its viscosity"}
}

// inDuty puts the name of the process step into an error about it.
func inDuty(d Duty, err error) error {
	var in *packing.InputError
	if errors.As(err, &in) {
		e := *in
		e.Where = "process step " + d.Name
		return &e
	}
	return err
}

// checkViscosity refuses a viscosity no column sees; zero, not given, passes.
func checkViscosity(name string, mu units.Viscosity) error {
	if mu != 0 && !(mu >= 0.1*units.MillipascalSecond && mu <= 1000*units.MillipascalSecond) {
		return &packing.InputError{What: fmt.Sprintf("%s %v", name, mu), Problem: "it is outside 0.1 to 1000 mPa·s",
			Remedy: "was the unit forgotten? Write for example 1.2 * MillipascalSecond"}
	}
	return nil
}

// liquid finds the viscosities.
func (w *work) liquid() {
	w.p.Viscosity = w.c.Viscosity
	if w.c.Viscosity == 0 {
		w.p.Viscosity = w.viscosity(liquid.Water(), w.c.Temperature)
	}
	for i := range w.c.Duties {
		d := &w.c.Duties[i]
		if d.Viscosity == 0 {
			d.Viscosity = w.viscosity(d.Mixture, d.Temperature)
		}
	}
}

func (w *work) viscosity(l liquid.Liquid, t units.Temperature) units.Viscosity {
	mu, err := l.Viscosity(t)
	w.refuseError(err)
	return mu
}

func (w *work) geometry() {
	c, b := w.c, &w.p.Bed
	b.Area = c.Column.Area()
	b.ColumnVolume = c.Column.Volume(c.BedHeight)
	b.SettledHeight = c.BedHeight.Times(c.CompressionFactor)
	b.SettledVolume = c.Column.Volume(b.SettledHeight)
	var err error
	b.PackedVoid, err = c.Medium.Void(c.CompressionFactor)
	w.refuseError(err)
	b.PressureRatio, err = c.Medium.PressureRatio(c.CompressionFactor)
	w.refuseError(err)
}

// inColumn is the slurry as it stands in the column, with the rinse mixed in:
// the longer of the ways in which the rinse may count.
func (w *work) inColumn() packing.Slurry {
	if w.c.Rinse == 0 {
		return w.c.Slurry
	}
	return packing.Slurry{Concentration: units.Fraction(w.p.Bed.SettledHeight.In(w.p.Pour.SlurryHeight))}
}

// suspension is the stirred slurry under a downflow, with the density excess
// taken by a factor.
func (w *work) suspension(s packing.Slurry, downflow units.Velocity, factor float64) bed.Suspension {
	m := w.c.Medium
	m.DensityExcess = m.DensityExcess.Times(factor)
	out := bed.Suspend(m, s, w.p.Viscosity)
	out.Downflow = downflow
	return out
}

func (w *work) pour() {
	c, p := w.c, &w.p.Pour
	ask := packing.Pour{Column: c.Column, Slurry: c.Slurry, BedHeight: c.BedHeight, CompressionFactor: c.CompressionFactor, DeadVolume: c.DeadVolume, Rinse: c.Rinse}
	if c.Method == packInPlace {
		ask.Column.TubeHeight = 0 // slurry never stands in the tube
	}
	r, err := ask.Evaluate()
	w.refuseError(err)
	p.SlurryVolume = c.Slurry.Volume(w.p.Bed.SettledVolume)
	p.Prepared = p.SlurryVolume + c.DeadVolume
	p.SlurryHeight = c.Slurry.Height(w.p.Bed.SettledHeight)
	if c.Rinse > 0 && err == nil {
		p.SlurryHeight = r.Height
	}
	s := w.suspension(c.Slurry, 0, 1)
	p.Terminal, p.Hindered = s.Terminal, s.Hindered()
	p.ClearLayer = clearLayer.Passed(p.Hindered)
	switch {
	case c.Method == packInPlace:
	case c.Column.TubeHeight > 0:
		p.Usable = c.Column.Usable()
	default:
		w.notChecked("whether the slurry fits the tube (no tube height)")
	}
}

// model is the bed after the user's law, in the packing liquid. There must be a
// law.
func (w *work) model() bed.Compressible {
	m := w.c.Medium
	return bed.Compressible{Label: mediumName(m), Law: w.c.Law, MeanBead: m.MeanBead, SettledVoid: m.SettledVoid,
		SettledHeight: w.p.Bed.SettledHeight, Viscosity: w.p.Viscosity, InnerDiameter: w.c.Column.InnerDiameter, WallFriction: w.c.WallFriction}
}

// readCurve carries the curve over to the packing liquid. It refuses one that
// was measured on another bed. Without a curve that of the law is taken.
func (w *work) readCurve() {
	c := w.c
	if c.Law != nil {
		b := w.model()
		critical, err := b.CriticalVelocity()
		if err == nil {
			w.p.Reach.Critical = critical
			w.p.Reach.Ceiling, err = b.Ceiling()
		}
		var none *packing.InputError
		if err != nil && !errors.As(err, &none) { // a law without a critical velocity is one too
			w.refuseError(err)
		}
	}
	if !w.hasCurve() {
		if c.Law == nil {
			if w.flows() {
				w.notChecked("compression and pressure under flow (no measured curve)")
			}
			return
		}
		if !w.flows() {
			return
		}
		w.curve = w.lawCurve()
		w.taken("the curve of the law given (%v), which is as good as its fit", c.Law)
		w.endOfCurve()
		return
	}
	for _, x := range []struct {
		what           string
		measured, here units.Length
	}{
		{"settled height", c.Curve.SettledHeight, w.p.Bed.SettledHeight},
		{"inner diameter", c.Curve.InnerDiameter, c.Column.InnerDiameter},
	} {
		switch {
		case x.measured == 0:
			w.notChecked("whether the curve was measured at this %s, %.4g cm (not given with the curve)", x.what, x.here.In(units.Centimetre))
		case math.Abs(x.measured.In(x.here)-1) > sameBed:
			w.refuse(curveName(c.Curve), fmt.Sprintf("it was measured at %s %.4g cm, here it is %.4g cm", x.what, x.measured.In(units.Centimetre), x.here.In(units.Centimetre)),
				"measure a curve at this size, or predict one from curves of other sizes (bed.Estimation, bed.Prediction); one of another size does not hold here as it is")
		}
	}
	w.curve = c.Curve
	if c.Curve.Viscosity == 0 {
		w.taken("the curve as measured in the packing liquid at the packing temperature (no viscosity given with it)")
	} else {
		curve, err := c.Curve.WithViscosity(w.p.Viscosity)
		w.refuseError(err)
		w.curve = curve
	}
	w.endOfCurve()
}

func (w *work) endOfCurve() {
	if len(w.curve.Points) > 0 {
		w.p.Reach.Curve = w.curve.Last()
	}
}

// lawCurve is the curve that the law predicts, up to near the critical velocity.
func (w *work) lawCurve() bed.Curve {
	top := 0.95 * w.p.Reach.Critical
	if !known(top) || top > 20000*units.CentimetrePerHour {
		top = 20000 * units.CentimetrePerHour
	}
	const n = 60
	var u []units.Velocity
	for i := range n {
		u = append(u, top.Times(float64(i+1)/n))
	}
	curve, err := w.model().Curve(u)
	w.refuseError(err)
	return curve
}

func curveName(c bed.Curve) string { return strings.TrimSpace("curve " + c.Label) }

// at reads the curve; without one all is NaN.
func (w *work) at(u units.Velocity) bed.Point {
	none := bed.Point{Velocity: u, CompressionFactor: nan, Pressure: units.Pressure(nan)}
	if len(w.curve.Points) == 0 {
		return none
	}
	at, err := w.curve.At(u)
	if err != nil {
		w.refuseError(err)
		return none
	}
	return at
}

// hardware is the pressure of the empty column at a velocity, in proportion to
// the viscosity; zero if it was not given, as is stated once.
func (w *work) hardware(u units.Velocity) units.Pressure {
	if !w.hasHardware() {
		return 0
	}
	p, err := w.c.Hardware.At(u)
	if err != nil {
		w.refuseError(err)
		return units.Pressure(nan)
	}
	if mu := w.c.Hardware.Viscosity; mu > 0 {
		p = p.Times(w.p.Viscosity.In(mu))
	}
	return p
}

// use notes a flow of the pump, with its pressure on the curve, for the limits.
func (w *work) use(u units.Velocity, p units.Pressure) {
	x := use{velocity: u, pressure: p, upper: p}
	if len(w.curve.StdErr) > 0 && known(p) {
		upper, err := w.curve.Upper(u)
		w.refuseError(err)
		if known(upper) {
			x.upper = upper
		} else {
			w.notChecked("pressure limits with the error of the curve at %v (not known there), so without it", u)
		}
	}
	w.uses = append(w.uses, x)
}

// first forms the loose bed, by flow or, at velocity zero, by gravity.
func (w *work) first() {
	c, f := w.c, &w.p.First
	f.Velocity, f.Flow = c.FirstVelocity, c.Column.Flow(c.FirstVelocity)
	height := w.p.Pour.SlurryHeight
	f.Time = w.settle(f.Velocity, 1, height)
	f.TimeAtHalfDensity = w.settle(f.Velocity, 0.5, height)
	f.GravityTime = w.settle(0, 1, height)
	if f.Velocity > 0 {
		f.Bound = (height - w.p.Bed.SettledHeight).Passed(f.Velocity)
	}
	f.Volume = f.Flow.For(f.Time)
	f.ColumnVolumes = f.Volume.In(w.p.Bed.ColumnVolume)
	f.BedHeight = w.p.Bed.SettledHeight
	if f.Velocity == 0 {
		f.CompressionFactor, f.Pressure, f.Recovers = 1, 0, 0
	} else {
		at := w.at(f.Velocity)
		if known(at.CompressionFactor) {
			f.CompressionFactor, f.Pressure = at.CompressionFactor, at.Pressure
			f.BedHeight = w.p.Bed.SettledHeight.Times(1 / at.CompressionFactor)
			f.Recovers = w.p.Bed.SettledHeight - f.BedHeight
		}
		w.use(f.Velocity, f.Pressure)
		w.openFirst()
	}
	f.AdapterTravel = height - f.BedHeight
}

// openFirst refuses a flow of step 1 that the height of the liquid, or a pump at
// the outlet, cannot draw.
func (w *work) openFirst() {
	c, f := w.c, w.p.First
	if c.FirstBy == SealedAdapter || c.Method == suctionFill {
		return
	}
	gives := units.Pressure(1000 * 9.80665 * float64(w.p.Pour.SlurryHeight))
	what := "the height of the liquid"
	if c.FirstBy == DrawnFromOutlet {
		gives += mostVacuum
		what = fmt.Sprintf("the height of the liquid and %.1f bar below the air's pressure, beyond which liquid gives off gas (common practice),", mostVacuum.In(units.Bar))
	}
	need := f.Pressure + w.testHardware(f.Velocity)
	if !known(need) {
		w.notChecked("whether %s drives %v through the bed (no curve)", what, f.Velocity)
		return
	}
	if !w.hasHardware() {
		w.notChecked("what nets, valve and hose take of the %s bar that drive step 1 (empty column not given)", bar(gives))
	}
	if need > gives {
		w.refuse("first velocity "+f.Velocity.String(), fmt.Sprintf("%s takes %.3g bar, and %s gives %.3g bar", c.FirstBy, need.In(units.Bar), what, gives.In(units.Bar)),
			fmt.Sprintf("ask for %s cm/h or less, or seal the adapter on the liquid", number.AtMost(w.velocityFor(gives, true).In(units.CentimetrePerHour), 3)))
	}
}

// mostVacuum is how far below the air's pressure liquid may be drawn (common
// practice, no source).
const mostVacuum = 0.5 * units.Bar

// settle returns the time of the first step.
func (w *work) settle(downflow units.Velocity, densityFactor float64, height units.Length) units.Time {
	s := w.inColumn()
	if s.Concentration >= 1 {
		return 0 // it is a settled bed already
	}
	out, err := w.suspension(s, downflow, densityFactor).Settle(height)
	if err != nil {
		w.refuseError(err)
		return units.Time(nan)
	}
	return out.Time
}

// setSecond fills the second step in at its velocity.
func (w *work) setSecond(u units.Velocity) {
	c, s := w.c, &w.p.Second
	s.Velocity, s.Flow, s.RiseBound = u, c.Column.Flow(u), u
	at := w.at(u)
	s.CompressionFactor, s.Pressure = at.CompressionFactor, at.Pressure
	s.BedHeight = w.p.Bed.SettledHeight.Times(1 / at.CompressionFactor)
	w.raise(u)
	w.use(u, s.Pressure)
	w.checkCritical("packing velocity", u)
	// A bed loaded by its own flow gives way at the velocity of the flow at
	// first, which sets the scale of the triangular series.
	if lost := w.p.Bed.SettledHeight - s.BedHeight; lost > 0 {
		s.Time = lost.Passed(u).Times(2 * triangular99)
	}
}

// triangular99 is the time factor at which a bed under its own flow has 99 % of
// its compression, see bed.Consolidation.
const triangular99 = 1.879190

// checkCritical refuses a velocity that is critical by the law.
func (w *work) checkCritical(what string, u units.Velocity) {
	if critical := w.p.Reach.Critical; u >= critical {
		w.refuse(fmt.Sprintf("%s %v", what, u), fmt.Sprintf("it is not below the critical velocity by the law given, %v: the pressure runs away there", critical), "stay well below, at 70 to 80 % of it")
	} else if u > critical.Times(0.8) {
		w.caution("The %s, %v, is %.0f %% of the critical velocity by the law given; practice stays at 70 to 80 %%.", what, u, 100*u.In(critical))
	}
}

// tooFar refuses a factor that flow does not reach, and says what it reaches.
func (w *work) tooFar(err error) {
	most := fmt.Sprintf("flow gives at most %s here, the adapter would have to give the rest, a factor of %.4g", number.AtMost(w.curve.Last().CompressionFactor, 4), w.c.CompressionFactor/w.curve.Last().CompressionFactor)
	if c := w.p.Reach.Ceiling; known(c) {
		most += fmt.Sprintf("; by the law given, flow gives at most %.4g, at the critical velocity", c)
	}
	w.refuse(fmt.Sprintf("compression factor %v", w.c.CompressionFactor), fmt.Sprintf("%v; %s", err, most),
		"ask for a lower factor, measure the curve further if every limit allows it, plan flow and then the adapter (plan.FlowThenAdapter), or give a packing velocity of your own and drive the adapter to its target position")
}

// adapter fills in the way of the adapter to the mark.
func (w *work) adapter(from units.Length, v units.Velocity) {
	a := &w.p.Adapter
	a.From, a.To, a.Speed = from, w.c.BedHeight, v
	a.Time = (from - a.To).Passed(v)
	a.Displaced = w.c.Column.Flow(v)
}

// adapterLoad finds the load that holds the bed at the mark at rest, from the law.
func (w *work) adapterLoad() {
	c, a := w.c, &w.p.Adapter
	if c.Law == nil {
		w.notChecked("load of the adapter: not determined (no law of the bed), so against the limits of bed and drive")
		return
	}
	b := w.model()
	load, err := b.LoadFor(c.CompressionFactor, 0)
	if err != nil {
		w.refuseError(err)
		return
	}
	b.Load = load
	s, err := b.At(0)
	if err != nil {
		w.refuseError(err)
		return
	}
	a.Load, a.Force = load, load.On(w.p.Bed.Area)
	a.TopVoid, a.BottomVoid = c.Law.Void(c.Medium.SettledVoid, load), s.BottomVoid
	limit := c.Limits.AdapterForce
	switch {
	case limit == 0:
		w.notChecked("force limit of the adapter's drive (not given)")
	default:
		a.Margin = 1 - a.Force.In(limit)
		if a.Force > limit {
			w.refuse(fmt.Sprintf("force of the adapter %v", a.Force), fmt.Sprintf("it passes the limit of its drive, %v", limit), "ask for a lower compression factor; a limit is not to be raised for a plan")
		}
	}
}

// strength is the velocity of the packing liquid that the packed bed stands
// without leaving the adapter: that of the second step; where the adapter
// compressed, that at which flow alone would give the same factor, or the critical
// one if flow never does. NaN if it is not known.
func (w *work) strength() units.Velocity {
	c, s := w.c, w.p.Second
	if w.byFlow() || c.Method == constantPressure {
		return s.Velocity
	}
	if c.Law != nil {
		u, err := w.model().VelocityFor(c.CompressionFactor)
		var ceiling *bed.CeilingError
		switch {
		case err == nil:
			return u
		case errors.As(err, &ceiling):
			return w.p.Reach.Critical
		}
	}
	if len(w.curve.Points) > 0 {
		if u, err := w.curve.VelocityFor(c.CompressionFactor); err == nil {
			return u
		}
	}
	return s.Velocity
}

// packedPressure is the pressure of a flow over the packed bed: by the law, held
// at its height by the adapter, else in proportion to drag from what the curve
// tells; NaN without either.
func (w *work) packedPressure(u units.Velocity, mu units.Viscosity) units.Pressure {
	c, s := w.c, w.p.Second
	if c.Law != nil && !w.byFlow() && c.Method != constantPressure {
		b := w.model()
		b.Viscosity = mu
		if load, err := b.LoadFor(c.CompressionFactor, u); err == nil {
			b.Load = load
		}
		if at, err := b.At(u); err == nil {
			return at.Pressure
		}
		return units.Pressure(nan)
	}
	at := bed.Point{Velocity: s.Velocity, Pressure: s.Pressure}
	if c.Method == packInPlace && len(w.curve.Points) > 0 {
		v, err := w.curve.VelocityFor(c.CompressionFactor)
		if err != nil {
			return units.Pressure(nan)
		}
		at = w.at(v)
	}
	return at.Pressure.Times(u.In(at.Velocity) * mu.In(w.p.Viscosity))
}

// A load is the highest pressure over the bed of all flows, and that with the
// hardware; NaN if one is not known.
type load struct{ overBed, total units.Pressure }

// highest returns the load by the curve itself, and at the upper end of its 95 %
// interval.
func (w *work) highest() (itself, upper load) {
	none := load{units.Pressure(nan), units.Pressure(nan)}
	if len(w.uses) == 0 {
		return none, none
	}
	for _, x := range w.uses {
		if !known(x.pressure) {
			return none, none
		}
		if h := w.hardware(x.velocity); w.hasHardware() && !x.adapter && !(x.velocity <= w.p.EmptyColumn.Velocity) {
			w.p.EmptyColumn = EmptyColumn{x.velocity, h}
		}
		h := w.hardware(x.velocity)
		itself = load{max(itself.overBed, x.pressure), max(itself.total, x.pressure+h)}
		upper = load{max(upper.overBed, x.upper), max(upper.total, x.upper+h)}
	}
	return itself, upper
}

func (w *work) limits() {
	c := w.c
	itself, upper := w.highest()
	if c.PackingPressure > 0 { // a set point with the empty column's part
		itself.total, upper.total = c.PackingPressure, c.PackingPressure
		upper.overBed = min(upper.overBed, max(itself.overBed, c.PackingPressure))
	}
	where := ""
	if u := w.topVelocity(); u > 0 && c.PackingPressure == 0 {
		where = fmt.Sprintf(" at %.4g cm/h", u.In(units.CentimetrePerHour))
	}
	var missing []string
	check := func(name string, limit, expected, used units.Pressure, what string) {
		if limit == 0 {
			missing = append(missing, name)
			return
		}
		l := PressureLimit{Name: name, Limit: limit, Expected: expected, Used: used, Margin: 1 - used.In(limit)}
		w.p.Pressures = append(w.p.Pressures, l)
		if !known(used) {
			w.notChecked("pressure limit of the %s, %v (the pressure of the steps is not known)", l.Name, l.Limit)
		}
		if used > l.Limit {
			w.refuse(fmt.Sprintf("%s %.3g bar%s%s", what, used.In(units.Bar), where, l.ofInterval()),
				fmt.Sprintf("it passes the limit of the %s, %.3g bar%s", l.Name, l.Limit.In(units.Bar), l.withoutError()),
				"ask for a lower compression factor or a lower bed; a limit is not to be raised for a plan")
		}
	}
	name := "bed of " + mediumName(c.Medium)
	if c.Method == packInPlace {
		itself.overBed, upper.overBed = c.PackingPressure, c.PackingPressure
	}
	if !w.byAdapter() || known(itself.overBed) {
		check(name, c.Medium.MaxBedPressure, itself.overBed, upper.overBed, "pressure")
	} else if c.Medium.MaxBedPressure == 0 {
		missing = append(missing, name)
	}
	if load := w.p.Adapter.Load; known(load) && c.Medium.MaxBedPressure > 0 {
		keep := where
		where = ""
		check(name+", under the adapter", c.Medium.MaxBedPressure, load, load, "load")
		where = keep
	}
	for _, l := range []struct {
		name  string
		limit units.Pressure
		holds bool // the load of the adapter
	}{{"column", c.Column.MaxPressure, true}, {"tube", c.Limits.TubePressure, true}, {"system", c.Limits.SystemPressure, false},
		{"pump", c.Limits.PumpPressure, false}, {"relief device", c.Limits.ReliefPressure, false}, {"end plate", w.plate(), true}} {
		expected, used, what := itself.total, upper.total, "pressure"
		if load := w.p.Adapter.Load; l.holds && known(load) {
			if under := load + w.packedPressure(c.AdapterSpeed, w.p.Viscosity); !(under <= used) {
				expected, used, what = under, under, "load and pressure"
			}
		}
		check(l.name, l.limit, expected, used, what)
	}
	if len(missing) > 0 {
		w.notChecked("pressure limit of %s (not given)", strings.Join(missing, ", "))
	}
	if !w.hasHardware() && c.PackingPressure == 0 && w.flows() {
		w.notChecked("pressure of the empty column, which adds to that of the bed against all limits but the bed's (not given)")
	}
	w.relief()
	sort.SliceStable(w.p.Pressures, func(i, j int) bool { return w.p.Pressures[i].Limit < w.p.Pressures[j].Limit })
	w.flowLimits()
}

// ofInterval says that the error of the curve is in the pressure.
func (l PressureLimit) ofInterval() string {
	if !(l.Used > l.Expected) {
		return ""
	}
	return ", the upper end of the curve's 95 % interval"
}

// withoutError says what would be without the error of the curve.
func (l PressureLimit) withoutError() string {
	switch {
	case !(l.Used > l.Expected):
		return ""
	case l.Expected > l.Limit:
		return fmt.Sprintf("; so does the curve itself, %.3g bar", l.Expected.In(units.Bar))
	}
	return fmt.Sprintf("; the curve itself, %.3g bar, keeps it", l.Expected.In(units.Bar))
}

// plate is the pressure at which the end plate carries its rating; zero: not given.
func (w *work) plate() units.Pressure {
	return units.Pressure(float64(w.c.Limits.EndPlateForce) / float64(w.p.Bed.Area))
}

// relief refuses a relief device that protects nothing.
func (w *work) relief() {
	c := w.c
	relief := c.Limits.ReliefPressure
	for _, part := range []struct {
		name  string
		limit units.Pressure
	}{{"column", c.Column.MaxPressure}, {"tube", c.Limits.TubePressure}, {"system", c.Limits.SystemPressure}, {"end plate", w.plate()}} {
		if part.limit > 0 && relief > part.limit {
			w.refuse(fmt.Sprintf("relief device at %s bar", bar(relief)), fmt.Sprintf("it answers above the limit of the %s, and does not protect it", part.name), fmt.Sprintf("set it at or below the weakest part: %s bar for the %s", number.AtMost(part.limit.In(units.Bar), 4), part.name))
		}
	}
}

func (w *work) flowLimits() {
	c := w.c
	top, pumped := w.topVelocity(), c.Test.Velocity
	for _, x := range w.uses {
		if !x.adapter {
			pumped = max(pumped, x.velocity)
		}
	}
	if top == 0 {
		top = max(c.AdapterSpeed, c.Test.Velocity)
	}
	for _, l := range []VelocityLimit{
		{Name: "velocity of " + mediumName(c.Medium), Limit: c.Medium.MaxVelocity, Used: top},
		{Name: "flow of the pump", Limit: c.Column.Velocity(c.Limits.PumpFlow), Used: pumped},
	} {
		if l.Limit == 0 {
			w.notChecked("limit for the %s (not given)", l.Name)
			continue
		}
		l.Margin = 1 - l.Used.In(l.Limit)
		w.p.Flows = append(w.p.Flows, l)
		if l.Used > l.Limit {
			w.refuse(fmt.Sprintf("highest velocity of the plan, %v", l.Used), fmt.Sprintf("it passes the limit for the %s", l.Name),
				fmt.Sprintf("ask for %s cm/h or less, or a lower compression factor; a limit is not to be raised for a plan", number.AtMost(l.Limit.In(units.CentimetrePerHour), 4)))
		}
		for _, d := range c.Duties {
			if d.Velocity > l.Limit {
				w.refuse("process step "+d.Name, fmt.Sprintf("its velocity %v passes the limit for the %s", d.Velocity, l.Name),
					fmt.Sprintf("run it at %s cm/h or less", number.AtMost(l.Limit.In(units.CentimetrePerHour), 4)))
			}
		}
	}
	sort.SliceStable(w.p.Flows, func(i, j int) bool { return w.p.Flows[i].Limit < w.p.Flows[j].Limit })
	least := c.Column.Velocity(c.Limits.LeastPumpFlow)
	for _, u := range []struct {
		name string
		u    units.Velocity
	}{{"first velocity", w.p.First.Velocity}, {"test velocity", c.Test.Velocity}} {
		if u.u > 0 && u.u < least {
			w.refuse(fmt.Sprintf("%s %v", u.name, u.u), fmt.Sprintf("the pump does not hold less than %s steady", w.p.flow(c.Limits.LeastPumpFlow)),
				fmt.Sprintf("use a smaller pump for it, or %s cm/h or more", number.AtLeast(least.In(units.CentimetrePerHour), 4)))
		}
	}
}

// mediumName names the medium without its lot.
func mediumName(m packing.Medium) string { m.Lot = ""; return m.Label() }

// topVelocity is the highest velocity known of the steps; zero without flow.
func (w *work) topVelocity() units.Velocity {
	var top units.Velocity
	for _, x := range w.uses {
		top = max(top, x.velocity)
	}
	return top
}

func (w *work) duties() {
	if len(w.c.Duties) == 0 {
		w.notChecked("process steps: whether the pack stands its later use (none given)")
	}
	if w.c.Site.Coldest == 0 {
		w.notChecked("process steps at the coldest temperature that the room reaches (not given; water at 5 °C drags 1.52 times as much as at 20 °C)")
	}
	strength := w.strength()
	for _, d := range w.c.Duties {
		k := DutyCheck{Duty: d, Wanted: w.c.DragMargin, Equivalent: d.Velocity.Times(d.Viscosity.In(w.p.Viscosity))}
		k.Margin = strength.In(k.Equivalent)
		k.Pressure = w.packedPressure(d.Velocity, d.Viscosity)
		w.p.Duties = append(w.p.Duties, k)
		if k.Margin < 1 {
			w.refuse("process step "+d.Name, fmt.Sprintf("%s at %v and %v drags like %.4g cm/h of the packing liquid, more than packing at %.4g cm/h",
				dutyLiquid(d), d.Temperature, d.Velocity, k.Equivalent.In(units.CentimetrePerHour), strength.In(units.CentimetrePerHour)),
				fmt.Sprintf("run it at %s cm/h or less, or pack at a higher velocity", number.AtMost(d.Velocity.Times(k.Margin/k.Wanted).In(units.CentimetrePerHour), 3)))
		}
	}
	if !known(strength) {
		if len(w.c.Duties) > 0 {
			w.notChecked("process steps: what drag the packed bed stands (neither law nor curve reaches its factor)")
		}
		return
	}
	t := w.c.Temperature
	if w.c.Site.Coldest != 0 {
		t = min(t, w.c.Site.Coldest)
	}
	for _, l := range []liquid.Liquid{liquid.Water(), liquid.Ethanol(20 * units.Percent), liquid.SodiumHydroxide(0.5 * units.MolePerLitre), liquid.SodiumHydroxide(1 * units.MolePerLitre)} {
		mu, err := l.Viscosity(t)
		if err != nil { // beyond its measured range
			mu = units.Viscosity(nan)
		}
		w.p.Stands = append(w.p.Stands, Stand{l.Name(), t, mu, strength.Times(w.p.Viscosity.In(mu) / w.c.DragMargin)})
	}
}

// productFirst puts the product that was not given at the head of what was not
// checked: an eluting peak can be several times as viscous as water.
func (w *work) productFirst() {
	for _, d := range w.c.Duties {
		if d.Product {
			return
		}
	}
	w.p.NotChecked = append([]string{"the product at its highest concentration in the bed (no process step has Product: true); an eluting peak can be several times as viscous as water"}, w.p.NotChecked...)
}

func dutyLiquid(d Duty) string {
	if d.Liquid == "" {
		return fmt.Sprintf("a liquid of %v", d.Viscosity)
	}
	return d.Liquid
}

func (w *work) forces() {
	rating := w.c.Limits.EndPlateForce
	add := func(at string, p units.Pressure) {
		if known(p) && p > 0 {
			f := EndPlateForce{at, p, p.On(w.p.Bed.Area), nan}
			if rating > 0 {
				f.Margin = 1 - f.Force.In(rating)
			}
			w.p.Forces = append(w.p.Forces, f)
		}
	}
	add("per bar", 1*units.Bar)
	add("second step", w.p.Second.Pressure)
	add("set point", w.c.PackingPressure)
	add("load of the adapter", w.p.Adapter.Load)
	stop := units.Pressure(nan)
	for _, g := range w.p.Gauge {
		if !known(stop) || g.Stop > stop {
			stop = g.Stop
		}
	}
	add("highest stop", stopShown(stop))
	add("relief device", w.c.Limits.ReliefPressure)
	add("limit of the column", w.c.Column.MaxPressure)
}

func (w *work) test() {
	c, t := w.c, &w.p.Test
	t.ColumnTime = c.BedHeight.Passed(c.Test.Velocity)
	var err error
	t.Expectation, err = c.Test.Expect(c.Column, c.BedHeight, c.Medium)
	w.refuseError(err)
	if c.Test.Tracer.Kind == efficiency.TracerNotGiven {
		w.notChecked("whether the tracer of the pulse test suits the medium (Test.Tracer not given)")
	}
	if d := c.Test.Detector; d.Response == 0 || d.LinearTo == 0 {
		w.notChecked("the height of the test's peak against the detector's range (Response or LinearTo of Test.Detector not given)")
	}
	for _, x := range t.Warnings {
		w.caution("Pulse test: %v", x)
	}
}

// buffer adds to the liquid that the pack takes; what is not known adds nothing.
func (w *work) buffer(what string, v units.Volume) {
	if v > 0 && !math.IsInf(float64(v), 0) {
		w.p.Buffer = append(w.p.Buffer, BufferRow{what, v})
	}
}

// stage adds a stage in which nothing is known but the words.
func (w *work) stage(name string, v valves, do, watch, ends string) *Stage {
	s := Stage{Name: name, Valves: v.String(), Open: v.open, Do: do, Watch: watch, Ends: ends}
	unknown(&s)
	w.p.Stages = append(w.p.Stages, s)
	return &w.p.Stages[len(w.p.Stages)-1]
}

// row adds a line to the sheet.
func (w *work) row(what, expected string) { w.p.Sheet = append(w.p.Sheet, SheetRow{what, expected}) }

// place is a height above the bottom net, with what the ruler reads there if that
// is another number.
func (w *work) place(l units.Length) string {
	if w.c.RulerZero == 0 {
		return cm(l)
	}
	return fmt.Sprintf("%s (ruler %s)", cm(l), w.ruler(l))
}

// atMark says where the adapter stands in the end.
func (w *work) atMark() string {
	return fmt.Sprintf("adapter within %v of its target position, %s above the bottom net", w.c.TargetTolerance, w.place(w.c.BedHeight))
}

// ruler is a height as the ruler reads it.
func (w *work) ruler(l units.Length) string {
	return fmt.Sprintf("%.1f cm", (l + w.c.RulerZero).In(units.Centimetre))
}

// flow writes a flow as the column's size asks: mL/min below 10 cm, L/h above.
func (p Procedure) flow(q units.VolumeFlow) string {
	if p.Request.Column.InnerDiameter < 10*units.Centimetre {
		return number.Significant(q.In(units.MillilitrePerMinute), 3) + " mL/min"
	}
	return number.Significant(q.In(units.LitrePerHour), 3) + " L/h"
}

func volume(v units.Volume) string {
	if v < 1*units.Litre {
		return number.Significant(v.In(units.Millilitre), 3) + " mL"
	}
	return number.Significant(v.In(units.Litre), 4) + " L"
}

func cm(l units.Length) string { return fmt.Sprintf("%.1f cm", l.In(units.Centimetre)) }

// speed writes the speed of an adapter.
func speed(u units.Velocity) string {
	return number.Significant(u.In(units.MillimetrePerSecond), 2) + " mm/s"
}

// span writes a time as people say it.
func span(t units.Time) string {
	if t < 100*units.Second {
		return number.Significant(t.In(units.Second), 2) + " s"
	}
	return number.Significant(t.In(units.Minute), 2) + " min"
}

// spanBound writes a time that is never passed as span does, rounded up.
func spanBound(t units.Time) string {
	if t < 100*units.Second {
		return number.AtLeast(t.In(units.Second), 2) + " s"
	}
	return number.AtLeast(t.In(units.Minute), 2) + " min"
}
