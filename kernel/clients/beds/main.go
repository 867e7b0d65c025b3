// Beds works out beds, so that other libraries' numbers can be held against ours.
// It takes requests on its standard input and gives one answer for each, both as
// JSON in SI:
//
//	[{"kind": "rigid", "bead": 90e-6, "void": 0.4, "height": 0.2, "viscosity": 1e-3, "velocity": 8e-4}]
package main

import (
	"encoding/json"
	"fmt"
	"log"
	"os"
	"slices"
	"time"

	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/units"
)

// request is a bed and a flow. Kind is rigid, compressible, critical, wall,
// settling, or time, which solves the compressible bed again and again.
type request struct {
	Kind                                      string
	Bead, Void, Height, Viscosity, Velocity   float64
	Density, Excess, Diameter, Friction, Load float64
	Law                                       string // linear, exponential or power
	Stress, Exponent, Reynolds, Archimedes    float64
}

// answer holds numbers by name.
type answer map[string]float64

func (r request) law() (bed.Law, error) {
	switch r.Law {
	case "linear":
		return bed.LinearStrain{Modulus: units.Pressure(r.Stress)}, nil
	case "exponential":
		return bed.ExponentialVoid{Modulus: units.Pressure(r.Stress)}, nil
	case "power":
		return bed.PowerSolids{Stress0: units.Pressure(r.Stress), Exponent: r.Exponent}, nil
	}
	return nil, fmt.Errorf("no law %q", r.Law)
}

func (r request) compressible() (bed.Compressible, error) {
	law, err := r.law()
	return bed.Compressible{Law: law, MeanBead: units.Length(r.Bead), SettledVoid: r.Void, SettledHeight: units.Length(r.Height),
		Viscosity: units.Viscosity(r.Viscosity), InnerDiameter: units.Length(r.Diameter), WallFriction: r.Friction,
		DensityExcess: units.Density(r.Excess), Load: units.Pressure(r.Load)}, err
}

func (r request) answer() (answer, error) {
	switch r.Kind {
	case "rigid":
		p, err := bed.Rigid{MeanBead: units.Length(r.Bead), Void: r.Void, Height: units.Length(r.Height), Viscosity: units.Viscosity(r.Viscosity),
			Density: units.Density(r.Density)}.At(units.Velocity(r.Velocity))
		return answer{"kozeny": float64(p.KozenyCarman), "blake": float64(p.BlakeKozeny), "ergun": float64(p.Ergun),
			"reynolds": p.Reynolds, "permeability": float64(p.Permeability)}, err
	case "compressible":
		b, err := r.compressible()
		if err != nil {
			return nil, err
		}
		s, err := b.At(units.Velocity(r.Velocity))
		return answer{"pressure": float64(s.Pressure), "height": float64(s.Height), "stress": float64(s.BottomStress)}, err
	case "time":
		b, err := r.compressible()
		if err != nil {
			return nil, err
		}
		const batches, size = 200, 50 // a batch takes about as long as one solution of the peer
		times := make([]float64, batches)
		for i := range times {
			start := time.Now()
			for range size {
				if _, err := b.At(units.Velocity(r.Velocity)); err != nil {
					return nil, err
				}
			}
			times[i] = time.Since(start).Seconds() / size
		}
		slices.Sort(times)
		return answer{"seconds": times[batches/2]}, nil
	case "critical":
		b, err := r.compressible()
		if err != nil {
			return nil, err
		}
		u, err := b.CriticalVelocity()
		if err != nil {
			return nil, err
		}
		ceiling, err := b.Ceiling()
		return answer{"velocity": float64(u), "ceiling": ceiling}, err
	case "wall":
		void, err := bed.WallVoid(units.Length(r.Diameter), units.Length(r.Bead))
		return answer{"void": void}, err
	case "settling":
		return answer{"stokes": float64(bed.StokesVelocity(units.Length(r.Bead), units.Density(r.Excess), units.Viscosity(r.Viscosity))),
			"archimedes":   bed.Archimedes(units.Length(r.Bead), units.Density(r.Excess), units.Density(r.Density), units.Viscosity(r.Viscosity)),
			"fluidisation": bed.FluidisationReynolds(r.Archimedes),
			"garside":      bed.SettlingExponent(r.Reynolds), "rowe": bed.SettlingExponentRowe(r.Reynolds)}, nil
	}
	return nil, fmt.Errorf("no kind %q", r.Kind)
}

func main() {
	log.SetFlags(0)
	var requests []request
	if err := json.NewDecoder(os.Stdin).Decode(&requests); err != nil {
		log.Fatal(err)
	}
	answers := []answer{}
	for _, r := range requests {
		a, err := r.answer()
		if err != nil {
			log.Fatalf("%+v: %v", r, err)
		}
		answers = append(answers, a)
	}
	if err := json.NewEncoder(os.Stdout).Encode(answers); err != nil {
		log.Fatal(err)
	}
}
