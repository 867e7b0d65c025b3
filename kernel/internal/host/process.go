package host

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/evenbed/evenbed/kernel/internal/pipe"
)

// Env is the variable that tells an engine its two ends of the pipe, as
// "read,write".
const Env = "EVENBED_PIPE"

// MemoryEnv is the variable that tells an engine how much memory it may use,
// such as "4GB"; see [Memory].
const MemoryEnv = "EVENBED_MEMORY_LIMIT"

// A process is one engine.
type process struct {
	cmd  *exec.Cmd
	conn *pipe.Conn
	keep *os.File // the write end of the engine's pipe; closing it ends the engine
	out  *merger

	input func(context.Context, string, bool) (string, error)

	gone   chan struct{} // closed when the engine has ended and its output is read
	killed atomic.Pointer[string]
	waited error // of cmd.Wait, set before gone is closed

	mu      sync.Mutex
	nextID  uint64
	answers map[uint64]chan *pipe.Message
	cell    context.Context // of the cell that runs
}

// startProcess starts an engine and waits until it can take cells.
func startProcess(opt Options) (*process, error) {
	var files []*os.File // all six ends, closed if something fails
	ok := false
	defer func() {
		if !ok {
			for _, f := range files {
				f.Close()
			}
		}
	}()
	open := func() (r, w *os.File, err error) {
		if r, w, err = os.Pipe(); err == nil {
			files = append(files, r, w)
		}
		return
	}
	toEngine, keep, err1 := open()
	fromEngine, toFront, err2 := open()
	out, outW, err3 := open()
	errs, errW, err4 := open()
	if err := errors.Join(err1, err2, err3, err4); err != nil {
		return nil, err
	}
	cmd := exec.Command(opt.Command[0], opt.Command[1:]...)
	cmd.Dir = opt.Dir
	cmd.Env = opt.Env
	if cmd.Env == nil {
		cmd.Env = os.Environ()
	}
	cmd.Stdout, cmd.Stderr = outW, errW
	inherit(cmd, toEngine, toFront)
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	ok = true
	for _, f := range []*os.File{toEngine, toFront, outW, errW} {
		f.Close()
	}
	p := &process{cmd: cmd, keep: keep, input: opt.Input, gone: make(chan struct{}), answers: map[uint64]chan *pipe.Message{}, cell: context.Background()}
	conn, err := pipe.Open(fromEngine, keep)
	var ready *pipe.Message
	if err == nil {
		p.conn = conn
		ready, err = conn.Receive()
	}
	if err != nil {
		keep.Close()
		said, _ := io.ReadAll(io.LimitReader(errs, 4096))
		cmd.Process.Kill()
		cmd.Wait()
		return nil, fmt.Errorf("the engine did not start: %w: %s", err, strings.TrimSpace(string(said)))
	}
	p.out = newMerger(opt.Output, ready.Text, opt.overflow)
	var readers sync.WaitGroup
	readers.Go(func() { p.out.read(0, out); out.Close() })
	readers.Go(func() { p.out.read(1, errs); errs.Close() })
	readers.Go(func() { p.receive(); fromEngine.Close() })
	go func() {
		p.waited = cmd.Wait()
		readers.Wait()
		p.out.flush()
		close(p.gone)
	}()
	return p, nil
}

func (p *process) dead() bool {
	select {
	case <-p.gone:
		return true
	default:
		return false
	}
}

// close ends the engine: gently, then not.
func (p *process) close() {
	p.killed.CompareAndSwap(nil, ptr("it was restarted or shut down"))
	p.keep.Close()
	select {
	case <-p.gone:
	case <-time.After(exitTimeout):
		p.cmd.Process.Kill()
		<-p.gone
	}
}

func ptr[T any](v T) *T { return &v }

// reason says why the engine has ended.
func (p *process) reason() string {
	<-p.gone
	if why := p.killed.Load(); why != nil {
		return *why
	}
	if said := p.out.lastWords(); said != "" {
		if n := memoryLimit(p.cmd.Env); n > 0 && strings.Contains(said, "out of memory") {
			return fmt.Sprintf("memory limit %s reached", MemoryText(n)) // the system's, before the engine's own
		}
		return said
	}
	var exit *exec.ExitError
	if errors.As(p.waited, &exit) {
		if ws, ok := exit.Sys().(syscall.WaitStatus); ok && ws.Signaled() {
			why := "it was ended by the operating system (" + ws.Signal().String() + ")"
			if ws.Signal() == syscall.SIGKILL {
				why += "; too little memory is the usual cause"
			}
			return why
		}
		return "it ended with " + exit.Error()
	}
	return "it ended without an error, as it does when its connection to the kernel is closed"
}

// receive hands on messages until the engine ends.
func (p *process) receive() {
	for {
		m, err := p.conn.Receive()
		if err != nil {
			p.out.closed(2)
			p.mu.Lock()
			for id, c := range p.answers {
				close(c)
				delete(p.answers, id)
			}
			p.mu.Unlock()
			go p.endBroken()
			return
		}
		switch m.Kind {
		case pipe.Display:
			p.out.show(m.Mark, Display{Bundle: bundle(m), ID: m.Name, Update: m.Flag})
		case pipe.Progress:
			p.out.show(m.Mark, Progress{Display{Bundle: bundle(m), ID: m.Name, Update: m.Flag}, m.Number == 1})
		case pipe.Value:
			p.out.show(m.Mark, Value{Bundle: bundle(m)})
		case pipe.Clear:
			p.out.show(m.Mark, Clear{Wait: m.Flag})
		case pipe.Failure:
			p.out.show(m.Mark, failure(m))
			p.answer(m) // the one who runs the cell wants to know
		case pipe.Done:
			p.out.end(m.Mark)
			p.answer(m)
		case pipe.Ending:
			p.killed.CompareAndSwap(nil, &m.Text)
		case pipe.Ask:
			p.out.show(m.Mark, nil) // the text before the question comes first
			p.mu.Lock()
			cell := p.cell // not the next one, which may begin before the question is asked
			p.mu.Unlock()
			go p.typed(cell, m)
		case pipe.Completed, pipe.Inspected:
			p.answer(m)
		}
	}
}

// brokenPause is how long an engine may take to end once nothing can come from it.
const brokenPause = 500 * time.Millisecond

// endBroken ends an engine that goes on without its pipe, which nobody can tell
// anything any more.
func (p *process) endBroken() {
	select {
	case <-p.gone:
	case <-time.After(brokenPause):
		p.killed.CompareAndSwap(nil, ptr("its connection to the kernel broke; a cell that closes files by their numbers can do that"))
		p.cmd.Process.Kill()
	}
}

// typed asks the user what a cell wants to read and tells the engine.
func (p *process) typed(ctx context.Context, question *pipe.Message) {
	text, err := "", errors.New("nobody can be asked for input here")
	if p.input != nil {
		text, err = p.input(ctx, question.Text, question.Flag)
	}
	if ctx.Err() != nil {
		return // the cell has ended or will, and its engine knows
	}
	if err != nil {
		text = err.Error()
	}
	p.conn.Send(&pipe.Message{Kind: pipe.Answer, ID: question.ID, Text: text, Flag: err == nil}) // a dead engine needs none
}

func failure(m *pipe.Message) Failure {
	for i, line := range m.Lines {
		m.Lines[i] = shorten(line)
	}
	return Failure{Name: m.Name, Message: shorten(m.Text), Traceback: m.Lines}
}

func (p *process) answer(m *pipe.Message) {
	p.mu.Lock()
	c := p.answers[m.ID]
	p.mu.Unlock()
	if c != nil {
		select {
		case c <- m:
		case <-time.After(askTimeout): // nobody listens any more
		}
	}
}

// request sends a message and returns where its answers will arrive.
func (p *process) request(m *pipe.Message) (answers chan *pipe.Message, done func(), err error) {
	c := make(chan *pipe.Message, 4)
	p.mu.Lock()
	p.nextID++
	m.ID = p.nextID
	p.answers[m.ID] = c
	p.mu.Unlock()
	done = func() {
		p.mu.Lock()
		delete(p.answers, m.ID)
		p.mu.Unlock()
	}
	return c, done, p.conn.Send(m)
}

func (p *process) ask(m *pipe.Message, timeout time.Duration) *pipe.Message {
	c, done, err := p.request(m)
	defer done()
	if err != nil {
		return nil
	}
	select {
	case answer := <-c: // nil if the engine has ended
		return answer
	case <-p.gone:
	case <-time.After(timeout):
	}
	return nil
}

// execute runs a cell to its end, or to the end of the engine. It reports
// whether the cell ended well.
func (p *process) execute(ctx context.Context, code string, number int) (f *Failure, ok bool) {
	p.out.begin()
	asked, end := context.WithCancel(ctx)
	defer end()
	p.mu.Lock()
	p.cell = asked
	p.mu.Unlock()
	c, done, err := p.request(&pipe.Message{Kind: pipe.Execute, Code: code, Number: number})
	defer done()
	if err != nil {
		p.keep.Close() // whatever it is, it cannot be spoken to
		p.endBroken()
		<-p.gone
		return nil, false
	}
	cancel, overdue := ctx.Done(), (<-chan time.Time)(nil)
	for {
		select {
		case m, open := <-c:
			switch {
			case !open:
				<-p.gone
				return nil, false
			case m.Kind == pipe.Failure:
				f = ptr(failure(m))
			case m.Kind == pipe.Done:
				return f, m.Flag
			}
		case <-cancel:
			cancel, overdue = nil, time.After(stopTimeout)
			if p.conn.Send(&pipe.Message{Kind: pipe.Interrupt}) != nil {
				go p.endBroken() // a dead engine closes c
			}
		case <-overdue:
			p.killed.Store(ptr(fmt.Sprintf("it did not stop within %v of an interrupt and had to be ended", stopTimeout)))
			p.cmd.Process.Kill()
		}
	}
}

// A merger brings text and messages of an engine into the order in which the
// engine wrote them, gathers small texts and bounds what one cell may show.
type merger struct {
	emit  func(Output)
	start []byte // of a marker

	mu      sync.Mutex
	moved   *sync.Cond
	reached [2]uint64 // the last marker seen on standard output and error
	ended   [3]bool   // the two texts and the pipe
	shown   uint64    // the last marker whose message has been handed on

	text  bytes.Buffer // of one stream, not yet handed on
	name  string       // of that stream
	last  time.Time    // when text was last handed on
	timer *time.Timer
	limit limiter

	// What looks like the last words of the Go runtime is held back until
	// the engine has ended, or shows by a marker that it lives.
	crash   bytes.Buffer
	holding bool
	midLine bool // standard error does not stand at the start of a line
}

// Text is handed on at most this often, so that a client which drops what
// comes too fast drops nothing.
const textPause = 50 * time.Millisecond

// maxCrash bounds what is held back of the last words of the Go runtime.
const maxCrash = 1 << 20

var streamNames = [2]string{"stdout", "stderr"}

func newMerger(emit func(Output), token string, over *overflow) *merger {
	m := &merger{emit: emit, start: pipe.MarkerStart(token), limit: limiter{over: over}}
	m.moved = sync.NewCond(&m.mu)
	return m
}

// read takes the text of one stream until its end.
func (m *merger) read(stream int, r io.Reader) {
	defer m.closed(stream)
	buf := make([]byte, 64<<10)
	var held []byte
	for {
		n, err := r.Read(buf)
		held = append(held, buf[:n]...)
		for {
			text, mark, rest, found := pipe.CutMarker(held, m.start)
			m.write(stream, text)
			if !found {
				held = append(held[:0], rest...)
				break
			}
			m.wait(stream, mark)
			held = rest
		}
		if err != nil {
			m.write(stream, held)
			return
		}
	}
}

// wait holds a stream at a marker until the message of the marker is out.
func (m *merger) wait(stream int, mark uint64) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if stream == 1 && m.holding {
		m.holding = false
		m.writeLocked(stream, bytes.Clone(m.crash.Bytes()))
		m.crash.Reset()
	}
	m.reached[stream] = mark
	m.moved.Broadcast()
	for m.shown < mark && !m.ended[2] {
		m.moved.Wait()
	}
}

// show hands on a message once both streams have come to its marker.
func (m *merger) show(mark uint64, o Output) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.await(mark)
	m.flushLocked()
	if o != nil {
		m.emit(m.limit.output(o))
	}
	m.shown = mark
	m.moved.Broadcast()
}

func (m *merger) await(mark uint64) {
	for i := range m.reached {
		for m.reached[i] < mark && !m.ended[i] {
			m.moved.Wait()
		}
	}
}

func (m *merger) closed(i int) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.ended[i] = true
	m.moved.Broadcast()
}

// begin readies the merger for a cell's outputs.
func (m *merger) begin() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.flushLocked()
	m.closeLimit() // of what goroutines wrote between two cells
}

// end hands on what is left of a cell's outputs.
func (m *merger) end(mark uint64) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.await(mark)
	m.flushLocked()
	m.closeLimit()
	m.shown = mark
	m.moved.Broadcast()
}

// closeLimit says what was not shown.
func (m *merger) closeLimit() {
	if note := m.limit.close(); note != "" {
		m.emit(Stream{Name: "stderr", Text: note})
	}
}

func (m *merger) write(stream int, text []byte) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if stream == 1 {
		if !m.holding {
			if i := lastWordsStart(text, m.midLine); i >= 0 {
				m.writeLocked(stream, text[:i])
				text, m.holding = text[i:], true
			}
		}
		if m.holding {
			m.crash.Write(text)
			if m.crash.Len() > maxCrash { // more than the runtime has to say
				m.writeLocked(stream, bytes.Clone(m.crash.Bytes()))
				m.crash.Truncate(maxCrash / 16)
				m.holding = false
			}
			return
		}
	}
	m.writeLocked(stream, text)
}

// lastWordsStart returns where a line starts as the Go runtime starts it
// before it gives up, or -1.
func lastWordsStart(text []byte, midLine bool) int {
	for at := 0; at < len(text); {
		if !midLine {
			for _, start := range []string{"fatal error: ", "runtime: ", "panic: ", "SIG"} {
				if bytes.HasPrefix(text[at:], []byte(start)) {
					return at
				}
			}
		}
		i := bytes.IndexByte(text[at:], '\n')
		if i < 0 {
			break
		}
		at, midLine = at+i+1, false
	}
	return -1
}

func (m *merger) writeLocked(stream int, text []byte) {
	if len(text) == 0 {
		return
	}
	if stream == 1 {
		m.midLine = text[len(text)-1] != '\n'
	}
	if m.name != streamNames[stream] {
		m.flushLocked()
		m.name = streamNames[stream]
	}
	m.text.Write(text)
	wait := textPause - time.Since(m.last)
	switch {
	case wait <= 0:
		m.flushLocked()
	case m.timer == nil:
		m.timer = time.AfterFunc(wait, m.flush)
	}
}

func (m *merger) flush() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.flushLocked()
}

func (m *merger) flushLocked() {
	if m.timer != nil {
		m.timer.Stop()
		m.timer = nil
	}
	if m.text.Len() == 0 {
		return
	}
	whole := m.text.Bytes()
	n := wholeRunes(whole)
	if text := m.limit.text(whole[:n]); text != "" {
		m.emit(Stream{Name: m.name, Text: text})
	}
	rest := bytes.Clone(whole[n:])
	m.text.Reset()
	m.text.Write(rest)
	m.last = time.Now()
}

// lastWords returns why the Go runtime gave up, as it wrote to standard error.
func (m *merger) lastWords() string {
	m.mu.Lock()
	defer m.mu.Unlock()
	for line := range strings.Lines(m.crash.String()) {
		line = strings.TrimSpace(line)
		if why, ok := strings.CutPrefix(line, "fatal error: "); ok {
			return explain(why)
		}
		if why, ok := strings.CutPrefix(line, "panic: "); ok {
			return "a goroutine of a library panicked: " + why
		}
	}
	return ""
}

// explain adds to a fatal error of the Go runtime what its reader can do.
func explain(why string) string {
	switch {
	case why == "stack overflow":
		return "stack overflow: a function calls itself without end"
	case strings.HasPrefix(why, "concurrent map"):
		return why + ": goroutines share a map without a lock (sync.Mutex)"
	case strings.HasPrefix(why, "all goroutines are asleep"):
		return why + " everything waits for something that never comes"
	case strings.Contains(why, "out of memory"):
		return why + ": the cell asked for more memory than there is"
	}
	return why
}
