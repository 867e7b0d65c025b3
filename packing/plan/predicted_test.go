package plan_test

import (
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/plan"
	. "github.com/evenbed/evenbed/packing/units"
)

// TestPredictedCurve: a curve that was predicted for the column from others is
// taken, with its error among the cautions; a measured one of another size is
// refused and the refusal names the way.
func TestPredictedCurve(t *testing.T) {
	medium := bed.Compressible{Law: bed.PowerSolids{Stress0: 5 * Kilopascal, Exponent: 0.08}, MeanBead: 90 * Micrometre, SettledVoid: 0.40,
		Viscosity: 1 * MillipascalSecond, WallFriction: 0.1}
	var curves []bed.Curve
	for _, size := range []bed.Size{{InnerDiameter: 60 * Centimetre, SettledHeight: 20 * Centimetre}, {InnerDiameter: 2.6 * Centimetre, SettledHeight: 20 * Centimetre}} {
		c, err := medium.In(size).Curve(CentimetrePerHour.Each(50, 100, 150, 200, 250, 300, 350, 400, 450))
		if err != nil {
			t.Fatal(err)
		}
		for i := range c.Points { // readings, to the millibar and a tenth of a millimetre
			p := &c.Points[i]
			p.Pressure = Pressure(math.Round(p.Pressure.In(Millibar))) * Millibar
			p.CompressionFactor = c.SettledHeight.In(Length(math.Round(c.SettledHeight.In(Millimetre)*10/p.CompressionFactor)) / 10 * Millimetre)
		}
		curves = append(curves, c)
	}
	estimates, err := bed.Estimation{Curves: curves, MeanBead: 90 * Micrometre, SettledVoid: 0.40}.Fit()
	if err != nil {
		t.Fatal(err)
	}
	r, err := bed.Prediction{Fit: estimates.Best, Size: bed.Size{InnerDiameter: 30 * Centimetre, SettledHeight: 20.16 * Centimetre}}.Evaluate()
	if err != nil {
		t.Fatal(err)
	}
	c := own(t)
	c.Curve = r.Curve
	p := mustPlan(t, c)
	// The bed with friction, solved directly.
	u, err := medium.In(bed.Size{InnerDiameter: 30 * Centimetre, SettledHeight: 20.16 * Centimetre}).VelocityFor(1.12)
	if err != nil || math.Abs(p.Second.Velocity.In(u)*p.Viscosity.In(1*MillipascalSecond)-1) > 0.01 {
		t.Errorf("second velocity %v in %v, %v; solved directly %v in 1 mPa·s", p.Second.Velocity, p.Viscosity, err, u)
	}
	text := p.String()
	for _, want := range []string{"was not measured on a bed of this size: it is predicted from", "one standard error of the readings and parameters it comes from"} {
		if !strings.Contains(text, want) {
			t.Errorf("the plan does not say %q", want)
		}
	}
	c.Curve = curves[0]
	refused, _ := c.Plan()
	if refused.Refusal == nil || !strings.Contains(refused.String(), "or predict one from curves of other sizes") {
		t.Errorf("a measured curve of another size: %v", refused.Refusal)
	}
}

// TestCurveError: a curve that knows its errors is held against the limits with
// the upper end of its 95 % interval, and the verdict without it stands beside.
//
// By hand: the curve has points at 300, 332 and 400 cm/h; at 332 cm/h, where the
// flow is, 0.50 bar ± 0.04 bar. Student's t for 95 % is 1.960 with many degrees of
// freedom and 2.776 with 4 (tables), so the upper ends are 0.5784 and 0.61104 bar.
func TestCurveError(t *testing.T) {
	c := own(t)
	c.Curve = bed.Curve{SettledHeight: 20.16 * Centimetre, InnerDiameter: 30 * Centimetre}
	for i, u := range CentimetrePerHour.Each(20, 100, 200, 300, 332, 400) {
		c.Curve.Points = append(c.Curve.Points, bed.Point{Velocity: u, CompressionFactor: []float64{1.01, 1.03, 1.06, 1.10, 1.12, 1.15}[i],
			Pressure: []Pressure{0.02, 0.10, 0.22, 0.40, 0.50, 0.75}[i] * Bar})
	}
	c.PackingVelocity, c.Duties = 332*CentimetrePerHour, nil
	errs := func(pressure Pressure) []bed.PointError {
		out := make([]bed.PointError, len(c.Curve.Points))
		for i := range out {
			out[i] = bed.PointError{CompressionFactor: 0.001, Pressure: pressure}
		}
		return out
	}
	plain := mustPlan(t, c)
	for _, l := range plain.Pressures {
		if l.Used != l.Expected {
			t.Errorf("%s: %v held for %v without an error", l.Name, l.Used, l.Expected)
		}
	}
	if strings.Contains(plain.String(), "95 % interval") {
		t.Error("a curve without errors speaks of an interval")
	}
	for _, tc := range []struct {
		freedom int
		upper   float64
	}{{0, 0.5 + 1.959964*0.04}, {4, 0.5 + 2.776445*0.04}} {
		c.Curve.StdErr, c.Curve.Freedom = errs(0.04*Bar), tc.freedom
		p := mustPlan(t, c)
		if len(p.Pressures) != 2 { // of the bed and of the column
			t.Fatalf("%v", p.Pressures)
		}
		for _, l := range p.Pressures {
			near(t, "used", l.Used.In(Bar), tc.upper, 1e-6, "by hand, tables of Student's t")
			near(t, "expected", l.Expected.In(Bar), 0.5, 1e-12, "the curve's point")
			near(t, "margin", l.Margin, 1-tc.upper/l.Limit.In(Bar), 1e-6, "by hand")
		}
		near(t, "pressure of the step", p.Second.Pressure.In(Bar), 0.5, 1e-12, "what to expect is the curve itself")
		for _, want := range []string{"error of the curve", "without it 0.5 bar, and of the lowest limit 75 % left", "bed of Marram, by the curve itself", "upper end of the curve's 95 % interval"} {
			if !strings.Contains(p.Page().Markdown(), want) {
				t.Errorf("the plan does not say %q", want)
			}
		}
	}
	for _, tc := range []struct {
		limit Pressure
		want  string // empty: kept
	}{
		{0.62 * Bar, ""},
		{0.60 * Bar, "pressure 0.611 bar at 332 cm/h, the upper end of the curve's 95 % interval: it passes the limit of the bed of Marram, 0.6 bar; the curve itself, 0.5 bar, keeps it"},
		{0.45 * Bar, "it passes the limit of the bed of Marram, 0.45 bar; so does the curve itself, 0.5 bar"},
	} {
		c.Medium.MaxBedPressure = tc.limit
		_, err := c.Plan()
		if tc.want == "" && err != nil || tc.want != "" && (err == nil || !strings.Contains(err.Error(), tc.want)) {
			t.Errorf("limit %v: %v, want %q", tc.limit, err, tc.want)
		}
	}
	// An error that is not known is not taken for none.
	c.Medium.MaxBedPressure, c.Curve.StdErr = 2*Bar, errs(Pressure(math.NaN()))
	if p := mustPlan(t, c); !strings.Contains(strings.Join(p.NotChecked, "; "), "pressure limits with the error of the curve at 332 cm/h (not known there)") {
		t.Errorf("%q", p.NotChecked)
	}
	// A pump on pressure control does not pass its set point, whatever the curve.
	q, err := plan.ConstantPressure{Column: c.Column, Medium: c.Medium, Slurry: c.Slurry, BedHeight: c.BedHeight, CompressionFactor: c.CompressionFactor,
		PackingPressure: 0.5 * Bar, Curve: func() bed.Curve { x := c.Curve; x.StdErr = errs(0.04 * Bar); return x }()}.Plan()
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range q.Pressures {
		near(t, "set point", l.Used.In(Bar), 0.5, 1e-6, "the set point")
	}
}

// TestDoubtsReachTheColumn: a doubt about one reading goes through estimation and
// prediction to the head of the plan, of a refused plan, of the sheet's first page
// and of the review, and stands there once. A curve without doubts has no such list.
func TestDoubtsReachTheColumn(t *testing.T) {
	medium := bed.Compressible{Law: bed.PowerSolids{Stress0: 5 * Kilopascal, Exponent: 0.08}, MeanBead: 90 * Micrometre, SettledVoid: 0.40,
		Viscosity: 1 * MillipascalSecond, WallFriction: 0.1}
	var curves []bed.Curve
	for _, d := range Centimetre.Each(60, 2.6) {
		c, err := medium.In(bed.Size{InnerDiameter: d, SettledHeight: 20 * Centimetre}).Curve(CentimetrePerHour.Each(50, 150, 250, 350, 450))
		if err != nil {
			t.Fatal(err)
		}
		for i := range c.Points { // a gauge whose unit was mistaken
			c.Points[i].Pressure *= 100
		}
		curves = append(curves, c)
	}
	curves[0].Doubts = []string{"the ruler was new"}
	estimates, err := bed.Estimation{Curves: curves, MeanBead: 90 * Micrometre, SettledVoid: 0.40}.Fit()
	if err != nil {
		t.Fatal(err)
	}
	r, err := bed.Prediction{Fit: estimates.Best, Size: bed.Size{InnerDiameter: 30 * Centimetre, SettledHeight: 20.16 * Centimetre}}.Evaluate()
	if err != nil {
		t.Fatal(err)
	}
	c := own(t)
	c.Medium.MaxBedPressure, c.Column.MaxPressure, c.Duties = 1000*Bar, 1000*Bar, nil
	c.Curve = r.Curve
	p := mustPlan(t, c)
	c.Medium.MaxBedPressure = 0.1 * Bar
	refused, err := c.Plan()
	if err == nil {
		t.Fatal("not refused")
	}
	doubted := madePlan(t)
	doubted.Request.Curve.Doubts = r.Curve.Doubts
	found, err := plan.Review{Plan: doubted}.Of(runOf(t, made.OwnPack()))
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct{ what, text, before string }{
		{"plan", p.String(), "\nPlan\n"},
		{"sheet", p.Paper().String(), "\nPressures at the end of each step"},
		{"refused plan", refused.String(), "\nLimits, lowest first"},
		{"review", found.String(), "\nThe bed\n"},
	} {
		head, _, ok := strings.Cut(tc.text, tc.before)
		for _, want := range []string{"the ruler was new", "A unit is wrong: "} {
			if n := strings.Count(tc.text, want); !ok || n == 0 || strings.Count(head, want) != n || want[0] == 't' && n != 1 {
				t.Errorf("%s: %q stands %d times, in its head %d:\n%s", tc.what, want, n, strings.Count(head, want), head)
			}
		}
	}
	if strings.Contains(madePlan(t).String(), "Doubts about the curve") {
		t.Error("doubts about a curve that has none")
	}
}
