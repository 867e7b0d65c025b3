// Package netcdf reads and writes the classic netCDF formats: CDF-1, CDF-2
// with 64-bit offsets, and CDF-5 with 64-bit counts.
//
//	Read      bytes to a Dataset: dimensions, attributes, variables
//	Write     and back
//	File      what a Dataset says as tables: chromatography after ASTM E1947,
//	          else variables drawn against their coordinate variable
//	Chromatogram, Signals   a table as a Dataset
//
// Source of the format: Unidata, "The NetCDF Classic Format Specification";
// for CDF-5, the PnetCDF project's "CDF-5 file format specification".
package netcdf

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

// A Type is the type of an attribute's or a variable's values.
type Type int32

// The types, with the numbers the format has for them. Those from UByte on
// need CDF-5.
const (
	Byte Type = 1 + iota
	Char
	Short
	Int
	Float
	Double
	UByte
	UShort
	UInt
	Int64
	UInt64
)

// size returns the bytes of one value, 0 for a type that does not exist.
func (t Type) size() int64 {
	switch t {
	case Byte, Char, UByte:
		return 1
	case Short, UShort:
		return 2
	case Int, Float, UInt:
		return 4
	case Double, Int64, UInt64:
		return 8
	}
	return 0
}

// A Data holds the values of one type: a string for Char, else []int8, []int16,
// []int32, []float32, []float64, []uint8, []uint16, []uint32, []int64 or
// []uint64.
type Data any

// typeOf returns the type of the values and how many there are.
func typeOf(d Data) (Type, int, error) {
	switch v := d.(type) {
	case []int8:
		return Byte, len(v), nil
	case string:
		return Char, len(v), nil
	case []int16:
		return Short, len(v), nil
	case []int32:
		return Int, len(v), nil
	case []float32:
		return Float, len(v), nil
	case []float64:
		return Double, len(v), nil
	case []uint8:
		return UByte, len(v), nil
	case []uint16:
		return UShort, len(v), nil
	case []uint32:
		return UInt, len(v), nil
	case []int64:
		return Int64, len(v), nil
	case []uint64:
		return UInt64, len(v), nil
	}
	return 0, 0, fmt.Errorf("netCDF has no type for %T", d)
}

// floats returns the values as float64; nil for text.
func floats(d Data) []float64 {
	switch v := d.(type) {
	case []float64:
		return v
	case []float32:
		out := make([]float64, len(v))
		for i, x := range v {
			out[i] = float64(x)
		}
		return out
	case []int8:
		out := make([]float64, len(v))
		for i, x := range v {
			out[i] = float64(x)
		}
		return out
	case []int16:
		out := make([]float64, len(v))
		for i, x := range v {
			out[i] = float64(x)
		}
		return out
	case []int32:
		out := make([]float64, len(v))
		for i, x := range v {
			out[i] = float64(x)
		}
		return out
	case []int64:
		out := make([]float64, len(v))
		for i, x := range v {
			out[i] = float64(x)
		}
		return out
	case []uint8:
		out := make([]float64, len(v))
		for i, x := range v {
			out[i] = float64(x)
		}
		return out
	case []uint16:
		out := make([]float64, len(v))
		for i, x := range v {
			out[i] = float64(x)
		}
		return out
	case []uint32:
		out := make([]float64, len(v))
		for i, x := range v {
			out[i] = float64(x)
		}
		return out
	case []uint64:
		out := make([]float64, len(v))
		for i, x := range v {
			out[i] = float64(x)
		}
		return out
	}
	return nil
}

// text writes a value for people: text without the padding behind it, else
// the numbers with a space between.
func text(d Data) string {
	switch v := d.(type) {
	case string:
		return clean(v)
	case []float32: // 0.1, not 0.10000000149
		return strings.Trim(fmt.Sprint(v), "[]")
	}
	return strings.Trim(fmt.Sprint(d), "[]")
}

// clean takes the NULs and blanks behind a text away. What is not UTF-8 is
// taken for Windows-1252.
func clean(s string) string {
	s = strings.TrimRight(s, "\x00 ")
	if i := strings.IndexByte(s, 0); i >= 0 {
		s = s[:i]
	}
	if !utf8.ValidString(s) {
		if t, err := charmap.Windows1252.NewDecoder().String(s); err == nil {
			s = t
		}
	}
	return strings.TrimSpace(s)
}

// A Dataset is what one file holds.
type Dataset struct {
	Version    int // 1, 2 or 5; for writing, 0 takes the smallest that fits
	Records    int // length of the unlimited dimension
	Dimensions []Dimension
	Attributes []Attribute // of the whole file
	Variables  []Variable
}

// A Dimension is a length that variables share.
type Dimension struct {
	Name      string
	Length    int // of an unlimited one, the number of records
	Unlimited bool
}

// An Attribute is a note on the file or on a variable.
type Attribute struct {
	Name string
	Data Data
}

// A Variable is an array over dimensions; without any it is one value.
type Variable struct {
	Name       string
	Dimensions []int // indices, the slowest first
	Attributes []Attribute
	Data       Data // row by row
}

// attribute returns an attribute's value as text; empty if there is none.
func attribute(list []Attribute, name string) string {
	if d := lookup(list, name); d != nil {
		return text(d)
	}
	return ""
}

// lookup returns an attribute's value; upper and lower case, blanks and
// underscores make no difference.
func lookup(list []Attribute, name string) Data {
	for _, a := range list {
		if plain(a.Name) == plain(name) {
			return a.Data
		}
	}
	return nil
}

// plain makes names comparable: small letters and digits only.
func plain(name string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'A' && r <= 'Z':
			return r + 'a' - 'A'
		case r == '_' || r == ' ' || r == '-' || r == 0:
			return -1
		}
		return r
	}, name)
}
