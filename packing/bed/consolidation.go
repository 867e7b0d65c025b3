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

// A Consolidation is how a bed takes up a load in time: liquid must leave the
// voids as they close. The same holds when the load is taken off and liquid must
// come back, without friction at the wall and for beads without memory.
type Consolidation struct {
	Permeability  units.Area     // of the bed
	Modulus       units.Pressure // constrained, stress over lost part of the height
	Viscosity     units.Viscosity
	SettledHeight units.Length
	Adapter       bool // the load is that of an adapter, alike everywhere; otherwise of a flow, nothing at the top and most at the bottom
}

// Check refuses values that are not above zero.
func (c Consolidation) Check() error {
	for _, x := range []struct {
		what, example string
		v             float64
	}{
		{"permeability", "8e-12 * SquareMetre", float64(c.Permeability)},
		{"modulus", "4 * Bar", float64(c.Modulus)},
		{"viscosity", "1 * MillipascalSecond", float64(c.Viscosity)},
		{"settled height", "20 * Centimetre", float64(c.SettledHeight)},
	} {
		if !(x.v > 0) || math.IsInf(x.v, 0) {
			return &packing.InputError{Where: "consolidation", What: x.what, Problem: "it must be above zero", Remedy: "write for example " + x.example}
		}
	}
	return nil
}

// Scale returns the time that the time factor T counts,
//
//	L0²/cv,  cv = k·M/µ
//
// with the permeability k [m²], the modulus M [Pa] and the viscosity µ [Pa s]. It
// refuses what Check refuses.
func (c Consolidation) Scale() (units.Time, error) {
	if err := c.Check(); err != nil {
		return units.Time(math.NaN()), err
	}
	l := float64(c.SettledHeight)
	return units.Time(l * l * float64(c.Viscosity) / (float64(c.Permeability) * float64(c.Modulus))), nil
}

// degree returns the mean degree at the time factor T.
func (c Consolidation) degree(T float64) float64 {
	// Early on the far end does not matter yet; the series is exact to rounding
	// later, where it also needs few terms.
	if T < 1e-3 {
		if c.Adapter {
			return 2 * math.Sqrt(T/math.Pi)
		}
		return 2 * T
	}
	left := 0.0
	for i := range 200 {
		m := math.Pi * (float64(i) + 0.5)
		x := math.Exp(-m * m * T)
		if c.Adapter {
			left += 2 / (m * m) * x
		} else if i%2 == 0 {
			left += 4 / (m * m * m) * x
		} else {
			left -= 4 / (m * m * m) * x
		}
		if x < 1e-17 {
			break
		}
	}
	return 1 - left
}

// Degree returns the part of the compression that is reached after a time, with
// T = t·cv/L0² and m = π(i + 1/2),
//
//	adapter  U = 1 - Σ 2/m²·exp(-m²T)
//	flow     U = 1 - Σ 4(-1)^i/m³·exp(-m²T)
//
// for a bed of one permeability and modulus that liquid leaves on one side.
// Where the bed gives way much, take the permeability of the compressed bed for
// a safe time; soft beads creep on. It refuses what Check refuses, and a negative
// time. Source: K. Terzaghi, Theoretical Soil Mechanics (Wiley, 1943).
func (c Consolidation) Degree(t units.Time) (float64, error) {
	scale, err := c.Scale()
	if err != nil {
		return math.NaN(), err
	}
	if !(t >= 0) {
		return math.NaN(), &packing.InputError{Where: "consolidation", What: fmt.Sprintf("time %v", t), Problem: "it must not be negative"}
	}
	return c.degree(t.In(scale)), nil
}

// Time returns the time after which a part of the compression is reached, 0.99
// for 99 %. It refuses what Check refuses, and a part outside 0 to 1.
func (c Consolidation) Time(degree float64) (units.Time, error) {
	scale, err := c.Scale()
	if err != nil {
		return units.Time(math.NaN()), err
	}
	if !(degree >= 0 && degree < 1) {
		return units.Time(math.NaN()), &packing.InputError{Where: "consolidation", What: fmt.Sprintf("part %v", degree),
			Problem: "it must be from 0 to below 1", Remedy: "write for example 0.99"}
	}
	high := 1.0
	for c.degree(high) < degree {
		high *= 2
	}
	miss := func(T float64) float64 { return c.degree(T) - degree }
	return scale.Times(root(miss, 0, high, -degree, miss(high))), nil
}

// Page shows when parts of the compression are reached.
func (c Consolidation) Page() page.Page {
	var p page.Page
	scale, err := c.Scale()
	if err != nil {
		p.NoResult(err, "")
		return p
	}
	load := "a flow"
	if c.Adapter {
		load = "the adapter"
	}
	t := table.Table{Caption: "Compression by " + load + " against time", Columns: []table.Column{
		{Name: "reached", Unit: "%", Right: true}, {Name: "time", Unit: "s", Right: true}, {Name: "time factor", Right: true}}}
	for _, part := range []float64{0.5, 0.9, 0.95, 0.99} {
		at, err := c.Time(part)
		if err != nil {
			p.NoResult(err, "")
			return p
		}
		t.Add(number.Fixed(100*part, 0), number.Compact(at.In(units.Second), 3), number.Fixed(at.In(scale), 4))
	}
	p.Table(t)
	p.List("Cautions", []string{"End a step when height and pressure are steady, not by this time: beads creep on, and a compressed bed lets less liquid through."})
	return p
}

// String returns the page as text.
func (c Consolidation) String() string { return c.Page().String() }

// Consolidation returns how fast the bed comes to its state at a velocity, with
// the permeability and the modulus at its mean void there. It refuses what At
// refuses.
func (b Compressible) Consolidation(u units.Velocity) (Consolidation, error) {
	s, err := b.At(u)
	if err != nil {
		return Consolidation{}, err
	}
	d, ε := float64(b.MeanBead), s.MeanVoid
	return Consolidation{
		Permeability:  units.Area(d * d * ε * ε * ε / (b.constant() * (1 - ε) * (1 - ε))),
		Modulus:       b.Law.Stiffness(b.SettledVoid, ε).Times((1 - ε) * (1 - ε) / (1 - b.SettledVoid)), // dσ/dλ
		Viscosity:     b.Viscosity,
		SettledHeight: b.SettledHeight,
	}, nil
}

// A Rise is how a bed that was held down by a flow comes up when the flow is
// stopped, with the outlet shut and the inlet vented. Without friction the
// surface starts at the velocity that was flowing, whatever the law of the bed,
// and slows from there: these are bounds, not forecasts. Friction, and beads that
// recover slowly or not fully, leave it lower.
type Rise struct {
	Velocity units.Velocity // that was flowing
	Height   units.Length   // of the bed under that flow
	Settled  units.Length   // of the bed at rest, which it cannot pass; zero: not given
}

// Check refuses a rise that cannot be.
func (r Rise) Check() error {
	if err := packing.CheckVelocity("velocity before the stop", r.Velocity); err != nil {
		return err
	}
	if err := packing.CheckBedHeight(r.Height); err != nil {
		return err
	}
	if r.Settled != 0 && !(r.Settled >= r.Height) {
		return &packing.InputError{Where: "rise", What: fmt.Sprintf("settled height %v", r.Settled),
			Problem: fmt.Sprintf("it is below the height under flow, %v", r.Height), Remedy: "give the height of the bed at rest"}
	}
	return nil
}

// AtMost returns the most that the surface can have risen after a time, u·t, or
// all that there is to rise. It refuses what Check refuses, and a negative time.
func (r Rise) AtMost(t units.Time) (units.Length, error) {
	if err := r.Check(); err != nil {
		return units.Length(math.NaN()), err
	}
	if !(t >= 0) {
		return units.Length(math.NaN()), &packing.InputError{Where: "rise", What: fmt.Sprintf("time %v", t), Problem: "it must not be negative"}
	}
	d := r.Velocity.For(t)
	if r.Settled > 0 {
		d = min(d, r.Settled-r.Height)
	}
	return d, nil
}

// AtLeast returns the least time in which the surface rises by d, d/u: so fast
// must the adapter be there to lose no more than d. It refuses what Check
// refuses, and a rise beyond the settled height.
func (r Rise) AtLeast(d units.Length) (units.Time, error) {
	if err := r.Check(); err != nil {
		return units.Time(math.NaN()), err
	}
	if !(d >= 0) || r.Settled > 0 && d > r.Settled-r.Height {
		return units.Time(math.NaN()), &packing.InputError{Where: "rise", What: fmt.Sprintf("rise %v", d),
			Problem: "the bed does not rise so", Remedy: "give a length from zero to what was compressed"}
	}
	return d.Passed(r.Velocity), nil
}

// Page shows the rise against time.
func (r Rise) Page() page.Page {
	var p page.Page
	if err := r.Check(); err != nil {
		p.NoResult(err, "")
		return p
	}
	p.Text(fmt.Sprintf("Rise of the bed after a stop from %v, with the outlet shut and the inlet vented.", r.Velocity))
	t := table.Table{Caption: "At most",
		Columns: []table.Column{{Name: "after", Unit: "s", Right: true}, {Name: "rise", Unit: "mm", Right: true}}}
	for _, s := range []float64{1, 2, 5, 10, 20, 30} {
		d, err := r.AtMost(units.Time(s))
		if err != nil {
			p.NoResult(err, "")
			return p
		}
		t.Add(fmt.Sprint(s), number.Fixed(d.In(units.Millimetre), 1))
	}
	p.Table(t)
	p.List("Cautions", []string{"An upper bound: the surface starts at the velocity that was flowing. No hand catches it to the millimetre; the adapter compresses the last part again, with a liquid path open."})
	return p
}

// String returns the page as text.
func (r Rise) String() string { return r.Page().String() }
