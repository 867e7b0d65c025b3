package complete

import (
	"go/ast"
	"go/parser"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/kernel/internal/check"
	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/pattern"
)

// Question returns what a cell asks about that is a name with a question mark
// before or behind it, such as ?units.Bar or efficiency.Pulse?, and the detail:
// 1 if there are two marks. The name is "" for a question mark alone.
func Question(code string) (name string, detail int, ok bool) {
	if !strings.Contains(code, "?") {
		return "", 0, false
	}
	if mark := strings.TrimSpace(code); mark == "?" || mark == "??" {
		return "", 0, true
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

// Unknown says of a name that [Explain] does not know which are near it.
func Unknown(name string, scope Scope) string {
	a := ask("", scope)
	advice := "is its package imported?"
	switch e, _ := parser.ParseExpr(name); e := e.(type) {
	case *ast.SelectorExpr:
		x := strings.TrimSuffix(name, "."+e.Sel.Name)
		if path := a.packagePath(x); path != "" {
			return check.NoSuch(path, x, e.Sel.Name)
		}
		if members := textsOf(a.members(x)); len(members) > 0 {
			return strings.TrimSuffix(x+" has no "+e.Sel.Name+"; "+check.DidYouMean(members, e.Sel.Name), "; ")
		}
	case *ast.Ident:
		if near := check.Near(textsOf(a.names()), name); len(near) > 0 {
			advice = check.DidYouMean(near, name)
		}
	}
	return "nothing is known of " + name + "; " + advice
}

// textsOf returns the texts of proposals, each once.
func textsOf(all []host.Match) (texts []string) {
	for _, m := range all {
		texts = append(texts, m.Text)
	}
	slices.Sort(texts)
	return slices.Compact(texts)
}
