package text

import (
	"bytes"
	"math"
	"strconv"
	"unicode/utf8"
	"unsafe"
)

// A format is how a file writes numbers.
type format struct {
	decimal byte // '.' or ','
	group   byte // ',' '.' '\'' or ' ', which stands for all blanks; 0 for none
	missing [][]byte
}

// A class tells what a cell of a column of numbers holds.
type class int

const (
	isNumber class = iota
	isEmpty
	isMissing  // a marker
	isCensored // "<0.5", ">max"
	isFormula  // the error of a formula
	isZeroByte // a zero byte between characters
	isText
)

// powers of ten that are exact.
var powers = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
	1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// decimalNumber reads sign, digits with at most one decimal mark, and exponent;
// nothing else. The result is the float64 nearest to the number.
func decimalNumber(s []byte, decimal byte) (float64, bool) {
	i, negative := 0, false
	if i < len(s) && (s[i] == '-' || s[i] == '+') {
		negative = s[i] == '-'
		i++
	}
	var m uint64
	begin := i
	for i < len(s) && s[i]-'0' <= 9 {
		m = m*10 + uint64(s[i]-'0')
		i++
	}
	digits, exponent := i-begin, 0
	if i < len(s) && s[i] == decimal {
		i++
		fraction := i
		for i < len(s) && s[i]-'0' <= 9 {
			m = m*10 + uint64(s[i]-'0')
			i++
		}
		exponent = fraction - i
		digits -= exponent
	}
	if digits == 0 {
		return 0, false
	}
	if i < len(s) {
		if s[i] != 'e' && s[i] != 'E' && s[i] != 'd' && s[i] != 'D' {
			return 0, false
		}
		i++
		sign := 1
		if i < len(s) && (s[i] == '-' || s[i] == '+') {
			if s[i] == '-' {
				sign = -1
			}
			i++
		}
		if i == len(s) {
			return 0, false
		}
		e := 0
		for ; i < len(s); i++ {
			if s[i]-'0' > 9 {
				return 0, false
			}
			e = min(e*10+int(s[i]-'0'), 1e6)
		}
		exponent += sign * e
	}
	// Both are exact, so that one operation rounds correctly (Clinger 1990).
	if digits <= 19 && m < 1<<53 && exponent >= -22 && exponent <= 22 {
		v := float64(m)
		if exponent < 0 {
			v /= powers[-exponent]
		} else {
			v *= powers[exponent]
		}
		if negative {
			v = -v
		}
		return v, true
	}
	return slowNumber(s, decimal)
}

// slowNumber reads what takes more than one exact operation.
func slowNumber(s []byte, decimal byte) (float64, bool) {
	var room [64]byte
	buf := append(room[:0], s...)
	for i, c := range buf {
		switch c {
		case decimal:
			buf[i] = '.'
		case 'd', 'D':
			buf[i] = 'e'
		}
	}
	v, err := strconv.ParseFloat(unsafe.String(&buf[0], len(buf)), 64)
	return v, err == nil
}

// value tells what a clean cell holds: its number, class, and unit if one is
// written behind the number.
func (f *format) value(c []byte) (v float64, k class, unit []byte) {
	if len(c) == 0 {
		return math.NaN(), isEmpty, nil
	}
	if c[0] <= '9' && c[0] != '#' && c[0] != '<' {
		if v, ok := decimalNumber(c, f.decimal); ok {
			return v, isNumber, nil
		}
	}
	if k := f.marker(c); k != isText {
		return math.NaN(), k, nil
	}
	if v, rest, ok := f.leading(c); ok {
		if len(rest) == 0 {
			return v, isNumber, nil
		}
		if trimmed := trim(rest); isSuffix(trimmed) {
			return v, isNumber, trimmed
		}
	}
	if bytes.IndexByte(c, 0) >= 0 {
		without := bytes.ReplaceAll(c, []byte{0}, nil)
		if _, k, _ := f.value(without); k == isNumber {
			return math.NaN(), isZeroByte, nil
		}
	}
	return math.NaN(), isText, nil
}

// leading reads a number with thousands marks and Unicode signs at the
// beginning of c and returns what stands behind it.
func (f *format) leading(c []byte) (v float64, rest []byte, ok bool) {
	var room [64]byte
	buf := room[:0]
	i := 0
	if c[0] == '-' || c[0] == '+' {
		buf = append(buf, c[0])
		i++
	} else if bytes.HasPrefix(c, []byte("−")) {
		buf = append(buf, '-')
		i += len("−")
	}
	first := i // of the present run of digits
	groups, digits := 0, 0
	for i < len(c) {
		if c[i]-'0' <= 9 {
			buf = append(buf, c[i])
			digits++
			i++
			continue
		}
		n := f.groupAt(c[i:])
		if n == 0 || !threeDigits(c[i+n:]) || i == first || i-first > 3 || groups > 0 && i-first != 3 {
			break
		}
		groups++
		i += n
		first = i
	}
	if groups > 0 && i-first != 3 {
		return 0, nil, false
	}
	if i < len(c) && c[i] == f.decimal {
		buf = append(buf, '.')
		i++
		for i < len(c) && c[i]-'0' <= 9 {
			buf = append(buf, c[i])
			digits++
			i++
		}
	}
	if digits == 0 {
		return 0, nil, false
	}
	if i < len(c) && (c[i] == 'e' || c[i] == 'E') {
		j := i + 1
		sign := byte('+')
		if j < len(c) && (c[j] == '-' || c[j] == '+') {
			sign = c[j]
			j++
		} else if bytes.HasPrefix(c[j:], []byte("−")) {
			sign = '-'
			j += len("−")
		}
		k := j
		for k < len(c) && c[k]-'0' <= 9 {
			k++
		}
		if k > j {
			buf = append(append(append(buf, 'e'), sign), c[j:k]...)
			i = k
		}
	}
	v, ok = decimalNumber(buf, '.')
	return v, c[i:], ok
}

// groupAt returns the bytes of the thousands mark at the beginning of c.
func (f *format) groupAt(c []byte) int {
	switch f.group {
	case 0:
		return 0
	case ' ':
		if c[0] == ' ' {
			return 1
		}
		if c[0] >= utf8.RuneSelf {
			if r, n := utf8.DecodeRune(c); isBlank(r) {
				return n
			}
		}
		return 0
	case '\'':
		if bytes.HasPrefix(c, []byte("’")) {
			return len("’")
		}
	}
	if c[0] == f.group {
		return 1
	}
	return 0
}

func threeDigits(c []byte) bool {
	return len(c) >= 3 && c[0]-'0' <= 9 && c[1]-'0' <= 9 && c[2]-'0' <= 9 && (len(c) == 3 || c[3]-'0' > 9)
}

// isSuffix tells whether text behind a number is a unit: one that is known, or
// something per something.
func isSuffix(s []byte) bool {
	if len(s) > 20 {
		return false
	}
	if knownUnit(string(s)) {
		return true
	}
	slash := bytes.IndexByte(s, '/')
	if slash <= 0 || slash == len(s)-1 {
		return false
	}
	for _, c := range s {
		if c-'0' <= 9 || c == ' ' || c == ':' {
			return false
		}
	}
	return true
}

// markers are the words for a value that is missing, in small letters.
var markers = map[string]bool{
	"nan": true, "-nan": true, "+nan": true, "nan(ind)": true, "-nan(ind)": true, "na": true, "n/a": true, "n.a.": true, "n.a": true, "#n/a": true, "#na": true, "#n/a n/a": true,
	"1.#qnan": true, "-1.#qnan": true, "1.#ind": true, "-1.#ind": true, "1.#inf": true, "-1.#inf": true, "1.#snan": true,
	"1,#qnan": true, "-1,#qnan": true, "1,#ind": true, "-1,#ind": true, "1,#inf": true, "-1,#inf": true,
	"null": true, "nil": true, "none": true, "missing": true, "no data": true, "no data available": true, "not available": true,
	"n.d.": true, "nd": true, "-": true, "–": true, "—": true, "?": true, ".": true, "<na>": true, "<null>": true, "invalid": true,
	"inf": true, "+inf": true, "-inf": true, "infinity": true, "-infinity": true, "∞": true,
}

// formulaErrors are what a spreadsheet writes for a formula that fails.
var formulaErrors = map[string]bool{"#ref!": true, "#div/0!": true, "#value!": true, "#name?": true, "#num!": true, "#null!": true, "#spill!": true, "#calc!": true}

// marker tells the class of text that stands for no number; isText if it is
// none of them.
func (f *format) marker(c []byte) class {
	for _, m := range f.missing {
		if bytes.EqualFold(m, c) {
			return isMissing
		}
	}
	if len(c) > 32 || c[0]-'0' <= 9 && bytes.IndexByte(c, '#') < 0 {
		return isText // a number, most often; no other marker begins with a digit
	}
	if len(c) >= 2 {
		same := true
		for _, b := range c[1:] {
			same = same && b == c[0]
		}
		if same && (c[0] == '*' || c[0] == '-' || c[0] == '#' || c[0] == '.' || c[0] == '?' || c[0] == '_') {
			return isMissing
		}
	} else if c[0] == '*' {
		return isMissing
	}
	var room [32]byte
	low := room[:len(c)]
	for i, b := range c {
		if b >= 'A' && b <= 'Z' {
			b += 'a' - 'A'
		}
		low[i] = b
	}
	switch {
	case markers[string(low)]:
		return isMissing
	case formulaErrors[string(low)]:
		return isFormula
	}
	rest := low
	switch {
	case low[0] == '<' || low[0] == '>':
		rest = bytes.TrimPrefix(low[1:], []byte("="))
	case bytes.HasPrefix(low, []byte("≤")), bytes.HasPrefix(low, []byte("≥")):
		rest = low[len("≤"):]
	default:
		return isText
	}
	rest = trim(rest)
	switch string(rest) {
	case "loq", "lod", "max", "min", "lloq", "uloq", "range", "limit", "lo", "hi":
		return isCensored
	}
	if len(rest) > 0 {
		if _, tail, ok := f.leading(rest); ok && (len(tail) == 0 || isSuffix(trim(tail))) {
			return isCensored
		}
	}
	return isText
}
