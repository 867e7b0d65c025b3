package notebook

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/host"
)

// How far work was is no result: without Jupyter it is told in a line when long
// work begins to show and one when it ends, and what a front end has stored of
// it is not compared.
func TestProgress(t *testing.T) {
	bundle := func(text string) display.Bundle {
		b := show(text)
		b.Metadata = map[string]json.RawMessage{display.ProgressMetadata: json.RawMessage("true")}
		return b
	}
	progress := func(text string, update, ended bool) host.Progress {
		return host.Progress{Display: host.Display{Bundle: bundle(text), ID: "p", Update: update}, Ended: ended}
	}
	value := host.Value{Bundle: show("7")}
	shows := map[string][]host.Output{
		"long": {progress("fit: 1 of 9", false, false), progress("fit: 5 of 9", true, false), progress("fit: 9 of 9\ntails: 2 of 2", true, true), value},
	}
	nb := parse(t, code("a", "long"))
	s := &script{shows: map[string][]host.Output{"long": {host.Display{Bundle: bundle("fit: 9 of 9"), ID: "p"}, value}}} // as Jupyter stores it
	if err := nb.Execute(context.Background(), s.start); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "stored.ipynb")
	if err := os.WriteFile(file, nb.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	var report, said bytes.Buffer
	b := Batch{Notebooks: []string{file}, Out: filepath.Join(t.TempDir(), "out"), Check: true, Report: &report, Errors: &said,
		Start: func(_ string, output func(host.Output)) (Session, error) {
			return (&script{shows: shows}).start(output)
		}}
	if err := b.Run(context.Background()); err != nil {
		t.Errorf("%v\n%s%s", err, report.String(), said.String())
	}
	if want := "stored.ipynb: fit: 1 of 9\nstored.ipynb: fit: 9 of 9\nstored.ipynb: tails: 2 of 2\n"; strings.ReplaceAll(said.String(), file, "stored.ipynb") != want {
		t.Errorf("said\n%swant\n%s", said.String(), want)
	}
	made, err := ReadFile(filepath.Join(b.Out, "stored.ipynb"))
	if err != nil {
		t.Fatal(err)
	}
	if got := sketch(made.Cells[0].Outputs); got != "execute_result 7" || strings.Contains(string(made.Bytes()), "fit") {
		t.Errorf("stores %s", got)
	}
}
