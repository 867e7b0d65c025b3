package bed_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/plan"
	. "github.com/evenbed/evenbed/packing/units"
)

func TestScaleUp(t *testing.T) {
	b := soft(bed.LinearStrain{Modulus: 4 * Bar})
	b.Label, b.WallFriction = "Marram", 0.1
	r, err := bed.ScaleUp{Bed: b, Part: 0.75, MaxPressure: 0.5 * Bar,
		Sizes: []bed.Size{{2.6 * Centimetre, 20 * Centimetre}, {20 * Centimetre, 20 * Centimetre}, {1 * Metre, 20 * Centimetre}}}.Evaluate()
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{1328.9694, 767.67312, 707.11271} {
		near(t, "critical", r.Beds[i].Critical.In(CentimetrePerHour), want, 1e-7, "critical_velocity_model.csv, SciPy, eight digits")
		s := r.Beds[i].Allowed
		if s.Pressure > 0.5*Bar*(1+1e-9) || s.Velocity > r.Beds[i].Critical.Times(0.75*(1+1e-12)) {
			t.Errorf("%v: allowed %v with %v", r.Beds[i].Size, s.Velocity, s.Pressure)
		}
	}
	near(t, "by pressure", float64(r.Beds[0].Allowed.Pressure), 0.5e5, 1e-9, "the limit")
	if r.Beds[0].By != "pressure limit" {
		t.Errorf("the narrow column is limited by %q", r.Beds[0].By)
	}
	if r.Beds[1].Allowed.Velocity <= r.Beds[2].Allowed.Velocity {
		t.Error("a wide column allows more")
	}
	contains(t, r.Page().HTML(), "Sizes, Marram", "1329", "pressure limit", "768", "707", "<svg", "rising load only")
	contains(t, r.Page().SVG(), "2.6 cm by 20 cm", "limit of the bed")
	none, err := bed.ScaleUp{Bed: b, Sizes: []bed.Size{{0.3, 0.2}}}.Evaluate()
	if err != nil {
		t.Fatal(err)
	}
	contains(t, none.Page().Markdown(), "no Part given", "no MaxPressure given", "no limit below critical")
	for _, tc := range []struct {
		s    bed.ScaleUp
		want string
	}{
		{bed.ScaleUp{Bed: b}, "sizes: there are none"},
		{bed.ScaleUp{Bed: b, Sizes: []bed.Size{{0.3, 0.2}}, Part: 75}, "part 75"},
		{bed.ScaleUp{Bed: b, Sizes: []bed.Size{{0.3, 0.2}}, MaxPressure: -1}, "maximum pressure"},
		{bed.ScaleUp{Bed: b, Sizes: []bed.Size{{30, 20}}}, "30 m by 20 m: Marram: settled height 20 m"},
	} {
		if r, err := tc.s.Evaluate(); err == nil || !strings.Contains(err.Error(), tc.want) || !strings.Contains(r.Page().HTML(), "No result:") {
			t.Errorf("%v, want %q", err, tc.want)
		}
	}
	u, err := b.In(bed.Size{InnerDiameter: 0.3, SettledHeight: 0.2}).VelocityForPressure(24431.08)
	near(t, "velocity for a pressure", u.In(CentimetrePerHour), 300, 1e-7, "SciPy: 24431.08 Pa at 300 cm/h")
	if err != nil {
		t.Error(err)
	}
	// Without friction the stress is the drop, and a bed of linear strain ends at σ = M·ε0.
	var c *bed.CriticalError
	plain := soft(bed.LinearStrain{Modulus: 4 * Bar})
	if u, err := plain.VelocityForPressure(1.61 * Bar); !errors.As(err, &c) || !math.IsNaN(float64(u)) {
		t.Errorf("more than M·ε0: %v, %v", u, err)
	}
	if _, err := plain.VelocityForPressure(1.5 * Bar); err != nil {
		t.Error(err)
	}
	high, err := bed.ScaleUp{Bed: b, Sizes: []bed.Size{{1, 0.2}}, MaxPressure: 10 * Bar}.Evaluate()
	if err != nil || high.Beds[0].By != "" {
		t.Errorf("a limit that is not reached: %+v, %v", high.Beds, err)
	}
}

// The worked example, with slope and intercept of the compressible model: a line
// through its points for height over diameter up to 4.
func TestCriticalLine(t *testing.T) {
	l := bed.CriticalLine{Slope: 1580 * bed.SquareCentimetrePerHour, Intercept: 13800 * bed.SquareCentimetrePerHour, Viscosity: 1 * MillipascalSecond,
		CriticalLoss: 0.15, MeanBead: 90 * Micrometre, SettledVoid: 0.40, LeastRatio: 0.2, MostRatio: 8}
	for _, tc := range []struct{ diameter, critical, pressure float64 }{{30, 742.6667, 38485.41}, {2.6, 1297.692, 30439.46}, {100, 705.8, 39686.09}} {
		s, err := l.At(bed.Size{InnerDiameter: Centimetre.Times(tc.diameter), SettledHeight: 20 * Centimetre}, 1*MillipascalSecond, 400*CentimetrePerHour)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "critical", s.Critical.In(CentimetrePerHour), tc.critical, 3e-7, "worked example, Python, seven digits")
		near(t, "pressure", float64(s.Pressure), tc.pressure, 2e-7, "worked example, Python, seven digits")
		if tc.diameter == 30 {
			near(t, "loss", s.Loss, 0.08078995, 1e-7, "worked example, seven digits")
			near(t, "void", s.Void, 0.3472656, 2e-7, "worked example, seven digits")
			near(t, "height", s.Height.In(Centimetre), 18.38420, 3e-7, "worked example, seven digits")
			near(t, "factor", s.CompressionFactor, 20/18.38420, 3e-7, "L0/L")
		}
	}
	// The model's own critical velocities lie on it to 0.4 %: 1579.6 and 13802.5 leave 0.31 %.
	for _, ratio := range []float64{0.2, 1, 2, 4} {
		b := soft(bed.LinearStrain{Modulus: 4 * Bar})
		b.InnerDiameter, b.WallFriction = b.SettledHeight.Times(1/ratio), 0.1
		u, err := b.CriticalVelocity()
		if err != nil {
			t.Fatal(err)
		}
		s, err := l.At(bed.Size{InnerDiameter: b.InnerDiameter, SettledHeight: b.SettledHeight}, 1*MillipascalSecond, 0)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "line and model", float64(s.Critical), float64(u), 4e-3, "least squares, Python: residual below 0.31 %")
	}
	thick, err := l.At(bed.Size{InnerDiameter: 0.3, SettledHeight: 0.2}, 2*MillipascalSecond, 200*CentimetrePerHour)
	near(t, "viscosity", thick.Critical.In(CentimetrePerHour), 742.6667/2, 2e-7, "half as fast in a liquid twice as thick")
	near(t, "viscosity", float64(thick.Pressure), 38485.41, 2e-7, "the same drag")
	if err != nil {
		t.Error(err)
	}

	wide := bed.Size{InnerDiameter: 1.6, SettledHeight: 0.2}
	if _, err := l.At(wide, 1e-3, 0); err == nil || !strings.Contains(err.Error(), "it was measured from 0.2 to 8; measure there, or set Extrapolate") {
		t.Error(err)
	}
	free := l
	free.Extrapolate = true
	if s, err := free.At(wide, 1e-3, 0); err != nil || !s.Extrapolated {
		t.Errorf("%+v, %v", s, err)
	}
	var c *bed.CriticalError
	if _, err := l.At(bed.Size{InnerDiameter: 0.3, SettledHeight: 0.2}, 1e-3, 743*CentimetrePerHour); !errors.As(err, &c) {
		t.Error(err)
	}
	for _, change := range []func(*bed.CriticalLine){
		func(l *bed.CriticalLine) { l.Slope = -1 }, func(l *bed.CriticalLine) { l.Intercept = 0 }, func(l *bed.CriticalLine) { l.Viscosity = 0 },
		func(l *bed.CriticalLine) { l.SettledVoid = 40 }, func(l *bed.CriticalLine) { l.CriticalLoss = 0.5 }, func(l *bed.CriticalLine) { l.MeanBead = 90 },
		func(l *bed.CriticalLine) { l.MostRatio = 0.1 }, func(l *bed.CriticalLine) { l.Intercept = bed.HeightVelocity(math.NaN()) },
	} {
		bad := l
		change(&bad)
		if _, err := bad.At(bed.Size{InnerDiameter: 0.3, SettledHeight: 0.2}, 1e-3, 0); err == nil || !strings.Contains(err.Error(), "critical line") {
			t.Errorf("%+v: %v", bad, err)
		}
	}
}

// A plan takes the model's curve in place of a measured one.
func TestCurveInPlan(t *testing.T) {
	b := soft(bed.PowerSolids{Stress0: 5 * Kilopascal, Exponent: 0.08})
	b.SettledHeight = 20.16 * Centimetre
	var velocities []Velocity
	for u := 20.0; u <= 400; u += 20 {
		velocities = append(velocities, CentimetrePerHour.Times(u))
	}
	curve, err := b.Curve(velocities)
	if err != nil {
		t.Fatal(err)
	}
	curve.InnerDiameter = 30 * Centimetre // without friction every diameter is alike
	curve.Viscosity = water20
	p, err := plan.ConstantFlow{
		Column: packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre, TubeHeight: 60 * Centimetre, MaxPressure: 3 * Bar},
		Medium: marram, Slurry: packing.Slurry{Concentration: 52 * Percent}, BedHeight: 18 * Centimetre, CompressionFactor: 1.12, Curve: curve,
	}.Plan()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "second velocity", p.Second.Velocity.In(CentimetrePerHour), 332.124, 2e-4, "computed twice independently")
	near(t, "pressure", p.Second.Pressure.In(Bar), 0.52691, 5e-4, "computed twice independently")
}

// TestScaleUpErrors: with a fit the sizes carry the errors that predictions and
// critical velocities carry, those of a guessed friction among them.
func TestScaleUpErrors(t *testing.T) {
	e := estimation04(t)
	e.Curves, e.WallFriction = e.Curves[:1], 0.1
	size := bed.Size{InnerDiameter: 60 * Centimetre, SettledHeight: 20 * Centimetre}
	var last bed.ScaledBed
	for _, known := range []bool{true, false} {
		e.FixFriction = known
		f := estimated(t, e).Best
		r, err := bed.ScaleUp{Fit: f, Part: 0.5, Sizes: []bed.Size{size}}.Evaluate()
		if err != nil {
			t.Fatal(err)
		}
		b := r.Beds[0]
		critical, err := f.CriticalAt(size, 0)
		if err != nil {
			t.Fatal(err)
		}
		p := predicted(t, bed.Prediction{Fit: f, Size: size, Extrapolate: true, Velocities: []Velocity{b.Allowed.Velocity.Times(0.5), b.Allowed.Velocity.Times(0.75), b.Allowed.Velocity}})
		if b.Critical != critical.Velocity || b.CriticalStdErr != critical.StdErr || b.AllowedStdErr != p.Curve.StdErr[2] || !(b.AllowedStdErr.Pressure > 0) {
			t.Errorf("friction known %v: %+v, predicted %v ± %v and %v", known, b, critical.Velocity, critical.StdErr, p.Curve.StdErr[2])
		}
		if !known && !(b.AllowedStdErr.Pressure > 2*last.AllowedStdErr.Pressure) {
			t.Errorf("a guess makes the error of the pressure %v, without one it is %v", b.AllowedStdErr.Pressure, last.AllowedStdErr.Pressure)
		}
		contains(t, r.String(), " ± ")
		if (b.NotDetermined == "") != critical.Determined {
			t.Errorf("friction known %v: determined %v, the size says %q", known, critical.Determined, b.NotDetermined)
		}
		last = b
	}
	e.FixFriction, e.WallFriction = false, 0 // left out
	r, err := bed.ScaleUp{Fit: estimated(t, e).Best, Part: 0.5, Sizes: []bed.Size{size}}.Evaluate()
	if err != nil {
		t.Fatal(err)
	}
	contains(t, r.String(), "Not determined: the critical velocity of 60 cm by 20 cm", "most of its error is friction at the wall, which was not measured (0.095 ± 0.078): measure a second column")
}
