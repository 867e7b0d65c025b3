package record

import (
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/evenbed/evenbed/packing/internal/unit"
	"github.com/evenbed/evenbed/packing/record/internal/source"
	"github.com/evenbed/evenbed/packing/record/internal/text"
)

// A builder makes a record of what a reader found.
type builder struct {
	name    string
	options Options
	used    Options // options that read the file again without a guess
	table   source.Table
	// unitsToo says that the units were guessed, so that the options have to
	// name them.
	unitsToo bool
	// origin has the rows of the table that signals have whose axis is that
	// column, where they stood below each other.
	origin map[int][]int
	// statusOf has the column that holds the status of a column's values.
	statusOf map[int]int
	record   *Record
	report   *Report
}

// build makes the record.
func (b *builder) build(f source.File) error {
	for _, of := range f.Facts {
		fact := Fact(of)
		field := optionIn(fact.Override)
		fact.Guessed = fact.Guessed && !b.options.has(field)
		b.unitsToo = b.unitsToo || fact.Guessed && field == "Units"
		b.report.Facts = append(b.report.Facts, fact)
	}
	if err := b.choose(f); err != nil {
		return err
	}
	for _, e := range b.table.Meta {
		b.record.Preamble = append(b.record.Preamble, Entry(e))
	}
	for _, e := range b.table.Notes {
		b.record.Notes = append(b.record.Notes, Entry(e))
	}
	for _, d := range b.table.Doubts {
		b.report.doubt(d.Column, "%s", d.Text)
	}
	for _, d := range b.table.Dropped {
		b.report.Dropped = append(b.report.Dropped, Drop(d))
	}
	if err := b.names(); err != nil {
		return err
	}
	if err := b.unstack(); err != nil {
		return err
	}
	if err := b.axes(); err != nil {
		return err
	}
	b.statuses()
	b.missing()
	if err := b.shifted(); err != nil {
		return err
	}
	b.codes()
	if err := b.rows(); err != nil {
		return err
	}
	b.stated()
	b.columns()
	b.thinned()
	return nil
}

// optionIn returns the name of the field in "record.Options{Separator: \";\"}".
func optionIn(override string) string {
	field, _, _ := strings.Cut(strings.TrimPrefix(override, "record.Options{"), ":")
	return field
}

// has tells whether an option is given.
func (o Options) has(field string) bool {
	v := reflect.ValueOf(o).FieldByName(field)
	return v.IsValid() && !v.IsZero()
}

// numbers counts the numbers and moments of a table.
func numbers(t source.Table) int {
	n := 0
	for _, c := range t.Columns {
		if c.Texts == nil {
			n += length(c) - c.Missing
		}
	}
	return n
}

// measures tells whether a table has a column for numbers or moments, be there
// any in it or not.
func measures(t source.Table) bool {
	return slices.ContainsFunc(t.Columns, func(c source.Column) bool { return c.Texts == nil })
}

// choose takes the table that the options name, or the one with the most
// numbers, and says so where there are others.
func (b *builder) choose(f source.File) error {
	best, most := -1, -1
	var names, others []string
	for i, t := range f.Tables {
		names = append(names, t.Name)
		n := numbers(t)
		switch {
		case b.options.Table == "" && !measures(t), b.options.Table != "" && !strings.EqualFold(t.Name, b.options.Table):
			n = -1
		}
		if n > most {
			best, most = i, n
		}
	}
	switch {
	case best < 0 && b.options.Table != "":
		return Error{File: b.name, Problem: fmt.Sprintf("no table %q", b.options.Table), Remedy: choices("the file holds", names, b.options.Table)}
	case best < 0:
		return Error{File: b.name, Problem: "no numbers in the file", Remedy: "look whether the export holds rows at all; if it does, save them as CSV"}
	}
	if numbers(f.Tables[best]) == 0 {
		b.report.remark("there is no value in the table: its columns are empty")
	}
	if together := joint(f.Tables); b.options.Table == "" && len(together) > 1 {
		b.table = join(f.Tables, together)
		var read []string
		for _, i := range together {
			read = append(read, names[i])
		}
		b.report.fact("tables read together", quoted(read))
		return nil
	}
	b.table = f.Tables[best]
	for i, t := range f.Tables {
		if i != best && numbers(t) > 0 {
			others = append(others, t.Name)
		}
	}
	if b.table.Name == "" {
		return nil
	}
	b.used.Table = b.table.Name
	if l := b.table.Layout; l != (source.Layout{}) {
		b.used.HeaderLine, b.used.HeaderRows, b.used.DataLine, b.used.LastLine = l.HeaderLine, l.HeaderRows, l.DataLine, l.LastLine
		b.used.DateOrder, b.used.TimeLayout = l.DateOrder, l.TimeLayout
	}
	fact := Fact{What: "table", Value: b.table.Name, Override: fmt.Sprintf("record.Options{Table: %q}", b.table.Name)}
	if len(others) > 0 {
		fact.Value += "; there are others: " + quoted(others)
		fact.Guessed = b.options.Table == ""
	}
	b.report.Facts = append(b.report.Facts, fact)
	return nil
}

// joint returns the tables that can be read together: those without lines that
// have an axis of their own.
func joint(tables []source.Table) []int {
	var out []int
	for i, t := range tables {
		if t.FirstLine == 0 && slices.ContainsFunc(t.Columns, func(c source.Column) bool { return c.Axis >= 0 }) {
			out = append(out, i)
		}
	}
	return out
}

// join makes one table of several.
func join(tables []source.Table, which []int) source.Table {
	var out source.Table
	for _, i := range which {
		t, shift := tables[i], len(out.Columns)
		for _, c := range t.Columns {
			if c.Axis >= 0 {
				c.Axis += shift
			}
			c.Place += shift
			out.Columns = append(out.Columns, c)
		}
		out.Meta = append(out.Meta, t.Meta...)
		out.Notes = append(out.Notes, t.Notes...)
		out.Dropped = append(out.Dropped, t.Dropped...)
		out.Doubts = append(out.Doubts, t.Doubts...)
	}
	return out
}

// names gives every column a name of its own and the units of the options.
func (b *builder) names() error {
	b.unitsInNames()
	taken := map[string]bool{}
	for j := range b.table.Columns {
		c := &b.table.Columns[j]
		if c.Place == 0 {
			c.Place = j + 1
		}
		if c.Name == "" {
			c.Name = "column " + strconv.Itoa(c.Place)
			b.report.remark("column %d has no name: it is called %q", c.Place, c.Name)
		}
		name := c.Name
		for n := 2; taken[strings.ToLower(c.Name)]; n++ {
			c.Name = name + " " + strconv.Itoa(n)
		}
		taken[strings.ToLower(c.Name)] = true
		if c.Name != name {
			b.report.remark("the name of column %d, %q, occurs before: it is called %q", c.Place, name, c.Name)
		}
	}
	named := Record{File: b.name}
	for _, c := range b.table.Columns {
		named.Columns = append(named.Columns, Column{Name: c.Name})
	}
	for _, name := range sortedKeys(b.options.Units) {
		i, err := named.index(name)
		if err != nil {
			return err
		}
		u := b.options.Units[name]
		if _, known := unit.Of(u); !known {
			return Error{File: b.name, Problem: fmt.Sprintf("the unit %q given for column %q is not known", u, named.Columns[i].Name), Remedy: unitsRemedy}
		}
		b.table.Columns[i].Unit = u
		if unit.KindOf(u) != unit.Time {
			b.table.Columns[i].Start = time.Time{}
		}
	}
	if b.unitsToo {
		b.used.Units = maps.Clone(b.used.Units)
		if b.used.Units == nil {
			b.used.Units = map[string]string{}
		}
		for _, c := range b.table.Columns {
			if _, known := unit.Of(c.Unit); known {
				b.used.Units[c.Name] = c.Unit
			}
		}
		if len(b.used.Units) == 0 {
			b.used.Units = nil
		}
	}
	return nil
}

// unitsInNames takes units out of the names of a table whose format could tell units
// and tells none: data frames are often written so, as "UV_mAU" and "Time (min)".
func (b *builder) unitsInNames() {
	cols := b.table.Columns
	if b.table.FirstLine > 0 || slices.ContainsFunc(cols, func(c source.Column) bool { return c.Unit != "" }) {
		return
	}
	var told []string
	for j := range cols {
		name, symbol := text.NameAndUnit(cols[j].Name)
		if _, known := unit.Of(symbol); known && cols[j].Values != nil {
			cols[j].Name, cols[j].Unit = name, symbol
			told = append(told, fmt.Sprintf("%q: %q", name, symbol))
		}
	}
	if len(told) > 0 {
		b.unitsToo = b.unitsToo || b.options.Units == nil
		b.report.Facts = append(b.report.Facts, Fact{What: "units", Value: "in the names, since the file tells none", Guessed: b.options.Units == nil,
			Override: "record.Options{Units: map[string]string{" + strings.Join(told[:min(len(told), 10)], ", ") + "}}"})
	}
}

// isAxisKind tells whether a signal can run against a column.
func isAxisKind(c source.Column) bool {
	switch unit.KindOf(c.Unit) {
	case unit.Time, unit.Volume, unit.CV:
		return c.Values != nil
	}
	return c.Times != nil
}

// candidates returns the columns that others can run against: times first, then
// volumes.
func (b *builder) candidates() []int {
	var list []int
	for _, time := range []bool{true, false} {
		for j, c := range b.table.Columns {
			if isAxisKind(c) && time == (c.Times != nil || unit.KindOf(c.Unit) == unit.Time) {
				list = append(list, j)
			}
		}
	}
	return list
}

// usedAxes returns the columns that others run against, as the reader has it.
func (b *builder) usedAxes() []int {
	var used []int
	for _, c := range b.table.Columns {
		if c.Axis >= 0 && !slices.Contains(used, c.Axis) {
			used = append(used, c.Axis)
		}
	}
	return used
}

// axisColumn returns the column that the options name as the axis, or else the
// one that the reader found, or the first that can be one; -1 if there is none,
// or one for each signal.
func (b *builder) axisColumn() (int, error) {
	cols := b.table.Columns
	if b.options.Axis == "" {
		switch used := b.usedAxes(); len(used) {
		case 0:
			return append(b.candidates(), -1)[0], nil
		case 1:
			return used[0], nil
		}
		return -1, nil
	}
	i, err := (Record{File: b.name, Columns: columnsNamed(cols)}).index(b.options.Axis)
	if err != nil {
		return -1, err
	}
	if cols[i].Texts != nil {
		return -1, Error{File: b.name, Problem: fmt.Sprintf("column %q cannot be an axis: it holds words", cols[i].Name), Remedy: "name a column of times or volumes"}
	}
	return i, nil
}

// axes finds what each column runs against, where the file does not say it.
func (b *builder) axes() error {
	cols, used := b.table.Columns, b.usedAxes()
	axis, why, whole := -1, "", b.origin == nil
	if whole {
		var err error
		if axis, err = b.axisColumn(); err != nil {
			return err
		}
		if steady := b.steadier(axis); steady >= 0 {
			why = fmt.Sprintf(", since %q repeats positions or goes back", cols[axis].Name)
			axis = steady
		}
	} else if len(used) == 1 {
		axis = used[0]
	}
	if axis >= 0 {
		if len(used) == 0 || b.options.Axis != "" && whole || why != "" {
			for j := range cols {
				cols[j].Axis = axis
			}
		}
		for j := range cols { // a column beside the axis has none where the file pairs columns
			whole = whole && (j == axis || cols[j].Axis == axis)
		}
		if whole {
			b.used.Axis = cols[axis].Name
		}
		fact := Fact{What: "axis", Value: cols[axis].Name + why, Override: fmt.Sprintf("record.Options{Axis: %q}", cols[axis].Name)}
		var others []string
		for _, j := range b.candidates() {
			if j != axis {
				others = append(others, cols[j].Name)
			}
		}
		if len(others) > 0 {
			fact.Value += "; it could be " + quoted(others)
			fact.Guessed = b.options.Axis == ""
		}
		b.report.Facts = append(b.report.Facts, fact)
	}
	if axis >= 0 && cols[axis].Times == nil && cols[axis].Unit == "" {
		b.report.doubt(cols[axis].Name, "The unit of the axis %q is not in the file; say it: record.Options{Units: map[string]string{%q: \"min\"}}.", cols[axis].Name, cols[axis].Name)
	}
	if len(used) > 1 && axis < 0 {
		b.report.fact("axes", fmt.Sprintf("%d, each for its own columns", len(used)))
	}
	for j := range cols {
		if cols[j].Axis == j || cols[j].Axis >= len(cols) {
			cols[j].Axis = -1
		}
	}
	return nil
}

// steadier returns the column to run against where the axis of a table of rows
// repeats positions or goes back: the only other one that just grows, if nobody
// has said what to do; -1 if there is none.
func (b *builder) steadier(axis int) int {
	if axis < 0 || b.options.Axis != "" || b.options.Clock != RefuseRows || b.table.FirstLine == 0 || isSteady(&b.table.Columns[axis]) {
		return -1
	}
	found := -1
	for _, j := range b.candidates() {
		if j == axis || !isSteady(&b.table.Columns[j]) {
			continue
		}
		if found >= 0 {
			return -1
		}
		found = j
	}
	return found
}

// isSteady tells whether a column of times or volumes neither repeats a position
// nor goes back.
func isSteady(c *source.Column) bool {
	if c.Times == nil && c.Span().Rising {
		return true
	}
	t := look(positionsOf(c))
	return len(t.same)+len(t.back) == 0
}

func columnsNamed(from []source.Column) []Column {
	out := make([]Column, len(from))
	for i, c := range from {
		out[i].Name = c.Name
	}
	return out
}

func length(c source.Column) int { return max(len(c.Values), len(c.Texts), len(c.Times)) }

// rows leaves out rows without a position and follows the policy for clocks.
func (b *builder) rows() error {
	cols := b.table.Columns
	run := false
	for j := range cols {
		g := group{axis: &cols[j], row: b.origin[j]}
		for k := range cols {
			if k == j || cols[k].Axis == j {
				g.all = append(g.all, &cols[k])
			}
		}
		if len(g.all) == 1 || !isAxisKind(cols[j]) {
			continue
		}
		g.pad()
		if n, blank := g.place(); n > blank {
			b.report.Dropped = append(b.report.Dropped, Drop{Why: fmt.Sprintf("%s without a value in %q", plural(n-blank, "row"), cols[j].Name)})
		}
		if name, list := g.alternating(); name != "" {
			b.report.remark("column %q changes between %d words from row to row (%s): if it names signals, say so: record.Options{SignalColumn: %q}",
				name, len(list), quoted(list[:min(len(list), 4)]), name)
		}
		if b.options.Clock != AcrossSummerTime {
			b.doubtSummerTime(g)
		}
		did, err := b.options.follow(b.name, b.table, g)
		if e, ok := err.(Error); ok {
			if other := b.steady(j); other != "" {
				e.Remedy += fmt.Sprintf("; or let the columns run against %q, which only grows: record.Options{Axis: %q}", other, other)
			}
			return e
		}
		if err != nil {
			return err
		}
		if did != "" {
			fact := Fact{What: "clock of " + cols[j].Name, Value: did, Override: "record.Options{Clock: record." + b.options.Clock.String() + "}"}
			b.report.Facts = append(b.report.Facts, fact)
			run = run || b.options.Clock == CutAtReset
		}
	}
	if b.options.Run > 0 && !run {
		return Error{File: b.name, Problem: fmt.Sprintf("run %d of a file that is not cut into runs", b.options.Run), Remedy: "leave Options.Run out, or cut: Clock: record.CutAtReset"}
	}
	return nil
}

// steady returns the name of another column of times or volumes, beside column
// j, that neither repeats a position nor goes back; empty if there is none.
func (b *builder) steady(j int) string {
	for k := range b.table.Columns {
		c := &b.table.Columns[k]
		if k == j || c.Axis != j || !isAxisKind(*c) {
			continue
		}
		if isSteady(c) {
			return c.Name
		}
	}
	return ""
}

// pad makes the columns of a group equally long.
func (g group) pad() {
	most := 0
	for _, c := range g.all {
		most = max(most, length(*c))
	}
	for _, c := range g.all {
		for n := length(*c); n < most; n++ {
			switch {
			case c.Texts != nil:
				c.Texts = append(c.Texts, "")
			case c.Times != nil:
				c.Times = append(c.Times, time.Time{})
			default:
				c.Values = append(c.Values, math.NaN())
				c.Missing++
			}
		}
	}
}

// place drops the rows without a position and returns how many there were and
// how many of them held nothing at all.
func (g *group) place() (dropped, blank int) {
	if g.axis.Times == nil && g.axis.Span().Missing == 0 {
		return 0, 0
	}
	x := positionsOf(g.axis)
	var keep []int
	for i, v := range x {
		if !math.IsNaN(v) {
			continue
		}
		if keep == nil {
			keep = make([]int, i, len(x))
			for k := range keep {
				keep[k] = k
			}
		}
		break
	}
	if keep == nil {
		return 0, 0
	}
	for i := len(keep); i < len(x); i++ {
		if !math.IsNaN(x[i]) {
			keep = append(keep, i)
			continue
		}
		dropped++
		if g.empty(i) {
			blank++
		}
	}
	g.take(keep)
	if g.row != nil {
		keep = picked(g.row, keep)
	}
	g.row = keep
	for _, c := range g.all {
		c.Missing = 0
		if c.Values != nil {
			c.Missing = c.Span().Missing
		}
	}
	return dropped, blank
}

// empty tells whether nothing stands in a row.
func (g group) empty(i int) bool {
	for _, c := range g.all {
		switch {
		case c.Texts != nil && c.Texts[i] != "", c.Times != nil && !c.Times[i].IsZero(), c.Values != nil && !math.IsNaN(c.Values[i]):
			return false
		}
	}
	return true
}

// common returns the earliest first moment of the columns, from which all of
// them count, so that their positions can be compared.
func common(cols []source.Column) time.Time {
	var start time.Time
	for i := range cols {
		if t := firstMoment(&cols[i]); !t.IsZero() && (start.IsZero() || t.Before(start)) {
			start = t
		}
	}
	return start
}

// firstMoment returns the first moment of a column.
func firstMoment(c *source.Column) time.Time {
	for _, v := range c.Times {
		if !v.IsZero() {
			return v
		}
	}
	return time.Time{}
}

// columns makes columns and events of what the table holds.
func (b *builder) columns() {
	cols := b.table.Columns
	start := common(cols)
	for j := range cols {
		c := &cols[j]
		out := Column{Name: c.Name, Unit: c.Unit, Values: c.Values}
		if c.Axis >= 0 {
			out.Axis = cols[c.Axis].Name
		}
		if k, ok := b.statusOf[j]; ok {
			out.Status = cols[k].Texts
		}
		switch {
		case b.isStatus(j):
			continue
		case c.Texts != nil && out.Axis != "" && isAxisKind(cols[c.Axis]):
			b.events(c, &cols[c.Axis], start)
			continue
		case c.Texts != nil:
			out.Texts = c.Texts
		case c.Times == nil:
			out.Start = c.Start
		default:
			out.Unit, out.Start = "s", start
			out.Values = positionsSince(c, start)
			if m, err := out.moments(); err != nil || !slices.EqualFunc(m, c.Times, time.Time.Equal) {
				out.exact = c.Times
			}
			b.report.fact("moments in "+c.Name, "counted in seconds from "+out.Start.Format("2006-01-02 15:04:05.999"))
		}
		b.record.Columns = append(b.record.Columns, out)
		b.tell(out, c)
	}
}

// mostLooked is the number of rows up to which a signal is looked at for what a
// historian has done to it.
const mostLooked = 100_000

// thinned doubts detectors' signals that read like those of a dead band. Others, as a
// flow that was set, may well stand still and step.
func (b *builder) thinned() {
	for _, c := range b.record.Columns {
		switch unit.KindOf(c.Unit) {
		case unit.Absorbance, unit.Conductivity, unit.Turbidity:
		default:
			continue
		}
		if c.Axis == "" || c.len() > mostLooked {
			continue
		}
		t, err := b.record.Signal(c.Name)
		if err != nil {
			continue // who asks for it is told why
		}
		if th, yes := t.Thinned(); yes {
			b.report.Doubts = append(b.report.Doubts, Doubt{c.Name, fmt.Sprintf("%q %s.", shortened(c.Name), th), true})
		}
	}
}

// isStatus tells whether a column holds the status of another's values.
func (b *builder) isStatus(column int) bool {
	for _, k := range b.statusOf {
		if k == column {
			return true
		}
	}
	return false
}

// events makes events of what was noted beside an axis.
func (b *builder) events(c, axis *source.Column, start time.Time) {
	shown := Column{Name: axis.Name, Unit: axis.Unit, Values: positionsSince(axis, start)}
	if axis.Times != nil {
		shown.Unit = "s"
	}
	x, against, err := Record{report: *b.report}.positions(shown)
	if err != nil { // column volumes of unknown size
		b.report.remark("the texts of column %q have no position: %v", c.Name, err)
		x = nil
	}
	n := 0
	state, before := b.isState(c), ""
	for i, text := range c.Texts {
		if text == "" || state && text == before {
			continue
		}
		before = text
		at := math.NaN()
		if x != nil {
			at = x[i]
		}
		b.record.Events = append(b.record.Events, Event{Axis: against, At: at, Name: c.Name, Text: text})
		n++
	}
	what := fmt.Sprintf("%d in column %q, at positions of %q", n, c.Name, axis.Name)
	if state {
		what = fmt.Sprintf("%d where the word in column %q changes, at positions of %q", n, c.Name, axis.Name)
	}
	b.report.fact("events", what)
}

// isState tells whether a column of words holds a state, as of a valve, of which
// only the changes are events: one that stands beside numbers, and in most rows.
func (b *builder) isState(c *source.Column) bool {
	beside := slices.ContainsFunc(b.table.Columns, func(o source.Column) bool { return o.Axis == c.Axis && o.Values != nil })
	filled := 0
	for _, s := range c.Texts {
		if s != "" {
			filled++
		}
	}
	return beside && 2*filled > len(c.Texts)
}

// tell notes in the report what a column holds.
func (b *builder) tell(c Column, from *source.Column) {
	if _, known := unit.Of(c.Unit); c.Unit != "" && !known {
		b.report.remark("the unit %q of column %q is not known: kept as written", c.Unit, c.Name)
	}
	s := from.Span()
	if from.Times != nil {
		s = source.SpanOf(c.Values)
	}
	cr := reportWith(c, s)
	cr.Censored = from.Censored
	b.report.Columns = append(b.report.Columns, cr)
}

// reportOf says what a column holds.
func reportOf(c Column) ColumnReport { return reportWith(c, source.SpanOf(c.Values)) }

// reportWith says what a column holds whose span is known.
func reportWith(c Column, s source.Span) ColumnReport {
	return ColumnReport{Name: c.Name, Unit: c.Unit, Axis: c.Axis, Rows: c.len(), Missing: s.Missing,
		First: s.First, Last: s.Last, Least: s.Least, Largest: s.Most}
}
