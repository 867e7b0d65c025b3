package cell

import (
	"fmt"
	"go/ast"
	"go/token"
	"go/types"
	"slices"
	"strconv"

	"golang.org/x/tools/go/ast/astutil"
)

// Yield returns the signature of the function that a function of this type
// calls for each turn of a loop over it, or nil if it is no such function.
func Yield(t types.Type) *types.Signature {
	if t == nil {
		return nil
	}
	f, ok := t.Underlying().(*types.Signature)
	if !ok || f.Params().Len() != 1 || f.Results().Len() != 0 {
		return nil
	}
	yield, ok := f.Params().At(0).Type().Underlying().(*types.Signature)
	if !ok || yield.Params().Len() > 2 {
		return nil
	}
	return yield
}

// A function is the one that statements stand in.
type function struct {
	typ     *ast.FuncType
	results []ast.Expr // what a return from inside another function sets
	before  []ast.Stmt // for the start of the body
}

// set returns the results of the function as its loops' bodies can set them
// and no other name can hide them.
func (f *function) set() []ast.Expr {
	if f.results != nil || f.typ.Results == nil {
		return f.results
	}
	at := f.typ.Results.Pos()
	name := func() *ast.Ident { return &ast.Ident{NamePos: at, Name: fmt.Sprintf("result %d", len(f.results))} }
	for _, field := range f.typ.Results.List {
		if len(field.Names) == 0 {
			field.Names = []*ast.Ident{name()}
			f.results = append(f.results, name())
			continue
		}
		for i, id := range field.Names {
			if id.Name == "_" {
				field.Names[i] = name()
				f.results = append(f.results, name())
				continue
			}
			f.before = append(f.before, define(name(), &ast.UnaryExpr{OpPos: at, Op: token.AND, X: &ast.Ident{NamePos: at, Name: id.Name}}))
			f.results = append(f.results, &ast.StarExpr{Star: at, X: name()})
		}
	}
	return f.results
}

// resultTypes returns the types of the function's results, some perhaps nil.
func (f *function) resultTypes(t Types) []types.Type {
	var all []types.Type
	if f.typ.Results == nil {
		return nil
	}
	for _, field := range f.typ.Results.List {
		for range max(1, len(field.Names)) {
			all = append(all, t.Type(field.Type))
		}
	}
	return all
}

func define(id *ast.Ident, x ast.Expr) ast.Stmt {
	return &ast.AssignStmt{Lhs: []ast.Expr{id}, TokPos: id.Pos(), Tok: token.DEFINE, Rhs: []ast.Expr{x}}
}

// A funcLoop is a loop over a function that becomes a call of it:
//
//	{
//		state, exit := 0, 0
//		seq(func(k K, v V) bool {
//			if state != 0 { panic("...") }
//			state = 1
//			{ body }
//			state = 0
//			return true
//		})
//		if state == 1 { panic("...") }
//		state = 2
//		if exit == 1 { return }
//		if exit == 2 { break outer }
//	}
//
// In the body a continue becomes "state = 0; return true", a break "state = 2;
// return false", and what leads further out sets exit as well. So a loop in
// another's body is rewritten before it.
type funcLoop struct {
	at    token.Pos
	state string // names of variables, each loop's its own
	exit  string
	label string
	in    *function // nil at the top level of a cell
	types Types
	exits []*ast.BranchStmt // as they stand behind the call, for exit = 1, 2, ...; a return has the token RETURN
	inner map[string]bool   // labels in the body
}

// States of a loop.
const (
	ready = iota
	inBody
	loopOver
)

// overFunction turns a loop over a function of type typ into a call of it. It
// returns nil if the loop is over something else, or over values whose types
// the cell cannot name.
func overFunction(r *ast.RangeStmt, typ types.Type, label string, in *function, t Types) *ast.BlockStmt {
	yield := Yield(typ)
	if yield == nil {
		return nil
	}
	l := &funcLoop{at: r.X.Pos(), state: fmt.Sprintf("state of loop %d", r.For), exit: fmt.Sprintf("exit of loop %d", r.For), label: label, in: in, types: t, inner: map[string]bool{}}
	params := &ast.FieldList{}
	first := []ast.Stmt{
		l.when(l.state, token.NEQ, ready, l.panic("range function continued iteration after the loop had ended")),
		l.put(l.state, inBody),
	}
	vars := []ast.Expr{r.Key, r.Value}
	for i := range yield.Params().Len() {
		named := t.TypeExpr(yield.Params().At(i).Type())
		if named == nil {
			return nil
		}
		name := l.id("loop value " + strconv.Itoa(i))
		if id, ok := vars[i].(*ast.Ident); ok && r.Tok == token.DEFINE && id.Name != "_" {
			name = id
		} else if vars[i] != nil && r.Tok == token.ASSIGN {
			first = append(first, &ast.AssignStmt{Lhs: []ast.Expr{vars[i]}, TokPos: vars[i].Pos(), Tok: token.ASSIGN, Rhs: []ast.Expr{name}})
		}
		params.List = append(params.List, &ast.Field{Names: []*ast.Ident{name}, Type: named})
	}
	l.leave(r.Body)
	body := append(append(first, r.Body), l.end(ready)...)
	after := []ast.Stmt{
		l.when(l.state, token.EQL, inBody, l.panic("range function recovered a panic of the loop's body and did not panic again")),
		l.put(l.state, loopOver),
	}
	for i, b := range l.exits {
		var s ast.Stmt = b
		if b.Tok == token.RETURN {
			s = &ast.ReturnStmt{Return: b.Pos()}
		}
		after = append(after, l.when(l.exit, token.EQL, i+1, s))
	}
	call := &ast.CallExpr{Fun: r.X, Lparen: l.at, Rparen: r.Body.Rbrace, Args: []ast.Expr{&ast.FuncLit{
		Type: &ast.FuncType{Func: l.at, Params: params, Results: &ast.FieldList{List: []*ast.Field{{Type: l.id("bool")}}}},
		Body: &ast.BlockStmt{Lbrace: r.Body.Lbrace, List: body, Rbrace: r.Body.Rbrace}}}}
	list := []ast.Stmt{define(l.id(l.state), l.number(ready)), define(l.id(l.exit), l.number(0)), &ast.ExprStmt{X: call}}
	return &ast.BlockStmt{Lbrace: r.For, List: append(list, after...), Rbrace: r.Body.Rbrace}
}

// leave replaces the statements that leave a turn of the loop.
func (l *funcLoop) leave(body *ast.BlockStmt) {
	ast.Inspect(body, func(n ast.Node) bool {
		if s, ok := n.(*ast.LabeledStmt); ok {
			l.inner[s.Label.Name] = true
		}
		return true
	})
	loops, switches := 0, 0 // around the statement
	count := func(n ast.Node, by int) {
		switch n.(type) {
		case *ast.ForStmt, *ast.RangeStmt:
			loops += by
		case *ast.SwitchStmt, *ast.TypeSwitchStmt, *ast.SelectStmt:
			switches += by
		}
	}
	astutil.Apply(body, func(c *astutil.Cursor) bool {
		count(c.Node(), 1)
		var out []ast.Stmt
		switch n := c.Node().(type) {
		case *ast.FuncLit:
			return false
		case *ast.ReturnStmt:
			out = l.result(n)
		case *ast.BranchStmt:
			switch own := n.Label != nil && n.Label.Name == l.label; {
			case n.Label != nil && l.inner[n.Label.Name] || n.Tok != token.BREAK && n.Tok != token.CONTINUE:
			case n.Label != nil && !own:
				out = l.leaveBy(n)
			case n.Tok == token.CONTINUE && (own || loops == 0):
				out = l.end(ready)
			case n.Tok == token.BREAK && (own || loops+switches == 0):
				out = l.end(loopOver)
			}
		}
		if out == nil {
			return true
		}
		c.Replace(&ast.BlockStmt{Lbrace: c.Node().Pos(), List: out, Rbrace: c.Node().End()})
		return false
	}, func(c *astutil.Cursor) bool {
		count(c.Node(), -1)
		return true
	})
}

// end returns the statements that end a turn.
func (l *funcLoop) end(state int) []ast.Stmt {
	return []ast.Stmt{l.put(l.state, state), &ast.ReturnStmt{Return: l.at, Results: []ast.Expr{l.id(strconv.FormatBool(state == ready))}}}
}

// leaveBy returns the statements that end the loop and do b behind it.
func (l *funcLoop) leaveBy(b *ast.BranchStmt) []ast.Stmt {
	i := slices.IndexFunc(l.exits, func(e *ast.BranchStmt) bool {
		return e.Tok == b.Tok && (b.Label == nil || e.Label.Name == b.Label.Name)
	})
	if i < 0 {
		i = len(l.exits)
		l.exits = append(l.exits, b)
	}
	return append([]ast.Stmt{l.put(l.exit, i+1)}, l.end(loopOver)...)
}

// result returns the statements that end the loop and return behind it.
func (l *funcLoop) result(r *ast.ReturnStmt) []ast.Stmt {
	if l.in == nil {
		return nil // there is nothing to return from, as the interpreter will say
	}
	var list []ast.Stmt
	if len(r.Results) > 0 {
		list = append(list, &ast.AssignStmt{Lhs: slices.Clone(l.in.set()), TokPos: r.Pos(), Tok: token.ASSIGN, Rhs: r.Results})
	}
	return append(list, l.leaveBy(&ast.BranchStmt{TokPos: r.Pos(), Tok: token.RETURN})...)
}

func (l *funcLoop) id(name string) *ast.Ident { return &ast.Ident{NamePos: l.at, Name: name} }

func (l *funcLoop) number(i int) ast.Expr {
	return &ast.BasicLit{ValuePos: l.at, Kind: token.INT, Value: strconv.Itoa(i)}
}

func (l *funcLoop) put(name string, i int) ast.Stmt {
	return &ast.AssignStmt{Lhs: []ast.Expr{l.id(name)}, TokPos: l.at, Tok: token.ASSIGN, Rhs: []ast.Expr{l.number(i)}}
}

func (l *funcLoop) when(name string, op token.Token, i int, do ast.Stmt) ast.Stmt {
	return &ast.IfStmt{If: l.at, Cond: &ast.BinaryExpr{X: l.id(name), OpPos: l.at, Op: op, Y: l.number(i)},
		Body: &ast.BlockStmt{Lbrace: l.at, List: []ast.Stmt{do}, Rbrace: l.at}}
}

func (l *funcLoop) panic(message string) ast.Stmt {
	return &ast.ExprStmt{X: &ast.CallExpr{Fun: l.id("panic"), Lparen: l.at, Rparen: l.at,
		Args: []ast.Expr{&ast.BasicLit{ValuePos: l.at, Kind: token.STRING, Value: strconv.Quote(message)}}}}
}
