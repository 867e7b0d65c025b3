package efficiency

import (
	"fmt"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/packing"
)

// Purposes returns why pulse tests are made, as [Pulse].Purpose takes them.
func Purposes() []string {
	return []string{"after packing", "periodic", "before cleaning", "after cleaning", "before sanitising", "after sanitising",
		"after storage", "after moving", "after adapter", "investigation"}
}

// checkPurpose refuses a purpose that is none.
func checkPurpose(purpose string) error {
	if purpose == "" || slices.Contains(Purposes(), purpose) {
		return nil
	}
	return &packing.InputError{What: fmt.Sprintf("purpose %q", purpose), Problem: "not one of the purposes of a test",
		Remedy: fmt.Sprintf("write one of \"%s\"", strings.Join(Purposes(), `", "`))}
}
