package kernel

import (
	"bytes"
	"context"
	"strings"
	"sync/atomic"
	"testing"
	"time"
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
	if n := len(last.output); n > maxOutput+4 || n < maxOutput || !strings.HasSuffix(last.output, "µ…") {
		t.Errorf("%d bytes", n)
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
