package notebook

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"html"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/notebook/internal/mathml"
)

//go:embed page.css
var pageStyle string

// policy keeps a page from loading anything and from running scripts, whatever
// its outputs hold.
const policy = "default-src 'none'; img-src data:; font-src data:; media-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"

// HTML returns the notebook as one page that needs neither network nor script.
// Formulas are MathML. HTML that cells made is put in as it is.
func (nb *Notebook) HTML() []byte {
	p := page{notebook: nb, markdown: markdown{nb.Folder, &headingIDs{make(map[string]bool)}}}
	fmt.Fprintf(&p.b, `<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="%s">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>%s</title>
<style>
%s</style>
</head>
<body>
<main>
`, policy, html.EscapeString(nb.Title()), pageStyle)
	for i, c := range nb.Cells {
		p.cell(c, i+1)
	}
	fmt.Fprintf(&p.b, "</main>\n<footer>%s, executed by evenbed</footer>\n</body>\n</html>\n", html.EscapeString(filepath.Base(nb.Name)))
	return []byte(p.b.String())
}

// A page is a web page being written.
type page struct {
	notebook *Notebook
	markdown markdown
	b        strings.Builder
}

func (p *page) cell(c *Cell, number int) {
	switch c.Kind {
	case Markdown:
		fmt.Fprintf(&p.b, "<section class=\"prose\" id=\"cell-%d\">\n%s</section>\n", number, p.markdown.html(c.Source, c.Attachments))
	case Raw:
		fmt.Fprintf(&p.b, "<section class=\"raw\" id=\"cell-%d\">\n<pre>%s</pre>\n</section>\n", number, html.EscapeString(c.Source))
	case Code:
		if strings.TrimSpace(c.Source) == "" && len(c.Outputs) == 0 {
			return
		}
		fmt.Fprintf(&p.b, "<section class=\"code\" id=\"cell-%d\">\n", number)
		count := ""
		if c.Count > 0 {
			count = fmt.Sprintf(`<span class="count" aria-label="input %d">%[1]d</span>`, c.Count)
		}
		fmt.Fprintf(&p.b, "<div class=\"input\">%s<pre><code>%s</code></pre></div>\n", count, colourGo(c.Source))
		for _, o := range c.Outputs {
			p.output(o)
		}
		p.b.WriteString("</section>\n")
	}
}

func (p *page) output(o Output) {
	switch o.Kind {
	case Stream:
		class := "stream"
		if o.Name == "stderr" {
			class += " stderr"
		}
		p.put(class, "<pre>"+ansiHTML(overwritten(o.Text))+"</pre>")
	case Failure:
		text := strings.Join(o.Traceback, "\n")
		if strings.TrimSpace(text) == "" {
			text = o.Name + ": " + o.Text
		}
		p.put("failure", "<pre>"+ansiHTML(text)+"</pre>")
	default:
		p.bundle(o.Bundle)
	}
}

func (p *page) put(class, markup string) {
	fmt.Fprintf(&p.b, "<div class=\"output %s\">%s</div>\n", class, markup)
}

// bundle shows the richest representation that a page can show.
func (p *page) bundle(b display.Bundle) {
	for _, mime := range []string{
		display.MIMETypeHTML, display.MIMETypeSVG, display.MIMETypePNG, display.MIMETypeJPEG, "image/webp", "image/gif",
		display.MIMETypeMarkdown, display.MIMETypeLatex, display.MIMETypeText, display.MIMETypeJSON,
	} {
		data, ok := b.Data[mime]
		if !ok {
			continue
		}
		switch mime {
		case display.MIMETypeHTML:
			p.put("html", string(data))
		case display.MIMETypeSVG:
			p.put("figure", svg(data, b.Metadata[mime]))
		case display.MIMETypeMarkdown:
			p.put("prose", p.markdown.html(string(data), nil))
		case display.MIMETypeLatex:
			p.put("formula", p.latex(string(data)))
		case display.MIMETypeText:
			p.put("text", "<pre>"+ansiHTML(string(data))+"</pre>")
		case display.MIMETypeJSON:
			p.put("text", "<pre>"+html.EscapeString(string(data))+"</pre>")
		default:
			p.put("figure", raster(mime, data, b))
		}
		return
	}
	var types []string
	for mime := range b.Data {
		types = append(types, mime)
	}
	slices.Sort(types)
	p.put("missing", "[output not in this page: "+html.EscapeString(strings.Join(types, ", "))+"]")
}

var beforeSVG = regexp.MustCompile(`(?s)^.*?(<svg[\s>])`)

// svg returns a drawing as an element. One that is marked as isolated becomes
// an image of its own, so that its identifiers and styles stay inside it.
func svg(data []byte, metadata json.RawMessage) string {
	var m struct {
		Isolated bool `json:"isolated"`
	}
	if json.Unmarshal(metadata, &m) == nil && m.Isolated {
		return imageElement(display.MIMETypeSVG, data, "", "")
	}
	// The XML declaration and document type have no place inside a page.
	return beforeSVG.ReplaceAllString(string(data), "$1")
}

// raster returns a picture of the size, in CSS pixels, that its metadata says.
func raster(mime string, data []byte, b display.Bundle) string {
	var m struct {
		Width, Height float64
		Alt           string
	}
	attributes := ""
	if json.Unmarshal(b.Metadata[mime], &m) == nil {
		if m.Width > 0 {
			attributes += fmt.Sprintf(` width="%g"`, m.Width)
		}
		if m.Height > 0 {
			attributes += fmt.Sprintf(` height="%g"`, m.Height)
		}
	}
	alt := m.Alt
	if alt == "" {
		alt = string(b.Data[display.MIMETypeText])
	}
	return imageElement(mime, data, alt, attributes)
}

// latex shows an output in LaTeX: formulas between dollars with text around
// them, or one formula.
func (p *page) latex(s string) string {
	if strings.Contains(s, "$") {
		return p.markdown.html(s, nil)
	}
	s = strings.TrimSpace(s)
	s = strings.TrimSuffix(strings.TrimPrefix(s, `\[`), `\]`)
	return mathml.Convert(s, true)
}
