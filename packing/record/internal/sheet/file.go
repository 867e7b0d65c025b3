package sheet

import (
	"errors"
	"fmt"
	"strings"

	"github.com/evenbed/evenbed/packing/record/internal/source"
	"github.com/evenbed/evenbed/packing/record/internal/text"
)

// Read reads sheets as tables: titles, header, units and paired columns are
// found as in a text file. What is said of a text's separator, decimal mark and
// encoding does not apply to cells and is not looked at.
func Read(data []byte, o Options, as text.Options, m text.Monitor) (source.File, error) {
	grids, facts, err := Grids(data, o)
	if err != nil {
		return source.File{}, err
	}
	out := source.File{Facts: facts}
	as.Separator, as.Decimal, as.Thousands, as.Encoding = "\t", ".", "none", "utf-8"
	var empty []string
	var about *Grid
	if last := len(grids) - 1; last > 0 && grids[last].Name == aboutSheet {
		about, grids = &grids[last], grids[:last]
	}
	for i := range grids {
		g := &grids[i]
		none := g.Numbers+g.Dates+g.Clocks+g.NumbersAsText == 0 && o.Sheet == ""
		if none && len(grids) > 1 {
			empty = append(empty, fmt.Sprintf("%q", g.Name))
			continue
		}
		r, err := text.ReadAll(g.Text, as, m) // a sheet alone may be a header alone
		f, u := r.File, r.Used
		switch {
		case err != nil && none:
			empty = append(empty, fmt.Sprintf("%q", g.Name))
			continue
		case err != nil:
			return source.File{}, inSheet(g.Name, err, len(grids) > 1)
		}
		g.Text = nil
		about := "" // which sheet a fact is about
		if len(grids) > 1 {
			about = fmt.Sprintf(" of sheet %q", g.Name)
		}
		out.Facts = append(out.Facts, g.facts(about)...)
		for _, fact := range f.Facts {
			switch fact.What {
			case "encoding", "separator", "decimal mark", "thousands mark", "line ends", "byte order mark":
				continue
			}
			switch fact.What {
			case "header", "units", "rows":
				fact.Value = strings.NewReplacer("lines ", "rows ", "line ", "row ").Replace(fact.Value)
			}
			fact.What += about
			out.Facts = append(out.Facts, fact)
		}
		for _, t := range f.Tables {
			t.Name = strings.TrimSpace(g.Name + " " + t.Name)
			t.Layout = source.Layout{HeaderLine: u.HeaderLine, HeaderRows: u.HeaderRows, DataLine: u.DataLine, LastLine: u.LastLine,
				DateOrder: u.DateOrder, TimeLayout: u.TimeLayout}
			out.Tables = append(out.Tables, t)
		}
	}
	if about != nil && len(out.Tables) > 0 {
		about.entries(&out.Tables[0])
		out.Facts = append(out.Facts, source.Fact{What: "preamble and notes", Value: fmt.Sprintf("from sheet %q", aboutSheet)})
	}
	if len(empty) > 0 {
		if len(out.Tables) == 0 {
			return source.File{}, source.Error{Place: "sheet " + strings.Join(empty, ", "), Problem: "there are no numbers in it", Remedy: "check that this is the file you meant, and that it was saved with its values"}
		}
		out.Facts = append(out.Facts, source.Fact{What: "sheets without numbers left out", Value: strings.Join(empty, ", ")})
	}
	return out, nil
}

// entries adds preamble and notes to a table, from the sheet that Write makes of
// them.
func (g Grid) entries(t *source.Table) {
	for line := range strings.Lines(string(g.Text)) {
		cells := strings.Split(strings.TrimSuffix(line, "\n"), "\t")
		if len(cells) < 3 {
			continue
		}
		e := source.Entry{Key: cells[1], Value: cells[2]}
		switch cells[0] {
		case preamblePart:
			t.Meta = append(t.Meta, e)
		case notesPart:
			t.Notes = append(t.Notes, e)
		}
	}
}

// facts tells what was done to the cells.
func (g Grid) facts(about string) []source.Fact {
	list := []source.Fact{{What: "cells" + about, Value: fmt.Sprintf("%d rows, %d columns; %d numbers with all stored digits", g.Rows, g.Width, g.Numbers)}}
	if g.Percents > 0 {
		list = append(list, source.Fact{What: "percentages" + about, Value: fmt.Sprintf("%d numbers are shown in %%, by the number format of their cells: read as shown", g.Percents)})
	}
	if g.Dates+g.Clocks > 0 {
		list = append(list, source.Fact{What: "dates" + about, Value: fmt.Sprintf("%d dates and %d times, by the number format of their cells", g.Dates, g.Clocks)})
	}
	if g.NumbersAsText > 0 {
		f := source.Fact{What: "numbers stored as text" + about, Value: fmt.Sprintf("%d, the first in %s", g.NumbersAsText, g.FirstAsText)}
		if g.CommaNumbers > 0 {
			f.Value += fmt.Sprintf("; the comma in %d of them is a decimal mark", g.CommaNumbers)
			f.Guessed = true
		}
		list = append(list, f)
	}
	if g.Merged > 0 {
		list = append(list, source.Fact{What: "merged cells" + about, Value: fmt.Sprintf("%d ranges, whose text stands in their first cell", g.Merged)})
	}
	return list
}

// inSheet gives an error of a text the place in the sheet.
func inSheet(sheet string, err error, several bool) error {
	out := source.Error{Place: fmt.Sprintf("sheet %q", sheet), Problem: err.Error(), Err: err}
	var e text.Error
	if errors.As(err, &e) {
		out.Problem, out.Remedy = e.Problem, e.Remedy
		if e.Line > 0 {
			out.Place += fmt.Sprintf(", row %d", e.Line)
		}
	}
	if several {
		out.Remedy = strings.TrimPrefix(out.Remedy+`; or name the sheet to read: record.Options{Table: "name"}`, "; ")
	}
	return out
}
