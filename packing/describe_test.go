package packing

import (
	"fmt"
	"testing"

	"github.com/evenbed/evenbed/packing/units"
)

func TestDescriptions(t *testing.T) {
	for _, c := range []struct {
		value fmt.Stringer
		want  string
	}{
		{Column{Tag: "column 04", InnerDiameter: 30 * units.Centimetre, TubeHeight: 60 * units.Centimetre},
			"column 04: inner diameter 30 cm, area 706.9 cm², tube height 60 cm; not given: maximum pressure"},
		{Column{InnerDiameter: 30 * units.Metre},
			"column: inner diameter 30 m, area 706.9 m²; not given: tube height, maximum pressure; " +
				"cannot be: column: inner diameter 30 m: more than 3 m, which does not occur; was the unit forgotten? Write for example 30 * Centimetre"},
		{Medium{Name: "Marram", Lot: "M-0417", MeanBead: 90 * units.Micrometre, SettledVoid: 0.4,
			DensityExcess: 80 * units.KilogramPerCubicMetre, MaxBedPressure: 2 * units.Bar},
			"Marram, lot M-0417: mean bead 90 µm, settled void 0.4, density excess 80 kg/m³, settling exponent 4.65, " +
				"maximum bed pressure 2 bar; not given: class, maximum velocity"},
		{Slurry{52 * units.Percent}, "slurry: settled bed over slurry 52 %"},
		{Limits{SystemPressure: 2.5 * units.Bar, PumpFlow: 300 * units.LitrePerHour},
			"limits: system pressure 2.5 bar, pump flow 300 L/h; not given: tube pressure, pump pressure, relief pressure, least pump flow, adapter force"},
	} {
		if got := c.value.String(); got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
}
