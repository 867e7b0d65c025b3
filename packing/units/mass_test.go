package units

import "testing"

func TestMass(t *testing.T) {
	for _, tc := range []struct {
		m    Mass
		want string
	}{
		{0, "0 kg"}, {250 * Milligram, "250 mg"}, {0.99994 * Gram, "999.9 mg"}, {0.99996 * Gram, "1 g"},
		{12.5 * Gram, "12.5 g"}, {999.96 * Gram, "1 kg"}, {-3 * Kilogram, "-3 kg"},
	} {
		if got := tc.m.String(); got != tc.want {
			t.Errorf("%v kg shows %q, want %q", float64(tc.m), got, tc.want)
		}
	}
	// By hand: 40 g/L in 12.5 L is 500 g.
	if got := (40 * GramPerLitre).Filling(12.5 * Litre).In(Gram); got != 500 {
		t.Errorf("40 g/L in 12.5 L is %v g", got)
	}
	if got := Gram.Times(2).In(Kilogram); got != 0.002 {
		t.Errorf("2 g are %v kg", got)
	}
}
