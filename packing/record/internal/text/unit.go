package text

import "strings"

// unitNames are the units that exports write, to tell a row of units from a
// row of names. What they mean is for the record to say.
var unitNames = func() map[string]bool {
	m := map[string]bool{}
	for _, u := range strings.Fields(`ms s sec secs second seconds min mins minute minutes h hr hrs hour hours d days
		µL uL µl ul mL ml cm3 cm³ L l dm3 dm³ m3 m³ CV cv BV
		mL/min ml/min mL/h ml/h L/min l/min L/h l/h m3/h m³/h cm/h cm/hr cm/min mm/s m/s m/h
		nm µm um mm cm m Pa hPa kPa MPa mbar bar psi atm
		mAU AU OD mOD a.u. au arb mS/cm µS/cm uS/cm S/m S/cm mS µS °C degC °F degF K % %B %v/v V mV µV mA A W NTU rpm 1/min 1/s Hz
		pH - 1 g mg kg µg g/L g/l mg/mL mg/ml mg/L kg/m3 kg/m³ mol/L mmol/L M mM mPa.s mPas cP RIU nRIU dBm counts cps hh:mm:ss mm:ss hh:mm h:mm:ss hh:mm:ss.fff`) {
		m[u] = true
	}
	return m
}()

// nameLike are units that may as well be names.
var nameLike = map[string]bool{"pH": true, "CV": true, "cv": true, "BV": true, "OD": true, "V": true, "A": true, "M": true, "K": true, "1": true, "-": true, "m": true, "s": true, "h": true, "d": true, "l": true, "L": true, "g": true, "W": true, "counts": true, "min": true, "au": true}

// sameMicro writes the Greek letter as the micro sign.
func sameMicro(u string) string {
	return strings.ReplaceAll(strings.ReplaceAll(u, "μ", "µ"), "º", "°")
}

func knownUnit(u string) bool { return unitNames[sameMicro(u)] }

// unbracket takes one pair of brackets off a cell.
func unbracket(cell string) string {
	if len(cell) > 2 && (cell[0] == '(' && cell[len(cell)-1] == ')' || cell[0] == '[' && cell[len(cell)-1] == ']' || cell[0] == '{' && cell[len(cell)-1] == '}') {
		return strings.TrimSpace(cell[1 : len(cell)-1])
	}
	return cell
}

// splitUnit takes the unit off a heading: in brackets at the end, or, if it is
// known, behind a slash or a comma. Brackets that begin with a digit, as in
// "UV (280 nm)", belong to the name.
func splitUnit(heading string) (name, unit string) {
	for _, b := range []string{"()", "[]", "{}"} {
		if !strings.HasSuffix(heading, b[1:]) {
			continue
		}
		i := strings.LastIndex(heading, b[:1])
		if i < 0 {
			continue
		}
		in := strings.TrimSpace(heading[i+1 : len(heading)-1])
		if in == "" || in[0] >= '0' && in[0] <= '9' && in != "1" && !knownUnit(in) {
			continue
		}
		return strings.TrimSpace(heading[:i]), sameMicro(in)
	}
	if knownUnit(heading) {
		return heading, ""
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

// dimension tells what kind of axis a unit belongs to.
func dimension(unit string) string {
	switch sameMicro(unit) {
	case "ms", "s", "sec", "secs", "second", "seconds", "min", "mins", "minute", "minutes", "h", "hr", "hrs", "hour", "hours", "d", "days":
		return "time"
	case "µL", "uL", "µl", "ul", "mL", "ml", "cm3", "cm³", "L", "l", "dm3", "dm³", "m3", "m³", "CV", "cv", "BV":
		return "volume"
	}
	return ""
}
