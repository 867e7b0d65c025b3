package efficiency

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/task"
	"github.com/evenbed/evenbed/packing/trace"
)

// noisyPulse returns a peak for test04 with noise of its own: same seed, same trace.
func noisyPulse(t testing.TB, name string, sigma, tau float64, seed uint64, points int) trace.Trace {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 4))
	x, y := make([]float64, points), make([]float64, points)
	for i := range x {
		u := 20 * float64(i) / float64(points-1)
		x[i], y[i] = u*retention04/10, 100*made.EMG(u, 10, sigma, tau)+0.05*r.NormFloat64()
	}
	tr, err := trace.Make("UV", "mAU", trace.Time, x, y)
	if err != nil {
		t.Fatal(err)
	}
	tr.From = name
	return tr
}

// cycles returns pulse tests whose peaks grow wider and tail more.
func cycles(t testing.TB, n int) []trace.Trace {
	t.Helper()
	all := make([]trace.Trace, n)
	for i := range all {
		all[i] = noisyPulse(t, fmt.Sprintf("cycle-%d.csv", i+1), 0.3+0.001*float64(i), 0.1+0.002*float64(i), uint64(i), 600)
	}
	return all
}

// listed is a source without further methods.
type listed struct {
	n    int
	open func(i int) (trace.Trace, error)
}

func (s listed) Len() int                        { return s.n }
func (s listed) Open(i int) (trace.Trace, error) { return s.open(i) }

// shared is a source that may be opened by several goroutines.
type shared struct{ listed }

func (shared) Concurrent() bool { return true }

func TestEvaluateAllIsEvaluateOfEach(t *testing.T) {
	traces := cycles(t, 30)
	p := test04()
	p.Limits = Limits{PlatesPerMetre: AtLeast("4000"), Asymmetry: Between("0.80", "1.50")}
	s, err := p.EvaluateAll(traces)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Rows) != len(traces) || s.Missing != 0 {
		t.Fatalf("%d rows and %d missing of %d", len(s.Rows), s.Missing, len(traces))
	}
	for i, row := range s.Rows {
		one, err := p.Evaluate(traces[i])
		if err != nil {
			t.Fatal(err)
		}
		want := newPulseRow(one)
		want.Number, want.File, want.Signal = i+1, traces[i].From, "UV"
		if !reflect.DeepEqual(row, want) {
			t.Errorf("row %d is not what the trace alone gives:\n%+v\n%+v", i, row, want)
		}
		if row.PlatesPerMetre != one.PlatesPerMetre || row.Verdict != one.Verdict || row.Asymmetry != one.Asymmetry {
			t.Errorf("row %d: %v, %v; alone %v, %v", i, row.PlatesPerMetre, row.Verdict, one.PlatesPerMetre, one.Verdict)
		}
	}
	for _, source := range []trace.Source{
		listed{len(traces), func(i int) (trace.Trace, error) { return traces[i], nil }},
		shared{listed{len(traces), func(i int) (trace.Trace, error) { return traces[i], nil }}},
	} {
		other, err := p.EvaluateFrom(source)
		if err != nil || !reflect.DeepEqual(s, other) {
			t.Errorf("a source gives something else than the slice: %v", err)
		}
	}
	if a, b := s.Page().HTML(), s.Page().HTML(); a != b {
		t.Error("the same series shows itself in two ways")
	}
}

func TestManyLosesNothing(t *testing.T) {
	traces := cycles(t, 12)
	flat := make([]float64, 600)
	level, err := trace.Make("UV", "mAU", trace.Time, traces[0].Positions(), flat)
	if err != nil {
		t.Fatal(err)
	}
	broken := errors.New("cycle-4.csv:7: not a number")
	open := func(i int) (trace.Trace, error) {
		switch i {
		case 3:
			return trace.Trace{}, broken
		case 5:
			return level, nil
		case 7:
			var none []float64
			return trace.Trace{}, fmt.Errorf("%v", none[i])
		case 9:
			return trace.Trace{}, nil
		}
		return traces[i], nil
	}
	p := test04()
	for what, source := range map[string]trace.Source{"one at a time": listed{12, open}, "at once": shared{listed{12, open}}} {
		s, err := p.EvaluateFrom(source)
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		var failed []int
		for _, r := range s.Failed() {
			failed = append(failed, r.Number)
			if !math.IsNaN(r.PlatesPerMetre) || !math.IsNaN(r.Asymmetry) || r.Verdict != NotChecked {
				t.Errorf("%s: failed row %d has numbers: %+v", what, r.Number, r)
			}
		}
		if want := []int{4, 6, 8, 10}; !slices.Equal(failed, want) {
			t.Errorf("%s: failed %v, want %v", what, failed, want)
		}
		if len(s.Rows) != 12 || len(s.Errors()) != 4 {
			t.Errorf("%s: %d rows, %d errors", what, len(s.Rows), len(s.Errors()))
		}
		if !errors.Is(s.Errors()[0], broken) {
			t.Errorf("%s: the cause is lost: %v", what, s.Errors()[0])
		}
		text := s.String()
		for _, want := range []string{"12 given: 8 with a result, 4 without, 0 not evaluated", "trace 4: cycle-4.csv:7: not a number",
			"nothing stands above the baseline", "broke off: runtime error: index out of range", "No limit was given"} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: the text does not say %q:\n%s", what, want, text)
			}
		}
		if strings.Index(text, "Without a result") > strings.Index(text, "plates per metre") {
			t.Errorf("%s: failures do not come first", what)
		}
	}
}

func TestErrorsNameTheFileOnce(t *testing.T) {
	s := PulseSeries{Rows: []PulseRow{
		{Number: 1, File: "a.csv", Err: errors.New("a.csv:3:1: no number")},
		{Number: 2, File: "b.csv", Err: errors.New("no peak")},
		{Number: 3, Signal: "UV", Err: errors.New("no peak")},
		{Number: 4, Err: errors.New("no file")},
		{Number: 5, File: "c.csv"},
	}}
	want := []string{"a.csv:3:1: no number", "b.csv: no peak", "trace 3, UV: no peak", "trace 4: no file"}
	var got []string
	for _, err := range s.Errors() {
		got = append(got, err.Error())
	}
	if !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}

func TestManyRefusesWrongInputs(t *testing.T) {
	traces := cycles(t, 2)
	opened := 0
	count := listed{2, func(i int) (trace.Trace, error) { opened++; return traces[i], nil }}
	for want, change := range map[string]func(*Pulse){
		"inner diameter": func(p *Pulse) { p.Column.InnerDiameter = 0 },
		"bead":           func(p *Pulse) { p.MeanBead = 0 },
		"limit":          func(p *Pulse) { p.Limits.Asymmetry = AtLeast("none") },
	} {
		p := test04()
		change(&p)
		s, err := p.EvaluateFrom(count)
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(s.String(), want) {
			t.Errorf("%s: %v", want, err)
		}
	}
	for _, none := range []trace.Source{nil, listed{}, inMemory(nil)} {
		if _, err := test04().EvaluateFrom(none); err == nil || !strings.Contains(err.Error(), "no traces") {
			t.Errorf("without traces: %v", err)
		}
	}
	if opened != 0 {
		t.Errorf("%d traces were opened for a test that cannot be", opened)
	}
}

// watch is a monitor that can be stopped and notes the progress.
type watch struct {
	ctx   context.Context
	mu    *sync.Mutex
	steps *[][2]int
}

func (w watch) Context() context.Context { return w.ctx }
func (w watch) Progress(_ string, done, total int) {
	w.mu.Lock()
	defer w.mu.Unlock()
	*w.steps = append(*w.steps, [2]int{done, total})
}

func watched(t *testing.T) (watch, context.CancelFunc) {
	ctx, cancel := context.WithCancel(context.Background())
	w := watch{ctx, new(sync.Mutex), new([][2]int)}
	task.SetDefault(w)
	t.Cleanup(func() { task.SetDefault(nil); cancel() })
	return w, cancel
}

func TestManyTellsProgress(t *testing.T) {
	w, _ := watched(t)
	if _, err := test04().EvaluateAll(cycles(t, 25)); err != nil {
		t.Fatal(err)
	}
	last := 0
	for _, s := range *w.steps {
		if s[1] != 25 || s[0] < last {
			t.Fatalf("progress runs backwards or to another end: %v", *w.steps)
		}
		last = s[0]
	}
	if last != 25 {
		t.Errorf("the last progress is %d of 25", last)
	}
}

func TestManyCanBeStopped(t *testing.T) {
	traces := cycles(t, 5)
	p := test04()
	for what, make := range map[string]func(listed) trace.Source{
		"one at a time": func(s listed) trace.Source { return s },
		"at once":       func(s listed) trace.Source { return shared{s} },
	} {
		_, cancel := watched(t)
		var opened atomic.Int64
		const n, stop = 400, 50
		s, err := p.EvaluateFrom(make(listed{n, func(i int) (trace.Trace, error) {
			switch opened.Add(1) {
			case stop:
				cancel()
				return trace.Trace{}, fmt.Errorf("reading was stopped: %w", context.Canceled)
			}
			return traces[i%len(traces)], nil
		}}))
		if !errors.Is(err, context.Canceled) {
			t.Fatalf("%s: %v, want it stopped", what, err)
		}
		if len(s.Rows)+s.Missing != n || len(s.Failed()) != 0 {
			t.Errorf("%s: %d rows, %d of them failed, and %d missing of %d", what, len(s.Rows), len(s.Failed()), s.Missing, n)
		}
		// What was under way ends; what was opened and not yet taken is missing.
		under := runtime.GOMAXPROCS(0) + 1
		if len(s.Rows) > stop+under || len(s.Rows) < stop-under {
			t.Errorf("%s: %d rows, stopped at the opening of %d", what, len(s.Rows), stop)
		}
		if want := fmt.Sprintf("%d of 400 traces are evaluated, %d are missing", len(s.Rows), s.Missing); !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %q does not say %q", what, err, want)
		}
		if !strings.Contains(s.String(), fmt.Sprintf("Stopped: %d of 400", s.Missing)) {
			t.Errorf("%s: the text hides that it was stopped:\n%s", what, s)
		}
		task.SetDefault(nil)
	}
}

// A panic while the work is stopped is how an interrupt ends a function of the
// notebook: that trace is missing, not failed.
func TestInterruptInsideOpen(t *testing.T) {
	traces := cycles(t, 1)
	_, cancel := watched(t)
	s, err := test04().EvaluateFrom(listed{20, func(i int) (trace.Trace, error) {
		if i == 6 {
			cancel()
			panic("interrupted")
		}
		return traces[0], nil
	}})
	if !errors.Is(err, context.Canceled) || len(s.Failed()) != 0 || len(s.Rows) > 6 || len(s.Rows)+s.Missing != 20 {
		t.Errorf("%v; %d rows, %d failed, %d missing", err, len(s.Rows), len(s.Failed()), s.Missing)
	}
}

// A source that does not say otherwise is opened in order by the goroutine that
// asked: the slice is not guarded, and the race detector would tell.
func TestPlainSourceIsOpenedByOneGoroutine(t *testing.T) {
	traces := cycles(t, 3)
	var order []int
	if _, err := test04().EvaluateFrom(listed{60, func(i int) (trace.Trace, error) {
		order = append(order, i)
		return traces[i%3], nil
	}}); err != nil {
		t.Fatal(err)
	}
	for i, k := range order {
		if i != k {
			t.Fatalf("opened in the order %v", order)
		}
	}
}

func TestConcurrentSourceIsOpenedAtOnce(t *testing.T) {
	before := runtime.GOMAXPROCS(2)
	defer runtime.GOMAXPROCS(before)
	traces := cycles(t, 1)
	meet := make(chan bool)
	s, err := test04().EvaluateFrom(shared{listed{2, func(int) (trace.Trace, error) {
		select {
		case meet <- true:
		case <-meet:
		case <-time.After(time.Minute):
			return trace.Trace{}, errors.New("the other was not opened")
		}
		return traces[0], nil
	}}})
	if err != nil || len(s.Failed()) != 0 {
		t.Errorf("%v %v", err, s.Errors())
	}
}

// 2,000 traces of 5,000 points are 160 MB; a series of them must not hold them.
func TestManyKeepsMemoryFlat(t *testing.T) {
	one := noisyPulse(t, "", 0.3, 0.1, 1, 5000)
	x, y := one.Positions(), one.Values()
	var most atomic.Uint64
	s, err := test04().EvaluateFrom(shared{listed{2000, func(i int) (trace.Trace, error) {
		if i%100 == 0 {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			for old := most.Load(); m.HeapAlloc > old && !most.CompareAndSwap(old, m.HeapAlloc); old = most.Load() {
			}
		}
		return trace.Make("UV", "mAU", trace.Time, x, y)
	}}})
	if err != nil || len(s.Rows) != 2000 || len(s.Failed()) > 0 {
		t.Fatal(err, s.Errors())
	}
	if got := most.Load(); got > 60<<20 {
		t.Errorf("the heap grew to %d MB", got>>20)
	}
}

func TestSeriesValuesAndCSV(t *testing.T) {
	traces := cycles(t, 4)
	traces[2] = trace.Trace{Name: "UV"}
	s, err := test04().EvaluateAll(traces)
	if err != nil {
		t.Fatal(err)
	}
	plates, err := s.Values("platespermetre")
	if err != nil || len(plates) != 4 || plates[1] != s.Rows[1].PlatesPerMetre || !math.IsNaN(plates[2]) {
		t.Errorf("%v %v", plates, err)
	}
	if _, err := s.Values("Height"); err == nil || !strings.Contains(err.Error(), "PlatesPerMetre, ") {
		t.Errorf("an unknown number: %v", err)
	}
	rows, err := csv.NewReader(strings.NewReader(s.CSV())).ReadAll()
	if err != nil || len(rows) != 5 {
		t.Fatalf("%d lines, %v", len(rows), err)
	}
	for i, row := range rows[1:] {
		for j, name := range rows[0] {
			if v, err := s.Values(name); err == nil {
				want := ""
				if !math.IsNaN(v[i]) {
					want = strconv.FormatFloat(v[i], 'g', -1, 64)
				}
				if row[j] != want {
					t.Errorf("line %d, %s is %q, want %q", i+2, name, row[j], want)
				}
			}
		}
	}
	if last := rows[3][len(rows[3])-1]; !strings.Contains(last, "has 0 points") {
		t.Errorf("the error in the text is %q", last)
	}
}

func TestSummaryOfSeries(t *testing.T) {
	// By hand: mean 2, sample standard deviation 1, median 2 of 1, 2, 3.
	s := PulseSeries{Pulse: test04()}
	for i, v := range []float64{3, 1, 2} {
		s.Rows = append(s.Rows, PulseRow{Number: i + 1, PlatesPerMetre: v * 1000, ReducedPlateHeight: v, Asymmetry: v, SymmetryFactor: math.NaN(), ColumnVolumes: v})
	}
	s.Rows = append(s.Rows, newPulseRow(PulseResult{}))
	s.Rows[3].Number, s.Rows[3].Err = 4, errors.New("none")
	rows := s.Table().Rows
	if want := []string{"plates per metre", "1/m", "3", "2000", "1000", "1000", "2000", "3000"}; !slices.Equal(rows[0], want) {
		t.Errorf("%q, want %q", rows[0], want)
	}
	for _, r := range rows {
		if strings.HasPrefix(r[0], "symmetry") {
			t.Errorf("a number that no row has is summed up: %q", r)
		}
	}
}

func TestSeriesFigure(t *testing.T) {
	s := PulseSeries{Pulse: test04()}
	s.Pulse.Limits = CommonPractice()
	for i := range 4001 {
		s.Rows = append(s.Rows, PulseRow{Number: i + 1, PlatesPerMetre: 4000 + float64(i%7), Asymmetry: 1.1, ReducedPlateHeight: 2.5, SymmetryFactor: 1, ColumnVolumes: 0.9})
	}
	lines := s.Figure().Panels[0].Lines
	if len(lines) != 3 || lines[0].Points.Len() != 364 { // by hand: groups of 11, 4001/11 rounded up
		t.Fatalf("%d lines, %d points", len(lines), lines[0].Points.Len())
	}
	for i := range 363 {
		_, low := lines[0].Points.XY(i)
		_, high := lines[2].Points.XY(i)
		if low != 4000 || high != 4006 {
			t.Fatalf("group %d reaches from %v to %v, want 4000 to 4006", i, low, high)
		}
	}
	if size := len(s.Page().SVG()); size > 200_000 {
		t.Errorf("the picture has %d bytes", size)
	}
	s.Rows = s.Rows[:8]
	for _, i := range []int{2, 3, 6} {
		s.Rows[i] = newPulseRow(PulseResult{})
		s.Rows[i].Number, s.Rows[i].Err = i+1, errors.New("none")
	}
	gaps := s.gaps()
	if len(gaps) != 2 || gaps[0].From != 2.5 || gaps[0].To != 4.5 || gaps[1].From != 6.5 || gaps[1].To != 7.5 {
		t.Errorf("gaps %v, want 2.5 to 4.5 and 6.5 to 7.5", gaps)
	}
	for _, want := range []string{"reduced plate height", "asymmetry", "cm/h", "3 of 8 traces have no result"} {
		if !strings.Contains(s.Figure().Description, want) {
			t.Errorf("the description does not say %q: %s", want, s.Figure().Description)
		}
	}
}
