package cell

import (
	"go/ast"
	"go/constant"
	"go/parser"
	"go/types"
	"testing"
)

// ints takes every expression for an int.
type ints struct{}

func (ints) Type(ast.Expr) types.Type                       { return types.Typ[types.Int] }
func (ints) TypeExpr(t types.Type) ast.Expr                 { x, _ := parser.ParseExpr(t.String()); return x }
func (ints) TypeArgs(*ast.Ident) *types.TypeList            { return nil }
func (ints) Package(ast.Expr) string                        { return "" }
func (ints) Constant(ast.Expr) constant.Value               { return nil }
func (ints) Boxed(ast.Expr) types.Type                      { return nil }
func (ints) IsBoxed(*types.Var) bool                        { return false }
func (ints) Bound(*ast.SelectorExpr) ([]string, bool, bool) { return nil, false, false }

func TestRewrite(t *testing.T) {
	for _, tc := range []struct{ body, want string }{
		{"for i := range 3 { f(i) }", "for loop count, loop end := int(0), int(3); loop count < loop end; loop count++ { i := loop count f(i) }"},
		{"for range n { }", "for loop count, loop end := int(0), int(n); loop count < loop end; loop count++ { }"},
		{"for i, v := range xs { s += v }", "for i, v := range xs { s += v }"},
		{"for i, v := range xs { go f(func() { g(v) }) }", "for i, v := range xs { v := v go GUARD(f)(func() { g(v) }) }"},
		{"for i := 0; i < 3; i++ { s += i }", "for i := 0; i < 3; i++ { s += i }"},
		{"for i := 0; i < 3; i++ { f(func() { g(i) }) }", "for i := 0; i < 3; i++ { i := i f(func() { g(i) }) }"},
		{"select { }", "select { case <-make(chan bool): }"},
		{"_, a = 1, 2", "_ = 1; STEP(1); a = 2"},
		{"x = 1 << 62", "x = 1 << 62"},
		{"for i, v = range xs { s += v }", "for range key, range value := range xs { i = range key v = range value s += v }"},
		{"for _, v = range xs { }", "for _, range value := range xs { v = range value }"},
		{"select { case v, ok := <-c: f(v, ok); default: }", "{ select chosen, select ok, received 0 := select channel(\"rd\", c) switch select chosen { case 0: v := received 0 ok := select ok f(v, ok) case 1: } }"},
		{"select { case v := <-c: f(v) }", "select { case v := <-c: f(v) }"},
		{"if <-c { }", "if int(<-c) { }"},
		{"f(<-c)", "f(int(<-c))"},
		{"f(<-c, 1)", "f(<-c, 1)"},
		{"f(xs[0])", "f(xs[0])"},
	} {
		got := text(t, New(tc.body, parse(t, "", tc.body), ints{}).Body)
		if got != "STEP(0); "+tc.want {
			t.Errorf("%s\nbecomes %s\nwant    %s", tc.body, got, tc.want)
		}
	}
}
