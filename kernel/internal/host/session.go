package host

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/pipe"
)

// How long the front waits for an engine.
const (
	askTimeout  = 2 * time.Second  // for a completion or an inspection
	stopTimeout = 10 * time.Second // for an interrupted cell, before its engine is ended
	exitTimeout = 2 * time.Second  // for an engine whose pipe was closed
)

// A Session runs cells on an engine and replaces the engine when it dies.
// Execute must not be called by two goroutines at once; all other methods may
// be called at any time.
type Session struct {
	opt Options

	mu     sync.Mutex
	eng    *process
	starts chan struct{} // closed when eng is set
	err    error         // why no engine could be started
	closed bool
	ran    []int // numbers of the cells that this engine has run, see hasRun
	halted []int // numbers of those that were interrupted while it ran them
}

// Start starts an engine. It returns at once; the first call that needs the
// engine waits for it.
func Start(opt Options) (*Session, error) {
	if len(opt.Command) == 0 {
		exe, err := os.Executable()
		if err != nil {
			return nil, fmt.Errorf("cannot find this program's own file to start the engine: %w", err)
		}
		opt.Command = []string{exe, "engine"}
	}
	if opt.Output == nil {
		opt.Output = func(Output) {}
	}
	if _, err := exec.LookPath(opt.Command[0]); err != nil {
		return nil, fmt.Errorf("cannot start the engine: %w", err)
	}
	if opt.KeepText {
		opt.overflow = &overflow{max: maxKept}
	}
	s := &Session{opt: opt}
	s.mu.Lock()
	s.begin()
	s.mu.Unlock()
	return s, nil
}

// begin starts an engine in the background; s.mu is held.
func (s *Session) begin() {
	s.eng, s.err, s.ran, s.halted = nil, nil, nil, nil
	starts := make(chan struct{})
	s.starts = starts
	go func() {
		p, err := startProcess(s.opt)
		s.mu.Lock()
		s.eng, s.err = p, err
		stale := s.starts != starts || s.closed
		s.mu.Unlock()
		if stale && p != nil {
			p.close()
		}
		close(starts)
	}()
}

// engine waits for the engine. If the last one has died while no cell ran, or
// could not be started, it starts another.
func (s *Session) engine() (*process, error) {
	for try := 0; ; try++ {
		s.mu.Lock()
		if s.closed {
			s.mu.Unlock()
			return nil, errors.New("the session is closed")
		}
		starts := s.starts
		s.mu.Unlock()
		<-starts
		s.mu.Lock()
		p, err := s.eng, s.err
		if s.starts != starts {
			s.mu.Unlock()
			continue
		}
		if err == nil && !p.dead() {
			s.mu.Unlock()
			return p, nil
		}
		if try == 1 {
			s.mu.Unlock()
			if err == nil {
				err = errors.New("the engine ends as soon as it starts")
			}
			return nil, err
		}
		s.begin()
		s.mu.Unlock()
	}
}

// Execute runs a cell and returns when it has ended and all its outputs have
// been handed on. Number is the cell's execution count, 0 if it has none.
// Cancelling the context interrupts the cell, also before it has begun.
func (s *Session) Execute(ctx context.Context, code string, number int) Reply {
	if ctx.Err() != nil {
		return s.fail(Failure{Name: "interrupted", Message: "the cell was stopped before it began"})
	}
	s.mu.Lock()
	ran, halted, last := s.ran, s.halted, s.eng
	s.mu.Unlock()
	if last != nil && last.dead() && len(ran) > 0 { // it died after its last cell had ended
		reason := last.reason()
		s.restart()
		return s.lost(Failure{Name: "engine ended", Message: "the engine ended between two cells: " + reason}, ran, halted, number)
	}
	p, err := s.engine()
	if err != nil {
		r := s.fail(Failure{Name: "no engine", Message: "the engine cannot be started: " + err.Error()})
		r.Died = true
		return r
	}
	failure, ok := p.execute(ctx, code, number)
	s.mu.Lock()
	if s.eng == p && number > 0 {
		if ok || hasRun(failure) {
			s.ran = append(without(s.ran, number), number)
		} else if failure != nil && failure.Name == "interrupted" {
			s.halted = append(without(s.halted, number), number)
		}
	}
	ran, halted = s.ran, s.halted
	s.mu.Unlock()
	if !p.dead() {
		return Reply{Failure: failure}
	}
	reason := p.reason()
	s.restart()
	return s.lost(Failure{Name: "engine ended", Message: reason}, ran, halted, number)
}

// hasRun reports whether a cell that failed ran until then, so that what it had
// declared and changed is part of the engine's state. One that was interrupted
// is left out: nobody can say how far it would come the next time.
func hasRun(f *Failure) bool {
	if f == nil {
		return false
	}
	switch f.Name {
	case "syntax error", "compile error", "not found", "interrupted":
		return false
	}
	return true
}

// lost tells a cell that its engine has died, and which cells to run again.
func (s *Session) lost(f Failure, ran, halted []int, number int) Reply {
	f.Message += "; all variables are gone and a new engine has been started"
	ran = without(ran, number)
	if len(ran) > 0 {
		f.Message += "; cells to run again: " + list(ran)
	}
	if halted = without(halted, number); len(halted) > 0 {
		f.Message += "; what interrupted cells had set is gone, too: " + list(halted)
	}
	r := s.fail(f)
	r.Died, r.Rerun = true, ran
	return r
}

func without(ns []int, number int) []int {
	if !slices.Contains(ns, number) {
		return ns
	}
	return slices.DeleteFunc(slices.Clone(ns), func(n int) bool { return n == number })
}

// fail hands on a failure of the host's own.
func (s *Session) fail(f Failure) Reply {
	f.Traceback = []string{"\x1b[1m" + f.Name + "\x1b[0m: " + f.Message}
	s.opt.Output(f)
	return Reply{Failure: &f}
}

// list writes numbers as "1, 2 and 5", and runs of them as "1 to 4".
func list(ns []int) string {
	var parts []string
	for i := 0; i < len(ns); {
		j := i
		for j+1 < len(ns) && ns[j+1] == ns[j]+1 {
			j++
		}
		switch {
		case j > i+1:
			parts = append(parts, fmt.Sprintf("%d to %d", ns[i], ns[j]))
		case j == i+1:
			parts = append(parts, strconv.Itoa(ns[i]), strconv.Itoa(ns[j]))
		default:
			parts = append(parts, strconv.Itoa(ns[i]))
		}
		i = j + 1
	}
	if n := len(parts); n > 1 {
		return strings.Join(parts[:n-1], ", ") + " and " + parts[n-1]
	}
	return parts[0]
}

// Interrupt stops the goroutines that earlier cells have left running, and
// the cell that runs now. To stop one cell only, cancel its context.
func (s *Session) Interrupt() {
	s.mu.Lock()
	p := s.eng
	s.mu.Unlock()
	if p != nil {
		p.conn.Send(&pipe.Message{Kind: pipe.Interrupt}) // a dead engine needs no interrupt
	}
}

// Restart ends the engine, with all variables, and starts a new one. A cell
// that runs ends with a failure.
func (s *Session) Restart() error {
	s.restart()
	_, err := s.engine()
	return err
}

func (s *Session) restart() {
	s.mu.Lock()
	old := s.eng
	if !s.closed {
		s.begin()
	}
	s.mu.Unlock()
	if old != nil {
		old.close()
	}
}

// Close ends the engine.
func (s *Session) Close() error {
	s.mu.Lock()
	s.closed = true
	starts := s.starts
	s.mu.Unlock()
	<-starts
	s.mu.Lock()
	p := s.eng
	s.mu.Unlock()
	if p != nil {
		p.close()
	}
	if s.opt.overflow != nil {
		s.opt.overflow.remove()
	}
	return nil
}

// Complete proposes what may stand at the cursor, which counts Unicode code
// points. If the engine does not answer in time, ok is false.
func (s *Session) Complete(code string, cursor int) (c Completion, ok bool) {
	m := s.ask(&pipe.Message{Kind: pipe.Complete, Code: code, Cursor: cursor})
	if m == nil {
		return Completion{}, false
	}
	c = Completion{Start: m.Start, End: m.End}
	for _, match := range m.Matches {
		c.Matches = append(c.Matches, Match{Text: match.Text, Kind: match.Kind})
	}
	return c, true
}

// Inspect describes what stands at the cursor. If the engine does not answer
// in time, ok is false; if there is nothing to describe, the bundle is empty.
func (s *Session) Inspect(code string, cursor, detail int) (b display.Bundle, ok bool) {
	m := s.ask(&pipe.Message{Kind: pipe.Inspect, Code: code, Cursor: cursor, Detail: detail})
	if m == nil {
		return display.Bundle{}, false
	}
	return display.Bundle{Data: m.Data, Metadata: m.Metadata}, true
}

func (s *Session) ask(m *pipe.Message) *pipe.Message {
	s.mu.Lock()
	p := s.eng
	s.mu.Unlock()
	if p == nil || p.dead() {
		return nil
	}
	return p.ask(m, askTimeout)
}

// bundle returns the bundle that a message carries.
func bundle(m *pipe.Message) display.Bundle {
	meta := m.Metadata
	if meta == nil {
		meta = map[string]json.RawMessage{}
	}
	return display.Bundle{Data: m.Data, Metadata: meta}
}
