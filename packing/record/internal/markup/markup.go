// Package markup walks through XML that may be hostile: it is read as a stream,
// no entity is ever expanded, and depth and length are limited.
package markup

import (
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

const maxDepth = 64 // elements in elements

// An Element is the begin or the end of an element, or text in it.
type Element struct {
	Name  string // without the prefix; of text, the element it stands in
	Attrs []xml.Attr
	End   bool
	Text  []byte // nil if it is not text; valid until the next element
}

// Attribute returns an attribute, whatever its namespace; empty if there is
// none.
func (e Element) Attribute(name string) string {
	for _, a := range e.Attrs {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// Walk calls do for what it finds. A piece of XML, such as a text between two
// elements, may have longest bytes. What do returns ends the walk, and gets
// place and line if it has none.
func Walk(r io.Reader, place string, longest int64, do func(Element) error) error {
	guard := &guard{r: r, limit: longest}
	d := xml.NewDecoder(guard)
	d.CharsetReader = func(charset string, _ io.Reader) (io.Reader, error) {
		return nil, fmt.Errorf("it is written in %q instead of UTF-8", charset)
	}
	damaged := func(err error) error {
		var e source.Error
		if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
			return err
		}
		if errors.As(err, &e) {
			if e.Place == "" {
				e.Place = place
				e.Line, e.Column = d.InputPos()
			}
			return e
		}
		line, column := d.InputPos()
		return source.Error{Line: line, Column: column, Place: place, Problem: fmt.Sprintf("it cannot be read (%v)", err),
			Remedy: "the file is damaged or cut short: save or copy it again", Err: err}
	}
	var open []string
	for {
		guard.start, guard.limit = d.InputOffset(), d.InputOffset()+longest
		token, err := d.RawToken()
		if err == io.EOF {
			if len(open) > 0 {
				return damaged(fmt.Errorf("it ends inside <%s>", open[len(open)-1]))
			}
			return nil
		}
		if err != nil {
			return damaged(err)
		}
		var e Element
		switch t := token.(type) {
		case xml.StartElement:
			e = Element{Name: t.Name.Local, Attrs: t.Attr}
			if open = append(open, e.Name); len(open) > maxDepth {
				return damaged(fmt.Errorf("more than %d elements in each other", maxDepth))
			}
		case xml.EndElement:
			if len(open) == 0 || open[len(open)-1] != t.Name.Local {
				return damaged(fmt.Errorf("</%s> ends what did not begin", t.Name.Local))
			}
			open = open[:len(open)-1]
			e = Element{Name: t.Name.Local, End: true}
		case xml.CharData:
			if len(open) == 0 {
				continue
			}
			e = Element{Name: open[len(open)-1], Text: t}
		case xml.Directive:
			return damaged(errors.New("it declares a document type, which is refused: entities in it could grow without end"))
		default:
			continue
		}
		if err := do(e); err != nil {
			return damaged(err)
		}
	}
}

// A guard ends reading when a single piece goes on for too long.
type guard struct {
	r                io.Reader
	at, start, limit int64
}

func (g *guard) Read(b []byte) (int, error) {
	if g.at > g.limit {
		return 0, source.Error{Problem: fmt.Sprintf("one piece of XML is longer than %d MiB", (g.limit-g.start)>>20),
			Remedy: "save the values in smaller parts or in another format"}
	}
	n, err := g.r.Read(b)
	g.at += int64(n)
	return n, err
}
