package columnar

import (
	"bytes"
	"fmt"
	"io"
	"math/big"
	"strconv"
	"strings"
	"time"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/ipc"
	"github.com/apache/arrow-go/v18/arrow/memory"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// An allocator pays for what it gives out.
type allocator struct {
	memory.Allocator
	*purse
}

func (a allocator) Allocate(n int) []byte {
	a.spend(int64(n))
	return a.Allocator.Allocate(n)
}

func (a allocator) Reallocate(n int, b []byte) []byte {
	a.spend(int64(max(n-len(b), 0)))
	return a.Allocator.Reallocate(n, b)
}

// Arrow reads the Arrow IPC file format or, if data do not begin as one, the
// stream format.
func Arrow(data []byte, meter *source.Meter) (f source.File, err error) {
	defer contain("Arrow", &err)
	mem := &purse{budget(len(data))}
	options := []ipc.Option{ipc.WithAllocator(allocator{memory.NewGoAllocator(), mem}), ipc.WithBodySizeLimit(int64(len(data)) + 1), ipc.WithMetadataSizeLimit(int64(len(data)) + 1)}
	f.Facts = []source.Fact{{What: "format", Value: "Arrow IPC stream"}}
	if bytes.HasPrefix(data, []byte("ARROW1\x00\x00")) {
		f.Facts[0].Value = "Arrow IPC file"
		if err := verifyFile(data); err != nil {
			return source.File{}, damaged("", err)
		}
		r, err := ipc.NewFileReader(bytes.NewReader(data), options...)
		if err != nil {
			return source.File{}, damaged("", err)
		}
		defer r.Close()
		if r.NumRecords() > len(data) {
			return source.File{}, damaged("", fmt.Errorf("it claims %d batches", r.NumRecords()))
		}
		b := newBatches(r.Schema(), mem, meter)
		for i := range r.NumRecords() {
			if err := meter.At(int(float64(len(data)) * float64(i) / float64(r.NumRecords()))); err != nil {
				return source.File{}, err
			}
			batch, err := r.RecordBatch(i)
			if err != nil {
				return source.File{}, damaged(fmt.Sprintf("batch %d", i+1), err)
			}
			if err := b.add(batch); err != nil {
				return source.File{}, damaged(fmt.Sprintf("batch %d", i+1), err)
			}
		}
		return b.file(f)
	}
	if err := verifyStream(data); err != nil {
		return source.File{}, damaged("", err)
	}
	stream := bytes.NewReader(data)
	r, err := ipc.NewReader(stream, options...)
	if err != nil {
		return source.File{}, damaged("", err)
	}
	defer r.Release()
	b := newBatches(r.Schema(), mem, meter)
	for r.Next() {
		if err := meter.At(len(data) - stream.Len()); err != nil {
			return source.File{}, err
		}
		if err := b.add(r.RecordBatch()); err != nil {
			return source.File{}, damaged(fmt.Sprintf("batch %d", b.count+1), err)
		}
	}
	if err := r.Err(); err != nil && err != io.EOF {
		return source.File{}, damaged(fmt.Sprintf("batch %d", b.count+1), err)
	}
	return b.file(f)
}

// batches collects columns over batches.
type batches struct {
	schema *arrow.Schema
	cols   []*column // nil for those left out
	count  int
	mem    *purse
	zones  []string
	meter  *source.Meter
}

func newBatches(s *arrow.Schema, mem *purse, meter *source.Meter) *batches {
	b := &batches{schema: s, mem: mem, meter: meter}
	for _, field := range s.Fields() {
		c := newColumn(field.Name, mem)
		t := field.Type
		if d, ok := t.(*arrow.DictionaryType); ok {
			t = d.ValueType
		}
		switch t := t.(type) {
		case *arrow.StringType, *arrow.LargeStringType, *arrow.StringViewType:
			c.kind = texts
		case *arrow.TimestampType:
			c.kind = moments
			if t.TimeZone != "" {
				b.zones = append(b.zones, fmt.Sprintf("%q is in %s", field.Name, t.TimeZone))
			}
		case *arrow.Date32Type, *arrow.Date64Type:
			c.kind = moments
		case *arrow.Time32Type, *arrow.Time64Type, *arrow.DurationType:
			c.Unit = "s"
		case *arrow.BooleanType, *arrow.NullType,
			*arrow.Int8Type, *arrow.Int16Type, *arrow.Int32Type, *arrow.Int64Type,
			*arrow.Uint8Type, *arrow.Uint16Type, *arrow.Uint32Type, *arrow.Uint64Type,
			*arrow.Float16Type, *arrow.Float32Type, *arrow.Float64Type,
			*arrow.Decimal32Type, *arrow.Decimal64Type, *arrow.Decimal128Type, *arrow.Decimal256Type:
		default:
			c = nil
		}
		if c != nil {
			c.note(field.Metadata)
		}
		b.cols = append(b.cols, c)
	}
	return b
}

func (b *batches) add(batch arrow.RecordBatch) error {
	defer batch.Release()
	b.count++
	for i, c := range b.cols {
		if c == nil {
			continue
		}
		if err := c.array(batch.Column(i), b.meter); err != nil {
			return fmt.Errorf("column %q: %w", c.Name, err)
		}
	}
	return nil
}

// array adds the values of an array.
func (c *column) array(a arrow.Array, meter *source.Meter) error {
	read, err := c.reader(a)
	if err != nil {
		return err
	}
	c.purse.spend(8 * int64(a.Len())) // what the values take here
	for i := range a.Len() {
		if i%(1<<16) == 0 {
			if err := meter.Stop(); err != nil {
				return err
			}
		}
		if a.IsNull(i) {
			c.nothing()
		} else if err := read(i); err != nil {
			return fmt.Errorf("row %d: %w", i+1, err)
		}
	}
	return nil
}

// reader returns a function that adds a value of an array.
func (c *column) reader(a arrow.Array) (func(i int) error, error) {
	number := func(get func(i int) float64) (func(i int) error, error) {
		return func(i int) error { c.number(get(i)); return nil }, nil
	}
	moment := func(get func(i int) time.Time) (func(i int) error, error) {
		return func(i int) error { c.moment(get(i)); return nil }, nil
	}
	text := func(get func(i int) string) (func(i int) error, error) {
		return func(i int) error { c.text(get(i)); return nil }, nil
	}
	switch a := a.(type) {
	case *array.Float64:
		return number(a.Value)
	case *array.Float32:
		return number(func(i int) float64 { return float64(a.Value(i)) })
	case *array.Float16:
		return number(func(i int) float64 { return float64(a.Value(i).Float32()) })
	case *array.Int8:
		return number(func(i int) float64 { return float64(a.Value(i)) })
	case *array.Int16:
		return number(func(i int) float64 { return float64(a.Value(i)) })
	case *array.Int32:
		return number(func(i int) float64 { return float64(a.Value(i)) })
	case *array.Int64:
		return func(i int) error { c.whole(a.Value(i)); return nil }, nil
	case *array.Uint8:
		return number(func(i int) float64 { return float64(a.Value(i)) })
	case *array.Uint16:
		return number(func(i int) float64 { return float64(a.Value(i)) })
	case *array.Uint32:
		return number(func(i int) float64 { return float64(a.Value(i)) })
	case *array.Uint64:
		return func(i int) error { c.unsigned(a.Value(i)); return nil }, nil
	case *array.Boolean:
		return number(func(i int) float64 {
			if a.Value(i) {
				return 1
			}
			return 0
		})
	case *array.Null:
		return func(int) error { c.nothing(); return nil }, nil
	case *array.Decimal32:
		return c.decimals(a.DataType(), func(i int) *big.Int { return big.NewInt(int64(a.Value(i))) }), nil
	case *array.Decimal64:
		return c.decimals(a.DataType(), func(i int) *big.Int { return big.NewInt(int64(a.Value(i))) }), nil
	case *array.Decimal128:
		return c.decimals(a.DataType(), func(i int) *big.Int { return a.Value(i).BigInt() }), nil
	case *array.Decimal256:
		return c.decimals(a.DataType(), func(i int) *big.Int { return a.Value(i).BigInt() }), nil
	case *array.Time32:
		unit := a.DataType().(*arrow.Time32Type).Unit.Multiplier()
		return number(func(i int) float64 { return seconds(int64(a.Value(i)), unit) })
	case *array.Time64:
		unit := a.DataType().(*arrow.Time64Type).Unit.Multiplier()
		return number(func(i int) float64 { return seconds(int64(a.Value(i)), unit) })
	case *array.Duration:
		unit := a.DataType().(*arrow.DurationType).Unit.Multiplier()
		return number(func(i int) float64 { return seconds(int64(a.Value(i)), unit) })
	case *array.Timestamp:
		unit := a.DataType().(*arrow.TimestampType).Unit.Multiplier()
		return moment(func(i int) time.Time { return at(int64(a.Value(i)), unit) })
	case *array.Date32:
		return moment(func(i int) time.Time { return time.Unix(int64(a.Value(i))*86400, 0).UTC() })
	case *array.Date64:
		return moment(func(i int) time.Time { return at(int64(a.Value(i)), time.Millisecond) })
	case *array.String:
		return text(a.Value)
	case *array.LargeString:
		return text(a.Value)
	case *array.StringView:
		return text(a.Value)
	case *array.Dictionary:
		values := a.Dictionary()
		read, err := c.reader(values)
		if err != nil {
			return nil, err
		}
		return func(i int) error {
			k := a.GetValueIndex(i)
			switch {
			case k < 0 || k >= values.Len():
				return fmt.Errorf("entry %d of a dictionary of %d", k, values.Len())
			case values.IsNull(k):
				c.nothing()
				return nil
			}
			return read(k)
		}, nil
	}
	return nil, fmt.Errorf("%v instead of what the schema says", a.DataType())
}

// decimals returns a function that adds a decimal number.
func (c *column) decimals(t arrow.DataType, get func(i int) *big.Int) func(i int) error {
	scale := t.(arrow.DecimalType).GetScale()
	return func(i int) error { return c.decimal(get(i), scale) }
}

func (b *batches) file(f source.File) (source.File, error) {
	var cols []*column
	var left []string
	for i, c := range b.cols {
		if c == nil {
			field := b.schema.Field(i)
			left = append(left, fmt.Sprintf("%q (%v)", field.Name, field.Type))
			continue
		}
		cols = append(cols, c)
	}
	f.Facts = append(f.Facts, source.Fact{What: "batches", Value: strconv.Itoa(b.count)})
	meta := b.schema.Metadata()
	return assemble(f, cols, left, b.zones, meta.Keys(), meta.Values())
}

// assemble makes the file of columns and notes.
func assemble(f source.File, cols []*column, left, zones, keys, values []string) (source.File, error) {
	if len(cols) == 0 {
		return source.File{}, source.Error{Problem: "it has no column of numbers, texts or times" + strings.TrimSuffix(": "+strings.Join(left, ", "), ": "), Remedy: "save the signals as plain columns"}
	}
	t := table(cols)
	for i, key := range keys {
		switch key {
		case "pandas", "ARROW:schema": // how programs pass on types
		default:
			t.Meta = append(t.Meta, source.Entry{Key: key, Value: values[i]})
		}
	}
	for _, c := range cols {
		if c.rounded > 0 {
			f.Facts = append(f.Facts, source.Fact{What: "rounded", Value: fmt.Sprintf("%d whole numbers of %q, too large for a float64", c.rounded, c.Name)})
		}
	}
	if len(left) > 0 {
		f.Facts = append(f.Facts, leftOut(left))
	}
	if len(zones) > 0 {
		f.Facts = append(f.Facts, source.Fact{What: "time zone", Value: strings.Join(zones, ", ") + "; given here in UTC"})
	}
	f.Tables = []source.Table{t}
	return f, nil
}
