package efficiency

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// A Zero says from where a test counts. The zero Zero leaves that to the record: a
// pulse counts from the one event whose text says injection or sample, a load also
// from one that says load or feed. Events of valves, phases, resets and fractions
// are offered by name and never taken, since only the user knows what they mean.
// Without such an event the trace's own zero counts, and that it is the start of
// the sample stands under "not checked".
//
//	efficiency.Zero{Event: "Inlet valve to tracer"}  from an event, by its text or name
//	efficiency.Zero{Volume: 3.2 * Litre}             by hand, on the axis of the trace
//	efficiency.Zero{TraceZero: true}                 from the trace's own zero
type Zero struct {
	Event  string
	Time   units.Time
	Volume units.Volume
	// TraceZero takes the zero of the axis, whatever events there are.
	TraceZero bool
	// Part is the part of the sample that stands there; zero: its start. The
	// others need SampleVolume. Counted from the middle a peak at 1 % of a column
	// volume of sample has 1.0 % fewer plates than counted from the start.
	Part SamplePart
	// EndEvent, EndTime or EndVolume is where the sample ended. The flow times
	// the distance from its start is then held against SampleVolume.
	EndEvent  string
	EndTime   units.Time
	EndVolume units.Volume
}

// A SamplePart is the part of the sample that a zero stands for.
type SamplePart int

// The parts.
const (
	SampleStart SamplePart = iota
	SampleMiddle
	SampleEnd
)

// String writes the part in words.
func (p SamplePart) String() string {
	switch p {
	case SampleStart:
		return "start of the sample"
	case SampleMiddle:
		return "middle of the sample"
	case SampleEnd:
		return "end of the sample"
	}
	return fmt.Sprintf("SamplePart(%d)", int(p))
}

// ahead returns how much of the sample went in before the zero.
func (p SamplePart) ahead() float64 { return float64(p) / 2 }

// A start is where a kind of test begins, and which words of an event say so.
type start struct {
	what  string                 // "sample"
	words string                 // "injection or sample"; empty if no event is taken by itself
	says  func(text string) bool // that an event is the one
}

var (
	sampleStart = start{"sample", "injection or sample", func(text string) bool { return says(text, false, "inject", "injection", "injected", "sample") }}
	loadStart   = start{"load", "load, feed, injection or sample", func(text string) bool {
		return says(text, false, "inject", "injection", "injected", "sample", "load", "loading", "feed")
	}}
	changeStart = start{what: "new liquid", says: func(string) bool { return false }}
)

// says reports whether a text has one of the words, and none that makes it
// something else; ending asks for the end of it.
func says(text string, ending bool, words ...string) bool {
	found, ends := false, false
	for _, w := range strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) }) {
		switch {
		case slices.Contains(words, w):
			found = true
		case slices.Contains(endings, w):
			ends = true
		case slices.Contains(otherThings, w):
			return false
		}
	}
	return found && ends == ending
}

var (
	endings = []string{"end", "ended", "ends", "stop", "stopped", "off", "finish", "finished", "done", "complete", "completed"}
	// otherThings are words beside which "sample" or "injection" is not the start
	// of one.
	otherThings = []string{"valve", "phase", "reset", "zero", "zeroed", "fraction", "fractions", "no", "not", "without", "before", "after",
		"wash", "waste", "rate", "taken", "take", "collect", "collected", "line", "loop", "pump", "tube", "ready", "prepare", "prepared", "port", "next"}
)

// ofOtherThings reports whether a column holds the states of something, as of a
// valve, which say what was switched and not when the sample began.
func ofOtherThings(column string) bool {
	for _, w := range strings.FieldsFunc(strings.ToLower(column), func(r rune) bool { return !unicode.IsLetter(r) }) {
		if slices.Contains(otherThings, w) || slices.Contains(otherColumns, w) {
			return true
		}
	}
	return false
}

var otherColumns = []string{"valves", "inlet", "outlet", "path", "position", "state", "status", "phases", "step", "steps", "block", "mode", "method"}

// An origin is the place on a trace's axis that a test counts from.
type origin struct {
	at, end   float64 // on the axis; end NaN if it was not given
	from      string  // "Injection at 3.2 L"
	event     bool    // it was taken from an event or by hand, so that what lies in front is no part of the test
	unchecked string  // what is not checked; empty if the zero was told
	what      string  // "sample"
}

// text returns what an event says: its text, or its name where the text is only a
// mark.
func text(e trace.Event) string {
	if strings.IndexFunc(e.Text, unicode.IsLetter) < 0 {
		return strings.TrimSpace(e.Name + " " + e.Text)
	}
	return e.Text
}

// placed returns the events of a trace with a place on its axis in front of its
// last point for which is holds; two at one place are one.
func placed(tr trace.Trace, is func(trace.Event) bool) (list []trace.Event, unplaced int) {
	for _, e := range tr.Events {
		switch {
		case !is(e):
		case math.IsNaN(e.At):
			unplaced++
		case e.At < tr.Span().To && !slices.ContainsFunc(list, func(f trace.Event) bool { return f.At == e.At }):
			list = append(list, e)
		}
	}
	return list, unplaced
}

// of finds where a test counts from. Moving the trace there is the caller's.
func (z Zero) of(tr trace.Trace, s start, flow units.VolumeFlow, sample units.Volume) (origin, error) {
	o := origin{end: math.NaN()}
	given := 0
	for _, is := range []bool{z.Event != "", z.Time != 0, z.Volume != 0, z.TraceZero} {
		if is {
			given++
		}
	}
	var err error
	switch {
	case given > 1:
		return o, &packing.InputError{What: "zero of the test", Problem: "several were given", Remedy: "give one of Event, Time, Volume and TraceZero"}
	case z.Part != SampleStart && s.what != "sample":
		return o, &packing.InputError{What: "zero of the test, " + z.Part.String(), Problem: "a " + s.what + " has only a start here", Remedy: "leave Part out"}
	case z.Part < SampleStart || z.Part > SampleEnd:
		return o, &packing.InputError{What: "zero of the test, " + z.Part.String(), Problem: "not a part of the sample", Remedy: "use efficiency.SampleStart, SampleMiddle or SampleEnd"}
	case z.Event != "":
		o.at, o.from, err = named(tr, z.Event, "Event")
		o.event = true
	case z.Time != 0 || z.Volume != 0:
		o.at, err = byHand(tr, z.Time, z.Volume)
		o.from, o.event = tr.Axis().Show(o.at)+", given by hand", true
	case z.TraceZero:
		o.from = "the trace's own zero, as given"
	case tr.Shift() != 0:
		o.from = "the zero that the trace was moved to, " + tr.Axis().Show(tr.Shift()) + " of the record"
		if e, _ := placed(tr, func(e trace.Event) bool { return math.Abs(e.At) < tr.Step()/2 && e.Text+e.Name != "" }); len(e) > 0 {
			o.from = text(e[0]) + ", " + o.from
		}
	default:
		o, err = z.fromRecord(tr, s)
	}
	if err != nil {
		return o, err
	}
	if err := z.findEnd(tr, s, &o); err != nil {
		return o, err
	}
	if z.Part != SampleStart {
		if !(sample > 0) {
			return o, &packing.InputError{What: "zero of the test, " + z.Part.String(), Problem: "its start lies earlier by a part of the sample, and SampleVolume was not given", Remedy: "give SampleVolume"}
		}
		o.at -= z.Part.ahead() * onAxis(tr.Axis(), sample, flow)
		o.from += ", the " + z.Part.String() + ", less " + map[SamplePart]string{SampleMiddle: "half of it", SampleEnd: "all of it"}[z.Part]
	}
	if o.at >= tr.Span().To {
		return o, fmt.Errorf("trace %q ends at %s, in front of the zero of the test, %s; give the zero on the trace's axis", tr.Name, tr.Axis().Show(tr.Span().To), o.from)
	}
	return o, nil
}

// onAxis returns a volume as a length of an axis.
func onAxis(axis trace.Axis, v units.Volume, flow units.VolumeFlow) float64 {
	if axis == trace.Time {
		return float64(v.PumpedAt(flow))
	}
	return float64(v)
}

// fromRecord looks for the one event that says where the test begins.
func (z Zero) fromRecord(tr trace.Trace, s start) (origin, error) {
	o := origin{end: math.NaN(), from: "the trace's own zero"}
	found, unplaced := placed(tr, func(e trace.Event) bool { return s.says(text(e)) && !ofOtherThings(e.Name) })
	// Those in front of a trace that was cut belong to what was cut off, if it has
	// one of its own.
	if within := slices.DeleteFunc(slices.Clone(found), func(e trace.Event) bool { return e.At < tr.Span().From }); len(within) > 0 {
		found = within
	}
	axis := tr.Axis()
	switch {
	case len(found) > 1:
		return o, fmt.Errorf("trace %q has %d events that say %s: %s; say which is the start of the %s, for example with Zero: %s, or cut the record at each with Cycles",
			tr.Name, len(found), s.words, eventList(axis, found), s.what, by(tr, found[0]))
	case len(found) == 1:
		e := found[0]
		if first := tr.Span().From; first < 0 && math.Abs(e.At) > 2*tr.Step() {
			return o, fmt.Errorf("trace %q begins at %s, so that its zero was set within the record, but the event %s is not there; say which is the start of the %s: Zero: %s, or Zero: efficiency.Zero{TraceZero: true}",
				tr.Name, axis.Show(first), eventList(axis, found), s.what, by(tr, e))
		}
		o.at, o.event, o.from = e.At, true, fmt.Sprintf("%s at %s", text(e), axis.Show(e.At))
		return o, nil
	case unplaced > 0:
		return o, fmt.Errorf("trace %q runs against %s, and its event that says %s has no place there; bring the record to the axis of its events with ByVolume or ByTime, or give the place by hand: Zero: efficiency.Zero{%s}",
			tr.Name, axis, s.words, literal(axis, 0.1*tr.Span().To))
	}
	o.what = s.what
	switch first := tr.Span().From; {
	case first < 0:
		o.unchecked = "that the zero of the axis, within the record, is the start of the "
	case first > 2*tr.Step():
		o.unchecked = "that the zero of the axis, in front of the record, is the start of the "
	default:
		o.unchecked = "that the record begins with the "
	}
	return o, nil
}

// notChecked writes what is not checked about the zero, with the events of the trace
// that may be the one; empty if the zero was told.
func (o origin) notChecked(tr trace.Trace) string {
	if o.unchecked == "" {
		return ""
	}
	others, _ := placed(tr, func(e trace.Event) bool { return e.Text+e.Name != "" })
	if len(others) == 0 {
		return o.unchecked + o.what + " (no event says so, and no Zero was given)"
	}
	first, more := others[0], ""
	if len(others) > mostOffered {
		others, more = others[:mostOffered], " and others"
	}
	return fmt.Sprintf("%s%s (its events: %s%s; to count from one: Zero: %s)", o.unchecked, o.what, eventList(tr.Axis(), others), more, by(tr, first))
}

// mostOffered is how many events a page offers by name.
const mostOffered = 5

// eventList writes events with their places.
func eventList(axis trace.Axis, events []trace.Event) string {
	parts := make([]string, len(events))
	for i, e := range events {
		parts[i] = fmt.Sprintf("%q at %s", text(e), axis.Show(e.At))
	}
	return strings.Join(parts, ", ")
}

// by writes the Zero that counts from an event: by its text if that is the only
// one, else by its place.
func by(tr trace.Trace, e trace.Event) string {
	if at, _, err := named(tr, e.Text, ""); err == nil && at == e.At {
		return fmt.Sprintf("efficiency.Zero{Event: %q}", e.Text)
	}
	return fmt.Sprintf("efficiency.Zero{%s}", literal(tr.Axis(), e.At))
}

// literal writes a place as a field of a Zero.
func literal(axis trace.Axis, at float64) string {
	field, unit, one := "Time", "Minute", float64(units.Minute)
	if axis == trace.Volume {
		field, unit, one = "Volume", "Litre", float64(units.Litre)
		if math.Abs(at) < 0.1*one {
			unit, one = "Millilitre", float64(units.Millilitre)
		}
	}
	return fmt.Sprintf("%s: %s * %s", field, strconv.FormatFloat(at/one, 'g', 6, 64), unit)
}

// named returns the place of the one event with a text or name, or that begins
// with it, and what to call it.
func named(tr trace.Trace, name, field string) (at float64, from string, err error) {
	if name == "" {
		return 0, "", fmt.Errorf("an event without a text")
	}
	for _, fits := range []func(s string) bool{
		func(s string) bool { return strings.EqualFold(s, name) },
		func(s string) bool { return len(s) > len(name) && strings.EqualFold(s[:len(name)], name) },
	} {
		found, unplaced := placed(tr, func(e trace.Event) bool { return fits(e.Text) || fits(e.Name) })
		switch {
		case len(found) == 1:
			return found[0].At, fmt.Sprintf("%s at %s", text(found[0]), tr.Axis().Show(found[0].At)), nil
		case len(found) > 1:
			return 0, "", fmt.Errorf("trace %q has %d events %q: %s; write more of the text, or the place: Zero: efficiency.Zero{%s}", tr.Name, len(found), name, eventList(tr.Axis(), found), literal(tr.Axis(), found[0].At))
		case unplaced > 0:
			return 0, "", fmt.Errorf("the event %q has no place on the axis of trace %q, which runs against %s; bring the record to the axis of its events with ByVolume or ByTime", name, tr.Name, tr.Axis())
		}
	}
	all, _ := placed(tr, func(trace.Event) bool { return true })
	if len(all) == 0 {
		return 0, "", fmt.Errorf("trace %q has no event %q within it: there are no events; give the place by hand: Zero: efficiency.Zero{%s}", tr.Name, name, literal(tr.Axis(), 0.1*tr.Span().To))
	}
	return 0, "", fmt.Errorf("trace %q has no event %q for %s of its zero; the events are %s", tr.Name, name, field, eventList(tr.Axis(), all[:min(len(all), 4*mostOffered)]))
}

// byHand returns a place that was given on the trace's axis.
func byHand(tr trace.Trace, t units.Time, v units.Volume) (float64, error) {
	if t != 0 && v != 0 || (t != 0) != (tr.Axis() == trace.Time) {
		return 0, fmt.Errorf("the zero of the test was given as %s, but trace %q runs against %s; give it there, or bring the record to the other axis first with ByVolume or ByTime",
			map[bool]string{true: "a time", false: "a volume"}[t != 0], tr.Name, tr.Axis())
	}
	at := float64(t) + float64(v)
	if math.IsNaN(at) || math.IsInf(at, 0) {
		return 0, fmt.Errorf("the zero of the test is %v; give a number on the axis of trace %q, %s", at, tr.Name, tr.Span())
	}
	return at, nil
}

// findEnd finds where the sample ended: as given, or at the one event behind the
// start that says so.
func (z Zero) findEnd(tr trace.Trace, s start, o *origin) error {
	var err error
	switch {
	case z.EndEvent != "" && (z.EndTime != 0 || z.EndVolume != 0):
		return &packing.InputError{What: "end of the sample", Problem: "several were given", Remedy: "give one of EndEvent, EndTime and EndVolume"}
	case z.EndEvent != "":
		o.end, _, err = named(tr, z.EndEvent, "EndEvent")
	case z.EndTime != 0 || z.EndVolume != 0:
		o.end, err = byHand(tr, z.EndTime, z.EndVolume)
	case s.what == "sample" && o.event && z.Part == SampleStart:
		ends, _ := placed(tr, func(e trace.Event) bool {
			return e.At > o.at && says(text(e), true, "inject", "injection", "injected", "sample") && !ofOtherThings(e.Name)
		})
		if len(ends) == 1 {
			o.end = ends[0].At
		}
		return nil
	default:
		return nil
	}
	if err == nil && z.Part != SampleStart {
		return &packing.InputError{What: "end of the sample", Problem: "it is held against the start, and the zero is the " + z.Part.String(), Remedy: "give the start as the zero"}
	}
	if err == nil && !(o.end > o.at) {
		return fmt.Errorf("the end of the sample, %s, is not behind its start, %s", tr.Axis().Show(o.end), o.from)
	}
	return err
}

// moved returns a trace with its zero at the origin, without what lies in front of
// it if keep does not need that.
func (o origin) moved(tr trace.Trace, keep bool) (trace.Trace, error) {
	span := tr.Span()
	if o.event && !keep && o.at > span.From {
		part, err := tr.Within(trace.Range{Axis: tr.Axis(), From: o.at, To: span.To})
		if err != nil {
			return trace.Trace{}, err
		}
		tr = part
	}
	if o.at == 0 {
		return tr, nil
	}
	if tr.Axis() == trace.Volume {
		return tr.SinceVolume(units.Volume(o.at))
	}
	return tr.Since(units.Time(o.at))
}

// own returns a range that was given on the trace's axis as one of the test's.
func (o origin) own(r trace.Range) trace.Range {
	if !r.IsZero() {
		r.From, r.To = r.From-o.at, r.To-o.at
	}
	return r
}

// mostFlowOff is how far a recorded flow may be from the typed one. Common
// practice, no source.
const mostFlowOff = 0.05

// A flowSeen is a flow of the record beside the typed one.
type flowSeen struct {
	passage trace.Passage
	off     float64 // of the typed flow
}

// flows holds the recorded flows and totalisers against the typed flow, from
// one place on the trace's axis to another.
func flows(tr trace.Trace, from, to float64, typed units.VolumeFlow) []flowSeen {
	if !(typed > 0) {
		return nil
	}
	span := tr.Span()
	var list []flowSeen
	for _, p := range tr.Passed(trace.Range{Axis: tr.Axis(), From: math.Max(from, span.From), To: math.Min(to, span.To)}) {
		list = append(list, flowSeen{p, float64(p.Flow()/typed) - 1})
	}
	return list
}

// wrong returns what to say of flows that contradict the typed one; empty if none
// does.
func wrongFlow(list []flowSeen, typed units.VolumeFlow) (what, do string) {
	var parts []string
	for _, f := range list {
		if !(math.Abs(f.off) <= mostFlowOff) {
			parts = append(parts, fmt.Sprintf("%s comes to %v of it from %s", f.passage.Meter, f.passage.Flow(), f.passage.Range))
		}
	}
	if len(parts) == 0 {
		return "", ""
	}
	return fmt.Sprintf("The flow was given as %v, but %s", typed, strings.Join(parts, " and ")),
		"Give the flow that ran, look for pauses of the pump, and evaluate against volume if the flow changed"
}

// toldFlows writes the recorded flows for the table of what was measured.
func toldFlows(list []flowSeen) string {
	parts := make([]string, len(list))
	for i, f := range list {
		parts[i] = fmt.Sprintf("%v by %s, %+.1f %%", f.passage.Flow(), f.passage.Meter, 100*f.off)
	}
	return strings.Join(parts, "; ")
}

// example returns a field of a Zero to write.
func example(axis trace.Axis) string {
	if axis == trace.Volume {
		return "Volume: 3.2 * Litre"
	}
	return "Time: 9 * Minute"
}
