package plan

import (
	"fmt"
	"math"
	"strings"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/efficiency"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/units"
)

// Plan computes the procedure:
//
//	L0 = CF·L             settled height
//	V  = A·L0/C           slurry, C settled bed over slurry volume
//	t1 by Kynch settling of the slurry under the downflow u1, see bed.Suspension
//	t1 <= L0·(1/C - 1)/u1 whatever the beads' density and exponent
//	CF(u2) = CF           on the user's curve, which gives the pressure too
//	t2 = 2·T99·(L0 - L2)/u2  until 99 % of the compression, T99 = 1.879
//	F  = P·A              on the end plate
//
// with A the column's area [m²], L the packed height [m], u1 and u2 the
// velocities of the steps [m/s], L2 the height of the bed under the second and P
// the pressure [Pa]. The surface of the bed starts to rise at u2 when the flow
// stops, outlet shut, wall friction left out; by the same law it starts to fall
// at u2 when that flow starts, which gives t2 with the triangular series of
// bed.Consolidation.
//
// It refuses, with a *Refusal as error and in the procedure: inputs that cannot
// be, a slurry that does not fit the tube, a curve that ends before the factor or
// was measured on another bed, a limit that would be passed, a relief device set
// above what it protects, and a duty that drags more than the packing. A limit
// that was not given is not checked, and the procedure says so.
func (c ConstantFlow) Plan() (Procedure, error) {
	return request(constantFlow, c).plan((*work).computeFlow, (*work).flowStages)
}

func (w *work) computeFlow() {
	w.first()
	w.second()
	w.catch()
	w.third()
	w.choices(w.p.First.Velocity)
	w.flowBuffer()
	w.cannot("the last millimetre: friction at the wall and the beads' own slowness are not in the curve")
	w.cannot("how even the bed is: that is for the pulse test")
}

func (w *work) second() {
	c, s := w.c, &w.p.Second
	s.AdapterTravel = w.p.First.BedHeight - c.BedHeight
	u := c.PackingVelocity
	if u == 0 && len(w.curve.Points) > 0 {
		var err error
		if u, err = w.curve.VelocityFor(c.CompressionFactor); err != nil {
			w.tooFar(err)
			return
		}
	}
	if u == 0 {
		w.notChecked("packing velocity: not determined (neither a measured curve nor a packing velocity), so the second step against limits and process steps")
		return
	}
	if u <= w.p.First.Velocity {
		w.refuse(fmt.Sprintf("second velocity %v", u), fmt.Sprintf("it is not above the first, %v", w.p.First.Velocity),
			"a second step compresses only at a higher velocity: lower the first or raise the second")
	}
	w.setSecond(u)
}

// catch works out how the adapter meets the bed after the stop.
func (w *work) catch() {
	c, s := &w.c, w.p.Second
	if c.AdapterSpeed == 0 && known(s.Velocity) {
		c.AdapterSpeed = s.Velocity
		w.taken("adapter speed %s, the velocity of the flow before (not given)", speed(s.Velocity))
	}
	if c.AdapterSpeed == 0 {
		return
	}
	if c.Catch == OutletOpen && c.AdapterSpeed > s.Velocity.Times(1+1e-9) {
		w.refuse(fmt.Sprintf("adapter speed %s", speed(c.AdapterSpeed)), "with the outlet open it drives liquid through the bed faster than the second step",
			fmt.Sprintf("drive the adapter at %s mm/s or less", number.AtMost(s.Velocity.In(units.MillimetrePerSecond), 3)))
	}
	w.adapter(w.p.waits(), c.AdapterSpeed)
	if !known(s.BedHeight) {
		return
	}
	w.lowering()
	if s.BedHeight-c.BedHeight > c.TargetTolerance {
		w.p.Adapter.CompressionFactor = c.CompressionFactor / s.CompressionFactor
		if c.Law != nil {
			w.adapterLoad()
		}
	}
	rise := bed.Rise{Velocity: s.Velocity, Height: s.BedHeight, Settled: w.p.Bed.SettledHeight}
	w.p.Adapter.Risen = w.risen(c.Catch, c.AdapterSpeed)
	if c.Catch == OutletOpen {
		w.drive(w.at(min(c.AdapterSpeed, s.Velocity)).Pressure)
	}
	for _, t := range []units.Time{1, 2, 5, 10, 30, 120} {
		up, err := rise.AtMost(t)
		if err != nil {
			w.refuseError(err)
			return
		}
		w.p.Rises = append(w.p.Rises, Rise{t, up, c.Recovery.after(t, w.p.Bed.SettledHeight-s.BedHeight, up)})
	}
}

// drive holds the force that an adapter needs to push liquid through the bed
// against the limit of its drive.
func (w *work) drive(over units.Pressure) {
	limit := w.c.Limits.AdapterForce
	need := over.On(w.p.Bed.Area)
	switch {
	case limit == 0:
		w.notChecked("force of the drive, %s at this speed and %s where the medium's limit is met (no drive limit given)", forceWords(need), forceWords(w.forceAtLimit()))
	case need > limit:
		w.refuse(fmt.Sprintf("force of the drive %s", force(need)), fmt.Sprintf("the liquid that the adapter pushes through the bed takes it, and the drive gives no more than %s", force(limit)),
			"drive the adapter more slowly, or shut the outlet")
	}
}

// forceWords writes a force, or that it is not known.
func forceWords(f units.Force) string {
	if !known(f) {
		return number.Missing
	}
	return force(f)
}

// after is how far a bed that lost a height has risen by the record, never more
// than the bound; NaN without a record.
func (r Recovery) after(t units.Time, lost, bound units.Length) units.Length {
	if r.FastTime == 0 {
		return units.Length(nan)
	}
	part := r.Fast * -math.Expm1(-t.In(r.FastTime))
	if r.Slow > 0 {
		part += r.Slow * -math.Expm1(-t.In(r.SlowTime))
	}
	return min(lost.Times(part), bound)
}

// third is the one further step, and the highest velocity that it may have.
func (w *work) third() {
	c, s := w.c, &w.p.Third
	u := c.ThirdVelocity
	if u == 0 {
		u = w.p.Second.Velocity
	}
	if !known(u) {
		return
	}
	if u < w.p.Second.Velocity {
		w.refuse(fmt.Sprintf("third velocity %v", u), fmt.Sprintf("it is below the second, %v", w.p.Second.Velocity), "a third step below the second compresses nothing: leave it zero to run the second again")
	}
	if c.ThirdVelocity > 0 {
		w.checkCritical("third velocity", u)
	}
	at := w.at(u)
	s.Velocity, s.Flow, s.CompressionFactor, s.Pressure = u, c.Column.Flow(u), at.CompressionFactor, at.Pressure
	w.use(u, at.Pressure)
}

// choices are the ways on when the bed settles higher or lower than planned; u is
// the velocity at which its height is read.
func (w *work) choices(u units.Velocity) {
	c := w.c
	flow := 1.0
	if u > 0 {
		if flow = w.p.First.CompressionFactor; !known(flow) {
			flow = 1
			if c.SettledFound > 0 {
				w.caution("The height found was taken as that of the bed at rest: no curve tells how far %v compresses it.", u)
			}
		}
	}
	expected := w.p.Bed.SettledHeight.Times(1 / flow)
	heights := []units.Length{expected.Times(0.96), expected.Times(0.98), expected, expected.Times(1.02), expected.Times(1.04)}
	if c.SettledFound > 0 {
		heights = []units.Length{c.SettledFound}
	}
	for _, h := range heights {
		way, err := packing.Found{Column: c.Column, BedHeight: c.BedHeight, CompressionFactor: c.CompressionFactor, Height: h, FlowFactor: flow}.Decide()
		if err != nil {
			w.refuseError(err)
			return
		}
		if c.SettledFound > 0 && way.Doubt != "" {
			w.caution("%s.", capital(way.Doubt))
		}
		choice := Choice{h, way, units.Velocity(nan), units.Pressure(nan), units.Pressure(nan)}
		if c.Law != nil && way.CannotKeep == "" {
			b := w.model()
			b.SettledHeight = way.Settled
			if load, err := b.LoadFor(way.KeepHeight, 0); err == nil {
				choice.Load = load
			}
		}
		if len(w.curve.Points) > 0 && way.CannotKeep == "" {
			// At equal factor the drag on a bed of another height is that of the
			// whole bed, velocity times settled height.
			if v, err := w.curve.VelocityFor(way.KeepHeight); err == nil {
				at := w.at(v)
				choice.Velocity, choice.Pressure = v.Times(w.p.Bed.SettledHeight.In(way.Settled)), at.Pressure
			}
		}
		w.p.Choices = append(w.p.Choices, choice)
	}
}

// flowBuffer adds up the liquid of a pack by flow.
func (w *work) flowBuffer() {
	p := w.p
	w.buffer("rinse", w.c.Rinse)
	if known(p.First.Bound) {
		w.buffer("step 1, until its longest time", p.First.Flow.For(p.First.Bound))
	}
	if known(p.Second.Velocity) {
		t := 5 * units.Minute
		if known(p.Second.Time) {
			t += p.Second.Time
		}
		w.buffer("step 2, compression and 5 min of steady flow", p.Second.Flow.For(t))
		if p.Third.Velocity > 0 {
			w.buffer("one further step, 5 min", p.Third.Flow.For(5*units.Minute))
		}
	}
	w.testBuffer()
}

func (w *work) testBuffer() {
	w.buffer("conditioning", w.p.Bed.ColumnVolume.Times(condition))
	w.buffer("pulse test", w.p.Bed.ColumnVolume.Times(testVolumes))
}

// steady is the one criterion that ends a step.
const steady = "bed height within 1 mm and pressure within 2 % over 5 min (common practice), never on time alone"

// flowStages puts the procedure in words.
func (w *work) flowStages() {
	w.prepareStage()
	w.pourStage()
	w.flowSteps()
	w.testStage()
}

// flowSteps are those between the slurry in the column and the test.
func (w *work) flowSteps() {
	w.firstStage()
	w.firstAdapterStage()
	w.secondStage()
	w.catchStage()
	w.thirdStage()
}

// prepareStage de-airs the column, and tests it for leaks with liquid while it is
// empty of beads.
func (w *work) prepareStage() {
	v := open(adapterVent, outletToDrain).but("inlet until the liquid is in")
	w.stage("prepare", v,
		v.first()+"De-air the bottom net from below.\nFill in a few centimetres of liquid, bring the adapter into contact with it, seal it and vent it upwards.\nPrime pump and lines, set the valves for downflow, watch the flow while it steadies.",
		"bubbles in lines, nets and under the adapter", "no air anywhere, flow steady")
	w.leakStage()
}

// leakStage is the leak test of the empty column, with liquid.
func (w *work) leakStage() {
	at := "the highest pressure of the pack, ____ bar"
	if most := w.p.highestExpected(); known(most) {
		at = fmt.Sprintf("%s bar, the highest pressure of the pack", bar(most))
	}
	w.stage("leak test, column without beads", open(reliefPath, inletFromPump).but("outlet, vent of the adapter, both opened slowly when the gauge has been read"),
		fmt.Sprintf("With liquid, air out, never with gas: raise the pressure slowly to %s, stop the pump and read the gauge over your site's hold time.\nOpen the vent slowly until the gauge reads zero; vent and outlet stay open. Then take the adapter out where the top is to be open.", at),
		"drops at seals, hoses and end plates; the gauge", "pressure fallen by no more than your site allows; gauge at zero, vent and outlet open")
	w.row("leak test with liquid: pressure, hold time, drop", "by your site's limits, at "+at)
	w.row("☐ vented: no air in lines, nets and under the adapter", "")
}

func (w *work) pourStage() {
	c, p := w.c, w.p
	rinse := "rinse the wall"
	if c.Rinse > 0 {
		rinse = fmt.Sprintf("rinse tank, hoses and wall with %s", volume(c.Rinse))
	}
	dead := " Dead volume of tank and hoses and the rinse belong to the transfer."
	if c.DeadVolume > 0 {
		dead = fmt.Sprintf(" Prepare %s: %s stays behind in tank and hoses.", volume(p.Pour.Prepared), volume(c.DeadVolume))
	}
	s := w.stage("slurry transfer", open(openTop).but(outletPath),
		fmt.Sprintf("Flow off and gauge at zero before the top is opened.\nStir (no magnetic bar; a low-shear pump if one is used), then pour %s of slurry at %v in one go.\nThen %s, and overlay 1 to 2 cm of clear liquid.\nIt stands %s high, without the overlay.%s\nSlurry and column at %v.",
			volume(p.Pour.SlurryVolume), c.Slurry.Concentration, rinse, w.place(p.Pour.SlurryHeight), dead, c.Temperature),
		"lumps, bubbles, beads left at the wall",
		fmt.Sprintf("all slurry in the tube; 1 cm of clear liquid forms within %.0f s of stirring", p.Pour.ClearLayer.In(units.Second)))
	s.Volume, s.BedHeight = p.Pour.SlurryVolume, p.Pour.SlurryHeight
	w.row("slurry concentration", c.Slurry.Concentration.String())
	w.row("temperature of slurry and column", c.Temperature.String())
	w.row("slurry transferred", volume(p.Pour.SlurryVolume))
	w.row("minutes from stirring to the end of the transfer", fmt.Sprintf("1 cm clears in %.1f", p.Pour.ClearLayer.In(units.Minute)))
	w.row("ruler: top of the slurry", w.ruler(p.Pour.SlurryHeight))
}

// closed tells whether the adapter is on the liquid in step 1.
func (w *work) closed() bool {
	c := w.c
	return c.Method == suctionFill || c.Method == constantPressure || c.FirstVelocity > 0 && c.FirstBy == SealedAdapter
}

// sealStage puts the adapter onto the liquid above the slurry.
func (w *work) sealStage() {
	p := w.p
	v := open(adapterVent).but(outletPath)
	s := w.stage("adapter onto the liquid", v,
		v.first()+"Lower the adapter into the clear liquid above the slurry, vent it and seal it.\nOpen the outlet before the vent is shut.",
		"no air under the adapter; clear liquid at the seal, not slurry: beads in the seal leak", "adapter sealed without air, outlet open, pump ready")
	s.BedHeight, s.Adapter = p.Pour.SlurryHeight, p.Pour.SlurryHeight
	w.row("☐ vented: no air under the adapter", "")
}

func (w *work) firstStage() {
	c, p := w.c, w.p
	v, how := open(inletFromPump, outletToDrain), "from the pump, through the sealed adapter"
	switch {
	case w.closed():
		if c.Method != suctionFill {
			w.sealStage()
		}
	case c.FirstBy == OpenTop:
		v, how = open(openTop, outletToDrain), "by the height of the liquid, as much added above as leaves, onto a float or along the wall; at no time below 1 cm above the slurry"
	case c.FirstBy == DrawnFromOutlet:
		v, how = open(openTop, outletToPump), "drawn by the pump at the outlet, as much added above as leaves; at no time below 1 cm above the slurry: a dry bed is lost"
	}
	s := w.stage("step 1, consolidation", v,
		fmt.Sprintf("Downflow of %s at %v, %s, %s.\nAbout %.1f min = %.3f column volumes; %.1f min if the density excess is half of %v; gravity alone %.0f min.",
			c.Liquid, p.First.Velocity, p.flow(p.First.Flow), how, p.First.Time.In(units.Minute), p.First.ColumnVolumes, p.First.TimeAtHalfDensity.In(units.Minute), c.Medium.DensityExcess, p.First.GravityTime.In(units.Minute)),
		"the edge of the clear liquid coming down, the surface of the bed rising; level and pressure",
		fmt.Sprintf("%s.\nSettling is over after %.1f min = %.3f column volumes whatever the density (common practice: about two)",
			steady, p.First.Bound.In(units.Minute), p.First.Flow.For(p.First.Bound).In(p.Bed.ColumnVolume)))
	s.Time, s.Longest, s.Velocity, s.Flow, s.Volume = p.First.Time, p.First.Bound, p.First.Velocity, p.First.Flow, p.First.Volume
	s.Pressure, s.BedHeight = p.First.Pressure, p.First.BedHeight
	top := units.Length(0)
	if w.closed() {
		top = p.Pour.SlurryHeight
		s.Adapter = top
	}
	w.row("flow in step 1", p.flow(p.First.Flow))
	w.row("time of step 1", fmt.Sprintf("%.0f to %.0f min", p.First.Time.In(units.Minute), p.First.TimeAtHalfDensity.In(units.Minute)))
	w.bedRow("bed after step 1", p.First.BedHeight)
	w.addPhase(phase{name: "step 1", kind: settling, adapterFrom: top, adapterTo: top, duration: p.First.Time, velocity: p.First.Velocity,
		bedFrom: p.Pour.SlurryHeight, bedTo: p.First.BedHeight, pressureTo: p.First.Pressure, suspension: w.suspension(w.inColumn(), p.First.Velocity, 1)})
}

// bedRow asks for the height of the bed, at as many points as the site reads.
func (w *work) bedRow(what string, h units.Length) {
	n := w.c.Site.HeightPoints
	if n == 1 {
		w.row("ruler: "+what, w.ruler(h))
		return
	}
	w.row("ruler: "+what, fmt.Sprintf("%s at %s points", w.ruler(h), [...]string{3: "three", 4: "four"}[n]))
	w.row("tilt of the "+what+", largest less smallest", "within your limit")
}

func (w *work) firstAdapterStage() {
	p := w.p
	lost := ""
	if p.First.Recovers > 0 {
		lost = fmt.Sprintf("\nMeanwhile the bed can rise by up to %.1f mm, all that step 1 compressed.", p.First.Recovers.In(units.Millimetre))
	}
	v := open(inletToDrain).but(outletPath)
	enter := "Enter clear liquid, not slurry: beads in the seal leak.\n"
	if w.closed() {
		enter = ""
	}
	s := w.stage("adapter down to the bed", v,
		v.first()+fmt.Sprintf("Flow off.\n%sFast travel to 10 to 20 mm above the bed, then sealed travel to 1 to 2 mm.\nTravel %s, from %s to %s.%s",
			enter, cm(p.Pour.SlurryHeight-p.waits()+aboveBed), w.place(p.Pour.SlurryHeight), w.place(p.waits()-aboveBed), lost),
		"liquid leaving through the inlet, beads at the seal, hands off",
		"adapter 1 to 2 mm above the bed, no air under it")
	s.BedHeight, s.Adapter = p.First.BedHeight, p.waits()
	w.row("ruler: adapter before it presses", w.ruler(p.waits()))
	if !w.closed() {
		w.row("☐ vented: no air under the adapter", "")
	}
	travel := fastTravel(p.First.AdapterTravel)
	w.addPhase(phase{name: "adapter", kind: rising, duration: travel, velocity: p.First.Velocity, bedFrom: p.First.BedHeight, bedTo: p.Bed.SettledHeight,
		adapterFrom: p.Pour.SlurryHeight, adapterTo: p.waits()})
}

// waits is where the adapter stands while the bed is compressed by flow: above the
// bed as it is under the first flow, or as it comes back if that is much.
func (p Procedure) waits() units.Length {
	if p.Request.Method == constantPressure {
		return p.Bed.SettledHeight + aboveBed
	}
	return p.First.BedHeight + aboveBed
}

// fastTravel is the time for the fast travel of an adapter, 5 mm/s: for playing
// the pack, not for the plan.
func fastTravel(l units.Length) units.Time { return l.Passed(5 * units.MillimetrePerSecond) }

func (w *work) secondStage() {
	c, p := w.c, w.p
	v := open(inletFromPump, outletToDrain)
	if !known(p.Second.Velocity) {
		w.stage("step 2, compress", v,
			fmt.Sprintf("packing velocity: not determined.\nFrom the bed of step 1 to the target position: %s.", cm(p.Second.AdapterTravel)), "level and pressure", steady)
		return
	}
	pressure := "pressure not known"
	if known(p.Second.Pressure) {
		pressure = fmt.Sprintf("about %.2f bar, bed at %s", p.Second.Pressure.In(units.Bar), w.place(p.Second.BedHeight))
	}
	takes := ""
	if known(p.Second.Time) {
		takes = fmt.Sprintf("\n99 %% of it takes about %s, if the bed answers without friction.", span(p.Second.Time))
	}
	s := w.stage("step 2, compress", v,
		fmt.Sprintf("%s.\nAt the end downflow of %s at %.1f cm/h, %s, %s.%s\nFrom the bed of step 1 to the target position: %s.",
			w.raiseWords(), c.Liquid, p.Second.Velocity.In(units.CentimetrePerHour), p.flow(p.Second.Flow), pressure, takes, cm(p.Second.AdapterTravel)),
		"pressure and height of each step against the plan: the earliest sign that this bed is not that of the curve; a pressure that keeps rising at constant flow: stop", steady)
	s.Time, s.Velocity, s.Flow, s.Pressure, s.BedHeight = p.Second.Time, p.Second.Velocity, p.Second.Flow, p.Second.Pressure, p.Second.BedHeight
	s.Volume, s.Adapter = p.Second.Flow.For(p.Second.Time), p.waits()
	w.row("flow in step 2", p.flow(p.Second.Flow))
	if known(p.Second.Pressure) {
		w.row("pressure in step 2", w.gaugeWords(p.Second.Velocity, p.Second.Pressure))
		w.bedRow("bed in step 2", p.Second.BedHeight)
		w.addPhase(phase{name: "step 2", kind: pressing, velocity: p.Second.Velocity, lost: p.Bed.SettledHeight - p.Second.BedHeight, bedTo: p.Second.BedHeight,
			pressureFrom: p.First.Pressure.Times(p.Second.Velocity.In(p.First.Velocity)), pressureTo: p.Second.Pressure,
			adapterFrom: p.waits(), adapterTo: p.waits()})
	}
}

// raiseWords say how the flow is raised, with pressure and height on the way.
func (w *work) raiseWords() string {
	var at []string
	for _, r := range w.p.Second.Raise {
		s := w.p.flow(r.Flow)
		if known(r.After) {
			s = "after " + span(r.After) + " " + s
		}
		if known(r.Pressure) {
			s += fmt.Sprintf(" (%.2f bar over the bed, %s)", r.Pressure.In(units.Bar), w.place(r.BedHeight))
		}
		at = append(at, s)
	}
	if w.c.Ramp > 0 {
		return fmt.Sprintf("Raise the flow evenly over %s, never in a jump: %s", span(w.c.Ramp), strings.Join(at, ", "))
	}
	return "Raise the flow in steps, each until pressure and level hardly change, never in a jump: " + strings.Join(at, ", ")
}

// gaugeWords is the pressure that a gauge before the column reads.
func (w *work) gaugeWords(u units.Velocity, bed units.Pressure) string {
	if !w.hasHardware() {
		return fmt.Sprintf("%.2f bar over the bed, a gauge reads more", bed.In(units.Bar))
	}
	return fmt.Sprintf("%.2f bar at the gauge, %.2f over the bed", (bed + w.hardware(u)).In(units.Bar), bed.In(units.Bar))
}

func (w *work) catchStage() {
	c, p := w.c, w.p
	v := open(inletToDrain).but(outletPath)
	if c.Catch == OutletOpen {
		v = open(outletToDrain).but(inletPath)
	}
	s := w.stage("lower the adapter", v, v.first()+w.catchWords(), "the target position, liquid leaving by the open path, the force of the drive", w.atMark())
	s.Time, s.BedHeight, s.Adapter = p.Adapter.Time, c.BedHeight, c.BedHeight
	w.row("☐ "+v.open[0]+" open before the adapter moves", "")
	w.row("ruler: adapter at its target position", fmt.Sprintf("%s ± %.1f mm", w.ruler(c.BedHeight), c.TargetTolerance.In(units.Millimetre)))
	if known(p.Second.BedHeight) {
		w.addPhase(phase{name: "lower the adapter", kind: catching, velocity: p.Second.Velocity, speed: c.AdapterSpeed, held: c.Catch == OutletOpen, pressureTo: p.Second.Pressure.Times(c.AdapterSpeed.In(p.Second.Velocity)),
			bedFrom: p.Second.BedHeight, bedTo: p.Bed.SettledHeight, adapterFrom: p.Adapter.From, adapterTo: c.BedHeight})
	}
}

func (w *work) catchWords() string {
	a, u := w.p.Adapter, w.p.Second.RiseBound
	bound, most := "its velocity is not known", ""
	if known(u) {
		bound = fmt.Sprintf("at most %.2f mm/s at first", u.In(units.MillimetrePerSecond))
		most = fmt.Sprintf(", no faster than %.2f mm/s", u.In(units.MillimetrePerSecond))
	}
	takes := ""
	if known(a.Speed) {
		takes = fmt.Sprintf("\nFrom %s to the target position takes %s at %s.", w.place(a.From), span(a.Time), speed(a.Speed))
	}
	risen := ""
	if known(a.Risen) {
		risen = fmt.Sprintf("\nThe bed has risen by %.1f mm at most when the adapter meets it.", a.Risen.In(units.Millimetre))
	}
	if w.c.Catch == OutletOpen {
		if at := w.at(min(a.Speed, u)).Pressure; known(at) {
			risen += fmt.Sprintf("\nMeanwhile the liquid takes about %.2f bar over the bed, %s at the drive; the medium's limit would be met at %s.", at.In(units.Bar), force(at.On(w.p.Bed.Area)), forceWords(w.forceAtLimit()))
		}
		return fmt.Sprintf("Flow off, %v: the displaced liquid holds the bed down. Drive the sealed adapter to the target position at once%s.%s%s", w.c.Catch, most, takes, risen)
	}
	return fmt.Sprintf("Flow off, %v: the bed is free to rise, %s.\nDrive the adapter to the target position at once; it compresses the last part again.%s%s", w.c.Catch, bound, takes, risen)
}

// again are the paths of a further step and of the lowering after it.
func (w *work) again() valves {
	if w.c.Catch == OutletOpen {
		return open(outletToDrain, inletFromPump+" while it flows").but()
	}
	return open(inletFromPump+" while it flows, then "+inletToDrain, outletToDrain+" while it flows")
}

func (w *work) thirdStage() {
	c, p := w.c, w.p
	once := fmt.Sprintf("Run the flow of step 2 again and look under the adapter.\nA gap of more than %v, or an adapter further than that from its target position: find out which part missed. A bed that was steady in step 2 and still too high was not compressed enough by the flow: the same flow does not help twice. A bed that was low enough and rose again was lost in stopping and lowering.", c.TargetTolerance)
	if !known(p.Third.Velocity) {
		s := w.stage("not at the target position", w.again(), once+"\nOne further compression step at most. If that misses too, unpack and repack (common practice).", "a gap under the adapter at flow", "adapter at its target position without a gap")
		s.Adapter = c.BedHeight
		return
	}
	at := fmt.Sprintf("%.1f cm/h, %s", p.Third.Velocity.In(units.CentimetrePerHour), p.flow(p.Third.Flow))
	if known(p.Third.Pressure) {
		at += fmt.Sprintf(", about %.2f bar, CF %.3f by flow", p.Third.Pressure.In(units.Bar), p.Third.CompressionFactor)
	}
	s := w.stage("step 3, only if not at the target position", w.again(),
		fmt.Sprintf("%s\nOne further compression step, at %s, and lower the adapter again, path ticked first.\nIf that misses too, unpack and repack: repeated compression makes a bed uneven (common practice).", once, at),
		"a gap under the adapter at flow, pressure against the stop of the step", "adapter at its target position without a gap at the flow of step 2")
	s.Velocity, s.Flow, s.Pressure, s.BedHeight, s.Adapter = p.Third.Velocity, p.Third.Flow, p.Third.Pressure, c.BedHeight, c.BedHeight
	w.row("gap under the adapter at the flow of step 2", fmt.Sprintf("at most %v", c.TargetTolerance))
	if c.ThirdVelocity > 0 {
		w.row("step 3 run? at "+p.flow(p.Third.Flow), "not planned unless needed")
	}
}

func (w *work) testStage() {
	c, p := w.c, w.p
	salt := ""
	if m, kind := c.Medium, c.Test.Tracer.Kind; m.Charge != packing.Uncharged && (kind == efficiency.TracerNotGiven || kind == efficiency.Salt) {
		least := m.LeastBackground
		if least == 0 {
			least = 0.4 * units.MolePerLitre // common practice, no source
		}
		salt = fmt.Sprintf("\nSalt as the tracer: in at least %v of the same salt, the pulse at most twice it, since charged beads keep salt out of weaker liquid (charge of the medium: %v).", least, m.Charge)
	}
	tracer, expected := "", ""
	if c.Test.Tracer.Kind != efficiency.TracerNotGiven {
		tracer = " of " + c.Test.Tracer.String()
	}
	if known(p.Test.TimeLow) {
		expected = fmt.Sprintf("\nExpected: apex %s to %s min after the start of the sample", number.Significant(p.Test.TimeLow.In(units.Minute), 3), number.Significant(p.Test.TimeHigh.In(units.Minute), 3))
		if known(p.Test.Height) {
			expected += fmt.Sprintf(", about %s %s high", number.Significant(p.Test.Height, 2), c.Test.Detector.Unit)
		}
		expected += "."
	}
	s := w.stage("test", open(inletFromPump, outletDetector),
		fmt.Sprintf("Condition with 2 to 3 column volumes.%s\nPulse of %s (%.2g %% of the column volume)%s at %v, %s, %.0f min per column volume.%s",
			salt, volume(c.Test.SampleVolume), 100*c.Test.SampleVolume.In(p.Bed.ColumnVolume), tracer, c.Test.Velocity, p.flow(p.Test.Flow), p.Test.ColumnTime.In(units.Minute), expected),
		"base line steady before the pulse", "verdict against limits set beforehand by the user's procedure")
	s.Velocity, s.Flow, s.Time, s.Volume = c.Test.Velocity, p.Test.Flow, p.Test.ColumnTime.Times(testVolumes), p.Bed.ColumnVolume.Times(testVolumes)
	s.BedHeight, s.Adapter = c.BedHeight, c.BedHeight
}
