package text

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/task"
)

// checkPlain reads all rows again without the short way for plain ones: nothing
// may be different. It returns how many rows went the short way.
func checkPlain(t *testing.T, data []byte) (plain int) {
	t.Helper()
	r := &reader{monitor: task.Default()}
	for _, step := range []func() error{func() error { return r.readEncoding(data) }, r.readHead, r.sniff, r.layout, r.plan, r.parseBody} {
		if step() != nil {
			return 0
		}
	}
	// What parse left in the columns, before join moved it, is found by parsing
	// each chunk anew, both ways.
	both := [2]*worker{r.newWorker(), r.newWorker()}
	both[1].lanes = nil
	for k := range r.body.chunks {
		c := r.body.chunks[k]
		c.row, c.spans = 0, nil
		text := r.enc.decode(r.raw[c.from:c.to], nil)
		var found [2]chunk
		for i, w := range both {
			w.cols = slices.Clone(r.body.cols)
			for j := range w.cols {
				switch col := &w.cols[j]; {
				case col.values != nil:
					col.values = make([]float64, c.lines+1)
				case col.times != nil:
					col.times = slices.Clone(col.times)
				default:
					col.texts = slices.Clone(col.texts)
				}
				if w.lanes != nil {
					w.lanes[j].values = w.cols[j].values
				}
			}
			found[i] = c
			w.parse(text, &found[i], k == len(r.body.chunks)-1)
		}
		if !reflect.DeepEqual(found[0], found[1]) {
			t.Fatalf("chunk %d of %q:\n%+v, without the short way\n%+v", k, shortened(string(data)), found[0], found[1])
		}
		for j := range both[0].cols {
			n := found[0].rows
			if a, b := both[0].cols[j].values, both[1].cols[j].values; a != nil && fmt.Sprint(a[:n]) != fmt.Sprint(b[:n]) {
				t.Fatalf("column %d of %q:\n%v, without the short way\n%v", j, shortened(string(data)), a[:n], b[:n])
			}
		}
		if w := both[0]; w.lanes != nil {
			for i := 0; i < len(text); {
				next, rows := w.plainRows(text, i, 0)
				plain += rows
				_, i, _ = recordEnd(text, next, w.cellSep)
			}
		}
	}
	return plain
}

// Rows of all kinds between plain ones are read as without the short way.
func TestPlainRows(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	odd := []string{"", " ", "NaN", "-", "1e3", ".5", "5.", "12345678901234567890", "0.123456789012345678", "\"1.5\"", "\"2\n3\"", "1.5 mAU", "<0.5", "x", "#N/A", "1,2", "\r", "-0", "\x00", "µ"}
	plain := 0
	for n := range 300 {
		end := []string{"\n", "\r\n", "\r", "\n"}[n%4]
		var b strings.Builder
		b.WriteString("Time (min),UV (mAU),P (bar)" + end)
		for i := range 60 {
			row := fmt.Sprintf("%d.%d,%.*f,%s%d", i, r.IntN(1000), r.IntN(9), r.NormFloat64()*1000, []string{"", "-", "+", "  "}[r.IntN(4)], r.IntN(100))
			if i > 20 && r.IntN(12) == 0 {
				cells := strings.Split(row, ",")
				cells[r.IntN(3)] = odd[r.IntN(len(odd))]
				row = strings.Join(cells, ",")
			}
			b.WriteString(row)
			switch {
			case i > 20 && r.IntN(40) == 0:
				b.WriteString("," + end + "# a comment" + end + end)
			default:
				b.WriteString(end)
			}
		}
		plain += checkPlain(t, []byte(b.String()))
		checkPlain(t, wide([]byte(b.String()), n%2 == 0))
	}
	if plain < 1000 {
		t.Errorf("%d rows went the short way", plain)
	}
	// Characters whose lower byte is a digit, a mark or an end of line.
	for _, odd := range []string{"\u0135", "\u3131", "\u012e", "\u012c", "\u010a", "\u010d", "\u012d", "\u0120"} {
		for _, cell := range []string{odd, "1" + odd, odd + "5", "1." + odd, "1.5" + odd, "-" + odd, "1234" + odd + "5678"} {
			text := "Time (min),UV (mAU)\n" + strings.Repeat("1.5,2.5\n", 30) + "2.5," + cell + "\n" + strings.Repeat("3.5,4.5\n", 30)
			for _, text := range []string{text, strings.Replace(text, "2.5,"+cell, cell+",2.5", 1)} {
				checkPlain(t, wide([]byte(text), false))
				narrow, broad := readTable(t, []byte(text)), readTable(t, wide([]byte(text), false))
				if narrow != broad {
					t.Errorf("%q: %s\nin UTF-16 %s", cell, narrow, broad)
				}
			}
		}
	}
}

// readTable returns the columns of a text, or the error.
func readTable(t *testing.T, data []byte) string {
	t.Helper()
	f, err := Read(data, Options{}, task.Default())
	if err != nil {
		return err.Error()
	}
	return fmt.Sprint(f.Tables)
}
