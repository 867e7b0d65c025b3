package plan_test

import (
	"fmt"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/plan"
	. "github.com/evenbed/evenbed/packing/units"
)

func ExampleConstantFlow() {
	// Column, medium and curve are invented.
	curve, err := bed.Readings{
		Velocity:          CentimetrePerHour.Each(20, 100, 200, 300, 400),
		CompressionFactor: []float64{1.01, 1.04, 1.08, 1.11, 1.15},
		Pressure:          Bar.Each(0.02, 0.12, 0.27, 0.46, 0.70),
	}.Curve()
	if err != nil {
		fmt.Println(err)
		return
	}
	pack := plan.ConstantFlow{
		Column: packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre, TubeHeight: 60 * Centimetre, MaxPressure: 3 * Bar},
		Medium: packing.Medium{Name: "Marram", MeanBead: 90 * Micrometre, SettledVoid: 0.40,
			DensityExcess: 80 * KilogramPerCubicMetre, MaxBedPressure: 2 * Bar},
		Slurry:    packing.Slurry{Concentration: 52 * Percent},
		BedHeight: 18 * Centimetre, CompressionFactor: 1.11,
		Curve: curve,
	}
	steps, err := pack.Plan()
	fmt.Printf("first step %.0f min, second at %v, %v\n", steps.First.Time.In(Minute), steps.Second.Velocity, err)

	pack.Medium.MaxBedPressure = 0.3 * Bar
	steps, _ = pack.Plan()
	fmt.Println(steps) // a refused plan shows its refusal
	// Output:
	// first step 26 min, second at 300 cm/h, <nil>
	// Packing by constant flow: column 04, Marram
	//
	// Refused: column 04: pressure 0.46 bar at 300 cm/h: it passes the limit of the bed of Marram, 0.3 bar; ask for a lower compression factor or a lower bed; a limit is not to be raised for a plan
	//
	// Limits, lowest first
	// limit          allowed   planned    left
	// -------------  -------  --------  ------
	// bed of Marram  0.3 bar  0.46 bar  passed
	// column           3 bar  0.46 bar    84 %
}

func ExampleProcedure_Play() {
	// A bed that settles by itself and is compressed by the adapter. Column, medium
	// and law are invented.
	steps, err := plan.AxialCompression{
		Column: packing.Column{InnerDiameter: 10 * Centimetre, TubeHeight: 60 * Centimetre},
		Medium: packing.Medium{Name: "Marram", MeanBead: 90 * Micrometre, SettledVoid: 0.40,
			DensityExcess: 80 * KilogramPerCubicMetre},
		Slurry:    packing.Slurry{Concentration: 52 * Percent},
		BedHeight: 18 * Centimetre, CompressionFactor: 1.12,
		Law: bed.LinearStrain{Modulus: 4 * Bar},
	}.Plan()
	fmt.Printf("load %.3f bar, %v\n", steps.Adapter.Load.In(Bar), err) // M·(1 - 1/CF)

	played, err := steps.Play()
	for _, s := range played.Steps {
		end := played.Moments[s.Last]
		fmt.Printf("%-8s ends after %4.1f min, bed %.2f cm\n", s.Name, end.Time.In(Minute), end.Bed.In(Centimetre))
	}
	fmt.Println(err)
	// Output:
	// load 0.429 bar, <nil>
	// settle   ends after 51.5 min, bed 20.16 cm
	// adapter  ends after 52.1 min, bed 20.16 cm
	// compress ends after 56.4 min, bed 18.00 cm
	// hold     ends after 57.4 min, bed 18.00 cm
	// <nil>
}
