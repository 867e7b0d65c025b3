package notebook

import (
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/evenbed/evenbed/kernel/display"
)

// A Difference is the first place in a cell where outputs differ.
type Difference struct {
	File         string
	Cell         int    // counted from 1 over all cells
	Count        int    // execution count of the new run; 0 if the cell was not run
	Output       int    // counted from 1 within the cell
	What         string // "stdout", "image/svg+xml", "error" ...
	Line         int    // counted from 1; 0 if an output is missing or of another kind
	Stored, Made string // the line, or what is there
}

func (d Difference) String() string {
	place := fmt.Sprintf("%s: cell %d", d.File, d.Cell)
	if d.Count > 0 {
		place += fmt.Sprintf(" [%d]", d.Count)
	}
	place += fmt.Sprintf(", output %d", d.Output)
	if d.What != "" {
		place += ", " + d.What
	}
	if d.Line > 0 {
		place += fmt.Sprintf(", line %d", d.Line)
	}
	return fmt.Sprintf("%s\n  stored: %s\n  made:   %s", place, d.Stored, d.Made)
}

// Compare returns where the outputs that a new run made differ from the stored
// ones, at most one difference for each cell, in order of the cells. Execution
// counts are not compared, nor the outputs of cells tagged nbval-ignore-output
// or nbval-skip, nor displays of progress. Numbers in text may differ by the tolerance, relative to the
// larger one; a tolerance of 0 lets nothing differ.
func Compare(stored, made *Notebook, tolerance float64) []Difference {
	var all []Difference
	for i := range max(len(stored.Cells), len(made.Cells)) {
		d := Difference{File: made.Name, Cell: i + 1, Output: 1}
		if i >= len(stored.Cells) || i >= len(made.Cells) {
			d.Stored = fmt.Sprintf("%d cells", len(stored.Cells))
			d.Made = fmt.Sprintf("%d cells", len(made.Cells))
			return append(all, d)
		}
		if tags := made.Cells[i].Tags; slices.Contains(tags, tagIgnore) || slices.Contains(tags, tagSkip) {
			continue
		}
		d.Count = made.Cells[i].Count
		if compareOutputs(&d, stored.Cells[i].Outputs, made.Cells[i].Outputs, tolerance) {
			all = append(all, d)
		}
	}
	return all
}

// isProgress reports whether the output told how far work was when the notebook
// ran in a front end. How often that is shown depends on the time it takes.
func (o Output) isProgress() bool {
	return string(o.Bundle.Metadata[display.ProgressMetadata]) == "true"
}

// Order returns what the stored execution counts say against a run from top to
// bottom, and which cells hold an error that is not meant.
func (nb *Notebook) Order() []string {
	var all []string
	last, lastCell := 0, 0
	for i, c := range nb.Cells {
		if c.Kind != Code || strings.TrimSpace(c.Source) == "" || slices.Contains(c.Tags, tagSkip) {
			continue
		}
		switch {
		case c.Count == 0:
			all = append(all, fmt.Sprintf("%s: cell %d was never run; run all cells and save", nb.Name, i+1))
		case c.Count <= last:
			all = append(all, fmt.Sprintf("%s: cell %d [%d] was run before cell %d [%d] above it; restart the kernel, run all cells and save", nb.Name, i+1, c.Count, lastCell, last))
		}
		last, lastCell = max(last, c.Count), i+1
		if !slices.Contains(c.Tags, tagFails) && slices.ContainsFunc(c.Outputs, func(o Output) bool { return o.Kind == Failure }) {
			all = append(all, fmt.Sprintf("%s: cell %d [%d] is stored with an error; mend it, or tag it %s if the error is meant", nb.Name, i+1, c.Count, tagFails))
		}
	}
	return all
}

// compareOutputs reports whether the outputs differ, and where.
func compareOutputs(d *Difference, stored, made []Output, tolerance float64) bool {
	stored = slices.DeleteFunc(slices.Clone(stored), Output.isProgress)
	for i := range max(len(stored), len(made)) {
		d.Output = i + 1
		switch {
		case i >= len(stored):
			d.Stored, d.Made = "nothing", made[i].describe()
			return true
		case i >= len(made):
			d.Stored, d.Made = stored[i].describe(), "nothing"
			return true
		}
		before, after := stored[i].parts(), made[i].parts()
		if stored[i].Kind != made[i].Kind || !slices.Equal(slices.Sorted(maps.Keys(before)), slices.Sorted(maps.Keys(after))) {
			d.Stored, d.Made = stored[i].describe(), made[i].describe()
			return true
		}
		for _, what := range slices.Sorted(maps.Keys(before)) {
			if !same(before[what], after[what], tolerance) {
				d.What = what
				d.Line, d.Stored, d.Made = firstLine(before[what], after[what], tolerance)
				return true
			}
		}
	}
	return false
}

var number = regexp.MustCompile(`[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?`)

// same reports whether two texts are equal, but for numbers that differ by the
// tolerance.
func same(a, b string, tolerance float64) bool {
	if a == b {
		return true
	}
	if tolerance == 0 {
		return false
	}
	atA, atB := number.FindAllStringIndex(a, -1), number.FindAllStringIndex(b, -1)
	if len(atA) != len(atB) {
		return false
	}
	endA, endB := 0, 0
	for i := range atA {
		if a[endA:atA[i][0]] != b[endB:atB[i][0]] {
			return false
		}
		endA, endB = atA[i][1], atB[i][1]
		x, errX := strconv.ParseFloat(a[atA[i][0]:endA], 64)
		y, errY := strconv.ParseFloat(b[atB[i][0]:endB], 64)
		if errX != nil || errY != nil || math.Abs(x-y) > tolerance*max(x, y) {
			return false
		}
	}
	return a[endA:] == b[endB:]
}

// parts returns what of an output is compared, by name.
func (o Output) parts() map[string]string {
	switch o.Kind {
	case Stream:
		return map[string]string{o.Name: o.Text}
	case Failure:
		return map[string]string{
			"error":     o.Name + ": " + o.Text,
			"traceback": plain(strings.Join(o.Traceback, "\n")),
		}
	}
	parts := make(map[string]string)
	for mime, data := range o.Bundle.Data {
		switch {
		case display.IsJSON(mime):
			n := jsonNode(data)
			parts[mime] = n.compact()
		case display.IsText(mime):
			parts[mime] = string(data)
		default:
			parts[mime] = fmt.Sprintf("%d bytes, %x", len(data), data)
		}
	}
	for name, value := range o.Bundle.Metadata {
		parts["metadata "+name] = jsonNode(value).compact()
	}
	return parts
}

// describe says in a few words what an output is.
func (o Output) describe() string {
	switch o.Kind {
	case Stream:
		first, _, _ := strings.Cut(o.Text, "\n")
		return o.Name + ": " + shorten(first, 0)
	case Failure:
		return "error: " + shorten(o.Name+": "+o.Text, 0)
	}
	return string(o.Kind) + " of " + strings.Join(slices.Sorted(maps.Keys(o.parts())), ", ")
}

// firstLine returns the first line that differs, cut to the part around the
// difference.
func firstLine(stored, made string, tolerance float64) (line int, before, after string) {
	a, b := strings.Split(stored, "\n"), strings.Split(made, "\n")
	for i := range max(len(a), len(b)) {
		switch {
		case i >= len(a):
			return i + 1, "(ends before)", shorten(b[i], 0)
		case i >= len(b):
			return i + 1, shorten(a[i], 0), "(ends before)"
		case !same(a[i], b[i], tolerance):
			at := 0
			for at < min(len(a[i]), len(b[i])) && a[i][at] == b[i][at] {
				at++
			}
			return i + 1, shorten(a[i], at), shorten(b[i], at)
		}
	}
	return 0, "", "" // equal texts have no such line
}

// shorten cuts a line to about a hundred bytes around a place.
func shorten(line string, at int) string {
	const before, after = 40, 60
	from, to := max(0, at-before), min(len(line), at+after)
	from = min(from, to)
	for from > 0 && !utf8.RuneStart(line[from]) {
		from--
	}
	for to < len(line) && !utf8.RuneStart(line[to]) {
		to++
	}
	cut := line[from:to]
	if from > 0 {
		cut = "… " + cut
	}
	if to < len(line) {
		cut += " …"
	}
	return cut
}
