package netcdf

import (
	"bytes"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// reread writes a dataset and reads it.
func reread(t *testing.T, d Dataset) source.File {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, d); err != nil {
		t.Fatal(err)
	}
	return open(t, b.Bytes())
}

func sameColumn(a, b source.Column) bool {
	return a.Name == b.Name && a.Unit == b.Unit && a.Axis == b.Axis && a.Missing == b.Missing && same(a.Values, b.Values) && reflect.DeepEqual(a.Texts, b.Texts)
}

// steps returns n times that are start + i step.
func steps(start, step float64, n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = start + float64(float64(i)*step)
	}
	return x
}

func TestChromatogram(t *testing.T) {
	for _, tc := range []struct {
		what   string
		x, y   []float64
		even   bool
		single bool // the ordinate is in single precision
	}{
		{"even, single precision", steps(10, 0.5, 4), []float64{0, 1.5, nan, -2}, true, true},
		{"even, double precision", steps(0, 0.1, 1001), steps(1, 1.0/3, 1001), true, false},
		{"uneven", []float64{0, 1, 2.5}, []float64{1, 2, 3}, false, true},
		{"backwards", []float64{2, 1, 0}, []float64{1, 2, 3}, false, true},
		{"off by a last bit", []float64{0, 0.1, 0.2, 0.3, 0.4}, []float64{1, 2, 3, 4, 5}, false, true}, // 3 × 0.1 is not 0.3
		{"one point", []float64{7}, []float64{1}, false, true},
		{"the value for not written", []float64{0, 1}, []float64{fillFloat, 1}, true, true},
		{"infinite", []float64{0, 1}, []float64{math.Inf(1), math.Copysign(0, -1)}, true, true},
	} {
		t.Run(tc.what, func(t *testing.T) {
			missing := 0
			for _, v := range tc.y {
				if v != v {
					missing++
				}
			}
			table := source.Table{
				Columns: []source.Column{
					{Name: "other", Values: tc.y, Axis: 1},
					{Name: "Time", Unit: "min", Values: tc.x, Axis: -1},
					{Name: "UV 280 nm", Unit: "mAU", Values: tc.y, Axis: 1, Missing: missing},
				},
				Meta: []source.Entry{{Key: "sample_name", Value: "tracer é"}, {Key: "Detector_Name", Value: "loses"}},
			}
			d, err := Chromatogram(table, 2)
			if err != nil {
				t.Fatal(err)
			}
			_, single := d.find(ordinates).Data.([]float32)
			if even := d.find(retentions) == nil; even != tc.even || single != tc.single {
				t.Errorf("even %v, single %v", even, single)
			}
			f := reread(t, d)
			got := f.Tables[0]
			want := []source.Column{table.Columns[1], table.Columns[2]}
			want[1].Axis = 0
			for i := range want {
				if !sameColumn(got.Columns[i], want[i]) {
					t.Errorf("got %+v\nwant %+v", got.Columns[i], want[i])
				}
			}
			if entry(got, "sample_name") != "tracer é" || guesses(f) != "" {
				t.Errorf("notes %+v, guessed %q", got.Meta, guesses(f))
			}
		})
	}
}

func TestSignals(t *testing.T) {
	table := source.Table{
		Meta: []source.Entry{{Key: "medium", Value: "Marram"}, {Key: "Exp. no", Value: "7"}},
		Columns: []source.Column{
			{Name: "time", Unit: "s", Values: []float64{0, 1, 2.1}, Axis: -1},
			{Name: "P/bar in", Unit: "bar", Values: []float64{1, 1.0 / 3, nan}, Axis: 0, Missing: 1},
			{Name: "note", Texts: []string{"load", "", "é"}, Axis: 0, Missing: 1},
		},
	}
	d, err := Signals(table)
	if err != nil {
		t.Fatal(err)
	}
	f := reread(t, d)
	if len(f.Tables) != 1 || len(f.Tables[0].Columns) != 3 {
		t.Fatalf("tables %+v", f.Tables)
	}
	for i, w := range table.Columns {
		if got := f.Tables[0].Columns[i]; !sameColumn(got, w) {
			t.Errorf("got %+v\nwant %+v", got, w)
		}
	}
	for _, e := range table.Meta {
		if got := entry(f.Tables[0], e.Key); got != e.Value {
			t.Errorf("%s is %q, want %q", e.Key, got, e.Value)
		}
	}

	// Each axis is a dimension, and comes back as a table of its own.
	table.Columns = append(table.Columns,
		source.Column{Name: "pH time", Unit: "min", Values: []float64{0, 1}, Axis: -1},
		source.Column{Name: "pH", Values: []float64{7, 6.5}, Axis: 3},
		source.Column{Name: "no axis", Values: []float64{1, 2, 3}, Axis: -1})
	d, err = Signals(table)
	if err != nil {
		t.Fatal(err)
	}
	f = reread(t, d)
	if len(f.Tables) != 3 || len(f.Tables[0].Columns) != 3 || len(f.Tables[1].Columns) != 2 || len(f.Tables[2].Columns) != 1 {
		t.Fatalf("tables %+v", f.Tables)
	}
	if c := f.Tables[1].Columns; !same(c[0].Values, []float64{0, 1}) || !same(c[1].Values, []float64{7, 6.5}) || c[1].Axis != 0 || f.Tables[2].Columns[0].Axis != -1 {
		t.Errorf("tables %+v", f.Tables)
	}
}

func TestExportRefuses(t *testing.T) {
	x := source.Column{Name: "t", Values: []float64{0, 1}, Axis: -1}
	for _, tc := range []struct {
		cols []source.Column
		want string
	}{
		{[]source.Column{x}, `"t" has no axis`},
		{[]source.Column{{Name: "a", Texts: []string{"x"}}}, "column 1 holds no numbers"},
		{[]source.Column{{Name: "a", Values: []float64{1}, Axis: 1}, x}, `"a" has 1 values at 2 times`},
	} {
		if _, err := Chromatogram(source.Table{Columns: tc.cols}, 0); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("got %v, want %q", err, tc.want)
		}
	}
	for _, tc := range []struct {
		cols []source.Column
		want string
	}{
		{[]source.Column{x, x}, `column 2: the name "t"`},
		{[]source.Column{{Name: "a", Times: []time.Time{{}}}}, "holds moments"},
		{[]source.Column{{Name: "t", Values: []float64{}, Axis: -1}, {Name: "a", Values: []float64{}, Axis: 0}, {Name: "u", Values: []float64{}, Axis: -1}, {Name: "b", Values: []float64{}, Axis: 2}}, "several axes are empty"},
		{[]source.Column{x, {Name: "a", Values: []float64{1}, Axis: 0}}, `column "a" has 1 values, its axis 2`},
	} {
		if _, err := Signals(source.Table{Columns: tc.cols}); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("got %v, want %q", err, tc.want)
		}
	}
}
