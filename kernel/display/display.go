// Package display says what a value may look like in a notebook.
//
// A type shows itself by having a method such as HTML or SVG; it need not
// import this package. A [Bundle] carries what the methods returned.
package display
