package packing_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing"
	. "github.com/evenbed/evenbed/packing/units"
)

// holds checks that all parts stand in a text, in order.
func holds(t *testing.T, text string, parts ...string) {
	t.Helper()
	rest := text
	for _, part := range parts {
		_, after, found := strings.Cut(rest, part)
		if !found {
			t.Fatalf("%q is missing or out of place in\n%s", part, text)
		}
		rest = after
	}
}

func TestConcentration(t *testing.T) {
	// One reading from the centrifuge: 4.6 mL of 10 mL, factor 1.12.
	spun, err := packing.SlurrySamples{Sample: 10 * Millilitre, Settled: Millilitre.Each(4.6), Factor: 1.12}.Evaluate()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "spun", float64(spun.Slurry.Concentration), 0.5152, 1e-12, "1.12·0.46 by hand")
	if !math.IsNaN(float64(spun.StdErr)) || !math.IsNaN(float64(spun.StdDev)) {
		t.Errorf("one reading has a standard error of %v, %v", spun.StdErr, spun.StdDev)
	}
	holds(t, spun.Page().HTML(), "51.52", "not known", "spun, factor 1.12", "1 of at least three readings", "counts as exact", "One reading has no standard error")

	// Three readings by gravity: mean 52, standard deviation 1 %, by hand.
	r, err := packing.SlurrySamples{Sample: 100 * Millilitre, Settled: Millilitre.Each(51, 52, 53)}.Evaluate()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", r.Slurry.Concentration.In(Percent), 52, 1e-12, "by hand")
	near(t, "standard deviation", r.StdDev.In(Percent), 1, 1e-12, "√((1+0+1)/2)")
	near(t, "standard error", r.StdErr.In(Percent), 1/math.Sqrt(3), 1e-12, "over √3")
	if len(r.Warnings) != 0 || r.Readings != 3 || !math.IsNaN(float64(r.Spread)) {
		t.Errorf("%+v", r)
	}
	// The factor's error adds in squares.
	f, _ := packing.SlurrySamples{Sample: 100 * Millilitre, Settled: Millilitre.Each(51, 52, 53), Factor: 1.1, FactorStdErr: 0.011}.Evaluate()
	near(t, "with the factor", f.StdErr.In(Percent), math.Hypot(1.1/math.Sqrt(3), 0.572), 1e-12, "1 % of 57.2 % beside 1.1/√3")

	// A tank that is not mixed: the places decide, not the many readings.
	tank, err := packing.SlurrySamples{Sample: 100 * Millilitre, Top: Millilitre.Each(50, 50, 50), Middle: Millilitre.Each(52, 52, 52), Bottom: Millilitre.Each(54, 54, 54)}.Evaluate()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "spread", tank.Spread.In(Percent), 4, 1e-12, "54 - 50")
	near(t, "standard error", tank.StdErr.In(Percent), 2/math.Sqrt(3), 1e-12, "of three places 2 % apart")
	// A place counts once, however many samples it gave.
	uneven, _ := packing.SlurrySamples{Sample: 100 * Millilitre, Top: Millilitre.Each(50), Middle: Millilitre.Each(52, 52), Bottom: Millilitre.Each(54, 54, 54, 54, 54)}.Evaluate()
	near(t, "uneven places", uneven.Slurry.Concentration.In(Percent), 52, 1e-12, "(50 + 52 + 54)/3")
	one, _ := packing.SlurrySamples{Sample: 100 * Millilitre, Top: Millilitre.Each(50, 51, 52)}.Evaluate()
	holds(t, one.String(), "Only 1 of three places")
	holds(t, tank.Page().Markdown(), "52.00", "mean, top", "50.00", "mean, bottom", "54.00", "4.00", "differ by 4.0 % absolute, more than 2 %")
	tank, _ = packing.SlurrySamples{Sample: 100 * Millilitre, Top: Millilitre.Each(51, 51, 51), Middle: Millilitre.Each(52, 52, 52), Bottom: Millilitre.Each(52.9, 52.9, 52.9)}.Evaluate()
	if len(tank.Warnings) != 0 {
		t.Errorf("1.9 %% apart: %q", tank.Warnings)
	}

	for _, tc := range []struct {
		s    packing.SlurrySamples
		want string
	}{
		{packing.SlurrySamples{}, "sample volume 0"},
		{packing.SlurrySamples{Sample: 10 * Millilitre}, "readings: there are none"},
		{packing.SlurrySamples{Sample: 10 * Millilitre, Settled: Millilitre.Each(11)}, "samples, reading 1 (11 mL): a sample of 10 mL cannot hold that bed"},
		{packing.SlurrySamples{Sample: 10 * Millilitre, Settled: Millilitre.Each(5, math.NaN())}, "reading 2"},
		{packing.SlurrySamples{Sample: 10 * Millilitre, Settled: Millilitre.Each(5), Top: Millilitre.Each(5)}, "both with and without places"},
		{packing.SlurrySamples{Sample: 10 * Millilitre, Settled: Millilitre.Each(5), Factor: 0.9}, "factor 0.9"},
		{packing.SlurrySamples{Sample: 10 * Millilitre, Settled: Millilitre.Each(5), FactorStdErr: -1}, "standard error of the factor"},
	} {
		if r, err := tc.s.Evaluate(); err == nil || !strings.Contains(err.Error(), tc.want) || !strings.Contains(r.Page().HTML(), "No result:") {
			t.Errorf("%v, want %q", err, tc.want)
		}
	}
}

func TestAdjust(t *testing.T) {
	thick, half := packing.Slurry{Concentration: 70 * Percent}, packing.Slurry{Concentration: 50 * Percent}
	a, err := thick.Adjust(half, 100*Litre)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "add", a.Add.In(Litre), 40, 1e-12, "100·(70/50 - 1)")
	near(t, "after", a.After.In(Litre), 140, 1e-12, "by hand")
	holds(t, a.Page().HTML(), "liquid to add", "40 L", "140 L")
	b, _ := half.Adjust(thick, a.After)
	near(t, "decant", b.Decant.In(Litre), 40, 1e-12, "and back")
	near(t, "back", b.After.In(Litre), 100, 1e-12, "and back")
	holds(t, b.Page().HTML(), "decant after settling", "40 L", "fines")
	c, _ := half.Adjust(half, Litre)
	holds(t, c.Page().HTML(), "nothing to do")
	if _, err := thick.Adjust(packing.Slurry{}, Litre); err == nil {
		t.Error("to nothing")
	}
	if _, err := thick.Adjust(half, 0); err == nil || !strings.Contains(err.Error(), "slurry volume 0") {
		t.Error(err)
	}
	holds(t, packing.Adjustment{}.Page().HTML(), "No result:")
}

func TestDryMedium(t *testing.T) {
	d := packing.DryMedium{Mass: 1.5 * Kilogram, SwollenPerGram: 12 * Millilitre}
	v, err := d.Settled()
	near(t, "settled", v.In(Litre), 18, 1e-12, "1500 g · 12 mL/g")
	m, err2 := d.Needed(v)
	near(t, "needed", float64(m), 1.5, 1e-12, "and back")
	if err != nil || err2 != nil {
		t.Error(err, err2)
	}
	for _, bad := range []packing.DryMedium{{}, {Mass: 1}, {Mass: 1, SwollenPerGram: 12}, {Mass: -1, SwollenPerGram: 12 * Millilitre}} {
		if v, err := bad.Settled(); err == nil || !math.IsNaN(float64(v)) {
			t.Errorf("%+v: %v", bad, v)
		}
	}
	if _, err := d.Needed(0); err == nil {
		t.Error("nothing needed")
	}
}

func TestPacked(t *testing.T) {
	p := packing.Packed{Column: packing.Column{InnerDiameter: 30 * Centimetre}, Slurry: packing.Slurry{Concentration: 52 * Percent},
		SlurryStdErr: 1.56 * Percent, Poured: 27.4044 * Litre, Height: 18 * Centimetre}
	r, err := p.Evaluate()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "settled", r.SettledHeight.In(Centimetre), 20.16, 5e-5, "the own scenario, four digits")
	near(t, "factor", r.CompressionFactor, 1.12, 5e-5, "20.16/18")
	near(t, "3 % of concentration", r.StdErr, 0.034, 0.015, "1.12·3 %, two digits")
	holds(t, r.Page().HTML(), "standard error of volume, height was not given", "1.120 ± 0.034")
	p.PouredStdErr, p.HeightStdErr = 0.1*Litre, 1*Millimetre
	r, _ = p.Evaluate()

	// The formula against drawn values.
	g := rand.New(rand.NewPCG(11, 12))
	var sum, squares float64
	const n = 20000
	for range n {
		q := p
		q.Slurry.Concentration += p.SlurryStdErr.Times(g.NormFloat64())
		q.Poured += p.PouredStdErr.Times(g.NormFloat64())
		q.Height += p.HeightStdErr.Times(g.NormFloat64())
		x, err := q.Evaluate()
		if err != nil {
			t.Fatal(err)
		}
		sum, squares = sum+x.CompressionFactor, squares+x.CompressionFactor*x.CompressionFactor
	}
	near(t, "standard error", r.StdErr, math.Sqrt(squares/n-sum/n*sum/n), 0.02, "spread of 20,000 drawn packs: 0.5 % of its own error")
	low := p
	low.Poured = 20 * Litre
	r, _ = low.Evaluate()
	holds(t, r.Page().HTML(), "the factor is below 1")
	for _, tc := range []struct {
		change func(*packing.Packed)
		want   string
	}{
		{func(p *packing.Packed) { p.Column.InnerDiameter = 0 }, "inner diameter"},
		{func(p *packing.Packed) { p.Slurry.Concentration = 52 }, "concentration"},
		{func(p *packing.Packed) { p.SlurryStdErr = 1.5 }, "standard error 150 % of the slurry concentration"},
		{func(p *packing.Packed) { p.SlurryStdErr = Fraction(math.NaN()) }, "leave it zero if it is not known"},
		{func(p *packing.Packed) { p.HeightStdErr = 0.5 }, "of the bed height"},
		{func(p *packing.Packed) { p.Poured = 0 }, "poured volume"},
		{func(p *packing.Packed) { p.Height = 18 }, "bed height"},
		{func(p *packing.Packed) { p.HeightStdErr = 1 }, "was the unit forgotten?"},
	} {
		q := p
		tc.change(&q)
		if r, err := q.Evaluate(); err == nil || !strings.Contains(err.Error(), tc.want) || !strings.Contains(r.Page().HTML(), "No result:") {
			t.Errorf("%v, want %q", err, tc.want)
		}
	}
}

func TestPour(t *testing.T) {
	p := packing.Pour{Column: packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre, TubeHeight: 60 * Centimetre}, Slurry: packing.Slurry{Concentration: 52 * Percent},
		BedHeight: 18 * Centimetre, CompressionFactor: 1.12}
	r, err := p.Evaluate()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "settled", r.SettledHeight.In(Centimetre), 20.16, 1e-12, "1.12·18")
	near(t, "settled", r.SettledVolume.In(Litre), 14.2503, 5e-6, "the own scenario, NumPy, six digits")
	near(t, "slurry", r.SlurryVolume.In(Litre), 27.4044, 5e-6, "NumPy, six digits")
	near(t, "height", r.Height.In(Centimetre), 38.769, 5e-5, "NumPy, five digits")
	near(t, "free", r.Free.In(Centimetre), 21.231, 5e-5, "60 - 38.769")
	p.DeadVolume, p.Rinse = 2*Litre, 3*Litre
	q, err := p.Evaluate()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "prepared", q.Prepared.In(Litre), 29.4044, 5e-6, "+ 2")
	near(t, "height", q.Height.In(Centimetre), 38.769+3000/706.8583, 5e-5, "+ 3 L over 706.86 cm²")
	holds(t, q.Page().HTML(), "20.16 cm", "27.4 L", "stays behind", "2 L", "29.4 L", "rinse", "3 L", "43.0 cm", "60.0 cm", "17.0 cm")

	p.Column.TubeHeight = 42 * Centimetre // enough without the rinse
	if r, err := p.Evaluate(); err == nil || !strings.Contains(err.Error(), "column 04: slurry of") || !strings.Contains(err.Error(), "an extension of 1.1 cm more") || !strings.Contains(r.Page().HTML(), "No result:") {
		t.Error(err)
	}
	p.Column.Extension, p.Column.Allowance = 10*Centimetre, 5*Centimetre
	if q, err = p.Evaluate(); err != nil {
		t.Fatal(err)
	}
	holds(t, q.String(), "42.0 cm + extension 10.0 cm - allowance 5.0 cm")
	p.Column = packing.Column{InnerDiameter: 30 * Centimetre}
	q, _ = p.Evaluate()
	holds(t, q.Page().HTML(), "Not checked:", "no tube height")
	for _, tc := range []struct {
		change func(*packing.Pour)
		want   string
	}{
		{func(p *packing.Pour) { p.CompressionFactor = 12 }, "1.12 and not 12"},
		{func(p *packing.Pour) { p.DeadVolume = 20 }, "dead volume"},
		{func(p *packing.Pour) { p.Rinse = -1 * Litre }, "rinse -1 L: it must not be below zero; leave it out, or write for example 0.5 * Litre"},
		{func(p *packing.Pour) { p.BedHeight = 18 }, "bed height"},
		{func(p *packing.Pour) { p.Slurry.Concentration = 0 }, "concentration"},
	} {
		bad := p
		tc.change(&bad)
		if _, err := bad.Evaluate(); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%v, want %q", err, tc.want)
		}
	}
}

func TestDecide(t *testing.T) {
	f := packing.Found{Column: packing.Column{InnerDiameter: 30 * Centimetre}, BedHeight: 18 * Centimetre, CompressionFactor: 1.12, Height: 20.9 * Centimetre}
	d, err := f.Decide()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "planned", d.Planned.In(Centimetre), 20.16, 1e-12, "1.12·18")
	near(t, "keep the factor", d.KeepFactor.In(Centimetre), 18.66, 3e-4, "20.9/1.12, four digits")
	near(t, "keep the height", d.KeepHeight, 1.161, 4e-4, "20.9/18, four digits")
	holds(t, d.Page().HTML(), "Settled 20.90 cm, planned 20.16 cm", "18.00 cm", "1.120", "12.72 L", "18.66 cm", "1.120", "13.19 L", "18.00 cm", "1.161", "12.72 L")
	// Read under the flow of the first step.
	f.Height, f.FlowFactor = (20.9 * Centimetre).Times(1/1.0107), 1.0107
	g, _ := f.Decide()
	near(t, "settled", float64(g.Settled), float64(d.Settled), 1e-12, "L0 = L1·CF(u1)")
	holds(t, g.Page().Markdown(), "Read 20.68 cm under flow, settled 20.90 cm")
	f.Height, f.FlowFactor = 17*Centimetre, 0
	d, _ = f.Decide()
	holds(t, d.Page().HTML(), "The height cannot be kept:", "add slurry", "15.18 cm")
	if strings.Contains(d.Page().HTML(), "keep the height<") {
		t.Error("offers what cannot be")
	}
	for _, bad := range []packing.Found{{}, {BedHeight: 0.18, CompressionFactor: 12, Height: 0.2}, {BedHeight: 0.18, CompressionFactor: 1.12, Height: 20}, {BedHeight: 0.18, CompressionFactor: 1.12, Height: 0.2, FlowFactor: 0.9}} {
		if d, err := bad.Decide(); err == nil || !strings.Contains(d.Page().HTML(), "No result:") {
			t.Errorf("%+v is accepted", bad)
		}
	}
}

// A slip of the pen, 4.8 for 48 mL, is seen; readings 4 % apart are not one.
func TestSlurryReadingsApart(t *testing.T) {
	for _, tc := range []struct {
		first float64
		want  bool
	}{{4.8, true}, {47, false}} {
		r, err := packing.SlurrySamples{Sample: 100 * Millilitre, Settled: Millilitre.Each(tc.first, 50, 51)}.Evaluate()
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Contains(strings.Join(r.Warnings, " "), "run from 4.8 to 51.0 %, more than 5 % absolute"); got != tc.want || len(r.Warnings) > 0 != tc.want {
			t.Errorf("%v mL: %q", tc.first, r.Warnings)
		}
	}
}

// What was refused says why.
func TestRefusalsShow(t *testing.T) {
	pour, err := packing.Pour{}.Evaluate()
	if err == nil || pour.Refusal != err || !strings.Contains(pour.String(), err.Error()) {
		t.Errorf("%v: %v", err, pour)
	}
	samples, err := packing.SlurrySamples{}.Evaluate()
	if err == nil || samples.Refusal != err || !strings.Contains(samples.String(), err.Error()) {
		t.Errorf("%v: %v", err, samples)
	}
	packed, err := packing.Packed{}.Evaluate()
	if err == nil || packed.Refusal != err || !strings.Contains(packed.String(), err.Error()) {
		t.Errorf("%v: %v", err, packed)
	}
	if s := (packing.PourResult{}).String(); !strings.Contains(s, "nothing has been worked out") {
		t.Error(s)
	}
}
