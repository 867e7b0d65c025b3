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

// each does work for every i from 0 to n-1 over all processors and returns the
// error of each in its place. The calling goroutine makes what the work on i
// needs with next, one at a time; work runs in several. As many are under way
// as there are processors, and one waits. Without next, each goroutine takes
// the next i itself, which keeps all of them busy.
//
// A panic of one is its error and stops no other. When the monitor's context is
// done, what is under way ends, and the rest has the error errNotDone, as has
// what was stopped half way. The error that each itself returns is then the
// context's.
func each[T any](label string, n int, next func(i int) T, work func(i int, with T) error) ([]error, error) {
	type item struct {
		i    int
		with T
	}
	m := task.Default()
	ctx := m.Context()
	errs := make([]error, n)
	for i := range errs {
		errs[i] = errNotDone
	}
	contained := func(i int, do func() error) {
		defer func() {
			fault := recover()
			if fault != nil {
				errs[i] = fmt.Errorf("the evaluation broke off: %v; keep the trace and report it", fault)
			}
			if errs[i] != nil && ctx.Err() != nil && (fault != nil || errors.Is(errs[i], context.Canceled) || errors.Is(errs[i], context.DeadlineExceeded)) {
				errs[i] = errNotDone
			}
		}()
		errs[i] = do()
	}

	items := make(chan item)
	var finished, taken atomic.Int64
	var workers sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		workers.Go(func() {
			do := func(t item) {
				contained(t.i, func() error { return work(t.i, t.with) })
				done := finished.Add(1)
				if next == nil {
					m.Progress(label, int(done), n)
				}
			}
			for next == nil && ctx.Err() == nil {
				i := int(taken.Add(1)) - 1
				if i >= n {
					return
				}
				do(item{i: i})
			}
			for t := range items {
				if ctx.Err() == nil {
					do(t)
				}
			}
		})
	}
	for i := 0; next != nil && i < n && ctx.Err() == nil; i++ {
		m.Progress(label, int(finished.Load()), n)
		t := item{i: i}
		contained(i, func() error {
			t.with = next(i)
			return nil
		})
		if errs[i] != nil {
			finished.Add(1)
			continue
		}
		errs[i] = errNotDone
		select {
		case items <- t:
		case <-ctx.Done():
		}
	}
	close(items)
	workers.Wait()
	m.Progress(label, int(finished.Load()), n)
	for _, err := range errs {
		if errors.Is(err, errNotDone) {
			return errs, ctx.Err()
		}
	}
	return errs, nil
}

// An evaluated is what became of one trace of several.
type evaluated[R any] struct {
	name   string // of file or trace; may be empty
	signal string
	result R
	err    error // why there is no result; errNotDone if it was not tried
}

// evaluateEach opens every trace of a source and evaluates it. No trace is kept.
// The error is that of a stop.
func evaluateEach[R any](source trace.Source, label string, evaluate func(trace.Trace) (R, error)) ([]evaluated[R], error) {
	type opened struct {
		tr  trace.Trace
		err error
	}
	n := source.Len()
	all := make([]evaluated[R], n)
	named, _ := source.(interface{ Name(i int) string })
	concurrent := false
	if c, ok := source.(interface{ Concurrent() bool }); ok {
		concurrent = c.Concurrent()
	}
	open := func(i int) (o opened) {
		o.tr, o.err = source.Open(i)
		return o
	}
	next := open
	if concurrent {
		next = nil
	}
	errs, stopped := each(label, n, next, func(i int, o opened) error {
		if concurrent {
			o = open(i)
		}
		if o.err != nil {
			return o.err
		}
		all[i].name, all[i].signal = o.tr.From, o.tr.Name
		var err error
		all[i].result, err = evaluate(o.tr)
		return err
	})
	for i := range all {
		all[i].err = errs[i]
		if named != nil {
			all[i].name = named.Name(i)
		}
	}
	return all, stopped
}

// inMemory is a source of traces that are there already.
type inMemory []trace.Trace

func (s inMemory) Len() int                        { return len(s) }
func (s inMemory) Open(i int) (trace.Trace, error) { return s[i], nil }
func (s inMemory) Name(i int) string               { return s[i].From }
func (s inMemory) Concurrent() bool                { return true }
