package plan_test

import (
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/plan"
	. "github.com/evenbed/evenbed/packing/units"
)

// own is the invented scenario: column 04 and the medium Marram.
func own(t *testing.T) plan.ConstantFlow {
	t.Helper()
	return plan.ConstantFlow{
		Column: packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre, TubeHeight: 60 * Centimetre, MaxPressure: 3 * Bar},
		Medium: packing.Medium{Name: "Marram", Lot: "M-0417", MeanBead: 90 * Micrometre, SettledVoid: 0.40,
			DensityExcess: 80 * KilogramPerCubicMetre, MaxBedPressure: 2 * Bar},
		Slurry:    packing.Slurry{Concentration: 52 * Percent},
		BedHeight: 18 * Centimetre, CompressionFactor: 1.12,
		Curve: demoCurve(t, 20.16*Centimetre, 400*CentimetrePerHour),
		Duties: []plan.Duty{
			{Name: "load", Velocity: 150 * CentimetrePerHour},
			{Name: "storage flush", Velocity: 60 * CentimetrePerHour, Liquid: "20 % ethanol", Viscosity: 3.5 * MillipascalSecond, Temperature: Celsius(5)},
		},
	}
}

func TestOwn(t *testing.T) {
	p, err := own(t).Plan()
	if err != nil {
		t.Fatal(err)
	}
	t.Log("\n" + p.String())
}
