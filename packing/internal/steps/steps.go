// Package steps cuts a record into the plateaus of one signal, and tells whether
// another signal was steady on them. It is plain mathematics on float64.
//
// [Finder.Plateaus] needs no schedule: it knows a plateau by its level, held for
// some time. [Drift] of the end of a plateau gives level and slope with standard
// errors that hold for noise with a memory, too.
package steps

import (
	"fmt"
	"math"
	"slices"
)

// A Plateau is a stretch of samples in which a signal stays at one level.
type Plateau struct {
	Start, Finish float64 // where the signal is half way to the neighbours, or the record's ends
	From, To      float64 // positions of the first and the last sample at the level
	First, End    int     // these are samples First to End-1
	Level         float64 // median
}

// A Finder says what counts as a plateau.
type Finder struct {
	Shortest float64 // a plateau lasts at least so long; zero: a hundredth of the record
	Within   float64 // readings so near to a level belong to it; zero: 1 % of the highest level
	Part     float64 // the same as a part of the level; the larger one counts
	Ties     bool    // positions may repeat, as on a clock of whole seconds
}

// mostBins keeps the work small whatever the record's length.
const mostBins = 8192

// A grid is a signal in bins of equal length.
type grid struct {
	x0, step float64
	first    []int     // sample of each bin, and behind the last
	y        []float64 // median of each bin
	calm     []float64 // y after a moving median
}

// Plateaus returns the plateaus of y against the rising positions x, in order.
//
// A plateau goes on until the signal has left its mean for a quarter of the
// shortest plateau, by more than Within, Part of the level and three standard
// deviations of the noise. A stretch shorter than the shortest plateau is left
// out; so is a ramp, which holds no level. Stretches of one level with a
// disturbance between them, a short one or one that is no stop, are one plateau.
// Positions that do not rise and values that are none are an error.
func (f Finder) Plateaus(x, y []float64) ([]Plateau, error) {
	if len(x) != len(y) {
		return nil, fmt.Errorf("%d positions for %d values", len(x), len(y))
	}
	for i := range x {
		if !finite(x[i]) || !finite(y[i]) {
			return nil, fmt.Errorf("sample %d is not a number", i+1)
		}
		if i > 0 && (x[i] < x[i-1] || x[i] == x[i-1] && !f.Ties) {
			return nil, fmt.Errorf("position %d does not rise, from %g to %g", i+1, x[i-1], x[i])
		}
	}
	if len(x) < 3 {
		return nil, nil
	}
	if f.Shortest == 0 {
		f.Shortest = (x[len(x)-1] - x[0]) / 100
	}
	if !(f.Shortest > 0 && f.Within >= 0 && f.Part >= 0) {
		return nil, fmt.Errorf("a shortest plateau of %g, within %g or a part of %g, makes no sense", f.Shortest, f.Within, f.Part)
	}
	g := gridOf(x, y, f.Shortest)
	if f.Within == 0 {
		f.Within = 0.01 * math.Max(slices.Max(g.calm), -slices.Min(g.calm))
	}
	f.Within = math.Max(f.Within, 3*g.noise())
	runs := f.join(g, f.grow(g))

	out := make([]Plateau, len(runs))
	for i, s := range runs {
		out[i] = Plateau{Start: x[0], Finish: x[len(x)-1], Level: g.level(s)}
		if i > 0 {
			middle := g.halfWay(runs[i-1].end-1, s.first, out[i-1].Level, out[i].Level)
			out[i-1].Finish, out[i].Start = middle, middle
		}
	}
	for i := range out {
		p := &out[i]
		off := func(k int) bool { return math.Abs(y[k]-p.Level) > 2*f.apart(p.Level) }
		p.First, p.End = g.first[g.bin(p.Start)], g.first[g.bin(p.Finish)+1]
		for p.First < p.End-1 && (x[p.First] < p.Start || off(p.First)) {
			p.First++
		}
		for p.End > p.First+1 && (x[p.End-1] > p.Finish || off(p.End-1)) {
			p.End--
		}
		p.From, p.To = x[p.First], x[p.End-1]
	}
	return out, nil
}

// apart is how far from a level another one begins.
func (f Finder) apart(level float64) float64 { return math.Max(f.Within, f.Part*math.Abs(level)) }

// A run is a stretch of bins at one level, end not included.
type run struct{ first, end int }

func (g grid) level(r run) float64 { return Median(slices.Clone(g.calm[r.first:r.end])) }

// grow makes each stretch as long as the signal has not left its level for good.
func (f Finder) grow(g grid) []run {
	confirm := max(2, int(f.Shortest/4/g.step))
	var found []run
	for first := 0; first < len(g.calm); {
		sum, n, read, away, end := 0.0, 0, 0, 0, len(g.calm)
		for i := first; i < len(g.calm); i++ {
			v := g.calm[i]
			if n > 0 && math.Abs(v-sum/float64(n)) > f.apart(sum/float64(n)) {
				if away++; away >= confirm {
					end = i - away + 1
					break
				}
				continue
			}
			away, sum, n = 0, sum+v, n+1
			if g.first[i] < g.first[i+1] {
				read++
			}
		}
		if float64(end-first)*g.step >= f.Shortest && read >= 3 { // a pause of the record is none
			found = append(found, run{first, end})
		}
		first = end
	}
	return found
}

// join puts together what is at one level and was broken by a disturbance.
func (f Finder) join(g grid, found []run) []run {
	var joined []run
	for _, s := range found {
		if len(joined) > 0 {
			last := &joined[len(joined)-1]
			a, b := g.level(*last), g.level(s)
			between := g.calm[last.end-1 : s.first+1]
			swing := math.Max(a-slices.Min(between), slices.Max(between)-a)
			short := float64(s.first-last.end)*g.step < f.Shortest/2
			if math.Abs(a-b) <= f.apart((a+b)/2) && (short || swing <= math.Max(3*f.apart(a), math.Abs(a)/2)) {
				last.end = s.end
				continue
			}
		}
		joined = append(joined, s)
	}
	return joined
}

// gridOf puts a signal into bins no finer than its usual sampling. Bins without
// a sample are on a straight line between their neighbours.
func gridOf(x, y []float64, shortest float64) grid {
	n := len(x)
	span := x[n-1] - x[0]
	bins := max(2, min(mostBins, int(math.Min(span/Spacing(x), mostBins))+1))
	g := grid{x0: x[0], step: span / float64(bins), first: make([]int, bins+1), y: make([]float64, bins)}
	last := -1
	for i, b := 0, 0; b < bins; b++ {
		g.first[b] = i
		end := g.x0 + float64(b+1)*g.step
		for i < n && (x[i] < end || b == bins-1) {
			i++
		}
		g.first[b+1] = i
		if i == g.first[b] {
			continue
		}
		g.y[b] = Median(slices.Clone(y[g.first[b]:i]))
		for k := last + 1; k < b; k++ { // the empty ones before; the first bin is none
			g.y[k] = g.y[last] + (g.y[b]-g.y[last])*float64(k-last)/float64(b-last)
		}
		last = b
	}
	g.calm = movingMedian(g.y, min(max(int(shortest/4/g.step), 1), 50))
	return g
}

func (g grid) x(i int) float64 { return g.x0 + (float64(i)+0.5)*g.step }

func (g grid) bin(x float64) int {
	return min(max(int((x-g.x0)/g.step), 0), len(g.y)-1)
}

// noise returns the standard deviation of the bins about their slow course, from
// the second differences of neighbours: most bins lie on a plateau or a ramp, where
// these are noise alone. It is 1.4826 times the median of their sizes, over √6.
func (g grid) noise() float64 {
	if len(g.y) < 3 {
		return 0
	}
	d := make([]float64, len(g.y)-2)
	for i := range d {
		d[i] = math.Abs(g.y[i] - 2*g.y[i+1] + g.y[i+2])
	}
	return 1.4826 / math.Sqrt(6) * Median(d)
}

// halfWay returns the position at which the signal passes the middle between two
// levels for good, from about bin i to about bin j.
func (g grid) halfWay(i, j int, a, b float64) float64 {
	middle := (a + b) / 2
	beyond := func(k int) bool { return (g.y[k] > middle) == (b > a) }
	for i > 0 && beyond(i) {
		i--
	}
	for j < len(g.y)-1 && !beyond(j) {
		j++
	}
	for k := i; k < j; k++ {
		if beyond(k) && beyond(k+1) {
			if k == 0 {
				return g.x0
			}
			part := (middle - g.y[k-1]) / (g.y[k] - g.y[k-1])
			return g.x(k-1) + math.Min(math.Max(part, 0), 1)*g.step
		}
	}
	return g.x(j)
}

// movingMedian returns the median over 2·half+1 values around each, fewer at the
// ends.
func movingMedian(y []float64, half int) []float64 {
	out := make([]float64, len(y))
	window := make([]float64, 0, 2*half+2) // sorted
	for i := -half; i < len(y); i++ {
		if j := i + half; j < len(y) {
			k, _ := slices.BinarySearch(window, y[j])
			window = slices.Insert(window, k, y[j])
		}
		if j := i - half - 1; j >= 0 {
			k, _ := slices.BinarySearch(window, y[j])
			window = slices.Delete(window, k, k+1)
		}
		if i >= 0 {
			out[i] = middle(window)
		}
	}
	return out
}

// Spacing returns the usual distance of two positions, of at most a thousand.
func Spacing(x []float64) float64 {
	every := max(1, len(x)/1000)
	var d []float64
	for i := every; i < len(x); i += every {
		d = append(d, x[i]-x[i-1])
	}
	return Median(d)
}

// A Drift is how a signal went on over a stretch: a straight line through it.
type Drift struct {
	Level, LevelErr float64 // mean, and its standard error
	Slope, SlopeErr float64 // per position, and its standard error
	Over            float64 // length of the stretch
	Samples, Blocks int
}

// Change returns the change over the stretch and its standard error.
func (d Drift) Change() (change, stdErr float64) { return d.Slope * d.Over, d.SlopeErr * d.Over }

// blocksPerDrift is the number of block means a stretch is judged by.
const blocksPerDrift = 12

// DriftOf returns level and slope of the samples of y between two positions, both
// included; values that are not numbers count as missing. The samples are put
// into twelve blocks of equal length, and the line goes through the means of
// these: noise whose memory is shorter than a block then gives right standard
// errors. With fewer than three samples slope and errors are NaN; without one
// the level, too.
func DriftOf(x, y []float64, from, to float64) Drift {
	nan := math.NaN()
	d := Drift{Level: nan, LevelErr: nan, Slope: nan, SlopeErr: nan}
	var xs, ys []float64
	slack := 1e-6 * (to - from) // a sample on the edge belongs to it in spite of rounding
	for i, v := range y {
		if x[i] >= from-slack && x[i] <= to+slack && finite(v) {
			xs, ys = append(xs, x[i]), append(ys, v)
		}
	}
	d.Samples = len(xs)
	if d.Samples == 0 {
		return d
	}
	d.Level = mean(ys)
	d.Over = xs[len(xs)-1] - xs[0]
	if d.Samples < 3 {
		return d
	}
	bx, by := xs, ys
	if len(xs) > blocksPerDrift {
		bx, by = nil, nil
		i := 0
		for b := 1; b <= blocksPerDrift; b++ {
			end := i
			for end < len(xs) && (b == blocksPerDrift || xs[end] < xs[0]+d.Over*float64(b)/blocksPerDrift) {
				end++
			}
			if end > i {
				bx, by = append(bx, mean(xs[i:end])), append(by, mean(ys[i:end]))
			}
			i = end
		}
	}
	d.Blocks = len(bx)
	if d.Blocks < 3 {
		return d
	}
	mx, my := mean(bx), mean(by)
	var sxx, sxy float64
	for i := range bx {
		sxx += (bx[i] - mx) * (bx[i] - mx)
		sxy += (bx[i] - mx) * (by[i] - my)
	}
	d.Slope = sxy / sxx
	rss := 0.0
	for i := range bx {
		e := by[i] - my - d.Slope*(bx[i]-mx)
		rss += e * e
	}
	variance := rss / float64(d.Blocks-2)
	d.SlopeErr = math.Sqrt(variance / sxx)
	d.LevelErr = math.Sqrt(variance / float64(d.Blocks))
	return d
}

func finite(x float64) bool { return x-x == 0 }

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// Median returns the middle of x, which it puts in another order; NaN of none.
func Median(x []float64) float64 {
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	high := Rank(x, n/2)
	if n%2 == 1 {
		return high
	}
	return (slices.Max(x[:n/2]) + high) / 2
}

// Rank returns the value of rank k, from 0, and puts it at k, smaller ones before
// it (Hoare).
func Rank(x []float64, k int) float64 {
	for low, high := 0, len(x)-1; low < high; {
		pivot := x[(low+high)/2]
		i, j := low, high
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return x[k]
		}
	}
	return x[k]
}

// middle returns the median of sorted values.
func middle(x []float64) float64 { n := len(x); return (x[(n-1)/2] + x[n/2]) / 2 }
