package record

import (
	"fmt"
	"strings"
)

// An Error tells where a file could not be read and what to do.
type Error struct {
	File    string
	Line    int // from 1; 0 if it concerns no single line
	Column  int // character in the line, from 1; 0 if it concerns the whole line
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
	b.WriteString(": " + e.Problem)
	if e.Remedy != "" {
		b.WriteString("; " + e.Remedy)
	}
	return b.String()
}

// Unwrap returns the cause.
func (e Error) Unwrap() error { return e.Err }

// quoted writes names in quotes, with commas between.
func quoted(names []string) string {
	q := make([]string, len(names))
	for i, n := range names {
		q[i] = fmt.Sprintf("%q", n)
	}
	return strings.Join(q, ", ")
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
