package engine

import (
	"sync"
	"time"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/pipe"
)

// updatePause is how often a display is shown anew. What comes sooner waits,
// and only the last of it is shown.
const updatePause = 100 * time.Millisecond

// updates are what displays are to show next.
type updates struct {
	mu      sync.Mutex
	shown   map[string]time.Time // when a display was last sent; older ones are forgotten
	waiting map[string]*pipe.Message
	order   []string // of those that wait
	timer   *time.Timer
}

// show sends a value that a cell displays, or keeps it for a moment if it takes
// the place of one sent just before.
func (e *engine) show(b display.Bundle, id string, update bool) {
	e.display(&pipe.Message{Kind: pipe.Display, Data: b.Data, Metadata: b.Metadata, Name: id, Flag: update})
}

func (e *engine) display(m *pipe.Message) {
	if m.Name == "" {
		e.send(m)
		return
	}
	u, now := &e.updates, time.Now()
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.shown == nil {
		u.shown, u.waiting = map[string]time.Time{}, map[string]*pipe.Message{}
	}
	if !m.Flag {
		u.flushLocked(e)
	} else if soon := u.shown[m.Name].Add(updatePause).Sub(now); soon > 0 {
		if u.waiting[m.Name] == nil {
			u.order = append(u.order, m.Name)
		}
		u.waiting[m.Name] = m
		if u.timer == nil {
			u.timer = time.AfterFunc(soon, func() { u.flush(e) })
		}
		return
	}
	u.shown[m.Name] = now
	e.send(m)
}

// flush sends what waits.
func (u *updates) flush(e *engine) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.flushLocked(e)
}

func (u *updates) flushLocked(e *engine) {
	if u.timer != nil {
		u.timer.Stop()
		u.timer = nil
	}
	now := time.Now()
	for id, at := range u.shown {
		if now.Sub(at) > updatePause {
			delete(u.shown, id)
		}
	}
	for _, id := range u.order {
		u.shown[id] = now
		e.send(u.waiting[id])
		delete(u.waiting, id)
	}
	u.order = u.order[:0]
}
