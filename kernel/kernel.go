// Package kernel is the front: the process that a notebook front end talks
// to. It owns the sockets, the protocol, the queue of cells and the history,
// and hands cells to an engine behind it.
//
//	Run              what `evenbed kernel FILE` does
//	ReadConnection   the connection file that a front end writes
//	Listen, Serve    the same without files and signals
//
// # What runs beside what
//
// Cells run one after the other in the order in which they came. Everything
// else is answered at once, also while a cell runs: completion, inspection,
// history and the kernel's own description do not touch execution. So a
// completion that is sent right behind a cell does not wait for what that cell
// declares. Each answer's busy and idle carry its own parent header; when
// such an answer ends while a cell runs, busy is published once more for the
// cell, since front ends show the last state they heard of.
//
// When a cell fails and its request says stop_on_error, the cells that its
// sender had sent by then are answered as aborted, for two seconds those too that
// are still on their way: their headers' dates tell. Cells of other clients run. An
// interrupt aborts the whole queue.
// A second one, or one that finds no cell, stops goroutines that cells have
// left running.
//
// There are no subshells, and none are announced. Two cells at once would write
// to one standard output, of which nobody could tell whose text it is, and
// declare names in one table while the other one is being compiled.
//
// A cell that reads its standard input asks the client that sent it, on the
// stdin channel, if the request allows it. The question ends with the cell.
//
// Outputs that arrive between cells, from goroutines that outlived theirs,
// carry the header of the last cell.
//
// Requests that cannot be read, or whose signature is wrong, are logged and
// passed over. A front end that stops reading is cut off, and nobody waits for it.
// One that comes back is told again which cells have ended.
package kernel

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/sock"
	"github.com/evenbed/evenbed/kernel/internal/wire"
)

// A Backend executes cells and answers questions about code. Execute is
// called by one goroutine at a time, the other methods at any time.
type Backend interface {
	// Execute runs a cell and returns when it has ended and all of its
	// outputs have been handed on. Number is the cell's execution count, 0
	// if it is silent. Cancelling the context interrupts the cell.
	Execute(ctx context.Context, code string, number int) host.Reply

	// Interrupt stops whatever earlier cells have left running.
	Interrupt()

	// Complete proposes what may stand at the cursor, in code points.
	Complete(code string, cursor int) host.Completion

	// Inspect describes what stands at the cursor; false if there is
	// nothing to tell.
	Inspect(code string, cursor, detail int) (display.Bundle, bool)

	// IsComplete says whether code is complete, incomplete, invalid or
	// unknown, and how the line after an incomplete one is indented.
	IsComplete(code string) (status, indent string)

	Close() error
}

// Options of a kernel. The zero value runs this program's own engine.
type Options struct {
	// Start starts the backend, which gives its outputs to o.Output, in order,
	// and asks the user by o.Input. The kernel describes itself before Start has
	// returned.
	Start func(o host.Options) (Backend, error)

	// History is the file that keeps the cells over sessions; "" means that
	// nothing is kept.
	History string

	Version string    // of this program; "" means unknown
	Log     io.Writer // nil means standard error
}

// Run serves the front end that wrote the connection file until it says
// shutdown or has died, or the process is told to terminate. An interrupt from
// a terminal is for the programs in it, not for the kernel, and is ignored, by
// the engine too, which inherits that.
func Run(connectionFile string, o Options) error {
	c, err := ReadConnection(connectionFile)
	if err != nil {
		return err
	}
	signal.Ignore(os.Interrupt)
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	if parent := os.Getppid(); os.Getenv("JPY_PARENT_PID") == strconv.Itoa(parent) {
		go outlive(ctx, stop, func() bool { return os.Getppid() == parent }, parentPause)
	}
	k, err := Listen(c, o)
	if err != nil {
		return fmt.Errorf("%s: %w", connectionFile, err)
	}
	k.Serve(ctx)
	return nil
}

// parentPause is how often the kernel looks whether the front end that started
// it is still there. One that was killed cannot say shutdown.
const parentPause = 5 * time.Second

// outlive calls stop when the parent is gone.
func outlive(ctx context.Context, stop func(), alive func() bool, every time.Duration) {
	ticks := time.NewTicker(every)
	defer ticks.Stop()
	for alive() {
		select {
		case <-ticks.C:
		case <-ctx.Done():
			return
		}
	}
	stop()
}

// A Kernel listens on the sockets of a connection.
type Kernel struct {
	conn Connection
	key  []byte
	opt  Options
	log  *logger

	shell, control, stdin *sock.Router
	iopub                 *sock.Publisher
	heart                 *sock.Echo

	session string        // of this process, in every header
	serial  atomic.Uint64 // of messages

	stop    context.CancelFunc
	ready   chan struct{} // closed when backend or failed is set
	backend Backend
	failed  error // why there is no backend

	queue   queue
	history history

	endedMu sync.Mutex
	ended   []json.RawMessage // headers of the last cells that have ended

	statusMu sync.Mutex // keeps the last state published a true one

	outMu sync.Mutex
	cell  *shown // the cell whose header outputs carry

	askMu sync.Mutex // one question at a time
	asked atomic.Pointer[question]
}

// Listen opens the sockets. It returns an error that names the socket which
// cannot be opened.
func Listen(c Connection, o Options) (*Kernel, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	if o.Log == nil {
		o.Log = os.Stderr
	}
	if o.Start == nil {
		o.Start = startSession
	}
	k := &Kernel{
		conn: c, key: []byte(c.Key), opt: o,
		log:     &logger{w: o.Log},
		session: rand.Text(),
		ready:   make(chan struct{}),
	}
	k.queue.wake = make(chan struct{}, 1)
	if o.History != "" {
		k.history.open(o.History, k.session, func(err error) {
			k.log.print("the history of earlier sessions cannot be read: %v", err)
		})
	}
	if err := k.listen(); err != nil {
		k.close(context.Background())
		return nil, err
	}
	return k, nil
}

func (k *Kernel) listen() (err error) {
	at := func(port int) sock.Endpoint {
		return sock.Endpoint{Transport: k.conn.Transport, IP: k.conn.IP, Port: port}
	}
	so := sock.Options{Log: func(err error) { k.log.print("%v", err) }}
	if k.shell, err = sock.NewRouter(at(k.conn.Shell), so); err != nil {
		return fmt.Errorf("shell: %w", err)
	}
	if k.control, err = sock.NewRouter(at(k.conn.Control), so); err != nil {
		return fmt.Errorf("control: %w", err)
	}
	if k.stdin, err = sock.NewRouter(at(k.conn.Stdin), so); err != nil {
		return fmt.Errorf("stdin: %w", err)
	}
	if k.iopub, err = sock.NewPublisher(at(k.conn.IOPub), k.welcome, so); err != nil {
		return fmt.Errorf("iopub: %w", err)
	}
	if k.heart, err = sock.NewEcho(at(k.conn.Heartbeat), so); err != nil {
		return fmt.Errorf("heartbeat: %w", err)
	}
	k.conn.Shell, k.conn.Control, k.conn.Stdin = k.shell.Port(k.conn.Shell), k.control.Port(k.conn.Control), k.stdin.Port(k.conn.Stdin)
	k.conn.IOPub, k.conn.Heartbeat = k.iopub.Port(k.conn.IOPub), k.heart.Port(k.conn.Heartbeat)
	return nil
}

// Connection returns where the kernel listens, with the ports it has taken.
func (k *Kernel) Connection() Connection { return k.conn }

// How long Serve waits for the last cell, and for the last messages to leave.
const (
	cellTimeout = 3 * time.Second
	sendTimeout = time.Second
)

// Serve answers requests until one asks for shutdown or ctx ends. Then it ends
// the backend, sends what is left to send and closes the sockets.
func (k *Kernel) Serve(ctx context.Context) {
	ctx, k.stop = context.WithCancel(ctx)
	defer k.stop()
	k.status(wire.Starting, nil)
	go func() {
		k.backend, k.failed = k.opt.Start(host.Options{Output: k.output, Input: k.input})
		close(k.ready)
	}()
	go k.take(k.control)
	go k.take(k.shell)
	go k.takeTyped()
	ended := make(chan struct{})
	go func() {
		k.runCells()
		close(ended)
	}()

	<-ctx.Done()
	k.queue.close()
	<-k.ready
	if k.backend != nil {
		if err := k.backend.Close(); err != nil {
			k.log.print("ending the engine: %v", err)
		}
	}
	select {
	case <-ended:
	case <-time.After(cellTimeout):
		k.log.print("the last cell did not end")
	}
	last, cancel := context.WithTimeout(context.Background(), sendTimeout)
	defer cancel()
	k.close(last)
}

// close closes the sockets that are open, all at the same time.
func (k *Kernel) close(ctx context.Context) {
	var all sync.WaitGroup
	for _, r := range []*sock.Router{k.shell, k.control, k.stdin} {
		if r != nil {
			all.Go(func() { r.Close(ctx) })
		}
	}
	if k.iopub != nil {
		all.Go(func() { k.iopub.Close(ctx) })
	}
	if k.heart != nil {
		all.Go(func() { k.heart.Close(ctx) })
	}
	all.Wait()
}

// A request is a message that came in by a socket and is answered by it.
type request struct {
	*wire.Message
	via  interface{ Send(sock.Peer, [][]byte) } // a [sock.Router]
	from sock.Peer
	at   time.Time
}

// take reads a socket's requests and answers all but cells, which it queues.
func (k *Kernel) take(via *sock.Router) {
	for {
		in, ok := via.Receive()
		if !ok {
			return
		}
		m, err := wire.Decode(in.Frames, k.key)
		if err != nil {
			k.log.print("a message was passed over: %v", err)
			continue
		}
		k.handle(&request{m, via, in.From, in.At})
	}
}

func (k *Kernel) handle(r *request) {
	if r.Header.Type == wire.ExecuteRequest {
		k.queue.push(r)
	} else if k.answer(r) {
		k.stop()
	}
}

// header returns the header of a new message.
func (k *Kernel) header(t wire.Type) wire.Header {
	return wire.Header{
		ID:       k.session + "_" + strconv.FormatUint(k.serial.Add(1), 10),
		Session:  k.session,
		Username: "kernel",
		Date:     wire.Date(time.Now()),
		Type:     t,
		Version:  wire.Version,
	}
}

// reply answers a request.
func (k *Kernel) reply(r *request, t wire.Type, metadata json.RawMessage, content any) {
	frames, err := wire.Encode(k.key, k.header(t), r.RawHeader, metadata, content)
	if err != nil {
		k.log.print("a reply could not be written: %v", err)
		return
	}
	r.via.Send(r.from, slices.Concat(r.Identities, frames))
}

// publish tells every front end.
func (k *Kernel) publish(t wire.Type, parent json.RawMessage, content any) {
	k.put(t, parent, content)
	k.iopub.Flush()
}

// put tells every front end with what is published next.
func (k *Kernel) put(t wire.Type, parent json.RawMessage, content any) {
	if frames := k.publication(string(t), t, parent, content); frames != nil {
		k.iopub.Put(frames)
	}
}

func (k *Kernel) publication(topic string, t wire.Type, parent json.RawMessage, content any) [][]byte {
	frames, err := wire.Encode(k.key, k.header(t), parent, nil, content)
	if err != nil {
		k.log.print("a publication could not be written: %v", err)
		return nil
	}
	return append([][]byte{[]byte(topic)}, frames...)
}

// welcome returns the first messages to a new subscriber: it now misses nothing.
// One that may have lost its connection is told again which cells have ended, and
// which one runs, so that it does not wait for what it has missed.
func (k *Kernel) welcome(topic string, back bool) [][][]byte {
	all := [][][]byte{k.publication(topic, wire.IOPubWelcome, nil, wire.Welcome{Subscription: topic})}
	if !back || !strings.HasPrefix(string(wire.Status), topic) {
		return all
	}
	state := func(s wire.State, parent json.RawMessage) {
		all = append(all, k.publication(string(wire.Status), wire.Status, parent, wire.StatusContent{State: s}))
	}
	k.endedMu.Lock()
	for _, parent := range k.ended {
		state(wire.Idle, parent)
	}
	k.endedMu.Unlock()
	if cell := k.queue.current(); cell != nil {
		state(wire.Busy, cell.RawHeader)
	}
	return all
}

// maxEnded is how many cells are told of to who comes back.
const maxEnded = 100

// end publishes that a cell has ended.
func (k *Kernel) end(j *job) {
	k.endedMu.Lock()
	if len(k.ended) == maxEnded {
		k.ended = slices.Delete(k.ended, 0, 1)
	}
	k.ended = append(k.ended, j.RawHeader)
	k.endedMu.Unlock()
	k.status(wire.Idle, j.RawHeader)
}

// status publishes what the kernel does about a request.
func (k *Kernel) status(s wire.State, parent json.RawMessage) {
	k.statusMu.Lock()
	defer k.statusMu.Unlock()
	k.publish(wire.Status, parent, wire.StatusContent{State: s})
	if s == wire.Idle {
		if cell := k.queue.current(); cell != nil {
			k.publish(wire.Status, cell.RawHeader, wire.StatusContent{State: wire.Busy})
		}
	}
}

// A logger writes lines, and not too many of them.
type logger struct {
	mu     sync.Mutex
	w      io.Writer
	window time.Time // when the count began
	count  int
}

// At most logLines lines are written in a logWindow.
const (
	logLines  = 20
	logWindow = time.Minute
)

func (l *logger) print(format string, args ...any) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if now := time.Now(); now.Sub(l.window) > logWindow {
		if l.count > logLines {
			fmt.Fprintf(l.w, "evenbed: %d more such lines were left out\n", l.count-logLines)
		}
		l.window, l.count = now, 0
	}
	if l.count++; l.count <= logLines {
		fmt.Fprintf(l.w, "evenbed: "+format+"\n", args...)
	}
}
