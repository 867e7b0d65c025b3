package packing

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// Slurry is a stirred suspension of beads.
type Slurry struct {
	Concentration units.Fraction // settled bed volume over slurry volume
}

// Check refuses a concentration that cannot be.
func (s Slurry) Check() error {
	what := fmt.Sprintf("concentration %v", s.Concentration)
	c := float64(s.Concentration)
	switch {
	case math.IsNaN(c) || c <= 0:
		return &InputError{"slurry", what, "it must be above zero", "write for example 52 * Percent"}
	case c > 1:
		return &InputError{"slurry", what, "a slurry holds at most its own volume of settled bed",
			"was the unit forgotten? Write for example 52 * Percent"}
	}
	return nil
}

// Volume returns the volume of slurry that holds a settled bed, V/C.
func (s Slurry) Volume(settled units.Volume) units.Volume {
	return settled.Times(1 / float64(s.Concentration))
}

// Height returns how high the slurry of a settled bed stands in its tube, L0/C.
func (s Slurry) Height(settled units.Length) units.Length {
	return settled.Times(1 / float64(s.Concentration))
}

// Solids returns the volume fraction of beads in the slurry of a medium,
// φ = C(1-ε0), with ε0 the void of the settled bed.
func (s Slurry) Solids(m Medium) float64 { return float64(s.Concentration) * (1 - m.SettledVoid) }

// An Adjustment brings a slurry to another concentration.
type Adjustment struct {
	From, To Slurry
	Volume   units.Volume // of the slurry before
	Add      units.Volume // of liquid; zero: none
	Decant   units.Volume // of clear liquid after settling; zero: none
	After    units.Volume // of the slurry then
}

// Adjust returns how to bring the volume v of this slurry to the concentration of
// the other: liquid to add, V(C1/C2 - 1), or to decant after settling,
// V(1 - C1/C2). It refuses slurries that Check refuses and a volume that is none.
func (s Slurry) Adjust(to Slurry, v units.Volume) (Adjustment, error) {
	for _, err := range []error{s.Check(), to.Check(), checkVolume("slurry volume", v)} {
		if err != nil {
			return Adjustment{}, err
		}
	}
	change := v.Times(float64(s.Concentration/to.Concentration) - 1)
	return Adjustment{From: s, To: to, Volume: v, Add: max(change, 0), Decant: max(-change, 0), After: v + change}, nil
}

// Page shows what to add or to decant.
func (a Adjustment) Page() page.Page {
	var p page.Page
	if a.Volume == 0 {
		p.NoResult(nil, "nothing has been worked out.")
		return p
	}
	t := table.Table{Caption: fmt.Sprintf("From %v to %v", a.From.Concentration, a.To.Concentration), RowHeaders: true,
		Columns: []table.Column{{Name: "what"}, {Name: "volume", Right: true}}}
	t.Add("slurry before", a.Volume.String())
	switch {
	case a.Add > 0:
		t.Add("liquid to add", a.Add.String())
	case a.Decant > 0:
		t.Add("clear liquid to decant after settling", a.Decant.String())
	default:
		t.Add("nothing to do", "")
	}
	t.Add("slurry after", a.After.String())
	p.Table(t)
	if a.Decant > 0 {
		p.List("Cautions", []string{"Decanting takes fines along: measure the concentration again."})
	}
	return p
}

// String returns the page as text.
func (a Adjustment) String() string { return a.Page().String() }

// checkVolume refuses a volume that no vessel has.
func checkVolume(name string, v units.Volume) error {
	return span("", name, v, 1e-9, 1e3, "1 µL", "1000 m³", "27 * Litre")
}
