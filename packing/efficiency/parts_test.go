package efficiency

import (
	"errors"
	"reflect"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/fit"
	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/table"
	. "github.com/evenbed/evenbed/packing/units"
)

// The parts of a result are those of the whole; a result without numbers has
// parts that say why.
func TestParts(t *testing.T) {
	p, cv := inColumnVolumes(20 * Centimetre)
	front := evaluateFront(t, p, stepOf(t, cv, 4001, 0.001, func(v float64) float64 { return made.EMGFront(v, 1.7, 0.05, 0.02) }))
	load := load(t, load10(), loadOf(t, 60, front10))
	curve := mustCurve(t, sixTests())
	tests := judged(t, Replicates{Rule: RetestRule{Replicates: 3}}, repeats(t, Limits{}, 0.3, 0.31, 0.32))
	peak := mustEMG(t, EMGFit{}, sampled(t, EMG{Area: 100, Mu: 40, Sigma: 2, Tau: 1.5}, 2000, 0.01, func(float64) float64 { return 0 }, 1))
	compared, err := front.Against(front)
	if err != nil {
		t.Fatal(err)
	}
	pulse := demo(t)
	series := PulseSeries{Pulse: pulse.Pulse, Rows: []PulseRow{{Number: 1, PlatesPerMetre: 4000, Asymmetry: 1.1}}}
	refusal := errors.New("no *step* found")
	for _, tc := range []struct {
		name        string
		whole       string
		there       map[string]table.Table
		refused, no []table.Table
	}{
		{"transition", front.Page().Markdown(), map[string]table.Table{"Table": front.Table(), "Measured": front.Measured()},
			parts(TransitionResult{Refusal: refusal}), parts(TransitionResult{})},
		{"breakthrough", load.Page().Markdown(), map[string]table.Table{"Table": load.Table(), "Measured": load.Measured()},
			parts(BreakthroughResult{Refusal: refusal}), parts(BreakthroughResult{})},
		{"plate height", curve.Page().Markdown(), map[string]table.Table{"Table": curve.Table()},
			parts(PlateHeightResult{Refusal: refusal}), parts(PlateHeightResult{})},
		{"replicates", tests.Page().Markdown(), map[string]table.Table{"Table": tests.Table(), "SpreadTable": tests.SpreadTable()},
			parts(ReplicatesResult{Refusal: refusal}), parts(ReplicatesResult{})},
		{"peak", peak.Page().Markdown(), map[string]table.Table{"Table": peak.Table(), "Goodness": peak.Goodness()},
			parts(EMGResult{Refusal: refusal}), parts(EMGResult{})},
		{"pulse", pulse.Page().Markdown(), map[string]table.Table{"Table": pulse.Table(), "Measured": pulse.Measured()},
			parts(PulseResult{Refusal: refusal}), parts(PulseResult{})},
		{"series", series.Page().Markdown(), map[string]table.Table{"Table": series.Table()},
			parts(PulseSeries{Refusal: refusal}), parts(PulseSeries{})},
		{"comparison", compared.Page().Markdown(), map[string]table.Table{"Table": compared.Table()},
			parts(FrontComparison{Refusal: refusal}), parts(FrontComparison{})},
	} {
		for part, got := range tc.there {
			if len(got.Rows) == 0 || !strings.Contains(tc.whole, got.Markdown()) {
				t.Errorf("%s: %s is not a part of the whole:\n%s", tc.name, part, got.Markdown())
			}
		}
		if len(tc.refused) < len(tc.there) {
			t.Errorf("%s: %d parts found, want %d or more", tc.name, len(tc.refused), len(tc.there))
		}
		for i, got := range tc.refused {
			if want := "No result: no *step* found."; got.Note != want || len(got.Rows) > 0 || got.Caption == "" {
				t.Errorf("%s: part %d of a refusal is %+v", tc.name, i, got)
			}
			if want := "No result: nothing has been evaluated."; tc.no[i].Note != want || len(tc.no[i].Rows) > 0 {
				t.Errorf("%s: part %d of nothing is %+v", tc.name, i, tc.no[i])
			}
		}
	}
	failed := PulseSeries{Rows: []PulseRow{{Err: refusal}}}
	if got := failed.Table().Note; got != "No result: no trace has a result: see Errors()." || failed.Page().SVG() != "" || failed.Figure().Description != got {
		t.Errorf("a series of failures says %q", got)
	}
	if d := doubts(nil); d.Note != "No doubts." || len(d.Rows) != 0 {
		t.Errorf("no doubts are %+v", d)
	}
	if d := doubts([]Warning{{What: "It drifts", Do: "Wait"}}); d.Note != "" || len(d.Rows) != 1 || d.Rows[0][1] != "Wait" {
		t.Errorf("a doubt is %+v", d)
	}
	if peak.Fit.Status == fit.NotFitted {
		t.Error("the peak was not fitted")
	}
}

// parts returns what all methods without arguments that return a table return.
func parts(result any) []table.Table {
	var all []table.Table
	v := reflect.ValueOf(result)
	for i := range v.NumMethod() {
		if m := v.Method(i); m.Type().NumIn() == 0 && m.Type().NumOut() == 1 && m.Type().Out(0) == reflect.TypeFor[table.Table]() {
			all = append(all, m.Call(nil)[0].Interface().(table.Table))
		}
	}
	return all
}
