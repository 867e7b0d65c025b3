package main

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"github.com/evenbed/evenbed/kernel/internal/packed"
	"github.com/evenbed/evenbed/kernel/internal/spec"
)

// project is the name by which pip knows the wheel.
const project = "evenbed"

const metadata = `Metadata-Version: 2.1
Name: %s
Version: %s
Summary: Jupyter kernel for Go with calculations of column packing and column efficiency
License: Apache-2.0
License-File: LICENSE
License-File: NOTICES
Keywords: jupyter,kernel,go,column packing
Requires-Python: >=3.8
Description-Content-Type: text/plain

A Jupyter kernel for Go with calculations of column packing and column
efficiency built in. It is one program, with no Python in it. Install it into
the environment of your Jupyter, choose the kernel "Go (evenbed)", and type
?packing in a cell. The command evenbed runs and checks notebooks without
Jupyter; evenbed doctor says what is installed where.

pip uninstall evenbed removes all of it. The history of your cells stays, in a
file that evenbed doctor names.
`

// A file of the wheel.
type file struct {
	name string
	mode fs.FileMode
	data []byte
}

// wheel returns the wheel's name and content.
func (p program) wheel() (name string, data []byte, err error) {
	licence, notices, err := licences()
	if err != nil {
		return "", nil, err
	}
	stem := project + "-" + p.version
	command := project
	if p.system.os == "windows" {
		command += ".exe"
	}
	tags := ""
	for _, platform := range platforms[p.system] {
		tags += "Tag: py3-none-" + platform + "\n"
	}
	files := []file{{stem + ".data/scripts/" + command, 0o755, p.data}}
	for _, f := range spec.Packaged(p.system.os) {
		files = append(files, file{stem + ".data/data/share/jupyter/kernels/" + spec.Name + "/" + f.Name, 0o644, f.Data})
	}
	info := stem + ".dist-info/"
	files = append(files,
		file{info + "LICENSE", 0o644, licence},
		file{info + "NOTICES", 0o644, notices},
		file{info + "METADATA", 0o644, fmt.Appendf(nil, metadata, project, p.version)},
		file{info + "WHEEL", 0o644, []byte("Wheel-Version: 1.0\nGenerator: evenbed\nRoot-Is-Purelib: false\n" + tags)},
	)
	var record bytes.Buffer
	for _, f := range files {
		sum := sha256.Sum256(f.data)
		fmt.Fprintf(&record, "%s,sha256=%s,%d\n", f.name, base64.RawURLEncoding.EncodeToString(sum[:]), len(f.data))
	}
	fmt.Fprintf(&record, "%sRECORD,,\n", info)
	files = append(files, file{info + "RECORD", 0o644, record.Bytes()})
	data, err = archive(files)
	return stem + "-" + p.system.tag() + ".whl", data, err
}

// licences returns the project's licence and the notices of what is linked in.
func licences() (licence, notices []byte, err error) {
	mod, err := exec.Command("go", "env", "GOMOD").Output()
	if err != nil {
		return nil, nil, fmt.Errorf("go env: %w", err)
	}
	licence, err = os.ReadFile(filepath.Join(filepath.Dir(strings.TrimSpace(string(mod))), "LICENSE"))
	if err != nil {
		return nil, nil, err
	}
	compressed, err := packed.Notices.Read()
	if err != nil {
		return nil, nil, err
	}
	z, err := gzip.NewReader(bytes.NewReader(compressed))
	if err != nil {
		return nil, nil, err
	}
	notices, err = io.ReadAll(z)
	return licence, notices, err
}

// archive writes a zip file that depends on its content alone.
func archive(files []file) ([]byte, error) {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, f := range files {
		header := &zip.FileHeader{Name: f.name, Method: zip.Deflate, Modified: time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)}
		header.SetMode(f.mode)
		w, err := z.CreateHeader(header)
		if err != nil {
			return nil, err
		}
		if _, err := w.Write(f.data); err != nil {
			return nil, err
		}
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
