package bed_test

import (
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
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

func TestExperiment(t *testing.T) {
	r := evaluated(t, experiment04(t))
	t.Log(r)
	t.Log(evaluated(t, experiment11(t)))
}
