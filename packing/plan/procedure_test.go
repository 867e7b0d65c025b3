package plan_test

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/liquid"
	"github.com/evenbed/evenbed/packing/plan"
	. "github.com/evenbed/evenbed/packing/units"
)

// ways are all methods with all ways of step 1, of the lowering and of raising the flow.
func ways(t *testing.T) map[string]plan.Procedure {
	t.Helper()
	out := map[string]plan.Procedure{}
	for name, m := range methods(t) {
		out[name] = planned(t, name, m)
	}
	for _, by := range []plan.FirstBy{plan.SealedAdapter, plan.OpenTop, plan.DrawnFromOutlet} {
		for _, catch := range []plan.Catch{plan.OutletShut, plan.OutletOpen} {
			c := full(t)
			c.FirstBy, c.Catch = by, catch
			name := by.String() + ", " + catch.String()
			out[name] = planned(t, name, c)
			c.Curve, c.Law, c.WallFriction, c.Hardware = bed.Curve{}, nil, 0, bed.Hardware{}
			c.PackingVelocity, c.ThirdVelocity, c.Duties, c.AdapterSpeed, c.SettledFound = 0, 0, nil, 0, 0
			out[name+", no curve"] = planned(t, name, c)
		}
	}
	gravity := methods(t)["axial compression"].(plan.AxialCompression)
	gravity.FirstVelocity = 0
	out["axial by gravity"] = planned(t, "axial by gravity", gravity)
	drawn := methods(t)["suction fill, by adapter"].(plan.SuctionFill)
	drawn.FirstVelocity = 0
	out["suction by gravity"] = planned(t, "suction by gravity", drawn)
	return out
}

// TestPaths is a law over all methods: no stage has all paths shut, also at its
// end; an adapter moves only after its path was ticked; flow is off before a top is opened.
func TestPaths(t *testing.T) {
	moved, opened, leak := 0, 0, 0
	for name, p := range ways(t) {
		flowing, adapter, transferred := false, Length(math.NaN()), false
		for _, s := range p.Stages {
			if len(s.Open) == 0 || s.Open[0] == "" || !strings.HasPrefix(s.Valves, "open: "+strings.Join(s.Open, ", ")) {
				t.Errorf("%s, %s: open %q, valves %q", name, s.Name, s.Open, s.Valves)
			}
			for _, shut := range strings.Split(strings.TrimPrefix(s.Valves[strings.Index(s.Valves+"; shut: ", "; shut: "):], "; shut: "), ", ") {
				for _, path := range s.Open {
					if shut != "" && path == shut {
						t.Errorf("%s, %s: %q is open and shut", name, s.Name, path)
					}
				}
			}
			for _, text := range []string{s.Valves, s.Do, s.Ends} {
				if strings.Contains(text, "all shut") || strings.Contains(text, "then shut") {
					t.Errorf("%s, %s: %q", name, s.Name, text)
				}
			}
			if now := s.Adapter; now == now && now != adapter && p.Request.Method != "nozzle, in place" {
				moved++
				if !strings.HasPrefix(s.Do, "☐ Path for the displaced liquid open: "+s.Open[0]+".\n") {
					t.Errorf("%s, %s: the adapter moves from %v to %v, and its path is not ticked first: %q", name, s.Name, adapter, now, s.Do)
				}
			}
			if s.Open[0] == "top" && (flowing || strings.Contains(s.Name, "slurry")) {
				opened++
				if !strings.HasPrefix(s.Do, "Flow off and gauge at zero") {
					t.Errorf("%s, %s: the top is opened under flow: %q", name, s.Name, s.Do)
				}
			}
			if strings.HasPrefix(s.Name, "leak test") {
				leak++
				if transferred || !strings.Contains(s.Do, "never with gas") || !strings.Contains(s.Do, "With liquid, air out") {
					t.Errorf("%s: %+v", name, s)
				}
			}
			transferred = transferred || s.Volume == p.Pour.SlurryVolume
			adapter, flowing = s.Adapter, s.Velocity > 0
		}
	}
	if n := len(ways(t)); moved < 2*n || opened < n/2 || leak != n {
		t.Errorf("%d adapters moved, %d tops opened, %d leak tests of %d plans", moved, opened, leak, n)
	}
}

// TestStop: stop is the lowest of the medium's limit with the empty column's part
// at that flow and of the marks, to which nothing is added.
func TestStop(t *testing.T) {
	c := full(t)
	p := mustPlan(t, c)
	for _, g := range p.Gauge {
		if g.Stop > 2.9*Bar {
			t.Errorf("%v: above the relief device", g)
		}
	}
	last := p.Gauge[len(p.Gauge)-2] // step 3, at 335 cm/h
	near(t, "stop", float64(last.Stop), 2e5+hardware(t, c, p), 1e-12, "2 bar and the empty column")
	if last.StopBy != "medium, with the empty column's part" {
		t.Error(last)
	}
	near(t, "expected", float64(last.Expected), float64(p.Third.Pressure)+hardware(t, c, p), 1e-12, "bed and empty column")
	near(t, "act", float64(last.Act), 1.2*float64(last.Expected), 1e-12, "20 % above")
	if !math.IsNaN(float64(last.Error)) {
		t.Errorf("a curve without errors has none: %v", last.Error)
	}
	for _, tc := range []struct {
		change func(c *plan.ConstantFlow)
		want   Pressure
		by     string
	}{
		{func(c *plan.ConstantFlow) { c.Limits.ReliefPressure = 1.9 * Bar }, 1.9 * Bar, "relief device or trip"},
		{func(c *plan.ConstantFlow) { c.Limits.ReliefPressure, c.Limits.SystemPressure = 0, 1.2*Bar }, 1.2 * Bar, "system"},
		{func(c *plan.ConstantFlow) { c.Limits.ReliefPressure, c.Limits.TubePressure = 0, 1.3*Bar }, 1.3 * Bar, "tube"},
		{func(c *plan.ConstantFlow) { c.Limits.ReliefPressure, c.Column.MaxPressure = 0, 1.4*Bar }, 1.4 * Bar, "column"},
		{func(c *plan.ConstantFlow) { c.Limits.PumpPressure = 1.5 * Bar }, 1.5 * Bar, "pump"},
		// 10 kN over 706.858 cm².
		{func(c *plan.ConstantFlow) { c.Limits.ReliefPressure, c.Limits.EndPlateForce = 0, 10*Kilonewton }, Pressure(1e4 / (math.Pi / 4 * 0.09)), "end plate"},
		{func(c *plan.ConstantFlow) { c.Hardware = bed.Hardware{} }, 2 * Bar, "medium; empty column not known, nothing added"},
	} {
		c := full(t)
		c.Site.ActAbove = 1 // whatever margin is typed
		tc.change(&c)
		p := mustPlan(t, c)
		for _, g := range p.Gauge {
			near(t, g.Step, float64(g.Stop), float64(tc.want), 1e-12, "as marked, nothing added: "+tc.by)
			if g.StopBy != tc.by || g.Act > g.Stop {
				t.Errorf("%+v, want %s", g, tc.by)
			}
		}
	}
	bare := own(t)
	bare.Medium.MaxBedPressure, bare.Column.MaxPressure = 0, 0
	for _, g := range mustPlan(t, bare).Gauge {
		if !math.IsNaN(float64(g.Stop)) || g.StopBy != "no limit given" || !math.IsNaN(float64(g.Act)) {
			t.Errorf("%+v", g)
		}
	}
	if s := mustPlan(t, own(t)).Paper().String(); !strings.Contains(s, "expected + 25 % (common practice)") || !strings.Contains(s, "how good the curve alone is, is not known") {
		t.Error(s)
	}
}

// TestGaugeError: what the curve alone is good to is its 95 % interval.
func TestGaugeError(t *testing.T) {
	c := own(t)
	c.Curve.StdErr = make([]bed.PointError, len(c.Curve.Points))
	for i := range c.Curve.StdErr {
		c.Curve.StdErr[i] = bed.PointError{CompressionFactor: 0.002, Pressure: 0.02 * Bar}
	}
	p := mustPlan(t, c)
	for _, g := range p.Gauge[1:5] {
		near(t, g.Step, g.Error.In(Bar), 1.95996*0.02, 1e-5, "normal distribution, 95 %")
	}
	if s := p.Paper().String(); !strings.Contains(s, "the curve alone is good to ± 0.039 bar") {
		t.Error(s)
	}
}

// TestRaise: from 20 to 332.124 cm/h in four equal factors, (332.124/20)^(1/4) = 2.01869;
// in a ramp of 8 min evenly.
func TestRaise(t *testing.T) {
	p := mustPlan(t, own(t))
	if len(p.Second.Raise) != 4 {
		t.Fatalf("%d steps", len(p.Second.Raise))
	}
	for i, r := range p.Second.Raise {
		want := 20 * math.Pow(2.01869, float64(i+1))
		near(t, "step", r.Velocity.In(CentimetrePerHour), want, 1e-3, "equal factors, by hand")
		near(t, "pressure", float64(r.Pressure), demoPressure(float64(r.Velocity), 0.2016), 3e-4, "the bed's own law, between points of the curve")
		near(t, "height", float64(r.BedHeight), 0.2016/r.CompressionFactor, 1e-12, "L0/CF")
		near(t, "flow", r.Flow.In(LitrePerHour), r.Velocity.In(CentimetrePerHour)*0.706858, 1e-5, "706.858 cm²")
		if !math.IsNaN(float64(r.After)) {
			t.Errorf("a step has a time: %v", r.After)
		}
	}
	if text := p.StepTable().Markdown(); !strings.Contains(text, "never in a jump: 28.5 L/h (0.03 bar over the bed") {
		t.Error(text)
	}
	c := own(t)
	c.Ramp = 8 * Minute
	ramp := mustPlan(t, c)
	for i, r := range ramp.Second.Raise {
		near(t, "after", r.After.In(Minute), 2*float64(i+1), 1e-12, "8 min in four")
		near(t, "velocity", r.Velocity.In(CentimetrePerHour), 20+312.124*float64(i+1)/4, 1e-3, "evenly")
	}
	if text := ramp.Page().Markdown(); !strings.Contains(text, "Raise the flow evenly over 8.0 min") || !strings.Contains(text, "step 2, ramp after 4.0 min") {
		t.Error(text)
	}
	c.RaiseSteps = 4
	if _, err := c.Plan(); err == nil || !strings.Contains(err.Error(), "give RaiseSteps or Ramp, not both") {
		t.Error(err)
	}
	c.Ramp, c.RaiseSteps = 0, 1
	if _, err := c.Plan(); err == nil || !strings.Contains(err.Error(), "a jump crusts the outlet") {
		t.Error(err)
	}
}

// TestLowering: the adapter waits 2 mm above the bed of 19.947 cm, the bed is at
// 18 cm under 332.124 cm/h = 0.92257 mm/s, so 21.466 mm below the adapter.
func TestLowering(t *testing.T) {
	c := own(t)
	c.AdapterSpeed, c.Limits.AdapterForce = 0.5*MillimetrePerSecond, 20*Kilonewton
	p := mustPlan(t, c)
	var found *plan.Lowering
	last := Velocity(0)
	for i, l := range p.Lowering {
		if l.Speed <= last {
			t.Errorf("row %d: %v is not faster than %v", i, l.Speed, last)
		}
		last = l.Speed
		if l.Speed == c.AdapterSpeed {
			found = &p.Lowering[i]
		}
		if l.Open > l.Shut {
			t.Errorf("%v: the open outlet is worse", l)
		}
		if (l.Speed > p.Second.Velocity) != math.IsNaN(float64(l.Open)) {
			t.Errorf("%v", l)
		}
	}
	if found == nil || len(p.Lowering) != 6 {
		t.Fatalf("the speed that was asked for is not compared: %v", p.Lowering)
	}
	const gap, u = 21.466, 0.922567
	near(t, "outlet shut", found.Shut.In(Millimetre), gap*u/(0.5+u), 1e-3, "u·g/(v + u)")
	_, cf := demoState(demoPressure(0.5e-3, 0.2016), 0.2016)
	near(t, "outlet open", found.Open.In(Millimetre), math.Min(gap*(u-0.5)/u, 201.6/cf-180), 2e-3, "(u - v)·g/u, at most the height under the adapter's own flow")
	near(t, "pressure", float64(found.Pressure), demoPressure(0.5e-3, 0.2016), 1e-3, "the bed's own law at 180 cm/h")
	near(t, "force", float64(found.Force), float64(found.Pressure)*math.Pi/4*0.09, 1e-12, "P·A")
	near(t, "time", found.Time.In(Second), gap/0.5, 1e-3, "21.466 mm at 0.5 mm/s; the target is where the flow had the bed")
	near(t, "risen", float64(p.Adapter.Risen), float64(found.Shut), 1e-12, "outlet shut")
	// Slow, the bed goes to its height under that flow and no further.
	slow := p.Lowering[0]
	_, cf = demoState(demoPressure(float64(slow.Speed), 0.2016), 0.2016)
	near(t, "outlet open, slow", slow.Open.In(Millimetre), 201.6/cf-180, 2e-2, "height under the adapter's own flow")

	c.Catch = plan.OutletOpen
	p = mustPlan(t, c)
	near(t, "risen", float64(p.Adapter.Risen), float64(found.Open), 1e-12, "outlet open")
	// 2 bar on 706.858 cm² are 14.137 kN.
	if s := p.StepTable().Markdown(); !strings.Contains(s, "the medium's limit would be met at 14.1 kN") {
		t.Error(s)
	}
	c.Limits.AdapterForce = 1 * Kilonewton
	if _, err := c.Plan(); err == nil || !strings.Contains(err.Error(), "force of the drive 1.4") {
		t.Errorf("a drive of 1 kN: %v", err)
	}
	c.Limits.AdapterForce = 0
	if p = mustPlan(t, c); !strings.Contains(strings.Join(p.NotChecked, "\n"), "14.1 kN where the medium's limit is met (no drive limit given)") {
		t.Errorf("%q", p.NotChecked)
	}
}

// TestFirstBy: what drives step 1. 38.769 cm of water are 0.03802 bar.
func TestFirstBy(t *testing.T) {
	for by, want := range map[plan.FirstBy][]string{
		plan.SealedAdapter:   {"adapter onto the liquid", "open: inlet from the pump, outlet to the drain", "through the sealed adapter"},
		plan.OpenTop:         {"open: top, outlet to the drain", "by the height of the liquid", "Enter clear liquid"},
		plan.DrawnFromOutlet: {"open: top, outlet to the suction of the pump", "drawn by the pump at the outlet", "a dry bed is lost"},
	} {
		c := own(t)
		c.FirstBy = by
		p := mustPlan(t, c)
		text := strings.Join(strings.Fields(p.StepTable().Markdown()), " ")
		for _, part := range want {
			if !strings.Contains(text, part) {
				t.Errorf("%v: no %q in\n%s", by, part, text)
			}
		}
		first := stageOf(t, p, "step 1, consolidation")
		if (by == plan.SealedAdapter) != (first.Adapter == p.Pour.SlurryHeight) {
			t.Errorf("%v: adapter at %v", by, first.Adapter)
		}
		// The adapter of the picture stands where the procedure has it.
		adapters := strings.Count(p.Picture().SVG(), `height="5"`)
		if want := map[bool]int{true: 3, false: 2}[by == plan.SealedAdapter]; adapters != want {
			t.Errorf("%v: %d adapters in the picture, want %d", by, adapters, want)
		}
		play, err := p.Play()
		if err != nil {
			t.Fatal(err)
		}
		if m := play.Moments[0]; (by == plan.SealedAdapter) != (m.Adapter == p.Pour.SlurryHeight) {
			t.Errorf("%v: played with the adapter at %v", by, m.Adapter)
		}
	}
	c := own(t)
	c.FirstBy, c.FirstVelocity = plan.OpenTop, 60*CentimetrePerHour // 0.05 bar
	_, err := c.Plan()
	if err == nil || !strings.Contains(err.Error(), "the height of the liquid gives 0.038 bar") || !strings.Contains(err.Error(), "ask for 47.") {
		t.Errorf("an open top that drives %v bar: %v", demoPressure(60./360000, 0.2016)/1e5, err)
	}
	near(t, "at 47.3 cm/h", demoPressure(47.3/360000, 0.2016), 0.38769*9806.65, 5e-3, "as much as 38.769 cm of water")
	c.FirstBy = plan.DrawnFromOutlet
	mustPlan(t, c)
	c.FirstVelocity, c.PackingVelocity = 340*CentimetrePerHour, 360*CentimetrePerHour // 0.55 bar
	if _, err := c.Plan(); err == nil || !strings.Contains(err.Error(), "0.5 bar below the air's pressure") {
		t.Errorf("drawn at 340 cm/h: %v", err)
	}
	axial := bare(t, plan.AxialCompression{FirstBy: plan.OpenTop})
	if _, err := axial.Plan(); err == nil || !strings.Contains(err.Error(), "there is no flow in step 1") {
		t.Error(err)
	}
}

// TestProcessSteps: the coldest temperature, mixtures and the product.
func TestProcessSteps(t *testing.T) {
	c := own(t)
	c.Duties = []plan.Duty{
		{Name: "storage", Velocity: 60 * CentimetrePerHour, Mixture: liquid.Ethanol(20 * Percent)},
		{Name: "wash", Velocity: 150 * CentimetrePerHour, Temperature: Celsius(20)},
		{Name: "elution", Velocity: 60 * CentimetrePerHour, Product: true, Viscosity: 3 * MillipascalSecond, Liquid: "product, 50 g/L", Temperature: Celsius(20)},
	}
	c.Site.Coldest = Celsius(5)
	p := mustPlan(t, c)
	// Ethanol of 20 % by volume at 5 °C: package liquid; water at 5 °C 1.5182 mPa·s (IAPWS SR6-08).
	ethanol, err := liquid.Ethanol(20 * Percent).Viscosity(Celsius(5))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "ethanol", float64(p.Duties[0].Duty.Viscosity), float64(ethanol), 1e-12, "at the coldest")
	near(t, "wash", p.Duties[1].Duty.Viscosity.In(MillipascalSecond), 1.5182, 1e-4, "IAPWS SR6-08")
	if p.Duties[0].Duty.Liquid != "20 % ethanol by volume" || !strings.Contains(strings.Join(p.Taken, "\n"), "process step wash at 5 °C, the coldest of the site, in place of 20 °C") {
		t.Errorf("%+v, %q", p.Duties[0].Duty, p.Taken)
	}
	if all := strings.Join(p.NotChecked, "\n"); !strings.Contains(all, "process step elution at 5 °C, the coldest of the site (its viscosity was given at 20 °C)") || strings.Contains(all, "Product") {
		t.Error(all)
	}
	for _, s := range p.Stands {
		if mu := float64(s.Viscosity); mu != mu {
			if !strings.Contains(s.Liquid, "sodium hydroxide") || !strings.Contains(p.Page().Markdown(), "measure its viscosity") {
				t.Errorf("%v", s)
			}
			continue
		}
		near(t, s.Liquid, s.Velocity.In(CentimetrePerHour), 332.124*1.0016/s.Viscosity.In(MillipascalSecond)/1.2, 2e-3, "equal drag, margin 1.2")
		if s.Temperature != Celsius(5) {
			t.Errorf("%v", s)
		}
	}
	if len(p.Stands) != 4 {
		t.Errorf("%v", p.Stands)
	}
	c.Duties = c.Duties[:2]
	c.Site.Coldest = 0
	p = mustPlan(t, c)
	if !strings.HasPrefix(p.NotChecked[0], "the product at its highest concentration") {
		t.Errorf("%q", p.NotChecked)
	}
	if all := strings.Join(p.NotChecked, "\n"); !strings.Contains(all, "coldest temperature that the room reaches (not given") {
		t.Error(all)
	}
	// A bed at 70 % of what packing dragged at 20 °C is over it at 5 °C: 0.70·1.52.
	c.Duties = []plan.Duty{{Name: "run", Velocity: 0.7 * 332 * CentimetrePerHour}}
	mustPlan(t, c)
	c.Site.Coldest = Celsius(5)
	if _, err := c.Plan(); err == nil || !strings.Contains(err.Error(), "process step run: water at 5 °C") {
		t.Errorf("%v", err)
	}
	for _, bad := range []struct {
		d    plan.Duty
		want string
	}{
		{plan.Duty{Velocity: 60 * CentimetrePerHour, Product: true}, "process step 1: water: its viscosity was not given"},
		{plan.Duty{Velocity: 60 * CentimetrePerHour, Mixture: liquid.Ethanol(20 * Percent), Viscosity: 2e-3}, "leave one of them out"},
		{plan.Duty{Velocity: 60 * CentimetrePerHour, Mixture: liquid.Ethanol(20 * Percent), Temperature: Celsius(120)}, "give its viscosity"},
	} {
		c := own(t)
		c.Duties = []plan.Duty{bad.d}
		if _, err := c.Plan(); err == nil || !strings.Contains(err.Error(), bad.want) {
			t.Errorf("%v, want %q", err, bad.want)
		}
	}
}

// TestEndPlate: force against the rating as typed, at the stop and at the relief.
func TestEndPlate(t *testing.T) {
	p := mustPlan(t, full(t))
	for _, f := range p.Forces {
		near(t, f.At, f.Margin, 1-float64(f.Force)/40e3, 1e-12, "1 - force/rating")
	}
	at := map[string]bool{}
	for _, f := range p.Forces {
		at[f.At] = true
	}
	if !at["highest stop"] || !at["relief device"] {
		t.Errorf("%v", at)
	}
	c := full(t)
	c.Limits.EndPlateForce = 20 * Kilonewton // 2.829 bar
	if _, err := c.Plan(); err == nil || !strings.Contains(err.Error(), "set it at or below the weakest part: 2.829 bar for the end plate") {
		t.Errorf("%v", err)
	}
	for _, f := range mustPlan(t, own(t)).Forces {
		if !math.IsNaN(f.Margin) {
			t.Errorf("%+v", f)
		}
	}
}

// TestSettledFoundFar: a settled height 7 % off is not taken in silence.
func TestSettledFoundFar(t *testing.T) {
	c := own(t)
	c.SettledFound = (20.16 * Centimetre).Times(0.93 / 1.0107)
	if all := strings.Join(mustPlan(t, c).Cautions, "\n"); !strings.Contains(all, "is 7.0 % below the planned 20.16 cm") {
		t.Error(all)
	}
}

// TestTarget: one tolerance decides what the adapter must give, and stands on the sheet.
func TestTarget(t *testing.T) {
	c := own(t)
	c.PackingVelocity = 320 * CentimetrePerHour // 18.04 cm
	if all := strings.Join(mustPlan(t, c).Cautions, "\n"); strings.Contains(all, "the adapter must give the rest") {
		t.Error(all)
	}
	c.TargetTolerance = 0.2 * Millimetre
	p := mustPlan(t, c)
	if all := strings.Join(p.Cautions, "\n"); !strings.Contains(all, "the adapter must give the rest") {
		t.Error(all)
	}
	if s := p.Paper().String(); strings.Count(s, "19.2 cm ± 0.2 mm")+strings.Count(s, "18.0 cm ± 0.2 mm") == 0 || !strings.Contains(p.StepTable().Markdown(), "A gap of more than 200 µm") {
		t.Error(s)
	}
}

// TestPrinted: the plan and what is printed for the column, word by word.
func TestPrinted(t *testing.T) {
	c := full(t)
	p := mustPlan(t, c)
	golden(t, "plan.txt", p.String())
	golden(t, "paper.txt", p.Paper().String())
	c = own(t)
	c.CompressionFactor = 1.2
	q, _ := c.Plan()
	golden(t, "refused.txt", q.String())
}

// TestFirstPage: expected, act and stop, boxes for heights, the ticks and the
// cautions come before the first page ends.
func TestFirstPage(t *testing.T) {
	for points, want := range map[int]string{1: "found", 3: "point 3", 4: "point 4"} {
		c := full(t)
		c.Site.HeightPoints = points
		html := mustPlan(t, c).Paper().Page().HTML()
		page, rest, found := strings.Cut(html, "break-")
		if !found {
			t.Fatalf("one page:\n%s", html)
		}
		for _, part := range []string{"expected", "act at", "stop at", "PI 4, at the inlet", want, "☐ vented", "☐ path for the displaced liquid", "Cautions", "open nothing before the gauge reads zero"} {
			if !strings.Contains(page, part) {
				t.Errorf("%d points: no %q on the first page", points, part)
			}
		}
		if strings.Contains(page, "point 4") != (points == 4) || !strings.Contains(rest, "deviations") {
			t.Errorf("%d points:\n%s", points, page)
		}
	}
	if p := mustPlan(t, packingOf(t, 10*Centimetre)); p.Request.Site.HeightPoints != 1 {
		t.Errorf("%d points in 10 cm", p.Request.Site.HeightPoints)
	}
}

// packingOf is the own plan in a column of another diameter.
func packingOf(t *testing.T, d Length) plan.ConstantFlow {
	c := own(t)
	c.Column = packing.Column{Tag: "narrow", InnerDiameter: d, TubeHeight: 60 * Centimetre}
	return c
}

// golden compares a text with the one kept in testdata, or writes it there.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if os.Getenv("UPDATE_GOLDEN") != "" {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs; UPDATE_GOLDEN=1 writes it anew. Got\n%s", name, got)
	}
}

// TestStrengthByCurve: where the adapter gave the rest and there is no law, the bed
// stands the flow at which the curve has its factor, 332.124 cm/h.
func TestStrengthByCurve(t *testing.T) {
	m := plan.FlowThenAdapter{PackingVelocity: 240 * CentimetrePerHour, Duties: []plan.Duty{{Name: "load", Velocity: 150 * CentimetrePerHour}}}
	p := planned(t, "hybrid", bare(t, m))
	near(t, "margin", p.Duties[0].Margin, 332.124/150, 2e-3, "SciPy, the same water")
}
