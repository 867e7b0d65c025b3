package efficiency

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"sync"
	"sync/atomic"

	"github.com/evenbed/evenbed/packing/task"
	"github.com/evenbed/evenbed/packing/trace"
)

// errNotDone stands for the work that was not done since all of it was stopped.
var errNotDone = errors.New("not evaluated")

// each opens every trace of a source and evaluates it over all processors; as
// many are under way as there are. Where they cannot be opened at once, the
// calling goroutine opens them, one at a time, and one waits; else each goroutine
// opens the next itself, which keeps all of them busy.
//
// evaluate is called with a trace that was opened, and done, with the error of
// either, when it has been dealt with. A panic of one is its error and stops no
// other. When the monitor's context is done, what is under way ends, and the error
// is the context's; done is not called for what was not tried or stopped half way.
func each(label string, source trace.Source, evaluate func(i int, tr trace.Trace) error, done func(i int, tr trace.Trace, err error)) error {
	m := task.Default()
	ctx := m.Context()
	n := source.Len()
	contained := func(do func() error) (err error) {
		defer func() {
			fault := recover()
			if fault != nil {
				err = fmt.Errorf("the evaluation broke off: %v; keep the trace and report it", fault)
			}
			if err != nil && ctx.Err() != nil && (fault != nil || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded)) {
				err = errNotDone
			}
		}()
		return do()
	}
	open := func(i int) (tr trace.Trace, err error) {
		err = contained(func() error {
			tr, err = source.Open(i)
			return err
		})
		return tr, err
	}
	var progress sync.Mutex
	finished, untried := 0, n
	tell := func() { // with the lock, so that no number comes before a smaller one
		progress.Lock()
		defer progress.Unlock()
		m.Progress(label, finished, n)
	}
	take := func(i int, tr trace.Trace, err error) {
		if err == nil {
			err = contained(func() error { return evaluate(i, tr) })
		}
		if err != errNotDone {
			done(i, tr, err)
		}
		progress.Lock()
		defer progress.Unlock()
		finished++
		if err != errNotDone {
			untried--
		}
	}

	concurrent := false
	if c, ok := source.(interface{ Concurrent() bool }); ok {
		concurrent = c.Concurrent()
	}
	type opened struct {
		i   int
		tr  trace.Trace
		err error
	}
	traces := make(chan opened)
	var taken atomic.Int64
	var workers sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		workers.Go(func() {
			for concurrent && ctx.Err() == nil {
				i := int(taken.Add(1)) - 1
				if i >= n {
					return
				}
				tr, err := open(i)
				take(i, tr, err)
				tell()
			}
			for o := range traces {
				if ctx.Err() == nil {
					take(o.i, o.tr, o.err)
				}
			}
		})
	}
	for i := 0; !concurrent && i < n && ctx.Err() == nil; i++ {
		tell()
		tr, err := open(i)
		select {
		case traces <- opened{i, tr, err}:
		case <-ctx.Done():
		}
	}
	close(traces)
	workers.Wait()
	tell()
	if untried > 0 {
		return ctx.Err()
	}
	return nil
}

// inMemory is a source of traces that are there already.
type inMemory []trace.Trace

func (s inMemory) Len() int                        { return len(s) }
func (s inMemory) Open(i int) (trace.Trace, error) { return s[i], nil }
func (s inMemory) Name(i int) string               { return s[i].From }
func (s inMemory) Concurrent() bool                { return true }
