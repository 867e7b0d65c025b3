package table

import (
	"encoding/xml"
	"io"
	"strings"
	"testing"

	"github.com/yuin/goldmark"
)

func sample() Table {
	t := Table{Caption: "Heights <of> \"beds\"", RowHeaders: true,
		Columns: []Column{{Name: "stage"}, {Name: "height", Unit: "cm", Right: true}}}
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
	p.Table(Table{Caption: "without rows"})
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
	p.SVG("<svg/>", "picture of a column")
	if got, want := p.String(), "Plan\n\nrefused: too *high*\n\ncautions\n- one\n\npicture of a column\n"; got != want {
		t.Errorf("text %q, want %q", got, want)
	}
	if got, want := p.Markdown(), "### Plan\n\n> **refused:** too \\*high\\*\n\n**cautions**\n\n- one\n\npicture of a column\n"; got != want {
		t.Errorf("markdown %q, want %q", got, want)
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
