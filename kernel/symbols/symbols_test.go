package symbols_test

import (
	"errors"
	"go/build"
	"io"
	"log"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/cosmos72/gomacro/ast2"
	"github.com/cosmos72/gomacro/base"
	"github.com/cosmos72/gomacro/fast"
	"github.com/cosmos72/gomacro/imports"
	"github.com/cosmos72/gomacro/xreflect"

	"github.com/evenbed/evenbed/kernel/internal/packed"
	"github.com/evenbed/evenbed/kernel/symbols"
)

// start returns an interpreter that takes its types from reflection alone.
func start(t testing.TB) *fast.Interp {
	t.Helper()
	old := build.Default.GOROOT
	build.Default.GOROOT = "/nonexistent"
	defer func() { build.Default.GOROOT = old }()
	ir := fast.New()
	ir.Comp.Universe.Importer = &xreflect.Importer{}
	ir.Comp.Options &^= base.OptShowPrompt | base.OptTrapPanic
	return ir
}

// run evaluates cells one after another and returns the last one's values.
func run(t testing.TB, ir *fast.Interp, cells ...string) (values []any) {
	t.Helper()
	for _, cell := range cells {
		ir.Comp.Line = 0
		results, _ := ir.RunExpr(ir.CompileAst(ast2.AnyToAst(ir.Comp.ParseBytes([]byte(cell)), "cell")))
		values = nil
		for _, v := range results {
			if v.IsValid() {
				values = append(values, v.Interface())
			} else {
				values = append(values, nil)
			}
		}
	}
	return values
}

func TestCells(t *testing.T) {
	file := t.TempDir() + "/a.txt"
	if err := os.WriteFile(file, []byte("1,2\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name  string
		cells []string
		want  any // the first value of the last cell
	}{
		{"strings.Cut", []string{`import "strings"`, `strings.Cut("a=b", "=")`}, "a"},
		{"errors.Join", []string{`import "errors"`, `errors.Join(errors.New("a"), errors.New("b")).Error()`}, "a\nb"},
		{"os.ReadFile", []string{`import "os"`, `b, err := os.ReadFile("` + file + `")`, `string(b)`}, "1,2\n"},
		{"time.UnixMilli", []string{`import "time"`, `time.UnixMilli(1500).Sub(time.UnixMilli(0)).String()`}, "1.5s"},
		{"sort.Find", []string{`import "sort"`, `x := []int{1,3,5}; i, found := sort.Find(3, func(i int) int { return 3-x[i] }); i`}, 1},
		{"typed unit constant", []string{`import "github.com/evenbed/evenbed/packing/units"`,
			`float64(150 * units.CentimetrePerHour)`}, 150 * 0.01 / 3600},
		{"time constant", []string{`import "time"`, `(3 * time.Second).String()`}, "3s"},
		{"variable", []string{`import ("io"; "errors")`, `errors.Is(io.EOF, io.EOF)`}, true},
		{"method of a pointer", []string{`import "gonum.org/v1/plot"`, `p := plot.New()`, `p.Title.Text = "bed"; p.X.Min = 2; p.HideX(); p.X.Min`}, 2.0},
		{"methods are not shifted", []string{`import "strings"`, `var b strings.Builder`, `b.WriteString("abc"); b.WriteByte(100); b.Len()`}, 4},
		{"methods of a promoting struct", []string{`import ("bufio"; "strings")`,
			`rw := bufio.NewReadWriter(bufio.NewReader(strings.NewReader("bed\n")), nil)`, `line, err := rw.ReadString(10); line`}, "bed\n"},
		{"series", []string{`import ("github.com/go-gota/gota/series"; "github.com/go-gota/gota/dataframe")`,
			`df := dataframe.New(series.New([]float64{1,2,6}, series.Float, "UV"))`, `df.Nrow()`}, 3},
		{"series method", []string{`import "github.com/go-gota/gota/series"`,
			`s := series.New([]float64{1,2,6}, series.Float, "UV")`, `s.Mean()`}, 3.0},
		{"distuv", []string{`import "gonum.org/v1/gonum/stat/distuv"`, `distuv.Normal{Mu: 1, Sigma: 2}.Mean()`}, 1.0},
		{"mat", []string{`import "gonum.org/v1/gonum/mat"`, `m := mat.NewDense(2, 2, []float64{1,2,3,4})`, `mat.Det(m)`}, -2.0},
		{"interp", []string{`import "gonum.org/v1/gonum/interp"`, `var l interp.PiecewiseLinear`,
			`l.Fit([]float64{0, 1}, []float64{0, 10})`, `l.Predict(0.25)`}, 2.5},
		{"proxy", []string{`import "sort"`, `type byLen []string`,
			`func (b byLen) Len() int { return len(b) }`,
			`func (b byLen) Less(i, j int) bool { return len(b[i]) < len(b[j]) }`,
			`func (b byLen) Swap(i, j int) { b[i], b[j] = b[j], b[i] }`,
			`x := []string{"ccc", "a", "bb"}; sort.Sort(byLen(x)); x[0] + x[1] + x[2]`}, "abbccc"},
		{"proxy of a library", []string{`import ("image/color"; "gonum.org/v1/plot/palette")`, `type pal struct{}`,
			`func (pal) Colors() []color.Color { return []color.Color{color.White} }`,
			`len(palette.Palette(pal{}).Colors())`}, 1},
		{"rand v2", []string{`import "math/rand/v2"`, `r := rand.New(rand.NewPCG(1, 2)); r.IntN(1)`}, 0},
		{"templates", []string{`import ("text/template"; "strings")`, `var w strings.Builder`,
			`template.Must(template.New("x").Parse("{{.}} bar")).Execute(&w, 3)`, `w.String()`}, "3 bar"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			values := run(t, start(t), tc.cells...)
			if len(values) == 0 || !reflect.DeepEqual(values[0], tc.want) {
				t.Errorf("got %v, want %v", values, tc.want)
			}
		})
	}
}

func TestUntypedConstants(t *testing.T) {
	ir := start(t)
	run(t, ir, `import ("math"; "os"; "unicode/utf8"; "math/big")`)
	for _, tc := range []struct {
		cell string
		want any
	}{
		{`var f float64 = math.Pi; f`, math.Pi},
		{`var u uint64 = math.MaxUint64; u`, uint64(math.MaxUint64)},
		{`var i int64 = math.MinInt64; i`, int64(math.MinInt64)},
		{`var s float64 = math.SmallestNonzeroFloat64; s`, math.SmallestNonzeroFloat64},
		{`var m float64 = math.MaxFloat64; m`, math.MaxFloat64},
		{`var r rune = os.PathSeparator; r`, rune(os.PathSeparator)},
		{`var n string = os.DevNull; n`, os.DevNull},
		{`var e rune = utf8.RuneError; e`, '\uFFFD'},
		{`var b big.Word = 3; math.MaxUint32 / 2.5`, math.MaxUint32 / 2.5},
		{`os.O_RDWR | os.O_CREATE`, os.O_RDWR | os.O_CREATE},
	} {
		values := run(t, ir, tc.cell)
		if len(values) != 1 || !reflect.DeepEqual(values[0], tc.want) {
			t.Errorf("%s: got %v, want %v", tc.cell, values, tc.want)
		}
	}
}

func TestUnitMismatchDoesNotCompile(t *testing.T) {
	ir := start(t)
	run(t, ir, `import "github.com/evenbed/evenbed/packing/units"`)
	defer func() {
		if recover() == nil {
			t.Error("a length was added to a pressure")
		}
	}()
	run(t, ir, `units.Metre + units.Bar`)
}

func TestExit(t *testing.T) {
	log.SetOutput(io.Discard)
	defer log.SetOutput(os.Stderr)
	for _, tc := range []struct {
		cell, call string
		code       int
	}{
		{`os.Exit(3)`, "os.Exit(3)", 3},
		{`log.Fatal("x")`, "log.Fatal", 1},
		{`log.Fatalf("%d", 1)`, "log.Fatalf", 1},
		{`log.Fatalln("x")`, "log.Fatalln", 1},
	} {
		ir := start(t)
		run(t, ir, `import ("os"; "log")`)
		func() {
			defer func() {
				var exit symbols.ExitError
				if err, _ := recover().(error); !errors.As(err, &exit) || exit.Call != tc.call || exit.Code != tc.code {
					t.Errorf("%s: got %v", tc.cell, err)
				}
			}()
			run(t, ir, tc.cell)
		}()
	}
}

func TestEveryPathImports(t *testing.T) {
	ir := start(t)
	for _, path := range symbols.Paths() {
		imp := ir.ImportPackage("_", path)
		if imp == nil || len(imp.Binds)+len(imp.Types) == 0 {
			t.Errorf("%s is empty", path)
		}
	}
}

func TestTables(t *testing.T) {
	packed.Docs.Need(t)
	paths := symbols.Paths()
	if !slices.IsSorted(paths) || len(paths) != len(imports.Packages) {
		t.Errorf("%d paths, %d packages in gomacro's list", len(paths), len(imports.Packages))
	}
	for _, path := range paths {
		p, ok := imports.Packages[path]
		if !ok {
			t.Fatalf("%s has no table", path)
		}
		if len(p.Wrappers) > 0 {
			t.Errorf("%s has a list of wrapper methods", path)
		}
		var named, want []string
		for name := range p.Binds {
			want = append(want, name)
		}
		for name := range p.Types {
			want = append(want, name)
		}
		slices.Sort(want)
		for _, d := range symbols.Names(path) {
			named = append(named, d.Name)
		}
		if !slices.Equal(named, want) {
			t.Errorf("%s: documentation and table name different things; make gen and make pack make both", path)
		}
		for name := range p.Proxies {
			if p.Types[name] == nil {
				t.Errorf("%s.%s: a proxy without its type", path, name)
			}
		}
	}
}

// TestEveryConstant reads each constant through the interpreter.
func TestEveryConstant(t *testing.T) {
	ir := start(t)
	for _, path := range symbols.Paths() {
		imp := ir.ImportPackage("_", path)
		for _, d := range symbols.Names(path) {
			if d.Kind != "constant" {
				continue
			}
			if bind := imp.Binds[d.Name]; bind == nil || bind.Value == nil {
				t.Errorf("%s.%s has no value", path, d.Name)
			}
		}
	}
}

func TestDocumentation(t *testing.T) {
	packed.Docs.Need(t)
	for _, path := range symbols.Paths() {
		if d, ok := symbols.Lookup(path, ""); !ok || d.Kind != "package" {
			t.Errorf("%s: %+v", path, d)
		}
		for _, d := range symbols.Names(path) {
			if d.Signature == "" {
				t.Errorf("%s.%s has no signature", path, d.Name)
			}
			if !strings.Contains(path, "/evenbed/packing") {
				continue
			}
			if (d.Kind == "function" || d.Kind == "type") && d.Text == "" {
				t.Errorf("%s.%s has no comment", path, d.Name)
			}
			for _, m := range symbols.Members(path, d.Name) {
				// Error, and the methods of an interface that its own comment explains, speak for themselves.
				silent := m.Name == "Error" || m.Promoted || strings.Contains(d.Signature, " interface {")
				if m.Kind == "method" && m.Text == "" && !silent {
					t.Errorf("%s.%s.%s has no comment", path, d.Name, m.Name)
				}
			}
		}
	}
}

func TestLookup(t *testing.T) {
	packed.Docs.Need(t)
	for _, tc := range []struct{ path, name, kind, signature, text string }{
		{"strings", "Cut", "function", "func Cut(s, sep string) (before, after string, found bool)", "around the first instance"},
		{"sort", "Interface", "type", "Len() int", "can be sorted"},
		{"sort", "Interface.Len", "method", "func (Interface) Len() int", "number of elements"},
		{"math", "MaxInt8", "constant", "const MaxInt8 = 127", ""},
		{"time", "Second", "constant", "const Second Duration = 1000000000", ""},
		{"io", "EOF", "variable", "var EOF error", "no more input"},
		{"gonum.org/v1/plot", "Axis.Min", "field", "Min float64", ""},
		{"gonum.org/v1/gonum/optimize", "Result.X", "field", "X []float64", "function input"},
		{"github.com/go-gota/gota/dataframe", "DataFrame.Nrow", "method", "func (df DataFrame) Nrow() int", "number of rows"},
		{"os", "Exit", "function", "func Exit(code int)", "ends the cell"},
		{"math/rand/v2", "", "package", `package rand // import "math/rand/v2"`, "pseudo-random"},
		{"github.com/evenbed/evenbed/packing/plan", "ConstantFlow.Plan", "method", "Plan() ", "Plan computes"},
		{"github.com/evenbed/evenbed/packing", "Column.InnerDiameter", "field", "InnerDiameter units.Length", ""},
		{"github.com/evenbed/evenbed/packing/units", "Bar", "constant", "const Bar Pressure = 100000", ""},
	} {
		d, ok := symbols.Lookup(tc.path, tc.name)
		if !ok || d.Kind != tc.kind || !strings.Contains(d.Signature, tc.signature) || !strings.Contains(d.Text, tc.text) {
			t.Errorf("%s %s: %v %+v", tc.path, tc.name, ok, d)
		}
	}
	for _, tc := range [][2]string{{"strings", "cut"}, {"strings", "Cut.x"}, {"net/http", "Get"}, {"sort", "Interface.x"},
		{"slices", ""}, {"go", ""}, {"", ""}, {"bufio", "Reader.buf"}} {
		if d, ok := symbols.Lookup(tc[0], tc[1]); ok {
			t.Errorf("found %v: %+v", tc, d)
		}
	}
	d, ok := symbols.Lookup("bufio", "ReadWriter.ReadString")
	if !ok || !d.Promoted {
		t.Errorf("promoted method: %+v", d)
	}
}

func TestMissing(t *testing.T) {
	for _, tc := range []struct{ path, name, want string }{
		{"slices", "Sort", "slices.Sort is generic, and the interpreter has no generics: use sort.Float64s, sort.Ints or sort.Strings"},
		{"slices", "", "package slices is not available in a notebook: everything in it is generic; sort.Float64s, sort.Slice, gonum's floats and a loop do most of it"},
		{"sync/atomic", "Pointer", "atomic.Pointer is generic, and the interpreter has no generics: use atomic.Value"},
		{"os/exec", "Command", "package os/exec is not available in a notebook: a notebook does not start other programs"},
		{"runtime", "Goexit", "runtime.Goexit is not available: it would end the goroutine that runs the cell; return from the function instead"},
	} {
		if got, ok := symbols.Missing(tc.path, tc.name); !ok || got != tc.want {
			t.Errorf("%s.%s:\n got %s\nwant %s", tc.path, tc.name, got, tc.want)
		}
	}
	for _, tc := range [][2]string{{"strings", "Cut"}, {"strings", "NoSuch"}, {"fmt", ""}, {"no/such", "X"}} {
		if hint, ok := symbols.Missing(tc[0], tc[1]); ok {
			t.Errorf("%v: %s", tc, hint)
		}
	}
}

func TestNearest(t *testing.T) {
	for path, want := range map[string]string{
		"units":                            "github.com/evenbed/evenbed/packing/units",
		"github.com/evenbed/packing/units": "github.com/evenbed/evenbed/packing/units",
		"gonum/stat":                       "gonum.org/v1/gonum/stat",
		"gonum.org/v1/gonum/statt":         "gonum.org/v1/gonum/stat",
		"encoding/jsn":                     "encoding/json",
		"math/rnad":                        "math/rand",
		"rand":                             "math/rand",
		"Strings":                          "strings",
		"github.com/gonum/plot":            "gonum.org/v1/plot",
		"dataframe":                        "github.com/go-gota/gota/dataframe",
	} {
		if got, ok := symbols.Nearest(path); !ok || got != want {
			t.Errorf("%s: got %q, want %q", path, got, want)
		}
	}
	for _, path := range []string{"", "/", "github.com/some/thing", "x"} {
		if got, ok := symbols.Nearest(path); ok {
			t.Errorf("%q: got %q, want none", path, got)
		}
	}
}

func BenchmarkLookup(b *testing.B) {
	for b.Loop() {
		symbols.Lookup("strings", "Cut")
	}
}
