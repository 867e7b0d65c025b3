package trace

import (
	"fmt"
	"math"
)

// A Pair is two peaks beside each other, or one that is split.
type Pair struct {
	First, Second Apex // in order of their places
	// FirstHalf and SecondHalf are each peak's width at half of its own height,
	// between the crossings next to its apex. A side on which the valley lies
	// above that level is NaN.
	FirstHalf, SecondHalf Width
	Valley                Apex    // the lowest sample between them
	Rise                  float64 // of the lower apex above the valley
}

// TwoPeaks finds the highest peak and, of the others, the one that rises most
// above the valley between them. The apexes are those of [Trace.Apex] with this
// reach. A rise below least is none, and without a second peak the error says
// how much the trace rises. The baseline should have been taken away before.
func (t Trace) TwoPeaks(reach int, least float64) (Pair, error) {
	if !(least > 0) {
		return Pair{}, fmt.Errorf("trace %q: a second peak must rise by more than %v above the valley; give a height above the noise", t.Name, least)
	}
	main := t.Apex(reach)
	if main.Index < 0 {
		return Pair{}, fmt.Errorf("trace %q has no points", t.Name)
	}
	k, low, rise := t.beside(main.Index, 0, len(t.y)-1)
	if rise < least {
		return Pair{}, fmt.Errorf("trace %q has one peak: beside its apex at %s it rises by %.3g at most, less than %.3g", t.Name, t.axis.Show(main.X), rise, least)
	}
	p := Pair{First: main, Second: t.apexAt(k, reach), Valley: Apex{low, t.x[low], t.y[low]}}
	if k < main.Index {
		p.First, p.Second = p.Second, p.First
	}
	p.Rise = math.Min(p.First.Height, p.Second.Height) - p.Valley.Height
	for _, one := range []struct {
		apex Apex
		half *Width
	}{{p.First, &p.FirstHalf}, {p.Second, &p.SecondHalf}} {
		w, err := t.Width(one.apex, 0.5)
		if err != nil {
			return Pair{}, err
		}
		w.Left, w.Right = w.InnerLeft, w.InnerRight
		if w.Left < p.Valley.X && one.apex == p.Second {
			w.Left = math.NaN()
		}
		if w.Right > p.Valley.X && one.apex == p.First {
			w.Right = math.NaN()
		}
		*one.half = w
	}
	return p, nil
}

// SecondApex looks for a second apex beside a within a range and returns its
// sample, its position and its rise above the valley between both; a rise of 0
// says that there is none.
func (t Trace) SecondApex(a Apex, within Range) (index int, x, rise float64) {
	lo, hi, err := t.indices(within)
	if err != nil || a.Index < lo || a.Index >= hi {
		return -1, math.NaN(), 0
	}
	k, _, rise := t.beside(a.Index, lo, hi-1)
	if rise == 0 {
		return -1, math.NaN(), 0
	}
	return k, t.x[k], rise
}

// beside returns the sample from lo to hi that rises most above the lowest
// between it and sample k, that lowest one, and the rise.
func (t Trace) beside(k, lo, hi int) (at, valley int, rise float64) {
	at, valley = k, k
	y := t.y
	for _, step := range []int{-1, 1} {
		low, least := k, y[k]
		for i := k; i >= lo && i <= hi; i += step {
			if v := y[i]; v < least {
				low, least = i, v
			} else if d := v - least; d > rise {
				at, valley, rise = i, low, d
			}
		}
	}
	return at, valley, rise
}
