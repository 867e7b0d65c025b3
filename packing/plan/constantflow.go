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
	"github.com/evenbed/evenbed/packing/liquid"
	"github.com/evenbed/evenbed/packing/units"
)

// Common practice, no source.
const (
	usualFirstVelocity = 20 * units.CentimetrePerHour
	usualTestVelocity  = 30 * units.CentimetrePerHour
	usualSample        = 1 * units.Percent
	usualDragMargin    = 1.2
	clearLayer         = 1 * units.Centimetre
	sameBed            = 0.01 // relative difference at which a measured bed still counts as this one
	nearTarget         = 0.005
)

// usualTemperature is taken when none is given.
func usualTemperature() units.Temperature { return units.Celsius(20) }

// Plan computes the procedure:
//
//	L0 = CF·L             settled height
//	V  = A·L0/C           slurry, C settled bed over slurry volume
//	t1 by Kynch settling of the slurry under the downflow u1, see bed.Suspension
//	t1 <= L0·(1/C - 1)/u1 whatever the beads' density and exponent
//	CF(u2) = CF           on the user's curve, which gives the pressure too
//	F  = P·A              on the end plate
//
// with A the column's area [m²], L the packed height [m], u1 and u2 the
// velocities of the steps [m/s] and P the pressure [Pa]. The surface of the bed
// starts to rise at u2 when the flow stops, outlet shut, wall friction left out.
//
// It refuses, with a *Refusal as error and in the procedure: inputs that cannot
// be, a slurry that does not fit the tube, a curve that ends before the factor or
// was measured on another bed, a limit that would be passed, and a duty that
// drags more than the packing. A limit that was not given is not checked, and
// the procedure says so.
func (c ConstantFlow) Plan() (Procedure, error) {
	p := Procedure{Request: c, Viscosity: units.Viscosity(math.NaN())}
	for _, part := range []any{&p.Bed, &p.Pour, &p.First, &p.Second, &p.Test} {
		unknown(part)
	}
	w := &work{c: c, p: &p}
	w.takeDefaults()
	w.checkInputs()
	if len(w.reasons) == 0 {
		w.liquid()
	}
	if len(w.reasons) == 0 {
		w.geometry()
		w.pour()
		w.readCurve()
		w.first()
		w.second()
		w.limits()
		w.duties()
		w.forces()
		w.test()
		w.stages()
		w.sheet()
		w.cautions()
	}
	p.Request = w.c
	if len(w.reasons) > 0 {
		p.Refusal = &Refusal{w.reasons}
	}
	return p, p.Refusal
}

// unknown sets the numbers of a struct to NaN.
func unknown(part any) {
	v := reflect.ValueOf(part).Elem()
	for i := range v.NumField() {
		if f := v.Field(i); f.Kind() == reflect.Float64 {
			f.SetFloat(math.NaN())
		}
	}
}

// work is a procedure in the making: c has its defaults filled in.
type work struct {
	c       ConstantFlow
	p       *Procedure
	reasons []error
	curve   bed.Curve // in the packing liquid; without points: none
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

func (w *work) takeDefaults() {
	c := &w.c
	if c.FirstVelocity == 0 {
		c.FirstVelocity = usualFirstVelocity
		w.taken("first velocity %v (common practice, no source)", c.FirstVelocity)
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
		if len(c.Duties) > 0 {
			w.taken("drag of packing at least %v times that of a duty (common practice, no source)", c.DragMargin)
		}
	}
	if c.TestVelocity == 0 {
		c.TestVelocity = usualTestVelocity
		w.taken("test velocity %v (common practice, no source)", c.TestVelocity)
	}
	if c.TestSample == 0 {
		c.TestSample = usualSample
		w.taken("test sample %v of the column volume (common practice, no source)", c.TestSample)
	}
	c.Duties = append([]Duty(nil), c.Duties...)
	for i := range c.Duties {
		d := &c.Duties[i]
		if d.Temperature == 0 {
			d.Temperature = c.Temperature
		}
		if d.Liquid == "" && d.Viscosity == 0 {
			d.Liquid = "water"
		}
		if d.Name == "" {
			d.Name = fmt.Sprintf("duty %d", i+1)
		}
	}
}

// hasCurve tells whether the user gave a curve, good or bad.
func (w *work) hasCurve() bool { return !reflect.ValueOf(w.c.Curve).IsZero() }

func (w *work) checkInputs() {
	c := w.c
	for _, err := range []error{c.Column.Check(), c.Medium.Check(), c.Slurry.Check(), packing.CheckBedHeight(c.BedHeight),
		packing.CheckVelocity("first velocity", c.FirstVelocity), packing.CheckTemperature("temperature", c.Temperature),
		packing.CheckVelocity("test velocity", c.TestVelocity), c.Limits.Check(), checkViscosity("viscosity", c.Viscosity)} {
		w.refuseError(err)
	}
	if c.Medium.Check() == nil {
		w.refuseError(c.Medium.CheckCompressionFactor(c.CompressionFactor))
	}
	if c.PackingVelocity != 0 {
		w.refuseError(packing.CheckVelocity("packing velocity", c.PackingVelocity))
	}
	if w.hasCurve() {
		w.refuseError(c.Curve.Check())
	}
	if c.Catch != OutletShut && c.Catch != OutletOpen {
		w.refuse(fmt.Sprintf("catch %d", int(c.Catch)), "there is no such catch", "write plan.OutletShut or plan.OutletOpen")
	}
	if !(c.DragMargin >= 1) || math.IsInf(c.DragMargin, 0) {
		w.refuse(fmt.Sprintf("drag margin %v", c.DragMargin), "packing must drag at least as much as every duty", "write for example 1.2")
	}
	if !(c.TestSample > 0 && c.TestSample <= 20*units.Percent) {
		w.refuse(fmt.Sprintf("test sample %v", c.TestSample), "it is outside 0 to 20 % of the column volume", "write for example 1 * Percent")
	}
	if !(math.Abs(float64(c.RulerZero)) <= 5) {
		w.refuse(fmt.Sprintf("ruler zero %v", c.RulerZero), "no ruler at a column reads that", "was the unit forgotten? Write for example 12 * Millimetre")
	}
	for _, d := range c.Duties {
		w.refuseError(inDuty(d, packing.CheckVelocity("velocity", d.Velocity)))
		w.refuseError(inDuty(d, packing.CheckTemperature("temperature", d.Temperature)))
		w.refuseError(inDuty(d, checkViscosity("viscosity", d.Viscosity)))
		if d.Viscosity == 0 && d.Liquid != "water" {
			w.refuseError(inDuty(d, &packing.InputError{What: d.Liquid, Problem: "its viscosity was not given",
				Remedy: fmt.Sprintf("give the viscosity at %v", d.Temperature)}))
		}
	}
	if c.Viscosity == 0 && c.Liquid != "water" {
		w.refuse("packing liquid "+c.Liquid, "its viscosity was not given", fmt.Sprintf("give the viscosity at %v", c.Temperature))
	}
}

// inDuty puts the duty's name into an error about it.
func inDuty(d Duty, err error) error {
	var in *packing.InputError
	if errors.As(err, &in) {
		e := *in
		e.Where = "duty " + d.Name
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
	w.p.Viscosity = w.viscosity(w.c.Viscosity, w.c.Temperature)
	for i := range w.c.Duties {
		d := &w.c.Duties[i]
		d.Viscosity = w.viscosity(d.Viscosity, d.Temperature)
	}
}

func (w *work) viscosity(given units.Viscosity, t units.Temperature) units.Viscosity {
	if given != 0 {
		return given
	}
	mu, err := liquid.WaterViscosity(t)
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

// suspension is the stirred slurry under a downflow, with the density excess
// taken by a factor.
func (w *work) suspension(downflow units.Velocity, factor float64) bed.Suspension {
	m := w.c.Medium
	return bed.Suspension{
		Terminal: bed.StokesVelocity(m.MeanBead, m.DensityExcess.Times(factor), w.p.Viscosity),
		Exponent: m.Exponent(), Solids: w.c.Slurry.Solids(m), BedSolids: 1 - m.SettledVoid, Downflow: downflow,
	}
}

func (w *work) pour() {
	c, p := w.c, &w.p.Pour
	p.SlurryVolume = c.Slurry.Volume(w.p.Bed.SettledVolume)
	p.SlurryHeight = c.Slurry.Height(w.p.Bed.SettledHeight)
	s := w.suspension(0, 1)
	p.Terminal, p.Hindered = s.Terminal, s.Hindered()
	p.ClearLayer = clearLayer.Passed(p.Hindered)
	if c.Column.TubeHeight > 0 {
		p.Usable = c.Column.Usable()
	} else {
		w.notChecked("whether the slurry fits the tube (no tube height)")
	}
	w.refuseError(c.Column.CheckSlurry(c.Slurry, w.p.Bed.SettledHeight))
}

// readCurve carries the curve over to the packing liquid. It refuses one that
// was measured on another bed.
func (w *work) readCurve() {
	c := w.c
	if !w.hasCurve() {
		w.notChecked("compression and pressure under flow (no measured curve)")
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
		return
	}
	curve, err := c.Curve.WithViscosity(w.p.Viscosity)
	w.refuseError(err)
	w.curve = curve
}

func curveName(c bed.Curve) string { return strings.TrimSpace("curve " + c.Label) }

func (w *work) first() {
	c, f := w.c, &w.p.First
	f.Velocity, f.Flow = c.FirstVelocity, c.Column.Flow(c.FirstVelocity)
	height := w.p.Pour.SlurryHeight
	f.Time = w.settle(f.Velocity, 1, height)
	f.TimeAtHalfDensity = w.settle(f.Velocity, 0.5, height)
	f.GravityTime = w.settle(0, 1, height)
	f.Bound = (height - w.p.Bed.SettledHeight).Passed(f.Velocity)
	f.Volume = f.Flow.For(f.Time)
	f.ColumnVolumes = f.Volume.In(w.p.Bed.ColumnVolume)
	f.BedHeight = w.p.Bed.SettledHeight
	if len(w.curve.Points) > 0 {
		at, err := w.curve.At(f.Velocity)
		w.refuseError(err)
		if err == nil {
			f.CompressionFactor, f.Pressure = at.CompressionFactor, at.Pressure
			f.BedHeight = w.p.Bed.SettledHeight.Times(1 / at.CompressionFactor)
		}
	}
	f.AdapterTravel = height - f.BedHeight
}

// settle returns the time of the first step.
func (w *work) settle(downflow units.Velocity, densityFactor float64, height units.Length) units.Time {
	if w.c.Slurry.Concentration == 1 {
		return 0 // it is a settled bed already
	}
	s, err := w.suspension(downflow, densityFactor).Settle(height)
	if err != nil {
		w.refuseError(err)
		return units.Time(math.NaN())
	}
	return s.Time
}

func (w *work) second() {
	c, s := w.c, &w.p.Second
	s.AdapterTravel = w.p.First.BedHeight - c.BedHeight
	u := c.PackingVelocity
	if u == 0 && len(w.curve.Points) > 0 {
		var err error
		if u, err = w.curve.VelocityFor(c.CompressionFactor); err != nil {
			w.refuse(fmt.Sprintf("compression factor %v", c.CompressionFactor),
				fmt.Sprintf("%v; flow gives at most %.4g here, the adapter would have to give the rest", err, w.curve.Last().CompressionFactor),
				"ask for a lower factor, measure the curve further if every limit allows it, or give a packing velocity of your own and drive the adapter to the mark")
			return
		}
	}
	if u == 0 {
		w.notChecked("second velocity: not determined (neither a measured curve nor a packing velocity), so the second step against limits and duties")
		return
	}
	if u <= w.p.First.Velocity {
		w.refuse(fmt.Sprintf("second velocity %v", u), fmt.Sprintf("it is not above the first, %v", w.p.First.Velocity),
			"a second step compresses only at a higher velocity: lower the first or raise the second")
	}
	s.Velocity, s.Flow, s.RiseBound = u, c.Column.Flow(u), u
	if len(w.curve.Points) == 0 {
		return
	}
	at, err := w.curve.At(u)
	if err != nil {
		w.refuseError(err)
		return
	}
	s.CompressionFactor, s.Pressure = at.CompressionFactor, at.Pressure
	s.BedHeight = w.p.Bed.SettledHeight.Times(1 / at.CompressionFactor)
}

func (w *work) limits() {
	c := w.c
	used := units.Pressure(math.NaN())
	if p := w.p.Second.Pressure; !math.IsNaN(float64(p)) {
		used = p
	} else if p := w.p.First.Pressure; !math.IsNaN(float64(p)) {
		used = p // the second velocity is not known, as stated
	}
	for _, l := range []PressureLimit{
		{Name: "bed of " + mediumName(c.Medium), Limit: c.Medium.MaxBedPressure},
		{Name: "column", Limit: c.Column.MaxPressure},
		{Name: "system", Limit: c.Limits.SystemPressure},
	} {
		if l.Limit == 0 {
			w.notChecked("pressure limit of the %s (not given)", l.Name)
			continue
		}
		l.Used, l.Margin = used, 1-used.In(l.Limit)
		w.p.Pressures = append(w.p.Pressures, l)
		if math.IsNaN(float64(used)) {
			w.notChecked("pressure limit of the %s, %v (the pressure of the steps is not known)", l.Name, l.Limit)
		}
		if used > l.Limit {
			w.refuse(fmt.Sprintf("pressure %.3g bar at %.4g cm/h", used.In(units.Bar), w.topVelocity().In(units.CentimetrePerHour)),
				fmt.Sprintf("it passes the limit of the %s, %.3g bar", l.Name, l.Limit.In(units.Bar)),
				"ask for a lower compression factor or a lower bed; a limit is not to be raised for a plan")
		}
	}
	sort.SliceStable(w.p.Pressures, func(i, j int) bool { return w.p.Pressures[i].Limit < w.p.Pressures[j].Limit })

	for _, l := range []VelocityLimit{
		{Name: "velocity of " + mediumName(c.Medium), Limit: c.Medium.MaxVelocity},
		{Name: "flow of the pump", Limit: c.Column.Velocity(c.Limits.PumpFlow)},
	} {
		if l.Limit == 0 {
			w.notChecked("limit for the %s (not given)", l.Name)
			continue
		}
		l.Used = w.topVelocity()
		l.Margin = 1 - l.Used.In(l.Limit)
		w.p.Flows = append(w.p.Flows, l)
		if l.Used > l.Limit {
			w.refuse(fmt.Sprintf("packing velocity %v", l.Used), fmt.Sprintf("it passes the limit for the %s, %v", l.Name, l.Limit),
				"ask for a lower velocity or compression factor; a limit is not to be raised for a plan")
		}
		for _, d := range c.Duties {
			if d.Velocity > l.Limit {
				w.refuse("duty "+d.Name, fmt.Sprintf("its velocity %v passes the limit for the %s, %v", d.Velocity, l.Name, l.Limit),
					"run the duty more slowly, or leave it out")
			}
		}
	}
	sort.SliceStable(w.p.Flows, func(i, j int) bool { return w.p.Flows[i].Limit < w.p.Flows[j].Limit })
}

// mediumName names the medium without its lot.
func mediumName(m packing.Medium) string { m.Lot = ""; return m.Label() }

// topVelocity is the highest velocity known of the steps.
func (w *work) topVelocity() units.Velocity {
	if u := w.p.Second.Velocity; u > w.p.First.Velocity {
		return u
	}
	return w.p.First.Velocity
}

func (w *work) duties() {
	if len(w.c.Duties) == 0 {
		w.notChecked("duties: whether the pack stands its later use (none given)")
	}
	u2 := w.p.Second.Velocity
	for _, d := range w.c.Duties {
		k := DutyCheck{Duty: d, Wanted: w.c.DragMargin, Equivalent: d.Velocity.Times(d.Viscosity.In(w.p.Viscosity))}
		k.Margin = u2.In(k.Equivalent)
		k.Pressure = w.p.Second.Pressure.Times(1 / k.Margin)
		w.p.Duties = append(w.p.Duties, k)
		if k.Margin < 1 {
			w.refuse("duty "+d.Name, fmt.Sprintf("%s at %v and %v drags like %.4g cm/h of the packing liquid, more than packing at %.4g cm/h",
				dutyLiquid(d), d.Temperature, d.Velocity, k.Equivalent.In(units.CentimetrePerHour), u2.In(units.CentimetrePerHour)),
				fmt.Sprintf("run the duty at %.3g cm/h or less, or pack at a higher velocity", d.Velocity.Times(k.Margin/k.Wanted).In(units.CentimetrePerHour)))
		}
	}
}

func dutyLiquid(d Duty) string {
	if d.Liquid == "" {
		return fmt.Sprintf("a liquid of %v", d.Viscosity)
	}
	return d.Liquid
}

func (w *work) forces() {
	add := func(at string, p units.Pressure) {
		w.p.Forces = append(w.p.Forces, EndPlateForce{at, p, p.On(w.p.Bed.Area)})
	}
	add("per bar", 1*units.Bar)
	if p := w.p.Second.Pressure; !math.IsNaN(float64(p)) {
		add("second step", p)
	}
	if p := w.c.Column.MaxPressure; p > 0 {
		add("limit of the column", p)
	}
}

func (w *work) test() {
	c, t := w.c, &w.p.Test
	t.Velocity, t.Flow = c.TestVelocity, c.Column.Flow(c.TestVelocity)
	t.Sample = w.p.Bed.ColumnVolume.Times(float64(c.TestSample))
	t.ColumnTime = c.BedHeight.Passed(c.TestVelocity)
}

func (w *work) cautions() {
	c, p := w.c, w.p
	m := c.Medium
	if m.SettledVoid < 0.30 || m.SettledVoid > 0.50 {
		w.caution("A settled void of %v is unusual: 0.30 to 0.50 is what settled beads have.", m.SettledVoid)
	}
	if c.CompressionFactor > 1.25 || p.Bed.PackedVoid < 0.25 {
		w.caution("A compression factor of %v leaves a void of %.2f: more than media are usually compressed (common practice: no more than 1.25, void no less than 0.25).",
			c.CompressionFactor, p.Bed.PackedVoid)
	}
	if c.Slurry.Concentration > 75*units.Percent {
		w.caution("A slurry of %v hardly pours (common practice: up to 75 %%).", c.Slurry.Concentration)
	}
	if c.FirstVelocity < 20*units.CentimetrePerHour*(1-1e-9) || c.FirstVelocity > 60*units.CentimetrePerHour {
		w.caution("The first velocity, %v, is outside 20 to 60 cm/h, the usual range (common practice).", c.FirstVelocity)
	}
	if p.First.CompressionFactor > 1.05 {
		w.caution("The first step compresses the bed by a factor of %.3f already, part of which recovers when the flow stops for the adapter: a lower first velocity would not.",
			p.First.CompressionFactor)
	}
	if rho, err := liquid.WaterDensity(c.Temperature); err == nil {
		if re := bed.Reynolds(p.Pour.Terminal, m.MeanBead, rho, p.Viscosity); re > 0.1 {
			w.caution("A bead falls at a Reynolds number of %.2g: above 0.1 Stokes' law gives too short times.", re)
		}
	}
	w.flowCautions()
	w.caution("Times hold for beads of one size and the density excess given, %v, the least known input: measure it from a settling reading. Fines take longer. Temperature moves every time through the viscosity.", m.DensityExcess)
	w.caution("At equal velocity the packed bed takes about %.2f times the pressure of the settled one (Kozeny and Carman; laws differ by 20 %%, and 0.01 of void is 11 %%).", p.Bed.PressureRatio)
	w.caution("The compression factor is no better known than the slurry concentration: 3 %% relative in it is %.3f in the factor. Sample the stirred tank at top, middle and bottom, three times each.", 0.03*c.CompressionFactor)
	w.caution("If the settled height found differs from %.2f cm (height under flow times its compression factor), keep either the factor, packing to found height / %v, or the height, and record which.",
		p.Bed.SettledHeight.In(units.Centimetre), c.CompressionFactor)
	w.p.Safety = w.safety()
}

// flowCautions are those about the second step, its limits and the duties.
func (w *work) flowCautions() {
	c, p := w.c, w.p
	s := p.Second
	if d := c.CompressionFactor - s.CompressionFactor; d > nearTarget {
		w.caution("At %v flow alone gives a compression factor of %.3f: the adapter must give the rest, a factor of %.3f or the last %.1f mm. Its load is not computed; watch it.",
			s.Velocity, s.CompressionFactor, c.CompressionFactor/s.CompressionFactor, (s.BedHeight - c.BedHeight).In(units.Millimetre))
	} else if d < -nearTarget {
		w.caution("At %v flow compresses the bed to %.2f cm, below the mark: it has to rise %.1f mm to the adapter.",
			s.Velocity, s.BedHeight.In(units.Centimetre), (c.BedHeight - s.BedHeight).In(units.Millimetre))
	}
	for _, l := range p.Pressures {
		if l.Margin >= 0 && l.Margin < 0.2 {
			w.caution("The pressure takes %.0f %% of the limit of the %s; practice stays at 70 to 80 %%.", 100*(1-l.Margin), l.Name)
		}
	}
	for _, l := range p.Flows {
		if l.Margin >= 0 && l.Margin < 0.2 {
			w.caution("The velocity takes %.0f %% of the limit for the %s; practice stays at 70 to 80 %%.", 100*(1-l.Margin), l.Name)
		}
	}
	for _, d := range p.Duties {
		if d.Margin >= 1 && d.Margin < d.Wanted {
			w.caution("Packing drags only %.2f times as much as the duty %s; %v is wanted.", d.Margin, d.Duty.Name, d.Wanted)
		}
	}
	if w.curve.Predicted != "" {
		w.predicted()
	} else if len(w.curve.Points) > 0 {
		w.caution("The %s holds for its lot, buffer, settled height and diameter, at rising velocity, and with the hardware it was measured with.",
			curveName(c.Curve))
	}
	if !math.IsNaN(float64(s.Velocity)) {
		w.caution("The rise on stop is an upper bound: friction and the beads' own slowness reduce it. Losing 1 mm takes at least %.1f s.", (1 * units.Millimetre).Passed(s.RiseBound).In(units.Second))
	}
}

// predicted tells that the curve was not measured here, and how far it may be off.
func (w *work) predicted() {
	s := w.p.Second
	w.caution("The %s was not measured on a bed of this size: it is predicted %s. Raise the flow slowly, watch pressure and height at every step, and stop if they leave the prediction.",
		curveName(w.curve), w.curve.Predicted)
	if e, err := w.curve.ErrorAt(s.Velocity); err == nil && e.Pressure > 0 {
		w.caution("At %.4g cm/h the prediction is good to ± %.2g in the compression factor and ± %.2g bar, one standard error of its parameters alone; from pack to pack beds differ by more.",
			s.Velocity.In(units.CentimetrePerHour), e.CompressionFactor, e.Pressure.In(units.Bar))
	}
}

// safety lists the usual cautions; the equipment's manual comes first.
func (w *work) safety() []string {
	s := []string{
		"The manual of the equipment, local codes and qualified people come before this plan.",
		"Glass and acrylic: keep to the pressure marked on the tube, reduced for temperature, scratches and solvents; wear eye protection. Never put gas pressure on a column full of liquid without a relief path.",
		"Trapped air stores energy: vent before loading, and release pressure slowly.",
		"A relief device or pressure trip set at or below the weakest part; no pump against a closed valve.",
		"Never leave a column full of liquid with all valves shut: warming from 5 to 25 °C expands water by 0.29 %.",
		fmt.Sprintf("Keep one liquid path open while a sealed adapter moves: 1 mm/s displaces %s here.", w.p.flow(w.c.Column.Flow(1*units.MillimetrePerSecond))),
		"Adapters and end plates are heavy and pinch: lifting gear, and hands off while anything moves.",
		"Storage solution with ethanol is flammable: ground containers, ventilate, no ignition; it is more viscous than water, so never pack at full velocity in it.",
	}
	return s
}

// stages puts the procedure in words.
func (w *work) stages() {
	c, p := w.c, w.p
	add := func(name, do, ends string) { p.Stages = append(p.Stages, Stage{name, do, ends}) }
	steady := "bed height within 1 mm and pressure within 2 % over 5 min (common practice), never on time alone"

	add("prepare", "De-air the bottom net from below. Bring the adapter into contact with liquid, seal it and vent it upwards. Prime pump and lines, set the valves for downflow, watch the flow while it steadies.",
		"no air anywhere, flow steady")
	add("pour", fmt.Sprintf("Stir, then pour %s of slurry at %v in one go, rinse the wall, overlay 1 to 2 cm of clear liquid. It stands %s high, without the overlay. Dead volume of tank and hoses and the rinse belong to the pour. Slurry and column at %v.",
		volume(p.Pour.SlurryVolume), c.Slurry.Concentration, cm(p.Pour.SlurryHeight), c.Temperature),
		fmt.Sprintf("all slurry in the tube; 1 cm of clear liquid forms within %.0f s of stirring", p.Pour.ClearLayer.In(units.Second)))
	add("step 1, loose bed", fmt.Sprintf("Downflow of %s at %v, %s. About %.1f min = %.3f column volumes; %.1f min if the density excess is half of %v; gravity alone %.0f min.",
		c.Liquid, p.First.Velocity, p.flow(p.First.Flow), p.First.Time.In(units.Minute), p.First.ColumnVolumes, p.First.TimeAtHalfDensity.In(units.Minute), c.Medium.DensityExcess, p.First.GravityTime.In(units.Minute)),
		fmt.Sprintf("%s; settling is over after %.1f min = %.3f column volumes whatever the density (common practice: about two column volumes)",
			steady, p.First.Bound.In(units.Minute), p.First.Flow.For(p.First.Bound).In(p.Bed.ColumnVolume)))
	add("adapter, first time", fmt.Sprintf("Flow off, outlet shut. Fast travel to 10 to 20 mm above the bed, then sealed travel to 1 to 2 mm, the displaced liquid vented. Travel %s, from %s to %s.",
		cm(p.First.AdapterTravel), cm(p.Pour.SlurryHeight), cm(p.First.BedHeight)),
		"adapter 1 to 2 mm above the bed, no air under it")
	if math.IsNaN(float64(p.Second.Velocity)) {
		add("step 2, compress", fmt.Sprintf("second velocity: not determined. Travel left to the mark %s.", cm(p.Second.AdapterTravel)), steady)
	} else {
		pressure := "pressure not known"
		if !math.IsNaN(float64(p.Second.Pressure)) {
			pressure = fmt.Sprintf("about %.2f bar, bed at %s", p.Second.Pressure.In(units.Bar), cm(p.Second.BedHeight))
		}
		add("step 2, compress", fmt.Sprintf("Downflow of %s at %.1f cm/h, %s, %s. Usually a minute or two (common practice). Travel left to the mark %s.",
			c.Liquid, p.Second.Velocity.In(units.CentimetrePerHour), p.flow(p.Second.Flow), pressure, cm(p.Second.AdapterTravel)),
			steady)
	}
	add("catch", w.catchWords(), fmt.Sprintf("adapter at the mark, %s above the bottom net", cm(c.BedHeight)))
	add("not at the mark", "One further compression step. If that misses too, unpack and repack (common practice).", "adapter at the mark without a gap")
	add("test", fmt.Sprintf("Condition with 2 to 3 column volumes. Pulse of %s (%v of the column volume) at %v, %s, %.0f min per column volume.",
		volume(p.Test.Sample), c.TestSample, p.Test.Velocity, p.flow(p.Test.Flow), p.Test.ColumnTime.In(units.Minute)),
		"verdict against limits set beforehand by the user's procedure")
}

func (w *work) catchWords() string {
	u := w.p.Second.RiseBound
	bound := "its velocity is not known"
	most := ""
	if !math.IsNaN(float64(u)) {
		bound = fmt.Sprintf("at most %.2f mm/s at first", u.In(units.MillimetrePerSecond))
		most = fmt.Sprintf(", no faster than %.2f mm/s", u.In(units.MillimetrePerSecond))
	}
	if w.c.Catch == OutletOpen {
		return fmt.Sprintf("Flow off, %v: the displaced liquid holds the bed down. Drive the sealed adapter to the mark at once%s.", w.c.Catch, most)
	}
	return fmt.Sprintf("Flow off, %v: the bed is free to rise, %s. Drive the adapter to the mark at once; it compresses the last part again.", w.c.Catch, bound)
}

// sheet lists what to note at the column, with heights as the ruler reads them.
func (w *work) sheet() {
	c, p := w.c, w.p
	add := func(what, expected string) { p.Sheet = append(p.Sheet, SheetRow{what, expected}) }
	ruler := func(l units.Length) string { return fmt.Sprintf("%.1f cm", (l + c.RulerZero).In(units.Centimetre)) }
	add("slurry concentration", c.Slurry.Concentration.String())
	add("temperature of slurry and column", c.Temperature.String())
	add("slurry poured", volume(p.Pour.SlurryVolume))
	add("ruler: top of the slurry", ruler(p.Pour.SlurryHeight))
	add("flow in step 1", p.flow(p.First.Flow))
	add("time of step 1", fmt.Sprintf("%.0f to %.0f min", p.First.Time.In(units.Minute), p.First.TimeAtHalfDensity.In(units.Minute)))
	add("ruler: bed after step 1", ruler(p.First.BedHeight))
	if !math.IsNaN(float64(p.Second.Velocity)) {
		add("flow in step 2", p.flow(p.Second.Flow))
	}
	if !math.IsNaN(float64(p.Second.Pressure)) {
		add("pressure in step 2", fmt.Sprintf("%.2f bar", p.Second.Pressure.In(units.Bar)))
		add("ruler: bed in step 2", ruler(p.Second.BedHeight))
	}
	add("ruler: adapter at the mark", ruler(c.BedHeight))
}

// flow writes a flow as the column's size asks: mL/min below 10 cm, L/h above.
func (p Procedure) flow(q units.VolumeFlow) string {
	if p.Request.Column.InnerDiameter < 10*units.Centimetre {
		return significant(q.In(units.MillilitrePerMinute), 3) + " mL/min"
	}
	return significant(q.In(units.LitrePerHour), 3) + " L/h"
}

func volume(v units.Volume) string {
	if v < 1*units.Litre {
		return significant(v.In(units.Millilitre), 3) + " mL"
	}
	return significant(v.In(units.Litre), 4) + " L"
}

func cm(l units.Length) string { return fmt.Sprintf("%.1f cm", l.In(units.Centimetre)) }

// significant writes x with n significant digits, zeros at the end kept, and all
// digits before the point.
func significant(x float64, n int) string {
	mantissa := fmt.Sprintf("%.*e", n-1, x)
	_, exponent, found := strings.Cut(mantissa, "e")
	var e int
	if _, err := fmt.Sscanf(exponent, "%d", &e); !found || err != nil {
		return fmt.Sprint(x) // NaN or infinite
	}
	return fmt.Sprintf("%.*f", max(0, n-1-e), x)
}
