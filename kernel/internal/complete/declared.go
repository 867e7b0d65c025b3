package complete

import (
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"slices"
	"strings"
)

// A Declaration is a function, a method or a type as a cell declares it.
type Declaration struct {
	Text    string // without the body of a function
	Comment string // the lines right above it, without slashes
}

// Declarations returns the functions and types that a cell declares at its top
// level, by their names, and methods by those of the type and the method, as in
// T.M.
func Declarations(code string) map[string]Declaration {
	found := map[string]Declaration{}
	s := scan(code)
	for _, l := range localsIn(code, s.lex) {
		if l.at < 0 || enclosing(s.lex[:l.at]) >= 0 && s.lex[enclosing(s.lex[:l.at])].tok != token.LPAREN {
			continue
		}
		switch {
		case l.signature != "" && l.receiver != "":
			found[l.receiver+"."+l.name] = Declaration{l.signature, s.above(code, s.lex[l.at].from)}
		case l.signature != "":
			found[l.name] = Declaration{l.signature, s.above(code, s.lex[l.at].from)}
		case l.kind == "type":
			found[l.name] = Declaration{"type " + l.name + " " + l.typ, s.above(code, s.lex[l.at].from)}
		}
	}
	return found
}

// above returns the comment that ends on the line before an offset.
func (s source) above(code string, at int) string {
	var lines []string
	for _, c := range slices.Backward(s.comments) {
		if c.to > at {
			continue
		}
		gap := code[c.to:at]
		if strings.TrimSpace(gap) != "" || strings.Count(gap, "\n") != 1 {
			break
		}
		text := strings.TrimSuffix(strings.TrimPrefix(strings.TrimPrefix(c.lit, "/*"), "//"), "*/")
		lines = append(lines, strings.TrimPrefix(strings.TrimRight(text, "\r\n"), " "))
		at = c.from
	}
	slices.Reverse(lines)
	return strings.Join(lines, "\n")
}

// declaration returns what a cell, this one or an earlier one, declares by a name,
// and the methods of a type.
func (a *asker) declaration(name string) (d Declaration, methods []string) {
	all := maps.Clone(a.declared)
	if a.scope != nil {
		for n, earlier := range a.scope.Declarations() {
			if _, ok := all[n]; !ok {
				all[n] = earlier
			}
		}
	}
	for _, n := range slices.Sorted(maps.Keys(all)) {
		if strings.HasPrefix(n, name+".") {
			methods = append(methods, all[n].Text)
		}
	}
	return all[name], methods
}

// kind returns "func" or "type".
func (d Declaration) kind() string { return strings.SplitN(d.Text, " ", 2)[0] }

// field returns the declaration of a field of a struct that a cell declares, and
// its comment.
func (d Declaration) field(name string) (text, comment string) {
	const head = "package p;"
	f, err := parser.ParseFile(token.NewFileSet(), "", head+d.Text, parser.ParseComments|parser.SkipObjectResolution)
	if err != nil {
		return "", ""
	}
	ast.Inspect(f, func(n ast.Node) bool {
		s, ok := n.(*ast.StructType)
		if !ok {
			return text == ""
		}
		for _, field := range s.Fields.List {
			for _, id := range field.Names {
				if id.Name == name {
					text = name + " " + d.Text[int(field.Type.Pos())-1-len(head):int(field.Type.End())-1-len(head)]
					comment = strings.TrimSpace(field.Doc.Text() + field.Comment.Text())
				}
			}
		}
		return false
	})
	return text, comment
}
