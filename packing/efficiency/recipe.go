package efficiency

import (
	"fmt"
	"math"
	"strings"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// A Recipe is how a pulse test is to be run, written down before it. [Recipe.Expect]
// says where the peak will come and how high, against the detector's range; with
// [Pulse].Recipe the evaluation reports what was done otherwise.
type Recipe struct {
	Name         string // of the procedure; shown with the result
	Tracer       Tracer
	SampleVolume units.Volume
	Velocity     units.Velocity    // superficial
	Temperature  units.Temperature // of the liquid; zero: not given
	HoldUp       units.Volume      // outside the column; zero: not given
	Detector     Detector
	// ReducedPlateHeight is what the bed is expected to have, for the height of the
	// peak. Zero: 2.6 (common practice, no source).
	ReducedPlateHeight float64
}

// A Detector is what records the peak.
type Detector struct {
	Signal string       // its name in the record begins so: "UV 280 nm"
	Unit   string       // of what it reads
	Path   units.Length // of the light; for the record
	// Response is what it reads, above its baseline and in its unit, of the sample
	// undiluted, or would read if its range went so far. Zero: not given, and no
	// height is expected.
	Response float64
	// LinearTo is where its linear range ends, in its unit. Zero: not given.
	LinearTo float64
}

// An Expectation is what a recipe leads to on one bed.
type Expectation struct {
	Refusal error  // why there are no numbers, or nil
	Recipe  Recipe // with what was taken
	Flow    units.VolumeFlow
	// Retention is what the tracer states, or else what media of the class usually
	// have, as a range in column volumes, net; both ends NaN if neither is known.
	RetentionLow, RetentionHigh float64
	// Volumes from the start of the sample, with hold-up and half the sample.
	VolumeLow, VolumeHigh units.Volume
	TimeLow, TimeHigh     units.Time
	Part                  float64 // height of the peak as a part of the sample's strength
	Height                float64 // in the detector's unit; NaN without a Response
	Outcome               Outcome // of the height against the linear range
	Warnings              []Warning

	medium string
}

// usualRetention is the net retention of small neutral tracers by class of medium.
// Common practice, no source.
func usualRetention(c packing.MediumClass) (low, high float64) {
	switch c {
	case packing.SoftGel:
		return 0.90, 0.97
	case packing.RigidPolymer:
		return 0.75, 0.90
	case packing.Mineral:
		return 0.70, 0.85
	}
	return math.NaN(), math.NaN()
}

// mostOfRange is the part of a detector's linear range that a peak should fill at
// most. Common practice, no source.
const mostOfRange = 0.9

// pulseHeight returns the height of a peak as a part of the strength of its sample:
//
//	C/C0 = erf( Vs √N / (2 √2 V) )
//
// with Vs [m³] the sample, a plug, V [m³] the retention and N the plates of a bed
// whose peak is a Gaussian. A sample of 1 % of the column volume at 0.95 column
// volumes and 770 plates gives 0.12. It returns NaN unless all are positive.
//
// Source: the convolution of a plug with a Gaussian.
func pulseHeight(sample, retention units.Volume, plates float64) float64 {
	if !(sample > 0 && retention > 0 && plates > 0) {
		return math.NaN()
	}
	return math.Erf(float64(sample/retention) * math.Sqrt(plates) / (2 * math.Sqrt2))
}

// check refuses a recipe that cannot be run.
func (r Recipe) check() error {
	refuse := func(what, problem, remedy string) error {
		return &packing.InputError{What: what, Problem: problem, Remedy: remedy}
	}
	if err := r.Tracer.check(); err != nil {
		return fmt.Errorf("recipe: %w", err)
	}
	d := r.Detector
	switch {
	case !(r.SampleVolume >= 0):
		return refuse("sample volume of the recipe "+r.SampleVolume.String(), "it must be above zero", "write for example 127 * Millilitre")
	case !(r.HoldUp >= 0):
		return refuse("hold-up of the recipe "+r.HoldUp.String(), "it cannot be negative", "write for example 350 * Millilitre")
	case !(r.Velocity >= 0):
		return refuse("velocity of the recipe "+r.Velocity.String(), "it must be above zero", "write for example 30 * CentimetrePerHour")
	case !(r.ReducedPlateHeight >= 0 && r.ReducedPlateHeight < 100):
		return refuse(fmt.Sprintf("reduced plate height of the recipe %v", r.ReducedPlateHeight), "no bed has it", "write for example 2.6, or leave it out")
	case !(d.Response >= 0 && d.LinearTo >= 0) || math.IsInf(d.Response+d.LinearTo, 0):
		return refuse(fmt.Sprintf("detector of the recipe with a response of %v, linear to %v", d.Response, d.LinearTo), "both are readings above zero", "give them in the unit of the signal, or leave them out")
	case !(d.Path >= 0 && d.Path <= 1*units.Metre):
		return refuse(fmt.Sprintf("light path %v of the detector of the recipe", d.Path), "no detector has it", "write for example 2 * Millimetre, or leave it out")
	case d.LinearTo > 0 && d.Unit == "":
		return refuse(fmt.Sprintf("detector of the recipe, linear to %v", d.LinearTo), "the unit was not given", "write for example Unit: \"mAU\"")
	}
	if r.Temperature != 0 {
		return packing.CheckTemperature("temperature of the recipe", r.Temperature)
	}
	return nil
}

// Expect works out what the recipe leads to on a bed: where the peak comes and how
// high it is. SampleVolume and Velocity must be given, and the medium's mean bead.
func (r Recipe) Expect(c packing.Column, height units.Length, m packing.Medium) (Expectation, error) {
	e, err := r.expect(c, height, m)
	if err != nil {
		return Expectation{Recipe: r, Refusal: err}, err
	}
	return e, nil
}

func (r Recipe) expect(c packing.Column, height units.Length, m packing.Medium) (Expectation, error) {
	nan := math.NaN()
	e := Expectation{Recipe: r, medium: m.Label(), RetentionLow: nan, RetentionHigh: nan, VolumeLow: units.Volume(nan), VolumeHigh: units.Volume(nan),
		TimeLow: units.Time(nan), TimeHigh: units.Time(nan), Part: nan, Height: nan}
	if err := r.check(); err != nil {
		return e, err
	}
	if err := c.Check(); err != nil {
		return e, err
	}
	if err := packing.CheckBedHeight(height); err != nil {
		return e, err
	}
	bead, err := meanBead(0, m)
	if err != nil {
		return e, err
	}
	if err := packing.CheckVelocity("velocity of the recipe", r.Velocity); err != nil {
		return e, err
	}
	cv := c.Volume(height)
	if !(r.SampleVolume > 0 && r.SampleVolume < cv) {
		return e, &packing.InputError{What: "sample volume of the recipe " + r.SampleVolume.String(), Problem: "it must be above zero and below one column volume, " + cv.String(), Remedy: fmt.Sprintf("1 %% of it is %v", cv/100)}
	}
	e.Flow = c.Flow(r.Velocity)
	t := r.Tracer
	switch {
	case t.Retention > 0:
		e.RetentionLow, e.RetentionHigh = t.Retention-t.Margin, t.Retention+t.Margin
	case t.Kind == ExcludedMarker:
		e.RetentionLow, e.RetentionHigh = leastVoid, 0.42
	default:
		e.RetentionLow, e.RetentionHigh = usualRetention(m.Class)
	}
	volume := func(v float64) units.Volume { return cv*units.Volume(v) + r.HoldUp + r.SampleVolume/2 }
	e.VolumeLow, e.VolumeHigh = volume(e.RetentionLow), volume(e.RetentionHigh)
	e.TimeLow, e.TimeHigh = e.VolumeLow.PumpedAt(e.Flow), e.VolumeHigh.PumpedAt(e.Flow)
	if e.Recipe.ReducedPlateHeight == 0 {
		e.Recipe.ReducedPlateHeight = 2.6
	}
	middle := (e.RetentionLow + e.RetentionHigh) / 2
	if math.IsNaN(middle) {
		middle = 0.9
	}
	e.Part = pulseHeight(r.SampleVolume, cv*units.Volume(middle), height.In(bead)/e.Recipe.ReducedPlateHeight)
	warn := func(what, do string) { e.Warnings = append(e.Warnings, Warning{What: what, Do: do}) }
	if d := r.Detector; d.Response > 0 {
		e.Height = e.Part * d.Response
		if d.LinearTo > 0 {
			e.Outcome = Meets
			if e.Height > mostOfRange*d.LinearTo {
				e.Outcome = DoesNotMeet
				warn(fmt.Sprintf("The peak would be %s %s high, more than %v of the linear range, which ends at %s", number.Significant(e.Height, 3), d.Unit, units.Fraction(mostOfRange), number.Significant(d.LinearTo, 3)),
					fmt.Sprintf("Take a tracer of at most %.2g %% of this strength, or a shorter path", 100*floorTo(mostOfRange*d.LinearTo/e.Height)))
			}
			if least := d.LinearTo / 100; e.Height < least {
				warn(fmt.Sprintf("The peak would be only %s %s high, less than 1 %% of the linear range", number.Significant(e.Height, 3), d.Unit), "Take a stronger tracer or a longer path, so that it stands out from the noise")
			}
		}
	}
	if part := r.SampleVolume.In(cv); part > mostSample {
		warn(fmt.Sprintf("The sample is %s of the column volume, and its own width takes plates", percentage(part)), "Take 1 to 2 %")
	}
	if u := math.Round(r.Velocity.In(units.CentimetrePerHour)); u < leastVelocity || u > mostVelocity {
		warn(fmt.Sprintf("%v is outside the usual %d to %d cm/h", r.Velocity, leastVelocity, mostVelocity), "Compare only with tests at the same velocity (common practice, no source)")
	}
	look := PulseResult{Pulse: Pulse{Tracer: t, Medium: m}, Signal: r.Detector.Signal, Unit: r.Detector.Unit}
	look.doubtTracer()
	e.Warnings = append(e.Warnings, look.Warnings...)
	return e, nil
}

// floorTo rounds a part down to two digits, so that what is advised is enough.
func floorTo(v float64) float64 {
	power := math.Pow(10, 1-math.Floor(math.Log10(v)))
	return math.Floor(v*power) / power
}

// doubtRecipe reports what was done otherwise than the recipe says, and whether the
// peak left the detector's linear range.
func (r *PulseResult) doubtRecipe() {
	p, recipe := r.Pulse, r.Pulse.Recipe
	if recipe == (Recipe{}) {
		return
	}
	d := recipe.Detector
	if top := r.Height; d.LinearTo > 0 && d.Unit == r.Unit && top > d.LinearTo {
		r.warn(kindClipped, fmt.Sprintf("The peak is %s %s high, and the detector is linear to %s", number.Significant(top, 4), r.Unit, number.Significant(d.LinearTo, 4)),
			"Take less or a weaker sample, or a shorter light path")
	}
	var apart []string
	differ := func(what string, done, planned any) {
		apart = append(apart, fmt.Sprintf("%s %v, recipe %v", what, done, planned))
	}
	off := func(a, b, most float64) bool { return b > 0 && !(math.Abs(a/b-1) <= most) }
	if off(float64(r.Velocity), float64(recipe.Velocity), mostFlowOff) {
		differ("velocity", r.Velocity, recipe.Velocity)
	}
	if off(float64(p.SampleVolume), float64(recipe.SampleVolume), samplesApart) {
		differ("sample", p.SampleVolume, recipe.SampleVolume)
	}
	if recipe.Tracer != (Tracer{}) && p.Tracer != recipe.Tracer {
		differ("tracer", p.Tracer, recipe.Tracer)
	}
	if recipe.Temperature != 0 && (p.Temperature == 0 || math.Abs(float64(p.Temperature-recipe.Temperature)) > temperaturesApart) {
		done := "not given"
		if p.Temperature != 0 {
			done = p.Temperature.String()
		}
		differ("temperature", done, recipe.Temperature)
	}
	if v, _ := p.holdUp(); off(float64(v), float64(recipe.HoldUp), mostHoldUpOff) {
		differ("hold-up", v, recipe.HoldUp)
	}
	if d.Signal != "" && !strings.HasPrefix(strings.ToLower(r.Signal), strings.ToLower(d.Signal)) {
		differ("signal", r.Signal, d.Signal)
	}
	if d.Unit != "" && d.Unit != r.Unit {
		differ("unit of the signal", r.Unit, d.Unit)
	}
	if len(apart) > 0 {
		r.warn(kindRecipe, "The test was not run by its recipe: "+strings.Join(apart, "; "), "Give what was done, run it by the recipe, or write down why not")
	}
}

// mostHoldUpOff is how far the hold-up may be from that of the recipe. Common
// practice, no source.
const mostHoldUpOff = 0.2

// Page lays the expectation out.
func (e Expectation) Page() page.Page {
	var p page.Page
	p.Heading("Pulse test to be run")
	if e.Refusal != nil || e.Flow == 0 {
		p.NoResult(e.Refusal, "nothing has been worked out.")
		return p
	}
	d := e.Recipe.Detector
	switch e.Outcome {
	case Meets:
		p.Notice("Within the detector's range:", fmt.Sprintf("a peak of about %s %s, linear to %s.", number.Significant(e.Height, 2), d.Unit, number.Significant(d.LinearTo, 3)))
	case DoesNotMeet:
		p.Notice("Outside the detector's range:", fmt.Sprintf("a peak of about %s %s, linear to %s.", number.Significant(e.Height, 2), d.Unit, number.Significant(d.LinearTo, 3)))
	default:
		p.Notice("Not checked:", "the height against the detector's range (no Response or LinearTo given)")
	}
	p.List("Doubts", sentences(e.Warnings))
	p.Table(e.RecipeTable())
	p.Table(e.ExpectedTable())
	p.List("Cautions", []string{"The height is that of an even bed without tail and without dispersion in the pipes: it is seldom higher. Expected plates and height are no limits."})
	return p
}

// RecipeTable returns what is to be done.
func (e Expectation) RecipeTable() table.Table {
	t := table.Table{Caption: "Pulse test, recipe", RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "planned"}}}
	if e.Refusal != nil || e.Flow == 0 {
		return without(t.Caption, e.Refusal)
	}
	r, d := e.Recipe, e.Recipe.Detector
	const notGiven = "not given"
	if r.Name != "" {
		t.Add("procedure", r.Name)
	}
	t.Add("medium", e.medium)
	t.Add("tracer", r.Tracer.String())
	t.Add("sample", r.SampleVolume.String())
	t.Add("velocity", fmt.Sprintf("%v, %v", r.Velocity, e.Flow))
	temperature, holdUp, detector := notGiven, notGiven+", and not counted", notGiven
	if r.Temperature != 0 {
		temperature = r.Temperature.String()
	}
	if r.HoldUp > 0 {
		holdUp = r.HoldUp.String()
	}
	if d.Signal != "" {
		detector = d.Signal
		if d.Path > 0 {
			detector += ", path " + d.Path.String()
		}
		if d.LinearTo > 0 {
			detector += fmt.Sprintf(", linear to %s %s", number.Significant(d.LinearTo, 3), d.Unit)
		}
	}
	t.Add("temperature of the liquid", temperature)
	t.Add("hold-up outside the column", holdUp)
	t.Add("detector", detector)
	return t
}

// ExpectedTable returns where the peak is expected and how high.
func (e Expectation) ExpectedTable() table.Table {
	t := table.Table{Caption: "Pulse test, what to expect", RowHeaders: true, Columns: []table.Column{{Name: "quantity"}, {Name: "expected"}}}
	if e.Refusal != nil || e.Flow == 0 {
		return without(t.Caption, e.Refusal)
	}
	if math.IsNaN(e.RetentionLow) {
		t.Add("net retention", "not stated for this tracer, and the class of the medium was not given")
	} else {
		source := "usual for this class of media, common practice, no source"
		switch {
		case e.Recipe.Tracer.Retention > 0:
			source = strings.TrimSuffix("as stated, "+e.Recipe.Tracer.Source, ", ")
		case e.Recipe.Tracer.Kind == TracerNotGiven:
			source = "of a small neutral tracer, " + source
		}
		t.Add("net retention", fmt.Sprintf("%.2f to %.2f CV (%s)", e.RetentionLow, e.RetentionHigh, source))
		t.Add("apex from the start of the sample", fmt.Sprintf("%v to %v, %v to %v", e.VolumeLow, e.VolumeHigh, e.TimeLow, e.TimeHigh))
	}
	t.Add("height of the peak", fmt.Sprintf("%s of the sample's strength, at a reduced plate height of %v", number.Significant(e.Part, 2), e.Recipe.ReducedPlateHeight))
	if !math.IsNaN(e.Height) {
		t.Add("height in the signal", strings.TrimSpace(number.Significant(e.Height, 2)+" "+e.Recipe.Detector.Unit))
	}
	return t
}

// String shows the expectation as text.
func (e Expectation) String() string { return e.Page().String() }
