package engine

import (
	"fmt"
	"runtime"
	"runtime/metrics"
	"time"

	"github.com/evenbed/evenbed/kernel/internal/host"
)

// memoryPause is how often the engine looks how much memory it uses.
const memoryPause = 50 * time.Millisecond

// watchMemory calls end when more than the limit is in use that cannot be given
// back. The runtime's own limit lets it collect garbage more often before that.
func watchMemory(limit int64, end func(why string)) {
	for {
		time.Sleep(memoryPause)
		if inUse() <= limit {
			continue
		}
		runtime.GC() // what is over the limit may all be garbage
		if inUse() > limit {
			end(fmt.Sprintf("memory limit %s reached", host.MemoryText(limit)))
			return
		}
	}
}

// inUse returns how many bytes the program has, without those that it has given
// back to the operating system.
func inUse() int64 {
	s := []metrics.Sample{{Name: "/memory/classes/total:bytes"}, {Name: "/memory/classes/heap/released:bytes"}, {Name: "/memory/classes/heap/free:bytes"}}
	metrics.Read(s)
	return int64(s[0].Value.Uint64() - s[1].Value.Uint64() - s[2].Value.Uint64())
}
