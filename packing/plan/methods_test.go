package plan_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/plan"
	. "github.com/evenbed/evenbed/packing/units"
)

// planner is any method.
type planner interface {
	Plan() (plan.Procedure, error)
}

// methods gives every method with every input that it has, by name.
func methods(t *testing.T) map[string]planner {
	t.Helper()
	f := full(t)
	f.SettledFound = 20.5 * Centimetre
	f.Curve = demoCurve(t, 20.16*Centimetre, 400*CentimetrePerHour)
	f.Curve.SettledHeight, f.Curve.InnerDiameter, f.Curve.Viscosity = 20.16*Centimetre, 30*Centimetre, 1*MillipascalSecond
	out := map[string]planner{"constant flow": f}
	for name, m := range map[string]planner{
		"flow, then adapter": plan.FlowThenAdapter{FirstVelocity: 25 * CentimetrePerHour, PackingVelocity: 240 * CentimetrePerHour, AdapterSpeed: 25 * CentimetrePerHour},
		"constant pressure":  plan.ConstantPressure{PackingPressure: 0.5 * Bar, AdapterSpeed: 200 * CentimetrePerHour},
		"axial compression":  plan.AxialCompression{FirstVelocity: 22 * CentimetrePerHour, AdapterSpeed: 25 * CentimetrePerHour},
		"suction fill": plan.SuctionFill{DrawSpeed: 3 * MillimetrePerSecond, Lift: 0.6 * Metre, Then: plan.ByFlow,
			FirstVelocity: 25 * CentimetrePerHour, PackingVelocity: 330 * CentimetrePerHour, AdapterSpeed: 300 * CentimetrePerHour},
		"suction fill, by adapter": plan.SuctionFill{DrawSpeed: 3 * MillimetrePerSecond, Lift: 0.6 * Metre, FirstVelocity: 22 * CentimetrePerHour, AdapterSpeed: 25 * CentimetrePerHour},
		"nozzle, in place":         plan.PackInPlace{FillFlow: 300 * LitrePerHour, PackingPressure: 0.7 * Bar},
	} {
		out[name] = common(m, f).Interface().(planner)
	}
	drawn := out["suction fill, by adapter"].(plan.SuctionFill)
	drawn.RaiseSteps = 0
	out["suction fill, by adapter"] = drawn
	return out
}

// common gives a method what the request for constant flow has too, as far as it
// has nothing of its own. The limits allow what it does.
func common(m planner, f plan.ConstantFlow) reflect.Value {
	v := reflect.New(reflect.TypeOf(m)).Elem()
	v.Set(reflect.ValueOf(m))
	from := reflect.ValueOf(f)
	for i := range v.NumField() {
		name := v.Type().Field(i).Name
		if x := from.FieldByName(name); x.IsValid() && v.Field(i).IsZero() && name != "FirstVelocity" && name != "PackingVelocity" && name != "Catch" {
			v.Field(i).Set(x)
		}
	}
	return v
}

func planned(t *testing.T, name string, m planner) plan.Procedure {
	t.Helper()
	p, err := m.Plan()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return p
}

// TestEveryInputShows changes every input of every method by itself: what is
// shown must change. Not shown are points of a curve far from where it is read.
func TestEveryInputShows(t *testing.T) {
	for name, m := range methods(t) {
		v := reflect.New(reflect.TypeOf(m)).Elem()
		v.Set(reflect.ValueOf(m))
		was := planned(t, name, m).Page().HTML()
		n := 0
		leaves("", v, func(field string, x reflect.Value) {
			n++
			switch x.Kind() {
			case reflect.Float64:
				switch {
				case strings.HasPrefix(field, "Curve."):
					return // see TestEveryInputCounts
				case field == "Ramp":
					return // in place of RaiseSteps, see TestRaise
				case field == "Column.Allowance" && strings.HasPrefix(name, "nozzle"):
					return // no slurry stands in the tube
				case field == "Site.ActAbove" && name == "suction fill, by adapter":
					x.SetFloat(0.4)
				case field == "PackingVelocity" && name == "suction fill, by adapter":
					return // must not be given
				case strings.HasSuffix(field, "emperature"):
					x.SetFloat(x.Float() + 1)
				case strings.HasSuffix(field, "iscosity") && x.Float() == 0:
					x.SetFloat(1.1e-3)
				case x.Float() == 0:
					t.Errorf("%s: %s is not given", name, field)
				default:
					x.SetFloat(x.Float() * 1.1)
				}
			case reflect.String:
				x.SetString(x.String() + " changed")
			case reflect.Int:
				if field == "Curve.Freedom" {
					return // counts with errors, see TestCurveError
				}
				if field == "Site.HeightPoints" && name == "nozzle, in place" {
					return // its height is fixed
				}
				if field == "RaiseSteps" && name == "suction fill, by adapter" {
					return // must not be given
				}
				x.SetInt((x.Int() + 1) % 2)
				if field == "RaiseSteps" || field == "Site.HeightPoints" {
					x.SetInt(4)
				}
				if field == "Medium.Class" {
					x.SetInt(int64(packing.RigidPolymer))
				}
			case reflect.Bool:
				x.SetBool(!x.Bool())
			case reflect.Interface:
				x.Set(reflect.ValueOf(bed.PowerSolids{Stress0: 5.1 * Kilopascal, Exponent: 0.08}))
			}
			now := x.Interface()
			p, _ := v.Interface().(planner).Plan()
			if p.Page().HTML() == was {
				t.Errorf("%s: %s = %v changes nothing shown", name, field, now)
			}
		})
		if n < 40 {
			t.Errorf("%s: only %d inputs", name, n)
		}
		if again := planned(t, name, m).Page().HTML(); again != was {
			t.Errorf("%s: the same input does not give the same output", name)
		}
	}
}

// TestNoNumberInMethods: NaN, infinities and negative values are refused by every
// method wherever a number goes in.
func TestNoNumberInMethods(t *testing.T) {
	for name, m := range methods(t) {
		v := reflect.New(reflect.TypeOf(m)).Elem()
		v.Set(reflect.ValueOf(m))
		leaves("", v, func(field string, x reflect.Value) {
			if x.Kind() != reflect.Float64 {
				return
			}
			for _, bad := range []float64{math.NaN(), math.Inf(1), -1e9} {
				x.SetFloat(bad)
				p, err := v.Interface().(planner).Plan()
				if err == nil || !strings.Contains(p.String(), "Refused:") {
					t.Errorf("%s: %s = %v passes", name, field, bad)
				}
			}
		})
	}
}

// TestMethodsShow: the parts that every plan has, in order, and no number that is
// none.
func TestMethodsShow(t *testing.T) {
	for name, m := range methods(t) {
		p := planned(t, name, m)
		want := []string{"Packing by " + p.Request.Method + ": column 04", "column volume 12.72 L", "buffer in all", "Before packing", "☐", "no air", "Steps in numbers", "ends when", "Valves: ",
			"Limits, lowest first", "Process steps", "Force on the end plate", "Liquid that the pack takes", "Because the column is large", "pump turndown", "floor load", "hold-up",
			"What this method cannot predict", "Cautions", "Safety", "manual of the equipment", "Sheet for the column", "initials"}
		for _, text := range []string{p.String(), p.Page().HTML(), p.Page().Markdown()} {
			rest := text
			for _, part := range want {
				_, after, found := strings.Cut(rest, part)
				if !found {
					t.Fatalf("%s: %q is missing or out of order in\n%s", name, part, text)
				}
				rest = after
			}
			for _, bad := range []string{"NaN", "Inf", "%!"} {
				if strings.Contains(text, bad) {
					t.Errorf("%s: %s is shown:\n%s", name, bad, text)
				}
			}
		}
		paper := p.Paper().Page().HTML()
		for _, part := range []string{"☐", "ends when", "Cautions", "stop at", "deviations", "initials"} {
			if !strings.Contains(paper, part) {
				t.Errorf("%s: the paper has no %q", name, part)
			}
		}
		if len(paper) > len(p.Page().HTML())-2000 {
			t.Errorf("%s: the paper is as long as the plan", name)
		}
		if len(p.Unknown) == 0 || len(p.Stages) < 4 || len(p.Sheet) < 8 {
			t.Errorf("%s: %d unknown, %d stages, %d rows on the sheet", name, len(p.Unknown), len(p.Stages), len(p.Sheet))
		}
		total := Volume(0)
		for _, b := range p.Buffer {
			total += b.Volume
		}
		near(t, name+", buffer", float64(p.TotalBuffer()), float64(total), 1e-12, "sum of its rows")
	}
}

// bare gives a method only what it needs, without limits.
func bare(t *testing.T, m planner) planner {
	f := own(t)
	f.Duties = nil
	return common(m, f).Interface().(planner)
}

// TestLoad: without friction and flow every part of the bed has the load of the
// adapter, so with the power law σ = pa·(CF^(1/β) - 1); 1.12^12.5 is 4.12311.
func TestLoad(t *testing.T) {
	const load = 5000 * 3.12311
	p := planned(t, "hybrid", bare(t, plan.FlowThenAdapter{Law: demoLaw(), PackingVelocity: 240 * CentimetrePerHour}))
	near(t, "load", float64(p.Adapter.Load), load, 1e-5, "by hand, six digits")
	near(t, "force", float64(p.Adapter.Force), load*math.Pi/4*0.09, 1e-5, "on 30 cm")
	near(t, "factors", p.Second.CompressionFactor*p.Adapter.CompressionFactor, 1.12, 1e-12, "CF(flow)·CF(adapter)")
	near(t, "flow", p.Second.CompressionFactor, 1.0942, 2e-4, "the curve between 1.0805 at 200 and 1.1096 at 300 cm/h, see demoState")
	q := planned(t, "axial", bare(t, plan.AxialCompression{Law: demoLaw()}))
	near(t, "load", float64(q.Adapter.Load), load, 1e-5, "the same bed")
	mid := q.Choices[len(q.Choices)/2]
	near(t, "load as planned", float64(mid.Load), load, 1e-5, "nothing differs")
	near(t, "time", q.Adapter.Time.In(Second), 2.16/30*3600, 1e-12, "2.16 cm at 30 cm/h")

	// With friction: NumPy and SciPy, initial-value problem; 5e4 Pa at the top.
	wall := plan.AxialCompression{Law: bed.LinearStrain{Modulus: 4 * Bar}, WallFriction: 0.1, BedHeight: Length(0.2 / 1.125312894), CompressionFactor: 1.125312894}
	p = planned(t, "axial with friction", bare(t, wall))
	near(t, "load", float64(p.Adapter.Load), 5e4, 1e-6, "closed form, ten digits")
	if !(p.Adapter.TopVoid < p.Adapter.BottomVoid) {
		t.Errorf("voids %v above, %v below: friction leaves the bottom looser", p.Adapter.TopVoid, p.Adapter.BottomVoid)
	}

	// Without a law nothing is claimed.
	none := planned(t, "axial without a law", bare(t, plan.AxialCompression{}))
	if !math.IsNaN(float64(none.Adapter.Load)) || !strings.Contains(none.Page().HTML(), "load not determined") || !strings.Contains(strings.Join(none.NotChecked, "\n"), "no law of the bed") {
		t.Errorf("%+v", none.Adapter)
	}
}

// TestCeilings: how far flow alone compresses depends on the settled void alone
// with these laws; quadrature with NumPy, seven digits.
func TestCeilings(t *testing.T) {
	for _, tc := range []struct{ void, linear, exponential float64 }{
		{0.36, 1.087375, 1.121895}, {0.40, 1.099596, 1.141299}, {0.45, 1.115860, 1.168200},
	} {
		for i, want := range []float64{tc.linear, tc.exponential} {
			for _, change := range []func(c *plan.ConstantFlow, m *Pressure){
				func(*plan.ConstantFlow, *Pressure) {},
				func(_ *plan.ConstantFlow, m *Pressure) { *m *= 2.5 },
				func(c *plan.ConstantFlow, _ *Pressure) { c.Viscosity = 1.7 * MillipascalSecond },
				func(c *plan.ConstantFlow, _ *Pressure) { c.Medium.MeanBead = 60 * Micrometre },
				func(c *plan.ConstantFlow, _ *Pressure) { c.BedHeight = 25 * Centimetre },
			} {
				c := own(t)
				modulus := 4 * Bar
				change(&c, &modulus)
				c.Curve, c.Duties, c.CompressionFactor, c.Medium.SettledVoid, c.Liquid = bed.Curve{}, nil, 1.05, tc.void, "buffer"
				if c.Viscosity == 0 {
					c.Viscosity = 1 * MillipascalSecond
				}
				if c.Law = bed.Law(bed.LinearStrain{Modulus: modulus}); i == 1 {
					c.Law = bed.ExponentialVoid{Modulus: modulus}
				}
				c.Medium.MaxBedPressure, c.Column.MaxPressure = 0, 0
				p := mustPlan(t, c)
				near(t, fmt.Sprintf("ceiling of %v at void %v", c.Law, tc.void), p.Reach.Ceiling, want, 2e-6, "NumPy, seven digits")
				c.CompressionFactor = 1.2
				_, err := c.Plan()
				if err == nil || !strings.Contains(err.Error(), fmt.Sprintf("by the law given, flow gives at most %.4g, at the critical velocity", want)) || !strings.Contains(err.Error(), "the adapter would have to give the rest") {
					t.Errorf("%v", err)
				}
			}
		}
	}
}

// TestConstantPressure: the plateau at the pressure of an independent solution has
// its velocity; the longest time of forming is an integral by hand.
func TestConstantPressure(t *testing.T) {
	m := plan.ConstantPressure{PackingPressure: 0.52691 * Bar, Limits: packing.Limits{PumpFlow: 300 * LitrePerHour}}
	p := planned(t, "pressure", bare(t, m))
	near(t, "plateau", p.Second.Velocity.In(CentimetrePerHour), 332.124, 1e-3, "SciPy; curve read every 20 cm/h")
	near(t, "factor", p.Second.CompressionFactor, 1.12, 1e-4, "SciPy")
	// t = (1-C)/C·[hc/cap + (L0² - hc²)/(2·u·L0)], hc = L0·u/cap
	u, top, l := float64(p.First.Velocity), float64((300 * LitrePerHour).Through(p.Bed.Area)), 0.2016
	hc := l * u / top
	near(t, "longest", float64(p.First.Bound), 0.48/0.52*(hc/top+(l*l-hc*hc)/(2*u*l)), 5e-3, "by hand, the sum has 24 terms")
	r := rand.New(rand.NewPCG(7, 8))
	for range 6 {
		m.Medium = own(t).Medium
		m.Medium.DensityExcess = KilogramPerCubicMetre.Times(math.Pow(10, 1+2*r.Float64()))
		m.Medium.SettlingExponent = 2 + 6*r.Float64()
		p := planned(t, "pressure", bare(t, m))
		if !(p.First.Time <= p.First.TimeAtHalfDensity && p.First.TimeAtHalfDensity <= p.First.Bound) {
			t.Errorf("%v, %v, never over %v", p.First.Time, p.First.TimeAtHalfDensity, p.First.Bound)
		}
	}
	// Without a curve nothing is claimed.
	m.Curve = bed.Curve{Label: "none"}
	c := own(t)
	none := plan.ConstantPressure{Column: c.Column, Medium: c.Medium, Slurry: c.Slurry, BedHeight: c.BedHeight, CompressionFactor: c.CompressionFactor, PackingPressure: 0.5 * Bar}
	p = planned(t, "no curve", none)
	if !math.IsNaN(float64(p.Second.Velocity)) || !strings.Contains(p.String(), "not determined (neither curve nor law)") || strings.Contains(p.String(), "NaN") {
		t.Errorf("%s", p)
	}
}

// stageOf finds a stage by its name.
func stageOf(t *testing.T, p plan.Procedure, name string) plan.Stage {
	t.Helper()
	for _, s := range p.Stages {
		if s.Name == name {
			return s
		}
	}
	t.Fatalf("no stage %q", name)
	return plan.Stage{}
}

func TestPackInPlace(t *testing.T) {
	p := planned(t, "in place", bare(t, plan.PackInPlace{FillFlow: 300 * LitrePerHour}))
	near(t, "pressure", p.Request.PackingPressure.In(Bar), 0.52691, 1e-3, "SciPy")
	near(t, "balance", p.Pour.SlurryVolume.Times(0.52).In(p.Bed.ColumnVolume), 1.12, 1e-12, "V·C/(A·L) = CF")
	near(t, "time", stageOf(t, p, "fill").Time.In(Minute), 27.4044/5, 1e-5, "27.4044 L at 300 L/h")
	low := planned(t, "low", bare(t, plan.PackInPlace{FillFlow: 300 * LitrePerHour, PackingPressure: 0.4 * Bar}))
	if !strings.Contains(strings.Join(low.Cautions, "\n"), "at 0.4 bar the flow stops before all slurry is in") {
		t.Errorf("%q", low.Cautions)
	}
}

func TestSuction(t *testing.T) {
	p := planned(t, "suction", bare(t, plan.SuctionFill{Law: demoLaw(), Lift: 1 * Metre}))
	near(t, "drawing", stageOf(t, p, "slurry transfer, drawn").Time.In(Second), 161, 3e-3, "as long as 1 cm takes to clear")
	// (1000 + 80·0.52·0.6) kg/m³·9.80665 m/s²·1 m = 0.1005 bar
	if s := p.Page().HTML(); !strings.Contains(s, "1 m alone takes 0.10 bar of vacuum") {
		t.Errorf("%s", s)
	}
}

// TestTravelWithCurve: what step 1 compresses is not left for the adapter.
func TestTravelWithCurve(t *testing.T) {
	for factor, want := range map[float64]float64{1.0001: 3.0, 1.035: 2.2} { // common practice, no source: 3.0 to 2.2 cm
		c := tall(t)
		c.Curve = bed.Curve{Points: []bed.Point{{Velocity: 20 * CentimetrePerHour, CompressionFactor: factor, Pressure: 0.02 * Bar},
			{Velocity: 200 * CentimetrePerHour, CompressionFactor: 1.09, Pressure: 0.3 * Bar}, {Velocity: 450 * CentimetrePerHour, CompressionFactor: 1.16, Pressure: 1 * Bar}}}
		p := mustPlan(t, c)
		near(t, "travel left", p.Second.AdapterTravel.In(Centimetre), want, 0.015, "23/CF(u1) - 20, two digits")
		near(t, "comes back", p.First.Recovers.In(Centimetre), 23-23/factor, 1e-9, "23 - 23/CF(u1)")
	}
}

// TestRises: at first at the velocity that was flowing, and never more than was
// compressed.
func TestRises(t *testing.T) {
	c := own(t)
	c.AdapterSpeed = 2 * MillimetrePerSecond
	c.Recovery = plan.Recovery{Fast: 0.5, FastTime: 20 * Second, Slow: 0.3, SlowTime: 300 * Second}
	p := mustPlan(t, c)
	u := 0.922567 // mm/s, 332.124 cm/h
	for _, r := range p.Rises {
		s := r.After.In(Second)
		near(t, fmt.Sprintf("after %v", r.After), r.AtMost.In(Millimetre), math.Min(u*s, 21.6), 2e-3, "u2·t, or 20.16 - 18 cm")
		record := 21.6 * (0.5*(1-math.Exp(-s/20)) + 0.3*(1-math.Exp(-s/300)))
		near(t, fmt.Sprintf("record after %v", r.After), r.ByRecord.In(Millimetre), math.Min(record, u*s), 2e-3, "by hand")
	}
	// From 2 mm above 19.947 cm at 2 mm/s, the bed coming up from 18 cm.
	meet := (199.466 + 2 - 180) / (2 + u)
	near(t, "risen", p.Adapter.Risen.In(Millimetre), u*meet, 3e-3, "two bodies that meet")
	near(t, "time to the mark", p.Adapter.Time.In(Second), 21.466/2, 1e-3, "by hand")
	c.Catch, c.AdapterSpeed = plan.OutletOpen, 0
	near(t, "held", float64(mustPlan(t, c).Adapter.Risen), 0, 0, "the liquid holds the bed")
}

// Planned 20.16 cm, found 20.9 cm: 18.66 cm, or a factor of 1.161.
func TestChoices(t *testing.T) {
	c := own(t)
	c.SettledFound = (20.9 * Centimetre).Times(1 / 1.01070) // read under 20 cm/h
	p := mustPlan(t, c)
	if len(p.Choices) != 1 {
		t.Fatal(p.Choices)
	}
	w := p.Choices[0]
	near(t, "settled", w.Way.Settled.In(Centimetre), 20.9, 1e-5, "L0 = L1·CF(u1)")
	near(t, "keep the factor", w.Way.KeepFactor.In(Centimetre), 18.66, 3e-4, "20.9/1.12, four digits")
	near(t, "keep the height", w.Way.KeepHeight, 1.161, 4e-4, "20.9/18, four digits")
	if !math.IsNaN(float64(w.Velocity)) || !strings.Contains(p.String(), "beyond the curve") {
		t.Errorf("1.161 lies beyond the curve: %v", w.Velocity)
	}
	// As planned: the second velocity itself.
	c.SettledFound = 0
	p = mustPlan(t, c)
	mid := p.Choices[len(p.Choices)/2]
	near(t, "as planned", float64(mid.Velocity), float64(p.Second.Velocity), 1e-9, "nothing differs")
	near(t, "as planned", float64(mid.Way.KeepFactor), 0.18, 1e-9, "nothing differs")
}

func TestPourWithRinse(t *testing.T) {
	c := own(t)
	c.DeadVolume, c.Rinse = 2*Litre, 3*Litre
	p := mustPlan(t, c)
	near(t, "prepared", p.Pour.Prepared.In(Litre), 29.4044, 5e-6, "27.4044 + 2")
	near(t, "height", p.Pour.SlurryHeight.In(Centimetre), 38.769+3000/706.8583, 5e-5, "3 L over 706.86 cm²")
	near(t, "bound", p.First.Bound.In(Minute), (38.769+3000/706.8583-20.16)/20*60, 1e-4, "the rinse runs through too")
}

func TestMethodRefusals(t *testing.T) {
	c := own(t)
	for _, tc := range []struct {
		m    planner
		want string
	}{
		{bare(t, plan.FlowThenAdapter{PackingVelocity: 350 * CentimetrePerHour}), "flow alone gives a factor of"},
		{plan.FlowThenAdapter{Column: c.Column, Medium: c.Medium, Slurry: c.Slurry, BedHeight: c.BedHeight, CompressionFactor: 1.12}, "nor a law"},
		{bare(t, plan.FlowThenAdapter{AdapterSpeed: 400 * CentimetrePerHour}), "faster than the flow before"},
		{bare(t, plan.FlowThenAdapter{PackingVelocity: 15 * CentimetrePerHour}), "it is not above the first"},
		{bare(t, plan.ConstantPressure{}), "packing pressure: it was not given"},
		{bare(t, plan.ConstantPressure{PackingPressure: 1.5 * Bar}), "packing pressure 1.5 bar: curve and readings of the empty column end below it; they are not extrapolated; ask for 0.738 bar"},
		{bare(t, plan.ConstantPressure{PackingPressure: 0.6 * Bar, Hardware: bed.Hardware{Velocity: CentimetrePerHour.Each(50, 200), Pressure: Bar.Each(0.02, 0.1)}}), "they are not extrapolated"},
		{bare(t, plan.ConstantPressure{PackingPressure: 0.5 * Bar, Limits: packing.Limits{ReliefPressure: 0.4 * Bar}}), "it passes the limit of the relief device, 0.4 bar"},
		{bare(t, plan.AxialCompression{Law: demoLaw(), Limits: packing.Limits{AdapterForce: 1 * Kilonewton}}), "force of the adapter 1.104 kN: it passes the limit of its drive, 1 kN"},
		{bare(t, plan.AxialCompression{WallFriction: 0.1}), "it belongs to a law"},
		{bare(t, plan.SuctionFill{Lift: 6 * Metre}), "gives off gas"},
		{bare(t, plan.SuctionFill{PackingVelocity: 100 * CentimetrePerHour}), "belong to packing by flow"},
		{bare(t, plan.SuctionFill{Then: 4}), "there is no such way"},
		{bare(t, plan.PackInPlace{}), "fill flow: it was not given"},
		{bare(t, plan.PackInPlace{FillFlow: 300 * LitrePerHour, PackingPressure: 2.5 * Bar}), "it passes the limit of the bed of Marram, 2 bar"},
		{bare(t, plan.PackInPlace{FillFlow: 300 * LitrePerHour, CompressionFactor: 1.2}), "flow gives at most"},
	} {
		p, err := tc.m.Plan()
		if err == nil || !strings.Contains(err.Error(), tc.want) || !strings.Contains(p.String(), "Refused:") {
			t.Errorf("%T: %v, want %q", tc.m, err, tc.want)
		}
		if paper := p.Paper().String(); !strings.Contains(paper, "Refused:") || strings.Contains(paper, "ends when") {
			t.Errorf("%T: a refused plan goes to the column:\n%s", tc.m, paper)
		}
		if _, err := p.Play(); err == nil {
			t.Errorf("%T: a refused plan is played", tc.m)
		}
	}
	for _, tc := range []struct {
		change func(*plan.ConstantFlow)
		want   string
	}{
		{func(c *plan.ConstantFlow) { c.ThirdVelocity = 200 * CentimetrePerHour }, "it is below the second"},
		{func(c *plan.ConstantFlow) { c.Limits.ReliefPressure = 4 * Bar }, "it answers above the limit of the column, and does not protect it; set it at or below the weakest part: 3 bar for the column"},
		{func(c *plan.ConstantFlow) { c.Limits.LeastPumpFlow = 20 * LitrePerHour }, "first velocity 20 cm/h: the pump does not hold less than 20.0 L/h steady"},
		{func(c *plan.ConstantFlow) { c.Limits.TubePressure = 0.5 * Bar }, "it passes the limit of the tube, 0.5 bar"},
		{func(c *plan.ConstantFlow) { c.Limits.PumpPressure = 0.5 * Bar }, "it passes the limit of the pump, 0.5 bar"},
		{func(c *plan.ConstantFlow) {
			c.Limits.SystemPressure = 0.6 * Bar
			c.Hardware = bed.Hardware{Velocity: CentimetrePerHour.Each(100, 400), Pressure: Bar.Each(0.05, 0.2)}
		}, "it passes the limit of the system, 0.6 bar"},
		{func(c *plan.ConstantFlow) {
			c.Hardware = bed.Hardware{Velocity: CentimetrePerHour.Each(100, 300), Pressure: Bar.Each(0.05, 0.2)}
		}, "it was measured from 0 to 300 cm/h"},
		{func(c *plan.ConstantFlow) { c.Catch, c.AdapterSpeed = plan.OutletOpen, 2*MillimetrePerSecond }, "it drives liquid through the bed faster than the second step"},
		{func(c *plan.ConstantFlow) { c.Medium.Class, c.Law = packing.Mineral, demoLaw() }, "laws of stress do not apply"},
		{func(c *plan.ConstantFlow) { c.Law = bed.LinearStrain{Modulus: 1 * Bar} }, "it is not below the critical velocity by the law given"},
		{func(c *plan.ConstantFlow) { c.Recovery.Fast = 0.5 }, "its parts need a time each"},
	} {
		c := own(t)
		tc.change(&c)
		if _, err := c.Plan(); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%v, want %q", err, tc.want)
		}
	}
}

func TestClasses(t *testing.T) {
	for _, tc := range []struct {
		class  packing.MediumClass
		factor float64
		excess float64
		want   string
	}{
		{packing.SoftGel, 1.08, 80, "outside 1.10 to 1.20, usual for a soft gel"},
		{packing.SoftGel, 1.12, 200, "unusual for a soft gel"},
		{packing.RigidPolymer, 1.12, 200, "outside 1.03 to 1.10, usual for a rigid polymer"},
		{packing.RigidPolymer, 1.08, 80, "that of a light gel"},
		{packing.Mineral, 1.12, 900, "outside 1.00 to 1.05"},
		{packing.Mineral, 1.03, 900, "the bed does not re-expand after a stop"},
	} {
		c := own(t)
		c.Curve, c.Duties = bed.Curve{}, nil
		c.Medium.Class, c.CompressionFactor, c.Medium.DensityExcess = tc.class, tc.factor, KilogramPerCubicMetre.Times(tc.excess)
		if got := strings.Join(mustPlan(t, c).Cautions, "\n"); !strings.Contains(got, tc.want) {
			t.Errorf("%v: %q is missing in\n%s", tc.class, tc.want, got)
		}
	}
	if got := strings.Join(mustPlan(t, own(t)).NotChecked, "\n"); !strings.Contains(got, "class not given") {
		t.Errorf("%s", got)
	}
}

// Columns from 30 cm have rows of their own; 1.6 m by 20 cm holds 402 L.
func TestLarge(t *testing.T) {
	c := tall(t)
	c.Column.InnerDiameter = 1.6 * Metre
	c.Site.TransferFlow = 5000 * LitrePerHour
	p := mustPlan(t, c)
	text := p.String()
	for _, want := range []string{"column volume 402.1 L", "pump turndown", "four points", "of the column volume", "The transfer of the slurry takes"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, text)
		}
	}
	c.Column.InnerDiameter = 10 * Centimetre
	if p := mustPlan(t, c); len(p.Large) != 0 || strings.Contains(p.String(), "four points") {
		t.Errorf("10 cm: %v", p.Large)
	}
}

func TestCompare(t *testing.T) {
	f := planned(t, "flow", bare(t, own(t)))
	h := planned(t, "hybrid", bare(t, plan.FlowThenAdapter{Law: demoLaw(), PackingVelocity: 240 * CentimetrePerHour}))
	a := planned(t, "axial", bare(t, plan.AxialCompression{Law: demoLaw()}))
	n := planned(t, "in place", bare(t, plan.PackInPlace{FillFlow: 300 * LitrePerHour}))
	no := own(t)
	no.CompressionFactor = 1.2
	r, _ := no.Plan()
	html := plan.Compare(f, h, a, n, r).Page().HTML()
	for _, want := range []string{"flow 1.120 at 332 cm/h", "flow 1.094 at 240 cm/h · adapter 1.024", ">adapter 1.120", "slurry pumped in, 1.12", "51 min", ">1.10<", "refused", "Refused, constant flow:", "at most 1.137"} {
		if !strings.Contains(html, want) {
			t.Errorf("%q is missing in\n%s", want, html)
		}
	}
	if s := plan.Compare().String(); !strings.Contains(s, "No result:") {
		t.Error(s)
	}
}
