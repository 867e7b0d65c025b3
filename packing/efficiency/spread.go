package efficiency

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/evenbed/evenbed/packing/trace"
)

// What is measured in a trace; every number of a result is a function of these.
const (
	mApex = iota
	mHeight
	mLeft50
	mRight50
	mLeft10
	mRight10
	mLeft5
	mRight5
	mArea
	mMean
	mVariance
	measures

	local = mArea // those below need a few points near the peak only
)

// crossed are the parts of the height that the crossings stand at, two by two.
var crossed = [...]float64{0.5, 0.1, 0.05}

// measured holds one value of each.
type measured [measures]float64

// measured returns what was measured.
func (r *PulseResult) measured() measured {
	return measured{r.Apex.X, r.Height, r.Half.Left, r.Half.Right, r.Tenth.Left, r.Tenth.Right,
		r.Fifth.Left, r.Fifth.Right, r.Moments.Area, r.Moments.Mean, r.Moments.Variance}
}

// A function is one of a result's numbers as a function of what is measured.
type function func(r *PulseResult, m measured) float64

func plates50(_ *PulseResult, m measured) float64 {
	return plates(halfHeight, m[mApex], m[mRight50]-m[mLeft50])
}

func asymmetry10(_ *PulseResult, m measured) float64 {
	return asymmetry(m[mApex]-m[mLeft10], m[mRight10]-m[mApex])
}

func symmetry5(_ *PulseResult, m measured) float64 {
	return symmetryFactor(m[mRight5]-m[mLeft5], m[mApex]-m[mLeft5])
}

// The bounds of a first-order interval. Chosen by the coverage that
// TestCoverage measures.
const (
	fewestCorrelated = 100   // points in the quiet stretches, if neighbours are correlated
	mostLag          = 0.95  // correlation of neighbours that is still noise
	mostFalse        = 0.002 // chance that noise crosses a level outside the peak
	mostApart        = 0.25  // error of a crossing, of its distance from the apex
	mostRelative     = 0.4   // standard error of a number
	mostBend         = 4.0   // noise of the curvature at the apex, over it
	slopeNoise       = 0.1   // noise of a slope or a curvature that is good enough
	leastTop         = 0.75  // of the height, for the curvature at the apex
	perSlopeReach    = 6     // points above half height for one more on each side
)

// A spread is the noise of a signal and what it does to what was measured.
type spread struct {
	noise   float64 // standard deviation of one sample
	lag     float64 // correlation of neighbouring samples, 0 if none is seen
	freedom float64 // degrees of freedom of the noise
	wide    float64 // half-width of a 95 % interval in standard errors
	points  float64 // in the quiet stretches
	squares float64 // Σ (x - origin)² over them
	quiet   [2][2]int

	cov   [measures][measures]float64
	bias  [measures]float64 // from taking the highest of several maxima
	doubt [measures]string  // why the first order may not hold, or empty

	drawn *drawing // of resampled traces, if they were asked for
}

// newSpread takes the noise and the correlation of neighbours from the quiet
// stretches; nil if there is none.
func (r *PulseResult) newSpread() *spread {
	l, t := r.Baseline, r.recorded
	if !(l.Noise > 0) || l.Points < 4 {
		return nil
	}
	n := float64(l.Points)
	s := &spread{points: n, squares: l.Squares}
	for k, q := range []trace.Range{l.Before, l.After} {
		s.quiet[k] = [2]int{indexOf(&t, q.From), indexOf(&t, q.To) + 1}
	}
	// The residuals of a line through n points of white noise have a
	// correlation of about -2/n between neighbours, with a scatter of 1/√n.
	if lag := (l.Lag + 2/n) / (1 - 4/n); lag > 2/math.Sqrt(n) {
		s.lag = math.Min(lag, mostLag)
	}
	// Of the variance of correlated noise, and of what it does to a mean, less
	// is known than of n points.
	s.freedom = n - 2
	if p := s.lag; p > 0 {
		s.freedom = math.Max(1, n*(1-p*p)/(3+p*p)-2)
	}
	s.noise = l.Noise * math.Sqrt((n-2)/math.Max(1, n-2*s.inflation()))
	s.wide = student(s.freedom)
	return s
}

// inflation is by how much the correlation raises the variance of a mean.
func (s *spread) inflation() float64 { return (1 + s.lag) / (1 - s.lag) }

// student returns the 97.5th percentile of Student's t. From 4 degrees of
// freedom on it takes the expansion in their reciprocal, which is right to 3 in
// 10,000 and takes no time.
//
// Source: M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions
// (1964), 26.7.5.
func student(freedom float64) float64 {
	if freedom < 4 {
		return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: freedom}.Quantile(0.975)
	}
	const z = 1.9599639845400545
	const z3, z5, z7, z9 = z * z * z, z * z * z * z * z, z * z * z * z * z * z * z, z * z * z * z * z * z * z * z * z
	v := 1 / freedom
	return z + v*((z3+z)/4+v*((5*z5+16*z3+3*z)/96+v*((3*z7+19*z5+17*z3-15*z)/384+
		v*(79*z9+776*z7+1482*z5-1920*z3-945*z)/92160)))
}

// indexOf returns the first point at x or behind it.
func indexOf(t *trace.Trace, x float64) int {
	return sort.Search(t.Len()-1, func(i int) bool { return position(t, i) >= x })
}

// A reading is a weighted sum of the net signal, Σ w_i y_i from point start on.
// The baseline is a weighted sum of the quiet points: level and tilt say how
// the reading answers to it.
type reading struct {
	start       int
	w           []float64
	level, tilt float64 // -Σ w_i and -Σ w_i (x_i - origin)
	// The same sums, not negated, over the points in the quiet stretches.
	quiet, quietTilt float64
}

// half returns the half-width of the smoothing window, 0 if nothing is
// smoothed.
func (r *PulseResult) half() int {
	if m := r.SmoothingWindow / 2; m >= 2 {
		return m
	}
	return 0
}

// reading returns the reading of weights p on smoothed points from start on.
// It takes memory from room: 2 half() more than p has.
func (r *PulseResult) reading(s *spread, start int, p []float64, room *[]float64) reading {
	m := r.half()
	w := take(room, len(p)+2*m)
	smoothWeights(w, p, m)
	start -= m
	if start < 0 {
		w, start = w[-start:], 0
	}
	w = w[:min(len(w), r.recorded.Len()-start)]
	out := reading{start: start, w: w}
	level, tilt := r.sums(start, w, start, start+len(w))
	out.level, out.tilt = -level, -tilt
	for _, q := range s.quiet {
		level, tilt := r.sums(start, w, q[0], q[1])
		out.quiet += level
		out.quietTilt += tilt
	}
	return out
}

// sums returns Σ w_i and Σ w_i (x_i - origin) over points lo to hi-1.
func (r *PulseResult) sums(start int, w []float64, lo, hi int) (level, tilt float64) {
	for i := max(lo, start); i < min(hi, start+len(w)); i++ {
		level += w[i-start]
		tilt += w[i-start] * (position(&r.recorded, i) - r.Baseline.Origin)
	}
	return level, tilt
}

// take cuts n numbers off room.
func take(room *[]float64, n int) []float64 {
	out := (*room)[:n:n]
	*room = (*room)[n:]
	return out
}

// smoothWeights fills w with the weights on the points before smoothing that
// stand for weights p on those after it: p smoothed itself, with m more on each
// side.
func smoothWeights(w, p []float64, m int) {
	if m == 0 {
		copy(w, p)
		return
	}
	h := float64(m)
	norm := (2*h - 1) * (2*h + 1) * (2*h + 3)
	a, b := 3*(3*h*h+3*h-1)/norm, 15/norm
	var s0, s1, s2 float64 // Σ p_j, Σ j p_j, Σ j² p_j over j = i-m … i+m
	for k := range w {
		i := k - m
		if j := i + m; j < len(p) {
			x := float64(j)
			s0, s1, s2 = s0+p[j], s1+x*p[j], s2+x*x*p[j]
		}
		if j := i - m - 1; j >= 0 {
			x := float64(j)
			s0, s1, s2 = s0-p[j], s1-x*p[j], s2-x*x*p[j]
		}
		x := float64(i)
		w[k] = a*s0 - b*(s2-2*x*s1+x*x*s0)
	}
}

// covariance returns that of two readings: of their points,
//
//	σ² Σ u_i v_j ρ^|i-j|,
//
// of the baseline's level and slope, common to both, and of points that belong
// to a reading and to the baseline.
func (s *spread) covariance(u, v reading) float64 {
	sum := 0.0
	if s.lag == 0 {
		us, vs := u.w[min(len(u.w), max(0, v.start-u.start)):], v.w[min(len(v.w), max(0, u.start-v.start)):]
		for i := range min(len(us), len(vs)) {
			sum += us[i] * vs[i]
		}
	} else {
		// forward is Σ v_j ρ^(i-j) over j ≤ i, backward over j > i.
		lo, hi := min(u.start, v.start), max(u.start+len(u.w), v.start+len(v.w))
		at := func(r reading, i int) float64 {
			if i -= r.start; i >= 0 && i < len(r.w) {
				return r.w[i]
			}
			return 0
		}
		forward, backward := 0.0, 0.0
		for i := lo; i < hi; i++ {
			forward = s.lag*forward + at(v, i)
			sum += at(u, i) * forward
		}
		for i := hi - 1; i >= lo; i-- {
			sum += at(u, i) * backward
			backward = s.lag * (backward + at(v, i))
		}
	}
	line := (u.level*v.level + u.level*v.quiet + u.quiet*v.level) / s.points
	line += (u.tilt*v.tilt + u.tilt*v.quietTilt + u.quietTilt*v.tilt) / s.squares
	return s.noise * s.noise * (sum + s.inflation()*line)
}

// integers returns how many there are from -q to q, and the sums of their
// squares and fourth powers.
func integers(q int) (n, t2, t4 float64) {
	h := float64(q)
	n = 2*h + 1
	t2 = h * (h + 1) * n / 3
	t4 = t2 * (3*h*h + 3*h - 1) / 5
	return n, t2, t4
}

// slopeBetween returns the slope of the smoothed signal between points i and
// i+1, from half a window more on both sides, and so many that its noise is
// small beside it. From the two points alone it would be too steep, since an
// outermost crossing lies where the noise falls, too.
func (r *PulseResult) slopeBetween(s *spread, i int) float64 {
	most := max(1, r.PointsAboveHalfHeight/perSlopeReach)
	noise := s.noise * math.Sqrt(s.inflation())
	for q := min(r.half(), most); ; q++ {
		lo, hi := max(0, i-q), min(r.calm.Len()-1, i+1+q)
		middle := float64(lo+hi) / 2
		var xy, xx float64
		for k := lo; k <= hi; k++ {
			d := float64(k) - middle
			xy += d * value(&r.calm, k)
			xx += d * d
		}
		slope := xy / xx
		if q >= most || noise/math.Sqrt(xx) < slopeNoise*math.Abs(slope) {
			return slope * float64(hi-lo) / (position(&r.calm, hi) - position(&r.calm, lo))
		}
	}
}

// curvatureAtApex returns that of the apex' own parabola, -y” per point squared,
// from so many points that its noise is small beside it.
func (r *PulseResult) curvatureAtApex(s *spread) float64 {
	noise := s.noise * math.Sqrt(s.inflation())
	k, curvature := r.Apex.Index, math.NaN()
	for q := r.reach(); k-q >= 0 && k+q < r.calm.Len(); q += 1 + q/4 {
		n, t2, t4 := integers(q)
		var y0, y2 float64
		for d := -q; d <= q; d++ {
			y := value(&r.calm, k+d)
			y0 += y
			y2 += float64(d*d) * y
		}
		det := n*t4 - t2*t2
		c2 := (n*y2 - t2*y0) / det
		// A parabola through a Gaussian is less curved than its top, by 3/7 of
		// the part of the height that it falls.
		short := func(q int) float64 { return 1 + 3.0/7*c2*float64(q*q)/r.Height }
		curvature = -2 * c2 * short(r.reach()) / short(q)
		low := math.Min(value(&r.calm, k-q), value(&r.calm, k+q))
		if 2*(q+1+q/4)+1 > r.PointsAboveHalfHeight || low < leastTop*r.Height || noise*math.Sqrt(n/det) < slopeNoise*-c2 {
			break
		}
	}
	return curvature
}

// localSpread works out the covariances of apex, height and crossings. A
// crossing at fraction f moves by (f δh - δs)/s' and the apex by -δs'/s”, with
// s the smoothed signal there: δs, δs' and δh are weighted sums of the noise.
func (r *PulseResult) localSpread(s *spread) {
	// The parabola through the points about the highest one.
	q, k, m := r.reach(), r.Apex.Index, r.half()
	var space [512]float64 // enough for usual windows, and not on the heap
	memory := space[:]
	if need := 3*(2*q+1) + 3*(2*q+1+2*m) + 6*(2+2*m); need > len(memory) {
		memory = make([]float64, need)
	}
	room := &memory
	n, t2, t4 := integers(q)
	det := n*t4 - t2*t2
	lo, hi := max(0, k-q), min(r.calm.Len()-1, k+q)
	step := (position(&r.calm, hi) - position(&r.calm, lo)) / float64(hi-lo)
	u := (r.Apex.X - position(&r.calm, k)) / step
	height, slope, bend := take(room, 2*q+1), take(room, 2*q+1), take(room, 2*q+1)
	for i := range height {
		d := float64(i - q)
		w0, w1, w2 := (t4-t2*d*d)/det, d/t2, (n*d*d-t2)/det
		height[i] = w0 + u*(w1+u*w2)
		slope[i] = w1 + 2*u*w2
		bend[i] = 2 * w2
	}
	offset := 0 // of calm in the recorded trace
	if r.calm.Len() < r.recorded.Len() {
		offset = indexOf(&r.recorded, position(&r.calm, 0))
	}
	var read [local]reading
	read[mApex] = r.reading(s, k-q+offset, slope, room)
	read[mHeight] = r.reading(s, k-q+offset, height, room)
	bends := r.reading(s, k-q+offset, bend, room)
	curvature := r.curvatureAtApex(s)
	ratio := math.Sqrt(s.covariance(bends, bends)) / curvature
	switch {
	case !r.parabolic():
		s.doubt[mApex] = "no parabola goes through the top, and the highest sample was taken"
	case !(ratio < mostBend):
		s.doubt[mApex] = "the top is flat beside the noise, and the apex may lie anywhere on it"
	}

	// What is measured answers by own to its reading and by tilt to the height.
	var own, tilt [local]float64
	aside, lower, above := highest(ratio)
	own[mApex], own[mHeight] = step/curvature*aside, lower
	at := r.measured()
	for c, x := range at[mLeft50:local] {
		if math.IsNaN(x) {
			continue
		}
		i := max(0, indexOf(&r.calm, x)-1)
		x0, x1 := position(&r.calm, i), position(&r.calm, i+1)
		part := [2]float64{1, 0}
		if x1 > x0 {
			part[1] = (x - x0) / (x1 - x0)
			part[0] = 1 - part[1]
		}
		j := mLeft50 + c
		read[j] = r.reading(s, i+offset, part[:], room)
		slope := r.slopeBetween(s, i)
		own[j], tilt[j] = -1/slope, lower*crossed[c/2]/slope
	}
	var raw [local][local]float64
	for i := range local {
		for j := range i + 1 {
			raw[i][j] = s.covariance(read[i], read[j])
			raw[j][i] = raw[i][j]
		}
	}
	s.bias[mHeight] = above * math.Sqrt(raw[mHeight][mHeight])
	for i := range local {
		if i >= mLeft50 {
			s.bias[i] = tilt[i] / lower * s.bias[mHeight]
		}
		for j := range local {
			s.cov[i][j] = own[i]*own[j]*raw[i][j] + own[i]*tilt[j]*raw[i][mHeight] +
				tilt[i]*own[j]*raw[mHeight][j] + tilt[i]*tilt[j]*raw[mHeight][mHeight]
		}
	}
	for c, x := range at[mLeft50:local] {
		j := mLeft50 + c
		s.doubt[j] = r.doubtCrossing(s, c, x, math.Sqrt(s.cov[j][j]))
	}
}

// parabolic reports whether the apex is that of a parabola, and not the highest
// sample itself.
func (r *PulseResult) parabolic() bool {
	q, k := r.reach(), r.Apex.Index
	if k-q < 0 || k+q >= r.calm.Len() {
		return false
	}
	n, t2, t4 := integers(q)
	var y0, y1, y2 float64
	for d := -q; d <= q; d++ {
		y := value(&r.calm, k+d)
		y0, y1, y2 = y0+y, y1+float64(d)*y, y2+float64(d*d)*y
	}
	c1, c2 := y1/t2, (n*y2-t2*y0)/(n*t4-t2*t2)
	return c2 < 0 && math.Abs(c1) <= -2*c2*float64(q)
}

// highest tells how the apex of a flat top differs from the first order, since
// the highest of several maxima is taken: its position and its height scatter
// so many times as much, and it is too high by so many standard errors of the
// first order. Ratio is the standard deviation of the parabola's curvature over
// the curvature. Fitted to the scatter of simulated peaks, which TestHighest
// repeats.
func highest(ratio float64) (aside, height, above float64) {
	return math.Pow(1+math.Pow(ratio/1.14, 3), -0.17), math.Pow(1+2*ratio*ratio, -0.068), 0.45 * math.Log(1+1.2*ratio)
}

// doubtCrossing tells why crossing c at x may move by more than its standard
// error se tells.
func (r *PulseResult) doubtCrossing(s *spread, c int, x, se float64) string {
	if math.IsNaN(x) {
		return "the signal does not fall so far"
	}
	fraction := crossed[c/2]
	level, m := fraction*r.Height, r.half()
	// The points outside, of which one in m is independent of the others.
	seen := r.recorded // where the crossing was looked for
	if r.Pulse.Smoothing.PeakOnly {
		seen = r.calm
	}
	outside := indexOf(&seen, x)
	if c%2 == 1 {
		outside = seen.Len() - outside
	}
	if outside <= m {
		return "a crossing lies at the end of the trace, where little is smoothed"
	}
	beyond := func(part float64) float64 { // part is what smoothing leaves of the variance
		return math.Erfc(level/s.noise/math.Sqrt(2*math.Min(1, part*s.inflation()))) / 2
	}
	chance := float64(outside) / float64(max(1, m)) * beyond(centre(r.SmoothingWindow))
	if m > 0 {
		// At its ends the trace is smoothed by the quadratic's last value.
		n := float64(r.SmoothingWindow)
		chance += beyond(3 * (3*n*n - 3*n + 2) / (n * (n + 1) * (n + 2)))
	}
	if chance > mostFalse {
		return fmt.Sprintf("noise may cross %.0f %% of the height outside the peak", 100*fraction)
	}
	if se > mostApart*math.Abs(x-r.Apex.X) {
		return "a crossing is uncertain by a large part of its distance from the apex"
	}
	return ""
}

// momentSpread adds the covariances of area, mean and variance, between the
// limits they were taken in.
func (r *PulseResult) momentSpread(s *spread) {
	m := r.Moments
	if math.IsNaN(m.Mean) {
		for _, i := range []int{mArea, mMean, mVariance} {
			s.doubt[i] = "the moments cannot be taken"
		}
		return
	}
	// The trapezoidal rule: a stretch between two points counts half its length
	// for each of them.
	t, from, to := r.recorded, m.Range.From, m.Range.To
	lo, hi := indexOf(&t, from), indexOf(&t, to)
	if lo > 0 && position(&t, lo) > from {
		lo--
	}
	n := hi - lo + 1
	memory := make([]float64, 3*n+3*(n+2*r.half()))
	room := &memory
	weights := [3][]float64{take(room, n), take(room, n), take(room, n)}
	add := func(i int, x, w float64) { // the value at x, between i-1 and i, counts w
		i = max(i, lo+1)
		part := 0.0
		if step := position(&t, i) - position(&t, i-1); step > 0 {
			part = (x - position(&t, i-1)) / step
		}
		d := x - m.Mean
		for k, v := range [3]float64{w, w * d / m.Area, w * (d*d - m.Variance) / m.Area} {
			weights[k][i-lo-1] += (1 - part) * v
			weights[k][i-lo] += part * v
		}
	}
	last, at := from, lo+1
	for i := lo; i <= hi; i++ {
		if x := math.Min(position(&t, i), to); x > last {
			add(at, last, (x-last)/2)
			add(i, x, (x-last)/2)
			last, at = x, i
		}
	}
	var read [3]reading
	for i := range read {
		read[i] = r.reading(s, lo, weights[i], room)
		for j := range i + 1 {
			c := s.covariance(read[i], read[j])
			s.cov[mArea+i][mArea+j], s.cov[mArea+j][mArea+i] = c, c
		}
	}
	if r.Pulse.MomentRange.IsZero() {
		left, right := mLeft5, mRight5
		if math.IsNaN(r.Fifth.Width()) {
			left, right = mLeft10, mRight10
		}
		for _, limit := range []int{left, right} {
			if s.doubt[limit] != "" {
				s.doubt[mVariance] = "the limits of the moments come from a crossing that is in doubt"
			}
		}
	}
}

// stdErr returns the standard error of a function of what is measured, by
// propagation to the first order, by how much it is too large on average, and
// what speaks against both.
func (r *PulseResult) stdErr(s *spread, f function) (se, bias float64, doubt string) {
	at := r.measured()
	here := f(r, at)
	if math.IsNaN(here) {
		return math.NaN(), math.NaN(), "there is no value"
	}
	var g [measures]float64
	for i := range measures {
		if d := 0.1 * math.Sqrt(s.cov[i][i]); d > 0 {
			up, down := at, at
			up[i] += d
			down[i] -= d
			g[i] = (f(r, up) - f(r, down)) / (2 * d)
		}
	}
	sum := 0.0
	for i, gi := range g {
		bias += gi * s.bias[i]
		if gi == 0 {
			continue
		}
		for j := range g {
			if g[j] != 0 {
				sum += gi * g[j] * s.cov[i][j]
			}
		}
	}
	for i, gi := range g {
		if s.doubt[i] != "" && gi*gi*s.cov[i][i] > 0.01*sum {
			doubt = s.doubt[i]
		}
	}
	se = math.Sqrt(sum)
	switch {
	case !(se > 0) || math.IsNaN(bias):
		return math.NaN(), math.NaN(), "no standard error can be worked out at such a peak"
	case doubt != "":
	case r.Baseline.Bent():
		doubt = "the baseline is a rubber band, and the error is that over a straight line"
	case s.lag > 0 && s.points < fewestCorrelated:
		doubt = "the noise is correlated, and the quiet stretches are too short to tell how much"
	case s.lag == mostLag:
		doubt = "the signal waves or drifts in the quiet stretches"
	case !(se < mostRelative*math.Abs(here)):
		doubt = "the error is a large part of the value"
	}
	return se, bias, doubt
}

// sampling returns by how much at most the samples' distance moves what is
// measured. A straight line between samples moves a crossing by
//
//	h²|s”|/(8|s'|)
//
// with h the step; the parabola through q points on each side of the highest
// moves the apex of a Gaussian by 0.048 h (qh/σ)² and changes its height by
// 0.07 (qh/σ)⁴ of it (the largest of Gaussians between the samples; TestSampling
// repeats it).
func (r *PulseResult) sampling() measured {
	var most measured
	reach := float64(r.reach())
	flat := reach * reach * r.curvatureAtApex(&spread{}) / r.Height // (qh/σ)²
	k, last := r.Apex.Index, r.calm.Len()-1
	most[mApex] = 0.048 * flat * (position(&r.calm, min(k+1, last)) - position(&r.calm, max(k-1, 0))) / 2
	most[mHeight] = 0.07 * flat * flat * r.Height

	q := max(1, r.PointsAboveHalfHeight/perSlopeReach)
	at := r.measured()
	for c, x := range at[mLeft50:local] {
		if math.IsNaN(x) {
			continue
		}
		i := max(0, indexOf(&r.calm, x)-1)
		lo, hi := max(0, i-q), min(last, i+1+q)
		middle := float64(lo+hi) / 2
		var n, t2, t4, y0, y1, y2 float64
		for k := lo; k <= hi; k++ {
			d, y := float64(k)-middle, value(&r.calm, k)
			n, t2, t4 = n+1, t2+d*d, t4+d*d*d*d
			y0, y1, y2 = y0+y, y1+d*y, y2+d*d*y
		}
		slope, bend := math.Abs(y1/t2), math.Abs(2*(n*y2-t2*y0)/(n*t4-t2*t2))
		fraction := crossed[c/2]
		most[mLeft50+c] = (bend/8 + fraction*most[mHeight]) / slope * (position(&r.calm, i+1) - position(&r.calm, i))
	}
	return most
}

// errors works out the standard errors of what is compared with limits.
func (r *PulseResult) errors() error {
	s := r.newSpread()
	if s != nil {
		r.localSpread(s)
		if r.Pulse.Bootstrap.Traces > 0 {
			var err error
			if s.drawn, err = r.draw(s); err != nil {
				return err
			}
		}
	}
	r.spread = s
	return nil
}
