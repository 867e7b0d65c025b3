package efficiency

import (
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

func TestCorrectedPlates(t *testing.T) {
	for _, tc := range []struct {
		mean, deviation, extra, extraDeviation float64
		want                                   float64
		source                                 string
	}{
		{10, 0.5, 0, 0, 400, "nothing to take off: (10/0.5)²"},
		{10, 0.5, 0.8, math.Sqrt(0.012), 355.6303, "by hand: 9.2²/0.238; fewer plates than 400"},
		{10, 0.5, 0, 0.3, 625, "by hand: 100/0.16"},
	} {
		got, err := CorrectedPlates(Litre.Times(tc.mean), Litre.Times(tc.deviation), Litre.Times(tc.extra), Litre.Times(tc.extraDeviation))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "corrected plates", got, tc.want, 5e-5, tc.source)
	}
	for _, bad := range [][4]Volume{{10, 0.5, 0.8, 0.5}, {10, 0.5, 0.8, 0.6}, {10, 0.5, 10, 0.1}, {0, 0.5, 0, 0}, {10, 0.5, -1, 0}, {Volume(math.NaN()), 1, 0, 0}} {
		if n, err := CorrectedPlates(bad[0], bad[1], bad[2], bad[3]); err == nil || !math.IsNaN(n) {
			t.Errorf("%v gives %v, %v", bad, n, err)
		}
	}
}

// TestCorrection puts a column, a system and a sample together and takes them
// apart again. Convolved Gaussians and plugs add their means and variances.
func TestCorrection(t *testing.T) {
	const columnMean, columnSigma = 2400.0, 80.0 // s
	const systemMean, systemSigma = 60.0, 25.0
	p := test04()
	p.SampleVolume = p.Column.Volume(p.BedHeight) / 50
	plug := float64(p.SampleVolume.PumpedAt(p.Flow))
	p.ExtraColumn = ExtraColumn{Volume: p.Flow.For(systemMean), Deviation: p.Flow.For(systemSigma)}
	sigma := math.Hypot(columnSigma, systemSigma)
	mean := columnMean + systemMean
	tr := of(t, 4001, 1.2, func(x float64) float64 { // a Gaussian over the length of a plug
		a, b := (x-mean)/sigma/math.Sqrt2, (x-mean-plug)/sigma/math.Sqrt2
		return 1000 * (math.Erf(a) - math.Erf(b)) / plug
	})
	p.Baseline.None = true
	p.Smoothing.Window = 1
	p.MomentRange = tr.Span()
	r := evaluate(t, p, tr)
	c, err := r.Corrected()
	if err != nil {
		t.Fatal(err)
	}
	want := columnMean * columnMean / columnSigma / columnSigma
	near(t, "by moments", c.List[0].Plates, want, 1e-6*want, "the column that was put in")
	if c.List[0].Observed != r.PlatesMoments || c.List[1].Observed != r.PlatesExact {
		t.Errorf("the observed numbers have changed: %+v", c.List)
	}
	// The sum is nearly a Gaussian: the plug's excess kurtosis is -1.2 of its
	// share to the square, 0.4 % of the width here and twice that of the plates.
	near(t, "by half height", c.List[1].Plates, want, 0.02*want, "the column that was put in")
	near(t, "share of the sample", c.Sample.Share, plug*plug/12/(sigma*sigma+plug*plug/12), 1e-6, "V²/12 of the variance")
	near(t, "share of the system", c.System.Share, systemSigma*systemSigma/(sigma*sigma+plug*plug/12), 1e-6, "its variance")
	near(t, "shift", float64(c.Shift.PumpedAt(p.Flow)), systemMean+plug/2, 1e-9, "the means add")

	text := r.String()
	for _, want := range []string{"Plates of the column alone", "observed", "corrected"} {
		if !strings.Contains(text, want) {
			t.Errorf("the result does not show %q beside the observed numbers", want)
		}
	}

	// The same system, measured with the same sample: it is in both numbers.
	p.ExtraColumn = ExtraColumn{SampleVolume: p.SampleVolume,
		Volume:    p.Flow.For(Time(systemMean + plug/2)),
		Deviation: p.Flow.For(Time(math.Sqrt(systemSigma*systemSigma + plug*plug/12)))}
	again, err := evaluate(t, p, tr).Corrected()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "sample in the system's test", again.List[0].Plates, c.List[0].Plates, 1e-9*want, "taken out once")

	// Doubling the sample quadruples its variance.
	p.ExtraColumn = ExtraColumn{}
	one, err := evaluate(t, p, tr).Corrected()
	if err != nil {
		t.Fatal(err)
	}
	p.SampleVolume *= 2
	two, err := evaluate(t, p, tr).Corrected()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "twice the sample", two.Sample.Share/one.Sample.Share, 4, 1e-9, "V²/12")
}

func TestCorrectionRefuses(t *testing.T) {
	tr := of(t, 4001, 1.2, gaussian)
	p := test04()
	p.SampleVolume = 0
	if _, err := evaluate(t, p, tr).Corrected(); err == nil || !strings.Contains(err.Error(), "nothing to correct for") {
		t.Errorf("nothing given: %v", err)
	}
	// The system as wide as the peak: an error of the correction, a doubt of the
	// result, and the observed numbers stand.
	p.ExtraColumn = ExtraColumn{Volume: p.Flow.For(200), Deviation: p.Flow.For(90)}
	r := evaluate(t, p, tr)
	if _, err := r.Corrected(); err == nil || !strings.Contains(err.Error(), "cannot be told") {
		t.Errorf("a system as wide as the peak: %v", err)
	}
	if !warned(r, "cannot be corrected") || !(r.Plates > 700) {
		t.Errorf("plates %v, warnings %v", r.Plates, r.Warnings)
	}
	if c, err := r.Corrected(); err == nil || !strings.Contains(c.String(), "No result:") {
		t.Errorf("shows %v", c)
	}
	for _, e := range []ExtraColumn{{Volume: -1 * Litre}, {Deviation: Volume(math.NaN())}, {Volume: Volume(math.Inf(1))},
		{Volume: 1 * Litre, Deviation: 0.1 * Litre, SampleVolume: 1 * Litre}, {Volume: 0.1 * Litre, Deviation: 1 * Litre, SampleVolume: 0.5 * Litre}} {
		p.ExtraColumn = e
		if _, err := p.Evaluate(tr); err == nil {
			t.Errorf("%+v was accepted", e)
		}
	}
}

func TestMeasureExtraColumn(t *testing.T) {
	const flow = 21.2
	tr := of(t, 1200, 0.5, func(x float64) float64 { return 2 + 500*made.EMG(x, 100, 8, 6) })
	e, err := MeasureExtraColumn(tr, flow*LitrePerHour, 10*Millilitre)
	if err != nil {
		t.Fatal(err)
	}
	// The trapezoidal rule is exact to rounding; a width at 5 % more on both
	// sides leaves e^(-13) of the tail out, which counts (T/τ)² times.
	near(t, "volume", e.Volume.In(Litre), 106*flow/3600, 1e-3*106*flow/3600, "µ + τ")
	near(t, "deviation", e.Deviation.In(Litre), 10*flow/3600, 2e-3*10*flow/3600, "√(σ² + τ²)")
	if e.SampleVolume != 10*Millilitre {
		t.Errorf("sample %v", e.SampleVolume)
	}
	var x, y []float64
	for i := range tr.Len() {
		at, v := tr.XY(i)
		x, y = append(x, at*float64(flow*LitrePerHour)), append(y, v)
	}
	byVolume, err := trace.Make("UV", "mAU", trace.Volume, x, y)
	if err != nil {
		t.Fatal(err)
	}
	v, err := MeasureExtraColumn(byVolume, 0, 10*Millilitre)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "against volume", v.Deviation.In(Litre), e.Deviation.In(Litre), 1e-9, "flow is constant")
	for name, f := range map[string]func() error{
		"no flow":            func() error { _, err := MeasureExtraColumn(tr, 0, 0); return err },
		"no points":          func() error { _, err := MeasureExtraColumn(trace.Trace{}, 1, 0); return err },
		"too large a sample": func() error { _, err := MeasureExtraColumn(tr, flow*LitrePerHour, 2*Litre); return err },
		"a ramp": func() error {
			_, err := MeasureExtraColumn(of(t, 100, 1, func(x float64) float64 { return x * x }), flow*LitrePerHour, 0)
			return err
		},
	} {
		if f() == nil {
			t.Errorf("%s was accepted", name)
		}
	}
}
