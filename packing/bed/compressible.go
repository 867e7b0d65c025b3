package bed

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/units"
)

// Compressible is a bed of soft beads in a column: the balance of stress in one
// dimension, with the drag of the liquid, the weight of the beads, a load from
// the adapter, and friction at the wall.
//
//	dσ/dz = µu/k + Δρ·g·(1-ε) - 4·µw·K·σ/D
//	k     = d²ε³/(Ck·(1-ε)²),  ε = ε(σ) by the Law
//
// with the stress between the beads σ [Pa] at the depth z below the top, which
// is the load there, the viscosity µ, the superficial velocity u downwards, the
// bead diameter d, the density excess Δρ, the friction factor µw times the ratio
// K of stress across to stress along, and the inner diameter D. The pressure
// drop is the integral of µu/k. Beads keep their volume, so the settled height
// L0 holds (1-ε0)·L0 of them.
//
// It describes loading at steady state: a bed that was pressed harder before is
// denser than this, and a bed that is let go feels friction the other way. The
// drag is that of creeping flow. The constant Ck is as uncertain as the law of
// Kozeny and Carman, by some 20 %; a bead diameter taken from a measured
// pressure hides that.
//
// Sources: friction after H. A. Janssen, Z. Ver. Dtsch. Ing. 39 (1895)
// 1045-1049; permeability after P. C. Carman, Trans. Inst. Chem. Eng. 15 (1937)
// 150-166; beds of soft media with wall support: J. J. Stickel and
// A. Fotopoulos, Biotechnol. Prog. 17 (2001) 740-751, from memory.
type Compressible struct {
	Label          string // what it describes, for headings
	Law            Law
	MeanBead       units.Length
	SettledVoid    float64         // ε0, of the bed settled without stress
	SettledHeight  units.Length    // L0
	Viscosity      units.Viscosity // of the liquid
	InnerDiameter  units.Length    // of the column; may be zero without friction
	WallFriction   float64         // µw·K; zero: the wall carries nothing
	DensityExcess  units.Density   // of the wet bead over the liquid; zero: weight left out
	Load           units.Pressure  // of the adapter on the bed; zero: none
	KozenyConstant float64         // Ck; zero: 180
}

// A State is a compressible bed under a steady flow.
type State struct {
	Bed               Compressible
	Velocity          units.Velocity
	Height            units.Length
	CompressionFactor float64        // settled height over height
	Pressure          units.Pressure // drop of the liquid over the bed
	RigidPressure     units.Pressure // what it would be if the bed did not give way
	BottomStress      units.Pressure // between the beads at the bottom
	BottomVoid        float64
	MeanVoid          float64
	Refusal           error // why there are no numbers, or nil
}

// A Layer is a place in the bed.
type Layer struct {
	Depth    units.Length   // below the top of the bed
	Stress   units.Pressure // between the beads
	Void     float64
	Pressure units.Pressure // lost by the liquid from the top
}

// A CriticalError tells that a bed has no steady state, since the velocity is
// critical or above: the void at the bottom comes to nothing and the pressure
// runs away. No number is given.
type CriticalError struct {
	Bed      string
	Velocity units.Velocity // asked for
	Critical units.Velocity // zero if the load alone leaves no steady state
}

func (e *CriticalError) Error() string {
	if e.Critical == 0 {
		return fmt.Sprintf("%s: load and weight alone leave no void at the bottom; take a smaller load", e.Bed)
	}
	return fmt.Sprintf("%s: %v is not below the critical velocity, %v: the bed has no steady state there and the pressure runs away; stay well below",
		e.Bed, e.Velocity, e.Critical)
}

// A CeilingError tells that the bed is not compressed so far and still has a
// steady state.
type CeilingError struct {
	Bed      string
	Asked    float64 // compression factor
	Ceiling  float64 // the most there is
	ByLoad   bool    // under a load at the velocity; otherwise by flow alone, up to the critical velocity
	Velocity units.Velocity
}

func (e *CeilingError) Error() string {
	if e.ByLoad {
		return fmt.Sprintf("%s: compression factor %.4g is out of reach: with %v flowing, load and flow together leave no void at the bottom from about %s on; ask for less, or flow less",
			e.Bed, e.Asked, e.Velocity, down(e.Ceiling))
	}
	return fmt.Sprintf("%s: compression factor %.4g is out of reach: flow gives at most %s, at the critical velocity; the adapter must give the rest, a factor of %s",
		e.Bed, e.Asked, down(e.Ceiling), up(e.Asked/e.Ceiling))
}

// name is how messages call the bed.
func (b Compressible) name() string {
	if b.Label == "" {
		return "compressible bed"
	}
	return b.Label
}

func (b Compressible) constant() float64 {
	if b.KozenyConstant == 0 {
		return 180
	}
	return b.KozenyConstant
}

// Check refuses a bed that cannot be.
func (b Compressible) Check() error {
	bad := func(what, problem, remedy string) error {
		return &packing.InputError{Where: b.name(), What: what, Problem: problem, Remedy: remedy}
	}
	within := func(x, low, high float64) bool { return x >= low && x <= high }
	switch {
	case b.Law == nil:
		return bad("law", "none was given", "write for example Law: bed.LinearStrain{Modulus: 4 * Bar}")
	case b.Law.Check() != nil:
		return b.Law.Check()
	case !within(float64(b.MeanBead), 1e-6, 2e-3):
		return bad(fmt.Sprintf("mean bead %v", b.MeanBead), "it must be between 1 µm and 2 mm", "write for example 90 * Micrometre")
	case !within(b.SettledVoid, 1e-3, 1-1e-3):
		return bad(fmt.Sprintf("settled void %v", b.SettledVoid), "it must be between 0.001 and 0.999", "0.40 is usual for beads settled by gravity")
	case !within(float64(b.SettledHeight), 1e-3, 5):
		return bad(fmt.Sprintf("settled height %v", b.SettledHeight), "it must be between 1 mm and 5 m", "write for example 20 * Centimetre")
	case !within(float64(b.Viscosity), 1e-4, 1):
		return bad(fmt.Sprintf("viscosity %v", b.Viscosity), "it must be between 0.1 and 1000 mPa·s", "write for example 1 * MillipascalSecond")
	case !within(b.WallFriction, 0, 2):
		return bad(fmt.Sprintf("wall friction %v", b.WallFriction), "it must be between 0 and 2", "0.03 to 0.3 is usual")
	case b.WallFriction > 0 && b.InnerDiameter == 0:
		return bad("inner diameter", "none was given, but friction at the wall depends on it", "write for example 30 * Centimetre")
	case b.InnerDiameter != 0 && !within(float64(b.InnerDiameter), 1e-3, 3):
		return bad(fmt.Sprintf("inner diameter %v", b.InnerDiameter), "it must be between 1 mm and 3 m", "write for example 30 * Centimetre")
	case !within(float64(b.DensityExcess), 0, 20000):
		return bad(fmt.Sprintf("density excess %v", b.DensityExcess), "it must be between 0 and 20000 kg/m³", "write for example 80 * KilogramPerCubicMetre")
	case !within(float64(b.Load), 0, 1e8):
		return bad(fmt.Sprintf("load %v", b.Load), "it must be between 0 and 1000 bar", "write for example 0.5 * Bar")
	case !(b.Law.Void(b.SettledVoid, b.Load) > 0):
		return bad(fmt.Sprintf("load %v", b.Load), "it leaves no void", "take a smaller load")
	case b.KozenyConstant != 0 && !within(b.KozenyConstant, 50, 1000):
		return bad(fmt.Sprintf("Kozeny constant %v", b.KozenyConstant), "it must be between 50 and 1000", "leave it zero for 180")
	}
	return nil
}

// drag returns A, the factor of the drag at a velocity, see column.
func (b Compressible) drag(u units.Velocity) float64 {
	d := float64(b.MeanBead)
	return b.constant() * float64(b.Viscosity) * float64(u) / (d * d)
}

// at returns the bed at a velocity in plain numbers.
func (b Compressible) at(u units.Velocity) column {
	c := column{law: b.Law, settled: b.SettledVoid, depth: 1 / (1 - b.SettledVoid), a: b.drag(u), b: gravity * float64(b.DensityExcess),
		solids: (1 - b.SettledVoid) * float64(b.SettledHeight), load: float64(b.Load)}
	if b.WallFriction > 0 {
		c.c = 4 * b.WallFriction / float64(b.InnerDiameter)
	}
	return c
}

// checkFlow refuses a bed that cannot be and a velocity that no bed sees.
func (b Compressible) checkFlow(u units.Velocity) error {
	if err := b.Check(); err != nil {
		return err
	}
	if !(u >= 0 && u <= 1e6*units.CentimetrePerHour) {
		return &packing.InputError{Where: b.name(), What: fmt.Sprintf("velocity %v", u),
			Problem: "it must be between 0 and 1e6 cm/h", Remedy: "was the unit forgotten? Write for example 300 * CentimetrePerHour"}
	}
	return nil
}

// solve returns stress, pressure and lost height at the bottom, and false at or
// above the critical velocity.
func (b Compressible) solve(u units.Velocity, visit func(w float64, y state)) (state, bool) {
	c := b.at(u)
	if most, _ := c.capacity(); !(c.solids < most*(1-1e-9)) {
		return state{}, false
	}
	return c.solve(visit)
}

// At returns the bed at a velocity, to a relative error of about 1e-9. It
// refuses what Check refuses, and with a *CriticalError a velocity that is not
// below the critical one.
func (b Compressible) At(u units.Velocity) (State, error) {
	s, err := b.state(u)
	if err != nil {
		return State{Bed: b, Velocity: u, Refusal: err}, err
	}
	return s, nil
}

func (b Compressible) state(u units.Velocity) (State, error) {
	if err := b.checkFlow(u); err != nil {
		return State{}, err
	}
	y, ok := b.solve(u, nil)
	if !ok {
		critical, err := b.CriticalVelocity()
		if err != nil {
			return State{}, err
		}
		if u < critical.Times(1-1e-6) {
			return State{}, fmt.Errorf("%s: the balance of stress could not be integrated at %v", b.name(), u)
		}
		return State{}, &CriticalError{b.name(), u, critical}
	}
	height := b.SettledHeight - units.Length(y.lost)
	e0 := b.SettledVoid
	return State{
		Bed: b, Velocity: u, Height: height,
		CompressionFactor: b.SettledHeight.In(height),
		Pressure:          units.Pressure(y.pressure),
		RigidPressure:     units.Pressure(b.drag(u) * (1 - e0) * (1 - e0) / (e0 * e0 * e0) * float64(b.SettledHeight)),
		BottomStress:      units.Pressure(y.stress),
		BottomVoid:        b.Law.Void(e0, units.Pressure(y.stress)),
		MeanVoid:          1 - (1-e0)*b.SettledHeight.In(height),
	}, nil
}

// Profile returns stress, void and pressure from the top of the bed to its
// bottom, at the places where the solution was worked out. It is nil for the
// zero State.
func (s State) Profile() []Layer {
	if s.Height == 0 {
		return nil
	}
	var layers []Layer
	e0 := s.Bed.SettledVoid
	s.Bed.solve(s.Velocity, func(w float64, y state) {
		layers = append(layers, Layer{units.Length(w/(1-e0) - y.lost), units.Pressure(y.stress),
			s.Bed.Law.Void(e0, units.Pressure(y.stress)), units.Pressure(y.pressure)})
	})
	return layers
}

// CriticalVelocity returns the velocity at which the void at the bottom comes to
// nothing; there is no steady state from there on. It is the velocity u at which
//
//	∫ (-dσ/dε)/(dσ/dw) dε from 0 to ε(load) = (1-ε0)·L0
//
// where dσ/dw depends on u. It is a property of the model: real beds leave their
// pressure-flow curve before. It refuses what Check refuses, with a
// *CriticalError a load that leaves no void even without flow, and a bed that no
// flow brings there.
func (b Compressible) CriticalVelocity() (units.Velocity, error) {
	if err := b.Check(); err != nil {
		return units.Velocity(math.NaN()), err
	}
	u, _ := b.critical()
	switch {
	case u == 0:
		return units.Velocity(math.NaN()), &CriticalError{Bed: b.name()}
	case math.IsInf(float64(u), 1):
		return units.Velocity(math.NaN()), &packing.InputError{Where: b.name(), What: "critical velocity",
			Problem: "there is none that any flow reaches: the bed hardly gives way, or the wall takes up all of the drag",
			Remedy:  "look at the parameters of its law and at the wall friction"}
	}
	return u, nil
}

// beyondFlows is a velocity in m/s that no liquid has in a bed.
const beyondFlows = 1e6

// critical returns the critical velocity and the height of the bed there; zero
// if there is no steady state without flow, infinity if there is one at any.
func (b Compressible) critical() (units.Velocity, units.Length) {
	c := b.at(0)
	if most, _ := c.capacity(); most <= c.solids {
		return 0, 0
	}
	excess := func(u float64) float64 { // -1 where friction takes up all drag
		c.a = b.drag(units.Velocity(u))
		most, _ := c.capacity()
		return c.solids/most - 1
	}
	// Without friction and weight the capacity goes with 1/u: start there.
	plain := c
	plain.b, plain.c, plain.a = 0, 0, b.drag(units.MetrePerSecond)
	most, _ := plain.capacity()
	low := most / c.solids
	if !(low > 0 && low < beyondFlows) {
		return units.Velocity(math.Inf(1)), 0
	}
	high, flow, fhigh := low, excess(low), 0.0
	for flow > 0 {
		high, fhigh = low, flow
		low /= 2
		flow = excess(low)
	}
	for fhigh <= 0 {
		if high *= 2; high > beyondFlows {
			return units.Velocity(math.Inf(1)), 0
		}
		fhigh = excess(high)
	}
	u := root(excess, low, high, flow, fhigh)
	c.a = b.drag(units.Velocity(u))
	_, height := c.capacity()
	return units.Velocity(u), units.Length(height)
}

// Ceiling returns the compression factor at the critical velocity, the most that
// flow can give. Without friction, weight and load it depends on the law and the
// settled void alone; with LinearStrain and ExponentialVoid not even on their
// modulus. It refuses what CriticalVelocity refuses.
func (b Compressible) Ceiling() (float64, error) {
	if _, err := b.CriticalVelocity(); err != nil {
		return math.NaN(), err
	}
	_, height := b.critical()
	return b.SettledHeight.In(height), nil
}

// VelocityFor returns the velocity at which the bed has a compression factor. It
// refuses what CriticalVelocity refuses, a factor that the load or the weight
// passes without flow, and with a *CeilingError a factor that no flow reaches.
func (b Compressible) VelocityFor(cf float64) (units.Velocity, error) {
	nan := units.Velocity(math.NaN())
	critical, err := b.CriticalVelocity()
	if err != nil {
		return nan, err
	}
	bad := func(problem, remedy string) (units.Velocity, error) {
		return nan, &packing.InputError{Where: b.name(), What: fmt.Sprintf("compression factor %v", cf), Problem: problem, Remedy: remedy}
	}
	if !(cf >= 1) {
		return bad("a bed under flow is not higher than the settled bed", "give settled over packed height")
	}
	still, err := b.At(0)
	if err != nil {
		return nan, err
	}
	if still.CompressionFactor > cf {
		return bad(fmt.Sprintf("load and weight alone give %s", up(still.CompressionFactor)), "ask for that or more, or take a smaller load")
	}
	if still.CompressionFactor == cf {
		return 0, nil
	}
	ceiling, err := b.Ceiling()
	if err != nil {
		return nan, err
	}
	if cf >= ceiling {
		return nan, &CeilingError{Bed: b.name(), Asked: cf, Ceiling: ceiling}
	}
	lost := float64(b.SettledHeight) * (1 - 1/cf)
	most := float64(b.SettledHeight) * (1 - 1/ceiling)
	miss := func(u float64) float64 {
		y, ok := b.solve(units.Velocity(u), nil)
		if !ok { // within rounding of the critical velocity
			return most - lost
		}
		return y.lost - lost
	}
	return units.Velocity(root(miss, 0, float64(critical), miss(0), most-lost)), nil
}

// LoadFor returns the load of the adapter that holds the bed at a compression
// factor while liquid flows at a velocity; zero flow gives the load of
// mechanical compression. It refuses what At refuses, a factor that flow and
// weight pass without a load, and with a *CeilingError a factor at which the bed
// has no steady state at that velocity.
func (b Compressible) LoadFor(cf float64, u units.Velocity) (units.Pressure, error) {
	nan := units.Pressure(math.NaN())
	b.Load = 0
	free, err := b.At(u)
	if err != nil {
		return nan, err
	}
	if !(cf >= free.CompressionFactor) {
		return nan, &packing.InputError{Where: b.name(), What: fmt.Sprintf("compression factor %v", cf),
			Problem: fmt.Sprintf("without a load the bed has %s at %v", up(free.CompressionFactor), u), Remedy: "give that or more"}
	}
	lost := float64(b.SettledHeight) * (1 - 1/cf)
	reached := free.CompressionFactor // by the largest load with a steady state so far
	miss := func(load float64) float64 {
		b.Load = units.Pressure(load)
		if !(b.Law.Void(b.SettledVoid, b.Load) > 0) {
			return lost
		}
		y, ok := b.solve(u, nil)
		if !ok {
			return lost
		}
		reached = math.Max(reached, 1/(1-y.lost/float64(b.SettledHeight)))
		return y.lost - lost
	}
	low, high := 0.0, float64(b.Law.Stress(b.SettledVoid, b.SettledVoid*0.99))
	flow, fhigh := miss(low), miss(high)
	if flow >= 0 {
		return 0, nil
	}
	for fhigh < 0 {
		low, flow = high, fhigh
		high *= 2
		if fhigh = miss(high); high > 1e8 {
			return nan, &CeilingError{b.name(), cf, reached, true, u}
		}
	}
	load := root(miss, low, high, flow, fhigh)
	if math.Abs(miss(load)) > 1e-6*lost {
		return nan, &CeilingError{b.name(), cf, reached, true, u}
	}
	return units.Pressure(load), nil
}

// Curve returns the bed at rising velocities as a curve, such as a plan takes in
// place of a measured one. It refuses what At refuses, a bed under a load, since
// a curve begins with the settled bed, and what the curve's Check refuses.
func (b Compressible) Curve(velocities []units.Velocity) (Curve, error) {
	if b.Load > 0 {
		return Curve{}, &packing.InputError{Where: b.name(), What: fmt.Sprintf("load %v", b.Load),
			Problem: "a curve begins with the bed as it settled", Remedy: "leave the load out, or use At"}
	}
	label := "of the model"
	if b.Label != "" {
		label += " of " + b.Label
	}
	c := Curve{Label: label, SettledHeight: b.SettledHeight, InnerDiameter: b.InnerDiameter, Viscosity: b.Viscosity}
	for _, u := range velocities {
		s, err := b.At(u)
		if err != nil {
			return Curve{}, err
		}
		c.Points = append(c.Points, Point{u, s.CompressionFactor, s.Pressure})
	}
	if err := c.Check(); err != nil {
		return Curve{}, err
	}
	return c, nil
}
