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
	. "github.com/evenbed/evenbed/packing/units"
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
			axis.Unit, axis.Start = "s", time.Date(2026, 3, 9+r.IntN(20), r.IntN(24), r.IntN(60), r.IntN(60), r.IntN(2)*r.IntN(1e9), time.UTC)
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
	for _, ending := range []string{".csv", ".parquet", ".xlsx", ".nc"} {
		for seed := range uint64(300) {
			r := invent(rand.New(rand.NewPCG(seed, 7)))
			if ending != ".csv" && ending != ".xlsx" {
				r.Notes = nil
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

// Moments are written to the nanosecond however far from the first they lie,
// where seconds in a float64 cannot tell them apart.
func TestMomentsAreExact(t *testing.T) {
	moments := []string{"1999-12-31T23:59:59.999999999", "2000-01-01T00:00:00.000000001", "2026-03-09T08:30:00.123456789", "2026-03-09T08:30:00.12345679", "2190-07-01T00:00:00.000000003"}
	text := "Moment,UV (mAU)\n"
	for i, m := range moments {
		text += fmt.Sprintf("%s,%d.5\n", m, i)
	}
	folder := t.TempDir()
	first, second, packed := filepath.Join(folder, "first.csv"), filepath.Join(folder, "second.csv"), filepath.Join(folder, "packed.parquet")
	if err := os.WriteFile(first, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	r := read(t, first, Options{Clock: KeepRows}) // two moments fall together as seconds
	if err := r.Write(packed); err != nil {
		t.Fatal(err)
	}
	inMinutes, err := r.Converted("Moment", "min")
	if err != nil {
		t.Fatal(err)
	}
	for what, from := range map[string]Record{"from the text": r, "over Parquet": read(t, packed, Options{Clock: KeepRows}),
		"in another unit": inMinutes} {
		if err := from.Write(second); err != nil {
			t.Fatal(err)
		}
		if got, _ := os.ReadFile(second); string(got) != text {
			t.Errorf("%s:\n%s\nwant\n%s", what, got, text)
		}
	}
	part, err := r.Within(trace.Times(Second, 1e9*Second)) // exact moments go with their rows
	if err != nil {
		t.Fatal(err)
	}
	if err := part.Write(second); err != nil {
		t.Fatal(err)
	}
	if got, _ := os.ReadFile(second); string(got) != "Moment,UV (mAU)\n"+moments[2]+",2.5\n"+moments[3]+",3.5\n" {
		t.Errorf("a part:\n%s", got)
	}
}

// A zone that the file writes is kept, and so is the zero of a netCDF time.
func TestZonesAndStarts(t *testing.T) {
	r, err := Parse("zones.csv", []byte("Moment,UV (mAU)\n2024-01-02T03:04:06+01:00,1.5\n2024-01-02T03:04:07.25+01:00,2.5\n"))
	if err != nil {
		t.Fatal(err)
	}
	start := time.Date(2024, 1, 2, 2, 4, 6, 0, time.UTC)
	shifted := r.with(0, Column{Name: "Moment", Unit: "min", Start: start, Values: []float64{1.5, 1.75}})
	for _, ending := range []string{".csv", ".parquet", ".xlsx", ".nc"} {
		path := filepath.Join(t.TempDir(), "copy"+ending)
		if err := r.Write(path); err != nil {
			t.Fatal(err)
		}
		got := read(t, path).Columns[0]
		if !got.Start.Equal(start) || !equal(got.Values, []float64{0, 1.25}) || got.Unit != "s" {
			t.Errorf("%s: %+v, want two moments from %v", ending, got, start)
		}
		path = filepath.Join(t.TempDir(), "shifted"+ending)
		if err := shifted.Write(path); err != nil {
			t.Fatal(err)
		}
		got = read(t, path).Columns[0]
		want := Column{Name: "Moment", Unit: "s", Start: start.Add(90 * time.Second), Values: []float64{0, 15}}
		if ending == ".nc" {
			want = shifted.Columns[0]
		}
		if !got.Start.Equal(want.Start) || !equal(got.Values, want.Values) || got.Unit != want.Unit {
			t.Errorf("shifted, %s: %+v, want %+v", ending, got, want)
		}
	}
	far := r.with(0, Column{Name: "Moment", Unit: "h", Start: start, Values: []float64{0, 1e12}})
	refused(t, far.Write(filepath.Join(t.TempDir(), "far.csv")), `column "Moment", row 2`, "netCDF")
}

// One signal of a record, evenly sampled or not, comes back from the
// arrangement of the standard.
func TestWriteSignal(t *testing.T) {
	for _, file := range []string{"../../testdata/column04-pulse.csv", "../../testdata/export-paired.csv"} {
		r := read(t, file)
		path := filepath.Join(t.TempDir(), "uv.cdf")
		if err := r.WriteSignal(path, "UV"); err != nil {
			t.Errorf("%s: %v", file, err)
			continue
		}
		got := read(t, path)
		uv, err := r.Column("UV")
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Columns) != 2 || got.Columns[1].Name != uv.Name || got.Columns[1].Unit != uv.Unit || !equal(got.Columns[1].Values, uv.Values) || !equal(got.Columns[0].Values, values(t, r, uv.Axis)) {
			t.Errorf("%s: %v", file, got)
		}
		one, err := r.Signal("UV")
		two, err2 := got.Signal("UV")
		if err != nil || err2 != nil || one.Len() != two.Len() {
			t.Fatal(err, err2)
		}
		if !equal(two.Positions(), one.Positions()) || !equal(two.Values(), one.Values()) {
			t.Errorf("%s: another trace: %v, want %v", file, two, one)
		}
		for _, e := range r.Preamble {
			if v, err := got.Lookup(e.Key); e.Key != "" && (err != nil || v != e.Value) {
				t.Errorf("%s: %s: %q, %v, want %q", file, e.Key, v, err, e.Value)
			}
		}
	}
	r := read(t, "../../testdata/column04-pulse.csv")
	path := filepath.Join(t.TempDir(), "uv.cdf")
	refused(t, r.WriteSignal(path+".csv", "UV"), `".csv"`, ".cdf")
	refused(t, r.WriteSignal(path, "UW"), "did you mean")
	refused(t, r.WriteSignal(path, r.Columns[0].Name), "against itself")
	volume, err := r.ByVolume(20 * LitrePerHour)
	if err != nil {
		t.Fatal(err)
	}
	refused(t, volume.WriteSignal(path, "UV"), "not in seconds, minutes or hours", "first: ByTime")
	refused(t, parse(t, "Time (ms),UV (mAU)\n0,1\n1,2\n", Options{}).WriteSignal(path, "UV"), "not in seconds, minutes or hours", `Converted("Time", "min")`)
	words := Record{Columns: []Column{{Name: "Time", Unit: "s", Values: []float64{0, 1}}, {Name: "Step", Texts: []string{"a", "b"}, Axis: "Time"}}}
	refused(t, words.WriteSignal(path, "Step"), "holds no numbers")
}

// A name that ends like a unit comes back as it was.
func TestNamesLikeUnits(t *testing.T) {
	r := Record{Columns: []Column{{Name: "Time", Unit: "s", Values: []float64{0, 1}}}}
	for _, name := range []string{"Flow mL/min", "Beam (a)", "P/bar", "UV (280 nm)", "Open bar", "Share, %", "Brackets ()", "mL"} {
		r.Columns = append(r.Columns, Column{Name: name, Axis: "Time", Values: []float64{1.5, 2.5}})
	}
	r.Columns = append(r.Columns, Column{Name: "Flux", Unit: "g/(L h)", Axis: "Time", Values: []float64{1.5, 2.5}})
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
