package columnar

import (
	"encoding/binary"
	"fmt"
)

// The Arrow library makes room for what a message's metadata claim before it
// looks whether that is there, and memory that cannot be had ends the program.
// So the metadata are walked here first: every table, vector and text must lie
// within the bytes. The metadata are FlatBuffers; the slots below are those of
// the files Message.fbs, Schema.fbs and File.fbs of the Arrow project.

// A verifier walks the tables of one piece of metadata.
type verifier struct {
	b    []byte
	left int // tables that may still be visited: a table can be referred to twice
	err  error
}

func newVerifier(b []byte) *verifier { return &verifier{b: b, left: len(b)/4 + 16} }

func (v *verifier) fail(what string) {
	if v.err == nil {
		v.err = fmt.Errorf("its metadata reach beyond their end (%s)", what)
	}
}

// uint32 returns the number at a place.
func (v *verifier) uint32(at int) int {
	if v.err != nil || at < 0 || at > len(v.b)-4 {
		v.fail("a number")
		return 0
	}
	return int(binary.LittleEndian.Uint32(v.b[at:]))
}

// follow returns where the offset at a place leads.
func (v *verifier) follow(at int) int { return at + v.uint32(at) }

// table checks a table's head and returns its place; 0 after an error.
func (v *verifier) table(at int) int {
	if v.left--; v.left < 0 {
		v.fail("too many tables")
	}
	vt := at - int(int32(v.uint32(at)))
	if v.err != nil || vt < 0 || vt > len(v.b)-4 {
		v.fail("a table")
		return 0
	}
	size, object := int(binary.LittleEndian.Uint16(v.b[vt:])), int(binary.LittleEndian.Uint16(v.b[vt+2:]))
	if size < 4 || size > len(v.b)-vt || object > len(v.b)-at {
		v.fail("a table")
		return 0
	}
	return at
}

// slot returns the place of a field of a table, 0 if the field is not there.
func (v *verifier) slot(table, slot, size int) int {
	if v.err != nil {
		return 0
	}
	vt := table - int(int32(v.uint32(table)))
	if slot+2 > int(binary.LittleEndian.Uint16(v.b[vt:])) {
		return 0
	}
	offset := int(binary.LittleEndian.Uint16(v.b[vt+slot:]))
	if offset == 0 {
		return 0
	}
	if table+offset > len(v.b)-size {
		v.fail("a field")
		return 0
	}
	return table + offset
}

// child returns the table that a field refers to, 0 if there is none.
func (v *verifier) child(table, slot int) int {
	if at := v.slot(table, slot, 4); at != 0 {
		return v.table(v.follow(at))
	}
	return 0
}

// vector returns the first element and the length of a vector of elements of a
// size.
func (v *verifier) vector(table, slot, size int) (at, n int) {
	at = v.slot(table, slot, 4)
	if at == 0 {
		return 0, 0
	}
	at = v.follow(at)
	if n = v.uint32(at); v.err != nil || n > (len(v.b)-at-4)/size {
		v.fail("a list")
		return 0, 0
	}
	return at + 4, n
}

// pairs checks a table's notes.
func (v *verifier) pairs(table, slot int) {
	at, n := v.vector(table, slot, 4)
	for i := 0; i < n && v.err == nil; i++ {
		pair := v.table(v.follow(at + 4*i))
		v.vector(pair, 4, 1)
		v.vector(pair, 6, 1)
	}
}

func (v *verifier) schema(table int) {
	at, n := v.vector(table, 6, 4)
	for i := 0; i < n && v.err == nil; i++ {
		v.field(v.table(v.follow(at+4*i)), 0)
	}
	v.pairs(table, 8)
	v.vector(table, 10, 8)
}

func (v *verifier) field(table, depth int) {
	if depth > 32 {
		v.fail("fields in fields")
		return
	}
	v.vector(table, 4, 1)
	if t := v.child(table, 10); t != 0 {
		kind := v.slot(table, 8, 1)
		if kind != 0 && v.b[kind] == 10 { // a timestamp has the name of its zone
			v.vector(t, 6, 1)
		}
		if kind != 0 && v.b[kind] == 14 { // a union has a list
			v.vector(t, 6, 4)
		}
	}
	if d := v.child(table, 12); d != 0 {
		v.child(d, 6)
	}
	at, n := v.vector(table, 14, 4)
	for i := 0; i < n && v.err == nil; i++ {
		v.field(v.table(v.follow(at+4*i)), depth+1)
	}
	v.pairs(table, 16)
}

func (v *verifier) batch(table int) {
	v.slot(table, 4, 8)
	v.vector(table, 6, 16)
	v.vector(table, 8, 16)
	v.child(table, 10)
	v.vector(table, 12, 8)
}

// message checks a message and returns the length of its body.
func (v *verifier) message() (body int64) {
	m := v.table(v.follow(0))
	kind, header := v.slot(m, 6, 1), v.child(m, 8)
	if v.err == nil && (kind == 0 || header == 0) {
		v.err = fmt.Errorf("a message is empty")
	}
	if at := v.slot(m, 10, 8); at != 0 && v.err == nil {
		body = int64(binary.LittleEndian.Uint64(v.b[at:]))
	}
	v.pairs(m, 12)
	if v.err != nil {
		return 0
	}
	switch v.b[kind] {
	case 1:
		v.schema(header)
	case 2:
		if d := v.child(header, 6); d != 0 {
			v.batch(d)
		}
	case 3:
		v.batch(header)
	default:
		v.err = fmt.Errorf("a message holds neither a schema nor rows")
	}
	return body
}

// verifyMessage checks the message at the start of data and returns how many
// bytes it takes with its body; 0 for the mark of the end.
func verifyMessage(data []byte) (int, error) {
	short := fmt.Errorf("%d bytes are too few for a message", len(data))
	if len(data) < 4 {
		return 0, short
	}
	n, head := binary.LittleEndian.Uint32(data), 4
	if n == 0xffffffff { // old streams lack this
		if len(data) < 8 {
			return 0, short
		}
		n, head = binary.LittleEndian.Uint32(data[4:]), 8
	}
	if n == 0 {
		return 0, nil
	}
	if int64(n) > int64(len(data)-head) {
		return 0, fmt.Errorf("a message says it has %d bytes, but %d are left", n, len(data)-head)
	}
	v := newVerifier(data[head : head+int(n)])
	body := v.message()
	if v.err != nil {
		return 0, v.err
	}
	if rest := int64(len(data) - head - int(n)); body < 0 || body > rest {
		return 0, fmt.Errorf("a message says it has a body of %d bytes, but %d are left", body, rest)
	}
	return head + int(n) + int(body), nil
}

// verifyStream checks all messages of a stream. One that ends without the mark
// of the end is whole if it ends between two messages.
func verifyStream(data []byte) error {
	for at := 0; at < len(data); {
		n, err := verifyMessage(data[at:])
		if err != nil {
			return err
		}
		if n == 0 {
			return nil
		}
		at += n
	}
	return nil
}

// verifyFile checks the footer of a file and the messages it points to.
func verifyFile(data []byte) error {
	if len(data) < 8+4+6 || string(data[len(data)-6:]) != "ARROW1" {
		return fmt.Errorf("it does not end with ARROW1")
	}
	end := len(data) - 10
	size := binary.LittleEndian.Uint32(data[end:])
	if int64(size) > int64(end-8) {
		return fmt.Errorf("its footer says it has %d bytes", size)
	}
	v := newVerifier(data[end-int(size) : end])
	footer := v.table(v.follow(0))
	if s := v.child(footer, 6); s != 0 {
		v.schema(s)
	} else if v.err == nil {
		return fmt.Errorf("its footer has no schema")
	}
	v.pairs(footer, 12)
	for _, slot := range []int{8, 10} {
		at, n := v.vector(footer, slot, 24)
		for i := 0; i < n && v.err == nil; i++ {
			block := v.b[at+24*i:]
			offset, meta, body := int64(binary.LittleEndian.Uint64(block)), int64(int32(binary.LittleEndian.Uint32(block[8:]))), int64(binary.LittleEndian.Uint64(block[16:]))
			size := int64(len(data))
			if offset < 8 || offset > size || meta < 8 || meta > size-offset || body < 0 || body > size-offset-meta {
				return fmt.Errorf("batch %d lies outside of it", i+1)
			}
			whole, err := verifyMessage(data[offset : offset+meta+body])
			if err != nil {
				return fmt.Errorf("batch %d: %w", i+1, err)
			}
			if int64(whole) > meta+body || whole == 0 {
				return fmt.Errorf("batch %d is larger than its place", i+1)
			}
		}
	}
	return v.err
}
