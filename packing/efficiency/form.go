package efficiency

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/trace"
)

// A Form is the shape of a record beside the numbers that half height and tenth
// height give: what an even bed hides and what a channel, air or a split does not.
type Form struct {
	// Maxima are all that stand out of the record, in their order, the main one
	// among them: those that stand higher than Least and rise and fall by as much.
	Maxima []Maximum
	Least  float64 // of the height: 1 %, or five and a half standard errors of a short mean, by its samples or as still parts show it
	// Front and Behind are the areas outside the main peak, between its feet and the
	// ends of the record, as parts of the whole area, with one standard error; NaN
	// where nothing was recorded.
	Front, Behind             float64
	FrontStdErr, BehindStdErr float64
	Feet                      trace.Range // of the main peak, where the signal falls to Least
	// Outermost reports that a width was taken between crossings farther out than
	// those next to the apex.
	Outermost bool
}

// A Maximum is one that stands out of a record.
type Maximum struct {
	X      float64 // position on the axis
	Volume float64 // in column volumes from the start of the sample
	Part   float64 // of the height
}

// The thresholds of the form.
const (
	leastMaximum = 0.01 // of the height
	meansStand   = 5.5  // standard errors of a short mean
	fewestMeans  = 8    // on one side of the peak, for their scatter to be told
	leastOutside = 0.05 // of the area, in front of the peak or behind it
	outsideStand = 4.0  // standard errors of that area
)

// takeForm looks at the whole record in means over a quarter of the width at half
// height, which leave a hump and take the noise.
func (r *PulseResult) takeForm() {
	t := &r.recorded
	size := max(1, r.PointsAboveHalfHeight/4)
	var f Form
	for _, w := range []trace.Width{r.Half, r.Tenth, r.Fifth} {
		apart := (w.InnerLeft - w.Left) + (w.Right - w.InnerRight)
		f.Outermost = f.Outermost || apart > crossingsApart*w.Width() && apart > r.jitter(w)
	}
	// The means, the one at the apex in the middle of its samples.
	apex := indexOf(t, r.Apex.X)
	first := (apex + size/2) % size
	count := (t.Len() - first) / size
	bent := r.Baseline.Bent()
	mean := func(k int) float64 {
		var xs, ys, line float64
		for x, y := range t.Points(first+k*size, first+(k+1)*size) {
			xs += x
			ys += y
			if bent {
				line += r.Baseline.At(x)
			}
		}
		n := float64(size)
		if !bent {
			line = n * r.Baseline.At(xs/n)
		}
		return (ys - line) / n / r.Height
	}
	place := func(k int) float64 { return position(t, min(t.Len()-1, first+k*size+size/2)) }
	means := make([]float64, max(0, count))
	for k := range means {
		means[k] = mean(k)
	}
	if count <= 0 {
		f.Least = leastMaximum
		r.Form = f
		return
	}
	// The noise of one mean: what samples make of it, or what is seen where it is still.
	noise := r.noiseOfMeans() / math.Sqrt(float64(size)) / r.Height
	front := (indexOf(t, r.Apex.X-farOut*(r.Apex.X-r.Tenth.InnerLeft)) - first) / size
	back := (indexOf(t, r.Apex.X+farOut*(r.Tenth.InnerRight-r.Apex.X))-first)/size + 1
	noise = math.Max(noise, scatter(means[:min(count, max(0, front))], means[min(count, back):]))
	f.Least = math.Max(leastMaximum, meansStand*noise)
	// A maximum stands higher than least, has risen by as much, and falls by as much.
	top, low, rising := 0, means[0], true
	for k, v := range means {
		switch {
		case rising && v > means[top]:
			top = k
		case rising && v < means[top]-f.Least:
			if means[top]-low > f.Least && means[top] > f.Least {
				f.Maxima = append(f.Maxima, Maximum{X: place(top), Volume: place(top) / r.columnVolume(), Part: means[top]})
			}
			rising, low = false, v
		case !rising && v < low:
			low = v
		case !rising && v > low+f.Least:
			rising, top = true, k
		}
	}
	// The main one is known better.
	main := -1
	for i, m := range f.Maxima {
		if main < 0 || math.Abs(m.X-r.Apex.X) < math.Abs(f.Maxima[main].X-r.Apex.X) {
			main = i
		}
	}
	if main >= 0 {
		f.Maxima[main] = Maximum{X: r.Apex.X, Volume: r.Apex.X / r.columnVolume(), Part: 1}
	}
	// The feet, and the area beyond them.
	k := min(len(means)-1, max(0, (apex-first)/size))
	left, right := k, k
	for left > 0 && means[left] > f.Least {
		left--
	}
	for right < len(means)-1 && means[right] > f.Least {
		right++
	}
	f.Feet = trace.Range{Axis: r.Axis, From: place(left), To: place(right)}
	whole := 0.0
	for _, v := range means {
		whole += v
	}
	outside := func(part []float64) (area, stdErr float64) {
		if len(part) == 0 {
			return math.NaN(), math.NaN()
		}
		for _, v := range part {
			area += v
		}
		// The noise of the samples, and of the line, which all of them share.
		n := float64(len(part))
		points := math.Max(1, float64(r.Baseline.Points)/float64(size))
		return area / whole, noise * math.Sqrt(n+n*n*2/points) / whole
	}
	f.Front, f.FrontStdErr = outside(means[:left])
	f.Behind, f.BehindStdErr = outside(means[right+1:])
	r.Form = f
}

// scatter returns the standard deviation of the means on the two sides of the peak,
// the smaller of both, so that a hump on one side does not hide itself; 0 if neither
// has fewestMeans. It is taken from the median of their sizes, which a short hump
// does not move.
func scatter(front, back []float64) float64 {
	least := math.Inf(1)
	sizes := make([]float64, max(len(front), len(back)))
	for _, side := range [][]float64{front, back} {
		if len(side) < fewestMeans {
			continue
		}
		for i, v := range side {
			sizes[i] = math.Abs(v)
		}
		slices.Sort(sizes[:len(side)])
		least = math.Min(least, sizes[len(side)/2]/0.6744897501960817)
	}
	if math.IsInf(least, 1) {
		return 0
	}
	return least
}

// apart returns the maxima outside the crossings of the main peak at 10 %.
func (r *PulseResult) apart() []Maximum {
	var found []Maximum
	for _, m := range r.Form.Maxima {
		if m.X < r.Tenth.InnerLeft || m.X > r.Tenth.InnerRight {
			found = append(found, m)
		}
	}
	return found
}

// doubtForm tells what of the form says something of the bed.
func (r *PulseResult) doubtForm() {
	f := r.Form
	for _, m := range r.apart() {
		side, look := "in front of the main peak", "a part of the liquid runs ahead: look for a gap or channel at the wall, a crack or a leak past the seal, with the pressure of this flow beside the plan's"
		if m.X > r.Apex.X {
			side, look = "behind the main peak", "a part of the liquid lags: look for air under the adapter or in the bed, a clogged part of a net, or a second injection"
		}
		r.warn(kindHump, fmt.Sprintf("A hump of %s of the height stands at %.2f CV, %s", percentage(m.Part), m.Volume, side), "If a repeat shows it again, "+look)
	}
	if len(r.apart()) > 0 {
		return
	}
	for _, side := range []struct {
		part, stdErr float64
		word, look   string
	}{
		{f.Front, f.FrontStdErr, "in front of", "a channel or a leak past the seal"},
		{f.Behind, f.BehindStdErr, "behind", "air, a dead volume or a tracer that binds a little"},
	} {
		if side.part > leastOutside && side.part > outsideStand*side.stdErr {
			r.warn(kindOutside, fmt.Sprintf("%s of the area lies %s the main peak, outside its feet", percentage(side.part), side.word),
				"Repeat on a steadier baseline; if it stays, look for "+side.look)
		}
	}
}

// doubtBreadth says of a peak that misses a limit what its form tells about it, and
// what comes before anything that touches the bed.
func (r *PulseResult) doubtBreadth() {
	l := r.Pulse.Limits
	missed := func(l Limit, v float64) bool {
		_, outcome := l.judge(v)
		return outcome == DoesNotMeet
	}
	broad := missed(l.PlatesPerMetre, r.PlatesPerMetre) || missed(l.ReducedPlateHeight, r.ReducedPlateHeight)
	if !broad && !missed(l.Asymmetry, r.Asymmetry) && !missed(l.SymmetryFactor, r.SymmetryFactor) {
		return
	}
	what := "The peak misses its limit"
	switch {
	case r.Asymmetry > tailingAbove:
		what += " by its tail, which comes from a mixed volume in the system, a gap under the adapter or slow parts of the bed. One test does not tell them apart"
	case r.Asymmetry < frontingBelow:
		what += " by its front: parts of the bed run ahead, or the tracer is kept out of the beads"
	default:
		what += " with an even peak, whose width comes from all of the bed or from the test: a larger bead, layers, a higher velocity or a larger sample than planned"
	}
	if r.Pulse.ExtraColumn == (ExtraColumn{}) {
		what += ". What the system adds without the column was not given"
	}
	r.warn(kindBroad, what, "Before anything is done to the bed: what was typed, the system without the column, a repeat at the same velocity, another tracer")
}

// formTable returns the shape of the record as a table.
func (r PulseResult) formTable() table.Table {
	f := r.Form
	t := table.Table{Caption: "Shape of the record", RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "found"}, {Name: "even bed"}}}
	var maxima []string
	for _, m := range f.Maxima {
		maxima = append(maxima, fmt.Sprintf("%.3f CV (%s)", m.Volume, percentage(m.Part)))
	}
	t.Add("maxima that rise by "+percentage(f.Least)+" of the height", fmt.Sprintf("%d: %s", len(maxima), strings.Join(maxima, ", ")), "1")
	crossings := "those next to the apex"
	if f.Outermost {
		crossings = "farther out than those next to the apex"
	}
	t.Add("crossings that widths were taken between", crossings, "next to the apex")
	net := r.NetRetention - r.ColumnVolumes
	expected := "between the void and 1 CV"
	if k := r.Pulse.Tracer; k.Retention > 0 {
		expected = fmt.Sprintf("%.3f ± %.3f CV (stated)", k.Retention, k.Margin)
	}
	t.Add("apex, net", number.Fixed(r.NetRetention, 3)+" CV", expected)
	t.Add("first moment, net", number.Fixed(r.Moments.Mean/r.columnVolume()+net, 3)+" CV", "a little more than the apex")
	outside := func(part, stdErr float64) string {
		if math.IsNaN(part) {
			return "not recorded"
		}
		if !(stdErr > 0) {
			return number.Fixed(100*part, 1) + " %"
		}
		return Uncertain{100 * part, 100 * stdErr}.String() + " %"
	}
	t.Add("area in front of the main peak", outside(f.Front, f.FrontStdErr), "0")
	t.Add("area behind the main peak", outside(f.Behind, f.BehindStdErr), "0")
	perMetre := r.PlatesPerMetre / r.Plates
	t.Add("plates per metre by moments, beside half height", number.Fixed(perMetre*r.PlatesMoments, 0)+" beside "+number.Fixed(r.PlatesPerMetre, 0), "nearly the same; fewer with a tail")
	return t
}
