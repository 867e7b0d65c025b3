package bed_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
	. "github.com/evenbed/evenbed/packing/units"
)

// number returns the first number behind a text in an error, in the SI unit that
// stands behind it.
func number(t *testing.T, err error, behind string) float64 {
	t.Helper()
	m := regexp.MustCompile(regexp.QuoteMeta(behind) + `([-+0-9.e]*[0-9])( ?(µm|mm|cm/h|cm|mPa·s|m|bar|kg/m³|%))?`).FindStringSubmatch(err.Error())
	if m == nil {
		t.Fatalf("no number behind %q in %q", behind, err)
	}
	v, e := strconv.ParseFloat(m[1], 64)
	if e != nil {
		t.Fatal(e)
	}
	one := map[string]float64{"": 1, "µm": 1e-6, "mm": 1e-3, "cm": 1e-2, "m": 1, "mPa·s": 1e-3, "bar": 1e5, "kg/m³": 1, "%": 0.01, "cm/h": float64(CentimetrePerHour)}[m[3]]
	return v * one
}

// between returns both numbers of "between A and B", a hair inside; a unit that
// stands once belongs to both.
func between(t *testing.T, err error) [2]float64 {
	t.Helper()
	low := number(t, err, "must be between ")
	_, rest, _ := strings.Cut(err.Error(), "must be between ")
	_, rest, _ = strings.Cut(rest, " and ")
	high := number(t, errors.New("and "+rest), "and ")
	head, _, _ := strings.Cut(rest, ";")
	if first, _, _ := strings.Cut(err.Error()[strings.Index(err.Error(), "must be between ")+16:], " and "); !strings.Contains(first, " ") && strings.Contains(head, " ") {
		if unit := number(t, errors.New("and 1 "+strings.SplitN(head, " ", 2)[1]), "and "); low != 0 {
			low *= unit
		}
	}
	return [2]float64{low + 1e-9*(high-low), high - 1e-9*(high-low)}
}

// same reports whether an error still complains of what the first one did.
func same(first, then error) bool {
	var a, b *packing.InputError
	if errors.As(first, &a) && errors.As(then, &b) {
		return a.Problem == b.Problem
	}
	return then != nil
}

// TestFollowTheRemedy: wherever a refusal names a number, doing what it says passes
// that check, for 500 seeded wrong inputs.
func TestFollowTheRemedy(t *testing.T) {
	random := rand.New(rand.NewPCG(500, 13))
	far := func(low, high float64) float64 { // outside of a range, often just
		x := math.Exp(random.NormFloat64() * 2)
		if low > 0 && random.IntN(2) == 0 {
			return low / (1 + x)
		}
		return high * (1 + x)
	}
	var anyBed func() bed.Compressible
	anyBed = func() bed.Compressible {
		laws := []bed.Law{bed.LinearStrain{Modulus: Bar.Times(1 + 5*random.Float64())}, bed.ExponentialVoid{Modulus: Bar.Times(1 + 5*random.Float64())},
			bed.PowerSolids{Stress0: Kilopascal.Times(3 + 20*random.Float64()), Exponent: 0.05 + 0.05*random.Float64()}}
		b := bed.Compressible{Law: laws[random.IntN(3)], MeanBead: Micrometre.Times(40 + 100*random.Float64()), SettledVoid: 0.35 + 0.1*random.Float64(),
			SettledHeight: Centimetre.Times(5 + 40*random.Float64()), InnerDiameter: Centimetre.Times(1 + 40*random.Float64()), Viscosity: MillipascalSecond.Times(0.5 + 3*random.Float64()),
			WallFriction: 0.2 * random.Float64(), DensityExcess: Density(100 * random.Float64())}
		if u, err := b.CriticalVelocity(); err != nil || u > 15000*CentimetrePerHour {
			return anyBed()
		}
		return b
	}
	curveOf := func(b bed.Compressible) bed.Curve {
		u, err := b.CriticalVelocity()
		if err != nil {
			t.Fatal(err)
		}
		var v []Velocity
		for k := range 8 {
			v = append(v, u.Times((0.3+0.5*random.Float64())/8*float64(k+1)))
			if k > 0 && v[k] <= v[k-1] {
				v[k] = v[k-1].Times(1.05)
			}
		}
		c, err := b.Curve(v)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	two := estimated(t, estimation04(t)).Best
	refused := func(kind string, err error) error {
		if err == nil {
			t.Fatalf("%s: a wrong input was taken", kind)
		}
		return err
	}
	passes := func(kind string, first, then error) {
		if same(first, then) {
			t.Errorf("%s: %q; doing so: %q", kind, first, then)
		}
	}
	for range 500 {
		b := anyBed()
		switch kind := random.IntN(14); kind {
		case 0: // a field out of its range
			type field struct {
				set       func(*bed.Compressible, float64)
				low, high float64
			}
			f := []field{
				{func(b *bed.Compressible, v float64) { b.MeanBead = Length(v) }, 1e-6, 2e-3},
				{func(b *bed.Compressible, v float64) { b.SettledVoid = v }, 1e-3, 0.999},
				{func(b *bed.Compressible, v float64) { b.SettledHeight = Length(v) }, 1e-3, 5},
				{func(b *bed.Compressible, v float64) { b.Viscosity = Viscosity(v) }, 1e-4, 1},
				{func(b *bed.Compressible, v float64) { b.WallFriction = v }, 0, 2},
				{func(b *bed.Compressible, v float64) { b.InnerDiameter = Length(v) }, 1e-3, 3},
				{func(b *bed.Compressible, v float64) { b.DensityExcess = Density(v) }, 0, 20000},
				{func(b *bed.Compressible, v float64) { b.KozenyConstant = v }, 50, 1000},
				{func(b *bed.Compressible, v float64) { b.Law = bed.PowerSolids{Stress0: 5e3, Exponent: v} }, 1e-3, 1},
			}[random.IntN(9)]
			f.set(&b, far(f.low, f.high))
			err := refused("field", b.Check())
			for _, v := range between(t, err) {
				f.set(&b, v)
				passes("field", err, b.Check())
			}
		case 1: // above the critical velocity
			u, err := b.CriticalVelocity()
			if err != nil {
				t.Fatal(err)
			}
			_, err = b.At(u.Times(1 + random.ExpFloat64()))
			err = refused("critical", err)
			_, then := b.At(Velocity(number(t, err, "critical velocity, ") * 0.999))
			passes("critical", err, then)
		case 2: // more than flow gives
			ceiling, err := b.Ceiling()
			if err != nil {
				t.Fatal(err)
			}
			_, err = b.VelocityFor(ceiling * (1 + 0.1*random.Float64()))
			err = refused("ceiling", err)
			_, then := b.VelocityFor(number(t, err, "flow gives at most "))
			passes("ceiling", err, then)
		case 3: // less than the load gives
			b.Load = Kilopascal.Times(1 + 5*random.Float64())
			still, err := b.At(0)
			if err != nil {
				t.Fatal(err)
			}
			_, err = b.VelocityFor(1 + (still.CompressionFactor-1)*random.Float64())
			err = refused("load", err)
			_, then := b.VelocityFor(number(t, err, "load and weight alone give "))
			passes("load", err, then)
		case 4: // a load that flow does not need
			u, err := b.CriticalVelocity()
			if err != nil {
				t.Fatal(err)
			}
			u = u.Times(0.7)
			free, err := b.At(u)
			if err != nil {
				t.Fatal(err)
			}
			_, err = b.LoadFor(1+(free.CompressionFactor-1)*0.99*random.Float64(), u)
			err = refused("no load", err)
			_, then := b.LoadFor(number(t, err, "without a load the bed has "), u)
			passes("no load", err, then)
		case 5: // more than load and flow give
			u, err := b.CriticalVelocity()
			if err != nil {
				t.Fatal(err)
			}
			u = u.Times(0.5)
			_, err = b.LoadFor(1.9+random.Float64(), u)
			err = refused("load and flow", err)
			var ceiling *bed.CeilingError
			if !errors.As(err, &ceiling) {
				continue
			}
			_, then := b.LoadFor(number(t, err, "from about ")*0.995, u)
			passes("load and flow", err, then)
		case 6: // beyond the end of a curve
			c := curveOf(b)
			_, err := c.At(c.Last().Velocity.Times(1 + random.ExpFloat64()))
			err = refused("end", err)
			_, then := c.At(Velocity(number(t, err, "it ends at ")))
			passes("end", err, then)
			_, err = c.VelocityFor(c.Last().CompressionFactor + random.Float64())
			err = refused("end", err)
			_, then = c.VelocityFor(number(t, err, "with compression factor "))
			passes("end", err, then)
		case 7: // a target beyond a window
			c := curveOf(b)
			w := bed.Window{Curve: c, MaxPressure: c.Last().Pressure.Times(0.5 + random.Float64()), CompressionFactor: c.Last().CompressionFactor + random.Float64()}
			_, err := w.Evaluate()
			err = refused("window", err)
			rest := number(t, err, "a factor of ") * number(t, err, "flow gives at most ")
			if rest < w.CompressionFactor*(1-1e-3) {
				t.Errorf("window: %v gives %v together, asked %v", err, rest, w.CompressionFactor)
			}
			w.CompressionFactor = number(t, err, "flow gives at most ")
			_, then := w.Evaluate()
			passes("window", err, then)
		case 8: // beyond the empty column
			top := CentimetrePerHour.Times(200 + 400*random.Float64())
			h := bed.Hardware{Velocity: []Velocity{top.Times(0.3), top.Times(0.6), top}, Pressure: Millibar.Each(5, 12, 20)}
			_, err := h.At(top.Times(1.02 + random.ExpFloat64()))
			err = refused("hardware", err)
			_, then := h.At(Velocity(number(t, err, "from 0 to ")))
			passes("hardware", err, then)
		case 9: // a proportion that was not measured
			size := bed.Size{InnerDiameter: 10 * Centimetre}
			size.SettledHeight = size.InnerDiameter.Times(far(0.672*0.98, 7.62*1.02))
			if size.SettledHeight < 1e-3 || size.SettledHeight > 4.9 {
				continue
			}
			p := bed.Prediction{Fit: two, Size: size}
			_, err := p.Evaluate()
			err = refused("proportion", err)
			for _, behind := range []string{"measured from ", " to "} {
				p.Size.SettledHeight = size.InnerDiameter.Times(number(t, err, behind))
				_, then := p.Evaluate()
				passes("proportion", err, then)
			}
		case 10: // predicted above the critical velocity
			p := bed.Prediction{Fit: two, Size: bed.Size{InnerDiameter: Centimetre.Times(3 + 25*random.Float64()), SettledHeight: 20 * Centimetre}}
			u, err := two.CriticalAt(p.Size, 0)
			if err != nil {
				t.Fatal(err)
			}
			top := u.Velocity.Times(1 + random.ExpFloat64())
			p.Velocities = []Velocity{top.Times(0.2), top.Times(0.3), top}
			_, err = p.Evaluate()
			err = refused("predicted", err)
			top = Velocity(number(t, err, "critical velocity, ") * 0.995)
			p.Velocities = []Velocity{top.Times(0.2), top.Times(0.3), top}
			_, then := p.Evaluate()
			passes("predicted", err, then)
		case 11: // a proportion beyond a line
			var tests []bed.CriticalTest
			for k := range 4 {
				ratio := math.Pow(2, float64(k)) * (0.6 + 0.4*random.Float64())
				tests = append(tests, bed.CriticalTest{Size: bed.Size{InnerDiameter: Centimetre.Times(20 / ratio), SettledHeight: 20 * Centimetre}, Velocity: CentimetrePerHour.Times(700 + 60*ratio)})
			}
			line, err := bed.CriticalTests{Tests: tests, Viscosity: 1 * MillipascalSecond}.Fit()
			if err != nil {
				t.Fatal(err)
			}
			size := bed.Size{InnerDiameter: 5 * Centimetre}
			size.SettledHeight = size.InnerDiameter.Times(far(line.Line.LeastRatio*0.98, line.Line.MostRatio*1.02))
			if size.SettledHeight < 1e-3 || size.SettledHeight > 5 {
				continue
			}
			_, err = line.At(size, 1*MillipascalSecond)
			err = refused("line", err)
			for _, behind := range []string{"measured from ", " to "} {
				size.SettledHeight = size.InnerDiameter.Times(number(t, err, behind))
				_, then := line.At(size, 1*MillipascalSecond)
				passes("line", err, then)
			}
		case 12: // a rigid bed, a suspension, a bead too large for the column
			r := bed.Rigid{MeanBead: Length(far(1e-6, 0.1)), Void: 0.4, Height: 0.2, Viscosity: 1e-3}
			err := refused("rigid", r.Check())
			for _, v := range between(t, err) {
				r.MeanBead = Length(v)
				passes("rigid", err, r.Check())
			}
			s := bed.Suspension{Terminal: 1e-4, Exponent: 4.65, BedSolids: 0.5 + 0.1*random.Float64()}
			s.Solids = s.BedSolids * (1 + random.Float64())
			err = refused("suspension", s.Check())
			s.Solids = number(t, err, "those of the bed, ") * 0.9999
			passes("suspension", err, s.Check())
			_, err = bed.WallVoid(Length(far(1.5, 50)), 1)
			err = refused("wall", err)
			for _, behind := range []string{"ratio from ", " to "} {
				_, then := bed.WallVoid(Length(number(t, err, behind)), 1)
				passes("wall", err, then)
			}
		case 13: // settings of an estimation, a window and a scale-up
			e := estimation04(t)
			e.Laws = []bed.Law{bed.PowerSolids{Stress0: 5 * Kilopascal, Exponent: 0.08}}
			e.Curves = e.Curves[:1]
			set := []func(v float64){func(v float64) { e.WallFriction = v }, func(v float64) { e.Confidence = v }, func(v float64) { e.FrictionError = Fraction(v) }}[random.IntN(3)]
			set(far(0, 2.1))
			_, err := e.Fit()
			err = refused("estimation", err)
			ends := between(t, err)
			set((ends[0] + ends[1]) / 2)
			_, then := e.Fit()
			passes("estimation", err, then)
			up := bed.ScaleUp{Bed: b, Sizes: []bed.Size{{InnerDiameter: 0.3, SettledHeight: 0.2}}, Part: far(0, 1)}
			_, err = up.Evaluate()
			err = refused("scale-up", err)
			for _, v := range between(t, err) {
				up.Part = v
				_, then := up.Evaluate()
				passes("scale-up", err, then)
			}
		}
	}
}
