package steps

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// A moving median whose window holds all is the median: the middle of the sorted
// values, or the mean of the two in the middle.
func TestMedian(t *testing.T) {
	for n := 1; n < 40; n++ {
		r := rand.New(rand.NewPCG(uint64(n), 1))
		v := make([]float64, n)
		for i := range v {
			v[i] = float64(r.IntN(10))
		}
		moving := movingMedian(v, n)[n/2]
		slices.Sort(v)
		want := v[n/2]
		if n%2 == 0 {
			want = (v[n/2-1] + v[n/2]) / 2
		}
		if got := Median(v); got != want || moving != want {
			t.Errorf("median of %v: %v, moving %v, by sorting %v", v, got, moving, want)
		}
	}
}
