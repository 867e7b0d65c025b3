package record

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// An Error tells where a file could not be read and what to do.
type Error struct {
	File    string
	Line    int    // from 1; 0 if it concerns no single line
	Column  int    // character in the line, from 1; 0 if it concerns the whole line
	Place   string // in a file without lines: `sheet "Run", cell B12`
	Problem string
	Remedy  string
	Err     error // the cause, if there is one
}

// Error writes place, problem and remedy: "pulse.csv:14:6: ...".
func (e Error) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d", e.Line)
		if e.Column > 0 {
			fmt.Fprintf(&b, ":%d", e.Column)
		}
	}
	if e.Place != "" {
		b.WriteString(": " + e.Place)
	}
	b.WriteString(": " + e.Problem)
	if e.Remedy != "" {
		b.WriteString("; " + e.Remedy)
	}
	return b.String()
}

// Unwrap returns the cause.
func (e Error) Unwrap() error { return e.Err }

// located puts the file's name to what a reader of one of the formats says.
func located(file string, err error) error {
	var e source.Error
	var own Error
	switch {
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return Error{File: file, Problem: "reading was stopped", Remedy: "read it again if you want it", Err: err}
	case errors.As(err, &own):
		own.File = file
		return own
	case errors.As(err, &e):
		return Error{File: file, Line: e.Line, Column: e.Column, Place: e.Place, Problem: e.Problem, Remedy: e.Remedy, Err: e.Err}
	}
	return Error{File: file, Problem: err.Error(), Remedy: "export the file again", Err: err}
}

// quoted writes names in quotes, with commas between.
func quoted(names []string) string {
	const most = 40
	q := make([]string, min(len(names), most))
	for i := range q {
		q[i] = fmt.Sprintf("%q", shortened(names[i]))
	}
	if len(names) > most {
		q = append(q, fmt.Sprintf("and %d more", len(names)-most))
	}
	return strings.Join(q, ", ")
}

// shortened cuts long text for a message.
func shortened(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return s
}

// choices lists what there is and proposes the nearest to what was asked for.
func choices(intro string, names []string, asked string) string {
	if len(names) == 0 {
		return "there is none at all"
	}
	text := intro + " " + quoted(names)
	if best := nearest(names, asked); best != "" {
		text += fmt.Sprintf("; did you mean %q?", best)
	}
	return text
}

// nearest returns the name with the smallest edit distance to what was asked
// for, the start of a name counting as the name; empty if none is near.
func nearest(names []string, asked string) string {
	asked = strings.ToLower(asked)
	best, least := "", len([]rune(asked))/2+1
	for _, name := range names {
		lower := strings.ToLower(name)
		d := distance(lower, asked)
		if r := []rune(lower); len(r) > len([]rune(asked)) {
			d = min(d, distance(string(r[:len([]rune(asked))]), asked))
		}
		if d < least {
			best, least = name, d
		}
	}
	return best
}

// distance returns the number of letters to insert, drop or change to make b
// of a.
func distance(a, b string) int {
	from, to := []rune(a), []rune(b)
	row := make([]int, len(to)+1)
	for j := range row {
		row[j] = j
	}
	for i, x := range from {
		diagonal := row[0]
		row[0] = i + 1
		for j, y := range to {
			change := diagonal
			if x != y {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(to)]
}
