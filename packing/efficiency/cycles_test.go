package efficiency

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/record"
	"github.com/evenbed/evenbed/packing/trace"
)

// TestCyclesOfARecord: pulse tests one after the other in one record are what they
// are in records of their own, and a cycle without rows is a row with its reason.
func TestCyclesOfARecord(t *testing.T) {
	const n, points = 3, 600
	var x, y []float64
	var events []record.Event
	r := rand.New(rand.NewPCG(17, 4))
	length := 20. * retention04 / 10
	for k := range n {
		start := 100 + float64(k)*length
		events = append(events, record.Event{Axis: trace.Time, At: start, Name: "Note", Text: "Inject"})
		for i := range points {
			u := 20 * float64(i) / points
			x, y = append(x, start+u*retention04/10), append(y, 100*made.EMG(u, 10, 0.3+0.05*float64(k), 0.1)+0.05*r.NormFloat64())
		}
	}
	events = append(events, record.Event{Axis: trace.Time, At: 100 + n*length + 1, Name: "Note", Text: "Inject"})
	season := record.Record{File: "season.csv", Events: events,
		Columns: []record.Column{{Name: "Time", Unit: "s", Values: x}, {Name: "UV", Unit: "mAU", Axis: "Time", Values: y}}}
	cycles, err := season.Cycles("Inject", "UV")
	if err != nil {
		t.Fatal(err)
	}
	tests, err := test04().EvaluateFrom(cycles)
	if err != nil || len(tests.Rows) != n+1 {
		t.Fatalf("%d rows, %v", len(tests.Rows), err)
	}
	for k := range n {
		own := make([]float64, points)
		for i := range own {
			own[i] = x[k*points+i] - (100 + float64(k)*length)
		}
		tr, err := trace.Make("UV", "mAU", trace.Time, own, y[k*points:(k+1)*points])
		if err != nil {
			t.Fatal(err)
		}
		want, err := test04().Evaluate(tr)
		if err != nil {
			t.Fatal(err)
		}
		row := tests.Rows[k]
		if row.Err != nil || row.PlatesPerMetre != want.PlatesPerMetre || row.Asymmetry != want.Asymmetry || row.Retention != want.Retention {
			t.Errorf("cycle %d: %v, %v plates per metre; alone %v", k+1, row.Err, row.PlatesPerMetre, want.PlatesPerMetre)
		}
		if name := fmt.Sprintf("season.csv, cycle %d", k+1); row.File != name {
			t.Errorf("cycle %d is called %q, want %q", k+1, row.File, name)
		}
	}
	if last := tests.Rows[n]; last.Err == nil || len(tests.Errors()) != 1 {
		t.Errorf("a cycle without rows: %+v", last)
	}
	changes, err := Transition{Column: test04().Column, BedHeight: test04().BedHeight, Flow: test04().Flow}.EvaluateFrom(cycles)
	if err != nil || len(changes.Rows) != n+1 || changes.Rows[1].Label != "season.csv, cycle 2" {
		t.Errorf("as transitions: %d rows, %v, second label %q", len(changes.Rows), err, changes.Rows[1].Label)
	}
}
