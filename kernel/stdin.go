package kernel

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"time"

	"github.com/evenbed/evenbed/kernel/internal/wire"
)

// A question waits for what a client types.
type question struct {
	id    string // of the input_request
	typed chan string
}

// stdinPause is how long a client may take to connect its stdin channel after
// the others.
const stdinPause = time.Second

// input asks the client that sent the running cell for a line of text.
func (k *Kernel) input(ctx context.Context, prompt string, password bool) (string, error) {
	k.askMu.Lock()
	defer k.askMu.Unlock()
	j := k.queue.current()
	switch {
	case ctx.Err() != nil: // while another question was open
		return "", ctx.Err()
	case j == nil:
		return "", errors.New("no cell runs that could ask for input")
	case !j.asks.Load():
		return "", errors.New("this client does not take input")
	}
	h := k.header(wire.InputRequest)
	frames, err := wire.Encode(k.key, h, j.RawHeader, nil, wire.Question{Prompt: prompt, Password: password})
	if err != nil {
		return "", err
	}
	q := &question{id: h.ID, typed: make(chan string, 1)}
	k.asked.Store(q)
	defer k.asked.Store(nil)
	var gone <-chan struct{}
	for waited := time.Now(); ; time.Sleep(stdinPause / 100) {
		if gone = k.stdin.SendAlike(j.from, slices.Concat(j.Identities, frames)); gone != nil {
			break
		}
		if time.Since(waited) > stdinPause || ctx.Err() != nil {
			return "", errors.New("this client does not listen on its stdin channel")
		}
	}
	select {
	case <-gone:
		return "", errors.New("the client has closed its stdin channel")
	case text := <-q.typed:
		return text, nil
	case <-ctx.Done():
		return "", ctx.Err()
	}
}

// takeTyped reads what clients send on stdin: answers to the question that
// waits, if one does. What comes late is dropped.
func (k *Kernel) takeTyped() {
	for {
		in, ok := k.stdin.Receive()
		if !ok {
			return
		}
		m, err := wire.Decode(in.Frames, k.key)
		if err != nil {
			k.log.print("a message was passed over: %v", err)
			continue
		}
		if m.Header.Type == wire.InputReply {
			k.typed(m)
		}
	}
}

func (k *Kernel) typed(m *wire.Message) {
	q := k.asked.Load()
	if q == nil {
		return
	}
	var to wire.Header // some clients leave the parent header empty
	if err := json.Unmarshal(m.Parent, &to); err == nil && to.ID != "" && to.ID != q.id {
		return
	}
	var t wire.Typed
	if err := m.Read(&t); err != nil {
		k.log.print("an answer was passed over: %v", err)
		return
	}
	select {
	case q.typed <- t.Value:
	default: // it has been answered
	}
}
