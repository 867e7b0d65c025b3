package text

import (
	"bytes"
	"fmt"
	"unicode/utf8"
)

// A shape is what the digits and marks of a cell say about decimal and
// thousands marks.
type shape struct {
	ok        bool
	decimal   byte // '.' or ',' if it can be nothing else
	ambiguous byte // '.' or ',' if it may be decimal or thousands mark
	group     byte // a thousands mark that can be nothing else: , . ' or blank
}

// shapeOf looks at a clean cell without knowing the file's marks. blanks tells
// whether blanks may stand between thousands.
func shapeOf(c []byte, blanks bool) (s shape) {
	if len(c) == 0 || len(c) > 64 {
		return s
	}
	i := 0
	if c[0] == '-' || c[0] == '+' {
		i = 1
	} else if bytes.HasPrefix(c, []byte("−")) {
		i = len("−")
	}
	start := i
	var marks [16]byte
	var runs [17]int
	n, digits := 0, 0
	for i < len(c) {
		if c[i]-'0' <= 9 {
			runs[n]++
			digits++
			i++
			continue
		}
		m, size := markAt(c[i:], blanks)
		if m == 0 || n == len(marks) {
			break
		}
		if m != '.' && m != ',' && (runs[n] == 0 || !threeDigits(c[i+size:])) {
			break
		}
		marks[n] = m
		n++
		i += size
	}
	if digits == 0 {
		return s
	}
	exponent := false
	if i < len(c) && (c[i] == 'e' || c[i] == 'E') {
		j := i + 1
		if j < len(c) && (c[j] == '-' || c[j] == '+') {
			j++
		} else if bytes.HasPrefix(c[j:], []byte("−")) {
			j += len("−")
		}
		k := j
		for k < len(c) && c[k]-'0' <= 9 {
			k++
		}
		if k > j {
			exponent = true
			i = k
		}
	}
	if i < len(c) && !isSuffix(trim(c[i:])) {
		return s
	}
	last := byte(0)
	if n > 0 {
		last = marks[n-1]
	}
	grouped := func(k int) bool { // the first k marks stand between thousands
		if runs[0] < 1 || runs[0] > 3 {
			return false
		}
		for j := 0; j < k; j++ {
			if marks[j] != marks[0] || j > 0 && runs[j] != 3 {
				return false
			}
		}
		return true
	}
	switch {
	case n == 0:
		s.ok = true
	case n == 1 && (last == '.' || last == ','):
		if last == ',' && runs[1] == 0 {
			return s
		}
		s.ok = true
		if runs[1] == 3 && runs[0] >= 1 && runs[0] <= 3 && c[start] != '0' && !exponent {
			s.ambiguous = last
		} else {
			s.decimal = last
		}
	case grouped(n) && runs[n] == 3: // 1.234.567 or 1'234
		s.ok, s.group = true, last
		switch last {
		case '.':
			s.decimal = ','
		case ',':
			s.decimal = '.'
		}
	case n > 1 && (last == '.' || last == ',') && marks[0] != last && grouped(n-1) && runs[n-1] == 3: // 1.234,5
		s.ok, s.group, s.decimal = true, marks[0], last
	}
	return s
}

// markAt returns a decimal or thousands mark and its bytes.
func markAt(c []byte, blanks bool) (byte, int) {
	switch c[0] {
	case '.', ',', '\'':
		return c[0], 1
	case ' ':
		if blanks {
			return ' ', 1
		}
		return 0, 0
	}
	if c[0] >= utf8.RuneSelf {
		r, n := utf8.DecodeRune(c)
		switch {
		case r == '’':
			return '\'', n
		case isBlank(r):
			return ' ', n
		}
	}
	return 0, 0
}

// A witness is a number that speaks for one reading.
type witness struct {
	count int
	line  int
	text  string
}

func (w *witness) add(o witness) {
	if o.count > 0 && (w.count == 0 || o.line < w.line) {
		w.line, w.text = o.line, o.text
	}
	w.count += o.count
}

func (w *witness) see(line int, c []byte) {
	if w.count == 0 {
		w.line, w.text = line, string(c)
	}
	w.count++
}

// Indices of a vote's witnesses.
const (
	pointDecimal = iota
	commaDecimal
	pointEither
	commaEither
	commaGroup
	pointGroup
	quoteGroup
	blankGroup
	votes
)

// A vote counts what the numbers of a file say about its marks.
type vote [votes]witness

// count adds a cell.
func (v *vote) count(s shape, line int, c []byte) {
	switch s.decimal {
	case '.':
		v[pointDecimal].see(line, c)
	case ',':
		v[commaDecimal].see(line, c)
	}
	switch s.ambiguous {
	case '.':
		v[pointEither].see(line, c)
	case ',':
		v[commaEither].see(line, c)
	}
	switch s.group {
	case ',':
		v[commaGroup].see(line, c)
	case '.':
		v[pointGroup].see(line, c)
	case '\'':
		v[quoteGroup].see(line, c)
	case ' ':
		v[blankGroup].see(line, c)
	}
}

// decisive tells whether some number can be read in one way only.
func (v *vote) decisive() bool { return v[pointDecimal].count+v[commaDecimal].count > 0 }

// decide returns the marks of the file, or an error that shows both readings.
func (v *vote) decide(o Options, sep byte) (decimal, group byte, err error) {
	switch {
	case o.Decimal != "":
		decimal = o.Decimal[0]
	case o.Thousands == "." || o.Thousands == ",":
		decimal = '.' + ',' - o.Thousands[0]
	case v[pointDecimal].count > 0 && v[commaDecimal].count > 0:
		p, c := v[pointDecimal], v[commaDecimal]
		at := max(p.line, c.line)
		return 0, 0, Error{Line: at,
			Problem: fmt.Sprintf("the decimal mark is a point in %q (line %d) but a comma in %q (line %d); %d numbers speak for the point and %d for the comma", shortened(p.text), p.line, shortened(c.text), c.line, p.count, c.count),
			Remedy:  `write all numbers alike, or say which it is: record.Options{Decimal: "."} or record.Options{Decimal: ","}`}
	case v[pointDecimal].count > 0:
		decimal = '.'
	case v[commaDecimal].count > 0:
		decimal = ','
	case v[commaEither].count > 0 && v[pointEither].count > 0:
		return 0, 0, askMarks(v[commaEither], fmt.Sprintf(", and %q on line %d", v[pointEither].text, v[pointEither].line))
	case v[commaEither].count > 0:
		return 0, 0, askMarks(v[commaEither], "")
	case v[pointEither].count > 0 && sep != ',' && o.Thousands == "":
		return 0, 0, askMarks(v[pointEither], "")
	default:
		decimal = '.'
	}
	switch {
	case o.Thousands == "none":
		return decimal, 0, nil
	case o.Thousands != "":
		return decimal, o.Thousands[0], nil
	}
	other, either := v[commaGroup], v[commaEither]
	group = ','
	if decimal == ',' {
		other, either, group = v[pointGroup], v[pointEither], '.'
	}
	if either.count > 0 {
		other.add(either)
	}
	seen := other
	if other.count == 0 {
		group = 0
	}
	for mark, w := range map[byte]witness{'\'': v[quoteGroup], ' ': v[blankGroup]} {
		if w.count == 0 {
			continue
		}
		if group != 0 {
			a, b := seen, w
			if b.line < a.line {
				a, b = b, a
			}
			return 0, 0, Error{Line: b.line, Problem: fmt.Sprintf("thousands are set apart in two ways, in %q (line %d) and %q (line %d)", a.text, a.line, b.text, b.line),
				Remedy: `write all numbers alike, or say which it is: record.Options{Thousands: ","}`}
		}
		group, seen = mark, w
	}
	return decimal, group, nil
}

// askMarks is the error for numbers such as 1,234 alone.
func askMarks(w witness, more string) error {
	p := format{decimal: '.', group: ','}
	c := format{decimal: ',', group: '.'}
	a, _, _ := p.value([]byte(w.text))
	b, _, _ := c.value([]byte(w.text))
	return Error{Line: w.line,
		Problem: fmt.Sprintf("%q%s may be %v, with a decimal point, or %v, with a decimal comma, and no number of the file decides", shortened(w.text), more, a, b),
		Remedy:  `say which it is: record.Options{Decimal: "."} or record.Options{Decimal: ","}`}
}

func markName(b byte) string {
	switch b {
	case '.':
		return "point"
	case ',':
		return "comma"
	case '\'':
		return "apostrophe"
	case ' ':
		return "blank"
	}
	return "none"
}
