package kernel

import (
	"fmt"
	"runtime"
	"strings"
	"unicode/utf8"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/wire"
)

// Implementation is how the kernel names itself to front ends.
const Implementation = "evenbed"

// answer handles everything but cells, between a busy and an idle. Messages
// of unknown type get those two and nothing else. It reports whether the kernel
// is to end.
func (k *Kernel) answer(r *request) (end bool) {
	k.status(wire.Busy, r.RawHeader)
	defer k.status(wire.Idle, r.RawHeader)
	switch r.Header.Type {
	case wire.KernelInfoRequest:
		k.reply(r, wire.KernelInfoReply, nil, k.info())
	case wire.CompleteRequest:
		k.complete(r)
	case wire.InspectRequest:
		k.inspect(r)
	case wire.IsCompleteRequest:
		k.isComplete(r)
	case wire.HistoryRequest:
		k.recall(r)
	case wire.CommInfoRequest:
		k.reply(r, wire.CommInfoReply, nil, wire.Comms{Reply: ok(), Comms: map[string]wire.Target{}})
	case wire.CommOpen:
		k.refuseComm(r)
	case wire.ConnectRequest:
		k.reply(r, wire.ConnectReply, nil, wire.Ports{
			Reply: ok(), Shell: k.conn.Shell, IOPub: k.conn.IOPub, Stdin: k.conn.Stdin,
			Heartbeat: k.conn.Heartbeat, Control: k.conn.Control,
		})
	case wire.InterruptRequest:
		if !k.queue.interrupt() {
			if b := k.started(); b != nil {
				b.Interrupt()
			}
		}
		k.reply(r, wire.InterruptReply, nil, ok())
	case wire.CreateSubshellRequest:
		k.reply(r, wire.CreateSubshellReply, nil, noSubshells())
	case wire.DeleteSubshellRequest:
		k.reply(r, wire.DeleteSubshellReply, nil, noSubshells())
	case wire.ListSubshellRequest:
		k.reply(r, wire.ListSubshellReply, nil, wire.Subshells{Reply: ok(), IDs: []string{}})
	case wire.ShutdownRequest:
		return k.shutdown(r)
	}
	return false
}

func ok() wire.Reply { return wire.Reply{Status: wire.OK} }

// noSubshells is the reply to who wants one.
func noSubshells() wire.Reply {
	return wire.Reply{
		Status: wire.Failed, Name: "not supported", Traceback: []string{},
		Value: "this kernel has no subshells: its cells run one after the other; it answers everything else while one runs",
	}
}

// unreadable is the reply to a request whose content makes no sense.
func unreadable(err error) wire.Reply {
	return wire.Reply{Status: wire.Failed, Name: "malformed request", Value: err.Error(), Traceback: []string{}}
}

// started returns the backend, or nil if there is none yet.
func (k *Kernel) started() Backend {
	select {
	case <-k.ready:
		return k.backend
	default:
		return nil
	}
}

func (k *Kernel) info() wire.KernelInfo {
	version := k.opt.Version
	if version == "" {
		version = "unknown"
	}
	goVersion := strings.TrimPrefix(runtime.Version(), "go")
	return wire.KernelInfo{
		Reply:          ok(),
		Protocol:       wire.Version,
		Implementation: Implementation,
		Version:        version,
		Language:       wire.Go(),
		Banner:         fmt.Sprintf("evenbed %s: Go %s with functions for column packing and column efficiency", version, goVersion),
		Links: []wire.HelpLink{
			{Text: "The Go language", URL: "https://go.dev/ref/spec"},
			{Text: "Go's standard library", URL: "https://pkg.go.dev/std"},
			{Text: "gonum: numbers", URL: "https://pkg.go.dev/gonum.org/v1/gonum"},
			{Text: "gonum: plots", URL: "https://pkg.go.dev/gonum.org/v1/plot"},
			{Text: "gota: data frames", URL: "https://pkg.go.dev/github.com/go-gota/gota"},
		},
		Features: []string{},
	}
}

// cursor reads where the cursor is. One that is absent, or outside of the
// code, is at its end, where most front ends mean it to be.
func cursor(c wire.Cursor) int {
	n := utf8.RuneCountInString(c.Code)
	if c.Pos == nil || *c.Pos < 0 || *c.Pos > n {
		return n
	}
	return *c.Pos
}

func (k *Kernel) complete(r *request) {
	var c wire.Cursor
	if err := r.Read(&c); err != nil {
		k.reply(r, wire.CompleteReply, nil, unreadable(err))
		return
	}
	at := cursor(c)
	reply := wire.Completion{
		Reply: ok(), Matches: []string{}, Start: at, End: at,
		Metadata: wire.CompletionMetadata{Types: []wire.TypedMatch{}},
	}
	if b := k.started(); b != nil {
		if found := b.Complete(c.Code, at); len(found.Matches) > 0 {
			reply.Start, reply.End = found.Start, found.End
			for _, m := range found.Matches {
				reply.Matches = append(reply.Matches, m.Text)
				reply.Metadata.Types = append(reply.Metadata.Types,
					wire.TypedMatch{Text: m.Text, Type: m.Kind, Start: found.Start, End: found.End})
			}
		}
	}
	k.reply(r, wire.CompleteReply, nil, reply)
}

func (k *Kernel) inspect(r *request) {
	var c wire.Cursor
	if err := r.Read(&c); err != nil {
		k.reply(r, wire.InspectReply, nil, unreadable(err))
		return
	}
	reply := wire.Inspection{Reply: ok(), Bundle: bundle(display.Bundle{})}
	if b := k.started(); b != nil {
		what, found := b.Inspect(c.Code, cursor(c), c.Detail)
		reply.Found, reply.Bundle = found, bundle(what)
	}
	k.reply(r, wire.InspectReply, nil, reply)
}

func (k *Kernel) isComplete(r *request) {
	var c wire.Code
	if err := r.Read(&c); err != nil {
		k.reply(r, wire.IsCompleteReply, nil, unreadable(err))
		return
	}
	reply := wire.Completeness{Status: "unknown"}
	if b := k.started(); b != nil {
		reply.Status, reply.Indent = b.IsComplete(c.Code)
	}
	k.reply(r, wire.IsCompleteReply, nil, reply)
}

// refuseComm closes a comm at once: the kernel has none.
func (k *Kernel) refuseComm(r *request) {
	var t wire.Target
	if err := r.Read(&t); err != nil {
		k.log.print("a comm was passed over: %v", err)
		return
	}
	k.publish(wire.CommClose, r.RawHeader, wire.CommEnd{ID: t.ID})
}

func (k *Kernel) shutdown(r *request) (end bool) {
	var s wire.Shutdown
	if err := r.Read(&s); err != nil {
		k.reply(r, wire.ShutdownReply, nil, unreadable(err))
		return false
	}
	reply := wire.ShutdownResponse{Reply: ok(), Restart: s.Restart}
	k.reply(r, wire.ShutdownReply, nil, reply)
	k.publish(wire.ShutdownReply, r.RawHeader, reply) // for the other front ends
	return true
}
