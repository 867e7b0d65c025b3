package engine

import (
	"context"
	"fmt"
	"sync"
	"time"

	"github.com/evenbed/evenbed/kernel/display"
)

// monitor lets long calls of library functions be interrupted and watched.
type monitor struct{ e *engine }

func (m monitor) Context() context.Context {
	if cell := m.e.current(); cell != nil {
		return cell.ctx
	}
	return context.Background()
}

func (m monitor) Progress(label string, done, total int) {
	m.e.prog.set(m.e, label, done, total)
}

// Progress is shown at most this often, and only of work that lasts.
const (
	progressPause = 100 * time.Millisecond
	progressDelay = 300 * time.Millisecond
)

// progress is one line of text that is shown anew as work goes on.
type progress struct {
	mu     sync.Mutex
	serial int    // of the display
	label  string // "" if no work is watched
	done   int
	total  int
	began  time.Time
	shown  time.Time // zero if nothing has been shown
}

func (p *progress) set(e *engine, label string, done, total int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := time.Now()
	if label != p.label {
		p.finish(e, false)
		p.serial++
		p.label, p.began, p.shown = label, now, time.Time{}
	}
	p.done, p.total = done, total
	if now.Sub(p.began) >= progressDelay && now.Sub(p.shown) >= progressPause {
		p.show(e, p.text(""))
		p.shown = now
	}
}

// end tells how far the work of a cell came that has ended.
func (p *progress) end(e *engine, failed bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.finish(e, failed)
}

func (p *progress) finish(e *engine, failed bool) {
	if !p.shown.IsZero() {
		note := ""
		if failed && p.done < p.total {
			note = ", stopped"
		}
		p.show(e, p.text(note))
	}
	p.label, p.shown = "", time.Time{}
}

func (p *progress) text(note string) string {
	if p.total <= 0 {
		return fmt.Sprintf("%s: %d%s", p.label, p.done, note)
	}
	return fmt.Sprintf("%s: %d of %d (%d %%)%s", p.label, p.done, p.total, 100*p.done/p.total, note)
}

func (p *progress) show(e *engine, text string) {
	e.show(display.Text(text), fmt.Sprintf("evenbed-progress-%d", p.serial), !p.shown.IsZero())
}
