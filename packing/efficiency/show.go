package efficiency

import (
	"fmt"
	"math"
	"strings"

	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// name returns how the test is called in headings.
func (r PulseResult) name() string {
	if r.Pulse.Column.Tag == "" {
		return "Pulse test"
	}
	return "Pulse test of " + r.Pulse.Column.Tag
}

// Page lays the result out: the verdict and what was not checked, the doubts,
// the numbers, the trace, and how it was measured.
func (r PulseResult) Page() page.Page {
	var p page.Page
	p.Heading(r.name())
	if r.Refusal != nil || r.Plates == 0 {
		p.NoResult(r.Refusal, "nothing has been evaluated.")
		return p
	}
	p.Notice(r.verdict())
	if text := r.closeness(); text != "" {
		p.Notice("Uncertainty:", text)
	}
	if missing := r.unchecked(); missing != "" {
		p.Notice("Not checked:", missing)
	}
	p.List("Doubts", sentences(r.beside()))
	p.Table(r.Table())
	p.Figure(r.Figure())
	p.Table(r.formTable())
	p.Table(r.Measured())
	if r.Pulse.ExtraColumn != (ExtraColumn{}) {
		if c, err := r.Corrected(); err == nil {
			p.Append(c.Page())
		}
	}
	p.List("Cautions", r.cautions())
	return p
}

// verdict returns the outcome in words: why the test is not valid or how each
// number stands to its limit, and what was seen of the bed.
func (r PulseResult) verdict() (title, text string) {
	parts := comparisons(r.Checks)
	invalid := r.invalid()
	switch {
	case len(invalid) > 0:
		title, text = "Not decided: test not valid,", "because "+because(invalid)
		if len(parts) > 0 {
			text += " The numbers, which decide nothing: " + strings.Join(parts, "; ") + "."
		}
	case len(parts) == 0:
		title, text = "No verdict:", "No limit was given. The numbers below say nothing about pass or fail."
	default:
		title = map[Outcome]string{Meets: "Meets the limits:", DoesNotMeet: "Does not meet the limits:", NotDecided: "Not decided:"}[r.Verdict]
		text = strings.Join(parts, "; ") + "."
	}
	if len(parts) > 0 && r.Pulse.Limits.Name != "" {
		text += " Limits: " + r.Pulse.Limits.Name + "."
	}
	text += " Counted from " + r.CountedFrom + "."
	for _, w := range r.Warnings {
		if w.OfTheBed && !w.Invalidates {
			if text += " Finding: " + lowerFirst(w.What) + "."; len(invalid) == 0 {
				text += " " + w.Do + "."
			}
		}
	}
	return title, text
}

// comparisons writes each number that has a limit beside it.
func comparisons(checks []Check) []string {
	var parts []string
	for _, c := range checks {
		switch c.Outcome {
		case NotChecked:
		case NotDecided:
			parts = append(parts, fmt.Sprintf("%s %s, limit %s", c.Quantity, c.Reported, c.Limit))
		default:
			parts = append(parts, fmt.Sprintf("%s %s, limit %s: %s", c.Quantity, c.Reported, c.Limit, c.Outcome))
		}
	}
	return parts
}

// because joins what makes a test invalid, and what a valid repeat needs.
func because(invalid []Warning) string {
	var what, needs []string
	for _, w := range invalid {
		what, needs = append(what, lowerFirst(w.What)), append(needs, lowerFirst(w.Do))
	}
	return strings.Join(what, "; and because ") + ". For a valid test: " + strings.Join(needs, "; ") + "."
}

// lowerFirst writes the beginning of a sentence for the middle of one; an
// abbreviation stays.
func lowerFirst(s string) string {
	if len(s) < 2 || s[1] >= 'A' && s[1] <= 'Z' {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

// axisLabel says what the picture's axis counts from.
func (r PulseResult) axisLabel() string {
	if r.origin.unchecked != "" {
		return "Volume since " + r.CountedFrom
	}
	return "Volume since the start of the sample, counted from " + shortened(r.CountedFrom)
}

// shortened cuts a text that would not fit below a picture.
func shortened(s string) string {
	const most = 60
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}

// unchecked lists what no limit or no input was given for.
func (r PulseResult) unchecked() string {
	var names []string
	if zero := r.origin.notChecked(r.recorded); zero != "" {
		names = append(names, zero)
	}
	for _, c := range r.Checks {
		if c.Outcome == NotChecked {
			names = append(names, c.Quantity+" (no limit given)")
		}
	}
	if r.Pulse.SampleVolume == 0 {
		names = append(names, "the sample's own width (no SampleVolume given)")
	}
	if len(r.flows) == 0 {
		names = append(names, "the flow (the record has none)")
	}
	t := r.Pulse.Tracer
	if t.Kind == TracerNotGiven && !r.salt() {
		names = append(names, "what the tracer does in the bed (no kind of Tracer given)")
	}
	if r.RetentionCheck.Outcome == NotChecked {
		names = append(names, "the net retention (none stated for this tracer on this medium)")
	}
	if r.Pulse.Direction == DirectionNotGiven {
		names = append(names, "whether the test ran in the direction of use (no Direction given)")
	}
	if r.Baseline.After.IsZero() {
		names = append(names, "noise and return to the baseline (no baseline asked for)")
	}
	return strings.Join(names, "; ")
}

// Table returns the reported numbers with their errors, limits and outcomes.
// Plates never stand without reduced plate height, asymmetry and velocity.
func (r PulseResult) Table() table.Table {
	if err := r.ready(); err != nil {
		return without("Result", err)
	}
	t := table.Table{Caption: "Result", RowHeaders: true, Columns: []table.Column{
		{Name: "quantity"}, {Name: "value", Right: true}, {Name: "unit"},
		{Name: "standard error", Right: true}, {Name: "limit"}, {Name: "outcome"}}}
	checked := func(i int) (limit, outcome string) {
		if i >= len(r.Checks) {
			return "not given", NotChecked.String()
		}
		return r.Checks[i].Limit.String(), r.Checks[i].Outcome.String()
	}
	limit, outcome := checked(0)
	t.Add("plates per metre", number.Fixed(r.PlatesPerMetre, 0), "1/m", number.Significant(r.PlatesPerMetreStdErr, 2), limit, outcome)
	limit, outcome = checked(1)
	t.Add("reduced plate height", number.Fixed(r.ReducedPlateHeight, 1), "", number.Significant(r.ReducedPlateHeightStdErr, 2), limit, outcome)
	limit, outcome = checked(2)
	t.Add("asymmetry at 10 %, b/a", number.Fixed(r.Asymmetry, 2), "", number.Significant(r.AsymmetryStdErr, 2), limit, outcome)
	limit, outcome = checked(3)
	t.Add("symmetry factor at 5 %, w/2a", number.Fixed(r.SymmetryFactor, 2), "", number.Significant(r.SymmetryFactorStdErr, 2), limit, outcome)
	t.Add("test velocity", number.Fixed(r.Velocity.In(units.CentimetrePerHour), 1), "cm/h", "", "", "")
	t.Add("plate height, HETP", number.Fixed(r.HETP.In(units.Millimetre), 3), "mm", "", "", "")
	t.Add("plates, 5.54 (tR/w)²", number.Fixed(r.Plates, 0), "", "", "", "")
	t.Add("plates, 8 ln 2 (tR/w)²", number.Fixed(r.PlatesExact, 0), "", "", "", "")
	t.Add("plates by moments, M1²/M2", number.Fixed(r.PlatesMoments, 0), "", "", "", "")
	t.Add("retention", number.Fixed(r.ColumnVolumes, 3), "CV", "", "", "")
	volume, unit, _ := strings.Cut(r.RetentionVolume.String(), " ") // of the size's own unit
	t.Add("retention volume", volume, unit, "", "", "")
	limit, outcome = r.RetentionCheck.Limit.String(), r.RetentionCheck.Outcome.String()
	if r.RetentionCheck.Limit.IsZero() {
		limit = "not stated"
	}
	net := "net retention, less half the sample"
	if _, given := r.Pulse.holdUp(); given {
		net = "net retention, less hold-up and half the sample"
	}
	if r.Pulse.SampleVolume == 0 {
		net = strings.NewReplacer(", less half the sample", ", nothing taken off", " and half the sample", "").Replace(net)
	}
	t.Add(net, number.Fixed(r.NetRetention, 3), "CV", number.Significant(r.NetRetention*r.Pulse.retentionError(), 2), limit, outcome)
	t.Add("retention time", number.Fixed(r.Retention.In(units.Minute), 3), "min", "", "", "")
	return t
}

// Measured tells how the numbers were measured: test, signal, baseline, smoothing,
// crossings and the limits of the moments.
func (r PulseResult) Measured() table.Table {
	if err := r.ready(); err != nil {
		return without("How it was measured", err)
	}
	t := table.Table{Caption: "How it was measured", RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "found"}}}
	show := r.Axis.Show
	p := r.Pulse
	if p.Medium.Name != "" {
		t.Add("medium", p.Medium.Label())
	}
	t.Add("mean bead", r.Bead.String())
	t.Add("bed", fmt.Sprintf("%v by %v, %v", p.Column.InnerDiameter, p.BedHeight, r.volume))
	flow := fmt.Sprintf("%v, %v", p.Flow, r.Velocity)
	if p.Direction != DirectionNotGiven {
		flow += ", " + p.Direction.String()
	}
	t.Add("flow", flow)
	sample := "volume not given"
	if p.SampleVolume > 0 {
		sample = fmt.Sprintf("%v, %s of the column volume", p.SampleVolume, percentage(p.SampleVolume.In(r.volume)))
	}
	t.Add("sample", sample)
	t.Add("tracer", p.Tracer.String())
	t.Add("counted from", r.CountedFrom)
	if len(r.flows) > 0 {
		t.Add("flow of the record", toldFlows(r.flows))
	}
	if v, given := p.holdUp(); given {
		t.Add("hold-up outside the column", v.String())
	}
	if p.Purpose != "" {
		t.Add("purpose", p.Purpose)
	}
	if p.Temperature != 0 {
		t.Add("temperature", p.Temperature.String())
	}
	if !p.Search.IsZero() {
		t.Add("searched in", p.Search.String())
	}
	signal := r.Signal + " against " + r.Axis.String()
	if r.File != "" {
		signal += ", from " + r.File
	}
	t.Add("signal", signal)
	if r.Baseline.After.IsZero() {
		t.Add("baseline", "none taken away")
	} else {
		t.Add("baseline", fmt.Sprintf("%s through %s and %s", baselineKind(r.Baseline), r.Baseline.Before, r.Baseline.After))
		noise := "none to be seen"
		if r.Baseline.Noise > 0 {
			noise = strings.TrimSpace(fmt.Sprintf("%.2g %s, the peak is %.0f times as high", r.Baseline.Noise, r.Unit, r.Height/r.Baseline.Noise))
		}
		t.Add("noise about it", noise)
	}
	if r.SmoothingWindow > 1 {
		t.Add("smoothing", fmt.Sprintf("moving quadratic (Savitzky, Golay) over %d points", r.SmoothingWindow))
	} else {
		t.Add("smoothing", "none")
	}
	t.Add("apex", fmt.Sprintf("%s, %s %s high", show(r.Apex.X), number.Fixed(r.Height, 2), r.Unit))
	t.Add("width at 50 %", fmt.Sprintf("%s, from %s to %s, %d points", show(r.Half.Width()), show(r.Half.Left), show(r.Half.Right), r.PointsAboveHalfHeight))
	t.Add("width at 10 %", fmt.Sprintf("a %s, b %s", show(r.Tenth.Front(r.Apex)), show(r.Tenth.Back(r.Apex))))
	if !math.IsNaN(r.Fifth.Width()) {
		t.Add("width at 5 %", fmt.Sprintf("%s, its front %s", show(r.Fifth.Width()), show(r.Fifth.Front(r.Apex))))
	}
	if math.IsNaN(r.Moments.Mean) {
		t.Add("moments", "cannot be taken from "+r.Moments.Range.String())
		return t
	}
	t.Add("moments", fmt.Sprintf("from %s: M1 %s, standard deviation %s", r.Moments.Range, show(r.Moments.Mean), show(math.Sqrt(r.Moments.Variance))))
	return t
}

// baselineKind names the line that was taken away.
func baselineKind(l trace.Line) string {
	if l.Bent() {
		return "rubber band"
	}
	return "straight line"
}

// cautions are what one has to know beside the numbers.
func (r PulseResult) cautions() []string {
	list := []string{
		"Plates by half height do not see a tail: a peak with as much tail as width (τ = σ) gets 29 % too many. Read them with the asymmetry.",
		"The standard errors hold the noise of the signal only. Flow, sample and bed differ from run to run: only repeats tell how much.",
	}
	if r.Verdict == DoesNotMeet {
		list = append(list, "After a failed test, in this order: "+strings.Join(r.remedies(), "; ")+". Most failed tests are failed tests and no failed beds. Count and record every one; say beforehand how many repeats count. Common practice, no source.", failureCaution)
	}
	return list
}

// beside returns the doubts that do not stand in the verdict.
func (r PulseResult) beside() []Warning {
	return pick(r.Warnings, func(w Warning) bool { return !w.Invalidates && !w.OfTheBed })
}

// percentage writes a part as a percentage with two significant digits.
func percentage(part float64) string {
	v := 100 * part
	if math.Abs(v) < 99.5 {
		return fmt.Sprintf("%.2g %%", v)
	}
	return fmt.Sprintf("%.0f %%", v)
}

// Doubts returns the warnings, each with what to do next.
func (r PulseResult) Doubts() table.Table {
	if err := r.ready(); err != nil {
		return without("Doubts", err)
	}
	return doubts(r.Warnings)
}

// Text returns the result in two or three lines: the numbers that belong
// together, the verdict and the number of doubts.
func (r PulseResult) Text() string {
	if err := r.ready(); err != nil {
		return r.name() + ": no result: " + errOf(err)
	}
	title, text := r.verdict()
	doubts := "no doubts"
	if n := len(r.Warnings); n == 1 {
		doubts = "1 doubt"
	} else if n > 1 {
		doubts = fmt.Sprintf("%d doubts", n)
	}
	return fmt.Sprintf("%s: %s, %v after %s CV, %s.\n%s %s", r.name(), r.together(), r.RetentionVolume, number.Fixed(r.ColumnVolumes, 3), doubts, title, text)
}

// together writes the plate number with what it is read with.
func (r PulseResult) together() string {
	return fmt.Sprintf("%s plates per metre, reduced plate height %s, asymmetry %s, at %v",
		number.Fixed(r.PlatesPerMetre, 0), number.Fixed(r.ReducedPlateHeight, 1), number.Fixed(r.Asymmetry, 2), r.Velocity)
}

// A Drawing says what the picture of a pulse test shows beside the trace, the
// apex, the width at half height and a and b at a tenth of the height.
type Drawing struct {
	Tangents bool // at the points of inflection, with the width at their feet
	Moments  bool // the stretch over which the moments were taken
	Whole    bool // the whole recording, with the stretches of the baseline
	Width    int  // in CSS pixels; zero: 720
}

// Figure draws the trace with apex, width at half height and both parts of the
// width at a tenth of it. A result without numbers has an empty figure.
func (r PulseResult) Figure() figure.Figure { return r.Draw(Drawing{}) }

// Draw is [PulseResult.Figure] with more or other things in it.
func (r PulseResult) Draw(d Drawing) figure.Figure {
	if err := r.ready(); err != nil {
		return figure.Figure{Title: r.name(), Description: "No result: " + errOf(err)}
	}
	one := r.columnVolume()
	volumes := func(x float64) string { return number.Fixed(x/one, 3) }
	cv := func(x float64) string { return volumes(x) + " CV" }
	a, half, tenth := r.Apex, r.Half, r.Tenth
	from, to := r.Moments.Range.From, r.Moments.Range.To
	if d.Whole {
		from, to = r.recorded.Span().From, r.recorded.Span().To
	}
	room := 0.04 * (to - from)
	// The labels stand beside the peak, on the side that has the room: behind it,
	// or in front of a peak late in the picture.
	beside, at := figure.RightOf, half.Right
	if to-half.Right < 0.33*(to-from) && half.Left-from > to-half.Right {
		beside, at = figure.LeftOf, half.Left
	}
	f := figure.Figure{
		Title: r.name(), Width: d.Width,
		Description: fmt.Sprintf("%s less its baseline against column volumes, counted from %s. Apex at %s; width at half height %s; at 10 %% of the height a is %s and b is %s. %s.",
			r.Signal, r.CountedFrom, cv(a.X), cv(half.Width()), cv(tenth.Front(a)), cv(tenth.Back(a)), r.together()),
		X: figure.Axis{Label: r.axisLabel(), Unit: "CV", One: one, Min: (from - room) / one, Max: (to + room) / one},
		Y: figure.Axis{Label: r.Signal + " less baseline", Unit: r.Unit},
		Marks: []figure.Mark{
			{X1: a.X, Y1: 0, X2: a.X, Y2: a.Height, Dashed: true, Colour: 1},
			{X1: a.X, Y1: a.Height, X2: a.X, Y2: a.Height, Label: "apex " + cv(a.X), Place: figure.Above, Colour: 1},
			{X1: half.Left, Y1: half.Level, X2: half.Right, Y2: half.Level, Ends: true, Colour: 2},
			{X1: at, Y1: half.Level, X2: at, Y2: half.Level, Label: "width at 50 %: " + cv(half.Width()), Place: beside, Colour: 2},
			{X1: tenth.Left, Y1: tenth.Level, X2: a.X, Y2: tenth.Level, Ends: true, Colour: 3},
			{X1: a.X, Y1: tenth.Level, X2: tenth.Right, Y2: tenth.Level, Ends: true, Colour: 1},
			{X1: tenth.Left, Y1: tenth.Level, X2: tenth.Left, Y2: tenth.Level, Label: "a " + volumes(tenth.Front(a)), Place: figure.LeftOf, Colour: 3},
			{X1: tenth.Right, Y1: tenth.Level, X2: tenth.Right, Y2: tenth.Level, Label: "b " + volumes(tenth.Back(a)) + " at 10 %", Place: figure.RightOf, Colour: 1},
		},
	}
	if d.Moments {
		f.Spans = append(f.Spans, figure.Span{From: r.Moments.Range.From, To: r.Moments.Range.To, Label: "moments"})
		f.Description += fmt.Sprintf(" Moments from %s to %s.", cv(r.Moments.Range.From), cv(r.Moments.Range.To))
	}
	if d.Whole && !r.Baseline.After.IsZero() {
		b := r.Baseline
		f.Spans = append(f.Spans, figure.Span{From: b.Before.From, To: b.Before.To, Label: "baseline"}, figure.Span{From: b.After.From, To: b.After.To, Label: "baseline"})
		f.Description += fmt.Sprintf(" Baseline, %s, from %s to %s and from %s to %s.", baselineKind(b), cv(b.Before.From), cv(b.Before.To), cv(b.After.From), cv(b.After.To))
	}
	if d.Tangents {
		if g, err := r.tangents(); err == nil {
			for _, one := range []trace.Tangent{g.Front, g.Back} {
				top := math.Min(1, 1.3*one.Y/a.Height) * a.Height // a little beyond the point
				f.Marks = append(f.Marks,
					figure.Mark{X1: one.Foot, Y1: 0, X2: one.X + (top-one.Y)/one.Slope, Y2: top, Dashed: true, Colour: 4},
					figure.Mark{X1: one.X, Y1: one.Y, X2: one.X, Y2: one.Y, Colour: 4})
			}
			f.Marks = append(f.Marks, figure.Mark{X1: g.Front.Foot, Y1: 0, X2: g.Back.Foot, Y2: 0, Ends: true, Label: "tangents " + cv(g.Width()), Place: figure.Below, Colour: 4})
			f.Description += fmt.Sprintf(" Tangents meet the baseline %s apart.", cv(g.Width()))
		}
	}
	raw := r.recorded.Minus(r.Baseline)
	if r.SmoothingWindow > 1 {
		calm := r.calm
		if net, err := r.net(); err == nil && !r.Pulse.Smoothing.PeakOnly {
			calm = net
		}
		f.Lines = []figure.Line{{Name: "as recorded", Points: raw, Faint: true}, {Name: fmt.Sprintf("smoothed over %d points", r.SmoothingWindow), Points: calm}}
	} else {
		f.Lines = []figure.Line{{Name: "as recorded", Points: raw}}
	}
	if seen, err := raw.Within(trace.Range{Axis: r.Axis, From: from, To: to}); err == nil {
		// Room above for the labels of apex and stretches, below for the tangents'.
		low, high := seen.Extremes()
		least, most := math.Min(0, value(&seen, low)), math.Max(a.Height, value(&seen, high))
		above, below := 0.08, 0.06
		if len(f.Spans) > 0 {
			above = 0.16
		}
		if d.Tangents {
			below = 0.12
		}
		f.Y.Min, f.Y.Max = least-below*(most-least), most+above*(most-least)
	}
	return f
}

// String returns the page as text.
func (r PulseResult) String() string { return r.Page().String() }

var _ figure.Series = trace.Trace{}
