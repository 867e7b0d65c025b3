package check

import "testing"

func TestPowers(t *testing.T) {
	for code, want := range map[string]int{
		"n := 4; _ = n ^ 2": 1, "n := 4; _ = (n+1)^3": 1, "_ = 10^6": 1, "_ = 2^8": 1, "_ = []int{1}[0]^2": 1,
		"n := 4; _ = n ^ 1": 0, "n := 4; _ = n ^ 0x2": 0, "n, m := 4, 2; _ = n ^ m": 0, "_ = 5 ^ 3": 0, "_ = 0x5 ^ 2": 0, "n := 4; _ = ^n ^ 2": 0, "n := 4; _ = n>>1 ^ 2": 0,
		"type bits int\n---\nvar b bits; _ = b ^ 2": 0,
	} {
		nb := open(t)
		if c := nb.check(code); len(c.Problems) != want {
			t.Errorf("%s: %v", code, c.Problems)
		}
	}
}
