package figure

import (
	"bytes"
	"fmt"
	"image/png"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"
)

// million is noise of 1,000,000 points with narrow spikes, at the places given.
func million(spikes map[int]float64) Points {
	r := rand.New(rand.NewPCG(7, 7))
	p := Points{make([]float64, 1_000_000), make([]float64, 1_000_000)}
	for i := range p.X {
		p.X[i], p.Y[i] = float64(i)/1e6, 0.01*r.NormFloat64()
		if y, ok := spikes[i]; ok {
			p.Y[i] = y
		}
	}
	return p
}

// Of a million points every spike is drawn at its height, and the text stays
// small.
func TestMillionPoints(t *testing.T) {
	spikes := map[int]float64{}
	for k := range 150 { // one sample wide, four pixels apart, up and down
		spikes[3000+k*6600] = 0.5 + 0.003*float64(k)*(1-2*float64(k%2))
	}
	f := Figure{X: Axis{Label: "x", Max: 1}, Y: Axis{Label: "y", Min: -1, Max: 1.2}, Lines: []Line{{Points: million(spikes)}}}
	svg := f.SVG()
	if len(svg) > 150_000 {
		t.Errorf("%d bytes", len(svg))
	}
	path := regexp.MustCompile(`<path d="([^"]*)" fill="none" stroke="#0072b2"`).FindStringSubmatch(svg)
	if path == nil {
		t.Fatal("no line")
	}
	var drawn []vg.Point
	for _, s := range regexp.MustCompile(`[ML]([-\d.]+),([-\d.]+)`).FindAllStringSubmatch(path[1], -1) {
		x, _ := strconv.ParseFloat(s[1], 64)
		y, _ := strconv.ParseFloat(s[2], 64)
		drawn = append(drawn, vg.Point{X: vg.Length(x), Y: vg.Length(y)})
	}
	// Where they must be, by the frame of the axes, which is the last path.
	frames := regexp.MustCompile(`<path d="M([\d.]+),([\d.]+)L[\d.]+,([\d.]+)L([\d.]+),[\d.]+L`).FindAllStringSubmatch(svg, -1)
	frame := frames[len(frames)-1]
	var v [4]float64 // left, bottom, top, right
	for i := range v {
		v[i], _ = strconv.ParseFloat(frame[i+1], 64)
	}
	for i, y := range spikes {
		px, py := v[0]+(v[3]-v[0])*float64(i)/1e6, v[1]-(v[1]-v[2])*(y+1)/2.2
		found := false
		for _, d := range drawn {
			found = found || math.Abs(float64(d.X)-px) < 0.02 && math.Abs(float64(d.Y)-py) < 0.02
		}
		if !found {
			t.Errorf("the spike of %v at %v is not drawn", y, i)
		}
	}
}

// A loop that runs back and forth is thinned as well.
func TestLoopsAreThinned(t *testing.T) {
	var p Points
	for i := range 400_000 {
		a := float64(i) / 400_000 * 6 * math.Pi
		p.X, p.Y = append(p.X, math.Cos(a)), append(p.Y, math.Sin(2*a))
	}
	if n := len(Figure{Lines: []Line{{Points: p}}}.SVG()); n > 250_000 {
		t.Errorf("%d bytes", n)
	}
}

// A cloud of markers is bounded: those that others cover are left out.
func TestManyMarkersAreBounded(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	var p Points
	for range 300_000 {
		p.X, p.Y = append(p.X, r.Float64()), append(p.Y, r.Float64())
	}
	if n := len(Figure{Lines: []Line{{Points: p, Dots: true, Bare: true}}}.SVG()); n > 4<<20 {
		t.Errorf("%d bytes", n)
	}
	few := make([]vg.Point, 1999)
	if n := len(sparse(few)); n != 1999 {
		t.Errorf("%d of 1999 markers left", n)
	}
	same := make([]vg.Point, 5000)
	if n := len(sparse(same)); n != 1 {
		t.Errorf("%d markers at one place", n)
	}
}

func BenchmarkMillionPoints(b *testing.B) {
	f := Figure{Lines: []Line{{Points: million(nil)}}}
	for b.Loop() {
		f.SVG()
	}
}

// crowd is a figure with many marks side by side.
func crowd(n int, width int) Figure {
	f := Figure{Title: "Crowd", X: Axis{Label: "Volume", Unit: "L", Max: 10}, Y: Axis{Label: "UV", Unit: "mAU", Min: 0, Max: 10}, Width: width}
	for i := range n {
		x := 5 + 0.05*float64(i)
		f.Marks = append(f.Marks, Mark{X1: x, X2: x, Y1: 5, Y2: 5, Label: fmt.Sprintf("event %d, valve opens", i+1), Colour: i})
	}
	return f
}

// Labels that have no room beside their marks go further away, with a line.
func TestCrowdedLabels(t *testing.T) {
	svg := crowd(14, 0).SVG()
	texts, rects := boxes(t, svg)
	labels := 0
	for i := range rects {
		if strings.HasPrefix(texts[i], "event") {
			labels++
		}
		for j := range i {
			if rects[i].Min.X < rects[j].Max.X && rects[j].Min.X < rects[i].Max.X && rects[i].Min.Y < rects[j].Max.Y && rects[j].Min.Y < rects[i].Max.Y {
				t.Errorf("%q and %q stand on each other", texts[i], texts[j])
			}
		}
	}
	if labels != 14 {
		t.Errorf("%d labels of 14", labels)
	}
	if n := strings.Count(svg, `stroke-width="0.6" stroke-linejoin="round"/>`) - strings.Count(svg, `stroke="#e4e4e4"`); n < 8 {
		t.Errorf("%d lines lead to labels", n)
	}
	if one := crowd(1, 0).SVG(); strings.Count(one, `stroke-width="0.6"`) != strings.Count(one, `stroke="#e4e4e4"`) {
		t.Error("a label with room has a line")
	}
}

func TestMeets(t *testing.T) {
	box := vg.Rectangle{Min: vg.Point{X: 10, Y: 10}, Max: vg.Point{X: 20, Y: 15}}
	for _, tc := range []struct {
		line [2]vg.Point
		want bool
	}{
		{[2]vg.Point{{X: 0, Y: 12}, {X: 30, Y: 12}}, true},
		{[2]vg.Point{{X: 30, Y: 12}, {X: 0, Y: 12}}, true},
		{[2]vg.Point{{X: 12, Y: 11}, {X: 13, Y: 12}}, true},
		{[2]vg.Point{{X: 0, Y: 0}, {X: 30, Y: 30}}, true},
		{[2]vg.Point{{X: 15, Y: 0}, {X: 15, Y: 30}}, true},
		{[2]vg.Point{{X: 0, Y: 12}, {X: 9, Y: 12}}, false},
		{[2]vg.Point{{X: 0, Y: 10}, {X: 30, Y: 10}}, false}, // along its edge
		{[2]vg.Point{{X: 0, Y: 16}, {X: 30, Y: 20}}, false},
		{[2]vg.Point{{X: 5, Y: 0}, {X: 5, Y: 30}}, false},
		{[2]vg.Point{{X: 0, Y: 10}, {X: 10, Y: 40}}, false},
	} {
		if got := meets(tc.line, box); got != tc.want {
			t.Errorf("%v: %v, want %v", tc.line, got, tc.want)
		}
	}
}

// Narrow or wide, all level texts stay inside the figure and clear of each other.
func TestWidths(t *testing.T) {
	for _, width := range []int{320, 480, 720, 1200} {
		f := curve()
		f.Width = width
		f.Title = "Pressure of Marram against the superficial velocity, with a title that is long for a narrow figure"
		f.Lines[1].Name = strings.Repeat("a long name ", 20)
		texts, rects := boxes(t, f.SVG())
		titles := 0
		for i := range rects {
			if rects[i].Min.X < 0 || rects[i].Max.X > vg.Length(width) {
				t.Errorf("%d: %q runs out of the figure: %v", width, texts[i], rects[i])
			}
			for j := range i {
				if rects[i].Min.X < rects[j].Max.X && rects[j].Min.X < rects[i].Max.X && rects[i].Min.Y < rects[j].Max.Y && rects[j].Min.Y < rects[i].Max.Y {
					t.Errorf("%d: %q and %q stand on each other", width, texts[i], texts[j])
				}
			}
			if strings.Contains(f.Title, texts[i]) && len(texts[i]) > 8 {
				titles++
			}
		}
		if broken := titles > 1; broken != (width < 720) {
			t.Errorf("%d: the title stands in %d lines", width, titles)
		}
		if all := strings.Join(texts, "\n"); !strings.Contains(all, "…") || !strings.Contains(all, "a long name a long name") {
			t.Errorf("%d: the long name is not shown as cut", width)
		}
	}
}

func dual() Figure {
	x := []float64{0, 60, 120, 180}
	return Figure{X: Axis{Label: "Time", Unit: "min", One: 60}, Y: Axis{Label: "Pressure", Unit: "bar", One: 1e5, Min: 0, Max: 2},
		Right: Axis{Label: "Velocity", Unit: "cm/h", One: 1.0 / 360000, Min: 100, Max: 300},
		Lines: []Line{{Name: "pressure", Points: Points{x, []float64{0, 1e5, 1e5, 2e5}}},
			{Name: "velocity", Points: Points{x, []float64{100.0 / 360000, 200.0 / 360000, 200.0 / 360000, 300.0 / 360000}}, Right: true}}}
}

// A line against the axis on the right lies where one of the same shape lies
// against the left one, and its numbers do not touch the left axis.
func TestRightAxis(t *testing.T) {
	svg := dual().SVG()
	line := func(colour string) string {
		m := regexp.MustCompile(`<path d="(M[^"]*L[^"]*L[^"]*L[^"]*)" fill="none" stroke="` + colour).FindStringSubmatch(svg)
		if m == nil {
			t.Fatalf("no line of colour %s", colour)
		}
		return m[1]
	}
	if l, r := line("#0072b2"), line("#d55e00"); l != r {
		t.Errorf("left %s, right %s", l, r)
	}
	texts, rects := boxes(t, svg)
	for i, text := range texts {
		if text == "300" && rects[i].Min.X < 640 || rects[i].Max.X > 720 {
			t.Errorf("%q stands at %v", text, rects[i])
		}
	}
	for _, want := range []string{">Velocity (cm/h)<", ">Pressure (bar)<", ">velocity (right axis)<", ">300<"} {
		if !strings.Contains(svg, want) {
			t.Errorf("no %s", want)
		}
	}
	free := dual()
	free.Y, free.Right = Axis{One: 1e5}, Axis{One: 1.0 / 360000}
	free.Lines[1].Points = Points{[]float64{0, 180}, []float64{0, 1e6}}
	if lo, hi := free.ends(free.Y, alongY); lo != 0 || math.Abs(hi-2.12) > 1e-9 { // 6 % of room
		t.Errorf("the left axis goes from %v to %v", lo, hi)
	}
	// Both panels of a stack end at one place.
	both := Stack{Panels: []Figure{dual(), {Y: Axis{Label: "UV"}, Lines: dual().Lines[:1]}}}.SVG()
	frames := regexp.MustCompile(`<path d="M([\d.]+),[\d.]+L([\d.]+),[\d.]+L([\d.]+),[\d.]+L[\d.]+,[\d.]+L[^"]*" fill="none" stroke="#222222"`).FindAllStringSubmatch(both, -1)
	if len(frames) != 2 || frames[0][1] != frames[1][1] || frames[0][3] != frames[1][3] {
		t.Errorf("frames %v", frames)
	}
}

func TestBand(t *testing.T) {
	x := []float64{0, 1, 2, 3, 4, 5}
	f := Figure{Y: Axis{Label: "H"}, Bands: []Band{{Name: "95 % band", Colour: 1, Low: Points{x, []float64{1, 1, 1, 1, 1, 1}}, High: Points{x, []float64{2, 3, 4, 4, 3, 2}}}}}
	if lo, hi := f.reach(alongY); lo != 1 || hi != 4 {
		t.Errorf("the axis reaches from %v to %v", lo, hi)
	}
	count := func(f Figure) int { return strings.Count(f.SVG(), `fill="#d55e00" fill-opacity`) }
	if n := count(f); n != 2 { // band and key
		t.Errorf("%d areas, want 2", n)
	}
	f.Bands[0].Low = Points{x, []float64{1, 1, math.NaN(), 1, 1, 1}}
	f.Bands[0].Name = ""
	if n := count(f); n != 2 {
		t.Errorf("%d pieces of a band with a gap, want 2", n)
	}
}

func TestMarkersDiffer(t *testing.T) {
	seen := map[string]bool{}
	for n := range palette {
		var lines []Line
		for range n {
			lines = append(lines, Line{Points: Points{}})
		}
		lines = append(lines, Line{Points: Points{[]float64{1}, []float64{1}}, Dots: true, Bare: true})
		svg := Figure{Lines: lines}.SVG()
		colour, _ := paint(colourOf(n))
		m := regexp.MustCompile(`<path d="([^"]*)" fill="` + colour + `"`).FindStringSubmatch(svg)
		if m == nil {
			t.Fatalf("no marker of line %d", n)
		}
		seen[m[1]] = true
	}
	if len(seen) != len(palette) {
		t.Errorf("%d shapes for %d colours", len(seen), len(palette))
	}
}

func TestRaster(t *testing.T) {
	f := curve()
	f.Width, f.Height = 400, 200
	for _, tc := range []struct {
		scale, pixels float64
	}{{0, 2}, {1, 1}, {2, 2}, {0.5, 0.5}} {
		r := f.Raster(tc.scale)
		w, h := r.Size()
		img, err := png.Decode(bytes.NewReader(r.PNG()))
		if err != nil {
			t.Fatal(err)
		}
		if size := img.Bounds().Size(); w != 400 || size.X != int(400*tc.pixels) || size.Y != int(float64(h)*tc.pixels) || h < 200 {
			t.Errorf("scale %v: %v pixels in the room of %d × %d", tc.scale, size, w, h)
		}
		if r, g, b, a := img.At(1, 1).RGBA(); r&g&b&a != 0xffff {
			t.Errorf("scale %v: the ground is not white", tc.scale)
		}
		inked := 0
		for x := range img.Bounds().Dx() {
			for y := range img.Bounds().Dy() {
				if r, _, b, _ := img.At(x, y).RGBA(); r < 0x4000 && b > 0x9000 { // of the first line
					inked++
				}
			}
		}
		if inked < int(200*tc.pixels) {
			t.Errorf("scale %v: %d pixels of the line", tc.scale, inked)
		}
		if again := f.Raster(tc.scale); !bytes.Equal(again.PNG(), r.PNG()) {
			t.Errorf("scale %v: drawn again, it differs", tc.scale)
		}
		if r.String() != f.String() {
			t.Errorf("text %q", r.String())
		}
	}
	for _, bad := range []float64{-1, 0.1, 9, math.NaN(), math.Inf(1)} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("scale %v passed", bad)
				}
			}()
			f.Raster(bad)
		}()
	}
}

// A figure without words of its own says what it shows.
func TestDescription(t *testing.T) {
	f := dual()
	f.Title = "Packing"
	f.Levels = []Level{{1.5e5, "medium"}}
	f.Spans = []Span{{60, 120, "pack"}}
	f.Marks = []Mark{{Label: "valve opens"}, {}}
	want := "Packing. Pressure (bar) and, on the right, Velocity (cm/h) against Time (min). pressure: 4 points, 0 bar to 2 bar, from 0 min to 3 min; " +
		"velocity: 4 points, 100 cm/h to 300 cm/h, from 0 min to 3 min; limit medium at 1.5 bar; stretch pack from 1 min to 2 min; marked: valve opens."
	if got := f.String(); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if !strings.Contains(f.SVG(), "<desc id=") || !strings.Contains(f.SVG(), "limit medium at 1.5 bar") {
		t.Error("the picture does not hold it")
	}
	f.Description = "In words"
	if got := f.String(); got != "Packing. In words" {
		t.Errorf("got %q", got)
	}
	both := Stack{Panels: []Figure{{X: Axis{Label: "x"}, Y: Axis{Label: "a"}, Lines: []Line{{Points: Points{[]float64{1}, []float64{2}}}}}, {Y: Axis{Label: "b"}}}}
	if got, want := both.String(), "a against x. line: 1 point, 2 at 1. b against x, without points."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
