package engine

import (
	"cmp"
	"errors"
	"fmt"
	"go/ast"
	"go/build"
	"go/token"
	"io"
	"maps"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/cosmos72/gomacro/ast2"
	"github.com/cosmos72/gomacro/base"
	"github.com/cosmos72/gomacro/fast"
	"github.com/cosmos72/gomacro/go/etoken"
	xr "github.com/cosmos72/gomacro/xreflect"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/cell"
	"github.com/evenbed/evenbed/kernel/internal/check"
	"github.com/evenbed/evenbed/kernel/internal/complete"
)

const displayPath = "github.com/evenbed/evenbed/kernel/display"

// interp is the interpreter with what it needs to serve a notebook.
type interp struct {
	e  *engine
	ir *fast.Interp

	// compMu is held while something is compiled. Cells run without it, so
	// that completion can look at their names meanwhile.
	compMu sync.Mutex

	lane  atomic.Pointer[lane]
	left  []*fast.Env   // environments of lanes left behind; closures still use them
	probe func()        // an interpreted function that sets found
	found *fast.Run     // the run of the goroutine that called probe
	shows []interfaceOf // the display interfaces, for interpreted types
	texts []xr.Type     // error and fmt.Stringer
	types typesOfCells
	known atomic.Pointer[knownTypes]

	checker  *check.Checker
	declared map[string]complete.Declaration // functions, methods and types of cells

	sources *sources
	parses  int // how often something was parsed

	goMu sync.Mutex
	gos  map[*target]*running // goroutines that cells have started
}

// newInterp starts an interpreter.
func newInterp(e *engine) (in *interp, err error) {
	in = &interp{e: e, declared: map[string]complete.Declaration{}, sources: newSources(), gos: map[*target]*running{}}
	in.known.Store(new(knownTypes))
	defer func() {
		if rec := recover(); rec != nil {
			err = fmt.Errorf("the interpreter does not start: %v", rec)
		}
	}()
	etoken.GENERICS = etoken.GENERICS_V2_CTI
	// The interpreter looks for a Go toolchain and breaks when it finds a
	// newer one than it knows. Without one it takes types from reflection.
	goroot := build.Default.GOROOT
	build.Default.GOROOT = "/nonexistent"
	in.ir = fast.New()
	in.ir.Comp.Universe.Importer = &xr.Importer{}
	build.Default.GOROOT = goroot

	c := in.ir.Comp
	c.Options &^= base.OptShowPrompt | base.OptTrapPanic
	c.Options |= base.OptDebugger               // functions know their variables' names, which messages of panics need
	c.Stdout, c.Stderr = io.Discard, io.Discard // the interpreter's own remarks; print and println go another way

	in.checker = check.New(in.sources.files)
	in.declareBuiltins()
	in.ir.DeclBuiltin("probe", fast.Builtin{Compile: in.compileProbe})
	in.ir.Eval("func probing() { probe() }")
	probe, ok := in.ir.ValueOf("probing").ReflectValue().Interface().(func())
	if !ok {
		return nil, errors.New("the interpreter does not start: its functions are no Go functions")
	}
	in.probe = probe
	delete(c.Binds, "probing")
	delete(c.Binds, "probe")
	e.takeInput()
	in.ir.ImportPackage("", displayPath)
	in.ir.ImportPackage("_", "fmt") // by no name, so that values with a String method can be shown
	in.shows = displayInterfaces(in.ir)
	in.texts = []xr.Type{c.TypeOfError(), c.TypeOf((*fmt.Stringer)(nil)).Elem()}
	// No code runs in the interpreter's own environment, but in the lanes',
	// and preparing it for new variables must not touch the run of a lane.
	own := in.ir.PrepareEnv()
	own.Run = &fast.Run{IrGlobals: own.Run.IrGlobals}
	in.lane.Store(in.newLane())
	return in, nil
}

// newLane makes a lane whose environment has the same variables as the
// interpreter's own.
func (in *interp) newLane() *lane {
	if old := in.lane.Load(); old != nil {
		in.left = append(in.left, old.env)
	}
	l := &lane{work: make(chan func())}
	ready := make(chan struct{})
	go func() {
		in.probe()
		l.run = in.found
		own := in.ir.PrepareEnv()
		l.env = &fast.Env{EnvBinds: own.EnvBinds, Outer: own.Outer, FileEnv: own, Run: l.run, UsedByClosure: true}
		close(ready)
		for f := range l.work {
			f()
		}
	}()
	<-ready
	return l
}

// prepare makes room for the variables that have been compiled and returns
// the environment in which the lane runs code.
func (in *interp) prepare(l *lane) *fast.Env {
	own := in.ir.PrepareEnv()
	for _, env := range in.left {
		env.EnvBinds = own.EnvBinds
	}
	l.env.EnvBinds = own.EnvBinds
	return l.env
}

// start starts a cell in the lane. It is called when no other cell runs.
func (in *interp) start(cell *running) {
	name := "cell"
	if n := cell.request.Number; n > 0 {
		name = fmt.Sprintf("cell %d", n)
	}
	in.sources.begin(name, cell.request.Code)

	l := in.lane.Load()
	a := &attempt{in: in, lane: l, target: newTarget(l.run), cell: cell, name: name}
	cell.attempt = a
	l.work <- a.goroutine
}

// stop interrupts a cell, and gives it up if that does not end it.
func (in *interp) stop(cell *running) {
	a := cell.attempt
	go a.target.stop()
	in.stopGoroutines(cell)
	go func() {
		for {
			time.Sleep(grace)
			if cell.claimed.Load() {
				return
			}
			if in.compMu.TryLock() { // a compilation ends by itself and cannot be left halfway
				break
			}
		}
		defer in.compMu.Unlock()
		if !cell.claimed.CompareAndSwap(false, true) {
			return
		}
		a.givenUp.Store(true)
		a.lane.giveUp()
		in.lane.Store(in.newLane())
		in.forgetUnset(a)
		in.e.ended(cell, interrupted(nil))
	}()
}

// settle waits a moment for the goroutines that the cell has started.
func (in *interp) settle(cell *running) {
	var deadline <-chan time.Time
	for {
		t := in.goroutineOf(cell)
		if t == nil {
			return
		}
		if deadline == nil {
			deadline = time.After(settle)
		}
		select {
		case <-t.done:
		case <-deadline:
			return
		}
	}
}

func (in *interp) goroutineOf(cell *running) *target {
	in.goMu.Lock()
	defer in.goMu.Unlock()
	for t, owner := range in.gos {
		if owner == cell {
			return t
		}
	}
	return nil
}

// stopGoroutines stops the goroutines that a cell has started, or those of
// all cells if cell is nil.
func (in *interp) stopGoroutines(cell *running) {
	in.goMu.Lock()
	defer in.goMu.Unlock()
	for t, owner := range in.gos {
		if cell == nil || owner == cell {
			go t.stop()
		}
	}
}

// An attempt is one run of one cell.
type attempt struct {
	in      *interp
	lane    *lane
	target  *target
	cell    *running
	name    string
	givenUp atomic.Bool

	before  fast.CompBinds // the names before the cell was compiled
	parsed  *cell.Cell
	checked *check.Cell
	code    []*fast.Expr // run one after the other; the last gives the value
}

// goroutine runs the cell in the lane's goroutine.
func (a *attempt) goroutine() {
	var f *failure
	returned := false
	defer func() {
		a.target.finish()
		if !a.cell.claimed.CompareAndSwap(false, true) {
			return // it was given up
		}
		if returned {
			reset(a.lane.run)
		} else { // by runtime.Goexit, and the lane's goroutine ends with it
			f = &failure{name: "exit", message: "runtime.Goexit ended the cell"}
			a.in.lane.Store(a.in.newLane())
		}
		if a.stopped() && (f != nil || a.cell.unanswered.Load()) { // whatever a call made of the interrupt
			a.cell.value, f = nil, interrupted(f.where())
		}
		a.in.settle(a.cell)
		a.in.e.ended(a.cell, f)
	}()
	f = a.all(a.cell.request.Code)
	returned = true
}

// all compiles and runs the cell and shows its value.
func (a *attempt) all(source string) *failure {
	if a.stopped() {
		return interrupted(nil)
	}
	if name, detail, ok := complete.Question(source); ok {
		return a.tell(name, detail)
	}
	if f := a.compile(source); f != nil {
		return f
	}
	if a.stopped() {
		a.in.compMu.Lock()
		defer a.in.compMu.Unlock()
		a.in.restore(a.before)
		return interrupted(nil)
	}
	f := a.body()
	if a.givenUp.Load() {
		return f
	}
	if f != nil {
		a.in.compMu.Lock()
		a.in.forgetUnset(a)
		a.in.compMu.Unlock()
	}
	return f
}

// tell shows what is known of a name, without running anything.
func (a *attempt) tell(name string, detail int) *failure {
	defer a.in.lockTypes(false)()
	if name == "" {
		b := a.in.variables()
		a.cell.value = &b
		return nil
	}
	scope := a.in.e.scope()
	b, found := complete.Explain(name, detail, scope)
	if !found {
		return &failure{name: "not found", message: complete.Unknown(name, scope)}
	}
	a.cell.value = &b
	return nil
}

// remember keeps the declarations of a cell. A type that is declared anew loses
// its methods.
func (in *interp) remember(declared map[string]complete.Declaration) {
	maps.DeleteFunc(in.declared, func(name string, _ complete.Declaration) bool {
		typ, _, method := strings.Cut(name, ".")
		_, anew := declared[typ]
		return method && anew
	})
	maps.Copy(in.declared, declared)
}

// variables lists the variables of the notebook.
func (in *interp) variables() display.Bundle {
	list := in.checker.Variables()
	if len(list) == 0 {
		return display.Text("there are no variables yet; x := 3 makes one")
	}
	text := strings.Join(list, "\n")
	b := display.Text(text)
	b.Data[display.MIMETypeMarkdown] = []byte("```go\n" + text + "\n```")
	return b
}

func (a *attempt) stopped() bool {
	select {
	case <-a.cell.stop:
		return true
	default:
		return false
	}
}

// body runs the compiled cell.
func (a *attempt) body() (f *failure) {
	if len(a.code) == 0 {
		return nil
	}
	in, env := a.in, a.in.prepare(a.lane)
	run := a.lane.run
	reset(run)
	run.CurrEnv = env
	defer func() {
		if rec := recover(); rec != nil {
			places := in.places(run.CurrEnv)
			if len(places) == 0 { // an expression by itself has no place
				places = []place{in.sources.place(a.parsed.Nodes[a.cell.step].Pos())}
			}
			f = in.panicked(rec, a.name, places)
			if f.name == "panic" && strings.Contains(f.message, "out of range") && !strings.Contains(f.message, "[") && run.CurrEnv != nil {
				f.message = cmp.Or(in.outOfRange(run.CurrEnv, places[0]), f.message)
			}
			if notes := a.cell.notes(); len(notes) > 0 && f.name == "panic" {
				f.message += "; before that, " + notes[0].failure().message
				f.places = append(f.places, notes[0].place)
			}
		}
	}()
	var vs []xr.Value
	for _, e := range a.code {
		env.IP, env.Code, env.DebugPos = 0, nil, nil // of what ran before
		var v xr.Value
		v, vs = e.AsXV(fast.COptKeepUntyped)(env)
		if vs == nil && e.NumOut() == 1 {
			vs = []xr.Value{v}
		}
	}
	if a.givenUp.Load() {
		return nil
	}
	f = a.showValue(vs)
	if notes := a.cell.notes(); f == nil && len(notes) > 0 {
		f = notes[0].failure()
	}
	return f
}

// showValue shows the value of the last expression. Of (T, error) it shows T,
// or returns the error.
func (a *attempt) showValue(vs []xr.Value) *failure {
	var types []xr.Type
	for i := range vs {
		types = append(types, a.code[len(a.code)-1].Out(i))
	}
	if len(vs) == 2 && hasOK(a.parsed) {
		vs, types = vs[:1], types[:1]
	}
	last := len(vs) - 1
	if last >= 1 && isError(types[last]) {
		if err := errorIn(vs[last]); err != nil {
			// A value that says itself why it is none, such as a refused
			// plan, is worth seeing beside its error.
			if b, ok := a.in.rich(vs[0], types[0]); ok && last == 1 && !vs[0].ReflectValue().IsZero() {
				a.cell.value = &b
			}
			return a.in.returned(err, a.name, a.parsed)
		}
		vs, types = vs[:last], types[:last]
	}
	if a.parsed.Silent || len(vs) == 0 || types[0] == nil {
		return nil
	}
	if last == 0 && isError(types[0]) {
		if err := errorIn(vs[0]); err != nil && isCall(a.parsed) {
			return a.in.returned(err, a.name, a.parsed)
		} else if err == nil && isCall(a.parsed) {
			return nil // a call that went well and says nothing else
		}
	}
	b := a.in.bundle(vs, types)
	a.cell.value = &b
	return nil
}

// isCall reports whether the cell ends with a function call.
func isCall(c *cell.Cell) bool {
	_, ok := c.Last().(*ast.CallExpr)
	return ok
}

// hasOK reports whether the cell ends with an expression that gives a second
// value to those who ask for it.
func hasOK(c *cell.Cell) bool {
	switch x := c.Last().(type) {
	case *ast.IndexExpr:
		return true
	case *ast.UnaryExpr:
		return x.Op == token.ARROW
	}
	return false
}

var errorType = reflect.TypeFor[error]()

func isError(t xr.Type) bool { return t != nil && t.ReflectType() == errorType }

func errorIn(v xr.Value) error {
	if !v.IsValid() {
		return nil
	}
	err, _ := v.ReflectValue().Interface().(error)
	return err
}

// compile checks and compiles a cell, and runs its imports. If it fails, no
// name of the cell is left behind.
func (a *attempt) compile(source string) *failure {
	in := a.in
	defer in.lockTypes(false)()
	a.before = snapshot(in.ir.Comp)
	inOrder := false
	f := a.compileOnce(source, inOrder, nil)
	if f != nil && a.parsed != nil && a.parsed.Functions() > 0 {
		// Perhaps functions call each other in a circle, or a method calls a
		// later one, which the interpreter cannot bring into an order.
		in.restore(a.before)
		if a.compileOnce(source, true, nil) == nil {
			f, inOrder = nil, true
		}
	}
	if f != nil {
		in.restore(a.before)
		if f.name == "compile error" {
			f = cmp.Or(a.wrong(), f)
			if a.checked != nil {
				in.inGo(f, a.checked.Errors)
				f.nameUnit(a.checked)
			}
		}
		in.advise(f)
		return f
	}
	// The interpreter keeps a variable that is declared anew with another
	// type in the place of the old one, where functions that use the old
	// one would read bits of the wrong type. Forget the old name first.
	if changed := a.changedType(); len(changed) > 0 {
		in.restore(a.before)
		if f := a.compileOnce(source, inOrder, changed); f != nil {
			in.restore(a.before)
			return f
		}
	}
	a.checked.Keep()
	if a.parsed.Lasts() {
		in.remember(complete.Declarations(source))
	}
	if a.parsed.Functions() > 0 {
		in.known.Store(new(knownTypes)) // types may have methods now
	}
	return nil
}

func (a *attempt) compileOnce(source string, inOrder bool, forget []string) (f *failure) {
	in, c := a.in, a.in.ir.Comp
	defer func() {
		if rec := recover(); rec != nil {
			f = in.notCompiled(rec, a.name, a.parsed)
		}
	}()
	for _, name := range forget {
		delete(c.Binds, name)
	}
	c.Line = 0
	c.Filepath = a.name
	text, err := cell.NewSource(source, in.isGeneric)
	in.sources.set(a.name, text)
	var wrong *cell.SourceError
	if errors.As(err, &wrong) {
		return &failure{name: "compile error", message: wrong.Message, places: []place{{a.name, wrong.Line, wrong.Column}}}
	}
	nodes := in.parse(a.name, text.Text)
	cell.Embed(nodes)
	a.checked = in.checker.Cell(nodes, text.Written)
	a.parsed = cell.New(source, nodes, a.checked)
	if a.parsed.Lasts() {
		in.sources.keep()
	}
	if f := in.checkImports(a.parsed); f != nil {
		return f
	}
	if f := in.checkHidden(a.parsed); f != nil {
		return f
	}
	for _, d := range a.parsed.Imports {
		if e := in.ir.CompileNode(d); e != nil {
			e.AsXV(fast.COptKeepUntyped)(in.prepare(a.lane))
		}
	}
	a.code = nil
	switch {
	case len(a.parsed.Body) == 0:
	case inOrder:
		a.code = in.compileInOrder(a.parsed.Body)
	default:
		if e := in.ir.CompileAst(ast2.AnyToAst(slices.Clone(a.parsed.Body), a.name)); e != nil {
			a.code = []*fast.Expr{e}
		}
	}
	return a.wrong()
}

// wrong is the failure of a cell that the interpreter would get wrong, or
// whose error it would not explain.
func (a *attempt) wrong() *failure {
	if a.checked == nil || len(a.checked.Problems) == 0 {
		return nil
	}
	p := a.checked.Problems[0]
	return &failure{name: "compile error", message: a.in.explain(p.Message), places: []place{a.in.sources.place(p.Pos)}}
}

// compileInOrder compiles nodes one by one. Of declarations it takes types and
// constants first, then makes the functions and methods known, and then
// compiles them and the variables.
func (in *interp) compileInOrder(nodes []ast.Node) []*fast.Expr {
	c := in.ir.Comp
	var code []*fast.Expr
	add := func(nodes ...ast.Node) {
		for _, n := range nodes {
			if e := in.ir.CompileNode(n); e != nil {
				code = append(code, e)
			}
		}
	}
	for len(nodes) > 0 {
		n := slices.IndexFunc(nodes, func(n ast.Node) bool { _, ok := n.(ast.Decl); return !ok })
		if n == 0 {
			add(nodes[0])
			nodes = nodes[1:]
			continue
		}
		if n < 0 {
			n = len(nodes)
		}
		order := cell.NewOrder(nodes[:n])
		add(order.Types...)
		for _, f := range order.Functions {
			if f.Recv == nil {
				t, _, _ := c.TypeFunction(f.Type)
				c.NewBind(f.Name.Name, fast.FuncBind, t)
			} else {
				t, _, _ := c.TypeFunctionOrMethod(f.Recv.List[0], f.Type)
				receiver := t.In(0)
				if receiver.Kind() == reflect.Pointer && !receiver.Named() {
					receiver = receiver.Elem()
				}
				receiver.AddMethod(f.Name.Name, t)
			}
		}
		add(order.Rest...)
		nodes = nodes[n:]
	}
	return code
}

// isGeneric reports whether a cell has declared a generic function or type.
func (in *interp) isGeneric(name string) bool {
	b := in.ir.Comp.Binds[name]
	return b != nil && (b.Desc.Class() == fast.GenericFuncBind || b.Desc.Class() == fast.GenericTypeBind)
}

// changedType returns the names that the cell declares anew in their old
// place with another type.
func (a *attempt) changedType() []string {
	var names []string
	for _, id := range a.parsed.Declared() {
		old, now := a.before.Binds[id.Name], a.in.ir.Comp.Binds[id.Name]
		if old == nil || now == nil || old == now || now.Desc.Index() == fast.NoIndex {
			continue
		}
		samePlace := old.Desc.Index() == now.Desc.Index() && (old.Desc.Class() == fast.IntBind) == (now.Desc.Class() == fast.IntBind)
		if samePlace && !old.Type.IdenticalTo(now.Type) {
			names = append(names, id.Name)
		}
	}
	return names
}

// snapshot copies the compiler's names.
func snapshot(c *fast.Comp) fast.CompBinds {
	s := c.CompBinds
	s.Binds = make(map[string]*fast.Bind, len(c.Binds))
	for name, b := range c.Binds {
		bind := *b
		s.Binds[name] = &bind
	}
	s.Types = make(map[string]xr.Type, len(c.Types))
	for name, t := range c.Types {
		s.Types[name] = t
	}
	return s
}

// restore gives the compiler its earlier names back.
func (in *interp) restore(s fast.CompBinds) {
	c := in.ir.Comp
	c.CompBinds = s
	c.CompBinds = snapshot(c) // so that s can serve again
	c.Code.Clear()
	c.Loop, c.Func, c.Labels = nil, nil, nil
}

// forgetUnset takes back the names of a cell that ended before it came to
// declare them. compMu is held.
func (in *interp) forgetUnset(a *attempt) {
	if a.parsed == nil {
		return
	}
	c, env := in.ir.Comp, a.lane.env
	at := token.Pos(1)
	if a.cell.step < len(a.parsed.Nodes) {
		at = a.parsed.Nodes[a.cell.step].Pos()
	}
	for _, id := range a.parsed.Declared() {
		bind := c.Binds[id.Name]
		if bind == nil {
			continue
		}
		unset := false
		switch bind.Desc.Class() {
		case fast.VarBind, fast.FuncBind:
			i := bind.Desc.Index()
			unset = i != fast.NoIndex && i < len(env.Vals) && !env.Vals[i].IsValid()
		case fast.IntBind:
			unset = id.Pos() >= at
		}
		if !unset {
			continue
		}
		if old := a.before.Binds[id.Name]; old != nil {
			c.Binds[id.Name] = old
		} else {
			delete(c.Binds, id.Name)
		}
	}
}

// compileDisplay compiles Display(x), which shows x as its static type says.
func (in *interp) compileDisplay(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	arg := c.Expr1(node.Args[0], nil)
	if arg.Untyped() {
		arg.ConstTo(arg.DefaultType())
	}
	t, get := arg.Type, arg.AsX1()
	return in.command(c, func(env *fast.Env) {
		v := get(env)
		id, update := displayID(v)
		in.e.show(in.bundle([]xr.Value{v}, []xr.Type{t}), id, update)
	})
}

// compileNote compiles Note(err), which remembers an error that the cell does
// not look at.
func (in *interp) compileNote(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	id := node.Args[0].(*ast.Ident)
	arg := c.Expr1(id, nil)
	if !isError(arg.Type) {
		return in.command(c, func(*fast.Env) {})
	}
	at, get := in.sources.place(id.Pos()), arg.AsX1()
	return in.command(c, func(env *fast.Env) {
		if err := errorIn(get(env)); err != nil {
			if cell := in.e.current(); cell != nil {
				cell.note(note{id.Name, err, at})
			}
		}
	})
}

// compileStep compiles Step(i), which tells how far the cell has come.
func (in *interp) compileStep(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	i, err := strconv.Atoi(node.Args[0].(*ast.BasicLit).Value)
	if err != nil {
		c.Errorf("step: %v", err)
	}
	return in.command(c, func(*fast.Env) {
		if cell := in.e.current(); cell != nil {
			cell.step = i
		}
	})
}

// compileProbe compiles a call that finds the run of its goroutine.
func (in *interp) compileProbe(c *fast.Comp, _ fast.Symbol, _ *ast.CallExpr) *fast.Call {
	return in.command(c, func(env *fast.Env) { in.found = env.Run })
}

// command compiles a call that returns nothing.
func (in *interp) command(c *fast.Comp, do func(*fast.Env)) *fast.Call {
	fun := new(fast.Expr)
	fun.Type = c.TypeOf(func() {})
	fun.Fun = func(env *fast.Env) xr.Value { return xr.ValueOf(func() { do(env) }) }
	return &fast.Call{Fun: fun}
}

// compileGuard compiles Guard(f), which is f, but registered while it runs
// and with its panics caught. The goroutine's run is known only once it runs.
func (in *interp) compileGuard(c *fast.Comp, _ fast.Symbol, node *ast.CallExpr) *fast.Call {
	arg := c.Expr1(node.Args[0], nil)
	t := arg.Type
	if t == nil || t.Kind() != reflect.Func {
		c.Errorf("expression in go must be a function call")
	}
	get, at := arg.AsX1(), in.sources.place(node.Pos())
	fun := new(fast.Expr)
	fun.Type = c.Universe.FuncOf(nil, []xr.Type{t}, false)
	fun.Fun = func(env *fast.Env) xr.Value {
		guarded := reflect.MakeFunc(fun.Type.ReflectType(), func([]reflect.Value) []reflect.Value {
			return []reflect.Value{in.guard(get(env).ReflectValue(), env, at)}
		})
		return xr.FromReflectValues([]reflect.Value{guarded})[0]
	}
	return &fast.Call{Fun: fun, OutTypes: []xr.Type{t}}
}

func (in *interp) guard(f reflect.Value, env *fast.Env, at place) reflect.Value {
	if f.IsNil() {
		panic("go of a nil function")
	}
	owner, t := in.e.current(), newTarget(nil)
	in.goMu.Lock()
	in.gos[t] = owner
	in.goMu.Unlock()
	return reflect.MakeFunc(f.Type(), func(args []reflect.Value) (outs []reflect.Value) {
		t.start(env.Run)
		defer func() {
			rec := recover()
			if rec != nil && rec != any(base.SigInterrupt) {
				places := in.places(env.Run.CurrEnv)
				if len(places) == 0 {
					places = []place{at}
				}
				fail := in.panicked(rec, "", places)
				fail.message += " (in a goroutine)"
				in.e.goroutineFailed(owner, fail)
			}
			t.finish()
			in.goMu.Lock()
			delete(in.gos, t)
			in.goMu.Unlock()
			if outs == nil { // what a goroutine returns is not looked at
				for i := range f.Type().NumOut() {
					outs = append(outs, reflect.Zero(f.Type().Out(i)))
				}
			}
		}()
		if f.Type().IsVariadic() {
			return f.CallSlice(args)
		}
		return f.Call(args)
	})
}
