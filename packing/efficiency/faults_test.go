package efficiency

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/internal/zones"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// A faultCase is one thing that is wrong with a recording.
type faultCase struct {
	name string
	rec  zones.Recording
	end  float64 // of the recording, in standard deviations of the peak behind its mean; 0: at 2 CV
	at   float64 // place of step or spike: in widths of the front (below 0) or the back at half height from the apex
}

// faultCases are the faults of the table in FAULTS.md. Sizes are parts of the
// height.
func faultCases() []faultCase {
	all := []faultCase{{name: sound}}
	for _, clip := range []float64{0.97, 0.90} {
		for _, after := range []bool{false, true} {
			when := "noise before it"
			if after {
				when = "noise behind it"
			}
			all = append(all, faultCase{name: fmt.Sprintf("clip at %.0f %%, %s", 100*clip, when), rec: zones.Recording{Clip: clip, NoiseAfter: after}})
		}
	}
	for _, bow := range []float64{0.01, 0.02, 0.04} {
		all = append(all, faultCase{name: fmt.Sprintf("bow of %.0f %%", 100*bow), rec: zones.Recording{Bow: bow}})
	}
	for _, step := range []float64{0.01, 0.02, 0.04} {
		all = append(all, faultCase{name: fmt.Sprintf("step of %.0f %% under the peak", 100*step), rec: zones.Recording{Steps: []zones.Mark{{Size: step}}}})
	}
	for _, samples := range []int{1, 3} {
		word := map[int]string{1: "one sample", 3: "three samples"}[samples]
		spike := zones.Recording{Spikes: []zones.Mark{{Size: 0.1, Samples: samples}}}
		all = append(all, faultCase{name: "spike of 10 % at the apex, " + word, rec: spike},
			faultCase{name: "spike of 10 % on the front, " + word, rec: spike, at: -1},
			faultCase{name: "spike of 10 % on the back, " + word, rec: spike, at: 1})
	}
	for _, end := range []float64{2, 3, 4} {
		all = append(all, faultCase{name: fmt.Sprintf("cut at %.0f σ", end), end: end})
	}
	for _, pink := range []float64{0.003, 0.01, 0.03} {
		all = append(all, faultCase{name: fmt.Sprintf("pink noise of %g %%", 100*pink), rec: zones.Recording{Pink: pink}})
	}
	for _, band := range []float64{0.02, 0.05, 0.10} {
		all = append(all, faultCase{name: fmt.Sprintf("dead band of %.0f %%", 100*band), rec: zones.Recording{DeadBand: band}})
	}
	return all
}

const (
	faultSamples = 2401
	faultSpan    = 2.0    // CV
	faultMean    = 0.95   // CV, first moment
	faultWidth   = 0.085  // CV, at half height: some 690 plates, and 84 points
	seconds04    = 2592.0 // of a column volume at 25 cm/h
)

// A faultPeak is an exponentially modified Gaussian.
type faultPeak struct {
	sd, mu, sigma, tau float64 // CV
	apex, height       float64
	front, back        float64 // from the apex to the crossings at half height
}

// newFaultPeak returns the peak of this τ/σ.
func newFaultPeak(ratio float64) faultPeak {
	c := ratio / math.Sqrt(1+ratio*ratio)
	s := newShape(c, c/ratio)
	m := s.marks()
	p := faultPeak{sd: faultWidth / (m.halfRight - m.halfLeft)}
	p.sigma, p.tau = p.sd*c/ratio, p.sd*c
	p.mu = faultMean - p.tau
	p.apex = faultMean + p.sd*m.top
	p.height = p.at(p.apex)
	p.front, p.back = p.sd*(m.top-m.halfLeft), p.sd*(m.halfRight-m.top)
	return p
}

func (p faultPeak) at(v float64) float64 { return made.EMG(v, p.mu, p.sigma, p.tau) }

// record returns the trace of a peak with a fault, in time at 25 cm/h.
func (c faultCase) record(t testing.TB, p faultPeak, white float64, seed uint64) trace.Trace {
	t.Helper()
	rec := c.rec
	rec.White, rec.Seed = white, seed
	n := faultSamples
	if c.end > 0 {
		n = int((faultMean+c.end*p.sd)/faultSpan*(faultSamples-1)) + 1
	}
	x := make([]float64, n)
	for i := range x {
		x[i] = faultSpan * float64(i) / (faultSamples - 1)
	}
	at := p.apex
	switch c.at {
	case -1:
		at -= p.front
	case 1:
		at += p.back
	}
	rec.Spikes, rec.Steps = slices.Clone(rec.Spikes), slices.Clone(rec.Steps)
	for i := range rec.Spikes {
		rec.Spikes[i].At = at - faultSpan/(faultSamples-1)*float64(rec.Spikes[i].Samples)/2
	}
	for i := range rec.Steps {
		rec.Steps[i].At = at
	}
	y := rec.Of(x, p.height, p.at)
	for i := range x {
		x[i] *= seconds04
		y[i] *= 50 / p.height
	}
	tr, err := trace.Make("UV", "mAU", trace.Time, x, y)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

// faultNumbers are those whose intervals count.
var faultNumbers = []string{"PlatesPerMetre", "Asymmetry"}

// A faultTally counts what became of the traces of a cell.
type faultTally struct {
	traces, told int
	covered      [2]int // of faultNumbers: the interval holds what the peak without fault and noise has
	either       [2]int // told or covered
}

// told returns what a result says against itself, besides what it finds of the bed.
func told(r PulseResult) []string {
	var kinds []string
	for _, w := range r.Warnings {
		if !w.OfTheBed {
			kinds = append(kinds, w.Kind)
		}
	}
	return kinds
}

func (c faultCase) run(t *testing.T, ratio, white float64, traces int) faultTally {
	p := newFaultPeak(ratio)
	clean := faultCase{}.record(t, p, 0, 0)
	truths := map[int]PulseResult{}
	n := faultTally{traces: traces}
	for i := range traces {
		r, err := test04().Evaluate(c.record(t, p, white, uint64(i+1)))
		if err != nil {
			n.told++
			n.either[0]++
			n.either[1]++
			continue
		}
		truth, ok := truths[r.SmoothingWindow]
		if !ok {
			q := test04()
			q.Smoothing.Window = r.SmoothingWindow
			truth = evaluate(t, q, clean)
			truths[r.SmoothingWindow] = truth
		}
		kinds := told(r)
		if len(kinds) > 0 {
			n.told++
		}
		list := r.Uncertainty()
		for k, name := range faultNumbers {
			u, err := list.Of(name)
			if err != nil {
				t.Fatal(err)
			}
			want := []float64{truth.PlatesPerMetre, truth.Asymmetry}[k]
			covered := u.Low <= want && want <= u.High
			if covered {
				n.covered[k]++
			}
			if covered || len(kinds) > 0 || !u.Reliable() {
				n.either[k]++
			}
		}
	}
	return n
}

// TestFaultsCoverage counts, for each fault of a recording, how often the result
// says so and how often its intervals hold all the same. COVERAGE_TRACES=400 or
// more writes FAULTS.md (`make coverage`).
func TestFaultsCoverage(t *testing.T) {
	traces, write := coverageTraces(t, 20)
	traces = min(traces, 400)
	type cell struct {
		c            faultCase
		white, ratio float64
		n            faultTally
	}
	var cells []*cell
	for _, c := range faultCases() {
		for _, white := range []float64{0.003, 0.01} {
			for _, ratio := range []float64{0.3, 1, 2.5} {
				cells = append(cells, &cell{c: c, white: white, ratio: ratio})
			}
		}
	}
	t.Run("cells", func(t *testing.T) {
		for _, c := range cells {
			t.Run(fmt.Sprintf("%s, white noise %g %%, τ/σ %g", c.c.name, 100*c.white, c.ratio), func(t *testing.T) {
				t.Parallel()
				c.n = c.c.run(t, c.ratio, c.white, traces)
			})
		}
	})
	for _, c := range cells {
		for k, number := range []string{"plates", "asymmetry"} {
			// At the full size the share itself, else what chance may make of it.
			if n := c.n.either[k]; 10*n < 9*traces && (write || binomialTest(n, traces, 0.9) < 1e-3) {
				t.Errorf("%s, white noise %g %%, τ/σ %g: of %d traces %d are told or have an interval of the %s that covers",
					c.c.name, 100*c.white, c.ratio, traces, n, number)
			}
		}
		if c.c.name == sound && 50*c.n.told > traces && (write || binomialTest(c.n.told, traces, 0.02) < 1e-3) {
			t.Errorf("nothing is wrong at white noise %g %%, τ/σ %g, and %d of %d traces have a doubt", 100*c.white, c.ratio, c.n.told, traces)
		}
	}
	if !write {
		return
	}
	var b strings.Builder
	fmt.Fprintf(&b, faultsHead, traces)
	for _, c := range cells {
		share := func(n int) string { return fmt.Sprintf("%.4g %%", 100*float64(n)/float64(traces)) }
		fmt.Fprintf(&b, "| %s | %g %% | %g | %s | %s | %s | %s | %s |\n", c.c.name, 100*c.white, c.ratio, share(c.n.told),
			share(c.n.covered[0]), share(c.n.covered[1]), share(c.n.either[0]), share(c.n.either[1]))
	}
	if err := os.WriteFile("FAULTS.md", []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}

// Pink noise makes no hump, and a hump that rings does not keep the noise from being
// told.
func TestPinkNoiseIsNoHump(t *testing.T) {
	const traces = 60
	for _, ratio := range []float64{0.3, 2.5} {
		p := newFaultPeak(ratio)
		for _, pink := range []float64{0.01, 0.03} {
			humps, silent := 0, 0
			for i := range traces {
				r := evaluate(t, test04(), faultCase{rec: zones.Recording{Pink: pink}}.record(t, p, 0.01, uint64(i+1)))
				if len(r.apart()) > 0 {
					humps++
				}
				if len(told(r)) == 0 {
					silent++
				}
			}
			if 20*humps > traces || 20*silent > traces {
				t.Errorf("pink noise of %g %%, τ/σ %g: a hump on %d and not a word on %d of %d traces, want at most one in twenty", 100*pink, ratio, humps, silent, traces)
			}
		}
	}
}

const sound = "nothing wrong"

const faultsHead = `# Faults of the signal: what a pulse test says of them

Written by ` + "`make coverage`" + `: %d seeded traces a row, invented. The peaks are exponentially modified Gaussians of 2,401 samples over 2 column volumes, 84 of them above half height; sizes are parts of the height, noise is the standard deviation of a sample. A spike stands at the apex or at half height, a step under the apex; a cut record ends so many standard deviations behind the peak's mean; the clip comes before or behind the noise of the detector.

*Told*: the result has a doubt or is a refusal; what it finds of the bed does not count. *Covered*: the 95 %% interval holds what the same evaluation gives of the peak without fault and noise. The last two columns count traces that are told, have an interval that is said not to be reliable, or are covered.

Not in the table: a detector that bends gradually. One trace does not show it: inject half the strength, and plates and asymmetry must stay.

| fault | white noise | τ/σ | told | plates covered | asymmetry covered | told or covered: plates | asymmetry |
| --- | --- | --- | --- | --- | --- | --- | --- |
`

// An evenBed draws an even bed of one of six shapes with a test that is in order:
// plates, sample, system, samples of the record, drift and place are drawn too.
func evenBed(t testing.TB, seed uint64, white float64) (trace.Trace, string) {
	t.Helper()
	random := rand.New(rand.NewPCG(seed, 77))
	within := func(from, to float64) float64 { return from + (to-from)*random.Float64() }
	plates, accessible := within(450, 800), within(0.85, 0.97)
	bed := zones.Bed{Zones: []zones.Zone{{Area: 1, Velocity: 1, Accessible: accessible, Plates: plates}}, Sample: within(0.005, 0.02)}
	sd := accessible / math.Sqrt(plates)
	var shape string
	var signal func(v float64) float64
	mean := accessible
	switch seed % 6 {
	case 0:
		shape = "tanks in series"
	case 1:
		shape, bed.Law = "first passage", zones.FirstPassage
	case 2:
		shape, bed.Mixers, bed.Delay = "with a system", []float64{within(0.001, 0.4*sd)}, within(0, 0.01)
	case 3:
		shape, signal = "Gaussian", func(v float64) float64 { return bell(v, mean, sd) }
	case 4, 5:
		ratio := within(0.2, 0.65)
		sigma := sd / math.Sqrt(1+ratio*ratio)
		shape = "tail"
		signal = func(v float64) float64 { return made.EMG(v, mean-ratio*sigma, sigma, ratio*sigma) }
		if seed%6 == 5 {
			shape = "front"
			tail := signal
			signal = func(v float64) float64 { return tail(2*mean - v) }
		}
	}
	if signal == nil {
		c, err := bed.Outlet()
		if err != nil {
			t.Fatal(err)
		}
		signal = c.At
	}
	height := 0.0
	for v := mean - 2*sd; v < mean+2*sd; v += sd / 200 {
		height = math.Max(height, signal(v))
	}
	span, points := within(1.7, 2.5), within(25, 250) // above half height
	n := int(span / (gaussianWidth * sd) * points)
	x := make([]float64, n)
	for i := range x {
		x[i] = span * float64(i) / float64(n-1)
	}
	y := zones.Recording{White: white, Seed: seed, Drift: within(-0.03, 0.03), Rounding: []float64{0, 1e-4, 1e-3}[random.IntN(3)]}.Of(x, height, signal)
	for i := range x {
		x[i] *= seconds04
		y[i] *= 50 / height
	}
	tr, err := trace.Make("UV", "mAU", trace.Time, x, y)
	if err != nil {
		t.Fatal(err)
	}
	return tr, shape
}

// TestEvenBedsCoverage: what stands in a result of an even bed and a test in order
// is a false alarm. At most 2 % of such beds may have one up to 1 % of white noise,
// and 5 % at 3 %.
func TestEvenBedsCoverage(t *testing.T) {
	beds, _ := coverageTraces(t, 240)
	for _, tc := range []struct {
		noise []float64
		most  float64
	}{{[]float64{0, 0.001, 0.003, 0.01}, 0.02}, {[]float64{0.03}, 0.05}} {
		rung := 0
		kinds := map[string]int{}
		for i := range beds {
			white := tc.noise[i%len(tc.noise)]
			tr, shape := evenBed(t, uint64(i), white)
			p := test04()
			p.Limits = Limits{PlatesPerMetre: AtLeast("1900"), Asymmetry: Between("0.70", "1.40")}
			r, err := p.Evaluate(tr)
			if err != nil {
				t.Errorf("%s, bed %d: %v", shape, i, err)
				continue
			}
			if len(r.Warnings) > 0 || r.Verdict != Meets {
				rung++
				for _, w := range r.Warnings {
					kinds[fmt.Sprintf("%s, %s, %g", w.Kind, shape, white)]++
				}
				t.Logf("%s, bed %d, %g %%, %d points: %v", shape, i, 100*white, r.PointsAboveHalfHeight, r.Warnings)
			}
		}
		t.Logf("%v: %d of %d beds: %v", tc.noise, rung, beds, kinds)
		if float64(rung) > tc.most*float64(beds) && binomialTest(rung, beds, tc.most) < 0.05 {
			t.Errorf("a finding or doubt on %d of %d even beds with noise of %v; at most %g %% may have one", rung, beds, tc.noise, 100*tc.most)
		}
	}
}

// A badTest is an even bed whose test is faulty.
type badTest struct {
	name  string
	pulse Pulse
	tr    trace.Trace
}

// newBadTest draws one: a clip, a mixer in the system, a salt pulse that charged
// beads exclude, a tracer that they hold back, or a flow that was typed 8 % off.
func newBadTest(t testing.TB, seed uint64, salts []zones.Curve) badTest {
	t.Helper()
	random := rand.New(rand.NewPCG(seed, 5))
	within := func(from, to float64) float64 { return from + (to-from)*random.Float64() }
	b := badTest{pulse: test04()}
	b.pulse.Limits = CommonPractice()
	b.pulse.Tracer = Tracer{Name: "acetone 1 %", Kind: SmallNeutral}
	if random.IntN(2) == 0 {
		b.pulse.Tracer.Retention, b.pulse.Tracer.Margin, b.pulse.Tracer.Source = 0.95, 0.03, "own tests, invented"
	}
	bed := zones.Bed{Zones: []zones.Zone{{Area: 1, Velocity: 1, Accessible: 0.95, Plates: within(740, 900)}}, Sample: 0.01}
	rec := zones.Recording{White: []float64{0.001, 0.003, 0.01}[random.IntN(3)], Seed: seed}
	meter := 0.0
	var c zones.Curve
	switch seed % 5 {
	case 0:
		b.name = "clip"
		rec.Clip, rec.NoiseAfter = within(0.75, 0.97), random.IntN(2) == 0
	case 1:
		b.name = "mixer"
		bed.Mixers = []float64{within(0.02, 0.05)}
	case 2:
		b.name = "excluded salt"
		b.pulse.Tracer.Kind, b.pulse.Tracer.Name = Salt, "sodium chloride"
		c = salts[random.IntN(len(salts))]
	case 3:
		b.name = "tracer held back"
		bed.Zones[0].Accessible *= 1.1
	case 4:
		b.name = "flow"
		meter = float64(b.pulse.Flow)
		b.pulse.Flow *= units.VolumeFlow([]float64{0.92, 1.08}[random.IntN(2)])
	}
	if c.C == nil {
		c = outlet(t, bed)
	}
	height := c.Height()
	x := make([]float64, 1501)
	for i := range x {
		x[i] = 1.9 * float64(i) / float64(len(x)-1)
	}
	y := rec.Of(x, height, c.At)
	for i := range x {
		x[i] *= seconds04
		y[i] *= 50 / height
	}
	tr, err := trace.Make("UV", "mAU", trace.Time, x, y)
	if err != nil {
		t.Fatal(err)
	}
	if meter > 0 {
		tr = tr.WithMeters(trace.Meter{Name: "Flow (L/h)", Read: func() (at, volume, time []float64) {
			for _, v := range x {
				volume = append(volume, meter*v)
			}
			return x, volume, x
		}})
	}
	b.tr = tr
	return b
}

// touching matches advice that touches the bed.
var touching = regexp.MustCompile(`(?i)recompress|repack|consolidat|lower the adapter|adapter lowered|stir(red)? up|unpack`)

// TestFaultyTestsCoverage: an even bed is not condemned by a faulty test. A word
// "does not meet" has a finding beside it, and no advice touches the bed before the
// system was run without the column.
func TestFaultyTestsCoverage(t *testing.T) {
	tests, _ := coverageTraces(t, 100)
	tests = min(tests, 500)
	var salts []zones.Curve
	for _, s := range []zones.Salt{{Charge: 0.2, Background: 0.1, Pulse: 1}, {Charge: 0.5, Background: 0.1, Pulse: 1}, {Charge: 0.2, Background: 0.2, Pulse: 0.6}} {
		s.Void, s.Pores, s.Cells, s.Sample = 0.36, 0.59, 770, 0.01
		c, err := s.Outlet()
		if err != nil {
			t.Fatal(err)
		}
		salts = append(salts, c)
	}
	words := map[string]int{}
	for i := range tests {
		b := newBadTest(t, uint64(i), salts)
		r, err := b.pulse.Evaluate(b.tr)
		if err != nil {
			words[b.name+": refused"]++
			continue
		}
		words[b.name+": "+r.Verdict.String()]++
		if r.Verdict == DoesNotMeet && len(pick(r.Warnings, func(w Warning) bool { return w.OfTheBed })) == 0 {
			t.Errorf("%s, %d: does not meet, and nothing beside it: %v", b.name, i, r.Warnings)
		}
		for what, text := range map[string]string{"page": r.String(), "shape": r.Shape().String()} {
			text = strings.Join(strings.Fields(text), " ")
			at := touching.FindStringIndex(text)
			if at == nil {
				continue
			}
			if first := strings.Index(text, "system without the column"); r.Verdict == NotDecided || first < 0 || first > at[0] {
				t.Errorf("%s, %d, %v: the %s says %q before the test is cleared:\n%s", b.name, i, r.Verdict, what, text[at[0]:at[1]], text)
			}
		}
	}
	t.Log(words)
	for _, name := range []string{"clip", "excluded salt", "flow"} {
		if n := words[name+": "+Meets.String()] + words[name+": "+DoesNotMeet.String()]; n > 0 {
			t.Errorf("%s: %d tests were decided: %v", name, n, words)
		}
	}
}
