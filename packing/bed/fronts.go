package bed

import (
	"math"

	"github.com/evenbed/evenbed/packing/units"
)

// A Front is where a settling suspension stands at a time.
type Front struct {
	Time      units.Time
	Bed       units.Length // surface of the bed
	Interface units.Length // upper edge of the suspension, clear liquid above
}

// Fronts returns how the surface of the bed rises and the upper edge of the
// suspension falls until they meet, after Kynch. All layers that form on the way
// start at the bottom; each rises at the slope of the lower hull of the flux
//
//	U = -ΔF/Δφ,  F(φ) = φ·(q + ut·(1-φ)ⁿ),  F(φm) = 0
//
// and the upper edge falls at q + ut·(1-φ)ⁿ of the layer that it has come down to.
// Between the points both move along straight lines. It has the errors and the
// source of Settle.
func (s Suspension) Fronts(height units.Length) ([]Front, error) {
	sediment, err := s.Settle(height)
	if err != nil {
		return nil, err
	}
	// Lower hull of the flux from φ0 to φm.
	const n = 600
	type point struct{ φ, f float64 }
	var hull []point
	for i := range n + 1 {
		φ := s.Solids + (s.BedSolids-s.Solids)*float64(i)/n
		p := point{φ, s.flux(φ)}
		if i == n {
			p.f = 0 // the bed rests
		}
		for len(hull) >= 2 {
			a, b := hull[len(hull)-2], hull[len(hull)-1]
			if (b.f-a.f)*(p.φ-a.φ) < (p.f-a.f)*(b.φ-a.φ) {
				break
			}
			hull = hull[:len(hull)-1]
		}
		hull = append(hull, p)
	}
	t, z := 0.0, float64(height)
	fronts := []Front{{0, 0, height}}
	for i := 1; i < len(hull); i++ {
		a, b := hull[i-1], hull[i]
		rises := -(b.f - a.f) / (b.φ - a.φ)
		falls := float64(s.Downflow) + float64(s.Terminal)*math.Pow(1-a.φ, s.Exponent)
		t, z = (z+falls*t)/(rises+falls), rises*(z+falls*t)/(rises+falls)
		fronts = append(fronts, Front{units.Time(t), units.Length(t).Times(float64(sediment.Growth)), units.Length(z)})
	}
	last := &fronts[len(fronts)-1]
	last.Bed = last.Interface
	return fronts, nil
}
