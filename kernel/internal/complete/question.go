package complete

import (
	"strings"

	"github.com/evenbed/evenbed/kernel/internal/pattern"
)

// Question returns what a cell asks about that is a name with a question mark
// before or behind it, such as ?units.Bar or efficiency.Pulse?, and the detail:
// 1 if there are two marks.
func Question(code string) (name string, detail int, ok bool) {
	if !strings.Contains(code, "?") {
		return "", 0, false
	}
	m := question().FindStringSubmatch(code)
	switch {
	case m == nil || (m[1] == "") == (m[3] == ""):
		return "", 0, false
	case len(m[1])+len(m[3]) == 2:
		detail = 1
	}
	return strings.Join(strings.Fields(m[2]), ""), detail, true
}

var question = pattern.New(`^\s*(\?{0,2})\s*((?:\pL|_)[\pL\pN_]*(?:\s*\.\s*(?:\pL|_)[\pL\pN_]*)*|"[\w./-]+")\s*(\?{0,2})\s*$`)
