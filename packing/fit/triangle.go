package fit

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// blockRows is how many rows of a matrix are reduced at once, few enough to
// stay in the processor's nearest memory.
const blockRows = 256

// A triangle is R of the factorization QR of a matrix [A b] whose rows come in
// blocks. Its last column holds Qᵀb and, at the bottom, what of b lies outside
// A's columns.
type triangle struct {
	n int       // columns of A
	r []float64 // (n+1) x (n+1) by rows
}

func newTriangle(n int) *triangle { return &triangle{n, make([]float64, (n+1)*(n+1))} }

func (t *triangle) reset() { clear(t.r) }

func (t *triangle) at(i, j int) float64 { return t.r[i*(t.n+1)+j] }

// right returns Qᵀb.
func (t *triangle) right(i int) float64 { return t.at(i, t.n) }

// add reduces more rows by Householder reflections. A is given by columns of m
// rows each, one after the other; both are overwritten.
func (t *triangle) add(a, b []float64) {
	m := len(b)
	for from := 0; from < m; from += blockRows {
		to := min(from+blockRows, m)
		column := func(j int) []float64 {
			if j == t.n {
				return b[from:to]
			}
			return a[j*m+from : j*m+to]
		}
		for j := 0; j <= t.n; j++ {
			c := column(j)
			below := floats.Dot(c, c)
			if below == 0 {
				continue
			}
			row := t.r[j*(t.n+1):]
			top := row[j]
			length := math.Sqrt(top*top + below)
			if top > 0 {
				length = -length
			}
			v := top - length // of the reflection's vector (v, c)
			scale := 2 / (v*v + below)
			row[j] = length
			for k := j + 1; k <= t.n; k++ {
				d := column(k)
				s := scale * (v*row[k] + floats.Dot(c, d))
				row[k] -= s * v
				floats.AddScaled(d, -s, c)
			}
		}
	}
}

// norm returns the length of A's column j.
func (t *triangle) norm(j int) float64 {
	s := 0.0
	for i := 0; i <= j; i++ {
		s = math.Hypot(s, t.at(i, j))
	}
	return s
}
