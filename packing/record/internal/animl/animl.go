// Package animl reads series of numbers from AnIML, the Analytical Information
// Markup Language (ASTM E13.15, core schema): its SeriesSets become tables.
//
// Values may stand one by one, as base64 of little-endian numbers, or as a
// start and an increment. Namespaces make no difference, so that all drafts of
// the schema are read. Techniques, signatures and audit trails are passed over.
package animl

import (
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/evenbed/evenbed/packing/record/internal/markup"
	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// longest bounds one text in the file: base64 of 1.1 million values of eight
// bytes. A refusal shall not cost more than 64 MiB, and the text is copied while
// it grows.
const longest = 12 << 20

// Read reads a document.
func Read(data []byte, meter *source.Meter) (source.File, error) {
	r := &reader{left: 1<<20 + 2*len(data), meter: meter}
	if err := markup.Walk(&metered{data, 0, meter}, "", longest, r.element); err != nil {
		return source.File{}, err
	}
	if !r.seen {
		return source.File{}, source.Error{Problem: "this XML is not AnIML: it has no element of that name", Remedy: "check that this is the file you meant"}
	}
	if len(r.file.Tables) == 0 {
		return source.File{}, source.Error{Problem: "it has no SeriesSet with values", Remedy: "export the results with their curves"}
	}
	r.file.Facts = append([]source.Fact{{What: "format", Value: "AnIML"}}, r.file.Facts...)
	return r.file, nil
}

// metered reads bytes until the work shall stop.
type metered struct {
	data  []byte
	at    int
	meter *source.Meter
}

func (m *metered) Read(b []byte) (int, error) {
	if err := m.meter.At(m.at); err != nil {
		return 0, err
	}
	if m.at == len(m.data) {
		return 0, io.EOF
	}
	n := copy(b, m.data[m.at:])
	m.at += n
	return n, nil
}

// A reader goes through a document.
type reader struct {
	meter *source.Meter
	file  source.File
	left  int // values that may still be made; a start and an increment cost no bytes
	seen  bool
	meta  []source.Entry // parameters since the last table
	first int            // table of the step that the parameters belong to

	set    *set
	series *series
	values *values
	text   []byte // of the element being read

	parameter string // name of the one being read
	value     string
	unit      string
}

// A set is a SeriesSet being read.
type set struct {
	name   string
	length int // -1 if it is not told
	series []*series
}

// A series is one column being read.
type series struct {
	source.Column
	kind        string
	independent bool
	steps       []values // values that are a start and an increment, until the length is known
}

// values is a set of values being read.
type values struct {
	from, to        int // to is -1 if it is not told
	at              int
	start, step     float64
	hasStart, hasBy bool
	part            string // "StartValue" or "Increment" while inside one
}

func refuse(format string, args ...any) error {
	return source.Error{Problem: fmt.Sprintf(format, args...), Remedy: "the file is damaged or was written wrongly: export it again"}
}

func (r *reader) element(e markup.Element) error {
	switch {
	case e.Text != nil:
		r.text = append(r.text, e.Text...)
		return nil
	case e.End:
		err := r.end(e.Name)
		r.text = r.text[:0]
		return err
	}
	r.text = r.text[:0]
	return r.begin(e)
}

func (r *reader) begin(e markup.Element) error {
	switch e.Name {
	case "AnIML":
		r.seen = true
	case "ExperimentStep":
		r.first, r.meta = len(r.file.Tables), nil
		r.note("experiment step", e.Attribute("name"))
	case "Sample":
		r.note("sample", e.Attribute("name"))
	case "Parameter":
		r.parameter, r.value, r.unit = e.Attribute("name"), "", ""
	case "SeriesSet":
		s := &set{name: e.Attribute("name"), length: -1}
		if l := e.Attribute("length"); l != "" {
			n, err := strconv.Atoi(l)
			if err != nil || n < 0 {
				return refuse("the length %.20q of a SeriesSet is no number", l)
			}
			s.length = n
		}
		r.set = s
	case "Series":
		if r.set == nil {
			return refuse("a Series stands outside of a SeriesSet")
		}
		if len(r.set.series) >= 10000 {
			return refuse("a SeriesSet has more than 10,000 Series")
		}
		r.series = &series{kind: e.Attribute("seriesType"), independent: e.Attribute("dependency") == "independent"}
		r.series.Name, r.series.Axis = e.Attribute("name"), -1
		if r.series.Name == "" {
			r.series.Name = e.Attribute("seriesID")
		}
		r.set.series = append(r.set.series, r.series)
	case "Unit":
		if r.series != nil {
			r.series.Unit = strings.TrimSpace(e.Attribute("label"))
		} else if r.parameter != "" {
			r.unit = e.Attribute("label")
		}
	case "StartValue", "Increment":
		if r.values != nil {
			r.values.part = e.Name
		}
	case "IndividualValueSet", "EncodedValueSet", "AutoIncrementedValueSet":
		if r.series == nil {
			return refuse("a %s stands outside of a Series", e.Name)
		}
		v := &values{to: -1, from: -1}
		if err := index(e, "startIndex", &v.from); err != nil {
			return err
		}
		if err := index(e, "endIndex", &v.to); err != nil {
			return err
		}
		if v.from < 0 {
			v.from = r.series.rows()
		}
		if v.to >= 0 && v.to < v.from {
			return refuse("a %s ends at %d, before it begins at %d", e.Name, v.to, v.from)
		}
		v.at = v.from
		r.values = v
	}
	return nil
}

// index reads an index, if it is there.
func index(e markup.Element, name string, to *int) error {
	s := e.Attribute(name)
	if s == "" {
		return nil
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 0 || n >= 1<<40 {
		return refuse("the %s %.20q is no number", name, s)
	}
	*to = n
	return nil
}

// note keeps what is said beside the series.
func (r *reader) note(key, value string) {
	if value = strings.TrimSpace(value); value != "" && len(r.meta) < 10000 {
		r.meta = append(r.meta, source.Entry{Key: key, Value: value})
	}
}

func (r *reader) end(name string) error {
	text := strings.TrimSpace(string(r.text))
	switch name {
	case "I", "L", "F", "D", "S", "Boolean", "DateTime":
		switch {
		case r.values != nil:
			return r.single(text)
		case r.parameter != "":
			r.value = text
		}
	case "Parameter":
		r.note(r.parameter, r.value+" "+r.unit)
		r.parameter = ""
	case "StartValue", "Increment":
		if r.values != nil {
			r.values.part = ""
		}
	case "EncodedValueSet":
		defer func() { r.values = nil }()
		if r.values != nil {
			return r.encoded(r.text)
		}
	case "IndividualValueSet":
		v := r.values
		r.values = nil
		if v != nil && v.to >= 0 && v.at != v.to+1 {
			return refuse("a set of values holds %d, but its indices say %d", v.at-v.from, v.to-v.from+1)
		}
	case "AutoIncrementedValueSet":
		v := r.values
		r.values = nil
		if v == nil || !v.hasStart || !v.hasBy {
			return refuse("an AutoIncrementedValueSet lacks its StartValue or its Increment")
		}
		r.series.steps = append(r.series.steps, *v)
	case "Series":
		r.series = nil
	case "SeriesSet":
		s := r.set
		r.set, r.series = nil, nil
		if s != nil {
			return r.table(s)
		}
	case "ExperimentStep":
		if r.first < len(r.file.Tables) {
			t := &r.file.Tables[r.first]
			t.Meta = append(t.Meta, r.meta...)
		}
		r.meta = nil
	}
	return nil
}

// single takes a value that stands alone, also the start and the increment of
// an AutoIncrementedValueSet.
func (r *reader) single(text string) error {
	v := r.values
	if v.part != "" {
		x, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return refuse("%.40q is not a number", text)
		}
		if v.part == "StartValue" {
			v.start, v.hasStart = x, true
		} else {
			v.step, v.hasBy = x, true
		}
		return nil
	}
	if err := r.fill(v.at); err != nil {
		return err
	}
	v.at++
	return r.series.add(text)
}

// fill makes the values before an index missing, if there are none.
func (r *reader) fill(index int) error {
	n := index - r.series.rows()
	if n < 0 {
		return refuse("Series %q has two values with the index %d", r.series.Name, index)
	}
	if err := r.spend(n + 1); err != nil {
		return err
	}
	for ; n > 0; n-- {
		r.series.nothing()
	}
	return nil
}

// spend counts values: the file must be large enough to justify them.
func (r *reader) spend(n int) error {
	if r.left -= n; r.left < 0 {
		return refuse("it claims far more values than it holds")
	}
	return nil
}

// encoded takes base64 of little-endian numbers.
func (r *reader) encoded(text []byte) error {
	s, v := r.series, r.values
	size := 8
	switch s.kind {
	case "Int32", "Float32":
		size = 4
	case "Int64", "Float64":
	default:
		return refuse("Series %q holds %.20q in base64, which is not read", s.Name, s.kind)
	}
	packed := make([]byte, 0, len(text))
	for _, c := range text {
		if c > ' ' {
			packed = append(packed, c)
		}
	}
	raw := make([]byte, base64.StdEncoding.DecodedLen(len(packed)))
	n, err := base64.StdEncoding.Decode(raw, packed)
	if err != nil {
		return refuse("the base64 of Series %q is damaged (%v)", s.Name, err)
	}
	raw = raw[:n]
	switch {
	case n%size != 0:
		return refuse("the base64 of Series %q holds %d bytes, which are no whole values of %d", s.Name, n, size)
	case v.to >= 0 && n/size != v.to-v.from+1:
		return refuse("the base64 of Series %q holds %d values, but its indices say %d", s.Name, n/size, v.to-v.from+1)
	}
	if n == 0 {
		return nil
	}
	if err := r.fill(v.from); err != nil {
		return err
	}
	if err := r.spend(n / size); err != nil {
		return err
	}
	for ; len(raw) > 0; raw = raw[size:] {
		switch s.kind {
		case "Int32":
			s.number(float64(int32(binary.LittleEndian.Uint32(raw))))
		case "Float32":
			s.number(float64(math.Float32frombits(binary.LittleEndian.Uint32(raw))))
		case "Int64":
			s.number(float64(int64(binary.LittleEndian.Uint64(raw))))
		case "Float64":
			s.number(math.Float64frombits(binary.LittleEndian.Uint64(raw)))
		}
	}
	return nil
}

func (s *series) rows() int { return len(s.Values) + len(s.Texts) + len(s.Times) }

func (s *series) number(x float64) {
	if x != x {
		s.Missing++
	}
	s.Values = append(s.Values, x)
}

// nothing adds a value that is missing.
func (s *series) nothing() {
	switch s.kind {
	case "String":
		s.Missing++
		s.Texts = append(s.Texts, "")
	case "DateTime":
		s.Missing++
		s.Times = append(s.Times, time.Time{})
	default:
		s.number(math.NaN())
	}
}

// add adds a value as it is written.
func (s *series) add(text string) error {
	if text == "" {
		s.nothing()
		return nil
	}
	switch s.kind {
	case "String":
		s.Texts = append(s.Texts, text)
		return nil
	case "DateTime":
		for _, layout := range []string{time.RFC3339Nano, "2006-01-02T15:04:05.999999999"} {
			if t, err := time.Parse(layout, text); err == nil {
				s.Times = append(s.Times, t.UTC())
				return nil
			}
		}
		return refuse("%.40q in Series %q is not a moment", text, s.Name)
	case "Boolean":
		switch text {
		case "true", "1":
			s.number(1)
		case "false", "0":
			s.number(0)
		default:
			return refuse("%.40q in Series %q is neither true nor false", text, s.Name)
		}
		return nil
	}
	switch text { // as XML Schema writes them
	case "INF":
		s.number(math.Inf(1))
		return nil
	case "-INF":
		s.number(math.Inf(-1))
		return nil
	}
	bits := 64
	if s.kind == "Float32" {
		bits = 32
	}
	x, err := strconv.ParseFloat(text, bits)
	if err != nil {
		return refuse("%.40q in Series %q is not a number", text, s.Name)
	}
	s.number(x)
	return nil
}

// table ends a SeriesSet: values that are a start and an increment are worked
// out, series are made as long as the set, and get their axis.
func (r *reader) table(set *set) error {
	length := set.length
	for _, s := range set.series {
		if set.length < 0 {
			length = max(length, s.rows())
		} else if s.rows() > length {
			return refuse("Series %q has %d values, but its SeriesSet %q says %d", s.Name, s.rows(), set.name, length)
		}
		for _, v := range s.steps {
			if set.length < 0 {
				length = max(length, v.to+1)
			}
		}
	}
	t := source.Table{Name: set.name}
	axis := -1
	for i, s := range set.series {
		r.series = s
		for _, v := range s.steps {
			if v.to < 0 {
				v.to = length - 1
			}
			if v.to >= length {
				return refuse("Series %q ends at the index %d, but its SeriesSet has %d values", s.Name, v.to, length)
			}
			if v.to < v.from {
				continue
			}
			if err := r.fill(v.from); err != nil {
				return err
			}
			if err := r.spend(v.to - v.from); err != nil {
				return err
			}
			for k := v.from; k <= v.to; k++ {
				if (k-v.from)%(1<<20) == 0 {
					if err := r.meter.Stop(); err != nil {
						return err
					}
				}
				s.number(v.start + float64(float64(k-v.from)*v.step))
			}
		}
		if s.rows() == 0 {
			continue
		}
		if short := length - s.rows(); short > 0 {
			if err := r.fill(length - 1); err != nil {
				return err
			}
			s.nothing()
			r.file.Facts = append(r.file.Facts, source.Fact{What: "values that are missing", Value: fmt.Sprintf("%d at the end of Series %q, which is shorter than its SeriesSet", short, s.Name)})
		}
		if s.independent && axis < 0 && s.Texts == nil {
			axis = len(t.Columns)
		}
		s.Place = i + 1
		t.Columns = append(t.Columns, s.Column)
	}
	r.series = nil
	for i := range t.Columns {
		if i != axis {
			t.Columns[i].Axis = axis
		}
	}
	if len(t.Columns) > 0 {
		r.file.Tables = append(r.file.Tables, t)
	}
	return nil
}
