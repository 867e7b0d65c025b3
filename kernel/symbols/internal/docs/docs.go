// Package docs reads and writes the file of signatures and comments: a zip
// archive with one JSON document per package, so that one can be read without
// unpacking the others.
package docs

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
)

// A Package describes what one package exports.
type Package struct {
	Path    string
	Name    string
	Text    string   `json:",omitempty"` // the package comment
	Symbols []Symbol `json:",omitempty"` // sorted by name
}

// A Symbol is one exported name.
type Symbol struct {
	Name      string
	Kind      string   // constant, variable, function, type, field or method
	Signature string   // its declaration, without a function's body
	Text      string   `json:",omitempty"` // its comment, as written
	Promoted  bool     `json:",omitempty"` // reached through an embedded field
	Members   []Symbol `json:",omitempty"` // of a type: fields as declared, then methods by name
}

// Write writes the packages in the order given, and a key that tells from which
// sources they were made. The same packages give the same bytes with the same
// version of Go.
func Write(w io.Writer, key string, packages []Package) error {
	z := zip.NewWriter(w)
	if err := z.SetComment(key); err != nil {
		return err
	}
	for _, p := range packages {
		text, err := json.Marshal(p)
		if err != nil {
			return err
		}
		f, err := z.CreateHeader(&zip.FileHeader{Name: p.Path, Method: zip.Deflate})
		if err != nil {
			return err
		}
		if _, err := f.Write(text); err != nil {
			return err
		}
	}
	return z.Close()
}

// Key returns the key of an archive, "" if it is none.
func Key(archive []byte) string {
	z, err := zip.NewReader(bytes.NewReader(archive), int64(len(archive)))
	if err != nil {
		return ""
	}
	return z.Comment
}

// Open reads the archive's directory and returns a function for each path,
// which unpacks that package.
func Open(archive []byte) (map[string]func() (Package, error), error) {
	z, err := zip.NewReader(bytes.NewReader(archive), int64(len(archive)))
	if err != nil {
		return nil, err
	}
	packages := make(map[string]func() (Package, error), len(z.File))
	for _, f := range z.File {
		packages[f.Name] = func() (p Package, err error) {
			r, err := f.Open()
			if err != nil {
				return p, err
			}
			defer r.Close()
			if err := json.NewDecoder(r).Decode(&p); err != nil {
				return p, fmt.Errorf("documentation of %s: %w", f.Name, err)
			}
			return p, nil
		}
	}
	return packages, nil
}
