// Package spec tells Jupyter about the kernel: it writes the kernelspec, a
// folder with kernel.json, the program itself and its logo, and removes it.
//
// It writes the files itself and runs no other program.
package spec

import (
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/evenbed/evenbed/kernel/internal/file"
	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/wire"
)

// How the kernel is called unless the user chooses otherwise.
const (
	Name        = "evenbed"
	DisplayName = "Go (evenbed)"
	Language    = "go"
)

//go:generate go run gen_logo.go

//go:embed logo-svg.svg logo-64x64.png logo-32x32.png
var logos embed.FS

// A Place says where a kernelspec goes. The zero value is the user's own
// folder.
type Place struct {
	SysPrefix bool   // the active virtual environment
	Prefix    string // any environment's folder; "" means none
}

// An Install is what to install. The zero value of a field means the usual.
type Install struct {
	Place       Place
	Name        string // of the folder, by which notebooks find the kernel
	DisplayName string // shown to the user
	Program     string // the program to copy; usually os.Executable
	MemoryLimit string // of the engine, such as "4GB"; "" means none
	NoHistory   bool   // cells are forgotten when the kernel ends
}

var validName = regexp.MustCompile(`^[a-z0-9][a-z0-9._-]*$`)

// Folder returns the kernelspec's folder.
func (p Place) Folder(s System, name string) (string, error) {
	if name == "" {
		name = Name
	}
	if !validName.MatchString(name) {
		return "", fmt.Errorf("kernel name %q: use lower-case letters, digits, - . and _, with a letter or digit first", name)
	}
	var data string
	switch {
	case p.SysPrefix && p.Prefix != "":
		return "", fmt.Errorf("give --sys-prefix or --prefix, not both")
	case p.SysPrefix:
		prefix, err := s.environment()
		if err != nil {
			return "", err
		}
		p.Prefix = prefix
		fallthrough
	case p.Prefix != "":
		data = filepath.Join(p.Prefix, "share", "jupyter")
	default:
		var err error
		if data, err = s.userData(); err != nil {
			return "", err
		}
	}
	return filepath.Abs(filepath.Join(data, "kernels", name))
}

// kernelFile is the content of kernel.json.
type kernelFile struct {
	Argv            []string       `json:"argv"`
	DisplayName     string         `json:"display_name"`
	Language        string         `json:"language"`
	InterruptMode   string         `json:"interrupt_mode"`
	ProtocolVersion string         `json:"kernel_protocol_version"`
	Metadata        map[string]any `json:"metadata"`

	Env map[string]string `json:"env,omitempty"`
}

// Install writes the kernelspec and returns its folder. An older one of
// evenbed's is replaced, even while it runs.
func (i Install) Install(s System) (folder string, err error) {
	if folder, err = i.Place.Folder(s, i.Name); err != nil {
		return "", err
	}
	if _, err := host.Memory(i.MemoryLimit); err != nil {
		return "", fmt.Errorf("memory limit: %w", err)
	}
	program, err := filepath.EvalSymlinks(i.Program)
	if err != nil {
		return "", err
	}
	if temporary(program) {
		return "", fmt.Errorf("%s is a temporary build, which Go removes again; "+
			"build the program first (make build, or go build -o evenbed ./kernel/cmd/evenbed) and install from that", program)
	}
	if there, err := ours(folder, s); err == nil && there.packaged() {
		return "", fmt.Errorf("the kernel in %s came with pip and needs no install; choose another place, or another name with --name", folder)
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", err
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return "", fmt.Errorf("%w; choose another place with --user, --sys-prefix or --prefix DIR", err)
	}
	target := filepath.Join(folder, programName(s))
	if err := copyProgram(target, program); err != nil {
		return "", err
	}
	title := i.DisplayName
	if title == "" {
		title = DisplayName
	}
	env := map[string]string{}
	if i.MemoryLimit != "" {
		env[host.MemoryEnv] = i.MemoryLimit
	}
	if i.NoHistory {
		env[HistoryEnv] = "off"
	}
	for _, f := range files(target, title, env) { // kernel.json last, so that Jupyter never finds a kernel without its program
		if err := file.Replace(filepath.Join(folder, f.Name), 0o644, f.Data); err != nil {
			return "", err
		}
	}
	return folder, nil
}

// A File is a file of a kernelspec beside the program.
type File struct {
	Name string
	Data []byte
}

// files returns the files of a kernelspec, kernel.json last.
func files(program, title string, env map[string]string) []File {
	var all []File
	for _, name := range logoFiles() {
		data, err := logos.ReadFile(name)
		if err != nil {
			panic("spec: " + err.Error()) // it is embedded
		}
		all = append(all, File{name, data})
	}
	data, err := json.MarshalIndent(kernelFile{
		Env:             env,
		Argv:            []string{program, "kernel", "{connection_file}"},
		DisplayName:     title,
		Language:        Language,
		InterruptMode:   "message",
		ProtocolVersion: wire.Version,
		Metadata:        map[string]any{"debugger": false},
	}, "", "  ")
	if err != nil {
		panic("spec: " + err.Error()) // text alone
	}
	return append(all, File{"kernel.json", append(data, '\n')})
}

// resourceDir is what Jupyter replaces by the kernelspec's own folder.
const resourceDir = "{resource_dir}"

// Packaged returns the files of the kernelspec that pip puts into an
// environment's share/jupyter/kernels/evenbed. It finds the program, which pip
// puts with the environment's other programs, from its own folder, so that it
// works in an environment that is not active and without a search path. Only
// pip install --user on Windows keeps programs elsewhere.
func Packaged(goos string) []File {
	program := resourceDir + "/../../../../bin/evenbed"
	if goos == "windows" {
		program = resourceDir + `\..\..\..\..\Scripts\evenbed.exe`
	}
	return files(program, DisplayName, nil)
}

// packaged reports whether the kernelspec came with pip.
func (k kernelFile) packaged() bool { return strings.HasPrefix(k.Argv[0], resourceDir) }

// program returns the program that the kernelspec in a folder starts.
func (k kernelFile) program(folder string) string {
	rest, packaged := strings.CutPrefix(k.Argv[0], resourceDir)
	if !packaged {
		return rest
	}
	return filepath.Join(folder, rest)
}

// packagedData returns the folder of Jupyter's data in the environment into
// which pip put this program, "" if it is in none.
func (s System) packagedData() string {
	if s.Program == "" {
		return ""
	}
	data := filepath.Join(filepath.Dir(filepath.Dir(s.Program)), "share", "jupyter")
	if k, err := ours(filepath.Join(data, "kernels", Name), s); err != nil || !k.packaged() {
		return ""
	}
	return data
}

// Uninstall removes the kernelspec and returns its folder.
func Uninstall(s System, p Place, name string) (folder string, err error) {
	if folder, err = p.Folder(s, name); err != nil {
		return "", err
	}
	switch there, err := ours(folder, s); {
	case errors.Is(err, fs.ErrNotExist):
		return "", fmt.Errorf("nothing to remove: there is no kernel in %s", folder)
	case err != nil:
		return "", err
	case there.packaged():
		return "", fmt.Errorf("the kernel in %s came with pip; pip uninstall evenbed removes it", folder)
	}
	// First, so that Jupyter never finds a kernel without its program.
	files := append([]string{"kernel.json", programName(s)}, logoFiles()...)
	for _, name := range files {
		if err := os.Remove(filepath.Join(folder, name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return "", err
		}
	}
	file.RemoveOld(filepath.Join(folder, programName(s)))
	if err := os.Remove(folder); err != nil {
		return "", fmt.Errorf("the kernel is removed, but %s holds other files and stays: %w", folder, err)
	}
	return folder, nil
}

// ours reads the kernelspec in a folder. It is an error if it is not one of
// evenbed's.
func ours(folder string, s System) (k kernelFile, err error) {
	path := filepath.Join(folder, "kernel.json")
	data, err := os.ReadFile(path)
	if err != nil {
		return k, err
	}
	if json.Unmarshal(data, &k) != nil || len(k.Argv) != 3 || k.Argv[1] != "kernel" ||
		filepath.Base(k.Argv[0]) != programName(s) {
		return k, fmt.Errorf("%s belongs to another kernel and is left alone; choose another name with --name", path)
	}
	return k, nil
}

func programName(s System) string {
	if s.OS == "windows" {
		return "evenbed.exe"
	}
	return "evenbed"
}

func logoFiles() []string { return []string{"logo-svg.svg", "logo-64x64.png", "logo-32x32.png"} }

// temporary reports whether a program is one that go run built for a moment.
func temporary(program string) bool {
	for _, part := range strings.Split(filepath.ToSlash(program), "/") {
		if strings.HasPrefix(part, "go-build") {
			return true
		}
	}
	return false
}

// copyProgram puts a copy of the program at the target.
func copyProgram(target, program string) error {
	from, err := os.Open(program)
	if err != nil {
		return err
	}
	defer from.Close()
	source, err := from.Stat()
	if err != nil {
		return err
	}
	if there, err := os.Stat(target); err == nil && os.SameFile(source, there) {
		return nil // installed from the installed program
	}
	return file.ReplaceFrom(target, 0o755, from)
}
