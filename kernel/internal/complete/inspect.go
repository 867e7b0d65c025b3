package complete

import (
	"cmp"
	"go/ast"
	"go/doc"
	"go/doc/comment"
	"go/parser"
	"go/token"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/check"
	"github.com/evenbed/evenbed/kernel/symbols"
)

// Inspect describes the name at the cursor, else the function in whose
// arguments or the type in whose literal the cursor stands. The cursor counts
// Unicode code points; outside the code it means the end. Detail 1 tells more
// of a type's methods and a package's names.
func Inspect(code string, cursor, detail int, scope Scope) (display.Bundle, bool) {
	at := offset(code, cursor)
	s := scan(code)
	if s.inComment(at) {
		return display.Bundle{}, false
	}
	a := ask(code, scope)
	for i, l := range s.lex {
		if l.from > at || at > l.to {
			continue
		}
		switch {
		case l.tok == token.STRING && l.from < at && at < l.to && inImport(s.lex[:i]):
			path, err := strconv.Unquote(l.lit)
			if err != nil {
				return display.Bundle{}, false
			}
			return a.describePackage(path, detail)
		case l.tok == token.IDENT:
			if b, ok := a.describeField(code, s.lex[:i+1]); ok {
				return b, true
			}
			if start := operandStart(s.lex, i+1); start >= 0 {
				if b, ok := a.describe(code[s.lex[start].from:l.to], detail); ok {
					return b, true
				}
			}
		}
	}
	before := scan(code[:at]).lex
	for open := enclosing(before); open > 0; open = enclosing(before[:open]) {
		switch before[open].tok {
		case token.LBRACK:
			continue
		case token.LBRACE:
			if b, ok := a.describeField(code, toField(before, open)); ok {
				return b, true
			}
		}
		if start := operandStart(before, open); start >= 0 {
			if b, ok := a.describe(code[before[start].from:before[open-1].to], detail); ok {
				return b, true
			}
		}
	}
	return display.Bundle{}, false
}

// toField returns the tokens up to the name of the field in whose value they end,
// in a literal that opens at a brace.
func toField(lex []lexeme, open int) []lexeme {
	at := open
	for i := open + 1; i+1 < len(lex); i++ {
		if lex[i].tok == token.IDENT && lex[i+1].tok == token.COLON && enclosing(lex[:i]) == open {
			at = i
		} else if lex[i].tok == token.COMMA && enclosing(lex[:i]) == open {
			at = open
		}
	}
	return lex[:at+1]
}

// describeField describes the field whose name in a literal the tokens end with:
// it first, and then its type's declaration.
func (a *asker) describeField(code string, lex []lexeme) (display.Bundle, bool) {
	last := len(lex) - 1
	if last < 0 || lex[last].tok != token.IDENT {
		return display.Bundle{}, false
	}
	typ, _ := literalType(code, lex[:last])
	e, err := parser.ParseExpr(typ)
	if err != nil {
		return display.Bundle{}, false
	}
	field := lex[last].lit
	if path, name := a.typeNamed(e); name != "" {
		d, _ := symbols.Lookup(path, name)
		for _, m := range symbols.Members(path, name) {
			if m.Kind == "field" && m.Name == field {
				return render(m.Signature+"\n\n"+d.Signature, path, m.Text, nil), true
			}
		}
		return display.Bundle{}, false
	}
	d, _ := a.declaration(typ)
	text, comment := d.field(field)
	return render(text+"\n\n"+d.Text, "", comment, nil), text != ""
}

// Explain describes the name that a cell asks about, see [Question], or the
// package with the quoted path. [Unknown] says why it cannot.
func Explain(name string, detail int, scope Scope) (display.Bundle, bool) {
	if path, err := strconv.Unquote(name); err == nil {
		return describeSymbol(path, "", detail)
	}
	return Inspect(name, -1, detail, scope)
}

// describe finds what an expression names.
func (a *asker) describe(expr string, detail int) (display.Bundle, bool) {
	e, err := parser.ParseExpr(expr)
	if err != nil {
		return display.Bundle{}, false
	}
	switch e := e.(type) {
	case *ast.Ident:
		if path := a.packagePath(e.Name); path != "" {
			return a.describePackage(path, detail)
		}
		if a.local(e.Name) != nil {
			break
		}
		if path := a.dotImported(e.Name); path != "" {
			return describeSymbol(path, e.Name, detail)
		}
		_, inSession := a.session[e.Name]
		if text := builtin(e.Name); text != "" && !inSession {
			signature, comment, _ := strings.Cut(text, "\n")
			return render(signature, "", comment, nil), true
		}
	case *ast.SelectorExpr:
		if x, ok := e.X.(*ast.Ident); ok && a.local(x.Name) == nil {
			path := a.packagePath(x.Name)
			if path == "" {
				path = x.Name // slices.Sort: not importable, but the reason is known
			}
			if b, ok := describeSymbol(path, e.Sel.Name, detail); ok {
				return b, true
			}
		}
		s := a.infer(e.X, 0, maxChain)
		if path, name := a.resolve(s); name != "" {
			return describeSymbol(path, name+"."+e.Sel.Name, detail)
		}
		typ := typeName(s.typ)
		if a.scope != nil && (s.typ == nil || a.local(typ) == nil) {
			if path, name := a.scope.TypeName(strings.TrimSuffix(expr, "."+e.Sel.Name)); path == sessionPath {
				typ = name
			}
		}
		if d, _ := a.declaration(typ + "." + e.Sel.Name); d.Text != "" {
			return render(d.Text, "", d.Comment, nil), true
		}
	}
	return a.describeValue(expr, e, detail)
}

// describeValue tells the type of what the session or the cell declares, with
// the type's own documentation.
func (a *asker) describeValue(expr string, e ast.Expr, detail int) (display.Bundle, bool) {
	text, ok := "", false
	l := a.local(expr)
	if a.scope != nil {
		text, ok = a.scope.Describe(expr)
	}
	path, name := "", ""
	if l == nil && ok {
		path, name = a.scope.TypeName(expr)
	} else {
		path, name = a.namedType(e)
	}
	switch {
	case ok || l == nil:
	case l.signature != "":
		text, ok = l.signature, true
	case l.kind == "type":
		text, ok = "type "+l.name, true
	case name != "":
		pkg, _ := symbols.PackageName(path)
		text, ok = "var "+expr+" "+pkg+"."+name, true
	case l.typ != "":
		text, ok = "var "+expr+" "+l.typ, true
	}
	if !ok {
		return display.Bundle{}, false
	}
	if l == nil || l.at >= 0 {
		if d, methods := a.declaration(expr); d.Text != "" && strings.HasPrefix(text, d.kind()+" ") {
			return render(d.Text, "", d.Comment, methods), true
		}
	}
	own := name
	if path != sessionPath {
		own = ""
	}
	if l != nil && name == "" {
		own = typeName(a.infer(e, 0, maxChain).typ)
	}
	if d, methods := a.declaration(own); own != "" && d.Text != "" {
		return render(text+"\n\n"+d.Text, "", d.Comment, methods), true
	}
	d, found := symbols.Lookup(path, name)
	if !found || name == "" || d.Kind != "type" {
		return render(text, "", "", nil), true
	}
	return render(text+"\n\n"+d.Signature, path, d.Text, more(path, d, detail)), true
}

func (a *asker) describePackage(path string, detail int) (display.Bundle, bool) {
	return describeSymbol(path, "", detail)
}

func describeSymbol(path, name string, detail int) (display.Bundle, bool) {
	d, ok := symbols.Lookup(path, name)
	if !ok {
		hint, known := symbols.Missing(path, name)
		return render(hint, "", "", nil), known
	}
	from := path
	if d.Kind == "package" {
		from = "" // its signature says so
	}
	return render(d.Signature, from, d.Text, more(path, d, detail)), true
}

// manyMethods is how many methods are shown without their comments, unless
// detail is asked for.
const manyMethods = 13

// more lists what belongs to a type, or what a package has: its names alone or,
// at detail 1, their declarations.
func more(path string, d symbols.Doc, detail int) []string {
	switch {
	case d.Kind == "type":
		return append(around(path, d.Name), methods(path, d, detail)...)
	case d.Kind == "package" && detail < 1:
		return namesByKind(symbols.Names(path))
	case d.Kind == "package":
		var all []string
		for _, m := range symbols.Names(path) {
			all = append(all, oneLine(m.Signature))
		}
		return all
	}
	return nil
}

// oneLine shortens a declaration to its first line.
func oneLine(signature string) string {
	first, _, cut := strings.Cut(signature, "\n")
	if cut && strings.HasSuffix(first, "{") {
		first += " … }"
	}
	return first
}

// namesByKind lists a package's names.
func namesByKind(all []symbols.Doc) (lines []string) {
	for _, kind := range []struct{ singular, plural string }{
		{"function", "functions"}, {"type", "types"}, {"constant", "constants"}, {"variable", "variables"}} {
		var names []string
		for _, d := range all {
			if d.Kind == kind.singular {
				names = append(names, d.Name)
			}
		}
		if len(names) > 0 {
			lines = append(lines, commented(kind.plural+": "+strings.Join(names, ", "))...)
		}
	}
	return lines
}

// around lists the constants of a type, by their values, and the functions of
// its package that return one.
func around(path, name string) []string {
	type constant struct {
		line  string
		value float64
	}
	var constants []constant
	var functions []string
	for _, d := range symbols.Names(path) {
		switch d.Kind {
		case "constant":
			value, ok := strings.CutPrefix(d.Signature, "const "+d.Name+" "+name+" = ")
			if !ok {
				break
			}
			c := constant{line: d.Signature}
			c.value, _ = strconv.ParseFloat(value, 64) // texts keep the order of their names
			text := strings.TrimSpace(d.Text)
			// The comment of a whole group is a sentence that names none of it.
			if text != "" && (strings.HasPrefix(text, d.Name) || !strings.HasSuffix(text, ".")) {
				c.line += " // " + synopsis(text)
			}
			constants = append(constants, c)
		case "function":
			f, ok := declaredType(d.Signature).(*ast.FuncType)
			if !ok {
				break
			}
			t := result(f, 0)
			if p, ok := t.(*ast.StarExpr); ok {
				t = p.X
			}
			if id, ok := t.(*ast.Ident); ok && id.Name == name {
				functions = append(functions, d.Signature)
			}
		}
	}
	slices.SortStableFunc(constants, func(a, b constant) int { return cmp.Compare(a.value, b.value) })
	var lines []string
	for _, c := range constants {
		lines = append(lines, c.line)
	}
	return append(lines, functions...)
}

// methods lists a type's methods, with the first sentence of their comments
// unless there are many, and what it has through embedded fields.
func methods(path string, d symbols.Doc, detail int) (lines []string) {
	var all []symbols.Doc
	var showing, promoted []string
	for _, m := range symbols.Members(path, d.Name) {
		switch {
		case m.Kind == "field" && m.Promoted:
			promoted = append(promoted, m.Name)
		case m.Kind == "field":
		case check.Shows(m.Name):
			showing = append(showing, m.Name)
		case m.Promoted || !strings.HasPrefix(d.Signature, "type "+d.Name+" interface"): // which has them in its declaration
			all = append(all, m)
		}
	}
	for _, m := range all {
		if detail > 0 || len(all) < manyMethods {
			lines = append(lines, commented(synopsis(m.Text))...)
		}
		lines = append(lines, m.Signature)
	}
	if len(promoted) > 0 {
		lines = append(lines, commented("fields of embedded structs: "+strings.Join(promoted, ", "))...)
	}
	if len(showing) > 0 {
		lines = append(lines, commented("it shows itself by "+strings.Join(showing, ", "))...)
	}
	return lines
}

// synopsis returns the first sentence of a comment.
func synopsis(text string) string { return new(doc.Package).Synopsis(text) }

// commented sets words as lines of a comment.
func commented(text string) (lines []string) {
	const width = 80
	line := "//"
	for word := range strings.FieldsSeq(text) {
		if len(line) > len("//") && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width {
			lines = append(lines, line)
			line = "//"
		}
		line += " " + word
	}
	if line != "//" {
		lines = append(lines, line)
	}
	return lines
}

// render sets a declaration, its comment and more declarations as plain text
// and as Markdown.
func render(signature, path, text string, more []string) display.Bundle {
	if path != "" {
		signature += "\n// import " + strconv.Quote(path)
	}
	parser := comment.Parser{
		// Every reference is one: nothing is looked up, the brackets just go.
		LookupSym:     func(_, name string) bool { return token.IsExported(strings.TrimPrefix(name, "*")) },
		LookupPackage: func(name string) (string, bool) { return name, true },
	}
	parsed := parser.Parse(text)
	printer := comment.Printer{
		HeadingLevel: 4,
		HeadingID:    func(*comment.Heading) string { return "" },
		DocLinkURL:   func(*comment.DocLink) string { return "" },
	}
	plain := paragraphs(signature, string(printer.Text(parsed)), strings.Join(more, "\n"))
	markdown := paragraphs(fenced(signature), string(printer.Markdown(parsed)), fenced(strings.Join(more, "\n")))
	return display.Bundle{Data: map[string][]byte{
		display.MIMETypeText:     []byte(plain),
		display.MIMETypeMarkdown: []byte(markdown),
	}}
}

func paragraphs(parts ...string) string {
	var found []string
	for _, p := range parts {
		if p = strings.TrimRight(p, "\n"); p != "" {
			found = append(found, p)
		}
	}
	return strings.Join(found, "\n\n")
}

func fenced(code string) string {
	if code == "" {
		return ""
	}
	return "```go\n" + code + "\n```"
}

// builtin describes a function of the language: its signature, a line feed and
// what it does. It returns "" for other names.
func builtin(name string) string {
	switch name {
	case "append":
		return "func append(slice []T, elems ...T) []T\nAppend returns the slice with the elements added at its end. The result may share memory with the slice: assign it to the same variable."
	case "cap":
		return "func cap(v T) int\nCap returns the capacity of a slice, array or channel."
	case "clear":
		return "func clear(v T)\nClear removes all elements of a map, or sets those of a slice to zero."
	case "close":
		return "func close(c chan<- T)\nClose says that no more values will be sent on the channel."
	case "complex":
		return "func complex(r, i float64) complex128\nComplex returns the complex number with the given real and imaginary parts."
	case "copy":
		return "func copy(dst, src []T) int\nCopy copies elements into dst and returns how many: the length of the shorter slice."
	case "delete":
		return "func delete(m map[K]V, key K)\nDelete removes the element of the key, if there is one."
	case "imag":
		return "func imag(c complex128) float64\nImag returns the imaginary part."
	case "len":
		return "func len(v T) int\nLen returns the number of elements of a slice, array, map or channel, or of bytes of a string."
	case "make":
		return "func make(T, size ...int) T\nMake returns a new slice, map or channel; for a slice the sizes are length and capacity."
	case "max":
		return "func max(x T, y ...T) T\nMax returns the largest of numbers or strings of one type."
	case "min":
		return "func min(x T, y ...T) T\nMin returns the smallest of numbers or strings of one type."
	case "new":
		return "func new(T) *T\nNew returns a pointer to a new zero value of the type."
	case "panic":
		return "func panic(v any)\nPanic ends the cell with an error, unless a deferred function recovers."
	case "print":
		return "func print(args ...T)\nPrint writes its arguments, as they are. Package fmt has more ways."
	case "println":
		return "func println(args ...T)\nPrintln writes its arguments with blanks between them, and ends the line. Package fmt has more ways."
	case "real":
		return "func real(c complex128) float64\nReal returns the real part."
	case "recover":
		return "func recover() any\nRecover stops a panic, when called by a deferred function, and returns its value."
	}
	return ""
}
