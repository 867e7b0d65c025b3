package plan

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/units"
)

// limits holds every limit against the most that was recorded.
func (w *reviewer) limits() {
	f, r, sig := w.f, w.r, w.f.signals
	var missing []string
	_, most := extremes(sig.pressure.y)
	dead := sig.pressure.recorded() && units.Pressure(most) < leastPressure
	if dead {
		w.doubt("The pressure goes up to no more than %v: look at the gauge and at the unit of the trace.", units.Pressure(most))
	}
	for _, l := range []struct {
		name  string
		limit units.Pressure
	}{
		{bedLimit + mediumName(r.Medium), r.Medium.MaxBedPressure}, {columnLimit, r.Column.MaxPressure}, {tubeLimit, r.Limits.TubePressure},
		{"pump", r.Limits.PumpPressure}, {"relief device", r.Limits.ReliefPressure}, {"system", r.Limits.SystemPressure},
	} {
		switch {
		case l.limit == 0:
			missing = append(missing, "pressure of the "+l.name)
			continue
		case !sig.pressure.recorded():
			w.notJudged("pressure limit of the %s, %s bar (no pressure was recorded)", l.name, bar(l.limit))
			f.Pressures = append(f.Pressures, LimitCheck{Name: l.name, Limit: float64(l.limit), Most: math.NaN(), At: units.Time(math.NaN()), Over: units.Time(math.NaN())})
			continue
		}
		c := sig.pressure.check(l.name, float64(l.limit))
		if dead {
			c.Verdict = NotJudged
			w.notJudged("pressure limit of the %s, %s bar (the gauge reads no more than %v)", l.name, bar(l.limit), units.Pressure(most))
		}
		f.Pressures = append(f.Pressures, c)
	}
	for _, l := range []struct {
		name  string
		limit units.Velocity
	}{
		{"velocity of " + mediumName(r.Medium), r.Medium.MaxVelocity}, {"flow of the pump", r.Column.Velocity(r.Limits.PumpFlow)},
	} {
		if l.limit == 0 {
			missing = append(missing, l.name)
			continue
		}
		f.Flows = append(f.Flows, sig.velocity.check(l.name, float64(l.limit)))
	}
	if len(missing) > 0 {
		w.notJudged("limits that were not given: %s", strings.Join(missing, ", "))
	}
	for _, l := range [][]LimitCheck{f.Pressures, f.Flows} {
		sort.SliceStable(l, func(i, j int) bool { return l[i].Limit < l[j].Limit })
	}
	if sig.pressure.recorded() {
		w.atRest()
	}
}

// leastPressure is what a gauge that works shows somewhere in a pack, 1 mbar
// (common practice, no source).
const leastPressure = 100 * units.Pascal

// Names of the limits that decide about the bed and the column.
const (
	bedLimit    = "bed of "
	columnLimit = "column"
	tubeLimit   = "tube"
)

// check compares the highest reading with a limit, and adds up the time above it.
func (s signal) check(name string, limit float64) LimitCheck {
	c := LimitCheck{Name: name, Limit: limit, Most: math.Inf(-1), Verdict: Within}
	for i, y := range s.y {
		if y > c.Most {
			c.Most, c.At = y, units.Time(s.x[i])
		}
	}
	if c.Most <= limit {
		return c
	}
	c.Verdict = Outside
	for i, y := range s.y { // each reading stands for half the way to its neighbours
		if y > limit {
			a, b := s.x[max(i-1, 0)], s.x[min(i+1, len(s.x)-1)]
			c.Over += units.Time((b - a) / 2)
		}
	}
	return c
}

// atRest looks at the gauge while nothing flows.
func (w *reviewer) atRest() {
	for _, s := range w.f.Steps {
		if s.Kind == LooseBed || s.Kind == Compression || s.Kind == LaterFlow {
			continue
		}
		compressing := w.f.step(Compression)
		if compressing == nil || math.IsNaN(float64(s.Pressure)) {
			continue
		}
		if part := s.Pressure.In(compressing.Pressure); math.Abs(part) > 0.05 {
			w.doubt("The gauge reads %s bar in \"%s\", without flow: its zero is in all pressures (or the adapter's load is).", number.Significant(s.Pressure.In(units.Bar), 2), s.Name)
			return
		}
	}
}

// deviations holds what was found against the plan.
func (w *reviewer) deviations() {
	f, r := w.f, w.r
	t, p := r.Tolerances, r.Plan
	nan := math.NaN()
	add := func(what, unit string, planned, found, allowed float64) *Deviation {
		d := Deviation{What: what, Unit: unit, Planned: planned, Found: found, Allowed: allowed}
		switch {
		case math.IsNaN(found):
			d.Why = number.Missing
		case math.IsNaN(planned):
			d.Why = "not planned"
		case math.Abs(found-planned) <= allowed*(1+1e-9):
			d.Verdict = Within
		default:
			d.Verdict = Outside
		}
		f.Deviations = append(f.Deviations, d)
		return &f.Deviations[len(f.Deviations)-1]
	}
	relative := func(what, unit string, planned, found float64, part units.Fraction) *Deviation {
		return add(what, unit, planned, found, math.Abs(planned)*float64(part))
	}
	of := func(s *Step, read func(s *Step) float64) float64 {
		if s == nil {
			return nan
		}
		return read(s)
	}
	speed := func(s *Step) float64 { return s.Velocity.In(units.CentimetrePerHour) }
	pressure := func(s *Step) float64 { return s.Pressure.In(units.Bar) }
	height := func(s *Step) float64 { return s.Height.In(units.Centimetre) }
	one, two := f.step(LooseBed), f.step(Compression)
	cm := units.Centimetre

	unit, oneVolume, _ := volumeUnit(r.Column)
	if r.SlurryPoured > 0 && w.planned {
		relative("slurry poured", unit, p.Pour.SlurryVolume.In(oneVolume), r.SlurryPoured.In(oneVolume), t.Volume)
	}
	if w.planned && (r.StepsBy != StepsByAdapter || p.First.Velocity > 0) {
		relative("velocity of step 1", "cm/h", p.First.Velocity.In(units.CentimetrePerHour), of(one, speed), t.Velocity)
		volume := nan
		for _, s := range f.Steps {
			if s.Kind == LooseBed {
				if math.IsNaN(volume) {
					volume = 0
				}
				volume += s.Volume.In(oneVolume)
			}
		}
		d := relative("volume of step 1", unit, p.First.Volume.In(oneVolume), volume, t.Volume)
		if d.Verdict == Outside && d.Found > d.Planned {
			d.Verdict, d.Why = Within, "more does no harm"
		}
		relative("pressure of step 1", "bar", p.First.Pressure.In(units.Bar), of(one, pressure), t.Pressure)
		relative("bed under flow, step 1", "cm", p.First.BedHeight.In(cm), of(one, height), t.Height)
	}
	relative("settled bed", "cm", r.BedHeight.Times(r.CompressionFactor).In(cm), f.SettledHeight.In(cm), t.Height)
	if w.planned {
		if a := p.Adapter; r.StepsBy == StepsByAdapter {
			relative("speed of the adapter", "cm/h", a.Speed.In(units.CentimetrePerHour), of(two, speed), t.Velocity)
			add("travel of the adapter on the bed", "cm", (a.From - a.To).In(cm), f.Travel.In(cm), t.Mark.In(cm))
		} else {
			relative("velocity of the compression", "cm/h", p.Second.Velocity.In(units.CentimetrePerHour), of(two, speed), t.Velocity)
			relative("pressure of the compression", "bar", p.Second.Pressure.In(units.Bar), of(two, pressure), t.Pressure)
			relative("bed under flow, compression", "cm", p.Second.BedHeight.In(cm), of(two, height), t.Height)
			left := nan
			if one != nil {
				left = (one.Height - f.BedHeight).In(cm)
			}
			d := add("from the bed of step 1 to the target", "cm", p.Second.AdapterTravel.In(cm), left, nan)
			if d.Verdict == Outside { // nothing allowed: shown only
				d.Verdict, d.Why = NotJudged, "the target is judged"
			}
		}
	}
	add("packed bed", "cm", r.BedHeight.In(cm), f.BedHeight.In(cm), t.Mark.In(cm))
	cf, u := w.factor()
	d := add("compression factor", "", r.CompressionFactor, cf, t.CompressionFactor)
	if d.Verdict != NotJudged && math.Abs(math.Abs(cf-r.CompressionFactor)-t.CompressionFactor) < 2*u {
		d.Why = fmt.Sprintf("its error, %.3f, leaves it open", u)
		w.doubt("The compression factor is %s %v of %v, but its error of %.3f leaves that open.", d.Verdict, t.CompressionFactor, r.CompressionFactor, u)
	}
}

// factor returns the compression factor that counts: from the heights, or, if
// there is none, from the slurry.
func (w *reviewer) factor() (cf, stdErr float64) {
	if f := w.f; math.IsNaN(f.CompressionFactor) {
		return f.BySlurry, f.BySlurryStdErr
	}
	return w.f.CompressionFactor, w.f.CompressionFactorStdErr
}

func (w *reviewer) reason(format string, a ...any) {
	w.f.Reasons = append(w.f.Reasons, fmt.Sprintf(format, a...))
}

// decide finds the advice, the gravest first.
func (w *reviewer) decide() {
	f, r := w.f, w.r
	t := r.Tolerances
	for _, l := range f.Pressures {
		if l.Verdict != Outside {
			continue
		}
		most := fmt.Sprintf("the pressure reached %.3g bar at %s and was above the limit of the %s, %s bar, for %s",
			units.Pressure(l.Most).In(units.Bar), minutes(l.At), l.Name, bar(units.Pressure(l.Limit)), seconds(l.Over))
		switch {
		case l.Name == bedLimit+mediumName(r.Medium):
			w.reason("%s: the bed was pressed beyond what the medium may bear", most)
			f.Advice = Repack
		case l.Name == columnLimit || l.Name == tubeLimit:
			w.reason("%s: it must not be under pressure again before a qualified person has looked at it", most)
			f.Advice = Repack
		default:
			w.doubt("%s: have it looked at before the test.", capital(most))
		}
	}
	for _, l := range f.Flows {
		if l.Verdict == Outside {
			w.doubt("The velocity reached %.4g cm/h, above the limit for the %s, %.4g cm/h, for %s.",
				units.Velocity(l.Most).In(units.CentimetrePerHour), l.Name, units.Velocity(l.Limit).In(units.CentimetrePerHour), seconds(l.Over))
		}
	}
	if f.Advice == Repack {
		return
	}
	if f.Compressions == 0 {
		w.reason("the record holds no compression step")
		return
	}
	cf, _ := w.factor()
	if math.IsNaN(float64(f.BedHeight)) {
		w.reason("the height of the packed bed is not known")
	}
	if math.IsNaN(cf) {
		w.reason("the compression factor is not known: it needs the settled height from step 1, or the slurry poured, and the packed height")
	}
	if len(f.Reasons) > 0 {
		return
	}
	high, short := f.BedHeight-r.BedHeight, r.CompressionFactor-cf
	repack, add := []string{}, []string{}
	keepAt := units.Length(nan) // where the adapter would keep the factor of a bed that settled low
	switch {
	case -short > t.CompressionFactor:
		repack = append(repack, fmt.Sprintf("the compression factor, %.3f, is above %v by more than %v, and no step makes it smaller", cf, r.CompressionFactor, t.CompressionFactor))
	case high > t.Mark:
		why := fmt.Sprintf("the bed stands at %.2f cm, %.1f mm above its target; %v is allowed", f.BedHeight.In(units.Centimetre), high.In(units.Millimetre), t.Mark)
		if f.SettledHeight > r.BedHeight.Times(r.CompressionFactor)+t.Mark && math.Abs(short) <= t.CompressionFactor {
			why += fmt.Sprintf(" (the bed had settled higher than planned: if the factor was to be kept and not the height, the target is %.2f cm; give it as BedHeight)", f.SettledHeight.Times(1/r.CompressionFactor).In(units.Centimetre))
		}
		add = append(add, why)
	case short > t.CompressionFactor:
		keep := f.BedHeight.Times(cf / r.CompressionFactor)
		if d, err := (packing.Found{Column: r.Column, BedHeight: r.BedHeight, CompressionFactor: r.CompressionFactor, Height: f.BedHeight.Times(cf)}).Decide(); err == nil {
			keep = d.KeepFactor
		}
		why := fmt.Sprintf("the bed is at its target but settled too low: its compression factor is %.3f, short of %v by more than %v", cf, r.CompressionFactor, t.CompressionFactor)
		if (r.BedHeight - keep).In(r.BedHeight) <= float64(t.Height)*(1+1e-9) {
			keepAt = keep
			add = append(add, fmt.Sprintf("%s; the factor is kept at %.2f cm, which is within the %v allowed for heights, if your procedure lets the height go", why, keep.In(units.Centimetre), t.Height))
		} else {
			repack = append(repack, fmt.Sprintf("%s; the factor would be kept only at %.2f cm, beyond the %v allowed for heights: pour more slurry", why, keep.In(units.Centimetre), t.Height))
		}
	}
	if f.Gap > t.Mark {
		add = append(add, fmt.Sprintf("there is a gap of %.1f mm under the adapter; %v is allowed", f.Gap.In(units.Millimetre), t.Mark))
	}
	last := f.step(Compression)
	if k := last.Steadiness; k.HeightIs == Outside {
		add = append(add, fmt.Sprintf("the height still changed by %.1f mm in %v when the compression ended", k.Height.In(units.Millimetre), r.Steady.Over))
	}
	if k := last.Steadiness; k.PressureIs == Outside {
		add = append(add, fmt.Sprintf("the pressure still changed by %.1f %% in %v when the compression ended", k.Pressure.In(units.Percent), r.Steady.Over))
	}
	if k := last.Steadiness; k.FlowIs == Outside {
		add = append(add, fmt.Sprintf("the flow still changed by %.1f %% in %v when the last pressure ended", k.Flow.In(units.Percent), r.Steady.Over))
	}
	if len(add) > 0 && len(repack) == 0 && f.Compressions == 1 {
		f.Reasons = add
		w.missed()
		w.options()
		if known(keepAt) {
			w.adapterFurther("flow off, outlet open, the adapter on to where the factor is kept", keepAt, r.CompressionFactor)
		}
		add = f.Reasons
		f.Reasons = nil
	} else {
		w.missed()
		add, f.Reasons = append(add, f.Reasons...), nil
	}
	switch {
	case len(repack) > 0:
		f.Advice, f.Reasons = Repack, append(repack, add...)
	case len(add) > 0 && len(f.Options) > 0 && !w.allowed():
		f.Advice = Repack
		f.Reasons = append(add, "none of the ways on is allowed by curve and limits")
	case len(add) > 0 && f.Compressions > 1:
		f.Advice = Repack
		f.Reasons = append(add, fmt.Sprintf("that was compression step %d: one further step was allowed, and it missed too (common practice, no source)", f.Compressions))
	case len(add) > 0:
		f.Advice, f.Reasons = AddStep, add
	default:
		f.Advice = ProceedToTest
		w.reason("the bed stands at %.2f cm, within %v of its target", f.BedHeight.In(units.Centimetre), t.Mark)
		w.reason("its compression factor is %.3f, within %v of %v", cf, t.CompressionFactor, r.CompressionFactor)
		if k := last.Steadiness; k.HeightIs == Within && k.PressureIs == Within {
			w.reason("height and pressure were steady when the compression ended")
		}
		if n := len(f.Pressures); n > 0 && f.Pressures[0].Verdict == Within {
			w.reason("no pressure limit that was given was passed")
		}
		var outside []string
		for _, d := range f.Deviations {
			if d.Verdict == Outside {
				outside = append(outside, d.What)
			}
		}
		if len(outside) > 0 {
			w.doubt("The bed came out as planned, but not the way there: outside the tolerances %s. Record why, before the test.", strings.Join(outside, ", "))
		}
		if high < -t.Mark {
			w.doubt("The bed stands %.1f mm below its target. The factor was kept, not the height: record which, and use the new column volume.", -high.In(units.Millimetre))
		}
	}
}

// capital begins a text with a capital letter, if it begins with a letter.
func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

func minutes(t units.Time) string { return fmt.Sprintf("%.1f min", t.In(units.Minute)) }

func seconds(t units.Time) string { return number.Significant(t.In(units.Second), 2) + " s" }

// sheet lists what goes into the batch record.
func (w *reviewer) sheet() {
	f, r := w.f, w.r
	add := func(what, expected, found string) { f.Sheet = append(f.Sheet, FoundRow{what, expected, found}) }
	known := func(v float64, format string) string {
		if math.IsNaN(v) {
			return ""
		}
		return fmt.Sprintf(format, v)
	}
	medium := ""
	if r.Medium.Name != "" {
		medium = r.Medium.Label()
	}
	for _, x := range [][2]string{{"record", w.run.Label}, {"column", r.Column.Tag}, {"medium", medium}} {
		if x[1] != "" {
			add(x[0], "", x[1])
		}
	}
	if r.SlurryPoured > 0 || w.planned {
		found := ""
		if r.SlurryPoured > 0 {
			found = volume(r.SlurryPoured)
		}
		expected := ""
		if w.planned {
			expected = volume(r.Plan.Pour.SlurryVolume)
		}
		add("slurry poured", expected, found)
	}
	for _, d := range f.Deviations {
		if d.What == "slurry poured" {
			continue
		}
		unit := d.Unit
		if unit != "" {
			unit = " " + unit
		}
		format := "%." + fmt.Sprint(d.decimals()) + "f" + unit
		add(d.What, known(d.Planned, format), known(d.Found, format))
	}
	if !math.IsNaN(f.BySlurry) {
		add("compression factor from the slurry", known(r.CompressionFactor, "%.3f"), fmt.Sprintf("%.3f ± %.3f", f.BySlurry, f.BySlurryStdErr))
	}
	for _, s := range f.Steps {
		if s.Kind != LooseBed && s.Kind != Compression {
			continue
		}
		expected := fmt.Sprintf("height within %v, pressure within %v over %v", r.Steady.Height, r.Steady.Pressure, r.Steady.Over)
		add("end of "+s.Name, expected, fmt.Sprintf("after %s; height %s, pressure %s", minutes(s.Duration), steadyWord(s.Steadiness.HeightIs), steadyWord(s.Steadiness.PressureIs)))
	}
	for _, l := range f.Pressures {
		add("highest pressure, "+l.Name, "at most "+bar(units.Pressure(l.Limit))+" bar", known(units.Pressure(l.Most).In(units.Bar), "%.3f bar"))
	}
	add("advice", "", f.Advice.String())
}

func steadyWord(v Verdict) string { return [...]string{"not judged", "steady", "not steady"}[v] }

// decimals is how many decimals a deviation is written with.
func (d Deviation) decimals() int {
	switch d.Unit {
	case "bar", "":
		return 3
	case "cm", "L":
		return 2
	}
	return 1
}
