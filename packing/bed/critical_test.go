package bed_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	. "github.com/evenbed/evenbed/packing/units"
)

// criticalTests are the critical velocities of beds of linear strain with wall
// friction that an independent program found (SciPy), up to a height over diameter.
func criticalTests(t *testing.T, most float64) bed.CriticalTests {
	t.Helper()
	f, err := os.Open("testdata/critical_velocity_model.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	tests := bed.CriticalTests{Label: "model", Viscosity: 1 * MillipascalSecond, MeanBead: 90 * Micrometre, SettledVoid: 0.40, CriticalLoss: 0.15}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	for _, row := range rows {
		if row[0] != "linear" || row[2] == "inf" || number(row[3]) > most {
			continue
		}
		tests.Tests = append(tests.Tests, bed.CriticalTest{Size: bed.Size{InnerDiameter: Length(number(row[2])), SettledHeight: Length(number(row[1]))},
			Velocity: CentimetrePerHour.Times(number(row[4]))})
	}
	return tests
}

// TestCriticalFit: the line through the points up to L0/D 4 without the bed that
// has no wall, which has no proportion.
func TestCriticalFit(t *testing.T) {
	f, err := criticalTests(t, 4.01).Fit()
	if err != nil {
		t.Fatal(err)
	}
	// By the sums of least squares in another program: with the bed without a wall
	// 1579.64 and 13802.46 (published beside the data), without it:
	x, y := []float64{0.2, 0.44444444, 1, 2, 2, 4}, []float64{14142.254, 14508.625, 15353.462, 16914.343, 16914.343, 20173.91}
	m, b := byHand(x, y)
	if math.Abs(f.Line.Slope.In(bed.SquareCentimetrePerHour)/m-1) > 1e-6 || math.Abs(f.Line.Intercept.In(bed.SquareCentimetrePerHour)/b-1) > 1e-7 {
		t.Errorf("m %v, b %v; by hand %v, %v", f.Line.Slope.In(bed.SquareCentimetrePerHour), f.Line.Intercept.In(bed.SquareCentimetrePerHour), m, b)
	}
	if m7, b7 := byHand(append([]float64{0}, x...), append([]float64{13845.013}, y...)); math.Abs(m7-1579.636) > 1e-3 || math.Abs(b7-13802.46) > 0.01 {
		t.Errorf("by hand with seven points %v, %v; 1579.636 and 13802.46 were found with NumPy", m7, b7)
	}
	c, err := f.At(bed.Size{InnerDiameter: 20 * Centimetre, SettledHeight: 20 * Centimetre}, 1*MillipascalSecond)
	if err != nil || !c.Determined || math.Abs(c.Velocity.In(CentimetrePerHour)/767.673-1) > 0.005 || !(c.Low < c.Velocity && c.Velocity < c.High) {
		t.Errorf("%+v, %v; the model has 767.67 cm/h there", c, err)
	}
	// Half the velocity at twice the viscosity, and at twice height and diameter.
	for _, x := range []struct {
		size bed.Size
		mu   Viscosity
	}{{c.Size, 2 * MillipascalSecond}, {bed.Size{InnerDiameter: 40 * Centimetre, SettledHeight: 40 * Centimetre}, 1 * MillipascalSecond}} {
		h, err := f.At(x.size, x.mu)
		if err != nil || math.Abs(h.Velocity.In(c.Velocity)-0.5) > 1e-12 || math.Abs(h.Low.In(c.Low)-0.5) > 1e-12 {
			t.Errorf("%v at %v: %v, %v; half of %v", x.size, x.mu, h.Velocity, err, c.Velocity)
		}
	}
	// The line goes on as a CriticalLine.
	s, err := f.Line.At(c.Size, 1*MillipascalSecond, 300*CentimetrePerHour)
	if err != nil || math.Abs(s.Critical.In(c.Velocity)-1) > 1e-9 {
		t.Errorf("%+v, %v", s, err)
	}
	contains(t, f.Page().HTML(), "model", "slope m", "intercept b", "<svg")
	contains(t, f.Page().Markdown(), "slope m")
	contains(t, f.Page().SVG(), "<svg", "95 % band")
	contains(t, bed.CriticalFit{}.Page().HTML(), "No result:")
	contains(t, bed.CriticalFit{}.Figure().SVG(), "<svg")
}

func byHand(x, y []float64) (m, b float64) {
	var mx, my, sxy, sxx float64
	for i := range x {
		mx, my = mx+x[i]/float64(len(x)), my+y[i]/float64(len(x))
	}
	for i := range x {
		sxy, sxx = sxy+(x[i]-mx)*(y[i]-my), sxx+(x[i]-mx)*(x[i]-mx)
	}
	return sxy / sxx, my - sxy/sxx*mx
}

// TestCriticalOutside: beyond the tested proportions the line gives an answer only
// when it was asked to, and says so.
func TestCriticalOutside(t *testing.T) {
	tests := criticalTests(t, 4.01)
	narrow := bed.Size{InnerDiameter: 2.6 * Centimetre, SettledHeight: 20 * Centimetre}
	f, err := tests.Fit()
	if err != nil {
		t.Fatal(err)
	}
	for _, size := range []bed.Size{narrow, {InnerDiameter: 160 * Centimetre, SettledHeight: 20 * Centimetre}} {
		if _, err := f.At(size, 1*MillipascalSecond); err == nil || !strings.Contains(err.Error(), "it was measured from 0.2 to 4; measure there, or set Extrapolate") {
			t.Errorf("%v: %v", size, err)
		}
	}
	tests.Extrapolate = true
	if f, err = tests.Fit(); err != nil {
		t.Fatal(err)
	}
	c, err := f.At(narrow, 1*MillipascalSecond)
	if err != nil || !strings.Contains(c.Reason, "extrapolated") || math.Abs(c.Velocity.In(CentimetrePerHour)/1328.97-1) > 0.05 {
		t.Errorf("%+v, %v; the model has 1328.97 cm/h there", c, err)
	}
}

// TestCriticalWeights: a test that is hardly known hardly counts; one in another
// liquid counts as the same bed in this one.
func TestCriticalWeights(t *testing.T) {
	tests := criticalTests(t, 4.01)
	want, err := tests.Fit()
	if err != nil {
		t.Fatal(err)
	}
	for i := range tests.Tests {
		tests.Tests[i].StdErr = 5 * CentimetrePerHour
	}
	tests.Tests[0].Viscosity, tests.Tests[0].Velocity, tests.Tests[0].StdErr = 2*MillipascalSecond, tests.Tests[0].Velocity/2, tests.Tests[0].StdErr/2
	wrong := tests.Tests[1]
	wrong.Velocity, wrong.StdErr = 2*wrong.Velocity, 1e7*wrong.StdErr
	tests.Tests = append(tests.Tests, wrong)
	got, err := tests.Fit()
	if err != nil || math.Abs(float64(got.Line.Intercept/want.Line.Intercept)-1) > 0.002 {
		t.Errorf("b %v, %v; %v", got.Line.Intercept, err, want.Line.Intercept)
	}
}

func TestCriticalRefused(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(c *bed.CriticalTests)
		want   string
	}{
		{"few", func(c *bed.CriticalTests) { c.Tests = c.Tests[:2] }, "a line with an error needs three"},
		{"alike", func(c *bed.CriticalTests) { c.Tests = []bed.CriticalTest{c.Tests[0], c.Tests[0], c.Tests[0]} }, "the same settled height over diameter, 0.2"},
		{"viscosity", func(c *bed.CriticalTests) { c.Viscosity = 0 }, "viscosity"},
		{"size", func(c *bed.CriticalTests) { c.Tests[0].Size.InnerDiameter = 30 }, "was the unit forgotten"},
		{"velocity", func(c *bed.CriticalTests) { c.Tests[0].Velocity = 0 }, "test 1, velocity"},
		{"error", func(c *bed.CriticalTests) { c.Tests[0].StdErr = -1 }, "do not make sense"},
		{"confidence", func(c *bed.CriticalTests) { c.Confidence = 95 }, "0.95 is usual"},
		{"slope", func(c *bed.CriticalTests) { c.Tests[0].Velocity *= 3; c.Tests[1].Velocity *= 2 }, "walls support a bed"},
	} {
		c := criticalTests(t, 4.01)
		tc.change(&c)
		if _, err := c.Fit(); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v; want %q", tc.name, err, tc.want)
		}
	}
	f, _ := criticalTests(t, 4.01).Fit()
	if _, err := f.At(bed.Size{}, 1*MillipascalSecond); err == nil {
		t.Error("a bed without a size")
	}
	if _, err := f.At(bed.Size{InnerDiameter: 0.2, SettledHeight: 0.2}, 0); err == nil {
		t.Error("a liquid without viscosity")
	}
	if _, err := (bed.CriticalFit{}).At(bed.Size{InnerDiameter: 0.2, SettledHeight: 0.2}, 1e-3); err == nil {
		t.Error("a line that was not fitted")
	}
}
