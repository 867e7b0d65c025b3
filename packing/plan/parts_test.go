package plan_test

import (
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/plan"
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
