package text

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/evenbed/evenbed/packing/task"
)

// TestRefusals reads what nobody can have meant; each is refused in bounded
// time and memory.
func TestRefusals(t *testing.T) {
	noise := make([]byte, 20<<20)
	source := rand.NewChaCha8([32]byte{7})
	source.Read(noise)
	head := "Time (min),UV (mAU)\n"
	for name, tc := range map[string]struct {
		data            []byte
		line            int
		problem, remedy string
	}{
		"nothing":             {nil, 0, "the file is empty", "export it again"},
		"one line of 200 MB":  {bytes.Repeat([]byte("1"), 200<<20), 1, "a line longer than 1048576 bytes, with no separators", "one row a line"},
		"wide line of 100 MB": {wide(bytes.Repeat([]byte("1"), 50<<20), false), 1, "a line longer than 1048576 bytes", "one row a line"},
		"10 million columns":  {bytes.Repeat([]byte("1,"), 10_000_000), 1, "10000000 or more separators (comma)", "at most 16384 columns"},
		"20,000 columns":      {[]byte(strings.Repeat("1.5,", 20_000) + "\n"), 0, "no rows of numbers found", ""},
		"long line in the middle": {append([]byte(head+strings.Repeat("1,2.5\n", 100_000)), bytes.Repeat([]byte("3"), 50<<20)...), 100_002,
			"a line longer than 1048576 bytes", "one row a line"},
		"noise":      {noise, 1, "binary data", "export the numbers"},
		"zeros":      {make([]byte, 50<<20), 0, "the file is empty", "export it again"},
		"a workbook": {[]byte("PK\x03\x04 and so on"), 0, "a zip archive or a workbook", ".xlsx"},
		"text after a long table": {[]byte(head + strings.Repeat("1,2.5\n", 300_000) + "x,y\n1,2.5\n"), 300_002,
			"text between the rows", "LastLine: 300001"},
		"short rows below a wide header": {[]byte(strings.Repeat("a,", 9_999) + "b\n" + strings.Repeat("1.5,", 9_999) + "2.5\n" + strings.Repeat("1.5\n", 200_000)), 0, "", ""},
		"a formula's error far below":    {[]byte(head + strings.Repeat("1,2.5\n", 300_000) + "2,#REF!\n3,1.5\n"), 300_002, "the error of a formula, #REF!", "mend the sheet"},
		"a zero byte in a number far below": {[]byte(head + strings.Repeat("1,2.5\n", 300_000) + "2,2\x005\n3,1.5\n"), 300_002,
			"a zero byte within the number", "damaged"},
	} {
		t.Run(name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&before)
			start := time.Now()
			_, err := Read(tc.data, Options{}, task.Default())
			took := time.Since(start)
			runtime.ReadMemStats(&after)
			if err == nil {
				t.Fatal("not refused")
			}
			e, ok := err.(Error)
			if !ok || tc.line != 0 && e.Line != tc.line || !strings.Contains(e.Problem, tc.problem) || !strings.Contains(e.Remedy, tc.remedy) || e.Remedy == "" {
				t.Errorf("line %d: %q; %q", e.Line, e.Problem, e.Remedy)
			}
			// All that was allocated, freed or not, is a bound of the peak.
			if used := after.TotalAlloc - before.TotalAlloc; used > 64<<20 {
				t.Errorf("%d MiB of heap", used>>20)
			}
			if took > 20*time.Second {
				t.Errorf("took %v", took)
			}
			t.Logf("%v, %d MiB: %v", took.Round(time.Millisecond), (after.TotalAlloc-before.TotalAlloc)>>20, err)
		})
	}
}

// TestHeap reads a million rows: all that is allocated on the way, freed or
// not, is at most half as much again as the numbers take.
func TestHeap(t *testing.T) {
	for name, data := range map[string][]byte{"plain": million(',', '.'), "UTF-16 with decimal comma": wide(million(';', ','), false)} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		f, err := Read(data, Options{}, task.Default())
		runtime.ReadMemStats(&after)
		if err != nil {
			t.Fatal(name, err)
		}
		numbers := uint64(0)
		for _, c := range f.Tables[0].Columns {
			numbers += 8 * uint64(len(c.Values))
		}
		if used := after.TotalAlloc - before.TotalAlloc; numbers != 32_000_000 || used > numbers*3/2 {
			t.Errorf("%s: %d bytes of numbers, %d allocated", name, numbers, used)
		}
	}
}

// TestOpenQuotes reads millions of quotes that are never closed: they are part
// of the text, and looking for their ends must not take long.
func TestOpenQuotes(t *testing.T) {
	const n = 500_000
	data := []byte("Time (min),Remark\n" + strings.Repeat("1.5,\"open\n", n))
	start := time.Now()
	f, err := Read(data, Options{}, task.Default())
	if err != nil {
		t.Fatal(err)
	}
	if c := f.Tables[0].Columns[1]; len(c.Texts) != n || c.Texts[n-1] != `"open` {
		t.Errorf("%d texts, the last %q", len(c.Texts), c.Texts[len(c.Texts)-1])
	}
	if took := time.Since(start); took > 20*time.Second {
		t.Errorf("took %v", took)
	}
}

// TestContradictionsFarBelow reads files whose beginning leaves open, or gets
// wrong, what a later row decides.
func TestContradictionsFarBelow(t *testing.T) {
	rows := func(head string, n int, row, last string) []byte {
		return []byte(head + strings.Repeat(row, n) + last + strings.Repeat(row, n))
	}
	const n = 100_000
	for _, tc := range []struct {
		name            string
		data            []byte
		value           float64 // of the last column in row 0
		odd             float64 // in row n
		line            int
		problem, remedy string
	}{
		{"a decimal comma after whole numbers and thousands", rows("Time;Counts\n", n, "1;1.234\n", "1;0,5\n"), 1234, 0.5, 0, "", ""},
		{"a decimal point after thousands", rows("Time\tCounts\n", n, "1\t1,234\n", "1\t0.5\n"), 1234, 0.5, 0, "", ""},
		{"thousands after plain numbers", rows("Time;Counts\n", n, "1;1,5\n", "1;1.234,5\n"), 1.5, 1234.5, 0, "", ""},
		{"a decimal comma after a decimal point", rows("Time;Counts\n", n, "1;1.5\n", "1;2,5\n"), 0, 0, n + 2,
			fmt.Sprintf(`a point in "1.5" (line 2) but a comma in "2,5" (line %d)`, n+2), `Decimal: "."`},
		{"thousands alone", rows("Time;Counts\n", n, "1;1.234\n", "1;5.678\n"), 0, 0, 2, `"1.234" may be 1.234`, `Decimal: ","`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			f, err := Read(tc.data, Options{}, task.Default())
			if tc.problem != "" {
				checkRefusal(t, err, refusal{tc.line, 0, tc.problem, tc.remedy})
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			v := f.Tables[0].Columns[1].Values
			if len(v) != 2*n+1 || v[0] != tc.value || v[n] != tc.odd || v[2*n] != tc.value {
				t.Errorf("%d rows, %v, %v, want %v, %v", len(v), v[0], v[n], tc.value, tc.odd)
			}
		})
	}
	dates := rows("Moment,UV\n", n, "01/02/2024 10:00:00,1.5\n", "01/13/2024 10:00:00,2.5\n")
	f, err := Read(dates, Options{}, task.Default())
	if err != nil {
		t.Fatal(err)
	}
	if m := f.Tables[0].Columns[0].Times[0]; m.Month() != time.January || m.Day() != 2 {
		t.Errorf("a later date decides: %v", m)
	}
}
