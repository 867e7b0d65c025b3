package bed_test

import (
	"fmt"
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
func experiment04(t *testing.T) bed.Experiment {
	t.Helper()
	run, err := record.Read("../../testdata/column04-pressure-flow.csv")
	if err != nil {
		t.Fatal(err)
	}
	e := bed.Experiment{Label: "column 04", InnerDiameter: 30 * Centimetre, Viscosity: 1 * MillipascalSecond, Hardware: hardware04(),
		Steady: bed.Steadiness{Over: 1 * Minute, Gauge: 1 * Millibar}}
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

func TestExperiment(t *testing.T) {
	r, err := experiment04(t).Evaluate()
	if err != nil {
		t.Fatal(err)
	}
	fmt.Println(r)
	c, err := r.Curve()
	fmt.Println(c, err, c.StdErr)
}
