package efficiency

import (
	"strings"
	"testing"
)

// What reading a record left in doubt stands among the warnings of what is made of it.
func TestDoubtsOfTheRecord(t *testing.T) {
	tr := emgTrace(t, 1, 600, 20, 10)
	tr.Doubts = []string{"Of \"UV\" 3 values are bad."}
	r := evaluate(t, test04(), tr)
	found := 0
	for _, w := range r.Warnings {
		if w.Kind == "record" && strings.Contains(w.What, "3 values are bad") && !w.Invalidates {
			found++
		}
	}
	if found != 1 || !strings.Contains(r.String(), "3 values are bad") {
		t.Errorf("warnings %v", r.Warnings)
	}
	p := test04()
	p.Limits.Invalidating = []string{"record"}
	front, step := noisyFront(t, 1, 0.003)
	step.Doubts = tr.Doubts
	if r := evaluateFront(t, front, step); !strings.Contains(r.String(), "3 values are bad") {
		t.Errorf("transition: warnings %v", r.Warnings)
	}
	for _, w := range evaluate(t, p, tr).Warnings {
		if w.Kind == "record" && !w.Invalidates {
			t.Errorf("a procedure that takes it for invalid: %+v", w)
		}
	}
}
