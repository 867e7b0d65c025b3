package host

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/evenbed/evenbed/kernel/internal/pipe"
)

func TestList(t *testing.T) {
	for _, tc := range []struct {
		numbers []int
		want    string
	}{
		{[]int{3}, "3"}, {[]int{1, 2}, "1 and 2"}, {[]int{1, 2, 3}, "1 to 3"},
		{[]int{1, 2, 4, 6, 7, 8}, "1, 2, 4 and 6 to 8"}, {[]int{5, 2, 9}, "5, 2 and 9"},
	} {
		if got := list(tc.numbers); got != tc.want {
			t.Errorf("%v: %q, want %q", tc.numbers, got, tc.want)
		}
	}
}

func TestWholeRunes(t *testing.T) {
	for s, want := range map[string]int{
		"": 0, "a": 1, "ä": 2, "a\xc3": 1, "€\xe2\x82": 3, "\xe2\x82": 0, "\xff": 1, "x\x80\x80": 3, "\xf0\x9f\x98": 0,
	} {
		if got := wholeRunes([]byte(s)); got != want {
			t.Errorf("%q: %d, want %d", s, got, want)
		}
	}
}

// feed sends text with markers through a merger as an engine would.
func feed(m *merger, out, errs string) {
	done := make(chan struct{})
	go func() { m.read(0, strings.NewReader(out)); done <- struct{}{} }()
	go func() { m.read(1, strings.NewReader(errs)); done <- struct{}{} }()
	<-done
	<-done
}

// What the Go runtime says before it gives up is its reason, not the cell's text;
// a cell that writes the same words and lives is shown them.
func TestLastWords(t *testing.T) {
	mark := func(n uint64) string { return string(pipe.Marker("token", n)) }
	for _, tc := range []struct {
		name, errs, shown, reason string
	}{
		{"a crash", "before\nfatal error: stack overflow\n\ngoroutine 1:\n", "before\n", "stack overflow: a function calls itself without end"},
		{"a crash with a word before", "runtime: goroutine stack exceeds 1-byte limit\nfatal error: stack overflow\n", "", "stack overflow: a function calls itself without end"},
		{"a panic outside of cells", "panic: lost\n\ngoroutine 7\n", "", "a goroutine of a library panicked: lost"},
		{"the same words of a cell", "fatal error: mine\n" + mark(1) + "after\n", "fatal error: mine\nafter\n", ""},
		{"the words in a line", "no fatal error: here\n", "no fatal error: here\n", ""},
	} {
		var shown strings.Builder
		m := newMerger(func(o Output) { shown.WriteString(o.(Stream).Text) }, "token", nil)
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			if strings.Contains(tc.errs, "\x00") {
				m.show(1, nil)
			}
		}()
		out := ""
		if strings.Contains(tc.errs, "\x00") {
			out = mark(1)
		}
		feed(m, out, tc.errs)
		<-ended
		m.flush()
		if shown.String() != tc.shown || m.lastWords() != tc.reason {
			t.Errorf("%s: shows %q, reason %q", tc.name, shown.String(), m.lastWords())
		}
	}
}

// A message waits for the text before its marker, and the text behind waits for it.
func TestMergerKeepsOrder(t *testing.T) {
	var seen []string
	m := newMerger(func(o Output) {
		switch o := o.(type) {
		case Stream:
			seen = append(seen, o.Name+" "+o.Text)
		case Clear:
			seen = append(seen, "message")
		}
	}, "token", nil)
	outR, outW := io.Pipe()
	errR, errW := io.Pipe()
	done := make(chan struct{}, 3)
	go func() { m.read(0, outR); done <- struct{}{} }()
	go func() { m.read(1, errR); done <- struct{}{} }()
	go func() { m.show(1, Clear{}); done <- struct{}{} }()
	mark := string(pipe.Marker("token", 1))
	io.WriteString(outW, "a"+mark+"b")
	time.Sleep(20 * time.Millisecond) // the message is held, for standard error has not come so far
	io.WriteString(errW, "c"+mark)
	outW.Close()
	errW.Close()
	for range 3 {
		<-done
	}
	m.flush()
	got := strings.Join(seen, ",")
	if got != "stdout a,stderr c,message,stdout b" {
		t.Errorf("order is %s", got)
	}
}

func TestEngineThatDoesNotStart(t *testing.T) {
	if _, err := Start(Options{Command: []string{filepath.Join(t.TempDir(), "nothing")}}); err == nil {
		t.Error("a program that is not there was started")
	}
	if runtime.GOOS == "windows" {
		return // there is no shell script to start
	}
	script := filepath.Join(t.TempDir(), "engine")
	if err := os.WriteFile(script, []byte("#!/bin/sh\necho cannot work here >&2\nexit 3\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	s, err := Start(Options{Command: []string{script}})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	r := s.Execute(context.Background(), "1+1", 1)
	if r.Failure == nil || !strings.Contains(r.Failure.Message, "cannot work here") {
		t.Errorf("reply is %+v", r.Failure)
	}
	if s.Restart() == nil {
		t.Error("restarted")
	}
}

func TestClosedSession(t *testing.T) {
	s, err := Start(Options{Command: []string{os.Args[0], "-test.run=^$"}})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if r := s.Execute(context.Background(), "1", 1); r.Failure == nil || !strings.Contains(r.Failure.Message, "closed") {
		t.Errorf("reply is %+v", r.Failure)
	}
	if _, ok := s.Complete("a", 1); ok {
		t.Error("a closed session completes")
	}
	if _, err := s.engine(); err == nil || errors.Is(err, io.EOF) {
		t.Errorf("error is %v", err)
	}
}
