package engine

import (
	"os"
	"syscall"
)

// duplicate returns a second handle of f, which stays open if a cell closes f.
func duplicate(f *os.File) (*os.File, error) {
	p, err := syscall.GetCurrentProcess()
	if err != nil {
		return nil, err
	}
	var h syscall.Handle
	if err := syscall.DuplicateHandle(p, syscall.Handle(f.Fd()), p, &h, 0, false, syscall.DUPLICATE_SAME_ACCESS); err != nil {
		return nil, err
	}
	return os.NewFile(uintptr(h), f.Name()), nil
}

// inherited returns a file that the front has handed down.
func inherited(fd uintptr, name string) *os.File { return os.NewFile(fd, name) }
