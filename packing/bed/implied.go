package bed

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/packing/units"
)

// The bead that a pressure asks for may differ from the one that was given by this
// factor, and beyond the second by a wrong unit alone: pressure of hoses and nets
// that was not taken off, a void of 0.35 for 0.40 (1.32 by Kozeny and Carman) and a
// surface mean bead a fifth under the median (1.25) make 1.65 (common practice, no
// source).
const (
	doubtfulBead = 1.5
	wrongUnit    = 2
)

// mistaken are units that are taken for others, with the factor that this puts on a
// pressure over what the velocity makes expect.
var mistaken = []struct {
	factor float64
	text   string
}{
	{1000, "pressures in mbar taken for bar"},
	{100, "pressures in kPa taken for bar, or velocities in m/h taken for cm/h"},
	{60, "velocities in cm/min taken for cm/h"},
	{14.504, "pressures in psi taken for bar"},
	{10, "pressures in mbar taken for kPa, or bar taken for MPa"},
	{6.8948, "pressures in kPa taken for psi"},
	{1 / 6.8948, "pressures in psi taken for kPa"},
	{0.1, "pressures in MPa taken for bar, or kPa taken for mbar"},
	{1 / 14.504, "pressures in bar taken for psi"},
	{1. / 60, "velocities in cm/h taken for cm/min"},
	{0.01, "pressures in bar taken for kPa, or velocities in cm/h taken for m/h"},
	{0.001, "pressures in bar taken for mbar"},
}

// impliedBead returns the bead diameter that the lower half of a curve's readings asks
// for, the median of
//
//	d = √(Ck·µu(1-ε)²L/(ε³Δp)),  ε = 1-(1-ε0)·CF,  L = L0/CF
//
// with the symbols of [Compressible]; NaN if no reading leaves a void.
func (e Estimation) impliedBead(c Curve) units.Length {
	points, _ := flowing(c)
	var d []float64
	for _, p := range points[:(len(points)+1)/2] {
		ε := 1 - (1-e.SettledVoid)*p.CompressionFactor
		if ε > 0.02 {
			constant := Compressible{KozenyConstant: e.KozenyConstant}.constant()
			d = append(d, math.Sqrt(constant*float64(c.Viscosity)*float64(p.Velocity)*(1-ε)*(1-ε)*float64(c.SettledHeight)/p.CompressionFactor/(ε*ε*ε*float64(p.Pressure))))
		}
	}
	if len(d) == 0 {
		return units.Length(math.NaN())
	}
	slices.Sort(d)
	return units.Length((d[len(d)/2] + d[(len(d)-1)/2]) / 2)
}

// doubtedBead says what is wrong with the bead that a curve's pressure asks for;
// empty: nothing.
func (e Estimation) doubtedBead(c Curve) string {
	bead := e.impliedBead(c)
	off := float64(e.MeanBead / bead)
	size := math.Max(off, 1/off)
	if !(size > doubtfulBead) {
		return ""
	}
	pressure := off * off
	text := fmt.Sprintf("The pressures of %s ask for a bead of %s, %s was given; they are %.2g times as high as that lets expect", c.bed(), bead, e.MeanBead, pressure)
	if size <= wrongUnit {
		return text + ": look at bead, void, hardware and unit."
	}
	distance := func(i int) float64 { return math.Abs(math.Log(pressure / mistaken[i].factor)) }
	var order []int
	for i := range mistaken {
		order = append(order, i)
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(distance(a), distance(b)) })
	var fits []string
	for _, i := range order {
		// The bead may be a little off besides.
		if d := distance(i); d < math.Log(1.8) && d < distance(order[0])+math.Log(1.5) {
			fits = append(fits, fmt.Sprintf("%s (%.3g times)", mistaken[i].text, mistaken[i].factor))
		}
	}
	if len(fits) == 0 {
		return text + ". No usual mistake of a unit fits: look at all units, and at bead, void and hardware."
	}
	return text + ". A unit is wrong: " + strings.Join(fits, "; or ") + "."
}

// tallest is by how much heights without flow may differ from the settled height that
// was given.
const tallest = 0.02

// doubtedHeight says by how much the heights of a curve, followed to no flow along a
// straight line through its lowest readings, miss the settled height; empty: they
// meet it, or the lowest readings are too far from rest to tell.
func (e Estimation) doubtedHeight(c Curve) string {
	points, _ := flowing(c)
	n := max(3, len(points)/3)
	if points[0].Velocity > c.Last().Velocity.Times(0.3) {
		return ""
	}
	var mean [2]float64
	for _, p := range points[:n] {
		mean[0] += float64(p.Velocity) / float64(n)
		mean[1] += 1 / p.CompressionFactor / float64(n)
	}
	var xx, xy float64
	for _, p := range points[:n] {
		x := float64(p.Velocity) - mean[0]
		xx, xy = xx+x*x, xy+x*(1/p.CompressionFactor-mean[1])
	}
	rest := mean[1] - xy/xx*mean[0] // height without flow over the settled height
	err := e.heightError() / float64(c.SettledHeight) * math.Sqrt(1/float64(n)+mean[0]*mean[0]/xx)
	if math.Abs(rest-1) < tallest+3*err {
		return ""
	}
	return fmt.Sprintf("The heights of %s lead to %.4g cm without flow, %.4g cm was given as its settled height (%+.2g %%): measure the settled height again.",
		c.bed(), c.SettledHeight.Times(rest).In(units.Centimetre), c.SettledHeight.In(units.Centimetre), 100*(1/rest-1))
}
