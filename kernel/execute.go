package kernel

import (
	"context"
	"encoding/json"
	"fmt"
	"go/parser"
	"maps"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/idle"
	"github.com/evenbed/evenbed/kernel/internal/wire"
)

// A job is a cell in the queue.
type job struct {
	*request
	ctx         context.Context
	cancel      context.CancelFunc
	interrupted bool // guarded by the queue's mutex
	aborted     bool // guarded by the queue's mutex

	asks atomic.Bool // its client answers questions
	keep *entry      // what the history file is to keep of it once it has ended
}

// A queue holds the cells that wait and the one that runs.
type queue struct {
	mu      sync.Mutex
	waiting []*job
	running *job
	closed  bool
	wake    chan struct{}

	failed failedCell // the last cell that failed and stops what its client sent
}

// A failedCell aborts the requests that its client had sent by a time on the
// client's own clock. Requests that come in later than abortPause are run all the
// same: they would have been sent long ago, so that clock was set back.
type failedCell struct {
	session string
	until   time.Time
	at      time.Time // by our clock
}

// abortPause is how long requests may be on their way that were sent before their
// client knew of a failed cell.
const abortPause = 2 * time.Second

func (f failedCell) aborts(r *request) bool {
	sent, ok := r.Header.Time()
	return ok && r.Header.Session == f.session && !sent.After(f.until) && r.at.Sub(f.at) < abortPause
}

func (q *queue) push(r *request) {
	ctx, cancel := context.WithCancel(context.Background())
	j := &job{request: r, ctx: ctx, cancel: cancel}
	q.mu.Lock()
	j.aborted = q.failed.aborts(r)
	q.waiting = append(q.waiting, j)
	q.mu.Unlock()
	q.signal()
}

func (q *queue) signal() {
	select {
	case q.wake <- struct{}{}:
	default:
	}
}

// next waits for a cell and makes it the running one; nil after close.
func (q *queue) next() *job {
	for {
		q.mu.Lock()
		if q.closed {
			q.mu.Unlock()
			return nil
		}
		if len(q.waiting) > 0 {
			j := q.waiting[0]
			q.waiting[0] = nil
			q.waiting = q.waiting[1:]
			q.running = j
			q.mu.Unlock()
			return j
		}
		q.mu.Unlock()
		<-q.wake
	}
}

func (q *queue) current() *job {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.running
}

// done says that the running cell has ended.
func (q *queue) done() {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.running.cancel()
	q.running = nil
}

func (q *queue) aborts(j *job) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	return j.aborted
}

func (q *queue) interrupts(j *job) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	return j.interrupted
}

// interrupt aborts what waits and stops the running cell. It reports whether
// there was one that had not been interrupted before.
func (q *queue) interrupt() bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	for _, j := range q.waiting {
		j.aborted = true
	}
	if q.running == nil || q.running.interrupted {
		return false
	}
	q.running.interrupted = true
	q.running.cancel()
	return true
}

// abortAfter aborts what the client of a failed cell has waiting behind it, and
// what it had sent before it could know of the failure. The client's clock may
// differ from ours, so its time is the date of the failed cell's request and what
// has passed since that came in: never later than the true one.
func (q *queue) abortAfter(j *job, at time.Time) {
	q.mu.Lock()
	defer q.mu.Unlock()
	for _, w := range q.waiting {
		if w.Header.Session == j.Header.Session {
			w.aborted = true
		}
	}
	sent, ok := j.Header.Time()
	if !ok {
		return
	}
	until := sent.Add(at.Sub(j.at))
	if sent.Nanosecond()%int(time.Millisecond) == 0 {
		// A clock that shows milliseconds only: the next date may be one early.
		until = until.Add(-time.Millisecond)
	}
	q.failed = failedCell{j.Header.Session, until, at}
}

func (q *queue) close() {
	q.mu.Lock()
	q.closed = true
	q.waiting = nil
	q.mu.Unlock()
	q.signal()
}

// stopPause is how long the reply to a failed cell is held back. A front end
// that runs a whole notebook takes a moment to send all cells; a cell that does
// not compile has failed before the next one is sent.
const stopPause = 10 * time.Millisecond

// runCells runs cells until the queue is closed.
func (k *Kernel) runCells() {
	rest := idle.NewTimer()
	count := 0
	for {
		j := k.queue.next()
		if j == nil {
			k.history.wait() // with what is still to be saved
			return
		}
		rest.Begin()
		count = k.run(j, count)
		k.queue.done()
		k.end(j)
		if j.keep != nil { // now that nobody waits for it
			if err := k.history.save(*j.keep); err != nil {
				k.log.print("%v", err)
			}
		}
		rest.End()
	}
}

// run says that the kernel is busy with a cell, runs it and replies. It returns
// the execution count after it.
func (k *Kernel) run(j *job, count int) int {
	response := wire.ExecuteResponse{
		Count:           count,
		UserExpressions: map[string]any{},
		Payload:         []struct{}{},
	}
	if k.queue.aborts(j) {
		k.status(wire.Busy, j.RawHeader)
		response.Status = wire.Aborted
		k.reply(j.request, wire.ExecuteReply, nil, response)
		return count
	}
	var x wire.Execute
	if err := j.Read(&x); err != nil {
		k.status(wire.Busy, j.RawHeader)
		response.Reply = unreadable(err)
		k.reply(j.request, wire.ExecuteReply, nil, response)
		return count
	}
	j.asks.Store(x.AllowStdin)
	store := !x.Silent && (x.StoreHistory == nil || *x.StoreHistory)
	number := 0
	if !x.Silent {
		number = count + 1
		response.Count = number
	}
	if store {
		count = number
	}

	started := time.Now()
	cell := &shown{parent: j.RawHeader, number: number, silent: x.Silent}
	cell.begin = func() {
		k.put(wire.Status, j.RawHeader, wire.StatusContent{State: wire.Busy})
		if !x.Silent {
			k.put(wire.ExecuteInput, j.RawHeader, wire.Input{Code: x.Code, Count: number})
		}
	}
	before := k.show(cell)
	late := time.AfterFunc(beginPause, func() { k.begin(cell, true) })
	ended := k.execute(j.ctx, x.Code, number)
	late.Stop()
	k.begin(cell, len(x.UserExpressions) > 0)
	failed, result := k.seen(cell)
	if ended.Failure != nil && !failed {
		k.output(*ended.Failure)
	}
	if x.Silent { // what comes later is from the cells that were to be seen
		k.show(before)
	}

	response.Status = wire.OK
	if f := ended.Failure; f != nil {
		response.Reply = wire.Reply{Status: wire.Failed, Name: f.Name, Value: f.Message, Traceback: lines(f.Traceback)}
		if x.StopOnError == nil || *x.StopOnError {
			if !k.queue.interrupts(j) {
				time.Sleep(stopPause)
			}
			k.queue.abortAfter(j, time.Now())
		}
	} else {
		for _, key := range slices.Sorted(maps.Keys(x.UserExpressions)) {
			response.UserExpressions[key] = k.evaluate(j, x.UserExpressions[key])
		}
	}
	if store {
		j.keep = &entry{number: number, input: x.Code, output: result}
		k.history.add(*j.keep)
	}
	k.reply(j.request, wire.ExecuteReply, json.RawMessage(fmt.Sprintf(`{"started":%q}`, wire.Date(started))), response)
	return count
}

// evaluate returns what a user expression shows, or its error. What it prints
// is not to be seen.
func (k *Kernel) evaluate(j *job, expression string) any {
	failed := func(name, message string) wire.Reply {
		return wire.Reply{Status: wire.Failed, Name: name, Value: message, Traceback: []string{name + ": " + message}}
	}
	if _, err := parser.ParseExpr(expression); err != nil {
		return failed("syntax error", "a user expression must be one expression: "+err.Error())
	}
	cell := &shown{parent: j.RawHeader, silent: true}
	before := k.show(cell)
	defer k.show(before)
	if f := k.execute(j.ctx, expression, 0).Failure; f != nil {
		return failed(f.Name, f.Message)
	}
	k.outMu.Lock()
	defer k.outMu.Unlock()
	return wire.Evaluated{Reply: ok(), Bundle: bundle(cell.value)}
}

// execute waits for the backend and has it run a cell.
func (k *Kernel) execute(ctx context.Context, code string, number int) host.Reply {
	select {
	case <-k.ready:
	case <-ctx.Done():
		return failure("interrupted", "the cell was interrupted before it began")
	}
	if k.failed != nil {
		return failure("no engine", "the engine cannot be started: "+k.failed.Error())
	}
	return k.backend.Execute(ctx, code, number)
}

func failure(name, message string) host.Reply {
	return host.Reply{Failure: &host.Failure{Name: name, Message: message, Traceback: []string{name + ": " + message}}}
}

// lines returns a traceback that is a list in JSON, never null.
func lines(l []string) []string {
	if l == nil {
		return []string{}
	}
	return l
}

// shown is a cell as its outputs see it. Its last fields are guarded by
// the kernel's outMu.
type shown struct {
	parent json.RawMessage
	number int
	silent bool

	begin  func() // says that the cell has begun; nil if that has been said
	soon   bool   // what the cell shows is published at once
	failed bool   // a failure has been published
	result string // the text of the last value
	value  display.Bundle
}

// beginPause is how long it may take until a front end hears that its cell has
// begun, or of its value. If the cell ends sooner, it hears all at once, which
// wakes it up once for a short cell.
const beginPause = time.Millisecond

// begin says that a cell has begun, if that has not been said: soon, or with
// what is published next.
func (k *Kernel) begin(c *shown, soon bool) {
	k.outMu.Lock()
	defer k.outMu.Unlock()
	c.say()
	if soon {
		c.soon = true
		k.iopub.Flush()
	}
}

func (c *shown) say() {
	if c.begin != nil {
		c.begin()
		c.begin = nil
	}
}

// show makes outputs carry the header of a cell and returns the one before.
func (k *Kernel) show(c *shown) (before *shown) {
	k.outMu.Lock()
	defer k.outMu.Unlock()
	before, k.cell = k.cell, c
	return before
}

// seen returns what a cell has shown so far.
func (k *Kernel) seen(c *shown) (failed bool, result string) {
	k.outMu.Lock()
	defer k.outMu.Unlock()
	return c.failed, c.result
}

// output publishes what a cell shows.
func (k *Kernel) output(o host.Output) {
	k.outMu.Lock()
	defer k.outMu.Unlock()
	cell := k.cell
	if cell == nil { // before the first cell
		cell = &shown{}
	}
	cell.say()
	if _, ok := o.(host.Failure); ok {
		cell.failed = true
	}
	if v, ok := o.(host.Value); ok {
		cell.result, cell.value = string(v.Data[display.MIMETypeText]), v.Bundle
	}
	if cell.silent {
		return
	}
	if p, ok := o.(host.Progress); ok {
		o = p.Display
	}
	switch o := o.(type) {
	case host.Stream:
		k.put(wire.Stream, cell.parent, wire.Text{Name: o.Name, Text: o.Text})
	case host.Display:
		t := wire.DisplayData
		if o.Update {
			t = wire.UpdateDisplayData
		}
		k.put(t, cell.parent, wire.Display{Bundle: bundle(o.Bundle), Transient: wire.Transient{ID: o.ID}})
	case host.Value:
		k.put(wire.ExecuteResult, cell.parent, wire.Result{Count: cell.number, Bundle: bundle(o.Bundle)})
	case host.Failure:
		k.put(wire.Error, cell.parent, wire.Failure{Name: o.Name, Value: o.Message, Traceback: lines(o.Traceback)})
	case host.Clear:
		k.put(wire.ClearOutput, cell.parent, wire.Clear{Wait: o.Wait})
	}
	if _, last := o.(host.Value); !last || cell.soon {
		k.iopub.Flush()
	}
}

func bundle(b display.Bundle) wire.Bundle {
	meta := b.Metadata
	if meta == nil {
		meta = map[string]json.RawMessage{}
	}
	return wire.Bundle{Data: b.JSON(), Metadata: meta}
}
