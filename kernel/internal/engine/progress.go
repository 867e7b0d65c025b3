package engine

import (
	"context"
	"fmt"
	"html"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/pipe"
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
	if m.e.current() != nil { // a goroutine that outlives its cell has no display to show it in
		m.e.prog.set(m.e, label, done, total)
	}
}

// Progress is shown at most this often, and only of work that lasts.
const (
	progressPause = 100 * time.Millisecond
	progressDelay = 300 * time.Millisecond
)

// maxLoops bounds how many loops inside each other are shown.
const maxLoops = 8

// progress is one display with a line for each loop that goes on: the outer one
// and those inside it.
type progress struct {
	mu     sync.Mutex
	serial int // of the display
	loops  []loop
	began  time.Time
	shown  time.Time // zero if nothing has been shown
}

// A loop is work that tells how far it is.
type loop struct {
	label       string
	done, total int // a total of 0 is not known
}

func (l loop) over() bool { return l.total > 0 && l.done >= l.total }

func (p *progress) set(e *engine, label string, done, total int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := time.Now()
	i := slices.IndexFunc(p.loops, func(l loop) bool { return l.label == label })
	if i < 0 {
		// The loops that are over make room; if all are, this is other work.
		open := len(p.loops)
		for open > 0 && p.loops[open-1].over() {
			open--
		}
		if open == 0 {
			p.finish(e, false)
			p.serial++
			p.began = now
		}
		if p.loops = p.loops[:open]; open == maxLoops {
			return
		}
		p.loops = append(p.loops, loop{})
		i = open
	}
	p.loops[i] = loop{label, done, total}
	if now.Sub(p.began) >= progressDelay && now.Sub(p.shown) >= progressPause {
		p.show(e, false, false)
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
		p.show(e, failed, true)
	}
	p.loops, p.shown = p.loops[:0], time.Time{}
}

func (p *progress) show(e *engine, failed, ended bool) {
	var text []string
	var markup strings.Builder
	for _, l := range p.loops {
		text = append(text, l.text(failed, ended))
		markup.WriteString(l.html(failed, ended))
	}
	d := display.Data{
		Data: display.MIMEMap{
			display.MIMETypeText: strings.Join(text, "\n"),
			display.MIMETypeHTML: markup.String(),
		},
		Metadata: display.MIMEMap{display.ProgressMetadata: true},
	}
	b := d.Bundle()
	m := &pipe.Message{
		Kind: pipe.Progress, Data: b.Data, Metadata: b.Metadata,
		Name: fmt.Sprintf("evenbed-progress-%d", p.serial), Flag: !p.shown.IsZero(),
	}
	if ended {
		m.Number = 1
	}
	e.display(m)
}

func (l loop) text(failed, ended bool) string {
	s := fmt.Sprintf("%s: %d", l.label, l.done)
	if l.total > 0 {
		s += fmt.Sprintf(" of %d (%d %%)", l.total, 100*l.done/l.total)
	}
	switch {
	case l.over() || !ended:
	case failed:
		s += ", stopped"
	default:
		s += ", ended"
	}
	return s
}

// html has a bar while the loop goes on.
func (l loop) html(failed, ended bool) string {
	bar := ""
	if l.total > 0 && !ended {
		bar = fmt.Sprintf(`<progress max="%d" value="%d"></progress> `, l.total, min(l.done, l.total))
	}
	return "<div>" + bar + html.EscapeString(l.text(failed, ended)) + "</div>"
}
