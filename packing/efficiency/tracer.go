package efficiency

import (
	"fmt"
	"strings"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/units"
)

// A Tracer is what the sample of a pulse test is made of, and what it may do in
// the bed.
//
//	efficiency.Tracer{Name: "acetone 1 %", Kind: efficiency.SmallNeutral, Strength: 1 * Percent}
//	efficiency.Tracer{Name: "sodium chloride", Kind: efficiency.Salt,
//		Pulse: 0.8 * MolePerLitre, Background: 0.4 * MolePerLitre}
type Tracer struct {
	Name string // for the report
	Kind TracerKind
	// Strength is the part of the sample that a neutral tracer makes. Zero: not
	// given.
	Strength units.Fraction
	// Pulse and Background are the salt in the sample and in the liquid that the
	// column stands in. Zero: not given.
	Pulse, Background units.Molarity

	// Retention is the net retention in column volumes that the user states for
	// this tracer on this medium, Margin how far a test may be from it, Source
	// where both come from. Zero: not stated, and the retention is not checked
	// against it. A tracer that is held back needs them.
	Retention, Margin float64
	Source            string
}

// A TracerKind is what a tracer does in the bed.
type TracerKind int

// The kinds of tracers.
const (
	TracerNotGiven TracerKind = iota
	SmallNeutral              // goes everywhere and stays nowhere: acetone on most media
	Salt                      // the same in enough background; charged beads keep it out of less
	ExcludedMarker            // stays between the beads: it gives the void and no plates
	HeldBack                  // binds a little: its retention must be stated
)

// String writes the kind in words.
func (k TracerKind) String() string {
	switch k {
	case TracerNotGiven:
		return "not given"
	case SmallNeutral:
		return "small and neutral"
	case Salt:
		return "salt"
	case ExcludedMarker:
		return "excluded marker"
	case HeldBack:
		return "held back"
	}
	return fmt.Sprintf("TracerKind(%d)", int(k))
}

// The bounds of tracers. Common practice, no source, where nothing else is said.
const (
	leastBackground = 0.4 * units.MolePerLitre // on a charged medium
	mostPulse       = 2.2                      // backgrounds: "about twice it"
	mostSaltAbove   = 0.5 * units.MolePerLitre // of the pulse above its background, before it sinks
	mostStrength    = 2 * units.Percent        // of a neutral tracer, before it sinks
	// relativeError is one standard error of a retention in column volumes: flow
	// 2 %, bed height 1 %, diameter 0.3 %, which counts twice, are 2.3 % together.
	relativeError = 2.5 * units.Percent
	leastVoid     = 0.28 // between the beads: excluded markers come at 0.28 to 0.42
)

// String writes the tracer in words.
func (t Tracer) String() string {
	parts := []string{}
	if t.Name != "" {
		parts = append(parts, t.Name)
	}
	if t.Kind != TracerNotGiven {
		parts = append(parts, t.Kind.String())
	}
	if t.Strength > 0 && !strings.Contains(t.Name, "%") {
		parts = append(parts, t.Strength.String())
	}
	if t.Pulse > 0 {
		parts = append(parts, t.Pulse.String())
	}
	if t.Background > 0 {
		parts = append(parts, "in "+t.Background.String())
	}
	if len(parts) == 0 {
		return "not given"
	}
	return strings.Join(parts, ", ")
}

// check refuses a tracer that is none.
func (t Tracer) check() error {
	refuse := func(what, problem, remedy string) error {
		return &packing.InputError{What: what, Problem: problem, Remedy: remedy}
	}
	switch {
	case t.Kind < TracerNotGiven || t.Kind > HeldBack:
		return refuse("tracer of the kind "+t.Kind.String(), "there is no such kind", "use efficiency.SmallNeutral, Salt, ExcludedMarker or HeldBack")
	case !(t.Strength >= 0 && t.Strength < 1):
		return refuse(fmt.Sprintf("strength of the tracer %v", t.Strength), "it is a part of the sample, from 0 to 100 %", "write for example 1 * Percent")
	case !(t.Pulse >= 0 && t.Pulse < 20*units.MolePerLitre) || !(t.Background >= 0 && t.Background < 20*units.MolePerLitre):
		return refuse(fmt.Sprintf("salt of the tracer, %v in %v", t.Pulse, t.Background), "no salt dissolves so", "write for example Pulse: 0.8 * MolePerLitre, Background: 0.4 * MolePerLitre")
	case t.Kind != Salt && (t.Pulse > 0 || t.Background > 0):
		return refuse(fmt.Sprintf("tracer of the kind %v", t.Kind), "Pulse and Background are those of a salt", "write Kind: efficiency.Salt, or leave them out")
	case t.Retention != 0 && !(t.Retention > 0 && t.Retention < 20) || t.Retention == 0 && (t.Margin != 0 || t.Source != ""):
		return refuse(fmt.Sprintf("stated retention of the tracer %v", t.Retention), "it is in column volumes and above zero", "write for example Retention: 0.93, Margin: 0.03, Source: \"own tests, 12 packs\"")
	case t.Retention != 0 && !(t.Margin > 0 && t.Margin < t.Retention):
		return refuse(fmt.Sprintf("margin of the stated retention %v", t.Margin), "it must be above zero and below the retention", "write for example Retention: 0.93, Margin: 0.03, in column volumes")
	case t.Kind == HeldBack && t.Retention == 0:
		return refuse("tracer that is held back", "its retention on this medium was not stated", "give it with its margin and source: Retention: 1.15, Margin: 0.05, Source: \"own tests\"")
	}
	return nil
}

// salt reports whether the tracer is a salt: it was given as one, or nothing was
// given and the signal is a conductivity.
func (r *PulseResult) salt() bool {
	t := r.Pulse.Tracer
	return t.Kind == Salt || t.Kind == TracerNotGiven && r.isConductivity()
}

// doubtTracer looks at what the tracer may do.
func (r *PulseResult) doubtTracer() {
	t := r.Pulse.Tracer
	if t.Kind == ExcludedMarker {
		r.warn(kindTracer, "The tracer is an excluded marker, which stays between the beads: it gives the void, and no plates or asymmetry of the bed",
			"Test with a tracer that enters the beads")
	}
	if r.salt() {
		r.doubtSalt()
	}
	if above := t.Pulse - t.Background; t.Background > 0 && above > mostSaltAbove*1.0001 {
		r.warn(kindSample, fmt.Sprintf("The sample has %v more salt than its background: it is denser, sinks and fingers", above),
			fmt.Sprintf("Stay within about %v of the background (common practice, no source)", mostSaltAbove))
	}
	if t.Strength > mostStrength*1.0001 {
		r.warn(kindSample, fmt.Sprintf("The sample has %v of tracer: its density may differ from the liquid's, so that it rises or sinks and fingers", t.Strength),
			fmt.Sprintf("Take about %v or less (common practice, no source)", mostStrength))
	}
}

// doubtSalt looks at a pulse of salt on a medium that may be charged. Charged
// beads keep salt out (Donnan), the more the less salt there is, so that the pulse
// overtakes itself and a perfect bed looks ruined.
func (r *PulseResult) doubtSalt() {
	t, m := r.Pulse.Tracer, r.Pulse.Medium
	if m.Charge == packing.Uncharged {
		return
	}
	least := m.LeastBackground
	if least == 0 {
		least = leastBackground
	}
	beads := "the medium is charged and keeps salt out of its beads"
	if m.Charge == packing.ChargeNotGiven {
		beads = "whether the medium is charged, and keeps salt out of its beads, was not given"
	}
	needs := fmt.Sprintf("Repeat with at least %v of the same salt in the background and a sample of at most about twice that, or with a neutral tracer. Until then the peak says nothing of the bed", least)
	if m.Charge == packing.ChargeNotGiven {
		needs = "Give Charge of the Medium: packing.Uncharged settles it. If it is charged, " + lowerFirst(needs)
	}
	switch {
	case t.Background == 0:
		r.warn(kindBackground, "The tracer is a salt whose background was not given, and "+beads+": retention, plates and asymmetry are in doubt", needs)
	case t.Background < least*0.9999:
		r.warn(kindBackground, fmt.Sprintf("The salt ran in a background of %v, less than %v, and %s: retention, plates and asymmetry are in doubt", t.Background, least, beads), needs)
	case t.Pulse > mostPulse*t.Background:
		r.warn(kindBackground, fmt.Sprintf("The sample has %.1f times the salt of its background, more than about twice, and %s: retention, plates and asymmetry are in doubt", t.Pulse.In(t.Background), beads), needs)
	case t.Pulse > 0 && t.Pulse < least*0.9999:
		r.warn(kindBackground, fmt.Sprintf("The sample has only %v of salt, less than %v, and %s: retention, plates and asymmetry are in doubt", t.Pulse, least, beads), needs)
	}
}

// holdUp returns the volume outside the column, and whether it was given.
func (p Pulse) holdUp() (units.Volume, bool) {
	mean, _ := p.ExtraColumn.system()
	return units.Volume(mean), p.ExtraColumn.Volume > 0
}

// retentionError returns one relative standard error of the retention in column
// volumes.
func (p Pulse) retentionError() float64 {
	if p.RetentionError > 0 {
		return float64(p.RetentionError)
	}
	return float64(relativeError)
}

// void returns the part of the bed between the beads below which nothing comes.
func (p Pulse) void() float64 {
	if p.Void > 0 {
		return p.Void
	}
	return leastVoid
}

// judgeRetention holds the net retention against what is possible and against what
// the user states.
func (r *PulseResult) judgeRetention() {
	t, off, v := r.Pulse.Tracer, 2*r.Pulse.retentionError(), r.NetRetention
	c := Check{Quantity: "net retention", Value: v, Low: v * (1 - off), High: v * (1 + off)}
	most, least := 1+off, r.Pulse.void()*(1-off)
	if t.Retention > 0 {
		c.Limit = Between(number.Fixed(t.Retention-t.Margin, 3), number.Fixed(t.Retention+t.Margin, 3))
		c.Reported, c.Outcome = c.Limit.judge(v)
	}
	what, then := "", ""
	switch {
	case t.Kind != HeldBack && v > most:
		what = fmt.Sprintf("more than the %.2f of liquid that the column can hold", most)
		then = "; then for a tracer that the medium holds back, as hydrophobic media hold acetone (1.05 to 1.3 seen, common practice, no source)"
	case v < least:
		what = fmt.Sprintf("less than the %.2f between the beads", least)
	case c.Outcome == DoesNotMeet:
		what = fmt.Sprintf("and %.3f ± %.3f is stated for this tracer on this medium", t.Retention, t.Margin)
		if t.Source != "" {
			what += " (" + t.Source + ")"
		}
		then = "; then at the tracer and its background"
	}
	if what != "" {
		c.Outcome = NotDecided
		what, do := fmt.Sprintf("The net retention is %.3f column volumes, %s; its error is %s", v, what, percentage(off)), "Look at the zero of the test, flow, bed height and diameter"+then
		if _, given := r.Pulse.holdUp(); !given {
			what += ", and the hold-up outside the column was not given and not taken off"
			do = "Measure the hold-up and give ExtraColumn; " + lowerFirst(do)
		}
		r.warn(kindRetention, what, do)
	}
	r.RetentionCheck = c
}
