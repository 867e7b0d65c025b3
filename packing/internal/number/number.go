// Package number writes numbers for people.
//
// All functions round the shortest decimal that stands for a number, a 5 behind
// the last digit away from zero: 2.675 to two decimals is 2.68, although its
// binary form lies below. They round first and count digits then, so that 9.96 to
// two digits is 10. Zero has no sign. What is no finite number is [Missing].
package number

import (
	"math"
	"strconv"
	"strings"
)

// Missing stands where there is no number.
const Missing = "not known"

// Fixed writes v with so many decimals.
func Fixed(v float64, decimals int) string {
	if !finite(v) {
		return Missing
	}
	return parse(v).round(decimals).text(decimals)
}

// Signed is [Fixed] with a plus before what is above zero as it is shown.
func Signed(v float64, decimals int) string {
	s := Fixed(v, decimals)
	if v > 0 && finite(v) && strings.Trim(s, "0.") != "" {
		return "+" + s
	}
	return s
}

// Cell is a number for a cell of a table that stays empty where nothing is known
// or nothing applies.
func Cell(written string) string {
	if written == Missing {
		return ""
	}
	return written
}

// UpTo writes v with at most so many decimals, without zeros at the end.
func UpTo(v float64, decimals int) string {
	s := Fixed(v, decimals)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// Significant writes v with so many significant digits, zeros at the end kept,
// and with all digits before the point: 1234 to two digits is 1234.
func Significant(v float64, digits int) string {
	if !finite(v) {
		return Missing
	}
	d, decimals := significant(v, digits)
	return d.text(decimals)
}

// Figures is [Significant] with zeros for the digits before the point that do not
// count: 1234 to two figures is 1200.
func Figures(v float64, digits int) string {
	if !finite(v) {
		return Missing
	}
	d := parse(v).figures(digits)
	if d.n == 0 {
		return "0"
	}
	return d.text(max(0, digits-d.point))
}

// Compact is [Significant] without zeros at the end of the fraction, and with an
// exponent from 1e9 and below 1e-4.
func Compact(v float64, digits int) string {
	if !finite(v) {
		return Missing
	}
	r := Round(v, digits)
	if a := math.Abs(r); a >= 1e9 || a != 0 && a < 1e-4 {
		return strconv.FormatFloat(parse(v).figures(digits).value(), 'g', digits, 64)
	}
	return strconv.FormatFloat(r, 'f', -1, 64)
}

// Exponent writes v with so many significant digits and an exponent of ten.
func Exponent(v float64, digits int) string {
	if !finite(v) {
		return Missing
	}
	return strconv.FormatFloat(parse(v).figures(digits).value(), 'e', digits-1, 64)
}

// Round rounds v as [Significant] shows it.
func Round(v float64, digits int) float64 {
	if !finite(v) {
		return v
	}
	d, _ := significant(v, digits)
	return d.value()
}

// WithError writes a value and its standard error, the error with two significant
// digits and the value with as many decimals, twelve digits at most. Without an
// error the value has six significant digits.
func WithError(v, stdErr float64) (value, err string) {
	if !(stdErr > 0) || !finite(stdErr) {
		return Significant(v, 6), Missing
	}
	e, decimals := significant(stdErr, 2)
	if finite(v) {
		decimals = min(decimals, max(0, 12-parse(v).point))
	}
	return Fixed(v, decimals), Significant(e.value(), 2)
}

// PlusMinus is [WithError] in one: 12.3 ± 1.2, or the value alone.
func PlusMinus(v, stdErr float64) string {
	value, err := WithError(v, stdErr)
	if err == Missing {
		return value
	}
	return value + " ± " + err
}

// AtMost writes v with so many significant digits rounded down, so that what is
// named as a bound keeps it.
func AtMost(v float64, digits int) string { return bound(v, digits, math.Floor) }

// AtLeast is [AtMost] rounded up.
func AtLeast(v float64, digits int) string { return bound(v, digits, math.Ceil) }

func bound(v float64, digits int, round func(float64) float64) string {
	if !finite(v) {
		return Missing
	}
	if v == 0 {
		return "0"
	}
	one := math.Pow(10, float64(digits-parse(v).point))
	x := math.Round(v * one)
	if math.Abs(v*one-x) >= 1e-9*math.Abs(x) { // or it is that number already
		x = round(v * one)
	}
	return strconv.FormatFloat(x/one+0, 'f', -1, 64)
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// A decimal is ±0.d₁d₂… times ten to the power of point, without digits for zero.
type decimal struct {
	negative bool
	digits   [18]byte
	n        int // how many digits there are
	point    int
}

// parse returns the shortest decimal that stands for a finite v.
func parse(v float64) (d decimal) {
	if v == 0 {
		return d
	}
	var buf [32]byte
	text := strconv.AppendFloat(buf[:0], math.Abs(v), 'e', -1, 64) // d.ddde±dd
	d.negative = v < 0
	for i, c := range text {
		if c == 'e' {
			for _, c := range text[i+2:] {
				d.point = 10*d.point + int(c-'0')
			}
			if text[i+1] == '-' {
				d.point = -d.point
			}
			break
		}
		if c != '.' {
			d.digits[d.n] = c
			d.n++
		}
	}
	d.point++
	return d
}

// round rounds to so many decimals, to tens and more if they are negative.
func (d decimal) round(decimals int) decimal {
	keep := d.point + decimals
	if keep >= d.n {
		return d
	}
	if keep < 0 {
		return decimal{}
	}
	up := d.digits[keep] >= '5'
	d.n = keep
	for i := keep - 1; up && i >= 0; i-- {
		if d.digits[i]++; d.digits[i] <= '9' {
			return d
		}
		d.digits[i] = '0'
	}
	if up { // a one before nothing but zeros
		copy(d.digits[1:], d.digits[:keep])
		d.digits[0] = '1'
		d.n, d.point = keep+1, d.point+1
	}
	if d.n == 0 {
		return decimal{}
	}
	return d
}

// figures rounds to so many significant digits.
func (d decimal) figures(digits int) decimal { return d.round(digits - d.point) }

// significant rounds to so many digits, but never before the point, and returns
// how many decimals these are.
func significant(v float64, digits int) (d decimal, decimals int) {
	d = parse(v)
	if d.n == 0 {
		return d, 0
	}
	d = d.round(max(0, digits-d.point))
	return d, max(0, digits-d.point)
}

// text writes the decimal with so many places behind the point, all of its own
// among them.
func (d decimal) text(decimals int) string {
	var buf [32]byte
	s := buf[:0]
	if d.negative {
		s = append(s, '-')
	}
	for i := min(0, d.point-1); i < d.point+decimals; i++ { // places from the first digit on; there are zeros around them
		if i == d.point {
			s = append(s, '.')
		}
		if i >= 0 && i < d.n {
			s = append(s, d.digits[i])
		} else {
			s = append(s, '0')
		}
	}
	return string(s)
}

// value returns the decimal as a number.
func (d decimal) value() float64 {
	if d.n == 0 {
		return 0
	}
	text := "0." + string(d.digits[:d.n]) + "e" + strconv.Itoa(d.point)
	v, err := strconv.ParseFloat(text, 64)
	if err != nil && !math.IsInf(v, 0) {
		panic("number: a rounded number did not parse: " + err.Error())
	}
	if d.negative {
		return -v
	}
	return v
}
