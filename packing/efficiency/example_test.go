package efficiency_test

import (
	"fmt"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/efficiency"
	"github.com/evenbed/evenbed/packing/record"
	. "github.com/evenbed/evenbed/packing/units"
)

func ExamplePlates() {
	// By hand: 5.54 · (300 s / 12 s)² = 5.54 · 625 = 3462.5.
	fmt.Printf("%.1f\n", efficiency.Plates(5*Minute, 12*Second))
	// Output: 3462.5
}

// The invented pulse test of the demonstration column.
func ExamplePulse_Evaluate() {
	export, err := record.Read("../../testdata/column04-pulse.csv")
	if err != nil {
		fmt.Println(err)
		return
	}
	uv, err := export.Signal("UV")
	if err != nil {
		fmt.Println(err)
		return
	}
	test, err := efficiency.Pulse{
		Column:    packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre},
		BedHeight: 18 * Centimetre, Flow: 21.2 * LitrePerHour,
		MeanBead: 90 * Micrometre, SampleVolume: 127 * Millilitre,
		Limits: efficiency.Limits{PlatesPerMetre: efficiency.AtLeast("4000"), Asymmetry: efficiency.Between("0.80", "1.50")},
	}.Evaluate(uv)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, c := range test.Checks {
		if c.Outcome == efficiency.NotChecked {
			continue
		}
		fmt.Printf("%s %s, limit %v: %v\n", c.Quantity, c.Reported, c.Limit, c.Outcome)
	}
	fmt.Printf("reduced plate height %.1f at %v: %v\n", test.ReducedPlateHeight, test.Velocity, test.Verdict)
	// Output:
	// plates per metre 4296, limit at least 4000: meets
	// asymmetry at 10 % 1.21, limit 0.80 to 1.50: meets
	// reduced plate height 2.6 at 29.99 cm/h: meets
}

// All files that fit a pattern, here the one invented pulse test of the
// demonstration column.
func ExamplePulse_EvaluateFrom() {
	files, err := record.Folder{Glob: "../../testdata/column04-pulse*.csv", Signal: "UV"}.Files()
	if err != nil {
		fmt.Println(err)
		return
	}
	tests, err := efficiency.Pulse{
		Column:    packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre},
		BedHeight: 18 * Centimetre, Flow: 21.2 * LitrePerHour,
		MeanBead: 90 * Micrometre, SampleVolume: 127 * Millilitre,
		Limits: efficiency.Limits{PlatesPerMetre: efficiency.AtLeast("4000")},
	}.EvaluateFrom(files)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, r := range tests.Rows {
		fmt.Printf("%s: %.0f plates per metre, reduced plate height %.1f, asymmetry %.2f, at %v: %v\n",
			r.File, r.PlatesPerMetre, r.ReducedPlateHeight, r.Asymmetry, r.Velocity, r.Verdict)
	}
	fmt.Println(len(tests.Errors()), "without a result,", tests.Missing, "missing")
	// Output:
	// ../../testdata/column04-pulse.csv: 4296 plates per metre, reduced plate height 2.6, asymmetry 1.21, at 29.99 cm/h: meets
	// 0 without a result, 0 missing
}
