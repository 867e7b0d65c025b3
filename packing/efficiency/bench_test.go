package efficiency

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// bench10k returns the trace of the comparison with general numerical
// libraries: 10,000 points over 1500 s, a peak of area 1000 with µ 600 s,
// σ 18 s, τ 9 s, noise 0.002 and a rising baseline; and the pulse test with the
// same work: line through the first and last 800 points, moving quadratic over
// 31 points, apex, widths at 50, 10 and 5 %, moments.
func bench10k(tb testing.TB) (Pulse, trace.Trace) {
	const n = 10_000
	r := rand.New(rand.NewPCG(7, 0))
	x, y := make([]float64, n), make([]float64, n)
	for i := range x {
		x[i] = 1500 * float64(i) / (n - 1)
		y[i] = 1000*made.EMG(x[i], 600, 18, 9) + 0.002*r.NormFloat64() + 0.05 + 1e-5*x[i]
	}
	tr, err := trace.Make("UV", "mAU", trace.Time, x, y)
	if err != nil {
		tb.Fatal(err)
	}
	p := Pulse{
		Column:    packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre},
		BedHeight: 18 * Centimetre, Flow: 70 * LitrePerHour, MeanBead: 90 * Micrometre,
		Baseline:  trace.Baseline{Before: trace.Times(0, Time(x[799])), After: trace.Times(Time(x[n-800]), 1500*Second)},
		Smoothing: Smoothing{Window: 31},
	}
	return p, tr
}

func benchmarkPulse(b *testing.B, peakOnly bool) {
	p, tr := bench10k(b)
	p.Smoothing.PeakOnly = peakOnly
	b.ReportAllocs()
	for b.Loop() {
		if _, err := p.Evaluate(tr); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkPulse10k smooths all 10,000 points.
func BenchmarkPulse10k(b *testing.B) { benchmarkPulse(b, false) }

// BenchmarkPulse10kPeakOnly smooths only near the peak.
func BenchmarkPulse10kPeakOnly(b *testing.B) { benchmarkPulse(b, true) }

// An evaluation takes memory for the part near the peak and for what it says,
// and nothing for each point of the trace.
func TestEvaluateAllocatesLittle(t *testing.T) {
	p, tr := bench10k(t)
	count := func(tr trace.Trace) float64 {
		return testing.AllocsPerRun(5, func() { evaluate(t, p, tr) })
	}
	short, err := tr.Within(trace.Times(200, 1500))
	if err != nil {
		t.Fatal(err)
	}
	p.Baseline.Before = trace.Times(200, 300)
	if long, short := count(tr), count(short); long > 25 || math.Abs(long-short) > 2 {
		t.Errorf("%v allocations for 10,000 points, %v for a seventh fewer", long, short)
	}
}

// BenchmarkEMG10k fits all 10,000 points of the same trace, less its known
// baseline, as the peers do, with standard errors.
func BenchmarkEMG10k(b *testing.B) {
	_, tr := bench10k(b)
	flat := tr.Minus(trace.Line{Axis: trace.Time, Level: 0.05, Slope: 1e-5})
	b.ReportAllocs()
	for b.Loop() {
		r, err := EMGFit{Ground: WithoutGround}.Evaluate(flat)
		if err != nil {
			b.Fatal(err)
		}
		if !(r.Tau.StdErr > 0) {
			b.Fatal("no standard error")
		}
	}
}

// BenchmarkEMG10kGround does the same work and finds the sloped ground, too.
func BenchmarkEMG10kGround(b *testing.B) {
	_, tr := bench10k(b)
	for b.Loop() {
		if _, err := (EMGFit{}).Evaluate(tr); err != nil {
			b.Fatal(err)
		}
	}
}
