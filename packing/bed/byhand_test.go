package bed_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/record"
	. "github.com/evenbed/evenbed/packing/units"
)

// handCurves returns the curves of the readings that no law of this package made.
func handCurves(t *testing.T) []bed.Curve {
	t.Helper()
	run, err := record.Parse("columns-by-hand.csv", made.ByHand())
	if err != nil {
		t.Fatal(err)
	}
	velocity, err := run.Velocities("Velocity")
	if err != nil {
		t.Fatal(err)
	}
	var curves []bed.Curve
	for name, size := range []bed.Size{21: {InnerDiameter: 10 * Centimetre, SettledHeight: 18.4 * Centimetre}, 22: {InnerDiameter: 2.6 * Centimetre, SettledHeight: 19.6 * Centimetre}} {
		if size == (bed.Size{}) {
			continue
		}
		pressure, err := run.Pressures(fmt.Sprintf("Pressure %d", name))
		if err != nil {
			t.Fatal(err)
		}
		height, err := run.Lengths(fmt.Sprintf("Height %d", name))
		if err != nil {
			t.Fatal(err)
		}
		c, err := bed.Readings{Label: fmt.Sprintf("column %d", name), SettledHeight: size.SettledHeight, InnerDiameter: size.InnerDiameter,
			Viscosity: 1 * MillipascalSecond, Velocity: velocity, Pressure: pressure, Height: height}.Curve()
		if err != nil {
			t.Fatal(err)
		}
		curves = append(curves, c)
	}
	return curves
}

// TestByHand: of readings that no law made, read by eye, the critical velocity is
// not determined, since no velocity came near it, and what is predicted for wider and
// narrower columns holds the bed within two standard errors from a third of the
// highest velocity on. Below, the rest of the nets in the pressures is all that
// matters.
func TestByHand(t *testing.T) {
	curves := handCurves(t)
	for _, some := range [][]bed.Curve{curves[:1], curves} {
		r := estimated(t, bed.Estimation{Curves: some, MeanBead: 75 * Micrometre, SettledVoid: 0.40, PressureError: 2 * Percent})
		for i, c := range r.Best.Critical {
			if c.Determined {
				t.Errorf("%d columns: the critical velocity of %s is determined: %+v", len(some), some[i].Label, c)
			}
		}
		if r.Next.Curve == "" || r.Next.Velocity <= some[0].Last().Velocity || r.Next.Enough {
			t.Errorf("%d columns: measure next: %+v", len(some), r.Next)
		}
		contains(t, strings.Join(r.Doubts, "\n"), "is not determined", "Measure next in column", "more readings will be needed after that")
		for _, d := range []float64{0.05, 0.3, 1} {
			p := predicted(t, bed.Prediction{Fit: r.Best, Size: bed.Size{InnerDiameter: Length(d), SettledHeight: 20 * Centimetre}, Extrapolate: true})
			for i, x := range p.Curve.Points {
				height, drop := made.ByHandAt(float64(x.Velocity), 0.2, d)
				e := p.Curve.StdErr[i]
				if float64(i+1)*3 >= float64(len(p.Curve.Points)) && !(math.Abs(float64(x.Pressure)-drop) <= 2*float64(e.Pressure) && math.Abs(x.CompressionFactor-0.2/height) <= 2*e.CompressionFactor) {
					t.Errorf("%d columns, %v m at %v: %v ± %v and %.4f ± %.4f, the bed has %v and %.4f", len(some), d, x.Velocity, x.Pressure, e.Pressure, x.CompressionFactor, e.CompressionFactor, Pressure(drop), 0.2/height)
				}
			}
		}
	}
}
