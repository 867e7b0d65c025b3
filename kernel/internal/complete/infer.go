package complete

import (
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/kernel/symbols"
)

// packagePath returns the package that a name means here, or "". A well-known
// package need not be imported yet if no other has its name.
func (a *asker) packagePath(name string) string {
	if !token.IsIdentifier(name) || a.local(name) != nil {
		return ""
	}
	for _, im := range a.imports {
		if im.Name == name {
			return im.Path
		}
	}
	if _, ok := a.session[name]; ok {
		return ""
	}
	if paths := packagesNamed(name); len(paths) == 1 {
		return paths[0]
	}
	return ""
}

func packagesNamed(name string) []string {
	return slices.DeleteFunc(symbols.Paths(), func(path string) bool {
		n, _ := symbols.PackageName(path)
		return n != name
	})
}

// local returns the cell's last declaration of a name.
func (a *asker) local(name string) *local {
	for i := range a.locals {
		if a.locals[i].name == name {
			return &a.locals[i]
		}
	}
	return nil
}

func leadingName(expr string) string {
	end := strings.IndexFunc(expr, func(r rune) bool { return !token.IsIdentifier("_" + string(r)) })
	if end < 0 {
		return expr
	}
	return expr[:end]
}

// A static is what is known of an expression from declarations alone.
type static struct {
	typ    ast.Expr // its type; of a type name, the type itself
	home   string   // the package in which names of typ are meant; "" is the cell
	isType bool
}

// maxChain bounds how many declarations lead from a name to its type, which
// may go round in circles in a text that is being written.
const maxChain = 20

// namedType returns where the type of an expression's value is declared, if
// that is in the symbol tables.
func (a *asker) namedType(e ast.Expr) (path, name string) {
	s := a.infer(e, 0, maxChain)
	if s.isType {
		return "", ""
	}
	return a.resolve(s)
}

// typeNamed returns where the type that an expression names is declared.
func (a *asker) typeNamed(e ast.Expr) (path, name string) {
	return a.resolve(static{typ: e})
}

// resolve finds a type in the symbol tables, through a pointer.
func (a *asker) resolve(s static) (path, name string) {
	switch t := s.typ.(type) {
	case *ast.ParenExpr:
		return a.resolve(static{typ: t.X, home: s.home})
	case *ast.StarExpr:
		return a.resolve(static{typ: t.X, home: s.home})
	case *ast.Ident:
		name = t.Name
		if s.home != "" {
			path = s.home
		} else if a.local(name) == nil {
			path = a.dotImported(name)
		}
	case *ast.SelectorExpr:
		x, ok := t.X.(*ast.Ident)
		if !ok {
			return "", ""
		}
		name = t.Sel.Name
		if s.home == "" {
			path = a.packagePath(x.Name)
		} else {
			path = nearest(s.home, x.Name, name)
		}
	}
	if d, ok := symbols.Lookup(path, name); !ok || d.Kind != "type" || strings.Contains(name, ".") {
		return "", ""
	}
	return path, name
}

// A member is a field or a method, and what is known of its type.
type member struct {
	name, kind string
	static
}

// declaredMembers lists the fields and methods that a type has by the
// declarations of the cell, also through a pointer, and what it has by its
// embedded fields, nearest first.
func (a *asker) declaredMembers(s static, depth int) (found []member) {
	if s.home != "" && s.home != sessionPath || s.isType || depth == 0 {
		return nil
	}
	depth--
	var embedded []ast.Expr
	switch t := s.typ.(type) {
	case *ast.ParenExpr:
		return a.declaredMembers(static{typ: t.X}, depth)
	case *ast.StarExpr:
		return a.declaredMembers(static{typ: t.X}, depth)
	case *ast.Ident:
		for _, m := range a.methodsOf(t.Name) {
			found = append(found, member{m.name, "function", static{typ: declaredType(m.signature)}})
		}
		if l := a.local(t.Name); l != nil && l.kind == "type" {
			underlying, _ := parser.ParseExpr(strings.TrimPrefix(l.typ, "="))
			for _, m := range a.declaredMembers(static{typ: underlying}, depth) {
				if _, ok := underlying.(*ast.Ident); !ok || m.kind == "field" || strings.HasPrefix(l.typ, "=") {
					found = append(found, m) // type a b has the fields of b alone
				}
			}
		}
	case *ast.StructType:
		for _, f := range t.Fields.List {
			for _, id := range f.Names {
				found = append(found, member{id.Name, "field", static{typ: f.Type}})
			}
			if len(f.Names) == 0 {
				found = append(found, member{typeName(f.Type), "field", static{typ: f.Type}})
				embedded = append(embedded, f.Type)
			}
		}
	case *ast.InterfaceType:
		for _, f := range t.Methods.List {
			for _, id := range f.Names {
				found = append(found, member{id.Name, "function", static{typ: f.Type}})
			}
			if len(f.Names) == 0 {
				embedded = append(embedded, f.Type)
			}
		}
	}
	for _, e := range embedded {
		if path, name := a.typeNamed(e); name != "" {
			for _, m := range matches(symbols.Members(path, name)) {
				found = append(found, member{m.Text, m.Kind, inferSymbol(path, name+"."+m.Text)})
			}
			continue
		}
		found = append(found, a.declaredMembers(static{typ: e}, depth)...)
		if id, ok := e.(*ast.Ident); ok && a.scope != nil && a.local(id.Name) == nil {
			for _, m := range a.scope.Members("(*new(" + id.Name + "))") {
				found = append(found, member{name: m.Text, kind: m.Kind})
			}
		}
	}
	return found
}

// methodsOf lists the methods that the cell declares for a type of its own or
// of the session.
func (a *asker) methodsOf(typ string) (found []local) {
	for _, m := range a.methods {
		if m.receiver == typ {
			found = append(found, m)
		}
	}
	return found
}

// typeName returns the name of a type without package and pointer, or "".
func typeName(t ast.Expr) string {
	switch t := t.(type) {
	case *ast.ParenExpr:
		return typeName(t.X)
	case *ast.StarExpr:
		return typeName(t.X)
	case *ast.SelectorExpr:
		return t.Sel.Name
	case *ast.Ident:
		return t.Name
	}
	return ""
}

// dotImported returns the package whose dot-import declares the name, or "".
func (a *asker) dotImported(name string) string {
	for _, im := range a.imports {
		if im.Name == "." {
			if _, ok := symbols.Lookup(im.Path, name); ok && token.IsExported(name) {
				return im.Path
			}
		}
	}
	return ""
}

// nearest returns the package of the name that a declaration in the package
// home means: the one with that symbol and the longest path in common.
func nearest(home, pkg, name string) (path string) {
	best := -1
	for _, p := range packagesNamed(pkg) {
		if _, ok := symbols.Lookup(p, name); !ok {
			continue
		}
		common := 0
		for common < len(p) && common < len(home) && p[common] == home[common] {
			common++
		}
		if common > best {
			best, path = common, p
		}
	}
	return path
}

// infer returns what is known of the expression, of value n of a call that
// returns several, in a chain of declarations of that depth.
func (a *asker) infer(e ast.Expr, n, depth int) static {
	if depth == 0 {
		return static{}
	}
	depth--
	switch e := e.(type) {
	case *ast.ParenExpr:
		return a.infer(e.X, n, depth)
	case *ast.UnaryExpr:
		switch e.Op {
		case token.AND, token.ADD, token.SUB:
			return a.infer(e.X, 0, depth)
		case token.ARROW:
			if s := a.infer(e.X, 0, depth); s.typ != nil {
				if c, ok := s.typ.(*ast.ChanType); ok {
					return static{typ: c.Value, home: s.home}
				}
			}
		}
	case *ast.BinaryExpr:
		switch e.Op {
		case token.ADD, token.SUB, token.MUL, token.QUO, token.REM:
			if s := a.infer(e.X, 0, depth); s.typ != nil { // else a number that takes the other's type
				return s
			}
			return a.infer(e.Y, 0, depth)
		}
	case *ast.SliceExpr:
		return a.infer(e.X, 0, depth)
	case *ast.FuncLit:
		return static{typ: e.Type}
	case *ast.StarExpr:
		return a.infer(e.X, 0, depth)
	case *ast.CompositeLit:
		return static{typ: e.Type}
	case *ast.TypeAssertExpr:
		return static{typ: e.Type}
	case *ast.Ident:
		return a.inferName(e.Name, depth)
	case *ast.SelectorExpr:
		if x, ok := e.X.(*ast.Ident); ok {
			if path := a.packagePath(x.Name); path != "" {
				return inferSymbol(path, e.Sel.Name)
			}
		}
		s := a.infer(e.X, 0, depth)
		if path, name := a.resolve(s); name != "" {
			return inferSymbol(path, name+"."+e.Sel.Name)
		}
		for _, m := range a.declaredMembers(s, maxChain) {
			if m.name == e.Sel.Name {
				return m.static
			}
		}
	case *ast.IndexExpr:
		return a.element(a.infer(e.X, 0, depth))
	case *ast.CallExpr:
		if f, ok := e.Fun.(*ast.Ident); ok && len(e.Args) > 0 && (f.Name == "new" || f.Name == "make") {
			return static{typ: e.Args[0]}
		}
		f := a.infer(e.Fun, 0, depth)
		if f.isType { // a conversion
			f.isType = false
			return f
		}
		if t, ok := f.typ.(*ast.FuncType); ok {
			return static{typ: result(t, n), home: f.home}
		}
	}
	return static{}
}

func (a *asker) inferName(name string, depth int) static {
	if l := a.local(name); l != nil {
		switch {
		case l.kind == "type":
			return static{typ: ast.NewIdent(name), isType: true}
		case l.signature != "":
			return static{typ: declaredType(l.signature)}
		case l.typ != "":
			t, err := parser.ParseExpr(l.typ)
			if err == nil {
				return static{typ: t}
			}
		case l.value != "":
			// A declaration that names itself, such as x := x.Y, refers to an
			// earlier one, which the session may know but the cell does not.
			v, err := parser.ParseExpr(l.value)
			switch {
			case err != nil || leadingName(l.value) == name:
			case !l.ranged:
				return a.infer(v, l.index, depth)
			case l.index == 1:
				return a.element(a.infer(v, 0, depth))
			}
		}
		return static{}
	}
	if _, ok := a.session[name]; ok && a.scope != nil {
		if path, typ := a.scope.TypeName(name); typ != "" {
			return static{typ: ast.NewIdent(typ), home: path}
		}
	}
	if path := a.dotImported(name); path != "" {
		return inferSymbol(path, name)
	}
	return static{}
}

// inferSymbol reads the type of a symbol off its signature.
func inferSymbol(path, name string) static {
	d, ok := symbols.Lookup(path, name)
	if !ok {
		return static{}
	}
	switch d.Kind {
	case "type":
		return static{typ: ast.NewIdent(name), home: path, isType: true}
	case "field":
		t, err := parser.ParseExpr(strings.TrimPrefix(d.Signature, d.Name+" "))
		if err != nil {
			return static{}
		}
		return static{typ: t, home: path}
	}
	return static{typ: declaredType(d.Signature), home: path}
}

// declaredType returns the type in a declaration, nil if there is none.
func declaredType(declaration string) ast.Expr {
	f, err := parser.ParseFile(token.NewFileSet(), "", "package p;"+declaration, parser.SkipObjectResolution)
	if err != nil || len(f.Decls) == 0 {
		return nil
	}
	switch d := f.Decls[0].(type) {
	case *ast.FuncDecl:
		return d.Type
	case *ast.GenDecl:
		if len(d.Specs) == 0 {
			return nil
		}
		switch s := d.Specs[0].(type) {
		case *ast.ValueSpec:
			return s.Type
		case *ast.TypeSpec:
			return s.Type
		}
	}
	return nil
}

// element returns the type of an element of a slice, array or map.
func (a *asker) element(s static) static {
	t := s.typ
	if path, name := a.resolve(s); name != "" {
		d, _ := symbols.Lookup(path, name)
		s = static{typ: t, home: path}
		t = declaredType(d.Signature)
	}
	switch t := t.(type) {
	case *ast.ArrayType:
		return static{typ: t.Elt, home: s.home}
	case *ast.MapType:
		return static{typ: t.Value, home: s.home}
	}
	return static{}
}

// result returns the type of a function's result n.
func result(t *ast.FuncType, n int) ast.Expr {
	if t.Results == nil {
		return nil
	}
	for _, f := range t.Results.List {
		if n -= max(1, len(f.Names)); n < 0 {
			return f.Type
		}
	}
	return nil
}
