package plan_test

import (
	"fmt"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/plan"
	"github.com/evenbed/evenbed/packing/record"
	. "github.com/evenbed/evenbed/packing/units"
)

func ExampleReview() {
	// Column and record are invented.
	export, err := record.Read("../../testdata/column04-pack.csv")
	if err != nil {
		fmt.Println(err)
		return
	}
	run := plan.Run{AdapterReads: plan.AboveNet}
	run.Flow, _ = export.Signal("Flow")
	run.Pressure, _ = export.Signal("Pressure")
	run.BedHeight, _ = export.Signal("Bed height")
	run.Adapter, _ = export.Signal("Adapter")

	found, err := plan.Review{ // without a plan
		Column:    packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre, MaxPressure: 3 * Bar},
		BedHeight: 18 * Centimetre, CompressionFactor: 1.12,
		Slurry: packing.Slurry{Concentration: 52 * Percent}, SlurryPoured: 27.5 * Litre,
	}.Of(run)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range found.Steps[1:] { // the first is the time before the flow
		fmt.Printf("%-18s %4.1f to %4.1f min, %5.2f column volumes\n", s.Name, s.Start.In(Minute), s.End.In(Minute), s.ColumnVolumes)
	}
	fmt.Printf("by the slurry the compression factor is %.2f ± %.2f\n", found.BySlurry, found.BySlurryStdErr)
	fmt.Println(found.Advice)
	// Output:
	// step 1, loose bed   1.2 to 38.4 min,  0.69 column volumes
	// flow off, adapter  38.4 to 41.9 min,  0.00 column volumes
	// step 2, compress   41.9 to 49.3 min,  2.26 column volumes
	// stop, lowering     49.3 to 54.0 min,  0.00 column volumes
	// flow afterwards    54.0 to 60.0 min,  0.33 column volumes
	// by the slurry the compression factor is 1.12 ± 0.04
	// proceed to test
}
