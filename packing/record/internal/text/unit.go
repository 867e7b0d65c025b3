package text

import (
	"strings"

	"github.com/evenbed/evenbed/packing/internal/unit"
)

// nameLike are units that may as well be names.
var nameLike = map[string]bool{"pH": true, "CV": true, "cv": true, "BV": true, "OD": true, "V": true, "A": true, "M": true, "K": true, "1": true, "-": true, "m": true, "s": true, "h": true, "d": true, "l": true, "L": true, "g": true, "W": true, "counts": true, "min": true, "au": true}

// sameMicro writes the Greek letter as the micro sign.
func sameMicro(u string) string { return unit.Spelt(u) }

func knownUnit(u string) bool { return unit.Written(u) }

// unbracket takes one pair of brackets off a cell.
func unbracket(cell string) string {
	if len(cell) > 2 && (cell[0] == '(' && cell[len(cell)-1] == ')' || cell[0] == '[' && cell[len(cell)-1] == ']' || cell[0] == '{' && cell[len(cell)-1] == '}') {
		return strings.TrimSpace(cell[1 : len(cell)-1])
	}
	return cell
}

// splitUnit takes the unit off a heading: in brackets at the end, or, if it is
// known, behind a slash or a comma. Brackets that begin with a digit, as in
// "UV (280 nm)", belong to the name, and empty ones say that there is no unit.
func splitUnit(heading string) (name, unit string) {
	if _, symbol, bare := bareUnit(heading); bare && strings.HasSuffix(symbol, ")") {
		return heading, "" // the brackets of "Pressure bar(g)" belong to the unit
	}
	for _, b := range []string{"()", "[]", "{}"} {
		if !strings.HasSuffix(heading, b[1:]) {
			continue
		}
		i := opening(heading, b[0], b[1])
		if i < 0 {
			continue
		}
		in := strings.TrimSpace(heading[i+1 : len(heading)-1])
		if in == "" && i > 0 {
			return strings.TrimSpace(heading[:i]), "" // there is none
		}
		if in == "" || in[0] >= '0' && in[0] <= '9' && in != "1" && !knownUnit(in) {
			continue
		}
		return strings.TrimSpace(heading[:i]), sameMicro(in)
	}
	if knownUnit(heading) {
		return heading, ""
	}
	if _, _, bare := bareUnit(heading); bare {
		return heading, "" // the slash of "Flow mL/min" belongs to the unit
	}
	// "P/bar", "κ/mS/cm": the name is what stands before the first slash.
	for _, i := range []int{strings.IndexByte(heading, '/'), strings.LastIndexByte(heading, ',')} {
		if i <= 0 {
			continue
		}
		name, u := strings.TrimSpace(heading[:i]), strings.TrimSpace(heading[i+1:])
		// A time or a volume is one by its name, too: "drops/min" is no time.
		if of := dimension(u); knownUnit(u) && u != "1" && (of == "" || names(name, of)) {
			return name, sameMicro(u)
		}
	}
	return heading, ""
}

// words cuts a heading at blanks and underscores.
func words(heading string) []string {
	return strings.FieldsFunc(heading, func(c rune) bool { return c == ' ' || c == '_' })
}

// axisWords name times and volumes, also in other languages.
var axisWords = map[string]map[string]bool{
	"time": {"time": true, "times": true, "elapsed": true, "t": true, "tr": true, "clock": true, "duration": true, "runtime": true,
		"zeit": true, "laufzeit": true, "temps": true, "tiempo": true, "tempo": true, "tid": true, "tijd": true},
	"volume": {"volume": true, "volumes": true, "vol": true, "v": true, "ve": true, "vr": true, "volumen": true, "volym": true},
}

// names tells whether the last word of a name stands for a time or a volume.
func names(name, of string) bool {
	w := words(strings.ToLower(name))
	return len(w) > 0 && axisWords[of][w[len(w)-1]]
}

// opening returns where the bracket at the end of a heading opens, -1 if it does not.
func opening(heading string, left, right byte) int {
	depth := 0
	for i := len(heading) - 1; i >= 0; i-- {
		switch heading[i] {
		case right:
			depth++
		case left:
			if depth--; depth == 0 {
				return i
			}
		}
	}
	return -1
}

// bareUnit takes a unit without brackets off the end of a heading, behind a blank or
// an underscore: "Flow mL/min", "Flow_mL/min", "Flow_mL_min", "Temperature deg C". A
// unit behind a number belongs to the name, as in "UV 280 nm", unless it is a
// quotient, and what may as well be a word of it counts for times and volumes alone:
// "Time min", but not "Pressure min". Of a heading that is a unit behind an underscore
// the name is the whole.
func bareUnit(heading string) (name, symbol string, ok bool) {
	if strings.HasPrefix(heading, "_") && knownUnit(heading) && !nameLike[sameMicro(heading)] {
		return heading, sameMicro(heading), true
	}
	w := words(heading)
	for n := min(3, len(w)-1); n > 0; n-- {
		rest := heading // what stands before the last n words
		for k := range n {
			rest = strings.TrimRight(strings.TrimSuffix(rest, w[len(w)-1-k]), " _")
		}
		end := strings.Trim(heading[len(rest):], " _")
		symbol = sameMicro(end)
		if !knownUnit(symbol) || symbol == "1" || symbol == "-" || strings.Contains(symbol, ":") {
			continue
		}
		last := w[len(w)-n-1]
		if last == "/" || strings.HasSuffix(last, ",") || shapeOf([]byte(last), true).ok && !strings.Contains(symbol, "/") {
			return "", "", false
		}
		if nameLike[symbol] && !names(last, dimension(symbol)) {
			return "", "", false
		}
		return strings.Trim(rest, " _"), symbol, true
	}
	return "", "", false
}

// NameAndUnit cuts a heading into name and unit, by brackets or without; the unit is
// empty if there is none.
func NameAndUnit(heading string) (name, symbol string) {
	if name, symbol = splitUnit(heading); name == heading && symbol == "" {
		if n, u, ok := bareUnit(heading); ok {
			return n, u
		}
	}
	return name, symbol
}

// Heading writes a name and its unit so that they are read back as they are.
func Heading(name, symbol string) string {
	switch {
	case strings.ContainsAny(symbol, "()"):
		return name + " [" + symbol + "]"
	case symbol != "":
		return name + " (" + symbol + ")"
	}
	n, u := splitUnit(name)
	_, _, bare := bareUnit(name)
	if n != name || u != "" || bare {
		return name + " ()"
	}
	return name
}

// dimension tells what kind of axis a unit belongs to.
func dimension(symbol string) string {
	switch unit.KindOf(symbol) {
	case unit.Time:
		return "time"
	case unit.Volume, unit.CV:
		return "volume"
	}
	return ""
}
