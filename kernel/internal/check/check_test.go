package check

import (
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"strings"
	"testing"

	_ "github.com/evenbed/evenbed/kernel/symbols"
)

// A notebook checks cells that are written as the body of a function, after
// declarations that end at a line of dashes.
type notebook struct {
	t     *testing.T
	files *token.FileSet
	c     *Checker
	nodes []ast.Node // of the last cell
}

func open(t *testing.T) *notebook {
	files := token.NewFileSet()
	return &notebook{t: t, files: files, c: New(files)}
}

func (nb *notebook) check(code string) *Cell {
	nb.t.Helper()
	decls, body, ok := strings.Cut(code, "---\n")
	if !ok {
		decls, body = "", code
	}
	file, err := parser.ParseFile(nb.files, "cell", "package p\n"+decls+"\nfunc _() {\n"+body+"\n}", 0)
	if err != nil {
		nb.t.Fatal(err)
	}
	nb.nodes = nil
	for i, d := range file.Decls {
		if i < len(file.Decls)-1 {
			nb.nodes = append(nb.nodes, d)
			continue
		}
		for _, s := range d.(*ast.FuncDecl).Body.List {
			nb.nodes = append(nb.nodes, s)
		}
	}
	return nb.c.Cell(nb.nodes, nil)
}

func TestProblems(t *testing.T) {
	nb := open(t)
	for _, code := range []string{
		"import . \"github.com/evenbed/evenbed/packing/units\"\nimport \"fmt\"\ntype T struct{ s string }\n---\nn := 3\ns := \"a\"\nfmt.Println(n)",
		"func f(x float64) string { return \"\" }\nfunc (t T) String() string { return t.s }\n---\n",
	} {
		c := nb.check(code)
		if len(c.Problems) > 0 {
			t.Errorf("%s: %v", code, c.Problems)
		}
		c.Keep()
	}
	for code, want := range map[string]string{
		"n + 1":                      "",
		"s + 1":                      "mismatched types string and untyped int",
		"f(1)":                       "",
		"f(\"a\")":                   "cannot use \"a\" (untyped string constant) as float64",
		"f(n)":                       "", // the interpreter says it itself
		"3 * Bar":                    "",
		"p := 3 * Bar\np + 1":        "1 is a Pressure without its unit; multiply it by Bar, Kilopascal,",
		"p := 3 * Bar\np > -(1 + 1)": "-(1 + 1) is a Pressure without its unit",
		"p := 3 * Bar\np == 0":       "",
		"[]Length{2 * 3 * Metre, 1}": "1 is a Length without its unit; multiply it by Centimetre, Metre, Micrometre, Millimetre or Nanometre",
		"var t Temperature = 20":     "20 is a Temperature without its unit; write Celsius(20)",
		"Metre.Times(3) / 2":         "",
		"Length(30)":                 "",
		"var part Fraction = 0.5":    "",
		"undefined(3)":               "",
		"T{}.String() + 1":           "mismatched types string and untyped int",
		"T{s: 1}":                    "cannot use 1 (untyped int constant) as string value",
		"T{}.Missing() + 1":          "",
		"for i := range n { _ = i }": "",
		"func g() int { }\n---\n":    "missing return",
		"type n struct{}\n---\nn{}":  "", // declared anew
		"fmt.Sprint(s) + 1":          "mismatched types string and untyped int",
		"var x uint8 = 256":          "overflows",
	} {
		c := nb.check(code)
		got := ""
		if len(c.Problems) > 0 {
			got = c.Problems[0].Message
		}
		if want == "" && got != "" || !strings.Contains(got, want) {
			t.Errorf("%s: %q, want %q", code, got, want)
		}
	}
}

// What Go refuses is told with what there is instead.
func TestErrors(t *testing.T) {
	nb := open(t)
	nb.check("import . \"github.com/evenbed/evenbed/packing/units\"\nimport \"github.com/evenbed/evenbed/packing\"\ntype T struct{ near, far int }\n---\nc := packing.Column{}\np := &c\nv := 3 * MetrePerSecond").Keep()
	for code, want := range map[string]string{
		"c.Volum()":                           "did you mean Volume?",
		"p.Aera":                              "did you mean Area?",
		"c.Sum(1)":                            "it has Allowance, Area, Check, CheckSlurry, Extension, Flow, InnerDiameter, MaxPressure, ResidenceTime, Tag, TubeHeight, Usable, Velocity, Volume",
		"packing.Column{MaxPresure: 3 * Bar}": "unknown field MaxPresure in struct literal of type packing.Column; did you mean MaxPressure?",
		"T{nears: 1}":                         "did you mean near?",
		"v * c.Area()":                        "(mismatched types units.Velocity and units.Area); quantities are multiplied and divided by methods: Velocity.Across(Area) gives VolumeFlow",
		"a, b := c.Area()":                    "assignment mismatch: 2 variables but c.Area returns 1 value",
	} {
		if got := nb.check(code).Errors; len(got) == 0 || !strings.HasSuffix(got[0].Message, want) {
			t.Errorf("%s: %v, want %q", code, got, want)
		}
	}
}

// A type that is declared anew takes along what was made of the old one, for
// the interpreter does not tell them apart.
func TestTypeDeclaredAnew(t *testing.T) {
	nb := open(t)
	nb.check("type T struct{ a int }\n---\nx := []T{{1}}\ny := 1").Keep()
	if c := nb.check("x[0].a + \"s\""); len(c.Problems) != 1 {
		t.Errorf("problems %v", c.Problems)
	}
	nb.check("type T struct{ a string }\n---\n").Keep()
	if c := nb.check("x[0].a + \"s\""); len(c.Problems) != 0 {
		t.Errorf("problems %v", c.Problems)
	}
	if c := nb.check("y + \"s\""); len(c.Problems) != 1 {
		t.Errorf("problems %v", c.Problems)
	}
}

func TestTypes(t *testing.T) {
	nb := open(t)
	nb.check("import (\n. \"github.com/evenbed/evenbed/packing/units\"\nm \"math/big\"\n)\ntype T struct{}\nfunc (T) Error() string { return \"\" }\n---\np := 3 * Bar").Keep()
	for code, want := range map[string]string{"p": "Pressure", "m.NewInt(3)": "*m.Int", "[]T{}": "[]T", "1.5": "float64"} {
		c := nb.check(code)
		x := c.Type(nb.nodes[0].(*ast.ExprStmt).X)
		if x == nil {
			t.Errorf("%s has no type", code)
			continue
		}
		if got := types.ExprString(c.TypeExpr(types.Default(x))); got != want {
			t.Errorf("%s has type %s, want %s", code, got, want)
		}
	}
	for code, want := range map[string]string{"m.NewInt(3)": "math/big", "m.NewInt(3).Sign()": "math/big", "Sqrt(9)": "", "T{}.Error()": "", "p.In(Bar)": "github.com/evenbed/evenbed/packing/units"} {
		c := nb.check(code)
		if got := c.Package(nb.nodes[0].(*ast.ExprStmt).X.(*ast.CallExpr).Fun); got != want {
			t.Errorf("%s calls a function of %q, want %q", code, got, want)
		}
	}
}

func BenchmarkCell(b *testing.B) {
	files := token.NewFileSet()
	c := New(files)
	parse := func(code string) []ast.Node {
		file, err := parser.ParseFile(files, "cell", "package p\n"+code, 0)
		if err != nil {
			b.Fatal(err)
		}
		var nodes []ast.Node
		for _, d := range file.Decls {
			nodes = append(nodes, d)
		}
		return nodes
	}
	c.Cell(parse("import . \"github.com/evenbed/evenbed/packing/units\"\nimport \"gonum.org/v1/plot\"\nimport \"github.com/evenbed/evenbed/packing/record\""), nil).Keep()
	one := parse("var _ = 1 + 1")
	b.ReportAllocs()
	for b.Loop() {
		c.Cell(one, nil)
	}
}
