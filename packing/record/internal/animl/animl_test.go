package animl

import (
	"errors"
	"math"
	"os"
	"reflect"
	"regexp"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

func load(t testing.TB) []byte {
	t.Helper()
	b, err := os.ReadFile("testdata/pulse.animl")
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func same(a, b source.Column) bool {
	if len(a.Values) != len(b.Values) {
		return false
	}
	for i, x := range a.Values {
		if y := b.Values[i]; x != y && (x == x || y == y) {
			return false
		}
	}
	a.Values, b.Values = nil, nil
	return reflect.DeepEqual(a, b)
}

// The numbers are those that testdata/make.py writes.
func TestRead(t *testing.T) {
	want := [][]source.Column{{
		{Name: "Time", Unit: "s", Values: []float64{10, 10.5, 11, 11.5}, Axis: -1, Place: 1},
		{Name: "UV", Unit: "mAU", Values: []float64{0, float64(float32(0.1)), -2.5, float64(float32(1e30))}, Axis: 0, Place: 2},
		{Name: "Cond", Unit: "mS/cm", Values: []float64{1.0 / 3, 2, math.NaN(), 4.25}, Axis: 0, Place: 3, Missing: 1},
		{Name: "count", Values: []float64{1, -2, 1099511627776, 0}, Axis: 0, Place: 4}, // 2^40
		{Name: "small", Values: []float64{1, -2, 1073741824, 0}, Axis: 0, Place: 5},    // 2^30
	}, {
		{Name: "note", Texts: []string{"start & go", ""}, Axis: 1, Place: 1, Missing: 1},
		{Name: "at", Times: []time.Time{time.Date(2024, 3, 1, 7, 30, 0, 0, time.UTC), time.Date(2024, 3, 1, 7, 30, 1, 5e8, time.UTC)}, Axis: -1, Place: 2},
		{Name: "open", Values: []float64{1, 0}, Axis: 1, Place: 3},
	}}
	data := string(load(t))
	other := regexp.MustCompile("<(/?)([A-Z])").ReplaceAllString(strings.Replace(data, "xmlns=\"urn:org:astm:animl:schema:core:draft:0.90", "xmlns:a=\"urn:of:tomorrow", 1), "<${1}a:$2")
	for what, doc := range map[string]string{"as written": data, "with another namespace and a prefix": other} {
		f, err := Read([]byte(doc), nil)
		if err != nil {
			t.Errorf("%s: %v", what, err)
			continue
		}
		if len(f.Tables) != 2 || f.Tables[0].Name != "detector" || f.Tables[1].Name != "log" {
			t.Fatalf("%s: tables %+v", what, f.Tables)
		}
		for i, w := range want {
			for k, c := range w {
				if got := f.Tables[i].Columns[k]; !same(got, c) {
					t.Errorf("%s:\n got %+v\nwant %+v", what, got, c)
				}
			}
		}
		meta := []source.Entry{{Key: "experiment step", Value: "pulse <1>"}, {Key: "flow", Value: "21.5 L/h"}}
		if !reflect.DeepEqual(f.Tables[0].Meta, meta) {
			t.Errorf("%s: notes %+v, want %+v", what, f.Tables[0].Meta, meta)
		}
	}
}

// doc puts series into a document.
func doc(series string) []byte {
	return []byte(`<AnIML><SeriesSet name="s" length="3">` + series + `</SeriesSet></AnIML>`)
}

func TestRefusals(t *testing.T) {
	for _, tc := range []struct {
		what string
		data []byte
		want string
	}{
		{"empty", nil, "this XML is not AnIML"},
		{"binary", []byte("\x00\x01\x02<"), "it cannot be read"},
		{"other XML", []byte("<html/>"), "this XML is not AnIML"},
		{"no series", []byte("<AnIML/>"), "it has no SeriesSet with values"},
		{"cut short", load(t)[:1500], "line 20: it cannot be read"},
		{"entities", []byte(`<!DOCTYPE a [<!ENTITY b "bbbb"><!ENTITY c "&b;&b;&b;&b;">]><AnIML>&c;</AnIML>`), "it declares a document type"},
		{"unknown entity", []byte(`<AnIML>&c;</AnIML>`), "invalid character entity"},
		{"deep", []byte("<AnIML>" + strings.Repeat("<a>", 100000)), "more than 64 elements in each other"},
		{"crossed", []byte("<AnIML><a></AnIML></a>"), "ends what did not begin"},
		{"one long text", []byte("<AnIML><a>" + strings.Repeat("x", 40<<20)), "one piece of XML is longer than 12 MiB"},
		{"length", []byte(`<AnIML><SeriesSet length="many"/></AnIML>`), `the length "many"`},
		{"huge length", []byte(`<AnIML><SeriesSet length="9000000000000"><Series name="t" seriesType="Float64"><AutoIncrementedValueSet><StartValue><D>0</D></StartValue><Increment><D>1</D></Increment></AutoIncrementedValueSet></Series></SeriesSet></AnIML>`), "it claims far more values than it holds"},
		{"huge index", []byte(`<AnIML><SeriesSet><Series name="t" seriesType="Float64"><IndividualValueSet startIndex="900000000"><D>0</D></IndividualValueSet></Series></SeriesSet></AnIML>`), "it claims far more values than it holds"},
		{"no increment", doc(`<Series seriesType="Float64"><AutoIncrementedValueSet><StartValue><D>0</D></StartValue></AutoIncrementedValueSet></Series>`), "lacks its StartValue or its Increment"},
		{"base64", doc(`<Series name="UV" seriesType="Float64"><EncodedValueSet>AAA*</EncodedValueSet></Series>`), `the base64 of Series "UV" is damaged`},
		{"half a value", doc(`<Series name="UV" seriesType="Float64"><EncodedValueSet>AAAA</EncodedValueSet></Series>`), "3 bytes, which are no whole values of 8"},
		{"wrong count", doc(`<Series name="UV" seriesType="Float64"><EncodedValueSet startIndex="0" endIndex="1">AAAAAAAAAAA=</EncodedValueSet></Series>`), "holds 1 values, but its indices say 2"},
		{"encoded texts", doc(`<Series name="UV" seriesType="String"><EncodedValueSet>AAAA</EncodedValueSet></Series>`), `"String" in base64`},
		{"too many", doc(`<Series name="UV" seriesType="Int32"><IndividualValueSet><I>1</I><I>1</I><I>1</I><I>1</I></IndividualValueSet></Series>`), `Series "UV" has 4 values, but its SeriesSet "s" says 3`},
		{"two values for one index", doc(`<Series name="UV" seriesType="Int32"><IndividualValueSet><I>1</I></IndividualValueSet><IndividualValueSet startIndex="0"><I>1</I></IndividualValueSet></Series>`), "two values with the index 0"},
		{"wrong indices", doc(`<Series name="UV" seriesType="Int32"><IndividualValueSet startIndex="0" endIndex="1"><I>1</I></IndividualValueSet></Series>`), "holds 1, but its indices say 2"},
		{"no number", doc(`<Series name="UV" seriesType="Float64"><IndividualValueSet><D>1,5</D></IndividualValueSet></Series>`), `line 1: "1,5" in Series "UV" is not a number`},
		{"no moment", doc(`<Series name="UV" seriesType="DateTime"><IndividualValueSet><DateTime>today</DateTime></IndividualValueSet></Series>`), "is not a moment"},
	} {
		t.Run(tc.what, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			start := time.Now()
			_, err := Read(tc.data, nil)
			took := time.Since(start)
			runtime.ReadMemStats(&after)
			var e source.Error
			if !errors.As(err, &e) || e.Remedy == "" || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got %v, want %q and a remedy", err, tc.want)
			}
			if grown := after.TotalAlloc - before.TotalAlloc; grown > 64<<20 || took > 20*time.Second {
				t.Errorf("the refusal took %v and %d MiB in all", took, grown>>20)
			}
		})
	}
}

// A series that is shorter than its set has missing values, and it is told.
func TestShortSeries(t *testing.T) {
	f, err := Read(doc(`<Series name="UV" seriesType="Int32"><IndividualValueSet><I>1</I></IndividualValueSet></Series>`), nil)
	if err != nil {
		t.Fatal(err)
	}
	c := f.Tables[0].Columns[0]
	if len(c.Values) != 3 || c.Missing != 2 || f.Facts[1].Value != `2 at the end of Series "UV", which is shorter than its SeriesSet` {
		t.Errorf("%+v, facts %+v", c, f.Facts)
	}
}

func FuzzRead(f *testing.F) {
	f.Add(load(f))
	f.Add(doc(`<Series name="UV" seriesType="Int32"><IndividualValueSet startIndex="1"><I>1</I></IndividualValueSet></Series>`))
	f.Fuzz(func(t *testing.T, data []byte) {
		file, err := Read(data, nil)
		if err != nil {
			return
		}
		for _, table := range file.Tables {
			for i, c := range table.Columns {
				if n := len(table.Columns); c.Axis >= n || c.Axis == i || len(c.Values)+len(c.Texts)+len(c.Times) == 0 {
					t.Errorf("column %+v of %d", c, n)
				}
			}
		}
	})
}
