package kernel_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"time"

	"github.com/evenbed/evenbed/kernel"
	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/host"
)

// script is a backend whose cells say line by line what they show.
type script struct {
	output     func(host.Output)
	input      func(ctx context.Context, prompt string, password bool) (string, error)
	interrupts atomic.Int32
	closed     atomic.Bool
}

// scripted returns options for a kernel on a script, and the script.
func scripted() (kernel.Options, *script) {
	s := &script{}
	return kernel.Options{
		Version: "0.1",
		Start: func(o host.Options) (kernel.Backend, error) {
			s.output, s.input = o.Output, o.Input
			return s, nil
		},
	}, s
}

func (s *script) Execute(ctx context.Context, code string, number int) host.Reply {
	for line := range strings.Lines(code) {
		verb, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
		switch verb {
		case "print":
			s.output(host.Stream{Name: "stdout", Text: rest + "\n"})
		case "warn":
			s.output(host.Stream{Name: "stderr", Text: rest + "\n"})
		case "value":
			s.output(host.Value{Bundle: display.Text(rest)})
		case "number":
			s.output(host.Value{Bundle: display.Text(fmt.Sprint(number))})
		case "show":
			s.output(host.Display{Bundle: display.Text(rest), ID: "d1"})
		case "update":
			s.output(host.Display{Bundle: display.Text(rest), ID: "d1", Update: true})
		case "picture":
			s.output(host.Display{Bundle: display.Bundle{Data: map[string][]byte{display.MIMETypePNG: {0x89, 'P'}}}})
		case "clear":
			s.output(host.Clear{Wait: rest == "wait"})
		case "later":
			go func() {
				time.Sleep(20 * time.Millisecond)
				s.output(host.Stream{Name: "stdout", Text: rest})
			}()
		case "ask", "ask-secretly":
			text, err := s.input(ctx, rest, verb == "ask-secretly")
			if err != nil {
				s.output(host.Stream{Name: "stderr", Text: err.Error() + "\n"})
				continue
			}
			s.output(host.Stream{Name: "stdout", Text: "typed " + text + "\n"})
		case "nap":
			time.Sleep(20 * time.Millisecond)
		case "fail":
			f := host.Failure{Name: rest, Message: "because"}
			s.output(f)
			return host.Reply{Failure: &f}
		case "fail-quietly": // a failure that only the reply tells of
			return host.Reply{Failure: &host.Failure{Name: rest, Message: "because"}}
		case "wait":
			<-ctx.Done()
			f := host.Failure{Name: "interrupted", Message: "on request", Traceback: []string{"interrupted"}}
			s.output(f)
			return host.Reply{Failure: &f}
		}
	}
	return host.Reply{}
}

func (s *script) Interrupt()   { s.interrupts.Add(1) }
func (s *script) Close() error { s.closed.Store(true); return nil }

func (s *script) Complete(code string, cursor int) host.Completion {
	runes := []rune(code)[:cursor]
	if len(runes) == 0 {
		return host.Completion{}
	}
	return host.Completion{Start: cursor - 1, End: cursor, Matches: []host.Match{{Text: string(runes[cursor-1:]) + "!", Kind: "function"}}}
}

func (s *script) Inspect(code string, cursor, detail int) (display.Bundle, bool) {
	if code == "" {
		return display.Bundle{}, false
	}
	return display.Text(fmt.Sprintf("%s at %d, detail %d", code, cursor, detail)), true
}

func (s *script) IsComplete(code string) (status, indent string) {
	if strings.HasSuffix(code, "{") {
		return "incomplete", "\t"
	}
	return "complete", ""
}

// broken is a kernel whose engine cannot start.
func broken() kernel.Options {
	return kernel.Options{Start: func(host.Options) (kernel.Backend, error) { return nil, errors.New("no room") }}
}
