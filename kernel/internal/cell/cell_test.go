package cell

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/printer"
	"go/token"
	"strings"
	"testing"
)

// parse returns the nodes of a cell as the interpreter's parser gives them:
// imports, declarations and statements in one list, expressions bare.
func parse(t testing.TB, imports, body string) []ast.Node {
	t.Helper()
	fset := token.NewFileSet()
	file, err := parser.ParseFile(fset, "cell", "package p\n"+imports+"\nfunc _() {\n"+body+"\n}", 0)
	if err != nil {
		t.Fatal(err)
	}
	var nodes []ast.Node
	for _, d := range file.Decls {
		f, ok := d.(*ast.FuncDecl)
		if !ok {
			nodes = append(nodes, d)
			continue
		}
		for _, s := range f.Body.List {
			switch s := s.(type) {
			case *ast.ExprStmt:
				nodes = append(nodes, s.X)
			case *ast.DeclStmt:
				nodes = append(nodes, s.Decl)
			default:
				nodes = append(nodes, s)
			}
		}
	}
	return nodes
}

// text prints nodes with short names for the engine's functions.
func text(t testing.TB, nodes []ast.Node) string {
	t.Helper()
	var lines []string
	for _, n := range nodes {
		var b bytes.Buffer
		if err := printer.Fprint(&b, token.NewFileSet(), n); err != nil {
			t.Fatal(err)
		}
		s := strings.NewReplacer(Guard, "GUARD", Note, "NOTE", Step, "STEP").Replace(b.String())
		lines = append(lines, strings.Join(strings.Fields(s), " "))
	}
	return strings.Join(lines, "; ")
}

func TestWhatIsPutBetweenStatements(t *testing.T) {
	for _, tc := range []struct{ body, want string }{
		{"a := 1\na", "STEP(0); a := 1; STEP(1); a"},
		{"var v = 1\nv", "var v = 1; STEP(1); v"},
		{"x, err := f()", "STEP(0); x, err := f(); NOTE(x); NOTE(err)"},
		{"x, err := f()\ng(x, err)", "STEP(0); x, err := f(); STEP(1); g(x, err)"},
		{"_, err := f()\n_, err = f()\ng(err)", "STEP(0); _, err := f(); NOTE(err); STEP(1); _, err = f(); STEP(2); g(err)"},
		{"err := f()\nerr = g(err)\nh(err)", "STEP(0); err := f(); STEP(1); err = g(err); STEP(2); h(err)"},
		{"err := f()\nfunc() { use(err) }()", "STEP(0); err := f(); STEP(1); func() { use(err) }()"},
		{"err := f()\nx.err = 1", "STEP(0); err := f(); NOTE(err); STEP(1); x.err = 1"},
		{"var err = f()", "var err = f(); NOTE(err)"},
		{"var err = errors.New(m)", "var err = errors.New(m)"},
		{"err := other", "STEP(0); err := other"},
		{"go f(1)", "STEP(0); go GUARD(f)(1)"},
		{"go func(i int) {}(1)", "STEP(0); go GUARD(func(i int) { })(1)"},
		{"go close(c)", "STEP(0); go GUARD(func() { close(c) })()"},
		{"for { go x.f(1) }", "STEP(0); for { go GUARD(x.f)(1) }"},
		{"go func() { go g() }()", "STEP(0); go GUARD(func() { go GUARD(g)() })()"},
	} {
		c := New(tc.body, parse(t, "", tc.body), nil)
		if got := text(t, c.Body); got != tc.want {
			t.Errorf("%s\nbecomes %s\nwant    %s", tc.body, got, tc.want)
		}
	}
}

func TestSilent(t *testing.T) {
	for body, want := range map[string]bool{
		"a": false, "a;": true, "a; ": true, "fmt.Println(1)": true, "fmt.Fprintf(w, \"\")": true,
		"fmt.Sprint(1)": false, "x.Println(1)": false, "fmt.Println": false, "": false,
	} {
		if c := New(body, parse(t, "", body), nil); c.Silent != want {
			t.Errorf("%q is silent: %v", body, c.Silent)
		}
	}
}

func TestNamesAndImports(t *testing.T) {
	c := New("", parse(t, "import (\n\"fmt\"\nm \"math\"\n)\nimport . \"sort\"",
		"a, _ := 1, 2\nb = 3\nvar c, d int\nconst e = 1\ntype f int\nif g := 1; g > 0 { h := 1; _ = h }"), nil)
	var names []string
	for _, id := range c.Declared() {
		names = append(names, id.Name)
	}
	if got := strings.Join(names, " "); got != "a c d e f" {
		t.Errorf("declares %s", got)
	}
	var imports []string
	for _, im := range c.ImportList() {
		imports = append(imports, im.Name+" "+im.Path)
	}
	if got := strings.Join(imports, ","); got != " fmt,m math,. sort" {
		t.Errorf("imports %s", got)
	}
}

// Whatever parses can be prepared, and no node is lost. An assignment to blank
// identifiers may become several.
func FuzzNew(f *testing.F) {
	for _, seed := range []string{"a, err := f()", "go func() {}()", "var err = g()\nfor { go close(c) }", "x.y, err = f()"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, body string) {
		file, err := parser.ParseFile(token.NewFileSet(), "cell", "package p\nfunc _() {\n"+body+"\n}", 0)
		if err != nil {
			return
		}
		var nodes []ast.Node
		for _, d := range file.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok && fn.Body != nil {
				for _, s := range fn.Body.List {
					nodes = append(nodes, s)
				}
			}
			nodes = append(nodes, d)
		}
		c := New(body, nodes, nil)
		if len(c.Body) < len(c.Nodes) || len(c.Nodes)+len(c.Imports) < len(nodes) {
			t.Errorf("%d nodes become %d and %d imports", len(nodes), len(c.Nodes), len(c.Imports))
		}
	})
}
