package plan_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/plan"
	"github.com/evenbed/evenbed/packing/record"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// changed returns a trace with other positions and values.
func changed(t testing.TB, tr trace.Trace, unit string, x, y func(v float64) float64) trace.Trace {
	t.Helper()
	xs, ys := tr.Positions(), tr.Values()
	for i := range xs {
		xs[i], ys[i] = x(xs[i]), y(ys[i])
	}
	out, err := trace.Make(tr.Name, unit, trace.Time, xs, ys)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func same(v float64) float64 { return v }

// What does not change the pack does not change what is found.
func TestReviewLaws(t *testing.T) {
	own := read(t, made.OwnPack(), nil)
	area := math.Pi / 4 * 0.09
	scale := func(k float64) func(v float64) float64 { return func(v float64) float64 { return k * v } }
	later := func(v float64) float64 { return v + 5000 }
	for _, tc := range []struct {
		name   string
		change func(run *plan.Run)
		shift  Time
	}{
		{"velocity in place of flow", func(run *plan.Run) { run.Flow = changed(t, run.Flow, "cm/h", same, scale(1e-3/area*100)) }, 0},
		{"other units", func(run *plan.Run) {
			run.Flow, run.Pressure = changed(t, run.Flow, "mL/min", same, scale(1000.0/60)), changed(t, run.Pressure, "kPa", same, scale(100))
			run.BedHeight, run.Adapter = changed(t, run.BedHeight, "mm", same, scale(10)), changed(t, run.Adapter, "m", same, scale(0.01))
		}, 0},
		{"adapter counted down from 60 cm", func(run *plan.Run) {
			run.Adapter = changed(t, run.Adapter, "cm", same, func(v float64) float64 { return 60 - v })
			run.AdapterReads, run.AdapterZero = plan.DrivenDown, 60*Centimetre
		}, 0},
		{"a ruler that reads 12 mm at the net", func(run *plan.Run) {
			run.BedHeight = changed(t, run.BedHeight, "cm", same, func(v float64) float64 { return v + 1.2 })
			run.RulerZero = 12 * Millimetre
		}, 0},
		{"another zero of the clock", func(run *plan.Run) {
			for _, s := range []*trace.Trace{&run.Flow, &run.Pressure, &run.BedHeight, &run.Adapter} {
				*s = changed(t, *s, s.Unit, later, same)
			}
		}, 5000},
	} {
		f := read(t, made.OwnPack(), func(_ *plan.Review, run *plan.Run) { tc.change(run) })
		if kinds(f) != ownKinds || f.Advice != own.Advice || strings.Join(f.Reasons, "") != strings.Join(own.Reasons, "") {
			t.Fatalf("%s: steps %s, %v, %v", tc.name, kinds(f), f.Advice, f.Reasons)
		}
		for i, s := range f.Steps {
			o := own.Steps[i]
			for _, x := range [][2]float64{
				{float64(s.Start), float64(o.Start + tc.shift)}, {float64(s.End), float64(o.End + tc.shift)}, {float64(s.Volume), float64(o.Volume)},
				{float64(s.Velocity), float64(o.Velocity)}, {float64(s.Pressure), float64(o.Pressure)}, {float64(s.Height), float64(o.Height)}, {float64(s.Adapter), float64(o.Adapter)},
			} {
				if math.Abs(x[0]-x[1]) > 1e-7*math.Abs(x[1])+1e-12 {
					t.Errorf("%s, %s: %v, was %v", tc.name, s.Name, x[0], x[1])
				}
			}
		}
		about(t, tc.name+": compression factor", f.CompressionFactor, own.CompressionFactor, 1e-9)
		about(t, tc.name+": first velocity of the rise", f.Rise.First.In(MillimetrePerSecond), own.Rise.First.In(MillimetrePerSecond), 1e-5)
	}
}

// Heights read by eye stand in for a signal that is missing.
func TestReviewReadings(t *testing.T) {
	p := made.OwnPack()
	eye := func(readings ...plan.HeightReading) func(r *plan.Review, run *plan.Run) {
		return func(_ *plan.Review, run *plan.Run) {
			run.BedHeight, run.Adapter, run.Readings = trace.Trace{}, trace.Trace{}, readings
		}
	}
	f := read(t, p, eye(plan.HeightReading{At: 31 * Minute, Height: 20.05 * Centimetre}, plan.HeightReading{At: 38 * Minute, Height: 20.05 * Centimetre},
		plan.HeightReading{At: 43.5 * Minute, Height: 18.12 * Centimetre}, plan.HeightReading{At: 49 * Minute, Height: 18.1 * Centimetre},
		plan.HeightReading{At: 53 * Minute, Height: 18 * Centimetre}))
	if f.Advice != plan.ProceedToTest || f.BedHeightFrom != "height read by eye" {
		t.Errorf("%v from %q: %v", f.Advice, f.BedHeightFrom, f.Reasons)
	}
	// 20.05 cm times CF(20 cm/h) of the curve, 20.16/19.95, over 18 cm.
	about(t, "compression factor by eye", f.CompressionFactor, 20.05*20.16/19.95/18, 1e-4)
	if got := f.Steps[1].Steadiness; got.HeightIs != plan.Within || f.Steps[3].Steadiness.HeightIs != plan.Within {
		t.Errorf("steady by two readings: %+v", got)
	}
	if !strings.Contains(strings.Join(f.NotJudged, "\n"), "re-expansion after the stop (the bed height was not recorded)") {
		t.Errorf("not judged: %q", f.NotJudged)
	}
	// The bed was still falling: 3 mm in the last 5 min.
	f = read(t, p, eye(plan.HeightReading{At: 33 * Minute, Height: 20.35 * Centimetre}, plan.HeightReading{At: 38 * Minute, Height: 20.05 * Centimetre}))
	if f.Steps[1].Steadiness.HeightIs != plan.Outside || !math.IsNaN(float64(f.SettledHeight)) || f.Advice != plan.Undecided {
		t.Errorf("still falling: %+v, settled %v, %v", f.Steps[1].Steadiness, f.SettledHeight, f.Advice)
	}
	// One reading tells nothing of a change.
	f = read(t, p, eye(plan.HeightReading{At: 38 * Minute, Height: 20.05 * Centimetre}))
	if k := f.Steps[1].Steadiness; k.HeightIs != plan.NotJudged || !strings.Contains(k.HeightWhy, "two readings 5 min apart") {
		t.Errorf("one reading: %+v", k)
	}
}

// What is missing is said, not guessed.
func TestReviewNotJudged(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(r *plan.Review, run *plan.Run)
		want   []string
	}{
		{"no pressure", func(_ *plan.Review, run *plan.Run) { run.Pressure = trace.Trace{} },
			[]string{"pressure limit of the column, 3 bar (no pressure was recorded)", "whether the pressure was steady at the end of step 2, compress (no pressure was recorded)"}},
		{"no limits", func(r *plan.Review, _ *plan.Run) {
			r.Plan.Request.Limits = packing.Limits{}
			r.Plan.Request.Column.MaxPressure = 0
		},
			[]string{"pressure of the column", "pressure of the system", "flow of the pump"}},
		{"no adapter", func(_ *plan.Review, run *plan.Run) { run.Adapter = trace.Trace{} }, []string{"gap between bed and adapter", "travel of the adapter"}},
		{"no slurry", func(r *plan.Review, _ *plan.Run) { r.SlurryPoured = 0 }, []string{"compression factor from the slurry"}},
		{"a longer criterion", func(r *plan.Review, _ *plan.Run) { r.Steady.Over = 10 * Minute }, []string{"the height was steady at the end of step 2, compress (it lasted 7."}},
	} {
		f := read(t, made.OwnPack(), tc.change)
		all := strings.Join(f.NotJudged, "\n")
		for _, want := range tc.want {
			if !strings.Contains(all, want) {
				t.Errorf("%s: %q is missing in\n%s", tc.name, want, all)
			}
		}
	}
	p := made.OwnPack()
	p.FirstTo = 27 // the slurry has not settled
	f := read(t, p, nil)
	if all := strings.Join(f.NotJudged, "\n"); !strings.Contains(all, "the bed was still changing by -3") || !math.IsNaN(f.CompressionFactor) {
		t.Errorf("step 1 cut short: compression factor %v, not judged %s", f.CompressionFactor, all)
	}
}

// The rise of the made bed: 4 mm with 7 s and 3 mm with 60 s.
func TestReviewRise(t *testing.T) {
	p := made.OwnPack()
	p.Catch, p.End = 420, 66
	f := read(t, p, nil)
	r := f.Rise
	if len(r.Terms) != 2 {
		t.Fatalf("%d terms: %v", len(r.Terms), r)
	}
	for i, want := range []struct{ size, time float64 }{{4, 7}, {3, 60}} {
		k := r.Terms[i]
		about(t, fmt.Sprintf("size %d, mm", i+1), k.Size.In(Millimetre), want.size, 4*k.SizeStdErr.In(Millimetre)+0.15)
		about(t, fmt.Sprintf("time constant %d, s", i+1), k.Time.In(Second), want.time, 4*k.TimeStdErr.In(Second)+0.3)
		if !(k.TimeStdErr < k.Time/5) {
			t.Errorf("time constant %v ± %v is not determined", k.Time, k.TimeStdErr)
		}
	}
	// 4 mm/7 s + 3 mm/60 s = 0.621 mm/s, a little less since the half of the stop is at 1 s.
	about(t, "first velocity, mm/s", r.First.In(MillimetrePerSecond), 4.0/7+3.0/60, 0.08)
	if r.First > r.Bound {
		t.Errorf("the rise starts at %v, above %v", r.First, r.Bound)
	}
	// Of 2.17 cm compressed 0.7 come back.
	compressed := p.Settle - p.Settle/1.1202
	about(t, "lasting part", r.Lasting, 1-0.7/compressed, 0.03)
	// By hand: the relative errors of what rises and of what was compressed, of which
	// two heights of 0.5 mm are the error.
	of := r.Whole.In(Centimetre) / (f.SettledHeight - f.Steps[3].Height).In(Centimetre)
	want := of * math.Hypot(r.WholeStdErr.In(r.Whole), math.Hypot(f.SettledHeightStdErr.In(Centimetre), 0.05)/(f.SettledHeight-f.Steps[3].Height).In(Centimetre))
	about(t, "error of the lasting part", r.LastingStdErr, want, 0.06*want) // the rise starts from a fitted height
	if s := f.Closeup().String(); !strings.Contains(s, "time constant") {
		t.Errorf("closeup: %s", s)
	}

	// Caught after 52 s there is a slower part, but its constant is not known.
	if r := read(t, made.OwnPack(), nil).Rise; len(r.Terms) != 1 || !(r.Creep > 0) || !math.IsNaN(float64(r.Whole)) || !math.IsNaN(r.Lasting) {
		t.Errorf("after 52 s: %+v", r)
	}
	// Caught at once there is too little to say.
	p = made.OwnPack()
	p.Catch = 3
	if r := read(t, p, nil).Rise; len(r.Terms) > 1 || (len(r.Terms) == 0 && r.Problem == "") {
		t.Errorf("after 3 s: %+v", r)
	}
}

// A record whose clock starts again is refused by the reader; cut there, it reads.
func TestReviewRestartedClock(t *testing.T) {
	one := made.OwnPack().CSV()
	head := bytes.Index(one, []byte("Time (min)"))
	rows := one[head:]
	rows = rows[bytes.IndexByte(rows, '\n')+1:]
	lines := bytes.SplitAfter(rows, []byte("\n"))
	twice := append(append(append([]byte(nil), one[:len(one)-len(rows)]...), bytes.Join(lines[:40], nil)...), rows...)
	if _, err := record.Parse("twice.csv", twice); err == nil || !strings.Contains(err.Error(), "twice.csv") {
		t.Errorf("a restarted clock passed: %v", err)
	}
	export, err := record.Parse("twice.csv", twice, record.Options{Clock: record.CutAtReset, Run: 2})
	if err != nil {
		t.Fatal(err)
	}
	f := read(t, made.OwnPack(), func(_ *plan.Review, run *plan.Run) {
		for _, s := range []struct {
			name string
			to   *trace.Trace
		}{{"Flow", &run.Flow}, {"Pressure", &run.Pressure}, {"Bed height", &run.BedHeight}, {"Adapter", &run.Adapter}} {
			if *s.to, err = export.Signal(s.name); err != nil {
				t.Fatal(err)
			}
		}
	})
	if kinds(f) != ownKinds || f.Advice != plan.ProceedToTest {
		t.Errorf("steps %s, %v", kinds(f), f.Advice)
	}
}

func TestReviewRefuses(t *testing.T) {
	refusedPlan := madePlan(t)
	refusedPlan.Refusal = errors.New("too much pressure")
	volume := func(t trace.Trace) trace.Trace {
		out, err := trace.Make(t.Name, t.Unit, trace.Volume, t.Positions(), t.Values())
		if err != nil {
			panic(err)
		}
		return out
	}
	for _, tc := range []struct {
		name   string
		change func(r *plan.Review, run *plan.Run)
		want   string
	}{
		{"no flow", func(_ *plan.Review, run *plan.Run) { run.Flow = trace.Trace{} }, "steps are told by the flow"},
		{"no column", func(r *plan.Review, _ *plan.Run) { *r = plan.Review{} }, "neither a plan nor a column"},
		{"refused plan", func(r *plan.Review, _ *plan.Run) { r.Plan = refusedPlan }, "it was refused: too much pressure"},
		{"unknown unit", func(_ *plan.Review, run *plan.Run) { run.Flow.Unit = "gal/h" }, `its unit "gal/h" is not one of a flow`},
		{"no unit", func(_ *plan.Review, run *plan.Run) { run.Pressure.Unit = "" }, "set the trace's Unit to bar"},
		{"against volume", func(_ *plan.Review, run *plan.Run) { run.Pressure = volume(run.Pressure) }, "against volume"},
		{"upwards", func(_ *plan.Review, run *plan.Run) { run.Flow = run.Flow.Flipped() }, "flow.Flipped()"},
		{"adapter not said", func(_ *plan.Review, run *plan.Run) { run.AdapterReads = plan.NotSaid }, "plan.AboveNet or plan.DrivenDown"},
		{"zero not said", func(_ *plan.Review, run *plan.Run) { run.AdapterReads = plan.DrivenDown }, "AdapterZero: 60 * Centimetre"},
		{"zero too many", func(_ *plan.Review, run *plan.Run) { run.AdapterZero = 1 * Centimetre }, "belongs to DrivenDown"},
		{"height in the wrong unit", func(_ *plan.Review, run *plan.Run) { run.BedHeight.Unit = "m" }, "check its unit, RulerZero and AdapterZero"},
		{"flow in the wrong unit", func(_ *plan.Review, run *plan.Run) { run.Flow.Unit = "m3/h" }, "which no packed bed sees"},
		{"clocks apart", func(_ *plan.Review, run *plan.Run) {
			run.Pressure = changed(t, run.Pressure, "bar", func(v float64) float64 { return v + 1e5 }, same)
		}, "one run on one clock"},
		{"flow all zero", func(_ *plan.Review, run *plan.Run) {
			run.Flow = changed(t, run.Flow, "L/h", same, func(float64) float64 { return 0 })
		}, "zero all the time"},
		{"flow nowhere constant", func(_ *plan.Review, run *plan.Run) {
			n := 0.0
			run.Flow = changed(t, run.Flow, "L/h", same, func(float64) float64 { n++; return math.Exp(math.Min(n, 80) / 10) })
			run.Flow, _ = run.Flow.Within(trace.Times(60, 156))
		}, "nowhere constant within 5 %"},
		{"readings out of order", func(_ *plan.Review, run *plan.Run) {
			run.Readings = []plan.HeightReading{{At: 20 * Minute, Height: 0.2}, {At: 10 * Minute, Height: 0.2}}
		}, "not later than the one before"},
		{"reading outside", func(_ *plan.Review, run *plan.Run) {
			run.Readings = []plan.HeightReading{{At: 200 * Minute, Height: 0.2}}
		}, "outside the record"},
		{"reading of nothing", func(_ *plan.Review, run *plan.Run) {
			run.Readings = []plan.HeightReading{{At: 20 * Minute, Height: Length(math.NaN())}}
		}, "its height is NaN"},
		{"height in millimetres for centimetres", func(_ *plan.Review, run *plan.Run) { run.BedHeight.Unit = "mm" }, "but a bed of 18 cm was asked for"},
		{"bed asked for in the wrong unit", func(r *plan.Review, _ *plan.Run) { r.BedHeight = 18 * Millimetre }, "but a bed of 1.8 cm was asked for"},
		{"mark without unit", func(r *plan.Review, _ *plan.Run) { r.Tolerances.Mark = 2 }, "2 * Millimetre"},
		{"percent without unit", func(r *plan.Review, _ *plan.Run) { r.Steady.Pressure = 2 }, "2 * Percent"},
		{"slurry without unit", func(r *plan.Review, _ *plan.Run) { r.SlurryPoured = 27.5 }, "27.5 * Litre"},
		{"not a number", func(r *plan.Review, _ *plan.Run) { r.Tolerances.Height = Fraction(math.NaN()) }, "height tolerance"},
		{"compression in percent", func(r *plan.Review, _ *plan.Run) { r.CompressionFactor = 12 }, "settled over packed height"},
		{"pump pressure without unit", func(r *plan.Review, _ *plan.Run) { r.Limits.PumpPressure = 3 }, "pump pressure limit"},
	} {
		r, run := plan.Review{Plan: madePlan(t), SlurryPoured: 27.5 * Litre}, runOf(t, made.OwnPack())
		tc.change(&r, &run)
		f, err := r.Of(run)
		if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v, want %q", tc.name, err, tc.want)
			continue
		}
		var in *packing.InputError
		if !errors.As(err, &in) {
			t.Errorf("%s: %T", tc.name, err)
		}
		if !strings.Contains(f.String(), tc.want) || f.Advice != plan.Undecided || len(f.Steps) != 0 {
			t.Errorf("%s: shows %q", tc.name, f.String())
		}
	}
}

// Without a plan the record tells the steps, and only height and factor are held
// against what was asked.
func TestReviewWithoutPlan(t *testing.T) {
	f := read(t, made.OwnPack(), func(r *plan.Review, _ *plan.Run) {
		*r = plan.Review{Column: r.Plan.Request.Column, Medium: r.Plan.Request.Medium, BedHeight: 18 * Centimetre, CompressionFactor: 1.12}
	})
	if kinds(f) != ownKinds || f.Advice != plan.ProceedToTest {
		t.Errorf("steps %s, %v %v", kinds(f), f.Advice, f.Reasons)
	}
	if len(f.Deviations) != 3 {
		t.Errorf("deviations %v", f.Deviations)
	}
	// No curve: the height under flow, 20.27/1.0107, counts as settled.
	about(t, "compression factor", f.CompressionFactor, 20.27/1.0107/18.02, 0.003)
}

// Limits: the time beyond one, against the ten seconds for which the pressure was
// raised.
func TestReviewLimit(t *testing.T) {
	p := made.OwnPack()
	p.Surge = 1.7
	f := read(t, p, nil)
	l := f.Pressures[0]
	if l.Name != "bed of Marram" || l.Verdict != plan.Outside || f.Pressures[1].Verdict != plan.Within {
		t.Fatalf("%+v", f.Pressures)
	}
	about(t, "beyond for, s", l.Over.In(Second), 10, 2)
	about(t, "at, min", l.At.In(Minute), (p.SecondFrom+p.SecondTo)/2, 0.1)
	about(t, "highest, bar", Pressure(l.Most).In(Bar), pressureOf(p.Second, p.Settle)+0.012+1.7, 0.03)
	for i := 1; i < len(f.Pressures); i++ {
		if f.Pressures[i].Limit < f.Pressures[i-1].Limit {
			t.Errorf("limits are not in order: %+v", f.Pressures)
		}
	}
}

// A gauge that shows nothing judges no limit.
func TestReviewDeadGauge(t *testing.T) {
	for name, change := range map[string]func(r *plan.Review, run *plan.Run){
		"wrong unit": func(_ *plan.Review, run *plan.Run) { run.Pressure.Unit = "Pa" },
		"all zero": func(_ *plan.Review, run *plan.Run) {
			run.Pressure = changed(t, run.Pressure, "bar", same, func(float64) float64 { return 0 })
		},
	} {
		f := read(t, made.OwnPack(), change)
		for _, l := range f.Pressures {
			if l.Verdict != plan.NotJudged {
				t.Errorf("%s: %+v", name, l)
			}
		}
		if text := f.String(); !strings.Contains(text, "look at the gauge and at the unit") || strings.Contains(text, "no pressure limit that was given was passed") {
			t.Errorf("%s: %s", name, text)
		}
	}
}

// A ramp has no steps: it is doubted, and its stretches are told once.
func TestReviewRamp(t *testing.T) {
	f := read(t, made.OwnPack(), func(_ *plan.Review, run *plan.Run) {
		x, y := run.Flow.Positions(), run.Flow.Values()
		for i := range x {
			y[i] = x[i] / 20 // 180 L/h after an hour
		}
		var err error
		if run.Flow, err = trace.Make("Flow", "L/h", trace.Time, x, y); err != nil {
			t.Fatal(err)
		}
	})
	if !strings.Contains(strings.Join(f.Doubts, "\n"), "a ramp, or a flow that does not settle") {
		t.Errorf("%d steps, doubts %q", len(f.Steps), f.Doubts)
	}
	if len(f.NotJudged) > 12 {
		t.Errorf("%d lines of what is not judged", len(f.NotJudged))
	}
}

// Doubts about zeros and about a factor at the edge of what is allowed.
func TestReviewDoubts(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(r *plan.Review, run *plan.Run)
		want   string
	}{
		{"ruler of the plan", func(r *plan.Review, _ *plan.Run) { r.Plan.Request.RulerZero = 12 * Millimetre }, "plan's ruler reads 1.2 cm"},
		{"reading by eye", func(_ *plan.Review, run *plan.Run) {
			run.Readings = []plan.HeightReading{{At: 45 * Minute, Height: 19 * Centimetre}}
		}, "At 45.0 min the bed was read by eye 9."},
		{"gauge", func(_ *plan.Review, run *plan.Run) {
			run.Pressure = changed(t, run.Pressure, "bar", same, func(v float64) float64 { return v + 0.1 })
		}, "The gauge reads 0.099 bar"},
		{"slurry lost", func(r *plan.Review, _ *plan.Run) { r.SlurryPoured = 31 * Litre }, "slurry left in tank and hoses"},
		// 20.27/18.02 = 1.125, 0.005 from 1.12, with an error of 0.004.
		{"factor at the edge", func(r *plan.Review, _ *plan.Run) { r.Tolerances.CompressionFactor = 0.006 }, "leaves that open"},
		{"velocity limit", func(r *plan.Review, _ *plan.Run) {
			r.Medium = r.Plan.Request.Medium
			r.Medium.MaxVelocity = 320 * CentimetrePerHour
		}, "above the limit for the velocity of Marram, 320 cm/h"},
	} {
		f := read(t, made.OwnPack(), tc.change)
		if all := strings.Join(f.Doubts, "\n"); !strings.Contains(all, tc.want) {
			t.Errorf("%s: doubts %q", tc.name, all)
		}
	}
	if f := read(t, made.OwnPack(), nil); len(f.Doubts) != 0 {
		t.Errorf("doubts about a pack that went well: %q", f.Doubts)
	}
}

// A pause of the record is told.
func TestReviewPause(t *testing.T) {
	f := read(t, made.OwnPack(), func(_ *plan.Review, run *plan.Run) {
		run.Flow = changed(t, run.Flow, "L/h", func(v float64) float64 {
			if v > 1000 {
				return v + 300
			}
			return v
		}, same)
	})
	if all := strings.Join(f.Doubts, "\n"); !strings.Contains(all, "pauses for 5.033 min from 16.63 min") {
		t.Errorf("doubts: %s", all)
	}
}

// The page holds what has to be seen, in every form, and never says accept.
func TestReviewShows(t *testing.T) {
	f := read(t, made.OwnPack(), nil)
	for form, text := range map[string]string{"HTML": f.Page().HTML(), "Markdown": f.Page().Markdown(), "String": f.String()} {
		for _, want := range []string{"Proceed to test:", "Not judged", "Sheet for the batch record", "initials", "common practice, no source", "end of step 2, compress", "1.124"} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q is missing", form, want)
			}
		}
		if regexp.MustCompile(`(?i)\baccept\b|NaN|Inf\b`).MatchString(text) {
			t.Errorf("%s: %s", form, regexp.MustCompile(`(?i).*(\baccept\b|NaN|Inf\b).*`).FindString(text))
		}
	}
	if a, b := f.Page().HTML(), read(t, made.OwnPack(), nil).Page().HTML(); a != b {
		t.Error("the same record gives another page")
	}
	if svg := f.Figure().SVG(); strings.Count(svg, "<svg") != 1 || !strings.Contains(f.Figure().String(), "step 2, compress from 41.9 to 49.3 min at 331 cm/h") {
		t.Errorf("figure: %s", f.Figure())
	}
	var none plan.Findings
	if !strings.Contains(none.Page().HTML(), "nothing has been read back") || none.Advice != plan.Undecided {
		t.Error("the zero value shows something")
	}
	if none.Figure().SVG() == "" || none.Closeup().SVG() == "" || len(none.Table().Rows) != 0 {
		t.Error("figures of nothing")
	}
}

func TestAfterFailedTest(t *testing.T) {
	done := func(what ...plan.Remedy) plan.AfterFailedTest {
		a := plan.AfterFailedTest{Shape: plan.Tailing, MoreAllowed: true}
		for _, w := range what {
			a.Done = append(a.Done, plan.Done{What: w, Note: "noted"})
		}
		return a
	}
	// The order is common practice, no source. The first five do not touch the bed.
	without := []plan.Remedy{plan.CheckInputs, plan.LookAtColumn, plan.TestWithoutColumn, plan.RepeatTest, plan.ChangeTracer}
	order := append(without[:5:5], plan.ResetAdapter, plan.ConsolidateOn, plan.ReslurryTop, plan.UnpackAndPack)
	for i, want := range order {
		n, err := done(order[:i]...).Next()
		if err != nil || n.Next != want || len(n.Doubts) != 0 {
			t.Errorf("after %v: %v, %v, %v", order[:i], n.Next, n.Doubts, err)
		}
		if !strings.Contains(n.String(), "Next: "+want.String()) {
			t.Errorf("shows %s", n)
		}
	}
	for _, tc := range []struct {
		name  string
		done  []plan.Remedy
		next  plan.Remedy
		doubt string
	}{
		{"a new bed starts again", order, plan.CheckInputs, ""},
		{"twice", append(without[:4:4], plan.RepeatTest), plan.ChangeTracer, "more than once"},
		{"out of order", []plan.Remedy{plan.ResetAdapter, plan.CheckInputs}, plan.LookAtColumn, "was done after reset the adapter"},
		{"one with each bed", []plan.Remedy{plan.CheckInputs, plan.UnpackAndPack, plan.CheckInputs}, plan.LookAtColumn, ""},
	} {
		n, err := done(tc.done...).Next()
		if err != nil || n.Next != tc.next || (tc.doubt == "") != (len(n.Doubts) == 0) || !strings.Contains(strings.Join(n.Doubts, ""), tc.doubt) {
			t.Errorf("%s: %v, %q, %v", tc.name, n.Next, n.Doubts, err)
		}
	}
	// By shape, and never in reverse under a gap or an unknown one.
	for _, tc := range []struct {
		a    plan.AfterFailedTest
		next plan.Remedy
		over string
	}{
		{plan.AfterFailedTest{Shape: plan.Fronting, AdapterTouches: true, NetsBothWays: true}, plan.ReversePulse, "reset the adapter: it is for a tail"},
		{plan.AfterFailedTest{Shape: plan.Fronting, AdapterTouches: true}, plan.ReslurryTop, "reverse flow lifts a bed under a gap"},
		{plan.AfterFailedTest{Shape: plan.Fronting, NetsBothWays: true, MoreAllowed: true}, plan.ConsolidateOn, "reverse flow lifts a bed under a gap"},
		{plan.AfterFailedTest{AdapterTouches: true, NetsBothWays: true}, plan.ReslurryTop, "consolidate further: curve and limits are not known to allow it"},
		{plan.AfterFailedTest{Shape: plan.Tailing}, plan.ResetAdapter, ""},
	} {
		tc.a.Done = done(without...).Done
		n, err := tc.a.Next()
		if over := strings.Join(n.Skipped, "\n"); err != nil || n.Next != tc.next || !strings.Contains(over, tc.over) || (tc.over == "") != (over == "") {
			t.Errorf("%+v: %v, %q, %v", tc.a, n.Next, n.Skipped, err)
		}
		for k := range without { // whatever else is known, nothing touches the bed before
			tc.a.Done = done(append(without[:k:k], without[k+1:]...)...).Done
			if n, _ := tc.a.Next(); n.Next != without[k] {
				t.Errorf("without %v: %v", without[k], n.Next)
			}
		}
	}
	if n, err := (plan.AfterFailedTest{Shape: 3}).Next(); err == nil || !strings.Contains(n.String(), "there is no such shape") {
		t.Error(err)
	}
	if n, err := done(plan.Remedy(11)).Next(); err == nil || !strings.Contains(n.Page().HTML(), "there is no remedy 11") {
		t.Errorf("remedy 11: %v", err)
	}
	var none plan.NextRemedy
	if !strings.Contains(none.String(), "nothing was asked") {
		t.Error(none)
	}
}

// Whatever is recorded, there is an answer or an error, and it shows itself.
func TestReviewAnything(t *testing.T) {
	review := plan.Review{Plan: madePlan(t), SlurryPoured: 27.5 * Litre}
	answers := 0
	for seed := range uint64(400) {
		r := rand.New(rand.NewPCG(seed, 5))
		signal := func(name, unit string, most float64) trace.Trace {
			if r.IntN(4) == 0 {
				return trace.Trace{}
			}
			n := 2 + r.IntN(60)
			x, y := make([]float64, n), make([]float64, n)
			at, level := 1000*r.Float64(), most*r.Float64()
			for i := range x {
				if r.IntN(5) == 0 {
					level = most * r.Float64()
				}
				at += float64(r.IntN(100))
				x[i], y[i] = at, level
			}
			tr, err := trace.Make(name, unit, trace.Time, x, y)
			if err != nil {
				return trace.Trace{}
			}
			return tr
		}
		f, err := review.Of(plan.Run{Flow: signal("Flow", "cm/h", 400), Pressure: signal("Pressure", "bar", 1), BedHeight: signal("Bed height", "cm", 40),
			Adapter: signal("Adapter", "cm", 40), AdapterReads: plan.AboveNet})
		if err == nil && len(f.Steps) > 0 {
			answers++
		}
		if f.Page().HTML() == "" || (err != nil) != (f.Refusal != nil) {
			t.Errorf("seed %d: %v, %v", seed, err, f.Refusal)
		}
		for _, s := range f.Steps {
			if !(s.End >= s.Start) {
				t.Errorf("seed %d: step %+v", seed, s)
			}
		}
	}
	if answers < 100 {
		t.Errorf("only %d answers", answers)
	}
}

// Every input of the review that is read changes the page.
func TestReviewReadsEveryInput(t *testing.T) {
	own := read(t, made.OwnPack(), nil).String()
	for name, change := range map[string]func(r *plan.Review, run *plan.Run){
		"BedHeight":         func(r *plan.Review, _ *plan.Run) { r.BedHeight = 17.9 * Centimetre },
		"CompressionFactor": func(r *plan.Review, _ *plan.Run) { r.CompressionFactor = 1.13 },
		"Limits":            func(r *plan.Review, _ *plan.Run) { r.Limits.SystemPressure = 2.2 * Bar },
		"TubePressure":      func(r *plan.Review, _ *plan.Run) { r.Limits.TubePressure = 4 * Bar },
		"PumpPressure":      func(r *plan.Review, _ *plan.Run) { r.Limits.PumpPressure = 4 * Bar },
		"ReliefPressure":    func(r *plan.Review, _ *plan.Run) { r.Limits.ReliefPressure = 4 * Bar },
		"Slurry":            func(r *plan.Review, _ *plan.Run) { r.Slurry.Concentration = 51 * Percent },
		"SlurryPoured":      func(r *plan.Review, _ *plan.Run) { r.SlurryPoured = 27.3 * Litre },
		"SlurryStdErr":      func(r *plan.Review, _ *plan.Run) { r.SlurryStdErr = 1 * Percent },
		"PouredStdErr":      func(r *plan.Review, _ *plan.Run) { r.PouredStdErr = 1 * Litre },
		"HeightStdErr":      func(r *plan.Review, _ *plan.Run) { r.HeightStdErr = 1 * Millimetre },
		"Steady.Height":     func(r *plan.Review, _ *plan.Run) { r.Steady.Height = 2 * Millimetre },
		"Steady.Pressure":   func(r *plan.Review, _ *plan.Run) { r.Steady.Pressure = 5 * Percent },
		"Steady.Over":       func(r *plan.Review, _ *plan.Run) { r.Steady.Over = 4 * Minute },
		"Velocity":          func(r *plan.Review, _ *plan.Run) { r.Tolerances.Velocity = 0.1 * Percent },
		"Pressure":          func(r *plan.Review, _ *plan.Run) { r.Tolerances.Pressure = 1 * Percent },
		"Height":            func(r *plan.Review, _ *plan.Run) { r.Tolerances.Height = 0.1 * Percent },
		"Mark":              func(r *plan.Review, _ *plan.Run) { r.Tolerances.Mark = 0.1 * Millimetre },
		"Factor":            func(r *plan.Review, _ *plan.Run) { r.Tolerances.CompressionFactor = 0.001 },
		"Volume":            func(r *plan.Review, _ *plan.Run) { r.Tolerances.Volume = 0.1 * Percent },
		"ShortestPlateau":   func(r *plan.Review, _ *plan.Run) { r.ShortestPlateau = 5 * Minute },
		"FlowTolerance":     func(r *plan.Review, _ *plan.Run) { r.FlowTolerance = 40 * Percent },
		"Curve":             func(r *plan.Review, _ *plan.Run) { r.Curve = r.Plan.Request.Curve; r.Curve.Points = nil },
		"Label": func(r *plan.Review, run *plan.Run) {
			r.Column = r.Plan.Request.Column
			r.Column.Tag = ""
			run.Label = "friday"
		},
	} {
		if read(t, made.OwnPack(), change).String() == own {
			t.Errorf("%s changes nothing", name)
		}
	}
}
