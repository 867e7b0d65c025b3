package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"runtime/debug"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/evenbed/evenbed/kernel/internal/engine"
	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/packed"
)

// The test program is also the engine, and, for tests of signals and of the
// installed program, the program itself.
func TestMain(m *testing.M) {
	if os.Getenv(host.Env) != "" {
		if err := engine.Main(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	if os.Getenv("EVENBED_TEST_PROGRAM") != "" {
		main()
	}
	os.Exit(m.Run())
}

// call runs a command line.
func call(args ...string) (code int, stdout, stderr string) {
	var out, errs bytes.Buffer
	code = run(args, &out, &errs)
	return code, out.String(), errs.String()
}

func TestCommandLines(t *testing.T) {
	for _, tc := range []struct {
		args           string
		code           int
		stdout, stderr string // parts of them; "" means that it is empty
	}{
		{"", 2, "", "usage: evenbed COMMAND"},
		{"--help", 0, "usage: evenbed COMMAND", ""},
		{"-h", 0, "usage: evenbed COMMAND", ""},
		{"help", 0, "usage: evenbed COMMAND", ""},
		{"help run", 0, "usage: evenbed run NOTEBOOK...", ""},
		{"run --help", 0, "\n  -p NAME=VALUE", ""},
		{"run x.ipynb -h", 0, "--out DIR", ""},
		{"run x.ipynb -p n", 2, "", "not of the form NAME=VALUE"},
		{"check", 2, "", "needs a NOTEBOOK"},
		{"check --help", 0, "--tolerance", ""},
		{"check x.ipynb --tolerance 2", 2, "", "from 0 to below 1"},
		{"strip", 2, "", "needs a NOTEBOOK"},
		{"strip nothere.ipynb", 1, "", "nothere.ipynb"},
		{"doctor x", 2, "", "does not know what to do"},
		{"install --help", 0, "--sys-prefix", ""},
		{"uninstall --help", 0, "--prefix DIR", ""},
		{"kernel --help", 0, "CONNECTION_FILE", ""},
		{"version --help", 0, "--licences", ""},
		{"pack", 2, "", `evenbed: there is no command "pack"; see evenbed --help`},
		{"help pack", 2, "", `there is no command "pack"`},
		{"--bad", 2, "", `there is no command "--bad"`},
		{"run", 2, "", "evenbed run: needs a NOTEBOOK; see evenbed run --help"},
		{"run --bad", 2, "", "evenbed run: flag provided but not defined: -bad; see evenbed run --help"},
		{"run x.ipynb --bad", 2, "", "not defined: -bad"},
		{"run --out", 2, "", "flag needs an argument: -out"},
		{"run nothere.ipynb", 1, "", "nothere.ipynb"},
		{"install --user --prefix /x", 2, "", "only one of"},
		{"install --sys-prefix --prefix /x", 2, "", "only one of"},
		{"install here", 2, "", `does not know what to do with "here"`},
		{"install --name A/B --prefix /x", 1, "", `kernel name "A/B"`},
		{"uninstall here", 2, "", `does not know what to do with "here"`},
		{"uninstall --prefix /nowhere", 1, "", "nothing to remove"},
		{"version", 0, "evenbed ", ""},
		{"--version", 0, "evenbed ", ""},
		{"version x", 2, "", `does not know what to do with "x"`},
		{"kernel", 2, "", "needs one CONNECTION_FILE"},
		{"kernel nothere.json", 1, "", "nothere.json"},
		{"engine", 1, "", "the engine is started by the kernel"},
		{"install --prefix=", 2, "", "evenbed install: has an empty --prefix; give it a value or leave it out; see evenbed install --help"},
		{"uninstall --prefix=", 2, "", "has an empty --prefix"},
		{"install --name=", 2, "", "has an empty --name"},
		{"install --memory-limit=", 2, "", "has an empty --memory-limit"},
		{"run x.ipynb --out=", 2, "", "has an empty --out"},
	} {
		code, stdout, stderr := call(strings.Fields(tc.args)...)
		if code != tc.code {
			t.Errorf("%q: exit code %d, want %d", tc.args, code, tc.code)
		}
		for _, s := range []struct{ name, got, want string }{{"stdout", stdout, tc.stdout}, {"stderr", stderr, tc.stderr}} {
			if !strings.Contains(s.got, s.want) || s.want == "" && s.got != "" {
				t.Errorf("%q: %s is %q, want %q", tc.args, s.name, s.got, s.want)
			}
		}
		if code == 2 && tc.args != "" && strings.Count(stderr, "\n") != 1 {
			t.Errorf("%q: more than one line: %q", tc.args, stderr)
		}
	}
}

func TestHelpNamesEveryCommand(t *testing.T) {
	_, stdout, _ := call("--help")
	for _, c := range commands() {
		if strings.Contains(stdout, "\n  "+c.name+" ") == c.hidden {
			t.Errorf("%s: hidden %v, but the help is\n%s", c.name, c.hidden, stdout)
		}
	}
	for _, line := range strings.Split(stdout, "\n") {
		if len(line) > 80 {
			t.Errorf("longer than 80: %s", line)
		}
	}
}

// write makes a notebook of code cells.
func write(t *testing.T, dir, name string, sources ...string) string {
	t.Helper()
	cells := []map[string]any{}
	for i, s := range sources {
		cells = append(cells, map[string]any{"cell_type": "code", "id": fmt.Sprint("c", i), "metadata": map[string]any{},
			"source": s, "outputs": []any{}, "execution_count": nil})
	}
	data, err := json.Marshal(map[string]any{"cells": cells, "metadata": map[string]any{}, "nbformat": 4, "nbformat_minor": 5})
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestRun(t *testing.T) {
	dir, out := t.TempDir(), filepath.Join(t.TempDir(), "new", "out")
	if err := os.WriteFile(filepath.Join(dir, "beside.txt"), []byte("read from the notebook's folder"), 0o644); err != nil {
		t.Fatal(err)
	}
	path := write(t, dir, "good.ipynb", `import ("fmt"; "os")`, `b, _ := os.ReadFile("beside.txt")`+"\n"+`fmt.Println(string(b))`, `6 * 7`)
	source, _ := os.ReadFile(path)
	code, stdout, stderr := call("run", path, "--html", "--out", out)
	if code != 0 || stderr != "" || !strings.Contains(stdout, filepath.Join(out, "good.ipynb")) {
		t.Fatalf("exit code %d\n%s%s", code, stdout, stderr)
	}
	made, err := os.ReadFile(filepath.Join(out, "good.ipynb"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"read from the notebook's folder", `"42"`, `"execution_count": 3`} {
		if !bytes.Contains(made, []byte(want)) {
			t.Errorf("%s is not in %s", want, made)
		}
	}
	if page, err := os.ReadFile(filepath.Join(out, "good.html")); err != nil || !bytes.Contains(page, []byte("42")) {
		t.Errorf("the page: %v", err)
	}
	if after, _ := os.ReadFile(path); !bytes.Equal(after, source) {
		t.Error("the source was changed")
	}

	// The stored notebook has no outputs; the made one has.
	code, stdout, stderr = call("check", path, "--out", out)
	if code != 1 || !strings.Contains(stdout, "outputs differ") || !strings.Contains(stderr, "cell 2 [2], output 1\n  stored: nothing\n  made:   stdout: read from") {
		t.Errorf("exit code %d\n%s%s", code, stdout, stderr)
	}
	if err := os.WriteFile(path, made, 0o644); err != nil {
		t.Fatal(err)
	}
	code, stdout, stderr = call("check", path, "--out", out)
	if code != 0 || !strings.Contains(stdout, "same outputs") {
		t.Errorf("exit code %d\n%s%s", code, stdout, stderr)
	}
	if again, _ := os.ReadFile(filepath.Join(out, "good.ipynb")); !bytes.Equal(again, made) {
		t.Error("a second run made other bytes")
	}
}

func TestRunWithParameters(t *testing.T) {
	dir, out := t.TempDir(), t.TempDir()
	path := filepath.Join(dir, "p.ipynb")
	cell := func(id, source, tags string) string {
		return fmt.Sprintf(`{"cell_type":"code","id":%q,"metadata":{"tags":[%s]},"source":%q,"outputs":[],"execution_count":null}`, id, tags, source)
	}
	nb := fmt.Sprintf(`{"cells":[%s,%s],"metadata":{},"nbformat":4,"nbformat_minor":5}`, cell("a", "n := 2", `"parameters"`), cell("b", "n * 10", ""))
	if err := os.WriteFile(path, []byte(nb), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, _, stderr := call("run", path, "-p", "n=7", "--out", out); code != 0 {
		t.Fatal(stderr)
	}
	made, _ := os.ReadFile(filepath.Join(out, "p.ipynb"))
	if !bytes.Contains(made, []byte(`"70"`)) || !bytes.Contains(made, []byte("injected-parameters")) {
		t.Errorf("made %s", made)
	}
	if code, _, stderr := call("run", path, "-p", "k=7", "--out", out); code != 1 || !strings.Contains(stderr, "has no variable k") {
		t.Errorf("exit code %d, %s", code, stderr)
	}
}

func TestStrip(t *testing.T) {
	dir, out := t.TempDir(), t.TempDir()
	path := write(t, dir, "a.ipynb", `40 + 2`)
	if code, _, stderr := call("run", path, "--out", out); code != 0 {
		t.Fatal(stderr)
	}
	made := filepath.Join(out, "a.ipynb")
	if code, stdout, stderr := call("strip", made); code != 0 || !strings.Contains(stdout, "stripped") {
		t.Errorf("exit code %d, %s%s", code, stdout, stderr)
	}
	if data, _ := os.ReadFile(made); bytes.Contains(data, []byte("42")) || !bytes.Contains(data, []byte("40 + 2")) {
		t.Errorf("stripped is %s", data)
	}
	if code, stdout, _ := call("strip", made); code != 0 || !strings.Contains(stdout, "nothing to strip") {
		t.Errorf("exit code %d, %s", code, stdout)
	}
}

func TestDoctor(t *testing.T) {
	data := t.TempDir()
	for name, value := range map[string]string{"JUPYTER_DATA_DIR": data, "JUPYTER_PATH": "", "VIRTUAL_ENV": "", "CONDA_PREFIX": ""} {
		t.Setenv(name, value)
	}
	code, stdout, stderr := call("doctor")
	if code != 1 || !strings.Contains(stdout, "! none is evenbed's") || !strings.Contains(stdout, data) || !strings.Contains(stderr, "mending") {
		t.Errorf("exit code %d\n%s%s", code, stdout, stderr)
	}
	if !strings.Contains(stdout, "started and answered 1+1") {
		t.Errorf("no engine: %s", stdout)
	}
	folder := filepath.Join(data, "kernels", "evenbed")
	if err := os.MkdirAll(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	program := filepath.Join(folder, "evenbed")
	spec := fmt.Sprintf(`{"argv":[%q,"kernel","{connection_file}"],"display_name":"Go (evenbed)","language":"go"}`, program)
	if err := os.WriteFile(filepath.Join(folder, "kernel.json"), []byte(spec), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, stdout, _ := call("doctor"); code != 1 || !strings.Contains(stdout, "! its program "+program+" is missing") {
		t.Errorf("exit code %d\n%s", code, stdout)
	}
	if err := os.WriteFile(program, []byte("other"), 0o755); err != nil {
		t.Fatal(err)
	}
	if code, stdout, _ := call("doctor"); code != 1 || !strings.Contains(stdout, "! its program is another build") {
		t.Errorf("exit code %d\n%s", code, stdout)
	}
	own, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	same, err := os.ReadFile(own)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(program, same, 0o755); err != nil {
		t.Fatal(err)
	}
	want := 0
	for _, f := range packed.Files() {
		if _, err := f.Read(); err != nil {
			want = 1
		}
	}
	code, stdout, stderr = call("doctor")
	if code != want || strings.Contains(stdout, "make build") != (want == 1) {
		t.Errorf("exit code %d\n%s%s", code, stdout, stderr)
	}
}

func TestRunFails(t *testing.T) {
	dir, out := t.TempDir(), t.TempDir()
	bad := write(t, dir, "bad.ipynb", `x := []int{1}`, `i := 3`+"\n"+`print("before")`+"\n"+`x[i]`, `1`)
	good := write(t, dir, "good.ipynb", `1`)
	code, stdout, stderr := call("run", bad, good, "--out", out)
	if code != 1 || !strings.Contains(stderr, bad+": cell 2 [2]: ") || !strings.Contains(stderr, "out of range") || !strings.Contains(stderr, "1 of 2 notebooks failed") {
		t.Errorf("exit code %d\n%s%s", code, stdout, stderr)
	}
	if strings.Count(stderr, "out of range") != 1 || !strings.Contains(stderr, "^") {
		t.Errorf("want the error once, and its place: %s", stderr)
	}
	if !strings.Contains(stdout, good+": done") {
		t.Errorf("the other notebook was not run: %s", stdout)
	}
}

func TestRunRefuses(t *testing.T) {
	dir := t.TempDir()
	path := write(t, dir, "a.ipynb", `1`)
	twin := write(t, t.TempDir(), "a.ipynb", `1`)
	source, _ := os.ReadFile(path)
	for _, tc := range []struct {
		args []string
		want string
	}{
		{[]string{path, "--out", dir}, "would take the place of its source"},
		{[]string{path, "--out", filepath.Join(dir, "..", filepath.Base(dir))}, "would take the place of its source"},
		{[]string{path, twin, "--out", t.TempDir()}, "would both become"},
	} {
		code, stdout, stderr := call(append([]string{"run"}, tc.args...)...)
		if code != 1 || !strings.Contains(stderr, tc.want) || stdout != "" {
			t.Errorf("%v: exit code %d\n%s%s", tc.args, code, stdout, stderr)
		}
	}
	if after, _ := os.ReadFile(path); !bytes.Equal(after, source) {
		t.Error("the source was changed")
	}
}

func TestEmptyArgument(t *testing.T) {
	if code, stdout, stderr := call("run", ""); code != 2 || !strings.Contains(stderr, "has an empty argument") || stdout != "" {
		t.Errorf("exit code %d\n%s%s", code, stdout, stderr)
	}
}

// A notebook of another kernel is refused by its name before anything runs.
func TestNotebookOfAnotherKernel(t *testing.T) {
	for _, tc := range []struct{ metadata, want string }{
		{`{"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}`, "is a notebook of the kernel python3, in python; evenbed runs notebooks in Go"},
		{`{"kernelspec": {"name": "python3", "display_name": "Python 3"}}`, "the kernel python3, in python"},
		{`{"language_info": {"name": "R"}}`, "the kernel R, in R"},
		{`{"kernelspec": {"name": "gophernotes", "display_name": "Go", "language": "go"}}`, ""},
		{`{"kernelspec": {"name": "mine", "display_name": "Mine"}, "language_info": {"name": "Go"}}`, ""},
	} {
		path := filepath.Join(t.TempDir(), "a.ipynb")
		cell := `{"cell_type": "code", "id": "c", "metadata": {}, "source": "1", "outputs": [], "execution_count": null}`
		if err := os.WriteFile(path, []byte(`{"cells": [`+cell+`], "metadata": `+tc.metadata+`, "nbformat": 4, "nbformat_minor": 5}`), 0o644); err != nil {
			t.Fatal(err)
		}
		code, stdout, stderr := call("run", path, "--out", t.TempDir())
		if (code == 0) != (tc.want == "") || !strings.Contains(stderr, tc.want) || tc.want != "" && stdout != "" {
			t.Errorf("%s: exit code %d\n%s%s", tc.metadata, code, stdout, stderr)
		}
	}
}

// program starts this test program as evenbed.
func program(args ...string) *exec.Cmd {
	cmd := exec.Command(os.Args[0], args...)
	cmd.Env = append(os.Environ(), "EVENBED_TEST_PROGRAM=1")
	return cmd
}

func TestRunIsInterrupted(t *testing.T) {
	dir := t.TempDir()
	started := filepath.Join(dir, "started")
	path := write(t, dir, "long.ipynb", `import "os"`, `os.WriteFile("started", nil, 0o644)`+"\n"+`for { }`)
	cmd := program("run", path, "--out", t.TempDir())
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer cmd.Process.Kill()
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		if _, err := os.Stat(started); err == nil {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the cell did not start")
		}
	}
	if err := cmd.Process.Signal(os.Interrupt); runtime.GOOS == "windows" {
		t.Skip("Windows cannot send an interrupt to one process: ", err)
	} else if err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	select {
	case <-ended:
	case <-time.After(10 * time.Second):
		t.Fatal("still running 10 s after the interrupt")
	}
	if code := cmd.ProcessState.ExitCode(); code != 1 || !strings.Contains(stderr.String(), "cell 2 [2]: ") || !strings.Contains(stderr.String(), "interrupted") {
		t.Errorf("exit code %d: %s", code, &stderr)
	}
}

// The program installs itself and what it installed runs, also over a copy
// that is running.
func TestInstall(t *testing.T) {
	prefix := t.TempDir()
	// The test program is a temporary build; it installs from a copy.
	built := filepath.Join(t.TempDir(), "evenbed")
	data, err := os.ReadFile(os.Args[0])
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(built, data, 0o755); err != nil {
		t.Fatal(err)
	}
	from := func(path string, args ...string) *exec.Cmd {
		cmd := program(args...)
		cmd.Path, cmd.Args[0] = path, path
		return cmd
	}
	out, err := from(built, "install", "--prefix", prefix).CombinedOutput()
	folder := filepath.Join(prefix, "share", "jupyter", "kernels", "evenbed")
	if err != nil || !strings.Contains(string(out), folder) {
		t.Fatalf("%v: %s", err, out)
	}
	data, err = os.ReadFile(filepath.Join(folder, "kernel.json"))
	if err != nil {
		t.Fatal(err)
	}
	var k struct{ Argv []string }
	if err := json.Unmarshal(data, &k); err != nil {
		t.Fatal(err)
	}
	out, err = from(k.Argv[0], "version").CombinedOutput()
	if err != nil || !strings.HasPrefix(string(out), "evenbed ") {
		t.Errorf("the installed program: %v: %s", err, out)
	}
	notebook := write(t, t.TempDir(), "long.ipynb", `for { }`)
	running := from(k.Argv[0], "run", notebook, "--out", t.TempDir())
	if err := running.Start(); err != nil {
		t.Fatal(err)
	}
	defer running.Wait()
	defer running.Process.Kill()
	if out, err := from(built, "install", "--prefix", prefix, "--display-name", "Second").CombinedOutput(); err != nil {
		t.Errorf("over a running program: %v: %s", err, out)
	}
	if data, _ := os.ReadFile(filepath.Join(folder, "kernel.json")); !bytes.Contains(data, []byte(`"Second"`)) {
		t.Errorf("kernel.json: %s", data)
	}
	if out, err := from(built, "uninstall", "--prefix", prefix).CombinedOutput(); err != nil {
		t.Errorf("%v: %s", err, out)
	}
	if _, err := os.Stat(folder); !os.IsNotExist(err) {
		t.Errorf("the folder is still there: %v", err)
	}
}

func TestTemporaryBuildIsNotInstalled(t *testing.T) {
	if !strings.Contains(os.Args[0], "go-build") {
		t.Skip("the test program was built to stay") // go test -c
	}
	code, _, stderr := call("install", "--prefix", t.TempDir())
	if code != 1 || !strings.Contains(stderr, "temporary build") {
		t.Errorf("exit code %d: %s", code, stderr)
	}
}

// Every module in this program has its notice, and no other.
func TestLicences(t *testing.T) {
	packed.Notices.Need(t)
	code, text, _ := call("version", "--licences")
	if code != 0 {
		t.Fatal(code)
	}
	if !utf8.ValidString(text) {
		t.Error("the notices are not UTF-8")
	}
	titles := make(map[string]bool)
	for _, m := range regexp.MustCompile(`(?m)^=+\n(\S+@\S+)\n=+$`).FindAllStringSubmatch(text, -1) {
		titles[m[1]] = true
	}
	info, ok := debug.ReadBuildInfo()
	if !ok || len(info.Deps) < 5 {
		t.Fatalf("%v, %d modules are known", ok, len(info.Deps))
	}
	for _, m := range info.Deps {
		if name := m.Path + "@" + m.Version; !titles[name] {
			t.Errorf("no notice of %s; run make pack", name)
		}
	}
	for _, want := range []string{"Mozilla Public License Version 2.0", "SIL OPEN FONT LICENSE", "The Go Authors"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in the notices", want)
		}
	}
}
