package netcdf

import "strings"

// variableName makes a name that the format allows: no slash, no control
// character, something at the front, no blank at the end.
func variableName(name string) string {
	name = strings.Map(func(r rune) rune {
		if r == '/' || r < ' ' || r == 0x7f {
			return '_'
		}
		return r
	}, strings.TrimSpace(name))
	if name == "" {
		return "_"
	}
	return name
}
