package plan

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/units"
)

// gauge works out what the gauge shows at the end of each step with flow, when to
// act and when to stop.
func (w *work) gauge() {
	c, p := w.c, w.p
	settled := p.Bed.SettledHeight
	height := func(cf float64) units.Length { return settled.Times(1 / cf) }
	switch {
	case c.Method == packInPlace:
		w.gaugeRow("fill until the flow stops", c.Column.Velocity(c.FillFlow), c.PackingPressure, c.BedHeight)
	case c.Method == constantPressure:
		for i := range pressureSteps {
			set := c.PackingPressure.Times(float64(i+1) / pressureSteps)
			if set == 0 {
				break
			}
			u, l := units.Velocity(nan), units.Length(nan)
			if len(w.curve.Points) > 0 {
				u = w.velocityFor(set, true)
				l = height(w.at(u).CompressionFactor)
			}
			w.gaugeRow(fmt.Sprintf("pressure %d of %d", i+1, pressureSteps), u, set, l)
		}
	default:
		if u := p.First.Velocity; u > 0 {
			w.gaugeRow("step 1", u, p.First.Pressure+w.hardware(u), p.First.BedHeight)
		}
		for i, r := range p.Second.Raise {
			name := fmt.Sprintf("step 2, %d of %d", i+1, len(p.Second.Raise))
			if known(r.After) {
				name = "step 2, ramp after " + span(r.After)
			}
			w.gaugeRow(name, r.Velocity, r.Pressure+w.hardware(r.Velocity), r.BedHeight)
		}
		if u := p.Third.Velocity; known(u) {
			w.gaugeRow("step 3, if needed", u, p.Third.Pressure+w.hardware(u), height(p.Third.CompressionFactor))
		}
	}
	if known(w.strength()) {
		u := c.Test.Velocity
		w.gaugeRow("test", u, w.packedPressure(u, p.Viscosity)+w.testHardware(u), c.BedHeight)
	}
	if len(p.Gauge) > 0 && c.Site.Gauge == "" {
		w.notChecked("which gauge the pressures are read at, and where it stands (not named)")
	}
}

// testHardware is the empty column's part at the test's velocity; zero below its
// first reading, where it was not measured.
func (w *work) testHardware(u units.Velocity) units.Pressure {
	if !w.hasHardware() {
		return 0
	}
	p, err := w.c.Hardware.At(u)
	if err != nil {
		return 0
	}
	if mu := w.c.Hardware.Viscosity; mu > 0 {
		p = p.Times(w.p.Viscosity.In(mu))
	}
	return p
}

func (w *work) gaugeRow(step string, u units.Velocity, expected units.Pressure, height units.Length) {
	g := GaugeRow{Step: step, Velocity: u, BedHeight: height, Expected: expected, Act: units.Pressure(nan), Error: units.Pressure(nan)}
	g.Stop, g.StopBy = w.stop(u)
	if a := w.c.Site.ActAbove; a > 0 && known(expected) {
		g.Act = expected.Times(1 + float64(a))
		if g.Act > g.Stop { // never above the marks
			g.Act = g.Stop
		}
	}
	if len(w.curve.StdErr) > 0 && known(u) {
		if at, err := w.curve.At(u); err == nil {
			if upper, err := w.curve.Upper(u); err == nil {
				g.Error = upper - at.Pressure
			}
		}
	}
	w.p.Gauge = append(w.p.Gauge, g)
}

// stop is the lowest of the medium's limit with the empty column's part at that
// flow and of what is marked on the parts, to which nothing is added.
func (w *work) stop(u units.Velocity) (units.Pressure, string) {
	c := w.c
	stop, by := units.Pressure(math.Inf(1)), ""
	lower := func(p units.Pressure, name string) {
		if p > 0 && p < stop {
			stop, by = p, name
		}
	}
	if m := c.Medium.MaxBedPressure; m > 0 {
		add := units.Pressure(0)
		name := "medium; empty column not known, nothing added"
		if w.hasHardware() && known(u) {
			add = w.testHardware(u)
			name = "medium, with the empty column's part"
		}
		lower(m+add, name)
	}
	lower(c.Limits.TubePressure, "tube")
	lower(c.Column.MaxPressure, "column")
	lower(c.Limits.SystemPressure, "system")
	lower(c.Limits.ReliefPressure, "relief device or trip")
	lower(c.Limits.PumpPressure, "pump")
	lower(w.plate(), "end plate")
	if by == "" {
		return units.Pressure(nan), "no limit given"
	}
	return stop, by
}

// highestExpected is the highest pressure that the gauge is to show; NaN if none is
// known.
func (p Procedure) highestExpected() units.Pressure {
	most := units.Pressure(nan)
	for _, g := range p.Gauge {
		if !known(most) || g.Expected > most {
			most = g.Expected
		}
	}
	return most
}

// raise fills in how the flow is raised from that of step 1 to u: by equal factors,
// or evenly in a ramp, of which four points are told.
func (w *work) raise(u units.Velocity) {
	c, s := w.c, &w.p.Second
	from := w.p.First.Velocity
	if !(from > 0) || !(u > from) {
		from = u.Times(1. / 4)
	}
	n, ramp := c.RaiseSteps, c.Ramp > 0
	if ramp {
		n = 4
	}
	for i := range n {
		x := float64(i+1) / float64(n)
		v := from.Times(math.Pow(u.In(from), x))
		after := units.Time(nan)
		if ramp {
			v, after = from+(u-from).Times(x), c.Ramp.Times(x)
		}
		if i == n-1 {
			v = u
		}
		r := RaiseStep{Velocity: v, Flow: c.Column.Flow(v), CompressionFactor: s.CompressionFactor, Pressure: s.Pressure, BedHeight: s.BedHeight, After: after}
		if i < n-1 {
			at := w.at(v)
			r.CompressionFactor, r.Pressure, r.BedHeight = at.CompressionFactor, at.Pressure, w.p.Bed.SettledHeight.Times(1/at.CompressionFactor)
		}
		s.Raise = append(s.Raise, r)
	}
}

// lowering holds speeds of the adapter against what the bed does meanwhile:
//
//	outlet shut: the surface starts to rise at u2; met after g/(v + u2)
//	outlet open: at u2 - v, since the displaced liquid flows on at v; met after g/u2,
//	             and never beyond the height of the bed under the flow v
//
// with the velocity u2 of the flow before, the speed v of the adapter and its
// distance g from the bed. Friction and the beads' own slowness make it less.
func (w *work) lowering() {
	c, s, a := w.c, w.p.Second, w.p.Adapter
	if !known(s.BedHeight) || !known(a.From) {
		return
	}
	u := s.Velocity
	speeds := []units.Velocity{}
	for _, x := range []float64{0.1, 0.25, 0.5, 1, 2} {
		speeds = append(speeds, u.Times(x))
	}
	own := c.AdapterSpeed
	for i, v := range speeds {
		if math.Abs(v.In(own)-1) < 1e-9 {
			break
		}
		if v > own || i == len(speeds)-1 {
			if v <= own {
				i++
			}
			speeds = append(speeds[:i], append([]units.Velocity{own}, speeds[i:]...)...)
			break
		}
	}
	for _, v := range speeds {
		l := Lowering{Speed: v, Time: (a.From - a.To).Passed(v), Shut: w.risen(OutletShut, v), Open: w.risen(OutletOpen, v), Pressure: units.Pressure(nan), Force: units.Force(nan)}
		if v <= u.Times(1+1e-9) {
			l.Pressure = w.at(min(v, u)).Pressure
			l.Force = l.Pressure.On(w.p.Bed.Area)
		}
		w.p.Lowering = append(w.p.Lowering, l)
	}
}

// risen is how far the bed has come up at most when an adapter of speed v meets it.
func (w *work) risen(catch Catch, v units.Velocity) units.Length {
	s := w.p.Second
	gap := w.p.Adapter.From - s.BedHeight
	if catch == OutletShut {
		up, err := bed.Rise{Velocity: s.Velocity, Height: s.BedHeight, Settled: w.p.Bed.SettledHeight}.AtMost(gap.Passed(v + s.Velocity))
		w.refuseError(err)
		return up
	}
	if v > s.Velocity.Times(1+1e-9) {
		return units.Length(nan)
	}
	v = min(v, s.Velocity)
	under := w.p.Bed.SettledHeight.Times(1 / w.at(v).CompressionFactor)
	return max(0, min((s.Velocity-v).For(gap.Passed(s.Velocity)), under-s.BedHeight))
}

// forceAtLimit is the force of the drive at which the medium's limit is met, the
// bed carrying it alone; NaN without a limit.
func (w *work) forceAtLimit() units.Force {
	if m := w.c.Medium.MaxBedPressure; m > 0 {
		return m.On(w.p.Bed.Area)
	}
	return units.Force(nan)
}
