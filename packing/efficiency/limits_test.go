package efficiency

import (
	"strings"
	"testing"
)

func TestRoundedToTheLimit(t *testing.T) {
	usp := "USP General Notices 7.20"
	for _, tc := range []struct {
		limit    Limit
		value    float64
		reported string
		outcome  Outcome
		source   string
	}{
		{AtMost("1.8"), 1.84, "1.8", Meets, usp},
		{AtMost("1.8"), 1.85, "1.9", DoesNotMeet, usp},
		{AtMost("1.8"), 1.8499, "1.8", Meets, "digits behind the next do not count"},
		{AtLeast("98.0"), 97.96, "98.0", Meets, usp},
		{AtLeast("98.0"), 97.92, "97.9", DoesNotMeet, usp},
		{AtLeast("98.0"), 97.95, "98.0", Meets, usp},
		{AtMost("101.5"), 101.55, "101.6", DoesNotMeet, usp},
		{AtMost("101.5"), 101.46, "101.5", Meets, usp},
		{AtLeast("4000"), 3999.5, "4000", Meets, "rounds up to the limit"},
		{AtLeast("4000"), 3999.4, "3999", DoesNotMeet, "rounds down"},
		{AtLeast("0.8"), 0.79, "0.8", Meets, "one digit is what the limit has"},
		{AtLeast("0.80"), 0.79, "0.79", DoesNotMeet, "two digits"},
		{Between("0.80", "1.50"), 1.504, "1.50", Meets, "rounds down to the limit"},
		{Between("0.80", "1.50"), 1.505, "1.51", DoesNotMeet, "rounds up"},
		{AtMost("10"), 9.5, "10", Meets, "a digit more"},
		{Limit{}, 5, "", NotChecked, "no limit"},
	} {
		reported, outcome := tc.limit.judge(tc.value)
		if reported != tc.reported || outcome != tc.outcome {
			t.Errorf("%v against %v: %q, %v; want %q, %v (%s)", tc.value, tc.limit, reported, outcome, tc.reported, tc.outcome, tc.source)
		}
	}
}

func TestCommonPractice(t *testing.T) {
	l := CommonPractice()
	for _, tc := range []struct {
		limit Limit
		value float64
		want  Outcome
	}{ // common practice, no source
		{l.PlatesPerMetre, 3990, DoesNotMeet},
		{l.PlatesPerMetre, 4010, Meets},
		{l.Asymmetry, 0.79, DoesNotMeet},
		{l.Asymmetry, 0.80, Meets},
		{l.Asymmetry, 1.50, Meets},
		{l.Asymmetry, 1.51, DoesNotMeet},
		{l.ReducedPlateHeight, 99, NotChecked},
		{l.SymmetryFactor, 99, NotChecked},
	} {
		if _, got := tc.limit.judge(tc.value); got != tc.want {
			t.Errorf("%v against %v: %v, want %v", tc.value, tc.limit, got, tc.want)
		}
	}
}

func TestLimitsRefused(t *testing.T) {
	for _, tc := range []struct {
		limit Limit
		want  string
	}{
		{Between("1.50", "0.80"), "the least value 1.50 is above the largest, 0.80"},
		{AtLeast("four thousand"), "not a positive number"},
		{AtLeast("-1"), "not a positive number"},
		{AtLeast("0"), "not a positive number"},
		{AtMost("0,80"), "not a positive number"},
		{AtMost("4e3"), "not a positive number"},
		{AtMost("4."), "not a positive number"},
	} {
		err := Limits{Asymmetry: tc.limit}.check()
		if err == nil || !strings.Contains(err.Error(), tc.want) || !strings.Contains(err.Error(), "asymmetry") {
			t.Errorf("%+v: error %v, want one with %q", tc.limit, err, tc.want)
		}
	}
	for _, l := range []Limit{{}, AtLeast("4000"), Between("0.80", "0.80"), AtMost("0.5")} {
		if err := (Limits{Asymmetry: l}).check(); err != nil {
			t.Errorf("%v refused: %v", l, err)
		}
	}
}
