package plan

import (
	"fmt"
	"math"
	"slices"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/steps"
	"github.com/evenbed/evenbed/packing/units"
)

// cut finds the steps and the movements of the adapter. It refuses a flow that is
// nowhere constant.
func (w *reviewer) cut() error {
	s, f := w.f.signals, w.f
	if least := 3 * units.Time(steps.Spacing(s.velocity.x)); w.r.ShortestPlateau < least {
		w.r.ShortestPlateau = least
		w.taken("shortest stretch of constant flow %v, three readings", least)
	}
	if err := w.moves(); err != nil {
		return err
	}
	if w.r.StepsBy == StepsByAdapter {
		if err := w.cutByAdapter(); err != nil {
			return err
		}
	} else if err := w.cutByLevel(); err != nil {
		return err
	}
	if f.Compressions == 0 {
		w.notJudged("compression: no step with a %s clearly above that of the first was found", w.r.StepsBy)
	}
	for i := range f.Steps {
		w.measure(&f.Steps[i])
	}
	return nil
}

// cutByLevel finds the steps in the levels of the flow, or of the pressure that
// was set.
func (w *reviewer) cutByLevel() error {
	told := w.f.signals.velocity
	if w.r.StepsBy == StepsByPressure {
		told = w.f.signals.pressure
	}
	most := steps.Rank(slices.Clone(told.y), len(told.y)*99/100) // which single readings do not make
	flats, err := steps.Finder{Shortest: float64(w.r.ShortestPlateau), Within: 0.005 * most, Part: float64(w.r.FlowTolerance), Ties: true}.Plateaus(told.x, told.y)
	if err != nil {
		return w.noPlateaus(w.r.StepsBy.String(), err)
	}
	if len(flats) == 0 {
		return &packing.InputError{Where: w.run.Label, What: w.r.StepsBy.String(), Problem: fmt.Sprintf("it is nowhere constant within %v for %v", w.r.FlowTolerance, w.r.ShortestPlateau),
			Remedy: "look at the record; if it pulsates, give a larger FlowTolerance"}
	}
	rest, high := w.bounds(flats)
	w.name(flats, rest, high)
	return nil
}

// moves lists the movements of the adapter between its places of rest.
func (w *reviewer) moves() error {
	adapter := w.f.signals.adapter
	within := 0.5 * units.Millimetre
	if w.r.StepsBy == StepsByAdapter { // its slow travel is what counts
		within = 0.1 * units.Millimetre
	}
	places, err := steps.Finder{Shortest: float64(w.r.ShortestPlateau / 2), Within: float64(within), Ties: true}.Plateaus(adapter.x, adapter.y)
	if err != nil {
		return w.noPlateaus("adapter", err)
	}
	if w.r.StepsBy == StepsByAdapter {
		places = slices.DeleteFunc(places, func(p steps.Plateau) bool { // a piece of slow travel is no rest
			third := (p.To - p.From) / 3
			return math.Abs(adapter.median(p.From, p.From+third)-adapter.median(p.To-third, p.To)) > float64(within)
		})
	}
	for i := 1; i < len(places); i++ {
		a, b := places[i-1], places[i]
		m := AdapterMove{Start: units.Time(a.To), End: units.Time(b.From), From: units.Length(a.Level), To: units.Length(b.Level)}
		m.Speed = (m.From - m.To).Within(m.End - m.Start)
		if w.run.typed != nil { // a row says from where to where, not how fast
			m.Speed = units.Velocity(nan)
		}
		w.f.Moves = append(w.f.Moves, m)
	}
	return nil
}

func (w *reviewer) noPlateaus(what string, err error) error {
	return &packing.InputError{Where: w.run.Label, What: what, Problem: err.Error(), Remedy: "leave out the rows in which it was not read"}
}

// bounds returns the level below which flow or pressure rests, and the one from
// which it compresses: half way, in proportion, between first and second step; of
// the plan, if there is one, else of the record. It is infinite if the record
// holds one kind of flow only.
func (w *reviewer) bounds(flats []steps.Plateau) (rest, high float64) {
	most := 0.0
	for _, p := range flats {
		most = math.Max(most, p.Level)
	}
	rest = most / 100
	if w.planned {
		first, second := float64(w.r.Plan.First.Velocity), float64(w.r.Plan.Second.Velocity)
		if w.r.StepsBy == StepsByPressure {
			first = float64(w.r.Plan.Request.PackingPressure) / pressureSteps
			second = 2 * first
		}
		if second > first {
			return first / 4, math.Sqrt(first * second)
		}
	}
	least := math.Inf(1)
	for _, p := range flats {
		if p.Level > rest {
			least = math.Min(least, p.Level)
		}
	}
	if most < 2*least {
		return rest, math.Inf(1)
	}
	if w.r.StepsBy == StepsByPressure {
		first := flats[slices.IndexFunc(flats, func(p steps.Plateau) bool { return p.Level > rest })].Level
		next := most
		for _, p := range flats {
			if p.Level > 1.2*first {
				next = math.Min(next, p.Level)
			}
		}
		w.taken("pressures from %v on compress, lower ones do not (half way, in proportion, between the first that was set and the next higher one)", units.Pressure(math.Sqrt(first*next)))
		return rest, math.Sqrt(first * next)
	}
	w.taken("velocities from %v on compress, lower ones do not (half way, in proportion, between the least and the most that was recorded)", units.Velocity(math.Sqrt(least*most)))
	return rest, math.Sqrt(least * most)
}

// name makes steps of the plateaus of the flow.
func (w *reviewer) name(flats []steps.Plateau, rest, high float64) {
	f := w.f
	byPressure := w.r.StepsBy == StepsByPressure
	loose, stopped, set, highest := false, true, 0, 0.0
	compressing := func(p steps.Plateau) bool {
		if f.Compressions == 0 || byPressure && !stopped {
			return p.Level >= high
		}
		return p.Level >= 0.75*highest // about as much as before
	}
	for i, p := range flats {
		s := Step{Start: units.Time(p.Start), End: units.Time(p.Finish), from: p.From, to: p.To}
		switch {
		case p.Level <= rest && f.Compressions > 0:
			s.Kind, s.Name = Stop, "stop, lowering"
			if f.Steps[len(f.Steps)-1].Kind != Compression {
				s.Kind, s.Name = Waiting, "flow off"
			} else if f.Compressions > 1 {
				s.Name = "stop, lowering again"
			}
			stopped = true
		case p.Level <= rest && loose && i+1 < len(flats) && compressing(flats[i+1]):
			s.Kind, s.Name = AdapterDown, "flow off"
			for _, m := range f.Moves {
				if m.End > s.Start && m.Start < s.End {
					s.Name = "flow off, adapter"
				}
			}
		case p.Level <= rest && loose:
			s.Name = "flow off"
			if i+1 < len(flats) {
				w.doubt("Step 1 was interrupted from %v to %v.", s.Start, s.End)
			}
		case p.Level <= rest:
			s.Name = "before the flow"
		case compressing(p):
			s.Kind = Compression
			if stopped || f.Compressions == 0 {
				f.Compressions++
			}
			stopped, highest = false, math.Max(highest, p.Level)
			set++
			s.Name = fmt.Sprintf("step %d, compress", f.Compressions+1)
			if byPressure {
				s.Name = fmt.Sprintf("pressure %d, compress", set+1)
			}
			if f.Compressions > 1 {
				s.Name += " again"
			}
		case f.Compressions > 0:
			s.Kind, s.Name = LaterFlow, "flow afterwards"
		default:
			s.Kind, s.Name = LooseBed, "step 1, loose bed"
			if byPressure {
				s.Name = "pressure 1, loose bed"
			}
			loose = true
		}
		f.Steps = append(f.Steps, s)
	}
	if !loose {
		w.notJudged("loose bed: no low flow before the compression was found")
	}
	for i, in := 1, 1; i < len(f.Steps); i++ {
		if in++; f.Steps[i].Name != f.Steps[i-1].Name {
			in = 1
		}
		if in == tooMany {
			w.doubt("The flow goes up or down in more than %d stretches of \"%s\": a ramp, or a flow that does not settle. Steps are told by constant flow; what is found of them and of the settled height is not sure. A larger FlowTolerance makes fewer.", tooMany-1, f.Steps[i].Name)
			break
		}
	}
}

// tooMany is the number of stretches of one kind in a row that are no longer a
// staircase of flows.
const tooMany = 6

// measure fills in the numbers of a step.
func (w *reviewer) measure(s *Step) {
	sig, area := w.f.signals, w.r.Column.Area()
	s.Duration = s.End - s.Start
	end := s.to - math.Min(30, (s.to-s.from)/5)
	told, from := sig.velocity, s.from
	switch by := w.r.StepsBy; {
	case by == StepsByPressure: // the flow falls until then
		from = s.to - math.Min(60, (s.to-s.from)/5)
	case by == StepsByAdapter && s.Kind == Compression:
		told = sig.adapter.falling(s.from, s.to)
	}
	mean, sd := told.meanSD(from, s.to)
	s.Velocity, s.VelocitySD = units.Velocity(mean), units.Velocity(sd)
	if w.run.typed != nil && w.r.StepsBy == StepsByAdapter && s.Kind == Compression {
		s.Velocity, s.VelocitySD = units.Velocity(nan), units.Velocity(nan)
	}
	s.Flow, s.FlowSD = s.Velocity.Across(area), s.VelocitySD.Across(area)
	if w.r.StepsBy == StepsByAdapter && s.Kind == Compression {
		s.Volume = area.Filled(units.Length(sig.adapter.at(s.from) - sig.adapter.at(s.to)))
	} else {
		s.Volume = area.Filled(units.Length(sig.velocity.integral(float64(s.Start), float64(s.End))))
	}
	s.ColumnVolumes = s.Volume.In(w.r.Column.Volume(w.r.BedHeight))
	s.Pressure = units.Pressure(sig.pressure.median(end, s.to))
	s.Adapter = units.Length(sig.adapter.median(end, s.to))
	s.Height = units.Length(sig.bed.median(end, s.to))
	if !sig.bed.recorded() {
		s.Height = w.reading(float64(s.Start), float64(s.End))
	}
}

// reading returns the last height read by eye from one time to another.
func (w *reviewer) reading(from, to float64) units.Length {
	h := units.Length(math.NaN())
	for _, r := range w.run.Readings {
		if at := float64(r.At); at >= from && at <= to {
			h = r.Height
		}
	}
	return h
}

// step returns the last step of a kind, or nil.
func (f *Findings) step(kind StepKind) *Step {
	for i := len(f.Steps) - 1; i >= 0; i-- {
		if f.Steps[i].Kind == kind {
			return &f.Steps[i]
		}
	}
	return nil
}

// steadiness judges the end of each step with flow that forms or compresses the
// bed.
func (w *reviewer) steadiness() {
	for i := range w.f.Steps {
		s := &w.f.Steps[i]
		unknown(&s.Steadiness)
		if w.r.StepsBy == StepsByAdapter {
			if s.Kind == LooseBed || s.Kind == Stop {
				w.judgeHeight(s, s.Kind == LooseBed || i+1 == len(w.f.Steps))
			}
			continue
		}
		if s.Kind == LooseBed || s.Kind == Compression {
			// Of several in a row the last one is told.
			w.judgeEnd(s, i+1 == len(w.f.Steps) || w.f.Steps[i+1].Name != s.Name)
		}
	}
}

// tooShort says that a step lasted for a shorter time than the criterion.
func (w *reviewer) tooShort(s *Step) string {
	if s.to-s.from < float64(w.r.Steady.Over) {
		return fmt.Sprintf("it lasted %v at constant %s, less than %v", units.Time(s.to-s.from), w.r.StepsBy, w.r.Steady.Over)
	}
	return ""
}

// judgeHeight judges the height at the end of a step.
func (w *reviewer) judgeHeight(s *Step, tell bool) {
	sig, c, k := w.f.signals, w.r.Steady, &s.Steadiness
	change, se := math.NaN(), math.NaN()
	switch short := w.tooShort(s); {
	case short != "":
		k.HeightWhy = short
	case sig.bed.recorded():
		change, se, k.HeightWhy = sig.bed.drift(s.to-float64(c.Over), s.to)
	default:
		change, se, k.HeightWhy = w.readingDrift(s)
	}
	k.Height, k.HeightStdErr = units.Length(change), units.Length(se)
	k.HeightIs, k.HeightWhy = verdictOf(change, se, float64(c.Height), k.HeightWhy)
	if tell && k.HeightIs == NotJudged {
		w.notJudged("whether the height was steady at the end of %s (%s)", s.Name, k.HeightWhy)
	}
}

func (w *reviewer) judgeEnd(s *Step, tell bool) {
	w.judgeHeight(s, tell)
	sig, c, k := w.f.signals, w.r.Steady, &s.Steadiness
	short, from := w.tooShort(s), s.to-float64(c.Over)

	change, se := math.NaN(), math.NaN()
	switch {
	case short != "":
		k.PressureWhy = short
	case w.run.typed != nil:
		change, se, k.PressureWhy = w.typedDrift(s, func(r TypedRow) float64 { return float64(r.Pressure) })
	case sig.pressure.recorded():
		change, se, k.PressureWhy = sig.pressure.drift(from, s.to)
	default:
		k.PressureWhy = "no pressure was recorded"
	}
	level := sig.pressure.median(from, s.to)
	if level <= 0 {
		k.PressureWhy = "the gauge reads no pressure"
	}
	k.Pressure, k.PressureStdErr = units.Fraction(change/level), units.Fraction(se/level)
	k.PressureIs, k.PressureWhy = verdictOf(change/level, se/level, float64(c.Pressure), k.PressureWhy)

	if w.r.StepsBy == StepsByPressure {
		change, se = math.NaN(), math.NaN()
		if k.FlowWhy = short; short == "" && w.run.typed != nil {
			change, se, k.FlowWhy = w.typedDrift(s, func(r TypedRow) float64 { return float64(w.r.Column.Velocity(r.Flow)) })
		} else if short == "" {
			change, se, k.FlowWhy = sig.velocity.drift(from, s.to)
		}
		level := sig.velocity.median(from, s.to)
		k.Flow, k.FlowStdErr = units.Fraction(change/level), units.Fraction(se/level)
		k.FlowIs, k.FlowWhy = verdictOf(change/level, se/level, float64(c.Pressure), k.FlowWhy)
		if tell && k.FlowIs == NotJudged {
			w.notJudged("whether the flow was steady at the end of %s (%s)", s.Name, k.FlowWhy)
		}
	}
	if tell && k.PressureIs == NotJudged {
		w.notJudged("whether the pressure was steady at the end of %s (%s)", s.Name, k.PressureWhy)
	}
}

// verdictOf judges a change with its standard error, if that is known: it is not
// judged where twice the error would hide what is allowed.
func verdictOf(change, se, allowed float64, why string) (Verdict, string) {
	d := math.Abs(change)
	if math.IsNaN(se) {
		se = 0
	}
	switch {
	case why != "":
		return NotJudged, why
	case math.IsNaN(d):
		return NotJudged, number.Missing
	case d > allowed+2*se:
		return Outside, ""
	case d <= allowed && 2*se <= allowed:
		return Within, ""
	}
	return NotJudged, "noise hides it"
}

// drift returns the change of the signal from one time to another by a straight
// line through medians of equal stretches, which single readings do not move,
// with its standard error from their scatter.
func (s signal) drift(from, to float64) (change, se float64, why string) {
	const parts = 15
	i, j := s.within(from, to)
	n := min(parts, (j-i)/3)
	if n < 5 {
		return math.NaN(), math.NaN(), fmt.Sprintf("%d readings in %v are too few", j-i, units.Time(to-from))
	}
	var x, y [parts]float64
	mx, my := 0.0, 0.0
	for k := range n {
		a, b := i+(j-i)*k/n, i+(j-i)*(k+1)/n
		x[k] = (s.x[a] + s.x[b-1]) / 2
		y[k] = steps.Median(slices.Clone(s.y[a:b]))
		mx, my = mx+x[k]/float64(n), my+y[k]/float64(n)
	}
	sxx, sxy := 0.0, 0.0
	for k := range n {
		sxx += (x[k] - mx) * (x[k] - mx)
		sxy += (x[k] - mx) * (y[k] - my)
	}
	slope, rss := sxy/sxx, 0.0
	for k := range n {
		d := y[k] - my - slope*(x[k]-mx)
		rss += d * d
	}
	return slope * (to - from), math.Sqrt(rss/float64(n-2)/sxx) * (to - from), ""
}

// readingDrift is drift from heights read by eye: the last one of the step
// against the latest that is at least the time of the criterion earlier. How well
// two readings off one ruler differ is not known, so they are taken as read.
func (w *reviewer) readingDrift(s *Step) (change, se float64, why string) {
	last := -1
	for i, r := range w.run.Readings {
		if r.At >= s.Start && r.At <= s.End {
			last = i
		}
	}
	nan := math.NaN()
	if last < 0 {
		return nan, nan, "no height is known"
	}
	for i := last - 1; i >= 0 && w.run.Readings[i].At >= s.Start; i-- {
		a, b := w.run.Readings[i], w.run.Readings[last]
		if b.At-a.At >= w.r.Steady.Over {
			// Per the time of the criterion.
			part := w.r.Steady.Over.In(b.At - a.At)
			return float64(b.Height-a.Height) * part, nan, ""
		}
	}
	return nan, nan, fmt.Sprintf("it needs two readings %v apart", w.r.Steady.Over)
}

// heights finds settled and packed bed and the compression factor.
func (w *reviewer) heights() {
	f, r := w.f, w.r
	w.settled()
	w.packed()
	l, ul := float64(f.BedHeight), float64(f.BedHeightStdErr)
	if l > 0 && f.SettledHeight > 0 {
		f.CompressionFactor = float64(f.SettledHeight) / l
		f.CompressionFactorStdErr = f.CompressionFactor * math.Hypot(f.SettledHeightStdErr.In(f.SettledHeight), ul/l)
	}
	if r.SlurryPoured > 0 && l > 0 {
		if by, err := w.bySlurry(f.BedHeight); err == nil {
			f.BySlurry, f.BySlurryStdErr = by.CompressionFactor, by.StdErr
		} else {
			w.notJudged("compression factor from the slurry (%v)", err)
		}
	}
	switch {
	case r.SlurryPoured == 0:
		w.notJudged("compression factor from the slurry (no SlurryPoured given)")
	case f.CompressionFactor > 0:
		if d, u := f.BySlurry-f.CompressionFactor, math.Hypot(f.BySlurryStdErr, f.CompressionFactorStdErr); math.Abs(d) > 2*u {
			w.doubt("The slurry gives a compression factor of %.3f ± %.3f, the heights %.3f ± %.3f: they differ by more than twice their errors. Look for slurry left in tank and hoses, a wrong concentration, or a bed that had not settled.",
				f.BySlurry, f.BySlurryStdErr, f.CompressionFactor, f.CompressionFactorStdErr)
		}
	}
}

// bySlurry returns the compression factor of a bed from the slurry poured.
func (w *reviewer) bySlurry(height units.Length) (packing.PackedResult, error) {
	r := w.r
	return packing.Packed{Column: r.Column, Slurry: r.Slurry, SlurryStdErr: r.SlurryStdErr,
		Poured: r.SlurryPoured, PouredStdErr: r.PouredStdErr, Height: height, HeightStdErr: r.HeightStdErr}.Evaluate()
}

// curve returns the measured curve, in the packing liquid as far as both
// viscosities are known.
func (w *reviewer) curve() bed.Curve {
	c := w.r.Curve
	if mu := w.r.Plan.Viscosity; w.planned && c.Viscosity > 0 && mu > 0 {
		if here, err := c.WithViscosity(mu); err == nil {
			return here
		}
	}
	return c
}

// settled finds the settled height from the end of step 1.
func (w *reviewer) settled() {
	f, r := w.f, w.r
	if t := w.run.typed; t != nil && t.Settled > 0 {
		w.typedSettled(t)
		return
	}
	s := f.step(LooseBed)
	if s == nil {
		return
	}
	switch {
	case math.IsNaN(float64(s.Height)):
		w.notJudged("settled height (no bed height at the end of step 1)")
		return
	case s.Steadiness.HeightIs == Outside:
		w.notJudged("settled height (the bed was still changing by %.1f mm in %v when step 1 ended)", s.Steadiness.Height.In(units.Millimetre), r.Steady.Over)
		return
	}
	factor := 1.0
	if r.StepsBy == StepsByAdapter && s.Velocity == 0 {
		w.taken("the height at the end of settling as the settled height, at rest")
	} else if len(r.Curve.Points) > 0 {
		if at, err := w.curve().At(s.Velocity); err == nil {
			factor = at.CompressionFactor
		} else {
			w.doubt("The height after step 1 could not be brought to rest: %v.", err)
		}
	} else {
		w.taken("the height under the first flow as the settled height (no curve to bring it to rest with; the compression factor comes out a little low)")
	}
	f.SettledHeight = s.Height.Times(factor)
	f.SettledHeightStdErr = r.HeightStdErr.Times(factor)
}

// typedSettled takes the settled height that was written down, at rest or brought
// there from the flow under which it was read.
func (w *reviewer) typedSettled(t *Typed) {
	factor := 1.0
	if t.SettledUnder > 0 {
		at, err := w.curve().At(t.SettledUnder)
		if err != nil {
			w.taken("the height under %v as the settled height (no curve to bring it to rest with; the compression factor comes out a little low)", t.SettledUnder)
		} else {
			factor = at.CompressionFactor
		}
	}
	w.f.SettledHeight = (t.Settled - t.RulerZero).Times(factor)
	w.f.SettledHeightStdErr = w.r.HeightStdErr.Times(factor)
}

// packed finds the height of the packed bed at the end of the record.
func (w *reviewer) packed() {
	f, r, sig := w.f, w.r, w.f.signals
	f.BedHeightStdErr = r.HeightStdErr
	last := f.step(Compression)
	if last == nil {
		f.BedHeightStdErr = units.Length(math.NaN())
		return
	}
	stop := f.step(Stop)
	if stop == nil || stop.Start < last.Start {
		w.notJudged("packed height (the record ends before the flow stops)")
		f.BedHeightStdErr = units.Length(math.NaN())
		return
	}
	end := f.Steps[len(f.Steps)-1]
	from := end.to - math.Min(30, (end.to-end.from)/5)
	height, adapter := units.Length(sig.bed.median(from, end.to)), units.Length(sig.adapter.median(from, end.to))
	if !sig.bed.recorded() {
		height = w.reading(float64(stop.Start), end.to)
	}
	before := units.Length(sig.adapter.median(last.from, last.to))
	if first := f.firstCompression(); first != nil {
		before = units.Length(sig.adapter.median(first.from, first.to))
		if r.StepsBy == StepsByAdapter {
			before = units.Length(sig.adapter.at(first.from))
		}
	}
	f.Travel = before - adapter
	f.Gap = adapter - height
	switch {
	case !math.IsNaN(float64(height)):
		f.BedHeight, f.BedHeightFrom = height, "bed height"
		if !sig.bed.recorded() {
			f.BedHeightFrom = "height read by eye"
		}
	case !math.IsNaN(float64(adapter)) && f.Travel > r.Tolerances.Mark:
		f.BedHeight, f.BedHeightFrom = adapter, "adapter, taken to touch the bed"
		w.taken("the adapter's position as the height of the packed bed (no bed height after the stop)")
	default:
		f.BedHeightStdErr = units.Length(math.NaN())
		w.notJudged("packed height (neither bed height nor a movement of the adapter after the compression)")
	}
	if math.IsNaN(float64(f.Gap)) {
		w.notJudged("gap between bed and adapter (it needs both positions)")
	}
	if math.IsNaN(float64(f.Travel)) {
		w.notJudged("travel of the adapter (no position of the adapter)")
	}
	if d := height - adapter; d > 2*units.Millimetre {
		w.doubt("The bed stands %.1f mm above the adapter's lower face: one of the two is read from another zero.", d.In(units.Millimetre))
	}
}

// firstCompression returns the first compression step, or nil.
func (f *Findings) firstCompression() *Step {
	for i := range f.Steps {
		if f.Steps[i].Kind == Compression {
			return &f.Steps[i]
		}
	}
	return nil
}
