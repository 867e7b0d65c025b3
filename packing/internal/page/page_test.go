package page

import (
	"encoding/xml"
	"io"
	"strings"
	"testing"

	"github.com/yuin/goldmark"

	"github.com/evenbed/evenbed/packing/table"
)

func sample() table.Table {
	t := table.Table{Caption: "Heights <of> \"beds\"", RowHeaders: true,
		Columns: []table.Column{{Name: "stage"}, {Name: "height", Unit: "cm", Right: true}}}
	t.Add("settled", "20.16")
	t.Add("packed\nat µ", "18.0")
	t.Add("a|b *c* <script>")
	return t
}

func TestHTML(t *testing.T) {
	var p Page
	p.Heading("A < B")
	p.Text("x & y")
	p.Notice("not checked:", "<b>pump</b>")
	p.Table(sample())
	p.Table(table.Table{Caption: "without rows"})
	p.List("cautions", []string{"one <i>", "two"})
	p.List("none", nil)
	got := p.HTML()
	wellFormed(t, got)
	for _, want := range []string{
		`<th scope="col"`, `<th scope="row"`, "<caption", "Heights &lt;of&gt;", "a|b *c* &lt;script&gt;", "packed<br>at µ",
		"A &lt; B", "x &amp; y", "&lt;b&gt;pump", "<li>one &lt;i&gt;</li>",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("no %s in\n%s", want, got)
		}
	}
	for _, not := range []string{"<script", "http", "without rows", "none"} {
		if strings.Contains(got, not) {
			t.Errorf("%s is in\n%s", not, got)
		}
	}
	if n := strings.Count(got, `scope="col"`); n != 4 {
		t.Errorf("%d column heads, want 4: names and units", n)
	}
}

// wellFormed reads the block with the line break closed, as XML would want it.
func wellFormed(t *testing.T, s string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(strings.ReplaceAll(s, "<br>", "<br/>")))
	for {
		if _, err := d.Token(); err == io.EOF {
			return
		} else if err != nil {
			t.Fatalf("%v in\n%s", err, s)
		}
	}
}

func TestPageText(t *testing.T) {
	var p Page
	p.Heading("Plan")
	p.Notice("refused:", "too *high*")
	p.List("cautions", []string{"one"})
	p.Picture(drawn{"<svg/>", "picture of a column", nil})
	p.Figure(drawn{"<svg/>", "curve", nil})
	p.List("cautions", []string{"one"})
	if got, want := p.String(), "Plan\n\nrefused: too *high*\n\ncautions\n- one\n\npicture of a column\n\ncautions\n- one\n"; got != want {
		t.Errorf("text %q, want %q", got, want)
	}
	if got, want := p.Markdown(), "### Plan\n\n> **refused:** too \\*high\\*\n\n**cautions**\n\n- one\n\npicture of a column\n\n**cautions**\n\n- one\n"; got != want {
		t.Errorf("markdown %q, want %q", got, want)
	}
}

// drawn counts how often it is drawn.
type drawn struct {
	svg, text string
	times     *int
}

func (d drawn) String() string { return d.text }
func (d drawn) SVG() string {
	if d.times != nil {
		*d.times++
	}
	return d.svg
}

// A figure is drawn once for all forms, and for text not at all.
func TestFigure(t *testing.T) {
	var p Page
	if got := p.SVG(); got != "" {
		t.Errorf("a page without a figure draws %q", got)
	}
	n := 0
	p.Picture(drawn{"<svg id=\"0\"/>", "column", nil})
	p.Figure(drawn{"<svg id=\"1\"/>", "curve <of> it", &n})
	p.Figure(drawn{"<svg id=\"2\"/>", "another", nil})
	if _, _ = p.String(), p.Markdown(); n != 0 {
		t.Errorf("text drew the figure")
	}
	want := `<div role="img" aria-label="curve &lt;of&gt; it"><svg id="1"/></div>`
	if got := p.HTML(); !strings.Contains(got, want) || !strings.Contains(got, `"2"`) || !strings.Contains(got, `"0"`) {
		t.Errorf("%s, want %s", got, want)
	}
	if got := p.SVG(); got != `<svg id="1"/>` || n != 1 {
		t.Errorf("the figure is %s, drawn %d times", got, n)
	}
}

// Code comes out of each form as it went in, whatever it holds.
func TestCode(t *testing.T) {
	for _, text := range []string{`record.Read("a <b> & c.csv", record.Options{Units: map[string]string{"*UV*": "%"}})`, "if a < b {\n\tuse(`x`)\n}", "a ``` b ```` c", "  blanks  in  front"} {
		var p Page
		p.Code("")
		p.Code(text)
		page := p.HTML()
		wellFormed(t, page)
		var block struct {
			Pre []struct {
				Code string `xml:"code"`
			} `xml:"pre"`
		}
		if err := xml.Unmarshal([]byte(page), &block); err != nil || len(block.Pre) != 1 || block.Pre[0].Code != text {
			t.Errorf("HTML holds %+v, want %q (%v)", block, text, err)
		}
		var out strings.Builder
		if err := goldmark.Convert([]byte(p.Markdown()), &out); err != nil {
			t.Fatal(err)
		}
		if want := `<pre><code class="language-go">` + strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;").Replace(text) + "\n</code></pre>\n"; out.String() != want {
			t.Errorf("Markdown becomes %q, want %q", out.String(), want)
		}
		if got, want := p.String(), "    "+strings.ReplaceAll(text, "\n", "\n    ")+"\n"; got != want {
			t.Errorf("text %q, want %q", got, want)
		}
	}
}
