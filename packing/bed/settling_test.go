package bed_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	. "github.com/evenbed/evenbed/packing/units"
)

// water20 is water at 20 °C after IAPWS SR6-08.
const water20 = 1.0015672646 * MillipascalSecond

func near(t *testing.T, name string, got, want, tolerance float64, source string) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Abs(want)) {
		t.Errorf("%s: %.10g, want %.10g within %g (%s)", name, got, want, tolerance, source)
	}
}

func TestStokes(t *testing.T) {
	// fluids 1.0.22, a general library, for beads of 1080 kg/m³ in water at
	// 20 °C, 998.206546 kg/m³; seven digits.
	u := bed.StokesVelocity(90*Micrometre, (1080-998.206546)*KilogramPerCubicMetre, water20)
	near(t, "Stokes", u.In(MetrePerSecond), 3.603891e-4, 2e-7, "fluids, v_terminal by Stokes")
	near(t, "Stokes", u.In(CentimetrePerHour), 129.7401, 4e-7, "the same in cm/h")
	re := bed.Reynolds(u, 90*Micrometre, 998.206546*KilogramPerCubicMetre, water20)
	near(t, "Reynolds", re, 0.03232618, 2e-7, "fluids, Reynolds")
}

func TestSettleReference(t *testing.T) {
	f, err := os.Open("testdata/settling_reference.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 18 {
		t.Fatalf("%d rows, want a head and 17", len(rows))
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	for n, row := range rows[1:] {
		get := func(name string) float64 {
			v, err := strconv.ParseFloat(row[column[name]], 64)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
		s := bed.Suspension{Terminal: MetrePerSecond.Times(get("u0_m_s")), Exponent: get("n"), Solids: get("phi0"),
			BedSolids: get("phi_m"), Downflow: MetrePerSecond.Times(get("q_m_s"))}
		got, err := s.Settle(Metre.Times(get("H0_m")))
		if err != nil {
			t.Fatal(err)
		}
		source := fmt.Sprintf("settling_reference.csv line %d, nine digits", n+2)
		near(t, "hindered velocity", s.Hindered().In(MetrePerSecond), get("v0_m_s"), 5e-9, source)
		near(t, "growth", got.Growth.In(MetrePerSecond), get("U_bed_m_s"), 5e-9, source)
		near(t, "time", got.Time.In(Second), get("t_settle_s"), 6e-9, source)
		near(t, "final height", got.Height.In(Metre), get("H_final_m"), 4e-6, source+"; six digits of a height")
		near(t, "arriving solids", got.Solids, get("phi_tangent"), 1e-5, source+"; a flat minimum")
		single := get("U_chord_m_s") == get("U_bed_m_s")
		if got.SingleShock != single {
			t.Errorf("single shock %v, want %v (%s)", got.SingleShock, single, source)
		}
	}
}

// Batch settling from 0.40 m, as computed independently with seven digits.
func TestSettleBatch(t *testing.T) {
	for _, tc := range []struct {
		solids, growth, time float64
		single               bool
	}{
		{0.12, 4.966917e-5, 1610.657, true},
		{0.18, 6.131407e-5, 1957.137, true},
		{0.30, 6.669641e-5, 2998.662, false},
		{0.42, 6.669641e-5, 4198.127, false},
	} {
		s := bed.Suspension{Terminal: 3.6e-4 * MetrePerSecond, Exponent: 4.65, Solids: tc.solids, BedSolids: 0.60}
		got, err := s.Settle(40 * Centimetre)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "growth", float64(got.Growth), tc.growth, 2e-7, "Kynch, computed independently with NumPy")
		near(t, "time", float64(got.Time), tc.time, 4e-7, "Kynch, computed independently with NumPy")
		if got.SingleShock != tc.single {
			t.Errorf("solids %v: single shock %v", tc.solids, got.SingleShock)
		}
	}
}

// TestSettleLaws: velocities scale the time, the height scales the time, and the
// downflow alone carries the beads down at least as fast as H(1-C)/q.
func TestSettleLaws(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		s := bed.Suspension{Terminal: MetrePerSecond.Times(math.Pow(10, -7+5*r.Float64())), Exponent: 2 + 6*r.Float64(),
			BedSolids: 0.4 + 0.35*r.Float64(), Downflow: CentimetrePerHour.Times(1 + 300*r.Float64())}
		s.Solids = s.BedSolids * (0.02 + 0.96*r.Float64())
		one, err := s.Settle(40 * Centimetre)
		if err != nil {
			t.Fatal(err)
		}
		faster := s
		faster.Terminal, faster.Downflow = s.Terminal.Times(3), s.Downflow.Times(3)
		three, _ := faster.Settle(40 * Centimetre)
		near(t, "three times as fast", float64(three.Time)*3, float64(one.Time), 1e-9, "scale of time")
		half, _ := s.Settle(20 * Centimetre)
		near(t, "half as high", float64(half.Time)*2, float64(one.Time), 1e-12, "scale of height")
		bound := (40 * Centimetre).Times(1 - s.Solids/s.BedSolids).Passed(s.Downflow)
		if one.Time > bound.Times(1+1e-12) {
			t.Errorf("%+v settles in %v, over the bound %v", s, one.Time, bound)
		}
	}
}

func TestSettleRefusals(t *testing.T) {
	good := bed.Suspension{Terminal: 3.6e-4, Exponent: 4.65, Solids: 0.3, BedSolids: 0.6}
	nan, inf := math.NaN(), math.Inf(1)
	for _, tc := range []struct {
		change func(*bed.Suspension)
		want   string
	}{
		{func(s *bed.Suspension) { s.Terminal = 0 }, "beads must sink"},
		{func(s *bed.Suspension) { s.Terminal = Velocity(nan) }, "beads must sink"},
		{func(s *bed.Suspension) { s.Terminal = Velocity(inf) }, "beads must sink"},
		{func(s *bed.Suspension) { s.Exponent = 1.9 }, "exponent 1.9"},
		{func(s *bed.Suspension) { s.Exponent = nan }, "exponent NaN"},
		{func(s *bed.Suspension) { s.Downflow = -1e-9 }, "downflow"},
		{func(s *bed.Suspension) { s.Solids = 0.6 }, "settled already"},
		{func(s *bed.Suspension) { s.Solids = 0 }, "solids 0"},
		{func(s *bed.Suspension) { s.Solids = nan }, "solids NaN"},
		{func(s *bed.Suspension) { s.BedSolids = 1 }, "solids of the bed"},
	} {
		s := good
		tc.change(&s)
		if _, err := s.Settle(40 * Centimetre); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%+v: %v, want %q", s, err, tc.want)
		}
	}
	for _, h := range []Length{0, -1, Length(nan), Length(inf)} {
		if _, err := good.Settle(h); err == nil || !strings.Contains(err.Error(), "height") {
			t.Errorf("height %v: %v", h, err)
		}
	}
}

func ExampleSuspension_Settle() {
	// A 50 % slurry of beads of 90 µm, 40 cm high, without and with flow.
	s := bed.Suspension{Terminal: 3.6e-4 * MetrePerSecond, Exponent: 4.65, Solids: 0.30, BedSolids: 0.60}
	still, _ := s.Settle(40 * Centimetre)
	s.Downflow = 150 * CentimetrePerHour
	pushed, err := s.Settle(40 * Centimetre)
	fmt.Printf("%.0f min, %.1f min, %v\n", still.Time.In(Minute), pushed.Time.In(Minute), err)
	// Output: 50 min, 6.9 min, <nil>
}
