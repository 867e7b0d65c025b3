package plan

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
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
		w.notChecked("second velocity: not determined (neither a measured curve nor a packing velocity), so the second step against limits and duties")
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
		w.refuse(fmt.Sprintf("adapter speed %s", speed(c.AdapterSpeed)), fmt.Sprintf("with the outlet open it drives liquid through the bed faster than the second step, %s", speed(s.Velocity)),
			"drive the adapter more slowly")
	}
	w.adapter(w.p.waits(), c.AdapterSpeed)
	if !known(s.BedHeight) {
		return
	}
	if c.CompressionFactor-s.CompressionFactor > nearTarget {
		w.p.Adapter.CompressionFactor = c.CompressionFactor / s.CompressionFactor
		if c.Law != nil {
			w.adapterLoad()
		}
	}
	rise := bed.Rise{Velocity: s.Velocity, Height: s.BedHeight, Settled: w.p.Bed.SettledHeight}
	if c.Catch == OutletShut {
		meet := (w.p.Adapter.From - s.BedHeight).Passed(c.AdapterSpeed + s.Velocity)
		up, err := rise.AtMost(meet)
		w.refuseError(err)
		w.p.Adapter.Risen = up
	} else {
		w.p.Adapter.Risen = 0
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

func (w *work) prepareStage() {
	w.stage("prepare", "inlet vented, outlet to the bottom net, then all shut",
		"De-air the bottom net from below.\nBring the adapter into contact with liquid, seal it and vent it upwards.\nPrime pump and lines, set the valves for downflow, watch the flow while it steadies.",
		"bubbles in lines, nets and under the adapter", "no air anywhere, flow steady")
}

func (w *work) pourStage() {
	c, p := w.c, w.p
	rinse := "rinse the wall"
	if c.Rinse > 0 {
		rinse = fmt.Sprintf("rinse tank, hoses and wall with %s", volume(c.Rinse))
	}
	dead := " Dead volume of tank and hoses and the rinse belong to the pour."
	if c.DeadVolume > 0 {
		dead = fmt.Sprintf(" Prepare %s: %s stays behind in tank and hoses.", volume(p.Pour.Prepared), volume(c.DeadVolume))
	}
	s := w.stage("pour", "outlet shut, top open",
		fmt.Sprintf("Stir (no magnetic bar; a low-shear pump if one is used), then pour %s of slurry at %v in one go.\nThen %s, and overlay 1 to 2 cm of clear liquid.\nIt stands %s high, without the overlay.%s\nSlurry and column at %v.",
			volume(p.Pour.SlurryVolume), c.Slurry.Concentration, rinse, w.place(p.Pour.SlurryHeight), dead, c.Temperature),
		"lumps, bubbles, beads left at the wall",
		fmt.Sprintf("all slurry in the tube; 1 cm of clear liquid forms within %.0f s of stirring", p.Pour.ClearLayer.In(units.Second)))
	s.Volume, s.BedHeight = p.Pour.SlurryVolume, p.Pour.SlurryHeight
	w.row("slurry concentration", c.Slurry.Concentration.String())
	w.row("temperature of slurry and column", c.Temperature.String())
	w.row("slurry poured", volume(p.Pour.SlurryVolume))
	w.row("ruler: top of the slurry", w.ruler(p.Pour.SlurryHeight))
}

func (w *work) firstStage() {
	c, p := w.c, w.p
	s := w.stage("step 1, loose bed", "downflow: inlet from the pump, outlet open",
		fmt.Sprintf("Downflow of %s at %v, %s.\nAbout %.1f min = %.3f column volumes; %.1f min if the density excess is half of %v; gravity alone %.0f min.",
			c.Liquid, p.First.Velocity, p.flow(p.First.Flow), p.First.Time.In(units.Minute), p.First.ColumnVolumes, p.First.TimeAtHalfDensity.In(units.Minute), c.Medium.DensityExcess, p.First.GravityTime.In(units.Minute)),
		"the edge of the clear liquid coming down, the surface of the bed rising; level and pressure",
		fmt.Sprintf("%s.\nSettling is over after %.1f min = %.3f column volumes whatever the density (common practice: about two)",
			steady, p.First.Bound.In(units.Minute), p.First.Flow.For(p.First.Bound).In(p.Bed.ColumnVolume)))
	s.Time, s.Longest, s.Velocity, s.Flow, s.Volume = p.First.Time, p.First.Bound, p.First.Velocity, p.First.Flow, p.First.Volume
	s.Pressure, s.BedHeight = p.First.Pressure, p.First.BedHeight
	if c.Method == suctionFill {
		s.Adapter = p.Pour.SlurryHeight
	}
	w.row("flow in step 1", p.flow(p.First.Flow))
	w.row("time of step 1", fmt.Sprintf("%.0f to %.0f min", p.First.Time.In(units.Minute), p.First.TimeAtHalfDensity.In(units.Minute)))
	w.bedRow("bed after step 1", p.First.BedHeight)
	top := units.Length(0)
	if c.Method == suctionFill {
		top = p.Pour.SlurryHeight
	}
	w.addPhase(phase{name: "step 1", kind: settling, adapterFrom: top, adapterTo: top, duration: p.First.Time, velocity: p.First.Velocity,
		bedFrom: p.Pour.SlurryHeight, bedTo: p.First.BedHeight, pressureTo: p.First.Pressure, suspension: w.suspension(w.inColumn(), p.First.Velocity, 1)})
}

// bedRow asks for the height of the bed, at four points of a large column with
// the tilt.
func (w *work) bedRow(what string, h units.Length) {
	if w.c.Column.InnerDiameter < largeDiameter {
		w.row("ruler: "+what, w.ruler(h))
		return
	}
	w.row("ruler: "+what, w.ruler(h)+" at four points")
	w.row("tilt of the "+what+", largest less smallest", "within your limit")
}

func (w *work) firstAdapterStage() {
	p := w.p
	lost := ""
	if p.First.Recovers > 0 {
		lost = fmt.Sprintf("\nThe bed comes back by at most %.1f mm meanwhile, all that step 1 compressed.", p.First.Recovers.In(units.Millimetre))
	}
	s := w.stage("adapter, first time", "flow off, outlet shut, inlet vented",
		fmt.Sprintf("Fast travel to 10 to 20 mm above the bed, then sealed travel to 1 to 2 mm, the displaced liquid vented. Enter clear liquid, not slurry: beads in the seal leak.\nTravel %s, from %s to %s.%s",
			cm(p.Pour.SlurryHeight-p.waits()+aboveBed), w.place(p.Pour.SlurryHeight), w.place(p.waits()-aboveBed), lost),
		"liquid leaving through the vent, beads at the seal, hands off",
		"adapter 1 to 2 mm above the bed, no air under it")
	s.BedHeight, s.Adapter = p.First.BedHeight, p.waits()
	w.row("ruler: adapter before it presses", w.ruler(p.waits()))
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
	if !known(p.Second.Velocity) {
		w.stage("step 2, compress", "downflow: inlet from the pump, outlet open",
			fmt.Sprintf("second velocity: not determined.\nFrom the bed of step 1 to the mark: %s.", cm(p.Second.AdapterTravel)), "level and pressure", steady)
		return
	}
	pressure := "pressure not known"
	if known(p.Second.Pressure) {
		pressure = fmt.Sprintf("about %.2f bar, bed at %s", p.Second.Pressure.In(units.Bar), w.place(p.Second.BedHeight))
	}
	takes := "Usually a minute or two (common practice)."
	if known(p.Second.Time) {
		takes = fmt.Sprintf("99 %% of it in about %s, if the bed answers without friction; usually a minute or two (common practice).", span(p.Second.Time))
	}
	s := w.stage("step 2, compress", "downflow: inlet from the pump, outlet open",
		fmt.Sprintf("Raise the flow: downflow of %s at %.1f cm/h, %s, %s.\n%s\nFrom the bed of step 1 to the mark: %s.",
			c.Liquid, p.Second.Velocity.In(units.CentimetrePerHour), p.flow(p.Second.Flow), pressure, takes, cm(p.Second.AdapterTravel)),
		"pressure against the lowest limit; level; a pressure that keeps rising at constant flow: stop", steady)
	s.Time, s.Velocity, s.Flow, s.Pressure, s.BedHeight = p.Second.Time, p.Second.Velocity, p.Second.Flow, p.Second.Pressure, p.Second.BedHeight
	s.Volume, s.Adapter = p.Second.Flow.For(p.Second.Time), p.waits()
	w.row("flow in step 2", p.flow(p.Second.Flow))
	if known(p.Second.Pressure) {
		w.row("pressure in step 2", w.gauge(p.Second.Velocity, p.Second.Pressure))
		w.bedRow("bed in step 2", p.Second.BedHeight)
		w.addPhase(phase{name: "step 2", kind: pressing, velocity: p.Second.Velocity, lost: p.Bed.SettledHeight - p.Second.BedHeight, bedTo: p.Second.BedHeight,
			pressureFrom: p.First.Pressure.Times(p.Second.Velocity.In(p.First.Velocity)), pressureTo: p.Second.Pressure,
			adapterFrom: p.waits(), adapterTo: p.waits()})
	}
}

// gauge is the pressure that a gauge before the column reads.
func (w *work) gauge(u units.Velocity, bed units.Pressure) string {
	if !w.hasHardware() {
		return fmt.Sprintf("%.2f bar over the bed, a gauge reads more", bed.In(units.Bar))
	}
	return fmt.Sprintf("%.2f bar at the gauge, %.2f over the bed", (bed + w.hardware(u)).In(units.Bar), bed.In(units.Bar))
}

func (w *work) catchStage() {
	c, p := w.c, w.p
	s := w.stage("catch", c.Catch.String(), w.catchWords(), "the mark, liquid leaving, the force of the drive", w.atMark())
	s.Time, s.BedHeight, s.Adapter = p.Adapter.Time, c.BedHeight, c.BedHeight
	w.row("ruler: adapter at the mark", w.ruler(c.BedHeight))
	if known(p.Second.BedHeight) {
		w.addPhase(phase{name: "catch", kind: catching, velocity: p.Second.Velocity, speed: c.AdapterSpeed, held: c.Catch == OutletOpen, pressureTo: p.Second.Pressure.Times(c.AdapterSpeed.In(p.Second.Velocity)),
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
		takes = fmt.Sprintf("\nFrom %s to the mark takes %s at %s.", w.place(a.From), span(a.Time), speed(a.Speed))
	}
	if w.c.Catch == OutletOpen {
		return fmt.Sprintf("Flow off, %v: the displaced liquid holds the bed down. Drive the sealed adapter to the mark at once%s.%s", w.c.Catch, most, takes)
	}
	risen := ""
	if known(a.Risen) {
		risen = fmt.Sprintf("\nThe bed has come up by %.1f mm at most when the adapter meets it.", a.Risen.In(units.Millimetre))
	}
	return fmt.Sprintf("Flow off, %v: the bed is free to rise, %s.\nDrive the adapter to the mark at once; it compresses the last part again.%s%s", w.c.Catch, bound, takes, risen)
}

func (w *work) thirdStage() {
	c, p := w.c, w.p
	if !known(p.Third.Velocity) {
		w.stage("not at the mark", "as in step 2, then as in the catch", "One further compression step. If that misses too, unpack and repack (common practice).", "a gap under the adapter at flow", "adapter at the mark without a gap")
		return
	}
	at := fmt.Sprintf("%.1f cm/h, %s", p.Third.Velocity.In(units.CentimetrePerHour), p.flow(p.Third.Flow))
	if known(p.Third.Pressure) {
		at += fmt.Sprintf(", about %.2f bar, CF %.3f by flow", p.Third.Pressure.In(units.Bar), p.Third.CompressionFactor)
	}
	s := w.stage("step 3, only if not at the mark", "as in step 2, then as in the catch",
		fmt.Sprintf("Run the flow of step 2 again and look under the adapter.\nA gap of more than 1 mm, or the adapter not at the mark: one further compression step at %s, and catch again.\nIf that misses too, unpack and repack (common practice): a bed worked on more often is not even.", at),
		"a gap under the adapter at flow, pressure against the lowest limit", "adapter at the mark without a gap at the flow of step 2")
	s.Velocity, s.Flow, s.Pressure, s.BedHeight, s.Adapter = p.Third.Velocity, p.Third.Flow, p.Third.Pressure, c.BedHeight, c.BedHeight
	w.row("gap under the adapter at the flow of step 2", "none")
	if c.ThirdVelocity > 0 {
		w.row("step 3 run? at "+p.flow(p.Third.Flow), "not planned unless needed")
	}
}

func (w *work) testStage() {
	c, p := w.c, w.p
	s := w.stage("test", "downflow through the adapter, outlet to the detector",
		fmt.Sprintf("Condition with 2 to 3 column volumes.\nPulse of %s (%v of the column volume) at %v, %s, %.0f min per column volume.",
			volume(p.Test.Sample), c.TestSample, p.Test.Velocity, p.flow(p.Test.Flow), p.Test.ColumnTime.In(units.Minute)),
		"base line steady before the pulse", "verdict against limits set beforehand by the user's procedure")
	s.Velocity, s.Flow, s.Time, s.Volume = p.Test.Velocity, p.Test.Flow, p.Test.ColumnTime.Times(testVolumes), p.Bed.ColumnVolume.Times(testVolumes)
	s.BedHeight, s.Adapter = c.BedHeight, c.BedHeight
}
