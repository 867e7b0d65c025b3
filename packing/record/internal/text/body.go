package text

import (
	"bytes"
	"fmt"
	"math"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

const (
	chunkBytes  = 1 << 18 // of text parsed in one go
	maxProblems = 4096    // of one chunk
	maxCells    = 1 << 31 // of a table
)

// A body is the rows of the table.
type body struct {
	cols   []bodyColumn
	chunks []chunk
	rows   int
	notes  []source.Entry
	drops  []source.Drop
	first  int // line of the first row
	breaks []source.Break
	blanks int // rows of empty cells
	short  int // rows with fewer cells
}

// A bodyColumn is where the cells of a column go.
type bodyColumn struct {
	kind   kind
	values []float64
	times  []time.Time
	texts  []string
	moment moment
}

// A chunk is some lines of the file.
type chunk struct {
	from, to int // of the raw bytes
	row      int // first row allotted
	lines    int // at least as many as it has, then their number

	rows     int
	stretch  []source.Break // runs of rows on consecutive lines, from 0
	problems []problem
	overflow bool // more problems than are kept
	strays   []stray
	missing  []int
	censored []int
	suffix   []string
	suffixed []int         // numbers with a unit behind them
	spans    []source.Span // of the columns of numbers
	blanks   int
	short    int
}

// A problem is a row that does not fit.
type problem struct {
	row, line int // of the chunk, from 0
	cell      int
	cells     int // of the row
	class     problemClass
	cellText  string
	text      string
	last      bool // the last line of the file, without an end
}

type problemClass int

const (
	commentRow problemClass = iota
	textCell
	formulaCell
	zeroByteCell
	unitCell
	longRow
	shortRow
)

// A stray is a text in a column that was thought to be empty.
type stray struct {
	row, cell int
	text      string
}

// parallel does n pieces of work on all processors. The work returns false to
// have none of the later pieces done.
func (r *reader) parallel(label string, n int, work func(worker, k int) bool) error {
	ctx := r.monitor.Context()
	var next, done atomic.Int64
	var stop atomic.Int64
	stop.Store(int64(n))
	show := label != "" && len(r.raw) > progressFrom
	run := func(worker int) {
		for ctx.Err() == nil {
			k := next.Add(1) - 1
			if k >= stop.Load() {
				return
			}
			if !work(worker, int(k)) {
				for s := stop.Load(); k < s && !stop.CompareAndSwap(s, k); s = stop.Load() {
				}
			}
			if d := done.Add(1); show && d%16 == 0 {
				r.monitor.Progress(label, int(d), n)
			}
		}
	}
	workers := max(1, min(runtime.GOMAXPROCS(0), n))
	faults := make([]error, workers)
	guarded := func(w int) {
		if faults[w] = source.Guarded(r.raw, func() { run(w) }); faults[w] != nil {
			stop.Store(0)
		}
	}
	if workers == 1 {
		guarded(0)
	} else {
		var wait sync.WaitGroup
		for w := range workers {
			wait.Go(func() { guarded(w) })
		}
		wait.Wait()
	}
	for _, err := range append(faults, ctx.Err()) {
		if err != nil {
			return err
		}
	}
	if show {
		r.monitor.Progress(label, n, n)
	}
	return nil
}

// offsetOf returns the raw offset at which a line begins.
func (r *reader) offsetOf(line int) int {
	i, n := 0, r.enc.size()
	for l := 1; l < line && i+n <= len(r.raw); i += n {
		switch r.enc.unit(r.raw, i) {
		case '\n':
			l++
		case '\r':
			if i+2*n > len(r.raw) || r.enc.unit(r.raw, i+n) != '\n' {
				l++
			}
		}
	}
	return i
}

// plan cuts the rows into chunks at line ends.
func (r *reader) plan() error {
	if len(r.body.chunks) > 0 {
		return nil
	}
	from := r.offsetOf(r.table.firstLine)
	end := len(r.raw)
	if r.o.LastLine > 0 {
		end = r.offsetOf(r.o.LastLine + 1)
	}
	size := chunkBytes * r.enc.size()
	b := &r.body
	for at := from; at < end; {
		next := end
		if at+size < end {
			if next = r.cutAfter(at + size); next < 0 {
				return r.longLine(r.lineStart(at + size))
			}
			next = min(next, end)
		}
		b.chunks = append(b.chunks, chunk{from: at, to: next})
		at = next
	}
	open := make([]bool, len(b.chunks))
	bufs := make([][]byte, runtime.GOMAXPROCS(0))
	err := r.parallel("", len(b.chunks), func(w, k int) bool {
		c := &b.chunks[k]
		raw := r.raw[c.from:c.to]
		switch {
		case bytes.IndexByte(raw, '\r') < 0: // in UTF-16 this may count other characters
			c.lines = bytes.Count(raw, []byte{'\n'})
		case r.enc.wide():
			c.lines = wideLines(r.enc, raw)
		default:
			c.lines = countLines(raw)
		}
		if n := r.enc.size(); c.to == len(r.raw) && len(raw) >= n {
			if u := r.enc.unit(raw, len(raw)-n); u != '\n' && u != '\r' {
				c.lines++
			}
		}
		if bytes.IndexByte(raw, '"') >= 0 {
			text := r.enc.decode(raw, bufs[w])
			if r.enc.wide() {
				bufs[w] = text
			}
			open[k] = openQuote(text, r.sep) >= 0
		}
		return true
	})
	if err != nil {
		return err
	}
	// A quoted cell that reaches into the next chunk joins both.
	joined := b.chunks[:0]
	for k := 0; k < len(b.chunks); k++ {
		c := b.chunks[k]
		if open[k] {
			rest := bytes.Clone(r.enc.decode(r.raw[c.from:c.to], nil))
			for at := openQuote(rest, r.sep); at >= 0 && k+1 < len(b.chunks); at = openQuote(rest, r.sep) {
				if err := r.monitor.Context().Err(); err != nil {
					return err
				}
				k++
				next := b.chunks[k]
				c.to = next.to
				c.lines += next.lines
				rest = append(rest[:copy(rest, rest[at:])], r.enc.decode(r.raw[next.from:next.to], nil)...)
			}
		}
		joined = append(joined, c)
	}
	b.chunks = joined
	return nil
}

func wideLines(e encoding, raw []byte) int {
	n := 0
	for i := 0; i+1 < len(raw); i += 2 {
		switch e.unit(raw, i) {
		case '\n':
			n++
		case '\r':
			if i+3 >= len(raw) || e.unit(raw, i+2) != '\n' {
				n++
			}
		}
	}
	return n
}

// lineStart returns the beginning of the line that holds a raw offset.
func (r *reader) lineStart(at int) int {
	n := r.enc.size()
	for i := at - n; i >= 0; i -= n {
		if u := r.enc.unit(r.raw, i); u == '\n' || u == '\r' {
			return i + n
		}
	}
	return 0
}

// openQuote returns where a quoted cell begins that may reach beyond the end of
// b; -1 if there is none.
func openQuote(b []byte, sep byte) int {
	for i := 0; i < len(b); {
		k := bytes.IndexByte(b[i:], '"')
		if k < 0 {
			break
		}
		i += k
		// Only a quote at the beginning of a cell opens one.
		if !opens(b, i, sep) {
			i++
			continue
		}
		end, open := closing(b, i, sep)
		if open {
			return i
		}
		if end == noQuote {
			i++
			continue
		}
		i = end
	}
	return -1
}

// readBody parses all rows.
func (r *reader) readBody() error {
	for again := true; ; again = false {
		err := r.parseBody()
		if err == nil {
			return nil
		}
		e, ok := err.(Error)
		if !ok || !again || r.whole || e.Err != errShape {
			return plainError(err)
		}
		// The sample did not show how all numbers are written.
		v, err2 := r.voteOfAll()
		if err2 != nil {
			return err2
		}
		decimal, group, err2 := v.decide(r.o, r.sep)
		switch {
		case err2 != nil:
			return err2
		case decimal == r.format.decimal && group == r.format.group:
			return plainError(err)
		}
		r.format.decimal, r.format.group = decimal, group
		r.retell(decimal, group)
		r.body = body{}
	}
}

// retell corrects the facts about the marks of numbers.
func (r *reader) retell(decimal, group byte) {
	facts := r.facts[:0]
	for _, f := range r.facts {
		if f.What != "decimal mark" && f.What != "thousands mark" {
			facts = append(facts, f)
		}
	}
	r.facts = facts
	r.used.Decimal = string(decimal)
	r.told("decimal mark", markName(decimal), r.o.Decimal != "", fmt.Sprintf("Decimal: %q", string(decimal)))
	r.used.Thousands = "none"
	if group != 0 {
		r.used.Thousands = string(group)
		r.told("thousands mark", markName(group), r.o.Thousands != "", fmt.Sprintf("Thousands: %q", string(group)))
	}
}

// errShape marks errors of cells that are numbers in another format.
var errShape = fmt.Errorf("a number in another format")

// plainError takes the mark errShape off.
func plainError(err error) error {
	if e, ok := err.(Error); ok && e.Err == errShape {
		e.Err = nil
		return e
	}
	return err
}

func (r *reader) parseBody() error {
	if err := r.plan(); err != nil {
		return err
	}
	b, t := &r.body, &r.table
	total := 0
	for k := range b.chunks {
		b.chunks[k].row = total
		total += b.chunks[k].lines
	}
	// A cell takes a separator at least; ends of lines may be left out in pairs.
	most := len(r.raw)/r.enc.size() + total + 1<<20
	if r.pairedByName() {
		most *= 4
	}
	if cells := total * t.width; cells > maxCells || cells > most {
		return Error{Line: t.firstLine, Problem: fmt.Sprintf("%d columns, but most of the %d lines below are far too short to fill them", t.width, total),
			Remedy: `say where the table ends, record.Options{LastLine: 1000}, or what separates its cells, record.Options{Separator: ";"}`}
	}
	b.cols = make([]bodyColumn, t.width)
	// New memory is cleared, which takes its time: all processors do it.
	err := r.parallel("", t.width, func(_, j int) bool {
		c := &b.cols[j]
		c.kind, c.moment = t.cols[j].kind, t.cols[j].moment
		switch c.kind {
		case dateKind:
			c.times = make([]time.Time, total)
		case textKind:
			c.texts = make([]string, total)
		default:
			c.values = make([]float64, total)
		}
		return true
	})
	if err != nil {
		return err
	}
	workers := make([]*worker, runtime.GOMAXPROCS(0))
	err = r.parallel("reading", len(b.chunks), func(n, k int) bool {
		if workers[n] == nil {
			workers[n] = r.newWorker()
		}
		w, c := workers[n], &b.chunks[k]
		text := r.enc.decode(r.raw[c.from:c.to], w.buf)
		if r.enc.wide() {
			w.buf = text
		}
		w.parse(text, c, k == len(b.chunks)-1)
		c.spans = make([]source.Span, len(w.cols))
		for j, col := range w.cols {
			if col.values != nil {
				c.spans[j] = source.SpanOf(col.values[c.row:][:c.rows])
			}
		}
		return !c.overflow
	})
	if err != nil {
		return err
	}
	return r.join()
}

// A worker parses chunks.
type worker struct {
	r        *reader
	cols     []bodyColumn
	sep      byte // '\n' for one column
	cellSep  byte
	decimal  byte
	format   format
	comment  []byte
	least    int // cells of a row
	lanes    []lane
	buf      []byte
	words    map[string]string
	missing  []int // cells of the row
	censored []int
}

func (r *reader) newWorker() *worker {
	w := &worker{r: r, cols: r.body.cols, sep: r.sep, cellSep: r.sep, decimal: r.format.decimal, format: r.format, comment: r.comment(), words: map[string]string{}}
	if w.sep == 0 {
		w.sep = '\n'
	}
	if r.enc == windows1252 {
		w.buf = make([]byte, 0, chunkBytes)
	}
	w.least = 1
	if !r.pairedByName() {
		for j, c := range w.cols {
			if c.kind != textKind && c.kind != unknownKind {
				w.least = j + 1
			}
		}
	}
	w.lanes = w.newLanes()
	return w
}

// word returns a text, each different one kept once.
func (w *worker) word(c []byte) string {
	if s, ok := w.words[string(c)]; ok {
		return s
	}
	s := strings.ToValidUTF8(string(c), "?")
	if len(w.words) < 1<<14 {
		w.words[s] = s
	}
	return s
}

// fastNumber reads a plain number at i; its end is for the caller to judge.
func fastNumber(b []byte, i int, decimal byte) (v float64, end int, ok bool) {
	if i >= len(b) {
		return 0, i, false
	}
	start, negative := i, false
	if b[i] == '-' || b[i] == '+' {
		negative = b[i] == '-'
		i++
	}
	var m uint64
	begin := i
	for i < len(b) && b[i]-'0' <= 9 {
		m = m*10 + uint64(b[i]-'0')
		i++
	}
	digits, fraction := i-begin, 0
	if i < len(b) && b[i] == decimal {
		i++
		point := i
		for i < len(b) && b[i]-'0' <= 9 {
			m = m*10 + uint64(b[i]-'0')
			i++
		}
		fraction = i - point
		digits += fraction
	}
	// Both are exact, so that the quotient is the nearest number.
	if digits > 19 || m >= 1<<53 || fraction >= len(powers) {
		v, ok = slowNumber(b[start:i], decimal)
		return v, i, ok
	}
	if digits == 0 {
		return 0, start, false
	}
	v = float64(m)
	if fraction > 0 {
		v /= powers[fraction]
	}
	if negative {
		v = -v
	}
	return v, i, true
}

// parse reads the rows of a chunk.
func (w *worker) parse(b []byte, c *chunk, lastChunk bool) {
	n := len(w.cols)
	c.missing, c.censored, c.suffix, c.suffixed = make([]int, n), make([]int, n), make([]string, n), make([]int, n)
	c.rows, c.stretch, c.problems, c.strays, c.blanks, c.short = 0, nil, nil, nil, 0, 0
	sep, decimal, blanks := w.sep, w.decimal, w.sep == ' '
	line := 0
	expected := -1 // line of the next row of the stretch
	plain, misses := len(w.lanes) > 0, 0
	for i := 0; i < len(b); {
		if plain {
			next, rows := w.plainRows(b, i, c.row+c.rows)
			if i = next; rows > 0 {
				if line != expected {
					c.stretch = append(c.stretch, source.Break{Row: c.rows, Line: line})
				}
				c.rows += rows
				line += rows
				expected = line
			} else if misses++; misses > 100 && misses > c.rows/2 {
				plain = false // most rows are not: it is not worth the try
			}
			if i == len(b) {
				break
			}
		}
		start := i
		row := c.row + c.rows
		if blanks {
			for i < len(b) && b[i] == ' ' {
				i++
			}
		}
		lines := 1
		var fault problem
		bad, any := false, false
		w.missing, w.censored = w.missing[:0], w.censored[:0]
		strays := len(c.strays)
		j := 0
		if len(w.comment) > 0 && i < len(b) && b[i] == w.comment[0] {
			if end, _ := lineEnd(b, i); w.r.isComment(b[i:end]) {
				bad, fault.class = true, commentRow
			}
		}
		for !bad {
			if j < n {
				col := &w.cols[j]
				fast := false
				if col.kind == numberKind || col.kind == unknownKind {
					k := i
					for k < len(b) && b[k] == ' ' {
						k++
					}
					if v, e, ok := fastNumber(b, k, decimal); ok && (e == len(b) || b[e] == sep || b[e] == '\n' || b[e] == '\r') {
						col.values[row] = v
						any, fast, i = true, true, e
					}
				}
				if !fast {
					end, text, more := w.cell(b, i)
					lines += more
					i = end
					class, unit := w.store(col, row, text)
					switch class {
					case isNumber:
						any = true
						if len(unit) > 0 && !w.sameSuffix(c, j, unit) {
							bad, fault.class, fault.cell, fault.cellText = true, unitCell, j, string(text)
						}
					case isEmpty:
						w.missing = append(w.missing, j)
					case isMissing:
						any = true
						w.missing = append(w.missing, j)
					case isCensored:
						any = true
						w.censored = append(w.censored, j)
					case isFormula:
						bad, fault.class, fault.cell, fault.cellText = true, formulaCell, j, string(text)
					case isZeroByte:
						bad, fault.class, fault.cell, fault.cellText = true, zeroByteCell, j, string(text)
					case isText:
						if col.kind == unknownKind {
							any = true
							c.strays = append(c.strays, stray{c.rows, j, w.word(text)})
							break
						}
						bad, fault.class, fault.cell, fault.cellText = true, textCell, j, string(text)
					}
				}
			} else {
				end, text, more := w.cell(b, i)
				lines += more
				i = end
				if len(text) > 0 && (fault.class != longRow) {
					fault.class, fault.cell, fault.cellText = longRow, j, string(text)
				}
			}
			j++
			if i >= len(b) || b[i] == '\n' || b[i] == '\r' {
				break
			}
			i++
			if blanks {
				for i < len(b) && b[i] == ' ' {
					i++
				}
				if i >= len(b) || b[i] == '\n' || b[i] == '\r' {
					break
				}
			}
		}
		if fault.class == longRow {
			bad = true
		}
		if !bad && j < w.least && any {
			bad, fault.class, fault.cell = true, shortRow, j
		}
		var next int
		if bad {
			end, nx, ls := recordEnd(b, start, w.cellSep)
			next, lines = nx, ls
			fault.row, fault.line, fault.cells = c.rows, line, j
			fault.text = string(b[start:min(end, start+1024)])
			if fault.cells = len(cut(nil, b[start:end], w.cellSep)); len(fault.cellText) > 200 {
				fault.cellText = fault.cellText[:200]
			}
			fault.last = lastChunk && end == len(b)
			c.strays = c.strays[:strays]
			if len(c.problems) == maxProblems {
				c.overflow = true
				return
			}
			c.problems = append(c.problems, fault)
		} else {
			next = i
			if next < len(b) {
				if b[next] == '\r' && next+1 < len(b) && b[next+1] == '\n' {
					next++
				}
				next++
			}
			switch {
			case any:
				for ; j < n; j++ {
					w.store(&w.cols[j], row, nil)
					w.missing = append(w.missing, j)
					if j == n-1 {
						c.short++
					}
				}
				for _, m := range w.missing {
					c.missing[m]++
				}
				for _, m := range w.censored {
					c.missing[m]++
					c.censored[m]++
				}
				if line != expected {
					c.stretch = append(c.stretch, source.Break{Row: c.rows, Line: line})
				}
				expected = line + lines
				if lines > 1 {
					expected = -1
				}
				c.rows++
			case j > 1:
				c.blanks++
			}
		}
		line += lines
		i = next
	}
	c.lines = line
}

// cell returns the end of the cell at i, its clean text, and the line ends
// within.
func (w *worker) cell(b []byte, i int) (end int, text []byte, lines int) {
	j := i
	for j < len(b) && b[j] == ' ' {
		j++
	}
	end = i
	if j < len(b) && b[j] == '"' {
		if k, _ := closing(b, j, w.cellSep); k != noQuote {
			end = k
			lines = countLines(b[i:k])
		}
	}
	for end < len(b) && b[end] != w.sep && b[end] != '\n' && b[end] != '\r' {
		end++
	}
	return end, clean(b[i:end]), lines
}

// store puts a cell into a column.
func (w *worker) store(col *bodyColumn, row int, c []byte) (class, []byte) {
	switch col.kind {
	case textKind:
		if len(c) == 0 || w.format.marker(c) == isMissing {
			col.texts[row] = ""
			if len(c) == 0 {
				return isEmpty, nil
			}
			return isMissing, nil
		}
		if bytes.IndexByte(c, 0) >= 0 {
			c = bytes.ReplaceAll(c, []byte{0}, nil)
		}
		col.texts[row] = w.word(c)
		return isNumber, nil
	case dateKind:
		if t, ok := col.moment.time(c); ok {
			col.times[row] = t
			return isNumber, nil
		}
		col.times[row] = time.Time{}
	case clockKind:
		if v, ok := col.moment.seconds(c); ok {
			col.values[row] = v
			return isNumber, nil
		}
		col.values[row] = math.NaN()
	default:
		v, k, unit := w.format.value(c)
		col.values[row] = v
		return k, unit
	}
	if len(c) == 0 {
		return isEmpty, nil
	}
	return w.format.marker(c), nil
}

// sameSuffix keeps the unit behind the numbers of a column.
func (w *worker) sameSuffix(c *chunk, j int, unit []byte) bool {
	c.suffixed[j]++
	if c.suffix[j] == "" {
		c.suffix[j] = sameMicro(string(unit))
		return true
	}
	return c.suffix[j] == string(unit) || c.suffix[j] == sameMicro(string(unit))
}
