//go:build ignore

// Gen_notices gathers the licence notices of all modules that the program
// links, on any system it is built for, into a file.
package main

import (
	"bytes"
	"cmp"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

// A pkg is what go list tells of a linked package.
type pkg struct {
	Dir      string
	Standard bool
	Module   *struct {
		Path, Version, Dir string
		Main               bool
	}
}

// A module is one whose packages are linked, with the folders they are in.
type module struct {
	name, dir string
	folders   map[string]bool
}

var notice = regexp.MustCompile(`(?i)^(un)?licen[sc]e|^copying|^notice|^copyright|^patents`)

func main() {
	log.SetFlags(0)
	if len(os.Args) != 2 {
		log.Fatal("usage: gen_notices FILE")
	}
	modules := make(map[string]*module)
	root := ""
	for _, system := range []string{"linux", "windows", "darwin"} {
		for _, p := range list(system) {
			switch {
			case p.Standard || p.Module == nil:
			case p.Module.Main:
				root = p.Module.Dir
			default:
				name := p.Module.Path + "@" + p.Module.Version
				if modules[name] == nil {
					modules[name] = &module{name, p.Module.Dir, make(map[string]bool)}
				}
				// Licences of parts stand in the folders of the parts.
				for dir := p.Dir; strings.HasPrefix(dir, p.Module.Dir); dir = filepath.Dir(dir) {
					modules[name].folders[dir] = true
				}
			}
		}
	}
	var b bytes.Buffer
	fmt.Fprint(&b, "Evenbed contains the software listed here. Each is used as its authors published\n"+
		"it, unchanged; the source of MODULE@VERSION is to be had under that name from any\n"+
		"Go module proxy, or from the address that the name is.\n")
	section(&b, "evenbed", root, "LICENSE")
	goroot := output(exec.Command("go", "env", "GOROOT"))
	section(&b, "Go, its standard library", strings.TrimSpace(string(goroot)), "LICENSE", "PATENTS")
	sorted := make([]*module, 0, len(modules))
	for _, m := range modules {
		sorted = append(sorted, m)
	}
	slices.SortFunc(sorted, func(a, b *module) int { return cmp.Compare(a.name, b.name) })
	for _, m := range sorted {
		var files []string
		for dir := range m.folders {
			files = append(files, notices(m.dir, dir)...)
		}
		if len(files) == 0 {
			log.Fatalf("%s: no licence found in %s", m.name, m.dir)
		}
		slices.Sort(files)
		files = slices.Compact(files)
		section(&b, m.name, m.dir, files...)
	}
	if err := write(os.Args[1], b.Bytes()); err != nil {
		log.Fatal(err)
	}
}

// notices returns the notices in a folder, and in a folder of notices inside,
// as paths from the root.
func notices(root, dir string) []string {
	entries, err := os.ReadDir(dir)
	if err != nil {
		log.Fatal(err)
	}
	var files []string
	for _, e := range entries {
		path := filepath.Join(dir, e.Name())
		switch {
		case !notice.MatchString(filepath.Base(dir)) && !notice.MatchString(e.Name()), strings.HasSuffix(e.Name(), ".go"):
		case e.IsDir():
			files = append(files, notices(root, path)...)
		default:
			rel, err := filepath.Rel(root, path)
			if err != nil {
				log.Fatal(err)
			}
			files = append(files, rel)
		}
	}
	return files
}

// list returns all packages that the program links on a system.
func list(system string) []pkg {
	cmd := exec.Command("go", "list", "-deps", "-json=Dir,Standard,Module", "github.com/evenbed/evenbed/kernel/cmd/evenbed")
	cmd.Env = append(os.Environ(), "GOOS="+system, "GOARCH=amd64", "CGO_ENABLED=0")
	d := json.NewDecoder(bytes.NewReader(output(cmd)))
	var all []pkg
	for {
		var p pkg
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			log.Fatal(err)
		}
		all = append(all, p)
	}
}

func output(cmd *exec.Cmd) []byte {
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		log.Fatalf("%s: %v (%s)", cmd, err, runtime.GOOS)
	}
	return out
}

// section writes the notices of one part.
func section(b *bytes.Buffer, title, dir string, files ...string) {
	line := strings.Repeat("=", 80)
	fmt.Fprintf(b, "\n%s\n%s\n%s\n", line, title, line)
	for _, name := range files {
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			log.Fatal(err)
		}
		text := strings.TrimSpace(strings.ReplaceAll(string(data), "\r\n", "\n"))
		if !utf8.ValidString(text) { // of the years before UTF-8
			latin, err := charmap.Windows1252.NewDecoder().String(text)
			if err != nil {
				log.Fatalf("%s: %v", filepath.Join(dir, name), err)
			}
			text = latin
		}
		fmt.Fprintf(b, "\n-- %s --\n\n%s\n", filepath.ToSlash(name), text)
	}
}

func write(name string, text []byte) error {
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err != nil {
		return err
	}
	if _, err := z.Write(text); err != nil {
		return err
	}
	if err := z.Close(); err != nil {
		return err
	}
	if had, err := os.ReadFile(name); err == nil && bytes.Equal(had, b.Bytes()) {
		return nil
	}
	return os.WriteFile(name, b.Bytes(), 0o644)
}
