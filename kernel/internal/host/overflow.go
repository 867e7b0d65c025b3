package host

import (
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// maxKept bounds the text that the files of one session hold together.
const maxKept = 100 << 20

// An overflow keeps the text of cells beyond what is shown, in files that last as
// long as the session. A new file takes the room of the oldest ones. A nil
// *overflow keeps nothing.
type overflow struct {
	max int64 // bytes in all files

	mu    sync.Mutex
	dir   string
	lock  *os.File // held while the session lives, so that the folder is not taken for a left-over
	files []*kept  // oldest first
	size  int64
	count int
}

// kept is one file of an overflow.
type kept struct {
	file *os.File
	size int64
	full bool // text was left out
}

const overflowFolder = "evenbed-output-"

// create begins a file.
func (o *overflow) create() (*kept, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.dir == "" {
		sweep(os.TempDir())
		dir, err := os.MkdirTemp("", overflowFolder+"*")
		if err != nil {
			return nil, err
		}
		if o.lock, err = lockFile(filepath.Join(dir, "lock")); err != nil {
			os.RemoveAll(dir)
			return nil, err
		}
		o.dir = dir
	}
	o.count++
	f, err := os.Create(filepath.Join(o.dir, fmt.Sprintf("output-%d.txt", o.count)))
	if err != nil {
		return nil, err
	}
	k := &kept{file: f}
	o.files = append(o.files, k)
	return k, nil
}

// write adds text to a file, as far as there is room.
func (o *overflow) write(k *kept, b []byte) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	for o.size+int64(len(b)) > o.max && o.files[0] != k {
		old := o.files[0]
		o.files = o.files[1:]
		o.size -= old.size
		os.Remove(old.file.Name()) // it takes room in vain if it stays, and goes with the folder
	}
	if room := o.max - o.size; int64(len(b)) > room {
		b, k.full = b[:room], true
	}
	n, err := k.file.Write(b)
	k.size += int64(n)
	o.size += int64(n)
	return err
}

// remove removes all files.
func (o *overflow) remove() {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.dir == "" {
		return
	}
	for _, k := range o.files {
		k.file.Close() // if it is open still: Windows removes no open file
	}
	o.lock.Close()
	os.RemoveAll(o.dir)
	o.dir, o.files, o.size = "", nil, 0
}

// sweep removes what sessions left behind that were killed: folders whose lock
// nobody holds.
func sweep(temp string) {
	found, _ := filepath.Glob(filepath.Join(temp, overflowFolder+"*"))
	for _, dir := range found {
		info, err := os.Lstat(dir)
		if err != nil || !info.IsDir() || time.Since(info.ModTime()) < time.Minute {
			continue // one that has just been made has no lock yet
		}
		if f, err := lockFile(filepath.Join(dir, "lock")); err == nil {
			f.Close()
			os.RemoveAll(dir)
		}
	}
}
