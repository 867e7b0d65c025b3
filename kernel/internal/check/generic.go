package check

import (
	"go/ast"
	"go/parser"
	"go/token"

	"golang.org/x/tools/go/ast/astutil"
)

// The interpreter's parser has generic functions and types in a form of its
// own: a function has two receivers, of which the second lists its type
// parameters, the type of a type declaration and the index of f[int] are
// composite literals.

// isGeneric reports whether a node is a generic function.
func isGeneric(n ast.Node) bool {
	f, ok := n.(*ast.FuncDecl)
	return ok && f.Recv != nil && len(f.Recv.List) == 2
}

// asInGo writes generic types, and what uses them and generic functions, as Go
// has them, and returns what writes them back as they were.
func (c *Cell) asInGo(nodes []ast.Node) (back func()) {
	written := map[ast.Expr]*ast.IndexExpr{}
	var undo []func()
	walk := func(n ast.Node, visit func(*astutil.Cursor) bool) {
		if f, ok := n.(*ast.FuncDecl); ok { // one receiver may be nil, which no walker expects
			astutil.Apply(f.Type, nil, visit)
			astutil.Apply(f.Body, nil, visit)
			return
		}
		astutil.Apply(n, nil, visit)
	}
	for _, n := range nodes {
		walk(n, func(cur *astutil.Cursor) bool {
			switch n := cur.Node().(type) {
			case *ast.IndexExpr:
				lit, ok := n.Index.(*ast.CompositeLit)
				if !ok || lit.Type != nil || cur.Parent() == nil {
					break
				}
				var x ast.Expr = &ast.IndexListExpr{X: n.X, Lbrack: n.Lbrack, Indices: lit.Elts, Rbrack: n.Rbrack}
				if len(lit.Elts) == 1 {
					x = &ast.IndexExpr{X: n.X, Lbrack: n.Lbrack, Index: lit.Elts[0], Rbrack: n.Rbrack}
				}
				written[x] = n
				cur.Replace(x)
			case *ast.TypeSpec:
				typ := n.Type
				if lit, ok := typ.(*ast.CompositeLit); ok {
					n.TypeParams, n.Type = c.parameters(n.Name.Name, lit.Elts), lit.Type
				} else if text, ok := c.source[n.Name.Name]; ok {
					if x, err := parser.ParseExpr(text); err == nil {
						n.Type = x
					}
				}
				undo = append(undo, func() { n.TypeParams, n.Type = nil, typ })
			}
			return true
		})
	}
	return func() {
		for _, n := range nodes {
			walk(n, func(cur *astutil.Cursor) bool {
				if x, ok := cur.Node().(ast.Expr); ok && written[x] != nil {
					if tv, ok := c.types[x]; ok {
						c.types[written[x]] = tv
					}
					cur.Replace(written[x])
				}
				return true
			})
		}
		for _, f := range undo {
			f()
		}
	}
}

// function returns a generic function as Go has it.
func (c *Cell) function(f *ast.FuncDecl) *ast.FuncDecl {
	lit, ok := f.Recv.List[1].Type.(*ast.CompositeLit)
	if !ok {
		return nil
	}
	return &ast.FuncDecl{Name: f.Name, Body: f.Body, Type: &ast.FuncType{
		Func: f.Type.Func, TypeParams: c.parameters(f.Name.Name, lit.Elts), Params: f.Type.Params, Results: f.Type.Results}}
}

// parameters returns the type parameters of a declaration, with their
// constraints as they were written.
func (c *Cell) parameters(name string, names []ast.Expr) *ast.FieldList {
	file, err := parser.ParseFile(token.NewFileSet(), "", "package p; func _"+c.source[name]+"() {}", 0)
	if err == nil {
		if list := file.Decls[0].(*ast.FuncDecl).Type.TypeParams; list != nil {
			return list
		}
	}
	list := &ast.FieldList{}
	for _, x := range names {
		if id, ok := x.(*ast.Ident); ok {
			list.List = append(list.List, &ast.Field{Names: []*ast.Ident{id}, Type: &ast.Ident{NamePos: id.NamePos, Name: "any"}})
		}
	}
	return list
}

// asInInterpreter writes the type arguments in an expression as the
// interpreter has them.
func asInInterpreter(x ast.Expr) ast.Expr {
	n := astutil.Apply(&ast.ParenExpr{X: x}, nil, func(cur *astutil.Cursor) bool {
		switch n := cur.Node().(type) {
		case *ast.IndexExpr:
			cur.Replace(&ast.IndexExpr{X: n.X, Lbrack: n.Lbrack, Index: &ast.CompositeLit{Lbrace: n.Lbrack, Elts: []ast.Expr{n.Index}, Rbrace: n.Rbrack}, Rbrack: n.Rbrack})
		case *ast.IndexListExpr:
			cur.Replace(&ast.IndexExpr{X: n.X, Lbrack: n.Lbrack, Index: &ast.CompositeLit{Lbrace: n.Lbrack, Elts: n.Indices, Rbrace: n.Rbrack}, Rbrack: n.Rbrack})
		}
		return true
	})
	return n.(*ast.ParenExpr).X
}
