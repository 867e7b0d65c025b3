package sheet

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
)

const (
	maxDepth = 64      // elements in elements
	maxToken = 4 << 20 // bytes of one piece of XML; a cell has at most 32,767 characters
)

// An element is the begin or the end of an element, or text in it.
type element struct {
	name  string // without the prefix; of text, the element it stands in
	attrs []xml.Attr
	end   bool
	text  []byte // nil if it is not text
}

// attribute returns an attribute, whatever its namespace; empty if there is
// none.
func (e element) attribute(name string) string {
	for _, a := range e.attrs {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// walk goes through a part and calls do for what it finds. It refuses
// declarations of entities, deep nesting and pieces too long for a workbook.
func (b *book) walk(part string, do func(element) error) error {
	r, err := b.open(part)
	if err != nil {
		return err
	}
	defer r.Close()
	place := fmt.Sprintf("part %q", part)
	guard := &guard{r: r, limit: maxToken}
	d := xml.NewDecoder(guard)
	d.CharsetReader = func(charset string, _ io.Reader) (io.Reader, error) {
		return nil, fmt.Errorf("it is written in %q instead of UTF-8", charset)
	}
	var open []string
	for {
		guard.limit = d.InputOffset() + maxToken
		token, err := d.RawToken()
		if err == io.EOF {
			if len(open) > 0 {
				return damaged(place, fmt.Errorf("it ends inside <%s>", open[len(open)-1]))
			}
			return nil
		}
		if err != nil {
			return damaged(place, err)
		}
		var e element
		switch t := token.(type) {
		case xml.StartElement:
			e = element{name: t.Name.Local, attrs: t.Attr}
			if open = append(open, e.name); len(open) > maxDepth {
				return damaged(place, fmt.Errorf("more than %d elements in each other", maxDepth))
			}
		case xml.EndElement:
			if len(open) == 0 || open[len(open)-1] != t.Name.Local {
				return damaged(place, fmt.Errorf("</%s> at byte %d ends what did not begin", t.Name.Local, d.InputOffset()))
			}
			open = open[:len(open)-1]
			e = element{name: t.Name.Local, end: true}
		case xml.CharData:
			if len(open) == 0 {
				continue
			}
			e = element{name: open[len(open)-1], text: t}
		case xml.Directive:
			return damaged(place, errors.New("it declares a document type, which no workbook does"))
		default:
			continue
		}
		if err := do(e); err != nil {
			return damaged(place, err)
		}
	}
}

// A guard ends reading when a single piece goes on for too long.
type guard struct {
	r         io.Reader
	at, limit int64
}

func (g *guard) Read(b []byte) (int, error) {
	if g.at > g.limit {
		return 0, fmt.Errorf("one piece of XML is longer than %d MiB", maxToken>>20)
	}
	n, err := g.r.Read(b)
	g.at += int64(n)
	return n, err
}
