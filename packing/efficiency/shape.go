package efficiency

import (
	"fmt"
	"math"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/trace"
)

// The thresholds of the shape. Common practice, no source.
const (
	frontingBelow = 0.80 // asymmetry at 10 %
	tailingAbove  = 1.25 // its mirror image
	shoulderDip   = 0.05 // of the steepest slope, between two steeper places of a flank
	footAbove     = 0.02 // of the height, twice the front at 10 % or more before the apex
	broadAbove    = 5.0  // reduced plate height
)

// A Finding is one thing that the shape of a peak shows, with the feature that
// was measured, the rule, and what is commonly looked for.
type Finding struct {
	Name    string // "tailing"
	Feature string // what was measured
	Value   string // what it is here
	Rule    string // what it is compared with
	Causes  []string
	Checks  []string // what operators look at next
}

// A Shape is what the shape of a peak shows. Several findings can hold at once.
// Causes and checks are common practice, without a source: they say where to
// look and prove nothing.
type Shape struct {
	Findings []Finding
	// Features are all that was measured, also where it stays within its rule.
	Features []Feature
	// Order is what to do after a failed test, in turn; empty if no limit was
	// missed.
	Order   []string
	heading string
	with    string
	refused error
}

// A Feature is one measured property of the shape beside its rule.
type Feature struct {
	Name, Value, Rule string
	Holds             bool // the rule of a finding is met
}

// remedies returns what to do after a failed test, in turn. What does not touch the
// bed comes first. Common practice, no source.
func (r PulseResult) remedies() []string {
	tracer := "another tracer"
	if r.salt() {
		tracer = "another tracer, or more salt in the background if the medium is charged"
	}
	return []string{
		"what was typed, the zero of the test and the range of the detector",
		"look: bubbles, a gap under the adapter, a line in the bed",
		"the system without the column",
		"a repeat after 2 to 3 column volumes, on a steady baseline; fix the number of repeats beforehand",
		tracer,
		r.remedyOfShape(),
		"further consolidation, if the pressure-flow curve and the limits allow it",
		"the top of the bed stirred up and settled again",
		"unpacking",
	}
}

// firstSteps stands in front of every check that touches the bed, and reversePulse
// says when one may run.
const (
	firstSteps   = "first what does not touch the bed: what was typed, the zero, the detector's range, a look, the system without the column, a repeat, another tracer"
	reversePulse = "a pulse in reverse flow, only with the adapter touching the bed and nets made for both directions; never with a gap or an unknown one"
)

// remedyOfShape is the first remedy that touches the bed, by the shape of the
// peak.
func (r PulseResult) remedyOfShape() string {
	if r.Asymmetry > tailingAbove {
		return "the adapter lowered to the bed, if a gap was seen"
	}
	return reversePulse
}

// failureCaution stands beside every list that may lead to an open column.
const failureCaution = "Release pressure slowly and let trapped air out before anything is opened or an adapter moved; follow the equipment's manual and the rules of the site, and leave heavy parts to people trained for them."

// Shape reads fronting, tailing, a shoulder, a split, a foot in front of the
// peak, breadth and symmetry from measured features.
func (r PulseResult) Shape() Shape {
	s := Shape{heading: "Shape: " + r.name()}
	if s.refused = r.plated(); s.refused != nil {
		return s
	}
	s.with = fmt.Sprintf("reduced plate height %s, asymmetry at 10 %% %s, at %v", number.Fixed(r.ReducedPlateHeight, 1), number.Fixed(r.Asymmetry, 2), r.Velocity)
	valid := len(r.invalid()) == 0
	take := func(holds bool, f Finding) {
		if !valid {
			f.Causes, f.Checks = []string{"the test is not valid: the shape may be the test's and not the bed's"}, []string{"make the test valid first, as the verdict says"}
		}
		s.Features = append(s.Features, Feature{f.Feature, f.Value, f.Name + ": " + f.Rule, holds})
		if holds {
			s.Findings = append(s.Findings, f)
		}
	}
	const ratio = "asymmetry b/a at 10 % of the height"
	as := number.Fixed(r.Asymmetry, 2)
	if e := r.AsymmetryStdErr; e > 0 {
		as += ", standard error " + number.Significant(e, 2)
	}
	take(r.Asymmetry < frontingBelow, Finding{"fronting", ratio, as, fmt.Sprintf("below %.2f", frontingBelow),
		[]string{"bed compressed too far (pressure high and rising faster than flow)", "a gap along the wall, in wide columns (pressure low), after shrinking in salt or solvent", "uneven flow through the bed", "more sample than the detector's linear range or the bed takes"},
		[]string{firstSteps, "compare pressure and compression factor with the plan", reversePulse, "then only: recompress in the final buffer, or repack with less compression"}})
	take(r.Asymmetry > tailingAbove, Finding{"tailing", ratio, as, fmt.Sprintf("above %.2f", tailingAbove),
		[]string{"a gap under the adapter: the bed has settled further in use, or was compressed too little", "air in the bed or under a net (noisy signal, drifting pressure)", "mixing outside the column: tubing, valves, a slow detector", "a tracer that binds"},
		[]string{firstSteps, "look for a gap under the adapter at process flow; where one is seen, lower the adapter to the bed and test again", "prime and degas", reversePulse}})

	x, rise := r.second()
	take(rise > 0, Finding{"split", "rise of a second apex above the valley", r.share(rise),
		fmt.Sprintf("%.0f %% of the height or more, and six times the noise", 100*secondApex),
		[]string{"a crack in the bed, after drying, a fast release of pressure or a change of buffer", "a channel: two ways through the bed", "a sample that went in twice, or with an air bubble"},
		[]string{firstSteps, "repeat, and watch the sample go in", "look for lines in the bed and a sudden fall of pressure", "then only: stir up the top and settle it again, or repack"}})
	if rise > 0 {
		last := &s.Findings[len(s.Findings)-1]
		last.Value += " at " + r.Axis.Show(x)
		s.Features[len(s.Features)-1].Value = last.Value
	}

	dip, at, noise := r.shoulder()
	value := r.slopeShare(dip)
	shoulder := rise == 0 && dip > math.Max(shoulderDip, noise)
	if shoulder {
		value += " at " + r.Axis.Show(at)
	}
	take(shoulder, Finding{"shoulder", "dip of the slope between two steeper places of one flank", value,
		fmt.Sprintf("%.0f %% of the steepest slope or more, and six times its noise (%.1f %%), without a second apex", 100*shoulderDip, 100*noise),
		[]string{"an uneven top of the bed, from an off-level column or a swirl on filling", "uneven flow: poor mixing of the slurry, part of a net clogged", "a channel that is about as fast as the bed"},
		[]string{firstSteps, "check the level; look at the top of the bed", reversePulse + "; it tells the inlet from the outlet", "then only: stir up the top 5 to 10 cm and settle it again, or repack"}})

	foot, where := r.foot()
	early := foot > math.Max(footAbove, 6*r.noise()/r.Height)
	value = r.share(foot * r.Height)
	if early {
		value += " at " + r.Axis.Show(where)
	}
	take(early, Finding{"early breakthrough", "highest signal before the apex by twice the front a, or more", value,
		fmt.Sprintf("%.0f %% of the height or more, and six times the noise", 100*footAbove),
		[]string{"a channel or a crack through the bed", "flow along the wall", "a leak past the adapter's seal", "a baseline that had not settled"},
		[]string{firstSteps, "pressure: low for this flow?", reversePulse, "then only: repack if it stays"}})

	take(r.ReducedPlateHeight > broadAbove, Finding{"broad", "reduced plate height", number.Fixed(r.ReducedPlateHeight, 1), fmt.Sprintf("above %v", broadAbove),
		[]string{"slurry that settled while it was filled: a layered bed", "a net partly clogged, or fines", "air in the bed", "mixing outside the column, or too much sample", "a bead size that is not that of the medium"},
		[]string{firstSteps, "sample volume, velocity and bead size as given here", "pressure of the empty column", "then only: repack with the slurry mixed and moved faster"}})
	if len(s.Findings) == 0 {
		s.Findings = append(s.Findings, Finding{"symmetric", ratio, as, fmt.Sprintf("%.2f to %.2f, and none of the other findings", frontingBelow, tailingAbove),
			[]string{"nothing in the shape points to a fault of the bed"},
			[]string{"if plates are still too few: bead size, velocity, sample volume, and the system without the column"}})
	}
	if r.Verdict == DoesNotMeet {
		s.Order = append(s.Order, r.remedies()...)
	}
	return s
}

// share writes a height as a part of the peak's.
func (r PulseResult) share(v float64) string {
	return fmt.Sprintf("%.1f %% of the height", 100*math.Max(0, v)/r.Height)
}

func (r PulseResult) slopeShare(v float64) string {
	return fmt.Sprintf("%.1f %% of the steepest slope", 100*v)
}

// shoulder looks on both flanks for a place that is less steep than one above
// it and one below it. It returns the depth of the dip and six standard errors of
// the slope, both as parts of the steepest slope, and where it is.
//
// The slope is that of a straight line through a tenth of the width at half
// height.
func (r PulseResult) shoulder() (dip, at, noise float64) {
	reach := max(1, r.PointsAboveHalfHeight/20)
	squares := float64(reach) * float64(reach+1) * float64(2*reach+1) / 3
	step, foot := r.calm.Step(), r.Fifth
	if math.IsNaN(foot.Width()) {
		foot = r.Tenth
	}
	for _, side := range []int{-1, 1} {
		var places, slopes []float64
		steepest := 0.0
		for i := r.Apex.Index; i >= reach && i+reach < r.calm.Len(); i += side {
			x := position(&r.calm, i)
			if x < foot.InnerLeft || x > foot.InnerRight {
				break
			}
			sum := 0.0
			for j := 1; j <= reach; j++ {
				sum += float64(j) * (value(&r.calm, i+j) - value(&r.calm, i-j))
			}
			s := -float64(side) * sum / squares / step
			places, slopes = append(places, x), append(slopes, s)
			steepest = math.Max(steepest, s)
		}
		if steepest == 0 {
			continue
		}
		// A dip is as deep as the lower of the highest slopes on both its sides
		// stands above it.
		behind := make([]float64, len(slopes)+1)
		for i := len(slopes) - 1; i >= 0; i-- {
			behind[i] = math.Max(behind[i+1], slopes[i])
		}
		before := math.Inf(-1)
		for i, s := range slopes {
			before = math.Max(before, s)
			if d := (math.Min(before, behind[i]) - s) / steepest; d > dip {
				dip, at = d, places[i]
			}
		}
		if !math.IsNaN(r.Baseline.Noise) {
			// Of unsmoothed points; smoothing makes it smaller.
			noise = math.Max(noise, 6*r.Baseline.Noise/math.Sqrt(squares)/step/steepest)
		}
	}
	return dip, at, noise
}

// foot returns the highest value before the apex by twice the front at a tenth
// of the height, as a part of the height, and where it is.
func (r PulseResult) foot() (part, at float64) {
	net, err := r.net()
	if err != nil {
		return 0, math.NaN()
	}
	end := r.Apex.X - 2*(r.Apex.X-r.Tenth.InnerLeft)
	front, err := net.Within(trace.Range{Axis: r.Axis, From: net.Span().From, To: end})
	if err != nil {
		return 0, math.NaN() // the recording begins behind that
	}
	_, k := front.Extremes()
	return math.Max(0, value(&front, k)/r.Height), position(&front, k)
}

// Names returns the names of the findings.
func (s Shape) Names() []string {
	names := make([]string, len(s.Findings))
	for i, f := range s.Findings {
		names[i] = f.Name
	}
	return names
}

// Page shows the findings, the features and what to do after a failed test.
func (s Shape) Page() page.Page {
	var p page.Page
	p.Heading(s.heading)
	if s.refused != nil || len(s.Findings) == 0 {
		p.NoResult(s.refused, "nothing has been evaluated.")
		return p
	}
	p.Text("Measured with: " + s.with + ".")
	t := table.Table{Caption: "What the shape shows", RowHeaders: true, Columns: []table.Column{
		{Name: "finding"}, {Name: "measured"}, {Name: "rule"}, {Name: "usual causes"}, {Name: "what to check next"}}}
	for _, f := range s.Findings {
		t.Add(f.Name, f.Feature+": "+f.Value, f.Rule, strings.Join(f.Causes, ";\n"), strings.Join(f.Checks, ";\n"))
	}
	p.Table(t)
	t = table.Table{Caption: "All that was measured", RowHeaders: true, Columns: []table.Column{
		{Name: "feature"}, {Name: "value"}, {Name: "rule"}, {Name: "holds"}}}
	for _, f := range s.Features {
		holds := "no"
		if f.Holds {
			holds = "yes"
		}
		t.Add(f.Name, f.Value, f.Rule, holds)
	}
	p.Table(t)
	p.Text("Rules, causes and checks are common practice, no source. They say where to look; they prove nothing.")
	if len(s.Order) > 0 {
		steps := make([]string, len(s.Order))
		for i, o := range s.Order {
			steps[i] = fmt.Sprintf("%d: %s", i+1, o)
		}
		p.List("A limit was missed. In this order, each counted and recorded, with the number of repeats fixed beforehand:", steps)
	}
	p.List("Cautions", []string{failureCaution})
	return p
}

// String returns the page as text.
func (s Shape) String() string { return s.Page().String() }
