package record

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/trace"
)

// Cycles are the parts of one record from each event of a name to the next, the
// last one to the end of the record. Each begins at its event, and ends before the
// next. What came before the first event is in none of them.
type Cycles struct {
	// Signal is the whole record's.
	Signal trace.Trace
	// Starts are the events, in order of their positions.
	Starts []Event
	// Doubts tell what was left out, put in order or taken as one.
	Doubts []string

	record Record
}

var _ trace.Source = Cycles{}

// Cycles cuts a signal at each event whose text or name is the one asked for; if
// there is none, at each whose text or name begins with it, upper and lower case
// alike. One call evaluates all of them:
//
//	cycles, err := export.Cycles("Inject", "UV")
//	tests, err := pulse.EvaluateFrom(cycles)
//
// Events must stand on the signal's axis, those on another are not looked at. Two at
// one position count once. A cycle without rows is no error here, but one of
// [Cycles.Open], and so a row with its reason in a series.
func (r Record) Cycles(event, signal string) (Cycles, error) {
	s, err := r.Signal(signal)
	if err != nil {
		return Cycles{}, err
	}
	if _, err := r.Event(event); err != nil {
		return Cycles{}, err
	}
	c := Cycles{Signal: s, record: r}
	doubt := func(format string, a ...any) { c.Doubts = append(c.Doubts, fmt.Sprintf(format, a...)) }
	unplaced, elsewhere := 0, 0
	for _, e := range r.eventsOf(event) {
		switch {
		case e.Axis != s.Axis():
			elsewhere++
		case math.IsNaN(e.At) || math.IsInf(e.At, 0):
			unplaced++
		default:
			c.Starts = append(c.Starts, e)
		}
	}
	if len(c.Starts) == 0 {
		if elsewhere > 0 {
			return Cycles{}, Error{File: r.File, Problem: fmt.Sprintf("signal %q runs against %s, but no event %q stands there", s.Name, s.Axis(), event),
				Remedy: "bring the record to the axis of its events first: ByVolume or ByTime"}
		}
		return Cycles{}, Error{File: r.File, Problem: fmt.Sprintf("no event %q has a position", event), Remedy: "cut with Within, or name another event"}
	}
	if unplaced > 0 {
		doubt("%s without a position left out.", plural(unplaced, "event"))
	}
	order := func(a, b Event) int { return cmp.Compare(a.At, b.At) }
	if !slices.IsSortedFunc(c.Starts, order) {
		doubt("The events do not stand in order in the file: put in order of their positions.")
		slices.SortStableFunc(c.Starts, order)
	}
	all := len(c.Starts)
	c.Starts = slices.CompactFunc(c.Starts, func(a, b Event) bool { return a.At == b.At })
	if twice := all - len(c.Starts); twice > 0 {
		doubt("%s at the position of another of the name: taken as one.", plural(twice, "event"))
	}
	texts := map[string]bool{}
	var names []string
	for _, e := range c.Starts {
		if name := e.label(event); !texts[strings.ToLower(name)] {
			texts[strings.ToLower(name)] = true
			names = append(names, name)
		}
	}
	if len(names) > 1 {
		doubt("%q fits events of different texts: %s.", event, quoted(names))
	}
	span := s.Span()
	if first := c.Starts[0]; first.At > span.From {
		doubt("Before the first event, from %s to %s, the record is in no cycle.", span.Axis.Show(span.From), span.Axis.Show(first.At))
	}
	return c, nil
}

// eventsOf returns all events that [Record.Event] could mean: those whose text or
// name is the one asked for, or else those that begin with it.
func (r Record) eventsOf(text string) []Event {
	var found []Event
	for _, fits := range []func(s, text string) bool{strings.EqualFold, hasPrefixFold} {
		for _, e := range r.Events {
			if fits(e.Text, text) || fits(e.Name, text) {
				found = append(found, e)
			}
		}
		if len(found) > 0 {
			break
		}
	}
	return found
}

// label returns of text and name the one that was asked for.
func (e Event) label(asked string) string {
	if hasPrefixFold(e.Text, asked) {
		return e.Text
	}
	return e.Name
}

// Len returns the number of cycles.
func (c Cycles) Len() int { return len(c.Starts) }

// Concurrent reports that cycles can be opened by several goroutines at once.
func (c Cycles) Concurrent() bool { return true }

// Name returns the file and the number of cycle i, which is counted from 0 here
// and from 1 in the name: "season.csv, cycle 1".
func (c Cycles) Name(i int) string { return fmt.Sprintf("%s, cycle %d", c.record.File, i+1) }

// Span returns where cycle i, from 0, lies in the record.
func (c Cycles) Span(i int) trace.Range {
	e := c.Starts[i]
	part := trace.Range{Axis: e.Axis, From: e.At, To: math.Max(e.At, c.Signal.Span().To)}
	if i+1 < len(c.Starts) {
		part.To = c.Starts[i+1].At
	}
	return part
}

// rows is Span without the position of the next event.
func (c Cycles) rows(i int) trace.Range {
	part := c.Span(i)
	if i+1 < len(c.Starts) {
		part.To = math.Nextafter(part.To, math.Inf(-1))
	}
	return part
}

// Open returns the signal in cycle i, from 0, with its zero at the event and with
// the events of that cycle. A cycle
// with fewer than two rows is an error that says so.
func (c Cycles) Open(i int) (trace.Trace, error) {
	rows := c.rows(i)
	t, err := c.Signal.Within(rows)
	if err != nil {
		return trace.Trace{}, c.empty(i, err)
	}
	t.Events = slices.DeleteFunc(slices.Clone(t.Events), func(e trace.Event) bool { return e.At < rows.From || e.At > rows.To })
	if c.Starts[i].Axis == trace.Volume {
		t, err = t.SinceVolume(c.Starts[i].Volume())
	} else {
		t, err = t.Since(c.Starts[i].Time())
	}
	t.From = c.Name(i)
	return t, err
}

// empty tells that there is nothing of cycle i.
func (c Cycles) empty(i int, cause error) error {
	return Error{File: c.Name(i), Problem: fmt.Sprintf("fewer than two rows of %q from %s", c.Signal.Name, c.Span(i)),
		Remedy: "look whether the event was noted twice, or the record ends there", Err: cause}
}

// Record returns all columns and events of cycle i, from 0. Positions stay as they
// are in the whole record. A cycle without rows is an error.
func (c Cycles) Record(i int) (Record, error) {
	rows := c.rows(i)
	if !(rows.From < rows.To) {
		return Record{}, c.empty(i, nil)
	}
	return c.record.Within(rows)
}

// Page lists the cycles.
func (c Cycles) Page() page.Page {
	var p page.Page
	if len(c.Starts) == 0 {
		p.NoResult(nil, "nothing has been cut; use Cycles of a record.")
		return p
	}
	p.Heading(fmt.Sprintf("%s of %s, signal %s", plural(c.Len(), "cycle"), c.record.File, c.Signal.Name))
	p.List("Doubts", c.Doubts)
	t := table.Table{Columns: []table.Column{{Name: "cycle", Right: true}, {Name: "from"}, {Name: "to"}, {Name: "rows", Right: true}}}
	x := c.Signal.Positions()
	for i := range c.Starts {
		within := c.rows(i)
		first, _ := slices.BinarySearch(x, within.From)
		last, _ := slices.BinarySearch(x, math.Nextafter(within.To, math.Inf(1)))
		part := c.Span(i)
		t.Add(fmt.Sprint(i+1), part.Axis.Show(part.From), part.Axis.Show(part.To), fmt.Sprint(last-first))
	}
	p.Table(t)
	return p
}

// String returns the page as text.
func (c Cycles) String() string { return c.Page().String() }
