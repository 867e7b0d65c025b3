// Package zones makes the records of invented pulse tests: a picture of what
// the faults of a bed and of a test do to a peak, never a prediction.
//
// A [Bed] is zones in parallel, each with its own velocity, accessible volume
// and plates, in series with tubes, mixers and the sample. [Bed.Outlet] gives
// the [Curve] behind it. A [Salt] pulse that a charged medium excludes is the one
// case that is not linear. A [Recording] then makes samples of a curve: noise,
// drift, and what a detector and a recorder can do wrong. The same seed gives
// the same samples.
//
// Zones do not exchange liquid, so that real faults, which mix sideways, look
// weaker. There is no radial profile within a zone.
package zones

import (
	"fmt"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
)

// A Law is the residence time distribution of one zone. Both have the mean V and
// the variance V²/N.
type Law int

// The laws.
const (
	// TanksInSeries is the gamma density of shape N, with the transfer function
	// (1 - iωV/N)^-N.
	TanksInSeries Law = iota
	// FirstPassage is the inverse Gaussian density,
	// √(λ/(2πv³)) exp(-λ(v-V)²/(2V²v)) with λ = NV: axial dispersion in a column
	// that is closed at its inlet and open at its outlet.
	//
	// Source: A. Kreft, A. Zuber, Chem. Eng. Sci. 33 (1978) 1471-1480 (from memory).
	FirstPassage
)

// A Zone is a part of the bed's cross-section with its own flow.
type Zone struct {
	Area       float64 // share of the cross-section; all shares add up to 1
	Velocity   float64 // relative to the other zones
	Accessible float64 // volume that the tracer reaches, in volumes of the zone; above 1: it is held back
	Plates     float64
}

// A Bed is a packed bed with the system around it. Volumes are in column volumes
// (CV).
type Bed struct {
	Law    Law
	Zones  []Zone
	Mixers []float64 // ideally mixed volumes in series: a gap above the bed, a detector
	Delay  float64   // of tubes without mixing
	Sample float64   // volume of the plug; 0: an impulse
}

// A Curve is the concentration at the outlet in samples for each CV that was
// injected, from the start of the sample on.
type Curve struct {
	Step float64 // CV between two points; the first is at 0
	C    []float64
}

const (
	curvePoints = 65536
	curveSpan   = 6.0 // CV
)

// check refuses what is no bed.
func (b Bed) check() error {
	area := 0.0
	for i, z := range b.Zones {
		if !(z.Area > 0 && z.Velocity > 0 && z.Accessible > 0 && z.Plates >= 1) {
			return fmt.Errorf("zone %d is %+v: area, velocity and accessible volume must be above zero, and plates at least 1", i+1, z)
		}
		area += z.Area
	}
	if math.Abs(area-1) > 1e-9 {
		return fmt.Errorf("the areas of %d zones add up to %v instead of 1", len(b.Zones), area)
	}
	for _, v := range append([]float64{b.Delay, b.Sample}, b.Mixers...) {
		if !(v >= 0 && v < curveSpan) {
			return fmt.Errorf("delay, sample or mixer of %v CV: it must be from 0 to below %v", v, curveSpan)
		}
	}
	return nil
}

// flow returns the share of the flow that goes through each zone, a r/Σ a r, and
// its mean volume, ε Σ a r/r.
func (b Bed) flow() (share, mean []float64) {
	all := 0.0
	for _, z := range b.Zones {
		all += z.Area * z.Velocity
	}
	for _, z := range b.Zones {
		share = append(share, z.Area*z.Velocity/all)
		mean = append(mean, z.Accessible*all/z.Velocity)
	}
	return share, mean
}

// transfer returns the transfer function E exp(iωv) of bed and system.
func (b Bed) transfer(w float64, share, mean []float64) complex128 {
	sum := complex(0, 0)
	for i, z := range b.Zones {
		n, v := z.Plates, mean[i]
		var f complex128
		if b.Law == FirstPassage {
			f = cmplx.Exp(complex(n, 0) * (1 - cmplx.Sqrt(complex(1, -2*w*v/n))))
		} else {
			f = cmplx.Exp(complex(-n, 0) * cmplx.Log(complex(1, -w*v/n)))
		}
		sum += complex(share[i], 0) * f
	}
	for _, m := range b.Mixers {
		sum /= complex(1, -w*m)
	}
	if x := w * b.Sample / 2; x != 0 {
		sum *= complex(math.Sin(x)/x, 0) * cmplx.Exp(complex(0, x))
	}
	return sum * cmplx.Exp(complex(0, w*b.Delay))
}

// Outlet returns the curve behind the bed, by the inverse Fourier transform of
// the product of the transfer functions.
func (b Bed) Outlet() (Curve, error) {
	if err := b.check(); err != nil {
		return Curve{}, err
	}
	share, mean := b.flow()
	coefficients := make([]complex128, curvePoints/2+1)
	for k := range coefficients {
		w := 2 * math.Pi * float64(k) / curveSpan
		coefficients[k] = cmplx.Conj(b.transfer(w, share, mean)) / curveSpan
	}
	return Curve{Step: curveSpan / curvePoints, C: fourier.NewFFT(curvePoints).Sequence(nil, coefficients)}, nil
}

// Moments returns mean and variance of the outlet in closed form,
//
//	M1 = d + Σ m + p/2 + Σ w V,  M2 = Σ m² + p²/12 + Σ w (V²/N + V²) - (Σ w V)²
//
// with delay d, mixers m, sample p, and of each zone its share w of the flow and
// its mean volume V. As Σ w V = Σ a ε, velocities do not move the mean.
func (b Bed) Moments() (mean, variance float64) {
	share, volume := b.flow()
	zones, squares := 0.0, 0.0
	for i, z := range b.Zones {
		zones += share[i] * volume[i]
		squares += share[i] * volume[i] * volume[i] * (1 + 1/z.Plates)
	}
	mean, variance = b.Delay+b.Sample/2+zones, b.Sample*b.Sample/12+squares-zones*zones
	for _, m := range b.Mixers {
		mean += m
		variance += m * m
	}
	return mean, variance
}

// At returns the concentration at volume v, by the cubic through four points; 0
// outside the curve.
func (c Curve) At(v float64) float64 {
	p := v / c.Step
	i := int(math.Floor(p))
	if i < 1 || i+2 >= len(c.C) {
		return 0
	}
	t := p - float64(i)
	a, b, d, e := c.C[i-1], c.C[i], c.C[i+1], c.C[i+2]
	return b + t/2*(d-a) + t*t/2*(2*a-5*b+4*d-e) + t*t*t/2*(3*(b-d)+e-a)
}

// Height returns the largest concentration.
func (c Curve) Height() float64 {
	top := 0.0
	for _, v := range c.C {
		top = math.Max(top, v)
	}
	return top
}
