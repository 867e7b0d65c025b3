// Package table lays out what a result shows: a [Page] of tables, notices,
// lists and pictures, as HTML, Markdown and plain text. Its tables are those of
// the package of the same name that everybody can import.
//
// Text goes in as plain text; each form escapes it. HTML takes its colours from
// the page around it, so that it reads on light and on dark ground, and refers
// to nothing outside.
package table

import "github.com/evenbed/evenbed/packing/table"

// Table and Column are those of package packing/table.
type (
	Table  = table.Table
	Column = table.Column
)
