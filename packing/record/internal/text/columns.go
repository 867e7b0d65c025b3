package text

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/evenbed/evenbed/packing/internal/unit"
	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// join moves the rows of all chunks together and judges what did not fit.
func (r *reader) join() error {
	b, t := &r.body, &r.table
	lastGood := -1
	for k := range b.chunks {
		if b.chunks[k].rows > 0 {
			lastGood = k
		}
	}
	line, rows := t.firstLine, 0
	var header string
	if t.header >= 0 {
		header = string(trim(t.records[t.header].text))
	}
	for k := range b.chunks {
		c := &b.chunks[k]
		for j := range b.cols {
			col := &b.cols[j]
			if c.row != rows {
				switch {
				case col.values != nil:
					copy(col.values[rows:], col.values[c.row:c.row+c.rows])
				case col.times != nil:
					copy(col.times[rows:], col.times[c.row:c.row+c.rows])
				default:
					copy(col.texts[rows:], col.texts[c.row:c.row+c.rows])
				}
			}
		}
		for _, s := range c.stretch {
			s = source.Break{Row: s.Row + rows, Line: s.Line + line}
			if s.Row == 0 {
				b.first = s.Line
			} else if r.lineAt(s.Row) != s.Line {
				b.breaks = append(b.breaks, s)
			}
		}
		for _, p := range c.problems {
			footer := k > lastGood || k == lastGood && p.row == c.rows
			if err := r.judge(p, line+p.line, footer, header); err != nil {
				return err
			}
		}
		if c.overflow {
			return Error{Line: line + c.problems[len(c.problems)-1].line, Problem: fmt.Sprintf("more than %d lines here do not fit the table", maxProblems),
				Remedy: fmt.Sprintf("say where the table ends: record.Options{LastLine: %d}", max(1, line+c.problems[0].line-1))}
		}
		b.blanks += c.blanks
		b.short += c.short
		rows += c.rows
		line += c.lines
	}
	b.rows = rows
	if b.rows == 0 {
		return Error{Line: t.firstLine, Problem: "no row of the table can be read", Remedy: "look at the first rows, or say where they begin: record.Options{DataLine: 12}"}
	}
	return nil
}

// judge decides what becomes of a row that does not fit.
func (r *reader) judge(p problem, line int, footer bool, header string) error {
	b, t := &r.body, &r.table
	note := func() {
		if e, ok := r.entry(record{[]byte(p.text), line}); ok {
			b.notes = append(b.notes, e)
		}
	}
	if p.class == commentRow {
		note()
		return nil
	}
	cells := cut(nil, []byte(p.text), r.sep)
	if string(trim([]byte(p.text))) == header && header != "" {
		b.drops = append(b.drops, source.Drop{Line: line, Why: "the header again"})
		return nil
	}
	if footer && len(cells) > 0 && !(len(cells[0]) > 0 && r.fits(cells[0], r.sep)) && (p.class == textCell || p.class == longRow || p.class == unitCell) {
		note()
		return nil
	}
	name := ""
	if p.cell < len(t.cols) {
		name = t.cols[p.cell].name
	}
	e := Error{Line: line}
	if p.class != shortRow {
		e.Column = r.place(p)
	}
	drop := "or leave such rows out: record.Options{DropBadRows: true}"
	switch p.class {
	case textCell:
		e.Problem = fmt.Sprintf("%q in column %q is not a %s", shortened(p.cellText), shortened(name), t.cols[p.cell].kind.word())
		e.Remedy = fmt.Sprintf("correct the cell, say that it means nothing was measured: record.Options{Missing: []string{%q}}, %s", shortened(p.cellText), drop)
		if k := t.cols[p.cell].kind; (k == numberKind || k == unknownKind) && shapeOf([]byte(p.cellText), r.sep != ' ').ok {
			marks := "decimal " + markName(r.format.decimal)
			if r.format.group != 0 {
				marks += ", thousands " + markName(r.format.group)
			}
			e.Problem += fmt.Sprintf(" as the others are written (%s)", marks)
			e.Remedy = `write all numbers alike, or say how they are written: record.Options{Decimal: ","}, ` + drop
			e.Err = errShape
		}
		if cellsOther(r, cells) {
			e.Problem = fmt.Sprintf("text between the rows: %q", shortened(p.text))
			e.Column = 0
			e.Remedy = fmt.Sprintf("say where the table ends: record.Options{LastLine: %d}, %s", max(1, line-1), drop)
		}
	case formulaCell:
		e.Problem = fmt.Sprintf("the error of a formula, %s, in column %q", p.cellText, shortened(name))
		e.Remedy = "mend the sheet it came from and export again, " + drop
	case zeroByteCell:
		e.Problem = fmt.Sprintf("a zero byte within the number %q in column %q", shortened(strings.ReplaceAll(p.cellText, "\x00", "·")), shortened(name))
		e.Remedy = "the file is damaged: export it again, " + drop
	case unitCell:
		e.Problem = fmt.Sprintf("%q in column %q has another unit than the cells above", shortened(p.cellText), shortened(name))
		e.Remedy = "write all with one unit, " + drop
	case longRow:
		e.Problem = fmt.Sprintf("%d cells in a row of a table with %d columns", p.cells, t.width)
		e.Remedy = fmt.Sprintf("take the cell too many out; if another table begins there, say where this one ends: record.Options{LastLine: %d}, %s", max(1, line-1), drop)
	case shortRow:
		e.Problem = fmt.Sprintf("%d cells in a row of a table with %d columns", p.cells, t.width)
		e.Remedy = "complete the row, " + drop
		if p.last {
			e.Problem += "; the file ends within it"
			e.Remedy = fmt.Sprintf("export again, or leave the line out: record.Options{LastLine: %d}", max(1, line-1))
		}
	}
	if r.o.DropBadRows {
		b.drops = append(b.drops, source.Drop{Line: line, Why: e.Problem})
		return nil
	}
	return e
}

// cellsOther tells whether no cell of a row fits a table of numbers.
func cellsOther(r *reader, cells [][]byte) bool {
	for _, c := range cells {
		if len(c) > 0 && r.fits(c, r.sep) {
			return false
		}
	}
	return true
}

func (k kind) word() string {
	switch k {
	case clockKind:
		return "clock time like the others"
	case dateKind:
		return "date like the others"
	}
	return "number"
}

// place returns the character of the row at which the cell of a problem begins.
func (r *reader) place(p problem) int {
	b := []byte(p.text)
	at := 0
	if r.sep == ' ' {
		at = len(b) - len(trimLeft(b))
	}
	for j := 0; j < p.cell; j++ {
		if at = cellEnd(b, at, r.sep); at >= len(b) {
			return len([]rune(string(b))) + 1
		}
		at++
		for r.sep == ' ' && at < len(b) && b[at] == ' ' {
			at++
		}
	}
	at = len(b) - len(trimLeft(b[at:]))
	return len([]rune(string(b[:at]))) + 1
}

func trimLeft(b []byte) []byte {
	for len(b) > 0 && b[0] == ' ' {
		b = b[1:]
	}
	return b
}

// result makes the file of what was read.
func (r *reader) result() (Result, error) {
	b, t := &r.body, &r.table
	n := b.rows
	cols := make([]source.Column, t.width)
	for j := range cols {
		c := &cols[j]
		c.Name, c.Unit, c.Axis, c.Place = t.cols[j].name, t.cols[j].unit, -1, j+1
		suffix, suffixed := "", 0
		var span source.Span
		for k := range b.chunks {
			ch := &b.chunks[k]
			c.Missing += ch.missing[j]
			c.Censored += ch.censored[j]
			suffixed += ch.suffixed[j]
			span = span.And(ch.spans[j])
			switch s := ch.suffix[j]; {
			case s == "" || s == suffix:
			case suffix == "":
				suffix = s
			default:
				return Result{}, Error{Problem: fmt.Sprintf("the cells of column %q have the units %q and %q", c.Name, suffix, s), Remedy: "write all with one unit"}
			}
		}
		if suffix != "" {
			if c.Unit != "" && !sameUnit(c.Unit, suffix) {
				return Result{}, Error{Problem: fmt.Sprintf("column %q has the unit %q in its heading and %q in its cells", c.Name, c.Unit, suffix), Remedy: "correct one of them"}
			}
			if numbers := n - c.Missing; c.Unit == "" && suffixed < numbers {
				r.doubts = append(r.doubts, source.Doubt{Column: c.Name, Text: fmt.Sprintf("Of the %d numbers in %q %d have the unit %s behind them, the others have none and are read in the same: look whether they are.",
					numbers, shortened(c.Name), suffixed, suffix)})
			}
			if c.Unit == "" {
				c.Unit = suffix
			}
			r.guess("unit behind the numbers", fmt.Sprintf("column %q: %s", c.Name, suffix), fmt.Sprintf("record.Options{Units: map[string]string{%q: %q}}", c.Name, suffix))
		}
		switch bc := &b.cols[j]; {
		case bc.times != nil:
			c.Times = bc.times[:n:n]
		case bc.texts != nil:
			c.Texts = bc.texts[:n:n]
		default:
			c.Values = bc.values[:n:n]
			c.Known = span
		}
	}
	if err := r.placeStrays(cols); err != nil {
		return Result{}, err
	}
	r.joinClock(cols)
	r.axes(cols)
	cols = r.dropEmpty(cols)
	if err := r.givenUnits(cols); err != nil {
		return Result{}, err
	}
	r.summary(cols)
	r.cutEnd(cols)
	r.used.Missing, r.used.Units, r.used.Comment, r.used.DropBadRows = r.o.Missing, r.o.Units, r.o.Comment, r.o.DropBadRows
	r.used.LastLine = r.o.LastLine
	if r.o.TimeLayout != "" {
		r.used.TimeLayout = r.o.TimeLayout
	}
	return Result{
		File: source.File{
			Tables: []source.Table{{Columns: cols, Meta: t.meta, Notes: b.notes, Dropped: b.drops, Doubts: r.doubts, FirstLine: b.first, Breaks: b.breaks}},
			Facts:  r.facts,
		},
		Used: r.used,
	}, nil
}

// sameUnit tells whether two symbols stand for one unit.
func sameUnit(a, b string) bool {
	x, known := unit.Of(a)
	y, _ := unit.Of(b)
	return a == b || known && x == y
}

// cutEnd looks whether the last row was cut while the file was being written: it has
// no line end, and its last cell has fewer digits behind the decimal mark than every
// other of its column, or it has fewer cells than every other row.
func (r *reader) cutEnd(cols []source.Column) {
	n := r.enc.size()
	if len(r.raw) < n || r.o.LastLine > 0 || r.body.rows < 3 {
		return
	}
	if u := r.enc.unit(r.raw, len(r.raw)-n); u == '\n' || u == '\r' {
		return
	}
	last := r.enc.decode(r.raw[r.lineStart(len(r.raw)):], nil)
	cells := cut(nil, last, r.sep)
	if len(cells) == 0 || len(cells) > r.table.width || !r.grade(cells, r.sep).data() {
		return
	}
	j := len(cells) - 1
	digits := func(c []byte) int {
		s := shapeOf(c, r.sep != ' ')
		at := bytes.LastIndexByte(c, r.format.decimal)
		if !s.ok || at < 0 {
			return 0
		}
		return len(c) - at - 1
	}
	fewest, shortest, looked := 1<<30, r.table.width, 0
	for _, rec := range r.sample {
		if bytes.Equal(rec.text, last) {
			continue
		}
		others := cut(nil, rec.text, r.sep)
		if !r.grade(others, r.sep).data() {
			continue
		}
		shortest = min(shortest, len(others))
		if j < len(others) && len(others[j]) > 0 && r.table.cols[j].kind == numberKind {
			fewest = min(fewest, digits(others[j]))
			looked++
		}
	}
	line := r.lineAt(r.body.rows - 1)
	what := ""
	switch {
	case len(cells) < shortest && looked > 0:
		what = fmt.Sprintf("the last row, line %d, has %d cells where the others have %d", line, len(cells), shortest)
	case looked > 0 && digits(cells[j]) < fewest:
		what = fmt.Sprintf("its last cell, %q on line %d, has fewer digits than the others of its column", shortened(string(cells[j])), line)
	default:
		return
	}
	r.doubts = append(r.doubts, source.Doubt{Column: r.table.cols[j].name,
		Text: fmt.Sprintf("The file ends without a line end, and %s: it may have been cut while it was written. If so, leave the row out: record.Options{LastLine: %d}.", what, line-1)})
}

// placeStrays makes columns of texts out of those that looked empty and hold
// texts further down.
func (r *reader) placeStrays(cols []source.Column) error {
	b := &r.body
	base := 0
	for k := range b.chunks {
		c := &b.chunks[k]
		for _, s := range c.strays {
			col := &cols[s.cell]
			if col.Texts == nil {
				for i, v := range col.Values {
					if !math.IsNaN(v) {
						return Error{Line: r.lineAt(i), Problem: fmt.Sprintf("column %q holds numbers, and the text %q on line %d", col.Name, shortened(s.text), r.lineAt(base+s.row)),
							Remedy: fmt.Sprintf("say that it means nothing was measured: record.Options{Missing: []string{%q}}", shortened(s.text))}
					}
				}
				col.Texts, col.Values = make([]string, len(col.Values)), nil
			}
			col.Texts[base+s.row] = s.text
		}
		base += c.rows
	}
	return nil
}

// lineAt returns the line of a row.
func (r *reader) lineAt(row int) int {
	return source.Table{FirstLine: r.body.first, Breaks: r.body.breaks}.Line(row)
}

// joinClock puts a date and a clock that stand in the first two columns
// together, in the column of the date; the clock stays as it is.
func (r *reader) joinClock(cols []source.Column) {
	if len(cols) < 2 || cols[0].Times == nil || !r.table.cols[0].moment.bare || r.table.cols[1].kind != clockKind {
		return
	}
	for i, s := range cols[1].Values {
		if !(s >= 0 && s < 86400) && !math.IsNaN(s) {
			return
		}
		if math.IsNaN(s) != cols[0].Times[i].IsZero() {
			return
		}
	}
	for i, s := range cols[1].Values {
		if !math.IsNaN(s) {
			cols[0].Times[i] = cols[0].Times[i].Add(time.Duration(math.Round(s * 1e9)))
		}
	}
	r.guess("date and clock", fmt.Sprintf("column %q holds both, from columns %q and %q", cols[0].Name, cols[0].Name, cols[1].Name), "")
}

// isAxis tells whether a column holds times or volumes.
func isAxis(c *source.Column) bool {
	if c.Times != nil {
		return true
	}
	if c.Values == nil {
		return false
	}
	return axisName(c.Name, c.Unit)
}

func axisName(name, unit string) bool {
	if unit != "" {
		return dimension(unit) != ""
	}
	word := strings.FieldsFunc(strings.ToLower(name), func(c rune) bool { return c == ' ' || c == '_' || c == '.' || c == '-' })
	for _, w := range word {
		if w == "flow" || strings.HasPrefix(w, "flow/") || w == "rate" {
			return false // "Volume flow"
		}
	}
	return len(word) > 0 && (word[0] == "time" || word[0] == "volume" || word[0] == "x" || word[len(word)-1] == "time" || word[len(word)-1] == "volume" || word[len(word)-1] == "x")
}

// pairedByName tells whether the headings alone show pairs of axis and signal.
func (r *reader) pairedByName() bool {
	t := &r.table
	axes, last := 0, -2
	for j := range t.cols {
		c := &t.cols[j]
		if c.kind == textKind || !axisName(c.name, c.unit) && c.kind != clockKind && c.kind != dateKind {
			if j == 0 {
				return false
			}
			continue
		}
		if last == j-1 {
			return false
		}
		axes++
		last = j
	}
	return axes >= 2 && last < len(t.cols)-1
}

// base is a name without the number that keeps it apart from others.
func base(name string) string {
	if i := strings.LastIndexByte(name, ' '); i > 0 {
		if _, err := strconv.Atoi(name[i+1:]); err == nil {
			return name[:i]
		}
	}
	return name
}

// axes finds what each column is drawn against and takes blank ends off pairs.
func (r *reader) axes(cols []source.Column) {
	var at []int
	for j := range cols {
		if isAxis(&cols[j]) {
			at = append(at, j)
		}
	}
	if len(at) == 0 {
		return
	}
	if !r.pairs(cols, at) {
		for j := range cols {
			if j != at[0] {
				cols[j].Axis = at[0]
			}
		}
		return
	}
	different := false
	for k, x := range at {
		end := len(cols)
		if k+1 < len(at) {
			end = at[k+1]
		}
		n := 0
		for j := x; j < end; j++ {
			n = max(n, length(&cols[j]))
			if j > x {
				cols[j].Axis = x
			}
		}
		different = different || n < r.body.rows
		for j := x; j < end; j++ {
			cutTo(&cols[j], n)
		}
	}
	text := fmt.Sprintf("%d, each with its own axis", len(at))
	if different {
		text += ", of different lengths"
	}
	r.guess("signals in pairs of columns", text, "")
}

// pairs tells whether columns stand in groups that begin with their axis.
func (r *reader) pairs(cols []source.Column, at []int) bool {
	if len(at) < 2 || at[0] != 0 || at[len(at)-1] == len(cols)-1 {
		return false
	}
	sameName, lengths := true, false
	first := length(&cols[0])
	for k, x := range at {
		if k > 0 && x == at[k-1]+1 {
			return false
		}
		sameName = sameName && strings.EqualFold(base(cols[x].Name), base(cols[0].Name))
		lengths = lengths || length(&cols[x]) != first
	}
	return sameName || lengths || r.table.groups >= 0 || strings.HasSuffix(cols[0].Name, " time") && r.table.units >= 0
}

// length returns the number of cells up to the last that holds something.
func length(c *source.Column) int {
	switch {
	case c.Values != nil:
		n := len(c.Values)
		for n > 0 && math.IsNaN(c.Values[n-1]) {
			n--
		}
		return n
	case c.Times != nil:
		n := len(c.Times)
		for n > 0 && c.Times[n-1].IsZero() {
			n--
		}
		return n
	}
	n := len(c.Texts)
	for n > 0 && c.Texts[n-1] == "" {
		n--
	}
	return n
}

// cutTo shortens a column to n cells.
func cutTo(c *source.Column, n int) {
	switch {
	case c.Values != nil:
		c.Missing -= len(c.Values) - n
		c.Values = c.Values[:n:n]
	case c.Times != nil:
		c.Missing -= len(c.Times) - n
		c.Times = slices.Clip(c.Times[:n])
	default:
		c.Missing -= len(c.Texts) - n
		c.Texts = slices.Clip(c.Texts[:n])
	}
}

// dropEmpty leaves out columns without a name that hold nothing: they come of
// separators too many.
func (r *reader) dropEmpty(cols []source.Column) []source.Column {
	to := make([]int, len(cols))
	kept := cols[:0:0]
	var gone []string
	for j := range cols {
		if !r.table.cols[j].named && length(&cols[j]) == 0 && len(cols) > 1 {
			to[j] = -1
			gone = append(gone, strconv.Itoa(cols[j].Place))
			continue
		}
		to[j] = len(kept)
		kept = append(kept, cols[j])
	}
	if len(gone) == 0 || len(kept) == 0 {
		return cols
	}
	for j := range kept {
		if kept[j].Axis >= 0 {
			kept[j].Axis = to[kept[j].Axis]
		}
	}
	r.guess("empty columns without a name", "left out: "+list(gone), "")
	return kept
}

// givenUnits puts in the units of the options.
func (r *reader) givenUnits(cols []source.Column) error {
	var names []string
	for name := range r.o.Units {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		found := false
		for j := range cols {
			if strings.EqualFold(cols[j].Name, name) {
				cols[j].Unit, found = r.o.Units[name], true
			}
		}
		if !found {
			var have []string
			for j := range cols {
				have = append(have, fmt.Sprintf("%q", shortened(cols[j].Name)))
			}
			return Error{Problem: fmt.Sprintf("a unit is given for column %q, which the file does not have", name), Remedy: "the columns are " + list(have)}
		}
	}
	return nil
}

// summary notes rows and what is missing.
func (r *reader) summary(cols []source.Column) {
	b := &r.body
	n := b.rows
	r.fact("rows", fmt.Sprintf("%d, lines %d to %d", n, r.lineAt(0), r.lineAt(n-1)))
	if b.blanks > 0 {
		r.guess("rows of empty cells", fmt.Sprintf("%d left out", b.blanks), "")
	}
	if b.short > 0 {
		r.guess("rows that end early", fmt.Sprintf("%d; the cells that are not there count as empty", b.short), "")
	}
	if len(b.notes) > 0 {
		r.guess("lines below or between the rows", fmt.Sprintf("%d kept as notes", len(b.notes)), "")
	}
	if len(b.drops) > 0 {
		r.guess("rows left out", strconv.Itoa(len(b.drops)), "")
	}
	for j := range cols {
		c := &cols[j]
		if c.Missing > c.Censored && c.Texts == nil {
			r.guess("values that are missing", fmt.Sprintf("column %q: %d", c.Name, c.Missing-c.Censored), "")
		}
		if c.Censored > 0 {
			r.guess("values beyond a limit", fmt.Sprintf("column %q: %d, taken as missing", c.Name, c.Censored), "")
		}
	}
}
