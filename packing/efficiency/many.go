package efficiency

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"

	"gonum.org/v1/gonum/stat"

	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// A PulseSeries is what one pulse test gives of many traces. It holds numbers
// and no traces; Evaluate of one trace gives its whole result.
type PulseSeries struct {
	Refusal error // why nothing was evaluated, or nil
	Pulse   Pulse
	// Rows are the traces that were tried, in their order, those without a
	// result included.
	Rows []PulseRow
	// Missing counts the traces that were not tried, since the work was
	// stopped. With the rows they make all traces that were given.
	Missing int
}

// A PulseRow is what is reported of one trace. The numbers are those of
// [PulseResult], NaN where there is no result.
type PulseRow struct {
	Number int    // of the trace, from 1
	File   string // it came from; may be empty
	Signal string
	Err    error // why there is no result, or nil

	CountedFrom     string // as in [PulseResult]
	Velocity        units.Velocity
	Retention       units.Time
	RetentionVolume units.Volume
	ColumnVolumes   float64

	Plates, PlatesMoments                float64
	PlatesPerMetre, PlatesPerMetreStdErr float64
	ReducedPlateHeight                   float64
	ReducedPlateHeightStdErr             float64
	Asymmetry, AsymmetryStdErr           float64
	SymmetryFactor, SymmetryFactorStdErr float64
	HETP                                 units.Length
	Verdict                              Outcome
	Warnings                             []Warning // shared by rows of a series that say the same

	unchecked string // of the zero; empty if it was told
}

// EvaluateAll evaluates many traces as [Pulse.Evaluate] does one, over all
// processors. A trace without a result is a row with its error and stops no
// other. The error is one of the test's inputs, or says how many traces are
// missing when the work was stopped; the series then holds what was done.
func (p Pulse) EvaluateAll(traces []trace.Trace) (PulseSeries, error) {
	return p.EvaluateFrom(inMemory(traces))
}

// EvaluateFrom is [Pulse.EvaluateAll] for traces that are not in memory all at
// once, as those of a folder of files:
//
//	files, err := record.Folder{Glob: "cycles/*.csv", Signal: "UV"}.Files()
//	tests, err := pulse.EvaluateFrom(files)
//
// or for the cycles of one record:
//
//	cycles, err := export.Cycles("Inject", "UV")
//	tests, err := pulse.EvaluateFrom(cycles)
//
// One trace more than there are processors is in memory at a time, at most.
func (p Pulse) EvaluateFrom(source trace.Source) (PulseSeries, error) {
	s := PulseSeries{Pulse: p}
	if s.Refusal = p.checkMany(source); s.Refusal != nil {
		return s, s.Refusal
	}
	rows := make([]PulseRow, source.Len())
	named, _ := source.(interface{ Name(i int) string })
	// The garbage collector goes through all rows again and again while traces
	// come and go, so they hold little that it must follow: those that say the
	// same share their warnings.
	var said atomic.Pointer[[]Warning] // by one of the rows
	stopped := each("pulse tests", source, func(i int, tr trace.Trace) error {
		r, err := p.Evaluate(tr)
		rows[i] = newPulseRow(r)
		return err
	}, func(i int, tr trace.Trace, err error) {
		row := &rows[i]
		if err != nil {
			*row = newPulseRow(PulseResult{})
		}
		row.Warnings = slices.Clip(row.Warnings)
		if last := said.Load(); last != nil && slices.Equal(*last, row.Warnings) {
			row.Warnings = *last
		} else {
			said.Store(&row.Warnings)
		}
		row.Number, row.File, row.Signal, row.Err = i+1, tr.From, tr.Name, err
		if named != nil {
			row.File = named.Name(i)
		}
	})
	s.Rows = slices.DeleteFunc(rows, PulseRow.untried)
	s.Missing = source.Len() - len(s.Rows)
	if stopped != nil {
		return s, fmt.Errorf("the pulse tests were stopped: %d of %d traces are evaluated, %d are missing; evaluate again for all of them: %w", len(s.Rows), len(rows), s.Missing, stopped)
	}
	return s, nil
}

// checkMany refuses what no trace could be evaluated with.
func (p Pulse) checkMany(source trace.Source) error {
	if source == nil || source.Len() <= 0 {
		return errors.New("no traces were given; give at least one")
	}
	x := []float64{0, 1, 2, 3, 4, 5, 6, 7}
	any, err := trace.Make("any", "", trace.Time, x, x)
	if err != nil {
		return err
	}
	_, err = p.start(any)
	return err
}

// untried reports that the trace's turn never came, or was stopped half way.
func (r PulseRow) untried() bool { return r.Number == 0 }

// newPulseRow takes what is reported from a result.
func newPulseRow(r PulseResult) PulseRow {
	if r.Plates == 0 {
		nan := math.NaN()
		return PulseRow{Velocity: units.Velocity(nan), Retention: units.Time(nan), RetentionVolume: units.Volume(nan), ColumnVolumes: nan,
			Plates: nan, PlatesMoments: nan, PlatesPerMetre: nan, PlatesPerMetreStdErr: nan, ReducedPlateHeight: nan, ReducedPlateHeightStdErr: nan,
			Asymmetry: nan, AsymmetryStdErr: nan, SymmetryFactor: nan, SymmetryFactorStdErr: nan, HETP: units.Length(nan)}
	}
	return PulseRow{
		CountedFrom: r.CountedFrom, unchecked: r.origin.unchecked,
		Velocity: r.Velocity, Retention: r.Retention, RetentionVolume: r.RetentionVolume, ColumnVolumes: r.ColumnVolumes,
		Plates: r.Plates, PlatesMoments: r.PlatesMoments,
		PlatesPerMetre: r.PlatesPerMetre, PlatesPerMetreStdErr: r.PlatesPerMetreStdErr,
		ReducedPlateHeight: r.ReducedPlateHeight, ReducedPlateHeightStdErr: r.ReducedPlateHeightStdErr,
		Asymmetry: r.Asymmetry, AsymmetryStdErr: r.AsymmetryStdErr,
		SymmetryFactor: r.SymmetryFactor, SymmetryFactorStdErr: r.SymmetryFactorStdErr,
		HETP: r.HETP, Verdict: r.Verdict, Warnings: r.Warnings,
	}
}

// label names the trace of a row.
func (r PulseRow) label() string {
	if r.File != "" {
		return r.File
	}
	if r.Signal != "" {
		return fmt.Sprintf("trace %d, %s", r.Number, r.Signal)
	}
	return fmt.Sprintf("trace %d", r.Number)
}

// Failed returns the rows without a result.
func (s PulseSeries) Failed() []PulseRow {
	return s.which(func(r PulseRow) bool { return r.Err != nil })
}

// Outside returns the rows that do not meet the limits.
func (s PulseSeries) Outside() []PulseRow {
	return s.which(func(r PulseRow) bool { return r.Verdict == DoesNotMeet })
}

// Undecided returns the rows of tests that are not valid, or lack a number that has
// a limit.
func (s PulseSeries) Undecided() []PulseRow {
	return s.which(func(r PulseRow) bool { return r.Verdict == NotDecided })
}

func (s PulseSeries) which(keep func(PulseRow) bool) []PulseRow {
	var rows []PulseRow
	for _, r := range s.Rows {
		if keep(r) {
			rows = append(rows, r)
		}
	}
	return rows
}

// Errors returns why rows have no result, each with its file, in their order.
func (s PulseSeries) Errors() []error {
	var errs []error
	for _, r := range s.Failed() {
		err := r.Err
		if !strings.HasPrefix(err.Error(), r.label()) { // a reader of files names them itself
			err = fmt.Errorf("%s: %w", r.label(), err)
		}
		errs = append(errs, err)
	}
	return errs
}

// A seriesColumn is one number of the rows.
type seriesColumn struct {
	name  string // of the row's field
	value func(PulseRow) float64
}

func seriesColumns() []seriesColumn {
	return []seriesColumn{
		{"PlatesPerMetre", func(r PulseRow) float64 { return r.PlatesPerMetre }},
		{"PlatesPerMetreStdErr", func(r PulseRow) float64 { return r.PlatesPerMetreStdErr }},
		{"ReducedPlateHeight", func(r PulseRow) float64 { return r.ReducedPlateHeight }},
		{"ReducedPlateHeightStdErr", func(r PulseRow) float64 { return r.ReducedPlateHeightStdErr }},
		{"Asymmetry", func(r PulseRow) float64 { return r.Asymmetry }},
		{"AsymmetryStdErr", func(r PulseRow) float64 { return r.AsymmetryStdErr }},
		{"SymmetryFactor", func(r PulseRow) float64 { return r.SymmetryFactor }},
		{"SymmetryFactorStdErr", func(r PulseRow) float64 { return r.SymmetryFactorStdErr }},
		{"ColumnVolumes", func(r PulseRow) float64 { return r.ColumnVolumes }},
		{"Plates", func(r PulseRow) float64 { return r.Plates }},
		{"PlatesMoments", func(r PulseRow) float64 { return r.PlatesMoments }},
		{"HETP", func(r PulseRow) float64 { return float64(r.HETP) }},
		{"Retention", func(r PulseRow) float64 { return float64(r.Retention) }},
		{"RetentionVolume", func(r PulseRow) float64 { return float64(r.RetentionVolume) }},
		{"Velocity", func(r PulseRow) float64 { return float64(r.Velocity) }},
	}
}

// Values returns one number of all rows, in their order, in SI units and NaN
// where there is no result. The name is that of the row's field, as
// "PlatesPerMetre"; another is an error that lists them.
func (s PulseSeries) Values(name string) ([]float64, error) {
	var names []string
	for _, c := range seriesColumns() {
		if !strings.EqualFold(c.name, name) {
			names = append(names, c.name)
			continue
		}
		values := make([]float64, len(s.Rows))
		for i, r := range s.Rows {
			values[i] = c.value(r)
		}
		return values, nil
	}
	return nil, fmt.Errorf("the rows have no number %q; they have %s", name, strings.Join(names, ", "))
}

// CSV returns all rows as text with commas, for a data frame or another
// program. Numbers are in SI units and empty where there is no result; the last
// columns are the verdict, the number of warnings and the error.
func (s PulseSeries) CSV() string {
	var b strings.Builder
	w := csv.NewWriter(&b)
	columns := seriesColumns()
	head := []string{"Number", "File", "Signal", "CountedFrom"}
	for _, c := range columns {
		head = append(head, c.name)
	}
	lines := [][]string{append(head, "Verdict", "Warnings", "Error")}
	for _, r := range s.Rows {
		line := []string{strconv.Itoa(r.Number), r.File, r.Signal, r.CountedFrom}
		for _, c := range columns {
			text := ""
			if v := c.value(r); !math.IsNaN(v) {
				text = strconv.FormatFloat(v, 'g', -1, 64)
			}
			line = append(line, text)
		}
		fault := ""
		if r.Err != nil {
			fault = r.Err.Error()
		}
		lines = append(lines, append(line, r.Verdict.String(), strconv.Itoa(len(r.Warnings)), fault))
	}
	if err := w.WriteAll(lines); err != nil {
		panic("efficiency: a text in memory cannot be written: " + err.Error())
	}
	return b.String()
}

// name returns how the series is called in headings.
func (s PulseSeries) name() string {
	if s.Pulse.Column.Tag == "" {
		return "Pulse tests"
	}
	return "Pulse tests of " + s.Pulse.Column.Tag
}

// How many rows are shown of each kind.
const (
	shownFailed  = 30
	shownOutside = 20
	shownRows    = 10
)

// Page lays the series out: what has no result first, then what does not meet
// the limits, then the numbers of all, and the first rows.
func (s PulseSeries) Page() page.Page {
	var p page.Page
	p.Heading(s.name())
	if s.Refusal != nil {
		p.NoResult(s.Refusal, "")
		return p
	}
	failed, outside := s.Failed(), s.Outside()
	good := len(s.Rows) - len(failed)
	if s.Missing > 0 {
		p.Notice("Stopped:", fmt.Sprintf("%d of %d traces were not evaluated.", s.Missing, len(s.Rows)+s.Missing))
	}
	p.Notice("Traces:", fmt.Sprintf("%d given: %d with a result, %d without, %d not evaluated.", len(s.Rows)+s.Missing, good, len(failed), s.Missing))
	texts := make([]string, len(failed))
	for i, err := range s.Errors() {
		texts[i] = err.Error()
	}
	p.List("Without a result", firstOf(texts, shownFailed))
	if good == 0 {
		return p
	}
	undecided := s.Undecided()
	p.Notice(s.verdict(good, len(outside), len(undecided)))
	if text := untoldZeros(s.Rows, "traces"); text != "" {
		p.Notice("Not checked:", text)
	}
	p.Table(s.rowsTable("Do not meet the limits", outside, shownOutside))
	p.Table(s.rowsTable("Not decided", undecided, shownOutside))
	p.Table(s.Table())
	p.Figure(s.Figure())
	p.Table(s.rowsTable("First traces", s.which(func(r PulseRow) bool { return r.Err == nil }), shownRows))
	p.List("Doubts", s.doubts())
	p.List("Cautions", []string{
		"Plates by half height do not see a tail: a peak with as much tail as width (τ = σ) gets 29 % too many. Read them with the asymmetry.",
		"All traces were evaluated as the same test: same bed height, flow and bead. Evaluate those of another column or flow on their own.",
	})
	return p
}

// untoldZeros says of how many rows nothing tells where the sample starts; empty if
// it is told of all.
func untoldZeros(rows []PulseRow, what string) string {
	untold := 0
	for _, r := range rows {
		if r.unchecked != "" {
			untold++
		}
	}
	if untold == 0 {
		return ""
	}
	return fmt.Sprintf("of %d of %d %s, that their zero is the start of the sample (no event says so, and no Zero was given)", untold, len(rows), what)
}

// firstOf returns the first texts and how many there are more.
func firstOf(texts []string, most int) []string {
	if more := len(texts) - most; more > 0 {
		return append(slices.Clone(texts[:most]), fmt.Sprintf("and %d more: see Errors() or CSV()", more))
	}
	return texts
}

// verdict counts the outcomes.
func (s PulseSeries) verdict(good, outside, undecided int) (title, text string) {
	l := s.Pulse.Limits
	var limits []string
	for _, one := range []struct {
		name  string
		limit Limit
	}{{"plates per metre", l.PlatesPerMetre}, {"reduced plate height", l.ReducedPlateHeight}, {"asymmetry", l.Asymmetry}, {"symmetry factor", l.SymmetryFactor}} {
		if !one.limit.IsZero() {
			limits = append(limits, one.name+" "+one.limit.String())
		}
	}
	if len(limits) == 0 {
		return "No verdict:", "No limit was given."
	}
	text = fmt.Sprintf("%d of %d do not meet the limits: %s.", outside, good, strings.Join(limits, "; "))
	if undecided > 0 {
		text = fmt.Sprintf("%d of %d do not meet the limits, %d are not decided: %s.", outside, good, undecided, strings.Join(limits, "; "))
	}
	if l.Name != "" {
		text += " Limits: " + l.Name + "."
	}
	return "Limits:", text
}

// doubts counts the warnings of all rows, by the advice they give.
func (s PulseSeries) doubts() []string {
	var kinds []string
	example, count := map[string]string{}, map[string]int{}
	for _, r := range s.Rows {
		for _, w := range r.Warnings {
			if count[w.Do]++; count[w.Do] == 1 {
				kinds = append(kinds, w.Do)
				example[w.Do] = fmt.Sprintf("first in %s: %s", r.label(), w.String())
			}
		}
	}
	slices.SortStableFunc(kinds, func(a, b string) int { return count[b] - count[a] })
	list := make([]string, len(kinds))
	for i, k := range kinds {
		list[i] = fmt.Sprintf("%d traces, %s", count[k], example[k])
	}
	return list
}

// rowsTable lists rows. Plates never stand without reduced plate height,
// asymmetry and velocity.
func (s PulseSeries) rowsTable(caption string, rows []PulseRow, most int) table.Table {
	if len(rows) > most {
		caption += fmt.Sprintf(", %d of %d", most, len(rows))
		rows = rows[:most]
	}
	t := table.Table{Caption: caption, Columns: []table.Column{
		{Name: "number", Right: true}, {Name: "trace"}, {Name: "plates per metre", Unit: "1/m", Right: true}, {Name: "reduced plate height", Right: true},
		{Name: "asymmetry", Right: true}, {Name: "symmetry factor", Right: true}, {Name: "retention", Unit: "CV", Right: true},
		{Name: "velocity", Unit: "cm/h", Right: true}, {Name: "verdict"}, {Name: "doubts", Right: true}}}
	for _, r := range rows {
		t.Add(strconv.Itoa(r.Number), r.label(), number.Fixed(r.PlatesPerMetre, 0), number.Fixed(r.ReducedPlateHeight, 1), number.Fixed(r.Asymmetry, 2), number.Fixed(r.SymmetryFactor, 2),
			number.Fixed(r.ColumnVolumes, 3), number.Fixed(r.Velocity.In(units.CentimetrePerHour), 1), r.Verdict.String(), strconv.Itoa(len(r.Warnings)))
	}
	return t
}

// A seriesQuantity is one of the numbers that are shown of all rows together.
type seriesQuantity struct {
	name, unit string
	decimals   int
	limit      Limit
	value      func(PulseRow) float64
}

// quantities begins with the two that are drawn.
func (s PulseSeries) quantities() []seriesQuantity {
	l := s.Pulse.Limits
	return []seriesQuantity{
		{"plates per metre", "1/m", 0, l.PlatesPerMetre, func(r PulseRow) float64 { return r.PlatesPerMetre }},
		{"asymmetry at 10 %, b/a", "", 2, l.Asymmetry, func(r PulseRow) float64 { return r.Asymmetry }},
		{"reduced plate height", "", 1, l.ReducedPlateHeight, func(r PulseRow) float64 { return r.ReducedPlateHeight }},
		{"symmetry factor at 5 %, w/2a", "", 2, l.SymmetryFactor, func(r PulseRow) float64 { return r.SymmetryFactor }},
		{"retention", "CV", 3, Limit{}, func(r PulseRow) float64 { return r.ColumnVolumes }},
	}
}

// sorted returns a number of all rows that have it, by size.
func (s PulseSeries) sorted(value func(PulseRow) float64) []float64 {
	var v []float64
	for _, r := range s.Rows {
		if x := value(r); !math.IsNaN(x) {
			v = append(v, x)
		}
	}
	slices.Sort(v)
	return v
}

// none returns why the series has no numbers, or nil.
func (s PulseSeries) none() error {
	switch {
	case s.Refusal != nil:
		return s.Refusal
	case len(s.Rows) == 0:
		return errNothing
	case len(s.Failed()) == len(s.Rows):
		return errors.New("no trace has a result: see Errors()")
	}
	return nil
}

// Table returns mean and spread of the rows with a result.
func (s PulseSeries) Table() table.Table {
	if err := s.none(); err != nil {
		return without("All traces with a result", err)
	}
	t := table.Table{Caption: "All traces with a result", RowHeaders: true, Columns: []table.Column{
		{Name: "quantity"}, {Name: "unit"}, {Name: "traces", Right: true}, {Name: "mean", Right: true}, {Name: "standard deviation", Right: true},
		{Name: "lowest", Right: true}, {Name: "median", Right: true}, {Name: "highest", Right: true}}}
	for _, q := range s.quantities() {
		v := s.sorted(q.value)
		if len(v) == 0 {
			continue
		}
		mean, sd := stat.MeanStdDev(v, nil)
		t.Add(q.name, q.unit, strconv.Itoa(len(v)), number.Fixed(mean, q.decimals), number.Significant(sd, 2), number.Fixed(v[0], q.decimals), number.Fixed(median(v), q.decimals), number.Fixed(v[len(v)-1], q.decimals))
	}
	t.Add("velocity", "cm/h", strconv.Itoa(len(s.Rows)-len(s.Failed())), number.Fixed(s.velocity().In(units.CentimetrePerHour), 1), "", "", "", "")
	return t
}

// velocity is that of all tests.
func (s PulseSeries) velocity() units.Velocity { return s.Pulse.Column.Velocity(s.Pulse.Flow) }

// median returns the middle of sorted numbers.
func median(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

// drawnTraces is the number of traces up to which each has a dot. More are
// drawn as groups.
const drawnTraces = 400

// Figure draws plates per metre and asymmetry against the number of the trace. A
// series without results has an empty figure.
func (s PulseSeries) Figure() figure.Stack {
	if err := s.none(); err != nil {
		return figure.Stack{Title: s.name(), Description: "No result: " + errOf(err)}
	}
	group := (len(s.Rows) + drawnTraces - 1) / drawnTraces
	what := "a dot for each trace, traces without a result shaded"
	if group > 1 {
		what = fmt.Sprintf("of each %d traces the lowest, median and highest", group)
	}
	st := figure.Stack{Title: s.name()}
	var found []string
	for i, q := range s.quantities() {
		if v := s.sorted(q.value); len(v) > 0 {
			found = append(found, strings.TrimSpace(fmt.Sprintf("%s from %s to %s %s", q.name, number.Fixed(v[0], q.decimals), number.Fixed(v[len(v)-1], q.decimals), q.unit)))
		}
		if i > 1 {
			continue
		}
		f := figure.Figure{X: figure.Axis{Label: "Number of the trace", Max: float64(len(s.Rows) + s.Missing + 1)}, Y: figure.Axis{Label: strings.ToUpper(q.name[:1]) + q.name[1:], Unit: q.unit}}
		if f.Lines = s.groups(q.value, group); group == 1 {
			f.Lines = []figure.Line{s.dots(q.value)}
			f.Spans = s.gaps()
		}
		if v, _, ok := bounded(q.limit.Max); ok {
			f.Levels = append(f.Levels, figure.Level{Y: v, Label: "at most " + q.limit.Max})
		}
		if v, _, ok := bounded(q.limit.Min); ok {
			f.Levels = append(f.Levels, figure.Level{Y: v, Label: "at least " + q.limit.Min})
		}
		st.Panels = append(st.Panels, f)
	}
	st.Description = fmt.Sprintf("Plates per metre and asymmetry against the number of the trace, %s. At %v: %s. %d of %d traces have no result.",
		what, s.velocity(), strings.Join(found, "; "), len(s.Failed())+s.Missing, len(s.Rows)+s.Missing)
	return st
}

// dots are the values of single traces.
func (s PulseSeries) dots(value func(PulseRow) float64) figure.Line {
	var p figure.Points
	for _, r := range s.Rows {
		p.X, p.Y = append(p.X, float64(r.Number)), append(p.Y, value(r))
	}
	return figure.Line{Points: p, Dots: true, Bare: true}
}

// gaps are the traces without a result.
func (s PulseSeries) gaps() []figure.Span {
	var spans []figure.Span
	for _, r := range s.Failed() {
		at := float64(r.Number)
		if n := len(spans); n > 0 && spans[n-1].To == at-0.5 {
			spans[n-1].To = at + 0.5
			continue
		}
		spans = append(spans, figure.Span{From: at - 0.5, To: at + 0.5})
	}
	return spans
}

// groups draws lowest, median and highest value of so many traces each, at the
// middle of their numbers.
func (s PulseSeries) groups(value func(PulseRow) float64, size int) []figure.Line {
	var low, middle, high figure.Points
	for rows := range slices.Chunk(s.Rows, size) {
		v := PulseSeries{Rows: rows}.sorted(value)
		if len(v) == 0 {
			v = []float64{math.NaN()}
		}
		x := float64(rows[0].Number+rows[len(rows)-1].Number) / 2
		for _, p := range []struct {
			points *figure.Points
			y      float64
		}{{&low, v[0]}, {&middle, median(v)}, {&high, v[len(v)-1]}} {
			p.points.X, p.points.Y = append(p.points.X, x), append(p.points.Y, p.y)
		}
	}
	return []figure.Line{{Name: "lowest", Points: low}, {Name: fmt.Sprintf("median of each %d traces", size), Points: middle}, {Name: "highest", Points: high}}
}

// String returns the page as text.
func (s PulseSeries) String() string { return s.Page().String() }
