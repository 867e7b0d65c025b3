package efficiency

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"github.com/evenbed/evenbed/packing/units"
)

// Replicates are pulse tests that were run the same way on the same bed, judged
// by a rule that was fixed before the first.
//
//	efficiency.Replicates{Rule: efficiency.RetestRule{Replicates: 3}}.Of(first, second, third)
type Replicates struct {
	Rule RetestRule
	// Invalid names tests that do not count for a cause that was found. They
	// stay in the record.
	Invalid []InvalidTest
}

// An InvalidTest is one that does not count.
type InvalidTest struct {
	Test  int    // number among the replicates, from 1
	Cause string // that was found, as "air in the sample loop"
}

// A Role is the part that a test plays in the rule.
type Role int

// The roles.
const (
	PlannedTest Role = iota
	Retest
	BeyondPlan // more than the rule permits; it does not count
	NotValid   // it does not count, for a cause that was found
	Superseded // planned, and replaced by retests
)

// String writes the role in words.
func (r Role) String() string {
	return [...]string{"planned", "retest", "beyond the plan", "not valid", "replaced by retests"}[r]
}

// A Replicate is one of the tests.
type Replicate struct {
	PulseRow
	Role  Role
	Cause string // why it is not valid
}

// A Spread is how much the tests that count differ in one quantity.
type Spread struct {
	Quantity           string
	Unit               string
	Tests              int
	Mean, StdDev       float64 // the standard deviation is NaN of one test
	Lowest, Highest    float64
	Relative           units.Fraction // standard deviation of the mean
	RelativeRange      units.Fraction // highest less lowest, of the mean
	StdDevLow          float64        // 95 % interval of the standard deviation
	StdDevHigh         float64
	Noise              float64 // standard error of one test from its noise, root mean square
	ChiSquared         float64 // (n-1) s²/Noise²; NaN without noise
	P                  float64 // chance of as large a value if noise were all
	MoreThanNoise      bool    // P is below 5 %
	StdDevBeyondNoise  float64 // √(s² - Noise²); 0 if the noise explains all
	decimals           int
	values             []float64
	measure            func(PulseRow) float64
	limit, spreadLimit Limit
}

// fill works out the spread of the tests that count.
//
// The interval of the standard deviation is, with quantiles of the chi-squared
// distribution with n-1 degrees of freedom,
//
//	s √((n-1)/χ²(0.975)) to s √((n-1)/χ²(0.025))
//
// and whether the tests differ more than their noise explains is the one-sided
// chi-squared test of a standard deviation against that of the noise, σ:
//
//	T = (n-1) (s/σ)²
//
// Both hold for normal values.
//
// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.8 for the test;
// 7.2.3.1 for the interval (number from memory).
func (s *Spread) fill(rows []PulseRow, noise func(PulseRow) float64) {
	nan := math.NaN()
	s.Tests, s.Mean, s.StdDev, s.Noise, s.ChiSquared, s.P, s.StdDevLow, s.StdDevHigh, s.StdDevBeyondNoise = len(rows), nan, nan, nan, nan, nan, nan, nan, nan
	s.Relative, s.RelativeRange = units.Fraction(nan), units.Fraction(nan)
	squares := 0.0
	for _, r := range rows {
		s.values = append(s.values, s.measure(r))
		squares += noise(r) * noise(r) // NaN if one has none
	}
	s.Lowest, s.Highest = slices.Min(s.values), slices.Max(s.values)
	s.Noise = math.Sqrt(squares / float64(len(rows)))
	s.Mean = stat.Mean(s.values, nil)
	if len(rows) < 2 {
		return
	}
	s.StdDev = stat.StdDev(s.values, nil)
	s.Relative = units.Fraction(s.StdDev / s.Mean)
	s.RelativeRange = units.Fraction((s.Highest - s.Lowest) / s.Mean)
	free := float64(len(rows) - 1)
	chi := distuv.ChiSquared{K: free}
	s.StdDevLow = s.StdDev * math.Sqrt(free/chi.Quantile(0.975))
	s.StdDevHigh = s.StdDev * math.Sqrt(free/chi.Quantile(0.025))
	if s.Noise > 0 {
		ratio := s.StdDev / s.Noise
		s.ChiSquared = free * ratio * ratio
		s.P = chi.Survival(s.ChiSquared)
		s.MoreThanNoise = s.P < 0.05
		s.StdDevBeyondNoise = math.Sqrt(math.Max(0, s.StdDev*s.StdDev-s.Noise*s.Noise))
	}
}

// reportable returns the value that counts.
func (s Spread) reportable(which Reportable) float64 {
	switch which {
	case ReportFirst:
		return s.values[0]
	case ReportWorst:
		return slices.MinFunc(s.values, func(a, b float64) int {
			x, y := s.room(a), s.room(b)
			switch {
			case math.IsNaN(x): // a value that is not available is the worst
				return -1
			case math.IsNaN(y), x > y:
				return 1
			case x < y:
				return -1
			}
			return 0
		})
	}
	return s.Mean
}

// room returns how far a value is inside its limit; without a limit, how good
// it is: many plates, little height, and b/a near 1, with 2 as bad as 1/2.
func (s Spread) room(v float64) float64 {
	room := math.Inf(1)
	if least, _, ok := bounded(s.limit.Min); ok {
		room = v - least
	}
	if most, _, ok := bounded(s.limit.Max); ok {
		room = math.Min(room, most-v)
	}
	switch {
	case !s.limit.IsZero():
		return room
	case s.Quantity == platesQuantity:
		return v
	case s.Quantity == heightQuantity:
		return -v
	}
	return -math.Abs(math.Log(v))
}

// half returns half the width of the 95 % interval of the reportable value: by
// Student's t from the spread, of the mean or of one test; of one test alone
// from its noise.
//
// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2.
func (s Spread) half(which Reportable) float64 {
	if s.Tests < 2 {
		return distuv.UnitNormal.Quantile(0.975) * s.Noise
	}
	t := distuv.StudentsT{Sigma: 1, Nu: float64(s.Tests - 1)}.Quantile(0.975) * s.StdDev
	if which == ReportMean {
		t /= math.Sqrt(float64(s.Tests))
	}
	return t
}

// check judges the reportable value.
func (s Spread) check(which Reportable) Check {
	c := Check{Quantity: s.Quantity, Value: s.reportable(which), Limit: s.limit}
	c.Reported, c.Outcome = s.limit.judge(c.Value)
	for _, end := range []float64{c.Value - s.half(which), c.Value + s.half(which)} {
		if _, other := s.limit.judge(end); !math.IsNaN(end) && other != c.Outcome {
			c.Close = true
		}
	}
	return c
}

// checkSpread judges the spread, in percent.
func (s Spread) checkSpread(m SpreadMeasure) Check {
	v := s.Relative
	if m == RelativeRange {
		v = s.RelativeRange
	}
	c := Check{Quantity: fmt.Sprintf("%s of %s", m, s.Quantity), Value: v.In(units.Percent), Limit: s.spreadLimit}
	c.Reported, c.Outcome = c.Limit.judge(c.Value)
	return c
}

// The names that tell two quantities from the rest.
const (
	platesQuantity = "plates per metre"
	heightQuantity = "reduced plate height"
)

// A ReplicatesResult is what replicates say by their rule.
type ReplicatesResult struct {
	Refusal error // why they are not judged together, or nil
	Rule    RetestRule
	Pulse   Pulse       // of the first test
	Tests   []Replicate // all of them, in their order
	Spreads []Spread    // of those that count, by quantity
	Checks  []Check     // of the reportable values
	// SpreadChecks are those of the spreads, in percent of the mean.
	SpreadChecks []Check
	// Verdict is NotChecked until all tests that the rule asks for are made.
	Verdict  Outcome
	Next     string // what the rule asks for or permits now
	Warnings []Warning

	velocity units.Velocity
	curves   []curve
}

// Of judges tests by the rule, in the order in which they were run. Tests that
// were run in different ways are an error that names the difference; flow, bed
// height, sample volume and temperature may vary a little, as they do.
func (r Replicates) Of(tests ...PulseResult) (ReplicatesResult, error) {
	out := ReplicatesResult{Rule: r.Rule}
	if out.Refusal = r.check(tests); out.Refusal != nil {
		return out, out.Refusal
	}
	counted := r.sort(&out, tests)
	out.judge(counted)
	out.doubt()
	return out, nil
}

// check refuses tests that cannot be judged together.
func (r Replicates) check(tests []PulseResult) error {
	if err := r.Rule.check(); err != nil {
		return err
	}
	if len(tests) == 0 {
		return errors.New("no tests were given; give the results in the order in which they were run")
	}
	invalid := map[int]bool{}
	for _, one := range r.Invalid {
		switch {
		case one.Test < 1 || one.Test > len(tests):
			return fmt.Errorf("test %d cannot be invalid: there are tests 1 to %d", one.Test, len(tests))
		case strings.TrimSpace(one.Cause) == "":
			return fmt.Errorf("test %d cannot be left out without the cause that was found; write it, or let the test count", one.Test)
		case invalid[one.Test]:
			return fmt.Errorf("test %d is invalid twice; name it once", one.Test)
		}
		invalid[one.Test] = true
	}
	first := -1
	for i, t := range tests {
		if invalid[i+1] {
			continue
		}
		if t.Refusal != nil || t.Plates == 0 {
			why := "nothing has been evaluated"
			if t.Refusal != nil {
				why = t.Refusal.Error()
			}
			return fmt.Errorf("test %d has no result: %s; evaluate it in another way, or name it in Invalid with the cause", i+1, why)
		}
		if first < 0 {
			first = i
			continue
		}
		if apart := differences(tests[first], t); len(apart) > 0 {
			return fmt.Errorf("tests %d and %d are no replicates: %s; compare only tests that were run and evaluated in the same way", first+1, i+1, strings.Join(apart, "; "))
		}
		for j := range i {
			if !invalid[j+1] && same(tests[j], t) {
				return fmt.Errorf("tests %d and %d are the same recording; give each test once", j+1, i+1)
			}
		}
	}
	if first < 0 {
		return errors.New("no test is valid; repeat the test when the causes are removed")
	}
	return nil
}

// same reports whether two results are of one recording: noise lets no two
// agree to the last digit.
func same(a, b PulseResult) bool {
	return a.Baseline.Noise > 0 && a.Baseline.Noise == b.Baseline.Noise && a.Retention == b.Retention && a.Height == b.Height && a.Plates == b.Plates
}

// How much replicates may differ in how they were run. Common practice, no
// source.
const (
	flowsApart        = 0.02 // relative
	heightsApart      = 0.01 // of the bed, relative
	samplesApart      = 0.10 // relative
	temperaturesApart = 3    // K
)

// differences names in what two tests differ, by the fields of Pulse.
func differences(a, b PulseResult) []string {
	var apart []string
	if a.Signal != b.Signal {
		apart = append(apart, fmt.Sprintf("signal %q and %q", a.Signal, b.Signal))
	}
	if a.Unit != b.Unit {
		apart = append(apart, fmt.Sprintf("signal in %q and in %q", a.Unit, b.Unit))
	}
	compare("", reflect.ValueOf(a.Pulse), reflect.ValueOf(b.Pulse), &apart)
	return apart
}

// compare adds the names of fields in which two structs differ. What lies at
// other times in each recording is left out.
func compare(prefix string, a, b reflect.Value, apart *[]string) {
	for i := range a.NumField() {
		field := a.Type().Field(i)
		name, x, y := prefix+field.Name, a.Field(i), b.Field(i)
		switch name {
		case "Zero": // each recording has its own, and all count from the start of the sample
			continue
		case "Search", "MomentRange", "Baseline.Before", "Baseline.After":
			if x.IsZero() != y.IsZero() {
				*apart = append(*apart, name+" is given for one only")
			}
			continue
		}
		if !field.IsExported() {
			continue
		}
		if x.Kind() == reflect.Struct {
			compare(name+".", x, y, apart)
			continue
		}
		if x.Kind() == reflect.Float64 && alike(name, x.Float(), y.Float()) || reflect.DeepEqual(x.Interface(), y.Interface()) {
			continue
		}
		*apart = append(*apart, fmt.Sprintf("%s %s and %s", name, shown(x), shown(y)))
	}
}

// alike reports whether two numbers are as near as those of replicates may be.
func alike(name string, a, b float64) bool {
	if a == 0 || b == 0 {
		return a == b // one may not be given
	}
	relative := math.Abs(a-b) / math.Abs(a)
	switch name {
	case "Flow":
		return relative <= flowsApart
	case "BedHeight":
		return relative <= heightsApart
	case "SampleVolume":
		return relative <= samplesApart
	case "Temperature":
		return math.Abs(a-b) <= temperaturesApart
	}
	return a == b
}

// shown writes a field's value.
func shown(v reflect.Value) string {
	switch {
	case v.Kind() == reflect.String:
		return fmt.Sprintf("%q", v.String())
	case v.IsZero() && v.Kind() == reflect.Float64:
		return "not given"
	}
	return fmt.Sprint(v.Interface())
}

// sort gives every test its role and returns the rows that count.
func (r Replicates) sort(out *ReplicatesResult, tests []PulseResult) (valid []int) {
	for i, t := range tests {
		one := Replicate{PulseRow: newPulseRow(t)}
		one.Number, one.File, one.Signal, one.Err = i+1, t.File, t.Signal, t.Refusal
		if k := slices.IndexFunc(r.Invalid, func(x InvalidTest) bool { return x.Test == i+1 }); k >= 0 {
			one.Role, one.Cause = NotValid, r.Invalid[k].Cause
		} else {
			if len(valid) == 0 {
				out.Pulse, out.velocity = t.Pulse, t.Velocity
			}
			valid = append(valid, i)
			out.curves = append(out.curves, newCurve(t, i+1))
		}
		out.Tests = append(out.Tests, one)
	}
	return valid
}

// spreads works out the spread of some tests in every quantity.
func (out *ReplicatesResult) spreads(which []int) []Spread {
	rows := make([]PulseRow, len(which))
	for i, k := range which {
		rows[i] = out.Tests[k].PulseRow
	}
	none := func(PulseRow) float64 { return math.NaN() }
	l, most := out.Pulse.Limits, out.Rule.LargestSpread
	all := []struct {
		s     Spread
		noise func(PulseRow) float64
	}{
		{Spread{Quantity: platesQuantity, Unit: "1/m", decimals: 0, limit: l.PlatesPerMetre, spreadLimit: most.PlatesPerMetre, measure: func(r PulseRow) float64 { return r.PlatesPerMetre }},
			func(r PulseRow) float64 { return r.PlatesPerMetreStdErr }},
		{Spread{Quantity: heightQuantity, decimals: 1, limit: l.ReducedPlateHeight, measure: func(r PulseRow) float64 { return r.ReducedPlateHeight }},
			func(r PulseRow) float64 { return r.ReducedPlateHeightStdErr }},
		{Spread{Quantity: "asymmetry at 10 %", decimals: 2, limit: l.Asymmetry, spreadLimit: most.Asymmetry, measure: func(r PulseRow) float64 { return r.Asymmetry }},
			func(r PulseRow) float64 { return r.AsymmetryStdErr }},
		{Spread{Quantity: "symmetry factor at 5 %", decimals: 2, limit: l.SymmetryFactor, measure: func(r PulseRow) float64 { return r.SymmetryFactor }},
			func(r PulseRow) float64 { return r.SymmetryFactorStdErr }},
		{Spread{Quantity: "retention", Unit: "CV", decimals: 3, spreadLimit: most.ColumnVolumes, measure: func(r PulseRow) float64 { return r.ColumnVolumes }}, none},
	}
	out.Spreads = nil
	for _, one := range all {
		one.s.fill(rows, one.noise)
		out.Spreads = append(out.Spreads, one.s)
	}
	return out.Spreads
}

// evaluate judges the reportable values and the spreads of some tests.
func (out *ReplicatesResult) evaluate(which []int) (valueFails, spreadFails bool) {
	out.Checks, out.SpreadChecks = nil, nil
	valid := len(out.invalid(which)) == 0
	for _, s := range out.spreads(which) {
		if s.Quantity == "retention" {
			continue
		}
		c := s.check(out.Rule.Report)
		if !valid {
			c.withhold()
		}
		valueFails = valueFails || c.Outcome == DoesNotMeet
		out.Checks = append(out.Checks, c)
	}
	for _, s := range out.Spreads {
		if !s.spreadLimit.IsZero() {
			c := s.checkSpread(out.Rule.LargestSpread.Measure)
			if !valid {
				c.withhold()
			}
			spreadFails = spreadFails || c.Outcome == DoesNotMeet
			out.SpreadChecks = append(out.SpreadChecks, c)
		}
	}
	return valueFails, spreadFails
}

// judge applies the rule to the tests that are valid.
func (out *ReplicatesResult) judge(valid []int) {
	rule := out.Rule
	planned, more := valid[:min(len(valid), rule.Replicates)], valid[min(len(valid), rule.Replicates):]
	valueFails, spreadFails := out.evaluate(planned)
	if missing := rule.Replicates - len(planned); missing > 0 {
		out.Next = fmt.Sprintf("%d of %d planned tests are valid: run %d more before a verdict is drawn", len(planned), rule.Replicates, missing)
		return
	}
	if no := out.invalid(planned); len(no) > 0 {
		out.Next = strings.Join(no, "; ") + notValid
		out.Verdict = verdict(slices.Concat(out.Checks, out.SpreadChecks))
		return
	}
	retests := 0
	if rule.Retest.permits(spreadFails, valueFails) {
		retests = rule.Retests
	}
	again, beyond := more[:min(len(more), retests)], more[min(len(more), retests):]
	for _, k := range again {
		out.Tests[k].Role = Retest
	}
	for _, k := range beyond {
		out.Tests[k].Role = BeyondPlan
	}
	out.Next = "the rule asks for no further test"
	switch missing := retests - len(again); {
	case missing == 0 && retests > 0:
		counted := valid[:rule.Replicates+retests]
		if rule.RetestsReplace {
			counted = again
			for _, k := range planned {
				out.Tests[k].Role = Superseded
			}
		}
		out.evaluate(counted)
		if no := out.invalid(counted); len(no) > 0 {
			out.Next = strings.Join(no, "; ") + notValid
		}
	case missing > 0 && len(again) > 0:
		out.Next = fmt.Sprintf("retests were begun: run all %d before a verdict is drawn, %d more", retests, missing)
		return
	case missing > 0:
		out.Next = fmt.Sprintf("the rule permits %d retests; find out first why they are needed", retests)
	case rule.Retest != RetestNever:
		out.Next = "the rule permits no retest: its condition is not met"
	case valueFails || spreadFails:
		out.Next = "the rule permits no retest"
	}
	out.Verdict = verdict(slices.Concat(out.Checks, out.SpreadChecks))
}

// notValid is what to do about a test that is not valid.
const notValid = ": find the cause, name the test in Invalid with it, and run it again"

// invalid returns those of some tests that are not valid, each with its reason.
func (out ReplicatesResult) invalid(which []int) []string {
	var list []string
	for _, k := range which {
		for _, w := range out.Tests[k].Warnings {
			if w.Invalidates {
				list = append(list, fmt.Sprintf("test %d is not valid, because %s", k+1, lowerFirst(w.What)))
			}
		}
	}
	return list
}
