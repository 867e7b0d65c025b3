package engine

import (
	"go/ast"
	"go/parser"
	"go/types"
	"strings"

	"github.com/evenbed/evenbed/kernel/internal/check"
	"github.com/evenbed/evenbed/kernel/internal/complete"
	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/pipe"
)

// scope is what the session knows. compMu is held, so that no cell begins to run
// while values are looked at.
func (e *engine) scope() complete.Scope {
	e.in.goMu.Lock()
	alone := len(e.in.gos) == 0 // no goroutine of an earlier cell writes them
	e.in.goMu.Unlock()
	return scope{complete.Session(e.in.ir, alone && e.current() == nil), e.in.checker, e.in.declared}
}

// A scope also knows how cells have declared their functions and types, and the
// types of boxed fields, which are interfaces to the interpreter.
type scope struct {
	complete.Scope
	checker  *check.Checker
	declared map[string]complete.Declaration
}

func (s scope) Declarations() map[string]complete.Declaration { return s.declared }

func (s scope) Members(expr string) []host.Match {
	found := s.Scope.Members(expr)
	x, err := parser.ParseExpr(expr)
	if len(found) > 0 || err != nil {
		return found
	}
	fields, methods := s.checker.Members(x)
	for _, name := range fields {
		found = append(found, host.Match{Text: name, Kind: "field"})
	}
	for _, name := range methods {
		found = append(found, host.Match{Text: name, Kind: "function"})
	}
	return found
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

func (s scope) Describe(expr string) (string, bool) {
	text, ok := s.Scope.Describe(expr)
	if ok && !strings.HasSuffix(text, " interface{}") {
		return text, ok
	}
	x, _ := parser.ParseExpr(expr)
	if field, selects := x.(*ast.SelectorExpr); selects {
		if t := s.checker.Type(field); t != nil {
			return expr + " " + types.TypeString(t, func(p *types.Package) string { return strings.TrimPrefix(p.Name(), "main") }), true
		}
	}
	return text, ok
}
