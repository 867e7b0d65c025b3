package kernel

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"

	"github.com/evenbed/evenbed/kernel/internal/file"
)

// What a history file holds: so many bytes before its older half is dropped,
// and so many of one cell.
const (
	maxHistory = 2 << 20
	maxInput   = 64 << 10
)

// A remembered is one cell as a line of the history file.
type remembered struct {
	Session string `json:"session"` // of the process that ran it
	Number  int    `json:"number"`
	Input   string `json:"input"`
}

// open has the file read while the kernel starts, since a long one takes longer
// than the rest of that. What asks for earlier sessions waits; a cell does not, it
// is saved afterwards.
func (h *history) open(path, session string, failed func(error)) {
	loaded := make(chan struct{})
	h.loaded = loaded
	go func() {
		err := h.load(path, session)
		h.saving.Lock()
		defer h.saving.Unlock()
		for _, e := range h.unsaved {
			if err == nil {
				err = h.write(e)
			}
		}
		h.unsaved = nil
		close(loaded)
		if err != nil {
			failed(err)
		}
	}()
}

// wait returns when the file has been read.
func (h *history) wait() {
	if h.loaded != nil {
		<-h.loaded
	}
}

// load reads the cells of earlier sessions, which are numbered from 1 in the
// order in which they began, and keeps those of this one in the same file.
// Several kernels may do so at once: a cell is a line, written at once.
func (h *history) load(path, session string) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	data, err := os.ReadFile(path)
	if err != nil && !os.IsNotExist(err) {
		return err
	}
	if len(data) > maxHistory {
		data = data[len(data)-maxHistory/2:]
		data = data[bytes.IndexByte(data, '\n')+1:]
		if err := file.Replace(path, 0o600, data); err != nil {
			return err
		}
	}
	numbers := map[string]int{}
	var entries []entry
	for line := range bytes.Lines(data) {
		var r remembered
		if json.Unmarshal(line, &r) != nil || r.Number <= 0 {
			continue // half a line, of a kernel that was killed
		}
		if numbers[r.Session] == 0 {
			numbers[r.Session] = len(numbers) + 1
		}
		entries = append(entries, entry{session: numbers[r.Session], number: r.Number, input: r.Input})
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.entries = append(tail(entries, maxEntries/2), h.entries...) // which leaves room for this session
	h.size = 0
	for _, e := range h.entries {
		h.size += e.size()
	}
	h.earlier, h.path, h.id = len(numbers), path, session
	return nil
}

// save appends a cell to the file, once that has been read. Values are not kept,
// nor what a user typed while a cell ran.
func (h *history) save(e entry) error {
	h.saving.Lock()
	defer h.saving.Unlock()
	if h.loaded != nil {
		select {
		case <-h.loaded:
		default:
			h.unsaved = append(h.unsaved, e)
			return nil
		}
	}
	return h.write(e)
}

// write is save. h.saving is held, and the file has been read.
func (h *history) write(e entry) error {
	if h.path == "" || len(e.input) > maxInput {
		return nil
	}
	line, err := json.Marshal(remembered{h.id, e.number, e.input})
	if err != nil {
		return err
	}
	f, err := os.OpenFile(h.path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err == nil {
		_, err = f.Write(append(line, '\n'))
		if err2 := f.Close(); err == nil {
			err = err2
		}
	}
	if err != nil {
		h.path = "" // said once
		return fmt.Errorf("the history of this session is not kept: %w", err)
	}
	return nil
}
