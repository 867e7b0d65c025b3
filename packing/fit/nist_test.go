package fit

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// The certified values and data are the files of testdata/nist, U.S. National
// Institute of Standards and Technology, Statistical Reference Datasets,
// nonlinear regression; see its README. The models are written after the files'
// headers.

// A nistModel is f and its derivatives.
type nistModel struct {
	f func(x float64, b []float64) float64
	g func(x float64, b, g []float64)
}

// exponentials is a sum of b e^(-cx).
var exponentials = nistModel{
	func(x float64, b []float64) float64 {
		s := 0.0
		for k := 0; k < len(b); k += 2 {
			s += b[k] * math.Exp(-b[k+1]*x)
		}
		return s
	},
	func(x float64, b, g []float64) {
		for k := 0; k < len(b); k += 2 {
			e := math.Exp(-b[k+1] * x)
			g[k], g[k+1] = e, -b[k]*x*e
		}
	},
}

var twoGaussians = nistModel{
	func(x float64, b []float64) float64 {
		gauss := func(h, m, w float64) float64 { return h * math.Exp(-(x-m)*(x-m)/(w*w)) }
		return b[0]*math.Exp(-b[1]*x) + gauss(b[2], b[3], b[4]) + gauss(b[5], b[6], b[7])
	},
	func(x float64, b, g []float64) {
		e := math.Exp(-b[1] * x)
		g[0], g[1] = e, -b[0]*x*e
		for k := 2; k < 8; k += 3 {
			u, w := x-b[k+1], b[k+2]
			e := math.Exp(-u * u / (w * w))
			g[k], g[k+1], g[k+2] = e, b[k]*e*2*u/(w*w), b[k]*e*2*u*u/(w*w*w)
		}
	},
}

var chwirut = nistModel{
	func(x float64, b []float64) float64 { return math.Exp(-b[0]*x) / (b[1] + b[2]*x) },
	func(x float64, b, g []float64) {
		d := b[1] + b[2]*x
		f := math.Exp(-b[0]*x) / d
		g[0], g[1], g[2] = -x*f, -f/d, -x*f/d
	},
}

var saturation = nistModel{
	func(x float64, b []float64) float64 { return b[0] * (1 - math.Exp(-b[1]*x)) },
	func(x float64, b, g []float64) {
		e := math.Exp(-b[1] * x)
		g[0], g[1] = 1-e, b[0]*x*e
	},
}

var nistModels = map[string]nistModel{
	"Misra1a": saturation, "BoxBOD": saturation,
	"Misra1b": {
		func(x float64, b []float64) float64 { return b[0] * (1 - math.Pow(1+b[1]*x/2, -2)) },
		func(x float64, b, g []float64) {
			q := 1 + b[1]*x/2
			g[0], g[1] = 1-1/(q*q), b[0]*x/(q*q*q)
		},
	},
	"Misra1c": {
		func(x float64, b []float64) float64 { return b[0] * (1 - math.Pow(1+2*b[1]*x, -0.5)) },
		func(x float64, b, g []float64) {
			q := 1 + 2*b[1]*x
			g[0], g[1] = 1-math.Pow(q, -0.5), b[0]*x*math.Pow(q, -1.5)
		},
	},
	"Misra1d": {
		func(x float64, b []float64) float64 { return b[0] * b[1] * x / (1 + b[1]*x) },
		func(x float64, b, g []float64) {
			q := 1 + b[1]*x
			g[0], g[1] = b[1]*x/q, b[0]*x/(q*q)
		},
	},
	"Chwirut1": chwirut, "Chwirut2": chwirut,
	"Lanczos1": exponentials, "Lanczos2": exponentials, "Lanczos3": exponentials,
	"Gauss1": twoGaussians, "Gauss2": twoGaussians, "Gauss3": twoGaussians,
	"DanWood": {
		func(x float64, b []float64) float64 { return b[0] * math.Pow(x, b[1]) },
		func(x float64, b, g []float64) {
			g[0] = math.Pow(x, b[1])
			g[1] = b[0] * g[0] * math.Log(x)
		},
	},
	"MGH09": {
		func(x float64, b []float64) float64 { return b[0] * (x*x + x*b[1]) / (x*x + x*b[2] + b[3]) },
		func(x float64, b, g []float64) {
			n, d := x*x+x*b[1], x*x+x*b[2]+b[3]
			g[0], g[1], g[2], g[3] = n/d, b[0]*x/d, -b[0]*n*x/(d*d), -b[0]*n/(d*d)
		},
	},
	"MGH10": {
		func(x float64, b []float64) float64 { return b[0] * math.Exp(b[1]/(x+b[2])) },
		func(x float64, b, g []float64) {
			q := x + b[2]
			e := math.Exp(b[1] / q)
			g[0], g[1], g[2] = e, b[0]*e/q, -b[0]*e*b[1]/(q*q)
		},
	},
	"Thurber": {
		func(x float64, b []float64) float64 {
			return (b[0] + x*(b[1]+x*(b[2]+x*b[3]))) / (1 + x*(b[4]+x*(b[5]+x*b[6])))
		},
		func(x float64, b, g []float64) {
			n, d := b[0]+x*(b[1]+x*(b[2]+x*b[3])), 1+x*(b[4]+x*(b[5]+x*b[6]))
			q := n / (d * d)
			g[0], g[1], g[2], g[3] = 1/d, x/d, x*x/d, x*x*x/d
			g[4], g[5], g[6] = -q*x, -q*x*x, -q*x*x*x
		},
	},
	"Rat42": {
		func(x float64, b []float64) float64 { return b[0] / (1 + math.Exp(b[1]-b[2]*x)) },
		func(x float64, b, g []float64) {
			e := math.Exp(b[1] - b[2]*x)
			q := b[0] * e / ((1 + e) * (1 + e))
			g[0], g[1], g[2] = 1/(1+e), -q, q*x
		},
	},
	"Eckerle4": {
		func(x float64, b []float64) float64 {
			u := (x - b[2]) / b[1]
			return b[0] / b[1] * math.Exp(-u*u/2)
		},
		func(x float64, b, g []float64) {
			u := (x - b[2]) / b[1]
			e := math.Exp(-u*u/2) / b[1]
			g[0], g[1], g[2] = e, b[0]*e*(u*u-1)/b[1], b[0]*e*u/b[1]
		},
	},
	"Bennett5": {
		func(x float64, b []float64) float64 { return b[0] * math.Pow(b[1]+x, -1/b[2]) },
		func(x float64, b, g []float64) {
			q := b[1] + x
			g[0] = math.Pow(q, -1/b[2])
			g[1] = -b[0] / b[2] * g[0] / q
			g[2] = b[0] * g[0] * math.Log(q) / (b[2] * b[2])
		},
	},
}

// A nistSet is one file.
type nistSet struct {
	name              string
	starts            [2][]float64
	values, stdErrs   []float64
	rss, residual     float64
	degrees, observed int
	x, y              []float64
}

func readNIST(t *testing.T, file string) nistSet {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	s := nistSet{name: strings.TrimSuffix(filepath.Base(file), ".dat")}
	parameter := regexp.MustCompile(`^\s*b\d+ =\s+(\S+)\s+(\S+)\s+(\S+)\s+(\S+)`)
	number := func(text string) float64 {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		return v
	}
	lines := bufio.NewScanner(f)
	for n := 1; lines.Scan(); n++ {
		line := lines.Text()
		words := strings.Fields(line)
		last := func() float64 { return number(words[len(words)-1]) }
		switch m := parameter.FindStringSubmatch(line); {
		case m != nil:
			s.starts[0] = append(s.starts[0], number(m[1]))
			s.starts[1] = append(s.starts[1], number(m[2]))
			s.values = append(s.values, number(m[3]))
			s.stdErrs = append(s.stdErrs, number(m[4]))
		case strings.HasPrefix(line, "Residual Sum of Squares"):
			s.rss = last()
		case strings.HasPrefix(line, "Residual Standard Deviation"):
			s.residual = last()
		case strings.HasPrefix(line, "Degrees of Freedom"):
			s.degrees = int(last())
		case strings.HasPrefix(line, "Number of Observations"):
			s.observed = int(last())
		case n > 60 && len(words) == 2:
			s.y, s.x = append(s.y, number(words[0])), append(s.x, number(words[1]))
		}
	}
	if len(s.values) == 0 || len(s.x) != s.observed {
		t.Fatalf("%s: %d parameters and %d of %d points were read", file, len(s.values), len(s.x), s.observed)
	}
	return s
}

// digits is the log relative error, the number of right digits, at most the 11
// that are certified.
func digits(got, want float64) float64 {
	if math.IsNaN(got) {
		return math.Inf(-1)
	}
	return math.Min(11, -math.Log10(math.Abs(got-want)/math.Abs(want)))
}

// A nistFit is one row of the table.
type nistFit struct {
	set          nistSet
	r            Result
	values, errs float64 // fewest right digits
	residual     float64
}

func fitNIST(t *testing.T, s nistSet, start int, numerical bool) nistFit {
	t.Helper()
	model := nistModels[s.name]
	c := Curve{Model: model.f, Gradient: model.g, X: s.x, Y: s.y}
	if numerical {
		c.Gradient = nil
	}
	for k, v := range s.starts[start-1] {
		c.Params = append(c.Params, Param{Name: fmt.Sprintf("b%d", k+1), Start: v})
	}
	r, err := c.Fit()
	if err != nil {
		t.Fatalf("%s: %v", s.name, err)
	}
	f := nistFit{s, r, 11, 11, digits(r.ResidualSD, s.residual)}
	for k, e := range r.Params {
		f.values = math.Min(f.values, digits(e.Value, s.values[k]))
		f.errs = math.Min(f.errs, digits(e.StdErr, s.stdErrs[k]))
	}
	return f
}

func (f nistFit) String() string {
	return fmt.Sprintf("%5.1f %5.1f %5.1f %5d  %-15s", f.values, f.errs, f.residual, f.r.Iterations, f.r.Status)
}

// TestNIST fits every set from both starts, with the derivatives written out and
// with central differences. Right digits wanted: 6 of every parameter and 4 of
// every standard error from start 2. Lanczos1 has parameters only: its certified
// residuals, 1e-13 of the data, are the rounding of the printed numbers.
func TestNIST(t *testing.T) {
	files, err := filepath.Glob("testdata/nist/*.dat")
	if err != nil || len(files) != 20 {
		t.Fatalf("%d files, want 20 (%v)", len(files), err)
	}
	for _, start := range []int{1, 2} {
		t.Logf("start %d: right digits of parameters, standard errors, residual standard deviation; iterations; status", start)
		t.Logf("%-9s %-40s %s", "", "written derivatives", "central differences")
		failed := [2][]string{}
		for _, file := range files {
			s := readNIST(t, file)
			fits := [2]nistFit{fitNIST(t, s, start, false), fitNIST(t, s, start, true)}
			t.Logf("%-9s %v %v", s.name, fits[0], fits[1])
			for k, f := range fits {
				kind := []string{"written derivatives", "central differences"}[k]
				good := f.values >= 6 && (f.errs >= 4 || s.name == "Lanczos1") && f.r.Status == Converged
				if !good {
					failed[k] = append(failed[k], fmt.Sprintf("%s (%v: %s)", s.name, f.r.Status, f.r.Reason))
				}
				if f.r.Status == Converged && (f.values < 4 || f.errs < 4 && s.name != "Lanczos1") {
					t.Errorf("%s from start %d, %s: said to have converged with %.1f right digits of the parameters and %.1f of the errors",
						s.name, start, kind, f.values, f.errs)
				}
				if f.r.DegreesOfFreedom != s.degrees {
					t.Errorf("%s: %d degrees of freedom, certified %d", s.name, f.r.DegreesOfFreedom, s.degrees)
				}
				if good && s.name != "Lanczos1" && (f.residual < 6 || digits(f.r.RSS, s.rss) < 6) {
					t.Errorf("%s: RSS %v, certified %v", s.name, f.r.RSS, s.rss)
				}
			}
		}
		for k, names := range failed {
			kind := []string{"written derivatives", "central differences"}[k]
			t.Logf("start %d, %s: %d of %d; not: %s", start, kind, len(files)-len(names), len(files), strings.Join(names, "; "))
			if most := []int{4, 0}[start-1]; len(names) > most {
				t.Errorf("start %d, %s: %d sets failed, at most %d may: %s", start, kind, len(names), most, strings.Join(names, "; "))
			}
		}
	}
}
