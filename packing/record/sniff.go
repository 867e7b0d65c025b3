package record

import (
	"math"
	"strings"
	"unicode/utf8"
)

// A dialect is how a delimited file separates cells and writes decimals. Comma
// for both is possible where numbers stand in quotes.
type dialect struct {
	separator, decimal byte
}

// sniffLines is the number of lines that are looked at to find the dialect.
const sniffLines = 2000

// sniff returns the dialect in which most cells are numbers, and how many
// others do as well. Cells that are no numbers in a row of numbers count
// against it.
func sniff(lines []string, asked dialect) (best dialect, rivals int) {
	most := 0
	for _, sep := range []byte("\t;,") {
		for _, dec := range []byte(".,") {
			d := dialect{sep, dec}
			if asked.separator != 0 && asked.separator != sep || asked.decimal != 0 && asked.decimal != dec {
				continue
			}
			score := 0
			var cells []string
			for _, line := range lines[:min(len(lines), sniffLines)] {
				cells = d.cut(cells[:0], line)
				if numbers, others := d.count(cells); len(cells) > 1 && isNumber(cells[0], d.decimal) {
					score += numbers - 2*others
				}
			}
			switch {
			case score > most:
				best, most, rivals = d, score, 0
			case score == most && score > 0:
				rivals++
			}
		}
	}
	return best, rivals
}

// count returns how many of the cells are numbers and how many hold other text.
func (d dialect) count(cells []string) (numbers, others int) {
	for _, c := range cells {
		switch {
		case c == "":
		case isNumber(c, d.decimal):
			numbers++
		default:
			others++
		}
	}
	return
}

// cut appends the cells of a line to cells, without blanks around them and
// without quotes.
func (d dialect) cut(cells []string, line string) []string {
	for {
		var cell string
		line = strings.TrimLeft(line, " ")
		if strings.HasPrefix(line, `"`) {
			end := closingQuote(line)
			cell = strings.ReplaceAll(line[1:end], `""`, `"`)
			line = line[min(end+1, len(line)):]
			if i := strings.IndexByte(line, d.separator); i >= 0 {
				line = line[i:]
			} else {
				line = ""
			}
		} else {
			i := strings.IndexByte(line, d.separator)
			if i < 0 {
				i = len(line)
			}
			cell, line = line[:i], line[i:]
		}
		cells = append(cells, strings.TrimSpace(cell))
		if line == "" {
			return cells
		}
		line = line[1:]
	}
}

// closingQuote returns the index of the quote that ends the cell, or the end
// of the line.
func closingQuote(line string) int {
	for i := 1; i < len(line); i++ {
		if line[i] != '"' {
			continue
		}
		if i+1 < len(line) && line[i+1] == '"' {
			i++
			continue
		}
		return i
	}
	return len(line)
}

// place returns the character of the line, from 1, at which a cell begins.
func (d dialect) place(line string, cell int) int {
	at := 0
	for range cell {
		rest := strings.TrimLeft(line[at:], " ")
		at = len(line) - len(rest)
		if strings.HasPrefix(rest, `"`) {
			at += closingQuote(rest)
		}
		i := strings.IndexByte(line[min(at, len(line)):], d.separator)
		if i < 0 {
			return utf8.RuneCountInString(line) + 1
		}
		at += i + 1
	}
	at = len(line) - len(strings.TrimLeft(line[at:], " "))
	return utf8.RuneCountInString(line[:at]) + 1
}

// isData reports whether cells can be a row of numbers: it begins with one and
// most of it are numbers.
func (d dialect) isData(cells []string) bool {
	if len(cells) < 2 || !isNumber(cells[0], d.decimal) {
		return false
	}
	numbers, others := d.count(cells)
	return others < numbers
}

// isUnits reports whether cells can be a row of units.
func isUnits(cells []string) bool {
	known := 0
	for _, c := range cells {
		if c == "" {
			continue
		}
		if _, ok := unitOf(unbracket(c)); !ok {
			return false
		}
		known++
	}
	return known > 0
}

// unbracket takes one pair of brackets off a cell.
func unbracket(cell string) string {
	if len(cell) > 2 && (cell[0] == '(' && cell[len(cell)-1] == ')' || cell[0] == '[' && cell[len(cell)-1] == ']') {
		return strings.TrimSpace(cell[1 : len(cell)-1])
	}
	return cell
}

func isNumber(cell string, decimal byte) bool {
	_, ok := number(cell, decimal)
	return ok
}

// number reads a decimal number: sign, digits with one decimal mark, exponent.
func number(s string, decimal byte) (float64, bool) {
	i, negative := 0, false
	if i < len(s) && (s[i] == '-' || s[i] == '+') {
		negative = s[i] == '-'
		i++
	}
	var mantissa uint64
	digits, fraction, point := 0, 0, false
	for ; i < len(s); i++ {
		c := s[i]
		if c == decimal && !point {
			point = true
			continue
		}
		if c < '0' || c > '9' {
			break
		}
		digits++
		if point {
			fraction++
		}
		if mantissa >= 1e14 || fraction >= len(powers) {
			return slowNumber(s, decimal)
		}
		mantissa = mantissa*10 + uint64(c-'0')
	}
	if digits == 0 {
		return 0, false
	}
	if i < len(s) {
		if s[i] != 'e' && s[i] != 'E' {
			return 0, false
		}
		return slowNumber(s, decimal)
	}
	// Both numbers are exact (below 2^53 and 10^23), so the quotient is the
	// nearest number.
	v := float64(mantissa)
	if fraction > 0 {
		v /= powers[fraction]
	}
	if negative {
		v = -v
	}
	return v, !math.IsInf(v, 0)
}

var powers = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}
