package notebook

import (
	"go/scanner"
	"go/token"
	"html"
	"strings"
)

// colourGo returns Go source as HTML with its parts marked. The source need not
// be a whole file, nor correct.
func colourGo(source string) string {
	var b strings.Builder
	src := []byte(source)
	file := token.NewFileSet().AddFile("", -1, len(src))
	var s scanner.Scanner
	s.Init(file, src, func(token.Position, string) {}, scanner.ScanComments)
	at := 0
	for {
		pos, tok, literal := s.Scan()
		if tok == token.EOF {
			break
		}
		class := codeClass(tok, literal)
		if class == "" {
			continue
		}
		start := file.Offset(pos)
		end := min(start+len(literal), len(src)) // short of carriage returns, which the scanner drops
		if start < at {
			continue
		}
		b.WriteString(html.EscapeString(source[at:start]))
		b.WriteString(`<span class="` + class + `">` + html.EscapeString(source[start:end]) + "</span>")
		at = end
	}
	b.WriteString(html.EscapeString(source[at:]))
	return b.String()
}

func codeClass(tok token.Token, literal string) string {
	switch {
	case tok == token.COMMENT:
		return "c"
	case tok.IsKeyword():
		return "k"
	case tok == token.STRING || tok == token.CHAR:
		return "s"
	case tok == token.INT || tok == token.FLOAT || tok == token.IMAG:
		return "n"
	case tok == token.IDENT:
		switch literal {
		case "nil", "true", "false", "iota":
			return "n"
		}
	}
	return ""
}
