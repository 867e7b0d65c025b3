package notebook

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"html"
	"mime"
	"net/url"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	"github.com/yuin/goldmark/parser"
	"github.com/yuin/goldmark/renderer"
	"github.com/yuin/goldmark/text"
	"github.com/yuin/goldmark/util"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/notebook/internal/mathml"
)

// markdown turns the Markdown of one page into HTML. Raw HTML shows as text,
// links that could run something are plain text, and pictures are put into the
// page.
type markdown struct {
	folder string // of pictures; "" means none
	ids    *headingIDs
}

// html returns the source as HTML. Attachments are pictures that came with it.
func (m markdown) html(source string, attachments map[string]display.Bundle) string {
	md := goldmark.New(
		goldmark.WithExtensions(extension.GFM),
		goldmark.WithParserOptions(
			parser.WithAutoHeadingID(),
			parser.WithBlockParsers(util.Prioritized(formulaBlock{}, 650)),   // before fenced code
			parser.WithInlineParsers(util.Prioritized(formulaInline{}, 150)), // after code, before links
			parser.WithASTTransformers(util.Prioritized(safe{m.folder, attachments}, 900)),
		),
		goldmark.WithRendererOptions(renderer.WithNodeRenderers(util.Prioritized(nodes{}, 100))),
	)
	var b bytes.Buffer
	context := parser.NewContext(parser.WithIDs(m.ids))
	if err := md.Convert([]byte(source), &b, parser.WithContext(context)); err != nil {
		panic("notebook: " + err.Error()) // a buffer takes all that is written
	}
	return b.String()
}

// firstHeading returns the text of the first heading, without markup.
func firstHeading(source string) string {
	src := []byte(source)
	doc := goldmark.DefaultParser().Parse(text.NewReader(src))
	for n := doc.FirstChild(); n != nil; n = n.NextSibling() {
		if n.Kind() == ast.KindHeading {
			return strings.TrimSpace(plainText(n, src))
		}
	}
	return ""
}

// plainText returns the text of a node without markup.
func plainText(n ast.Node, source []byte) string {
	var b strings.Builder
	for c := n.FirstChild(); c != nil; c = c.NextSibling() {
		switch c := c.(type) {
		case *ast.Text:
			b.Write(util.UnescapePunctuations(util.ResolveEntityNames(util.ResolveNumericReferences(c.Segment.Value(source)))))
			if c.SoftLineBreak() || c.HardLineBreak() {
				b.WriteByte(' ')
			}
		case *ast.String:
			b.Write(c.Value)
		case *formula:
			b.WriteString(c.latex)
		default:
			b.WriteString(plainText(c, source))
		}
	}
	return b.String()
}

// headingIDs gives headings the anchors that Jupyter gives them, and each only
// once on a page.
type headingIDs struct{ used map[string]bool }

func (h *headingIDs) Generate(value []byte, _ ast.NodeKind) []byte {
	base := strings.ReplaceAll(strings.TrimSpace(string(value)), " ", "-")
	id := base
	for n := 2; h.used[id] || id == ""; n++ {
		id = base + "-" + strconv.Itoa(n)
	}
	h.used[id] = true
	return []byte(id)
}

func (h *headingIDs) Put(value []byte) { h.used[string(value)] = true }

// A formula is LaTeX in Markdown.
type formula struct {
	ast.BaseInline
	latex     string
	displayed bool
}

var kindFormula = ast.NewNodeKind("Formula")

func (f *formula) Kind() ast.NodeKind { return kindFormula }

func (f *formula) Dump(source []byte, level int) {
	ast.DumpHelper(f, source, level, map[string]string{"LaTeX": f.latex}, nil)
}

// formulaInline reads $...$ and $$...$$ within a paragraph. As a price is not a
// formula, a single $ opens one only before something that is not a blank, and
// closes one only after such and not before a digit; a $ that may not close
// ends the attempt.
type formulaInline struct{}

func (formulaInline) Trigger() []byte { return []byte{'$'} }

func (formulaInline) Parse(_ ast.Node, block text.Reader, _ parser.Context) ast.Node {
	startLine, start := block.Position()
	line, _ := block.PeekLine()
	size := 1
	if bytes.HasPrefix(line, []byte("$$")) {
		size = 2
	}
	block.Advance(size)
	var latex []byte
	for {
		line, _ := block.PeekLine()
		end, failed := formulaEnd(line, size)
		if line == nil || failed {
			break
		}
		if end < 0 {
			latex = append(latex, line...)
			block.AdvanceLine()
			continue
		}
		latex = append(latex, line[:end]...)
		if len(bytes.TrimSpace(latex)) == 0 || size == 1 && util.IsSpace(latex[0]) {
			break
		}
		block.Advance(end + size)
		return &formula{latex: string(latex), displayed: size == 2}
	}
	block.SetPosition(startLine, start)
	return nil
}

// formulaEnd returns where a line closes a formula, or -1, and whether it holds
// a dollar sign that may not close one.
func formulaEnd(line []byte, size int) (end int, failed bool) {
	for i := 0; i < len(line); i++ {
		switch {
		case line[i] == '\\':
			i++
		case line[i] != '$':
		case size == 2:
			if i+1 < len(line) && line[i+1] == '$' {
				return i, false
			}
		default:
			digit := i+1 < len(line) && '0' <= line[i+1] && line[i+1] <= '9'
			if i == 0 || util.IsSpace(line[i-1]) || digit {
				return -1, true
			}
			return i, false
		}
	}
	return -1, false
}

// A formulaLines is a displayed formula of whole lines.
type formulaLines struct {
	ast.BaseBlock
	end string // what closes it
}

var kindFormulaLines = ast.NewNodeKind("FormulaLines")

func (f *formulaLines) Kind() ast.NodeKind { return kindFormulaLines }

func (f *formulaLines) IsRaw() bool { return true }

func (f *formulaLines) Dump(source []byte, level int) { ast.DumpHelper(f, source, level, nil, nil) }

// formulaBlock reads $$ or \begin{...} at the start of a line up to the line
// that closes it.
type formulaBlock struct{}

var begins = regexp.MustCompile(`^\\begin\{([a-zA-Z]+\*?)\}`)

func (formulaBlock) Trigger() []byte { return []byte{'$', '\\'} }

func (formulaBlock) Open(_ ast.Node, reader text.Reader, _ parser.Context) (ast.Node, parser.State) {
	line, segment := reader.PeekLine()
	trimmed := bytes.TrimSpace(line)
	f := &formulaLines{}
	after := trimmed
	if m := begins.FindSubmatch(trimmed); m != nil {
		f.end = `\end{` + string(m[1]) + `}`
	} else if bytes.HasPrefix(trimmed, []byte("$$")) {
		f.end, after = "$$", trimmed[2:]
	} else {
		return nil, parser.NoChildren
	}
	at := bytes.Index(after, []byte(f.end))
	if at >= 0 && at+len(f.end) < len(after) || at < 0 && !bytes.Contains(reader.Source()[segment.Stop:], []byte(f.end)) {
		return nil, parser.NoChildren // goes on with text, or never ends
	}
	f.Lines().Append(segment)
	reader.AdvanceToEOL()
	return f, parser.NoChildren
}

func (formulaBlock) Continue(node ast.Node, reader text.Reader, _ parser.Context) parser.State {
	f := node.(*formulaLines)
	if f.closed(reader.Source()) {
		return parser.Close
	}
	_, segment := reader.PeekLine()
	f.Lines().Append(segment)
	reader.AdvanceToEOL()
	return parser.Continue | parser.NoChildren
}

// closed reports whether the last line closes the formula.
func (f *formulaLines) closed(source []byte) bool {
	n := f.Lines().Len()
	last := f.Lines().At(n - 1)
	line := bytes.TrimSpace(last.Value(source))
	if n == 1 && f.end == "$$" {
		line = line[2:]
	}
	return bytes.HasSuffix(line, []byte(f.end))
}

func (formulaBlock) Close(ast.Node, text.Reader, parser.Context) {}
func (formulaBlock) CanInterruptParagraph() bool                 { return true }
func (formulaBlock) CanAcceptIndentedLine() bool                 { return false }

// safe takes out of a document what a page must not have.
type safe struct {
	folder      string
	attachments map[string]display.Bundle
}

func (s safe) Transform(doc *ast.Document, reader text.Reader, _ parser.Context) {
	var found []ast.Node
	ast.Walk(doc, func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		switch n.Kind() {
		case ast.KindLink, ast.KindAutoLink, ast.KindImage:
			if entering {
				found = append(found, n)
			}
		}
		return ast.WalkContinue, nil
	})
	source := reader.Source()
	for _, n := range slices.Backward(found) { // the inner ones first
		switch n := n.(type) {
		case *ast.Link:
			if !safeLink(n.Destination) {
				for n.FirstChild() != nil {
					n.Parent().InsertBefore(n.Parent(), n, n.FirstChild())
				}
				n.Parent().RemoveChild(n.Parent(), n)
			}
		case *ast.AutoLink:
			if !safeLink(n.URL(source)) {
				replaceNode(n, html.EscapeString(string(n.Label(source))))
			}
		case *ast.Image:
			replaceNode(n, s.picture(string(n.Destination), plainText(n, source)))
		}
	}
}

func replaceNode(n ast.Node, markup string) {
	s := ast.NewString([]byte(markup))
	s.SetCode(true) // written as it is
	n.Parent().ReplaceChild(n.Parent(), n, s)
}

// safeLink reports whether a link only leads to a page or a mail address.
func safeLink(destination []byte) bool {
	s := strings.Map(func(r rune) rune {
		if r <= ' ' || r == 0x7f { // browsers skip these
			return -1
		}
		return r
	}, string(util.UnescapePunctuations(util.ResolveEntityNames(util.ResolveNumericReferences(destination)))))
	scheme, _, found := strings.Cut(s, ":")
	if !found || strings.ContainsAny(scheme, "/?#") {
		return true // relative
	}
	switch strings.ToLower(scheme) {
	case "http", "https", "mailto":
		return true
	}
	return false
}

// picture returns an image with its data in the page.
func (s safe) picture(destination, alt string) string {
	data, mimeType, err := s.load(destination)
	if err != nil {
		label := alt
		if label == "" {
			label = destination
		}
		return fmt.Sprintf(`<span class="missing">[picture not in this page: %s (%s)]</span>`,
			html.EscapeString(label), html.EscapeString(err.Error()))
	}
	return imageElement(mimeType, data, alt, "")
}

func imageElement(mimeType string, data []byte, alt, attributes string) string {
	return fmt.Sprintf(`<img src="data:%s;base64,%s" alt="%s"%s>`, html.EscapeString(mimeType),
		base64.StdEncoding.EncodeToString(data), html.EscapeString(alt), attributes)
}

// load returns the picture that a destination names.
func (s safe) load(destination string) (data []byte, mimeType string, err error) {
	u, err := url.Parse(destination)
	if err != nil {
		return nil, "", fmt.Errorf("not an address: %s", destination)
	}
	switch {
	case u.Scheme == "attachment":
		name := u.Opaque
		if unescaped, err := url.PathUnescape(name); err == nil {
			name = unescaped
		}
		for mimeType, data := range s.attachments[name].Data {
			if strings.HasPrefix(mimeType, "image/") {
				return data, mimeType, nil
			}
		}
		return nil, "", fmt.Errorf("the cell has no attachment %s", name)
	case u.Scheme == "data":
		kind, body, _ := strings.Cut(u.Opaque, ",")
		mimeType, ok := strings.CutSuffix(kind, ";base64")
		if data, err = base64.StdEncoding.DecodeString(body); err != nil || !ok || !strings.HasPrefix(mimeType, "image/") {
			return nil, "", fmt.Errorf("only pictures in base64 are shown")
		}
		return data, mimeType, nil
	case u.Host != "":
		return nil, "", fmt.Errorf("%s is on a network", destination)
	case u.Scheme != "":
		return nil, "", fmt.Errorf("%s is not a picture", destination)
	case s.folder == "" || path.IsAbs(u.Path) || filepath.IsAbs(u.Path):
		return nil, "", fmt.Errorf("%s is not a file beside the notebook", destination)
	}
	mimeType, _, _ = strings.Cut(mime.TypeByExtension(path.Ext(u.Path)), ";")
	if !strings.HasPrefix(mimeType, "image/") {
		return nil, "", fmt.Errorf("%s is not a picture", destination)
	}
	data, err = os.ReadFile(filepath.Join(s.folder, filepath.FromSlash(u.Path)))
	if err != nil {
		return nil, "", fmt.Errorf("%s cannot be read", destination)
	}
	return data, mimeType, nil
}

// nodes writes the nodes that differ from Markdown's own.
type nodes struct{}

func (nodes) RegisterFuncs(r renderer.NodeRendererFuncRegisterer) {
	r.Register(kindFormula, func(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
		if f := n.(*formula); entering {
			w.WriteString(mathml.Convert(f.latex, f.displayed))
		}
		return ast.WalkSkipChildren, nil
	})
	r.Register(kindFormulaLines, func(w util.BufWriter, source []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
		if f := n.(*formulaLines); entering {
			latex := strings.TrimSpace(string(f.Lines().Value(source)))
			if f.end == "$$" {
				latex = strings.TrimSuffix(strings.TrimPrefix(latex, "$$"), "$$")
			}
			w.WriteString(`<div class="formula">` + mathml.Convert(latex, true) + "</div>\n")
		}
		return ast.WalkSkipChildren, nil
	})
	r.Register(ast.KindRawHTML, func(w util.BufWriter, source []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
		if raw := n.(*ast.RawHTML); entering {
			w.WriteString(html.EscapeString(string(raw.Segments.Value(source))))
		}
		return ast.WalkSkipChildren, nil
	})
	r.Register(ast.KindHTMLBlock, func(w util.BufWriter, source []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
		if block := n.(*ast.HTMLBlock); entering {
			lines := string(block.Lines().Value(source))
			if block.HasClosure() {
				lines += string(block.ClosureLine.Value(source))
			}
			w.WriteString("<p>" + html.EscapeString(strings.TrimSpace(lines)) + "</p>\n")
		}
		return ast.WalkSkipChildren, nil
	})
	r.Register(ast.KindFencedCodeBlock, func(w util.BufWriter, source []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
		if block := n.(*ast.FencedCodeBlock); entering {
			code := string(block.Lines().Value(source))
			markup := html.EscapeString(code)
			if string(block.Language(source)) == "go" {
				markup = colourGo(code)
			}
			w.WriteString("<pre><code>" + markup + "</code></pre>\n")
		}
		return ast.WalkSkipChildren, nil
	})
}
