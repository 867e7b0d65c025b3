package complete

import (
	"go/parser"
	"go/scanner"
	"go/token"
	"strings"
)

// IsComplete judges a cell: "complete" if it can be run, "incomplete" if more
// must follow, "invalid" if nothing that follows can make it right. For an
// incomplete one it also returns the indentation of the next line.
func IsComplete(code string) (status, indent string) {
	if _, _, asks := Question(code); asks {
		return "complete", ""
	}
	s := scan(code)
	for _, c := range s.comments {
		if strings.HasPrefix(c.lit, "/*") && c.unterminated() {
			return "incomplete", ""
		}
	}
	for _, l := range s.lex {
		if l.tok == token.STRING && strings.HasPrefix(l.lit, "`") && l.unterminated() {
			return "incomplete", ""
		}
	}
	if len(s.errors) > 0 {
		return "invalid", ""
	}
	open, ok := brackets(s.lex)
	if !ok {
		return "invalid", ""
	}
	end := 0
	if n := len(s.lex); n > 0 {
		end = s.lex[n-1].to
	}
	switch at := firstError(code, s.lex); {
	case at >= 0 && at < end:
		return "invalid", ""
	case at < 0 && len(open) == 0:
		return "complete", ""
	}
	// One tab for each line that left brackets open; a statement that goes on
	// has one too.
	lines := map[int]bool{}
	for _, l := range open {
		lines[strings.Count(code[:l.from], "\n")] = true
	}
	return "incomplete", strings.Repeat("\t", max(1, len(lines)))
}

// brackets returns those left open; false if one closes what was not opened.
func brackets(lex []lexeme) (open []lexeme, ok bool) {
	for _, l := range lex {
		switch l.tok {
		case token.LPAREN, token.LBRACK, token.LBRACE:
			open = append(open, l)
		case token.RPAREN, token.RBRACK, token.RBRACE:
			if len(open) == 0 || closer(open[len(open)-1].tok) != l.tok {
				return nil, false
			}
			open = open[:len(open)-1]
		}
	}
	return open, true
}

// firstError parses a cell, in which imports, declarations of functions and
// statements stand side by side, and returns where its first error is, or -1.
// Each import and function is parsed on its own and left blank among the rest,
// which is parsed as the body of a function.
func firstError(code string, lex []lexeme) int {
	rest := []byte(code)
	first := -1
	note := func(at int) {
		if at >= 0 && (first < 0 || at < first) {
			first = at
		}
	}
	depth, starts := 0, true
	for i := 0; i < len(lex); i++ {
		l := lex[i]
		if starts && (l.tok == token.IMPORT || l.tok == token.FUNC && isDeclaration(lex[i:])) {
			end := i
			for ; end < len(lex) && (depth > 0 || lex[end].tok != token.SEMICOLON); end++ {
				switch lex[end].tok {
				case token.LPAREN, token.LBRACK, token.LBRACE:
					depth++
				case token.RPAREN, token.RBRACK, token.RBRACE:
					depth--
				}
			}
			depth = 0
			to := lex[end-1].to
			note(parse("package p;", code[l.from:to], "", l.from))
			if l.tok == token.FUNC && !hasBody(lex[i:end]) {
				note(to)
			}
			for j := l.from; j < to; j++ {
				if rest[j] != '\n' {
					rest[j] = ' '
				}
			}
			i = end
			continue
		}
		switch l.tok {
		case token.LPAREN, token.LBRACK, token.LBRACE:
			depth++
		case token.RPAREN, token.RBRACK, token.RBRACE:
			depth--
		}
		starts = depth == 0 && l.tok == token.SEMICOLON
	}
	note(parse("package p;func _(){", string(rest), "\n}", 0))
	return first
}

// isDeclaration tells a function's declaration from a literal.
func isDeclaration(lex []lexeme) bool {
	return len(lex) < 2 || lex[1].tok == token.IDENT || isMethod(lex)
}

// hasBody reports whether a block ends the declaration.
func hasBody(lex []lexeme) bool { return lex[len(lex)-1].tok == token.RBRACE }

// parse returns the place of the first error in text, which stands at an
// offset in the cell, or -1.
func parse(before, text, behind string, at int) int {
	_, err := parser.ParseFile(token.NewFileSet(), "", before+text+behind, parser.SkipObjectResolution)
	list, ok := err.(scanner.ErrorList)
	if !ok || len(list) == 0 {
		return -1
	}
	list.Sort()
	return max(0, list[0].Pos.Offset-len(before)) + at
}
