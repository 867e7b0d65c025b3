package notebook

import (
	"bytes"
	"strings"
	"testing"
)

func TestSetParameters(t *testing.T) {
	open := func() *Notebook {
		return parse(t, code("a", "import . \"units\""), code("b", "file := \"a.csv\"\nflow := 20 * LitrePerHour\nvar n, m = 3, 4\nvar unset float64", "parameters"), code("c", "n"))
	}
	for _, tc := range []struct {
		name, value, want string // of the new line, or of the error
	}{
		{"n", "5", "n = 5"},
		{"flow", "2 * LitrePerHour", "flow = 2 * LitrePerHour"},
		{"file", "b c.csv", `file = "b c.csv"`},
		{"file", `"d.csv"`, `file = "d.csv"`},
		{"file", `C:\data\x.csv`, `file = "C:\\data\\x.csv"`},
		{"unset", "1.5", "unset = 1.5"},
		{"flow", "2 L/h", `"2 L/h" is not a Go expression; write 2*LitrePerHour`},
		{"n", "5 +", `"5 +" is not a Go expression`},
		{"k", "5", "has no variable k; it has file, flow, m, n, unset"},
	} {
		nb := open()
		err := nb.SetParameters(map[string]string{tc.name: tc.value})
		got := ""
		if err != nil {
			got = err.Error()
		} else {
			got = nb.Cells[2].Source
		}
		if !strings.HasSuffix(got, tc.want) {
			t.Errorf("%s=%s gives %q, want %q", tc.name, tc.value, got, tc.want)
		}
	}
	named := parse(t, code("a", "import \"github.com/evenbed/evenbed/packing/units\""), code("b", "height := 20 * units.Centimetre", "parameters"))
	if err := named.SetParameters(map[string]string{"height": "15cm"}); err == nil || !strings.HasSuffix(err.Error(), "; write 15*units.Centimetre") {
		t.Errorf("%v", err)
	}
	nb := open()
	if err := nb.SetParameters(map[string]string{"n": "5", "m": "6"}); err != nil {
		t.Fatal(err)
	}
	again, err := Parse("test.ipynb", nb.Bytes())
	if err != nil {
		t.Fatalf("the result breaks the format: %v", err)
	}
	if len(again.Cells) != 4 || strings.Join(again.Cells[2].Tags, " ") != "injected-parameters" || !strings.HasSuffix(again.Cells[2].Source, "m = 6\nn = 5") {
		t.Errorf("cells are %+v", again.Cells)
	}
	// A second time replaces the cell.
	if err := again.SetParameters(map[string]string{"n": "7"}); err != nil {
		t.Fatal(err)
	}
	if len(again.Cells) != 4 || !strings.HasSuffix(again.Cells[2].Source, "\nn = 7") {
		t.Errorf("the cell is %q", again.Cells[2].Source)
	}
	if err := parse(t, code("a", "n := 1")).SetParameters(map[string]string{"n": "5"}); err == nil || !strings.Contains(err.Error(), `no cell is tagged "parameters"`) {
		t.Errorf("without the tag: %v", err)
	}
	if err := parse(t, `{"cell_type": "code", "execution_count": null, "id": "a", "metadata": {"tags": ["parameters"]}, "outputs": [], "source": "n := 1; const k = 2"}`).SetParameters(map[string]string{"k": "5"}); err == nil || !strings.Contains(err.Error(), "has no variable k; it has n") {
		t.Errorf("a constant: %v", err)
	}
	if nb := parse(t, code("a", "n := 1")); nb.SetParameters(nil) != nil {
		t.Error("no parameters need no cell")
	}
}

func TestStrip(t *testing.T) {
	source := []byte(`{
 "cells": [
  {"cell_type": "code", "execution_count": 3, "id": "a", "metadata": {"z": 1, "a": 2}, "outputs": [{"name": "stdout", "output_type": "stream", "text": "x"}], "source": "1"},
  {"cell_type": "code", "execution_count": 4, "id": "b", "metadata": {"tags": ["keep_output"]}, "outputs": [{"name": "stdout", "output_type": "stream", "text": "kept"}], "source": ["2"]}
 ],
 "metadata": {"unknown": {"kept": true}},
 "nbformat": 4,
 "nbformat_minor": 5
}`)
	nb, err := Parse("test.ipynb", source)
	if err != nil {
		t.Fatal(err)
	}
	if !nb.Strip() {
		t.Error("nothing was stripped")
	}
	got := nb.Bytes()
	for _, gone := range []string{`"x"`, `: 3`, `: 4,`} {
		if bytes.Contains(bytes.ReplaceAll(got, []byte(`"nbformat": 4,`), nil), []byte(gone)) {
			t.Errorf("%s is still there: %s", gone, got)
		}
	}
	for _, kept := range []string{`"kept"`, `"unknown"`, `"z": 1`} {
		if !bytes.Contains(got, []byte(kept)) {
			t.Errorf("%s is gone: %s", kept, got)
		}
	}
	if nb.Strip() || !bytes.Equal(nb.Bytes(), got) {
		t.Error("a second time changes something")
	}
}
