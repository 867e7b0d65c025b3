package made

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"sort"
)

// A Pack is how a recorded pack of column 04 went. Times are in minutes of the
// record, lengths in centimetres, velocities in cm/h. [OwnPack] is a pack that
// went well; tests change its fields.
type Pack struct {
	Seed   uint64
	Settle float64 // settled height of the bed, at rest
	Poured float64 // height of the slurry
	Fall   float64 // of the slurry's upper edge without flow, cm/h

	First     float64 // velocity of step 1
	FirstFrom float64
	FirstTo   float64

	Second     float64 // velocity of step 2
	SecondFrom float64
	SecondTo   float64

	Reach   float64 // how far of the compression step 2 gets, 1 in full
	Slow    float64 // time constant of that part of the compression that is slow, s; zero: 20
	Surge   float64 // pressure added for ten seconds in the middle of step 2, bar
	Catch   float64 // seconds from the stop until the adapter moves
	Mark    float64 // where the adapter is left
	ThirdAt float64 // start of a further compression step of four minutes; zero: none
	Mark3   float64 // where the adapter is left after it

	Condition float64 // velocity after the catch
	End       float64
	Step      float64 // seconds between two rows

	Pulsation float64 // of the flow, as a part of it
	Noise     float64 // 1: as usual; 0: none
}

const packSeed = 1812

// OwnPack returns the pack that is stored: step 1 is over after half an hour, the
// bed settles a little higher than planned, and step 2 and the catch go well.
func OwnPack() Pack {
	return Pack{
		Seed: packSeed, Settle: 20.27, Poured: 38.8, Fall: 18.5,
		First: 20, FirstFrom: 1.2, FirstTo: 38.4,
		Second: 331, SecondFrom: 41.9, SecondTo: 49.3,
		Reach: 1, Catch: 52, Mark: 18.02,
		Condition: 60, End: 60, Step: 2, Noise: 1,
	}
}

// PackRows are the columns of a recorded pack: time in minutes, flow in L/h,
// pressure in bar, heights in centimetres above the bottom net.
type PackRows struct{ Time, Flow, Pressure, Bed, Adapter []float64 }

// Rows returns the record, row by row. The bed follows the flow with two time
// constants: 20 s and, for a tenth of it, Slow. After a stop it rises by 4 mm
// with 7 s and by 3 mm with 60 s, and what the adapter meets it presses down.
func (p Pack) Rows() PackRows {
	var out PackRows
	area := math.Pi / 4 * 30 * 30 // cm²
	rest := p.Settle
	heights, bars := curveOf(rest, math.Max(p.First, math.Max(p.Second, p.Condition)))
	r := rand.New(rand.NewPCG(p.Seed, 7))
	noise := func(size float64) float64 { return p.Noise * size * r.NormFloat64() }

	slow := p.Slow
	if slow == 0 {
		slow = 20
	}
	const (
		fast     = 3.0 // mm/s of the adapter in the open tube
		sealed   = 0.9 // mm/s of the sealed adapter
		above    = 0.2 // cm over the bed before step 2
		hardware = 0.012
	)
	every := int(math.Ceil(p.Step / 0.25))
	dt := p.Step / float64(every) // s, of the integration
	thirdTo := p.ThirdAt + 4
	// The velocity that the pump is set to, the adapter's aim and its speed.
	set := func(t float64) float64 {
		switch {
		case t >= p.FirstFrom && t < p.FirstTo:
			return p.First
		case t >= p.SecondFrom && t < p.SecondTo:
			return p.Second
		case p.ThirdAt > 0 && t >= p.ThirdAt && t < thirdTo:
			return p.Second
		case t >= p.End-6 && (p.ThirdAt == 0 || t > thirdTo+2):
			return p.Condition
		}
		return 0
	}
	velocity, adapter, edge := 0.0, 42.0, p.Poured
	quick, lag := 0.0, 0.0                         // parts of the compression, cm
	stopped, riseFast, riseSlow := false, 0.0, 0.0 // cm still to rise
	kept := 0.0                                    // compression that stays, cm
	height := rest
	rows := int(math.Round(p.End*60/p.Step)) + 1
	for i := range rows * every {
		s := float64(i) * dt
		t := s / 60
		// The pump takes some seconds for a change.
		velocity += (set(t) - velocity) * dt / 1.5
		if math.Abs(velocity) < 1e-3 {
			velocity = 0
		}
		aim := rest - heights(velocity)
		if set(t) > 0 {
			reach := 1.0
			if velocity > p.First+1 {
				reach = p.Reach
			}
			quick += (0.9*aim*reach - quick) * dt / 20
			lag += (0.1*aim*reach - lag) * dt / slow
			stopped = false
		} else if !stopped {
			stopped = true
			now := quick + lag
			riseFast, riseSlow = math.Min(0.4, 0.5*now), math.Min(0.3, 0.3*now)
			kept = now - riseFast - riseSlow
		}
		if stopped {
			riseFast -= riseFast * dt / 7
			riseSlow -= riseSlow * dt / 60
			quick, lag = 0.9*(kept+riseFast+riseSlow), 0.1*(kept+riseFast+riseSlow)
		}
		edge -= velocity / 3600 * dt
		edge -= p.Fall / 3600 * dt
		height = rest - quick - lag
		// The adapter: to the bed after step 1, to the marks after the others.
		target, speed := 42.0, fast
		switch {
		case p.ThirdAt > 0 && t >= thirdTo+p.Catch/60:
			target, speed = p.Mark3, sealed
		case t >= p.SecondTo+p.Catch/60:
			target, speed = p.Mark, sealed
		case t >= p.FirstTo+0.4:
			target = rest - 0.05 + above
			if adapter < target+1.5 {
				speed = 0.6
			}
		}
		if d := target - adapter; d < 0 {
			adapter += math.Max(d, -speed/10*dt)
		}
		seen := math.Max(height, edge)
		if adapter < height { // the adapter presses
			seen = adapter
		}
		if i%every != 0 {
			continue
		}
		bar := bars(velocity)
		if velocity > 0 {
			bar += hardware * velocity / 331
		}
		if mid := (p.SecondFrom + p.SecondTo) / 2; math.Abs(t-mid) < 5.0/60 {
			bar += p.Surge
		}
		flow := velocity * area / 1000 // L/h
		if velocity > 0 {
			flow *= 1 + p.Pulsation*math.Sin(2*math.Pi*s/3.7)
			bar *= 1 + p.Pulsation*math.Sin(2*math.Pi*s/3.7)
		}
		out.Time = append(out.Time, t)
		out.Flow = append(out.Flow, flow*(1+noise(0.004))+noise(0.03))
		out.Pressure = append(out.Pressure, bar*(1+noise(0.003))+noise(0.0006))
		out.Bed = append(out.Bed, seen+noise(0.008))
		out.Adapter = append(out.Adapter, adapter+noise(0.003))
	}
	return out
}

// curveOf returns height [cm] and pressure [bar] of Marram against velocity
// [cm/h] up to a last one, between points by straight lines. The points are taken
// at pressures, for which nothing has to be searched.
func curveOf(settled, last float64) (height, bar func(u float64) float64) {
	u, h, b := []float64{0}, []float64{settled}, []float64{0}
	for drop := 200.0; u[len(u)-1] < last; drop *= 1.1 { // Pa
		solids, length := Marram.integrals(drop)
		v := solids / (Marram.Viscosity * (1 - Marram.Void) * settled / 100) // m/s
		u = append(u, v*360000)
		h = append(h, length/(Marram.Viscosity*v)*100)
		b = append(b, drop/1e5)
	}
	read := func(y []float64) func(v float64) float64 {
		return func(v float64) float64 {
			i := min(max(sort.SearchFloat64s(u, v), 1), len(u)-1)
			return y[i-1] + (y[i]-y[i-1])*(v-u[i-1])/(u[i]-u[i-1])
		}
	}
	return read(h), read(b)
}

// CSV returns the record as an export.
func (p Pack) CSV() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, `Invented data: made by the seeded program %s, seed %d; no real column was packed
Record: pack of column 04 by constant flow in two steps
Column: column 04, 30.0 cm inner diameter
Medium: Marram, mean bead 90 µm, lot M-0417
Slurry: 52.0 %%, 27.5 L poured at time zero
Liquid: water, 20 °C
Heights: above the bottom net; bed is the upper edge of slurry or bed, adapter its lower face
Flow: downward

`, program, p.Seed)
	b.WriteString("Time (min),Flow (L/h),Pressure (bar),Bed height (cm),Adapter (cm)\n")
	r := p.Rows()
	for i := range r.Time {
		fmt.Fprintf(&b, "%.3f,%s,%s,%.2f,%.2f\n", r.Time[i], unsigned(r.Flow[i], 2), unsigned(r.Pressure[i], 4), r.Bed[i], r.Adapter[i])
	}
	return b.Bytes()
}

// unsigned writes a number without the sign of a rounded zero.
func unsigned(v float64, digits int) string {
	s := fmt.Sprintf("%.*f", digits, v)
	if z := fmt.Sprintf("%.*f", digits, 0.0); s == "-"+z {
		return z
	}
	return s
}
