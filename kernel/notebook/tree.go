package notebook

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// A node is a JSON value, in the spelling and the order of keys in which Python
// writes it, and with all digits of its numbers.
type node struct {
	kind    kind
	literal string   // of a scalar or a text: its spelling
	members []member // of an object, sorted by key
	items   []*node
}

type member struct {
	key   string
	value *node
}

type kind byte

const (
	scalar kind = iota // null, true, false or a number
	textKind
	list
	object
)

// parseTree reads one JSON value.
func parseTree(data []byte) (*node, error) {
	if !utf8.Valid(data) {
		return nil, fmt.Errorf("not UTF-8 text")
	}
	var any json.RawMessage
	if err := json.Unmarshal(data, &any); err != nil {
		if bad, ok := err.(*json.SyntaxError); ok {
			line, column := position(data, int(bad.Offset))
			return nil, fmt.Errorf("line %d, column %d: not JSON: %v", line, column, err)
		}
		return nil, fmt.Errorf("not JSON: %v", err)
	}
	r := treeReader{data: data}
	return r.value()
}

// position returns line and column, from 1, of the byte before the offset.
func position(data []byte, offset int) (line, column int) {
	before := data[:max(0, min(offset, len(data))-1)]
	return 1 + bytes.Count(before, []byte("\n")), len(before) - bytes.LastIndexByte(before, '\n')
}

// A treeReader reads data already known to be valid JSON.
type treeReader struct {
	data []byte
	at   int
}

func (r *treeReader) skip() {
	for r.at < len(r.data) && strings.IndexByte(" \t\r\n", r.data[r.at]) >= 0 {
		r.at++
	}
}

// peek returns the next byte that is not white space.
func (r *treeReader) peek() byte {
	r.skip()
	return r.data[r.at]
}

func (r *treeReader) value() (*node, error) {
	switch r.peek() {
	case '"':
		text, err := r.text()
		return textNode(text), err
	case '[':
		n := &node{kind: list}
		for r.at++; r.peek() != ']'; {
			item, err := r.value()
			if err != nil {
				return nil, err
			}
			n.items = append(n.items, item)
			if r.peek() == ',' {
				r.at++
			}
		}
		r.at++
		return n, nil
	case '{':
		return r.object()
	}
	start := r.at
	for r.at < len(r.data) && strings.IndexByte(" \t\r\n,]}", r.data[r.at]) < 0 {
		r.at++
	}
	return &node{kind: scalar, literal: python(string(r.data[start:r.at]))}, nil
}

func (r *treeReader) object() (*node, error) {
	n := &node{kind: object}
	seen := make(map[string]bool)
	for r.at++; r.peek() != '}'; {
		start := r.at
		key, err := r.text()
		if err != nil {
			return nil, err
		}
		if seen[key] {
			line, column := position(r.data, start+1)
			return nil, fmt.Errorf("line %d, column %d: the key %s appears twice in one object", line, column, quote(key))
		}
		seen[key] = true
		r.skip()
		r.at++ // the colon
		value, err := r.value()
		if err != nil {
			return nil, err
		}
		n.members = append(n.members, member{key, value})
		if r.peek() == ',' {
			r.at++
		}
	}
	r.at++
	slices.SortFunc(n.members, byKey)
	return n, nil
}

func byKey(a, b member) int { return cmp.Compare(a.key, b.key) }

// text reads the string that starts here. Half of a character beyond U+FFFF,
// which JSON can spell, is no text: nothing could store it.
func (r *treeReader) text() (string, error) {
	start := r.at
	for r.at++; r.data[r.at] != '"'; r.at++ {
		if r.data[r.at] == '\\' {
			r.at++
		}
	}
	r.at++
	literal := string(r.data[start:r.at])
	text := unquote(literal)
	if n := strings.Count(text, "\ufffd"); n > 0 {
		spelled := strings.ToLower(strings.ReplaceAll(literal, `\\`, ""))
		if n > strings.Count(spelled, "\ufffd")+strings.Count(spelled, `\ufffd`) {
			line, column := position(r.data, start+1)
			return "", fmt.Errorf("line %d, column %d: the text has half of a character, spelled \\ud800 to \\udfff; take it out", line, column)
		}
	}
	return text, nil
}

// python spells null, true, false or a number as Python does, which knows whole
// numbers and the rest as float64.
func python(literal string) string {
	if literal == "-0" {
		return "0"
	}
	if !strings.ContainsAny(literal, ".eE") || literal == "true" || literal == "false" {
		return literal
	}
	f, err := strconv.ParseFloat(literal, 64)
	if err != nil {
		return literal // larger than any float64, which Python could not write as JSON
	}
	s := strconv.FormatFloat(f, 'e', -1, 64)
	_, power, _ := strings.Cut(s, "e")
	if exponent, _ := strconv.Atoi(power); exponent < -4 || exponent > 15 {
		return s
	}
	s = strconv.FormatFloat(f, 'f', -1, 64)
	if !strings.Contains(s, ".") {
		s += ".0"
	}
	return s
}

func unquote(literal string) string {
	var s string
	if err := json.Unmarshal([]byte(literal), &s); err != nil { // the literal was checked when read
		panic("notebook: " + err.Error())
	}
	return s
}

// quote spells a string as Jupyter does: nothing is escaped that need not be.
func quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s { // a byte that is not UTF-8 arrives as U+FFFD
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\r':
			b.WriteString(`\r`)
		case r == '\t':
			b.WriteString(`\t`)
		case r == '\b':
			b.WriteString(`\b`)
		case r == '\f':
			b.WriteString(`\f`)
		case r < 0x20:
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

func textNode(s string) *node    { return &node{kind: textKind, literal: quote(s)} }
func numberNode(n int) *node     { return &node{literal: fmt.Sprint(n)} }
func nullNode() *node            { return &node{literal: "null"} }
func listNode(of ...*node) *node { return &node{kind: list, items: of} }

// linesNode returns the text as a list of lines.
func linesNode(s string) *node {
	n := listNode()
	for _, line := range splitLines(s) {
		n.items = append(n.items, textNode(line))
	}
	return n
}

// splitLines cuts after each line end, where Jupyter does: at every line
// boundary of Unicode and at a few control characters.
func splitLines(s string) []string {
	var lines []string
	start := 0
	for i, r := range s {
		switch r {
		case '\r':
			if strings.HasPrefix(s[i:], "\r\n") {
				continue
			}
		case '\n', '\v', '\f', 0x1c, 0x1d, 0x1e, 0x85, 0x2028, 0x2029:
		default:
			continue
		}
		end := i + utf8.RuneLen(r)
		lines = append(lines, s[start:end])
		start = end
	}
	if start < len(s) {
		lines = append(lines, s[start:])
	}
	return lines
}

// get returns the value of a key, or nil.
func (n *node) get(key string) *node {
	if n == nil {
		return nil
	}
	for _, m := range n.members {
		if m.key == key {
			return m.value
		}
	}
	return nil
}

// set gives a key its value.
func (n *node) set(key string, value *node) {
	set := member{key, value}
	at, there := slices.BinarySearchFunc(n.members, set, byKey)
	if there {
		n.members[at] = set
		return
	}
	n.members = slices.Insert(n.members, at, set)
}

// remove takes keys away.
func (n *node) remove(keys ...string) {
	n.members = slices.DeleteFunc(n.members, func(m member) bool { return slices.Contains(keys, m.key) })
}

// str returns the text of a string, or of a list of strings put together.
func (n *node) str() (string, bool) {
	switch {
	case n == nil:
		return "", false
	case n.kind == textKind:
		return unquote(n.literal), true
	case n.kind != list:
		return "", false
	}
	var b strings.Builder
	for _, item := range n.items {
		if item.kind != textKind {
			return "", false
		}
		b.WriteString(unquote(item.literal))
	}
	return b.String(), true
}

// integer returns the value of a whole number.
func (n *node) integer() (int, bool) {
	if n == nil || n.kind != scalar {
		return 0, false
	}
	var i int
	if n.literal == "null" || json.Unmarshal([]byte(n.literal), &i) != nil {
		return 0, false
	}
	return i, true
}

func (n *node) isNull() bool { return n != nil && n.kind == scalar && n.literal == "null" }

// compact returns the value on one line.
func (n *node) compact() string {
	var b bytes.Buffer
	n.write(&b, -1)
	return b.String()
}

// write writes the value; level -1 means all on one line.
func (n *node) write(b *bytes.Buffer, level int) {
	open, end := "[", "]"
	switch n.kind {
	case scalar, textKind:
		b.WriteString(n.literal)
		return
	case object:
		open, end = "{", "}"
	}
	b.WriteString(open)
	inner := level
	if level >= 0 {
		inner++
	}
	separate := func(i int) {
		if i > 0 {
			b.WriteByte(',')
		}
		newLine(b, inner)
	}
	for i, m := range n.members {
		separate(i)
		b.WriteString(quote(m.key) + ":")
		if level >= 0 {
			b.WriteByte(' ')
		}
		m.value.write(b, inner)
	}
	for i, item := range n.items {
		separate(i)
		item.write(b, inner)
	}
	if len(n.members)+len(n.items) > 0 {
		newLine(b, level)
	}
	b.WriteString(end)
}

func newLine(b *bytes.Buffer, level int) {
	if level >= 0 {
		b.WriteString("\n" + strings.Repeat(" ", level))
	}
}
