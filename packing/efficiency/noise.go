package efficiency

import (
	"errors"
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/trace"
)

// SignalToNoise returns the signal-to-noise ratio of a peak of height H above
// the baseline in noise of range h:
//
//	S/N = 2H/h
//
// with both in the signal's unit, h the largest less the smallest value of the
// noise, over five widths at half height of the peak or more. It returns NaN
// unless both are positive.
//
// Source: USP General Chapter 621; Ph. Eur. 2.2.46.
func SignalToNoise(height, noise float64) float64 {
	if !(height > 0 && noise > 0) {
		return math.NaN()
	}
	return 2 * height / noise
}

// noiseWidths is how many widths at half height the noise is to be looked at.
const noiseWidths = 5.0

// A NoiseRatio is a signal-to-noise ratio with what it was taken from.
type NoiseRatio struct {
	Ratio  float64     // 2H/h
	Height float64     // H
	Noise  float64     // h, the range of the noise
	Window trace.Range // where
	Widths float64     // its length in widths at half height
	// Short reports a window of fewer than five widths: the noise may be larger.
	Short bool
	Blank bool // taken from another trace
	unit  string
	axis  trace.Axis
}

// SignalToNoise returns 2H/h with the noise of the recorded signal, not the
// smoothed one, about its baseline. The window is five widths at half height in
// front of the peak or behind it, where more room is, as far from the peak as
// the trace goes; the whole of that room if it is shorter, and Short then says
// so. A trace without noise, or without room, is an error. If a blank was
// recorded, use [PulseResult.SignalToNoiseOf].
func (r PulseResult) SignalToNoise() (NoiseRatio, error) {
	if err := r.ready(); err != nil {
		return NoiseRatio{}, err
	}
	span, peak, wide := r.recorded.Span(), r.peak(), noiseWidths*r.Half.Width()
	window := trace.Range{Axis: r.Axis, From: span.From, To: math.Min(peak.From, span.From+wide)}
	if span.To-peak.To > peak.From-span.From {
		window.From, window.To = math.Max(peak.To, span.To-wide), span.To
	}
	if !(window.From < window.To) {
		return NoiseRatio{}, errors.New("no part of the trace lies outside the peak; record more of the baseline, or use a blank with SignalToNoiseOf")
	}
	return r.ratio(r.recorded.Minus(r.Baseline), window, false)
}

// SignalToNoiseOf returns 2H/h with the noise of a blank, recorded in the same
// way without a peak, over five widths at half height about the place of the
// peak. A blank that does not reach over the peak's place, or runs against
// another axis, is an error.
func (r PulseResult) SignalToNoiseOf(blank trace.Trace) (NoiseRatio, error) {
	if err := r.ready(); err != nil {
		return NoiseRatio{}, err
	}
	half := noiseWidths / 2 * r.Half.Width()
	span := blank.Span()
	window := trace.Range{Axis: r.Axis, From: math.Max(span.From, r.Apex.X-half), To: math.Min(span.To, r.Apex.X+half)}
	if span.Axis != r.Axis || !(window.From < window.To) {
		return NoiseRatio{}, fmt.Errorf("blank %q runs from %s; it must cover the place of the peak, %s", blank.Name, span, r.Axis.Show(r.Apex.X))
	}
	return r.ratio(blank, window, true)
}

// peak returns the stretch that is not quiet: the width at 5 % with half as much
// on both sides.
func (r PulseResult) peak() trace.Range {
	w := r.Fifth
	if math.IsNaN(w.Width()) {
		w = r.Tenth
	}
	return trace.Range{Axis: r.Axis, From: w.Left - w.Width()/2, To: w.Right + w.Width()/2}
}

func (r PulseResult) ratio(quiet trace.Trace, window trace.Range, blank bool) (NoiseRatio, error) {
	part, err := quiet.Within(window)
	if err != nil {
		return NoiseRatio{}, err
	}
	low, high := part.Extremes()
	n := NoiseRatio{Height: r.Height, Noise: value(&part, high) - value(&part, low), Window: window, Blank: blank, unit: r.Unit, axis: r.Axis}
	if !(n.Noise > 0) {
		return NoiseRatio{}, fmt.Errorf("the signal does not change from %s: there is no noise to compare with, as after export with too few digits", window)
	}
	n.Ratio = SignalToNoise(n.Height, n.Noise)
	n.Widths = (window.To - window.From) / r.Half.Width()
	n.Short = n.Widths < noiseWidths*(1-1e-9)
	return n, nil
}

// Page shows the ratio and where the noise was taken.
func (n NoiseRatio) Page() page.Page {
	var p page.Page
	where := "the baseline of the test"
	if n.Blank {
		where = "a blank"
	}
	t := table.Table{Caption: "Signal-to-noise ratio", RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "found"}}}
	t.Add("S/N = 2H/h", number.Fixed(n.Ratio, 0))
	t.Add("H, height of the peak", number.Significant(n.Height, 4)+" "+n.unit)
	t.Add("h, range of the noise", number.Significant(n.Noise, 3)+" "+n.unit)
	t.Add("window", fmt.Sprintf("%s, %.1f widths at half height, of %s", n.Window, n.Widths, where))
	t.Add("source", pharmacopoeia)
	p.Table(t)
	if n.Short {
		p.Notice("Short window:", fmt.Sprintf("The noise was seen over %.1f widths at half height; the pharmacopoeias ask for %v. Record more of the baseline, or use a blank.", n.Widths, noiseWidths))
	}
	return p
}

// String returns the page as text.
func (n NoiseRatio) String() string { return n.Page().String() }
