package record

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/evenbed/evenbed/packing/task"
)

// content is the bytes of a file, in memory or mapped, and how to let go of
// them.
type content struct {
	data    []byte
	release func()
}

func (c content) close() {
	if c.release != nil {
		c.release()
	}
}

// mapFrom is the size from which a file is mapped instead of read.
const mapFrom = 4 << 20

// openFile returns the bytes of a file.
func openFile(path string) (content, error) {
	f, err := os.Open(path)
	if err != nil {
		return content{}, missing(path, err)
	}
	defer f.Close()
	info, err := f.Stat()
	switch {
	case err != nil:
		return content{}, missing(path, err)
	case info.IsDir():
		return content{}, Error{File: path, Problem: "a folder, not a file", Remedy: "give the path of an export in it"}
	case !info.Mode().IsRegular():
		return content{}, Error{File: path, Problem: "not a regular file", Remedy: "copy what it gives into a file first"}
	}
	c, err := bytesOf(f, info.Size())
	if err != nil {
		return content{}, missing(path, err)
	}
	return c, nil
}

// bytesOf maps a long file and reads a short one.
func bytesOf(f *os.File, size int64) (content, error) {
	if size >= mapFrom {
		if c, ok := mapFile(f, size); ok {
			return c, nil
		}
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return content{}, err
	}
	data := make([]byte, size)
	n, err := io.ReadFull(f, data)
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		err = nil // shorter than it was a moment ago
	}
	return content{data: data[:n]}, err
}

// missing tells that a file cannot be read.
func missing(path string, err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return Error{File: path, Problem: "no such file", Remedy: beside(path), Err: err}
	}
	problem := err.Error()
	var cause *fs.PathError
	if errors.As(err, &cause) {
		problem = cause.Err.Error()
	}
	return Error{File: path, Problem: "cannot be read: " + problem, Remedy: "look whether it is open elsewhere and whether you may read it", Err: err}
}

// beside says what lies in the folder in which a file was looked for.
func beside(path string) string {
	folder := filepath.Dir(path)
	entries, err := os.ReadDir(folder)
	if err != nil {
		return fmt.Sprintf("there is no folder %q either; a notebook looks from its own folder", folder)
	}
	var names []string
	for _, e := range entries {
		if !e.IsDir() {
			names = append(names, e.Name())
		}
	}
	if best := nearest(names, filepath.Base(path)); best != "" {
		return fmt.Sprintf("did you mean %q?", filepath.ToSlash(filepath.Join(folder, best)))
	}
	return fmt.Sprintf("look into the folder %q; a notebook looks from its own folder", folder)
}

const (
	maxUnpacked = 2 << 30   // what MaxBytes is if it is zero
	inMemory    = 16 << 20  // what is unpacked beyond this goes through a file
	maxMembers  = 10_000    // files in an archive
	chunk       = 256 << 10 // bytes between two looks at the context
)

// unpack returns what a gzip or zip file holds, and the name of the file
// inside if it is known. What is neither, or is a workbook, comes back as it is.
func unpack(name string, c content, o Options, m task.Monitor) (content, string, error) {
	switch {
	case bytes.HasPrefix(c.data, []byte{0x1f, 0x8b}):
		return o.gunzip(name, c, m)
	case bytes.HasPrefix(c.data, []byte("PK\x03\x04")), bytes.HasPrefix(c.data, []byte("PK\x05\x06")):
		return o.unzip(name, c, m)
	}
	return c, "", nil
}

func (o Options) limit() int64 {
	if o.MaxBytes > 0 {
		return o.MaxBytes
	}
	return maxUnpacked
}

// tooLarge is the refusal of a file that unpacks to more than the limit.
func (o Options) tooLarge(name, unpacked string) error {
	return Error{File: name, Problem: fmt.Sprintf("%s unpacked, more than the limit of %d bytes", unpacked, o.limit()),
		Remedy: fmt.Sprintf("if you trust the file, raise the limit: record.Options{MaxBytes: %d}", 2*o.limit())}
}

func (o Options) gunzip(name string, c content, m task.Monitor) (content, string, error) {
	damaged := func(err error) error {
		return Error{File: name, Problem: "the gzip file is damaged or cut short: " + err.Error(), Remedy: "copy or export it again", Err: err}
	}
	packed := bytes.NewReader(c.data)
	z, err := gzip.NewReader(packed)
	if err != nil {
		return content{}, "", damaged(err)
	}
	inside := z.Name
	unpacked, err := o.inflate(name, z, m, func(int64) (int64, int64) { return packed.Size() - int64(packed.Len()), packed.Size() })
	if err != nil {
		if errors.As(err, new(Error)) {
			return content{}, "", err
		}
		return content{}, "", damaged(err)
	}
	return unpacked, inside, nil
}

func (o Options) unzip(name string, c content, m task.Monitor) (content, string, error) {
	damaged := func(err error) error {
		return Error{File: name, Problem: "the zip file is damaged or cut short: " + err.Error(), Remedy: "copy or export it again", Err: err}
	}
	if n := bytes.Count(c.data, []byte("PK\x01\x02")); n > maxMembers {
		return content{}, "", Error{File: name, Problem: fmt.Sprintf("an archive of %d files", n), Remedy: "unpack it and read the file you need"}
	}
	z, err := zip.NewReader(bytes.NewReader(c.data), int64(len(c.data)))
	if err != nil {
		return content{}, "", damaged(err)
	}
	var members []*zip.File
	var names []string
	for _, f := range z.File {
		switch {
		case f.Name == "xl/workbook.xml":
			return c, "", nil
		case f.Name == "xl/workbook.bin":
			return content{}, "", Error{File: name, Problem: "a binary workbook (.xlsb), which is not supported", Remedy: "save it as .xlsx or as CSV"}
		case f.Name == "mimetype":
			return content{}, "", Error{File: name, Problem: "an OpenDocument file, which is not supported", Remedy: "save it as .xlsx or as CSV"}
		case f.FileInfo().IsDir(), strings.HasPrefix(f.Name, "__MACOSX/"):
			continue
		}
		if o.Member == "" || f.Name == o.Member {
			members = append(members, f)
		}
		names = append(names, f.Name)
	}
	switch {
	case len(names) == 0:
		return content{}, "", Error{File: name, Problem: "an archive without a file in it", Remedy: "pack the export again"}
	case len(members) == 0:
		return content{}, "", Error{File: name, Problem: fmt.Sprintf("the archive holds no %q", o.Member), Remedy: choices("it holds", names, o.Member)}
	case len(members) > 1 && o.Member != "":
		return content{}, "", Error{File: name, Problem: fmt.Sprintf("the archive holds %d files %q", len(members), o.Member), Remedy: "unpack it and read the right one"}
	case len(members) > 1:
		return content{}, "", Error{File: name, Problem: fmt.Sprintf("an archive of %d files: %s", len(names), quoted(names)),
			Remedy: fmt.Sprintf("say which: record.Options{Member: %q}", names[0])}
	}
	f := members[0]
	if f.UncompressedSize64 > uint64(o.limit()) {
		return content{}, "", o.tooLarge(name, fmt.Sprintf("%d bytes", f.UncompressedSize64))
	}
	if f.Flags&1 != 0 {
		return content{}, "", Error{File: name, Problem: "the archive is locked with a password", Remedy: "unpack it first"}
	}
	r, err := f.Open()
	if err != nil {
		return content{}, "", damaged(err)
	}
	defer r.Close()
	unpacked, err := o.inflate(name, r, m, func(done int64) (int64, int64) { return done, int64(f.UncompressedSize64) })
	if err != nil {
		if errors.As(err, new(Error)) {
			return content{}, "", err
		}
		return content{}, "", damaged(err)
	}
	return unpacked, f.Name, nil
}

// inflate reads what a packed file gives: into memory, and once it is long
// through a file that nobody sees, so that a refusal needs little memory.
// progress tells from the bytes unpacked how far it is.
func (o Options) inflate(name string, r io.Reader, m task.Monitor, progress func(done int64) (at, total int64)) (content, error) {
	var memory bytes.Buffer
	var file *os.File
	done := func() {
		if file != nil {
			file.Close()
			os.Remove(file.Name())
		}
	}
	into, n := io.Writer(&memory), int64(0)
	part := make([]byte, chunk)
	for {
		if err := m.Context().Err(); err != nil {
			done()
			return content{}, located(name, err)
		}
		at, total := progress(n)
		m.Progress("unpacking "+filepath.Base(name), int(at>>20), int(total>>20))
		if file == nil && n >= inMemory {
			var err error
			if file, err = os.CreateTemp("", "evenbed-unpacked-*"); err != nil {
				return content{}, located(name, err)
			}
			if _, err := file.Write(memory.Bytes()); err != nil {
				done()
				return content{}, diskFull(name, err)
			}
			memory, into = bytes.Buffer{}, file
		}
		k, err := r.Read(part[:min(chunk, o.limit()+1-n)])
		n += int64(k)
		if _, failed := into.Write(part[:k]); failed != nil {
			done()
			return content{}, diskFull(name, failed)
		}
		switch {
		case n > o.limit():
			done()
			return content{}, o.tooLarge(name, fmt.Sprintf("more than %d bytes", o.limit()))
		case err == io.EOF:
			if file == nil {
				return content{data: memory.Bytes()}, nil
			}
			c, err := bytesOf(file, n)
			if err != nil {
				done()
				return content{}, diskFull(name, err)
			}
			release := c.release
			c.release = func() {
				if release != nil {
					release()
				}
				done()
			}
			return c, nil
		case err != nil:
			done()
			return content{}, err
		}
	}
}

// diskFull tells that a long file could not be unpacked.
func diskFull(name string, err error) error {
	return Error{File: name, Problem: "there is no room to unpack it: " + err.Error(), Remedy: fmt.Sprintf("make room in the folder %q, or unpack it elsewhere and read that", os.TempDir()), Err: err}
}
