// Package engine is the process in which cells are executed: the interpreter
// and the linked packages, driven by messages from the front.
//
// A cell is parsed, checked and compiled as a whole, so that a mistake leaves
// no half-declared names behind; then it runs in a goroutine that can be
// given up if an interrupt does not end it ([lane]).
package engine

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/idle"
	"github.com/evenbed/evenbed/kernel/internal/pipe"
	"github.com/evenbed/evenbed/packing/task"
)

// maxStack bounds the stack of a goroutine, so that endless recursion ends
// soon and with little memory; some 300,000 levels of calls fit.
const maxStack = 256 << 20

// Main runs the engine of the front that started this process, until the
// front closes its pipe.
func Main() error {
	rs, ws, ok := strings.Cut(os.Getenv(host.Env), ",")
	r, err1 := strconv.ParseUint(rs, 10, 64)
	w, err2 := strconv.ParseUint(ws, 10, 64)
	if !ok || err1 != nil || err2 != nil {
		return errors.New("the engine is started by the kernel and by evenbed run; it is of no use by itself")
	}
	os.Unsetenv(host.Env)
	debug.SetMaxStack(maxStack)
	out, err := duplicate(os.Stdout)
	if err != nil {
		return err
	}
	errs, err := duplicate(os.Stderr)
	if err != nil {
		return err
	}
	conn, err := pipe.Open(inherited(uintptr(r), "from front"), inherited(uintptr(w), "to front"))
	if err != nil {
		return err
	}
	if null, err := os.Open(os.DevNull); err == nil {
		os.Stdin = null
	}
	limit, err := host.Memory(os.Getenv(host.MemoryEnv))
	if err != nil {
		return fmt.Errorf("%s: %w", host.MemoryEnv, err)
	}
	if limit > 0 {
		debug.SetMemoryLimit(limit)
		if err := limitBySystem(limit); err != nil {
			fmt.Fprintf(os.Stderr, "evenbed: the system sets no limit to the memory: %v\n", err)
		}
		go watchMemory(limit, func(why string) {
			time.AfterFunc(time.Second, func() { os.Exit(1) }) // should the front not listen
			conn.Send(&pipe.Message{Kind: pipe.Ending, Text: why})
			os.Exit(1)
		})
	}
	return serve(conn, out, errs)
}

// An engine runs one cell at a time and answers questions meanwhile.
type engine struct {
	conn *pipe.Conn
	in   *interp

	outMu sync.Mutex // held while a marker and its message are written
	texts [2]io.Writer
	token string
	mark  uint64

	cellMu sync.Mutex
	cell   *running // nil between cells
	prog   progress

	updates   updates
	questions questions
	idle      *idle.Timer
}

// running is the cell that runs.
type running struct {
	request   *pipe.Message
	attempt   *attempt
	claimed   atomic.Bool   // by the one who says how the cell ended
	stop      chan struct{} // closed by the first interrupt
	stopOnce  sync.Once
	ctx       context.Context // of the calls of long library functions
	cancel    context.CancelFunc
	step      int             // the top-level statement that runs
	value     *display.Bundle // of the last expression
	failureMu sync.Mutex
	failure   *failure // of a goroutine of the cell
	noted     []note

	typed       string // by the user, and not read yet
	closedInput bool
	unanswered  atomic.Bool // it was stopped while it waited for the user
}

func serve(conn *pipe.Conn, out, errs io.Writer) error {
	e := &engine{conn: conn, texts: [2]io.Writer{out, errs}, token: rand.Text(), idle: idle.NewTimer()}
	in, err := newInterp(e)
	if err != nil {
		return err
	}
	e.in = in
	task.SetDefault(monitor{e})
	if err := conn.Send(&pipe.Message{Kind: pipe.Ready, Text: e.token}); err != nil {
		return err
	}
	for {
		m, err := conn.Receive()
		if err != nil {
			return nil // the front has closed the pipe
		}
		switch m.Kind {
		case pipe.Execute:
			e.in.start(e.begin(m))
		case pipe.Interrupt:
			e.interrupt()
		case pipe.Complete:
			go e.complete(m)
		case pipe.Inspect:
			go e.inspect(m)
		case pipe.Answer:
			e.answered(m)
		}
	}
}

// begin makes a cell the running one. It is called in the order of messages,
// so that an interrupt that follows finds the cell.
func (e *engine) begin(m *pipe.Message) *running {
	e.idle.Begin()
	ctx, cancel := context.WithCancel(context.Background())
	cell := &running{request: m, stop: make(chan struct{}), ctx: ctx, cancel: cancel}
	e.cellMu.Lock()
	e.cell = cell
	e.cellMu.Unlock()
	return cell
}

func (e *engine) current() *running {
	e.cellMu.Lock()
	defer e.cellMu.Unlock()
	return e.cell
}

// interrupt stops the running cell; without one, or a second time, it stops
// the goroutines that cells have left running.
func (e *engine) interrupt() {
	cell := e.current()
	first := false
	if cell != nil {
		cell.stopOnce.Do(func() {
			first = true
			close(cell.stop)
			cell.cancel()
			e.in.stop(cell)
		})
	}
	if !first {
		e.in.stopGoroutines(nil)
	}
}

// grace is how long an interrupted cell may take to unwind before its
// goroutine is given up.
const grace = 150 * time.Millisecond

// settle is how long a cell that ends waits for goroutines that it has
// started, so that a failure at their start is a failure of the cell.
const settle = 30 * time.Millisecond

// ended tells the front how a cell has ended.
func (e *engine) ended(cell *running, f *failure) {
	e.prog.end(e, f != nil)
	e.updates.flush(e)
	if f == nil {
		f = cell.takeFailure()
	}
	cell.cancel()
	e.cellMu.Lock()
	e.cell = nil
	e.cellMu.Unlock()
	var last []*pipe.Message // in one go, which saves the front from waking up thrice
	if v := cell.value; v != nil {
		last = append(last, &pipe.Message{Kind: pipe.Value, Data: v.Data, Metadata: v.Metadata})
	}
	if f != nil {
		last = append(last, &pipe.Message{Kind: pipe.Failure, ID: cell.request.ID, Name: f.name, Text: f.message, Lines: f.traceback(e.in)})
	}
	e.idle.End()
	e.send(append(last, &pipe.Message{Kind: pipe.Done, ID: cell.request.ID, Flag: f == nil})...)
}

func (c *running) takeFailure() *failure {
	c.failureMu.Lock()
	defer c.failureMu.Unlock()
	return c.failure
}

// send writes a marker to both texts and then the messages, so that the front
// can put the messages in their place among the texts.
func (e *engine) send(ms ...*pipe.Message) {
	e.outMu.Lock()
	defer e.outMu.Unlock()
	e.write(ms)
}

// sendIn sends messages of a cell and reports true, unless the cell was stopped
// or has ended: the front would take them for the next cell's.
func (e *engine) sendIn(cell *running, ms ...*pipe.Message) bool {
	e.outMu.Lock()
	defer e.outMu.Unlock()
	if cell.ctx.Err() != nil || e.current() != cell { // which ended changes before it sends
		return false
	}
	e.write(ms)
	return true
}

// write is send. e.outMu is held.
func (e *engine) write(ms []*pipe.Message) {
	e.mark++
	marker := pipe.Marker(e.token, e.mark)
	for _, w := range e.texts {
		w.Write(marker) // if it fails the front is gone, and Receive will say so
	}
	for _, m := range ms {
		m.Mark = e.mark
	}
	e.conn.Send(ms...)
}

// goroutineFailed reports a panic in a goroutine: as the failure of the cell
// that started it, or on standard error if that cell has ended.
func (e *engine) goroutineFailed(owner *running, f *failure) {
	if cell := e.current(); cell != nil && cell == owner {
		cell.failureMu.Lock()
		defer cell.failureMu.Unlock()
		if cell.failure == nil {
			cell.failure = f
		}
		return
	}
	fmt.Fprintln(os.Stderr, strings.Join(f.traceback(e.in), "\n"))
}
