package steps_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/steps"
)

// stairs returns a signal sampled each second that goes to each level by a ramp
// and holds it, with noise of a standard deviation, and where the plateaus are.
func stairs(levels []float64, hold, ramp int, noise float64, seed uint64) (x, y []float64, from []int) {
	r := rand.New(rand.NewPCG(seed, 1))
	last := levels[0]
	for _, level := range levels {
		for k := range ramp {
			if level == last {
				break
			}
			y = append(y, last+(level-last)*float64(k+1)/float64(ramp+1))
		}
		from = append(from, len(y))
		for range hold {
			y = append(y, level)
		}
		last = level
	}
	for i := range y {
		x = append(x, float64(i))
		y[i] += noise * r.NormFloat64()
	}
	return x, y, from
}

func TestPlateaus(t *testing.T) {
	up := []float64{50, 100, 150, 200, 250, 300, 250, 200, 100, 50}
	for _, tc := range []struct {
		name       string
		hold, ramp int
		noise      float64
	}{
		{"set values", 120, 0, 0}, {"a quiet pump", 120, 3, 0.5}, {"a loud pump", 120, 3, 5}, {"ramps", 120, 40, 1},
	} {
		for seed := range uint64(20) {
			x, y, from := stairs(up, tc.hold, tc.ramp, tc.noise, seed)
			found, err := steps.Finder{Shortest: 60}.Plateaus(x, y)
			if err != nil || len(found) != len(up) {
				t.Fatalf("%s, seed %d: %d plateaus of %d, %v", tc.name, seed, len(found), len(up), err)
			}
			for i, p := range found {
				// A ramp of 50 over 40 samples stays within the tolerance for a few.
				slack := 1 + tc.ramp/10 + int(tc.noise)
				if math.Abs(p.Level-up[i]) > 0.01*up[i]+tc.noise/2 || p.First < from[i]-slack-1 || p.First > from[i]+slack ||
					p.End < from[i]+tc.hold-slack-1 || p.End > from[i]+tc.hold+slack+1 {
					t.Errorf("%s, seed %d: plateau %d from %d to %d at %.4g; made from %d to %d at %g", tc.name, seed, i+1, p.First, p.End, p.Level,
						from[i], from[i]+tc.hold, up[i])
				}
			}
		}
	}
}

// TestWild: plateaus are found where they are, whatever the level before them, in noise
// that grows with the level and with single readings that are wild.
func TestWild(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 3))
		levels, lasts := []float64{0}, []float64{60 + 100*r.Float64()}
		for range 6 {
			last := levels[len(levels)-1]
			level := last
			for math.Abs(level-last) < 0.25*math.Max(level, last)+5 { // clearly another level
				level = 200 * r.Float64()
			}
			levels, lasts = append(levels, level), append(lasts, 60+600*r.Float64())
		}
		every := 0.2 + 2*r.Float64()
		var x, y []float64
		at, end := 0.0, 0.0
		for i, level := range levels {
			for end += lasts[i]; at < end; at += every * (0.5 + r.Float64()) {
				x, y = append(x, at), append(y, level+0.8*r.NormFloat64())
			}
		}
		for range len(y) / 100 {
			y[r.IntN(len(y))] = 400 * r.Float64()
		}
		found, err := steps.Finder{Shortest: 20, Within: 1, Part: 0.05}.Plateaus(x, y)
		if err != nil || len(found) != len(levels) {
			t.Errorf("seed %d: %d plateaus for levels %.1f: %+v, %v", seed, len(found), levels, found, err)
			continue
		}
		start := 0.0
		for i, p := range found {
			if math.Abs(p.Level-levels[i]) > 0.5 {
				t.Errorf("seed %d: level %v, want %v", seed, p.Level, levels[i])
			}
			if math.Abs(p.Start-start) > 4*every {
				t.Errorf("seed %d: plateau %d starts at %.1f s, want %.1f (one reading each %.1f s)", seed, i, p.Start, start, every)
			}
			start += lasts[i]
			if !(p.Start <= p.From && p.From <= p.To && p.To <= p.Finish) {
				t.Errorf("seed %d: %+v is not in order", seed, p)
			}
		}
	}
}

// TestNone: a ramp is no plateau, nor are stretches too short; an outlier and a
// short disturbance do not cut one.
func TestNone(t *testing.T) {
	var x, ramp, flat []float64
	for i := range 600 {
		x, ramp, flat = append(x, float64(i)), append(ramp, float64(i)), append(flat, 100)
	}
	if found, err := (steps.Finder{Shortest: 60}).Plateaus(x, ramp); err != nil || len(found) != 0 {
		t.Errorf("a ramp: %v, %v", found, err)
	}
	flat[300] = 500
	for i := 400; i < 415; i++ {
		flat[i] = 20
	}
	found, err := steps.Finder{Shortest: 60}.Plateaus(x, flat)
	if err != nil || len(found) != 1 || found[0].First != 0 || found[0].End != 600 {
		t.Errorf("a disturbed plateau: %v, %v", found, err)
	}
	short, _, _ := stairs([]float64{50, 100, 150}, 40, 0, 0, 1)
	_, y, _ := stairs([]float64{50, 100, 150}, 40, 0, 0, 1)
	if found, err := (steps.Finder{Shortest: 60}).Plateaus(short, y); err != nil || len(found) != 0 {
		t.Errorf("short plateaus: %v, %v", found, err)
	}
}

// TestTies: on a clock of whole seconds, read four times a second, the plateaus
// are those of the exact clock, to the second; and a pause of the record, over
// which the level is not known, is none of them.
func TestTies(t *testing.T) {
	x, y, from := stairs([]float64{50, 120, 90}, 400, 4, 0.8, 5)
	for i := range x {
		x[i] = math.Floor(x[i] / 4)
	}
	f := steps.Finder{Shortest: 20, Ties: true}
	found, err := f.Plateaus(x, y)
	if err != nil || len(found) != 3 {
		t.Fatal(found, err)
	}
	for i, p := range found {
		if math.Abs(p.From-float64(from[i])/4) > 1 || math.Abs(p.To-float64(from[i]+400)/4) > 1 {
			t.Errorf("plateau %d from %v to %v; made from %d to %d", i+1, p.From, p.To, from[i]/4, (from[i]+400)/4)
		}
	}
	for i := from[1]; i < len(x); i++ {
		x[i] += 3600
	}
	if found, err = f.Plateaus(x, y); err != nil || len(found) != 3 || found[0].To > 101 || found[1].From < 3700 {
		t.Errorf("with a pause of an hour: %+v, %v", found, err)
	}
}

// TestLaws: scale, shift and another unit of time change nothing; backwards in
// time the same plateaus are found.
func TestLaws(t *testing.T) {
	x, y, _ := stairs([]float64{50, 120, 90, 200}, 150, 4, 0.8, 3)
	want, err := steps.Finder{Shortest: 80}.Plateaus(x, y)
	if err != nil || len(want) != 4 {
		t.Fatal(want, err)
	}
	n := len(x)
	x2, y2, back := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range x {
		x2[i], y2[i], back[i] = x[i]/64+3, 4*y[i], y[n-1-i]
	}
	got, err := steps.Finder{Shortest: 80. / 64}.Plateaus(x2, y2)
	if err != nil || len(got) != 4 {
		t.Fatal(got, err)
	}
	mirror, err := steps.Finder{Shortest: 80}.Plateaus(x, back)
	if err != nil || len(mirror) != 4 {
		t.Fatal(mirror, err)
	}
	for i := range want {
		if got[i].First != want[i].First || got[i].End != want[i].End || math.Abs(got[i].Level-4*want[i].Level) > 1e-9 {
			t.Errorf("scaled: %v, %v", got[i], want[i])
		}
		if m := mirror[3-i]; math.Abs(float64(n-m.End-want[i].First)) > 4 || math.Abs(float64(n-m.First-want[i].End)) > 4 {
			t.Errorf("mirrored: %v, %v", m, want[i])
		}
	}
}

func TestRefused(t *testing.T) {
	for _, tc := range []struct{ x, y []float64 }{
		{[]float64{1, 2}, []float64{1}}, {[]float64{1, 1, 2}, []float64{1, 1, 1}}, {[]float64{1, 2, 3}, []float64{1, math.NaN(), 1}},
	} {
		if _, err := (steps.Finder{}).Plateaus(tc.x, tc.y); err == nil {
			t.Errorf("%v, %v is taken", tc.x, tc.y)
		}
	}
	if _, err := (steps.Finder{Shortest: -1}).Plateaus([]float64{1, 2, 3}, []float64{1, 1, 1}); err == nil {
		t.Error("a negative length is taken")
	}
}

func TestDrift(t *testing.T) {
	// By hand: y = 2 + 3x at 0, 1, 2 has mean 5, slope 3, no residuals.
	d := steps.DriftOf([]float64{0, 1, 2, 3}, []float64{2, 5, 8, 100}, 0, 2)
	if d.Level != 5 || d.Slope != 3 || d.LevelErr != 0 || d.SlopeErr != 0 || d.Samples != 3 {
		t.Errorf("%+v", d)
	}
	if change, _ := d.Change(); change != 6 {
		t.Errorf("change %v", change)
	}
	// Missing values are left out; of one sample only the level is known.
	d = steps.DriftOf([]float64{0, 1, 2}, []float64{math.NaN(), 7, math.NaN()}, 0, 2)
	if d.Level != 7 || !math.IsNaN(d.Slope) || !math.IsNaN(d.LevelErr) {
		t.Errorf("%+v", d)
	}
	if d = steps.DriftOf([]float64{0}, []float64{1}, 5, 6); !math.IsNaN(d.Level) || d.Samples != 0 {
		t.Errorf("%+v", d)
	}
}

// TestDriftErrors: with noise that remembers its last sample, the standard errors
// are those by which level and slope scatter.
func TestDriftErrors(t *testing.T) {
	const runs, n = 1500, 600
	var level, slope, levelErr, slopeErr float64
	for seed := range uint64(runs) {
		r := rand.New(rand.NewPCG(seed, 2))
		x, y := make([]float64, n), make([]float64, n)
		wander := 0.0
		for i := range x {
			wander = 0.7*wander + r.NormFloat64()
			x[i], y[i] = float64(i), 10+0.01*float64(i)+wander
		}
		d := steps.DriftOf(x, y, 0, n)
		level += math.Pow(d.Level-10-0.01*float64(n-1)/2, 2) / runs
		slope += math.Pow(d.Slope-0.01, 2) / runs
		levelErr += d.LevelErr * d.LevelErr / runs
		slopeErr += d.SlopeErr * d.SlopeErr / runs
	}
	// 1,500 runs know a variance to 4 %; the memory left between blocks costs some 5 %.
	for _, v := range []struct {
		what      string
		got, want float64
	}{{"level", levelErr, level}, {"slope", slopeErr, slope}} {
		if v.got < 0.8*v.want || v.got > 1.2*v.want {
			t.Errorf("%s: mean squared standard error %.4g, scatter %.4g", v.what, v.got, v.want)
		}
	}
}
