package engine

import (
	"fmt"
	"go/ast"
	"reflect"
	"strings"

	"github.com/cosmos72/gomacro/base"
	"github.com/cosmos72/gomacro/fast"
	xr "github.com/cosmos72/gomacro/xreflect"

	"github.com/evenbed/evenbed/kernel/internal/cell"
)

// Builtins of Go that the interpreter does not have, and those of the cell
// rewriter.
func (in *interp) declareBuiltins() {
	for name, b := range map[string]fast.Builtin{
		"Display":        {Compile: in.compileDisplay, ArgMin: 1, ArgMax: 1},
		"min":            {Compile: in.compileExtreme, ArgMin: 1, ArgMax: 1000},
		"max":            {Compile: in.compileExtreme, ArgMin: 1, ArgMax: 1000},
		"clear":          {Compile: in.compileClear, ArgMin: 1, ArgMax: 1},
		"copy":           {Compile: in.compileCopy, ArgMin: 2, ArgMax: 2},
		"print":          {Compile: in.compilePrint, ArgMin: 0, ArgMax: base.MaxUint16},
		"println":        {Compile: in.compilePrint, ArgMin: 0, ArgMax: base.MaxUint16},
		cell.Guard:       {Compile: in.compileGuard, ArgMin: 1, ArgMax: 1},
		cell.Note:        {Compile: in.compileNote, ArgMin: 1, ArgMax: 1},
		cell.Step:        {Compile: in.compileStep, ArgMin: 1, ArgMax: 1},
		cell.Text:        {Compile: in.compileText, ArgMin: 1, ArgMax: 1},
		cell.TypeName:    {Compile: in.compileTypeName, ArgMin: 1, ArgMax: 1},
		cell.Wrap:        {Compile: in.compileWrap, ArgMin: 1, ArgMax: 1},
		cell.Convert:     {Compile: in.compileConvert, ArgMin: 2, ArgMax: 2},
		cell.Plain:       {Compile: in.compilePlain, ArgMin: 1, ArgMax: 1},
		cell.Assert:      {Compile: in.compileAssert, ArgMin: 2, ArgMax: 2},
		cell.Asserts:     {Compile: in.compileAsserts, ArgMin: 2, ArgMax: 2},
		cell.Which:       {Compile: in.compileWhich, ArgMin: 1, ArgMax: 1000},
		cell.Box:         {Compile: in.compileBox, ArgMin: 1, ArgMax: 1},
		cell.Unbox:       {Compile: in.compileUnbox, ArgMin: 2, ArgMax: 2},
		cell.IsError:     {Compile: in.compileIs, ArgMin: 2, ArgMax: 2},
		cell.AsError:     {Compile: in.compileAs, ArgMin: 2, ArgMax: 2},
		cell.UnwrapError: {Compile: in.compileUnwrap, ArgMin: 1, ArgMax: 1},
		cell.Select:      {Compile: in.compileSelect, ArgMin: 1, ArgMax: 1000},
		cell.Zero:        {Compile: in.compileZero, ArgMin: 1, ArgMax: 1},
		cell.Values:      {Compile: in.compileValues, ArgMin: 1, ArgMax: 1000},
	} {
		in.ir.DeclBuiltin(name, b)
	}
}

// compileExtreme compiles min or max.
func (in *interp) compileExtreme(c *fast.Comp, sym fast.Symbol, node *ast.CallExpr) *fast.Call {
	args := make([]*fast.Expr, len(node.Args))
	var t xr.Type // of the first argument that has one
	for i, x := range node.Args {
		args[i] = c.Expr1(x, nil)
		if !args[i].Untyped() && t == nil {
			t = args[i].Type
		}
	}
	if t == nil { // constants alone: the widest of their types
		for _, a := range args {
			if d := a.DefaultType(); t == nil || width(d.Kind()) > width(t.Kind()) {
				t = d
			}
		}
	}
	switch k := t.Kind(); {
	case k >= reflect.Int && k <= reflect.Float64, k == reflect.String:
	default:
		c.Errorf("%s needs numbers or strings, not %v", sym.Name, t)
	}
	var ins []xr.Type
	for i, a := range args {
		if a.Untyped() {
			a.ConstTo(t)
		} else if !a.Type.IdenticalTo(t) {
			c.Errorf("mismatched types in %s: %v and %v", sym.Name, t, node.Args[i])
		}
		ins = append(ins, t)
	}
	greatest := sym.Name == "max"
	return in.call(c, args, ins, []xr.Type{t}, func(vs []reflect.Value) []reflect.Value {
		best := reflect.New(t.ReflectType()).Elem()
		best.Set(vs[0])
		for _, v := range vs[1:] {
			if v.CanFloat() { // one that is no number makes the result none
				if a, b := best.Float(), v.Float(); greatest {
					best.SetFloat(max(a, b))
				} else {
					best.SetFloat(min(a, b))
				}
			} else if less(v, best) != greatest && less(best, v) == greatest {
				best.Set(v)
			}
		}
		return []reflect.Value{best}
	})
}

func width(k reflect.Kind) int {
	switch k {
	case reflect.Int:
		return 0
	case reflect.Int32: // rune
		return 1
	}
	return 2
}

// less compares two integers or strings.
func less(a, b reflect.Value) bool {
	switch {
	case a.CanInt():
		return a.Int() < b.Int()
	case a.CanUint():
		return a.Uint() < b.Uint()
	}
	return a.String() < b.String()
}

// compileClear compiles clear.
func (in *interp) compileClear(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	arg := c.Expr1(node.Args[0], nil)
	if k := arg.Type.Kind(); k != reflect.Map && k != reflect.Slice {
		c.Errorf("clear needs a map or a slice, not %v", arg.Type)
	}
	return in.call(c, []*fast.Expr{arg}, []xr.Type{arg.Type}, nil, func(vs []reflect.Value) []reflect.Value {
		vs[0].Clear()
		return nil
	})
}

// compileCopy compiles copy, of which the interpreter has no result.
func (in *interp) compileCopy(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	to, from := c.Expr1(node.Args[0], nil), c.Expr1(node.Args[1], nil)
	if from.Untyped() {
		from.ConstTo(from.DefaultType())
	}
	ofString := from.Type.Kind() == reflect.String && to.Type.Kind() == reflect.Slice && to.Type.Elem().Kind() == reflect.Uint8
	if !ofString && (to.Type.Kind() != reflect.Slice || from.Type.Kind() != reflect.Slice || !to.Type.Elem().IdenticalTo(from.Type.Elem())) {
		c.Errorf("cannot copy from %v to %v", from.Type, to.Type)
	}
	return in.call(c, []*fast.Expr{to, from}, []xr.Type{to.Type, from.Type}, []xr.Type{c.TypeOfInt()}, func(vs []reflect.Value) []reflect.Value {
		return []reflect.Value{reflect.ValueOf(reflect.Copy(vs[0], vs[1]))}
	})
}

// compilePrint compiles print or println. They write to standard output, since
// clients paint standard error as if something had failed.
func (in *interp) compilePrint(c *fast.Comp, sym fast.Symbol, node *ast.CallExpr) *fast.Call {
	args := c.Exprs(node.Args)
	var ins []xr.Type
	for _, x := range args {
		x.To(c, c.Universe.TypeOfInterface)
		ins = append(ins, x.Type)
	}
	return in.call(c, args, ins, nil, func(vs []reflect.Value) []reflect.Value {
		var texts []string
		for _, v := range vs {
			texts = append(texts, fmt.Sprint(v.Interface()))
		}
		if sym.Name == "println" {
			fmt.Println(strings.Join(texts, " "))
		} else {
			fmt.Print(strings.Join(texts, ""))
		}
		return nil
	})
}

// compileValues compiles Values(a, b), which returns a and b.
func (in *interp) compileValues(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	var args []*fast.Expr
	var ts []xr.Type
	for _, x := range node.Args {
		a := c.Expr1(x, nil)
		if a.Untyped() {
			a.ConstTo(a.DefaultType())
		}
		if a.Type == nil {
			c.Errorf("use of untyped nil")
		}
		args, ts = append(args, a), append(ts, a.Type)
	}
	return in.call(c, args, ts, ts, func(vs []reflect.Value) []reflect.Value { return vs })
}

// compileZero compiles Zero(x), which does not look at x.
func (in *interp) compileZero(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	t := c.Expr1(node.Args[0], nil).Type
	return in.call(c, nil, nil, []xr.Type{t}, func([]reflect.Value) []reflect.Value { return []reflect.Value{reflect.Zero(t.ReflectType())} })
}

// compileSelect compiles Select("rsd", a, b, x).
func (in *interp) compileSelect(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	ways := strings.Trim(node.Args[0].(*ast.BasicLit).Value, `"`)
	rest := node.Args[1:]
	var args []*fast.Expr
	var ins []xr.Type
	outs := []xr.Type{c.TypeOfInt(), c.TypeOfBool()}
	next := func(want xr.Type) xr.Type {
		x := c.Expr1(rest[0], nil)
		rest = rest[1:]
		if want != nil {
			x.To(c, want)
		}
		args, ins = append(args, x), append(ins, x.Type)
		return x.Type
	}
	for _, way := range ways {
		if way == 'd' {
			continue
		}
		ch := next(nil)
		if ch.Kind() != reflect.Chan {
			c.Errorf("a select receives from channels and sends to them, not %v", ch)
		}
		if way == 's' {
			next(ch.Elem())
		} else {
			outs = append(outs, ch.Elem())
		}
	}
	return in.call(c, args, ins, outs, func(vs []reflect.Value) []reflect.Value {
		cases := make([]reflect.SelectCase, len(ways))
		for i, way := range ways {
			switch way {
			case 'r':
				cases[i], vs = reflect.SelectCase{Dir: reflect.SelectRecv, Chan: vs[0]}, vs[1:]
			case 's':
				cases[i], vs = reflect.SelectCase{Dir: reflect.SelectSend, Chan: vs[0], Send: vs[1]}, vs[2:]
			default:
				cases[i].Dir = reflect.SelectDefault
			}
		}
		chosen, received, ok := reflect.Select(cases)
		results := []reflect.Value{reflect.ValueOf(chosen), reflect.ValueOf(ok)}
		for i, c := range cases {
			switch {
			case c.Dir != reflect.SelectRecv:
			case i == chosen:
				results = append(results, received)
			default:
				results = append(results, reflect.Zero(c.Chan.Type().Elem()))
			}
		}
		return results
	})
}

// compileBox compiles Box(x).
func (in *interp) compileBox(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	x := c.Expr1(node.Args[0], nil)
	typ := in.types.one(x.Type)
	return in.call(c, []*fast.Expr{x}, []xr.Type{x.Type}, []xr.Type{c.Universe.TypeOfInterface}, func(vs []reflect.Value) []reflect.Value {
		switch v := vs[0]; {
		case v.IsNil(): // such fields are pointers, slices, maps, functions, channels or interfaces
			return []reflect.Value{inInterface(nil)}
		case v.Kind() == reflect.Interface:
			return []reflect.Value{inInterface(v.Interface())}
		default:
			return []reflect.Value{inInterface(wrapped{v.Interface(), typ, in})}
		}
	})
}

// compileUnbox compiles Unbox(x, T).
func (in *interp) compileUnbox(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	x, t := c.Expr1(node.Args[0], nil), c.Type(node.Args[1])
	return in.call(c, []*fast.Expr{x}, []xr.Type{x.Type}, []xr.Type{t}, func(vs []reflect.Value) []reflect.Value {
		v := reflect.New(t.ReflectType()).Elem()
		if inside := vs[0].Elem(); inside.IsValid() {
			if w, ok := inside.Interface().(wrapped); ok && t.Kind() != reflect.Interface {
				inside = reflect.ValueOf(w.value)
			}
			v.Set(inside)
		}
		return []reflect.Value{v}
	})
}

// call compiles a call of a function of ours.
func (in *interp) call(c *fast.Comp, args []*fast.Expr, ins, outs []xr.Type, f func([]reflect.Value) []reflect.Value) *fast.Call {
	fun := new(fast.Expr)
	fun.Type = c.Universe.FuncOf(ins, outs, false)
	value := xr.FromReflectValues([]reflect.Value{reflect.MakeFunc(fun.Type.ReflectType(), f)})[0]
	fun.Fun = func(*fast.Env) xr.Value { return value }
	return &fast.Call{Fun: fun, Args: args, OutTypes: outs}
}
