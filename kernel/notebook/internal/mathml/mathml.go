// Package mathml turns the LaTeX of formulas, as far as calculations use it,
// into MathML, which browsers show without a script.
//
// [Convert] never fails: a command it does not know shows as its source.
package mathml

import (
	"fmt"
	"html"
	"strings"
	"unicode"
	"unicode/utf8"
)

// deepest is how far groups may be nested.
const deepest = 100

// Convert returns the formula as a math element. A displayed formula stands on
// its own line. The source is kept inside as an annotation. A formula with a
// mistake, such as a brace left open, shows as its source.
func Convert(latex string, displayed bool) string {
	latex = strings.ToValidUTF8(latex, "\uFFFD")
	latex = strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' && r != '\t' || r == 0xFFFE || r == 0xFFFF { // not allowed in markup
			return ' '
		}
		return r
	}, latex)
	p := &parser{tokens: cut(latex), displayed: displayed}
	row, err := p.row("")
	attribute := ""
	if displayed {
		attribute = ` display="block"`
	}
	if err != nil {
		return fmt.Sprintf(`<code class="latex" title="%s">%s</code>`, html.EscapeString(err.Error()), html.EscapeString(strings.TrimSpace(latex)))
	}
	return fmt.Sprintf(`<math%s><semantics>%s<annotation encoding="application/x-tex">%s</annotation></semantics></math>`,
		attribute, row.markup(), html.EscapeString(strings.TrimSpace(latex)))
}

// cut cuts LaTeX into tokens: commands with their backslash, single characters,
// and white space as one blank. Comments are dropped.
func cut(s string) []string {
	var tokens []string
	for i := 0; i < len(s); {
		r, size := utf8.DecodeRuneInString(s[i:])
		switch {
		case r == '\\':
			end := i + 1
			for end < len(s) && isLetter(rune(s[end])) {
				end++
			}
			if end == i+1 && end < len(s) {
				_, size := utf8.DecodeRuneInString(s[end:])
				end += size
			}
			tokens = append(tokens, s[i:end])
			i = end
		case r == '%':
			if n := strings.IndexByte(s[i:], '\n'); n >= 0 {
				i += n + 1
			} else {
				i = len(s)
			}
		case unicode.IsSpace(r):
			if n := len(tokens); n == 0 || tokens[n-1] != " " {
				tokens = append(tokens, " ")
			}
			i += size
		default:
			tokens = append(tokens, s[i:i+size])
			i += size
		}
	}
	return tokens
}

func isLetter(r rune) bool { return 'a' <= r && r <= 'z' || 'A' <= r && r <= 'Z' }

// An atom is a piece of markup with what its neighbours must know of it.
type atom struct {
	text  string
	class class
	over  bool // scripts go above and below
}

type class byte

const (
	ordinary class = iota // letters, numbers, fractions, groups
	operator              // + = , and the like
	opening
	closing
	function // ln, exp
	space
)

type row []atom

// markup returns the row as one element, with the thin spaces that TeX sets
// around the names of functions.
func (r row) markup() string {
	var b strings.Builder
	for i, a := range r {
		if a.class == function {
			if i > 0 && (r[i-1].class == ordinary || r[i-1].class == closing) {
				b.WriteString(thin)
			}
			b.WriteString(a.text)
			b.WriteString("<mo>&#8289;</mo>") // function application
			if i+1 < len(r) && (r[i+1].class == ordinary || r[i+1].class == function) {
				b.WriteString(thin)
			}
			continue
		}
		b.WriteString(a.text)
	}
	if len(r) == 1 && r[0].class != function {
		return b.String()
	}
	return "<mrow>" + b.String() + "</mrow>"
}

const thin = `<mspace width="0.1667em"/>`

type parser struct {
	tokens    []string
	at        int
	depth     int
	displayed bool
}

func (p *parser) peek() string {
	if p.at < len(p.tokens) {
		return p.tokens[p.at]
	}
	return ""
}

func (p *parser) next() string {
	t := p.peek()
	p.at++
	return t
}

func (p *parser) skipSpace() {
	for p.peek() == " " {
		p.at++
	}
}

// row reads atoms up to the end token, which it takes; "" is the end of all.
func (p *parser) row(end string) (row, error) {
	r, stop, err := p.until(end)
	if err == nil && stop != end {
		return nil, fmt.Errorf("%s has no place here", stop)
	}
	return r, err
}

// until reads atoms up to the end token or to one that divides a table.
func (p *parser) until(end string) (r row, stop string, err error) {
	if p.depth++; p.depth > deepest {
		return nil, "", fmt.Errorf("nested too deeply")
	}
	defer func() { p.depth-- }()
	for {
		p.skipSpace()
		if p.at >= len(p.tokens) {
			if end != "" {
				return nil, "", fmt.Errorf("%s is missing", end)
			}
			return r, "", nil
		}
		switch t := p.peek(); t {
		case end, "}", `\right`, `\end`, "&", `\\`, `\cr`:
			p.at++
			return r, t, nil
		case "^", "_", "'":
			base := atom{text: "<mrow></mrow>"}
			if n := len(r); n > 0 && r[n-1].class != space {
				base, r = r[n-1], r[:n-1]
			}
			scripted, err := p.scripts(base)
			if err != nil {
				return nil, "", err
			}
			r = append(r, scripted)
		case `\displaystyle`, `\textstyle`:
			p.at++
			rest, stop, err := p.until(end)
			if err != nil {
				return nil, "", err
			}
			text := fmt.Sprintf(`<mstyle displaystyle="%t">%s</mstyle>`, t == `\displaystyle`, rest.markup())
			return append(r, atom{text: text}), stop, nil
		default:
			a, err := p.atom()
			if err != nil {
				return nil, "", err
			}
			if a.text != "" {
				r = append(r, a)
			}
		}
	}
}

// scripts reads subscripts, superscripts and primes after their base.
func (p *parser) scripts(base atom) (atom, error) {
	var sub, super string
	for {
		p.skipSpace()
		switch p.peek() {
		case "_":
			p.at++
			if sub != "" {
				return atom{}, fmt.Errorf("two subscripts in a row")
			}
			var err error
			if sub, err = p.argument(); err != nil {
				return atom{}, err
			}
			continue
		case "^":
			p.at++
			if super != "" {
				return atom{}, fmt.Errorf("two superscripts in a row")
			}
			var err error
			if super, err = p.argument(); err != nil {
				return atom{}, err
			}
			continue
		case "'":
			if super != "" {
				return atom{}, fmt.Errorf("two superscripts in a row")
			}
			primes := ""
			for ; p.peek() == "'"; p.at++ {
				primes += "′"
			}
			super = "<mo>" + primes + "</mo>"
			continue
		}
		break
	}
	names := [3]string{"msub", "msup", "msubsup"}
	if base.over {
		names = [3]string{"munder", "mover", "munderover"}
	}
	switch {
	case super == "":
		base.text = element(names[0], base.text, sub)
	case sub == "":
		base.text = element(names[1], base.text, super)
	default:
		base.text = element(names[2], base.text, sub, super)
	}
	base.over = false
	return base, nil
}

func element(name string, parts ...string) string {
	return "<" + name + ">" + strings.Join(parts, "") + "</" + name + ">"
}

// argument reads one group or one token as a single element.
func (p *parser) argument() (string, error) {
	p.skipSpace()
	switch t := p.peek(); t {
	case "", "}", "&", `\\`, `\right`, `\end`, "^", "_":
		return "", fmt.Errorf("something is missing before %q", t)
	case "{":
		p.at++
		r, err := p.row("}")
		return r.markup(), err
	}
	if t := p.peek(); len(t) == 1 && '0' <= t[0] && t[0] <= '9' { // one digit, as in x^23
		p.at++
		return element("mn", t), nil
	}
	if p.depth++; p.depth > deepest {
		return "", fmt.Errorf("nested too deeply")
	}
	defer func() { p.depth-- }()
	a, err := p.atom()
	return row{a}.markup(), err
}

// source reads a group and returns its text.
func (p *parser) source() (string, error) {
	p.skipSpace()
	if p.next() != "{" {
		return "", fmt.Errorf("{ is missing")
	}
	var b strings.Builder
	for depth := 1; ; {
		if p.at >= len(p.tokens) {
			return "", fmt.Errorf("} is missing")
		}
		t := p.next()
		switch t {
		case "{":
			depth++
		case "}":
			if depth--; depth == 0 {
				return b.String(), nil
			}
		}
		b.WriteString(t)
	}
}

// atom reads what stands between scripts.
func (p *parser) atom() (atom, error) {
	t := p.next()
	if strings.HasPrefix(t, `\`) {
		return p.command(t[1:])
	}
	r, _ := utf8.DecodeRuneInString(t)
	switch {
	case t == "{":
		inner, err := p.row("}")
		return atom{text: inner.markup()}, err
	case t == "~":
		return atom{text: `<mspace width="0.25em"/>`, class: space}, nil
	case '0' <= r && r <= '9', r == '.' && isDigit(p.peek()):
		return atom{text: element("mn", p.number(t))}, nil
	case unicode.IsLetter(r):
		return atom{text: element("mi", t)}, nil
	case t == "(" || t == "[":
		return atom{text: fence(t), class: opening}, nil
	case t == ")" || t == "]":
		return atom{text: fence(t), class: closing}, nil
	case t == "|":
		return atom{text: fence(t)}, nil
	case t == "-":
		return atom{text: "<mo>−</mo>", class: operator}, nil
	case t == "*":
		return atom{text: "<mo>∗</mo>", class: operator}, nil
	case t == "/":
		return atom{text: `<mo lspace="0" rspace="0">/</mo>`, class: operator}, nil
	case unicode.Is(unicode.So, r) || r == '%' || r == '°':
		return atom{text: upright(t)}, nil
	}
	return atom{text: element("mo", html.EscapeString(t)), class: operator}, nil
}

func isDigit(t string) bool { return len(t) == 1 && '0' <= t[0] && t[0] <= '9' }

// number reads the rest of a number; {,} divides thousands.
func (p *parser) number(first string) string {
	n := first
	for p.at < len(p.tokens) {
		rest := p.tokens[p.at:]
		switch {
		case isDigit(rest[0]):
			n += rest[0]
			p.at++
		case rest[0] == "." && !strings.Contains(n, ".") && len(rest) > 1 && isDigit(rest[1]):
			n += "."
			p.at++
		case len(rest) > 3 && rest[0] == "{" && rest[1] == "," && rest[2] == "}" && isDigit(rest[3]):
			n += ","
			p.at += 3
		default:
			return n
		}
	}
	return n
}

func fence(t string) string {
	return `<mo stretchy="false">` + html.EscapeString(t) + "</mo>"
}

// upright returns an identifier that is not set in italics.
func upright(s string) string {
	if utf8.RuneCountInString(s) == 1 {
		return `<mi mathvariant="normal">` + html.EscapeString(s) + "</mi>"
	}
	return element("mi", html.EscapeString(s))
}

// command reads what a command stands for.
func (p *parser) command(name string) (atom, error) {
	if s, ok := letters[name]; ok {
		return atom{text: element("mi", s)}, nil
	}
	if s, ok := uprights[name]; ok {
		return atom{text: upright(s)}, nil
	}
	if s, ok := operators[name]; ok {
		return atom{text: element("mo", html.EscapeString(s)), class: operator}, nil
	}
	if s, ok := spaces[name]; ok {
		return atom{text: `<mspace width="` + s + `"/>`, class: space}, nil
	}
	if s, ok := larges[name]; ok {
		return atom{text: element("mo", s), class: operator, over: p.limits(limits[name])}, nil
	}
	if functions[name] {
		return atom{text: element("mi", name), class: function, over: p.limits(limits[name])}, nil
	}
	if s, ok := accents[name]; ok {
		return p.accent(s, longAccents[name], "mover", name == "overbrace")
	}
	if s, ok := under[name]; ok {
		return p.accent(s, true, "munder", name == "underbrace")
	}
	switch name {
	case "frac", "dfrac", "tfrac", "cfrac":
		return p.fraction(name)
	case "binom":
		above, below, err := p.pair()
		return atom{text: `<mrow><mo>(</mo><mfrac linethickness="0">` + above + below + `</mfrac><mo>)</mo></mrow>`}, err
	case "sqrt":
		return p.root()
	case "left":
		return p.fenced()
	case "middle":
		d, err := p.delimiter()
		return atom{text: `<mo stretchy="true">` + html.EscapeString(d) + `</mo>`, class: operator}, err
	case "text", "textrm", "textnormal", "mbox", "textit", "textbf":
		s, err := p.source()
		return atom{text: element("mtext", plainText(s))}, err
	case "mathrm", "operatorname", "rm", "mathup":
		return p.roman(name == "operatorname")
	case "mathbf", "boldsymbol", "bm":
		return p.bold()
	case "overset", "stackrel":
		above, base, err := p.pair()
		return atom{text: element("mover", base, above)}, err
	case "underset":
		below, base, err := p.pair()
		return atom{text: element("munder", base, below)}, err
	case "begin":
		return p.table()
	case "label":
		_, err := p.source()
		return atom{}, err
	case "nonumber", "notag", "limits", "nolimits", "hline":
		return atom{}, nil
	}
	if size, side, ok := sized(name); ok {
		d, err := p.delimiter()
		text := fmt.Sprintf(`<mo stretchy="true" minsize="%s" maxsize="%[1]s">%s</mo>`, size, html.EscapeString(d))
		return atom{text: text, class: side}, err
	}
	if s, ok := delimiters[name]; ok && name != "." {
		side := opening
		if strings.HasPrefix(name, "r") || name == "}" {
			side = closing
		}
		return atom{text: fence(s), class: side}, nil
	}
	if name == "|" {
		return atom{text: fence("‖")}, nil
	}
	return atom{text: `<mtext class="unknown">` + html.EscapeString(`\`+name) + "</mtext>"}, nil
}

// limits reports whether an operator carries its scripts above and below, which
// \limits and \nolimits change.
func (p *parser) limits(usual bool) bool {
	p.skipSpace()
	switch p.peek() {
	case `\limits`:
		p.at++
		return true
	case `\nolimits`:
		p.at++
		return false
	}
	return usual && p.displayed
}

func (p *parser) pair() (first, second string, err error) {
	if first, err = p.argument(); err != nil {
		return "", "", err
	}
	second, err = p.argument()
	return first, second, err
}

func (p *parser) fraction(name string) (atom, error) {
	above, below, err := p.pair()
	text := element("mfrac", above, below)
	switch name {
	case "dfrac", "cfrac":
		text = `<mstyle displaystyle="true">` + text + "</mstyle>"
	case "tfrac":
		text = `<mstyle displaystyle="false">` + text + "</mstyle>"
	}
	return atom{text: text}, err
}

func (p *parser) root() (atom, error) {
	p.skipSpace()
	if p.peek() != "[" {
		inner, err := p.argument()
		return atom{text: element("msqrt", inner)}, err
	}
	p.at++
	degree, err := p.row("]")
	if err != nil {
		return atom{}, err
	}
	inner, err := p.argument()
	return atom{text: element("mroot", inner, degree.markup())}, err
}

func (p *parser) accent(sign string, long bool, name string, over bool) (atom, error) {
	inner, err := p.argument()
	attribute := ` stretchy="false"`
	if long {
		attribute = ` stretchy="true"`
	}
	which := "accent"
	if name == "munder" {
		which = "accentunder"
	}
	text := fmt.Sprintf(`<%s %s="true">%s<mo%s>%s</mo></%[1]s>`, name, which, inner, attribute, html.EscapeString(sign))
	return atom{text: text, over: over}, err
}

// delimiter reads what follows \left and the like.
func (p *parser) delimiter() (string, error) {
	p.skipSpace()
	t := p.next()
	name := t
	if t != `\|` {
		name = strings.TrimPrefix(t, `\`)
	}
	d, ok := delimiters[name]
	if !ok || (t == "{" || t == "}") {
		return "", fmt.Errorf("%q is no delimiter", t)
	}
	return d, nil
}

func (p *parser) fenced() (atom, error) {
	open, err := p.delimiter()
	if err != nil {
		return atom{}, err
	}
	inner, err := p.row(`\right`)
	if err != nil {
		return atom{}, err
	}
	end, err := p.delimiter()
	if err != nil {
		return atom{}, err
	}
	return atom{text: element("mrow", stretched(open), inner.markup(), stretched(end))}, nil
}

// stretched returns a delimiter as high as what it encloses.
func stretched(d string) string {
	if d == "" {
		return ""
	}
	return `<mo stretchy="true">` + html.EscapeString(d) + "</mo>"
}

// sized reads the name of a command for a larger delimiter, such as bigl.
func sized(name string) (size string, side class, ok bool) {
	base := strings.TrimRight(name, "lrm")
	if len(name)-len(base) > 1 {
		return "", 0, false
	}
	switch name[len(base):] {
	case "l":
		side = opening
	case "r":
		side = closing
	}
	size, ok = sizes[base]
	return size, side, ok
}

// plainText escapes text and keeps its blanks.
func plainText(s string) string {
	for _, sign := range []string{"%", "$", "#", "_", "&", "{", "}", " ", ","} {
		to := sign
		if sign == "," {
			to = " "
		}
		s = strings.ReplaceAll(s, `\`+sign, to)
	}
	s = strings.ReplaceAll(s, "~", " ")
	return html.EscapeString(strings.ReplaceAll(s, " ", "\u00a0"))
}

// roman reads a group as upright words; what is not letters or digits is read
// as usual.
func (p *parser) roman(isFunction bool) (atom, error) {
	p.skipSpace()
	if p.peek() != "{" {
		t := p.next()
		if r, _ := utf8.DecodeRuneInString(t); !unicode.IsLetter(r) {
			return atom{}, fmt.Errorf("{ is missing")
		}
		return atom{text: upright(t)}, nil
	}
	start := p.at
	s, err := p.source()
	if err != nil {
		return atom{}, err
	}
	a := atom{class: ordinary}
	if isFunction {
		a.class = function
	}
	if strings.Trim(s, " ") == "" {
		return atom{}, nil
	}
	if strings.IndexFunc(s, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != ' ' }) < 0 {
		a.text = upright(strings.ReplaceAll(s, " ", ""))
		return a, nil
	}
	// Commands inside, such as a Greek letter or a superscript.
	p.at = start + 1
	inner, err := p.row("}")
	a.text = strings.ReplaceAll(inner.markup(), "<mi>", `<mi mathvariant="normal">`)
	return a, err
}

// bold reads a group in bold letters of Unicode's mathematical alphabet.
func (p *parser) bold() (atom, error) {
	inner, err := p.argument()
	var b strings.Builder
	inTag := false
	for _, r := range inner {
		switch {
		case r == '<' || r == '&': // an entity is left as it is
			inTag = true
		case r == '>' || r == ';':
			inTag = false
		case inTag:
		case 'A' <= r && r <= 'Z':
			r += 0x1D400 - 'A'
		case 'a' <= r && r <= 'z':
			r += 0x1D41A - 'a'
		case '0' <= r && r <= '9':
			r += 0x1D7CE - '0'
		case 'α' <= r && r <= 'ω':
			r += 0x1D6C2 - 'α'
		}
		b.WriteRune(r)
	}
	return atom{text: b.String()}, err
}

// tables are the environments that are known: what encloses them and how their
// columns stand, which becomes a class of the cells: left, center or right.
var tables = map[string]struct{ open, end, align string }{
	"equation": {}, "gather": {}, "gathered": {}, "math": {}, "displaymath": {},
	"align": {align: "right left"}, "aligned": {align: "right left"}, "split": {align: "right left"}, "eqnarray": {align: "right center left"},
	"matrix": {align: "center"}, "pmatrix": {"(", ")", "center"}, "bmatrix": {"[", "]", "center"}, "vmatrix": {"|", "|", "center"},
	"Bmatrix": {"{", "}", "center"}, "cases": {"{", "", "left"}, "array": {align: "center"},
}

// table reads an environment.
func (p *parser) table() (atom, error) {
	name, err := p.source()
	if err != nil {
		return atom{}, err
	}
	form, ok := tables[strings.TrimSuffix(name, "*")]
	if !ok {
		return atom{}, fmt.Errorf("the environment %s is not known", name)
	}
	if name == "array" {
		if _, err := p.source(); err != nil { // columns are centred
			return atom{}, err
		}
	}
	var rows [][]string
	var cells []string
	for {
		cell, stop, err := p.until(`\end`)
		if err != nil {
			return atom{}, err
		}
		cells = append(cells, cell.markup())
		switch stop {
		case "&":
			continue
		case `\\`, `\cr`:
			rows, cells = append(rows, cells), nil
			p.skipDistance()
			continue
		case `\end`:
		default:
			return atom{}, fmt.Errorf("%s has no place here", stop)
		}
		if end, err := p.source(); err != nil || end != name {
			return atom{}, fmt.Errorf(`\begin{%s} without its \end`, name)
		}
		break
	}
	if last := strings.Join(cells, ""); len(rows) == 0 || last != "<mrow></mrow>" {
		rows = append(rows, cells)
	}
	if len(rows) == 1 && len(rows[0]) == 1 && form.open == "" {
		return atom{text: rows[0][0]}, nil
	}
	var b strings.Builder
	b.WriteString("<mrow>" + stretched(form.open) + "<mtable" + tableStyle(form.align) + ">")
	align := strings.Fields(form.align)
	for _, r := range rows {
		b.WriteString("<mtr>")
		for i, cell := range r {
			class := ""
			if len(align) > 0 { // MathML Core leaves this to a style sheet
				class = ` class="` + align[i%len(align)] + `"`
			}
			b.WriteString("<mtd" + class + ">" + cell + "</mtd>")
		}
		b.WriteString("</mtr>")
	}
	b.WriteString("</mtable>" + stretched(form.end) + "</mrow>")
	return atom{text: b.String()}, nil
}

// skipDistance skips the distance that may follow the end of a table's row.
func (p *parser) skipDistance() {
	if p.peek() != "[" {
		return
	}
	for p.at < len(p.tokens) && p.next() != "]" {
	}
}

func tableStyle(align string) string {
	if strings.HasPrefix(align, "right left") { // formulas, one below the other
		return ` displaystyle="true" class="aligned"`
	}
	return ""
}
