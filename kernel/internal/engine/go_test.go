package engine_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// againstGo are lines that the interpreter by itself gets wrong. A cell shows
// what a Go program prints, or refuses the line with the words.
var againstGo = []struct{ what, declare, code, refused string }{
	{what: "receive of a closed channel", code: `c := make(chan int); close(c); select { case v, ok := <-c: fmt.Println(v, ok) }`},
	{what: "receive of a value sent", code: `c := make(chan int, 1); c <- 4; select { case v, ok := <-c: fmt.Println(v, ok); default: fmt.Println("none") }`},
	{what: "receive of the last value sent", code: `c := make(chan string, 1); c <- ""; close(c); for range 2 { select { case v, ok := <-c: fmt.Printf("%q %v\n", v, ok) } }`},
	{what: "receive into variables", code: `c := make(chan float64); close(c); v, ok := 1.5, true; select { case v, ok = <-c: }; fmt.Println(v, ok)`},
	{what: "receive into a field and an element", code: `c := make(chan int); close(c); var s struct{ ok bool }; xs := []int{7}; s.ok = true; select { case xs[0], s.ok = <-c: }; fmt.Println(xs, s.ok)`},
	{what: "whether alone", code: `c := make(chan *int, 1); c <- nil; select { case _, ok := <-c: fmt.Println(ok) }; close(c); select { case _, ok := <-c: fmt.Println(ok) }`},
	{what: "a send beside it", code: `c, d := make(chan int), make(chan any, 1); select { case v, ok := <-c: fmt.Println(v, ok); case d <- "x": fmt.Println(<-d) }`},
	{what: "neither", code: `var c chan int; select { case v, ok := <-c: fmt.Println(v, ok); default: fmt.Println("neither") }`},
	{what: "break out of a labelled loop", code: "c := make(chan int, 3); c <- 1; c <- 2; close(c); n := 0\nloop:\nfor { select { case v, ok := <-c: if !ok { break loop }; n += v } }\nfmt.Println(n)"},
	{what: "break out of a labelled select", code: "c := make(chan int); close(c)\nchoice:\nselect { case _, ok := <-c: if !ok { break choice }; fmt.Println(\"not here\") }\nfmt.Println(\"behind\")"},
	{what: "two channels until both are closed", code: `a, b := make(chan int), make(chan int); go func() { for i := range 3 { a <- i }; close(a) }(); go func() { for i := range 3 { b <- i }; close(b) }()
s := 0; for a != nil || b != nil { select { case v, ok := <-a: if !ok { a = nil; break }; s += v; case v, ok := <-b: if !ok { b = nil; continue }; s += 10 * v } }; fmt.Println(s)`},
	{what: "into an interface{}", declare: `type chosen int`, code: `c := make(chan chosen, 1); c <- 3; var v any; ok := false; select { case v, ok = <-c: }; _, is := v.(chosen); fmt.Println(v, ok, is)`},

	{what: "zero times what is no number", code: `x := math.NaN(); fmt.Println(x*0, 0*x, x*0.0)`},
	{what: "zero times infinity", code: `x := math.Inf(-1); y := []float64{math.Inf(1)}; fmt.Println(x*0, 0*y[0], math.Inf(1)*0)`},
	{what: "zero by a constant's name", code: `const none = 0.0; x := math.Inf(1); fmt.Println(x*none, none*x, x*(1-1))`},
	{what: "zero as a factor of a variable", code: `x, xs := math.Inf(1), []float64{math.NaN(), -2}; x *= 0; for i := range xs { xs[i] *= 0 }; fmt.Println(x, xs)`},
	{what: "the sign of zero", code: `x := -2.0; z := x * 0; fmt.Println(1/z, 1/(z+0), 1/(0+z), 1/(z-0), 1/(0-z)); z += 0; fmt.Println(1 / z)`},
	{what: "zero as a divisor", code: `x, y := 3.0, -1.0; fmt.Println(x/0, y/0, (x-x)/0); x /= 0; fmt.Println(x)`},
	{what: "float32", code: `x := float32(math.Inf(1)); fmt.Println(x*0, x+0); x *= 0; fmt.Println(x)`},
	{what: "complex numbers", code: `x := complex(math.Inf(1), 1); fmt.Println(x*0, x+0)`},
	{what: "a type of a cell", declare: `type volts float64`, code: `v := volts(math.Inf(1)); fmt.Println(float64(v*0), float64(0*v))`},
	{what: "zero times an integer", code: `n := 5; n *= 0; fmt.Println(n, 7*n, (n+3)*0)`},
	{what: "many zeros", code: `x := math.Inf(1); fmt.Println(x` + strings.Repeat(" * 0", 500) + `, (x+1)*0 + 2*x*0, -1.5*0*x)`},
	{what: "zero in a function", declare: `func noughtTimes(x float64) float64 { return 0 * x }`, code: `fmt.Println(noughtTimes(math.NaN()), noughtTimes(3))`},
	{what: "zero in a generic function", declare: `func naught[T ~int | ~float64](x T) T { x += 0; return 0 * x }`, code: `fmt.Println(naught(math.NaN()), naught(3))`},

	{what: "a large integer as a float64", code: `var x float64 = 123456789012345678901234567890; fmt.Println(x, x == 123456789012345678901234567890)`},
	{what: "two to the 63rd", code: `var u uint64 = 9223372036854775808; var f float64 = 1 << 63; fmt.Println(u, f, float32(9223372036854775808))`},
	{what: "the largest uint64", code: `var u uint64 = 1<<64 - 1; fmt.Println(u, u == math.MaxUint64, u == 18446744073709551615, float64(math.MaxUint64))`},
	{what: "the smallest int64", code: `fmt.Println(-9223372036854775808, int64(-1<<63), math.MinInt64)`},
	{what: "large constants by name", code: `const e29, two65 = 123456789012345678901234567890, 1 << 65; fmt.Println(e29/1e10, e29>>60, two65>>60, float64(e29), float64(two65-1), e29%1000)`},
	{what: "large constants that count", code: "const (\n\t_ = iota\n\tka = 1 << (40 * iota)\n\tkb\n)\nfmt.Println(float64(kb), kb/ka, kb>>40)"},
	{what: "a product of constants", code: `const big = 1 << 62; fmt.Println(float64(big*8), big*8/16, -big*4.0, float32(big*big))`},
	{what: "large constants in an expression", code: `x := 0.5; fmt.Println(x*123456789012345678901, 100000000000000000000/x, x < 100000000000000000000)`},
	{what: "large constants as elements and keys", code: `m := map[uint64]string{1 << 63: "a"}; xs := []float64{1e19, 10000000000000000000, 20000000000000000000}; fmt.Println(m[9223372036854775808], xs, [1 << 66 >> 64]int{})`},
	{what: "a large constant in a switch", code: `var u uint64 = 1 << 63; switch u { case 1 << 63: fmt.Println("two to the 63rd"); default: fmt.Println("no") }`},
	{what: "a large complex constant", code: `var c complex128 = 100000000000000000000; fmt.Println(c + 200000000000000000000i)`},
	{what: "a large constant given to a function", declare: `func halfOf(x float64) float64 { return x / 2 }`, code: `fmt.Println(halfOf(36893488147419103232), math.Sqrt(100000000000000000000))`},
	{what: "a large constant in an interface{}", declare: `type count uint64`, code: `var a any = count(1 << 63); _, is := a.(count); fmt.Println(a, is, uint64(1<<63))`},

	{what: "a range that assigns", code: `var i int; for i = range []int{1, 2, 3} { }; fmt.Println(i); for i = range [4]int{} { }; fmt.Println(i)`},
	{what: "a range that assigns key and value", code: `var i, v int; for i, v = range []int{5, 6} { v++ }; fmt.Println(i, v)`},
	{what: "a range that assigns nothing", code: `i := 9; for i = range []int{} { }; for i = range map[int]int{} { }; fmt.Println(i)`},
	{what: "a range that assigns to a variable its body changes", code: `var i int; n := 0; for i = range []int{0, 0, 0} { n++; i -= 1 }; fmt.Println(i, n)`},
	{what: "a range that assigns over a text", code: `var i int; var r rune; for i, r = range "aé" { }; fmt.Println(i, r); func() { for _, r = range "xy" { } }(); fmt.Println(r)`},
	{what: "a range that assigns over a channel", code: `c := make(chan int, 2); c <- 4; c <- 5; close(c); var v int; for v = range c { }; fmt.Println(v)`},
	{what: "a range that assigns to fields and elements", code: `var s struct{ i int }; xs := []string{"", ""}; for s.i, xs[1] = range []string{"a", "b"} { }; fmt.Println(s.i, xs)`},
	{what: "a range that assigns, left early", code: "var i int\nouter:\nfor i = range 5 { for i = range []int{1, 2, 3} { if i == 1 { break outer } } }\nfmt.Println(i)"},
	{what: "a range that assigns to a result", declare: `func lastIndex(xs []int) (i int) { for i = range xs { }; return }`, code: `fmt.Println(lastIndex([]int{1, 2, 3}), lastIndex(nil))`},
	{what: "a range that assigns to an interface{}", declare: `type ranged int`, code: `var v any; for _, v = range []ranged{1, 2} { }; _, is := v.(ranged); fmt.Println(v, is)`},

	{what: "errors.As through a cell's Unwrap", declare: "type during struct{ err error }\nfunc (d during) Error() string { return \"during: \" + d.err.Error() }\nfunc (d during) Unwrap() error { return d.err }",
		code: `_, err := os.Open("/does/not/exist"); var pe *fs.PathError; fmt.Println(errors.As(during{err}, &pe), pe.Op)`},
	{what: "errors.As through two of them", code: `_, err := strconv.Atoi("x"); var ne *strconv.NumError; fmt.Println(errors.As(during{fmt.Errorf("at 1: %w", during{err})}, &ne), ne.Func)`},
	{what: "errors.As to what is not there", code: `var pe *fs.PathError; fmt.Println(errors.As(during{errors.New("a")}, &pe), pe == nil, errors.As(nil, &pe))`},
	{what: "errors.As through an Unwrap of several", declare: "type both struct{ errs []error }\nfunc (b *both) Error() string { return \"both\" }\nfunc (b *both) Unwrap() []error { return b.errs }",
		code: `_, err := os.Open("/does/not/exist"); var e error = &both{[]error{errors.New("a"), during{err}}}; var pe *fs.PathError; var d during; fmt.Println(errors.As(e, &pe), errors.As(e, &d), d.err == err)`},
	{what: "errors.As to an interface", declare: `type timed interface{ Timeout() bool }`, code: `_, err := os.Open("/does/not/exist"); var t timed; fmt.Println(errors.As(during{err}, &t) && !t.Timeout())`},
	{what: "errors.As by a cell's method As", declare: "type own struct{}\nfunc (own) Error() string { return \"own\" }\nfunc (own) As(x any) bool { p, ok := x.(**fs.PathError); if ok { *p = &fs.PathError{Op: \"mine\"} }; return ok }",
		code: `var pe *fs.PathError; fmt.Println(errors.As(during{own{}}, &pe), pe.Op)`},
	{what: "errors.As in a function", declare: `func isPath(err error) bool { var pe *fs.PathError; return errors.As(err, &pe) }`, code: `_, err := os.Open("/does/not/exist"); fmt.Println(isPath(during{err}), isPath(err), isPath(during{nil}))`},
	{what: "errors.As to an address in an interface{}", code: `var pe *fs.PathError; var to any = &pe; fmt.Println(errors.As(during{nil}, to))`, refused: "address of a variable"},

	{what: "init", declare: `func init() { fmt.Println("init") }`, refused: "nothing calls init in a notebook"},
	{what: "init that sets a variable", declare: "var table []int\nfunc init() { table = append(table, 1) }", code: `fmt.Println(table)`, refused: "nothing calls init in a notebook"},
	{what: "a method init", declare: "type engine struct{ n int }\nfunc (e *engine) init() { e.n = 3 }", code: `e := new(engine); e.init(); fmt.Println(e.n)`},

	{what: "conditions with two values", code: `seen := map[string]bool{"a": true}; c := make(chan bool, 2); c <- true; c <- false
if seen["a"] { fmt.Println("a") }; if (seen["b"]) { fmt.Println("b") } else if <-c { fmt.Println("c") }; for <-c { fmt.Println("no") }; for seen["a"] { seen["a"] = false }; var x any = true; if x.(bool) { fmt.Println(seen) }`},
	{what: "a condition of a cell's type", declare: `type truth bool`, code: `m := map[int]truth{1: true}; if m[1] { fmt.Println("true") }; for m[2] { fmt.Println("no") }`},
}

func TestAgainstGo(t *testing.T) {
	const imports = "import (\n\t\"errors\"\n\t\"fmt\"\n\t\"io/fs\"\n\t\"math\"\n\t\"os\"\n\t\"strconv\"\n)\n"
	program := "package main\n" + imports
	calls := ""
	for i, tc := range againstGo {
		program += tc.declare + "\n" + fmt.Sprintf("func case%d() {\n%s\n}\n", i, tc.code)
		calls += fmt.Sprintf("case%d()\nfmt.Println(\"\\x00\")\n", i)
	}
	program += "var _ = fmt.Sprint(errors.New, fs.ErrExist, math.Pi, os.Args, strconv.Itoa)\nfunc main() {\nfmt.Println(\"\\x00\")\n" + calls + "}\n"
	file := filepath.Join(t.TempDir(), "main.go")
	if err := os.WriteFile(file, []byte(program), 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("go", "run", file).CombinedOutput()
	if err != nil {
		t.Fatalf("go run: %v\n%s", err, out)
	}
	printed := strings.Split(string(out), "\x00\n")[1:]
	nb := open(t)
	nb.run(imports)
	for i, tc := range againstGo {
		_, r := nb.run(tc.declare)
		runs := []string{tc.code, fmt.Sprintf("func() {\n%s\n}()", tc.code)} // at the top level, and in a function
		for _, code := range runs {
			var got []string
			if r.Failure == nil {
				got, r = nb.run(code)
			}
			switch {
			case tc.refused != "":
				if r.Failure == nil || !strings.Contains(r.Failure.Message, tc.refused) {
					t.Errorf("%s: shows %q, fails with %v, want a refusal with %q", tc.what, got, r.Failure, tc.refused)
				}
			case r.Failure != nil || strings.Join(got, "") != "stdout "+printed[i]:
				t.Errorf("%s:\n%s\nshows %q, fails with %v, and Go prints %q", tc.what, code, got, r.Failure, printed[i])
			}
		}
	}
}
