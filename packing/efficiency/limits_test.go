package efficiency

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/number"
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

// Rounding to significant figures, where a procedure counts those instead of the
// decimals of its limit.
func TestRoundedToFigures(t *testing.T) {
	for _, tc := range []struct {
		limit    Limit
		value    float64
		reported string
		outcome  Outcome
		source   string
	}{
		{AtLeast("4000").ToFigures(2), 3950, "4000", Meets, "by hand: a 5 rounds up"},
		{AtLeast("4000").ToFigures(2), 3949, "3900", DoesNotMeet, "by hand"},
		{AtLeast("4000").ToFigures(4), 3999.5, "4000", Meets, "by hand: the same as no decimals"},
		{AtLeast("4000").ToFigures(1), 3500, "4000", Meets, "by hand"},
		{AtMost("1.8").ToFigures(2), 1.84, "1.8", Meets, "as USP General Notices 7.20: 2 figures are 1 decimal here"},
		{AtMost("1.8").ToFigures(2), 1.85, "1.9", DoesNotMeet, "as USP General Notices 7.20"},
		{AtMost("1.80").ToFigures(3), 1.804, "1.80", Meets, "by hand"},
		{AtMost("10").ToFigures(2), 9.96, "10", Meets, "by hand: 9.96 becomes 10, with two figures and not three"},
		{AtMost("1.0").ToFigures(2), 0.996, "1.0", Meets, "by hand"},
		{AtMost("0.10").ToFigures(2), 0.0996, "0.10", Meets, "by hand"},
		{AtLeast("0.80").ToFigures(2), 0.795, "0.80", Meets, "by hand"},
		{AtLeast("100000").ToFigures(3), 99949, "99900", DoesNotMeet, "by hand"},
		{AtLeast("100000").ToFigures(3), 99950, "100000", Meets, "by hand"},
		{Between("0.80", "1.50").ToFigures(2), 1.54, "1.5", Meets, "by hand"},
	} {
		reported, outcome := tc.limit.judge(tc.value)
		if reported != tc.reported || outcome != tc.outcome {
			t.Errorf("%v against %v: %q, %v; want %q, %v (%s)", tc.value, tc.limit, reported, outcome, tc.reported, tc.outcome, tc.source)
		}
	}
	if got := AtLeast("4000").ToFigures(2).String(); got != "at least 4000 (to 2 significant figures)" {
		t.Error(got)
	}
	for _, l := range []Limit{{Figures: 2}, AtLeast("4000").ToFigures(-1), AtLeast("4000").ToFigures(16)} {
		if l.check("plates") == nil {
			t.Errorf("%+v was accepted", l)
		}
	}
}

// Rounding to figures does not depend on the power of ten.
func TestFiguresScale(t *testing.T) {
	for _, digits := range []string{"1", "1.05", "2.4999", "9.949", "9.95", "9.9951", "5.5"} {
		one, err := strconv.ParseFloat(digits, 64)
		if err != nil {
			t.Fatal(err)
		}
		for figures := 1; figures <= 4; figures++ {
			want, err := strconv.ParseFloat(number.Figures(one, figures), 64)
			if err != nil {
				t.Fatal(err)
			}
			for power := -6; power <= 9; power++ {
				v, err := strconv.ParseFloat(digits+"e"+strconv.Itoa(power), 64)
				if err != nil {
					t.Fatal(err)
				}
				got, err := strconv.ParseFloat(number.Figures(v, figures), 64)
				if err != nil || math.Abs(got/math.Pow10(power)-want) > 1e-12*want {
					t.Errorf("%v to %d figures: %v, want %v", v, figures, got, want*math.Pow10(power))
				}
			}
		}
	}
	for _, v := range []float64{math.NaN(), math.Inf(1), 0, -5} {
		if s := number.Figures(v, 2); s == "" {
			t.Errorf("%v gives nothing", v)
		}
	}
}
