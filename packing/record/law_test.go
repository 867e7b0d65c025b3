package record

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"go/ast"
	goparser "go/parser"
	"go/token"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/task"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// parse reads a text written in a test.
func parse(t testing.TB, text string, options ...Options) Record {
	t.Helper()
	r, err := Parse("test.csv", []byte(text), options...)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// refused wants an error of the package with a remedy and all the words.
func refused(t testing.TB, err error, words ...string) {
	t.Helper()
	var e Error
	if !errors.As(err, &e) || e.Remedy == "" {
		t.Errorf("%v is no record.Error with a remedy", err)
		return
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("error %q lacks %q", err, w)
		}
	}
}

// equal compares numbers to the last bit; NaN is equal to NaN.
func equal(a, b []float64) bool {
	return slices.EqualFunc(a, b, func(x, y float64) bool { return x == y || math.IsNaN(x) && math.IsNaN(y) })
}

// near compares to 12 digits.
func near(a, b []float64) bool {
	return slices.EqualFunc(a, b, func(x, y float64) bool {
		return math.Abs(x-y) <= 1e-12*math.Max(1, math.Abs(y)) || math.IsNaN(x) && math.IsNaN(y)
	})
}

func values(t testing.TB, r Record, name string) []float64 {
	t.Helper()
	v, err := r.Values(name)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

var nan = math.NaN()

func TestClock(t *testing.T) {
	const (
		doubled = "Time (min),UV (mAU)\n0,1\n1,2\n1,4\n2,8\n"
		reset   = "Time (min),UV (mAU)\n0,1\n1,2\n2,4\n0,8\n1,16\n"
		mixed   = "Time (min),UV (mAU)\n0,1\n2,2\n1,4\n3,8\n"
		night   = "Time (hh:mm:ss),UV (mAU)\n23:59:58,1\n23:59:59,2\n00:00:00,4\n23:00:00,8\n00:00:01,16\n"
		halves  = "Time (min),UV (mAU)\n1439,1\n1,2\n"
	)
	for _, tc := range []struct {
		name, text string
		o          Options
		time, uv   []float64
	}{
		{"kept", doubled, Options{Clock: KeepRows}, []float64{0, 1, 1, 2}, []float64{1, 2, 4, 8}},
		{"mean", doubled, Options{Clock: MeanOfDuplicates}, []float64{0, 1, 2}, []float64{1, 3, 8}},
		{"last", doubled, Options{Clock: LastOfDuplicates}, []float64{0, 1, 2}, []float64{1, 4, 8}},
		{"sorted duplicates", doubled, Options{Clock: SortRows}, []float64{0, 1, 1, 2}, []float64{1, 2, 4, 8}},
		{"first run", reset, Options{Clock: CutAtReset}, []float64{0, 1, 2}, []float64{1, 2, 4}},
		{"second run", reset, Options{Clock: CutAtReset, Run: 2}, []float64{0, 1}, []float64{8, 16}},
		{"sorted", mixed, Options{Clock: SortRows}, []float64{0, 1, 2, 3}, []float64{1, 4, 2, 8}},
		{"across two midnights", night, Options{Clock: AcrossMidnight}, []float64{86398, 86399, 86400, 169200, 172801}, []float64{1, 2, 4, 8, 16}},
		{"across midnight in minutes", halves, Options{Clock: AcrossMidnight}, []float64{1439, 1441}, []float64{1, 2}},
		{"kept backwards", mixed, Options{Clock: KeepRows}, []float64{0, 2, 1, 3}, []float64{1, 2, 4, 8}},
	} {
		r := parse(t, tc.text, tc.o)
		if got, uv := values(t, r, "Time"), values(t, r, "UV"); !equal(got, tc.time) || !equal(uv, tc.uv) {
			t.Errorf("%s: %v %v, want %v %v", tc.name, got, uv, tc.time, tc.uv)
		}
		if !strings.Contains(r.String(), "clock of Time") {
			t.Errorf("%s: the report does not tell:\n%s", tc.name, r)
		}
	}
	for _, tc := range []struct {
		text  string
		o     Options
		words []string
	}{
		{doubled, Options{}, []string{"test.csv:4:", "repeats positions", "line 4: 1 after 1", "KeepRows", "MeanOfDuplicates", "LastOfDuplicates"}},
		{reset, Options{}, []string{"test.csv:5:", "starts again", "line 5: 0 after 2", "CutAtReset", "SortRows", "KeepRows"}},
		{mixed, Options{}, []string{"runs backwards", "line 4: 1 after 2"}},
		{mixed, Options{Clock: MeanOfDuplicates}, []string{"runs backwards", "for duplicates alone"}},
		{reset, Options{Clock: CutAtReset, Run: 3}, []string{"run 3 of a file with 2 runs"}},
		{"Time (min),UV (mAU)\n0,1\n1,2\n", Options{Clock: CutAtReset, Run: 1}, []string{"not cut into runs"}},
		{night, Options{}, []string{"test.csv:4:", "at midnight", "record.AcrossMidnight"}},
		{mixed, Options{Clock: AcrossMidnight}, []string{"runs backwards", "more than twelve hours", "record.SortRows"}},
		{reset, Options{Run: 2}, []string{"without cutting"}},
		{reset, Options{Clock: 99}, []string{"Clock(99)"}},
	} {
		_, err := Parse("test.csv", []byte(tc.text), tc.o)
		refused(t, err, tc.words...)
	}
	_, err := parse(t, mixed, Options{Clock: KeepRows}).Signal("UV")
	refused(t, err, "runs backwards", "record.SortRows")
}

// Rows of several signals below each other become a column for each.
func TestStacked(t *testing.T) {
	type signal struct {
		name, unit string
		x, y       []float64
	}
	const together = "Time (s),Tag,Value\n0,PT101,0.5\n0,FT101,12\n1,PT101,0.6\n1,FT101,13\n"
	for _, tc := range []struct {
		name, text string
		o          Options
		want       []signal
	}{
		{"together", together, Options{}, []signal{{"PT101", "", []float64{0, 1}, []float64{0.5, 0.6}}, {"FT101", "", []float64{0, 1}, []float64{12, 13}}}},
		{"blocks of different length", "Time (s),Tag,Value\n0,PT101,0.5\n1,PT101,0.6\n0.5,FT101,12\n", Options{SignalColumn: "Tag"},
			[]signal{{"PT101", "", []float64{0, 1}, []float64{0.5, 0.6}}, {"FT101", "", []float64{0.5}, []float64{12}}}},
		{"blocks", "Time (s),Tag,Value\n0,PT101,0.5\n1,PT101,0.6\n0,FT101,12\n2,FT101,13\n", Options{},
			[]signal{{"PT101", "", []float64{0, 1}, []float64{0.5, 0.6}}, {"FT101", "", []float64{0, 2}, []float64{12, 13}}}},
		{"decimal comma and units", "Zeit (s);Kanal;Wert;Einheit\n0;Druck;0,5;bar\n0;Fluss;12,5;L/h\n1;Druck;0,75;bar\n1;Fluss;13,5;L/h\n", Options{Axis: "Zeit"},
			[]signal{{"Druck", "bar", []float64{0, 1}, []float64{0.5, 0.75}}, {"Fluss", "L/h", []float64{0, 1}, []float64{12.5, 13.5}}}},
		{"moments", "Moment,Tag,Value\n2026-03-01 10:00:00,a,1\n2026-03-01 10:00:00,b,2\n2026-03-01 10:00:05,a,3\n2026-03-01 10:00:05,b,4\n", Options{},
			[]signal{{"a", "", []float64{0, 5}, []float64{1, 3}}, {"b", "", []float64{0, 5}, []float64{2, 4}}}},
		{"between", "Time (s),Tag,Value\n0,PT101,0.5\n0.4,FT101,12\n1,PT101,0.6\n1.4,FT101,13\n", Options{SignalColumn: "Tag"},
			[]signal{{"PT101", "", []float64{0, 1}, []float64{0.5, 0.6}}, {"FT101", "", []float64{0.4, 1.4}, []float64{12, 13}}}},
		{"two columns of numbers", "Time (s),Tag,Raw,Value\n0,a,1,10\n0,b,2,20\n1,a,3,30\n1,b,4,40\n", Options{},
			[]signal{{"a, Raw", "", []float64{0, 1}, []float64{1, 3}}, {"a, Value", "", []float64{0, 1}, []float64{10, 30}}, {"b, Value", "", []float64{0, 1}, []float64{20, 40}}}},
		{"duplicates of one signal", "Time (s),Tag,Value\n0,a,1\n0,b,2\n1,a,3\n1,b,4\n1,a,5\n2,a,7\n2,b,6\n", Options{SignalColumn: "Tag", Clock: MeanOfDuplicates},
			[]signal{{"a", "", []float64{0, 1, 2}, []float64{1, 4, 7}}, {"b", "", []float64{0, 1, 2}, []float64{2, 4, 6}}}},
	} {
		for _, ends := range []string{"\n", "\r\n"} {
			r, err := Parse("tags.csv", []byte(strings.ReplaceAll(tc.text, "\n", ends)), tc.o)
			if err != nil {
				t.Errorf("%s: %v", tc.name, err)
				continue
			}
			for _, want := range tc.want {
				i, err := r.index(want.name)
				if err != nil {
					t.Errorf("%s: %v", tc.name, err)
					continue
				}
				c := r.Columns[i]
				if x := values(t, r, c.Axis); !equal(x, want.x) || !equal(c.Values, want.y) || c.Unit != want.unit {
					t.Errorf("%s: %s is %v against %v in %q, want %v", tc.name, c.Name, c.Values, x, c.Unit, want)
				}
			}
			report := strings.Join(strings.Fields(r.Page().Markdown()), " ")
			if guessed := tc.o.SignalColumn == ""; !strings.Contains(report, "signals below each other") ||
				strings.Contains(report, "takes them for one signal") != guessed {
				t.Errorf("%s: the report does not tell:\n%s", tc.name, r)
			}
			again, err := Parse("tags.csv", []byte(tc.text), options(t, r.report.Code))
			if err != nil {
				t.Errorf("%s: %v", tc.name, err)
				continue
			}
			sameRecord(t, tc.name, again, r)
			for _, f := range again.report.Facts {
				if f.Guessed {
					t.Errorf("%s: %s is guessed again: %s", tc.name, f.What, f.Value)
				}
			}
		}
	}
}

// Rows are not taken apart where that would be another meaning.
func TestNotStacked(t *testing.T) {
	const (
		between = "Time (s),Tag,Value\n0,PT101,0.5\n0.4,FT101,12\n1,PT101,0.6\n1.4,FT101,13\n"
		phases  = "Time (s),Phase,Value\n0,wait,0\n1,wait,0\n2,pack,5\n3,pack,5\n"
		events  = "Time (s),Note,Value\n0,pump on,0\n0,valve open,0\n1,,5\n2,,5\n"
		blocks  = "Time (s),Tag,Value\n0,PT101,0.5\n1,PT101,0.6\n0,FT101,12\n1,FT101,13\n"
		runs    = "Time (s),Tag,Value\n0,a,1\n0,b,2\n1,a,3\n1,b,4\n0,a,5\n0,b,6\n"
		either  = "Time (s),Tag,Line,Value\n0,a,x,1\n0,b,y,2\n1,a,x,3\n1,b,y,4\n"
		changes = "Time (s),Tag,Value,Unit\n0,a,1,bar\n0,b,2,L/h\n1,a,3,psi\n1,b,4,L/h\n"
	)
	if r := parse(t, between); !strings.Contains(r.String(), `column "Tag" changes between 2 words`) || !strings.Contains(r.String(), `SignalColumn: "Tag"`) {
		t.Error(r)
	}
	if r := parse(t, phases); strings.Contains(r.String(), "changes between") {
		t.Error(r)
	}
	if r := parse(t, blocks, Options{Clock: CutAtReset, Run: 2}); !equal(values(t, r, "Value"), []float64{12, 13}) {
		t.Error(r)
	}
	for _, tc := range []struct {
		text  string
		o     Options
		words []string
	}{
		{events, Options{}, []string{"repeats positions", "MeanOfDuplicates"}},
		{runs, Options{}, []string{"test.csv:3:", `record.Options{SignalColumn: "Tag"}`, "record.KeepRows"}},
		{runs, Options{SignalColumn: "Tag"}, []string{"test.csv:6:", "starts again", "line 6: 0 after 1"}},
		{either, Options{}, []string{"stand below each other", `SignalColumn: "Tag"`}},
		{changes, Options{}, []string{"test.csv:4:", `signal "a" changes its unit from "bar" to "psi"`}},
		{phases, Options{SignalColumn: "Value"}, []string{`"Value" cannot name signals: it holds numbers`}},
		{phases, Options{SignalColumn: "Tags"}, []string{`no column "Tags"`}},
	} {
		_, err := Parse("test.csv", []byte(tc.text), tc.o)
		refused(t, err, tc.words...)
	}
}

// paired is a record of two signals with times of their own.
func paired() Record {
	return Record{File: "paired", Columns: []Column{
		{Name: "Time", Unit: "s", Values: []float64{0, 10, 20}},
		{Name: "UV", Unit: "mAU", Axis: "Time", Values: []float64{0, 100, 50}},
		{Name: "Time 2", Unit: "s", Values: []float64{5, 15, 30, 40}},
		{Name: "Flow", Unit: "L/h", Axis: "Time 2", Values: []float64{1, 3, nan, 7}},
	}}
}

func TestAligned(t *testing.T) {
	r := paired()
	for _, tc := range []struct {
		name     string
		a        Alignment
		x, uv, q []float64
		source   string
	}{
		{"linear", Alignment{Axis: "Time"}, []float64{0, 10, 20}, []float64{0, 100, 50}, []float64{nan, 2, 3.8}, "by hand: 1+(10-5)/10·2; 3+(20-15)/25·4, the missing 30 s left out"},
		{"previous", Alignment{Axis: "UV", Method: Previous}, []float64{0, 10, 20}, []float64{0, 100, 50}, []float64{nan, 1, 3}, "by hand"},
		{"nearest", Alignment{Axis: "Time", Method: Nearest}, []float64{0, 10, 20}, []float64{0, 100, 50}, []float64{nan, 1, 3}, "by hand: 10 s is as near to 5 as to 15, the earlier is taken"},
		{"other axis", Alignment{Axis: "Flow"}, []float64{5, 15, 30, 40}, []float64{50, 75, nan, nan}, []float64{1, 3, nan, 7}, "by hand: nothing behind 20 s"},
		{"step", Alignment{Step: 15 * Second}, []float64{0, 15, 30}, []float64{0, 75, nan}, []float64{nan, 3, 5.4}, "by hand: 3+(30-15)/25·4"},
		{"mean", Alignment{Step: 20 * Second, Method: Mean}, []float64{0, 20, 40}, []float64{0, 75, nan}, []float64{1, 3, 7}, "by hand: [-10,10) [10,30) [30,50)"},
	} {
		got, err := r.Aligned(tc.a)
		if err != nil {
			t.Errorf("%s: %v", tc.name, err)
			continue
		}
		if x, uv, q := got.Columns[0].Values, values(t, got, "UV"), values(t, got, "Flow"); !near(x, tc.x) || !near(uv, tc.uv) || !near(q, tc.q) {
			t.Errorf("%s: %v %v %v, want %v %v %v (%s)", tc.name, x, uv, q, tc.x, tc.uv, tc.q, tc.source)
		}
		if f := got.Frame(); f.Err != nil || f.Ncol() != 3 {
			t.Errorf("%s: frame %v", tc.name, f)
		}
		if !strings.Contains(got.Page().Markdown(), tc.a.Method.String()) {
			t.Errorf("%s: the report does not state the method:\n%s", tc.name, got)
		}
	}
	if f := r.Frame(); f.Err == nil || !strings.Contains(f.Err.Error(), `export.Aligned(record.Alignment{Axis: "Time"})`) {
		t.Errorf("frame of two axes: %v", f.Err)
	}
	for _, tc := range []struct {
		a     Alignment
		words string
	}{
		{Alignment{}, "needs one of"}, {Alignment{Axis: "Time", Step: Second}, "needs one of"},
		{Alignment{Axis: "Tim 3"}, `no column "Tim 3"`}, {Alignment{Step: -Second}, "positive"},
		{Alignment{VolumeStep: Litre}, "against time"}, {Alignment{Step: 1e-9 * Second}, "more than 100000000"},
		{Alignment{Step: Hour}, "longer than the record"}, {Alignment{Axis: "Time", Method: Mean}, "a mean needs a step"},
		{Alignment{Axis: "Time", Method: 9}, "unknown method"},
	} {
		_, err := r.Aligned(tc.a)
		refused(t, err, tc.words)
	}
}

func TestByVolume(t *testing.T) {
	r := parse(t, "Time (min),UV (mAU),Flow (L/h)\n0,1,0\n60,2,10\n120,3,10\n180,4,20\n")
	r.Events = []Event{{Axis: trace.Time, At: 90 * 60, Name: "Note", Text: "load"}}
	constant, err := r.ByVolume(10 * LitrePerHour)
	if err != nil {
		t.Fatal(err)
	}
	uv, err := constant.Signal("UV")
	if err != nil || uv.Axis() != trace.Volume || !near(uv.Positions(), []float64{0, 0.01, 0.02, 0.03}) {
		t.Errorf("constant flow: %v, %v", uv.Positions(), err)
	}
	recorded, err := r.ByVolumeOf("Flow")
	if err != nil {
		t.Fatal(err)
	}
	// By hand, in litres: 5 in the first hour, then 10, then 15; half of 10 until 90 min.
	if v := values(t, recorded, "Volume"); !near(v, []float64{0, 5, 15, 30}) {
		t.Errorf("recorded flow: %v", v)
	}
	if at := recorded.Events[0].Volume().In(Litre); math.Abs(at-10) > 1e-12 {
		t.Errorf("event at %v L, want 10", at)
	}
	back, err := recorded.ByTimeOf("Flow")
	if err != nil {
		t.Fatal(err)
	}
	if x := values(t, back, "Time 2"); !near(x, []float64{0, 60, 120, 180}) || math.Abs(back.Events[0].Time().In(Minute)-90) > 1e-9 {
		t.Errorf("and back: %v, %v", x, back.Events)
	}
	again, err := constant.ByTime(10 * LitrePerHour)
	if err != nil || !near(values(t, again, "Time 2"), []float64{0, 60, 120, 180}) {
		t.Errorf("constant and back: %v", err)
	}
	// Another signal sees the flow between its readings: at 30 min of a flow
	// that rises from 0 to 10 L/h in an hour, 10·0.5²/2 = 1.25 L have run.
	two := r
	two.Columns = append(slices.Clone(r.Columns), Column{Name: "own time", Unit: "min", Values: []float64{-1, 30, 200}}, Column{Name: "pH", Axis: "own time", Values: []float64{1, 2, 3}})
	moved, err := two.ByVolumeOf("Flow")
	if err != nil || !near(values(t, moved, "Volume 2"), []float64{1.25}) || !near(values(t, moved, "pH"), []float64{2}) {
		t.Errorf("between two readings: %v, %v", moved.Columns, err)
	}
	if !strings.Contains(moved.String(), "2 rows and 0 events outside the recorded flow left out") {
		t.Errorf("the report does not tell what is left out:\n%s", moved)
	}
	for _, tc := range []struct {
		f     func() (Record, error)
		words string
	}{
		{func() (Record, error) { return r.ByVolume(0) }, "not a positive"},
		{func() (Record, error) { return r.ByTime(0) }, "not a positive"},
		{func() (Record, error) { return r.ByTime(LitrePerHour) }, "against time already"},
		{func() (Record, error) { return constant.ByVolume(LitrePerHour) }, "against volume already"},
		{func() (Record, error) { return r.ByVolumeOf("UV") }, "not of flow"},
		{func() (Record, error) { return r.ByVolumeOf("Flw") }, `did you mean "Flow"?`},
		{func() (Record, error) { return constant.ByVolumeOf("Flow") }, "against volume already"},
		{func() (Record, error) {
			return parse(t, "Time (min),Flow (L/h)\n0,1\n1,-1\n").ByVolumeOf("Flow")
		}, "negative at 1 min"},
		{func() (Record, error) {
			return parse(t, "Volume (L),Flow (L/h)\n0,0\n1,0\n").ByTimeOf("Flow")
		}, "no flow between 0 L and 1 L"},
	} {
		_, err := tc.f()
		refused(t, err, tc.words)
	}
}

func TestColumnVolumes(t *testing.T) {
	const text = "Volume (CV),UV (mAU)\n0,1\n0.5,2\n1,4\n"
	_, err := parse(t, text).Signal("UV")
	refused(t, err, "in column volumes", "ColumnVolume")
	uv, err := parse(t, text, Options{ColumnVolume: 12 * Litre}).Signal("UV")
	if err != nil || !near(uv.Positions(), []float64{0, 0.006, 0.012}) {
		t.Errorf("%v, %v", uv.Positions(), err)
	}
}

func TestCuts(t *testing.T) {
	r := paired()
	r.Events = []Event{{Axis: trace.Time, At: 4, Name: "Note", Text: "start"}, {Axis: trace.Time, At: 12, Name: "Note", Text: "load"},
		{Axis: trace.Time, At: 16, Name: "Step", Text: "end"}, {Axis: trace.Time, At: 35, Name: "Note", Text: "start"}}
	part, err := r.Within(trace.Times(10*Second, 15*Second))
	if err != nil || !equal(values(t, part, "UV"), []float64{100}) || !equal(values(t, part, "Flow"), []float64{3}) || len(part.Events) != 1 {
		t.Errorf("within: %v, %v, %v", part.Columns, part.Events, err)
	}
	part, err = r.Between("start", "end")
	if err != nil || !equal(values(t, part, "Time"), []float64{10}) || !equal(values(t, part, "Flow"), []float64{1, 3}) || len(part.Events) != 3 {
		t.Errorf("between: %v, %v, %v", part.Columns, part.Events, err)
	}
	if len(r.Events) != 4 || !equal(values(t, r, "UV"), []float64{0, 100, 50}) {
		t.Error("a cut changed the record it was made of")
	}
	_, err = r.Within(trace.Volumes(0, Litre))
	refused(t, err, "against time")
	_, err = r.Within(trace.Times(2*Second, Second))
	refused(t, err, "wrong way round")
	_, err = r.Within(trace.Times(Hour, 2*Hour))
	refused(t, err, "nothing from")
	_, err = r.Between("strt", "end")
	refused(t, err, `did you mean "start"?`)
	_, err = r.Between("load", "load")
	refused(t, err, `no event "load" behind "load"`)
}

func TestConverted(t *testing.T) {
	r := parse(t, "Time (min),Pressure (bar),Temperature (°C),UV (mAU)\n0,1,20,1500\n1,2,-273.15,1\n")
	for _, tc := range []struct {
		column, unit string
		want         []float64
		source       string
	}{
		{"Pressure", "kPa", []float64{100, 200}, "1 bar is 100 kPa"},
		{"Pressure", "psi", []float64{14.5037744, 29.0075488}, "NIST SP 811, appendix B.8: 1 psi is 6.894757 kPa"},
		{"Time", "s", []float64{0, 60}, "definition"},
		{"Temperature", "K", []float64{293.15, 0}, "definition"},
		{"UV", "AU", []float64{1.5, 0.001}, "definition"},
		{"UV", "mAU", []float64{1500, 1}, "nothing to do"},
	} {
		got, err := r.Converted(tc.column, tc.unit)
		if err != nil {
			t.Errorf("%s in %s: %v", tc.column, tc.unit, err)
			continue
		}
		for i, v := range values(t, got, tc.column) {
			if math.Abs(v-tc.want[i]) > 1e-8*math.Max(1, math.Abs(tc.want[i])) {
				t.Errorf("%s in %s: %v, want %v (%s)", tc.column, tc.unit, v, tc.want[i], tc.source)
			}
		}
	}
	_, err := r.Converted("Pressure", "mL")
	refused(t, err, "unit of pressure, not of volume")
	_, err = r.Converted("Pressure", "stone")
	refused(t, err, `"stone" is not known`)
	temperatures, err := r.Temperatures("Temperature")
	if err != nil || temperatures[0] != Celsius(20) {
		t.Errorf("temperatures %v, %v", temperatures, err)
	}
	uv, err := r.Absorbances("UV")
	if err != nil || uv[0] != 1.5*AU {
		t.Errorf("absorbances %v, %v", uv, err)
	}
}

// options reads the options out of the line of Go in a report.
func options(t testing.TB, code string) Options {
	t.Helper()
	e, err := goparser.ParseExpr(code)
	if err != nil {
		t.Fatalf("%s: %v", code, err)
	}
	call := e.(*ast.CallExpr)
	var o Options
	if len(call.Args) == 1 {
		return o
	}
	text := func(e ast.Expr) string {
		s, err := strconv.Unquote(e.(*ast.BasicLit).Value)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	for _, elt := range call.Args[1].(*ast.CompositeLit).Elts {
		kv := elt.(*ast.KeyValueExpr)
		name := kv.Key.(*ast.Ident).Name
		field := reflect.ValueOf(&o).Elem().FieldByName(name)
		switch v := kv.Value.(type) {
		case *ast.BasicLit:
			if v.Kind == token.STRING {
				field.SetString(text(v))
				break
			}
			n, err := strconv.ParseInt(v.Value, 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			field.SetInt(n)
		case *ast.BinaryExpr: // with a unit
			f, err := strconv.ParseFloat(v.X.(*ast.BasicLit).Value, 64)
			if unit := v.Y.(*ast.Ident).Name; err != nil || unit != "CubicMetre" {
				t.Fatal(unit, err)
			}
			field.SetFloat(f)
		case *ast.UnaryExpr: // -1
			field.SetInt(-1)
		case *ast.Ident:
			field.SetBool(v.Name == "true")
		case *ast.SelectorExpr:
			field.SetInt(int64(slices.Index(clockNames[:], v.Sel.Name)))
		case *ast.CompositeLit:
			for _, elt := range v.Elts {
				if kv, ok := elt.(*ast.KeyValueExpr); ok {
					if o.Units == nil {
						o.Units = map[string]string{}
					}
					o.Units[text(kv.Key)] = text(kv.Value)
				} else {
					o.Missing = append(o.Missing, text(elt))
				}
			}
		default:
			t.Fatalf("%s: %T in %s", code, v, name)
		}
	}
	return o
}

func TestCodeReadsTheSameAgain(t *testing.T) {
	given := Options{Member: "a b.csv", MaxBytes: 5, Units: map[string]string{"b": "min", "a\"": "mL"}, ColumnVolume: 12.7 * Litre,
		Clock: SortRows, HeaderLine: -1, Missing: []string{"n", "x,y"}, DropBadRows: true, Separator: "\t"}
	if got := options(t, given.call("x")); !reflect.DeepEqual(got, given) {
		t.Errorf("%s is read as %+v", given.call("x"), got)
	}
	var files []string
	for _, pattern := range []string{"testdata/*.csv", "testdata/*.txt", "../../testdata/*.*"} {
		found, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, found...)
	}
	n := 0
	for _, in := range files {
		r, err := Read(in)
		if err != nil {
			if r, err = Read(in, Options{Clock: CutAtReset, Run: 2}); err != nil {
				continue
			}
		}
		n++
		again, err := Read(in, options(t, r.Report().Code))
		if err != nil {
			t.Errorf("%s: %s: %v", in, r.Report().Code, err)
			continue
		}
		if again.Report().Code != r.Report().Code {
			t.Errorf("%s: the line changes from %s to %s", in, r.Report().Code, again.Report().Code)
		}
		for _, f := range again.Report().Facts {
			if f.Guessed && f.Override != "" {
				t.Errorf("%s: %s still guesses: %+v", in, r.Report().Code, f)
			}
		}
		sameRecord(t, in, again, r)
	}
	if n < 14 {
		t.Errorf("only %d files", n)
	}
}

// sameRecord wants the same columns, events, preamble and notes.
func sameRecord(t testing.TB, name string, got, want Record) {
	t.Helper()
	if len(got.Columns) != len(want.Columns) {
		t.Errorf("%s: %d columns, want %d", name, len(got.Columns), len(want.Columns))
		return
	}
	for i, c := range got.Columns {
		w := want.Columns[i]
		if c.Name != w.Name || c.Unit != w.Unit || c.Axis != w.Axis || !c.Start.Equal(w.Start) || !slices.Equal(c.Texts, w.Texts) || !equal(c.Values, w.Values) {
			t.Errorf("%s: column %d: %+v, want %+v", name, i+1, c, w)
		}
	}
	if fmt.Sprint(got.Events) != fmt.Sprint(want.Events) {
		t.Errorf("%s: events %v, want %v", name, got.Events, want.Events)
	}
	plain := func(list []Entry) (out []string) {
		for _, e := range list {
			out = append(out, e.Key+": "+e.Value)
		}
		return
	}
	if !slices.Equal(plain(got.Preamble), plain(want.Preamble)) || !slices.Equal(plain(got.Notes), plain(want.Notes)) {
		t.Errorf("%s: preamble %v, notes %v, want %v, %v", name, got.Preamble, got.Notes, want.Preamble, want.Notes)
	}
}

func zipped(t testing.TB, files ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		w, err := z.Create(files[i])
		if err == nil {
			_, err = w.Write([]byte(files[i+1]))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func gzipped(t testing.TB, data []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	if _, err := z.Write(data); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

const small = "Time (min),UV (mAU)\n0,1\n1,2\n"

func TestPacked(t *testing.T) {
	want := parse(t, small)
	for name, data := range map[string][]byte{
		"gzip": gzipped(t, []byte(small)), "gzip in two parts": append(gzipped(t, []byte(small[:25])), gzipped(t, []byte(small[25:]))...),
		"zip": zipped(t, "folder/run.csv", small), "zip with a folder": zipped(t, "folder/", "", "folder/run.csv", small, "__MACOSX/x", "no"),
		"gzip in zip": zipped(t, "run.csv.gz", string(gzipped(t, []byte(small)))),
	} {
		got, err := Parse("run.zip", data)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		sameRecord(t, name, got, want)
	}
	two := zipped(t, "a.csv", small, "b.csv", "Time (min),UV (mAU)\n0,3\n1,4\n")
	got, err := Parse("two.zip", two, Options{Member: "b.csv"})
	if err != nil || !equal(values(t, got, "UV"), []float64{3, 4}) || got.Report().Provenance.Member != "b.csv" {
		t.Errorf("member: %v, %v", got.Columns, err)
	}
	long := strings.Repeat("0", 1000)
	for _, tc := range []struct {
		name  string
		data  []byte
		o     Options
		words []string
	}{
		{"two files", two, Options{}, []string{`"a.csv", "b.csv"`, `Member: "a.csv"`}},
		{"a misspelt member", two, Options{Member: "c.csv"}, []string{`no "c.csv"`, "did you mean"}},
		{"nothing", zipped(t), Options{}, []string{"without a file"}},
		{"cut short", two[:len(two)-30], Options{}, []string{"damaged"}},
		{"cut short gzip", gzipped(t, []byte(small))[:30], Options{}, []string{"damaged"}},
		{"three deep", gzipped(t, gzipped(t, gzipped(t, []byte(small)))), Options{}, []string{"archive in an archive"}},
		{"too long zip", zipped(t, "a.csv", long), Options{MaxBytes: 999}, []string{"1000 bytes unpacked", "999 bytes", "MaxBytes: 1998"}},
		{"too long gzip", gzipped(t, []byte(long)), Options{MaxBytes: 999}, []string{"more than 999 bytes"}},
		{"OpenDocument", zipped(t, "mimetype", "x", "content.xml", "y"), Options{}, []string{"OpenDocument"}},
		{"many files", bytes.Repeat([]byte("PK\x03\x04PK\x01\x02"), maxMembers+1), Options{}, []string{"archive of 10001 files"}},
		{"HDF5", []byte("\x89HDF\r\n\x1a\n......"), Options{}, []string{"HDF5", "not supported", "netCDF classic"}},
		{"xls", []byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1....."), Options{}, []string{".xls", "save it as .xlsx"}},
		{"a web page", []byte("\xef\xbb\xbf <!DOCTYPE html><table><tr><td>1"), Options{}, []string{"web page"}},
		{"a web page in UTF-16", []byte("\xff\xfe<\x00h\x00t\x00m\x00l\x00>\x00"), Options{}, []string{"web page"}},
		{"negative limit", nil, Options{MaxBytes: -1}, []string{"limit of -1"}},
	} {
		_, err := Parse("x", tc.data, tc.o)
		if err == nil {
			t.Errorf("%s was accepted", tc.name)
			continue
		}
		refused(t, err, tc.words...)
	}
}

// A file of zeros that unpacks to a thousand times its size is refused with
// little memory.
func TestBomb(t *testing.T) {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	zeros := make([]byte, 1<<20)
	for range 300 {
		if _, err := z.Write(zeros); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	runtime.GC()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, err := Parse("bomb.gz", b.Bytes(), Options{MaxBytes: 290 << 20})
	runtime.ReadMemStats(&after)
	refused(t, err, "more than 304087040 bytes")
	if grown := int64(after.TotalAlloc - before.TotalAlloc); grown > 64<<20 {
		t.Errorf("%d MiB were allocated", grown>>20)
	}
	left, err := filepath.Glob(filepath.Join(os.TempDir(), "evenbed-unpacked-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

func TestProvenance(t *testing.T) {
	path := filepath.Join(t.TempDir(), "run <b>.csv")
	if err := os.WriteFile(path, []byte("abc: <i>\n"+small), 0o644); err != nil {
		t.Fatal(err)
	}
	o := Options{Units: map[string]string{"UV": "AU"}}
	r := read(t, path, o)
	// sha256sum of coreutils 9.1, of the same bytes.
	p := r.Report().Provenance
	if p.File != "run <b>.csv" || p.Bytes != 37 || p.SHA256 != "24a6332380614ddc0f08cac57214b83007bd5e1ff5831842b937e50a581ac768" || !reflect.DeepEqual(p.Options, o) {
		t.Errorf("provenance %+v", p)
	}
	markdown := r.Page().Markdown()
	if before, code, ok := strings.Cut(markdown, "\n```go\n"); ok { // a fence shows what is in it as it is
		_, after, _ := strings.Cut(code, "\n```\n")
		markdown = before + after
	}
	for _, text := range []string{r.Page().HTML(), markdown} {
		if strings.Contains(text, "<b>") || strings.Contains(text, "<i>") {
			t.Errorf("text of the file is not escaped:\n%s", text)
		}
	}
	if strings.Contains(r.Page().HTML(), filepath.Dir(path)+"/run <") {
		t.Error("the report shows a path that was not escaped")
	}
}

// The machine's language changes nothing.
func TestLocale(t *testing.T) {
	want := parse(t, small)
	for _, name := range []string{"LC_ALL", "LANG", "LC_NUMERIC"} {
		t.Setenv(name, "de_DE.UTF-8")
	}
	got := parse(t, small)
	sameRecord(t, "de_DE", got, want)
	if got.String() != want.String() {
		t.Errorf("the report changes:\n%s\n%s", got, want)
	}
}

// stopped is a monitor whose work shall stop.
type stopped struct{ ctx context.Context }

func (s stopped) Context() context.Context  { return s.ctx }
func (s stopped) Progress(string, int, int) {}

func TestInterrupt(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	task.SetDefault(stopped{ctx})
	defer task.SetDefault(nil)
	for name, data := range map[string][]byte{"text": []byte(small), "gzip": gzipped(t, []byte(small))} {
		_, err := Parse(name, data)
		if !errors.Is(err, context.Canceled) {
			t.Errorf("%s: %v, want it stopped", name, err)
		}
	}
}

// A unit that nobody knows stays as written and is reported.
func TestUnknownUnit(t *testing.T) {
	r := parse(t, "Time (min),Odd (furlong)\n0,1\n1,2\n")
	if c, err := r.Column("Odd"); err != nil || c.Unit != "furlong" {
		t.Errorf("%+v, %v", c, err)
	}
	if !strings.Contains(r.String(), `the unit "furlong" of column "Odd" is not known`) {
		t.Errorf("the report does not tell:\n%s", r)
	}
	_, err := r.Lengths("Odd")
	refused(t, err, `"furlong", which is not known`)
}

func TestOpenStandards(t *testing.T) {
	for _, tc := range []struct {
		file, signal string
		axis         trace.Axis
		points       int
		value        float64 // of the signal at point 200, where one is known
		source       string
	}{
		{"internal/netcdf/testdata/e1947_sample.cdf", "conductivity", trace.Time, 601, 52.31566, "netCDF4-python, in float32"},
		{"internal/animl/testdata/pulse.animl", "", trace.Time, 0, 0, ""},
	} {
		r, err := Read(tc.file)
		if err != nil {
			t.Errorf("%s: %v", tc.file, err)
			continue
		}
		name := tc.signal
		if name == "" {
			for _, c := range r.Columns {
				if c.Axis != "" {
					name = c.Name
					break
				}
			}
		}
		s, err := r.Signal(name)
		if err != nil || s.Axis() != tc.axis || tc.points > 0 && s.Len() != tc.points {
			t.Errorf("%s: %v, %v", tc.file, s, err)
			continue
		}
		if _, y := s.XY(min(200, s.Len()-1)); tc.value > 0 && math.Abs(y/tc.value-1) > 1e-6 {
			t.Errorf("%s: %v, want %v (%s)", tc.file, y, tc.value, tc.source)
		}
	}
}

// Moments of several axes count from the earliest of them.
func TestMomentsOfSeveralAxes(t *testing.T) {
	r := parse(t, "Time,UV (mAU),Time,Pressure (bar)\n2026-03-09 07:30:10,1,2026-03-09 07:30:00,5\n2026-03-09 07:30:20,2,2026-03-09 07:30:30,6\n2026-03-09 07:30:40,3,,\n")
	uv, err := r.Signal("UV")
	if err != nil || !equal(uv.Positions(), []float64{10, 20, 40}) {
		t.Errorf("UV at %v, %v", uv.Positions(), err)
	}
	p, err := r.Signal("Pressure")
	if err != nil || !equal(p.Positions(), []float64{0, 30}) {
		t.Errorf("pressure at %v, %v", p.Positions(), err)
	}
	mixed := paired()
	mixed.Columns[0].Start = r.Columns[0].Start
	_, err = mixed.Aligned(Alignment{Axis: "Time"})
	refused(t, err, "do not count from the same zero")
}
