//go:build unix

package record

import (
	"os"
	"syscall"
)

// mapFile maps a file, so that its bytes need no memory of their own.
func mapFile(f *os.File, size int64) (content, bool) {
	if int64(int(size)) != size {
		return content{}, false
	}
	data, err := syscall.Mmap(int(f.Fd()), 0, int(size), syscall.PROT_READ, syscall.MAP_PRIVATE)
	if err != nil {
		return content{}, false
	}
	return content{data, func() { syscall.Munmap(data) }}, true
}
