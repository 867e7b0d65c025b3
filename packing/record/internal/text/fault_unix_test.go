//go:build unix

package text

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/evenbed/evenbed/packing/task"
)

// Workers that look at a mapped file end with an error where it became shorter.
func TestFaultInWorker(t *testing.T) {
	path := filepath.Join(t.TempDir(), "cut.csv")
	const size = 4 << 20
	if err := os.WriteFile(path, bytes.Repeat([]byte("1,2\n"), size/4), 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	data, err := syscall.Mmap(int(f.Fd()), 0, size, syscall.PROT_READ, syscall.MAP_PRIVATE)
	if err != nil {
		t.Fatal(err)
	}
	defer syscall.Munmap(data)
	r := &reader{raw: data, monitor: task.Default()}
	if _, err := r.scan(); err != nil {
		t.Fatalf("before it was cut: %v", err)
	}
	if err := os.Truncate(path, size/2); err != nil {
		t.Fatal(err)
	}
	if _, err := r.scan(); err == nil || !strings.Contains(err.Error(), "the file became shorter") {
		t.Errorf("%v, want that the file became shorter", err)
	}
}
