package engine

import (
	"bytes"
	"fmt"
	"html"
	"strings"

	"github.com/go-gota/gota/dataframe"
	"github.com/go-gota/gota/series"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"

	"github.com/evenbed/evenbed/kernel/display"
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
	maxCell            = 60 // characters
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
	name := p.Title.Text
	if name == "" {
		name = "plot"
		if p.Y.Label.Text != "" && p.X.Label.Text != "" {
			name = p.Y.Label.Text + " against " + p.X.Label.Text
		}
	}
	if i := strings.Index(svg, ">"); i > 0 {
		svg = svg[:i] + ` role="img"><title>` + html.EscapeString(name) + "</title>" + svg[i+1:]
	}
	b := display.Text(name)
	b.Data[display.MIMETypeSVG] = []byte(svg)
	return b
}

// frameBundle shows a data frame as a table with its first and last rows.
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

	var h strings.Builder
	h.WriteString(`<table><thead><tr><th></th>`)
	head := []string{""}
	for j := range shown {
		fmt.Fprintf(&h, `<th scope="col">%s</th>`, html.EscapeString(cut(names[j])))
		head = append(head, cut(names[j]))
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
			row = append(row, text)
			align := "right"
			if types[j] == series.String {
				align = "left"
			}
			fmt.Fprintf(&h, `<td style="text-align:%s">%s</td>`, align, html.EscapeString(text))
		}
		if shown < columns {
			row = append(row, "…")
			h.WriteString("<td>…</td>")
		}
		h.WriteString("</tr>")
		grid = append(grid, row)
	}
	fmt.Fprintf(&h, "</tbody></table><p>%s</p>", size)
	b := display.Text(align(grid) + size)
	b.Data[display.MIMETypeHTML] = []byte(h.String())
	return b
}

// element writes one cell of a data frame.
func element(e series.Element, t series.Type) string {
	if e.IsNA() {
		return "NaN"
	}
	if t == series.Float {
		return fmt.Sprintf("%.6g", e.Float())
	}
	return cut(e.String())
}

func cut(s string) string {
	if r := []rune(s); len(r) > maxCell {
		return string(r[:maxCell-1]) + "…"
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
