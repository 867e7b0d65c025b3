package kernel_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"go/version"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-zeromq/zmq4"

	"github.com/evenbed/evenbed/kernel"
	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/kerneltest"
	"github.com/evenbed/evenbed/kernel/internal/wire"
)

func start(t *testing.T) (*kerneltest.Client, *script) {
	t.Helper()
	o, s := scripted()
	return kerneltest.Start(t, o), s
}

// read returns a message's content, which must be of the given type.
func read[T any](t *testing.T, m *wire.Message, want wire.Type) T {
	t.Helper()
	var v T
	if m.Header.Type != want {
		t.Fatalf("got %s %s, want %s", m.Header.Type, m.Content, want)
	}
	if err := m.Read(&v); err != nil {
		t.Fatal(err)
	}
	return v
}

func equal(t *testing.T, got, want any) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}

// What the front end sees of one cell, in order.
func TestTranscripts(t *testing.T) {
	no, yes := false, true
	for _, tc := range []struct {
		name    string
		request wire.Execute
		want    []string
		status  wire.Outcome
		count   int
	}{
		{"value", wire.Execute{Code: "value 2"}, []string{"busy", "input 1", "result 2", "idle"}, wire.OK, 1},
		{"nothing", wire.Execute{}, []string{"busy", "input 1", "idle"}, wire.OK, 1},
		{"all kinds", wire.Execute{Code: "print a\nwarn b\nshow c\nprint d\nupdate e\nclear\nclear wait\npicture\nvalue f"},
			[]string{"busy", "input 1", "stdout a\n", "stderr b\n", "display d1: c", "stdout d\n", "update d1: e", "clear",
				"clear, wait", `display map[image/png:"iVA="]`, "result f", "idle"}, wire.OK, 1},
		{"failure", wire.Execute{Code: "print a\nfail panic\nprint b"}, []string{"busy", "input 1", "stdout a\n", "error panic", "idle"}, wire.Failed, 1},
		{"failure told by the reply alone", wire.Execute{Code: "fail-quietly odd"}, []string{"busy", "input 1", "error odd", "idle"}, wire.Failed, 1},
		{"silent", wire.Execute{Code: "print a\nvalue b", Silent: true}, []string{"busy", "idle"}, wire.OK, 0},
		{"silent failure", wire.Execute{Code: "fail panic", Silent: true, StoreHistory: &yes}, []string{"busy", "idle"}, wire.Failed, 0},
		{"not stored", wire.Execute{Code: "number", StoreHistory: &no}, []string{"busy", "input 1", "result 1", "idle"}, wire.OK, 1},
		{"odd text", wire.Execute{Code: "print \"\\\x00\u2028<é>"}, []string{"busy", "input 1", "stdout \"\\\x00\u2028<é>\n", "idle"}, wire.OK, 1},
	} {
		t.Run(tc.name, func(t *testing.T) {
			c, _ := start(t)
			id := c.Ask(c.Shell, wire.ExecuteRequest, tc.request)
			equal(t, c.Transcript(id), tc.want)
			m := c.Reply(c.Shell)
			r := read[wire.ExecuteResponse](t, m, wire.ExecuteReply)
			if r.Status != tc.status || r.Count != tc.count || kerneltest.Parent(m) != id {
				t.Errorf("reply %s", m.Content)
			}
			if r.Status == wire.Failed && r.Traceback == nil {
				t.Errorf("the traceback is null: %s", m.Content)
			}
		})
	}
}

func TestExecutionCount(t *testing.T) {
	c, _ := start(t)
	no := false
	for _, tc := range []struct {
		request wire.Execute
		want    string
	}{
		{wire.Execute{Code: "number"}, "result 1"},
		{wire.Execute{Code: "number", StoreHistory: &no}, "result 2"},
		{wire.Execute{Code: "fail x"}, "error x"}, // takes number 2
		{wire.Execute{Code: "number", Silent: true}, "idle"},
		{wire.Execute{Code: "number"}, "result 3"},
	} {
		got := c.Transcript(c.Ask(c.Shell, wire.ExecuteRequest, tc.request))
		if !slices.Contains(got, tc.want) {
			t.Errorf("%+v: %q, want %s in it", tc.request, got, tc.want)
		}
	}
}

// Each user expression has a value or an error of its own, after a cell that
// ended well.
func TestUserExpressions(t *testing.T) {
	c := kerneltest.Start(t, kernel.Options{})
	for _, silent := range []bool{false, true} {
		id := c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "a := 20", Silent: silent, UserExpressions: map[string]string{
			"sum": "a + 1", "rich": "display.HTML(\"<b>\")", "absent": "nothing", "fails": "[]int{}[a]", "prints": "func() int { println(7); return 1 }()",
			"statement": "b := 1", "two": "1; 2", "empty": "",
		}})
		got := c.Transcript(id)
		if silent {
			equal(t, got, []string{"busy", "idle"})
		} else {
			equal(t, got, []string{"busy", "input 1", "idle"})
		}
		r := read[wire.ExecuteResponse](t, c.Reply(c.Shell), wire.ExecuteReply)
		type evaluated struct {
			wire.Reply
			wire.Bundle
		}
		all := map[string]evaluated{}
		for key, v := range r.UserExpressions {
			b, err := json.Marshal(v)
			if err != nil {
				t.Fatal(err)
			}
			var e evaluated
			if err := json.Unmarshal(b, &e); err != nil {
				t.Fatal(err)
			}
			all[key] = e
		}
		for key, want := range map[string]string{"sum": "21", "rich": "<b>", "prints": "1"} {
			var text string
			if err := json.Unmarshal(all[key].Data["text/plain"], &text); err != nil || text != want || all[key].Status != wire.OK || all[key].Metadata == nil {
				t.Errorf("%s: %+v", key, all[key])
			}
		}
		if string(all["rich"].Data["text/html"]) != `"\u003cb\u003e"` { // written twice, the second time by Go
			t.Errorf("%s", all["rich"].Data)
		}
		for key, want := range map[string]string{"absent": "compile error", "fails": "panic", "statement": "syntax error", "two": "syntax error", "empty": "syntax error"} {
			if e := all[key]; e.Status != wire.Failed || e.Name != want || e.Value == "" || len(e.Traceback) == 0 {
				t.Errorf("%s: %+v", key, e)
			}
		}
	}
	c.Drain()
	equal(t, c.Execute("1"), []string{"busy", "input 2", "result 1", "idle"}) // they took no number
	c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "nothing", UserExpressions: map[string]string{"a": "1"}})
	if r := read[wire.ExecuteResponse](t, c.Reply(c.Shell), wire.ExecuteReply); len(r.UserExpressions) != 0 {
		t.Errorf("evaluated after a failure: %+v", r)
	}
}

// There are no subshells, and none are announced (see TestKernelInfo).
func TestSubshells(t *testing.T) {
	c, _ := start(t)
	for request, reply := range map[wire.Type]wire.Type{
		wire.CreateSubshellRequest: wire.CreateSubshellReply, wire.DeleteSubshellRequest: wire.DeleteSubshellReply,
	} {
		c.Ask(c.Control, request, map[string]string{"subshell_id": "s"})
		if r := read[wire.Reply](t, c.Reply(c.Control), reply); r.Status != wire.Failed || !strings.Contains(r.Value, "no subshells") {
			t.Errorf("%+v", r)
		}
	}
	c.Ask(c.Control, wire.ListSubshellRequest, struct{}{})
	if m := c.Reply(c.Control); m.Header.Type != wire.ListSubshellReply || string(m.Content) != `{"status":"ok","subshell_id":[]}` {
		t.Errorf("%s %s", m.Header.Type, m.Content)
	}
}

func TestLateOutputCarriesTheLastCell(t *testing.T) {
	c, _ := start(t)
	id := c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "later on"})
	equal(t, c.Transcript(id), []string{"busy", "input 1", "idle"})
	c.Transcript(c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Silent: true})) // is not to be seen
	m := c.Published()
	if kerneltest.Line(m) != "stdout on" || kerneltest.Parent(m) != id {
		t.Errorf("%s of %s", kerneltest.Line(m), m.Parent)
	}
}

// A failed cell aborts what its sender had sent by then, and nothing after.
func TestStopOnError(t *testing.T) {
	c, _ := start(t)
	outcome := func() wire.Outcome {
		t.Helper()
		return read[wire.Reply](t, c.Reply(c.Shell), wire.ExecuteReply).Status
	}
	no := false
	for range 20 {
		before := time.Now()
		c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "nap\nfail x"})
		waiting := c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "value 1"})
		c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "value 2", StopOnError: &no})
		equal(t, []wire.Outcome{outcome(), outcome(), outcome()}, []wire.Outcome{wire.Failed, wire.Aborted, wire.Aborted})
		equal(t, c.Transcript(waiting), []string{"busy", "idle"})
		// One that was sent early and arrives late, and one that was sent late.
		c.AskAt(before, c.Shell, wire.ExecuteRequest, wire.Execute{Code: "value 3"})
		equal(t, outcome(), wire.Aborted)
		c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "value 4"})
		equal(t, outcome(), wire.OK)
	}

	before := time.Now()
	c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "fail x"})
	outcome()
	if d := time.Since(before); d < 10*time.Millisecond {
		t.Errorf("a failed cell was answered after %v: no time for the others to arrive", d)
	}

	c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "nap\nfail x", StopOnError: &no})
	c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "value 5"})
	equal(t, []wire.Outcome{outcome(), outcome()}, []wire.Outcome{wire.Failed, wire.OK})
}

// What another client has queued behind a failed cell runs.
func TestAFailureIsItsOwnClients(t *testing.T) {
	one, _ := start(t)
	other := one.Another()
	for range 20 {
		one.Ask(one.Shell, wire.ExecuteRequest, wire.Execute{Code: "print begun\nnap\nfail x"})
		for kerneltest.Line(other.Published()) != "stdout begun\n" {
		}
		one.Ask(one.Shell, wire.ExecuteRequest, wire.Execute{Code: "value 1"})
		other.Ask(other.Shell, wire.ExecuteRequest, wire.Execute{Code: "value 2"})
		equal(t, read[wire.Reply](t, one.Reply(one.Shell), wire.ExecuteReply).Status, wire.Failed)
		equal(t, read[wire.Reply](t, one.Reply(one.Shell), wire.ExecuteReply).Status, wire.Aborted)
		equal(t, read[wire.Reply](t, other.Reply(other.Shell), wire.ExecuteReply).Status, wire.OK)
	}
}

// Who comes back hears which cells have ended meanwhile, and which one runs.
func TestAClientThatComesBack(t *testing.T) {
	c, _ := start(t)
	other := c.Another()
	c.Execute("value 1") // nobody has left: nothing is told twice
	first := c.Another()
	if id := first.Ask(first.Shell, wire.ExecuteRequest, wire.Execute{Code: "number"}); !slices.Equal(first.Transcript(id), []string{"busy", "input 2", "result 2", "idle"}) {
		t.Error("a client that came when nobody had left was told of others' cells")
	}
	missed := other.Ask(other.Shell, wire.ExecuteRequest, wire.Execute{Code: "print begun\nwait"})
	for kerneltest.Line(other.Published()) != "stdout begun\n" {
	}
	other.Leave()
	time.Sleep(20 * time.Millisecond)
	c.Ask(c.Control, wire.InterruptRequest, struct{}{})
	c.Transcript(missed)
	runs := c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "print begun\nwait"})
	for m := c.Published(); kerneltest.Line(m) != "stdout begun\n" || kerneltest.Parent(m) != runs; {
		m = c.Published()
	}
	back := c.Another()
	var told []string
	for m := back.Published(); ; m = back.Published() {
		told = append(told, kerneltest.Line(m)+" "+kerneltest.Parent(m))
		if kerneltest.Parent(m) == runs {
			break
		}
	}
	if !slices.Contains(told, "idle "+missed) || told[len(told)-1] != "busy "+runs {
		t.Errorf("told %q; the cell that was missed is %s, the one that runs is %s", told, missed, runs)
	}
	c.Ask(c.Control, wire.InterruptRequest, struct{}{})
}

func TestInterrupt(t *testing.T) {
	c, s := start(t)
	c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "print begun\nwait"})
	second := c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "value 1"})
	for kerneltest.Line(c.Published()) != "stdout begun\n" {
	}
	c.Ask(c.Control, wire.InterruptRequest, struct{}{})
	equal(t, read[wire.Reply](t, c.Reply(c.Control), wire.InterruptReply).Status, wire.OK)
	r := read[wire.ExecuteResponse](t, c.Reply(c.Shell), wire.ExecuteReply)
	if r.Status != wire.Failed || r.Name != "interrupted" {
		t.Errorf("%+v", r)
	}
	equal(t, read[wire.Reply](t, c.Reply(c.Shell), wire.ExecuteReply).Status, wire.Aborted)
	equal(t, c.Transcript(second), []string{"busy", "idle"})
	equal(t, s.interrupts.Load(), int32(0)) // the context was enough
	equal(t, c.Execute("value 2"), []string{"busy", "input 2", "result 2", "idle"})

	// Without a cell, what is left of earlier ones is stopped; also by way of shell.
	c.Ask(c.Shell, wire.InterruptRequest, struct{}{})
	c.Reply(c.Shell)
	equal(t, s.interrupts.Load(), int32(1))
}

func TestNoInterruptIsLost(t *testing.T) {
	c, _ := start(t)
	rng := rand.New(rand.NewPCG(3, 4))
	for i := range 1000 {
		id := c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "wait"})
		for m := c.Published(); kerneltest.Line(m) != "busy" || kerneltest.Parent(m) != id; {
			m = c.Published() // before that, an interrupt is none of this cell
		}
		time.Sleep(time.Duration(rng.IntN(100)) * time.Microsecond)
		c.Ask(c.Control, wire.InterruptRequest, struct{}{})
		c.Reply(c.Control)
		if r := read[wire.Reply](t, c.Reply(c.Shell), wire.ExecuteReply); r.Name != "interrupted" {
			t.Fatalf("cell %d: %+v", i, r)
		}
	}
}

// Questions are answered while a cell runs, with states of their own.
func TestQuestionsDuringACell(t *testing.T) {
	c, _ := start(t)
	cell := c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "print begun\nwait"})
	for kerneltest.Line(c.Published()) != "stdout begun\n" {
	}
	for _, q := range []struct {
		t     wire.Type
		reply wire.Type
	}{
		{wire.KernelInfoRequest, wire.KernelInfoReply}, {wire.CompleteRequest, wire.CompleteReply},
		{wire.InspectRequest, wire.InspectReply}, {wire.IsCompleteRequest, wire.IsCompleteReply},
		{wire.HistoryRequest, wire.HistoryReply}, {wire.CommInfoRequest, wire.CommInfoReply},
	} {
		id := c.Ask(c.Shell, q.t, struct{}{})
		read[wire.Reply](t, c.Reply(c.Shell), q.reply)
		equal(t, c.Transcript(id), []string{"busy", "idle"})
		again := c.Published() // the cell is still busy, and the front end knows
		if kerneltest.Line(again) != "busy" || kerneltest.Parent(again) != cell {
			t.Errorf("after %s: %s of %s", q.t, kerneltest.Line(again), again.Parent)
		}
	}
	c.Ask(c.Control, wire.KernelInfoRequest, struct{}{})
	read[wire.KernelInfo](t, c.Reply(c.Control), wire.KernelInfoReply)
	c.Ask(c.Control, wire.InterruptRequest, struct{}{})
	equal(t, read[wire.Reply](t, c.Reply(c.Shell), wire.ExecuteReply).Name, "interrupted")
}

func TestKernelInfo(t *testing.T) {
	c, _ := start(t)
	c.Ask(c.Shell, wire.KernelInfoRequest, struct{}{})
	m := c.Reply(c.Shell)
	var fields map[string]any
	if err := m.Read(&fields); err != nil {
		t.Fatal(err)
	}
	for field, want := range map[string]any{
		"status": "ok", "protocol_version": "5.5", "implementation": "evenbed", "implementation_version": "0.1",
		"supported_features": []any{},
	} {
		equal(t, fields[field], want)
	}
	links, _ := fields["help_links"].([]any)
	for _, l := range links {
		l, _ := l.(map[string]any)
		if text, _ := l["text"].(string); text == "" || !strings.HasPrefix(fmt.Sprint(l["url"]), "https://") || len(l) != 2 {
			t.Errorf("help link %v", l)
		}
	}
	if len(links) == 0 {
		t.Error("no help links")
	}
	language := fields["language_info"].(map[string]any)
	for field, want := range map[string]any{
		"name": "go", "mimetype": "text/x-go", "file_extension": ".go", "pygments_lexer": "go", "codemirror_mode": "go", "version": strings.TrimPrefix(version.Lang(runtime.Version()), "go"),
	} {
		equal(t, language[field], want)
	}
	if _, ok := m.Header.Time(); !ok || m.Header.Version != "5.5" || m.Header.Session == "" {
		t.Errorf("header %+v", m.Header)
	}
}

// The kernel describes itself before it has an engine, and a cell waits.
func TestKernelInfoBeforeTheEngine(t *testing.T) {
	o, _ := scripted()
	begin, release := o.Start, make(chan struct{})
	o.Start = func(ho host.Options) (kernel.Backend, error) {
		<-release
		return begin(ho)
	}
	c := kerneltest.Start(t, o)
	id := c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "value 2"})
	c.Ask(c.Shell, wire.KernelInfoRequest, struct{}{})
	read[wire.KernelInfo](t, c.Reply(c.Shell), wire.KernelInfoReply)
	c.Ask(c.Shell, wire.CompleteRequest, wire.Cursor{Code: "x"})
	equal(t, len(read[wire.Completion](t, c.Reply(c.Shell), wire.CompleteReply).Matches), 0)
	close(release)
	equal(t, read[wire.Reply](t, c.Reply(c.Shell), wire.ExecuteReply).Status, wire.OK)
	if got := c.Transcript(id); !slices.Contains(got, "result 2") {
		t.Errorf("%q", got)
	}
}

func TestAnEngineThatCannotStart(t *testing.T) {
	c := kerneltest.Start(t, broken())
	equal(t, c.Execute("value 2"), []string{"busy", "input 1", "error no engine", "idle"})
}

func TestComplete(t *testing.T) {
	c, _ := start(t)
	at := func(n int) *int { return &n }
	for _, tc := range []struct {
		c          wire.Cursor
		match      string
		start, end int
	}{
		{wire.Cursor{Code: "µx", Pos: at(1)}, "µ!", 0, 1}, // code points, not bytes
		{wire.Cursor{Code: "µx", Pos: at(2)}, "x!", 1, 2},
		{wire.Cursor{Code: "µx"}, "x!", 1, 2},
		{wire.Cursor{Code: "µx", Pos: at(99)}, "x!", 1, 2},
		{wire.Cursor{Code: "µx", Pos: at(0)}, "", 0, 0},
	} {
		c.Ask(c.Shell, wire.CompleteRequest, tc.c)
		r := read[wire.Completion](t, c.Reply(c.Shell), wire.CompleteReply)
		if r.Start != tc.start || r.End != tc.end || strings.Join(r.Matches, ",") != tc.match {
			t.Errorf("%+v: %+v", tc.c, r)
		}
		if tc.match != "" {
			equal(t, r.Metadata.Types, []wire.TypedMatch{{Text: tc.match, Type: "function", Start: tc.start, End: tc.end}})
		}
	}
}

func TestInspect(t *testing.T) {
	c, _ := start(t)
	c.Ask(c.Shell, wire.InspectRequest, wire.Cursor{Code: "fmt", Detail: 1})
	r := read[wire.Inspection](t, c.Reply(c.Shell), wire.InspectReply)
	if !r.Found || string(r.Data["text/plain"]) != `"fmt at 3, detail 1"` {
		t.Errorf("%+v", r)
	}
	c.Ask(c.Shell, wire.InspectRequest, wire.Cursor{})
	if m := c.Reply(c.Shell); string(m.Content) != `{"status":"ok","found":false,"data":{},"metadata":{}}` {
		t.Errorf("%s", m.Content)
	}
}

func TestIsComplete(t *testing.T) {
	c, _ := start(t)
	for code, want := range map[string]wire.Completeness{
		"if x {": {Status: "incomplete", Indent: "\t"}, "x": {Status: "complete"},
	} {
		c.Ask(c.Shell, wire.IsCompleteRequest, wire.Code{Code: code})
		equal(t, read[wire.Completeness](t, c.Reply(c.Shell), wire.IsCompleteReply), want)
	}
}

func TestHistory(t *testing.T) {
	c, _ := start(t)
	no := false
	for _, x := range []wire.Execute{
		{Code: "value one"}, {Code: "print\n2"}, {Code: "never", Silent: true}, {Code: "nor", StoreHistory: &no},
		{Code: "fail three"}, {Code: "value one"},
	} {
		c.Ask(c.Shell, wire.ExecuteRequest, x)
		c.Reply(c.Shell)
	}
	for _, tc := range []struct {
		q    wire.History
		want string
	}{
		{wire.History{Access: "tail", N: 2}, `[[1,3,"fail three"],[1,4,"value one"]]`},
		{wire.History{Access: "tail", N: 99, Output: true}, `[[1,1,["value one","one"]],[1,2,["print\n2",null]],[1,3,["fail three",null]],[1,4,["value one","one"]]]`},
		{wire.History{Access: "range", Start: 2, Stop: 4}, `[[1,2,"print\n2"],[1,3,"fail three"]]`},
		{wire.History{Access: "range", Session: 7}, `[]`},
		{wire.History{Access: "search", Pattern: "*one"}, `[[1,1,"value one"],[1,4,"value one"]]`},
		{wire.History{Access: "search", Pattern: "?alue*", Unique: true}, `[[1,4,"value one"]]`},
		{wire.History{Access: "search", Pattern: "p*2"}, `[[1,2,"print\n2"]]`},
		{wire.History{Access: "search", Pattern: "(*"}, `[]`},
		{wire.History{Access: "who knows"}, `[]`},
	} {
		c.Ask(c.Shell, wire.HistoryRequest, tc.q)
		r := read[struct{ History json.RawMessage }](t, c.Reply(c.Shell), wire.HistoryReply)
		if string(r.History) != tc.want {
			t.Errorf("%+v: %s, want %s", tc.q, r.History, tc.want)
		}
	}
}

func TestComms(t *testing.T) {
	c, _ := start(t)
	c.Ask(c.Shell, wire.CommInfoRequest, struct{}{})
	if m := c.Reply(c.Shell); string(m.Content) != `{"status":"ok","comms":{}}` {
		t.Errorf("%s", m.Content)
	}
	c.Drain()
	id := c.Ask(c.Shell, wire.CommOpen, wire.Target{ID: "c1", Name: "nobody"})
	equal(t, c.Transcript(id), []string{"busy", "comm_close", "idle"})
	equal(t, c.Transcript(c.Ask(c.Shell, wire.CommMsg, wire.Target{ID: "c1"})), []string{"busy", "idle"})
	equal(t, c.Transcript(c.Ask(c.Shell, wire.CommClose, wire.Target{ID: "c1"})), []string{"busy", "idle"})
	// Buffers behind the message are signed by nobody and change nothing.
	id = c.AskWith(c.Shell, wire.CommOpen, wire.Target{ID: "c2", Name: "nobody"}, []byte{0, 0xff, 1}, nil, []byte(wire.Delimiter))
	equal(t, c.Transcript(id), []string{"busy", "comm_close", "idle"})
	c.Ask(c.Shell, wire.CommInfoRequest, map[string]string{"target_name": "nobody"})
	if m := c.Reply(c.Shell); string(m.Content) != `{"status":"ok","comms":{}}` {
		t.Errorf("%s", m.Content)
	}
}

func TestConnect(t *testing.T) {
	c, _ := start(t)
	c.Ask(c.Shell, wire.ConnectRequest, struct{}{})
	if p := read[wire.Ports](t, c.Reply(c.Shell), wire.ConnectReply); p.Shell == 0 || p.Heartbeat == 0 || p.Shell == p.Control {
		t.Errorf("%+v", p)
	}
}

func TestHeartbeat(t *testing.T) {
	c, _ := start(t)
	if err := c.Heartbeat.Send(zmq4.NewMsgString("ping")); err != nil {
		t.Fatal(err)
	}
	if m, err := c.Heartbeat.Recv(); err != nil || string(m.Bytes()) != "ping" {
		t.Error(m, err)
	}
}

// A request whose content makes no sense still gets its busy, reply and idle.
func TestMalformedContent(t *testing.T) {
	c, _ := start(t)
	for request, reply := range map[wire.Type]wire.Type{
		wire.ExecuteRequest: wire.ExecuteReply, wire.CompleteRequest: wire.CompleteReply, wire.InspectRequest: wire.InspectReply,
		wire.IsCompleteRequest: wire.IsCompleteReply, wire.HistoryRequest: wire.HistoryReply, wire.ShutdownRequest: wire.ShutdownReply,
	} {
		id := c.Ask(c.Shell, request, []int{1})
		if r := read[wire.Reply](t, c.Reply(c.Shell), reply); r.Status != wire.Failed || r.Traceback == nil {
			t.Errorf("%s: %+v", request, r)
		}
		equal(t, c.Transcript(id), []string{"busy", "idle"})
	}
	for _, odd := range []wire.Type{wire.CommOpen, "from_the_future"} {
		equal(t, c.Transcript(c.Ask(c.Shell, odd, []int{1})), []string{"busy", "idle"})
	}
	equal(t, c.Execute("value 2"), []string{"busy", "input 1", "result 2", "idle"})
}

func TestShutdown(t *testing.T) {
	for _, restart := range []bool{false, true} {
		for _, running := range []bool{false, true} {
			o, s := scripted()
			k, err := kernel.Listen(kerneltest.Local, o)
			if err != nil {
				t.Fatal(err)
			}
			ended := make(chan struct{})
			go func() {
				k.Serve(context.Background())
				close(ended)
			}()
			c := kerneltest.Dial(t, k.Connection())
			if running {
				c.Ask(c.Shell, wire.ExecuteRequest, wire.Execute{Code: "later x"})
			}
			id := c.Ask(c.Control, wire.ShutdownRequest, wire.Shutdown{Restart: restart})
			if r := read[wire.ShutdownResponse](t, c.Reply(c.Control), wire.ShutdownReply); r.Status != wire.OK || r.Restart != restart {
				t.Errorf("%+v", r)
			}
			equal(t, c.Transcript(id), []string{"busy", "shutdown_reply", "idle"}) // the last one arrives
			select {
			case <-ended:
			case <-time.After(2 * time.Second):
				t.Fatal("the kernel goes on")
			}
			if !s.closed.Load() {
				t.Error("the engine goes on")
			}
		}
	}
}

func TestOverIPC(t *testing.T) {
	at := kernel.Connection{Transport: "ipc", IP: filepath.Join(t.TempDir(), "k"), Key: "k", Shell: 1, IOPub: 2, Stdin: 3, Control: 4, Heartbeat: 5}
	o, _ := scripted()
	k, err := kernel.Listen(at, o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() { k.Serve(ctx); close(ended) }()
	c := kerneltest.Dial(t, k.Connection())
	equal(t, c.Execute("value 2"), []string{"busy", "input 1", "result 2", "idle"})
	cancel()
	<-ended
	if left, _ := filepath.Glob(at.IP + "*"); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// 10,000 damaged messages, through a socket and as bare bytes, and the kernel
// still answers.
func TestDamagedMessages(t *testing.T) {
	var log bytes.Buffer
	o, _ := scripted()
	o.Log = &log
	k, err := kernel.Listen(kerneltest.Local, o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() { k.Serve(ctx); close(ended) }()
	c := kerneltest.Dial(t, k.Connection())
	rng := rand.New(rand.NewPCG(5, 6))

	whole := func(key string) [][]byte {
		types := []wire.Type{wire.ExecuteRequest, wire.KernelInfoRequest, wire.CompleteRequest, wire.HistoryRequest, wire.CommOpen, "x"}
		h := wire.Header{ID: "i", Session: "s", Type: types[rng.IntN(len(types))], Date: wire.Date(time.Now())}
		frames, err := wire.Encode([]byte(key), h, nil, nil, wire.Execute{Code: "value 1"})
		if err != nil {
			t.Fatal(err)
		}
		return frames
	}
	for i := range 9000 {
		key := "another key"
		if i%10 == 0 {
			key = kerneltest.Key // the signature is right and the rest is damaged
		}
		frames := whole(key)
		switch i % 5 {
		case 0: // frames missing
			frames = frames[:rng.IntN(len(frames))]
		case 1: // a frame cut
			j := rng.IntN(len(frames))
			frames[j] = frames[j][:rng.IntN(len(frames[j])+1)]
		case 2: // bytes changed
			j := rng.IntN(len(frames))
			frames[j] = bytes.Clone(frames[j])
			for range 4 {
				if n := len(frames[j]); n > 0 {
					frames[j][rng.IntN(n)] = byte(rng.Uint32())
				}
			}
		case 3: // frames in another order
			rng.Shuffle(len(frames), func(a, b int) { frames[a], frames[b] = frames[b], frames[a] })
		case 4: // noise
			for j := range frames {
				frames[j] = make([]byte, rng.IntN(50))
				for n := range frames[j] {
					frames[j][n] = byte(rng.Uint32())
				}
			}
		}
		if len(frames) == 0 {
			frames = [][]byte{{}}
		}
		s := c.Shell
		if i%2 == 1 {
			s = c.Control
		}
		if err := s.SendMulti(zmq4.NewMsgFrom(frames...)); err != nil {
			t.Fatal(err)
		}
	}
	at := k.Connection()
	ports := []int{at.Shell, at.Control, at.Stdin, at.IOPub, at.Heartbeat}
	var all sync.WaitGroup
	for i := range 1000 {
		b := []byte("\xff\x00\x00\x00\x00\x00\x00\x00\x01\x7f\x03\x00NULL")
		b = append(b, make([]byte, 64-len(b))...)
		b = append(b, "\x04\x1c\x05READY\x0bSocket-Type\x00\x00\x00\x06DEALER"...)
		b = append(b, "\x01\x09<IDS|MSG>\x01\x00\x01\x02{}\x01\x02{}\x01\x02{}\x00\x02{}"...)
		if i%2 == 0 {
			b = b[:rng.IntN(len(b))]
		}
		for range rng.IntN(6) {
			if len(b) > 0 {
				b[rng.IntN(len(b))] = byte(rng.Uint32())
			}
		}
		all.Go(func() { shout(t, ports[i%len(ports)], b) })
		if i%50 == 49 {
			all.Wait()
		}
	}
	all.Wait()

	fresh := kerneltest.Dial(t, at)
	fresh.Ask(fresh.Shell, wire.KernelInfoRequest, struct{}{})
	read[wire.KernelInfo](t, fresh.Reply(fresh.Shell), wire.KernelInfoReply)
	fresh.Ask(fresh.Control, wire.KernelInfoRequest, struct{}{})
	read[wire.KernelInfo](t, fresh.Reply(fresh.Control), wire.KernelInfoReply)
	if got := fresh.Execute("value 2"); !slices.Contains(got, "result 2") {
		t.Errorf("%q", got)
	}
	cancel()
	<-ended
	lines := strings.Count(log.String(), "\n")
	if lines == 0 || lines > 25 {
		t.Errorf("the log has %d lines; some were expected, and few:\n%s", lines, log.String())
	}
}

// shout sends bytes to a port and waits until the kernel has hung up.
func shout(t *testing.T, port int, b []byte) {
	c, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", port))
	if err != nil {
		t.Error(err)
		return
	}
	defer c.Close()
	_, _ = c.Write(b) // it may have hung up already
	_ = c.(*net.TCPConn).CloseWrite()
	_ = c.SetReadDeadline(time.Now().Add(10 * time.Second))
	if _, err := io.Copy(io.Discard, c); err != nil && strings.Contains(err.Error(), "timeout") {
		t.Errorf("the kernel keeps a connection that said %q", b)
	}
}

func TestReadConnection(t *testing.T) {
	const good = `{"transport":"tcp","ip":"127.0.0.1","shell_port":1,"iopub_port":2,"stdin_port":3,"control_port":4,"hb_port":5,
		"signature_scheme":"hmac-sha256","key":"k","kernel_name":"x","unknown":[1]}`
	for _, tc := range []struct{ name, from, to, want string }{
		{"good", "", "", ""},
		{"no key", `"key":"k"`, `"key":""`, ""},
		{"not JSON", "{", "", "invalid"},
		{"port missing", `"hb_port":5`, `"x":5`, "hb_port is 0"},
		{"port too large", `"shell_port":1`, `"shell_port":70000`, "70000"},
		{"other scheme", "hmac-sha256", "hmac-md5", "hmac-md5"},
		{"other transport", `"tcp"`, `"udp"`, "udp"},
		{"no ip", "127.0.0.1", "", "ip"},
		{"encryption", `"unknown"`, `"curve_secretkey":"s","unknown"`, "CURVE"},
	} {
		file := filepath.Join(t.TempDir(), "connection.json")
		if err := os.WriteFile(file, []byte(strings.Replace(good, tc.from, tc.to, 1)), 0o600); err != nil {
			t.Fatal(err)
		}
		c, err := kernel.ReadConnection(file)
		switch {
		case tc.want == "" && (err != nil || c.Heartbeat != 5):
			t.Errorf("%s: %+v, %v", tc.name, c, err)
		case tc.want != "" && (err == nil || !strings.Contains(err.Error(), tc.want) || !strings.Contains(err.Error(), file)):
			t.Errorf("%s: error %v, want %q and the file's name in it", tc.name, err, tc.want)
		}
	}
	if _, err := kernel.ReadConnection("no such file"); err == nil {
		t.Error("read a file that is not there")
	}
}

func TestAPortInUse(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	at := kerneltest.Local
	at.Control = l.Addr().(*net.TCPAddr).Port
	if _, err := kernel.Listen(at, broken()); err == nil || !strings.Contains(err.Error(), "control: ") || !strings.Contains(err.Error(), "in use") {
		t.Error(err)
	}
}
