package text

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// A kind is what the cells of a column hold.
type kind int

const (
	unknownKind kind = iota // nothing in the rows that were looked at
	numberKind
	clockKind // a clock without a date: seconds
	dateKind
	textKind
)

// A column is one column of the table.
type column struct {
	name, unit string
	named      bool // in the file
	kind       kind
	moment     moment
}

// A layout is where the parts of a table stand.
type layout struct {
	records    []record
	firstIndex int // of the first row among the records
	firstLine  int
	width      int
	header     int // index of the record with the names; -1 if there is none
	units      int // index of the record with the units; -1
	groups     int // index of the record with names over several columns; -1
	cols       []column
	meta       []source.Entry
	decisive   bool // the sample settles the decimal mark
	empty      bool // the header is all there is
}

// layout finds header, units, kinds of columns and the marks of numbers.
func (r *reader) layout() error {
	t := &r.table
	t.header, t.units, t.groups = -1, -1, -1
	t.firstLine = t.records[min(t.firstIndex, len(t.records)-1)].line // of a header alone, its last
	if r.o.DataLine > 0 && t.firstLine != r.o.DataLine {
		return Error{Line: r.o.DataLine, Problem: "no row of numbers", Remedy: fmt.Sprintf("the first one is on line %d", t.firstLine)}
	}
	r.takeSample()
	r.narrow()
	if t.width > maxColumns {
		return Error{Line: t.firstLine, Problem: fmt.Sprintf("%d columns", t.width), Remedy: fmt.Sprintf("export at most %d", maxColumns)}
	}
	if err := r.findHeader(); err != nil {
		return err
	}
	if err := r.commaTwice(); err != nil {
		return err
	}
	r.nameColumns()
	r.readMeta()
	r.used.DataLine = t.firstLine
	if err := r.kinds(); err != nil {
		return err
	}
	return r.marksOfNumbers()
}

// takeSample collects rows from the beginning and from all over the file.
func (r *reader) takeSample() {
	t := &r.table
	for _, rec := range t.records[t.firstIndex:] {
		if r.o.LastLine == 0 || rec.line <= r.o.LastLine {
			r.sample = append(r.sample, rec)
		}
	}
	if (r.whole && len(t.records) < headRecords) || r.o.LastLine > 0 {
		return
	}
	r.whole = false
	const windows = 8
	for k := 1; k <= windows; k++ {
		from := int(int64(len(r.raw)) * int64(k) / windows)
		from = max(0, from-windowBytes*r.enc.size()) &^ (r.enc.size() - 1)
		begin := r.cutAfter(from)
		if begin < 0 || begin >= len(r.raw) {
			continue
		}
		end := min(begin+windowBytes*r.enc.size(), len(r.raw))
		if e := r.cutAfter(end); e > 0 && end < len(r.raw) {
			end = e
		}
		b := r.enc.decode(r.raw[begin:end], nil)
		r.sample = append(r.sample, records(b, 0, 0, r.sep)...)
	}
}

// narrow takes columns off the right that are empty in every row and have no
// name: lines may end with separators.
func (r *reader) narrow() {
	t := &r.table
	filled := 0
	var cells [][]byte
	for _, rec := range r.sample {
		cells = trimEmpty(cut(cells[:0], rec.text, r.sep))
		if len(cells) > filled && len(cells) <= t.width {
			filled = len(cells)
		}
	}
	named := 0
	if i := r.above(t.records, t.firstIndex); i >= 0 {
		named = len(trimEmpty(joinBrackets(cut(nil, r.withoutComment(t.records[i].text), r.sep), r.sep)))
	}
	if w := max(filled, min(named, t.width)); w > 0 {
		t.width = w
	}
}

// commaTwice refuses a table whose commas may be decimal marks, too: more cells
// than names, and no other decimal mark.
func (r *reader) commaTwice() error {
	t := &r.table
	if t.empty || r.sep != ',' || r.o.Separator != "" || r.o.Decimal != "" || t.header < 0 {
		return nil
	}
	names := len(trimStrings(r.headerCells(t.header)))
	if names == 0 || names >= t.width {
		return nil
	}
	var cells [][]byte
	for _, rec := range r.sample {
		cells = cut(cells[:0], rec.text, r.sep)
		for _, c := range cells {
			if s := shapeOf(c, true); s.decimal != 0 || s.ambiguous != 0 {
				return nil
			}
		}
	}
	return Error{Line: t.firstLine, Problem: fmt.Sprintf("%d cells below %d names, and no number has a decimal point: the comma may separate cells, or be the decimal mark as well", t.width, names),
		Remedy: `export with semicolons between cells, or say that commas only separate: record.Options{Separator: ","}`}
}

// headerCells returns the cells of a record of the header, as many as the table is
// wide or more.
func (r *reader) headerCells(i int) []string {
	var out []string
	for _, c := range joinBrackets(cut(nil, r.withoutComment(r.table.records[i].text), r.sep), r.sep) {
		out = append(out, strings.ToValidUTF8(strings.Join(strings.Fields(string(c)), " "), "?"))
	}
	for len(out) > r.table.width && out[len(out)-1] == "" {
		out = out[:len(out)-1]
	}
	return out
}

// filledCells counts cells that hold something.
func filledCells(cells []string) (n int) {
	for _, c := range cells {
		if c != "" {
			n++
		}
	}
	return n
}

// isUnits tells whether cells can be a row of units; names tells that the row
// above can hold the names.
func isUnits(cells []string, names bool) bool {
	known, sure, short, all := 0, 0, 0, 0
	for _, c := range cells {
		if c == "" {
			continue
		}
		all++
		u := unbracket(c)
		if knownUnit(u) || u != c && len(u) <= 12 {
			known++
			if !nameLike[u] || u != c {
				sure++
			}
		}
		if len([]rune(c)) <= 10 && !strings.Contains(c, " ") {
			short++
		}
	}
	switch {
	case all == 0 || known == 0:
		return false
	case known == all && (sure > 0 || names):
		return true
	}
	return names && sure > 0 && short == all || sure > 0 && 2*known >= all && names
}

// headerLike tells whether a record can belong to the header.
func (r *reader) headerLike(i int) bool {
	if i < 0 {
		return false
	}
	cells := r.headerCells(i)
	n := filledCells(cells)
	if n == 0 {
		return false
	}
	if r.table.width == 1 {
		return n == 1 && !strings.Contains(cells[0], ":")
	}
	if r.sep == ' ' && len(cells) != r.table.width {
		return false // words, not names
	}
	first := cells[0]
	if strings.HasSuffix(first, ":") || n == 1 && len(trimStrings(cells)) == 1 {
		return false
	}
	return true
}

func trimStrings(cells []string) []string {
	for len(cells) > 0 && cells[len(cells)-1] == "" {
		cells = cells[:len(cells)-1]
	}
	return cells
}

// next returns the record directly above i if it is neither blank nor far away.
func (r *reader) next(i int) int {
	if i <= 0 || blank(r.table.records[i-1].text, r.sep) {
		return -1
	}
	return i - 1
}

func (r *reader) findHeader() error {
	t := &r.table
	switch {
	case r.o.HeaderLine == -1:
	case r.o.HeaderLine > 0 || r.o.HeaderRows > 0:
		i := t.firstIndex
		var below []int // rows below the names, from the bottom
		for i = r.above(t.records, i); i >= 0; i = r.above(t.records, i) {
			if r.o.HeaderLine > 0 && t.records[i].line == r.o.HeaderLine || r.o.HeaderLine == 0 && len(below)+1 == r.o.HeaderRows {
				break
			}
			below = append(below, i)
		}
		if i < 0 {
			return Error{Line: r.o.HeaderLine, Problem: "there is no header above the rows of numbers where the options say", Remedy: fmt.Sprintf("the first row is on line %d", t.firstLine)}
		}
		t.header = i
		if n := len(below); n > 0 && (r.o.HeaderRows > 1 || r.o.HeaderRows == 0 && isUnits(r.headerCells(below[n-1]), true)) {
			t.units = below[n-1]
		}
		r.groupAbove(t.header)
	default:
		bottom := r.above(t.records, t.firstIndex)
		if !r.headerLike(bottom) {
			break
		}
		up := r.next(bottom)
		upper := -1
		if up >= 0 {
			upper = r.next(up)
		}
		switch {
		case isUnits(r.headerCells(bottom), r.headerLike(up)):
			t.units = bottom
			if r.headerLike(up) || up >= 0 && t.width <= 2 && filledCells(r.headerCells(up)) > 0 {
				t.header = up
			}
		case r.headerLike(up) && r.headerLike(upper) && isUnits(r.headerCells(up), true) && t.width > 2 &&
			(namesAxis(r.headerCells(upper)) || !namesAxis(r.headerCells(bottom))): // else the units stand above their names
			t.units, t.header = up, upper
		default:
			t.header = bottom
		}
		if t.header >= 0 {
			r.groupAbove(t.header)
		}
	}
	if t.header >= 0 && t.units < 0 {
		if up := r.next(t.header); up >= 0 && r.unitsAbove(up) {
			t.units, t.groups = up, -1
		}
	}
	line := func(i int) int { return t.records[i].line }
	if t.header >= 0 && t.units < 0 && isUnits(r.headerCells(t.header), false) {
		t.header, t.units, t.groups = -1, t.header, -1
	}
	switch {
	case t.header < 0 && t.units >= 0:
		r.used.HeaderLine, r.used.HeaderRows = line(t.units), 1
		r.told("header", fmt.Sprintf("units alone, on line %d: the columns are numbered", line(t.units)), r.o.HeaderLine > 0, fmt.Sprintf("HeaderLine: %d", line(t.units)))
		return nil
	case t.header >= 0:
		r.used.HeaderLine, r.used.HeaderRows = line(t.header), 1
		for i := r.above(t.records, t.firstIndex); i > t.header; i = r.above(t.records, i) {
			r.used.HeaderRows++
		}
		r.told("header", fmt.Sprintf("line %d", line(t.header)), r.o.HeaderLine > 0, fmt.Sprintf("HeaderLine: %d", line(t.header)))
	case r.o.HeaderLine == -1:
		r.fact("header", "none, as given")
	default:
		r.used.HeaderLine = -1
		r.guess("header", "none found: the columns are numbered", "record.Options{HeaderLine: 1}")
	}
	if t.groups >= 0 {
		r.guess("names over several columns", fmt.Sprintf("line %d", line(t.groups)), fmt.Sprintf("record.Options{HeaderLine: %d}", line(t.header)))
	}
	if t.units > t.header { // one above the names is told when they are known
		r.told("units", fmt.Sprintf("line %d", line(t.units)), r.o.HeaderRows > 1, fmt.Sprintf("HeaderRows: %d", r.used.HeaderRows))
	}
	return nil
}

// namesAxis tells whether one of the names is that of a time or a volume.
func namesAxis(cells []string) bool {
	return slices.ContainsFunc(cells, func(c string) bool { return axisName(c, "") })
}

// unitsAbove tells whether the row above the names holds their units: nothing but
// units, over names that have none of their own.
func (r *reader) unitsAbove(up int) bool {
	t := &r.table
	cells, names := r.headerCells(up), r.headerCells(t.header)
	n := 0
	for j, c := range cells {
		u := unbracket(c)
		switch {
		case c == "":
			continue
		case j >= len(names) || names[j] == "" || !knownUnit(u):
			return false
		}
		if _, own := splitUnit(names[j]); own != "" {
			return false
		}
		n++
	}
	return n > 1 || n == 1 && t.width <= 2
}

// tellUnitsAbove tells of a row of units above the names.
func (r *reader) tellUnitsAbove() {
	t := &r.table
	if t.units < 0 || t.units > t.header {
		return
	}
	var options []string
	for _, c := range t.cols {
		if c.unit != "" && len(options) < 10 {
			options = append(options, fmt.Sprintf("%q: %q", c.name, c.unit))
		}
	}
	r.guess("units", fmt.Sprintf("line %d, above the names", t.records[t.units].line), "record.Options{Units: map[string]string{"+strings.Join(options, ", ")+"}}")
}

// groupAbove takes the row above the names if it holds names over several
// columns: gaps between them, and no key with a value.
func (r *reader) groupAbove(i int) {
	t := &r.table
	up := r.next(i)
	if up < 0 || t.width < 3 {
		return
	}
	cells := r.headerCells(up)
	if len(cells) > t.width+1 || strings.Contains(cells[0], ":") {
		return
	}
	filled, last, repeated := 0, -1, false
	seen := map[string]bool{}
	for j, c := range cells {
		if c == "" {
			continue
		}
		if r.fits([]byte(c), r.sep) {
			return
		}
		filled++
		last = j
		repeated = repeated || seen[c]
		seen[c] = true
	}
	gaps := filled >= 2 && filled <= last && last >= 2
	if filled == 1 && last > 0 && len(cells) >= t.width {
		gaps = true
	}
	if gaps || repeated && filled == t.width {
		t.groups = up
	}
}

// nameColumns gives every column its name and unit.
func (r *reader) nameColumns() {
	t := &r.table
	t.cols = make([]column, t.width)
	row := func(i int) []string {
		cells := make([]string, t.width)
		if i >= 0 {
			copy(cells, r.headerCells(i))
		}
		return cells
	}
	names, units, groups := row(t.header), row(t.units), row(t.groups)
	if t.header >= 0 {
		if all := trimStrings(r.headerCells(t.header)); len(all) > t.width {
			var extra []string
			for _, n := range all[t.width:] {
				if n != "" {
					extra = append(extra, fmt.Sprintf("%q", shortened(n)))
				}
			}
			r.guess("names without a column", strings.Join(extra, ", "), fmt.Sprintf("record.Options{HeaderLine: %d}", t.records[t.header].line))
		}
	}
	least := leastOf(names)
	inNames := false
	var bare []int // columns whose unit stands behind the name, without brackets
	for j := range names {
		whole := names[j]
		if names[j], t.cols[j].unit = splitUnit(whole); least[j] {
			names[j], t.cols[j].unit = whole, ""
		}
		inNames = inNames || t.cols[j].unit != "" && units[j] == ""
		if units[j] != "" {
			t.cols[j].unit = sameMicro(unbracket(units[j]))
		} else if names[j] == whole && t.units < 0 {
			if name, u, ok := bareUnit(whole); ok && (r.unitGiven(name) || !r.unitGiven(whole)) {
				names[j], t.cols[j].unit = name, u
				bare = append(bare, j)
			}
		}
	}
	if inNames {
		r.fact("units", "in the names")
	}
	fillPairs(names, t.cols)
	group := ""
	for j := range names {
		if groups[j] != "" {
			group = groups[j]
		}
		switch {
		case group == "" || strings.Contains(strings.ToLower(names[j]), strings.ToLower(group)):
		case names[j] == "":
			names[j] = group
		default:
			names[j] = group + " " + names[j]
		}
	}
	taken := map[string]int{} // how often a name was given
	var numbered, doubled []string
	for j := range names {
		c := &t.cols[j]
		c.named = names[j] != ""
		if !c.named {
			names[j] = "column " + strconv.Itoa(j+1)
			numbered = append(numbered, strconv.Itoa(j+1))
		}
		c.name = names[j]
		low := strings.ToLower(c.name)
		for n := taken[low] + 1; taken[strings.ToLower(c.name)] > 0; n++ {
			c.name = names[j] + " " + strconv.Itoa(n)
			taken[low] = n
		}
		taken[strings.ToLower(c.name)]++
		if c.name != names[j] {
			doubled = append(doubled, fmt.Sprintf("%q", shortened(c.name)))
		}
	}
	if len(numbered) > 0 && t.header >= 0 {
		r.guess("columns without a name", list(numbered)+": called after their place", `record.Options{HeaderLine: 1}`)
	}
	if len(doubled) > 0 {
		r.guess("names that occur before", "numbered: "+list(doubled), "")
	}
	r.tellUnitsAbove()
	r.tellBare(bare)
}

// leastOf tells which headings end in "(min)" for a least value: those whose name
// comes again with "(max)" or "(mean)".
func leastOf(headings []string) []bool {
	out := make([]bool, len(headings))
	spread := map[string]bool{} // names with a largest or a mean value
	for _, h := range headings {
		switch name, u := splitUnit(h); strings.ToLower(u) {
		case "max", "mean", "avg", "average":
			spread[strings.ToLower(name)] = true
		}
	}
	for j, h := range headings {
		name, u := splitUnit(h)
		out[j] = u == "min" && spread[strings.ToLower(name)]
	}
	return out
}

// unitGiven tells whether the options give the unit of a column with this name.
// Where they have its whole heading, unit and all, that is its name.
func (r *reader) unitGiven(column string) bool {
	for name := range r.o.Units {
		if strings.EqualFold(name, column) {
			return true
		}
	}
	return false
}

// tellBare tells of units that were taken off the end of names.
func (r *reader) tellBare(bare []int) {
	if len(bare) == 0 {
		return
	}
	var told, options []string
	for _, j := range bare {
		c := &r.table.cols[j]
		told = append(told, fmt.Sprintf("%q: %s", shortened(c.name), c.unit))
		if len(options) < 10 {
			options = append(options, fmt.Sprintf("%q: %q", c.name, c.unit))
		}
	}
	r.guess("units behind the names, without brackets", list(told), "record.Options{Units: map[string]string{"+strings.Join(options, ", ")+"}}")
}

// list writes at most ten of the words.
func list(words []string) string {
	if len(words) > 10 {
		return strings.Join(words[:10], ", ") + fmt.Sprintf(" and %d more", len(words)-10)
	}
	return strings.Join(words, ", ")
}

// fillPairs names both columns of a pair where the name stands over the first
// alone.
func fillPairs(names []string, cols []column) {
	n := len(names)
	if n < 2 || n%2 != 0 {
		return
	}
	for j := 0; j < n; j += 2 {
		if names[j] == "" || names[j+1] != "" {
			return
		}
	}
	if n == 2 && cols[1].unit == "" {
		return
	}
	for j := 0; j < n; j += 2 {
		names[j+1] = names[j]
		what := dimension(cols[j].unit)
		if what == "" {
			what = "x"
		}
		names[j] += " " + what
	}
}

// readMeta keeps the lines above the header.
func (r *reader) readMeta() {
	t := &r.table
	for i, rec := range t.records[:t.firstIndex] {
		if i == t.header || i == t.units || i == t.groups || i == 0 && saidSeparator(r.head) != "" {
			continue
		}
		if e, ok := r.entry(rec); ok {
			t.meta = append(t.meta, e)
		}
	}
}

// entry cuts a line into key and value.
func (r *reader) entry(rec record) (e source.Entry, ok bool) {
	text := strings.TrimSpace(strings.ToValidUTF8(string(bytes.ReplaceAll(trim(r.withoutComment(rec.text)), []byte{0}, nil)), "?"))
	if blank([]byte(text), r.sep) {
		return e, false
	}
	e.Line = rec.line
	var cells []string
	for _, c := range trimEmpty(cut(nil, []byte(text), r.sep)) {
		cells = append(cells, string(c))
	}
	colon := strings.IndexByte(text, ':')
	if len(cells) > 1 && r.sep != ' ' && !(r.sep == ',' && colon > 0 && colon < len(cells[0]) && !strings.Contains(text, `"`)) {
		e.Key = strings.TrimSpace(strings.TrimRight(cells[0], ":="))
		rest := cells[1:]
		if key, value, ok := cutKey(cells[0], ":"); ok && strings.TrimSpace(value) != "" {
			e.Key, rest = strings.TrimSpace(key), append([]string{strings.TrimSpace(value)}, rest...)
		}
		for len(rest) > 1 && rest[0] == "" {
			rest = rest[1:]
		}
		e.Value = strings.Join(rest, " ")
		return e, true
	}
	if len(cells) == 1 {
		text = cells[0]
	}
	for _, mark := range []string{":", "="} {
		if key, value, ok := cutKey(text, mark); ok && strings.TrimSpace(key) != "" {
			e.Key, e.Value = strings.TrimSpace(key), strings.Trim(value, " \t;")
			if r.sep != 0 {
				e.Value = strings.TrimRight(e.Value, string(r.sep)+" ")
			}
			return e, true
		}
	}
	e.Value = text
	return e, true
}

// cutKey cuts a key off its value at the first mark. A colon between digits is
// that of a clock.
func cutKey(text, mark string) (key, value string, ok bool) {
	digit := func(i int) bool { return i >= 0 && i < len(text) && text[i] >= '0' && text[i] <= '9' }
	for at := 0; ; {
		i := strings.Index(text[at:], mark)
		if i < 0 {
			return text, "", false
		}
		if at += i; mark != ":" || !digit(at-1) || !digit(at+1) {
			return text[:at], text[at+1:], true
		}
		at++
	}
}

// kinds tells what each column holds by the sample.
func (r *reader) kinds() error {
	t := &r.table
	type tally struct{ number, stamp, date, text, empty, marker int }
	tallies := make([]tally, t.width)
	marks := r.marks()
	var cells [][]byte
	rows := 0
	for _, rec := range r.sample {
		cells = cut(cells[:0], rec.text, r.sep)
		if g := r.grade(cells, r.sep); !g.data() || len(trimEmpty(cells)) > t.width {
			continue
		}
		rows++
		for j := range tallies {
			y := &tallies[j]
			if j >= len(cells) || len(cells[j]) == 0 {
				y.empty++
				continue
			}
			c := cells[j]
			if k := marks.marker(c); k == isMissing || k == isCensored {
				y.marker++
				continue
			}
			if r.o.TimeLayout != "" && strings.ContainsAny(r.o.TimeLayout, "0123456789") {
				m := moment{layout: r.o.TimeLayout}
				if _, ok := m.time(c); ok {
					y.date++
					continue
				}
			}
			if shapeOf(c, r.sep != ' ').ok {
				y.number++
				continue
			}
			if s, ok := cutStamp(c); ok {
				if s.hasDate {
					y.date++
				} else {
					y.stamp++
				}
				continue
			}
			y.text++
		}
	}
	for j, y := range tallies {
		c := &t.cols[j]
		numeric := y.number + y.stamp + y.date
		switch {
		case y.text > numeric || y.text > 0 && 2*y.empty >= rows:
			c.kind = textKind
		case y.date > 0 && y.date >= y.number && y.date >= y.stamp:
			c.kind = dateKind
		case y.stamp > 0 && y.stamp >= y.number:
			c.kind = clockKind
		case y.number > 0:
			c.kind = numberKind
		case y.marker > 0:
			c.kind = numberKind
		}
		if c.kind == dateKind || c.kind == clockKind {
			if err := r.moments(j); err != nil {
				return err
			}
		}
	}
	return nil
}
