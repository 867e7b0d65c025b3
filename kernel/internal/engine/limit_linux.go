package engine

import "syscall"

// limitBySystem sets a limit of the operating system behind our own, for a cell that
// takes memory faster than the watch looks. It is wider, since the system counts
// what could be given back.
func limitBySystem(bytes int64) error {
	most := 2*uint64(bytes) + 256<<20
	return syscall.Setrlimit(syscall.RLIMIT_DATA, &syscall.Rlimit{Cur: most, Max: most})
}
