package kernel_test

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/evenbed/evenbed/kernel"
	"github.com/evenbed/evenbed/kernel/internal/kerneltest"
	"github.com/evenbed/evenbed/kernel/internal/wire"
)

// connectionVariable names a connection file to a test program that is to be
// a kernel.
const connectionVariable = "EVENBED_TEST_CONNECTION"

func TestMain(m *testing.M) {
	file := os.Getenv(connectionVariable)
	if file == "" {
		kerneltest.Main(m)
		return
	}
	os.Unsetenv(connectionVariable) // the engine of that kernel is not one
	if err := kernel.Run(file, kernel.Options{}); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// Cells on a real engine.
func TestRealTranscripts(t *testing.T) {
	for _, tc := range []struct {
		cell string
		want []string
	}{
		{`1+1`, []string{"busy", "input 1", "result 2", "idle"}},
		{"import \"fmt\"\nfmt.Println(\"a\")\nDisplay(7)\nfmt.Println(\"b\")",
			[]string{"busy", "input 1", "stdout a\n", "display 7", "stdout b\n", "idle"}},
		{`x :=`, []string{"busy", "input 1", "error syntax error", "idle"}},
		{`panic("on purpose")`, []string{"busy", "input 1", "error panic", "idle"}},
	} {
		equal(t, kerneltest.Run(t, tc.cell), tc.want)
	}
}

// Text and displays in turn arrive in turn, however text is cut into messages.
func TestRealOrder(t *testing.T) {
	const n = 10_000
	got := kerneltest.Run(t, fmt.Sprintf("import \"fmt\"\nfor i := 0; i < %d; i++ {\n\tfmt.Println(i)\n\tDisplay(i)\n}", n))
	want := []string{"busy", "input 1"}
	for i := range n {
		want = append(want, fmt.Sprintf("stdout %d\n", i), fmt.Sprintf("display %d", i))
	}
	want = append(want, "idle")
	if len(got) != len(want) {
		t.Errorf("%d messages, want %d", len(got), len(want))
	}
	for i := range min(len(got), len(want)) {
		if got[i] != want[i] {
			t.Fatalf("message %d is %q, want %q", i, got[i], want[i])
		}
	}
}

func TestRealInterrupt(t *testing.T) {
	c := kerneltest.Start(t, kernel.Options{})
	equal(t, c.Execute("x := 41"), []string{"busy", "input 1", "idle"})
	id := c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "for { x++; x-- }"})
	for m := c.Published(); kerneltest.Line(m) != "input 2"; {
		m = c.Published()
	}
	// Questions are answered meanwhile, from the tables.
	c.Ask(c.Shell, wire.CompleteRequest, wire.Cursor{Code: "import \"strings\"\nstrings.ToUpperS"})
	if r := read[wire.Completion](t, c.Reply(c.Shell), wire.CompleteReply); !slices.Contains(r.Matches, "ToUpperSpecial") {
		t.Errorf("%+v", r)
	}
	start := time.Now()
	c.Ask(c.Control, wire.InterruptRequest, struct{}{})
	c.Reply(c.Control)
	m := c.Reply(c.Shell)
	if r := read[wire.Reply](t, m, wire.ExecuteReply); r.Name != "interrupted" || kerneltest.Parent(m) != id {
		t.Errorf("%+v", r)
	}
	if d := time.Since(start); d > 2*time.Second {
		t.Errorf("the interrupt took %v", d)
	}
	c.Drain()
	if got := c.Execute("x/41"); !slices.Contains(got, "result 1") {
		t.Errorf("the variable is gone: %q", got)
	}
}

// process starts this test program as a kernel and returns it with a client.
func process(t *testing.T) (*exec.Cmd, *kerneltest.Client) {
	t.Helper()
	at := kernel.Connection{
		Transport: "ipc", IP: filepath.Join(t.TempDir(), "k"), // nobody else's, which a free port may become
		Key: kerneltest.Key, Shell: 1, IOPub: 2, Stdin: 3, Control: 4, Heartbeat: 5,
	}
	b, err := json.Marshal(at)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "connection.json")
	if err := os.WriteFile(file, b, 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), connectionVariable+"="+file)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill() // it should have ended
		_ = cmd.Wait()
	})
	return cmd, kerneltest.Dial(t, at)
}

// A terminal's interrupt ends nothing, termination ends all, and so does
// shutdown.
func TestSignals(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("Windows has no such signals")
	}
	cmd, c := process(t)
	if got := c.Execute("x := 6"); !slices.Contains(got, "input 1") {
		t.Fatal(got)
	}
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if got := c.Execute("x * 7"); !slices.Contains(got, "result 42") {
		t.Errorf("after an interrupt: %q", got)
	}
	c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "for { }"})
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	ends(t, cmd)

	cmd, c = process(t)
	c.Ask(c.Control, wire.ShutdownRequest, wire.Shutdown{})
	read[wire.ShutdownResponse](t, c.Reply(c.Control), wire.ShutdownReply)
	ends(t, cmd)
}

// ends waits for a kernel to end well.
func ends(t *testing.T, cmd *exec.Cmd) {
	t.Helper()
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	select {
	case err := <-ended:
		if err != nil {
			t.Errorf("the kernel ended with %v", err)
		}
	case <-time.After(5 * time.Second):
		t.Error("the kernel goes on")
	}
}

// Whatever the front is doing when it is killed, its engine is gone a second later.
func TestNoEngineOutlivesItsFront(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("looks for the engine in /proc")
	}
	for _, tc := range []struct{ state, cell string }{
		{"idle", ""},
		{"in a loop", "fmt.Println(`on`)\nfor { }"},
		{"waiting for ever", "fmt.Println(`on`)\n<-make(chan int)"},
		{"printing without end", "for { fmt.Println(`on`) }"},
		{"asking", "fmt.Println(`on`)\nvar s string\nfmt.Scan(&s)"},
		{"in a linked function", "fmt.Println(`on`)\nsort.Sort(sort.Reverse(sort.IntSlice(make([]int, 100_000_000))))"},
		{"with a goroutine of an earlier cell", "go func() { for { } }()\nfmt.Println(`on`)"},
	} {
		cmd, c := process(t)
		var pid int
		for _, line := range c.Execute("import (\"fmt\"; \"os\"; \"sort\")\nos.Getpid()") {
			fmt.Sscanf(line, "result %d", &pid)
		}
		if pid == 0 || gone(pid) {
			t.Fatalf("there is no engine %d", pid)
		}
		if tc.cell != "" {
			c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: tc.cell, AllowStdin: true})
			for !strings.HasPrefix(kerneltest.Line(c.Published()), "stdout on") {
			}
		}
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		began := time.Now()
		for !gone(pid) && time.Since(began) < 5*time.Second {
			time.Sleep(10 * time.Millisecond)
		}
		if d := time.Since(began); d > 2*time.Second { // a second, and one for a busy machine
			t.Errorf("%s: the engine was there for %v more", tc.state, d)
		}
	}
}

// gone reports whether a process has ended, though nobody may have asked how.
func gone(pid int) bool {
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return true
	}
	_, state, _ := strings.Cut(string(stat), ") ")
	return strings.HasPrefix(state, "Z") || strings.HasPrefix(state, "X")
}
