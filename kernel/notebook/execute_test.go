package notebook

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/host"
)

// A script is a session whose cells name what they show.
type script struct {
	output func(host.Output)
	shows  map[string][]host.Output
	died   map[string]bool
	cancel func()

	ran    []string
	closed bool
}

func (s *script) start(output func(host.Output)) (Session, error) {
	s.output = output
	return s, nil
}

func (s *script) Execute(ctx context.Context, code string, n int) host.Reply {
	s.ran = append(s.ran, fmt.Sprintf("%d %s", n, code))
	if code == "interrupted" {
		s.cancel()
		<-ctx.Done()
		return host.Reply{Failure: &host.Failure{Name: "interrupted"}}
	}
	reply := host.Reply{Died: s.died[code]}
	for _, o := range s.shows[code] {
		s.output(o)
		if f, ok := o.(host.Failure); ok {
			reply.Failure = &f
		}
	}
	if reply.Died {
		reply.Failure = &host.Failure{Name: "engine ended", Message: "stack overflow"}
	}
	return reply
}

func (s *script) Close() error { s.closed = true; return nil }

func show(text string) display.Bundle { return display.Text(text) }

// sketch writes outputs in short.
func sketch(outputs []Output) string {
	var s []string
	for _, o := range outputs {
		switch o.Kind {
		case Stream, Failure:
			s = append(s, o.Name+" "+o.Text)
		default:
			s = append(s, string(o.Kind)+" "+string(o.Bundle.Data["text/plain"]))
		}
	}
	return strings.Join(s, " | ")
}

func TestOutputs(t *testing.T) {
	out := func(s string) host.Output { return host.Stream{Name: "stdout", Text: s} }
	for _, tc := range []struct {
		name  string
		shows []host.Output
		want  string
	}{
		{"streams are put together", []host.Output{out("a"), out("b"), host.Stream{Name: "stderr", Text: "c"}, out("d")}, "stdout ab | stderr c | stdout d"},
		{"not over a display", []host.Output{out("a"), host.Display{Bundle: show("x")}, out("b")}, "stdout a | display_data x | stdout b"},
		{"value", []host.Output{host.Value{Bundle: show("1")}}, "execute_result 1"},
		{"update", []host.Output{host.Display{Bundle: show("1"), ID: "i"}, out("a"), host.Display{Bundle: show("2"), ID: "i", Update: true}}, "display_data 2 | stdout a"},
		{"update of two", []host.Output{host.Display{Bundle: show("1"), ID: "i"}, host.Display{Bundle: show("2"), ID: "i"}, host.Display{Bundle: show("3"), ID: "i", Update: true}}, "display_data 3 | display_data 3"},
		{"update of nothing", []host.Output{host.Display{Bundle: show("2"), ID: "i", Update: true}}, ""},
		{"update without ID", []host.Output{host.Display{Bundle: show("1")}, host.Display{Bundle: show("2"), Update: true}}, "display_data 1"},
		{"clear", []host.Output{out("a"), host.Clear{}, out("b")}, "stdout b"},
		{"clear at the end", []host.Output{out("a"), host.Clear{}}, ""},
		{"clear later", []host.Output{out("a"), host.Clear{Wait: true}, out("b"), out("c")}, "stdout bc"},
		{"clear never comes", []host.Output{out("a"), host.Clear{Wait: true}}, "stdout a"},
		{"clear, then update", []host.Output{host.Display{Bundle: show("1"), ID: "i"}, host.Clear{}, host.Display{Bundle: show("2"), ID: "i", Update: true}}, ""},
		{"update does not clear", []host.Output{host.Display{Bundle: show("1"), ID: "i"}, host.Clear{Wait: true}, host.Display{Bundle: show("2"), ID: "i", Update: true}}, "display_data 2"},
	} {
		nb := parse(t, code("a", "x"))
		s := &script{shows: map[string][]host.Output{"x": tc.shows}}
		if err := nb.Execute(context.Background(), s.start); err != nil {
			t.Errorf("%s: %v", tc.name, err)
		}
		if got := sketch(nb.Cells[0].Outputs); got != tc.want {
			t.Errorf("%s: %s, want %s", tc.name, got, tc.want)
		}
		if !s.closed {
			t.Errorf("%s: the session was not closed", tc.name)
		}
		again, err := Parse("again", nb.Bytes())
		if err != nil {
			t.Errorf("%s: not a notebook any more: %v", tc.name, err)
		} else if got := sketch(again.Cells[0].Outputs); got != tc.want {
			t.Errorf("%s: written and read: %s, want %s", tc.name, got, tc.want)
		}
	}
}

func TestOrderAndCounts(t *testing.T) {
	nb := parse(t, code("a", "one"), `{"cell_type":"markdown","id":"m","metadata":{},"source":"text"}`, code("e", " \n"), code("b", "two"))
	s := &script{shows: map[string][]host.Output{
		"one": {host.Display{Bundle: show("0 %"), ID: "progress"}},
		"two": {host.Display{Bundle: show("100 %"), ID: "progress", Update: true}, host.Value{Bundle: show("done")}},
	}}
	if err := nb.Execute(context.Background(), s.start); err != nil {
		t.Fatal(err)
	}
	if want := []string{"1 one", "2 two"}; !slices.Equal(s.ran, want) {
		t.Errorf("ran %q, want %q", s.ran, want)
	}
	var counts []int
	for _, c := range nb.Cells {
		counts = append(counts, c.Count)
	}
	if want := []int{1, 0, 0, 2}; !slices.Equal(counts, want) {
		t.Errorf("counts %v, want %v", counts, want)
	}
	if got := sketch(nb.Cells[0].Outputs); got != "display_data 100 %" {
		t.Errorf("a later cell's update: %s", got)
	}
	if !bytes.Contains(nb.Bytes(), []byte(`"execution_count": null`)) {
		t.Error("the blank cell has a count")
	}
}

func TestFailures(t *testing.T) {
	bad := host.Failure{Name: "panic", Message: "oh", Traceback: []string{"\x1b[31mpanic\x1b[0m"}}
	for _, tc := range []struct {
		name  string
		cells []string
		died  map[string]bool
		want  string // the error
		ran   int
	}{
		{"stops", []string{code("a", "ok"), code("b", "bad"), code("c", "ok")}, nil, "test.ipynb: cell 2 [2]: panic: oh", 2},
		{"may fail", []string{code("b", "bad", "raises-exception"), code("c", "ok")}, nil, "", 2},
		{"engine ends", []string{code("b", "kill", "raises-exception"), code("c", "ok")}, map[string]bool{"kill": true}, "test.ipynb: cell 1 [1]: engine ended: stack overflow", 1},
	} {
		nb := parse(t, tc.cells...)
		s := &script{shows: map[string][]host.Output{"bad": {host.Stream{Name: "stdout", Text: "before"}, bad}}, died: tc.died}
		err := nb.Execute(context.Background(), s.start)
		if got := fmt.Sprint(err); got != tc.want && !(err == nil && tc.want == "") {
			t.Errorf("%s: %v, want %v", tc.name, got, tc.want)
		}
		var cell *CellError
		if tc.want != "" && !errors.As(err, &cell) {
			t.Errorf("%s: %T", tc.name, err)
		}
		if len(s.ran) != tc.ran || !s.closed {
			t.Errorf("%s: ran %v, closed %v", tc.name, s.ran, s.closed)
		}
		failures := 0
		for _, c := range nb.Cells {
			for _, o := range c.Outputs {
				if o.Kind == Failure {
					failures++
				}
			}
		}
		if failures != 1 {
			t.Errorf("%s: %d failures are shown, want 1", tc.name, failures)
		}
	}
}

// What a run did not reach must not look as if it had just been made.
func TestOldOutputsGo(t *testing.T) {
	nb := read(t, "testdata/everything.ipynb")
	s := &script{died: map[string]bool{nb.Cells[3].Source: true}}
	if err := nb.Execute(context.Background(), s.start); err == nil {
		t.Fatal("no error")
	}
	for i, c := range nb.Cells[4:] {
		if len(c.Outputs) > 0 || c.Count > 0 {
			t.Errorf("cell %d still has %d outputs and count %d", i+5, len(c.Outputs), c.Count)
		}
	}
}

func TestInterrupt(t *testing.T) {
	nb := parse(t, code("a", "interrupted", "raises-exception"), code("b", "ok"))
	ctx, cancel := context.WithCancel(context.Background())
	s := &script{cancel: cancel}
	err := nb.Execute(ctx, s.start)
	if err == nil || !strings.Contains(err.Error(), "cell 1 [1]: interrupted") || len(s.ran) != 1 {
		t.Errorf("%v after %v", err, s.ran)
	}
}

func TestStartFails(t *testing.T) {
	cause := errors.New("no engine")
	nb := parse(t, code("a", "x"))
	err := nb.Execute(context.Background(), func(func(host.Output)) (Session, error) { return nil, cause })
	if !errors.Is(err, cause) {
		t.Error(err)
	}
}

// Every kind of output, as a file: sorted keys, text as lines, pictures in
// base64, JSON as itself. The expected file is written by hand from the schema
// of nbformat 4.5.
func TestWritten(t *testing.T) {
	nb, err := Parse("w.ipynb", []byte(`{
 "cells": [
  {
   "source": ["x"],
   "cell_type": "code",
   "metadata": {"keep": true},
   "id": "a",
   "outputs": [],
   "execution_count": 9
  }
 ],
 "metadata": {"author": "kept", "kernelspec": {"display_name": "Other", "name": "other"}},
 "nbformat": 4,
 "nbformat_minor": 5
}`))
	if err != nil {
		t.Fatal(err)
	}
	s := &script{shows: map[string][]host.Output{"x": {
		host.Stream{Name: "stdout", Text: "a <b>\nc\x01\u2028d"},
		host.Display{ID: "never written", Bundle: display.Bundle{
			Data: map[string][]byte{
				"text/plain": []byte("p"), "image/svg+xml": []byte("<svg>\n</svg>"), "image/png": {1, 2, 3},
				"application/json": []byte(`{"b": [1, 2.50], "a": "\u003cx"}`), "application/vnd.x+json": []byte(`[]`),
			},
			Metadata: map[string]json.RawMessage{"image/png": json.RawMessage(`{"width": 10, "height": 5}`)},
		}},
		host.Value{Bundle: show("")},
	}}}
	if err := nb.Execute(context.Background(), s.start); err != nil {
		t.Fatal(err)
	}
	golden(t, "testdata/written.golden", nb.Bytes())
	for range 20 {
		before := nb.Bytes()
		if err := nb.Execute(context.Background(), s.start); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(nb.Bytes(), before) {
			t.Fatal("a second run gives other bytes")
		}
	}
}

func TestCompare(t *testing.T) {
	run := func(outputs ...host.Output) *Notebook {
		nb := parse(t, code("a", "first"), code("b", "x"))
		s := &script{shows: map[string][]host.Output{"x": outputs}}
		nb.Execute(context.Background(), s.start) // failures are compared too
		return nb
	}
	out := func(s string) host.Output { return host.Stream{Name: "stdout", Text: s} }
	bundle := func(pairs ...string) host.Output {
		b := display.Bundle{Data: map[string][]byte{}}
		for i := 0; i < len(pairs); i += 2 {
			b.Data[pairs[i]] = []byte(pairs[i+1])
		}
		return host.Display{Bundle: b}
	}
	long := strings.Repeat("0123456789", 30)
	for _, tc := range []struct {
		name         string
		stored, made *Notebook
		want         string
	}{
		{"same", run(out("a"), bundle("text/plain", "x")), run(out("a"), bundle("text/plain", "x")), ""},
		{"JSON in other order", run(bundle("application/json", `{"a":1,"b":2}`)), run(bundle("application/json", `{"b": 2, "a": 1}`)), ""},
		{"line", run(out("a\nb\nc")), run(out("a\nB\nc")), "test.ipynb: cell 2 [2], output 1, stdout, line 2\n  stored: b\n  made:   B"},
		{"fewer lines", run(out("a\nb")), run(out("a")), "test.ipynb: cell 2 [2], output 1, stdout, line 2\n  stored: b\n  made:   (ends before)"},
		{"missing", run(out("a"), bundle("text/plain", "x")), run(out("a")), "test.ipynb: cell 2 [2], output 2\n  stored: display_data of text/plain\n  made:   nothing"},
		{"added", run(), run(out("a\nb")), "test.ipynb: cell 2 [2], output 1\n  stored: nothing\n  made:   stdout: a"},
		{"types", run(bundle("text/plain", "x")), run(bundle("text/html", "x", "text/plain", "x")), "test.ipynb: cell 2 [2], output 1\n  stored: display_data of text/plain\n  made:   display_data of text/html, text/plain"},
		{"which type", run(bundle("text/html", "<b>\n1", "text/plain", "1")), run(bundle("text/html", "<b>\n2", "text/plain", "1")), "test.ipynb: cell 2 [2], output 1, text/html, line 2\n  stored: 1\n  made:   2"},
		{"picture", run(bundle("image/png", "\x01\x02")), run(bundle("image/png", "\x01\x03")), "test.ipynb: cell 2 [2], output 1, image/png, line 1\n  stored: 2 bytes, 0102\n  made:   2 bytes, 0103"},
		{"kind", run(bundle("text/plain", "x")), run(host.Value{Bundle: show("x")}), "test.ipynb: cell 2 [2], output 1\n  stored: display_data of text/plain\n  made:   execute_result of text/plain"},
		{"failure", run(host.Failure{Name: "panic", Message: "a"}), run(host.Failure{Name: "panic", Message: "b"}), "test.ipynb: cell 2 [2], output 1, error, line 1\n  stored: panic: a\n  made:   panic: b"},
		{"long line", run(out(long + "a" + long)), run(out(long + "b" + long)), "test.ipynb: cell 2 [2], output 1, stdout, line 1\n  stored: … " + long[:40] + "a" + long[:59] + " …\n  made:   … " + long[:40] + "b" + long[:59] + " …"},
		{"cells", parse(t), run(), "test.ipynb: cell 1, output 1\n  stored: 0 cells\n  made:   2 cells"},
	} {
		var got []string
		for _, d := range Compare(tc.stored, tc.made, 0) {
			got = append(got, d.String())
		}
		if strings.Join(got, "\n") != tc.want {
			t.Errorf("%s:\n%s\nwant\n%s", tc.name, strings.Join(got, "\n"), tc.want)
		}
	}
}

// What may differ: outputs of tagged cells, and numbers by the tolerance.
func TestCompareAllows(t *testing.T) {
	run := func(text string, tags ...string) *Notebook {
		nb := parse(t, code("a", "x", tags...))
		s := &script{shows: map[string][]host.Output{"x": {host.Stream{Name: "stdout", Text: text}}}}
		if err := nb.Execute(context.Background(), s.start); err != nil {
			t.Fatal(err)
		}
		return nb
	}
	for _, tc := range []struct {
		stored, made string
		tolerance    float64
		tags         []string
		same         bool
	}{
		{"v = 1.0000001", "v = 1.0000002", 0, nil, false},
		{"v = 1.0000001", "v = 1.0000002", 1e-6, nil, true},
		{"v = 1.0000001", "v = 1.0000002", 1e-8, nil, false},
		{"v = 1.5e-9 x", "v = 1.5000001e-9 x", 1e-6, nil, true},
		{"v = -1", "v = 1", 1e-3, nil, false}, // a sign is no number
		{"v = 1", "w = 1", 0.5, nil, false},
		{"1 2", "1", 0.5, nil, false},
		{"<b>3.00</b>", "<b>3</b>", 1e-9, nil, true},
		{"a", "b", 0, []string{"nbval-ignore-output"}, true},
		{"a", "b", 0, []string{"other"}, false},
	} {
		if d := Compare(run(tc.stored, tc.tags...), run(tc.made, tc.tags...), tc.tolerance); (len(d) == 0) != tc.same {
			t.Errorf("%q and %q with tolerance %g and tags %v: %v", tc.stored, tc.made, tc.tolerance, tc.tags, d)
		}
	}
}

func TestOrder(t *testing.T) {
	nb := parse(t, code("a", "x"), code("b", "fails"), code("c", "x"), code("d", "fails", "raises-exception"), code("e", ""), code("f", "x", "nbval-skip"))
	for i, count := range []int{2, 1, 0, 4, 0, 0} {
		nb.Cells[i].setCount(count)
	}
	nb.Cells[1].setOutputs([]Output{{Kind: Failure, Name: "panic"}})
	nb.Cells[3].setOutputs([]Output{{Kind: Failure, Name: "panic"}})
	got := strings.Join(nb.Order(), "\n")
	want := "test.ipynb: cell 2 [1] was run before cell 1 [2] above it; restart the kernel, run all cells and save\n" +
		"test.ipynb: cell 2 [1] is stored with an error; mend it, or tag it raises-exception if the error is meant\n" +
		"test.ipynb: cell 3 was never run; run all cells and save"
	if got != want {
		t.Errorf("%s\nwant\n%s", got, want)
	}
}
