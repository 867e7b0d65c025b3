package engine

import (
	"cmp"
	"fmt"
	"go/ast"
	"reflect"
	"slices"
	"strings"

	"github.com/cosmos72/gomacro/fast"
	xr "github.com/cosmos72/gomacro/xreflect"
)

// compileText compiles Text(x).
func (in *interp) compileText(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	x := c.Expr1(node.Args[0], nil)
	return in.call(c, []*fast.Expr{x}, []xr.Type{x.Type}, []xr.Type{c.Universe.TypeOfInterface}, func(vs []reflect.Value) []reflect.Value {
		return []reflect.Value{inInterface(in.textOf(vs[0], x.Type))}
	})
}

// compileTypeName compiles TypeName(x).
func (in *interp) compileTypeName(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	x := c.Expr1(node.Args[0], nil)
	return in.call(c, []*fast.Expr{x}, []xr.Type{x.Type}, []xr.Type{c.TypeOfString()}, func(vs []reflect.Value) []reflect.Value {
		v, t := in.dynamic(vs[0], x.Type)
		name := "<nil>"
		if v.IsValid() {
			name = in.typeName(v, t)
		}
		return []reflect.Value{reflect.ValueOf(name)}
	})
}

// textOf returns what package fmt writes as it would write a value of a type
// that cells have declared.
func (in *interp) textOf(v reflect.Value, t xr.Type) any {
	v, t = in.dynamic(v, t)
	switch {
	case !v.IsValid():
		return nil
	case t == nil:
		return v.Interface()
	}
	f := in.facts(t)
	if !f.special {
		return v.Interface()
	}
	if f.kind == reflect.String { // between two of these, Sprint has no space
		if write := f.writer(v); write != nil {
			return write()
		}
	}
	return text{in: in, v: v, f: f}
}

// facts are what writing values of a type needs to know of it.
type facts struct {
	typ  xr.Type
	kind reflect.Kind
	name string
	// text makes of a value what has its Error or String method; nil without.
	text func(xr.Value) xr.Value
	// ofValue says that text is for a pointer and has the method of the value.
	ofValue bool
	// special says that package fmt would write values otherwise than Go: the type
	// has a method of a cell, or a field that is not exported, or is made of one.
	special bool
	// other says that compiled code takes values for those of another type, as a
	// float64: the type is one of cells and no struct, or made of one.
	other     bool
	key, elem *facts
	fields    []field
}

type field struct {
	*facts
	name  string
	empty string // what is written of a nil slice or map that the interpreter has in an interface{}
}

// facts returns what is known of a type.
func (in *interp) facts(t xr.Type) *facts {
	known := in.known.Load()
	if f, ok := known.facts.Load(t.GoType()); ok {
		return f.(*facts)
	}
	defer in.lockTypes(false)()
	f := in.learn(t)
	known.facts.Store(t.GoType(), f)
	return f
}

// learn finds out what there is to know of a type. compMu is held.
func (in *interp) learn(t xr.Type) *facts {
	f := &facts{typ: t, kind: t.Kind(), name: t.String(), special: xr.IsEmulatedInterface(t),
		other: t.Kind() != reflect.Struct && t.Named() && t.Name() != t.ReflectType().Name()}
	pointer := f.kind == reflect.Pointer
	if pointer || f.kind == reflect.Struct || declared(t) { // others have no methods
		for _, face := range in.texts {
			if t.Implements(face) && !t.ReflectType().Implements(face.ReflectType()) {
				f.text, f.special = in.converter(t, face), true
				f.ofValue = pointer && t.Elem().Implements(face)
				break
			}
		}
	}
	part := func(t xr.Type) *facts {
		p := in.learn(t)
		f.special = f.special || p.special
		f.other = f.other || p.other && f.kind != reflect.Struct
		return p
	}
	switch f.kind {
	case reflect.Map:
		f.key, f.elem = part(t.Key()), part(t.Elem())
	case reflect.Pointer, reflect.Slice, reflect.Array:
		f.elem = part(t.Elem())
	case reflect.Struct:
		for i := range t.NumField() {
			of := t.ReflectType().Field(i)
			name, hidden := strings.CutPrefix(of.Name, unexported)
			empty := of.Tag.Get("nil")
			f.special = f.special || hidden || empty != ""
			f.fields = append(f.fields, field{part(t.Field(i).Type), name, empty})
		}
	}
	return f
}

// writer returns what calls the Error or String method that a cell has declared
// for a value, or nil if it has none.
func (f *facts) writer(v reflect.Value) func() string {
	if f.text == nil || f.ofValue && v.IsNil() {
		return nil
	}
	switch x := f.text(xr.FromReflectValues([]reflect.Value{v})[0]).ReflectValue().Interface().(type) {
	case error:
		return x.Error
	case fmt.Stringer:
		return x.String
	}
	return nil
}

// A text is a value of a type that cells have declared, to be written.
type text struct {
	in    *interp
	v     reflect.Value
	f     *facts
	depth int
	deaf  bool // in a field that is not exported, where fmt calls no method
}

var (
	_ fmt.Formatter = text{}
	_ fmt.Formatter = wrapped{}
)

func (w wrapped) Format(f fmt.State, verb rune) {
	fmt.Fprintf(f, fmt.FormatString(f, verb), w.in.textOf(reflect.ValueOf(w.value), *w.typ))
}

// Format writes the value as package fmt would.
func (x text) Format(s fmt.State, verb rune) {
	format := fmt.FormatString(s, verb)
	if !x.deaf && strings.ContainsRune("vsxXq", verb) && !s.Flag('#') {
		if x.f.ofValue && x.v.IsNil() {
			fmt.Fprint(s, "<nil>")
			return
		}
		if write := x.f.writer(x.v); write != nil {
			fmt.Fprintf(s, format, write())
			return
		}
	}
	inGo := verb == 'v' && s.Flag('#')
	inner := func(v reflect.Value, f *facts, deaf bool) {
		switch y := x.inner(v, f, deaf); {
		case y != nil:
			fmt.Fprintf(s, format, y)
		case inGo:
			fmt.Fprint(s, f.name+"(nil)")
		default: // without the width, as fmt does
			fmt.Fprint(s, "<nil>")
		}
	}
	list := func(open, end string, n int, each func(i int)) {
		between := " "
		if inGo {
			open, between, end = x.f.name+"{", ", ", "}"
		}
		fmt.Fprint(s, open)
		for i := range n {
			if i > 0 {
				fmt.Fprint(s, between)
			}
			each(i)
		}
		fmt.Fprint(s, end)
	}
	switch x.f.kind {
	case reflect.Struct:
		list("{", "}", x.v.NumField(), func(i int) {
			field := x.f.fields[i]
			if inGo || s.Flag('+') {
				fmt.Fprint(s, field.name+":")
			}
			if field.empty != "" && x.v.Field(i).IsNil() {
				fmt.Fprint(s, field.empty)
				return
			}
			inner(x.v.Field(i), field.facts, !ast.IsExported(field.name))
		})
	case reflect.Map:
		keys := x.v.MapKeys()
		slices.SortFunc(keys, compare)
		list("map[", "]", len(keys), func(i int) {
			inner(keys[i], x.f.key, false)
			fmt.Fprint(s, ":")
			inner(x.v.MapIndex(keys[i]), x.f.elem, false)
		})
	case reflect.Slice, reflect.Array:
		if x.f.elem.kind == reflect.Uint8 && strings.ContainsRune("sqxX", verb) && (x.f.kind == reflect.Slice || x.v.CanAddr()) {
			fmt.Fprintf(s, format, x.v.Bytes())
			return
		}
		list("[", "]", x.v.Len(), func(i int) { inner(x.v.Index(i), x.f.elem, false) })
	case reflect.Pointer:
		k := x.f.elem.kind
		if x.depth > 0 || x.v.IsNil() || k != reflect.Struct && k != reflect.Map && k != reflect.Slice && k != reflect.Array {
			fmt.Fprintf(s, format, x.v.Interface())
			return
		}
		fmt.Fprint(s, "&")
		inner(x.v.Elem(), x.f.elem, false)
	default:
		fmt.Fprintf(s, format, x.v.Interface())
	}
}

// inner returns what writes a part of the value.
func (x text) inner(v reflect.Value, f *facts, deaf bool) any {
	if f.kind == reflect.Interface {
		var t xr.Type
		if v, t = x.in.dynamic(v, f.typ); !v.IsValid() {
			return nil
		} else if t == nil {
			return v.Interface()
		}
		f = x.in.facts(t)
	}
	deaf = deaf || x.deaf
	if !deaf && !f.special {
		return v.Interface()
	}
	return text{x.in, v, f, x.depth + 1, deaf}
}

// compare orders the keys of a map as package fmt does.
func compare(a, b reflect.Value) int {
	switch {
	case a.CanInt():
		return cmp.Compare(a.Int(), b.Int())
	case a.CanUint():
		return cmp.Compare(a.Uint(), b.Uint())
	case a.CanFloat():
		return cmp.Compare(a.Float(), b.Float())
	}
	switch a.Kind() {
	case reflect.String:
		return cmp.Compare(a.String(), b.String())
	case reflect.Bool:
		return cmp.Compare(number(a.Bool()), number(b.Bool()))
	case reflect.Struct:
		for i := range a.NumField() {
			if c := compare(a.Field(i), b.Field(i)); c != 0 {
				return c
			}
		}
	case reflect.Array:
		for i := range a.Len() {
			if c := compare(a.Index(i), b.Index(i)); c != 0 {
				return c
			}
		}
	case reflect.Pointer, reflect.Chan:
		return cmp.Compare(a.Pointer(), b.Pointer())
	}
	return 0
}

func number(b bool) int {
	if b {
		return 1
	}
	return 0
}
