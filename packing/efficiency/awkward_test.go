package efficiency

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// Pulses that have no plates are refused, in words that lead on.
func TestPulsesOfAwkwardTraces(t *testing.T) {
	at := func(x, sigma float64) func(float64) float64 {
		return func(v float64) float64 { return math.Exp(-(v - x) * (v - x) / 2 / sigma / sigma) }
	}
	early, err := of(t, 4001, 1.2, gaussian).Since(4000 * Second)
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name   string
		change func(p *Pulse)
		tr     trace.Trace
		want   []string
	}{
		{"before the trace's zero", func(*Pulse) {}, early, []string{"before the sample can be there", "Zero: efficiency.Zero{"}},
		{"the last half not recorded", func(*Pulse) {}, of(t, 4001, 1.2, at(4790, 70)), []string{"not recorded whole", "record the whole peak"}},
		{"the first half not recorded", func(*Pulse) {}, of(t, 4001, 1.2, at(0, 70)), []string{"not recorded whole"}},
		{"no flow", func(p *Pulse) { p.Flow = 0 }, early, []string{"flow of the pulse test", "Flow: "}},
		{"a sample below zero", func(p *Pulse) { p.SampleVolume = -1 }, early, []string{"sample volume", "above zero"}},
	} {
		p := test04()
		tc.change(&p)
		r, err := p.Evaluate(tc.tr)
		for _, want := range tc.want {
			if err == nil || !strings.Contains(err.Error(), want) || r.Refusal == nil {
				t.Errorf("%s: %v does not say %q", tc.name, err, want)
			}
		}
	}

	// A dip over drift is measured as long as the drift is smaller than it.
	p := test04()
	if r := evaluate(t, p, of(t, 4001, 1.2, func(x float64) float64 { return 0.01*x - gaussian(x) })); !warned(r, "turned over") {
		t.Errorf("a dip over drift: %v", r.Warnings)
	}
}

func TestSmoothingThatTakesThePeak(t *testing.T) {
	p := test04()
	p.Smoothing.Window = 1001
	tr := of(t, 4001, 1.2, gaussian)
	r := evaluate(t, p, tr)
	_, high := tr.Extremes()
	_, top := tr.XY(high)
	want := fmt.Sprintf("lowers the peak by about %s", percentage(1-r.Height/top))
	if r.Height > 0.5*top || !warned(r, want) {
		t.Errorf("height %v of %v, no warning with %q: %v", r.Height, top, want, r.Warnings)
	}
}

func TestSampleWiderThanThePeak(t *testing.T) {
	p := test04()
	p.SampleVolume = p.Column.Volume(p.BedHeight) / 2
	r := evaluate(t, p, of(t, 4001, 1.2, gaussian))
	if !warned(r, "wider by itself than the peak") || warned(r, "e+") {
		t.Errorf("warnings %v", r.Warnings)
	}
}

func TestPercentage(t *testing.T) {
	for _, tc := range []struct {
		part float64
		want string
	}{{0.00123, "0.12 %"}, {0.05, "5 %"}, {0.9949, "99 %"}, {0.9996, "100 %"}, {1.284, "128 %"}, {-6.1, "-610 %"}, {math.NaN(), "NaN %"}} {
		if got := percentage(tc.part); got != tc.want {
			t.Errorf("%v is written %q, want %q", tc.part, got, tc.want)
		}
	}
}

// A fit without a minimum tells of the peak, not of the search.
func TestEMGThatDoesNotFit(t *testing.T) {
	tr := of(t, 4001, 1.2, func(x float64) float64 { return math.Min(gaussian(x), 40) })
	_, err := evaluate(t, test04(), tr).EMG()
	if err == nil || !strings.Contains(err.Error(), "cut top") || strings.Contains(err.Error(), "MaxIterations") {
		t.Errorf("a cut top: %v", err)
	}
}

// Air in front of the breakthrough does not make the capacity.
func TestBreakthroughBehindAir(t *testing.T) {
	b := load10()
	b.NonBinding = trace.Volumes(4*Millilitre, 8*Millilitre)
	air := func(ml float64) float64 { return front10(ml) + 0.9*math.Exp(-math.Pow(ml-12, 4)/0.1) }
	want := load(t, b, loadOf(t, 60, front10)).Points[0]
	r := load(t, b, loadOf(t, 60, air))
	near(t, "V10", r.Points[0].Volume.In(Millilitre), want.Volume.In(Millilitre), 1e-6, "the load without air")
	if !strings.Contains(fmt.Sprint(r.Warnings), "already, and again at") {
		t.Errorf("no doubt about the air: %v", r.Warnings)
	}

	// A load that stops before the breakthrough has nothing but the air.
	b.FeedSignal = 1
	r = load(t, b, loadOf(t, 16, air))
	if !strings.Contains(fmt.Sprint(r.Warnings), "but the trace ends at") {
		t.Errorf("no doubt about air alone: %v", r.Warnings)
	}
	if r = load(t, b, loadOf(t, 18.9, front10)); strings.Contains(fmt.Sprint(r.Warnings), "ends at") { // at 10.6 %
		t.Errorf("a load that stops just behind 10 %%: %v", r.Warnings)
	}
}

func TestBreakthroughAwkwardInputs(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(b *Breakthrough)
		want   string
	}{
		{"flow below zero", func(b *Breakthrough) { b.Flow = -1 }, "it must be a number above zero"},
		{"flow NaN", func(b *Breakthrough) { b.Flow = VolumeFlow(math.NaN()) }, "it must be a number above zero"},
		{"feed signal NaN", func(b *Breakthrough) { b.FeedSignal = math.NaN() }, "feed signal NaN"},
		{"feed signal of the other sign", func(b *Breakthrough) { b.FeedSignal = -1 }, "check FeedSignal and its sign"},
	} {
		b := load10()
		tc.change(&b)
		if _, err := b.Evaluate(loadOf(t, 60, front10)); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v does not say %q", tc.name, err, tc.want)
		}
	}
	// What does not bind makes 8 % of the signal and comes after 3.5 mL.
	b := load10()
	b.HoldUp, b.Percents = 0, []Fraction{5 * Percent}
	r := load(t, b, loadOf(t, 60, func(ml float64) float64 { return 8*made.EMGFront(ml, 3.3, 0.2, 0.2) + 92*front10(ml) }))
	if !strings.Contains(fmt.Sprint(r.Warnings), "within one bed volume, and HoldUp was not given") {
		t.Errorf("5 %% at %v: %v", r.Points[0].Volume, r.Warnings)
	}
}

// Positions with too few digits are told from gaps.
func TestFrontWithFewDigits(t *testing.T) {
	p, cv := inColumnVolumes(18 * Centimetre)
	var x, y []float64
	for i := range 901 {
		x, y = append(x, 0.01*float64(i/5)*float64(cv)), append(y, made.EMGFront(0.002*float64(i), 0.9, 0.03, 0.02))
	}
	tr, err := trace.Make("Conductivity", "mS/cm", trace.Volume, x, y)
	if err != nil {
		t.Fatal(err)
	}
	text := fmt.Sprint(evaluateFront(t, p, tr).Warnings)
	if !strings.Contains(text, "720 samples stand at the volume of the sample before") || strings.Contains(text, "missing") {
		t.Errorf("warnings %s", text)
	}
}

// The spread of one test is not known, and nothing is said to fail by it.
func TestSpreadOfOneTest(t *testing.T) {
	rule := RetestRule{Replicates: 3, LargestSpread: SpreadLimits{PlatesPerMetre: AtMost("5.0")}}
	r := judged(t, Replicates{Rule: rule}, repeats(t, Limits{PlatesPerMetre: AtLeast("4000")}, 0.3))
	if text := r.String(); !strings.Contains(text, "is not known of one test") || strings.Contains(text, "NaN") || strings.Contains(text, "does not meet") {
		t.Errorf("one of three tests shows\n%s", text)
	}
}
