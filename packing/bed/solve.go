package bed

import (
	"math"

	"github.com/evenbed/evenbed/packing/units"
)

// column is a compressible bed under flow in plain SI numbers. With w, the
// volume of beads per area above a point, it obeys
//
//	dσ/dw = A·(1-ε)/ε³ + B - C·σ/(1-ε)
//	dp/dw = A·(1-ε)/ε³
//	dz/dw = 1/(1-ε)
//
// where A = Ck·µ·u/d², B = Δρ·g and C = 4·µwK/D. The right side of the first
// depends on σ alone.
type column struct {
	law     Law
	settled float64 // ε0
	a, b, c float64
	depth   float64 // 1/(1-ε0)
	solids  float64 // W, of the whole bed
	load    float64 // σ at the top
	allowed float64 // error of a step; zero: tolerance
}

// state is what is integrated from the top of the bed: the stress, the pressure
// lost by the liquid, and the height lost against the settled bed; or how fast
// they change with w.
type state struct{ stress, pressure, lost float64 }

// rates returns how fast the state changes at a stress, and false where no void
// is left.
func (c *column) rates(σ float64) (state, bool) {
	ε := c.law.Void(c.settled, units.Pressure(σ))
	if !(ε > 0 && ε < 1) {
		return state{}, false
	}
	drag, depth := c.a*(1-ε)/(ε*ε*ε), 1/(1-ε)
	return state{drag + c.b - c.c*σ*depth, drag, c.depth - depth}, true
}

// tolerance is the error allowed in a step, relative to the size of what is
// integrated, unless the column says another.
const tolerance = 1e-9

// solve integrates from the top of the bed to its bottom by the pair of
// J. R. Dormand and P. J. Prince, J. Comput. Appl. Math. 6 (1980) 19-26, order
// 5 with 4, and returns the state there. Visit, if not nil, sees every point on
// the way. It reports false where the void comes to nothing, which is the
// critical state.
func (c *column) solve(visit func(w float64, y state)) (y state, ok bool) {
	y.stress = c.load
	if visit != nil {
		visit(0, y)
	}
	k1, ok := c.rates(y.stress)
	if !ok {
		return y, false
	}
	w, h := 0.0, c.solids/16
	for range 100_000 {
		if w+h >= c.solids*(1-1e-14) {
			h = c.solids - w
		}
		next, last, err, fine := c.step(y, k1, h)
		switch {
		case !fine:
			h /= 4
		case err > 1:
			h *= math.Max(0.2, 0.9*math.Pow(err, -0.2))
		default:
			w += h
			y, k1 = next, last
			if visit != nil {
				visit(w, y)
			}
			if w >= c.solids {
				return y, true
			}
			h *= math.Min(5, 0.9*math.Pow(math.Max(err, 1e-10), -0.2))
		}
		if h < 1e-14*c.solids {
			return y, false
		}
	}
	return y, false
}

// step takes one step of size h from y with the rates k1. It returns the new
// state with its rates and the error over what is allowed.
func (c *column) step(y, k1 state, h float64) (next, k7 state, err float64, ok bool) {
	σ := y.stress
	k2, o2 := c.rates(σ + h*(1./5*k1.stress))
	k3, o3 := c.rates(σ + h*(3./40*k1.stress+9./40*k2.stress))
	k4, o4 := c.rates(σ + h*(44./45*k1.stress-56./15*k2.stress+32./9*k3.stress))
	k5, o5 := c.rates(σ + h*(19372./6561*k1.stress-25360./2187*k2.stress+64448./6561*k3.stress-212./729*k4.stress))
	k6, o6 := c.rates(σ + h*(9017./3168*k1.stress-355./33*k2.stress+46732./5247*k3.stress+49./176*k4.stress-5103./18656*k5.stress))
	if !(o2 && o3 && o4 && o5 && o6) {
		return next, k7, 0, false
	}
	next = state{
		y.stress + h*weighed(k1.stress, k3.stress, k4.stress, k5.stress, k6.stress),
		y.pressure + h*weighed(k1.pressure, k3.pressure, k4.pressure, k5.pressure, k6.pressure),
		y.lost + h*weighed(k1.lost, k3.lost, k4.lost, k5.lost, k6.lost),
	}
	if k7, ok = c.rates(next.stress); !ok {
		return next, k7, 0, false
	}
	// The size of each in this bed: its value, or what its rate at the top would
	// make of it; of the height lost, at least a thousandth of the settled bed.
	size := state{
		math.Max(math.Abs(next.stress), c.solids*math.Abs(k1.stress)),
		math.Max(next.pressure, c.solids*k1.pressure),
		math.Max(math.Abs(next.lost), 1e-3*c.solids*c.depth),
	}
	allowed := c.allowed
	if allowed == 0 {
		allowed = tolerance
	}
	err = math.Max(off(h*difference(k1.stress, k3.stress, k4.stress, k5.stress, k6.stress, k7.stress), size.stress),
		math.Max(off(h*difference(k1.pressure, k3.pressure, k4.pressure, k5.pressure, k6.pressure, k7.pressure), size.pressure),
			off(h*difference(k1.lost, k3.lost, k4.lost, k5.lost, k6.lost, k7.lost), size.lost))) / allowed
	return next, k7, err, true
}

// weighed is the mean rate of the formula of order 5, which leaves out k2.
func weighed(k1, k3, k4, k5, k6 float64) float64 {
	return 35./384*k1 + 500./1113*k3 + 125./192*k4 - 2187./6784*k5 + 11./84*k6
}

// difference is by how much the formulas of order 5 and 4 differ.
func difference(k1, k3, k4, k5, k6, k7 float64) float64 {
	return 71./57600*k1 - 71./16695*k3 + 71./1920*k4 - 17253./339200*k5 + 22./525*k6 - 1./40*k7
}

// off is an error over the size of what it is of; nothing is off nothing by nothing.
func off(e, size float64) float64 {
	if e == 0 {
		return 0
	}
	return math.Abs(e) / size
}

// along integrates over given places w, from zero to the bottom, without a look
// at the error; so that what comes out is smooth in all that the bed is.
func (c *column) along(mesh []float64) (y state, ok bool) {
	y.stress = c.load
	k, ok := c.rates(y.stress)
	for i := 1; ok && i < len(mesh); i++ {
		y, k, _, ok = c.step(y, k, mesh[i]-mesh[i-1])
	}
	return y, ok
}

// capacity returns how much bead volume per area the flow can lie on before no
// void is left, and the height of that bed:
//
//	Wmax = ∫ (-dσ/dε)/(dσ/dw) dε from 0 to ε(load)
//
// The bed has a steady state while Wmax is above its own W. It is infinite where
// friction takes up all of the drag, so that the stress stops rising.
func (c *column) capacity() (solids, height float64) {
	integrand := func(ε float64) (float64, float64) {
		s := 1 - ε
		cube := ε * ε * ε
		rise := c.a*s*s + cube*(c.b*s-c.c*float64(c.law.Stress(c.settled, ε)))
		if !(rise > 0) {
			return math.NaN(), math.NaN()
		}
		g := float64(c.law.Stiffness(c.settled, ε)) * s * cube / rise
		return g, g / s
	}
	top := c.law.Void(c.settled, units.Pressure(c.load))
	if first, _ := integrand(top); math.IsNaN(first) { // friction under the load is above the drag
		return math.Inf(1), math.Inf(1)
	}
	solids, height = integral(integrand, 0, top, 0, 0)
	if math.IsNaN(solids) {
		return math.Inf(1), math.Inf(1)
	}
	return solids, height
}

// The nodes from 0 to 1 and weights of Kronrod's rule of 15 points, and the
// weights of Gauss' rule of 7 on every other of them. Source: R. Piessens and
// others, QUADPACK (Springer, 1983), routine qk15.
var (
	kronrodNodes = [8]float64{0.99145537112081263921, 0.94910791234275852453,
		0.86486442335976907279, 0.74153118559939443986, 0.58608723546769113029,
		0.40584515137739716691, 0.20778495500789846760, 0}
	kronrodWeights = [8]float64{0.022935322010529224964, 0.063092092629978553291,
		0.10479001032225018384, 0.14065325971552591875, 0.16900472663926790283,
		0.19035057806478540991, 0.20443294007529889241, 0.20948214108472782801}
	gaussWeights = [8]float64{0, 0.12948496616886969327, 0, 0.27970539148927666790,
		0, 0.38183005050511894495, 0, 0.41795918367346938776}
)

// integral integrates two functions at once, halving where the two rules differ
// by more than rounding of the whole, of which a least size is known. It ends at
// the first value that is none.
func integral(f func(float64) (float64, float64), a, b, whole float64, depth int) (first, second float64) {
	half, middle := (b-a)/2, (a+b)/2
	gauss := 0.0
	for i, x := range kronrodNodes {
		p, q := f(middle + half*x)
		if i < 7 {
			p2, q2 := f(middle - half*x)
			p, q = p+p2, q+q2
		}
		first += kronrodWeights[i] * p * half
		second += kronrodWeights[i] * q * half
		gauss += gaussWeights[i] * p * half
	}
	whole = math.Max(whole, math.Abs(first))
	if depth >= 40 || !(math.Abs(first-gauss) > 1e-9*whole) { // Kronrod's own error is far smaller
		return first, second
	}
	p1, q1 := integral(f, a, middle, whole, depth+1)
	if math.IsNaN(p1) {
		return p1, q1
	}
	p2, q2 := integral(f, middle, b, math.Max(whole, math.Abs(p1)), depth+1)
	return p1 + p2, q1 + q2
}

// root returns where f changes sign between a and b, by inverse quadratic steps
// where they are safe and bisection elsewhere. Fa and fb have different signs.
// Source: T. R. Chandrupatla, Adv. Eng. Softw. 28 (1997) 145-149.
func root(f func(float64) float64, a, b, fa, fb float64) float64 {
	switch {
	case fa == 0:
		return a
	case fb == 0:
		return b
	}
	c, fc := a, fa
	t := 0.5
	for range 200 {
		x := a + t*(b-a)
		fx := f(x)
		if math.Signbit(fx) == math.Signbit(fa) {
			c, fc = a, fa
		} else {
			c, fc = b, fb
			b, fb = a, fa
		}
		a, fa = x, fx
		best, fbest := a, fa
		if math.Abs(fb) < math.Abs(fa) {
			best, fbest = b, fb
		}
		limit := 1e-15 * math.Abs(best) / math.Abs(b-a)
		if fbest == 0 || limit > 0.25 {
			return best
		}
		ξ, φ := (a-b)/(c-b), (fa-fb)/(fc-fb)
		if 1-math.Sqrt(1-ξ) < φ && φ < math.Sqrt(ξ) {
			t = fa/(fb-fa)*fc/(fb-fc) + (c-a)/(b-a)*fa/(fc-fa)*fb/(fc-fb)
		} else {
			t = 0.5
		}
		t = math.Min(1-limit, math.Max(limit, t))
	}
	return a
}
