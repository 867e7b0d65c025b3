package engine

import (
	"fmt"
	"go/ast"
	"reflect"
	"strings"

	"github.com/cosmos72/gomacro/fast"

	"github.com/evenbed/evenbed/kernel/internal/complete"
)

// outOfRange says in Go's words which index was out of range in the statement at
// a place, where the interpreter stands; "" if that cannot be found out.
func (in *interp) outOfRange(env *fast.Env, p place) (words string) {
	defer in.lockTypes(false)()
	defer func() {
		if recover() != nil { // an expression that has no value there
			words = ""
		}
	}()
	lines := in.sources.lines(p.cell)
	if p.line < 1 || p.line > len(lines) || p.column < 1 || p.column > len(lines[p.line-1])+1 {
		return ""
	}
	line := 0 // where it begins
	for _, l := range lines[:p.line-1] {
		line += len(l) + 1
	}
	c := env.DebugComp
	if c == nil {
		c = in.ir.Comp
	}
	value := func(x ast.Expr) reflect.Value {
		e := c.Expr1(x, nil)
		if e.Untyped() {
			e.ConstTo(e.DefaultType())
		}
		return e.AsX1()(env).ReflectValue()
	}
	code := strings.Join(lines, "\n")
	// The place may be behind what counts: that of x[i]++ is its ++.
	for _, x := range append(complete.Indexed(code, line+p.column-1), complete.Indexed(code, line)...) {
		switch x := x.(type) {
		case *ast.IndexExpr:
			list := value(x.X)
			switch list.Kind() {
			case reflect.Pointer:
				list = list.Elem()
			case reflect.Map:
				continue
			}
			if i := integer(value(x.Index)); i < 0 {
				return fmt.Sprintf("index out of range [%d]", i)
			} else if i >= list.Len() {
				return fmt.Sprintf("index out of range [%d] with length %d", i, list.Len())
			}
		case *ast.SliceExpr:
			list := value(x.X)
			if list.Kind() == reflect.Pointer {
				list = list.Elem()
			}
			of, capacity := "length", list.Len()
			if list.Kind() == reflect.Slice {
				of, capacity = "capacity", list.Cap()
			}
			low, high := 0, list.Len()
			if x.Low != nil {
				low = integer(value(x.Low))
			}
			if x.High != nil {
				high = integer(value(x.High))
			}
			switch {
			case high < 0 || high > capacity:
				return fmt.Sprintf("slice bounds out of range [:%d] with %s %d", high, of, capacity)
			case low < 0 || low > high:
				return fmt.Sprintf("slice bounds out of range [%d:%d]", low, high)
			}
		}
	}
	return ""
}

func integer(v reflect.Value) int {
	if v.CanUint() {
		return int(v.Uint())
	}
	return int(v.Int())
}
