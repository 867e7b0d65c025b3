package efficiency

import (
	"fmt"
	"slices"
	"strings"
)

// A Warning is something that was seen beside the numbers and did not stop the
// evaluation.
type Warning struct {
	Kind string // "clipped"; the kinds of a pulse test are in the package's comment. Empty for other results
	What string // what was seen
	Do   string // what to do about it
	// Invalidates reports that the number itself is wrong: the test is not valid
	// and decides nothing.
	Invalidates bool
	// OfTheBed reports that it says something of the bed. It changes no verdict
	// and stands beside it.
	OfTheBed bool
}

// String joins both.
func (w Warning) String() string { return w.What + ". " + w.Do + "." }

// A kind is one thing that a detector can see in a pulse test.
type kind string

// The kinds that make the number wrong. The package's comment lists them; a
// procedure may add to them with Limits.Invalidating, never take from them.
const (
	kindZero       kind = "zero"       // the axis does not count from the sample
	kindUnit       kind = "unit"       // a number that was typed cannot be right
	kindClipped    kind = "clipped"    // the detector reached the end of its range
	kindCut        kind = "cut"        // the peak was not recorded whole
	kindBow        kind = "bow"        // the baseline bends by more than the interval holds
	kindFlow       kind = "flow"       // the record contradicts the typed flow
	kindRetention  kind = "retention"  // the tracer comes too early or too late
	kindBackground kind = "background" // a salt pulse on a charged medium without enough background
	kindTracer     kind = "tracer"     // a tracer that no plates are counted with
	kindSpike      kind = "spike"      // samples that stand alone
	kindThinned    kind = "thinned"    // a historian stored a part of the points
	kindPeaks      kind = "peaks"      // several tests in one trace
)

// The kinds that say something of the bed.
const (
	kindSecondApex kind = "second apex"
	kindMoments    kind = "moments"
	kindHump       kind = "hump"    // a maximum outside the main peak
	kindOutside    kind = "outside" // area outside the main peak
	kindBroad      kind = "broad"   // plates are missed, and what the form tells about it
)

// The kinds that are a doubt and no more.
const (
	kindBaseline    kind = "baseline"
	kindColour      kind = "colour"
	kindCrossings   kind = "crossings"
	kindDirection   kind = "downward"
	kindEdge        kind = "edge"
	kindExtraColumn kind = "extra column"
	kindLimit       kind = "limit"
	kindNoise       kind = "noise"
	kindPlateHeight kind = "plate height"
	kindRecipe      kind = "recipe"
	kindRecord      kind = "record"
	kindSample      kind = "sample"
	kindSampling    kind = "sampling"
	kindSmoothing   kind = "smoothing"
	kindSlow        kind = "slow detector"
	kindTemperature kind = "temperature"
	kindVelocity    kind = "velocity"
)

// invalidating are the kinds after which no verdict is drawn, in the order of the
// package's comment.
var invalidating = []kind{kindZero, kindUnit, kindClipped, kindCut, kindBow, kindFlow, kindRetention, kindBackground, kindTracer, kindSpike, kindThinned, kindPeaks}

// ofTheBed are the kinds that stand beside the verdict and change none.
var ofTheBed = []kind{kindSecondApex, kindMoments, kindHump, kindOutside, kindBroad}

// doubtful are the other kinds.
var doubtful = []kind{kindBaseline, kindColour, kindCrossings, kindDirection, kindEdge, kindExtraColumn, kindLimit, kindNoise, kindPlateHeight, kindRecipe, kindRecord, kindSample, kindSampling, kindSlow, kindSmoothing, kindTemperature, kindVelocity}

// warn adds what a detector has seen. What it does to the verdict follows from its
// kind and from the user's procedure.
func (r *PulseResult) warn(k kind, what, do string) {
	r.Warnings = append(r.Warnings, Warning{Kind: string(k), What: what, Do: do,
		Invalidates: slices.Contains(invalidating, k) || slices.Contains(r.Pulse.Limits.Invalidating, string(k)),
		OfTheBed:    slices.Contains(ofTheBed, k)})
}

// checkKinds refuses a kind that no detector has.
func checkKinds(given []string) error {
	known := make([]string, 0, 32)
	for _, k := range slices.Concat(doubtful, ofTheBed, invalidating) {
		known = append(known, string(k))
	}
	for _, g := range given {
		if !slices.Contains(known, g) {
			return fmt.Errorf("limits: no doubt is of the kind %q, so none can make a test invalid; the kinds are %s", g, strings.Join(known, ", "))
		}
	}
	return nil
}

// invalid returns why the test decides nothing; empty if it is valid.
func (r PulseResult) invalid() []Warning {
	return pick(r.Warnings, func(w Warning) bool { return w.Invalidates })
}

// pick returns the warnings for which keep holds.
func pick(all []Warning, keep func(Warning) bool) []Warning {
	var some []Warning
	for _, w := range all {
		if keep(w) {
			some = append(some, w)
		}
	}
	return some
}
