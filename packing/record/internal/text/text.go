// Package text reads delimited text: any encoding, separator, decimal mark,
// preamble and header that an instrument or a spreadsheet writes.
//
// The way through a file: find the encoding (encoding.go); cut lines and cells
// (cells.go); let every separator and decimal mark be tried on a sample and the
// most consistent win (sniff.go, vote.go); find header, units and first row
// (layout.go); parse all rows in chunks, over the processors (body.go); join
// what the chunks found into columns (columns.go). Numbers are in number.go, the
// short way for rows of nothing else in plain.go, clocks and dates in clock.go.
package text

import (
	"context"
	"fmt"
	"strings"

	"github.com/evenbed/evenbed/packing/record/internal/source"
	"github.com/evenbed/evenbed/packing/task"
)

// Options say what is known of a file. What is zero is found out.
type Options struct {
	Separator string // "," ";" "\t" " " (runs of blanks) "|" or "none" for one column
	Decimal   string // "." or ","
	Thousands string // "," "." "'" " " or "none"
	Encoding  string // "utf-8", "utf-16le", "utf-16be" or "windows-1252"

	HeaderLine int // the line of the names, from 1; -1 if there is no header
	HeaderRows int // rows from the names to the numbers; 2 for names and units
	DataLine   int // the line of the first row
	LastLine   int // the line of the last row; what follows goes to the notes

	DateOrder  string            // "dmy", "mdy" or "ymd"
	TimeLayout string            // "hh:mm:ss", "mm:ss", "hh:mm" or a layout of package time
	Missing    []string          // more markers for a value that is missing
	Comment    string            // what begins a line of comment; "#" if empty, "none" for no comments
	Units      map[string]string // of columns by name, in place of the file's

	DropBadRows bool // leave out rows that do not fit the table, and report them
}

// An Error tells where a text cannot be read and what to do.
type Error = source.Error

// A Monitor watches the reading; see package task. None stands for the default.
type Monitor interface {
	Context() context.Context
	Progress(label string, done, total int)
}

// A Result is a file with the options that read it again without a guess.
type Result struct {
	File source.File
	Used Options
}

// Read reads a delimited text.
func Read(data []byte, o Options, m Monitor) (source.File, error) {
	r, err := ReadAll(data, o, m)
	return r.File, err
}

// progressFrom is the size of a file from which progress is shown.
const progressFrom = 50 << 20

// ReadAll reads a delimited text and returns the options it found, too.
func ReadAll(data []byte, o Options, m Monitor) (Result, error) {
	if err := o.check(); err != nil {
		return Result{}, err
	}
	if m == nil {
		m = task.Default()
	}
	r := &reader{o: o, used: o, monitor: m}
	if err := r.readEncoding(data); err != nil {
		return Result{}, err
	}
	if err := r.readHead(); err != nil {
		return Result{}, err
	}
	if err := r.sniff(); err != nil {
		return Result{}, err
	}
	if err := r.layout(); err != nil {
		return Result{}, err
	}
	if r.table.empty {
		return r.noRows()
	}
	if err := r.readBody(); err != nil {
		return Result{}, err
	}
	return r.result()
}

// A reader carries what is known of a file from step to step.
type reader struct {
	o, used Options
	monitor Monitor
	facts   []source.Fact
	doubts  []source.Doubt

	raw  []byte // without byte order mark, Ctrl-Z and zero bytes at the end
	enc  encoding
	nuls int // zero bytes within

	head   []byte // the beginning, decoded
	whole  bool   // head is all there is
	sep    byte   // between cells; 0 if there is one column
	format format
	sample []record // rows from all over the file that look like data

	table layout
	body  body
}

func (r *reader) fact(what, value string) {
	r.facts = append(r.facts, source.Fact{What: what, Value: value})
}
func (r *reader) guess(what, value, override string) {
	r.facts = append(r.facts, source.Fact{What: what, Value: value, Guessed: true, Override: override})
}

// told notes a fact: as given, or guessed with the option that overrides it.
func (r *reader) told(what, value string, given bool, option string) {
	if given {
		r.fact(what, value+", as given")
		return
	}
	r.guess(what, value, "record.Options{"+option+"}")
}

// check refuses options that mean nothing.
func (o Options) check() error {
	for _, c := range []struct {
		name, value string
		allowed     []string
	}{
		{"separator", o.Separator, []string{"", ",", ";", "\t", " ", "|", "none"}},
		{"decimal mark", o.Decimal, []string{"", ".", ","}},
		{"thousands mark", o.Thousands, []string{"", ",", ".", "'", " ", "none"}},
		{"encoding", o.Encoding, []string{"", "utf-8", "utf-16le", "utf-16be", "windows-1252"}},
		{"date order", o.DateOrder, []string{"", "dmy", "mdy", "ymd"}},
	} {
		ok := false
		for _, a := range c.allowed {
			ok = ok || a == c.value
		}
		if !ok {
			return Error{Problem: fmt.Sprintf("%s %q", c.name, c.value), Remedy: "use " + quotedList(c.allowed[1:])}
		}
	}
	switch {
	case o.Decimal != "" && o.Decimal == o.Thousands:
		return Error{Problem: fmt.Sprintf("%q as decimal and as thousands mark", o.Decimal), Remedy: "give two different ones"}
	case o.HeaderLine < -1 || o.HeaderRows < 0 || o.DataLine < 0 || o.LastLine < 0:
		return Error{Problem: "a negative line", Remedy: "count lines from 1; HeaderLine -1 is for a file without a header"}
	case o.DataLine > 0 && o.HeaderLine >= o.DataLine:
		return Error{Problem: fmt.Sprintf("header line %d is not above data line %d", o.HeaderLine, o.DataLine), Remedy: "correct one of them"}
	case o.LastLine > 0 && o.DataLine > o.LastLine:
		return Error{Problem: fmt.Sprintf("data line %d is below last line %d", o.DataLine, o.LastLine), Remedy: "correct one of them"}
	}
	return nil
}

// quotedList writes `"a", "b" or "c"`.
func quotedList(s []string) string {
	var b strings.Builder
	for i, v := range s {
		switch {
		case i > 0 && i == len(s)-1:
			b.WriteString(" or ")
		case i > 0:
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "%q", v)
	}
	return b.String()
}

// shortened cuts long text for a message.
func shortened(s string) string {
	if len(s) > 400 {
		s = s[:400]
	}
	s = strings.ToValidUTF8(s, "?")
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}
