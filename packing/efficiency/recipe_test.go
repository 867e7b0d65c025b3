package efficiency

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing"
	. "github.com/evenbed/evenbed/packing/units"
)

// recipe04 is a recipe for the test of [pulse04].
func recipe04() Recipe {
	p := pulse04()
	return Recipe{Name: "our procedure", Tracer: Tracer{Name: "acetone 1 %", Kind: SmallNeutral, Strength: 1 * Percent}, SampleVolume: p.SampleVolume,
		Velocity: 25 * CentimetrePerHour, Temperature: Celsius(21), Detector: Detector{Signal: "UV", Unit: "mAU", Response: 900, LinearTo: 2000}}
}

// TestPulseHeight compares with the rule "0.12 of the strength for a sample of 1 % at
// a reduced plate height of 2.6 in 18 cm", and with the peak that is made of it.
func TestPulseHeight(t *testing.T) {
	cv := cv04 * float64(Litre)
	plates := 0.18 / (2.6 * 90e-6)
	near(t, "usual test", pulseHeight(Volume(0.01*cv), Volume(0.95*cv), plates), 0.12, 0.005, "computed elsewhere, printed to two digits")
	// A long plug comes through whole; a short one spreads to Vs/(σ √(2π)).
	near(t, "long plug", pulseHeight(Volume(0.5*cv), Volume(0.95*cv), plates), 1, 1e-9, "limit")
	near(t, "short plug", pulseHeight(Volume(1e-4*cv), Volume(0.95*cv), plates), 1e-4/(0.95/math.Sqrt(plates)*math.Sqrt(2*math.Pi)), 1e-8, "by hand")
	for _, bad := range [][3]float64{{0, 1, 1}, {1, 0, 1}, {1, 1, -1}} {
		if v := pulseHeight(Volume(bad[0]), Volume(bad[1]), bad[2]); !math.IsNaN(v) {
			t.Errorf("%v: %v", bad, v)
		}
	}
}

// TestExpectation holds a recipe against the detector before the test is run.
func TestExpectation(t *testing.T) {
	medium := packing.Medium{Name: "Marram", Class: packing.SoftGel, MeanBead: 90 * Micrometre}
	expect := func(r Recipe) Expectation {
		t.Helper()
		e, err := r.Expect(column04(), 18*Centimetre, medium)
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	e := expect(recipe04())
	near(t, "part", e.Part, 0.12, 0.005, "rule of the trade")
	near(t, "height", e.Height, 900*e.Part, 1e-9, "strength times part")
	if e.Outcome != Meets || len(e.Warnings) > 0 || e.RetentionLow != 0.90 || e.RetentionHigh != 0.97 {
		t.Errorf("%+v", e)
	}
	near(t, "apex", e.VolumeLow.In(Litre), (0.90+0.005)*cv04, 1e-3, "by hand: net and half the sample")
	strong := recipe04()
	strong.Detector.Response = 40000
	e = expect(strong)
	if e.Outcome != DoesNotMeet || len(e.Warnings) != 1 || !strings.Contains(e.String(), "Outside the detector's range") {
		t.Fatalf("%+v", e)
	}
	// What the warning says to do is enough.
	var percent float64
	if _, after, ok := strings.Cut(e.Warnings[0].Do, "at most "); ok {
		var err error
		if percent, err = strconv.ParseFloat(strings.Fields(after)[0], 64); err != nil {
			t.Fatal(err)
		}
	}
	strong.Detector.Response *= percent / 100
	if e = expect(strong); e.Outcome != Meets || percent < 10 {
		t.Errorf("at %v %% of the strength: %+v", percent, e)
	}
	stated := recipe04()
	stated.Tracer.Retention, stated.Tracer.Margin, stated.Tracer.Source, stated.HoldUp = 0.93, 0.02, "own tests", 500*Millilitre
	e = expect(stated)
	near(t, "stated", e.VolumeHigh.In(Litre), (0.95+0.005)*cv04+0.5, 1e-3, "by hand: with the hold-up")
	if !strings.Contains(e.String(), "own tests") {
		t.Error(e)
	}
	medium.Class = packing.UnknownClass
	if e = expect(recipe04()); !math.IsNaN(e.RetentionLow) || math.IsNaN(e.Height) || !strings.Contains(e.String(), "not stated for this tracer") {
		t.Error(e)
	}
	charged := recipe04()
	charged.Tracer = Tracer{Kind: Salt, Pulse: 1 * MolePerLitre, Background: 0.1 * MolePerLitre}
	if e = expect(charged); len(e.Warnings) < 2 || !strings.Contains(e.String(), "in a background of 100 mmol/L") {
		t.Error(e)
	}
	for _, tc := range []struct {
		change func(r *Recipe)
		want   string
	}{
		{func(r *Recipe) { r.SampleVolume = 0 }, "sample volume of the recipe"},
		{func(r *Recipe) { r.Velocity = 0 }, "velocity of the recipe"},
		{func(r *Recipe) { r.Detector.Unit = "" }, "the unit was not given"},
		{func(r *Recipe) { r.Detector.Response = -1 }, "readings above zero"},
		{func(r *Recipe) { r.Detector.Path = 2 }, "light path 2 m of the detector"},
		{func(r *Recipe) { r.Detector.Path = -1 * Millimetre }, "no detector has it"},
		{func(r *Recipe) { r.HoldUp = -1 }, "hold-up"},
		{func(r *Recipe) { r.Tracer.Kind = 9 }, "no such kind"},
	} {
		r := recipe04()
		tc.change(&r)
		e, err := r.Expect(column04(), 18*Centimetre, medium)
		if err == nil || !strings.Contains(err.Error(), tc.want) || !strings.Contains(e.String(), tc.want) {
			t.Errorf("%v does not say %q", err, tc.want)
		}
	}
}

// TestWhatDifferedFromTheRecipe is reported; a peak beyond the linear range is not
// valid.
func TestWhatDifferedFromTheRecipe(t *testing.T) {
	as := pulse04()
	as.Recipe = recipe04()
	as.Tracer, as.Temperature = as.Recipe.Tracer, as.Recipe.Temperature
	if r := evaluate(t, as, of(t, 4001, 1.2, gaussian)); warnedOf(r, kindRecipe) || r.Verdict != Meets {
		t.Errorf("as the recipe says: %v %v", r.Verdict, r.Warnings)
	}
	for _, tc := range []struct {
		change func(p *Pulse)
		want   string
	}{
		{func(p *Pulse) { p.SampleVolume *= 2 }, "sample "},
		{func(p *Pulse) { p.Recipe.Velocity *= 1.2 }, "velocity 25 cm/h, recipe 30 cm/h"},
		{func(p *Pulse) { p.Tracer.Strength = 0.5 * Percent }, "tracer "},
		{func(p *Pulse) { p.Temperature = Celsius(15) }, "temperature 15"},
		{func(p *Pulse) { p.Temperature = 0 }, "temperature not given"},
		{func(p *Pulse) { p.Recipe.HoldUp = 1 * Litre }, "hold-up"},
		{func(p *Pulse) { p.Recipe.Detector.Signal = "Conductivity" }, "signal UV, recipe Conductivity"},
		{func(p *Pulse) { p.Recipe.Detector.Unit = "AU" }, "unit of the signal mAU, recipe AU"},
	} {
		p := as
		tc.change(&p)
		r := evaluate(t, p, of(t, 4001, 1.2, gaussian))
		if !warned(r, "not run by its recipe: "+tc.want) || r.Verdict != Meets {
			t.Errorf("%q: %v %v", tc.want, r.Verdict, r.Warnings)
		}
	}
	as.Recipe.Detector.LinearTo = 45
	if r := evaluate(t, as, of(t, 4001, 1.2, gaussian)); r.Verdict != NotDecided || !warned(r, "linear to 45") {
		t.Errorf("%v %v", r.Verdict, r.Warnings)
	}
}
