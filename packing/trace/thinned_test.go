package trace

import (
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
)

// thinnedRuns is how many traces of each kind are made: 9, or COVERAGE_TRACES.
func thinnedRuns(t *testing.T) int {
	if s := os.Getenv("COVERAGE_TRACES"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	return 9
}

// A recorded is a trace as a detector gives it, 100 high over a baseline that drifts.
type recorded struct {
	n          int
	sigma, tau float64 // in points
	noise      float64 // standard deviation
	pink       bool
	window     int // points that are averaged; 0 for none
	front      bool
}

func (r recorded) values(rnd *rand.Rand) []float64 {
	y := make([]float64, r.n)
	mu := float64(r.n)*0.45 + rnd.Float64()*10
	drift := 2 * rnd.Float64()
	top := 0.0
	for i := range y {
		if r.front {
			y[i] = made.EMGFront(float64(i), mu, r.sigma, r.tau)
		} else {
			y[i] = made.EMG(float64(i), mu, r.sigma, r.tau)
		}
		top = math.Max(top, y[i])
	}
	var slow [8]float64 // octaves of the pink noise
	for i := range y {
		e := rnd.NormFloat64()
		if r.pink {
			e = 0
			for k := range slow {
				if i%(1<<k) == 0 {
					slow[k] = rnd.NormFloat64()
				}
				e += slow[k] / math.Sqrt(float64(len(slow)))
			}
		}
		y[i] = 100*y[i]/top + 5 + drift*float64(i)/float64(r.n) + r.noise*e
	}
	if w := r.window; w > 1 {
		raw := append([]float64(nil), y...)
		for i := range y {
			sum, k := 0.0, 0
			for j := max(0, i-w/2); j <= min(len(raw)-1, i+w/2); j++ {
				sum += raw[j]
				k++
			}
			y[i] = sum / float64(k)
		}
	}
	return y
}

func rounded(y []float64, step float64) []float64 {
	if step > 0 {
		for i, v := range y {
			y[i], _ = strconv.ParseFloat(strconv.FormatFloat(math.Round(v/step)*step, 'g', 10, 64), 64)
		}
	}
	return y
}

// kept returns the points that a dead band keeps.
func kept(y []float64, band float64) []int {
	at := []int{0}
	for i, v := range y {
		if math.Abs(v-y[at[len(at)-1]]) > band {
			at = append(at, i)
		}
	}
	if at[len(at)-1] != len(y)-1 {
		at = append(at, len(y)-1)
	}
	return at
}

// thinned returns the trace kept by a dead band and drawn again: "lines" and "held"
// over all points, "points" as they are.
func thinned(y []float64, band float64, how string, round float64) (x, out []float64) {
	at := kept(y, band)
	if how == "points" {
		for _, i := range at {
			x, out = append(x, float64(i)), append(out, y[i])
		}
		return x, rounded(out, round)
	}
	k := 0
	for i := range y {
		x = append(x, float64(i))
		for k+1 < len(at)-1 && at[k+1] <= i {
			k++
		}
		a, b := at[k], at[k+1]
		v := y[a]
		if how == "lines" {
			v += (y[b] - y[a]) * float64(i-a) / float64(b-a)
		}
		out = append(out, v)
	}
	return x, rounded(out, round)
}

func tellsThinned(t *testing.T, x, y []float64) bool {
	t.Helper()
	tr, err := Make("UV", "mAU", Time, x, y)
	if err != nil {
		t.Fatal(err)
	}
	_, yes := tr.Thinned()
	return yes
}

// Plain traces hardly ever read as thinned.
func TestPlainTracesAreNotThinned(t *testing.T) {
	rnd := rand.New(rand.NewPCG(11, 2026))
	runs := thinnedRuns(t)
	told, all := 0, 0
	for _, noise := range []float64{0, 0.01, 0.1, 0.3, 1, 3} {
		for _, pink := range []bool{false, true} {
			for _, round := range []float64{0, 1e-4, 0.01, 0.1, 1, 5} {
				for _, window := range []int{0, 5} {
					for _, front := range []bool{false, true} {
						here := 0
						for k := range runs {
							r := recorded{n: []int{150, 600, 2400}[k%3], sigma: []float64{6, 20, 80}[k%3] * (0.5 + rnd.Float64()), noise: noise, pink: pink, window: window, front: front}
							r.tau = r.sigma * []float64{0.3, 1, 2.5}[k/3%3]
							y := rounded(r.values(rnd), round)
							x := make([]float64, len(y))
							for i := range x {
								x[i] = float64(i)
							}
							if tellsThinned(t, x, y) {
								here++
							}
						}
						told, all = told+here, all+runs
						if float64(here) > 0.02*float64(runs)+1 {
							t.Errorf("noise %v, pink %v, rounded to %v, mean of %d, front %v: %d of %d told", noise, pink, round, window, front, here, runs)
						}
					}
				}
			}
		}
	}
	t.Logf("%d of %d plain traces told", told, all)
	if float64(told) > 0.002*float64(all) {
		t.Errorf("%d of %d plain traces read as thinned", told, all)
	}
}

// Nor do those with rows at uneven times: two rates, a pause, times at random.
func TestUnevenTracesAreNotThinned(t *testing.T) {
	rnd := rand.New(rand.NewPCG(13, 2026))
	runs := thinnedRuns(t)
	for _, noise := range []float64{0.1, 0.3, 1, 3} {
		for _, round := range []float64{0, 0.01, 0.1, 1} {
			for _, how := range []string{"two rates", "a pause", "at random"} {
				told := 0
				for k := range runs {
					n := []int{12, 16, 30, 600}[k%4]
					r := recorded{n: n, sigma: float64(n) / 20, tau: float64(n) / 30, noise: noise}
					y := rounded(r.values(rnd), round)
					x, at := make([]float64, n), 0.0
					for i := range x {
						x[i] = at
						switch {
						case how == "two rates" && i > n/3:
							at += 0.1
						case how == "a pause" && i == n/4:
							at += float64(n)
						case how == "at random":
							at += -math.Log(1 - rnd.Float64())
						default:
							at++
						}
					}
					if tellsThinned(t, x, y) {
						told++
					}
				}
				if float64(told) > 0.02*float64(runs)+1 {
					t.Errorf("%s, noise %v, rounded to %v: %d of %d told", how, noise, round, told, runs)
				}
			}
		}
	}
}

// Nor do those that were recorded at a slower rate than they are written.
func TestSlowTracesAreNotThinned(t *testing.T) {
	rnd := rand.New(rand.NewPCG(16, 2026))
	for _, times := range []int{2, 5, 10} {
		for _, lines := range []bool{false, true} {
			for _, round := range []float64{0, 0.01} {
				told := 0
				for range 40 {
					slow := recorded{n: 300, sigma: 12, tau: 8, noise: 0.3}.values(rnd)
					var x, y []float64
					for i := range times * (len(slow) - 1) {
						a, b := slow[i/times], slow[i/times+1]
						if !lines {
							b = a
						}
						x, y = append(x, float64(i)), append(y, a+(b-a)*float64(i%times)/float64(times))
					}
					if tellsThinned(t, x, rounded(y, round)) {
						told++
					}
				}
				if told > 0 {
					t.Errorf("%d times, lines %v, rounded to %v: %d of 40 told", times, lines, round, told)
				}
			}
		}
	}
}

// Thinned traces are told, but where nearly every point was kept: a band of 2 on steep
// flanks. Coarse rounding hides the ends of lines that hardly bend.
func TestThinnedTracesAreTold(t *testing.T) {
	rnd := rand.New(rand.NewPCG(12, 2026))
	runs := thinnedRuns(t)
	for _, how := range []string{"lines", "held", "points"} {
		for _, band := range []float64{2, 5, 10} {
			for _, noise := range []float64{0.1, 0.3, 1} {
				for _, round := range []float64{0, 0.001, 0.01} {
					told := 0
					for k := range runs {
						r := recorded{n: []int{600, 1200, 2400}[k%3], sigma: []float64{20, 40, 80}[k%3] * (0.5 + rnd.Float64()), noise: noise}
						r.tau = r.sigma * []float64{0.3, 1, 2.5}[k/3%3]
						x, y := thinned(r.values(rnd), band, how, round)
						if tellsThinned(t, x, y) {
							told++
						}
					}
					share := float64(told) / float64(runs)
					t.Logf("%s, band %v, noise %v, rounded to %v: %.0f %% told", how, band, noise, round, 100*share)
					least := 0.8
					switch {
					case how == "lines" && band == 2 && round == 0.01:
						least = 0
					case band == 2 || round == 0.01:
						least = 0.65
					}
					if share < least {
						t.Errorf("%s, band %v, noise %v, rounded to %v: %.0f %% told, want %.0f", how, band, noise, round, 100*share, 100*least)
					}
				}
			}
		}
	}
}

func TestThinningSaysWhy(t *testing.T) {
	rnd := rand.New(rand.NewPCG(14, 2026))
	y := recorded{n: 1200, sigma: 40, tau: 20, noise: 0.3}.values(rnd)
	for how, want := range map[string]string{
		"lines":  "of its way runs on straight lines without noise; ask for the raw rate",
		"held":   "of the points on its flanks repeat the one before; ask for the raw rate",
		"points": "points stand where the value had moved by a fixed amount, and nowhere else; ask for the raw rate",
	} {
		x, thin := thinned(append([]float64(nil), y...), 5, how, 0)
		tr, err := Make("UV", "mAU", Time, x, thin)
		if err != nil {
			t.Fatal(err)
		}
		th, yes := tr.Thinned()
		if !yes || !strings.Contains(th.String(), want) || th.Kept < len(kept(y, 5))/3 || th.Kept > 2*len(kept(y, 5)) {
			t.Errorf("%s: %+v, %v; %d points were kept", how, th, th, len(kept(y, 5)))
		}
	}
	for _, y := range [][]float64{make([]float64, 30), {1, 2, 3}} {
		x := make([]float64, len(y))
		for i := range x {
			x[i] = float64(i)
		}
		if tellsThinned(t, x, y) {
			t.Errorf("%v reads as thinned", y)
		}
	}
}

func BenchmarkThinned(b *testing.B) {
	y := recorded{n: 3000, sigma: 40, tau: 20, noise: 0.3}.values(rand.New(rand.NewPCG(15, 2026)))
	x := make([]float64, len(y))
	for i := range x {
		x[i] = float64(i)
	}
	tr, err := Make("UV", "mAU", Time, x, y)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		tr.Thinned()
	}
}
