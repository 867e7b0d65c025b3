package plan_test

import (
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/plan"
	. "github.com/evenbed/evenbed/packing/units"
)

func played(t *testing.T, name string, m planner) (plan.Procedure, plan.Play) {
	t.Helper()
	p := planned(t, name, m)
	q, err := p.Play()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return p, q
}

// The first step of a 20 cm bed at 1.15 from a slurry of 50 % at 20 cm/h.
func TestPlayedFirstStep(t *testing.T) {
	for density, want := range map[Density]float64{80: 31.2, 40: 43.0} {
		c := tall(t)
		c.Medium.DensityExcess = density
		_, q := played(t, "first step", c)
		s := q.Steps[0]
		near(t, "first step", q.Moments[s.Last].Time.In(Minute), want, 0.01, "independent NumPy script; practice: about half an hour")
		near(t, "bed", q.Moments[s.Last].Bed.In(Centimetre), 23, 1e-9, "settled")
		// Until the denser layers arrive the edge falls at u1 and the hindered velocity.
		m := q.Moments[s.First+5]
		v := c.Medium.DensityExcess.In(81.7933*KilogramPerCubicMetre) * 129.7401 * math.Pow(1-0.3, 4.65) // Stokes in water at 20 °C, cm/h
		near(t, "edge", (46-m.Interface.In(Centimetre))/m.Time.In(Minute)*60, 20+v, 1e-4, "Richardson and Zaki, by hand")
		if joined := strings.Join(q.Notes, "\n"); !strings.Contains(joined, "The second step is not played") {
			t.Errorf("%q", q.Notes)
		}
	}
}

// TestPlayedCompression: the surface falls and rises at the velocity of the flow
// at first, and comes to where the plan has it.
func TestPlayedCompression(t *testing.T) {
	c := own(t)
	p, q := played(t, "compression", c)
	u := float64(p.Second.Velocity)
	for _, s := range q.Steps {
		a, b := q.Moments[s.First], q.Moments[s.First+6]
		last := q.Moments[s.Last]
		switch s.Name {
		case "step 2":
			part := float64(a.Bed-p.Second.BedHeight) / float64(p.Bed.SettledHeight-p.Second.BedHeight) // what is left of step 1
			near(t, "falls", float64(a.Bed-b.Bed)/float64(b.Time-a.Time), u*part, 1e-3, "u2 from rest, U = 2T")
			near(t, "bed", float64(last.Bed), float64(p.Second.BedHeight), 2e-4, "99.9 % of it")
			near(t, "pressure", float64(last.Pressure), float64(p.Second.Pressure), 2e-3, "99.9 % of it")
			near(t, "99 %", float64(p.Second.Time), 2*1.879190*float64(p.Bed.SettledHeight-p.Second.BedHeight)/u, 1e-9, "triangular series, finite differences")
		case "catch":
			b := q.Moments[s.First+2]
			near(t, "initial rise", float64(b.Bed-a.Bed)/float64(b.Time-a.Time), u, 1e-6, "the velocity that was flowing")
		}
	}
	if !(p.Second.Time.In(Second) > 60 && p.Second.Time.In(Second) < 120) {
		t.Errorf("step 2 takes %v; practice: a minute or two", p.Second.Time)
	}
}

// TestPlayedSoundness: what holds for every method at any density: time goes on,
// nothing lies above what is above it, pressure and flow keep the limits, and the
// bed ends at the mark.
func TestPlayedSoundness(t *testing.T) {
	for _, density := range []Density{20, 40, 80} {
		for name, m := range methods(t) {
			p := planned(t, name, withDensity(m, density))
			for _, l := range p.Pressures {
				if !(l.Margin > 0) {
					t.Errorf("%s at %v: %s has margin %v", name, density, l.Name, l.Margin)
				}
			}
			for _, l := range p.Flows {
				if !(l.Margin > 0) {
					t.Errorf("%s at %v: %s has margin %v", name, density, l.Name, l.Margin)
				}
			}
			q, err := p.Play()
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			const grain = Length(1e-9)
			last := plan.Moment{}
			for i, m := range q.Moments {
				switch {
				case m.Time < last.Time:
					t.Fatalf("%s: moment %d turns back: %v after %v", name, i, m.Time, last.Time)
				case m.Bed > m.Interface+grain, m.Bed > m.Adapter+grain, m.Interface > m.Adapter+grain, m.Bed > m.Liquid+grain:
					t.Fatalf("%s: moment %d: %+v", name, i, m)
				case m.Pressure > p.Pressures[0].Limit, m.Bed < 0, m.Flow < 0:
					t.Fatalf("%s: moment %d: %+v", name, i, m)
				}
				last = m
			}
			near(t, name+", mark", float64(last.Bed), 0.18, 1e-3, "the target")
			shown := q.Page().HTML() + q.String() + q.Page().Markdown()
			for _, bad := range []string{"NaN", "Inf"} {
				if strings.Contains(shown, bad) {
					t.Errorf("%s: %s is shown", name, bad)
				}
			}
			if n := strings.Count(q.Frames().SVG(), "<path"); n < 4 {
				t.Errorf("%s: %d frames", name, n)
			}
		}
	}
}

// withDensity changes the density excess of a method's medium.
func withDensity(m planner, d Density) planner {
	v := common(m, plan.ConstantFlow{})
	medium := v.FieldByName("Medium").Addr().Interface().(*packing.Medium)
	medium.DensityExcess = d
	return v.Interface().(planner)
}

func TestPlayAt(t *testing.T) {
	_, q := played(t, "at", own(t))
	if m := q.At(-1); m.Time != 0 || m.Bed != 0 {
		t.Errorf("before the start: %+v", m)
	}
	end := q.Moments[len(q.Moments)-1]
	if q.At(q.Duration()).Time != end.Time || q.At(1e9).Bed != end.Bed {
		t.Error("the end is not the last moment")
	}
	if m := q.At(10 * Minute); !(m.Time <= 10*Minute && m.Time > 9*Minute) {
		t.Errorf("at 10 min: %v", m.Time)
	}
	if s := (plan.Play{}).String(); !strings.Contains(s, "No result:") {
		t.Errorf("nothing played shows %q", s)
	}
	for _, f := range []string{q.Figure().SVG(), q.Compression().SVG()} {
		if !strings.Contains(f, "Pressure (bar)") || !strings.Contains(f, "Flow (L/h)") || !strings.Contains(f, "Height (cm)") {
			t.Error("an axis is missing")
		}
	}
}
