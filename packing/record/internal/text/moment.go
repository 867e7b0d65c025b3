package text

import (
	"fmt"
	"slices"
	"strings"
)

// moments finds the form of the times of a column.
func (r *reader) moments(j int) error {
	t := &r.table
	c := &t.cols[j]
	c.moment.date = c.kind == dateKind
	elapsed := slices.Contains([]string{"hh:mm:ss", "mm:ss", "hh:mm"}, r.o.TimeLayout)
	if r.o.TimeLayout != "" && !elapsed && c.moment.date {
		c.moment.layout = r.o.TimeLayout
		r.fact("time form", fmt.Sprintf("column %q: %s, as given", c.name, r.o.TimeLayout))
		return nil
	}
	v := r.momentVote(r.sample, j)
	if !r.whole && v.open(c.moment.date, r.o) {
		var err error
		if v, err = r.momentsOfAll(j); err != nil {
			return err
		}
	}
	return r.settle(c, v, elapsed)
}

// A momentVote counts what the cells of one column say about their form.
type momentVote struct {
	not     [3]witness // dates that cannot be dmy, mdy, ymd
	first   witness    // the dates
	differ  witness    // dates that dmy and mdy read differently
	dots    int        // dates with points between
	words   int
	short   int     // years of two digits
	minutes witness // clocks of two parts that can only be mm:ss
	two     witness // clocks of two parts
	halves  int
	dates   int
	bare    int // dates without a clock
	zones   int
}

func (r *reader) momentVote(recs []record, j int) (v momentVote) {
	var cells [][]byte
	for _, rec := range recs {
		cells = cut(cells[:0], rec.text, r.sep)
		v.count(rec, cells, j)
	}
	return v
}

// count adds the cell of a row.
func (v *momentVote) count(rec record, cells [][]byte, j int) {
	if j >= len(cells) {
		return
	}
	s, ok := cutStamp(cells[j])
	if !ok {
		return
	}
	if s.hasZone {
		v.zones++
	}
	if s.half != 0 {
		v.halves++
	}
	if !s.hasDate {
		if s.parts == 2 && s.half == 0 {
			v.two.see(rec.line, cells[j])
			if s.decimals > 0 || s.clock[0] > 23 {
				v.minutes.see(rec.line, cells[j])
			}
		}
		return
	}
	v.dates++
	v.first.see(rec.line, cells[j])
	if s.parts == 0 {
		v.bare++
	}
	dmy, mdy, ymd := s.orders()
	for k, can := range []bool{dmy, mdy, ymd} {
		if !can {
			v.not[k].see(rec.line, cells[j])
		}
	}
	if dmy && mdy && s.date[0] != s.date[1] {
		v.differ.see(rec.line, cells[j])
	}
	if s.mark == '.' {
		v.dots++
	}
	if s.word {
		v.words++
	}
	if s.digits[0] <= 2 && s.digits[2] <= 2 {
		v.short++
	}
}

// add joins the count of a part of the file that begins on a line.
func (v *momentVote) add(o *momentVote, line int) {
	for _, p := range []struct{ to, from *witness }{
		{&v.not[0], &o.not[0]}, {&v.not[1], &o.not[1]}, {&v.not[2], &o.not[2]},
		{&v.first, &o.first}, {&v.differ, &o.differ}, {&v.minutes, &o.minutes}, {&v.two, &o.two},
	} {
		w := *p.from
		w.line += line
		p.to.add(w)
	}
	v.dots += o.dots
	v.words += o.words
	v.short += o.short
	v.halves += o.halves
	v.dates += o.dates
	v.bare += o.bare
	v.zones += o.zones
}

// open tells whether more cells could settle what these do not.
func (v *momentVote) open(date bool, o Options) bool {
	if date {
		return o.DateOrder == "" && v.not[0].count == 0 && v.not[1].count == 0 && v.dots < v.dates
	}
	return o.TimeLayout == "" && v.two.count > 0 && v.minutes.count == 0
}

// settle sets the form of a column, or asks.
func (r *reader) settle(c *column, v momentVote, elapsed bool) error {
	what := fmt.Sprintf("column %q: ", c.name)
	if !c.moment.date {
		hint := strings.ToLower(c.unit + " " + c.name)
		switch {
		case v.two.count == 0:
		case elapsed && r.o.TimeLayout != "hh:mm:ss":
			c.moment.two = r.o.TimeLayout
		case strings.Contains(hint, "hh:mm") || strings.Contains(hint, "h:mm"):
			c.moment.two = "hh:mm"
		case v.minutes.count > 0 || strings.Contains(hint, "mm:ss") || strings.Contains(hint, "m:ss"):
			c.moment.two = "mm:ss"
		default:
			return Error{Line: v.two.line, Problem: fmt.Sprintf("%q in column %q may be minutes and seconds or hours and minutes, and no row decides", shortened(v.two.text), shortened(c.name)),
				Remedy: `say which it is: record.Options{TimeLayout: "mm:ss"} or record.Options{TimeLayout: "hh:mm"}`}
		}
		form := "hh:mm:ss"
		if c.moment.two != "" {
			form = c.moment.two
		}
		r.used.TimeLayout = form
		if v.halves > 0 {
			form += " AM/PM"
		}
		c.unit = "s"
		r.told("time form", what+form+", taken as seconds", r.o.TimeLayout != "", fmt.Sprintf("TimeLayout: %q", strings.TrimSuffix(form, " AM/PM")))
		return nil
	}
	can := [3]bool{v.not[0].count == 0, v.not[1].count == 0, v.not[2].count == 0}
	orders := [3]string{"dmy", "mdy", "ymd"}
	order := ""
	switch {
	case can[2] && v.short == 0:
		order = "ymd" // years of four digits come first: the option is for other columns
	case r.o.DateOrder != "":
		order = r.o.DateOrder
	case can[2] && !can[0] && !can[1]:
		order = "ymd"
	case can[0] && v.words > 0:
		order = "dmy"
	case can[0] && v.dots == v.dates:
		order = "dmy"
	case can[0] && !can[1] && !can[2]:
		order = "dmy"
	case can[1] && !can[0] && !can[2]:
		order = "mdy"
	case can[0] && can[1] && !can[2] && v.differ.count == 0:
		order = "dmy"
	case can[0] || can[1] || can[2]:
		var open []string
		for k, o := range orders {
			if can[k] {
				open = append(open, o)
			}
		}
		w := v.differ
		if w.count == 0 {
			w = v.not[2]
		}
		var ways, options []string
		for _, o := range open {
			m := moment{order: o}
			if t, ok := m.time([]byte(w.text)); ok {
				ways = append(ways, t.Format("2 January 2006")+" ("+o+")")
			}
			options = append(options, fmt.Sprintf("record.Options{DateOrder: %q}", o))
		}
		return Error{Line: w.line, Problem: fmt.Sprintf("the date %q in column %q may be %s, and no row decides", shortened(w.text), shortened(c.name), strings.Join(ways, " or ")),
			Remedy: "say which it is: " + strings.Join(options, " or ")}
	default:
		a, b := v.not[0], v.not[1]
		return Error{Line: max(a.line, b.line), Problem: fmt.Sprintf("no order of day, month and year fits all dates of column %q: %q (line %d) is not day first, %q (line %d) is not month first", shortened(c.name), shortened(a.text), a.line, shortened(b.text), b.line),
			Remedy: "write all dates alike, as 2026-03-31"}
	}
	c.moment.order = order
	c.moment.bare = v.bare == v.dates
	if !(can[2] && v.short == 0) {
		if o := r.used.DateOrder; o != "" && o != order {
			return Error{Line: v.first.line, Problem: fmt.Sprintf("the dates of column %q are written in another order (%s) than those of a column before it (%s)", shortened(c.name), order, o),
				Remedy: "write all dates alike, as 2026-03-31"}
		}
		r.used.DateOrder = order
	}
	text := map[string]string{"dmy": "day, month, year", "mdy": "month, day, year", "ymd": "year, month, day"}[order]
	if v.halves > 0 {
		text += "; clock of 12 hours"
	}
	if v.zones > 0 {
		text += "; with time zone"
	} else {
		text += "; without time zone, kept as written"
	}
	if v.short > 0 {
		text += "; years of two digits, 70 to 99 taken as 19.."
	}
	r.told("time form", what+text, r.o.DateOrder != "" || can[2] && v.short == 0, fmt.Sprintf("DateOrder: %q", order))
	return nil
}

// momentsOfAll counts the forms of the times of a column in the whole file.
func (r *reader) momentsOfAll(j int) (all momentVote, err error) {
	if err := r.plan(); err != nil {
		return all, err
	}
	votes := make([]momentVote, len(r.body.chunks))
	lines, err := r.sweep(func(k int, rec record, cells [][]byte) { votes[k].count(rec, cells, j) })
	for k := range votes {
		all.add(&votes[k], lines[k])
	}
	return all, err
}
