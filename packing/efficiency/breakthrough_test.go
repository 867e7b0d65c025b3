package efficiency

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// load10 is the load of the check values: a bed of 10 mL, 5 mg/mL, a front with
// µ 20, σ 1.5, τ 1 mL behind a hold-up of 3.5 mL.
func load10() Breakthrough {
	return Breakthrough{BedVolume: 10 * Millilitre, FeedConcentration: 5 * MilligramPerMillilitre, HoldUp: 3.5 * Millilitre, Percents: []Fraction{10 * Percent}}
}

// loadOf returns the trace of f over millilitres of feed, one each 0.05 mL.
func loadOf(t testing.TB, end float64, f func(ml float64) float64) trace.Trace {
	t.Helper()
	var x []Volume
	var y []float64
	for i := range int(end/0.05) + 1 {
		ml := 0.05 * float64(i)
		x, y = append(x, Millilitre.Times(ml)), append(y, f(ml))
	}
	tr, err := trace.NewVolume("UV", "mAU", x, y)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

func front10(ml float64) float64 { return made.EMGFront(ml, 20, 1.5, 1) }

func load(t testing.TB, b Breakthrough, tr trace.Trace) BreakthroughResult {
	t.Helper()
	r, err := b.Evaluate(tr)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestBreakthroughReference(t *testing.T) {
	const source = "SciPy: µ 20, σ 1.5, τ 1 mL, 5 mg/mL, 10 mL, V0 3.5 mL; printed to 1e-8 mL and 1e-6 mg/mL"
	b := load10()
	b.Smoothing.Window = 1
	b.NonBinding = trace.Volumes(0, 8*Millilitre) // the front has 1e-15 there
	mg := func(c Density) float64 { return c.In(MilligramPerMillilitre) }
	// A cubic is wrong by 3/128 (h/σ)⁴ of 0.5506 σ/σ, over the slope 0.106/mL; the
	// front's last 1e-14 are missing at 50 mL.
	wrong := 3.0 / 128 * math.Pow(0.05/1.5, 4) * 0.5506 / 0.106
	for _, k := range []float64{1, -3} { // a signal that falls as well
		r := load(t, b, loadOf(t, 60, func(ml float64) float64 { return 40 + k*100*front10(ml) }))
		p := r.Points[0]
		near(t, "V10", p.Volume.In(Millilitre), 18.77993908, wrong+5e-9, source)
		near(t, "simple", mg(p.Simple), 7.639970, wrong+5e-7, source)
		near(t, "integral", mg(p.Integral), 7.601920, wrong+5e-7, source)
		near(t, "equilibrium", mg(r.Equilibrium), 8.75, 1e-7, "by hand: (µ + τ - V0) C0/V")
		near(t, "front", r.FrontVolume.In(Millilitre), 21, 1e-7, "µ + τ")
		near(t, "utilisation", p.Utilisation, 7.601920/8.75, 1e-6, source)
		if got, want := p.String(), "10 % at 18.78 mL of feed: simple 7.640 mg/mL, integral 7.602 mg/mL, 76.02 mg bound"; got != want {
			t.Errorf("shows %q, want %q", got, want)
		}
		near(t, "bound", p.Bound.In(Milligram), 76.01920, 1e-5, source)
	}

	// All found: the level of what does not bind lies from 6 to 11 mL.
	b = load10()
	r := load(t, b, loadOf(t, 60, func(ml float64) float64 { return 40 + 100*front10(ml) }))
	near(t, "simple, found", mg(r.Points[0].Simple), 7.639970, 1e-4, source)
	near(t, "integral, found", mg(r.Points[0].Integral), 7.601920, 1e-4, source)
	if len(r.Warnings) != 0 {
		t.Errorf("warnings %v", r.Warnings)
	}
}

// What must not change a capacity, and what it follows.
func TestBreakthroughLaws(t *testing.T) {
	b := load10()
	b.Percents = []Fraction{1 * Percent, 50 * Percent, 90 * Percent}
	base := load(t, b, loadOf(t, 60, front10))
	same := func(what string, b Breakthrough, tr trace.Trace, factor float64) {
		t.Helper()
		r := load(t, b, tr)
		for i, p := range r.Points {
			near(t, what+": simple", float64(p.Simple), factor*float64(base.Points[i].Simple), 1e-6*factor, "law")
			near(t, what+": integral", float64(p.Integral), factor*float64(base.Points[i].Integral), 1e-6*factor, "law")
			near(t, what+": utilisation", p.Utilisation, base.Points[i].Utilisation, 1e-6, "law")
		}
	}
	same("signal scaled and moved", b, loadOf(t, 60, func(ml float64) float64 { return 300 - 7*front10(ml) }), 1)
	twice := b
	twice.FeedConcentration *= 2
	same("twice the concentration", twice, loadOf(t, 60, front10), 2)
	half := b
	half.BedVolume /= 2
	same("half the bed", half, loadOf(t, 60, front10), 2)
	given := b
	given.FeedSignal = 1
	same("feed signal given", given, loadOf(t, 60, front10), 1)
	timed := b
	timed.Flow = 2 * MillilitrePerMinute
	tr := loadOf(t, 60, front10)
	var seconds []Time
	for _, v := range tr.Positions() {
		seconds = append(seconds, Volume(v).PumpedAt(timed.Flow))
	}
	byTime, err := trace.New("UV", "mAU", seconds, tr.Values())
	if err != nil {
		t.Fatal(err)
	}
	same("against time", timed, byTime, 1)
	if r := load(t, timed, byTime); math.Abs(r.ResidenceTime.In(Minute)-5) > 1e-12 {
		t.Errorf("residence time %v, by hand 10 mL at 2 mL/min", r.ResidenceTime)
	}

	// What does not bind comes at V0 and is taken off.
	same("impurities", b, loadOf(t, 60, func(ml float64) float64 { return 20*made.EMGFront(ml, 3.4, 0.2, 0.1) + 100*front10(ml) }), 1)
	// The integral is never above the simple, which is never above equilibrium at
	// small percentages, and both rise.
	for i, p := range base.Points {
		if !(p.Integral <= p.Simple) || i > 0 && !(p.Integral > base.Points[i-1].Integral) || p.Integral > base.Equilibrium {
			t.Errorf("at %v: simple %v, integral %v, equilibrium %v", p.Percent, p.Simple, p.Integral, base.Equilibrium)
		}
	}

	// In a column the zone has a length: of L the part (V95-V5)/(21-3.5).
	long := b
	long.BedVolume = 0
	long.Column, long.BedHeight = column04(), 18*Centimetre
	long.Column.InnerDiameter = 1 * Centimetre
	r := load(t, long, loadOf(t, 60, front10))
	near(t, "zone", r.ZoneLength.In(Centimetre), 18*(r.ZoneEnd-r.ZoneStart).In(Millilitre)/17.5, 1e-6, "by hand")
	near(t, "zone's start", front10(r.ZoneStart.In(Millilitre)), 0.05, 1e-6, "5 % of the front put in")
	near(t, "zone's end", front10(r.ZoneEnd.In(Millilitre)), 0.95, 1e-6, "95 % of the front put in")
}

// The standard error of a volume is that of repeats.
func TestBreakthroughStandardError(t *testing.T) {
	const n = 300
	b := load10()
	sum, squares, stated := 0.0, 0.0, 0.0
	for seed := range uint64(n) {
		r := rand.New(rand.NewPCG(seed, 4))
		p := load(t, b, loadOf(t, 60, func(ml float64) float64 { return front10(ml) + 0.002*r.NormFloat64() })).Points[0]
		d := p.Volume.In(Millilitre) - 18.77993908
		sum += d
		squares += d * d
		stated += p.VolumeStdErr.In(Millilitre) / n
	}
	sd := math.Sqrt((squares - sum*sum/n) / (n - 1))
	// Four errors of a standard deviation from 300; the levels' own errors, left
	// out, are a tenth of it.
	if ratio := stated / sd; ratio < 0.84 || ratio > 1.16 {
		t.Errorf("standard error %v mL, of repeats %v", stated, sd)
	}
}

func TestBreakthroughRefusalsAndDoubts(t *testing.T) {
	whole := loadOf(t, 60, front10)
	var out strings.Builder
	for _, tc := range []struct {
		name   string
		change func(b *Breakthrough)
		tr     trace.Trace
	}{
		{"no bed", func(b *Breakthrough) { b.BedVolume = 0 }, whole},
		{"two beds", func(b *Breakthrough) { b.Column, b.BedHeight = column04(), 18*Centimetre }, whole},
		{"no feed concentration", func(b *Breakthrough) { b.FeedConcentration = 0 }, whole},
		{"negative hold-up", func(b *Breakthrough) { b.HoldUp = -1 * Millilitre }, whole},
		{"hold-up behind the trace", func(b *Breakthrough) { b.HoldUp = 80 * Millilitre }, whole},
		{"hold-up behind the front", func(b *Breakthrough) { b.HoldUp = 40 * Millilitre }, whole},
		{"0 %", func(b *Breakthrough) { b.Percents = []Fraction{0} }, whole},
		{"100 %", func(b *Breakthrough) { b.Percents = []Fraction{1} }, whole},
		{"10 and 50 % of a load that stops at 40 %", func(b *Breakthrough) { b.FeedSignal, b.Percents = 1, []Fraction{10 * Percent, 50 * Percent, 0.8} }, loadOf(t, 20.3, front10)},
		{"not level, no feed signal", func(b *Breakthrough) {}, loadOf(t, 20.3, front10)},
		{"no breakthrough", func(b *Breakthrough) {}, loadOf(t, 60, func(float64) float64 { return 3 })},
		{"even smoothing", func(b *Breakthrough) { b.Smoothing.Window = 4 }, whole},
		{"no trace", func(b *Breakthrough) {}, trace.Trace{}},
		{"against time without a flow", func(b *Breakthrough) {}, of(t, 100, 1, func(x float64) float64 { return x })},
		{"non-binding on the wrong axis", func(b *Breakthrough) { b.NonBinding = trace.Times(1*Minute, 2*Minute) }, whole},
	} {
		b := load10()
		tc.change(&b)
		r, err := b.Evaluate(tc.tr)
		if err == nil {
			t.Errorf("%s was accepted", tc.name)
			continue
		}
		if r.Refusal != err || r.Page().SVG() != "" || !strings.Contains(r.String(), "No result:") {
			t.Errorf("%s: the result does not show its refusal", tc.name)
		}
		fmt.Fprintf(&out, "%s\n    %v\n", tc.name, err)
	}
	golden(t, "breakthrough-refusals.golden", out.String())

	noise := rand.New(rand.NewPCG(2, 2))
	for want, f := range map[string]func(ml float64) float64{
		"does not bind is not level": func(ml float64) float64 { return front10(ml) + 0.06*math.Min(1, math.Max(0, ml-4)/10) },
		"and again at":               func(ml float64) float64 { return front10(ml) + 0.2*math.Exp(-(ml-14)*(ml-14)/0.1) },
		"times the noise":            func(ml float64) float64 { return front10(ml) + 0.1*noise.NormFloat64() },
		"rises to 13":                func(ml float64) float64 { return front10(ml) + 0.3*math.Exp(-(ml-28)*(ml-28)/4) },
	} {
		b := load10()
		r, err := b.Evaluate(loadOf(t, 60, f))
		if err != nil {
			t.Errorf("%q: %v", want, err)
		} else if !strings.Contains(fmt.Sprint(r.Warnings), want) {
			t.Errorf("no doubt with %q: %v", want, r.Warnings)
		}
	}
	if _, err := load(t, load10(), whole).At(1.2); err == nil {
		t.Error("120 % was accepted")
	}
	if _, err := (BreakthroughResult{}).At(0.1); err == nil {
		t.Error("a point of nothing")
	}
	// A load that stops has its points and no equilibrium.
	b := load10()
	b.FeedSignal = 1
	if r := load(t, b, loadOf(t, 20.3, front10)); !math.IsNaN(float64(r.Equilibrium)) || !strings.Contains(r.String(), "not available") {
		t.Errorf("equilibrium %v of a load that stops at 40 %%", r.Equilibrium)
	}
}

func TestBreakthroughGolden(t *testing.T) {
	b := load10()
	b.BedVolume, b.Column, b.BedHeight = 0, column04(), 12.73*Centimetre
	b.Column.InnerDiameter = 1 * Centimetre
	b.Flow = 2 * MillilitrePerMinute
	b.Percents = []Fraction{1 * Percent, 10 * Percent}
	noise := rand.New(rand.NewPCG(8, 2))
	r := load(t, b, loadOf(t, 45, func(ml float64) float64 {
		return 4 + 60*made.EMGFront(ml, 3.4, 0.2, 0.1) + 800*front10(ml) + 1.5*noise.NormFloat64()
	}))
	for _, c := range r.Calculations() {
		if c.Formula == "" || c.Numbers == "" || c.Source == "" || c.Symbols == "" || strings.Contains(c.Numbers, "NaN") {
			t.Errorf("%s is incomplete: %+v", c.Name, c)
		}
	}
	golden(t, "breakthrough.golden", r.String()+r.Calculations().String())
	golden(t, "breakthrough.svg", r.Page().SVG())
}

// A feed beyond the detector's range has no noise left; one within it has.
func TestSaturatedFeed(t *testing.T) {
	for _, tc := range []struct {
		clip float64
		want bool
	}{{1e9, false}, {85, true}} {
		for seed := range uint64(10) {
			noise := rand.New(rand.NewPCG(seed, 4))
			r := load(t, load10(), loadOf(t, 60, func(ml float64) float64 {
				return math.Min(tc.clip, 5+100*front10(ml)+0.3*noise.NormFloat64())
			}))
			if got := strings.Contains(fmt.Sprint(r.Warnings), "may be saturated"); got != tc.want {
				t.Errorf("clip at %g, seed %d: told %v: %v", tc.clip, seed, got, r.Warnings)
			}
		}
	}
}
