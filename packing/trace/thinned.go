package trace

import (
	"fmt"
	"math"
	"slices"
)

// A Thinning tells why a trace reads like a record that was thinned: kept only
// when the value left a dead band, and then drawn with points between those kept.
type Thinning struct {
	Kept    int     // points that seem to be measured
	Between float64 // share of what the signal moves that runs over points put between them; 0 if only kept points are there
	Held    bool    // those points repeat the one before, else they lie on straight lines
}

// String says it in a sentence.
func (t Thinning) String() string {
	const like = "reads like a record kept by a dead band: "
	switch {
	case t.Between == 0:
		return like + fmt.Sprintf("the %d points stand where the value had moved by a fixed amount, and nowhere else; ask for the raw rate", t.Kept)
	case t.Held:
		return like + fmt.Sprintf("%.0f %% of the points on its flanks repeat the one before; ask for the raw rate", 100*t.Between)
	}
	return like + fmt.Sprintf("%.0f %% of its way runs on straight lines without noise; ask for the raw rate", 100*t.Between)
}

// What makes a trace read as thinned. Found on seeded traces, plain and thinned; the
// test tells how often each is told.
const (
	thinnedShare = 0.25 // of the way over points between kept ones, at least
	thinnedClear = 0.15 // of those and of what is hardly off a line, at most
	thinnedKept  = 5    // kept points, at least
	// A point farther off the line of its neighbours than this many times the
	// rounding of the values is no rounded point of a line.
	thinnedFar = 5
)

// Thinned reports whether the trace reads like a record kept by a historian's dead
// band: points on straight lines between a few others or held from them, or few
// points, each a fixed amount away from the one before. The noise of such a record
// is gone, and its widths are those of the band. Ask it of a trace as it was
// recorded, before smoothing.
//
// With d the distance of each point from the line through its neighbours and q the
// rounding of the values, lines are told by many points with d below q, hardly any
// just above and some far above, each counted by how far the signal moves there. A
// signal that is rounded coarsely or free of noise has no such gap. A signal that
// was recorded at a slower rate than it is written, with each value a fixed number of
// times or on lines of a fixed length, is not one of these.
//
// Of 77,760 seeded plain traces none was told, with noise white or pink, rounded or
// averaged; of those with a dead band of 5 or 10 % of the height at least 87 %, of 2 %
// mostly more than 86 %, fewer where values are rounded to 0.01 % of the height.
func (t Trace) Thinned() (Thinning, bool) {
	if len(t.y) < 12 {
		return Thinning{}, false
	}
	low, high, longest, plain := t.plain()
	if high == low {
		return Thinning{}, false
	}
	if plain {
		return t.keptOnly(longest)
	}
	// The rounding is the smallest difference of any two values. That of neighbours
	// is no smaller, and nearly always tells already that there are no lines.
	lines, _ := t.onChords(smallestMove(t.y, high-low))
	repeats, _ := t.held(0, low, high)
	if lines.Between >= thinnedShare || repeats.Between >= thinnedShare {
		sorted := slices.Clone(t.y)
		slices.Sort(sorted)
		q := smallestMove(sorted, high-low)
		if th, yes := t.onChords(q); yes {
			return th, true
		}
		if th, yes := t.held(q, low, high); yes {
			return th, true
		}
	}
	return t.keptOnly(longest)
}

// plain looks once at all points. It returns the lowest and highest value and the
// longest step, and reports whether neither lines nor repeats can be told: no value
// repeats the one before, and too few points lie on lines even where the rounding is
// taken for the smallest of some differences, which is larger than it can be.
func (t Trace) plain() (low, high, longest float64, plain bool) {
	n := len(t.x)
	x, y := t.x, t.y[:n]
	least := math.Inf(1)
	for i := 1; i < n; i += 1 + n/128 {
		if d := math.Abs(y[i] - y[i-1]); d > 0 && d < least {
			least = d
		}
	}
	q := 1.05 * least
	var on, off float64
	repeats := false
	x0, y0, x1, y1 := x[0], y[0], x[1], y[1]
	low, high, longest = math.Min(y0, y1), math.Max(y0, y1), x1-x0
	for i := 2; i < n; i++ {
		x2, y2 := x[i], y[i]
		if y2 < low {
			low = y2
		}
		if y2 > high {
			high = y2
		}
		if x2-x1 > longest {
			longest = x2 - x1
		}
		if y2 == y1 {
			repeats = true
		}
		way, step := y2-y0, x2-x0
		if math.Abs((y1-y0)*step-way*(x1-x0)) > q*step {
			off += math.Abs(way)
		} else {
			on += math.Abs(way)
		}
		x0, y0, x1, y1 = x1, y1, x2, y2
	}
	repeats = repeats || y[0] == y[1]
	return low, high, longest, !repeats && least > 1e-9*(high-low) && on < 0.99*thinnedShare*(on+off)
}

// smallestMove returns the smallest difference of neighbours that is more than
// the rounding of a float64.
func smallestMove(y []float64, span float64) float64 {
	least, q := 1e-9*span, span
	for i := 1; i < len(y); i++ {
		if d := math.Abs(y[i] - y[i-1]); d > least && d < q {
			q = d
		}
	}
	return q
}

// offChord returns how far point i lies from the line through its neighbours, and how
// far the signal moves there; false where positions do not move.
func (t Trace) offChord(i int) (d, way float64, ok bool) {
	step := t.x[i+1] - t.x[i-1]
	if !(step > 0) {
		return 0, 0, false
	}
	way = t.y[i+1] - t.y[i-1]
	return math.Abs(t.y[i] - t.y[i-1] - way*(t.x[i]-t.x[i-1])/step), math.Abs(way), true
}

// onChords looks for points on the straight line between their neighbours, where
// values are rounded to q.
func (t Trace) onChords(q float64) (Thinning, bool) {
	q *= 1.05
	var on, near, far float64
	kept := 0
	for i := 1; i < len(t.y)-1; i++ {
		switch d, way, ok := t.offChord(i); {
		case !ok:
		case d <= q:
			on += way
		case d <= thinnedFar*q:
			near += way
		default:
			far += way
			kept++
		}
	}
	all := on + near + far
	th := Thinning{Kept: kept, Between: on / all}
	return th, on >= thinnedShare*all && near <= thinnedClear*(on+near) && kept >= thinnedKept && !t.even(func(i int) bool {
		d, _, ok := t.offChord(i)
		return ok && d > thinnedFar*q
	})
}

// held looks for points on the flanks that repeat the one before.
func (t Trace) held(q, low, high float64) (Thinning, bool) {
	flank := func(i int) bool {
		v := (t.y[i] - low) / (high - low)
		return v >= 0.1 && v <= 0.9
	}
	var same, near, far int
	for i := 1; i < len(t.y); i++ {
		switch d := math.Abs(t.y[i] - t.y[i-1]); {
		case !flank(i):
		case d == 0:
			same++
		case d <= thinnedFar*q:
			near++
		default:
			far++
		}
	}
	th := Thinning{Kept: far, Between: float64(same) / float64(same+near+far), Held: true}
	return th, th.Between >= thinnedShare && float64(near) <= thinnedClear*float64(same+near) && far >= thinnedKept && !t.even(func(i int) bool {
		return flank(i) && math.Abs(t.y[i]-t.y[i-1]) > thinnedFar*q
	})
}

// even tells whether nearly all of the points that were kept are a fixed number
// apart, more than one: those of a signal that was recorded at a slower rate than it
// is written.
func (t Trace) even(kept func(i int) bool) bool {
	apart := map[int]int{}
	most, all, last := 0, 0, 0
	for i := 1; i < len(t.y)-1; i++ {
		if !kept(i) {
			continue
		}
		if last > 0 {
			all++
			d := i - last
			if apart[d]++; apart[d] > apart[most] {
				most = d
			}
		}
		last = i
	}
	whole := 0
	for d, n := range apart {
		if most > 1 && d%most == 0 {
			whole += n
		}
	}
	return 10*whole > 9*all
}

// keptOnly looks for points that stand only where the value had moved; longest is the
// longest step.
func (t Trace) keptOnly(longest float64) (Thinning, bool) {
	if longest <= 1.5*t.Step() {
		return Thinning{}, false // then half of the steps are half the mean or more, and none is long
	}
	n := len(t.y) - 1 // the last point of a record is kept wherever it is
	steps, moves := make([]float64, n-1), make([]float64, n-1)
	for i := range steps {
		steps[i], moves[i] = t.x[i+1]-t.x[i], math.Abs(t.y[i+1]-t.y[i])
	}
	slices.Sort(moves)
	slices.Sort(steps)
	long := 0.0
	for _, s := range steps {
		if s > 4*steps[n/2] {
			long += s
		}
	}
	few := moves[0]
	if n > 20 {
		few = moves[n/10]
	}
	return Thinning{Kept: n + 1}, long > 0.3*(t.x[n-1]-t.x[0]) && few > 0.5*moves[n/2]
}
