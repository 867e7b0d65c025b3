package bed

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/interp"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// Rigid is a bed of spheres that does not give way.
type Rigid struct {
	MeanBead   units.Length // surface over volume, not the median by volume
	Void       float64      // between the beads, 0 to 1
	Height     units.Length
	Viscosity  units.Viscosity
	Density    units.Density // of the liquid; zero: not given, and neither Ergun's pressure nor a Reynolds number
	Sphericity float64       // surface of a ball of the bead's volume over the bead's; zero: 1
}

// PressureDrops are the pressure drop over a rigid bed by several laws. Their
// spread is how uncertain any of them is.
type PressureDrops struct {
	Bed             Rigid
	Velocity        units.Velocity
	KozenyCarman    units.Pressure
	BlakeKozeny     units.Pressure
	Ergun           units.Pressure // NaN without a density
	Reynolds        float64        // ρud/µ; NaN without a density
	Permeability    units.Area     // of Kozeny and Carman
	VoidSensitivity float64        // relative change of the pressure per void, -(3/ε + 2/(1-ε))
	Refusal         error          // why there are no numbers, or nil
}

// Check refuses a bed that cannot be.
func (r Rigid) Check() error {
	bad := func(what, problem, remedy string) error {
		return &packing.InputError{Where: "rigid bed", What: what, Problem: problem, Remedy: remedy}
	}
	switch {
	case !(r.MeanBead >= 1e-6 && r.MeanBead <= 0.1):
		return bad(fmt.Sprintf("mean bead %v", r.MeanBead), "it must be between 1 µm and 10 cm", "write for example 90 * Micrometre")
	case !(r.Void > 0 && r.Void < 1):
		return bad(fmt.Sprintf("void %v", r.Void), "it must be between 0 and 1", "0.40 is usual for beads settled by gravity")
	case !(r.Height > 0 && r.Height <= 100):
		return bad(fmt.Sprintf("height %v", r.Height), "it must be between 0 and 100 m", "write for example 20 * Centimetre")
	case !(r.Viscosity >= 1e-6 && r.Viscosity <= 1e3):
		return bad(fmt.Sprintf("viscosity %v", r.Viscosity), "no liquid has it", "write for example 1 * MillipascalSecond")
	case !(r.Density >= 0 && r.Density <= 30000):
		return bad(fmt.Sprintf("density %v", r.Density), "no liquid has it", "write for example 998 * KilogramPerCubicMetre")
	case r.Sphericity != 0 && !(r.Sphericity >= 0.1 && r.Sphericity <= 1):
		return bad(fmt.Sprintf("sphericity %v", r.Sphericity), "it must be between 0.1 and 1", "leave it zero for spheres")
	}
	return nil
}

// bead is the diameter that counts.
func (r Rigid) bead() float64 {
	if r.Sphericity == 0 {
		return float64(r.MeanBead)
	}
	return float64(r.MeanBead) * r.Sphericity
}

// Permeability returns the permeability after Kozeny and Carman,
//
//	k = d²ε³/(180·(1-ε)²)
//
// with d [m] and k [m²]. It refuses what Check refuses.
func (r Rigid) Permeability() (units.Area, error) {
	if err := r.Check(); err != nil {
		return units.Area(math.NaN()), err
	}
	d, ε := r.bead(), r.Void
	return units.Area(d * d * ε * ε * ε / (180 * (1 - ε) * (1 - ε))), nil
}

// At returns the pressure drop at a superficial velocity u,
//
//	Kozeny and Carman  Δp/L = 180 µu(1-ε)²/(d²ε³)
//	Blake and Kozeny   Δp/L = 150 µu(1-ε)²/(d²ε³)
//	Ergun              Δp/L = 150 µu(1-ε)²/(d²ε³) + 1.75 ρu²(1-ε)/(dε³)
//
// The first two hold for creeping flow, Reynolds number below about 1. They
// differ by 20 %, and an error of 0.01 in the void is one of 11 % in the
// pressure. It refuses what Check refuses, and a negative velocity. Sources:
// P. C. Carman, Trans. Inst. Chem. Eng. 15 (1937) 150-166; R. B. Bird, W. E.
// Stewart and E. N. Lightfoot, Transport Phenomena (Wiley, 1960) chapter 6;
// S. Ergun, Chem. Eng. Prog. 48 (1952) 89-94.
func (r Rigid) At(u units.Velocity) (PressureDrops, error) {
	p, err := r.drops(u)
	if err != nil {
		return PressureDrops{Bed: r, Velocity: u, Refusal: err}, err
	}
	return p, nil
}

func (r Rigid) drops(u units.Velocity) (PressureDrops, error) {
	k, err := r.Permeability()
	if err != nil {
		return PressureDrops{}, err
	}
	if !(u >= 0) || math.IsInf(float64(u), 0) {
		return PressureDrops{}, &packing.InputError{Where: "rigid bed", What: fmt.Sprintf("velocity %v", u), Problem: "it must not be negative"}
	}
	d, ε := r.bead(), r.Void
	viscous := float64(r.Viscosity) * float64(u) * float64(r.Height) / float64(k)
	drops := PressureDrops{
		Bed: r, Velocity: u, Permeability: k,
		KozenyCarman: units.Pressure(viscous), BlakeKozeny: units.Pressure(viscous * 150 / 180),
		Ergun: units.Pressure(math.NaN()), Reynolds: math.NaN(),
		VoidSensitivity: -(3/ε + 2/(1-ε)),
	}
	if r.Density > 0 {
		drops.Ergun = drops.BlakeKozeny +
			units.Pressure(1.75*float64(r.Density)*float64(u)*float64(u)*float64(r.Height)*(1-ε)/(d*ε*ε*ε))
		drops.Reynolds = Reynolds(u, units.Length(d), r.Density, r.Viscosity)
	}
	return drops, nil
}

// Page shows the laws side by side.
func (p PressureDrops) Page() page.Page {
	var out page.Page
	if p.Permeability == 0 {
		out.NoResult(p.Refusal, "nothing has been worked out.")
		return out
	}
	out.Table(p.table())
	return out
}

func (p PressureDrops) table() table.Table {
	t := table.Table{Caption: fmt.Sprintf("Pressure drop of a rigid bed at %v", p.Velocity), RowHeaders: true,
		Columns: []table.Column{{Name: "law"}, {Name: "value", Right: true}, {Name: "unit"}}}
	bar := func(p units.Pressure) string { return number.Compact(p.In(units.Bar), 4) }
	t.Add("Kozeny and Carman, 180", bar(p.KozenyCarman), "bar")
	t.Add("Blake and Kozeny, 150", bar(p.BlakeKozeny), "bar")
	if math.IsNaN(p.Reynolds) {
		t.Add("Ergun", "density not given", "")
	} else {
		t.Add("Ergun", bar(p.Ergun), "bar")
		t.Add("Reynolds number", number.Compact(p.Reynolds, 3), "")
	}
	t.Add("permeability, Kozeny and Carman", number.Compact(p.Permeability.In(units.SquareMetre), 4), "m²")
	t.Add("change for 0.01 more void", number.Fixed(p.VoidSensitivity, 1), "%")
	return t
}

// String returns the page as text.
func (p PressureDrops) String() string { return p.Page().String() }

// A FlowTest is one steady reading of the pressure over a bed.
type FlowTest struct {
	Velocity  units.Velocity
	Height    units.Length   // of the bed
	Pressure  units.Pressure // over the bed, without the hardware
	Viscosity units.Viscosity
}

// Permeability returns the permeability that was measured,
//
//	k = µ·u·L/Δp
//
// which no longer depends on the temperature: it is what to follow from test to
// test. A bed that gives way answers to µu: compare it at equal µu only. It
// refuses values that are not above zero.
func (f FlowTest) Permeability() (units.Area, error) {
	for _, x := range []struct {
		what string
		v    float64
	}{{"velocity", float64(f.Velocity)}, {"bed height", float64(f.Height)}, {"pressure", float64(f.Pressure)}, {"viscosity", float64(f.Viscosity)}} {
		if !(x.v > 0) || math.IsInf(x.v, 0) {
			return units.Area(math.NaN()), &packing.InputError{Where: "flow test", What: x.what, Problem: "it must be above zero", Remedy: "give what was measured"}
		}
	}
	return units.Area(float64(f.Viscosity) * float64(f.Velocity) * float64(f.Height) / float64(f.Pressure)), nil
}

// PressureAt returns the pressure that the same bed has at the same velocity in a
// liquid of another viscosity, Δp·µ/µtest. It holds for rigid beds only. It has
// the errors of Permeability.
func (f FlowTest) PressureAt(mu units.Viscosity) (units.Pressure, error) {
	if _, err := f.Permeability(); err != nil {
		return units.Pressure(math.NaN()), err
	}
	if !(mu > 0) || math.IsInf(float64(mu), 0) {
		return units.Pressure(math.NaN()), &packing.InputError{Where: "flow test", What: fmt.Sprintf("viscosity %v", mu), Problem: "it must be above zero"}
	}
	return f.Pressure.Times(mu.In(f.Viscosity)), nil
}

// Hardware is the pressure of the column without a bed, of nets, distributors,
// valves and hoses, as it was measured at several velocities.
type Hardware struct {
	Velocity  []units.Velocity // rising
	Pressure  []units.Pressure // at each
	Viscosity units.Viscosity  // of the liquid; zero: not given
}

// Check refuses a curve that does not rise.
func (h Hardware) Check() error {
	bad := func(what, problem, remedy string) error {
		return &packing.InputError{Where: "empty column", What: what, Problem: problem, Remedy: remedy}
	}
	if len(h.Velocity) != len(h.Pressure) || len(h.Velocity) < 2 {
		return bad(fmt.Sprintf("%d velocities and %d pressures", len(h.Velocity), len(h.Pressure)), "at least two of each are needed",
			"measure the column without a bed at several velocities")
	}
	var u units.Velocity
	var p units.Pressure
	for i := range h.Velocity {
		if !(h.Velocity[i] > u && finite(float64(h.Velocity[i]))) || !(h.Pressure[i] > p && finite(float64(h.Pressure[i]))) {
			return bad(fmt.Sprintf("reading %d (%v, %v)", i+1, h.Velocity[i], h.Pressure[i]), "velocity and pressure must rise from reading to reading, from above zero",
				"subtract the zero of the gauge; leave out velocities at which nothing can be read")
		}
		u, p = h.Velocity[i], h.Pressure[i]
	}
	return nil
}

// readOff is how far beyond the last reading, in parts of it, a velocity still is
// that of the reading: a flow meter read to three digits does not tell 550 from
// 551 cm/h.
const readOff = 0.01

// At returns the pressure of the hardware at a velocity, by monotone cubic
// interpolation through the readings and zero. It refuses what Check refuses,
// and a velocity beyond the readings by more than 1 %; up to there the curve goes
// on with the slope of its end.
func (h Hardware) At(u units.Velocity) (units.Pressure, error) {
	nan := units.Pressure(math.NaN())
	if err := h.Check(); err != nil {
		return nan, err
	}
	last := h.Velocity[len(h.Velocity)-1]
	if !(u >= 0 && u <= last.Times(1+readOff)) {
		return nan, &packing.InputError{Where: "empty column", What: fmt.Sprintf("velocity %v", u),
			Problem: fmt.Sprintf("it was measured from 0 to %s cm/h", down(last.In(units.CentimetrePerHour))), Remedy: "measure on, it is not extrapolated"}
	}
	x, y := []float64{0}, []float64{0}
	for i := range h.Velocity {
		x, y = append(x, float64(h.Velocity[i])), append(y, float64(h.Pressure[i]))
	}
	var s interp.FritschButland
	if err := s.Fit(x, y); err != nil {
		panic("bed: checked readings could not be interpolated: " + err.Error())
	}
	if beyond := float64(u - last); beyond > 0 {
		return units.Pressure(s.Predict(float64(last)) + beyond*s.PredictDerivative(float64(last))), nil
	}
	return units.Pressure(s.Predict(float64(u))), nil
}

// Subtract returns the readings with the pressure of the hardware taken off, so
// that the pressure over the bed is left. It refuses what At refuses, another
// viscosity (by more than 5 %), and a reading of which nothing is left.
func (h Hardware) Subtract(r Readings) (Readings, error) {
	if h.Viscosity != 0 && r.Viscosity != 0 && math.Abs(h.Viscosity.In(r.Viscosity)-1) > 0.05 {
		return Readings{}, &packing.InputError{Where: "empty column", What: fmt.Sprintf("viscosity %v", h.Viscosity),
			Problem: fmt.Sprintf("the bed was measured at %v", r.Viscosity), Remedy: "measure both with the same liquid at the same temperature"}
	}
	if len(r.Pressure) != len(r.Velocity) {
		return Readings{}, &packing.InputError{Where: "readings", What: fmt.Sprintf("%d velocities and %d pressures", len(r.Velocity), len(r.Pressure)),
			Problem: "they do not belong together", Remedy: "give one of each for every reading"}
	}
	pressure := make([]units.Pressure, len(r.Pressure))
	for i, u := range r.Velocity {
		p, err := h.At(u)
		if err != nil {
			return Readings{}, err
		}
		if pressure[i] = r.Pressure[i] - p; !(pressure[i] > 0) && u > 0 {
			return Readings{}, &packing.InputError{Where: "readings", What: fmt.Sprintf("reading %d (%v, %v)", i+1, u, r.Pressure[i]),
				Problem: fmt.Sprintf("the column without a bed alone has %v", p), Remedy: "check the gauges, and whether both were measured the same way"}
		}
	}
	r.Pressure = pressure
	return r, nil
}

// WallVoid returns the mean void of a bed of spheres in a narrow tube, where the
// wall keeps beads apart,
//
//	ε = 0.390 + 1.740/(r + 1.140)²
//
// with the ratio r of inner diameter to bead diameter. It holds for r from 1.5 to
// 50 and tends to 0.390, which is denser than a settled bed of soft beads: take
// the difference to that. It matters below some 5 mm of inner diameter; the
// support that a wall gives to a soft bed is another thing, see Compressible.
// Source: F. Benyahia and K. E. O'Neill, Part. Sci. Technol. 23 (2005) 169-177.
func WallVoid(inner, bead units.Length) (float64, error) {
	r, err := ratio(inner, bead, 1.5, 50)
	return 0.390 + 1.740/((r+1.140)*(r+1.140)), err
}

// WallVoidDixon returns ε = 0.4 + 0.05/r + 0.412/r² for r of 2 and more, tending
// to 0.4. Source: A. G. Dixon, Can. J. Chem. Eng. 66 (1988) 705-708, from memory.
func WallVoidDixon(inner, bead units.Length) (float64, error) {
	r, err := ratio(inner, bead, 2, math.Inf(1))
	return 0.4 + 0.05/r + 0.412/(r*r), err
}

// WallVoidLoose returns the void of a loose packing, ε = 0.4 + 0.010·(exp(10.686/r) - 1),
// for r of 4 and more, tending to 0.4. Source: R. P. Zou and A. B. Yu, Chem. Eng.
// Sci. 50 (1995) 1504-1507, from memory.
func WallVoidLoose(inner, bead units.Length) (float64, error) {
	r, err := ratio(inner, bead, 4, math.Inf(1))
	return 0.4 + 0.010*math.Expm1(10.686/r), err
}

// ratio returns inner diameter over bead diameter, NaN with an error outside of a range.
func ratio(inner, bead units.Length, low, high float64) (float64, error) {
	r := inner.In(bead)
	if inner > 0 && bead > 0 && r >= low*(1-1e-12) && r <= high*(1+1e-12) {
		return r, nil
	}
	span := fmt.Sprintf("from %v to %v", low, high)
	if math.IsInf(high, 1) {
		span = fmt.Sprintf("from %v on", low)
	}
	return math.NaN(), &packing.InputError{Where: "void at the wall", What: fmt.Sprintf("inner diameter %v, bead %v", inner, bead),
		Problem: "the equation holds for a ratio " + span, Remedy: "in wider columns the wall does not change the mean void"}
}

// Archimedes returns the Archimedes number of a bead, ρ·Δρ·g·d³/µ².
func Archimedes(bead units.Length, excess, rho units.Density, mu units.Viscosity) float64 {
	d := float64(bead)
	return float64(rho) * float64(excess) * gravity * d * d * d / (float64(mu) * float64(mu))
}

// FluidisationReynolds returns the Reynolds number at which an unconfined bed of
// spheres begins to lift in upflow,
//
//	Re = √(33.7² + 0.0408 Ar) - 33.7
//
// Times µ/(ρd) it is the velocity; upflow through a bed without the adapter on it
// must stay well below. Source: C. Y. Wen and Y. H. Yu, AIChE J. 12 (1966)
// 610-612.
func FluidisationReynolds(archimedes float64) float64 {
	return 0.0408 * archimedes / (math.Sqrt(33.7*33.7+0.0408*archimedes) + 33.7)
}

// SettlingExponent returns the exponent of Richardson and Zaki at the Reynolds
// number of one bead,
//
//	(5.1 - n)/(n - 2.7) = 0.1·Re^0.9
//
// It tends to 5.1 in creeping flow, where Richardson and Zaki have 4.65: measure
// it if it matters. Source: J. Garside and M. R. Al-Dibouni, Ind. Eng. Chem.
// Process Des. Dev. 16 (1977) 206-214, from memory.
func SettlingExponent(reynolds float64) float64 {
	x := 0.1 * math.Pow(reynolds, 0.9)
	return (5.1 + 2.7*x) / (1 + x)
}

// SettlingExponentRowe returns the exponent of Richardson and Zaki from
//
//	(4.7 - n)/(n - 2.35) = 0.175·Re^0.75
//
// Source: P. N. Rowe, Chem. Eng. Sci. 42 (1987) 2795-2796, from memory.
func SettlingExponentRowe(reynolds float64) float64 {
	x := 0.175 * math.Pow(reynolds, 0.75)
	return (4.7 + 2.35*x) / (1 + x)
}
