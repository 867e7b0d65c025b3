package plan

import (
	"math"
	"math/rand/v2"
	"testing"
)

// stepped is a signal of given levels, each held for a time, with noise, sampled
// at uneven times.
func stepped(r *rand.Rand, levels, lasts []float64, every, noise float64) signal {
	var s signal
	x, end := 0.0, 0.0
	for i, level := range levels {
		for end += lasts[i]; x < end; x += every * (0.5 + r.Float64()) {
			s.x, s.y = append(s.x, x), append(s.y, level+noise*r.NormFloat64())
		}
	}
	return s
}

// The error of the change at a step's end holds: of noise alone, the change over
// its error follows Student's t with 13 degrees of freedom (15 medians, two
// parameters), |t| < 2.160 in 95 % (tables of Student's t). 2,000 runs: 100 ± 9.7
// outside.
func TestDriftError(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	outside := 0
	for range 2000 {
		s := stepped(r, []float64{3}, []float64{300}, 2, 0.1)
		change, se, why := s.drift(0, 300)
		if why != "" {
			t.Fatal(why)
		}
		if math.Abs(change) > 2.160*se {
			outside++
		}
	}
	if math.Abs(float64(outside)-100) > 4*9.75 {
		t.Errorf("%d of 2000 outside the 95 %% interval", outside)
	}
	line := signal{}
	for i := range 200 {
		line.x, line.y = append(line.x, float64(i)), append(line.y, 5+0.01*float64(i))
	}
	if change, _, _ := line.drift(50, 150); math.Abs(change-1) > 1e-9 {
		t.Errorf("a line that rises by 0.01 each second rises by %v in 100 s", change)
	}
}

// By hand.
func TestSignal(t *testing.T) {
	s := signal{[]float64{0, 1, 3, 4}, []float64{0, 2, 2, 0}}
	for _, tc := range []struct {
		name      string
		got, want float64
	}{
		{"whole area: 1 + 4 + 1", s.integral(0, 4), 6},
		{"from 0.5 to 3.5: 0.75 + 4 + 0.75", s.integral(0.5, 3.5), 5.5},
		{"between two readings: 0.5 · 2", s.integral(1.5, 2), 1},
		{"median of 0, 2, 2, 0", s.median(0, 4), 1},
		{"median of 2, 2, 0", s.median(0.5, 4), 2},
		{"at 0.25", s.at(0.25), 0.5},
	} {
		if math.Abs(tc.got-tc.want) > 1e-12 {
			t.Errorf("%s: %v, want %v", tc.name, tc.got, tc.want)
		}
	}
}

func TestWithError(t *testing.T) {
	for _, tc := range []struct {
		v, se float64
		want  string
	}{
		{4.864, 0.123, "4.86 ± 0.12"}, {13.36, 0.66, "13.36 ± 0.66"}, {205, 612, "205 ± 612"}, {0.0192, 0.0016, "0.0192 ± 0.0016"}, {7, math.NaN(), "7.00"},
	} {
		if got := withError(tc.v, tc.se); got != tc.want {
			t.Errorf("%v ± %v: %s, want %s", tc.v, tc.se, got, tc.want)
		}
	}
}
