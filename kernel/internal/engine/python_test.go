package engine_test

import (
	"os"
	"strings"
	"testing"
)

// Lines of people who know Python, what a cell says to them, and what they may
// then write, which runs. Some come from other languages or out of a text.
var fromPython = []struct{ line, says, then string }{
	{"x = 3", "x is not declared; write x := 3", "x := 3"},
	{"x, y = 1, 2", "y is not declared; write x, y := 1, 2", "x, y := 1, 2"},
	{"z1: float = 3", "label z1 declared and not used; write z1 := 3", "z1 := 3"},
	{"count += 1", "count is not declared; a variable begins with :=, as in count := 0.0", "count := 0.0\ncount += 1"},
	{"area = 3 # in cm2", "a comment begins with //", "area := 3 // in cm2"},
	{"xs = [1, 2, 3]", "a list is a slice: xs := []float64{1, 2, 3}", "xs := []float64{1, 2, 3}"},
	{"names = ['a', 'b']", "a list is a slice: names := []string{\"a\", \"b\"}", "names := []string{\"a\", \"b\"}"},
	{"empty = []", "a list is a slice: empty := []float64{}", "empty := []float64{}"},
	{"rows = [[1, 2], [3, 4]]", "a list of lists is a slice of slices: rows := [][]float64{{1, 2}, {3, 4}}", "rows := [][]float64{{1, 2}, {3, 4}}"},
	{"m = {\"a\": 1, \"b\": 2}", "a dict is a map: m := map[string]float64{\"a\": 1, \"b\": 2}", "m := map[string]float64{\"a\": 1, \"b\": 2}"},
	{"none = {}", "none is not declared; a dict is a map: none := map[string]float64{}", "none := map[string]float64{}"},
	{"known = {1, 2}", "Go has no sets; a map tells what is in one: known := map[float64]bool{1: true, 2: true}", "known := map[float64]bool{1: true, 2: true}"},
	{"pair = (1, 2)", "Go has no tuples; write several variables, or a slice: pair := []float64{1, 2}", "pair := []float64{1, 2}"},
	{"if x > 3:\n    print(x)", "a block stands in braces: if x > 3 { ... }", "if x > 3 { print(x) }"},
	{"if not ok and x is None:", "a block stands in braces: if !ok && x == nil { ... }", "ok := false\nif !ok && err == nil { }"},
	{"elif x > 2:", "Go writes } else if x > 2 { ... }", "if x > 3 { } else if x > 2 { }"},
	{"else:", "a block stands in braces: } else { ... }", "if x > 3 { } else { }"},
	{"while x < 5:\n    x += 1", "every loop is a for: for x < 5 { ... }", "for x < 5 { x += 1 }"},
	{"while True:", "every loop is a for: for { ... }", "for { break }"},
	{"for i in range(10):\n    print(i)", "Go writes for i := range 10 { ... }", "for i := range 10 { print(i) }"},
	{"for i in range(2, len(xs)): print(i)", "Go writes for i := 2; i < len(xs); i++ { ... }", "for i := 2; i < len(xs); i++ { print(i) }"},
	{"for x in xs:", "Go writes for _, x := range xs { ... }", "for _, x := range xs { print(x) }"},
	{"for i, x in enumerate(xs):", "Go writes for i, x := range xs { ... }", "for i, x := range xs { print(i, x) }"},
	{"for k, v in m.items():", "Go writes for k, v := range m { ... }", "for k, v := range m { print(k, v) }"},
	{"for a, b in zip(xs, ys):", "Go writes for i := range xs { a, b := xs[i], ys[i]; ... }", "ys := xs\nfor i := range xs { a, b := xs[i], ys[i]; print(a, b) }"},
	{"def half(x):\n    return x / 2", "Go declares a function as func half(x float64) float64 { ... }", "func half(x float64) float64 { return x / 2 }"},
	{"def product(a, b): return a * b", "Go declares a function as func product(a, b float64) float64 { return a * b }", "func product(a, b float64) float64 { return a * b }"},
	{"double = lambda x: 2 * x", "a function without a name is a func: double := func(x float64) float64 { return 2 * x }", "double := func(x float64) float64 { return 2 * x }"},
	{"class Bead:\n    pass", "Go has structs with methods: type Bead struct { X float64 }, and func (v Bead) Double() float64 { return 2 * v.X }", "type Bead struct { X float64 }\nfunc (v Bead) Double() float64 { return 2 * v.X }"},
	{"try:\n    half(1)\n", "label try declared and not used; a function returns its error, which is looked at: y, err := f(), and then if err != nil { ... }", "f := func() (float64, error) { return 1, nil }\nv1, err := f()\nif err != nil { panic(err) }"},
	{"raise ValueError(\"too wide\")", "a function returns its error, as in return errors.New(\"too wide\"); panic(\"too wide\") ends the cell", "import \"errors\"\nfunc narrow() error { return errors.New(\"too wide\") }"},
	{"assert x > 1", "Go has no assert; write if !(x > 1) { panic(\"...\") }", "if !(x > 1) { panic(\"...\") }"},
	{"del m[\"a\"]", "Go writes delete(m, \"a\")", "delete(m, \"a\")"},
	{"return x", "too many return values have (int) want (); a cell is no function; it shows the value of its last line", "x"},
	{"import numpy as np", "numpy is a package of Python; numbers are the field of math and of gonum: import \"gonum.org/v1/gonum/stat\", and floats, mat, optimize beside it", "import \"gonum.org/v1/gonum/stat\""},
	{"import pandas as pd", "pandas is a package of Python; tables are data frames of gota: import \"github.com/go-gota/gota/dataframe\"", "import \"github.com/go-gota/gota/dataframe\""},
	{"import matplotlib.pyplot as plt", "plots are drawn by gonum: import \"gonum.org/v1/plot\"", "import \"gonum.org/v1/plot\""},
	{"import strconv as s", "the other name stands first: import s \"strconv\"", "import s \"strconv\""},
	{"import math", "a package stands in double quotes: import \"math\"", "import \"math\""},
	{"import os, time", "several packages stand in parentheses: import (\"os\"; \"time\")", "import (\"os\"; \"time\")"},
	{"from math import sqrt", "Go imports whole packages: import \"math\", and then the package stands before the name, as in math.Sqrt", "math.Sqrt(2)"},
	{"a1 = np.array([1, 2])", "numpy is a package of Python; a slice holds numbers: []float64{1, 2}", "a1 := []float64{1, 2}"},
	{"np.mean(xs)", "np is not declared; numpy is a package of Python; math has the functions, gonum's floats, stat and mat work on slices and matrices", "stat.Mean(xs, nil)"},
	{"pd.read_csv(\"a.csv\")", "pd is not declared; pandas is a package of Python; gota has data frames: import \"github.com/go-gota/gota/dataframe\", and dataframe.ReadCSV", "dataframe.ReadCSV(strings.NewReader(\"a,b\\n1,2\\n\"))"},
	{"not ok", "Go writes && for and, || for or, ! for not", "!ok"},
	{"ok or x > 3", "Go writes && for and, || for or, ! for not", "ok || x > 3"},
	{"err is None", "Go writes err == nil", "err == nil"},
	{"None", "None is not declared; Go writes nil", "nil"},
	{"3 in xs", "a loop looks for an element of a slice; a map is asked by _, ok := m[key], a text by strings.Contains(text, part)", "strings.Contains(\"abc\", \"b\")"},
	{"x = 1 if ok else 2", "Go writes if ok { x = 1 } else { x = 2 }", "if ok { x = 1 } else { x = 2 }"},
	{"1 < x < 5", "1 < x < 5 (mismatched types untyped bool and untyped int); write 1 < x && x < 5", "1 < x && x < 5"},
	{"xs.append(4)", "xs.append undefined (type []float64 has no field or method append); write xs = append(xs, 4)", "xs = append(xs, 4)"},
	{"xs.sort()", "xs.sort undefined (type []float64 has no field or method sort); write sort.Float64s(xs), of package sort", "import \"sort\"\nsort.Float64s(xs)"},
	{"xs[-1]", "invalid argument: index -1 (constant of type int) must not be negative; write xs[len(xs)-1]", "xs[len(xs)-1]"},
	{"xs[::2]", "a slice has no step; write for i := 0; i < len(xs); i += 2 { ... }", "for i := 0; i < len(xs); i += 2 { print(xs[i]) }"},
	{"[2*x for x in xs]", "a loop fills a slice: for _, x := range xs { ys = append(ys, 2*x) }", "for _, x := range xs { ys = append(ys, 2*x) }"},
	{"word.upper()", "word.upper undefined (type string has no field or method upper); write strings.ToUpper(word)", "strings.ToUpper(word)"},
	{"word.split(\",\")", "word.split undefined (type string has no field or method split); write strings.Split(word, \",\")", "strings.Split(word, \",\")"},
	{"\", \".join(names)", "\", \".join undefined (type untyped string has no field or method join); write strings.Join(names, \", \")", "strings.Join(names, \", \")"},
	{"str(x)", "str is not declared; write fmt.Sprint(x)", "fmt.Sprint(x)"},
	{"float(x)", "float is not declared; write float64(x)", "float64(x)"},
	{"float(\"1.5\")", "float is not declared; write v, err := strconv.ParseFloat(\"1.5\", 64)", "import \"strconv\"\nv, err := strconv.ParseFloat(\"1.5\", 64)\nif err == nil { v }"},
	{"int(\"3\")", "cannot convert \"3\" (untyped string constant) to type int; write n, err := strconv.Atoi(\"3\")", "n, err := strconv.Atoi(\"3\")\nif err == nil { n }"},
	{"sum(xs)", "sum is not declared; write floats.Sum(xs), of gonum.org/v1/gonum/floats", "import \"gonum.org/v1/gonum/floats\"\nfloats.Sum(xs)"},
	{"max(xs)", "invalid argument: xs (variable of type []float64) cannot be ordered; write floats.Max(xs), of gonum.org/v1/gonum/floats", "floats.Max(xs)"},
	{"sorted(xs)", "sorted is not declared; write sort.Float64s(xs), which sorts in place, of package sort", "sort.Float64s(xs)"},
	{"abs(-3)", "abs is not declared; did you mean math.Abs?", "math.Abs(-3)"},
	{"round(2.567, 2)", "round is not declared; fmt.Sprintf(\"%.2f\", 2.567) writes 2 digits", "fmt.Sprintf(\"%.2f\", 2.567)"},
	{"input(\"name? \")", "input is not declared; write var s string, and then fmt.Scanln(&s), which asks", "var answer string\n_ = &answer"},
	{"open(\"a.csv\")", "open is not declared; write data, err := os.ReadFile(\"a.csv\")", "_, err = os.ReadFile(\"a.csv\")\nif err == nil { }"},
	{"with open(\"a.csv\") as f:", "os.ReadFile reads a file as a whole: data, err := os.ReadFile(\"a.csv\")", ""},
	{"help(xs)", "help is not declared; write ?xs", "?xs"},
	{"type(x)", "Go writes fmt.Printf(\"%T\", x)", "fmt.Printf(\"%T\", x)"},
	{"print x", "Go writes fmt.Println(x)", "fmt.Println(x)"},
	{"print(f\"x = {x}\")", "values go into a text by verbs: fmt.Sprintf(\"%v\", x)", "fmt.Sprintf(\"%v\", x)"},
	{"\"x = \" + x", "\"x = \" + x (mismatched types untyped string and int); write fmt.Sprint(\"x = \", x)", "fmt.Sprint(\"x = \", x)"},
	{"\"-\" * 20", "\"-\" * 20 (mismatched types untyped string and untyped int); write strings.Repeat(\"-\", 20)", "strings.Repeat(\"-\", 20)"},
	{"# a comment", "a comment begins with //", "// a comment"},
	{"!ls", "ls is not declared; cells hold Go alone; a shell command goes into a terminal", ""},
	{"!pip install numpy", "nothing is installed from a cell: what can be imported is linked in, and Tab between the quotes of import \"\" lists it", ""},
	{"%matplotlib inline", "cells hold Go alone, no commands of the notebook", ""},
	{"half(2)^2", "operator ^ not defined on half(2) (value of type float64); ^ is the exclusive or of integers; a power is math.Pow(half(2), 2)", "math.Pow(half(2), 2)"},
	{"x^2", "^ is the exclusive or of integers, and no power; write math.Pow(float64(x), 2), or x ^ 0x2 if the exclusive or is meant", "math.Pow(float64(x), 2), x ^ 0x2"},
	{"10^12", "^ is the exclusive or of integers, and no power; write math.Pow(10, 12), or 10 ^ 0xc if the exclusive or is meant", "math.Pow(10, 12), 10 ^ 0xc"},
	{"x ** 2", "cannot indirect 2 (untyped int constant); a power is math.Pow(x, 2)", "math.Pow(half(4), 2)"},
	{"x = x++", "x++ is a statement, not a value; write it in a line of its own", "x++"},
	{"fmt.Println(“text”)", "text stands in straight quotes: \"text\"", "fmt.Println(\"text\")"},
	{"'text'", "single quotes hold one character; text stands in double quotes: \"text\"", "\"text\""},
	{"5 − 3", "the minus sign of Go is - on the keyboard", "5 - 3"},
	{"time.sleep(1)", "package time has no sleep; did you mean Sleep?; write time.Sleep(1 * time.Second)", "1 * time.Second"},
	{"let w = 3;", "write w := 3", "w := 3;"},
	{"console.log(x)", "console is not declared; write fmt.Println(x)", "fmt.Println(x)"},
}

// Quantities whose unit is wrong or missing.
var wrongUnits = []struct{ line, says, then string }{
	{"h := 20 cm", "20 cm is no expression; write 20 * Centimetre", "h := 20 * Centimetre"},
	{"u := 150 cm/h", "150 cm/h is no expression; write 150 * CentimetrePerHour", "u := 150 * CentimetrePerHour"},
	{"h := 20Centimetre", "20 Centimetre is no expression; write 20 * Centimetre", "h := 20 * Centimetre"},
	{"d := 26 * mm", "mm is not declared; the unit mm is written Millimetre", "d := 26 * Millimetre"},
	{"d := 26 * millimetre", "millimetre is not declared; did you mean Millimetre?", "d := 26 * Millimetre"},
	{"t := 25 °C", "25 °C is no expression; write Celsius(25)", "t := Celsius(25)"},
	{"t := 25 * Celsius", "25 * Celsius (mismatched types untyped int and func(float64) units.Temperature); a temperature is Celsius(25)", "t := Celsius(25)"},
	{"p := 5 %", "5 % is no expression; write 5 * Percent", "p := 5 * Percent"},
	{"packing.Column{InnerDiameter: 30}", "30 is a Length without its unit; multiply it by Centimetre, Metre, Micrometre, Millimetre or Nanometre", "packing.Column{InnerDiameter: 30 * Millimetre}"},
	{"v := 150.0; v * CentimetrePerHour", "v * CentimetrePerHour (mismatched types float64 and units.Velocity); a plain number in a variable v gets its unit by Times, as in CentimetrePerHour.Times(v)", "v := 150.0\nCentimetrePerHour.Times(v)"},
	{"b := packing.Column{InnerDiameter: v}", "cannot use v (variable of type float64) as units.Length value in struct literal; a plain number in a variable v gets its unit by Times, as in CentimetrePerHour.Times(v)", "b := packing.Column{InnerDiameter: Millimetre.Times(v)}"},
	{"2*Bar + 3*Centimetre", "2 * Bar + 3 * Centimetre (mismatched types units.Pressure and units.Length)", "2*Bar + 3*Kilopascal"},
	{"(20*Centimetre) / (10*Second)", "(20 * Centimetre) / (10 * Second) (mismatched types units.Length and units.Time); quantities are multiplied and divided by methods: Length.Within(Time) gives Velocity", "(20 * Centimetre).Within(10 * Second)"},
}

func TestFromPython(t *testing.T) {
	const head = "| the line | what the cell says |\n| --- | --- |\n"
	var table strings.Builder
	table.WriteString("# Go for those who know Python\n\nWhat a cell says of usual lines of Python, and of some that come from elsewhere. A test has run them all.\n\n" + head)
	nb := open(t)
	nb.run("import (\"fmt\"; \"strings\")\nword := \"a,b\"\nvar err error\n_ = strings.ToUpper")
	nb.says(&table, fromPython)
	table.WriteString("\n## Units\n\nThe cells have imported `github.com/evenbed/evenbed/packing`, and `. \"github.com/evenbed/evenbed/packing/units\"`. Where the second is missing the message names it.\n\n" + head)
	nb = open(t)
	nb.run("import \"github.com/evenbed/evenbed/packing\"\nimport . \"github.com/evenbed/evenbed/packing/units\"")
	nb.says(&table, wrongUnits)
	const file = "../../PYTHON.md"
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
		t.Errorf("%s is not what the cells say; UPDATE_GOLDEN=1 writes it again", file)
	}
}

// says runs lines and what may stand in their place, and writes what it is told
// as rows of a table.
func (nb *notebook) says(table *strings.Builder, lines []struct{ line, says, then string }) {
	for _, tc := range lines {
		_, r := nb.run(tc.line)
		says := ""
		if r.Failure != nil {
			says = r.Failure.Message
		}
		if says != tc.says || !strings.Contains(at(r.Failure.Traceback), "@1:") {
			nb.t.Errorf("%s\nsays %q\nwant %q", tc.line, says, tc.says)
		}
		if _, r := nb.run(tc.then); r.Failure != nil {
			nb.t.Errorf("%s\ninstead of\n%s\nfails with %s", tc.then, tc.line, r.Failure.Message)
		}
		cell := strings.NewReplacer("|", "\\|", "\n", "`<br>`").Replace(strings.TrimSpace(tc.line))
		table.WriteString("| `" + cell + "` | " + strings.NewReplacer("|", "\\|", "*", "\\*", "_", "\\_").Replace(says) + " |\n")
	}
}
