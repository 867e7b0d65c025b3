package engine

import (
	"sync"
	"time"

	"github.com/cosmos72/gomacro/base"
	"github.com/cosmos72/gomacro/fast"
)

// A lane is a goroutine in which cells run, with what the interpreter keeps
// for it. A cell that does not end when it is interrupted, because it waits
// for a channel or for a compiled function, is left behind in its lane and
// the next cell gets a new one.
//
// The interpreter keeps the place in a program in the environment of the
// program's variables, so lanes must not share one: each has an environment
// of its own, whose variables are the same.
type lane struct {
	work chan func()
	run  *fast.Run
	env  *fast.Env
}

// A target is a goroutine that runs interpreted code and can be stopped.
type target struct {
	mu   sync.Mutex
	run  *fast.Run // nil until the goroutine runs
	over bool
	done chan struct{}
}

func newTarget(run *fast.Run) *target { return &target{run: run, done: make(chan struct{})} }

// start says that the goroutine runs now.
func (t *target) start(run *fast.Run) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.run = run
}

// finish says that the goroutine has ended; it will not be touched any more.
func (t *target) finish() {
	t.mu.Lock()
	defer t.mu.Unlock()
	if !t.over {
		t.over = true
		close(t.done)
	}
}

// stop asks the goroutine to end, again and again until it does: the
// interpreter forgets a signal that comes at certain moments, and deferred
// functions of a cell may swallow one.
func (t *target) stop() {
	for wait := 2 * time.Millisecond; ; wait = min(2*wait, 100*time.Millisecond) {
		t.mu.Lock()
		if !t.over && t.run != nil {
			t.run.Signals.Async = base.SigInterrupt
		}
		t.mu.Unlock()
		select {
		case <-t.done:
			return
		case <-time.After(wait):
		}
	}
}

// reset forgets what a panic or a signal has left in a run.
func reset(run *fast.Run) {
	run.Signals = base.Signals{}
	run.ExecFlags = 0
	run.Interrupt = nil
	run.CurrEnv = nil
	run.InstallDefer = nil
	run.DeferOfFun = nil
	run.PanicFun = nil
	run.Panic = nil
}

// giveUp leaves a lane behind. If its goroutine wakes some day, the code that
// it then goes on with panics at once.
func (l *lane) giveUp() {
	poison := func(*fast.Env) (fast.Stmt, *fast.Env) { panic(base.SigInterrupt) }
	var spoil func(env *fast.Env)
	spoil = func(env *fast.Env) {
		for ; env != nil; env = env.Outer {
			if env.Run == l.run && len(env.Code) > 0 {
				code := make([]fast.Stmt, cap(env.Code))
				for i := range code {
					code[i] = poison
				}
				env.Code = code[:len(env.Code)]
			}
			if env.Caller != nil {
				spoil(env.Caller)
				return
			}
		}
	}
	spoil(l.run.CurrEnv)
	spoil(l.env)
	close(l.work)
}
