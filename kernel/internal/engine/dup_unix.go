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
