// Package made makes the invented data of the demonstration column: the same
// seed gives the same bytes.
//
//	go run ./packing/internal/made/cmd testdata
//
// rewrites the files. A test compares the files in testdata with a fresh run.
package made

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
)

// A File is one made file: its name and its bytes.
type File struct {
	Name string
	Data []byte
}

// Files returns every made file, in order of name.
func Files() []File {
	return []File{
		{"column04-curve.csv", Curve()},
		{"column04-pack.csv", OwnPack().CSV()},
		{"column04-pressure-flow.csv", WideRun()},
		{"column04-pulse.csv", Pulse()},
		{"column04-season.csv", Season()},
		{"column11-pressure-flow.csv", NarrowRun()},
		{"columns-by-hand.csv", ByHand()},
		{"export-decimal-comma.csv", DecimalComma()},
		{"export-paired.csv", Paired()},
		{"export-remarks.csv", Remarks()},
		{"export-restarted.csv", Restarted()},
		{"export-utf16.txt", UTF16()},
		{"export-workbook.xlsx", Workbook()},
	}
}

const (
	pulseSeed = 417
	program   = "packing/internal/made"
)

// The pulse test of column 04: a bed of 30.0 cm by 18 cm run at 21.2 L/h.
const (
	bedVolume = math.Pi / 4 * 30 * 30 * 18 / 1000 // L
	flow      = 21.2                              // L/h
	seconds   = 1.2                               // between two samples
	samples   = 3001
)

// Pulse returns the export of a pulse test: an exponentially modified Gaussian
// on a slowly rising baseline, with noise.
func Pulse() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, `Invented data: made by the seeded program %s, seed %d; no real column was run
Test: pulse test of column 04
Column: column 04, 30.0 cm inner diameter
Bed height: 18.0 cm
Medium: Marram, mean bead 90 µm, lot M-0417
Mobile phase: 0.1 mol/L sodium chloride
Sample: 127 mL of acetone 1 %% (v/v), time counted from the start of the sample
Flow: 21.2 L/h (30 cm/h)
Temperature: 21.0 °C

`, program, pulseSeed)
	b.WriteString("Time (min),Volume (L),UV 280 nm (mAU),Conductivity (mS/cm),Pressure (bar)\n")

	// The retention and the width belong to a bed of about 4,300 plates per
	// metre with a mild tail.
	const (
		mu    = 33.10 // min
		sigma = 1.05
		tau   = 0.78
		area  = 240.0 // mAU min
	)
	r := rand.New(rand.NewPCG(pulseSeed, 4))
	wander := 0.0
	for i := range samples {
		t := float64(i) * seconds / 60
		uv := 2.4 + 0.006*t + area*EMG(t, mu, sigma, tau) + 0.05*r.NormFloat64()
		wander += 0.02*r.NormFloat64() - 0.02*wander
		cond := 10.62 + 0.004*wander + 0.002*r.NormFloat64()
		bar := 0.214 + 0.0012*math.Sin(2*math.Pi*t/0.35) + 0.0008*r.NormFloat64()
		fmt.Fprintf(&b, "%.2f,%.4f,%.3f,%.3f,%.3f\n", t, t/60*flow, uv, cond, bar)
	}
	return b.Bytes()
}

// EMG returns the exponentially modified Gaussian of area 1:
//
//	f(t) = 1/(2τ) exp(σ²/(2τ²) - (t-µ)/τ) erfc((σ/τ - (t-µ)/σ)/√2)
//
// Good for τ/σ from 0.05 on; a τ of 0 gives the Gaussian.
// Source: E. Grushka, Anal. Chem. 44 (1972) 1733-1738.
func EMG(t, mu, sigma, tau float64) float64 {
	x := (t - mu) / sigma
	if tau == 0 {
		return math.Exp(-x*x/2) / (sigma * math.Sqrt(2*math.Pi))
	}
	z := (sigma/tau - x) / math.Sqrt2
	if z < 20 {
		return math.Exp(sigma*sigma/(2*tau*tau)-(t-mu)/tau) * math.Erfc(z) / (2 * tau)
	}
	// Far in front of the peak erfc would run out of range: its asymptotic
	// series, exp(-z²)/(z√π) (1 - 1/(2z²) + 3/(4z⁴) - 15/(8z⁶)).
	q := 1 / (2 * z * z)
	return math.Exp(-x*x/2) * (1 - q*(1-3*q*(1-5*q))) / (z * math.Sqrt(math.Pi) * 2 * tau)
}

// Curve returns the pressure-flow record of the settled bed of column 04, as
// read from a ruler (0.1 mm) and a gauge (1 mbar).
func Curve() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, `Invented data: calculated by the program %s from a bed of beads whose void yields to stress by a power law; no real bed was run
Test: pressure and bed height against velocity, rising
Column: column 04, 30.0 cm inner diameter
Medium: Marram, mean bead 90 µm, lot M-0417
Settled bed height: 20.16 cm
Liquid: water, 1.00 mPa s
Readings: height to 0.1 mm, pressure to 1 mbar

`, program)
	b.WriteString("Velocity (cm/h),Bed height (cm),Pressure (bar)\n")
	for u := 20.0; u <= 420; u += 20 {
		height, bar := Marram.At(u/360000, 0.2016)
		fmt.Fprintf(&b, "%.0f,%.2f,%.3f\n", u, height*100, bar/1e5)
	}
	return b.Bytes()
}

// A PowerBed is a bed whose void yields to the stress σ on the beads:
//
//	1-ε = (1-ε0)(1+σ/pa)^β,  k = d²ε³/(180(1-ε)²)
type PowerBed struct {
	Void      float64 // ε0 of the settled bed [1]
	Yield     float64 // pa [Pa]
	Exponent  float64 // β [1]
	Bead      float64 // d [m]
	Viscosity float64 // µ [Pa s]
}

// Marram is the medium of the demonstration column.
var Marram = PowerBed{Void: 0.40, Yield: 5e3, Exponent: 0.08, Bead: 90e-6, Viscosity: 1e-3}

// At returns the height [m] and the pressure drop [Pa] of a bed of settled
// height settled [m] at the superficial velocity u [m/s]. Without a wall and
// without weight stress and pressure add up to a constant, so that
//
//	µuW = ∫ k(1-ε) dσ,  L = 1/(µu) ∫ k dσ,  from 0 to Δp, with W = (1-ε0)L0.
func (m PowerBed) At(u, settled float64) (height, drop float64) {
	want := m.Viscosity * u * (1 - m.Void) * settled
	lo, hi := 0.0, 1.0
	for solids, _ := m.integrals(hi); solids < want; solids, _ = m.integrals(hi) {
		lo, hi = hi, 2*hi
	}
	for range 80 {
		mid := (lo + hi) / 2
		if solids, _ := m.integrals(mid); solids < want {
			lo = mid
		} else {
			hi = mid
		}
	}
	_, length := m.integrals(hi)
	return length / (m.Viscosity * u), hi
}

// integrals returns ∫ k(1-ε) dσ and ∫ k dσ from 0 to drop by Simpson's rule.
func (m PowerBed) integrals(drop float64) (solids, length float64) {
	const n = 2000
	for i := range n + 1 {
		w := 2.0 + 2*float64(i%2)
		if i == 0 || i == n {
			w = 1
		}
		dense := (1 - m.Void) * math.Pow(1+drop*float64(i)/n/m.Yield, m.Exponent)
		void := 1 - dense
		k := m.Bead * m.Bead * void * void * void / (180 * dense * dense)
		solids += w * k * dense
		length += w * k
	}
	h := drop / n / 3
	return solids * h, length * h
}
