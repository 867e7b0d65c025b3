package text

import (
	"bytes"
	"math/rand/v2"
	"testing"
	"unicode/utf16"
)

// What is looked at 32 bytes at a time is seen like byte by byte.
func TestASCII(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	odd := []byte{0, 0x01, 0x7f, 0x80, 0x81, 0xff}
	for range 20_000 {
		b := make([]byte, r.IntN(100))
		for i := range b {
			b[i] = byte(' ' + r.IntN(95))
		}
		for range r.IntN(3) {
			if len(b) > 0 {
				b[r.IntN(len(b))] = odd[r.IntN(len(odd))]
			}
		}
		high := bytes.ContainsFunc(b, func(c rune) bool { return c >= 0x80 })
		all, zeros := ascii(b)
		if all == high {
			t.Fatalf("%q: ASCII is %v", b, all)
		}
		if all && zeros != (bytes.IndexByte(b, 0) >= 0) {
			t.Fatalf("%q: zero bytes are %v", b, zeros)
		}
	}
}

// UTF-16 becomes the UTF-8 of package unicode, whatever stands where.
func TestDecodeWide(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	odd := []rune{0x7f, 0x80, 0xff, 0x100, 0x0135, 0x7ff, 0x800, 0x3131, 0x8000, 0xfffd, 0x10000, 0x1f600, 0}
	for range 20_000 {
		text := make([]rune, r.IntN(120))
		for i := range text {
			text[i] = rune(' ' + r.IntN(95))
		}
		for range r.IntN(3) {
			if len(text) > 0 {
				text[r.IntN(len(text))] = odd[r.IntN(len(odd))]
			}
		}
		for _, e := range []encoding{utf16LE, utf16BE} {
			var raw []byte
			for _, u := range utf16.Encode(text) {
				if e == utf16LE {
					raw = append(raw, byte(u), byte(u>>8))
				} else {
					raw = append(raw, byte(u>>8), byte(u))
				}
			}
			if got := e.decode(raw, make([]byte, 0, r.IntN(40))); string(got) != string(text) {
				t.Fatalf("%v %q: %q", e, string(text), got)
			}
		}
	}
}
