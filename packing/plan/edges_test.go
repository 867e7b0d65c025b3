package plan_test

import (
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/plan"
	. "github.com/evenbed/evenbed/packing/units"
)

// TestToleranceItselfIsAllowed: a gap and a tilt as large as the tolerance are within
// it, any larger are not.
func TestToleranceItselfIsAllowed(t *testing.T) {
	run := runOf(t, made.OwnPack())
	run.Adapter = changed(t, run.Adapter, "cm", same, func(v float64) float64 { return v + 0.3 })
	found, err := plan.Review{Plan: madePlan(t)}.Of(run)
	if err != nil || !(found.Gap > 2*Millimetre) {
		t.Fatalf("gap %v, %v", found.Gap, err)
	}
	typed := typedPack()
	typed.Rows[5].Heights = Centimetre.Each(18, 18, 18.3)
	tilt := typed.Rows[5].Heights[2] - typed.Rows[5].Heights[0]
	for part, want := range map[float64]bool{1: false, 1 - 1e-9: true} {
		f, err := plan.Review{Plan: madePlan(t), Tolerances: plan.Tolerances{Mark: found.Gap.Times(part)}}.Of(run)
		if err != nil {
			t.Fatal(err)
		}
		if said := strings.Contains(strings.Join(f.Reasons, ";"), "there is a gap of"); said != want {
			t.Errorf("tolerance %v of the gap: told %v: %q", part, said, f.Reasons)
		}
		f, err = plan.Review{Plan: madePlan(t), Tolerances: plan.Tolerances{Mark: tilt.Times(part)}}.OfTyped(typed)
		if err != nil {
			t.Fatal(err)
		}
		if said := strings.Contains(strings.Join(f.Doubts, ";"), "Row 6: the bed stands"); said != want {
			t.Errorf("tolerance %v of the tilt: told %v: %q", part, said, f.Doubts)
		}
	}
}

// TestNothingStaysBehind: slurry drawn or pumped in is prepared in excess only if some of it
// stays behind.
func TestNothingStaysBehind(t *testing.T) {
	drawn, pumped := methods(t)["suction fill"].(plan.SuctionFill), methods(t)["nozzle, in place"].(plan.PackInPlace)
	for dead, want := range map[Volume]bool{0: false, 1 * Litre: true} {
		drawn.DeadVolume, pumped.DeadVolume = dead, dead
		for name, m := range map[string]planner{"drawn": drawn, "pumped": pumped} {
			if got := strings.Contains(planned(t, name, m).StepTable().String(), "behind."); got != want {
				t.Errorf("%s, dead volume %v: told %v", name, dead, got)
			}
		}
	}
}

// TestMediumLimitNotGiven: by the adapter alone and without a law the limit of the
// medium is open; it is named as not given only if it was not.
func TestMediumLimitNotGiven(t *testing.T) {
	q := madePlan(t).Request
	for limit, want := range map[Pressure]bool{0: true, 2 * Bar: false} {
		q.Medium.MaxBedPressure = limit
		p, err := plan.AxialCompression{Column: q.Column, Medium: q.Medium, Slurry: q.Slurry, BedHeight: q.BedHeight, CompressionFactor: q.CompressionFactor, Limits: q.Limits}.Plan()
		if err != nil {
			t.Fatal(err)
		}
		got := false
		for _, s := range p.NotChecked {
			got = got || strings.Contains(s, "bed of Marram") && strings.HasSuffix(s, "(not given)")
		}
		if got != want {
			t.Errorf("limit %v: not given %v: %q", limit, got, p.NotChecked)
		}
	}
}

// TestBoundsOfMethods: the ends of what methods take that constant flow does not.
func TestBoundsOfMethods(t *testing.T) {
	suction, nozzle := methods(t)["suction fill"].(plan.SuctionFill), methods(t)["nozzle, in place"].(plan.PackInPlace)
	flow := full(t)
	for _, x := range []struct {
		name string
		high float64
		with func(v float64) planner
	}{
		{"lift", 20, func(v float64) planner { suction.Lift = Length(v); return suction }},
		{"fill flow", 0.1, func(v float64) planner { nozzle.FillFlow = VolumeFlow(v); return nozzle }},
		{"rinse", 10, func(v float64) planner { flow.Rinse = Volume(v); return flow }},
		{"transfer flow", 0.1, func(v float64) planner { flow := full(t); flow.Site.TransferFlow = VolumeFlow(v); return flow }},
	} {
		for v, ok := range map[float64]bool{x.high: true, 1.01 * x.high: false, -1: false} {
			_, err := x.with(v).Plan()
			if refused := err != nil && strings.Contains(err.Error(), x.name+" ") && strings.Contains(err.Error(), "in SI units"); refused == ok {
				t.Errorf("%s = %g: refused %v, %v", x.name, v, refused, err)
			}
		}
	}
}
