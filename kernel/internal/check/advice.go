package check

import (
	"fmt"
	"go/ast"
	"go/token"
	"go/types"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/evenbed/evenbed/kernel/symbols"
)

// advice tells what else there is where a cell has asked for what is not: the
// fields and methods of a type, or the method that multiplies two quantities.
func (c *Cell) advice(n ast.Node, at token.Pos) string {
	advice := ""
	ast.Inspect(n, func(n ast.Node) bool {
		if n == nil || n.Pos() > at || at >= n.End() {
			return false
		}
		switch n := n.(type) {
		case *ast.SelectorExpr:
			if t := c.Type(n.X); t != nil && n.Sel.Pos() == at {
				advice = members(t, n.Sel.Name)
			}
		case *ast.CompositeLit:
			for _, x := range n.Elts {
				if kv, ok := x.(*ast.KeyValueExpr); ok && kv.Key.Pos() == at {
					if id, ok := kv.Key.(*ast.Ident); ok && c.Type(n) != nil {
						advice = fields(c.Type(n), id.Name)
					}
				}
			}
		case *ast.BinaryExpr:
			if n.Op == token.MUL || n.Op == token.QUO {
				if s := combined(c.Type(n.X), c.Type(n.Y)); s != "" {
					advice = s
				}
			}
		}
		return true
	})
	return advice
}

// members names the fields and methods of a type that resemble a name, or all.
func members(t types.Type, name string) string {
	base := t
	if p, ok := t.Underlying().(*types.Pointer); ok {
		base = p.Elem()
	}
	all := slices.DeleteFunc(methodsOf(base), Shows)
	return resembling(append(all, fieldsOf(base)...), name, base)
}

// methodsOf returns the methods of a type and of pointers to it.
func methodsOf(t types.Type) []string {
	methods := types.NewMethodSet(t)
	if !types.IsInterface(t) {
		methods = types.NewMethodSet(types.NewPointer(t))
	}
	var all []string
	for m := range methods.Methods() {
		all = append(all, m.Obj().Name())
	}
	return all
}

// fields names the fields of a struct that resemble a name, or all.
func fields(t types.Type, name string) string { return resembling(fieldsOf(t), name, t) }

func fieldsOf(t types.Type) []string {
	var all []string
	if s, ok := t.Underlying().(*types.Struct); ok {
		for f := range s.Fields() {
			all = append(all, f.Name())
		}
	}
	return all
}

func resembling(names []string, name string, t types.Type) string {
	if n, ok := t.(*types.Named); !ok || !inMain(n) {
		names = slices.DeleteFunc(names, func(s string) bool { return !token.IsExported(s) })
	}
	return DidYouMean(names, name)
}

// DidYouMean asks whether one of the names was meant that resemble a name. If
// none does it lists them all, and is "" if they are too many.
func DidYouMean(names []string, name string) string {
	if near := Near(names, name); len(near) > 0 {
		return "did you mean " + strings.Join(near, " or ") + "?"
	}
	if len(names) == 0 || len(names) > 40 {
		return ""
	}
	return "it has " + strings.Join(slices.Sorted(slices.Values(names)), ", ")
}

// Near returns the names that fewest typing errors lead to: at most three, and
// one in three letters.
func Near(names []string, name string) []string {
	var near []string
	least := 3
	for _, s := range names {
		d := symbols.Distance(s, name)
		if 3*d > utf8.RuneCountInString(name)+1 {
			continue
		}
		if d < least {
			near, least = nil, d
		}
		if d == least {
			near = append(near, s)
		}
	}
	return near
}

// NoSuch says that a package, imported as pkg, has no such name, and which it
// has.
func NoSuch(path, pkg, name string) string {
	s := fmt.Sprintf("package %s has no %s", pkg, name)
	if hint, ok := symbols.Missing(path, name); ok {
		return s + ": " + hint
	}
	var names []string
	for _, d := range symbols.Names(path) {
		names = append(names, d.Name)
	}
	if advice := DidYouMean(names, name); advice != "" {
		return s + "; " + advice
	}
	return fmt.Sprintf("%s; ?%s lists what it has", s, pkg)
}

// shows are the methods by which values show themselves; a cell seldom calls them.
var shows = []string{"Page", "HTML", "Markdown", "String", "SVG", "Latex"}

// Shows reports whether a method is one by which values show themselves.
func Shows(method string) bool { return slices.Contains(shows, method) }

// combined names the methods by which one quantity is multiplied with another
// or divided by it.
func combined(a, b types.Type) string {
	var ways []string
	for _, pair := range [][2]types.Type{{a, b}, {b, a}} {
		n, ok := pair[0].(*types.Named)
		other, ok2 := pair[1].(*types.Named)
		if !ok || !ok2 || n == other || n.Obj().Pkg() != other.Obj().Pkg() {
			continue
		}
		for m := range n.Methods() {
			s := m.Signature()
			if s.Params().Len() != 1 || s.Results().Len() != 1 || !types.Identical(s.Params().At(0).Type(), other) {
				continue
			}
			if result, ok := s.Results().At(0).Type().(*types.Named); ok {
				ways = append(ways, fmt.Sprintf("%s.%s(%s) gives %s", n.Obj().Name(), m.Name(), other.Obj().Name(), result.Obj().Name()))
			}
		}
	}
	if len(ways) == 0 {
		return ""
	}
	return "quantities are multiplied and divided by methods: " + strings.Join(ways, ", ")
}
