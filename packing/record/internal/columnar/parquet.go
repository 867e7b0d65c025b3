package columnar

import (
	"bytes"
	"compress/gzip"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"io"
	"math/big"
	"strconv"
	"strings"
	"time"

	"github.com/andybalholm/brotli"
	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/ipc"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// keySchema is where Arrow's own libraries keep the notes of columns.
const keySchema = "ARROW:schema"

// Parquet reads an Apache Parquet file. The meter is told of the packed bytes.
func Parquet(data []byte, meter *source.Meter) (f source.File, err error) {
	defer contain("Parquet", &err)
	// The footer's length stands before the last four bytes.
	if len(data) < 12 || string(data[:4]) != "PAR1" || string(data[len(data)-4:]) != "PAR1" {
		return f, source.Error{Problem: "not a whole Parquet file: it does not begin and end with PAR1", Remedy: "check that the export was finished, and copy the file again"}
	}
	n := binary.LittleEndian.Uint32(data[len(data)-8:])
	if int64(n) > int64(len(data)-12) {
		return f, source.Error{Place: "footer", Problem: fmt.Sprintf("%d bytes do not fit into a file of %d", n, len(data)), Remedy: "the file is damaged or cut short: export or copy it again"}
	}
	footer := data[len(data)-8-int(n) : len(data)-8]
	if err := verifyThrift(footer, &purse{budget(len(data))}); err != nil {
		return f, damaged("footer", err)
	}
	p := &purse{budget(len(data))}
	if data, err = withoutLZ4(data, footer, p, meter); err != nil {
		return f, err
	}
	file, err := parquet.OpenFile(bytes.NewReader(data), int64(len(data)), parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true))
	if err != nil {
		return f, damaged("footer", err)
	}
	notes := fieldNotes(file, p)
	var cols []*column
	var left, zones []string
	var read []reading
	for _, leaf := range leaves(file.Root(), nil) {
		name := strings.Join(leaf.Path(), ".")
		c := newColumn(name, p)
		add, zone := c.adder(leaf)
		if add == nil {
			left = append(left, fmt.Sprintf("%q", name))
			continue
		}
		if zone {
			zones = append(zones, fmt.Sprintf("%q is in UTC", name))
		}
		if m, ok := notes[name]; ok {
			c.note(m)
		}
		cols = append(cols, c)
		read = append(read, reading{leaf, c, add})
	}
	done := 0 // packed bytes
	for i, group := range file.RowGroups() {
		chunks := group.ColumnChunks()
		for _, r := range read {
			k := r.leaf.Index()
			if k < 0 || k >= len(chunks) || k >= len(file.Metadata().RowGroups[i].Columns) {
				return f, damaged(fmt.Sprintf("column %q", r.column.Name), fmt.Errorf("row group %d lacks it", i+1))
			}
			place := fmt.Sprintf("column %q, row group %d", r.column.Name, i+1)
			meta := &file.Metadata().RowGroups[i].Columns[k].MetaData
			if err := inspect(data, meta, group.NumRows(), p, meter); err != nil {
				return f, damaged(place, err)
			}
			before := r.column.rows()
			if err := r.chunk(chunks[k], func() error {
				part := float64(r.column.rows()-before) / float64(max(group.NumRows(), 1))
				return meter.At(done + int(part*float64(meta.TotalCompressedSize)))
			}); err != nil {
				return f, damaged(place, err)
			}
			done += int(meta.TotalCompressedSize)
			if got := r.column.rows(); int64(got) > file.NumRows() {
				return f, damaged(place, fmt.Errorf("%d rows, but the file says %d", got, file.NumRows()))
			}
		}
	}
	for _, c := range cols {
		if n := c.rows(); int64(n) != file.NumRows() {
			return f, damaged(fmt.Sprintf("column %q", c.Name), fmt.Errorf("%d rows, but the file says %d", n, file.NumRows()))
		}
	}
	f.Facts = []source.Fact{{What: "format", Value: "Parquet"}, {What: "row groups", Value: strconv.Itoa(len(file.RowGroups()))}}
	var keys, values []string
	for _, kv := range file.Metadata().KeyValueMetadata {
		keys, values = append(keys, kv.Key), append(values, kv.Value)
	}
	return assemble(f, cols, left, zones, keys, values)
}

// A reading is a column of the file with where its values go.
type reading struct {
	leaf   *parquet.Column
	column *column
	add    func(parquet.Value) error
}

func (c *column) rows() int { return len(c.Values) + len(c.Texts) + len(c.Times) }

// leaves returns the columns that hold values, in order.
func leaves(c *parquet.Column, list []*parquet.Column) []*parquet.Column {
	if c.Leaf() {
		return append(list, c)
	}
	for _, child := range c.Columns() {
		list = leaves(child, list)
	}
	return list
}

// fieldNotes returns the notes of columns, by name. The format has no place for
// them, so that Arrow's libraries put their schema into the file's notes.
func fieldNotes(file *parquet.File, p *purse) map[string]arrow.Metadata {
	notes := map[string]arrow.Metadata{}
	text, ok := file.Lookup(keySchema)
	if !ok {
		return notes
	}
	raw, err := base64.StdEncoding.DecodeString(text)
	if err != nil || verifyStream(raw) != nil {
		return notes
	}
	r, err := ipc.NewReader(bytes.NewReader(raw), ipc.WithAllocator(allocator{memory.NewGoAllocator(), p}),
		ipc.WithBodySizeLimit(int64(len(raw))+1), ipc.WithMetadataSizeLimit(int64(len(raw))+1))
	if err != nil {
		return notes
	}
	defer r.Release()
	for _, field := range r.Schema().Fields() {
		notes[field.Name] = field.Metadata
	}
	return notes
}

// inspect walks the pages of a column before the library does: what they claim
// must fit the file and the purse.
func inspect(data []byte, m *format.ColumnMetaData, rows int64, p *purse, meter *source.Meter) error {
	return pages(data, m, rows, p, meter, func(h *format.PageHeader, levels, body []byte, packed bool) error {
		if !packed {
			return nil
		}
		return unpacked(m.Codec, body, int64(h.UncompressedPageSize)-int64(len(levels)))
	})
}

// pages shows the pages of a column: the levels that stand apart, what follows,
// and whether that is packed.
func pages(data []byte, m *format.ColumnMetaData, rows int64, p *purse, meter *source.Meter,
	visit func(h *format.PageHeader, levels, body []byte, packed bool) error) error {
	start := m.DataPageOffset
	if m.DictionaryPageOffset != 0 {
		start = m.DictionaryPageOffset
	}
	size := int64(len(data))
	if start < 4 || start > size || m.TotalCompressedSize < 0 || m.TotalCompressedSize > size-start {
		return fmt.Errorf("%d bytes at %d do not fit into a file of %d", m.TotalCompressedSize, start, size)
	}
	if m.DataPageOffset < start || m.DataPageOffset > start+m.TotalCompressedSize {
		return fmt.Errorf("its values begin at %d, outside of it", m.DataPageOffset)
	}
	if m.NumValues != rows || rows < 0 {
		return fmt.Errorf("%d values in %d rows", m.NumValues, rows)
	}
	p.spend(min(rows, 1<<40) * 8)
	rest := data[start : start+m.TotalCompressedSize]
	var values int64
	for len(rest) > 0 && values < rows {
		if err := meter.Stop(); err != nil {
			return err
		}
		if err := verifyThrift(rest, p); err != nil {
			return fmt.Errorf("a page begins badly: %w", err)
		}
		var h format.PageHeader
		r := new(thrift.CompactProtocol).NewReaderFromBytes(rest)
		if err := thrift.NewDecoder(r).Decode(&h); err != nil {
			return fmt.Errorf("a page begins badly: %w", err)
		}
		body := rest[r.BytesRead():]
		if h.CompressedPageSize < 0 || int(h.CompressedPageSize) > len(body) || h.UncompressedPageSize < 0 {
			return fmt.Errorf("a page of %d bytes does not fit into the %d that are left", h.CompressedPageSize, len(body))
		}
		body, rest = body[:h.CompressedPageSize], body[h.CompressedPageSize:]
		var n int32
		var apart []byte
		packed := true
		switch {
		case h.DataPageHeader.Valid:
			n = h.DataPageHeader.V.NumValues
		case h.DataPageHeaderV2.Valid:
			v := h.DataPageHeaderV2.V
			n = v.NumValues
			levels := int64(v.DefinitionLevelsByteLength) + int64(v.RepetitionLevelsByteLength)
			if v.DefinitionLevelsByteLength < 0 || v.RepetitionLevelsByteLength < 0 || levels > int64(len(body)) || levels > int64(h.UncompressedPageSize) {
				return fmt.Errorf("levels of %d bytes do not fit into a page of %d", levels, len(body))
			}
			apart, body = body[:levels], body[levels:]
			packed = !v.IsCompressed.Valid || v.IsCompressed.V
		case h.DictionaryPageHeader.Valid:
			if d := h.DictionaryPageHeader.V.NumValues; d < 0 || int64(d) > 8*int64(h.UncompressedPageSize)+8 {
				return fmt.Errorf("a dictionary of %d values in %d bytes", d, h.UncompressedPageSize)
			}
		}
		if n < 0 || int64(n) > rows-values {
			return fmt.Errorf("a page of %d values, where %d are left", n, rows-values)
		}
		values += int64(n)
		p.spend(int64(h.UncompressedPageSize))
		if err := visit(&h, apart, body, packed); err != nil {
			return err
		}
	}
	if values != rows {
		return fmt.Errorf("%d values in its pages, but %d rows", values, rows)
	}
	return nil
}

// unpacked checks that packed bytes unpack to as many as the page says. The
// library makes room for whatever comes. LZ4 has been unpacked before, if it is
// that of a single block; the older one is arranged in more than one way.
func unpacked(codec format.CompressionCodec, packed []byte, want int64) error {
	if len(packed) == 0 {
		return nil
	}
	var stream io.Reader
	switch codec {
	case format.Uncompressed:
		if int64(len(packed)) != want {
			return fmt.Errorf("a page of %d bytes says it has %d", len(packed), want)
		}
		return nil
	case format.Snappy: // begins with its length
		if n, k := binary.Uvarint(packed); k <= 0 || n != uint64(want) {
			return fmt.Errorf("a page unpacks to %d bytes, but says %d", n, want)
		}
		return nil
	case format.Gzip:
		r, err := gzip.NewReader(bytes.NewReader(packed))
		if err != nil {
			return err
		}
		stream = r
	case format.Brotli:
		stream = brotli.NewReader(bytes.NewReader(packed))
	case format.Zstd:
		r, err := zstd.NewReader(bytes.NewReader(packed), zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true), zstd.WithDecoderMaxWindow(32<<20))
		if err != nil {
			return err
		}
		defer r.Close()
		stream = r
	case format.Lz4:
		return source.Error{Problem: "its values are packed by the old LZ4 of Parquet, which writers arrange in different ways and which is not supported", Remedy: "save it again with LZ4_RAW, Snappy or Zstandard"}
	default:
		return source.Error{Problem: fmt.Sprintf("its values are packed by %v, which is not supported", codec), Remedy: "save it with Snappy or Zstandard"}
	}
	n, err := io.Copy(io.Discard, io.LimitReader(stream, want+1))
	if err != nil {
		return err
	}
	if n != want {
		return fmt.Errorf("a page unpacks to more or less than the %d bytes that it says", want)
	}
	return nil
}

// chunk reads the values of a column in a row group. The work goes on while step,
// which is asked again and again, has no error.
func (r reading) chunk(chunk parquet.ColumnChunk, step func() error) error {
	pages := chunk.Pages()
	defer pages.Close()
	buffer := make([]parquet.Value, 512)
	for {
		page, err := pages.ReadPage()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		err = r.page(page, buffer, step)
		parquet.Release(page)
		if err != nil {
			return err
		}
	}
}

func (r reading) page(page parquet.Page, buffer []parquet.Value, step func() error) error {
	values := page.Values()
	for {
		if err := step(); err != nil {
			return err
		}
		n, err := values.ReadValues(buffer)
		for _, v := range buffer[:n] {
			if v.IsNull() {
				r.column.nothing()
			} else if err := r.add(v); err != nil {
				return fmt.Errorf("row %d: %w", r.column.rows()+1, err)
			}
		}
		if err == io.EOF || err == nil && n == 0 {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

// adder returns what adds a value of a column, nil if it holds none that a
// table can, and whether its times are in UTC.
func (c *column) adder(leaf *parquet.Column) (add func(parquet.Value) error, zone bool) {
	if leaf.MaxRepetitionLevel() > 0 {
		return nil, false
	}
	number := func(get func(v parquet.Value) float64) func(parquet.Value) error {
		return func(v parquet.Value) error { c.number(get(v)); return nil }
	}
	kind := leaf.Type().Kind()
	var logical format.LogicalTypeValue
	if l := leaf.Type().LogicalType(); l != nil {
		logical = l.Value
	}
	whole := func(v parquet.Value) int64 {
		if kind == parquet.Int32 {
			return int64(v.Int32())
		}
		return v.Int64()
	}
	integer := kind == parquet.Int32 || kind == parquet.Int64
	switch t := logical.(type) {
	case *format.StringType, *format.EnumType, *format.JsonType:
		if kind != parquet.ByteArray {
			return nil, false
		}
		c.kind = texts
		return func(v parquet.Value) error { c.text(string(v.ByteArray())); return nil }, false
	case *format.DecimalType:
		return func(v parquet.Value) error {
			n := new(big.Int)
			switch kind {
			case parquet.Int32, parquet.Int64:
				n.SetInt64(whole(v))
			default:
				b := v.ByteArray()
				if len(b) > 64 {
					return fmt.Errorf("a decimal number of %d bytes", len(b))
				}
				n.SetBytes(b) // two's complement, the highest byte first
				if len(b) > 0 && b[0] >= 0x80 {
					n.Sub(n, new(big.Int).Lsh(big.NewInt(1), uint(8*len(b))))
				}
			}
			return c.decimal(n, t.Scale)
		}, false
	case *format.DateType:
		if kind != parquet.Int32 {
			return nil, false
		}
		c.kind = moments
		return func(v parquet.Value) error { c.moment(time.Unix(int64(v.Int32())*86400, 0).UTC()); return nil }, false
	case *format.TimeType:
		if !integer {
			return nil, false
		}
		c.Unit = "s"
		unit := t.Unit.Value.Duration()
		return number(func(v parquet.Value) float64 { return seconds(whole(v), unit) }), false
	case *format.TimestampType:
		if !integer {
			return nil, false
		}
		c.kind = moments
		unit := t.Unit.Value.Duration()
		return func(v parquet.Value) error { c.moment(at(whole(v), unit)); return nil }, t.IsAdjustedToUTC
	case *format.IntType:
		switch {
		case t.IsSigned:
		case kind == parquet.Int32:
			return number(func(v parquet.Value) float64 { return float64(v.Uint32()) }), false
		case kind == parquet.Int64:
			return func(v parquet.Value) error { c.unsigned(v.Uint64()); return nil }, false
		}
	}
	switch kind {
	case parquet.Boolean:
		return number(func(v parquet.Value) float64 {
			if v.Boolean() {
				return 1
			}
			return 0
		}), false
	case parquet.Int32, parquet.Int64:
		return func(v parquet.Value) error { c.whole(whole(v)); return nil }, false
	case parquet.Float:
		return number(func(v parquet.Value) float64 { return float64(v.Float()) }), false
	case parquet.Double:
		return number(parquet.Value.Double), false
	case parquet.Int96: // an old form of moments: nanoseconds of a Julian day
		c.kind = moments
		return func(v parquet.Value) error {
			i := v.Int96()
			const day1970 = 2440588
			c.moment(time.Unix((int64(i[2])-day1970)*86400, int64(uint64(i[1])<<32|uint64(i[0]))).UTC())
			return nil
		}, false
	}
	return nil, false
}
