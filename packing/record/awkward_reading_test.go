package record

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

const awkwardFolder = "testdata/awkward"

// The files are those that the seeded program makes.
func TestAwkwardFilesAreFresh(t *testing.T) {
	files := awkwardFiles(t)
	for name, data := range files {
		path := filepath.Join(awkwardFolder, name)
		if os.Getenv("UPDATE_GOLDEN") == "1" {
			if err := os.WriteFile(path, data, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if stored, err := os.ReadFile(path); err != nil || !bytes.Equal(stored, data) {
			t.Errorf("%s differs from a fresh run; UPDATE_GOLDEN=1 rewrites it: %v", path, err)
		}
	}
	stored, err := filepath.Glob(filepath.Join(awkwardFolder, "*.*"))
	if err != nil || len(stored) != len(files)+1 { // and the README
		t.Errorf("%d files in %s, %d are made; %v", len(stored), awkwardFolder, len(files), err)
	}
}

// An outcome is what must come of an awkward file. Names, units and numbers are those
// that the program put in; what is doubted or refused is what it broke.
type outcome struct {
	columns string   // "name (unit) against axis" of each, with bars between
	doubts  []string // a part of each, in order
	refused []string // parts of the refusal
	// remedy is what refusal or doubt say to give, and columnsThen, missing what
	// comes of it; with it no doubt of these words is left.
	remedy Options
	then   func(t *testing.T, r Record)
}

func columnsOf(r Record) string {
	var all []string
	for _, c := range r.Columns {
		s := c.title()
		if c.Axis != "" {
			s += " against " + c.Axis
		}
		all = append(all, s)
	}
	return strings.Join(all, " | ")
}

// missingAt wants numbers everywhere but in some rows.
func missingAt(column string, rows ...int) func(t *testing.T, r Record) {
	return func(t *testing.T, r Record) {
		for i, v := range values(t, r, column) {
			if math.IsNaN(v) != slices.Contains(rows, i) {
				t.Errorf("%s, row %d: %v", column, i+1, v)
			}
		}
	}
}

// rowsOf wants so many rows of a column, and its last value.
func rowsOf(column string, n int, last float64) func(t *testing.T, r Record) {
	return func(t *testing.T, r Record) {
		if v := values(t, r, column); len(v) != n || math.Abs(v[n-1]-last) > 1e-9*math.Abs(last) {
			t.Errorf("%s: %d rows, the last %v; want %d and %v", column, len(v), v[len(v)-1], n, last)
		}
	}
}

// all checks several things.
func all(checks ...func(t *testing.T, r Record)) func(t *testing.T, r Record) {
	return func(t *testing.T, r Record) {
		for _, c := range checks {
			c(t, r)
		}
	}
}

func eventsAre(want ...string) func(t *testing.T, r Record) {
	return func(t *testing.T, r Record) {
		var got []string
		for _, e := range r.Events {
			got = append(got, e.String())
		}
		if !slices.Equal(got, want) {
			t.Errorf("events %q, want %q", got, want)
		}
	}
}

const plainColumns = "Time (min) | UV (mAU) against Time | Pressure (bar) against Time"

var awkward = map[string]outcome{
	"names_with_underscores.csv": {columns: "Flow (mL/min) against Time | Time (min) | UV (mAU) against Time | Cond (mS/cm) against Time | c (g/L) against Time",
		then: func(t *testing.T, r Record) {
			p := signal(t, r, "UV").Passed(trace.Times(1*Minute, 3*Minute))
			if len(p) != 1 || math.Abs(p[0].Volume.In(Millilitre)-60) > 0.1 {
				t.Errorf("passed %+v, want 60 mL (2 min of 30 mL/min)", p)
			}
		}},
	"units_all_underscores.csv":     {columns: "Flow (mL/min) against Volume | Volume (mL) | UV (mAU) against Volume | _mS/cm (mS/cm) against Volume"},
	"drops_per_minute.csv":          {columns: "drops/min against t | t (min) | UV (mAU) against t"},
	"units_above.csv":               {columns: "Time (min) | UV (mAU) against Time | Pressure (bar) against Time | Flow (mL/min) against Time"},
	"units_above_below_remarks.txt": {columns: "Volume (L) | UV (mAU) against Volume | Cond (mS/cm) against Volume", then: rowsOf("Volume", 61, 3)},
	"least_and_largest.csv":         {columns: "Pressure (min) against Time | Pressure (max) against Time | Time (s) | UV (mAU) against Time"},

	"cell_cut.csv": {columns: "Time (min) | UV (mAU) against Time | Pressure (kPa) against Time", doubts: []string{`its last cell, "123." on line 62, has fewer digits`},
		remedy: Options{LastLine: 61}, then: rowsOf("Time", 60, 5.9)},
	"row_cut.csv": {refused: []string{"row_cut.csv:62:", "the file ends within it", "LastLine: 61"}, remedy: Options{LastLine: 61}, then: rowsOf("Time", 60, 5.9)},
	"cut_before_the_remarks.csv": {columns: "Time (min) | UV (mAU) against Time", doubts: []string{"without a line end"},
		remedy: Options{LastLine: 61}, then: rowsOf("Time", 60, 5.9)},

	"seconds_called_minutes.csv": {columns: "Time (min) | UV (mAU) against Time", doubts: []string{`states "Run time: 60 s", but "Time" runs over 60 min. It would agree if "Time" were in s`},
		remedy: Options{Units: map[string]string{"Time": "s"}}, then: func(t *testing.T, r Record) {
			if s := signal(t, r, "UV"); s.Span() != trace.Times(0, 60) {
				t.Errorf("%v, want 60 s", s.Span())
			}
		}},
	"shorter_than_start_to_end.csv": {columns: "Time (min) | UV (mAU) against Time", doubts: []string{`"Time" runs over 6 min`}},
	"fewer_rows_than_stated.csv":    {columns: "Time (min) | UV (mAU) against Time", doubts: []string{`states "Rows: 120", but holds 61 rows`}},

	"summer_time_begins.csv": {columns: "Time stamp (s) | UV (mAU) against Time stamp", doubts: []string{"At line 22 the clock of \"Time stamp\" leaves out an hour"},
		remedy: Options{Clock: AcrossSummerTime}, then: rowsOf("Time stamp", 61, 1800)},
	"summer_time_ends.csv": {refused: []string{"summer_time_ends.csv:22:", "at the end of summer time", "AcrossSummerTime"},
		remedy: Options{Clock: AcrossSummerTime}, then: rowsOf("Time stamp", 61, 1800)},

	"code_below.csv":            {columns: plainColumns, doubts: []string{`"UV" holds -9999 3 times, first on line 9`}, remedy: Options{Missing: []string{"-9999"}}, then: missingAt("UV", 7, 8, 44)},
	"code_of_nines.csv":         {columns: plainColumns, doubts: []string{`"UV" holds 9999 3 times`}, remedy: Options{Missing: []string{"9999"}}, then: missingAt("UV", 7, 8, 44)},
	"code_too_large.csv":        {columns: plainColumns, doubts: []string{`"UV" holds 1e+30 3 times`}, remedy: Options{Missing: []string{"1e+30"}}, then: missingAt("UV", 7, 8, 44)},
	"code_of_the_converter.csv": {columns: plainColumns, doubts: []string{`"UV" holds 32767 3 times`}, remedy: Options{Missing: []string{"32767"}}, then: missingAt("UV", 7, 8, 44)},
	"code_in_words.csv":         {refused: []string{"code_in_words.csv:9:5", `Missing: []string{"Bad"}`}, remedy: Options{Missing: []string{"Bad"}}, then: missingAt("UV", 7, 8, 44)},
	"code_of_a_formula.csv": {columns: plainColumns, then: all(missingAt("UV", 7, 8, 44), func(t *testing.T, r Record) {
		if !strings.Contains(r.String(), "it does not settle: values that are missing") {
			t.Errorf("the report does not tell of missing values:\n%s", r)
		}
	})},
	"beyond_the_range.csv": {columns: plainColumns, doubts: []string{`Of "UV" 3 values are beyond a limit`}, then: missingAt("UV", 7, 8, 44)},

	"shifted_to_the_right.csv": {refused: []string{"shifted_to_the_right.csv:14:", "4 rows, the first on line 14, the last on line 17", "DropBadRows"},
		remedy: Options{DropBadRows: true}, then: all(rowsOf("Time", 57, 6), missingAt("UV"))},
	"shifted_to_the_left.csv": {refused: []string{"shifted_to_the_left.csv:14:", "shifted by a cell"},
		remedy: Options{DropBadRows: true}, then: all(rowsOf("Time", 57, 6), missingAt("UV"))},
	"shifted_beyond_the_end.csv": {refused: []string{"shifted_beyond_the_end.csv:14:", "5 cells in a row of a table with 4 columns"},
		remedy: Options{DropBadRows: true}, then: all(rowsOf("Time", 57, 6), missingAt("UV"))},

	"status_of_each.csv": {columns: "Time (s) | UV (mAU) against Time | Pressure (bar) against Time",
		doubts: []string{`Of "UV" 3 values are bad by "UV status", from line 9 on`, `Of "Pressure" 3 values are uncertain by "Pressure status"`},
		then:   all(missingAt("UV", 7, 8, 44), missingAt("Pressure"), statusIs("UV", "Bad"), statusIs("Pressure", "Uncertain"), eventsAre())},
	"status_in_numbers.csv": {columns: "Time (s) | UV (mAU) against Time", doubts: []string{`Of "UV" 3 values are bad by "UV quality"`},
		then: all(missingAt("UV", 7, 8, 44), statusIs("UV", "24"))},
	"status_of_all.csv": {columns: "Time (s) | UV (mAU) against Time | Pressure (bar) against Time",
		doubts: []string{`Of "UV" 3 values are bad by "Quality"`, `Of "Pressure" 3 values are bad by "Quality"`},
		then:   all(missingAt("UV", 7, 8, 44), missingAt("Pressure", 7, 8, 44), statusIs("Pressure", "BadNoCommunication"))},

	"dead_band_drawn_again.csv": {columns: "Time (s) | UV (mAU) against Time | Flow (mL/min) against Time", doubts: []string{`"UV" reads like a record kept by a dead band`}},
	"dead_band_as_kept.csv":     {columns: "Time (s) | UV (mAU) against Time", doubts: []string{`"UV" reads like a record kept by a dead band`}},

	"valve_in_each_row.csv": {columns: "Time (min) | UV (mAU) against Time", then: eventsAre("0 s: Inlet: buffer", "30 s: Inlet: tracer", "48 s: Inlet: buffer")},
	"zero_at_the_injection.csv": {columns: "Volume (mL) | UV (mAU) against Volume", then: func(t *testing.T, r Record) {
		s := signal(t, r, "UV")
		if e := s.Events; !(s.Span().From+s.Shift() < 0) || len(e) != 1 || e[0].At != 0 || e[0].Text != "Injection" {
			t.Errorf("%v, shift %v, events %v", s.Span(), s.Shift(), e)
		}
	}},
	"totaliser_set_back.csv": {columns: "Time (min) | UV (mAU) against Time | Flow (mL/min) against Time | Total (mL) against Time",
		then: all(eventsAre("1 min: Mark: total to zero"), func(t *testing.T, r Record) {
			for _, p := range signal(t, r, "UV").Passed(trace.Times(1*Minute, 5*Minute)) {
				if math.Abs(p.Volume.In(Millilitre)-120) > 1e-9 {
					t.Errorf("%s: %v, want 120 mL (4 min of 30 mL/min)", p.Meter, p.Volume)
				}
			}
		})},

	"percent_by_format.xlsx": {columns: "Time (min) | Salt buffer (%) against Time | UV (mAU) against Time", then: func(t *testing.T, r Record) {
		for i, v := range values(t, r, "Salt buffer") {
			if v != float64(i) {
				t.Errorf("row %d: %v %%, its cell shows %d", i+1, v, i)
			}
		}
	}},
	"percent_by_format_of_some.xlsx": {columns: "Time (min) | Salt buffer (%) against Time | UV (mAU) against Time",
		doubts: []string{`Of the 61 numbers in "Salt buffer" 10 have the unit % behind them`}},
}

// statusIs wants the status of the rows without a value, and Good or 192 elsewhere.
func statusIs(column, bad string) func(t *testing.T, r Record) {
	return func(t *testing.T, r Record) {
		c, err := r.Column(column)
		if err != nil || len(c.Status) != 61 {
			t.Fatalf("%s: %d statuses, %v", column, len(c.Status), err)
		}
		for i, s := range c.Status {
			if want := isHeld(i); (s == bad) != want || !want && s != "Good" && s != "192" {
				t.Errorf("%s, row %d: status %q", column, i+1, s)
			}
		}
	}
}

// Each awkward file is read right, or refused, or doubted at the top of its report; and
// what refusal or doubt say to do leads to the right reading.
func TestAwkward(t *testing.T) {
	for name := range awkwardFiles(t) {
		want, ok := awkward[name]
		if !ok {
			t.Errorf("%s: nothing is said of what must come of it", name)
			continue
		}
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(awkwardFolder, name)
			r, err := Read(path)
			switch {
			case want.refused != nil:
				refused(t, err, want.refused...)
			case err != nil:
				t.Fatal(err)
			default:
				if got := columnsOf(r); got != want.columns {
					t.Errorf("columns %s\nwant    %s", got, want.columns)
				}
				checkDoubts(t, r, want.doubts)
			}
			if !optionsGiven(want.remedy) {
				if want.then != nil && err == nil {
					want.then(t, r)
				}
				return
			}
			if r, err = Read(path, want.remedy); err != nil {
				t.Fatalf("with the remedy: %v", err)
			}
			checkDoubts(t, r, nil)
			want.then(t, r)
		})
	}
	if len(awkward) < 25 {
		t.Errorf("only %d files", len(awkward))
	}
}

func optionsGiven(o Options) bool { return fmt.Sprint(o) != fmt.Sprint(Options{}) }

func checkDoubts(t *testing.T, r Record, want []string) {
	t.Helper()
	if len(r.report.Doubts) != len(want) {
		t.Errorf("doubts %q, want %q", r.report.Doubts, want)
		return
	}
	for i, w := range want {
		if !strings.Contains(r.report.Doubts[i].Text, w) {
			t.Errorf("doubt %q, want %q", r.report.Doubts[i].Text, w)
		}
	}
	if len(want) > 0 != strings.HasPrefix(r.String(), "Doubts\n") || len(want) > 0 && strings.Contains(r.String(), "nothing left to guess") {
		t.Errorf("the report begins with %.60q", r.String())
	}
}

// A clock that is put by an hour is counted on; another that goes back is not.
func TestSummerTime(t *testing.T) {
	const stamps = "Time stamp,UV (mAU)\n2026-10-25 02:58:00,1\n2026-10-25 02:58:30,1\n2026-10-25 02:59:00,1\n2026-10-25 02:59:30,2\n%s\n"
	for rows, want := range map[string]bool{
		"2026-10-25 02:00:00,1\n2026-10-25 02:00:30,1": true,
		"2026-10-25 02:00:10,1\n2026-10-25 02:00:40,1": true,
		"2026-10-25 02:30:00,1\n2026-10-25 02:30:30,1": false,
		"2026-10-25 01:00:00,1\n2026-10-25 01:00:30,1": false,
	} {
		text := fmt.Sprintf(stamps, rows)
		_, err := Parse("test.csv", []byte(text))
		refused(t, err, "test.csv:6:")
		if says := strings.Contains(err.Error(), "AcrossSummerTime"); says != want {
			t.Errorf("%q: %v", rows, err)
		}
		r, err := Parse("test.csv", []byte(text), Options{Clock: AcrossSummerTime})
		if want {
			if v := values(t, r, "Time stamp"); err != nil || v[4] < v[3] || v[4]-v[3] > 45 {
				t.Errorf("%q: %v, %v", rows, v, err)
			}
		} else {
			refused(t, err, "go back by an hour")
		}
	}
	// By day, or over half an hour, it is a pause.
	for _, rows := range []string{"2026-03-29 12:00:00,1\n2026-03-29 12:00:30,1\n2026-03-29 12:01:00,1\n2026-03-29 12:01:30,1\n2026-03-29 13:02:00,2\n",
		"2026-03-29 01:00:00,1\n2026-03-29 01:00:30,1\n2026-03-29 01:01:00,1\n2026-03-29 01:01:30,1\n2026-03-29 01:32:00,2\n"} {
		if r := parse(t, "Time stamp,UV (mAU)\n"+rows); len(r.report.Doubts) > 0 {
			t.Errorf("%q: %q", rows, r.report.Doubts)
		}
	}
}

// What agrees with the rows raises no doubt.
func TestStatedAgrees(t *testing.T) {
	var rows strings.Builder
	for i := range 61 {
		fmt.Fprintf(&rows, "%d,%.2f\n", i, 100*made.EMG(float64(i), 30, 5, 2))
	}
	for line, want := range map[string]int{
		"Run time: 1 h": 0, "Run time: 60": 0, "Duration (min): 60": 0, "Duration: 01:00:00": 0, "Duration: 62 min": 0, "Interval: 60 s": 0, "Sampling rate: 0.0167 Hz": 0,
		"Rows: 61": 0, "Duration: 1 CV": 0, "Samples: 3": 0, "Run time: unknown": 0, "Interval: 1.1 min": 0,
		"Run time: 2 h": 1, "Duration: 00:01:00": 1, "Interval: 1 s": 1, "Sampling rate: 1 Hz": 1, "Rows: 60": 1, "Duration (s): 60": 1,
	} {
		if r := parse(t, line+"\n\nTime (min),UV (mAU)\n"+rows.String()); len(r.report.Doubts) != want {
			t.Errorf("%s: doubts %q", line, r.report.Doubts)
		}
	}
}
