package host

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/pipe"
)

// A cell that writes without end takes no more than its share of the disk, a
// later one takes the room of the first, and nothing stays behind.
func TestOverflowIsBounded(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	over := &overflow{max: 1 << 20}
	l := limiter{over: over}
	var shown int
	for range 100 {
		shown += len(l.text([]byte(strings.Repeat("x", 64<<10))))
	}
	note := l.close()
	if shown != maxShown || !strings.Contains(note, "more than 512 KiB of text; the next 1 MiB are in ") || !strings.Contains(note, "what came after was left out") {
		t.Errorf("%d bytes shown, and then %q", shown, note)
	}
	if n := size(t, over.dir); n != 1<<20 {
		t.Errorf("%d bytes kept", n)
	}
	first := over.dir
	l.text([]byte(strings.Repeat("y", 1<<20)))
	note = l.close()
	if _, path, _ := strings.Cut(note, " is in "); !strings.HasPrefix(path, first) || !strings.Contains(note, "the rest is in") {
		t.Errorf("note of the second cell: %q", note)
	}
	if n := size(t, over.dir); n != 512<<10 {
		t.Errorf("%d bytes kept of the second cell", n)
	}
	over.remove()
	if _, err := os.Stat(first); !os.IsNotExist(err) {
		t.Errorf("the folder is still there: %v", err)
	}
}

func TestOverflowNotKept(t *testing.T) {
	var l limiter
	l.text([]byte(strings.Repeat("x", maxShown+1)))
	if got := l.close(); got != "\n[more than 512 KiB of text; the rest was left out]\n" {
		t.Errorf("%q", got)
	}
}

// A picture or a failure that no client could take is told of in words.
func TestLargeOutputs(t *testing.T) {
	var l limiter
	o := l.output(Display{Bundle: display.Bundle{Data: map[string][]byte{
		display.MIMETypePNG: make([]byte, maxPart+1), display.MIMETypeHTML: []byte("<b>small</b>"), display.MIMETypeText: []byte("a picture"),
	}}}).(Display)
	if got := string(o.Data[display.MIMETypeText]); o.Data[display.MIMETypePNG] != nil || len(o.Data) != 2 ||
		got != "a picture\n[image/png of 64 MiB is not shown; at most 64 MiB are]" {
		t.Errorf("%q, %d parts", got, len(o.Data))
	}
	f := failure(&pipe.Message{Text: strings.Repeat("é", 1<<20), Lines: []string{"short", strings.Repeat("x", 1<<20)}})
	if len(f.Message) > maxFailure+40 || !strings.HasSuffix(f.Message, "é… [and 2031616 bytes more]") || f.Traceback[0] != "short" || len(f.Traceback[1]) > maxFailure+40 {
		t.Errorf("%d bytes, ending in %q; %d bytes", len(f.Message), f.Message[len(f.Message)-30:], len(f.Traceback[1]))
	}
}

// What a killed session left behind goes when another needs room; what belongs to
// one that lives stays.
func TestSweep(t *testing.T) {
	temp := t.TempDir()
	folder := func(name string, old bool) string {
		dir := filepath.Join(temp, overflowFolder+name)
		if err := os.Mkdir(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		if old {
			ago := time.Now().Add(-time.Hour)
			if err := os.Chtimes(dir, ago, ago); err != nil {
				t.Fatal(err)
			}
		}
		return dir
	}
	alive, dead, young := folder("alive", false), folder("dead", true), folder("young", false)
	lock, err := lockFile(filepath.Join(alive, "lock"))
	if err != nil {
		t.Fatal(err)
	}
	defer lock.Close()
	ago := time.Now().Add(-time.Hour)
	if err := os.Chtimes(alive, ago, ago); err != nil {
		t.Fatal(err)
	}
	sweep(temp)
	for dir, want := range map[string]bool{alive: true, dead: false, young: true} {
		if _, err := os.Stat(dir); (err == nil) != want {
			t.Errorf("%s: there is %v, want %v", filepath.Base(dir), err == nil, want)
		}
	}
}

func size(t *testing.T, dir string) int64 {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.txt"))
	if err != nil {
		t.Fatal(err)
	}
	var n int64
	for _, f := range files {
		info, err := os.Stat(f)
		if err != nil {
			t.Fatal(err)
		}
		n += info.Size()
	}
	return n
}
