package plan_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/plan"
	"github.com/evenbed/evenbed/packing/table"
	. "github.com/evenbed/evenbed/packing/units"
)

func TestParts(t *testing.T) {
	p := mustPlan(t, own(t))
	for want, html := range map[string]string{
		"column volume 12.72 L": p.Table().HTML(),
		"ends when":             p.StepTable().HTML(),
		"27.4":                  p.NumberTable().HTML(),
		"bed of Marram":         p.LimitTable().HTML(),
		"initials":              p.SheetTable().HTML(),
	} {
		if !strings.Contains(html, want) {
			t.Errorf("%q is missing in\n%s", want, html)
		}
	}
	c := own(t)
	c.CompressionFactor = 1.3
	refused, _ := c.Plan()
	if s := refused.StepTable().String(); !strings.Contains(s, "plan refused") || strings.Contains(s, "Valves") {
		t.Errorf("a refused plan shows steps:\n%s", s)
	}
}

// TestRuler: a place is said from the net and as the ruler reads it, wherever it
// is used; with the ruler's zero at the net, once. By hand: the mark at 18 cm reads
// 19.2 cm on a ruler that is at 1.2 cm at the net.
func TestRuler(t *testing.T) {
	c := own(t)
	c.RulerZero = 12 * Millimetre
	off := mustPlan(t, c)
	c.RulerZero = 0
	on := mustPlan(t, c)
	for _, tc := range []struct {
		what, text, want string
	}{
		{"steps", off.StepTable().Markdown(), "adapter within 2 mm of its target position, 18.0 cm (ruler 19.2 cm) above the bottom net"},
		{"numbers", off.NumberTable().Caption, "the ruler reads 1.2 cm there"},
		{"sheet", off.SheetTable().Markdown(), "| ruler: adapter at its target position | 19.2 cm ± 2.0 mm |"},
		{"steps", on.StepTable().Markdown(), "adapter within 2 mm of its target position, 18.0 cm above the bottom net"},
	} {
		if !strings.Contains(tc.text, tc.want) {
			t.Errorf("%s: %q is missing in\n%s", tc.what, tc.want, tc.text)
		}
	}
	if s := on.Page().HTML(); strings.Contains(s, "ruler 1") || strings.Contains(s, "ruler: bed<") {
		t.Errorf("a ruler from the net is told twice:\n%s", s)
	}
	number := off.NumberTable()
	for i, s := range number.Rows {
		if s[0] == "lower the adapter" && (s[7] != "18.0" || s[8] != "18.0" || s[9] != "19.2" || s[10] != "19.2") {
			t.Errorf("row %d: %q", i, s)
		}
		if s[7] == "" != (s[9] == "") {
			t.Errorf("row %d: a height without its reading: %q", i, s)
		}
	}
}

// TestElements: what stands in a result shows in words, each number with its unit.
func TestElements(t *testing.T) {
	nan := math.NaN()
	for _, tc := range []struct {
		v    fmt.Stringer
		want string
	}{
		{plan.Moment{Time: 90 * Second, Bed: 20.5 * Centimetre, Interface: Length(nan), Adapter: Length(nan), Velocity: 300 * CentimetrePerHour, Pressure: 0.5 * Bar},
			"1.5 min: bed 20.50 cm, adapter out of the tube, 300 cm/h, 0.5 bar over the bed"},
		{plan.Moment{Bed: 2 * Centimetre, Interface: 40 * Centimetre, Adapter: 50 * Centimetre},
			"0.0 min: bed 2.00 cm, slurry up to 40.00 cm, adapter 50.00 cm, 0 cm/h, 0 bar over the bed"},
		{plan.Recovery{Fast: 0.5, FastTime: 20 * Second, Slow: 0.2, SlowTime: 5 * Minute},
			"50 % of the compression re-expands with a time constant of 20 s, 20 % with 5 min; 30 % stays"},
		{plan.Recovery{}, "not recorded"},
		{plan.Step{Name: "step 1, loose bed", Start: 60 * Second, End: 660 * Second, Velocity: 30 * CentimetrePerHour, Height: 20 * Centimetre, Adapter: Length(nan), Pressure: 0.1 * Bar},
			"step 1, loose bed, 1.0 min to 11.0 min: 30 cm/h, at its end bed 20.00 cm, adapter not known, 0.100 bar"},
		{plan.AdapterMove{Start: 60 * Second, End: 120 * Second, From: 24 * Centimetre, To: 18 * Centimetre, Speed: 1 * MillimetrePerSecond},
			"1.0 min to 2.0 min: 24.00 cm to 18.00 cm, 1.00 mm/s down"},
		{plan.Deviation{What: "packed height", Unit: "cm", Planned: 18, Found: 18.1, Verdict: plan.Within}, "packed height: planned 18.00, found 18.10 cm, within"},
	} {
		if got := tc.v.String(); got != tc.want {
			t.Errorf("%q, want %q", got, tc.want)
		}
	}
}

// TestFoundParts: each table of the findings stands alone; the columns of the
// steps hold what their heads say.
func TestFoundParts(t *testing.T) {
	f, err := plan.Review{Plan: madePlan(t), SlurryPoured: 27.5 * Litre}.Of(runOf(t, made.OwnPack()))
	if err != nil {
		t.Fatal(err)
	}
	for want, part := range map[string]table.Table{
		"packed height": f.Table(), "step 1, loose bed": f.StepTable(), "stop, lowering": f.EndTable(), "steady": f.SteadyTable(), "planned": f.DeviationTable(),
		"kept": f.LimitTable(), "mean speed down": f.MoveTable(), "velocity at first": f.RiseTable(), "initials": f.SheetTable(),
	} {
		if !strings.Contains(part.HTML(), want) || !strings.Contains(f.Page().HTML(), part.HTML()) {
			t.Errorf("%q is missing in\n%s\nor that in the whole", want, part.HTML())
		}
	}
	for _, part := range []table.Table{f.StepTable(), f.EndTable()} {
		for _, row := range part.Rows {
			if len(row) != len(part.Columns) {
				t.Errorf("%s: %d cells under %d heads: %q", part.Caption, len(row), len(part.Columns), row)
			}
		}
	}
}

func TestRecovery(t *testing.T) {
	r := plan.RiseRecord{Terms: []plan.RiseTerm{{Size: 10 * Millimetre, Time: 20 * Second}, {Size: 4 * Millimetre, Time: 5 * Minute}}}
	got, err := r.Recovery(20 * Millimetre)
	if want := (plan.Recovery{Fast: 0.5, FastTime: 20 * Second, Slow: 0.2, SlowTime: 5 * Minute}); err != nil || got != want {
		t.Errorf("%+v, %v, want %+v", got, err, want)
	}
	c := own(t)
	c.Recovery = got
	mustPlan(t, c)
	for _, bad := range []struct {
		r    plan.RiseRecord
		lost Length
		want string
	}{
		{plan.RiseRecord{}, 20 * Millimetre, "no time constants"},
		{r, 0, "not above zero"},
		{r, 12 * Millimetre, "not between nothing and all"},
	} {
		if _, err := bad.r.Recovery(bad.lost); err == nil || !strings.Contains(err.Error(), bad.want) {
			t.Errorf("%v, want %q", err, bad.want)
		}
	}
}
