package fit

import (
	"bufio"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// readLinear reads a file of testdata/nist_linear; see its README.
func readLinear(t *testing.T, name string) (values, stdErrs, y []float64, x [][]float64) {
	t.Helper()
	f, err := os.Open("testdata/nist_linear/" + name + ".txt")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for lines := bufio.NewScanner(f); lines.Scan(); {
		words := strings.Fields(lines.Text())
		if words[0] != "b" && words[0] != "d" {
			continue
		}
		var row []float64
		for _, w := range words[1:] {
			v, err := strconv.ParseFloat(w, 64)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			row = append(row, v)
		}
		if words[0] == "b" {
			values, stdErrs = append(values, row[0]), append(stdErrs, row[1])
		} else {
			y, x = append(y, row[0]), append(x, row[1:])
		}
	}
	return values, stdErrs, y, x
}

// TestNISTLinear wants 9 right digits of coefficients and errors; Filip, whose
// powers of x have a condition number of 1e10 even when scaled, can keep 6.
func TestNISTLinear(t *testing.T) {
	for _, tc := range []struct {
		name   string
		degree int
		want   float64
	}{{"Norris", 1, 9}, {"Pontius", 2, 9}, {"Longley", 0, 9}, {"Filip", 10, 6}} {
		values, stdErrs, y, x := readLinear(t, tc.name)
		var r Result
		var err error
		if tc.degree > 0 {
			one := make([]float64, len(x))
			for i := range x {
				one[i] = x[i][0]
			}
			r, err = Polynomial(one, y, tc.degree)
		} else {
			l := Linear{Y: y}
			for k := range values {
				l.Names = append(l.Names, "b"+strconv.Itoa(k))
			}
			for _, row := range x {
				l.Design = append(l.Design, append([]float64{1}, row...))
			}
			r, err = l.Fit()
		}
		if err != nil {
			t.Errorf("%s: %v", tc.name, err)
			continue
		}
		got := [2]float64{11, 11}
		for k, e := range r.Params {
			got[0] = math.Min(got[0], digits(e.Value, values[k]))
			got[1] = math.Min(got[1], digits(e.StdErr, stdErrs[k]))
		}
		t.Logf("%-8s right digits: %.1f of coefficients, %.1f of standard errors; %v", tc.name, got[0], got[1], r.Status)
		if !r.Converged() || got[0] < tc.want || got[1] < tc.want {
			t.Errorf("%s: %v with %.1f and %.1f right digits, want %v", tc.name, r.Status, got[0], got[1], tc.want)
		}
	}
}
