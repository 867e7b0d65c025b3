package bed_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	. "github.com/evenbed/evenbed/packing/units"
)

// straight is a bed whose factor and pressure grow linearly.
func straight(t *testing.T) bed.Curve {
	t.Helper()
	c, err := bed.NewCurve([]float64{50, 100, 200, 400}, CentimetrePerHour,
		[]float64{1.02, 1.04, 1.08, 1.16}, []float64{0.1, 0.2, 0.4, 0.8}, Bar)
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
	c, err := bed.NewCurve([]float64{0, 30, 60, 120, 300, 310}, CentimetrePerHour,
		[]float64{1, 1.01, 1.01, 1.02, 1.03, 1.2}, []float64{0, 0.02, 0.05, 0.1, 0.3, 1.5}, Bar)
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
		{[]float64{50, 60}, []float64{1, 1.2}, []float64{1, 2, 3}, "2 velocities, 2 compression factors and 3 pressures"},
	} {
		if _, err := bed.NewCurve(tc.u, CentimetrePerHour, tc.cf, tc.p, Bar); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%v: %v, want %q", tc.u, err, tc.want)
		}
	}
	if _, err := bed.NewCurve([]float64{50, 60, 70}, 1, []float64{1, 1, 1.2}, []float64{1, 2, 3}, Bar); err == nil ||
		!strings.Contains(err.Error(), "was the unit forgotten") {
		t.Errorf("metres per second passed: %v", err)
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
	if s := c.HTML(); !strings.Contains(s, "curve a &lt; b") || !strings.Contains(s, ">1.1600<") {
		t.Error(s)
	}
	if !strings.Contains(c.Markdown(), "| 400.0 | 1.1600 | 0.800 |") {
		t.Error(c.Markdown())
	}
}

func ExampleCurve() {
	c, err := bed.NewCurve(
		[]float64{50, 100, 200, 400}, CentimetrePerHour,
		[]float64{1.02, 1.04, 1.08, 1.16},
		[]float64{0.1, 0.2, 0.4, 0.8}, Bar)
	if err != nil {
		fmt.Println(err)
		return
	}
	u, _ := c.VelocityFor(1.12)
	p, _ := c.At(u)
	fmt.Println(u, p.Pressure)
	_, err = c.VelocityFor(1.2)
	fmt.Println(err)
	// Output:
	// 300 cm/h 60 kPa
	// curve: does not reach compression factor 1.2: it ends at 400 cm/h with compression factor 1.16 and 80 kPa; measure on, it is not extrapolated
}
