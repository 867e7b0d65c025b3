package check

import (
	"fmt"
	"go/ast"
	"go/token"
	"go/types"
	"strings"
)

// circles finds the types that refer to themselves. The interpreter takes its
// types from reflection, which can make no circle. Fields that close one are
// boxed, and what circles are left, through arrays, embedded fields or no
// struct at all, are refused.
func (c *Cell) circles(nodes []ast.Node) {
	for _, n := range nodes {
		if !isGeneric(n) {
			ast.Inspect(n, func(n ast.Node) bool {
				if spec, ok := n.(*ast.TypeSpec); ok {
					c.box(spec)
				}
				return true
			})
		}
	}
	for _, n := range nodes {
		switch n := n.(type) {
		case *ast.GenDecl:
			for _, s := range n.Specs {
				spec, ok := s.(*ast.TypeSpec)
				if !ok {
					continue
				}
				if _, through := c.circle(spec.Name.Name); through != "" {
					c.Problems = append(c.Problems, Problem{spec.Pos(), fmt.Sprintf(
						"the interpreter cannot let type %s refer to itself through %s; hold one of them as any, or keep indices into a slice", spec.Name.Name, through)})
				}
			}
		case *ast.FuncDecl:
			if n.Recv == nil || len(n.Recv.List) != 1 {
				continue
			}
			if name := baseName(n.Recv.List[0].Type); name != "" {
				if self, _ := c.circle(name); self {
					c.Problems = append(c.Problems, Problem{n.Name.Pos(), fmt.Sprintf(
						"the interpreter cannot give methods to %s, which refers to itself; write a function that takes a %s", name, name)})
				}
			}
		}
	}
}

// circle reports whether a type of the notebook refers to itself, and through
// what else than its own parts.
func (c *Cell) circle(name string) (self bool, through string) {
	obj := c.names[name]
	if obj == nil {
		obj = c.checker.names[name]
	}
	tn, ok := obj.(*types.TypeName)
	if !ok {
		return false, ""
	}
	target, ok := tn.Type().(*types.Named)
	if !ok {
		return false, ""
	}
	seen := map[*types.Named]bool{}
	var visit func(t types.Type, via string)
	tuple := func(t *types.Tuple, via string) {
		for i := range t.Len() {
			visit(t.At(i).Type(), via)
		}
	}
	visit = func(t types.Type, via string) {
		switch t := t.(type) {
		case *types.Named:
			if t == target {
				self = true
				if via != "" {
					through = via
				}
			} else if t.Obj().Pkg() != nil && t.Obj().Pkg().Path() == "main" && !seen[t] {
				seen[t] = true
				visit(t.Underlying(), "type "+t.Obj().Name())
			}
		case *types.Map:
			visit(t.Key(), via)
			visit(t.Elem(), via)
		case interface{ Elem() types.Type }:
			visit(t.Elem(), via)
		case *types.Struct:
			for f := range t.Fields() {
				if !c.IsBoxed(f) {
					visit(f.Type(), via)
				}
			}
		case *types.Signature:
			tuple(t.Params(), "a function")
			tuple(t.Results(), "a function")
		case *types.Interface:
			for i := range t.NumExplicitMethods() {
				visit(t.ExplicitMethod(i).Type(), "a method of an interface")
			}
		}
	}
	visit(target.Underlying(), "")
	return self, through
}

// box notes the fields of a type that lead back to it.
func (c *Cell) box(spec *ast.TypeSpec) {
	tn, ok := c.defs[spec.Name].(*types.TypeName)
	if !ok {
		return
	}
	ast.Inspect(spec.Type, func(n ast.Node) bool {
		s, ok := n.(*ast.StructType)
		if !ok {
			return true
		}
		for _, f := range s.Fields.List {
			for _, id := range f.Names {
				v, ok := c.defs[id].(*types.Var)
				if !ok {
					continue
				}
				switch v.Type().Underlying().(type) {
				case *types.Pointer, *types.Slice, *types.Map, *types.Chan, *types.Signature, *types.Interface:
					if mentions(v.Type(), tn, map[*types.Named]bool{}) {
						c.checker.boxed[v] = true
					}
				}
			}
		}
		return true
	})
}

// IsBoxed reports whether a field is held as an interface{}.
func (c *Cell) IsBoxed(v *types.Var) bool { return c.checker.boxed[v] }

// Type returns the type of an expression of what the cells so far have declared,
// also where boxed fields lead to it, or nil.
func (c *Checker) Type(x ast.Expr) types.Type {
	return c.Cell([]ast.Node{&ast.ExprStmt{X: x}}, nil).Type(x)
}

// Members returns the names of the fields and methods of an expression's value.
func (c *Checker) Members(x ast.Expr) (fields, methods []string) {
	t := c.Type(x)
	if t == nil {
		return nil, nil
	}
	if p, ok := t.Underlying().(*types.Pointer); ok {
		t = p.Elem()
	}
	return fieldsOf(t), methodsOf(t)
}

// Boxed returns the type of a boxed field, of a selector of it or its name
// where it is declared, or nil.
func (c *Cell) Boxed(x ast.Expr) types.Type {
	var v *types.Var
	switch x := x.(type) {
	case *ast.Ident:
		v, _ = c.defs[x].(*types.Var)
	case *ast.SelectorExpr:
		if s := c.selections[x]; s != nil {
			v, _ = s.Obj().(*types.Var)
		}
	}
	if v == nil || !c.IsBoxed(v) {
		return nil
	}
	return v.Type()
}

// boxes finds what cannot be done with a boxed field, which is no variable of
// its type.
func (c *Cell) boxes(n ast.Node) {
	refuse := func(x ast.Expr, what, instead string) {
		if x == nil {
			return
		}
		if sel, ok := ast.Unparen(x).(*ast.SelectorExpr); ok && c.Boxed(sel) != nil {
			c.Problems = append(c.Problems, Problem{x.Pos(), fmt.Sprintf(
				"the interpreter cannot %s %s, whose type refers to itself; %s", what, types.ExprString(sel), instead)})
		}
	}
	ast.Inspect(n, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.UnaryExpr:
			if n.Op == token.AND {
				refuse(n.X, "take the address of", "keep a pointer to the struct")
			}
		case *ast.AssignStmt:
			if len(n.Lhs) != len(n.Rhs) {
				for _, x := range n.Lhs {
					refuse(x, "set several values at once in", "assign to a variable first")
				}
			}
			for _, x := range n.Lhs {
				if p, ok := x.(*ast.ParenExpr); ok {
					refuse(p, "assign to parentheses around", "leave them out")
				}
			}
		case *ast.RangeStmt:
			if n.Tok == token.ASSIGN {
				refuse(n.Key, "range with", "range with a variable")
				refuse(n.Value, "range with", "range with a variable")
			}
		case *ast.SelectorExpr:
			if s := c.selections[n]; s != nil && s.Kind() == types.MethodVal {
				_, pointer := s.Obj().(*types.Func).Signature().Recv().Type().(*types.Pointer)
				if _, given := c.Type(n.X).(*types.Pointer); pointer && !given {
					refuse(n.X, "call a method with a pointer receiver of", "call it on a variable, and assign that to the field")
				}
			}
		}
		return true
	})
}

// compares finds comparisons of what contains interfaces that cells have
// declared: to the interpreter such an interface is the same only as itself.
func (c *Cell) compares(n ast.Node) {
	refuse := func(x ast.Node, what, instead string) {
		c.Problems = append(c.Problems, Problem{x.Pos(), "the interpreter cannot " + what + " with an interface that a cell has declared; " + instead})
	}
	ast.Inspect(n, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.MapType:
			if m, ok := c.Type(n).(*types.Map); ok && ownInterface(m.Key()) {
				refuse(n, "find keys", "use a string or a number as the key")
			}
		case *ast.CallExpr:
			if pkg := c.Package(n.Fun); reflects(pkg) {
				sel, _ := n.Fun.(*ast.SelectorExpr)
				fills := sel != nil && (strings.HasPrefix(sel.Sel.Name, "Unmarshal") || strings.HasPrefix(sel.Sel.Name, "Decode"))
				for _, x := range n.Args {
					if t := c.Type(x); t != nil {
						c.encodes(x, t, pkg, fills, map[types.Type]bool{})
					}
				}
			}
			if sel, ok := n.Fun.(*ast.SelectorExpr); ok && c.Package(sel) == "reflect" && len(n.Args) == 1 && (sel.Sel.Name == "TypeOf" || sel.Sel.Name == "ValueOf") {
				if t := c.Type(n.Args[0]); t != nil && ofCells(t) {
					c.Problems = append(c.Problems, Problem{n.Pos(), "package reflect does not see the names and methods of types that cells have declared; fmt.Sprintf(\"%T\", x) has the name"})
				}
			}
		case *ast.FuncDecl:
			f, ok := c.defs[n.Name].(*types.Func)
			if !ok || n.Recv == nil {
				break
			}
			in, out := f.Signature().Params(), f.Signature().Results()
			if name := n.Name.Name; name == "Format" && in.Len() == 2 && in.At(0).Type().String() == "fmt.State" || name == "GoString" && in.Len() == 0 && out.Len() == 1 {
				c.Problems = append(c.Problems, Problem{n.Name.Pos(), "package fmt does not see the method " + name + " of a type that a cell has declared; write a method String"})
			}
		case *ast.BinaryExpr:
			if t := c.Type(n.X); t != nil && (n.Op == token.EQL || n.Op == token.NEQ) && !types.IsInterface(t) && ownInterface(t) {
				refuse(n, "compare values", "compare their fields one by one")
			}
		}
		return true
	})
}

// reflects reports whether a package looks at values by reflection, and makes
// something of their methods or of what is embedded in them.
func reflects(pkg string) bool {
	return strings.HasPrefix(pkg, "encoding/") || strings.HasSuffix(pkg, "/template")
}

// ofCells reports whether a type, or what it points to or lists, is one that a
// cell has declared, and no interface.
func ofCells(t types.Type) bool {
	switch u := t.(type) {
	case *types.Named:
		return inMain(u) && !types.IsInterface(u)
	case interface{ Elem() types.Type }:
		return ofCells(u.Elem())
	}
	return false
}

// encodes finds what an encoder or a template does not see of a type that a cell
// has declared: methods by which it encodes itself, and that fields are embedded.
func (c *Cell) encodes(x ast.Expr, t types.Type, pkg string, fills bool, seen map[types.Type]bool) {
	if seen[t] {
		return
	}
	seen[t] = true
	if n, ok := t.(*types.Named); ok {
		if !inMain(n) {
			return
		}
		for m := range n.Methods() {
			name, instead := m.Name(), ""
			switch {
			case strings.HasSuffix(pkg, "/template"):
				if name == "String" || name == "Error" {
					instead = "give the template what it makes"
				}
			case strings.HasPrefix(name, "Marshal") || strings.HasPrefix(name, "Unmarshal"):
				instead = "encode what it makes"
			}
			if instead != "" {
				c.Problems = append(c.Problems, Problem{x.Pos(), fmt.Sprintf("%s does not see the method %s of %s, which only the interpreter knows; %s", pkg, name, n.Obj().Name(), instead)})
				return
			}
		}
	}
	switch u := t.Underlying().(type) {
	case *types.Struct:
		for f := range u.Fields() {
			if f.Embedded() {
				c.Problems = append(c.Problems, Problem{x.Pos(), fmt.Sprintf("%s does not see that %s is embedded; write its fields into the struct", pkg, f.Name())})
				return
			}
			if fills && c.IsBoxed(f) {
				c.Problems = append(c.Problems, Problem{x.Pos(), fmt.Sprintf("%s cannot fill the field %s, whose type refers to itself; decode into a map[string]any, and make the values of that", pkg, f.Name())})
				return
			}
			c.encodes(x, f.Type(), pkg, fills, seen)
		}
	case *types.Map:
		c.encodes(x, u.Key(), pkg, fills, seen)
		c.encodes(x, u.Elem(), pkg, fills, seen)
	case interface{ Elem() types.Type }:
		c.encodes(x, u.Elem(), pkg, fills, seen)
	}
}

// ownInterface reports whether a value contains an interface with methods that
// a cell has declared.
func ownInterface(t types.Type) bool {
	if _, ok := t.(*types.TypeParam); ok {
		return false
	}
	switch u := t.Underlying().(type) {
	case *types.Interface:
		n, ok := t.(*types.Named)
		return !u.Empty() && (!ok || inMain(n))
	case *types.Array:
		return ownInterface(u.Elem())
	case *types.Struct:
		for f := range u.Fields() {
			if ownInterface(f.Type()) {
				return true
			}
		}
	}
	return false
}
