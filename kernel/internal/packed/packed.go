// Package packed holds files that are built into the program and made by
// programs from sources: `make pack` writes them to the folder files, which the
// repository does not keep. A program built without them works, and says what
// it lacks.
package packed

import (
	"embed"
	"fmt"
	"os"
)

//go:generate go run ../../symbols/internal/gen -docs files/docs.zip
//go:generate go run gen_notices.go files/notices.txt.gz

//go:embed all:files
var files embed.FS

// A File is the name of a packed file.
type File string

// The packed files.
const (
	Docs    File = "docs.zip"       // signatures and comments of the packages that cells can import
	Notices File = "notices.txt.gz" // the licence notices of all that is linked in
)

// Files returns all that make pack makes.
func Files() []File { return []File{Docs, Notices} }

// what says what is in a file.
func (f File) what() string {
	if f == Docs {
		return "the documentation of its packages"
	}
	return "the licence notices of what is linked in"
}

// Read returns a file's content, or an error that says how to build a program
// that has it.
func (f File) Read() ([]byte, error) {
	data, err := files.ReadFile("files/" + string(f))
	if err != nil {
		return nil, fmt.Errorf("this program was built without %s; build it with make build in evenbed's source", f.what())
	}
	return data, nil
}

// RequiredEnv is the environment variable that, as "1", makes a test fail that
// needs a packed file which is missing. Without it the test is skipped.
const RequiredEnv = "EVENBED_TEST_PACKED"

// Need skips a test if the file is missing.
func (f File) Need(t interface {
	Helper()
	Fatalf(format string, a ...any)
	Skipf(format string, a ...any)
}) {
	t.Helper()
	if _, err := f.Read(); err == nil {
		return
	}
	if os.Getenv(RequiredEnv) == "1" {
		t.Fatalf("needs %s, which make pack makes", f)
	}
	t.Skipf("needs %s, which make pack makes", f)
}
