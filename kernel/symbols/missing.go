package symbols

import (
	"slices"
	"strings"

	"github.com/cosmos72/gomacro/imports"

	"github.com/evenbed/evenbed/kernel/symbols/internal/tables"
)

// without says why a package cannot be imported and what to use instead.
// Besides what cannot work in an interpreter it is what would reach past the
// notebook: other programs, the network, signals, raw memory.
func without(path string) (hint string) {
	switch path {
	case "slices":
		return "everything in it is generic; sort.Float64s, sort.Slice, gonum's floats and a loop do most of it"
	case "maps":
		return "everything in it is generic; use a loop over the map, and sort.Strings for the keys"
	case "cmp":
		return "everything in it is generic; compare with <, or use strings.Compare"
	case "iter":
		return "everything in it is generic; write func(yield func(T) bool) for an iter.Seq[T]"
	case "os/exec", "plugin":
		return "a notebook does not start other programs"
	case "net", "net/http":
		return "a notebook works without the network; read files with os.ReadFile or record.Read"
	case "os/signal":
		return "signals belong to the kernel; interrupt the cell instead"
	case "flag":
		return "a notebook has no command line; use variables"
	case "testing":
		return "tests need the go command; compare in the cell"
	case "syscall", "unsafe":
		return "it reaches past the interpreter's checks"
	case "C":
		return "there is no C compiler in a notebook"
	}
	return ""
}

// instead names what to use in place of a name that was left out.
func instead(path, name string) string {
	switch path + "." + name {
	case "slices.Sort":
		return "sort.Float64s, sort.Ints or sort.Strings"
	case "slices.SortFunc", "slices.SortStableFunc":
		return "sort.Slice or sort.SliceStable"
	case "slices.BinarySearch", "slices.BinarySearchFunc":
		return "sort.SearchFloat64s, sort.SearchInts, sort.SearchStrings or sort.Search"
	case "slices.IsSorted", "slices.IsSortedFunc":
		return "sort.Float64sAreSorted, sort.IntsAreSorted or sort.SliceIsSorted"
	case "slices.Max", "cmp.Max":
		return "floats.Max of gonum.org/v1/gonum/floats"
	case "slices.Min", "cmp.Min":
		return "floats.Min of gonum.org/v1/gonum/floats"
	case "slices.Reverse":
		return "floats.Reverse of gonum.org/v1/gonum/floats, or a loop"
	case "slices.Equal":
		return "floats.Equal of gonum.org/v1/gonum/floats, or reflect.DeepEqual"
	case "slices.Clone", "slices.Insert", "slices.Delete", "slices.Concat":
		return "append"
	case "slices.Contains", "slices.Index", "slices.ContainsFunc", "slices.IndexFunc":
		return "a loop"
	case "maps.Keys", "maps.Values", "maps.All":
		return "a loop over the map, and sort.Strings for the keys"
	case "maps.Clone", "maps.Copy":
		return "a loop over the map"
	case "maps.Equal":
		return "reflect.DeepEqual"
	case "cmp.Compare":
		return "<, or strings.Compare"
	case "cmp.Less":
		return "<"
	case "errors.AsType":
		return "errors.As"
	case "math/rand/v2.N":
		return "rand.IntN or rand.Int64N"
	case "reflect.TypeFor":
		return "reflect.TypeOf"
	case "reflect.TypeAssert":
		return "Value.Interface and a type assertion"
	case "sync.OnceValue", "sync.OnceValues":
		return "sync.Once"
	case "sync/atomic.Pointer":
		return "atomic.Value"
	}
	return ""
}

// Missing explains why a name that exists in Go cannot be used in a notebook,
// as one line: "slices.Sort is generic, and the interpreter has no generics:
// use sort.Float64s, sort.Ints or sort.Strings". With name "" it explains why
// the package cannot be imported. It returns false for what can be used and
// for what it does not know.
func Missing(path, name string) (hint string, ok bool) {
	if name == "" {
		why := without(path)
		if why == "" {
			return "", false
		}
		return "package " + path + " is not available in a notebook: " + why, true
	}
	why := tables.Left(path, name)
	if why == "" {
		if _, importable := imports.Packages[path]; importable {
			return "", false
		}
		return Missing(path, "")
	}
	hint = lastElement(path) + "." + name
	if why == "generic" {
		hint += " is generic, and the interpreter has no generics"
	} else {
		hint += " is not available: " + why
	}
	if use := instead(path, name); use != "" {
		hint += ": use " + use
	}
	return hint, true
}

// Nearest returns the importable package that a mistaken path most likely
// means: one with the same last element ("units", "gonum/stat"), else one that
// few typing errors lead to. It returns false if none is near.
func Nearest(path string) (nearest string, ok bool) {
	path = strings.Trim(path, "/")
	if path == "" {
		return "", false
	}
	last := lastElement(path)
	var best [2]int
	for _, candidate := range Paths() {
		whole, end := Distance(path, candidate), Distance(last, lastElement(candidate))
		rank := [2]int{0, whole}
		switch {
		case end == 0:
		case whole <= 1+len(path)/6:
			rank[0] = 1
		case end <= max(1, len(last)/4):
			rank[0] = 2
		default:
			continue
		}
		if nearest == "" || slices.Compare(rank[:], best[:]) < 0 {
			best, nearest = rank, candidate
		}
	}
	return nearest, nearest != ""
}

// lastElement is the last element that names something: "rand" for math/rand/v2.
func lastElement(path string) string {
	elements := strings.Split(path, "/")
	last := elements[len(elements)-1]
	if len(elements) > 1 && len(last) == 2 && last[0] == 'v' && last[1] >= '2' && last[1] <= '9' {
		last = elements[len(elements)-2]
	}
	return last
}

// Distance counts the characters to insert, delete, replace or exchange with
// their neighbour to get from a to b (optimal string alignment), upper and lower
// case alike.
func Distance(a, b string) int {
	x, y := []rune(strings.ToLower(a)), []rune(strings.ToLower(b))
	var before, above []int
	row := make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i := range x {
		before, above, row = above, row, make([]int, len(y)+1)
		row[0] = i + 1
		for j := range y {
			cost := 1
			if x[i] == y[j] {
				cost = 0
			}
			row[j+1] = min(above[j+1]+1, row[j]+1, above[j]+cost)
			if i > 0 && j > 0 && x[i] == y[j-1] && x[i-1] == y[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
	}
	return row[len(y)]
}
