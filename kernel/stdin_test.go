package kernel_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/evenbed/evenbed/kernel"
	"github.com/evenbed/evenbed/kernel/internal/kerneltest"
	"github.com/evenbed/evenbed/kernel/internal/wire"
)

// A question goes to the client whose cell it is, and to no other.
func TestInput(t *testing.T) {
	c, _ := start(t)
	for i, code := range []string{"ask name?", "ask-secretly name?"} {
		for _, named := range []bool{true, false} { // some clients do not say which question they answer
			id := c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: code, AllowStdin: true})
			m := c.Reply(c.Stdin)
			q := read[wire.Question](t, m, wire.InputRequest)
			if q.Prompt != "name?" || q.Password != (i == 1) || kerneltest.Parent(m) != id {
				t.Errorf("%+v of %s", q, m.Parent)
			}
			if named {
				c.Answer(m, "Marram")
			} else {
				c.Answer(nil, "Marram")
			}
			if got := c.Transcript(id); !slices.Contains(got, "stdout typed Marram\n") {
				t.Errorf("%q", got)
			}
			equal(t, read[wire.Reply](t, c.Reply(c.Shell), wire.ExecuteReply).Status, wire.OK)
		}
	}
}

// A client that takes no input is not asked, and one without a stdin channel
// is not waited for.
func TestInputRefused(t *testing.T) {
	c, _ := start(t)
	if got := c.Execute("ask name?"); !slices.Contains(got, "stderr this client does not take input\n") {
		t.Errorf("%q", got)
	}
	c.Stdin.Close()
	began := time.Now()
	id := c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "ask name?", AllowStdin: true})
	if got := c.Transcript(id); !strings.Contains(strings.Join(got, "|"), "its stdin channel\n") {
		t.Errorf("%q", got)
	}
	if d := time.Since(began); d > 5*time.Second {
		t.Errorf("told after %v", d)
	}
}

// What is typed for a question that is over, is dropped.
func TestLateAnswers(t *testing.T) {
	c, _ := start(t)
	id := c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "ask one?", AllowStdin: true})
	first := c.Reply(c.Stdin)
	c.Ask(c.Control, wire.InterruptRequest, struct{}{})
	c.Reply(c.Control)
	if got := c.Transcript(id); !slices.Contains(got, "stderr context canceled\n") {
		t.Errorf("%q", got)
	}
	c.Reply(c.Shell)
	c.Answer(first, "too late")
	id = c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "ask two?", AllowStdin: true})
	second := c.Reply(c.Stdin)
	c.Answer(first, "much too late")
	c.Answer(second, "in time")
	c.Answer(second, "twice")
	if got := c.Transcript(id); !slices.Contains(got, "stdout typed in time\n") {
		t.Errorf("%q", got)
	}
}

func TestRealInput(t *testing.T) {
	c := kerneltest.Start(t, kernel.Options{})
	id := c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{AllowStdin: true,
		Code: "import \"fmt\"\nvar a, b string\nfmt.Print(\"two words: \")\nfmt.Scan(&a)\nfmt.Scan(&b)\nb + a"})
	c.Answer(c.Reply(c.Stdin), "one")
	c.Answer(c.Reply(c.Stdin), "two")
	equal(t, c.Transcript(id), []string{"busy", "input 1", "stdout two words: ", "result twoone", "idle"})
	c.Reply(c.Shell)

	c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{AllowStdin: true, Code: "display.Password(\"?\")"})
	if q := read[wire.Question](t, c.Reply(c.Stdin), wire.InputRequest); !q.Password || q.Prompt != "?" {
		t.Errorf("%+v", q)
	}
	c.Ask(c.Control, wire.InterruptRequest, struct{}{})
	c.Reply(c.Control)
	if r := read[wire.Reply](t, c.Reply(c.Shell), wire.ExecuteReply); r.Name != "interrupted" {
		t.Errorf("%+v", r)
	}
	c.Drain()
	c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "fmt.Scan(&a)"})
	if r := read[wire.Reply](t, c.Reply(c.Shell), wire.ExecuteReply); !strings.Contains(r.Value, "this client does not take input") {
		t.Errorf("%+v", r)
	}
}
