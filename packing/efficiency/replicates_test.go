package efficiency

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// repeats returns results of test04 whose peaks have the widths given, each with
// noise of its own.
func repeats(t testing.TB, l Limits, sigmas ...float64) []PulseResult {
	t.Helper()
	p := test04()
	p.Limits = l
	all := make([]PulseResult, len(sigmas))
	for i, sigma := range sigmas {
		r, err := p.Evaluate(noisyPulse(t, fmt.Sprintf("repeat-%d.csv", i+1), sigma, 0.1, uint64(100+i), 1200))
		if err != nil {
			t.Fatal(err)
		}
		all[i] = r
	}
	return all
}

func judged(t testing.TB, r Replicates, tests []PulseResult) ReplicatesResult {
	t.Helper()
	out, err := r.Of(tests...)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func spreadOf(values, noise []float64) Spread {
	s := Spread{Quantity: platesQuantity, measure: func(r PulseRow) float64 { return r.PlatesPerMetre }}
	rows := make([]PulseRow, len(values))
	for i, v := range values {
		rows[i] = PulseRow{PlatesPerMetre: v, PlatesPerMetreStdErr: noise[i]}
	}
	s.fill(rows, func(r PulseRow) float64 { return r.PlatesPerMetreStdErr })
	return s
}

func TestSpread(t *testing.T) {
	// By hand: mean 4000, s = √(2·100²/2) = 100, range 200, noise √((60²+80²+...)/3).
	s := spreadOf([]float64{3900, 4000, 4100}, []float64{60, 80, 100})
	noise := math.Sqrt((60.0*60 + 80*80 + 100*100) / 3)
	for _, n := range []struct {
		what      string
		got, want float64
		source    string
	}{
		{"mean", s.Mean, 4000, "by hand"}, {"standard deviation", s.StdDev, 100, "by hand"},
		{"relative", s.Relative.In(Percent), 2.5, "by hand: 100/4000"}, {"range", s.RelativeRange.In(Percent), 5, "by hand: 200/4000"},
		{"noise", s.Noise, noise, "by hand"}, {"T", s.ChiSquared, 3, "by hand: 2·100²/6667"},
		{"P", s.P, math.Exp(-1.5), "with 2 degrees of freedom P = exp(-T/2)"},
		{"beyond noise", s.StdDevBeyondNoise, math.Sqrt(10000 - noise*noise), "by hand"},
		// With 2 degrees of freedom the quantile of p is -2 ln(1-p).
		{"low", s.StdDevLow, 100 * math.Sqrt(2/(-2*math.Log(0.025))), "chi-squared with 2 degrees of freedom"},
		{"high", s.StdDevHigh, 100 * math.Sqrt(2/(-2*math.Log(0.975))), "chi-squared with 2 degrees of freedom"},
	} {
		near(t, n.what, n.got, n.want, 1e-9*n.want, n.source)
	}
	if s.MoreThanNoise {
		t.Errorf("P = %v is taken for more than noise", s.P)
	}
	one := spreadOf([]float64{4000}, []float64{50})
	if one.Mean != 4000 || one.Noise != 50 || !math.IsNaN(one.StdDev) || !math.IsNaN(one.P) || one.MoreThanNoise {
		t.Errorf("one test: %+v", one)
	}
	silent := spreadOf([]float64{1, 2}, []float64{1, math.NaN()})
	if !math.IsNaN(silent.P) || silent.MoreThanNoise || math.IsNaN(silent.StdDev) {
		t.Errorf("a test without noise: %+v", silent)
	}
}

// The critical values of chi-squared as NIST/SEMATECH e-Handbook 1.3.6.7.4
// prints them, three decimals.
func TestSpreadAgainstHandbook(t *testing.T) {
	for _, tc := range []struct{ tests, upper float64 }{{100, 123.225}, {97, 119.871}, {86, 107.522}} {
		// Values in two halves about a mean, whose T is the critical value.
		n := int(tc.tests)
		values, noise := make([]float64, n), make([]float64, n)
		for i := range values {
			values[i], noise[i] = 1+float64(i%2), 1
		}
		base := spreadOf(values, noise)
		sigma := math.Sqrt(base.ChiSquared / tc.upper)
		for i := range noise {
			noise[i] = sigma
		}
		s := spreadOf(values, noise)
		near(t, "T", s.ChiSquared, tc.upper, 1e-9*tc.upper, "T grows with 1/σ²")
		near(t, fmt.Sprintf("P of %d tests", n), s.P, 0.05, 5e-6, "NIST/SEMATECH e-Handbook, 1.3.6.7.4; three decimals of the value")
		for i := range noise {
			noise[i] = sigma * 0.999
		}
		if s := spreadOf(values, noise); !s.MoreThanNoise {
			t.Errorf("%d tests: P %v is not taken for more than noise", n, s.P)
		}
	}
	for _, tc := range []struct {
		tests         int
		lower, digits float64
	}{{10, 2.700, 0.0005}, {5, 0.484, 0.0005}, {3, 0.051, 0.0005}} {
		values, noise := make([]float64, tc.tests), make([]float64, tc.tests)
		for i := range values {
			values[i] = float64(i)
		}
		s := spreadOf(values, noise)
		chi := float64(tc.tests-1) * s.StdDev * s.StdDev / (s.StdDevHigh * s.StdDevHigh)
		near(t, fmt.Sprintf("lower chi-squared of %d tests", tc.tests), chi, tc.lower, tc.digits, "NIST/SEMATECH e-Handbook, 1.3.6.7.4")
	}
}

// Replicates that differ in noise only are said to differ by more than that in
// about 5 of 100. The bounds are those of a binomial of 300 at p 1e-5: 2 to 34,
// and wider above for what the standard errors lack.
func TestNoiseAloneIsSeldomMore(t *testing.T) {
	more, wide := 0, 0
	for k := range 300 {
		tests, apart := make([]PulseResult, 3), make([]PulseResult, 3)
		for i := range tests {
			var err error
			if tests[i], err = test04().Evaluate(noisyPulse(t, "", 0.3, 0.1, uint64(1000+3*k+i), 600)); err != nil {
				t.Fatal(err)
			}
			if apart[i], err = test04().Evaluate(noisyPulse(t, "", 0.3*(1+0.02*float64(i)), 0.1, uint64(1000+3*k+i), 600)); err != nil {
				t.Fatal(err)
			}
		}
		rule := Replicates{Rule: RetestRule{Replicates: 3}}
		if judged(t, rule, tests).Spreads[0].MoreThanNoise {
			more++
		}
		if judged(t, rule, apart).Spreads[0].MoreThanNoise {
			wide++
		}
	}
	t.Logf("more than noise: %d of 300 with noise alone, %d of 300 with widths 2 %% apart", more, wide)
	if more < 2 || more > 40 {
		t.Errorf("noise alone is more than noise in %d of 300 series", more)
	}
	if wide < 290 {
		t.Errorf("widths that are 2 %% apart are found in %d of 300 series only", wide)
	}
}

func TestReplicatesByTheRule(t *testing.T) {
	l := Limits{PlatesPerMetre: AtLeast("4000"), Asymmetry: Between("0.80", "1.50")}
	// Plates per metre of σ 0.300, 0.330 and 0.345 are about 5700, 4800, 4400,
	// of 0.39 about 3500.
	good, bad := repeats(t, l, 0.30, 0.33, 0.345), repeats(t, l, 0.30, 0.33, 0.39)
	n := func(r PulseResult) float64 { return r.PlatesPerMetre }
	if !(n(good[2]) > 4200 && n(bad[2]) < 3800 && (n(bad[0])+n(bad[1])+n(bad[2]))/3 > 4200) {
		t.Fatalf("the cases are not what they should be: %v %v", n(good[2]), n(bad[2]))
	}
	tight := SpreadLimits{PlatesPerMetre: AtMost("5.0")}
	three := append(slices.Clone(bad), repeats(t, l, 0.3001, 0.3002, 0.3003, 0.3004, 0.3005, 0.3006)[3:]...) // 6 tests
	for _, tc := range []struct {
		what    string
		rule    RetestRule
		tests   []PulseResult
		verdict Outcome
		counts  int
		next    string
		roles   []Role
	}{
		{"mean of three", RetestRule{Replicates: 3}, bad, Meets, 3, "no further test", []Role{PlannedTest, PlannedTest, PlannedTest}},
		{"worst of three, good", RetestRule{Replicates: 3, Report: ReportWorst}, good, Meets, 3, "no further test", nil},
		{"worst of three, bad", RetestRule{Replicates: 3, Report: ReportWorst}, bad, DoesNotMeet, 3, "permits no retest", nil},
		{"first of three", RetestRule{Replicates: 3, Report: ReportFirst}, bad, Meets, 3, "no further test", nil},
		{"not all run", RetestRule{Replicates: 3}, good[:2], NotChecked, 2, "run 1 more before a verdict", []Role{PlannedTest, PlannedTest}},
		{"one more than planned", RetestRule{Replicates: 2}, bad, Meets, 2, "no further test", []Role{PlannedTest, PlannedTest, BeyondPlan}},
		{"failed, then repeated without a rule", RetestRule{Replicates: 1}, []PulseResult{bad[2], good[0]}, DoesNotMeet, 1, "permits no retest", []Role{PlannedTest, BeyondPlan}},
		{"spread too large", RetestRule{Replicates: 3, LargestSpread: tight}, bad, DoesNotMeet, 3, "permits no retest", nil},
		{"spread too large, retests permitted", RetestRule{Replicates: 3, LargestSpread: tight, Retest: RetestWhenSpread, Retests: 2}, bad, DoesNotMeet, 3, "permits 2 retests", nil},
		{"retests begun", RetestRule{Replicates: 3, LargestSpread: tight, Retest: RetestWhenSpread, Retests: 2}, three[:4], NotChecked, 3, "run all 2 before a verdict is drawn, 1 more", []Role{0, 0, 0, Retest}},
		{"retests made, all count", RetestRule{Replicates: 3, LargestSpread: tight, Retest: RetestWhenSpread, Retests: 2}, three[:5], DoesNotMeet, 5, "no further test", []Role{0, 0, 0, Retest, Retest}},
		{"retests replace", RetestRule{Replicates: 3, LargestSpread: tight, Retest: RetestWhenSpread, Retests: 2, RetestsReplace: true}, three[:5], Meets, 2, "no further test", []Role{Superseded, Superseded, Superseded, Retest, Retest}},
		{"one beyond the retests", RetestRule{Replicates: 3, LargestSpread: tight, Retest: RetestWhenSpread, Retests: 2}, three, DoesNotMeet, 5, "no further test", []Role{0, 0, 0, Retest, Retest, BeyondPlan}},
		{"retests not permitted", RetestRule{Replicates: 3, Retest: RetestWhenFailed, Retests: 2}, append(slices.Clone(good), three[3:5]...), Meets, 3, "its condition is not met", []Role{0, 0, 0, BeyondPlan, BeyondPlan}},
		{"failed, worst of all counts", RetestRule{Replicates: 3, Report: ReportWorst, Retest: RetestWhenFailed, Retests: 3}, three, DoesNotMeet, 6, "no further test", nil},
	} {
		out := judged(t, Replicates{Rule: tc.rule}, tc.tests)
		if out.Verdict != tc.verdict || out.Spreads[0].Tests != tc.counts || !strings.Contains(out.Next, tc.next) {
			t.Errorf("%s: %v, %d tests count, next %q; want %v, %d, %q", tc.what, out.Verdict, out.Spreads[0].Tests, out.Next, tc.verdict, tc.counts, tc.next)
		}
		if len(out.Tests) != len(tc.tests) {
			t.Errorf("%s: %d tests are listed of %d", tc.what, len(out.Tests), len(tc.tests))
		}
		for i, role := range tc.roles {
			if out.Tests[i].Role != role {
				t.Errorf("%s: test %d is %v, want %v", tc.what, i+1, out.Tests[i].Role, role)
			}
		}
		beyond := strings.Contains(out.String(), "More tests were made than the rule permits")
		if beyond != slices.Contains(tc.roles, BeyondPlan) {
			t.Errorf("%s: told of tests beyond the plan: %v", tc.what, beyond)
		}
		if !strings.Contains(out.String(), "testing into compliance") {
			t.Errorf("%s: no caution", tc.what)
		}
	}
}

func TestReportableValue(t *testing.T) {
	s := spreadOf([]float64{4100, 3900, 4300}, []float64{1, 1, 1})
	for _, tc := range []struct {
		limit       Limit
		quantity    string
		mean, worst float64
	}{
		{AtLeast("4000"), platesQuantity, 4100, 3900},
		{AtMost("5000"), platesQuantity, 4100, 4300},
		{Between("4000", "5000"), platesQuantity, 4100, 3900},
		{Between("3000", "4400"), platesQuantity, 4100, 4300}, // 100 inside, 3900 is 500 inside
		{Limit{}, platesQuantity, 4100, 3900},
		{Limit{}, heightQuantity, 4100, 4300},
	} {
		s.limit, s.Quantity = tc.limit, tc.quantity
		if m, w, f := s.reportable(ReportMean), s.reportable(ReportWorst), s.reportable(ReportFirst); m != tc.mean || w != tc.worst || f != 4100 {
			t.Errorf("%s %v: mean %v, worst %v, first %v; want %v, %v, 4100", tc.quantity, tc.limit, m, w, f, tc.mean, tc.worst)
		}
	}
	a := Spread{Quantity: "asymmetry at 10 %", values: []float64{1.3, 0.7, 1.1}}
	if got := a.reportable(ReportWorst); got != 0.7 { // 1/0.7 = 1.43
		t.Errorf("the worst asymmetry is %v, want 0.7", got)
	}
	a.values[1] = math.NaN()
	if got := a.reportable(ReportWorst); !math.IsNaN(got) {
		t.Errorf("the worst asymmetry is %v, want one that is not available", got)
	}
	// By hand: t(0.975, 2) = 4.303 (NIST/SEMATECH e-Handbook 1.3.6.7.2), s 200.
	near(t, "half of the interval of the mean", s.half(ReportMean), 4.303*200/math.Sqrt(3), 0.0005*200, "4.303, three decimals")
	near(t, "half of the interval of one", s.half(ReportFirst), 4.303*200, 0.0005*200, "4.303, three decimals")
	s.limit = AtLeast("4000")
	if c := s.check(ReportMean); !c.Close || c.Outcome != Meets || c.Reported != "4100" {
		t.Errorf("4100 ± 497 against 4000: %+v", c)
	}
	s.limit = AtLeast("3000")
	if c := s.check(ReportMean); c.Close {
		t.Errorf("4100 ± 497 against 3000: %+v", c)
	}
}

func TestInvalidTestsStayInTheRecord(t *testing.T) {
	l := Limits{PlatesPerMetre: AtLeast("4000")}
	tests := repeats(t, l, 0.30, 0.50, 0.31, 0.32)
	tests[1].Pulse.Flow *= 2 // the cause
	out := judged(t, Replicates{Rule: RetestRule{Replicates: 3}, Invalid: []InvalidTest{{2, "the pump ran at twice the flow"}}}, tests)
	if out.Verdict != Meets || out.Spreads[0].Tests != 3 || out.Tests[1].Role != NotValid {
		t.Errorf("%v, %d count, roles %v", out.Verdict, out.Spreads[0].Tests, out.Tests[1].Role)
	}
	if !strings.Contains(out.String(), "not valid: the pump ran at twice the flow") {
		t.Errorf("the cause is not shown:\n%s", out)
	}
	refused, err := test04().Evaluate(trace.Trace{Name: "UV"})
	if err == nil {
		t.Fatal("an empty trace was evaluated")
	}
	tests[1] = refused
	if out := judged(t, Replicates{Rule: RetestRule{Replicates: 3}, Invalid: []InvalidTest{{2, "nothing was recorded"}}}, tests); out.Verdict != Meets {
		t.Errorf("with a test that has no result: %v", out.Verdict)
	}
}

func TestReplicatesRefuse(t *testing.T) {
	three := RetestRule{Replicates: 3}
	change := func(f func(*Pulse)) []PulseResult {
		tests := repeats(t, Limits{}, 0.30, 0.31, 0.32)
		f(&tests[2].Pulse)
		return tests
	}
	plain := change(func(*Pulse) {})
	refused, _ := test04().Evaluate(trace.Trace{Name: "UV"})
	other := slices.Clone(plain)
	other[1].Signal = "Conductivity"
	for _, tc := range []struct {
		want  string
		r     Replicates
		tests []PulseResult
	}{
		{`tests 1 and 3 are no replicates: Column.Tag "column 04" and "column 05"`, Replicates{Rule: three}, change(func(p *Pulse) { p.Column.Tag = "column 05" })},
		{"Flow 17.67 L/h and 18.2 L/h", Replicates{Rule: three}, change(func(p *Pulse) { p.Flow *= 1.03 })},
		{"BedHeight 18 cm and 20 cm", Replicates{Rule: three}, change(func(p *Pulse) { p.BedHeight = 20 * Centimetre })},
		{`Tracer.Name "" and "salt"`, Replicates{Rule: three}, change(func(p *Pulse) { p.Tracer.Name = "salt" })},
		{"SampleVolume 127.2 mL and not given", Replicates{Rule: three}, change(func(p *Pulse) { p.SampleVolume = 0 })},
		{"Smoothing.Window 0 and 5", Replicates{Rule: three}, change(func(p *Pulse) { p.Smoothing.Window = 5 })},
		{"Medium.Lot", Replicates{Rule: three}, change(func(p *Pulse) { p.Medium.Lot = "M-0418" })},
		{`Limits.PlatesPerMetre.Min "" and "4000"`, Replicates{Rule: three}, change(func(p *Pulse) { p.Limits.PlatesPerMetre = AtLeast("4000") })},
		{"Search is given for one only", Replicates{Rule: three}, change(func(p *Pulse) { p.Search = trace.Times(0, 1) })},
		{`signal "UV" and "Conductivity"`, Replicates{Rule: three}, other},
		{"tests 1 and 3 are the same recording", Replicates{Rule: three}, []PulseResult{plain[0], plain[1], plain[0]}},
		{"test 2 has no result: trace", Replicates{Rule: three}, []PulseResult{plain[0], refused}},
		{"test 1 has no result: nothing", Replicates{Rule: three}, []PulseResult{{}}},
		{"no tests were given", Replicates{Rule: three}, nil},
		{"0 tests are planned", Replicates{}, plain},
		{"test 4 cannot be invalid", Replicates{Rule: three, Invalid: []InvalidTest{{4, "air"}}}, plain},
		{"without the cause", Replicates{Rule: three, Invalid: []InvalidTest{{1, " "}}}, plain},
		{"invalid twice", Replicates{Rule: three, Invalid: []InvalidTest{{1, "air"}, {1, "salt"}}}, plain},
		{"no test is valid", Replicates{Rule: three, Invalid: []InvalidTest{{1, "air"}}}, plain[:1]},
	} {
		out, err := tc.r.Of(tc.tests...)
		if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%v, want %q", err, tc.want)
			continue
		}
		if text := out.String(); !strings.Contains(text, "No result: ") || !strings.Contains(text, tc.want) || out.Page().SVG() != "" {
			t.Errorf("the refusal does not show itself: %s", text)
		}
	}
	// What varies from run to run does not part replicates.
	judged(t, Replicates{Rule: three}, change(func(p *Pulse) {
		p.Flow *= 1.01
		p.SampleVolume *= 1.05
		p.BedHeight *= 1.005
	}))
}

func TestRulesThatCannotBe(t *testing.T) {
	spread := SpreadLimits{PlatesPerMetre: AtMost("3.0")}
	for want, r := range map[string]RetestRule{
		"0 tests are planned":            {},
		"no value to report":             {Replicates: 2, Report: 7},
		"no measure of spread":           {Replicates: 2, LargestSpread: SpreadLimits{Measure: 5}},
		"no condition":                   {Replicates: 2, Retest: 9},
		"one test has no spread":         {Replicates: 1, LargestSpread: spread},
		"-1 retests":                     {Replicates: 2, Retests: -1},
		"not when they may be made":      {Replicates: 2, Retests: 1},
		"but not how many":               {Replicates: 2, Retest: RetestWhenFailed},
		"no spread is too large":         {Replicates: 2, Retest: RetestWhenSpread, Retests: 1},
		"a retest changes nothing":       {Replicates: 2, Report: ReportFirst, Retest: RetestWhenFailed, Retests: 1},
		"one retest alone":               {Replicates: 2, LargestSpread: spread, Retest: RetestWhenSpread, Retests: 1, RetestsReplace: true},
		"has a least value of 1":         {Replicates: 2, LargestSpread: SpreadLimits{Asymmetry: AtLeast("1")}},
		`"3 %" is not a positive number`: {Replicates: 2, LargestSpread: SpreadLimits{ColumnVolumes: AtMost("3 %")}},
	} {
		if err := r.check(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", r, err, want)
		}
	}
	full := RetestRule{Name: "procedure 12", Replicates: 3, Report: ReportWorst, LargestSpread: SpreadLimits{Measure: RelativeRange, PlatesPerMetre: AtMost("5.0"), ColumnVolumes: AtMost("1.0")}, Retest: RetestWhenEither, Retests: 2}
	if err := full.check(); err != nil {
		t.Error(err)
	}
	want := "3 tests are planned; the worst of each quantity is reportable; relative range of plates per metre at most 5.0 %, of retention at most 1.0 %; " +
		"retests: 2, when the spread is too large or a reportable value does not meet its limit, and all tests count then; procedure 12"
	if full.String() != want {
		t.Errorf("the rule reads %q", full.String())
	}
}

// A peak twice as high, or in another order of tests with the mean, is the same.
func TestReplicatesDoNotDependOnOrderOrSize(t *testing.T) {
	tests := repeats(t, Limits{}, 0.30, 0.33, 0.36)
	rule := Replicates{Rule: RetestRule{Replicates: 3}}
	a := judged(t, rule, tests)
	b := judged(t, rule, []PulseResult{tests[2], tests[0], tests[1]})
	for i := range a.Spreads {
		x, y := a.Spreads[i], b.Spreads[i]
		if math.Abs(x.Mean-y.Mean) > 1e-12*x.Mean || math.Abs(x.StdDev-y.StdDev) > 1e-9*x.StdDev || x.Lowest != y.Lowest {
			t.Errorf("%s depends on the order of the tests: %+v, %+v", x.Quantity, x, y)
		}
	}
	for _, c := range a.curves {
		top, at := 0.0, 0.0
		for i := range c.Len() {
			if x, y := c.XY(i); y > top {
				top, at = y, x
			}
		}
		near(t, fmt.Sprintf("height of test %d", c.number), top, 1, 0.01, "normalised; noise of 0.1 %")
		near(t, fmt.Sprintf("place of test %d", c.number), at, a.Tests[0].ColumnVolumes, 0.02, "peaks of one mean")
	}
}
