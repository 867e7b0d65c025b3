package packing

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// SlurrySamples are readings of how much settled bed samples of a slurry hold.
// The samples settle by gravity until nothing falls any more, 16 to 24 h for soft
// beads of 90 µm without vibration (common practice, no source), or are spun in a
// centrifuge, whose denser bed is brought back by a factor measured once for
// medium, speed, time and liquid.
type SlurrySamples struct {
	Sample  units.Volume   // volume of each sample
	Settled []units.Volume // bed in each sample
	// Top, Middle and Bottom stand in place of Settled where the samples were
	// drawn from a stirred tank at three heights.
	Top, Middle, Bottom []units.Volume
	Factor              float64 // of the centrifuge, bed by gravity over spun bed; zero: settled by gravity
	FactorStdErr        float64 // standard error of the factor; zero: not given
}

// SlurryConcentration is what the samples tell.
type SlurryConcentration struct {
	Samples  SlurrySamples
	Slurry   Slurry         // with the mean concentration
	StdErr   units.Fraction // of the mean, absolute; NaN for a single reading
	Readings int            // number of samples
	StdDev   units.Fraction // of one reading; NaN for a single one
	Places   []SlurryPlace  // by height in the tank; nil if not told apart
	Spread   units.Fraction // greatest less smallest mean of the places; NaN without places
	Warnings []string
	Refusal  error // why there are no numbers, or nil
}

// A SlurryPlace is a height in a tank at which samples were drawn.
type SlurryPlace struct {
	Name     string
	Mean     units.Fraction
	Readings int
}

// largestSpread is how far the places of a well stirred tank may be apart, as an
// absolute part (common practice, no source).
const largestSpread = 2 * units.Percent

// largestRange is how far readings at one place may be apart, as an absolute part
// (common practice, no source).
const largestRange = 5 * units.Percent

func (s SlurrySamples) factor() float64 {
	if s.Factor == 0 {
		return 1
	}
	return s.Factor
}

// Evaluate returns the concentration,
//
//	C = f·V(bed)/V(sample)
//
// with the factor f of the centrifuge, as the mean over all samples; of samples
// from several places as the mean of the places, each of which stands for as much
// of the tank, however often it was drawn from. Its standard error is that of the
// mean, by the samples or by the places, whichever is larger, with the factor's
// own. Places more than 2 % and readings at one more than 5 % absolute apart, fewer
// than three places and fewer than three readings at one are warned of. It refuses
// readings that no sample has.
func (s SlurrySamples) Evaluate() (SlurryConcentration, error) {
	r, err := s.evaluate()
	if err != nil {
		return SlurryConcentration{Samples: s, Refusal: err}, err
	}
	return r, nil
}

func (s SlurrySamples) evaluate() (SlurryConcentration, error) {
	fail := func(what, problem, remedy string) (SlurryConcentration, error) {
		return SlurryConcentration{}, &InputError{"slurry samples", what, problem, remedy}
	}
	if err := checkVolume("sample volume", s.Sample); err != nil {
		return SlurryConcentration{}, err
	}
	if f := s.factor(); !(f >= 1 && f <= 2) {
		return fail(fmt.Sprintf("factor %v", s.Factor), "it must be from 1 to 2", "a spun bed is denser: give the bed by gravity over the spun bed")
	}
	if !(s.FactorStdErr >= 0 && s.FactorStdErr < 1) {
		return fail(fmt.Sprintf("standard error of the factor %v", s.FactorStdErr), "it must be from 0 to below 1", "")
	}
	groups := []struct {
		name     string
		readings []units.Volume
	}{{"top", s.Top}, {"middle", s.Middle}, {"bottom", s.Bottom}, {"samples", s.Settled}}
	placed := len(s.Top)+len(s.Middle)+len(s.Bottom) > 0
	switch {
	case placed && len(s.Settled) > 0:
		return fail("readings", "both with and without places", "give Settled, or Top, Middle and Bottom")
	case !placed && len(s.Settled) == 0:
		return fail("readings", "there are none", "give the bed volume of each sample")
	}
	r := SlurryConcentration{Samples: s, Spread: units.Fraction(math.NaN())}
	var all, means []float64
	for _, g := range groups {
		if len(g.readings) == 0 {
			continue
		}
		var of []float64
		for i, v := range g.readings {
			c := s.factor() * v.In(s.Sample)
			if !(c > 0 && c <= 1) {
				return fail(fmt.Sprintf("%s, reading %d (%v)", g.name, i+1, v), fmt.Sprintf("a sample of %v cannot hold that bed", s.Sample),
					"give the volume of the bed, without the liquid above")
			}
			of = append(of, c)
		}
		all = append(all, of...)
		if lowest, highest := units.Fraction(slices.Min(of)), units.Fraction(slices.Max(of)); highest-lowest > largestRange {
			r.warn("%s: readings of one mixed slurry run from %.1f to %.1f %%, more than %.0f %% absolute: look for a slip of the pen, or sample again (common practice, no source).",
				g.name, lowest.In(units.Percent), highest.In(units.Percent), largestRange.In(units.Percent))
		}
		mean, _ := meanSD(of)
		means = append(means, mean)
		if placed {
			r.Places = append(r.Places, SlurryPlace{g.name, units.Fraction(mean), len(of)})
		}
		if len(of) < 3 {
			r.warn("%s: %d of at least three readings (common practice).", g.name, len(of))
		}
	}
	mean, sd := meanSD(all)
	if placed {
		mean, _ = meanSD(means)
		if len(means) < 3 {
			r.warn("Only %d of three places: whether the tank is mixed is not known.", len(means))
		}
	}
	r.Readings, r.StdDev = len(all), units.Fraction(sd)
	stderr := sd / math.Sqrt(float64(len(all)))
	if len(means) > 1 {
		lowest, highest := means[0], means[0]
		for _, m := range means {
			lowest, highest = math.Min(lowest, m), math.Max(highest, m)
		}
		r.Spread = units.Fraction(highest - lowest)
		if r.Spread > largestSpread {
			r.warn("The places differ by %.1f %% absolute, more than %.0f %%: stir on and sample again (common practice).",
				r.Spread.In(units.Percent), largestSpread.In(units.Percent))
		}
		_, between := meanSD(means)
		stderr = math.Max(stderr, between/math.Sqrt(float64(len(means))))
	}
	stderr = math.Hypot(stderr, mean*s.FactorStdErr/s.factor())
	r.Slurry, r.StdErr = Slurry{units.Fraction(mean)}, units.Fraction(stderr)
	if s.Factor > 0 && s.FactorStdErr == 0 {
		r.warn("The factor of the centrifuge counts as exact: no standard error was given.")
	}
	if mean > 0.75 {
		r.warn("A slurry of %v hardly pours (common practice: up to 75 %%).", r.Slurry.Concentration)
	}
	if math.IsNaN(stderr) {
		r.warn("One reading has no standard error.")
	}
	return r, nil
}

func (r *SlurryConcentration) warn(format string, args ...any) {
	r.Warnings = append(r.Warnings, fmt.Sprintf(format, args...))
}

// meanSD returns mean and standard deviation, NaN for a single number.
func meanSD(x []float64) (mean, sd float64) {
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		sd += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(sd / float64(len(x)-1))
}

// Page shows concentration, errors and doubts.
func (r SlurryConcentration) Page() page.Page {
	var p page.Page
	if r.Readings == 0 {
		p.NoResult(r.Refusal, "nothing has been evaluated.")
		return p
	}
	t := table.Table{Caption: "Slurry concentration", RowHeaders: true,
		Columns: []table.Column{{Name: "what"}, {Name: "value", Right: true}, {Name: "unit"}}}
	percent := func(f units.Fraction) string {
		return number.Fixed(f.In(units.Percent), 2)
	}
	t.Add("concentration, mean", percent(r.Slurry.Concentration), "%")
	t.Add("standard error of the mean", percent(r.StdErr), "% absolute")
	t.Add("standard deviation of a reading", percent(r.StdDev), "% absolute")
	t.Add("readings", fmt.Sprint(r.Readings), "")
	for _, place := range r.Places {
		t.Add("mean, "+place.Name, percent(place.Mean), "%")
	}
	if len(r.Places) > 1 {
		t.Add("spread of the places", percent(r.Spread), "% absolute")
	}
	by := "settled by gravity"
	if r.Samples.Factor > 0 {
		by = fmt.Sprintf("spun, factor %v", r.Samples.Factor)
	}
	t.Add("how", by, "")
	p.Table(t)
	p.List("Doubts", r.Warnings)
	return p
}

// String returns the page as text.
func (r SlurryConcentration) String() string { return r.Page().String() }

// DryMedium is a medium delivered dry.
type DryMedium struct {
	Mass           units.Mass
	SwollenPerGram units.Volume // settled bed that one gram gives in the packing liquid
}

// Settled returns the volume of the settled bed after swelling, mass times
// swollen volume per gram. Let it swell fully, in the packing liquid. It refuses
// values that no medium has.
func (d DryMedium) Settled() (units.Volume, error) {
	nan := units.Volume(math.NaN())
	if !(d.Mass > 0 && d.Mass <= 1e5) {
		return nan, &InputError{"dry medium", fmt.Sprintf("mass %v", d.Mass), "it must be above zero", "write for example 2 * Kilogram"}
	}
	if !(d.SwollenPerGram >= 0.5*units.Millilitre && d.SwollenPerGram <= 100*units.Millilitre) {
		return nan, &InputError{"dry medium", fmt.Sprintf("swollen volume %v per gram", d.SwollenPerGram), "it must be between 0.5 and 100 mL",
			"write for example 12 * Millilitre"}
	}
	return d.SwollenPerGram.Times(d.Mass.In(units.Gram)), nil
}

// Needed returns the mass that gives a settled bed. It refuses values that no
// medium has.
func (d DryMedium) Needed(settled units.Volume) (units.Mass, error) {
	d.Mass = units.Gram
	per, err := d.Settled()
	if err == nil {
		err = checkVolume("settled volume", settled)
	}
	if err != nil {
		return units.Mass(math.NaN()), err
	}
	return units.Gram.Times(settled.In(per)), nil
}

// Packed is a bed as it was packed, with the standard errors of what was
// measured. A standard error that is zero was not given, and counts as none.
type Packed struct {
	Column       Column
	Slurry       Slurry
	SlurryStdErr units.Fraction // of the concentration, absolute
	Poured       units.Volume
	PouredStdErr units.Volume
	Height       units.Length // of the bed
	HeightStdErr units.Length
}

// PackedResult is the compression factor of a packed bed.
type PackedResult struct {
	Packed            Packed
	SettledHeight     units.Length // of all that was poured
	CompressionFactor float64
	StdErr            float64
	// The parts of the relative standard error that concentration, volume and
	// height bring, as fractions of the factor.
	FromConcentration, FromVolume, FromHeight float64
	NotGiven                                  []string // standard errors that were not given
	Refusal                                   error    // why there are no numbers, or nil
}

// Evaluate returns the compression factor and its standard error,
//
//	CF = C·V/(A·L),  u(CF)/CF = √[(u(C)/C)² + (u(V)/V)² + (u(L)/L)²]
//
// with the slurry's concentration C and poured volume V, the column's area A and
// the bed height L. A factor below 1 is returned: it tells of beads lost or of a
// concentration read too low. It refuses inputs that cannot be.
func (p Packed) Evaluate() (PackedResult, error) {
	r, err := p.evaluate()
	if err != nil {
		return PackedResult{Packed: p, Refusal: err}, err
	}
	return r, nil
}

func (p Packed) evaluate() (PackedResult, error) {
	for _, err := range []error{p.Column.Check(), p.Slurry.Check(), checkVolume("poured volume", p.Poured), CheckBedHeight(p.Height)} {
		if err != nil {
			return PackedResult{}, err
		}
	}
	for _, e := range []struct {
		of          string
		stdErr, all float64
		shown       string
	}{
		{"slurry concentration", float64(p.SlurryStdErr), float64(p.Slurry.Concentration), p.SlurryStdErr.String()},
		{"poured volume", float64(p.PouredStdErr), float64(p.Poured), p.PouredStdErr.String()},
		{"bed height", float64(p.HeightStdErr), float64(p.Height), p.HeightStdErr.String()},
	} {
		what := fmt.Sprintf("standard error %s of the %s", e.shown, e.of)
		switch {
		case math.IsNaN(e.stdErr):
			return PackedResult{}, &InputError{p.Column.name(), what, "it is not a number", "leave it zero if it is not known, as that of a single reading is not"}
		case !(e.stdErr >= 0 && e.stdErr < e.all):
			return PackedResult{}, &InputError{p.Column.name(), what, "it must be from zero to below the value", "was the unit forgotten?"}
		}
	}
	r := PackedResult{Packed: p,
		FromConcentration: p.SlurryStdErr.In(p.Slurry.Concentration), FromVolume: p.PouredStdErr.In(p.Poured), FromHeight: p.HeightStdErr.In(p.Height)}
	r.SettledHeight = p.Poured.Times(float64(p.Slurry.Concentration)).Height(p.Column.Area())
	r.CompressionFactor = r.SettledHeight.In(p.Height)
	r.StdErr = r.CompressionFactor * math.Sqrt(r.FromConcentration*r.FromConcentration+r.FromVolume*r.FromVolume+r.FromHeight*r.FromHeight)
	for _, x := range []struct {
		name string
		part float64
	}{{"concentration", r.FromConcentration}, {"volume", r.FromVolume}, {"height", r.FromHeight}} {
		if x.part == 0 {
			r.NotGiven = append(r.NotGiven, x.name)
		}
	}
	return r, nil
}

// Page shows the factor with its error and where the error comes from.
func (r PackedResult) Page() page.Page {
	var p page.Page
	if r.CompressionFactor == 0 {
		p.NoResult(r.Refusal, "nothing has been evaluated.")
		return p
	}
	if len(r.NotGiven) > 0 {
		p.Notice("Not counted:", "the standard error of "+strings.Join(r.NotGiven, ", ")+" was not given; the error shown is too small.")
	}
	if r.CompressionFactor < 1 {
		p.Notice("Doubt:", "the factor is below 1: look for beads lost, or a concentration read too low.")
	}
	t := table.Table{Caption: "Compression factor of " + r.Packed.Column.name(), RowHeaders: true,
		Columns: []table.Column{{Name: "what"}, {Name: "value", Right: true}, {Name: "relative error", Unit: "%", Right: true}}}
	relative := func(x float64) string {
		if x == 0 {
			return "not given"
		}
		return number.Compact(100*x, 2)
	}
	t.Add("slurry concentration", r.Packed.Slurry.Concentration.String(), relative(r.FromConcentration))
	t.Add("poured volume", r.Packed.Poured.String(), relative(r.FromVolume))
	t.Add("bed height", r.Packed.Height.String(), relative(r.FromHeight))
	t.Add("settled height of what was poured", r.SettledHeight.String(), "")
	t.Add("compression factor", fmt.Sprintf("%.3f ± %.3f", r.CompressionFactor, r.StdErr), relative(r.StdErr/r.CompressionFactor))
	t.Add("compression, (L0 - L)/L0", fmt.Sprintf("%.1f %%", 100*CompressionOfSettled(r.CompressionFactor)), "")
	p.Table(t)
	return p
}

// String returns the page as text.
func (r PackedResult) String() string { return r.Page().String() }
