// Package file writes files whole or not at all.
package file

import (
	"bytes"
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
// target is at no moment half written. A program that runs can be replaced.
func ReplaceFrom(target string, mode fs.FileMode, data io.Reader) (err error) {
	f, err := os.CreateTemp(filepath.Dir(target), "."+filepath.Base(target)+"-*")
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
	if err = f.Chmod(mode); err != nil {
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
