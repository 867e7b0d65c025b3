// Package idle gives memory back to the operating system when a process has
// had nothing to do for a moment.
//
// The runtime collects garbage when more is allocated. A kernel that waits for
// its user allocates nothing, so what its start, or a cell, has used and needs
// no more would stay for as long as the user thinks. So would the pages of the
// program itself that only its start has read.
package idle

import (
	"runtime/debug"
	"runtime/metrics"
	"sync"
	"time"
)

// pause is how long nothing must happen. It is longer than the time between
// two cells of a notebook that runs as a whole, so that none pays for this.
const pause = 300 * time.Millisecond

// A Timer measures how long a process has been idle. It rings and looks, at most
// once in a pause: to set a timer anew often wakes up a thread, which many small
// cells would pay for.
type Timer struct {
	mu    sync.Mutex
	timer *time.Timer
	set   bool      // the timer will ring
	busy  bool      // the process has something to do
	since time.Time // when it had nothing to do any more
}

// NewTimer returns a timer of a process that is idle.
func NewTimer() *Timer {
	t := &Timer{set: true, since: time.Now()}
	t.timer = time.AfterFunc(pause, t.ring)
	return t
}

// Begin says that the process has something to do.
func (t *Timer) Begin() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.busy = true
}

// End says that it has nothing to do any more.
func (t *Timer) End() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.busy, t.since = false, time.Now()
	t.reset(pause)
}

// reset makes the timer ring if it is not about to. t.mu is held.
func (t *Timer) reset(d time.Duration) {
	if !t.set {
		t.set = true
		t.timer.Reset(d)
	}
}

func (t *Timer) ring() {
	if t.rested() {
		release()
		releaseProgram(worth)
	}
}

// rested reports whether the process has had nothing to do for a pause. If that
// may come to be without another End, the timer will ring again.
func (t *Timer) rested() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.set = false
	left := pause - time.Since(t.since)
	if !t.busy && left > 0 {
		t.reset(left)
	}
	return !t.busy && left <= 0
}

// least is how many bytes are worth the work.
const least = 1 << 20

// worth is how many bytes of the program, of which a start maps some 30 million,
// are worth the millisecond by which the next cell is later.
const worth = 12 << 20

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
