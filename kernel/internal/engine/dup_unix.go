//go:build !windows

package engine

import (
	"os"
	"syscall"
)

// duplicate returns a second handle of f, which stays open if a cell closes f.
func duplicate(f *os.File) (*os.File, error) {
	fd, err := syscall.Dup(int(f.Fd()))
	if err != nil {
		return nil, err
	}
	syscall.CloseOnExec(fd)
	return os.NewFile(uintptr(fd), f.Name()), nil
}

// inherited returns a file that the front has handed down. Waiting for it is
// left to the Go runtime's poller, which wakes up sooner than a thread does.
func inherited(fd uintptr, name string) *os.File {
	_ = syscall.SetNonblock(int(fd), true) // without it the file works too
	syscall.CloseOnExec(int(fd))           // a program that a cell starts and that outlives us must not hold it
	return os.NewFile(fd, name)
}
