package check

import (
	"fmt"
	"go/ast"
	"go/constant"
	"go/token"
	"go/types"
	"strings"
)

// Units is the path of the package whose types are quantities.
const Units = "github.com/evenbed/evenbed/packing/units"

// bareNumbers finds numbers that would silently become quantities in SI units:
// InnerDiameter: 30 is 30 m. What has no dimension takes numbers, and zero is
// zero in all units but those of temperature.
func (c *Cell) bareNumbers(n ast.Node) {
	ast.Inspect(n, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CallExpr:
			return !c.types[n.Fun].IsType() // Length(30) says what it does
		case *ast.BinaryExpr:
			if n.Op != token.MUL && n.Op != token.QUO || bare(n) {
				break
			}
			for _, x := range []ast.Expr{n.X, n.Y} {
				if !bare(x) {
					c.bareNumbers(x)
				}
			}
			return false
		}
		x, ok := n.(ast.Expr)
		if !ok || !bare(x) {
			return true
		}
		tv := c.types[x]
		t, ok := tv.Type.(*types.Named)
		if !ok || t.Obj().Pkg() == nil || t.Obj().Pkg().Path() != Units || t.Obj().Name() == "Fraction" ||
			tv.Value == nil || constant.Sign(tv.Value) == 0 {
			return false
		}
		number := types.ExprString(x)
		before, first := called(c.imports)
		if _, err := c.checker.packages.Import(Units); err != nil { // with its names, which a cell that imports others has not asked for
			return false
		}
		c.Problems = append(c.Problems, Problem{x.Pos(), fmt.Sprintf("%s is a %s without its unit; %s%s", number, t.Obj().Name(), withUnit(number, before, t), first)})
		return false
	})
}

// bare reports whether an expression is made of numbers alone.
func bare(x ast.Expr) bool {
	switch x := x.(type) {
	case *ast.BasicLit:
		return x.Kind == token.INT || x.Kind == token.FLOAT
	case *ast.ParenExpr:
		return bare(x.X)
	case *ast.UnaryExpr:
		return bare(x.X)
	case *ast.BinaryExpr:
		return bare(x.X) && bare(x.Y)
	}
	return false
}

// withUnit tells how a number becomes a quantity, with names of package units
// behind what it is called.
func withUnit(number, called string, t *types.Named) string {
	var units, calls []string
	scope := t.Obj().Pkg().Scope()
	for _, name := range scope.Names() {
		switch obj := scope.Lookup(name).(type) {
		case *types.Const:
			if types.Identical(obj.Type(), t) {
				units = append(units, called+name)
			}
		case *types.Func:
			if r := obj.Signature().Results(); r.Len() == 1 && types.Identical(r.At(0).Type(), t) {
				calls = append(calls, fmt.Sprintf("%s%s(%s)", called, name, number))
			}
		}
	}
	if len(calls) > 0 {
		return "write " + strings.Join(calls, " or ")
	}
	last := len(units) - 1
	if last > 0 {
		units = append(units[:last-1], units[last-1]+" or "+units[last])
	}
	return "multiply it by " + strings.Join(units, ", ")
}
