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

// A unit whose size is not known is found again: no option can say it.
func TestLineLeavesAnUnknownUnit(t *testing.T) {
	r := parse(t, "0.5;1W\n1.5;2W\n2.5;3W\n")
	if left := r.report.left(); !slices.Contains(left, "unit behind the numbers") {
		t.Errorf("left %q by %s", left, r.report.Code)
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

// The status of values is kept beside them; bad ones are no numbers.
func TestStatus(t *testing.T) {
	type want struct {
		uv, p    []float64
		status   []string
		doubts   int
		statusOf string // that has one, if not UV
	}
	for _, tc := range []struct {
		name, text string
		o          Options
		want       want
	}{
		{"named", "Time (s),UV (mAU),UV status,P (bar)\n0,1,Good,5\n1,0,Bad,6\n2,3,Uncertain,7\n", Options{},
			want{[]float64{1, nan, 3}, []float64{5, 6, 7}, []string{"Good", "Bad", "Uncertain"}, 2, ""}},
		{"with an underscore", "Time (s),UV (mAU),P (bar),UV_quality\n0,1,5,OK\n1,0,6,Error\n2,3,7,OK\n", Options{},
			want{[]float64{1, nan, 3}, []float64{5, 6, 7}, []string{"OK", "Error", "OK"}, 1, ""}},
		{"behind each", "Time (s),UV (mAU),Status,P (bar),Status\n0,1,ok,5,ok\n1,0,bad,6,ok\n2,3,ok,7,ok\n", Options{},
			want{[]float64{1, nan, 3}, []float64{5, 6, 7}, []string{"ok", "bad", "ok"}, 1, ""}},
		{"in front of each", "Time (s),Status,UV (mAU),Status,P (bar)\n0,ok,1,ok,5\n1,bad,0,ok,6\n2,ok,3,ok,7\n", Options{},
			want{[]float64{1, nan, 3}, []float64{5, 6, 7}, []string{"ok", "bad", "ok"}, 1, ""}},
		{"one for all", "Time (s),UV (mAU),P (bar),Quality\n0,1,5,Good\n1,0,0,BadNoCommunication\n2,3,7,GoodClamped\n", Options{},
			want{[]float64{1, nan, 3}, []float64{5, nan, 7}, []string{"Good", "BadNoCommunication", "GoodClamped"}, 1, ""}},
		{"codes of eight bits", "Time (s),UV (mAU),UV quality,P (bar)\n0,1,192,5\n1,0,24,6\n2,3,64,7\n", Options{},
			want{[]float64{1, nan, 3}, []float64{5, 6, 7}, []string{"192", "24", "64"}, 2, ""}},
		{"codes of thirty-two bits", "Time (s),UV (mAU),UV status,P (bar)\n0,1,0,5\n1,0,2147483648,6\n2,3,1073741824,7\n", Options{},
			want{[]float64{1, nan, 3}, []float64{5, 6, 7}, []string{"0", "2147483648", "1073741824"}, 2, ""}},
		{"words as they are", "Time (s),UV (mAU),UV status,P (bar)\n0,1,Good,5\n1,0,Bad,6\n2,3,Good,7\n", Options{Status: "none"},
			want{[]float64{1, 0, 3}, []float64{5, 6, 7}, nil, 0, ""}},
		{"of a machine", "Time (s),UV (mAU),P (bar),Pump status\n0,1,5,OK\n1,0,6,Fault\n2,3,7,OK\n", Options{},
			want{[]float64{1, 0, 3}, []float64{5, 6, 7}, nil, 0, ""}},
		{"seldom", "Time (s),UV (mAU),P (bar),Note\n0,1,5,good\n1,0,6,\n2,3,7,\n", Options{},
			want{[]float64{1, 0, 3}, []float64{5, 6, 7}, nil, 0, ""}},
	} {
		r := parse(t, tc.text, tc.o)
		uv, err := r.Column("UV")
		if err != nil || !equal(uv.Values, tc.want.uv) || !equal(values(t, r, "P"), tc.want.p) || !slices.Equal(uv.Status, tc.want.status) {
			t.Errorf("%s: UV %v with %q, P %v; want %v with %q, %v; %v", tc.name, uv.Values, uv.Status, values(t, r, "P"), tc.want.uv, tc.want.status, tc.want.p, err)
		}
		if s := signal(t, r, "UV"); len(s.Doubts) != tc.want.doubts {
			t.Errorf("%s: doubts %q, want %d", tc.name, s.Doubts, tc.want.doubts)
		}
		if len(r.Columns) != 3 {
			t.Errorf("%s: %d columns", tc.name, len(r.Columns))
		}
		if (tc.want.status == nil) != (len(r.Events) > 0) {
			t.Errorf("%s: events %v", tc.name, r.Events)
		}
		// Written and read again it is the same, and cut it keeps its status.
		path := filepath.Join(t.TempDir(), "again.csv")
		if err := r.Write(path); err != nil {
			t.Fatal(err)
		}
		again := read(t, path, Options{Status: tc.o.Status})
		if c, err := again.Column("UV"); err != nil || !equal(c.Values, tc.want.uv) || !slices.Equal(c.Status, tc.want.status) {
			t.Errorf("%s: read again %v with %q, %v", tc.name, c.Values, c.Status, err)
		}
		cut, err := r.Within(trace.Times(1, 2))
		if err != nil {
			t.Fatal(err)
		}
		if c, _ := cut.Column("UV"); tc.want.status != nil && !slices.Equal(c.Status, tc.want.status[1:]) {
			t.Errorf("%s: cut %q", tc.name, c.Status)
		}
	}
	_, err := Parse("test.csv", []byte("Time (s),UV\n0,1\n1,2\n"), Options{Status: "some"})
	refused(t, err, `status "some"`)
}

// Codes for no value are doubted where they cannot be measured, and left out as told.
func TestCodes(t *testing.T) {
	const rows = "Time (s),UV (mAU)\n0,1\n1,CODE\n2,3\n3,4\n4,CODE\n"
	for code, want := range map[string]bool{"-9999": true, "9999": true, "999.9": true, "1e30": true, "-3.4028235e+38": true, "32767": true, "-999": true, "65535": true,
		"12": false, "2.5": false, "98": false, "1000": false, "9": false} {
		text := strings.ReplaceAll(rows, "CODE", code)
		r := parse(t, text)
		if got := len(r.report.Doubts) > 0; got != want {
			t.Errorf("%s: doubts %q, want any: %v", code, r.report.Doubts, want)
		}
		told := parse(t, text, Options{Missing: []string{code}})
		if v := values(t, told, "UV"); !equal(v, []float64{1, nan, 3, 4, nan}) || len(told.report.Doubts) > 0 {
			t.Errorf("%s told: %v, doubts %q", code, v, told.report.Doubts)
		}
	}
	// In a column of such sizes it is a value, and on an axis a position.
	for _, text := range []string{"Time (s),UV (mAU)\n0,9000\n1,9999\n2,8000\n", "Time (s),UV (mAU)\n9998,1\n9999,2\n10000,1\n", "Time (s),UV (mAU)\n0,9999\n1,9999\n"} {
		if r := parse(t, text); len(r.report.Doubts) > 0 {
			t.Errorf("%q: doubts %q", text, r.report.Doubts)
		}
	}
	if r := parse(t, "Time (s),UV (mAU)\n9998,1\n9999,9999\n10000,1\n", Options{Missing: []string{"9999"}}); !equal(values(t, r, "Time"), []float64{9998, 9999, 10000}) || !equal(values(t, r, "UV"), []float64{1, nan, 1}) {
		t.Errorf("%v %v", values(t, r, "Time"), values(t, r, "UV"))
	}
}

// Rows whose cells stand a column beside their own are refused, or left out as told.
func TestShifted(t *testing.T) {
	const head = "Time (s),UV (mAU),P (bar),Flow (L/h)\n"
	const even = "0,100,5,30\n1,120,5.5,31\n2,150,5.2,30\n3,110,5.1,30.5\n4,105,5.3,30.2\n5,101,5,30\n6,100,5,30\n7,100,5.1,30.1\n"
	for name, rows := range map[string]string{"right": "8,,104,5.2\n", "left": "104,5.2,30,\n", "right by the clock": ",9,104,5.2\n"} {
		_, err := Parse("test.csv", []byte(head+even+rows+"9,100,5,30\n"))
		refused(t, err, "test.csv:10: line 10", "shifted by a cell", "DropBadRows")
		r := parse(t, head+even+rows+"9,100,5,30\n", Options{DropBadRows: true})
		if v := values(t, r, "P"); len(v) != 9 || v[8] != 5 || len(r.report.Dropped) != 1 || r.report.Dropped[0].Line != 10 {
			t.Errorf("%s: P %v, dropped %v", name, v, r.report.Dropped)
		}
	}
	for name, rows := range map[string]string{"an empty cell": "8,,5.1,30\n", "an empty cell and a low value": "8,,5.1,5\n", "pumps that change": "8,5.1,,150\n"} {
		r := parse(t, head+even+rows+"9,100,5,30\n")
		if v := values(t, r, "P"); len(v) != 10 {
			t.Errorf("%s: P %v", name, v)
		}
	}
}

// Data frames often have the units in their names, in formats that could tell them.
func TestUnitsInNamesOfDataFrames(t *testing.T) {
	frame := Record{File: "frame", Columns: []Column{
		{Name: "Time_min", Values: []float64{0, 1, 2}}, {Name: "UV_mAU", Values: []float64{1, 3, 2}}, {Name: "Flow_mL/min", Values: []float64{5, 5, 5}},
		{Name: "P_min", Values: []float64{1, 1, 2}},
	}}
	path := filepath.Join(t.TempDir(), "frame.parquet")
	if err := frame.Write(path); err != nil {
		t.Fatal(err)
	}
	r := read(t, path)
	if got, want := columnsOf(r), "Time (min) | UV (mAU) against Time | Flow (mL/min) against Time | P_min against Time"; got != want {
		t.Errorf("columns %s\nwant    %s", got, want)
	}
	if left := r.report.left(); len(left) > 0 || !strings.Contains(r.report.Code, `"UV": "mAU"`) {
		t.Errorf("left %q by %s", left, r.report.Code)
	}
	if again := read(t, path, r.report.again); columnsOf(again) != columnsOf(r) {
		t.Errorf("again %s", columnsOf(again))
	}
}
