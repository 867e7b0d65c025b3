package efficiency

import (
	"math"
	"os"
	"strings"
	"testing"

	. "github.com/evenbed/evenbed/packing/units"
)

// sixTests are the six points that the reference values below are of; cm and
// cm/h.
func sixTests() PlateHeightTests {
	return PlateHeightTests{
		Velocity:    CentimetrePerHour.Each(30, 60, 100, 150, 250, 500),
		PlateHeight: Centimetre.Each(0.0387, 0.0316, 0.0311, 0.0325, 0.0368, 0.0511),
		Tracer:      Tracer{Name: "acetone 1 %", Kind: SmallNeutral}, MeanBead: 90 * Micrometre,
	}
}

func mustCurve(t *testing.T, tests PlateHeightTests) PlateHeightResult {
	t.Helper()
	r, err := tests.Fit()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestVanDeemter(t *testing.T) {
	r := mustCurve(t, sixTests())
	cm, cmh := float64(Centimetre), float64(CentimetrePerHour)
	need := PlateHeightNeed{BedHeight: 20 * Centimetre, PlateHeight: 0.04 * Centimetre}
	run, err := r.Fastest(need)
	if err != nil {
		t.Fatal(err)
	}
	h, _, high, err := r.PlateHeight(300 * CentimetrePerHour)
	if err != nil {
		t.Fatal(err)
	}
	// All by numpy.linalg.lstsq on the columns 1, 1/u, u, errors from
	// RSS/3 (XᵀX)⁻¹ and by hand-written derivatives, quantile and largest
	// velocity by scipy.stats.t and scipy.optimize.brentq (SciPy 1.17.1).
	for _, tc := range []struct {
		name      string
		got, want float64
	}{
		{"A", r.A.Value / cm, 1.97863497e-2}, {"its error", r.A.StdErr / cm, 3.49214866e-4},
		{"B", r.B.Value / cm / cmh, 5.10261800e-1}, {"its error", r.B.StdErr / cm / cmh, 1.47874712e-2},
		{"C", r.C.Value / cm * cmh, 6.05530988e-5}, {"its error", r.C.StdErr / cm * cmh, 9.85831416e-7},
		{"RSS", r.Fit.RSS / cm / cm, 2.17097793e-7},
		{"optimum", r.Optimum.In(CentimetrePerHour), 91.79696903}, {"its error", r.OptimumStdErr.In(CentimetrePerHour), 0.9540322642},
		{"least height", r.LeastPlateHeight.In(Centimetre), 0.03090353157}, {"its error", r.LeastPlateHeightStdErr.In(Centimetre), 1.500306920e-4},
		{"least reduced height", r.LeastReduced, 0.03090353157 / 0.009},
		{"curve at 300 cm/h", h.In(Centimetre), 0.03965315200}, {"its upper limit", high.In(Centimetre), 0.04011349221},
		{"largest velocity", run.Velocity.In(CentimetrePerHour), 297.955861669}, {"by the curve", run.ByCurve.In(CentimetrePerHour), 306.306298590},
		{"plates there, at least", run.PlatesLow, 500},
	} {
		if math.Abs(tc.got/tc.want-1) > 1e-7 {
			t.Errorf("%s is %.10g, want %.10g", tc.name, tc.got, tc.want)
		}
	}
	if len(r.Warnings) != 0 || len(r.AtZero) != 0 {
		t.Errorf("warnings %v", r.Warnings)
	}
	// Plates with a bed height are the same tests.
	byPlates := sixTests()
	byPlates.BedHeight = 20 * Centimetre
	for _, h := range byPlates.PlateHeight {
		byPlates.Plates = append(byPlates.Plates, float64(byPlates.BedHeight/h))
	}
	byPlates.PlateHeight = nil
	if p := mustCurve(t, byPlates); math.Abs(float64(p.Optimum/r.Optimum)-1) > 1e-12 {
		t.Errorf("by plates the optimum is %v", p.Optimum)
	}
}

// TestExactLaws: points on a curve give its constants back. Van Deemter with A
// 0.02 cm, B 0.5, C 6e-5 has its optimum at 91.28709 cm/h, 0.03095445 cm; Knox
// with 1, 2, 0.05 at ν 3.113341600, h 2.258252165 (both by hand and with
// scipy.optimize.brentq).
func TestExactLaws(t *testing.T) {
	tests := sixTests()
	for i, u := range tests.Velocity {
		v := u.In(CentimetrePerHour)
		tests.PlateHeight[i] = Centimetre.Times(0.02 + 0.5/v + 6e-5*v)
	}
	r := mustCurve(t, tests)
	if math.Abs(r.Optimum.In(CentimetrePerHour)-91.28709) > 1e-5 || math.Abs(r.LeastPlateHeight.In(Centimetre)-0.03095445) > 1e-8 {
		t.Errorf("optimum %v, least %v", r.Optimum.In(CentimetrePerHour), r.LeastPlateHeight.In(Centimetre))
	}
	knox := PlateHeightTests{Law: Knox, MeanBead: 90 * Micrometre, Void: 0.38, Diffusion: 1.2e-9 * SquareMetrePerSecond, Tracer: Tracer{Name: "acetone 1 %", Kind: SmallNeutral}}
	for _, nu := range []float64{1, 2, 5, 10, 30, 100} {
		// u = ν ε D/d
		knox.Velocity = append(knox.Velocity, Velocity(nu*0.38*1.2e-9/90e-6))
		knox.PlateHeight = append(knox.PlateHeight, knox.MeanBead.Times(math.Cbrt(nu)+2/nu+0.05*nu))
	}
	k := mustCurve(t, knox)
	for i, u := range []Uncertain{k.A, k.B, k.C} {
		if want := []float64{1, 2, 0.05}[i]; math.Abs(u.Value/want-1) > 1e-10 {
			t.Errorf("%c is %v", "ABC"[i], u)
		}
	}
	if math.Abs(k.ReducedVelocity(k.Optimum)-3.113341600) > 1e-8 || math.Abs(k.LeastReduced-2.258252165) > 1e-8 {
		t.Errorf("optimum at ν %v, h %v", k.ReducedVelocity(k.Optimum), k.LeastReduced)
	}
	// h 3.05 at ν 1, 2.854435 at 10, 9.661589 at 100 (by hand).
	for nu, want := range map[float64]float64{1: 3.05, 10: 2.854435, 100: 9.661589} {
		if h, _, _, err := k.PlateHeight(Velocity(nu * 0.38 * 1.2e-9 / 90e-6)); err != nil || math.Abs(h.In(90*Micrometre)-want) > 1e-6 {
			t.Errorf("h at ν %v is %v, want %v (%v)", nu, h.In(90*Micrometre), want, err)
		}
	}
	// 30 cm/h on 90 µm beads is ν 16.4 for a small tracer (by hand: 8.33e-5 m/s
	// · 90e-6 m/(0.38 · 1.2e-9 m²/s) = 16.45).
	if nu := k.ReducedVelocity(30 * CentimetrePerHour); math.Abs(nu-16.45) > 0.01 {
		t.Errorf("ν at 30 cm/h is %v", nu)
	}
}

func TestPlateHeightWarnings(t *testing.T) {
	seen := func(r PlateHeightResult, want string) {
		t.Helper()
		for _, w := range r.Warnings {
			if strings.Contains(w.What, want) {
				return
			}
		}
		t.Errorf("no warning has %q: %v", want, r.Warnings)
	}
	// Rising straight from the start: no diffusion along the column.
	rising := sixTests()
	rising.PlateHeight = Millimetre.Each(0.15, 0.23, 0.28, 0.33, 0.42, 0.70)
	rising.Tracer = Tracer{}
	r := mustCurve(t, rising)
	seen(r, "B (diffusion along the column, seen at low velocity) rests at zero")
	seen(r, "No tracer is named")
	if !math.IsNaN(float64(r.Optimum)) || !math.IsNaN(r.B.StdErr) || r.AtZero[0] != "B" {
		t.Errorf("without B: optimum %v, %+v", r.Optimum, r.B)
	}
	flat := sixTests()
	flat.PlateHeight = Millimetre.Each(0.241, 0.238, 0.240, 0.243, 0.245, 0.262)
	flat.Diffusion, flat.Void = 1.2e-9*SquareMetrePerSecond, 0.38
	seen(mustCurve(t, flat), "the curve changes by no more than")
	repeats := sixTests()
	repeats.Velocity = append(repeats.Velocity, repeats.Velocity...)
	for _, h := range sixTests().PlateHeight {
		repeats.PlateHeight = append(repeats.PlateHeight, h*1.0001)
	}
	seen(mustCurve(t, repeats), "lie off the curve further than the repeats scatter")
	high := sixTests()
	high.MeanBead = 30 * Micrometre
	seen(mustCurve(t, high), "The least reduced plate height is 10")
	three := sixTests()
	three.Velocity, three.PlateHeight = three.Velocity[2:], three.PlateHeight[2:]
	seen(mustCurve(t, three), "Only 4 velocities")
	seen(mustCurve(t, three), "lies outside the tested range")
}

func TestFastest(t *testing.T) {
	r := mustCurve(t, sixTests())
	fast := func(need PlateHeightNeed) FastestRun {
		t.Helper()
		f, err := r.Fastest(need)
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	// 20 cm in 5 min is 240 cm/h, by hand; 20 cm/500 plates is 0.4 mm.
	f := fast(PlateHeightNeed{BedHeight: 20 * Centimetre, ResidenceTime: 5 * Minute, Plates: 500})
	if math.Abs(f.Velocity.In(CentimetrePerHour)-240) > 1e-9 || f.ByPlates < 297*CentimetrePerHour || math.Abs(f.Residence.In(Minute)-5) > 1e-12 {
		t.Errorf("bounded by the residence time: %+v", f.Velocity)
	}
	if f := fast(PlateHeightNeed{BedHeight: 20 * Centimetre, ResidenceTime: 3 * Minute, Plates: 500}); f.Velocity != f.ByPlates || f.Residence < 4*Minute {
		t.Errorf("bounded by the plates: %v, %v", f.Velocity, f.Residence)
	}
	if f := fast(PlateHeightNeed{BedHeight: 20 * Centimetre, Plates: 200}); !f.AtEdge || f.Velocity != 500*CentimetrePerHour || !strings.Contains(f.String(), "Not tested beyond") {
		t.Errorf("all velocities do: %v", f)
	}
	// A wider band allows less.
	sure := sixTests()
	sure.Confidence = 0.999
	if g, err := mustCurve(t, sure).Fastest(PlateHeightNeed{BedHeight: 20 * Centimetre, Plates: 500}); err != nil || g.ByPlates >= f.ByPlates || math.Abs(float64(g.ByCurve/f.ByCurve)-1) > 1e-12 {
		t.Errorf("with 99.9 %%: %v, %v", g.ByPlates, err)
	}
	for want, need := range map[string]PlateHeightNeed{
		"no tested velocity has":          {BedHeight: 20 * Centimetre, Plates: 700},
		"slower than the slowest test":    {BedHeight: 20 * Centimetre, Plates: 400, ResidenceTime: 60 * Minute},
		"which the residence time allows": {BedHeight: 20 * Centimetre, Plates: 620, ResidenceTime: 30 * Minute},
		"and not both":                    {BedHeight: 20 * Centimetre},
		"bed height":                      {Plates: 400},
		"below zero":                      {BedHeight: 20 * Centimetre, Plates: -4},
	} {
		if _, err := r.Fastest(need); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("the error %v does not say %q", err, want)
		}
	}
}

func TestPlateHeightRefusals(t *testing.T) {
	for want, change := range map[string]func(p *PlateHeightTests){
		"and not both":            func(p *PlateHeightTests) { p.Plates = []float64{400} },
		"6 velocities for 5":      func(p *PlateHeightTests) { p.PlateHeight = p.PlateHeight[:5] },
		"3 tests at 3 velocities": func(p *PlateHeightTests) { p.Velocity, p.PlateHeight = p.Velocity[:3], p.PlateHeight[:3] },
		"was the unit forgotten":  func(p *PlateHeightTests) { p.PlateHeight[2] = 0.3 },
		"velocity of test 2":      func(p *PlateHeightTests) { p.Velocity[1] = 0 },
		"the Knox law needs":      func(p *PlateHeightTests) { p.Law = Knox },
		"no bead has":             func(p *PlateHeightTests) { p.MeanBead = 90 },
		"a confidence of 95":      func(p *PlateHeightTests) { p.Confidence = 95 },
		"unknown law":             func(p *PlateHeightTests) { p.Law = 5 },
		"test 1 has 0 plates": func(p *PlateHeightTests) {
			p.PlateHeight, p.Plates, p.BedHeight = nil, make([]float64, 6), 20*Centimetre
		},
		"bed height": func(p *PlateHeightTests) { p.PlateHeight, p.Plates = nil, make([]float64, 6) },
	} {
		tests := sixTests()
		change(&tests)
		r, err := tests.Fit()
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(r.String(), want) {
			t.Errorf("the error %v does not say %q", err, want)
		}
	}
	var zero PlateHeightResult
	if zero.Page().SVG() != "" || !strings.Contains(zero.String(), "nothing has been fitted") || !strings.Contains(FastestRun{}.String(), "nothing has been worked out") {
		t.Error("empty results show something")
	}
}

func TestPlateHeightShows(t *testing.T) {
	tests := sixTests()
	tests.Velocity = append(tests.Velocity, CentimetrePerHour.Each(60, 250)...)
	tests.PlateHeight = append(tests.PlateHeight, Centimetre.Each(0.0322, 0.0375)...)
	r := mustCurve(t, tests)
	run, err := r.Fastest(PlateHeightNeed{BedHeight: 20 * Centimetre, ResidenceTime: 4 * Minute, Plates: 500})
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"Curve", "optimalvelocity", "LeastPlateHeight"} {
		if c, err := r.Calculation(name); err != nil || c.Formula == "" || c.Source == "" {
			t.Errorf("%s: %+v, %v", name, c, err)
		}
	}
	if _, err := r.Calculation("x"); err == nil || !strings.Contains(err.Error(), "Curve, OptimalVelocity, LeastPlateHeight") {
		t.Errorf("an unknown calculation: %v", err)
	}
	if file := os.Getenv("PICTURE"); file != "" {
		if err := os.WriteFile(file, []byte(r.Page().HTML()+run.Page().HTML()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []string{"optimal velocity, superficial", "Up to 297.1 cm/h: bounded by the plate height", "300.0", "knows nothing of pressure"} {
		if !strings.Contains(r.String()+run.String(), want) {
			t.Errorf("%q is not shown:\n%v\n%v", want, r, run)
		}
	}
	t.Log(r, run, r.Calculations(), run.Calculation())
}
