package engine_test

import (
	"strings"
	"testing"

	"github.com/evenbed/evenbed/kernel/internal/complete"
)

// Source without end, as a program may write it, is refused in words before it is
// compiled, and as much as is allowed is compiled.
func TestSourceWithoutEnd(t *testing.T) {
	nb := open(t)
	nb.want("y := 1")
	for _, tc := range []struct {
		name, before, inner, middle, outer string
		allowed                            int // so many of inner
		want                               string
	}{
		{"parentheses", "", "(", "1", ")", 900, "nested more than 1000 deep"},
		{"blocks", "", "{", "", "}", 900, "nested more than 1000 deep"},
		{"conditions", "", "if y == 1 {", "", "}", 900, "nested more than 1000 deep"},
		{"functions", "", "func() {", "", "}()", 900, "nested more than 1000 deep"},
		{"terms", "y", "+y", "", "", 4900, "more than 5000 operators in one expression; add the terms up in a loop"},
		{"constants", "1", "+1", "", "", 4900, "more than 5000 operators"},
		{"texts", `"a"`, `+"a"`, "", "", 4900, "more than 5000 operators"},
		{"signs", "", "- ", "y", "", 4900, "more than 5000 operators"},
		{"else", "if y == 0 {}", " else if y == 2 {}", "", "", 900, "more than 1000 else in one chain; write a switch"},
		{"slices", "z := ", "[]", "int{}", "", 90, "without end"},
		{"pointers", "var p ", "*", "int", "", 90, "without end"},
		{"elements", "l := []int{", "1,", "}", "", 10_000, "put data into a file"},
		{"statements", "", "y = y\n", "", "", 5_000, "put data into a file"},
	} {
		source := func(n int) string {
			return tc.before + strings.Repeat(tc.inner, n) + tc.middle + strings.Repeat(tc.outer, n)
		}
		if _, r := nb.run(source(tc.allowed)); r.Failure != nil {
			t.Errorf("%d %s: %s", tc.allowed, tc.name, r.Failure.Message)
		}
		const n = 100_000
		_, r := nb.run(source(n))
		if r.Died || r.Failure == nil || !strings.Contains(r.Failure.Message, tc.want) && !strings.Contains(r.Failure.Message, "put data into a file") {
			t.Errorf("%d %s: %+v", n, tc.name, r.Failure)
		}
		// Nobody loses his variables by asking about such a cell.
		long := source(20_000)
		nb.s.Complete(long+"\ny.", len(long)+3)
		nb.s.Inspect(long, len(tc.before)+1, 0)
		complete.IsComplete(long)
		nb.want("y", "value 1")
	}
}
