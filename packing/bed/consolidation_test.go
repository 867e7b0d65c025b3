package bed_test

import (
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	. "github.com/evenbed/evenbed/packing/units"
)

func TestConsolidation(t *testing.T) {
	c := bed.Consolidation{Permeability: 8e-12, Modulus: 4 * Bar, Viscosity: 1 * MillipascalSecond, SettledHeight: 23 * Centimetre}
	scale, err := c.Scale()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "scale", float64(scale), 0.23*0.23/3.2e-3, 1e-12, "by hand")
	for _, tc := range []struct{ degree, adapter, flow, printed, printedFlow float64 }{
		{0.50, 0.196731, 0.293662, 0.197, 0.294}, {0.90, 0.848085, 0.945988, 0.848, 0.946},
		{0.95, 1.129007, 1.226910, 1.129, 1.227}, {0.99, 1.781288, 1.879190, 1.781, 1.879},
	} {
		for adapter, want := range map[bool][2]float64{true: {tc.adapter, tc.printed}, false: {tc.flow, tc.printedFlow}} {
			c.Adapter = adapter
			at, err := c.Time(tc.degree)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "time factor", at.In(scale), want[0], 2.6e-6, "finite differences and the series, six decimals")
			near(t, "time factor", at.In(scale), want[1], 2e-3, "tables of soil mechanics, three decimals")
			back, err := c.Degree(at)
			near(t, "degree", back, tc.degree, 1e-12, "round trip")
			if err != nil {
				t.Error(err)
			}
		}
	}
	c.Adapter = true
	at, _ := c.Time(0.99)
	near(t, "99 %", at.In(Second), 29, 0.05, "1.781·16.5 s; practice says a minute or two")
	c.Permeability = 2.8e-12 // at a void of 0.31
	at, _ = c.Time(0.99)
	near(t, "99 % of a compressed bed", at.In(Second), 84, 0.01, "the same with a third of the permeability")
	c.Adapter = false
	at, _ = c.Time(0.99)
	near(t, "99 % by flow", at.In(Second), 88.7, 0.01, "1.879·47.2 s")
	contains(t, c.Page().HTML(), "by a flow", "13.9", "0.2937", "1.8792")

	// Both forms of the early degree meet the series.
	for _, adapter := range []bool{true, false} {
		c.Adapter = adapter
		scale, _ := c.Scale()
		a, _ := c.Degree(scale.Times(1e-3 * (1 - 1e-9)))
		b, _ := c.Degree(scale.Times(1e-3 * (1 + 1e-9)))
		near(t, "early", a, b, 4e-9, "nothing jumps")
		if zero, _ := c.Degree(0); zero != 0 {
			t.Errorf("at the start %v", zero)
		}
		if end, _ := c.Degree(scale.Times(50)); end != 1 {
			t.Errorf("at the end %v", end)
		}
	}
	for _, bad := range []bed.Consolidation{{}, {Permeability: 8e-12, Modulus: 4 * Bar, Viscosity: 1e-3}, {Permeability: Area(math.NaN()), Modulus: 1, Viscosity: 1, SettledHeight: 1}} {
		if s, err := bad.Scale(); err == nil || !math.IsNaN(float64(s)) || !strings.Contains(bad.Page().HTML(), "No result:") {
			t.Errorf("%+v: %v, %v", bad, s, err)
		}
	}
	if _, err := c.Time(1); err == nil {
		t.Error("all of it, ever")
	}
	if _, err := c.Degree(-1); err == nil {
		t.Error("a negative time")
	}
}

// At the stop the surface starts to rise at the velocity that was flowing,
// whatever permeability, modulus and height.
func TestInitialRise(t *testing.T) {
	for _, u := range CentimetrePerHour.Each(50, 300, 395) {
		for _, modulus := range Bar.Each(1e4, 1e5) { // stiff, where the linear theory holds
			for _, height := range Centimetre.Each(10, 23) {
				b := soft(bed.LinearStrain{Modulus: modulus})
				b.SettledHeight = height
				s := at(t, b, u)
				c, err := b.Consolidation(u)
				if err != nil {
					t.Fatal(err)
				}
				near(t, "modulus", float64(c.Modulus), float64(modulus), 1e-12, "linear strain has one")
				scale, _ := c.Scale()
				early, _ := c.Degree(scale.Times(1e-4))
				rise := (height - s.Height).Times(early).Within(scale.Times(1e-4))
				near(t, "initial rise", rise.In(CentimetrePerHour), u.In(CentimetrePerHour), 1e-3, "law of the stop")
			}
		}
	}
}

func TestRise(t *testing.T) {
	r := bed.Rise{Velocity: 300 * CentimetrePerHour, Height: 18 * Centimetre, Settled: 20.16 * Centimetre}
	d, err := r.AtMost(1 * Second)
	near(t, "300 cm/h", d.In(Millimetre), 0.83, 0.005, "300 cm/h is 0.83 mm/s")
	if err != nil {
		t.Error(err)
	}
	d, _ = r.AtMost(1 * Hour)
	near(t, "at the end", d.In(Centimetre), 2.16, 1e-12, "not above the settled height")
	s, _ := r.AtLeast(5 * Millimetre)
	near(t, "5 mm", s.In(Second), 6, 1e-12, "5 mm at 300 cm/h by hand")
	contains(t, r.Page().HTML(), "from 300 cm/h", "0.8", "4.2", "8.3", "upper bound")
	for _, bad := range []bed.Rise{{}, {Velocity: 300, Height: 0.18}, {Velocity: 300 * CentimetrePerHour, Height: 18}, {Velocity: 300 * CentimetrePerHour, Height: 0.18, Settled: 0.17}} {
		if d, err := bad.AtMost(1); err == nil || !math.IsNaN(float64(d)) || !strings.Contains(bad.Page().HTML(), "No result:") {
			t.Errorf("%+v: %v, %v", bad, d, err)
		}
	}
	if _, err := r.AtLeast(3 * Centimetre); err == nil {
		t.Error("above the settled height")
	}
	if _, err := r.AtMost(-1); err == nil {
		t.Error("a negative time")
	}
}
