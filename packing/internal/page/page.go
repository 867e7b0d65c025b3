// Package page lays out what a result shows: headings, text, notices, tables,
// lists, code and pictures, one below the other.
//
// The Page method of a result returns a [Page]. Its methods HTML, Markdown, String
// and SVG write it, and whoever shows results, such as the notebook, asks for no
// more than that. Text goes in as plain text; each form escapes it. HTML takes its
// colours from the page around it, so that it reads on light and on dark ground,
// and refers to nothing outside.
package page

import (
	"fmt"
	"html"
	"strings"
	"sync"

	"github.com/evenbed/evenbed/packing/internal/markdown"
	"github.com/evenbed/evenbed/packing/table"
)

// A Page is a sequence of parts, written in the order they were added.
type Page struct {
	parts  []part
	figure func() string // what SVG returns, nil without a figure
}

// A part writes itself in the three forms.
type part interface {
	HTML() string
	Markdown() string
	String() string
}

// Heading adds a heading.
func (p *Page) Heading(text string) { p.parts = append(p.parts, heading(text)) }

// Text adds a paragraph.
func (p *Page) Text(text string) { p.parts = append(p.parts, paragraph(text)) }

// Notice adds a paragraph that must not be overlooked: a refusal, a limit that
// was not checked, a verdict.
func (p *Page) Notice(title, text string) { p.parts = append(p.parts, notice{title, text}) }

// NoResult says why there are no numbers: an error, or if there is none what else
// is known.
func (p *Page) NoResult(why error, otherwise string) {
	if why != nil {
		otherwise = why.Error()
	}
	p.Notice("No result:", otherwise)
}

// Code adds a piece of program to copy; an empty one adds nothing.
func (p *Page) Code(text string) {
	if text != "" {
		p.parts = append(p.parts, code(text))
	}
}

// mostItems is how many items of a list are shown before the rest is counted.
const mostItems = 100

// List adds a list under a title; an empty list adds nothing. Of a long one the
// first items are shown and the others counted.
func (p *Page) List(title string, items []string) {
	if n := len(items) - mostItems; n > 0 {
		items = append(items[:mostItems:mostItems], fmt.Sprintf("… and %d more", n))
	}
	if len(items) > 0 {
		p.parts = append(p.parts, list{title, items})
	}
}

// Table adds a table; one without rows and note adds nothing.
func (p *Page) Table(t table.Table) {
	if len(t.Rows) > 0 || t.Note != "" {
		p.parts = append(p.parts, t)
	}
}

// Append adds the parts of another page.
func (p *Page) Append(other Page) { p.parts = append(p.parts, other.parts...) }

// Break begins a new sheet of paper.
func (p *Page) Break() { p.parts = append(p.parts, sheet{}) }

// A Drawing is a picture and the text that stands for it. The picture must be the
// program's own: it is not escaped.
type Drawing interface {
	SVG() string
	String() string
}

// Figure adds a picture of what the page also says in words: Markdown and text go
// without it. The first one is what SVG returns.
func (p *Page) Figure(d Drawing) {
	svg := sync.OnceValue(d.SVG) // drawn when first asked for
	p.parts = append(p.parts, figure{svg, d})
	if p.figure == nil {
		p.figure = svg
	}
}

// Picture adds a picture whose text Markdown and text show in its place.
func (p *Page) Picture(d Drawing) { p.parts = append(p.parts, picture{d}) }

// HTML writes the page as one block.
func (p Page) HTML() string {
	var b strings.Builder
	b.WriteString("<div>\n")
	for _, x := range p.parts {
		b.WriteString(x.HTML())
	}
	b.WriteString("</div>\n")
	return b.String()
}

// Markdown writes the page with an empty line between its parts.
func (p Page) Markdown() string {
	return p.joined(part.Markdown)
}

// String writes the page as plain text, with an empty line between its parts.
func (p Page) String() string {
	return p.joined(part.String)
}

// joined writes the parts that have a text.
func (p Page) joined(write func(part) string) string {
	var all []string
	for _, x := range p.parts {
		if s := write(x); s != "" {
			all = append(all, s)
		}
	}
	return strings.Join(all, "\n")
}

// SVG returns the first figure of the page, "" if it has none.
func (p Page) SVG() string {
	if p.figure == nil {
		return ""
	}
	return p.figure()
}

type heading string

func (h heading) HTML() string {
	return `<p style="font-size:1.15em;font-weight:bold;margin:.8em 0 .3em">` + html.EscapeString(string(h)) + "</p>\n"
}
func (h heading) Markdown() string { return "### " + markdown.Escape(string(h)) + "\n" }
func (h heading) String() string   { return string(h) + "\n" }

type paragraph string

func (t paragraph) HTML() string {
	return `<p style="margin:.4em 0">` + html.EscapeString(string(t)) + "</p>\n"
}
func (t paragraph) Markdown() string { return markdown.Escape(string(t)) + "\n" }
func (t paragraph) String() string   { return string(t) + "\n" }

type notice struct{ title, text string }

func (n notice) HTML() string {
	return `<p role="note" style="margin:.5em 0;padding:.4em .8em;border-left:4px solid #c77700">` +
		"<strong>" + html.EscapeString(n.title) + "</strong> " + html.EscapeString(n.text) + "</p>\n"
}
func (n notice) Markdown() string {
	return "> **" + markdown.Escape(n.title) + "** " + markdown.Escape(n.text) + "\n"
}
func (n notice) String() string { return n.title + " " + n.text + "\n" }

type list struct {
	title string
	items []string
}

func (l list) HTML() string {
	var b strings.Builder
	if l.title != "" {
		b.WriteString(`<p style="font-weight:bold;margin:.6em 0 .2em">` + html.EscapeString(l.title) + "</p>\n")
	}
	b.WriteString(`<ul style="margin:.2em 0 .6em">` + "\n")
	for _, s := range l.items {
		b.WriteString("<li>" + html.EscapeString(s) + "</li>\n")
	}
	b.WriteString("</ul>\n")
	return b.String()
}

func (l list) Markdown() string {
	var b strings.Builder
	if l.title != "" {
		b.WriteString("**" + markdown.Escape(l.title) + "**\n\n")
	}
	for _, s := range l.items {
		b.WriteString("- " + markdown.Escape(s) + "\n")
	}
	return b.String()
}

func (l list) String() string {
	var b strings.Builder
	if l.title != "" {
		b.WriteString(l.title + "\n")
	}
	for _, s := range l.items {
		b.WriteString("- " + s + "\n")
	}
	return b.String()
}

type code string

// HTML keeps blanks, wraps what is too long for the page without changing what
// is copied, and lets one click select the whole.
func (c code) HTML() string {
	return `<pre style="margin:.3em 0 .6em;padding:.4em .8em;border:1px solid rgba(128,128,128,.45);white-space:pre-wrap;overflow-wrap:anywhere">` +
		`<code style="user-select:all">` + html.EscapeString(string(c)) + "</code></pre>\n"
}

// Markdown writes a fence longer than any row of backquotes within.
func (c code) Markdown() string {
	fence := "```"
	for strings.Contains(string(c), fence) {
		fence += "`"
	}
	return fence + "go\n" + strings.TrimSuffix(string(c), "\n") + "\n" + fence + "\n"
}

func (c code) String() string {
	return "    " + strings.ReplaceAll(strings.TrimSuffix(string(c), "\n"), "\n", "\n    ") + "\n"
}

type sheet struct{}

func (sheet) HTML() string     { return `<div style="break-before:page"></div>` + "\n" }
func (sheet) Markdown() string { return "" }
func (sheet) String() string   { return "" }

type picture struct{ Drawing }

func (p picture) HTML() string     { return framed(p.SVG(), p.Drawing.String()) }
func (p picture) Markdown() string { return markdown.Escape(p.Drawing.String()) + "\n" }
func (p picture) String() string   { return p.Drawing.String() + "\n" }

type figure struct {
	svg func() string
	d   Drawing
}

func (f figure) HTML() string   { return framed(f.svg(), f.d.String()) }
func (figure) Markdown() string { return "" }
func (figure) String() string   { return "" }

// framed puts a picture into a block that says what it shows.
func framed(svg, text string) string {
	return `<div role="img" aria-label="` + html.EscapeString(text) + `">` + svg + "</div>\n"
}
