package columnar

import (
	"bytes"
	"encoding/binary"
	"errors"
	"testing"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// The bytes are put together by hand after the description of the protocol.
func TestVerifyThrift(t *testing.T) {
	long := binary.AppendUvarint([]byte{0x19, 0xfc}, 1<<40) // a list of structs
	for _, tc := range []struct {
		what string
		b    []byte
		ok   bool
	}{
		{"an empty struct", []byte{0}, true},
		{"nothing", nil, false},
		{"truths, numbers, a text", []byte{0x11, 0x12, 0x15, 0x80, 0x01, 0x18, 2, 'a', 'b', 0}, true},
		{"a field by its number", []byte{0x05, 0x80, 0x02, 0x07, 0}, true},
		{"a double and an identifier", append(append([]byte{0x17}, make([]byte, 8)...), append([]byte{0x1d}, make([]byte, 17)...)...), true},
		{"a text that is too long", []byte{0x18, 9, 'a', 0}, false},
		{"two structs in a list", []byte{0x19, 0x2c, 0x15, 0x02, 0, 0, 0}, true},
		{"a list of truths", []byte{0x19, 0x21, 1, 2, 0}, true},
		{"a map", []byte{0x1b, 1, 0x88, 1, 'k', 1, 'v', 0}, true},
		{"an empty map", []byte{0x1b, 0, 0}, true},
		{"no end", []byte{0x15, 0x02}, false},
		{"a number without an end", []byte{0x15, 0x80}, false},
		{"a kind that is none", []byte{0x1e, 0}, false},
		{"a list longer than the rest", append(long, 0, 0, 0), false},
		{"structs in structs without end", bytes.Repeat([]byte{0x1c}, 1000), false},
	} {
		if err := verifyThrift(tc.b, &purse{1 << 20}); (err == nil) != tc.ok {
			t.Errorf("%s: %v", tc.what, err)
		}
	}
}

// A list that fits into the file, but not into memory, is refused.
func TestThriftPurse(t *testing.T) {
	const n = 100_000
	b := append(binary.AppendUvarint([]byte{0x19, 0xfc}, n), make([]byte, n+1)...)
	var err error
	func() {
		defer contain("Parquet", &err)
		err = verifyThrift(b, &purse{1 << 20})
	}()
	var e source.Error
	if !errors.As(err, &e) || e.Remedy == "" {
		t.Errorf("%v, want a refusal", err)
	}
}
