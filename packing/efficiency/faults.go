package efficiency

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/stat/distuv"

	"github.com/evenbed/evenbed/packing/trace"
)

// The thresholds of the detectors. TestFaults measures how often they ring, and
// how often they miss.
const (
	farOut       = 3.0   // distances from the apex to a crossing at 10 %: quiet from there on
	fewestStill  = 24    // points of a still stretch that something is told from
	mostCurved   = 12.4  // of a chi-squared with 2 degrees of freedom: 0.2 % of straight baselines
	leastBend    = 0.003 // of the height: below, a bend under the peak does not matter
	leastBehind  = 1.75  // distances from the apex to the crossing at 5 %, recorded behind the apex
	spikeStands  = 5.2   // standard deviations of a sample from its neighbours
	leastSpike   = 0.01  // of the height
	quickLook    = 0.7   // of a spike stands out of two samples beside it
	capStands    = 3.8   // standard errors of what is missing at the top
	leastCap     = 0.012 // of the height
	capMiddle    = 0.9   // of the height: a cap is looked for in the middle of its crossings
	capFoot      = 0.3   // of the height: from there on up
	capDegree    = 5     // of the polynomial
	fewestTies   = 4     // samples at the highest value
	mostTies     = 8.0   // samples at the highest value, over those at the values below it
	mostColour   = 0.001 // chance of means of independent noise that scatter as much
	leastNoise   = 5e-4  // of the height: below, its colour does not matter
	mostDetector = 0.01  // of the variance, from a slow detector
)

// faults looks for what went wrong in the recording of the signal.
func (r *PulseResult) faults() {
	r.findCut()
	if r.findThinning() {
		return // what is left of a dead band looks like many other faults
	}
	r.findClip()
	r.findSpike()
	if s := r.still(); !r.findBend(s) {
		r.findColour(s)
	}
}

// findCut looks for a recording that ends in the peak.
func (r *PulseResult) findCut() {
	span, low := r.recorded.Span(), r.Fifth
	if math.IsNaN(low.Width()) {
		low = r.Tenth
	}
	for _, side := range []struct {
		recorded, needs float64
		word, do        string
	}{
		{r.Apex.X - span.From, r.Apex.X - low.InnerLeft, "begins", "start recording with the sample or before"},
		{span.To - r.Apex.X, low.InnerRight - r.Apex.X, "ends", "record until the signal is steady"},
	} {
		if side.recorded < leastBehind*side.needs {
			r.warn(kindCut, fmt.Sprintf("The recording %s %.2g times as far from the apex as the crossing at %.0f %% of the height: the peak was cut, and the line under it passes through its foot", side.word, side.recorded/side.needs, 100*low.Fraction),
				"Repeat, and "+side.do)
		}
	}
}

// A stillness is the recording in front of the peak and behind it, held against a
// straight line, a parabola and a step under the peak.
type stillness struct {
	noise, lag float64 // of what none of them explains
	bow, step  float64 // in the signal's unit: under the apex, and from front to back
	chi        float64 // of both together; about 2 for a straight baseline
	means      [2]means
}

// means are the means of so many samples each.
type means struct {
	size   int
	count  int
	square float64 // the sum of their squares
}

// still fits the stillness by least squares; nil if too little of it was
// recorded, a rubber band took its bend away, or it bends and scatters by less than
// matters.
func (r *PulseResult) still() *stillness {
	if r.Baseline.After.IsZero() || r.Baseline.Bent() {
		return nil
	}
	t, apex, line := &r.recorded, r.Apex.X, &r.Baseline
	// Other maxima and what is between them and the peak are not still.
	left, right := apex, apex
	for _, m := range r.apart() {
		left, right = math.Min(left, m.X), math.Max(right, m.X)
	}
	front := [2]int{0, indexOf(t, left-farOut*(apex-r.Tenth.InnerLeft))}
	back := [2]int{indexOf(t, right+farOut*(r.Tenth.InnerRight-apex)), t.Len()}
	nf, nb := front[1], back[1]-back[0]
	if nf < fewestStill || nb < fewestStill {
		return nil
	}
	// Columns about the apex: 1, u, u², and a half on each side of it.
	scale := 1 / math.Max(apex-position(t, 0), position(t, t.Len()-1)-apex)
	e := equations{n: 4}
	level, slope, whole := line.At(apex), line.Slope, 0.0
	for k, part := range [][2]int{front, back} {
		var s1, s2, s3, s4, y0, y1, y2 float64
		for x, y := range t.Points(part[0], part[1]) {
			x -= apex
			y -= level + slope*x
			u := x * scale
			uu := u * u
			whole += y * y
			s1 += u
			s2 += uu
			s3 += u * uu
			s4 += uu * uu
			y0 += y
			y1 += u * y
			y2 += uu * y
		}
		n, side := float64(part[1]-part[0]), float64(k)-0.5
		for i, row := range [4][4]float64{{n, s1, s2, side * n}, {s1, s2, s3, side * s1}, {s2, s3, s4, side * s2}, {side * n, side * s1, side * s2, n / 4}} {
			for j := i; j < 4; j++ {
				e.a[4*i+j] += row[j]
			}
		}
		for i, v := range [4]float64{y0, y1, y2, side * y0} {
			e.b[i] += v
		}
	}
	b := e.b
	if !e.solve() {
		return nil
	}
	c := e.b[:4]
	// The line of the test passes through the parabola in its own stretches, and
	// lies off it at the apex by this much.
	before, after := ((line.Before.From+line.Before.To)/2-apex)*scale, ((line.After.From+line.After.To)/2-apex)*scale
	bow := c[2] * before * after
	n := float64(nf + nb)
	explained := 0.0
	for i, v := range c {
		explained += v * b[i]
	}
	if noise := math.Sqrt(math.Max(0, whole-explained) / (n - 4)); math.Max(math.Abs(bow), math.Abs(c[3])) < leastBend*r.Height && noise < 0.99*leastNoise*r.Height {
		return nil // nothing of it matters
	}
	s := &stillness{bow: bow, step: c[3], means: [2]means{{size: max(4, r.PointsAboveHalfHeight/4)}, {size: max(8, r.PointsAboveHalfHeight)}}}
	square, next := 0.0, 0.0
	for k, part := range [][2]int{front, back} {
		c0, last := c[0]+c[3]*(float64(k)-0.5), 0.0
		var sums [2]float64
		var counts [2]int
		for x, y := range t.Points(part[0], part[1]) {
			x -= apex
			u := x * scale
			d := y - (level + slope*x) - c0 - u*(c[1]+u*c[2])
			square += d * d
			next += d * last
			last = d
			for j := range sums {
				sums[j] += d
				if counts[j]++; counts[j] == s.means[j].size {
					mean := sums[j] / float64(counts[j])
					s.means[j].square += mean * mean
					s.means[j].count++
					sums[j], counts[j] = 0, 0
				}
			}
		}
	}
	s.noise = math.Sqrt(square / (n - 4))
	if square > 0 {
		if lag := (next/square + 4/n) / (1 - 4/n); lag > 2/math.Sqrt(n) {
			s.lag = math.Min(lag, mostLag)
		}
	}
	// (c2, c3) by the inverse of their covariance.
	v := square / (n - 4) * (1 + s.lag) / (1 - s.lag)
	p, q, w := e.a[4*2+2], e.a[4*2+3], e.a[4*3+3]
	if det := v * (p*w - q*q); det > 0 {
		s.chi = (c[2]*c[2]*w - 2*c[2]*c[3]*q + c[3]*c[3]*p) / det
	}
	return s
}

// equations are normal equations a c = b of n unknowns, the upper triangle of a by rows.
type equations struct {
	n    int
	a    [mostUnknowns * mostUnknowns]float64
	b    [mostUnknowns]float64
	work [3 * mostUnknowns]float64
	iw   [mostUnknowns]int
}

const mostUnknowns = capDegree + 2

// solve puts the inverse of a into a and c into b, and reports whether it could: not
// if a is singular.
func (e *equations) solve() bool {
	sym := blas64.Symmetric{Uplo: blas.Upper, N: e.n, Stride: e.n, Data: e.a[:e.n*e.n]}
	norm := lapack64.Lansy(lapack.MaxColumnSum, sym, e.work[:])
	triangle, ok := lapack64.Potrf(sym)
	if !ok || lapack64.Pocon(sym, norm, e.work[:], e.iw[:]) < 1e-14 {
		return false
	}
	lapack64.Potrs(triangle, blas64.General{Rows: e.n, Cols: 1, Stride: 1, Data: e.b[:e.n]})
	_, ok = lapack64.Potri(triangle)
	return ok
}

// findBend looks for a baseline that is not straight under the peak, and reports
// whether it found one.
func (r *PulseResult) findBend(s *stillness) bool {
	if s == nil || s.chi < mostCurved {
		return false
	}
	bow, step := math.Abs(s.bow)/r.Height, math.Abs(s.step)/r.Height
	switch {
	case bow > leastBend && bow >= step/2:
		r.warn(kindBow, fmt.Sprintf("The baseline bends: in front of the peak and behind it the signal runs as on a curve that lies %s of the height off the straight line under the apex", percentage(bow)),
			"Let the detector settle until the signal is straight for a column volume in front of the sample, and repeat")
	case step > leastBend:
		r.warn(kindBow, fmt.Sprintf("The baseline steps by %s of the height somewhere under the peak", percentage(step)),
			"Look for a change of range, a valve or an air bubble in the cell at that time, and repeat")
	default:
		return false
	}
	return true
}

// findSpike looks for samples that stand alone: each against the parabola through
// five samples on both sides, the nearest left out.
func (r *PulseResult) findSpike() {
	const block = 64
	t := &r.recorded
	peak := [2]int{indexOf(t, r.Tenth.Left), indexOf(t, r.Tenth.Right)}
	sigma := float64(r.PointsAboveHalfHeight) / gaussianWidth
	var looks [2]struct {
		alone
		n           int
		least, bent float64 // least is known once noise was looked at
		worst       float64
		at          int
	}
	reach, count := 0, 0
	for k, out := range [...]int{1, 4} { // samples left out on each side
		l := &looks[k]
		l.alone = newAlone(out)
		if l.n = t.Len() - l.reach; r.PointsAboveHalfHeight < 15*out || l.n < 4*l.reach {
			break
		}
		// What a parabola through a Gaussian leaves, twofold.
		l.bent = 0.25 * math.Pow(float64(out+1)*float64(l.reach), 2) / math.Pow(sigma, 4) * r.Height
		reach, count = l.reach, k+1
	}
	for lo := 0; lo < t.Len() && count > 0; lo += block {
		// Where values differ by less than the smallest spike there is none.
		low, high := math.Inf(1), math.Inf(-1)
		for _, y := range t.Points(max(0, lo-reach), min(t.Len(), lo+block+reach)) {
			if y < low {
				low = y
			}
			if y > high {
				high = y
			}
		}
		if high-low < quickLook*leastSpike*r.Height {
			continue
		}
		for k := range looks[:count] {
			l := &looks[k]
			for i := max(lo, l.reach); i < min(lo+block, l.n); i++ {
				// A quick look first: far from the middle of two others?
				d := math.Abs(value(t, i) - (value(t, i-l.out-1)+value(t, i+l.out+1))/2)
				if d < quickLook*math.Max(l.least, leastSpike*r.Height) {
					continue
				}
				if l.least == 0 {
					noise := math.Max(math.Max(l.noise(t, l.reach, peak[0]), l.noise(t, peak[1], l.n)), l.noise(t, peak[0], peak[1]))
					if l.least = spikeStands*noise + leastSpike*r.Height; d < quickLook*l.least {
						continue
					}
				}
				if d := math.Abs(l.of(t, i)); d > l.least+l.bent && d > l.worst {
					l.worst, l.at = d, i
				}
			}
		}
	}
	for _, l := range looks[:count] {
		if l.worst > 0 {
			r.warn(kindSpike, fmt.Sprintf("A spike of %s of the height stands at %s", percentage(l.worst/r.Height), r.Axis.Show(position(t, l.at))),
				"Look for air in the detector's cell or an electrical disturbance, and repeat; a spike moves apex, height and the line under the peak")
			return
		}
	}
}

// An alone is how far a sample lies from the parabola through five samples on both
// sides, out samples left out in between.
type alone struct {
	out, reach int
	w          [10]float64 // weights by distance
}

func newAlone(out int) alone {
	e := alone{out: out, reach: out + 5}
	var n, s2, s4 float64
	for j := out + 1; j <= e.reach; j++ {
		x := float64(j * j)
		n += 2
		s2 += 2 * x
		s4 += 2 * x * x
	}
	for j := out + 1; j <= e.reach; j++ {
		e.w[j] = (s4 - s2*float64(j*j)) / (n*s4 - s2*s2)
	}
	return e
}

func (e *alone) of(t *trace.Trace, i int) float64 {
	d := value(t, i)
	for j := e.out + 1; j <= e.reach; j++ {
		d -= e.w[j] * (value(t, i-j) + value(t, i+j))
	}
	return d
}

// noise returns the standard deviation from lo to hi that single large values do not
// move, from the median of the sizes of up to 256 of them.
func (e *alone) noise(t *trace.Trace, lo, hi int) float64 {
	lo, hi = max(lo, e.reach), min(hi, t.Len()-e.reach)
	if hi-lo < fewestStill {
		return 0
	}
	var space [256]float64
	n := min(hi-lo, len(space))
	for k := range n {
		space[k] = math.Abs(e.of(t, lo+k*(hi-lo)/n))
	}
	slices.Sort(space[:n])
	return space[n/2] / 0.6744897501960817
}

// findClip looks for a top that the detector cut: by samples that are exactly
// equal, or by a cap that the flanks ask for and the top does not have.
func (r *PulseResult) findClip() {
	const do = "Take less sample, a weaker tracer or a shorter light path, and repeat; plates from a cut top are too few, and retention and asymmetry depend on where in it the apex was put"
	if run := r.flat(); run > flatTop*r.Half.Width() {
		r.warn(kindClipped, fmt.Sprintf("The top of the peak is flat over %s: the detector may be saturated", r.Axis.Show(run)), do)
		return
	}
	if n, of := r.ties(); n > 0 {
		r.warn(kindClipped, fmt.Sprintf("%d of the %d samples above 80 %% of the height have exactly the highest value: the detector may be saturated", n, of), do)
		return
	}
	if _, rise := r.second(); rise > 0 {
		return // between two apexes there is no top
	}
	if missing, stands := r.missingCap(); missing > leastCap && stands > capStands {
		r.warn(kindClipped, fmt.Sprintf("The top of the peak is flatter than its flanks: %s of the height seem to be missing. The detector may be saturated, with noise on top", percentage(missing)), do+". If it looks the same with half the sample, the bed runs in two parts")
	}
}

// flat returns how long the trace stays exactly at its highest value within the
// peak, if that is for three samples or more.
func (r *PulseResult) flat() float64 {
	near, err := r.recorded.Within(trace.Range{Axis: r.Axis, From: r.Half.Left, To: r.Half.Right})
	if err != nil {
		return 0
	}
	longest := 0.0
	_, highest := near.Extremes()
	top := value(&near, highest)
	for i := highest; i < near.Len(); i++ {
		if value(&near, i) != top {
			continue
		}
		j := i
		for j+1 < near.Len() && value(&near, j+1) == top {
			j++
		}
		if j-i >= 2 {
			longest = math.Max(longest, position(&near, j)-position(&near, i))
		}
		i = j
	}
	return longest
}

// ties returns how many samples have exactly the highest value, and how many stand
// above 80 % of the height; none unless there are far more than at the values
// below.
func (r *PulseResult) ties() (n, of int) {
	t := &r.recorded
	lo, hi := indexOf(t, r.Half.Left), indexOf(t, r.Half.Right)
	high := func(i int) bool { return value(t, i)-r.Baseline.At(position(t, i)) > 0.8*r.Height }
	top := math.Inf(-1)
	for i := lo; i <= hi; i++ {
		switch v := value(t, i); {
		case v < top || !high(i):
		case v == top:
			n++
		default:
			top, n = v, 1
		}
	}
	if n < fewestTies {
		return 0, 0
	}
	n = 0
	y := make([]float64, 0, hi-lo+1)
	for i := lo; i <= hi; i++ {
		if high(i) {
			y = append(y, value(t, i))
		}
	}
	slices.Sort(y)
	levels, below := 0, 0
	last := top
	for i := len(y) - 1; i >= 0; i-- {
		if y[i] == top {
			n++
			continue
		}
		if y[i] != last {
			if levels++; levels > 5 {
				break
			}
			last = y[i]
		}
		below++
	}
	if float64(n) < mostTies*float64(below)/math.Max(1, float64(min(levels, 5))) {
		return 0, len(y)
	}
	return n, len(y)
}

// missingCap returns how much of the height is missing at the top, and over how
// many standard errors. Above capFoot the logarithm of an even peak is a polynomial
// of degree capDegree; to it a cap is added, 1-(x/w)² within w of the middle of the
// crossings at capMiddle, for several w. A clip makes it negative.
func (r *PulseResult) missingCap() (missing, stands float64) {
	noise := r.noiseOfMeans()
	if !(noise > 0) {
		return 0, 0
	}
	t, calm := &r.recorded, &r.calm
	top, err := calm.Width(r.Apex, capMiddle)
	if err != nil {
		return 0, 0
	}
	foot, err := calm.Width(r.Apex, capFoot)
	if err != nil {
		return 0, 0
	}
	middle, half := (top.InnerLeft+top.InnerRight)/2, r.Half.Width()/2
	first := indexOf(t, position(calm, 0))
	lo, hi := indexOf(calm, foot.InnerLeft), indexOf(calm, foot.InnerRight)
	if hi-lo < 20 {
		return 0, 0
	}
	// The sums of the polynomial are the same for all caps.
	const terms = capDegree + 1
	var powers [2*capDegree + 1]float64
	var logs [terms]float64
	caps := [...]struct {
		w, self, log float64
		powers       [terms]float64
	}{{w: 0.2}, {w: 0.3}, {w: 0.45}}
	i := first + lo
	for x, s := range calm.Points(lo, hi) {
		if !(s > 0) {
			return 0, 0
		}
		y := value(t, i) - r.Baseline.At(x)
		i++
		u, weight := (x-middle)/half, s*s/(r.Height*r.Height)
		g := math.Log(s/r.Height) + (y-s)/s // the logarithm, without the bend of noise
		p := weight
		for k := range powers {
			if powers[k] += p; k < terms {
				logs[k] += p * g
			}
			p *= u
		}
		for j := range caps {
			c := &caps[j]
			p := 1 - u*u/(c.w*c.w)
			if !(p > 0) {
				continue
			}
			c.self += weight * p * p
			p *= weight
			c.log += p * g
			for k := range c.powers {
				c.powers[k] += p
				p *= u
			}
		}
	}
	for _, c := range caps {
		e := equations{n: terms + 1}
		for i := range terms {
			for j := i; j < terms; j++ {
				e.a[i*e.n+j] = powers[i+j]
			}
			e.a[i*e.n+terms], e.b[i] = c.powers[i], logs[i]
		}
		e.a[terms*e.n+terms], e.b[terms] = c.self, c.log
		if !e.solve() {
			continue
		}
		lacks, err := -e.b[terms], noise/r.Height*math.Sqrt(e.a[terms*e.n+terms])
		if lacks > stands*err && lacks > leastCap {
			missing, stands = lacks, lacks/err
		}
	}
	return missing, stands
}

// noiseOfMeans returns the standard deviation that a sample would have if the noise
// were independent and means scattered as they do.
func (r *PulseResult) noiseOfMeans() float64 {
	if r.spread == nil {
		return 0
	}
	return r.spread.noise * math.Sqrt(r.spread.inflation())
}

// findThinning looks for a record of which a historian stored a part, and reports
// whether it found one.
func (r *PulseResult) findThinning() bool {
	th, ok := r.recorded.Thinned()
	if ok {
		r.warn(kindThinned, fmt.Sprintf("The trace %s", strings.TrimSuffix(th.String(), "; ask for the raw rate")),
			"Ask for the record at its raw rate, before a dead band or a compression")
	}
	return ok
}

// findColour looks for noise whose means scatter by more than the correlation of
// neighbours explains, and for a detector that is slow beside the peak.
func (r *PulseResult) findColour(s *stillness) {
	if s == nil || s.noise < leastNoise*r.Height {
		return
	}
	for _, m := range s.means {
		// The variance of the mean of n samples of a first-order autoregression.
		n, p := float64(m.size), s.lag
		want := s.noise * s.noise / n * ((1+p)/(1-p) - 2*p*(1-math.Pow(p, n))/(n*(1-p)*(1-p)))
		freedom := float64(m.count - 4)
		if freedom >= 4 && (distuv.ChiSquared{K: freedom}).Survival(m.square/want) < mostColour {
			r.warn(kindColour, fmt.Sprintf("The noise is coloured: its means over %d samples scatter %.1f times as much as independent noise would, so that intervals are too narrow", m.size, math.Sqrt(m.square/want/freedom)),
				"Look for a lamp, pump or temperature that wanders; repeat on a steadier baseline, or read the scatter of repeats")
			return
		}
	}
	if s.lag > 0 {
		tau := -r.recorded.Step() / math.Log(s.lag)
		if part := tau * tau / r.Moments.Variance; part > mostDetector {
			r.warn(kindSlow, fmt.Sprintf("Neighbouring samples of the noise go together as behind a filter of %s, which makes %s of the peak's variance", r.Axis.Show(tau), percentage(part)),
				"Set the detector's time constant to less than a twentieth of the width at half height, and repeat")
		}
	}
}
