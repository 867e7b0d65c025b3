package idle

import (
	"runtime/debug"
	"testing"
	"time"
)

var sink []byte

// Garbage is given back once the process is idle, and not before.
func TestIdleGivesMemoryBack(t *testing.T) {
	defer debug.SetGCPercent(debug.SetGCPercent(-1)) // nobody else is to collect it
	timer := NewTimer()
	timer.Begin()
	const garbage = 64 << 20
	for range garbage >> 20 {
		sink = make([]byte, 1<<20)
	}
	sink = nil
	time.Sleep(2 * pause)
	if _, more := heap(); more < garbage-least {
		t.Errorf("a busy process holds %d bytes of %d", more, garbage)
	}
	timer.End()
	var more uint64
	for range 50 {
		time.Sleep(pause / 3)
		if _, more = heap(); more <= least {
			return
		}
	}
	t.Errorf("an idle process holds %d bytes in vain", more)
}
