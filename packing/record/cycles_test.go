package record

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// seasonAt returns a record with a row each second from 0 to 60, whose value is its
// position, and events at the positions given.
func seasonAt(at ...float64) Record {
	r := Record{File: "season.csv", Columns: []Column{{Name: "Time", Unit: "s"}, {Name: "UV", Unit: "mAU", Axis: "Time"}}}
	for i := range 61 {
		for c := range r.Columns {
			r.Columns[c].Values = append(r.Columns[c].Values, float64(i))
		}
	}
	for _, x := range at {
		r.Events = append(r.Events, Event{Axis: trace.Time, At: x, Name: "Note", Text: "Inject"})
	}
	return r
}

func TestCycles(t *testing.T) {
	for _, tc := range []struct {
		name   string
		at     []float64
		first  []float64 // value of the first row of each cycle; NaN: it has no rows
		rows   []int
		doubts []string
	}{
		{"from the start", []float64{0, 20, 40}, []float64{0, 20, 40}, []int{20, 20, 21}, nil},
		{"a row before", []float64{10, 30}, []float64{10, 30}, []int{20, 31}, []string{"Before the first event, from 0 s to 10 s"}},
		{"between rows", []float64{9.5, 30.5}, []float64{10, 31}, []int{21, 30}, []string{"Before the first event"}},
		{"one", []float64{0}, []float64{0}, []int{61}, nil},
		{"out of order", []float64{40, 0, 20}, []float64{0, 20, 40}, []int{20, 20, 21}, []string{"do not stand in order"}},
		{"twice", []float64{0, 20, 20, 40}, []float64{0, 20, 40}, []int{20, 20, 21}, []string{"1 event at the position of another"}},
		{"nothing between", []float64{0, 20.2, 20.4}, []float64{0, nan, 21}, []int{21, 0, 40}, nil},
		{"behind the end", []float64{0, 60, 70}, []float64{0, nan, nan}, []int{60, 0, 0}, nil},
		{"before the record", []float64{-5, 30}, []float64{0, 30}, []int{30, 31}, nil},
		{"without a position", []float64{0, nan, 30}, []float64{0, 30}, []int{30, 31}, []string{"1 event without a position"}},
	} {
		r := seasonAt(tc.at...)
		c, err := r.Cycles("inject", "UV")
		if err != nil || c.Len() != len(tc.first) {
			t.Errorf("%s: %d cycles, %v; want %d", tc.name, c.Len(), err, len(tc.first))
			continue
		}
		if len(c.Doubts) != len(tc.doubts) {
			t.Errorf("%s: doubts %q, want %q", tc.name, c.Doubts, tc.doubts)
		}
		for i, d := range tc.doubts {
			if !strings.HasPrefix(c.Doubts[i], d) && !strings.Contains(c.Doubts[i], d) {
				t.Errorf("%s: doubt %q, want %q", tc.name, c.Doubts[i], d)
			}
		}
		for i, first := range tc.first {
			tr, err := c.Open(i)
			part, partErr := c.Record(i)
			if math.IsNaN(first) {
				refused(t, err, fmt.Sprintf("season.csv, cycle %d: fewer than two rows", i+1))
				if tc.rows[i] == 0 && partErr == nil && len(part.Columns[0].Values) > 1 {
					t.Errorf("%s: cycle %d has the rows %v", tc.name, i+1, part.Columns[0].Values)
				}
				continue
			}
			if err != nil || partErr != nil {
				t.Errorf("%s: cycle %d: %v, %v", tc.name, i+1, err, partErr)
				continue
			}
			x, y := tr.XY(0)
			if y != first || x != first-c.Starts[i].At || tr.Len() != tc.rows[i] || tr.From != fmt.Sprintf("season.csv, cycle %d", i+1) {
				t.Errorf("%s: cycle %d begins at %v with %v, %d rows of %s; want %v, %d rows", tc.name, i+1, x, y, tr.Len(), tr.From, first, tc.rows[i])
			}
			if v := values(t, part, "UV"); len(v) != tc.rows[i] || v[0] != first {
				t.Errorf("%s: the record of cycle %d holds %v", tc.name, i+1, v)
			}
		}
	}
}

// TestCyclesMiss: no row is in two cycles, and none behind the first event in none.
func TestCyclesMiss(t *testing.T) {
	c, err := seasonAt(3, 7, 8, 21.5, 44).Cycles("Inject", "UV")
	if err != nil {
		t.Fatal(err)
	}
	var all []float64
	for i := range c.Len() {
		part, err := c.Record(i)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, values(t, part, "UV")...)
	}
	for i, v := range all {
		if v != float64(i+3) {
			t.Fatalf("row %d of the cycles is %v, want %d", i, v, i+3)
		}
	}
	if len(all) != 58 {
		t.Errorf("%d rows, want 58: 3 to 60", len(all))
	}
	if text := c.String(); !strings.Contains(text, "5 cycles of season.csv, signal UV") || !strings.Contains(text, "Before the first event") {
		t.Errorf("the list reads\n%s", text)
	}
}

func TestCyclesNames(t *testing.T) {
	r := seasonAt(0)
	for i, text := range []string{"Inject 2", "Injector wash", "Elute"} {
		r.Events = append(r.Events, Event{Axis: trace.Time, At: float64(20 + 10*i), Name: "Note", Text: text})
	}
	c, err := r.Cycles("Inject", "UV")
	if err != nil || c.Len() != 1 {
		t.Errorf("the whole name: %d cycles, %v; want 1", c.Len(), err)
	}
	c, err = r.Cycles("Inj", "UV")
	if err != nil || c.Len() != 3 || len(c.Doubts) != 1 || !strings.Contains(c.Doubts[0], `"Inject", "Inject 2", "Injector wash"`) {
		t.Errorf("a beginning: %d cycles, %q, %v; want 3 and a doubt that names them", c.Len(), c.Doubts, err)
	}
	_, err = r.Cycles("Injct", "UV")
	refused(t, err, `did you mean "Inject"`)
	_, err = r.Cycles("Inject", "UW")
	refused(t, err, `no column "UW"`)
	r.Events = []Event{{Axis: trace.Volume, At: 0.01, Name: "Note", Text: "Inject"}}
	_, err = r.Cycles("Inject", "UV")
	refused(t, err, "runs against time", "ByVolume or ByTime")
	r.Events = []Event{{Axis: trace.Time, At: nan, Name: "Note", Text: "Inject"}}
	_, err = r.Cycles("Inject", "UV")
	refused(t, err, "has a position")
}

// TestCyclesByVolume: events and signal against volume.
func TestCyclesByVolume(t *testing.T) {
	r := parse(t, "Volume (mL),UV (mAU)\n0,1\n1,2\n2,3\n3,4\n4,5\n5,6\n")
	for _, v := range []Volume{1 * Millilitre, 3 * Millilitre} {
		r.Events = append(r.Events, Event{Axis: trace.Volume, At: float64(v), Text: "Inject"})
	}
	c, err := r.Cycles("Inject", "UV")
	if err != nil || c.Len() != 2 {
		t.Fatalf("%d cycles, %v", c.Len(), err)
	}
	for i, want := range [][]float64{{2, 3}, {4, 5, 6}} {
		tr, err := c.Open(i)
		if err != nil || !equal(tr.Values(), want) || tr.Axis() != trace.Volume || tr.Span().From != 0 {
			t.Errorf("cycle %d: %v, %v; want %v", i+1, tr.Values(), err, want)
		}
	}
}

func TestSignalIn(t *testing.T) {
	r := parse(t, "Time (min),A1 (mAU),A2 (AU),C (µS/cm),P (bar),Q (bar)\n0,1,2,3,4,5\n1,1,2,3,4,5\n")
	for in, want := range map[string]string{"mAU": "A1", "AU": "A2", "mS/cm": "C", "uS/cm": "C"} {
		if s, err := r.SignalIn(in); err != nil || s.Name != want {
			t.Errorf("in %s: %v, %v; want %s", in, s.Name, err, want)
		}
	}
	_, err := r.SignalIn("bar")
	refused(t, err, "several signals in bar", `by its name with Signal: "P", "Q"`)
	_, err = r.SignalIn("mOD")
	refused(t, err, "several signals in mOD", `"A1", "A2"`)
	_, err = r.SignalIn("L/h")
	refused(t, err, "no signal in L/h", `the signals are "A1 (mAU)", "A2 (AU)", "C (µS/cm)", "P (bar)", "Q (bar)"`)
	_, err = r.SignalIn("min")
	refused(t, err, "no signal in min")
	_, err = r.SignalIn("stone")
	refused(t, err, `"stone" is not known`)
	_, err = r.SignalIn("")
	refused(t, err, "is not known")
}

func TestFolderUnit(t *testing.T) {
	season(t, map[string]string{"1.csv": "Time (min),UV (mAU)\n0,1\n1,2\n", "2.csv": "Time (min),A 280 (mAU)\n0,3\n1,4\n", "3.csv": "Time (min),A (mAU),B (mAU)\n0,3,1\n1,4,1\n"})
	files, err := Folder{Glob: "*.csv", Unit: "mAU"}.Files()
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"UV", "A 280"} {
		if s, err := files.Open(i); err != nil || s.Name != want {
			t.Errorf("file %d: %v, %v; want %s", i, s.Name, err, want)
		}
	}
	_, err = files.Open(2)
	refused(t, err, "3.csv", "several signals in mAU")
	if text := files.String(); !strings.Contains(text, "signal in mAU") {
		t.Errorf("the list reads\n%s", text)
	}
	_, err = Folder{Glob: "*.csv", Unit: "mAU", Signal: "UV"}.Files()
	refused(t, err, "leave out one or the other")
}
