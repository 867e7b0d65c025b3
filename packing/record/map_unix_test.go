//go:build unix

package record

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/evenbed/evenbed/packing/task"
)

// A mapped file that another program cuts short is a refusal, wherever the
// reading is at that moment.
func TestFileBecomesShorter(t *testing.T) {
	long := []byte("Time (min),UV (mAU)\n")
	for i := 0; len(long) < 2*mapFrom; i++ {
		long = fmt.Appendf(long, "%d.25,%d.125\n", i, i%1000)
	}
	var wide bytes.Buffer
	for _, c := range long {
		wide.Write([]byte{c, 0})
	}
	for _, tc := range []struct {
		name string
		data []byte
	}{
		{"text", long},
		{"UTF-16", wide.Bytes()},
		{"netCDF", slices.Concat([]byte("CDF\x01"), long)},
		{"Parquet", slices.Concat([]byte("PAR1"), long)},
		{"gzip", slices.Concat(gzipped(t, long)[:10], long)},
	} {
		for _, left := range []int64{0, 64 << 10, 4 << 20} {
			path := filepath.Join(t.TempDir(), "cut.csv")
			if err := os.WriteFile(path, tc.data, 0o600); err != nil {
				t.Fatal(err)
			}
			c, err := openFile(path)
			if err != nil || c.release == nil {
				t.Fatalf("%s is not mapped: %v", tc.name, err)
			}
			if err := os.Truncate(path, left); err != nil {
				t.Fatal(err)
			}
			_, err = Options{}.readOpen(path, c)
			if left == 0 || tc.name == "text" || tc.name == "UTF-16" {
				refused(t, err, path+": the file became shorter while it was read; copy it first and read the copy")
			} else {
				refused(t, err)
			}
			c.close()
		}
	}
	// So is one that is cut short when only its digest is still to be taken.
	path := filepath.Join(t.TempDir(), "cut.csv")
	if err := os.WriteFile(path, long, 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := openFile(path)
	if err != nil {
		t.Fatal(err)
	}
	defer c.close()
	if err := os.Truncate(path, 4<<20); err != nil {
		t.Fatal(err)
	}
	_, err = digest(task.Default().Context(), c.data)(false)
	refused(t, located(path, err), "the file became shorter")
}
