// Package advice says what Go writes in place of a line that comes from
// another language, most often Python, or out of a text with typographic signs.
//
// It knows the message and the line alone, so that whatever compiles cells can
// ask it.
package advice

import (
	"regexp"
	"strings"
	"sync"

	"github.com/evenbed/evenbed/kernel/internal/pattern"
)

// A rule is for lines and messages that match expressions. In them NAME is the
// name that the message says is not declared.
type rule struct {
	line    string
	message string // "" stands for any syntax error
	instead string // $1 is what the first parentheses of line match, in Go's words
}

// Of returns the message for a cell that cannot be compiled, with what Go writes
// in place of the line, and the number of that line, counted from 1. What a
// parser says of a line of another language is left out. Without advice it
// returns the message and the line as they are.
func Of(message string, syntax bool, lines []string, at int) (string, int) {
	if at < 1 || at > len(lines) {
		return message, at
	}
	if !syntax {
		name := ""
		if m := undeclared().FindStringSubmatch(message); m != nil {
			name = m[1]
		}
		for _, r := range compiled() {
			if says, ok := r.says(message, lines[at-1], name); ok && !r.syntax {
				if name != "" { // and no name that resembles it
					message = name + " is not declared"
				}
				return message + "; " + says, at
			}
		}
		return message, at
	}
	said := message
	for n := at; n >= 1; n-- { // a parser may notice some lines later
		line := lines[n-1]
		code := comment().ReplaceAllString(line, "$1")
		for _, r := range compiled() {
			if says, ok := r.says(said, code, ""); ok {
				return says, n
			}
		}
		if n == at && strings.HasPrefix(strings.TrimPrefix(line, code), "#") {
			return "a comment begins with //", n
		}
		said = "" // of other lines
	}
	return message, at
}

// compiled are the rules with their expressions.
var compiled = sync.OnceValue(func() (all []compiledRule) {
	for _, r := range rules {
		c := compiledRule{rule: r, syntax: r.message == "", named: strings.Contains(r.line+r.message, "NAME")}
		if !c.named {
			c.lines, c.messages = regexp.MustCompile(r.line), regexp.MustCompile(r.message)
		}
		all = append(all, c)
	}
	return all
})

type compiledRule struct {
	rule
	syntax, named   bool // named says that the expressions need a name
	lines, messages *regexp.Regexp
}

// says returns the rule's words for a message and a line.
func (r compiledRule) says(message, line, name string) (string, bool) {
	instead := r.instead
	if r.named {
		if name == "" {
			return "", false
		}
		fill := func(s string) string { return strings.ReplaceAll(s, "NAME", name) } // letters and digits alone
		r.lines, r.messages, instead = regexp.MustCompile(fill(r.line)), regexp.MustCompile(fill(r.message)), fill(instead)
	}
	if !r.messages.MatchString(message) {
		return "", false
	}
	m := r.lines.FindStringSubmatchIndex(line)
	if m == nil {
		return "", false
	}
	// The parts of the line stand in Go's words.
	text := ""
	for i := 0; i < len(m); i += 2 {
		if m[i] >= 0 {
			part := inGo(line[m[i]:m[i+1]])
			m[i], m[i+1] = len(text), len(text)+len(part)
			text += part
		}
	}
	return string(r.lines.ExpandString(nil, instead, text, m)), true
}

var (
	undeclared = pattern.New(`^([\pL\pN_]+) is not declared`)
	comment    = pattern.New(`^((?:[^"'` + "`" + `#/]|/[^/]|"[^"]*"|'[^']*'|` + "`[^`]*`" + `)*)(?:#|//).*$`)
	words      = pattern.New(`"[^"]*"|'[^']*'|\bis\s+not\b|\bis\b|\bnot\s+|\b(?:and|or|True|False|None)\b`)
)

// inGo writes a part of a line with Go's operators, constants and quotes.
func inGo(part string) string {
	return words().ReplaceAllStringFunc(part, func(s string) string {
		switch strings.Join(strings.Fields(s), " ") {
		case "and":
			return "&&"
		case "or":
			return "||"
		case "not":
			return "!"
		case "is":
			return "=="
		case "is not":
			return "!="
		case "True":
			return "true"
		case "False":
			return "false"
		case "None":
			return "nil"
		}
		if s[0] == '\'' {
			return `"` + s[1:len(s)-1] + `"`
		}
		return s
	})
}
