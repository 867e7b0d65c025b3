// Package complete proposes what may stand at the cursor, describes what
// stands there, and judges whether a cell is complete.
//
// It reads the text of the cell, the symbol tables and, through a [Scope],
// what the session has declared. Nothing is run.
//
//	scan.go      the text as tokens: operands, enclosing brackets, declarations
//	infer.go     the type of an expression, from declarations alone
//	session.go   a Scope over a live interpreter
package complete

import (
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/symbols"
)

// A Scope is what the session knows. Its methods must not run anything.
type Scope interface {
	// Names lists what the session has declared, imports not included.
	Names() []host.Match
	// Imports lists the imports of the session.
	Imports() []Import
	// Members lists the fields and methods of an expression's value, of the
	// first one if there are several; nil if the expression does not compile.
	Members(expr string) []host.Match
	// Fields lists the fields that a literal of the struct type can name.
	Fields(typ string) []host.Match
	// Describe returns the declaration of a name, such as
	// "var column packing.Column", or an expression with its type, such as
	// "column.MaxPressure units.Pressure"; false if it does not compile.
	Describe(expr string) (text string, ok bool)
	// TypeName returns where the type of the expression's value, or the type it
	// points to, is declared; "" if it has no name or does not compile.
	TypeName(expr string) (path, name string)
	// Declarations returns the functions, methods and types that the cells have
	// declared, as [Declarations] does.
	Declarations() map[string]Declaration
	// Keys lists the texts by which a variable's value is asked for its parts:
	// columns of a data frame or a record, keys of a map. It is nil
	// while a cell runs.
	Keys(variable string) []string
}

// An Import is a package as the session or a cell names it; "." for a
// dot-import.
type Import struct{ Name, Path string }

// An asker answers one request about a cell.
type asker struct {
	scope   Scope // nil while a cell is busy
	session map[string]host.Match
	imports []Import // those of the cell come first
	locals  []local
	methods []local // of types, by functions of the cell

	declared map[string]Declaration // by the cell
}

func ask(code string, scope Scope) *asker {
	lex := scan(code).lex
	a := &asker{scope: scope, session: map[string]host.Match{}, imports: importsIn(lex), declared: Declarations(code)}
	for _, l := range localsIn(code, lex) {
		if l.receiver != "" {
			a.methods = append(a.methods, l)
		} else {
			a.locals = append(a.locals, l)
		}
	}
	if scope != nil {
		a.imports = append(a.imports, scope.Imports()...)
		for _, m := range scope.Names() {
			a.session[m.Text] = m
		}
	}
	return a
}

// Complete proposes what may stand at the cursor, which counts Unicode code
// points; a cursor outside the code means its end. With a nil scope only the
// cell itself and the symbol tables are known.
func Complete(code string, cursor int, scope Scope) host.Completion {
	at := offset(code, cursor)
	before := scan(code[:at])
	start, proposals := at, []host.Match(nil)
	if !before.inComment(at) {
		start, proposals = propose(code, before, at, scope)
	}
	end := points(code[:at])
	return host.Completion{Start: end - points(code[start:at]), End: end, Matches: proposals}
}

// propose returns where the text to replace starts, and the proposals.
func propose(code string, before source, at int, scope Scope) (start int, found []host.Match) {
	lex, prefix := before.lex, ""
	if n := len(lex); n > 0 && lex[n-1].to == at {
		switch last := lex[n-1]; {
		case last.tok == token.STRING || last.tok == token.CHAR:
			switch {
			case !last.unterminated() || last.tok == token.CHAR:
				return at, nil
			case inImport(lex[:n-1]):
				return last.from + 1, importPaths(code[last.from+1 : at])
			}
			return last.from + 1, inString(lex[:n-1], last, code[last.from+1:at], scope)
		case last.tok == token.INT || last.tok == token.FLOAT || last.tok == token.IMAG:
			return at, nil
		case last.tok == token.IDENT || last.tok.IsKeyword():
			lex, prefix = lex[:n-1], last.lit
		}
	}
	start = at - len(prefix)
	// The name at the cursor is not known yet, so it must not propose itself.
	a := ask(code[:start]+strings.Repeat(" ", len(prefix))+code[at:], scope)
	if n := len(lex); n > 0 && lex[n-1].tok == token.PERIOD {
		i := operandStart(lex, n-1)
		if i < 0 {
			return start, nil
		}
		return start, matching(a.members(code[lex[i].from:lex[n-2].to]), prefix)
	}
	if fields := a.literalFields(code, lex); len(fields) > 0 { // as they are declared
		found := matching(fields, prefix)
		slices.SortFunc(found, func(a, b host.Match) int { return slices.Index(fields, a) - slices.Index(fields, b) })
		if len(found) > 0 {
			return start, found
		}
	}
	return start, matching(a.names(), prefix)
}

// matching keeps what starts with the prefix, in any case of letters if nothing
// starts with it as it is, sorted and each text once: the first one given.
func matching(all []host.Match, prefix string) []host.Match {
	pick := func(fits func(string) bool) []host.Match {
		var found []host.Match
		seen := map[string]bool{}
		for _, m := range all {
			if fits(m.Text) && !seen[m.Text] {
				seen[m.Text] = true
				found = append(found, m)
			}
		}
		slices.SortFunc(found, func(a, b host.Match) int { return strings.Compare(a.Text, b.Text) })
		return found
	}
	found := pick(func(s string) bool { return strings.HasPrefix(s, prefix) })
	if len(found) == 0 {
		found = pick(func(s string) bool { return len(s) >= len(prefix) && strings.EqualFold(s[:len(prefix)], prefix) })
	}
	return found
}

// importPaths proposes packages by the start of their path or of its last element.
func importPaths(prefix string) (found []host.Match) {
	for _, path := range symbols.Paths() {
		last := path[strings.LastIndex(path, "/")+1:]
		if strings.HasPrefix(path, prefix) || strings.HasPrefix(last, prefix) {
			found = append(found, host.Match{Text: path, Kind: "package"})
		}
	}
	return found
}

// members proposes what may follow the expression and a dot.
func (a *asker) members(expr string) []host.Match {
	if path := a.packagePath(expr); path != "" {
		return matches(symbols.Names(path))
	}
	local := a.local(leadingName(expr))
	if a.scope != nil && local == nil {
		found := a.scope.Members(expr)
		if path, name := a.scope.TypeName(expr); path == sessionPath {
			for _, m := range a.methodsOf(name) {
				found = append(found, host.Match{Text: m.name, Kind: "function"})
			}
		}
		if found != nil {
			return found
		}
	}
	e, err := parser.ParseExpr(expr)
	if err != nil {
		return nil
	}
	if path, name := a.namedType(e); name != "" {
		return matches(symbols.Members(path, name))
	}
	s := a.infer(e, 0, maxChain)
	if t, ok := s.typ.(*ast.Ident); ok && t.Name == "error" {
		return []host.Match{{Text: "Error", Kind: "function"}}
	}
	var found []host.Match
	for _, m := range a.declaredMembers(s, maxChain) {
		found = append(found, host.Match{Text: m.name, Kind: m.kind})
	}
	if a.scope == nil || local == nil || local.kind == "type" {
		return found
	}
	if name := typeName(s.typ); len(found) > 0 && (name == "" || a.local(name) != nil) {
		return found
	}
	return append(found, a.sessionMembers(local, expr[len(local.name):])...)
}

// sessionMembers proposes what may follow a local and the rest of an
// expression by what the session knows of the local's declaration.
func (a *asker) sessionMembers(local *local, rest string) []host.Match {
	switch {
	case local.typ != "": // perhaps one of the session
		return a.scope.Members("(*new(" + local.typ + "))" + rest)
	case local.value == "":
	case local.ranged && local.index == 1: // an element of a slice, or of a map
		for _, index := range []string{"[0]", `[""]`} {
			if found := a.scope.Members("(" + local.value + ")" + index + rest); found != nil {
				return found
			}
		}
	case !local.ranged && local.index == 0:
		return a.scope.Members("(" + local.value + ")" + rest)
	}
	return nil
}

// literalFields proposes the fields of the struct literal that the tokens end
// in, if they end where a field's name may stand.
func (a *asker) literalFields(code string, lex []lexeme) []host.Match {
	typ, used := literalType(code, lex)
	if typ == "" {
		return nil
	}
	var fields []host.Match
	e, err := parser.ParseExpr(typ)
	if err != nil {
		return nil
	}
	if path, name := a.typeNamed(e); name != "" {
		for _, m := range symbols.Members(path, name) {
			if m.Kind == "field" && !m.Promoted {
				fields = append(fields, host.Match{Text: m.Name, Kind: "field"})
			}
		}
	} else if a.scope != nil {
		fields = a.scope.Fields(typ)
	}
	return slices.DeleteFunc(fields, func(m host.Match) bool { return slices.Contains(used, m.Text) })
}

// names proposes what may start an expression or a statement. What is declared
// nearer comes first.
func (a *asker) names() []host.Match {
	var all []host.Match
	for _, l := range a.locals {
		all = append(all, host.Match{Text: l.name, Kind: l.kind})
	}
	for _, m := range a.session {
		all = append(all, m) // each text once, so the order does not matter
	}
	for _, im := range a.imports {
		switch im.Name {
		case "_":
		case ".":
			all = append(all, matches(symbols.Names(im.Path))...)
		default:
			all = append(all, host.Match{Text: im.Name, Kind: "package"})
		}
	}
	return append(all, universe()...)
}

// universe lists the language's own names, as far as the interpreter has them:
// no goto.
func universe() (all []host.Match) {
	for kind, names := range map[string]string{
		"keyword": "break case chan const continue default defer else fallthrough for func go if import interface " +
			"map package range return select struct switch type var",
		"function": "append cap clear close complex copy delete imag len make max min new panic print println real recover",
		"type": "any bool byte complex128 complex64 error float32 float64 int int16 int32 int64 int8 rune string " +
			"uint uint16 uint32 uint64 uint8 uintptr",
		"constant": "false iota nil true",
	} {
		for name := range strings.FieldsSeq(names) {
			all = append(all, host.Match{Text: name, Kind: kind})
		}
	}
	return all
}

func matches(docs []symbols.Doc) []host.Match {
	found := make([]host.Match, len(docs))
	for i, d := range docs {
		found[i] = host.Match{Text: d.Name, Kind: d.Kind}
		if d.Kind == "method" {
			found[i].Kind = "function"
		}
	}
	return found
}
