package bed_test

import (
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	. "github.com/evenbed/evenbed/packing/units"
)

// window04 is that of the recorded experiment of column 04.
func window04(t *testing.T) bed.Window {
	t.Helper()
	x := evaluated(t, experiment04(t))
	c, err := x.Curve()
	if err != nil {
		t.Fatal(err)
	}
	return bed.Window{Curve: c, MaxPressure: 1.2 * Bar, Experiment: x,
		Critical: bed.CriticalEstimate{Size: bed.Size{InnerDiameter: 30 * Centimetre, SettledHeight: 20.16 * Centimetre}, Viscosity: 1 * MillipascalSecond,
			Velocity: 600 * CentimetrePerHour, Low: 500 * CentimetrePerHour, High: 700 * CentimetrePerHour, Determined: true}}
}

func opened(t *testing.T, w bed.Window) bed.WindowResult {
	t.Helper()
	r, err := w.Evaluate()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestWindow(t *testing.T) {
	w := window04(t)
	r := opened(t, w)
	// By hand: 75 % of 500 cm/h is 375 cm/h, below where the curve has 0.9 bar,
	// between 400 and 450 cm/h with 0.702 and 0.879 and 500 cm/h with 1.089 bar.
	if math.Abs(r.Largest.Velocity.In(CentimetrePerHour)-375) > 1e-9 || len(r.Bounds) != 3 || r.Bounds[0].Velocity != r.Largest.Velocity || r.Packing != r.Largest {
		t.Errorf("largest %v, bounds %v", r.Largest, r.Bounds)
	}
	if u := r.Bounds[1].Velocity.In(CentimetrePerHour); !(u > 450 && u < 460) || r.Bounds[1].Name != "75 % of the pressure limit, with the error of the curve" {
		t.Errorf("bounds %v", r.Bounds)
	}
	if math.Abs(r.Operating.In(CentimetrePerHour)-300) > 1e-9 || math.Abs(r.OperatingPressure.In(r.Packing.Pressure)-0.8) > 1e-12 {
		t.Errorf("operating %v, %v; by hand 375/1.25", r.Operating, r.OperatingPressure)
	}
	contains(t, r.Page().HTML(), "Operating window, curve column 04", "packing, at most", "375.0", "operating, at most", "300.0", "75 % of the critical", "<svg", "common practice, no source")
	contains(t, r.Page().SVG(), "<svg", "going down", "limit of the bed", "operating", "packing")
	contains(t, r.Page().Markdown(), "375.0")
	contains(t, bed.WindowResult{}.Page().HTML(), "No result:")
	contains(t, bed.WindowResult{}.Figure().SVG(), "<svg")

	// In a liquid twice as viscous all velocities halve, pressures stay; in a more
	// viscous one later operating slows down alone.
	w.PackingViscosity, w.OperatingViscosity = 2*MillipascalSecond, 4*MillipascalSecond
	s := opened(t, w)
	if math.Abs(s.Largest.Velocity.In(r.Largest.Velocity)-0.5) > 1e-9 || math.Abs(s.Largest.Pressure.In(r.Largest.Pressure)-1) > 1e-9 ||
		math.Abs(s.Operating.In(r.Operating)-0.25) > 1e-9 || math.Abs(s.OperatingPressure.In(r.OperatingPressure)-1) > 1e-9 {
		t.Errorf("at 2 and 4 mPa·s: %v, %v, %v; at 1: %v, %v, %v", s.Largest, s.Operating, s.OperatingPressure, r.Largest, r.Operating, r.OperatingPressure)
	}
	// A target below the most that is allowed.
	w = window04(t)
	w.CompressionFactor, w.Drag = 1.10, 1.5
	s = opened(t, w)
	if math.Abs(s.Packing.CompressionFactor-1.10) > 1e-6 || !(s.Packing.Velocity < s.Largest.Velocity) || math.Abs(s.Operating.In(s.Packing.Velocity)-1/1.5) > 1e-9 {
		t.Errorf("for 1.10: %v, operating %v", s.Packing, s.Operating)
	}
	contains(t, s.Page().HTML(), "packing, for the target", "1.100", "target")
	// Every margin counts.
	for name, change := range map[string]func(w *bed.Window){
		"critical part": func(w *bed.Window) { w.CriticalPart = 0.7 }, "pressure part": func(w *bed.Window) { w.PressurePart = 0.5 },
		"limit": func(w *bed.Window) { w.MaxPressure = 0.6 * Bar }, "critical": func(w *bed.Window) { w.Critical.Low = 450 * CentimetrePerHour },
		"drag": func(w *bed.Window) { w.Drag = 1.3 },
	} {
		w := window04(t)
		change(&w)
		if s := opened(t, w); s.Operating >= r.Operating {
			t.Errorf("%s: operating %v, before %v", name, s.Operating, r.Operating)
		}
	}
}

// TestWindowNotChecked: what was not given, or is not determined, is said to be
// not checked; the curve's own end bounds in any case.
func TestWindowNotChecked(t *testing.T) {
	w := window04(t)
	w.Critical, w.MaxPressure = bed.CriticalEstimate{}, 0
	r := opened(t, w)
	if len(r.Bounds) != 1 || r.Largest.Velocity != w.Curve.Last().Velocity {
		t.Errorf("%v", r.Bounds)
	}
	contains(t, r.String(), "Not checked:", "no Critical given", "no MaxPressure given", "end of the curve")
	w = window04(t)
	w.Critical.Determined, w.Critical.Reason = false, "it is far off"
	contains(t, opened(t, w).String(), "which is not determined: it is far off")
	w.MaxPressure = 2 * Bar
	contains(t, opened(t, w).String(), "75 % of the pressure limit", "beyond the curve")
	w.Curve.Predicted = "from elsewhere"
	contains(t, opened(t, w).String(), "it is predicted from elsewhere")
}

func TestWindowRefused(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(w *bed.Window)
		want   string
	}{
		{"no curve", func(w *bed.Window) { w.Curve = bed.Curve{} }, "0 points with flow"},
		{"too much", func(w *bed.Window) { w.CompressionFactor = 1.15 }, "flow gives at most 1.12"},
		{"beyond the curve", func(w *bed.Window) { w.CompressionFactor = 1.3 }, "let the adapter give the rest"},
		{"factor", func(w *bed.Window) { w.CompressionFactor = 0.9 }, "it must be above 1"},
		{"size", func(w *bed.Window) { w.Critical.Size.InnerDiameter = 10 * Centimetre }, "it is that of a bed of 10 cm by"},
		{"liquid", func(w *bed.Window) { w.Critical.Viscosity = 0 }, "another liquid"},
		{"part", func(w *bed.Window) { w.CriticalPart = 75 }, "0.7 to 0.8 is common practice"},
		{"pressure part", func(w *bed.Window) { w.PressurePart = 75 }, "0.7 to 0.8 is common practice"},
		{"drag", func(w *bed.Window) { w.Drag = 0.5 }, "1.2 to 1.3 is common practice"},
		{"limit", func(w *bed.Window) { w.MaxPressure = -1 }, "maximum pressure"},
		{"viscosity", func(w *bed.Window) { w.PackingViscosity = 2 }, "1000 mPa·s"},
		{"no viscosity", func(w *bed.Window) {
			w.Curve.Viscosity, w.Critical, w.OperatingViscosity = 0, bed.CriticalEstimate{}, 1e-3
		}, "in what liquid it was measured"},
	} {
		w := window04(t)
		tc.change(&w)
		_, err := w.Evaluate()
		if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v; want %q", tc.name, err, tc.want)
		}
	}
}
