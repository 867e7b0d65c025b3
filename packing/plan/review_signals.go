package plan

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"github.com/evenbed/evenbed/packing"
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
	if j <= i {
		return math.NaN()
	}
	return medianOf(append([]float64(nil), s.y[i:j]...))
}

// medianOf returns the median of values, which it puts in another order.
func medianOf(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	m := len(v) / 2
	quickSelect(v, m)
	if len(v)%2 == 1 {
		return v[m]
	}
	low := v[0]
	for _, x := range v[1:m] {
		low = math.Max(low, x)
	}
	return (low + v[m]) / 2
}

// quickSelect puts the value of rank k at k, smaller ones before it (Hoare).
func quickSelect(v []float64, k int) {
	for low, high := 0, len(v)-1; low < high; {
		pivot := v[(low+high)/2]
		i, j := low, high
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return
		}
	}
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
	if run.Flow.Len() == 0 {
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
	if most == 0 {
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
		if low, high := extremes(x.y); low < -0.01 || high > 5 {
			return bad(x.what, fmt.Sprintf("it goes from %v to %v above the bottom net", units.Length(low), units.Length(high)),
				"check its unit, RulerZero and AdapterZero")
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
	usual := w.sampling()
	for i := 1; i < len(x); i++ {
		if d := x[i] - x[i-1]; d > 10*usual && d > float64(w.r.ShortestPlateau) {
			w.doubt("The record of the flow pauses for %v from %v; what happened then is not known.", units.Time(d), units.Time(x[i-1]))
		}
	}
	return nil
}

// sampling returns the usual distance of two readings of the flow, s.
func (w *reviewer) sampling() float64 {
	x := w.f.signals.velocity.x
	every := max(1, len(x)/1000)
	var d []float64
	for i := every; i < len(x); i += every {
		d = append(d, x[i]-x[i-1])
	}
	return medianOf(d)
}

// A plateau is a stretch in which a signal stays at one level. It reaches from
// start to end, half way to the neighbours; from and to leave the changes out.
type plateau struct{ start, end, from, to, level float64 }

// A grid is a signal in bins of equal time, for finding plateaus.
type grid struct {
	x0, step float64
	y        []float64 // median of each bin
	calm     []float64 // y after a moving median
}

func (g grid) x(i int) float64 { return g.x0 + (float64(i)+0.5)*g.step }

// mostBins keeps the work small whatever the record's length.
const mostBins = 8192

// gridOf puts a signal into bins no finer than its usual sampling. Bins without
// a reading are on a straight line between their neighbours.
func gridOf(s signal, usual float64, window units.Time) grid {
	n := len(s.x)
	span := s.x[n-1] - s.x[0]
	bins := mostBins
	if usual > 0 {
		bins = min(bins, int(span/usual)+1)
	}
	bins = max(bins, 2)
	g := grid{x0: s.x[0], step: span / float64(bins), y: make([]float64, bins)}
	var buffer []float64
	last := -1
	for i, b := 0, 0; b < bins; b++ {
		end := g.x0 + float64(b+1)*g.step
		buffer = buffer[:0]
		for ; i < n && (s.x[i] < end || b == bins-1); i++ {
			buffer = append(buffer, s.y[i])
		}
		if len(buffer) == 0 {
			continue
		}
		g.y[b] = medianOf(buffer)
		for k := last + 1; k < b; k++ { // the empty ones before
			g.y[k] = g.y[b]
			if last >= 0 {
				g.y[k] = g.y[last] + (g.y[b]-g.y[last])*float64(k-last)/float64(b-last)
			}
		}
		last = b
	}
	half := int(float64(window) / 4 / g.step)
	g.calm = movingMedian(g.y, min(max(half, 1), 50))
	return g
}

// movingMedian returns the median over 2·half+1 values around each, fewer at the
// ends.
func movingMedian(y []float64, half int) []float64 {
	out := make([]float64, len(y))
	window := make([]float64, 0, 2*half+2) // sorted
	for i := -half; i < len(y); i++ {
		if j := i + half; j < len(y) {
			k := sort.SearchFloat64s(window, y[j])
			window = append(window, 0)
			copy(window[k+1:], window[k:])
			window[k] = y[j]
		}
		if j := i - half - 1; j >= 0 {
			k := sort.SearchFloat64s(window, y[j])
			window = append(window[:k], window[k+1:]...)
		}
		if i >= 0 {
			m := len(window) / 2
			out[i] = window[m]
			if len(window)%2 == 0 {
				out[i] = (window[m-1] + window[m]) / 2
			}
		}
	}
	return out
}

// noise returns the standard deviation of the bins about their slow course, from
// the median of the second differences: neither steps nor ramps are noise.
func (g grid) noise() float64 {
	if len(g.y) < 3 {
		return 0
	}
	d := make([]float64, len(g.y)-2)
	for i := range d {
		d[i] = math.Abs(g.y[i+2] - 2*g.y[i+1] + g.y[i])
	}
	return 1.4826 / math.Sqrt(6) * medianOf(d)
}

// plateaus finds the plateaus that last at least shortest. Two levels differ if
// they are apart by more than the part rel of the level, the distance floor and
// three times the noise.
func (g grid) plateaus(shortest units.Time, rel, floor float64) []plateau {
	floor = math.Max(floor, 3*g.noise())
	apart := func(level float64) float64 { return math.Max(floor, rel*math.Abs(level)) }
	confirm := max(2, int(float64(shortest)/4/g.step))

	// Grow a stretch until the signal has left its level for good.
	type stretch struct{ first, end int }
	var found []stretch
	for first := 0; first < len(g.calm); {
		sum, n, away, end := 0.0, 0, 0, len(g.calm)
		for i := first; i < len(g.calm); i++ {
			v := g.calm[i]
			if n > 0 && math.Abs(v-sum/float64(n)) > apart(sum/float64(n)) {
				if away++; away >= confirm {
					end = i - away + 1
					break
				}
				continue
			}
			away, sum, n = 0, sum+v, n+1
		}
		if float64(end-first)*g.step >= float64(shortest) {
			found = append(found, stretch{first, end})
		}
		first = end
	}
	level := func(s stretch) float64 { return medianOf(append([]float64(nil), g.calm[s.first:s.end]...)) }

	// Join what is at one level and was broken by a disturbance only: a short one,
	// or one that is no stop.
	var joined []stretch
	for _, s := range found {
		if len(joined) > 0 {
			last := &joined[len(joined)-1]
			a, b := level(*last), level(s)
			low, high := extremes(g.calm[last.end-1 : s.first+1])
			swing := math.Max(math.Abs(low-a), math.Abs(high-a))
			short := float64(s.first-last.end)*g.step < float64(shortest)/2
			if math.Abs(a-b) <= apart((a+b)/2) && (short || swing <= math.Max(3*apart(a), math.Abs(a)/2)) {
				last.end = s.end
				continue
			}
		}
		joined = append(joined, s)
	}

	out := make([]plateau, len(joined))
	for i, s := range joined {
		out[i] = plateau{start: g.x0, end: g.x0 + float64(len(g.y))*g.step, level: level(s)}
		if i > 0 {
			x := g.halfWay(joined[i-1].end-1, s.first, out[i-1].level, out[i].level)
			out[i-1].end, out[i].start = x, x
		}
	}
	for i := range out {
		p := &out[i]
		near := 2 * apart(p.level)
		a, b := g.bin(p.start), g.bin(p.end)
		for a < b && math.Abs(g.y[a]-p.level) > near {
			a++
		}
		for b > a && math.Abs(g.y[b]-p.level) > near {
			b--
		}
		// One bin more: the change may reach into the first and the last.
		p.from, p.to = math.Max(p.start, g.x(a)), math.Min(p.end, g.x(b))
	}
	return out
}

func (g grid) bin(x float64) int {
	return min(max(int((x-g.x0)/g.step), 0), len(g.y)-1)
}

// halfWay returns the time at which the signal passes the middle between two
// levels for good, from about bin i to about bin j.
func (g grid) halfWay(i, j int, a, b float64) float64 {
	middle := (a + b) / 2
	beyond := func(k int) bool { return (g.y[k] > middle) == (b > a) }
	for i > 0 && beyond(i) {
		i--
	}
	for j < len(g.y)-1 && !beyond(j) {
		j++
	}
	for k := i; k < j; k++ {
		if beyond(k) && beyond(k+1) {
			if k == 0 {
				return g.x0
			}
			part := (middle - g.y[k-1]) / (g.y[k] - g.y[k-1])
			return g.x(k-1) + math.Min(math.Max(part, 0), 1)*g.step
		}
	}
	return g.x(j)
}
