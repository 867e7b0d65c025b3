package record

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// contextRows is a record against time: a row each 6 s, a flow of 30 mL/min that
// stops from 5 to 7 min, a totaliser in mL that is set back at 4 min, a note.
func contextRows() string {
	var b strings.Builder
	b.WriteString("Time (min),UV (mAU),Flow (mL/min),Total (mL),Note\n")
	total := 0.0
	for i := 0; i <= 100; i++ {
		flow, note := 30.0, ""
		if i >= 50 && i < 70 {
			flow = 0
		}
		if i == 40 {
			total = 0
		}
		if i == 32 {
			note = "Injection"
		}
		fmt.Fprintf(&b, "%.1f,%d,%g,%.6g,%s\n", float64(i)/10, i, flow, total, note)
		if i < 50 || i >= 70 {
			total += 3
		}
	}
	return b.String()
}

func parsed(t *testing.T, data string, o ...Options) Record {
	t.Helper()
	r, err := Parse("made.csv", []byte(data), o...)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func signal(t *testing.T, r Record, name string) trace.Trace {
	t.Helper()
	s, err := r.Signal(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestSignalKeepsEvents(t *testing.T) {
	r := parsed(t, contextRows())
	byVolume, err := r.ByVolume(30 * MillilitrePerMinute)
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name, signal, axis string
		record             Record
		want               float64
		source             string
	}{
		{"against time", "UV", "Time", r, 192, "by hand: 3.2 min"},
		{"against a column of its rows", "UV", "Flow", r, math.NaN(), "a flow is no axis"},
		{"by volume", "UV", "Volume", byVolume, 96e-6, "by hand: 3.2 min · 30 mL/min"},
		{"back against time", "UV", "Time", byVolume, 192, "by hand: 3.2 min, over the rows"},
	} {
		s, err := tc.record.SignalAgainst(tc.signal, tc.axis)
		if math.IsNaN(tc.want) {
			if err == nil {
				t.Errorf("%s: no error", tc.name)
			}
			continue
		}
		if err != nil || len(s.Events) != 1 {
			t.Errorf("%s: events %v, error %v", tc.name, s.Events, err)
			continue
		}
		if e := s.Events[0]; math.Abs(e.At/tc.want-1) > 1e-12 || e.Text != "Injection" || e.Name != "Note" {
			t.Errorf("%s: %+v, want at %v (%s)", tc.name, e, tc.want, tc.source)
		}
	}
	// Where no rows lead from one kind of axis to the other the place is not known.
	r.Events[0] = Event{Axis: trace.Volume, At: 1, Text: "Injection"}
	r.Columns = r.Columns[:2]
	if s := signal(t, r, "UV"); !math.IsNaN(s.Events[0].At) {
		t.Errorf("an event at a volume stands at %v s", s.Events[0].At)
	}
}

// What alters a trace keeps its events on its axis, and what passed.
func TestAlteredTraceKeepsContext(t *testing.T) {
	s := signal(t, parsed(t, contextRows()), "UV")
	cut, err := s.Within(trace.Times(3.5*Minute, 9*Minute))
	if err != nil {
		t.Fatal(err)
	}
	smooth, err := cut.Smoothed(5)
	if err != nil {
		t.Fatal(err)
	}
	moved, err := smooth.Since(3.2 * Minute)
	if err != nil {
		t.Fatal(err)
	}
	again, err := moved.Flipped().Since(-0.2 * Minute)
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name      string
		t         trace.Trace
		at, shift float64 // in minutes
	}{{"cut", cut, 3.2, 0}, {"smoothed", smooth, 3.2, 0}, {"moved", moved, 0, 3.2}, {"moved again", again, 0.2, 3}, {"as it was", s, 3.2, 0}} {
		if got := tc.t.Events[0].At / 60; math.Abs(got-tc.at) > 1e-12 {
			t.Errorf("%s: event at %v min, want %v", tc.name, got, tc.at)
		}
		if got := tc.t.Shift() / 60; math.Abs(got-tc.shift) > 1e-12 {
			t.Errorf("%s: shift %v min, want %v", tc.name, got, tc.shift)
		}
		from := 3.6 - tc.shift
		p := tc.t.Passed(trace.Times(Time(from*60), Time((from+1)*60)))
		if len(p) != 2 || p[0].Totaliser || !p[1].Totaliser {
			t.Errorf("%s: passed %+v", tc.name, p)
			continue
		}
		for _, p := range p {
			if got := p.Volume.In(Millilitre); math.Abs(got-30) > 3.0001 || math.Abs(p.Time.In(Minute)-1) > 1e-9 {
				t.Errorf("%s: %s has %v mL in %v, want 30 in 1 min (by hand)", tc.name, p.Meter, got, p.Time)
			}
		}
	}
}

func TestPassed(t *testing.T) {
	r := parsed(t, contextRows())
	for _, tc := range []struct {
		from, to, flow, total float64 // min, min, mL, mL
		source                string
	}{
		{0, 3, 90, 90, "by hand: 3 min · 30 mL/min"},
		{1.05, 2.05, 30, 30, "by hand, between rows"},
		{3, 4.5, 45, 42, "by hand; the row at which the totaliser is set back to 0 hides its 3 mL"},
		{4.9, 7, 1.5, 3, "by hand: a pause of 2 min, the flow on a straight line from 30 to 0 in 6 s"},
	} {
		p := signal(t, r, "UV").Passed(trace.Times(Time(tc.from)*Minute, Time(tc.to)*Minute))
		if len(p) != 2 {
			t.Errorf("%v to %v: %+v", tc.from, tc.to, p)
			continue
		}
		want := []float64{tc.flow, tc.total}
		for i, p := range p {
			end := 0.0
			if i == 0 && tc.to == 7 {
				end = 1.5 // the flow rises again in the last 6 s
			}
			if got := p.Volume.In(Millilitre); math.Abs(got-want[i]-end) > 1e-9 {
				t.Errorf("%v to %v min: %s has %v mL, want %v (%s)", tc.from, tc.to, p.Meter, got, want[i]+end, tc.source)
			}
			if got, want := float64(p.Flow()), float64(p.Volume)/((tc.to-tc.from)*60); math.Abs(got/want-1) > 1e-9 {
				t.Errorf("mean flow %v, want %v", got, want)
			}
		}
	}
	if p := signal(t, r, "UV").Passed(trace.Times(5*Minute, 11*Minute)); len(p) != 0 {
		t.Errorf("beyond the record %+v passed", p)
	}
}

// Against volume a flow gives the time; a volume computed from the time and a flow
// that was typed is no totaliser.
func TestPassedAgainstVolume(t *testing.T) {
	var b strings.Builder
	b.WriteString("Volume (mL),UV (mAU),Flow (mL/min)\n")
	for i := range 101 {
		fmt.Fprintf(&b, "%d,%d,20\n", i, i)
	}
	s := signal(t, parsed(t, b.String()), "UV")
	p := s.Passed(trace.Volumes(10*Millilitre, 50*Millilitre))
	if len(p) != 1 || math.Abs(p[0].Time.In(Minute)-2) > 1e-12 || math.Abs(p[0].Volume.In(Millilitre)-40) > 1e-12 {
		t.Errorf("passed %+v, want 40 mL in 2 min (by hand)", p)
	}
	typed, err := parsed(t, contextRows()).ByVolume(33 * MillilitrePerMinute)
	if err != nil {
		t.Fatal(err)
	}
	p = signal(t, typed, "UV").Passed(trace.Volumes(33*Millilitre, 66*Millilitre))
	if len(p) != 2 {
		t.Fatalf("passed %+v, want the recorded flow and totaliser", p)
	}
	for _, p := range p {
		if math.Abs(p.Flow().In(MillilitrePerMinute)-30) > 1e-9 {
			t.Errorf("%s: %v, want the recorded 30 mL/min, not the 33 typed", p.Meter, p.Flow())
		}
	}
	constant := strings.ReplaceAll(contextRows(), "Total (mL)", "Sample (mL)")
	lines := strings.Split(constant, "\n")
	for i := 1; i < len(lines)-1; i++ {
		cells := strings.Split(lines[i], ",")
		cells[3] = "5"
		lines[i] = strings.Join(cells, ",")
	}
	if p := signal(t, parsed(t, strings.Join(lines, "\n")), "UV").Passed(trace.Times(0, 3*Minute)); len(p) != 1 {
		t.Errorf("a volume that never grows passed for a totaliser: %+v", p)
	}
}

// A record whose zero stands at the injection is seen as such.
func TestZeroInsideRecord(t *testing.T) {
	s := signal(t, parsed(t, "Volume (mL),UV (mAU)\n-2,0\n-1,0\n0,0\n1,3\n2,1\n"), "UV")
	if !(s.Span().From+s.Shift() < 0) {
		t.Errorf("from %v, shift %v", s.Span(), s.Shift())
	}
	moved, err := s.SinceVolume(-2 * Millilitre)
	if err != nil || !(moved.Span().From == 0 && moved.Span().From+moved.Shift() < 0) {
		t.Errorf("moved: from %v, shift %v, %v", moved.Span(), moved.Shift(), err)
	}
}

func TestCyclesKeepEvents(t *testing.T) {
	r := seasonAt(10, 30)
	r.Events = append(r.Events, Event{Axis: trace.Time, At: 35, Text: "Fraction 1"})
	c, err := r.Cycles("Inject", "UV")
	if err != nil {
		t.Fatal(err)
	}
	second, err := c.Open(1)
	if err != nil {
		t.Fatal(err)
	}
	if e := second.Events; len(e) != 2 || e[0].At != 0 || e[1].At != 5 || second.Shift() != 30 {
		t.Errorf("events %+v, shift %v; want its own two at 0 and 5 s", e, second.Shift())
	}
}
