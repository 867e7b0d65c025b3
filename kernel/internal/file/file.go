// Package file writes files whole or not at all.
package file

import (
	"bytes"
	"crypto/rand"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// Replace writes data in place of a file, as [ReplaceFrom] does.
func Replace(target string, mode fs.FileMode, data []byte) error {
	return ReplaceFrom(target, mode, bytes.NewReader(data))
}

// ReplaceFrom writes a file beside the target and moves it there, so that the
// target is at no moment half written, also when the disk is full. A target that
// is a link stays one, and what it leads to is replaced. A program that runs can
// be replaced. The mode is subject to the umask, unless the target had it already.
func ReplaceFrom(target string, mode fs.FileMode, data io.Reader) (err error) {
	if at, err := filepath.EvalSymlinks(target); err == nil {
		target = at
	}
	f, err := create(target, mode)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if _, err = io.Copy(f, data); err != nil {
		return err
	}
	if there, err2 := os.Stat(target); err2 == nil && there.Mode().Perm() == mode.Perm() {
		if err = f.Chmod(mode); err != nil {
			return err
		}
	}
	if err = f.Sync(); err != nil { // some file systems tell only now that they are full
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	RemoveOld(target)
	if err = os.Rename(f.Name(), target); err == nil {
		return nil
	}
	// Windows does not replace a program that runs, but lets it be moved.
	old, err2 := os.CreateTemp(filepath.Dir(target), oldPrefix(target)+"*")
	if err2 != nil {
		return err
	}
	old.Close()
	os.Remove(old.Name())
	if os.Rename(target, old.Name()) != nil {
		return err
	}
	if err = os.Rename(f.Name(), target); err != nil {
		os.Rename(old.Name(), target)
	}
	return err
}

// create makes a new file beside the target.
func create(target string, mode fs.FileMode) (*os.File, error) {
	for {
		name := filepath.Join(filepath.Dir(target), "."+filepath.Base(target)+"-"+rand.Text()[:8])
		f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL, mode)
		if !errors.Is(err, fs.ErrExist) {
			return f, err
		}
	}
}

// Writable returns an error if no file can be written to a folder.
func Writable(folder string) error {
	f, err := create(filepath.Join(folder, "test"), 0o600)
	if err != nil {
		return err
	}
	f.Close()
	return os.Remove(f.Name())
}

func oldPrefix(target string) string { return "." + filepath.Base(target) + "-old-" }

// RemoveOld removes programs that were moved away while they ran; those that
// still run stay.
func RemoveOld(target string) {
	entries, err := os.ReadDir(filepath.Dir(target))
	if err != nil {
		return
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), oldPrefix(target)) {
			os.Remove(filepath.Join(filepath.Dir(target), e.Name()))
		}
	}
}
