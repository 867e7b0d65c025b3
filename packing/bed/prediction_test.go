package bed_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/fit"
	"github.com/evenbed/evenbed/packing/internal/made"
	. "github.com/evenbed/evenbed/packing/units"
)

func predicted(t *testing.T, p bed.Prediction) bed.PredictionResult {
	t.Helper()
	r, err := p.Evaluate()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestPrediction: from the records of the two columns the curve of a third, which
// the program that made them knows.
func TestPrediction(t *testing.T) {
	f := estimated(t, estimation04(t)).Best
	size := bed.Size{InnerDiameter: 10 * Centimetre, SettledHeight: 15 * Centimetre}
	r := predicted(t, bed.Prediction{Fit: f, Size: size})
	truth := made.WalledBed{PowerBed: made.Marram, Friction: made.WallFriction, Diameter: 0.1}
	for i, p := range r.Curve.Points {
		height, drop := truth.At(float64(p.Velocity), 0.15)
		e := r.Curve.StdErr[i]
		if math.Abs(p.Pressure.In(Pressure(drop))-1) > 0.01 || math.Abs(p.CompressionFactor-0.15/height) > 1e-3 {
			t.Errorf("at %v: %v, %v; truth %v, %v", p.Velocity, p.CompressionFactor, p.Pressure, 0.15/height, drop)
		}
		if !(e.Pressure > 0 && e.Pressure < p.Pressure.Times(0.015) && e.CompressionFactor > 0 && e.CompressionFactor < 5e-3) {
			t.Errorf("at %v: errors %v", p.Velocity, e)
		}
	}
	// Column 04 was measured to 500 cm/h, a part of its critical velocity.
	if want := 500 / f.Critical[0].Velocity.In(CentimetrePerHour); math.Abs(r.Highest.In(r.Critical.Velocity)/want-1) > 0.002 {
		t.Errorf("highest %v of %v, by hand a part of %v", r.Highest, r.Critical.Velocity, want)
	}
	if r.Curve.Last().Velocity > r.Highest || r.Curve.Predicted != "from column 04 and column 11 by the law of power of solids" {
		t.Errorf("ends at %v, %q", r.Curve.Last().Velocity, r.Curve.Predicted)
	}
	contains(t, r.Page().HTML(), "Bed of 10 cm by 15 cm, predicted", "column 04 and column 11", "Critical velocity", "±", "<svg", "from pack to pack")
	contains(t, r.Page().Markdown(), "predicted")
	contains(t, r.Page().SVG(), "<svg")
	contains(t, bed.PredictionResult{}.Page().HTML(), "No result:")
	contains(t, bed.PredictionResult{}.Figure().SVG(), "<svg")

	// Twice the viscosity: the same pressure at half the velocity.
	thick := predicted(t, bed.Prediction{Fit: f, Size: size, Viscosity: 2 * MillipascalSecond})
	for i, p := range thick.Curve.Points {
		q := r.Curve.Points[i]
		if math.Abs(p.Velocity.In(q.Velocity)-0.5) > 1e-9 || math.Abs(p.Pressure.In(q.Pressure)-1) > 1e-7 || math.Abs(thick.Curve.StdErr[i].Pressure.In(r.Curve.StdErr[i].Pressure)-1) > 1e-4 {
			t.Errorf("twice the viscosity: %v, once %v", p, q)
		}
	}
}

// scatterAlone leaves out of all predictions what may be off in every reading alike. In
// the search only the proportions of the errors count.
func scatterAlone(e bed.Estimation) bed.Estimation {
	e.PressureError, e.HeightError = 1e-5*Percent, 0.5e-5*Millimetre
	return e
}

// TestPredictionErrors: over seeded data the predictions scatter by the standard
// errors that they carry, less the error of a reading.
func TestPredictionErrors(t *testing.T) {
	s := scatteredBeds()[5]
	curves, _ := s.clean(t)
	size := bed.Size{InnerDiameter: 10 * Centimetre, SettledHeight: 15 * Centimetre}
	velocity := CentimetrePerHour.Each(150, 300, 450)
	truth, err := s.bed(size).At(velocity[2])
	if err != nil {
		t.Fatal(err)
	}
	const runs = 120
	random := rand.New(rand.NewPCG(8, 8))
	var pressure, factor float64
	for range runs {
		r := predicted(t, bed.Prediction{Fit: estimated(t, scatterAlone(s.estimation(noisy(curves, random, 1)))).Best, Size: size, Velocities: velocity})
		p, e := r.Curve.Points[2], r.Curve.StdErr[2]
		pressure += math.Pow((p.Pressure-truth.Pressure).In(e.Pressure), 2) / runs
		factor += math.Pow((p.CompressionFactor-truth.CompressionFactor)/e.CompressionFactor, 2) / runs
	}
	// 120 squares of unit variance have a mean within 0.13 of 1; four of these.
	if math.Abs(pressure-1) > 0.55 || math.Abs(factor-1) > 0.55 {
		t.Errorf("mean squares over the squared standard errors: pressure %.3g, factor %.3g", pressure, factor)
	}
}

func TestPredictionRefused(t *testing.T) {
	two := estimated(t, estimation04(t)).Best
	e := estimation04(t)
	e.Curves = e.Curves[:1]
	one := estimated(t, e).Best
	wide := bed.Size{InnerDiameter: 100 * Centimetre, SettledHeight: 22.4 * Centimetre}
	for _, tc := range []struct {
		name string
		p    bed.Prediction
		want string
	}{
		{"nothing", bed.Prediction{}, "there is none"},
		{"wider", bed.Prediction{Fit: two, Size: wide}, "height over diameter 0.224: it was measured from 0.672 to 7.62; measure there, or set Extrapolate"},
		{"one bed", bed.Prediction{Fit: one, Size: wide}, "it was measured at 0.672 only"},
		{"no size", bed.Prediction{Fit: two}, "settled height"},
		{"order", bed.Prediction{Fit: two, Size: bed.Size{InnerDiameter: 0.1, SettledHeight: 0.15}, Velocities: CentimetrePerHour.Each(300, 200, 100)}, "does not rise"},
	} {
		if _, err := tc.p.Evaluate(); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v; want %q", tc.name, err, tc.want)
		}
	}
	var critical *bed.CriticalError
	if _, err := (bed.Prediction{Fit: two, Size: bed.Size{InnerDiameter: 0.1, SettledHeight: 0.15}, Velocities: CentimetrePerHour.Each(300, 900, 2500)}).Evaluate(); !errors.As(err, &critical) {
		t.Errorf("beyond the critical velocity: %v", err)
	}
	r := predicted(t, bed.Prediction{Fit: one, Size: wide, Extrapolate: true})
	contains(t, r.String(), "Doubts", "the support of the wall is extrapolated", "Friction at the wall was held at 0.0949, not measured: an error of ± 0.078")
	contains(t, r.Curve.String(), "Doubts", "the support of the wall is extrapolated") // and the curve alone takes them along
	// Another guess at the friction moves the critical velocity of another width
	// by far more than its interval says.
	if r.Critical.Determined {
		t.Errorf("the critical velocity of another width is determined with a friction that was guessed: %+v", r.Critical)
	}
	contains(t, r.String(), "The critical velocity is not determined:", "most of its error is friction at the wall, which was not measured (0.095 ± 0.078): measure a second column")
	e.FixFriction, e.WallFriction = true, 0.1
	if r = predicted(t, bed.Prediction{Fit: estimated(t, e).Best, Size: wide, Extrapolate: true}); !r.Critical.Determined {
		t.Errorf("friction that is known: %+v", r.Critical)
	}
	r = predicted(t, bed.Prediction{Fit: two, Size: wide, Extrapolate: true, Velocities: CentimetrePerHour.Each(200, 400, 600)})
	contains(t, r.String(), "above, the law is extrapolated")
}

// TestGuessedFriction: beds whose friction lies anywhere in the usual range, even
// in its logarithm, are measured in one column and predicted with a guess for
// others. The intervals must hold what the bed does there.
func TestGuessedFriction(t *testing.T) {
	s := scatteredBeds()[2]
	for _, tc := range []struct {
		name string
		size bed.Size
	}{
		{"wide", bed.Size{InnerDiameter: 60 * Centimetre, SettledHeight: 20 * Centimetre}},
		{"narrow", bed.Size{InnerDiameter: 10 * Centimetre, SettledHeight: 20 * Centimetre}},
	} {
		const runs = 150
		random := rand.New(rand.NewPCG(21, 5))
		in := map[string]int{}
		count := func(name string, truth, value, err, t float64) {
			if math.Abs(value-truth) <= t*err {
				in[name]++
			}
		}
		velocity := CentimetrePerHour.Each(100, 200, 300)
		for range runs {
			friction := 0.03 * math.Pow(10, random.Float64())
			var curves []bed.Curve
			b := s.bed(s.beds[0])
			b.WallFriction = friction
			c, err := b.Curve(CentimetrePerHour.Each(50, 100, 150, 200, 250, 300, 350, 400))
			if err != nil {
				t.Fatal(err)
			}
			curves = noisy([]bed.Curve{c}, random, 1)
			truth := b.In(tc.size)
			critical, err := truth.CriticalVelocity()
			if err != nil {
				t.Fatal(err)
			}
			last, err := truth.At(velocity[2])
			if err != nil {
				t.Fatal(err)
			}
			e := scatterAlone(s.estimation(curves))
			e.WallFriction = 0.095 // the middle of the range, √(0.03·0.3)
			guessed := predicted(t, bed.Prediction{Fit: estimated(t, e).Best, Size: tc.size, Velocities: velocity, Extrapolate: true})
			e.FixFriction = true
			known := predicted(t, bed.Prediction{Fit: estimated(t, e).Best, Size: tc.size, Velocities: velocity, Extrapolate: true})
			for name, r := range map[string]bed.PredictionResult{"guessed": guessed, "taken as known": known} {
				q := fit.StudentT(0.95, float64(r.Curve.Freedom))
				count(name+" pressure", float64(last.Pressure), float64(r.Curve.Points[2].Pressure), float64(r.Curve.StdErr[2].Pressure), q)
				count(name+" factor", last.CompressionFactor, r.Curve.Points[2].CompressionFactor, r.Curve.StdErr[2].CompressionFactor, q)
				if r.Critical.Low <= critical && critical <= r.Critical.High {
					in[name+" critical velocity"]++
				}
			}
		}
		if n := in["taken as known pressure"]; n > 100 {
			t.Errorf("%s: without the error of the guess %d intervals of the pressure hold the truth: the friction does not matter here, and nothing is tested", tc.name, n)
		}
		for _, what := range []string{" pressure", " factor", " critical velocity"} {
			// 150 intervals of 95 % hold 142.5 ± 2.7; three of these less.
			if n := in["guessed"+what]; n < 134 {
				t.Errorf("%s: of %d intervals of the%s %d hold the truth", tc.name, runs, what, n)
			}
		}
	}
}

// TestFrictionError: where the beds have the proportions of the one that was
// measured, a guess does not matter, since the other parameters make up for it.
func TestFrictionError(t *testing.T) {
	s := scatteredBeds()[2]
	curves, _ := s.clean(t)
	curves = noisy(curves, rand.New(rand.NewPCG(3, 3)), 1)
	at := func(size bed.Size, fix bool, err Fraction) (pressure, critical float64, r bed.PredictionResult) {
		e := scatterAlone(s.estimation(curves))
		e.FixFriction, e.FrictionError = fix, err
		r = predicted(t, bed.Prediction{Fit: estimated(t, e).Best, Size: size, Velocities: CentimetrePerHour.Each(100, 200, 300), Extrapolate: true})
		return float64(r.Curve.StdErr[2].Pressure), float64(r.Critical.StdErr), r
	}
	same, wide := s.beds[0], bed.Size{InnerDiameter: 60 * Centimetre, SettledHeight: 20 * Centimetre}
	known, knownCritical, _ := at(same, true, 0)
	guessed, guessedCritical, _ := at(same, false, 0)
	if guessed < known || guessed > 1.15*known || guessedCritical < knownCritical || guessedCritical > 1.15*knownCritical {
		t.Errorf("the bed that was measured: errors %v and %v with a guess, %v and %v without", guessed, guessedCritical, known, knownCritical)
	}
	// Variances add, and the part of the friction goes with its error.
	known, _, _ = at(wide, true, 0)
	ten, _, _ := at(wide, true, 10*Percent)
	thirty, _, r := at(wide, false, 30*Percent)
	if a, b := ten*ten-known*known, thirty*thirty-known*known; !(a > 0) || math.Abs(b/a-9) > 1e-6 {
		t.Errorf("squares of the errors less that without: %v with 10 %%, %v with 30 %%, want 9 times as much", a, b)
	}
	contains(t, r.String(), "held at 0.12, not measured: an error of ± 0.036 of it is in the errors here")
	e := s.estimation(curves)
	// By hand: (10-0.1)/(2·2.302585) - 2·(3.162278-0.316228)/2.302585 + 1 = 0.6777,
	// and 0.12·√0.6777 = 0.0988.
	contains(t, estimated(t, e).String(), "friction at the wall of 0.12 ± 0.099, not measured: 0.03 to 0.3, the usual range")
	e.FrictionError = -0.1
	if _, err := e.Fit(); err == nil || !strings.Contains(err.Error(), "between 0 and 200 %") {
		t.Errorf("a negative error: %v", err)
	}
}
