package sock

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/go-zeromq/zmq4"
)

// conn is one client of a socket.
type conn struct {
	guard  *guard
	zmtp   *zmq4.Conn
	limits Limits
	id     string // routing identity, as the client gave it

	mu        sync.Mutex
	queue     [][][]byte // messages to send
	size      int        // bytes in queue and in the hands of write
	finishing bool       // write hangs up when the queue is empty
	broken    bool       // nothing can be sent any more

	wake    chan struct{} // queue, finishing or broken has changed
	written chan struct{} // closed when write has returned
}

func newConn(nc net.Conn, l Limits) *conn {
	return &conn{
		guard:   newGuard(nc, l.Message),
		limits:  l,
		wake:    make(chan struct{}, 1),
		written: make(chan struct{}),
	}
}

// open shakes hands. Zmq4 trusts the lengths in a client's introduction, so a
// false one may panic: that ends this connection, not the program.
func (c *conn) open(typ zmq4.SocketType, patience time.Duration) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("malformed introduction: %v", r)
		}
	}()
	if err := c.guard.SetDeadline(time.Now().Add(patience)); err != nil {
		return err
	}
	c.zmtp, err = zmq4.Open(c.guard, nullSecurity(), typ, nil, true, nil)
	if err != nil {
		return err
	}
	c.id = c.zmtp.Peer.Meta["Identity"]
	return c.guard.SetDeadline(time.Time{})
}

// send queues a message and has it sent.
func (c *conn) send(frames [][]byte) {
	c.put(frames, c.limits.Queue)
	signal(c.wake)
}

// put queues a message, which is sent when write wakes up. A client that leaves
// more than so many bytes waiting has stopped reading and is cut off.
func (c *conn) put(frames [][]byte, most int) {
	n := length(frames)
	c.mu.Lock()
	full := c.size > 0 && c.size+n > most
	if !full && !c.broken && !c.finishing {
		c.queue = append(c.queue, frames)
		c.size += n
	}
	c.mu.Unlock()
	if full {
		c.cut()
	}
}

// hasRoom reports whether n bytes more can wait without holding up the sender. A
// broken connection takes anything.
func (c *conn) hasRoom(n int) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.broken || c.size == 0 || c.size+n <= c.limits.Queue
}

func length(frames [][]byte) int {
	n := 0
	for _, f := range frames {
		n += len(f)
	}
	return n
}

// write sends what is queued until the connection ends.
func (c *conn) write() {
	defer close(c.written)
	for range c.wake {
		c.mu.Lock()
		batch, finishing, broken := c.queue, c.finishing, c.broken
		c.queue = nil
		c.mu.Unlock()
		if broken {
			return
		}
		if err := c.guard.sendAll(batch, c.release); err != nil {
			c.cut()
			return
		}
		if finishing {
			c.guard.hangUp()
			return
		}
	}
}

func (c *conn) release(n int) {
	c.mu.Lock()
	c.size -= n
	c.mu.Unlock()
}

// finish lets write send the rest and hang up.
func (c *conn) finish() {
	c.mu.Lock()
	c.finishing = true
	c.mu.Unlock()
	signal(c.wake)
}

// cut ends the connection at once.
func (c *conn) cut() {
	c.mu.Lock()
	c.broken = true
	c.queue = nil
	c.mu.Unlock()
	c.guard.Close()
	signal(c.wake)
}

func signal(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

// isEnd reports whether err is the plain end of a connection.
func isEnd(err error) bool {
	return errors.Is(err, io.EOF) || errors.Is(err, net.ErrClosed) || errors.Is(err, zmq4.ErrClosedConn) ||
		errors.Is(err, syscall.ECONNRESET) || errors.Is(err, syscall.EPIPE)
}

// guard stands between zmq4 and the network. It reads and writes in large
// pieces, keeps messages whole, and refuses lengths that no message has before
// zmq4 makes room for them.
type guard struct {
	net.Conn
	in      *bufio.Reader
	check   lengths
	refusal error // why check refused; read by the goroutine that reads

	mu   sync.Mutex // keeps a message whole
	out  *bufio.Writer
	sent atomic.Int64 // when the network last took bytes, in nanoseconds since 1970
}

func newGuard(nc net.Conn, limit uint64) *guard {
	g := &guard{Conn: nc, in: bufio.NewReaderSize(nc, 16<<10)}
	g.sent.Store(time.Now().UnixNano())
	g.check = lengths{limit: limit, skip: greeting}
	g.out = bufio.NewWriterSize(meter{nc, &g.sent}, 16<<10)
	return g
}

func (g *guard) Read(p []byte) (int, error) {
	n, err := g.in.Read(p)
	if refusal := g.check.pass(p[:n]); refusal != nil {
		g.refusal = refusal
		return 0, refusal
	}
	return n, err
}

// idle returns how long ago the network last took something.
func (g *guard) idle() time.Duration { return time.Since(time.Unix(0, g.sent.Load())) }

// Write is for zmq4's own greeting and commands.
func (g *guard) Write(p []byte) (int, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if _, err := g.out.Write(p); err != nil {
		return 0, err
	}
	return len(p), g.out.Flush()
}

// sendAll writes messages in as few pieces as possible and tells of the size
// of each that is on its way.
func (g *guard) sendAll(messages [][][]byte, gone func(int)) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, frames := range messages {
		n := 0
		for i, f := range frames {
			if _, err := g.out.Write(frameHeader(len(f), i < len(frames)-1)); err != nil {
				return err
			}
			if _, err := g.out.Write(f); err != nil {
				return err
			}
			n += len(f)
		}
		gone(n)
	}
	return g.out.Flush()
}

// hangUp ends the sending side; what was sent still arrives.
func (g *guard) hangUp() {
	if h, ok := g.Conn.(interface{ CloseWrite() error }); ok && h.CloseWrite() == nil {
		return
	}
	g.Close()
}

// meter passes bytes on in pieces and notes when the network took one, so that a
// slow client can be told from one that has stopped.
type meter struct {
	w    io.Writer
	sent *atomic.Int64
}

func (m meter) Write(p []byte) (int, error) {
	const piece = 256 << 10
	done := 0
	for done < len(p) {
		n, err := m.w.Write(p[done:min(done+piece, len(p))])
		done += n
		if n > 0 {
			m.sent.Store(time.Now().UnixNano())
		}
		if err != nil {
			return done, err
		}
	}
	return done, nil
}

// The bits of a frame's first byte, and the length of the greeting before the
// first frame (ZMTP 3.0, rfc.zeromq.org/spec/23).
const (
	more     = 1
	long     = 2
	greeting = 64
)

func frameHeader(size int, hasMore bool) []byte {
	var flags byte
	if hasMore {
		flags = more
	}
	if size > 255 {
		return binary.BigEndian.AppendUint64([]byte{flags | long}, uint64(size))
	}
	return []byte{flags, byte(size)}
}

// lengths follows the frames of a stream and refuses a message that would be
// longer than limit.
type lengths struct {
	limit uint64
	skip  uint64  // bytes until the next frame
	head  [9]byte // what is known of the frame's header
	n     int     // of which this many bytes
	total uint64  // bytes of the message so far
}

func (l *lengths) pass(p []byte) error {
	for len(p) > 0 {
		if l.skip > 0 {
			n := min(l.skip, uint64(len(p)))
			l.skip -= n
			p = p[n:]
			continue
		}
		l.head[l.n] = p[0]
		l.n++
		p = p[1:]
		flags := l.head[0]
		var size uint64
		switch {
		case flags&long == 0 && l.n == 2:
			size = uint64(l.head[1])
		case flags&long != 0 && l.n == 9:
			size = binary.BigEndian.Uint64(l.head[1:])
		default:
			continue
		}
		l.n = 0
		if size > l.limit || l.total+size+frameCost > l.limit {
			return fmt.Errorf("a message of more than %d bytes was refused", l.limit)
		}
		l.skip = size
		l.total += size + frameCost
		if flags&more == 0 {
			l.total = 0
		}
	}
	return nil
}

// frameCost is what an empty frame counts, so that endless empty frames are
// no way round the limit.
const frameCost = 64
