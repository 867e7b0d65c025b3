package units_test

import (
	"fmt"
	"testing"

	. "github.com/evenbed/evenbed/packing/units"
)

func TestAmounts(t *testing.T) {
	for _, tc := range []struct {
		q    fmt.Stringer
		want string
	}{
		{0.15 * MolePerLitre, "150 mmol/L"}, {20 * MillimolePerLitre, "20 mmol/L"},
		{0.99994 * MolePerLitre, "999.9 mmol/L"}, {0.99996 * MolePerLitre, "1 mol/L"}, {2 * MolePerLitre, "2 mol/L"},
	} {
		if got := tc.q.String(); got != tc.want {
			t.Errorf("%T(%g): %q, want %q", tc.q, tc.q, got, tc.want)
		}
	}
	near(t, "mol/L in mol/m³", MolePerLitre.In(MolePerCubicMetre), 1000, "definition: 1000 L in 1 m³")
	near(t, "round trip", MolePerLitre.Times(0.5).In(MillimolePerLitre), 500, "definition")
}
