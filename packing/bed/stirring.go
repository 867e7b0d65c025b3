package bed

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// Suspend returns the suspension that a slurry of a medium is in a liquid of
// viscosity mu.
func Suspend(m packing.Medium, s packing.Slurry, mu units.Viscosity) Suspension {
	return Suspension{
		Terminal: StokesVelocity(m.MeanBead, m.DensityExcess, mu), Exponent: m.Exponent(),
		Solids: s.Solids(m), BedSolids: 1 - m.SettledVoid,
	}
}

// Clears returns the time in which a layer of clear liquid of height h forms on
// top of a suspension at rest, h/v with the velocity v of Hindered. It refuses
// what Check refuses, and a height that is none.
func (s Suspension) Clears(h units.Length) (units.Time, error) {
	if err := s.Check(); err != nil {
		return units.Time(math.NaN()), err
	}
	if !(h > 0) || math.IsInf(float64(h), 0) {
		return units.Time(math.NaN()), &packing.InputError{Where: "suspension", What: fmt.Sprintf("height %v", h),
			Problem: "it must be above zero", Remedy: "write for example 1 * Centimetre"}
	}
	return h.Passed(s.Hindered()), nil
}

// Stirring asks how long one may take between stirring a slurry and having it in
// the column: until a layer of clear liquid has formed above it.
type Stirring struct {
	Medium    packing.Medium
	Slurry    packing.Slurry
	Viscosity units.Viscosity
	Layer     units.Length // of clear liquid that is accepted; zero: 1 cm
}

// StirringResult tells how long a slurry stays as it was stirred.
type StirringResult struct {
	Stirring Stirring
	Terminal units.Velocity // of one bead
	Hindered units.Velocity // of the beads in the slurry
	Time     units.Time     // until the layer is clear
	Refusal  error          // why there are no numbers, or nil
}

func (s Stirring) layer() units.Length {
	if s.Layer == 0 {
		return units.Centimetre
	}
	return s.Layer
}

// Evaluate returns the time until the layer is clear. It refuses a medium or
// slurry that cannot be.
func (s Stirring) Evaluate() (StirringResult, error) {
	r, err := s.evaluate()
	if err != nil {
		return StirringResult{Stirring: s, Refusal: err}, err
	}
	return r, nil
}

func (s Stirring) evaluate() (StirringResult, error) {
	for _, err := range []error{s.Medium.Check(), s.Slurry.Check()} {
		if err != nil {
			return StirringResult{}, err
		}
	}
	if !(s.Viscosity >= 1e-4 && s.Viscosity <= 1) {
		return StirringResult{}, &packing.InputError{Where: "slurry", What: fmt.Sprintf("viscosity %v", s.Viscosity),
			Problem: "it must be between 0.1 and 1000 mPa·s", Remedy: "write for example 1 * MillipascalSecond"}
	}
	suspension := Suspend(s.Medium, s.Slurry, s.Viscosity)
	t, err := suspension.Clears(s.layer())
	if err != nil {
		return StirringResult{}, err
	}
	return StirringResult{Stirring: s, Terminal: suspension.Terminal, Hindered: suspension.Hindered(), Time: t}, nil
}

// Page shows the time for the density given, half and twice of it.
func (r StirringResult) Page() page.Page {
	var p page.Page
	if r.Time == 0 {
		p.NoResult(r.Refusal, "nothing has been worked out.")
		return p
	}
	t := table.Table{Caption: fmt.Sprintf("Time after stirring until %v is clear, slurry of %v of %s", r.Stirring.layer(), r.Stirring.Slurry.Concentration, r.Stirring.Medium.Label()),
		Columns: []table.Column{{Name: "density excess", Unit: "kg/m³", Right: true}, {Name: "beads fall", Unit: "cm/h", Right: true}, {Name: "time", Unit: "s", Right: true}}}
	for _, factor := range []float64{0.5, 1, 2} {
		t.Add(number.Compact(r.Stirring.Medium.DensityExcess.Times(factor).In(units.KilogramPerCubicMetre), 4),
			number.Fixed(r.Hindered.Times(factor).In(units.CentimetrePerHour), 2), number.Fixed(r.Time.Times(1/factor).In(units.Second), 0))
	}
	p.Table(t)
	p.List("Cautions", []string{
		fmt.Sprintf("The middle row holds for the density excess given, %v, the least known number of a slurry; the time goes with its inverse. Measure it from how fast a sample settles.", r.Stirring.Medium.DensityExcess),
		"Beads are taken to be alike: larger ones are faster, fines stay behind.",
		"Stir until the transfer begins, and again before every draw; use no magnetic bar.",
	})
	return p
}

// String returns the page as text.
func (r StirringResult) String() string { return r.Page().String() }
