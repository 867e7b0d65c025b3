// Gen writes the tables of the packages that the interpreter can import, or
// the file of their signatures and comments.
//
//	go run ./kernel/symbols/internal/gen              writes the tables
//	go run ./kernel/symbols/internal/gen -check       exits 1 if they are stale
//	go run ./kernel/symbols/internal/gen -docs FILE   writes the documentation, unless it is fresh
//
// It does not import what it writes, so it also runs when a table no longer
// compiles.
package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"flag"
	"fmt"
	"go/types"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"golang.org/x/tools/go/packages"

	"github.com/evenbed/evenbed/kernel/symbols/internal/docs"
)

const (
	module = "github.com/evenbed/evenbed"
	folder = "kernel/symbols"
	tables = "internal/tables"
	suffix = "_gen.go"
)

func main() {
	check := flag.Bool("check", false, "compare with the tables there are, write nothing")
	docsFile := flag.String("docs", "", "write the documentation to this `file`, and no tables")
	flag.Parse()
	root, err := moduleRoot()
	switch {
	case err != nil:
	case *docsFile != "":
		err = document(root, *docsFile)
	default:
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

// run makes all tables in memory, then writes or compares them.
func run(dir string, check bool) error {
	loaded, _, err := load(dir, slices.Concat(ours, libraries, standard, named))
	if err != nil {
		return err
	}
	files := map[string][]byte{} // slash path below dir
	var paths []string
	for _, p := range loaded {
		if slices.Contains(named, p.PkgPath) {
			continue
		}
		paths = append(paths, p.PkgPath)
		name := path.Join(tables, fileName(p.PkgPath))
		if files[name] != nil {
			return fmt.Errorf("two packages want the file %s", name)
		}
		if files[name], err = table(p); err != nil {
			return err
		}
	}
	if files[path.Join(tables, "paths"+suffix)], err = pathsFile(paths); err != nil {
		return err
	}
	if files[path.Join(tables, "left"+suffix)], err = leftFile(loaded); err != nil {
		return err
	}
	if check {
		return compare(dir, files)
	}
	return write(dir, files)
}

// document writes the documentation, which takes seconds, unless the file was
// made from the same sources.
func document(root, file string) error {
	key, err := fingerprint(root)
	if err != nil {
		return err
	}
	if had, err := os.ReadFile(file); err == nil && docs.Key(had) == key {
		return nil
	}
	loaded, all, err := load(root, slices.Concat(ours, libraries, standard))
	if err != nil {
		return err
	}
	index := newIndex(all)
	var described []docs.Package
	for _, p := range loaded {
		described = append(described, index.describe(p))
	}
	var archive bytes.Buffer
	if err := docs.Write(&archive, key, described); err != nil {
		return err
	}
	return os.WriteFile(file, archive.Bytes(), 0o666)
}

// fingerprint is a checksum of all that the documentation is made from: Go, the
// modules by their checksums, and the sources of this module.
func fingerprint(root string) (string, error) {
	sum := sha256.New()
	fmt.Fprintln(sum, runtime.Version())
	add := func(name string) error {
		data, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, name)
		fmt.Fprintf(sum, "%s %d\n%s", filepath.ToSlash(rel), len(data), data)
		return err
	}
	for _, name := range []string{"go.mod", "go.sum"} {
		if err := add(filepath.Join(root, name)); err != nil {
			return "", err
		}
	}
	for _, folder := range []string{"packing", "kernel/display", folder + "/internal/gen", folder + "/internal/docs"} {
		err := filepath.WalkDir(filepath.Join(root, filepath.FromSlash(folder)), func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
				return err
			}
			return add(name)
		})
		if err != nil {
			return "", err
		}
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
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

// compare reports what differs.
func compare(dir string, files map[string][]byte) error {
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
