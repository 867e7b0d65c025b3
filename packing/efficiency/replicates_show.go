package efficiency

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// doubt collects what speaks against the verdict.
func (out *ReplicatesResult) doubt() {
	warn := func(what, do string) { out.Warnings = append(out.Warnings, Warning{What: what, Do: do}) }
	if beyond := out.numbers(BeyondPlan); beyond != "" {
		warn(fmt.Sprintf("More tests were made than the rule permits: %s. What they show does not count", beyond),
			"Keep them in the record, write down why they were made, and change the rule, if at all, before the next series: testing until a result passes says nothing about the bed")
	}
	if replaced := out.numbers(Superseded); replaced != "" {
		warn(fmt.Sprintf("Only the retests count; the first result, of %s, is set aside without a cause", replaced),
			"Report both. A later result is no better than an earlier one unless a cause was found and removed")
	}
	var more []string
	for _, s := range out.Spreads {
		if s.MoreThanNoise {
			more = append(more, fmt.Sprintf("%s (standard deviation %s, noise of one test %s, chi-squared %s with %d degrees of freedom, P %s)",
				s.Quantity, number.Significant(s.StdDev, 2), number.Significant(s.Noise, 2), number.Significant(s.ChiSquared, 3), s.Tests-1, chance(s.P)))
		}
	}
	if len(more) > 0 {
		warn("The tests differ by more than their noise explains in "+strings.Join(more, "; "),
			"Take the spread, not the error of a single test, as what the test can tell. Look at sample volume, flow, tracer and temperature of the runs, and whether the bed still settles")
	}
}

// chance writes a probability.
func chance(p float64) string {
	if p < 0.001 {
		return "below 0.001"
	}
	return number.Fixed(p, 3)
}

// numbers lists the tests of a role: "test 4, test 5".
func (out ReplicatesResult) numbers(role Role) string {
	var names []string
	for _, t := range out.Tests {
		if t.Role == role {
			names = append(names, fmt.Sprintf("test %d", t.Number))
		}
	}
	return strings.Join(names, ", ")
}

// name returns how the tests are called in headings.
func (out ReplicatesResult) name() string {
	if out.Pulse.Column.Tag == "" {
		return "Replicate pulse tests"
	}
	return "Replicate pulse tests of " + out.Pulse.Column.Tag
}

// Page lays out verdict and rule, doubts, the tests, their spread and picture.
func (out ReplicatesResult) Page() page.Page {
	var p page.Page
	p.Heading(out.name())
	if out.Refusal != nil || len(out.Tests) == 0 {
		p.NoResult(out.Refusal, "nothing has been evaluated.")
		return p
	}
	p.Notice(out.verdict())
	p.Notice("Rule:", out.Rule.String()+".")
	p.Notice("Next:", out.Next+".")
	if missing := out.unchecked(); missing != "" {
		p.Notice("Not checked:", missing)
	}
	p.List("Doubts", sentences(out.Warnings))
	p.Table(out.Table())
	p.Table(out.SpreadTable())
	if len(out.curves) > 0 {
		p.Figure(out.Figure())
	}
	p.List("Doubts about single tests", out.single())
	p.List("Cautions", out.cautions())
	return p
}

// verdict returns the outcome in words.
func (out ReplicatesResult) verdict() (title, text string) {
	var parts []string
	for i, c := range out.Checks {
		if c.Outcome == NotChecked {
			continue
		}
		part := fmt.Sprintf("%s %s, limit %s: %s", c.Quantity, c.Reported, c.Limit, c.Outcome)
		if out.Spreads[i].Tests > 1 {
			part = out.Rule.Report.String() + " " + part
		}
		if c.Close {
			part += fmt.Sprintf(" (the limit lies within the 95 %% interval, ± %s)", number.Significant(out.Spreads[i].half(out.Rule.Report), 2))
		}
		parts = append(parts, part)
	}
	for _, c := range out.SpreadChecks {
		if math.IsNaN(c.Value) {
			parts = append(parts, fmt.Sprintf("%s is not known of one test, limit %s %%", c.Quantity, c.Limit))
			continue
		}
		parts = append(parts, fmt.Sprintf("%s %s %%, limit %s %%: %s", c.Quantity, c.Reported, c.Limit, c.Outcome))
	}
	text = strings.Join(parts, "; ") + "."
	if len(parts) == 0 {
		text = "No limit was given."
	}
	if out.Pulse.Limits.Name != "" {
		text += " Limits: " + out.Pulse.Limits.Name + "."
	}
	switch {
	case out.Verdict == Meets:
		return "Meets the limits by the rule:", text
	case out.Verdict == DoesNotMeet:
		return "Does not meet the limits by the rule:", text
	case out.Verdict == NotDecided:
		return "Not decided by the rule:", text
	case len(parts) == 0:
		return "No verdict:", text
	}
	return "No verdict yet:", "So far: " + text
}

// unchecked lists what no limit was given for.
func (out ReplicatesResult) unchecked() string {
	var names []string
	for _, c := range out.Checks {
		if c.Outcome == NotChecked {
			names = append(names, c.Quantity+" (no limit given)")
		}
	}
	rows := make([]PulseRow, len(out.Tests))
	for i, t := range out.Tests {
		rows[i] = t.PulseRow
	}
	if zeros := untoldZeros(rows, "tests"); zeros != "" {
		names = append(names, zeros)
	}
	if out.Rule.LargestSpread.IsZero() {
		names = append(names, "the spread (no limit given)")
	}
	return strings.Join(names, "; ")
}

// missing reports whether there are no numbers.
func (out ReplicatesResult) missing() bool { return out.Refusal != nil || len(out.Tests) == 0 }

// Doubts returns the warnings about the tests together, each with what to do.
func (out ReplicatesResult) Doubts() table.Table {
	if out.missing() {
		return without("Doubts", out.Refusal)
	}
	return doubts(out.Warnings)
}

// Table lists all tests. Plates never stand without reduced plate height,
// asymmetry and velocity.
func (out ReplicatesResult) Table() table.Table {
	if out.missing() {
		return without("All tests", out.Refusal)
	}
	t := table.Table{Caption: "All tests", Columns: []table.Column{
		{Name: "test", Right: true}, {Name: "file"}, {Name: "plates per metre", Unit: "1/m", Right: true}, {Name: "reduced plate height", Right: true},
		{Name: "asymmetry", Right: true}, {Name: "symmetry factor", Right: true}, {Name: "retention", Unit: "CV", Right: true},
		{Name: "velocity", Unit: "cm/h", Right: true}, {Name: "role"}}}
	for _, r := range out.Tests {
		role := r.Role.String()
		if r.Cause != "" {
			role += ": " + r.Cause
		}
		t.Add(strconv.Itoa(r.Number), r.File, number.Fixed(r.PlatesPerMetre, 0), number.Fixed(r.ReducedPlateHeight, 1), number.Fixed(r.Asymmetry, 2), number.Fixed(r.SymmetryFactor, 2),
			number.Fixed(r.ColumnVolumes, 3), number.Fixed(r.Velocity.In(units.CentimetrePerHour), 1), role)
	}
	return t
}

// SpreadTable shows what the tests that count say together.
func (out ReplicatesResult) SpreadTable() table.Table {
	if out.missing() {
		return without("The tests that count", out.Refusal)
	}
	caption := fmt.Sprintf("The %d tests that count", out.Spreads[0].Tests)
	if out.Spreads[0].Tests == 1 {
		caption = "The one test that counts"
	}
	t := table.Table{Caption: caption, RowHeaders: true, Columns: []table.Column{
		{Name: "quantity"}, {Name: "unit"}, {Name: "mean", Right: true}, {Name: "lowest", Right: true}, {Name: "highest", Right: true},
		{Name: "standard deviation", Right: true}, {Name: "relative", Unit: "%", Right: true}, {Name: "range", Unit: "% of the mean", Right: true},
		{Name: "noise of one test", Right: true}, {Name: "more than noise?"}}}
	for _, s := range out.Spreads {
		more := number.Missing
		switch {
		case s.MoreThanNoise:
			more = "yes, P " + chance(s.P)
		case !math.IsNaN(s.P):
			more = "not shown, P " + chance(s.P)
		}
		t.Add(s.Quantity, s.Unit, number.Fixed(s.Mean, s.decimals), number.Fixed(s.Lowest, s.decimals), number.Fixed(s.Highest, s.decimals),
			number.Significant(s.StdDev, 2), number.Significant(s.Relative.In(units.Percent), 2), number.Significant(s.RelativeRange.In(units.Percent), 2), number.Significant(s.Noise, 2), more)
	}
	return t
}

// single lists the doubts about each test.
func (out ReplicatesResult) single() []string {
	var list []string
	for _, t := range out.Tests {
		for _, w := range t.Warnings {
			list = append(list, fmt.Sprintf("test %d: %s", t.Number, w))
		}
	}
	return list
}

// cautions are what one has to know beside the numbers.
func (out ReplicatesResult) cautions() []string {
	list := []string{
		"The rule must be fixed before the first test and kept. Repeating a test until one passes is testing into compliance: every test made is listed and counted.",
		"Plates by half height do not see a tail: a peak with as much tail as width (τ = σ) gets 29 % too many. Read them with the asymmetry.",
	}
	if n := out.Spreads[0].Tests; n > 1 {
		free := float64(n - 1)
		chi := distuv.ChiSquared{K: free}
		list = append(list, fmt.Sprintf("A standard deviation from %d tests is itself uncertain: the true one lies between %s and %s times the value shown, with 95 %% confidence (NIST/SEMATECH e-Handbook of Statistical Methods; chi-squared, for normal values).",
			n, number.Significant(math.Sqrt(free/chi.Quantile(0.975)), 2), number.Significant(math.Sqrt(free/chi.Quantile(0.025)), 2)),
			"Whether the tests differ more than their noise: chi-squared test of a standard deviation against the noise of one test, one-sided at 5 % (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.8). With few tests it finds large differences only.")
	}
	return list
}

// A curve is a peak with its height as 1 against column volumes.
type curve struct {
	number   int // of the test
	tr       trace.Trace
	one      float64 // a column volume on the trace's axis
	height   float64
	from, to float64 // stretch to draw, in column volumes
}

func newCurve(r PulseResult, number int) curve {
	c := curve{number: number, tr: r.calm, one: r.columnVolume(), height: r.Height}
	w := r.Tenth.Width()
	c.from, c.to = (r.Tenth.Left-0.8*w)/c.one, (r.Tenth.Right+1.2*w)/c.one
	return c
}

// columnVolume is the size of a column volume on the trace's axis.
func (r PulseResult) columnVolume() float64 {
	if r.Axis == trace.Time {
		return float64(r.volume.PumpedAt(r.Pulse.Flow))
	}
	return float64(r.volume)
}

// Len returns the number of points.
func (c curve) Len() int { return c.tr.Len() }

// XY returns point i.
func (c curve) XY(i int) (x, y float64) {
	x, y = c.tr.XY(i)
	return x / c.one, y / c.height
}

var _ figure.Series = curve{}

// Figure lays the peaks over each other. A refusal has an empty figure.
func (out ReplicatesResult) Figure() figure.Figure {
	if len(out.curves) == 0 || out.Refusal != nil {
		return figure.Figure{Title: out.name(), Description: without("", out.Refusal).Note}
	}
	f := figure.Figure{
		Title: out.name(),
		X:     figure.Axis{Label: "Volume since the start of the sample", Unit: "CV", Min: math.Inf(1), Max: math.Inf(-1)},
		Y:     figure.Axis{Label: "Signal, height of each peak 1"},
	}
	for _, c := range out.curves {
		f.X.Min, f.X.Max = math.Min(f.X.Min, c.from), math.Max(f.X.Max, c.to)
		line := figure.Line{Name: fmt.Sprintf("test %d", c.number), Points: c}
		if role := out.Tests[c.number-1].Role; role == BeyondPlan || role == Superseded {
			line.Name += ", " + role.String()
			line.Faint = true
		}
		f.Lines = append(f.Lines, line)
	}
	var parts []string
	for _, s := range out.Spreads {
		parts = append(parts, strings.TrimSpace(fmt.Sprintf("%s %s to %s %s", s.Quantity, number.Fixed(s.Lowest, s.decimals), number.Fixed(s.Highest, s.decimals), s.Unit)))
	}
	f.Description = fmt.Sprintf("%d peaks, each with its height as 1, against column volumes, at %v. Of those that count, %d: %s.",
		len(out.curves), out.velocity, out.Spreads[0].Tests, strings.Join(parts, "; "))
	return f
}

// String returns the page as text.
func (out ReplicatesResult) String() string { return out.Page().String() }
