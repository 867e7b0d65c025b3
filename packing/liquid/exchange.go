package liquid

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// An Exchange replaces the liquid of a settled slurry, such as its storage
// solution, by another: let it settle, decant, fill up with fresh liquid, stir,
// and again. After n cycles
//
//	c = cf + (c0 - cf)·(1 - VD/VL)ⁿ,  VL = V - VS·(1 - εt)
//
// with the concentrations c0 at the start and cf of the fresh liquid, the volume
// V of the full vessel, VS of the settled bed, VD decanted each time, and the
// part εt of the settled bed that is liquid, between the beads and inside.
// Beads are taken to give up their liquid fully in each cycle: stir for 10 to
// 15 minutes (common practice, no source).
type Exchange struct {
	Vessel   units.Volume   // of the slurry, filled up
	Settled  units.Volume   // of the settled bed in it
	Porosity units.Fraction // part of the settled bed that is liquid, between the beads and inside
	Decanted units.Volume   // in each cycle; zero: all that stands above the settled bed
}

// An ExchangeError tells which volume makes no exchange, and why.
type ExchangeError struct{ What, Problem string }

func (e *ExchangeError) Error() string { return "exchange: " + e.What + ": " + e.Problem }

// Supernatant returns the volume of clear liquid above the settled bed.
func (e Exchange) Supernatant() units.Volume { return e.Vessel - e.Settled }

// decanted returns the volume decanted in each cycle.
func (e Exchange) decanted() units.Volume {
	if e.Decanted == 0 {
		return e.Supernatant()
	}
	return e.Decanted
}

// Liquid returns VL, the volume of all liquid in the vessel.
func (e Exchange) Liquid() units.Volume {
	return e.Vessel - e.Settled.Times(1-float64(e.Porosity))
}

// Check refuses volumes that make no exchange.
func (e Exchange) Check() error {
	switch {
	case !(e.Vessel > 0) || math.IsInf(float64(e.Vessel), 0):
		return &ExchangeError{fmt.Sprintf("vessel %v", e.Vessel), "it must hold something"}
	case !(e.Settled > 0 && e.Settled < e.Vessel):
		return &ExchangeError{fmt.Sprintf("settled bed %v", e.Settled), fmt.Sprintf("it must be above zero and less than the vessel holds, %v", e.Vessel)}
	case !(e.Porosity > 0 && e.Porosity <= 1):
		return &ExchangeError{fmt.Sprintf("porosity %v", e.Porosity), "it must be above zero and at most 100 %; soft gels have about 95 %"}
	case !(e.decanted() > 0 && e.decanted() <= e.Supernatant().Times(1+1e-12)):
		return &ExchangeError{fmt.Sprintf("decanted volume %v", e.Decanted), fmt.Sprintf("above the settled bed stand %v", e.Supernatant())}
	}
	return nil
}

// Remaining returns the part of the old liquid that is left after n cycles,
// (1 - VD/VL)ⁿ. It refuses what Check refuses, and a negative number.
func (e Exchange) Remaining(n int) (units.Fraction, error) {
	if err := e.Check(); err != nil {
		return units.Fraction(math.NaN()), err
	}
	if n < 0 {
		return units.Fraction(math.NaN()), &ExchangeError{fmt.Sprintf("%d cycles", n), "the number must not be negative"}
	}
	return units.Fraction(math.Pow(1-e.decanted().In(e.Liquid()), float64(n))), nil
}

// After returns the concentration after n cycles, from start in the vessel and
// fresh in the liquid that is filled in. It has the errors of Remaining.
func (e Exchange) After(n int, start, fresh units.Fraction) (units.Fraction, error) {
	r, err := e.Remaining(n)
	return fresh + (start - fresh).Times(float64(r)), err
}

// Cycles returns the number of cycles after which at most a part of the old
// liquid is left: to bring 20 % ethanol to 1 %, ask for 1.0/20. It refuses what
// Check refuses, and a part that is not between 0 and 1.
func (e Exchange) Cycles(left units.Fraction) (int, error) {
	if err := e.Check(); err != nil {
		return 0, err
	}
	if !(left > 0 && left <= 1) {
		return 0, &ExchangeError{fmt.Sprintf("part left %v", left), "it must be above zero and at most 100 %"}
	}
	n := math.Log(float64(left)) / math.Log(1-e.decanted().In(e.Liquid()))
	return int(math.Ceil(n - 1e-9)), nil
}

// Page shows what is left after each cycle.
func (e Exchange) Page() page.Page {
	var p page.Page
	if err := e.Check(); err != nil {
		p.NoResult(err, "")
		return p
	}
	t := table.Table{Caption: fmt.Sprintf("Decanting %v of %v liquid in each cycle", e.decanted(), e.Liquid()),
		Columns: []table.Column{{Name: "cycles", Right: true}, {Name: "old liquid left", Unit: "%", Right: true}, {Name: "fresh liquid used", Unit: "L", Right: true}}}
	for n := range 9 {
		left, err := e.Remaining(n)
		if err != nil {
			p.NoResult(err, "")
			return p
		}
		t.Add(fmt.Sprint(n), number.Compact(left.In(units.Percent), 3), number.Compact(e.decanted().Times(float64(n)).In(units.Litre), 4))
	}
	p.Table(t)
	p.List("Cautions", []string{
		"Stir for 10 to 15 minutes in each cycle, so that the beads give up their liquid; use no magnetic bar.",
		"Decanting takes fines along: measure the settled volume afterwards.",
		"Storage solutions with ethanol burn: ventilate, keep ignition away, ground metal containers, follow the site's rules.",
	})
	return p
}

// String returns the page as text.
func (e Exchange) String() string { return e.Page().String() }
