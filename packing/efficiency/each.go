package efficiency

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"github.com/evenbed/evenbed/packing/task"
	"github.com/evenbed/evenbed/packing/trace"
)

// errNotDone stands for the work that was not done since all of it was stopped.
var errNotDone = errors.New("not evaluated")

// evaluateEach opens every trace of a source and evaluates it over all
// processors; as many are under way as there are. No trace is kept. Where they
// cannot be opened at once, the calling goroutine opens them, one at a time, and
// one waits; else each goroutine opens the next itself, which keeps all of them
// busy.
//
// A panic of one is its error and stops no other. When the monitor's context is
// done, what is under way ends, and the error is the context's. The rows of what
// was not tried or stopped half way have no number.
//
// The garbage collector goes through all rows again and again while traces come
// and go, so they hold little that it must follow: those that say the same share
// their warnings.
func (p Pulse) evaluateEach(source trace.Source) ([]PulseRow, error) {
	const label = "pulse tests"
	m := task.Default()
	ctx := m.Context()
	n := source.Len()
	rows := make([]PulseRow, n)
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
	finished := 0
	tell := func() { // with the lock, so that no number comes before a smaller one
		progress.Lock()
		defer progress.Unlock()
		m.Progress(label, finished, n)
	}
	var said atomic.Pointer[[]Warning] // by one of the rows
	evaluate := func(i int, tr trace.Trace, err error) {
		row := newPulseRow(PulseResult{})
		if err == nil {
			err = contained(func() error {
				r, err := p.Evaluate(tr)
				row = newPulseRow(r)
				return err
			})
		}
		progress.Lock()
		finished++
		progress.Unlock()
		if err == errNotDone {
			return
		}
		row.Warnings = slices.Clip(row.Warnings)
		if last := said.Load(); last != nil && slices.Equal(*last, row.Warnings) {
			row.Warnings = *last
		} else {
			said.Store(&row.Warnings)
		}
		row.Number, row.File, row.Signal, row.Err = i+1, tr.From, tr.Name, err
		rows[i] = row
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
				evaluate(i, tr, err)
				tell()
			}
			for o := range traces {
				if ctx.Err() == nil {
					evaluate(o.i, o.tr, o.err)
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
	if named, ok := source.(interface{ Name(i int) string }); ok {
		for i := range rows {
			rows[i].File = named.Name(i)
		}
	}
	if slices.ContainsFunc(rows, PulseRow.untried) {
		return rows, ctx.Err()
	}
	return rows, nil
}

// inMemory is a source of traces that are there already.
type inMemory []trace.Trace

func (s inMemory) Len() int                        { return len(s) }
func (s inMemory) Open(i int) (trace.Trace, error) { return s[i], nil }
func (s inMemory) Name(i int) string               { return s[i].From }
func (s inMemory) Concurrent() bool                { return true }
