package advice

// Parts of expressions.
const (
	names = `([\pL_][\pL\pN_]*(?:\s*,\s*[\pL_][\pL\pN_]*)*)`
	name  = `([\pL_][\pL\pN_]*)`
	value = `([\pL_][\pL\pN_.\[\]]*)` // a variable, a field or an element
	text  = `(["'][^"']*["']|[\pL_][\pL\pN_.\[\]]*)`
	set   = `^\s*` + name + `\s*:?=\s*`

	operand = `([\pL_\d][\pL\pN_.]*(?:\([^()]*\)|\[[^\[\]]*\])?)`

	badSign     = `^illegal character|^curly quotation`
	notDeclared = `^NAME is not declared`
	looking     = `a loop looks for an element of a slice; a map is asked by _, ok := m[key], a text by strings.Contains(text, part)`
	noMember    = `undefined \(type|has no field or method`
)

// rules are tried one after the other. The first that fits is taken, so what is
// special stands before what is general.
var rules = []rule{
	// Signs that text programs write.
	{line: `[“”„«»]([^“”„«»]*)[“”„«»]`, message: badSign, instead: `text stands in straight quotes: "$1"`},
	{line: `[‘’‚]([^‘’‚]*)[‘’‚]`, message: badSign, instead: `text stands in straight quotes: "$1"`},
	{line: `[−–—]`, message: badSign, instead: `the minus sign of Go is - on the keyboard`},
	{line: `[×·]`, message: badSign, instead: `the multiplication sign of Go is *`},
	{line: `\x{a0}|\x{202f}`, message: badSign, instead: `there is a non-breaking space in the line; write a plain one`},
	{line: `^\s*(?:>>>|In \[\d+\]:)`, instead: `leave out the prompt`},

	// Commands.
	{line: `^\s*[!%]?\s*(?:pip3?|conda)\s+\S`, instead: `nothing is installed from a cell: what can be imported is linked in, and Tab between the quotes of import "" lists it`},
	{line: `^\s*%`, instead: `cells hold Go alone, no commands of the notebook`},
	{line: `^\s*!\s*[a-z]+\s+[\w./~"'-]`, instead: `cells hold Go alone; a shell command goes into a terminal`},
	{line: `^\s*!\s*(?:ls|cd|pwd|dir|cat|head|echo|git|python3?|whoami|date)\b`, message: `is not declared`, instead: `cells hold Go alone; a shell command goes into a terminal`},

	// Imports.
	{line: `^\s*(?:import|from)\s+(numpy|scipy)\b`, instead: `$1 is a package of Python; numbers are the field of math and of gonum: import "gonum.org/v1/gonum/stat", and floats, mat, optimize beside it`},
	{line: `^\s*(?:import|from)\s+pandas\b`, instead: `pandas is a package of Python; tables are data frames of gota: import "github.com/go-gota/gota/dataframe"`},
	{line: `^\s*(?:import|from)\s+(?:matplotlib|seaborn|plotly)\b`, instead: `plots are drawn by gonum: import "gonum.org/v1/plot"`},
	{line: `^\s*from\s+([\w.]+)\s+import\b`, instead: `Go imports whole packages: import "$1", and then the package stands before the name, as in math.Sqrt`},
	{line: `^\s*import\s+([\w./]+)\s+as\s+` + name, instead: `the other name stands first: import $2 "$1"`},
	{line: `^\s*import\s+([\w./]+)\s*,\s*([\w./]+)\s*$`, instead: `several packages stand in parentheses: import ("$1"; "$2")`},
	{line: `^\s*import\s+([\pL_][\pL\pN_/.]*)\s*$`, instead: `a package stands in double quotes: import "$1"`},

	// Blocks.
	{line: `^\s*while\s*\(?\s*(?:True|true|1)\s*\)?\s*[:{]`, instead: `every loop is a for: for { ... }`},
	{line: `^\s*while\b\s*(.+?)\s*[:{]`, instead: `every loop is a for: for $1 { ... }`},
	{line: `^\s*(?:elif|elsif|elseif)\s+(.+?)\s*:`, instead: `Go writes } else if $1 { ... }`},
	{line: `^\s*else\s*:`, instead: `a block stands in braces: } else { ... }`},
	{line: `^\s*else\b`, instead: `else stands on the line of the closing brace: } else {`},
	{line: `^\s*(?:if|while)\s+[^{"]*\sin\s[^{"]*:\s*$`, instead: looking},
	{line: `^\s*if\s+([^{]+?)\s*:(?:\s[^{]*)?$`, instead: `a block stands in braces: if $1 { ... }`},
	{line: `^\s*for\s+` + name + `\s+in\s+range\(\s*([^,()]+(?:\([^()]*\))?)\s*\)`, instead: `Go writes for $1 := range $2 { ... }`},
	{line: `^\s*for\s+` + name + `\s+in\s+range\(\s*([^,]+?)\s*,\s*([^,]+?)\s*\)\s*:`, instead: `Go writes for $1 := $2; $1 < $3; $1++ { ... }`},
	{line: `^\s*for\s+` + name + `\s+in\s+range\(\s*([^,]+?)\s*,\s*([^,]+?)\s*,\s*([^,]+?)\s*\)\s*:`, instead: `Go writes for $1 := $2; $1 < $3; $1 += $4 { ... }`},
	{line: `^\s*for\s+` + name + `\s*,\s*` + name + `\s+in\s+enumerate\((.+)\)`, instead: `Go writes for $1, $2 := range $3 { ... }`},
	{line: `^\s*for\s+` + name + `\s*,\s*` + name + `\s+in\s+zip\(([^,]+?)\s*,\s*(.+)\)`, instead: `Go writes for i := range $3 { $1, $2 := $3[i], $4[i]; ... }`},
	{line: `^\s*for\s+` + name + `\s*,\s*` + name + `\s+in\s+(.+?)\.items\(\)`, instead: `Go writes for $1, $2 := range $3 { ... }`},
	{line: `^\s*for\s+` + name + `\s+in\s+(.+?)\.keys\(\)`, instead: `Go writes for $1 := range $2 { ... }`},
	{line: `^\s*for\s+` + name + `\s+in\s+(.+?)\s*:`, instead: `Go writes for _, $1 := range $2 { ... }`},
	{line: `^\s*for\s.*\sin\s`, instead: `Go writes for i := range 10 { ... }, or for i, x := range list { ... }`},
	{line: `^\s*def\s+` + name + `\(\s*\)\s*:`, instead: `Go declares a function as func $1() { ... }`},
	{line: `^\s*def\s+` + name + `\(\s*` + names + `\s*\)\s*:\s*return\s+(.+?)\s*$`, instead: `Go declares a function as func $1($2 float64) float64 { return $3 }`},
	{line: `^\s*def\s+` + name + `\(\s*` + names + `\s*\)\s*:`, instead: `Go declares a function as func $1($2 float64) float64 { ... }`},
	{line: `^\s*(?:async\s+)?(?:def|function|fn)\s+\w`, instead: `Go declares a function as func f(x float64) float64 { return 2 * x }`},
	{line: name + `\s*:?=\s*lambda\s+` + names + `\s*:\s*(.+?)\s*$`, instead: `a function without a name is a func: $1 := func($2 float64) float64 { return $3 }`},
	{line: `\blambda\s+` + names + `\s*:\s*([^,)]+)`, instead: `a function without a name is a func: func($1 float64) float64 { return $2 }`},
	{line: `^\s*class\s+` + name, instead: `Go has structs with methods: type $1 struct { X float64 }, and func (v $1) Double() float64 { return 2 * v.X }`},
	{line: `^\s*(?:try|finally)\s*:|^\s*except\b.*:`, instead: `a function returns its error, which is looked at: y, err := f(), and then if err != nil { ... }`},
	{line: `^\s*try\s*:`, message: `^label`, instead: `a function returns its error, which is looked at: y, err := f(), and then if err != nil { ... }`},
	{line: `^\s*(?:raise|throw)\s+(?:new\s+)?\w+\((.*)\)`, instead: `a function returns its error, as in return errors.New($1); panic($1) ends the cell`},
	{line: `^\s*with\s+open\(\s*([^,)]+)`, instead: `os.ReadFile reads a file as a whole: data, err := os.ReadFile($1)`},
	{line: `^\s*with\s+\w`, instead: `what ends with a function is deferred in it: defer f.Close()`},
	{line: `^\s*assert\s+([\w("'].*?)\s*$`, instead: `Go has no assert; write if !($1) { panic("...") }`},
	{line: `^\s*del\s+` + value + `\[(.+)\]\s*$`, instead: `Go writes delete($1, $2)`},
	{line: `^\s*del\s+\w`, instead: `variables stay until the kernel is restarted; leave the line out`},
	{line: `^\s*(?:global|nonlocal)\s+\w`, instead: `functions see the variables of the notebook; leave the line out`},
	{line: `^\s*yield\s+\w`, instead: `Go has no generators; append the values to a slice`},
	{line: `^\s*@\w`, instead: `Go has no decorators; call the function that takes the other, as in f = cached(f)`},
	{line: `^\s*return\b`, message: `^too many return values`, instead: `a cell is no function; it shows the value of its last line`},
	{line: `^\s*pass\s*$`, message: notDeclared, instead: `an empty block is { }`},

	// Lists, dicts and the like.
	{line: `\[(.+?)\s+for\s+` + name + `\s+in\s+range\((.+?)\)\s*\]`, instead: `a loop fills a slice: for $2 := range $3 { ys = append(ys, $1) }`},
	{line: `\[(.+?)\s+for\s+` + name + `\s+in\s+(.+?)\]`, instead: `a loop fills a slice: for _, $2 := range $3 { ys = append(ys, $1) }`},
	{line: `\{(.+?)\s*:\s*(.+?)\s+for\s+` + name + `\s+in\s+(.+?)\}`, instead: `a loop fills a map: for _, $3 := range $4 { m[$1] = $2 }`},
	{line: `np\.array\(\s*\[([^\[\]]*)\]\s*\)`, instead: `numpy is a package of Python; a slice holds numbers: []float64{$1}`},
	{line: set + `\[\s*\]\s*$`, instead: `a list is a slice: $1 := []float64{}`},
	{line: set + `\[\s*$`, instead: `a list is a slice: $1 := []float64{ ... }, with a comma at the end of each line`},
	{line: set + `\[\s*(["'].*?)\s*,?\s*\]\s*$`, instead: `a list is a slice: $1 := []string{$2}`},
	{line: set + `\[\s*\[`, instead: `a list of lists is a slice of slices: $1 := [][]float64{{1, 2}, {3, 4}}`},
	{line: set + `\[([^\[\]]+?)\s*,?\s*\]\s*$`, instead: `a list is a slice: $1 := []float64{$2}`},
	{line: `(?:^\s*|[(,=]\s*)\[\s*(["'][^\[\]]*)\]`, instead: `a list is a slice: []string{$1}`},
	{line: `(?:^\s*|[(,=]\s*)\[\s*(-?[\d.]+(?:\s*,\s*-?[\d.]+)+)\s*\]`, instead: `a list is a slice: []float64{$1}`},
	{line: set + `\{\s*\}\s*$`, instead: `a dict is a map: $1 := map[string]float64{}`},
	{line: set + `\{\s*\}\s*$`, message: notDeclared, instead: `a dict is a map: $1 := map[string]float64{}`},
	{line: set + `\{\s*$`, instead: `a dict is a map: $1 := map[string]float64{ ... }, with a comma at the end of each line`},
	{line: set + `\{\s*(["'][^"']*["']\s*:\s*["'].*?)\s*,?\s*\}\s*$`, instead: `a dict is a map: $1 := map[string]string{$2}`},
	{line: set + `\{\s*(["'][^"']*["']\s*:.*?)\s*,?\s*\}\s*$`, instead: `a dict is a map: $1 := map[string]float64{$2}`},
	{line: set + `\{\s*([^"'{}]+:.*?)\s*,?\s*\}\s*$`, instead: `a dict is a map: $1 := map[float64]float64{$2}`},
	{line: set + `\{[^:{}]+\}\s*$`, instead: `Go has no sets; a map tells what is in one: $1 := map[float64]bool{1: true, 2: true}`},
	{line: set + `\(([^()]+,[^()]*?)\s*,?\s*\)\s*$`, instead: `Go has no tuples; write several variables, or a slice: $1 := []float64{$2}`},

	// Operators.
	{line: set + `([^{}]+?)\s+if\s+([^{}]+?)\s+else\s+([^{}]+?)\s*$`, instead: `Go writes if $3 { $1 = $2 } else { $1 = $4 }`},
	{line: `([^{}]+?)\s+if\s+([^{}]+?)\s+else\s+([^{}]+?)\s*$`, instead: `Go has no such expression; write if $2 { ... } else { ... }`},
	{line: value + `\s+is\s+not\s+None\b`, instead: `Go writes $1 != nil`},
	{line: value + `\s+is\s+None\b`, instead: `Go writes $1 == nil`},
	{line: `\sin\s`, message: `found (?:'IDENT' )?in$`, instead: looking},
	{line: `^\s*(?:if|for)\s[^"']*\b(?:and|or|not)\b|^\s*not\s+[\w(]`, instead: `Go writes && for and, || for or, ! for not`},
	{line: `\b(?:and|or|not)\b`, message: `found (?:'IDENT' )?(?:and|or|not)$`, instead: `Go writes && for and, || for or, ! for not`},
	{line: `^\s*(\+\+|--)\s*` + value, instead: `it stands behind the variable: $2$1`},
	{line: `\S.*[=(,]\s*` + value + `(\+\+|--)`, instead: `$1$2 is a statement, not a value; write it in a line of its own`},
	{line: operand + `\s*\*\*\s*` + operand, message: `^cannot indirect `, instead: `a power is math.Pow($1, $2)`},
	{line: operand + `\s*\^\s*` + operand, message: `operator \^ not defined`, instead: `^ is the exclusive or of integers; a power is math.Pow($1, $2)`},
	{line: `%`, message: `^operator % not defined on .*float`, instead: `the remainder of numbers with a fraction is math.Mod(x, y)`},
	{line: `([\w.]+)\s*(<=?|>=?)\s*([\w.]+)\s*(<=?|>=?)\s*([\w.]+)`, message: `mismatched types .*\bbool\b`, instead: `write $1 $2 $3 && $3 $4 $5`},
	{line: value + `\[-(\d+)\]`, message: `must not be negative`, instead: `write $1[len($1)-$2]`},
	{line: value + `\[-(\d+):\]`, message: `must not be negative`, instead: `write $1[len($1)-$2:]`},
	{line: value + `\[:-(\d+)\]`, message: `must not be negative`, instead: `write $1[:len($1)-$2]`},
	{line: value + `\[[^\]:]*:[^\]:]*:\s*([\w-]*)\s*\]`, message: `index required in 3-index slice`, instead: `a slice has no step; write for i := 0; i < len($1); i += $2 { ... }`},

	{line: `([\d.]+)\s*\*\s*((?:\w+\.)?Celsius)\b`, message: `mismatched types`, instead: `a temperature is $2($1)`},

	// Texts.
	{line: `"""|'''`, instead: "a text of several lines stands in backquotes: `...`"},
	{line: `(?:^|[(=,+\s])[fF]["'].*\{\s*([\w.]+)[^{}]*\}`, instead: `values go into a text by verbs: fmt.Sprintf("%v", $1)`},
	{line: `^\s*print\s+(["'\w].*?)\s*$`, instead: `Go writes fmt.Println($1)`},
	{line: `'([^']*)'`, message: `rune literal`, instead: `single quotes hold one character; text stands in double quotes: "$1"`},
	{line: `("[^"]*")\s*%\s*\(?([^()]+)\)?`, message: `mismatched types.*string`, instead: `write fmt.Sprintf($1, $2)`},
	{line: `("[^"]*")\s*\*\s*(\w+)`, message: `mismatched types.*string`, instead: `write strings.Repeat($1, $2)`},
	{line: `("[^"]*")\s*\+\s*` + value, message: `mismatched types.*string`, instead: `write fmt.Sprint($1, $2)`},
	{line: text + `\.upper\(\)`, message: noMember, instead: `write strings.ToUpper($1)`},
	{line: text + `\.lower\(\)`, message: noMember, instead: `write strings.ToLower($1)`},
	{line: text + `\.strip\(\)`, message: noMember, instead: `write strings.TrimSpace($1)`},
	{line: text + `\.split\(\)`, message: noMember, instead: `write strings.Fields($1)`},
	{line: text + `\.split\((.+?)\)`, message: noMember, instead: `write strings.Split($1, $2)`},
	{line: text + `\.replace\((.+?)\)`, message: noMember, instead: `write strings.ReplaceAll($1, $2)`},
	{line: text + `\.startswith\((.+?)\)`, message: noMember, instead: `write strings.HasPrefix($1, $2)`},
	{line: text + `\.endswith\((.+?)\)`, message: noMember, instead: `write strings.HasSuffix($1, $2)`},
	{line: text + `\.find\((.+?)\)`, message: noMember, instead: `write strings.Index($1, $2)`},
	{line: text + `\.join\((.+?)\)`, message: noMember, instead: `write strings.Join($2, $1)`},
	{line: `\.format\((.*)\)`, message: noMember, instead: `write fmt.Sprintf("%v", $1)`},

	// Methods of lists, dicts and arrays.
	{line: value + `\.(?:append|push|add)\((.+)\)`, message: noMember, instead: `write $1 = append($1, $2)`},
	{line: value + `\.extend\((.+)\)`, message: noMember, instead: `write $1 = append($1, $2...)`},
	{line: value + `\.pop\(\)`, message: noMember, instead: `write $1 = $1[:len($1)-1]`},
	{line: value + `\.sort\(\)`, message: noMember, instead: `write sort.Float64s($1), of package sort`},
	{line: value + `\.reverse\(\)`, message: noMember, instead: `write floats.Reverse($1), of gonum.org/v1/gonum/floats`},
	{line: value + `\.copy\(\)`, message: noMember, instead: `write append([]float64{}, $1...)`},
	{line: value + `\.(?:length|size|shape|count)\b`, message: noMember, instead: `write len($1)`},
	{line: value + `\.mean\(\)`, message: noMember, instead: `write stat.Mean($1, nil), of gonum.org/v1/gonum/stat`},
	{line: value + `\.std\(\)`, message: noMember, instead: `write stat.StdDev($1, nil), of gonum.org/v1/gonum/stat`},
	{line: value + `\.sum\(\)`, message: noMember, instead: `write floats.Sum($1), of gonum.org/v1/gonum/floats`},
	{line: value + `\.max\(\)`, message: noMember, instead: `write floats.Max($1), of gonum.org/v1/gonum/floats`},
	{line: value + `\.min\(\)`, message: noMember, instead: `write floats.Min($1), of gonum.org/v1/gonum/floats`},
	{line: value + `\.(?:items|keys|values)\(\)`, message: noMember, instead: `write for k, v := range $1 { ... }`},
	{line: value + `\.get\(([^,)]+)`, message: noMember, instead: `write v, ok := $1[$2]`},

	// Functions that other languages have by no package.
	{line: `\bmap\(`, instead: `a loop calls a function for each element: for i, x := range xs { ys[i] = f(x) }`},
	{line: `\btype\(\s*([^()]+)\s*\)`, instead: `Go writes fmt.Printf("%T", $1)`},
	{line: `^\s*(?:\w+\s*:?=\s*)?(?:list\()?range\(`, instead: `range belongs to a loop: for i := range 10 { ... }`},
	{line: `\bstr\(\s*([^()]*(?:\([^()]*\))?[^()]*)\)`, message: `^str is not declared`, instead: `write fmt.Sprint($1)`},
	{line: `\b(?:float|double)\(\s*(["'].*?["'])\s*\)`, message: `^(?:float|double) is not declared`, instead: `write v, err := strconv.ParseFloat($1, 64)`},
	{line: `\b(?:float|double)\(\s*([^()]*(?:\([^()]*\))?[^()]*)\)`, message: `^(?:float|double) is not declared`, instead: `write float64($1)`},
	{line: `\bint\(\s*(".*?")\s*\)`, message: `^cannot convert "`, instead: `write n, err := strconv.Atoi($1)`},
	{line: `\bbool\(\s*(.+?)\s*\)`, message: `^cannot convert .* to type bool`, instead: `write $1 != 0`},
	{line: `\blist\(\s*([^()]*)\)`, message: `^list is not declared`, instead: `a list is a slice, which append([]float64{}, $1...) copies`},
	{line: `.`, message: `^dict is not declared`, instead: `a dict is a map: map[string]float64{}`},
	{line: `.`, message: `^set is not declared`, instead: `Go has no sets; a map tells what is in one: map[string]bool{}`},
	{line: `.`, message: `^tuple is not declared`, instead: `Go has no tuples; write several variables, or a slice`},
	{line: `\bsum\((.+?)\)`, message: `^sum is not declared`, instead: `write floats.Sum($1), of gonum.org/v1/gonum/floats`},
	{line: `\bmean\((.+?)\)`, message: `^mean is not declared`, instead: `write stat.Mean($1, nil), of gonum.org/v1/gonum/stat`},
	{line: `\bmax\(\s*` + value + `\s*\)`, message: `^max needs numbers|cannot be ordered$`, instead: `write floats.Max($1), of gonum.org/v1/gonum/floats`},
	{line: `\b(min|max)\(`, message: `^cannot call (?:min|max) \(variable`, instead: `a cell has made $1 a variable, which hides the function; math.Min, math.Max, floats.Min and floats.Max are there still`},
	{line: `\bmin\(\s*` + value + `\s*\)`, message: `^min needs numbers|cannot be ordered$`, instead: `write floats.Min($1), of gonum.org/v1/gonum/floats`},
	{line: `\bsorted\(\s*([^(),]+)`, message: `^sorted is not declared`, instead: `write sort.Float64s($1), which sorts in place, of package sort`},
	{line: `\breversed\(\s*([^(),]+)`, message: `^reversed is not declared`, instead: `write floats.Reverse($1), in place, of gonum.org/v1/gonum/floats`},
	{line: `\bround\(\s*(.+?)\s*,\s*(\d+)\s*\)`, message: `^round is not declared`, instead: `fmt.Sprintf("%.${2}f", $1) writes $2 digits`},
	{line: `.`, message: `^(?:enumerate|zip|filter) is not declared`, instead: `write for i, x := range xs { ... }`},
	{line: `.`, message: `^input is not declared`, instead: `write var s string, and then fmt.Scanln(&s), which asks`},
	{line: `\bopen\(\s*([^,)]+)`, message: `^open is not declared`, instead: `write data, err := os.ReadFile($1)`},
	{line: `\b(?:help|dir|vars)\(\s*(.+?)\s*\)`, message: `^(?:help|dir|vars) is not declared`, instead: `write ?$1`},
	{line: `.`, message: `^(?:help|dir|vars) is not declared`, instead: `write ? for the variables, and ? before a name for what it is`},
	{line: `.`, message: `^isinstance is not declared`, instead: `a value in an interface{} is asked by v, ok := x.(float64)`},
	{line: `.`, message: `^(?:exit|quit) is not declared`, instead: `the client's menu shuts the kernel down`},
	{line: `.`, message: `^(?:None|null|NULL|undefined) is not declared`, instead: `Go writes nil`},
	{line: `.`, message: `^True is not declared`, instead: `Go writes true`},
	{line: `.`, message: `^False is not declared`, instead: `Go writes false`},
	{line: `\b(?:console\.\w+|System\.out\.\w+)\((.*)\)`, message: `^(?:console|System) is not declared`, instead: `write fmt.Println($1)`},
	{line: `.`, message: `^np is not declared`, instead: `numpy is a package of Python; math has the functions, gonum's floats, stat and mat work on slices and matrices`},
	{line: `.`, message: `^pd is not declared`, instead: `pandas is a package of Python; gota has data frames: import "github.com/go-gota/gota/dataframe", and dataframe.ReadCSV`},
	{line: `.`, message: `^(?:plt|sns) is not declared`, instead: `plots are drawn by gonum: import "gonum.org/v1/plot", and p := plot.New()`},
	{line: `.`, message: `^random is not declared`, instead: `import "math/rand", and write rand.Float64()`},
	{line: `\btime\.sleep\(\s*(\d+)\s*\)`, message: `^package time has no sleep`, instead: `write time.Sleep($1 * time.Second)`},
	{line: `\btime\.sleep\(`, message: `^package time has no sleep`, instead: `write time.Sleep(500 * time.Millisecond) for half a second`},
	{line: `\bos\.listdir\(\s*(.+?)\s*\)`, message: `^package os has no listdir`, instead: `write os.ReadDir($1)`},

	// Variables.
	{line: `^\s*` + name + `\s*:\s*\w+(?:\[.*\])?\s*=\s*(.+?)\s*$`, message: `^label |is not declared`, instead: `write $1 := $2`},
	{line: `^\s*` + name + `\s*<-\s*(.+?)\s*$`, message: notDeclared, instead: `write $1 := $2`},
	{line: `^\s*((?:[\pL\pN_]+\s*,\s*)*NAME(?:\s*,\s*[\pL\pN_]+)*)\s*=\s*([^=\s].*?)\s*;?\s*$`, message: notDeclared, instead: `write $1 := $2`},
	{line: `^\s*NAME\s*[-+*/]=`, message: notDeclared, instead: `a variable begins with :=, as in NAME := 0.0`},
	{line: `^\s*(?:let|auto)\s+(?:mut\s+)?` + name + `\s*(?::\s*\w+\s*)?=\s*(.+?)\s*;?\s*$`, instead: `write $1 := $2`},
	{line: `^\s*const\s+` + name + `\s*:\s*\w+\s*=\s*(.+?)\s*;?\s*$`, instead: `write const $1 = $2`},
	{line: `^\s*(?:int|float|double|long|char|bool|str|string|String|float64)\s+` + name + `\s*=\s*(.+?)\s*;?\s*$`, instead: `write $1 := $2`},
}
