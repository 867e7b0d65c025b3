package efficiency

import (
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/trace"
)

func TestSignalToNoise(t *testing.T) {
	// Noise that goes from -0.25 to 0.25 exactly: 2 · 50/0.5 = 200.
	saw := func(x float64) float64 { return 0.25 * math.Sin(math.Pi/2+math.Pi*math.Round(x/1.2)) }
	p := test04()
	p.Smoothing.Window = 1
	r := evaluate(t, p, of(t, 4001, 1.2, func(x float64) float64 { return 50*math.Exp(-math.Pow((x-retention04)/86, 2)/2) + saw(x) }))
	n, err := r.SignalToNoise()
	if err != nil {
		t.Fatal(err)
	}
	// The apex holds ±0.25 of that noise, and the parabola through three samples
	// of it up to twice as much.
	near(t, "noise", n.Noise, 0.5, 1e-3, "as put in; the baseline follows it by less")
	near(t, "ratio", n.Ratio, 200, 200*0.5/50, "2H/h; USP <621>, Ph. Eur. 2.2.46")
	near(t, "widths", n.Widths, 5, 1e-9, "the chapter's least")
	if n.Short || n.Blank || !(n.Window.To < r.Fifth.Left || n.Window.From > r.Fifth.Right) {
		t.Errorf("%+v", n)
	}
	if strings.Contains(n.String(), "Short window") {
		t.Errorf("shows %v", n)
	}

	// Less room: said to be short.
	p.Search = trace.Times(2000, 2900)
	short, err := evaluate(t, p, of(t, 4001, 1.2, func(x float64) float64 { return gaussian(x) + saw(x) })).SignalToNoise()
	if err != nil || !short.Short || !(short.Widths < 5) || !strings.Contains(short.String(), "Short window") {
		t.Errorf("%+v, %v", short, err)
	}
	p.Search = trace.Range{}

	// A blank, over the place of the peak.
	blank := of(t, 4001, 1.2, func(x float64) float64 { return 7 + 2*saw(x) })
	b, err := r.SignalToNoiseOf(blank)
	if err != nil || !b.Blank || b.Short {
		t.Fatalf("%+v, %v", b, err)
	}
	near(t, "noise of the blank", b.Noise, 1, 1e-9, "twice as much")
	near(t, "middle of its window", (b.Window.From+b.Window.To)/2, r.Apex.X, 1e-9, "about the peak")
	for name, blank := range map[string]trace.Trace{
		"elsewhere": of(t, 100, 1.2, saw), "without noise": of(t, 4001, 1.2, func(float64) float64 { return 3 }), "nothing": {},
	} {
		if _, err := r.SignalToNoiseOf(blank); err == nil {
			t.Errorf("a blank %s was accepted", name)
		}
	}
	quiet := evaluate(t, p, of(t, 4001, 1.2, func(x float64) float64 { return math.Max(0, gaussian(x)-1e-4) }))
	if _, err := quiet.SignalToNoise(); err == nil || !strings.Contains(err.Error(), "no noise") {
		t.Errorf("without noise: %v", err)
	}
	if _, err := (PulseResult{}).SignalToNoise(); err == nil {
		t.Error("of nothing")
	}
}

func TestSeparation(t *testing.T) {
	const apart = 500.0
	two := func(x float64) float64 { return gaussian(x) + 0.6*gaussian(x-apart) }
	p := test04()
	r := evaluate(t, p, of(t, 4001, 1.2, two))
	s, err := r.Separation()
	if err != nil {
		t.Fatal(err)
	}
	// Gaussians 5.8 σ apart: each adds under e^(-4) to the other's half height.
	want := 1.18 * apart / (2 * 2.354820 * 86)
	near(t, "resolution", s.Resolution, want, 0.01*want, "1.18 (t2 - t1)/(w1 + w2) of what was put in")
	valley := 1e9
	for x := retention04; x < retention04+apart; x++ {
		valley = math.Min(valley, two(x))
	}
	near(t, "peak to valley", s.PeakToValley, 30/valley, 0.01*30/valley, "Hp/Hv of what was put in")
	if !warned(r, "second apex") {
		t.Errorf("warnings %v", r.Warnings)
	}
	for _, text := range []string{"Resolution", "Peak-to-valley", "Valley"} {
		if !strings.Contains(s.String(), text) {
			t.Errorf("%q is not shown", text)
		}
	}
	if _, err := evaluate(t, p, of(t, 4001, 1.2, gaussian)).Separation(); err == nil || !strings.Contains(err.Error(), "one peak") {
		t.Errorf("one peak: %v", err)
	}
	// A trace alone.
	alone, err := Separate(of(t, 4001, 1.2, two), 1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "of a trace", alone.Resolution, s.Resolution, 0.01*want, "the same peaks")
	if _, err := Separate(trace.Trace{}, 1); err == nil {
		t.Error("of nothing")
	}
	// Too close for half heights: not available, and said so.
	close, err := Separate(of(t, 4001, 1.2, func(x float64) float64 { return gaussian(x) + gaussian(x-230) }), 0.1)
	if err != nil || !math.IsNaN(close.Resolution) || !(close.PeakToValley > 1) || !strings.Contains(close.String(), "the valley lies above it") {
		t.Errorf("%v, %v", close, err)
	}
}
