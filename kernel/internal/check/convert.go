package check

import (
	"fmt"
	"go/constant"
	"go/token"
	"go/types"
	"path"
	"reflect"

	"github.com/cosmos72/gomacro/base/untyped"
	"github.com/cosmos72/gomacro/imports"
)

// packages makes packages for the type checker out of the interpreter's
// tables, which hold what reflection knows.
type packages struct {
	done  map[string]*types.Package // with all their names
	shell map[string]*types.Package // also those that only own a type
	named map[reflect.Type]*types.Named
}

func newPackages() *packages {
	return &packages{done: map[string]*types.Package{}, shell: map[string]*types.Package{}, named: map[reflect.Type]*types.Named{}}
}

// Import returns the package with a path. It makes packages a types.Importer.
func (p *packages) Import(path string) (*types.Package, error) {
	if pkg := p.done[path]; pkg != nil {
		return pkg, nil
	}
	table, ok := imports.Packages[path]
	if !ok {
		return nil, fmt.Errorf("package %q is not linked", path)
	}
	pkg := p.owner(path)
	if table.Name != "" {
		pkg.SetName(table.Name)
	}
	scope := pkg.Scope()
	for name, t := range table.Types {
		if n, ok := p.typ(t).(*types.Named); ok && n.Obj().Name() == name && n.Obj().Pkg() == pkg {
			scope.Insert(n.Obj())
		} else {
			scope.Insert(types.NewTypeName(token.NoPos, pkg, name, p.typ(t)))
		}
	}
	for name, v := range table.Binds {
		if text, ok := table.Untypeds[name]; ok {
			kind, value := untyped.Unmarshal(text)
			if t := untypedOf(kind); t != nil {
				scope.Insert(types.NewConst(token.NoPos, pkg, name, t, value))
			}
			continue
		}
		if !v.IsValid() {
			continue
		}
		t := p.typ(v.Type())
		switch value := constantOf(v); {
		case v.CanAddr():
			scope.Insert(types.NewVar(token.NoPos, pkg, name, t))
		case v.Kind() == reflect.Func:
			if sig, ok := t.(*types.Signature); ok {
				scope.Insert(types.NewFunc(token.NoPos, pkg, name, sig))
			}
		case value != nil:
			scope.Insert(types.NewConst(token.NoPos, pkg, name, t, value))
		}
	}
	pkg.MarkComplete()
	p.done[path] = pkg
	return pkg, nil
}

// owner returns the package with a path, perhaps still without names.
func (p *packages) owner(where string) *types.Package {
	pkg := p.shell[where]
	if pkg == nil {
		pkg = types.NewPackage(where, path.Base(where))
		p.shell[where] = pkg
	}
	return pkg
}

func untypedOf(kind untyped.Kind) types.Type {
	switch kind {
	case untyped.Bool:
		return types.Typ[types.UntypedBool]
	case untyped.Int:
		return types.Typ[types.UntypedInt]
	case untyped.Rune:
		return types.Typ[types.UntypedRune]
	case untyped.Float:
		return types.Typ[types.UntypedFloat]
	case untyped.Complex:
		return types.Typ[types.UntypedComplex]
	case untyped.String:
		return types.Typ[types.UntypedString]
	}
	return nil
}

func constantOf(v reflect.Value) constant.Value {
	switch {
	case v.CanInt():
		return constant.MakeInt64(v.Int())
	case v.CanUint():
		return constant.MakeUint64(v.Uint())
	case v.CanFloat():
		return constant.MakeFloat64(v.Float())
	case v.Kind() == reflect.String:
		return constant.MakeString(v.String())
	case v.Kind() == reflect.Bool:
		return constant.MakeBool(v.Bool())
	}
	return nil
}

var basic = map[reflect.Kind]types.BasicKind{
	reflect.Bool: types.Bool, reflect.String: types.String,
	reflect.Int: types.Int, reflect.Int8: types.Int8, reflect.Int16: types.Int16, reflect.Int32: types.Int32, reflect.Int64: types.Int64,
	reflect.Uint: types.Uint, reflect.Uint8: types.Uint8, reflect.Uint16: types.Uint16, reflect.Uint32: types.Uint32, reflect.Uint64: types.Uint64,
	reflect.Uintptr: types.Uintptr, reflect.Float32: types.Float32, reflect.Float64: types.Float64,
	reflect.Complex64: types.Complex64, reflect.Complex128: types.Complex128, reflect.UnsafePointer: types.UnsafePointer,
}

var errorType = reflect.TypeFor[error]()

// typ converts a type.
func (p *packages) typ(t reflect.Type) types.Type {
	if t == errorType {
		return types.Universe.Lookup("error").Type()
	}
	if t.Name() == "" {
		return p.underlying(t)
	}
	if t.PkgPath() == "" {
		return types.Typ[basic[t.Kind()]]
	}
	if n := p.named[t]; n != nil {
		return n
	}
	pkg := p.owner(t.PkgPath())
	n := types.NewNamed(types.NewTypeName(token.NoPos, pkg, t.Name(), nil), nil, nil)
	p.named[t] = n
	n.SetUnderlying(p.underlying(t))
	if t.Kind() == reflect.Interface {
		return n
	}
	pointer := reflect.PointerTo(t)
	for i := range pointer.NumMethod() {
		m := pointer.Method(i)
		in, out, variadic := p.parameters(m.Type, 1)
		var receiver types.Type = n
		if _, byValue := t.MethodByName(m.Name); !byValue {
			receiver = types.NewPointer(n)
		}
		sig := types.NewSignatureType(types.NewVar(token.NoPos, pkg, "", receiver), nil, nil, in, out, variadic)
		n.AddMethod(types.NewFunc(token.NoPos, pkg, m.Name, sig))
	}
	return n
}

// underlying converts a type without its name.
func (p *packages) underlying(t reflect.Type) types.Type {
	switch t.Kind() {
	case reflect.Array:
		return types.NewArray(p.typ(t.Elem()), int64(t.Len()))
	case reflect.Slice:
		return types.NewSlice(p.typ(t.Elem()))
	case reflect.Pointer:
		return types.NewPointer(p.typ(t.Elem()))
	case reflect.Map:
		return types.NewMap(p.typ(t.Key()), p.typ(t.Elem()))
	case reflect.Chan:
		dir := types.SendRecv
		switch t.ChanDir() {
		case reflect.SendDir:
			dir = types.SendOnly
		case reflect.RecvDir:
			dir = types.RecvOnly
		}
		return types.NewChan(dir, p.typ(t.Elem()))
	case reflect.Func:
		in, out, variadic := p.parameters(t, 0)
		return types.NewSignatureType(nil, nil, nil, in, out, variadic)
	case reflect.Struct:
		var fields []*types.Var
		var tags []string
		for i := range t.NumField() {
			f := t.Field(i)
			var pkg *types.Package
			if f.PkgPath != "" {
				pkg = p.owner(f.PkgPath)
			}
			fields = append(fields, types.NewField(token.NoPos, pkg, f.Name, p.typ(f.Type), f.Anonymous))
			tags = append(tags, string(f.Tag))
		}
		return types.NewStruct(fields, tags)
	case reflect.Interface:
		var methods []*types.Func
		for i := range t.NumMethod() {
			m := t.Method(i)
			var pkg *types.Package
			if m.PkgPath != "" {
				pkg = p.owner(m.PkgPath)
			}
			in, out, variadic := p.parameters(m.Type, 0)
			methods = append(methods, types.NewFunc(token.NoPos, pkg, m.Name, types.NewSignatureType(nil, nil, nil, in, out, variadic)))
		}
		return types.NewInterfaceType(methods, nil).Complete()
	}
	return types.Typ[basic[t.Kind()]]
}

// parameters converts parameters and results of a function, without its first
// ones.
func (p *packages) parameters(t reflect.Type, without int) (in, out *types.Tuple, variadic bool) {
	var ins, outs []*types.Var
	for i := without; i < t.NumIn(); i++ {
		ins = append(ins, types.NewParam(token.NoPos, nil, "", p.typ(t.In(i))))
	}
	for i := range t.NumOut() {
		outs = append(outs, types.NewParam(token.NoPos, nil, "", p.typ(t.Out(i))))
	}
	return types.NewTuple(ins...), types.NewTuple(outs...), t.IsVariadic()
}
