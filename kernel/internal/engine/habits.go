package engine

import (
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/evenbed/evenbed/kernel/internal/pattern"
	"github.com/evenbed/evenbed/kernel/symbols"
)

// habits tell those who come from another language what Go writes instead, by
// the message and the line it is about.
var habits = []struct {
	message, line func() *regexp.Regexp
	instead       string
}{
	{pattern.New(`rune literal`), pattern.New(`'`), "single quotes hold one character; text stands in double quotes"},
	{pattern.New(`^expected 'STRING'`), pattern.New(`^\s*import\s+([\pL_][\pL\pN_/.]*)\s*$`), `a package stands in double quotes: import "$1"`},
	{pattern.New(`found 'else'$`), pattern.New(`^\s*else\b`), "else stands on the line of the closing brace: } else {"},
	{pattern.New(`^expected ';'`), pattern.New(`^\s*def\s`), "Go declares a function as func f(x float64) float64 { return 2 * x }"},
	{pattern.New(`^expected '\{', found in\b`), pattern.New(`^\s*for\s`), "Go writes for i := range 10 { ... }, or for i, x := range list { ... }"},
	{pattern.New(`found (?:and|or|not)$`), pattern.New(`.`), "Go writes && for and, || for or, ! for not"},
	{pattern.New(`found '%'$`), pattern.New(`^\s*%`), "cells hold Go alone, no commands of the notebook"},
	{pattern.New(`^cannot indirect `), pattern.New(`[\pL\pN_)\]]\s*\*\*\s*[\pL\pN_(]`), "a power is math.Pow(x, y)"},
	{pattern.New(`^operator % not defined on .*float`), pattern.New(`%`), "the remainder of numbers with a fraction is math.Mod(x, y)"},
	{pattern.New(`^(?:None|null|NULL) is not declared$`), pattern.New(`.`), "Go writes nil"},
	{pattern.New(`^True is not declared$`), pattern.New(`.`), "Go writes true"},
	{pattern.New(`^False is not declared$`), pattern.New(`.`), "Go writes false"},
}

// habit adds to a failure what Go writes instead.
func (in *interp) habit(f *failure) {
	if len(f.places) == 0 {
		return
	}
	lines := in.sources.lines(f.places[0].cell)
	if n := f.places[0].line; n >= 1 && n <= len(lines) {
		for _, h := range habits {
			m := h.line().FindStringSubmatchIndex(lines[n-1])
			if m != nil && h.message().MatchString(f.message) {
				f.message += "; " + string(h.line().ExpandString(nil, h.instead, lines[n-1], m))
				return
			}
		}
	}
}

// elsewhere returns what the packages that most cells use call a function or
// constant that other languages have without a package: math.Sqrt for sqrt.
func elsewhere(name string) string {
	first, n := utf8.DecodeRuneInString(name)
	for _, path := range []string{"math", "fmt"} {
		for _, s := range []string{name, string(unicode.ToUpper(first)) + name[n:]} {
			if d, ok := symbols.Lookup(path, s); ok && d.Kind != "package" && !strings.Contains(s, ".") {
				return fmt.Sprintf("%s.%s", path, s)
			}
		}
	}
	return ""
}
