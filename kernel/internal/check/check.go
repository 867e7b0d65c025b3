// Package check holds the cells of a notebook against Go's own type checker.
//
// The interpreter accepts some code that Go refuses, and gives it a meaning of
// its own: "a" + 1 is "aa" to it. It also knows types only while it compiles,
// too late to rewrite what it cannot do. A [Checker] knows the types of all
// that a notebook has declared and imported, so it finds both.
//
// It knows less than the interpreter about types that cells have changed, and
// about generic ones. So it refuses only what is wrong whatever those are.
package check

import (
	"errors"
	"go/ast"
	"go/constant"
	"go/parser"
	"go/token"
	"go/types"
	"maps"
	"regexp"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/kernel/internal/cell"
)

// A Checker checks the cells of a notebook one after the other.
type Checker struct {
	files    *token.FileSet
	packages *packages
	names    map[string]types.Object // what the cells so far have declared
	imports  map[string]importOf     // by name; a dot import by its path
	boxed    map[*types.Var]bool     // fields that lead back to their own struct
}

type importOf struct{ name, path string }

// New returns a Checker for a notebook without cells, whose cells will be
// parsed into a set of files.
func New(files *token.FileSet) *Checker {
	return &Checker{files: files, packages: newPackages(), names: map[string]types.Object{}, imports: map[string]importOf{}, boxed: map[*types.Var]bool{}}
}

// A Problem is what is wrong at a place.
type Problem struct {
	Pos     token.Pos
	Message string
}

// A Cell is what is known about a cell.
type Cell struct {
	// Problems are what the interpreter would get wrong.
	Problems []Problem
	// Errors are all that Go refuses. Some may come from what the checker
	// does not know; where the interpreter refuses the line, too, they say
	// it better.
	Errors []Problem

	types map[ast.Expr]types.TypeAndValue
	defs  map[*ast.Ident]types.Object

	selections map[*ast.SelectorExpr]*types.Selection
	instances  map[*ast.Ident]types.Instance
	checker    *Checker
	names      map[string]types.Object
	imports    map[string]importOf
	methods    map[*ast.Ident]*method // by the name of the function that stands for it

	mentioned map[string]bool   // identifiers
	factors   map[string]bool   // those that the cell multiplies or divides by
	source    map[string]string // what was written of generic declarations, by their names
}

// A method is one of a type that an earlier cell has declared. It is checked
// as a function whose first parameter is the receiver.
type method struct {
	name      string
	signature *types.Signature
}

// Cell checks the nodes of a cell as they were parsed. They are not changed,
// and nothing is remembered before [Cell.Keep]. Source holds what was written
// of generic declarations, as in [cell.Source].
func (c *Checker) Cell(nodes []ast.Node, source map[string]string) *Cell {
	cell := &Cell{checker: c, source: source, types: map[ast.Expr]types.TypeAndValue{}, defs: map[*ast.Ident]types.Object{}, imports: maps.Clone(c.imports), names: map[string]types.Object{},
		methods: map[*ast.Ident]*method{}, mentioned: map[string]bool{}, factors: map[string]bool{}, selections: map[*ast.SelectorExpr]*types.Selection{}, instances: map[*ast.Ident]types.Instance{}}
	for _, n := range nodes {
		cell.mention(n)
	}
	asWritten := cell.asInGo(nodes)
	file, declared := cell.file(nodes)
	pkg := types.NewPackage("main", "main")
	for name := range cell.mentioned {
		if declared[name] {
			continue
		}
		if obj := c.names[name]; obj != nil {
			pkg.Scope().Insert(obj)
		} else if obj := cell.dotImported(name); obj != nil {
			pkg.Scope().Insert(obj)
		}
	}
	config := types.Config{
		Importer:                 c.packages,
		DisableUnusedImportCheck: true,
		Error: func(err error) {
			var e types.Error
			if !errors.As(err, &e) || e.Soft && e.Msg != "missing return" && !(strings.HasPrefix(e.Msg, "label ") && !jumps(nodes)) {
				return
			}
			p := Problem{e.Pos, strings.Join(strings.Fields(strings.TrimPrefix(e.Msg, "invalid operation: ")), " ")}
			if cell.inGeneric(nodes, e.Pos) {
				return
			}
			if !unsure(e.Msg) {
				cell.Errors = append(cell.Errors, p)
			}
			if wrong(e.Msg) {
				cell.Problems = append(cell.Problems, p)
			}
		},
	}
	checker := types.NewChecker(&config, c.files, pkg, &types.Info{Types: cell.types, Defs: cell.defs, Selections: cell.selections, Instances: cell.instances})
	func() {
		defer func() {
			if recover() != nil { // nodes that only the interpreter knows
				cell.Problems, cell.Errors = nil, nil
			}
		}()
		checker.Files([]*ast.File{file}) // its error is the first of those above
	}()
	asWritten()
	for id, m := range cell.methods {
		if f, ok := cell.defs[id].(*types.Func); ok {
			m.signature = f.Signature()
		}
	}
	for name := range declared {
		if obj := pkg.Scope().Lookup(name); obj != nil && obj.Type() != nil {
			cell.names[name] = obj
		}
	}
	cell.circles(nodes)
	for _, n := range nodes {
		if isGeneric(n) {
			continue
		}
		cell.counted(n)
		cell.bareNumbers(n)
		cell.powers(n)
		for i, e := range cell.Errors {
			if advice := cell.advice(n, e.Pos); advice != "" {
				cell.Errors[i].Message += "; " + advice
			}
		}
		if f, ok := n.(*ast.FuncDecl); !ok {
			cell.deferred(n)
		} else if f.Recv == nil && f.Name.Name == "init" {
			cell.Problems = append(cell.Problems, Problem{f.Name.Pos(), "nothing calls init in a notebook; write its lines into the cell, or give the function another name and call it"})
		}
		cell.inLoops(n)
		cell.boxes(n)
		cell.compares(n)
	}
	return cell
}

// jumps reports whether there is a goto, perhaps to a label of another statement.
func jumps(nodes []ast.Node) bool {
	found := false
	for _, n := range nodes {
		cell.Inspect(n, func(n ast.Node) bool {
			b, ok := n.(*ast.BranchStmt)
			found = found || ok && b.Tok == token.GOTO
			return !found
		})
	}
	return found
}

// inGeneric reports whether a place is in a generic function, about which the
// interpreter has its own opinion, or in no node.
func (c *Cell) inGeneric(nodes []ast.Node, at token.Pos) bool {
	for _, n := range nodes {
		if f, ok := n.(*ast.FuncDecl); ok && isGeneric(n) {
			if f.Type.Pos() <= at && at < f.Body.End() {
				return true
			}
		} else if n.Pos() <= at && at < n.End() {
			return false
		}
	}
	return true
}

// counted forgets the values of what is made with iota: lines of constants that
// repeat an expression share it, and each has a value of its own.
func (c *Cell) counted(n ast.Node) {
	ast.Inspect(n, func(n ast.Node) bool {
		d, ok := n.(*ast.GenDecl)
		if !ok || d.Tok != token.CONST {
			return true
		}
		ast.Inspect(d, func(n ast.Node) bool {
			if x, ok := n.(ast.Expr); ok && usesIota(x) {
				c.types[x] = types.TypeAndValue{Type: c.types[x].Type}
			}
			return true
		})
		return false
	})
}

func usesIota(x ast.Expr) bool {
	found := false
	ast.Inspect(x, func(n ast.Node) bool {
		id, ok := n.(*ast.Ident)
		found = found || ok && id.Name == "iota"
		return !found
	})
	return found
}

// deferred finds the defer statements that are in no function. The interpreter
// would run them at the end of their statement.
func (c *Cell) deferred(n ast.Node) {
	ast.Inspect(n, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.FuncLit:
			return false
		case *ast.DeferStmt:
			c.Problems = append(c.Problems, Problem{n.Pos(), "defer is for functions; at the top level of a cell call it where it is due, or put the lines into func() { ... }()"})
		}
		return true
	})
}

// inLoops finds what belongs to the function around a loop over a function and
// would belong to the loop's body, which becomes a function of its own.
func (c *Cell) inLoops(n ast.Node) {
	ast.Inspect(n, func(n ast.Node) bool {
		r, ok := n.(*ast.RangeStmt)
		if !ok || cell.Yield(c.Type(r.X)) == nil {
			return true
		}
		ast.Inspect(r.Body, func(n ast.Node) bool {
			word := ""
			switch n := n.(type) {
			case *ast.FuncLit:
				return false
			case *ast.DeferStmt:
				word = "defer"
			case *ast.CallExpr:
				if id, ok := n.Fun.(*ast.Ident); ok && id.Name == "recover" && c.types[n.Fun].IsBuiltin() {
					word = "recover"
				}
			}
			if word != "" {
				c.Problems = append(c.Problems, Problem{n.Pos(), "the interpreter has no " + word + " in the body of a loop over a function; " +
					"put the values into a slice in that loop, and range over the slice"})
			}
			return true
		})
		return true
	})
}

// Keep remembers what a cell has declared and imported, for later cells.
func (c *Cell) Keep() {
	for name, obj := range c.names {
		if old, ok := c.checker.names[name].(*types.TypeName); ok {
			c.checker.forget(old)
		}
		c.checker.names[name] = obj
	}
	c.checker.imports = c.imports
	for _, m := range c.methods {
		if m.signature == nil || m.signature.Params().Len() == 0 {
			continue
		}
		receiver := m.signature.Params().At(0)
		base := receiver.Type()
		if p, ok := base.(*types.Pointer); ok {
			base = p.Elem()
		}
		if n, ok := base.(*types.Named); ok && inMain(n) && n.TypeArgs() == nil {
			var others []*types.Var
			for i := 1; i < m.signature.Params().Len(); i++ {
				others = append(others, m.signature.Params().At(i))
			}
			sig := types.NewSignatureType(receiver, nil, nil, types.NewTuple(others...), m.signature.Results(), m.signature.Variadic())
			old, _, _ := types.LookupFieldOrMethod(n, true, n.Obj().Pkg(), m.name)
			if old, ok := old.(*types.Func); ok && !types.Identical(old.Type(), sig) {
				// A method with other parameters or results: nothing takes
				// the old one away, so the type is forgotten.
				c.checker.forget(n.Obj())
				delete(c.checker.names, n.Obj().Name())
				continue
			}
			n.AddMethod(types.NewFunc(token.NoPos, n.Obj().Pkg(), m.name, sig))
		}
	}
}

// Variables lists the variables that the cells have declared, such as "var x
// float64", in the order of their names.
func (c *Checker) Variables() (list []string) {
	for _, name := range slices.Sorted(maps.Keys(c.names)) {
		if v, ok := c.names[name].(*types.Var); ok {
			list = append(list, "var "+name+" "+types.TypeString(v.Type(), func(p *types.Package) string { return strings.TrimPrefix(p.Name(), "main") }))
		}
	}
	return list
}

// forget takes away the names whose types depend on a type that is declared
// anew: the interpreter takes the old type and the new one for the same.
func (c *Checker) forget(old *types.TypeName) {
	for name, obj := range c.names {
		if obj != old && mentions(obj.Type(), old, map[*types.Named]bool{}) {
			delete(c.names, name)
		}
	}
}

// mentions reports whether a type is made of another.
func mentions(t types.Type, name *types.TypeName, seen map[*types.Named]bool) bool {
	switch t := t.(type) {
	case *types.Named:
		if t.Obj() == name {
			return true
		}
		if !inMain(t) || seen[t] {
			return false
		}
		seen[t] = true
		return mentions(t.Underlying(), name, seen)
	case *types.Map:
		return mentions(t.Key(), name, seen) || mentions(t.Elem(), name, seen)
	case interface{ Elem() types.Type }: // array, slice, pointer, channel
		return mentions(t.Elem(), name, seen)
	case *types.Struct:
		for i := range t.NumFields() {
			if mentions(t.Field(i).Type(), name, seen) {
				return true
			}
		}
	case *types.Signature:
		return mentionedIn(t.Params(), name, seen) || mentionedIn(t.Results(), name, seen)
	case *types.Interface:
		for i := range t.NumMethods() {
			if mentions(t.Method(i).Type(), name, seen) {
				return true
			}
		}
	}
	return false
}

func mentionedIn(t *types.Tuple, name *types.TypeName, seen map[*types.Named]bool) bool {
	for i := range t.Len() {
		if mentions(t.At(i).Type(), name, seen) {
			return true
		}
	}
	return false
}

// Type returns the type of an expression of the cell, or nil.
func (c *Cell) Type(x ast.Expr) types.Type {
	if tv, ok := c.types[x]; ok && tv.Type != types.Typ[types.Invalid] {
		return tv.Type
	}
	return nil
}

// Constant returns the value of a constant of the cell, or nil.
func (c *Cell) Constant(x ast.Expr) constant.Value { return c.types[x].Value }

// inMain reports whether a cell has declared a type.
func inMain(n *types.Named) bool { return n.Obj().Pkg() != nil && n.Obj().Pkg().Path() == "main" }

// Bound tells of a method value x.M whether it binds a value, a pointer among
// them, and not the address of one. The names of the fields that are embedded
// lead from x to what has the method; deref says that this is a pointer, and
// that the value is what it points to.
func (c *Cell) Bound(x *ast.SelectorExpr) (path []string, deref, ok bool) {
	s := c.selections[x]
	if s == nil || s.Kind() != types.MethodVal {
		return nil, false, false
	}
	if types.IsInterface(s.Recv()) {
		return nil, false, true
	}
	at := s.Recv()
	index := s.Index()
	for _, i := range index[:len(index)-1] {
		if p, ok := at.Underlying().(*types.Pointer); ok {
			at = p.Elem()
		}
		f := at.Underlying().(*types.Struct).Field(i)
		path, at = append(path, f.Name()), f.Type()
	}
	if types.IsInterface(at) {
		return path, false, true
	}
	_, pointer := at.Underlying().(*types.Pointer)
	_, toPointer := s.Obj().(*types.Func).Signature().Recv().Type().(*types.Pointer)
	return path, pointer && !toPointer, pointer || !toPointer
}

// TypeArgs returns the type arguments of the use of a generic function or type.
func (c *Cell) TypeArgs(id *ast.Ident) *types.TypeList { return c.instances[id].TypeArgs }

// Package returns the path of the linked package that a function which is
// called belongs to, or "".
func (c *Cell) Package(fun ast.Expr) string {
	switch fun := ast.Unparen(fun).(type) {
	case *ast.Ident:
		if obj := c.dotImported(fun.Name); obj != nil {
			return obj.Pkg().Path()
		}
	case *ast.SelectorExpr:
		if s := c.selections[fun]; s != nil {
			if p := s.Obj().Pkg(); p != nil && s.Kind() == types.MethodVal && p.Path() != "main" {
				return p.Path()
			}
		} else if id, ok := fun.X.(*ast.Ident); ok {
			return c.imports[id.Name].path
		}
	}
	return ""
}

// TypeExpr returns an expression that names a type in the cell, or nil if the
// cell cannot name it.
func (c *Cell) TypeExpr(t types.Type) ast.Expr {
	known := true
	text := types.TypeString(t, func(p *types.Package) string {
		if p.Path() == "main" {
			return ""
		}
		for key, im := range c.imports {
			if im.path == p.Path() {
				return strings.TrimSuffix(key, ". "+im.path)
			}
		}
		known = false
		return ""
	})
	x, err := parser.ParseExpr(text)
	if err != nil || !known {
		return nil
	}
	return asInInterpreter(x)
}

// file makes a file of the nodes: statements go into functions, and what they
// declare at the top level of the cell is declared at that of the file.
func (c *Cell) file(nodes []ast.Node) (file *ast.File, declared map[string]bool) {
	file = &ast.File{Name: ast.NewIdent("main")}
	declared = map[string]bool{}
	var decls []ast.Decl
	var functions []*ast.FuncDecl
	declare := func(names []*ast.Ident) {
		for _, id := range names {
			declared[id.Name] = true
		}
	}
	statement := func(s ast.Stmt) {
		decls = append(decls, &ast.FuncDecl{
			Name: &ast.Ident{NamePos: s.Pos(), Name: "_"},
			Type: &ast.FuncType{Func: s.Pos(), Params: &ast.FieldList{}},
			Body: &ast.BlockStmt{Lbrace: s.Pos(), List: []ast.Stmt{s}, Rbrace: s.End()},
		})
	}
	var add func(n ast.Node)
	add = func(n ast.Node) {
		switch n := n.(type) {
		case *ast.GenDecl:
			if n.Tok == token.IMPORT {
				c.addImports(n)
				return
			}
			for _, s := range n.Specs {
				switch s := s.(type) {
				case *ast.ValueSpec:
					declare(s.Names)
				case *ast.TypeSpec:
					declare([]*ast.Ident{s.Name})
				}
			}
			decls = append(decls, n)
		case *ast.FuncDecl:
			if isGeneric(n) {
				if n = c.function(n); n == nil {
					return
				}
			}
			if n.Recv == nil {
				declare([]*ast.Ident{n.Name})
			}
			functions = append(functions, n)
		case *ast.DeclStmt:
			add(n.Decl)
		case *ast.ExprStmt:
			add(n.X)
		case ast.Expr:
			switch n.(type) {
			case *ast.CallExpr:
				statement(&ast.ExprStmt{X: n})
			default:
				statement(&ast.AssignStmt{Lhs: []ast.Expr{&ast.Ident{NamePos: n.Pos(), Name: "_"}}, TokPos: n.Pos(), Tok: token.ASSIGN, Rhs: []ast.Expr{n}})
			}
		case *ast.AssignStmt:
			if n.Tok != token.DEFINE {
				statement(n)
				return
			}
			spec := &ast.ValueSpec{Values: n.Rhs}
			for _, x := range n.Lhs {
				id, ok := x.(*ast.Ident)
				if !ok {
					return
				}
				if declared[id.Name] { // a second time in this cell
					id = &ast.Ident{NamePos: id.NamePos, Name: "_"}
				} else if id.Name != "_" {
					declared[id.Name] = true
				}
				spec.Names = append(spec.Names, id)
			}
			decls = append(decls, &ast.GenDecl{TokPos: n.Pos(), Tok: token.VAR, Specs: []ast.Spec{spec}})
		case ast.Stmt:
			statement(n)
		}
	}
	for _, n := range nodes {
		add(n)
	}
	for _, f := range functions {
		if f.Recv != nil && len(f.Recv.List) == 1 && !declared[baseName(f.Recv.List[0].Type)] {
			id := &ast.Ident{NamePos: f.Name.NamePos, Name: "_"}
			c.methods[id] = &method{name: f.Name.Name}
			params := &ast.FieldList{List: f.Recv.List}
			if f.Type.Params != nil {
				params.List = append(params.List[:1:1], f.Type.Params.List...)
			}
			for i, p := range params.List {
				if len(p.Names) == 0 { // all have names, or none
					params.List[i] = &ast.Field{Names: []*ast.Ident{{NamePos: p.Pos(), Name: "_"}}, Type: p.Type}
				}
			}
			f = &ast.FuncDecl{Name: id, Type: &ast.FuncType{Func: f.Type.Func, Params: params, Results: f.Type.Results}, Body: f.Body}
		}
		decls = append(decls, f)
	}
	file.Decls = append(c.importDecls(declared), decls...)
	return file, declared
}

// baseName returns the name of the type of a receiver.
func baseName(x ast.Expr) string {
	switch x := x.(type) {
	case *ast.StarExpr:
		return baseName(x.X)
	case *ast.ParenExpr:
		return baseName(x.X)
	case *ast.Ident:
		return x.Name
	}
	return ""
}

func (c *Cell) addImports(d *ast.GenDecl) {
	for _, s := range d.Specs {
		spec, ok := s.(*ast.ImportSpec)
		if !ok {
			continue
		}
		im := importOf{path: strings.Trim(spec.Path.Value, "\"`")}
		pkg, err := c.checker.packages.Import(im.path)
		if err != nil {
			continue
		}
		key := pkg.Name()
		if spec.Name != nil {
			im.name = spec.Name.Name
			key = im.name
		}
		if key == "." {
			key = ". " + im.path
		}
		c.imports[key] = im
	}
}

// mention notes the identifiers of a node.
func (c *Cell) mention(n ast.Node) {
	cell.Inspect(n, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.Ident:
			c.mentioned[n.Name] = true
		case *ast.BinaryExpr:
			for _, x := range []ast.Expr{n.X, n.Y} {
				if id, ok := x.(*ast.Ident); ok && (n.Op == token.MUL || n.Op == token.QUO) {
					c.factors[id.Name] = true
				}
			}
		}
		return true
	})
}

// dotImported returns what a dot import makes of a name, or nil.
func (c *Cell) dotImported(name string) types.Object {
	if !token.IsExported(name) {
		return nil
	}
	for _, im := range c.imports {
		if im.name != "." {
			continue
		}
		if pkg, err := c.checker.packages.Import(im.path); err == nil {
			if obj := pkg.Scope().Lookup(name); obj != nil {
				return obj
			}
		}
	}
	return nil
}

// importDecls returns a declaration of the imports that the cell mentions and
// its own names do not hide.
func (c *Cell) importDecls(declared map[string]bool) []ast.Decl {
	d := &ast.GenDecl{Tok: token.IMPORT, Lparen: 1}
	for key, im := range c.imports {
		if declared[key] || !c.mentioned[key] {
			continue
		}
		spec := &ast.ImportSpec{Path: &ast.BasicLit{Kind: token.STRING, Value: "\"" + im.path + "\""}}
		if im.name != "" {
			spec.Name = ast.NewIdent(im.name)
		}
		d.Specs = append(d.Specs, spec)
	}
	if len(d.Specs) == 0 {
		return nil
	}
	return []ast.Decl{d}
}

// wrongs are errors that do not depend on what the checker may not know.
var wrongs = regexp.MustCompile(`^label \w+ declared and not used$|^cannot use .*\(untyped \w+ constant|\(mismatched types (untyped|.* and untyped)| overflows |^missing return$|(\+\+|--) \(non-numeric type |\(truncated\)| must not be negative$`)

func wrong(message string) bool { return wrongs.MatchString(message) }

// unsure reports whether an error may come of what the checker does not know: a
// name, type arguments as the interpreter's parser has them, or that all cells
// are one package.
func unsure(message string) bool {
	return strings.HasPrefix(message, "undefined: ") || strings.HasPrefix(message, "implicit assignment to unexported field ") || message == "missing type in composite literal"
}
