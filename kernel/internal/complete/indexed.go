package complete

import (
	"go/ast"
	"go/parser"
	"go/token"
)

// Indexed returns the expressions x[i] and x[i:j] in the statement that begins at
// an offset of a cell, in their order, without those whose evaluation could change
// anything.
func Indexed(code string, at int) (found []ast.Expr) {
	if at < 0 || at > len(code) {
		return nil
	}
	lex := scan(code[at:]).lex
	code = code[at:]
	depth := 0
	for i, l := range lex {
		switch l.tok {
		case token.LPAREN, token.LBRACE:
			depth++
		case token.RPAREN, token.RBRACE:
			depth--
		case token.RBRACK:
			if start := operandStart(lex, i+1); start >= 0 {
				if x, err := parser.ParseExpr(code[lex[start].from:l.to]); err == nil && unchanging(x) {
					found = append(found, x)
				}
			}
		}
		if depth < 0 || depth == 0 && (l.tok == token.SEMICOLON || l.tok == token.RBRACE) {
			break
		}
	}
	return found
}

// unchanging reports whether an expression calls nothing but len and has no
// other effect.
func unchanging(x ast.Expr) bool {
	safe := true
	ast.Inspect(x, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CallExpr:
			id, ok := n.Fun.(*ast.Ident)
			safe = safe && ok && id.Name == "len"
		case *ast.FuncLit, *ast.CompositeLit:
			safe = false
		case *ast.UnaryExpr:
			safe = safe && n.Op != token.ARROW
		}
		return safe
	})
	return safe
}
