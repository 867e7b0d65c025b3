package trace_test

import (
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// The axis of volumes is in the unit that it says, 12 to 14 of it.
func TestFigure(t *testing.T) {
	of := func(name, unit, from string, one Volume) trace.Trace {
		tr, err := trace.NewVolume(name, unit, one.Each(12, 13, 14), []float64{1, 2, 1})
		if err != nil {
			t.Fatal(err)
		}
		tr.From = from
		return tr
	}
	uv, cond, pressure := of("UV", "mAU", "a.csv", Millilitre), of("Conductivity", "mS/cm", "a.csv", Millilitre), of("Pressure", "bar", "a.csv", Millilitre)
	f, err := trace.Figure(uv, cond, of("UV", "mAU", "b.csv", Millilitre))
	if err != nil {
		t.Fatal(err)
	}
	if f.X.Title() != "Volume (mL)" || f.Y.Title() != "UV (mAU)" || f.Right.Title() != "Conductivity (mS/cm)" {
		t.Errorf("axes %q, %q, %q", f.X.Title(), f.Y.Title(), f.Right.Title())
	}
	if l := f.Lines; len(l) != 3 || l[0].Name != "UV, a.csv" || l[0].Right || l[1].Name != "Conductivity" || !l[1].Right || l[2].Name != "UV, b.csv" || l[2].Right {
		t.Errorf("lines %+v", l)
	}
	for _, tc := range []struct {
		shown string
		want  string
	}{
		{f.String(), "from 12 mL to 14 mL"},
		{figureOf(t, of("UV", "mAU", "", Litre)).String(), "from 12 L to 14 L"},
		{uv.SVG(), "Volume (mL)"},
		{of("UV", "mAU", "", Litre).SVG(), "Volume (L)"},
	} {
		if !strings.Contains(tc.shown, tc.want) {
			t.Errorf("%q is not shown in %.400s", tc.want, tc.shown)
		}
	}
	timed, err := trace.New("UV", "mAU", Minute.Each(1, 2), []float64{1, 2})
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		traces []trace.Trace
		want   string
	}{
		{nil, "give at least one"},
		{[]trace.Trace{uv, {Name: "P"}}, `trace "P" has no points`},
		{[]trace.Trace{uv, timed}, "with ByVolumeOf or ByTimeOf"},
		{[]trace.Trace{uv, cond, pressure}, `"Pressure" is in "bar", after signals in "mAU" and "mS/cm"`},
	} {
		if _, err := trace.Figure(tc.traces...); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%v, want %q", err, tc.want)
		}
	}
}

func figureOf(t *testing.T, traces ...trace.Trace) figure.Figure {
	t.Helper()
	f, err := trace.Figure(traces...)
	if err != nil {
		t.Fatal(err)
	}
	return f
}
