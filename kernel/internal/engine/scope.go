package engine

import (
	"github.com/evenbed/evenbed/kernel/internal/complete"
	"github.com/evenbed/evenbed/kernel/internal/pipe"
)

// scope is what the session knows. compMu is held, so that no cell begins to run
// while values are looked at.
func (e *engine) scope() complete.Scope {
	e.in.goMu.Lock()
	alone := len(e.in.gos) == 0 // no goroutine of an earlier cell writes them
	e.in.goMu.Unlock()
	return complete.Session(e.in.ir, alone && e.current() == nil)
}

// complete answers a request for proposals. It compiles expressions to learn
// their types, and runs nothing.
func (e *engine) complete(m *pipe.Message) {
	unlock := e.in.lockTypes(e.current() != nil)
	c := complete.Complete(m.Code, m.Cursor, e.scope())
	unlock()
	answer := &pipe.Message{Kind: pipe.Completed, ID: m.ID, Start: c.Start, End: c.End}
	for _, match := range c.Matches {
		answer.Matches = append(answer.Matches, pipe.Match{Text: match.Text, Kind: match.Kind})
	}
	e.conn.Send(answer)
}

// inspect answers a request for a description.
func (e *engine) inspect(m *pipe.Message) {
	unlock := e.in.lockTypes(e.current() != nil)
	b, found := complete.Inspect(m.Code, m.Cursor, m.Detail, e.scope())
	unlock()
	e.conn.Send(&pipe.Message{Kind: pipe.Inspected, ID: m.ID, Flag: found, Data: b.Data, Metadata: b.Metadata})
}
