package complete_test

import (
	"go/build"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/cosmos72/gomacro/ast2"
	"github.com/cosmos72/gomacro/base"
	"github.com/cosmos72/gomacro/fast"
	"github.com/cosmos72/gomacro/xreflect"

	"github.com/evenbed/evenbed/kernel/internal/complete"
	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/packed"
)

// session returns the scope of an interpreter that has run the cells.
func session(t testing.TB, cells ...string) complete.Scope {
	t.Helper()
	old := build.Default.GOROOT
	build.Default.GOROOT = "/nonexistent"
	defer func() { build.Default.GOROOT = old }()
	ir := fast.New()
	ir.Comp.Universe.Importer = &xreflect.Importer{}
	ir.Comp.Options &^= base.OptShowPrompt | base.OptTrapPanic
	for _, cell := range cells {
		ir.Comp.Line = 0
		ir.RunExpr(ir.CompileAst(ast2.AnyToAst(ir.Comp.ParseBytes([]byte(cell)), "cell")))
	}
	return complete.Session(ir, true)
}

// demo is a session with a bit of everything.
func demo(t testing.TB) complete.Scope {
	return session(t,
		`import ("strings"; str "strconv"; "gonum.org/v1/plot"; "gonum.org/v1/gonum/optimize")`,
		`import . "github.com/evenbed/evenbed/packing/units"`,
		`type Pump struct { Flow float64; Inner struct { Depth int }; stroke int }`,
		`type Skid struct { Pump; Tag string }`,
		`func (p Pump) Start(speed float64) string { return "" }`,
		`func strip(s string) (string, error) { return strings.TrimSpace(s), nil }`,
		`pump := Pump{}; skid := &Skid{}`,
		`pumps := []Pump{pump}`,
		`p := plot.New()`,
		`var result optimize.Result`,
		`const plates = 4000`,
		`pressure := 2 * Bar`,
		`import ("github.com/go-gota/gota/dataframe"; "github.com/go-gota/gota/series")`,
		`df := dataframe.New(series.New([]float64{1}, series.Float, "Time"), series.New([]float64{1}, series.Float, "UV 280 nm"), series.New([]string{"a"}, series.String, "a \"b\""))`,
		`verdicts := map[string]Pump{"plates": pump, "asymmetry": pump}`,
		`import "github.com/evenbed/evenbed/packing/record"`,
		`export := record.Record{Columns: []record.Column{{Name: "Time"}, {Name: "UV"}}}`,
	)
}

// cut takes the cursor mark out of a cell.
func cut(t *testing.T, marked string) (code string, cursor int) {
	t.Helper()
	before, after, ok := strings.Cut(marked, "|")
	if !ok {
		t.Fatalf("%q has no cursor", marked)
	}
	return before + after, utf8.RuneCountInString(before)
}

func texts(c host.Completion) (all []string) {
	for _, m := range c.Matches {
		all = append(all, m.Text)
	}
	return all
}

func TestComplete(t *testing.T) {
	scope := demo(t)
	for _, tc := range []struct {
		cell   string // the cursor is at |
		want   string // matches that must be there, "name kind" parted by commas
		wanted string // "all" if these must be all, else matches that must not be there, parted by blanks
	}{
		// names
		{`pum|`, "pump variable, pumps variable", "all"},
		{`Pu|`, "Pump type", ""},
		{`retu|`, "return keyword", "all"},
		{`appe|`, "append function", "all"},
		{`flo|`, "float32 type, float64 type", ""},
		{`strip|`, "strip function", "all"},
		{`plat|`, "plates constant", "all"},
		{`str|`, "str package, strings package, string type, strip function, struct keyword", "all"},
		{`x := 1; if go|`, "go keyword", "goto"},
		{`PUMP|`, "Pump type, pump variable, pumps variable", "all"},
		{`2 * Ba|`, "Bar constant", ""},
		{`// pum|`, "", "all"},
		{`/* pum|`, "", "all"},
		{`"pum|`, "", "all"},
		{`"pum"|`, "", "all"},
		{`12|`, "", "all"},
		{`zzzz|`, "", "all"},
		// names of the cell
		{"limitLow := 1.0\nfor limitHigh := range pumps {\nlim|", "limitLow variable, limitHigh variable", "all"},
		{"var (\n\tbedA, bedB float64\n\tbedC = 1\n)\nbed|", "bedA variable, bedB variable, bedC variable", "all"},
		{"func beds(bedHeight float64) (bedVolume float64) { return bed|", "bedHeight variable, bedVolume variable, beds function", "all"},
		{"type bedded int\nconst bedMax = 3\nbed|", "bedMax constant, bedded type", "all"},
		{"half|\nhalfWidth := 3", "halfWidth variable", "all"},
		// types of the cell
		{"type node struct{ next *node; v int }\nvar n node\nn.next.|", "next field, v field", "all"},
		{"type (\n\tleaf struct {\n\t\tName string\n\t}\n\ttree struct {\n\t\tkids []leaf\n\t}\n)\nfunc f(t *tree) {\n\tt.kids[0].|\n}", "Name field", "all"},
		{"type node struct{ next *node; v int }\nfor _, x := range []node{{}} { x.|", "next field, v field", "all"},
		{"type node struct{ p Pump }\nvar n node\nn.|", "p field", "all"},
		{"type T struct{}\nfunc (T) Go() {}\nvar t T\nt.|", "Go function", "all"},
		{"type T int\nfunc (t *T) Go(v interface{}) *T { return t }\nvar t T\nt.Go(1).|", "Go function", "all"},
		{"type T struct{ n int }\nfunc (t *T) Go() { t.|", "Go function, n field", "all"},
		{"type T struct{}\nfunc (T) Go() plot.Axis { return p.X }\nT{}.Go().Ma|", "Max field", "all"},
		{"type T struct{ n int }\nfunc (T) Go() {}\ntype U struct{ *T; plot.Axis; Pump }\nvar u U\nu.|",
			"Axis field, Flow field, Go function, Max field, Pump field, Start function, T field, n field", "strings"},
		{"type T struct{ n int }\nfunc (T) Go() {}\ntype U T\nvar u U\nu.|", "n field", "all"},
		{"type T struct{ n int }\nfunc (T) Go() {}\ntype U = T\nvar u U\nu.|", "Go function, n field", "all"},
		{"type closer interface{ Close() error }\ntype file interface{ closer; Read() plot.Axis }\nfunc f(x file) { x.|", "Close function, Read function", "all"},
		{"type closer interface{ Close() error }\nfunc f(x closer) { x.Close().|", "Error function", "all"},
		{"type Pump struct{ Head int }\nfunc (Pump) Go() {}\nvar x Pump\nx.|", "Go function, Head field", "all"},
		{"func (T) Zig() {}\nZi|", "", "all"},
		{"func f(v interface{}, long struct{ a int }) (width interface{}) { wid|", "width variable", "all"},
		{"func (p Pump) Stop() plot.Axis { return plot.Axis{} }\npump.St|", "Start function, Stop function", "all"},
		{"func (p *Pump) Stop() {}\nvar x Pump\nx.|", "Flow field, Inner field, Start function, Stop function, stroke field", "all"},
		{"func (p Pump) Stop() plot.Axis { return plot.Axis{} }\npump.Stop().Ma|", "Max field", "all"},
		{"type node struct{ next *node }\nnode.|", "", "all"},
		{"type a b\ntype b a\nvar x a\nx.|", "", "all"},
		{"type number int\nvar x number\nx.|", "", "all"},
		// types of the session
		{"func f(x *Skid) { x.|", "Flow field, Inner field, Pump field, Start function, Tag field, stroke field", "all"},
		{"func (p Pump) Stop() { p.Inner.|", "Depth field", "all"},
		{"var x []Pump\nx.|", "", "all"},
		// packages
		{`strings.Cu|`, "Cut function, CutPrefix function, CutSuffix function", "all"},
		{`str.Ito|`, "Itoa function", "all"},
		{`strings.|`, "Builder type, ToUpper function", ""},
		{`math.P|`, "Pi constant, Phi constant, Pow function", ""}, // not imported yet
		{"import m \"math\"\nm.P|", "Pi constant", ""},
		{"strings := pump\nstrings.|", "Flow field", "Cut Builder"},
		{`rand.In|`, "", "all"}, // three packages have this name
		{`strings.Cut|("a", "b")`, "Cut function", ""},
		// members
		{`pump.|`, "Flow field, Inner field, stroke field, Start function", "all"},
		{`pump.Inner.|`, "Depth field", "all"},
		{`pumps[0].|`, "Flow field, Start function", ""},
		{`(pump).Fl|`, "Flow field", "all"},
		{`skid.|`, "Tag field, Pump field, Flow field, Start function", ""},
		{`p.Tit|`, "Title field", "all"},
		{`p.Title.|`, "Text field, Padding field", ""},
		{`p.X.Tick.|`, "Marker field, Length field", ""},
		{`p.Hide|`, "HideAxes function, HideX function, HideY function", "all"},
		{`result.|`, "X field, F field, MajorIterations field, Location field", ""},
		{`strings.NewReader("a").Re|`, "Read function, ReadByte function", ""},
		{`pressure.I|`, "In function", ""},
		{`pump.Start(1).|`, "", "all"},
		{`plates.|`, "", "all"},
		{`Pump.|`, "", "all"},
		{`(plates + 1).|`, "", "all"},
		{`strings.Cut("a", "b").|`, "", "all"},
		// members of what the cell declares
		{"q := plot.New()\nq.Hide|", "HideAxes function", ""},
		{"q := plot.New()\naxis := q.X\naxis.|", "Min field, Max field, Label field", ""},
		{"x, err := optimize.Minimize(optimize.Problem{}, nil, nil, nil)\nx.|", "F field", ""},
		{"x, err := optimize.Minimize(optimize.Problem{}, nil, nil, nil)\nerr.|", "Error function", "all"},
		{"var b strings.Builder\nb.WriteS|", "WriteString function", "all"},
		{"func f(axis plot.Axis, n int) { axis.Ma|", "Max field", "all"},
		{"func f(s string) *plot.Plot { return nil }\nf(\"\").HideA|", "HideAxes function", "all"},
		{"a := pump\na.|", "Flow field, Start function", ""},
		{"pump := plot.New()\npump.|", "HideAxes function", "Flow"},
		{"xs := make([]plot.Axis, 2)\nxs[1].Ma|", "Max field", "all"},
		{"f := func(n int) *plot.Plot { return nil }\nf(1).HideA|", "HideAxes function", "all"},
		{"u := 3 * pressure\nu.I|", "In function", ""},
		{"u := -(2 * Bar)\nu.I|", "In function", ""},
		{"few := make([]plot.Axis, 9)[2:]\nfew[0].Ma|", "Max field", "all"},
		{"c := make(chan plot.Axis)\naxis := <-c\naxis.Ma|", "Max field", "all"},
		// literals
		{`optimize.Settings{|`, "InitValues field, Recorder field", "Minimize append"},
		{`optimize.Settings{Recorder: nil, |`, "InitValues field", "Recorder append"},
		{"optimize.Settings{\n\tRecorder: nil,\n\tIn|\n}", "InitValues field", "Recorder"},
		{`optimize.Settings{Recorder: |`, "append function", "InitValues"},
		{`optimize.Settings{Recorder: f(1, |`, "append function", "InitValues"},
		{`[]optimize.Settings{{In|`, "InitValues field", ""},
		{`map[string]optimize.Settings{"a": {In|`, "InitValues field", ""},
		{`[]*optimize.Settings{{In|`, "InitValues field", ""},
		{`[]*optimize.Settings{|`, "append function", "InitValues"},
		{`*optimize.Settings{|`, "InitValues field", ""},
		{`[]optimize.Settings{|`, "append function", "InitValues"},
		{`&optimize.Result{|`, "Location field, Status field", "MajorIterations"},
		{`Skid{|`, "Pump field, Tag field", "Flow Start"},
		{`if pump {|`, "append function", "Flow"},
		{`func f() optimize.Settings {|`, "append function", "InitValues"},
		{`optimize.Settings{}; |`, "append function", "InitValues"},
		// questions
		{`?units.Ba|`, "Bar constant", ""},
		{`??pum|`, "pump variable, pumps variable", "all"},
		{`plat|?`, "plates constant", "all"},
		// loops
		{"for _, one := range pumps {\none.|", "Flow field, Start function", ""},
		{"for name, one := range verdicts {\none.Fl|", "Flow field", "all"},
		{"for i, axis := range []plot.Axis{p.X} {\naxis.Ma|", "Max field", "all"},
		{"for i := range pumps {\ni.|", "", "all"},
		{"for _, one := range strings.Fields(\"a\") {\none.|", "", "all"},
		// strings
		{`df.Col("|`, `Time field, UV 280 nm field, a \"b\" field`, "all"},
		{`df.Col("UV 2|`, `UV 280 nm field`, "all"},
		{`df.Col("uv|")`, `UV 280 nm field`, "all"},
		{"df.Col(`a|`)", "a \"b\" field", "all"},
		{`df.Select([]string{"Time", "U|`, `UV 280 nm field`, "all"},
		{`x := df.Filter(dataframe.F{Colname: "T|"})`, `Time field`, "all"},
		{`df.Arrange(dataframe.Sort("T|"))`, `Time field`, "all"},
		{`df.Rename("new", "Ti|")`, `Time field`, "all"},
		{`df.Select("Time").Col("T|`, `Time field`, "all"},
		{`strings.ToUpper("T|`, ``, "all"},
		{`verdicts["p|`, `plates field`, "all"},
		{`export.Signal("U|`, `UV field`, "all"},
		{`pumps["|`, ``, "all"},
		{`os.Open("../compl|`, `../complete/ path`, "all"},
		{`os.ReadFile("complete_t|`, `complete_test.go path`, "all"},
		{"os.ReadFile(`../complete/quest|", `../complete/question.go path`, "all"},
		{`f("complete_t|`, ``, "all"},
		{`os.Open("nowhere/|`, ``, "all"},
		{`cle|`, "clear function", ""},
		// imports
		{`import "gonum.org/v1/gonum/st|`, "gonum.org/v1/gonum/stat package, gonum.org/v1/gonum/stat/distuv package", ""},
		{"import (\n\t\"fmt\"\n\t\"text/ta|", "text/tabwriter package", "all"},
		{`import . "unit|`, "github.com/evenbed/evenbed/packing/units package", "all"},
		{"import `regex|", "regexp package", "all"},
		{`f("gonum|`, "", "all"},
	} {
		code, cursor := cut(t, tc.cell)
		c := complete.Complete(code, cursor, scope)
		var all []string
		for _, m := range c.Matches {
			all = append(all, m.Text+" "+m.Kind)
		}
		fields := !slices.ContainsFunc(c.Matches, func(m host.Match) bool { return m.Kind != "field" }) // as declared
		if got := texts(c); !fields && !slices.IsSorted(got) || len(slices.Compact(slices.Sorted(slices.Values(got)))) != len(got) {
			t.Errorf("%q: not sorted or not unique: %v", tc.cell, got)
		}
		var want []string
		if tc.want != "" {
			want = strings.Split(tc.want, ", ")
		}
		for _, w := range want {
			if !slices.Contains(all, w) {
				t.Errorf("%q: lacks %q among %v", tc.cell, w, all)
			}
		}
		if tc.wanted == "all" && len(all) != len(want) {
			t.Errorf("%q: got %v, want only %v", tc.cell, all, want)
		}
		for w := range strings.FieldsSeq(tc.wanted) {
			if slices.Contains(texts(c), w) {
				t.Errorf("%q: %q has no place here", tc.cell, w)
			}
		}
	}
}

// The text to replace counts code points, and a cursor out of range is the end.
func TestCompletePlace(t *testing.T) {
	for _, tc := range []struct {
		code               string
		cursor, start, end int
	}{
		{"pum", 3, 0, 3},
		{`x := "µ"; strings.Cu`, 20, 18, 20},
		{`x := "µ"; strings.Cu`, 19, 18, 19},
		{`x := "µ"; strings.Cu`, 99, 18, 20},
		{`x := "µ"; strings.Cu`, -1, 18, 20},
		{`import "fm"`, 10, 8, 10},
		{"x := \"\U0001f600\U0001f600\"; strings.Cu", 21, 19, 21}, // beyond the first 65,536 code points
		{"/* \U0001f600 */ strings.Cu", 18, 16, 18},
		{"", 5, 0, 0},
	} {
		c := complete.Complete(tc.code, tc.cursor, nil)
		if c.Start != tc.start || c.End != tc.end || len(c.Matches) == 0 && tc.code != "pum" {
			t.Errorf("%q at %d: %d to %d with %d matches, want %d to %d",
				tc.code, tc.cursor, c.Start, c.End, len(c.Matches), tc.start, tc.end)
		}
	}
}

// While a cell is busy only its text and the tables are known.
func TestCompleteWithoutSession(t *testing.T) {
	for cell, want := range map[string]string{
		"p := plot.New()\np.HideA|":                             "HideAxes",
		"import . \"gonum.org/v1/plot\"\np := New()\np.HideA|":  "HideAxes",
		"import g \"gonum.org/v1/plot\"\ng.NewL|":               "NewLegend",
		"s := series.New(nil, series.Float, \"UV\")\ns.Mea|":    "Mean",
		"df := dataframe.ReadCSV(nil)\ndf.Col(\"UV\").Media|":   "Median",
		"xys := plotter.XYs{}\nxys[0].|":                        "X",
		"f, err := os.Open(\"a\")\nst, err := f.Stat()\nst.Si|": "Size",
	} {
		code, cursor := cut(t, cell)
		if got := texts(complete.Complete(code, cursor, nil)); !slices.Contains(got, want) {
			t.Errorf("%q: got %v, want %s", cell, got, want)
		}
	}
}

// Asking changes nothing in the interpreter, even where it does not compile.
func TestSessionIsNotTouched(t *testing.T) {
	scope := demo(t)
	before := scope.Names()
	for _, expr := range []string{"pump.nothing", "pump +", "nothing(1)", "pump.Flow + \"a\"", "func() { zz := 1; _ = zz }", "pump", "strip"} {
		scope.Members(expr)
		scope.Describe(expr)
		scope.TypeName(expr)
	}
	if after := scope.Names(); !slices.Equal(before, after) {
		t.Errorf("the names were %v and are %v", before, after)
	}
	if got := scope.Members("pump"); len(got) == 0 {
		t.Error("the session does not answer any more")
	}
}

func TestInspect(t *testing.T) {
	packed.Docs.Need(t)
	scope := demo(t)
	for _, tc := range []struct{ cell, want string }{ // texts that must be there, parted by " & "
		{`strings.Cu|t("a", "b")`, "func Cut(s, sep string) (before, after string, found bool) & around the first instance & // import \"strings\""},
		{`strings.Cut(|"a", "b")`, "func Cut("},
		{`strings.Cut("a", 2|`, "func Cut("},
		{`strings.Cut(strip(pump.nothing|`, "func strip("},
		{`strings.Cut([]string{"a"}[|`, "func Cut("},
		{`str|ings.Cut`, "package strings // import \"strings\""},
		{`import "strin|gs"`, "package strings"},
		{`strip|`, "func strip(string) (string, error)"},
		{`pump|`, "var pump Pump"},
		{`pump.Flow|`, "pump.Flow float64"},
		{`pump.Start(|`, "pump.Start func(float64) string"},
		{`plates|`, "const plates = 4000"},
		{`p|`, "var p *plot.Plot & type Plot struct & basic type representing a plot"},
		{`p.HideAxes|`, "func (p *Plot) HideAxes() & HideAxes"},
		{`p.X.Label.Text|`, "Text string"},
		{`plot.Plot.HideAxes|`, "func (p *Plot) HideAxes()"},
		{`plot.Plot|`, "type Plot struct & Title struct"},
		{"q := plot.New()\nq.HideX|", "X axis so that it will not be drawn"},
		{"q := plot.New()\nq|.HideX()", "var q plot.Plot & basic type"},
		{"q := 1\nq|", ""},
		{"type T struct{}\nfunc (t T) Go(n int) {}\nvar t T\nt.G|o", "func (t T) Go(n int)"},
		{"func (p *Pump) Stop(n int) {}\npump.Stop(|", "func (p *Pump) Stop(n int)"},
		{`optimize.Settings{|`, "type Settings struct"},
		{`?units.Ba|r`, "const Bar Pressure"},
		{`units.Bar|?`, "const Bar Pressure"},
		{`Bar|`, "const Bar Pressure = 100000 & packing/units"},
		{`pressure.In(|`, "In(unit Pressure) float64"},
		{`math.Pi|`, "const Pi = 3.14159"},
		{`slices.Sort|`, "sort.Float64s"},
		{`len(|`, "func len(v T) int & number of elements"},
		{`Pump|{}`, "type Pump struct{Flow float64; "},
		{"func f(a int) string { return \"\" }\nf(|", "func f(a int) string"},
		{`nothing|`, ""},
		{`nothing.at.all|`, ""},
		{`// strings.Cut|`, ""},
		{`1 + |2`, ""},
		{`|`, ""},
	} {
		code, cursor := cut(t, tc.cell)
		b, ok := complete.Inspect(code, cursor, 0, scope)
		if ok != (tc.want != "") {
			t.Errorf("%q: found %v: %s", tc.cell, ok, b.Data["text/plain"])
			continue
		}
		for want := range strings.SplitSeq(tc.want, " & ") {
			if !strings.Contains(string(b.Data["text/plain"]), want) {
				t.Errorf("%q: text/plain lacks %q:\n%s", tc.cell, want, b.Data["text/plain"])
			}
		}
		if ok && !strings.Contains(string(b.Data["text/markdown"]), "```go\n") {
			t.Errorf("%q: text/markdown shows no declaration:\n%s", tc.cell, b.Data["text/markdown"])
		}
	}
}

// Methods, constants and names belong to what is told of a type or a package;
// more than a few methods have their comments at detail 1 only.
func TestInspectMembers(t *testing.T) {
	packed.Docs.Need(t)
	scope := session(t, `import "github.com/evenbed/evenbed/packing/record"`, "var run record.Record")
	for _, tc := range []struct {
		cell   string
		detail int
		want   string   // lines that follow each other
		not    []string // what must not be there
	}{
		{`run|`, 0, "func (r Record) Flows(name string) ([]units.VolumeFlow, error)\nfunc (r Record) Fractions(name string) ([]units.Fraction, error)\n",
			[]string{"// Flows returns", "func (r Record) Page"}},
		{`record.Record|`, 0, "func (r Record) WriteSignal(path, name string) error\n// it shows itself by Page, String", nil},
		{`record.Record|`, 0, "\n\nfunc Parse(name string, data []byte, options ...Options) (Record, error)\n", nil},
		{`run|`, 1, "// Flows returns a column of flows.\nfunc (r Record) Flows(name string) ([]units.VolumeFlow, error)\n", nil},
		{`record.Files|`, 0, "// Len returns the number of files.\nfunc (f Files) Len() int\n// Name returns", nil},
		{`efficiency.PlateHeightLaw|`, 0, "const VanDeemter PlateHeightLaw = 0 // H = A + B/u + C u, in the superficial velocity\nconst Knox PlateHeightLaw = 1 // h = A", nil},
		{`units.Volume|`, 0, "const Microlitre Volume = 1e-09\nconst Millilitre Volume = 1e-06\nconst Litre Volume = 0.001\nconst CubicMetre Volume = 1\n",
			[]string{"Units of volume"}},
		{`units.Temperature|`, 0, "\nfunc Celsius(t float64) Temperature\n", nil},
		{`efficiency.Replicate|`, 0, "// fields of embedded structs: Number, File, Signal,", nil},
		{`sort.Interface|`, 0, "\n\nfunc Reverse(data Interface) Interface", []string{"func (Interface) Len"}},
		{`strings.Builder|`, 0, "func (b *Builder) WriteString(s string) (int, error)", nil},
		{`record|`, 0, "// functions: Parse, Read\n// types: Alignment, Clock, Column,", []string{"func Parse("}},
		{`record|`, 1, "func Parse(name string, data []byte, options ...Options) (Record, error)\n", []string{"// functions"}},
		{`units.Bar|`, 0, "const Bar Pressure = 100000", []string{"Kilopascal"}},
	} {
		code, cursor := cut(t, tc.cell)
		b, ok := complete.Inspect(code, cursor, tc.detail, scope)
		got := string(b.Data["text/plain"])
		if !ok || !strings.Contains(got, tc.want) {
			t.Errorf("%q at detail %d lacks\n%s\nin\n%s", tc.cell, tc.detail, tc.want, got)
		}
		for _, not := range tc.not {
			if strings.Contains(got, not) {
				t.Errorf("%q at detail %d has %q", tc.cell, tc.detail, not)
			}
		}
	}
}

func TestInspectMarkdown(t *testing.T) {
	b, _ := complete.Inspect("sort.Interface", 14, 0, nil)
	got := string(b.Data["text/markdown"])
	if !strings.HasPrefix(got, "```go\ntype Interface interface {\n") || strings.Contains(got, "pkg.go.dev") {
		t.Error(got)
	}
}

func TestIsComplete(t *testing.T) {
	for _, tc := range []struct{ code, status, indent string }{
		{"", "complete", ""},
		{"?units.Bar", "complete", ""},
		{"efficiency.Pulse ?\n", "complete", ""},
		{"\n // nothing\n", "complete", ""},
		{"1+1", "complete", ""},
		{`fmt.Println("hello, world")`, "complete", ""},
		{"import \"fmt\"\nx := 1\nfunc f() int { return x }\nf()", "complete", ""},
		{"func (p Pump) Start() {}\nfunc() { f() }()", "complete", ""},
		{"func() int { return 1 }()", "complete", ""},
		{"import (\n\t\"fmt\"\n)", "complete", ""},
		{"for i := 0; i < 3; i++ {\n}", "complete", ""},
		{"if x := 1; x > 0 {\n} else {\n}", "complete", ""},
		{"type T struct{ a int }; var v T", "complete", ""},
		{"x := `a\nb`", "complete", ""},
		{"v, ok := m[1]", "complete", ""},
		{"steps // the plan", "complete", ""},
		{"func f() {", "incomplete", "\t"},
		{"func f() {\n\tif x {", "incomplete", "\t\t"},
		{"for i := 0; i < 3; i++ {\n\tf(i)", "incomplete", "\t"},
		{"f(g(1,", "incomplete", "\t"},
		{"func f()", "incomplete", "\t"},
		{"x :=", "incomplete", "\t"},
		{"1 +", "incomplete", "\t"},
		{"x.", "incomplete", "\t"},
		{"var x", "incomplete", "\t"},
		{"type T", "incomplete", "\t"},
		{"import", "incomplete", "\t"},
		{"import (\n\t\"fmt\"", "incomplete", "\t"},
		{"for i := 0", "incomplete", "\t"},
		{"if x", "incomplete", "\t"},
		{"x := `a", "incomplete", ""},
		{"/* a", "incomplete", ""},
		{"plan.ConstantFlow{\n\tColumn: column,", "incomplete", "\t"},
		{"x := 1)", "invalid", ""},
		{"}", "invalid", ""},
		{"f(1]", "invalid", ""},
		{"x = = 1", "invalid", ""},
		{"x := 5 5", "invalid", ""},
		{"} func g() {", "invalid", ""},
		{"\"abc", "invalid", ""},
		{"import \"fmt", "invalid", ""},
		{"func 3() {}", "invalid", ""},
		{"x := 5 5\nfunc f() {", "invalid", ""},
		{"a, b", "invalid", ""},
		{"x := 'ab'", "invalid", ""},
	} {
		if status, indent := complete.IsComplete(tc.code); status != tc.status || indent != tc.indent {
			t.Errorf("%q: %s %q, want %s %q", tc.code, status, indent, tc.status, tc.indent)
		}
	}
}

func TestQuestion(t *testing.T) {
	for _, tc := range []struct {
		code, name string
		detail     int
	}{
		{"?units.Bar", "units.Bar", 0}, {"efficiency.Pulse?", "efficiency.Pulse", 0}, {" ?? a . b \n", "a.b", 1}, {"\nx??", "x", 1},
		{"µ1?", "µ1", 0}, {`?"gonum.org/v1/plot"`, "\"gonum.org/v1/plot\"", 0},
		{"a", "", 0}, {"?a?", "", 0}, {"a???", "", 0}, {"?f(1)", "", 0}, {"x := a?", "", 0}, {"?a\n1", "", 0}, {"?3", "", 0}, {"\"a?\"", "", 0},
	} {
		name, detail, ok := complete.Question(tc.code)
		if name != tc.name || detail != tc.detail || ok != (tc.name != "") {
			t.Errorf("%q: %q, %d, %v", tc.code, name, detail, ok)
		}
	}
	for _, code := range []string{"?", " ??\n"} { // for all variables
		if name, _, ok := complete.Question(code); name != "" || !ok {
			t.Errorf("%q: %q, %v", code, name, ok)
		}
	}
}

// What a reader looks for in a formula: its signature, equation, symbols with
// units, and source.
func TestExplain(t *testing.T) {
	packed.Docs.Need(t)
	scope := demo(t)
	for name, want := range map[string]string{
		"units.Bar":         "const Bar Pressure = 100000",
		"pump":              "var pump Pump",
		`"math/rand/v2"`:    "package rand",
		"efficiency.Pulse":  "type Pulse struct",
		"strings.TrimSpace": "white space removed",
	} {
		b, ok := complete.Explain(name, 0, scope)
		if !ok || !strings.Contains(string(b.Data["text/plain"]), want) {
			t.Errorf("%s: %v: %s", name, ok, b.Data["text/plain"])
		}
	}
	b, _ := complete.Explain("bed.StokesVelocity", 0, scope)
	for _, want := range []string{"func StokesVelocity(", "units.Velocity", "18", "Stokes"} {
		if !strings.Contains(string(b.Data["text/plain"]), want) {
			t.Errorf("the settling velocity lacks %q:\n%s", want, b.Data["text/plain"])
		}
	}
	if b, ok := complete.Explain("nothing.at.all", 0, scope); ok {
		t.Errorf("%s", b.Data["text/plain"])
	}
}

func TestUnknown(t *testing.T) {
	scope := session(t, `import "github.com/evenbed/evenbed/packing/record"`, "var run record.Record", "height := 3")
	for name, want := range map[string]string{
		"record.Recrd":   "package record has no Recrd; did you mean Record?",
		"figure.Signals": "package figure has no Signals; it has Above, Axis, Band, Below, Figure, LeftOf, Level, Line, Mark, Place, Points, Raster, RightOf, Series, Span, Stack",
		"bed.Nonsense":   "package bed has no Nonsense; ?bed lists what it has",
		"run.signals":    "run has no signals; did you mean Signal?",
		"heigth":         "nothing is known of heigth; did you mean height?",
		"nothing.at.all": "nothing is known of nothing.at.all; is its package imported?",
		"nothing":        "nothing is known of nothing; is its package imported?",
	} {
		if got := complete.Unknown(name, scope); got != want {
			t.Errorf("%s: %s", name, got)
		}
	}
}

func FuzzAll(f *testing.F) {
	for _, code := range []string{"", "strings.Cut(", "x := plot.New()\nx.", "import (\"f", "`", "/*", "\"\\", "a[b]{c.", "\xff.\r`\r",
		"var (\na, b = 1\n", "func (", "func f(a ) {", "[]map[a]T{{", "x := x.x\nx.", "a := b\nb := a\na.", "type", "}{)(][", "µ.µ", "const ("} {
		f.Add(code, len(code)/2, 0)
	}
	scope := demo(f)
	f.Fuzz(func(t *testing.T, code string, cursor, detail int) {
		for _, s := range []complete.Scope{nil, scope} {
			n := utf8.RuneCountInString(code)
			c := complete.Complete(code, cursor, s)
			if c.Start < 0 || c.Start > c.End || c.End > n {
				t.Errorf("replaces %d to %d of %d", c.Start, c.End, n)
			}
			if _, ok := complete.Inspect(code, cursor, detail, s); !ok {
				complete.Unknown(code, s)
			}
		}
		switch status, _ := complete.IsComplete(code); status {
		case "complete", "incomplete", "invalid":
		default:
			t.Errorf("status %q", status)
		}
	})
}

func BenchmarkComplete(b *testing.B) {
	scope := demo(b)
	for b.Loop() {
		complete.Complete("q := plot.New()\nq.Hide", 22, scope)
	}
}

func BenchmarkInspect(b *testing.B) {
	scope := demo(b)
	for b.Loop() {
		complete.Inspect("mat.Dense", 9, 0, scope)
	}
}
