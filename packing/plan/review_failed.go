package plan

import (
	"fmt"
	"strings"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
)

// A Remedy is something done after a failed test. Their order, from what touches
// the bed least to unpacking, is common practice and has no source.
type Remedy int

// The remedies, in order. The first five do not touch the bed.
const (
	CheckInputs       Remedy = iota + 1 // what was typed, the zero of the test, the detector's range
	LookAtColumn                        // bubbles, a gap, the line
	TestWithoutColumn                   // the system alone
	RepeatTest                          // after 2 to 3 column volumes on a steady baseline
	ChangeTracer                        // another tracer, or a higher background on a charged medium
	ResetAdapter                        // for a tail: down to the bed
	ReversePulse                        // for a front, a shoulder or a split
	ConsolidateOn                       // further consolidation
	ReslurryTop                         // take up the top of the bed, let it settle, pack it again
	UnpackAndPack                       // start over
)

// remedyTexts are name, what to do and what it tells, by Remedy.
var remedyTexts = [...]struct{ name, do, tells string }{
	CheckInputs:       {"check what was typed", "Look at flow, height, diameter and units, at the zero of the test, and at the detector's range.", "Most failed tests are failed tests, not failed beds."},
	LookAtColumn:      {"look at the column", "Look for bubbles, for a gap under the adapter at the test's flow, and along the line from valve to detector.", "Air, a gap or a wrong line make a peak broad without a fault of the bed."},
	TestWithoutColumn: {"system without the column", "Run the pulse with the column bypassed, at the same flow.", "A broad or late peak belongs to tubing, valves or detector, not to the bed."},
	RepeatTest:        {"repeat the test", "Run 2 to 3 column volumes until the baseline is steady, then the same pulse again. Fix beforehand how often.", "Two results that differ by more than replicates do tell of the test, not of the bed."},
	ChangeTracer:      {"other tracer", "Run another small and neutral tracer; on a charged medium the same salt at a higher background, at least 0.4 M, the pulse at most twice it.", "A tracer that is held back or kept out of the beads makes an even bed look ruined."},
	ResetAdapter:      {"reset the adapter", "Flow off, pressure released, path for the displaced liquid open; lower the adapter to the bed, then test.", "A gap under the adapter makes a broad peak with a tail."},
	ReversePulse:      {"reverse-flow pulse", "Run the pulse in reverse flow. Only with the adapter touching the bed and nets made for both directions; never with a gap or an unknown one.", "A defect at the inlet shows in one direction more than in the other; one all through the bed shows in both."},
	ConsolidateOn:     {"consolidate further", "One further compression step, as the review of the pack offers it with flow, pressure and travel, then test.", "A bed that was not compressed enough becomes even."},
	ReslurryTop:       {"re-slurry the top", "Take up the top of the bed, let it settle level, compress again, then test.", "An uneven surface or a layer of fines at the top is gone."},
	UnpackAndPack:     {"unpack and repack", "Unpack, look at nets and seals, measure the slurry again, and pack.", "Nothing of the old bed is left."},
}

// String returns the remedy in words.
func (r Remedy) String() string {
	if r < CheckInputs || r > UnpackAndPack {
		return fmt.Sprintf("remedy %d", int(r))
	}
	return remedyTexts[r].name
}

// A Done is a remedy that was carried out.
type Done struct {
	What Remedy
	Note string // when, by whom, with what result, for the record
}

// A PeakShape is what the peak of the failed test looks like.
type PeakShape int

// The shapes.
const (
	ShapeNotSaid PeakShape = iota
	Tailing
	Fronting // a front, a shoulder in front or a split peak
)

// String returns the shape in words.
func (s PeakShape) String() string {
	if s < ShapeNotSaid || s > Fronting {
		return fmt.Sprintf("shape %d", int(s))
	}
	return [...]string{"shape not said", "tailing", "fronting, shoulder or split"}[s]
}

// AfterFailedTest asks for the next remedy after a failed test. What is false is
// not known to be so.
type AfterFailedTest struct {
	Column         packing.Column
	Shape          PeakShape
	AdapterTouches bool   // the adapter is seen to touch the bed
	NetsBothWays   bool   // nets and distributors are made for flow in both directions
	MoreAllowed    bool   // curve and limits allow further consolidation, see Findings.Options
	Done           []Done // in the order in which they were done
}

// NextRemedy is what to do next, and a count of what was done.
type NextRemedy struct {
	Asked   AfterFailedTest
	Refusal error // why there is no answer, or nil
	Next    Remedy
	Skipped []string // remedies that are passed over, and why
	Counts  []int    // how often each was done, by Remedy
	Doubts  []string
}

// passedOver says why a remedy is not for this bed; nothing if it is.
func (a AfterFailedTest) passedOver(r Remedy) string {
	switch {
	case r == ResetAdapter && a.Shape != Tailing:
		return fmt.Sprintf("it is for a tail (%v)", a.Shape)
	case r == ReversePulse && a.Shape != Fronting:
		return fmt.Sprintf("it is for a front, a shoulder or a split (%v)", a.Shape)
	case r == ReversePulse && !(a.AdapterTouches && a.NetsBothWays):
		return "only with the adapter seen to touch the bed and nets made for both directions; reverse flow lifts a bed under a gap"
	case r == ConsolidateOn && !a.MoreAllowed:
		return "curve and limits are not known to allow it: ask the review of the pack"
	}
	return ""
}

// Next returns the first remedy in the order that was not done since the bed was
// last packed:
//
//	what was typed, look, system without the column, repeat, other tracer;
//	then by shape: tail: adapter down to the bed, front: reverse-flow pulse;
//	further consolidation, top of the bed, unpack and repack
//
// The first five do not touch the bed, and nothing that does comes before them.
// Each is done once for a bed. It says so if one was done twice or out of order,
// since a test that is repeated until it passes proves nothing. It refuses a
// remedy or shape that is none.
func (a AfterFailedTest) Next() (NextRemedy, error) {
	n := NextRemedy{Asked: a, Counts: make([]int, UnpackAndPack+1)}
	if a.Shape < ShapeNotSaid || a.Shape > Fronting {
		n.Refusal = &packing.InputError{Where: a.Column.Tag, What: a.Shape.String(), Problem: "there is no such shape", Remedy: "write plan.Tailing or plan.Fronting"}
		return n, n.Refusal
	}
	var here [UnpackAndPack + 1]int // with the bed there is now
	last := Remedy(0)
	for i, d := range a.Done {
		if d.What < CheckInputs || d.What > UnpackAndPack {
			n.Refusal = &packing.InputError{Where: a.Column.Tag, What: fmt.Sprintf("remedy %d of %d", i+1, len(a.Done)), Problem: fmt.Sprintf("there is no remedy %d", int(d.What)),
				Remedy: "write for example plan.RepeatTest"}
			return n, n.Refusal
		}
		n.Counts[d.What]++
		if d.What == UnpackAndPack {
			here, last = [UnpackAndPack + 1]int{}, 0
			continue
		}
		here[d.What]++
		if here[d.What] == 2 {
			n.Doubts = append(n.Doubts, fmt.Sprintf("%s was done more than once with this bed: the number of repeats is fixed beforehand, or a test is repeated until it passes.", capital(d.What.String())))
		}
		if d.What < last {
			n.Doubts = append(n.Doubts, fmt.Sprintf("%s was done after %s: what came first may have changed what it shows.", capital(d.What.String()), last))
		}
		last = max(last, d.What)
	}
	for n.Next = CheckInputs; n.Next < UnpackAndPack; n.Next++ {
		if here[n.Next] > 0 {
			continue
		}
		why := a.passedOver(n.Next)
		if why == "" {
			break
		}
		n.Skipped = append(n.Skipped, fmt.Sprintf("%s: %s", n.Next, why))
	}
	return n, nil
}

// String returns the page as text.
func (n NextRemedy) String() string { return n.Page().String() }

// Page shows the next remedy and what was done.
func (n NextRemedy) Page() page.Page {
	var p page.Page
	title := "After a failed test"
	if tag := n.Asked.Column.Tag; tag != "" {
		title += ": " + tag
	}
	p.Heading(title)
	switch {
	case n.Refusal != nil:
		p.Notice("No answer:", n.Refusal.Error())
		return p
	case n.Next == 0:
		p.Notice("No answer:", "nothing was asked.")
		return p
	}
	text := remedyTexts[n.Next]
	p.Notice("Next:", fmt.Sprintf("%s. %s %s", text.name, text.do, text.tells))
	p.List("Passed over", n.Skipped)
	p.List("Doubts", n.Doubts)
	t := table.Table{Caption: "In order (common practice, no source)", RowHeaders: true, Columns: []table.Column{
		{Name: "remedy"}, {Name: "done", Right: true}, {Name: "notes"}, {Name: "initials"}}}
	for r := CheckInputs; r <= UnpackAndPack; r++ {
		var notes []string
		for _, d := range n.Asked.Done {
			if d.What == r && d.Note != "" {
				notes = append(notes, d.Note)
			}
		}
		t.Add(r.String(), fmt.Sprint(n.Counts[r]), strings.Join(notes, "; "))
	}
	p.Table(t)
	p.List("Cautions", []string{
		"Release the pressure before anything on the column is opened or moved; adapters and clamps pinch. Never leave a full column with all paths shut.",
		"Every result counts, also those that failed. Your procedure comes before this order.",
	})
	return p
}
