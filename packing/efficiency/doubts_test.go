package efficiency

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// TestWarningsAtTheirBounds puts each doubt on both sides of its bound: one test
// in which it must be seen and one, close by, in which it must not. The bounds
// are common practice, no source.
func TestWarningsAtTheirBounds(t *testing.T) {
	cv := test04().Column.Volume(test04().BedHeight)
	with := func(f func(x float64) float64) func(x float64) float64 {
		return func(x float64) float64 { return gaussian(x) + f(x) }
	}
	bump := func(at, height float64) func(x float64) float64 {
		return with(func(x float64) float64 { z := (x - retention04 - at) / 60; return height * math.Exp(-z*z/2) })
	}
	noise := func(sd float64) func(x float64) float64 {
		r := rand.New(rand.NewPCG(5, 5))
		return with(func(float64) float64 { return sd * r.NormFloat64() })
	}
	same := func(x float64) float64 { return gaussian(x) }
	plain := func(*Pulse) {}
	velocity := func(v float64) func(p *Pulse) {
		return func(p *Pulse) { p.Flow = p.Column.Flow(CentimetrePerHour.Times(v)) }
	}
	height := func(h float64) func(p *Pulse) { return func(p *Pulse) { p.BedHeight = Centimetre.Times(h) } }
	limits := func(l Limits) func(p *Pulse) { return func(p *Pulse) { p.Limits = l } }
	smoothed := func(window int) func(p *Pulse) { return func(p *Pulse) { p.Smoothing.Window = window } }
	system := func(s Time) func(p *Pulse) {
		return func(p *Pulse) { p.ExtraColumn = ExtraColumn{p.Flow.For(60), p.Flow.For(s), 0} }
	}
	type side struct {
		change func(p *Pulse)
		f      func(x float64) float64
		n      int
		step   float64
		name   string // of the signal; empty: UV in mAU
	}
	for _, tc := range []struct {
		want  string
		fires side
		quiet side
	}{
		{"flat over", side{plain, func(x float64) float64 { return math.Min(gaussian(x), 49) }, 4001, 1.2, ""}, side{plain, func(x float64) float64 { return math.Min(gaussian(x), 49.95) }, 4001, 1.2, ""}},
		{"second apex", side{plain, bump(260, 25), 4001, 1.2, ""}, side{plain, bump(170, 12), 4001, 1.2, ""}},
		{"A second peak stands", side{plain, bump(1500, 49), 4001, 1.2, ""}, side{plain, bump(260, 25), 4001, 1.2, ""}},
		{"less than well packed beds reach", side{func(p *Pulse) { p.Medium.MeanBead, p.MeanBead = 0, 131*Micrometre }, same, 4001, 1.2, ""}, side{func(p *Pulse) { p.Medium.MeanBead, p.MeanBead = 0, 125*Micrometre }, same, 4001, 1.2, ""}},
		{"several times", side{plain, bump(500, 6), 4001, 1.2, ""}, side{plain, bump(500, 2), 4001, 1.2, ""}},
		{"does not fall to 5 %", side{func(p *Pulse) { p.Baseline.None = true }, func(x float64) float64 { return math.Max(gaussian(x), 3.5) }, 4001, 1.2, ""}, side{func(p *Pulse) { p.Baseline.None = true }, func(x float64) float64 { return math.Max(gaussian(x), 1.5) }, 4001, 1.2, ""}},
		{"fewer plates than by half height", side{plain, func(x float64) float64 { return 1e4 * made.EMG(x, retention04-50, 60, 60) }, 4001, 1.2, ""}, side{plain, func(x float64) float64 { return 1e4 * made.EMG(x, retention04-50, 60, 30) }, 4001, 1.2, ""}},
		{"not quiet in front", side{plain, with(func(x float64) float64 { return 3 * math.Exp(-x/200) }), 4001, 1.2, ""}, side{plain, with(func(x float64) float64 { return 0.4 * math.Exp(-x/200) }), 4001, 1.2, ""}},
		{"not returned to the baseline: it changes", side{plain, with(func(x float64) float64 { return 8e-6 * math.Pow(math.Max(0, x-4000), 2) }), 4001, 1.2, ""}, side{plain, with(func(x float64) float64 { return 2e-6 * math.Pow(math.Max(0, x-4000), 2) }), 4001, 1.2, ""}},
		{"baseline drifts", side{plain, with(func(x float64) float64 { return 3e-3 * x }), 4001, 1.2, ""}, side{plain, with(func(x float64) float64 { return 2e-3 * x }), 4001, 1.2, ""}},
		{"begins only", side{func(p *Pulse) { p.Search = trace.Times(2050, 4800) }, same, 4001, 1.2, ""}, side{func(p *Pulse) { p.Search = trace.Times(1950, 4800) }, same, 4001, 1.2, ""}},
		{"ends only", side{func(p *Pulse) { p.Search = trace.Times(0, 2750) }, same, 4001, 1.2, ""}, side{func(p *Pulse) { p.Search = trace.Times(0, 2850) }, same, 4001, 1.2, ""}},
		{"times as high as the noise", side{plain, noise(2.8), 4001, 1.2, ""}, side{plain, noise(2.2), 4001, 1.2, ""}},
		{"points stand above half height", side{plain, same, 400, 12, ""}, side{plain, same, 500, 9.6, ""}},
		{"too few for a reliable width", side{plain, same, 130, 37, ""}, side{plain, same, 200, 24, ""}},
		{"lowers the peak", side{smoothed(101), same, 4001, 1.2, ""}, side{smoothed(71), same, 4001, 1.2, ""}},
		{"temperature of the test was not given", side{plain, same, 4001, 1.2, "Conductivity"}, side{func(p *Pulse) { p.Temperature = Celsius(21) }, same, 4001, 1.2, "Conductivity"}},
		{"its own width takes", side{func(p *Pulse) { p.SampleVolume = cv * 3 / 100 }, same, 4001, 1.2, ""}, side{func(p *Pulse) { p.SampleVolume = cv * 2 / 100 }, same, 4001, 1.2, ""}},
		{"pulse tests usually run", side{velocity(31), same, 4001, 1.2, ""}, side{velocity(30), same, 4001, 1.2, ""}},
		{"pulse tests usually run", side{velocity(14), same, 4001, 1.2, ""}, side{velocity(15), same, 4001, 1.2, ""}},
		{"more than the 1.05 of liquid", side{height(15.7), same, 4001, 1.2, ""}, side{height(15.9), same, 4001, 1.2, ""}},
		{"less than the 0.27 between the beads", side{height(64), same, 4001, 1.2, ""}, side{height(61), same, 4001, 1.2, ""}},
		{"of the peak's variance", side{system(30), same, 4001, 1.2, ""}, side{system(20), same, 4001, 1.2, ""}},
		{"cannot be corrected", side{system(90), same, 4001, 1.2, ""}, side{system(80), same, 4001, 1.2, ""}},
		{"plates per metre asks for", side{limits(Limits{PlatesPerMetre: AtLeast("6300")}), same, 4001, 1.2, ""}, side{limits(Limits{PlatesPerMetre: AtLeast("6100")}), same, 4001, 1.2, ""}},
		{"plates per metre asks for", side{limits(Limits{PlatesPerMetre: AtLeast("1800")}), same, 4001, 1.2, ""}, side{limits(Limits{PlatesPerMetre: AtLeast("1900")}), same, 4001, 1.2, ""}},
		{"at most 1.7 asks for", side{limits(Limits{ReducedPlateHeight: AtMost("1.7")}), same, 4001, 1.2, ""}, side{limits(Limits{ReducedPlateHeight: AtMost("1.8")}), same, 4001, 1.2, ""}},
		{"at most 6.1 asks for", side{limits(Limits{ReducedPlateHeight: AtMost("6.1")}), same, 4001, 1.2, ""}, side{limits(Limits{ReducedPlateHeight: AtMost("6.0")}), same, 4001, 1.2, ""}},
		{"points down", side{plain, func(x float64) float64 { return 20 - gaussian(x) }, 4001, 1.2, ""}, side{plain, func(x float64) float64 { return gaussian(x) - 20 }, 4001, 1.2, ""}},
	} {
		seen := func(s side) PulseResult {
			p := test04()
			s.change(&p)
			tr := of(t, s.n, s.step, s.f)
			if s.name != "" {
				tr.Name, tr.Unit = s.name, "mS/cm"
			}
			r, err := p.Evaluate(tr)
			if err != nil {
				t.Fatalf("%s: %v", tc.want, err)
			}
			return r
		}
		if r := seen(tc.fires); !warned(r, tc.want) {
			t.Errorf("%q was not seen: %v", tc.want, r.Warnings)
		}
		if r := seen(tc.quiet); warned(r, tc.want) {
			t.Errorf("%q was seen: %v", tc.want, r.Warnings)
		}
	}
}

// TestWarningsOfSampling looks at what stands in the positions.
func TestWarningsOfSampling(t *testing.T) {
	for _, tc := range []struct {
		want string
		keep func(i int) (x float64, ok bool)
		seen bool
	}{
		{"stand at the time of the sample before", func(i int) (float64, bool) { return math.Round(1.2*float64(i)/6) * 6, true }, true},
		{"stand at the time of the sample before", func(i int) (float64, bool) { return math.Round(12*float64(i)) / 10, true }, false},
		{"Samples are missing", func(i int) (float64, bool) { return 1.2 * float64(i), i < 2050 || i > 2065 }, true},
		{"Samples are missing", func(i int) (float64, bool) { return 1.2 * float64(i), i < 2050 || i > 2055 }, false},
	} {
		var x, y []float64
		for i := range 4001 {
			if at, ok := tc.keep(i); ok {
				x, y = append(x, at), append(y, gaussian(1.2*float64(i)))
			}
		}
		tr, err := trace.Make("UV", "mAU", trace.Time, x, y)
		if err != nil {
			t.Fatal(err)
		}
		if r := evaluate(t, test04(), tr); warned(r, tc.want) != tc.seen {
			t.Errorf("%q seen is not %v: %v", tc.want, tc.seen, r.Warnings)
		}
	}
	// What runs backwards is no trace.
	if _, err := trace.Make("UV", "mAU", trace.Time, []float64{0, 2, 1}, []float64{0, 1, 0}); err == nil || !strings.Contains(err.Error(), "backwards") {
		t.Errorf("time backwards: %v", err)
	}
}

// Every doubt says what to do, in a sentence.
func TestWarningsSayWhatToDo(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	p := test04()
	p.SampleVolume *= 9
	p.Flow *= 10
	p.Limits = CommonPractice()
	p.MeanBead = 300 * Micrometre
	res := evaluate(t, p, of(t, 300, 12, func(x float64) float64 { return 30 - gaussian(x) - 0.01*x + r.NormFloat64() }))
	if len(res.Warnings) < 5 {
		t.Errorf("only %d doubts: %v", len(res.Warnings), res.Warnings)
	}
	for _, w := range res.Warnings {
		if len(w.Do) < 20 || strings.HasSuffix(w.Do, ".") || strings.HasSuffix(w.What, ".") || strings.Contains(w.What, "NaN") {
			t.Errorf("%q: %q", w.What, w.Do)
		}
	}
}
