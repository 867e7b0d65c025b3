package efficiency

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// gaussianFront is a Gaussian front amid 0.93 column volumes, σ in column volumes.
func gaussianFront(t *testing.T, cv Volume, sigma float64, name, file string) trace.Trace {
	tr := stepOf(t, cv, 1201, 0.0015, func(v float64) float64 { return 5 + 20*math.Erfc((0.93-v)/sigma/math.Sqrt2) })
	tr.Name, tr.From = name, file
	return tr
}

func TestTransitionSeries(t *testing.T) {
	change, cv := inColumnVolumes(18 * Centimetre)
	flat := stepOf(t, cv, 1201, 0.0015, func(v float64) float64 { return 5 })
	flat.Name, flat.From = "Conductivity", "cyc/cycle 3.csv"
	sigmas := []float64{0.04, 0.05, 0, 0.06}
	traces := []trace.Trace{gaussianFront(t, cv, 0.04, "Conductivity", "cyc/cycle 1.csv"), gaussianFront(t, cv, 0.05, "Conductivity", "cyc/cycle 2.csv"), flat,
		gaussianFront(t, cv, 0.06, "Conductivity", "cyc/cycle 4.csv")}
	s, err := change.EvaluateAll(traces)
	if err != nil {
		t.Fatal(err)
	}
	if s, err = s.Against(s.Rows[0].Result); err != nil {
		t.Fatal(err)
	}
	if failed := s.Failed(); len(s.Rows) != 4 || len(failed) != 1 || failed[0].Number != 3 || failed[0].Label != "cycle 3" {
		t.Fatalf("%d rows, without a result %+v", len(s.Rows), failed)
	}
	for i, r := range s.Rows {
		if r.Err != nil {
			continue
		}
		// By hand: H = Lσ²/µ²; two Gaussian fronts are farthest apart where their slopes are equal.
		near(t, r.Label+": HETP in mm", r.Result.HETP.In(Millimetre), 180*math.Pow(sigmas[i]/0.93, 2), 1e-4, "Gaussian front")
		a, b := sigmas[0], sigmas[i]
		want := 0.0
		if a != b {
			x := a * b * math.Sqrt(2*math.Log(b/a)/(b*b-a*a))
			want = (math.Erf(x/a/math.Sqrt2) - math.Erf(x/b/math.Sqrt2)) / 2
		}
		near(t, r.Label+": distance", r.ShapeDistance, want, 5e-4, "Gaussian fronts")
	}
	shown := s.Page().Markdown()
	for _, want := range []string{
		"4 given: 3 with a result, 1 without, 0 not evaluated",
		"3, cycle 3: ", "Trend, beside cycle 1",
		"| cycle 1 | 0.333 |", "| cycle 4 | 0.749 |", // 180·(0.04/0.93)² and 180·(0.06/0.93)²
	} {
		if !strings.Contains(shown, want) {
			t.Errorf("%q is not shown:\n%s", want, shown)
		}
	}
	if !strings.Contains(s.Page().HTML(), "Distance of the shape (%)") {
		t.Error("the distance is not drawn")
	}
	floor := 0.0
	for _, r := range s.Rows {
		if r.NotCompared == nil && r.Err == nil {
			floor = max(floor, r.Floor)
		}
	}
	if want := "noise alone may make up to " + number.Fixed(100*floor, 2) + " %"; !strings.Contains(shown, want) {
		t.Errorf("%q is not shown:\n%s", want, shown)
	}

	// Columns of one file are told apart by their names.
	one, err := change.EvaluateAll([]trace.Trace{gaussianFront(t, cv, 0.04, "cycle 01", "season.csv"), gaussianFront(t, cv, 0.05, "cycle 02", "season.csv")})
	if err != nil || one.Rows[0].Label != "cycle 01" || one.Rows[1].Result.Transition.Label != "cycle 02" {
		t.Errorf("%v, %+v", err, one.Rows[0].Label)
	}
	other := change
	other.Name = "strip to storage"
	wrong, err := other.Evaluate(traces[0])
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Against(wrong); err == nil || !strings.Contains(err.Error(), "compare only like with like") {
		t.Errorf("another transition as reference: %v", err)
	}
	// One cycle that goes the other way is named and stops no other.
	falling := stepOf(t, cv, 1201, 0.0015, func(v float64) float64 { return 5 + 20*math.Erfc((v-0.93)/0.04/math.Sqrt2) })
	mixed, err := change.EvaluateAll([]trace.Trace{traces[0], falling})
	if err != nil {
		t.Fatal(err)
	}
	mixed, err = mixed.Against(mixed.Rows[0].Result)
	if err != nil || mixed.Rows[1].NotCompared == nil || !math.IsNaN(mixed.Rows[1].Distance) || !strings.Contains(mixed.String(), "Not compared") {
		t.Errorf("%v, %+v", err, mixed.Rows[1].NotCompared)
	}
	if none, err := change.EvaluateAll(nil); err == nil || !strings.Contains(none.String(), "give at least one") {
		t.Errorf("no traces: %v", err)
	}
	lost, err := change.EvaluateAll([]trace.Trace{flat})
	if err != nil || lost.Page().SVG() != "" {
		t.Errorf("%v, %q", err, lost.Page().SVG())
	}
	if _, err := lost.Against(s.Rows[0].Result); err == nil || !strings.Contains(err.Error(), "see Failed()") {
		t.Errorf("nothing to compare: %v", err)
	}
}

func TestTransitionSeriesStopped(t *testing.T) {
	change, cv := inColumnVolumes(18 * Centimetre)
	_, cancel := watched(t)
	s, err := change.EvaluateFrom(listed{4, func(i int) (trace.Trace, error) {
		if i == 1 {
			cancel()
		}
		return gaussianFront(t, cv, 0.05, "Conductivity", ""), nil
	}})
	if !errors.Is(err, context.Canceled) || s.Missing < 2 || len(s.Rows)+s.Missing != 4 {
		t.Errorf("%v, %d rows, %d missing", err, len(s.Rows), s.Missing)
	}
}
