package engine

import (
	"errors"
	"go/ast"
	"reflect"

	"github.com/cosmos72/gomacro/fast"
	xr "github.com/cosmos72/gomacro/xreflect"
)

// An errorTree follows errors through types that cells have declared, whose
// methods, but for Error, compiled code does not see.
type errorTree struct {
	in                   *interp
	one, several, is, as xr.Type // the interfaces of such methods
}

func (in *interp) errorTree(c *fast.Comp) errorTree {
	method := func(name string, in, out any) xr.Type {
		list := func(x any) *ast.FieldList {
			if x == nil {
				return &ast.FieldList{}
			}
			return &ast.FieldList{List: []*ast.Field{{Type: x.(ast.Expr)}}}
		}
		return c.Type(&ast.InterfaceType{Methods: &ast.FieldList{List: []*ast.Field{
			{Names: []*ast.Ident{{Name: name}}, Type: &ast.FuncType{Params: list(in), Results: list(out)}}}}})
	}
	err := &ast.Ident{Name: "error"}
	is := &ast.Ident{Name: "bool"}
	return errorTree{in, method("Unwrap", nil, err), method("Unwrap", nil, &ast.ArrayType{Elt: err}), method("Is", err, is),
		method("As", &ast.InterfaceType{Methods: &ast.FieldList{}}, is)}
}

// ofCell returns the value and the type that a cell has put into an error or
// another interface of a linked package; the type is nil for other values.
func ofCell(x any) (xr.Value, xr.Type) {
	v := reflect.ValueOf(x)
	if v.Kind() == reflect.Pointer && !v.IsNil() && v.Elem().Kind() == reflect.Struct && v.Elem().NumField() > 0 && v.Elem().Field(0).CanInterface() {
		if h, ok := v.Elem().Field(0).Interface().(xr.InterfaceHeader); ok {
			return h.Value(), h.Type()
		}
	}
	return xr.Value{}, nil
}

// call calls the method of an interface if the type has it.
func (e errorTree) call(v xr.Value, t, face xr.Type, args ...reflect.Value) (result any, ok bool) {
	conv, ok := e.in.conversion(t, face)
	if !ok {
		return nil, false
	}
	return xr.EmulatedInterfaceGetMethod(conv(v), 0).ReflectValue().Call(args)[0].Interface(), true
}

// unwrap returns the errors that one wraps.
func (e errorTree) unwrap(err error) []error {
	var inside any = err
	v, t := ofCell(err)
	if t == nil {
		switch u := inside.(type) {
		case interface{ Unwrap() error }:
			return []error{u.Unwrap()}
		case interface{ Unwrap() []error }:
			return u.Unwrap()
		}
		return nil
	}
	if x, ok := e.call(v, t, e.one); ok {
		one, _ := x.(error)
		return []error{one}
	}
	if x, ok := e.call(v, t, e.several); ok {
		return x.([]error)
	}
	return nil
}

// find reports whether an error, or one that it wraps, is right.
func (e errorTree) find(err error, right func(error) bool) bool {
	if err == nil {
		return false
	}
	if right(err) {
		return true
	}
	for _, inside := range e.unwrap(err) {
		if e.find(inside, right) {
			return true
		}
	}
	return false
}

func (e errorTree) equal(err, target error) bool {
	if errors.Is(err, target) {
		return true
	}
	v, t := ofCell(err)
	if t == nil {
		return false
	}
	if w, u := ofCell(target); u != nil && t.IdenticalTo(u) {
		if x, y := v.ReflectValue(), w.ReflectValue(); x.Comparable() && y.Comparable() && x.Equal(y) {
			return true
		}
	}
	x, ok := e.call(v, t, e.is, reflect.ValueOf(&target).Elem())
	return ok && x.(bool)
}

// compileIs compiles IsError(err, target).
func (in *interp) compileIs(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	err, target := in.toError(c, node.Args[0]), in.toError(c, node.Args[1])
	e, ins := in.errorTree(c), []xr.Type{c.TypeOfError(), c.TypeOfError()}
	return in.call(c, []*fast.Expr{err, target}, ins, []xr.Type{c.TypeOfBool()}, func(vs []reflect.Value) []reflect.Value {
		err, _ := vs[0].Interface().(error)
		target, _ := vs[1].Interface().(error)
		is := err == nil && target == nil || target != nil && e.find(err, func(err error) bool { return e.equal(err, target) })
		return []reflect.Value{reflect.ValueOf(is)}
	})
}

// compileAs compiles AsError(err, &x).
func (in *interp) compileAs(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	err, target := in.toError(c, node.Args[0]), c.Expr1(node.Args[1], nil)
	if target.Type == nil || target.Type.Kind() != reflect.Pointer {
		c.Errorf("errors.As needs the address of a variable in a cell, as in errors.As(err, &target)")
	}
	e, want, errorType := in.errorTree(c), target.Type.Elem(), c.TypeOfError()
	return in.call(c, []*fast.Expr{err, target}, []xr.Type{errorType, target.Type}, []xr.Type{c.TypeOfBool()}, func(vs []reflect.Value) []reflect.Value {
		err, _ := vs[0].Interface().(error)
		as := e.find(err, func(err error) bool {
			v, t := in.dynamic(reflect.ValueOf(&err).Elem(), errorType)
			if is, ok := in.as(v, t, want); ok {
				vs[1].Elem().Set(is)
				return true
			}
			if t != nil {
				x, ok := e.call(xr.FromReflectValues([]reflect.Value{v})[0], t, e.as, inInterface(vs[1].Interface()))
				return ok && x.(bool)
			}
			own, ok := err.(interface{ As(any) bool })
			return ok && own.As(vs[1].Interface())
		})
		return []reflect.Value{reflect.ValueOf(as)}
	})
}

// compileUnwrap compiles UnwrapError(err).
func (in *interp) compileUnwrap(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	e, ts := in.errorTree(c), []xr.Type{c.TypeOfError()}
	return in.call(c, []*fast.Expr{in.toError(c, node.Args[0])}, ts, ts, func(vs []reflect.Value) []reflect.Value {
		inner := reflect.New(errorType).Elem()
		if err, _ := vs[0].Interface().(error); err != nil {
			if v, t := ofCell(err); t == nil {
				err = errors.Unwrap(err)
			} else if x, ok := e.call(v, t, e.one); ok {
				err, _ = x.(error)
			} else {
				err = nil
			}
			if err != nil {
				inner.Set(reflect.ValueOf(err))
			}
		}
		return []reflect.Value{inner}
	})
}

// toError compiles an expression as an error.
func (in *interp) toError(c *fast.Comp, x ast.Expr) *fast.Expr {
	return c.Expr1(&ast.CallExpr{Fun: &ast.Ident{NamePos: x.Pos(), Name: "error"}, Lparen: x.Pos(), Args: []ast.Expr{x}, Rparen: x.End()}, nil)
}
