package plan_test

import (
	"math"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/plan"
	"github.com/evenbed/evenbed/packing/record"
	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// madePlan is the plan that the made packs followed.
func madePlan(t testing.TB) plan.Procedure {
	t.Helper()
	readings, err := record.Read("../../testdata/column04-curve.csv")
	if err != nil {
		t.Fatal(err)
	}
	must := func(err error) {
		if err != nil {
			t.Fatal(err)
		}
	}
	u, err := readings.Velocities("Velocity")
	must(err)
	h, err := readings.Lengths("Bed height")
	must(err)
	p, err := readings.Pressures("Pressure")
	must(err)
	curve, err := bed.Readings{SettledHeight: 20.16 * Centimetre, InnerDiameter: 30 * Centimetre, Viscosity: 1 * MillipascalSecond,
		Velocity: u, Height: h, Pressure: p}.Curve()
	must(err)
	steps, err := plan.ConstantFlow{
		Column: packing.Column{Tag: "column 04", InnerDiameter: 30 * Centimetre, TubeHeight: 60 * Centimetre, MaxPressure: 3 * Bar},
		Medium: packing.Medium{Name: "Marram", Lot: "M-0417", MeanBead: 90 * Micrometre, SettledVoid: 0.40,
			DensityExcess: 80 * KilogramPerCubicMetre, MaxBedPressure: 2 * Bar},
		Slurry:    packing.Slurry{Concentration: 52 * Percent},
		BedHeight: 18 * Centimetre, CompressionFactor: 1.12, Curve: curve,
		Limits: packing.Limits{SystemPressure: 2.5 * Bar, PumpFlow: 300 * LitrePerHour},
	}.Plan()
	must(err)
	return steps
}

// runOf makes traces of a made pack.
func runOf(t testing.TB, p made.Pack) plan.Run {
	t.Helper()
	rows := p.Rows()
	seconds := make([]float64, len(rows.Time))
	for i, v := range rows.Time {
		seconds[i] = 60 * v
	}
	signal := func(name, unit string, y []float64) trace.Trace {
		tr, err := trace.Make(name, unit, trace.Time, seconds, y)
		if err != nil {
			t.Fatal(err)
		}
		return tr
	}
	return plan.Run{Label: "made pack", Flow: signal("Flow", "L/h", rows.Flow), Pressure: signal("Pressure", "bar", rows.Pressure),
		BedHeight: signal("Bed height", "cm", rows.Bed), Adapter: signal("Adapter", "cm", rows.Adapter), AdapterReads: plan.AboveNet}
}

// about compares within an absolute distance.
func about(t *testing.T, what string, got, want, room float64) {
	t.Helper()
	if !(math.Abs(got-want) <= room) {
		t.Errorf("%s: %.6g, want %.6g within %.2g", what, got, want, room)
	}
}

// read reads a made pack back, after a change to what is asked of it.
func read(t testing.TB, p made.Pack, change func(r *plan.Review, run *plan.Run)) plan.Findings {
	t.Helper()
	r, run := plan.Review{Plan: madePlan(t), SlurryPoured: 27.5 * Litre}, runOf(t, p)
	if change != nil {
		change(&r, &run)
	}
	f, err := r.Of(run)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func kinds(f plan.Findings) string {
	var s []string
	for _, step := range f.Steps {
		s = append(s, step.Name)
	}
	return strings.Join(s, " | ")
}

const ownKinds = "before the flow | step 1, loose bed | flow off, adapter | step 2, compress | stop, lowering | flow afterwards"

// What is read back of a made pack against what it was made of.
func TestReviewOwn(t *testing.T) {
	p := made.OwnPack()
	f := read(t, p, nil)
	if got := kinds(f); got != ownKinds {
		t.Fatalf("steps %s, want %s", got, ownKinds)
	}
	if f.Advice != plan.ProceedToTest || f.Compressions != 1 {
		t.Errorf("%v after %d compressions (%v), want proceed to test after 1", f.Advice, f.Compressions, f.Reasons)
	}
	area := math.Pi / 4 * 30 * 30 // cm²
	one, two := f.Steps[1], f.Steps[3]
	const pump = 3.0 / 60 // min, that the pump takes for a change, and a row
	for _, tc := range []struct {
		what            string
		got, want, room float64
	}{
		{"start of step 1, min", one.Start.In(Minute), p.FirstFrom, pump},
		{"end of step 1, min", one.End.In(Minute), p.FirstTo, pump},
		{"start of step 2, min", two.Start.In(Minute), p.SecondFrom, pump},
		{"end of step 2, min", two.End.In(Minute), p.SecondTo, pump},
		{"velocity of step 1, cm/h", one.Velocity.In(CentimetrePerHour), p.First, 0.02},
		{"velocity of step 2, cm/h", two.Velocity.In(CentimetrePerHour), p.Second, 0.3},
		{"spread of step 2, cm/h: 0.4 % noise", two.VelocitySD.In(CentimetrePerHour), 0.004 * p.Second, 0.2},
		{"volume of step 1, L: u·A·t", one.Volume.In(Litre), p.First * area * (p.FirstTo - p.FirstFrom) / 60 / 1000, 0.03},
		{"volume of step 2, L: u·A·t", two.Volume.In(Litre), p.Second * area * (p.SecondTo - p.SecondFrom) / 60 / 1000, 0.15},
		{"column volumes of step 2", two.ColumnVolumes, p.Second / 60 * (p.SecondTo - p.SecondFrom) / 18, 0.02},
		{"settled height, cm", f.SettledHeight.In(Centimetre), p.Settle, 0.03},
		{"packed height, cm", f.BedHeight.In(Centimetre), p.Mark, 0.005},
		{"compression factor", f.CompressionFactor, p.Settle / p.Mark, 0.002},
		{"its error: 0.5 mm of each height, one times CF(20 cm/h) = 1.0107", f.CompressionFactorStdErr, p.Settle / p.Mark * math.Hypot(0.05/p.Settle*1.0107, 0.05/p.Mark), 1e-4},
		{"from the slurry: 27.5 L of 52 %", f.BySlurry, 27.5e3 * 0.52 / area / p.Mark, 0.001},
		{"its error: 3 % of C, 1 % of V, 0.5 mm", f.BySlurryStdErr, 27.5e3 * 0.52 / area / p.Mark * math.Sqrt(9e-4+1e-4+math.Pow(0.05/p.Mark, 2)), 1e-4},
		{"travel, cm", f.Travel.In(Centimetre), p.Settle + 0.15 - p.Mark, 0.01},
		{"speed of the catch, mm/s", f.Moves[1].Speed.In(MillimetrePerSecond), 0.9, 0.1},
		{"pressure of step 2, bar: calculated for the medium, and 12 mbar of hardware", two.Pressure.In(Bar), pressureOf(p.Second, p.Settle) + 0.012, 0.003},
	} {
		about(t, tc.what, tc.got, tc.want, tc.room)
	}
}

// pressureOf is the pressure [bar] of the made medium at a velocity [cm/h] and a
// settled height [cm].
func pressureOf(u, settled float64) float64 {
	_, pa := made.Marram.At(u/360000, settled/100)
	return pa / 1e5
}

// Variants of the made pack, and what is to be advised.
func TestReviewAdvice(t *testing.T) {
	for _, tc := range []struct {
		name   string
		pack   func(p *made.Pack)
		change func(r *plan.Review, run *plan.Run)
		advice plan.Advice
		reason string // part of the first reason
		kinds  string // empty: as in the stored pack
	}{
		{"at the mark", nil, nil, plan.ProceedToTest, "within 2 mm of its target", ""},
		{"mark missed", func(p *made.Pack) { p.Mark = 18.5 }, nil, plan.AddStep, "5.0 mm above its target", ""},
		{"mark missed, but allowed by the user", func(p *made.Pack) { p.Mark = 18.5 },
			func(r *plan.Review, _ *plan.Run) { r.Tolerances.Mark = 6 * Millimetre }, plan.ProceedToTest, "within 6 mm", ""},
		{"third step reaches the mark", func(p *made.Pack) { p.Mark, p.ThirdAt, p.Mark3, p.End = 18.5, 53, 18.02, 66 }, nil, plan.ProceedToTest, "within 2 mm of its target",
			"before the flow | step 1, loose bed | flow off, adapter | step 2, compress | stop, lowering | step 3, compress again | stop, lowering again | flow afterwards"},
		{"third step misses too", func(p *made.Pack) { p.Mark, p.ThirdAt, p.Mark3, p.End = 18.6, 53, 18.4, 66 }, nil, plan.Repack, "4.0 mm above its target",
			"before the flow | step 1, loose bed | flow off, adapter | step 2, compress | stop, lowering | step 3, compress again | stop, lowering again | flow afterwards"},
		{"settled a little low: 19.2/1.12 = 17.14 cm, 4.8 % below 18", func(p *made.Pack) { p.Settle = 19.2 }, nil, plan.AddStep, "the factor is kept at 17.1", ""},
		{"settled too low: 18.9/1.12 = 16.88 cm, 6.3 % below 18", func(p *made.Pack) { p.Settle = 18.9 }, nil, plan.Repack, "pour more slurry", ""},
		{"settled too high: 21/18.02 = 1.165", func(p *made.Pack) { p.Settle = 21 }, nil, plan.Repack, "no step makes it smaller", ""},
		{"settled higher, factor kept: 20.9/1.12 = 18.66 cm", func(p *made.Pack) { p.Settle, p.Mark = 20.9, 18.66 }, nil, plan.AddStep, "the target is 18.6", ""},
		{"settled higher, factor kept, and the mark given", func(p *made.Pack) { p.Settle, p.Mark = 20.9, 18.66 },
			func(r *plan.Review, _ *plan.Run) { r.BedHeight = 18.66 * Centimetre }, plan.ProceedToTest, "within 2 mm of its target", ""},
		{"a gap is left", func(p *made.Pack) { p.Mark = 18.1 }, func(_ *plan.Review, run *plan.Run) { run.RulerZero = 3 * Millimetre }, plan.AddStep, "a gap of 3.0 mm", ""},
		{"medium's limit passed", func(p *made.Pack) { p.Surge = 1.7 }, nil, plan.Repack, "the bed was pressed beyond", ""},
		{"column's limit passed", nil, func(r *plan.Review, _ *plan.Run) { r.Column = r.Plan.Request.Column; r.Column.MaxPressure = 0.5 * Bar }, plan.Repack, "limit of the column, 0.5 bar", ""},
		{"tube's limit passed", nil, func(r *plan.Review, _ *plan.Run) { r.Limits.TubePressure = 0.5 * Bar }, plan.Repack, "limit of the tube, 0.5 bar", ""},
		{"relief device's set point passed: not the bed's fault", nil, func(r *plan.Review, _ *plan.Run) { r.Limits.ReliefPressure = 0.5 * Bar }, plan.ProceedToTest, "", ""},
		{"pulsating pump", func(p *made.Pack) { p.Pulsation = 0.1 }, nil, plan.ProceedToTest, "", ""},
		{"no noise", func(p *made.Pack) { p.Noise = 0 }, nil, plan.ProceedToTest, "", ""},
		{"much noise", func(p *made.Pack) { p.Noise = 6 }, nil, plan.ProceedToTest, "", ""},
		{"one reading each 10 s", func(p *made.Pack) { p.Step = 10 }, nil, plan.ProceedToTest, "", ""},
		{"other times than planned", func(p *made.Pack) { p.FirstFrom, p.FirstTo, p.SecondFrom, p.SecondTo, p.End = 7, 65, 70, 90, 110 }, nil, plan.ProceedToTest, "", ""},
		{"other velocities than planned", func(p *made.Pack) { p.First, p.Second = 26, 290 }, nil, plan.ProceedToTest, "", ""},
		{"ended too early for the user's criterion", func(p *made.Pack) { p.Slow = 300 },
			func(r *plan.Review, _ *plan.Run) { r.Steady.Height = 0.3 * Millimetre }, plan.AddStep, "the height still changed by", ""},
		{"no bed height, adapter known", nil, func(_ *plan.Review, run *plan.Run) { run.BedHeight = trace.Trace{} }, plan.ProceedToTest, "", ""},
		{"no heights at all", nil, func(_ *plan.Review, run *plan.Run) { run.BedHeight, run.Adapter = trace.Trace{}, trace.Trace{} }, plan.Undecided, "height of the packed bed is not known",
			strings.Replace(ownKinds, "off, adapter", "off", 1)},
		{"neither settled height nor slurry", nil, func(r *plan.Review, run *plan.Run) { run.BedHeight, r.SlurryPoured = trace.Trace{}, 0 }, plan.Undecided, "the compression factor is not known", ""},
		{"the record ends in step 2", func(p *made.Pack) { p.End = 47; p.Condition = 331 }, nil, plan.Undecided, "height of the packed bed is not known", ownKinds[:strings.Index(ownKinds, " | stop")]},
		{"the record ends in step 1", func(p *made.Pack) { p.End = 36; p.Condition = 20 }, nil, plan.Undecided, "no compression step", "before the flow | step 1, loose bed"},
	} {
		p := made.OwnPack()
		if tc.pack != nil {
			tc.pack(&p)
		}
		f := read(t, p, tc.change)
		want := tc.kinds
		if want == "" {
			want = ownKinds
		}
		if got := kinds(f); got != want {
			t.Errorf("%s: steps %s", tc.name, got)
		}
		if f.Advice != tc.advice || len(f.Reasons) == 0 || !strings.Contains(f.Reasons[0], tc.reason) {
			t.Errorf("%s: %v, %q; want %v, %q", tc.name, f.Advice, f.Reasons, tc.advice, tc.reason)
		}
	}
}

// A lab column's volumes are told apart in mL. The run is that of column 04, the
// flow less by the square of the diameters.
func TestReviewOfNarrowColumn(t *testing.T) {
	run := runOf(t, made.OwnPack())
	part := math.Pow(2.6/30, 2)
	flow := run.Flow.Values()
	for i := range flow {
		flow[i] *= part
	}
	var err error
	if run.Flow, err = trace.Make("Flow", "L/h", trace.Time, run.Flow.Positions(), flow); err != nil {
		t.Fatal(err)
	}
	wide := madePlan(t).Request
	wide.Column.InnerDiameter, wide.Curve.InnerDiameter = 2.6*Centimetre, 2.6*Centimetre
	steps, err := plan.ConstantFlow{Column: wide.Column, Medium: wide.Medium, Slurry: wide.Slurry, BedHeight: wide.BedHeight,
		CompressionFactor: wide.CompressionFactor, Curve: wide.Curve}.Plan()
	if err != nil {
		t.Fatal(err)
	}
	f, err := plan.Review{Plan: steps, SlurryPoured: 206 * Millilitre}.Of(run)
	if err != nil {
		t.Fatal(err)
	}
	shown := f.Page().Markdown()
	for _, want := range []string{
		"| slurry poured | mL | 205.8 | 206.0 | +0.2 |", // by hand: π/4·2.6²·20.16/0.52 mL
		"| column volume | 95.6 |",                      // by hand: π/4·2.6²·18 mL
		"| volume \\[mL\\] |",
	} {
		if !strings.Contains(shown, want) {
			t.Errorf("%q is not shown:\n%s", want, shown)
		}
	}
}

// A bed that came out right by another way is tested all the same, and the way
// is named.
func TestReviewNamesTheWay(t *testing.T) {
	const doubt = "outside the tolerances velocity of step 1"
	if f := read(t, made.OwnPack(), nil); strings.Contains(strings.Join(f.Doubts, " "), "outside the tolerances") {
		t.Errorf("a pack within all tolerances: %v", f.Doubts)
	}
	f := read(t, made.OwnPack(), func(r *plan.Review, _ *plan.Run) { r.Plan.First.Velocity = r.Plan.First.Velocity.Times(0.8) })
	if f.Advice != plan.ProceedToTest || !strings.Contains(strings.Join(f.Doubts, " "), doubt) {
		t.Errorf("%v, %v; want %q", f.Advice, f.Doubts, doubt)
	}
}
