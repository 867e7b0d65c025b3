package record

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// A table without rows has typed, empty columns; nothing that one may ask of it
// panics, and what needs rows says that there are none.
func TestNoRows(t *testing.T) {
	for what, text := range map[string]string{
		"a header alone":         "Test: pulse\nTime (min),UV (mAU),Flow (L/h)\n",
		"nothing but missing":    "Test: pulse\nTime (min),UV (mAU),Flow (L/h)\n,,\n--,--,--\n",
		"a header and its units": "Test: pulse\nTime;UV;Flow\nmin;mAU;L/h\n",
	} {
		r, err := Parse("empty.csv", []byte(text))
		if err != nil {
			t.Errorf("%s: %v", what, err)
			continue
		}
		names := []Column{{Name: "Time", Unit: "min"}, {Name: "UV", Unit: "mAU", Axis: "Time"}, {Name: "Flow", Unit: "L/h", Axis: "Time"}}
		for i, want := range names {
			if got := r.Columns[i]; got.Name != want.Name || got.Unit != want.Unit || got.Axis != want.Axis || got.Values == nil || len(got.Values) != 0 {
				t.Errorf("%s: column %+v, want %+v", what, got, want)
			}
		}
		if len(r.Report().Remarks) == 0 {
			t.Errorf("%s: the report does not remark it", what)
		}
		if f := r.Frame(); f.Err != nil || f.Nrow() != 0 || f.Ncol() != 3 {
			t.Errorf("%s: a frame of %d rows and %d columns, %v", what, f.Nrow(), f.Ncol(), f.Err)
		}
		if v, err := r.Absorbances("UV"); err != nil || len(v) != 0 {
			t.Errorf("%s: %v, %v", what, v, err)
		}
		_ = r.Page().HTML() + r.Page().Markdown() + r.String()
		_, err = r.Signal("UV")
		refused(t, err, "UV")
		_, err = r.Within(trace.Times(0, Minute))
		refused(t, err, "no rows")
		_, err = r.Aligned(Alignment{Axis: "Time"})
		refused(t, err, "no rows")
		_, err = r.Aligned(Alignment{Step: Second})
		refused(t, err, "no rows")
		_, err = r.ByVolume(20 * LitrePerHour)
		refused(t, err, "no rows")
		_, err = r.ByVolumeOf("Flow")
		refused(t, err, "0 points")
		for _, ending := range []string{".csv", ".parquet", ".nc"} {
			path := filepath.Join(t.TempDir(), "copy"+ending)
			if err := r.Write(path); err != nil {
				t.Errorf("%s, %s: %v", what, ending, err)
				continue
			}
			got, err := Read(path)
			if err != nil {
				data, _ := os.ReadFile(path)
				t.Errorf("%s, %s: %v\n%s", what, ending, err, data)
				continue
			}
			sameRecord(t, what+ending, got, r)
		}
	}
}

// Prose is no header, however long, and neither are names without a unit or an
// axis.
func TestNoHeader(t *testing.T) {
	for _, text := range []string{strings.Repeat("said, and done\n", 2999) + "Time, UV\n" + strings.Repeat("said, and done\n", 2000), "Time flies, he said\n", "A,B\n", "UV (mAU)\n"} {
		_, err := Parse("prose.txt", []byte(text))
		refused(t, err, "no rows of numbers")
	}
}

// One of two signals may be empty.
func TestOneEmptySignal(t *testing.T) {
	r := Record{Columns: []Column{{Name: "Time A", Unit: "s", Values: []float64{0, 1, 2}}, {Name: "UV", Unit: "mAU", Axis: "Time A", Values: []float64{1.5, 2.5, 3.5}},
		{Name: "Time B", Unit: "s", Values: []float64{}}, {Name: "pH", Axis: "Time B", Values: []float64{}}}}
	for _, ending := range []string{".parquet", ".nc"} {
		path := filepath.Join(t.TempDir(), "copy"+ending)
		if err := r.Write(path); err != nil {
			t.Fatal(err)
		}
		sameRecord(t, ending, read(t, path), r)
	}
}

// Where a clock starts again, another column that only grows is the better axis,
// if there is one.
func TestOtherAxis(t *testing.T) {
	const text = "Time (s),Volume (mL),UV (mAU)\n0,0,1.5\n1,1,2.5\n0,2,3.5\n1,3,4.5\n"
	r, err := Parse("laps.csv", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	if uv, err := r.Signal("UV"); err != nil || uv.Axis() != trace.Volume || uv.Len() != 4 {
		t.Errorf("%v, %v", uv, err)
	}
	if s := r.Page().Markdown(); !strings.Contains(s, "Volume, since \"Time\" repeats positions or goes back; it could be \"Time\"") {
		t.Errorf("the report does not tell:\n%s", s)
	}
	_, err = Parse("laps.csv", []byte(text), Options{Axis: "Time"})
	refused(t, err, "starts again", "record.CutAtReset", `against "Volume", which only grows: record.Options{Axis: "Volume"}`)
	_, err = Parse("laps.csv", []byte("Time (s),Volume (mL),Cycle time (s),UV (mAU)\n0,0,0,1.5\n1,1,5,2.5\n0,2,7,3.5\n1,3,9,4.5\n"))
	refused(t, err, "starts again", `record.Options{Axis: "Volume"}`)
	_, err = Parse("laps.csv", []byte("Time (s),Volume (mL),UV (mAU)\n0,0,1.5\n1,1,2.5\n0,0,3.5\n"))
	if refused(t, err, "starts again"); strings.Contains(err.Error(), "only grows") {
		t.Errorf("%v: the volume starts again, too", err)
	}
}
