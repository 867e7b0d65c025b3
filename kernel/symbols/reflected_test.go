package symbols

import (
	"slices"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/kernel/internal/packed"
	"github.com/evenbed/evenbed/kernel/symbols/internal/docs"
)

// Without the packed file the same names are known, with the same kinds.
func TestReflectedKnowsTheSameNames(t *testing.T) {
	packed.Docs.Need(t)
	// short says what must be the same of a symbol.
	short := func(all []docs.Symbol) (texts []string) {
		for _, s := range all {
			text := s.Name + " " + s.Kind
			if s.Promoted && s.Kind == "field" { // reflection does not tell a promoted method from one that hides it
				text += " promoted"
			}
			texts = append(texts, text)
		}
		slices.Sort(texts)
		return texts
	}
	for _, path := range Paths() {
		want, ok := find(path)
		if !ok {
			t.Fatalf("%s is not described", path)
		}
		got := reflected(path)
		if got.Name != want.Name || !slices.Equal(short(got.Symbols), short(want.Symbols)) {
			t.Errorf("%s:\n got %v\nwant %v", path, short(got.Symbols), short(want.Symbols))
			continue
		}
		for i, s := range got.Symbols {
			if a, b := short(s.Members), short(want.Symbols[i].Members); !slices.Equal(a, b) {
				t.Errorf("%s.%s:\n got %v\nwant %v", path, s.Name, a, b)
			}
		}
	}
}

func TestReflectedSignatures(t *testing.T) {
	for _, tc := range []struct{ path, name, member, want string }{
		{"strings", "Cut", "", "func Cut(string, string) (string, string, bool)"},
		{"fmt", "Fprintf", "", "func Fprintf(io.Writer, string, ...any) (int, error)"},
		{"math", "MaxInt8", "", "const MaxInt8 = 127"},
		{"math", "Pi", "", "const Pi = 3.141592654"},
		{"time", "Second", "", "const Second Duration = 1000000000"},
		{"path/filepath", "Separator", "", "const Separator = '/'"},
		{"io", "EOF", "", "var EOF error"},
		{"time", "Duration", "", "type Duration int64"},
		{"os", "FileMode", "", "type FileMode = fs.FileMode"},
		{"sort", "Interface", "", "type Interface interface {\n\tLen() int\n\tLess(int, int) bool\n\tSwap(int, int)\n}"},
		{"sort", "Interface", "Len", "func (Interface) Len() int"},
		{"strings", "Builder", "", "type Builder struct {\n\t// contains filtered or unexported fields\n}"},
		{"strings", "Builder", "Len", "func (*Builder) Len() int"},
		{"time", "Time", "Unix", "func (Time) Unix() int64"},
		{"image", "Rectangle", "Min", "Min Point"},
		{"bufio", "ReadWriter", "", "type ReadWriter struct {\n\t*Reader\n\t*Writer\n}"},
		{"net/url", "Values", "", "type Values map[string][]string"},
	} {
		s, _ := symbol(reflected(tc.path).Symbols, tc.name)
		if i := slices.IndexFunc(s.Members, func(m docs.Symbol) bool { return m.Name == tc.member }); tc.member != "" && i >= 0 {
			s = s.Members[i]
		}
		if s.Signature != tc.want {
			t.Errorf("%s.%s.%s: %q, want %q", tc.path, tc.name, tc.member, s.Signature, tc.want)
		}
	}
}

// Without the packed file a description says what is missing, and what to do.
func TestMissingCommentsAreSaid(t *testing.T) {
	d, ok := Lookup("strings", "Cut")
	_, missing := packages()
	if !ok || (missing != nil) != strings.Contains(d.Text, "make build") {
		t.Errorf("%v: %+v", missing, d)
	}
}
