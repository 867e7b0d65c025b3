package engine_test

import (
	"strings"
	"testing"
)

// A name with a question mark shows what is known of it, and runs nothing.
func TestQuestions(t *testing.T) {
	nb := open(t)
	nb.want("ran := 0\nfunc twice(x float64) float64 { ran++; return 2 * x }")
	for code, want := range map[string]string{
		"?twice": "func twice(float64) float64", "twice?": "func twice(float64) float64", "ran??": "var ran int",
		"?units.Bar": "const Bar Pressure = 100000", "? \"strings\"": "package strings",
	} {
		if got := nb.data(code); !strings.Contains(got["text/plain"], want) || !strings.Contains(got["text/markdown"], "```go\n") {
			t.Errorf("%s shows %q", code, got)
		}
	}
	if _, r := nb.run("?nothing.here"); r.Failure == nil || r.Failure.Name != "not found" {
		t.Errorf("%+v", r.Failure)
	}
	if _, r := nb.run("figure.Signals?"); r.Failure == nil || !strings.Contains(r.Failure.Message, "package figure has no Signals; it has Above, Axis,") {
		t.Errorf("%+v", r.Failure)
	}
	nb.want("ran", "value 0")
}
