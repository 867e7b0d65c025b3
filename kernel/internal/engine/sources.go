package engine

import (
	"go/ast"
	"go/token"
	"strings"
	"sync"

	"github.com/cosmos72/gomacro/go/etoken"

	"github.com/evenbed/evenbed/kernel/internal/cell"
)

// sources are the texts of the cells, and the files that say where in them a
// position is. A cell of which nothing is left to run is forgotten when the
// next one begins, so that an engine does not grow with each cell.
type sources struct {
	files *token.FileSet

	mu      sync.Mutex
	byName  map[string]source // by the name in positions
	passing string            // the cell that the next one's begin forgets, or ""
}

// A source is the text of a cell.
type source struct {
	lines  []string
	parsed *cell.Source  // nil until it is compiled
	files  []*token.File // one for each time that it was compiled
}

func newSources() *sources {
	return &sources{files: token.NewFileSet(), byName: map[string]source{}}
}

// begin remembers the text of a cell that is to run.
func (s *sources) begin(name, code string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, f := range s.byName[s.passing].files {
		s.files.RemoveFile(f)
	}
	delete(s.byName, s.passing)
	s.byName[name] = source{lines: strings.Split(code, "\n")}
	s.passing = name
}

// keep remembers the cell that runs for good.
func (s *sources) keep() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.passing = ""
}

// set remembers how the text of a cell was brought into what is parsed.
func (s *sources) set(name string, parsed *cell.Source) {
	s.mu.Lock()
	defer s.mu.Unlock()
	is := s.byName[name]
	is.parsed = parsed
	s.byName[name] = is
}

func (s *sources) add(name string, f *token.File) {
	s.files.AddExistingFiles(f)
	s.mu.Lock()
	defer s.mu.Unlock()
	is := s.byName[name]
	is.files = append(is.files, f)
	s.byName[name] = is
}

// place returns the place of a position in the cell as it was written.
func (s *sources) place(pos token.Pos) place {
	p := s.files.Position(pos)
	return s.original(place{p.Filename, p.Line, p.Column})
}

// original returns the place in the cell as it was written.
func (s *sources) original(p place) place {
	s.mu.Lock()
	defer s.mu.Unlock()
	if parsed := s.byName[p.cell].parsed; parsed != nil {
		p.line, p.column = parsed.Place(p.line, p.column)
	}
	return p
}

// lines returns the text of a cell; nothing for one that is forgotten.
func (s *sources) lines(name string) []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.byName[name].lines
}

// The compiler has files of its own, from which none can be removed. After so
// many cells it gets new ones.
const parsesOfFiles = 500

// parse parses the text of a cell. compMu is held.
func (in *interp) parse(name, text string) []ast.Node {
	c := in.ir.Comp
	if in.parses++; in.parses%parsesOfFiles == 0 {
		c.Fileset = in.sources.compilerFiles(c.Fileset.Base())
	}
	base := token.Pos(c.Fileset.Base())
	nodes := c.ParseBytes([]byte(text))
	in.sources.add(name, c.Fileset.File(base).File)
	return nodes
}

// compilerFiles returns the files in the compiler's form. What is added to them
// begins at base.
func (s *sources) compilerFiles(base int) *etoken.FileSet {
	set := etoken.NewFileSet()
	s.files.Iterate(func(f *token.File) bool {
		set.AddFile(f.Name(), f.Base(), f.Size(), 0).SetLines(f.Lines())
		return true
	})
	set.FileSet.AddFile("", base, 0)
	return set
}
