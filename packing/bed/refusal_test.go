package bed_test

import (
	"errors"
	"fmt"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/internal/page"
	. "github.com/evenbed/evenbed/packing/units"
)

// TestRefusalsAreShown: what was refused shows why, though nobody looked at the
// error.
func TestRefusalsAreShown(t *testing.T) {
	b := bed.Compressible{Law: bed.LinearStrain{Modulus: 2 * Bar}, MeanBead: 90 * Micrometre, SettledVoid: 0.40, SettledHeight: 20 * Centimetre, Viscosity: 1 * MillipascalSecond}
	state, stateErr := b.At(1e4 * CentimetrePerHour)
	drops, dropsErr := bed.Rigid{}.At(100 * CentimetrePerHour)
	line, lineErr := bed.CriticalLine{}.At(bed.Size{}, 1*MillipascalSecond, 100*CentimetrePerHour)
	sediment, sedimentErr := bed.Suspension{}.Settle(40 * Centimetre)
	ofLaw, ofLawErr := bed.LawFit{}.CriticalAt(bed.Size{InnerDiameter: 0.3, SettledHeight: 0.2}, 0)
	ofLine, ofLineErr := bed.CriticalFit{}.At(bed.Size{InnerDiameter: 0.3, SettledHeight: 0.2}, 0)
	for _, tc := range []struct {
		result interface {
			Page() page.Page
			String() string
		}
		refusal, err error
	}{
		{state, state.Refusal, stateErr}, {drops, drops.Refusal, dropsErr}, {line, line.Refusal, lineErr},
		{sediment, sediment.Refusal, sedimentErr}, {ofLaw, ofLaw.Refusal, ofLawErr}, {ofLine, ofLine.Refusal, ofLineErr},
	} {
		if tc.err == nil || tc.refusal != tc.err {
			t.Errorf("%T: refused with %v, the result says %v", tc.result, tc.err, tc.refusal)
			continue
		}
		if text, want := tc.result.String(), fmt.Sprintf("No result: %v\n", tc.err); text != want {
			t.Errorf("%T shows %q, want %q", tc.result, text, want)
		}
		contains(t, tc.result.Page().HTML(), "No result:")
		contains(t, tc.result.Page().Markdown(), "No result:")
	}
	contains(t, bed.PressureDrops{}.String(), "No result: nothing has been worked out.")
}

func TestErrorAtRefuses(t *testing.T) {
	c := bed.Curve{Points: []bed.Point{{Velocity: 100 * CentimetrePerHour, CompressionFactor: 1.05, Pressure: 0.5 * Bar}, {Velocity: 200 * CentimetrePerHour, CompressionFactor: 1.1, Pressure: 1.2 * Bar}, {Velocity: 300 * CentimetrePerHour, CompressionFactor: 1.13, Pressure: 2 * Bar}}}
	for range 2 { // without errors, and with
		var beyond *bed.RangeError
		if _, err := c.ErrorAt(400 * CentimetrePerHour); !errors.As(err, &beyond) {
			t.Errorf("beyond the curve: %v", err)
		}
		if _, err := c.ErrorAt(-1 * CentimetrePerHour); err == nil {
			t.Error("a negative velocity has an error")
		}
		if e, err := c.ErrorAt(250 * CentimetrePerHour); err != nil || (len(c.StdErr) > 0) != (e.Pressure > 0) {
			t.Errorf("on the curve: %v, %v", e, err)
		}
		c.StdErr = []bed.PointError{{CompressionFactor: 1e-3, Pressure: 10}, {CompressionFactor: 1e-3, Pressure: 20}, {CompressionFactor: 1e-3, Pressure: 30}}
	}
}

// TestErrorsOfEveryPoint: a curve with errors has one for every point, or is refused.
func TestErrorsOfEveryPoint(t *testing.T) {
	c := bed.Curve{Points: []bed.Point{{Velocity: 100 * CentimetrePerHour, CompressionFactor: 1.05, Pressure: 0.5 * Bar}, {Velocity: 200 * CentimetrePerHour, CompressionFactor: 1.1, Pressure: 1.2 * Bar}, {Velocity: 300 * CentimetrePerHour, CompressionFactor: 1.13, Pressure: 2 * Bar}}}
	for n := range 5 {
		c.StdErr = make([]bed.PointError, n)
		if err := c.Check(); (err == nil) != (n == 0 || n == 3) {
			t.Errorf("%d errors for 3 points: %v", n, err)
		}
	}
}
