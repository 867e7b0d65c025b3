// Package task lets long work be watched and stopped.
//
// A function that may take longer than a blink asks [Default] for a [Monitor],
// reports how far it is and looks at the context between steps:
//
//	m := task.Default()
//	for i := range columns {
//		if err := m.Context().Err(); err != nil {
//			return err
//		}
//		m.Progress("fitting", i, len(columns))
//		...
//	}
//
// It imports nothing of ours; a notebook's engine sets the default once.
package task

import (
	"context"
	"sync/atomic"
)

// A Monitor watches long work. Its methods may be called from several
// goroutines.
type Monitor interface {
	// Context is done when the work shall stop.
	Context() context.Context
	// Progress tells that done of total steps of the work named label are over.
	// A total of zero means that it is not known.
	Progress(label string, done, total int)
}

// current is the one variable of this library that changes: a notebook's engine
// sets it when it starts, so that calls from cells need no extra argument.
var current atomic.Pointer[Monitor]

// SetDefault makes m the monitor that Default returns. It is meant to be called
// once, at the start of a program; nil takes the monitor away.
func SetDefault(m Monitor) {
	if m == nil {
		current.Store(nil)
		return
	}
	current.Store(&m)
}

// Default returns the monitor set for the program, or one that never stops work
// and shows nothing. It is never nil.
func Default() Monitor {
	if m := current.Load(); m != nil {
		return *m
	}
	return silent{}
}

// silent is the monitor of a program that set none.
type silent struct{}

func (silent) Context() context.Context  { return context.Background() }
func (silent) Progress(string, int, int) {}
