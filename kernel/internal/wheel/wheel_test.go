package main

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/evenbed/evenbed/kernel/internal/packed"
)

// unpack returns the files of a wheel in their order.
func unpack(t *testing.T, wheel []byte) (names []string, files map[string]file) {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(wheel), int64(len(wheel)))
	if err != nil {
		t.Fatal(err)
	}
	files = make(map[string]file)
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		if !f.Modified.Equal(time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)) {
			t.Errorf("%s is of %v", f.Name, f.Modified)
		}
		names = append(names, f.Name)
		files[f.Name] = file{f.Name, f.Mode(), data}
	}
	return names, files
}

// What pip reads, for each system, by "Binary distribution format" of the
// Python packaging user guide.
func TestWheel(t *testing.T) {
	packed.Notices.Need(t)
	for _, tc := range []struct {
		system                system
		name, command, kernel string
	}{
		{system{"linux", "amd64"}, "py3-none-manylinux_2_17_x86_64.manylinux2014_x86_64.musllinux_1_1_x86_64", "evenbed", "{resource_dir}/../../../../bin/evenbed"},
		{system{"linux", "arm64"}, "py3-none-manylinux_2_17_aarch64.manylinux2014_aarch64.musllinux_1_1_aarch64", "evenbed", "{resource_dir}/../../../../bin/evenbed"},
		{system{"darwin", "amd64"}, "py3-none-macosx_12_0_x86_64", "evenbed", "{resource_dir}/../../../../bin/evenbed"},
		{system{"darwin", "arm64"}, "py3-none-macosx_12_0_arm64", "evenbed", "{resource_dir}/../../../../bin/evenbed"},
		{system{"windows", "amd64"}, "py3-none-win_amd64", "evenbed.exe", `{resource_dir}\..\..\..\..\Scripts\evenbed.exe`},
	} {
		p := program{[]byte("the program"), tc.system, "1.2.3"}
		name, data, err := p.wheel()
		if err != nil {
			t.Fatal(err)
		}
		if want := "evenbed-1.2.3-" + tc.name + ".whl"; name != want {
			t.Errorf("name %s, want %s", name, want)
		}
		if _, again, err := p.wheel(); err != nil || !bytes.Equal(again, data) {
			t.Errorf("%s: other bytes the second time, %v", name, err)
		}
		names, files := unpack(t, data)
		const kernel = "evenbed-1.2.3.data/data/share/jupyter/kernels/evenbed/"
		const info = "evenbed-1.2.3.dist-info/"
		want := []string{"evenbed-1.2.3.data/scripts/" + tc.command,
			kernel + "logo-svg.svg", kernel + "logo-64x64.png", kernel + "logo-32x32.png", kernel + "kernel.json",
			info + "LICENSE", info + "NOTICES", info + "METADATA", info + "WHEEL", info + "RECORD"}
		if !slices.Equal(names, want) {
			t.Errorf("%s: files %v, want %v", name, names, want)
		}
		if f := files[want[0]]; f.mode != 0o755 || string(f.data) != "the program" {
			t.Errorf("%s: the program has mode %v and %d bytes", name, f.mode, len(f.data))
		}
		var spec struct {
			Argv     []string
			Language string
		}
		if err := json.Unmarshal(files[kernel+"kernel.json"].data, &spec); err != nil ||
			!slices.Equal(spec.Argv, []string{tc.kernel, "kernel", "{connection_file}"}) || spec.Language != "go" {
			t.Errorf("%s: kernel.json %+v, %v", name, spec, err)
		}
		var tags []string
		for line := range strings.Lines(string(files[info+"WHEEL"].data)) {
			if tag, ok := strings.CutPrefix(line, "Tag: py3-none-"); ok {
				tags = append(tags, strings.TrimSpace(tag))
			}
		}
		if got := "py3-none-" + strings.Join(tags, "."); got != tc.name {
			t.Errorf("%s: tags %s", name, got)
		}
		if meta := string(files[info+"METADATA"].data); !strings.Contains(meta, "\nName: evenbed\nVersion: 1.2.3\n") {
			t.Errorf("%s: %s", name, meta)
		}
		if notices := string(files[info+"NOTICES"].data); !strings.Contains(notices, "The Go Authors") {
			t.Errorf("%s: no notices", name)
		}
		record, err := csv.NewReader(bytes.NewReader(files[info+"RECORD"].data)).ReadAll()
		if err != nil || len(record) != len(names) {
			t.Fatalf("%s: %d lines of RECORD for %d files, %v", name, len(record), len(names), err)
		}
		for i, line := range record {
			sum := sha256.Sum256(files[names[i]].data)
			want := []string{names[i], "sha256=" + base64.RawURLEncoding.EncodeToString(sum[:]), fmt.Sprint(len(files[names[i]].data))}
			if i == len(names)-1 {
				want = []string{info + "RECORD", "", ""} // cannot hold its own checksum
			}
			if !slices.Equal(line, want) {
				t.Errorf("%s: RECORD has %v, want %v", name, line, want)
			}
		}
	}
}

// The target is read from the program, so that a wheel cannot hold that of
// another system.
func TestReadProgram(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{"go.mod": "module example.org/hello\n\ngo 1.26\n", "main.go": "package main\n\nfunc main() { println(1) }\n"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	build := func(s system) string {
		t.Helper()
		out := filepath.Join(dir, s.os+s.arch)
		cmd := exec.Command("go", "build", "-trimpath", "-buildvcs=false", "-ldflags=-s -w", "-o", out, ".")
		cmd.Dir = dir
		cmd.Env = append(os.Environ(), "GOOS="+s.os, "GOARCH="+s.arch, "CGO_ENABLED=0")
		if text, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, text)
		}
		return out
	}
	for _, s := range []system{{"linux", "amd64"}, {"darwin", "arm64"}, {"windows", "amd64"}} { // one a format
		p, err := read(build(s))
		if err != nil || p.system != s || p.version != "0.0.0.dev0" {
			t.Errorf("%v: %v %s, %v", s, p.system, p.version, err)
		}
	}
	if _, err := read(filepath.Join(dir, "main.go")); err == nil {
		t.Error("a text was read as a program")
	}
	if _, err := read(filepath.Join(dir, "none")); !os.IsNotExist(err) {
		t.Error(err)
	}
}

// A program that would not start is refused.
func TestCheck(t *testing.T) {
	for _, p := range []program{
		{data: []byte("x"), system: system{"linux", "amd64"}}, {data: []byte("x"), system: system{"darwin", "arm64"}}, {data: []byte("x"), system: system{"windows", "amd64"}},
	} {
		if err := p.check(); err == nil {
			t.Errorf("%v: no program, but no error", p.system)
		}
	}
}

// The spellings are those of PEP 440; the Go versions those of
// golang.org/ref/mod#versions.
func TestPythonVersion(t *testing.T) {
	for version, want := range map[string]string{
		"":                                   "0.0.0.dev0",
		"(devel)":                            "0.0.0.dev0",
		"v1.2.3":                             "1.2.3",
		"v1.2.3+dirty":                       "1.2.3+dirty",
		"v1.0.0-rc.2":                        "1.0.0rc2",
		"v1.0.0-beta1":                       "1.0.0b1",
		"v1.0.0-pretty":                      "error",
		"one":                                "error",
		"v0.0.0-20261201144558-7b62c8dabcde": "0.0.0.dev20261201144558+7b62c8dabcde",
		"v0.0.0-20261201144558-7b62c8dabcde+dirty":  "0.0.0.dev20261201144558+7b62c8dabcde.dirty",
		"v1.2.4-0.20261201144558-7b62c8dabcde":      "1.2.4.dev20261201144558+7b62c8dabcde",
		"v1.2.4-rc.1.0.20261201144558-7b62c8dabcde": "1.2.4.dev20261201144558+7b62c8dabcde",
	} {
		got, err := pythonVersion(version)
		if err != nil {
			got = "error"
		}
		if got != want {
			t.Errorf("%q: %q, want %q (%v)", version, got, want, err)
		}
	}
}

// An older wheel of the same system goes, others stay.
func TestWriteReplaces(t *testing.T) {
	packed.Notices.Need(t)
	own, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	p, err := read(own)
	if err != nil {
		t.Skip("the test program is none that a wheel may hold:", err) // with the race detector
	}
	dir := t.TempDir()
	old := filepath.Join(dir, "evenbed-0.0.1-"+p.system.tag()+".whl")
	other := filepath.Join(dir, "evenbed-0.0.1-py3-none-any.whl")
	for _, name := range []string{old, other} {
		if err := os.WriteFile(name, nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := write(dir, own); err != nil {
		t.Fatal(err)
	}
	made, err := filepath.Glob(filepath.Join(dir, "*.whl"))
	if err != nil || len(made) != 2 || slices.Contains(made, old) || !slices.Contains(made, other) {
		t.Errorf("%v, %v", made, err)
	}
}
