package made

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
)

// A WalledBed is a PowerBed whose wall carries part of the stress:
//
//	dσ/dw = (µu/k - 4µwK·σ/D)/(1-ε),  dp/dw = µu/(k(1-ε)),  dz/dw = 1/(1-ε)
//
// with w, the volume of beads per area from the top.
type WalledBed struct {
	PowerBed
	Friction float64 // µwK [1]
	Diameter float64 // D [m]
}

// At returns the height [m] and the pressure drop [Pa] of a bed of settled
// height settled [m] at the superficial velocity u [m/s], by the classical
// Runge-Kutta method in equal steps of w.
func (m WalledBed) At(u, settled float64) (height, drop float64) {
	type state struct{ stress, drop, height float64 }
	rates := func(stress float64) state {
		dense := (1 - m.Void) * math.Pow(1+stress/m.Yield, m.Exponent)
		void := 1 - dense
		if !(void > 0) {
			panic("made: the bed is asked for a velocity above its critical one")
		}
		drag := m.Viscosity * u * 180 * dense * dense / (m.Bead * m.Bead * void * void * void)
		return state{(drag - 4*m.Friction*stress/m.Diameter) / dense, drag / dense, 1 / dense}
	}
	const n = 1000
	h := (1 - m.Void) * settled / n
	var y state
	for range n {
		k1 := rates(y.stress)
		k2 := rates(y.stress + h/2*k1.stress)
		k3 := rates(y.stress + h/2*k2.stress)
		k4 := rates(y.stress + h*k3.stress)
		y.stress += h / 6 * (k1.stress + 2*k2.stress + 2*k3.stress + k4.stress)
		y.drop += h / 6 * (k1.drop + 2*k2.drop + 2*k3.drop + k4.drop)
		y.height += h / 6 * (k1.height + 2*k2.height + 2*k3.height + k4.height)
	}
	return y.height, y.drop
}

// WallFriction is that of Marram on the walls of the invented columns.
const WallFriction = 0.1

// A flowRun is a pressure-flow experiment of a bed of Marram: the flow rises in
// steps, falls again, and stops. Height and pressure come to each new state by
// exponentials; going down, part of the compression stays.
type flowRun struct {
	column   string
	diameter float64 // cm
	settled  float64 // cm
	flowName string  // heading
	perArea  float64 // what flow in its unit is 1 cm/h over 1 cm²
	digits   int     // of the flow
	seed     uint64
	hurried  float64    // velocity of a step that was cut short [cm/h]; 0: none
	nets     [2]float64 // of hoses and nets: pressure a·u + b·u² in mbar with u in cm/h
}

// gaugeZero is what the gauges show without pressure, in mbar.
const gaugeZero = 6.0

// What the way down keeps of the compression that is let go.
const kept = 0.35

// The experiments of column 04 and of a narrow column.
var (
	wideRun = flowRun{column: "column 04", diameter: 30, settled: 20.16, flowName: "Flow (L/h)", perArea: 1e-3, digits: 2, seed: 4107,
		hurried: 350, nets: [2]float64{0.05, 6e-5}}
	narrowRun = flowRun{column: "column 11", diameter: 2.6, settled: 19.8, flowName: "Flow (mL/min)", perArea: 1. / 60, digits: 3, seed: 1107,
		nets: [2]float64{0.08, 2e-5}}
)

// WideRun returns the record of the pressure-flow experiment in column 04.
func WideRun() []byte { return wideRun.export() }

// NarrowRun returns the record of the pressure-flow experiment in column 11.
func NarrowRun() []byte { return narrowRun.export() }

func (r flowRun) export() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, `Invented data: made by the seeded program %s, seed %d, from a bed of beads whose void yields to stress by a power law, with friction at the wall; no real bed was run
Test: pressure-flow experiment, velocity up in steps and down again
Column: %s, %.1f cm inner diameter
Medium: Marram, mean bead 90 µm, lot M-0417
Liquid: water, 1.00 mPa s
Pressure: at the inlet of the column, nets and hoses included

`, program, r.seed, r.column, r.diameter)
	fmt.Fprintf(&b, "Time (min),%s,Pressure (mbar),Bed height (cm)\n", r.flowName)
	random := rand.New(rand.NewPCG(r.seed, 7))
	bed := WalledBed{Marram, WallFriction, r.diameter / 100}
	area := math.Pi / 4 * r.diameter * r.diameter

	const step, calm = 5.0, 35.0 // s between samples; time constant of the bed
	height, pressure, clock := r.settled, 0.0, 0.0
	highest, lowest := 0.0, r.settled // velocity, and the height there
	for i, u := range []float64{0, 20, 40, 80, 120, 160, 200, 250, 300, 350, 400, 450, 500, 400, 300, 200, 100, 0} {
		hold := 300.0
		switch {
		case i == 0:
			hold = 120
		case u == r.hurried && u > highest:
			hold = 70
		}
		to, drop := r.settled, 0.0
		if u > 0 {
			h, p := bed.At(u/360000, r.settled/100)
			to, drop = h*100, p/100
		}
		if u > highest {
			highest, lowest = u, to
		} else if u < highest {
			// A denser bed of the same beads: Kozeny and Carman at its mean void.
			rising := 1 - (1-Marram.Void)*r.settled/to
			to -= kept * (to - lowest)
			void := 1 - (1-Marram.Void)*r.settled/to
			drop *= math.Pow(rising/void, 3) * (1 - void) / (1 - rising)
		}
		for t := 0.0; t < hold; t += step {
			height += (to - height) * -math.Expm1(-step/calm)
			pressure += (drop - pressure) * -math.Expm1(-step/calm)
			flow := u * (1 + 0.002*random.NormFloat64())
			shown := gaugeZero + pressure + r.nets[0]*flow + r.nets[1]*flow*flow + 0.8*random.NormFloat64()
			fmt.Fprintf(&b, "%.3f,%.*f,%.1f,%.2f\n", clock/60, r.digits, flow*area*r.perArea, shown, height+0.01*random.NormFloat64())
			clock += step
		}
	}
	return b.Bytes()
}
