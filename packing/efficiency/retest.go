package efficiency

import (
	"fmt"
	"strings"
)

// A RetestRule says, before the first test is run, how many tests there will
// be, which value counts, and when more may be made. Write it down beforehand:
// a rule that is chosen after the results are known proves nothing.
type RetestRule struct {
	Name       string // of the procedure it stands in; shown with the verdict
	Replicates int    // tests that are planned, 1 or more
	Report     Reportable
	// LargestSpread bounds how much the tests may differ; with two tests or
	// more.
	LargestSpread SpreadLimits
	// Retest says what permits more tests than planned, Retests how many are
	// made then: all of them, since stopping at a welcome one is no test.
	Retest  RetestWhen
	Retests int
	// RetestsReplace makes the value from the retests alone. Zero: all tests
	// count.
	RetestsReplace bool
}

// SpreadLimits bound the spread of replicates in percent of their mean:
// AtMost("3.0"). None is a default.
type SpreadLimits struct {
	Measure        SpreadMeasure
	PlatesPerMetre Limit
	Asymmetry      Limit
	ColumnVolumes  Limit // of the retention
}

// IsZero reports whether no limit was given.
func (l SpreadLimits) IsZero() bool {
	return l.PlatesPerMetre.IsZero() && l.Asymmetry.IsZero() && l.ColumnVolumes.IsZero()
}

// A SpreadMeasure is how the spread of replicates is taken.
type SpreadMeasure int

// The measures, in percent of the mean.
const (
	RelativeStandardDeviation SpreadMeasure = iota
	RelativeRange                           // from the lowest to the highest
)

// String writes the measure in words.
func (m SpreadMeasure) String() string {
	switch m {
	case RelativeStandardDeviation:
		return "relative standard deviation"
	case RelativeRange:
		return "relative range"
	}
	return fmt.Sprintf("SpreadMeasure(%d)", int(m))
}

// A Reportable is which value of the replicates counts.
type Reportable int

// The values. Each quantity has its own.
const (
	ReportMean  Reportable = iota
	ReportWorst            // the nearest to its limit, or farthest outside
	ReportFirst            // of the tests that are valid
)

// String writes the value in words.
func (r Reportable) String() string {
	switch r {
	case ReportMean:
		return "mean"
	case ReportWorst:
		return "worst"
	case ReportFirst:
		return "first"
	}
	return fmt.Sprintf("Reportable(%d)", int(r))
}

// A RetestWhen is what the planned tests must show before more are made.
type RetestWhen int

// The conditions.
const (
	RetestNever      RetestWhen = iota
	RetestWhenSpread            // the spread is larger than permitted
	RetestWhenFailed            // a reportable value does not meet its limit
	RetestWhenEither            // one or the other
)

// String writes the condition in words.
func (w RetestWhen) String() string {
	switch w {
	case RetestNever:
		return "never"
	case RetestWhenSpread:
		return "when the spread is too large"
	case RetestWhenFailed:
		return "when a reportable value does not meet its limit"
	case RetestWhenEither:
		return "when the spread is too large or a reportable value does not meet its limit"
	}
	return fmt.Sprintf("RetestWhen(%d)", int(w))
}

// permits reports whether retests may be made.
func (w RetestWhen) permits(spreadFails, valueFails bool) bool {
	switch w {
	case RetestWhenSpread:
		return spreadFails
	case RetestWhenFailed:
		return valueFails
	case RetestWhenEither:
		return spreadFails || valueFails
	}
	return false
}

// String writes the rule in a sentence.
func (r RetestRule) String() string {
	tests := "1 test is planned"
	if r.Replicates != 1 {
		tests = fmt.Sprintf("%d tests are planned", r.Replicates)
	}
	text := fmt.Sprintf("%s; the %s of each quantity is reportable", tests, r.Report)
	if spread := r.LargestSpread; !spread.IsZero() {
		var parts []string
		for _, one := range spread.named() {
			if !one.limit.IsZero() {
				parts = append(parts, fmt.Sprintf("of %s %s %%", one.name, one.limit))
			}
		}
		text += fmt.Sprintf("; %s %s", spread.Measure, strings.Join(parts, ", "))
	}
	switch {
	case r.Retest == RetestNever:
		text += "; no retest"
	case r.RetestsReplace:
		text += fmt.Sprintf("; retests: %d, %s, and only they count then", r.Retests, r.Retest)
	default:
		text += fmt.Sprintf("; retests: %d, %s, and all tests count then", r.Retests, r.Retest)
	}
	if r.Name != "" {
		text += "; " + r.Name
	}
	return text
}

type namedLimit struct {
	name  string
	limit Limit
}

func (l SpreadLimits) named() []namedLimit {
	return []namedLimit{{"plates per metre", l.PlatesPerMetre}, {"asymmetry", l.Asymmetry}, {"retention", l.ColumnVolumes}}
}

// check refuses a rule that says nothing or contradicts itself.
func (r RetestRule) check() error {
	wrong := func(format string, args ...any) error {
		return fmt.Errorf("rule of the replicates: "+format, args...)
	}
	for _, one := range r.LargestSpread.named() {
		if err := one.limit.check("the spread of " + one.name); err != nil {
			return err
		}
		if one.limit.Min != "" {
			return wrong("the spread of %s has a least value of %s; write a largest one, as AtMost(\"3.0\"), in percent", one.name, one.limit.Min)
		}
	}
	switch {
	case r.Replicates < 1:
		return wrong("%d tests are planned; write how many your procedure asks for: Rule: efficiency.RetestRule{Replicates: 3}", r.Replicates)
	case r.Report < ReportMean || r.Report > ReportFirst:
		return wrong("%v is no value to report; use ReportMean, ReportWorst or ReportFirst", r.Report)
	case r.LargestSpread.Measure < RelativeStandardDeviation || r.LargestSpread.Measure > RelativeRange:
		return wrong("%v is no measure of spread; use RelativeStandardDeviation or RelativeRange", r.LargestSpread.Measure)
	case r.Retest < RetestNever || r.Retest > RetestWhenEither:
		return wrong("%v is no condition; use RetestNever, RetestWhenSpread, RetestWhenFailed or RetestWhenEither", r.Retest)
	case !r.LargestSpread.IsZero() && r.Replicates == 1:
		return wrong("one test has no spread to limit; plan 2 or more, or take LargestSpread away")
	case r.Retests < 0:
		return wrong("%d retests; give a number of tests", r.Retests)
	case r.Retest == RetestNever && (r.Retests > 0 || r.RetestsReplace):
		return wrong("it has retests, but not when they may be made; set Retest, for example to RetestWhenSpread")
	case r.Retest != RetestNever && r.Retests == 0:
		return wrong("a retest may be made %s, but not how many; set Retests", r.Retest)
	case (r.Retest == RetestWhenSpread || r.Retest == RetestWhenEither) && r.LargestSpread.IsZero():
		return wrong("a retest may be made %s, but no spread is too large; set LargestSpread", r.Retest)
	case r.Retest != RetestNever && r.Report == ReportFirst && !r.RetestsReplace:
		return wrong("the first test is reportable, so that a retest changes nothing; take the retests away, or report the mean or the worst")
	case r.RetestsReplace && r.Retests == 1 && !r.LargestSpread.IsZero():
		return wrong("one retest alone has no spread to limit; make 2 or more, or let all tests count")
	}
	return nil
}
