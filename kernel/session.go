package kernel

import (
	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/complete"
	"github.com/evenbed/evenbed/kernel/internal/host"
)

// session is the usual backend: an engine in a process of its own.
type session struct{ *host.Session }

var _ Backend = session{}

func startSession(o host.Options) (Backend, error) {
	o.KeepText = true
	s, err := host.Start(o)
	if err != nil {
		return nil, err
	}
	return session{s}, nil
}

// Complete asks the engine, which knows what the session has declared. While
// a cell runs, the tables of linked packages answer.
func (s session) Complete(code string, cursor int) host.Completion {
	if c, ok := s.Session.Complete(code, cursor); ok {
		return c
	}
	return complete.Complete(code, cursor, nil)
}

func (s session) Inspect(code string, cursor, detail int) (display.Bundle, bool) {
	if b, ok := s.Session.Inspect(code, cursor, detail); ok {
		return b, len(b.Data) > 0
	}
	return complete.Inspect(code, cursor, detail, nil)
}

func (s session) IsComplete(code string) (status, indent string) { return complete.IsComplete(code) }
