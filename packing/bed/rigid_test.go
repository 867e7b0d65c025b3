package bed_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	. "github.com/evenbed/evenbed/packing/units"
)

func TestRigidReference(t *testing.T) {
	for n, row := range rows(t, "pressure_drop_reference.csv", 5) {
		p, err := bed.Rigid{MeanBead: Metre.Times(row["dp_m"]), Void: row["eps"], Height: Metre.Times(row["L_m"]),
			Viscosity: 1.0015672646 * MillipascalSecond, Density: 998.206546 * KilogramPerCubicMetre}.At(CentimetrePerHour.Times(row["u_cm_h"]))
		if err != nil {
			t.Fatal(err)
		}
		source := fmt.Sprintf("pressure_drop_reference.csv line %d, ten digits", n+2)
		near(t, "Kozeny-Carman", float64(p.KozenyCarman), row["dP_KozenyCarman180_Pa"], 6e-10, source)
		near(t, "Blake-Kozeny", float64(p.BlakeKozeny), row["dP_BlakeKozeny150_Pa"], 6e-10, source)
		near(t, "Ergun", float64(p.Ergun), row["dP_Ergun_Pa"], 6e-10, source+", fluids")
		near(t, "Reynolds", p.Reynolds, row["Re"], 6e-10, source+", fluids")
		near(t, "Carman", float64(p.KozenyCarman), row["dP_Carman_fluids_Pa"], 0.015, source+", fluids: Carman's own law with its inertial term")
		near(t, "others", float64(p.KozenyCarman), row["dP_KTA_fluids_Pa"], 0.13, source+", fluids: the spread between laws")
	}
}

func TestRigid(t *testing.T) {
	b := bed.Rigid{MeanBead: 100 * Micrometre, Void: 0.4, Height: 20 * Centimetre, Viscosity: 1 * MillipascalSecond, Density: 1000}
	p, err := b.At(1 * MillimetrePerSecond)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Kozeny-Carman", float64(p.KozenyCarman), 20250, 1e-12, "by hand: 180·1e-3·1e-3·0.2·0.36/(1e-8·0.064)")
	near(t, "Blake-Kozeny", float64(p.BlakeKozeny), 16875, 1e-12, "by hand")
	near(t, "Ergun", float64(p.Ergun), 16907.8125, 1e-12, "by hand: + 1.75·1000·1e-6·0.2·0.6/(1e-4·0.064)")
	near(t, "sensitivity", p.VoidSensitivity, -10.8333333, 1e-8, "-(3/0.4 + 2/0.6)")
	near(t, "permeability", float64(p.Permeability), 1e-8*0.064/(180*0.36), 1e-12, "by hand")
	contains(t, p.Page().HTML(), "0.2025", "0.1688", "0.1691", "-10.8")
	flat := b
	flat.Sphericity, flat.Density = 0.5, 0
	q, _ := flat.At(1 * MillimetrePerSecond)
	near(t, "sphericity", float64(q.KozenyCarman), 4*20250, 1e-12, "half the diameter")
	if !math.IsNaN(float64(q.Ergun)) || !math.IsNaN(q.Reynolds) {
		t.Error("Ergun without a density")
	}
	contains(t, q.String(), "density not given")

	// The measured permeability of that bed, and its pressure in the cold.
	f := bed.FlowTest{Velocity: 1 * MillimetrePerSecond, Height: 20 * Centimetre, Pressure: p.KozenyCarman, Viscosity: 1 * MillipascalSecond}
	k, err := f.Permeability()
	near(t, "round trip", float64(k), float64(p.Permeability), 1e-12, "k = µuL/Δp")
	cold, err2 := f.PressureAt(1.515823 * MillipascalSecond)
	near(t, "cold room", float64(cold), 20250*1.515823, 1e-12, "pressure goes with the viscosity")
	if err != nil || err2 != nil {
		t.Error(err, err2)
	}

	for _, tc := range []struct {
		change func(*bed.Rigid)
		want   string
	}{
		{func(b *bed.Rigid) { b.MeanBead = 90 }, "mean bead 90 m"}, {func(b *bed.Rigid) { b.Void = 40 }, "void 40"},
		{func(b *bed.Rigid) { b.Height = 0 }, "height 0"}, {func(b *bed.Rigid) { b.Viscosity = Viscosity(math.NaN()) }, "viscosity NaN"},
		{func(b *bed.Rigid) { b.Density = -1 }, "density -1"}, {func(b *bed.Rigid) { b.Sphericity = 2 }, "sphericity 2"},
	} {
		bad := b
		tc.change(&bad)
		if _, err := bad.At(1); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%v, want %q", err, tc.want)
		}
		if k, err := bad.Permeability(); err == nil || !math.IsNaN(float64(k)) {
			t.Errorf("%v, %v", k, err)
		}
	}
	if _, err := b.At(-1); err == nil {
		t.Error("a negative velocity")
	}
	if _, err := (bed.FlowTest{Velocity: 1, Height: 1, Viscosity: 1}).Permeability(); err == nil || !strings.Contains(err.Error(), "pressure") {
		t.Error(err)
	}
	if _, err := f.PressureAt(0); err == nil {
		t.Error("no viscosity")
	}
}

func TestHardware(t *testing.T) {
	empty := bed.Hardware{Velocity: CentimetrePerHour.Each(100, 200, 300, 400), Pressure: Bar.Each(0.01, 0.02, 0.03, 0.04), Viscosity: 1 * MillipascalSecond}
	for _, u := range []float64{0, 50, 150, 400} {
		p, err := empty.At(CentimetrePerHour.Times(u))
		if err != nil || math.Abs(p.In(Bar)-u*1e-4) > 1e-12 {
			t.Errorf("%v cm/h: %v, %v; a straight line stays one", u, p, err)
		}
	}
	// A flow meter does not tell 404 from 400 cm/h; 405 is another velocity.
	p, err := empty.At(403.9 * CentimetrePerHour)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "just beyond the last reading", p.In(Bar), 0.04039, 1e-12, "by hand: the line goes on")
	if _, err := empty.At(405 * CentimetrePerHour); err == nil {
		t.Error("a velocity beyond the readings")
	}
	r := bed.Readings{Velocity: CentimetrePerHour.Each(100, 200, 300), Pressure: Bar.Each(0.11, 0.23, 0.36), CompressionFactor: []float64{1.01, 1.02, 1.03}, Viscosity: 1.01 * MillipascalSecond}
	net, err := empty.Subtract(r)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0.10, 0.21, 0.33} {
		near(t, "net", net.Pressure[i].In(Bar), want, 1e-12, "by hand")
	}
	if r.Pressure[0] != 0.11*Bar {
		t.Error("the readings given were changed")
	}
	if _, err := net.Curve(); err != nil {
		t.Error(err)
	}
	for _, tc := range []struct {
		change func(*bed.Hardware, *bed.Readings)
		want   string
	}{
		{func(h *bed.Hardware, r *bed.Readings) { h.Viscosity = 1.5 * MillipascalSecond }, "viscosity 1.5 mPa·s: the bed was measured at 1.01"},
		{func(h *bed.Hardware, r *bed.Readings) { r.Velocity = CentimetrePerHour.Each(100, 200, 500) }, "velocity 500 cm/h: it was measured from 0 to 400"},
		{func(h *bed.Hardware, r *bed.Readings) { r.Pressure = Bar.Each(0.005, 0.23, 0.36) }, "reading 1 (100 cm/h, 500 Pa): the column without a bed alone has 1 kPa"},
		{func(h *bed.Hardware, r *bed.Readings) { r.Pressure = Bar.Each(0.11) }, "3 velocities and 1 pressures"},
		{func(h *bed.Hardware, r *bed.Readings) { h.Pressure = Bar.Each(0.02, 0.01, 0.03, 0.04) }, "reading 2"},
		{func(h *bed.Hardware, r *bed.Readings) { h.Pressure = Bar.Each(0.02) }, "4 velocities and 1 pressures"},
	} {
		h, readings := empty, r
		tc.change(&h, &readings)
		if _, err := h.Subtract(readings); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%v, want %q", err, tc.want)
		}
	}
}

func TestWallVoid(t *testing.T) {
	for _, tc := range []struct{ ratio, benyahia, dixon, loose float64 }{
		{10, 0.4040210, 0.4091200, 0.4191130}, {20, 0.3938935, 0.4035300, 0.4070625},
	} {
		inner := (90 * Micrometre).Times(tc.ratio)
		for _, f := range []struct {
			law  func(Length, Length) (float64, error)
			want float64
		}{{bed.WallVoid, tc.benyahia}, {bed.WallVoidDixon, tc.dixon}, {bed.WallVoidLoose, tc.loose}} {
			got, err := f.law(inner, 90*Micrometre)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "void", got, f.want, 2e-7, "fluids and Python, seven digits")
		}
	}
	e, err := bed.WallVoid(4.5*Millimetre, 90*Micrometre)
	near(t, "void", e, 0.3906653, 2e-7, "fluids, seven digits")
	if err != nil {
		t.Error(err)
	}
	for _, inner := range []Length{30 * Centimetre, 0, -1, 0.1 * Millimetre, Length(math.NaN())} {
		if e, err := bed.WallVoid(inner, 90*Micrometre); err == nil || !math.IsNaN(e) {
			t.Errorf("%v: %v, %v", inner, e, err)
		}
	}
	if _, err := bed.WallVoidDixon(30*Centimetre, 90*Micrometre); err != nil {
		t.Error(err)
	}
}

func TestNumbers(t *testing.T) {
	const rho, mu = 998.206546 * KilogramPerCubicMetre, 1.0015672646 * MillipascalSecond
	near(t, "Archimedes", bed.Archimedes(90*Micrometre, 1080-rho, rho, mu), 0.5818713, 2e-7, "fluids, seven digits")
	ar := bed.Archimedes(200*Micrometre, 1200-rho, rho, mu)
	near(t, "Archimedes", ar, 15.75353, 4e-7, "fluids, seven digits")
	re := bed.FluidisationReynolds(ar)
	near(t, "Reynolds", re, 9.534913e-3, 4e-7, "Wen and Yu, Python, seven digits")
	near(t, "velocity", re*float64(mu)/(float64(rho)*200e-6), 4.783507e-5, 4e-7, "Wen and Yu, Python, seven digits")
	near(t, "Reynolds", bed.FluidisationReynolds(1e4), 5.589821, 2e-7, "Wen and Yu, Python, seven digits")
	near(t, "Reynolds", bed.FluidisationReynolds(1e6), 171.0821, 4e-7, "Wen and Yu, Python, seven digits")
	near(t, "viscous", bed.FluidisationReynolds(1e-9), 1e-9/1651.96, 1e-6, "its limit, Ar/1651.96")
	for _, tc := range []struct{ re, garside, rowe float64 }{
		{0.1, 5.070161, 4.629075}, {1, 4.881818, 4.350000}, {10, 4.037548, 3.534418}, {100, 3.028337, 2.709658},
	} {
		near(t, "exponent", bed.SettlingExponent(tc.re), tc.garside, 2e-7, "Garside and Al-Dibouni, fluids, seven digits")
		near(t, "exponent", bed.SettlingExponentRowe(tc.re), tc.rowe, 2e-7, "Rowe, fluids, seven digits")
	}
}
