package columnar

import (
	"encoding/binary"
	"errors"
	"reflect"

	"github.com/parquet-go/parquet-go/format"
)

// The Parquet library makes room for as many entries as a list of its metadata
// claims before it reads them, and memory that cannot be had ends the program.
// So the metadata are walked here first: every list must fit into the bytes
// behind it, and what its entries take in memory is paid for. The metadata are
// structs in the compact protocol of Apache Thrift, as "Thrift compact protocol
// encoding" of that project describes it.

// entrySize is what an entry of a list of structs takes at most.
var entrySize = int64(reflect.TypeFor[format.ColumnChunk]().Size() + reflect.TypeFor[format.RowGroup]().Size())

var errThrift = errors.New("its metadata reach beyond their end")

// A thriftWalker goes over metadata.
type thriftWalker struct {
	b     []byte
	purse *purse
	err   error
}

// verifyThrift checks the struct at the start of b.
func verifyThrift(b []byte, p *purse) error {
	w := &thriftWalker{b, p, nil}
	w.fields(0)
	return w.err
}

func (w *thriftWalker) skip(n uint64) {
	if w.err != nil || n > uint64(len(w.b)) {
		w.err, w.b = errThrift, nil
		return
	}
	w.b = w.b[n:]
}

func (w *thriftWalker) byte() byte {
	if len(w.b) == 0 {
		w.err = errThrift
		return 0
	}
	c := w.b[0]
	w.b = w.b[1:]
	return c
}

func (w *thriftWalker) number() uint64 {
	n, k := binary.Uvarint(w.b)
	if k <= 0 {
		w.err, w.b = errThrift, nil
		return 0
	}
	w.b = w.b[k:]
	return n
}

// fields goes over a struct.
func (w *thriftWalker) fields(depth int) {
	if depth > 32 {
		w.err = errThrift
	}
	for w.err == nil {
		head := w.byte()
		if head == 0 {
			return
		}
		if head>>4 == 0 {
			w.number() // which field it is
		}
		if kind := head & 15; kind > 2 { // a truth has no more than its kind
			w.value(kind, depth)
		}
	}
}

// value goes over a value of a kind.
func (w *thriftWalker) value(kind byte, depth int) {
	switch kind {
	case 1, 2, 3:
		w.byte()
	case 4, 5, 6:
		w.number()
	case 7:
		w.skip(8)
	case 8:
		w.skip(w.number())
	case 9, 10:
		head := w.byte()
		n := uint64(head >> 4)
		if n == 15 {
			n = w.number()
		}
		w.entries(n, depth, head&15)
	case 11:
		if n := w.number(); n > 0 {
			head := w.byte()
			w.entries(n, depth, head>>4, head&15)
		}
	case 12:
		w.fields(depth + 1)
	case 13:
		w.skip(16)
	default:
		w.err = errThrift
	}
}

// entries goes over those of a list, or of keys and values. None takes less
// than a byte.
func (w *thriftWalker) entries(n uint64, depth int, kinds ...byte) {
	if n > uint64(len(w.b)) {
		w.err = errThrift
		return
	}
	size := int64(24) // of a slice
	for _, k := range kinds {
		if k == 12 {
			size = entrySize
		}
	}
	w.purse.spend(int64(n) * size)
	for ; n > 0 && w.err == nil; n-- {
		for _, k := range kinds {
			w.value(k, depth+1)
		}
	}
}
