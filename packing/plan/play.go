package plan

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// Play is a procedure played forward in time: what bed, clear liquid, adapter,
// pressure and flow would do if the beads were alike and the wall without
// friction. It is for teaching, and to hold a recorded pack against.
type Play struct {
	Title   string
	Moments []Moment
	Steps   []PlayedStep
	Notes   []string // what was left out

	column packing.Column
	tube   units.Length
}

// A Moment is the column at a time. A number that is not known, or does not
// apply, is NaN.
type Moment struct {
	Time      units.Time
	Bed       units.Length // surface of the bed
	Interface units.Length // upper edge of the slurry; NaN: no slurry is left
	Liquid    units.Length // upper edge of the liquid
	Adapter   units.Length // its lower face; NaN: out of the tube
	Velocity  units.Velocity
	Flow      units.VolumeFlow
	Pressure  units.Pressure // over the bed
}

// A PlayedStep is a step with its first and last moment, as indices of Moments.
type PlayedStep struct {
	Name        string
	First, Last int
}

// phaseKind tells how a phase is played.
type phaseKind int

const (
	settling phaseKind = iota // by Kynch, under a downflow
	forming                   // the same at constant pressure, the flow falling
	rising                    // flow off, the bed comes back
	pressing                  // by flow, after Terzaghi with a triangular load
	catching                  // flow off, adapter against the rising bed
	driving                   // by the adapter
	resting
	filling // the adapter draws slurry
	growing // between fixed nets
)

// A phase is what Play needs to know of a step.
type phase struct {
	name                     string
	kind                     phaseKind
	duration                 units.Time     // not of pressing and catching
	velocity                 units.Velocity // of the liquid; before the stop of rising and catching
	before                   units.Velocity // that flows already, of pressing
	lost                     units.Length   // by the change of flow, of pressing
	velocityFrom             units.Velocity // at the start of pressing, if it is not velocity
	most                     units.Velocity // that the pump gives, of forming; may be infinite
	speed                    units.Velocity // of the adapter that catches
	held                     bool           // the bed cannot rise
	bedFrom, bedTo           units.Length   // of settling and forming: from the slurry's height; pressing goes on from where the bed is
	pressureFrom, pressureTo units.Pressure
	adapterFrom, adapterTo   units.Length // zero: out of the tube
	suspension               bed.Suspension
}

func (w *work) addPhase(p phase) {
	if len(w.reasons) == 0 {
		w.p.phases = append(w.p.phases, p)
	}
}

// degree is the part of a compression that is reached after a time, for a load
// like that of a flow. Its scale follows from what the bed loses and how fast its
// surface starts: U = 2T early, so L0²/cv = 2·lost/velocity.
func degree(t units.Time, lost units.Length, start units.Velocity) float64 {
	if !(lost > 0) || !(start > 0) {
		return 1
	}
	// With k, M and L0 at one the viscosity is the scale.
	c := bed.Consolidation{Permeability: 1, Modulus: 1, SettledHeight: 1, Viscosity: units.Viscosity(2 * lost.Passed(start))}
	u, err := c.Degree(t)
	if err != nil {
		return nan
	}
	return u
}

// wholeDegree is the time factor at which a step is played to its end, 99.9 %.
const wholeDegree = 2.81

// Play plays the procedure forward. Slurry settles under the downflow after Kynch
// (bed.Suspension.Fronts); the bed is compressed and comes back after Terzaghi
// with the triangular load of a flow (bed.Consolidation), its surface starting at
// the velocity that was switched on or off. Pressure follows the height while the
// bed forms, and the compression after. It refuses a refused procedure, and one
// in which nothing can be played.
func (p Procedure) Play() (Play, error) {
	c := p.Request
	out := Play{Title: p.title(), column: c.Column, tube: p.tube()}
	if p.Refusal != nil {
		return out, p.Refusal
	}
	for _, ph := range p.phases {
		first := len(out.Moments)
		t0 := units.Time(0)
		if first > 0 {
			t0 = out.Moments[first-1].Time
		}
		if ph.kind == pressing && first > 0 {
			ph.bedFrom = out.Moments[first-1].Bed
		}
		moments, err := ph.play(p)
		if err != nil {
			return out, err
		}
		for _, m := range moments {
			m.Time += t0
			m.Flow = c.Column.Flow(m.Velocity)
			out.Moments = append(out.Moments, m)
		}
		if len(moments) > 0 {
			out.Steps = append(out.Steps, PlayedStep{ph.name, first, len(out.Moments) - 1})
		}
	}
	if len(out.Moments) == 0 {
		return out, &packing.InputError{Where: c.Column.Tag, What: "play", Problem: "nothing of the procedure can be played", Remedy: "give a measured curve, or a law of the bed"}
	}
	out.Notes = []string{
		"Beads of one size, no friction at the wall, a bed that answers at once: a teaching picture, not a forecast. Real beds creep on, and steps end on a criterion.",
		"Step 1 is played until the bed has its height, without the wait for a steady level; adapters travel at 5 mm/s where no speed was given.",
	}
	if p.byFlow() && !known(p.Second.BedHeight) {
		out.Notes = append(out.Notes, "The second step is not played: neither curve nor law tells what the bed does.")
	}
	if c.Method == packInPlace {
		out.Notes = append(out.Notes, "The height of the bed is that of both parts together, if all beads stay; the pressure on the way is not known.")
	}
	return out, nil
}

// byFlow tells whether flow is to compress the bed.
func (p Procedure) byFlow() bool {
	w := work{c: p.Request}
	return w.byFlow() || p.Request.Method == constantPressure || p.Request.Method == flowThenAdapter
}

// samples of a phase.
const samples = 60

func (ph phase) play(p Procedure) ([]Moment, error) {
	switch ph.kind {
	case settling:
		return ph.playSettling(p)
	case forming:
		return ph.playForming(p), nil
	case pressing:
		return ph.playPressing(), nil
	case catching:
		return ph.playCatching(), nil
	}
	var out []Moment
	for i := range samples + 1 {
		x := float64(i) / samples
		m := Moment{Time: ph.duration.Times(x), Interface: units.Length(nan), Adapter: ph.adapter(x), Velocity: ph.velocity, Pressure: between(ph.pressureFrom, ph.pressureTo, x)}
		switch ph.kind {
		case rising:
			m.Bed = between(ph.bedFrom, ph.bedTo, degree(m.Time, ph.bedTo-ph.bedFrom, ph.velocity))
			m.Velocity, m.Pressure = 0, 0
			m.Adapter = max(m.Adapter, m.Bed) // waits above a bed that comes up
			m.Liquid = m.Adapter
		case filling:
			m.Bed, m.Interface, m.Liquid, m.Pressure = 0, m.Adapter, m.Adapter, units.Pressure(nan)
		case growing:
			m.Bed, m.Interface, m.Liquid, m.Pressure = between(ph.bedFrom, ph.bedTo, x), m.Adapter, m.Adapter, units.Pressure(nan)
			if i == samples {
				m.Interface, m.Pressure = units.Length(nan), ph.pressureTo
			}
		case driving:
			m.Bed, m.Liquid = m.Adapter, m.Adapter
		case resting:
			m.Bed, m.Liquid, m.Velocity, m.Pressure = ph.bedTo, m.Adapter, 0, 0
		}
		out = append(out, m)
	}
	return out, nil
}

func between[T ~float64](a, b T, x float64) T { return a + T(x)*(b-a) }

func (ph phase) adapter(x float64) units.Length {
	if ph.adapterFrom == 0 && ph.adapterTo == 0 {
		return units.Length(nan)
	}
	return between(ph.adapterFrom, ph.adapterTo, x)
}

func (ph phase) playSettling(p Procedure) ([]Moment, error) {
	if ph.duration == 0 {
		return nil, nil
	}
	fronts, err := ph.suspension.Fronts(ph.bedFrom)
	if err != nil {
		return nil, err
	}
	var out []Moment
	settled := p.Bed.SettledHeight
	k := 0
	for i := range samples + 1 {
		t := fronts[len(fronts)-1].Time.Times(float64(i) / samples)
		for k < len(fronts)-2 && fronts[k+1].Time < t {
			k++
		}
		a, b := fronts[k], fronts[k+1]
		x := (t - a.Time).In(b.Time - a.Time)
		part := between(a.Bed, b.Bed, x).In(settled) // of the settled bed
		m := Moment{Time: t, Interface: between(a.Interface, b.Interface, x), Liquid: ph.bedFrom, Adapter: ph.adapter(0),
			Velocity: ph.velocity, Pressure: ph.pressureTo.Times(part)}
		// The flow compresses the lower part of the bed by as much as there is above.
		m.Bed = settled.Times(part * (1 - part*(1-ph.bedTo.In(settled))))
		if i == samples {
			m.Bed, m.Interface = ph.bedTo, units.Length(nan)
		}
		out = append(out, m)
	}
	return out, nil
}

func (ph phase) playForming(p Procedure) []Moment {
	settled := p.Bed.SettledHeight
	var out []Moment
	t, edge := units.Time(0), ph.bedFrom
	for i := range samples {
		part := (float64(i) + 0.5) / samples
		s := ph.suspension
		s.Downflow = min(ph.most, ph.velocity.Times(1/part))
		sediment, err := s.Settle(ph.bedFrom)
		if err != nil {
			return out
		}
		step := settled.Times(1. / samples).Passed(sediment.Growth)
		t += step
		edge -= sediment.Interface.For(step)
		part = float64(i+1) / samples
		m := Moment{Time: t, Liquid: ph.bedFrom, Adapter: ph.bedFrom, Velocity: min(ph.most, ph.velocity.Times(1/part)), Pressure: ph.pressureTo}
		m.Pressure = m.Pressure.Times(m.Velocity.In(ph.velocity) * part) // less while the pump cannot give more
		m.Bed = settled.Times(part * (1 - part*(1-ph.bedTo.In(settled))))
		m.Interface = max(edge, m.Bed)
		if i == samples-1 {
			m.Interface = units.Length(nan)
		}
		out = append(out, m)
	}
	return out
}

func (ph phase) playPressing() []Moment {
	more := ph.velocity - ph.before
	whole := ph.lost.Passed(more).Times(2 * wholeDegree)
	from := ph.velocityFrom
	if from == 0 {
		from = ph.velocity
	}
	var out []Moment
	for i := range samples + 1 {
		x := float64(i) / samples
		m := Moment{Time: whole.Times(x * x), Interface: units.Length(nan), Adapter: max(ph.adapter(0), ph.bedFrom)} // close at the start
		u := degree(m.Time, ph.lost, more)
		m.Bed, m.Liquid = between(ph.bedFrom, ph.bedTo, u), m.Adapter
		m.Velocity, m.Pressure = between(from, ph.velocity, u), between(ph.pressureFrom, ph.pressureTo, u)
		out = append(out, m)
	}
	return out
}

func (ph phase) playCatching() []Moment {
	lost := ph.bedTo - ph.bedFrom
	whole := (ph.adapterFrom - ph.adapterTo).Passed(ph.speed)
	if !(whole > 0) {
		return nil
	}
	// What is below the mark comes up to the adapter.
	if ph.bedFrom < ph.adapterTo {
		whole += (2 * (ph.adapterTo - ph.bedFrom)).Passed(ph.velocity)
	}
	var out []Moment
	for i := range samples + 1 {
		t := whole.Times(float64(i) / samples)
		m := Moment{Time: t, Interface: units.Length(nan), Adapter: max(ph.adapterTo, ph.adapterFrom-ph.speed.For(t))}
		free := ph.bedFrom
		if !ph.held {
			free = between(ph.bedFrom, ph.bedTo, degree(t, lost, ph.velocity))
		} else {
			m.Velocity, m.Pressure = ph.speed, ph.pressureTo
			if m.Adapter == ph.adapterTo {
				m.Velocity, m.Pressure = 0, 0
			}
		}
		m.Bed, m.Liquid = min(free, m.Adapter), m.Adapter
		out = append(out, m)
	}
	return out
}

// At returns the column at a time, the last moment not after it.
func (p Play) At(t units.Time) Moment {
	best := Moment{}
	for _, m := range p.Moments {
		if m.Time <= t {
			best = m
		}
	}
	return best
}

// Duration returns how long the whole pack takes as it was played.
func (p Play) Duration() units.Time {
	if len(p.Moments) == 0 {
		return 0
	}
	return p.Moments[len(p.Moments)-1].Time
}

// Figure draws heights, pressure and flow against time, the steps shaded.
func (p Play) Figure() figure.Stack { return p.figure(0, "") }

// Compression draws the same from the first step on that compresses the bed,
// which is short beside the first.
func (p Play) Compression() figure.Stack {
	for i, s := range p.Steps {
		a, b := p.Moments[s.First], p.Moments[s.Last]
		if i > 0 && b.Bed < a.Bed {
			return p.figure(i, ": from "+s.Name+" on")
		}
	}
	return figure.Stack{Title: p.Title, Description: "No step that compresses the bed was played."}
}

func (p Play) figure(from int, title string) figure.Stack {
	f := figure.Stack{Title: p.Title + title, Description: p.words(from)}
	if from >= len(p.Steps) {
		return f
	}
	start := p.Moments[p.Steps[from].First].Time
	one, unit := float64(units.Minute), "min"
	if p.Duration()-start < 5*units.Minute {
		one, unit = float64(units.Second), "s"
	}
	var bedLine, edge, adapter, pressure, flow figure.Points
	add := func(l *figure.Points, t units.Time, v float64) {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			l.X, l.Y = append(l.X, float64(t)), append(l.Y, v)
		}
	}
	for _, m := range p.Moments[p.Steps[from].First:] {
		t := m.Time - start
		add(&bedLine, t, float64(m.Bed))
		add(&edge, t, float64(m.Interface))
		add(&adapter, t, float64(m.Adapter))
		add(&pressure, t, float64(m.Pressure))
		add(&flow, t, float64(m.Flow))
	}
	x := figure.Axis{Label: "Time", Unit: unit, One: one}
	var spans, plain []figure.Span // with names and without
	for i, s := range p.Steps[from:] {
		a, b := p.Moments[s.First].Time-start, p.Moments[s.Last].Time-start
		if i > 0 {
			a = p.Moments[s.First-1].Time - start
		}
		name := s.Name
		if (b - a).In(p.Duration()-start) < 0.012*float64(len(name)) { // too narrow for it
			name = ""
		}
		spans, plain = append(spans, figure.Span{From: float64(a), To: float64(b), Label: name}), append(plain, figure.Span{From: float64(a), To: float64(b)})
	}
	qOne, qUnit := float64(units.LitrePerHour), "L/h"
	if p.column.InnerDiameter < 10*units.Centimetre {
		qOne, qUnit = float64(units.MillilitrePerMinute), "mL/min"
	}
	heights := figure.Figure{X: x, Y: figure.Axis{Label: "Height", Unit: "cm", One: float64(units.Centimetre)}, Spans: spans, Height: 260,
		Lines: []figure.Line{{Name: "bed", Points: bedLine}}}
	if len(edge.X) > 0 {
		heights.Lines = append(heights.Lines, figure.Line{Name: "edge of the slurry", Points: edge})
	}
	if len(adapter.X) > 0 {
		heights.Lines = append(heights.Lines, figure.Line{Name: "adapter", Points: adapter})
	}
	f.Panels = append(f.Panels, heights)
	if len(pressure.X) > 1 {
		f.Panels = append(f.Panels, figure.Figure{X: x, Y: figure.Axis{Label: "Pressure", Unit: "bar", One: float64(units.Bar)}, Spans: plain, Height: 170, Lines: []figure.Line{{Points: pressure}}})
	}
	f.Panels = append(f.Panels, figure.Figure{X: x, Y: figure.Axis{Label: "Flow", Unit: qUnit, One: qOne}, Spans: plain, Height: 170, Lines: []figure.Line{{Points: flow}}})
	return f
}

// words says how the bed stands after each step.
func (p Play) words(from int) string {
	s := "Heights, pressure and flow against time."
	for _, x := range p.Steps[min(from, len(p.Steps)):] {
		m := p.Moments[x.Last]
		s += fmt.Sprintf(" %s ends after %s with the bed at %s.", x.Name, clock(m.Time), cm(m.Bed))
	}
	return s
}

// Frames draws the column at a sequence of times: at the start and end of every
// step, and between where it is long.
func (p Play) Frames() Picture {
	var states []state
	add := func(i int, name string) {
		m := p.Moments[i]
		s := state{name: name, note: clock(m.Time), top: m.Bed, liquid: m.Liquid}
		if known(m.Interface) {
			s.edge = m.Interface
		}
		if known(m.Adapter) {
			s.adapter = m.Adapter
		}
		states = append(states, s)
	}
	for _, s := range p.Steps {
		long := p.Moments[s.Last].Time-p.Moments[s.First].Time > p.Duration().Times(0.3)
		switch {
		case long:
			add(s.First, s.Name)
			for _, x := range []float64{0.25, 0.5, 0.75} {
				add(s.First+int(x*float64(s.Last-s.First)), s.Name)
			}
		case len(states) == 0:
			add(s.First, s.Name)
		}
		add(s.Last, s.Name+" over")
	}
	return drawStates(states, p.tube)
}

// Page shows the steps, the column at several times, and the curves.
func (p Play) Page() page.Page {
	var out page.Page
	out.Heading(p.Title + ", played forward")
	if len(p.Moments) == 0 {
		out.NoResult(nil, "nothing was played.")
		return out
	}
	t := table.Table{Caption: "At the end of each step", RowHeaders: true, Columns: []table.Column{{Name: "step"}, {Name: "time", Right: true},
		{Name: "bed", Unit: "cm", Right: true}, {Name: "adapter", Unit: "cm", Right: true}, {Name: "pressure", Unit: "bar", Right: true}, {Name: "flow", Right: true}}}
	for _, s := range p.Steps {
		m := p.Moments[s.Last]
		t.Add(s.Name, clock(m.Time), number.Fixed(m.Bed.In(units.Centimetre), 2), number.Cell(number.Fixed(m.Adapter.In(units.Centimetre), 2)), number.Cell(number.Fixed(m.Pressure.In(units.Bar), 3)),
			Procedure{Request: Request{Column: p.column}}.flow(m.Flow))
	}
	out.Table(t)
	out.Figure(p.Frames())
	out.Figure(p.Figure())
	if c := p.Compression(); len(c.Panels) > 0 {
		out.Figure(c)
	}
	out.List("What this is not", p.Notes)
	return out
}

// clock writes a time since the start, in minutes and seconds.
func clock(t units.Time) string {
	s := int(math.Round(t.In(units.Second)))
	return fmt.Sprintf("%d:%02d min", s/60, s%60)
}

// String returns the page as text.
func (p Play) String() string { return p.Page().String() }
