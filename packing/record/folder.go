package record

import (
	"cmp"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/trace"
)

// A Folder says which signal to take from many exports of one kind.
//
//	files, err := record.Folder{Glob: "cycles/*.csv", Signal: "UV"}.Files()
type Folder struct {
	// Glob is the pattern of the files' names, as "cycles/*.csv": * stands for
	// any letters but a slash, ? for one, [a-f] for one of several.
	Glob string
	// Signal names the column, as in [Record.Signal].
	Signal string
	// Unit picks the signal instead of its name, as in [Record.SignalIn].
	Unit string
	// Against names the column of times or volumes that it runs against; empty:
	// its own axis.
	Against string
	// Zero names the event that moves the trace's zero, as the start of the
	// sample; empty: the record's own zero. See [Record.Event].
	Zero string
	// Options say what is known of the files. With what a report's Code says of
	// one of them, nothing is guessed in any.
	Options Options
}

// Files finds the files. Their order is that of their names, with numbers in
// them taken by size: cycle-2 comes before cycle-10. A pattern that fits no
// file is an error.
func (f Folder) Files() (Files, error) {
	wrong := func(problem, remedy string) (Files, error) {
		return Files{}, Error{File: f.Glob, Problem: problem, Remedy: remedy}
	}
	switch {
	case f.Glob == "":
		return Files{}, Error{File: "folder", Problem: "no pattern was given", Remedy: `write which files to read: record.Folder{Glob: "cycles/*.csv"}`}
	case f.Signal == "" && f.Unit == "":
		return wrong("no signal was named", `write which column to take from the files: Signal: "UV", or Unit: "mAU" for the only one in it`)
	case f.Unit != "" && (f.Signal != "" || f.Against != ""):
		return wrong("Unit picks a signal on its own axis, but Signal or Against is given, too", "leave out one or the other")
	}
	if _, err := one(f.Glob, []Options{f.Options}); err != nil {
		return Files{}, err
	}
	paths, err := filepath.Glob(filepath.FromSlash(f.Glob))
	if err != nil {
		return wrong("not a pattern: "+err.Error(), `close every [ with a ], and write a * as in "cycles/*.csv"`)
	}
	if len(paths) == 0 {
		if strings.ContainsAny(f.Glob, "*?[") {
			return wrong("no file has such a name", "look into the folder; a notebook looks from its own folder")
		}
		return wrong("no such file", beside(filepath.FromSlash(f.Glob)))
	}
	for i, p := range paths {
		paths[i] = filepath.ToSlash(p)
	}
	slices.SortStableFunc(paths, natural)
	return Files{folder: f, paths: paths}, nil
}

// natural compares two names with the numbers in them taken by size.
func natural(a, b string) int {
	for x, y := a, b; x != "" && y != ""; {
		m, n := digitsOf(x), digitsOf(y)
		if m == 0 || n == 0 {
			if x[0] != y[0] {
				return cmp.Compare(x[0], y[0])
			}
			x, y = x[1:], y[1:]
			continue
		}
		p, q := strings.TrimLeft(x[:m], "0"), strings.TrimLeft(y[:n], "0")
		if c := cmp.Or(cmp.Compare(len(p), len(q)), cmp.Compare(p, q)); c != 0 {
			return c
		}
		x, y = x[m:], y[n:]
	}
	return cmp.Or(cmp.Compare(len(a), len(b)), cmp.Compare(a, b))
}

// digitsOf returns how many digits a text begins with.
func digitsOf(s string) int { return len(s) - len(strings.TrimLeft(s, "0123456789")) }

// Files are the files that a [Folder] found. They are read when they are asked
// for, each time anew, so that they take no memory.
type Files struct {
	folder Folder
	paths  []string
}

var _ trace.Source = Files{}

// Len returns the number of files.
func (f Files) Len() int { return len(f.paths) }

// Name returns the path of file i, from 0, with slashes.
func (f Files) Name(i int) string { return f.paths[i] }

// Names returns the paths of all files, with slashes.
func (f Files) Names() []string { return slices.Clone(f.paths) }

// Concurrent reports that files can be read by several goroutines at once.
func (f Files) Concurrent() bool { return true }

// Read reads file i, from 0.
func (f Files) Read(i int) (Record, error) {
	return Read(filepath.FromSlash(f.paths[i]), f.folder.Options)
}

// Open reads file i, from 0, and returns the signal.
func (f Files) Open(i int) (trace.Trace, error) {
	r, err := f.Read(i)
	if err != nil {
		return trace.Trace{}, err
	}
	signal := func() (trace.Trace, error) {
		if f.folder.Against != "" {
			return r.SignalAgainst(f.folder.Signal, f.folder.Against)
		}
		if f.folder.Unit != "" {
			return r.SignalIn(f.folder.Unit)
		}
		return r.Signal(f.folder.Signal)
	}
	t, err := signal()
	if err != nil || f.folder.Zero == "" {
		return t, err
	}
	e, err := r.Event(f.folder.Zero)
	if err != nil {
		return trace.Trace{}, err
	}
	if e.Axis == trace.Volume {
		t, err = t.SinceVolume(e.Volume())
	} else {
		t, err = t.Since(e.Time())
	}
	if err != nil {
		return trace.Trace{}, Error{File: r.File, Problem: fmt.Sprintf("event %q cannot be the zero: %v", f.folder.Zero, err), Remedy: "name another event, or another axis with Against", Err: err}
	}
	return t, nil
}

// shownFiles is the number of files that are listed.
const shownFiles = 20

// Page lists the files.
func (f Files) Page() page.Page {
	var p page.Page
	signal := f.folder.Signal
	if f.folder.Unit != "" {
		signal = "in " + f.folder.Unit
	}
	p.Heading(fmt.Sprintf("%d files of %s, signal %s", len(f.paths), f.folder.Glob, signal))
	names := f.Names()
	if more := len(names) - shownFiles; more > 0 {
		names = append(names[:shownFiles], fmt.Sprintf("and %d more", more))
	}
	p.List("In this order", names)
	return p
}

// String returns the page as text.
func (f Files) String() string { return f.Page().String() }
