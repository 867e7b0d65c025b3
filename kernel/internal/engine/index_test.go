package engine_test

import "testing"

// Errors of indices have Go's words, with the index and the length.
func TestIndexErrors(t *testing.T) {
	nb := open(t)
	nb.want("xs, i, m, text := make([]float64, 3), 5, [3]int{}, \"abc\"\ntype bed struct{ h []float64 }\nbeds, grid, byName := []bed{{xs}}, [][]int{{1, 2}, {3}}, map[string][]int{\"a\": {1}}\nfunc nine() int { return 9 }\nfunc early(k int) int {\n\tfor j := range 3 {\n\t\tz := j + k\n\t\tgrid[0][z] += 0\n\t}\n\treturn 0\n}")
	for _, tc := range []struct{ code, want string }{
		{"xs[i]", "index out of range [5] with length 3"},
		{"xs[i-7]", "index out of range [-2]"},
		{"m[i] = 3", "index out of range [5] with length 3"},
		{"p := &m\np[i]", "index out of range [5] with length 3"},
		{"text[i]", "index out of range [5] with length 3"},
		{"beds[0].h[len(xs)]", "index out of range [3] with length 3"},
		{"byName[\"a\"][1]", "index out of range [1] with length 1"},
		{"byName[\"b\"][0]", "index out of range [0] with length 0"},
		{"if i > 0 && xs[i] > 2 { println(1) }", "index out of range [5] with length 3"},
		{"for k := 0; k <= len(xs); k++ {\n\tif xs[k] > 5 { println(k) }\n}", "index out of range [3] with length 3"},
		{"for _, row := range grid {\n\tfor c := range 2 {\n\t\trow[c]++\n\t}\n}", "index out of range [1] with length 1"},
		{"func() { f := func(q int) float64 { return xs[q+i] }; f(1) }()", "index out of range [6] with length 3"},
		{"early(0)", "index out of range [2] with length 2"},
		{"early(1)", "index out of range [2] with length 2"},
		{"xs[1:i]", "slice bounds out of range [:5] with capacity 3"},
		{"text[i-1:2]", "slice bounds out of range [4:2]"},
		{"text[:i]", "slice bounds out of range [:5] with length 3"},
		{"xs[nine()]", "index out of range"}, // which could be another one the next time
	} {
		if _, r := nb.run(tc.code); r.Failure == nil || r.Failure.Name != "panic" || r.Failure.Message != tc.want {
			t.Errorf("%s\nends with %v\nwant      %s", tc.code, r.Failure, tc.want)
		}
	}
}
