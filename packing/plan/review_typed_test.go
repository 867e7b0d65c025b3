package plan_test

import (
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/plan"
	. "github.com/evenbed/evenbed/packing/units"
)

// typedPack is the made pack as somebody would have written it down: what the
// electronic record holds at the end of each row, rounded as a ruler and a gauge
// are read.
func typedPack() plan.Typed {
	flow := func(u float64) VolumeFlow { return LitrePerHour.Times(u * 0.706858) } // cm/h through 706.858 cm²
	cm := func(h ...float64) []Length { return Centimetre.Each(h...) }
	return plan.Typed{
		Label: "column 04, pack 7", Gauge: "PI 4, at the inlet", HeightBy: "seen",
		Samples: packing.SlurrySamples{Sample: 100 * Millilitre, Settled: Millilitre.Each(51.5, 52, 52.5)}, SamplesStood: 18 * Hour,
		SlurryPoured: 27.5 * Litre, StirToPour: 2 * Minute,
		Rows: []plan.TypedRow{
			{From: 1.2 * Minute, To: 31 * Minute, Flow: flow(20), Pressure: 16 * Millibar, Heights: cm(20.1), Adapter: 42 * Centimetre, Valves: "inlet, outlet", By: "AB"},
			{From: 31 * Minute, To: 38.4 * Minute, Flow: flow(20), Pressure: 16 * Millibar, Heights: cm(20.05), Adapter: 42 * Centimetre, Valves: "inlet, outlet", By: "AB"},
			{From: 38.4 * Minute, To: 41.9 * Minute, Adapter: 20.4 * Centimetre, Valves: "vent", By: "AB"},
			{From: 41.9 * Minute, To: 44 * Minute, Flow: flow(331), Pressure: 0.54 * Bar, Heights: cm(18.1), Adapter: 20.4 * Centimetre, Valves: "inlet, outlet", By: "AB"},
			{From: 44 * Minute, To: 49.3 * Minute, Flow: flow(331), Pressure: 0.545 * Bar, Heights: cm(18.1), Adapter: 20.4 * Centimetre, Valves: "inlet, outlet", By: "AB"},
			{From: 49.3 * Minute, To: 54 * Minute, Heights: cm(18.0, 18.0, 18.05), Adapter: 18 * Centimetre, Valves: "vent", By: "CD"},
		},
	}
}

// A typed record is reviewed like the electronic one of the same pack.
func TestTypedRecord(t *testing.T) {
	electronic := read(t, made.OwnPack(), nil)
	f, err := plan.Review{Plan: madePlan(t)}.OfTyped(typedPack())
	if err != nil {
		t.Fatal(err)
	}
	if f.Advice != electronic.Advice || f.Compressions != 1 {
		t.Fatalf("%v after %d: %v; steps %s", f.Advice, f.Compressions, f.Reasons, kinds(f))
	}
	if got, want := kinds(f), "step 1, loose bed | flow off, adapter | step 2, compress | stop, lowering"; got != want {
		t.Errorf("steps %s, want %s", got, want)
	}
	about(t, "compression factor", f.CompressionFactor, electronic.CompressionFactor, 0.004)
	about(t, "from the slurry", f.BySlurry, electronic.BySlurry, 1e-3)
	about(t, "packed, cm", f.BedHeight.In(Centimetre), (18+18+18.05)/3, 1e-9)
	about(t, "velocity, cm/h", f.Steps[2].Velocity.In(CentimetrePerHour), 331, 1e-3)
	about(t, "pressure, bar", f.Steps[2].Pressure.In(Bar), 0.545, 1e-12)
	about(t, "gap, mm", f.Gap.In(Millimetre), -0.167, 0.01)
	if one := f.Steps[0].Steadiness; one.HeightIs != plan.Within || one.PressureIs != plan.Within {
		t.Errorf("step 1, two rows 7.4 min apart: %+v", one)
	}
	if two := f.Steps[2].Steadiness; two.HeightIs != plan.Within || two.PressureIs != plan.Within {
		t.Errorf("step 2, two rows 5.3 min apart: %+v", two)
	}
	if all := strings.Join(f.NotJudged, "\n"); !strings.Contains(all, "pressures between the rows") || strings.Contains(all, "which gauge") {
		t.Error(all)
	}
	if len(f.Doubts) != 0 {
		t.Errorf("doubts of a whole record: %q", f.Doubts)
	}
	golden(t, "review-typed.txt", f.String())
}

// What was not written down is not judged; nothing is made of it.
func TestTypedMissing(t *testing.T) {
	typed := typedPack()
	for i := range typed.Rows {
		typed.Rows[i] = plan.TypedRow{From: typed.Rows[i].From, To: typed.Rows[i].To, Flow: typed.Rows[i].Flow}
	}
	typed.Gauge, typed.HeightBy, typed.Samples, typed.StirToPour = "", "", packing.SlurrySamples{}, 0
	f, err := plan.Review{Plan: madePlan(t)}.OfTyped(typed)
	if err != nil {
		t.Fatal(err)
	}
	all := strings.Join(f.NotJudged, "\n")
	for _, want := range []string{"which gauge was read", "how heights were read", "how the concentration of the slurry was read", "no time from stirring to pouring",
		"which valves were open (not written down in 6 of 6 rows)", "who did it", "settled height (no bed height at the end of step 1)", "gap between bed and adapter", "pressure limit of the column, 3 bar (no pressure was recorded)"} {
		if !strings.Contains(all, want) {
			t.Errorf("%q is missing in\n%s", want, all)
		}
	}
	if f.Advice != plan.Undecided || !math.IsNaN(float64(f.BedHeight)) {
		t.Errorf("%v: %v", f.Advice, f.Reasons)
	}
	// A step typed in one row was not seen to be steady.
	typed = typedPack()
	typed.Rows = append(typed.Rows[:3:3], typed.Rows[4:]...)
	typed.Rows[3].From = 41.9 * Minute
	f, err = plan.Review{Plan: madePlan(t)}.OfTyped(typed)
	if err != nil {
		t.Fatal(err)
	}
	k := f.Steps[2].Steadiness
	if k.PressureIs != plan.NotJudged || k.HeightIs != plan.NotJudged || !strings.Contains(k.PressureWhy, "typed once is no reading of a change") {
		t.Errorf("%+v", k)
	}
}

// The settled height of the head counts, brought to rest: 20.05 cm under 20 cm/h.
func TestTypedSettled(t *testing.T) {
	typed := typedPack()
	typed.RulerZero = 12 * Millimetre
	for i := range typed.Rows {
		for k := range typed.Rows[i].Heights {
			typed.Rows[i].Heights[k] += typed.RulerZero
		}
	}
	typed.Settled, typed.SettledUnder, typed.SettledAfter = 21.25*Centimetre, 20*CentimetrePerHour, 10*Minute
	f, err := plan.Review{Plan: madePlan(t)}.OfTyped(typed)
	if err != nil {
		t.Fatal(err)
	}
	about(t, "settled, cm", f.SettledHeight.In(Centimetre), 20.05*1.0107, 0.01)
	typed.Settled, typed.SettledUnder = 21.5*Centimetre, 0
	if f, err = (plan.Review{Plan: madePlan(t)}).OfTyped(typed); err != nil {
		t.Fatal(err)
	}
	about(t, "settled at rest, cm", f.SettledHeight.In(Centimetre), 20.3, 1e-9)
	about(t, "packed, cm", f.BedHeight.In(Centimetre), 18.0167, 1e-3)
}

func TestTypedDoubts(t *testing.T) {
	right := typedPack()
	right.Rows[4].Volume = 20.7 * Litre // 234 L/h for 5.3 min
	if f, err := (plan.Review{Plan: madePlan(t)}).OfTyped(right); err != nil || len(f.Doubts) != 0 {
		t.Errorf("a volume that agrees with flow and times: %v, %q", err, f.Doubts)
	}
	for _, tc := range []struct {
		change func(r *plan.Typed)
		want   string
	}{
		{func(r *plan.Typed) { r.Rows[4].Volume = 10 * Litre }, "Row 5: 10.00 L are written down, and 20.67 L passed"},
		{func(r *plan.Typed) { r.Rows[5].Heights = Centimetre.Each(17.9, 18, 18.2) }, "Row 6: the bed stands 3.0 mm higher on one side"},
		{func(r *plan.Typed) { r.StirToPour = 5 * Minute }, "From stirring to the end of the transfer it took 5.0 min"},
		{func(r *plan.Typed) { r.Rows = append(r.Rows[:2:2], r.Rows[3:]...) }, "Nothing is written down from 38.4 min to 41.9 min"},
		{func(r *plan.Typed) { r.Samples.Settled = Millilitre.Each(40, 52, 52) }, "Slurry samples: samples: readings of one mixed slurry run"},
	} {
		typed := typedPack()
		tc.change(&typed)
		f, err := plan.Review{Plan: madePlan(t)}.OfTyped(typed)
		if err != nil {
			t.Errorf("%s: %v", tc.want, err)
			continue
		}
		if all := strings.Join(f.Doubts, "\n"); !strings.Contains(all, tc.want) {
			t.Errorf("no %q in\n%s", tc.want, all)
		}
	}
	for _, tc := range []struct {
		change func(r *plan.Typed)
		want   string
	}{
		{func(r *plan.Typed) { r.Rows = nil }, "give a row for each step"},
		{func(r *plan.Typed) { r.Rows[2].From = 30 * Minute }, "row 3 from 30 min: the row before ends at 38.4 min"},
		{func(r *plan.Typed) { r.Rows[2].To = r.Rows[2].From }, "row 3: it goes from 38.4 min to 38.4 min"},
		{func(r *plan.Typed) { r.Rows[0].Up = true }, "row 1: it is upflow"},
		{func(r *plan.Typed) { r.Rows[0].Flow = VolumeFlow(math.NaN()) }, "row 1: flow, pressure, volume and adapter must be numbers"},
		{func(r *plan.Typed) { r.Rows[0].Pressure = 2 }, "row 1: pressure 2 Pa"},
		{func(r *plan.Typed) { r.Rows[0].Heights = Centimetre.Each(20, 20) }, "row 1: 2 heights; give 1, 3 or 4 points"},
		{func(r *plan.Typed) { r.Samples.Settled = nil }, "slurry samples: readings: there are none"},
	} {
		typed := typedPack()
		tc.change(&typed)
		f, err := plan.Review{Plan: madePlan(t)}.OfTyped(typed)
		if err == nil || !strings.Contains(err.Error(), tc.want) || !strings.Contains(f.String(), tc.want) {
			t.Errorf("%v, want %q", err, tc.want)
		}
	}
}
