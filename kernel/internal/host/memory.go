package host

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// Memory reads an amount of memory such as "4GB", "500 MB" or "2GiB", in bytes.
// "" and "0" mean no limit, 0.
func Memory(s string) (int64, error) {
	if s == "" || s == "0" {
		return 0, nil
	}
	m := amount.FindStringSubmatch(s)
	if m == nil {
		return 0, fmt.Errorf("%q is no amount of memory; write a number and MB, GB, MiB or GiB, such as 4GB", s)
	}
	n, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		return 0, err
	}
	for _, unit := range []struct {
		name  string
		bytes float64
	}{{"mb", 1e6}, {"gb", 1e9}, {"mib", 1 << 20}, {"gib", 1 << 30}} {
		if strings.EqualFold(m[2], unit.name) {
			n *= unit.bytes
		}
	}
	if n < leastMemory || n > 1<<50 {
		return 0, fmt.Errorf("%q: a limit must be from %d MB to 1000 TB; without one, leave it out", s, int(leastMemory/1e6))
	}
	return int64(n), nil
}

// memoryLimit returns the limit that an engine has by its environment; 0 means none.
func memoryLimit(env []string) int64 {
	n := int64(0)
	for _, v := range env {
		if limit, ok := strings.CutPrefix(v, MemoryEnv+"="); ok {
			n, _ = Memory(limit) // an engine does not start with one that makes no sense
		}
	}
	return n
}

// leastMemory is what the engine and a bit of data need.
const leastMemory = 100e6

var amount = regexp.MustCompile(`(?i)^(\d+(?:\.\d+)?) ?([mg]i?b)$`)

// MemoryText writes an amount in the largest unit of 1000 that fits.
func MemoryText(bytes int64) string {
	n, unit := float64(bytes)/1e6, "MB"
	if n >= 1000 {
		n, unit = n/1000, "GB"
	}
	return strconv.FormatFloat(n, 'g', 4, 64) + " " + unit
}
