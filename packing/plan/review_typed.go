package plan

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// Typed is the record of a pack that was written by hand, where nothing was
// recorded. What is zero was not written down.
type Typed struct {
	Label     string       // column and number of the pack
	Gauge     string       // which one, and where
	HeightBy  string       // how heights are read: seen, scale of the adapter, dip
	RulerZero units.Length // what heights read at the bottom net

	Samples      packing.SlurrySamples // readings of the slurry
	SamplesStood units.Time            // how long they stood, or were spun
	SlurryPoured units.Volume
	StirToPour   units.Time // from stirring to the end of the transfer

	Settled      units.Length   // gravity-settled height, by the ruler
	SettledUnder units.Velocity // the flow under which it was read; zero: at rest
	SettledAfter units.Time     // how long after the beads had settled

	Rows []TypedRow
}

// A TypedRow is a line of a typed record: a step, or a part of one.
type TypedRow struct {
	From, To    units.Time // on one clock
	Liquid      string
	Temperature units.Temperature
	Up          bool             // upflow
	Flow        units.VolumeFlow // zero: no flow
	Pressure    units.Pressure   // at the end of the row; zero: not read
	Volume      units.Volume     // passed
	Heights     []units.Length   // of the bed at its end, at 1, 3 or 4 points, by the ruler; nil: not visible
	Adapter     units.Length     // its lower face above the bottom net at the end; zero: not read
	Force       units.Force      // of the drive
	Valves, By  string
}

// OfTyped reads a typed record back like a recorded one, see Of. A number that was
// typed once says nothing of a change: whether a step was steady needs two rows of
// it, at least the time of the criterion apart. What was not written down is listed
// as not judged. It refuses rows that overlap, run backwards or hold numbers that
// cannot be.
func (r Review) OfTyped(t Typed) (Findings, error) {
	run, err := t.run(r)
	if err != nil {
		return Findings{Review: r, Refusal: err}, err
	}
	if r.SlurryPoured == 0 {
		r.SlurryPoured = t.SlurryPoured
	}
	var samples string
	if t.Samples.Sample != 0 {
		c, err := t.Samples.Evaluate()
		if err != nil {
			return Findings{Review: r, Run: run, Refusal: err}, err
		}
		if r.Slurry.Concentration == 0 {
			r.Slurry = c.Slurry
		}
		if r.SlurryStdErr == 0 && !math.IsNaN(float64(c.StdErr)) {
			r.SlurryStdErr = c.StdErr
		}
		if len(c.Warnings) > 0 {
			samples = c.Warnings[0]
		}
	}
	f, err := r.Of(run)
	if err != nil {
		return f, err
	}
	w := &reviewer{r: f.Review, run: f.Run, f: &f, planned: f.Review.Plan.Request.Column.InnerDiameter != 0}
	w.typedHead(t, samples)
	w.typedRows(t)
	return f, nil
}

// typedHead lists what the head of a typed record does not tell.
func (w *reviewer) typedHead(t Typed, samples string) {
	for _, x := range []struct {
		missing bool
		what    string
	}{
		{t.Gauge == "", "which gauge was read, and where it stands"},
		{t.HeightBy == "", "how heights were read: seen, by the scale of the adapter, or dipped"},
		{t.Samples.Sample == 0, "how the concentration of the slurry was read"},
		{t.Samples.Sample != 0 && t.SamplesStood == 0, "whether the samples of the slurry had settled (no time written down)"},
		{t.StirToPour == 0, "whether the slurry was in before it settled (no time from stirring to pouring)"},
		{t.Settled != 0 && t.SettledAfter == 0, "whether the settled height was at rest (not written down after how long it was read)"},
	} {
		if x.missing {
			w.notJudged("%s", x.what)
		}
	}
	if len(w.f.Moves) > 0 {
		w.taken("the adapter as moving evenly in the row in which its position changed; how fast it went is not known")
	}
	w.notJudged("pressures between the rows: only what was typed is held against the limits")
	if samples != "" {
		w.doubt("Slurry samples: %s", samples)
	}
	if clear := w.r.Plan.Pour.ClearLayer; w.planned && t.StirToPour > clear {
		w.doubt("From stirring to the end of the transfer it took %s, and 1 cm of clear liquid forms in %s: what came first settled first.", span(t.StirToPour), span(clear))
	}
}

// typedRows looks for rows that contradict themselves.
func (w *reviewer) typedRows(t Typed) {
	valves, by := 0, 0
	for i, row := range t.Rows {
		if row.Valves == "" {
			valves++
		}
		if row.By == "" {
			by++
		}
		if passed := row.Flow.For(row.To - row.From); row.Volume > 0 && math.Abs(row.Volume.In(passed)-1) > float64(w.r.Tolerances.Volume) {
			w.doubt("Row %d: %s are written down, and %s passed by its flow and times: one of the three is wrong.", i+1, volume(row.Volume), volume(passed))
		}
		if n := len(row.Heights); n > 1 {
			least, most := extremes(lengths(row.Heights))
			if tilt := units.Length(most - least); tilt > w.r.Tolerances.Mark {
				w.doubt("Row %d: the bed stands %.1f mm higher on one side than on the other.", i+1, tilt.In(units.Millimetre))
			}
		}
		if i > 0 && row.From > t.Rows[i-1].To {
			w.doubt("Nothing is written down from %s to %s; it was taken as no flow.", minutes(t.Rows[i-1].To), minutes(row.From))
		}
	}
	if valves > 0 {
		w.notJudged("which valves were open (not written down in %d of %d rows)", valves, len(t.Rows))
	}
	if by > 0 {
		w.notJudged("who did it (not written down in %d of %d rows)", by, len(t.Rows))
	}
}

func lengths(h []units.Length) []float64 {
	out := make([]float64, len(h))
	for i, v := range h {
		out[i] = float64(v)
	}
	return out
}

// spacing is the time between the points of the traces that are made of the rows:
// fine enough for the ends of the steps.
func (t Typed) spacing() units.Time {
	return (t.Rows[len(t.Rows)-1].To - t.Rows[0].From).Times(1. / 2000)
}

// run makes traces of the rows: flow and adapter as they were typed, pressure and
// heights at the end of each row. Nothing in them is a reading of a change.
func (t Typed) run(r Review) (Run, error) {
	run := Run{Label: t.Label, RulerZero: t.RulerZero, typed: &t}
	bad := func(i int, what, problem, remedy string) (Run, error) {
		return run, &packing.InputError{Where: t.Label, What: fmt.Sprintf("row %d%s", i+1, what), Problem: problem, Remedy: remedy}
	}
	if len(t.Rows) < 2 {
		return run, &packing.InputError{Where: t.Label, What: "typed record", Problem: fmt.Sprintf("%d rows", len(t.Rows)), Remedy: "give a row for each step at least"}
	}
	var x, flow, px, pressure, ax, adapter []float64
	last, spacing := units.Length(0), t.spacing()
	for i, row := range t.Rows {
		switch {
		case !(row.To-row.From >= 1*units.Second) || math.IsInf(float64(row.To), 0):
			return bad(i, "", fmt.Sprintf("it goes from %v to %v", row.From, row.To), "give From and To on one clock, for example 12 * Minute")
		case i > 0 && row.From < t.Rows[i-1].To:
			return bad(i, fmt.Sprintf(" from %v", row.From), fmt.Sprintf("the row before ends at %v", t.Rows[i-1].To), "give rows by rising time that do not overlap")
		case row.Up:
			return bad(i, "", "it is upflow", "leave the row out and note it: only downflow packs a bed here")
		case !(row.Flow >= 0) || !(row.Pressure >= 0) || !(row.Volume >= 0) || !(row.Adapter >= 0) || math.IsInf(float64(row.Flow+units.VolumeFlow(row.Volume)), 0) || math.IsInf(float64(row.Pressure), 0) || math.IsInf(float64(row.Adapter), 0):
			return bad(i, "", "flow, pressure, volume and adapter must be numbers, not below zero", "leave out what was not read")
		case row.Pressure > 0 && packing.CheckPressure("pressure", row.Pressure) != nil:
			return bad(i, "", packing.CheckPressure("pressure", row.Pressure).Error(), "")
		}
		n := max(4, int(math.Ceil((row.To - row.From).In(spacing))))
		for k := range n {
			at := row.From + (row.To - row.From).Times((float64(k)+0.5)/float64(n))
			x, flow = append(x, float64(at)), append(flow, row.Flow.In(units.LitrePerHour))
			if row.Pressure > 0 {
				px, pressure = append(px, float64(at)), append(pressure, row.Pressure.In(units.Bar))
			}
			if row.Adapter > 0 {
				from := row.Adapter
				if last > 0 {
					from = last
				}
				part := math.Min(1, 1.25*float64(k)/float64(n)) // there before the row ends
				ax, adapter = append(ax, float64(at)), append(adapter, (from+(row.Adapter-from).Times(part)).In(units.Centimetre))
			}
		}
		if row.Adapter > 0 {
			last = row.Adapter
		}
		if n := len(row.Heights); n > 0 {
			if n != 1 && n != 3 && n != 4 {
				return bad(i, "", fmt.Sprintf("%d heights", n), "give 1, 3 or 4 points")
			}
			sum := units.Length(0)
			for _, h := range row.Heights {
				sum += h
			}
			run.Readings = append(run.Readings, HeightReading{At: row.To - spacing.Times(4), Height: sum.Times(1 / float64(n))})
		}
	}
	for _, s := range []struct {
		to         *trace.Trace
		name, unit string
		x, y       []float64
	}{{&run.Flow, "Flow", "L/h", x, flow}, {&run.Pressure, "Pressure", "bar", px, pressure}, {&run.Adapter, "Adapter", "cm", ax, adapter}} {
		if len(s.x) == 0 {
			continue
		}
		var err error
		if *s.to, err = trace.Make(s.name, s.unit, trace.Time, s.x, s.y); err != nil {
			return run, &packing.InputError{Where: t.Label, What: s.name, Problem: err.Error(), Remedy: "look at the rows"}
		}
	}
	if len(ax) > 0 {
		run.AdapterReads = AboveNet
	}
	return run, nil
}

// typedDrift is drift from pressures that were typed: the last row of a step
// against one at least the time of the criterion earlier.
func (w *reviewer) typedDrift(s *Step, read func(TypedRow) float64) (change, se float64, why string) {
	nan := math.NaN()
	var at []units.Time
	var y []float64
	for _, row := range w.run.typed.Rows {
		if v := read(row); v > 0 && row.To > s.Start && row.To <= s.End+w.run.typed.spacing().Times(4) {
			at, y = append(at, row.To), append(y, v)
		}
	}
	n := len(y) - 1
	for i := n - 1; i >= 0; i-- {
		if d := at[n] - at[i]; d >= w.r.Steady.Over {
			return (y[n] - y[i]) * w.r.Steady.Over.In(d), nan, ""
		}
	}
	return nan, nan, fmt.Sprintf("typed once is no reading of a change: it needs two rows %v apart", w.r.Steady.Over)
}
