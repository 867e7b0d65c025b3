package bed_test

import (
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/record"
	. "github.com/evenbed/evenbed/packing/units"
)

// hardware04 is the empty column 04, a·u + b·u² with 0.05 and 6e-5 mbar.
func hardware04() bed.Hardware {
	return bed.Hardware{Velocity: CentimetrePerHour.Each(100, 200, 300, 400, 520), Pressure: Millibar.Each(5.6, 12.4, 20.4, 29.6, 42.224),
		Viscosity: 1 * MillipascalSecond}
}

// experiment04 is the recorded experiment of column 04.
func experiment04(t testing.TB) bed.Experiment {
	t.Helper()
	e := bed.Experiment{Label: "column 04", InnerDiameter: 30 * Centimetre, Hardware: hardware04()}
	return recorded(t, e, "column04")
}

// experiment11 is the recorded experiment of column 11; its empty column is
// a·u + b·u² with 0.08 and 2e-5 mbar.
func experiment11(t testing.TB) bed.Experiment {
	t.Helper()
	e := bed.Experiment{Label: "column 11", InnerDiameter: 2.6 * Centimetre,
		Hardware: bed.Hardware{Velocity: CentimetrePerHour.Each(100, 200, 300, 400, 520), Pressure: Millibar.Each(8.2, 16.8, 25.8, 35.2, 47.008)}}
	return recorded(t, e, "column11")
}

func recorded(t testing.TB, e bed.Experiment, column string) bed.Experiment {
	t.Helper()
	run, err := record.Read("../../testdata/" + column + "-pressure-flow.csv")
	if err != nil {
		t.Fatal(err)
	}
	e.Viscosity = 1 * MillipascalSecond
	e.Steady = bed.Steadiness{Over: 1 * Minute, Gauge: 2 * Millibar}
	var errs [4]error
	e.Time, errs[0] = run.Times("Time")
	e.Flow, errs[1] = run.Flows("Flow")
	e.Pressure, errs[2] = run.Pressures("Pressure")
	e.Height, errs[3] = run.Lengths("Bed height")
	for _, err := range errs {
		if err != nil {
			t.Fatal(err)
		}
	}
	return e
}

func evaluated(t testing.TB, e bed.Experiment) bed.ExperimentResult {
	t.Helper()
	r, err := e.Evaluate()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func measured(t testing.TB, e bed.Experiment) bed.Curve {
	t.Helper()
	return evaluated(t, e).Measured()
}

// TestExperiment: the recorded experiment gives back the bed from which it was
// made.
func TestExperiment(t *testing.T) {
	r := evaluated(t, experiment04(t))
	if len(r.Steps) != 18 {
		t.Fatalf("%d plateaus, 18 were made", len(r.Steps))
	}
	truth := made.WalledBed{PowerBed: made.Marram, Friction: made.WallFriction, Diameter: 0.3}
	ways := []bed.Direction{bed.Rest, bed.Up, bed.Up, bed.Up, bed.Up, bed.Up, bed.Up, bed.Up, bed.Up, bed.Up, bed.Up, bed.Up, bed.Up, bed.Down, bed.Down, bed.Down, bed.Down, bed.Rest}
	set := []float64{0, 20, 40, 80, 120, 160, 200, 250, 300, 350, 400, 450, 500, 400, 300, 200, 100, 0}
	for i, s := range r.Steps {
		if s.Direction != ways[i] || math.Abs(s.Velocity.In(CentimetrePerHour)-set[i]) > 0.002*set[i] {
			t.Errorf("step %d: %v, %v; made %v, %v cm/h", i+1, s.Direction, s.Velocity, ways[i], set[i])
		}
		if s.Direction == bed.Up && i != 9 {
			height, drop := truth.At(float64(s.Velocity), 0.2016)
			// The zero of the gauge adds its own error, some 0.2 mbar; the empty column is read between its points.
			if d := math.Abs(float64(s.Pressure) - drop); d > 4*math.Hypot(float64(s.PressureErr), 25) {
				t.Errorf("step %d: pressure %v ± %v, made with %v Pa", i+1, s.Pressure, s.PressureErr, drop)
			}
			if d := math.Abs(float64(s.Height) - height); d > 4*float64(s.HeightErr)+0.02e-3 {
				t.Errorf("step %d: height %v ± %v, made with %v m", i+1, s.Height, s.HeightErr, height)
			}
		}
		if steady := i != 9; s.Usable() != steady {
			t.Errorf("step %d: usable %v, pressure %v, height %v", i+1, s.Usable(), s.PressureSteady, s.HeightSteady)
		}
	}
	if s := r.Steps[9]; s.PressureSteady != bed.Drifting || s.HeightSteady != bed.Drifting || !(s.PressureChange > 30*Millibar) || !(s.HeightChange < -0.5*Millimetre) {
		t.Errorf("the step that was cut short: %v by %v, %v by %v", s.PressureSteady, s.PressureChange, s.HeightSteady, s.HeightChange)
	}
	if math.Abs(r.GaugeZero.In(Millibar)-6) > 1 || math.Abs(r.SettledHeight.In(Centimetre)-20.16) > 0.01 {
		t.Errorf("zero %v, settled height %v; made 6 mbar, 20.16 cm", r.GaugeZero, r.SettledHeight)
	}
	// Made: 35 % of the compression that is let go stays.
	low, _ := truth.At(500./360000, 0.2016)
	if want := 0.2016 / (0.2016 - 0.35*(0.2016-low)); math.Abs(r.Lasting-want) > 0.002 {
		t.Errorf("lasting %v, made %v", r.Lasting, want)
	}
	if len(r.Hysteresis) != 4 {
		t.Fatalf("hysteresis %v", r.Hysteresis)
	}
	for _, l := range r.Hysteresis {
		if !(l.Down.CompressionFactor > l.Up.CompressionFactor+0.005) || !(l.Down.Pressure > l.Up.Pressure.Times(1.03)) {
			t.Errorf("hysteresis %v: nothing stays", l)
		}
	}
	c, err := r.Curve()
	if err != nil || len(c.Points) != 11 || len(c.StdErr) != 11 {
		t.Fatalf("%d points, %v", len(c.Points), err)
	}
	contains(t, r.Page().HTML(), "Step 10", "not steady", "not used", "pressure unclear", "drifting", "Going down beside going up", "<svg", "common practice", "relief device")
	contains(t, r.Page().Markdown(), "Plateaus", "1.1068")
	contains(t, r.String(), "Plateaus")
	contains(t, r.Page().SVG(), "<svg", "not steady")
	contains(t, r.Record().SVG(), "<svg", "Gauge")
	contains(t, bed.ExperimentResult{}.Page().HTML(), "No result:")
	contains(t, bed.ExperimentResult{}.Figure().SVG(), "<svg")
}

// TestExperimentLaws: another unit of velocity, a later clock and a liquid of
// which nothing is known change no reading; heights read by hand give the same
// bed.
func TestExperimentLaws(t *testing.T) {
	e := experiment04(t)
	want := evaluated(t, e)
	v := e
	v.Velocity, v.Flow, v.Time = nil, nil, nil
	for i, q := range e.Flow {
		v.Velocity = append(v.Velocity, q.Through(e.InnerDiameter.Disc()))
		v.Time = append(v.Time, e.Time[i]+1*Hour)
	}
	v.Viscosity = 0
	got := evaluated(t, v)
	hand := e
	hand.Height, hand.HeightTime = nil, nil
	for i, s := range want.Steps { // once or twice on each plateau, at its end
		hand.HeightTime, hand.Height = append(hand.HeightTime, s.To-3*Second), append(hand.Height, s.Height)
		if i == 4 {
			hand.HeightTime, hand.Height = append(hand.HeightTime, s.To-1*Second), append(hand.Height, s.Height)
		}
	}
	byHand := evaluated(t, hand)
	for i, s := range want.Steps {
		if g := got.Steps[i]; math.Abs(g.Pressure.In(s.Pressure)-1) > 1e-6 && i > 0 && i < 17 || g.Height != s.Height || g.PressureSteady != s.PressureSteady {
			t.Errorf("step %d: %+v\n%+v", i+1, g, s)
		}
		if h := byHand.Steps[i]; math.Abs(float64(h.Height-s.Height)) > 1e-12 || h.HeightSteady != bed.ByHand || s.Velocity > 0 && i != 9 && !h.Usable() {
			t.Errorf("step %d by hand: %v, %v; %v", i+1, h.Height, h.HeightSteady, s.Height)
		}
	}
	// Without the hardware its pressure stays in, and the result says so.
	bare := e
	bare.Hardware = bed.Hardware{}
	b := evaluated(t, bare)
	if d := b.Steps[8].Pressure - want.Steps[8].Pressure; math.Abs(d.In(Millibar)-20.4) > 0.05 {
		t.Errorf("the hardware took off %v at 300 cm/h; 20.4 mbar were given", d)
	}
	contains(t, b.String(), "no Hardware given")
	// A bed that still settles before the flow.
	sinking := e
	sinking.Height = append([]Length(nil), e.Height...)
	for i := range 24 {
		sinking.Height[i] += (0.5 * Millimetre).Times(float64(24 - i))
	}
	contains(t, evaluated(t, sinking).String(), "the bed had not settled")
	// A longer time to be steady flags the step that was cut short.
	e.Steady.Over = 100 * Second
	contains(t, evaluated(t, e).String(), "shorter time than it must be steady")
	// A criterion that nothing meets.
	e.Steady = bed.Steadiness{Over: 1 * Minute, Pressure: 1e-6, Height: 1e-9}
	for i, s := range evaluated(t, e).Steps {
		if s.PressureSteady == bed.Steady || s.HeightSteady == bed.Steady {
			t.Errorf("step %d is steady to a millionth: %v, %v", i+1, s.PressureSteady, s.HeightSteady)
		}
	}
}

func TestExperimentRefused(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(e *bed.Experiment)
		want   string
	}{
		{"nothing", func(e *bed.Experiment) { *e = bed.Experiment{} }, "0 times: that is no record"},
		{"both", func(e *bed.Experiment) { e.Velocity = make([]Velocity, len(e.Time)) }, "give one of them"},
		{"no diameter", func(e *bed.Experiment) { e.InnerDiameter = 0 }, "flow becomes velocity by it"},
		{"one short", func(e *bed.Experiment) { e.Pressure = e.Pressure[1:] }, "they do not belong together"},
		{"heights", func(e *bed.Experiment) { e.Height = e.Height[1:] }, "HeightTime"},
		{"clock", func(e *bed.Experiment) { e.Time[5] = e.Time[4] }, "does not rise"},
		{"no flow", func(e *bed.Experiment) { e.Flow = make([]VolumeFlow, len(e.Flow)) }, "no plateau was found"},
		{"no rest", func(e *bed.Experiment) {
			e.Time, e.Flow, e.Pressure, e.Height = e.Time[30:], e.Flow[30:], e.Pressure[30:], e.Height[30:]
		}, "neither given nor read at rest"},
		{"hardware", func(e *bed.Experiment) {
			e.Hardware.Velocity, e.Hardware.Pressure = e.Hardware.Velocity[:2], e.Hardware.Pressure[:2]
		}, "empty column"},
		{"other liquid", func(e *bed.Experiment) { e.Viscosity *= 1.2 }, "measure both with the same liquid"},
		{"negative", func(e *bed.Experiment) { e.Steady.Height = -1 }, "negative"},
		{"unit", func(e *bed.Experiment) { e.InnerDiameter = 30 }, "was the unit forgotten"},
	} {
		e := experiment04(t)
		tc.change(&e)
		_, err := e.Evaluate()
		if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v; want %q", tc.name, err, tc.want)
		}
	}
}
