package zones

import (
	"fmt"
	"math"
)

// A Salt is a pulse of salt on an even bed whose pores carry fixed charges. They
// exclude the salt, the more the weaker it is, so that its travel depends on its
// strength (ideal Donnan equilibrium):
//
//	c_p (c_p + X) = c²
//
// with the salt c in the liquid between the beads, the co-ions c_p in the pores
// and the fixed charge X, in mol per litre of liquid. Liquid and pores of each of
// Cells ideally mixed cells are in equilibrium.
type Salt struct {
	Charge            float64 // X
	Background, Pulse float64 // concentrations outside and inside the sample
	Void, Pores       float64 // volumes between the beads and in them, in bed volumes
	Cells             int     // as many as plates
	Sample            float64 // CV
}

// pores returns the co-ions in the pores.
func (s Salt) pores(c float64) float64 {
	x := s.Charge / 2
	return math.Sqrt(x*x+c*c) - x
}

// Outlet returns the curve behind the bed less the background, per pulse above
// background and CV injected, so that it has the area 1 like that of a [Bed].
func (s Salt) Outlet() (Curve, error) {
	if !(s.Charge >= 0 && s.Background > 0 && s.Pulse > s.Background && s.Void > 0 && s.Pores >= 0 && s.Cells >= 10 && s.Sample > 0) {
		return Curve{}, fmt.Errorf("no salt pulse: %+v", s)
	}
	const span, perCell = 2.0, 4 // CV, and steps in which the fastest salt passes a cell
	steps := int(math.Ceil(span * perCell * float64(s.Cells) / s.Void))
	step := span / float64(steps)
	c, held := make([]float64, s.Cells), make([]float64, s.Cells)
	for i := range c {
		c[i] = s.Background
		held[i] = s.Void*c[i] + s.Pores*s.pores(c[i])
	}
	out := Curve{Step: step, C: make([]float64, steps)}
	scale := 1 / ((s.Pulse - s.Background) * s.Sample)
	rate, ahead := make([]float64, s.Cells), make([]float64, s.Cells)
	sample := func(v float64) float64 { // concentration that goes in, over a step from v on
		return s.Background + (s.Pulse-s.Background)*max(0, math.Min(1, (s.Sample-v)/step))
	}
	for k := range out.C {
		out.C[k] = (c[s.Cells-1] - s.Background) * scale
		// Heun's step: the mean of the rates in front of it and behind it.
		v := float64(k) * step
		in := sample(v)
		for i, old := range c {
			rate[i] = step * float64(s.Cells) * (in - old)
			ahead[i] = old
			if rate[i] != 0 {
				ahead[i] = s.liquid(held[i]+rate[i], old)
			}
			in = old
		}
		in = sample(v)
		for i, next := range ahead {
			if d := (rate[i] + step*float64(s.Cells)*(in-next)) / 2; d != 0 {
				held[i] += d
				c[i] = s.liquid(held[i], next)
			}
			in = next
		}
	}
	return out, nil
}

// liquid returns the concentration at which a cell holds so much, by Newton's
// iteration from a guess.
func (s Salt) liquid(held, c float64) float64 {
	x := s.Charge / 2
	for range 20 {
		root := math.Sqrt(x*x + c*c)
		d := (s.Void*c + s.Pores*(root-x) - held) / (s.Void + s.Pores*c/root)
		c -= d
		if math.Abs(d) < 1e-14*c {
			break
		}
	}
	return c
}
