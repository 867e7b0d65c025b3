// Package notebook reads, executes, compares and writes Jupyter notebooks, and
// makes web pages of them.
//
// [ReadFile] or [Parse] checks a notebook against the format's rules.
// [Notebook.Execute] runs its cells through a session of the engine, with no
// Jupyter and no Python. [Compare] tells where the outputs of two notebooks
// differ. [Notebook.Bytes] writes a notebook byte for byte as Jupyter saves it,
// so that a file is the same whoever wrote it last; unknown metadata stay.
// [Notebook.HTML] makes a page that needs no network.
package notebook

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/kernel/display"
)

// A Notebook is a notebook of format 4.
type Notebook struct {
	// Name is the file's name as it was given, for messages.
	Name string
	// Folder holds the pictures that the text refers to; "" means that
	// there are none.
	Folder string
	Cells  []*Cell

	tree *node
}

// A CellKind says what a cell holds.
type CellKind string

// The kinds of cells.
const (
	Code     CellKind = "code"
	Markdown CellKind = "markdown"
	Raw      CellKind = "raw"
)

// A Cell is one cell of a notebook.
type Cell struct {
	Kind    CellKind
	Source  string
	Tags    []string
	Count   int // of the cell's execution; 0 if it was not executed
	Outputs []Output
	// Attachments maps a name to a picture kept inside a Markdown cell.
	Attachments map[string]display.Bundle

	tree *node
}

// An OutputKind says how an output came about.
type OutputKind string

// The kinds of outputs.
const (
	Stream  OutputKind = "stream"
	Display OutputKind = "display_data"
	Result  OutputKind = "execute_result"
	Failure OutputKind = "error"
)

// An Output is one output of a code cell.
type Output struct {
	Kind OutputKind

	Name string // of a stream: "stdout" or "stderr"; of a failure: its kind
	Text string // of a stream: the text; of a failure: its message

	Traceback []string       // of a failure
	Bundle    display.Bundle // of a display or a result
}

// A FormatError tells which rule of the notebook format a file breaks.
type FormatError struct {
	File string
	Cell int // counted from 1; 0 if the fault is not in a cell
	Err  error
}

func (e *FormatError) Error() string {
	if e.Cell > 0 {
		return fmt.Sprintf("%s: cell %d: %v", e.File, e.Cell, e.Err)
	}
	return fmt.Sprintf("%s: %v", e.File, e.Err)
}

func (e *FormatError) Unwrap() error { return e.Err }

// ReadFile reads and checks a notebook.
func ReadFile(path string) (*Notebook, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	nb, err := Parse(path, data)
	if err != nil {
		return nil, err
	}
	nb.Folder = filepath.Dir(path)
	return nb, nil
}

// Parse checks a notebook. The name is used in messages. Errors are of type
// [*FormatError]. A byte order mark before the notebook, which JSON does not
// allow to write (RFC 8259, section 8.1) but some editors do, is not kept.
func Parse(name string, data []byte) (*Notebook, error) {
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	nb := &Notebook{Name: name}
	if len(bytes.TrimSpace(data)) == 0 {
		return nil, &FormatError{name, 0, fmt.Errorf("the file is empty; a notebook is a JSON file that Jupyter saved")}
	}
	tree, err := parseTree(data)
	if err != nil {
		return nil, &FormatError{name, 0, err}
	}
	nb.tree = tree
	if err := nb.read(); err != nil {
		return nil, err
	}
	return nb, nil
}

// Bytes returns the notebook as a file, as Jupyter saves it: one blank for each
// level, keys in order, nothing escaped that need not be, text as lists of lines
// where nbformat makes them (v4/rwbase.py and nbjson.py of nbformat 5).
func (nb *Notebook) Bytes() []byte {
	var b bytes.Buffer
	nb.tree.write(&b, 0)
	b.WriteByte('\n')
	return b.Bytes()
}

// Title returns the text of the first heading, else the file's name.
func (nb *Notebook) Title() string {
	for _, c := range nb.Cells {
		if c.Kind != Markdown {
			continue
		}
		if title := firstHeading(c.Source); title != "" {
			return title
		}
	}
	base := filepath.Base(nb.Name)
	return strings.TrimSuffix(base, filepath.Ext(base))
}

func (nb *Notebook) read() error {
	fail := func(cell int, format string, args ...any) error {
		return &FormatError{nb.Name, cell, fmt.Errorf(format, args...)}
	}
	if nb.tree.kind != object {
		return fail(0, "not a notebook: the file is JSON, but not an object with cells")
	}
	major, ok := nb.tree.get("nbformat").integer()
	if !ok {
		return fail(0, "not a notebook: nbformat is missing or not a number")
	}
	if major != 4 {
		return fail(0, "nbformat is %d, only 4 is understood; open the notebook in Jupyter and save it", major)
	}
	minor, ok := nb.tree.get("nbformat_minor").integer()
	if !ok || minor < 0 {
		return fail(0, "nbformat_minor is missing or not a number")
	}
	if metadata := nb.tree.get("metadata"); metadata == nil || metadata.kind != object {
		return fail(0, "metadata is missing or not an object")
	}
	cells := nb.tree.get("cells")
	if cells == nil || cells.kind != list {
		return fail(0, "cells is missing or not a list")
	}
	nb.tree.get("metadata").remove("orig_nbformat", "orig_nbformat_minor", "signature")
	rules := rules{minor: minor, ids: make(map[string]int)}
	for i, tree := range cells.items {
		c, err := rules.cell(tree, i+1)
		if err != nil {
			return &FormatError{nb.Name, i + 1, err}
		}
		nb.Cells = append(nb.Cells, c)
	}
	return nil
}

// newest is the minor version of format 4 whose fields are all known here. In
// a later one, unknown fields are let pass.
const newest = 5

// rules are those of the format's minor version.
type rules struct {
	minor int
	ids   map[string]int // id and the cell that has it
}

var validID = regexp.MustCompile(`^[a-zA-Z0-9_-]{1,64}$`)

func (r *rules) cell(tree *node, number int) (*Cell, error) {
	if tree.kind != object {
		return nil, fmt.Errorf("not an object")
	}
	c := &Cell{tree: tree}
	known := []string{"cell_type", "metadata", "source", "id"}
	name, _ := tree.get("cell_type").str()
	switch c.Kind = CellKind(name); c.Kind {
	case Code:
		known = append(known, "outputs", "execution_count")
	case Markdown, Raw:
		known = append(known, "attachments")
	default:
		return nil, fmt.Errorf("cell_type is %q, not code, markdown or raw", name)
	}
	if err := r.fields(tree, known); err != nil {
		return nil, err
	}
	if err := r.id(tree, number); err != nil {
		return nil, err
	}
	var ok bool
	if c.Source, ok = tree.get("source").str(); !ok {
		return nil, fmt.Errorf("source is missing, or neither a string nor a list of strings")
	}
	metadata := tree.get("metadata")
	if metadata == nil || metadata.kind != object {
		return nil, fmt.Errorf("metadata is missing or not an object")
	}
	metadata.remove("trusted")
	tree.set("source", linesNode(c.Source))
	if tags := metadata.get("tags"); tags != nil {
		if tags.kind != list {
			return nil, fmt.Errorf("metadata.tags is not a list")
		}
		for _, tag := range tags.items {
			if tag.kind != textKind {
				return nil, fmt.Errorf("metadata.tags holds something that is not a string")
			}
			c.Tags = append(c.Tags, unquote(tag.literal))
		}
	}
	if c.Kind == Code {
		return c, r.execution(c)
	}
	return c, r.attachments(c)
}

func (r *rules) id(tree *node, number int) error {
	id := tree.get("id")
	if r.minor < 5 {
		return nil // ids are of 4.5; some programs write them earlier
	}
	if id == nil {
		return fmt.Errorf("id is missing, which format 4.5 requires; open the notebook in Jupyter and save it")
	}
	s, _ := id.str()
	if id.kind != textKind || !validID.MatchString(s) {
		return fmt.Errorf("id %s: must be 1 to 64 letters, digits, - or _", id.compact())
	}
	if other := r.ids[s]; other > 0 {
		return fmt.Errorf("id %q is also that of cell %d", s, other)
	}
	r.ids[s] = number
	return nil
}

// fields refuses fields that the format does not know.
func (r *rules) fields(tree *node, known []string) error {
	if r.minor > newest {
		return nil
	}
	for _, m := range tree.members {
		if !slices.Contains(known, m.key) {
			return fmt.Errorf("field %s is not part of format 4.%d", quote(m.key), r.minor)
		}
	}
	return nil
}

func (r *rules) execution(c *Cell) error {
	count := c.tree.get("execution_count")
	n, ok := count.integer()
	if !ok && !count.isNull() || n < 0 {
		return fmt.Errorf("execution_count is missing, or neither a number nor null")
	}
	c.Count = n
	outputs := c.tree.get("outputs")
	if outputs == nil || outputs.kind != list {
		return fmt.Errorf("outputs is missing or not a list")
	}
	for i, tree := range outputs.items {
		o, err := r.output(tree)
		if err != nil {
			return fmt.Errorf("output %d: %w", i+1, err)
		}
		c.Outputs = append(c.Outputs, o)
	}
	return nil
}

func (r *rules) output(tree *node) (o Output, err error) {
	if tree.kind != object {
		return o, fmt.Errorf("not an object")
	}
	kind, _ := tree.get("output_type").str()
	var ok bool
	switch o.Kind = OutputKind(kind); o.Kind {
	case Stream:
		if o.Name, ok = tree.get("name").str(); !ok {
			return o, fmt.Errorf("stream without a name")
		}
		if o.Text, ok = tree.get("text").str(); !ok {
			return o, fmt.Errorf("text is missing, or neither a string nor a list of strings")
		}
		tree.set("text", linesNode(o.Text))
		return o, r.fields(tree, []string{"output_type", "name", "text"})
	case Failure:
		var ok2 bool
		o.Name, ok = tree.get("ename").str()
		o.Text, ok2 = tree.get("evalue").str()
		traceback := tree.get("traceback")
		if !ok || !ok2 || traceback == nil || traceback.kind != list {
			return o, fmt.Errorf("error without ename, evalue or traceback")
		}
		for _, line := range traceback.items {
			if line.kind != textKind {
				return o, fmt.Errorf("traceback holds something that is not a string")
			}
			o.Traceback = append(o.Traceback, unquote(line.literal))
		}
		return o, r.fields(tree, []string{"output_type", "ename", "evalue", "traceback"})
	case Display, Result:
	default:
		return o, fmt.Errorf("output_type is %q, not stream, display_data, execute_result or error", kind)
	}
	known := []string{"output_type", "data", "metadata"}
	if o.Kind == Result {
		known = append(known, "execution_count")
		count := tree.get("execution_count")
		if _, ok := count.integer(); !ok && !count.isNull() {
			return o, fmt.Errorf("execution_count is missing, or neither a number nor null")
		}
	}
	if err := r.fields(tree, known); err != nil {
		return o, err
	}
	metadata := tree.get("metadata")
	if metadata == nil || metadata.kind != object {
		return o, fmt.Errorf("metadata is missing or not an object")
	}
	if o.Bundle, err = bundle(tree.get("data")); err != nil {
		return o, fmt.Errorf("data: %w", err)
	}
	o.Bundle.Metadata = make(map[string]jsonText)
	for _, m := range metadata.members {
		o.Bundle.Metadata[m.key] = jsonText(m.value.compact())
	}
	return o, nil
}

func (r *rules) attachments(c *Cell) error {
	tree := c.tree.get("attachments")
	if tree == nil {
		return nil
	}
	if tree.kind != object {
		return fmt.Errorf("attachments is not an object")
	}
	c.Attachments = make(map[string]display.Bundle)
	for _, m := range tree.members {
		b, err := bundle(m.value)
		if err != nil {
			return fmt.Errorf("attachment %s: %w", quote(m.key), err)
		}
		c.Attachments[m.key] = b
	}
	return nil
}

// bundle reads a value by MIME type, and gives text the form in which it is
// written.
func bundle(tree *node) (display.Bundle, error) {
	b := display.Bundle{Data: make(map[string][]byte)}
	if tree == nil || tree.kind != object {
		return b, fmt.Errorf("missing or not an object")
	}
	for i, m := range tree.members {
		if display.IsJSON(m.key) {
			b.Data[m.key] = []byte(m.value.compact())
			if m.value.kind == textKind {
				tree.members[i].value = dataText(m.key, unquote(m.value.literal))
			}
			continue
		}
		s, ok := m.value.str()
		if !ok {
			return b, fmt.Errorf("%s: neither a string nor a list of strings", m.key)
		}
		b.Data[m.key] = []byte(s)
		tree.members[i].value = dataText(m.key, s)
		if !display.IsText(m.key) {
			raw, err := base64.StdEncoding.DecodeString(strings.Join(strings.Fields(s), ""))
			if err == nil { // else a type of its own, written as text
				b.Data[m.key] = raw
			} else if strings.HasPrefix(m.key, "image/") {
				return b, fmt.Errorf("%s: not base64: %v", m.key, err)
			}
		}
	}
	return b, nil
}
