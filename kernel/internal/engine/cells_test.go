package engine_test

import (
	"context"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/evenbed/evenbed/kernel/internal/host"
)

func TestValuesOfCells(t *testing.T) {
	nb := open(t)
	nb.want("type early struct{}\nfunc (early) String() string { return \"without fmt\" }\nearly{}", "value without fmt")
	for _, tc := range []struct {
		code string
		want []string
	}{
		{"1+1", []string{"value 2"}},
		{"import \"fmt\"\nfmt.Println(\"hi\")", []string{"stdout hi\n"}}, // and not 3 <nil>
		{"n, err := fmt.Println(\"hi\")\nif err == nil { n }", []string{"stdout hi\n"}},
		{"a := 3", nil},
		{"a", []string{"value 3"}},
		{"a;", nil},
		{"\"text\"", []string{"value text"}},
		{"[]float64{1, 2.5}", []string{"value [1 2.5]"}},
		{"type point struct{ X, Y int }\npoint{1, 2}", []string{"value {X:1 Y:2}"}},
		{"func two() (int, error) { return 2, nil }\ntwo()", []string{"value 2"}},
		{"func pair() (int, string) { return 2, \"b\" }\npair()", []string{"value 2 b"}},
		{"func fine() error { return nil }\nfine()", nil},
		{"var e error\ne", []string{"value <nil>"}},
		{"nil", nil},
		{"type shown struct{ A int }\nfunc (s shown) HTML() string { return \"<b>\" }\nshown{3}", []string{"value {A:3}"}},
		{"type named struct{ A int }\nfunc (n named) String() string { return fmt.Sprint(\"n\", n.A) }\nnamed{3}", []string{"value n3"}},
		{"Display(shown{4})\nfmt.Print(\"mid\")\nDisplay(2.5)\nDisplay(nil)", []string{"display {A:4}", "stdout mid", "display 2.5", "display <nil>"}},
		{"Display(display.Named(\"n\", display.HTML(\"1\")))\nDisplay(display.Update(\"n\", display.HTML(\"2\")))", []string{"display 1", "update 2"}},
		{"fmt.Print(\"gone\")\ndisplay.Clear(false)\nfmt.Print(\"kept\")", []string{"stdout gone", "clear", "stdout kept"}},
		{"display.Markdown(\"*x*\")", []string{"value *x*"}},
		{"import . \"github.com/evenbed/evenbed/packing/units\"\n3 * Bar", []string{"value 3 bar"}},
		{"func f() int { return g() }\nfunc g() int { return 1 }\nf()", []string{"value 1"}},
		{"func g() int { return 2 }\nf()", []string{"value 2"}}, // a function redefined
		{"a = 4\na", []string{"value 4"}},
		{"a := \"now a string\"\na", []string{"value now a string"}},
		{"x := 1.5\nfunc old() float64 { return x }", nil},
		{"x := 7", nil},
		{"old()", []string{"value 1.5"}}, // not the bits of an int read as a float
		{"v, ok := map[string]int{\"k\": 1}[\"k\"]\nif !ok { v = 0 }\nv", []string{"value 1"}},
		{"print(1, \"a\", 2.5)\nprintln(\"b\", 3)", []string{"stdout 1a2.5b 3\n"}},
	} {
		nb.want(tc.code, tc.want...)
	}
}

// What a type declared in a cell shows by its methods arrives, escaped or not
// as the method says.
func TestDisplayMethodsOfInterpretedTypes(t *testing.T) {
	nb := open(t)
	nb.want("import \"gonum.org/v1/plot\"\np := plot.New()\np.Title.Text = \"a < b\"")
	got := nb.data("p")
	if svg := got["image/svg+xml"]; !strings.HasPrefix(svg, "<svg") || !strings.Contains(svg, ">a &lt; b</title>") {
		t.Errorf("a plot shows %.200q", svg)
	}
	nb.want("type all struct{}\nfunc (all) HTML() string { return \"<b>\" }\nfunc (all) Latex() string { return \"$x$\" }\nfunc (all) PNG() []byte { return []byte{1} }")
	got = nb.data("all{}")
	for mime, want := range map[string]string{"text/html": "<b>", "text/latex": "$x$", "image/png": "\x01", "text/plain": "{}"} {
		if got[mime] != want {
			t.Errorf("%s is %q, want %q", mime, got[mime], want)
		}
	}
	nb.want("import (\"github.com/go-gota/gota/dataframe\"; \"github.com/go-gota/gota/series\")\ndf := dataframe.New(series.New([]float64{1, 2, 3.25}, series.Float, \"a<b\"), series.New([]string{\"<i>\", \"\", \"z\"}, series.String, \"s\"))")
	got = nb.data("df")
	for _, want := range []string{"a&lt;b", "&lt;i&gt;", "3.25", "3 rows × 2 columns"} {
		if !strings.Contains(got["text/html"], want) {
			t.Errorf("a data frame's HTML lacks %q: %s", want, got["text/html"])
		}
	}
	nb.want("xs := make([]float64, 1000)\nbig := dataframe.New(series.New(xs, series.Float, \"x\"))")
	got = nb.data("big")
	if n := strings.Count(got["text/html"], "<tr>"); n != 14 || !strings.Contains(got["text/html"], "1000 rows × 1 columns") {
		t.Errorf("a long data frame shows %d rows: %s", n, got["text/html"])
	}
}

func TestFailuresOfCells(t *testing.T) {
	nb := open(t)
	nb.want("import (\"fmt\"; \"errors\")\nkept := 5\nfunc bad() (int, error) { return 0, errors.New(\"bad thing\") }\nvar none map[string]int\nzero := 0")
	for _, tc := range []struct {
		code, want string // name, message, line and column
	}{
		{"x :=", "syntax error: expected operand, found 'EOF' @1:5"},
		{"y := 1\nzz(1)", "compile error: zz is not declared @2:1"},
		{"y", "compile error: y is not declared @1:1"},
		{"values", "compile error: values is not declared @1:1"},
		{"größe", "compile error: größe is not declared @1:1"},
		{"日本語", "compile error: 日本語 is not declared @1:1"},
		{"größe := 1\ngröße2", "compile error: größe2 is not declared; did you mean größe? @2:1"},
		{"word := \"a\"\nword++", "compile error: word++ (non-numeric type string) @2:1"},
		{"'hello'", "syntax error: single quotes hold one character; text stands in double quotes: \"hello\" @1:1"},
		{"import sort", "syntax error: a package stands in double quotes: import \"sort\" @*"},
		{"if zero == 1 {\n}\nelse {\n}", "syntax error: else stands on the line of the closing brace: } else { @3:1"},
		{"def f(x): return x", "syntax error: Go declares a function as func f(x float64) float64 { return x } @1:5"},
		{"for i in range(10): print(i)", "syntax error: Go writes for i := range 10 { ... } @1:7"},
		{"zero == 0 and zero == 1", "syntax error: Go writes && for and, * @1:11"},
		{"%matplotlib inline", "syntax error: cells hold Go alone, no commands of the notebook @1:1"},
		{"zero ** 2", "compile error: *; a power is math.Pow(zero, 2) @1:9"},
		{"*zero", "compile error: *indirect zero (variable of type int) @1:2"},
		{"half := 0.5\nhalf % 2", "compile error: *; the remainder of numbers with a fraction is math.Mod(x, y) @2:1"},
		{"null", "compile error: null is not declared; Go writes nil @1:1"},
		{"True", "compile error: True is not declared; Go writes true @1:1"},
		{"sqrt(2)", "compile error: sqrt is not declared; did you mean math.Sqrt? @1:1"},
		{"pi", "compile error: pi is not declared; did you mean math.Pi? @1:1"},
		{"printf(1)", "compile error: printf is not declared; did you mean fmt.Printf? @1:1"},
		{"fmt.Printl(1)", "compile error: package fmt has no Printl; did you mean Print or Printf or Println? @1:1"},
		{"strings.ToUpper(\"a\")", "compile error: strings is not declared; the package needs import \"strings\" first @1:1"},
		{"import \"stings\"", "compile error: package \"stings\" is not linked into evenbed and cannot be imported; did you mean \"strings\"?* @1:8"},
		{"len := 3", "compile error: len is a function of Go, which later cells could not reach any more; take another name, such as myLen @1:1"},
		{"var true = 1 > 2", "compile error: true is a constant of Go,* such as myTrue @1:5"},
		{"min := 2\nmin(1, 3)", "compile error: *; a cell has made min a variable, which hides the function;* @2:1"},
		{"func() { k := sort.SearchInts(nil, 1) }()", "compile error: sort is not declared; the package needs import \"sort\" first @1:15"},
		{"func() { func() { zz() }() }()", "compile error: zz is not declared @1:19"},
		{"fmt := 3", "compile error: fmt is the name of the imported package \"fmt\"*such as myFmt @1:1"},
		{"kept = \"s\"", "compile error: cannot use \"s\" (untyped string constant) as int value in assignment @1:8"},
		{"h := 20 * Centimetre", "compile error: Centimetre is not declared; it needs import . \"github.com/evenbed/evenbed/packing/units\" first @1:11"},
		{"import . \"github.com/evenbed/evenbed/packing/units\"\nw := 150.0\nw * CentimetrePerHour", "compile error: *CentimetrePerHour.Times(v)* @3:1"},
		{"h := 20 cm", "syntax error: 20 cm is no expression; write 20 * Centimetre, after import . \"github.com/evenbed/evenbed/packing/units\" @1:9"},
		{"h := 20 * min", "compile error: min (built-in) must be called; the unit min is written Minute, after import . \"github.com/evenbed/evenbed/packing/units\" @1:11"},
		{"import . \"github.com/evenbed/evenbed/packing/units\"", "ended well"},
		{"kept +\n20Centimetre", "syntax error: 20 Centimetre is no expression; write 20 * Centimetre @2:3"},
		{"kept = 3 4", "syntax error: expected ';', found 4 @1:10"},
		{"h := 20 * cm", "compile error: cm is not declared; the unit cm is written Centimetre @1:11"},
		{"h := 20 * min", "compile error: min (built-in) must be called; the unit min is written Minute @1:11"},
		{"cm + 1", "compile error: cm is not declared @1:1"},
		{"\n\nkept = []int{1}[3]", "panic: index out of range @3:1"},
		{"kept = 6\nfor i := 0; i < 3; i++ {\n\tkept += 1 / zero\n}", "panic: integer divide by zero @3:2"},
		{"func back() int {\n\tfor range func(yield func(int) bool) { yield(1) } {\n\t\tpanic(3)\n\t}\n\treturn 0\n}\nback()", "panic: 3 @3:3"},
		{"func add[T any](a, b T) T { return a + c }\nadd[int](1, 2)", "compile error: *c* @2:1"},
		{"type box[T any] struct{ v T }\nfunc (b box[T]) Get() T { return b.v }", "compile error: *no methods of generic types* @2:9"},
		{"type list []list\nfunc (l list) Len() int { return 0 }", "compile error: *write a function that takes a list @2:15"},
		{"type a1 []b1\ntype b1 []a1", "compile error: *refer to itself through type b1* @1:6"},
		{"func() int {\n\treturn 1 / zero\n}()", "panic: integer divide by zero @2:9"},
		{"\"plates \" + 1", "compile error: *mismatched types untyped string and untyped int* @1:1"},
		{"func none() int { }", "compile error: missing return @1:19"},
		{"var x any = \"s\"\nx.(int)", "panic: interface conversion: the value is string, not int @2:1"},
		{"none[\"k\"] = 1", "panic: assignment to entry in nil map @1:1"},
		{"panic(errors.New(\"mine\"))", "panic: mine @1:1"},
		{"q, err := bad()\nq, err = 1, nil", "error not looked at: err: bad thing @1:4"},
		{"q, err := bad()\nq", "error not looked at: err: bad thing @1:4"},
		{"bad()", "error: bad thing @1:1"},
		{"import \"os\"\nos.Exit(3)", "exit: os.Exit(3)* @2:1"},
		{"import \"runtime\"\nruntime.Goexit()", "*Goexit*"},
		{"go func() {\n\tpanic(\"boo\")\n}()", "panic: boo (in a goroutine) @2:2"},
		{"func deep(n int) int {\n\tif n == 0 {\n\t\treturn 1 / zero\n\t}\n\treturn deep(n - 1)\n}\n_ = deep(3)", "panic: integer divide by zero @3:10"},
	} {
		_, r := nb.run(tc.code)
		got := "ended well"
		if r.Failure != nil {
			got = r.Failure.Name + ": " + r.Failure.Message + at(r.Failure.Traceback)
		}
		if !like(got, tc.want) {
			t.Errorf("%s\nends with %q\nwant      %q", tc.code, got, tc.want)
		}
		if r.Died {
			t.Errorf("%s\nended the engine", tc.code)
		}
	}
	nb.want("_, _ = bad()\nq, err := bad()\nif err != nil { fmt.Print(err) }", "stdout bad thing")
	nb.want("err", "value bad thing")
	nb.want("len(none)", "value 0")
}

var (
	ansi  = regexp.MustCompile("\x1b\\[[0-9;]*m")
	caret = regexp.MustCompile(`^ *\| ( *)\^$`)
	line  = regexp.MustCompile(`, line (\d+)$`)
)

// at returns the first place that a traceback shows, as " @line:column", the
// column counted where the caret stands.
func at(traceback []string) string {
	number := ""
	for i, l := range traceback {
		l = ansi.ReplaceAllString(l, "")
		if m := line.FindStringSubmatch(l); m != nil && number == "" {
			number = m[1]
		}
		if m := caret.FindStringSubmatch(l); m != nil {
			above := ansi.ReplaceAllString(traceback[i-1], "")
			_, text, _ := strings.Cut(above, "| ")
			column := len(m[1]) + 1
			indent := len(text) - len(strings.TrimLeft(text, " "))
			return fmt.Sprintf(" @%s:%d", number, column-indent+indent/4) // a tab is shown as four blanks
		}
	}
	return ""
}

// like reports whether s matches a pattern in which * is any text.
func like(s, pattern string) bool {
	parts := strings.Split(pattern, "*")
	for i, p := range parts {
		parts[i] = regexp.QuoteMeta(p)
	}
	return regexp.MustCompile("(?s)^" + strings.Join(parts, ".*") + "$").MatchString(s)
}

// A cell that fails takes its half-made names back, and old ones keep theirs.
func TestNamesAfterFailures(t *testing.T) {
	nb := open(t)
	nb.want("a := 1\nfunc f() int { return a }\ntype T struct{ A int }")
	nb.run("a := \"other type\"\nfunc f() string { return a }\ntype T struct{ B int }\nfail here")
	nb.want("a + f() + T{A: 1}.A", "value 3")
	nb.run("import \"os\"\nb := 2\npanic(\"in the middle\")\nc := 3\nd := \"d\"")
	nb.want("b", "value 2")
	for _, name := range []string{"c", "d"} {
		if _, r := nb.run(name); r.Failure == nil || !strings.Contains(r.Failure.Message, "not declared") {
			t.Errorf("%s is there: %+v", name, r.Failure)
		}
	}
	nb.run("a := 10 / (a - a)")
	nb.want("f()", "value 1")
}

func TestTextAndDisplaysInOrder(t *testing.T) {
	nb := open(t)
	const n = 10_000
	got, r := nb.run(fmt.Sprintf("import (\"fmt\"; \"os\")\nfor i := 0; i < %d; i++ {\n\tfmt.Print(\"p\", i)\n\tDisplay(i)\n}\nfmt.Fprint(os.Stderr, \"end\")", n))
	if r.Failure != nil {
		t.Fatal(r.Failure)
	}
	var want []string
	for i := range n {
		want = append(want, fmt.Sprintf("stdout p%d", i), fmt.Sprintf("display %d", i))
	}
	want = append(want, "stderr end")
	if !slices.Equal(got, want) {
		for i := range want {
			if i >= len(got) || got[i] != want[i] {
				t.Fatalf("output %d of %d is %q, want %q", i, len(got), got[min(i, len(got)-1)], want[i])
			}
		}
		t.Fatalf("%d outputs too many", len(got)-len(want))
	}
}

func TestLongTextGoesToAFile(t *testing.T) {
	nb := open(t)
	got, r := nb.run("import (\"fmt\"; \"strings\")\nfmt.Print(strings.Repeat(\"0123456789\", 1<<18))")
	if r.Failure != nil || len(got) != 2 {
		t.Fatalf("%d outputs, failure %v", len(got), r.Failure)
	}
	shown := strings.TrimPrefix(got[0], "stdout ")
	m := regexp.MustCompile(`the rest is in (\S+) until the kernel ends\]`).FindStringSubmatch(got[1])
	if m == nil {
		t.Fatalf("no file is named: %q", got[1])
	}
	rest, err := os.ReadFile(m[1])
	if err != nil {
		t.Fatal(err)
	}
	if len(shown) != 512<<10 || shown+string(rest) != strings.Repeat("0123456789", 1<<18) {
		t.Errorf("%d bytes are shown and %d in the file", len(shown), len(rest))
	}
}

// contained are cells that fail or misbehave and leave the engine and its
// variables as they are.
var contained = []string{
	"panic(\"at once\")",
	"panic(nil)",
	"[]int{}[5]",
	"var m map[string]int\nm[\"a\"] = 1",
	"var p *struct{ A int }\np.A = 1",
	"i := 0\n1 / i",
	"var f func()\nf()",
	"var c chan int\nclose(c)",
	"c := make(chan int)\nclose(c)\nclose(c)",
	"c := make(chan int)\nclose(c)\nc <- 1",
	"var e error\ne.Error()",
	"var x any = \"s\"\nn := x.(int)\nn + 1",
	"make([]int, -1)",
	"import \"os\"\nos.Exit(1)",
	"import \"os\"\nos.Stdout.Close()",
	"import \"log\"\nlog.Fatal(\"gone\")",
	"import \"runtime\"\nruntime.Goexit()",
	"go panic(\"in a goroutine\")",
	"go func() { var m map[int]int; m[1]++ }()",
	"for i := 0; i < 100; i++ { go func() { panic(i) }() }",
	"func() { defer panic(\"deferred\") }()",
	"func() { defer func() { panic(\"again\") }(); panic(\"first\") }()",
	"import \"regexp\"\nregexp.MustCompile(\"(\")",
	"import \"gonum.org/v1/gonum/mat\"\nvar d mat.Dense\nd.Mul(mat.NewDense(2, 3, nil), mat.NewDense(2, 3, nil))",
	"this is not Go",
	"func broken( {",
	"import \"nowhere/at/all\"",
	"undefined.Thing()",
	"type T struct{}\nfunc (t T) HTML() string { panic(\"while shown\") }\nT{}",
	"import \"fmt\"\nfor i := 0; i < 300000; i++ { fmt.Println(\"much text\", i) }",
	"func down(n int) int { if n == 0 { return 0 }; return down(n-1) + 1 }\ndown(100000)",
	"import \"os\"\nos.Stdin.Read(make([]byte, 1))",
	"\x00",
	"\"unterminated",
	"/* open comment",
	"var big [1 << 20]int\nbig[1<<19] = 1\nlen(big)",
	"import (\"bytes\"; \"os\")\npart := bytes.Repeat([]byte(\"0123456789\"), 1<<17)\nfor i := 0; i < 80; i++ { n, err := os.Stdout.Write(part); if n == 0 || err != nil { panic(err) } }", // 100 MB
	"import \"strings\"\nstrings.Repeat(\"a huge result \", 1<<20)",
	"make([]float64, 300000)",
	"Display(display.Named(\"d\", display.HTML(\"\")))\nfor i := 0; i < 10000; i++ { Display(display.Update(\"d\", display.HTML(string(rune(65+i%26))))) }",
	"type loop struct{ n int }\nfunc (l loop) String() string { if l.n == 0 { panic(\"in String\") }; return loop{l.n - 1}.String() }\nloop{500}",
	"type list struct{ next *list }\nl := &list{}\nl.next = l\nfor i := 0; i < 100000; i++ { l = l.next }",
	"import \"runtime\"\nfor i := 0; i < 30; i++ { runtime.GC() }",
	"import \"sync\"\nvar wg sync.WaitGroup\nwg.Add(-1)",
	"import \"os\"\nos.Stdin.Close()\nos.Stdin.Read(make([]byte, 1))",
	"import \"os\"\nos.Stdin = nil",
	"import (\"fmt\"; \"os\")\nfor i := 0; i < 1000; i++ { fmt.Fprintln(os.Stderr, \"panic: not one\", i) }",
	"import \"os\"\nos.Stderr.WriteString(\"fatal error: only text\\n\")",
	"import \"os\"\nos.Stdout.Write([]byte{0, 255, 0, 27, '[', '2', 'J', 0})",
	"import \"reflect\"\nreflect.ValueOf(1).SetInt(2)",
	"import \"strings\"\nstrings.Repeat(\"x\", -1)",
	"import \"time\"\ntime.NewTicker(-1)",
	"import \"text/template\"\ntemplate.Must(template.New(\"t\").Parse(\"{{\"))",
	"import \"errors\"\nvar depth func(int) error\ndepth = func(n int) error { if n == 0 { return errors.New(\"root\") }; return errors.Join(depth(n-1), depth(n-1)) }\ndepth(10)",
	"for i := 0; i < 200; i++ { go func() { select { } }() }", // goroutines that stay
	"import \"os\"\nos.Chdir(\"/nowhere/at/all\")",
	"import \"os\"\nos.Clearenv()",
	"import \"os\"\nf, err := os.Open(\"/nowhere\")\nif err != nil { f.Close(); var none *os.File; none.Read(nil) }",
	"func f() { defer func() { panic(recover()) }(); panic(1) }\nf()",
	"x := []any{1}\nx[0] = x\nlen(x)",
	"import \"math/big\"\nbig.NewInt(1).Div(big.NewInt(1), big.NewInt(0))",
	"import \"runtime/debug\"\ndebug.PrintStack()",
	"import \"sync/atomic\"\nvar v atomic.Value\nv.Store(1)\nv.Store(\"other type\")",
}

// waiting are cells that never end, but for an interrupt.
var waiting = []string{
	"select { }",
	"<-make(chan int)",
	"var none chan int\nnone <- 1",
	"import \"sync\"\nvar mu sync.Mutex\nmu.Lock()\nmu.Lock()",
	"for { }",
	"import \"time\"\ntime.Sleep(time.Hour)",
	"import \"sync\"\nc := sync.NewCond(&sync.Mutex{})\nc.L.Lock()\nc.Wait()",
	"import (\"io\"; \"fmt\")\nr, w := io.Pipe()\nfmt.Fprint(w, \"nobody reads\")\nr.Close()",
	"func a() { for { b() } }\nfunc b() { recover() }\na()",
}

func TestContainedCells(t *testing.T) {
	nb := open(t)
	nb.want("kept := map[string]int{\"a\": 1}\nfunc still() int { return kept[\"a\"] }")
	all := append(slices.Clone(contained), waiting...)
	for i, code := range all {
		var got []string
		var r host.Reply
		if i < len(contained) {
			got, r = nb.run(code)
		} else {
			took, how := nb.interrupt(code, 30*time.Millisecond)
			if how != "interrupted" || took > late {
				t.Errorf("%s\nended %v after the interrupt: %s", code, took, how)
			}
		}
		for _, o := range got {
			if _, file, ok := strings.Cut(o, "the rest is in "); ok {
				os.Remove(strings.TrimRight(file, "]\n"))
			}
		}
		if r.Died {
			t.Errorf("%s\nended the engine: %v", code, r.Failure)
		}
		nb.want("kept[\"a\"]++\nstill()", fmt.Sprintf("value %d", i+2))
	}
}

// fatal are cells that no Go program survives.
var fatal = []struct{ code, reason string }{
	{"func r() int { return r() + 1 }\nr()", "stack overflow"},
	{"m := map[int]int{}\nfor i := 0; i < 8; i++ { go func() { for { m[1] = 1 } }() }\nfor { m[2] = 2 }", "concurrent map writes"},
	{"import \"log\"\nlog.New(log.Writer(), \"\", 0).Fatal(\"last words\")", "exit status 1"},
	{"import \"os\"\np, err := os.FindProcess(os.Getpid())\nif err == nil { p.Kill() }\nselect { case <-make(chan int): }", "killed"},
	{"import \"time\"\ntime.AfterFunc(0, func() { panic(\"unguarded\") })\ntime.Sleep(time.Second)", "unguarded"},
	{"import \"sync\"\nvar mu sync.Mutex\nmu.Unlock()", "unlock of unlocked mutex"},
	{"import \"sync\"\nvar mu sync.RWMutex\nmu.RUnlock()", "RUnlock of unlocked RWMutex"},
	{"func even(n int) bool { return odd(n + 1) }\nfunc odd(n int) bool { return even(n + 1) }\neven(0)", "stack overflow"},
	{"type T struct{ n int }\nfunc (t T) String() string { return T{t.n + 1}.String() }\nT{}", "stack overflow"},
	{"import \"sync\"\nvar wg sync.WaitGroup\nwg.Go(func() { panic(\"in a goroutine of package sync\") })\nwg.Wait()", "in a goroutine of package sync"},
	{"m := map[int]int{0: 0}\nfor i := 0; i < 8; i++ { go func() { for { m[1] = 2; m[3]++ } }() }\nfor { for range m { } }", "concurrent map"},
	{"make([]byte, 1<<46)", "out of memory"},
	{"import \"runtime/debug\"\ndebug.SetMaxStack(1 << 16)\nfunc r(n int) int { if n == 0 { return 0 }; return r(n-1) + 1 }\nr(10000)", "stack overflow"},
}

func TestFatalCells(t *testing.T) {
	nb := open(t)
	var ran []int // cells whose state the engine holds
	for _, tc := range fatal {
		nb.want("a := 1")
		nb.want("b := a + 1")
		ran = append(ran, nb.n-1, nb.n)
		nb.run("c := fails")
		got, r := nb.run(tc.code)
		if !r.Died || r.Failure == nil || !strings.Contains(r.Failure.Message, tc.reason) {
			t.Errorf("%s\nshows %q, reply %+v", tc.code, got, r)
		}
		if !slices.Equal(r.Rerun, ran) {
			t.Errorf("cells to run again are %v, want %v", r.Rerun, ran)
		}
		nb.want("1+1", "value 2")
		ran = []int{nb.n}
		if _, r := nb.run("a"); r.Failure == nil {
			t.Errorf("a has outlived its engine")
		}
	}
}

// The cells to run again bring all back, in the order in which they are named.
func TestCellsToRunAgain(t *testing.T) {
	nb := open(t)
	cells, failed := map[int]string{}, map[int]bool{}
	run := func(code string) {
		_, r := nb.run(code)
		cells[nb.n], failed[nb.n] = code, r.Failure != nil
	}
	for _, code := range []string{
		"import (\"fmt\"; \"strings\")",
		"type bed struct{ height float64 }\nfunc (b bed) String() string { return fmt.Sprint(b.height, \" cm\") }",
		"a := 2",
		"b := bed{float64(a)}",
		"a := undeclared",            // nothing of it has run
		"a = 5; panic(\"half way\")", // but what this one did stays
		"v, err := fmt.Sscan(\"x\", &a)\nb.height += 10", // an error that was not looked at
		"a = a - 2",
		"func f(x int) int { return a * x }",
		"b = bed{b.height + float64(f(4))}",
		"func f(x int) int { return a + x }", // and the cells before it have used another f
		"log := []string{}",
		"log = append(log, strings.ToUpper(b.String()), fmt.Sprint(f(10)))",
		"import \"os\"\nos.Exit(1)",
		"a := \"text\"",
	} {
		run(code)
	}
	values := func() string {
		t.Helper()
		var all []string
		for _, x := range []string{"a", "b", "log"} {
			got, r := nb.run(x)
			if r.Failure != nil {
				t.Fatalf("%s: %+v", x, r.Failure)
			}
			all = append(all, got...)
		}
		return strings.Join(all, "; ")
	}
	before := values()
	if want := "value text; value 24 cm; value [24 CM 13]"; before != want {
		t.Fatalf("%s, want %s", before, want)
	}
	_, r := nb.run("p, err := os.FindProcess(os.Getpid())\nif err == nil { p.Kill() }\nselect { }")
	if !r.Died || !slices.IsSorted(r.Rerun) {
		t.Fatalf("%+v", r)
	}
	for _, n := range r.Rerun {
		if code, ok := cells[n]; ok { // the others only showed something
			if _, r := nb.run(code); (r.Failure != nil) != failed[n] {
				t.Errorf("cell %d again: %+v", n, r.Failure)
			}
		}
	}
	if after := values(); after != before {
		t.Errorf("%s, before %s", after, before)
	}
}

// A cell that was interrupted is no cell to run again as it is, but what it had
// set is lost as well.
func TestLostWithAnInterruptedCell(t *testing.T) {
	nb := open(t)
	nb.want("a := 1")
	ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	if _, r := nb.runContext(ctx, "a = 2\nfor { }"); r.Failure == nil || r.Failure.Name != "interrupted" {
		t.Fatalf("%+v", r)
	}
	nb.want("a", "value 2")
	_, r := nb.run("func r() int { return r() + 1 }\nr()")
	const want = "; cells to run again: 1 and 3; what interrupted cells had set is gone, too: 2"
	if !r.Died || !strings.HasSuffix(r.Failure.Message, want) || !slices.Equal(r.Rerun, []int{1, 3}) {
		t.Errorf("%+v %v, want ...%s", r.Failure, r.Rerun, want)
	}
}

// data runs a cell and returns the value's representations.
func (nb *notebook) data(code string) map[string]string {
	nb.t.Helper()
	nb.run(code)
	return nb.last
}

func TestFieldsOfStructsThatReferToThemselves(t *testing.T) {
	nb := open(t)
	nb.want("type T struct{ n *T; v int }\nT{&T{nil, 1}, 2}", "value {n:&{n:<nil> v:1} v:2}")
}

// The plotting library looks for the ticks of such an axis for ever.
func TestPlotOfNaN(t *testing.T) {
	nb := open(t)
	nb.want(`import ("math"; "gonum.org/v1/plot"; "gonum.org/v1/plot/plotter")
p := plot.New()
p.Add(&plotter.Line{XYs: plotter.XYs{{X: 0, Y: math.NaN()}, {X: 1, Y: 2}}})`)
	nb.want("p", "value the plot cannot be drawn: x goes from 0 to 1, y from NaN to NaN; leave out the points that are NaN")
}
