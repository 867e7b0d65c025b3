// Package idle gives memory back to the operating system when a process has
// had nothing to do for a moment.
//
// The runtime collects garbage when more is allocated. A kernel that waits for
// its user allocates nothing, so what its start, or a cell, has used and needs
// no more would stay for as long as the user thinks.
package idle

import (
	"runtime/debug"
	"runtime/metrics"
	"time"
)

// pause is how long nothing must happen. It is longer than the time between
// two cells of a notebook that runs as a whole, so that none pays for this.
const pause = 300 * time.Millisecond

// A Timer measures how long a process has been idle.
type Timer struct{ timer *time.Timer }

// NewTimer returns a timer of a process that is idle.
func NewTimer() Timer { return Timer{time.AfterFunc(pause, release)} }

// Begin says that the process has something to do.
func (t Timer) Begin() { t.timer.Stop() }

// End says that it has nothing to do any more.
func (t Timer) End() { t.timer.Reset(pause) }

// least is how many bytes are worth the work.
const least = 1 << 20

// release collects garbage and gives back what is free, unless that is little
// beside what is in use, which the collector must walk through.
func release() {
	if live, more := heap(); more > max(least, live/4) {
		debug.FreeOSMemory()
	}
}

// heap returns how many bytes the last collection found in use, and how many
// more the heap has that are not given back.
func heap() (live, more uint64) {
	s := []metrics.Sample{{Name: "/gc/heap/live:bytes"}, {Name: "/memory/classes/heap/objects:bytes"}, {Name: "/memory/classes/heap/free:bytes"}}
	metrics.Read(s)
	live = s[0].Value.Uint64()
	return live, max(s[1].Value.Uint64(), live) - live + s[2].Value.Uint64()
}
