package engine

import (
	"cmp"
	"errors"
	"fmt"
	"go/ast"
	"go/types"
	"maps"
	"reflect"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/cosmos72/gomacro/base"
	"github.com/cosmos72/gomacro/base/output"
	"github.com/cosmos72/gomacro/fast"
	"github.com/cosmos72/gomacro/go/scanner"
	"github.com/cosmos72/gomacro/imports"

	"github.com/evenbed/evenbed/kernel/internal/advice"
	"github.com/evenbed/evenbed/kernel/internal/cell"
	"github.com/evenbed/evenbed/kernel/internal/check"
	"github.com/evenbed/evenbed/kernel/internal/pattern"
	"github.com/evenbed/evenbed/kernel/symbols"
)

// A failure is what ended a cell early.
type failure struct {
	name    string // kind: "syntax error", "compile error", "panic", "interrupted", "exit", "error", "error not looked at"
	message string
	places  []place // where it happened, and from where that was called
	raw     bool    // the message is the interpreter's
}

// where returns the failure's places, also of a nil one.
func (f *failure) where() []place {
	if f == nil {
		return nil
	}
	return f.places
}

// A place is a position in a cell.
type place struct {
	cell         string // "cell 4"
	line, column int
}

// A note is an error that a cell did not look at.
type note struct {
	variable string
	err      error
	place    place
}

func (n note) failure() *failure {
	return &failure{
		name:    "error not looked at",
		message: fmt.Sprintf("%s: %v", n.variable, n.err),
		places:  []place{n.place},
	}
}

func (c *running) note(n note) {
	c.failureMu.Lock()
	defer c.failureMu.Unlock()
	c.noted = append(c.noted, n)
}

func (c *running) notes() []note {
	c.failureMu.Lock()
	defer c.failureMu.Unlock()
	return slices.Clone(c.noted)
}

func interrupted(places []place) *failure {
	return &failure{name: "interrupted", message: "the cell was stopped; variables keep their values", places: places}
}

// returned is the failure of a cell whose last expression returned an error.
func (in *interp) returned(err error, name string, c *cell.Cell) *failure {
	f := &failure{name: "error", message: err.Error()}
	if n := len(c.Nodes); n > 0 {
		f.places = []place{in.sources.place(c.Nodes[n-1].Pos())}
	}
	return f
}

// places returns where the interpreter stands: the innermost statement first,
// then the calls that led to it. Env is where the run stands.
func (in *interp) places(env *fast.Env) []place {
	var all []place
	for depth := 0; env != nil && depth < 64; depth++ {
		if env.IP >= 0 && env.IP < len(env.DebugPos) {
			if p := in.sources.place(env.DebugPos[env.IP]); p.line > 0 {
				all = append(all, p)
			}
		}
		for env != nil && env.Caller == nil { // the rest of a function, outwards
			env = env.Outer
		}
		if env != nil {
			env = env.Caller
		}
	}
	return all
}

// panicked is the failure of a cell whose code panicked with rec.
func (in *interp) panicked(rec any, name string, places []place) *failure {
	f := &failure{name: "panic", places: own(places, name)}
	var exit symbols.ExitError
	var rte runtime.Error
	switch rec := rec.(type) {
	case base.Signal:
		if rec == base.SigInterrupt {
			return interrupted(f.places)
		}
		f.message = fmt.Sprint(rec)
	case error:
		switch {
		case errors.As(rec, &exit):
			f.name, f.message = "exit", exit.Error()
		case errors.As(rec, &rte):
			f.message = strings.TrimPrefix(rec.Error(), "runtime error: ")
		default:
			f.message = runtimeWords(plain(withoutPosition(rec.Error())))
		}
	case string:
		f.message = runtimeWords(rec)
	case fmt.Stringer:
		f.message = rec.String()
	default:
		f.message = fmt.Sprintf("%v", rec)
	}
	return f
}

// own puts the innermost place in the named cell first, for that is where its
// reader looks.
func own(places []place, name string) []place {
	i := slices.IndexFunc(places, func(p place) bool { return p.cell == name })
	if i <= 0 {
		return places
	}
	return append([]place{places[i]}, slices.Delete(slices.Clone(places), i, i+1)...)
}

// runtimeWords says in Go's own words what the interpreter's use of package
// reflect says otherwise.
func runtimeWords(s string) string {
	rest, ok := strings.CutPrefix(s, "reflect: ")
	switch {
	case strings.HasPrefix(s, "reflect.Value.Slice") && strings.Contains(s, "out of bounds"):
		return "slice bounds out of range"
	case !ok:
		return s
	case strings.Contains(rest, "index out of range"), strings.Contains(rest, "out of bounds"):
		return "index out of range"
	case strings.Contains(rest, "zero Value"), strings.Contains(rest, "nil pointer"), strings.Contains(rest, "nil interface"):
		return "nil pointer dereference, or use of a value that was never set (" + s + ")"
	}
	return s
}

// notCompiled is the failure of a cell that could not be parsed or compiled.
// compMu is held, and the names are those that the failed compilation left.
func (in *interp) notCompiled(rec any, name string, c *cell.Cell) *failure {
	for depth := 0; c != nil && depth < 10; depth++ { // a literal may stand in another
		err, ok := rec.(error)
		if !ok || !masked().MatchString(withoutPosition(err.Error())) {
			break
		}
		other := in.unmask(c)
		if other == nil {
			break
		}
		rec = other
	}
	switch rec := rec.(type) {
	case scanner.ErrorList:
		pos := rec[0].Pos
		p := in.sources.original(place{pos.Filename, pos.Line, pos.Column})
		f := &failure{name: "syntax error", message: foundToken().ReplaceAllString(in.explain(rec[0].Msg), "found "), places: []place{p}}
		if lines := in.sources.lines(p.cell); p.line >= 1 && p.line <= len(lines) {
			f.message = cmp.Or(in.checker.SideBySide(lines[p.line-1], p.column), f.message)
		}
		return f
	case runtime.Error: // of an expression of constants
		return &failure{name: "compile error", message: strings.TrimPrefix(rec.Error(), "runtime error: "), places: in.compilerPlace(name)}
	case error:
		text := rec.Error()
		f := &failure{name: "compile error", places: in.positionIn(text)}
		if len(f.places) == 0 {
			f.places = in.compilerPlace(name)
		}
		message := plain(withoutPosition(text))
		f.message = in.explain(message)
		f.raw = f.message == message
		if m := undefined().FindStringSubmatch(message); m != nil && c != nil &&
			slices.ContainsFunc(c.Declared(), func(id *ast.Ident) bool { return id.Name == m[1] }) {
			f.message = m[1] + " is not declared before it is used; move its declaration up, or into a cell above"
		}
		var re output.RuntimeError
		if !errors.As(rec, &re) {
			f.message = "the interpreter cannot compile this: " + f.message
			f.raw = true
		}
		return f
	}
	return &failure{name: "compile error", raw: true, message: "the interpreter cannot compile this: " + runtimeWords(fmt.Sprint(rec)),
		places: in.compilerPlace(name)}
}

// masked is what the interpreter says of a call f() or f(x) whose f does not
// compile: it then takes f for a type, and reports that it is none.
var masked = pattern.New(`^(invalid qualified type|not a type|unimplemented type)`)

// unmask finds out why the function of the call at which the compiler stopped
// does not compile. It returns nil if it does.
func (in *interp) unmask(parsed *cell.Cell) (why any) {
	c := in.ir.Comp
	pos := c.Pos
	var fun ast.Expr
	for _, n := range parsed.Nodes {
		cell.Inspect(n, func(n ast.Node) bool {
			if call, ok := n.(*ast.CallExpr); ok && call.Fun.Pos() <= pos && pos < call.Fun.End() {
				switch f := ast.Unparen(call.Fun).(type) {
				case *ast.SelectorExpr, *ast.FuncLit:
					fun = f // the innermost comes last
				}
			}
			return true
		})
	}
	if fun == nil {
		return nil
	}
	c.Pos = fun.Pos()
	defer func() { why = recover() }()
	if sel, ok := fun.(*ast.SelectorExpr); ok {
		if _, ok := sel.X.(*ast.Ident); !ok {
			c.Expr1(sel.X, nil)
		}
	}
	c.Expr1(fun, nil)
	return nil
}

// compilerPlace returns where the compiler stands.
func (in *interp) compilerPlace(name string) []place {
	if p := in.ir.Comp.Position(); p.IsValid() && p.Filename == name {
		return []place{in.sources.original(place{p.Filename, p.Line, p.Column})}
	}
	return nil
}

var positionStart = pattern.New(`^(cell(?: \d+)?):(\d+):(\d+): `)

func (in *interp) positionIn(text string) []place {
	m := positionStart().FindStringSubmatch(text)
	if m == nil {
		return nil
	}
	line, _ := strconv.Atoi(m[2]) // digits, by the expression
	column, _ := strconv.Atoi(m[3])
	return []place{in.sources.original(place{m[1], line, column})}
}

func withoutPosition(text string) string { return positionStart().ReplaceAllString(text, "") }

var (
	bracketed   = pattern.New(`<([\w.*\[\]{}/() -]+)>`)
	expr        = pattern.New(`Expr\{Type: [^,]*, Value: ([^}]*)\} ([\w.]+)`)
	constant    = pattern.New(`untyped constant \{(\w+) ([^}]*)\}`)
	ownPath     = pattern.New(`github\.com/evenbed/evenbed/(?:\w+/)*`)
	otherErrors = pattern.New(`^error compiling [^:\n]*: [^\n]*\n\s*`)
)

// plain turns a message of the interpreter into words for readers who do not
// know the interpreter.
func plain(s string) string {
	s = otherErrors().ReplaceAllString(s, "")
	s = constant().ReplaceAllString(s, "constant $2 (untyped $1)")
	s = bracketed().ReplaceAllString(s, "$1")
	s = ownPath().ReplaceAllString(s, "")
	s = expr().ReplaceAllString(s, "$1 ($2)")
	return strings.Join(strings.Fields(s), " ")
}

var (
	undefined  = pattern.New(`^undefined (?:identifier: |")([\pL\pN_]+)`)
	noName     = pattern.New(`^([\pL\pN_]+) (?:is not declared|\(built-in\) must be called)`)
	foundToken = pattern.New(`found '(?:IDENT|INT|FLOAT|STRING|CHAR|IMAG)' `)
	noMember   = pattern.New(`^(?:not a type: ([\pL\pN_]+)\.([\pL\pN_]+)|package ([\pL\pN_]+) "[^"]*" has no symbol ([\pL\pN_]+))`)
	noPackage  = pattern.New(`^(?:not a package|not a type): (\w+)`)
	mixedTypes = pattern.New(`(?:mismatched types|cannot convert) .*(?:units\.\w+.* (?:float64|int)\b|\b(?:float64|int)\b.*units\.\w+)|^cannot use .* of type (?:float64|int)\) as units\.\w+ value`)
)

// ways are ways round what the interpreter does not have, by what it says.
var ways = []struct {
	message func() *regexp.Regexp
	instead string
}{
	{pattern.New(`cannot range over .* func\(`), "the interpreter cannot range over a function here, where its type is generic; call it, with the loop's body as a function: seq(func(v int) bool { ...; return true })"},
	{pattern.New(`goto label not found`), "the interpreter has no goto; use a loop"},
	{pattern.New(`unimplemented type inference`), "the interpreter cannot find out the type arguments; write them, as f[float64](x)"},
	{pattern.New(`^generic method declaration not yet`), "the interpreter has no methods of generic types; write a function that takes the value"},
}

// explain adds to a compiler's message what helps to mend the cell.
func (in *interp) explain(s string) string {
	for _, w := range ways {
		if m := w.message().FindStringSubmatchIndex(s); m != nil {
			return string(w.message().ExpandString(nil, w.instead, s, m))
		}
	}
	if strings.Contains(s, "*engine.Stdin") {
		return s + "; in a cell os.Stdin asks the user: it is an io.Reader, and no *os.File"
	}
	if m := undefined().FindStringSubmatch(s); m != nil {
		if path, ok := packageNamed(m[1]); ok {
			return fmt.Sprintf("%s is not declared; the package needs import %q first", m[1], path)
		}
		if d, ok := symbols.Lookup(check.Units, m[1]); ok && d.Kind == "constant" {
			return fmt.Sprintf("%s is not declared; it needs import . %q first", m[1], check.Units)
		}
		if other := elsewhere(m[1]); other != "" {
			return fmt.Sprintf("%s is not declared; did you mean %s?", m[1], other)
		}
		if near := in.nearNames(m[1]); len(near) > 0 {
			return fmt.Sprintf("%s is not declared; did you mean %s?", m[1], strings.Join(near, " or "))
		}
		return m[1] + " is not declared"
	}
	if m := noMember().FindStringSubmatch(s); m != nil {
		pkg, name := m[1]+m[3], m[2]+m[4]
		if path, ok := in.importPath(pkg); ok {
			return check.NoSuch(path, pkg, name)
		}
	}
	if m := noPackage().FindStringSubmatch(s); m != nil {
		if path, ok := packageNamed(m[1]); ok {
			return fmt.Sprintf("%s is not imported; write import %q first", m[1], path)
		}
	}
	return s
}

// inGo says in Go's words what the interpreter says in its own, if Go refuses
// the same line.
func (in *interp) inGo(f *failure, errors []check.Problem) {
	if !f.raw || len(f.places) == 0 {
		return
	}
	for _, e := range errors {
		if p := in.sources.place(e.Pos); p.line == f.places[0].line {
			f.message, f.places = e.Message, []place{p}
			break
		}
	}
	if mixedTypes().MatchString(f.message) {
		f.message += "; a plain number in a variable v gets its unit by Times, as in CentimetrePerHour.Times(v)"
	}
}

// advise says in place of the message, or behind it, what Go writes instead of a
// line of another language.
func (in *interp) advise(f *failure) {
	if len(f.places) == 0 {
		return
	}
	p := &f.places[0]
	lines := in.sources.lines(p.cell)
	message, line := advice.Of(f.message, f.name == "syntax error", lines, p.line)
	if line != p.line {
		first := len(lines[line-1]) - len(strings.TrimLeft(lines[line-1], " \t"))
		p.line, p.column = line, first+1
	}
	f.message = message
}

// nameUnit tells how a unit is written whose symbol was taken for its name.
func (f *failure) nameUnit(checked *check.Cell) {
	if m := noName().FindStringSubmatch(f.message); m != nil {
		if unit := checked.Unit(m[1]); unit != "" {
			f.message = fmt.Sprintf("%s; the unit %s is written %s", m[0], m[1], unit)
		}
	}
}

// packageNamed returns the path of the one linked package with this name.
func packageNamed(name string) (string, bool) {
	found := ""
	for _, path := range symbols.Paths() {
		if n, _ := symbols.PackageName(path); n == name {
			if found != "" && len(found) <= len(path) {
				continue
			}
			found = path
		}
	}
	return found, found != ""
}

// importPath returns the path under which a cell has imported a package.
func (in *interp) importPath(name string) (string, bool) {
	b := in.ir.Comp.Binds[name]
	if b == nil {
		return "", false
	}
	im, ok := b.Value.(*fast.Import)
	if !ok {
		return "", false
	}
	return im.Path, true
}

// nearNames returns the declared names that a mistaken one may mean.
func (in *interp) nearNames(name string) []string {
	c := in.ir.Comp
	names := slices.AppendSeq(slices.Collect(maps.Keys(c.Binds)), maps.Keys(c.Types))
	names = slices.DeleteFunc(names, cell.Own)
	slices.Sort(names)
	return check.Near(names, name)
}

// checkImports refuses what is not linked in; the interpreter would accept it
// and fail later.
func (in *interp) checkImports(c *cell.Cell) *failure {
	for _, im := range c.ImportList() {
		if _, ok := imports.Packages[im.Path]; ok {
			continue
		}
		f := &failure{name: "compile error", places: []place{in.sources.place(im.Pos)}}
		f.message = fmt.Sprintf("package %q is not linked into evenbed and cannot be imported", im.Path)
		if hint, ok := symbols.Missing(im.Path, ""); ok {
			f.message = hint
		} else if near, ok := symbols.Nearest(im.Path); ok {
			f.message += fmt.Sprintf("; did you mean %q?", near)
		} else {
			f.message += "; linked in are evenbed's packing packages, gonum, gonum/plot, gota and much of the standard library"
		}
		return f
	}
	return nil
}

// checkHidden refuses to declare a name that Go has, or under which a package is
// imported: later cells could not reach what it stood for any more.
func (in *interp) checkHidden(c *cell.Cell) *failure {
	hidden := map[string]string{}
	for _, im := range c.ImportList() {
		name := im.Name
		if name == "" {
			name, _ = symbols.PackageName(im.Path)
		}
		hidden[name] = im.Path
	}
	for _, id := range c.Declared() {
		if obj := types.Universe.Lookup(id.Name); obj != nil && id.Name != "min" && id.Name != "max" { // of which older programs have their own
			kind := "constant"
			switch obj.(type) {
			case *types.Builtin:
				kind = "function"
			case *types.TypeName:
				kind = "type"
			}
			return &failure{name: "compile error", places: []place{in.sources.place(id.Pos())},
				message: fmt.Sprintf("%s is a %s of Go, which later cells could not reach any more; take another name, such as %s", id.Name, kind, other(id.Name))}
		}
		path, ok := hidden[id.Name]
		if !ok {
			path, ok = in.importPath(id.Name)
		}
		if ok && id.Name != "display" || ok && id.Name == "display" && path != displayPath {
			return &failure{name: "compile error", places: []place{in.sources.place(id.Pos())},
				message: fmt.Sprintf("%s is the name of the imported package %q, which later cells could not reach any more; take another name, such as %s",
					id.Name, path, other(id.Name))}
		}
	}
	return nil
}

// other returns a name to take in place of one that has another meaning.
func other(name string) string {
	r, n := utf8.DecodeRuneInString(name)
	return "my" + strings.ToUpper(string(r)) + name[n:]
}

// traceback shows a failure as lines with ANSI colours: what, where, the
// line of the source and a caret under the column. Bold without a colour is
// legible on light and dark, and on the red on which clients paint errors.
func (f *failure) traceback(in *interp) []string {
	lines := []string{"\x1b[1m" + f.name + "\x1b[0m: " + f.message}
	for i, p := range f.places {
		if i == 6 && len(f.places) > 7 {
			lines = append(lines, fmt.Sprintf("... and %d more calls", len(f.places)-i))
			break
		}
		lines = append(lines, fmt.Sprintf("\x1b[1m%s, line %d\x1b[0m", p.cell, p.line))
		source := in.sources.lines(p.cell)
		if p.line < 1 || p.line > len(source) {
			continue
		}
		text := strings.TrimRight(source[p.line-1], "\r")
		number := fmt.Sprintf("%5d | ", p.line)
		lines = append(lines, number+strings.ReplaceAll(text, "\t", "    "))
		if p.column >= 1 && p.column <= len(text)+1 {
			before := strings.ReplaceAll(text[:p.column-1], "\t", "    ")
			pad := strings.Repeat(" ", len(number)-2) + "| " + strings.Repeat(" ", utf8.RuneCountInString(before))
			lines = append(lines, "\x1b[2m"+pad+"\x1b[0m\x1b[1m^\x1b[0m")
		}
	}
	return lines
}

// typeName names a type as a reader of cells would.
func typeName(t reflect.Type) string { return strings.TrimPrefix(t.String(), "main.") }

// elsewhere returns what the packages that most cells use call a function or
// constant that other languages have without a package: math.Sqrt for sqrt.
func elsewhere(name string) string {
	first, n := utf8.DecodeRuneInString(name)
	for _, path := range []string{"math", "fmt"} {
		for _, s := range []string{name, string(unicode.ToUpper(first)) + name[n:]} {
			if d, ok := symbols.Lookup(path, s); ok && d.Kind != "package" && !strings.Contains(s, ".") {
				return fmt.Sprintf("%s.%s", path, s)
			}
		}
	}
	return ""
}
