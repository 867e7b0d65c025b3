package zones

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/dsp/fourier"
)

// A Recording is what detector and recorder make of a signal. Sizes are parts of
// the height of the signal without them; the zero value records it as it is.
// What is wrong happens in this order: bend, baseline, noise before the clip,
// clip, noise, spikes, dead band, rounding.
type Recording struct {
	Bend  float64 // a detector that reads y(1 - Bend y)
	Drift float64 // change of the baseline over the record
	Bow   float64 // height of a parabola over the record, 0 at its ends
	Steps []Mark  // from At on the baseline is Size higher

	White float64 // standard deviation of noise that is independent from sample to sample
	Pink  float64 // standard deviation over the record of noise whose power goes with 1/frequency
	Slow  float64 // correlation of neighbouring samples of the white noise

	Clip       float64 // the largest value that the detector reads; 0: none
	NoiseAfter bool    // the noise comes on top of the clip, else it is clipped too

	Spikes   []Mark
	DeadBand float64 // the recorder keeps a value that differs by more from the last one kept, and draws straight lines
	Rounding float64 // smallest step of the values

	Seed uint64
}

// A Mark is something of a size at a position.
type Mark struct {
	At, Size float64
	Samples  int // how many samples a spike lasts; 0: 1
}

// Of returns the recorded values of a signal of this height at even positions
// x.
func (r Recording) Of(x []float64, height float64, signal func(x float64) float64) []float64 {
	random := rand.New(rand.NewPCG(r.Seed, 1))
	y, noise := make([]float64, len(x)), r.noise(len(x), random)
	from, span := x[0], x[len(x)-1]-x[0]
	for i, v := range x {
		u := (v - from) / span
		s := signal(v) / height
		s -= r.Bend * s * s
		s += r.Drift*u + r.Bow*4*u*(1-u)
		for _, m := range r.Steps {
			if v >= m.At {
				s += m.Size
			}
		}
		if !r.NoiseAfter {
			s += noise[i]
		}
		if r.Clip > 0 {
			s = math.Min(s, r.Clip)
		}
		if r.NoiseAfter {
			s += noise[i]
		}
		y[i] = s
	}
	for _, m := range r.Spikes {
		for k, left := 0, max(1, m.Samples); k < len(x) && left > 0; k++ {
			if x[k] >= m.At {
				y[k] += m.Size
				left--
			}
		}
	}
	if r.DeadBand > 0 {
		chords(x, y, r.DeadBand)
	}
	for i, s := range y {
		if r.Rounding > 0 {
			s = r.Rounding * math.Round(s/r.Rounding)
		}
		y[i] = s * height
	}
	return y
}

// noise returns white and pink noise together.
func (r Recording) noise(n int, random *rand.Rand) []float64 {
	out := make([]float64, n)
	if r.White > 0 {
		e := random.NormFloat64()
		for i := range out {
			out[i] = r.White * e
			e = r.Slow*e + math.Sqrt(1-r.Slow*r.Slow)*random.NormFloat64()
		}
	}
	if r.Pink > 0 {
		// Frequency k of n has the power 1/k; together they have the variance
		// that was asked for.
		c, power := make([]complex128, n/2+1), 0.0
		for k := 1; k < len(c); k++ {
			a := 1 / math.Sqrt(float64(k))
			c[k] = complex(a*random.NormFloat64(), a*random.NormFloat64())
			power += 4 * a * a
		}
		for i, v := range fourier.NewFFT(n).Sequence(nil, c) {
			out[i] += r.Pink / math.Sqrt(power) * v
		}
	}
	return out
}

// chords keeps the values that differ by more than a band from the last one kept,
// and the last one of all, with straight lines between them.
func chords(x, y []float64, band float64) {
	kept := 0
	for i := 1; i < len(y); i++ {
		if i < len(y)-1 && math.Abs(y[i]-y[kept]) <= band {
			continue
		}
		for j := kept + 1; j < i; j++ {
			y[j] = y[kept] + (y[i]-y[kept])*(x[j]-x[kept])/(x[i]-x[kept])
		}
		kept = i
	}
}
