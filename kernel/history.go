package kernel

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"sync"

	"github.com/evenbed/evenbed/kernel/internal/wire"
)

// An entry is one cell of the history.
type entry struct {
	session int // 1 is the oldest one known, 0 this one
	number  int
	input   string
	output  string // the text of its value; only cells of this session have one
}

// A history holds the cells of this session, and of earlier ones if it was
// loaded from a file.
type history struct {
	mu      sync.Mutex
	entries []entry
	size    int // bytes in entries

	loaded  <-chan struct{} // closed when the file has been read; nil without one
	earlier int             // sessions
	path    string          // of the file in which the next session finds them; "" means nowhere
	id      string          // of this session in the file

	saving  sync.Mutex
	unsaved []entry // cells that ended while the file was read
}

// current is the number of this session.
func (h *history) current() int {
	h.wait()
	return h.earlier + 1
}

// What a history holds: so many cells, so many bytes of all, of one cell, and of one
// cell's value.
const (
	maxEntries = 10_000
	maxSize    = 32 << 20
	maxCell    = 1 << 20
	maxOutput  = 16 << 10
)

func (e entry) size() int { return len(e.input) + len(e.output) }

func (h *history) add(e entry) {
	if len(e.output) > maxOutput {
		e.output = strings.ToValidUTF8(e.output[:maxOutput], "") + "…"
	}
	if len(e.input) > maxCell {
		e.input = fmt.Sprintf("// A cell of %d bytes, which is too long for the history.", len(e.input))
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.entries = append(h.entries, e)
	h.size += e.size()
	drop := 0
	if len(h.entries) > maxEntries {
		drop = maxEntries / 10
	}
	for _, old := range h.entries[:drop] {
		h.size -= old.size()
	}
	for ; h.size > maxSize; drop++ {
		h.size -= h.entries[drop].size()
	}
	h.entries = slices.Delete(h.entries, 0, drop)
}

// find returns what a request asks for, oldest first.
func (h *history) find(q wire.History) []entry {
	current := h.current()
	h.mu.Lock()
	all := slices.Clone(h.entries)
	h.mu.Unlock()
	for i := range all {
		if all[i].session == 0 {
			all[i].session = current
		}
	}
	switch q.Access {
	case "range":
		session := q.Session
		if session <= 0 { // counted back from this one
			session += current
		}
		all = slices.DeleteFunc(all, func(e entry) bool {
			return e.session != session || e.number < q.Start || q.Stop > 0 && e.number >= q.Stop
		})
	case "search":
		pattern := glob(q.Pattern)
		all = slices.DeleteFunc(all, func(e entry) bool { return !pattern.MatchString(e.input) })
		if q.Unique { // the latest of each
			seen := map[string]bool{}
			slices.Reverse(all)
			all = slices.DeleteFunc(all, func(e entry) bool {
				was := seen[e.input]
				seen[e.input] = true
				return was
			})
			slices.Reverse(all)
		}
		all = tail(all, q.N)
	case "tail":
		all = tail(all, q.N)
	default:
		return nil
	}
	return all
}

// glob returns the expression for a pattern in which * stands for any text
// and ? for one character. The whole input must match.
func glob(pattern string) *regexp.Regexp {
	if pattern == "" {
		pattern = "*"
	}
	return regexp.MustCompile(`(?s)^` + strings.NewReplacer(`\*`, `.*`, `\?`, `.`).Replace(regexp.QuoteMeta(pattern)) + `$`)
}

// tail returns the last n entries; all of them if n is not positive.
func tail(all []entry, n int) []entry {
	if n <= 0 || n > len(all) {
		return all
	}
	return all[len(all)-n:]
}

func (k *Kernel) recall(r *request) {
	var q wire.History
	if err := r.Read(&q); err != nil {
		k.reply(r, wire.HistoryReply, nil, unreadable(err))
		return
	}
	reply := wire.HistoryResponse{Reply: ok(), History: [][3]any{}}
	for _, e := range k.history.find(q) {
		line := [3]any{e.session, e.number, e.input}
		if q.Output {
			line[2] = [2]*string{&e.input, nil}
			if e.output != "" {
				line[2] = [2]*string{&e.input, &e.output}
			}
		}
		reply.History = append(reply.History, line)
	}
	k.reply(r, wire.HistoryReply, nil, reply)
}
