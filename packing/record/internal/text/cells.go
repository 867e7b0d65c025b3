package text

import (
	"bytes"
	"unicode/utf8"
)

const (
	maxLine    = 1 << 20 // bytes of a line of a table
	maxColumns = 1 << 14
	// A quoted cell may span lines; a quote that is not closed within these
	// limits is a quote in the text.
	quoteBytes = 1 << 16
	quoteLines = 100
)

// A record is one line, or several where a quoted cell spans them.
type record struct {
	text []byte
	line int // from 1
}

// noQuote is what closing returns for a quote that is not closed.
const noQuote = -1

// closing returns the index behind the quote that closes the one at i: one
// that is followed by the separator, blanks or the end of the line. open is
// true if b ends before that could be told.
func closing(b []byte, i int, sep byte) (end int, open bool) {
	lines := 0
	limit := min(len(b), i+quoteBytes)
	for j := i + 1; j < limit; {
		k := bytes.IndexByte(b[j:limit], '"')
		if k < 0 {
			break
		}
		if lines += countLines(b[j : j+k]); lines > quoteLines {
			return noQuote, false
		}
		j += k + 1
		if j < len(b) && b[j] == '"' {
			j++
			continue
		}
		if lines > 0 && opens(b, j-1, sep) && j < len(b) && b[j] != sep && b[j] != '\n' && b[j] != '\r' {
			return noQuote, false // another cell begins with a quote here
		}
		k = j
		for k < len(b) && b[k] == ' ' {
			k++
		}
		if k == len(b) || b[k] == '\n' || b[k] == '\r' || b[k] == sep {
			return j, k == len(b)
		}
	}
	return noQuote, limit == len(b)
}

// opens tells whether a quote stands at the beginning of a cell.
func opens(b []byte, quote int, sep byte) bool {
	for quote > 0 && b[quote-1] == ' ' {
		quote--
	}
	return quote == 0 || b[quote-1] == sep || b[quote-1] == '\n' || b[quote-1] == '\r'
}

// countLines counts line ends: LF, CR or both together.
func countLines(b []byte) int {
	n := bytes.Count(b, []byte{'\n'})
	for i := bytes.IndexByte(b, '\r'); i >= 0; {
		if i+1 == len(b) || b[i+1] != '\n' {
			n++
		}
		k := bytes.IndexByte(b[i+1:], '\r')
		if k < 0 {
			break
		}
		i += 1 + k
	}
	return n
}

// lineEnd returns the end of the line at i and the beginning of the next.
func lineEnd(b []byte, i int) (end, next int) {
	k := bytes.IndexByte(b[i:], '\n')
	line := b[i:]
	if k >= 0 {
		line = b[i : i+k]
	}
	if c := bytes.IndexByte(line, '\r'); c >= 0 {
		if i+c+1 < len(b) && b[i+c+1] == '\n' {
			return i + c, i + c + 2
		}
		return i + c, i + c + 1
	}
	if k < 0 {
		return len(b), len(b)
	}
	return i + k, i + k + 1
}

// recordEnd returns the end of the record at i, the beginning of the next, and
// the lines it takes.
func recordEnd(b []byte, i int, sep byte) (end, next, lines int) {
	end, next = lineEnd(b, i)
	lines = 1
	if bytes.IndexByte(b[i:end], '"') < 0 {
		return end, next, lines
	}
	for start := i; ; {
		// Cells that begin with a quote may reach beyond the line.
		j := start
		for j < len(b) && b[j] == ' ' {
			j++
		}
		if j < len(b) && j < end && b[j] == '"' {
			if k, _ := closing(b, j, sep); k != noQuote {
				if k > end {
					lines += countLines(b[end:k])
					end, next = lineEnd(b, k)
				}
				j = k
			}
		}
		k := -1
		if sep != 0 && j < end {
			k = bytes.IndexByte(b[j:end], sep)
		}
		if k < 0 {
			return end, next, lines
		}
		start = j + k + 1
	}
}

// records cuts a text; the first line of it has the number line. At most n are
// returned; 0 stands for all.
func records(b []byte, line, n int, sep byte) []record {
	var out []record
	for i := 0; i < len(b) && (n == 0 || len(out) < n); {
		end, next, lines := recordEnd(b, i, sep)
		out = append(out, record{b[i:end], line})
		line += lines
		i = next
	}
	return out
}

// cut appends the cells of a record without blanks and quotes around them. With
// a blank as separator, runs of blanks count as one and blanks at the ends do
// not count.
func cut(cells [][]byte, rec []byte, sep byte) [][]byte {
	if sep == 0 {
		return append(cells, clean(rec))
	}
	if sep == ' ' {
		rec = bytes.Trim(rec, " \t")
		if len(rec) == 0 {
			return cells
		}
	}
	for i := 0; ; {
		end := cellEnd(rec, i, sep)
		cells = append(cells, clean(rec[i:end]))
		if end >= len(rec) {
			return cells
		}
		i = end + 1
		if sep == ' ' {
			for i < len(rec) && rec[i] == ' ' {
				i++
			}
		}
	}
}

// cellEnd returns the end of the cell at i: a separator or the end of b, which
// is one record.
func cellEnd(b []byte, i int, sep byte) int {
	j := i
	for j < len(b) && b[j] == ' ' {
		j++
	}
	if j < len(b) && b[j] == '"' {
		if k, _ := closing(b, j, sep); k != noQuote {
			i = k
		}
	}
	if sep == 0 {
		return len(b)
	}
	if k := bytes.IndexByte(b[i:], sep); k >= 0 {
		return i + k
	}
	return len(b)
}

// clean takes blanks, zero bytes and quotes around a cell away.
func clean(c []byte) []byte {
	c = trim(c)
	if len(c) >= 2 && c[0] == '"' && c[len(c)-1] == '"' {
		c = c[1 : len(c)-1]
		if bytes.Contains(c, []byte(`""`)) {
			c = bytes.ReplaceAll(c, []byte(`""`), []byte(`"`))
		}
		c = trim(c)
	}
	return c
}

// trim takes blanks of every kind and zero bytes away on both sides.
func trim(c []byte) []byte {
	for len(c) > 0 {
		n := blankAt(c)
		if n == 0 {
			break
		}
		c = c[n:]
	}
	for len(c) > 0 {
		b := c[len(c)-1]
		if b == ' ' || b == '\t' || b == '\r' || b == '\n' || b == 0 || b == 0x1a || b == '\f' || b == '\v' {
			c = c[:len(c)-1]
			continue
		}
		if b < utf8.RuneSelf {
			break
		}
		if r, n := utf8.DecodeLastRune(c); isBlank(r) {
			c = c[:len(c)-n]
			continue
		}
		break
	}
	return c
}

// blankAt returns the bytes of the blank at the beginning of c; 0 if there is
// none.
func blankAt(c []byte) int {
	b := c[0]
	if b == ' ' || b == '\t' || b == '\r' || b == '\n' || b == 0 || b == 0x1a || b == '\f' || b == '\v' {
		return 1
	}
	if b < utf8.RuneSelf {
		return 0
	}
	if r, n := utf8.DecodeRune(c); isBlank(r) {
		return n
	}
	return 0
}

// isBlank tells the blanks beyond ASCII: no-break, thin and narrow no-break
// space, figure space, and a byte order mark within the text.
func isBlank(r rune) bool {
	return r == 0xa0 || r == 0x2009 || r == 0x202f || r == 0x2007 || r == 0xfeff
}

// trimEmpty takes empty cells off the end.
func trimEmpty(cells [][]byte) [][]byte {
	for len(cells) > 0 && len(cells[len(cells)-1]) == 0 {
		cells = cells[:len(cells)-1]
	}
	return cells
}

// blank tells whether a record holds nothing.
func blank(b []byte, sep byte) bool {
	for len(b) > 0 {
		if b[0] == sep && sep != 0 {
			b = b[1:]
			continue
		}
		n := blankAt(b)
		if n == 0 {
			return false
		}
		b = b[n:]
	}
	return true
}
