package text

import (
	"bytes"
	"fmt"
	"strings"
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

// marksOfNumbers finds decimal and thousands mark by one vote of all columns
// of numbers.
func (r *reader) marksOfNumbers() error {
	v := r.voteOf(r.sample)
	decimal, group, err := v.decide(r.o, r.sep)
	if !r.whole && (err != nil || !v.decisive() && r.o.Decimal == "" && r.mayDecide()) {
		var e error
		if v, e = r.voteOfAll(); e != nil {
			return e
		}
		decimal, group, err = v.decide(r.o, r.sep)
	}
	if e, asks := err.(Error); asks && !v.decisive() {
		// Numbers of the preamble break a tie.
		m := r.metaVote()
		if d, _, again := m.decide(r.o, r.sep); again == nil && m.decisive() {
			o := r.o
			o.Decimal = string(d)
			decimal, group, err = v.decide(o, r.sep)
		} else {
			err = e
		}
	}
	if err != nil {
		return err
	}
	r.table.decisive = v.decisive()
	r.format = format{decimal: decimal, group: group}
	r.format.missing = r.marks().missing
	r.used.Decimal = string(decimal)
	value := markName(decimal)
	if v[pointDecimal].count+v[commaDecimal].count+v[pointEither].count+v[commaEither].count == 0 {
		value = "point, though no number has a decimal mark"
	}
	r.told("decimal mark", value, r.o.Decimal != "", fmt.Sprintf("Decimal: %q", string(decimal)))
	r.used.Thousands = "none"
	if group != 0 {
		r.used.Thousands = string(group)
		r.told("thousands mark", markName(group), r.o.Thousands != "", fmt.Sprintf("Thousands: %q", string(group)))
	}
	return nil
}

// voteOf counts the votes of the columns of numbers.
func (r *reader) voteOf(recs []record) (v vote) {
	var cells [][]byte
	for _, rec := range recs {
		cells = cut(cells[:0], rec.text, r.sep)
		r.count(&v, rec, cells)
	}
	return v
}

// count adds the numbers of a row.
func (r *reader) count(v *vote, rec record, cells [][]byte) {
	if len(cells) > maxColumns || !r.grade(cells, r.sep).data() {
		return
	}
	for j, c := range cells[:min(len(cells), r.table.width)] {
		if k := r.table.cols[j].kind; k != numberKind && k != unknownKind {
			continue
		}
		if s := shapeOf(c, r.sep != ' '); s.ok {
			v.count(s, rec.line, c)
		}
	}
}

// metaVote counts the votes of values with a known unit in the preamble.
func (r *reader) metaVote() (v vote) {
	for _, e := range r.table.meta {
		number, unit, ok := strings.Cut(strings.TrimSpace(e.Value), " ")
		if !ok || !knownUnit(strings.TrimSpace(unit)) {
			continue
		}
		if s := shapeOf([]byte(number), false); s.ok {
			v.count(s, e.Line, []byte(number))
		}
	}
	return v
}

// sweep shows every record below the header, chunk by chunk on all processors.
// Lines are counted from 0 in each chunk; it returns the line of each chunk.
func (r *reader) sweep(visit func(chunk int, rec record, cells [][]byte)) ([]int, error) {
	chunks := r.body.chunks
	lines := make([]int, len(chunks)+1)
	err := r.parallel("", len(chunks), func(w, k int) bool {
		b := r.enc.decode(r.raw[chunks[k].from:chunks[k].to], nil)
		var cells [][]byte
		for i := 0; i < len(b); {
			end, next, n := recordEnd(b, i, r.sep)
			cells = cut(cells[:0], b[i:end], r.sep)
			visit(k, record{b[i:end], lines[k+1]}, cells)
			lines[k+1] += n
			i = next
		}
		return true
	})
	lines[0] = r.table.firstLine
	for k := range chunks {
		lines[k+1] += lines[k]
	}
	return lines, err
}

// voteOfAll counts the votes of the whole file.
func (r *reader) voteOfAll() (all vote, err error) {
	if err := r.plan(); err != nil {
		return all, err
	}
	votes := make([]vote, len(r.body.chunks))
	lines, err := r.sweep(func(k int, rec record, cells [][]byte) { r.count(&votes[k], rec, cells) })
	for k := range votes {
		for i := range votes[k] {
			votes[k][i].line += lines[k]
			all[i].add(votes[k][i])
		}
	}
	return all, err
}

// mayDecide tells whether the file holds marks that the sample may lack.
func (r *reader) mayDecide() bool {
	marks := ".,"
	if r.sep == ',' {
		if bytes.IndexByte(r.raw, '"') < 0 {
			return false // a comma cannot be a decimal mark, then
		}
	}
	for _, m := range []byte(marks) {
		if bytes.IndexByte(r.raw, m) >= 0 {
			return true
		}
	}
	return false
}
