package notebook

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/spec"
	"github.com/evenbed/evenbed/kernel/internal/wire"
)

type jsonText = json.RawMessage

// A Session executes cells one after the other.
type Session interface {
	// Execute runs a cell and returns when it has ended and all its outputs
	// have been handed on. Cancelling the context interrupts the cell.
	Execute(ctx context.Context, code string, number int) host.Reply
	Close() error
}

// A CellError tells which cell failed.
type CellError struct {
	File    string
	Cell    int // counted from 1 over all cells
	Count   int // the cell's execution count
	Name    string
	Message string
}

func (e *CellError) Error() string {
	s := fmt.Sprintf("%s: cell %d [%d]: %s", e.File, e.Cell, e.Count, e.Name)
	if e.Message != "" {
		s += ": " + e.Message
	}
	return s
}

// Execute runs all code cells in order in a new session, which start begins
// with the function that is to receive the outputs. The outputs of the notebook
// are replaced, also those of cells after a failing one, which are not run. A
// cell may fail without ending the run if it is tagged raises-exception, unless
// the engine itself ended; a cell tagged nbval-skip is not run.
//
// The error is a [*CellError] if a cell failed. When the context ends, the cell
// that runs is interrupted.
func (nb *Notebook) Execute(ctx context.Context, start func(output func(host.Output)) (Session, error)) error {
	return nb.execute(ctx, start, func() error { return nil })
}

// execute is Execute; it calls after behind each cell that ended well.
func (nb *Notebook) execute(ctx context.Context, start func(output func(host.Output)) (Session, error), after func() error) (err error) {
	nb.clear()
	c := collector{waiting: make(map[*shown]bool)}
	session, err := start(c.output)
	if err != nil {
		return err
	}
	defer func() {
		if closed := session.Close(); err == nil {
			err = closed
		}
		c.store()
	}()
	n := 0
	for i, cell := range nb.Cells {
		if cell.Kind != Code || strings.TrimSpace(cell.Source) == "" || slices.Contains(cell.Tags, tagSkip) {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		n++
		cell.setCount(n)
		c.begin(cell)
		reply := session.Execute(ctx, cell.Source, n)
		failure := reply.Failure
		if failure == nil {
			c.store()
			if err := after(); err != nil {
				return err
			}
			continue
		}
		c.ensure(*failure)
		if reply.Died || ctx.Err() != nil || !slices.Contains(cell.Tags, tagFails) {
			return &CellError{nb.Name, i + 1, n, failure.Name, failure.Message}
		}
	}
	return ctx.Err()
}

// clear removes all outputs and says which kernel the notebook now is of.
func (nb *Notebook) clear() {
	for _, cell := range nb.Cells {
		if cell.Kind == Code {
			cell.setCount(0)
			cell.setOutputs(nil)
		}
	}
	metadata := nb.tree.get("metadata")
	metadata.set("language_info", valueNode(wire.Go()))
	if name, _ := metadata.get("kernelspec").get("name").str(); name != spec.Name { // else with the user's own title
		metadata.set("kernelspec", valueNode(map[string]string{"display_name": spec.DisplayName, "language": spec.Language, "name": spec.Name}))
	}
}

func (c *Cell) setCount(n int) {
	c.Count = n
	count := nullNode()
	if n > 0 {
		count = numberNode(n)
	}
	c.tree.set("execution_count", count)
}

func (c *Cell) setOutputs(outputs []Output) {
	c.Outputs = outputs
	trees := listNode()
	for _, o := range outputs {
		trees.items = append(trees.items, o.tree(c.Count))
	}
	c.tree.set("outputs", trees)
}

// tree returns the output as the format has it.
func (o Output) tree(count int) *node {
	n := &node{kind: object}
	n.set("output_type", textNode(string(o.Kind)))
	switch o.Kind {
	case Stream:
		n.set("name", textNode(o.Name))
		n.set("text", linesNode(o.Text))
	case Failure:
		n.set("ename", textNode(o.Name))
		n.set("evalue", textNode(o.Text))
		traceback := listNode()
		for _, line := range o.Traceback {
			traceback.items = append(traceback.items, textNode(line))
		}
		n.set("traceback", traceback)
	case Result:
		n.set("execution_count", numberNode(count))
		fallthrough
	case Display:
		n.set("data", dataNode(o.Bundle))
		metadata := &node{kind: object}
		for name, value := range o.Bundle.Metadata {
			metadata.set(name, jsonNode(value))
		}
		n.set("metadata", metadata)
	}
	return n
}

// dataNode returns the data with text as lines, as Jupyter writes it.
func dataNode(b display.Bundle) *node {
	n := &node{kind: object}
	for mime, value := range b.JSON() {
		v := jsonNode(value)
		if s, ok := v.str(); ok && v.kind == textKind {
			v = dataText(mime, s)
		}
		n.set(mime, v)
	}
	return n
}

// dataText returns text of a MIME type, as lines where Jupyter writes lines.
func dataText(mime, text string) *node {
	if strings.HasPrefix(mime, "text/") || mime == display.MIMETypeSVG || mime == display.MIMETypeJavaScript {
		return linesNode(text)
	}
	return textNode(text)
}

// valueNode returns a value of ours as it is in JSON.
func valueNode(v any) *node {
	data, err := json.Marshal(v)
	if err != nil {
		panic("notebook: " + err.Error())
	}
	return jsonNode(data)
}

// jsonNode reads JSON that the engine sent. What is not JSON becomes a string.
func jsonNode(value jsonText) *node {
	n, err := parseTree(value)
	if err != nil {
		return textNode(string(value))
	}
	return n
}

// A collector gathers outputs under the cell that runs, or ran last.
type collector struct {
	mu      sync.Mutex
	cells   []*shown
	waiting map[*shown]bool // to be cleared once there is something new
}

// shown is what one cell has shown.
type shown struct {
	cell    *Cell
	outputs []Output
	ids     []string // display ID of each output
}

func (c *collector) begin(cell *Cell) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.cells = append(c.cells, &shown{cell: cell})
}

// output takes one output. It may come from another goroutine than begin.
func (c *collector) output(o host.Output) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.cells) == 0 {
		return // before the first cell there is no place to show it
	}
	last := c.cells[len(c.cells)-1]
	switch o := o.(type) {
	case host.Stream:
		c.add(last, Output{Kind: Stream, Name: o.Name, Text: o.Text}, "")
	case host.Value:
		c.add(last, Output{Kind: Result, Bundle: o.Bundle}, "")
	case host.Failure:
		c.add(last, failureOutput(o), "")
	case host.Clear:
		if c.waiting[last] = o.Wait; !o.Wait {
			last.outputs, last.ids = nil, nil
		}
	case host.Display:
		if o.Update {
			c.update(o)
			return
		}
		c.add(last, Output{Kind: Display, Bundle: o.Bundle}, o.ID)
	}
}

func failureOutput(f host.Failure) Output {
	return Output{Kind: Failure, Name: f.Name, Text: f.Message, Traceback: f.Traceback}
}

func (c *collector) add(s *shown, o Output, id string) {
	if c.waiting[s] {
		delete(c.waiting, s)
		s.outputs, s.ids = nil, nil
	}
	if n := len(s.outputs); o.Kind == Stream && n > 0 {
		if last := &s.outputs[n-1]; last.Kind == Stream && last.Name == o.Name {
			last.Text += o.Text
			return
		}
	}
	s.outputs = append(s.outputs, o)
	s.ids = append(s.ids, id)
}

// update gives every display of the ID, in all cells, its new look. An unknown
// ID changes nothing, as in Jupyter.
func (c *collector) update(d host.Display) {
	for _, s := range c.cells {
		for i, id := range s.ids {
			if id == d.ID && id != "" {
				s.outputs[i].Bundle = d.Bundle
			}
		}
	}
}

// ensure adds the failure that ended a cell unless it has been shown.
func (c *collector) ensure(f host.Failure) {
	c.mu.Lock()
	defer c.mu.Unlock()
	last := c.cells[len(c.cells)-1]
	isFailure := func(o Output) bool { return o.Kind == Failure }
	if !slices.ContainsFunc(last.outputs, isFailure) {
		c.add(last, failureOutput(f), "")
	}
}

// store gives the cells what was gathered.
func (c *collector) store() {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, s := range c.cells {
		outputs := slices.Clone(s.outputs)
		for i := range outputs {
			outputs[i].Bundle.Data = maps.Clone(outputs[i].Bundle.Data)
		}
		s.cell.setOutputs(outputs)
	}
}
