package check

import (
	"fmt"
	"go/token"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/kernel/internal/pattern"
	"github.com/evenbed/evenbed/kernel/symbols"
)

// Parts of the names of units and their symbols, those of the SI Brochure, 9th
// edition, tables 2 to 8, and of the trade: psi, AU.
var (
	unitNames = [...][2]string{{"metre", "m"}, {"gram", "g"}, {"second", "s"}, {"minute", "min"}, {"hour", "h"}, {"litre", "L"},
		{"mole", "mol"}, {"kelvin", "K"}, {"pascal", "Pa"}, {"bar", "bar"}, {"psi", "psi"}, {"newton", "N"}, {"siemens", "S"}, {"au", "AU"}}
	unitPrefixes = [...][2]string{{"per", "/"}, {"nano", "n"}, {"micro", "µ"}, {"milli", "m"}, {"centi", "c"}, {"kilo", "k"}, {"mega", "M"}}
	unitPowers   = [...][2]string{{"square", "²"}, {"cubic", "³"}}
)

// symbol returns the symbol of a unit by its name, cm/h for CentimetrePerHour,
// or "" for what is no unit's name.
func symbol(name string) string {
	switch name {
	case "Percent":
		return "%"
	case "Permille":
		return "‰"
	}
	rest, out, power := strings.ToLower(name), "", ""
	take := func(parts [][2]string) (symbol string, ok bool) {
		for _, p := range parts {
			if after, found := strings.CutPrefix(rest, p[0]); found {
				rest = after
				return p[1], true
			}
		}
		return "", false
	}
	for within := false; rest != ""; {
		if s, ok := take(unitNames[:]); ok {
			if within {
				out += "·"
			}
			out, power, within = out+s+power, "", true
		} else if s, ok := take(unitPowers[:]); ok {
			power = s
		} else if s, ok := take(unitPrefixes[:]); ok {
			out, within = out+s, false
		} else {
			return ""
		}
	}
	return out
}

// otherSymbols are usual ways to write symbols.
var otherSymbols = map[string]string{"l": "L", "ml": "mL", "ul": "µL", "uL": "µL", "um": "µm", "sec": "s", "hr": "h", "m2": "m²", "cm2": "cm²", "mm2": "mm²",
	"m3": "m³", "ml/min": "mL/min", "l/min": "L/min", "l/h": "L/h", "mg/ml": "mg/mL", "g/ml": "g/mL", "g/l": "g/L", "mM": "mmol/L"}

// degrees are ways to write a degree Celsius, which a function makes.
var degrees = map[string]bool{"°C": true, "℃": true, "degC": true}

// unitOf returns the constant of package units with a symbol, "" if there is
// none.
func unitOf(text string) string {
	if other, ok := otherSymbols[text]; ok {
		text = other
	}
	text = strings.ReplaceAll(text, "μ", "µ") // the letter mu, the micro sign
	for _, d := range symbols.Names(Units) {
		if d.Kind == "constant" && symbol(d.Name) == text {
			return d.Name
		}
	}
	return ""
}

var (
	quantity    = pattern.New(`^\s*([+-]?` + number + `)\s*\*?\s*(\S+?)\s*$`)
	numberLast  = pattern.New(`(?:^|[^\pL\d_.])(` + number + `)[ \t]*$`)
	percentLast = pattern.New(`(?:^|[^\pL\d_.])(` + number + `)[ \t]*%[ \t]*[,})\]]*[ \t]*$`)
	nameFirst   = pattern.New(`^[\pL_][\pL\d_]*(?:\.[\pL_][\pL\d_]*)?`)
	unitFirst   = pattern.New(`^[\pL°%‰][\pL\d/²³·]*`)
)

const number = `(?:\d[\d_]*\.?\d*|\.\d+)(?:[eE][+-]?\d+)?`

// InGo returns how Go writes a quantity such as 15 cm, with names of package
// units behind what the package is called: "units." or, for a dot import, "".
func InGo(text, called string) (expr string, ok bool) {
	m := quantity().FindStringSubmatch(text)
	if m == nil {
		return "", false
	}
	return multiplied(m[1], m[2], called)
}

// multiplied returns a number with a unit, of which the symbol or the name is
// given.
func multiplied(number, unit, called string) (expr string, ok bool) {
	if degrees[unit] {
		return called + "Celsius(" + number + ")", true
	}
	name := unitOf(unit)
	if d, ok := symbols.Lookup(Units, strings.TrimPrefix(unit, called)); ok && d.Kind == "constant" {
		name = d.Name
	}
	return number + " * " + called + name, name != ""
}

// called returns what stands before names of package units in a cell, and what
// to do first if it has not imported the package.
func called(imports map[string]importOf) (before, first string) {
	first = fmt.Sprintf(", after import . %q", Units)
	for name, im := range imports {
		switch {
		case im.path == Units && im.name == ".":
			return "", ""
		case im.path == Units:
			before, first = name+".", ""
		}
	}
	return before, first
}

// SideBySide tells what to write if a line cannot be parsed because a name
// stands behind a number, which is at a column in bytes, from 1. It returns ""
// if it cannot for another reason.
func (c *Checker) SideBySide(line string, column int) string {
	if column < 1 || column > len(line)+1 {
		return ""
	}
	before, after := called(c.imports)
	if m := percentLast().FindStringSubmatch(line); m != nil { // nothing is divided by
		expr, _ := multiplied(m[1], "%", before)
		return fmt.Sprintf("%s %% is no expression; write %s%s", m[1], expr, after)
	}
	m := numberLast().FindStringSubmatch(line[:column-1])
	if m == nil {
		return ""
	}
	name := nameFirst().FindString(line[column-1:])
	for _, first := range []string{unitFirst().FindString(line[column-1:]), name} {
		if expr, ok := multiplied(m[1], first, before); ok && first != "" {
			return fmt.Sprintf("%s %s is no expression; write %s%s", m[1], first, expr, after)
		}
	}
	if name == "" || token.IsKeyword(name) || slices.Contains([]string{"and", "or", "in", "is", "not"}, name) { // of another language
		return ""
	}
	return fmt.Sprintf("%s and %s stand side by side; if a product is meant, write %s * %s", m[1], name, m[1], name)
}

// Unit returns what to write for a name that is no name of Go, but the symbol of
// a unit by which the cell multiplies or divides; "" if it is none.
func (c *Cell) Unit(name string) string {
	unit := unitOf(name)
	if unit == "" || !c.factors[name] {
		return ""
	}
	before, first := called(c.imports)
	return before + unit + first
}
