package main

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/packed"
	"github.com/evenbed/evenbed/kernel/internal/spec"
)

func doctorCommand() command {
	return command{
		name: "doctor", summary: "say what is installed where, and whether it works",
		about: `Says where this program is, where Jupyter looks for kernels and which of them
are evenbed's, which clients are at hand, and whether an engine starts and
answers. Nothing is changed. The exit code is 1 if something needs mending.`,
		prepare: func(*flag.FlagSet) func([]string, io.Writer, io.Writer) error {
			return func(args []string, stdout, _ io.Writer) error {
				if len(args) > 0 {
					return usageError(fmt.Sprintf("does not know what to do with %q", args[0]))
				}
				return examine(stdout)
			}
		},
	}
}

func examine(w io.Writer) error {
	var faults int
	fault := func(format string, a ...any) {
		faults++
		fmt.Fprintf(w, "  ! "+format+"\n", a...)
	}
	program, err := os.Executable()
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "program\n  %s\n  evenbed %s, %s, %s/%s\n", program, version(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
	for _, f := range packed.Files() {
		if _, err := f.Read(); err != nil {
			fault("%v", err)
		}
	}

	folders, found := spec.Search(system())
	fmt.Fprintf(w, "kernels that Jupyter finds, in this order of folders\n  %s\n", strings.Join(folders, "\n  "))
	own := sum(program)
	for _, f := range found {
		fmt.Fprintf(w, "  %q, shown as %q, in %s\n", f.Name, f.DisplayName, f.Folder)
		if f.Packaged {
			fmt.Fprintf(w, "    installed with pip, and found by a Jupyter in %s\n", filepath.Join(f.Folder, "../../../.."))
		}
		switch installed := sum(f.Program); {
		case f.Hidden && f.Packaged:
			fault("another kernel of that name stands before it; pip uninstall evenbed removes it")
		case f.Hidden:
			fault("another kernel of that name stands before it; evenbed uninstall, with the flags it was installed with, removes it")
		case installed == nil && f.Packaged:
			fault("its program %s is missing: pip put it elsewhere; run evenbed install --user", f.Program)
		case installed == nil:
			fault("its program %s is missing; run evenbed install again", f.Program)
		case !bytes.Equal(installed, own) && f.Packaged:
			fault("its program %s is another build than this one; install this one's wheel with pip to use it", f.Program)
		case !bytes.Equal(installed, own):
			fault("its program is another build than this one; run evenbed install again to use this one")
		}
	}
	if len(found) == 0 {
		fault("none is evenbed's; run evenbed install --user")
	}

	fmt.Fprintln(w, "history of cells, which stays when evenbed is removed")
	fmt.Fprintf(w, "  %s\n", cmp.Or(system().HistoryFile(), "none is kept"))

	fmt.Fprintln(w, "clients at hand")
	clients := 0
	for _, name := range []string{"jupyter", "jupyter-lab", "jupyter-notebook", "jupyter-console", "jupyter-nbconvert", "papermill", "code"} {
		if path, err := exec.LookPath(name); err == nil {
			fmt.Fprintf(w, "  %s: %s\n", name, path)
			clients++
		}
	}
	if clients == 0 {
		fmt.Fprintln(w, "  none on the search path; evenbed run and evenbed check need none")
	}

	fmt.Fprintln(w, "engine")
	if took, err := try(); err != nil {
		fault("%v", err)
	} else {
		fmt.Fprintf(w, "  started and answered 1+1 after %d ms\n", took.Milliseconds())
	}
	switch faults {
	case 0:
		return nil
	case 1:
		return errors.New("one thing, marked with !, needs mending")
	}
	return fmt.Errorf("%d things, marked with !, need mending", faults)
}

// sum returns the checksum of a file, or nil.
func sum(path string) []byte {
	f, err := os.Open(path)
	if err != nil {
		return nil
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return nil
	}
	return h.Sum(nil)
}

// try starts an engine and asks it something.
func try() (time.Duration, error) {
	ctx, stop := context.WithTimeout(context.Background(), 20*time.Second)
	defer stop()
	began := time.Now()
	answer := ""
	session, err := host.Start(host.Options{Output: func(o host.Output) {
		if v, ok := o.(host.Value); ok {
			answer = string(v.Data["text/plain"])
		}
	}})
	if err != nil {
		return 0, err
	}
	reply := session.Execute(ctx, "1+1", 1)
	took := time.Since(began)
	if err := session.Close(); err != nil {
		return 0, err
	}
	switch {
	case reply.Failure != nil:
		return 0, fmt.Errorf("1+1 failed: %s: %s", reply.Failure.Name, reply.Failure.Message)
	case answer != "2":
		return 0, fmt.Errorf("1+1 is %q", answer)
	}
	return took, nil
}
