package engine_test

import (
	"context"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/evenbed/evenbed/kernel/internal/host"
)

// later puts a cell's work behind the end of the cell.
func later(code string) string {
	return "import \"time\"\ntime.AfterFunc(20*time.Millisecond, func() {\n" + code + "\n})\n1"
}

// An engine that ends between two cells tells the next one why, truly.
func TestEngineEndsBetweenCells(t *testing.T) {
	nb := open(t, host.MemoryEnv+"=1GB") // the stack that overflows takes some of it
	for _, tc := range []struct{ before, code, reason string }{
		{"import \"os\"\nself, _ := os.FindProcess(os.Getpid())", "self.Kill()", "it was ended by the operating system (killed)"},
		{"", "var all [][]byte\nfor { all = append(all, make([]byte, 16<<20)) }", "memory limit 1 GB reached"},
		{"var r func(n int) int\nr = func(n int) int { return r(n) + 1 }", "r(0)", "stack overflow"},
		{"", "panic(\"unguarded\")", "a goroutine of a library panicked: unguarded"},
		{"import \"sync\"\nvar mu sync.Mutex", "mu.Unlock()", "sync: unlock of unlocked mutex"},
	} {
		nb.want("kept := 1")
		n := nb.n
		nb.run(tc.before)
		if got, r := nb.run(later(tc.code)); r.Died {
			t.Fatalf("%s: the cell itself died: %q", tc.code, got)
		}
		var failure host.Failure
		for range 100 { // until the next cell finds that its engine has gone
			time.Sleep(50 * time.Millisecond)
			if _, r := nb.run("kept"); r.Failure != nil {
				failure = *r.Failure
				if !r.Died || !slices.Contains(r.Rerun, n) {
					t.Errorf("%s: %+v", tc.code, r)
				}
				break
			}
		}
		// One that takes a while may end while a cell asks.
		if why := strings.TrimPrefix(failure.Message, "the engine ended between two cells: "); !strings.HasPrefix(why, tc.reason) {
			t.Errorf("%s\ntells %q\nwant  %q", tc.code, failure.Message, tc.reason)
		}
		nb.want("1+1", "value 2")
	}
}

// A cell that closes what is not its own loses its engine, not the session.
func TestPipeClosedByACell(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("on Windows the pipe is not files 3 and 4, which this test closes")
	}
	nb := open(t)
	for _, code := range []string{
		"os.NewFile(3, \"\").Close()", // the engine hears nothing more
		"os.NewFile(4, \"\").Close()", // the kernel hears nothing more
		"os.NewFile(4, \"\").Write([]byte(\"nonsense that is no message\"))",
		"for i := 3; i < 100; i++ { os.NewFile(uintptr(i), \"\").Close() }",
	} {
		// It runs until it is stopped, or the engine is ended before that.
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		began := time.Now()
		_, r := nb.runContext(ctx, "import \"os\"\n"+code+"\nfor { }")
		cancel()
		if !r.Died || !strings.Contains(r.Failure.Message, "its connection to the kernel") && !strings.Contains(r.Failure.Message, "netpoll failed") {
			t.Errorf("%s: %+v", code, r.Failure)
		}
		if d := time.Since(began); d > 5*time.Second {
			t.Errorf("%s: noticed after %v", code, d)
		}
		nb.want("1+1", "value 2")
	}
}
