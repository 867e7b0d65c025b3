package engine

import (
	"bytes"
	"cmp"
	"fmt"
	"hash/fnv"
	"html"
	"math"
	"slices"
	"strings"

	"github.com/go-gota/gota/dataframe"
	"github.com/go-gota/gota/series"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"

	"github.com/evenbed/evenbed/kernel/display"
	"github.com/evenbed/evenbed/kernel/internal/pattern"
)

// Size of a plot that a cell shows without saying one.
const (
	plotWidth  = 15 * vg.Centimeter
	plotHeight = 10 * vg.Centimeter
)

// Rows and columns of a table that are shown; the rest is counted.
const (
	headRows, tailRows = 8, 4
	maxColumns         = 16
	maxCell            = 50  // characters; more stand in the cell's title
	maxTitle           = 160 // which keeps a table of nothing but long text below 256 KiB
)

// foreign shows values of linked libraries that have no display method.
func foreign(x any) (display.Bundle, bool) {
	switch x := x.(type) {
	case *plot.Plot:
		return plotBundle(x), true
	case dataframe.DataFrame:
		return frameBundle(x), true
	case *dataframe.DataFrame:
		return frameBundle(*x), true
	case series.Series:
		return frameBundle(dataframe.New(x)), true
	}
	return display.Bundle{}, false
}

func plotBundle(p *plot.Plot) display.Bundle {
	// Its ticks would never end.
	if slices.ContainsFunc([]float64{p.X.Min, p.X.Max, p.Y.Min, p.Y.Max}, math.IsNaN) {
		return display.Text(fmt.Sprintf("the plot cannot be drawn: x goes from %.4g to %.4g, y from %.4g to %.4g; leave out the points that are NaN", p.X.Min, p.X.Max, p.Y.Min, p.Y.Max))
	}
	w, err := p.WriterTo(plotWidth, plotHeight, "svg")
	var buf bytes.Buffer
	if err == nil {
		_, err = w.WriteTo(&buf)
	}
	if err != nil {
		return display.Text("the plot cannot be drawn: " + err.Error())
	}
	svg := buf.String()
	if i := strings.Index(svg, "<svg"); i > 0 {
		svg = svg[i:] // inside a page there is no XML declaration
	}
	svg = liberation().ReplaceAllStringFunc(svg, func(s string) string {
		kind := strings.TrimSuffix(strings.TrimPrefix(s, "font-family:Liberation "), ";")
		return "font-family:'Liberation " + kind + "'," + sameWidths[kind] + ";"
	})
	axes := ""
	if p.Y.Label.Text != "" && p.X.Label.Text != "" {
		axes = p.Y.Label.Text + " against " + p.X.Label.Text
	}
	name := cmp.Or(p.Title.Text, axes, "plot")
	description := fmt.Sprintf("%s: x from %.4g to %.4g, y from %.4g to %.4g.", cmp.Or(axes, "Plot"), p.X.Min+0, p.X.Max+0, p.Y.Min+0, p.Y.Max+0)
	if i := strings.Index(svg, ">"); i > 0 {
		h := fnv.New64a()
		h.Write([]byte(svg))
		id := fmt.Sprintf("plot-%016x", h.Sum64())
		svg = svg[:i] + fmt.Sprintf(` role="img" aria-labelledby="%s-title %s-desc" style="max-width:100%%;height:auto;background:#ffffff">`, id, id) +
			fmt.Sprintf(`<title id="%s-title">%s</title><desc id="%s-desc">%s</desc>`, id, html.EscapeString(name), id, html.EscapeString(description)) + svg[i+1:]
	}
	b := display.Text(name + ". " + description)
	b.Data[display.MIMETypeSVG] = []byte(svg)
	return b
}

// The fonts that a plot was measured with, and others of the same widths, for
// where they are missing.
var (
	liberation = pattern.New(`font-family:Liberation (Serif|Sans|Mono);`)
	sameWidths = map[string]string{"Serif": "'Times New Roman',serif", "Sans": "Arial,Helvetica,sans-serif", "Mono": "'Courier New',monospace"}
)

// frameBundle shows a data frame as a table with its first and last rows. Names
// of columns stay as they are, with the unit they hold: code asks for them so.
func frameBundle(f dataframe.DataFrame) display.Bundle {
	if f.Err != nil {
		return display.Text("data frame with an error: " + f.Err.Error())
	}
	rows, columns := f.Nrow(), f.Ncol()
	names, types := f.Names(), f.Types()
	shown := min(columns, maxColumns)
	var lines []int // row numbers, -1 for the gap
	for i := range rows {
		if rows > headRows+tailRows+1 && i >= headRows && i < rows-tailRows {
			if i == headRows {
				lines = append(lines, -1)
			}
			continue
		}
		lines = append(lines, i)
	}
	size := fmt.Sprintf("%d rows × %d columns", rows, columns)
	if len(lines) < rows || shown < columns {
		size = "… " + size
	}

	var h strings.Builder
	fmt.Fprintf(&h, `<table><caption style="caption-side:bottom;text-align:left">%s</caption><thead><tr><th></th>`, size)
	head := []string{""}
	for j := range shown {
		fmt.Fprintf(&h, `<th scope="col" style="text-align:%s"%s>%s</th>`, side(types[j]), title(names[j]), html.EscapeString(cut(names[j], maxCell)))
		head = append(head, cut(names[j], maxCell))
	}
	if shown < columns {
		h.WriteString(`<th>…</th>`)
		head = append(head, "…")
	}
	h.WriteString("</tr></thead><tbody>")
	grid := [][]string{head}
	for _, i := range lines {
		h.WriteString("<tr>")
		var row []string
		if i < 0 {
			row = append(row, "…")
			h.WriteString(`<th scope="row">…</th>`)
		} else {
			row = append(row, fmt.Sprint(i))
			fmt.Fprintf(&h, `<th scope="row">%d</th>`, i)
		}
		for j := range shown {
			text := "…"
			if i >= 0 {
				text = element(f.Elem(i, j), types[j])
			}
			row = append(row, cut(strings.Join(strings.Fields(text), " "), maxCell))
			fmt.Fprintf(&h, `<td style="text-align:%s"%s>%s</td>`, side(types[j]), title(text), html.EscapeString(cut(text, maxCell)))
		}
		if shown < columns {
			row = append(row, "…")
			h.WriteString("<td>…</td>")
		}
		h.WriteString("</tr>")
		grid = append(grid, row)
	}
	h.WriteString("</tbody></table>")
	b := display.Text(align(grid) + size)
	b.Data[display.MIMETypeHTML] = []byte(h.String())
	b.Data[display.MIMETypeMarkdown] = []byte(markdown(grid, types[:shown]) + "\n" + size + "\n")
	return b
}

// side is where the cells of a column stand: numbers to the right.
func side(t series.Type) string {
	if t == series.String {
		return "left"
	}
	return "right"
}

// title holds what a cell has no room for.
func title(text string) string {
	if cut(text, maxCell) == text {
		return ""
	}
	return ` title="` + html.EscapeString(cut(text, maxTitle)) + `"`
}

// markdown writes a grid, its head first, as a pipe table.
func markdown(grid [][]string, types []series.Type) string {
	escape := strings.NewReplacer(`\`, `\\`, "`", "\\`", "*", `\*`, "_", `\_`, "[", `\[`, "]", `\]`, "<", `\<`, ">", `\>`,
		"|", `\|`, "#", `\#`, "~", `\~`, "$", `\$`, "&", `\&`, "\n", " ", "\r", " ")
	var out strings.Builder
	for i, row := range grid {
		for _, s := range row {
			out.WriteString("| " + escape.Replace(s) + " ")
		}
		out.WriteString("|\n")
		if i > 0 {
			continue
		}
		for j := range row {
			rule := "| ---: "
			if j > 0 && j <= len(types) && types[j-1] == series.String {
				rule = "| --- "
			}
			out.WriteString(rule)
		}
		out.WriteString("|\n")
	}
	return out.String()
}

// element writes one cell of a data frame.
func element(e series.Element, t series.Type) string {
	if e.IsNA() {
		return "NaN"
	}
	if t == series.Float {
		return fmt.Sprintf("%.6g", e.Float())
	}
	return e.String()
}

// cut returns text of at most so many characters.
func cut(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}

// align writes a grid as lines of text with columns that stand to the right.
func align(grid [][]string) string {
	width := make([]int, len(grid[0]))
	for _, row := range grid {
		for j, s := range row {
			width[j] = max(width[j], len([]rune(s)))
		}
	}
	var out strings.Builder
	for _, row := range grid {
		for j, s := range row {
			if j > 0 {
				out.WriteString("  ")
			}
			out.WriteString(strings.Repeat(" ", width[j]-len([]rune(s))) + s)
		}
		out.WriteString("\n")
	}
	return out.String()
}
