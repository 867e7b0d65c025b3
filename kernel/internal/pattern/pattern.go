// Package pattern has regular expressions that are compiled when they are first
// used. Both processes of a kernel start often and use few of them.
package pattern

import (
	"regexp"
	"sync"
)

// New returns a function that returns the compiled expression. It panics if
// the expression is wrong.
func New(expr string) func() *regexp.Regexp {
	return sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(expr) })
}
