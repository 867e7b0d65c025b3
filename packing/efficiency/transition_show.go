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

// Page lays the result out: what was not checked, the doubts, the numbers, the
// front, and how it was measured.
func (r TransitionResult) Page() page.Page {
	var p page.Page
	p.Heading(r.name())
	if r.Refusal != nil || len(r.front.y) == 0 {
		p.NoResult(r.Refusal, "nothing has been evaluated.")
		return p
	}
	if missing := r.unchecked(); missing != "" {
		p.Notice("Not checked:", missing)
	}
	p.List("Doubts", sentences(r.Warnings))
	p.Table(r.Table())
	p.Table(r.shapeTable())
	p.Figure(r.Figure())
	p.Table(r.Measured())
	p.List("Cautions", r.cautions())
	return p
}

// unchecked lists what no input was given for.
func (r TransitionResult) unchecked() string {
	var names []string
	t := r.Transition
	if r.missing != "" {
		names = append(names, r.missing)
	}
	if t.Flow > 0 && len(r.flows) == 0 {
		names = append(names, "the flow (the record has none)")
	}
	if t.ExtraColumnVolume == 0 {
		names = append(names, "extra-column volume (no ExtraColumnVolume given; it makes the plates too many)")
	}
	if t.ExpectedVolume == 0 {
		names = append(names, "mass balance (no ExpectedVolume given)")
	}
	if t.Name == "" {
		names = append(names, "which transition it is (no Name given; it cannot be compared)")
	}
	return strings.Join(names, "; ")
}

// Table returns plates and plate height by every method.
func (r TransitionResult) Table() table.Table {
	if len(r.front.y) == 0 {
		return without("Plates", r.Refusal)
	}
	t := table.Table{Caption: "Plates by five methods; the first is reported", RowHeaders: true, Columns: []table.Column{
		{Name: "method"}, {Name: "plates", Right: true}, {Name: "standard error", Right: true},
		{Name: "HETP", Unit: "mm", Right: true}, {Name: "standard error", Unit: "mm", Right: true}, {Name: "reduced plate height", Right: true}}}
	from, to := r.Transition.From.In(units.Percent), r.Transition.To.In(units.Percent)
	for _, m := range []struct {
		name string
		FrontPlates
	}{
		{"moments of the whole front, M1²/M2", r.ByMoments},
		{"moments of its differences, less h²/12", r.ByDerivative},
		{fmt.Sprintf("moments from %.4g to %.4g %%, clipped", from, to), r.ByClipped},
		{"half height of the derivative, 5.54 (Vmax/w)²", r.ByHalfHeight},
		{"quantiles, (V50/σ)²", r.ByQuantiles},
	} {
		t.Add(m.name, number.Fixed(m.Plates, 0), number.Significant(m.PlatesStdErr, 2), number.Fixed(m.HETP.In(units.Millimetre), 3),
			number.Significant(m.HETPStdErr.In(units.Millimetre), 2), number.Fixed(m.ReducedPlateHeight, 1))
	}
	return t
}

// shapeTable holds place and shape of the front.
func (r TransitionResult) shapeTable() table.Table {
	t := table.Table{Caption: "Place and shape of the front", RowHeaders: true, Columns: []table.Column{
		{Name: "quantity"}, {Name: "value", Right: true}, {Name: "unit"}, {Name: "standard error", Right: true}}}
	cv := func(v units.Volume, decimals int) string { return number.Fixed(v.In(r.volume), decimals) }
	velocity := number.Missing
	if !math.IsNaN(float64(r.Velocity)) {
		velocity = number.Fixed(r.Velocity.In(units.CentimetrePerHour), 1)
	}
	t.Add("velocity", velocity, "cm/h")
	t.Add("asymmetry of the derivative at 10 %, b/a", number.Fixed(r.Asymmetry, 2), "", number.Significant(r.AsymmetryStdErr, 2))
	t.Add("skewness", number.Fixed(r.Moments.Skewness, 2), "", number.Significant(r.SkewnessStdErr, 2))
	t.Add("kurtosis (a Gaussian has 0)", number.Fixed(r.Moments.Kurtosis, 2), "", number.Significant(r.KurtosisStdErr, 2))
	t.Add("mean of the front, M1", number.Fixed(r.FrontVolume, 4), "CV", number.Significant(r.FrontVolumeStdErr, 2))
	t.Add("half of the step", cv(r.V50, 4), "CV", number.Significant(r.V50StdErr.In(r.volume), 2))
	t.Add(fmt.Sprintf("start of the front, %v of the step", r.Transition.From), cv(r.Start, 3), "CV")
	t.Add(fmt.Sprintf("end of the front, %v of the step", r.Transition.To), cv(r.End, 3), "CV")
	if !math.IsNaN(r.Recovered) {
		t.Add(fmt.Sprintf("mass balance up to %s CV", cv(r.Moments.To, 2)), number.Fixed(100*r.Recovered, 1), "%", number.Significant(100*r.RecoveredStdErr, 2))
	}
	return t
}

// Doubts returns the warnings, each with what to do.
func (r TransitionResult) Doubts() table.Table {
	if len(r.front.y) == 0 {
		return without("Doubts", r.Refusal)
	}
	return doubts(r.Warnings)
}

// Measured tells how the numbers were measured.
func (r TransitionResult) Measured() table.Table {
	if len(r.front.y) == 0 {
		return without("How it was measured", r.Refusal)
	}
	t := table.Table{Caption: "How it was measured", RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "found"}}}
	p := r.Transition
	if p.Medium.Name != "" {
		t.Add("medium", p.Medium.Label())
	}
	t.Add("mean bead", r.Bead.String())
	t.Add("bed", fmt.Sprintf("%v by %v, %v", p.Column.InnerDiameter, p.BedHeight, r.volume))
	if p.Flow != 0 {
		t.Add("flow", fmt.Sprintf("%v, %v", p.Flow, r.Velocity))
	}
	t.Add("counted from", r.CountedFrom)
	if len(r.flows) > 0 {
		t.Add("flow of the record", toldFlows(r.flows))
	}
	if p.ExtraColumnVolume != 0 {
		t.Add("extra-column volume", p.ExtraColumnVolume.String()+", taken off every volume")
	}
	signal := r.Signal + " against " + r.front.axis.String()
	if r.File != "" {
		signal += ", from " + r.File
	}
	t.Add("signal", signal)
	for _, s := range []struct {
		name string
		p    Plateau
	}{{"plateau before", r.Before}, {"plateau after", r.After}} {
		text := fmt.Sprintf("%s %s over %d points, %s; it changes by %s of the step", number.Significant(s.p.Level, 5), r.Unit, s.p.Points, s.p.Range, percentage(math.Abs(s.p.Drift/r.Step)))
		if s.p.Sloped {
			text += ", and the step was measured from this straight line"
		}
		t.Add(s.name, text)
	}
	t.Add("step", r.stepText())
	step := r.SamplingStep.String()
	if r.Resampled {
		step += ", resampled by straight lines: the samples were not evenly spaced"
	}
	t.Add("one sample each", fmt.Sprintf("%s, %d from 15.87 to 84.13 %%", step, r.PointsInFront))
	smoothing := "none"
	if r.SmoothingWindow > 1 {
		smoothing = fmt.Sprintf("moving quadratic (Savitzky, Golay) over %d points, before crossings and derivative; the moments of the whole front do without", r.SmoothingWindow)
	}
	t.Add("smoothing", smoothing)
	if !(r.Moments.Variance > 0) {
		t.Add("moments", fmt.Sprintf("from %v to %v: the variance is not positive", r.Moments.From, r.Moments.To))
	} else {
		t.Add("moments", fmt.Sprintf("from %v to %v: M1 %v, standard deviation %v", r.Moments.From, r.Moments.To, r.Moments.Mean, units.Volume(math.Sqrt(r.Moments.Variance))))
	}
	t.Add("differences", fmt.Sprintf("h²/12 of the sampling step was %s of their variance and is taken off", percentage(r.Discretisation/(r.Derivative.Variance+r.Discretisation))))
	a := trace.Apex{X: float64(r.Peak)}
	half := fmt.Sprintf("%v, width at half height %v", r.Peak, units.Volume(r.Half.Width()))
	if !math.IsNaN(r.Asymmetry) {
		half += fmt.Sprintf(", at 10 %% a %v, b %v", units.Volume(r.Tenth.Front(a)), units.Volume(r.Tenth.Back(a)))
	}
	t.Add("peak of the derivative", half)
	t.Add("quantiles", fmt.Sprintf("15.87 %% %v, 50 %% %v, 84.13 %% %v", r.V16, r.V50, r.V84))
	return t
}

// stepText writes the step and its noise.
func (r TransitionResult) stepText() string {
	direction := "falling"
	if r.Rising {
		direction = "rising"
	}
	s := strings.TrimSpace(fmt.Sprintf("%s, %s %s", direction, number.Significant(math.Abs(r.Step), 4), r.Unit))
	if r.Noise > 0 {
		s += fmt.Sprintf(", %.0f times the noise of %.2g", math.Abs(r.Step)/r.Noise, r.Noise)
	}
	return s
}

// cautions are what one has to know beside the numbers.
func (r TransitionResult) cautions() []string {
	return []string{
		"Plate heights of a transition are for trends: compare them with the same transition of the same column, by the same method, not with a pulse test. Mixing in front of the column, the pump and the buffers themselves are in them.",
		fmt.Sprintf("Moments from %.4g to %.4g %% of the step leave out both ends: of a Gaussian front with 1 and 99 %% they keep 87 %% of the variance, of a tail less.", r.Transition.From.In(units.Percent), r.Transition.To.In(units.Percent)),
		"The standard errors hold the noise of the signal only. Drift, flow and extra-column volume are not in them: only cycles tell how much the number moves by itself.",
	}
}

// Figure returns the front with its plateaus, start and end, and its derivative
// below.
func (r TransitionResult) Figure() figure.Stack {
	if len(r.front.y) == 0 {
		return figure.Stack{}
	}
	one := float64(r.volume)
	cv := func(x float64) string { return fmt.Sprintf("%.3f CV", x/one) }
	start, end, half := float64(r.Start), float64(r.End), float64(r.V50)
	room := 0.6 * (end - start)
	lo, hi := math.Max(r.front.x(0), start-room), math.Min(r.front.x(len(r.front.y)-1), end+room)
	part := func(f even, scale float64) figure.Points {
		var p figure.Points
		for i, v := range f.y {
			if x := f.x(i); x >= lo && x <= hi {
				p.X, p.Y = append(p.X, x), append(p.Y, v*scale)
			}
		}
		return p
	}
	front := figure.Figure{
		X:     figure.Axis{Label: "Volume less extra-column volume, counted from " + shortened(r.CountedFrom), Unit: "CV", One: one, Min: lo / one, Max: hi / one},
		Y:     figure.Axis{Label: "Front, parts of the step", Min: -0.08, Max: 1.16},
		Lines: []figure.Line{{Name: "as recorded", Points: part(r.front, 1)}},
		Marks: []figure.Mark{
			{X1: lo, X2: start, Y1: 0, Y2: 0, Dashed: true, Colour: 1},
			{X1: end, X2: hi, Y1: 1, Y2: 1, Dashed: true, Colour: 1},
			{X1: start, X2: start, Y1: 0, Y2: 0.16, Colour: 2},
			{X1: start, X2: start, Y1: 0.16, Y2: 0.16, Label: "start " + cv(start), Place: figure.LeftOf, Colour: 2},
			{X1: end, X2: end, Y1: 0.84, Y2: 1, Colour: 2},
			{X1: end, X2: end, Y1: 0.84, Y2: 0.84, Label: "end " + cv(end), Place: figure.RightOf, Colour: 2},
			{X1: half, X2: half, Y1: 0.5, Y2: 0.5, Label: "half " + cv(half), Place: figure.RightOf, Colour: 1},
			{X1: lo + 0.02*(hi-lo), X2: lo + 0.02*(hi-lo), Y1: 0, Y2: 0, Label: fmt.Sprintf("plateau %s %s", number.Significant(r.Before.Level, 4), r.Unit), Place: figure.Above, Colour: 1},
			{X1: hi - 0.02*(hi-lo), X2: hi - 0.02*(hi-lo), Y1: 1, Y2: 1, Label: fmt.Sprintf("plateau %s %s", number.Significant(r.After.Level, 4), r.Unit), Place: figure.Above, Colour: 1},
		},
		Height: 300,
	}
	if r.SmoothingWindow > 1 {
		front.Lines[0].Faint = true
		front.Lines = append(front.Lines, figure.Line{Name: fmt.Sprintf("smoothed over %d points", r.SmoothingWindow), Points: part(r.calm, 1)})
	}
	peak, top := float64(r.Peak), 2*r.Half.Level*one
	tenth := r.Tenth.Level * one
	slope := figure.Figure{
		Y:     figure.Axis{Label: "Derivative", Unit: "1/CV", Min: -0.05 * top, Max: 1.2 * top},
		Lines: []figure.Line{{Points: part(r.slope, one)}},
		Marks: []figure.Mark{
			{X1: peak, X2: peak, Y1: 0, Y2: top, Dashed: true, Colour: 1},
			{X1: peak, X2: peak, Y1: top, Y2: top, Label: "peak " + cv(peak), Place: figure.Above, Colour: 1},
		},
		Height: 220,
	}
	width := number.Missing
	if !math.IsNaN(r.Half.Width()) {
		width = cv(r.Half.Width())
		slope.Marks = append(slope.Marks,
			figure.Mark{X1: r.Half.Left, X2: r.Half.Right, Y1: top / 2, Y2: top / 2, Ends: true, Colour: 2},
			figure.Mark{X1: r.Half.Right, X2: r.Half.Right, Y1: top / 2, Y2: top / 2, Label: "half height, width " + width, Place: figure.RightOf, Colour: 2})
	}
	if !math.IsNaN(r.Asymmetry) {
		a := trace.Apex{X: peak}
		slope.Marks = append(slope.Marks,
			figure.Mark{X1: r.Tenth.Left, X2: peak, Y1: tenth, Y2: tenth, Ends: true, Label: "a " + cv(r.Tenth.Front(a)), Place: figure.Above, Colour: 3},
			figure.Mark{X1: peak, X2: r.Tenth.Right, Y1: tenth, Y2: tenth, Ends: true, Label: "b " + cv(r.Tenth.Back(a)), Place: figure.Above, Colour: 1},
			figure.Mark{X1: r.Tenth.Right, X2: r.Tenth.Right, Y1: tenth, Y2: tenth, Label: "10 % of the height", Place: figure.RightOf, Colour: 1})
	}
	return figure.Stack{
		Title: r.name(),
		Description: fmt.Sprintf("The front of %s in parts of its step against column volumes, and its derivative below. It starts at %s, has half the step at %s and ends at %s. The derivative has its peak at %s, a width of %s at half height and an asymmetry of %s. HETP by moments %s mm, reduced plate height %s.",
			r.Signal, cv(start), cv(half), cv(end), cv(peak), width, number.Fixed(r.Asymmetry, 2), number.Fixed(r.HETP.In(units.Millimetre), 3), number.Fixed(r.ReducedPlateHeight, 1)),
		Panels: []figure.Figure{front, slope},
	}
}

// String returns the page as text.
func (r TransitionResult) String() string { return r.Page().String() }
