package bed_test

import (
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
	. "github.com/evenbed/evenbed/packing/units"
)

// The invented medium of the examples in water at 20 °C.
var marram = packing.Medium{Name: "Marram", MeanBead: 90 * Micrometre, SettledVoid: 0.40, DensityExcess: 80 * KilogramPerCubicMetre}

func TestStirring(t *testing.T) {
	for _, tc := range []struct{ excess, velocity, time float64 }{{80, 22.30, 161}, {40, 11.15, 323}} {
		m := marram
		m.DensityExcess = KilogramPerCubicMetre.Times(tc.excess)
		r, err := bed.Stirring{Medium: m, Slurry: packing.Slurry{Concentration: 52 * Percent}, Viscosity: water20}.Evaluate()
		if err != nil {
			t.Fatal(err)
		}
		near(t, "velocity", r.Hindered.In(CentimetrePerHour), tc.velocity, 5e-4, "ut(1-0.312)^4.65, NumPy, four digits")
		near(t, "time", r.Time.In(Second), tc.time, 5e-3, "1 cm over that, three digits")
		if tc.excess == 80 {
			contains(t, r.Page().HTML(), "1 cm is clear", "40", "11.15", "323", "22.30", "161", "least known")
		}
		r2, _ := bed.Stirring{Medium: m, Slurry: packing.Slurry{Concentration: 52 * Percent}, Viscosity: water20, Layer: 3 * Centimetre}.Evaluate()
		near(t, "layer", float64(r2.Time), 3*float64(r.Time), 1e-12, "three times as high")
	}
	good := bed.Stirring{Medium: marram, Slurry: packing.Slurry{Concentration: 0.5}, Viscosity: water20}
	for _, tc := range []struct {
		change func(*bed.Stirring)
		want   string
	}{
		{func(s *bed.Stirring) { s.Medium.DensityExcess = 0 }, "density excess"},
		{func(s *bed.Stirring) { s.Slurry.Concentration = 52 }, "concentration 5200 %"},
		{func(s *bed.Stirring) { s.Viscosity = 1 * PascalSecond * 2 }, "viscosity 2000"},
		{func(s *bed.Stirring) { s.Layer = -1 }, "height -1 m"},
		{func(s *bed.Stirring) { s.Slurry.Concentration = 1 }, "settled already"},
	} {
		s := good
		tc.change(&s)
		if r, err := s.Evaluate(); err == nil || !strings.Contains(err.Error(), tc.want) || !strings.Contains(r.Page().HTML(), "No result:") {
			t.Errorf("%v, want %q", err, tc.want)
		}
	}
}

// The first step of the examples: 20 cm at a factor of 1.15 from a 50 % slurry
// at 20 cm/h. Practice reports about half an hour (common practice, no source).
func TestFirstStep(t *testing.T) {
	for _, tc := range []struct{ excess, minutes float64 }{{80, 31.2}, {40, 43.0}} {
		m := marram
		m.DensityExcess = KilogramPerCubicMetre.Times(tc.excess)
		s := bed.Suspend(m, packing.Slurry{Concentration: 0.5}, water20)
		s.Downflow = 20 * CentimetrePerHour
		got, err := s.Settle(46 * Centimetre)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "minutes", got.Time.In(Minute), tc.minutes, 0.01, "Kynch, computed independently with NumPy, three digits")
	}
}

// godunov settles a suspension on a grid and returns when the bed has reached
// the height at which it would hold that part of all beads. It shares nothing
// with Kynch's construction but the flux.
func godunov(s bed.Suspension, height, part float64, cells int) float64 {
	flux := func(φ float64) float64 {
		return φ * (float64(s.Downflow) + float64(s.Terminal)*math.Pow(1-φ, s.Exponent))
	}
	dx := height / float64(cells)
	φ := make([]float64, cells) // from the top down
	for i := range φ {
		φ[i] = s.Solids
	}
	// The flux has a highest point, and may have a lowest one beyond it.
	var turns []float64
	const scan = 4000
	for i := 1; i < scan; i++ {
		a, b, c := flux(s.BedSolids*float64(i-1)/scan), flux(s.BedSolids*float64(i)/scan), flux(s.BedSolids*float64(i+1)/scan)
		if (b-a)*(c-b) < 0 {
			turns = append(turns, s.BedSolids*float64(i)/scan)
		}
	}
	between := func(left, right float64) float64 { // Godunov's flux from left down to right
		best := flux(left)
		pick := func(f float64) {
			if left <= right && f < best || left > right && f > best {
				best = f
			}
		}
		pick(flux(right))
		for _, x := range turns {
			if x > math.Min(left, right) && x < math.Max(left, right) {
				pick(flux(x))
			}
		}
		return best
	}
	fastest := float64(s.Downflow) + float64(s.Terminal)*(1+s.Exponent)
	dt := 0.5 * dx / fastest
	flow := make([]float64, cells+1) // through the upper edge of each cell
	const thick = 0.52
	want := part * height * s.Solids / s.BedSolids
	for step := 1; ; step++ {
		bed := cells // first cell of the bed: those below are full
		for bed > 0 && φ[bed-1] >= s.BedSolids*(1-1e-9) {
			bed--
		}
		top := bed // first cell above half way from the thickest arriving layer to the bed
		for top > 1 && φ[top-1] > thick {
			top--
		}
		filled := float64(cells-top) * dx
		if top > 0 && top < cells {
			filled += dx * (φ[top] - thick) / (φ[top] - φ[top-1])
		}
		if filled >= want {
			return float64(step) * dt
		}
		for i := 1; i < bed; i++ {
			flow[i] = between(φ[i-1], φ[i])
		}
		flow[bed] = 0 // a full cell takes no more
		for i := range bed {
			φ[i] += dt / dx * (flow[i] - flow[i+1])
		}
		// What does not fit into a cell stays in the one above.
		for i := bed - 1; i > 0; i-- {
			if φ[i] > s.BedSolids {
				φ[i-1] += φ[i] - s.BedSolids
				φ[i] = s.BedSolids
			}
		}
	}
}

// Kynch's construction against a scheme of finite volumes: what is between them
// is the scheme's smear, which goes as the grid gets finer, with the size of the
// cells at a shock and more slowly where the layer above the bed is as fast as
// the bed.
func TestSettleGodunov(t *testing.T) {
	for _, tc := range []struct{ solids, downflow float64 }{{0.12, 0}, {0.30, 0}, {0.42, 0}, {0.30, 20}, {0.30, 150}} {
		s := bed.Suspension{Terminal: 3.6e-4, Exponent: 4.65, Solids: tc.solids, BedSolids: 0.60, Downflow: CentimetrePerHour.Times(tc.downflow)}
		got, err := s.Settle(40 * Centimetre)
		if err != nil {
			t.Fatal(err)
		}
		const part = 0.9
		off := func(cells int) float64 { return math.Abs(godunov(s, 0.4, part, cells)/(part*float64(got.Time)) - 1) }
		if coarse, fine := off(100), off(200); fine > 0.7*coarse || fine > 0.065 {
			t.Errorf("%+v: off by %.4f with 100 cells, %.4f with 200", tc, coarse, fine)
		}
	}
}
