package record

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/evenbed/evenbed/packing/record/internal/source"
)

// A quality is what a status says of a value.
type quality int

const (
	notQuality quality = iota
	goodValue
	uncertainValue // kept, with a doubt
	badValue       // no number
)

// qualityWords are the words of a status. Those of OPC UA (part 8, status codes)
// begin with Good, Uncertain or Bad and are told by that.
var qualityWords = map[string]quality{
	"good": goodValue, "valid": goodValue,
	"uncertain": uncertainValue, "questionable": uncertainValue, "doubtful": uncertainValue, "suspect": uncertainValue, "substituted": uncertainValue, "interpolated": uncertainValue,
	"bad": badValue, "invalid": badValue,
}

// stateWords may as well be the state of a machine; they are those of a status in a
// column that is called so.
var stateWords = map[string]quality{
	"ok": goodValue, "normal": goodValue, "g": goodValue, "true": goodValue,
	"estimated": uncertainValue, "manual": uncertainValue, "simulated": uncertainValue, "u": uncertainValue,
	"error": badValue, "err": badValue, "fault": badValue, "fail": badValue, "failed": badValue, "stale": badValue, "no data": badValue, "not connected": badValue,
	"out of service": badValue, "b": badValue, "false": badValue,
}

// qualityOf returns what a word says of a value. Words of states count where the
// column is called a status.
func qualityOf(word string, called bool) quality {
	w := strings.ToLower(strings.TrimSpace(word))
	if q := qualityWords[w]; q != notQuality {
		return q
	}
	if q := stateWords[w]; q != notQuality && called {
		return q
	}
	for _, begins := range []string{"good", "uncertain", "bad"} {
		if rest, ok := strings.CutPrefix(w, begins); ok && rest != "" && word[len(begins)] != ' ' && strings.ToUpper(word[len(begins):len(begins)+1]) == word[len(begins):len(begins)+1] {
			return qualityWords[begins]
		}
	}
	return notQuality
}

// statusNames call a column a status.
var statusNames = map[string]bool{"status": true, "quality": true, "validity": true, "valid": true, "state": true, "flag": true}

// statusBase returns the name of a column without what calls it a status, and
// whether something does.
func statusBase(name string) (base string, called bool) {
	var kept []string
	for _, w := range strings.FieldsFunc(name, func(r rune) bool { return r == ' ' || r == '_' || r == '.' || r == '-' || r == ':' }) {
		if statusNames[strings.ToLower(w)] {
			called = true
		} else {
			kept = append(kept, w)
		}
	}
	if n := len(kept); called && n == 1 {
		if _, err := strconv.Atoi(kept[0]); err == nil { // "Status 2", numbered since it comes again
			kept = nil
		}
	}
	return strings.ToLower(strings.Join(kept, " ")), called
}

// A status column tells of the values of others.
type status struct {
	column    int
	of        []int
	qualities []quality // of each row; notQuality where nothing stands
	texts     []string
	byPlace   bool // whose it is was told by where it stands
}

// qualities returns what a column says row by row, and the words; nil if it is no
// status.
func qualities(c *source.Column) ([]quality, []string) {
	_, called := statusBase(c.Name)
	if c.Texts != nil {
		all, filled := make([]quality, len(c.Texts)), 0
		known := map[string]quality{}
		for i, s := range c.Texts {
			if s == "" {
				continue
			}
			q, ok := known[s]
			if !ok {
				q = qualityOf(s, called)
				known[s] = q
			}
			if q == notQuality || len(known) > 64 {
				return nil, nil
			}
			all[i] = q
			filled++
		}
		if 2*filled <= len(c.Texts) {
			return nil, nil
		}
		return all, c.Texts
	}
	if !called || c.Values == nil || c.Unit != "" {
		return nil, nil
	}
	return codes(c.Values)
}

// codes returns what numeric codes say: those of OPC DA, whose bits 6 and 7 are 3
// for good and 1 for uncertain (192, 64), or those of OPC UA, whose bits 30 and 31 are
// 0 for good and 1 for uncertain; nil if they are neither.
//
// Source: from memory, OPC Data Access 3.00, section 6.8; OPC UA part 4, section 7.39.
func codes(values []float64) ([]quality, []string) {
	most := 0.0
	for _, v := range values {
		if !math.IsNaN(v) && (v < 0 || v >= 1<<32 || v != math.Trunc(v)) {
			return nil, nil
		}
		most = math.Max(most, v)
	}
	shift, kinds := 6, [4]quality{badValue, uncertainValue, badValue, goodValue}
	switch {
	case most >= 1<<30:
		shift, kinds = 30, [4]quality{goodValue, uncertainValue, badValue, badValue}
	case most < 192 || most > 255:
		return nil, nil
	}
	all, texts := make([]quality, len(values)), make([]string, len(values))
	for i, v := range values {
		if !math.IsNaN(v) {
			all[i], texts[i] = kinds[uint64(v)>>shift&3], strconv.FormatFloat(v, 'f', -1, 64)
		}
	}
	return all, texts
}

// statuses finds the columns that hold the status of values, takes bad values for
// missing, and keeps the status of each value.
func (b *builder) statuses() {
	if b.options.Status == "none" {
		return
	}
	cols := b.table.Columns
	var found []status
	isStatus := make([]bool, len(cols))
	for j := range cols {
		if q, texts := qualities(&cols[j]); q != nil {
			found = append(found, status{column: j, qualities: q, texts: texts})
			isStatus[j] = true
		}
	}
	// valued lists the columns of numbers that run against the axis of a status.
	valued := func(axis int) (list []int) {
		for j, c := range cols {
			if c.Values != nil && !isStatus[j] && c.Axis == axis && axis >= 0 {
				list = append(list, j)
			}
		}
		return list
	}
	side := -1 // of a status from its value: each stands behind its own, or each in front
	for k := range found {
		s := &found[k]
		list := valued(cols[s.column].Axis)
		base, called := statusBase(cols[s.column].Name)
		for _, j := range list {
			if name := strings.ToLower(cols[j].Name); base != "" && (name == base || strings.HasPrefix(name, base+" ") || strings.HasPrefix(base, name+" ")) {
				s.of = append(s.of, j)
			}
		}
		if len(s.of) == 1 || base != "" && called {
			continue // one of another name, as "Pump status", is of no value here
		}
		s.of, s.byPlace = nil, true
		if k == 0 && !slices.Contains(list, s.column-1) {
			side = 1
		}
		switch beside := s.column + side; {
		case len(list) == 1:
			s.of, s.byPlace = list, false
		case len(found) == 1:
			s.of = list
		case slices.Contains(list, beside):
			s.of = []int{beside}
		}
	}
	for _, s := range found {
		if len(s.of) > 0 {
			b.apply(s)
		}
	}
}

// apply takes bad values out and keeps the status.
func (b *builder) apply(s status) {
	cols := b.table.Columns
	c := &cols[s.column]
	if b.statusOf == nil {
		b.statusOf = map[int]int{}
	}
	var names []string
	first := ""
	bad, uncertain := 0, 0
	for i, q := range s.qualities {
		switch q {
		case badValue:
			bad++
		case uncertainValue:
			uncertain++
		default:
			continue
		}
		if first == "" {
			first = fmt.Sprintf("row %d", i+1)
			if line := b.table.Line(i); line > 0 {
				first = fmt.Sprintf("line %d", line)
			}
		}
	}
	c.Texts, c.Values, c.Known, c.Missing = s.texts, nil, source.Span{}, 0
	for _, j := range s.of {
		of := &cols[j]
		b.statusOf[j] = s.column
		names = append(names, fmt.Sprintf("%q", of.Name))
		if bad > 0 {
			of.Values, of.Known = slices.Clone(of.Values), source.Span{}
			for i, q := range s.qualities {
				if q == badValue && i < len(of.Values) && !math.IsNaN(of.Values[i]) {
					of.Values[i] = math.NaN()
					of.Missing++
				}
			}
			b.report.doubt(of.Name, "Of %q %s bad by %q, from %s on, and count as missing: the signal is not known there.", of.Name, are(bad, "value"), c.Name, first)
		}
		if uncertain > 0 {
			b.report.doubt(of.Name, "Of %q %s uncertain by %q, from %s on: they are kept.", of.Name, are(uncertain, "value"), c.Name, first)
		}
	}
	fact := Fact{What: "status of values", Value: fmt.Sprintf("%s: column %q", strings.Join(names, ", "), c.Name), Guessed: s.byPlace && b.options.Status == "", Override: `record.Options{Status: "none"}`}
	if s.byPlace {
		fact.Value += ", by its place"
		b.used.Status = "words"
	}
	b.report.Facts = append(b.report.Facts, fact)
}

// are writes "1 value is" or "3 values are".
func are(n int, what string) string {
	if n == 1 {
		return "1 " + what + " is"
	}
	return plural(n, what) + " are"
}
