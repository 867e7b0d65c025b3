package columnar

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"io"
	"math"
	"reflect"
	"strconv"
	"time"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/ipc"
	"github.com/parquet-go/parquet-go"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// Write writes a table as a Parquet file that Parquet reads back equal: names,
// units, values to the last bit, axes and lengths. NaN, the zero time and the
// empty text become missing values. The table's notes go to the file's, where
// the library sorts them by key.
func Write(w io.Writer, t source.Table) error {
	if len(t.Columns) == 0 {
		return source.Error{Problem: "there is no column to write", Remedy: "give a table with at least one"}
	}
	rows := 0
	for _, c := range t.Columns {
		rows = max(rows, length(c))
	}
	var group ordered
	var fields []arrow.Field
	used := map[string]bool{}
	for i, c := range t.Columns {
		if c.Name == "" || used[c.Name] {
			return source.Error{Place: fmt.Sprintf("column %d", i+1), Problem: fmt.Sprintf("the name %q is empty or there already", c.Name), Remedy: "give every column a name of its own"}
		}
		used[c.Name] = true
		node, kind, err := nodeOf(c)
		if err != nil {
			return err
		}
		group.fields = append(group.fields, field{parquet.Optional(node), c.Name})
		keys, values := []string{}, []string{}
		note := func(key, value string) { keys, values = append(keys, key), append(values, value) }
		if c.Unit != "" {
			note(keyUnit, c.Unit)
		}
		if c.Axis >= 0 && c.Axis < len(t.Columns) {
			note(keyAxis, strconv.Itoa(c.Axis+1))
		}
		if n := length(c); n < rows {
			note(keyLength, strconv.Itoa(n))
		}
		fields = append(fields, arrow.Field{Name: c.Name, Type: kind, Nullable: true, Metadata: arrow.NewMetadata(keys, values)})
	}
	schema, err := packedSchema(fields)
	if err != nil {
		return err
	}
	options := []parquet.WriterOption{parquet.NewSchema("schema", group), parquet.CreatedBy("evenbed", "", ""), parquet.KeyValueMetadata(keySchema, schema)}
	for _, e := range t.Meta {
		if e.Key != "" && e.Key != keySchema {
			options = append(options, parquet.KeyValueMetadata(e.Key, e.Value))
		}
	}
	out := parquet.NewWriter(w, options...)
	columns := out.ColumnWriters()
	const perGroup = 1 << 20 // rows
	for from := 0; from < rows; from += perGroup {
		for i, c := range t.Columns {
			if err := writeColumn(columns[i], c, i, from, min(from+perGroup, rows)); err != nil {
				return fmt.Errorf("column %q: %w", c.Name, err)
			}
		}
		if err := out.Flush(); err != nil {
			return err
		}
	}
	return out.Close()
}

func length(c source.Column) int { return max(len(c.Values), len(c.Texts), len(c.Times)) }

// writeColumn writes rows of a column; those after its end are missing.
func writeColumn(w *parquet.ColumnWriter, c source.Column, index, from, to int) error {
	null := parquet.NullValue().Level(0, 0, index)
	fine := nanoseconds(c)
	buffer := make([]parquet.Value, 0, 1024)
	for i := from; i < to; i++ {
		v := null
		switch {
		case i < len(c.Values) && c.Values[i] == c.Values[i]:
			v = parquet.DoubleValue(c.Values[i]).Level(0, 1, index)
		case i < len(c.Texts) && c.Texts[i] != "":
			v = parquet.ByteArrayValue([]byte(c.Texts[i])).Level(0, 1, index)
		case i < len(c.Times) && !c.Times[i].IsZero():
			n := c.Times[i].UnixMicro()
			if fine {
				n = c.Times[i].UnixNano()
			}
			v = parquet.Int64Value(n).Level(0, 1, index)
		}
		if buffer = append(buffer, v); len(buffer) == cap(buffer) || i == to-1 {
			if _, err := w.WriteRowValues(buffer); err != nil {
				return err
			}
			buffer = buffer[:0]
		}
	}
	return nil
}

// nanoseconds tells whether moments need more than microseconds.
func nanoseconds(c source.Column) bool {
	for _, t := range c.Times {
		if t.Nanosecond()%1000 != 0 {
			return true
		}
	}
	return false
}

// nodeOf returns what a column is in Parquet and in Arrow.
func nodeOf(c source.Column) (parquet.Node, arrow.DataType, error) {
	switch {
	case c.Texts != nil:
		return parquet.String(), arrow.BinaryTypes.String, nil
	case c.Times == nil:
		return parquet.Leaf(parquet.DoubleType), arrow.PrimitiveTypes.Float64, nil
	case !nanoseconds(c):
		return parquet.TimestampAdjusted(parquet.Microsecond, false), &arrow.TimestampType{Unit: arrow.Microsecond}, nil
	}
	for i, t := range c.Times {
		if !t.IsZero() && (t.Before(time.Unix(0, math.MinInt64)) || t.After(time.Unix(0, math.MaxInt64))) {
			return nil, nil, source.Error{Place: fmt.Sprintf("column %q, row %d", c.Name, i+1), Problem: "nanoseconds can be written for the years 1678 to 2261 only", Remedy: "round the times to microseconds"}
		}
	}
	return parquet.TimestampAdjusted(parquet.Nanosecond, false), &arrow.TimestampType{Unit: arrow.Nanosecond}, nil
}

// packedSchema writes the columns as Arrow's libraries keep them.
func packedSchema(fields []arrow.Field) (string, error) {
	var b bytes.Buffer
	w := ipc.NewWriter(&b, ipc.WithSchema(arrow.NewSchema(fields, nil)))
	if err := w.Close(); err != nil {
		return "", err
	}
	return base64.StdEncoding.EncodeToString(b.Bytes()), nil
}

// ordered is a group of columns in the order in which they were given; the
// library's own sorts them by name.
type ordered struct {
	parquet.Group
	fields []parquet.Field
}

func (o ordered) Fields() []parquet.Field { return o.fields }

// A field is a column in an ordered group.
type field struct {
	parquet.Node
	name string
}

func (f field) Name() string { return f.name }

// Value is for rows made of Go values, of which there are none here.
func (f field) Value(reflect.Value) reflect.Value { return reflect.Value{} }
