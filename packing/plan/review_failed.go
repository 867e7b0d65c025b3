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

// The remedies, in order.
const (
	TestWithoutColumn Remedy = iota + 1 // the system alone
	RepeatTest
	ConditionBed  // 2 to 3 column volumes, then test
	ResetAdapter  // lower it to the bed again, then test
	ReversePulse  // a pulse in reverse flow
	ReslurryTop   // take up the top of the bed, let it settle, pack it again
	UnpackAndPack // start over
)

// remedyTexts are name, what to do and what it tells, by Remedy.
var remedyTexts = [...]struct{ name, do, tells string }{
	TestWithoutColumn: {"system without the column", "Run the pulse with the column bypassed, at the same flow.", "A broad or late peak belongs to tubing, valves or detector, not to the bed."},
	RepeatTest:        {"repeat the test", "Run the same pulse again, with the same flow, sample and tracer.", "Two results that differ by more than replicates do tell of the test, not of the bed."},
	ConditionBed:      {"condition", "Run 2 to 3 column volumes at the test's flow, then test.", "A bed that was not in equilibrium with its liquid, or held a little air, gets better."},
	ResetAdapter:      {"reset the adapter", "Flow off, pressure released; lower the adapter to the bed, then test.", "A gap under the adapter makes a broad peak with a tail."},
	ReversePulse:      {"reverse-flow pulse", "Run the pulse in reverse flow, if the medium and the column allow it.", "A defect at the inlet shows in one direction more than in the other; one all through the bed shows in both."},
	ReslurryTop:       {"re-slurry the top", "Take up the top of the bed, let it settle level, compress again, then test.", "An uneven surface or a layer of fines at the top is gone."},
	UnpackAndPack:     {"unpack and repack", "Unpack, look at nets and seals, measure the slurry again, and pack.", "Nothing of the old bed is left."},
}

// String returns the remedy in words.
func (r Remedy) String() string {
	if r < TestWithoutColumn || r > UnpackAndPack {
		return fmt.Sprintf("remedy %d", int(r))
	}
	return remedyTexts[r].name
}

// A Done is a remedy that was carried out.
type Done struct {
	What Remedy
	Note string // when, by whom, with what result, for the record
}

// AfterFailedTest asks for the next remedy after a failed test.
type AfterFailedTest struct {
	Column packing.Column
	Done   []Done // in the order in which they were done
}

// NextRemedy is what to do next, and a count of what was done.
type NextRemedy struct {
	Asked   AfterFailedTest
	Refusal error // why there is no answer, or nil
	Next    Remedy
	Counts  []int // how often each was done, by Remedy
	Doubts  []string
}

// Next returns the first remedy in the order that was not done since the bed was
// last packed:
//
//	system without the column, repeat, condition, reset the adapter,
//	reverse-flow pulse, re-slurry the top, unpack and repack
//
// Each is done once for a bed. It says so if one was done twice or out of order,
// since a test that is repeated until it passes proves nothing. It refuses a
// remedy that is none.
func (a AfterFailedTest) Next() (NextRemedy, error) {
	n := NextRemedy{Asked: a, Counts: make([]int, UnpackAndPack+1)}
	var here [UnpackAndPack + 1]int // with the bed there is now
	last := Remedy(0)
	for i, d := range a.Done {
		if d.What < TestWithoutColumn || d.What > UnpackAndPack {
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
	for n.Next = TestWithoutColumn; n.Next < UnpackAndPack && here[n.Next] > 0; {
		n.Next++
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
	p.List("Doubts", n.Doubts)
	t := table.Table{Caption: "In order (common practice, no source)", RowHeaders: true, Columns: []table.Column{
		{Name: "remedy"}, {Name: "done", Right: true}, {Name: "notes"}, {Name: "initials"}}}
	for r := TestWithoutColumn; r <= UnpackAndPack; r++ {
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
		"Release the pressure before anything on the column is opened or moved; adapters and clamps pinch. Reverse flow may lift the bed: the adapter must touch it.",
		"Every result counts, also those that failed. Your procedure comes before this order.",
	})
	return p
}
