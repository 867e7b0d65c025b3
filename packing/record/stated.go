package record

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/evenbed/evenbed/packing/internal/unit"
	"github.com/evenbed/evenbed/packing/trace"
)

// A statement is what lines around a table say of it, by key.
type statement int

const (
	ofLength statement = iota + 1
	ofInterval
	ofRate
	ofRows
)

// statements are the keys that are looked for, in small letters.
var statements = map[string]statement{
	"run time": ofLength, "runtime": ofLength, "run length": ofLength, "run duration": ofLength, "duration": ofLength, "total time": ofLength, "total duration": ofLength,
	"length of run": ofLength, "recording time": ofLength, "acquisition time": ofLength, "measurement time": ofLength, "test duration": ofLength, "run volume": ofLength,
	"interval": ofInterval, "sampling interval": ofInterval, "sample interval": ofInterval, "logging interval": ofInterval, "recording interval": ofInterval,
	"time step": ofInterval, "sampling period": ofInterval, "sampling time": ofInterval,
	"sampling rate": ofRate, "sample rate": ofRate, "data rate": ofRate, "acquisition rate": ofRate, "sampling frequency": ofRate,
	"rows": ofRows, "data points": ofRows, "number of points": ofRows, "number of rows": ofRows, "number of values": ofRows,
}

// How far the rows may be from what the file states.
const (
	lengthTolerance   = 0.05
	intervalTolerance = 0.2
)

// stated holds the rows against what the file states of their number, length and
// interval.
func (b *builder) stated() {
	axes := b.usedAxes()
	lines := slices.Concat(b.table.Meta, b.table.Notes)
	if len(lines) == 0 || len(axes) != 1 || b.options.LastLine > 0 || b.options.Clock == CutAtReset {
		return
	}
	axis := &b.table.Columns[axes[0]]
	x := slices.DeleteFunc(slices.Clone(positionsOf(axis)), math.IsNaN)
	if len(x) < 3 {
		return
	}
	u := unit.Unit{Kind: unit.Time, One: 1}
	if axis.Times == nil {
		u, _ = unit.Of(axis.Unit)
	}
	if u.Kind != unit.Time && u.Kind != unit.Volume {
		return
	}
	kind := trace.Time
	if u.Kind == unit.Volume {
		kind = trace.Volume
	}
	span, step := (x[len(x)-1]-x[0])*u.One, usualStep(x)*u.One
	// tell doubts, and names the unit of the axis with which it would agree.
	tell := func(key, value, what string, stated, found, tolerance float64) {
		if math.Abs(found/stated-1) <= tolerance || math.Abs(found-stated) <= 2*step && tolerance == lengthTolerance {
			return
		}
		fits := ""
		for _, symbol := range []string{"ms", "s", "min", "h", "d", "mL", "L", "m3"} {
			if other, _ := unit.Of(symbol); other.Kind == u.Kind && axis.Times == nil && math.Abs(found/u.One*other.One/stated-1) <= tolerance {
				fits = fmt.Sprintf(" It would agree if %q were in %s: record.Options{Units: map[string]string{%q: %q}}.", axis.Name, symbol, axis.Name, symbol)
			}
		}
		b.report.doubt(axis.Name, "The file states \"%s: %s\", but %q %s %s.%s", shortened(key), shortened(value), axis.Name, what, kind.Show(found), fits)
	}
	var start, end string
	for _, e := range lines {
		key, symbol := strings.ToLower(strings.TrimSpace(e.Key)), ""
		if i := strings.IndexAny(key, "(["); i > 0 {
			symbol = strings.Trim(e.Key[i:], "()[] ")
			key = strings.TrimSpace(key[:i])
		}
		switch key {
		case "start", "start time", "started", "run start", "begin":
			start = e.Value
		case "end", "end time", "ended", "run end", "stop", "stop time":
			end = e.Value
		}
		what := statements[key]
		if what == 0 {
			continue
		}
		v, of, ok := amount(e.Value, symbol)
		switch {
		case !ok || !(v > 0):
		case what == ofRows && of.Kind == unit.None && int(v) != len(x):
			b.report.doubt("", "The file states \"%s: %s\", but holds %s: it may be cut.", shortened(e.Key), shortened(e.Value), plural(len(x), "row"))
		case what == ofLength && of.Kind == u.Kind:
			tell(e.Key, e.Value, "runs over", v, span, lengthTolerance)
		case what == ofInterval && of.Kind == u.Kind && step > 0:
			tell(e.Key, e.Value, "mostly has a row each", v, step, intervalTolerance)
		case what == ofRate && of.Kind == unit.None && u.Kind == unit.Time && step > 0 && strings.Contains(strings.ToLower(e.Value+symbol), "hz"):
			tell(e.Key, e.Value, "mostly has a row each", 1/v, step, intervalTolerance)
		}
	}
	if d, ok := elapsed(start, end); ok && u.Kind == unit.Time {
		tell("Start to end", start+" to "+end, "runs over", d, span, lengthTolerance)
	}
}

// amount reads "60 min", "60" in the unit of a key, or "01:00:00".
func amount(s, symbol string) (float64, unit.Unit, bool) {
	s = strings.TrimSpace(s)
	var h, m, sec float64
	if n, _ := fmt.Sscanf(s, "%f:%f:%f", &h, &m, &sec); n == 3 {
		return h*3600 + m*60 + sec, unit.Unit{Kind: unit.Time, One: 1}, true
	}
	end := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune("0123456789.,+-eE", r) })
	if end < 0 {
		end = len(s)
	}
	var v float64
	if n, _ := fmt.Sscanf(strings.Replace(s[:end], ",", ".", 1), "%f", &v); n != 1 {
		return 0, unit.Unit{}, false
	}
	if rest := strings.TrimSpace(s[end:]); rest != "" {
		symbol = rest
	}
	u, known := unit.Of(symbol)
	if known {
		v *= u.One
	}
	return v, u, true
}

// momentLayouts are the ways in which a start and an end are read.
var momentLayouts = []string{"2006-01-02 15:04:05", "2006-01-02T15:04:05", "2006-01-02 15:04", "2006/01/02 15:04:05", "02.01.2006 15:04:05", "02.01.2006 15:04", "02/01/2006 15:04:05", "01/02/2006 15:04:05", "15:04:05", "15:04"}

// elapsed returns the seconds from one moment to a later one.
func elapsed(start, end string) (float64, bool) {
	if start == "" || end == "" {
		return 0, false
	}
	for _, layout := range momentLayouts {
		a, err := time.Parse(layout, strings.TrimSpace(start))
		b, err2 := time.Parse(layout, strings.TrimSpace(end))
		if err == nil && err2 == nil && b.After(a) {
			return b.Sub(a).Seconds(), true
		}
	}
	return 0, false
}
