package record

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/evenbed/evenbed/packing/trace"
)

// invent makes a record of random shape: one or several axes, gaps, events,
// moments, a preamble and notes.
func invent(r *rand.Rand) Record {
	pick := func(from ...string) string { return from[r.IntN(len(from))] }
	number := func() float64 {
		switch r.IntN(12) {
		case 0:
			return math.NaN()
		case 1:
			return float64(r.IntN(2000) - 1000)
		case 2:
			return math.Ldexp(r.Float64()-0.5, r.IntN(600)-300)
		case 3:
			return math.Copysign(0, -1)
		}
		return math.Round(r.NormFloat64()*1e5) / 1e3
	}
	var out Record
	for i := range r.IntN(4) {
		out.Preamble = append(out.Preamble, Entry{Key: fmt.Sprintf("Key %d", i), Value: pick("Marram", "column 04, 30.0 cm", "12,5", "a <b> & c", "x: y")})
	}
	if r.IntN(3) == 0 {
		out.Notes = []Entry{{Value: "End of the run"}}
	}
	byVolume := r.IntN(3) == 0
	for a := range 1 + r.IntN(3) {
		axis := Column{Name: fmt.Sprintf("Time %c", 'A'+a), Unit: pick("s", "min", "h")}
		if byVolume {
			axis = Column{Name: fmt.Sprintf("Volume %c", 'A'+a), Unit: pick("mL", "L")}
		}
		rows := 3 + r.IntN(40) + 50*a // a text cannot tell axes of one length apart
		moments := a == 0 && !byVolume && r.IntN(4) == 0
		if moments {
			axis.Unit, axis.Start = "s", time.Date(2026, 3, 9+r.IntN(20), r.IntN(24), r.IntN(60), r.IntN(60), 0, time.UTC)
		}
		at := 0.0
		for i := range rows {
			if i > 0 {
				at += math.Round((0.001+r.Float64())*1e3) / 1e3
				at = math.Round(at*1e3) / 1e3
			}
			axis.Values = append(axis.Values, at)
		}
		out.Columns = append(out.Columns, axis)
		for s := range 1 + r.IntN(3) {
			c := Column{Name: fmt.Sprintf("%s %c%d", pick("UV", "Pressure, top", "pH \"in\"", "Fluß"), 'A'+a, s), Unit: pick("mAU", "bar", "", "°C"), Axis: axis.Name}
			for i := range rows {
				v := number()
				if i == 0 || i == rows-1 { // a column or a last row of nothing has no number to come back
					v = float64(i) + 0.5
				}
				c.Values = append(c.Values, v)
			}
			out.Columns = append(out.Columns, c)
		}
		if a == 0 && r.IntN(2) == 0 {
			x, kind, _ := out.positions(axis)
			for i := range x {
				if r.IntN(5) == 0 {
					out.Events = append(out.Events, Event{Axis: kind, At: x[i], Name: "Remark", Text: pick("load", "wash, slow", "he said \"stop\"", "step 2", "<b>")})
				}
			}
		}
	}
	return out
}

func TestWritesReadBackEqual(t *testing.T) {
	for _, ending := range []string{".csv", ".parquet", ".nc"} {
		for seed := range uint64(300) {
			r := invent(rand.New(rand.NewPCG(seed, 7)))
			if ending != ".csv" {
				r.Notes = nil
			}
			if ending == ".nc" {
				r.Columns[0].Start = time.Time{}
			}
			path := filepath.Join(t.TempDir(), "copy"+ending)
			if err := r.Write(path); err != nil {
				t.Errorf("seed %d, %s: %v", seed, ending, err)
				continue
			}
			got, err := Read(path)
			if err != nil {
				data, _ := os.ReadFile(path)
				t.Errorf("seed %d, %s: %v\n%.1500s", seed, ending, err, data)
				continue
			}
			sameRecord(t, fmt.Sprintf("seed %d, %s", seed, ending), got, r)
			if t.Failed() {
				data, _ := os.ReadFile(path)
				t.Fatalf("%.3000s\n%s", data, got)
			}
		}
	}
}

// A name that ends like a unit comes back as it was.
func TestNamesLikeUnits(t *testing.T) {
	r := Record{Columns: []Column{{Name: "Time", Unit: "s", Values: []float64{0, 1}}}}
	for _, name := range []string{"Flow mL/min", "Beam (a)", "P/bar", "UV (280 nm)", "Open bar", "Share, %", "Brackets ()", "mL"} {
		r.Columns = append(r.Columns, Column{Name: name, Axis: "Time", Values: []float64{1.5, 2.5}})
	}
	path := filepath.Join(t.TempDir(), "copy.csv")
	if err := r.Write(path); err != nil {
		t.Fatal(err)
	}
	sameRecord(t, "names like units", read(t, path), r)
}

// An event that stands in no row gets a column of positions of its own.
func TestEventsBetweenRows(t *testing.T) {
	r := paired()
	r.Events = []Event{{Axis: trace.Time, At: 7.5, Name: "Remark", Text: "load"}, {Axis: trace.Time, At: 31, Name: "Remark", Text: "stop"}}
	path := filepath.Join(t.TempDir(), "copy.csv")
	if err := r.Write(path); err != nil {
		t.Fatal(err)
	}
	got := read(t, path)
	if fmt.Sprint(got.Events) != fmt.Sprint(r.Events) || !equal(values(t, got, "UV"), values(t, r, "UV")) {
		t.Errorf("events %v, want %v", got.Events, r.Events)
	}
}

func TestWriteRefusals(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "run.csv")
	if err := os.WriteFile(path, []byte(small), 0o644); err != nil {
		t.Fatal(err)
	}
	r := read(t, path)
	refused(t, r.Write(path), "read from this file", "another name")
	refused(t, r.Write(filepath.Join(folder, "run.doc")), `ending ".doc"`, ".parquet")
	err := r.Write(filepath.Join(folder, "no such folder", "x.csv"))
	refused(t, err, "cannot be written")
	if !errors.Is(err, os.ErrNotExist) {
		t.Errorf("%v does not keep its cause", err)
	}
	if left, _ := filepath.Glob(filepath.Join(folder, ".evenbed-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// Lines without a key and notes are not lost in formats of keys and values.
func TestNotesAreKept(t *testing.T) {
	for _, ending := range []string{".parquet", ".nc"} {
		r := paired()
		r.Preamble, r.Notes = []Entry{{Value: "made by hand"}, {Key: "Medium", Value: "Marram"}}, []Entry{{Value: "End of the run"}}
		path := filepath.Join(t.TempDir(), "copy"+ending)
		if err := r.Write(path); err != nil {
			t.Fatal(err)
		}
		got := read(t, path)
		for key, want := range map[string]string{"line 1": "made by hand", "Medium": "Marram", "line 3": "End of the run"} {
			if v, err := got.Lookup(key); err != nil || v != want {
				t.Errorf("%s: %s: %q, %v, want %q", ending, key, v, err, want)
			}
		}
	}
}
