// Package efficiency judges how well a column is packed from a test that ran
// on it.
//
// A [Pulse] describes the test; [Pulse.Evaluate] takes the detector's trace and
// returns a [PulseResult]: plates and plate height, asymmetry, retention, the
// doubts about them, and the verdict against the user's [Limits].
// [PulseResult.Calculation] shows one number with its formula, and
// [PulseResult.Uncertainty] has the standard error and the 95 % interval of each.
// The result also answers, when asked:
//
//	Methods        every other plate number, why they differ, which to quote
//	MomentLimits   what the limits of the moments do
//	Shape          what the shape shows, by which rule, where to look next
//	SignalToNoise  2H/h      Separation  two apexes, resolution, peak to valley
//	Corrected      the column without system and sample
//	Table, Figure, Text, Measured, Doubts  its parts alone, for a report
//
// The limit decides the verdict: meets, does not meet, not decided, not checked.
// What makes the number wrong takes both first words away. The test is then not
// valid, keeps its number, and says what a valid one needs. These are, by
// [Warning].Kind:
//
//	zero        the axis does not count from the sample
//	unit        a number that was typed cannot be right
//	clipped     the detector reached the end of its range
//	cut         the peak was not recorded whole
//	bow         the baseline bends by more than the interval holds
//	flow        the record contradicts the typed flow
//	retention   the tracer comes too early or too late
//	background  a salt pulse on a charged medium without enough background
//	tracer      a tracer that no plates are counted with
//	spike       samples that stand alone
//	thinned     a historian stored a part of the points
//	peaks       several tests in one trace
//
// A procedure adds to them with [Limits].Invalidating and takes none away. What
// says something of the bed ("second apex", "moments", "hump", "outside", "broad")
// changes no word and stands beside the verdict.
//
// A [Recipe] says before the test how it is run and, with [Recipe.Expect], where the
// peak will come and how high; the result then says what was done otherwise.
//
// A [Transition] does the same with the step of a change of buffers, which every
// cycle has, and [TransitionResult.Against] compares it with an earlier one. A
// [Breakthrough] gives the binding capacity from the load.
//
// [Replicates] judges several tests of one bed by a rule that is fixed
// beforehand; [Pulse.EvaluateAll] and [Pulse.EvaluateFrom] evaluate many
// traces, or those of a folder, over all processors.
//
// [EMGFit] fits an exponentially modified Gaussian to a peak. [PlateHeightTests]
// are tests at several velocities: the fitted curve has an optimum, and
// [PlateHeightResult.Fastest] says how fast the column may run.
//
//	trace    the signal and what is measured in it
//	packing  column and medium
//	record   reads the trace from an export
package efficiency

import (
	"math"

	"github.com/evenbed/evenbed/packing/units"
)

// halfHeight is the factor of the pharmacopoeias for plates by the width at
// half height; the exact one of a Gaussian is 8 ln 2 = 5.545177.
const halfHeight = 5.54

// Plates returns the plate number by the width at half height, as the
// pharmacopoeias round it:
//
//	N = 5.54 (tR/w)²
//
// with tR the time of the maximum and w the width at half height, both [s]. It
// holds for a Gaussian; a tailing peak gets too many plates (29 % at τ = σ).
// It returns NaN unless both are positive.
//
// Source: USP General Chapter 621, official 1 December 2022, harmonised with
// Ph. Eur. 2.2.46.
func Plates(retention, width units.Time) float64 {
	return plates(halfHeight, float64(retention), float64(width))
}

// PlatesAtHeight returns the plate number of a Gaussian by its width at a
// fraction f of its height:
//
//	N = 8 ln(1/f) (tR/w)²
//
// At half height the factor is 8 ln 2 = 5.545177. It returns NaN unless both
// times are positive and f lies between 0 and 1.
//
// Source: L. S. Ettre, Pure Appl. Chem. 65 (1993) 819-872 (IUPAC), for half
// height; other heights follow from the Gaussian.
func PlatesAtHeight(fraction float64, retention, width units.Time) float64 {
	if !(fraction > 0 && fraction < 1) {
		return math.NaN()
	}
	return plates(-8*math.Log(fraction), float64(retention), float64(width))
}

func plates(factor, retention, width float64) float64 {
	if !(retention > 0 && width > 0) {
		return math.NaN()
	}
	ratio := retention / width
	return factor * ratio * ratio
}

// Asymmetry returns b/a at a tenth of the height, with a the part of the width
// in front of the maximum and b the part behind it [s]: above 1 for a tail. It
// returns NaN unless both are positive.
//
// Source: common practice of column packing, no source.
func Asymmetry(front, back units.Time) float64 { return asymmetry(float64(front), float64(back)) }

func asymmetry(front, back float64) float64 {
	if !(front > 0 && back > 0) {
		return math.NaN()
	}
	return back / front
}

// SymmetryFactor returns the symmetry factor, or tailing factor, of the
// pharmacopoeias, at a twentieth of the height:
//
//	S = w/(2a)
//
// with w the width and a its part in front of the maximum [s]. It is another
// number than [Asymmetry]: 1.23 and 1.36 for the same peak. It returns NaN
// unless both are positive.
//
// Source: USP General Chapter 621; Ph. Eur. 2.2.46.
func SymmetryFactor(width, front units.Time) float64 {
	return symmetryFactor(float64(width), float64(front))
}

func symmetryFactor(width, front float64) float64 {
	if !(width > 0 && front > 0) {
		return math.NaN()
	}
	return width / (2 * front)
}
