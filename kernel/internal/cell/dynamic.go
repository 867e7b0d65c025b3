package cell

import (
	"go/ast"
	"go/token"
	"go/types"
	"strconv"
	"strings"
)

// The interpreter takes its types from reflection, where a type that a cell has
// declared is the type it is made of. So what such a value is gets lost in an
// interface without methods. Where one is put into an interface{}, it goes
// through Wrap, which keeps the type with it, and what asks for the type goes
// through Assert, Asserts and Which. Compiled functions get the value as it is,
// by Plain, but for those that only keep it.

// keepsValues holds the packages whose functions keep values and give them back.
var keepsValues = map[string]bool{"container/heap": true, "container/list": true, "container/ring": true, "context": true, "sync": true, "sync/atomic": true}

// wrapped returns what puts x into an interface without methods: Wrap(x), if
// it is, or may hold, a value of a type that a cell has declared.
func wrapped(x ast.Expr, t Types) ast.Expr {
	typ := t.Type(x)
	if typ == nil || !mayBeOfCell(typ) {
		return x
	}
	if t.Constant(x) != nil {
		x = notConstant(x)
	}
	return call(Wrap, x.Pos(), x)
}

// mayBeOfCell reports whether a type is made of one that a cell has declared,
// or is an interface with methods, whose value may be.
func mayBeOfCell(typ types.Type) bool {
	switch typ := typ.(type) {
	case *types.TypeParam:
		return true
	case *types.Named:
		if types.IsInterface(typ) {
			return typ.Underlying().(*types.Interface).NumMethods() > 0
		}
		return typ.Obj().Pkg() != nil && typ.Obj().Pkg().Path() == "main"
	case *types.Interface:
		return typ.NumMethods() > 0
	case *types.Map:
		return mayBeOfCell(typ.Key()) || mayBeOfCell(typ.Elem())
	case interface{ Elem() types.Type }: // array, slice, pointer, channel
		return mayBeOfCell(typ.Elem())
	case *types.Struct:
		for f := range typ.Fields() {
			if mayBeOfCell(f.Type()) {
				return true
			}
		}
	case *types.Signature:
		for _, tuple := range []*types.Tuple{typ.Params(), typ.Results()} {
			for v := range tuple.Variables() {
				if mayBeOfCell(v.Type()) {
					return true
				}
			}
		}
	}
	return false
}

// isInterface reports whether a type is an interface. One that stands for any
// type of a constraint is none.
func isInterface(typ types.Type) bool {
	_, parameter := typ.(*types.TypeParam)
	return typ != nil && !parameter && types.IsInterface(typ)
}

// isEmpty reports whether a type is an interface without methods.
func isEmpty(typ types.Type) bool {
	return isInterface(typ) && typ.Underlying().(*types.Interface).Empty()
}

// plain returns what gives the value in an interface to a compiled function that
// takes an interface without methods.
func plain(x ast.Expr, t Types) ast.Expr {
	if typ := t.Type(x); typ == nil || !types.IsInterface(typ) {
		return x
	}
	return call(Plain, x.Pos(), x)
}

// asserted returns x.(T) as a call: Assert(x, T), or Asserts(x, T) where it is
// also asked whether x is a T.
func asserted(x *ast.TypeAssertExpr, parent ast.Node) ast.Expr {
	name := Assert
	switch p := parent.(type) {
	case *ast.AssignStmt:
		if len(p.Lhs) == 2 && len(p.Rhs) == 1 {
			name = Asserts
		}
	case *ast.ValueSpec:
		if len(p.Names) == 2 && len(p.Values) == 1 {
			name = Asserts
		}
	}
	is := call(name, x.Pos(), x.X)
	is.Args = append(is.Args, x.Type)
	return is
}

// byType turns
//
//	switch v := x.(type) { case A, B: ...; case C: ... }
//
// into
//
//	switch x := x; Which(x, A, B, C) { case 0, 1: v := x; ...; case 2: v := Assert(x, C); ... }
func byType(s *ast.TypeSwitchStmt) ast.Stmt {
	var x ast.Expr
	variable := ""
	switch a := s.Assign.(type) {
	case *ast.ExprStmt:
		x = a.X
	case *ast.AssignStmt:
		x = a.Rhs[0]
		variable = a.Lhs[0].(*ast.Ident).Name
	}
	x = ast.Unparen(x).(*ast.TypeAssertExpr).X
	at := x.Pos()
	value := &ast.Ident{NamePos: at, Name: "switch value"}
	which := call(Which, at, value)
	var clauses []ast.Stmt
	for _, c := range s.Body.List {
		c := c.(*ast.CaseClause)
		clause := &ast.CaseClause{Case: c.Case, Colon: c.Colon, Body: c.Body}
		for _, typ := range c.List {
			clause.List = append(clause.List, &ast.BasicLit{ValuePos: typ.Pos(), Kind: token.INT, Value: strconv.Itoa(len(which.Args) - 1)})
			which.Args = append(which.Args, typ)
		}
		if variable != "" {
			var v ast.Expr = value
			if len(c.List) == 1 && !isNil(c.List[0]) {
				is := call(Assert, c.Pos(), value)
				is.Args = append(is.Args, c.List[0])
				v = is
			}
			clause.Body = append([]ast.Stmt{define(&ast.Ident{NamePos: c.Pos(), Name: variable}, v)}, clause.Body...)
		}
		clauses = append(clauses, clause)
	}
	by := &ast.SwitchStmt{Switch: s.Switch, Init: define(value, x), Tag: which, Body: &ast.BlockStmt{Lbrace: s.Body.Lbrace, List: clauses, Rbrace: s.Body.Rbrace}}
	if s.Init == nil {
		return by
	}
	return &ast.BlockStmt{Lbrace: s.Pos(), List: []ast.Stmt{s.Init, by}, Rbrace: s.End()}
}

func isNil(x ast.Expr) bool {
	id, ok := ast.Unparen(x).(*ast.Ident)
	return ok && id.Name == "nil"
}

const hidden = "`json:\"-\" xml:\"-\" dataframe:\"-\"`"

// hideFields keeps fields that are not exported out of what encoding/json and
// others see: to the interpreter, all are exported.
func hideFields(s *ast.StructType) {
	var list []*ast.Field
	for _, f := range s.Fields.List {
		if f.Tag != nil || len(f.Names) == 0 {
			list = append(list, f)
			continue
		}
		for _, id := range f.Names {
			one := &ast.Field{Names: []*ast.Ident{id}, Type: f.Type}
			if !id.IsExported() && id.Name != "_" {
				one.Tag = &ast.BasicLit{ValuePos: f.Type.End(), Kind: token.STRING, Value: hidden}
			}
			list = append(list, one)
		}
	}
	s.Fields.List = list
}

// hides reports whether a type is a struct without a name, or made of one,
// that has a field that is not exported.
func hides(typ types.Type) bool {
	switch typ := typ.(type) {
	case *types.Struct:
		for f := range typ.Fields() {
			if !f.Exported() || hides(f.Type()) {
				return true
			}
		}
	case *types.Map:
		return hides(typ.Key()) || hides(typ.Elem())
	case interface{ Elem() types.Type }:
		return hides(typ.Elem())
	}
	return false
}

// nameTypes makes each %T of a format a %s and returns which operands they
// write. A format that chooses its operands stays as it is.
func nameTypes(format *ast.BasicLit) map[int]bool {
	named := map[int]bool{}
	if !strings.Contains(format.Value, "%") {
		return named
	}
	text := []byte(format.Value)
	operand := 0
	for i := 0; i < len(text); i++ {
		if text[i] != '%' {
			continue
		}
		for i++; i < len(text) && strings.IndexByte("+-# 0123456789.", text[i]) >= 0; i++ {
		}
		switch {
		case i == len(text):
		case text[i] == '[' || text[i] == '*':
			return map[int]bool{}
		case text[i] == 'T':
			text[i] = 's'
			named[operand] = true
			operand++
		case text[i] != '%':
			operand++
		}
	}
	format.Value = string(text)
	return named
}
