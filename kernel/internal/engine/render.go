package engine

import (
	"fmt"
	"reflect"
	"slices"
	"strings"

	"github.com/cosmos72/gomacro/base"
	"github.com/cosmos72/gomacro/fast"
	xr "github.com/cosmos72/gomacro/xreflect"

	"github.com/evenbed/evenbed/kernel/display"
)

// An interfaceOf is one of the display interfaces, as the interpreter knows it.
type interfaceOf struct {
	name string
	typ  xr.Type
}

// displayInterfaces returns what a value may look like, for types declared in
// cells: their methods exist only for the interpreter, which can convert a
// value to an interface that is compiled.
func displayInterfaces(ir *fast.Interp) []interfaceOf {
	var all []interfaceOf
	im := ir.Comp.KnownImports[displayPath]
	for _, name := range []string{"Renderer", "SimpleRenderer", "HTMLer", "JavaScripter", "JPEGer", "JSONer",
		"Latexer", "Markdowner", "PDFer", "PNGer", "SVGer"} {
		if t, ok := im.Types[name]; ok {
			all = append(all, interfaceOf{name, t})
		}
	}
	return all
}

// bundle returns what is shown of values with these static types.
func (in *interp) bundle(vs []xr.Value, types []xr.Type) display.Bundle {
	vs, types = slices.Clone(vs), slices.Clone(types)
	for i, v := range vs {
		if x, t := in.dynamic(v.ReflectValue(), types[i]); t != nil {
			vs[i], types[i] = xr.FromReflectValues([]reflect.Value{x})[0], t
		}
	}
	if len(vs) == 1 {
		if b, ok := in.rich(vs[0], types[0]); ok {
			return b
		}
	}
	var texts []string
	for i, v := range vs {
		texts = append(texts, in.text(v, types[i]))
	}
	return display.Text(shortened(strings.Join(texts, " ")))
}

// What a value shows of a list, and at most of its text.
const (
	manyElements  = 200
	firstElements = 10
	lastElements  = 3
	maxText       = 20_000
)

// shortened cuts the middle out of a text that is too long to be read.
func shortened(text string) string {
	if len(text) <= maxText {
		return text
	}
	runes := []rune(text)
	const tail = 1000
	if len(runes) <= maxText {
		return text
	}
	return fmt.Sprintf("%s\n… %d characters in all; fmt.Print writes them …\n%s", string(runes[:maxText-tail]), len(runes), string(runes[len(runes)-tail:]))
}

// abridged returns a long list by its first and last elements, and "" for other
// values.
func (in *interp) abridged(v reflect.Value, t xr.Type) string {
	if v.Kind() != reflect.Slice || v.Len() <= manyElements {
		return ""
	}
	part := func(from, to int) string {
		text := fmt.Sprintf("%+v", in.textOf(v.Slice(from, to), t))
		return strings.TrimSuffix(strings.TrimPrefix(text, "["), "]")
	}
	n := v.Len()
	return fmt.Sprintf("[%s … %s] (%d elements)", part(0, firstElements), part(n-lastElements, n), n)
}

// rich returns what a value shows by its methods, or because the engine knows
// how to show its type.
func (in *interp) rich(v xr.Value, t xr.Type) (display.Bundle, bool) {
	x, ok := compiled(v)
	if !ok {
		return display.Bundle{}, false
	}
	if b, ok := foreign(x); ok {
		return b, true
	}
	if b, ok := display.Of(x); ok {
		return b, true
	}
	if !declared(t) {
		return display.Bundle{}, false
	}
	all := display.Bundle{Data: map[string][]byte{}}
	for _, i := range in.shows {
		if conv, ok := in.conversion(t, i.typ); ok {
			if b, ok := display.Of(conv(v).ReflectValue().Interface()); ok {
				for mime, data := range b.Data {
					if mime != display.MIMETypeText || len(all.Data) == 0 {
						all.Data[mime] = data
					}
				}
			}
		}
	}
	if len(all.Data) == 0 {
		return all, false
	}
	all.Data[display.MIMETypeText] = []byte(in.text(v, t))
	return all, true
}

// declared reports whether somebody has declared a type. To the interpreter
// Go's own types are named, too, and have methods, but none that show a value.
func declared(t xr.Type) bool { return t != nil && t.Named() && t.PkgPath() != "" }

// compiled returns the value as compiled code sees it.
func compiled(v xr.Value) (any, bool) {
	if !v.IsValid() {
		return nil, false
	}
	rv := v.ReflectValue()
	if !rv.CanInterface() {
		return nil, false
	}
	switch rv.Kind() {
	case reflect.Pointer, reflect.Interface, reflect.Map, reflect.Slice, reflect.Func, reflect.Chan:
		if rv.IsNil() {
			return nil, false
		}
	}
	return rv.Interface(), true
}

// text returns a value as plain text.
func (in *interp) text(v xr.Value, t xr.Type) string {
	if !v.IsValid() {
		return "<nil>"
	}
	rv := v.ReflectValue()
	if t != nil && in.facts(t).special {
		if text := in.abridged(rv, t); text != "" && in.facts(t).text == nil {
			return strings.ReplaceAll(text, unexported, "")
		}
		return strings.ReplaceAll(fmt.Sprintf("%+v", in.textOf(rv, t)), unexported, "")
	}
	if !rv.CanInterface() {
		return rv.String()
	}
	x := rv.Interface()
	switch x.(type) {
	case fmt.Stringer, error, fmt.Formatter:
		return fmt.Sprint(x)
	}
	switch rv.Kind() {
	case reflect.Func:
		return "func " + strings.TrimPrefix(typeName(rv.Type()), "func")
	case reflect.Chan, reflect.UnsafePointer:
		return typeName(rv.Type())
	}
	if text := in.abridged(rv, t); text != "" {
		return strings.ReplaceAll(text, unexported, "")
	}
	return strings.ReplaceAll(fmt.Sprintf("%+v", x), unexported, "")
}

// unexported stands before the names of fields that are not exported: to the
// interpreter, all are.
const unexported = base.StrGensymPrivate

// displayID returns the name under which a value wants to be shown, and
// whether it takes the place of an earlier display.
func displayID(v xr.Value) (id string, update bool) {
	x, ok := compiled(v)
	if !ok {
		return "", false
	}
	d, ok := x.(display.Data)
	if !ok {
		return "", false
	}
	return d.ID()
}
