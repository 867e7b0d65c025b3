package notebook

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/file"
	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/spec"
)

// A Batch executes notebooks into another folder. Their own files are left as
// they are.
type Batch struct {
	Notebooks []string // paths
	Out       string   // the folder for what is made
	HTML      bool     // a page of each notebook too
	// Parameters are given to each notebook, as by [Notebook.SetParameters].
	Parameters map[string]string

	// Check makes it an error if the cells were not run in order before, or an
	// output differs from the stored one, see [Compare].
	Check     bool
	Tolerance float64

	// Start starts a session for one notebook. The cells' working directory
	// is the notebook's own folder, as in Jupyter.
	Start func(dir string, output func(host.Output)) (Session, error)

	pause time.Duration // how often what is made is written; 0 means keepPause

	Report io.Writer // what was done, a line for each notebook
	Errors io.Writer // why a notebook failed, and how far long work is
}

// A task is one notebook and where it goes.
type task struct {
	source, notebook, page string
}

// Run executes the notebooks, each in a session of its own. A notebook that
// fails does not keep the others from being run; the error then says how many
// failed. Nothing is run if one of them cannot be read, or if a result would
// take the place of a source or of another result.
func (b Batch) Run(ctx context.Context) error {
	tasks, err := b.tasks()
	if err != nil {
		return err
	}
	for _, t := range tasks {
		nb, err := ReadFile(t.source)
		if err != nil {
			return err
		}
		if err := nb.runsHere(); err != nil {
			return err
		}
		if err := nb.SetParameters(b.Parameters); err != nil {
			return err
		}
	}
	if err := os.MkdirAll(b.Out, 0o755); err != nil {
		return err
	}
	if err := file.Writable(b.Out); err != nil { // not after hours of work
		return fmt.Errorf("nothing was run, since nothing can be written to %s: %w; choose another folder with --out", b.Out, err)
	}
	failed := 0
	for _, t := range tasks {
		if ctx.Err() != nil {
			return errors.New("interrupted")
		}
		ok, err := b.one(ctx, t)
		if err != nil {
			return err
		}
		if !ok {
			failed++
		}
	}
	switch {
	case ctx.Err() != nil:
		return errors.New("interrupted")
	case failed > 0:
		return fmt.Errorf("%d of %d notebooks failed", failed, len(tasks))
	}
	return nil
}

func (b Batch) tasks() ([]task, error) {
	var tasks []task
	from := make(map[string]string) // where a result comes from
	for _, source := range b.Notebooks {
		name := strings.TrimSuffix(filepath.Base(source), ".ipynb")
		t := task{source: source, notebook: filepath.Join(b.Out, name+".ipynb"), page: filepath.Join(b.Out, name+".html")}
		if other, ok := from[t.notebook]; ok {
			return nil, fmt.Errorf("%s and %s would both become %s; run them with different --out folders", other, source, t.notebook)
		}
		from[t.notebook] = source
		tasks = append(tasks, t)
	}
	for _, t := range tasks {
		there, err := os.Stat(t.notebook)
		if err != nil {
			continue
		}
		for _, source := range b.Notebooks {
			if info, err := os.Stat(source); err == nil && os.SameFile(info, there) {
				return nil, fmt.Errorf("%s would take the place of its source; choose another folder with --out", t.notebook)
			}
		}
	}
	return tasks, nil
}

// one executes one notebook and reports whether all went well. The error is
// one that concerns all notebooks.
func (b Batch) one(ctx context.Context, t task) (ok bool, err error) {
	nb, err := ReadFile(t.source)
	if err != nil {
		return false, err
	}
	stored, err := ReadFile(t.source)
	if err != nil {
		return false, err
	}
	if err := nb.SetParameters(b.Parameters); err != nil {
		return false, err
	}
	saved := time.Now()
	keep := func() error { // so that little is lost of a long run that is killed
		if time.Since(saved) < cmp.Or(b.pause, keepPause) {
			return nil
		}
		saved = time.Now()
		return file.Replace(t.notebook, 0o644, nb.Bytes())
	}
	failure := nb.execute(ctx, func(output func(host.Output)) (Session, error) {
		return b.Start(nb.Folder, func(o host.Output) {
			if p, ok := o.(host.Progress); ok {
				b.progress(nb.Name, p)
				return
			}
			output(o)
		})
	}, keep)
	var cell *CellError
	if failure != nil && !errors.As(failure, &cell) && ctx.Err() == nil {
		return false, fmt.Errorf("%s: %w", t.source, failure)
	}
	made := t.notebook
	if err := file.Replace(t.notebook, 0o644, nb.Bytes()); err != nil {
		return false, err
	}
	if b.HTML {
		if err := file.Replace(t.page, 0o644, nb.HTML()); err != nil {
			return false, err
		}
		made += ", " + t.page
	}
	if failure != nil {
		fmt.Fprintf(b.Report, "%s: failed -> %s\n", t.source, made)
		fmt.Fprintln(b.Errors, failure)
		if cell != nil {
			fmt.Fprint(b.Errors, nb.traceback(cell))
		}
		return false, nil
	}
	if b.Check {
		order, differences := stored.Order(), Compare(stored, nb, b.Tolerance)
		for _, o := range order {
			fmt.Fprintln(b.Errors, o)
		}
		if len(differences) > 0 {
			fmt.Fprintf(b.Report, "%s: outputs differ -> %s\n", t.source, made)
			for _, d := range differences {
				fmt.Fprintln(b.Errors, d)
			}
			fmt.Fprintf(b.Errors, "  if the new outputs are right, copy %s over %s\n", t.notebook, t.source)
			return false, nil
		}
		if len(order) > 0 {
			fmt.Fprintf(b.Report, "%s: same outputs, but not stored as a run from top to bottom -> %s\n", t.source, made)
			return false, nil
		}
		fmt.Fprintf(b.Report, "%s: same outputs -> %s\n", t.source, made)
		return true, nil
	}
	fmt.Fprintf(b.Report, "%s: done -> %s\n", t.source, made)
	return true, nil
}

// keepPause is how often what has been executed so far is written.
const keepPause = 10 * time.Second

// runsHere returns an error if the notebook says that it is of another language.
func (nb *Notebook) runsHere() error {
	metadata := nb.tree.get("metadata")
	kernel, _ := metadata.get("kernelspec").get("name").str()
	language, _ := metadata.get("kernelspec").get("language").str()
	if language == "" {
		language, _ = metadata.get("language_info").get("name").str()
	}
	if language == "" && kernel == "python3" { // Jupyter's own name for it
		language = "python"
	}
	if language == "" || strings.EqualFold(language, spec.Language) {
		return nil
	}
	if kernel == "" {
		kernel = language
	}
	return fmt.Errorf("%s is a notebook of the kernel %s, in %s; evenbed runs notebooks in Go (in Jupyter, choose %s as its kernel and save it)",
		nb.Name, kernel, language, spec.DisplayName)
}

// progress writes a line when work turns out to be long, and one when it ends.
func (b Batch) progress(name string, p host.Progress) {
	if p.Update && !p.Ended {
		return
	}
	for line := range strings.Lines(string(p.Data[display.MIMETypeText])) {
		fmt.Fprintf(b.Errors, "%s: %s\n", name, strings.TrimSuffix(line, "\n"))
	}
}

// traceback returns the lines that a failing cell showed, indented, but for a
// first one that only repeats the error.
func (nb *Notebook) traceback(failed *CellError) string {
	var lines []string
	for _, o := range nb.Cells[failed.Cell-1].Outputs {
		if o.Kind == Failure {
			lines = append(lines, strings.Split(plain(strings.Join(o.Traceback, "\n")), "\n")...)
		}
	}
	var b strings.Builder
	for i, line := range lines {
		if line == "" || i == 0 && line == failed.Name+": "+failed.Message {
			continue
		}
		b.WriteString("  " + line + "\n")
	}
	return b.String()
}
