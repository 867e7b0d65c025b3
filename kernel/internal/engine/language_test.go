package engine_test

import (
	"os"
	"strings"
	"testing"
)

// What a cell can do of the language, each line a test. The values are those
// that Go gives; "refused" is an error that says so, and what Go would do is
// refuse as well or, in the lines of what the interpreter does not have, work.
var language = []struct{ what, code, want string }{
	{"range over an int literal", "s := 0\nfor i := range 4 { s += i }\ns", "value 6"},
	{"range over an int variable", "n := 4\ns := 0\nfor i := range n { s += i }\ns", "value 6"},
	{"range over a typed int", "var n int64 = 3\nvar s int64\nfor i := range n { s += i * n }\ns", "value 9"},
	{"range over an int without a variable", "k := 0\nfor range 5 { k++ }\nk", "value 5"},
	{"range over an int with an outer variable", "var i int\nfor i = range 3 { }\ni", "value 2"},
	{"range over an int inside a function", "func f(n int) (s int) { for i := range n { if i == 1 { continue }; for j := range i { s += j } }; return }\nf(5)", "value 10"},
	{"range over an int with an expression", "xs := []int{1, 2, 3}\ns := 0\nfor i := range len(xs) - 1 { s += xs[i] }\ns", "value 3"},
	{"min and max of numbers", "min(3, 1, 2) + max(4, 5)", "value 6"},
	{"min of variables", "a, b := 2.5, 1.5\nmin(a, b, 3)", "value 1.5"},
	{"min of a unit", "import . \"github.com/evenbed/evenbed/packing/units\"\nmin(3*Bar, 200*Kilopascal)", "value 2 bar"},
	{"max of strings", "max(\"a\", \"b\")", "value b"},
	{"own min hides the builtin", "func() int { min := func(a, b int) int { return 7 }; return min(1, 2) }()", "value 7"},
	{"clear of a map", "m := map[string]int{\"a\": 1}\nclear(m)\nlen(m)", "value 0"},
	{"clear of a slice", "xs := []int{1, 2}\nclear(xs)\nxs", "value [0 0]"},
	{"loop variable per iteration", "var fs []func() int\nfor i := 0; i < 3; i++ { fs = append(fs, func() int { return i }) }\nfs[0]() + 10*fs[1]() + 100*fs[2]()", "value 210"},
	{"loop variable per iteration, changed in the body", "var gs []func() int\nfor i := 0; i < 6; i++ { gs = append(gs, func() int { return i }); i++ }\nlen(gs)*1000 + gs[0]() + 10*gs[1]() + 100*gs[2]()", "value 3531"},
	{"loop variable per iteration, with continue and break", "var hs []func() int\nfor i := 0; ; i++ { if i == 1 { continue }; if i > 3 { break }; hs = append(hs, func() int { return i }) }\nlen(hs)*1000 + hs[0]() + 10*hs[1]() + 100*hs[2]()", "value 3320"},
	{"range variable per iteration", "var ks []func() int\nfor _, v := range []int{1, 2, 3} { ks = append(ks, func() int { return v }) }\nks[0]() + 10*ks[1]() + 100*ks[2]()", "value 321"},
	{"address of a range variable", "var ps []*int\nfor i := range []int{0, 0, 0} { ps = append(ps, &i) }\n*ps[0] + 10**ps[1] + 100**ps[2]", "value 210"},
	{"mutual recursion", "func even(n int) bool { if n == 0 { return true }; return odd(n - 1) }\nfunc odd(n int) bool { if n == 0 { return false }; return even(n - 1) }\neven(10)", "value true"},
	{"mutual recursion, one redefined", "func odd(n int) bool { return true }\neven(3)", "value true"},
	{"methods in any order", "type T struct{ n int }\nfunc (t T) A() int { return t.B() + 1 }\nfunc (t T) B() int { return t.n }\nT{3}.A()", "value 4"},
	{"methods that call each other", "type U struct{}\nfunc (u U) A(n int) int { if n == 0 { return 0 }; return u.B(n-1) + 1 }\nfunc (u U) B(n int) int { return u.A(n) + 1 }\nU{}.A(3)", "value 6"},
	{"a type that refers to itself, with methods", "type node struct { next *node; v int }\nfunc (n *node) sum() int { if n == nil { return 0 }; return n.v + n.next.sum() }\n(&node{&node{nil, 2}, 1}).sum()", "value 3"},
	{"types that refer to each other", "type aa struct { b *bb }\ntype bb struct { a *aa; n int }\n(&aa{&bb{n: 4}}).b.n", "value 4"},
	{"a tree with methods", "type twig struct { kids []*twig; up *twig; v int }\nfunc (t *twig) Add(v int) *twig { k := &twig{up: t, v: v}; t.kids = append(t.kids, k); return k }\nfunc (t *twig) Sum() (s int) { for _, k := range t.kids { s += k.Sum() }; return s + t.v }\nroot := &twig{v: 1}\nroot.Add(2).Add(3).up.v += 10\nroot.Sum(), root.kids[0].kids[0].up.v, root.up == nil", "value 16 12 true"},
	{"an interface in a type that it mentions", "type term interface { eval(*scope) int }\ntype scope struct { vars map[string]term; outer *scope }\ntype lit int\nfunc (l lit) eval(*scope) int { return int(l) }\ntype ref string\nfunc (r ref) eval(s *scope) int { for ; s != nil; s = s.outer { if t, ok := s.vars[string(r)]; ok { return t.eval(s) } }; return -1 }\nref(\"a\").eval(&scope{outer: &scope{vars: map[string]term{\"a\": lit(7)}}})", "value 7"},
	{"the address of a field that leads back to its struct", "&root.up", "refused"},
	{"a type that refers to itself through an array", "type quad struct { q [4]*quad }\nfunc (q *quad) Get() *quad { return q.q[0] }", "refused"},
	{"a constant given to a cell's interface", "type area interface { Area() float64 }\ntype square float64\nfunc (s square) Area() float64 { return float64(s * s) }\nconst one square = 1\nareas := append([]area{one, square(2)}, square(3))\nareas[0].Area() + areas[1].Area() + areas[2].Area()", "value 14"},
	{"a cell's interface in a comparison", "areas[1] == square(2), areas[1] == areas[0]", "value true false"},
	{"a cell's interface as a key", "map[area]int{one: 1}[one]", "refused"},
	{"a dot import in its own cell", "import . \"strings\"\nToUpper(\"a\")", "value A"},
	{"comma ok at top level", "v, ok := map[string]int{\"k\": 1}[\"k\"]\nok", "value true"},
	{"comma ok of an assertion", "var x any = 3\nq, isInt := x.(int)\nisInt", "value true"},
	{"assignment to several variables at top level", "e1, e2 := 1, 2\ne1, e2 = e2, e1\n_, e1 = e1, 9\ne1*10 + e2", "value 91"},
	{"a pair as the last line", "1, \"a\"", "value 1 a"},
	{"a pair of variables as the last line", "l1, l2 := 1, 2.5\nl1, l2", "value 1 2.5"},
	{"a function literal first", "func() int { return 5 }()", "value 5"},
	{"a function literal first, called with arguments", "func(a, b int) int {\n\treturn a + b\n}(1, 2)", "value 3"},
	{"labelled loops", "c := 0\nouter:\nfor i := 0; i < 3; i++ { for j := 0; j < 3; j++ { if j == 1 { continue outer }; c++ } }\nc", "value 3"},
	{"goto", "g := 0\nagain:\ng++\nif g < 3 { goto again }\ng", "refused"},
	{"switch with fallthrough", "r := 0\nswitch 1 { case 1: r += 1; fallthrough; case 2: r += 2 }\nr", "value 3"},
	{"defer and recover", "import \"fmt\"\nfunc safe() (s string) { defer func() { if r := recover(); r != nil { s = \"caught\" } }(); panic(1) }\nsafe()", "value caught"},
	{"generic function", "func twice[T any](x T) []T { return []T{x, x} }\ntwice(2)", "value [2 2]"},
	{"generic type", "type pair[T any] struct{ a, b T }\npair[int]{1, 2}.b", "value 2"},
	{"range over a function", "seq := func(yield func(int) bool) { for i := 0; i < 3; i++ { if !yield(i) { return } } }\nt := 0\nfor v := range seq { t += v }\nt", "value 3"},
	{"range over a function with two values, break and continue", "func runes(s string) func(func(int, rune) bool) { return func(yield func(int, rune) bool) { for i, r := range s { if !yield(i, r) { return } } } }\nrt := \"\"\nfor i, r := range runes(\"abcdef\") { if i == 1 { continue }; if i == 4 { break }; rt += string(r) }\nrt", "value acd"},
	{"return from a range over a function", "func firstOver(n int) (int, error) { for v := range seq { if v > n { return v, nil } }; return 0, fmt.Errorf(\"none over %d\", n) }\nfirstOver(1)", "value 2"},
	{"labels and ranges over functions", "lt := 0\nouterSeq: for v := range seq { for w := range seq { if w > v { continue outerSeq }; if v == 2 { break outerSeq }; lt += 10*v + w } }\nlt", "value 21"},
	{"variable per iteration of a range over a function", "var qs []func() int\nfor v := range seq { qs = append(qs, func() int { v++; return v }) }\nqs[0](), qs[2](), qs[2]()", "value 1 3 4"},
	{"range over a method that is a function", "type deck struct{ cards []string }\nfunc (d deck) All(yield func(int, string) bool) { for i, c := range d.cards { if !yield(i, c) { return } } }\nall := \"\"\nfor _, c := range (deck{[]string{\"x\", \"y\"}}).All { all += c }\nall", "value xy"},
	{"a function that goes on after a break", "for range func(yield func() bool) { yield(); yield() } { break }", "refused"},
	{"defer in a range over a function", "func deferring() { for v := range seq { defer println(v) } }", "refused"},
	{"range over a function in a generic function", "func firstOf[T any](s func(func(T) bool), ok func(T) bool) (x T) { for v := range s { if ok(v) { return v } }; return x }\nfirstOf[int](seq, func(v int) bool { return v > 0 })", "value 1"},
	{"method expression", "type M struct{ n int }\nfunc (m M) Get() int { return m.n }\nM.Get(M{3})", "value 3"},
	{"string plus number", "\"a\" + 1", "refused"},
	{"string variable plus number", "str := \"a\"\nstr + 1", "refused"},
	{"number plus string constant", "1 + \"a\"", "refused"},
	{"a constant too large", "var f32 int8 = 300\nf32", "refused"},
	{"a large constant as float64", "var big float64 = 1 << 100\nbig", "value 1.2676506002282294e+30"},
	{"division of constants", "7 / 2.0", "value 3.5"},
	{"integer division", "7 / 2", "value 3"},
	{"a failed assertion", "var y any = \"s\"\ny.(int)", "refused"},
	{"Stringer through fmt", "import \"fmt\"\ntype st struct{}\nfunc (st) String() string { return \"mine\" }\nfmt.Sprint(st{})", "value mine"},
	{"Stringers in slices and maps through fmt", "fmt.Sprint([]st{{}, {}}, map[string]st{\"a\": {}}, [][]*st{{{}}}, fmt.Sprintf(\"%s|%v\", []st{{}}, [1]st{}))", "value [mine mine] map[a:mine] [[mine]][mine]|[mine]"},
	{"a cell's interface through fmt", "fmt.Sprint(areas[1], areas[:1])", "value 2 [1]"},
	{"%T of a cell's type", "type tt struct{}\nfmt.Sprintf(\"%T %T\", tt{}, []*tt{})", "value main.tt []*main.tt"},
	{"a struct with a field that is not exported", "struct{ a, B int }{1, 2}", "value {a:1 B:2}"},
	{"%v of a cell's type", "fmt.Sprintf(\"%v\", struct{ A int }{1})", "value {1}"},
	{"an error type of a cell", "type myErr struct{ n int }\nfunc (e myErr) Error() string { return \"mine\" }\nfunc fails() error { return myErr{1} }\nfails().Error()", "value mine"},
	{"errors.As to a cell's error type", "import \"errors\"\nvar me myErr\nerrors.As(fmt.Errorf(\"at 1: %w\", fails()), &me), me.n", "value true 1"},
	{"errors through a cell's Unwrap", "type step struct{ in error }\nfunc (s *step) Error() string { return \"step: \" + s.in.Error() }\nfunc (s *step) Unwrap() error { return s.in }\nvar inStep error = errors.Join(&step{fails()}, &step{errors.ErrUnsupported})\nvar ps *step\nerrors.Is(inStep, errors.ErrUnsupported), errors.Is(inStep, myErr{1}), errors.Is(inStep, myErr{2}), errors.As(inStep, &ps)", "value true true false true"},
	{"types of cells in an interface{}", "type bar int\ntype foot int\nfunc kindOf(x any) string { switch x.(type) { case bar: return \"bar\"; case foot: return \"foot\"; case int: return \"int\"; case nil: return \"nil\" }; return \"?\" }\nkindOf(bar(1)), kindOf(foot(1)), kindOf(1), kindOf(nil), kindOf([]bar{})", "value bar foot int nil ?"},
	{"an assertion to a type of a cell", "var inAny any = foot(4)\naFoot, isFoot := inAny.(foot)\n_, isBar := inAny.(bar)\n_, isPlain := inAny.(int)\naFoot, isFoot, isBar, isPlain", "value 4 true false false"},
	{"a wrong assertion to a type of a cell", "inAny.(bar)", "refused"},
	{"types of cells compared in an interface{}", "var otherAny any = bar(4)\ninAny == otherAny, inAny == any(foot(4)), map[any]int{foot(4): 1, bar(4): 2}[otherAny]", "value false true 2"},
	{"a cell's interface in an interface{}", "inAny = areas[1]\nsq1, isSquare := inAny.(square)\nar1, isArea := inAny.(area)\n_, noArea := any(foot(2)).(area)\nsq1, isSquare, ar1.Area(), isArea, noArea", "value 2 true 4 true false"},
	{"a type of a cell behind a linked interface", "_, isStringer := fails().(fmt.Stringer)\nwhy, isMine := fails().(myErr)\nisStringer, isMine, why.n", "value false true 1"},
	{"container/heap with a pointer that has methods of the value", "import \"container/heap\"\ntype work []int\nfunc (w work) Len() int { return len(w) }\nfunc (w work) Less(i, j int) bool { return w[i] < w[j] }\nfunc (w work) Swap(i, j int) { w[i], w[j] = w[j], w[i] }\nfunc (w *work) Push(x any) { *w = append(*w, x.(int)) }\nfunc (w *work) Pop() any { old := *w; x := old[len(old)-1]; *w = old[:len(old)-1]; return x }\nw := &work{5, 2, 8}\nheap.Init(w)\nheap.Push(w, 3)\nheap.Pop(w), heap.Pop(w), heap.Pop(w)", "value 2 3 5"},
	{"values of a cell kept by a linked package", "import \"container/list\"\nkept := list.New()\nkept.PushBack(bar(1))\nkept.PushBack(1)\n_, bar1 := kept.Front().Value.(bar)\n_, bar2 := kept.Back().Value.(bar)\nbar1, bar2", "value true false"},
	{"Stringers in structs and as keys through fmt", "type metre int\nfunc (m metre) String() string { return fmt.Sprint(int(m), \" m\") }\ntype stretch struct { From, to metre; At map[metre]bool }\nfmt.Sprintf(\"%v|%+v\", stretch{1, 2, nil}, &stretch{1, 2, map[metre]bool{4: true, 3: false}})", "value {1 m 2 map[]}|&{From:1 m to:2 At:map[3 m:false 4 m:true]}"},
	{"Go syntax of a cell's type", "fmt.Sprintf(\"%#v\", []myErr{{1}})", "value []main.myErr{main.myErr{n:1}}"},
	{"Stringers that are strings through Sprint", "type word string\nfunc (w word) String() string { return \"<\" + string(w) + \">\" }\nfmt.Sprint(word(\"a\"), word(\"b\"), 1)", "value <a><b>1"},
	{"errors.Unwrap of a cell's error", "errors.Unwrap(&step{errors.ErrUnsupported}) == errors.ErrUnsupported, errors.Unwrap(fails()) == nil, errors.Join() == nil", "value true true true"},
	{"JSON of a cell's struct", "import \"encoding/json\"\ntype note struct { Text string; secret int; At float64 `json:\"at\"` }\ninJSON, _ := json.Marshal([]any{note{\"a\", 1, 2}})\nstring(inJSON)", "value [{\"Text\":\"a\",\"at\":2}]"},
	{"JSON of an embedded struct", "json.Marshal(struct{ note }{})", "refused"},
	{"JSON by a cell's method", "type secret int\nfunc (s secret) MarshalJSON() ([]byte, error) { return nil, nil }\njson.Marshal([]secret{1})", "refused"},
	{"unused variable", "func() { unused := 1 }()", ""},
	{"int and float64", "i3 := 3\nf3 := 1.5\ni3 * f3", "refused"},
	{"uint8 wraps", "var u8 uint8 = 255\nu8++\nu8", "value 0"},
	{"shift", "sh := 3\n1 << sh", "value 8"},
	{"const iota", "const (\n\tca = iota\n\tcb\n)\ncb", "value 1"},
	{"embedded struct", "type base struct{ A int }\nfunc (b base) Hi() int { return b.A }\ntype der struct{ base }\nder{base{4}}.Hi()", "value 4"},
	{"interface of a cell", "type hi interface{ Hi() int }\nvar h hi = der{base{5}}\nh.Hi()", "value 5"},
	{"type switch", "func kind(x any) string { switch x.(type) { case int: return \"int\"; case string: return \"string\" }; return \"?\" }\nkind(1) + kind(\"\")", "value intstring"},
	{"array value copies", "ar := [2]int{1, 2}\nbr := ar\nbr[0] = 9\nar[0]", "value 1"},
	{"closures", "cnt := 0\ninc := func() { cnt++ }\ninc(); inc()\ncnt", "value 2"},
	{"multi-line composite", "xs2 := []struct{ A, B int }{\n\t{1, 2},\n\t{3, 4},\n}\nxs2[1].B", "value 4"},
	{"channels", "ch := make(chan int, 2)\nch <- 1\nch <- 2\nclose(ch)\nsum := 0\nfor v := range ch { sum += v }\nsum", "value 3"},
	{"select with default", "sel := 0\nselect { case v := <-make(chan int): sel = v; default: sel = 7 }\nsel", "value 7"},
	{"complex numbers", "real((1+2i) * (3-1i))", "value 5"},
	{"range over a string", "rs := 0\nfor _, r := range \"é1\" { rs += int(r) }\nrs", "value 282"},
	{"struct comparison", "der{base{1}} == der{base{1}}", "value true"},
	{"variadic", "func vs(xs ...int) int { return len(xs) }\nvs([]int{1, 2}...) + vs(1)", "value 3"},
	{"slices of three indices", "cap([]int{1, 2, 3}[0:1:2])", "value 2"},
	{"slices package", "import \"slices\"\nslices.Max([]int{1, 3, 2})", "refused"},
	{"a type that refers to itself", "type chain struct { next *chain; v int }\n(&chain{&chain{nil, 2}, 1}).next.v", "value 2"},
	{"generic function with a constraint", "type number interface{ ~int | ~float64 }\nfunc sumOf[T number](xs []T) T { var s T; for _, x := range xs { s += x }; return s }\nsumOf([]float64{1, 2.5})", "value 3.5"},
	{"generic function in a later cell", "sumOf([]int{1, 2})", "value 3"},
	{"generic function with its types written", "func conv[T, U any](x T, f func(T) U) U { return f(x) }\nconv[int, string](65, func(i int) string { return string(rune(i)) })", "value A"},
	{"generic variadic function without its types", "func lastOf[T any](xs ...T) T { return xs[len(xs)-1] }\nlastOf(1, 2)", "value 2"},
	{"method of a generic type", "type box[T any] struct{ v T }\nfunc (b box[T]) Get() T { return b.v }", "refused"},
	{"method expression of a pointer", "type mp struct{}\nfunc (*mp) Get() int { return 1 }\n(*mp).Get(nil)", "value 1"},
	{"Stringer through fmt, added in a later cell", "func (tt) String() string { return \"later\" }", ""},
	{"Stringer through Printf", "fmt.Sprintf(\"%v|%6s\", tt{}, tt{})", "value later| later"},
	{"a map's value", "map[string]int{\"a\": 4}[\"a\"]", "value 4"},
	{"receive", "rc := make(chan int, 1)\nrc <- 5\n<-rc", "value 5"},
	{"function without a return", "func noReturn() int { }", "refused"},
	{"float32 overflow", "var f39 float32 = 1e39", "refused"},
	{"unsigned constant below zero", "uint(3) - 5", "refused"},
	{"number given to a string parameter", "func takes(s string) string { return s }\ntakes(65)", "refused"},
	{"number in a list of strings", "[]string{\"a\", 66}", "refused"},
	{"a method value keeps its receiver", "type mv struct{ n int }\nfunc (m mv) Get() int { return m.n }\nmv1 := mv{1}\nget, pmv := mv1.Get, &mv1\nget2 := pmv.Get\nmv1.n = 5\nget()*10 + get2()", "value 11"},
	{"a method declared anew", "func (m mv) Get() string { return \"new\" }", ""},
	{"a method declared anew with another result", "mv{1}.Get() + \"er\"", "value newer"},
	{"a deferred method keeps its receiver", "mvs := 0\ntype mw struct{ n int }\nfunc (m mw) Put() { mvs = m.n }\nfunc() { m := mw{1}; defer m.Put(); m.n = 2 }()\nmvs", "value 1"},
	{"a deferred close and delete", "mdel := map[int]int{1: 1, 2: 2}\ncdel := make(chan int)\nfunc() { defer close(cdel); for k := range 2 { defer delete(mdel, k) } }()\n_, open := <-cdel\nopen, len(mdel)", "value false 1"},
	{"named results in a return of one another", "func swapped() (a, b int) { a, b = 1, 2; return b, a }\nswapped()", "value 2 1"},
	{"defer in no function", "defer println(1)", "refused"},
	{"a map's value as the only argument", "fmt.Sprint(map[string]int{\"a\": 4}[\"a\"])", "value 4"},
	{"a received value as the only argument", "func one(x any) any { return x }\nrc2 := make(chan int, 1)\nrc2 <- 3\none(<-rc2)", "value 3"},
	{"an asserted value as the only argument", "var as any = \"s\"\none(as.(string))", "value s"},
	{"a failed assertion as the only argument", "one(as.(int))", "refused"},
	{"an error of a cell's type through fmt", "type er2 struct{ n int }\nfunc (e *er2) Error() string { return \"er2\" }\nfunc fails2() error { return &er2{1} }\nwrapped := fmt.Errorf(\"at 1: %w\", fails2())\nvar noErr error\nfmt.Sprint(fails2(), errors.Unwrap(wrapped), wrapped, noErr)", "value er2 er2 at 1: er2 <nil>"},
	{"a range variable that the body changes", "turns := 0\nfor i := range []int{0, 0, 0} { i -= 1; turns += i }\nfor i := range [3]int{} { i--; turns += i }\nturns", "value 0"},
	{"a function used above its declaration", "below()\nfunc below() int { return 1 }", "refused"},
	{"nil sent", "cnil := make(chan error, 1)\ncnil <- nil\n<-cnil == nil", "value true"},
	{"nil in a type that refers to itself", "ch1 := &chain{&chain{nil, 2}, 1}\nch1.next = nil\nch1.next == nil", "value true"},
	{"shift by a typed constant", "type bit int\nconst (\n\tb0 bit = iota\n\tb1\n\tb2\n)\n1<<b1 | 1<<b2", "value 6"},
	{"a conversion of a number to a string", "string(rune(65))", "value A"},
	{"a variable in a cell's interface", "type valued interface{ V() int }\ntype coin struct{ n int }\nfunc (c coin) V() int { return c.n }\nfunc valuedAs(c coin) valued { return c }\ncn := coin{1}\nvar vl, vl2 valued = cn, valuedAs(cn)\nvls := append([]valued{cn}, valued(cn))\ncn.n = 5\nvl.V(), vl2.V(), vls[0].V(), vls[1].V(), cn.V()", "value 1 1 1 1 5"},
	{"a cell's interface in another", "type spent interface{ V() int; Spend() }\nfunc (c *coin) Spend() { c.n-- }\nvar sp spent = &cn\nvl = sp\nsp.Spend()\n_, isSpent := vl.(spent)\nvl.V(), vl.(*coin).n, isSpent", "value 4 4 true"},
	{"an interface embedded in another", "type coded interface {\n\terror\n\tvalued\n\tfmt.Stringer\n}\ntype failed struct{ coin }\nfunc (f failed) Error() string { return \"failed\" }\nfunc (f failed) String() string { return f.Error() }\nvar cd coded = failed{coin{3}}\nvar er error = cd\ncd.V(), er.Error(), er.(coded).V()", "value 3 failed 3"},
	{"constants that count with iota in a shift", "const (\n\t_  = iota\n\tkb = 1 << (10 * iota)\n\tmb\n)\nconst (\n\tf1 = 1 << iota\n\tf2\n\tf3\n)\nkb, mb, f1, f2, f3", "value 1024 1048576 1 2 4"},
	{"a variable declared anew beside its old value", "d1 := 1\nd1, d2 := 2, d1\nd1, d2", "value 2 1"},
	{"arguments of a goroutine", "gc, gd := make(chan int), make(chan []int)\ngs := []int{1}\ngo func(xs []int) { <-gc; gd <- xs }(gs)\ngs = nil\ngc <- 1\n<-gd", "value [1]"},
	{"a method value of an embedded field and of a pointer", "type purse struct{ *coin }\npu := purse{&coin{1}}\npc := &coin{10}\nget3, get4 := pu.V, pc.Spend\npu.n, pc = 2, &coin{20}\nget4()\nget3(), pc.n", "value 1 20"},
	{"a range over a pointer to an array", "pa := &[2]int{1, 2}\npas := 0\nfor _, v := range pa { pa[1] = 10; pas += v }\npas", "value 11"},
	{"the count of a copy", "cp := []int{1, 2, 3}\nnc := copy(cp, cp[1:])\nnc, cp", "value 2 [2 3 3]"},
	{"a cell's type in a generic function", "type grade float64\nfunc (g grade) String() string { return fmt.Sprintf(\"grade %.0f\", float64(g)) }\nfunc higher[T number](a, b T) T { if a > b { return a }; return b }\nfunc asAny[T any](x T) any { return x }\nfunc is[T any](x any) bool { _, ok := x.(T); return ok }\nfunc text[T any](x T) string { return fmt.Sprintf(\"%v %T\", x, x) }\nhigher[grade](1, 2), is[grade](asAny[grade](1)), is[grade](asAny[float64](1)), is[float64](asAny[float64](1)), text[grade](3)", "value grade 2 true false true grade 3 main.grade"},
	{"a range over an int in a generic function", "func fill[T any](n int, x T) (xs []T) { for range n { xs = append(xs, x) }; return }\nfill[string](2, \"a\")", "value [a a]"},
	{"type arguments that are left out", "func mapped[T, U any](xs []T, f func(T) U) (r []U) { for _, x := range xs { r = append(r, f(x)) }; return }\nfunc doubled[T number](x T) T { return 2 * x }\nfunc as[U, T number](x T) U { return U(x) }\nmapped(mapped([]grade{1, 2}, doubled), func(g grade) string { return fmt.Sprint(g) }), as[grade](3)", "value [grade 2 grade 4] grade 3"},
	{"reflect.DeepEqual of cells' types", "import \"reflect\"\nreflect.DeepEqual(grade(1), grade(1)), reflect.DeepEqual(grade(1), 1.0), reflect.DeepEqual([]any{coin{1}}, []any{coin{1}})", "value true false true"},
	{"reflection of cells' types", "reflect.TypeOf(grade(1))", "refused"},
	{"a Stringer in a template", "import \"text/template\"\nvar gradeText = template.Must(template.New(\"\").Parse(\"{{.}}\"))\ngradeText.Execute(nil, []grade{1})", "refused"},
	{"JSON by a cell's method, in an interface{}", "type sealed int\nfunc (s sealed) MarshalJSON() ([]byte, error) { return nil, nil }\nvar inSecret any = map[string]any{\"s\": sealed(1)}\n_, jsonErr := json.Marshal(inSecret)\njsonErr.Error()", "value json: error calling MarshalJSON for type engine.wrapped: encoding/json does not see the method MarshalJSON of sealed, which only the interpreter knows; encode what it makes"},
	{"a method Format for fmt", "type loud int\nfunc (l loud) Format(s fmt.State, verb rune) { }", "refused"},
	{"a nil and bytes in a struct through fmt", "fmt.Sprintf(\"%s\", struct { name []byte; err error }{[]byte(\"ab\"), nil})", "value {ab <nil>}"},
	{"%T of what cells and packages have declared", "import \"math/big\"\nfmt.Sprintf(\"%T %T %T\", big.NewInt(1), struct{ a int }{}, pair[int]{})", "value *big.Int struct { a int } main.pair[int]"},
	{"fields that are not exported, in a data frame", "import \"github.com/go-gota/gota/dataframe\"\ndataframe.LoadStructs([]struct { Name string; seen int; V float64 }{{\"a\", 1, 2}}).Names()", "value [Name V]"},
	{"nil in a type that refers to itself, through fmt", "type leaf struct { Kids []*leaf; up *leaf }\nfunc (l *leaf) String() string { return \"leaf\" }\nfmt.Sprint(leaf{}, leaf{Kids: []*leaf{{}}})", "value {[] <nil>} {[leaf] <nil>}"},
	{"an embedded interface of a package", "import \"sort\"\ntype falling struct{ sort.Interface }\nfunc (f falling) Less(i, j int) bool { return f.Interface.Less(j, i) }\nfal := []int{3, 1, 2}\nsort.Sort(falling{sort.IntSlice(fal)})\nfal", "value [3 2 1]"},
	{"a shift of the type that is wanted of it", "var sh63 uint64 = 1 << (sh + 60)\nfunc low(b byte) byte { return b }\nsh63, low(1 << sh), uint16(1<<(sh*10)-1)", "value 9223372036854775808 8 65535"},
	{"JSON into a type that refers to itself", "json.Unmarshal(nil, &leaf{})", "refused"},
	{"a method value of an interface", "var bound error = errors.New(\"first\")\nbe := bound.Error\nbound = nil\nbe()", "value first"},
	{"a goroutine with a list", "gl := make(chan int)\ngo func(xs ...int) { gl <- len(xs) }([]int{1, 2}...)\n<-gl", "value 2"},
	{"whether a channel is closed, in a select", "cc := make(chan int)\nclose(cc)\nokClosed := true\nselect { case _, okClosed = <-cc: }\nokClosed", "value false"},
	{"zero times what is no number", "import \"math\"\nnan := math.NaN()\nnan * 0, math.Inf(1) * 0", "value NaN NaN"},
	{"constants of more than 63 bits", "var huge float64 = 123456789012345678901234567890\nvar wide uint64 = 1<<64 - 1\nhuge, wide", "value 1.2345678901234568e+29 18446744073709551615"},
	{"range with an outer variable", "var last int\nfor last = range []string{\"a\", \"b\"} { }\nlast", "value 1"},
	{"errors.As to a package's error through a cell's Unwrap", "import \"strconv\"\n_, noNumber := strconv.Atoi(\"x\")\nvar numErr *strconv.NumError\nerrors.As(&step{noNumber}, &numErr), numErr.Func", "value true Atoi"},
	{"init", "func init() { huge = 0 }", "refused"},
	{"a map's value as a condition", "if map[string]bool{\"a\": true}[\"a\"] { last = 5 }\nlast", "value 5"},
	{"number literals", "0b101 + 0x_f + 1_000", "value 1020"},
}

func TestLanguage(t *testing.T) {
	nb := open(t)
	var table strings.Builder
	table.WriteString("# What a cell can do\n\nEach line is a cell that a test has run, in this order, in one notebook." +
		" Where it shows an error, the error is the interpreter's own or names the way round.\n\n| | cell | shows |\n| --- | --- | --- |\n")
	for _, tc := range language {
		got, r := nb.run(tc.code)
		shown := strings.Join(got, "; ")
		row := "`" + strings.TrimPrefix(shown, "value ") + "`"
		if shown == "" {
			row = ""
		}
		if r.Failure != nil {
			row = r.Failure.Name + ": " + r.Failure.Message
			shown = "refused"
		}
		if shown != tc.want {
			t.Errorf("%s:\n%s\nshows %q, want %q; failure %v", tc.what, tc.code, shown, tc.want, r.Failure)
		}
		cell := strings.ReplaceAll(strings.ReplaceAll(tc.code, "\n", "`<br>`"), "|", "\\|")
		table.WriteString("| " + tc.what + " | `" + strings.ReplaceAll(cell, "\t", "  ") + "` | " + strings.ReplaceAll(row, "|", "\\|") + " |\n")
	}
	const file = "../../LANGUAGE.md"
	if os.Getenv("UPDATE_GOLDEN") != "" {
		if err := os.WriteFile(file, []byte(table.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if string(want) != table.String() {
		t.Errorf("%s is not what the cells show; UPDATE_GOLDEN=1 writes it again", file)
	}
}
