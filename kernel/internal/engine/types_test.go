package engine_test

import (
	"fmt"
	"testing"
)

// A goroutine of an earlier cell looks into the interpreter's maps of types
// wherever it declares a variable, while later cells and completion write them.
func TestCompileBesideGoroutines(t *testing.T) {
	nb := open(t)
	nb.want("stop := false\nfor range 2 { go func() { for !stop { s := []int{1}; m := map[string]int{\"a\": len(s)}; _ = m } }() }")
	for i := range 40 {
		nb.want(fmt.Sprintf("type T%d struct { A int; F func(x float64) int }\nfunc f%[1]d(t T%[1]d, n *T%[1]d) map[string]T%[1]d { return nil }\nlen(f%[1]d(T%[1]d{}, nil))", i), "value 0")
	}
	nb.want("stop = true")
}

// Goroutines find out at the same time what types of cells can do. By hand: 300
// times an S, 150 times the text P, 300 times the 14 characters of
// P [P] map[1:P].
func TestTypesInGoroutines(t *testing.T) {
	nb := open(t)
	nb.want("import \"fmt\"\nimport \"sync\"")
	nb.want(`type S interface { A() int }
type X int
func (x X) A() int { return int(x) }
type P struct { n int }
func (p *P) A() int { return p.n }
func (p P) String() string { return "P" }`)
	nb.want(`var wg sync.WaitGroup
counts := make([]int, 8)
for g := range counts {
	wg.Add(1)
	go func() {
		defer wg.Done()
		for i := 0; i < 300; i++ {
			var a any = X(1)
			if i%2 == 0 { a = &P{i} }
			if _, ok := a.(S); ok { counts[g]++ }
			switch v := a.(type) { case fmt.Stringer: counts[g] += len(v.String()); case int: counts[g] = -1000 }
			var e fmt.Stringer = &P{g}
			if _, ok := e.(S); ok { counts[g] += len(fmt.Sprint(a, []P{{1}}, map[X]any{1: e})) }
		}
	}()
}
wg.Wait()
counts`, "value [4650 4650 4650 4650 4650 4650 4650 4650]")
}
