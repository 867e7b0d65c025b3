package plan

import (
	"math"
	"testing"

	"github.com/evenbed/evenbed/packing/fit"
	"github.com/evenbed/evenbed/packing/units"
)

// TestTold: a parameter is told if its error is below half of it.
func TestTold(t *testing.T) {
	for se, want := range map[float64]bool{0.99: true, 1: false, 1.01: false, math.NaN(): false} {
		r := fit.Result{Params: []fit.Estimate{{Value: 100, StdErr: 1}, {Value: 2, StdErr: se}}}
		if told(r, 0, 1) != want || !told(r, 0) {
			t.Errorf("2 ± %v: told %v", se, !want)
		}
	}
}

// TestSpan: below 100 s a time is written in seconds.
func TestSpan(t *testing.T) {
	for s, want := range map[units.Time]string{99: "99 s", 100: "1.7 min", 120: "2.0 min"} {
		if got := span(s); got != want {
			t.Errorf("%v s: %s, want %s", float64(s), got, want)
		}
	}
}

// TestAdapterOfPhase: an adapter that starts or ends at the net is in the tube.
func TestAdapterOfPhase(t *testing.T) {
	for _, tc := range []struct{ from, to, want units.Length }{{0, 0.2, 0.05}, {0.2, 0, 0.15}, {0.2, 0.4, 0.25}} {
		if got := (phase{adapterFrom: tc.from, adapterTo: tc.to}).adapter(0.25); !(math.Abs(float64(got-tc.want)) <= 1e-12) {
			t.Errorf("from %v to %v: a quarter of the way at %v, want %v", tc.from, tc.to, got, tc.want)
		}
	}
	if got := (phase{}).adapter(0.25); !math.IsNaN(float64(got)) {
		t.Errorf("without an adapter it is at %v", got)
	}
}

// TestBedNoise: the scatter is that of the last quarter of a step, of a minute at
// most. By hand: readings of 0 and 2 in turn scatter by 1.0 around 1.
func TestBedNoise(t *testing.T) {
	for _, tc := range []struct{ from, to, noisy float64 }{{100, 200, 175}, {100, 1000, 940}} {
		var s signal
		for x := 0.0; x <= 1100; x++ {
			y := 50 * math.Mod(x, 2) // before the part that counts, and after it
			if x >= tc.noisy && x <= tc.to {
				y = 2 * math.Mod(x, 2)
			}
			s.x, s.y = append(s.x, x), append(s.y, y)
		}
		if got := bedNoise(s, &Step{from: tc.from, to: tc.to}); !(math.Abs(got-1) <= 0.03) {
			t.Errorf("step from %v to %v: %v", tc.from, tc.to, got)
		}
		// A noisier part within the stretch that counts is in it.
		for i, x := range s.x {
			if s.y[i] *= 0; x >= tc.noisy && x < tc.noisy+2 {
				s.y[i] = 10 * math.Mod(x, 2)
			}
		}
		if got := bedNoise(s, &Step{from: tc.from, to: tc.to}); got == 0 {
			t.Errorf("step from %v to %v: the start of what counts is left out", tc.from, tc.to)
		}
	}
}

// TestReadingDrift: readings at the very start and end of a step are of it.
func TestReadingDrift(t *testing.T) {
	w := reviewer{r: Review{Steady: Steady{Over: 300}}, run: Run{Readings: []HeightReading{{99, 0.9}, {100, 0.21}, {400, 0.20}, {401, 0.8}}}}
	change, _, why := w.readingDrift(&Step{Start: 100, End: 400})
	if why != "" || !(math.Abs(change+0.01) <= 1e-12) {
		t.Errorf("changed by %v, %s; want -0.01", change, why)
	}
	if _, _, why = w.readingDrift(&Step{Start: 100.5, End: 400}); why != "it needs two readings 5 min apart" {
		t.Errorf("one reading: %q", why)
	}
}

// TestShortTypedRow: a row that is short beside the record has four points.
func TestShortTypedRow(t *testing.T) {
	typed := Typed{Rows: []TypedRow{{From: 0, To: 36000, Flow: 1e-5}, {From: 36000, To: 36010, Flow: 2e-5}, {From: 36010, To: 72000, Flow: 1e-5}}}
	run, err := typed.run(Review{})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, x := range run.Flow.Positions() {
		if x > 36000 && x < 36010 {
			n++
		}
	}
	if n != 4 {
		t.Errorf("%d points in a row of 10 s of 20 h", n)
	}
}

// TestCompressionFigure: the figure starts with the first step after step 1 in which
// the bed goes down.
func TestCompressionFigure(t *testing.T) {
	play := func(beds ...units.Length) Play {
		p := Play{Title: "pack"}
		for i, b := range beds {
			p.Moments = append(p.Moments, Moment{Time: units.Time(i), Bed: b})
			if i > 0 {
				p.Steps = append(p.Steps, PlayedStep{Name: string(rune('a' + i - 1)), First: i - 1, Last: i})
			}
		}
		return p
	}
	for _, tc := range []struct {
		p    Play
		want string
	}{
		{play(0, 0.2, 0.2, 0.18, 0.17), "pack: from c on"},
		{play(0.3, 0.2, 0.2, 0.21), "pack"},
		{play(0.3, 0.2, 0.1), "pack: from b on"},
	} {
		if got := tc.p.Compression().Title; got != tc.want {
			t.Errorf("%q, want %q", got, tc.want)
		}
	}
}
