// Package sock is the transport of the kernel: the listening ends of ZeroMQ
// sockets over TCP and IPC.
//
//	Router     requests and replies: shell, control, stdin
//	Publisher  what every front end sees: iopub
//	Echo       the heartbeat
//
// Greeting, handshake and framing are zmq4's. Accepting and queueing are
// done here, one connection apart from the other, since zmq4's own sockets
// shake hands one at a time (a client that connects and keeps silent shuts
// the others out), let one stalled subscriber hold up all, and end the program
// when a client sends an impossible length.
//
// A message is handed to a connection's queue and sent by its own goroutine.
// Publications come as fast as the slowest subscriber reads them. A client that
// has stopped reading holds up nobody: it is not waited for, and cut off when too
// much waits for it, or after a while. Libzmq connects again by itself.
package sock

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"strconv"
	"sync"
	"syscall"
	"time"

	"github.com/go-zeromq/zmq4"
	"github.com/go-zeromq/zmq4/security/null"
)

// Limits of a connection. The zero value takes the defaults.
type Limits struct {
	Handshake time.Duration // how long a client may take to introduce itself; 10 s
	Queue     int           // bytes that may wait for one client; 64 MiB
	Stall     time.Duration // how long a full queue may stand still; 5 s
	Message   uint64        // bytes in one message from a client; 256 MiB
}

func (l Limits) orDefault() Limits {
	if l.Handshake == 0 {
		l.Handshake = 10 * time.Second
	}
	if l.Queue == 0 {
		l.Queue = 64 << 20
	}
	if l.Stall == 0 {
		l.Stall = 5 * time.Second
	}
	if l.Message == 0 {
		l.Message = 256 << 20
	}
	return l
}

// Options of a socket.
type Options struct {
	Limits Limits
	Log    func(error) // told why a connection was refused or cut; may be nil
}

// An Endpoint is where a socket listens.
type Endpoint struct {
	Transport string // "tcp" or "ipc"
	IP        string // for ipc: the path, to which "-PORT" is added
	Port      int    // 0 takes any free TCP port
}

func (e Endpoint) address() (network, address string, err error) {
	switch e.Transport {
	case "tcp":
		host := e.IP
		if host == "*" {
			host = ""
		}
		return "tcp", net.JoinHostPort(host, strconv.Itoa(e.Port)), nil
	case "ipc":
		return "unix", e.IP + "-" + strconv.Itoa(e.Port), nil
	}
	return "", "", fmt.Errorf("transport %q is not known: it must be tcp or ipc", e.Transport)
}

// String returns the endpoint as ZeroMQ writes it.
func (e Endpoint) String() string {
	_, address, err := e.address()
	if err != nil {
		return err.Error()
	}
	return e.Transport + "://" + address
}

func listen(e Endpoint) (net.Listener, error) {
	network, address, err := e.address()
	if err != nil {
		return nil, err
	}
	l, err := net.Listen(network, address)
	if network == "unix" && errors.Is(err, syscall.EADDRINUSE) && abandoned(address) {
		if err := os.Remove(address); err != nil {
			return nil, fmt.Errorf("an old socket is in the way: %w", err)
		}
		l, err = net.Listen(network, address)
	}
	if errors.Is(err, syscall.EADDRINUSE) {
		return nil, fmt.Errorf("%s is in use by another program: end it, or start with another connection file", e)
	}
	if err != nil {
		return nil, fmt.Errorf("cannot listen on %s: %w", e, err)
	}
	return l, nil
}

// abandoned reports whether the path is a socket that nobody listens on.
func abandoned(path string) bool {
	info, err := os.Lstat(path)
	if err != nil || info.Mode().Type() != os.ModeSocket {
		return false
	}
	c, err := net.Dial("unix", path)
	if err == nil {
		c.Close()
		return false
	}
	return errors.Is(err, syscall.ECONNREFUSED)
}

// server accepts connections and keeps the list of them.
type server struct {
	typ      zmq4.SocketType
	listener net.Listener
	limits   Limits
	log      func(error)

	handle func(*conn, [][]byte) // a message came in; called by the connection's goroutine
	joined func(*conn)           // may be nil
	left   func(*conn)           // may be nil

	mu     sync.Mutex
	conns  map[*conn]bool // true once the hands are shaken
	closed bool
	active sync.WaitGroup // goroutines of accepted connections
}

func newServer(typ zmq4.SocketType, e Endpoint, o Options) (*server, error) {
	l, err := listen(e)
	if err != nil {
		return nil, err
	}
	s := &server{typ: typ, listener: l, limits: o.Limits.orDefault(), log: o.Log, conns: map[*conn]bool{}}
	if s.log == nil {
		s.log = func(error) {}
	}
	return s, nil
}

// port returns the TCP port that was taken, or the one asked for.
func (s *server) port(asked int) int {
	if a, ok := s.listener.Addr().(*net.TCPAddr); ok {
		return a.Port
	}
	return asked
}

func (s *server) accept() {
	for {
		nc, err := s.listener.Accept()
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil { // such as too many open files: later there may be room again
			s.log(fmt.Errorf("accepting a connection: %w", err))
			time.Sleep(50 * time.Millisecond)
			continue
		}
		c := newConn(nc, s.limits)
		s.mu.Lock()
		if s.closed {
			s.mu.Unlock()
			nc.Close()
			return
		}
		s.conns[c] = false
		s.active.Add(1)
		s.mu.Unlock()
		go s.serve(c)
	}
}

// serve sees a connection through from greeting to end.
func (s *server) serve(c *conn) {
	defer s.active.Done()
	err := s.converse(c)
	s.mu.Lock()
	met := s.conns[c]
	delete(s.conns, c)
	closed := s.closed
	s.mu.Unlock()
	if met && s.left != nil {
		s.left(c)
	}
	c.cut()
	if err != nil && !closed && !isEnd(err) {
		s.log(fmt.Errorf("connection to the %s socket closed: %w", s.typ, err))
	}
}

func (s *server) converse(c *conn) error {
	if err := c.open(s.typ, s.limits.Handshake); err != nil {
		return err
	}
	s.mu.Lock()
	if s.closed {
		s.mu.Unlock()
		return nil
	}
	s.conns[c] = true
	s.mu.Unlock()
	if s.joined != nil {
		s.joined(c)
	}
	go c.write()
	for {
		msg, err := c.zmtp.RecvMsg()
		if c.guard.refusal != nil {
			return c.guard.refusal
		}
		if err != nil {
			return err
		}
		if msg.Type == zmq4.UsrMsg {
			s.handle(c, msg.Frames)
		}
	}
}

// close takes no more connections, sends what is queued, until ctx ends, and
// hangs up.
func (s *server) close(ctx context.Context) {
	s.mu.Lock()
	s.closed = true
	conns := make([]*conn, 0, len(s.conns))
	for c, met := range s.conns {
		if met {
			conns = append(conns, c)
		} else {
			c.cut()
		}
	}
	s.mu.Unlock()
	s.listener.Close()
	for _, c := range conns {
		c.finish()
	}
	for _, c := range conns {
		select {
		case <-c.written:
		case <-ctx.Done():
		}
	}
	// The other ends answer the hang-up with theirs. Waiting for it keeps
	// an unread byte from turning ours into a reset that loses the last message.
	gone := make(chan struct{})
	go func() {
		s.active.Wait()
		close(gone)
	}()
	select {
	case <-gone:
	case <-ctx.Done():
	case <-time.After(goodbye):
	}
	for _, c := range conns {
		c.cut()
	}
}

// goodbye is how long a closed socket waits for clients to hang up too.
const goodbye = 100 * time.Millisecond

// nullSecurity is the only mechanism that Jupyter clients use unasked.
func nullSecurity() zmq4.Security { return null.Security() }
