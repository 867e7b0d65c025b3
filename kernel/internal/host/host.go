// Package host runs the engine, the process in which cells are executed, and
// hands on what a cell shows in the order in which it showed it.
//
// A [Session] outlives its engines: when one dies, the cell is told why and a
// new engine takes its place.
package host

import (
	"context"

	"github.com/evenbed/evenbed/kernel/display"
)

// An Output is something a cell shows: [Stream], [Display], [Value],
// [Progress], [Failure] or [Clear].
type Output interface{ output() }

// A Stream is text written to standard output or standard error.
type Stream struct {
	Name string // "stdout" or "stderr"
	Text string
}

// A Display is a value shown while the cell runs. With Update it takes the
// place of the earlier display of the same ID.
type Display struct {
	display.Bundle
	ID     string
	Update bool
}

// Progress is a display of how far long work is: the first one when it has
// lasted for a while, then updates, the last one when it ends.
type Progress struct {
	Display
	Ended bool
}

// A Value is the value of a cell's last expression.
type Value struct{ display.Bundle }

// A Failure is what ended a cell early.
type Failure struct {
	Name      string   // kind of failure, such as "compile error"
	Message   string   // one line
	Traceback []string // lines to show, with ANSI colours
}

// A Clear removes what the cell has shown; with Wait only once there is
// something new to show.
type Clear struct{ Wait bool }

func (Stream) output()  {}
func (Display) output() {}
func (Value) output()   {}
func (Failure) output() {}
func (Clear) output()   {}

// Options of a session. The zero value runs this program's own engine.
type Options struct {
	// Command is the engine's program and arguments. If empty, this
	// program is started again with the argument "engine".
	Command []string
	Env     []string // the engine's environment; nil means this process's
	Dir     string   // the engine's working directory; "" means the current one

	// Output receives all outputs in order, one at a time, also those of
	// goroutines that outlive their cell. It must not call the session.
	Output func(Output)

	// Input asks the user for a line of text, without the line's end. Its
	// context ends with the cell, or when the cell is interrupted. It must not
	// call the session. Nil means that nobody can be asked.
	Input func(ctx context.Context, prompt string, password bool) (string, error)

	// KeepText keeps the text of cells beyond what is shown, up to 100 MiB, in
	// files that are removed when the session is closed.
	KeepText bool

	overflow *overflow
}

// A Reply says how a cell ended. Its outputs have all been handed on by then.
type Reply struct {
	Failure *Failure // nil if the cell ended well
	Died    bool     // the engine ended with this cell, or there was none
	Rerun   []int    // after a death: numbers of the cells whose state is gone, in the order they ran
}

// A Completion proposes texts for code[Start:End], counted in Unicode code points.
type Completion struct {
	Start, End int
	Matches    []Match
}

// A Match is one proposal.
type Match struct {
	Text string
	Kind string // "function", "variable", "type", "constant", "package", "field", "keyword"
}
