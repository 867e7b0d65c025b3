package engine

import (
	"encoding/xml"
	"fmt"
	"image/color"
	"io"
	"regexp"
	"strings"
	"testing"

	"github.com/go-gota/gota/dataframe"
	"github.com/go-gota/gota/series"
	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/extension"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"

	"github.com/evenbed/evenbed/kernel/display"
)

func wellFormed(t *testing.T, s string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(s))
	for {
		if _, err := d.Token(); err == io.EOF {
			return
		} else if err != nil {
			t.Fatalf("%v in\n%.2000s", err, s)
		}
	}
}

func TestPlotsSayWhatTheyAre(t *testing.T) {
	p := plot.New()
	p.X.Label.Text, p.Y.Label.Text = "velocity <cm/h>", "pressure"
	p.BackgroundColor = color.Transparent
	line, err := plotter.NewLine(plotter.XYs{{X: 0, Y: 1}, {X: 2, Y: 4}})
	if err != nil {
		t.Fatal(err)
	}
	p.Add(line)
	b := plotBundle(p)
	svg := string(b.Data[display.MIMETypeSVG])
	wellFormed(t, svg)
	for _, want := range []string{
		`role="img"`, `background:#ffffff`, ">pressure against velocity &lt;cm/h&gt;</title>",
		"x from 0 to 2, y from 1 to 4.</desc>", "font-family:'Liberation Serif','Times New Roman',serif;",
	} {
		if !strings.Contains(svg, want) {
			t.Errorf("no %s in %.900s", want, svg)
		}
	}
	if text := string(b.Data[display.MIMETypeText]); text != "pressure against velocity <cm/h>. pressure against velocity <cm/h>: x from 0 to 2, y from 1 to 4." {
		t.Errorf("text %q", text)
	}
	if again := plotBundle(p); string(again.Data[display.MIMETypeSVG]) != svg {
		t.Error("shown again, it differs")
	}
	id := regexp.MustCompile(`plot-[0-9a-f]{16}`)
	p.Title.Text = "other"
	if id.FindString(svg) == id.FindString(string(plotBundle(p).Data[display.MIMETypeSVG])) {
		t.Error("two plots have the same ids")
	}
	bare := strings.NewReplacer(`xmlns="http://www.w3.org/2000/svg"`, "", `xmlns:xlink="http://www.w3.org/1999/xlink"`, "").Replace(svg)
	if strings.Contains(bare, "http") {
		t.Error("a plot refers to the network")
	}
}

func TestFrames(t *testing.T) {
	long := strings.Repeat("ä", 49) + "<b>"
	f := dataframe.New(series.New([]any{1.25, nil, 1e-7}, series.Float, "UV (mAU)"), series.New([]string{"<i>|*a*", long, "two\nlines"}, series.String, "note"))
	b := frameBundle(f)
	page := string(b.Data[display.MIMETypeHTML])
	wellFormed(t, page)
	for _, want := range []string{
		"<caption", ">3 rows × 2 columns<", `<th scope="col" style="text-align:right">UV (mAU)`, `<th scope="col" style="text-align:left">note`,
		`<th scope="row">0`, `<td style="text-align:right">NaN`, "1e-07", "&lt;i&gt;|*a*",
		`title="` + strings.Repeat("ä", 49) + "&lt;b&gt;\">" + strings.Repeat("ä", 49) + "…<",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("no %s in %s", want, page)
		}
	}
	for _, not := range []string{"color", "<script", "onclick", "… 3"} {
		if strings.Contains(page, not) {
			t.Errorf("%s is in %s", not, page)
		}
	}
	if text, want := string(b.Data[display.MIMETypeText]), "two lines\n3 rows × 2 columns"; !strings.HasSuffix(text, want) {
		t.Errorf("text %q", text)
	}
	var out strings.Builder
	if err := goldmark.New(goldmark.WithExtensions(extension.Table)).Convert(b.Data[display.MIMETypeMarkdown], &out); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"<th style=\"text-align:right\">UV (mAU)</th>", "<td>&lt;i&gt;|*a*</td>", "<p>3 rows × 2 columns</p>"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("Markdown lacks %s: %s", want, out.String())
		}
	}
}

// However many rows, columns and characters: the table is abridged, says so and
// stays below 256 KiB.
func TestFramesAreBounded(t *testing.T) {
	var all []series.Series
	for j := range 40 {
		cells := make([]string, 500)
		for i := range cells {
			cells[i] = strings.Repeat(`"`, 3000)
		}
		all = append(all, series.New(cells, series.String, fmt.Sprintf("%d %s", j, strings.Repeat("&", 1000))))
	}
	b := frameBundle(dataframe.New(all...))
	for mime, data := range b.Data {
		if len(data) > 256<<10 {
			t.Errorf("%s has %d bytes", mime, len(data))
		}
		if !strings.Contains(string(data), "… 500 rows × 40 columns") {
			t.Errorf("%s does not say how much there is", mime)
		}
	}
	wellFormed(t, string(b.Data[display.MIMETypeHTML]))
}
