package text

import (
	"bytes"
	"fmt"
	"sort"
	"strings"
)

const (
	headBytes   = 1 << 20 // of the beginning are decoded
	headRecords = 3000    // of it are looked at
	windowBytes = 1 << 15 // of each sample from elsewhere
)

// readHead decodes the beginning and refuses lines that no table has.
func (r *reader) readHead() error {
	n := headBytes * r.enc.size()
	raw := r.raw
	if len(raw) > n {
		end := r.cutAfter(n)
		if end < 0 {
			return r.longLine(r.lineStart(n))
		}
		raw = raw[:end]
	}
	r.whole = len(raw) == len(r.raw)
	r.head = r.enc.decode(raw, nil)
	if r.whole && len(r.head) > maxLine {
		if end, _ := lineEnd(r.head, 0); end > maxLine {
			return r.longLine(0)
		}
	}
	if r.enc.wide() {
		control := 0
		for _, c := range r.head {
			if c < 0x20 && c != '\t' && c != '\n' && c != '\r' && c != '\f' && c != '\v' {
				control++
			}
		}
		if control > 8+len(r.head)/50 {
			return Error{Line: 1, Problem: "binary data, not a text", Remedy: "export the numbers as text with separators"}
		}
	}
	r.lineEnds()
	return nil
}

// lineEnds notes how lines end.
func (r *reader) lineEnds() {
	lf, cr := bytes.Count(r.head, []byte{'\n'}), bytes.Count(r.head, []byte{'\r'})
	both := lf + cr - countLines(r.head)
	var ends []string
	for _, e := range []struct {
		name string
		n    int
	}{{"CRLF", both}, {"LF", lf - both}, {"CR", cr - both}} {
		if e.n > 0 {
			ends = append(ends, e.name)
		}
	}
	switch len(ends) {
	case 0:
	case 1:
		r.fact("line ends", ends[0])
	default:
		r.guess("line ends", "mixed: "+strings.Join(ends, ", "), "")
	}
}

// cutAfter returns the beginning of the first line behind an offset; -1 if
// there is none within the longest line.
func (r *reader) cutAfter(from int) int {
	if from >= len(r.raw) {
		return len(r.raw)
	}
	limit := min(len(r.raw), from+maxLine*r.enc.size())
	if i := r.unitIn(from, limit, '\n'); i >= 0 {
		return i + r.enc.size()
	}
	if i := r.unitIn(from, limit, '\r'); i >= 0 {
		return i + r.enc.size()
	}
	if limit == len(r.raw) {
		return limit
	}
	return -1
}

// unitIn returns the offset of a code unit, or -1.
func (r *reader) unitIn(from, to int, c byte) int {
	if !r.enc.wide() {
		if i := bytes.IndexByte(r.raw[from:to], c); i >= 0 {
			return from + i
		}
		return -1
	}
	for i := from; i < to; {
		k := bytes.IndexByte(r.raw[i:to], c)
		if k < 0 {
			return -1
		}
		at := (i + k) &^ 1
		if at+1 < len(r.raw) && r.enc.unit(r.raw, at) == uint16(c) {
			return at
		}
		i = at + 2
	}
	return -1
}

// longLine refuses the line at an offset.
func (r *reader) longLine(offset int) error {
	line := r.raw[offset:]
	most, count := byte(','), 0
	for _, sep := range []byte("\t;,| ") {
		if n := bytes.Count(line[:min(len(line), 64<<20)], []byte{sep}); n > count {
			most, count = sep, n
		}
	}
	what := "no separators"
	if count > 0 {
		what = fmt.Sprintf("%d or more separators (%s)", count, separatorName(most))
	}
	return Error{Line: r.lineOf(offset), Problem: fmt.Sprintf("a line longer than %d bytes, with %s: not a table of measurements", maxLine, what),
		Remedy: fmt.Sprintf("export it again with one row a line and at most %d columns", maxColumns)}
}

func separatorName(b byte) string {
	switch b {
	case ',':
		return "comma"
	case ';':
		return "semicolon"
	case '\t':
		return "tab"
	case '|':
		return "bar"
	case ' ':
		return "blanks"
	}
	return "none: one column"
}

// comment returns what begins a line of comment.
func (r *reader) comment() []byte {
	switch r.o.Comment {
	case "":
		return []byte("#")
	case "none":
		return nil
	}
	return []byte(r.o.Comment)
}

// isComment tells whether a record is a comment and not the marker of a value
// that is missing.
func (r *reader) isComment(b []byte) bool {
	b = trim(b)
	c := r.comment()
	return len(c) > 0 && bytes.HasPrefix(b, c) && !bytes.HasPrefix(b, []byte("#N/A")) && !bytes.HasPrefix(b, []byte("##"))
}

// A reading is what one separator makes of the beginning.
type reading struct {
	sep     byte
	quality float64 // share of lines that make a table and of cells that fit, 0 to 1
	width   int
	first   int // index of the first row
	records []record
	named   bool // the line above the first row has as many cells
}

// sniff finds the separator: each is tried on whole lines, and the one wins
// that makes the most consistent table.
func (r *reader) sniff() error {
	var all []reading
	asked := r.o.Separator
	said := saidSeparator(r.head)
	if asked == "" {
		asked = said
	}
	for _, sep := range []byte("\t;|, \x00") {
		if s := asked; s != "" && !(s == "none" && sep == 0 || s[0] == sep && s != "none") {
			continue
		}
		if sep == ',' && r.o.Decimal == "," && asked == "" && !bytes.Contains(r.head, []byte{'"'}) {
			continue
		}
		if rd := r.read(sep); rd.width > 0 && (sep == 0 || rd.width > 1 || asked != "") {
			all = append(all, rd)
		}
	}
	if len(all) == 0 {
		if !r.headerAlone() {
			return r.noTable()
		}
		r.used.Separator = sepOption(r.sep)
		r.told("separator", separatorName(r.sep), r.o.Separator != "", fmt.Sprintf("Separator: %q", r.used.Separator))
		return nil
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].quality > all[j].quality })
	near := all[:1]
	for _, rd := range all[1:] {
		if rd.quality > all[0].quality-0.02 {
			near = append(near, rd)
		}
	}
	if len(near) > 1 {
		// One column is no rival of a table unless every line is one number.
		var named []reading
		for _, rd := range near {
			if rd.named && rd.width > 1 {
				named = append(named, rd)
			}
		}
		if len(named) > 0 {
			near = named
		}
	}
	if len(near) > 1 {
		a, b := near[0], near[1]
		line := a.records[a.first]
		return Error{Line: line.line,
			Problem: fmt.Sprintf("two readings fit: %s", r.readings(a, b)),
			Remedy:  fmt.Sprintf("say which it is: %s or %s", optionOf(a), optionOf(b))}
	}
	best := near[0]
	r.sep = best.sep
	r.used.Separator = sepOption(best.sep)
	if r.o.Separator == "" && said != "" {
		r.fact("separator", separatorName(best.sep)+", as the first line says")
	} else {
		r.told("separator", separatorName(best.sep), r.o.Separator != "", fmt.Sprintf("Separator: %q", r.used.Separator))
	}
	r.table.width, r.table.firstIndex, r.table.records = best.width, best.first, best.records
	return nil
}

// saidSeparator returns the separator that the first line names, as "sep=;",
// which spreadsheets write and read.
func saidSeparator(head []byte) string {
	end, _ := lineEnd(head, 0)
	line := bytes.Trim(head[:end], `" `)
	if len(line) == 5 && bytes.EqualFold(line[:4], []byte("sep=")) && bytes.IndexByte([]byte(",;|\t"), line[4]) >= 0 {
		return string(line[4:])
	}
	return ""
}

func sepOption(sep byte) string {
	if sep == 0 {
		return "none"
	}
	return string(sep)
}

func optionOf(rd reading) string {
	if rd.sep == 0 {
		return `record.Options{Separator: "none", Decimal: ","}`
	}
	return fmt.Sprintf("record.Options{Separator: %q}", sepOption(rd.sep))
}

// readings shows one line in two ways.
func (r *reader) readings(a, b reading) string {
	var parts []string
	for _, rd := range []reading{a, b} {
		var cells []string
		for _, c := range cut(nil, rd.records[rd.first].text, rd.sep) {
			cells = append(cells, fmt.Sprintf("%q", shortened(string(c))))
			if len(cells) == 6 {
				break
			}
		}
		parts = append(parts, fmt.Sprintf("with separator %s the cells are %s", separatorName(rd.sep), strings.Join(cells, " ")))
	}
	return strings.Join(parts, ", and ")
}

// noTable refuses a text without rows of numbers.
func (r *reader) noTable() error {
	if len(bytes.TrimSpace(r.head)) == 0 && r.whole {
		return Error{Problem: "the file is empty", Remedy: "export it again"}
	}
	if err := r.brokenCell(); err != nil {
		return err
	}
	for _, rec := range records(r.head, 1, headRecords, 0) {
		for _, sep := range []byte("\t;,|") {
			units := 0
			cells := cut(nil, rec.text, sep)
			for _, c := range cells {
				if _, u := splitUnit(string(c)); knownUnit(u) {
					units++
				}
			}
			if len(cells) > 1 && units > 0 {
				return Error{Line: rec.line, Problem: "a header with no rows of numbers below it, but something else", Remedy: "export the file again, with data, or " + `say where the numbers begin: record.Options{DataLine: 12}`}
			}
		}
	}
	return Error{Problem: "no rows of numbers found",
		Remedy: `rows need numbers with comma, semicolon, tab, bar or blanks between them; if they have, say so: record.Options{Separator: ";", Decimal: ",", DataLine: 12}`}
}

// brokenCell looks for the error of a formula, which is no number.
func (r *reader) brokenCell() error {
	for _, rec := range records(r.head, 1, headRecords, 0) {
		low := bytes.ToLower(rec.text)
		for e := range formulaErrors {
			if i := bytes.Index(low, []byte(e)); i >= 0 {
				return Error{Line: rec.line, Column: i + 1, Problem: fmt.Sprintf("the error of a formula, %s, in place of a number", strings.ToUpper(e)), Remedy: "mend the sheet it came from and export again"}
			}
		}
	}
	return nil
}

// A grade says how a line fits a table.
type grade struct {
	width, good, other int
	firstGood          bool
	dateClock          bool // a date and a clock stand in two cells
}

// fits tells whether a clean cell is a number, a clock, a date or a marker.
func (r *reader) fits(c []byte, sep byte) bool {
	if shapeOf(c, sep != ' ').ok {
		return true
	}
	if _, ok := cutStamp(c); ok {
		return true
	}
	if r.o.TimeLayout != "" {
		m := moment{layout: r.o.TimeLayout}
		if _, ok := m.time(c); ok {
			return true
		}
	}
	k := r.marks().marker(c)
	return k == isMissing || k == isCensored
}

// marks returns a format of the markers alone.
func (r *reader) marks() *format {
	f := &format{decimal: '.'}
	for _, m := range r.o.Missing {
		f.missing = append(f.missing, []byte(m))
	}
	return f
}

func (r *reader) grade(cells [][]byte, sep byte) (g grade) {
	g.width = len(cells)
	for j, c := range cells {
		if len(c) == 0 {
			continue
		}
		if r.fits(c, sep) {
			g.good++
			if g.good == 1 {
				g.firstGood = g.other == 0
			}
			if j == 1 {
				if s, ok := cutStamp(c); ok && s.parts > 0 && !s.hasDate {
					d, ok := cutStamp(cells[0])
					g.dateClock = ok && d.hasDate && d.parts == 0
				}
			}
		} else {
			g.other++
		}
	}
	return g
}

// data tells whether a line can be a row.
func (g grade) data() bool {
	return g.good > g.other || g.good > 0 && g.good == g.other && g.firstGood
}

// read tries a separator.
func (r *reader) read(sep byte) reading {
	rd := reading{sep: sep, records: records(r.head, 1, headRecords, sep)}
	grades := make([]grade, len(rd.records))
	widths := map[int]int{}
	lines := 0
	var cells [][]byte
	for i, rec := range rd.records {
		if blank(rec.text, sep) || r.isComment(rec.text) ||
			rec.line <= r.o.HeaderLine || rec.line < r.o.DataLine || r.o.LastLine > 0 && rec.line > r.o.LastLine {
			continue
		}
		lines++
		if sep == ' ' && bytes.IndexByte(bytes.TrimSpace(rec.text), '\t') >= 0 {
			continue
		}
		cells = cut(cells[:0], rec.text, sep)
		if len(cells) > maxColumns {
			continue
		}
		grades[i] = r.grade(cells, sep)
		if grades[i].data() {
			widths[len(cells)] += grades[i].good
		}
	}
	if len(widths) == 0 {
		return rd
	}
	for w, n := range widths {
		if n > widths[rd.width] || n == widths[rd.width] && w > rd.width {
			rd.width = w
		}
	}
	rd.first = -1
	for i, g := range grades {
		if g.data() && (g.width == rd.width || i+1 < len(grades) && grades[i+1].data() && grades[i+1].width == rd.width) {
			if r.o.HeaderLine == 0 && r.o.DataLine == 0 && r.numberedNames(rd.records, grades, i) {
				continue
			}
			rd.first = i
			break
		}
	}
	for i, rec := range rd.records {
		if rec.line == r.o.DataLine && grades[i].width > 0 && grades[i].good > 0 {
			rd.first = i
		}
	}
	if rd.first < 0 {
		return reading{sep: sep}
	}
	// A row with a fault may stand above.
	for i := rd.first - 1; i >= 0 && grades[i].width > 0 && grades[i].width == rd.width && grades[i].firstGood && grades[i].good > 0; i-- {
		rd.first = i
	}
	// What stands above the first row does not tell how wide the table is.
	widths, rd.width = map[int]int{}, 0
	for _, g := range grades[rd.first:] {
		if g.data() {
			widths[g.width] += g.good
		}
	}
	for w, n := range widths {
		if n > widths[rd.width] || n == widths[rd.width] && w > rd.width {
			rd.width = w
		}
	}
	if i := r.above(rd.records, rd.first); i >= 0 {
		h := trimEmpty(joinBrackets(cut(nil, r.withoutComment(rd.records[i].text), sep), sep))
		if n := len(h); n != rd.width && widths[n] > 0 {
			rd.width = n
		}
		g := r.grade(h, sep)
		rd.named = len(h) == rd.width && !g.firstGood
		if sep == 0 {
			rd.named = g.good == 0 && !bytes.ContainsAny(rd.records[i].text, ",;\t|")
		}
	}
	share, good := 0.0, 0
	dateClock := false
	for _, g := range grades[rd.first:] {
		if !g.data() || g.width > rd.width {
			continue
		}
		good++
		share += float64(g.good) / float64(g.good+g.other)
		dateClock = dateClock || g.dateClock
	}
	rd.quality = share / float64(lines)
	if dateClock && sep == ' ' {
		rd.quality -= 0.1
	}
	return rd
}

// numberedNames tells whether a line that looks like a row is the header,
// because names are numbers ("Time,280,260"): it begins with a word, the row
// below with a number, and no other header stands above.
func (r *reader) numberedNames(recs []record, grades []grade, i int) bool {
	if grades[i].firstGood || i+1 >= len(grades) || !grades[i+1].data() || !grades[i+1].firstGood || grades[i+1].width != grades[i].width {
		return false
	}
	up := r.above(recs, i)
	return up < 0 || grades[up].width != grades[i].width || grades[up].good > 0
}

// joinBrackets puts names and their units in brackets together, which blanks
// between cells have set apart.
func joinBrackets(cells [][]byte, sep byte) [][]byte {
	if sep != ' ' {
		return cells
	}
	var out [][]byte
	for _, c := range cells {
		if n := len(out); n > 0 && len(c) > 0 && (c[0] == '(' || c[0] == '[' || bytes.Count(out[n-1], []byte("(")) > bytes.Count(out[n-1], []byte(")"))) {
			out[n-1] = bytes.Join([][]byte{out[n-1], c}, []byte{' '})
			continue
		}
		out = append(out, c)
	}
	return out
}

// above returns the index of the next record above that is not blank, or -1.
func (r *reader) above(recs []record, i int) int {
	for i--; i >= 0; i-- {
		if !blank(recs[i].text, r.sep) {
			return i
		}
	}
	return -1
}

// withoutComment takes the mark of a comment off a line, which may be a header.
func (r *reader) withoutComment(b []byte) []byte {
	if !r.isComment(b) {
		return b
	}
	return bytes.TrimPrefix(trim(b), r.comment())
}
