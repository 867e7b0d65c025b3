package plan

import (
	"fmt"
	"math"
	"slices"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/units"
)

// cutByAdapter finds the steps of a pack by the adapter alone: settling until the
// adapter first goes down, its way to the bed, compression from the moment at
// which it comes down to the settled height, and the hold; flow afterwards ends
// it. A second travel onto the bed is one further compression.
func (w *reviewer) cutByAdapter() error {
	f, sig := w.f, w.f.signals
	var down []AdapterMove
	for _, m := range f.Moves {
		if m.To < m.From {
			down = append(down, m)
		}
	}
	if len(down) == 0 {
		return &packing.InputError{Where: w.run.Label, What: "adapter", Problem: "it goes down nowhere between two places of rest",
			Remedy: "look at the record; a pack by flow is read with StepsBy: plan.StepsByFlow"}
	}
	first, last := sig.adapter.x[0], sig.adapter.x[len(sig.adapter.x)-1]
	at := float64(down[0].Start)
	add := func(kind StepKind, name string, from, to float64) {
		if to > from {
			f.Steps = append(f.Steps, Step{Kind: kind, Name: name, Start: units.Time(from), End: units.Time(to), from: from, to: to})
		}
	}
	if on, off, ok := sig.velocity.flowing(first, at); ok {
		add(Waiting, "before the flow", first, on)
		add(LooseBed, "step 1, loose bed", on, off)
		add(Waiting, "flow off", off, at)
	} else {
		add(LooseBed, "settle", first, at)
	}
	settled := float64(w.reading(first, at))
	if sig.bed.recorded() {
		settled = sig.bed.median(at-math.Min(30, (at-first)/5), at)
	}
	if math.IsNaN(settled) {
		return &packing.InputError{Where: w.run.Label, What: "bed height", Problem: fmt.Sprintf("none is known before the adapter goes down at %s", minutes(units.Time(at))),
			Remedy: "give the record from settling on, or a height read then"}
	}
	for _, m := range down {
		if float64(m.To) >= settled-float64(0.5*units.Millimetre) { // above the bed
			continue
		}
		contact := sig.adapter.passes(settled, float64(m.Start), float64(m.End))
		if f.Compressions == 0 {
			add(AdapterDown, "adapter to the bed", at, contact)
		} else {
			f.Steps[len(f.Steps)-1].End, f.Steps[len(f.Steps)-1].to = units.Time(contact), contact
		}
		f.Compressions++
		name, hold := "compress", "hold"
		if f.Compressions > 1 {
			name, hold = "compress again", "hold again"
		}
		add(Compression, name, contact, float64(m.End))
		add(Stop, hold, float64(m.End), last)
	}
	if f.Compressions == 0 {
		return nil
	}
	// Flow that comes back ends the hold.
	hold := &f.Steps[len(f.Steps)-1]
	if on, off, ok := sig.velocity.flowing(hold.from, hold.to); ok {
		hold.End, hold.to = units.Time(on), on
		add(LaterFlow, "flow afterwards", on, off)
	}
	return nil
}

// flowing returns when the flow of a stretch begins and ends: the first and the
// last reading above half of the level that 90 % of those with flow stay below.
// There must be three.
func (s signal) flowing(from, to float64) (on, off float64, ok bool) {
	i, j := s.within(from, to)
	var flows []float64
	for _, v := range s.y[i:j] {
		if v > float64(leastVelocity) {
			flows = append(flows, v)
		}
	}
	if len(flows) < 3 {
		return 0, 0, false
	}
	slices.Sort(flows)
	half := flows[len(flows)*9/10] / 2
	on = math.NaN()
	for k := i; k < j; k++ {
		if s.y[k] > half {
			if off = s.x[k]; math.IsNaN(on) {
				on = off
			}
		}
	}
	return on, off, true
}

// leastVelocity is what counts as flow at all, above the noise of a meter at zero
// (common practice, no source).
const leastVelocity = 1 * units.CentimetrePerHour

// passes returns when a falling signal comes down to a level, by a straight line
// between two readings; from if it is there already.
func (s signal) passes(level, from, to float64) float64 {
	i, j := s.within(from, to)
	if i < j && s.y[i] <= level {
		return from
	}
	for k := i + 1; k < j; k++ {
		if s.y[k] <= level {
			return s.x[k-1] + (s.x[k]-s.x[k-1])*(s.y[k-1]-level)/(s.y[k-1]-s.y[k])
		}
	}
	return to
}

// falling is the speed at which a signal falls, in up to ten parts of a stretch,
// so that single readings do not count.
func (s signal) falling(from, to float64) signal {
	var out signal
	n := 10
	if i, j := s.within(from, to); j-i < 2*n {
		n = 1
	}
	for k := range n {
		a, b := from+(to-from)*float64(k)/float64(n), from+(to-from)*float64(k+1)/float64(n)
		out.x, out.y = append(out.x, (a+b)/2), append(out.y, (s.at(a)-s.at(b))/(b-a))
	}
	return out
}
