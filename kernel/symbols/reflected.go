package symbols

import (
	"cmp"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/cosmos72/gomacro/imports"

	"github.com/evenbed/evenbed/kernel/symbols/internal/docs"
)

// reflected describes a package by its table alone, which knows neither
// comments nor the names of parameters.
func reflected(path string) docs.Package {
	table := imports.Packages[path]
	p := docs.Package{Path: path, Name: table.Name}
	home := home(path)
	for name, v := range table.Binds {
		s := docs.Symbol{Name: name, Kind: "constant"}
		untyped, isUntyped := table.Untypeds[name]
		switch {
		case v.CanAddr():
			s.Kind, s.Signature = "variable", "var "+name+" "+home.name(v.Type())
		case v.Kind() == reflect.Func:
			s.Kind, s.Signature = "function", "func "+name+home.signature(v.Type(), 0)
		case strings.HasPrefix(untyped, "rune:"):
			s.Signature = "const " + name + " = " + strconv.QuoteRune(rune(v.Int()))
		case isUntyped:
			s.Signature = "const " + name + " = " + value(v)
		default:
			s.Signature = "const " + name + " " + home.name(v.Type()) + " = " + value(v)
		}
		p.Symbols = append(p.Symbols, s)
	}
	for name, t := range table.Types {
		s := docs.Symbol{Name: name, Kind: "type", Signature: "type " + name + " " + home.underlying(t)}
		if t.Name() != name || t.PkgPath() != path {
			s.Signature = "type " + name + " = " + home.name(t)
		}
		methods := home.methods(t)
		fields := slices.DeleteFunc(home.fields(t), func(f docs.Symbol) bool {
			_, hidden := symbol(methods, f.Name)
			return hidden
		})
		s.Members = append(fields, methods...)
		p.Symbols = append(p.Symbols, s)
	}
	slices.SortFunc(p.Symbols, func(a, b docs.Symbol) int { return cmp.Compare(a.Name, b.Name) })
	return p
}

// value shows a constant without the methods of its type.
func value(v reflect.Value) string {
	switch {
	case v.CanInt():
		return strconv.FormatInt(v.Int(), 10)
	case v.CanUint():
		return strconv.FormatUint(v.Uint(), 10)
	case v.CanFloat():
		return strconv.FormatFloat(v.Float(), 'g', 10, 64)
	case v.Kind() == reflect.String:
		return strconv.Quote(v.String())
	}
	return fmt.Sprint(v)
}

// A home is the package whose own types are written without its name.
type home string

// name writes a type as the package would.
func (h home) name(t reflect.Type) string {
	switch {
	case t.Name() != "" && (t.PkgPath() == "" || t.PkgPath() == string(h)):
		return t.Name()
	case t.Name() != "":
		return t.String()
	}
	return h.underlying(t)
}

// underlying writes a type without its own name.
func (h home) underlying(t reflect.Type) string {
	switch t.Kind() {
	case reflect.Pointer:
		return "*" + h.name(t.Elem())
	case reflect.Slice:
		return "[]" + h.name(t.Elem())
	case reflect.Array:
		return fmt.Sprintf("[%d]%s", t.Len(), h.name(t.Elem()))
	case reflect.Map:
		return "map[" + h.name(t.Key()) + "]" + h.name(t.Elem())
	case reflect.Chan:
		return t.ChanDir().String() + " " + h.name(t.Elem())
	case reflect.Func:
		return "func" + h.signature(t, 0)
	case reflect.Interface:
		if t.NumMethod() == 0 {
			return "any"
		}
		var lines []string
		for m := range t.Methods() {
			if m.IsExported() {
				lines = append(lines, m.Name+h.signature(m.Type, 0))
			}
		}
		return block("interface", lines, len(lines) < t.NumMethod())
	case reflect.Struct:
		var lines []string
		for f := range t.Fields() {
			switch {
			case !f.IsExported():
			case f.Anonymous:
				lines = append(lines, h.name(f.Type))
			default:
				lines = append(lines, f.Name+" "+h.name(f.Type))
			}
		}
		return block("struct", lines, len(lines) < t.NumField())
	}
	return t.Kind().String()
}

// block writes the declaration of a struct or an interface, with a line for
// what was cut.
func block(keyword string, lines []string, cut bool) string {
	if cut {
		lines = append(lines, "// contains filtered or unexported fields")
	}
	if len(lines) == 0 {
		return keyword + "{}"
	}
	return keyword + " {\n\t" + strings.Join(lines, "\n\t") + "\n}"
}

// signature writes parameters and results of a function, without the first
// parameters.
func (h home) signature(t reflect.Type, skip int) string {
	var in, out []string
	for i := skip; i < t.NumIn(); i++ {
		if t.IsVariadic() && i == t.NumIn()-1 {
			in = append(in, "..."+h.name(t.In(i).Elem()))
		} else {
			in = append(in, h.name(t.In(i)))
		}
	}
	for r := range t.Outs() {
		out = append(out, h.name(r))
	}
	s := "(" + strings.Join(in, ", ") + ")"
	switch len(out) {
	case 0:
		return s
	case 1:
		return s + " " + out[0]
	}
	return s + " (" + strings.Join(out, ", ") + ")"
}

// fields lists a struct's exported fields, then those of embedded fields.
func (h home) fields(t reflect.Type) (found []docs.Symbol) {
	if t.Kind() != reflect.Struct {
		return nil
	}
	visible := reflect.VisibleFields(t)
	slices.SortStableFunc(visible, func(a, b reflect.StructField) int { return cmp.Compare(len(a.Index), len(b.Index)) })
	for _, f := range visible {
		if f.IsExported() {
			found = append(found, docs.Symbol{Name: f.Name, Kind: "field", Signature: f.Name + " " + h.name(f.Type), Promoted: len(f.Index) > 1})
		}
	}
	return found
}

// methods lists a type's methods, those of the pointer type included, by name.
func (h home) methods(t reflect.Type) (found []docs.Symbol) {
	all, skip := t, 0
	if t.Kind() != reflect.Interface {
		all, skip = reflect.PointerTo(t), 1
	}
	for m := range all.Methods() {
		if !m.IsExported() {
			continue
		}
		receiver := h.name(t)
		if _, byValue := t.MethodByName(m.Name); !byValue {
			receiver = "*" + receiver
		}
		found = append(found, docs.Symbol{Name: m.Name, Kind: "method", Promoted: promoted(t, m.Name),
			Signature: "func (" + receiver + ") " + m.Name + h.signature(m.Type, skip)})
	}
	return found
}

// promoted reports whether an embedded field has the method, as it also has
// if the type's own hides it.
func promoted(t reflect.Type, method string) bool {
	if t.Kind() != reflect.Struct {
		return false
	}
	for f := range t.Fields() {
		if !f.Anonymous {
			continue
		}
		_, has := f.Type.MethodByName(method)
		if f.Type.Kind() != reflect.Interface && f.Type.Kind() != reflect.Pointer && !has {
			_, has = reflect.PointerTo(f.Type).MethodByName(method)
		}
		if has {
			return true
		}
	}
	return false
}
