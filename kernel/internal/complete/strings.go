package complete

import (
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/internal/pattern"
)

// inString proposes what may stand in a string literal behind the tokens: the
// columns of the data frame that is asked, the keys of the map, or files.
func inString(lex []lexeme, literal lexeme, typed string, scope Scope) []host.Match {
	if found := keys(lex, scope); len(found) > 0 {
		var all []host.Match
		for _, key := range found {
			if text, ok := inside(key, literal); ok {
				all = append(all, host.Match{Text: text, Kind: "field"})
			}
		}
		return matching(all, typed)
	}
	if strings.Contains(typed, "/") || takesFile(lex) {
		return files(typed, literal)
	}
	return nil
}

// inside returns how a text is written in the literal; false if it cannot be.
func inside(text string, literal lexeme) (string, bool) {
	if strings.HasPrefix(literal.lit, "`") {
		return text, !strings.Contains(text, "`")
	}
	q := strconv.Quote(text)
	return q[1 : len(q)-1], true
}

// keys asks the variable with which the innermost call or index begins that has
// some: df in df.Filter(...).Col(" and in df.Select([]string{".
func keys(lex []lexeme, scope Scope) []string {
	if scope == nil {
		return nil
	}
	for open := enclosing(lex); open > 0; open = enclosing(lex[:open]) {
		if lex[open].tok == token.LBRACE {
			continue
		}
		start := operandStart(lex, open)
		if start < 0 || lex[start].tok != token.IDENT {
			continue
		}
		if found := scope.Keys(lex[start].lit); len(found) > 0 {
			return found
		}
	}
	return nil
}

var fileFunction = pattern.New(`(?i)(open|read|file|load|dir|folder|stat|create|remove|glob|path)`)

// takesFile reports whether the tokens end in the arguments of a function that
// takes a file, as its name says.
func takesFile(lex []lexeme) bool {
	for open := enclosing(lex); open > 0; open = enclosing(lex[:open]) {
		if lex[open].tok == token.LPAREN && lex[open-1].tok == token.IDENT {
			return fileFunction().MatchString(lex[open-1].lit)
		}
	}
	return false
}

// maxFiles bounds how many files are proposed.
const maxFiles = 200

// files proposes the files of the folder that has been typed so far. Folders
// end with a slash.
func files(typed string, literal lexeme) (found []host.Match) {
	slash := strings.LastIndex(typed, "/") + 1
	folder, start := typed[:slash], typed[slash:]
	dir := folder
	if !strings.HasPrefix(literal.lit, "`") {
		var err error
		if dir, err = strconv.Unquote(`"` + folder + `"`); err != nil {
			return nil
		}
	}
	if dir == "" {
		dir = "."
	}
	entries, err := os.ReadDir(filepath.FromSlash(dir))
	if err != nil {
		return nil
	}
	for _, e := range entries {
		name, ok := inside(e.Name(), literal)
		if !ok || !strings.HasPrefix(name, start) || strings.HasPrefix(name, ".") && start == "" {
			continue
		}
		if info, err := os.Stat(filepath.Join(dir, e.Name())); err == nil && info.IsDir() {
			name += "/"
		}
		if found = append(found, host.Match{Text: folder + name, Kind: "path"}); len(found) == maxFiles {
			break
		}
	}
	slices.SortFunc(found, func(a, b host.Match) int { return strings.Compare(a.Text, b.Text) })
	return found
}
