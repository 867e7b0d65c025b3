package efficiency

import (
	"fmt"
	"math"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/number"
	. "github.com/evenbed/evenbed/packing/units"
)

// clipped is the quiet peak of [gaussian] with its top cut off.
func clipped(x float64) float64 { return math.Min(gaussian(x), 45) }

// TestInvalidTest follows rule (a): what makes the number wrong takes away both
// words, whichever it would have been, and leaves the number.
func TestInvalidTest(t *testing.T) {
	for _, limits := range []Limits{
		{Name: "easy", PlatesPerMetre: AtLeast("1000"), Asymmetry: Between("0.50", "2.00")},
		{Name: "hard", PlatesPerMetre: AtLeast("9000")},
	} {
		p := test04()
		p.Limits = limits
		r := evaluate(t, p, of(t, 4001, 1.2, clipped))
		if r.Verdict != NotDecided {
			t.Errorf("%s: verdict %v", limits.Name, r.Verdict)
		}
		for _, c := range r.Checks {
			if c.Outcome == Meets || c.Outcome == DoesNotMeet || !c.Limit.IsZero() && (c.Value == 0 || c.Reported == "") {
				t.Errorf("%s: %+v", limits.Name, c)
			}
		}
		page := r.String()
		for _, want := range []string{"Not decided: test not valid, because the top of the peak is flat", "plates per metre " + number.Fixed(r.PlatesPerMetre, 0), "For a valid test: take less sample"} {
			if !strings.Contains(page, want) {
				t.Errorf("%s: no %q in\n%s", limits.Name, want, page)
			}
		}
		for _, never := range []string{"Meets the limits", "Does not meet", ": meets", ": does not meet", "unpacking"} {
			if strings.Contains(page, never) {
				t.Errorf("%s: %q in\n%s", limits.Name, never, page)
			}
		}
	}
}

// TestFindingOfTheBed follows rule (b): it changes no word and stands in the box of
// the verdict.
func TestFindingOfTheBed(t *testing.T) {
	split := func(x float64) float64 { z := (x - retention04 - 260) / 60; return gaussian(x) + 25*math.Exp(-z*z/2) }
	for _, tc := range []struct {
		limits Limits
		want   Outcome
	}{{Limits{PlatesPerMetre: AtLeast("100")}, Meets}, {Limits{PlatesPerMetre: AtLeast("9000")}, DoesNotMeet}, {Limits{}, NotChecked}} {
		p := test04()
		p.Limits = tc.limits
		r := evaluate(t, p, of(t, 4001, 1.2, split))
		if title, text := r.verdict(); r.Verdict != tc.want || !strings.Contains(text, "Finding: a second apex stands at") {
			t.Errorf("%v: verdict %v: %s %s", tc.want, r.Verdict, title, text)
		}
	}
}

// TestProcedureAddsToTheList takes a doubt that by itself changes nothing.
func TestProcedureAddsToTheList(t *testing.T) {
	p := test04()
	p.Limits = Limits{PlatesPerMetre: AtLeast("1000")}
	was := p.Flow
	p.Flow = p.Column.Flow(CentimetrePerHour.Times(31))
	tr := of(t, 4001, 1.2, func(x float64) float64 { return gaussian(x * float64(p.Flow/was)) })
	if r := evaluate(t, p, tr); r.Verdict != Meets || !warned(r, "usually run") {
		t.Fatalf("%v %v", r.Verdict, r.Warnings)
	}
	p.Limits.Invalidating = []string{"velocity"}
	if r := evaluate(t, p, tr); r.Verdict != NotDecided {
		t.Errorf("%v %v", r.Verdict, r.Warnings)
	}
	p.Limits.Invalidating = []string{"speed"}
	if _, err := p.Evaluate(tr); err == nil || !strings.Contains(err.Error(), `"speed"`) || !strings.Contains(err.Error(), "velocity") {
		t.Errorf("an unknown kind: %v", err)
	}
}

// TestListOfTheDocs holds the package's comment against the list that is used.
func TestListOfTheDocs(t *testing.T) {
	source, err := os.ReadFile("efficiency.go")
	if err != nil {
		t.Fatal(err)
	}
	_, list, _ := strings.Cut(string(source), "[Warning].Kind:")
	list, _, _ = strings.Cut(list, "A procedure adds")
	var named []kind
	for _, m := range regexp.MustCompile(`(?m)^//\t(\w+)  `).FindAllStringSubmatch(list, -1) {
		named = append(named, kind(m[1]))
	}
	if !slices.Equal(named, invalidating) {
		t.Errorf("the comment lists %v, the code %v", named, invalidating)
	}
	for _, k := range ofTheBed {
		if !strings.Contains(string(source), fmt.Sprintf("%q", string(k))) {
			t.Errorf("the comment does not name %q", k)
		}
	}
}

// TestUndecidedReplicate: a rule is not answered with a test that is not valid.
func TestUndecidedReplicate(t *testing.T) {
	p := test04()
	p.Limits = Limits{PlatesPerMetre: AtLeast("9000")}
	good, bad := evaluate(t, p, of(t, 4001, 1.2, gaussian)), evaluate(t, p, of(t, 4001, 1.2, clipped))
	rule := RetestRule{Replicates: 2, Retest: RetestWhenFailed, Retests: 2}
	out, err := Replicates{Rule: rule}.Of(good, bad)
	if err != nil {
		t.Fatal(err)
	}
	if out.Verdict != NotDecided || !strings.Contains(out.Next, "test 2 is not valid") || !strings.Contains(out.String(), "Not decided by the rule") {
		t.Errorf("verdict %v, next %s", out.Verdict, out.Next)
	}
	out, err = Replicates{Rule: RetestRule{Replicates: 1}, Invalid: []InvalidTest{{2, "lamp in saturation"}}}.Of(good, bad)
	if err != nil || out.Verdict != DoesNotMeet {
		t.Errorf("named as invalid: %v %v", out.Verdict, err)
	}
}

// TestNumberThatIsMissing is not decided: no number, no word.
func TestNumberThatIsMissing(t *testing.T) {
	l := AtLeast("0.80")
	if reported, outcome := l.judge(math.NaN()); reported != number.Missing || outcome != NotDecided {
		t.Errorf("%q %v", reported, outcome)
	}
	for _, tc := range []struct {
		checks []Outcome
		want   Outcome
	}{
		{nil, NotChecked}, {[]Outcome{NotChecked, Meets}, Meets}, {[]Outcome{Meets, NotDecided}, NotDecided}, {[]Outcome{NotDecided, Meets}, NotDecided},
		{[]Outcome{NotDecided, DoesNotMeet}, DoesNotMeet}, {[]Outcome{DoesNotMeet, NotDecided, Meets}, DoesNotMeet},
	} {
		var checks []Check
		for _, o := range tc.checks {
			checks = append(checks, Check{Outcome: o})
		}
		if got := verdict(checks); got != tc.want {
			t.Errorf("%v: %v, want %v", tc.checks, got, tc.want)
		}
	}
}
