package fit_test

import (
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/fit"
)

// TestParts: the tables of a fit stand alone, and an estimate shows in words.
func TestParts(t *testing.T) {
	// By hand: y = 1 + 2x with residuals 0.1, -0.1, -0.1, 0.1 at 0 to 3 keeps
	// slope 2 and intercept 1. s² = 0.04/2, so the errors are √(s²/5) = 0.063 and
	// √(s²·14/20) = 0.118.
	r, err := fit.Line([]float64{0, 1, 2, 3}, []float64{1.1, 2.9, 4.9, 7.1})
	if err != nil {
		t.Fatal(err)
	}
	for want, part := range map[string]string{"0.063": r.Table().String(), "degrees of freedom": r.GoodnessTable().String(), "Correlation": r.CorrelationTable().String()} {
		if !strings.Contains(part, want) || !strings.Contains(r.String(), part) {
			t.Errorf("%q is missing in\n%s\nor that in the whole", want, part)
		}
	}
	slope, err := r.Param("slope")
	if err != nil || slope.String() != "slope 2.000 ± 0.063" {
		t.Errorf("%v, %v", slope, err)
	}
	if s := (fit.Estimate{Name: "a", Value: 2, StdErr: math.NaN(), Fixed: true}).String(); s != "a 2.00000, fixed" {
		t.Error(s)
	}
}
