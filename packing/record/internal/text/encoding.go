package text

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

// An encoding is how a text is written in bytes.
type encoding int

const (
	utf8Text encoding = iota
	utf16LE
	utf16BE
	windows1252
)

func (e encoding) String() string {
	return [...]string{"utf-8", "utf-16le", "utf-16be", "windows-1252"}[e]
}

// wide tells whether a character takes at least two bytes.
func (e encoding) wide() bool { return e == utf16LE || e == utf16BE }

// unit returns the code unit at offset i.
func (e encoding) unit(b []byte, i int) uint16 {
	switch {
	case e == utf16LE:
		return uint16(b[i]) | uint16(b[i+1])<<8
	case e == utf16BE:
		return uint16(b[i+1]) | uint16(b[i])<<8
	}
	return uint16(b[i])
}

// size returns the bytes of a code unit.
func (e encoding) size() int {
	if e.wide() {
		return 2
	}
	return 1
}

// decode returns raw bytes as UTF-8, in buf if it has to be written anew.
func (e encoding) decode(raw, buf []byte) []byte {
	switch e {
	case utf16LE, utf16BE:
		return e.decodeWide(raw, buf[:0])
	case windows1252:
		if all, _ := ascii(raw); all {
			return raw
		}
		buf = buf[:0]
		for _, c := range raw {
			if c < utf8.RuneSelf {
				buf = append(buf, c)
			} else {
				buf = utf8.AppendRune(buf, charmap.Windows1252.DecodeByte(c))
			}
		}
		return buf
	}
	return raw
}

func (e encoding) decodeWide(raw, buf []byte) []byte {
	if n := len(raw)/2 + len(raw)/16 + 64; cap(buf) < n {
		buf = make([]byte, 0, n)
	}
	low, highByte, pack := 0, 1, packLittle
	if e == utf16BE {
		low, highByte, pack = 1, 0, packBig
	}
	i := 0
	for i+1 < len(raw) {
		// Runs of ASCII are the rule: sixteen characters at a time.
		buf = grow(buf)
		out := buf[len(buf):cap(buf)]
		n := pack(out, raw[i:])
		from := raw[i+2*n:]
		for n < len(out) && len(from) >= 2 && from[highByte] == 0 && from[low] < utf8.RuneSelf {
			out[n] = from[low]
			n++
			from = from[2:]
		}
		buf = buf[:len(buf)+n]
		i += 2 * n
		if n == len(out) || i+1 >= len(raw) {
			continue
		}
		u := rune(e.unit(raw, i))
		i += 2
		if utf16.IsSurrogate(u) && i+1 < len(raw) {
			if p := utf16.DecodeRune(u, rune(e.unit(raw, i))); p != utf8.RuneError {
				u, i = p, i+2
			}
		}
		buf = utf8.AppendRune(buf, u)
	}
	return buf
}

// beyondASCII are the bits that four code units of ASCII do not have.
const beyondASCII = 0xff80ff80ff80ff80

// packLittle writes the characters at the beginning of from, sixteen at a time
// as long as all are ASCII and there is room, and returns their number.
func packLittle(to, from []byte) (n int) {
	for len(from) >= 32 && len(to) >= 16 {
		f, t := (*[32]byte)(from), (*[16]byte)(to)
		a, b := binary.LittleEndian.Uint64(f[0:8]), binary.LittleEndian.Uint64(f[8:16])
		c, d := binary.LittleEndian.Uint64(f[16:24]), binary.LittleEndian.Uint64(f[24:32])
		if (a|b|c|d)&beyondASCII != 0 {
			break
		}
		binary.LittleEndian.PutUint64(t[0:8], packed(a)|packed(b)<<32)
		binary.LittleEndian.PutUint64(t[8:16], packed(c)|packed(d)<<32)
		from, to = from[32:], to[16:]
		n += 16
	}
	return n
}

// packBig does the same where the higher byte comes first.
func packBig(to, from []byte) (n int) {
	for len(from) >= 32 && len(to) >= 16 {
		f, t := (*[32]byte)(from), (*[16]byte)(to)
		a, b := binary.BigEndian.Uint64(f[0:8]), binary.BigEndian.Uint64(f[8:16])
		c, d := binary.BigEndian.Uint64(f[16:24]), binary.BigEndian.Uint64(f[24:32])
		if (a|b|c|d)&beyondASCII != 0 {
			break
		}
		binary.BigEndian.PutUint64(t[0:8], packed(a)<<32|packed(b))
		binary.BigEndian.PutUint64(t[8:16], packed(c)<<32|packed(d))
		from, to = from[32:], to[16:]
		n += 16
	}
	return n
}

// packed brings the lower bytes of four code units of ASCII together.
func packed(u uint64) uint64 {
	u = (u | u>>8) & 0x0000ffff0000ffff
	return (u | u>>16) & 0xffffffff
}

// grow makes room for at least some bytes.
func grow(b []byte) []byte {
	if cap(b)-len(b) >= 32 {
		return b
	}
	n := make([]byte, len(b), 2*cap(b)+64)
	copy(n, b)
	return n
}

// ascii tells whether all bytes are ASCII, and whether there may be zero bytes:
// if not, there are none.
func ascii(b []byte) (all, zeros bool) {
	const ones, high = 0x7f7f7f7f7f7f7f7f, 0x8080808080808080
	any, none := uint64(0), uint64(high)
	for len(b) >= 32 {
		part := (*[32]byte)(b)
		p, q := binary.LittleEndian.Uint64(part[0:8]), binary.LittleEndian.Uint64(part[8:16])
		r, s := binary.LittleEndian.Uint64(part[16:24]), binary.LittleEndian.Uint64(part[24:32])
		any |= p | q | r | s
		none &= (p + ones) & (q + ones) & (r + ones) & (s + ones) // of ASCII, zero alone has no high bit then
		b = b[32:]
	}
	zeros = none&high != high
	for _, c := range b {
		any |= uint64(c)
		zeros = zeros || c == 0
	}
	return any&high == 0, zeros
}

// foreign names what is no text by its first bytes.
var foreign = []struct{ magic, name, remedy string }{
	{"PK\x03\x04", "a zip archive or a workbook", "unpack it, or give the file its usual ending (.zip, .xlsx)"},
	{"\x1f\x8b", "a gzip archive", "unpack it, or give the file the ending .gz"},
	{"CDF\x01", "a netCDF file", "give the file the ending .cdf or .nc"},
	{"CDF\x02", "a netCDF file", "give the file the ending .cdf or .nc"},
	{"CDF\x05", "a netCDF file", "give the file the ending .cdf or .nc"},
	{"\x89HDF\r\n\x1a\n", "an HDF5 file", "save it as text or as netCDF classic"},
	{"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a binary workbook of an old kind", "save it as .xlsx or as text"},
	{"PAR1", "a Parquet file", "give the file the ending .parquet"},
	{"ARROW1", "an Arrow file", "give the file the ending .arrow"},
	{"%PDF-", "a PDF document", "export the numbers as text"},
	{"\x89PNG", "a picture", "export the numbers as text"},
}

// readEncoding finds the encoding and takes byte order marks, Ctrl-Z and zero
// bytes at the end away.
func (r *reader) readEncoding(data []byte) error {
	if len(data) == 0 {
		return Error{Problem: "the file is empty", Remedy: "export it again"}
	}
	for _, f := range foreign {
		if bytes.HasPrefix(data, []byte(f.magic)) {
			return Error{Problem: "not a text but " + f.name, Remedy: f.remedy}
		}
	}
	r.raw = data
	given := r.o.Encoding != ""
	mark := ""
	switch {
	case bytes.HasPrefix(data, []byte{0xff, 0xfe}):
		r.enc, r.raw, mark = utf16LE, data[2:], " with byte order mark"
	case bytes.HasPrefix(data, []byte{0xfe, 0xff}):
		r.enc, r.raw, mark = utf16BE, data[2:], " with byte order mark"
	case bytes.HasPrefix(data, []byte("\xef\xbb\xbf")):
		r.enc, r.raw, mark = utf8Text, data[3:], " with byte order mark"
	case !given:
		r.enc = nulPattern(data)
	}
	if given {
		for e := utf8Text; e <= windows1252; e++ {
			if e.String() == r.o.Encoding {
				if mark != "" && e != r.enc {
					return Error{Line: 1, Problem: fmt.Sprintf("the byte order mark says %s, the option %s", r.enc, e), Remedy: "leave the option out"}
				}
				r.enc = e
			}
		}
	}
	odd := false
	if r.enc.wide() && len(r.raw)%2 == 1 {
		r.raw, odd = r.raw[:len(r.raw)-1], true
	}
	tail := r.trimEnd()
	if len(r.raw) == 0 {
		return Error{Problem: "the file is empty", Remedy: "export it again"}
	}
	var s scan
	if !r.enc.wide() {
		var err error
		if s, err = r.scan(); err != nil {
			return err
		}
		r.nuls = s.nuls
		if s.control > 8+min(len(r.raw), scanBlock)/50 {
			return Error{Line: 1, Problem: "binary data, not a text", Remedy: "export the numbers as text with separators"}
		}
		switch {
		case given || mark != "":
			if r.enc == utf8Text && s.invalidAt >= 0 {
				return Error{Line: r.lineOf(s.invalidAt), Problem: "bytes that are not UTF-8", Remedy: `export it again, or say how it is written: record.Options{Encoding: "windows-1252"}`}
			}
		case s.invalidAt >= 0 && s.multiAt >= 0:
			return Error{Line: r.lineOf(s.invalidAt), Problem: fmt.Sprintf("bytes that are not UTF-8, while line %d has characters of UTF-8", r.lineOf(s.multiAt)),
				Remedy: `export it again in one encoding, or say which it is: record.Options{Encoding: "windows-1252"}`}
		case s.invalidAt >= 0:
			r.enc = windows1252
		}
	}
	r.used.Encoding = r.enc.String()
	switch {
	case given:
		r.fact("encoding", r.enc.String()+", as given")
	case mark != "":
		r.fact("encoding", r.enc.String()+mark)
	case r.enc == utf8Text && s.multiAt < 0:
		r.fact("encoding", "utf-8 (nothing but ASCII)")
	case r.enc == utf8Text:
		r.fact("encoding", "utf-8")
	case r.enc == windows1252:
		r.guess("encoding", "windows-1252, since it is not UTF-8", `record.Options{Encoding: "windows-1252"}`)
	default:
		r.guess("encoding", r.enc.String()+" without byte order mark, from the pattern of zero bytes", fmt.Sprintf("record.Options{Encoding: %q}", r.enc))
	}
	if odd {
		r.guess("end of file", "half a character was left out", "")
	}
	if tail.nuls > 0 {
		r.guess("zero bytes", fmt.Sprintf("%d at the end were left out", tail.nuls), "")
	}
	if tail.ctrlZ {
		r.fact("end of file", "marked with Ctrl-Z")
	}
	if r.nuls > 0 {
		r.guess("zero bytes", fmt.Sprintf("%d within the text were left out", r.nuls), "")
	}
	return nil
}

// nulPattern recognises UTF-16 by zero bytes on one side of most characters.
func nulPattern(data []byte) encoding {
	var even, odd int
	head := data[:min(len(data), 4096)&^1]
	for i := 0; i < len(head); i += 2 {
		if head[i] == 0 {
			even++
		}
		if head[i+1] == 0 {
			odd++
		}
	}
	pairs := len(head) / 2
	switch {
	case odd*10 >= pairs*6 && even*4 < odd:
		return utf16LE
	case even*10 >= pairs*6 && odd*4 < even:
		return utf16BE
	}
	return utf8Text
}

type tail struct {
	nuls  int
	ctrlZ bool
}

// trimEnd takes zero bytes and Ctrl-Z off the end.
func (r *reader) trimEnd() (t tail) {
	n := r.enc.size()
	for len(r.raw) >= n {
		switch r.enc.unit(r.raw, len(r.raw)-n) {
		case 0:
			t.nuls++
		case 0x1a:
			t.ctrlZ = true
		default:
			return t
		}
		r.raw = r.raw[:len(r.raw)-n]
	}
	return t
}

// scanBlock is how much is looked at in one go.
const scanBlock = 1 << 18

// A scan tells what the bytes of a one-byte text are.
type scan struct {
	nuls      int
	control   int // control characters in the first block that no text has
	invalidAt int // offset of the first block's bytes that are not UTF-8, or -1
	multiAt   int // offset of the first character beyond ASCII that is UTF-8, or -1
}

// scan looks at all bytes.
func (r *reader) scan() (scan, error) {
	n := (len(r.raw) + scanBlock - 1) / scanBlock
	blocks := make([]scan, n)
	edge := func(k int) int { // blocks end between characters
		i := min(k*scanBlock, len(r.raw))
		for j := 0; j < 3 && i < len(r.raw) && i > 0 && r.raw[i]&0xc0 == 0x80; j++ {
			i++
		}
		return i
	}
	err := r.parallel("", n, func(_, k int) bool {
		from := edge(k)
		b := r.raw[from:edge(k+1)]
		s := scan{invalidAt: -1, multiAt: -1}
		plain, zeros := ascii(b)
		if zeros || !plain {
			s.nuls = bytes.Count(b, []byte{0})
		}
		if k == 0 {
			for _, c := range b {
				if c < 0x20 && c != '\t' && c != '\n' && c != '\r' && c != '\f' && c != '\v' && c != 0x1a || c == 0x7f {
					s.control++
				}
			}
		}
		if !plain {
			if utf8.Valid(b) {
				s.multiAt = from + firstHigh(b)
			} else {
				s.invalidAt, s.multiAt = mixed(b, from)
			}
		}
		blocks[k] = s
		return true
	})
	all := scan{invalidAt: -1, multiAt: -1}
	for _, s := range blocks {
		all.nuls += s.nuls
		all.control += s.control
		if all.invalidAt < 0 {
			all.invalidAt = s.invalidAt
		}
		if all.multiAt < 0 {
			all.multiAt = s.multiAt
		}
	}
	return all, err
}

// mixed returns the offsets of the first bytes that are not UTF-8 and of the
// first character beyond ASCII that is.
func mixed(b []byte, from int) (invalid, multi int) {
	invalid, multi = -1, -1
	for i := 0; i < len(b) && (invalid < 0 || multi < 0); {
		if b[i] < utf8.RuneSelf {
			i++
			continue
		}
		c, n := utf8.DecodeRune(b[i:])
		if c == utf8.RuneError && n == 1 {
			if invalid < 0 {
				invalid = from + i
			}
		} else if multi < 0 {
			multi = from + i
		}
		i += n
	}
	return invalid, multi
}

func firstHigh(b []byte) int {
	for i, c := range b {
		if c >= utf8.RuneSelf {
			return i
		}
	}
	return -1
}

// lineOf returns the line of an offset, from 1.
func (r *reader) lineOf(offset int) int {
	line := 1
	n := r.enc.size()
	for i := 0; i+n <= offset; i += n {
		switch r.enc.unit(r.raw, i) {
		case '\n':
			line++
		case '\r':
			if i+2*n > len(r.raw) || r.enc.unit(r.raw, i+n) != '\n' {
				line++
			}
		}
	}
	return line
}
