package complete

import (
	"fmt"
	"go/ast"
	"go/parser"
	"reflect"
	"runtime/debug"
	"slices"
	"strings"

	"github.com/cosmos72/gomacro/fast"
	xr "github.com/cosmos72/gomacro/xreflect"

	"github.com/evenbed/evenbed/kernel/internal/cell"
	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/pattern"
	"github.com/evenbed/evenbed/kernel/symbols"
)

// Session returns the scope of a live interpreter. The scope must not be used
// while the interpreter compiles something, and values are looked at only if
// none of its code runs, which is to be said by idle.
func Session(ir *fast.Interp, idle bool) Scope { return session{ir, idle} }

type session struct {
	ir   *fast.Interp
	idle bool
}

// sessionPath is the package of what cells declare.
const sessionPath = "main"

// hidden are names that a host declares for itself: with two underscores, or
// of the cell rewriter.
func hidden(name string) bool {
	return name == "_" || strings.Contains(name, "__") || cell.Own(name)
}

func (s session) Names() []host.Match {
	var found []host.Match
	c := s.ir.Comp
	for name, b := range c.Binds {
		if !hidden(name) && s.imported(b) == nil {
			found = append(found, host.Match{Text: name, Kind: bindKind(b)})
		}
	}
	for name := range c.Types {
		if !hidden(name) {
			found = append(found, host.Match{Text: name, Kind: "type"})
		}
	}
	slices.SortFunc(found, func(a, b host.Match) int { return strings.Compare(a.Text, b.Text) })
	return found
}

func bindKind(b *fast.Bind) string {
	switch {
	case b.Desc.Class() == fast.ConstBind:
		return "constant"
	case b.Desc.Class() == fast.FuncBind:
		return "function"
	}
	return "variable"
}

// imported returns the package that a name stands for, or nil.
func (s session) imported(b *fast.Bind) *fast.Import {
	im, _ := b.Value.(*fast.Import)
	return im
}

func (s session) Imports() []Import {
	var found []Import
	c := s.ir.Comp
	for name, b := range c.Binds {
		if im := s.imported(b); im != nil && !hidden(name) {
			found = append(found, Import{name, im.Path})
		}
	}
	// The interpreter does not record dot-imports: they are packages of which
	// every name is declared.
	for path, im := range c.KnownImports {
		if im != nil && path != c.Path && s.holds(im) {
			found = append(found, Import{".", path})
		}
	}
	slices.SortFunc(found, func(a, b Import) int {
		return strings.Compare(a.Name+" "+a.Path, b.Name+" "+b.Path)
	})
	return found
}

func (s session) holds(im *fast.Import) bool {
	if len(im.Binds)+len(im.Types) == 0 {
		return false
	}
	for name, b := range im.Binds {
		if own := s.ir.Comp.Binds[name]; own == nil || own.Type == nil || b.Type == nil || !own.Type.IdenticalTo(b.Type) {
			return false
		}
	}
	for name, t := range im.Types {
		if own := s.ir.Comp.Types[name]; own == nil || !own.IdenticalTo(t) {
			return false
		}
	}
	return true
}

// compile returns the type of an expression, or the type it names. It compiles
// in a scope of its own, which is then dropped; anything that declares names
// is refused.
func (s session) compile(expr string) (t xr.Type, isType bool) {
	e, err := parser.ParseExpr(expr)
	if err != nil {
		return nil, false
	}
	declares := false
	ast.Inspect(e, func(n ast.Node) bool {
		if _, ok := n.(*ast.FuncLit); ok {
			declares = true
		}
		return true
	})
	if declares {
		return nil, false
	}
	pos := s.ir.Comp.Pos
	defer func() {
		s.ir.Comp.Pos = pos
		if recover() != nil { // how the compiler reports errors
			t, isType = nil, false
		}
	}()
	if id, ok := e.(*ast.Ident); ok {
		if t := s.ir.Comp.Types[id.Name]; t != nil {
			return t, true
		}
		if b := s.ir.Comp.Binds[id.Name]; b == nil || s.imported(b) != nil {
			return nil, false
		}
	}
	x := fast.NewComp(s.ir.Comp, nil).Expr(e, nil)
	switch {
	case x.Untyped():
		return x.DefaultType(), false
	case x.NumOut() == 0:
		return nil, false
	}
	return x.Out(0), false
}

func (s session) Members(expr string) []host.Match {
	t, isType := s.compile(expr)
	if t == nil || isType {
		return nil
	}
	if t.Kind() == reflect.Ptr {
		t = t.Elem()
	}
	found := map[string]string{}
	collect(t, found, map[string]bool{})
	names := make([]host.Match, 0, len(found))
	for name, kind := range found {
		names = append(names, host.Match{Text: name, Kind: kind})
	}
	slices.SortFunc(names, func(a, b host.Match) int { return strings.Compare(a.Text, b.Text) })
	return names
}

func (s session) Fields(typ string) (found []host.Match) {
	t, isType := s.compile(typ)
	if t == nil || !isType || t.Kind() != reflect.Struct {
		return nil
	}
	for i := range t.NumField() {
		if name := t.Field(i).Name; !hidden(name) && (ast.IsExported(name) || !compiled(t)) {
			found = append(found, host.Match{Text: name, Kind: "field"})
		}
	}
	return found
}

// collect adds a type's fields and methods and those of embedded fields.
func collect(t xr.Type, found map[string]string, seen map[string]bool) {
	if t.Kind() == reflect.Ptr {
		t = t.Elem()
	}
	id := t.PkgPath() + " " + t.String()
	if seen[id] {
		return
	}
	seen[id] = true
	own := func(name, kind string) {
		// Names without a capital are reachable in the session's own types alone.
		if _, ok := found[name]; !ok && !hidden(name) && (ast.IsExported(name) || !compiled(t)) {
			found[name] = kind
		}
	}
	if compiled(t) {
		r := t.ReflectType()
		if r.Kind() != reflect.Interface {
			r = reflect.PointerTo(r)
		}
		for i := range r.NumMethod() {
			own(r.Method(i).Name, "function")
		}
	} else if t.PkgPath() != "" || t.Kind() == reflect.Interface { // to the interpreter int has methods, too
		for i := range t.NumMethod() {
			own(t.Method(i).Name, "function")
		}
	}
	if t.Kind() != reflect.Struct {
		return
	}
	var embedded []xr.Type
	for i := range t.NumField() {
		f := t.Field(i)
		own(f.Name, "field")
		if f.Anonymous {
			embedded = append(embedded, f.Type)
		}
	}
	for _, e := range embedded {
		collect(e, found, seen)
	}
}

// compiled reports whether a type is one of the program's own.
func compiled(t xr.Type) bool { return t.ReflectType().PkgPath() != "" }

func (s session) Describe(expr string) (string, bool) {
	t, isType := s.compile(expr)
	switch {
	case t == nil:
		return "", false
	case isType:
		return "type " + expr + " " + short(t.GoType().Underlying().String()), true
	}
	b := s.ir.Comp.Binds[expr]
	if b == nil {
		return expr + " " + typeText(t), true
	}
	switch bindKind(b) {
	case "function":
		return "func " + expr + strings.TrimPrefix(typeText(t), "func"), true
	case "constant":
		if lit, ok := b.Value.(fast.UntypedLit); ok {
			return "const " + expr + " = " + lit.Val.String(), true
		}
		return fmt.Sprintf("const %s %s = %v", expr, typeText(t), b.Value), true
	}
	return "var " + expr + " " + typeText(t), true
}

// typeText writes a type as a cell would: packages by their names, the
// session's own types without one.
func typeText(t xr.Type) string { return short(t.String()) }

var (
	pathBefore = pattern.New(`[\w.~-]+(/[\w.~-]+)+\.`)
	mainBefore = pattern.New(`\bmain\.`)
)

func short(text string) string {
	text = pathBefore().ReplaceAllStringFunc(text, func(path string) string {
		path = strings.TrimSuffix(path, ".")
		name, ok := symbols.PackageName(path)
		if !ok {
			name = path[strings.LastIndex(path, "/")+1:]
		}
		return name + "."
	})
	return mainBefore().ReplaceAllString(text, "")
}

// maxKeys bounds how many keys of a map are listed.
const maxKeys = 500

// Declarations is known to those who keep the text of cells.
func (s session) Declarations() map[string]Declaration { return nil }

func (s session) Keys(variable string) (found []string) {
	b := s.ir.Comp.Binds[variable]
	if !s.idle || b == nil || b.Desc.Class() != fast.VarBind {
		return nil
	}
	// A goroutine that an earlier cell has left may be writing the value.
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if recover() != nil {
			found = nil
		}
	}()
	v := s.ir.ValueOf(variable).ReflectValue()
	for v.IsValid() && v.Kind() == reflect.Interface {
		v = v.Elem()
	}
	if !v.IsValid() || !v.CanInterface() {
		return nil
	}
	if named, ok := v.Interface().(interface{ Names() []string }); ok {
		return named.Names()
	}
	for v.Kind() == reflect.Pointer {
		v = v.Elem()
	}
	switch v.Kind() {
	case reflect.Map:
		if v.Type().Key().Kind() == reflect.String {
			for it := v.MapRange(); it.Next() && len(found) < maxKeys; {
				found = append(found, it.Key().String())
			}
		}
	case reflect.Struct: // a record
		columns := v.FieldByName("Columns")
		if columns.Kind() != reflect.Slice || columns.Type().Elem().Kind() != reflect.Struct {
			return nil
		}
		for i := range columns.Len() {
			if name := columns.Index(i).FieldByName("Name"); name.Kind() == reflect.String {
				found = append(found, name.String())
			}
		}
	}
	slices.Sort(found)
	return found
}

func (s session) TypeName(expr string) (path, name string) {
	t, isType := s.compile(expr)
	if t == nil || isType {
		return "", ""
	}
	if t.Kind() == reflect.Ptr {
		t = t.Elem()
	}
	if !t.Named() {
		return "", ""
	}
	return t.PkgPath(), t.Name()
}
