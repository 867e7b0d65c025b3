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
	case t == nil || !in.special(t):
		return v.Interface()
	case t.Kind() == reflect.String: // between two of these, Sprint has no space
		if write := in.writer(xr.FromReflectValues([]reflect.Value{v})[0], t); write != nil {
			return write()
		}
	}
	return text{in: in, v: v, t: t}
}

// special reports whether package fmt would write values of a type otherwise
// than Go: it has a method of a cell, or a field that is not exported, or is
// made of one that has.
func (in *interp) special(t xr.Type) bool {
	if in.hasText(t) || xr.IsEmulatedInterface(t) {
		return true
	}
	switch t.Kind() {
	case reflect.Pointer, reflect.Slice, reflect.Array:
		return in.special(t.Elem())
	case reflect.Map:
		return in.special(t.Key()) || in.special(t.Elem())
	case reflect.Struct:
		for i := range t.NumField() {
			f := t.Field(i)
			if strings.HasPrefix(t.ReflectType().Field(i).Name, unexported) || in.special(f.Type) {
				return true
			}
		}
	}
	return false
}

// hasText reports whether a type has an Error or String method of a cell.
func (in *interp) hasText(t xr.Type) bool {
	switch t.Kind() {
	case reflect.Pointer, reflect.Struct: // which may have the methods of what they point to or embed
	default:
		if !declared(t) {
			return false
		}
	}
	for _, i := range in.texts {
		if t.Implements(i) && !t.ReflectType().Implements(i.ReflectType()) {
			return true
		}
	}
	return false
}

// A text is a value of a type that cells have declared, to be written.
type text struct {
	in    *interp
	v     reflect.Value
	t     xr.Type
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
func (x text) Format(f fmt.State, verb rune) {
	if !x.deaf && strings.ContainsRune("vsxXq", verb) && !f.Flag('#') {
		if write := x.in.writer(xr.FromReflectValues([]reflect.Value{x.v})[0], x.t); write != nil {
			fmt.Fprintf(f, fmt.FormatString(f, verb), write())
			return
		}
	}
	inGo := verb == 'v' && f.Flag('#')
	write := func(s string) { fmt.Fprint(f, s) }
	inner := func(v reflect.Value, t xr.Type, deaf bool) {
		fmt.Fprintf(f, fmt.FormatString(f, verb), x.inner(v, t, deaf))
	}
	list := func(open, end string, n int, each func(i int)) {
		if inGo {
			open, end = x.t.String()+"{", "}"
		}
		write(open)
		for i := range n {
			switch {
			case i > 0 && inGo:
				write(", ")
			case i > 0:
				write(" ")
			}
			each(i)
		}
		write(end)
	}
	switch x.t.Kind() {
	case reflect.Struct:
		list("{", "}", x.v.NumField(), func(i int) {
			field := x.t.Field(i)
			name := strings.TrimPrefix(x.v.Type().Field(i).Name, unexported)
			if inGo || f.Flag('+') {
				write(name + ":")
			}
			inner(x.v.Field(i), field.Type, !ast.IsExported(name))
		})
	case reflect.Map:
		keys := x.v.MapKeys()
		slices.SortFunc(keys, compare)
		list("map[", "]", len(keys), func(i int) {
			inner(keys[i], x.t.Key(), false)
			write(":")
			inner(x.v.MapIndex(keys[i]), x.t.Elem(), false)
		})
	case reflect.Slice, reflect.Array:
		list("[", "]", x.v.Len(), func(i int) { inner(x.v.Index(i), x.t.Elem(), false) })
	case reflect.Pointer:
		k := x.t.Elem().Kind()
		if x.depth > 0 || x.v.IsNil() || k != reflect.Struct && k != reflect.Map && k != reflect.Slice && k != reflect.Array {
			fmt.Fprintf(f, fmt.FormatString(f, verb), x.v.Interface())
			return
		}
		write("&")
		inner(x.v.Elem(), x.t.Elem(), false)
	default:
		fmt.Fprintf(f, fmt.FormatString(f, verb), x.v.Interface())
	}
}

// inner returns what writes a part of the value.
func (x text) inner(v reflect.Value, t xr.Type, deaf bool) any {
	v, t = x.in.dynamic(v, t)
	if !v.IsValid() {
		return nil
	}
	deaf = deaf || x.deaf
	if t == nil || !deaf && !x.in.special(t) {
		return v.Interface()
	}
	return text{x.in, v, t, x.depth + 1, deaf}
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
