package made

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
)

// A handBed is a bed that none of the laws of package bed describes:
//
//	ε = ε0 - c·ln(1+σ/σr),  k = d²ε³/(180(1-ε)²)·(ε/ε0)^q
//	dσ/dw = (µu/k - 4(a+µwK·σ)/D)/(1-ε),  dp/dw = µu/(k(1-ε)),  dz/dw = 1/(1-ε)
//
// with a logarithmic law of consolidation, a permeability that falls faster than
// that of Kozeny and Carman, and a wall that holds by adhesion a as well.
type handBed struct {
	void, slope, stress float64 // ε0, c [1], σr [Pa]
	tortuous            float64 // q [1]
	bead, viscosity     float64 // d [m], µ [Pa s]
	friction, adhesion  float64 // µwK [1], a [Pa]
	diameter            float64 // D [m]
}

// at returns height [m] and pressure drop [Pa] at the velocity u [m/s], by the
// midpoint method in equal steps of w.
func (m handBed) at(u, settled float64) (height, drop float64) {
	rates := func(stress float64) (ds, dp, dz float64) {
		void := m.void - m.slope*math.Log1p(math.Max(stress, 0)/m.stress)
		k := m.bead * m.bead * void * void * void / (180 * (1 - void) * (1 - void)) * math.Pow(void/m.void, m.tortuous)
		drag := m.viscosity * u / k
		held := math.Min(4*(m.adhesion+m.friction*stress)/m.diameter, drag)
		return (drag - held) / (1 - void), drag / (1 - void), 1 / (1 - void)
	}
	const n = 4000
	h := (1 - m.void) * settled / n
	stress := 0.0
	for range n {
		ds, _, _ := rates(stress)
		ds, dp, dz := rates(stress + h/2*ds)
		stress, drop, height = stress+h*ds, drop+h*dp, height+h*dz
	}
	return height, drop
}

// tussock is the bed of ByHand.
var tussock = handBed{void: 0.39, slope: 0.034, stress: 4e3, tortuous: 0.6, bead: 72e-6, viscosity: 1.01e-3, friction: 0.08, adhesion: 25}

// ByHand returns pressure-flow readings of two columns as a person writes them down.
func ByHand() []byte {
	const seed = 2122
	random := rand.New(rand.NewPCG(seed, 7))
	var b bytes.Buffer
	fmt.Fprintf(&b, `Invented data: made by the seeded program %s, seed %d, from a bed whose void falls with the logarithm of the stress and whose wall holds by adhesion, too, and read as people read; no real bed was run
Test: pressure and bed height against velocity, rising, written down by hand
Columns: column 21, 10.0 cm inner diameter, settled bed 18.4 cm; column 22, 2.6 cm, settled bed 19.6 cm
Medium: Tussock, mean bead 75 µm
Liquid: water, 1.00 mPa s; it warmed by about a degree during each run
Readings: ruler to 0.5 mm, gauge to 5 mbar, that of hoses and nets taken off

`, program, seed)
	b.WriteString("Velocity (cm/h),Pressure 21 (mbar),Height 21 (cm),Pressure 22 (mbar),Height 22 (cm)\n")
	round := func(x, to float64) float64 { return math.Round(x/to) * to }
	for i, u := range []float64{30, 60, 100, 140, 180, 220, 260, 300, 330} {
		fmt.Fprintf(&b, "%.0f", u)
		for column, size := range [2][2]float64{{0.10, 0.184}, {0.026, 0.196}} {
			m := tussock
			m.diameter = size[0]
			m.viscosity *= 1 - 0.003*float64(i) // the liquid warms up
			flow := u * (1 + 0.008*random.NormFloat64())
			height, drop := m.at(flow/360000, size[1])
			mbar := drop/100*(1+0.006*random.NormFloat64()) + 0.012*u + 2 // a rest of the nets, and of the zero
			if i == 5 && column == 0 {                                    // read a little early
				height += 0.8e-3
				mbar *= 0.985
			}
			fmt.Fprintf(&b, ",%.0f,%.2f", round(mbar, 5), round(100*height+0.02*random.NormFloat64(), 0.05))
		}
		b.WriteString("\n")
	}
	return b.Bytes()
}

// ByHandAt returns bed height [m] and pressure drop [Pa] of the bed of ByHand in a
// column of a diameter [m], for a settled height [m] and a velocity [m/s], in cold
// liquid and without the mistakes of reading.
func ByHandAt(u, settled, diameter float64) (height, drop float64) {
	m := tussock
	m.diameter = diameter
	return m.at(u, settled)
}
