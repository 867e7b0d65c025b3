// Package kerneltest talks to a kernel as a front end does, through its
// sockets, and writes down what the front end sees.
//
//	Run     one cell on a fresh kernel, as a transcript
//	Start   a kernel in this process and a client of it
//
// A package whose tests run real cells calls [Main] from its TestMain, since
// the engine is this program started again.
package kerneltest

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/go-zeromq/zmq4"

	"github.com/evenbed/evenbed/kernel"
	"github.com/evenbed/evenbed/kernel/internal/engine"
	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/wire"
)

// Main runs the tests of a package or, in a process that a kernel has started
// as its engine, the engine.
func Main(m *testing.M) {
	if os.Getenv(host.Env) == "" {
		os.Exit(m.Run())
	}
	if err := engine.Main(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// Run runs a cell on a fresh kernel with a real engine and returns what the
// front end sees.
func Run(t testing.TB, cell string) []string {
	t.Helper()
	return Start(t, kernel.Options{}).Execute(cell)
}

// patience is how long a client waits for any one message.
const patience = 20 * time.Second

// Key is the key that messages are signed with.
const Key = "a key for tests"

// Local is a connection on free ports of this computer.
var Local = kernel.Connection{Transport: "tcp", IP: "127.0.0.1", Key: Key, Scheme: "hmac-sha256"}

// A Client is a front end.
type Client struct {
	t       testing.TB
	key     []byte
	session string
	serial  atomic.Int64

	Shell, Control, Stdin, Heartbeat zmq4.Socket

	iopub   zmq4.Socket
	replies map[zmq4.Socket]chan *wire.Message
	seen    chan *wire.Message // what is published
	at      kernel.Connection
}

// Leave closes the channel on which the client hears what is published.
func (c *Client) Leave() { c.iopub.Close() }

// Another connects one more client to the same kernel.
func (c *Client) Another() *Client {
	c.t.Helper()
	return Dial(c.t, c.at)
}

// Start starts a kernel and a client of it, and ends both with the test.
func Start(t testing.TB, o kernel.Options) *Client {
	t.Helper()
	if o.Log == nil {
		o.Log = io.Discard
	}
	k, err := kernel.Listen(Local, o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		k.Serve(ctx)
		close(ended)
	}()
	t.Cleanup(func() {
		cancel()
		select {
		case <-ended:
		case <-time.After(patience):
			t.Error("the kernel does not end")
		}
	})
	return Dial(t, k.Connection())
}

// Dial connects a client to a kernel and waits for its welcome.
func Dial(t testing.TB, at kernel.Connection) *Client {
	t.Helper()
	c := &Client{
		t: t, key: []byte(at.Key), session: rand.Text(), at: at,
		replies: map[zmq4.Socket]chan *wire.Message{}, seen: make(chan *wire.Message, 1<<16),
	}
	ctx, cancel := context.WithCancel(context.Background())
	t.Cleanup(cancel)
	id := zmq4.WithID(zmq4.SocketIdentity(c.session))
	c.Shell, c.Control, c.Stdin = zmq4.NewDealer(ctx, id), zmq4.NewDealer(ctx, id), zmq4.NewDealer(ctx, id)
	c.Heartbeat, c.iopub = zmq4.NewReq(ctx), zmq4.NewSub(ctx)
	for _, s := range []struct {
		socket zmq4.Socket
		port   int
	}{
		{c.Shell, at.Shell}, {c.Control, at.Control}, {c.Stdin, at.Stdin}, {c.Heartbeat, at.Heartbeat}, {c.iopub, at.IOPub},
	} {
		endpoint := fmt.Sprintf("%s://%s:%d", at.Transport, at.IP, s.port)
		if at.Transport == "ipc" {
			endpoint = fmt.Sprintf("ipc://%s-%d", at.IP, s.port)
		}
		if err := s.socket.Dial(endpoint); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { s.socket.Close() })
	}
	for _, s := range []zmq4.Socket{c.Shell, c.Control, c.Stdin} {
		c.replies[s] = make(chan *wire.Message, 1<<12)
		go c.listen(s, c.replies[s])
	}
	if err := c.iopub.SetOption(zmq4.OptionSubscribe, ""); err != nil {
		t.Fatal(err)
	}
	go c.listen(c.iopub, c.seen)
	if m := c.Published(); m.Header.Type != wire.IOPubWelcome {
		t.Fatalf("the first publication is %s, not a welcome", m.Header.Type)
	}
	return c
}

func (c *Client) listen(s zmq4.Socket, to chan *wire.Message) {
	for {
		raw, err := s.Recv()
		if err != nil {
			close(to)
			return
		}
		m, err := wire.Decode(raw.Frames, c.key)
		if err != nil {
			c.t.Errorf("the kernel sent a message that cannot be read: %v: %q", err, raw.Frames)
			continue
		}
		to <- m
	}
}

// Ask sends a request and returns its ID.
func (c *Client) Ask(s zmq4.Socket, t wire.Type, content any) string {
	c.t.Helper()
	return c.AskAt(time.Now(), s, t, content)
}

// AskAt is Ask with the time at which the request claims to be sent.
func (c *Client) AskAt(at time.Time, s zmq4.Socket, t wire.Type, content any) string {
	c.t.Helper()
	return c.send(at, s, t, nil, content)
}

// Answer answers a message that came in on stdin; nil if the client does not
// say which.
func (c *Client) Answer(to *wire.Message, text string) {
	c.t.Helper()
	var parent json.RawMessage
	if to != nil {
		parent = to.RawHeader
	}
	c.send(time.Now(), c.Stdin, wire.InputReply, parent, wire.Typed{Value: text})
}

func (c *Client) send(at time.Time, s zmq4.Socket, t wire.Type, parent json.RawMessage, content any, buffers ...[]byte) string {
	c.t.Helper()
	h := wire.Header{
		ID: fmt.Sprintf("%s-%d", c.session, c.serial.Add(1)), Session: c.session, Username: "tester",
		Date: wire.Date(at), Type: t, Version: wire.Version,
	}
	frames, err := wire.Encode(c.key, h, parent, nil, content, buffers...)
	if err != nil {
		c.t.Fatal(err)
	}
	if err := s.SendMulti(zmq4.NewMsgFrom(frames...)); err != nil {
		c.t.Fatal(err)
	}
	return h.ID
}

// AskWith is Ask with binary buffers behind the message.
func (c *Client) AskWith(s zmq4.Socket, t wire.Type, content any, buffers ...[]byte) string {
	c.t.Helper()
	return c.send(time.Now(), s, t, nil, content, buffers...)
}

// Reply returns the next reply on a socket.
func (c *Client) Reply(s zmq4.Socket) *wire.Message {
	c.t.Helper()
	return c.await(c.replies[s], "reply")
}

// Published returns the next publication.
func (c *Client) Published() *wire.Message {
	c.t.Helper()
	return c.await(c.seen, "publication")
}

func (c *Client) await(from chan *wire.Message, what string) *wire.Message {
	c.t.Helper()
	select {
	case m, ok := <-from:
		if !ok {
			c.t.Fatalf("no %s: the kernel has hung up", what)
		}
		return m
	case <-time.After(patience):
		c.t.Fatalf("no %s within %v", what, patience)
	}
	return nil
}

// Transcript returns what is published about a request, to its idle.
func (c *Client) Transcript(id string) []string {
	c.t.Helper()
	var lines []string
	for {
		m := c.Published()
		if Parent(m) != id {
			continue
		}
		line := Line(m)
		if n := len(lines) - 1; m.Header.Type == wire.Stream && n >= 0 { // however it was cut
			name, text, _ := strings.Cut(line, " ")
			if strings.HasPrefix(lines[n], name+" ") {
				lines[n] += text
				continue
			}
		}
		lines = append(lines, line)
		if line == string(wire.Idle) {
			return lines
		}
	}
}

// Execute runs a cell and returns its transcript.
func (c *Client) Execute(code string) []string {
	c.t.Helper()
	transcript := c.Transcript(c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: code}))
	c.Reply(c.Shell)
	return transcript
}

// Parent returns the ID of the request that a message belongs to.
func Parent(m *wire.Message) string {
	var h wire.Header
	if err := json.Unmarshal(m.Parent, &h); err != nil {
		return ""
	}
	return h.ID
}

// Line writes a publication as one line: the kind of message and what tells
// it from others of its kind.
func Line(m *wire.Message) string {
	read := func(v any) {
		if err := m.Read(v); err != nil {
			panic(err) // our own kernel wrote it
		}
	}
	switch m.Header.Type {
	case wire.Status:
		var s wire.StatusContent
		read(&s)
		return string(s.State)
	case wire.ExecuteInput:
		var in wire.Input
		read(&in)
		return fmt.Sprintf("input %d", in.Count)
	case wire.Stream:
		var s wire.Text
		read(&s)
		return s.Name + " " + s.Text
	case wire.DisplayData, wire.UpdateDisplayData:
		var d wire.Display
		read(&d)
		word := "display "
		if m.Header.Type == wire.UpdateDisplayData {
			word = "update "
		}
		if d.Transient.ID != "" {
			word += d.Transient.ID + ": "
		}
		return word + text(d.Bundle)
	case wire.ExecuteResult:
		var r wire.Result
		read(&r)
		return "result " + text(r.Bundle)
	case wire.Error:
		var e wire.Failure
		read(&e)
		return "error " + e.Name
	case wire.ClearOutput:
		var w wire.Clear
		read(&w)
		if w.Wait {
			return "clear, wait"
		}
		return "clear"
	}
	return string(m.Header.Type)
}

// text returns a bundle's plain text, or its JSON if it has none.
func text(b wire.Bundle) string {
	const plain = "text/plain"
	var s string
	if json.Unmarshal(b.Data[plain], &s) == nil {
		return s
	}
	return fmt.Sprintf("%s", b.Data)
}

// Drain forgets what has been published so far.
func (c *Client) Drain() {
	for {
		select {
		case <-c.seen:
		default:
			return
		}
	}
}
