package efficiency

import "github.com/evenbed/evenbed/packing/table"

// without returns the table of a part that a result does not have: a note in
// the place of its rows says why.
func without(caption string, refusal error) table.Table {
	return table.Table{Caption: caption, Note: "No result: " + errOf(refusal)}
}

// doubts returns warnings as a table.
func doubts(warnings []Warning) table.Table {
	t := table.Table{Caption: "Doubts", Columns: []table.Column{{Name: "what was seen"}, {Name: "what to do"}}}
	for _, w := range warnings {
		t.Add(w.What, w.Do)
	}
	if len(t.Rows) == 0 {
		t.Note = "No doubts."
	}
	return t
}
