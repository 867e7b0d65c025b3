// Gen writes the tables of the packages that the interpreter can import, and
// the file of their signatures and comments.
//
//	go run ./kernel/symbols/internal/gen          writes them
//	go run ./kernel/symbols/internal/gen -check   exits 1 if they are stale
//
// It does not import what it writes, so it also runs when a table no longer
// compiles.
package main

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"go/types"
	"os"
	"path"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"

	"golang.org/x/tools/go/packages"

	"github.com/evenbed/evenbed/kernel/symbols/internal/docs"
)

const (
	module   = "github.com/evenbed/evenbed"
	folder   = "kernel/symbols"
	tables   = "internal/tables"
	docsName = "docs.zip"
	suffix   = "_gen.go"
)

func main() {
	check := flag.Bool("check", false, "compare with the files there are, write nothing")
	flag.Parse()
	root, err := moduleRoot()
	if err == nil {
		err = run(filepath.Join(root, filepath.FromSlash(folder)), *check)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "gen:", err)
		os.Exit(1)
	}
}

// moduleRoot finds the folder of go.mod at or above the working directory.
func moduleRoot() (string, error) {
	dir, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir, nil
		}
		up := filepath.Dir(dir)
		if up == dir {
			return "", errors.New("no go.mod here or above: run it inside the module")
		}
		dir = up
	}
}

// run makes everything in memory, then writes or compares it.
func run(dir string, check bool) error {
	loaded, all, err := load(dir, slices.Concat(ours, libraries, standard, named))
	if err != nil {
		return err
	}
	index := newIndex(all)
	files := map[string][]byte{} // slash path below dir
	var described []docs.Package
	var paths []string
	for _, p := range loaded {
		doc := index.describe(p)
		described = append(described, doc)
		if slices.Contains(named, p.PkgPath) {
			continue
		}
		paths = append(paths, p.PkgPath)
		name := path.Join(tables, fileName(p.PkgPath))
		if files[name] != nil {
			return fmt.Errorf("two packages want the file %s", name)
		}
		if files[name], err = table(p, doc); err != nil {
			return err
		}
	}
	if files[path.Join(tables, "paths"+suffix)], err = pathsFile(paths); err != nil {
		return err
	}
	described = append(described, docs.Package{Path: "go", Name: runtime.Version()})
	var archive bytes.Buffer
	if err := docs.Write(&archive, described); err != nil {
		return err
	}
	files[docsName] = archive.Bytes()
	if check {
		return compare(dir, files, described)
	}
	return write(dir, files)
}

// load returns the packages of the patterns that export something, sorted by
// path, and all packages with everything they import.
func load(dir string, patterns []string) (loaded, all []*packages.Package, err error) {
	cfg := &packages.Config{
		Mode: packages.NeedName | packages.NeedTypes | packages.NeedTypesInfo | packages.NeedSyntax |
			packages.NeedImports | packages.NeedDeps | packages.NeedModule,
		Dir: dir,
		// One platform, so that everybody generates the same.
		Env: append(os.Environ(), "GOOS=linux", "GOARCH=amd64", "CGO_ENABLED=0"),
	}
	loaded, err = packages.Load(cfg, patterns...)
	if err != nil {
		return nil, nil, err
	}
	loaded = slices.DeleteFunc(loaded, func(p *packages.Package) bool {
		return p.Name == "main" || slices.Contains(strings.Split(p.PkgPath, "/"), "internal")
	})
	packages.Visit(loaded, nil, func(p *packages.Package) {
		all = append(all, p)
		for _, e := range p.Errors {
			err = errors.Join(err, fmt.Errorf("%s does not compile: %v", p.PkgPath, e))
		}
	})
	if err != nil {
		return nil, nil, err
	}
	slices.SortFunc(loaded, func(a, b *packages.Package) int { return strings.Compare(a.PkgPath, b.PkgPath) })
	loaded = slices.DeleteFunc(loaded, func(p *packages.Package) bool { return len(exported(p.Types)) == 0 })
	return loaded, all, nil
}

// exported returns the exported objects of a package, sorted by name.
func exported(p *types.Package) []types.Object {
	var objects []types.Object
	for _, name := range p.Scope().Names() {
		if o := p.Scope().Lookup(name); o.Exported() {
			objects = append(objects, o)
		}
	}
	return objects
}

// fileName names a package's table: the path, without what all of a module share.
func fileName(path string) string {
	for _, prefix := range []string{module + "/", "gonum.org/v1/", "github.com/go-gota/"} {
		path = strings.TrimPrefix(path, prefix)
	}
	return strings.NewReplacer("/", "_", ".", "_", "-", "_").Replace(path) + suffix
}

// tableFiles lists the tables there are, as slash paths below dir.
func tableFiles(dir string) ([]string, error) {
	names, err := filepath.Glob(filepath.Join(dir, filepath.FromSlash(tables), "*"+suffix))
	for i, name := range names {
		names[i] = path.Join(tables, filepath.Base(name))
	}
	return names, err
}

func write(dir string, files map[string][]byte) error {
	old, err := tableFiles(dir)
	if err != nil {
		return err
	}
	for _, name := range old {
		if files[name] == nil {
			if err := os.Remove(filepath.Join(dir, filepath.FromSlash(name))); err != nil {
				return err
			}
		}
	}
	for name, content := range files {
		file := filepath.Join(dir, filepath.FromSlash(name))
		if had, err := os.ReadFile(file); err == nil && bytes.Equal(had, content) {
			continue
		}
		if err := os.WriteFile(file, content, 0o666); err != nil {
			return err
		}
	}
	return nil
}

// compare reports what differs. Comments of the standard library may change
// between two patch releases of Go: with another release than the files were
// made with they are not compared.
func compare(dir string, files map[string][]byte, described []docs.Package) error {
	var stale []string
	names, err := tableFiles(dir)
	if err != nil {
		return err
	}
	for _, name := range names {
		if files[name] == nil {
			stale = append(stale, name+" (its package is gone)")
		}
	}
	for name, content := range files {
		had, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
		switch {
		case err != nil:
			stale = append(stale, name+" (missing)")
		case name == docsName:
			stale = append(stale, compareDocs(had, described)...)
		case !bytes.Equal(had, content):
			stale = append(stale, name)
		}
	}
	if len(stale) == 0 {
		return nil
	}
	slices.Sort(stale)
	return fmt.Errorf("stale, run make gen:\n\t%s", strings.Join(stale, "\n\t"))
}

func compareDocs(archive []byte, described []docs.Package) (stale []string) {
	had, err := docs.Open(archive)
	if err != nil {
		return []string{docsName + " (" + err.Error() + ")"}
	}
	sameGo := false
	if version, ok := had["go"]; ok {
		p, err := version()
		sameGo = err == nil && p.Name == runtime.Version()
	}
	for _, want := range described {
		open, ok := had[want.Path]
		if !ok {
			stale = append(stale, docsName+" lacks "+want.Path)
			continue
		}
		delete(had, want.Path)
		if !sameGo && !strings.Contains(want.Path, ".") {
			continue
		}
		if p, err := open(); err != nil || !reflect.DeepEqual(p, want) {
			stale = append(stale, docsName+" of "+want.Path)
		}
	}
	for path := range had {
		stale = append(stale, docsName+" still has "+path)
	}
	return stale
}
