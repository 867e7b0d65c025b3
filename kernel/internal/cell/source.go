package cell

import (
	"go/ast"
	"go/scanner"
	"go/token"
	"slices"
	"strings"
)

// A Source is a cell's text as the interpreter's parser takes it.
type Source struct {
	Text    string
	Generic []string // generic functions and types that the cell declares
	// Written holds the type parameters of these, with their brackets, and the
	// interfaces that list types, by the names that are declared.
	Written map[string]string

	original string
	edits    []edit // in the order of their place
}

// An edit puts text in place of a part of the original.
type edit struct {
	from, to int
	text     string
}

// A SourceError is something in the text that the interpreter does not have.
type SourceError struct {
	Line, Column int
	Message      string
}

func (e *SourceError) Error() string { return e.Message }

// NewSource brings a cell's text into the form that the interpreter's parser
// takes. That is older than generics and knows them in another form, takes a
// func at the start of a statement for a declaration, and does not know a
// list of values as a statement. Generic reports whether a name was declared
// as generic in an earlier cell.
func NewSource(text string, generic func(name string) bool) (*Source, error) {
	s := &Source{Text: text, original: text, Written: map[string]string{}}
	toks := scan(text)
	if at, why := tooLarge(toks); at != nil {
		line, column := position(text, at.from)
		return s, &SourceError{line, column, why}
	}
	w := &writer{s: s, toks: toks}
	w.program()
	w.constraints()
	w.embedded()
	w.generics(generic)
	w.list()
	w.literals()
	if w.err != nil {
		return s, w.err
	}
	slices.SortStableFunc(s.edits, func(a, b edit) int { return a.from - b.from })
	end := 0
	s.edits = slices.DeleteFunc(s.edits, func(e edit) bool { // what lies inside another
		inside := e.from < end
		end = max(end, e.to)
		return inside
	})
	var b strings.Builder
	at := 0
	for _, e := range s.edits {
		b.WriteString(text[at:e.from])
		b.WriteString(e.text)
		at = e.to
	}
	b.WriteString(text[at:])
	s.Text = b.String()
	return s, nil
}

// Place returns where in the original a line and a column of the text are.
func (s *Source) Place(line, column int) (int, int) {
	if len(s.edits) == 0 {
		return line, column
	}
	offset := 0
	for l := 1; l < line; l++ {
		i := strings.IndexByte(s.Text[offset:], '\n')
		if i < 0 {
			return line, column
		}
		offset += i + 1
	}
	offset += column - 1
	shift := 0 // text before the offset is longer than the original by this
	for _, e := range s.edits {
		start := e.from + shift
		if offset < start {
			break
		}
		if offset < start+len(e.text) {
			return position(s.original, e.from)
		}
		shift += len(e.text) - (e.to - e.from)
	}
	return position(s.original, offset-shift)
}

func position(text string, offset int) (line, column int) {
	offset = min(max(offset, 0), len(text))
	before := text[:offset]
	return strings.Count(before, "\n") + 1, offset - strings.LastIndexByte(before, '\n')
}

type tok struct {
	token.Token
	from, to int
	text     string
}

func scan(text string) []tok {
	var s scanner.Scanner
	fset := token.NewFileSet()
	file := fset.AddFile("", fset.Base(), len(text))
	s.Init(file, []byte(text), func(token.Position, string) {}, 0)
	var toks []tok
	for {
		pos, t, lit := s.Scan()
		if t == token.EOF {
			return toks
		}
		from := file.Offset(pos)
		n := len(lit)
		switch {
		case t == token.SEMICOLON && lit == "\n":
			n = 0
		case lit == "":
			n = len(t.String())
		}
		toks = append(toks, tok{t, from, min(from+n, len(text)), lit})
	}
}

// A writer finds what to change in the text.
type writer struct {
	s    *Source
	toks []tok
	err  error
}

func (w *writer) replace(from, to int, text string) {
	w.s.edits = append(w.s.edits, edit{from, to, text})
}

// at returns the token i, or one that is none.
func (w *writer) at(i int) tok {
	if i < 0 || i >= len(w.toks) {
		return tok{Token: token.EOF}
	}
	return w.toks[i]
}

// closing returns the index of the bracket that closes the one at i, or -1.
func (w *writer) closing(i int) int {
	depth := 0
	for j := i; j < len(w.toks); j++ {
		switch w.toks[j].Token {
		case token.LPAREN, token.LBRACK, token.LBRACE:
			depth++
		case token.RPAREN, token.RBRACK, token.RBRACE:
			if depth--; depth == 0 {
				return j
			}
		}
	}
	return -1
}

// newlines keeps the lines of what is taken away.
func (w *writer) newlines(from, to int) string {
	return strings.Repeat("\n", strings.Count(w.s.original[from:to], "\n"))
}

// program takes the package clause of a whole program away, and calls its main
// at the end.
func (w *writer) program() {
	if w.at(0).Token != token.PACKAGE || w.at(1).Token != token.IDENT {
		return
	}
	w.replace(w.at(0).from, w.at(1).to, "")
	for i := range w.toks {
		if w.at(i).Token == token.FUNC && w.at(i+1).text == "main" && w.at(i+2).Token == token.LPAREN {
			w.replace(len(w.s.original), len(w.s.original), "\nmain()")
			return
		}
	}
}

// constraints empties interfaces that list types, which serve as constraints
// alone: the interpreter does not look at constraints.
func (w *writer) constraints() {
	for i := range w.toks {
		if w.at(i).Token != token.INTERFACE || w.at(i+1).Token != token.LBRACE {
			continue
		}
		end := w.closing(i + 1)
		for j := i + 2; j < end; j++ {
			if t := w.at(j).Token; t == token.TILDE || t == token.OR || w.at(j).text == "comparable" {
				from, to := w.at(i+1).to, w.at(end).from
				w.replace(from, to, w.newlines(from, to))
				if w.at(i-1).Token == token.IDENT {
					w.s.Written[w.at(i-1).text] = w.s.original[w.at(i).from:w.at(end).to]
				}
				break
			}
		}
	}
}

// embedded makes the names of interfaces that are embedded in others methods, for
// [Embed] to find.
func (w *writer) embedded() {
	for i := range w.toks {
		if w.at(i).Token != token.INTERFACE || w.at(i+1).Token != token.LBRACE {
			continue
		}
		end := w.closing(i + 1)
		for j := i + 2; j < end; j++ {
			switch next := w.at(j + 1).Token; {
			case w.at(j).Token == token.LPAREN || w.at(j).Token == token.LBRACE || w.at(j).Token == token.LBRACK:
				j = w.closing(j)
			case w.at(j).Token == token.IDENT && (next == token.SEMICOLON || j+1 == end) &&
				(w.at(j-1).Token == token.SEMICOLON || j == i+2):
				w.replace(w.at(j).to, w.at(j).to, "("+Embedded+")")
			}
			if j < 0 {
				break
			}
		}
	}
}

// Embed embeds the interfaces that [NewSource] has made methods.
func Embed(nodes []ast.Node) {
	for _, n := range nodes {
		Inspect(n, func(n ast.Node) bool {
			i, ok := n.(*ast.InterfaceType)
			if !ok {
				return true
			}
			for _, m := range i.Methods.List {
				f, ok := m.Type.(*ast.FuncType)
				if !ok || len(m.Names) != 1 || len(f.Params.List) != 1 {
					continue
				}
				if id, ok := f.Params.List[0].Type.(*ast.Ident); ok && id.Name == Embedded {
					m.Type, m.Names = &ast.Ident{NamePos: m.Names[0].NamePos, Name: m.Names[0].Name}, nil
				}
			}
			return true
		})
	}
}

// generics writes the type parameters and arguments of generic functions and
// types as the interpreter has them: f[T any] as f#[T], f[int] as f#[int].
func (w *writer) generics(known func(string) bool) {
	declared := map[int]bool{} // brackets of declarations
	declare := func(name, bracket int) {
		end := w.closing(bracket)
		if end < 0 {
			return
		}
		declared[bracket] = true
		w.s.Generic = append(w.s.Generic, w.at(name).text)
		var params []string
		for j := bracket + 1; j < end; j++ {
			if before := w.at(j - 1).Token; w.at(j).Token == token.IDENT && (j == bracket+1 || before == token.COMMA) {
				params = append(params, w.at(j).text)
			}
			if t := w.at(j).Token; t == token.LBRACK || t == token.LPAREN || t == token.LBRACE {
				j = max(w.closing(j), j)
			}
		}
		from, to := w.at(bracket).from, w.at(end).to
		w.s.Written[w.at(name).text] = w.s.original[from:to]
		w.replace(from, to, "#["+strings.Join(params, ", ")+w.newlines(from, to)+"]")
	}
	group := -1 // where the current "type (" closes
	for i := range w.toks {
		switch {
		case w.at(i).Token == token.FUNC && w.at(i+1).Token == token.IDENT && w.at(i+2).Token == token.LBRACK:
			declare(i+1, i+2)
		case w.at(i).Token == token.TYPE && w.at(i+1).Token == token.LPAREN:
			group = w.closing(i + 1)
		case w.at(i).Token == token.IDENT && w.at(i+1).Token == token.LBRACK && w.typeParameters(i+1) &&
			(w.at(i-1).Token == token.TYPE ||
				i < group && (w.at(i-1).Token == token.SEMICOLON || w.at(i-1).Token == token.LPAREN)):
			declare(i, i+1)
		}
	}
	is := func(name string) bool { return slices.Contains(w.s.Generic, name) || known != nil && known(name) }
	for i := range w.toks {
		if w.at(i).Token != token.IDENT || w.at(i+1).Token != token.LBRACK || declared[i+1] ||
			w.at(i-1).Token == token.PERIOD || !is(w.at(i).text) {
			continue
		}
		if w.receiver(i) {
			line, column := position(w.s.original, w.at(i).from)
			w.err = &SourceError{line, column, "the interpreter has no methods of generic types; write a function that takes the value, as func First[T any](p pair[T]) T"}
			return
		}
		w.replace(w.at(i+1).from, w.at(i+1).from, "#")
	}
}

// typeParameters reports whether a bracket after the name of a type holds
// type parameters, and not the length of an array.
func (w *writer) typeParameters(bracket int) bool {
	if w.at(bracket+1).Token != token.IDENT {
		return false
	}
	switch w.at(bracket + 2).Token {
	case token.IDENT, token.COMMA, token.INTERFACE, token.TILDE, token.FUNC, token.MAP, token.CHAN:
		return true
	case token.LBRACK:
		return w.at(bracket+3).Token == token.RBRACK
	}
	return false
}

// receiver reports whether the name at i is the type of a receiver.
func (w *writer) receiver(i int) bool {
	for j := i - 1; j >= max(0, i-3); j-- {
		if w.at(j).Token == token.LPAREN {
			return w.at(j-1).Token == token.FUNC && w.method(j-1)
		}
	}
	return false
}

// method reports whether the func at i declares a method: after its first
// parentheses stand a name and further parentheses.
func (w *writer) method(i int) bool {
	end := w.closing(i + 1)
	return end > 0 && w.at(end+1).Token == token.IDENT && w.at(end+2).Token == token.LPAREN
}

// literals puts function literals at the start of a statement of the cell's
// top level, and those over which a loop ranges, into parentheses.
func (w *writer) literals() {
	for i := range w.toks {
		if w.at(i).Token == token.RANGE && w.at(i+1).Token == token.FUNC {
			w.parenthesize(i + 1)
		}
	}
	start := true
	for i := 0; i < len(w.toks); i++ {
		t := w.toks[i]
		if start && t.Token == token.FUNC && w.at(i+1).Token == token.LPAREN && !w.method(i) {
			if i = w.parenthesize(i); i < 0 {
				return
			}
			start = false
			continue
		}
		switch t.Token {
		case token.LPAREN, token.LBRACK, token.LBRACE:
			if i = w.closing(i); i < 0 {
				return
			}
			start = false
		case token.SEMICOLON:
			start = true
		default:
			start = false
		}
	}
}

// parenthesize puts the function literal at i into parentheses, and returns the
// index of its last token, or -1 if it has none.
func (w *writer) parenthesize(i int) int {
	body := w.closing(i + 1)
	for body++; body > 0 && body < len(w.toks) && w.at(body).Token != token.LBRACE; body++ {
		switch t := w.at(body).Token; {
		case t == token.LPAREN || t == token.LBRACK:
			body = w.closing(body)
		case (t == token.INTERFACE || t == token.STRUCT) && w.at(body+1).Token == token.LBRACE:
			body = w.closing(body + 1)
		}
		if body < 0 {
			return -1
		}
	}
	end := w.closing(body)
	if end >= 0 {
		w.replace(w.at(i).from, w.at(i).from, "(")
		w.replace(w.at(end).to, w.at(end).to, ")")
	}
	return end
}

// list makes a list of values at the end of the cell a call of Values.
func (w *writer) list() {
	n := len(w.toks)
	for n > 0 && w.toks[n-1].Token == token.SEMICOLON {
		n--
	}
	first := 0
	comma, other := false, false // in the last statement
	for i := 0; i < n; i++ {
		switch t := w.toks[i].Token; {
		case t == token.LPAREN || t == token.LBRACK || t == token.LBRACE:
			if i = w.closing(i); i < 0 {
				return
			}
		case t == token.SEMICOLON:
			first, comma, other = i+1, false, false
		case t == token.COMMA:
			comma = true
		case t == token.FUNC || t == token.MAP || t == token.STRUCT || t == token.INTERFACE || t == token.CHAN:
			// of a literal
		case t.IsKeyword() || t == token.COLON || t == token.DEFINE || t == token.ASSIGN || t >= token.ADD_ASSIGN && t <= token.AND_NOT_ASSIGN:
			other = true
		}
	}
	if comma && !other {
		w.replace(w.at(first).from, w.at(first).from, Values+"(")
		w.replace(w.at(n-1).to, w.at(n-1).to, ")")
	}
}
