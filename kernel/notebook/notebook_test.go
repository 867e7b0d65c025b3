package notebook

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/kernel/internal/wire"
)

func read(t *testing.T, path string) *Notebook {
	t.Helper()
	nb, err := ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return nb
}

// parse makes a notebook of format 4.5 of cells in JSON.
func parse(t *testing.T, cells ...string) *Notebook {
	t.Helper()
	nb, err := Parse("test.ipynb", []byte(`{"cells":[`+strings.Join(cells, ",")+`],"metadata":{},"nbformat":4,"nbformat_minor":5}`))
	if err != nil {
		t.Fatal(err)
	}
	return nb
}

// code returns a code cell with a source, an id and optional tags.
func code(id, source string, tags ...string) string {
	s, _ := json.Marshal(source)
	if tags == nil {
		tags = []string{}
	}
	list, _ := json.Marshal(tags)
	return `{"cell_type":"code","id":"` + id + `","metadata":{"tags":` + string(list) + `},"source":` + string(s) + `,"outputs":[],"execution_count":null}`
}

// golden compares with a file, which UPDATE_GOLDEN=1 rewrites.
func golden(t *testing.T, path string, got []byte) {
	t.Helper()
	if os.Getenv("UPDATE_GOLDEN") == "1" {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		line, before, after := firstLine(string(want), string(got), 0)
		t.Errorf("%s, line %d:\n want %s\n  got %s", path, line, before, after)
	}
}

// A file is written as nbformat saved it, which for some is what they were.
func TestSavedAsJupyterDoes(t *testing.T) {
	paths, err := filepath.Glob("testdata/*.ipynb")
	if err != nil || len(paths) < 3 {
		t.Fatalf("%d notebooks, %v", len(paths), err)
	}
	for _, path := range paths {
		saved := strings.TrimSuffix(path, "ipynb") + "saved"
		if _, err := os.Stat(saved); err != nil {
			saved = path
		}
		want, err := os.ReadFile(saved)
		if err != nil {
			t.Fatal(err)
		}
		if got := read(t, path).Bytes(); !bytes.Equal(got, want) {
			line, before, after := firstLine(string(want), string(got), 0)
			t.Errorf("%s, line %d:\nJupyter %s\n   ours %s", path, line, before, after)
		}
	}
}

// The project's notebooks are stored as Jupyter saves them, with what the
// kernel says of the language: running and saving them changes nothing.
func TestStoredNotebooks(t *testing.T) {
	paths, err := filepath.Glob("../../notebooks/*.ipynb")
	if err != nil || len(paths) == 0 {
		t.Fatalf("%d notebooks, %v", len(paths), err)
	}
	for _, path := range paths {
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		nb := read(t, path)
		if got := nb.Bytes(); !bytes.Equal(got, want) {
			line, before, after := firstLine(string(want), string(got), 0)
			t.Errorf("%s, line %d: run it again\nstored %s\n  ours %s", path, line, before, after)
		}
		if got, want := nb.tree.get("metadata").get("language_info").compact(), valueNode(wire.Go()).compact(); got != want {
			t.Errorf("%s: language_info is %s, want %s; run it again", path, got, want)
		}
	}
}

func TestRead(t *testing.T) {
	nb := read(t, "testdata/two-blanks.ipynb")
	if got, want := nb.Cells[0].Source, "a := \"ä\"\na"; got != want {
		t.Errorf("source %q, want %q", got, want)
	}
	if nb.Cells[0].Count != 7 || nb.Cells[1].Kind != Markdown {
		t.Errorf("%+v", nb.Cells)
	}
	nb = read(t, "testdata/everything.ipynb")
	c := nb.Cells[len(nb.Cells)-2]
	if !slices.Equal(c.Tags, []string{"raises-exception"}) || c.Outputs[0].Name != "index out of range" {
		t.Errorf("%+v", c)
	}
	if got := nb.Title(); got != "Plates of an invented column" {
		t.Errorf("title %q", got)
	}
	if got := read(t, "testdata/old.ipynb").Title(); got != "old" {
		t.Errorf("title %q, want the file's name", got)
	}
}

// A byte order mark, which JSON does not have, is read over and not written.
func TestByteOrderMark(t *testing.T) {
	want, err := os.ReadFile("testdata/old.ipynb")
	if err != nil {
		t.Fatal(err)
	}
	nb, err := Parse("marked.ipynb", append([]byte("\xef\xbb\xbf"), want...))
	if err != nil {
		t.Fatal(err)
	}
	if got := nb.Bytes(); !bytes.Equal(got, want) {
		t.Errorf("%.60q, want %.60q", got, want)
	}
}

// The rules are those of the schema of nbformat 4.5 and, for ids, of Jupyter
// Enhancement Proposal 62.
func TestRules(t *testing.T) {
	frame := func(cells string) string {
		return `{"cells":[` + cells + `],"metadata":{},"nbformat":4,"nbformat_minor":5}`
	}
	out := func(output string) string {
		return frame(`{"cell_type":"code","id":"a","metadata":{},"source":"","execution_count":1,"outputs":[` + output + `]}`)
	}
	for _, tc := range []struct {
		name, file string
		cell       int
		want       string
	}{
		{"empty", "", 0, "the file is empty"},
		{"text", "package main", 0, "line 1, column 1: not JSON"},
		{"cut off", "{\n \"cells\": [", 0, "line 2"},
		{"two values", "{} {}", 0, "not JSON"},
		{"bytes", "{\"a\": \"\xff\"}", 0, "not UTF-8"},
		{"half a character", "{\n\"a\": \"\\ud83d\"}", 0, "line 2, column 6: the text has half of a character"},
		{"half a character in a key", `{"\ude00": 1}`, 0, "half of a character"},
		{"list", "[]", 0, "not an object"},
		{"other JSON", "{}", 0, "nbformat is missing"},
		{"format 3", `{"nbformat":3,"nbformat_minor":0,"metadata":{},"worksheets":[]}`, 0, "nbformat is 3"},
		{"no minor", `{"nbformat":4,"metadata":{},"cells":[]}`, 0, "nbformat_minor"},
		{"no metadata", `{"nbformat":4,"nbformat_minor":5,"cells":[]}`, 0, "metadata"},
		{"no cells", `{"nbformat":4,"nbformat_minor":5,"metadata":{}}`, 0, "cells"},
		{"key twice", "{\"nbformat\":4,\n\"nbformat\":4}", 0, `line 2, column 1: the key "nbformat" appears twice`},
		{"cell is text", frame(`"x"`), 1, "not an object"},
		{"heading", frame(`{"cell_type":"heading","id":"a","metadata":{},"source":""}`), 1, `cell_type is "heading"`},
		{"no id", frame(`{"cell_type":"raw","metadata":{},"source":""}`), 1, "id is missing"},
		{"bad id", frame(`{"cell_type":"raw","id":"a b","metadata":{},"source":""}`), 1, "1 to 64 letters"},
		{"long id", frame(`{"cell_type":"raw","id":"` + strings.Repeat("a", 65) + `","metadata":{},"source":""}`), 1, "1 to 64 letters"},
		{"same id", frame(code("a", "") + "," + code("a", "")), 2, "also that of cell 1"},
		{"no source", frame(`{"cell_type":"raw","id":"a","metadata":{}}`), 1, "source is missing"},
		{"source a number", frame(`{"cell_type":"raw","id":"a","metadata":{},"source":[1]}`), 1, "source is missing"},
		{"cell without metadata", frame(`{"cell_type":"raw","id":"a","source":""}`), 1, "metadata"},
		{"tags", frame(`{"cell_type":"raw","id":"a","metadata":{"tags":"x"},"source":""}`), 1, "metadata.tags"},
		{"stray field", frame(`{"cell_type":"raw","id":"a","metadata":{},"source":"","outputs":[]}`), 1, `field "outputs"`},
		{"no outputs", frame(`{"cell_type":"code","id":"a","metadata":{},"source":"","execution_count":null}`), 1, "outputs is missing"},
		{"no count", frame(`{"cell_type":"code","id":"a","metadata":{},"source":"","outputs":[]}`), 1, "execution_count"},
		{"attachment", frame(`{"cell_type":"raw","id":"a","metadata":{},"source":"","attachments":{"x":1}}`), 1, `attachment "x"`},
		{"output kind", out(`{"output_type":"picture"}`), 1, `output 1: output_type is "picture"`},
		{"stream", out(`{"output_type":"stream","name":"stdout"}`), 1, "text is missing"},
		{"no name", out(`{"output_type":"stream","text":""}`), 1, "without a name"},
		{"error", out(`{"output_type":"error","ename":"x","evalue":"y"}`), 1, "traceback"},
		{"no data", out(`{"output_type":"display_data","metadata":{}}`), 1, "data: missing"},
		{"no output metadata", out(`{"output_type":"display_data","data":{}}`), 1, "metadata"},
		{"transient", out(`{"output_type":"display_data","data":{},"metadata":{},"transient":{}}`), 1, `field "transient"`},
		{"result", out(`{"output_type":"execute_result","data":{},"metadata":{}}`), 1, "execution_count"},
		{"text a number", out(`{"output_type":"display_data","data":{"text/plain":1},"metadata":{}}`), 1, "text/plain"},
		{"bad picture", out(`{"output_type":"display_data","data":{"image/png":"%%"},"metadata":{}}`), 1, "not base64"},
	} {
		_, err := Parse("bad.ipynb", []byte(tc.file))
		var bad *FormatError
		if !errors.As(err, &bad) || bad.Cell != tc.cell || !strings.Contains(err.Error(), tc.want) || !strings.HasPrefix(err.Error(), "bad.ipynb: ") {
			t.Errorf("%s: %v; want cell %d and %q", tc.name, err, tc.cell, tc.want)
		}
	}
}

func TestRulesOfOtherVersions(t *testing.T) {
	for _, tc := range []struct{ name, file string }{
		{"ids before 4.5", `{"cells":[{"cell_type":"raw","id":"not valid!","metadata":{},"source":""}],"metadata":{},"nbformat":4,"nbformat_minor":4}`},
		{"fields after 4.5", `{"cells":[{"cell_type":"raw","id":"a","new":1,"metadata":{},"source":""}],"metadata":{},"nbformat":4,"nbformat_minor":6}`},
	} {
		if _, err := Parse("x.ipynb", []byte(tc.file)); err != nil {
			t.Errorf("%s: %v", tc.name, err)
		}
	}
}

// Lines end where str.splitlines of Python ends them, with which Jupyter
// writes notebooks (Python documentation, str.splitlines).
func TestSplitLines(t *testing.T) {
	for _, tc := range []struct {
		in   string
		want []string
	}{
		{"", nil},
		{"a", []string{"a"}},
		{"a\n", []string{"a\n"}},
		{"a\nb", []string{"a\n", "b"}},
		{"a\r\nb\rc", []string{"a\r\n", "b\r", "c"}},
		{"\n\n", []string{"\n", "\n"}},
		{"a\vb\fc\x1cd\u0085e\u2028f", []string{"a\v", "b\f", "c\x1c", "d\u0085", "e\u2028", "f"}},
	} {
		if got := splitLines(tc.in); !slices.Equal(got, tc.want) {
			t.Errorf("%q: %q, want %q", tc.in, got, tc.want)
		}
	}
}

func FuzzParse(f *testing.F) {
	paths, _ := filepath.Glob("testdata/*.ipynb")
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte("\ufeff{}"))
	f.Add([]byte(`{"cells":[],"metadata":{"a":[[],{}]},"nbformat":4,"nbformat_minor":5}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		nb, err := Parse("fuzz", data)
		if err != nil {
			return
		}
		once := nb.Bytes()
		if !json.Valid(once) {
			t.Fatalf("not JSON: %s", once)
		}
		again, err := Parse("fuzz", once)
		if err != nil {
			t.Fatalf("does not read what it wrote: %v", err)
		}
		if !bytes.Equal(again.Bytes(), once) {
			t.Fatalf("%s\nchanged to\n%s", once, again.Bytes())
		}
		nb.HTML()
	})
}
