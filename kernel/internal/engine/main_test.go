package engine_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/kernel/internal/engine"
	"github.com/evenbed/evenbed/kernel/internal/host"
)

// The test program starts itself again as the engine.
func TestMain(m *testing.M) {
	if os.Getenv(host.Env) != "" {
		if err := engine.Main(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

// A notebook runs cells and remembers what they show.
type notebook struct {
	t    testing.TB
	s    *host.Session
	n    int
	seen []string
	hear func(host.Output) // is told of each output, if not nil
	last map[string]string // what the last value shows, by MIME type

	input func(ctx context.Context, prompt string, password bool) (string, error) // the user, if not nil
}

func open(t testing.TB, env ...string) *notebook {
	nb := &notebook{t: t}
	s, err := host.Start(host.Options{Command: []string{os.Args[0]}, Env: append(os.Environ(), env...), Output: nb.output, Input: nb.typed, KeepText: true})
	if err != nil {
		t.Fatal(err)
	}
	nb.s = s
	t.Cleanup(func() { s.Close() })
	return nb
}

func (nb *notebook) typed(ctx context.Context, prompt string, password bool) (string, error) {
	if nb.input == nil {
		return "", errors.New("there is no user")
	}
	return nb.input(ctx, prompt, password)
}

func (nb *notebook) output(o host.Output) {
	if nb.hear != nil {
		nb.hear(o)
	}
	switch o := o.(type) {
	case host.Stream:
		if k := len(nb.seen) - 1; k >= 0 && strings.HasPrefix(nb.seen[k], o.Name+" ") {
			nb.seen[k] += o.Text // how text is cut into messages does not matter
		} else {
			nb.seen = append(nb.seen, o.Name+" "+o.Text)
		}
	case host.Value:
		nb.seen = append(nb.seen, "value "+string(o.Data["text/plain"]))
		nb.last = map[string]string{}
		for mime, data := range o.Data {
			nb.last[mime] = string(data)
		}
	case host.Display:
		kind := "display "
		if o.Update {
			kind = "update "
		}
		nb.seen = append(nb.seen, kind+string(o.Data["text/plain"]))
	case host.Progress:
		nb.seen = append(nb.seen, fmt.Sprintf("progress %v %s %s", o.Ended, o.ID, o.Data["text/plain"]))
	case host.Failure:
		nb.seen = append(nb.seen, o.Name+": "+o.Message)
	case host.Clear:
		nb.seen = append(nb.seen, "clear")
	}
}

// run runs a cell and returns what it shows.
func (nb *notebook) run(code string) ([]string, host.Reply) {
	return nb.runContext(context.Background(), code)
}

func (nb *notebook) runContext(ctx context.Context, code string) ([]string, host.Reply) {
	nb.n++
	nb.seen = nil
	r := nb.s.Execute(ctx, code, nb.n)
	return nb.seen, r
}

// want runs a cell that shows exactly the given outputs.
func (nb *notebook) want(code string, outputs ...string) host.Reply {
	nb.t.Helper()
	got, r := nb.run(code)
	if strings.Join(got, "\n") != strings.Join(outputs, "\n") {
		nb.t.Errorf("cell %d:\n%s\nshows %q\nwant  %q", nb.n, code, got, outputs)
	}
	return r
}
