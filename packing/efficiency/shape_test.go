package efficiency

import (
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/trace"
)

// shapes are traces with the findings that they must show. The thresholds are
// common practice, no source; the traces stand on both sides of them.
func shapes() []struct {
	name string
	f    func(x float64) float64
	want []string
} {
	bump := func(at, height, sigma float64) func(x float64) float64 {
		return func(x float64) float64 {
			z := (x - retention04 - at) / sigma
			return gaussian(x) + height*math.Exp(-z*z/2)
		}
	}
	emg := func(sigma, tau float64) func(x float64) float64 {
		return func(x float64) float64 { return 1e4 * made.EMG(x, retention04-40, sigma, tau) }
	}
	mirrored := func(f func(x float64) float64) func(x float64) float64 {
		return func(x float64) float64 { return f(2*retention04 - x) }
	}
	r := rand.New(rand.NewPCG(6, 1))
	return []struct {
		name string
		f    func(x float64) float64
		want []string
	}{
		{"Gaussian", gaussian, []string{"symmetric"}},
		{"τ = 0.7 σ, b/a 1.19", emg(60, 42), []string{"symmetric"}},
		{"τ = σ, b/a 1.36", emg(60, 60), []string{"tailing"}},
		{"its mirror image", mirrored(emg(60, 60)), []string{"fronting"}},
		{"strong tail", emg(60, 160), []string{"tailing"}},
		{"split", bump(260, 35, 86), []string{"tailing", "split", "broad"}},
		{"split, mirrored", mirrored(bump(260, 35, 86)), []string{"fronting", "split", "broad"}},
		{"shoulder behind", bump(190, 20, 70), []string{"tailing", "shoulder"}},
		{"shoulder in front", bump(-190, 20, 70), []string{"fronting", "shoulder"}},
		{"foot of 5 %", bump(-800, 2.5, 100), []string{"early breakthrough"}},
		{"foot of 1 %", bump(-800, 0.5, 100), []string{"symmetric"}},
		{"broad", func(x float64) float64 { z := (x - retention04) / 130; return 50 * math.Exp(-z*z/2) }, []string{"broad"}},
		{"noise of 1 %", func(x float64) float64 { return gaussian(x) + 0.5*r.NormFloat64() }, []string{"symmetric"}},
		{"tiny, noise of 3 %", func(x float64) float64 { return 0.004 * (gaussian(x) + 1.5*r.NormFloat64()) }, []string{"symmetric"}},
	}
}

func TestShape(t *testing.T) {
	for _, tc := range shapes() {
		r := evaluate(t, test04(), of(t, 4001, 1.2, tc.f))
		s := r.Shape()
		if got := s.Names(); !slices.Equal(got, tc.want) {
			t.Errorf("%s: %v, want %v\n%v", tc.name, got, tc.want, s.Features)
		}
		// Never a bare label.
		for _, f := range s.Findings {
			if f.Feature == "" || f.Value == "" || f.Rule == "" || len(f.Causes) == 0 || len(f.Checks) == 0 {
				t.Errorf("%s: %s is a bare label: %+v", tc.name, f.Name, f)
			}
		}
		text := strings.Join(strings.Fields(s.String()), " ")
		for _, want := range []string{"common practice, no source", "reduced plate height", "at 25 cm/h", "Release pressure slowly"} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: not shown: %q", tc.name, want)
			}
		}
		if len(s.Order) != 0 {
			t.Errorf("%s: an order of checks without a missed limit", tc.name)
		}
	}
}

// The findings do not depend on how often and from when on the signal is sampled,
// nor on a little noise.
func TestShapeOfFewPoints(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	for _, tc := range []struct {
		tau  float64 // in σ
		want string
	}{{0, "symmetric"}, {0.5, "symmetric"}, {1, "tailing"}, {3, "tailing"}} {
		f := func(x float64) float64 {
			return 8000 * made.EMG(x, retention04-30*tc.tau, 60, math.Max(60*tc.tau, 1e-6))
		}
		for _, n := range []int{200, 300, 450, 1200} {
			step := 4800 / float64(n-1)
			for range 25 {
				late := step * r.Float64()
				res := evaluate(t, test04(), of(t, n, step, func(x float64) float64 { return f(x+late) + 0.1*r.NormFloat64() }))
				if got := res.Shape().Names(); !slices.Equal(got, []string{tc.want}) {
					t.Errorf("τ = %v σ in %d points, %.3g s late: %v, want %s\n%v", tc.tau, n, late, got, tc.want, res.Shape().Features)
				}
			}
		}
	}
}

func TestShapeAfterAFailedTest(t *testing.T) {
	p := test04()
	p.Limits.PlatesPerMetre = AtLeast("5000")
	s := evaluate(t, p, of(t, 4001, 1.2, gaussian)).Shape()
	// What touches the bed comes behind the five that do not (common practice, no
	// source).
	if len(s.Order) != 9 || !strings.HasPrefix(s.Order[0], "what was typed") || s.Order[2] != "the system without the column" || s.Order[8] != "unpacking" {
		t.Errorf("order %v", s.Order)
	}
	for i, o := range s.Order {
		if touches := strings.Contains(o, "reverse flow") || strings.Contains(o, "adapter lowered") || strings.Contains(o, "consolidation") || strings.Contains(o, "stirred up") || strings.Contains(o, "unpacking"); touches != (i >= 5) {
			t.Errorf("%d: %s", i+1, o)
		}
	}
	if !strings.Contains(s.String(), "3: the system without the column") {
		t.Errorf("not shown:\n%s", s)
	}
	if s := (PulseResult{}).Shape(); !strings.Contains(s.String(), "No result:") || len(s.Findings) != 0 {
		t.Errorf("the shape of nothing: %v", s)
	}
}

// TestPartsOfAResult shows each part alone; none shows plates without the rest.
func TestPartsOfAResult(t *testing.T) {
	p := test04()
	p.Direction = Upflow
	p.ExtraColumn = ExtraColumn{p.Flow.For(60), p.Flow.For(20), 0}
	r := evaluate(t, p, of(t, 4001, 1.2, gaussian))
	c, err := r.Corrected()
	if err != nil {
		t.Fatal(err)
	}
	for name, part := range map[string]interface {
		HTML() string
		Markdown() string
		String() string
	}{"table": r.Table(), "methods": r.Methods().Page(), "moment limits": r.MomentLimits().Page(), "correction": c.Page(), "whole": r.Page()} {
		for form, text := range map[string]string{"HTML": part.HTML(), "Markdown": part.Markdown(), "text": part.String()} {
			for _, with := range []*regexp.Regexp{regexp.MustCompile(`(?i)asymmetry`), regexp.MustCompile(`cm/h`), regexp.MustCompile(`(?i)plate height|\bh\b`)} {
				if !with.MatchString(text) {
					t.Errorf("%s as %s shows plates without %v", name, form, with)
				}
			}
		}
	}
	for _, with := range []string{"plates per metre", "reduced plate height", "asymmetry", "cm/h", "no doubts"} {
		if !strings.Contains(r.Text(), with) {
			t.Errorf("the compact text is without %q: %s", with, r.Text())
		}
	}
	for _, calculation := range r.Calculations() {
		if !strings.HasPrefix(calculation.Name, "Plates") && calculation.Name != "HETP" {
			continue
		}
		for form, text := range map[string]string{"LaTeX": calculation.Latex(), "Markdown": calculation.Markdown(), "text": calculation.String()} {
			for _, with := range []string{"reduced plate height", "asymmetry", "cm/h"} {
				if !strings.Contains(text, with) {
					t.Errorf("%s as %s shows plates without %q", calculation.Name, form, with)
				}
			}
		}
	}
	if !strings.Contains(r.Measured().String(), "upflow") || !strings.Contains(r.Doubts().String(), "No doubts") {
		t.Errorf("%v\n%v", r.Measured(), r.Doubts())
	}
	p.Direction = 7
	if _, err := p.Evaluate(of(t, 4001, 1.2, gaussian)); err == nil {
		t.Error("a direction of 7 was accepted")
	}
	var none PulseResult
	for _, text := range []string{none.Table().String(), none.Measured().String(), none.Doubts().String(), none.Text(), none.Methods().String(), none.MomentLimits().String(), none.Figure().String()} {
		if !strings.Contains(strings.ToLower(text), "no result") {
			t.Errorf("nothing shows %q", text)
		}
	}
	if _, err := none.Calculation("Plates"); err == nil || len(none.Calculations()) != 0 {
		t.Error("a calculation of nothing")
	}
}

// label is a text of a picture with the length that it takes.
var label = regexp.MustCompile(`<text x="([-0-9.]+)" y="([-0-9.]+)"([^>]*) textLength="([0-9.]+)"[^>]*>([^<]*)</text>`)

// TestLabelsKeepClear draws every shape at three widths and looks whether two
// labels stand on each other, or one outside the picture.
func TestLabelsKeepClear(t *testing.T) {
	type box struct {
		text                     string
		left, right, top, bottom float64
	}
	for _, tc := range shapes() {
		for _, n := range []int{4001, 150} {
			r, err := test04().Evaluate(of(t, n, 4800/float64(n-1), tc.f))
			if err != nil {
				t.Fatal(err)
			}
			for _, d := range []Drawing{{Width: 480}, {Width: 480, Tangents: true, Moments: true}, {Width: 480, Tangents: true, Whole: true}, {Width: 1200, Tangents: true, Whole: true, Moments: true}, {}} {
				name := fmt.Sprintf("%s, %d points, %+v", tc.name, n, d)
				svg := r.Draw(d).SVG()
				if strings.Contains(svg, "NaN") {
					t.Errorf("%s: NaN in the picture", name)
				}
				wide := float64(d.Width)
				if wide == 0 {
					wide = 720
				}
				var boxes []box
				for _, m := range label.FindAllStringSubmatch(svg, -1) {
					x, errX := strconv.ParseFloat(m[1], 64)
					y, errY := strconv.ParseFloat(m[2], 64)
					long, errLong := strconv.ParseFloat(m[4], 64)
					if errX != nil || errY != nil || errLong != nil {
						t.Fatalf("%s: a label without numbers: %v", name, m)
					}
					if strings.Contains(m[3], "rotate") {
						continue
					}
					b := box{m[5], x, x + long, y - 8, y + 2}
					if b.left < 0 || b.right > wide+2 {
						t.Errorf("%s: %q stands outside the picture", name, b.text)
					}
					for _, o := range boxes {
						if b.left < o.right && o.left < b.right && b.top < o.bottom && o.top < b.bottom {
							t.Errorf("%s: %q stands on %q", name, b.text, o.text)
						}
					}
					boxes = append(boxes, b)
				}
				if len(boxes) < 8 {
					t.Fatalf("%s: only %d labels were found", name, len(boxes))
				}
			}
		}
	}
}

func TestDrawingsSayWhatTheyShow(t *testing.T) {
	r := evaluate(t, test04(), of(t, 4001, 1.2, gaussian))
	for _, tc := range []struct {
		d    Drawing
		want string
	}{
		{Drawing{}, "at 10 % of the height a is 0.071 CV"}, {Drawing{Tangents: true}, "Tangents meet the baseline"},
		{Drawing{Moments: true}, "Moments from"}, {Drawing{Whole: true}, "Baseline, straight line, from"},
	} {
		f := r.Draw(tc.d)
		if !strings.Contains(f.Description, tc.want) || !strings.Contains(f.Description, "reduced plate height 2.6") {
			t.Errorf("%+v: %s", tc.d, f.Description)
		}
	}
	p := test04()
	p.Baseline = trace.Baseline{RubberBand: true}
	bent := evaluate(t, p, of(t, 4001, 1.2, func(x float64) float64 { return gaussian(x) + 2e-6*math.Pow(x-2400, 2) }))
	if !strings.Contains(bent.Draw(Drawing{Whole: true}).Description, "rubber band") || !strings.Contains(bent.String(), "rubber band through") {
		t.Error("a rubber band is not named")
	}
	for _, u := range bent.Uncertainty() {
		if u.Doubt == "" {
			t.Errorf("the error of %s over a rubber band is without a doubt", u.Name)
		}
	}
	near(t, "plates over a rubber band", bent.Plates, r.Plates, 0.03*r.Plates, "the chord under the peak lies 2e-6 · 600² under it at most, 1.4 % of the height")
}
