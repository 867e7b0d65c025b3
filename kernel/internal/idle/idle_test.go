package idle

import (
	"runtime"
	"testing"
	"time"
)

var kept []byte

// Garbage is given back once the process is idle, and not before.
func TestIdleGivesMemoryBack(t *testing.T) {
	timer := NewTimer()
	timer.Begin()
	for range 64 { // small ones, which a collection does not come for
		kept = make([]byte, 1<<20)
		for i := range kept {
			kept[i] = 1
		}
	}
	held := heapHeld()
	kept = nil
	time.Sleep(2 * pause)
	if now := heapHeld(); now < held/2 {
		t.Errorf("a busy process gave back %d of %d bytes", held-now, held)
	}
	timer.End()
	for range 50 {
		time.Sleep(pause / 3)
		if _, more := heap(); more <= least {
			return
		}
	}
	_, more := heap()
	t.Errorf("%d bytes are held in vain", more)
}

func heapHeld() uint64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapSys - m.HeapReleased
}
