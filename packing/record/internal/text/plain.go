package text

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/bits"
)

// A lane is a column of numbers in a table that holds nothing else.
type lane struct {
	values   []float64
	end      byte // what stands behind its cells: the separator, a line feed behind the last
	fraction int  // digits behind the decimal mark in the row above; at least one
}

// newLanes returns the columns of a table whose rows can be plain: numbers alone,
// no blanks between cells, and no comments that begin as a number may. It
// returns nil for others.
func (w *worker) newLanes() []lane {
	if w.sep == ' ' || len(w.comment) > 0 && bytes.IndexByte([]byte("0123456789+- "), w.comment[0]) >= 0 {
		return nil
	}
	lanes := make([]lane, len(w.cols))
	for j, c := range w.cols {
		if c.kind != numberKind && c.kind != unknownKind {
			return nil
		}
		lanes[j] = lane{values: c.values, end: w.sep, fraction: 1}
	}
	if len(lanes) > 0 {
		lanes[len(lanes)-1].end = '\n'
	}
	return lanes
}

// plainReach is how many bytes from the beginning of a cell are looked at: sign,
// seven digits, mark, seven digits, line end of two bytes, and what is loaded
// beside them.
const plainReach = 32

// digits looks at eight bytes of text, the first of them the lowest: how many
// are digits up to the first that is none, seven at most, and, if there is one,
// their value.
func digits(x uint64) (n int, value uint64) {
	x ^= 0x3030303030303030
	// A byte beyond 9 gets its high bit set; a carry touches those behind alone.
	end := bits.TrailingZeros64(((x+0x7676767676767676)|x)&0x8080808080808080 | 1<<63)
	// The digits move to the end, zeros before them. Then neighbours are put
	// together, to two, four and eight digits.
	x <<= (71 - end) & 63
	x = x * (10<<8 + 1) >> 8 & 0x00ff00ff00ff00ff
	x = x * (100<<16 + 1) >> 16 & 0x0000ffff0000ffff
	return end >> 3, x * (10000<<32 + 1) >> 32
}

// tens are powers of ten, as integers and as float64.
var (
	tens      = [8]uint64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7}
	floatTens = [8]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7}
)

// plainRows reads rows at i into the columns from row on, as long as they are
// plain. It returns the end of the last such row and their number. What it does
// not read is no fault: parse looks at it.
func (w *worker) plainRows(b []byte, i, row int) (next, rows int) {
	begin := row
	for {
		n := w.plainRow(b, i, row)
		if n < 0 {
			return i, row - begin
		}
		i = n
		row++
	}
}

// plainRow reads the row at i if each cell is a plain number, and there are as
// many cells as columns. It returns the beginning of the next row, or -1.
func (w *worker) plainRow(b []byte, i, row int) int {
	lanes, decimal := w.lanes, w.decimal
	for j := range lanes {
		l := &lanes[j]
	cell:
		if len(b)-i < plainReach {
			return -1
		}
		cell := (*[plainReach]byte)(b[i:])
		k, sign := 0, uint64(0)
		if c := cell[0]; c < '.' {
			switch c {
			case ' ':
				i++
				goto cell
			case '-':
				sign = 1 << 63
			case '+':
			default:
				return -1
			}
			k = 1
		}
		n, m := digits(binary.LittleEndian.Uint64(cell[k : k+8]))
		if n == 0 {
			return -1
		}
		k += n
		v := float64(int64(m))
		if cell[k] == decimal {
			k++
			n, f := digits(binary.LittleEndian.Uint64(cell[k : k+8]))
			// To go by the row above lets the processor run ahead.
			p := l.fraction
			if n != p {
				if n == 0 { // which is never that of the row above
					return -1
				}
				l.fraction = n
				p = n
			}
			p &= 7
			k += p
			// Below 10^14, so that the quotient is the nearest number.
			v = float64(int64(m*tens[p]+f)) / floatTens[p]
		}
		c := cell[k]
		i += k + 1
		if c != l.end {
			if c != '\r' || l.end != '\n' {
				return -1
			}
			if b[i] == '\n' {
				i++
			}
		}
		l.values[row] = math.Float64frombits(math.Float64bits(v) | sign)
	}
	return i
}
