package bed_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/fit"
	. "github.com/evenbed/evenbed/packing/units"
)

func estimated(t testing.TB, e bed.Estimation) bed.EstimationResult {
	t.Helper()
	r, err := e.Fit()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// estimation04 is that of the recorded experiments in both columns.
func estimation04(t testing.TB) bed.Estimation {
	t.Helper()
	return bed.Estimation{Label: "Marram", Curves: []bed.Curve{measured(t, experiment04(t)), measured(t, experiment11(t))}, MeanBead: 90 * Micrometre, SettledVoid: 0.40}
}

// TestEstimationClean: without noise the parameters come out as they were put in,
// for every law, with one bed and with two.
func TestEstimationClean(t *testing.T) {
	for _, s := range scatteredBeds() {
		curves, critical := s.clean(t)
		f := estimated(t, s.estimation(curves)).Best
		truth := append([]float64{float64(trueBead), trueFriction}, s.params...)
		for i, p := range f.Parameters {
			if math.Abs(p.Value/truth[i]-1) > 1e-5 {
				t.Errorf("%s: %s %v, put in %v", s.name, p.Name, p.Value, truth[i])
			}
		}
		for i, c := range f.Critical {
			if math.Abs(c.Velocity.In(critical[i])-1) > 1e-5 || !c.Determined {
				t.Errorf("%s: critical velocity %v, put in %v, %s", s.name, c.Velocity, critical[i], c.Reason)
			}
		}
	}
}

// TestEstimationChooses: with noise the law that was put in is the best or cannot
// be told from it, and what was put in lies near.
func TestEstimationChooses(t *testing.T) {
	for number, s := range scatteredBeds() {
		curves, _ := s.clean(t)
		e := s.estimation(noisy(curves, rand.New(rand.NewPCG(uint64(number), 9)), 0.3))
		e.Laws = nil
		r := estimated(t, e)
		if len(r.Fits) != 3 {
			t.Fatalf("%d fits", len(r.Fits))
		}
		own := r.Fits[number%3]
		if own.AICc-r.Best.AICc > 6 {
			t.Errorf("%s: AICc %.1f above that of %v", s.name, own.AICc-r.Best.AICc, r.Best.Bed.Law)
		}
		if sd := own.Fit.ResidualSD; sd < 0.15 || sd > 0.5 {
			t.Errorf("%s: residual standard deviation %.3g, made 0.3", s.name, sd)
		}
	}
}

// TestEstimationRecorded: the records of two columns give the medium that they
// were made of.
func TestEstimationRecorded(t *testing.T) {
	r := estimated(t, estimation04(t))
	want := []float64{90e-6, 0.1, 5e3, 0.08}
	for i, p := range r.Best.Parameters {
		// The records round, and the empty column is read between its points: a few standard errors.
		if p.Held || math.Abs(p.Value-want[i]) > 6*p.StdErr || math.Abs(p.Value/want[i]-1) > 0.02 {
			t.Errorf("%s: %v ± %v, made %v", p.Name, p.Value, p.StdErr, want[i])
		}
	}
	if _, ok := r.Best.Bed.Law.(bed.PowerSolids); !ok {
		t.Errorf("best law %v", r.Best.Bed.Law)
	}
	if c := r.Best.Critical[0]; !c.Determined || math.Abs(c.Velocity.In(CentimetrePerHour)-981.5) > 15 {
		t.Errorf("critical velocity %v, %s; made 981.5 cm/h", c.Velocity, c.Reason)
	}
	// That of the narrow column is determined by the law, which was followed to half
	// of the critical state in the wide one.
	if c := r.Best.Critical[1]; !c.Determined || math.Abs(c.Velocity.In(CentimetrePerHour)-1390) > 25 {
		t.Errorf("critical velocity of the narrow column: %v, %q; made 1390 cm/h", c.Velocity, c.Reason)
	}
	alone := estimation04(t)
	alone.Curves, alone.WallFriction = alone.Curves[1:], 0.1
	if c := estimated(t, alone).Best.Critical[0]; c.Determined || !strings.Contains(c.Reason, "more than 2 times the highest velocity measured, here 500.3 cm/h") {
		t.Errorf("critical velocity of the narrow column alone: %v, %q", c.Determined, c.Reason)
	}
	contains(t, r.Page().HTML(), "Marram", "The laws compared", "does not fit", "power of solids", "Best law: power of solids", "wall friction", "Correlation", "Critical velocity", "<svg", "settled void of 0.4, held")
	contains(t, r.Page().Markdown(), "The laws compared", "wall friction")
	contains(t, r.Best.Page().HTML(), "Parameters for power of solids", "stress pa")
	contains(t, r.Page().SVG(), "<svg", "power of solids")
	contains(t, bed.EstimationResult{}.Page().HTML(), "No result:")
	contains(t, bed.LawFit{}.Page().HTML(), "No result:")
	contains(t, bed.EstimationResult{}.Figure().SVG(), "<svg")
}

// TestOneDiameter: from one bed, or from beds of one proportion, friction is held,
// and the result says so. By the invariance of the balance such beds give the
// same pressure at the same u·L0, whatever the friction.
func TestOneDiameter(t *testing.T) {
	e := estimation04(t)
	e.Curves, e.WallFriction = e.Curves[:1], 0.1
	r := estimated(t, e)
	if p := r.Best.Parameters[1]; p.Name != "wall friction" || !p.Held || p.Value != 0.1 || !math.IsNaN(p.StdErr) {
		t.Errorf("%+v", p)
	}
	contains(t, r.String(), "cannot be told from one bed: it is held at 0.1 ± 0.082, which is in the errors of all other diameters", "held")

	s := scatteredBeds()[2]
	s.beds = []bed.Size{{InnerDiameter: 10 * Centimetre, SettledHeight: 20 * Centimetre}, {InnerDiameter: 5 * Centimetre, SettledHeight: 10 * Centimetre}}
	curves, _ := s.clean(t)
	for i, p := range curves[0].Points {
		if q := curves[1].Points[i]; math.Abs(q.Pressure.In(p.Pressure)-1) > 1e-7 || math.Abs(q.Velocity.In(p.Velocity)-2) > 1e-7 {
			t.Errorf("the same proportion: %v, %v", p, q)
		}
	}
	r = estimated(t, bed.Estimation{Curves: curves, MeanBead: 90 * Micrometre, SettledVoid: 0.40, WallFriction: trueFriction})
	contains(t, r.String(), "alike in settled height over diameter (2 to 2): it is held at 0.12")
	// Held at another value the same data are explained as well: it cannot be told.
	other := estimated(t, bed.Estimation{Curves: curves, MeanBead: 90 * Micrometre, SettledVoid: 0.40})
	if other.Best.HeightSD > 0.5*Millimetre || other.Best.PressureSD > 0.01 {
		t.Errorf("without friction: off by %v and %v", other.Best.PressureSD, other.Best.HeightSD)
	}
}

// TestUndetermined: readings at velocities far below the critical one do not
// determine it, and neither do those of a bed that hardly gives way.
func TestUndetermined(t *testing.T) {
	determined := 0
	const runs = 60
	for number, s := range scatteredBeds()[:3] {
		for _, tc := range []struct {
			reach float64
			want  bool
		}{{0.1, false}, {0.8, true}} {
			s := s
			s.reach = tc.reach
			curves, critical := s.clean(t)
			for seed := range uint64(runs / 3) {
				f := estimated(t, s.estimation(noisy(curves, rand.New(rand.NewPCG(uint64(number), seed)), 1))).Fits[0]
				c := f.Critical[0]
				if c.Determined != tc.want {
					t.Errorf("%s up to %v of the critical velocity, seed %d: determined %v (%v, %v to %v; true %v) %s", s.name, tc.reach, seed, c.Determined,
						c.Velocity, c.Low, c.High, critical[0], c.Reason)
				}
				if c.Determined {
					determined++
				} else if c.Reason == "" {
					t.Errorf("%s: no reason", s.name)
				}
			}
		}
	}
	if determined != runs {
		t.Errorf("%d of %d determined", determined, runs)
	}
	// A bed of hard beads: heights and pressures show no compression at all.
	stiff := bed.Compressible{Law: bed.LinearStrain{Modulus: 1e10}, MeanBead: 90 * Micrometre, SettledVoid: 0.40, SettledHeight: 20 * Centimetre,
		InnerDiameter: 30 * Centimetre, Viscosity: 1 * MillipascalSecond}
	curve, err := stiff.Curve(CentimetrePerHour.Each(100, 200, 300, 400, 500, 600, 700, 800))
	if err != nil {
		t.Fatal(err)
	}
	for seed := range uint64(20) {
		r := estimated(t, bed.Estimation{Curves: noisy([]bed.Curve{curve}, rand.New(rand.NewPCG(seed, 3)), 1), MeanBead: 90 * Micrometre, SettledVoid: 0.40, Laws: []bed.Law{bed.LinearStrain{}}})
		if c := r.Fits[0].Critical[0]; c.Determined {
			t.Errorf("hard beads, seed %d: critical velocity %v, %v to %v", seed, c.Velocity, c.Low, c.High)
		}
	}
}

// TestEstimationLaws: a liquid of twice the viscosity at half the velocities, and
// beds in another order, give the same medium; readings known half as well give
// the same, since only proportions count.
func TestEstimationLaws(t *testing.T) {
	e := estimation04(t)
	e.Laws = []bed.Law{bed.PowerSolids{}}
	want := estimated(t, e).Best
	turned := e
	turned.Curves = []bed.Curve{e.Curves[1], e.Curves[0]}
	thick := e
	thick.Curves = nil
	for _, c := range e.Curves {
		c, err := c.WithViscosity(2 * MillipascalSecond)
		if err != nil {
			t.Fatal(err)
		}
		thick.Curves = append(thick.Curves, c)
	}
	started := e
	started.Laws = []bed.Law{bed.PowerSolids{Stress0: 9 * Kilopascal, Exponent: 0.1}}
	for name, other := range map[string]bed.Estimation{"turned": turned, "thick": thick, "started elsewhere": started} {
		got := estimated(t, other).Best
		for i, p := range got.Parameters {
			if w := want.Parameters[i]; math.Abs(p.Value/w.Value-1) > 1e-3*w.StdErr/w.Value+1e-5 || math.Abs(p.StdErr/w.StdErr-1) > 1e-2 {
				t.Errorf("%s: %s %v ± %v; %v ± %v", name, p.Name, p.Value, p.StdErr, w.Value, w.StdErr)
			}
		}
	}
	c, err := estimated(t, thick).Best.CriticalAt(bed.Size{InnerDiameter: 30 * Centimetre, SettledHeight: 20.16 * Centimetre}, 0)
	if err != nil || math.Abs(c.Velocity.In(want.Critical[0].Velocity)-0.5) > 1e-3 || !c.Determined {
		t.Errorf("at twice the viscosity %v, %v; once %v", c, err, want.Critical[0].Velocity)
	}
	fixed := e
	fixed.FixBead, fixed.FixFriction, fixed.WallFriction = true, true, 0.1
	f := estimated(t, fixed).Best
	if f.Parameters[0].Value != 90e-6 && math.Abs(f.Parameters[0].Value/90e-6-1) > 1e-12 || !f.Parameters[0].Held || !f.Parameters[1].Held {
		t.Errorf("held: %+v", f.Parameters[:2])
	}
	if !(f.Parameters[2].StdErr < want.Parameters[2].StdErr) {
		t.Errorf("with two parameters held the stress is known to %v, with none to %v", f.Parameters[2].StdErr, want.Parameters[2].StdErr)
	}
	wide := e
	wide.Confidence = 0.99
	w := estimated(t, wide).Best
	ratio := fit.StudentT(0.99, float64(w.Fit.DegreesOfFreedom)) / fit.StudentT(0.95, float64(w.Fit.DegreesOfFreedom))
	if p, q := w.Parameters[2], want.Parameters[2]; math.Abs(math.Log(p.High/p.Low)/math.Log(q.High/q.Low)/ratio-1) > 1e-6 {
		t.Errorf("99 %%: %v to %v; 95 %%: %v to %v", p.Low, p.High, q.Low, q.High)
	}
}

func TestEstimationRefused(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(e *bed.Estimation)
		want   string
	}{
		{"nothing", func(e *bed.Estimation) { e.Curves = nil }, "curves: there are none"},
		{"no height", func(e *bed.Estimation) { e.Curves[0].SettledHeight = 0 }, "settled height: it was not given"},
		{"no diameter", func(e *bed.Estimation) { e.Curves[1].InnerDiameter = 0 }, "inner diameter: it was not given"},
		{"no viscosity", func(e *bed.Estimation) { e.Curves[1].Viscosity = 0 }, "viscosity: it was not given"},
		{"predicted", func(e *bed.Estimation) { e.Curves[0].Predicted = "from somewhere" }, "predicted, not measured"},
		{"order", func(e *bed.Estimation) { e.Curves[0].Points[3].Velocity = 0 }, "does not rise"},
		{"pressure", func(e *bed.Estimation) { e.Curves[0].Points[3].Pressure = 0 }, "there is no pressure"},
		{"factor", func(e *bed.Estimation) { e.Curves[0].Points[3].CompressionFactor = 0.5 }, "the compression factor is 0.5"},
		{"nan", func(e *bed.Estimation) { e.Curves[0].Points[3].Pressure = Pressure(math.NaN()) }, "not a number"},
		{"few", func(e *bed.Estimation) { e.Curves[0].Points = e.Curves[0].Points[:2] }, "2 points with flow"},
		{"errors", func(e *bed.Estimation) { e.Curves[0].StdErr = e.Curves[0].StdErr[:2] }, "2 standard errors"},
		{"bead", func(e *bed.Estimation) { e.MeanBead = 90 }, "mean bead"},
		{"void", func(e *bed.Estimation) { e.SettledVoid = 0 }, "settled void"},
		{"confidence", func(e *bed.Estimation) { e.Confidence = 95 }, "0.95 is usual"},
		{"reach", func(e *bed.Estimation) { e.Reach = 0.5 }, "at least 1"},
		{"friction", func(e *bed.Estimation) { e.WallFriction = -1 }, "wall friction"},
		{"error", func(e *bed.Estimation) { e.PressureError = -1 }, "error of a reading"},
		{"half a law", func(e *bed.Estimation) { e.Laws = []bed.Law{bed.PowerSolids{Stress0: 5 * Kilopascal}} }, "exponent 0"},
		{"law", func(e *bed.Estimation) { e.Laws = []bed.Law{nil} }, "its parameters are not known here"},
	} {
		e := estimation04(t)
		tc.change(&e)
		_, err := e.Fit()
		if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v; want %q", tc.name, err, tc.want)
		}
	}
	if _, err := (bed.LawFit{}).CriticalAt(bed.Size{}, 0); err == nil {
		t.Error("a LawFit that nobody fitted has a critical velocity")
	}
}
