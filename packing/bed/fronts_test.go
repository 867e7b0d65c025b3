package bed_test

import (
	"math"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	. "github.com/evenbed/evenbed/packing/units"
)

// The cases of a table computed with NumPy and a Godunov solver: height 0.40 m,
// 3.6e-4 m/s, exponent 4.65, bed of 0.60.
func TestFronts(t *testing.T) {
	for _, tc := range []struct{ solids, downflow, time float64 }{
		{0.12, 0, 1610.657}, {0.18, 0, 1957.137}, {0.30, 0, 2998.662}, {0.42, 0, 4198.127}, {0.30, 150, 412.1869},
	} {
		s := bed.Suspension{Terminal: 3.6e-4, Exponent: 4.65, Solids: tc.solids, BedSolids: 0.6, Downflow: CentimetrePerHour.Times(tc.downflow)}
		fronts, err := s.Fronts(0.4)
		if err != nil {
			t.Fatal(err)
		}
		last := fronts[len(fronts)-1]
		near(t, "time", float64(last.Time), tc.time, 2e-4, "NumPy, Godunov; a hull of 600 points")
		near(t, "height", float64(last.Bed), 0.4*tc.solids/0.6, 2e-4, "all beads in the bed")
		if f := fronts[1].Interface; tc.solids > 0.2 && tc.downflow == 0 { // the first stretch falls as the suspension does
			near(t, "first fall", float64(0.4-f)/float64(fronts[1].Time), float64(s.Hindered()), 1e-12, "Richardson and Zaki")
		}
		for i, f := range fronts[1:] {
			if f.Time <= fronts[i].Time || f.Bed < fronts[i].Bed || f.Interface > fronts[i].Interface || f.Interface < f.Bed*(1-1e-9) {
				t.Errorf("%v: front %d turns back: %v after %v", tc, i+1, f, fronts[i])
			}
		}
	}
	if _, err := (bed.Suspension{Terminal: 1, Exponent: 4.65, Solids: 0.7, BedSolids: 0.6}).Fronts(0.4); err == nil {
		t.Error("a slurry thicker than the bed")
	}
	if _, err := (bed.Suspension{Terminal: 1, Exponent: 4.65, Solids: 0.3, BedSolids: 0.6}).Fronts(Length(math.NaN())); err == nil {
		t.Error("no height")
	}
}
