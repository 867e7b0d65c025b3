package plan

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/internal/steps"
	"github.com/evenbed/evenbed/packing/internal/unit"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)

// A signal is a trace in SI. One without points was not recorded.
type signal struct{ x, y []float64 }

// signals are what was recorded, in seconds, m/s, Pa and m above the bottom net.
type signals struct{ velocity, pressure, bed, adapter signal }

func (s signal) recorded() bool { return len(s.x) > 0 }

// within returns the indices of the points from one time to another.
func (s signal) within(from, to float64) (first, end int) {
	return sort.SearchFloat64s(s.x, from), sort.Search(len(s.x), func(i int) bool { return s.x[i] > to })
}

// median returns the median of the values from one time to another, NaN if there
// is none.
func (s signal) median(from, to float64) float64 {
	i, j := s.within(from, to)
	return steps.Median(slices.Clone(s.y[i:j]))
}

// meanSD returns mean and standard deviation of the values from one time to
// another.
func (s signal) meanSD(from, to float64) (mean, sd float64) {
	i, j := s.within(from, to)
	n := float64(j - i)
	for _, v := range s.y[i:j] {
		mean += v / n
	}
	sum := 0.0
	for _, v := range s.y[i:j] {
		sum += (v - mean) * (v - mean)
	}
	if n < 1 {
		return math.NaN(), math.NaN()
	}
	return mean, math.Sqrt(sum / math.Max(n-1, 1))
}

// at returns the value at a time by a straight line between two readings.
func (s signal) at(x float64) float64 {
	i := sort.SearchFloat64s(s.x, x)
	switch {
	case i == 0:
		return s.y[0]
	case i == len(s.x):
		return s.y[i-1]
	case s.x[i] == s.x[i-1]:
		return s.y[i]
	}
	return s.y[i-1] + (s.y[i]-s.y[i-1])*(x-s.x[i-1])/(s.x[i]-s.x[i-1])
}

// integral returns the area under the signal from one time to another by the
// trapezium rule.
func (s signal) integral(from, to float64) float64 {
	i, j := s.within(from, to)
	x, y, sum := from, s.at(from), 0.0
	for ; i < j; i++ {
		sum += (s.y[i] + y) / 2 * (s.x[i] - x)
		x, y = s.x[i], s.y[i]
	}
	return sum + (s.at(to)+y)/2*(to-x)
}

// read brings the traces to SI and checks them.
func (w *reviewer) read() error {
	run, s := w.run, &w.f.signals
	area := float64(w.r.Column.Area())
	switch by := w.r.StepsBy; {
	case by == StepsByPressure && run.Pressure.Len() == 0:
		return &packing.InputError{Where: run.Label, What: "pressure", Problem: "it was not given, and the steps of a pack by pressure are told by it",
			Remedy: "give the pressure, or write StepsBy: plan.StepsByFlow"}
	case by == StepsByAdapter && (run.Adapter.Len() == 0 || run.BedHeight.Len() == 0 && len(run.Readings) == 0):
		return &packing.InputError{Where: run.Label, What: "adapter and bed", Problem: "a position of the adapter and a height of the settled bed tell the steps of a pack by the adapter",
			Remedy: "give Adapter, and BedHeight or Readings"}
	case by != StepsByAdapter && run.Flow.Len() == 0:
		return &packing.InputError{Where: run.Label, What: "flow", Problem: "it was not given, and steps are told by the flow",
			Remedy: `give the flow or the velocity, for example Flow: flow with flow, err := export.Signal("Flow")`}
	}
	size := func(symbol string, kind unit.Kind) (float64, bool) {
		u, _ := unit.Of(symbol)
		if kind == unit.Velocity && u.Kind == unit.Flow {
			return u.One / area, true
		}
		return u.One, u.Kind == kind
	}
	for _, x := range []struct {
		what, kinds string
		t           trace.Trace
		kind        unit.Kind
		to          *signal
	}{
		{"flow", "L/h, mL/min or cm/h", run.Flow, unit.Velocity, &s.velocity},
		{"pressure", "bar, kPa or MPa", run.Pressure, unit.Pressure, &s.pressure},
		{"bed height", "mm, cm or m", run.BedHeight, unit.Length, &s.bed},
		{"adapter", "mm, cm or m", run.Adapter, unit.Length, &s.adapter},
	} {
		if x.t.Len() == 0 {
			continue
		}
		one, ok := size(strings.TrimSpace(x.t.Unit), x.kind)
		bad := func(problem, remedy string) error {
			return &packing.InputError{Where: run.Label, What: fmt.Sprintf("%s %q", x.what, x.t.Name), Problem: problem, Remedy: remedy}
		}
		switch {
		case !ok:
			return bad(fmt.Sprintf("its unit %q is not one of a %s", x.t.Unit, x.what), "set the trace's Unit to "+x.kinds)
		case x.t.Axis() != trace.Time:
			return bad("it runs against volume", "give signals against time")
		}
		*x.to = signal{x.t.Positions(), x.t.Values()}
		for i := range x.to.y {
			x.to.y[i] *= one
		}
	}
	if !s.velocity.recorded() {
		s.velocity = signal{s.adapter.x, make([]float64, len(s.adapter.x))}
		w.taken("no flow at any time (none was given)")
	}
	if err := w.orient(); err != nil {
		return err
	}
	return w.checkClock()
}

// orient brings heights to the bottom net and refuses signs that were not said.
func (w *reviewer) orient() error {
	run, s := w.run, &w.f.signals
	bad := func(what, problem, remedy string) error {
		return &packing.InputError{Where: run.Label, What: what, Problem: problem, Remedy: remedy}
	}
	least, most := extremes(s.velocity.y)
	if -least > 0.2*math.Max(most, 0) && least < 0 {
		return bad("flow", fmt.Sprintf("it goes down to %v and up to %v; downflow counts positive here", units.Velocity(least), units.Velocity(most)),
			"if the record counts downflow negative, give flow.Flipped(); else cut the upflow off")
	}
	if most == 0 && w.r.StepsBy != StepsByAdapter {
		return bad("flow", "it is zero all the time", "give the flow of the packing pump")
	}
	if u := units.Velocity(most); u > 20000*units.CentimetrePerHour {
		return bad("flow", fmt.Sprintf("it goes up to %v, which no packed bed sees", u), "check the unit of the trace")
	}
	if s.adapter.recorded() {
		switch run.AdapterReads {
		case AboveNet:
			if run.AdapterZero != 0 {
				return bad(fmt.Sprintf("AdapterZero %v", run.AdapterZero), "it belongs to DrivenDown", "leave it out, or write AdapterReads: plan.DrivenDown")
			}
		case DrivenDown:
			if !(run.AdapterZero > 0) {
				return bad("adapter", "it counts downwards from a height that was not given", "write for example AdapterZero: 60 * Centimetre")
			}
			for i, v := range s.adapter.y {
				s.adapter.y[i] = float64(run.AdapterZero) - v
			}
		default:
			return bad("adapter", "it was not said how its position is counted", "write AdapterReads: plan.AboveNet or plan.DrivenDown")
		}
	}
	for i := range s.bed.y {
		s.bed.y[i] -= float64(run.RulerZero)
	}
	w.run.Readings = append([]HeightReading(nil), run.Readings...)
	for i := range w.run.Readings {
		h := &w.run.Readings[i]
		if i > 0 && !(h.At > w.run.Readings[i-1].At) {
			return bad(fmt.Sprintf("height reading %d at %v", i+1, h.At), "it is not later than the one before", "give the readings by rising time")
		}
		if v := float64(h.Height); math.IsNaN(v) || math.IsInf(v, 0) {
			return bad(fmt.Sprintf("height reading %d at %v", i+1, h.At), fmt.Sprintf("its height is %v", v), "leave out what was not read")
		}
		if !(h.At.In(units.Second) >= s.velocity.x[0] && h.At.In(units.Second) <= s.velocity.x[len(s.velocity.x)-1]) {
			return bad(fmt.Sprintf("height reading %d at %v", i+1, h.At), "it lies outside the record of the flow", "give times on the record's clock")
		}
		h.Height -= run.RulerZero
	}
	if zero := w.r.Plan.Request.RulerZero; zero != 0 && run.RulerZero == 0 && (s.bed.recorded() || len(run.Readings) > 0) {
		w.doubt("The plan's ruler reads %v at the bottom net; the heights of the run were taken as counted from the net. If they are off that ruler, give RulerZero.", zero)
	}
	for _, h := range w.run.Readings {
		if !s.bed.recorded() {
			break
		}
		if d := math.Abs(s.bed.at(float64(h.At)) - float64(h.Height)); d > float64(w.r.Tolerances.Mark) {
			w.doubt("At %s the bed was read by eye %.1f mm from what was recorded: one of the two has another zero or another clock.", minutes(h.At), d*1000)
		}
	}
	for _, x := range []struct {
		what string
		y    []float64
	}{{"bed height", s.bed.y}, {"adapter", s.adapter.y}, {"height readings", heightsOf(w.run.Readings)}} {
		if len(x.y) == 0 {
			continue
		}
		asked := float64(w.r.BedHeight)
		low, high := extremes(x.y)
		switch {
		case low < -0.01 || high > 5:
			return bad(x.what, fmt.Sprintf("it goes from %v to %v above the bottom net", units.Length(low), units.Length(high)),
				"check its unit, RulerZero and AdapterZero")
		case high < asked/3 || low > 3*asked && x.what != "adapter": // an adapter may stay far above
			return bad(x.what, fmt.Sprintf("it goes from %v to %v above the bottom net, but a bed of %v was asked for", units.Length(low), units.Length(high), w.r.BedHeight),
				"check its unit, RulerZero, AdapterZero and BedHeight")
		}
	}
	return nil
}

func heightsOf(r []HeightReading) []float64 {
	var y []float64
	for _, h := range r {
		y = append(y, float64(h.Height))
	}
	return y
}

func extremes(y []float64) (least, most float64) {
	least, most = math.Inf(1), math.Inf(-1)
	for _, v := range y {
		if v < least {
			least = v
		}
		if v > most {
			most = v
		}
	}
	return least, most
}

// checkClock compares the times of the signals, and looks for pauses of the
// record.
func (w *reviewer) checkClock() error {
	s := w.f.signals
	x := s.velocity.x
	from, to := x[0], x[len(x)-1]
	for _, o := range []struct {
		what string
		s    signal
	}{{"pressure", s.pressure}, {"bed height", s.bed}, {"adapter", s.adapter}} {
		if !o.s.recorded() {
			continue
		}
		a, b := o.s.x[0], o.s.x[len(o.s.x)-1]
		if b <= from || a >= to {
			return &packing.InputError{Where: w.run.Label, What: o.what,
				Problem: fmt.Sprintf("it was recorded from %v to %v, the flow from %v to %v", units.Time(a), units.Time(b), units.Time(from), units.Time(to)),
				Remedy:  "give signals of one run on one clock"}
		}
	}
	usual := steps.Spacing(x)
	for i := 1; i < len(x); i++ {
		if d := x[i] - x[i-1]; d > 10*usual && d > float64(w.r.ShortestPlateau) {
			w.doubt("The record of the flow pauses for %v from %v; what happened then is not known.", units.Time(d), units.Time(x[i-1]))
		}
	}
	return nil
}
