package plan_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/plan"
	. "github.com/evenbed/evenbed/packing/units"
)

// TestBounds: the ends of what a plan takes, each from what its message says. The
// end itself passes its check, and a little more does not.
func TestBounds(t *testing.T) {
	for _, x := range []struct {
		name string
		high float64 // SI
		set  func(c *plan.ConstantFlow, v float64)
	}{
		{"standard error of the slurry concentration", 0.5, func(c *plan.ConstantFlow, v float64) { c.SlurryStdErr = Fraction(v) }},
		{"dead volume", 10, func(c *plan.ConstantFlow, v float64) { c.DeadVolume = Volume(v) }},
		{"transfer flow", 0.1, func(c *plan.ConstantFlow, v float64) { c.Site.TransferFlow = VolumeFlow(v) }},
		{"mass of the column", 1e5, func(c *plan.ConstantFlow, v float64) { c.Site.ColumnMass = Mass(v) }},
		{"hold-up", 1, func(c *plan.ConstantFlow, v float64) { c.Test.HoldUp = Volume(v) }},
		{"settled height found", 5, func(c *plan.ConstantFlow, v float64) { c.SettledFound = Length(v) }},
		{"ramp", 86400, func(c *plan.ConstantFlow, v float64) { c.RaiseSteps, c.Ramp = 0, Time(v) }},
		{"tolerance of the target position", 0.05, func(c *plan.ConstantFlow, v float64) { c.TargetTolerance = Length(v) }},
		{"pressure to act at, above the expected one", 1, func(c *plan.ConstantFlow, v float64) { c.Site.ActAbove = Fraction(v) }},
		{"time of recovery", 1e6, func(c *plan.ConstantFlow, v float64) { c.Recovery.FastTime = Time(v) }},
		{"slow time of recovery", 1e6, func(c *plan.ConstantFlow, v float64) { c.Recovery.SlowTime = Time(v) }},
		{"part that recovers", 1, func(c *plan.ConstantFlow, v float64) { c.Recovery = plan.Recovery{Fast: v, FastTime: 1} }},
		{"part that recovers slowly", 1, func(c *plan.ConstantFlow, v float64) {
			c.Recovery = plan.Recovery{Fast: 0, FastTime: 1, Slow: v, SlowTime: 2}
		}},
		{"test sample", 0.2, func(c *plan.ConstantFlow, v float64) { c.Test.SampleVolume = c.Column.Volume(c.BedHeight).Times(v) }},
		{"ruler zero", 5, func(c *plan.ConstantFlow, v float64) { c.RulerZero = Length(v) }},
		{"wall friction", 2, func(c *plan.ConstantFlow, v float64) { c.WallFriction = v }},
		{"steps up to", 20, func(c *plan.ConstantFlow, v float64) { c.RaiseSteps = int(v + 0.999) }},
	} {
		for _, tc := range []struct {
			v  float64
			ok bool
		}{{x.high, true}, {x.high * 1.01, false}, {-1e-9 - 1e3*x.high, false}} {
			c := full(t)
			x.set(&c, tc.v)
			_, err := c.Plan()
			if refused := err != nil && strings.Contains(err.Error(), x.name+" "); refused == tc.ok {
				t.Errorf("%s = %g: refused %v, %v", x.name, tc.v, refused, err)
			}
		}
	}
	for mu, ok := range map[Viscosity]bool{0.1e-3: true, 0.099e-3: false, 1: true, 1.01: false} {
		c := own(t)
		c.Viscosity, c.Curve, c.Duties = mu, bed.Curve{}, nil
		if _, err := c.Plan(); (err == nil) != ok {
			t.Errorf("viscosity %v: %v", mu, err)
		}
	}
	// Drag margins from 1 on.
	for v, ok := range map[float64]bool{1: true, 0.999: false} {
		c := own(t)
		c.DragMargin = v
		if _, err := c.Plan(); (err == nil) != ok {
			t.Errorf("drag margin %v: %v", v, err)
		}
	}
}

// TestReviewBounds: the same for a review; the end that its message names passes.
func TestReviewBounds(t *testing.T) {
	steps, run := madePlan(t), runOf(t, made.OwnPack())
	for _, x := range []struct {
		name string
		high float64
		set  func(r *plan.Review, v float64)
	}{
		{"steady height", 0.1, func(r *plan.Review, v float64) { r.Steady.Height = Length(v) }},
		{"steady pressure", 1, func(r *plan.Review, v float64) { r.Steady.Pressure = Fraction(v) }},
		{"time to be steady", 86400, func(r *plan.Review, v float64) { r.Steady.Over = Time(v) }},
		{"velocity tolerance", 1, func(r *plan.Review, v float64) { r.Tolerances.Velocity = Fraction(v) }},
		{"pressure tolerance", 1, func(r *plan.Review, v float64) { r.Tolerances.Pressure = Fraction(v) }},
		{"height tolerance", 1, func(r *plan.Review, v float64) { r.Tolerances.Height = Fraction(v) }},
		{"target tolerance", 0.1, func(r *plan.Review, v float64) { r.Tolerances.Mark = Length(v) }},
		{"compression factor tolerance", 1, func(r *plan.Review, v float64) { r.Tolerances.CompressionFactor = v }},
		{"volume tolerance", 1, func(r *plan.Review, v float64) { r.Tolerances.Volume = Fraction(v) }},
		{"height error", 0.1, func(r *plan.Review, v float64) { r.HeightStdErr = Length(v) }},
		{"flow tolerance", 0.5, func(r *plan.Review, v float64) { r.FlowTolerance = Fraction(v) }},
	} {
		for v, ok := range map[float64]bool{x.high: true, x.high * 1.01: false, -x.high: false} {
			r := plan.Review{Plan: steps}
			x.set(&r, v)
			_, err := r.Of(run)
			if refused := err != nil && strings.Contains(err.Error(), x.name+" "); refused == ok {
				t.Errorf("%s = %g: %v", x.name, v, err)
			}
			if !ok && !strings.Contains(fmt.Sprint(err), fmt.Sprintf("at most %v in SI units", x.high)) {
				t.Errorf("%s = %g: %v", x.name, v, err)
			}
		}
	}
	for cf, ok := range map[float64]bool{1: true, 2.99: true, 3: false, 0.99: false} {
		_, err := plan.Review{Plan: steps, CompressionFactor: cf}.Of(run)
		if (err == nil) != ok {
			t.Errorf("compression factor %v: %v", cf, err)
		}
	}
}
