package efficiency

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/record"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// A runRecord is an export of a pulse test of [test04]: 0.1 L a minute for 100
// minutes, a row each 6 s, with the sample somewhere in it.
type runRecord struct {
	sample float64            // L, where it starts
	begin  float64            // L, where the axis begins; below zero if a program set it to zero later
	notes  map[string]float64 // events and where they stand, in L
	flow   func(v float64) float64
	axis   string // "Volume (L)" or "Time (min)"
}

// flow04 is the flow of [test04]: 25 cm/h through a disc of 30 cm, 17.6715 L/h.
var flow04 = test04().Flow

// cv04 is one column volume of it, 12.7235 L.
var cv04 = test04().Column.Volume(test04().BedHeight).In(Litre)

// read returns the UV of the export.
func (e runRecord) read(t testing.TB) trace.Trace {
	t.Helper()
	var b strings.Builder
	flow := ""
	if e.flow != nil {
		flow = ",Flow (L/h)"
	}
	fmt.Fprintf(&b, "%s,UV (mAU)%s,Event\n", e.axis, flow)
	perHour := flow04.In(LitrePerHour)
	step := 0.02 // L
	for i := range 1500 {
		v := e.begin + float64(i)*step
		x := v
		if strings.HasPrefix(e.axis, "Time") {
			x = v / perHour * 60
		}
		// A peak of 900 plates with some tail, 0.93 column volumes behind the sample.
		mu := 0.92 * cv04
		y := 1.7 + 100*made.EMG(v-e.sample, mu, mu/32, mu/70) + 0.003*math.Sin(7.3*float64(i))
		fmt.Fprintf(&b, "%.9f,%.12f", x, y)
		if e.flow != nil {
			fmt.Fprintf(&b, ",%.6f", e.flow(v))
		}
		note := ""
		for text, at := range e.notes {
			if math.Abs(v-at) < step/2 {
				note = text
			}
		}
		fmt.Fprintf(&b, ",%s\n", note)
	}
	r, err := record.Parse("run.csv", []byte(b.String()))
	if err != nil {
		t.Fatal(err)
	}
	uv, err := r.Signal("UV")
	if err != nil {
		t.Fatal(err)
	}
	return uv
}

// pulse04 is the test that is run on those records.
func pulse04() Pulse {
	p := test04()
	p.Tracer = Tracer{Name: "acetone 1 %", Kind: SmallNeutral}
	p.Limits = CommonPractice()
	return p
}

// TestCountsFromTheInjection is the case that was judged from the record's zero: an
// event says where the sample starts, and the numbers are those of the record cut
// there.
func TestCountsFromTheInjection(t *testing.T) {
	for _, axis := range []string{"Volume (L)", "Time (min)"} {
		for _, text := range []string{"Injection", "inject", "Sample on", "Start of sample injection"} {
			uv := runRecord{sample: 3.2, axis: axis, notes: map[string]float64{text: 3.2, "Inlet valve to buffer B": 1, "Phase 2": 2, "Zero UV": 2.6, "Fraction 1": 9}}.read(t)
			got := evaluate(t, pulse04(), uv)
			cut := uv
			var err error
			if cut.Axis() == trace.Volume {
				cut, err = uv.Within(trace.Volumes(3.2*Litre-1e-9, Volume(uv.Span().To)))
				if err == nil {
					cut, err = cut.SinceVolume(3.2 * Litre)
				}
			} else {
				at := flow04.For(1) // m³ in a second
				start := Time(3.2 * float64(Litre) / float64(at))
				cut, err = uv.Within(trace.Times(start-1e-3, Time(uv.Span().To)))
				if err == nil {
					cut, err = cut.Since(Time(cut.Positions()[0]))
				}
			}
			if err != nil {
				t.Fatal(err)
			}
			want := evaluate(t, pulse04(), cut)
			for _, n := range []struct {
				name      string
				got, want float64
			}{{"plates", got.Plates, want.Plates}, {"plates per metre", got.PlatesPerMetre, want.PlatesPerMetre}, {"moments", got.PlatesMoments, want.PlatesMoments},
				{"asymmetry", got.Asymmetry, want.Asymmetry}, {"retention", got.ColumnVolumes, want.ColumnVolumes}, {"error", got.PlatesPerMetreStdErr, want.PlatesPerMetreStdErr}} {
				near(t, text+", "+axis+", "+n.name, n.got, n.want, 1e-9*math.Abs(n.want), "the same record cut at the event")
			}
			if !strings.HasPrefix(got.CountedFrom, text+" at ") || strings.Contains(got.String(), "that the record begins") || !strings.Contains(got.Figure().X.Label, text+" at ") {
				t.Errorf("counted from %q, label %q", got.CountedFrom, got.Figure().X.Label)
			}
			if !strings.Contains(got.String(), "Counted from "+text+" at ") {
				t.Errorf("the page does not say so:\n%s", got)
			}
			// Judged from the record's zero the bed would have ((0.93 cv + 3.2)/0.93 cv)² as
			// many plates.
			p := pulse04()
			p.Zero.TraceZero = true
			far, ratio := evaluate(t, p, uv), math.Pow((got.RetentionVolume.In(Litre)+3.2)/got.RetentionVolume.In(Litre), 2)
			near(t, text+", from the record's zero", far.Plates/got.Plates, ratio, 0.002*ratio, "by hand, N goes with the square of the retention")
		}
	}
}

// TestEventsThatAreOnlyOffered: valves, phases, resets, zeros and fractions are
// named and never taken.
func TestEventsThatAreOnlyOffered(t *testing.T) {
	for _, text := range []string{"Inlet valve to tracer", "Valve: sample", "Phase sample application", "Totaliser reset before sample", "Zero at injection", "Fraction 3", "Sample taken for the laboratory", "Sample pump ready", "Tracer"} {
		uv := runRecord{sample: 3.2, axis: "Volume (L)", notes: map[string]float64{text: 3.2}}.read(t)
		r := evaluate(t, pulse04(), uv)
		missing := r.unchecked()
		if r.ZeroAt != 0 || !strings.Contains(missing, "that the record begins with the sample") || !strings.Contains(missing, fmt.Sprintf("%q at 3.2 L", text)) {
			t.Errorf("%s: counted from %s; %s", text, r.CountedFrom, missing)
		}
		// The page says how to take it, and that works.
		p := pulse04()
		p.Zero = zeroOf(t, missing)
		if r := evaluate(t, p, uv); math.Abs(r.ZeroAt-0.0032) > 1e-9 || !strings.HasPrefix(r.CountedFrom, text) {
			t.Errorf("%s by name: counted from %s", text, r.CountedFrom)
		}
	}
}

// TestStatesAreOnlyOffered: a column that keeps the state of a valve or the phase
// of a recipe makes events of its changes, and none of them is taken.
func TestStatesAreOnlyOffered(t *testing.T) {
	for _, column := range []string{"Inlet valve", "Inlet", "Phase", "Method step", "Injection valve", "Valve state"} {
		uv := runRecord{sample: 3.2, axis: "Volume (L)"}.read(t)
		uv.Events = []trace.Event{{At: 0, Name: column, Text: "Buffer"}, {At: 0.0032, Name: column, Text: "Sample"}, {At: 0.00332, Name: column, Text: "Buffer"}}
		r := evaluate(t, pulse04(), uv)
		if r.ZeroAt != 0 || !strings.Contains(r.unchecked(), `"Sample" at 3.2 L`) {
			t.Errorf("%s: counted from %s; %s", column, r.CountedFrom, r.unchecked())
		}
		uv.Events = append(uv.Events, trace.Event{At: 0.0032, Name: "Event", Text: "Injection"})
		if r := evaluate(t, pulse04(), uv); r.CountedFrom != "Injection at 3.2 L" {
			t.Errorf("%s and an injection: counted from %s", column, r.CountedFrom)
		}
	}
}

// TestExtraColumnCountsFromTheInjection, as the test of the column does.
func TestExtraColumnCountsFromTheInjection(t *testing.T) {
	peak := func(x float64) float64 { return made.EMG(x, 60, 8, 5) }
	want, err := MeasureExtraColumn(of(t, 1000, 0.3, peak), flow04, 0)
	if err != nil {
		t.Fatal(err)
	}
	late := of(t, 1200, 0.3, func(x float64) float64 { return peak(x - 60) })
	late.Events = []trace.Event{{At: 60, Text: "Injection"}}
	got, err := MeasureExtraColumn(late, flow04, 0)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "volume", float64(got.Volume), float64(want.Volume), 1e-3*float64(want.Volume), "the same peak a minute later")
	near(t, "deviation", float64(got.Deviation), float64(want.Deviation), 1e-3*float64(want.Deviation), "the same peak a minute later")
}

// TestReplicatesEachCountFromTheirOwn zero, and say so.
func TestReplicatesEachCountFromTheirOwn(t *testing.T) {
	at := func(start float64) PulseResult {
		p := pulse04()
		p.Zero = Zero{Volume: Litre.Times(start)}
		return evaluate(t, p, runRecord{sample: start, axis: "Volume (L)"}.read(t))
	}
	out, err := Replicates{Rule: RetestRule{Replicates: 2}}.Of(at(3.2), at(4.4))
	if err != nil || strings.Contains(out.unchecked(), "start of the sample") {
		t.Fatal(err, out.unchecked())
	}
	p := pulse04()
	untold, other := evaluate(t, p, runRecord{axis: "Volume (L)"}.read(t)), evaluate(t, p, of(t, 4001, 1.2, gaussian))
	other.Signal = untold.Signal
	out, err = Replicates{Rule: RetestRule{Replicates: 2}}.Of(untold, other)
	if err != nil || !strings.Contains(out.unchecked(), "of 2 of 2 tests, that their zero is the start of the sample") {
		t.Error(err, out.unchecked())
	}
	s, err := p.EvaluateAll([]trace.Trace{of(t, 4001, 1.2, gaussian), runRecord{sample: 3.2, axis: "Volume (L)", notes: map[string]float64{"Injection": 3.2}}.read(t)})
	if err != nil || !strings.Contains(s.String(), "of 1 of 2 traces, that their zero") || s.Rows[1].CountedFrom != "Injection at 3.2 L" {
		t.Errorf("%v %v\n%s", err, s.Rows[1].CountedFrom, s)
	}
}

// zeroOf reads the Zero that a message says to write, as its reader would.
func zeroOf(t testing.TB, message string) Zero {
	t.Helper()
	m := regexp.MustCompile(`Zero: efficiency\.Zero\{(\w+): ([^}]*)\}`).FindStringSubmatch(message)
	if m == nil {
		t.Fatalf("no Zero to write in %q", message)
	}
	if m[1] == "Event" {
		event, err := strconv.Unquote(m[2])
		if err != nil {
			t.Fatal(err)
		}
		return Zero{Event: event}
	}
	number, unit, _ := strings.Cut(m[2], " * ")
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		t.Fatal(err)
	}
	switch m[1] + unit {
	case "VolumeLitre":
		return Zero{Volume: Litre.Times(v)}
	case "VolumeMillilitre":
		return Zero{Volume: Millilitre.Times(v)}
	case "TimeMinute":
		return Zero{Time: Minute.Times(v)}
	}
	t.Fatalf("unknown field in %q", m[0])
	return Zero{}
}

// TestZeroIsAskedFor: several events, one behind the peak, one without a place, and
// an axis with two zeros are refused; what the message says to write is taken.
func TestZeroIsAskedFor(t *testing.T) {
	unplaced := runRecord{sample: 3.2, axis: "Volume (L)"}.read(t)
	unplaced.Events = []trace.Event{{At: math.NaN(), Name: "Event", Text: "Injection"}}
	for _, tc := range []struct {
		name string
		uv   trace.Trace
		want []string
	}{
		{"several", runRecord{sample: 3.2, axis: "Volume (L)", notes: map[string]float64{"Injection 1": 3.2, "Injection 2": 20}}.read(t), []string{"2 events that say injection or sample", `"Injection 1" at 3.2 L`, `"Injection 2" at 20 L`}},
		{"several of one text", runRecord{sample: 3.2, axis: "Time (min)", notes: map[string]float64{"Injection": 3.2, "injection": 20}}.read(t), []string{"2 events"}},
		{"behind the peak", runRecord{sample: 3.2, axis: "Volume (L)", notes: map[string]float64{"Injection": 20}}.read(t), []string{"lies behind the peak", "Injection at 20 L", "15."}},
		{"no place", unplaced, []string{"has no place there", "ByVolume"}},
		{"two zeros", runRecord{sample: 0, begin: -3.2, axis: "Volume (L)", notes: map[string]float64{"Injection": 3.2}}.read(t), []string{"zero was set within the record", "TraceZero: true"}},
	} {
		r, err := pulse04().Evaluate(tc.uv)
		for _, want := range tc.want {
			if err == nil || !strings.Contains(err.Error(), want) || r.Refusal == nil {
				t.Errorf("%s: %v does not say %q", tc.name, err, want)
			}
		}
		if err == nil {
			continue
		}
		p := pulse04()
		if p.Zero = zeroOf(t, err.Error()); tc.name == "behind the peak" {
			continue // 3.2 L there is an example, and happens to be right
		}
		if _, err := p.Evaluate(tc.uv); err != nil {
			t.Errorf("%s, as it says: %v", tc.name, err)
		}
	}
}

// TestAxisThatIsZeroAlready is not moved twice: by the program that recorded it, by
// Since, or by the cut of a cycle.
func TestAxisThatIsZeroAlready(t *testing.T) {
	want := evaluate(t, pulse04(), runRecord{sample: 3.2, axis: "Volume (L)", notes: map[string]float64{"Injection": 3.2}}.read(t))
	negative := runRecord{begin: -3.2, axis: "Volume (L)"}
	r := evaluate(t, pulse04(), negative.read(t))
	near(t, "no event", r.ColumnVolumes, want.ColumnVolumes, 1e-6, "the axis counts from the sample already")
	if !strings.Contains(r.unchecked(), "that the zero of the axis, within the record, is the start of the sample") {
		t.Error(r.unchecked())
	}
	negative.notes = map[string]float64{"Injection": 0}
	r = evaluate(t, pulse04(), negative.read(t))
	near(t, "event at zero", r.ColumnVolumes, want.ColumnVolumes, 1e-6, "the event stands at zero")
	if !strings.HasPrefix(r.CountedFrom, "Injection at 0") || strings.Contains(r.unchecked(), "is the start of the sample") {
		t.Error(r.CountedFrom, r.unchecked())
	}
	moved, err := runRecord{sample: 3.2, axis: "Volume (L)", notes: map[string]float64{"Injection": 3.2}}.read(t).SinceVolume(3.2 * Litre)
	if err != nil {
		t.Fatal(err)
	}
	r = evaluate(t, pulse04(), moved)
	near(t, "Since", r.ColumnVolumes, want.ColumnVolumes, 1e-6, "moved by hand")
	if !strings.Contains(r.CountedFrom, "Injection, the zero that the trace was moved to, 3.2 L of the record") {
		t.Error(r.CountedFrom)
	}
}

// TestZeroByHand gives the start, the middle and the end of the sample.
func TestZeroByHand(t *testing.T) {
	byVolume := runRecord{sample: 3.2, axis: "Volume (L)"}.read(t)
	byTime := runRecord{sample: 3.2, axis: "Time (min)"}.read(t)
	start := (3.2 * Litre).PumpedAt(flow04)
	p := pulse04()
	p.SampleVolume = Litre.Times(cv04 / 100)
	with := func(z Zero) Pulse { p.Zero = z; return p }
	want := evaluate(t, with(Zero{Volume: 3.2 * Litre}), byVolume)
	for _, tc := range []struct {
		name   string
		zero   Zero
		uv     trace.Trace
		change float64 // of the plates
	}{
		{"time", Zero{Time: start}, byTime, 0},
		{"middle", Zero{Volume: 3.2*Litre + p.SampleVolume/2, Part: SampleMiddle}, byVolume, 0},
		{"end", Zero{Volume: 3.2*Litre + p.SampleVolume, Part: SampleEnd}, byVolume, 0},
		{"end, time", Zero{Time: start + p.SampleVolume.PumpedAt(flow04), Part: SampleEnd}, byTime, 0},
		// The start taken for the middle: by hand (1 + 0.005/0.93)², 1.0 % as the
		// documentation says.
		{"start for middle", Zero{Volume: 3.2 * Litre, Part: SampleMiddle}, byVolume, 0.0107},
	} {
		r := evaluate(t, with(tc.zero), tc.uv)
		near(t, tc.name, r.Plates/want.Plates-1, tc.change, 2e-4, "the same sample")
		if strings.Contains(r.unchecked(), "begins with the sample") || tc.zero.Part != SampleStart && !strings.Contains(r.CountedFrom, tc.zero.Part.String()) {
			t.Errorf("%s: counted from %s", tc.name, r.CountedFrom)
		}
	}
	noSample := pulse04()
	noSample.SampleVolume = 0
	noSample.Zero = Zero{Volume: 3.2 * Litre, Part: SampleEnd}
	for _, tc := range []struct {
		p    Pulse
		uv   trace.Trace
		want string
	}{
		{with(Zero{Time: 9 * Minute}), byVolume, "runs against volume"},
		{with(Zero{Volume: 3.2 * Litre}), byTime, "runs against time"},
		{with(Zero{Volume: 3.2 * Litre, Event: "Injection"}), byVolume, "several were given"},
		{with(Zero{Volume: 300 * Litre}), byVolume, "in front of the zero of the test"},
		{with(Zero{Volume: Volume(math.NaN())}), byVolume, "NaN"},
		{with(Zero{Event: "Injection"}), byVolume, "there are no events"},
		{with(Zero{Part: 7}), byVolume, "not a part of the sample"},
		{noSample, byVolume, "SampleVolume was not given"},
		{with(Zero{Volume: 3.2 * Litre, EndVolume: 3.1 * Litre}), byVolume, "is not behind its start"},
		{with(Zero{Volume: 3.2 * Litre, EndVolume: 3.3 * Litre, EndEvent: "end"}), byVolume, "several were given"},
		{with(Zero{Volume: 3.2 * Litre, EndVolume: 3.3 * Litre, Part: SampleMiddle}), byVolume, "give the start as the zero"},
	} {
		if _, err := tc.p.Evaluate(tc.uv); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%+v: %v does not say %q", tc.p.Zero, err, tc.want)
		}
	}
}

// TestRangesStayOnTheAxisOfTheRecord: what the user reads off the record is given on
// its axis, wherever the test counts from.
func TestRangesStayOnTheAxisOfTheRecord(t *testing.T) {
	uv := runRecord{sample: 3.2, axis: "Volume (L)", notes: map[string]float64{"Injection": 3.2}}.read(t)
	p := pulse04()
	p.Search = trace.Volumes(4*Litre, 27*Litre)
	p.Baseline.Before, p.Baseline.After = trace.Volumes(4*Litre, 8*Litre), trace.Volumes(22*Litre, 27*Litre)
	p.MomentRange = trace.Volumes(11*Litre, 20*Litre)
	r := evaluate(t, p, uv)
	near(t, "moments from", r.Moments.Range.From, 0.0078, 1e-9, "11 L less 3.2 L")
	near(t, "baseline to", r.Baseline.After.To, 0.0238, 3e-5, "27 L less 3.2 L, to a sample")
	if !warnedOf(r, "velocity") && r.Verdict != Meets {
		t.Errorf("%v: %v", r.Verdict, r.Warnings)
	}
	// A quiet stretch in front of the sample is no part of the test, but may be asked
	// for.
	p = pulse04()
	p.Baseline.Before = trace.Volumes(0.2*Litre, 3*Litre)
	near(t, "a baseline in front of the sample", evaluate(t, p, uv).Baseline.Before.From, -0.003, 3e-5, "0.2 L less 3.2 L")
}

// warnedOf reports whether a result has a doubt of a kind.
func warnedOf(r PulseResult, k kind) bool {
	return len(pick(r.Warnings, func(w Warning) bool { return w.Kind == string(k) })) > 0
}

// TestSampleBetweenItsEvents holds the distance from start to end against the
// sample's volume.
func TestSampleBetweenItsEvents(t *testing.T) {
	for _, tc := range []struct {
		sample Volume
		end    float64
		zero   Zero
		wrong  bool
	}{
		{120 * Millilitre, 3.32, Zero{}, false},
		{120 * Millilitre, 3.80, Zero{}, true},
		{500 * Millilitre, 3.32, Zero{}, true},
		{120 * Millilitre, 3.32, Zero{Event: "Injection", EndEvent: "End of injection"}, false},
		{120 * Millilitre, 3.32, Zero{Event: "Injection", EndVolume: 4 * Litre}, true},
	} {
		uv := runRecord{sample: 3.2, axis: "Volume (L)", notes: map[string]float64{"Injection": 3.2, "End of injection": tc.end}}.read(t)
		p := pulse04()
		p.SampleVolume, p.Zero = tc.sample, tc.zero
		if tc.zero.Event != "" { // begins both
			p.Zero.Event = "Injection"
		}
		r := evaluate(t, p, uv)
		if warnedOf(r, kindZero) != tc.wrong || (r.Verdict == NotDecided) != tc.wrong {
			t.Errorf("%v to %v L: %v, %v", tc.sample, tc.end, r.Verdict, r.Warnings)
		}
	}
}

// TestFlowOfTheRecord holds the flow that was recorded against the one that was
// typed.
func TestFlowOfTheRecord(t *testing.T) {
	whole := flow04.In(LitrePerHour)
	for _, tc := range []struct {
		name  string
		flow  func(v float64) float64
		typed float64 // of the true flow
		wrong bool
	}{
		{"as typed", func(float64) float64 { return whole }, 1, false},
		{"4 % off", func(float64) float64 { return whole * 1.04 }, 1, false},
		{"8 % off", func(float64) float64 { return whole * 1.08 }, 1, true},
		{"typed 8 % too low", func(float64) float64 { return whole }, 0.92, true},
		{"typed in another unit", func(float64) float64 { return whole }, 1.0 / 60, true},
		// A tenth of the way at half the flow: 1/(0.9 + 0.1/0.5) = 0.91 of the mean.
		{"slower for a while", func(v float64) float64 {
			if v > 6 && v < 6+0.1*cv04 {
				return whole / 2
			}
			return whole
		}, 1, true},
		// Before the sample nothing matters.
		{"pause before the sample", func(v float64) float64 {
			if v < 3 {
				return whole / 10
			}
			return whole
		}, 1, false},
	} {
		uv := runRecord{sample: 3.2, axis: "Volume (L)", flow: tc.flow, notes: map[string]float64{"Injection": 3.2}}.read(t)
		p := pulse04()
		p.Flow *= VolumeFlow(tc.typed)
		r := evaluate(t, p, uv)
		if warnedOf(r, kindFlow) != tc.wrong || (r.Verdict == NotDecided) != tc.wrong || strings.Contains(r.unchecked(), "the flow (") {
			t.Errorf("%s: %v, %v", tc.name, r.Verdict, r.Warnings)
		}
	}
	uv := runRecord{sample: 3.2, axis: "Volume (L)", notes: map[string]float64{"Injection": 3.2}}.read(t)
	if r := evaluate(t, pulse04(), uv); !strings.Contains(r.unchecked(), "the flow (the record has none)") {
		t.Error(r.unchecked())
	}
}

// TestCyclesCountFromTheirEvents: several tests in one record, cut at their events.
func TestCyclesCountFromTheirEvents(t *testing.T) {
	var b strings.Builder
	b.WriteString("Volume (L),UV (mAU),Event\n")
	mu := 0.92 * cv04
	for i := range 3000 {
		v := float64(i) * 0.02
		y, note := 0.003*math.Sin(7.3*float64(i)), ""
		for _, at := range []float64{2, 31} {
			y += 100 * made.EMG(v-at, mu, mu/32, mu/70)
			if math.Abs(v-at) < 0.01 {
				note = "Injection"
			}
		}
		fmt.Fprintf(&b, "%.9f,%.9f,%s\n", v, y, note)
	}
	r, err := record.Parse("two.csv", []byte(b.String()))
	if err != nil {
		t.Fatal(err)
	}
	cycles, err := r.Cycles("Injection", "UV")
	if err != nil {
		t.Fatal(err)
	}
	s, err := pulse04().EvaluateFrom(cycles)
	if err != nil || len(s.Failed()) > 0 {
		t.Fatal(err, s.Errors())
	}
	single := evaluate(t, pulse04(), runRecord{sample: 3.2, axis: "Volume (L)", notes: map[string]float64{"Injection": 3.2}}.read(t))
	for _, row := range s.Rows {
		near(t, row.File, row.ColumnVolumes, single.ColumnVolumes, 1e-3, "the same test alone")
		if row.CountedFrom == "" || !strings.Contains(row.CountedFrom, "Injection") {
			t.Errorf("%s counted from %q", row.File, row.CountedFrom)
		}
	}
	// The uncut record asks.
	uv, err := r.Signal("UV")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := pulse04().Evaluate(uv); err == nil || !strings.Contains(err.Error(), "cut the record at each with Cycles") {
		t.Error(err)
	}
}

// shifted returns a trace with its axis moved by so much, and an event where its
// zero was.
func shifted(t testing.TB, tr trace.Trace, by float64, text string) trace.Trace {
	t.Helper()
	x := tr.Positions()
	for i := range x {
		x[i] += by
	}
	moved, err := trace.Make(tr.Name, tr.Unit, tr.Axis(), x, tr.Values())
	if err != nil {
		t.Fatal(err)
	}
	moved.Events = []trace.Event{{At: by, Name: "Event", Text: text}}
	return moved
}

// TestTransitionCountsFromAnEvent that is named, and from none by itself.
func TestTransitionCountsFromAnEvent(t *testing.T) {
	at := func(x float64) float64 { return 5 + 80*made.EMGFront(x, 2400, 86, 30) }
	p := transition04()
	p.Flow = flow04
	tr := of(t, 4001, 1.2, at)
	want := evaluateFront(t, p, tr)
	if !strings.Contains(want.String(), "that the record begins with the new liquid") {
		t.Error(want.unchecked())
	}
	for _, text := range []string{"Inlet valve to buffer B", "Injection", "Phase strip"} {
		late := shifted(t, tr, 600, text)
		r := evaluateFront(t, p, late)
		if r.ZeroAt != 0 || !strings.Contains(r.unchecked(), fmt.Sprintf("%q at 10 min", text)) {
			t.Errorf("%s was taken: %s; %s", text, r.CountedFrom, r.unchecked())
		}
		named := p
		named.Zero = zeroOf(t, r.unchecked())
		named.Search = trace.Times(700, 5300)
		was := p
		was.Search = trace.Times(100, 4700)
		r, want := evaluateFront(t, named, late), evaluateFront(t, was, tr)
		for _, n := range []struct {
			name      string
			got, want float64
		}{{"plates", r.ByMoments.Plates, want.ByMoments.Plates}, {"quantiles", r.ByQuantiles.Plates, want.ByQuantiles.Plates}, {"front volume", r.FrontVolume, want.FrontVolume}, {"asymmetry", r.Asymmetry, want.Asymmetry}} {
			near(t, text+": "+n.name, n.got, n.want, 1e-9*math.Abs(n.want), "the same record counted from there")
		}
		near(t, text+": plateau", r.Before.Range.From-want.Before.Range.From, 600, 1e-6, "on the axis of the trace")
		if !strings.HasPrefix(r.CountedFrom, text+" at 10 min") || !strings.Contains(r.Figure().Panels[0].X.Label+r.Figure().Panels[1].X.Label, text) {
			t.Errorf("counted from %q, labels %q", r.CountedFrom, r.Figure().Panels[0].X.Label)
		}
	}
	p.Zero = Zero{Time: 600, Part: SampleEnd}
	if _, err := p.Evaluate(tr); err == nil || !strings.Contains(err.Error(), "only a start") {
		t.Error(err)
	}
}

// TestLoadCountsFromItsEvent takes the one that says load, feed, sample or
// injection.
func TestLoadCountsFromItsEvent(t *testing.T) {
	b := load10()
	tr := loadOf(t, 60, front10)
	want := load(t, b, tr)
	if !strings.Contains(want.String(), "that the record begins with the load") {
		t.Error(want.unchecked())
	}
	ml := float64(Millilitre)
	for _, text := range []string{"Load", "Feed on", "Sample application", "Injection"} {
		r := load(t, b, shifted(t, tr, 12*ml, text))
		for i, p := range r.Points {
			near(t, text+": volume", float64(p.Volume), float64(want.Points[i].Volume), 1e-9*float64(want.Points[i].Volume), "the same load counted from there")
			near(t, text+": capacity", float64(p.Integral), float64(want.Points[i].Integral), 1e-9*float64(want.Points[i].Integral), "the same load counted from there")
		}
		near(t, text+": equilibrium", float64(r.Equilibrium), float64(want.Equilibrium), 1e-9*float64(want.Equilibrium), "the same load counted from there")
		if r.CountedFrom != text+" at 12 mL" || !strings.Contains(r.Figure().X.Label, text) {
			t.Errorf("counted from %q, label %q", r.CountedFrom, r.Figure().X.Label)
		}
	}
	tr.Events = []trace.Event{{At: 12 * ml, Text: "Load valve open"}}
	r := load(t, b, tr)
	if r.ZeroAt != 0 || !strings.Contains(r.unchecked(), `"Load valve open" at 12 mL`) {
		t.Errorf("a valve was taken: %s; %s", r.CountedFrom, r.unchecked())
	}
}
