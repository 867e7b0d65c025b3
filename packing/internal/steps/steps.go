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
	First, End int     // samples First to End-1
	From, To   float64 // positions of the first and the last sample
	Level      float64 // median
}

// A Finder says what counts as a plateau.
type Finder struct {
	Shortest float64 // a plateau lasts at least so long; zero: a hundredth of the record
	Change   float64 // the smallest change of level that is a step; zero: 2 % of the largest level
}

// blocksPerPlateau is in how many blocks the shortest plateau is cut.
const blocksPerPlateau = 6

// A block is a short stretch of samples with the median of its values.
type block struct {
	first, end int
	level      float64
}

// Plateaus returns the plateaus of y against the rising positions x, in order.
//
// The record is cut into blocks, six to the shortest plateau, and neighbouring
// blocks belong together while their medians stay within Change of the level, or
// within five standard deviations of the noise that medians still have. A stretch shorter than the shortest plateau is left out; so is a
// ramp, which holds no level. Single outliers do not end a plateau. Positions
// that do not rise and values that are none are an error.
func (f Finder) Plateaus(x, y []float64) ([]Plateau, error) {
	if len(x) != len(y) {
		return nil, fmt.Errorf("%d positions for %d values", len(x), len(y))
	}
	for i := range x {
		if !finite(x[i]) || !finite(y[i]) {
			return nil, fmt.Errorf("sample %d is not a number", i+1)
		}
		if i > 0 && !(x[i] > x[i-1]) {
			return nil, fmt.Errorf("position %d does not rise, from %g to %g", i+1, x[i-1], x[i])
		}
	}
	if len(x) < 3 {
		return nil, nil
	}
	shortest := f.Shortest
	if shortest == 0 {
		shortest = (x[len(x)-1] - x[0]) / 100
	}
	if !(shortest > 0) || !(f.Change >= 0) {
		return nil, fmt.Errorf("a shortest plateau of %g and a change of %g make no sense", f.Shortest, f.Change)
	}
	blocks := cut(x, y, shortest/blocksPerPlateau)
	tolerance := f.Change
	if tolerance == 0 {
		for _, b := range blocks {
			tolerance = math.Max(tolerance, 0.02*math.Abs(b.level))
		}
	}
	tolerance = math.Max(tolerance/2, 5*scatter(blocks))

	var runs []Plateau
	for i := 0; i < len(blocks); {
		run := []float64{blocks[i].level}
		end := i + 1
		for end < len(blocks) && math.Abs(blocks[end].level-mean(run)) <= tolerance && x[blocks[end].first]-x[blocks[end-1].end-1] <= shortest {
			run = append(run, blocks[end].level)
			end++
		}
		if end-i >= 3 {
			runs = append(runs, Plateau{First: blocks[i].first, End: blocks[end-1].end, Level: median(run)})
		}
		i = end
	}
	// The ends to the sample; stretches of one level with a disturbance between
	// them are one plateau.
	var out []Plateau
	for i, r := range runs {
		low, high := 0, len(y)
		if i > 0 {
			low = runs[i-1].End
		}
		if i < len(runs)-1 {
			high = runs[i+1].First
		}
		r = trim(y, r, low, high, tolerance)
		if n := len(out); n > 0 && math.Abs(out[n-1].Level-r.Level) <= tolerance && x[r.First]-x[out[n-1].End-1] < shortest {
			out[n-1].End = r.End
			continue
		}
		out = append(out, r)
	}
	kept := out[:0]
	for _, r := range out {
		r.From, r.To = x[r.First], x[r.End-1]
		if r.To-r.From >= shortest*(1-1e-9) {
			r.Level = median(append([]float64(nil), y[r.First:r.End]...))
			kept = append(kept, r)
		}
	}
	return kept, nil
}

// cut makes blocks that are about so long, of at least one sample.
func cut(x, y []float64, long float64) []block {
	var blocks []block
	var buffer []float64
	for i := 0; i < len(x); {
		end := i + 1
		for end < len(x) && x[end]-x[i] < long {
			end++
		}
		buffer = append(buffer[:0], y[i:end]...)
		blocks = append(blocks, block{i, end, median(buffer)})
		i = end
	}
	return blocks
}

// scatter returns the standard deviation of medians of blocks, from the second
// differences of neighbours: most blocks lie on a plateau or a ramp, where these
// are noise alone. It is 1.4826 times the median of their sizes, over √6.
func scatter(blocks []block) float64 {
	if len(blocks) < 3 {
		return 0
	}
	d := make([]float64, len(blocks)-2)
	for i := range d {
		d[i] = math.Abs(blocks[i].level - 2*blocks[i+1].level + blocks[i+2].level)
	}
	return 1.4826 / math.Sqrt(6) * median(d)
}

// trim moves the ends of a plateau to the last samples that lie within reach of
// its level, between the neighbours' samples low and high. Two samples in a row
// must lie there, so that an outlier is no end.
func trim(y []float64, r Plateau, low, high int, tolerance float64) Plateau {
	reach := tolerance
	if n := r.End - r.First; n >= 8 { // single samples scatter more than medians
		inner := append([]float64(nil), y[r.First+n/4:r.End-n/4]...)
		for i := range inner {
			inner[i] = math.Abs(inner[i] - r.Level)
		}
		reach = math.Max(reach, 4*1.4826*median(inner))
	}
	near := func(i int) bool { return math.Abs(y[i]-r.Level) <= reach }
	middle := (r.First + r.End) / 2
	first := r.First
	for first < middle && !(near(first) && near(first+1)) {
		first++
	}
	for first > low && near(first-1) {
		first--
	}
	end := r.End
	for end > middle+1 && !(near(end-1) && near(end-2)) {
		end--
	}
	for end < high && near(end) {
		end++
	}
	r.First, r.End = first, end
	return r
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

// median sorts x and returns its middle.
func median(x []float64) float64 {
	slices.Sort(x)
	n := len(x)
	return (x[(n-1)/2] + x[n/2]) / 2
}
