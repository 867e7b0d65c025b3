package engine

import (
	"runtime"
	"runtime/debug"
)

// lockTypes locks what the interpreter knows of types for one who may add to it,
// as each compilation does, and returns what unlocks it. running says that a cell
// runs meanwhile.
//
// The interpreter keeps types in maps without a lock, in which running code
// looks, and Go ends a process that reads a map while it is written. So as long as
// other code may run, all share one processor: Go stops nobody amid a map for
// another's turn, but after ten milliseconds or for the garbage collector, which
// waits.
func (in *interp) lockTypes(running bool) (unlock func()) {
	in.compMu.Lock()
	in.goMu.Lock()
	running = running || len(in.gos) > 0
	in.goMu.Unlock()
	if !running {
		return in.compMu.Unlock
	}
	gc := debug.SetGCPercent(-1)
	processors := runtime.GOMAXPROCS(1)
	return func() {
		runtime.GOMAXPROCS(processors)
		debug.SetGCPercent(gc)
		in.compMu.Unlock()
	}
}
