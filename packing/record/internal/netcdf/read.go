package netcdf

import (
	"encoding/binary"
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// What one header may hold. The netCDF library's own header file has the same
// numbers for dimensions, attributes and variables.
const (
	maxDimensions = 1024
	maxAttributes = 8192
	maxVariables  = 8192
	maxHeader     = 8 << 20 // bytes
)

// Tags that begin a list in the header.
const (
	tagDimension = 0x0A
	tagVariable  = 0x0B
	tagAttribute = 0x0C
)

// Read reads a file. Every count is held against the bytes that are there
// before anything of its size is made. The meter is told of the bytes of values.
func Read(data []byte, meter *source.Meter) (*Dataset, error) {
	if len(data) < 4 || string(data[:3]) != "CDF" {
		if len(data) >= 8 && string(data[:8]) == "\x89HDF\r\n\x1a\n" {
			return nil, source.Error{Problem: "this is HDF5 (netCDF-4), which is not supported", Remedy: "save it in the netCDF classic format, for example with nccopy -k classic"}
		}
		return nil, source.Error{Problem: "not a netCDF classic file: it does not begin with CDF", Remedy: "check that the export was finished and is of this format"}
	}
	r := &reader{data: data, at: 4, meter: meter}
	d := &Dataset{Version: int(data[3])}
	switch d.Version {
	case 1, 2:
	case 5:
		r.wide = true
	default:
		return nil, source.Error{Place: "byte 3", Problem: fmt.Sprintf("netCDF version %d is not known", d.Version), Remedy: "save it as netCDF classic (CDF-1, CDF-2 or CDF-5)"}
	}
	r.header(d)
	if r.err != nil {
		return nil, r.err
	}
	if err := r.values(d); err != nil {
		return nil, err
	}
	return d, nil
}

// A reader goes through the header. After an error it returns zeros.
type reader struct {
	meter   *source.Meter
	data    []byte
	at      int
	wide    bool // counts of 64 bits
	err     error
	records uint64
	layout  []place // of each variable
}

// A place tells where a variable's values are.
type place struct {
	kind  Type
	begin uint64
	count uint64 // of values, of one record for a record variable
	moves bool   // is a record variable
}

func (r *reader) fail(problem string) {
	if r.err == nil {
		r.err = source.Error{Place: fmt.Sprintf("byte %d", r.at), Problem: problem,
			Remedy: "the file is damaged or cut short: export or copy it again"}
	}
}

// bytes returns the next n bytes.
func (r *reader) bytes(n uint64) []byte {
	if r.err != nil {
		return nil
	}
	if n > uint64(len(r.data)-r.at) {
		r.fail(fmt.Sprintf("%d bytes should follow, but only %d are left", n, len(r.data)-r.at))
		return nil
	}
	if r.at+int(n) > maxHeader {
		r.fail(fmt.Sprintf("the header is longer than %d MiB", maxHeader>>20))
		return nil
	}
	b := r.data[r.at : r.at+int(n)]
	r.at += int(n)
	return b
}

func (r *reader) uint32() uint32 {
	if b := r.bytes(4); b != nil {
		return binary.BigEndian.Uint32(b)
	}
	return 0
}

// count returns a count, of 32 or 64 bits.
func (r *reader) count() uint64 {
	if !r.wide {
		return uint64(r.uint32())
	}
	if b := r.bytes(8); b != nil {
		return binary.BigEndian.Uint64(b)
	}
	return 0
}

// padded returns the next n bytes and passes over the padding to a multiple of
// four.
func (r *reader) padded(n uint64) []byte {
	b := r.bytes(n)
	if rest := n % 4; r.err == nil && rest != 0 {
		// The last value of a header may lack its padding.
		r.at = min(r.at+int(4-rest), len(r.data))
	}
	return b
}

func (r *reader) name() string { return string(r.padded(r.count())) }

// list returns how many entries a list has.
func (r *reader) list(tag uint32, what string, most int) int {
	got, n := r.uint32(), r.count()
	switch {
	case r.err != nil || got == 0 && n == 0:
		return 0
	case got != tag:
		r.fail(fmt.Sprintf("a list of %s should begin here", what))
		return 0
	case n > uint64(most):
		r.fail(fmt.Sprintf("%d %s are more than %d, the most there may be", n, what, most))
		return 0
	}
	return int(n)
}

func (r *reader) header(d *Dataset) {
	r.records = r.count()
	for n := r.list(tagDimension, "dimensions", maxDimensions); n > 0 && r.err == nil; n-- {
		name, length := r.name(), r.count()
		if length > math.MaxInt64/16 {
			r.fail(fmt.Sprintf("dimension %q has %d entries", name, length))
		}
		d.Dimensions = append(d.Dimensions, Dimension{Name: name, Length: int(length), Unlimited: length == 0})
	}
	d.Attributes = r.attributes()
	for n := r.list(tagVariable, "variables", maxVariables); n > 0 && r.err == nil; n-- {
		r.variable(d)
	}
}

func (r *reader) attributes() []Attribute {
	var list []Attribute
	for n := r.list(tagAttribute, "attributes", maxAttributes); n > 0 && r.err == nil; n-- {
		name, kind := r.name(), Type(r.uint32())
		number, size := r.count(), uint64(kind.size())
		switch {
		case r.err != nil:
			return nil
		case size == 0:
			r.fail(fmt.Sprintf("attribute %q has type %d, which does not exist", name, kind))
			return nil
		case number > uint64(len(r.data))/size:
			r.fail(fmt.Sprintf("attribute %q has %d values, more than the file holds", name, number))
			return nil
		}
		b := r.padded(number * size)
		data, _ := decode(kind, b, nil)
		list = append(list, Attribute{name, data})
	}
	return list
}

func (r *reader) variable(d *Dataset) {
	v := Variable{Name: r.name()}
	rank := r.count()
	if rank > maxDimensions {
		r.fail(fmt.Sprintf("variable %q has %d dimensions", v.Name, rank))
		return
	}
	p := place{count: 1}
	for i := range rank {
		index := r.count()
		if r.err != nil {
			return
		}
		if index >= uint64(len(d.Dimensions)) {
			r.fail(fmt.Sprintf("variable %q has dimension %d of %d", v.Name, index, len(d.Dimensions)))
			return
		}
		v.Dimensions = append(v.Dimensions, int(index))
		dim := d.Dimensions[index]
		if i == 0 && dim.Unlimited {
			p.moves = true
			continue
		}
		if length := uint64(dim.Length); length != 0 && p.count > uint64(len(r.data))/length {
			r.fail(fmt.Sprintf("variable %q has more values than the file has bytes (%d)", v.Name, len(r.data)))
			return
		}
		p.count *= uint64(dim.Length)
	}
	v.Attributes = r.attributes()
	p.kind = Type(r.uint32())
	if r.err == nil && p.kind.size() == 0 {
		r.fail(fmt.Sprintf("variable %q has type %d, which does not exist", v.Name, p.kind))
	}
	r.count() // its size: follows from the dimensions, and is wrong for large ones
	if d.Version == 1 {
		p.begin = uint64(r.uint32())
	} else if b := r.bytes(8); b != nil {
		p.begin = binary.BigEndian.Uint64(b)
	}
	d.Variables = append(d.Variables, v)
	r.layout = append(r.layout, p)
}

// values reads what the variables hold.
func (r *reader) values(d *Dataset) error {
	size := uint64(len(r.data))
	damaged := func(name, problem string) error {
		return source.Error{Place: fmt.Sprintf("variable %q", name), Problem: problem,
			Remedy: "the file is damaged or cut short: export or copy it again"}
	}
	// A record holds one part of each record variable, padded to four bytes
	// unless there is only one.
	var stride uint64
	first, moving, last := size, 0, uint64(0)
	for _, p := range r.layout {
		if p.moves {
			last = p.count * uint64(p.kind.size())
			stride += (last + 3) / 4 * 4
			first = min(first, p.begin)
			moving++
		}
	}
	if moving == 1 {
		stride = last
	}
	streaming := r.records == math.MaxUint32 && !r.wide || r.records == math.MaxUint64
	if streaming {
		r.records = 0
		if stride > 0 {
			r.records = (size - first) / stride
		}
	}
	if stride == 0 {
		r.records = 0 // no values are in records, whatever the number says
	}
	if r.records > size/max(stride, 1)+1 {
		return source.Error{Place: "header", Problem: fmt.Sprintf("%d records of %d bytes do not fit into a file of %d bytes", r.records, stride, size),
			Remedy: "the file is damaged or cut short: export or copy it again"}
	}
	d.Records = int(r.records)
	for i := range d.Dimensions {
		if d.Dimensions[i].Unlimited {
			d.Dimensions[i].Length = d.Records
		}
	}
	var total uint64
	for i, p := range r.layout {
		if err := r.meter.At(int(total)); err != nil {
			return err
		}
		v := &d.Variables[i]
		part := p.count * uint64(p.kind.size())
		rows, step := uint64(1), part
		if p.moves {
			rows, step = r.records, stride
		}
		if rows == 0 || part == 0 {
			v.Data, _ = decode(p.kind, nil, nil)
			continue
		}
		end := (rows-1)*step + part
		if p.begin > size || end > size-p.begin {
			return damaged(v.Name, fmt.Sprintf("its values should end at byte %d, but the file has %d bytes", p.begin+end, size))
		}
		if total += rows * part; total > size {
			return damaged(v.Name, "the variables overlap: together they are larger than the file")
		}
		b := r.data[p.begin : p.begin+end]
		if rows > 1 && step != part {
			packed := make([]byte, 0, rows*part)
			for k := range rows {
				if k%(1<<16) == 0 {
					if err := r.meter.Stop(); err != nil {
						return err
					}
				}
				packed = append(packed, b[k*step:k*step+part]...)
			}
			b = packed
		}
		before := total - rows*part
		var err error
		if v.Data, err = decode(p.kind, b, func(at int) error { return r.meter.At(int(before) + at) }); err != nil {
			return err
		}
	}
	return nil
}

// decodedAtOnce is how many bytes are decoded between two looks at whether to
// stop.
const decodedAtOnce = 8 << 20

// decode makes values of big-endian bytes. For many of them step is asked now
// and then whether to go on; it is told how many bytes are done.
func decode(kind Type, b []byte, step func(done int) error) (Data, error) {
	n := len(b) / int(kind.size())
	out := room(kind, n)
	if out == nil {
		return string(b), nil
	}
	size := int(kind.size())
	for at := 0; at < n*size; at += decodedAtOnce {
		if step != nil {
			if err := step(at); err != nil {
				return nil, err
			}
		}
		decodeInto(out, at/size, b[at:min(at+decodedAtOnce, n*size)])
	}
	return out, nil
}

// room returns a slice for n values; nil for text.
func room(kind Type, n int) Data {
	switch kind {
	case Char:
		return nil
	case Byte:
		return make([]int8, n)
	case UByte:
		return make([]uint8, n)
	case Short:
		return make([]int16, n)
	case UShort:
		return make([]uint16, n)
	case Int:
		return make([]int32, n)
	case UInt:
		return make([]uint32, n)
	case Float:
		return make([]float32, n)
	case Int64:
		return make([]int64, n)
	case UInt64:
		return make([]uint64, n)
	}
	return make([]float64, n)
}

// decodeInto puts values of big-endian bytes into a slice, from an index on.
func decodeInto(out Data, from int, b []byte) {
	switch out := out.(type) {
	case []int8:
		for i, x := range b {
			out[from+i] = int8(x)
		}
	case []uint8:
		copy(out[from:], b)
	case []int16:
		for i := 0; i < len(b)/2; i++ {
			out[from+i] = int16(binary.BigEndian.Uint16(b[2*i:]))
		}
	case []uint16:
		for i := 0; i < len(b)/2; i++ {
			out[from+i] = binary.BigEndian.Uint16(b[2*i:])
		}
	case []int32:
		for i := 0; i < len(b)/4; i++ {
			out[from+i] = int32(binary.BigEndian.Uint32(b[4*i:]))
		}
	case []uint32:
		for i := 0; i < len(b)/4; i++ {
			out[from+i] = binary.BigEndian.Uint32(b[4*i:])
		}
	case []float32:
		for i := 0; i < len(b)/4; i++ {
			out[from+i] = math.Float32frombits(binary.BigEndian.Uint32(b[4*i:]))
		}
	case []int64:
		for i := 0; i < len(b)/8; i++ {
			out[from+i] = int64(binary.BigEndian.Uint64(b[8*i:]))
		}
	case []uint64:
		for i := 0; i < len(b)/8; i++ {
			out[from+i] = binary.BigEndian.Uint64(b[8*i:])
		}
	case []float64:
		for i := 0; i < len(b)/8; i++ {
			out[from+i] = math.Float64frombits(binary.BigEndian.Uint64(b[8*i:]))
		}
	}
}
