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

// TestEveryMethodPrinted: what each method shows, plan and play, word by word. These
// texts are our own; they say what has changed, not what is right.
func TestEveryMethodPrinted(t *testing.T) {
	for name, m := range methods(t) {
		if name == "constant flow" {
			continue // see TestPrinted
		}
		p := planned(t, name, m)
		file := strings.NewReplacer(",", "", " ", "-").Replace(name)
		golden(t, "plan-"+file+".md", p.Page().Markdown())
	}
	var played strings.Builder
	for _, name := range []string{"constant flow", "flow, then adapter", "constant pressure", "axial compression", "suction fill", "suction fill, by adapter", "nozzle, in place"} {
		play, err := planned(t, name, methods(t)[name]).Play()
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintln(&played, play)
		for i := 0; i < len(play.Moments); i += 20 {
			fmt.Fprintln(&played, play.Moments[i])
		}
		fmt.Fprintln(&played, play.Frames())
	}
	golden(t, "played.txt", played.String())
	var all []plan.Procedure
	for _, name := range []string{"constant flow", "flow, then adapter", "constant pressure", "axial compression", "suction fill", "nozzle, in place"} {
		all = append(all, planned(t, name, methods(t)[name]))
	}
	golden(t, "compared.txt", plan.Compare(all...).String())
}

// TestSmallPlanPrinted: a narrow column at a site that gave little, without curve,
// law and hardware; in the cold; a mineral.
func TestSmallPlanPrinted(t *testing.T) {
	c := packingOf(t, 2.6*Centimetre)
	c.Temperature = Celsius(5)
	golden(t, "plan-narrow.md", mustPlan(t, c).Page().Markdown())
	golden(t, "plan-no-curve.md", mustPlan(t, tall(t)).Page().Markdown())
	lawful := own(t)
	lawful.Curve, lawful.Law, lawful.CompressionFactor, lawful.PackingVelocity, lawful.Catch = bed.Curve{}, demoLaw(), 1.13, 280*CentimetrePerHour, plan.OutletOpen
	golden(t, "plan-law.md", mustPlan(t, lawful).Page().Markdown())
}

// TestReviewsPrinted: reviews of packs by pressure, by the adapter and of two steps.
func TestReviewsPrinted(t *testing.T) {
	p := made.OwnPack()
	p.Mark, p.ThirdAt, p.Mark3, p.End = 18.6, 53, 18.4, 66
	golden(t, "review-twice.txt", read(t, p, nil).String())
	p = made.OwnPack()
	p.Catch, p.End, p.Surge = 420, 66, 1.7
	golden(t, "review-surge.txt", read(t, p, nil).String())
	f, err := plan.Review{Plan: adapterPlan(t)}.Of(byAdapter(30, 18, 0).run(t))
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "review-adapter.txt", f.String())
	steps := pressurePlan(t, 0.5*Bar)
	if f, err = (plan.Review{Plan: steps, SlurryPoured: 27.4 * Litre}).Of(byPressure(t, steps.Request.Curve, 0.5, 1).run(t)); err != nil {
		t.Fatal(err)
	}
	golden(t, "review-pressure.txt", f.String())
}
