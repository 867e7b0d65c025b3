package engine_test

import (
	"strings"
	"testing"
)

func TestLongValuesAreShortened(t *testing.T) {
	nb := open(t)
	nb.want("xs := make([]float64, 1000)\nxs[0], xs[999] = 1, 2\nxs", "value [1 0 0 0 0 0 0 0 0 0 … 0 0 2] (1000 elements)")
	nb.want("type point struct{ X int }\nmake([]point, 300)", "value [{X:0} {X:0} {X:0} {X:0} {X:0} {X:0} {X:0} {X:0} {X:0} {X:0} … {X:0} {X:0} {X:0}] (300 elements)")
	nb.want("xs[:12]", "value [1 0 0 0 0 0 0 0 0 0 0 0]")
	got, _ := nb.run("import \"strings\"\nstrings.Repeat(\"é\", 50000)")
	if text := strings.Join(got, ""); len(text) > 50_000 || !strings.Contains(text, "… 50000 characters in all; fmt.Print writes them …") || !strings.HasSuffix(text, "éé") {
		t.Errorf("%d bytes: %.100q", len(text), text)
	}
	got, _ = nb.run("struct{ A, B []float64 }{make([]float64, 30000), nil}")
	if text := strings.Join(got, ""); len(text) > 50_000 || !strings.Contains(text, "characters in all") {
		t.Errorf("%d bytes", len(text))
	}
}

func TestVariables(t *testing.T) {
	nb := open(t)
	nb.want("?", "value there are no variables yet; x := 3 makes one")
	nb.want("import . \"github.com/evenbed/evenbed/packing/units\"\ntype bead struct{ d Length }\nh, beads := 20*Centimetre, []bead{{1 * Micrometre}}\nfunc f(x int) { }\nconst c = 1")
	nb.want(" ? \n", "value var beads []bead\nvar h units.Length")
	nb.want("h := 3\n_ = 2")
	nb.want("??", "value var beads []bead\nvar h int")
}

func TestWholeProgram(t *testing.T) {
	nb := open(t)
	nb.want("// A program.\npackage main\n\nimport \"fmt\"\n\ntype bed struct{ h float64 }\n\nfunc (b bed) String() string { return fmt.Sprint(b.h, \" cm\") }\n\nfunc main() {\n\tfmt.Println(bed{20}, half(20))\n}\n\nfunc half(x float64) float64 { return x / 2 }\n", "stdout 20 cm 10\n")
	nb.want("main()", "stdout 20 cm 10\n")
	nb.want("package main\n\nfunc other() { }")
	_, r := nb.run("package main\n\nfunc main() {\n\tvar xs []int\n\txs[len(xs)] = 1\n}")
	if r.Failure == nil || at(r.Failure.Traceback) != " @5:2" {
		t.Errorf("%v %q", r.Failure, r.Failure.Traceback)
	}
}
