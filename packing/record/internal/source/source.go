// Package source is what a file of any format is read into before it becomes a
// record: tables of columns with what was understood on the way.
package source

import "time"

// A File is what one file holds.
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
}

// A Column holds numbers, texts or moments, of which exactly one slice is not
// nil. Columns of one table may differ in length when each has its own axis.
type Column struct {
	Name, Unit string // as written
	Values     []float64
	Texts      []string    // of events and comments
	Times      []time.Time // moments, without a time zone in UTC
	Axis       int         // index of the column that this one is drawn against; -1 if none is known
	Place      int         // in the file, from 1
	Missing    int         // cells that held nothing or a marker for it
	Censored   int         // cells such as "<0.5"
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

// A Drop is a row that was left out.
type Drop struct {
	Line int
	Why  string
}
