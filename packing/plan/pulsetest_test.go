package plan_test

import (
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/efficiency"
	"github.com/evenbed/evenbed/packing/plan"
	. "github.com/evenbed/evenbed/packing/units"
)

// acetone is a request whose test is written down whole.
func acetone(t *testing.T) plan.ConstantFlow {
	c := own(t)
	c.Medium.Class = packing.SoftGel
	c.Test = efficiency.Recipe{Name: "PT-7", Tracer: efficiency.Tracer{Name: "acetone", Kind: efficiency.SmallNeutral, Strength: 1 * Percent}, HoldUp: 300 * Millilitre,
		Detector: efficiency.Detector{Signal: "UV 280 nm", Unit: "mAU", Path: 2 * Millimetre, Response: 900, LinearTo: 2000}}
	return c
}

// TestPulseTestOfThePlan: the plan says how the test is run and what to expect of it,
// and the same recipe goes to its evaluation. By hand: the column volume is 12.7235 L
// and 1 % of it the sample; small neutral tracers come at 0.90 to 0.97 column volumes
// on soft gels (common practice), so with the hold-up and half the sample at 11.8147
// to 12.7054 L, at 21.2058 L/h after 33.429 to 35.949 min. The peak is 0.12 of the
// sample's strength high (rule of the trade, two digits); erf(0.010695·√769.2/√8) = 0.11790, times 900 mAU, is 106 mAU.
func TestPulseTestOfThePlan(t *testing.T) {
	p := mustPlan(t, acetone(t))
	e := p.Test
	near(t, "sample", e.Recipe.SampleVolume.In(Millilitre), 127.235, 1e-5, "by hand")
	near(t, "first apex", e.VolumeLow.In(Litre), 11.8147, 1e-5, "by hand")
	near(t, "last apex", e.VolumeHigh.In(Litre), 12.7054, 1e-5, "by hand")
	near(t, "first time", e.TimeLow.In(Minute), 33.429, 1e-4, "by hand")
	near(t, "last time", e.TimeHigh.In(Minute), 35.949, 1e-4, "by hand")
	near(t, "height", e.Height, 900*0.12, 0.05, "rule of the trade")
	if e.Outcome != efficiency.Meets || p.Request.Test.Temperature != Celsius(20) {
		t.Errorf("%v at %v", e.Outcome, p.Request.Test.Temperature)
	}
	for name, text := range map[string]string{"plan": p.Page().Markdown(), "sheet": p.Paper().Page().Markdown()} {
		for _, want := range []string{"| procedure | PT-7 |", "| tracer | acetone, small and neutral, 1 % |", "| sample | 127.2 mL |", "| velocity | 30 cm/h, 21.21 L/h |",
			"| temperature of the liquid | 20 °C |", "| hold-up outside the column | 300 mL |", "| detector | UV 280 nm, path 2 mm, linear to 2000 mAU |",
			"| net retention | 0.90 to 0.97 CV (usual for this class of media, common practice, no source) |", "33.43 min to 35.95 min",
			"of acetone, small and neutral, 1 % at 30 cm/h", "Expected: apex 33.4 to 35.9 min after the start of the sample, about 106 mAU high."} {
			if !strings.Contains(text, want) {
				t.Errorf("the %s does not say %q:\n%s", name, want, text)
			}
		}
		if strings.Contains(text, "Salt as the tracer") || strings.Contains(text, "Test.Tracer not given") || strings.Contains(text, "Response or LinearTo") {
			t.Errorf("the %s speaks of what does not count:\n%s", name, text)
		}
	}
	for _, tc := range []struct {
		what   string
		change func(c *plan.ConstantFlow)
		where  func(p plan.Procedure) []string
		want   string
	}{
		{"too strong", func(c *plan.ConstantFlow) { c.Test.Detector.Response = 40000 }, func(p plan.Procedure) []string { return p.Cautions }, "Pulse test: The peak would be"},
		{"weak background", func(c *plan.ConstantFlow) {
			c.Medium.Charge = packing.Charged
			c.Test.Tracer = efficiency.Tracer{Kind: efficiency.Salt, Pulse: 200 * MillimolePerLitre, Background: 100 * MillimolePerLitre}
		}, func(p plan.Procedure) []string { return p.Cautions }, "background of 100 mmol/L, less than 400 mmol/L"},
		{"no tracer", func(c *plan.ConstantFlow) { c.Test.Tracer = efficiency.Tracer{} }, func(p plan.Procedure) []string { return p.NotChecked }, "Test.Tracer not given"},
		{"no range", func(c *plan.ConstantFlow) { c.Test.Detector.LinearTo = 0 }, func(p plan.Procedure) []string { return p.NotChecked }, "against the detector's range"},
		{"no response", func(c *plan.ConstantFlow) { c.Test.Detector.Response = 0 }, func(p plan.Procedure) []string { return p.NotChecked }, "against the detector's range"},
	} {
		c := acetone(t)
		tc.change(&c)
		if p := mustPlan(t, c); !strings.Contains(strings.Join(tc.where(p), "\n"), tc.want) {
			t.Errorf("%s: %q is not in %q", tc.what, tc.want, tc.where(p))
		}
	}
	c := acetone(t)
	c.Test.Tracer.Kind = efficiency.HeldBack
	refused, err := c.Plan()
	if err == nil || !strings.Contains(err.Error(), "its retention on this medium was not stated") || !strings.Contains(refused.Test.RecipeTable().String(), "plan refused") {
		t.Errorf("a tracer that is held back: %v\n%v", err, refused.Test.RecipeTable())
	}
}
