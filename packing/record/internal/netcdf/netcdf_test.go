package netcdf

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

var nan = math.NaN()

func load(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func open(t *testing.T, data []byte) source.File {
	t.Helper()
	d, err := Read(data, nil)
	if err != nil {
		t.Fatal(err)
	}
	f, err := File(d, nil)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func same(a, b []float64) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] && (a[i] == a[i] || b[i] == b[i]) {
			return false
		}
	}
	return true
}

func guesses(f source.File) string {
	var list []string
	for _, fact := range f.Facts {
		if fact.Guessed {
			list = append(list, fact.What)
		}
	}
	return strings.Join(list, ", ")
}

// A column as it should be read: name, unit, values, index of its axis and how
// many values are missing.
type column struct {
	name, unit string
	values     []float64
	texts      []string
	axis       int
	missing    int
}

func check(t *testing.T, table source.Table, want []column) {
	t.Helper()
	if len(table.Columns) != len(want) {
		t.Fatalf("%d columns, want %d: %+v", len(table.Columns), len(want), table.Columns)
	}
	for i, w := range want {
		c := table.Columns[i]
		if c.Name != w.name || c.Unit != w.unit || !same(c.Values, w.values) || !reflect.DeepEqual(c.Texts, w.texts) ||
			c.Axis != w.axis || c.Missing != w.missing || c.Place != i+1 {
			t.Errorf("column %d:\n got %+v\nwant %+v", i, c, w)
		}
	}
}

// The numbers are those that testdata/make.py writes.
func TestFiles(t *testing.T) {
	for _, tc := range []struct {
		file    string
		guesses string
		tables  [][]column
	}{
		{"no_retention_unit.cdf", "time unit, signal", [][]column{{
			{name: "Time", unit: "s", values: []float64{10, 10.5, 11, 11.5, 12}, axis: -1},
			{name: "Signal", unit: "mAU", values: []float64{0, 1.5, 12.25, 1.75, 0.125}},
		}}},
		{"own_times.cdf", "", [][]column{{
			{name: "Time", unit: "minutes", values: []float64{0, 0.5, 0.75, 2.5}, axis: -1},
			{name: "UV 280 nm", unit: "AU", values: []float64{0.25, 1.25, nan, 0.5}, missing: 1}, // 0.25 + 0.001 raw
		}, {
			{name: "peak_name", texts: []string{"tracer", "salt"}, axis: -1},
			{name: "peak_retention_time", values: []float64{0.5, 2.25}, axis: -1},
		}}},
		{"records.nc", "", [][]column{{
			{name: "time", unit: "s", values: []float64{0, 1.5, 4}, axis: -1},
			{name: "valve", values: []float64{1, -1, 127}},
			{name: "pressure", unit: "kPa", values: []float64{101, 202, -303}},
			{name: "total", values: []float64{1, 1099511627776, -3}}, // 2^40
			{name: "count", values: []float64{65534, 0, 7}},
			{name: "phase", texts: []string{"load", "wash", "elute"}},
			{name: "flow", unit: "L/h", values: []float64{21.5, nan, float64(float32(0.1))}, missing: 1}, // the middle one was not written
		}}},
		{"one_record_variable.nc", "axis", [][]column{{
			{name: "level", unit: "mm", values: []float64{3, 1, 4, 1, 5}, axis: -1},
		}}},
	} {
		t.Run(tc.file, func(t *testing.T) {
			f := open(t, load(t, tc.file))
			if got := guesses(f); got != tc.guesses {
				t.Errorf("guessed %q, want %q", got, tc.guesses)
			}
			if len(f.Tables) != len(tc.tables) {
				t.Fatalf("%d tables, want %d", len(f.Tables), len(tc.tables))
			}
			for i := range tc.tables {
				check(t, f.Tables[i], tc.tables[i])
			}
		})
	}
}

func TestSample(t *testing.T) {
	f := open(t, load(t, "e1947_sample.cdf"))
	if len(f.Tables) != 1 || guesses(f) != "" {
		t.Fatalf("%d tables, guessed %q", len(f.Tables), guesses(f))
	}
	c := f.Tables[0].Columns
	if len(c) != 2 || c[0].Unit != "seconds" || c[1].Name != "conductivity" || c[1].Unit != "mS/cm" || c[1].Axis != 0 {
		t.Fatalf("columns %+v", c)
	}
	if len(c[0].Values) != 601 || c[0].Values[1] != 3 || c[0].Values[600] != 1800 {
		t.Errorf("time has %d values: %v, %v", len(c[0].Values), c[0].Values[1], c[0].Values[600])
	}
	// Printed by the maker of the file, to the digits of single precision.
	want := []float32{52.31566, 54.917088, 57.194977, 59.107014, 60.619312}
	for i, w := range want {
		if got := float32(c[1].Values[200+i]); got != w {
			t.Errorf("ordinate %d is %v, want %v", 200+i, got, w)
		}
	}
	for _, w := range []source.Entry{{Key: "sample_name", Value: "tracer"}, {Key: "injection_date_time_stamp", Value: "20240101110000+0000"}, {Key: "actual_sampling_interval", Value: "3"}} {
		if got := entry(f.Tables[0], w.Key); got != w.Value {
			t.Errorf("%s is %q, want %q", w.Key, got, w.Value)
		}
	}
}

func entry(t source.Table, key string) string {
	for _, e := range t.Meta {
		if e.Key == key {
			return e.Value
		}
	}
	return ""
}

func TestMeta(t *testing.T) {
	if got := entry(open(t, load(t, "no_retention_unit.cdf")).Tables[0], "sample_name"); got != "café" {
		t.Errorf("a text in Windows-1252 with a NUL behind it: %q", got)
	}
	table := open(t, load(t, "records.nc")).Tables[0]
	if want := time.Date(2024, 3, 1, 8, 30, 0, 0, time.UTC); table.Columns[0].Start != want || entry(table, "time since") != "" {
		t.Errorf("the zero of time is %v, want %v", table.Columns[0].Start, want)
	}
	for key, want := range map[string]string{"title": "three records", "area": "706.858 cm2"} {
		if got := entry(table, key); got != want {
			t.Errorf("%s is %q, want %q", key, got, want)
		}
	}
}

// A file that was still open when it was copied has no number of records.
func TestStreaming(t *testing.T) {
	for _, name := range []string{"own_times.cdf", "records.nc", "one_record_variable.nc"} {
		whole := load(t, name)
		b := bytes.Clone(whole)
		n := 4
		if b[3] == 5 {
			n = 8
		}
		for i := range n {
			b[4+i] = 0xff
		}
		if got, want := open(t, b), open(t, whole); !sameTables(got.Tables, want.Tables) {
			t.Errorf("%s: %+v, want %+v", name, got.Tables, want.Tables)
		}
	}
}

func sameTables(a, b []source.Table) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if len(a[i].Columns) != len(b[i].Columns) {
			return false
		}
		for k, c := range a[i].Columns {
			w := b[i].Columns[k]
			if c.Name != w.Name || c.Unit != w.Unit || c.Axis != w.Axis || !same(c.Values, w.Values) || !reflect.DeepEqual(c.Texts, w.Texts) {
				return false
			}
		}
	}
	return true
}

// What is written reads back equal, and the second writing gives the same
// bytes. Files of foreign writers included.
func TestRoundTrip(t *testing.T) {
	for _, name := range []string{"e1947_sample.cdf", "no_retention_unit.cdf", "own_times.cdf", "records.nc", "one_record_variable.nc"} {
		d, err := Read(load(t, name), nil)
		if err != nil {
			t.Fatal(err)
		}
		roundTrip(t, *d)
	}
	for _, d := range []Dataset{
		{},
		{Dimensions: []Dimension{{"n", 0, true}}, Variables: []Variable{{Name: "x", Dimensions: []int{0}, Data: []int16{}}}},
		{Records: 3, Dimensions: []Dimension{{"n", 3, true}, {"k", 3, false}}, Variables: []Variable{
			{Name: "a", Dimensions: []int{0}, Data: "abc"},
			{Name: "b", Dimensions: []int{0, 1}, Data: []int8{1, 2, 3, 4, 5, 6, 7, 8, 9}},
			{Name: "c", Dimensions: []int{1}, Data: []float64{nan, math.Inf(1), math.Copysign(0, -1)}},
		}},
		{Attributes: []Attribute{{"x", []uint64{math.MaxUint64}}, {"y", "é"}, {"z", []int8{}}}},
	} {
		roundTrip(t, d)
	}
}

func roundTrip(t *testing.T, d Dataset) {
	t.Helper()
	var first, second bytes.Buffer
	if err := Write(&first, d); err != nil {
		t.Fatal(err)
	}
	got, err := Read(first.Bytes(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if d.Version != 0 && got.Version != d.Version {
		t.Errorf("version %d, want %d", got.Version, d.Version)
	}
	if !reflect.DeepEqual(got.Dimensions, d.Dimensions) || got.Records != d.Records || len(got.Variables) != len(d.Variables) {
		t.Errorf("got %+v\nwant %+v", got, d)
	}
	if err := Write(&second, *got); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(first.Bytes(), second.Bytes()) {
		t.Error("the second writing differs")
	}
	for i, v := range d.Variables {
		w := got.Variables[i]
		if v.Name != w.Name || reflect.TypeOf(v.Data) != reflect.TypeOf(w.Data) || !same(floats(v.Data), floats(w.Data)) {
			t.Errorf("variable %+v, want %+v", w, v)
		}
		if s, ok := v.Data.(string); ok && s != w.Data {
			t.Errorf("text %q, want %q", w.Data, s)
		}
	}
}

// The netCDF library's own files have the same header, byte for byte, with the
// place of every variable, and values of the same length. Only the padding
// between values differs: ours is zero.
func TestWriteAsTheLibraryDoes(t *testing.T) {
	for _, name := range []string{"own_times.cdf", "records.nc"} {
		want := load(t, name)
		d, err := Read(want, nil)
		if err != nil {
			t.Fatal(err)
		}
		var got bytes.Buffer
		if err := Write(&got, *d); err != nil {
			t.Fatal(err)
		}
		plan, err := arrange(d)
		if err != nil {
			t.Fatal(err)
		}
		header := slices.Min(plan.begin)
		if got.Len() != len(want) || !bytes.Equal(got.Bytes()[:header], want[:header]) {
			t.Errorf("%s: the header or the length (%d, want %d) differs", name, got.Len(), len(want))
		}
	}
}

// be writes big-endian words.
func be(words ...uint32) []byte {
	var b []byte
	for _, w := range words {
		b = binary.BigEndian.AppendUint32(b, w)
	}
	return b
}

// begun returns the start of a CDF-1 file.
func begun(words ...uint32) []byte { return append([]byte("CDF\x01"), be(words...)...) }

func TestRefusals(t *testing.T) {
	sample := load(t, "e1947_sample.cdf")
	changed := func(at int, b []byte) []byte {
		c := bytes.Clone(sample)
		copy(c[at:], b)
		return c
	}
	for _, tc := range []struct {
		what string
		data []byte
		want string // in the error
	}{
		{"empty", nil, "not a netCDF classic file"},
		{"other", []byte("time,UV\n1,2\n"), "not a netCDF classic file"},
		{"HDF5", []byte("\x89HDF\r\n\x1a\n"), "HDF5"},
		{"version 3", []byte("CDF\x03aaaa"), "version 3"},
		{"magic only", begun(), "4 bytes should follow, but only 0 are left"},
		{"many records", append(append([]byte("CDF\x01"), be(1<<30)...), load(t, "one_record_variable.nc")[8:]...), "header: 1073741824 records of 2 bytes"},
		{"many dimensions", changed(12, be(1<<31)), "2147483648 dimensions are more than 1024"},
		{"long name", changed(16, be(1<<31)), "2147483648 bytes should follow"},
		{"cut in the header", sample[:600], "bytes should follow"},
		{"cut in the values", sample[:2000], `variable "ordinate_values": its values should end at byte`},
		{"wrong list", changed(8, be(0x0B)), "a list of dimensions should begin here"},
		{"huge dimension", begun(0, 0x0A, 2, 1, 'x'<<24, 1<<31-1, 1, 'y'<<24, 1<<31-1, 0, 0, 0x0B, 1, 1, 'v'<<24, 2, 0, 1, 0, 0, 6, 0, 0), "more values than the file has bytes"},
		{"dimension that is not there", begun(0, 0, 0, 0, 0, 0x0B, 1, 1, 'v'<<24, 1, 7, 0, 0, 6, 0, 0), "has dimension 7 of 0"},
		{"type that is not there", begun(0, 0, 0, 0x0C, 1, 1, 'a'<<24, 99, 1, 0), "has type 99"},
		{"attribute of 2^31 values", begun(0, 0, 0, 0x0C, 1, 1, 'a'<<24, 6, 1<<31, 0), "has 2147483648 values, more than the file holds"},
		{"no variables", begun(0, 0, 0, 0, 0, 0, 0), "it has no variables"},
	} {
		t.Run(tc.what, func(t *testing.T) {
			d, err := Read(tc.data, nil)
			if err == nil {
				_, err = File(d, nil)
			}
			var e source.Error
			if !errors.As(err, &e) || e.Remedy == "" || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got %v, want %q and a remedy", err, tc.want)
			}
		})
	}
}

// Variables that share bytes could ask for far more memory than the file has.
func TestOverlap(t *testing.T) {
	d := Dataset{Dimensions: []Dimension{{"n", 1 << 20, false}}}
	for range 2 {
		d.Variables = append(d.Variables, Variable{Name: "v", Dimensions: []int{0}, Data: make([]float64, 1<<20)})
	}
	var b bytes.Buffer
	if err := Write(&b, d); err != nil {
		t.Fatal(err)
	}
	data := b.Bytes()
	// The place where the second begins is the last word of the header.
	end := len(data) - 2*8<<20
	binary.BigEndian.PutUint32(data[end-4:], uint32(end))
	if _, err := Read(data[:end+9<<20], nil); err == nil || !strings.Contains(err.Error(), "overlap") {
		t.Errorf("got %v", err)
	}
}

// Every way of cutting the sample short is refused, and a refusal of a large
// file takes little memory and time.
func TestTruncated(t *testing.T) {
	sample := load(t, "records.nc")
	for n := range len(sample) - 4 { // the last value may lack its padding
		if _, err := Read(sample[:n], nil); err == nil {
			t.Errorf("%d bytes of %d were accepted", n, len(sample))
		}
	}
}

func TestRefusalIsCheap(t *testing.T) {
	big := make([]byte, 24<<20)
	copy(big, "CDF\x01")
	copy(big[4:], be(0, 0, 0, 0x0C, 8192))
	at := 24
	for at+20 < len(big) { // attributes of 1 byte, as many as there is room for
		copy(big[at:], be(1, 'a'<<24, 2, 1, 'b'<<24))
		at += 20
	}
	wide := make([]byte, 100<<20) // one attribute of 90 MiB
	copy(wide, "CDF\x01")
	copy(wide[4:], be(0, 0, 0, 0x0C, 1, 1, 'a'<<24, 2, 90<<20))
	for name, data := range map[string][]byte{"many attributes": big, "long attribute": wide} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		start := time.Now()
		_, err := Read(data, nil)
		took := time.Since(start)
		runtime.ReadMemStats(&after)
		if grown := after.TotalAlloc - before.TotalAlloc; err == nil || grown > 64<<20 || took > 20*time.Second {
			t.Errorf("%s: %v after %v with %d MiB", name, err, took, grown>>20)
		}
	}
}

func TestSampling(t *testing.T) {
	// made returns a chromatogram of three points.
	made := func(flag string, step float64, times []float64) *Dataset {
		d := &Dataset{Version: 1, Dimensions: []Dimension{{"point_number", 3, false}},
			Variables: []Variable{{Name: ordinates, Dimensions: []int{0}, Data: []float64{1, 2, 3}}}}
		if flag != "" {
			d.Variables[0].Attributes = []Attribute{{uniform, flag}}
		}
		d.Attributes = []Attribute{{retentionUnit, "s"}, {detectorName, "UV"}, {interval, []float64{step}}}
		if times != nil {
			d.Variables = append(d.Variables, Variable{Name: retentions, Dimensions: []int{0}, Data: times})
		}
		return d
	}
	for _, tc := range []struct {
		what    string
		d       *Dataset
		want    []float64 // nil if there is no axis
		guesses string
		err     string
	}{
		{"even", made("Y", 2, nil), []float64{0, 2, 4}, "", ""},
		{"small letter, no flag", made("", 2, nil), []float64{0, 2, 4}, "", ""},
		{"own", made("N", 2, []float64{0, 1, 9}), []float64{0, 1, 9}, "", ""},
		{"own without a flag", made("", 2, []float64{0, 1, 9}), []float64{0, 1, 9}, "", ""},
		{"interval 0", made("Y", 0, []float64{0, 1, 9}), []float64{0, 1, 9}, "", ""},
		{"own never written", made("Y", 2, []float64{fillFloat, fillFloat, fillFloat}), []float64{0, 2, 4}, "", ""},
		{"says own, has none", made("N", 2, nil), []float64{0, 2, 4}, "sampling", ""},
		{"nothing", made("Y", 0, nil), nil, "time axis", ""},
		{"both and they agree", made("Y", 2, []float64{0, 2, 4}), []float64{0, 2, 4}, "", ""},
		{"both and they differ", made("Y", 2, []float64{0, 2, 9}), nil, "", "value 3: two times for one point: 9 from raw_data_retention, 4 from delay and interval"},
	} {
		t.Run(tc.what, func(t *testing.T) {
			f, err := File(tc.d, nil)
			if tc.err != "" {
				if err == nil || !strings.Contains(err.Error(), tc.err) {
					t.Errorf("got %v, want %q", err, tc.err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if got := guesses(f); got != tc.guesses {
				t.Errorf("guessed %q, want %q", got, tc.guesses)
			}
			c := f.Tables[0].Columns
			if tc.want == nil {
				if len(c) != 1 || c[0].Axis != -1 {
					t.Errorf("columns %+v", c)
				}
			} else if !same(c[0].Values, tc.want) || c[1].Axis != 0 {
				t.Errorf("times %v, want %v", c[0].Values, tc.want)
			}
		})
	}
}

func TestPacked(t *testing.T) {
	for _, tc := range []struct {
		what       string
		data       Data
		attributes []Attribute
		want       []float64
		missing    int
	}{
		{"as it is", []int16{1, -2}, nil, []float64{1, -2}, 0},
		{"double factors", []int16{1, -2}, []Attribute{{"scale_factor", []float64{0.5}}, {"add_offset", []float64{10}}}, []float64{10.5, 9}, 0},
		{"single factors, by hand in single precision", []int16{3}, []Attribute{{"scale_factor", []float32{0.1}}}, []float64{float64(float32(3) * float32(0.1))}, 0},
		{"fill value", []int32{7, 8}, []Attribute{{"_FillValue", []int32{7}}}, []float64{nan, 8}, 1},
		{"missing_value", []float32{7, 8}, []Attribute{{"missing_value", []float32{8}}}, []float64{7, nan}, 1},
		{"not written", []float32{1, fillFloat}, nil, []float64{1, nan}, 1},
		{"a byte has no default", []int8{-127}, nil, []float64{-127}, 0},
		{"valid_range", []int16{0, 5, 99}, []Attribute{{"valid_range", []int16{0, 10}}}, []float64{0, 5, nan}, 1},
		{"unsigned byte", []int8{-1, 1}, []Attribute{{"_Unsigned", "true"}}, []float64{255, 1}, 0},
		{"NaN is missing", []float64{nan, 1}, nil, []float64{nan, 1}, 1},
	} {
		v := Variable{Name: "v", Data: tc.data, Attributes: tc.attributes}
		got, missing := v.numbers()
		if !same(got, tc.want) || missing != tc.missing {
			t.Errorf("%s: %v with %d missing, want %v with %d", tc.what, got, missing, tc.want, tc.missing)
		}
	}
}

func FuzzRead(f *testing.F) {
	for _, name := range []string{"e1947_sample.cdf", "no_retention_unit.cdf", "own_times.cdf", "records.nc", "one_record_variable.nc"} {
		f.Add(load(f, name))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := Read(data, nil)
		if err != nil {
			return
		}
		file, err := File(d, nil)
		if err == nil {
			for _, table := range file.Tables {
				for _, c := range table.Columns {
					if c.Axis >= len(table.Columns) || (c.Values == nil) == (c.Texts == nil) {
						t.Errorf("column %+v", c)
					}
				}
			}
		}
		var first, second bytes.Buffer
		if Write(&first, *d) != nil {
			return // Read is more tolerant
		}
		again, err := Read(first.Bytes(), nil)
		if err != nil {
			t.Fatalf("what was written is refused: %v", err)
		}
		if err := Write(&second, *again); err != nil || !bytes.Equal(first.Bytes(), second.Bytes()) {
			t.Errorf("the second writing differs: %v", err)
		}
	})
}
