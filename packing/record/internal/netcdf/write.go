package netcdf

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// Write writes a dataset so that Read gives back an equal one.
func Write(w io.Writer, d Dataset) error {
	plan, err := arrange(&d)
	if err != nil {
		return err
	}
	out := &writer{w: bufio.NewWriterSize(w, 1<<16), wide: plan.version == 5, version: plan.version}
	out.header(&d, plan)
	for i := range d.Variables {
		if !plan.moves[i] {
			out.values(d.Variables[i].Data, 0, plan.count[i])
			out.pad(plan.size[i])
		}
	}
	for k := range d.Records {
		for i := range d.Variables {
			if plan.moves[i] {
				out.values(d.Variables[i].Data, k*plan.count[i], plan.count[i])
				if plan.padded {
					out.pad(plan.size[i])
				}
			}
		}
	}
	if out.err != nil {
		return out.err
	}
	return out.w.Flush()
}

// A layoutPlan tells where everything goes.
type layoutPlan struct {
	version int
	moves   []bool  // is a record variable
	kind    []Type  // of each variable
	count   []int   // values in a record, or in all
	size    []int64 // bytes of these, without padding
	begin   []int64
	padded  bool // records hold more than one variable
}

// arrange checks a dataset and gives everything its place.
func arrange(d *Dataset) (layoutPlan, error) {
	n := len(d.Variables)
	p := layoutPlan{version: 1, moves: make([]bool, n), kind: make([]Type, n), count: make([]int, n), size: make([]int64, n), begin: make([]int64, n)}
	refuse := func(place, problem string) (layoutPlan, error) {
		return p, source.Error{Place: place, Problem: problem, Remedy: "a netCDF file cannot hold this"}
	}
	if len(d.Dimensions) > maxDimensions || n > maxVariables {
		return refuse("", fmt.Sprintf("%d dimensions and %d variables, of which there may be %d and %d", len(d.Dimensions), n, maxDimensions, maxVariables))
	}
	unlimited := 0
	for _, dim := range d.Dimensions {
		want := dim.Length
		if dim.Unlimited {
			unlimited++
			want = d.Records
		}
		if dim.Name == "" || dim.Length < 0 || dim.Length != want || !dim.Unlimited && dim.Length == 0 || unlimited > 1 {
			return refuse(fmt.Sprintf("dimension %q", dim.Name), fmt.Sprintf("length %d; it needs a name and a length above 0, and only one may be unlimited, with a length of Records (%d)", dim.Length, d.Records))
		}
		if dim.Length > math.MaxInt32 {
			p.version = 5
		}
	}
	lists := [][]Attribute{d.Attributes}
	for _, v := range d.Variables {
		lists = append(lists, v.Attributes)
	}
	for _, list := range lists {
		for _, a := range list {
			kind, _, err := typeOf(a.Data)
			if err != nil || a.Name == "" || len(list) > maxAttributes {
				return refuse(fmt.Sprintf("attribute %q", a.Name), fmt.Sprintf("a name, a type of netCDF and at most %d of them are needed (%v)", maxAttributes, err))
			}
			if kind >= UByte {
				p.version = 5
			}
		}
	}
	records := 0
	for i, v := range d.Variables {
		kind, length, err := typeOf(v.Data)
		if err != nil || v.Name == "" {
			return refuse(fmt.Sprintf("variable %q", v.Name), fmt.Sprintf("a name and a type of netCDF are needed (%v)", err))
		}
		p.kind[i] = kind
		if kind >= UByte {
			p.version = 5
		}
		part := 1
		for k, index := range v.Dimensions {
			if index < 0 || index >= len(d.Dimensions) || k > 0 && d.Dimensions[index].Unlimited {
				return refuse(fmt.Sprintf("variable %q", v.Name), fmt.Sprintf("dimension %d does not exist, or is unlimited without being the first", index))
			}
			dim := d.Dimensions[index]
			if dim.Unlimited {
				p.moves[i] = true
				continue
			}
			if part > math.MaxInt32 {
				break // no slice is so long; the check below tells
			}
			part *= dim.Length
		}
		want := part
		if p.moves[i] {
			records++
			want *= d.Records
		}
		if want != length {
			return refuse(fmt.Sprintf("variable %q", v.Name), fmt.Sprintf("it has %d values, but its dimensions ask for %d", length, want))
		}
		p.count[i] = part
		p.size[i] = int64(p.count[i]) * kind.size()
		if p.size[i] > math.MaxUint32-3 {
			p.version = 5
		}
	}
	p.padded = records > 1
	if d.Records > math.MaxUint32-1 {
		p.version = 5
	}
	if p.version == 1 && d.Version != 0 || d.Version == 5 {
		p.version = d.Version
	}
	switch {
	case d.Version != 0 && d.Version != 1 && d.Version != 2 && d.Version != 5:
		return refuse("", fmt.Sprintf("there is no version %d", d.Version))
	case p.version == 5 && d.Version != 0 && d.Version != 5:
		return refuse("", fmt.Sprintf("its types or sizes need CDF-5, not CDF-%d", d.Version))
	}
	for {
		// The length of the header decides where the values begin.
		h := &writer{w: bufio.NewWriter(io.Discard), wide: p.version == 5, version: p.version}
		h.header(d, p)
		at := h.at
		for i := range d.Variables {
			if !p.moves[i] {
				p.begin[i] = at
				at += (p.size[i] + 3) / 4 * 4
			}
		}
		for i := range d.Variables {
			if p.moves[i] {
				p.begin[i] = at
				at += (p.size[i] + 3) / 4 * 4
			}
		}
		if p.version != 1 || at <= math.MaxInt32 {
			return p, nil
		}
		if d.Version == 1 {
			return refuse("", "it is larger than 2 GiB, which needs CDF-2")
		}
		p.version = 2
	}
}

// A writer counts what it writes and keeps the first error.
type writer struct {
	w       *bufio.Writer
	wide    bool
	version int
	at      int64
	err     error
	scratch [8]byte
}

func (w *writer) bytes(b []byte) {
	if w.err == nil {
		_, w.err = w.w.Write(b)
	}
	w.at += int64(len(b))
}

func (w *writer) uint16(x uint16) {
	binary.BigEndian.PutUint16(w.scratch[:], x)
	w.bytes(w.scratch[:2])
}

func (w *writer) uint32(x uint32) {
	binary.BigEndian.PutUint32(w.scratch[:], x)
	w.bytes(w.scratch[:4])
}

func (w *writer) uint64(x uint64) {
	binary.BigEndian.PutUint64(w.scratch[:], x)
	w.bytes(w.scratch[:8])
}

func (w *writer) count(n int64) {
	if w.wide {
		w.uint64(uint64(n))
	} else {
		w.uint32(uint32(n))
	}
}

// pad writes zeros behind n bytes to a multiple of four.
func (w *writer) pad(n int64) {
	w.bytes([]byte{0, 0, 0}[:(4-n%4)%4])
}

func (w *writer) name(s string) {
	w.count(int64(len(s)))
	w.bytes([]byte(s))
	w.pad(int64(len(s)))
}

// list begins a list of n entries.
func (w *writer) list(tag uint32, n int) {
	if n == 0 {
		tag = 0
	}
	w.uint32(tag)
	w.count(int64(n))
}

func (w *writer) header(d *Dataset, p layoutPlan) {
	w.bytes([]byte{'C', 'D', 'F', byte(w.version)})
	w.count(int64(d.Records))
	w.list(tagDimension, len(d.Dimensions))
	for _, dim := range d.Dimensions {
		w.name(dim.Name)
		if dim.Unlimited {
			w.count(0)
		} else {
			w.count(int64(dim.Length))
		}
	}
	w.attributes(d.Attributes)
	w.list(tagVariable, len(d.Variables))
	for i, v := range d.Variables {
		w.name(v.Name)
		w.count(int64(len(v.Dimensions)))
		for _, index := range v.Dimensions {
			w.count(int64(index))
		}
		w.attributes(v.Attributes)
		w.uint32(uint32(p.kind[i]))
		size := (p.size[i] + 3) / 4 * 4
		if !w.wide {
			size = min(size, math.MaxUint32)
		}
		w.count(size)
		if w.version == 1 {
			w.uint32(uint32(p.begin[i]))
		} else {
			w.uint64(uint64(p.begin[i]))
		}
	}
}

func (w *writer) attributes(list []Attribute) {
	w.list(tagAttribute, len(list))
	for _, a := range list {
		kind, n, _ := typeOf(a.Data)
		w.name(a.Name)
		w.uint32(uint32(kind))
		w.count(int64(n))
		w.values(a.Data, 0, n)
		w.pad(int64(n) * kind.size())
	}
}

// values writes n values from the one with the index.
func (w *writer) values(d Data, from, n int) {
	switch v := d.(type) {
	case string:
		w.bytes([]byte(v[from : from+n]))
	case []uint8:
		w.bytes(v[from : from+n])
	case []int8:
		for _, x := range v[from : from+n] {
			w.bytes([]byte{byte(x)})
		}
	case []int16:
		for _, x := range v[from : from+n] {
			w.uint16(uint16(x))
		}
	case []uint16:
		for _, x := range v[from : from+n] {
			w.uint16(x)
		}
	case []int32:
		for _, x := range v[from : from+n] {
			w.uint32(uint32(x))
		}
	case []uint32:
		for _, x := range v[from : from+n] {
			w.uint32(x)
		}
	case []float32:
		for _, x := range v[from : from+n] {
			w.uint32(math.Float32bits(x))
		}
	case []int64:
		for _, x := range v[from : from+n] {
			w.uint64(uint64(x))
		}
	case []uint64:
		for _, x := range v[from : from+n] {
			w.uint64(x)
		}
	case []float64:
		for _, x := range v[from : from+n] {
			w.uint64(math.Float64bits(x))
		}
	}
}
