// Package symbols makes compiled packages importable in the interpreter, and
// knows their documentation.
//
// A blank import is enough: it registers every package of [Paths] with
// gomacro, in place of gomacro's own tables, and takes away all others, so
// that a notebook can import exactly what is listed. Functions that would end
// the process panic with an [ExitError] instead.
//
// [Lookup], [Names] and [Members] return signatures and comments; [Nearest]
// and [Missing] help where a name does not exist. Comments and the names of
// parameters are in a packed file: without it signatures have types alone, and
// a comment says how to get it.
//
// The tables are generated, since gomacro's own describe an older standard
// library and hold lists of wrapper methods that are wrong when types come
// from reflection. Generic functions and types cannot be in them.
package symbols

import (
	"fmt"
	"slices"
	"strings"
	"sync"

	// The interpreter's packages register themselves too. Importing it makes
	// sure that they did before init takes them away.
	_ "github.com/cosmos72/gomacro/fast"
	"github.com/cosmos72/gomacro/imports"

	"github.com/evenbed/evenbed/kernel/internal/packed"
	"github.com/evenbed/evenbed/kernel/symbols/internal/docs"
	"github.com/evenbed/evenbed/kernel/symbols/internal/tables"
)

//go:generate go run ./internal/gen

func init() {
	paths := tables.Paths()
	for path := range imports.Packages {
		if _, ours := slices.BinarySearch(paths, path); !ours {
			delete(imports.Packages, path)
		}
	}
}

// An ExitError is what os.Exit, log.Fatal, log.Fatalf and log.Fatalln panic
// with in interpreted code. The methods of a *log.Logger cannot be replaced:
// those still end the process.
type ExitError = tables.ExitError

// A Doc describes an exported name.
type Doc struct {
	Name      string // Column, or InnerDiameter for a member
	Kind      string // "package", "constant", "variable", "function", "type", "field" or "method"
	Signature string // its declaration, without a function's body
	Text      string // its comment, in the form of Go doc comments; may be empty
	Promoted  bool   // a field or method that comes from an embedded field
}

// A described package, unpacked or made when first asked for.
type described func() docs.Package

// packages describes all importable packages. The error says that comments are
// missing.
var packages = sync.OnceValues(func() (map[string]described, error) {
	all := make(map[string]described, len(imports.Packages))
	archive, missing := packed.Docs.Read()
	if missing != nil {
		for path := range imports.Packages {
			all[path] = sync.OnceValue(func() docs.Package { return reflected(path) })
		}
		return all, missing
	}
	open, err := docs.Open(archive)
	if err != nil {
		panic("symbols: " + err.Error()) // the program was built with a broken file
	}
	for path, read := range open {
		all[path] = sync.OnceValue(func() docs.Package {
			p, err := read()
			if err != nil {
				panic("symbols: " + err.Error())
			}
			return p
		})
	}
	return all, nil
})

// Paths returns the import paths of all packages that can be imported, sorted.
func Paths() []string { return tables.Paths() }

// PackageName returns the name of an importable package: "rand" for math/rand/v2.
func PackageName(path string) (name string, ok bool) {
	p, ok := imports.Packages[path]
	return p.Name, ok
}

// find returns the description of an importable package.
func find(path string) (docs.Package, bool) {
	all, _ := packages()
	open, ok := all[path]
	if _, importable := imports.Packages[path]; !ok || !importable {
		return docs.Package{}, false
	}
	return open(), true
}

// Lookup describes a name of a package: "Column", "Column.InnerDiameter" for a
// field or method of a type, or "" for the package itself.
func Lookup(path, name string) (Doc, bool) {
	d, ok := lookup(path, name)
	if _, missing := packages(); ok && missing != nil {
		d.Text = "No comment: " + missing.Error() + "."
	}
	return d, ok
}

func lookup(path, name string) (Doc, bool) {
	p, ok := find(path)
	if !ok {
		return Doc{}, false
	}
	if name == "" {
		return Doc{p.Name, "package", fmt.Sprintf("package %s // import %q", p.Name, p.Path), p.Text, false}, true
	}
	name, member, isMember := strings.Cut(name, ".")
	s, ok := symbol(p.Symbols, name)
	if ok && isMember {
		i := slices.IndexFunc(s.Members, func(m docs.Symbol) bool { return m.Name == member })
		if i < 0 {
			return Doc{}, false
		}
		s = s.Members[i]
	}
	return doc(s), ok
}

// Names describes all names of a package, sorted; nil for a package that
// cannot be imported.
func Names(path string) []Doc {
	p, _ := find(path)
	return docsOf(p.Symbols)
}

// Members describes a type's fields, in the order of their declaration, and
// then its methods by name, those of the pointer type included.
func Members(path, typeName string) []Doc {
	p, _ := find(path)
	s, _ := symbol(p.Symbols, typeName)
	return docsOf(s.Members)
}

func symbol(sorted []docs.Symbol, name string) (docs.Symbol, bool) {
	i, ok := slices.BinarySearchFunc(sorted, name, func(s docs.Symbol, name string) int { return strings.Compare(s.Name, name) })
	if !ok {
		return docs.Symbol{}, false
	}
	return sorted[i], true
}

func doc(s docs.Symbol) Doc { return Doc{s.Name, s.Kind, s.Signature, s.Text, s.Promoted} }

func docsOf(symbols []docs.Symbol) []Doc {
	var all []Doc
	for _, s := range symbols {
		all = append(all, doc(s))
	}
	return all
}
