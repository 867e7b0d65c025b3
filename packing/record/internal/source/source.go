// Package source is what a file of any format is read into before it becomes a
// record: tables of columns with what was understood on the way.
package source

import (
	"sort"
	"time"
)

// A File is what one file holds. It shares no memory with the bytes it was
// read from: those may be a mapped file that is gone afterwards.
type File struct {
	Tables []Table // in order; a text file has one, a workbook one per sheet
	Facts  []Fact  // what was understood: "encoding", "separator", "decimal mark", ...
}

// A Table is a set of columns read together.
type Table struct {
	Name    string // of a sheet or series; "" if it has none
	Columns []Column
	Meta    []Entry // what stands above or beside the columns
	Notes   []Entry // what stands below them
	Dropped []Drop  // rows that were left out, and why
	Doubts  []Doubt // what may make the numbers wrong

	// FirstLine is the line of row 0, from 1; 0 if rows have no lines. Breaks
	// tell, in order, where a row does not stand on the line after the one
	// before it: blank lines, dropped rows, line ends in quotes.
	FirstLine int
	Breaks    []Break

	Layout Layout // of a sheet: how its cells were understood
}

// A Layout is where things stand in a sheet, as the options of the same names
// say it.
type Layout struct {
	HeaderLine, HeaderRows, DataLine, LastLine int
	DateOrder, TimeLayout                      string
}

// A Break is a row, from 0, and the line on which it begins.
type Break struct{ Row, Line int }

// Line returns the line of a row, from 1, or 0 if rows have no lines.
func (t Table) Line(row int) int {
	if t.FirstLine == 0 {
		return 0
	}
	i := sort.Search(len(t.Breaks), func(i int) bool { return t.Breaks[i].Row > row })
	if i == 0 {
		return t.FirstLine + row
	}
	b := t.Breaks[i-1]
	return b.Line + row - b.Row
}

// A Column holds numbers, texts or moments, of which exactly one slice is not
// nil. Columns of one table may differ in length when each has its own axis.
type Column struct {
	Name, Unit string // as written
	Values     []float64
	Texts      []string    // of events and comments
	Times      []time.Time // moments, without a time zone in UTC
	Start      time.Time   // of Values that count time: the moment of their zero, if the file tells it
	Axis       int         // index of the column that this one is drawn against; -1 if none is known
	Place      int         // in the file, from 1
	Missing    int         // cells that held nothing or a marker for it
	Censored   int         // cells such as "<0.5"

	Known Span // what is known of Values; see Column.Span
}

// An Entry is a key with its value, and where it stood.
type Entry struct {
	Key, Value string
	Line       int
}

// A Fact is one thing that was understood of a file.
type Fact struct {
	What, Value string
	Guessed     bool   // the file does not say it plainly
	Override    string // how to say it: `record.Options{Separator: ";"}`
}

// A Doubt is something that may make numbers wrong: those of a column, or of all if
// it has no name.
type Doubt struct{ Column, Text string }

// A Drop is a row that was left out.
type Drop struct {
	Line int
	Why  string
}
