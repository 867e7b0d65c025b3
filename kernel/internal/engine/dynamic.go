package engine

import (
	"encoding/json"
	"fmt"
	"go/ast"
	"reflect"
	"strings"
	"sync"

	"github.com/cosmos72/gomacro/fast"
	xr "github.com/cosmos72/gomacro/xreflect"

	"github.com/evenbed/evenbed/kernel/internal/pattern"
)

// A wrapped is a value in an interface{} with the type that a cell has declared
// for it. Two are equal if they are to Go.
type wrapped struct {
	value any
	typ   *xr.Type // the same for types that are identical
	in    *interp
}

// typesOfCells finds the one type that stands for all that are identical.
type typesOfCells struct {
	mu    sync.Mutex
	named map[string][]*xr.Type
}

func (s *typesOfCells) one(t xr.Type) *xr.Type {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.named == nil {
		s.named = map[string][]*xr.Type{}
	}
	name := t.String()
	for _, other := range s.named[name] {
		if (*other).IdenticalTo(t) {
			return other
		}
	}
	s.named[name] = append(s.named[name], &t)
	return &t
}

// wrap returns a value of a type for an interface{}.
func (in *interp) wrap(v reflect.Value, t xr.Type) any {
	v, t = in.dynamic(v, t)
	switch {
	case !v.IsValid():
		return nil
	case t == nil:
		return v.Interface()
	}
	return wrapped{v.Interface(), in.types.one(t), in}
}

// dynamic returns the value in an interface, and its type if it is one of
// cells, or else nil. Of a value of another type it returns the value itself.
// The value of a nil interface is not valid.
func (in *interp) dynamic(v reflect.Value, t xr.Type) (reflect.Value, xr.Type) {
	switch {
	case !v.IsValid():
		return v, nil
	case t != nil && xr.IsEmulatedInterface(t):
		if v.IsNil() {
			return reflect.Value{}, nil
		}
		x, typ := xr.FromEmulatedInterface(xr.FromReflectValues([]reflect.Value{v})[0])
		return x.ReflectValue(), typ
	case v.Kind() != reflect.Interface:
		if w, ok := asWrapped(v); ok {
			return reflect.ValueOf(w.value), *w.typ
		}
		return v, t
	case v.IsNil():
		return reflect.Value{}, nil
	}
	if w, ok := asWrapped(v); ok {
		return reflect.ValueOf(w.value), *w.typ
	}
	if x, typ := ofCell(v.Interface()); typ != nil {
		return x.ReflectValue(), typ
	}
	return v.Elem(), nil
}

// MarshalJSON returns what encoding/json makes of the value.
func (w wrapped) MarshalJSON() ([]byte, error) {
	unlock := w.in.lockTypes(false)
	err := unseen(*w.typ, map[string]bool{})
	unlock()
	if err != nil {
		return nil, err
	}
	return json.Marshal(w.value)
}

// unseen tells what encoding/json does not see of a type.
func unseen(t xr.Type, seen map[string]bool) error {
	name := t.String()
	if seen[name] {
		return nil
	}
	seen[name] = true
	for _, method := range []string{"MarshalJSON", "MarshalText"} {
		if _, n := t.MethodByName(method, ""); n > 0 && fromMain().MatchString(name) {
			return fmt.Errorf("encoding/json does not see the method %s of %s, which only the interpreter knows; encode what it makes", method, t.Name())
		}
	}
	switch t.Kind() {
	case reflect.Struct:
		for i := range t.NumField() {
			f := t.Field(i)
			if f.Anonymous && fromMain().MatchString(name) {
				return fmt.Errorf("encoding/json does not see that %s is embedded; write its fields into the struct", f.Name)
			}
			if err := unseen(f.Type, seen); err != nil {
				return err
			}
		}
	case reflect.Map:
		if err := unseen(t.Key(), seen); err != nil {
			return err
		}
		return unseen(t.Elem(), seen)
	case reflect.Pointer, reflect.Slice, reflect.Array:
		return unseen(t.Elem(), seen)
	}
	return nil
}

func asWrapped(v reflect.Value) (wrapped, bool) {
	if !v.CanInterface() {
		return wrapped{}, false
	}
	w, ok := v.Interface().(wrapped)
	return w, ok
}

// as returns a value that came out of an interface as one of a type, if it is. A
// struct that compiled code has had in its hands comes back without a cell's
// type, and is taken for any type of the same make.
func (in *interp) as(v reflect.Value, t, want xr.Type) (reflect.Value, bool) {
	switch {
	case !v.IsValid():
		return v, false
	case want.Kind() != reflect.Interface:
		if t != nil {
			return v, t.IdenticalTo(want)
		}
		return v, v.Type() == want.ReflectType() && !in.facts(want).other
	}
	is := reflect.New(want.ReflectType()).Elem()
	if want.NumMethod() == 0 {
		is.Set(reflect.ValueOf(in.wrap(v, t)))
		return is, true
	}
	var conv func(xr.Value) xr.Value
	var ok bool
	if t == nil {
		conv, ok = in.conversionOf(v.Type(), want)
	} else {
		conv, ok = in.conversion(t, want)
	}
	if !ok {
		return v, false
	}
	v = conv(xr.FromReflectValues([]reflect.Value{v})[0]).ReflectValue()
	is.Set(v)
	return is, true
}

// fromMain matches the names of types that are made of some that cells have
// declared.
var fromMain = pattern.New(`\bmain\.`)

// hidden matches the tags of fields that are not exported, in the name of a type.
var hidden = pattern.New(` "json:\\"-\\"[^;}]*"`)

// compileWrap compiles Wrap(x).
func (in *interp) compileWrap(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	x := c.Expr1(node.Args[0], nil)
	if x.Type.Kind() != reflect.Interface && !fromMain().MatchString(x.Type.String()) { // in a generic function
		return in.compilePlain(c, fast.Symbol{}, node)
	}
	return in.call(c, []*fast.Expr{x}, []xr.Type{x.Type}, []xr.Type{c.Universe.TypeOfInterface}, func(vs []reflect.Value) []reflect.Value {
		return []reflect.Value{inInterface(in.wrap(vs[0], x.Type))}
	})
}

// compilePlain compiles Plain(x). What a cell has put into an interface of a
// linked package stays in what has its methods for compiled code.
func (in *interp) compilePlain(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	x := c.Expr1(node.Args[0], nil)
	withMethods := x.Type.NumMethod() > 0 && !xr.IsEmulatedInterface(x.Type)
	return in.call(c, []*fast.Expr{x}, []xr.Type{x.Type}, []xr.Type{c.Universe.TypeOfInterface}, func(vs []reflect.Value) []reflect.Value {
		v := vs[0]
		if !withMethods {
			v, _ = in.dynamic(v, x.Type)
		}
		if !v.IsValid() {
			return []reflect.Value{inInterface(nil)}
		}
		return []reflect.Value{inInterface(v.Interface())}
	})
}

// inInterface returns a value as an interface{}.
func inInterface(x any) reflect.Value {
	v := reflect.New(reflect.TypeFor[any]()).Elem()
	if x != nil {
		v.Set(reflect.ValueOf(x))
	}
	return v
}

// interfaceOperand compiles the x of x.(T).
func (in *interp) interfaceOperand(c *fast.Comp, node ast.Expr) *fast.Expr {
	x := c.Expr1(node, nil)
	if x.Type == nil || x.Type.Kind() != reflect.Interface {
		c.Errorf("invalid operation: %v is not an interface", node)
	}
	return x
}

// compileAssert compiles Assert(x, T).
func (in *interp) compileAssert(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	x, want := in.interfaceOperand(c, node.Args[0]), c.Type(node.Args[1])
	return in.call(c, []*fast.Expr{x}, []xr.Type{x.Type}, []xr.Type{want}, func(vs []reflect.Value) []reflect.Value {
		v, t := in.dynamic(vs[0], x.Type)
		is, ok := in.as(v, t, want)
		if !ok {
			panic(notThat{in.typeName(v, t), want.String(), want.Kind() == reflect.Interface})
		}
		return []reflect.Value{is}
	})
}

// compileAsserts compiles Asserts(x, T).
func (in *interp) compileAsserts(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	x, want := in.interfaceOperand(c, node.Args[0]), c.Type(node.Args[1])
	return in.call(c, []*fast.Expr{x}, []xr.Type{x.Type}, []xr.Type{want, c.TypeOfBool()}, func(vs []reflect.Value) []reflect.Value {
		v, t := in.dynamic(vs[0], x.Type)
		is, ok := in.as(v, t, want)
		if !ok {
			is = reflect.Zero(want.ReflectType())
		}
		return []reflect.Value{is, reflect.ValueOf(ok)}
	})
}

// compileWhich compiles Which(x, T, nil, U), the number of the first of some
// types that x has, or -1.
func (in *interp) compileWhich(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	x := in.interfaceOperand(c, node.Args[0])
	var types []xr.Type // nil for nil
	for _, n := range node.Args[1:] {
		if id, ok := n.(*ast.Ident); ok && id.Name == "nil" {
			types = append(types, nil)
		} else {
			types = append(types, c.Type(n))
		}
	}
	return in.call(c, []*fast.Expr{x}, []xr.Type{x.Type}, []xr.Type{c.TypeOfInt()}, func(vs []reflect.Value) []reflect.Value {
		v, t := in.dynamic(vs[0], x.Type)
		for i, want := range types {
			is := !v.IsValid()
			if want != nil {
				_, is = in.as(v, t, want)
			}
			if is {
				return []reflect.Value{reflect.ValueOf(i)}
			}
		}
		return []reflect.Value{reflect.ValueOf(-1)}
	})
}

// A notThat is the panic of x.(T).
type notThat struct {
	is, want    string
	isInterface bool
}

func (e notThat) RuntimeError() {}

func (e notThat) Error() string {
	if e.isInterface && e.is != "nil" {
		return fmt.Sprintf("interface conversion: %s does not have the methods of %s", e.is, e.want)
	}
	return fmt.Sprintf("interface conversion: the value is %s, not %s", e.is, e.want)
}

// typeName returns the name of the type of a value that came out of an interface.
func (in *interp) typeName(v reflect.Value, t xr.Type) string {
	switch {
	case t != nil && fromMain().MatchString(t.String()):
		return strings.ReplaceAll(hidden().ReplaceAllString(t.String(), ""), "#[", "[")
	case v.IsValid():
		return strings.ReplaceAll(hidden().ReplaceAllString(v.Type().String(), ""), unexported, "")
	}
	return "nil"
}

// knownTypes is what is known of types until a cell declares more.
type knownTypes struct {
	facts       sync.Map // types.Type -> *facts
	conversions sync.Map // conversionKey -> func(xr.Value) xr.Value, nil if there is none
}

type conversionKey struct{ from, to any }

// conversion returns what converts values of a type to an interface, if it has
// its methods. Cells may ask while others are compiled, which changes what the
// interpreter knows of types.
func (in *interp) conversion(t, face xr.Type) (conv func(xr.Value) xr.Value, ok bool) {
	return in.conversionFrom(t.GoType(), func() xr.Type { return t }, face)
}

// conversionOf is conversion for a type of linked packages.
func (in *interp) conversionOf(t reflect.Type, face xr.Type) (conv func(xr.Value) xr.Value, ok bool) {
	return in.conversionFrom(t, func() xr.Type { return in.ir.Comp.Universe.FromReflectType(t) }, face)
}

func (in *interp) conversionFrom(key any, from func() xr.Type, face xr.Type) (conv func(xr.Value) xr.Value, ok bool) {
	known := in.known.Load()
	k := conversionKey{key, face.GoType()}
	if found, ok := known.conversions.Load(k); ok {
		conv = found.(func(xr.Value) xr.Value)
		return conv, conv != nil
	}
	defer in.lockTypes(false)()
	if t := from(); t.Implements(face) {
		if conv = in.converter(t, face); conv == nil {
			conv = func(v xr.Value) xr.Value { return v }
		}
	}
	known.conversions.Store(k, conv)
	return conv, conv != nil
}

// compileConvert compiles Convert(x, I).
func (in *interp) compileConvert(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	x, t := c.Expr1(node.Args[0], nil), c.Type(node.Args[1])
	if x.Type.Kind() == reflect.Interface {
		return in.call(c, []*fast.Expr{x}, []xr.Type{x.Type}, []xr.Type{t}, func(vs []reflect.Value) []reflect.Value {
			v, of := in.dynamic(vs[0], x.Type)
			is, ok := in.as(v, of, t)
			if !ok { // nil
				is = reflect.Zero(t.ReflectType())
			}
			return []reflect.Value{is}
		})
	}
	conv := in.converter(x.Type, t)
	if conv == nil {
		conv = func(v xr.Value) xr.Value { return v }
	}
	return in.call(c, []*fast.Expr{x}, []xr.Type{x.Type}, []xr.Type{t}, func(vs []reflect.Value) []reflect.Value {
		return []reflect.Value{conv(xr.FromReflectValues(vs)[0]).ReflectValue()}
	})
}

// converter returns what converts values of a type to an interface, or nil if
// there is nothing to do. compMu is held.
//
// The interpreter puts a pointer into an interface of a linked package with
// functions that look for a method of the value where it is not, and finds no
// method of an interface of a linked package that is embedded: these are put
// right here.
func (in *interp) converter(t, face xr.Type) func(xr.Value) xr.Value {
	conv := in.ir.Comp.Converter(t, face)
	pointer := t.Kind() == reflect.Pointer
	if conv == nil || !pointer && t.Kind() != reflect.Struct || xr.IsEmulatedInterface(face) || t.ReflectType().Implements(face.ReflectType()) {
		return conv
	}
	ofValue := map[int]xr.Method{} // methods of the value, by the field of the holder
	for i := range face.NumMethod() {
		m := face.ReflectType().Method(i)
		own, n := t.MethodByName(m.Name, m.PkgPath)
		if n != 1 {
			continue
		}
		of := own.Type.In(0)
		if pointer && of.Kind() != reflect.Pointer || of.Kind() == reflect.Interface && !xr.IsEmulatedInterface(of) {
			ofValue[i+1] = own // behind that with the pointer
		}
	}
	if len(ofValue) == 0 {
		return conv
	}
	return func(v xr.Value) xr.Value {
		x := conv(v)
		holder := x.ReflectValue().Elem().Elem()
		for i, m := range ofValue {
			field := holder.Field(i)
			field.Set(reflect.MakeFunc(field.Type(), func(args []reflect.Value) []reflect.Value {
				return callMethod(reflect.Indirect(v.ReflectValue()), m, args[1:])
			}))
		}
		return x
	}
}

// callMethod calls a method of a value, or of a field that is embedded in it.
func callMethod(v reflect.Value, m xr.Method, args []reflect.Value) []reflect.Value {
	for _, i := range m.FieldIndex {
		v = reflect.Indirect(v).Field(i)
	}
	var f reflect.Value
	if m.Funs == nil || v.Kind() == reflect.Interface { // of a linked package
		f = v.MethodByName(m.Name)
	} else {
		f = (*m.Funs)[m.Index]
		args = append([]reflect.Value{reflect.Indirect(v)}, args...)
	}
	if f.Type().IsVariadic() {
		return f.CallSlice(args)
	}
	return f.Call(args)
}
