package number

import (
	"math"
	"math/big"
	"math/rand"
	"strconv"
	"strings"
	"testing"
)

// All by hand: both sides of each edge.
func TestEdges(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, tc := range []struct{ got, want string }{
		{Fixed(1.8449, 2), "1.84"}, {Fixed(1.845, 2), "1.85"}, {Fixed(2.675, 2), "2.68"}, {Fixed(2.6749999, 2), "2.67"},
		{Fixed(9.994, 2), "9.99"}, {Fixed(9.995, 2), "10.00"}, {Fixed(0.49, 0), "0"}, {Fixed(0.5, 0), "1"}, {Fixed(1.5, 0), "2"}, {Fixed(2.5, 0), "3"},
		{Fixed(-2.5, 0), "-3"}, {Fixed(-0.004, 2), "0.00"}, {Fixed(-0.005, 2), "-0.01"}, {Fixed(math.Copysign(0, -1), 1), "0.0"},
		{Fixed(0.0004, 2), "0.00"}, {Fixed(0, 0), "0"}, {Fixed(1234.5, 0), "1235"}, {Fixed(1e15, 1), "1000000000000000.0"}, {Fixed(1e-12, 3), "0.000"},
		{Fixed(nan, 2), Missing}, {Fixed(inf, 2), Missing}, {Fixed(-inf, 0), Missing}, {Cell(Fixed(nan, 2)), ""}, {Cell(Fixed(0.125, 2)), "0.13"},
		{Signed(0.25, 1), "+0.3"}, {Signed(-0.25, 1), "-0.3"}, {Signed(0, 1), "0.0"}, {Signed(0.04, 1), "0.0"}, {Signed(-0.04, 1), "0.0"}, {Signed(nan, 1), Missing},

		{UpTo(2.5, 2), "2.5"}, {UpTo(2.504, 2), "2.5"}, {UpTo(2.505, 2), "2.51"}, {UpTo(100, 2), "100"}, {UpTo(-0.004, 2), "0"}, {UpTo(100, 0), "100"}, {UpTo(nan, 2), Missing},

		{Significant(9.94, 2), "9.9"}, {Significant(9.95, 2), "10"}, {Significant(9.96, 2), "10"}, {Significant(0.0995, 2), "0.10"}, {Significant(0.0994, 2), "0.099"},
		{Significant(99.94, 3), "99.9"}, {Significant(99.95, 3), "100"}, {Significant(999.4, 3), "999"}, {Significant(999.5, 3), "1000"},
		{Significant(1234, 2), "1234"}, {Significant(1234.5, 2), "1235"}, {Significant(2, 4), "2.000"}, {Significant(-0.95, 1), "-1"}, {Significant(0.000012345, 3), "0.0000123"},
		{Significant(0, 3), "0"}, {Significant(nan, 3), Missing}, {Significant(-inf, 3), Missing},

		{Figures(1234, 2), "1200"}, {Figures(1250, 2), "1300"}, {Figures(1249.9, 2), "1200"}, {Figures(9.96, 2), "10"}, {Figures(9.94, 2), "9.9"}, {Figures(995, 2), "1000"},
		{Figures(994, 2), "990"}, {Figures(0.0996, 2), "0.10"}, {Figures(0, 2), "0"}, {Figures(nan, 2), Missing},

		{Compact(9.96, 2), "10"}, {Compact(2.5, 4), "2.5"}, {Compact(2.50004, 4), "2.5"}, {Compact(12345.6, 4), "12346"}, {Compact(346.1, 2), "346"},
		{Compact(999_999_999.4, 4), "999999999"}, {Compact(999_999_999.5, 4), "1e+09"}, {Compact(1.2345e9, 4), "1.235e+09"},
		{Compact(1.234e-4, 4), "0.0001234"}, {Compact(9.9996e-5, 4), "0.0001"}, {Compact(9.9994e-5, 4), "9.999e-05"}, {Compact(0, 4), "0"}, {Compact(-2.5, 1), "-3"},
		{Compact(nan, 4), Missing}, {Compact(inf, 4), Missing},

		{Exponent(9.996e-7, 3), "1.00e-06"}, {Exponent(9.994e-7, 3), "9.99e-07"}, {Exponent(0, 2), "0.0e+00"}, {Exponent(nan, 2), Missing},

		{PlusMinus(12.345, 0.994), "12.35 ± 0.99"}, {PlusMinus(12.345, 0.996), "12.3 ± 1.0"}, {PlusMinus(12.345, 9.94), "12.3 ± 9.9"}, {PlusMinus(12.345, 9.96), "12 ± 10"},
		{PlusMinus(12.345, 123), "12 ± 123"}, {PlusMinus(-0.001, 0.12), "0.00 ± 0.12"}, {PlusMinus(12.3456789, nan), "12.3457"}, {PlusMinus(12.3456789, 0), "12.3457"},
		{PlusMinus(nan, 1), Missing + " ± 1.0"}, {PlusMinus(nan, nan), Missing},

		{AtMost(1.999, 2), "1.9"}, {AtMost(2, 2), "2"}, {AtLeast(2, 2), "2"}, {AtLeast(2.001, 2), "2.1"}, {AtMost(-2.001, 2), "-2.1"}, {AtLeast(9.91, 2), "10"},
		{AtMost(0.3, 1), "0.3"}, {AtMost(0.1+0.2, 1), "0.3"}, {AtLeast(0.1+0.2, 1), "0.3"}, {AtMost(0, 2), "0"}, {AtMost(nan, 2), Missing}, {AtMost(123.9, 2), "120"},
	} {
		if tc.got != tc.want {
			t.Errorf("%q, want %q", tc.got, tc.want)
		}
	}
	if got := Round(999.96, 4); got != 1000 {
		t.Errorf("999.96 rounds to %v", got)
	}
	if got := Round(999.94, 4); got != 999.9 {
		t.Errorf("999.94 rounds to %v", got)
	}
	if got := Round(inf, 4); got != inf {
		t.Errorf("infinity rounds to %v", got)
	}
}

// Fixed is the nearest decimal to the shortest decimal of a number, by exact
// arithmetic of math/big.
func TestFixedIsNearest(t *testing.T) {
	rng := rand.New(rand.NewSource(1))
	for range 20_000 {
		v := math.Round(rng.Float64()*1e6) * math.Pow(10, float64(rng.Intn(16)-12)) * float64(1-2*rng.Intn(2))
		decimals := rng.Intn(6)
		got, ok := new(big.Rat).SetString(Fixed(v, decimals))
		exact, ok2 := new(big.Rat).SetString(strconv.FormatFloat(v, 'g', -1, 64))
		if !ok || !ok2 {
			t.Fatalf("%v to %d: %q", v, decimals, Fixed(v, decimals))
		}
		off := new(big.Rat).Sub(new(big.Rat).Abs(got), new(big.Rat).Abs(exact))
		half := new(big.Rat).SetFrac(big.NewInt(1), new(big.Int).Mul(big.NewInt(2), new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(decimals)), nil)))
		if off.Cmp(half) > 0 || off.Cmp(new(big.Rat).Neg(half)) <= 0 {
			t.Fatalf("%v to %d decimals is %s", v, decimals, Fixed(v, decimals))
		}
		if _, part, _ := strings.Cut(Fixed(v, decimals), "."); len(part) != decimals {
			t.Fatalf("%v to %d decimals is %s", v, decimals, Fixed(v, decimals))
		}
	}
}

// Significant has the digits that were asked for, whatever the size.
func TestSignificantCounts(t *testing.T) {
	rng := rand.New(rand.NewSource(2))
	for range 20_000 {
		v, n := rng.Float64()*math.Pow(10, float64(rng.Intn(20)-10)), 1+rng.Intn(6)
		s := Significant(v, n)
		digits := strings.TrimLeft(strings.Replace(s, ".", "", 1), "0")
		if whole, part, _ := strings.Cut(s, "."); len(digits) != n && !(part == "" && len(whole) > n) {
			t.Fatalf("%v to %d digits is %s", v, n, s)
		}
	}
}
