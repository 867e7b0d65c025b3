package packing_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"regexp"
	"testing"

	"github.com/evenbed/evenbed/packing"
	. "github.com/evenbed/evenbed/packing/units"
)

var (
	leastSlurry = regexp.MustCompile(`a slurry of at least ([0-9.]+) %`)
	longerTube  = regexp.MustCompile(`an extension of ([0-9.]+) cm more`)
)

// TestFollowPour takes refusals of a pour at their word: whatever number one
// names, the pour passes with it.
func TestFollowPour(t *testing.T) {
	r := rand.New(rand.NewPCG(20261201, 1))
	refused, slurries := 0, 0
	for i := range 1000 {
		p := packing.Pour{
			Column: packing.Column{Tag: "column 04", InnerDiameter: Centimetre.Times(1 + 99*r.Float64()), TubeHeight: Centimetre.Times(20 + 60*r.Float64()),
				Extension: Centimetre.Times(float64(r.IntN(2)) * (0.2 + 20*r.Float64())), Allowance: Centimetre.Times(0.2 + 10*r.Float64())},
			Slurry:    packing.Slurry{Concentration: Percent.Times(10 + 65*r.Float64())},
			BedHeight: Centimetre.Times(5 + 35*r.Float64()), CompressionFactor: 1 + 0.3*r.Float64(),
		}
		p.Rinse = p.Column.Volume(Centimetre.Times(float64(r.IntN(2)) * 15 * r.Float64()))
		_, err := p.Evaluate()
		if err == nil {
			continue
		}
		var in *packing.InputError
		if !errors.As(err, &in) {
			t.Fatal(err)
		}
		refused++
		follow := func(what string, change func(p *packing.Pour, x float64), find *regexp.Regexp) bool {
			m := find.FindStringSubmatch(in.Remedy)
			if m == nil {
				return false
			}
			var x float64
			if _, err := fmt.Sscan(m[1], &x); err != nil {
				t.Fatal(err)
			}
			again := p
			change(&again, x)
			if _, err := again.Evaluate(); err != nil {
				t.Fatalf("case %d: %v; with the %s %v that it names: %v", i, in, what, x, err)
			}
			return true
		}
		if follow("slurry", func(p *packing.Pour, x float64) { p.Slurry.Concentration = Percent.Times(x) }, leastSlurry) {
			slurries++
		}
		if !follow("extension", func(p *packing.Pour, x float64) { p.Column.Extension += Centimetre.Times(x) }, longerTube) {
			t.Fatalf("case %d names no extension: %v", i, in)
		}
	}
	if refused < 200 || slurries < 100 {
		t.Errorf("only %d refused, %d with a slurry named", refused, slurries)
	}
}

// TestRinseCountsOnce: 20.16 cm settled and 3 L of rinse, 4.244 cm over 706.86 cm²,
// in 40 cm: 20.16/(40 - 4.244) is 56.38 %, rounded up 56.4 %.
func TestRinseCountsOnce(t *testing.T) {
	p := packing.Pour{Column: packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre, TubeHeight: 40 * Centimetre}, Slurry: packing.Slurry{Concentration: 50 * Percent},
		BedHeight: 18 * Centimetre, CompressionFactor: 1.12, Rinse: 3 * Litre}
	_, err := p.Evaluate()
	want := "column 04: slurry of 50 % stands 44.6 cm high with 3 L of rinse: the tube takes 40.0 cm; use a slurry of at least 56.4 %, an extension of 4.6 cm more, or fill in stages"
	if err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
	p.Rinse = 15 * Litre // 21.2 cm
	if _, err := p.Evaluate(); err == nil || leastSlurry.MatchString(err.Error()) || !longerTube.MatchString(err.Error()) {
		t.Errorf("no slurry is thick enough: %v", err)
	}
}

// An extension beyond what Check takes is not offered.
func TestNoSuchExtension(t *testing.T) {
	p := packing.Pour{Column: packing.Column{InnerDiameter: 30 * Centimetre, TubeHeight: 60 * Centimetre}, Slurry: packing.Slurry{Concentration: 3 * Percent},
		BedHeight: 18 * Centimetre, CompressionFactor: 1.12} // 672 cm
	if _, err := p.Evaluate(); err == nil || longerTube.MatchString(err.Error()) || !leastSlurry.MatchString(err.Error()) {
		t.Errorf("%v", err)
	}
	p.Slurry.Concentration = 4 * Percent // 504 cm
	if _, err := p.Evaluate(); err == nil || !longerTube.MatchString(err.Error()) {
		t.Errorf("%v", err)
	}
}

// TestSettledFar: 18.75 cm is 7 % below 20.16 cm. Nobody goes on from there
// without a word.
func TestSettledFar(t *testing.T) {
	for _, tc := range []struct {
		height, off float64
		doubt       bool
	}{{0.93, 7.0, true}, {1.08, 8.0, true}, {0.96, 4, false}, {1.05, 5, false}, {0.95, 5, false}} {
		d, err := packing.Found{BedHeight: 18 * Centimetre, CompressionFactor: 1.12, Height: (20.16 * Centimetre).Times(tc.height)}.Decide()
		if err != nil {
			t.Fatal(err)
		}
		if (d.Doubt != "") != tc.doubt {
			t.Errorf("%v of the planned height: %q", tc.height, d.Doubt)
		}
		if tc.doubt {
			holds(t, d.String(), "Doubt:", fmt.Sprintf("%.1f %%", tc.off), "planned 20.16 cm", "before going on")
		}
	}
}
