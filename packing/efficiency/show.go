package efficiency

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/internal/table"
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

// page lays the result out: the verdict and what was not checked, the doubts,
// the numbers, the trace, and how it was measured.
func (r PulseResult) page(picture bool) table.Page {
	var p table.Page
	p.Heading(r.name())
	if r.Refusal != nil {
		p.Notice("No result:", r.Refusal.Error())
		return p
	}
	if r.Plates == 0 {
		p.Notice("No result:", "nothing has been evaluated.")
		return p
	}
	p.Notice(r.verdict())
	if text := r.closeness(); text != "" {
		p.Notice("Uncertainty:", text)
	}
	if missing := r.unchecked(); missing != "" {
		p.Notice("Not checked:", missing)
	}
	doubts := make([]string, len(r.Warnings))
	for i, w := range r.Warnings {
		doubts[i] = w.String()
	}
	p.List("Doubts", doubts)
	p.Table(r.numbersTable())
	if picture {
		p.SVG(r.SVG(), r.figure().String())
	}
	p.Table(r.measuredTable())
	p.List("Cautions", r.cautions())
	return p
}

// verdict returns the outcome in words.
func (r PulseResult) verdict() (title, text string) {
	var parts []string
	for _, c := range r.Checks {
		if c.Outcome == NotChecked {
			continue
		}
		parts = append(parts, fmt.Sprintf("%s %s, limit %s: %s", c.Quantity, c.Reported, c.Limit, c.Outcome))
	}
	if len(parts) == 0 {
		return "No verdict:", "No limit was given. The numbers below say nothing about pass or fail."
	}
	title = "Meets the limits:"
	if r.Verdict == DoesNotMeet {
		title = "Does not meet the limits:"
	}
	text = strings.Join(parts, "; ") + "."
	if r.Pulse.Limits.Name != "" {
		text += " Limits: " + r.Pulse.Limits.Name + "."
	}
	return title, text
}

// unchecked lists what no limit or no input was given for.
func (r PulseResult) unchecked() string {
	var names []string
	for _, c := range r.Checks {
		if c.Outcome == NotChecked {
			names = append(names, c.Quantity+" (no limit given)")
		}
	}
	if r.Pulse.SampleVolume == 0 {
		names = append(names, "the sample's own width (no SampleVolume given)")
	}
	if r.Baseline.After.IsZero() {
		names = append(names, "noise and return to the baseline (no baseline asked for)")
	}
	return strings.Join(names, "; ")
}

// numbersTable holds what is reported. Plates never stand without reduced plate
// height, asymmetry and velocity.
func (r PulseResult) numbersTable() table.Table {
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
	t.Add("plates per metre", fixed(r.PlatesPerMetre, 0), "1/m", twoDigits(r.PlatesPerMetreStdErr), limit, outcome)
	limit, outcome = checked(1)
	t.Add("reduced plate height", fixed(r.ReducedPlateHeight, 1), "", twoDigits(r.ReducedPlateHeightStdErr), limit, outcome)
	limit, outcome = checked(2)
	t.Add("asymmetry at 10 %, b/a", fixed(r.Asymmetry, 2), "", twoDigits(r.AsymmetryStdErr), limit, outcome)
	limit, outcome = checked(3)
	t.Add("symmetry factor at 5 %, w/2a", fixed(r.SymmetryFactor, 2), "", twoDigits(r.SymmetryFactorStdErr), limit, outcome)
	t.Add("test velocity", fixed(r.Velocity.In(units.CentimetrePerHour), 1), "cm/h", "", "", "")
	t.Add("plate height, HETP", fixed(r.HETP.In(units.Millimetre), 3), "mm", "", "", "")
	t.Add("plates, 5.54 (tR/w)²", fixed(r.Plates, 0), "", "", "", "")
	t.Add("plates, 8 ln 2 (tR/w)²", fixed(r.PlatesExact, 0), "", "", "", "")
	t.Add("plates by moments, M1²/M2", fixed(r.PlatesMoments, 0), "", "", "", "")
	t.Add("retention", fixed(r.ColumnVolumes, 3), "CV", "", "", "")
	volume, unit, _ := strings.Cut(r.RetentionVolume.String(), " ") // of the size's own unit
	t.Add("retention volume", volume, unit, "", "", "")
	t.Add("retention time", fixed(r.Retention.In(units.Minute), 3), "min", "", "", "")
	return t
}

// measuredTable tells how the numbers were measured.
func (r PulseResult) measuredTable() table.Table {
	t := table.Table{Caption: "How it was measured", RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "found"}}}
	show := r.Axis.Show
	p := r.Pulse
	if p.Medium.Name != "" {
		t.Add("medium", p.Medium.Label())
	}
	t.Add("mean bead", r.Bead.String())
	t.Add("bed", fmt.Sprintf("%v by %v, %v", p.Column.InnerDiameter, p.BedHeight, r.volume))
	t.Add("flow", fmt.Sprintf("%v, %v", p.Flow, r.Velocity))
	sample := "volume not given"
	if p.SampleVolume > 0 {
		sample = fmt.Sprintf("%v, %.2g %% of the column volume", p.SampleVolume, 100*p.SampleVolume.In(r.volume))
	}
	if p.Tracer != "" {
		sample = p.Tracer + ", " + sample
	}
	t.Add("sample", sample)
	if p.Temperature != 0 {
		t.Add("temperature", p.Temperature.String())
	}
	signal := r.Signal + " against " + r.Axis.String()
	if r.File != "" {
		signal += ", from " + r.File
	}
	t.Add("signal", signal)
	if r.Baseline.After.IsZero() {
		t.Add("baseline", "none taken away")
	} else {
		t.Add("baseline", fmt.Sprintf("straight line through %s and %s", r.Baseline.Before, r.Baseline.After))
		t.Add("noise about it", strings.TrimSpace(fmt.Sprintf("%.2g %s, the peak is %.0f times as high", r.Baseline.Noise, r.Unit, r.Height/r.Baseline.Noise)))
	}
	if r.SmoothingWindow > 1 {
		t.Add("smoothing", fmt.Sprintf("moving quadratic (Savitzky, Golay) over %d points", r.SmoothingWindow))
	} else {
		t.Add("smoothing", "none")
	}
	t.Add("apex", fmt.Sprintf("%s, %s %s high", show(r.Apex.X), fixed(r.Height, 2), r.Unit))
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

// cautions are what one has to know beside the numbers.
func (r PulseResult) cautions() []string {
	list := []string{
		"Plates by half height do not see a tail: a peak with as much tail as width (τ = σ) gets 29 % too many. Read them with the asymmetry.",
		"The standard errors hold the noise of the signal only. Flow, sample and bed differ from run to run: only repeats tell how much.",
	}
	if r.Verdict == DoesNotMeet {
		list = append(list, "After a failed test, in this order: the system without the column, a repeat, 2 to 3 column volumes to condition the bed, the adapter reset, a pulse in reverse flow, the top of the bed stirred up and settled again, unpacking. Count and record every one; say beforehand how many repeats count. Common practice, no source.")
	}
	return list
}

// fixed writes a number with so many decimals.
func fixed(v float64, decimals int) string {
	if math.IsNaN(v) {
		return "not available"
	}
	return rounded(v, decimals)
}

// twoDigits writes a standard error.
func twoDigits(v float64) string {
	if math.IsNaN(v) {
		return "not available"
	}
	return significant(v, 2)
}

// significant writes a number to so many digits, never with an exponent.
func significant(v float64, digits int) string {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return strconv.FormatFloat(v, 'f', max(0, digits-1-int(math.Floor(math.Log10(math.Abs(v))))), 64)
}

// figure describes the marked trace.
func (r PulseResult) figure() figure.Figure {
	one := r.volume.In(units.CubicMetre) // a column volume on the trace's axis
	if r.Axis == trace.Time {
		one = float64(r.volume.PumpedAt(r.Pulse.Flow))
	}
	cv := func(x float64) string { return strconv.FormatFloat(x/one, 'f', 3, 64) + " CV" }
	a, half, tenth := r.Apex, r.Half, r.Tenth
	from, to := r.Moments.Range.From, r.Moments.Range.To
	room := 0.04 * (to - from)
	f := figure.Figure{
		Title: r.name(),
		Description: fmt.Sprintf("%s less its baseline against column volumes. Apex at %s; width at half height %s; at 10 %% of the height a is %s and b is %s. %s plates per metre, reduced plate height %s, asymmetry %s, at %v.",
			r.Signal, cv(a.X), cv(half.Width()), cv(tenth.Front(a)), cv(tenth.Back(a)), fixed(r.PlatesPerMetre, 0), fixed(r.ReducedPlateHeight, 1), fixed(r.Asymmetry, 2), r.Velocity),
		X: figure.Axis{Label: "Volume since the start of the sample", Unit: "CV", One: one, Min: (from - room) / one, Max: (to + room) / one},
		Y: figure.Axis{Label: r.Signal + " less baseline", Unit: r.Unit},
		Marks: []figure.Mark{
			{X1: a.X, Y1: 0, X2: a.X, Y2: a.Height, Dashed: true, Colour: 1},
			{X1: a.X, Y1: a.Height, X2: a.X, Y2: a.Height, Label: "apex " + cv(a.X), Place: figure.Above, Colour: 1},
			{X1: half.Left, Y1: half.Level, X2: half.Right, Y2: half.Level, Ends: true, Colour: 2},
			{X1: half.Right, Y1: half.Level, X2: half.Right, Y2: half.Level, Label: "half height, width " + cv(half.Width()), Place: figure.RightOf, Colour: 2},
			{X1: tenth.Left, Y1: tenth.Level, X2: a.X, Y2: tenth.Level, Ends: true, Label: "a " + cv(tenth.Front(a)), Place: figure.Below, Colour: 3},
			{X1: a.X, Y1: tenth.Level, X2: tenth.Right, Y2: tenth.Level, Ends: true, Label: "b " + cv(tenth.Back(a)), Place: figure.Below, Colour: 1},
			{X1: tenth.Right, Y1: tenth.Level, X2: tenth.Right, Y2: tenth.Level, Label: "10 % of the height", Place: figure.RightOf, Colour: 1},
		},
	}
	if r.SmoothingWindow > 1 {
		f.Lines = []figure.Line{{Name: "as recorded", Points: r.recorded.Minus(r.Baseline), Faint: true}, {Name: fmt.Sprintf("smoothed over %d points", r.SmoothingWindow), Points: r.calm}}
	} else {
		f.Lines = []figure.Line{{Name: "as recorded", Points: r.calm}}
	}
	return f
}

// SVG shows the trace with apex, width at half height and both parts of the
// width at a tenth of it.
//
// A result without numbers has no picture.
func (r PulseResult) SVG() string {
	if r.Plates == 0 {
		return ""
	}
	return r.figure().SVG()
}

// HTML shows verdict, doubts, numbers and the marked trace.
func (r PulseResult) HTML() string { p := r.page(true); return p.HTML() }

// Markdown shows the same without the picture.
func (r PulseResult) Markdown() string { p := r.page(false); return p.Markdown() }

// String shows the same as text.
func (r PulseResult) String() string { p := r.page(false); return p.String() }

var _ figure.Series = trace.Trace{}
