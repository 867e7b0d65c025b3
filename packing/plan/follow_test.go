package plan_test

import (
	"math"
	"math/rand/v2"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/plan"
	. "github.com/evenbed/evenbed/packing/units"
)

// A wrong input is one that a plan refuses with a number in its remedy, and what
// to do with that number.
type wrong struct {
	name   string
	remedy *regexp.Regexp // with the number
	gone   string         // of the refusal, when the number was followed
	draw   func(r *rand.Rand) (planner, func(x float64) planner)
}

// named is a number in a remedy.
func named(pattern string) *regexp.Regexp {
	return regexp.MustCompile(strings.ReplaceAll(pattern, "X", `([0-9.]+)`))
}

// draws is how many wrong inputs are drawn of each kind: 15, or FOLLOW_DRAWS.
func draws(t *testing.T) int {
	s := os.Getenv("FOLLOW_DRAWS")
	if s == "" {
		return 15
	}
	n, err := strconv.Atoi(s)
	if err != nil {
		t.Fatalf("FOLLOW_DRAWS=%q: %v", s, err)
	}
	return n
}

func between(r *rand.Rand, low, high float64) float64 { return low + (high-low)*r.Float64() }

// flowWrong makes a wrong input of a plan by constant flow.
func flowWrong(c plan.ConstantFlow, spoil func(c *plan.ConstantFlow, r *rand.Rand), follow func(c *plan.ConstantFlow, x float64)) func(r *rand.Rand) (planner, func(x float64) planner) {
	return func(r *rand.Rand) (planner, func(x float64) planner) {
		bad := c
		bad.Duties = append([]plan.Duty(nil), c.Duties...)
		spoil(&bad, r)
		return bad, func(x float64) planner {
			again := bad
			again.Duties = append([]plan.Duty(nil), bad.Duties...)
			follow(&again, x)
			return again
		}
	}
}

// TestFollowRemedies takes refusals at their word: wherever one names a number,
// the check passes with it.
func TestFollowRemedies(t *testing.T) {
	own := own(t)
	lawful := own
	lawful.Curve, lawful.Law = bed.Curve{}, demoLaw()
	wrongs := []wrong{
		{"beyond the curve", named(`flow gives at most X here`), "flow gives at most", flowWrong(own,
			func(c *plan.ConstantFlow, r *rand.Rand) { c.CompressionFactor = between(r, 1.138, 1.4) },
			func(c *plan.ConstantFlow, x float64) { c.CompressionFactor = x })},
		{"drag of a process step", named(`run it at X cm/h or less, or pack`), "drags like", flowWrong(own,
			func(c *plan.ConstantFlow, r *rand.Rand) {
				c.Duties[1].Velocity, c.DragMargin = CentimetrePerHour.Times(between(r, 1, 3000)), between(r, 1, 1.5)
			},
			func(c *plan.ConstantFlow, x float64) { c.Duties[1].Velocity = CentimetrePerHour.Times(x) })},
		{"velocity of the medium", named(`ask for X cm/h or less, or a lower`), "highest velocity", flowWrong(own,
			func(c *plan.ConstantFlow, r *rand.Rand) {
				c.Medium.MaxVelocity, c.Duties = CentimetrePerHour.Times(between(r, 31, 340)), nil
			},
			func(c *plan.ConstantFlow, x float64) { c.PackingVelocity = CentimetrePerHour.Times(x) })},
		{"flow of the pump", named(`ask for X cm/h or less, or a lower`), "highest velocity", flowWrong(own,
			func(c *plan.ConstantFlow, r *rand.Rand) {
				c.Limits.PumpFlow, c.Duties = LitrePerHour.Times(between(r, 22, 240)), nil
			},
			func(c *plan.ConstantFlow, x float64) { c.PackingVelocity = CentimetrePerHour.Times(x) })},
		{"process step beyond the medium", named(`run it at X cm/h or less$`), "its velocity", flowWrong(own,
			func(c *plan.ConstantFlow, r *rand.Rand) {
				c.Medium.MaxVelocity = CentimetrePerHour.Times(between(r, 333, 400))
				c.Duties = []plan.Duty{{Name: "run", Velocity: CentimetrePerHour.Times(between(r, 300, 1000))}}
			},
			func(c *plan.ConstantFlow, x float64) { c.Duties[0].Velocity = CentimetrePerHour.Times(x) })},
		{"least flow of the pump", named(`or X cm/h or more`), "first velocity", flowWrong(own,
			func(c *plan.ConstantFlow, r *rand.Rand) {
				c.Limits.LeastPumpFlow = LitrePerHour.Times(between(r, 10, 21))
			},
			func(c *plan.ConstantFlow, x float64) { c.FirstVelocity = CentimetrePerHour.Times(x) })},
		{"least flow of the pump, test", named(`or X cm/h or more`), "test velocity", flowWrong(own,
			func(c *plan.ConstantFlow, r *rand.Rand) {
				c.Limits.LeastPumpFlow, c.FirstVelocity = LitrePerHour.Times(between(r, 15, 60)), 90*CentimetrePerHour
			},
			func(c *plan.ConstantFlow, x float64) { c.Test.Velocity = CentimetrePerHour.Times(x) })},
		{"relief above the column", named(`weakest part: X bar`), "limit of the column", flowWrong(own,
			func(c *plan.ConstantFlow, r *rand.Rand) {
				c.Column.MaxPressure, c.Limits.ReliefPressure = Bar.Times(between(r, 0.6, 6)), Bar.Times(between(r, 1, 9))
			},
			func(c *plan.ConstantFlow, x float64) { c.Limits.ReliefPressure = Bar.Times(x) })},
		{"relief above the end plate", named(`weakest part: X bar`), "end plate", flowWrong(own,
			func(c *plan.ConstantFlow, r *rand.Rand) {
				c.Limits.EndPlateForce, c.Limits.ReliefPressure = Kilonewton.Times(between(r, 5, 21)), Bar.Times(between(r, 0.7, 3))
			},
			func(c *plan.ConstantFlow, x float64) { c.Limits.ReliefPressure = Bar.Times(x) })},
		{"adapter too fast", named(`drive the adapter at X mm/s or less`), "adapter speed", flowWrong(own,
			func(c *plan.ConstantFlow, r *rand.Rand) {
				c.Catch, c.AdapterSpeed = plan.OutletOpen, MillimetrePerSecond.Times(between(r, 0.5, 5))
				c.PackingVelocity = CentimetrePerHour.Times(between(r, 200, 340))
			},
			func(c *plan.ConstantFlow, x float64) { c.AdapterSpeed = MillimetrePerSecond.Times(x) })},
		{"open top", named(`ask for X cm/h or less, or seal`), "gives 0.0", flowWrong(own,
			func(c *plan.ConstantFlow, r *rand.Rand) {
				c.FirstBy, c.FirstVelocity = plan.OpenTop, CentimetrePerHour.Times(between(r, 20, 200))
			},
			func(c *plan.ConstantFlow, x float64) { c.FirstVelocity = CentimetrePerHour.Times(x) })},
		{"critical velocity", named(`the critical velocity by the law given, X cm/h`), "critical velocity", flowWrong(lawful,
			func(c *plan.ConstantFlow, r *rand.Rand) {
				c.PackingVelocity = CentimetrePerHour.Times(between(r, 800, 3000))
			},
			func(c *plan.ConstantFlow, x float64) { c.PackingVelocity = CentimetrePerHour.Times(0.75 * x) })},
		{"curve of another height", named(`here it is X cm`), "it was measured at settled height", flowWrong(own,
			func(c *plan.ConstantFlow, r *rand.Rand) { c.Curve.SettledHeight = Centimetre.Times(between(r, 10, 40)) },
			func(c *plan.ConstantFlow, x float64) { c.Curve.SettledHeight = Centimetre.Times(x) })},
		{"slurry too thin", named(`a slurry of at least X %`), "slurry of", flowWrong(own,
			func(c *plan.ConstantFlow, r *rand.Rand) {
				c.Column.TubeHeight, c.Slurry.Concentration, c.Rinse = Centimetre.Times(between(r, 25, 60)), Percent.Times(between(r, 20, 60)), Litre.Times(between(r, 0, 3))
			},
			func(c *plan.ConstantFlow, x float64) { c.Slurry.Concentration = Percent.Times(x) })},
		{"percent for a factor", named(`X for 12 % more settled bed|X and not 12`), "compression factor", flowWrong(own,
			func(c *plan.ConstantFlow, r *rand.Rand) { c.CompressionFactor = between(r, 1.7, 20) },
			func(c *plan.ConstantFlow, x float64) { c.CompressionFactor = x })},
		{"a jump", named(`write for example RaiseSteps: X`), "steps up to", flowWrong(own,
			func(c *plan.ConstantFlow, r *rand.Rand) { c.RaiseSteps = 21 + r.IntN(100) },
			func(c *plan.ConstantFlow, x float64) { c.RaiseSteps = int(x) })},
		{"points of the height", named(`write for example HeightPoints: X`), "height read at", flowWrong(own,
			func(c *plan.ConstantFlow, r *rand.Rand) { c.Site.HeightPoints = 5 + r.IntN(10) },
			func(c *plan.ConstantFlow, x float64) { c.Site.HeightPoints = int(x) })},
		{"pressure beyond the curve", named(`ask for X bar or less, or measure on`), "end below it", func(r *rand.Rand) (planner, func(x float64) planner) {
			m := plan.ConstantPressure{Column: own.Column, Medium: own.Medium, Slurry: own.Slurry, BedHeight: own.BedHeight, CompressionFactor: own.CompressionFactor, Curve: own.Curve}
			m.PackingPressure = Bar.Times(between(r, 0.6, 1.9))
			if r.IntN(2) == 0 {
				m.Hardware = bed.Hardware{Velocity: CentimetrePerHour.Each(100, between(r, 200, 500)), Pressure: Bar.Each(0.02, 0.1)}
			}
			return m, func(x float64) planner { m.PackingPressure = Bar.Times(x); return m }
		}},
		{"adapter faster than the flow", named(`drive the adapter at X mm/s or less`), "adapter speed", func(r *rand.Rand) (planner, func(x float64) planner) {
			m := plan.FlowThenAdapter{Column: own.Column, Medium: own.Medium, Slurry: own.Slurry, BedHeight: own.BedHeight, CompressionFactor: own.CompressionFactor, Curve: own.Curve}
			m.PackingVelocity, m.AdapterSpeed = CentimetrePerHour.Times(between(r, 60, 320)), MillimetrePerSecond.Times(between(r, 0.2, 3))
			return m, func(x float64) planner { m.AdapterSpeed = MillimetrePerSecond.Times(x); return m }
		}},
		{"lift", named(`a lift of X m or less`), "lift", func(r *rand.Rand) (planner, func(x float64) planner) {
			m := plan.SuctionFill{Column: own.Column, Medium: own.Medium, Slurry: own.Slurry, BedHeight: own.BedHeight, CompressionFactor: own.CompressionFactor, Lift: Metre.Times(between(r, 4, 12))}
			m.Medium.DensityExcess = KilogramPerCubicMetre.Times(between(r, 20, 1200))
			return m, func(x float64) planner { m.Lift = Metre.Times(x); return m }
		}},
	}
	r := rand.New(rand.NewPCG(20261201, 2))
	refused := 0
	for _, w := range wrongs {
		followed := 0
		for range draws(t) {
			bad, follow := w.draw(r)
			_, err := bad.Plan()
			if err == nil {
				continue
			}
			x, ok := 0.0, false
			for _, line := range strings.Split(err.Error(), "\n") {
				if m := w.remedy.FindStringSubmatch(line); m != nil && strings.Contains(line, w.gone) {
					for _, text := range m[1:] {
						if text != "" {
							x, _ = strconv.ParseFloat(text, 64)
							ok = true
						}
					}
				}
			}
			if !ok {
				continue
			}
			followed++
			if _, again := follow(x).Plan(); again != nil && strings.Contains(again.Error(), w.gone) {
				t.Errorf("%s: %v\nwith the %v that it names: %v", w.name, err, x, again)
				break
			}
		}
		if followed < draws(t)/3 {
			t.Errorf("%s: only %d refusals name a number", w.name, followed)
		}
		refused += followed
	}
	t.Logf("%d refusals followed", refused)
}

// sizes are the units that examples in remedies use.
var sizes = map[string]float64{"Centimetre": 0.01, "Millimetre": 1e-3, "Metre": 1, "Litre": 1e-3, "Bar": 1e5, "LitrePerHour": 1e-3 / 3600, "CentimetrePerHour": 1. / 360000,
	"MillipascalSecond": 1e-3, "Percent": 0.01, "Kilogram": 1, "Second": 1, "Minute": 60, "Micrometre": 1e-6, "KilogramPerCubicMetre": 1, "Kilonewton": 1e3, "MolePerLitre": 1000}

var example = regexp.MustCompile(`[Ww]rite for example ([0-9.]+) \* ([A-Z][A-Za-z]+)`)

// exampleOf is the quantity that a message gives as an example, in SI.
func exampleOf(message string) (float64, bool) {
	m := example.FindStringSubmatch(message)
	if m == nil {
		return 0, false
	}
	x, err := strconv.ParseFloat(m[1], 64)
	one, known := sizes[m[2]]
	return x * one, err == nil && known
}

// TestFollowExamples forgets the unit of every quantity of a plan: the example that
// the refusal gives passes its check.
func TestFollowExamples(t *testing.T) {
	r := rand.New(rand.NewPCG(20261201, 3))
	full := full(t)
	quantities := map[string]*float64{}
	c := full
	add := func(name string, x *float64) { quantities[name] = x }
	for name, x := range map[string]any{
		"inner diameter": &c.Column.InnerDiameter, "tube height": &c.Column.TubeHeight, "extension": &c.Column.Extension, "allowance": &c.Column.Allowance, "maximum pressure": &c.Column.MaxPressure,
		"mean bead": &c.Medium.MeanBead, "density excess": &c.Medium.DensityExcess, "maximum bed pressure": &c.Medium.MaxBedPressure, "maximum velocity": &c.Medium.MaxVelocity, "least background": &c.Medium.LeastBackground,
		"concentration": &c.Slurry.Concentration, "bed height": &c.BedHeight, "dead volume": &c.DeadVolume, "rinse": &c.Rinse,
		"first velocity": &c.FirstVelocity, "packing velocity": &c.PackingVelocity, "third velocity": &c.ThirdVelocity, "adapter speed": &c.AdapterSpeed,
		"system pressure limit": &c.Limits.SystemPressure, "relief pressure": &c.Limits.ReliefPressure, "pump flow limit": &c.Limits.PumpFlow, "least pump flow": &c.Limits.LeastPumpFlow,
		"adapter force limit": &c.Limits.AdapterForce, "rating of the end plate": &c.Limits.EndPlateForce,
		"viscosity": &c.Viscosity, "test velocity": &c.Test.Velocity, "test sample": &c.Test.SampleVolume, "transfer flow": &c.Site.TransferFlow, "mass of the column": &c.Site.ColumnMass,
		"hold-up": &c.Test.HoldUp, "settled height found": &c.SettledFound, "ruler zero": &c.RulerZero, "tolerance of the target position": &c.TargetTolerance,
		"pressure to act at, above the expected one": &c.Site.ActAbove, "standard error of the slurry concentration": &c.SlurryStdErr,
	} {
		switch x := x.(type) {
		case *Length:
			add(name, (*float64)(x))
		case *Pressure:
			add(name, (*float64)(x))
		case *Density:
			add(name, (*float64)(x))
		case *Velocity:
			add(name, (*float64)(x))
		case *Molarity:
			add(name, (*float64)(x))
		case *Fraction:
			add(name, (*float64)(x))
		case *Volume:
			add(name, (*float64)(x))
		case *VolumeFlow:
			add(name, (*float64)(x))
		case *Force:
			add(name, (*float64)(x))
		case *Viscosity:
			add(name, (*float64)(x))
		case *Mass:
			add(name, (*float64)(x))
		}
	}
	if len(quantities) != 35 {
		t.Fatalf("%d quantities", len(quantities))
	}
	followed := map[string]int{}
	for name, x := range quantities {
		for range 25 {
			c = full
			*x = []float64{-1, 1, 1}[r.IntN(3)] * math.Pow(10, between(r, -7, 7))
			_, err := c.Plan()
			if err == nil {
				continue
			}
			for _, line := range strings.Split(err.Error(), "\n") {
				value, ok := exampleOf(line)
				if !ok || !strings.Contains(line, name+" ") {
					continue
				}
				followed[name]++
				*x = value
				if _, again := c.Plan(); again != nil && strings.Contains(again.Error(), name+" ") && example.MatchString(again.Error()) {
					t.Errorf("%v\nwith its example: %v", err, again)
				}
				break
			}
		}
	}
	total := 0
	for name := range quantities {
		if total += followed[name]; followed[name] < 3 {
			t.Errorf("%s: an example was followed %d times", name, followed[name])
		}
	}
	t.Logf("%d examples followed", total)
}

// TestFollowReview does the same for the numbers of a review.
func TestFollowReview(t *testing.T) {
	r := rand.New(rand.NewPCG(20261201, 4))
	steps, run := madePlan(t), runOf(t, made.OwnPack())
	total := 0
	for name, at := range map[string]func(v *plan.Review) *float64{
		"steady height":       func(v *plan.Review) *float64 { return (*float64)(&v.Steady.Height) },
		"steady pressure":     func(v *plan.Review) *float64 { return (*float64)(&v.Steady.Pressure) },
		"time to be steady":   func(v *plan.Review) *float64 { return (*float64)(&v.Steady.Over) },
		"velocity tolerance":  func(v *plan.Review) *float64 { return (*float64)(&v.Tolerances.Velocity) },
		"pressure tolerance":  func(v *plan.Review) *float64 { return (*float64)(&v.Tolerances.Pressure) },
		"height tolerance":    func(v *plan.Review) *float64 { return (*float64)(&v.Tolerances.Height) },
		"target tolerance":    func(v *plan.Review) *float64 { return (*float64)(&v.Tolerances.Mark) },
		"volume tolerance":    func(v *plan.Review) *float64 { return (*float64)(&v.Tolerances.Volume) },
		"height error":        func(v *plan.Review) *float64 { return (*float64)(&v.HeightStdErr) },
		"shortest plateau":    func(v *plan.Review) *float64 { return (*float64)(&v.ShortestPlateau) },
		"flow tolerance":      func(v *plan.Review) *float64 { return (*float64)(&v.FlowTolerance) },
		"slurry poured":       func(v *plan.Review) *float64 { return (*float64)(&v.SlurryPoured) },
		"pump pressure limit": func(v *plan.Review) *float64 { return (*float64)(&v.Limits.PumpPressure) },
		"bed height":          func(v *plan.Review) *float64 { return (*float64)(&v.BedHeight) },
	} {
		followed := 0
		for range 12 {
			v := plan.Review{Plan: steps}
			v.Limits = steps.Request.Limits
			*at(&v) = []float64{-1, 1}[r.IntN(2)] * math.Pow(10, between(r, 2, 9))
			f, err := v.Of(run)
			if err == nil {
				continue
			}
			value, ok := exampleOf(err.Error())
			if !strings.Contains(err.Error(), name) {
				continue // another check
			}
			if !ok {
				t.Errorf("%s: %v", name, err)
				continue
			}
			if f.Refusal == nil {
				t.Errorf("%s: an error without a refusal", name)
			}
			followed++
			*at(&v) = value
			if _, again := v.Of(run); again != nil && strings.Contains(again.Error(), name) {
				t.Errorf("%s: %v\nwith its example: %v", name, err, again)
			}
		}
		if total += followed; followed < 4 {
			t.Errorf("%s: followed %d times", name, followed)
		}
	}
	// The height and the target that a review names are taken when given.
	for range 20 {
		p := made.OwnPack()
		p.Settle = between(r, 20.75, 20.95)
		p.Mark = p.Settle / 1.12
		f := read(t, p, nil)
		m := regexp.MustCompile(`the target is ([0-9.]+) cm; give it as BedHeight`).FindStringSubmatch(strings.Join(f.Reasons, "\n"))
		if m == nil {
			t.Errorf("settled %v: %v", p.Settle, f.Reasons)
			continue
		}
		x, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		total++
		if again := read(t, p, func(v *plan.Review, _ *plan.Run) { v.BedHeight = Centimetre.Times(x) }); again.Advice != plan.ProceedToTest {
			t.Errorf("settled %v, target %v: %v", p.Settle, x, again.Reasons)
		}
	}
	t.Logf("%d numbers followed", total)
}
