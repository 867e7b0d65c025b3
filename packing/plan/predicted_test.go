package plan_test

import (
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	. "github.com/evenbed/evenbed/packing/units"
)

// TestPredictedCurve: a curve that was predicted for the column from others is
// taken, with its error among the cautions; a measured one of another size is
// refused and the refusal names the way.
func TestPredictedCurve(t *testing.T) {
	medium := bed.Compressible{Law: bed.PowerSolids{Stress0: 5 * Kilopascal, Exponent: 0.08}, MeanBead: 90 * Micrometre, SettledVoid: 0.40,
		Viscosity: 1 * MillipascalSecond, WallFriction: 0.1}
	var curves []bed.Curve
	for _, size := range []bed.Size{{InnerDiameter: 60 * Centimetre, SettledHeight: 20 * Centimetre}, {InnerDiameter: 2.6 * Centimetre, SettledHeight: 20 * Centimetre}} {
		c, err := medium.In(size).Curve(CentimetrePerHour.Each(50, 100, 150, 200, 250, 300, 350, 400, 450))
		if err != nil {
			t.Fatal(err)
		}
		for i := range c.Points { // readings, to the millibar and a tenth of a millimetre
			p := &c.Points[i]
			p.Pressure = Pressure(math.Round(p.Pressure.In(Millibar))) * Millibar
			p.CompressionFactor = c.SettledHeight.In(Length(math.Round(c.SettledHeight.In(Millimetre)*10/p.CompressionFactor)) / 10 * Millimetre)
		}
		curves = append(curves, c)
	}
	estimates, err := bed.Estimation{Curves: curves, MeanBead: 90 * Micrometre, SettledVoid: 0.40}.Fit()
	if err != nil {
		t.Fatal(err)
	}
	r, err := bed.Prediction{Fit: estimates.Best, Size: bed.Size{InnerDiameter: 30 * Centimetre, SettledHeight: 20.16 * Centimetre}}.Evaluate()
	if err != nil {
		t.Fatal(err)
	}
	c := own(t)
	c.Curve = r.Curve
	p := mustPlan(t, c)
	// The bed with friction, solved directly.
	u, err := medium.In(bed.Size{InnerDiameter: 30 * Centimetre, SettledHeight: 20.16 * Centimetre}).VelocityFor(1.12)
	if err != nil || math.Abs(p.Second.Velocity.In(u)*p.Viscosity.In(1*MillipascalSecond)-1) > 0.01 {
		t.Errorf("second velocity %v in %v, %v; solved directly %v in 1 mPa·s", p.Second.Velocity, p.Viscosity, err, u)
	}
	text := p.String()
	for _, want := range []string{"was not measured on a bed of this size: it is predicted from", "one standard error of its parameters alone"} {
		if !strings.Contains(text, want) {
			t.Errorf("the plan does not say %q", want)
		}
	}
	c.Curve = curves[0]
	refused, _ := c.Plan()
	if refused.Refusal == nil || !strings.Contains(refused.String(), "or predict one from curves of other sizes") {
		t.Errorf("a measured curve of another size: %v", refused.Refusal)
	}
}
