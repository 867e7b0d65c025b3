package advice_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/kernel/internal/advice"
)

func TestOf(t *testing.T) {
	for _, tc := range []struct {
		message string
		syntax  bool
		cell    string
		line    int
		want    string
		at      int
	}{
		{"expected ';', found n", true, "x := 1\nwhile n < 3:", 2, "every loop is a for: for n < 3 { ... }", 2},
		{"expected operand, found '}'", true, "d = {\n\t\"a\": 1,\n}\n", 3, "a dict is a map: d := map[string]float64{ ... }, with a comma at the end of each line", 1},
		{"expected ';', found 3", true, "// for x in xs:\ny := 2 3", 2, "expected ';', found 3", 2},
		{"expected ';', found 3", true, "s := `\n# heading`\ny := 2 3", 3, "expected ';', found 3", 3},
		{"missing ',' in argument list", true, "f(\"this and that\" 3)", 1, "missing ',' in argument list", 1},
		{"str is not declared; did you mean stp?", false, "y := str(len(xs)) + f(3)", 1, "str is not declared; write fmt.Sprint(len(xs))", 1},
		{"x is not declared; did you mean y?", false, "x == 3", 1, "x is not declared; did you mean y?", 1},
		{"a1 is not declared", false, "if true { a1 = 'b' }", 1, "a1 is not declared", 1},
		{"größe is not declared", false, "größe = 'b'", 1, "größe is not declared; write größe := \"b\"", 1},
		{"whatever", true, "", 2, "whatever", 2},
	} {
		if got, at := advice.Of(tc.message, tc.syntax, strings.Split(tc.cell, "\n"), tc.line); got != tc.want || at != tc.at {
			t.Errorf("%s\nis told %q at line %d\nwant    %q at line %d", tc.cell, got, at, tc.want, tc.at)
		}
	}
}

// A line of Go gets no advice, whatever else is wrong in its cell.
func TestGoGetsNoAdvice(t *testing.T) {
	files, err := filepath.Glob("../../../notebooks/*.ipynb")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	n := 0
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		var nb struct {
			Cells []struct {
				Kind   string   `json:"cell_type"`
				Source []string `json:"source"`
			} `json:"cells"`
		}
		if err := json.Unmarshal(data, &nb); err != nil {
			t.Fatal(file, err)
		}
		for _, c := range nb.Cells {
			if c.Kind != "code" {
				continue
			}
			lines := strings.Split(strings.Join(c.Source, ""), "\n")
			n += len(lines)
			const message = "expected ';', found x"
			if got, at := advice.Of(message, true, lines, len(lines)); got != message {
				t.Errorf("%s: %q is told %q", file, lines[at-1], got)
			}
		}
	}
	if n < 500 {
		t.Errorf("%d lines of Go were looked at", n)
	}
}
