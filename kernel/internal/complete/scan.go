package complete

import (
	"go/ast"
	"go/parser"
	"go/scanner"
	"go/token"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/evenbed/evenbed/kernel/symbols"
)

// offset converts a count of code points to one of bytes. Outside of the code
// it is the end.
func offset(code string, cursor int) int {
	if cursor < 0 {
		return len(code)
	}
	at := 0
	for ; cursor > 0 && at < len(code); cursor-- {
		_, n := utf8.DecodeRuneInString(code[at:])
		at += n
	}
	return at
}

func points(s string) int { return utf8.RuneCountInString(s) }

// A lexeme is a token and where it stands, in bytes.
type lexeme struct {
	tok      token.Token
	lit      string
	from, to int
}

// unterminated reports whether a string, character or comment lacks its end.
func (l lexeme) unterminated() bool {
	if l.tok == token.COMMENT {
		return strings.HasPrefix(l.lit, "//") || len(l.lit) < 4 || !strings.HasSuffix(l.lit, "*/")
	}
	return len(l.lit) < 2 || l.lit[len(l.lit)-1] != l.lit[0]
}

// A source is a text in tokens.
type source struct {
	lex      []lexeme // without comments and the end of the file
	comments []lexeme
	errors   scanner.ErrorList
}

// scan cuts code into tokens. Whatever it is, all of it is covered.
func scan(code string) (s source) {
	file := token.NewFileSet().AddFile("", -1, len(code))
	var sc scanner.Scanner
	sc.Init(file, []byte(code), s.errors.Add, scanner.ScanComments)
	for {
		pos, tok, lit := sc.Scan()
		if tok == token.EOF {
			break
		}
		l := lexeme{tok: tok, lit: lit, from: file.Offset(pos)}
		switch {
		case tok == token.SEMICOLON && lit == "\n":
			l.to = l.from
			if l.from == len(code) {
				continue // put in by the end of the text alone
			}
		case tok == token.COMMENT && strings.HasPrefix(lit, "/*"):
			l.to = after(code, l.from+2, "*/")
		case tok == token.STRING && strings.HasPrefix(lit, "`"):
			l.to = after(code, l.from+1, "`")
		case lit == "":
			l.to = l.from + len(tok.String())
		default:
			l.to = l.from + len(lit)
		}
		l.to = min(l.to, len(code))
		if tok == token.COMMENT {
			s.comments = append(s.comments, l)
		} else {
			s.lex = append(s.lex, l)
		}
	}
	return s
}

// after returns the offset behind the next end marker. The scanner drops
// carriage returns from what it returns, so lengths cannot be used.
func after(code string, from int, end string) int {
	from = min(from, len(code))
	i := strings.Index(code[from:], end)
	if i < 0 {
		return len(code)
	}
	return from + i + len(end)
}

func (s source) inComment(at int) bool {
	return slices.ContainsFunc(s.comments, func(c lexeme) bool {
		return c.from < at && (at < c.to || at == c.to && c.unterminated())
	})
}

// match returns the index of the bracket that the one at i closes, or -1.
func match(lex []lexeme, i int) int {
	open := enclosing(lex[:i])
	if open >= 0 && closer(lex[open].tok) != lex[i].tok {
		return -1
	}
	return open
}

// enclosing returns the index of the last bracket left open, or -1.
func enclosing(lex []lexeme) int {
	depth := 0
	for i, l := range slices.Backward(lex) {
		switch l.tok {
		case token.RPAREN, token.RBRACK, token.RBRACE:
			depth++
		case token.LPAREN, token.LBRACK, token.LBRACE:
			if depth == 0 {
				return i
			}
			depth--
		}
	}
	return -1
}

func closer(open token.Token) token.Token {
	switch open {
	case token.LPAREN:
		return token.RPAREN
	case token.LBRACK:
		return token.RBRACK
	case token.LBRACE:
		return token.RBRACE
	}
	return token.ILLEGAL
}

// operandStart returns the index at which the operand that ends before end
// starts: of a.b(c).d all four names, with calls, indices and literals. It
// returns -1 if there is none.
func operandStart(lex []lexeme, end int) int {
	for i := end - 1; i >= 0; {
		switch lex[i].tok {
		case token.IDENT:
			if i == 0 {
				return i
			}
			switch lex[i-1].tok {
			case token.PERIOD:
				i -= 2
				continue
			case token.RBRACK: // the element type of a literal
				o := match(lex, i-1)
				if o > 0 && lex[o-1].tok == token.MAP {
					return o - 1
				}
				return o
			}
			return i
		case token.STRING, token.CHAR, token.INT, token.FLOAT, token.IMAG:
			return i
		case token.RPAREN, token.RBRACK, token.RBRACE:
			o := match(lex, i)
			if o < 0 {
				return -1
			}
			if o > 0 {
				switch lex[o-1].tok {
				case token.IDENT, token.RPAREN, token.RBRACK, token.RBRACE:
					i = o - 1
					continue
				case token.PERIOD: // type assertion
					i = o - 2
					continue
				case token.FUNC:
					return -1
				}
			}
			if lex[i].tok != token.RPAREN {
				return -1
			}
			return o
		default:
			return -1
		}
	}
	return -1
}

// literalType returns the type of the struct literal in which the tokens end
// and the fields already given; "" if they do not end where a field's name may
// stand.
func literalType(code string, lex []lexeme) (typ string, used []string) {
	if len(lex) == 0 || lex[len(lex)-1].tok != token.LBRACE && lex[len(lex)-1].tok != token.COMMA {
		return "", nil
	}
	open := enclosing(lex)
	if open <= 0 || lex[open].tok != token.LBRACE {
		return "", nil
	}
	for i := open + 1; i+1 < len(lex); i++ {
		if lex[i].tok == token.IDENT && lex[i+1].tok == token.COLON && enclosing(lex[:i]) == open {
			used = append(used, lex[i].lit)
		}
	}
	elided := false
	for open > 0 && (lex[open-1].tok == token.LBRACE || lex[open-1].tok == token.COMMA || lex[open-1].tok == token.COLON) {
		// A literal inside a slice or map leaves out its type.
		elided = true
		if open = enclosing(lex[:open]); open <= 0 || lex[open].tok != token.LBRACE {
			return "", nil
		}
	}
	end := open
	if lex[end-1].tok != token.IDENT {
		return "", nil
	}
	start := end - 1
	if start >= 2 && lex[start-1].tok == token.PERIOD && lex[start-2].tok == token.IDENT {
		start -= 2
	}
	if start > 0 {
		switch lex[start-1].tok {
		case token.RPAREN: // the result of a function and its body
			return "", nil
		case token.RBRACK: // a slice or map, whose elements are meant
			if !elided {
				return "", nil
			}
		default:
			pointers := lex[start-1].tok == token.MUL && start > 1 && lex[start-2].tok == token.RBRACK
			if elided != pointers {
				return "", nil
			}
		}
	}
	return code[lex[start].from:lex[end-1].to], used
}

// inImport reports whether a path may follow the tokens.
func inImport(lex []lexeme) bool {
	for _, l := range slices.Backward(lex) {
		switch l.tok {
		case token.IMPORT:
			return true
		case token.LPAREN, token.STRING, token.SEMICOLON, token.IDENT, token.PERIOD:
		default:
			return false
		}
	}
	return false
}

// importsIn lists the imports of a cell.
func importsIn(lex []lexeme) (found []Import) {
	for i, l := range lex {
		if l.tok != token.STRING || !inImport(lex[:i]) {
			continue
		}
		path, err := strconv.Unquote(l.lit)
		if err != nil || path == "" {
			continue
		}
		name, _ := symbols.PackageName(path)
		if name == "" {
			name = path[strings.LastIndex(path, "/")+1:]
		}
		switch lex[i-1].tok {
		case token.IDENT:
			name = lex[i-1].lit
		case token.PERIOD:
			name = "."
		}
		found = append(found, Import{name, path})
	}
	return found
}

// A local is a name that the cell declares.
type local struct {
	name, kind string
	signature  string // of a function, else ""
	receiver   string // the type of which the function is a method, else ""
	typ        string // the type as written, that of a type itself, or ""
	value      string // the expression it is declared with, or ""
	index      int    // which of the values, if the expression has several
	ranged     bool   // the value is what a loop goes over
	at         int    // the token with which a function or a type begins; -1 for others
}

// localsIn lists what a cell declares, in scopes of any depth, the last
// declaration first.
func localsIn(code string, lex []lexeme) (found []local) {
	for i := range lex {
		switch lex[i].tok {
		case token.DEFINE:
			var names []string
			for j := i - 1; j >= 0 && lex[j].tok == token.IDENT; j -= 2 {
				names = append(names, lex[j].lit)
				if j == 0 || lex[j-1].tok != token.COMMA {
					break
				}
			}
			slices.Reverse(names)
			if i+1 < len(lex) && lex[i+1].tok == token.RANGE {
				found = append(found, ranged(code, names, lex[i+2:])...)
				continue
			}
			found = append(found, declared(names, "variable", "", values(code, lex[i+1:]))...)
		case token.VAR:
			found = append(found, group(code, lex[i+1:], "variable")...)
		case token.CONST:
			found = append(found, group(code, lex[i+1:], "constant")...)
		case token.TYPE:
			found = append(found, typesAt(code, lex, i)...)
		case token.FUNC:
			own := function(code, lex[i:])
			for j := range own {
				own[j].at = -1
				if own[j].signature != "" {
					own[j].at = i
				}
			}
			found = append(found, own...)
		}
	}
	slices.Reverse(found)
	return found
}

// typesAt lists the types that the type at i declares, and where each begins: at
// that token, or at its name in parentheses.
func typesAt(code string, lex []lexeme, i int) []local {
	found := group(code, lex[i+1:], "type")
	at := i
	for j := range found {
		if i+1 < len(lex) && lex[i+1].tok == token.LPAREN {
			for at++; at < len(lex) && !(lex[at].lit == found[j].name && lex[at-1].tok != token.PERIOD && enclosing(lex[:at]) == i+1); at++ {
			}
		}
		found[j].at = min(at, len(lex)-1)
	}
	return found
}

// declared makes the locals of one declaration: as many values as names, or
// one that gives them all.
func declared(names []string, kind, typ string, values []string) (found []local) {
	for i, name := range names {
		if name == "_" {
			continue
		}
		l := local{name: name, kind: kind, typ: typ, at: -1}
		switch {
		case len(values) == len(names):
			l.value = values[i]
		case len(values) == 1:
			l.value, l.index = values[0], i
		}
		found = append(found, l)
	}
	return found
}

// ranged makes the locals of a loop over what the tokens start with.
func ranged(code string, names []string, lex []lexeme) []local {
	end, depth := 0, 0
	literal := len(lex) > 0 && (lex[0].tok == token.LBRACK || lex[0].tok == token.MAP) // its brace comes before the body's
scan:
	for ; end < len(lex); end++ {
		switch lex[end].tok {
		case token.LPAREN, token.LBRACK:
			depth++
		case token.LBRACE:
			if depth == 0 && !literal {
				break scan
			}
			literal = false
			depth++
		case token.RPAREN, token.RBRACK, token.RBRACE:
			depth--
		case token.SEMICOLON:
			if depth == 0 {
				break scan
			}
		}
	}
	value := ""
	if end > 0 {
		value = code[lex[0].from:lex[end-1].to]
	}
	found := declared(names, "variable", "", []string{value})
	for i := range found {
		found[i].value, found[i].ranged = value, true
		found[i].index = slices.Index(names, found[i].name)
	}
	return found
}

// values returns the expressions, parted by commas, at the start of the tokens.
func values(code string, lex []lexeme) (found []string) {
	depth, start := 0, 0
	for i, l := range lex {
		switch l.tok {
		case token.LPAREN, token.LBRACK, token.LBRACE:
			depth++
		case token.RPAREN, token.RBRACK, token.RBRACE:
			depth--
		}
		ends := depth < 0 || depth == 0 && (l.tok == token.SEMICOLON || l.tok == token.COLON)
		if (ends || depth == 0 && l.tok == token.COMMA) && i > start {
			found = append(found, code[lex[start].from:lex[i-1].to])
			start = i + 1
		}
		if ends {
			return found
		}
	}
	if start < len(lex) {
		found = append(found, code[lex[start].from:lex[len(lex)-1].to])
	}
	return found
}

// group reads what follows var, const or type: one declaration or several in
// parentheses.
func group(code string, lex []lexeme, kind string) (found []local) {
	if len(lex) == 0 || lex[0].tok != token.LPAREN {
		return spec(code, lex, kind)
	}
	depth := 1
	for i := 1; i < len(lex) && depth > 0; i++ {
		if depth == 1 && lex[i].tok == token.IDENT && (lex[i-1].tok == token.SEMICOLON || i == 1) {
			found = append(found, spec(code, lex[i:], kind)...)
		}
		switch lex[i].tok {
		case token.LPAREN, token.LBRACK, token.LBRACE:
			depth++
		case token.RPAREN, token.RBRACK, token.RBRACE:
			depth--
		}
	}
	return found
}

func spec(code string, lex []lexeme, kind string) []local {
	var names []string
	i := 0
	for ; i < len(lex) && lex[i].tok == token.IDENT; i += 2 {
		names = append(names, lex[i].lit)
		if i+1 >= len(lex) || lex[i+1].tok != token.COMMA {
			i++
			break
		}
	}
	i = min(i, len(lex))
	if kind == "type" {
		typ := append(values(code, lex[i:]), "")[0]
		return declared(names, kind, typ, nil)
	}
	typ := i
	for i < len(lex) && lex[i].tok != token.ASSIGN && lex[i].tok != token.SEMICOLON && lex[i].tok != token.RPAREN {
		i++
	}
	text := ""
	if i > typ {
		text = code[lex[typ].from:lex[i-1].to]
	}
	if i < len(lex) && lex[i].tok == token.ASSIGN {
		return declared(names, kind, text, values(code, lex[i+1:]))
	}
	return declared(names, kind, text, nil)
}

// function reads a function's name, the type of which it is a method, and its
// parameters.
func function(code string, lex []lexeme) (found []local) {
	end := bodyStart(lex)
	if end < 2 {
		return nil
	}
	head := code[lex[0].from:lex[end-1].to]
	if lex[1].tok != token.IDENT && !isMethod(lex) {
		head = "func _" + strings.TrimPrefix(head, "func")
	}
	f, err := parser.ParseFile(token.NewFileSet(), "", "package p;"+head, parser.SkipObjectResolution)
	if err != nil || len(f.Decls) == 0 {
		return nil
	}
	d, ok := f.Decls[0].(*ast.FuncDecl)
	if !ok {
		return nil
	}
	if d.Name.Name != "_" {
		l := local{name: d.Name.Name, kind: "function", signature: head}
		if d.Recv != nil && len(d.Recv.List) == 1 {
			l.receiver = typeName(d.Recv.List[0].Type)
		}
		if d.Recv == nil || l.receiver != "" {
			found = append(found, l)
		}
	}
	const skipped = len("package p;") + 1 // positions count from 1
	shift := skipped - lex[0].from
	if d.Name.Name == "_" {
		shift += len(" _")
	}
	for _, list := range []*ast.FieldList{d.Recv, d.Type.Params, d.Type.Results} {
		if list == nil {
			continue
		}
		for _, field := range list.List {
			for _, name := range field.Names {
				found = append(found, local{name: name.Name, kind: "variable",
					typ: code[int(field.Type.Pos())-shift : int(field.Type.End())-shift]})
			}
		}
	}
	return found
}

// bodyStart returns the index of the brace that opens a function's body, not
// one of an interface or struct in its parameters and results, or -1.
func bodyStart(lex []lexeme) int {
	depth := 0
	for i, l := range lex {
		switch l.tok {
		case token.LPAREN:
			depth++
		case token.RPAREN:
			depth--
		case token.LBRACE:
			if depth == 0 && lex[i-1].tok != token.INTERFACE && lex[i-1].tok != token.STRUCT {
				return i
			}
		}
	}
	return -1
}

// isMethod reports whether tokens that start with func declare a method: a
// receiver, a name and parameters follow. A literal has a body or a result.
func isMethod(lex []lexeme) bool {
	depth := 0
	for i, l := range lex {
		switch l.tok {
		case token.LPAREN:
			depth++
		case token.RPAREN:
			if depth--; depth == 0 {
				return i+2 < len(lex) && lex[i+1].tok == token.IDENT && lex[i+2].tok == token.LPAREN
			}
		default:
			if depth == 0 && i > 0 {
				return false
			}
		}
	}
	return false
}
