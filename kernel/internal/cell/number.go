package cell

import (
	"go/ast"
	"go/constant"
	"go/token"
	"go/types"
	"strconv"
	"strings"
)

// largeConstant returns the value of a constant expression as a literal of its
// type, if it, or a part of it that is among those replaced before, is an
// integer of more than 63 bits: the interpreter cuts off the others. It returns
// nil for other expressions.
func largeConstant(x ast.Expr, replaced map[ast.Expr]bool, t Types) ast.Expr {
	if t == nil {
		return nil
	}
	b, ok := under(x, t).(*types.Basic)
	if !ok || b.Info()&types.IsNumeric == 0 {
		return nil
	}
	v := t.Constant(x)
	large := false
	switch x := x.(type) {
	case *ast.BasicLit:
		large = x.Kind == token.INT && isLarge(v)
	case *ast.BinaryExpr:
		large = isLarge(v) || replaced[x.X] || replaced[x.Y]
	case *ast.UnaryExpr:
		large = isLarge(v) || replaced[x.X]
	case *ast.ParenExpr:
		large = isLarge(v) || replaced[x.X]
	case *ast.CallExpr:
	default:
		large = isLarge(v)
	}
	if v == nil || !large {
		return nil
	}
	var value ast.Expr
	switch at := x.Pos(); {
	case b.Info()&types.IsInteger != 0:
		value = literal(at, token.INT, constant.ToInt(v).ExactString())
	case isUntyped(b): // with which the interpreter calculates right
		return nil
	case b.Info()&types.IsComplex != 0:
		value = &ast.BinaryExpr{X: float(at, constant.Real(v), ""), OpPos: at, Op: token.ADD, Y: float(at, constant.Imag(v), "i")}
	default:
		value = float(at, v, "")
	}
	if named := t.TypeExpr(t.Type(x)); named != nil && !isUntyped(b) {
		return conversion(named, value)
	}
	return value
}

// isLarge reports whether a constant is an integer that does not fit into an
// int64.
func isLarge(v constant.Value) bool {
	if v == nil {
		return false
	}
	v = constant.ToInt(constant.Real(constant.ToComplex(v)))
	_, fits := constant.Int64Val(v)
	return v.Kind() == constant.Int && !fits
}

// literal returns a number as an expression.
func literal(at token.Pos, kind token.Token, text string) ast.Expr {
	if rest, negative := strings.CutPrefix(text, "-"); negative {
		return &ast.UnaryExpr{OpPos: at, Op: token.SUB, X: literal(at, kind, rest)}
	}
	return &ast.BasicLit{ValuePos: at, Kind: kind, Value: text}
}

func float(at token.Pos, v constant.Value, i string) ast.Expr {
	f, _ := constant.Float64Val(v)
	kind := token.FLOAT
	if i != "" {
		kind = token.IMAG
	}
	return literal(at, kind, strconv.FormatFloat(f, 'e', -1, 64)+i)
}

// keepZero keeps the interpreter from leaving out what a constant zero does to
// a variable with a fraction: NaN*0 is NaN, and -0.0+0 is 0.
func keepZero(op token.Token, x ast.Expr, zero *ast.Expr, t Types) {
	if t == nil || t.Constant(x) != nil {
		return
	}
	if _, ok := t.Type(x).(*types.TypeParam); !ok {
		b, ok := under(x, t).(*types.Basic)
		if !ok || b.Info()&(types.IsFloat|types.IsComplex) == 0 {
			return
		}
	}
	switch op {
	case token.MUL, token.MUL_ASSIGN, token.ADD, token.ADD_ASSIGN, token.QUO, token.QUO_ASSIGN:
		switch v := t.Constant(*zero); {
		case v == nil || v.Kind() == constant.String:
		case constant.Sign(v) == 0:
			*zero = call(Zero, (*zero).Pos(), operand(x, t))
		}
	}
}

// operand returns a part of x that has its type and is soon compiled, since it is
// compiled twice.
func operand(x ast.Expr, t Types) ast.Expr {
	want := t.Type(x)
	for {
		b, ok := ast.Unparen(x).(*ast.BinaryExpr)
		if !ok {
			return x
		}
		next := ast.Expr(nil)
		for _, y := range []ast.Expr{b.X, b.Y} {
			if c, ok := y.(*ast.CallExpr); ok {
				if id, ok := c.Fun.(*ast.Ident); ok && id.Name == Zero {
					return c.Args[0]
				}
			}
			if typ := t.Type(y); next == nil && typ != nil && types.Identical(typ, want) && t.Constant(y) == nil {
				next = y
			}
		}
		if next == nil {
			return x
		}
		x = next
	}
}
