package efficiency

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/record"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// of returns the trace of f, one sample a step, in mAU.
func of(t testing.TB, n int, step float64, f func(x float64) float64) trace.Trace {
	t.Helper()
	x, y := make([]float64, n), make([]float64, n)
	for i := range x {
		x[i] = float64(i) * step
		y[i] = f(x[i])
	}
	tr, err := trace.Make("UV", "mAU", trace.Time, x, y)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

// gaussian is a quiet peak of test04: 0.93 column volumes, 4300 plates per
// metre.
func gaussian(x float64) float64 {
	z := (x - retention04) / 86
	return 50*math.Exp(-z*z/2) + 1e-9*math.Sin(x)
}

func evaluate(t testing.TB, p Pulse, tr trace.Trace) PulseResult {
	t.Helper()
	r, err := p.Evaluate(tr)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// demo evaluates the demonstration test.
func demo(t testing.TB) PulseResult {
	t.Helper()
	export, err := record.Read("../../testdata/column04-pulse.csv")
	if err != nil {
		t.Fatal(err)
	}
	uv, err := export.Signal("UV")
	if err != nil {
		t.Fatal(err)
	}
	return evaluate(t, Pulse{
		Column:    packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre},
		BedHeight: 18 * Centimetre, Flow: 21.2 * LitrePerHour, SampleVolume: 127 * Millilitre, Tracer: Tracer{Name: "acetone 1 %", Kind: SmallNeutral},
		Medium: packing.Medium{Name: "Marram", Lot: "M-0417", MeanBead: 90 * Micrometre},
		Zero:   Zero{TraceZero: true}, // as the file says
		Limits: CommonPractice(),
	}, uv)
}

func TestDemonstration(t *testing.T) {
	r := demo(t)
	// The trace was made of µ 33.10, σ 1.05, τ 0.78 min; the widths of that peak
	// without noise, by bisection.
	f := func(x float64) float64 { return made.EMG(x, 33.10, 1.05, 0.78) }
	apex := 33.10
	for step := 0.5; step > 1e-9; step /= 2 {
		for f(apex+step) > f(apex) {
			apex += step
		}
		for f(apex-step) > f(apex) {
			apex -= step
		}
	}
	cross := func(fraction, far float64) float64 {
		in, out := apex, far
		for range 60 {
			if mid := (in + out) / 2; f(mid) > fraction*f(apex) {
				in = mid
			} else {
				out = mid
			}
		}
		return in
	}
	half := cross(0.5, 50) - cross(0.5, 10)
	as := (cross(0.1, 60) - apex) / (apex - cross(0.1, 10))
	perMetre := 5.54 * apex * apex / half / half / 0.18
	// Four standard errors of the noise, and what smoothing does: the peak is
	// lowered by 0.03 (m/σ)⁴ of its height, about 2e-5 here.
	near(t, "plates per metre", r.PlatesPerMetre, perMetre, 4*r.PlatesPerMetreStdErr+1e-3*perMetre, "the peak that was put in")
	near(t, "asymmetry", r.Asymmetry, as, 4*r.AsymmetryStdErr+1e-3, "the peak that was put in")
	if r.Verdict != Meets || len(r.Warnings) != 0 {
		t.Errorf("verdict %v, warnings %v", r.Verdict, r.Warnings)
	}
	near(t, "velocity", r.Velocity.In(CentimetrePerHour), 29.9919, 1e-3, "by hand: 21,200 cm³/h over 706.858 cm²")
	near(t, "column volumes", r.ColumnVolumes, apex/60*21.2/12.7235, 1e-3, "by hand: tR Q / V")
	near(t, "reduced plate height", r.ReducedPlateHeight, 1/(r.PlatesPerMetre*90e-6), 1e-12, "h = 1/(N/L · dp)")
}

func TestScaleOfTimeAndHeight(t *testing.T) {
	p := test04()
	base := evaluate(t, p, of(t, 4001, 1.2, gaussian))
	for _, k := range []float64{0.1, 7} {
		// Time k times as long at a flow k times as slow; height k times.
		q := p
		q.Flow /= VolumeFlow(k)
		r := evaluate(t, q, of(t, 4001, 1.2*k, func(x float64) float64 { return k * gaussian(x/k) }))
		near(t, "plates", r.Plates, base.Plates, 1e-9*base.Plates, "no unit of time in it")
		near(t, "asymmetry", r.Asymmetry, base.Asymmetry, 1e-9, "no unit of time in it")
		near(t, "column volumes", r.ColumnVolumes, base.ColumnVolumes, 1e-9, "volume is the same")
		near(t, "height", r.Height, k*base.Height, 1e-9*k*base.Height, "height scales")
	}
}

func TestShiftOfBaseline(t *testing.T) {
	p := test04()
	base := evaluate(t, p, of(t, 4001, 1.2, gaussian))
	r := evaluate(t, p, of(t, 4001, 1.2, func(x float64) float64 { return gaussian(x) + 300 - 1e-4*x }))
	near(t, "plates", r.Plates, base.Plates, 1e-8*base.Plates, "a straight baseline is taken away")
	near(t, "asymmetry", r.Asymmetry, base.Asymmetry, 1e-8, "a straight baseline is taken away")
	near(t, "M1", r.Moments.Mean, base.Moments.Mean, 1e-6, "a straight baseline is taken away")
}

func TestMirror(t *testing.T) {
	// The mirrored peak tails as much as the other fronts.
	p := test04()
	p.Baseline.None = true
	const end = 4800.0
	f := func(x float64) float64 { return made.EMG(x, retention04, 60, 60) }
	r := evaluate(t, p, of(t, 4001, end/4000, f))
	m := evaluate(t, p, of(t, 4001, end/4000, func(x float64) float64 { return f(end - x) }))
	near(t, "asymmetry", m.Asymmetry, 1/r.Asymmetry, 1e-9, "b and a change places")
	near(t, "width", m.Half.Width(), r.Half.Width(), 1e-6, "mirror")
	near(t, "apex", m.Apex.X, end-r.Apex.X, 1e-6, "mirror")
}

func TestAgainstVolume(t *testing.T) {
	p := test04()
	byTime := evaluate(t, p, of(t, 4001, 1.2, gaussian))
	var x, y []float64
	for i := range 4001 {
		x = append(x, float64(p.Flow)*1.2*float64(i))
		y = append(y, gaussian(1.2*float64(i)))
	}
	tr, err := trace.Make("UV", "mAU", trace.Volume, x, y)
	if err != nil {
		t.Fatal(err)
	}
	r := evaluate(t, p, tr)
	near(t, "plates", r.Plates, byTime.Plates, 1e-9*r.Plates, "flow is constant")
	near(t, "column volumes", r.ColumnVolumes, byTime.ColumnVolumes, 1e-9, "flow is constant")
	near(t, "retention time", r.Retention.In(Second), byTime.Retention.In(Second), 1e-6, "flow is constant")
}

func TestPeakOnlyGivesTheSame(t *testing.T) {
	p, tr := bench10k(t)
	all := evaluate(t, p, tr)
	p.Smoothing.PeakOnly = true
	near10 := evaluate(t, p, tr)
	near(t, "plates", near10.Plates, all.Plates, 1e-9*all.Plates, "the same smoothing near the peak")
	near(t, "asymmetry", near10.Asymmetry, all.Asymmetry, 1e-9, "the same smoothing near the peak")
	near(t, "plates by moments", near10.PlatesMoments, all.PlatesMoments, 1e-9*all.PlatesMoments, "the same smoothing near the peak")
}

func TestNegativePeak(t *testing.T) {
	up := evaluate(t, test04(), of(t, 4001, 1.2, gaussian))
	down := evaluate(t, test04(), of(t, 4001, 1.2, func(x float64) float64 { return 20 - gaussian(x) }))
	near(t, "plates", down.Plates, up.Plates, 1e-8*up.Plates, "turned over")
	if !warned(down, "points down") || warned(up, "points down") {
		t.Errorf("warnings: up %v, down %v", up.Warnings, down.Warnings)
	}
}

func TestNegativePeakOverARubberBand(t *testing.T) {
	p := test04()
	p.Baseline.RubberBand = true
	f := func(x float64) float64 { return gaussian(x) + 1e-6*math.Pow(x-2400, 2) }
	up := evaluate(t, p, of(t, 4001, 1.2, f))
	down := evaluate(t, p, of(t, 4001, 1.2, func(x float64) float64 { return 20 - f(x) }))
	near(t, "plates", down.Plates, up.Plates, 1e-8*up.Plates, "turned over, with the band on the other side")
	near(t, "asymmetry", down.Asymmetry, up.Asymmetry, 1e-8, "turned over, with the band on the other side")
	if !warned(down, "points down") || !down.Baseline.Bent() {
		t.Errorf("warnings %v", down.Warnings)
	}
}

// TestStandardErrors compares the reported standard errors with the scatter of
// 400 tests that differ in their noise alone. The scatter of a standard
// deviation from 400 is 3.5 %, so 15 % is four of them.
func TestStandardErrors(t *testing.T) {
	for _, window := range []int{1, 5, 31} {
		p := test04()
		p.Smoothing.Window = window
		r := rand.New(rand.NewPCG(11, 4))
		var plates, skew, platesErr, skewErr, symmetry, symmetryErr []float64
		for range 400 {
			res := evaluate(t, p, of(t, 1200, 4, func(x float64) float64 {
				return 50*86*2.5*made.EMG(x, retention04-30, 80, 40) + 0.1*r.NormFloat64()
			}))
			plates, skew = append(plates, res.PlatesPerMetre), append(skew, res.Asymmetry)
			platesErr, skewErr = append(platesErr, res.PlatesPerMetreStdErr), append(skewErr, res.AsymmetryStdErr)
			symmetry, symmetryErr = append(symmetry, res.SymmetryFactor), append(symmetryErr, res.SymmetryFactorStdErr)
		}
		for _, c := range []struct {
			what          string
			seen, claimed []float64
		}{{"plates per metre", plates, platesErr}, {"asymmetry", skew, skewErr}, {"symmetry factor", symmetry, symmetryErr}} {
			_, scatter := meanSD(c.seen)
			claim, _ := meanSD(c.claimed)
			t.Logf("window %d, %s: scatter %.4g, reported %.4g", window, c.what, scatter, claim)
			if ratio := claim / scatter; window > 1 && (ratio < 0.85 || ratio > 1.15) || ratio < 0.6 || ratio > 1.5 {
				t.Errorf("window %d, %s: scatter %.4g, reported standard error %.4g", window, c.what, scatter, claim)
			}
		}
	}
}

func meanSD(v []float64) (mean, sd float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		sd += (x - mean) * (x - mean) / float64(len(v)-1)
	}
	return mean, math.Sqrt(sd)
}

func warned(r PulseResult, text string) bool {
	return slices.ContainsFunc(r.Warnings, func(w Warning) bool { return strings.Contains(w.What, text) && w.Do != "" })
}

func TestWarnings(t *testing.T) {
	cv := test04().Column.Volume(test04().BedHeight)
	noisy := rand.New(rand.NewPCG(5, 5))
	second := func(at, height float64) func(float64) float64 {
		return func(x float64) float64 {
			z := (x - retention04 - at) / 86
			return gaussian(x) + height*math.Exp(-z*z/2)
		}
	}
	for _, tc := range []struct {
		name   string
		change func(p *Pulse)
		f      func(x float64) float64
		n      int
		step   float64
		want   string // empty: no warning at all
	}{
		{"1 % of the column volume at 25 cm/h (common practice, no source)", func(p *Pulse) {}, gaussian, 4001, 1.2, ""},
		{"sample of 10 % (common practice, no source)", func(p *Pulse) { p.SampleVolume = cv / 10 }, gaussian, 4001, 1.2, "sample is 10 %"},
		{"300 cm/h (common practice, no source)", func(p *Pulse) { p.Flow = p.Column.Flow(300 * CentimetrePerHour) }, gaussian, 4001, 1.2, "ran at 300 cm/h"},
		{"5 cm/h", func(p *Pulse) { p.Flow = p.Column.Flow(5 * CentimetrePerHour) }, gaussian, 4001, 1.2, "ran at 5 cm/h"},
		{"early", func(p *Pulse) { p.BedHeight = 64 * Centimetre }, gaussian, 4001, 1.2, "between the beads"},
		{"few points", func(p *Pulse) {}, gaussian, 200, 24, "points stand above half height"},
		{"saturated", func(p *Pulse) {}, func(x float64) float64 { return math.Min(gaussian(x), 40) }, 4001, 1.2, "flat"},
		{"two apexes", func(p *Pulse) {}, second(300, 30), 4001, 1.2, "second apex"},
		{"crossed several times", func(p *Pulse) {}, second(700, 4), 4001, 1.2, "several times"},
		{"cut tail", func(p *Pulse) {}, gaussian, 2200, 1.2, "not returned to the baseline"},
		{"late start", func(p *Pulse) { p.Search = trace.Times(2150, 4800) }, gaussian, 4001, 1.2, "begins only"},
		{"still falling", func(p *Pulse) {}, func(x float64) float64 { return gaussian(x) + 1e-5*math.Pow(math.Max(0, x-4000), 2) }, 4001, 1.2, "not returned to the baseline: it changes"},
		{"not settled", func(p *Pulse) {}, func(x float64) float64 { return gaussian(x) + 8*math.Exp(-x/300) }, 4001, 1.2, "not quiet in front"},
		{"drift", func(p *Pulse) {}, func(x float64) float64 { return gaussian(x) + 0.01*x }, 4001, 1.2, "drifts"},
		{"noise", func(p *Pulse) {}, func(x float64) float64 { return gaussian(x) + 3*noisy.NormFloat64() }, 4001, 1.2, "times as high as the noise"},
		{"tail", func(p *Pulse) {}, func(x float64) float64 { return 1e4 * made.EMG(x, retention04-50, 60, 70) }, 4001, 1.2, "fewer plates"},
		{"limit of another bead", func(p *Pulse) { p.MeanBead = 30 * Micrometre; p.Limits = CommonPractice() }, gaussian, 4001, 1.2, "asks for a reduced plate height of 8.3"},
		{"down to 7 % on one side only", func(p *Pulse) { p.Baseline.None = true }, func(x float64) float64 { return math.Max(gaussian(x), 3.5) }, 4001, 1.2, "does not fall to 5 %"},
	} {
		p := test04()
		tc.change(&p)
		r, err := p.Evaluate(of(t, tc.n, tc.step, tc.f))
		if err != nil {
			t.Errorf("%s: %v", tc.name, err)
			continue
		}
		if tc.want == "" && len(r.Warnings) > 0 {
			t.Errorf("%s: unwanted warnings %v", tc.name, r.Warnings)
		}
		if tc.want != "" && !warned(r, tc.want) {
			t.Errorf("%s: warnings %v, want one with %q", tc.name, r.Warnings, tc.want)
		}
	}
}

// TestAnyTrace evaluates traces of all kinds: each is refused or gives numbers.
func TestAnyTrace(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	good := 0
	for i := range 3000 {
		n := 2 + r.IntN(300)
		x, y := make([]float64, n), make([]float64, n)
		at, wide, noise, step, spike := r.Float64()*float64(n), 1+r.Float64()*float64(n)/8, math.Pow(10, 3*r.Float64()-4), r.Float64()-0.5, r.IntN(n)
		kind := r.IntN(5)
		for j := range x {
			x[j] = float64(j)
			if j > 0 && r.IntN(20) == 0 {
				x[j] = x[j-1] // the same time twice
			}
			z := (x[j] - at) / wide
			switch kind {
			case 0, 1:
				y[j] = math.Exp(-z * z / 2)
			case 2:
				y[j] = step * x[j]
			case 3:
				y[j] = step / (1 + math.Exp(-z))
			}
			y[j] += noise * r.NormFloat64()
			if kind == 1 && j == spike {
				y[j] += 3
			}
		}
		tr, err := trace.Make("any", "", trace.Time, x, y)
		if err != nil {
			continue
		}
		p := test04()
		p.Smoothing = Smoothing{Window: []int{0, 1, 5}[r.IntN(3)], PeakOnly: r.IntN(2) == 0}
		p.Baseline.None = r.IntN(3) == 0
		res, err := p.Evaluate(tr)
		if err != nil {
			continue
		}
		good++
		if !(res.Plates >= 0) || !(res.Asymmetry > 0) || math.IsInf(res.Plates, 0) {
			t.Fatalf("trace %d, kind %d: plates %v, asymmetry %v without an error", i, kind, res.Plates, res.Asymmetry)
		}
		if res.Page().HTML() == "" || strings.Contains(res.Page().SVG(), "NaN") {
			t.Fatalf("trace %d, kind %d cannot be shown", i, kind)
		}
	}
	if good < 300 {
		t.Errorf("only %d traces were evaluated", good)
	}
}

func TestGapIsSeen(t *testing.T) {
	var x, y []float64
	for i := range 4001 {
		if v := 1.2 * float64(i); v < 2450 || v > 2500 {
			x, y = append(x, v), append(y, gaussian(v))
		}
	}
	tr, err := trace.Make("UV", "mAU", trace.Time, x, y)
	if err != nil {
		t.Fatal(err)
	}
	if r := evaluate(t, test04(), tr); !warned(r, "Samples are missing") {
		t.Errorf("warnings %v", r.Warnings)
	}
}

func TestSampleTakesPlates(t *testing.T) {
	// Doubling the sample quadruples what it takes. The loss at 1600 plates and
	// 0.95 column volumes, computed: 1.5 % at 1 %, 5.6 % at 2 %, 27 % at 5 %.
	for _, tc := range []struct{ share, lost float64 }{{0.01, 1.5}, {0.02, 5.6}, {0.05, 27}} {
		x := 1600.0 / 12 * math.Pow(tc.share/0.95, 2) // of the variance without the sample
		seen := 1600 / (1 + x)
		r := PulseResult{Pulse: Pulse{SampleVolume: Volume(tc.share)}, volume: 1, RetentionVolume: 0.95, Plates: seen, ColumnVolumes: 0.95, Velocity: 25 * CentimetrePerHour}
		r.doubtTest()
		want := fmt.Sprintf("takes %.2g %% of the plates", tc.lost)
		if tc.lost > 5 != warned(r, want) {
			t.Errorf("%v %%: warnings %v, want %q only above 5 %%", 100*tc.share, r.Warnings, want)
		}
	}
}

func TestVerdict(t *testing.T) {
	tr := of(t, 4001, 1.2, gaussian)
	p := test04()
	if r := evaluate(t, p, tr); r.Verdict != NotChecked || !strings.Contains(r.String(), "No verdict") || !strings.Contains(r.String(), "plates per metre (no limit given)") {
		t.Errorf("without limits: %v\n%v", r.Verdict, r)
	}
	p.Limits = CommonPractice()
	r := evaluate(t, p, tr)
	if r.Verdict != Meets || !strings.Contains(r.String(), "symmetry factor at 5 % (no limit given)") {
		t.Errorf("within limits: %v\n%v", r.Verdict, r)
	}
	p.Limits.PlatesPerMetre = AtLeast("99999")
	if r = evaluate(t, p, tr); r.Verdict != DoesNotMeet || !strings.Contains(r.String(), "After a failed test") {
		t.Errorf("one limit missed: %v\n%v", r.Verdict, r)
	}
	// Not met at the end stays not met, whatever else was met.
	p.Limits = Limits{PlatesPerMetre: AtLeast("100"), SymmetryFactor: AtMost("0.5")}
	if r = evaluate(t, p, tr); r.Verdict != DoesNotMeet {
		t.Errorf("last limit missed: %v", r.Verdict)
	}
}

func TestVerdictNearTheLimit(t *testing.T) {
	r := demo(t)
	c := newCheck("plates per metre", 4001, 3997, 4005, "", AtLeast("4000"))
	if !c.Close || c.Outcome != Meets {
		t.Errorf("4001, 3997 to 4005, against 4000: %+v", c)
	}
	for _, c := range r.Checks {
		if c.Close {
			t.Errorf("%s of the demonstration is far from its limit, but close: %+v", c.Quantity, c)
		}
	}
}

func TestNoPlatesAlone(t *testing.T) {
	r := demo(t)
	for name, text := range map[string]string{"String": r.String(), "Markdown": r.Page().Markdown(), "HTML": r.Page().HTML(), "picture": r.Figure().Description} {
		for _, with := range []string{"educed plate height", "symmetry", "cm/h"} {
			if !strings.Contains(text, with) {
				t.Errorf("%s shows plates without %q", name, with)
			}
		}
	}
	for _, name := range []string{"Plates", "PlatesExact", "PlatesMoments", "PlatesPerMetre", "HETP"} {
		c, err := r.Calculation(name)
		if err != nil {
			t.Fatal(err)
		}
		if s := c.String(); !strings.Contains(s, "reduced plate height 2.6, asymmetry 1.21, at 29.99 cm/h") {
			t.Errorf("%s is shown alone:\n%s", name, s)
		}
	}
}

func TestCalculation(t *testing.T) {
	r := demo(t)
	for _, c := range r.Calculations() {
		if c.Formula == "" || c.Numbers == "" || c.Source == "" || c.Symbols == "" {
			t.Errorf("%s is incomplete: %+v", c.Name, c)
		}
	}
	if _, err := r.Calculation("PlatesPerMeter"); err == nil || !strings.Contains(err.Error(), "PlatesPerMetre") {
		t.Errorf("misspelt: %v", err)
	}
	golden(t, "calculations.golden", r.Calculations().String())
}

func TestResultGolden(t *testing.T) {
	r := demo(t)
	golden(t, "demonstration.golden", r.String())
	golden(t, "column04-pulse.svg", r.Page().SVG())
}

// A result without numbers shows none.
func TestResultWithoutNumbers(t *testing.T) {
	r, err := test04().Evaluate(of(t, 100, 1, func(float64) float64 { return 5 }))
	if err == nil || r.Refusal != err {
		t.Fatalf("refusal %v, error %v", r.Refusal, err)
	}
	for _, r := range []PulseResult{r, {}} {
		for _, s := range []string{r.String(), r.Page().HTML(), r.Page().Markdown()} {
			if !strings.Contains(s, "No result:") || strings.Contains(s, "plates") || strings.Contains(s, "<svg") {
				t.Errorf("shows %s", s)
			}
		}
		if r.Page().SVG() != "" {
			t.Error("a picture of nothing")
		}
	}
}

func TestRefusals(t *testing.T) {
	tr := of(t, 4001, 1.2, gaussian)
	noise := rand.New(rand.NewPCG(1, 1))
	var b strings.Builder
	for _, tc := range []struct {
		name   string
		change func(p *Pulse)
		tr     trace.Trace
	}{
		{"no column", func(p *Pulse) { p.Column = packing.Column{} }, tr},
		{"diameter of 30 m", func(p *Pulse) { p.Column.InnerDiameter = 30 }, tr},
		{"no bed height", func(p *Pulse) { p.BedHeight = 0 }, tr},
		{"no flow", func(p *Pulse) { p.Flow = 0 }, tr},
		{"no bead", func(p *Pulse) { p.MeanBead = 0 }, tr},
		{"bead of 90 m", func(p *Pulse) { p.MeanBead = 90 }, tr},
		{"sample of a column volume", func(p *Pulse) { p.SampleVolume *= 100 }, tr},
		{"limits the wrong way round", func(p *Pulse) { p.Limits.Asymmetry = Between("1.50", "0.80") }, tr},
		{"no trace", func(p *Pulse) {}, trace.Trace{}},
		{"a constant", func(p *Pulse) {}, of(t, 100, 1, func(float64) float64 { return 5 })},
		{"a ramp", func(p *Pulse) {}, of(t, 100, 1, func(x float64) float64 { return x })},
		{"noise", func(p *Pulse) {}, of(t, 4000, 1, func(float64) float64 { return noise.NormFloat64() })},
		{"a front", func(p *Pulse) {}, of(t, 4000, 1, func(x float64) float64 { return 1 / (1 + math.Exp((2000-x)/50)) })},
		{"tail not recorded", func(p *Pulse) {}, of(t, 2080, 1.2, gaussian)},
		{"one sample a peak", func(p *Pulse) {}, of(t, 50, 240, gaussian)},
		{"search where nothing is", func(p *Pulse) { p.Search = trace.Times(2*Hour, 3*Hour) }, tr},
		{"search on the wrong axis", func(p *Pulse) { p.Search = trace.Volumes(1*Litre, 2*Litre) }, tr},
		{"even smoothing", func(p *Pulse) { p.Smoothing.Window = 30 }, tr},
		{"moments outside the trace", func(p *Pulse) { p.MomentRange = trace.Times(0, 5*Hour) }, tr},
	} {
		p := test04()
		tc.change(&p)
		_, err := p.Evaluate(tc.tr)
		if err == nil {
			t.Errorf("%s was accepted", tc.name)
		}
		fmt.Fprintf(&b, "%s\n    %v\n", tc.name, err)
	}
	golden(t, "refusals.golden", b.String())
}

// golden compares text with a file in testdata; UPDATE_GOLDEN=1 rewrites it.
func golden(t *testing.T, file, got string) {
	t.Helper()
	path := filepath.Join("testdata", file)
	if os.Getenv("UPDATE_GOLDEN") == "1" {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs; UPDATE_GOLDEN=1 rewrites it\n--- got\n%s\n--- want\n%s", path, got, want)
	}
}

// What stands behind the peak is smoothed only if it may reach a crossing; that
// changes no smoothed value.
func TestQuietBehind(t *testing.T) {
	p, _ := bench10k(t)
	for _, tc := range []struct {
		plateau float64 // behind the peak of height 1
		window  int
		head    bool // the trace is smoothed in part
		near    bool // and kept in part
	}{
		{0, 31, true, true}, {0.015, 31, true, true}, {0.03, 31, false, true}, {0.08, 31, false, false},
		{0.021, 601, false, false}, // low beside the peak until that is smoothed
	} {
		tr := of(t, 10_000, 0.15, func(x float64) float64 {
			d := (x - 200) / 6
			y := math.Exp(-d*d/2) + 1e-4*math.Sin(7*x)
			if x > 600 && x < 900 {
				y += tc.plateau
			}
			return y
		})
		p.Baseline.Before, p.Smoothing.Window = trace.Times(0, 100), tc.window
		r := evaluate(t, p, tr)
		if near := r.calm.Len() < tr.Len(); near != tc.near {
			t.Errorf("plateau of %v: %d points kept of %d", tc.plateau, r.calm.Len(), tr.Len())
		}
		if tc.near {
			head, limit := r.quietBehind(r.calm.Span())
			if some := limit < lowestCrossing*r.Height; some != tc.head || head.Len() >= tr.Len() {
				t.Errorf("plateau of %v: limit %v for a height of %v, %d points to smooth of %d", tc.plateau, limit, r.Height, head.Len(), tr.Len())
			}
		}
		net, err := r.net()
		if err != nil {
			t.Fatal(err)
		}
		if net, err = net.Within(r.calm.Span()); err != nil || !slices.Equal(net.Values(), r.calm.Values()) {
			t.Errorf("plateau of %v: smoothed values are not those of the whole trace: %v", tc.plateau, err)
		}
	}
}

// By hand: the integral of |15u²/4 + 3u/2 - 3/4| over -1 … 1 is 2.176. The
// coefficients are what single points of height 1 become.
func TestMostRaised(t *testing.T) {
	const n = 401
	x, sum := make([]float64, n), 0.0
	for i := range x {
		x[i] = float64(i)
	}
	for i := range x {
		y := make([]float64, n)
		y[i] = 1
		tr, err := trace.Make("one", "", trace.Time, x, y)
		if err != nil {
			t.Fatal(err)
		}
		calm, err := tr.Smoothed(n)
		if err != nil {
			t.Fatal(err)
		}
		sum += math.Abs(value(&calm, n-1))
	}
	if !(sum > 2.15 && sum < mostRaised) {
		t.Errorf("at the end of a window of %d points, coefficients have sizes of %v", n, sum)
	}
}
