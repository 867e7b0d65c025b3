package efficiency

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/trace"
)

// A coverage case is a shape with a level and a correlation of noise.
type coverageCase struct {
	shape string
	f     func(x float64) float64
	n     int     // points over 80 minutes
	noise float64 // standard deviation of a sample over the height
	lag   float64 // correlation of neighbouring samples
}

const coverageEnd = 4800.0 // s

func bell(x, at, sd float64) float64 { z := (x - at) / sd; return math.Exp(-z * z / 2) }

// coverageCases returns six shapes with three levels of noise, and five of them
// with noise from a detector that is slower than its samples.
func coverageCases() []coverageCase {
	shapes := []coverageCase{
		{shape: "Gaussian", n: 1201, f: func(x float64) float64 { return bell(x, 2401.3, 86) }},
		{shape: "tail, τ = σ", n: 1201, f: func(x float64) float64 { return made.EMG(x, 2400, 70, 70) }},
		{shape: "tail, τ = 2σ", n: 1201, f: func(x float64) float64 { return made.EMG(x, 2300, 60, 120) }},
		{shape: "front, τ = σ", n: 1201, f: func(x float64) float64 { return made.EMG(coverageEnd-x, 2400, 70, 70) }},
		{shape: "shoulder", n: 1201, f: func(x float64) float64 { return bell(x, 2300, 80) + 0.7*bell(x, 2500, 80) }},
		{shape: "few points", n: 281, f: func(x float64) float64 { return bell(x, 2405, 90) }},
	}
	var all []coverageCase
	for _, s := range shapes {
		for _, s.noise = range []float64{0.001, 0.01, 0.03} {
			all = append(all, s)
		}
	}
	for _, s := range shapes[:5] {
		s.noise, s.lag = 0.01, 0.6
		all = append(all, s)
	}
	return all
}

// coverageNumbers are the numbers whose intervals are tested; the first three
// in every case.
var coverageNumbers = []string{"N", "As", "M1", "S", "N by moments"}

func coverageFields() []string {
	return []string{"Plates", "Asymmetry", "Moments.Mean", "SymmetryFactor", "PlatesMoments"}
}

// leastCoverage is what the intervals of S and N by moments must hold. A
// crossing at 5 % in a flat tail scatters more to the outside, and correlation
// is known from the quiet points only, so that S has 93 % there.
const leastCoverage = 0.93

// notReliable names what says of its interval that it is not reliable, and why.
// Of N, As and M1 there are two.
func notReliable() map[string]string {
	crossed := "noise may cross 5 % of the height outside the peak, and the outermost crossing is taken"
	limits := "its limits come from the crossings at 5 %, which noise may move far out"
	return map[string]string{
		"few points 3 % As": "without smoothing, noise crosses 10 % of the height outside the peak, and the outermost crossing is taken",
		"few points 3 % M1": "every other trace has no M1: its limits come from the crossings at 5 %, which noise moves to the ends of the trace, and the signal lies below the baseline for too long",

		"Gaussian 3 % S": crossed, "tail, τ = σ 3 % S": crossed, "tail, τ = 2σ 3 % S": crossed,
		"front, τ = σ 3 % S": crossed, "shoulder 3 % S": crossed, "few points 3 % S": crossed,
		"Gaussian 3 % N by moments": limits, "tail, τ = σ 3 % N by moments": limits, "tail, τ = 2σ 3 % N by moments": limits,
		"front, τ = σ 3 % N by moments": limits, "shoulder 3 % N by moments": limits, "few points 3 % N by moments": limits,
	}
}

// A tally counts what became of a number in the traces of a case.
type tally struct {
	given   int // a value
	doubted int // a value whose interval is said not to be reliable
	held    int // an interval that holds the truth
	narrow  int // one that does when it is a fifth narrower
}

// run evaluates seeded traces of a case, each with so many resampled ones.
func (c coverageCase) run(t *testing.T, seed uint64, traces, resampled int) [5]tally {
	step := coverageEnd / float64(c.n-1)
	x, clean, y := make([]float64, c.n), make([]float64, c.n), make([]float64, c.n)
	top := 0.0
	for i := range x {
		x[i] = step * float64(i)
		clean[i] = c.f(x[i])
		top = math.Max(top, clean[i])
	}
	for i := range clean {
		clean[i] *= 50 / top
	}
	quiet, err := trace.Make("UV", "mAU", trace.Time, x, clean)
	if err != nil {
		t.Fatal(err)
	}
	truths := map[int]PulseResult{} // by smoothing window
	random := rand.New(rand.NewPCG(seed, uint64(traces)))
	var tallies [5]tally
	for range traces {
		e := random.NormFloat64()
		for i := range y {
			e = c.lag*e + math.Sqrt(1-c.lag*c.lag)*random.NormFloat64()
			y[i] = clean[i] + 50*c.noise*e
		}
		tr, err := trace.Make("UV", "mAU", trace.Time, x, y)
		if err != nil {
			t.Fatal(err)
		}
		p := test04()
		p.Bootstrap = Bootstrap{Traces: resampled, Seed: random.Uint64()}
		r, err := p.Evaluate(tr)
		if err != nil {
			continue // refused: no value
		}
		// The truth: the same smoothing window, quiet stretches and limits of
		// the moments, of the trace without noise.
		truth, ok := truths[r.SmoothingWindow]
		if !ok {
			p := test04()
			p.Smoothing.Window = r.SmoothingWindow
			truth = evaluate(t, p, quiet)
			truths[r.SmoothingWindow] = truth
		}
		if truth.Baseline.Before != r.Baseline.Before || truth.Baseline.After != r.Baseline.After {
			t.Fatalf("quiet stretches %v, %v with noise and %v, %v without", r.Baseline.Before, r.Baseline.After, truth.Baseline.Before, truth.Baseline.After)
		}
		if !math.IsNaN(r.Moments.Mean) {
			if truth.Moments, err = truth.momentsWithin(r.Moments.Range); err != nil {
				t.Fatal(err)
			}
		}
		list := r.Uncertainty()
		at := truth.measured()
		for k, name := range coverageFields() {
			u, err := list.Of(name)
			if err != nil {
				t.Fatal(err)
			}
			if math.IsNaN(u.Value) {
				continue
			}
			n := &tallies[k]
			n.given++
			if !u.Reliable() {
				n.doubted++
			}
			var want float64
			for _, f := range truth.functions() {
				if f.name == name {
					want = f.of(&truth, at)
				}
			}
			if u.Low <= want && want <= u.High {
				n.held++
			}
			scale := math.Pow(u.High/u.Low, 0.1) // a fifth of half the interval's logarithm
			if u.Low*scale <= want && want <= u.High/scale {
				n.narrow++
			}
		}
	}
	return tallies
}

// TestCoverage counts how often the 95 % intervals hold what they are about: an
// exact binomial test must not find another probability than 0.95 at p = 1e-4,
// for S and N by moments less than leastCoverage.
// COVERAGE_TRACES=2000 makes so many traces a case and writes the table
// (`make coverage`). Noise, shapes and seeds are invented.
func TestCoverage(t *testing.T) {
	traces, write := coverageTraces(t, 300)
	cases := coverageCases()
	results := make([][5]tally, len(cases))
	t.Run("cases", func(t *testing.T) {
		for i, c := range cases {
			t.Run(fmt.Sprintf("%s %g %% lag %g", c.shape, 100*c.noise, c.lag), func(t *testing.T) {
				t.Parallel()
				results[i] = c.run(t, uint64(i+1), traces, 0)
			})
		}
	})
	named := notReliable()
	said, tooNarrow, judged := 0, 0, 0
	for i, c := range cases {
		for k, n := range results[i] {
			number := coverageNumbers[k]
			name := fmt.Sprintf("%s %g %% %s", c.shape, 100*c.noise, number)
			if c.lag > 0 {
				name += " correlated"
			}
			doubt := n.doubtful(traces)
			if _, ok := named[name]; ok != doubt {
				t.Errorf("%s: named as not reliable: %v; %d of %d traces without a value, %d doubted", name, ok, traces-n.given, traces, n.doubted)
			}
			delete(named, name)
			if doubt {
				if k < 3 {
					said++
				}
				continue
			}
			probability := 0.95
			if k >= 3 { // beside the three, a little less is good enough
				probability = math.Max(leastCoverage, math.Min(0.95, float64(n.held)/float64(n.given)))
			}
			if p := binomialTest(n.held, n.given, probability); p < 1e-4 {
				t.Errorf("%s: %d of %d intervals hold the truth, p = %.2g", name, n.held, n.given, p)
			}
			judged++
			if binomialTest(n.narrow, n.given, 0.95) < 1e-4 {
				tooNarrow++
			}
		}
	}
	for name := range named {
		t.Errorf("%q is named as not reliable, but is no case", name)
	}
	if said > 6 {
		t.Errorf("%d of 54 intervals of N, As and M1 are said not to be reliable; 6 are enough", said)
	}
	// The test can fail: intervals a fifth narrower hold 88 %.
	if 2*tooNarrow < judged {
		t.Errorf("of intervals a fifth too narrow only %d cases of %d fail", tooNarrow, judged)
	}
	if write {
		text := fmt.Sprintf("# Coverage of the 95 %% intervals\n\nWritten by `make coverage`: %d seeded traces a case, invented; first-order intervals of `Pulse.Evaluate` with its default baseline and smoothing. A cell has the share of intervals that hold the number which the same evaluation, with the same smoothing window, quiet stretches and limits of the moments, gives without noise; in brackets the p-value of the exact binomial test of 0.95. Noise is the standard deviation of a sample over the height. The peaks have 50 to 90 points above half height, \"few points\" has 12. A value that was not given does not count; where one in five is missing or doubted by the result itself, the cell says so.\n\n", traces) +
			coverageTable(cases, results, traces) + "\nNot reliable, and why:\n\n"
		named := notReliable()
		for _, c := range cases {
			for _, number := range coverageNumbers {
				name := fmt.Sprintf("%s %g %% %s", c.shape, 100*c.noise, number)
				if why := named[name]; why != "" && c.lag == 0 {
					text += fmt.Sprintf("- %s: %s\n", name, why)
				}
			}
		}
		writeCoverage(t, "coverage.md", text)
	}
}

// TestBootstrapCoverage does the same with resampled traces, at 3 % of noise. An
// interval between percentiles of a few hundred holds a little less.
func TestBootstrapCoverage(t *testing.T) {
	traces, write := coverageTraces(t, 40)
	traces = min(traces, 500)
	const resampled = 200
	var cases []coverageCase
	for _, c := range coverageCases() {
		if c.noise == 0.03 {
			cases = append(cases, c)
		}
	}
	results := make([][5]tally, len(cases))
	t.Run("cases", func(t *testing.T) {
		for i, c := range cases {
			t.Run(c.shape, func(t *testing.T) {
				t.Parallel()
				results[i] = c.run(t, uint64(i+101), traces, resampled)
			})
		}
	})
	for i, c := range cases {
		for k, n := range results[i] {
			if n.doubtful(traces) {
				if k == 0 || k == 1 && c.n > 1000 {
					t.Errorf("%s, %s: %d of %d not given, %d doubted", c.shape, coverageNumbers[k], traces-n.given, traces, n.doubted)
				}
				continue
			}
			probability := math.Max(leastCoverage, math.Min(0.95, float64(n.held)/float64(n.given)))
			if p := binomialTest(n.held, n.given, probability); p < 1e-4 {
				t.Errorf("%s, %s: %d of %d intervals hold the truth, p = %.2g", c.shape, coverageNumbers[k], n.held, n.given, p)
			}
		}
	}
	if write {
		text := fmt.Sprintf("# Coverage of the 95 %% intervals of a bootstrap\n\nWritten by `make coverage`: %d seeded traces a case with %d resampled ones for each; else as in `coverage.md`.\n\n", traces, resampled)
		writeCoverage(t, "coverage_bootstrap.md", text+coverageTable(cases, results, traces))
	}
}

// coverageTraces returns how many traces a case are asked for, and whether the
// table is.
func coverageTraces(t *testing.T, usual int) (traces int, write bool) {
	asked := os.Getenv("COVERAGE_TRACES")
	if asked == "" {
		return usual, false
	}
	traces, err := strconv.Atoi(asked)
	if err != nil || traces < 100 {
		t.Fatalf("COVERAGE_TRACES=%q; give a number of at least 100", asked)
	}
	return traces, true
}

func writeCoverage(t *testing.T, file, text string) {
	if err := os.WriteFile(filepath.Join("testdata", file), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// doubtful reports whether a case is not reliable by its own word: one trace in
// five says so, or has no value.
func (n tally) doubtful(traces int) bool { return 5*(n.doubted+traces-n.given) > traces }

func coverageTable(cases []coverageCase, results [][5]tally, traces int) string {
	var b strings.Builder
	fmt.Fprintf(&b, "| shape | noise | correlation of neighbours | %s |\n|%s\n", strings.Join(coverageNumbers, " | "), strings.Repeat(" --- |", 3+len(coverageNumbers)))
	for i, c := range cases {
		fmt.Fprintf(&b, "| %s | %g %% | %g |", c.shape, 100*c.noise, c.lag)
		for _, n := range results[i] {
			cell := fmt.Sprintf("%.1f %% (%.2g)", 100*float64(n.held)/float64(n.given), binomialTest(n.held, n.given, 0.95))
			if n.doubtful(traces) {
				cell = fmt.Sprintf("not reliable: %.0f %%", 100*float64(n.held)/float64(n.given))
			}
			if missing := traces - n.given; missing > 0 {
				cell += fmt.Sprintf(", %d not given", missing)
			}
			fmt.Fprintf(&b, " %s |", cell)
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// binomialTest returns the exact two-sided p-value of held successes in n
// trials: the chance of all outcomes that are not likelier.
func binomialTest(held, n int, probability float64) float64 {
	gamma := func(x float64) float64 { v, _ := math.Lgamma(x); return v }
	chance := func(k int) float64 {
		return math.Exp(gamma(float64(n+1)) - gamma(float64(k+1)) - gamma(float64(n-k+1)) +
			float64(k)*math.Log(probability) + float64(n-k)*math.Log(1-probability))
	}
	most := chance(held) * (1 + 1e-7)
	p := 0.0
	for k := range n + 1 {
		if c := chance(k); c <= most {
			p += c
		}
	}
	return math.Min(1, p)
}

func TestBinomialTest(t *testing.T) {
	f, err := os.Open("testdata/binomtest.csv") // SciPy's
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 10 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, row := range rows[1:] {
		var v [4]float64
		for i, s := range row {
			if v[i], err = strconv.ParseFloat(s, 64); err != nil {
				t.Fatal(err)
			}
		}
		near(t, fmt.Sprintf("%s of %s at %s", row[0], row[1], row[2]), binomialTest(int(v[0]), int(v[1]), v[2]), v[3], 1e-8*v[3], "scipy.stats.binomtest; rounding of the logarithms")
	}
}
