package engine_test

import (
	"context"
	"math/rand"
	"slices"
	"testing"
	"time"
)

// late is when an interrupt counts as lost. The benchmark measures how soon
// cells really end.
const late = 2 * time.Second

// interrupt runs a cell, interrupts it after a while and returns how long the
// cell took to end.
func (nb *notebook) interrupt(code string, after time.Duration) (time.Duration, string) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var at time.Time
	timer := time.AfterFunc(after, func() { at = time.Now(); cancel() })
	defer timer.Stop()
	_, r := nb.runContext(ctx, code)
	if r.Failure == nil {
		return 0, "ended well"
	}
	return time.Since(at), r.Failure.Name
}

func TestInterruptsAtRandomMoments(t *testing.T) {
	n := 1000
	if testing.Short() {
		n = 100
	}
	nb := open(t)
	nb.want("kept := 42\ncount := 0")
	rnd := rand.New(rand.NewSource(1))
	cells := []string{
		"for { count++ }",
		"for i := 0; i >= 0; i++ { func() { count++ }() }",
		"func spin(n int) int { if n == 0 { return 0 }; return spin(n - 1) }\nfor { spin(20) }",
		"for { func() { defer func() { count++ }(); count-- }() }",
	}
	for i := range n {
		after := time.Duration(rnd.ExpFloat64() * float64(400*time.Microsecond))
		took, how := nb.interrupt(cells[i%len(cells)], after)
		if how != "interrupted" || took > late {
			t.Fatalf("interrupt %d after %v: the cell ended %v later: %s", i, after, took, how)
		}
	}
	nb.want("kept", "value 42")
	nb.want("spin(3)", "value 0")
}

// Whatever a cell waits for, one interrupt ends it and variables are kept.
func TestInterruptOfWaitingCells(t *testing.T) {
	nb := open(t)
	nb.want(`import ("sync"; "time"; "sort"; "context"
"github.com/evenbed/evenbed/packing/task")
kept := "yes"
never := make(chan int)
var lock sync.Mutex
lock.Lock()`)
	for _, code := range []string{
		"<-never",
		"x := <-never",
		"make(chan int) <- 1",
		"for range never { }",
		"time.Sleep(time.Hour)",
		"for { time.Sleep(time.Millisecond) }",
		"lock.Lock()",
		"select { case <-never: case <-time.After(time.Hour): }",
		"var wg sync.WaitGroup\nwg.Add(1)\ngo func() { for { } }()\nwg.Wait()",
		"for { func() { defer func() { recover() }(); for { } }() }",
		"sort.Slice(make([]int, 1000), func(i, j int) bool { for { } })",
		"<-task.Default().Context().Done()\nfor { }",
	} {
		took, how := nb.interrupt(code, 30*time.Millisecond)
		if how != "interrupted" || took > late {
			t.Errorf("%s\nended %v after the interrupt: %s", code, took, how)
		}
		nb.want("kept", "value yes")
	}
	nb.want("for i := 0; i < 3; i++ { kept += \"!\" }\nkept", "value yes!!!")
}

// A cell that was given up while it waited goes on when it may, but only to
// its end: it runs nothing more and disturbs no later cell.
func TestGivenUpCellStaysAway(t *testing.T) {
	nb := open(t)
	nb.want("gate := make(chan int)\ntrace := []string{}\nsum := 0")
	for range 3 {
		took, how := nb.interrupt("trace = append(trace, \"before\")\n<-gate\ntrace = append(trace, \"after\")\n\"value of the old cell\"", 200*time.Millisecond) // by then it waits, on a busy machine too
		if how != "interrupted" || took > late {
			t.Fatalf("ended %v after the interrupt: %s", took, how)
		}
	}
	nb.want("import \"time\"\nfor i := 0; i < 3; i++ {\n\tgate <- 1\n\tfor j := 0; j < 1000; j++ { sum++ }\n}\ntime.Sleep(50 * time.Millisecond)\nsum", "value 3000")
	nb.want("trace", "value [before before before]")
	nb.want("f := func() int { return sum }\nsum = 5\nf()", "value 5")
}

func TestInterruptBeforeTheCellBegins(t *testing.T) {
	nb := open(t)
	nb.want("a := 1")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for range 100 {
		if _, r := nb.runContext(ctx, "for { a++ }"); r.Failure == nil || r.Failure.Name != "interrupted" {
			t.Fatalf("ended with %+v", r.Failure)
		}
	}
	nb.want("a", "value 1")
}

// Interrupting between cells stops goroutines that cells have left running.
func TestInterruptStopsGoroutines(t *testing.T) {
	nb := open(t)
	nb.want("import \"sync/atomic\"\nvar ticks int64\nfor i := 0; i < 3; i++ { go func() { for { atomic.AddInt64(&ticks, 1) } }() }")
	time.Sleep(20 * time.Millisecond)
	nb.s.Interrupt()
	deadline := time.Now().Add(late)
	for {
		got, _ := nb.run("import \"time\"\nbefore := atomic.LoadInt64(&ticks)\ntime.Sleep(50 * time.Millisecond)\natomic.LoadInt64(&ticks) - before")
		if slices.Equal(got, []string{"value 0"}) {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("the goroutines run on: %q", got)
		}
	}
}

func BenchmarkInterrupt(b *testing.B) {
	nb := open(b)
	nb.run("count := 0")
	var all []time.Duration
	for i := range b.N {
		took, how := nb.interrupt("for { count++ }", time.Duration(i%7)*time.Millisecond)
		if how != "interrupted" {
			b.Fatal(how)
		}
		all = append(all, took)
	}
	slices.Sort(all)
	b.ReportMetric(float64(all[len(all)/2].Microseconds())/1000, "ms-median")
	b.ReportMetric(float64(all[len(all)*99/100].Microseconds())/1000, "ms-p99")
	b.ReportMetric(0, "ns/op")
}

func BenchmarkOnePlusOne(b *testing.B) {
	nb := open(b)
	nb.run("1+1")
	b.ResetTimer()
	for range b.N {
		nb.run("1+1")
	}
}
