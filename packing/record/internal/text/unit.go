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
	if i := strings.IndexByte(heading, '/'); i > 0 {
		if u := strings.TrimSpace(heading[i+1:]); knownUnit(u) && u != "1" {
			return strings.TrimSpace(heading[:i]), sameMicro(u)
		}
	}
	if i := strings.LastIndexByte(heading, ','); i > 0 {
		if u := strings.TrimSpace(heading[i+1:]); knownUnit(u) && u != "1" {
			return strings.TrimSpace(heading[:i]), sameMicro(u)
		}
	}
	return heading, ""
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

// bareUnit takes a unit without brackets off the end of a heading: "Flow mL/min",
// "Temperature deg C". A length behind a number belongs to the name, as in "UV 280 nm",
// and what may as well be a word of it counts for times and volumes alone:
// "Time min", but not "Pressure min".
func bareUnit(heading string) (name, symbol string, ok bool) {
	words := strings.Fields(heading)
	for n := min(3, len(words)-1); n > 0; n-- {
		rest, end := words[:len(words)-n], words[len(words)-n:]
		symbol = strings.Join(end, " ")
		if n == 3 && end[1] == "/" {
			symbol = strings.Join(end, "")
		}
		if !knownUnit(symbol) || symbol == "1" || symbol == "-" || strings.Contains(symbol, ":") {
			continue
		}
		if last := rest[len(rest)-1]; shapeOf([]byte(last), true).ok || last == "/" || strings.HasSuffix(last, ",") {
			return "", "", false
		}
		name = strings.Join(rest, " ")
		if nameLike[symbol] {
			of, last := dimension(symbol), strings.ToLower(rest[len(rest)-1])
			if of == "" || last != of && !(of == "time" && last == "elapsed") {
				return "", "", false
			}
		}
		return name, sameMicro(symbol), true
	}
	return "", "", false
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
