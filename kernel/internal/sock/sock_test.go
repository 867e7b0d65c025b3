package sock

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-zeromq/zmq4"
)

var local = Endpoint{Transport: "tcp", IP: "127.0.0.1"}

func within(t *testing.T, d time.Duration) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), d)
	t.Cleanup(cancel)
	return ctx
}

// echo answers every request of a router with its own frames.
func echo(r *Router) {
	for {
		m, ok := r.Receive()
		if !ok {
			return
		}
		r.Send(m.From, m.Frames)
	}
}

func newRouter(t *testing.T, e Endpoint, o Options) (*Router, string) {
	t.Helper()
	r, err := NewRouter(e, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close(within(t, time.Second)) })
	e.Port = r.Port(e.Port)
	return r, e.String()
}

func dial(t *testing.T, s zmq4.Socket, endpoint string) zmq4.Socket {
	t.Helper()
	if err := s.Dial(endpoint); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func dealer(t *testing.T, endpoint, id string) zmq4.Socket {
	t.Helper()
	return dial(t, zmq4.NewDealer(context.Background(), zmq4.WithID(zmq4.SocketIdentity(id))), endpoint)
}

func ask(t *testing.T, s zmq4.Socket, text string) {
	t.Helper()
	if err := s.SendMulti(zmq4.NewMsgFrom([]byte("asked"), []byte(text))); err != nil {
		t.Fatal(err)
	}
	m, err := s.Recv()
	if err != nil || len(m.Frames) != 2 || string(m.Frames[1]) != text {
		t.Fatalf("asked %s, got %v, %v", text, m, err)
	}
}

func TestRouterAnswersTheOneWhoAsked(t *testing.T) {
	r, at := newRouter(t, local, Options{})
	go echo(r)
	var all sync.WaitGroup
	for _, id := range []string{"", "", "", "one", "two"} {
		s := dealer(t, at, id)
		all.Go(func() {
			for i := range 60 {
				ask(t, s, fmt.Sprintf("%p %s %d", s, id, i))
			}
		})
	}
	all.Wait()
}

func TestRouterFindsAClientThatCameBack(t *testing.T) {
	r, at := newRouter(t, local, Options{})
	first := dealer(t, at, "same")
	if err := first.Send(zmq4.NewMsgString("question")); err != nil {
		t.Fatal(err)
	}
	m, _ := r.Receive()
	second := dealer(t, at, "same")
	if err := second.Send(zmq4.NewMsgString("here I am")); err != nil {
		t.Fatal(err)
	}
	if n, ok := r.Receive(); !ok || string(n.Frames[0]) != "here I am" {
		t.Fatal(n, ok)
	}
	first.Close()
	for m.From.conn.alive() {
		time.Sleep(time.Millisecond)
	}
	r.Send(m.From, [][]byte{[]byte("answer")})
	if got, err := second.Recv(); err != nil || string(got.Bytes()) != "answer" {
		t.Fatal(got, err)
	}
}

func TestSilentConnectionsShutNobodyOut(t *testing.T) {
	r, at := newRouter(t, local, Options{Limits: Limits{Handshake: time.Second}})
	go echo(r)
	silent := make([]net.Conn, 5)
	for i := range silent {
		c, err := net.Dial("tcp", strings.TrimPrefix(at, "tcp://"))
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		silent[i] = c
	}
	start := time.Now()
	ask(t, dealer(t, at, ""), "still there?")
	if d := time.Since(start); d > 700*time.Millisecond {
		t.Errorf("an honest client waited %v", d)
	}
	for _, c := range silent { // and they are shown out in the end
		_ = c.SetReadDeadline(time.Now().Add(5 * time.Second))
		if _, err := c.Read(make([]byte, greeting+1)); err != nil {
			continue // the greeting may arrive first
		}
		for err := error(nil); err == nil; {
			if _, err = c.Read(make([]byte, 64)); err != nil && strings.Contains(err.Error(), "timeout") {
				t.Error("a silent connection was kept")
			}
		}
	}
}

// introduction returns what a client of a type sends before its first message.
func introduction(typ string) []byte {
	hello := make([]byte, greeting)
	hello[0], hello[9], hello[10] = 0xFF, 0x7F, 3
	copy(hello[12:], "NULL")
	ready := []byte("\x05READY\x0bSocket-Type\x00\x00\x00" + string(rune(len(typ))) + typ)
	return append(append(hello, 4, byte(len(ready))), ready...)
}

func TestMalformedBytesEndOneConnectionOnly(t *testing.T) {
	var mu sync.Mutex
	var logged []string
	r, at := newRouter(t, local, Options{Limits: Limits{Message: 1 << 16}, Log: func(err error) {
		mu.Lock()
		logged = append(logged, err.Error())
		mu.Unlock()
	}})
	go echo(r)
	good := introduction("DEALER")
	hello := good[:greeting]
	long := func(n uint64) []byte { return binary.BigEndian.AppendUint64([]byte{2}, n) }
	cases := map[string][]byte{
		"nothing":                    {},
		"text":                       []byte("GET / HTTP/1.1\r\n\r\n" + strings.Repeat("x", 64)),
		"no introduction":            hello,
		"introduction of no length":  append(bytes.Clone(hello), 4, 0),
		"key longer than the frame":  append(append(bytes.Clone(hello), 4, 10), "\x05READY\xffSoc"...),
		"value longer than memory":   append(append(bytes.Clone(hello), 4, 13), "\x05READY\x01S\xff\xff\xff\xff?"...),
		"no value":                   append(append(bytes.Clone(hello), 4, 8), "\x05READY\x01S"...),
		"message of 2^63 bytes":      append(bytes.Clone(good), long(1<<63)...),
		"message of 2^62 bytes":      append(bytes.Clone(good), long(1<<62)...),
		"message just over":          append(bytes.Clone(good), long(1<<16)...),
		"frames that add up to more": append(bytes.Clone(good), bytes.Repeat([]byte{1, 0}, 1<<11)...),
		"empty command":              append(bytes.Clone(good), 4, 0),
		"wrong kind":                 introduction("SUB"),
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range 300 {
		b := append(bytes.Clone(good), "\x01\x05hello\x00\x05world"...)
		switch i % 3 {
		case 0:
			b = b[:rng.IntN(len(b))]
		case 1:
			for range 1 + rng.IntN(8) {
				b[rng.IntN(len(b))] = byte(rng.Uint32())
			}
		case 2:
			for j := range b[greeting:] {
				b[greeting+j] = byte(rng.Uint32())
			}
		}
		cases[fmt.Sprint("random ", i)] = b
	}
	for name, b := range cases {
		c, err := net.Dial("tcp", strings.TrimPrefix(at, "tcp://"))
		if err != nil {
			t.Fatal(name, err)
		}
		_, _ = c.Write(b) // the other end may have hung up already
		_ = c.(*net.TCPConn).CloseWrite()
		_ = c.SetReadDeadline(time.Now().Add(5 * time.Second))
		if _, err := io.Copy(io.Discard, c); err != nil && strings.Contains(err.Error(), "timeout") {
			t.Errorf("%s: the connection was kept", name)
		}
		c.Close()
	}
	ask(t, dealer(t, at, ""), "still there?")
	mu.Lock()
	defer mu.Unlock()
	if all := strings.Join(logged, "\n"); !strings.Contains(all, "introduction") || !strings.Contains(all, "refused") {
		t.Errorf("the log tells neither of a malformed introduction nor of a refused length:\n%s", all)
	}
}

func TestALongMessageIsNotAnIllness(t *testing.T) {
	r, at := newRouter(t, local, Options{})
	go echo(r)
	ask(t, dealer(t, at, ""), strings.Repeat("0123456789", 3_000_000)) // 30 MB there and back
}

// newPublisher returns a publisher that greets each subscriber.
func newPublisher(t *testing.T, e Endpoint, o Options) (*Publisher, string) {
	t.Helper()
	p, err := NewPublisher(e, func(topic string, _ bool) [][][]byte { return [][][]byte{{[]byte(topic), []byte("welcome")}} }, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close(within(t, time.Second)) })
	e.Port = p.Port(e.Port)
	return p, e.String()
}

// subscriber returns a subscriber that has been greeted.
func subscriber(t *testing.T, endpoint, topic string) zmq4.Socket {
	t.Helper()
	s := dial(t, zmq4.NewSub(context.Background()), endpoint)
	if err := s.SetOption(zmq4.OptionSubscribe, topic); err != nil {
		t.Fatal(err)
	}
	m, err := s.Recv()
	if err != nil || string(m.Frames[1]) != "welcome" {
		t.Fatal(m, err)
	}
	return s
}

func TestPublicationsArriveInOrderAndByTopic(t *testing.T) {
	p, at := newPublisher(t, local, Options{})
	all, some := subscriber(t, at, ""), subscriber(t, at, "b")
	const n = 20_000
	go func() {
		for i := range n {
			p.Send([][]byte{[]byte{"ab"[i%2]}, fmt.Append(nil, i)})
		}
	}()
	for i := range n {
		if m, err := all.Recv(); err != nil || string(m.Frames[1]) != fmt.Sprint(i) {
			t.Fatalf("publication %d is %s, %v", i, m, err)
		}
		if i%2 == 1 {
			if m, err := some.Recv(); err != nil || string(m.Frames[1]) != fmt.Sprint(i) {
				t.Fatalf("publication %d of topic b is %s, %v", i, m, err)
			}
		}
	}
}

func TestTheLastPublicationArrives(t *testing.T) {
	for range 20 {
		p, at := newPublisher(t, local, Options{})
		s := subscriber(t, at, "")
		p.Send([][]byte{[]byte("t"), bytes.Repeat([]byte("x"), 1<<20)})
		p.Send([][]byte{[]byte("t"), []byte("last")})
		start := time.Now()
		p.Close(within(t, 2*time.Second))
		if d := time.Since(start); d > time.Second {
			t.Errorf("closing took %v", d)
		}
		for _, want := range []int{1 << 20, len("last")} {
			if m, err := s.Recv(); err != nil || len(m.Frames[1]) != want {
				t.Fatal(err)
			}
		}
	}
}

func TestAStalledSubscriberStallsNobody(t *testing.T) {
	p, at := newPublisher(t, local, Options{Limits: Limits{Queue: 1 << 20, Stall: time.Hour}})
	stalled, err := net.Dial("tcp", strings.TrimPrefix(at, "tcp://"))
	if err != nil {
		t.Fatal(err)
	}
	defer stalled.Close()
	if _, err := stalled.Write(append(introduction("SUB"), 0, 1, 1)); err != nil { // subscribes to all, then reads nothing
		t.Fatal(err)
	}
	for p.subscribers() == 0 {
		time.Sleep(time.Millisecond)
	}
	s := subscriber(t, at, "")
	const n = 500
	start := time.Now()
	go func() {
		for i := range n { // 50 MB, more than the network keeps
			p.Send([][]byte{[]byte("t"), fmt.Append(nil, i), make([]byte, 100_000)})
		}
	}()
	for i := range n {
		if m, err := s.Recv(); err != nil || string(m.Frames[1]) != fmt.Sprint(i) {
			t.Fatalf("publication %d: %v", i, err)
		}
	}
	if d := time.Since(start); d > 10*time.Second {
		t.Errorf("it took %v", d)
	}
	if n := p.subscribers(); n != 1 {
		t.Errorf("%d subscribers are left, want the one that reads", n)
	}
}

func TestASlowSubscriberLosesNothing(t *testing.T) {
	p, at := newPublisher(t, local, Options{Limits: Limits{Queue: 1 << 18, Stall: time.Second}})
	s := subscriber(t, at, "")
	const n = 300
	go func() {
		for i := range n { // 30 MB
			p.Send([][]byte{[]byte("t"), fmt.Append(nil, i), make([]byte, 100_000)})
		}
	}()
	for i := range n {
		if i%50 == 0 {
			time.Sleep(20 * time.Millisecond)
		}
		if m, err := s.Recv(); err != nil || string(m.Frames[1]) != fmt.Sprint(i) {
			t.Fatalf("publication %d: %v", i, err)
		}
	}
}

func TestEchoSendsBack(t *testing.T) {
	h, err := NewEcho(local, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close(within(t, time.Second))
	e := local
	e.Port = h.Port(0)
	s := dial(t, zmq4.NewReq(context.Background()), e.String())
	for range 3 {
		if err := s.Send(zmq4.NewMsgString("ping")); err != nil {
			t.Fatal(err)
		}
		if m, err := s.Recv(); err != nil || string(m.Bytes()) != "ping" {
			t.Fatal(m, err)
		}
	}
}

func TestAPortInUseIsSaid(t *testing.T) {
	r, at := newRouter(t, local, Options{})
	e := local
	e.Port = r.Port(0)
	_, err := NewRouter(e, Options{})
	if err == nil || !strings.Contains(err.Error(), at) || !strings.Contains(err.Error(), "in use") {
		t.Error(err)
	}
	if _, err := NewRouter(Endpoint{Transport: "udp"}, Options{}); err == nil || !strings.Contains(err.Error(), "udp") {
		t.Error(err)
	}
}

func TestIPC(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("Jupyter uses ipc on Unix only")
	}
	e := Endpoint{Transport: "ipc", IP: filepath.Join(t.TempDir(), "k"), Port: 1}
	// A socket that nobody listens on is left behind by a program that was killed.
	l, err := net.ListenUnix("unix", &net.UnixAddr{Name: e.IP + "-1", Net: "unix"})
	if err != nil {
		t.Fatal(err)
	}
	l.SetUnlinkOnClose(false)
	l.Close()
	r, at := newRouter(t, e, Options{})
	go echo(r)
	ask(t, dealer(t, at, ""), "over ipc")
	if _, err := NewRouter(e, Options{}); err == nil || !strings.Contains(err.Error(), "in use") {
		t.Errorf("a second listener on the same path: %v", err)
	}
}

func (c *conn) alive() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return !c.broken
}

func (p *Publisher) subscribers() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.topics)
}
