package check

import (
	"fmt"
	"go/ast"
	"go/token"
	"go/types"
	"strconv"
)

// powers finds what is meant as a power and is an exclusive or of integers: 10^6,
// 2^8, n^2 and n^3 with decimal numbers.
func (c *Cell) powers(n ast.Node) {
	ast.Inspect(n, func(n ast.Node) bool {
		x, ok := n.(*ast.BinaryExpr)
		if !ok || x.Op != token.XOR {
			return true
		}
		base, exponent := decimal(x.X), decimal(x.Y)
		switch x.X.(type) {
		case *ast.BasicLit:
			if base != "2" && base != "10" || exponent == "" {
				return true
			}
		case *ast.BinaryExpr, *ast.UnaryExpr: // of bits
			return true
		default:
			if exponent != "2" && exponent != "3" {
				return true
			}
		}
		b, ok := types.Unalias(c.types[x].Type).(*types.Basic)
		if !ok || b.Info()&types.IsInteger == 0 {
			return true
		}
		value, _ := strconv.ParseUint(exponent, 10, 64) // the checker has seen that it fits
		left, number := types.ExprString(x.X), base
		if base == "" {
			number = fmt.Sprintf("float64(%s)", types.ExprString(ast.Unparen(x.X)))
		}
		c.Problems = append(c.Problems, Problem{x.OpPos, fmt.Sprintf("^ is the exclusive or of integers, and no power; write math.Pow(%s, %s), or %s ^ %#x if the exclusive or is meant",
			number, exponent, left, value)})
		return true
	})
}

// decimal returns a decimal number as it is written, or "".
func decimal(x ast.Expr) string {
	lit, ok := x.(*ast.BasicLit)
	if !ok || lit.Kind != token.INT || len(lit.Value) > 1 && lit.Value[0] == '0' {
		return ""
	}
	return lit.Value
}
