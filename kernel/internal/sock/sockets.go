package sock

import (
	"context"
	"encoding/binary"
	"strings"
	"sync"
	"time"

	"github.com/go-zeromq/zmq4"
)

// A Peer is where a message came from and where its answer goes.
type Peer struct {
	conn *conn
	id   string
}

// A Message came in on a Router.
type Message struct {
	From   Peer
	At     time.Time
	Frames [][]byte // without the routing identity
}

// A Router takes requests from any number of clients and answers each.
type Router struct {
	server *server
	in     chan Message
	closed chan struct{}
	once   sync.Once

	mu     sync.Mutex
	serial uint32
	newest map[string]*conn // by identity
}

// NewRouter listens on e.
func NewRouter(e Endpoint, o Options) (*Router, error) {
	s, err := newServer(zmq4.Router, e, o)
	if err != nil {
		return nil, err
	}
	r := &Router{server: s, in: make(chan Message), closed: make(chan struct{}), newest: map[string]*conn{}}
	s.joined = r.join
	s.left = r.leave
	s.handle = func(c *conn, frames [][]byte) {
		select {
		case r.in <- Message{Peer{c, c.id}, time.Now(), frames}:
		case <-r.closed:
		}
	}
	go s.accept()
	return r, nil
}

func (r *Router) join(c *conn) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if c.id == "" { // as libzmq does: a zero and a number, which no client may choose
		r.serial++
		c.id = string(binary.BigEndian.AppendUint32([]byte{0}, r.serial))
	}
	r.newest[c.id] = c
}

func (r *Router) leave(c *conn) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.newest[c.id] == c {
		delete(r.newest, c.id)
	}
}

// Port returns the TCP port that the router listens on.
func (r *Router) Port(asked int) int { return r.server.port(asked) }

// Receive returns the next message; false after Close.
func (r *Router) Receive() (Message, bool) {
	select {
	case m := <-r.in:
		return m, true
	case <-r.closed:
		return Message{}, false
	}
}

// Send answers a peer: over the connection that the message came by or, if
// that is gone, over the newest of the same identity. If there is none, the
// client has left and the message is dropped.
func (r *Router) Send(to Peer, frames [][]byte) {
	to.conn.mu.Lock()
	gone := to.conn.broken
	to.conn.mu.Unlock()
	c := to.conn
	if gone {
		r.mu.Lock()
		c = r.newest[to.id]
		r.mu.Unlock()
	}
	if c != nil {
		c.send(frames)
	}
}

// SendAlike sends to the client that gave the same identity as a peer of
// another router. It returns a channel that is closed when that client has hung
// up, or nil if there is none.
func (r *Router) SendAlike(to Peer, frames [][]byte) (gone <-chan struct{}) {
	r.mu.Lock()
	c := r.newest[to.id]
	r.mu.Unlock()
	if c == nil || to.id == "" || to.id[0] == 0 { // a number of that router's own means nothing here
		return nil
	}
	c.send(frames)
	return c.written
}

// Close sends what is queued, until ctx ends, and closes.
func (r *Router) Close(ctx context.Context) {
	r.once.Do(func() { close(r.closed) })
	r.server.close(ctx)
}

// A Publisher sends to every client that has subscribed.
type Publisher struct {
	server  *server
	welcome Welcome

	mu     sync.Mutex // one order of messages for all subscribers
	left   bool       // a subscriber has left, and may come back
	topics map[*conn]map[string]bool
	to     []*conn // of the message that is put; kept to be used again
}

// A Welcome returns the first messages to a new subscriber. Back says that it may be
// one that was here before and has missed something.
type Welcome func(topic string, back bool) [][][]byte

// NewPublisher listens on e. Welcome may be nil.
func NewPublisher(e Endpoint, welcome Welcome, o Options) (*Publisher, error) {
	s, err := newServer(zmq4.XPub, e, o)
	if err != nil {
		return nil, err
	}
	p := &Publisher{server: s, welcome: welcome, topics: map[*conn]map[string]bool{}}
	s.handle = p.subscribe
	s.left = func(c *conn) {
		p.mu.Lock()
		delete(p.topics, c)
		p.left = true
		p.mu.Unlock()
	}
	go s.accept()
	return p, nil
}

// subscribe takes a subscription: 1 or 0, for on or off, before the topic.
func (p *Publisher) subscribe(c *conn, frames [][]byte) {
	if len(frames) != 1 || len(frames[0]) == 0 || frames[0][0] > 1 {
		return
	}
	on, topic := frames[0][0] == 1, string(frames[0][1:])
	p.mu.Lock()
	defer p.mu.Unlock()
	if !on {
		delete(p.topics[c], topic)
		return
	}
	if p.topics[c] == nil {
		p.topics[c] = map[string]bool{}
	}
	p.topics[c][topic] = true
	if p.welcome != nil {
		for _, frames := range p.welcome(topic, p.left) {
			c.send(frames)
		}
	}
}

// Port returns the TCP port that the publisher listens on.
func (p *Publisher) Port(asked int) int { return p.server.port(asked) }

// Put publishes a message whose first frame is its topic. It is sent with the
// next [Publisher.Flush], which spares the clients from waking up for each.
func (p *Publisher) Put(frames [][]byte) {
	topic := string(frames[0])
	p.mu.Lock()
	defer p.mu.Unlock()
	to := p.to[:0]
	for c, topics := range p.topics {
		for t := range topics {
			if strings.HasPrefix(topic, t) {
				to = append(to, c)
				break
			}
		}
	}
	p.to = to
	p.waitForRoom(length(frames))
	for _, c := range to {
		c.put(frames, maxLag*c.limits.Queue)
	}
}

// A subscriber that has taken nothing for lagPause is not waited for, and may fall
// behind by maxLag times its queue.
const (
	lagPause = 100 * time.Millisecond
	maxLag   = 4
)

// waitForRoom returns when each connection of p.to that still reads has room for n
// bytes. One that has read nothing for long is cut off. P.mu is held.
func (p *Publisher) waitForRoom(n int) {
	for {
		wait := false
		for _, c := range p.to {
			if c.hasRoom(n) {
				continue
			}
			switch idle := c.guard.idle(); {
			case idle > c.limits.Stall:
				c.cut()
			case idle < lagPause:
				wait = true
				signal(c.wake)
			}
		}
		if !wait {
			return
		}
		time.Sleep(time.Millisecond)
	}
}

// Flush sends what has been put.
func (p *Publisher) Flush() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for c := range p.topics {
		signal(c.wake)
	}
}

// Send publishes a message at once.
func (p *Publisher) Send(frames [][]byte) {
	p.Put(frames)
	p.Flush()
}

// Close sends what is queued, until ctx ends, and closes.
func (p *Publisher) Close(ctx context.Context) { p.server.close(ctx) }

// An Echo sends every message back where it came from.
type Echo struct{ server *server }

// NewEcho listens on e.
func NewEcho(e Endpoint, o Options) (*Echo, error) {
	s, err := newServer(zmq4.Rep, e, o)
	if err != nil {
		return nil, err
	}
	s.handle = func(c *conn, frames [][]byte) { c.send(frames) }
	go s.accept()
	return &Echo{s}, nil
}

// Port returns the TCP port that the echo listens on.
func (h *Echo) Port(asked int) int { return h.server.port(asked) }

// Close closes the echo.
func (h *Echo) Close(ctx context.Context) { h.server.close(ctx) }
