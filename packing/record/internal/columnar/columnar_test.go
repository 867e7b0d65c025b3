package columnar

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

var nan = math.NaN()

var files = []string{"types.parquet", "types_v2_zstd.parquet", "types_brotli.parquet", "types_lz4.parquet", "types_v2_lz4.parquet", "types_old.parquet", "types.arrow", "types_zstd.arrows"}

func load(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// read reads either format.
func read(data []byte) (source.File, error) {
	if bytes.HasPrefix(data, []byte("PAR1")) {
		return Parquet(data, nil)
	}
	return Arrow(data, nil)
}

func same(a, b source.Column) bool {
	if len(a.Values) != len(b.Values) || (a.Values == nil) != (b.Values == nil) {
		return false
	}
	for i, x := range a.Values {
		if y := b.Values[i]; math.Float64bits(x) != math.Float64bits(y) && (x == x || y == y) {
			return false
		}
	}
	a.Values, b.Values = nil, nil
	return reflect.DeepEqual(a, b)
}

func value(f source.File, what string) string {
	for _, fact := range f.Facts {
		if fact.What == what {
			return fact.Value
		}
	}
	return ""
}

// The numbers are those that testdata/make.py writes.
func TestFiles(t *testing.T) {
	vienna := time.Date(2024, 3, 1, 7, 30, 0, 0, time.UTC)
	want := []source.Column{
		{Name: "Time", Unit: "min", Values: []float64{0, 0.5, 1}},
		{Name: "UV", Unit: "mAU", Values: []float64{float64(float32(0.1)), nan, 3.5}, Missing: 1},
		{Name: "count", Values: []float64{1, -9007199254740992, nan}, Missing: 1}, // -2^53
		{Name: "valve", Values: []float64{1, 255, 0}},
		{Name: "large", Values: []float64{18446744073709549568, 0, nan}, Missing: 1}, // 2^64 - 2^11
		{Name: "open", Values: []float64{1, 0, nan}, Missing: 1},
		{Name: "mass", Unit: "kg", Values: []float64{0.1, -12345678901234567.891, nan}, Missing: 1},
		{Name: "phase", Texts: []string{"load", "", "load"}, Missing: 1},
		{Name: "note", Texts: []string{"é", "", ""}, Missing: 1}, // an empty text is not missing
		{Name: "at", Times: []time.Time{time.Date(2024, 3, 1, 8, 30, 0, 250e6, time.UTC), {}, time.Date(1969, 12, 31, 23, 59, 59, 999e6, time.UTC)}, Missing: 1},
		{Name: "zoned", Times: []time.Time{vienna, vienna, vienna}},
		{Name: "day", Times: []time.Time{time.Date(2024, 2, 29, 0, 0, 0, 0, time.UTC), {}, time.Date(1969, 12, 31, 0, 0, 0, 0, time.UTC)}, Missing: 1},
		{Name: "clock", Unit: "s", Values: []float64{3600.5, nan, 1}, Missing: 1},
		{Name: "took", Unit: "s", Values: []float64{1.5, nan, 0}, Missing: 1}, // in Arrow only
		{Name: "half", Values: []float64{0.5, nan, 2}, Missing: 1},
	}
	for i := range want {
		want[i].Axis, want[i].Place = -1, i+1
	}
	for _, name := range files {
		t.Run(name, func(t *testing.T) {
			f, err := read(load(t, name))
			if err != nil {
				t.Fatal(err)
			}
			expect := want
			if strings.HasSuffix(name, "parquet") {
				expect = want[:13]
			}
			got := f.Tables[0].Columns
			if len(got) != len(expect) {
				t.Fatalf("%d columns, want %d", len(got), len(expect))
			}
			for i, w := range expect {
				if name == "types_old.parquet" && w.Name != "clock" {
					w.Unit = "" // it keeps no notes on columns
				}
				if !same(got[i], w) {
					t.Errorf("got %+v\nwant %+v", got[i], w)
				}
			}
			if !strings.HasPrefix(value(f, "columns left out"), `"list`) {
				t.Errorf("facts %+v do not tell of the lists", f.Facts)
			}
			if name != "types_old.parquet" {
				if !strings.Contains(value(f, "time zone"), `"zoned"`) || len(f.Tables[0].Meta) != 1 || f.Tables[0].Meta[0] != (source.Entry{Key: "operator", Value: "A <b>"}) {
					t.Errorf("facts %+v, notes %+v", f.Facts, f.Tables[0].Meta)
				}
			}
		})
	}
}

func TestRoundTrip(t *testing.T) {
	long := make([]float64, 5000) // more than one page and one buffer
	for i := range long {
		long[i] = math.Sqrt(float64(i))
	}
	long[17] = nan
	table := source.Table{
		Meta: []source.Entry{{Key: "a", Value: "é <b>"}, {Key: "medium", Value: "Marram"}},
		Columns: []source.Column{
			{Name: "z time", Unit: "min", Values: long, Axis: -1, Missing: 1},
			{Name: "UV", Unit: "mAU", Values: append([]float64{math.Inf(1), math.Inf(-1), math.Copysign(0, -1), 5e-324, math.MaxFloat64}, long[5:]...), Axis: 0, Missing: 1},
			{Name: "b time", Unit: "s", Values: []float64{1, 2}, Axis: -1},
			{Name: "Cond", Values: []float64{3, 4}, Axis: 2},
			{Name: "ends with a gap", Values: []float64{3, nan}, Axis: 2, Missing: 1},
			{Name: "at", Times: []time.Time{time.Date(1500, 1, 1, 0, 0, 0, 1000, time.UTC), {}}, Axis: -1, Missing: 1},
			{Name: "fine", Times: []time.Time{time.Date(2024, 1, 1, 0, 0, 0, 1, time.UTC)}, Axis: -1},
			{Name: "event", Texts: []string{"load", "", "load"}, Axis: 0, Missing: 1},
		},
	}
	var b, again bytes.Buffer
	if err := Write(&b, table); err != nil {
		t.Fatal(err)
	}
	f, err := Parquet(b.Bytes(), nil)
	if err != nil {
		t.Fatal(err)
	}
	got := f.Tables[0]
	for i, w := range table.Columns {
		w.Place = i + 1
		if !same(got.Columns[i], w) {
			t.Errorf("column %q differs: %d values, axis %d, %d missing", w.Name, len(got.Columns[i].Values), got.Columns[i].Axis, got.Columns[i].Missing)
		}
	}
	if !reflect.DeepEqual(got.Meta, table.Meta) {
		t.Errorf("notes %+v, want %+v", got.Meta, table.Meta)
	}
	if err := Write(&again, table); err != nil || !bytes.Equal(b.Bytes(), again.Bytes()) {
		t.Errorf("a second writing differs: %v", err)
	}
	empty := source.Table{Columns: []source.Column{{Name: "x", Values: []float64{}, Axis: -1, Place: 1}}}
	b.Reset()
	if err := Write(&b, empty); err != nil {
		t.Fatal(err)
	}
	if f, err := Parquet(b.Bytes(), nil); err != nil || !reflect.DeepEqual(f.Tables[0], empty) {
		t.Errorf("no rows: %+v, %v", f.Tables, err)
	}
}

// Long columns of each kind of packing come back to the last bit, whether they
// pack well or not.
func TestCodecs(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	type row struct {
		Noise float64
		Step  float64
		Gap   *float64
	}
	rows := make([]row, 20000)
	for i := range rows {
		rows[i] = row{Noise: random.NormFloat64(), Step: float64(i / 500)}
		if i%7 != 0 {
			rows[i].Gap = &rows[i].Noise
		}
	}
	for _, codec := range []compress.Codec{&parquet.Uncompressed, &parquet.Snappy, &parquet.Gzip, &parquet.Zstd, &parquet.Brotli} {
		for version := 1; version <= 2; version++ {
			var b bytes.Buffer
			w := parquet.NewGenericWriter[row](&b, parquet.Compression(codec), parquet.DataPageVersion(version))
			if _, err := w.Write(rows); err != nil {
				t.Fatal(err)
			}
			if err := w.Close(); err != nil {
				t.Fatal(err)
			}
			f, err := Parquet(b.Bytes(), nil)
			if err != nil {
				t.Errorf("%v: %v", codec, err)
				continue
			}
			c := f.Tables[0].Columns
			for i, r := range rows {
				gap := nan
				if r.Gap != nil {
					gap = *r.Gap
				}
				if got := c[2].Values[i]; c[0].Values[i] != r.Noise || c[1].Values[i] != r.Step || got != gap && (got == got || gap == gap) {
					t.Errorf("%v, pages of version %d: row %d is %v, %v, %v, want %+v", codec, version, i, c[0].Values[i], c[1].Values[i], got, r)
					break
				}
			}
		}
	}
}

func TestWriteRefuses(t *testing.T) {
	for _, tc := range []struct {
		cols []source.Column
		want string
	}{
		{nil, "no column"},
		{[]source.Column{{Values: []float64{1}}}, "column 1: the name"},
		{[]source.Column{{Name: "a", Values: []float64{1}}, {Name: "a", Values: []float64{1}}}, "column 2: the name"},
		{[]source.Column{{Name: "a", Times: []time.Time{time.Date(1500, 1, 1, 0, 0, 0, 1, time.UTC)}}}, `column "a", row 1: nanoseconds`},
	} {
		if err := Write(&bytes.Buffer{}, source.Table{Columns: tc.cols}); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("got %v, want %q", err, tc.want)
		}
	}
}

func TestRefusals(t *testing.T) {
	for _, tc := range []struct {
		what string
		data []byte
		want string
	}{
		{"empty", nil, "it cannot be read"},
		{"text", []byte("time,UV\n1,2\n"), "it cannot be read"},
		{"magic only", []byte("PAR1"), "not a whole Parquet file"},
		{"footer beyond the file", []byte("PAR1aaaa\xff\xff\xff\x7fPAR1"), "footer: 2147483647 bytes do not fit"},
		{"zeros for a footer", []byte("PAR1\x00\x00\x00\x00\x04\x00\x00\x00PAR1"), ""},
		{"the old LZ4", relabelled(t, "types_lz4.parquet", format.Lz4), "packed by the old LZ4 of Parquet"},
		{"LZO", relabelled(t, "types_lz4.parquet", format.LZO), "packed by LZO, which is not supported; save it with Snappy"},
		{"Arrow magic only", []byte("ARROW1\x00\x00"), ""},
		{"long message", []byte("\xff\xff\xff\xff\xff\xff\xff\x7f"), ""},
	} {
		t.Run(tc.what, func(t *testing.T) { refused(t, tc.data, tc.want) })
	}
}

// refused checks that data are refused at little cost.
func refused(t *testing.T, data []byte, want string) {
	t.Helper()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	start := time.Now()
	_, err := read(data)
	took := time.Since(start)
	runtime.ReadMemStats(&after)
	var e source.Error
	if !errors.As(err, &e) || e.Remedy == "" || !strings.Contains(err.Error(), want) {
		t.Errorf("got %v, want %q and a remedy", err, want)
	}
	if grown := after.TotalAlloc - before.TotalAlloc; grown > 64<<20 || took > 20*time.Second {
		t.Errorf("the refusal took %v and %d MiB", took, grown>>20)
	}
}

// A file that was cut short is refused, wherever it was cut. A stream may end
// after any whole batch.
func TestTruncated(t *testing.T) {
	for _, name := range files {
		data := load(t, name)
		accepted := 0
		for n := 0; n < len(data); n += 7 {
			if _, err := read(data[:n]); err == nil {
				accepted++
				if !strings.HasSuffix(name, ".arrows") {
					t.Errorf("%s: %d bytes of %d were accepted", name, n, len(data))
				}
			}
		}
		if accepted > 3 {
			t.Errorf("%s: %d cuts were accepted", name, accepted)
		}
	}
}

// Bytes set to what makes large counts: an answer or a refusal, and never
// much memory.
func TestDamaged(t *testing.T) {
	for _, name := range files {
		data := load(t, name)
		for i := 0; i < len(data); i += 11 {
			for _, x := range []byte{0xff, 0x7f} {
				b := bytes.Clone(data)
				b[i] = x
				var before, after runtime.MemStats
				runtime.ReadMemStats(&before)
				read(b)
				runtime.ReadMemStats(&after)
				if grown := after.TotalAlloc - before.TotalAlloc; grown > 64<<20 {
					t.Errorf("%s: byte %d = %#x took %d MiB", name, i, x, grown>>20)
				}
			}
		}
	}
}

// Packed bytes that unpack to far more than they say, or are no such bytes at
// all, end before the library sees them.
func TestUnpacked(t *testing.T) {
	var bomb, plain bytes.Buffer
	w := gzip.NewWriter(&bomb)
	w.Write(make([]byte, 256<<20))
	w.Close()
	w = gzip.NewWriter(&plain)
	w.Write([]byte("four"))
	w.Close()
	for _, tc := range []struct {
		what   string
		codec  format.CompressionCodec
		packed []byte
		want   int64
		ok     bool
	}{
		{"gzip", format.Gzip, plain.Bytes(), 4, true},
		{"gzip, too short", format.Gzip, plain.Bytes(), 5, false},
		{"gzip bomb", format.Gzip, bomb.Bytes(), 1000, false},
		{"LZ4", format.Lz4Raw, []byte("\xf0\xff\xff\xff"), 100, false},
		{"damaged Brotli", format.Brotli, []byte("\xff\xff\xff\xff"), 100, false},
		{"damaged Zstandard", format.Zstd, []byte("\xff\xff\xff\xff"), 100, false},
		{"long Snappy", format.Snappy, []byte("\xff\xff\xff\xff\x0f"), 100, false},
		{"plain", format.Uncompressed, []byte("four"), 4, true},
		{"an old codec", format.LZO, []byte("four"), 4, false},
		{"nothing", format.Gzip, nil, 0, true},
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		err := unpacked(tc.codec, tc.packed, tc.want)
		runtime.ReadMemStats(&after)
		if grown := after.TotalAlloc - before.TotalAlloc; (err == nil) != tc.ok || grown > 64<<20 {
			t.Errorf("%s: %v with %d MiB", tc.what, err, grown>>20)
		}
	}
}

// relabelled returns a file that says that another codec packed its columns.
func relabelled(t *testing.T, name string, codec format.CompressionCodec) []byte {
	t.Helper()
	data := load(t, name)
	at := len(data) - 8 - int(binary.LittleEndian.Uint32(data[len(data)-8:]))
	var meta format.FileMetaData
	if err := thrift.Unmarshal(new(thrift.CompactProtocol), data[at:len(data)-8], &meta); err != nil {
		t.Fatal(err)
	}
	for _, g := range meta.RowGroups {
		for k := range g.Columns {
			g.Columns[k].MetaData.Codec = codec
		}
	}
	footer, err := thrift.Marshal(new(thrift.CompactProtocol), &meta)
	if err != nil {
		t.Fatal(err)
	}
	data = append(data[:at:at], footer...)
	return append(binary.LittleEndian.AppendUint32(data, uint32(len(footer))), "PAR1"...)
}

// The library reads other values of LZ4 than it wrote itself, so that we unpack
// it. Once it does not, that can go, if damaged LZ4 ends by then, too.
func TestLZ4OfTheLibrary(t *testing.T) {
	type row struct{ X, Y float64 }
	rows := make([]row, 100_000) // several pages
	for i := range rows {
		rows[i] = row{math.Sqrt(float64(i) + 2), float64(i / 1000)} // no two alike, so that nothing is to be gained by packing; and much
	}
	var b bytes.Buffer
	w := parquet.NewGenericWriter[row](&b, parquet.Compression(&parquet.Lz4Raw))
	if _, err := w.Write(rows); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	got, err := parquet.Read[row](bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err == nil && reflect.DeepEqual(got, rows) {
		t.Error("the library reads its own LZ4 by now: look whether it is still to be unpacked here")
	}
	f, err := Parquet(b.Bytes(), nil)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range rows {
		if got := (row{f.Tables[0].Columns[0].Values[i], f.Tables[0].Columns[1].Values[i]}); got != want {
			t.Fatalf("row %d: %v, want %v", i, got, want)
		}
	}
}

func TestRounded(t *testing.T) {
	c := newColumn("n", &purse{1 << 20})
	for _, n := range []int64{0, 1 << 53, 1<<53 + 1, math.MaxInt64, math.MinInt64} {
		c.whole(n)
	}
	c.unsigned(math.MaxUint64)
	c.unsigned(1 << 63)
	if c.rounded != 3 { // 2^53 + 1, 2^63 - 1 and 2^64 - 1
		t.Errorf("%d whole numbers were rounded, want 3", c.rounded)
	}
}

func FuzzRead(f *testing.F) {
	for _, name := range files {
		f.Add(load(f, name))
	}
	f.Add(binary.LittleEndian.AppendUint32([]byte("ARROW1\x00\x00"), 1<<31-1))
	f.Fuzz(func(t *testing.T, data []byte) {
		file, err := read(data)
		if err != nil {
			var e source.Error
			if !errors.As(err, &e) {
				t.Errorf("an error without place and remedy: %v", err)
			}
			return
		}
		for _, c := range file.Tables[0].Columns {
			if n := len(file.Tables[0].Columns); c.Axis >= n || c.Missing > length(c) || c.Missing < 0 {
				t.Errorf("column %+v of %d", c, n)
			}
		}
	})
}
