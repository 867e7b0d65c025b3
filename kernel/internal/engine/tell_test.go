package engine_test

import (
	"strings"
	"testing"
)

// A name with a question mark shows what is known of it, and runs nothing.
func TestQuestions(t *testing.T) {
	nb := open(t)
	nb.want("ran := 0\nfunc twice(x float64) float64 { ran++; return 2 * x }")
	for code, want := range map[string]string{
		"?twice": "func twice(x float64) float64", "twice?": "func twice(x float64) float64", "ran??": "var ran int",
		"?units.Bar": "const Bar Pressure = 100000", "? \"strings\"": "package strings",
	} {
		if got := nb.data(code); !strings.Contains(got["text/plain"], want) || !strings.Contains(got["text/markdown"], "```go\n") {
			t.Errorf("%s shows %q", code, got)
		}
	}
	if _, r := nb.run("?nothing.here"); r.Failure == nil || r.Failure.Name != "not found" {
		t.Errorf("%+v", r.Failure)
	}
	if _, r := nb.run("figure.Signals?"); r.Failure == nil || !strings.Contains(r.Failure.Message, "package figure has no Signals; it has Above, Axis,") {
		t.Errorf("%+v", r.Failure)
	}
	nb.want("ran", "value 0")
}

// Functions, types and methods of cells are described as they were written.
func TestOwnDeclarations(t *testing.T) {
	nb := open(t)
	nb.want(`import "github.com/evenbed/evenbed/packing"

// A bead is one of the bed's.
//
// It is round.
type bead struct {
	Size  float64 // in µm
	wet   bool
	// Next is the one above.
	Next  *bead
}

// half returns x/2.
func half(x float64) (y float64) { return x / 2 }

// not a comment of what follows

func bare() { }

// Volume of a sphere.
func (b bead) Volume(scale float64) float64 { return scale }

type (
	// An area in cm².
	area float64
	other struct{ A, B int }
)
b := bead{}
beads := []*bead{&b}`)
	for code, want := range map[string]string{
		"?half":             "func half(x float64) (y float64)\n\nhalf returns x/2.",
		"half(":             "func half(x float64) (y float64)\n\nhalf returns x/2.",
		"?bare":             "func bare()",
		"?area":             "type area float64\n\nAn area in cm².",
		"?bead":             "type bead struct {\n\tSize  float64 // in µm\n\twet   bool\n\t// Next is the one above.\n\tNext  *bead\n}\n\nA bead is one of the bed's.\n\nIt is round.\n\nfunc (b bead) Volume(scale float64) float64",
		"?b":                "var b bead\n\ntype bead struct {\n\tSize  float64 // in µm\n\twet   bool\n\t// Next is the one above.\n\tNext  *bead\n}\n\nA bead is one of the bed's.*",
		"?b.Volume":         "func (b bead) Volume(scale float64) float64\n\nVolume of a sphere.",
		"beads[0].Volume(":  "func (b bead) Volume(scale float64) float64\n\nVolume of a sphere.",
		"x := bead{Next: ":  "Next *bead\n\ntype bead struct {*}\n\nNext is the one above.",
		"bead{Size: 2, wet": "wet bool\n\ntype bead struct {*",
		"y := other{B: 1":   "B int\n\ntype other struct{ A, B int }",
		"// Two.\nfunc two(a int) int { return 2 }\ntwo(": "func two(a int) int\n\nTwo.",
		"packing.Column{Tag: \"a\", InnerDiameter: ":      "InnerDiameter units.Length\n\ntype Column struct {*",
	} {
		text := ""
		if strings.HasPrefix(code, "?") {
			text = nb.data(code)["text/plain"]
		} else if b, found := nb.s.Inspect(code, len([]rune(code)), 0); found {
			text = string(b.Data["text/plain"])
		}
		if !like(strings.TrimSpace(text), want) {
			t.Errorf("%s shows\n%s\nwant\n%s", code, text, want)
		}
	}
	nb.want("// half is new.\nfunc half(x int) int { return x }")
	if text := nb.data("?half")["text/plain"]; text != "func half(x int) int\n\nhalf is new." {
		t.Errorf("%q", text)
	}
	nb.want("half2 := 1\ntype bead int")
	if text := nb.data("?bead")["text/plain"]; text != "type bead int" {
		t.Errorf("%q", text)
	}
	// Fields are proposed as they are declared.
	c, _ := nb.s.Complete("packing.Column{", 15)
	if len(c.Matches) < 3 || c.Matches[0].Text != "Tag" || c.Matches[1].Text != "InnerDiameter" || c.Matches[2].Text != "TubeHeight" {
		t.Errorf("%v", c.Matches)
	}
}
