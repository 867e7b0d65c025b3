package engine

import (
	"go/ast"
	"reflect"
	"slices"
	"strings"

	"github.com/cosmos72/gomacro/fast"
	xr "github.com/cosmos72/gomacro/xreflect"

	"github.com/evenbed/evenbed/kernel/internal/complete"
	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/pipe"
)

// complete answers a request for proposals.
func (e *engine) complete(m *pipe.Message) {
	c := complete.Complete(m.Code, m.Cursor, scope{e.in})
	answer := &pipe.Message{Kind: pipe.Completed, ID: m.ID, Start: c.Start, End: c.End}
	for _, match := range c.Matches {
		answer.Matches = append(answer.Matches, pipe.Match{Text: match.Text, Kind: match.Kind})
	}
	e.conn.Send(answer)
}

// inspect answers a request for a description.
func (e *engine) inspect(m *pipe.Message) {
	b, found := complete.Inspect(m.Code, m.Cursor, m.Detail, scope{e.in})
	e.conn.Send(&pipe.Message{Kind: pipe.Inspected, ID: m.ID, Flag: found, Data: b.Data, Metadata: b.Metadata})
}

// A scope is what cells have declared, as completion asks for it. It compiles
// expressions to learn their types, but runs none.
type scope struct{ in *interp }

var _ complete.Scope = scope{}

// Names lists what cells have declared.
func (s scope) Names() []host.Match {
	s.in.compMu.Lock()
	defer s.in.compMu.Unlock()
	c := s.in.ir.Comp
	var names []host.Match
	for name, b := range c.Binds {
		if kind := kindOf(b); kind != "" {
			names = append(names, host.Match{Text: name, Kind: kind})
		}
	}
	for name := range c.Types {
		names = append(names, host.Match{Text: name, Kind: "type"})
	}
	slices.SortFunc(names, func(a, b host.Match) int { return strings.Compare(a.Text, b.Text) })
	return names
}

func kindOf(b *fast.Bind) string {
	if _, ok := b.Value.(*fast.Import); ok {
		return ""
	}
	switch b.Desc.Class() {
	case fast.ConstBind:
		return "constant"
	case fast.FuncBind:
		return "function"
	case fast.IntBind, fast.VarBind:
		return "variable"
	}
	return ""
}

// Imports lists the imports of the session.
func (s scope) Imports() []complete.Import {
	s.in.compMu.Lock()
	defer s.in.compMu.Unlock()
	var all []complete.Import
	for name, b := range s.in.ir.Comp.Binds {
		if im, ok := b.Value.(*fast.Import); ok {
			all = append(all, complete.Import{Name: name, Path: im.Path})
		}
	}
	slices.SortFunc(all, func(a, b complete.Import) int { return strings.Compare(a.Name, b.Name) })
	return all
}

// Members lists the fields and methods of an expression's value.
func (s scope) Members(expr string) []host.Match {
	t := s.typeOf(expr)
	if t == nil {
		return nil
	}
	members := append(fields(t), methods(t)...)
	slices.SortFunc(members, func(a, b host.Match) int { return strings.Compare(a.Text, b.Text) })
	return slices.Compact(members)
}

// Fields lists the fields of a struct type.
func (s scope) Fields(typ string) []host.Match {
	t := s.typeOf("(*" + typ + ")(nil)")
	if t == nil {
		return nil
	}
	return fields(t)
}

// fields lists the fields of a struct, or of the struct that t points to.
func fields(t xr.Type) []host.Match {
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct {
		return nil
	}
	var all []host.Match
	for i := range t.NumField() {
		if f := t.Field(i); ast.IsExported(f.Name) || ours(t) {
			all = append(all, host.Match{Text: f.Name, Kind: "field"})
		}
	}
	return all
}

// ours reports whether a cell has declared t; a cell can use all its members.
func ours(t xr.Type) bool { return !t.Named() || t.PkgPath() == "main" }

func methods(t xr.Type) []host.Match {
	var all []host.Match
	add := func(name string) { all = append(all, host.Match{Text: name, Kind: "method"}) }
	elem := t
	if t.Kind() == reflect.Pointer {
		elem = t.Elem()
	}
	if elem.Named() && elem.PkgPath() == "main" {
		for i := range elem.NumMethod() {
			add(elem.Method(i).Name)
		}
		return all
	}
	rt := t.ReflectType()
	if rt.Kind() != reflect.Pointer && rt.Kind() != reflect.Interface {
		rt = reflect.PointerTo(rt) // a variable has the methods of its pointer too
	}
	for i := range rt.NumMethod() {
		add(rt.Method(i).Name)
	}
	return all
}

// Describe returns the declaration of a name, or an expression with its type.
func (s scope) Describe(expr string) (string, bool) {
	s.in.compMu.Lock()
	b := s.in.ir.Comp.Binds[expr]
	s.in.compMu.Unlock()
	t := s.typeOf(expr)
	if t == nil {
		return "", false
	}
	name := plain(t.String())
	word := ""
	if b != nil {
		switch b.Desc.Class() {
		case fast.ConstBind:
			word = "const "
		case fast.FuncBind:
			return "func " + expr + strings.TrimPrefix(name, "func"), true
		case fast.IntBind, fast.VarBind:
			word = "var "
		}
	}
	return word + expr + " " + name, true
}

// TypeName returns where the type of an expression, or the type that it points
// to, is declared.
func (s scope) TypeName(expr string) (path, name string) {
	t := s.typeOf(expr)
	if t == nil {
		return "", ""
	}
	if t.Kind() == reflect.Pointer && !t.Named() {
		t = t.Elem()
	}
	if !t.Named() {
		return "", ""
	}
	return t.PkgPath(), t.Name()
}

// typeOf compiles an expression and returns the type of its first value, or
// nil if it does not compile.
func (s scope) typeOf(expr string) (t xr.Type) {
	in := s.in
	in.compMu.Lock()
	defer in.compMu.Unlock()
	c := in.ir.Comp
	before := snapshot(c)
	defer func() {
		if recover() != nil {
			t = nil
		}
		in.restore(before)
	}()
	c.Line, c.Filepath = 0, "expression"
	nodes := c.ParseBytes([]byte(expr))
	if len(nodes) != 1 {
		return nil
	}
	x, ok := nodes[0].(ast.Expr)
	if !ok {
		return nil
	}
	e := c.Expr(x, nil)
	if e.Untyped() {
		return e.DefaultType()
	}
	if e.NumOut() == 0 {
		return nil
	}
	return e.Out(0)
}
