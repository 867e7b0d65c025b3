// Package cell prepares a parsed cell for the interpreter: it finds what the
// cell imports and declares, and rewrites what the interpreter would do
// otherwise than a notebook needs.
//
// The names [Guard], [Note] and [Step] stand for functions that the engine
// gives the interpreter. They contain a space, so that no cell can use or hide
// them.
package cell

import (
	"go/ast"
	"go/token"
	"slices"
	"strconv"
	"strings"
)

const (
	// Guard is called as Guard(f) and returns an f that does not end the
	// process when it panics.
	Guard = "guard goroutine"
	// Note is called as Note(err) after an assignment to err that the cell
	// never looks at.
	Note = "note error"
	// Step is called as Step(i) before the top-level statement Nodes[i].
	Step = "next step"
	// Text is called as Text(x) and returns what package fmt writes as it would
	// write x if it saw the methods and names of types that cells have declared.
	// TypeName(x) returns the name of the type of x.
	Text     = "text of"
	TypeName = "type of"
	// Wrap is called as Wrap(x) and returns x as an interface{} that keeps the
	// type with it. Plain(x) returns the value in it. Assert(x, T) is x.(T),
	// Asserts(x, T) also says whether x is a T, and Which(x, T, U) says which of
	// some types the value in x has.
	Wrap    = "wrap value"
	Plain   = "plain value"
	Assert  = "assert type"
	Asserts = "asserts type"
	Which   = "which type"
	// Box is called as Box(x) and returns x as an interface{}, which is nil if
	// x is. Unbox(x, T) returns it as the T that it was.
	Box   = "box value"
	Unbox = "unbox value"
	// Convert is called as Convert(x, I) and returns x as an I.
	Convert = "convert pointer"
	// IsError, AsError and UnwrapError are errors.Is, errors.As and
	// errors.Unwrap that see the methods of types that cells have declared.
	IsError     = "is error"
	AsError     = "as error"
	UnwrapError = "unwrap error"
	// Select is called as Select("rsd", a, b, x) for a select that can receive
	// from a, send x to b, or do neither. It returns the number of what was done,
	// whether a value that was sent was received, and the values received.
	Select = "select channel"
	// Zero is called as Zero(x) and returns the zero value of the type of x.
	Zero = "zero of"
	// Values is called as Values(a, b) in place of the list "a, b" at the end
	// of a cell, and returns both. Values(a) has one value alone. It is written into the source, so it is an
	// identifier, of a letter that no keyboard has.
	Values = "ǀvalues"
	// Embedded is the parameter of what stands for an interface that is embedded
	// in another, which the interpreter's parser cannot read by its name alone.
	Embedded = "ǀembedded"
)

// Own reports whether a name is one of the calls above, which no cell writes.
func Own(name string) bool { return name == Values || !token.IsIdentifier(name) }

// A Cell is a cell in the parts in which it is compiled.
type Cell struct {
	Imports []*ast.GenDecl
	Nodes   []ast.Node // all but the imports, as written
	Body    []ast.Node // the nodes with what the engine needs between them
	// Silent says that the value of the last expression is not shown: the
	// cell ends with a semicolon, or prints.
	Silent bool
}

// New prepares the nodes of a cell with the given source. The nodes are
// changed. Without types, a range over an integer stays as it is.
func New(source string, nodes []ast.Node, types Types) *Cell {
	c := new(Cell)
	for _, n := range nodes {
		if d, ok := n.(*ast.GenDecl); ok && d.Tok == token.IMPORT {
			c.Imports = append(c.Imports, d)
		} else {
			c.Nodes = append(c.Nodes, rewrite(n, types)...)
		}
	}
	c.Silent = strings.HasSuffix(strings.TrimSpace(source), ";")
	if n := len(c.Nodes); n > 0 && prints(c.Nodes[n-1]) {
		c.Silent = true
	}
	for i, n := range c.Nodes {
		guardGoroutines(n)
		switch n.(type) {
		case ast.Decl: // the interpreter brings declarations into an order of its own
		default:
			c.Body = append(c.Body, call(Step, n.Pos(), &ast.BasicLit{ValuePos: n.Pos(), Kind: token.INT, Value: strconv.Itoa(i)}))
		}
		c.Body = append(c.Body, n)
		c.Body = append(c.Body, notes(n, c.Nodes[i+1:])...)
	}
	return c
}

// prints reports whether n is a call of fmt.Print and its like, whose count
// of bytes nobody wants to see.
func prints(n ast.Node) bool {
	call, ok := expression(n).(*ast.CallExpr)
	if !ok {
		return false
	}
	name, ok := fmtFunction(call)
	return ok && (strings.HasPrefix(name, "Print") || strings.HasPrefix(name, "Fprint"))
}

// fmtFunction returns the name of the function of package fmt that is called.
func fmtFunction(call *ast.CallExpr) (string, bool) { return functionOf("fmt", call) }

// functionOf returns the name of the function of a package that is called.
func functionOf(pkg string, call *ast.CallExpr) (string, bool) {
	sel, ok := call.Fun.(*ast.SelectorExpr)
	if !ok {
		return "", false
	}
	id, ok := sel.X.(*ast.Ident)
	return sel.Sel.Name, ok && id.Name == pkg
}

// Last returns the expression with which the cell ends, or nil.
func (c *Cell) Last() ast.Expr {
	if len(c.Nodes) == 0 {
		return nil
	}
	return expression(c.Nodes[len(c.Nodes)-1])
}

func expression(n ast.Node) ast.Expr {
	switch n := n.(type) {
	case *ast.ExprStmt:
		return n.X
	case ast.Expr:
		return n
	}
	return nil
}

// An Import is one import of a cell.
type Import struct {
	Path string
	Name string // as written before the path; "" if none is
	Pos  token.Pos
}

// ImportList returns what the cell imports.
func (c *Cell) ImportList() []Import {
	var list []Import
	for _, d := range c.Imports {
		for _, s := range d.Specs {
			spec, ok := s.(*ast.ImportSpec)
			if !ok {
				continue
			}
			path, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				path = spec.Path.Value
			}
			im := Import{Path: path, Pos: spec.Path.Pos()}
			if spec.Name != nil {
				im.Name = spec.Name.Name
			}
			list = append(list, im)
		}
	}
	return list
}

// Declared returns the identifiers that the cell declares at its top level.
func (c *Cell) Declared() []*ast.Ident {
	var ids []*ast.Ident
	for _, n := range c.Nodes {
		switch n := n.(type) {
		case *ast.AssignStmt:
			if n.Tok == token.DEFINE {
				ids = append(ids, assigned(n)...)
			}
		case *ast.FuncDecl:
			if n.Recv == nil {
				ids = append(ids, n.Name)
			}
		case *ast.GenDecl:
			ids = append(ids, declared(n)...)
		case *ast.DeclStmt:
			if d, ok := n.Decl.(*ast.GenDecl); ok {
				ids = append(ids, declared(d)...)
			}
		}
	}
	return ids
}

// Functions returns how many functions and methods the cell declares.
func (c *Cell) Functions() int {
	n := 0
	for _, node := range c.Nodes {
		if _, ok := node.(*ast.FuncDecl); ok {
			n++
		}
	}
	return n
}

// Lasts reports whether something of the cell may run after it has ended, or
// be looked at: functions, goroutines and types.
func (c *Cell) Lasts() bool {
	lasts := false
	for _, node := range c.Nodes {
		Inspect(node, func(n ast.Node) bool {
			switch n.(type) {
			case *ast.FuncDecl, *ast.FuncLit, *ast.GoStmt, *ast.TypeSpec:
				lasts = true
			}
			return !lasts
		})
	}
	return lasts
}

// An Order is an order in which declarations can be compiled.
type Order struct {
	Types     []ast.Node      // types and constants
	Functions []*ast.FuncDecl // to be made known next
	Rest      []ast.Node      // functions, and variables before or after them
}

// NewOrder brings declarations into order.
func NewOrder(decls []ast.Node) Order {
	var o Order
	var before, functions, after []ast.Node
	for _, n := range decls {
		if f, ok := n.(*ast.FuncDecl); ok {
			functions = append(functions, f)
			if f.Recv == nil || len(f.Recv.List) == 1 { // the others are generic
				o.Functions = append(o.Functions, f)
			}
		}
	}
	for _, n := range decls {
		d, ok := n.(*ast.GenDecl)
		switch {
		case !ok:
		case d.Tok != token.VAR:
			o.Types = append(o.Types, d)
		case slices.ContainsFunc(o.Functions, func(f *ast.FuncDecl) bool { return mentions(d, f.Name.Name) }):
			after = append(after, d)
		default:
			before = append(before, d)
		}
	}
	o.Rest = slices.Concat(before, functions, after)
	return o
}

func declared(d *ast.GenDecl) []*ast.Ident {
	var ids []*ast.Ident
	for _, s := range d.Specs {
		switch s := s.(type) {
		case *ast.ValueSpec:
			ids = append(ids, s.Names...)
		case *ast.TypeSpec:
			ids = append(ids, s.Name)
		}
	}
	return ids
}

// assigned returns the identifiers on the left of an assignment.
func assigned(n *ast.AssignStmt) []*ast.Ident {
	var ids []*ast.Ident
	for _, x := range n.Lhs {
		if id, ok := x.(*ast.Ident); ok && id.Name != "_" {
			ids = append(ids, id)
		}
	}
	return ids
}

// guardGoroutines replaces every "go f(x)" in n by "go Guard(f)(x)".
func guardGoroutines(n ast.Node) {
	Inspect(n, func(n ast.Node) bool {
		g, ok := n.(*ast.GoStmt)
		if !ok {
			return true
		}
		f := g.Call.Fun
		if id, ok := f.(*ast.Ident); ok && builtins[id.Name] {
			// A builtin is no value: go close(c) becomes go Guard(func() { close(c) })().
			f = &ast.FuncLit{
				Type: &ast.FuncType{Func: g.Call.Pos(), Params: &ast.FieldList{}},
				Body: &ast.BlockStmt{Lbrace: g.Call.Pos(), List: []ast.Stmt{&ast.ExprStmt{X: g.Call}}, Rbrace: g.Call.End()},
			}
			g.Call = &ast.CallExpr{Lparen: g.Call.Pos(), Rparen: g.Call.End()}
		}
		g.Call.Fun = call(Guard, f.Pos(), f)
		return true
	})
}

var builtins = map[string]bool{"close": true, "copy": true, "delete": true, "panic": true,
	"print": true, "println": true, "recover": true}

// notes returns a call of Note for each variable to which n assigns and that
// the nodes after it do not look at before it is assigned to again. Only
// single identifiers on the left of an assignment with a call on the right
// count, since only those are forgotten by mistake.
func notes(n ast.Node, after []ast.Node) []ast.Node {
	var calls []ast.Node
	for _, id := range fromCall(n) {
		if !looksAt(after, id.Name) {
			calls = append(calls, call(Note, id.Pos(), &ast.Ident{NamePos: id.Pos(), Name: id.Name}))
		}
	}
	return calls
}

// call returns the call of a function at a position.
func call(name string, pos token.Pos, arg ast.Expr) *ast.CallExpr {
	return &ast.CallExpr{Fun: &ast.Ident{NamePos: pos, Name: name}, Lparen: pos, Args: []ast.Expr{arg}, Rparen: arg.End()}
}

// fromCall returns the variables that n assigns from a function call.
func fromCall(n ast.Node) []*ast.Ident {
	switch n := n.(type) {
	case *ast.AssignStmt:
		if (n.Tok == token.DEFINE || n.Tok == token.ASSIGN) && hasCall(n.Rhs) {
			return assigned(n)
		}
	case *ast.DeclStmt:
		return fromCall(n.Decl)
	case *ast.GenDecl:
		var ids []*ast.Ident
		for _, s := range n.Specs {
			if v, ok := s.(*ast.ValueSpec); ok && n.Tok == token.VAR && hasCall(v.Values) {
				for _, id := range v.Names {
					if id.Name != "_" {
						ids = append(ids, id)
					}
				}
			}
		}
		return ids
	}
	return nil
}

// hasCall reports whether one of the expressions is a call, which may have
// failed. One that makes an error has not.
func hasCall(xs []ast.Expr) bool {
	for _, x := range xs {
		if call, ok := x.(*ast.CallExpr); ok {
			if name, ok := functionOf("errors", call); ok && name == "New" {
				continue
			}
			return true
		}
	}
	return false
}

// looksAt reports whether the nodes read the variable before they assign to it.
func looksAt(nodes []ast.Node, name string) bool {
	for _, n := range nodes {
		a, isAssign := n.(*ast.AssignStmt)
		if !isAssign || a.Tok != token.DEFINE && a.Tok != token.ASSIGN {
			if mentions(n, name) {
				return true
			}
			continue
		}
		overwrites := false
		for _, x := range a.Lhs {
			if id, ok := x.(*ast.Ident); ok && id.Name == name {
				overwrites = true
			} else if mentions(x, name) {
				return true
			}
		}
		for _, x := range a.Rhs {
			if mentions(x, name) {
				return true
			}
		}
		if overwrites {
			return false
		}
	}
	return false
}

func mentions(n ast.Node, name string) bool {
	found := false
	Inspect(n, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.Ident:
			found = found || n.Name == name
		case *ast.SelectorExpr: // x.name is another name
			found = found || mentions(n.X, name)
			return false
		}
		return !found
	})
	return found
}

// Inspect is ast.Inspect for nodes of the interpreter's parser, in which a
// generic function has a receiver that is nil.
func Inspect(n ast.Node, visit func(ast.Node) bool) {
	if f, ok := n.(*ast.FuncDecl); ok && f.Recv != nil && len(f.Recv.List) == 2 {
		if visit(f) {
			ast.Inspect(f.Type, visit)
			ast.Inspect(f.Body, visit)
		}
		return
	}
	ast.Inspect(n, visit)
}
