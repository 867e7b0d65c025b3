package engine

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"reflect"
	"strings"
	"sync"

	"github.com/cosmos72/gomacro/imports"

	"github.com/evenbed/evenbed/kernel/internal/pipe"
)

// A Stdin takes the place of os.Stdin in cells: who reads it asks the user for
// a line. It is an io.Reader with the methods of an *os.File, though no
// *os.File, whose readers cannot be seen.
type Stdin struct {
	*os.File // the null device
	e        *engine

	mu sync.Mutex // one reader at a time
}

// endOfInput is what clients send for Ctrl-D.
const endOfInput = "\x04"

// Read reads what the user types. Lines that a cell does not read are dropped
// when it ends.
func (s *Stdin) Read(b []byte) (int, error) {
	if len(b) == 0 {
		return 0, nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	cell := s.e.current()
	if cell == nil {
		return 0, errNoCell
	}
	switch {
	case cell.closedInput:
		return 0, os.ErrClosed
	case cell.typed == "":
		line, err := s.e.ask(cell, "", false)
		if err != nil {
			return 0, fmt.Errorf("reading os.Stdin: %w", err)
		}
		if line == endOfInput {
			return 0, io.EOF
		}
		cell.typed = line + "\n"
	}
	n := copy(b, cell.typed)
	cell.typed = cell.typed[n:]
	return n, nil
}

// WriteTo is what io.Copy would call.
func (s *Stdin) WriteTo(w io.Writer) (int64, error) {
	return io.Copy(w, struct{ io.Reader }{s})
}

// Close closes the input for the cell that runs.
func (s *Stdin) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if cell := s.e.current(); cell != nil {
		cell.closedInput = true
	}
	return nil
}

// Name is what Go calls it everywhere.
func (s *Stdin) Name() string { return "/dev/stdin" }

var errNoCell = errors.New("no cell runs that could ask for input")

// takeInput gives cells what asks the user in the place of what reads the
// engine's own standard input, which is empty.
func (e *engine) takeInput() {
	s := &Stdin{File: os.Stdin, e: e}
	replace := func(path string, binds map[string]reflect.Value) {
		p := imports.Packages[path]
		p.Binds = maps.Clone(p.Binds)
		maps.Copy(p.Binds, binds)
		imports.Packages[path] = p
	}
	replace("os", map[string]reflect.Value{"Stdin": reflect.ValueOf(&s).Elem()})
	replace("fmt", map[string]reflect.Value{
		"Scan":   reflect.ValueOf(func(a ...any) (int, error) { return fmt.Fscan(s, a...) }),
		"Scanln": reflect.ValueOf(func(a ...any) (int, error) { return fmt.Fscanln(s, a...) }),
		"Scanf":  reflect.ValueOf(func(format string, a ...any) (int, error) { return fmt.Fscanf(s, format, a...) }),
	})
	line := func(prompt string, password bool) (string, error) {
		cell := e.current()
		if cell == nil {
			return "", errNoCell
		}
		text, err := e.ask(cell, prompt, password)
		if err == nil && text == endOfInput {
			return "", io.EOF
		}
		return strings.TrimSuffix(text, "\n"), err
	}
	replace(displayPath, map[string]reflect.Value{
		"Clear": reflect.ValueOf(func(wait bool) {
			e.updates.flush(e)
			e.send(&pipe.Message{Kind: pipe.Clear, Flag: wait})
		}),
		"Input":    reflect.ValueOf(func(prompt string) (string, error) { return line(prompt, false) }),
		"Password": reflect.ValueOf(func(prompt string) (string, error) { return line(prompt, true) }),
	})
}

// questions are those that the user has not answered.
type questions struct {
	mu      sync.Mutex
	last    uint64
	waiting map[uint64]chan *pipe.Message
}

// ask asks the user for a line. It returns when the line has come, or the cell
// is interrupted or ends.
func (e *engine) ask(cell *running, prompt string, password bool) (string, error) {
	q, answer := &e.questions, make(chan *pipe.Message, 1)
	q.mu.Lock()
	q.last++
	id := q.last
	if q.waiting == nil {
		q.waiting = map[uint64]chan *pipe.Message{}
	}
	q.waiting[id] = answer
	q.mu.Unlock()
	defer func() {
		q.mu.Lock()
		defer q.mu.Unlock()
		delete(q.waiting, id)
	}()
	e.updates.flush(e)
	if e.sendIn(cell, &pipe.Message{Kind: pipe.Ask, ID: id, Text: prompt, Flag: password}) {
		select {
		case m := <-answer:
			if !m.Flag {
				return "", errors.New(m.Text)
			}
			return m.Text, nil
		case <-cell.ctx.Done():
		}
	}
	cell.unanswered.Store(true)
	return "", errors.New("the cell was stopped while it waited for input")
}

// answered hands on what the user has typed. An answer that comes late is
// dropped.
func (e *engine) answered(m *pipe.Message) {
	e.questions.mu.Lock()
	defer e.questions.mu.Unlock()
	if c := e.questions.waiting[m.ID]; c != nil {
		c <- m // once only: each question has one answer
	}
}
