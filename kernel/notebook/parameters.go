package notebook

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/evenbed/evenbed/kernel/internal/check"
)

// Tags of cells, as other programs that execute notebooks know them.
const (
	tagParameters = "parameters"
	tagInjected   = "injected-parameters"
	tagFails      = "raises-exception"
	tagIgnore     = "nbval-ignore-output"
	tagSkip       = "nbval-skip"
	tagKeep       = "keep_output"
)

// SetParameters puts a cell tagged injected-parameters behind the one tagged
// parameters, in place of an older one, that gives variables of that cell new
// values. The values are Go expressions; for a variable whose value is a
// string in quotes, the new one may stand without them.
func (nb *Notebook) SetParameters(values map[string]string) error {
	if len(values) == 0 {
		return nil
	}
	at := slices.IndexFunc(nb.Cells, func(c *Cell) bool { return c.Kind == Code && slices.Contains(c.Tags, tagParameters) })
	if at < 0 {
		return fmt.Errorf("%s: no cell is tagged %q; give that tag to the cell that declares the parameters", nb.Name, tagParameters)
	}
	declared, err := assignments(nb.Cells[at].Source)
	if err != nil {
		return fmt.Errorf("%s: cell %d, tagged %q: %w", nb.Name, at+1, tagParameters, err)
	}
	lines := []string{"// Parameters given on the command line."}
	for _, name := range slices.Sorted(maps.Keys(values)) {
		old, ok := declared[name]
		if !ok {
			return fmt.Errorf("%s: cell %d, tagged %q, has no variable %s; it has %s",
				nb.Name, at+1, tagParameters, name, strings.Join(slices.Sorted(maps.Keys(declared)), ", "))
		}
		value := values[name]
		x, err := parser.ParseExpr(value)
		if isText(old) && (err != nil || !isText(x)) {
			value = strconv.Quote(value)
		} else if err != nil {
			instead := ""
			if expr, ok := check.InGo(value, nb.unitsCalled()); ok {
				instead = "; write " + strings.ReplaceAll(expr, " ", "")
			}
			return fmt.Errorf("%s: parameter %s: %q is not a Go expression%s", nb.Name, name, value, instead)
		}
		lines = append(lines, name+" = "+value)
	}
	cell := nb.injected(at + 1)
	cell.Source = strings.Join(lines, "\n")
	cell.tree.set("source", linesNode(cell.Source))
	return nil
}

// unitsCalled returns what stands before the names of package units: "" if the
// notebook imports it with a dot.
func (nb *Notebook) unitsCalled() string {
	for _, c := range nb.Cells {
		if before, _, ok := strings.Cut(c.Source, strconv.Quote(check.Units)); ok && c.Kind == Code && !strings.HasSuffix(before, ". ") {
			return "units."
		}
	}
	return ""
}

// injected returns the cell for the new values, which is made at a place unless
// there is one.
func (nb *Notebook) injected(at int) *Cell {
	for _, c := range nb.Cells {
		if c.Kind == Code && slices.Contains(c.Tags, tagInjected) {
			return c
		}
	}
	tree := &node{kind: object}
	tree.set("cell_type", textNode(string(Code)))
	tree.set("execution_count", nullNode())
	if nb.tree.get("cells").items[at-1].get("id") != nil {
		tree.set("id", textNode(nb.freeID()))
	}
	metadata := &node{kind: object}
	metadata.set("tags", listNode(textNode(tagInjected)))
	tree.set("metadata", metadata)
	tree.set("outputs", listNode())
	tree.set("source", listNode())
	cell := &Cell{Kind: Code, Tags: []string{tagInjected}, tree: tree}
	nb.Cells = slices.Insert(nb.Cells, at, cell)
	cells := nb.tree.get("cells")
	cells.items = slices.Insert(cells.items, at, tree)
	return cell
}

// freeID returns an id that no cell has.
func (nb *Notebook) freeID() string {
	for i := 0; ; i++ {
		id := tagInjected
		if i > 0 {
			id += "-" + strconv.Itoa(i)
		}
		if !slices.ContainsFunc(nb.Cells, func(c *Cell) bool { s, _ := c.tree.get("id").str(); return s == id }) {
			return id
		}
	}
}

// assignments returns the variables that a cell declares with a value.
func assignments(source string) (map[string]ast.Expr, error) {
	file, err := parser.ParseFile(token.NewFileSet(), "", "package p; func _() {\n"+source+"\n}", parser.SkipObjectResolution)
	if err != nil {
		return nil, fmt.Errorf("not the plain declarations that parameters need: %w", err)
	}
	values := map[string]ast.Expr{}
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GenDecl:
			return n.Tok != token.CONST // cannot be given another value
		case *ast.AssignStmt:
			for i, x := range n.Lhs {
				if id, ok := x.(*ast.Ident); ok && len(n.Lhs) == len(n.Rhs) {
					values[id.Name] = n.Rhs[i]
				}
			}
		case *ast.ValueSpec:
			for i, id := range n.Names {
				if len(n.Names) == len(n.Values) {
					values[id.Name] = n.Values[i]
				} else {
					values[id.Name] = nil
				}
			}
		}
		return true
	})
	return values, nil
}

func isText(x ast.Expr) bool {
	lit, ok := x.(*ast.BasicLit)
	return ok && lit.Kind == token.STRING
}
