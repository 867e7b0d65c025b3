//go:build !windows

package host

import (
	"os"
	"syscall"
)

// lockFile makes a file, if there is none, and holds its lock until it is closed
// or the process has ended. It does not wait for another process that has it.
func lockFile(name string) (*os.File, error) {
	f, err := os.OpenFile(name, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}
