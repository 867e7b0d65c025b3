package notebook

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/host"
)

// Of a long run what has been executed is on the disk while it goes on.
func TestKeptMeanwhile(t *testing.T) {
	dir := t.TempDir()
	source, out := filepath.Join(dir, "long.ipynb"), filepath.Join(dir, "out")
	if err := os.WriteFile(source, parse(t, code("a", "first"), code("b", "second"), code("c", "third")).Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	var kept []string // the outputs that were on the disk when a cell began
	shows := map[string][]host.Output{}
	for _, cell := range []string{"first", "second", "third"} {
		shows[cell] = []host.Output{host.Value{Bundle: display.Text(cell)}}
	}
	b := Batch{Notebooks: []string{source}, Out: out, Report: io.Discard, Errors: io.Discard, pause: 1,
		Start: func(_ string, output func(host.Output)) (Session, error) {
			s := &script{shows: shows}
			_, err := s.start(func(o host.Output) {
				at := ""
				if nb, err := ReadFile(filepath.Join(out, "long.ipynb")); err == nil {
					at = sketch(nb.Cells[0].Outputs) + "," + sketch(nb.Cells[1].Outputs) + "," + sketch(nb.Cells[2].Outputs)
				}
				kept = append(kept, at)
				output(o)
			})
			return s, err
		}}
	if err := b.Run(context.Background()); err != nil {
		t.Fatal(err)
	}
	want := []string{"", "execute_result first,,", "execute_result first,execute_result second,"}
	if len(kept) != 3 || kept[0] != want[0] || kept[1] != want[1] || kept[2] != want[2] {
		t.Errorf("%q, want %q", kept, want)
	}
}
