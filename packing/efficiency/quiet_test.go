package efficiency_test

import (
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/efficiency"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// A record without any noise, as a program writes it, has no ratio to its noise.
func TestNoNoiseShown(t *testing.T) {
	var x, y []float64
	for i := range 1200 {
		s := float64(i) * 3
		x, y = append(x, s), append(y, 100*math.Exp(-(s-1800)*(s-1800)/2/60/60))
		if y[i] < 1e-3 {
			y[i] = 0
		}
	}
	tr, err := trace.Make("UV", "mAU", trace.Time, x, y)
	if err != nil {
		t.Fatal(err)
	}
	r, err := efficiency.Pulse{Column: packing.Column{InnerDiameter: 30 * Centimetre}, BedHeight: 18 * Centimetre, Flow: 21.2 * LitrePerHour, Medium: packing.Medium{MeanBead: 90 * Micrometre}}.Evaluate(tr)
	if err != nil {
		t.Fatal(err)
	}
	if s := r.String(); r.Baseline.Noise != 0 || strings.Contains(s, "Inf") || !strings.Contains(s, "none to be seen") {
		t.Errorf("noise %v:\n%s", r.Baseline.Noise, s)
	}
}

// A front that does not pass its quantiles between the plateaus is refused in
// words, not with a number of steps that no record has.
func TestFrontNotPassed(t *testing.T) {
	for _, shape := range []func(i int) float64{
		func(i int) float64 { return 50 + 50*math.Sin(float64(i)/3) },
		func(i int) float64 { return []float64{0, 100}[i/150%2] },
		func(i int) float64 { return float64(i % 300) },
		func(i int) float64 { return []float64{0, 30, 70, 100}[i/150%4] },
	} {
		var x, y []float64
		for i := range 600 {
			x, y = append(x, float64(i)*3), append(y, shape(i))
		}
		tr, err := trace.Make("UV", "mAU", trace.Time, x, y)
		if err != nil {
			t.Fatal(err)
		}
		r, err := efficiency.Transition{Column: packing.Column{InnerDiameter: 30 * Centimetre}, BedHeight: 18 * Centimetre, Flow: 21.2 * LitrePerHour, Medium: packing.Medium{MeanBead: 90 * Micrometre}}.Evaluate(tr)
		if err == nil || strings.Contains(err.Error(), "has -") || strings.Contains(r.String(), "has -") {
			t.Errorf("%v", err)
		}
	}
}
