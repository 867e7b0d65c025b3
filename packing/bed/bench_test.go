package bed_test

import (
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	. "github.com/evenbed/evenbed/packing/units"
)

// BenchmarkEstimation fits all three laws to the curve of one column and to
// those of two.
func BenchmarkEstimation(b *testing.B) {
	wide, narrow := measured(b, experiment04(b)), measured(b, experiment11(b))
	for _, tc := range []struct {
		name   string
		curves []bed.Curve
	}{{"one", []bed.Curve{wide}}, {"two", []bed.Curve{wide, narrow}}} {
		b.Run(tc.name, func(b *testing.B) {
			e := bed.Estimation{Curves: tc.curves, MeanBead: 90 * Micrometre, SettledVoid: 0.40, WallFriction: 0.1}
			for b.Loop() {
				if r, err := e.Fit(); err != nil || !r.Best.Fit.Converged() {
					b.Fatal(err)
				}
			}
		})
	}
}
