package record

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/trace"
)

// What the report's line leaves to be found out is said, and nothing else is found
// out by it; with nothing left and no doubt the report says so.
func TestLineLeavesWhatTheReportSays(t *testing.T) {
	files, err := filepath.Glob("testdata/*")
	if err != nil {
		t.Fatal(err)
	}
	settled := 0
	for _, in := range files {
		data, err := os.ReadFile(in)
		if err != nil || strings.HasSuffix(in, ".golden") || strings.HasSuffix(in, ".md") {
			continue
		}
		r, err := Parse(in, data)
		if err != nil {
			continue
		}
		again, err := Parse(in, data, r.report.again)
		if err != nil {
			t.Errorf("%s: %s: %v", in, r.report.Code, err)
			continue
		}
		var guessed []string
		for _, f := range again.report.Facts {
			if f.Guessed && !slices.Contains(guessed, f.What) {
				guessed = append(guessed, f.What)
			}
		}
		if left := r.report.left(); !slices.Equal(guessed, left) {
			t.Errorf("%s: the line leaves %q, the report says %q", in, guessed, left)
		}
		says := strings.Contains(r.String(), "nothing left to guess")
		if says != (len(guessed)+len(r.report.Doubts) == 0) {
			t.Errorf("%s: nothing left to guess: %v; guessed again %q, doubts %q", in, says, guessed, r.report.Doubts)
		}
		if says {
			settled++
		}
		if a, b := r.String(), again.String(); says && !strings.Contains(b, "nothing left to guess") {
			t.Errorf("%s\n%s\n%s", in, a, b)
		}
	}
	if settled < 5 {
		t.Errorf("only %d files leave nothing", settled)
	}
}

// A column of words in every row is a state: its changes are events.
func TestStates(t *testing.T) {
	r := parse(t, "Time (s),UV (mAU),Inlet,Note\n0,1,buffer,\n1,1,buffer,\n2,1,tracer,mark\n3,1,tracer,mark\n4,1,buffer,\n5,1,buffer,\n")
	var got []string
	for _, e := range r.Events {
		got = append(got, e.String())
	}
	want := []string{"0 s: Inlet: buffer", "2 s: Inlet: tracer", "4 s: Inlet: buffer", "2 s: Note: mark", "3 s: Note: mark"}
	if !slices.Equal(got, want) {
		t.Errorf("events %q, want %q", got, want)
	}
}

// A doubt goes along with the signals it concerns.
func TestDoubtsGoAlong(t *testing.T) {
	r := parse(t, "Time (s),UV (mAU),Pressure (bar)\n0,1,2\n1,2,3\n2,1,2\n")
	r.report.doubt("UV", "of UV")
	r.report.doubt("", "of all")
	r.report.doubt("Time", "of the clock")
	for name, want := range map[string][]string{"UV": {"of UV", "of all", "of the clock"}, "Pressure": {"of all", "of the clock"}} {
		if s := signal(t, r, name); !slices.Equal(s.Doubts, want) {
			t.Errorf("%s: %q, want %q", name, s.Doubts, want)
		}
	}
	cut, err := r.Within(trace.Times(0, 1))
	if err != nil {
		t.Fatal(err)
	}
	if s := signal(t, cut, "UV"); len(s.Doubts) != 3 {
		t.Errorf("cut: %q", s.Doubts)
	}
	if out := r.String(); !strings.HasPrefix(out, "Doubts") {
		t.Errorf("the report begins with %q", out[:40])
	}
}
