package engine_test

import (
	"strconv"
	"strings"
	"testing"
)

// live returns how many bytes are in use in the engine.
func (nb *notebook) live() int {
	nb.t.Helper()
	got, r := nb.run("runtime.GC()\nruntime.ReadMemStats(&stats)\nstats.HeapAlloc")
	n, err := strconv.Atoi(strings.TrimPrefix(strings.Join(got, "\n"), "value "))
	if err != nil {
		nb.t.Fatal(got, r.Failure)
	}
	return n
}

// A cell that leaves nothing behind costs no memory once it has ended, however
// often it runs.
func TestCellsLeaveNoMemory(t *testing.T) {
	nb := open(t)
	nb.want("import (\"fmt\"; \"runtime\")\nvar stats runtime.MemStats\nn, list := 0, []int{1, 2}")
	for _, code := range []string{
		"1+1", "n++", "x := 5", "fmt.Sprint(n, list)", "for _, v := range list { n += v }", "var y float64 = 2; y*y", "n +", "nothing()",
	} {
		for range 500 {
			nb.run(code)
		}
		before := nb.live()
		const cells = 1500
		for range cells {
			nb.run(code)
		}
		if per := float64(nb.live()-before) / cells; per > 100 {
			t.Errorf("%s leaves %.0f bytes behind", code, per)
		}
	}
}

// A function tells where it fails, in the words of its cell, long after that cell.
func TestOldFunctionsKnowTheirPlace(t *testing.T) {
	nb := open(t)
	nb.want("func half(list []int) int {\n\treturn list[2]\n}")
	nb.want("type pair struct { a, b int }\nfunc both[T any](x, y T) T {\n\treturn x % y\n}\nboth[int](5, 3)", "value 2")
	for range 1200 {
		nb.run("1+1")
	}
	for code, want := range map[string]string{
		"half([]int{1})":      "cell 1, line 2\x1b[0m\n    2 | \treturn list[2]",
		"both[float64](5, 3)": "cell 2:3:13", // the compiler's words
	} {
		_, r := nb.run(code)
		if r.Failure == nil {
			t.Fatalf("%s does not fail", code)
		}
		if text := strings.Join(r.Failure.Traceback, "\n"); !strings.Contains(text, strings.ReplaceAll(want, "\t", "    ")) {
			t.Errorf("%s: %q is not in\n%s", code, want, text)
		}
	}
}
