package zones

import (
	"math"
	"slices"
	"testing"
)

// ramp is a signal that rises from 0 to 10 over 1001 samples.
func ramp() (x []float64, signal func(x float64) float64) {
	x = make([]float64, 1001)
	for i := range x {
		x[i] = float64(i) / 100
	}
	return x, func(x float64) float64 { return x }
}

func TestRecordingOfNothingWrong(t *testing.T) {
	x, signal := ramp()
	for i, y := range (Recording{}).Of(x, 10, signal) {
		if math.Abs(y-x[i]) > 1e-14 {
			t.Fatalf("%v recorded as %v", x[i], y)
		}
	}
}

// Each fault by itself, at positions where it can be told by hand.
func TestRecordingFaults(t *testing.T) {
	x, signal := ramp()
	for _, tc := range []struct {
		name string
		r    Recording
		at   int
		want float64
		why  string
	}{
		{"bend", Recording{Bend: 0.1}, 1000, 9, "1 - 0.1 of the height"},
		{"drift", Recording{Drift: 0.02}, 1000, 10.2, "all of it at the end"},
		{"bow", Recording{Bow: 0.02}, 500, 5.2, "all of it in the middle"},
		{"bow", Recording{Bow: 0.02}, 1000, 10, "none at the end"},
		{"step", Recording{Steps: []Mark{{At: 5, Size: 0.03}}}, 499, 4.99, "not yet"},
		{"step", Recording{Steps: []Mark{{At: 5, Size: 0.03}}}, 500, 5.3, "from there on"},
		{"clip", Recording{Clip: 0.9}, 950, 9, "cut"},
		{"spike", Recording{Spikes: []Mark{{At: 5, Size: -0.1, Samples: 2}}}, 501, 4.01, "second sample of two"},
		{"spike", Recording{Spikes: []Mark{{At: 5, Size: -0.1, Samples: 2}}}, 502, 5.02, "behind it"},
		{"rounding", Recording{Rounding: 0.05}, 312, 3, "3.12 to a step of 0.5"},
		{"dead band", Recording{DeadBand: 0.101}, 53, 0.53, "a straight line stays one"},
	} {
		if got := tc.r.Of(x, 10, signal)[tc.at]; math.Abs(got-tc.want) > 1e-9 {
			t.Errorf("%s: %v at %v, want %v: %s", tc.name, got, x[tc.at], tc.want, tc.why)
		}
	}
}

func TestNoise(t *testing.T) {
	x, signal := ramp()
	zero := func(float64) float64 { return 0 }
	sd := func(y []float64) float64 {
		sum := 0.0
		for _, v := range y {
			sum += v * v / float64(len(y))
		}
		return math.Sqrt(sum)
	}
	white := Recording{White: 0.01, Seed: 3}.Of(x, 10, zero)
	if got := sd(white); math.Abs(got/0.1-1) > 0.1 { // four standard errors of 1001 samples
		t.Errorf("white noise of %v, want 0.1", got)
	}
	if again := (Recording{White: 0.01, Seed: 3}).Of(x, 10, zero); !slices.Equal(white, again) {
		t.Error("the same seed gives other samples")
	}
	if other := (Recording{White: 0.01, Seed: 4}).Of(x, 10, zero); slices.Equal(white, other) {
		t.Error("another seed gives the same samples")
	}
	// Averaging 100 samples leaves a tenth of white noise, and most of pink noise.
	blocks := func(r Recording) float64 {
		sum := 0.0
		for seed := range uint64(40) {
			r.Seed = seed
			y := r.Of(x, 10, zero)
			for k := range 10 {
				mean := 0.0
				for _, v := range y[100*k : 100*k+100] {
					mean += v / 100
				}
				sum += mean * mean / 400
			}
		}
		return math.Sqrt(sum)
	}
	if got := blocks(Recording{White: 0.01}); math.Abs(got/0.01-1) > 0.2 {
		t.Errorf("means of white noise scatter by %v, want 0.01", got)
	}
	// By the sum over 1/k of frequencies k up to 5 of 500, and half beyond:
	// some 2.3 to 2.9 of 6.8, a part of 0.58 to 0.65.
	if got := blocks(Recording{Pink: 0.01}); got < 0.05 || got > 0.07 {
		t.Errorf("means of pink noise scatter by %v, want about 0.06", got)
	}
	// With the clip behind the noise nothing stands above it.
	top := 0.0
	for _, v := range (Recording{White: 0.01, Clip: 0.9}).Of(x, 10, signal) {
		top = math.Max(top, v)
	}
	if top != 9 {
		t.Errorf("the highest sample is %v, want 9", top)
	}
}
