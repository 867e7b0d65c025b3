package efficiency

import (
	"errors"
	"fmt"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"

	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// A TransitionSeries is one transition in many cycles.
type TransitionSeries struct {
	Refusal    error // why nothing was evaluated, or nil
	Transition Transition
	// Rows are the cycles in their order, those without a result included.
	Rows []TransitionRow
	// Missing counts the cycles that were not tried, since the work was stopped.
	Missing int
	// Reference is the front that the others were laid over; see
	// [TransitionSeries.Against].
	Reference TransitionResult
}

// A TransitionRow is the transition of one cycle.
type TransitionRow struct {
	Number int    // of the cycle, from 1
	Label  string // its file's name without folder and ending, its signal's name, or its number
	Result TransitionResult
	Err    error // why there is no result, or nil

	// Of the comparison with the reference; NaN without one.
	Distance, ShapeDistance, Floor float64
	NotCompared                    error // why there is none although there is a reference
}

// EvaluateAll evaluates the traces of many cycles, as [Transition.Evaluate] does
// one. A cycle without a result is a row with its error and stops no other.
func (t Transition) EvaluateAll(traces []trace.Trace) (TransitionSeries, error) {
	return t.EvaluateFrom(inMemory(traces))
}

// EvaluateFrom is [Transition.EvaluateAll] for traces that are not in memory, as
// those of a folder of files:
//
//	files, err := record.Folder{Glob: "cycles/*.csv", Signal: "Conductivity"}.Files()
//	season, err := change.EvaluateFrom(files)
//	season, err = season.Against(season.Rows[1].Result)
//
// or of the cycles of one record, which Cycles of a record cuts.
//
// Label of the transition is not used: each cycle has its own.
func (t Transition) EvaluateFrom(source trace.Source) (TransitionSeries, error) {
	s := TransitionSeries{Transition: t}
	if source == nil || source.Len() <= 0 {
		s.Refusal = errors.New("no traces were given; give at least one")
		return s, s.Refusal
	}
	files, names := map[string]int{}, make([]string, source.Len())
	if named, ok := source.(interface{ Name(i int) string }); ok {
		for i := range names {
			names[i] = named.Name(i)
			files[names[i]]++
		}
	}
	rows := make([]TransitionRow, len(names))
	label := func(i int, tr trace.Trace) string {
		switch name := names[i]; {
		case name != "" && (files[name] == 1 || tr.Name == ""):
			if ext := path.Ext(name); !strings.Contains(ext, " ") { // as in "season.csv, cycle 2"
				name = strings.TrimSuffix(name, ext)
			}
			return path.Base(name)
		case tr.Name != "":
			return tr.Name
		}
		return strconv.Itoa(i + 1)
	}
	stopped := each("transitions", source, func(i int, tr trace.Trace) (err error) {
		one := t
		one.Label = label(i, tr)
		rows[i].Result, err = one.Evaluate(tr)
		return err
	}, func(i int, tr trace.Trace, err error) {
		nan := math.NaN()
		rows[i] = TransitionRow{Number: i + 1, Label: label(i, tr), Result: rows[i].Result, Err: err, Distance: nan, ShapeDistance: nan, Floor: nan}
	})
	s.Rows = slices.DeleteFunc(rows, func(r TransitionRow) bool { return r.Number == 0 })
	s.Missing = len(names) - len(s.Rows)
	if stopped != nil {
		return s, fmt.Errorf("the transitions were stopped: %d of %d are evaluated; evaluate again for all of them: %w", len(s.Rows), len(names), stopped)
	}
	return s, nil
}

// Against lays every front of the series over one reference, a cycle in which
// the bed was good. A cycle that cannot be compared says why in its row; if none
// can, that is the error.
func (s TransitionSeries) Against(reference TransitionResult) (TransitionSeries, error) {
	rows := slices.Clone(s.Rows)
	var compared bool
	var last error
	for i := range rows {
		r := &rows[i]
		if r.Err != nil {
			continue
		}
		c, err := r.Result.Against(reference)
		if r.NotCompared = err; err != nil {
			nan := math.NaN()
			r.Distance, r.ShapeDistance, r.Floor, last = nan, nan, nan, err
			continue
		}
		r.Distance, r.ShapeDistance, r.Floor, compared = c.Distance, c.ShapeDistance, c.Floor, true
	}
	if !compared {
		if last == nil {
			last = errors.New("no cycle of the series has a result to be compared: see Failed()")
		}
		return s, last
	}
	s.Rows, s.Reference = rows, reference
	return s, nil
}

// Failed returns the rows without a result.
func (s TransitionSeries) Failed() []TransitionRow {
	var rows []TransitionRow
	for _, r := range s.Rows {
		if r.Err != nil {
			rows = append(rows, r)
		}
	}
	return rows
}

func (s TransitionSeries) compared() bool { return len(s.Reference.front.y) > 0 }

func (s TransitionSeries) name() string {
	name := "Transitions"
	if s.Transition.Name != "" {
		name += " \"" + s.Transition.Name + "\""
	}
	if s.Transition.Column.Tag != "" {
		name += " of " + s.Transition.Column.Tag
	}
	return name
}

// Page lays the series out: what has no result first, then picture and table.
func (s TransitionSeries) Page() page.Page {
	var p page.Page
	p.Heading(s.name())
	if s.Refusal != nil {
		p.NoResult(s.Refusal, "")
		return p
	}
	failed := s.Failed()
	p.Notice("Cycles:", fmt.Sprintf("%d given: %d with a result, %d without, %d not evaluated.", len(s.Rows)+s.Missing, len(s.Rows)-len(failed), len(failed), s.Missing))
	var texts, apart []string
	doubts := 0
	for _, r := range s.Rows {
		if r.Err != nil {
			texts = append(texts, fmt.Sprintf("%d, %s: %v", r.Number, r.Label, r.Err))
		}
		if r.NotCompared != nil {
			apart = append(apart, fmt.Sprintf("%d, %s: %v", r.Number, r.Label, r.NotCompared))
		}
		if len(r.Result.Warnings) > 0 {
			doubts++
		}
	}
	p.List("Without a result", texts)
	p.List("Not compared", apart)
	if len(failed) == len(s.Rows) {
		return p
	}
	p.Figure(s.Figure())
	p.Table(s.Table())
	if doubts > 0 {
		p.Notice("Doubts:", fmt.Sprintf("%d cycles have doubts, counted in the last column; Rows[i].Result shows those of one.", doubts))
	}
	p.List("Cautions", []string{
		"All cycles were evaluated as one transition: same bed height, flow and extra-column volume. Evaluate those of another flow or pack on their own.",
		"What is usual from cycle to cycle has to be learnt from cycles in which the bed was good. The plate height of a transition is not that of a pulse test.",
	})
	return p
}

// Table returns one row for each cycle with a result.
func (s TransitionSeries) Table() table.Table {
	t := table.Table{Caption: "Trend", Columns: []table.Column{
		{Name: "cycle"}, {Name: "HETP", Unit: "mm", Right: true}, {Name: "h", Right: true},
		{Name: "asymmetry", Right: true}, {Name: "half at", Unit: "CV", Right: true}, {Name: "balance", Unit: "%", Right: true}}}
	if s.compared() {
		label := s.Reference.Transition.Label
		if label == "" {
			label = "the reference"
		}
		t.Caption += ", beside " + label
		t.Columns = append(t.Columns, table.Column{Name: "distance", Unit: "%", Right: true}, table.Column{Name: "of shape", Unit: "%", Right: true})
	}
	t.Columns = append(t.Columns, table.Column{Name: "doubts", Right: true})
	most := 0.0
	for _, r := range s.Rows {
		if r.Err != nil {
			continue
		}
		x := r.Result
		cells := []string{r.Label, number.Fixed(x.HETP.In(units.Millimetre), 3), number.Fixed(x.ReducedPlateHeight, 2),
			number.Fixed(x.Asymmetry, 2), number.Fixed(float64(x.V50)/float64(x.volume), 4), number.Fixed(100*x.Recovered, 1)}
		if s.compared() {
			cells = append(cells, number.Fixed(100*r.Distance, 2), number.Fixed(100*r.ShapeDistance, 2))
			most = max(most, r.Floor)
		}
		t.Add(append(cells, strconv.Itoa(len(x.Warnings)))...)
	}
	t.Note = "HETP and h, in bead diameters, by moments; half of the step; mass balance."
	if s.compared() {
		t.Note += fmt.Sprintf(" Distance of the fronts in parts of the step, of shape with the halves at one place; noise alone may make up to %s %%.", number.Fixed(100*most, 2))
	}
	return t
}

// Figure draws plate height, asymmetry and, with a reference, the distance of
// the fronts' shapes against the number of the cycle.
func (s TransitionSeries) Figure() figure.Stack {
	points := func(value func(TransitionRow) float64) figure.Points {
		var p figure.Points
		for _, r := range s.Rows {
			if r.Err == nil {
				p.X, p.Y = append(p.X, float64(r.Number)), append(p.Y, value(r))
			}
		}
		return p
	}
	line := func(name string, value func(TransitionRow) float64) figure.Line {
		return figure.Line{Name: name, Points: points(value), Dots: true, Bare: true}
	}
	x := figure.Axis{Label: "Number of the cycle", Max: float64(len(s.Rows) + s.Missing + 1)}
	st := figure.Stack{Title: s.name(), Panels: []figure.Figure{
		{X: x, Y: figure.Axis{Label: "HETP", Unit: "mm"}, Lines: []figure.Line{
			line("by moments", func(r TransitionRow) float64 { return r.Result.HETP.In(units.Millimetre) }),
			line("by quantiles", func(r TransitionRow) float64 { return r.Result.ByQuantiles.HETP.In(units.Millimetre) })}},
		{X: x, Y: figure.Axis{Label: "Asymmetry"}, Height: 220, Lines: []figure.Line{line("", func(r TransitionRow) float64 { return r.Result.Asymmetry })}},
	}}
	if s.compared() {
		st.Panels = append(st.Panels, figure.Figure{X: x, Y: figure.Axis{Label: "Distance of the shape", Unit: "%"}, Height: 220, Lines: []figure.Line{
			line("", func(r TransitionRow) float64 { return 100 * r.ShapeDistance })}})
	}
	return st
}

// String returns the page as text.
func (s TransitionSeries) String() string { return s.Page().String() }
