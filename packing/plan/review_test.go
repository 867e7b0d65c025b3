package plan_test

import (
	"os"
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/plan"
	"github.com/evenbed/evenbed/packing/record"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// planned is the plan that the made packs followed.
func planned(t testing.TB) plan.Procedure {
	t.Helper()
	readings, err := record.Read("../../testdata/column04-curve.csv")
	if err != nil {
		t.Fatal(err)
	}
	must := func(err error) {
		if err != nil {
			t.Fatal(err)
		}
	}
	u, err := readings.Velocities("Velocity")
	must(err)
	h, err := readings.Lengths("Bed height")
	must(err)
	p, err := readings.Pressures("Pressure")
	must(err)
	curve, err := bed.Readings{SettledHeight: 20.16 * Centimetre, InnerDiameter: 30 * Centimetre, Viscosity: 1 * MillipascalSecond,
		Velocity: u, Height: h, Pressure: p}.Curve()
	must(err)
	steps, err := plan.ConstantFlow{
		Column: packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre, TubeHeight: 60 * Centimetre, MaxPressure: 3 * Bar},
		Medium: packing.Medium{Name: "Marram", Lot: "M-0417", MeanBead: 90 * Micrometre, SettledVoid: 0.40,
			DensityExcess: 80 * KilogramPerCubicMetre, MaxBedPressure: 2 * Bar},
		Slurry:    packing.Slurry{Concentration: 52 * Percent},
		BedHeight: 18 * Centimetre, CompressionFactor: 1.12, Curve: curve,
		Limits: packing.Limits{SystemPressure: 2.5 * Bar, PumpFlow: 300 * LitrePerHour},
	}.Plan()
	must(err)
	return steps
}

// runOf makes traces of a made pack.
func runOf(t testing.TB, p made.Pack) plan.Run {
	t.Helper()
	rows := p.Rows()
	seconds := make([]float64, len(rows.Time))
	for i, v := range rows.Time {
		seconds[i] = 60 * v
	}
	signal := func(name, unit string, y []float64) trace.Trace {
		tr, err := trace.Make(name, unit, trace.Time, seconds, y)
		if err != nil {
			t.Fatal(err)
		}
		return tr
	}
	return plan.Run{Label: "made pack", Flow: signal("Flow", "L/h", rows.Flow), Pressure: signal("Pressure", "bar", rows.Pressure),
		BedHeight: signal("Bed height", "cm", rows.Bed), Adapter: signal("Adapter", "cm", rows.Adapter), AdapterReads: plan.AboveNet}
}

func TestLook(t *testing.T) {
	f, err := plan.Review{Plan: planned(t), SlurryPoured: 27.5 * Litre}.Of(runOf(t, made.OwnPack()))
	if err != nil {
		t.Fatal(err)
	}
	t.Log("\n" + f.String())
	os.WriteFile("/tmp/review.html", []byte("<meta charset=utf-8><body style='font-family:sans-serif'>"+f.HTML()), 0o644)
}
