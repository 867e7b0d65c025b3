package table

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// What is shown of a large table. A cell is cut only where nobody would read it
// in a table: it may hold what somebody has to do.
const (
	mostRows    = 60
	mostColumns = 20
	mostRunes   = 2000 // in a cell
	mostBytes   = 256 << 10
)

// gap stands for what is left out.
const gap = "…"

// bounded writes the table, abridged so far that the text has at most so many bytes.
func (t Table) bounded(write func(Table) string) string {
	rows, cell := mostRows, mostRunes
	for {
		text := write(t.abridged(rows, cell))
		if len(text) <= mostBytes || cell == 0 {
			return text
		}
		if rows > 4 {
			rows /= 2
		} else {
			cell /= 2
		}
	}
}

// abridged returns the table with its first and last rows and columns, two
// thirds and one third, and cells of at most so many characters. The note
// counts what there is.
func (t Table) abridged(most, runes int) Table {
	rows, columns := len(t.Rows), len(t.Columns)
	all, missing := t.Rows, -1
	t.Rows = append([][]string(nil), all[:min(rows, most)]...)
	if rows > most {
		missing = most * 2 / 3
		t.Rows = append(append(t.Rows[:missing], nil), all[rows-(most-missing):]...)
	}
	keep := []int{}
	for i := range columns {
		switch {
		case columns <= mostColumns || i < mostColumns*2/3 || i >= columns-(mostColumns-mostColumns*2/3):
			keep = append(keep, i)
		case i == mostColumns*2/3:
			keep = append(keep, -1)
		}
	}
	heads := make([]Column, len(keep))
	for j, i := range keep {
		heads[j] = Column{Name: gap}
		if i >= 0 {
			heads[j] = t.Columns[i]
			heads[j].Name, heads[j].Unit = cut(heads[j].Name, runes), cut(heads[j].Unit, runes)
		}
	}
	for k, row := range t.Rows {
		cells := make([]string, len(keep))
		for j, i := range keep {
			cells[j] = gap
			if i >= 0 && k != missing {
				cells[j] = cut(t.cell(row, i), runes)
			}
		}
		t.Rows[k] = cells
	}
	t.Columns, t.Caption, t.Note = heads, cut(t.Caption, runes), cut(t.Note, runes)
	if rows > most || columns > mostColumns {
		t.Note = strings.TrimSpace(fmt.Sprintf("%s %d rows × %d columns. %s", gap, rows, columns, t.Note))
	}
	return t
}

// cut returns the text with at most so many characters, the last one a sign that
// there were more.
func cut(s string, runes int) string {
	if len(s) <= runes || utf8.RuneCountInString(s) <= runes {
		return s
	}
	if runes == 0 {
		return ""
	}
	return string([]rune(s)[:runes-1]) + gap
}
