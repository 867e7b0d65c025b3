package record

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

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
