// Package plan turns column, medium and slurry into a packing procedure.
//
// [ConstantFlow] asks for a bed packed by flow in two steps; its Plan answers
// with a [Procedure]: volumes, times, flows, adapter positions, what ends each
// step, the limits with their margins, and cautions. A procedure shows itself in
// a notebook; one that must not be run shows why.
//
//	steps, err := plan.ConstantFlow{Column: column, Medium: medium, Slurry: slurry,
//		BedHeight: 18 * Centimetre, CompressionFactor: 1.12, Curve: curve}.Plan()
//
// [Review] reads a recorded pack back, holds it against the plan and says what to
// do next; [AfterFailedTest] says what to do after a failed test.
//
// Nothing about a medium is assumed: what compresses the bed comes from a curve
// measured by the user, see package bed. Rules of the trade that have no
// published source are marked as common practice.
package plan

import (
	"strings"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/units"
)

// ConstantFlow asks for a pack in two steps of constant flow: a low velocity
// until the beads have settled to a loose bed, then a high one that compresses
// it, and the adapter driven to the mark.
type ConstantFlow struct {
	Column            packing.Column
	Medium            packing.Medium
	Slurry            packing.Slurry
	BedHeight         units.Length // of the packed bed
	CompressionFactor float64      // settled over packed height

	FirstVelocity   units.Velocity // zero: 20 cm/h, common practice, no source
	PackingVelocity units.Velocity // of the second step; zero: where Curve has CompressionFactor
	Curve           bed.Curve      // measured at this settled height in this column; without points: none
	Catch           Catch          // which valve is open while the adapter goes to the mark

	Liquid      string            // name of the packing liquid; empty: water, if Viscosity is zero
	Temperature units.Temperature // of slurry and column; zero: 20 °C
	Viscosity   units.Viscosity   // of the packing liquid; zero: that of water

	Duties     []Duty         // what the packed bed must stand later
	DragMargin float64        // least drag of packing over that of a duty; zero: 1.2, common practice
	Limits     packing.Limits // of the installation

	TestVelocity units.Velocity // of the pulse test; zero: 30 cm/h, common practice
	TestSample   units.Fraction // of the column volume; zero: 1 %, common practice
	RulerZero    units.Length   // what the ruler at the column reads at the bottom net
}

// A Duty is a use of the packed column.
type Duty struct {
	Name        string
	Velocity    units.Velocity
	Liquid      string            // empty: water, if Viscosity is zero
	Temperature units.Temperature // zero: that of packing
	Viscosity   units.Viscosity   // zero: that of water, and Liquid must be water
}

// Catch is how the adapter is driven to the mark after the second step.
type Catch int

const (
	// OutletShut: outlet shut and inlet vented; the bed is free to rise, and the
	// adapter compresses it again.
	OutletShut Catch = iota
	// OutletOpen: inlet shut and outlet open; the liquid that the adapter
	// displaces flows down through the bed and holds it.
	OutletOpen
)

// String names the valves.
func (c Catch) String() string {
	switch c {
	case OutletShut:
		return "outlet shut, inlet vented"
	case OutletOpen:
		return "inlet shut, outlet open"
	}
	return "unknown catch"
}

// A Refusal tells why a pack must not be run as asked. Its reasons can be asked
// for with errors.As.
type Refusal struct{ Reasons []error }

// Error joins the reasons, one per line.
func (r *Refusal) Error() string {
	s := make([]string, len(r.Reasons))
	for i, err := range r.Reasons {
		s[i] = err.Error()
	}
	return "plan refused: " + strings.Join(s, "\n")
}

// Unwrap returns the reasons.
func (r *Refusal) Unwrap() []error { return r.Reasons }

// A Procedure is a planned pack. A number that is not known is NaN.
//
// A procedure with a Refusal must not be run; it shows its refusal, and the
// numbers in it are there to find out why.
type Procedure struct {
	Refusal    error    // a *Refusal, or nil
	NotChecked []string // what was not given and so not checked
	Taken      []string // what was not given and taken instead
	Request    ConstantFlow

	Viscosity units.Viscosity // of the packing liquid
	Bed       Bed
	Pour      Pour
	First     FirstStep
	Second    SecondStep
	Pressures []PressureLimit // lowest first
	Flows     []VelocityLimit // lowest first
	Duties    []DutyCheck     // in the order asked
	Forces    []EndPlateForce
	Test      PulseTest

	Stages   []Stage
	Sheet    []SheetRow
	Cautions []string // about these numbers
	Safety   []string
}

// Bed is the geometry of the bed.
type Bed struct {
	Area          units.Area
	ColumnVolume  units.Volume // of the packed bed
	SettledHeight units.Length
	SettledVolume units.Volume
	PackedVoid    float64
	PressureRatio float64 // packed over settled bed at equal velocity, after Kozeny and Carman
}

// Pour is the slurry in the tube.
type Pour struct {
	SlurryVolume units.Volume
	SlurryHeight units.Length
	Usable       units.Length   // how high slurry may stand; NaN without a tube height
	Terminal     units.Velocity // of one bead
	Hindered     units.Velocity // of the beads in the slurry, the liquid at rest
	ClearLayer   units.Time     // until 1 cm of clear liquid has formed after stirring
}

// FirstStep forms the loose bed.
type FirstStep struct {
	Velocity          units.Velocity
	Flow              units.VolumeFlow
	Time              units.Time // by Kynch settling under downflow
	TimeAtHalfDensity units.Time // if the density excess is only half of that given
	GravityTime       units.Time // without flow
	Bound             units.Time // never exceeded, whatever the beads' density
	Volume            units.Volume
	ColumnVolumes     float64
	CompressionFactor float64        // under flow; NaN without a curve
	Pressure          units.Pressure // NaN without a curve
	BedHeight         units.Length   // under flow; without a curve, as if the flow did not compress
	AdapterTravel     units.Length   // from the top of the slurry to the bed
}

// SecondStep compresses the bed.
type SecondStep struct {
	Velocity          units.Velocity // NaN: not determined
	Flow              units.VolumeFlow
	CompressionFactor float64        // by flow alone; NaN without a curve
	Pressure          units.Pressure // NaN without a curve
	BedHeight         units.Length   // under flow; NaN without a curve
	AdapterTravel     units.Length   // from the bed of the first step to the mark
	RiseBound         units.Velocity // at which the surface starts to rise when the flow stops
}

// A PressureLimit is a limit against what the procedure needs.
type PressureLimit struct {
	Name   string
	Limit  units.Pressure
	Used   units.Pressure // NaN: not known
	Margin float64        // 1 - used/limit; NaN: not checked
}

// A VelocityLimit is a limit against the highest velocity of the procedure.
type VelocityLimit struct {
	Name   string
	Limit  units.Velocity
	Used   units.Velocity
	Margin float64 // 1 - used/limit
}

// A DutyCheck compares the drag of packing, viscosity times velocity, with that
// of a duty.
type DutyCheck struct {
	Duty       Duty           // with temperature and viscosity filled in
	Equivalent units.Velocity // of the packing liquid at the same drag
	Margin     float64        // drag of packing over that of the duty; NaN: not checked
	Wanted     float64
	Pressure   units.Pressure // of the packed bed, about, in proportion to drag; NaN without a curve
}

// An EndPlateForce is the force of a pressure on the end plate, F = PA.
type EndPlateForce struct {
	At       string
	Pressure units.Pressure
	Force    units.Force
}

// PulseTest is the test after packing.
type PulseTest struct {
	Velocity   units.Velocity
	Flow       units.VolumeFlow
	Sample     units.Volume
	ColumnTime units.Time // for one column volume
}

// A Stage is what people do, and how they know that it is over.
type Stage struct{ Name, Do, Ends string }

// A SheetRow is a line to fill in at the column.
type SheetRow struct{ What, Expected string }
