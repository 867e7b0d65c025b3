package notebook

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/kernel/display"
)

func TestPage(t *testing.T) {
	golden(t, "testdata/everything.html", read(t, "testdata/everything.ipynb").HTML())
}

// A page holds nothing that a browser would fetch or run by itself.
func TestPageStandsAlone(t *testing.T) {
	page := string(read(t, "testdata/everything.ipynb").HTML())
	for _, pattern := range []string{`<script`, `<link`, `<iframe`, `src="(?:[^d]|d[^a])`, `url\(`, `@import`, `href="javascript`, `<[^>]* on\w+=`, `<!DOCTYPE svg`, `<\?xml`} {
		if m := regexp.MustCompile(`(?i)` + pattern).FindString(page); m != "" {
			t.Errorf("%s: found %q", pattern, m)
		}
	}
	if !strings.Contains(page, "default-src 'none'") {
		t.Error("no policy")
	}
}

func markdownHTML(source string) string {
	return markdown{"testdata", &headingIDs{make(map[string]bool)}}.html(source, nil)
}

func TestMarkdown(t *testing.T) {
	for _, tc := range []struct{ name, in, want string }{
		{"raw HTML", "a <b>c</b>", "<p>a &lt;b&gt;c&lt;/b&gt;</p>\n"},
		{"block of HTML", "<div>\n<script>x</script>\n</div>", "<p>&lt;div&gt;\n&lt;script&gt;x&lt;/script&gt;\n&lt;/div&gt;</p>\n"},
		{"comment", "<!-- a -->", "<p>&lt;!-- a --&gt;</p>\n"},
		{"script link", "[a](javascript:x)", "<p>a</p>\n"},
		{"script link in capitals", "[a *b*](JavaScript:x)", "<p>a <em>b</em></p>\n"},
		{"hidden by a tab", "[a](java&Tab;script:x)", "<p>a</p>\n"},
		{"hidden by a number", "[a](&#106;avascript:x)", "<p>a</p>\n"},
		{"hidden by a blank", "[a](<\x01 javascript:x>)", "<p>a</p>\n"},
		{"by reference", "[a][r]\n\n[r]: vbscript:x", "<p>a</p>\n"},
		{"bare link", "<javascript:x>", "<p>javascript:x</p>\n"},
		{"good links", "[a](https://example.org) [b](#Part) [c](../x.csv) [d](mailto:a@example.org)",
			`<p><a href="https://example.org">a</a> <a href="#Part">b</a> <a href="../x.csv">c</a> <a href="mailto:a@example.org">d</a></p>` + "\n"},
		{"link in an image's text", "[![x](javascript:y)](javascript:z)", `<p><span class="missing">[picture not in this page: x (javascript:y is not a picture)]</span></p>` + "\n"},
		{"anchors", "# Part one\n\n# Part one", "<h1 id=\"Part-one\">Part one</h1>\n<h1 id=\"Part-one-2\">Part one</h1>\n"},
		{"price", "from $5 to $6", "<p>from $5 to $6</p>\n"},
		{"one dollar", "a $b", "<p>a $b</p>\n"},
		{"escaped", `\$a\$`, "<p>$a$</p>\n"},
		{"in code", "`$a$`", "<p><code>$a$</code></p>\n"},
		{"empty", "a $$ $$", "<p>a $$ $$</p>\n"},
		{"never closed", "$$\na", "<p>$$\na</p>\n"},
	} {
		if got := markdownHTML(tc.in); got != tc.want {
			t.Errorf("%s: %s\n got %q\nwant %q", tc.name, tc.in, got, tc.want)
		}
	}
}

// Formulas keep their characters from Markdown and are displayed or not.
func TestFormulas(t *testing.T) {
	for _, tc := range []struct {
		in        string
		latex     string
		displayed bool
	}{
		{"a $x_1 * y_1 * z$ b", "x_1 * y_1 * z", false},
		{"a $x\ny$ b", "x\ny", false},
		{"a $$x$$ b", "x", true},
		{"$$x$$", "x", true},
		{"$$\n- x\n\n= y\n$$", "- x\n\n= y", true},
		{"text\n$$\nx\n$$\ntext", "x", true},
		{"> $$\n> x\n> $$", "x", true},
		{"\\begin{align}\nx &= y\n\\end{align}", "\\begin{align}\nx &amp;= y\n\\end{align}", true},
		{"| a |\n| - |\n| $x$ |", "x", false},
		{`$\$5$`, `\$5`, false},
		{"**$x$**", "x", false},
	} {
		got := markdownHTML(tc.in)
		annotation := `<annotation encoding="application/x-tex">` + tc.latex + `</annotation>`
		if !strings.Contains(got, annotation) || strings.Contains(got, `display="block"`) != tc.displayed || strings.Count(got, "<math") != 1 {
			t.Errorf("%q: %s", tc.in, got)
		}
	}
}

func TestPictures(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "a b.png"), []byte("png"), 0o644); err != nil {
		t.Fatal(err)
	}
	m := markdown{dir, &headingIDs{make(map[string]bool)}}
	attachments := map[string]display.Bundle{"x.png": {Data: map[string][]byte{"image/png": []byte("png")}}}
	for _, tc := range []struct{ in, want string }{
		{`![a "b"](a%20b.png)`, `<img src="data:image/png;base64,cG5n" alt="a &#34;b&#34;">`},
		{`![a](attachment:x.png)`, `<img src="data:image/png;base64,cG5n" alt="a">`},
		{`![a](data:image/png;base64,cG5n)`, `<img src="data:image/png;base64,cG5n" alt="a">`},
		{`![a](data:text/html;base64,cG5n)`, `only pictures in base64`},
		{`![a](none.png)`, `none.png cannot be read`},
		{`![a](notes.txt)`, `notes.txt is not a picture`},
		{`![a](/etc/x.png)`, `not a file beside the notebook`},
		{`![a](//example.org/x.png)`, `is on a network`},
		{`![](http://example.org/x.png)`, `[picture not in this page: http://example.org/x.png`},
	} {
		if got := m.html(tc.in, attachments); !strings.Contains(got, tc.want) {
			t.Errorf("%s: %s, want %s", tc.in, got, tc.want)
		}
	}
}

// The codes are those of ECMA-48, section 8.3.117, and ISO 8613-6.
func TestColours(t *testing.T) {
	for _, tc := range []struct{ in, want string }{
		{"plain <b>", "plain &lt;b&gt;"},
		{"\x1b[31mred\x1b[0m no", `<span class="fg1">red</span> no`},
		{"\x1b[1;91;44mx\x1b[39;49;22my", `<span class="fg9 bg4 bold">x</span>y`},
		{"\x1b[mx", "x"},
		{"\x1b[3;4mx\x1b[23my\x1b[24mz", `<span class="italic underline">x</span><span class="underline">y</span>z`},
		{"\x1b[38;5;1mx", `<span class="fg1">x</span>`},
		{"\x1b[48;5;196mx", `<span style="background-color:#ff0000">x</span>`},
		{"\x1b[38;5;244mx", `<span style="color:#808080">x</span>`},
		{"\x1b[38;2;1;2;300mx", `<span style="color:#0102ff">x</span>`},
		{"\x1b[38mx", "x"},
		{"a\x1b[2Kb\x1b]0;title\x07c", "abc"},
		{"a\x1b", "a"},
	} {
		if got := ansiHTML(tc.in); got != tc.want {
			t.Errorf("%q: %s, want %s", tc.in, got, tc.want)
		}
	}
}

func TestOverwritten(t *testing.T) {
	for _, tc := range []struct{ in, want string }{
		{"a\nb", "a\nb"},
		{"10 %\r20 %\r", "20 %"},
		{"abc\rx\ny", "xbc\ny"},
		{"a\r\nb", "a\nb"},
	} {
		if got := overwritten(tc.in); got != tc.want {
			t.Errorf("%q: %q, want %q", tc.in, got, tc.want)
		}
	}
}

func TestColourGo(t *testing.T) {
	for _, tc := range []struct{ in, want string }{
		{`x := 1 // <c>`, `x := <span class="n">1</span> <span class="c">// &lt;c&gt;</span>`},
		{"for {}", `<span class="k">for</span> {}`},
		{"`a\r\nb` + \"c", "<span class=\"s\">`a\r\nb</span>` + <span class=\"s\">&#34;c</span>"},
		{"# not Go @ all", "# not Go @ all"},
		{"", ""},
	} {
		if got := colourGo(tc.in); got != tc.want {
			t.Errorf("%q:\n got %q\nwant %q", tc.in, got, tc.want)
		}
	}
}

func TestSVGAsImage(t *testing.T) {
	if got := svg([]byte("<svg></svg>"), []byte(`{"isolated": true}`)); got != `<img src="data:image/svg+xml;base64,PHN2Zz48L3N2Zz4=" alt="">` {
		t.Error(got)
	}
}

func TestLatexOutput(t *testing.T) {
	p := page{markdown: markdown{"", &headingIDs{make(map[string]bool)}}}
	for _, in := range []string{`$$x$$`, `$x$`, `x`, `\[x\]`, "$\\displaystyle x$"} {
		if got := p.latex(in); strings.Count(got, "<math") != 1 || !strings.Contains(got, "<mi>x</mi>") {
			t.Errorf("%s: %s", in, got)
		}
	}
}
