package efficiency

import "math"

// An EMG is an exponentially modified Gaussian: a Gaussian that an exponential
// decay drags out. Positions are in the numbers of one axis, and Area in the
// signal's unit times that of the axis.
//
//	f(x) = A/(2τ) exp(σ²/(2τ²) - (x-µ)/τ) erfc((σ/τ - (x-µ)/σ)/√2)
//
// Tau above zero makes a tail; below zero the peak is mirrored about Mu and
// fronts, which keeps Mean, Variance and all else in the same formulas; zero is
// the Gaussian. Sigma must be above zero.
//
// Sources: E. Grushka, Anal. Chem. 44 (1972) 1733-1738; the form with erfcx for
// the front of the peak follows from it by exp(-z²).
type EMG struct{ Area, Mu, Sigma, Tau float64 }

// Mean returns the first moment, M1 = µ + τ.
func (e EMG) Mean() float64 { return e.Mu + e.Tau }

// Variance returns the second central moment, M2 = σ² + τ².
func (e EMG) Variance() float64 { return e.Sigma*e.Sigma + e.Tau*e.Tau }

// Plates returns the plate number by moments, N = M1²/M2.
func (e EMG) Plates() float64 { return e.Mean() * e.Mean() / e.Variance() }

// At returns the peak at x.
func (e EMG) At(x float64) float64 {
	s := math.Sqrt(e.Variance())
	shape := newShape(e.Tau/s, e.Sigma/s)
	f, _ := shape.at((x - e.Mean()) / s)
	return e.Area * f / s
}

// Gradient writes the derivatives at x by Area, Mu, Sigma and Tau into g:
//
//	∂f/∂µ = -f'   ∂f/∂σ = σ f''   ∂f/∂τ = -h'
//
// with h the peak dragged out once more, τh' + h = f, for an area of 1.
func (e EMG) Gradient(x float64, g []float64) {
	s := math.Sqrt(e.Variance())
	shape := newShape(e.Tau/s, e.Sigma/s)
	u := (x - e.Mean()) / s
	d := shape.derivatives(u)
	g[0] = d.f / s
	g[1] = -e.Area * d.f1 / (s * s)
	g[2] = e.Area * e.Sigma * d.f2 / (s * s * s)
	g[3] = -e.Area * d.h1 / (s * s)
}

// A shape is the exponentially modified Gaussian of mean 0, variance 1 and area
// 1. What is left of its parameters is c = τ/√M2, between -1 and 1; µ is -c.
type shape struct {
	c, sigma float64 // of the mirrored peak if mirror: c is not negative
	mirror   bool
	series   bool
	ratio    float64 // σ/c
	half     float64 // σ²/(2c²)
	scale    float64 // of the Gaussian, 1/(σ√(2π))
	widen    float64 // σ√(π/2)
	perC     float64 // 1/c
	perSigma float64 // 1/σ
}

// In front of reach sigmas, and where the tail has fallen by faint powers of e,
// the peak is below 1e-16 of its height and counts as zero.
const (
	reach = 8.6
	faint = 37
	// flat is the c below which the exponential is expanded in a series;
	// seriesTerms keep an absolute error below 1e-13.
	flat        = 0.05
	seriesTerms = 14
)

// newShape returns the shape of c = τ/√M2 and σ/√M2.
func newShape(c, sigma float64) shape {
	p := shape{c: math.Abs(c), mirror: c < 0, sigma: sigma}
	p.series = p.c < flat
	p.ratio = p.sigma / p.c
	p.half = p.ratio * p.ratio / 2
	p.scale = 1 / (p.sigma * math.Sqrt(2*math.Pi))
	p.widen = p.sigma * math.Sqrt(math.Pi/2)
	p.perC, p.perSigma = 1/p.c, 1/p.sigma
	return p
}

// ends returns from where to where shape or Gaussian are not zero.
func (p *shape) ends() (lo, hi float64) {
	lo, hi = -p.c-reach*p.sigma, -p.c+reach*p.sigma
	if !p.series {
		hi = math.Max(hi, p.c*(faint+p.half-1))
	}
	if p.mirror {
		return -hi, -lo
	}
	return lo, hi
}

// at returns the shape at u and the Gaussian in it.
func (p *shape) at(u float64) (f, g float64) {
	if p.mirror {
		u = -u
	}
	x := u + p.c // from µ
	v := x * p.perSigma
	if v > -reach && v < reach {
		g = p.scale * math.Exp(-v*v/2)
	}
	if p.series {
		if g == 0 {
			return 0, 0
		}
		return g * p.expand(v).f, g
	}
	z := (p.ratio - v) * (math.Sqrt2 / 2)
	if z >= 0 {
		if g != 0 {
			f = g * p.widen * erfcx(z) * p.perC
		}
		return f, g
	}
	if fall := x*p.perC - p.half; fall < faint {
		f = math.Exp(-fall)
		if g != 0 {
			f -= g * p.widen * erfcx(-z)
		}
		f *= p.perC
	}
	return f, g
}

// derived are a shape at one point with derivatives by u: f1 and f2 of the
// shape, h1 and h3 of the shape dragged out once more.
type derived struct{ f, f1, f2, h1, h3 float64 }

// derivatives returns them at u.
func (p *shape) derivatives(u float64) derived {
	f, g := p.at(u)
	return p.derive(u, f, g)
}

// derive returns the derivatives at u, where the shape is f and its Gaussian g.
func (p *shape) derive(u, f, g float64) derived {
	if p.mirror {
		u = -u
	}
	d := derived{f: f}
	x := u + p.c
	switch {
	case p.series && g == 0:
	case p.series:
		d = p.expand(x / p.sigma)
		d.f *= g
		d.f1 *= -g / p.sigma
		d.f2 *= g / (p.sigma * p.sigma)
		d.h1 *= -g / p.sigma
		d.h3 *= -g / (p.sigma * p.sigma * p.sigma)
	default:
		// τf' = g - f, and the same again for h: τh' = f - h.
		g1 := -x * g * p.perSigma * p.perSigma
		d.f1 = (g - f) * p.perC
		d.f2 = (g1 - d.f1) * p.perC
		d.h1 = (f - f*x*p.perC - (g-f)*p.ratio*p.ratio) * p.perC
		h2 := (d.f1 - d.h1) * p.perC
		d.h3 = (d.f2 - h2) * p.perC
	}
	if p.mirror {
		d.f1, d.h1, d.h3 = -d.f1, -d.h1, -d.h3
	}
	return d
}

// expand returns the sums of the series in e = τ/σ, by the Hermite polynomials
// of v, that the Gaussian and its powers of σ multiply:
//
//	f = g Σ e^k He_k(v),  h = g Σ (k+1) e^k He_k(v)
//
// and for the n-th derivative He_(k+n).
func (p *shape) expand(v float64) derived {
	e := p.c / p.sigma
	h0, h1 := 1.0, v // He_k and He_(k+1)
	h2 := v*h1 - h0
	h3 := v*h2 - 2*h1
	var d derived
	power := 1.0
	for k := range seriesTerms {
		n := float64(k + 1)
		d.f += power * h0
		d.f1 += power * h1
		d.f2 += power * h2
		d.h1 += n * power * h1
		d.h3 += n * power * h3
		power *= e
		h0, h1, h2, h3 = h1, h2, h3, v*h3-(n+2)*h2
	}
	return d
}

// marks are the maximum of a shape and where it crosses fractions of its
// height.
type marks struct {
	top, height           float64
	halfLeft, halfRight   float64
	tenthLeft, tenthRight float64
}

func (p *shape) marks() marks {
	// The maximum lies between µ and the mean; there f = g.
	lo, hi := -p.c, 0.0
	if p.mirror {
		lo, hi = 0, p.c
	}
	var m marks
	m.top = root(lo-1e-9, hi+1e-9, func(u float64) (float64, float64) { d := p.derivatives(u); return -d.f1, -d.f2 })
	m.height, _ = p.at(m.top)
	cross := func(fraction float64, side float64) float64 {
		level := fraction * m.height
		far := m.top + side
		for f, _ := p.at(far); f > level; f, _ = p.at(far) {
			far += side
		}
		return root(math.Min(far-side, far), math.Max(far-side, far), func(u float64) (float64, float64) {
			d := p.derivatives(u)
			return side * (level - d.f), -side * d.f1
		})
	}
	m.halfLeft, m.halfRight = cross(0.5, -1), cross(0.5, 1)
	m.tenthLeft, m.tenthRight = cross(0.1, -1), cross(0.1, 1)
	return m
}

// root returns where a function that rises from negative to positive between lo
// and hi is zero, by Newton's iteration held inside by bisection.
func root(lo, hi float64, f func(x float64) (y, slope float64)) float64 {
	x := (lo + hi) / 2
	for range 100 {
		y, slope := f(x)
		switch {
		case y == 0:
			return x
		case y < 0:
			lo = x
		default:
			hi = x
		}
		next := x - y/slope
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if math.Abs(next-x) <= 1e-15*(1+math.Abs(x)) {
			return next
		}
		x = next
	}
	return x
}
