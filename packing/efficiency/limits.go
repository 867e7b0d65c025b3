package efficiency

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/number"
)

// A Limit is what a number must keep to, written as the user's procedure has
// it. The digits count: the number is rounded to the digits of the limit before
// it is compared, so that a least value of "0.8" takes 0.76 and one of "0.80"
// takes 0.795. An empty bound was not given.
type Limit struct {
	Min, Max string
	// Figures is the number of significant figures that the value is rounded to
	// before it is compared, if the procedure counts those. Zero: the decimals of
	// the bound count.
	Figures int
}

// ToFigures returns the limit for values rounded to so many significant figures:
// AtLeast("4000").ToFigures(2) takes 3950, which rounds to 4000.
func (l Limit) ToFigures(figures int) Limit { l.Figures = figures; return l }

// AtLeast returns the limit of a least value: AtLeast("4000").
func AtLeast(least string) Limit { return Limit{Min: least} }

// AtMost returns the limit of a largest value: AtMost("1.8").
func AtMost(largest string) Limit { return Limit{Max: largest} }

// Between returns the limit of a least and a largest value:
// Between("0.80", "1.50").
func Between(least, largest string) Limit { return Limit{Min: least, Max: largest} }

// IsZero reports whether no limit was given.
func (l Limit) IsZero() bool { return l.Min == "" && l.Max == "" }

// String writes the limit in words.
func (l Limit) String() string {
	text := l.Min + " to " + l.Max
	switch {
	case l.IsZero():
		return "not given"
	case l.Max == "":
		text = "at least " + l.Min
	case l.Min == "":
		text = "at most " + l.Max
	}
	switch l.Figures {
	case 0:
		return text
	case 1:
		return text + " (to 1 significant figure)"
	}
	return fmt.Sprintf("%s (to %d significant figures)", text, l.Figures)
}

// check refuses bounds that are no positive numbers or stand the wrong way
// round.
func (l Limit) check(name string) error {
	if l.Figures < 0 || l.Figures > 15 || l.Figures > 0 && l.IsZero() {
		return fmt.Errorf("limit of %s: %d significant figures for %q; give a bound and 1 to 15 figures, or none to compare with the bound's decimals", name, l.Figures, l.Min+l.Max)
	}
	for _, bound := range []string{l.Min, l.Max} {
		if bound == "" {
			continue
		}
		if v, _, ok := bounded(bound); !ok || v <= 0 {
			return fmt.Errorf("limit of %s: %q is not a positive number; write it with its digits, as \"4000\" or \"1.50\"", name, bound)
		}
	}
	if l.Min != "" && l.Max != "" {
		low, _, _ := bounded(l.Min)
		high, _, _ := bounded(l.Max)
		if low > high {
			return fmt.Errorf("limits of %s: the least value %s is above the largest, %s; put the smaller one first", name, l.Min, l.Max)
		}
	}
	return nil
}

// bounded reads a bound: plain digits with one decimal point at most.
func bounded(s string) (v float64, decimals int, ok bool) {
	whole, part, _ := strings.Cut(s, ".")
	if whole == "" || strings.Trim(whole+part, "0123456789") != "" || len(s) > 15 || strings.HasSuffix(s, ".") {
		return 0, 0, false
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, len(part), err == nil
}

// judge compares a value with the limit. Reported is the value as it was
// compared, rounded to the digits of the bound; a 5 behind the last of them rounds
// up.
//
// Source: USP General Notices 7.20: limits 1.8 at most, 1.84 meets, 1.85 does
// not.
func (l Limit) judge(v float64) (reported string, outcome Outcome) {
	if l.IsZero() {
		return "", NotChecked
	}
	if math.IsNaN(v) {
		return number.Missing, NotDecided
	}
	outcome = Meets
	for _, bound := range []struct {
		text string
		sign float64
	}{{l.Min, 1}, {l.Max, -1}} {
		if bound.text == "" {
			continue
		}
		limit, decimals, _ := bounded(bound.text)
		text := number.Fixed(v, decimals)
		if l.Figures > 0 {
			text = number.Figures(v, l.Figures)
		}
		got, err := strconv.ParseFloat(text, 64)
		if reported == "" || bound.sign*(got-limit) < 0 {
			reported = text
		}
		if err != nil || bound.sign*(got-limit) < 0 {
			outcome = DoesNotMeet
		}
	}
	return reported, outcome
}

// Limits are what the user's procedure asks of a packed column. None is a
// default: a limit that is not given is reported as not checked.
type Limits struct {
	Name               string // where they come from; shown with the verdict
	PlatesPerMetre     Limit
	ReducedPlateHeight Limit
	Asymmetry          Limit // at 10 % of the height
	SymmetryFactor     Limit // at 5 % of the height
	// Invalidating are kinds of doubts that make a test invalid by the user's
	// procedure, beside those of the package's comment: "velocity", "noise".
	Invalidating []string
}

// CommonPractice returns limits that are often set for beads near 90 µm: at
// least 4000 plates per metre and an asymmetry of 0.80 to 1.50. Common
// practice, no source. Smaller beads must do better and larger ones cannot do
// as well: set the limits of your own procedure.
func CommonPractice() Limits {
	return Limits{
		Name:           "common practice for beads near 90 µm, no source",
		PlatesPerMetre: AtLeast("4000"),
		Asymmetry:      Between("0.80", "1.50"),
	}
}

// check refuses limits that cannot be.
func (l Limits) check() error {
	for _, one := range []struct {
		name  string
		limit Limit
	}{
		{"plates per metre", l.PlatesPerMetre}, {"the reduced plate height", l.ReducedPlateHeight},
		{"the asymmetry", l.Asymmetry}, {"the symmetry factor", l.SymmetryFactor},
	} {
		if err := one.limit.check(one.name); err != nil {
			return err
		}
	}
	return checkKinds(l.Invalidating)
}

// An Outcome is what comes of comparing a number with its limit.
type Outcome int

// The outcomes.
const (
	NotChecked Outcome = iota // no limit was given
	Meets
	DoesNotMeet
	NotDecided // the test is not valid, or there is no number to compare
)

// String writes the outcome in words.
func (o Outcome) String() string {
	return [...]string{"not checked", "meets", "does not meet", "not decided"}[o]
}

// A Check is one number beside its limit.
type Check struct {
	Quantity string // "plates per metre"
	Value    float64
	Reported string // the value rounded to the digits of the limit
	Limit    Limit
	Outcome  Outcome
	// Low and High bound the 95 % interval of the value from the noise of the
	// recording; NaN where there is no noise to tell it from.
	Low, High float64
	Doubt     string // why the interval is not reliable, or empty
	// Close reports that the outcome is not the same all over the interval: the
	// noise alone can decide it.
	Close bool
}

// newCheck judges a value with its interval.
func newCheck(quantity string, v, low, high float64, doubt string, l Limit) Check {
	c := Check{Quantity: quantity, Value: v, Low: low, High: high, Doubt: doubt, Limit: l}
	c.Reported, c.Outcome = l.judge(v)
	for _, end := range []float64{low, high} {
		if _, other := l.judge(end); !math.IsNaN(end) && other != c.Outcome {
			c.Close = true
		}
	}
	return c
}

// withhold takes the word back from a number that was compared in a test that is
// not valid. The number stays.
func (c *Check) withhold() {
	if c.Outcome == Meets || c.Outcome == DoesNotMeet {
		c.Outcome, c.Close = NotDecided, false
	}
}

// verdict returns the word for all checks together: one that is not decided leaves
// the whole undecided, unless another does not meet its limit.
func verdict(checks []Check) Outcome {
	all := NotChecked
	for _, c := range checks {
		switch {
		case c.Outcome == DoesNotMeet, all == DoesNotMeet:
			all = DoesNotMeet
		case c.Outcome == NotDecided, all == NotDecided:
			all = NotDecided
		case c.Outcome == Meets:
			all = Meets
		}
	}
	return all
}
