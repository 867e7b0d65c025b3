package cell

import (
	"fmt"
	"go/ast"
	"go/token"
	"go/types"
	"strconv"
)

// The interpreter takes its types from reflection, which can make none that
// refers to itself. So a field that leads back to its own struct is declared
// as an interface{}. What is stored in it goes through Box, and what is read
// from it through Unbox, which gives it its type.

// boxFields declares the boxed fields of a struct. A tag says what fmt writes of
// a nil slice or map.
func boxFields(s *ast.StructType, t Types) {
	for _, f := range s.Fields.List {
		if t == nil || len(f.Names) == 0 {
			continue
		}
		typ := t.Boxed(f.Names[0])
		if typ == nil {
			continue
		}
		f.Type = &ast.InterfaceType{Interface: f.Type.Pos(), Methods: &ast.FieldList{Opening: f.Type.Pos(), Closing: f.Type.Pos()}}
		empty := ""
		switch typ.Underlying().(type) {
		case *types.Slice:
			empty = "[]"
		case *types.Map:
			empty = "map[]"
		default:
			continue
		}
		written := ""
		if f.Tag != nil {
			written, _ = strconv.Unquote(f.Tag.Value)
			written += " "
		}
		f.Tag = &ast.BasicLit{ValuePos: f.Type.End(), Kind: token.STRING, Value: strconv.Quote(fmt.Sprintf("%snil:%q", written, empty))}
	}
}

// unboxed returns what reads x if it is a boxed field, or nil.
func unboxed(x *ast.SelectorExpr, t Types) ast.Expr {
	if t == nil {
		return nil
	}
	typ := t.Boxed(x)
	if typ == nil {
		return nil
	}
	named := t.TypeExpr(typ)
	if named == nil {
		return nil
	}
	return &ast.CallExpr{Fun: &ast.Ident{NamePos: x.Pos(), Name: Unbox}, Lparen: x.Pos(), Args: []ast.Expr{x, named}, Rparen: x.End()}
}

// boxed returns what stores x in a boxed field of a type.
func boxed(x ast.Expr, field types.Type, t Types) ast.Expr {
	if id, ok := ast.Unparen(x).(*ast.Ident); ok && id.Name == "nil" {
		return x
	}
	// One that was converted to an interface has no type that is known here.
	if typ := t.Type(x); typ != nil && !types.Identical(typ, field) {
		if named := t.TypeExpr(field); named != nil {
			x = conversion(named, x)
		}
	}
	return call(Box, x.Pos(), x)
}

// boxAssigned boxes what an assignment stores in boxed fields.
func boxAssigned(a *ast.AssignStmt, t Types) {
	if t == nil || len(a.Lhs) != len(a.Rhs) {
		return
	}
	for i, x := range a.Lhs {
		if field := t.Boxed(x); field != nil && a.Tok == token.ASSIGN {
			a.Rhs[i] = boxed(a.Rhs[i], field, t)
		}
	}
}

// boxElements boxes the values of boxed fields in a literal of a struct.
func boxElements(lit *ast.CompositeLit, t Types) {
	typ := typeOf(lit, t)
	if typ == nil {
		return
	}
	if p, ok := typ.Underlying().(*types.Pointer); ok { // an element whose & is left out
		typ = p.Elem()
	}
	s, ok := typ.Underlying().(*types.Struct)
	if !ok {
		return
	}
	for i, x := range lit.Elts {
		kv, keyed := x.(*ast.KeyValueExpr)
		for f := range s.Fields() {
			switch {
			case !t.IsBoxed(f):
			case keyed && kv.Key.(*ast.Ident).Name == f.Name():
				kv.Value = boxed(kv.Value, f.Type(), t)
			case !keyed && i < s.NumFields() && f == s.Field(i):
				lit.Elts[i] = boxed(x, f.Type(), t)
			}
		}
	}
}

// withTypes knows the types of expressions that were put in place of others, too.
type withTypes struct {
	Types
	types map[ast.Expr]types.Type
}

func (t withTypes) Type(x ast.Expr) types.Type {
	if typ := t.types[x]; typ != nil {
		return typ
	}
	return t.Types.Type(x)
}
