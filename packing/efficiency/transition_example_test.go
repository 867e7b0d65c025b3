package efficiency_test

import (
	"fmt"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/efficiency"
	"github.com/evenbed/evenbed/packing/record"
	. "github.com/evenbed/evenbed/packing/units"
)

func ExampleQuantilePlates() {
	// By hand: σ = (1.05 L - 0.95 L)/2, (1 L / 0.05 L)² = 400.
	fmt.Printf("%.0f\n", efficiency.QuantilePlates(950*Millilitre, 1*Litre, 1050*Millilitre))
	// Output: 400
}

// Two cycles of the invented season of the demonstration column: the later one
// has a tail.
func ExampleTransitionResult_Against() {
	season, err := record.Read("../../testdata/column04-season.csv")
	if err != nil {
		fmt.Println(err)
		return
	}
	var results []efficiency.TransitionResult
	for _, label := range []string{"cycle 02", "cycle 32"} {
		signal, err := season.Signal(label)
		if err != nil {
			fmt.Println(err)
			return
		}
		result, err := efficiency.Transition{
			Name: "wash to strip", Label: label, Column: packing.Column{InnerDiameter: 30 * Centimetre},
			BedHeight: 18 * Centimetre, MeanBead: 90 * Micrometre, ExtraColumnVolume: 350 * Millilitre,
		}.Evaluate(signal)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%s: reduced plate height %.1f, asymmetry %.1f\n", label, result.ReducedPlateHeight, result.Asymmetry)
		results = append(results, result)
	}
	c, err := results[1].Against(results[0])
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("largest distance %.2f of the step, of the shapes %.2f\n", c.Distance, c.ShapeDistance)
	// Output:
	// cycle 02: reduced plate height 3.0, asymmetry 1.1
	// cycle 32: reduced plate height 4.7, asymmetry 1.4
	// largest distance 0.18 of the step, of the shapes 0.06
}
