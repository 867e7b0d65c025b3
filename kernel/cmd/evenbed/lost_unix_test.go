//go:build !windows

package main

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// small mounts a file system of its own, of so many KiB or read-only.
func small(t *testing.T, options string) string {
	t.Helper()
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", options, "tmpfs", dir).CombinedOutput(); err != nil {
		t.Skipf("this test needs to mount a file system, as root on Linux can: %v: %s", err, out)
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", dir).CombinedOutput(); err != nil {
			t.Errorf("umount: %v: %s", err, out)
		}
	})
	return dir
}

// A full disk costs the new result, not the old one.
func TestRunOnAFullDisk(t *testing.T) {
	out := small(t, "size=128k")
	dir := t.TempDir()
	path := write(t, dir, "a.ipynb", `"the good old result"`)
	if code, _, stderr := call("run", path, "--out", out); code != 0 {
		t.Fatal(stderr)
	}
	good, err := os.ReadFile(filepath.Join(out, "a.ipynb"))
	if err != nil {
		t.Fatal(err)
	}
	write(t, dir, "a.ipynb", "import (\"fmt\"; \"strings\")\nfmt.Println(strings.Repeat(\"x\", 300<<10))")
	code, stdout, stderr := call("run", path, "--out", out)
	if code != 1 || !strings.Contains(stderr, "no space left") {
		t.Errorf("exit code %d\n%s%s", code, stdout, stderr)
	}
	if now, err := os.ReadFile(filepath.Join(out, "a.ipynb")); err != nil || !bytes.Equal(now, good) {
		t.Errorf("the old result has become %.100q, %v", now, err)
	}
	if files, _ := os.ReadDir(out); len(files) != 1 {
		t.Errorf("%d files are in the folder", len(files))
	}
}

// What cannot be written is not run.
func TestRunIntoAReadOnlyFolder(t *testing.T) {
	out := small(t, "ro")
	dir := t.TempDir()
	path := write(t, dir, "a.ipynb", "import \"os\"\nos.WriteFile(\"ran\", nil, 0o644)")
	code, stdout, stderr := call("run", path, "--out", out)
	if code != 1 || !strings.Contains(stderr, "nothing was run") || !strings.Contains(stderr, "choose another folder with --out") {
		t.Errorf("exit code %d\n%s%s", code, stdout, stderr)
	}
	if _, err := os.Stat(filepath.Join(dir, "ran")); err == nil {
		t.Error("the notebook was run")
	}
}

// Whatever signal ends a run, and when, what has been executed is kept, and no
// file is half written.
func TestRunKeepsWhatItHas(t *testing.T) {
	for _, sig := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGQUIT} {
		for _, stage := range []struct {
			name  string
			cells []string
			wait  time.Duration // after "started" is there
		}{
			{"in a loop", []string{`import "os"`, `6*7`, `os.WriteFile("started", nil, 0o644)` + "\nfor { }"}, 0},
			{"in a sleep", []string{`import ("os"; "time")`, `6*7`, `os.WriteFile("started", nil, 0o644)` + "\ntime.Sleep(time.Hour)"}, 0},
			{"while it prints", []string{`import ("fmt"; "os")`, `6*7`, `os.WriteFile("started", nil, 0o644)` + "\nfor { fmt.Println(1) }"}, 50 * time.Millisecond},
			{"between short cells", append([]string{`import "os"`, `6*7`, `os.WriteFile("started", nil, 0o644)`},
				strings.Fields(strings.Repeat("1+1 ", 3000))...), 20 * time.Millisecond},
		} {
			dir, out := t.TempDir(), t.TempDir()
			path := write(t, dir, "long.ipynb", stage.cells...)
			cmd := program("run", path, "--html", "--out", out)
			var stderr bytes.Buffer
			cmd.Stderr = &stderr
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			awaitFile(t, filepath.Join(dir, "started"))
			time.Sleep(stage.wait)
			if err := cmd.Process.Signal(sig); err != nil {
				t.Fatal(err)
			}
			err := cmd.Wait()
			if code := cmd.ProcessState.ExitCode(); code != 1 {
				t.Errorf("%v %s: %v, %s", sig, stage.name, err, &stderr)
			}
			made, err := os.ReadFile(filepath.Join(out, "long.ipynb"))
			if err != nil || !json.Valid(made) || !bytes.Contains(made, []byte(`"42"`)) {
				t.Errorf("%v %s: kept is %.200q, %v", sig, stage.name, made, err)
			}
			if page, err := os.ReadFile(filepath.Join(out, "long.html")); err != nil || !bytes.Contains(page, []byte("42")) {
				t.Errorf("%v %s: the page: %v", sig, stage.name, err)
			}
		}
	}
}

// A report that nobody reads any more, as behind head, does not end the run.
func TestRunWithAClosedReport(t *testing.T) {
	dir, out := t.TempDir(), t.TempDir()
	one, two := write(t, dir, "one.ipynb", `1`), write(t, dir, "two.ipynb", `2`)
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	r.Close()
	cmd := program("run", one, two, "--out", out)
	cmd.Stdout = w
	if err := cmd.Run(); err != nil {
		t.Error(err)
	}
	w.Close()
	if _, err := os.Stat(filepath.Join(out, "two.ipynb")); err != nil {
		t.Error(err)
	}
}

// A notebook that is a link stays one.
func TestStripFollowsLinks(t *testing.T) {
	dir := t.TempDir()
	path := write(t, dir, "a.ipynb", `1`)
	if code, _, stderr := call("run", path, "--out", filepath.Join(dir, "out")); code != 0 {
		t.Fatal(stderr)
	}
	link := filepath.Join(dir, "link.ipynb")
	if err := os.Symlink(filepath.Join("out", "a.ipynb"), link); err != nil {
		t.Fatal(err)
	}
	if code, stdout, stderr := call("strip", link); code != 0 || !strings.Contains(stdout, "stripped") {
		t.Errorf("%s%s", stdout, stderr)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Errorf("the link is no link: %v, %v", info, err)
	}
	made, err := os.ReadFile(filepath.Join(dir, "out", "a.ipynb"))
	if err != nil || !bytes.Contains(made, []byte(`"outputs": []`)) {
		t.Errorf("%s, %v", made, err)
	}
}

func awaitFile(t *testing.T, path string) {
	t.Helper()
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		if _, err := os.Stat(path); err == nil {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("%s does not come", path)
		}
	}
}
