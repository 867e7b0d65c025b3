package main

import (
	"bytes"
	"cmp"
	"fmt"
	"go/ast"
	"go/constant"
	"go/format"
	"go/token"
	"go/types"
	"slices"
	"strings"

	"golang.org/x/tools/go/packages"

	"github.com/evenbed/evenbed/kernel/symbols/internal/docs"
)

// An index finds the source of an object by the position of its name.
type index struct {
	fset     *token.FileSet
	packages map[string]*packages.Package
	read     map[string]bool
	entries  map[token.Pos]entry
}

// An entry is where a name is declared: one of the nodes is set.
type entry struct {
	function *ast.FuncDecl
	spec     *ast.TypeSpec
	text     string // the comment that belongs to the name
}

func newIndex(all []*packages.Package) *index {
	x := &index{all[0].Fset, map[string]*packages.Package{}, map[string]bool{}, map[token.Pos]entry{}}
	for _, p := range all {
		x.packages[p.PkgPath] = p
	}
	return x
}

// find returns the object's entry, which is empty for what has no source.
func (x *index) find(o types.Object) entry {
	if o.Pkg() == nil {
		return entry{}
	}
	path := o.Pkg().Path()
	if p := x.packages[path]; p != nil && !x.read[path] {
		x.read[path] = true
		for _, f := range p.Syntax {
			x.file(f)
		}
	}
	return x.entries[o.Pos()]
}

func (x *index) file(f *ast.File) {
	for _, d := range f.Decls {
		switch d := d.(type) {
		case *ast.FuncDecl:
			x.entries[d.Name.Pos()] = entry{function: d, text: d.Doc.Text()}
		case *ast.GenDecl:
			for _, s := range d.Specs {
				switch s := s.(type) {
				case *ast.TypeSpec:
					x.entries[s.Name.Pos()] = entry{spec: s, text: cmp.Or(s.Doc.Text(), s.Comment.Text(), d.Doc.Text())}
				case *ast.ValueSpec:
					for _, name := range s.Names {
						x.entries[name.Pos()] = entry{text: cmp.Or(s.Doc.Text(), s.Comment.Text(), d.Doc.Text())}
					}
				}
			}
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		field, ok := n.(*ast.Field)
		if !ok {
			return true
		}
		text := cmp.Or(field.Doc.Text(), field.Comment.Text())
		for _, name := range field.Names {
			x.entries[name.Pos()] = entry{text: text}
		}
		if len(field.Names) == 0 {
			x.entries[embeddedPos(field.Type)] = entry{text: text}
		}
		return true
	})
}

// embeddedPos returns where the name of an embedded field stands.
func embeddedPos(e ast.Expr) token.Pos {
	switch e := e.(type) {
	case *ast.StarExpr:
		return embeddedPos(e.X)
	case *ast.SelectorExpr:
		return e.Sel.Pos()
	case *ast.IndexExpr:
		return embeddedPos(e.X)
	}
	return e.Pos()
}

// describe returns what a package exports, as far as its table has it.
func (x *index) describe(p *packages.Package) docs.Package {
	d := docs.Package{Path: p.PkgPath, Name: p.Name, Text: packageComment(p)}
	for _, o := range exported(p.Types) {
		if leftOut(p.PkgPath, o) == "" {
			d.Symbols = append(d.Symbols, x.symbol(o))
		}
	}
	return d
}

func packageComment(p *packages.Package) string {
	files := slices.Clone(p.Syntax)
	slices.SortFunc(files, func(a, b *ast.File) int {
		return strings.Compare(p.Fset.Position(a.Pos()).Filename, p.Fset.Position(b.Pos()).Filename)
	})
	var texts []string
	for _, f := range files {
		if text := f.Doc.Text(); text != "" {
			texts = append(texts, text)
		}
	}
	return strings.Join(texts, "\n")
}

// leftOut tells why the interpreter cannot use the object, "" if it can.
func leftOut(path string, o types.Object) string {
	if why := left[path][o.Name()]; why != "" {
		return why
	}
	switch o := o.(type) {
	case *types.Func:
		if o.Signature().TypeParams().Len() > 0 {
			return "generic"
		}
	case *types.TypeName:
		switch t := o.Type().(type) {
		case *types.Named:
			if t.TypeParams().Len() > 0 {
				return "generic"
			}
		case *types.Alias:
			if t.TypeParams().Len() > 0 {
				return "generic"
			}
		}
		if face, ok := o.Type().Underlying().(*types.Interface); ok && !face.IsMethodSet() {
			return "generic"
		}
	}
	return ""
}

func (x *index) symbol(o types.Object) docs.Symbol {
	e := x.find(o)
	d := docs.Symbol{Name: o.Name(), Text: e.text}
	short := qualifier(o.Pkg())
	switch o := o.(type) {
	case *types.Const:
		d.Kind, d.Signature = "constant", constSignature(o, short)
	case *types.Var:
		d.Kind, d.Signature = "variable", "var "+o.Name()+" "+types.TypeString(o.Type(), short)
	case *types.Func:
		d.Kind, d.Signature = "function", x.functionSignature(o)
		if note := overrides[o.Pkg().Path()][o.Name()].note; note != "" {
			d.Text = strings.TrimSpace(d.Text+"\n"+note) + "\n"
		}
	case *types.TypeName:
		d.Kind, d.Signature = "type", x.typeSignature(o, e.spec)
		d.Members = x.members(o)
	}
	return d
}

// qualifier leaves out the package a name is shown in and shortens others.
func qualifier(home *types.Package) types.Qualifier {
	return func(p *types.Package) string {
		if p == home {
			return ""
		}
		return p.Name()
	}
}

// constSignature shows the value too; text longer than a line is cut by go/constant.
func constSignature(o *types.Const, short types.Qualifier) string {
	value := o.Val().String()
	if f := constant.ToFloat(o.Val()); o.Val().Kind() == constant.Float && f.Kind() == constant.Float {
		v, _ := constant.Float64Val(f)
		value = fmt.Sprintf("%.10g", v)
	}
	if b, ok := o.Type().(*types.Basic); ok && b.Info()&types.IsUntyped != 0 {
		if b.Kind() == types.UntypedRune {
			if v, exact := constant.Int64Val(o.Val()); exact {
				value = fmt.Sprintf("%q", rune(v))
			}
		}
		return fmt.Sprintf("const %s = %s", o.Name(), value)
	}
	return fmt.Sprintf("const %s %s = %s", o.Name(), types.TypeString(o.Type(), short), value)
}

// functionSignature prints a function or method as it was declared, without its body.
func (x *index) functionSignature(o *types.Func) string {
	if f := x.find(o).function; f != nil {
		head := *f
		head.Doc, head.Body = nil, nil
		return x.print(&head)
	}
	return types.ObjectString(o, qualifier(o.Pkg()))
}

// typeSignature prints a type as it was declared, with its exported fields and methods alone.
func (x *index) typeSignature(o *types.TypeName, spec *ast.TypeSpec) string {
	if spec == nil {
		return types.ObjectString(o, qualifier(o.Pkg()))
	}
	head := *spec
	head.Doc, head.Comment = nil, nil
	switch t := spec.Type.(type) {
	case *ast.StructType:
		visible := *t
		visible.Fields, visible.Incomplete = exportedFields(t.Fields)
		head.Type = &visible
	case *ast.InterfaceType:
		visible := *t
		visible.Methods, visible.Incomplete = exportedFields(t.Methods)
		head.Type = &visible
	}
	return x.print(&ast.GenDecl{Tok: token.TYPE, Specs: []ast.Spec{&head}})
}

// exportedFields copies a list without what is not exported.
func exportedFields(list *ast.FieldList) (visible *ast.FieldList, cut bool) {
	visible = &ast.FieldList{Opening: list.Opening, Closing: list.Closing}
	for _, f := range list.List {
		if len(f.Names) == 0 {
			name := embeddedName(f.Type)
			if name == "" || token.IsExported(name) || types.Universe.Lookup(name) != nil {
				visible.List = append(visible.List, f)
			} else {
				cut = true
			}
			continue
		}
		field := *f
		field.Names = slices.DeleteFunc(slices.Clone(f.Names), func(n *ast.Ident) bool { return !n.IsExported() })
		cut = cut || len(field.Names) < len(f.Names)
		if len(field.Names) > 0 {
			visible.List = append(visible.List, &field)
		}
	}
	return visible, cut
}

// embeddedName returns the field name of an embedded type, "" for a constraint.
func embeddedName(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.Ident:
		return e.Name
	case *ast.StarExpr:
		return embeddedName(e.X)
	case *ast.SelectorExpr:
		return e.Sel.Name
	case *ast.IndexExpr:
		return embeddedName(e.X)
	}
	return ""
}

// print formats a declaration.
func (x *index) print(n any) string {
	var out bytes.Buffer
	if err := format.Node(&out, x.fset, n); err != nil {
		panic("gen: " + err.Error()) // only for a node that is none of go/printer's
	}
	return out.String()
}

// members returns a type's exported fields, in the order of the declaration
// and then those of embedded fields, and its methods by name.
func (x *index) members(o *types.TypeName) []docs.Symbol {
	fields := slices.DeleteFunc(x.fields(o.Type()), func(f docs.Symbol) bool {
		selected, _, _ := types.LookupFieldOrMethod(o.Type(), true, o.Pkg(), f.Name)
		_, isField := selected.(*types.Var)
		return !isField // a method hides it, or a twin
	})
	var methods []docs.Symbol
	t := types.Type(types.NewPointer(o.Type()))
	if types.IsInterface(o.Type()) {
		t = o.Type()
	}
	set := types.NewMethodSet(t)
	for s := range set.Methods() {
		m := s.Obj().(*types.Func)
		if !m.Exported() || slices.ContainsFunc(fields, func(f docs.Symbol) bool { return f.Name == m.Name() }) {
			continue
		}
		signature := x.functionSignature(m)
		if types.IsInterface(o.Type()) {
			signature = "func (" + o.Name() + ") " + m.Name() + strings.TrimPrefix(types.TypeString(m.Type(), qualifier(o.Pkg())), "func")
		}
		methods = append(methods, docs.Symbol{Name: m.Name(), Kind: "method", Signature: signature,
			Text: x.find(m).text, Promoted: len(s.Index()) > 1})
	}
	slices.SortFunc(methods, func(a, b docs.Symbol) int { return strings.Compare(a.Name, b.Name) })
	return append(fields, methods...)
}

// fields walks a struct and what it embeds, level by level: the first field of
// a name hides deeper ones.
func (x *index) fields(t types.Type) (found []docs.Symbol) {
	seen := map[string]bool{}
	visited := map[types.Type]bool{}
	level := []types.Type{t}
	for depth := 0; len(level) > 0; depth++ {
		var next []types.Type
		for _, t := range level {
			if p, ok := t.Underlying().(*types.Pointer); ok {
				t = p.Elem()
			}
			s, ok := t.Underlying().(*types.Struct)
			if !ok || visited[t] {
				continue
			}
			visited[t] = true
			for f := range s.Fields() {
				if f.Embedded() {
					next = append(next, f.Type())
				}
				if !f.Exported() || seen[f.Name()] {
					continue
				}
				seen[f.Name()] = true
				found = append(found, docs.Symbol{Name: f.Name(), Kind: "field", Promoted: depth > 0,
					Signature: f.Name() + " " + types.TypeString(f.Type(), qualifier(f.Pkg())), Text: x.find(f).text})
			}
		}
		level = next
	}
	return found
}
