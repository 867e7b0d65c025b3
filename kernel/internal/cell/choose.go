package cell

import (
	"fmt"
	"go/ast"
	"go/token"
	"go/types"
	"strconv"
)

// selectOK turns a select that asks whether a channel is closed, which the
// interpreter always denies,
//
//	select { case v, ok := <-a: ...; case b <- x: ...; default: ... }
//
// into
//
//	{
//		chosen, ok, received 0 := Select("rsd", a, b, x)
//		switch chosen { case 0: v := received 0; ok := ok; ...; case 1: ...; case 2: ... }
//	}
//
// It returns nil for others.
func selectOK(s *ast.SelectStmt, t Types) *ast.BlockStmt {
	asks := false
	at := s.Pos()
	id := func(name string) *ast.Ident { return &ast.Ident{NamePos: at, Name: name} }
	ways := &ast.BasicLit{ValuePos: at, Kind: token.STRING}
	choose := call(Select, at, ways)
	results := []ast.Expr{id("select chosen"), id("select ok")}
	letters := ""
	var clauses []ast.Stmt
	for i, c := range s.Body.List {
		c := c.(*ast.CommClause)
		clause := &ast.CaseClause{Case: c.Case, Colon: c.Colon, Body: c.Body,
			List: []ast.Expr{&ast.BasicLit{ValuePos: c.Case, Kind: token.INT, Value: strconv.Itoa(i)}}}
		clauses = append(clauses, clause)
		var receive ast.Expr
		switch comm := c.Comm.(type) {
		case nil:
			letters += "d"
			continue
		case *ast.SendStmt:
			letters += "s"
			choose.Args = append(choose.Args, comm.Chan, comm.Value)
			continue
		case *ast.ExprStmt:
			receive = comm.X
		case *ast.AssignStmt:
			receive = comm.Rhs[0]
			var set []ast.Stmt
			for k, x := range comm.Lhs {
				if name, ok := x.(*ast.Ident); ok && name.Name == "_" {
					continue
				}
				asks = asks || k == 1
				value, typ := id("select ok"), types.Type(types.Typ[types.Bool])
				if k == 0 {
					value = id(fmt.Sprintf("received %d", i))
					if from, ok := ast.Unparen(receive).(*ast.UnaryExpr); ok {
						typ, _ = elements(typeOf(from.X, t))
					}
				}
				if comm.Tok == token.DEFINE {
					set = append(set, define(x.(*ast.Ident), value))
				} else {
					set = append(set, assign(x, value, typ, t))
				}
			}
			clause.Body = append(set, c.Body...)
		}
		from, ok := ast.Unparen(receive).(*ast.UnaryExpr)
		if !ok {
			return nil
		}
		letters += "r"
		choose.Args = append(choose.Args, from.X)
		results = append(results, id(fmt.Sprintf("received %d", i)))
	}
	if !asks {
		return nil
	}
	ways.Value = strconv.Quote(letters)
	by := &ast.SwitchStmt{Switch: at, Tag: id("select chosen"), Body: &ast.BlockStmt{Lbrace: s.Body.Lbrace, List: clauses, Rbrace: s.Body.Rbrace}}
	return &ast.BlockStmt{Lbrace: at, List: []ast.Stmt{&ast.AssignStmt{Lhs: results, TokPos: at, Tok: token.DEFINE, Rhs: []ast.Expr{choose}}, by}, Rbrace: s.End()}
}
