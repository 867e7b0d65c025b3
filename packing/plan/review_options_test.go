package plan_test

import (
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/plan"
	. "github.com/evenbed/evenbed/packing/units"
)

// offered finds an option by the beginning of its words.
func offered(t *testing.T, f plan.Findings, what string) plan.Option {
	t.Helper()
	for _, o := range f.Options {
		if strings.HasPrefix(o.What, what) {
			return o
		}
	}
	t.Fatalf("%q is not offered: %v", what, f.Options)
	return plan.Option{}
}

// A bed that the flow had at its target and that stands 5 mm above it in the end
// was lost in stopping and lowering; the same again loses it again.
func TestLostInLowering(t *testing.T) {
	p := made.OwnPack()
	p.Mark = 18.5
	f := read(t, p, nil)
	if f.Advice != plan.AddStep {
		t.Fatalf("%v: %v", f.Advice, f.Reasons)
	}
	about(t, "not reached, mm", f.NotReached.In(Millimetre), (p.Settle/1.1202-18)*10, 0.6)
	about(t, "lost, mm", f.Lost.In(Millimetre), 185-p.Settle/1.1202*10, 0.6)
	if all := strings.Join(f.Reasons, "\n"); !strings.Contains(all, "lost in stopping and lowering, not missed by the flow") || strings.Contains(all, "never reached") {
		t.Error(all)
	}
	if o := offered(t, f, "the same flow again"); !strings.Contains(o.Against, "the same again loses it again") {
		t.Errorf("%v", o)
	}
	o := offered(t, f, "the same flow, then the adapter down with the outlet open")
	if o.Against != "" {
		t.Errorf("%v", o)
	}
	about(t, "pressure, bar", o.Pressure.In(Bar), f.Steps[3].Pressure.In(Bar), 1e-12)
	about(t, "force, kN", o.Force.In(Kilonewton), o.Pressure.In(Bar)*100*math.Pi/4*0.09, 1e-9)
	about(t, "travel, mm", o.Travel.In(Millimetre), f.Lost.In(Millimetre), 1.1)
	// Without a law the force is not known, but where the medium's limit is: 2 bar on 706.858 cm².
	o = offered(t, f, "flow off, outlet open, the adapter on")
	about(t, "travel, mm", o.Travel.In(Millimetre), 5, 0.6)
	if o.Against != "" || !strings.Contains(o.Open, "stop at 14.1 kN, where the medium's limit is met") || !math.IsNaN(float64(o.Force)) {
		t.Errorf("%v", o)
	}
	// A drive that is too weak for the open outlet leaves only the unknown force.
	f = read(t, p, func(r *plan.Review, _ *plan.Run) {
		r.Limits = r.Plan.Request.Limits
		r.Limits.AdapterForce = 1 * Kilonewton
	})
	if o := offered(t, f, "the same flow, then the adapter down with the outlet open"); !strings.Contains(o.Against, "pass the limit of the drive, 1.00 kN") {
		t.Errorf("%v", o)
	}
	for _, text := range []string{f.String(), f.Page().HTML(), f.Page().Markdown()} {
		if !strings.Contains(text, "Ways on, held against curve and limits") || strings.Contains(text, "NaN") {
			t.Errorf("%s", text)
		}
	}
}

// A bed that was steady at 250 cm/h and too high was never reached by flow: the
// same step cannot help, and a higher flow only as far as curve and limits go.
func TestNotReached(t *testing.T) {
	p := made.OwnPack()
	p.Second, p.Mark = 250, 18.55
	law := func(r *plan.Review) {
		r.Plan.Request.Law = demoLaw()
	}
	f := read(t, p, func(r *plan.Review, _ *plan.Run) { law(r) })
	if f.Advice != plan.AddStep || !strings.Contains(strings.Join(f.Reasons, "\n"), "the flow never reached the target") || strings.Contains(strings.Join(f.Reasons, "\n"), "lost in stopping") {
		t.Fatalf("%v: %v", f.Advice, f.Reasons)
	}
	if o := offered(t, f, "the same flow again"); !strings.Contains(o.Against, "the same step cannot help") {
		t.Errorf("%v", o)
	}
	o := offered(t, f, "a higher flow")
	if o.Against != "" {
		t.Fatalf("%v", o)
	}
	// The factor that the settled bed needs, at the pressure that its law has there.
	pressure := demoPressure(float64(o.Velocity), 0.2016)
	_, cf := demoState(pressure, 0.2016)
	about(t, "factor by the law of the bed", cf, o.Factor, 2e-3)
	about(t, "pressure, bar", o.Pressure.In(Bar), pressure/1e5, 0.01)
	about(t, "flow, L/h", o.Flow.In(LitrePerHour), o.Velocity.In(CentimetrePerHour)*0.706858, 1e-3)
	about(t, "height, cm", o.Height.In(Centimetre), 18, 1e-12)
	// By the law σ = pa·(CF^12.5 - 1) at rest.
	o = offered(t, f, "flow off, outlet open, the adapter on")
	about(t, "force, kN", o.Force.In(Kilonewton), 5*(math.Pow(o.Factor, 12.5)-1)*math.Pi/4*0.09, 0.002)
	about(t, "travel, mm", o.Travel.In(Millimetre), f.BedHeight.In(Millimetre)-180, 0.6)

	for _, tc := range []struct {
		name   string
		change func(r *plan.Review)
		what   string
		want   string
	}{
		{"pump", func(r *plan.Review) { r.Limits.PumpFlow = 200 * LitrePerHour }, "a higher flow", "pass the limit for the flow of the pump"},
		{"system", func(r *plan.Review) { r.Limits.SystemPressure = 0.45 * Bar }, "a higher flow", "pass the limit of the system, 0.45 bar"},
		{"end plate", func(r *plan.Review) { r.Limits.EndPlateForce = 3.2 * Kilonewton }, "a higher flow", "pass the limit of the end plate"},
		{"velocity", func(r *plan.Review) { r.Medium.MaxVelocity = 300 * CentimetrePerHour }, "a higher flow", "pass the limit for the velocity of Marram, 300 cm/h"},
		{"critical", func(r *plan.Review) { r.Plan.Reach.Critical = 300 * CentimetrePerHour }, "a higher flow", "not below the critical velocity by the law"},
		{"end of the curve", func(r *plan.Review) { r.Curve.Points = r.Curve.Points[:14] }, "a higher flow", "the curve ends at 279.5 cm/h"},
		{"drive", func(r *plan.Review) { r.Limits.AdapterForce = 1 * Kilonewton }, "flow off, outlet open", "pass the limit of the drive"},
		{"load", func(r *plan.Review) { r.Medium.MaxBedPressure = 0.14 * Bar; r.Medium.Name = "other" }, "flow off, outlet open", "pass the limit of the bed of other"},
	} {
		f := read(t, p, func(r *plan.Review, _ *plan.Run) {
			law(r)
			r.Limits, r.Medium, r.Curve = r.Plan.Request.Limits, r.Plan.Request.Medium, r.Plan.Request.Curve
			tc.change(r)
		})
		if f.Advice == plan.Repack && len(f.Options) == 0 { // a limit was passed in the run already
			continue
		}
		if o := offered(t, f, tc.what); !strings.Contains(o.Against, tc.want) {
			t.Errorf("%s: %v", tc.name, o)
		}
	}
	// Nothing is left: the advice is not a step that cannot be done.
	f = read(t, p, func(r *plan.Review, _ *plan.Run) {
		law(r)
		r.Limits = r.Plan.Request.Limits
		r.Limits.PumpFlow, r.Limits.AdapterForce = 200*LitrePerHour, 0.5*Kilonewton
	})
	if f.Advice != plan.Repack || !strings.Contains(strings.Join(f.Reasons, "\n"), "none of the ways on is allowed by curve and limits") {
		t.Errorf("%v: %v", f.Advice, f.Reasons)
	}
	// Not steady: the same flow for longer may help, and is not said to.
	f = read(t, p, func(r *plan.Review, _ *plan.Run) { r.Steady.Over = 20 * Minute })
	if o := offered(t, f, "the same flow again"); o.Against != "" || !strings.Contains(o.Open, "whether the step was steady") {
		t.Errorf("%v", o)
	}
}

// A bed compressed less than its curve says at the flow that was run needs more
// than the curve says.
func TestBesideTheCurve(t *testing.T) {
	p := made.OwnPack()
	p.Second, p.Mark = 250, 18.55
	plain := read(t, p, nil)
	stiff := read(t, p, func(r *plan.Review, _ *plan.Run) {
		r.Curve = r.Plan.Request.Curve
		r.Curve.Points = append(r.Curve.Points[:0:0], r.Curve.Points...)
		for i := range r.Curve.Points { // of a bed that gives way more
			r.Curve.Points[i].CompressionFactor = 1 + 1.1*(r.Curve.Points[i].CompressionFactor-1)
		}
	})
	a, b := offered(t, plain, "a higher flow"), offered(t, stiff, "a higher flow")
	if strings.Contains(a.Open, "less than its curve") || !strings.Contains(b.Open, "less than its curve says") {
		t.Errorf("%v\n%v", a, b)
	}
	about(t, "velocity, cm/h", b.Velocity.In(CentimetrePerHour), a.Velocity.In(CentimetrePerHour), 12) // not lower by as much as the softer curve says
}

// The review is told the plan's tolerance of the target.
func TestReviewTarget(t *testing.T) {
	p := made.OwnPack()
	p.Mark = 18.3
	tight := func(mm float64) plan.Findings {
		return read(t, p, func(r *plan.Review, _ *plan.Run) { r.Plan.Request.TargetTolerance = Millimetre.Times(mm) })
	}
	if f := tight(2); f.Advice != plan.AddStep {
		t.Errorf("%v", f.Reasons)
	}
	if f := tight(4); f.Advice != plan.ProceedToTest || f.Review.Tolerances.Mark != 4*Millimetre {
		t.Errorf("%v", f.Reasons)
	}
}

// A bed that settled low keeps its factor further down, with the travel that takes.
func TestKeepFactorOption(t *testing.T) {
	p := made.OwnPack()
	p.Settle = 19.2
	f := read(t, p, nil)
	o := offered(t, f, "flow off, outlet open, the adapter on to where the factor is kept")
	about(t, "height, cm", o.Height.In(Centimetre), 19.2/1.12, 0.03)
	about(t, "travel, mm", o.Travel.In(Millimetre), 180.2-1920/11.2, 0.6)
	about(t, "factor", o.Factor, 1.12, 1e-12)
}

// The review, word by word.
func TestReviewPrinted(t *testing.T) {
	golden(t, "review.txt", read(t, made.OwnPack(), nil).String())
	p := made.OwnPack()
	p.Mark = 18.5
	golden(t, "review-missed.txt", read(t, p, nil).String())
}
