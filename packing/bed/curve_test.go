package bed_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	. "github.com/evenbed/evenbed/packing/units"
)

// factors are readings in cm/h and bar.
func factors(velocity, factor, pressure []float64) bed.Readings {
	return bed.Readings{Velocity: CentimetrePerHour.Each(velocity...), CompressionFactor: factor,
		Pressure: Bar.Each(pressure...)}
}

// straight is a bed whose factor and pressure grow linearly.
func straight(t *testing.T) bed.Curve {
	t.Helper()
	c, err := factors([]float64{50, 100, 200, 400}, []float64{1.02, 1.04, 1.08, 1.16}, []float64{0.1, 0.2, 0.4, 0.8}).Curve()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestCurveStraight(t *testing.T) {
	c := straight(t)
	for _, u := range []float64{0, 10, 50, 73.3, 150, 399.9, 400} {
		p, err := c.At(CentimetrePerHour.Times(u))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "factor", p.CompressionFactor, 1+u*4e-4, 1e-12, "a straight line stays one")
		near(t, "pressure", p.Pressure.In(Bar), u*2e-3, 1e-12, "a straight line stays one")
	}
	u, err := c.VelocityFor(1.12)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "velocity", u.In(CentimetrePerHour), 300, 1e-9, "by hand")
	if u, err := c.VelocityFor(1); u != 0 || err != nil {
		t.Errorf("velocity for a factor of 1: %v, %v", u, err)
	}
}

// TestCurveMonotone: between points that rise, the curve rises, also over a
// plateau and a steep end; the inverse finds the way back.
func TestCurveMonotone(t *testing.T) {
	c, err := factors([]float64{0, 30, 60, 120, 300, 310},
		[]float64{1, 1.01, 1.01, 1.02, 1.03, 1.2}, []float64{0, 0.02, 0.05, 0.1, 0.3, 1.5}).Curve()
	if err != nil {
		t.Fatal(err)
	}
	last := bed.Point{CompressionFactor: 1}
	for u := 0.0; u <= 310; u += 0.25 {
		p, err := c.At(CentimetrePerHour.Times(u))
		if err != nil {
			t.Fatal(err)
		}
		if p.CompressionFactor < last.CompressionFactor || p.Pressure < last.Pressure {
			t.Fatalf("the curve falls at %v cm/h: %v after %v", u, p, last)
		}
		last = p
		if u <= 120 { // with a plateau from 30 to 60
			continue
		}
		back, err := c.VelocityFor(p.CompressionFactor)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "there and back", back.In(CentimetrePerHour), u, 1e-9, "inverse")
	}
	if u, err := c.VelocityFor(1.01); err != nil || u > 30*CentimetrePerHour {
		t.Errorf("on a plateau the lowest velocity is wanted: %v, %v", u, err)
	}
}

func TestCurveViscosity(t *testing.T) {
	c := straight(t)
	if _, err := c.WithViscosity(MillipascalSecond); err == nil || !strings.Contains(err.Error(), "drag cannot be compared") {
		t.Errorf("a curve without viscosity was carried over: %v", err)
	}
	c.Viscosity = 1 * MillipascalSecond
	d, err := c.WithViscosity(2 * MillipascalSecond)
	if err != nil {
		t.Fatal(err)
	}
	for _, u := range []Velocity{30, 100, 390} {
		u = CentimetrePerHour.Times(float64(u))
		p, _ := c.At(u)
		q, err := d.At(u / 2)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "factor", q.CompressionFactor, p.CompressionFactor, 1e-12, "equal drag, equal state")
		near(t, "pressure", float64(q.Pressure), float64(p.Pressure), 1e-12, "equal drag, equal state")
	}
	if c.Points[0].Velocity != 50*CentimetrePerHour {
		t.Error("the curve asked was changed")
	}
}

func TestCurveRange(t *testing.T) {
	c := straight(t)
	c.Label = "07"
	var e *bed.RangeError
	if _, err := c.At(401 * CentimetrePerHour); !errors.As(err, &e) || !strings.Contains(err.Error(), "curve 07: does not reach a velocity of 401 cm/h") {
		t.Errorf("beyond the velocities: %v", err)
	}
	if _, err := c.VelocityFor(1.161); !errors.As(err, &e) || !strings.Contains(err.Error(), "ends at 400 cm/h with compression factor 1.16 and 80 kPa") {
		t.Errorf("beyond the factors: %v", err)
	}
	for _, u := range []Velocity{-1, Velocity(math.NaN())} {
		if _, err := c.At(u); err == nil {
			t.Errorf("velocity %v passed", u)
		}
	}
	for _, cf := range []float64{0.99, math.NaN()} {
		if _, err := c.VelocityFor(cf); err == nil {
			t.Errorf("factor %v passed", cf)
		}
	}
}

func TestCurveRefusals(t *testing.T) {
	nan := math.NaN()
	for _, tc := range []struct {
		u, cf, p []float64
		want     string
	}{
		{nil, nil, nil, "0 points with flow"},
		{[]float64{0, 50, 60}, []float64{1, 1.1, 1.2}, []float64{0, 1, 2}, "2 points with flow; measure at least three"},
		{[]float64{50, 60, 60}, []float64{1, 1, 1}, []float64{1, 2, 3}, "point 3 (60 cm/h): the velocity does not rise"},
		{[]float64{50, 60, 70}, []float64{1.1, 1.05, 1.2}, []float64{1, 2, 3}, "point 2 (60 cm/h): the compression factor falls from 1.1 to 1.05"},
		{[]float64{50, 60, 70}, []float64{0.99, 1.05, 1.2}, []float64{1, 2, 3}, "point 1 (50 cm/h): the compression factor falls from 1 to 0.99"},
		{[]float64{50, 60, 70}, []float64{1, 1.05, 1.2}, []float64{1, 2, 2}, "point 3 (70 cm/h): the pressure does not rise from 2 bar"},
		{[]float64{50, 60, 70}, []float64{1, nan, 1.2}, []float64{1, 2, 3}, "point 2 (60 cm/h): it holds something that is not a number"},
		{[]float64{50, 60, math.Inf(1)}, []float64{1, 1, 1.2}, []float64{1, 2, 3}, "not a number"},
		{[]float64{0, 60, 70}, []float64{1, 1, 1.2}, []float64{0.1, 2, 3}, "point 1 (0 cm/h): the bed at rest"},
		{[]float64{-5, 60, 70}, []float64{1, 1, 1.2}, []float64{1, 2, 3}, "point 1 (-5 cm/h): the velocity does not rise"},
		{[]float64{50, 60}, []float64{1, 1.2}, []float64{1, 2, 3}, "2 velocities, 2 heights or compression factors and 3 pressures"},
	} {
		if _, err := factors(tc.u, tc.cf, tc.p).Curve(); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%v: %v, want %q", tc.u, err, tc.want)
		}
	}
	good := bed.Readings{Velocity: CentimetrePerHour.Each(50, 60, 70), Height: Centimetre.Each(19, 18, 17),
		Pressure: Bar.Each(1, 2, 3), SettledHeight: 20 * Centimetre}
	if _, err := good.Curve(); err != nil {
		t.Error(err)
	}
	for _, tc := range []struct {
		change func(*bed.Readings)
		want   string
	}{
		{func(r *bed.Readings) { r.Velocity = []Velocity{50, 60, 70} }, "point 1 (18000000 cm/h): no bed sees that velocity; was the unit forgotten?"},
		{func(r *bed.Readings) { r.Pressure[1] = Pressure(math.NaN()) }, "point 2 (60 cm/h): it holds something that is not a number"},
		{func(r *bed.Readings) { r.SettledHeight = 0 }, "heights were given without the settled height"},
		{func(r *bed.Readings) { r.CompressionFactor = []float64{1, 1.1, 1.2} }, "heights and compression factors were given; give one of them"},
		{func(r *bed.Readings) { r.Height[0] = 21 * Centimetre }, "point 1 (50 cm/h): the compression factor falls from 1 to 0.95238"},
	} {
		r := good
		r.Height, r.Pressure = slices.Clone(good.Height), slices.Clone(good.Pressure)
		tc.change(&r)
		if _, err := r.Curve(); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("got %v, want %s", err, tc.want)
		}
	}
	c := straight(t)
	c.SettledHeight = 20
	if err := c.Check(); err == nil || !strings.Contains(err.Error(), "settled height 20 m: no bed was measured so; was the unit forgotten") {
		t.Errorf("a bed of 20 m passed: %v", err)
	}
}

func TestCurveShows(t *testing.T) {
	c := straight(t)
	c.Label = "a < b"
	if s := c.Page().HTML(); !strings.Contains(s, "curve a &lt; b") || !strings.Contains(s, ">1.1600<") {
		t.Error(s)
	}
	if !strings.Contains(c.Page().Markdown(), "| 400.0 | 1.1600 | 0.800 |") {
		t.Error(c.Page().Markdown())
	}
}

// TestHeights: the factor is settled height over height, in any unit.
func TestHeights(t *testing.T) {
	r := bed.Readings{Label: "file", Velocity: CentimetrePerHour.Each(50, 100, 200),
		Height: Millimetre.Each(200, 190, 160), Pressure: Kilopascal.Each(10, 20, 40),
		SettledHeight: 20 * Centimetre, InnerDiameter: 30 * Centimetre, Viscosity: MillipascalSecond}
	c, err := r.Curve()
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{1, 20. / 19, 1.25} {
		near(t, "factor", c.Points[i].CompressionFactor, want, 1e-14, "by hand")
	}
	near(t, "pressure", c.Points[2].Pressure.In(Bar), 0.4, 1e-14, "by hand")
	if c.Label != "file" || c.SettledHeight != 20*Centimetre || c.InnerDiameter != 30*Centimetre || c.Viscosity != MillipascalSecond {
		t.Errorf("%#v", c)
	}
}

func ExampleReadings() {
	// An invented bed, 20 cm high at rest.
	c, err := bed.Readings{
		SettledHeight: 20 * Centimetre,
		Velocity:      CentimetrePerHour.Each(50, 100, 200, 400),
		Height:        Centimetre.Each(19.6, 19.2, 18.5, 17.2),
		Pressure:      Bar.Each(0.1, 0.2, 0.4, 0.8),
	}.Curve()
	if err != nil {
		fmt.Println(err)
		return
	}
	p, _ := c.At(200 * CentimetrePerHour)
	fmt.Printf("%.3f at %v\n", p.CompressionFactor, p.Pressure)
	_, err = c.VelocityFor(1.2)
	fmt.Println(err)
	// Output:
	// 1.081 at 40 kPa
	// curve: does not reach compression factor 1.2: it ends at 400 cm/h with compression factor 1.162 and 80 kPa; measure on, it is not extrapolated
}

// TestUpper: by hand, half way between ± 0.02 and ± 0.04 bar the error is 0.03 bar;
// Student's t for 95 % is 1.960 with many degrees of freedom and 2.776 with 4
// (tables).
func TestUpper(t *testing.T) {
	c := bed.Curve{Points: []bed.Point{{100 * CentimetrePerHour, 1.02, 0.1 * Bar}, {200 * CentimetrePerHour, 1.04, 0.2 * Bar}, {300 * CentimetrePerHour, 1.06, 0.3 * Bar}},
		StdErr: []bed.PointError{{0.001, 0.02 * Bar}, {0.001, 0.04 * Bar}, {0.001, 0.04 * Bar}}}
	for _, tc := range []struct {
		freedom int
		want    float64
	}{{0, 0.15 + 1.959964*0.03}, {4, 0.15 + 2.776445*0.03}} {
		c.Freedom = tc.freedom
		p, err := c.Upper(150 * CentimetrePerHour)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "upper end", p.In(Bar), tc.want, 1e-6, "by hand: the curve is a line through rest")
	}
	if _, err := c.Upper(301 * CentimetrePerHour); err == nil {
		t.Error("beyond the curve")
	}
	c.StdErr = nil
	if p, err := c.Upper(150 * CentimetrePerHour); err != nil || !math.IsNaN(float64(p)) {
		t.Errorf("without errors: %v, %v", p, err)
	}
}
