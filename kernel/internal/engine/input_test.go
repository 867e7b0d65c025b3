package engine_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

// answers makes the notebook's user type these lines, and then nothing more.
// It returns what the user has been asked.
func (nb *notebook) answers(lines ...string) *[]string {
	var asked []string
	nb.input = func(ctx context.Context, prompt string, password bool) (string, error) {
		if password {
			prompt += " (unseen)"
		}
		asked = append(asked, prompt)
		if len(lines) == 0 {
			<-ctx.Done()
			return "", ctx.Err()
		}
		line := lines[0]
		lines = lines[1:]
		return line, nil
	}
	return &asked
}

func TestInput(t *testing.T) {
	nb := open(t)
	nb.want("import (\"bufio\"; \"fmt\"; \"io\"; \"os\"; \"errors\")")
	for _, tc := range []struct {
		code  string
		typed []string
		asked int
		want  []string
	}{
		{"var name string\nn, err := fmt.Scan(&name)\nif err == nil && n == 1 { fmt.Print(name) }", []string{"Marram"}, 1, []string{"stdout Marram"}},
		{"fmt.Print(\"name? \")\nfmt.Scanln(&name)\nname", []string{"Sedge"}, 1, []string{"stdout name? ", "value Sedge"}},
		{"var a, b int\nfmt.Sscan(\"1 2\", &a, &b)\nfmt.Scanf(\"%d-%d\", &a, &b)\na + b", []string{"3-4"}, 1, []string{"value 7"}},
		{"fmt.Scan(&a, &b)\na * b", []string{"5", "", "6"}, 3, []string{"value 30"}},
		{"fmt.Scan(&a)\nfmt.Scan(&b)\na * b", []string{"5 7"}, 1, []string{"value 35"}}, // the rest stays for the next read
		{"fmt.Scan(&a)\na", []string{"8"}, 1, []string{"value 8"}},                      // and not for the next cell
		{"in := bufio.NewReader(os.Stdin)\none, err1 := in.ReadString('\\n')\ntwo, err2 := in.ReadString('\\n')\nif err1 == nil && err2 == nil { fmt.Print(one, two) }",
			[]string{"first line", "é and more"}, 2, []string{"stdout first line\né and more\n"}},
		{"lines := bufio.NewScanner(os.Stdin)\nfor lines.Scan() { fmt.Println(\"<\" + lines.Text() + \">\") }", []string{"x", "y", "\x04"}, 3, []string{"stdout <x>\n<y>\n"}},
		{"all, err := io.ReadAll(os.Stdin)\nif err == nil { fmt.Print(string(all)) }", []string{"x", "\x04"}, 2, []string{"stdout x\n"}},
		{"few := make([]byte, 3)\nk, err := os.Stdin.Read(few)\nif err == nil { fmt.Println(k, string(few)) }", []string{"abcdef"}, 1, []string{"stdout 3 abc\n"}},
		{"func ask(r io.Reader) (s string) { fmt.Fscan(r, &s); return s }\nask(os.Stdin)", []string{"z"}, 1, []string{"value z"}},
		{"display.Input(\"which column?\")", []string{"column 04"}, 1, []string{"value column 04"}},
		{"display.Password(\"word?\")", []string{"x y"}, 1, []string{"value x y"}},
		{"os.Stdin.Close()\n_, err = os.Stdin.Read(few)\nerrors.Is(err, os.ErrClosed)", nil, 0, []string{"value true"}},
		{"os.Stdin.Name()", nil, 0, []string{"value /dev/stdin"}},
		{"got := make(chan string)\ngo func() { s, err := display.Input(\"from a goroutine\"); if err == nil { got <- s } }()\n<-got", []string{"g"}, 1, []string{"value g"}},
	} {
		asked := nb.answers(tc.typed...)
		nb.want(tc.code, tc.want...)
		if len(*asked) != tc.asked {
			t.Errorf("%s\nasked %d times, want %d", tc.code, len(*asked), tc.asked)
		}
	}
	asked := nb.answers("a", "b")
	nb.run("display.Input(\"p1\")\ndisplay.Password(\"p2\")")
	if !slices.Equal(*asked, []string{"p1", "p2 (unseen)"}) {
		t.Errorf("asked %q", *asked)
	}
}

func TestStdinIsNoFile(t *testing.T) {
	nb := open(t)
	nb.want("import (\"os\"; \"fmt\")\nfunc takes(f *os.File) { }")
	for _, code := range []string{"var f *os.File = os.Stdin", "takes(os.Stdin)"} {
		if _, r := nb.run(code); r.Failure == nil || !strings.Contains(r.Failure.Message, "it is an io.Reader") {
			t.Errorf("%s: %+v", code, r.Failure)
		}
	}
	nb.want("in, err := os.Stdin.Stat()\nif err == nil { fmt.Print(in.Size()) }", "stdout 0")
	nb.want("takes(os.Stdout)")
}

// Who cannot be asked is told so at once.
func TestInputIsRefused(t *testing.T) {
	nb := open(t)
	nb.want("import (\"fmt\"; \"os\"; \"bufio\")\nvar s string")
	for _, code := range []string{"fmt.Scan(&s)", "bufio.NewReader(os.Stdin).ReadString('\\n')", "display.Input(\"?\")", "os.Stdin.Read(make([]byte, 1))"} {
		nb.input = func(context.Context, string, bool) (string, error) { return "", errors.New("takes no input") }
		if _, r := nb.run(code); r.Failure == nil || !strings.Contains(r.Failure.Message, "takes no input") {
			t.Errorf("%s: %+v", code, r.Failure)
		}
	}
}

// An interrupt ends the cell and the question, and what is typed later is not
// the next cell's.
func TestInterruptOfAQuestion(t *testing.T) {
	nb := open(t)
	nb.want("import (\"fmt\"; \"os\"; \"bufio\")\nkept, s := \"yes\", \"\"")
	for _, code := range []string{"fmt.Scan(&s)", "display.Password(\"?\")", "bufio.NewScanner(os.Stdin).Scan()",
		"for { fmt.Scan(&s) }", "n, err := fmt.Scan(&s)", "go display.Input(\"?\")\nselect { }"} {
		var ended atomic.Bool
		var asked atomic.Int32
		nb.input = func(ctx context.Context, _ string, _ bool) (string, error) {
			asked.Add(1)
			<-ctx.Done()
			ended.Store(true)
			return "late", nil
		}
		took, how := nb.interrupt(code, 200*time.Millisecond) // by then it has asked, on a busy machine too
		if how != "interrupted" || took > late {
			t.Errorf("%s\nended %v after the interrupt: %s", code, took, how)
		}
		for until := time.Now().Add(late); !ended.Load(); time.Sleep(time.Millisecond) {
			if time.Now().After(until) {
				t.Fatal("the question goes on")
			}
		}
		if n := asked.Load(); n != 1 {
			t.Errorf("%s\nasked %d times, also when it had been stopped", code, n)
		}
		nb.answers("now")
		nb.want("fmt.Scan(&s)\ns + kept", "value nowyes")
	}
	// A cell that ends does not leave its question behind.
	done := make(chan struct{})
	nb.input = func(ctx context.Context, _ string, _ bool) (string, error) {
		<-ctx.Done()
		close(done)
		return "", ctx.Err()
	}
	nb.want("import \"time\"\ngo display.Input(\"?\")\ntime.Sleep(50 * time.Millisecond)")
	select {
	case <-done:
	case <-time.After(late):
		t.Error("the question outlives its cell")
	}
}
