package kernel

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/evenbed/evenbed/kernel/internal/wire"
)

func TestAKernelDoesNotOutliveItsFrontEnd(t *testing.T) {
	var looks atomic.Int32
	ctx, stop := context.WithCancel(context.Background())
	outlive(ctx, stop, func() bool { return looks.Add(1) < 3 }, time.Millisecond)
	if ctx.Err() == nil || looks.Load() != 3 {
		t.Errorf("stopped: %v, after %d looks", ctx.Err(), looks.Load())
	}
	// Once stopped by something else it looks no more.
	looks.Store(0)
	outlive(ctx, func() { t.Error("stopped twice") }, func() bool { looks.Add(1); return true }, time.Hour)
}

// A client whose clock was set back by an hour after a failed cell goes on working.
func TestAClockSetBack(t *testing.T) {
	q := queue{wake: make(chan struct{}, 1)}
	now := time.Now()
	push := func(sent, came time.Time) *job {
		r := &request{Message: &wire.Message{Header: wire.Header{Session: "s", Date: wire.Date(sent)}}, at: came}
		q.push(r)
		return q.next()
	}
	q.abortAfter(push(now, now), now.Add(time.Second))
	for _, tc := range []struct {
		sent, came time.Duration // after the failed cell was sent
		aborted    bool
	}{
		{500 * time.Millisecond, time.Second, true},             // on its way when the cell failed
		{500 * time.Millisecond, 2500 * time.Millisecond, true}, // and slowly
		{1500 * time.Millisecond, 1500 * time.Millisecond, false},
		{-time.Hour, 4 * time.Second, false}, // nothing is on its way for so long
		{-time.Hour, 24 * time.Hour, false},
	} {
		if j := push(now.Add(tc.sent), now.Add(tc.came)); q.aborts(j) != tc.aborted {
			t.Errorf("sent after %v, came in after %v: aborted is %v", tc.sent, tc.came, !tc.aborted)
		}
	}
}

func TestTheHistoryIsBounded(t *testing.T) {
	var h history
	for i := range maxEntries + 5 {
		h.add(entry{number: i})
	}
	h.add(entry{number: 1, output: strings.Repeat("µ", maxOutput)})
	last := h.entries[len(h.entries)-1]
	if n := len(h.entries); n > maxEntries || n < maxEntries/2 || h.entries[n-2].number != maxEntries+4 {
		t.Errorf("%d entries", n)
	}
	long := strings.Repeat("x", maxCell)
	for i := range 2 * maxSize / maxCell {
		h.add(entry{number: i, input: long})
	}
	held := 0
	for _, e := range h.entries {
		held += e.size()
	}
	if held != h.size || held > maxSize || held < maxSize-2*maxCell {
		t.Errorf("%d bytes are held, %d are counted, of at most %d", held, h.size, maxSize)
	}
	h.add(entry{input: long + "x"})
	if got := h.entries[len(h.entries)-1].input; got != "// A cell of 1048577 bytes, which is too long for the history." {
		t.Errorf("%.100q", got)
	}
	if n := len(last.output); n > maxOutput+4 || n < maxOutput || !strings.HasSuffix(last.output, "µ…") {
		t.Errorf("%d bytes", n)
	}
}

// A cell that ends while a long file is read does not wait, and is saved.
func TestHistorySavedWhileRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "history.jsonl")
	line := "{\"session\":\"old\",\"number\":1,\"input\":\"" + strings.Repeat("x", 1000) + "\"}\n"
	if err := os.WriteFile(path, []byte(strings.Repeat(line, 1500)), 0o600); err != nil {
		t.Fatal(err)
	}
	var h history
	h.open(path, "new", func(err error) { t.Error(err) })
	for i := range 3 {
		if err := h.save(entry{number: i + 1, input: "early"}); err != nil {
			t.Fatal(err)
		}
	}
	select {
	case <-h.loaded:
		t.Log("the file was read before the cells were saved")
	default:
	}
	h.wait()
	if err := h.save(entry{number: 4, input: "late"}); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(data), `"early"`); n != 3 || !strings.HasSuffix(string(data), "\"number\":4,\"input\":\"late\"}\n") {
		t.Errorf("%d of 3 early cells are saved, and the file ends with %.80q", n, data[len(data)-80:])
	}
}

// Two kernels at once keep their cells in one file, and a third finds them. A
// line that is broken, as by a kernel that was killed, costs only itself.
func TestHistoryOverSessions(t *testing.T) {
	path := filepath.Join(t.TempDir(), "state", "history.jsonl")
	open := func(id string) *history {
		h := new(history)
		if err := h.load(path, id); err != nil {
			t.Fatal(err)
		}
		return h
	}
	a, b := open("a"), open("b")
	if a.current() != 1 || b.current() != 1 {
		t.Errorf("sessions %d and %d", a.current(), b.current())
	}
	var wait sync.WaitGroup
	for _, h := range []*history{a, b} {
		if err := h.save(entry{number: 1, input: "first of " + h.id}); err != nil {
			t.Fatal(err)
		}
		wait.Go(func() {
			for i := range 200 {
				if err := h.save(entry{number: 2 + i, input: strings.Repeat("x", 5000) + "\n" + h.id}); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wait.Wait()
	if err := a.save(entry{number: 300, input: strings.Repeat("x", maxInput+1)}); err != nil {
		t.Error(err)
	}
	if info, err := os.Stat(path); err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 || info.Size() < 400*5000 {
		t.Errorf("%v, %v", info, err)
	}
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteString("{\"session\":\"c\",\"numb\n"); err != nil {
		t.Fatal(err)
	}
	f.Close()
	h := open("d")
	if h.current() != 3 || len(h.entries) != 402 {
		t.Fatalf("session %d, %d entries", h.current(), len(h.entries))
	}
	h.add(entry{number: 1, input: "mine"})
	for _, tc := range []struct {
		q    wire.History
		want int
	}{
		{wire.History{Access: "range"}, 1}, {wire.History{Access: "range", Session: 3}, 1}, {wire.History{Access: "range", Session: -1}, 201},
		{wire.History{Access: "range", Session: 1, Stop: 2}, 1}, {wire.History{Access: "range", Session: -9}, 0},
		{wire.History{Access: "search", Pattern: "first of *"}, 2}, {wire.History{Access: "tail", N: 5}, 5},
	} {
		if got := h.find(tc.q); len(got) != tc.want {
			t.Errorf("%+v: %d entries, want %d", tc.q, len(got), tc.want)
		}
	}
	// A file that has grown too long loses its older half.
	for i := range 40 {
		if err := h.save(entry{number: i + 1, input: strings.Repeat("y", 5000)}); err != nil {
			t.Fatal(err)
		}
	}
	h = open("e")
	if info, err := os.Stat(path); err != nil || info.Size() > maxHistory/2 || info.Size() < maxHistory/2-6000 || h.entries[len(h.entries)-1].number != 40 {
		t.Errorf("%v, %v", info, err)
	}
	// A cell may run before the file has been read.
	early := new(history)
	early.open(path, "f", func(err error) { t.Error(err) })
	early.add(entry{number: 1, input: "early"})
	if got := early.find(wire.History{Access: "tail", N: 2}); len(got) != 2 || got[0].number != 40 || got[1].input != "early" || got[1].session != early.current() || got[0].session != got[1].session-1 {
		t.Errorf("the end of the history is %+v", got)
	}
	h.path = filepath.Join(path, "below a file")
	if h.save(entry{number: 1, input: "lost"}) == nil || h.save(entry{number: 2, input: "lost"}) != nil {
		t.Error("a file that cannot be written is not said once")
	}
}

func TestTheLogIsShort(t *testing.T) {
	var b bytes.Buffer
	l := logger{w: &b}
	for range 1000 {
		l.print("again")
	}
	if n := strings.Count(b.String(), "again"); n != logLines {
		t.Errorf("%d lines", n)
	}
	l.window = l.window.Add(-2 * logWindow)
	l.print("later")
	if !strings.Contains(b.String(), "980 more") || !strings.Contains(b.String(), "later") {
		t.Error(b.String())
	}
}
