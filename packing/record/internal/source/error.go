package source

import (
	"fmt"
	"strings"
)

// An Error tells where in a file something is wrong and what to do. A text has
// a line and a column, other formats have a place in words.
type Error struct {
	Line, Column int    // from 1; 0 if it concerns none
	Place        string // `sheet "Run", cell B12`, "byte 80", `variable "time"`; may be empty
	Problem      string
	Remedy       string
	Err          error // the cause, if there is one
}

// Error writes place, problem and remedy.
func (e Error) Error() string {
	var b strings.Builder
	if e.Line > 0 {
		fmt.Fprintf(&b, "line %d: ", e.Line)
	}
	if e.Place != "" {
		b.WriteString(e.Place + ": ")
	}
	b.WriteString(e.Problem)
	if e.Remedy != "" {
		b.WriteString("; " + e.Remedy)
	}
	return b.String()
}

// Unwrap returns the cause.
func (e Error) Unwrap() error { return e.Err }
