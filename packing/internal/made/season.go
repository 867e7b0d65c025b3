package made

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
)

// EMGFront returns the part of an exponentially modified Gaussian of area 1 up
// to t,
//
//	F(t) = Φ((t-µ)/σ) - τ f(t)
//
// with f as [EMG] has it and Φ the standard normal distribution: τf' is the
// Gaussian less f.
func EMGFront(t, mu, sigma, tau float64) float64 {
	return math.Erfc(-(t-mu)/(sigma*math.Sqrt2))/2 - tau*EMG(t, mu, sigma, tau)
}

const seasonSeed = 4040

// Season returns forty cycles of one transition of column 04, from the wash to
// the strip buffer: conductivity against volume, all on the same volumes. From
// cycle 25 on the front grows a tail; before cycle 35 the column was repacked.
func Season() []byte {
	const (
		cycles, rows = 40, 281
		first, step  = 5.0, 0.05 // L
		extraColumn  = 0.35      // L
		drifts       = 25        // first cycle that does
		repacked     = 35        // first cycle of the new bed
	)
	r := rand.New(rand.NewPCG(seasonSeed, 1))
	curves := make([]func(v float64) float64, cycles)
	for i := range curves {
		mu, sigma, tau := 0.900, 0.0320, 0.0150 // column volumes
		switch n := i + 1; {
		case n >= repacked:
			mu, sigma, tau = 0.902, 0.0312, 0.0140
		case n >= drifts:
			tau += 0.0022 * float64(n-drifts+1)
			mu += 0.0005 * float64(n-drifts+1)
		}
		mu += 0.0012 * r.NormFloat64()
		sigma *= 1 + 0.012*r.NormFloat64()
		tau *= 1 + 0.04*r.NormFloat64()
		wash, strip := 5.2+0.05*r.NormFloat64(), 84.5+0.4*r.NormFloat64()
		curves[i] = func(v float64) float64 {
			return wash + (strip-wash)*EMGFront((v-extraColumn)/bedVolume, mu, sigma, tau) + 0.03*r.NormFloat64()
		}
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, `Invented data: made by the seeded program %s, seed %d; no real column was run
Transition: wash to strip, 0.05 to 1.0 mol/L sodium chloride, cycles 1 to %d
Column: column 04, 30.0 cm inner diameter
Bed height: 18.0 cm
Medium: Marram, mean bead 90 µm, lot M-0417
Flow: 106 L/h (150 cm/h)
Volume: counted from the switch of the valve; extra-column volume %.2f L
Repacked: before cycle %d

`, program, seasonSeed, cycles, extraColumn, repacked)
	b.WriteString("Volume (L)")
	for i := range curves {
		fmt.Fprintf(&b, ",cycle %02d (mS/cm)", i+1)
	}
	b.WriteByte('\n')
	for i := range rows {
		v := first + step*float64(i)
		fmt.Fprintf(&b, "%.2f", v)
		for _, f := range curves {
			fmt.Fprintf(&b, ",%.2f", math.Round(100*f(v))/100)
		}
		b.WriteByte('\n')
	}
	return b.Bytes()
}
