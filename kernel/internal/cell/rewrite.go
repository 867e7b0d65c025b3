package cell

import (
	"fmt"
	"go/ast"
	"go/constant"
	"go/token"
	"go/types"
	"slices"
	"strings"

	"golang.org/x/tools/go/ast/astutil"
)

// Types knows the types of a cell's expressions.
type Types interface {
	// Type returns the type of an expression, or nil.
	Type(ast.Expr) types.Type
	// Constant returns the value of an expression that is constant, or nil.
	Constant(ast.Expr) constant.Value
	// TypeExpr writes a type as the cell can name it, or returns nil.
	TypeExpr(types.Type) ast.Expr
	// TypeArgs returns the type arguments of the use of a generic function, or none.
	TypeArgs(*ast.Ident) *types.TypeList
	// Package returns the path of the linked package that a function which is
	// called belongs to, or "".
	Package(ast.Expr) string
	// Bound tells of a method value whether it binds a value, which embedded
	// fields lead to it, and whether these end with a pointer to it.
	Bound(*ast.SelectorExpr) (path []string, deref, ok bool)
	// Boxed returns the type of a field that the interpreter has as an
	// interface{}, because it leads back to its own struct, of a selector of
	// it or its name where it is declared; nil for others.
	Boxed(ast.Expr) types.Type
	// IsBoxed reports whether a field is one of these.
	IsBoxed(*types.Var) bool
}

// rewrite brings a top-level node into a form in which the interpreter gives
// it the meaning that Go gives it. It may become several.
func rewrite(n ast.Node, t Types) []ast.Node {
	switch n := n.(type) {
	case *ast.FuncDecl:
		// A generic function has a receiver that is nil, which no walker expects.
		f := &function{typ: n.Type}
		n.Body, _ = apply(n.Body, f, t).(*ast.BlockStmt)
		if n.Body != nil {
			n.Body.List = append(f.before, n.Body.List...)
		}
		return []ast.Node{n}
	case ast.Stmt:
		list := apply(&ast.BlockStmt{List: []ast.Stmt{n}}, nil, t).(*ast.BlockStmt).List
		var nodes []ast.Node
		for _, s := range list {
			nodes = append(nodes, s)
		}
		return nodes
	}
	return []ast.Node{apply(n, nil, t)}
}

// apply rewrites a node in a function, or in none.
func apply(n ast.Node, in *function, t Types) ast.Node {
	if n == nil || n == (*ast.BlockStmt)(nil) {
		return n
	}
	functions := []*function{in}
	replaced := map[ast.Expr]types.Type{}
	if t != nil {
		t = withTypes{t, replaced}
	}
	over := map[*ast.RangeStmt]types.Type{}
	unlabelled := map[ast.Stmt]bool{}
	switches := map[*ast.BlockStmt]bool{} // that end with the switch that a switch on types or a select became
	large := map[ast.Expr]bool{}
	return astutil.Apply(n, func(c *astutil.Cursor) bool {
		switch n := c.Node().(type) {
		case *ast.FuncLit:
			functions = append(functions, &function{typ: n.Type})
		case *ast.RangeStmt:
			over[n] = typeOf(n.X, t)
		}
		return true
	}, func(c *astutil.Cursor) bool {
		last := len(functions) - 1
		if x, ok := c.Node().(ast.Expr); ok {
			if value := largeConstant(x, large, t); value != nil {
				large[value], replaced[value] = true, typeOf(x, t)
				c.Replace(value)
				return true
			}
		}
		switch n := c.Node().(type) {
		case *ast.FuncLit:
			n.Body.List = append(functions[last].before, n.Body.List...)
			functions = functions[:last]
		case *ast.LabeledStmt:
			if unlabelled[n.Stmt] {
				c.Replace(n.Stmt)
			} else if b, ok := n.Stmt.(*ast.BlockStmt); ok && switches[b] {
				last := len(b.List) - 1
				b.List[last] = &ast.LabeledStmt{Label: n.Label, Colon: n.Colon, Stmt: b.List[last]}
				c.Replace(b)
			}
		case *ast.RangeStmt:
			label := ""
			if l, ok := c.Parent().(*ast.LabeledStmt); ok {
				label = l.Label.Name
			}
			if f := countTo(n, t); f != nil {
				c.Replace(f)
			} else if b := overFunction(n, over[n], label, functions[last], t); b != nil {
				unlabelled[b] = true
				c.Replace(b)
			} else {
				if isPointer(over[n]) && n.Value != nil { // to an array, of which the interpreter makes a copy
					n.X = &ast.SliceExpr{X: n.X, Lbrack: n.X.End(), Rbrack: n.X.End()}
				}
				if n.Tok == token.ASSIGN {
					assignInBody(n, over[n], t)
				}
				ownRange(n)
			}
		case *ast.IfStmt:
			n.Cond = oneValue(n.Cond, t)
		case *ast.ForStmt:
			label, _ := c.Parent().(*ast.LabeledStmt)
			ownLoop(n, label)
			if n.Cond != nil {
				n.Cond = oneValue(n.Cond, t)
			}
		case *ast.SelectStmt:
			if b := selectOK(n, t); b != nil {
				switches[b] = true
				c.Replace(b)
				break
			}
			if len(n.Body.List) == 0 { // for ever
				n.Body.List = []ast.Stmt{&ast.CommClause{Case: n.Pos(), Comm: &ast.ExprStmt{X: never(n.Pos())}, Colon: n.Pos()}}
			}
		case *ast.Ident:
			if p, ok := c.Parent().(*ast.IndexExpr); !ok || p.X != n {
				if x := instantiated(n, n, t); x != nil {
					replaced[x] = typeOf(n, t)
					c.Replace(x)
				}
			}
		case *ast.IndexExpr:
			if id, ok := n.X.(*ast.Ident); ok {
				if x := instantiated(id, n, t); x != nil {
					replaced[x] = typeOf(n, t)
					c.Replace(x)
					break
				}
			}
			if m, ok := under(n.X, t).(*types.Map); ok {
				n.Index = toInterface(n.Index, m.Key(), t)
			}
		case *ast.SwitchStmt:
			for _, s := range n.Body.List {
				list := s.(*ast.CaseClause).List
				for i, x := range list {
					if n.Tag != nil {
						list[i] = toInterface(x, typeOf(n.Tag, t), t)
					}
				}
			}
		case *ast.TypeAssertExpr:
			if n.Type == nil { // of a switch
				break
			}
			x := asserted(n, c.Parent())
			replaced[x] = typeOf(n, t)
			c.Replace(x)
		case *ast.TypeSwitchStmt:
			s := byType(n)
			if b, ok := s.(*ast.BlockStmt); ok {
				switches[b] = true
			}
			c.Replace(s)
		case *ast.BinaryExpr:
			if n.Op == token.EQL || n.Op == token.NEQ {
				x, y := typeOf(n.X, t), typeOf(n.Y, t)
				n.X, n.Y = toInterface(n.X, y, t), toInterface(n.Y, x, t)
			}
			keepZero(n.Op, n.X, &n.Y, t)
			if n.Op == token.ADD || n.Op == token.MUL {
				keepZero(n.Op, n.Y, &n.X, t)
			}
			if t != nil && (n.Op == token.SHL || n.Op == token.SHR) {
				if v := t.Constant(n.Y); v != nil && v.Kind() == constant.Int { // a constant of a signed type is no count to the interpreter
					n.Y = &ast.BasicLit{ValuePos: n.Y.Pos(), Kind: token.INT, Value: v.ExactString()}
				} else if typ := t.Type(n.X); t.Constant(n.X) != nil && typ != nil && typ != types.Typ[types.Int] && !isUntyped(typ) { // 1<<n has the type that is wanted of it
					if named := t.TypeExpr(typ); named != nil {
						n.X = conversion(named, n.X)
					}
				}
			}
		case *ast.SendStmt:
			if ch, ok := under(n.Chan, t).(*types.Chan); ok {
				n.Value = toInterface(typedNil(n.Value, ch.Elem(), t), ch.Elem(), t)
			}
		case *ast.ValueSpec:
			for i, x := range n.Values {
				if n.Type != nil {
					n.Values[i] = toInterface(x, typeOf(n.Type, t), t)
				}
			}
		case *ast.CallExpr:
			giveTexts(n, t)
			convertArguments(n, t)
			seeErrors(n, t)
			if id, ok := n.Fun.(*ast.Ident); len(n.Args) == 1 && !(ok && types.Universe.Lookup(id.Name) != nil) { // no builtin and no conversion
				n.Args[0] = oneValue(n.Args[0], t)
			}
		case *ast.StructType:
			hideFields(n)
			boxFields(n, t)
		case *ast.CompositeLit:
			convertElements(n, t)
			boxElements(n, t)
		case *ast.SelectorExpr:
			if _, ok := c.Parent().(*ast.AssignStmt); ok && c.Name() == "Lhs" {
				break
			}
			if x := unboxed(n, t); x != nil {
				replaced[x] = t.Type(n)
				c.Replace(x)
				break
			}
			if call, ok := c.Parent().(*ast.CallExpr); !ok || call.Fun != n {
				if f := bound(n, t); f != nil {
					c.Replace(f)
				}
			}
		case *ast.ReturnStmt:
			if f := functions[last]; f != nil && t != nil {
				for i, typ := range f.resultTypes(t) {
					if i < len(n.Results) {
						n.Results[i] = toInterface(n.Results[i], typ, t)
					}
				}
			}
			if list := returnAtOnce(n, functions[last]); list != nil {
				c.Replace(&ast.BlockStmt{Lbrace: n.Pos(), List: list, Rbrace: n.End()})
			}
		case *ast.GoStmt:
			bindCall(n.Call, t)
			copyArguments(n.Call, t)
			if c.Index() >= 0 && n.Call.Ellipsis.IsValid() {
				c.InsertBefore(goSpread(n))
			}
		case *ast.DeferStmt:
			bindCall(n.Call, t)
			if c.Index() >= 0 {
				for _, s := range deferBuiltin(n) {
					c.InsertBefore(s)
				}
			}
		case *ast.AssignStmt:
			if n.Tok == token.ASSIGN && len(n.Lhs) == len(n.Rhs) {
				for i, x := range n.Rhs {
					n.Rhs[i] = toInterface(x, typeOf(n.Lhs[i], t), t)
				}
			}
			if len(n.Lhs) == 1 && len(n.Rhs) == 1 {
				keepZero(n.Tok, n.Lhs[0], &n.Rhs[0], t)
			}
			boxAssigned(n, t)
			takeAtOnce(n)
			if c.Index() >= 0 {
				for _, s := range splitBlank(n) {
					c.InsertBefore(s)
				}
			}
		}
		return true
	})
}

func typeOf(x ast.Expr, t Types) types.Type {
	if t == nil {
		return nil
	}
	return t.Type(x)
}

// under returns the underlying type of an expression, or nil.
func under(x ast.Expr, t Types) types.Type {
	if typ := typeOf(x, t); typ != nil {
		return typ.Underlying()
	}
	return nil
}

func isUntyped(typ types.Type) bool {
	b, ok := typ.(*types.Basic)
	return ok && b.Info()&types.IsUntyped != 0
}

func isPointer(typ types.Type) bool {
	if typ == nil {
		return false
	}
	_, ok := typ.Underlying().(*types.Pointer)
	return ok
}

// typedNil gives a nil the type that the interpreter fails to find in a send.
func typedNil(x ast.Expr, typ types.Type, t Types) ast.Expr {
	id, ok := ast.Unparen(x).(*ast.Ident)
	if !ok || id.Name != "nil" {
		return x
	}
	named := t.TypeExpr(typ)
	if named == nil {
		return x
	}
	return &ast.StarExpr{Star: x.Pos(), X: &ast.CallExpr{Fun: &ast.Ident{NamePos: x.Pos(), Name: "new"}, Lparen: x.Pos(), Args: []ast.Expr{named}, Rparen: x.End()}}
}

// toInterface converts x where it becomes an interface, if a cell has declared
// its type or that: the interpreter forgets to in some places, cannot do it with
// a constant, and does not copy a variable.
func toInterface(x ast.Expr, typ types.Type, t Types) ast.Expr {
	if !isInterface(typ) {
		return x
	}
	if isEmpty(typ) {
		return wrapped(x, t)
	}
	from := t.Type(x)
	if from == nil || from == types.Typ[types.UntypedNil] || types.Identical(from, typ) || !mayBeOfCell(from) && !mayBeOfCell(typ) {
		return x
	}
	named := t.TypeExpr(typ)
	if named == nil {
		return x
	}
	return converted(x, named, t)
}

// converted converts x to an interface: the interpreter would look at a variable
// again when a method is called, and mix up the methods of another interface.
func converted(x, named ast.Expr, t Types) ast.Expr {
	if t.Constant(x) != nil {
		x = notConstant(x)
	}
	return &ast.CallExpr{Fun: &ast.Ident{NamePos: x.Pos(), Name: Convert}, Lparen: x.Pos(), Args: []ast.Expr{x, named}, Rparen: x.End()}
}

// notConstant returns a copy of x.
func notConstant(x ast.Expr) ast.Expr { return call(Values, x.Pos(), x) }

func conversion(named, x ast.Expr) ast.Expr {
	return &ast.CallExpr{Fun: &ast.ParenExpr{Lparen: x.Pos(), X: named, Rparen: x.Pos()}, Lparen: x.Pos(), Args: []ast.Expr{x}, Rparen: x.End()}
}

// seeErrors makes errors.Is, errors.As and errors.Unwrap calls of ours, which see
// the methods of types that cells have declared.
func seeErrors(call *ast.CallExpr, t Types) {
	name, ok := functionOf("errors", call)
	if !ok || len(call.Args) == 0 || typeOf(call.Fun, t) == nil {
		return
	}
	if own := map[string]string{"Unwrap": UnwrapError, "Is": IsError, "As": AsError}[name]; own != "" {
		call.Fun = &ast.Ident{NamePos: call.Pos(), Name: own}
	}
}

// convertArguments is toInterface for the arguments of a call.
func convertArguments(call *ast.CallExpr, t Types) {
	fun := typeOf(call.Fun, t)
	if fun == nil {
		return
	}
	if isEmpty(fun) && len(call.Args) == 1 {
		call.Args[0] = wrapped(call.Args[0], t)
		return
	}
	if isInterface(fun) && len(call.Args) == 1 { // a conversion
		if from := typeOf(call.Args[0], t); from != nil && from != types.Typ[types.UntypedNil] && !types.Identical(from, fun) {
			*call = *converted(call.Args[0], call.Fun, t).(*ast.CallExpr)
		}
		return
	}
	sig, ok := fun.Underlying().(*types.Signature)
	if !ok {
		return
	}
	pkg := t.Package(call.Fun)
	name, _ := functionOf(pkg, call)
	keeps := keepsValues[pkg] || pkg == "reflect" && name == "DeepEqual"
	for i, x := range call.Args {
		p := sig.Params().Len() - 1
		var typ types.Type
		switch {
		case i < p || i == p && !sig.Variadic():
			typ = sig.Params().At(i).Type()
		case sig.Variadic() && !call.Ellipsis.IsValid():
			if s, ok := sig.Params().At(p).Type().(*types.Slice); ok { // not the string of append
				typ = s.Elem()
			}
		}
		if pkg != "" && !keeps && isEmpty(typ) {
			call.Args[i] = plain(x, t)
		} else {
			call.Args[i] = toInterface(x, typ, t)
		}
	}
}

// convertElements is toInterface for the elements of a literal.
func convertElements(lit *ast.CompositeLit, t Types) {
	typ := typeOf(lit, t)
	if typ == nil {
		return
	}
	if p, ok := typ.Underlying().(*types.Pointer); ok { // an element whose & is left out
		typ = p.Elem()
	}
	for i, x := range lit.Elts {
		kv, keyed := x.(*ast.KeyValueExpr)
		var elem types.Type
		switch typ := typ.Underlying().(type) {
		case *types.Struct:
			for f := range typ.Fields() {
				if keyed && kv.Key.(*ast.Ident).Name == f.Name() || !keyed && i < typ.NumFields() && f == typ.Field(i) {
					elem = f.Type()
				}
			}
		case *types.Map:
			elem = typ.Elem()
			if keyed {
				kv.Key = toInterface(kv.Key, typ.Key(), t)
			}
		case interface{ Elem() types.Type }:
			elem = typ.Elem()
		}
		if keyed {
			kv.Value = toInterface(kv.Value, elem, t)
		} else {
			lit.Elts[i] = toInterface(x, elem, t)
		}
	}
}

// countTo turns "for i := range n" over an integer into a loop that counts.
func countTo(r *ast.RangeStmt, t Types) ast.Stmt {
	if t == nil || r.Value != nil {
		return nil
	}
	typ := t.Type(r.X)
	if typ == nil {
		return nil
	}
	b, ok := typ.Underlying().(*types.Basic)
	if !ok || b.Info()&types.IsInteger == 0 {
		return nil
	}
	if r.Tok == token.ASSIGN {
		if k := t.Type(r.Key); k != nil {
			typ = k
		}
	}
	name := t.TypeExpr(types.Default(typ))
	if name == nil {
		return nil
	}
	at := r.X.Pos()
	id := func(s string) *ast.Ident { return &ast.Ident{NamePos: at, Name: s} }
	typed := func(x ast.Expr) ast.Expr {
		return &ast.CallExpr{Fun: name, Lparen: at, Args: []ast.Expr{x}, Rparen: at}
	}
	const i, n = "loop count", "loop end"
	if r.Key != nil {
		r.Body.List = append([]ast.Stmt{
			&ast.AssignStmt{Lhs: []ast.Expr{r.Key}, TokPos: r.Key.Pos(), Tok: r.Tok, Rhs: []ast.Expr{&ast.Ident{NamePos: r.Key.Pos(), Name: i}}},
		}, r.Body.List...)
	}
	return &ast.ForStmt{
		For: r.For,
		Init: &ast.AssignStmt{Lhs: []ast.Expr{id(i), id(n)}, TokPos: at, Tok: token.DEFINE,
			Rhs: []ast.Expr{typed(&ast.BasicLit{ValuePos: at, Kind: token.INT, Value: "0"}), typed(r.X)}},
		Cond: &ast.BinaryExpr{X: id(i), OpPos: at, Op: token.LSS, Y: id(n)},
		Post: &ast.IncDecStmt{X: id(i), TokPos: at, Tok: token.INC},
		Body: r.Body,
	}
}

// ownRange gives each turn of a loop variables of its own, if anything could
// keep them, or the body changes them: the interpreter counts with the key.
func ownRange(r *ast.RangeStmt) {
	if r.Tok != token.DEFINE {
		return
	}
	var kept []ast.Expr
	for _, x := range []ast.Expr{r.Key, r.Value} {
		if id, ok := x.(*ast.Ident); ok && id.Name != "_" && (keeps(r.Body, id.Name) || assigns(r.Body, id.Name)) {
			kept = append(kept, id)
		}
	}
	if len(kept) > 0 {
		r.Body.List = append([]ast.Stmt{redeclare(kept, r.Body.Pos())}, r.Body.List...)
	}
}

// assignInBody turns "for i = range xs { body }" into
//
//	for key := range xs { i = key; body }
//
// since the interpreter counts with the key itself, up to what ends the loop.
func assignInBody(r *ast.RangeStmt, over types.Type, t Types) {
	var list []ast.Stmt
	own := func(x ast.Expr, name string, typ types.Type) ast.Expr {
		if id, ok := x.(*ast.Ident); x == nil || ok && id.Name == "_" {
			return x
		}
		id := &ast.Ident{NamePos: x.Pos(), Name: name}
		list = append(list, assign(x, id, typ, t))
		return id
	}
	key, value := elements(over)
	r.Key, r.Value = own(r.Key, "range key", key), own(r.Value, "range value", value)
	if len(list) > 0 {
		r.Tok = token.DEFINE
		r.Body.List = append(list, r.Body.List...)
	}
}

// elements returns the types of the keys and values of what a loop is over, nil
// where there are none or they are not known.
func elements(over types.Type) (key, value types.Type) {
	if over == nil {
		return nil, nil
	}
	switch over := over.Underlying().(type) {
	case *types.Map:
		return over.Key(), over.Elem()
	case *types.Chan:
		return over.Elem(), nil
	case *types.Pointer:
		return elements(over.Elem())
	case interface{ Elem() types.Type }: // array, slice
		return types.Typ[types.Int], over.Elem()
	}
	return nil, nil
}

// assign returns x = value, where a variable of our own holds the value.
func assign(x ast.Expr, value *ast.Ident, typ types.Type, t Types) ast.Stmt {
	a := &ast.AssignStmt{Lhs: []ast.Expr{x}, TokPos: x.Pos(), Tok: token.ASSIGN, Rhs: []ast.Expr{value}}
	if known, ok := t.(withTypes); ok && typ != nil {
		known.types[value] = typ
		a.Rhs[0] = toInterface(value, typeOf(x, t), t)
	}
	return a
}

func redeclare(ids []ast.Expr, pos token.Pos) ast.Stmt {
	return &ast.AssignStmt{Lhs: slices.Clone(ids), TokPos: pos, Tok: token.DEFINE, Rhs: slices.Clone(ids)}
}

// ownLoop gives each turn of a loop variables of its own, if anything could
// keep them. If the body changes them, it becomes
//
//	p := &i
//	i := i
//	for once := true; once; once = false { body }
//	*p = i
//
// in which a continue ends the inner loop, and a break sets a flag first.
func ownLoop(f *ast.ForStmt, label *ast.LabeledStmt) {
	init, ok := f.Init.(*ast.AssignStmt)
	if !ok || init.Tok != token.DEFINE {
		return
	}
	var kept []ast.Expr
	changes := false
	for _, x := range init.Lhs {
		if id, ok := x.(*ast.Ident); ok && id.Name != "_" && keeps(f.Body, id.Name) {
			kept = append(kept, id)
			changes = changes || assigns(f.Body, id.Name)
		}
	}
	if len(kept) == 0 {
		return
	}
	pos := f.Body.Pos()
	if !changes {
		f.Body.List = append([]ast.Stmt{redeclare(kept, pos)}, f.Body.List...)
		return
	}
	id := func(s string) *ast.Ident { return &ast.Ident{NamePos: pos, Name: s} }
	set := func(x ast.Expr, tok token.Token, v ast.Expr) ast.Stmt {
		return &ast.AssignStmt{Lhs: []ast.Expr{x}, TokPos: pos, Tok: tok, Rhs: []ast.Expr{v}}
	}
	const once, broken = "loop once", "loop broken"
	onceLabel := ""
	if label != nil {
		onceLabel = "once " + label.Label.Name
		relabel(f.Body, label.Label.Name, onceLabel)
	}
	breaks := flagBreaks(f.Body, func(b *ast.BranchStmt) ast.Stmt {
		return &ast.BlockStmt{Lbrace: b.Pos(), List: []ast.Stmt{set(id(broken), token.ASSIGN, id("true")), b}, Rbrace: b.End()}
	})
	var list []ast.Stmt
	for _, x := range kept {
		list = append(list, set(id("at "+x.(*ast.Ident).Name), token.DEFINE, &ast.UnaryExpr{OpPos: pos, Op: token.AND, X: x}))
	}
	list = append(list, redeclare(kept, pos))
	if breaks {
		list = append(list, set(id(broken), token.DEFINE, id("false")))
	}
	var inner ast.Stmt = &ast.ForStmt{
		For:  pos,
		Init: set(id(once), token.DEFINE, id("true")),
		Cond: id(once),
		Post: set(id(once), token.ASSIGN, id("false")),
		Body: &ast.BlockStmt{Lbrace: pos, List: f.Body.List, Rbrace: f.Body.Rbrace},
	}
	if onceLabel != "" {
		inner = &ast.LabeledStmt{Label: id(onceLabel), Colon: pos, Stmt: inner}
	}
	list = append(list, inner)
	for _, x := range kept {
		list = append(list, set(&ast.StarExpr{Star: pos, X: id("at " + x.(*ast.Ident).Name)}, token.ASSIGN, x))
	}
	if breaks {
		list = append(list, &ast.IfStmt{If: pos, Cond: id(broken), Body: &ast.BlockStmt{
			Lbrace: pos, List: []ast.Stmt{&ast.BranchStmt{TokPos: pos, Tok: token.BREAK}}, Rbrace: pos}})
	}
	f.Body = &ast.BlockStmt{Lbrace: f.Body.Lbrace, List: list, Rbrace: f.Body.Rbrace}
}

// keeps reports whether something in a loop's body could hold on to a
// variable: a function literal, its address, a call of a method, a slice of it.
func keeps(body *ast.BlockStmt, name string) bool {
	found := false
	ast.Inspect(body, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.FuncLit:
			found = found || mentions(n.Body, name)
		case *ast.UnaryExpr:
			found = found || n.Op == token.AND && root(n.X) == name
		case *ast.SliceExpr:
			found = found || root(n.X) == name
		case *ast.CallExpr:
			if sel, ok := n.Fun.(*ast.SelectorExpr); ok {
				found = found || root(sel.X) == name
			}
		}
		return !found
	})
	return found
}

// root returns the variable of which an expression is a part.
func root(x ast.Expr) string {
	for {
		switch y := x.(type) {
		case *ast.Ident:
			return y.Name
		case *ast.SelectorExpr:
			x = y.X
		case *ast.IndexExpr:
			x = y.X
		case *ast.ParenExpr:
			x = y.X
		default:
			return ""
		}
	}
}

// assigns reports whether a body may change a variable.
func assigns(body *ast.BlockStmt, name string) bool {
	found := false
	ast.Inspect(body, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.AssignStmt:
			for _, x := range n.Lhs {
				found = found || root(x) == name
			}
		case *ast.IncDecStmt:
			found = found || root(n.X) == name
		case *ast.RangeStmt:
			found = found || n.Key != nil && root(n.Key) == name || n.Value != nil && root(n.Value) == name
		case *ast.UnaryExpr:
			found = found || n.Op == token.AND && root(n.X) == name
		case *ast.CallExpr:
			if sel, ok := n.Fun.(*ast.SelectorExpr); ok {
				found = found || root(sel.X) == name
			}
		}
		return !found
	})
	return found
}

// relabel makes every "continue from" in a body a "continue to".
func relabel(body *ast.BlockStmt, from, to string) {
	ast.Inspect(body, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.FuncLit:
			return false
		case *ast.BranchStmt:
			if n.Tok == token.CONTINUE && n.Label != nil && n.Label.Name == from {
				n.Label = &ast.Ident{NamePos: n.Label.NamePos, Name: to}
			}
		}
		return true
	})
}

// flagBreaks replaces each break that leaves the loop with this body, and
// reports whether there is one.
func flagBreaks(body *ast.BlockStmt, replace func(*ast.BranchStmt) ast.Stmt) bool {
	found := false
	astutil.Apply(body, func(c *astutil.Cursor) bool {
		switch n := c.Node().(type) {
		case *ast.FuncLit, *ast.ForStmt, *ast.RangeStmt, *ast.SwitchStmt, *ast.TypeSwitchStmt, *ast.SelectStmt:
			return false // a break in it is its own
		case *ast.BranchStmt:
			if n.Tok == token.BREAK && n.Label == nil {
				c.Replace(replace(n))
				found = true
				return false
			}
		}
		return true
	}, nil)
	return found
}

// never is a receive that never ends.
func never(pos token.Pos) ast.Expr {
	return &ast.UnaryExpr{OpPos: pos, Op: token.ARROW, X: &ast.CallExpr{
		Fun:    &ast.Ident{NamePos: pos, Name: "make"},
		Lparen: pos,
		Args:   []ast.Expr{&ast.ChanType{Begin: pos, Dir: ast.SEND | ast.RECV, Value: &ast.Ident{NamePos: pos, Name: "bool"}}},
		Rparen: pos,
	}}
}

// returnAtOnce takes the values of a return before it sets any result, where
// one of them is a named result that an earlier one changes: the interpreter
// sets one after the other.
func returnAtOnce(r *ast.ReturnStmt, in *function) []ast.Stmt {
	if in == nil || in.typ.Results == nil || len(r.Results) < 2 {
		return nil
	}
	mixed := false
	i := 0
	for _, field := range in.typ.Results.List {
		for _, id := range field.Names {
			i++
			mixed = mixed || slices.ContainsFunc(r.Results[min(i, len(r.Results)):], func(x ast.Expr) bool { return mentions(x, id.Name) || hasCall([]ast.Expr{x}) })
		}
	}
	if !mixed {
		return nil
	}
	var list []ast.Stmt
	for i, x := range r.Results {
		switch y := x.(type) {
		case *ast.BasicLit:
			continue
		case *ast.Ident:
			if types.Universe.Lookup(y.Name) != nil {
				continue
			}
		}
		name := &ast.Ident{NamePos: x.Pos(), Name: fmt.Sprintf("return %d", i)}
		list = append(list, define(name, x))
		r.Results[i] = name
	}
	return append(list, r)
}

// splitBlank takes the blank identifiers out of an assignment of several
// values, which the interpreter cannot do, and returns their assignments.
func splitBlank(a *ast.AssignStmt) []ast.Stmt {
	if a.Tok != token.ASSIGN || len(a.Lhs) < 2 || len(a.Lhs) != len(a.Rhs) {
		return nil
	}
	var before []ast.Stmt
	var lhs, rhs []ast.Expr
	for i, x := range a.Lhs {
		if id, ok := x.(*ast.Ident); ok && id.Name == "_" {
			before = append(before, &ast.AssignStmt{Lhs: []ast.Expr{x}, TokPos: a.TokPos, Tok: token.ASSIGN, Rhs: []ast.Expr{a.Rhs[i]}})
		} else {
			lhs, rhs = append(lhs, x), append(rhs, a.Rhs[i])
		}
	}
	if len(before) == 0 {
		return nil
	}
	if len(lhs) == 0 { // one stays
		last := before[len(before)-1].(*ast.AssignStmt)
		before, lhs, rhs = before[:len(before)-1], last.Lhs, last.Rhs
	}
	a.Lhs, a.Rhs = lhs, rhs
	return before
}

// instantiated returns x, the use of a generic function with none or some of its
// type arguments, with all of them: the interpreter seldom finds out the others.
func instantiated(name *ast.Ident, x ast.Expr, t Types) ast.Expr {
	if t == nil {
		return nil
	}
	args := t.TypeArgs(name)
	if args.Len() == 0 {
		return nil
	}
	lit := &ast.CompositeLit{Lbrace: x.Pos(), Rbrace: x.End()}
	for typ := range args.Types() {
		named := t.TypeExpr(typ)
		if named == nil {
			return nil
		}
		lit.Elts = append(lit.Elts, named)
	}
	return &ast.IndexExpr{X: name, Lbrack: x.Pos(), Index: lit, Rbrack: x.End()}
}

// takeAtOnce takes the values of a, b := f(), a before it sets any variable: the
// interpreter sets one after the other, and a may be there already.
func takeAtOnce(a *ast.AssignStmt) {
	if a.Tok != token.DEFINE || len(a.Lhs) != len(a.Rhs) {
		return
	}
	for i, x := range a.Lhs {
		id, ok := x.(*ast.Ident)
		if ok && slices.ContainsFunc(a.Rhs[i+1:], func(y ast.Expr) bool { return mentions(y, id.Name) }) {
			values := call(Values, a.Rhs[0].Pos(), a.Rhs[0])
			values.Args = a.Rhs
			a.Rhs = []ast.Expr{values}
			return
		}
	}
}

// oneValue returns x, the only argument of a call or a condition, as a single
// value: where x is m[k], the interpreter passes on as well whether the key is
// there. An assertion and a receive are the same.
func oneValue(x ast.Expr, t Types) ast.Expr {
	switch y := ast.Unparen(x).(type) {
	case *ast.TypeAssertExpr:
	case *ast.UnaryExpr:
		if y.Op != token.ARROW {
			return x
		}
	case *ast.IndexExpr:
		if t == nil {
			return x
		}
		of := t.Type(y.X)
		if of == nil {
			break
		}
		if _, ok := of.Underlying().(*types.Map); !ok {
			return x
		}
	default:
		return x
	}
	name := Values
	if b, ok := typeOf(x, t).(*types.Basic); ok { // a conversion to the same type costs nothing
		name = b.Name()
	}
	return call(name, x.Pos(), x)
}

// bound makes the method value x.M, in which the interpreter looks at x when
// it is called, that of a copy of x, or of what x points to.
func bound(sel *ast.SelectorExpr, t Types) ast.Expr {
	if t == nil {
		return nil
	}
	path, deref, ok := t.Bound(sel)
	if !ok {
		return nil
	}
	x := sel.X
	for _, name := range path {
		x = &ast.SelectorExpr{X: x, Sel: &ast.Ident{NamePos: sel.Pos(), Name: name}}
	}
	if deref {
		x = &ast.ParenExpr{Lparen: x.Pos(), X: &ast.StarExpr{Star: x.Pos(), X: x}, Rparen: x.End()}
	}
	return &ast.SelectorExpr{X: notConstant(x), Sel: sel.Sel}
}

// bindCall binds the receiver of a call that is made later.
func bindCall(call *ast.CallExpr, t Types) {
	if sel, ok := call.Fun.(*ast.SelectorExpr); ok {
		if f := bound(sel, t); f != nil {
			call.Fun = f
		}
	}
}

// copyArguments copies the variables given to a call in another goroutine, which
// the interpreter reads when that runs.
func copyArguments(call *ast.CallExpr, t Types) {
	for i, x := range call.Args {
		switch ast.Unparen(x).(type) {
		case *ast.Ident, *ast.SelectorExpr, *ast.IndexExpr, *ast.StarExpr:
			if typ := typeOf(x, t); typ != nil && typ != types.Typ[types.UntypedNil] && t.Constant(x) == nil {
				call.Args[i] = notConstant(x)
			}
		}
	}
}

// goSpread starts go f(xs...), which the interpreter cannot, as a function that
// calls it, and returns an assignment that keeps xs.
func goSpread(g *ast.GoStmt) ast.Stmt {
	call := *g.Call
	call.Args = slices.Clone(call.Args)
	last := len(call.Args) - 1
	xs := &ast.Ident{NamePos: g.Pos(), Name: fmt.Sprintf("spread of %d", g.Pos())}
	keep := define(xs, call.Args[last])
	call.Args[last] = xs
	g.Call = &ast.CallExpr{Lparen: call.Pos(), Rparen: call.End(), Fun: &ast.FuncLit{
		Type: &ast.FuncType{Func: call.Pos(), Params: &ast.FieldList{}},
		Body: &ast.BlockStmt{Lbrace: call.Pos(), List: []ast.Stmt{&ast.ExprStmt{X: &call}}, Rbrace: call.End()}}}
	return keep
}

// deferBuiltin defers a builtin, which the interpreter cannot, as a function
// that calls it, and returns assignments that keep its arguments.
func deferBuiltin(d *ast.DeferStmt) []ast.Stmt {
	id, ok := d.Call.Fun.(*ast.Ident)
	if !ok || id.Name != "close" && id.Name != "delete" && id.Name != "clear" {
		return nil
	}
	var before []ast.Stmt
	call := *d.Call
	call.Args = nil
	for i, x := range d.Call.Args {
		name := fmt.Sprintf("deferred %d of %d", i, d.Pos())
		before = append(before, &ast.AssignStmt{Lhs: []ast.Expr{&ast.Ident{NamePos: x.Pos(), Name: name}}, TokPos: x.Pos(), Tok: token.DEFINE, Rhs: []ast.Expr{x}})
		call.Args = append(call.Args, &ast.Ident{NamePos: x.Pos(), Name: name})
	}
	d.Call = &ast.CallExpr{Lparen: d.Call.Pos(), Rparen: d.Call.End(), Fun: &ast.FuncLit{
		Type: &ast.FuncType{Func: d.Call.Pos(), Params: &ast.FieldList{}},
		Body: &ast.BlockStmt{Lbrace: d.Call.Pos(), List: []ast.Stmt{&ast.ExprStmt{X: &call}}, Rbrace: d.Call.End()}}}
	return before
}

// giveTexts makes packages fmt and log see the types that cells have declared.
func giveTexts(print *ast.CallExpr, t Types) {
	name, ok := fmtFunction(print)
	if !ok {
		name, ok = functionOf("log", print)
	}
	if !ok || t == nil || print.Ellipsis.IsValid() || !slices.ContainsFunc(
		[]string{"Print", "Sprint", "Fprint", "Append", "Errorf", "Fatal", "Panic"}, func(p string) bool { return strings.HasPrefix(name, p) }) {
		return
	}
	first := 0
	if strings.HasPrefix(name, "Fprint") || strings.HasPrefix(name, "Append") {
		first = 1
	}
	named := map[int]bool{}
	if strings.HasSuffix(name, "f") && first < len(print.Args) {
		if format, ok := print.Args[first].(*ast.BasicLit); ok {
			named = nameTypes(format)
		}
		first++
	}
	for i := first; i < len(print.Args); i++ {
		x := print.Args[i]
		typ := t.Type(x)
		switch {
		case typ == nil:
		case named[i-first]:
			print.Args[i] = call(TypeName, x.Pos(), x)
		case name == "Errorf" && types.Implements(typ, types.Universe.Lookup("error").Type().Underlying().(*types.Interface)):
			print.Args[i] = call(Plain, x.Pos(), toInterface(x, types.Universe.Lookup("error").Type(), t)) // which errors.As finds
		case isEmpty(typ) || mayBeOfCell(typ) || hides(typ):
			print.Args[i] = call(Text, x.Pos(), x)
		}
	}
}
