package engine_test

import (
	"context"
	"slices"
	"strings"
	"testing"
	"unicode"

	"github.com/evenbed/evenbed/kernel/internal/host"
)

func TestCompletionKnowsTheSession(t *testing.T) {
	nb := open(t)
	nb.want(`import ("fmt"; "github.com/evenbed/evenbed/packing"; "strings")
import . "github.com/evenbed/evenbed/packing/units"
column := packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre}
type mine struct{ Alpha, beta int }
func (m mine) Gamma() int { return 1 }
m := mine{}
type node struct { next *node; kids []node; v int }
n := node{}
columnCount := 2`)
	for _, tc := range []struct {
		code string
		want []string
		not  []string
	}{
		{"col", []string{"column", "columnCount"}, []string{"fmt"}},
		{"column.", []string{"Tag", "InnerDiameter"}, nil},
		{"m.", []string{"Alpha", "beta", "Gamma"}, nil},
		{"n.next.", []string{"next", "kids", "v"}, nil},
		{"n.next.kids[0].next.", []string{"next", "kids", "v"}, nil},
		{"func f(x *node) { x.next.", []string{"v"}, nil},
		{"func f(x mine) { x.", []string{"Alpha", "beta", "Gamma"}, nil},
		{"n.v.", nil, []string{"Add"}},
		{"n.nothing.", nil, []string{"v"}},
		{"column.InnerDiameter.", []string{"In", "Disc"}, nil},
		{"strings.ToU", []string{"ToUpper"}, []string{"ToLower"}},
		{"packing.Column{Inn", []string{"InnerDiameter"}, nil},
		{"Centim", []string{"Centimetre", "CentimetrePerHour"}, nil},
	} {
		c, ok := nb.s.Complete(tc.code, len(tc.code))
		var got []string
		for _, m := range c.Matches {
			got = append(got, m.Text)
		}
		if !ok {
			t.Fatalf("%s: no answer", tc.code)
		}
		for _, want := range tc.want {
			if !slices.Contains(got, want) {
				t.Errorf("%s: %q is not among %q", tc.code, want, got)
			}
		}
		for _, not := range tc.not {
			if slices.Contains(got, not) {
				t.Errorf("%s: %q is proposed", tc.code, not)
			}
		}
	}
	for code, want := range map[string]string{
		"column":               "packing.Column",
		"packing.Column":       "type Column struct",
		"strings.ToUpper(":     "func ToUpper(",
		"m.Gamma":              "Gamma",
		"n.next":               "n.next *node",
		"n.next.next.kids":     "n.next.next.kids []node",
		"column.InnerDiameter": "units.Length",
	} {
		b, ok := nb.s.Inspect(code, len(code), 0)
		if !ok || !strings.Contains(string(b.Data["text/plain"]), want) {
			t.Errorf("%s is described as %q, which lacks %q", code, b.Data["text/plain"], want)
		}
	}
	if b, ok := nb.s.Inspect("nothing_here", 3, 0); !ok || len(b.Data) != 0 {
		t.Errorf("a name that is not there is described as %q", b.Data)
	}
}

// What the kernel declares for itself is not proposed.
func TestCompletionHidesOwnNames(t *testing.T) {
	nb := open(t)
	nb.want("abc := 1")
	c, ok := nb.s.Complete("", 0)
	if !ok || len(c.Matches) < 50 {
		t.Fatalf("got %v, %v", c.Matches, ok)
	}
	for _, m := range c.Matches {
		if strings.ContainsFunc(m.Text, func(r rune) bool { return r > 'z' || !(unicode.IsLetter(r) || unicode.IsDigit(r)) }) {
			t.Errorf("%q is proposed", m.Text)
		}
	}
}

// Questions are answered while a cell runs.
func TestCompletionWhileACellRuns(t *testing.T) {
	nb := open(t)
	nb.want("abc := 1")
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	begun, done := make(chan struct{}), make(chan struct{})
	nb.hear = func(host.Output) { close(begun) }
	go func() {
		defer close(done)
		nb.runContext(ctx, "Display(1)\nfor { }")
	}()
	<-begun
	for range 20 {
		c, ok := nb.s.Complete("ab", 2)
		if !ok || len(c.Matches) == 0 || c.Matches[0].Text != "abc" {
			t.Fatalf("proposals are %+v, %v", c, ok)
		}
	}
	nb.hear = nil
	cancel()
	<-done
}
