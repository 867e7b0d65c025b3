package trace

// A Source gives many traces, one at a time, so that not all of them have to be
// in memory. Package record makes one of a folder of files.
//
// Two more methods are used if a source has them:
//
//	Name(i int) string   what trace i is called in a report, as a file's name
//	Concurrent() bool    true: Open may be called from several goroutines at once
//
// Without the second, Open is called by one goroutine only, the one that asked
// for the work. A type declared in a notebook always is such a source.
type Source interface {
	// Len returns the number of traces.
	Len() int
	// Open returns trace i, from 0.
	Open(i int) (Trace, error)
}
