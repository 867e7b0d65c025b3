package plan

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/units"
)

// Plan computes the procedure. The first step is that of ConstantFlow; then
//
//	CF(flow)    at the packing velocity, on the curve
//	CF(adapter) = CF/CF(flow)
//	load        that holds the bed of the law at CF at rest, see bed.Compressible
//
// It refuses what ConstantFlow refuses, no curve and no law, and a packing
// velocity at which flow alone reaches the factor. Without a law the load is not
// determined.
func (c FlowThenAdapter) Plan() (Procedure, error) {
	return request(flowThenAdapter, c).plan((*work).computeHybrid, (*work).hybridStages)
}

func (w *work) computeHybrid() {
	c := &w.c
	w.first()
	if len(w.curve.Points) == 0 {
		w.refuse("curve", "none was given, nor a law: how far flow compresses the bed is not known", "give a measured curve, or a law fitted to one")
		return
	}
	u := c.PackingVelocity
	if u == 0 {
		u = w.consolidating()
		c.PackingVelocity = u
	}
	if u <= w.p.First.Velocity {
		w.refuse(fmt.Sprintf("packing velocity %v", u), fmt.Sprintf("it is not above the first, %v", w.p.First.Velocity), "lower the first or raise the second")
	}
	w.setSecond(u)
	s := &w.p.Second
	s.AdapterTravel = w.p.First.BedHeight - c.BedHeight
	if !known(s.CompressionFactor) {
		return
	}
	if s.CompressionFactor >= c.CompressionFactor {
		w.refuse(fmt.Sprintf("packing velocity %v", u), fmt.Sprintf("flow alone gives a factor of %.4g there, the adapter would have nothing to do", s.CompressionFactor),
			"pack by constant flow (plan.ConstantFlow), or give a lower packing velocity")
	}
	w.checkAdapterSpeed(s.Velocity)
	w.adapter(s.BedHeight, c.AdapterSpeed)
	w.p.Adapter.CompressionFactor = c.CompressionFactor / s.CompressionFactor
	w.adapterLoad()
	w.choices(w.p.First.Velocity)
	w.flowBuffer()
	w.cannot("the friction of the adapter's seal, which adds to the load shown")
	w.cannot("how much of the load the wall takes, without a measured friction: the bed is then denser at the top than at the bottom")
	if c.Law == nil {
		w.cannot("the load itself: no law of the bed was given")
	}
}

// consolidating is the velocity at which the pressure takes the usual part of the
// lowest limit, the end of the curve, or just below the target, whichever is lowest.
func (w *work) consolidating() units.Velocity {
	c := w.c
	u, why := w.curve.Last().Velocity, "the end of the curve"
	lower := func(v units.Velocity, reason string) {
		if v > 0 && v < u {
			u, why = v, reason
		}
	}
	for i, l := range []units.Pressure{c.Medium.MaxBedPressure, c.Column.MaxPressure, c.Limits.TubePressure, c.Limits.SystemPressure, c.Limits.PumpPressure, c.Limits.ReliefPressure} {
		if l > 0 {
			lower(w.velocityFor(l.Times(usualPart), i > 0), "70 % of the lowest pressure limit")
		}
	}
	lower(c.Column.Velocity(c.Limits.PumpFlow).Times(0.8), "80 % of the pump's flow")
	lower(c.Medium.MaxVelocity.Times(0.8), "80 % of the medium's velocity")
	lower(w.p.Reach.Critical.Times(0.75), "75 % of the critical velocity by the law")
	if v, err := w.curve.VelocityFor(1 + 0.8*(c.CompressionFactor-1)); err == nil {
		lower(v, "80 % of the compression, the adapter gives the rest")
	}
	w.taken("packing velocity %.4g cm/h: %s (common practice)", u.In(units.CentimetrePerHour), why)
	return u
}

// velocityFor is the velocity at which the pressure on the curve, with that of
// the empty column or without, comes to p; the end of the curve if it never does.
func (w *work) velocityFor(p units.Pressure, hardware bool) units.Velocity {
	low, high := units.Velocity(0), w.curve.Last().Velocity
	if hardware && w.hasHardware() {
		last := w.c.Hardware.Velocity
		high = min(high, last[len(last)-1])
	}
	pressure := func(u units.Velocity) units.Pressure {
		at := w.at(u).Pressure
		if hardware {
			at += w.hardware(u)
		}
		return at
	}
	if pressure(high) <= p {
		return high
	}
	for range 60 {
		if mid := (low + high) / 2; pressure(mid) < p {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// checkAdapterSpeed refuses an adapter that drives liquid through the bed faster
// than the flow did.
func (w *work) checkAdapterSpeed(most units.Velocity) {
	if v := w.c.AdapterSpeed; v > most.Times(1+1e-9) {
		w.refuse(fmt.Sprintf("adapter speed %s", speed(v)), "the liquid that it displaces would run through the bed faster than the flow before", fmt.Sprintf("drive the adapter at %s mm/s or less", number.AtMost(most.In(units.MillimetrePerSecond), 3)))
	}
}

func (w *work) hybridStages() {
	c, p := w.c, w.p
	a := p.Adapter
	w.prepareStage()
	w.pourStage()
	w.firstStage()
	w.firstAdapterStage()
	w.secondStage()
	v := open(outletToDrain).but(inletPath)
	s := w.stage("adapter compresses", v,
		v.first()+fmt.Sprintf("Flow off, and at once the sealed adapter down onto the bed: %s, from %s to %s at %s, the velocity of step 2, so that the displaced liquid holds the bed.\nThen on at %s to the target position: %s of travel in %s, a factor of %.3f on top of %.3f by flow. It displaces %s through the bed.\n%s",
			span((p.waits()-a.From).Passed(p.Second.Velocity)), w.place(p.waits()), w.place(a.From), speed(p.Second.Velocity), speed(a.Speed), cm(a.From-a.To), span(a.Time), a.CompressionFactor, p.Second.CompressionFactor, p.flow(a.Displaced), w.loadWords()),
		"force of the drive; stop when it rises without travel; beads at the seal", w.atMark()+", and force steady over 10 min (common practice)")
	s.Time, s.Velocity, s.Flow, s.BedHeight, s.Adapter = a.Time, a.Speed, a.Displaced, c.BedHeight, c.BedHeight
	w.row("☐ "+v.open[0]+" open before the adapter moves", "")
	w.loadRows()
	w.row("ruler: adapter at its target position", fmt.Sprintf("%s ± %.1f mm", w.ruler(c.BedHeight), c.TargetTolerance.In(units.Millimetre)))
	w.addPhase(phase{name: "adapter onto the bed", kind: catching, velocity: p.Second.Velocity, speed: p.Second.Velocity, held: true, pressureTo: p.Second.Pressure,
		bedFrom: p.Second.BedHeight, bedTo: p.Bed.SettledHeight, adapterFrom: p.waits(), adapterTo: p.Second.BedHeight})
	w.addPhase(phase{name: "adapter compresses", kind: driving, duration: a.Time, velocity: a.Speed, bedFrom: p.Second.BedHeight, bedTo: c.BedHeight, adapterFrom: p.Second.BedHeight, adapterTo: c.BedHeight,
		pressureFrom: p.Second.Pressure.Times(a.Speed.In(p.Second.Velocity)), pressureTo: w.packedPressure(a.Speed, p.Viscosity)})
	w.holdStage()
	w.testStage()
}

func (w *work) loadWords() string {
	a := w.p.Adapter
	if !known(a.Load) {
		return "Load of the adapter: not determined. Raise it slowly and write it down."
	}
	return fmt.Sprintf("By the law given the bed at its target height carries %.3g bar at rest, %s on the adapter, without friction of the seal; while it moves, the liquid's pressure adds.", a.Load.In(units.Bar), force(a.Force))
}

func (w *work) loadRows() {
	expected := "not determined"
	if a := w.p.Adapter; known(a.Load) {
		expected = force(a.Force)
	}
	w.row("force of the adapter at its target position", expected)
	w.row("force 10 min later", "a few % less at most")
}

func (w *work) holdStage() {
	c := w.c
	s := w.stage("hold", open(outletToDrain).but(inletPath),
		"Hold the adapter at its target position for 10 min and read the force again.\nLock it, open the inlet, run the packing velocity or that of the process step with the most drag, and look under the adapter.",
		"force falling off, a gap under the adapter at flow", "force fallen by a few % at most (common practice), no gap. A gap: drive on until it is closed, once; if it comes back, unpack and repack")
	s.Time, s.BedHeight, s.Adapter = 10*units.Minute, c.BedHeight, c.BedHeight
	w.addPhase(phase{name: "hold", kind: resting, duration: 1 * units.Minute, bedFrom: c.BedHeight, bedTo: c.BedHeight, adapterFrom: c.BedHeight, adapterTo: c.BedHeight})
}

// Plan computes the procedure. The plateau of each pressure is read from the
// curve, with that of the empty column; while the bed forms to the height h, of
// L0 in the end, the flow is
//
//	u = min(pump, u(plateau)·L0/h)
//
// so that its time is ∫ dh/U(u) with the growth U after Kynch. The densest bed
// that any density gives has U = u·φ0/(φm - φ0), the longest time. It refuses
// what ConstantFlow refuses, and a missing pressure. Without a curve or law flow
// and factor are not determined.
func (c ConstantPressure) Plan() (Procedure, error) {
	return request(constantPressure, c).plan((*work).computePressure, (*work).pressureStages)
}

const pressureSteps = 4

func (w *work) computePressure() {
	c := &w.c
	w.cannot("the flow while the bed forms, better than the law of the curve: it falls with the height that the bed has reached")
	w.cannot("what the slope of the flow means: a clogged net and a bed that closes look alike")
	if c.PackingPressure == 0 {
		w.refuse("packing pressure", "it was not given", "write for example 0.8 * Bar; practice stays at 70 to 80 % of the weakest part's limit")
		return
	}
	w.p.First.BedHeight = w.p.Bed.SettledHeight
	w.p.First.AdapterTravel = w.p.Pour.SlurryHeight - w.p.First.BedHeight
	w.p.First.GravityTime = w.settle(0, 1, w.p.Pour.SlurryHeight)
	if len(w.curve.Points) == 0 {
		w.notChecked("flow and compression factor at %.3g bar: not determined (neither curve nor law), so against velocity limits and process steps", c.PackingPressure.In(units.Bar))
		w.testBuffer()
		return
	}
	total := func(u units.Velocity) units.Pressure { return w.at(u).Pressure + w.hardware(u) }
	if most := total(w.velocityFor(c.PackingPressure, true)); most < c.PackingPressure.Times(1-1e-6) {
		w.refuse(fmt.Sprintf("packing pressure %.3g bar", c.PackingPressure.In(units.Bar)), "curve and readings of the empty column end below it; they are not extrapolated",
			fmt.Sprintf("ask for %s bar or less, or measure on if every limit allows it", number.AtMost(most.In(units.Bar), 3)))
		return
	}
	first := w.velocityFor(c.PackingPressure.Times(1./pressureSteps), true)
	top := w.pumpVelocity()
	if math.IsInf(float64(top), 1) {
		w.notChecked("flow at the start, when the bed is low (neither pump flow nor velocity limit given)")
	}
	f := &w.p.First
	at := w.at(first)
	f.Velocity, f.Flow, f.CompressionFactor, f.Pressure = first, c.Column.Flow(first), at.CompressionFactor, at.Pressure
	f.BedHeight = w.p.Bed.SettledHeight.Times(1 / at.CompressionFactor)
	f.Recovers = w.p.Bed.SettledHeight - f.BedHeight
	f.AdapterTravel = w.p.Pour.SlurryHeight - f.BedHeight
	f.Time, f.TimeAtHalfDensity, f.Bound = w.formed(first, top, 1), w.formed(first, top, 0.5), w.formed(first, top, 0)
	f.Volume = c.Column.Volume(w.p.Pour.SlurryHeight - w.p.Bed.SettledHeight)
	f.ColumnVolumes = f.Volume.In(w.p.Bed.ColumnVolume)
	w.use(first, at.Pressure)
	w.setSecond(w.velocityFor(c.PackingPressure, true))
	w.p.Second.AdapterTravel = f.BedHeight - c.BedHeight
	w.catch()
	w.choices(first)
	w.flowBuffer()
}

// pumpVelocity is the highest velocity of the pump, or of the medium, while the bed
// is low; infinite if neither was given.
func (w *work) pumpVelocity() units.Velocity {
	top := units.Velocity(math.Inf(1))
	for _, l := range []units.Velocity{w.c.Column.Velocity(w.c.Limits.PumpFlow), w.c.Medium.MaxVelocity} {
		if l > 0 {
			top = min(top, l)
		}
	}
	return top
}

// formed is the time in which the bed forms at a pressure whose plateau is u; at
// density factor zero the longest time of any beads.
func (w *work) formed(plateau, top units.Velocity, factor float64) units.Time {
	s := w.inColumn()
	if s.Concentration >= 1 {
		return 0
	}
	const n = 24
	settled := w.p.Bed.SettledHeight
	var t units.Time
	for i := range n {
		part := (float64(i) + 0.5) / n
		u := min(top, plateau.Times(1/part))
		growth := u.Times(float64(s.Concentration) / (1 - float64(s.Concentration))) // φ0/(φm - φ0)
		if factor > 0 {
			out, err := w.suspension(s, u, factor).Settle(w.p.Pour.SlurryHeight)
			if err != nil {
				w.refuseError(err)
				return units.Time(nan)
			}
			growth = out.Growth
		}
		t += settled.Times(1. / n).Passed(growth)
	}
	return t
}

func (w *work) pressureStages() {
	p := w.p
	w.prepareStage()
	w.pourStage()
	w.sealStage()
	for i := range pressureSteps {
		w.pressureStage(i)
		if i > 0 {
			continue
		}
		if known(p.First.Time) {
			w.addPhase(phase{name: "pressure 1 of 4", kind: forming, duration: p.First.Time, velocity: p.First.Velocity, most: w.pumpVelocity(), bedFrom: p.Pour.SlurryHeight, bedTo: p.First.BedHeight,
				pressureTo: p.First.Pressure, suspension: w.suspension(w.inColumn(), p.First.Velocity, 1)})
		}
		w.firstAdapterStage()
	}
	w.catchStage()
	s := w.stage("not at the target position", w.again(), fmt.Sprintf("Run the last pressure again. If a gap of more than %v shows, lower the adapter again, once, path ticked first. If the bed was steady and too high under that pressure, the same pressure does not help: unpack and repack, as also if the second lowering misses (common practice).", w.c.TargetTolerance), "a gap under the adapter at flow", "adapter at its target position without a gap")
	s.Adapter = w.c.BedHeight
	w.testStage()
}

// pressureStage is one of the steps of pressure, the first of which forms the bed.
func (w *work) pressureStage(i int) {
	c, p := w.c, w.p
	set := c.PackingPressure.Times(float64(i+1) / pressureSteps)
	s := w.stage(fmt.Sprintf("pressure %d of %d", i+1, pressureSteps), open(inletFromPump+" on pressure control", outletToDrain), "",
		"pressure, never above the set point; flow falling; level", "flow within 2 % over one column volume (common practice), level within 1 mm")
	flow := "the flow falls as the bed forms, then comes to a plateau"
	if len(w.curve.Points) == 0 {
		w.row("flow at "+bar(set)+" bar", "not determined")
	} else {
		u := w.velocityFor(set, true)
		at := w.at(u)
		s.Velocity, s.Flow, s.Pressure, s.BedHeight = u, c.Column.Flow(u), at.Pressure, p.Bed.SettledHeight.Times(1/at.CompressionFactor)
		flow = fmt.Sprintf("the flow comes to a plateau at about %s, the bed to %s", p.flow(s.Flow), w.place(s.BedHeight))
		w.row("flow at "+bar(set)+" bar", p.flow(s.Flow))
		w.bedRow("bed at "+bar(set)+" bar", s.BedHeight)
		s.Adapter = p.waits()
		if i == 0 {
			s.Time, s.Longest, s.Volume, s.Adapter = p.First.Time, p.First.Bound, p.First.Volume, p.Pour.SlurryHeight
			flow += fmt.Sprintf("; the bed forms in about %s, %s at half the density excess, never over %s", span(p.First.Time), span(p.First.TimeAtHalfDensity), spanBound(p.First.Bound))
		} else {
			last := w.at(w.velocityFor(c.PackingPressure.Times(float64(i)/pressureSteps), true))
			before := last
			if i == 1 { // from rest, after the stop for the adapter
				before = bed.Point{CompressionFactor: 1, Pressure: at.Pressure}
			}
			w.addPhase(phase{name: s.Name, kind: pressing, velocity: u, before: before.Velocity, velocityFrom: last.Velocity.Times(at.Pressure.In(last.Pressure)),
				lost: p.Bed.SettledHeight.Times(1/before.CompressionFactor - 1/at.CompressionFactor), bedTo: s.BedHeight, pressureFrom: at.Pressure, pressureTo: at.Pressure,
				adapterFrom: s.Adapter, adapterTo: s.Adapter})
		}
	}
	s.Do = fmt.Sprintf("Raise the pressure at the inlet to %s bar over half a minute; %s.", bar(set), flow)
}

// Plan computes the procedure: the bed settles by gravity, or under the first
// velocity; the adapter goes from L0 to L = L0/CF at its speed, with the outlet
// open. The load that holds the bed there at rest comes from the law; without one
// it is not determined. Duties are held against the flow that would compress the bed as
// far. It refuses what
// ConstantFlow refuses, a force above that of the drive, and a factor that no load
// reaches.
func (c AxialCompression) Plan() (Procedure, error) {
	return request(axialCompression, c).plan((*work).computeAxial, (*work).axialStages)
}

func (w *work) computeAxial() {
	c := w.c
	w.first()
	f := &w.p.First
	f.BedHeight, f.Recovers = w.p.Bed.SettledHeight, 0 // at rest when the adapter comes
	f.AdapterTravel = w.p.Pour.SlurryHeight - f.BedHeight
	w.p.Second.AdapterTravel = f.BedHeight - c.BedHeight
	w.adapter(f.BedHeight, c.AdapterSpeed)
	w.p.Adapter.CompressionFactor = c.CompressionFactor
	w.adapterLoad()
	w.displacing()
	w.choices(c.FirstVelocity)
	w.buffer("rinse", c.Rinse)
	if known(f.Bound) {
		w.buffer("step 1, until its longest time", f.Flow.For(f.Bound))
	}
	w.testBuffer()
	w.cannot("the friction of the adapter's seal, which adds to the load shown")
	w.cannot("how even the bed is along its height: friction at the wall leaves the bottom looser than the top, the more the narrower the column; top and bottom voids shown hold for the friction given")
	w.cannot("the pressure-flow curve of the bed: measure it after packing")
	if c.Law == nil {
		w.cannot("the load: no law of the bed was given")
	}
}

// displacing adds the liquid that the adapter drives through the bed to what the
// limits are held against, where the law tells its pressure.
func (w *work) displacing() {
	if w.c.Law != nil {
		p := w.packedPressure(w.c.AdapterSpeed, w.p.Viscosity)
		w.uses = append(w.uses, use{w.c.AdapterSpeed, p, p, true})
	}
}

func (w *work) axialStages() {
	w.prepareStage()
	w.pourStage()
	w.axialSteps()
	w.testStage()
}

func (w *work) axialSteps() {
	c, p := w.c, w.p
	if c.FirstVelocity > 0 {
		w.firstStage()
	} else {
		v, top := open(openTop).but(outletPath), units.Length(0)
		if c.Method == suctionFill {
			v, top = open(adapterVent).but(outletPath, "slurry port"), p.Pour.SlurryHeight
		}
		s := w.stage("settle", v,
			fmt.Sprintf("Leave the slurry to settle. About %.0f min; %.0f min if the density excess is half of %v.\nNo vibration, no draught of warm air.", p.First.Time.In(units.Minute), 2*p.First.Time.In(units.Minute), c.Medium.DensityExcess),
			"the edge of the clear liquid coming down; a surface that is not level", "bed height within 1 mm over 10 min (common practice), liquid above clear")
		s.Time, s.BedHeight = p.First.Time, p.Bed.SettledHeight
		if top > 0 {
			s.Adapter = top
		}
		w.row("time of settling", fmt.Sprintf("%.0f to %.0f min", p.First.Time.In(units.Minute), 2*p.First.Time.In(units.Minute)))
		w.bedRow("settled bed", p.Bed.SettledHeight)
		w.addPhase(phase{name: "settle", kind: settling, duration: p.First.Time, bedFrom: p.Pour.SlurryHeight, bedTo: p.Bed.SettledHeight, suspension: w.suspension(w.inColumn(), 0, 1), adapterFrom: top, adapterTo: top})
	}
	w.firstAdapterStage()
	a := p.Adapter
	v := open(outletToDrain).but(inletPath)
	s := w.stage("compress", v,
		v.first()+fmt.Sprintf("Drive the sealed adapter onto the bed and on at constant speed, %s, from %s to the target position: %s in %s.\nIt displaces %s through the bed, out of the outlet.\n%s",
			speed(a.Speed), w.place(a.From), cm(a.From-a.To), span(a.Time), p.flow(a.Displaced), w.loadWords()),
		"force of the drive, rising with travel; liquid leaving as fast as the adapter goes", w.atMark())
	s.Time, s.Velocity, s.Flow, s.Volume, s.BedHeight, s.Adapter = a.Time, a.Speed, a.Displaced, a.Displaced.For(a.Time), c.BedHeight, c.BedHeight
	w.row("☐ "+v.open[0]+" open before the adapter moves", "")
	w.loadRows()
	w.row("ruler: adapter at its target position", fmt.Sprintf("%s ± %.1f mm", w.ruler(c.BedHeight), c.TargetTolerance.In(units.Millimetre)))
	pressure := units.Pressure(nan)
	if n := len(w.uses); n > 0 && known(a.Load) {
		pressure = w.uses[n-1].pressure
		s.Pressure = pressure
	}
	w.addPhase(phase{name: "compress", kind: driving, duration: a.Time, velocity: a.Speed, bedFrom: a.From, bedTo: a.To, adapterFrom: a.From, adapterTo: a.To, pressureFrom: pressure.Times(1 / p.Bed.PressureRatio), pressureTo: pressure})
	w.holdStage()
}

// Plan computes the procedure: the adapter goes up from near the bottom net to
// the height of the slurry and draws V = A·L0/C in, then packs by the adapter
// (AxialCompression) or by flow (ConstantFlow). The vacuum that lifts the slurry
// is at least ρgh, with the lift h. It refuses what those refuse, and a lift
// beyond half a bar.
func (c SuctionFill) Plan() (Procedure, error) {
	return request(suctionFill, c).plan((*work).computeSuction, (*work).suctionStages)
}

func (w *work) computeSuction() {
	c := &w.c
	if c.DrawSpeed == 0 {
		c.DrawSpeed = w.p.Pour.SlurryHeight.Within(w.p.Pour.ClearLayer)
		w.taken("speed of drawing %s, so that the slurry is in before 1 cm of it clears", speed(c.DrawSpeed))
	}
	if t := w.p.Pour.SlurryHeight.Passed(c.DrawSpeed); t > w.p.Pour.ClearLayer.Times(1+1e-9) {
		w.caution("Drawing takes %s, and 1 cm of clear liquid forms in %s: what comes first settles first. Draw faster if the hose allows it.", span(t), span(w.p.Pour.ClearLayer))
	}
	switch vacuum := w.vacuum(); {
	case c.Lift == 0:
		w.notChecked("vacuum that lifts the slurry (no lift given); hoses and valves add to it")
	case vacuum > mostVacuum:
		w.refuse(fmt.Sprintf("lift %v", c.Lift), fmt.Sprintf("it takes %.2f bar of vacuum without hoses and valves; beyond %.1f bar liquid gives off gas (common practice)", vacuum.In(units.Bar), mostVacuum.In(units.Bar)),
			fmt.Sprintf("raise the tank to a lift of %s m or less, or pump the slurry", number.AtMost(c.Lift.Times(mostVacuum.In(vacuum)).In(units.Metre), 3)))
	}
	if c.Then == ByFlow {
		w.computeFlow()
	} else {
		w.computeAxial()
	}
	w.cannot("the vacuum that hoses, valve and nozzle add at the speed of drawing: try it with liquid")
	w.cannot("whether the bed is even: slurry that enters through a nozzle swirls")
}

// vacuum is what lifts the slurry, ρgh.
func (w *work) vacuum() units.Pressure {
	m := w.c.Medium
	rho := 1000 + float64(m.DensityExcess)*w.c.Slurry.Solids(m)
	return units.Pressure(rho * 9.80665 * float64(w.c.Lift))
}

func (w *work) suctionStages() {
	c, p := w.c, w.p
	v := open(adapterVent, outletToDrain).but("slurry port")
	s := w.stage("prepare", v,
		v.first()+"De-air the bottom net from below.\nFill the column with a few centimetres of liquid, lower the adapter into it, seal it and vent it until no air is left.\nFill the suction hose with liquid and keep its end low in the stirred slurry.",
		"bubbles under the adapter and in the hose", "no air anywhere; the end of the hose stays under the slurry to the last")
	s.Adapter = 2 * units.Centimetre
	w.leakStage()
	t := p.Pour.SlurryHeight.Passed(c.DrawSpeed)
	q := c.Column.Flow(c.DrawSpeed)
	lift := "Vacuum not determined."
	if c.Lift > 0 {
		lift = fmt.Sprintf("The lift of %v alone takes %.2f bar of vacuum; hoses and valves add.", c.Lift, w.vacuum().In(units.Bar))
	}
	dead := ""
	if c.DeadVolume > 0 {
		dead = fmt.Sprintf(" Prepare %s: %s stays behind.", volume(p.Pour.Prepared), volume(c.DeadVolume))
	}
	v = open("slurry port while drawing", adapterVent+" before the port is shut, and from then on").but(inletPath, outletPath)
	s = w.stage("slurry transfer, drawn", v,
		v.first()+fmt.Sprintf("Stir the tank (no magnetic bar).\nShut inlet and outlet, open the slurry port and raise the adapter at %s, %s of slurry: %s at %v in %s, to %s.\n%s%s\nBefore the hose draws air: vent of the adapter open to liquid, and only when it is, the port shut.",
			speed(c.DrawSpeed), p.flow(q), volume(p.Pour.SlurryVolume), c.Slurry.Concentration, span(t), w.place(p.Pour.SlurryHeight), lift, dead),
		"air in the hose or under the adapter: stop; gauge below zero", fmt.Sprintf("%s in the column, vent open, port shut; 1 cm of clear liquid forms within %.0f s", volume(p.Pour.SlurryVolume), p.Pour.ClearLayer.In(units.Second)))
	s.Time, s.Velocity, s.Flow, s.Volume, s.BedHeight, s.Adapter = t, c.DrawSpeed, q, p.Pour.SlurryVolume, p.Pour.SlurryHeight, p.Pour.SlurryHeight
	w.row("slurry concentration", c.Slurry.Concentration.String())
	w.row("temperature of slurry and column", c.Temperature.String())
	w.row("slurry transferred", volume(p.Pour.SlurryVolume))
	w.row("ruler: adapter after drawing", w.ruler(p.Pour.SlurryHeight))
	w.row("lowest pressure while drawing", fmt.Sprintf("-%.2f bar and what hoses add", w.vacuum().In(units.Bar)))
	w.addPhase(phase{name: "draw", kind: filling, duration: t, velocity: c.DrawSpeed, bedFrom: 2 * units.Centimetre, bedTo: p.Pour.SlurryHeight, adapterFrom: 2 * units.Centimetre, adapterTo: p.Pour.SlurryHeight})
	if c.Then == ByFlow {
		w.flowSteps()
	} else {
		w.axialSteps()
	}
	w.testStage()
}

// Plan computes the procedure from the balance of the medium,
//
//	V·C/(A·L) = CF,  t = V/Q
//
// with the slurry V pumped at the flow Q into a column of fixed height L. At the
// end the flow stops and the beads carry the pump's pressure: the least pressure
// for the factor is read where the curve has it. It refuses what ConstantFlow
// refuses, a missing fill flow, and a missing pressure where there is no curve. A
// pressure below that of the curve is warned of.
func (c PackInPlace) Plan() (Procedure, error) {
	return request(packInPlace, c).plan((*work).computeInPlace, (*work).inPlaceStages)
}

func (w *work) computeInPlace() {
	c := &w.c
	w.cannot("the compression factor reached: it follows from how much slurry goes in, so weigh or read the tank")
	w.cannot("the pressure while it fills: the bed grows from both nets towards the nozzle, so flow and height are shared")
	w.cannot("how even the bed is around the nozzle")
	if c.FillFlow == 0 {
		w.refuse("fill flow", "it was not given", "write for example 300 * LitrePerHour")
	}
	need := units.Pressure(nan)
	if len(w.curve.Points) > 0 {
		u, err := w.curve.VelocityFor(c.CompressionFactor)
		if err != nil {
			w.tooFar(err)
			return
		}
		need = w.at(u).Pressure
	}
	switch {
	case c.PackingPressure == 0 && known(need):
		c.PackingPressure = need
		w.taken("packing pressure %.3g bar, where the %s has a factor of %v", need.In(units.Bar), curveName(w.curve), c.CompressionFactor)
	case c.PackingPressure == 0:
		w.refuse("packing pressure", "it was not given, and no curve tells what the factor takes", "give the pressure at which the pump is stopped, or a measured curve")
	case !known(need):
		w.notChecked("whether %v presses the bed to a factor of %v (no curve)", c.PackingPressure, c.CompressionFactor)
	case c.PackingPressure < need.Times(1-1e-9):
		w.caution("The factor takes about %.3g bar by the %s; at %.3g bar the flow stops before all slurry is in.", need.In(units.Bar), curveName(w.curve), c.PackingPressure.In(units.Bar))
	}
	w.p.Second.AdapterTravel = 0
	w.uses = append(w.uses, use{c.Column.Velocity(c.FillFlow), c.PackingPressure, c.PackingPressure, false})
	if t := w.p.Pour.Prepared.PumpedAt(c.FillFlow); t > w.p.Pour.ClearLayer {
		w.caution("Filling takes %s, and 1 cm of clear liquid forms in %s: the tank must be stirred from top to bottom until the end, and the hose must not stand still.", span(t), span(w.p.Pour.ClearLayer))
	}
	w.testBuffer()
	w.buffer("flushing the nozzle", w.p.Bed.ColumnVolume.Times(0.2))
}

func (w *work) inPlaceStages() {
	c, p := w.c, w.p
	t := p.Pour.SlurryVolume.PumpedAt(c.FillFlow)
	both := open("outlets of both nets to the drain")
	s := w.stage("prepare", both.but("nozzle"),
		fmt.Sprintf("Fix the head plate or adapter at %s and lock it.\nFill the column with liquid from below until no air is left, also between the nets and in the nozzle.\nCirculate the slurry through tank and hose.", w.place(c.BedHeight)),
		"bubbles at vents; level of the head plate", "no air anywhere, head plate locked at its position")
	s.Adapter = c.BedHeight
	w.leakStage()
	dead := ""
	if c.DeadVolume > 0 {
		dead = fmt.Sprintf(" %s of the %s prepared stays behind.", volume(c.DeadVolume), volume(p.Pour.Prepared))
	}
	s = w.stage("fill", both.but(),
		fmt.Sprintf("Nozzle in mid position. Pump stirred slurry of %v (no magnetic bar, low-shear pump) at %s: %s in about %s. Liquid leaves through the nets, the bed grows from them.%s",
			c.Slurry.Concentration, p.flow(c.FillFlow), volume(p.Pour.SlurryVolume), span(t), dead),
		"pressure at the pump, beads in what leaves, slurry left in the tank", "pressure begins to rise steeply: go to the next step")
	s.Time, s.Flow, s.Velocity, s.Volume, s.Adapter = t, c.FillFlow, c.Column.Velocity(c.FillFlow), p.Pour.SlurryVolume, c.BedHeight
	s = w.stage("fill until the flow stops", both.but(),
		fmt.Sprintf("Hold the pressure at the pump at %s bar and let the flow fall.", bar(c.PackingPressure)),
		"pressure, never above the set point; flow falling", fmt.Sprintf("flow below 5 %% of %s at %s bar (common practice), and %s of slurry gone in: %s/(area · %s) is a factor of %v", p.flow(c.FillFlow), bar(c.PackingPressure), volume(p.Pour.SlurryVolume), "volume · concentration", cm(c.BedHeight), c.CompressionFactor))
	s.Pressure, s.BedHeight, s.Adapter = c.PackingPressure, c.BedHeight, c.BedHeight
	s = w.stage("close", both.but("nozzle, before the pump is stopped"),
		"Shut or withdraw the nozzle under pressure, stop the pump, open a vent of the slurry line slowly. One outlet stays open to the drain.\nFlush nozzle and hose away from the bed.",
		"pressure falling to zero in the line before it is opened", "nozzle shut and flushed clean")
	s.BedHeight, s.Adapter = c.BedHeight, c.BedHeight
	w.row("slurry concentration", c.Slurry.Concentration.String())
	w.row("temperature of slurry and column", c.Temperature.String())
	w.row("height of the head plate", cm(c.BedHeight))
	w.row("slurry in the tank before", volume(p.Pour.Prepared)+" or more")
	w.row("flow while filling", p.flow(c.FillFlow))
	w.row("time of filling", span(t))
	w.row("pressure at the end", bar(c.PackingPressure)+" bar")
	w.row("slurry gone in", volume(p.Pour.SlurryVolume))
	w.row("factor from it", fmt.Sprint(c.CompressionFactor))
	w.addPhase(phase{name: "fill", kind: growing, duration: t, velocity: c.Column.Velocity(c.FillFlow), bedFrom: 0, bedTo: c.BedHeight, adapterFrom: c.BedHeight, adapterTo: c.BedHeight, pressureTo: c.PackingPressure})
	w.testStage()
}
