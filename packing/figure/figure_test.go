package figure

import (
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"
)

// curve is a figure with something of everything.
func curve() Figure {
	var u, p []float64
	for i := 1; i <= 12; i++ {
		v := float64(i) * 35
		u, p = append(u, v/360000), append(p, 0.46*v*v)
	}
	return Figure{
		Title:       `Pressure of "Marram" <invented> & others`,
		Description: "Pressure rises with the square of the velocity.",
		X:           Axis{Label: "Velocity", Unit: "cm/h", One: 1.0 / 360000},
		Y:           Axis{Label: "Pressure", Unit: "bar", One: 1e5},
		Lines:       []Line{{Name: "rising", Points: Points{u, p}, Dots: true}, {Name: "falling", Points: Points{u[:9], p[1:10]}}, {Name: "faint", Points: Points{u, p}, Faint: true}},
		Spans:       []Span{{100.0 / 360000, 200.0 / 360000, "window"}},
		Levels:      []Level{{0.9e5, "medium"}, {0.88e5, "system"}},
		Marks: []Mark{
			{X1: 300.0 / 360000, Y1: 0.4e5, X2: 300.0 / 360000, Y2: 0.4e5, Label: "a point here", Place: RightOf},
			{X1: 302.0 / 360000, Y1: 0.4e5, X2: 302.0 / 360000, Y2: 0.4e5, Label: "and one beside it", Place: RightOf, Colour: 1},
			{X1: 100.0 / 360000, Y1: 0.2e5, X2: 200.0 / 360000, Y2: 0.2e5, Label: "a distance", Ends: true, Dashed: true, Colour: 2},
		},
	}
}

func TestSVGIsWellFormedAndAlone(t *testing.T) {
	for name, svg := range map[string]string{
		"figure": curve().SVG(), "stack": Stack{Title: "both", Panels: []Figure{curve(), curve()}}.SVG(),
		"nothing": Figure{}.SVG(), "no panels": Stack{}.SVG(),
	} {
		d := xml.NewDecoder(strings.NewReader(svg))
		for {
			_, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v\n%s", name, err, svg)
			}
		}
		if !strings.Contains(svg, `role="img"`) || !strings.Contains(svg, "<title id=") || !strings.Contains(svg, "<desc id=") {
			t.Errorf("%s has no role, title or description", name)
		}
		bare := strings.Replace(svg, `xmlns="http://www.w3.org/2000/svg"`, "", 1)
		for _, bad := range []string{"http", "href", "url(", "@import", "<script", "<image", "NaN", "Inf"} {
			if strings.Contains(bare, bad) {
				t.Errorf("%s contains %q", name, bad)
			}
		}
		if !strings.Contains(svg, `fill="#ffffff"`) {
			t.Errorf("%s has no ground of its own", name)
		}
		if !strings.Contains(svg, "sans-serif") {
			t.Errorf("%s names no generic font", name)
		}
	}
}

func TestSameFigureSameText(t *testing.T) {
	first := curve().SVG()
	for range 5 {
		if curve().SVG() != first {
			t.Fatal("drawn again, it differs")
		}
	}
	other := curve()
	other.Title = "another"
	id := regexp.MustCompile(`figure-[0-9a-f]{16}`)
	if id.FindString(first) == id.FindString(other.SVG()) {
		t.Error("two figures have the same ids")
	}
}

var textElement = regexp.MustCompile(`<text x="([-\d.]+)" y="([-\d.]+)" font-size="([\d.]+)"[^>]*?( transform="[^"]*")? textLength="([\d.]+)"[^>]*>([^<]*)<`)

// boxes returns the places of all level texts.
func boxes(t *testing.T, svg string) (texts []string, rects []vg.Rectangle) {
	t.Helper()
	for _, m := range textElement.FindAllStringSubmatch(svg, -1) {
		if m[4] != "" {
			continue
		}
		var v [4]float64
		for i, s := range []string{m[1], m[2], m[3], m[5]} {
			var err error
			if v[i], err = strconv.ParseFloat(s, 64); err != nil {
				t.Fatal(err)
			}
		}
		texts = append(texts, m[6])
		rects = append(rects, vg.Rectangle{Min: vg.Point{X: vg.Length(v[0]), Y: vg.Length(v[1] - 0.7*v[2])}, Max: vg.Point{X: vg.Length(v[0] + v[3]), Y: vg.Length(v[1])}})
	}
	return texts, rects
}

func TestTextsKeepClear(t *testing.T) {
	for name, svg := range map[string]string{"figure": curve().SVG(), "stack": Stack{Title: "both", Panels: []Figure{curve(), curve()}}.SVG()} {
		texts, rects := boxes(t, svg)
		if len(texts) < 15 {
			t.Fatalf("%s: only %d texts found", name, len(texts))
		}
		for i := range rects {
			if rects[i].Min.X < 0 || rects[i].Max.X > 720 {
				t.Errorf("%s: %q runs out of the figure: %v", name, texts[i], rects[i])
			}
			for j := range i {
				if rects[i].Min.X < rects[j].Max.X && rects[j].Min.X < rects[i].Max.X && rects[i].Min.Y < rects[j].Max.Y && rects[j].Min.Y < rects[i].Max.Y {
					t.Errorf("%s: %q and %q stand on each other", name, texts[i], texts[j])
				}
			}
		}
	}
}

func TestTicks(t *testing.T) {
	for _, tc := range []struct {
		lo, hi, count float64
		want          string
	}{
		{0, 10, 5, "0 2 4 6 8 10"},
		{0, 1, 5, "0.0 0.2 0.4 0.6 0.8 1.0"},
		{-0.3, 0.3, 3, "-0.2 0.0 0.2"},
		{0, 60, 8, "0 10 20 30 40 50 60"},
		{1990, 2010, 2, "1990 2000 2010"},
		{0, 0.00042, 4, "0.0000 0.0002 0.0004"},
		{0, 4.3e6, 4, "0 2000000 4000000"},
	} {
		var labels []string
		for _, m := range (ticks{tc.count}).Ticks(tc.lo, tc.hi) {
			labels = append(labels, m.Label)
		}
		if got := strings.Join(labels, " "); got != tc.want {
			t.Errorf("ticks from %v to %v: %s, want %s", tc.lo, tc.hi, got, tc.want)
		}
	}
}

func TestThinnedKeepsPeaks(t *testing.T) {
	var pts []vg.Point
	for i := range 100_000 {
		y := vg.Length(math.Sin(float64(i) / 5000))
		if i == 54_321 {
			y = 50
		}
		if i == 54_322 {
			y = -50
		}
		pts = append(pts, vg.Point{X: vg.Length(i) / 150, Y: y})
	}
	out := thinned(pts)
	if len(out) > 4*2*670 {
		t.Errorf("%d points left of %d", len(out), len(pts))
	}
	high, low := vg.Length(0), vg.Length(0)
	for i, p := range out {
		high, low = max(high, p.Y), min(low, p.Y)
		if i > 0 && p.X < out[i-1].X {
			t.Fatalf("point %d runs back", i)
		}
	}
	if high != 50 || low != -50 || out[0] != pts[0] || out[len(out)-1] != pts[len(pts)-1] {
		t.Errorf("highest %v, lowest %v, ends %v and %v", high, low, out[0], out[len(out)-1])
	}
	if few := thinned(pts[:100]); len(few) != 100 {
		t.Errorf("%d of 100 points left", len(few))
	}
}

func TestMissingPointsBreakTheLine(t *testing.T) {
	nan := math.NaN()
	whole := Figure{Lines: []Line{{Points: Points{[]float64{0, 1, 2, 3, 4}, []float64{1, 2, 3, 4, 5}}}}}.SVG()
	broken := Figure{Lines: []Line{{Points: Points{[]float64{0, 1, 2, 3, 4}, []float64{1, 2, nan, 4, 5}}}}}.SVG()
	count := func(svg string) int { return strings.Count(svg, `stroke="#0072b2"`) }
	if count(whole) != 1 || count(broken) != 2 {
		t.Errorf("%d pieces whole, %d broken; want 1 and 2", count(whole), count(broken))
	}
}

func TestLinesDifferWithoutColour(t *testing.T) {
	seen := map[string]bool{}
	for _, d := range dashes {
		seen[fmt.Sprint(d)] = true
	}
	if len(seen) != len(palette) {
		t.Errorf("%d kinds of dashes for %d colours", len(seen), len(palette))
	}
}

func TestGolden(t *testing.T) {
	const path = "testdata/curve.svg"
	got := curve().SVG()
	if os.Getenv("UPDATE_GOLDEN") == "1" {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs; UPDATE_GOLDEN=1 rewrites it", path)
	}
}
