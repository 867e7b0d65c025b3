package plan_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/plan"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// A methodPack makes the record of a pack, one reading each two seconds: what it
// says at a time [min], with noise of a seed. All numbers are invented.
type methodPack struct {
	end                         float64                 // min
	velocity, bar, bed, adapter func(t float64) float64 // cm/h, bar, cm and cm above the bottom net
	seed                        uint64
}

func (p methodPack) run(t testing.TB) plan.Run {
	t.Helper()
	r := rand.New(rand.NewPCG(p.seed, 11))
	var seconds []float64
	y := make([][]float64, 4)
	for s := 0.0; s <= 60*p.end; s += 2 {
		seconds = append(seconds, s)
		for i, read := range []func(float64) float64{p.velocity, p.bar, p.bed, p.adapter} {
			v, add := read(s/60), []float64{0.05, 0.0005, 0.008, 0.003}[i]
			y[i] = append(y[i], v*(1+[]float64{0.003, 0.003, 0, 0}[i]*r.NormFloat64())+add*r.NormFloat64())
		}
	}
	signal := func(i int, name, unit string) trace.Trace {
		tr, err := trace.Make(name, unit, trace.Time, seconds, y[i])
		if err != nil {
			t.Fatal(err)
		}
		return tr
	}
	return plan.Run{Label: "made pack", Flow: signal(0, "Velocity", "cm/h"), Pressure: signal(1, "Pressure", "bar"),
		BedHeight: signal(2, "Bed height", "cm"), Adapter: signal(3, "Adapter", "cm"), AdapterReads: plan.AboveNet}
}

// along goes from one value to another at a speed [cm/min], from a time on.
func along(t, from, to, start, speed float64) float64 {
	if t < start {
		return from
	}
	return math.Max(to, from-speed*(t-start))
}

// A pressurePack is what a pack by constant pressure was made with.
type pressurePack struct {
	methodPack
	set     float64    // bar
	plateau [4]float64 // cm/h, of each pressure
	from    [4]float64 // min
	to      [4]float64
	tau     float64 // min, of the flow on its way to the plateau
}

// byPressure makes a pack in four pressures, to the set one. The plateaus lie on
// the curve of the plan; in each pressure the flow falls from 1.3 times the plateau
// with a time constant, in the first, while the bed forms, from 3 times. The bed
// follows the plateaus; after the stop it is caught at the mark, 18.00 cm.
func byPressure(t testing.TB, curve bed.Curve, set, tau float64) *pressurePack {
	p := &pressurePack{set: set, from: [4]float64{3, 44, 54, 64}, to: [4]float64{40, 54, 64, 78}, tau: tau}
	var height [4]float64
	for k := range p.plateau {
		low, high := 0.0, curve.Last().Velocity.In(CentimetrePerHour)
		for range 60 {
			mid := (low + high) / 2
			at, err := curve.At(CentimetrePerHour.Times(mid))
			if err != nil {
				t.Fatal(err)
			}
			if at.Pressure.In(Bar) < set*float64(k+1)/4 {
				low = mid
			} else {
				high = mid
			}
			p.plateau[k], height[k] = mid, 20.16/at.CompressionFactor
		}
	}
	step := func(t float64) int {
		for k := range p.from {
			if t >= p.from[k] && t < p.to[k] {
				return k
			}
		}
		return -1
	}
	p.methodPack = methodPack{end: 95, seed: 5,
		velocity: func(t float64) float64 {
			switch k := step(t); {
			case k == 0:
				return p.plateau[0] * (1 + 2*math.Exp(-(t-p.from[0])/4))
			case k > 0:
				return p.plateau[k] * (1 + 0.3*math.Exp(-(t-p.from[k])/p.tau))
			case t >= 85:
				return 30
			}
			return 0
		},
		bar: func(t float64) float64 {
			if k := step(t); k >= 0 {
				return set * float64(k+1) / 4
			}
			if t >= 85 {
				return 0.06
			}
			return 0
		},
		bed: func(t float64) float64 {
			switch k := step(t); {
			case t < 3:
				return 38.8
			case k == 0:
				return height[0] + (38.8-height[0])*math.Exp(-(t-3)/4)
			case k == 1:
				return height[1] + (20.16-height[1])*math.Exp(-(t-p.from[1])/0.5)
			case k > 1:
				return height[k] + (height[k-1]-height[k])*math.Exp(-(t-p.from[k])/0.5)
			case t < 44:
				return 20.16 - (20.16-height[0])*math.Exp(-(t-40)/0.5)
			}
			return math.Min(18, along(t, 20.36, 18, 78.1, 6))
		},
		adapter: func(t float64) float64 {
			if t < 60 {
				return along(t, 38.8, 20.36, 40.5, 30)
			}
			return along(t, 20.36, 18, 78.1, 6)
		}}
	return p
}

func pressurePlan(t testing.TB, set Pressure) plan.Procedure {
	t.Helper()
	q := madePlan(t).Request
	p, err := plan.ConstantPressure{Column: q.Column, Medium: q.Medium, Slurry: q.Slurry, BedHeight: q.BedHeight, CompressionFactor: q.CompressionFactor,
		Curve: q.Curve, PackingPressure: set, Limits: q.Limits, Viscosity: 1 * MillipascalSecond, Liquid: "water"}.Plan()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// What is read back of a made pack by constant pressure against what it was made
// of.
func TestReviewByPressure(t *testing.T) {
	const set = 0.5
	steps := pressurePlan(t, set*Bar)
	p := byPressure(t, steps.Request.Curve, set, 1)
	f, err := plan.Review{Plan: steps, SlurryPoured: 27.4 * Litre}.Of(p.run(t))
	if err != nil {
		t.Fatal(err)
	}
	const want = "before the flow | pressure 1, loose bed | flow off, adapter | pressure 2, compress | pressure 3, compress | pressure 4, compress | stop, lowering | flow afterwards"
	if kinds(f) != want || f.Compressions != 1 {
		t.Fatalf("%d compressions, steps %s, want %s", f.Compressions, kinds(f), want)
	}
	if f.Advice != plan.ProceedToTest || f.Review.StepsBy != plan.StepsByPressure {
		t.Errorf("%v by %v: %q, doubts %q", f.Advice, f.Review.StepsBy, f.Reasons, f.Doubts)
	}
	area := math.Pi / 4 * 30 * 30 // cm²
	found := []plan.Step{f.Steps[1], f.Steps[3], f.Steps[4], f.Steps[5]}
	for k, s := range found {
		more, tau := 0.3, 1.0
		if k == 0 {
			more, tau = 2, 4
		}
		long := p.to[k] - p.from[k]
		// ∫ u (1 + m exp(-t/τ)) dt = u (T + m τ (1 - exp(-T/τ))), by hand.
		volume := p.plateau[k] / 60 * (long + more*tau*(1-math.Exp(-long/tau))) * area / 1000
		at, err := steps.Request.Curve.At(CentimetrePerHour.Times(p.plateau[k]))
		if err != nil {
			t.Fatal(err)
		}
		for _, tc := range []struct {
			what            string
			got, want, room float64
		}{
			{"start, min", s.Start.In(Minute), p.from[k], 0.07},
			{"end, min", s.End.In(Minute), p.to[k], 0.07},
			{"pressure, bar", s.Pressure.In(Bar), set * float64(k+1) / 4, 0.002},
			{"velocity at its end, cm/h", s.Velocity.In(CentimetrePerHour), p.plateau[k], 0.003 * p.plateau[k]},
			{"flow at its end, L/h", s.Flow.In(LitrePerHour), p.plateau[k] * area / 1000, 0.003 * p.plateau[k] * area / 1000},
			{"volume, L", s.Volume.In(Litre), volume, 0.01 * volume},
			{"height at its end, cm: on the curve", s.Height.In(Centimetre), 20.16 / at.CompressionFactor, 0.01},
		} {
			about(t, s.Name+": "+tc.what, tc.got, tc.want, tc.room)
		}
		if k := s.Steadiness; k.FlowIs != plan.Within || k.HeightIs != plan.Within || k.PressureIs != plan.Within {
			t.Errorf("%s: %+v", s.Name, k)
		}
	}
	for _, tc := range []struct {
		what            string
		got, want, room float64
	}{
		{"settled height, cm", f.SettledHeight.In(Centimetre), 20.16, 0.02},
		{"packed height, cm", f.BedHeight.In(Centimetre), 18, 0.005},
		{"compression factor", f.CompressionFactor, 20.16 / 18, 0.002},
		{"from the slurry: 27.4 L of 52 %", f.BySlurry, 27.4e3 * 0.52 / area / 18, 0.001},
		{"travel of the adapter, cm", f.Travel.In(Centimetre), 20.36 - 18, 0.01},
		{"speed of the catch, mm/s: 6 cm/min", f.Moves[len(f.Moves)-1].Speed.In(MillimetrePerSecond), 1, 0.1},
	} {
		about(t, tc.what, tc.got, tc.want, tc.room)
	}
	planned := map[string]float64{}
	for _, d := range f.Deviations {
		planned[d.What] = d.Planned
		if d.Verdict == plan.Outside {
			t.Errorf("%v", d)
		}
	}
	about(t, "planned velocity of the last pressure", planned["velocity of the compression"], p.plateau[3], 0.01*p.plateau[3])
	if s := f.SteadyTable().Markdown(); !strings.Contains(s, "flow changed by") || !strings.Contains(f.Page().HTML(), "pressure 4, compress") {
		t.Errorf("the flow's verdict does not show:\n%s", s)
	}

	// The same without a plan: the pressures themselves tell the steps.
	q := steps.Request
	alone, err := plan.Review{Column: q.Column, Medium: q.Medium, BedHeight: q.BedHeight, CompressionFactor: q.CompressionFactor, Curve: q.Curve,
		StepsBy: plan.StepsByPressure}.Of(p.run(t))
	if err != nil || kinds(alone) != want || alone.Advice != plan.ProceedToTest {
		t.Errorf("without a plan: %v, %v, %s, %q", err, alone.Advice, kinds(alone), alone.Reasons)
	}

	// Flow that still falls when the last pressure ends: after 14 min with a time
	// constant of 20 min it changes by 0.3 (exp(-9/20) - exp(-14/20)) = 4.2 % of the
	// plateau in the last 5 min, which stands at 1.17 times: 3.6 % (by hand, level
	// in the middle).
	slow := byPressure(t, q.Curve, set, 20)
	f, err = plan.Review{Plan: steps}.Of(slow.run(t))
	if err != nil {
		t.Fatal(err)
	}
	last := f.Steps[5].Steadiness
	about(t, "flow changed by, %", last.Flow.In(Percent), -100*0.3*(math.Exp(-9.0/20)-math.Exp(-14.0/20))/(1+0.3*math.Exp(-11.5/20)), 0.3)
	if last.FlowIs != plan.Outside || f.Advice != plan.AddStep || !strings.Contains(strings.Join(f.Reasons, "; "), "the flow still changed by") {
		t.Errorf("flow still falling: %v, %v, %q", last.FlowIs, f.Advice, f.Reasons)
	}

	// A set point above the medium's limit, 2 bar.
	over := plan.Review{Plan: steps}
	over.Medium = q.Medium
	over.Medium.MaxBedPressure = 0.45 * Bar
	if f, err = over.Of(p.run(t)); err != nil || f.Advice != plan.Repack {
		t.Errorf("limit passed: %v, %v, %q", err, f.Advice, f.Reasons)
	}
	if _, err = (plan.Review{Plan: steps, StepsBy: 9}).Of(p.run(t)); err == nil || !strings.Contains(err.Error(), "steps by 9: there is no such signal") {
		t.Errorf("no such signal: %v", err)
	}
	run := p.run(t)
	run.Pressure = trace.Trace{}
	if _, err = (plan.Review{Plan: steps}).Of(run); err == nil || !strings.Contains(err.Error(), "StepsBy: plan.StepsByFlow") {
		t.Errorf("no pressure: %v", err)
	}
}

// An adapterPack is what a pack by the adapter was made with: settled by gravity
// from 38.8 to 20.16 cm, the adapter above the bed at 58 min, and on the bed at a
// speed from 60 min on to the mark.
type adapterPack struct {
	methodPack
	speed, mark, again float64 // cm/h, cm; again: a second mark at 85 min, zero: none
}

func byAdapter(speed, mark, again float64) adapterPack {
	adapter := func(t float64) float64 {
		switch {
		case t < 59.5:
			return along(t, 38.8, 20.36, 58, 30)
		case again > 0 && t >= 85:
			return along(t, mark, again, 85, speed/60)
		}
		return along(t, 20.36, mark, 60, speed/60)
	}
	moving := func(t float64) bool { return adapter(t)-adapter(t+0.01) > 1e-6 && adapter(t) < 20.16 }
	return adapterPack{methodPack{end: 110, seed: 8,
		velocity: func(t float64) float64 {
			if t >= 100 {
				return 30
			}
			return 0
		},
		bar: func(t float64) float64 {
			switch {
			case moving(t):
				return 0.3 * (20.16 - adapter(t)) / (20.16 - mark)
			case t >= 100:
				return 0.06
			}
			return 0
		},
		bed: func(t float64) float64 { return math.Min(20.16+18.64*math.Exp(-t/5), adapter(t)) }, adapter: adapter}, speed, mark, again}
}

func adapterPlan(t testing.TB) plan.Procedure {
	t.Helper()
	q := madePlan(t).Request
	p, err := plan.AxialCompression{Column: q.Column, Medium: q.Medium, Slurry: q.Slurry, BedHeight: q.BedHeight, CompressionFactor: q.CompressionFactor,
		AdapterSpeed: 30 * CentimetrePerHour, Limits: q.Limits}.Plan()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// What is read back of a made pack by the adapter against what it was made of.
func TestReviewByAdapter(t *testing.T) {
	steps := adapterPlan(t)
	p := byAdapter(30, 18, 0)
	f, err := plan.Review{Plan: steps, SlurryPoured: 27.4 * Litre}.Of(p.run(t))
	if err != nil {
		t.Fatal(err)
	}
	const want = "settle | adapter to the bed | compress | hold | flow afterwards"
	if kinds(f) != want || f.Compressions != 1 {
		t.Fatalf("%d compressions, steps %s, want %s", f.Compressions, kinds(f), want)
	}
	if f.Advice != plan.ProceedToTest || f.Review.StepsBy != plan.StepsByAdapter {
		t.Errorf("%v by %v: %q, doubts %q", f.Advice, f.Review.StepsBy, f.Reasons, f.Doubts)
	}
	area := math.Pi / 4 * 30 * 30      // cm²
	contact := 60 + 0.2/30*60          // 2 mm at 30 cm/h take 0.4 min
	arrival := 60 + (20.36-18)/30*60.0 // 4.72 min
	press, hold := f.Steps[2], f.Steps[3]
	for _, tc := range []struct {
		what            string
		got, want, room float64
	}{
		{"end of settling, min", f.Steps[0].End.In(Minute), 58, 0.1},
		{"adapter meets the bed, min", press.Start.In(Minute), contact, 0.1},
		{"adapter at the mark, min", press.End.In(Minute), arrival, 0.15},
		{"flow afterwards, min", f.Steps[4].Start.In(Minute), 100, 0.07},
		{"speed on the bed, cm/h", press.Velocity.In(CentimetrePerHour), 30, 0.6},
		{"displaced, L/h: u·A", press.Flow.In(LitrePerHour), 30 * area / 1000, 0.45},
		{"displaced, L: A·(20.16 - 18)", press.Volume.In(Litre), area * 2.16 / 1000, 0.02},
		{"pressure at its end, bar", press.Pressure.In(Bar), 0.28, 0.02},
		{"height at the end of the hold, cm", hold.Height.In(Centimetre), 18, 0.005},
		{"settled height, cm", f.SettledHeight.In(Centimetre), 20.16, 0.005},
		{"packed height, cm", f.BedHeight.In(Centimetre), 18, 0.005},
		{"compression factor", f.CompressionFactor, 20.16 / 18, 0.001},
		{"from the slurry: 27.4 L of 52 %", f.BySlurry, 27.4e3 * 0.52 / area / 18, 0.001},
		{"travel on the bed, cm", f.Travel.In(Centimetre), 2.16, 0.02},
	} {
		about(t, tc.what, tc.got, tc.want, tc.room)
	}
	if f.Steps[0].Steadiness.HeightIs != plan.Within || hold.Steadiness.HeightIs != plan.Within {
		t.Errorf("steady: %+v, %+v", f.Steps[0].Steadiness, hold.Steadiness)
	}
	speeds := 0
	for _, d := range f.Deviations {
		if d.Verdict == plan.Outside {
			t.Errorf("%v", d)
		}
		if d.What == "speed of the adapter" && math.Abs(d.Planned-30) < 1e-9 {
			speeds++
		}
	}
	if speeds != 1 || strings.Contains(fmt.Sprint(f.Deviations), "velocity of step 1") {
		t.Errorf("deviations %v", f.Deviations)
	}
	if s := f.Page().HTML(); !strings.Contains(s, "adapter to the bed") || !strings.Contains(s, "<svg") {
		t.Error("the findings do not show")
	}

	// A mark that is missed, and one more travel that reaches it.
	f, err = plan.Review{Plan: steps}.Of(byAdapter(30, 18.5, 0).run(t))
	if err != nil || f.Advice != plan.AddStep || !strings.Contains(f.Reasons[0], "5.0 mm above its target") {
		t.Errorf("mark missed: %v, %v, %q", err, f.Advice, f.Reasons)
	}
	f, err = plan.Review{Plan: steps}.Of(byAdapter(30, 18.5, 18).run(t))
	if err != nil || f.Compressions != 2 || f.Advice != plan.ProceedToTest || !strings.Contains(kinds(f), "hold | compress again | hold again") {
		t.Errorf("a second travel: %v, %v, %s, %q", err, f.Advice, kinds(f), f.Reasons)
	}
	// An adapter half as fast again as planned: told, and no reason against the bed.
	f, err = plan.Review{Plan: steps}.Of(byAdapter(45, 18, 0).run(t))
	outside := ""
	for _, d := range f.Deviations {
		if d.Verdict == plan.Outside {
			outside += d.What
		}
	}
	if err != nil || outside != "speed of the adapter" || f.Advice != plan.ProceedToTest {
		t.Errorf("too fast: %v, outside %q, %v", err, outside, f.Advice)
	}

	// Other speeds and seeds: the same steps, the speed and the factor that were made.
	for _, speed := range []float64{8, 15, 60, 120} {
		for seed := range uint64(5) {
			p := byAdapter(speed, 18, 0)
			p.seed = seed
			f, err := plan.Review{Plan: steps}.Of(p.run(t))
			if err != nil || kinds(f) != want {
				t.Errorf("%v cm/h, seed %d: %v, %s", speed, seed, err, kinds(f))
				continue
			}
			about(t, fmt.Sprintf("speed of %v cm/h, seed %d", speed, seed), f.Steps[2].Velocity.In(CentimetrePerHour), speed, 0.03*speed)
			about(t, fmt.Sprintf("factor at %v cm/h, seed %d", speed, seed), f.CompressionFactor, 20.16/18, 0.001)
		}
	}

	// A flow that helps the bed to settle, 20 cm/h from 3 to 50 min.
	helped := byAdapter(30, 18, 0)
	later := helped.velocity
	helped.velocity = func(t float64) float64 {
		if t >= 3 && t < 50 {
			return 20
		}
		return later(t)
	}
	q := steps.Request
	flowing, err := plan.AxialCompression{Column: q.Column, Medium: q.Medium, Slurry: q.Slurry, BedHeight: q.BedHeight, CompressionFactor: q.CompressionFactor,
		FirstVelocity: 20 * CentimetrePerHour, AdapterSpeed: 30 * CentimetrePerHour}.Plan()
	if err != nil {
		t.Fatal(err)
	}
	f, err = plan.Review{Plan: flowing}.Of(helped.run(t))
	if err != nil || kinds(f) != "before the flow | step 1, loose bed | flow off | adapter to the bed | compress | hold | flow afterwards" || f.Advice != plan.ProceedToTest {
		t.Fatalf("settled under flow: %v, %s, %v, %q", err, kinds(f), f.Advice, f.Reasons)
	}
	about(t, "velocity of step 1", f.Steps[1].Velocity.In(CentimetrePerHour), 20, 0.02)
	about(t, "start of step 1, min", f.Steps[1].Start.In(Minute), 3, 0.04)
	about(t, "end of step 1, min", f.Steps[1].End.In(Minute), 50, 0.04)
	about(t, "volume of step 1, L: u·A·t", f.Steps[1].Volume.In(Litre), 20*area*47/60/1000, 0.05)
	for _, d := range f.Deviations {
		if d.What == "velocity of step 1" && d.Verdict != plan.Within {
			t.Errorf("%v", d)
		}
	}

	// No flow was recorded: taken as none, and said.
	run := p.run(t)
	run.Flow = trace.Trace{}
	f, err = plan.Review{Plan: steps}.Of(run)
	if err != nil || kinds(f) != "settle | adapter to the bed | compress | hold" || f.Advice != plan.ProceedToTest || !strings.Contains(strings.Join(f.Taken, "; "), "no flow at any time") {
		t.Errorf("without flow: %v, %s, %v, %q", err, kinds(f), f.Advice, f.Taken)
	}
	// Nothing tells how high the bed had settled; or the adapter never moves.
	run.BedHeight = trace.Trace{}
	if _, err = (plan.Review{Plan: steps}).Of(run); err == nil || !strings.Contains(err.Error(), "give Adapter, and BedHeight or Readings") {
		t.Errorf("no bed: %v", err)
	}
	still := p.run(t)
	still.Adapter = changed(t, still.Adapter, "cm", same, func(float64) float64 { return 38 })
	if _, err = (plan.Review{Plan: steps}).Of(still); err == nil || !strings.Contains(err.Error(), "it goes down nowhere") {
		t.Errorf("an adapter at rest: %v", err)
	}
}
