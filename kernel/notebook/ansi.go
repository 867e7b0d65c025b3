package notebook

import (
	"fmt"
	"html"
	"regexp"
	"strconv"
	"strings"
)

// escapes are the control sequences of terminals (ECMA-48): those that set
// how text looks end in m; others, and commands to the window, are dropped.
var escapes = regexp.MustCompile("\x1b\\[([0-?]*)[ -/]*([@-~])|\x1b\\][^\x07\x1b]*(?:\x07|\x1b\\\\)?|\x1b[@-Z\\\\-_]?")

// plain returns text without control sequences.
func plain(s string) string { return escapes.ReplaceAllString(s, "") }

// ansiHTML returns text with the colours of terminals as HTML.
func ansiHTML(s string) string {
	var b strings.Builder
	var look look
	write := func(text string) {
		if text == "" {
			return
		}
		open, end := look.span()
		b.WriteString(open + html.EscapeString(text) + end)
	}
	at := 0
	for _, m := range escapes.FindAllStringSubmatchIndex(s, -1) {
		write(s[at:m[0]])
		at = m[1]
		if m[4] >= 0 && s[m[4]:m[5]] == "m" {
			look.set(s[m[2]:m[3]])
		}
	}
	write(s[at:])
	return b.String()
}

// A look is how a terminal shows text. Colours are a class such as "fg1" or a
// value such as "#rrggbb".
type look struct {
	fore, back                     string
	bold, faint, italic, underline bool
}

func (l *look) span() (open, end string) {
	var classes, styles []string
	colour := func(value, property string) {
		switch {
		case strings.HasPrefix(value, "#"):
			styles = append(styles, property+":"+value)
		case value != "":
			classes = append(classes, value)
		}
	}
	colour(l.fore, "color")
	colour(l.back, "background-color")
	for _, c := range []struct {
		on   bool
		name string
	}{{l.bold, "bold"}, {l.faint, "faint"}, {l.italic, "italic"}, {l.underline, "underline"}} {
		if c.on {
			classes = append(classes, c.name)
		}
	}
	if len(classes)+len(styles) == 0 {
		return "", ""
	}
	open = "<span"
	if len(classes) > 0 {
		open += ` class="` + strings.Join(classes, " ") + `"`
	}
	if len(styles) > 0 {
		open += ` style="` + strings.Join(styles, ";") + `"`
	}
	return open + ">", "</span>"
}

// set follows the parameters of one sequence. What is not a number counts as 0.
func (l *look) set(parameters string) {
	var codes []int
	for _, s := range strings.FieldsFunc(parameters+";", func(r rune) bool { return r == ';' || r == ':' }) {
		n, _ := strconv.Atoi(s)
		codes = append(codes, n)
	}
	if len(codes) == 0 {
		codes = []int{0}
	}
	for i := 0; i < len(codes); i++ {
		switch c := codes[i]; {
		case c == 0:
			*l = look{}
		case c == 1:
			l.bold = true
		case c == 2:
			l.faint = true
		case c == 3:
			l.italic = true
		case c == 4:
			l.underline = true
		case c == 22:
			l.bold, l.faint = false, false
		case c == 23:
			l.italic = false
		case c == 24:
			l.underline = false
		case 30 <= c && c <= 37:
			l.fore = fmt.Sprintf("fg%d", c-30)
		case 90 <= c && c <= 97:
			l.fore = fmt.Sprintf("fg%d", c-90+8)
		case c == 39:
			l.fore = ""
		case 40 <= c && c <= 47:
			l.back = fmt.Sprintf("bg%d", c-40)
		case 100 <= c && c <= 107:
			l.back = fmt.Sprintf("bg%d", c-100+8)
		case c == 49:
			l.back = ""
		case c == 38 || c == 48:
			value, used := extended(codes[i+1:], c)
			i += used
			if c == 38 {
				l.fore = value
			} else {
				l.back = value
			}
		}
	}
}

// extended reads a colour from a table of 256 or of three parts.
func extended(codes []int, which int) (value string, used int) {
	if len(codes) >= 2 && codes[0] == 5 {
		n := min(max(codes[1], 0), 255)
		switch {
		case n < 16:
			return fmt.Sprintf("%s%d", map[int]string{38: "fg", 48: "bg"}[which], n), 2
		case n < 232: // a cube of 6 by 6 by 6
			level := func(i int) int {
				if i == 0 {
					return 0
				}
				return 55 + 40*i
			}
			n -= 16
			return fmt.Sprintf("#%02x%02x%02x", level(n/36), level(n/6%6), level(n%6)), 2
		}
		grey := 8 + 10*(n-232)
		return fmt.Sprintf("#%02x%02x%02x", grey, grey, grey), 2
	}
	if len(codes) >= 4 && codes[0] == 2 {
		part := func(i int) int { return min(max(codes[i], 0), 255) }
		return fmt.Sprintf("#%02x%02x%02x", part(1), part(2), part(3)), 4
	}
	return "", len(codes)
}

// overwritten returns text as a terminal leaves it when a carriage return lets
// a line be written over.
func overwritten(s string) string {
	if !strings.Contains(s, "\r") {
		return s
	}
	lines := strings.Split(strings.ReplaceAll(s, "\r\n", "\n"), "\n")
	for i, line := range lines {
		var shown []rune
		for _, part := range strings.Split(line, "\r") {
			over := []rune(part)
			shown = append(over, shown[min(len(over), len(shown)):]...)
		}
		lines[i] = string(shown)
	}
	return strings.Join(lines, "\n")
}
