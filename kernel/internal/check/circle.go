package check

import (
	"fmt"
	"go/ast"
	"go/types"
)

// circles finds the types that refer to themselves in ways which the
// interpreter cannot build: it takes its types from reflection, which can make
// no circle, and bends only the simplest.
func (c *Cell) circles(nodes []ast.Node) {
	for _, n := range nodes {
		switch n := n.(type) {
		case *ast.GenDecl:
			for _, s := range n.Specs {
				spec, ok := s.(*ast.TypeSpec)
				if !ok {
					continue
				}
				if _, through := c.circle(spec.Name.Name); through != "" {
					c.Problems = append(c.Problems, Problem{spec.Pos(), fmt.Sprintf(
						"the interpreter cannot let type %s refer to itself through %s; hold one of them as any, or keep indices into a slice", spec.Name.Name, through)})
				}
			}
		case *ast.FuncDecl:
			if n.Recv == nil || len(n.Recv.List) != 1 {
				continue
			}
			if name := baseName(n.Recv.List[0].Type); name != "" {
				if self, _ := c.circle(name); self {
					c.Problems = append(c.Problems, Problem{n.Name.Pos(), fmt.Sprintf(
						"the interpreter cannot give methods to %s, which refers to itself; write a function that takes a %s", name, name)})
				}
			}
		}
	}
}

// circle reports whether a type of the notebook refers to itself, and through
// what else than its own parts.
func (c *Cell) circle(name string) (self bool, through string) {
	obj := c.names[name]
	if obj == nil {
		obj = c.checker.names[name]
	}
	tn, ok := obj.(*types.TypeName)
	if !ok {
		return false, ""
	}
	target, ok := tn.Type().(*types.Named)
	if !ok {
		return false, ""
	}
	seen := map[*types.Named]bool{}
	var visit func(t types.Type, via string)
	tuple := func(t *types.Tuple, via string) {
		for i := range t.Len() {
			visit(t.At(i).Type(), via)
		}
	}
	visit = func(t types.Type, via string) {
		switch t := t.(type) {
		case *types.Named:
			if t == target {
				self = true
				if via != "" {
					through = via
				}
			} else if t.Obj().Pkg() != nil && t.Obj().Pkg().Path() == "main" && !seen[t] {
				seen[t] = true
				visit(t.Underlying(), "type "+t.Obj().Name())
			}
		case *types.Map:
			visit(t.Key(), via)
			visit(t.Elem(), via)
		case interface{ Elem() types.Type }:
			visit(t.Elem(), via)
		case *types.Struct:
			for i := range t.NumFields() {
				visit(t.Field(i).Type(), via)
			}
		case *types.Signature:
			tuple(t.Params(), "a function")
			tuple(t.Results(), "a function")
		case *types.Interface:
			for i := range t.NumExplicitMethods() {
				visit(t.ExplicitMethod(i).Type(), "a method of an interface")
			}
		}
	}
	visit(target.Underlying(), "")
	return self, through
}
