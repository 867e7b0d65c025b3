package kernel

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/complete"
	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/sock"
	"github.com/evenbed/evenbed/kernel/internal/wire"
)

// messagesVariable says how many messages TestManyMessages makes; make fuzz
// sets it to a million.
const messagesVariable = "EVENBED_TEST_MESSAGES"

// tables is a backend that knows no session.
type tables struct{ host.Options }

func (b tables) Execute(_ context.Context, code string, _ int) host.Reply {
	switch len(code) % 4 {
	case 0:
		b.Output(host.Value{Bundle: display.Text(code)})
	case 1:
		b.Output(host.Stream{Name: "stdout", Text: code})
	case 2:
		return host.Reply{Failure: &host.Failure{Name: "panic", Message: code}}
	}
	return host.Reply{}
}
func (tables) Interrupt() {}
func (tables) Complete(code string, cursor int) host.Completion {
	return complete.Complete(code, cursor, nil)
}
func (tables) Inspect(code string, cursor, detail int) (display.Bundle, bool) {
	return complete.Inspect(code, cursor, detail, nil)
}
func (tables) IsComplete(code string) (string, string) { return complete.IsComplete(code) }
func (tables) Close() error                            { return nil }

// judge takes replies and looks whether a client could read them.
type judge struct {
	t       *testing.T
	key     []byte
	replies int
}

func (j *judge) Send(_ sock.Peer, frames [][]byte) {
	j.replies++
	m, err := wire.Decode(frames, j.key)
	if err != nil {
		j.t.Fatalf("a reply cannot be read: %v: %q", err, frames)
	}
	var c struct{ Status string }
	if err := json.Unmarshal(m.Content, &c); err != nil || c.Status == "" {
		j.t.Fatalf("%s has no status: %v: %s", m.Header.Type, err, m.Content)
	}
}

// Messages of any kind, whole and damaged in every way, go through the decoder
// and what handles them. Nothing panics, every answer can be read, and the
// kernel works afterwards.
func TestManyMessages(t *testing.T) {
	n := 50_000
	if s := os.Getenv(messagesVariable); s != "" {
		var err error
		if n, err = strconv.Atoi(s); err != nil {
			t.Fatalf("%s: %v", messagesVariable, err)
		}
	}
	k, err := Listen(Connection{Transport: "tcp", IP: "127.0.0.1", Key: "k", Scheme: "hmac-sha256"}, Options{Log: new(bytes.Buffer)})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		k.close(ctx)
	}()
	k.stop = func() {}
	k.backend = tables{host.Options{Output: k.output, Input: k.input}}
	close(k.ready)

	rng := rand.New(rand.NewPCG(11, 12))
	replies := &judge{t: t, key: k.key}
	handled, refused, count := 0, map[string]int{}, 0
	for range n {
		frames, err := madeUp(rng, k.key)
		if err != nil {
			t.Fatal(err)
		}
		m, err := wire.Decode(frames, k.key)
		if err != nil {
			for _, known := range []error{wire.ErrDelimiter, wire.ErrFrames, wire.ErrSignature, wire.ErrHeader} {
				if errors.Is(err, known) {
					refused[known.Error()]++
				}
			}
			continue
		}
		handled++
		k.typed(m)
		k.handle(&request{m, replies, sock.Peer{}, time.Now()})
		for len(k.queue.waiting) > 0 {
			j := k.queue.next()
			// The pause after a failure is for others to arrive: none do.
			j.interrupted = true
			count = k.run(j, count)
			k.queue.done()
			k.status(wire.Idle, j.RawHeader)
		}
		if len(k.history.entries) > 1000 {
			k.history.entries = nil // so that each answer stays short
		}
	}
	if handled < n/3 || replies.replies < n/6 || count == 0 || len(refused) != 4 {
		t.Errorf("of %d messages %d were handled, %d answered, %d cells run; refused: %v", n, handled, replies.replies, count, refused)
	}
}

// madeUp returns the frames of a message, most of them damaged.
func madeUp(rng *rand.Rand, key []byte) ([][]byte, error) {
	types := []wire.Type{
		wire.ExecuteRequest, wire.InspectRequest, wire.CompleteRequest, wire.HistoryRequest, wire.IsCompleteRequest,
		wire.ConnectRequest, wire.CommInfoRequest, wire.KernelInfoRequest, wire.ShutdownRequest, wire.InterruptRequest,
		wire.CommOpen, wire.CommMsg, wire.CommClose, wire.InputReply, wire.CreateSubshellRequest, wire.DeleteSubshellRequest,
		wire.ListSubshellRequest, wire.ExecuteReply, "from_the_future", "",
	}
	h := wire.Header{ID: "i", Session: "s", Type: types[rng.IntN(len(types))], Date: wire.Date(time.Unix(rng.Int64N(1<<33), 0)), Version: wire.Version}
	var content any
	switch rng.IntN(4) {
	case 0:
		content = map[string]any{
			"code": text(rng), "cursor_pos": rng.IntN(40) - 5, "detail_level": rng.IntN(3), "silent": rng.IntN(2) == 0,
			"store_history": rng.IntN(2) == 0, "user_expressions": map[string]string{"a": text(rng)}, "stop_on_error": rng.IntN(2) == 0,
			"hist_access_type": []string{"tail", "range", "search", "else"}[rng.IntN(4)], "n": rng.IntN(20) - 5, "start": rng.IntN(9) - 4,
			"stop": rng.IntN(9) - 4, "pattern": text(rng), "unique": true, "output": rng.IntN(2) == 0, "session": rng.IntN(3) - 1,
			"comm_id": text(rng), "target_name": text(rng), "value": text(rng), "restart": true, "allow_stdin": rng.IntN(2) == 0,
		}
	case 1: // fields of other types
		content = map[string]any{
			"code": rng.IntN(9), "cursor_pos": text(rng), "n": 1e300, "store_history": nil, "pattern": []int{1}, "comm_id": map[string]any{},
		}
	case 2:
		content = []any{text(rng), nil, 1.5}
	case 3:
		content = nil
	}
	frames, err := wire.Encode(key, h, nil, nil, content, []byte(text(rng)))
	if err != nil {
		return nil, err
	}
	if rng.IntN(3) > 0 { // sign what is damaged, so that it comes further
		if rng.IntN(2) == 0 {
			f := 2 + rng.IntN(4)
			frames[f] = damage(rng, frames[f])
			frames, err = resigned(key, frames)
		}
		return frames, err
	}
	switch rng.IntN(4) {
	case 0:
		frames = frames[:rng.IntN(len(frames)+1)]
	case 1:
		rng.Shuffle(len(frames), func(i, j int) { frames[i], frames[j] = frames[j], frames[i] })
	case 2:
		f := rng.IntN(len(frames))
		frames[f] = damage(rng, frames[f])
	case 3:
		frames = append([][]byte{[]byte(text(rng))}, frames...)
	}
	return frames, nil
}

// resigned returns the frames with a signature that is right.
func resigned(key []byte, frames [][]byte) ([][]byte, error) {
	var h wire.Header
	signed, err := wire.Encode(key, h, json.RawMessage(frames[3]), json.RawMessage(frames[4]), struct{}{})
	if err != nil {
		return nil, err
	}
	copy(signed[2:], frames[2:6])
	signed[1] = wire.Signature(key, signed[2:6])
	return append(signed, frames[6:]...), nil
}

func damage(rng *rand.Rand, b []byte) []byte {
	b = bytes.Clone(b)
	for range 1 + rng.IntN(3) {
		if len(b) == 0 {
			return b
		}
		i := rng.IntN(len(b))
		switch rng.IntN(4) {
		case 0:
			b[i] = byte(rng.Uint32())
		case 1:
			b = b[:i]
		case 2:
			b = append(b[:i:i], append([]byte(fmt.Sprint(rng.Int64())), b[i:]...)...)
		case 3:
			b = append(b[:i:i], b[min(i+1+rng.IntN(8), len(b)):]...)
		}
	}
	return b
}

// text returns a short text: a bit of Go, or noise.
func text(rng *rand.Rand) string {
	parts := []string{"x", " := ", "1", "fmt.", "Println(", ")", "{", "}", "\n", "\"", "`", "import ", "strings.", "µ", "\U0001f600", "?", "func ", "[]", ".",
		"\x00", "\xff", "/*", "//", "'", "<IDS|MSG>", "units.Bar", " "}
	var b []byte
	for range rng.IntN(8) {
		b = append(b, parts[rng.IntN(len(parts))]...)
	}
	return string(b)
}
