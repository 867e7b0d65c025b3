// Package columnar reads tables in the Apache Arrow IPC formats (file and
// stream) and in Apache Parquet, and writes Parquet.
//
// The libraries that read these formats trust what a file says of itself. Here
// every count is held against the file's size first, what they allocate is
// counted where they let us, and a panic of theirs on a damaged file ends at
// the border of this package as an error.
//
//	Arrow, Parquet   bytes to tables
//	Write            a table as Parquet
package columnar

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
	"time"

	"github.com/apache/arrow-go/v18/arrow"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// Keys of a column's notes. The unit is the common one; the others are ours, so
// that a table with several axes reads back as it was.
const (
	keyUnit   = "unit"
	keyAxis   = "axis"   // the place of the column it runs against, from 1
	keyLength = "length" // rows, where it is shorter than the table
)

// budget returns how many bytes a file of the size may unpack to. Columns that
// repeat one value pack to next to nothing, so that small files have much.
func budget(size int) int64 { return 48<<20 + 100*int64(size) }

// contain turns a panic of a library into an error. The file is at fault, not
// the program: the libraries check less than they read.
func contain(format string, err *error) {
	switch p := recover().(type) {
	case nil:
	case source.Error:
		*err = p
	default:
		*err = source.Error{Problem: fmt.Sprintf("the %s data contradict themselves (%v)", format, p), Remedy: "the file is damaged or cut short: export or copy it again"}
	}
}

func damaged(place string, err error) error {
	if e, ok := err.(source.Error); ok {
		return e
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return source.Error{Place: place, Problem: fmt.Sprintf("it cannot be read (%v)", err), Remedy: "the file is damaged or cut short: export or copy it again", Err: err}
}

// A purse is what a file may still unpack to.
type purse struct{ left int64 }

// spend takes bytes out. What a file may unpack to in all is limited: memory
// that was freed is not counted back.
func (p *purse) spend(n int64) {
	if p.left -= n; n < 0 || p.left < 0 {
		panic(source.Error{Problem: "it would unpack to far more than its size", Remedy: "if you trust the file, save it without compression"})
	}
}

// A column is one that grows while a file is read.
type column struct {
	source.Column
	kind   content
	length int // rows it had when it was written; -1 if not told
	purse  *purse
	seen   map[string]string // texts that rows share

	rounded int // whole numbers too large for float64
}

func newColumn(name string, p *purse) *column {
	return &column{Column: source.Column{Name: name, Axis: -1}, length: -1, purse: p, seen: map[string]string{}}
}

// A content is what a column holds.
type content int

const (
	numbers content = iota
	texts
	moments
)

func (c *column) number(x float64) {
	if x != x {
		c.Missing++
	}
	c.Values = append(c.Values, x)
}

// whole adds a whole number.
func (c *column) whole(n int64) {
	if x := float64(n); x >= math.MaxInt64 || int64(x) != n {
		c.rounded++
	}
	c.number(float64(n))
}

// unsigned adds a whole number without a sign.
func (c *column) unsigned(n uint64) {
	if x := float64(n); x >= math.MaxUint64 || uint64(x) != n {
		c.rounded++
	}
	c.number(float64(n))
}

// text adds a copy of s; columns of texts mostly repeat a few.
func (c *column) text(s string) {
	own, ok := c.seen[s]
	if !ok {
		c.purse.spend(int64(len(s)))
		own = strings.Clone(s)
		if len(c.seen) < 1000 {
			c.seen[own] = own
		}
	}
	c.Texts = append(c.Texts, own)
}

func (c *column) moment(t time.Time) { c.Times = append(c.Times, t) }

// nothing adds a cell without a value.
func (c *column) nothing() {
	switch c.kind {
	case numbers:
		c.number(math.NaN())
	case texts:
		c.Missing++
		c.text("")
	case moments:
		c.Missing++
		c.moment(time.Time{})
	}
}

// note takes what a column's metadata say.
func (c *column) note(m arrow.Metadata) {
	for i, key := range m.Keys() {
		value := strings.TrimSpace(m.Values()[i])
		switch strings.ToLower(key) {
		case keyUnit, "units":
			c.Unit = value
		case keyAxis:
			if n, err := strconv.Atoi(value); err == nil {
				c.Axis = n - 1
			}
		case keyLength:
			if n, err := strconv.Atoi(value); err == nil {
				c.length = n
			}
		}
	}
}

// decimal adds n / 10^scale, correctly rounded.
func (c *column) decimal(n *big.Int, scale int32) error {
	x, err := strconv.ParseFloat(fmt.Sprintf("%de%d", n, -int64(scale)), 64)
	c.number(x)
	return err
}

// seconds returns a count of a unit of time as seconds.
func seconds(n int64, unit time.Duration) float64 {
	return float64(n) / float64(time.Second/unit)
}

// at returns a moment counted from 1970.
func at(n int64, unit time.Duration) time.Time {
	per := int64(time.Second / unit)
	return time.Unix(n/per, n%per*int64(unit)).UTC()
}

// table ends the reading: columns get their places and their lengths.
func table(cols []*column) source.Table {
	var t source.Table
	for i, c := range cols {
		c.Place = i + 1
		if c.Axis == i || c.Axis >= len(cols) || c.Axis < -1 || c.Axis >= 0 && cols[c.Axis].kind == texts {
			c.Axis = -1
		}
		c.shorten()
		switch {
		case c.kind == numbers && c.Values == nil:
			c.Values = []float64{}
		case c.kind == texts && c.Texts == nil:
			c.Texts = []string{}
		case c.kind == moments && c.Times == nil:
			c.Times = []time.Time{}
		}
		t.Columns = append(t.Columns, c.Column)
	}
	return t
}

// shorten takes away the empty rows that filled a shorter column up.
func (c *column) shorten() {
	n := c.length
	switch {
	case n < 0:
	case c.kind == numbers && n < len(c.Values):
		for _, x := range c.Values[n:] {
			if x == x {
				return
			}
		}
		c.Missing -= len(c.Values) - n
		c.Values = c.Values[:n]
	case c.kind == texts && n < len(c.Texts):
		for _, s := range c.Texts[n:] {
			if s != "" {
				return
			}
		}
		c.Missing -= len(c.Texts) - n
		c.Texts = c.Texts[:n]
	case c.kind == moments && n < len(c.Times):
		for _, t := range c.Times[n:] {
			if !t.IsZero() {
				return
			}
		}
		c.Missing -= len(c.Times) - n
		c.Times = c.Times[:n]
	}
}

// leftOut tells of columns that hold something else.
func leftOut(list []string) source.Fact {
	if len(list) > 20 {
		list = append(list[:20:20], fmt.Sprintf("and %d more", len(list)-20))
	}
	return source.Fact{What: "columns left out", Value: strings.Join(list, ", ")}
}
