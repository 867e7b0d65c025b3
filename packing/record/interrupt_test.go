package record

import (
	"bufio"
	"bytes"
	"context"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/ipc"
	"github.com/apache/arrow-go/v18/arrow/memory"

	"github.com/evenbed/evenbed/packing/task"
)

// A long file can be stopped at any moment, and then holds no memory. A notebook
// promises a second; slow machines get two here.
func TestInterruptOfLongFile(t *testing.T) {
	if testing.Short() {
		t.Skip("writes 200 MB")
	}
	path := filepath.Join(t.TempDir(), "long.csv")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	w := bufio.NewWriterSize(f, 1<<20)
	w.WriteString("Time (min),UV (mAU),Conductivity (mS/cm),Pressure (bar)\n")
	for i := range 5_000_000 {
		fmt.Fprintf(w, "%d.25,1234.567891,98.765432,2.123456\n", i)
	}
	if err := errors.Join(w.Flush(), f.Close()); err != nil {
		t.Fatal(err)
	}
	heap := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	defer task.SetDefault(nil)
	before := heap()
	stops := 0
	for _, after := range []time.Duration{time.Millisecond, 20 * time.Millisecond, 100 * time.Millisecond, 300 * time.Millisecond} {
		ctx, cancel := context.WithCancel(context.Background())
		task.SetDefault(stopped{ctx})
		asked := make(chan time.Time, 1)
		time.AfterFunc(after, func() {
			asked <- time.Now()
			cancel()
		})
		_, err := Read(path)
		ended := time.Now()
		if err == nil { // a fast machine was done before
			cancel()
			continue
		}
		stops++
		if !errors.Is(err, context.Canceled) {
			t.Errorf("after %v: %v, want it stopped", after, err)
		}
		if took := ended.Sub(<-asked); took > 2*time.Second {
			t.Errorf("after %v: stopped only %v later", after, took)
		} else {
			t.Logf("after %v: stopped %v later", after, took)
		}
		if now := heap(); now > before+1<<20 {
			t.Errorf("after %v: %d KiB of heap are left", after, (now-before)>>10)
		}
	}
	if stops < 2 {
		t.Errorf("only %d readings were stopped", stops)
	}
}

// A count is a monitor that notes how far work is and stops it at a MiB.
type count struct {
	ctx    context.Context
	stop   func()
	at     int
	labels map[string]bool
	last   int
	total  int
}

func (c *count) Context() context.Context { return c.ctx }

func (c *count) Progress(label string, done, total int) {
	c.labels[label] = true
	if done < c.last || done > total {
		c.stop = nil // no progress: the test below tells
	}
	c.last, c.total = done, total
	if c.stop != nil && done >= c.at {
		c.stop()
	}
}

// The other formats show how far they are and can be stopped, too.
func TestInterruptOfOtherFormats(t *testing.T) {
	if testing.Short() {
		t.Skip("makes files of 60 MB")
	}
	const rows = 2_000_000
	long := Record{Columns: []Column{{Name: "Time", Unit: "s"}}}
	for j := range 4 {
		c := Column{Name: "Time", Unit: "s", Values: make([]float64, rows)}
		for i := range c.Values {
			c.Values[i] = float64(i) / 7 * float64(j+1)
		}
		if j > 0 {
			c.Name, c.Unit, c.Axis = fmt.Sprintf("Signal %d", j), "mAU", "Time"
		}
		long.Columns = append(long.Columns[:j], c)
	}
	folder := t.TempDir()
	files := map[string][]byte{}
	for _, ending := range []string{".nc", ".parquet"} {
		path := filepath.Join(folder, "long"+ending)
		if err := long.Write(path); err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		files[ending] = data
	}
	var xml, stream bytes.Buffer
	xml.WriteString(`<AnIML><SeriesSet name="s">`)
	for _, c := range long.Columns {
		part := make([]byte, 8*rows/4) // a text may not be longer
		for k := range 4 {
			for i, v := range c.Values[k*rows/4 : (k+1)*rows/4] {
				binary.LittleEndian.PutUint64(part[8*i:], math.Float64bits(v))
			}
			if k == 0 {
				fmt.Fprintf(&xml, `<Series name=%q seriesType="Float64">`, c.Name)
			}
			xml.WriteString("<EncodedValueSet>" + base64.StdEncoding.EncodeToString(part) + "</EncodedValueSet>")
		}
		xml.WriteString("</Series>")
	}
	xml.WriteString("</SeriesSet></AnIML>")
	files[".animl"] = xml.Bytes()
	var fields []arrow.Field
	for _, c := range long.Columns {
		fields = append(fields, arrow.Field{Name: c.Name, Type: arrow.PrimitiveTypes.Float64})
	}
	schema := arrow.NewSchema(fields, nil)
	w := ipc.NewWriter(&stream, ipc.WithSchema(schema))
	for k := range 8 {
		b := array.NewRecordBuilder(memory.NewGoAllocator(), schema)
		for j, c := range long.Columns {
			b.Field(j).(*array.Float64Builder).AppendValues(c.Values[k*rows/8:(k+1)*rows/8], nil)
		}
		if err := w.Write(b.NewRecordBatch()); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	files[".arrows"] = stream.Bytes()

	defer task.SetDefault(nil)
	for ending, data := range files {
		ctx, cancel := context.WithCancel(context.Background())
		c := &count{ctx: ctx, stop: cancel, at: 20, labels: map[string]bool{}}
		task.SetDefault(c)
		_, err := Parse("long"+ending, data)
		var e Error
		if !errors.Is(err, context.Canceled) || !errors.As(err, &e) || e.Problem != "reading was stopped" {
			t.Errorf("%s: %v, want it stopped", ending, err)
		}
		if c.stop == nil || !c.labels["reading"] || len(c.labels) != 1 || c.total != len(data)>>20 || c.last < 20 || c.last > 40 {
			t.Errorf("%s: stopped at %d of %d MiB, %v; want 20 of %d", ending, c.last, c.total, c.labels, len(data)>>20)
		}
	}
}
