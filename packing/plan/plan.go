// Package plan turns column, medium and slurry into a packing procedure.
//
// A method asks, its Plan answers with a [Procedure]:
//
//	ConstantFlow      two steps of flow, the adapter catches the bed
//	FlowThenAdapter   flow compresses as far as it may, the adapter gives the rest
//	ConstantPressure  pressure raised in steps, the flow falls to a plateau
//	AxialCompression  the bed settles, the adapter alone compresses it
//	SuctionFill       the adapter draws the slurry in, then packs it
//	PackInPlace       slurry pumped through a nozzle between two fixed nets
//
// The procedure holds volumes, times, flows, adapter positions, what ends each
// step, the limits with their margins, and cautions. It shows itself in a
// notebook; one that must not be run shows why. [Procedure.Play] plays it
// forward in time.
//
//	steps, err := plan.ConstantFlow{Column: column, Medium: medium, Slurry: slurry,
//		BedHeight: 18 * Centimetre, CompressionFactor: 1.12, Curve: curve}.Plan()
//
// [Review] reads a recorded pack back, by constant flow, by constant pressure or by
// the adapter, holds it against the plan and says what to do next; [AfterFailedTest] says what to do after a failed test.
//
// Nothing about a medium is assumed: what compresses the bed comes from a curve
// measured by the user, or from a law fitted to one, see package bed. Rules of the
// trade that have no published source are marked as common practice.
package plan

import (
	"strings"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/bed"
	"github.com/evenbed/evenbed/packing/efficiency"
	"github.com/evenbed/evenbed/packing/liquid"
	"github.com/evenbed/evenbed/packing/units"
)

// ConstantFlow asks for a pack in two steps of constant flow: a low velocity
// until the beads have settled to a loose bed, then a high one that compresses
// it, and the adapter driven to its target position.
type ConstantFlow struct {
	Column            packing.Column
	Medium            packing.Medium
	Slurry            packing.Slurry
	SlurryStdErr      units.Fraction // standard error of the concentration, absolute; zero: not given
	DeadVolume        units.Volume   // of slurry that stays behind in tank and hoses
	Rinse             units.Volume   // of liquid that rinses tank, hoses and wall into the column
	BedHeight         units.Length   // of the packed bed
	CompressionFactor float64        // settled over packed height

	FirstVelocity   units.Velocity // zero: 20 cm/h, common practice, no source
	FirstBy         FirstBy        // where the liquid of step 1 comes from, and where it leaves
	PackingVelocity units.Velocity // of the second step; zero: where Curve has CompressionFactor
	RaiseSteps      int            // in which the flow is raised to the packing velocity, each by the same factor; zero: 4, common practice
	Ramp            units.Time     // over which it is raised evenly, in place of steps; zero: in steps
	ThirdVelocity   units.Velocity // of a third step, if the bed is not at its target after the second; zero: the second's
	Curve           bed.Curve      // measured at this settled height in this column; without points: none, or that of Law. Its doubts go onto the page and the sheet
	Law             bed.Law        // how the bed gives way, from the user's own data; nil: not known
	WallFriction    float64        // of Law, see bed.Compressible; zero: the wall carries nothing
	Catch           Catch          // which valve is open while the adapter goes to its target position
	AdapterSpeed    units.Velocity // zero: the velocity of the second step
	TargetTolerance units.Length   // of the adapter in the end and of a gap under it; zero: 2 mm, common practice
	Recovery        Recovery       // how the bed rises after a stop, from the user's record; zero: not known

	Liquid      string            // name of the packing liquid; empty: water, if Viscosity is zero
	Temperature units.Temperature // of slurry and column; zero: 20 °C
	Viscosity   units.Viscosity   // of the packing liquid; zero: that of water

	Duties     []Duty         // what the packed bed must stand later
	DragMargin float64        // least drag of packing over that of a duty; zero: 1.2, common practice
	Limits     packing.Limits // of the installation
	Hardware   bed.Hardware   // pressure of the empty column, added to that of the bed; without readings: not known
	Site       Site           // for large columns

	Test         efficiency.Recipe // how the pulse test is run, as in [efficiency.Pulse]; what is zero: 30 cm/h and 1 % of the column volume, both common practice, at the temperature of packing
	RulerZero    units.Length      // what the ruler at the column reads at the bottom net
	SettledFound units.Length      // bed height found at the first velocity, when it is not the planned one; zero: not read yet
}

// FlowThenAdapter asks for a bed that flow compresses in part, and the adapter
// for the rest: CF = CF(flow)·CF(adapter). Fields that ConstantFlow has too mean
// the same.
type FlowThenAdapter struct {
	Column            packing.Column
	Medium            packing.Medium
	Slurry            packing.Slurry
	SlurryStdErr      units.Fraction
	DeadVolume        units.Volume
	Rinse             units.Volume
	BedHeight         units.Length
	CompressionFactor float64

	FirstVelocity   units.Velocity // zero: 20 cm/h, common practice, no source
	FirstBy         FirstBy        // where the liquid of step 1 comes from, and where it leaves
	PackingVelocity units.Velocity // that consolidates; zero: what 70 % of the limits, the curve and 80 % of the compression allow
	RaiseSteps      int            // in which the flow is raised to the packing velocity, each by the same factor; zero: 4, common practice
	Ramp            units.Time     // over which it is raised evenly, in place of steps; zero: in steps
	Curve           bed.Curve      // needed, or Law
	Law             bed.Law        // gives the load of the adapter; nil: load not determined
	WallFriction    float64
	AdapterSpeed    units.Velocity // zero: 30 cm/h, common practice, no source
	TargetTolerance units.Length   // of the adapter in the end and of a gap under it; zero: 2 mm, common practice

	Liquid      string
	Temperature units.Temperature
	Viscosity   units.Viscosity

	Duties     []Duty
	DragMargin float64
	Limits     packing.Limits
	Hardware   bed.Hardware
	Site       Site

	Test         efficiency.Recipe
	RulerZero    units.Length
	SettledFound units.Length
}

// ConstantPressure asks for a bed packed at a constant pressure, raised in four
// steps, while the flow falls as the bed forms. Fields that ConstantFlow has too
// mean the same.
type ConstantPressure struct {
	Column            packing.Column
	Medium            packing.Medium
	Slurry            packing.Slurry
	SlurryStdErr      units.Fraction
	DeadVolume        units.Volume
	Rinse             units.Volume
	BedHeight         units.Length
	CompressionFactor float64

	PackingPressure units.Pressure // set point at the inlet, with the empty column's part; needed
	Curve           bed.Curve      // without points: none, or that of Law; then the flow is not determined
	Law             bed.Law
	WallFriction    float64
	AdapterSpeed    units.Velocity // zero: the velocity of the plateau
	TargetTolerance units.Length   // of the adapter in the end and of a gap under it; zero: 2 mm, common practice
	Recovery        Recovery

	Liquid      string
	Temperature units.Temperature
	Viscosity   units.Viscosity

	Duties     []Duty
	DragMargin float64
	Limits     packing.Limits // PumpFlow caps the flow while the bed forms
	Hardware   bed.Hardware
	Site       Site

	Test         efficiency.Recipe
	RulerZero    units.Length
	SettledFound units.Length
}

// AxialCompression asks for a bed that settles by itself and is compressed by the
// adapter alone. Fields that ConstantFlow has too mean the same.
type AxialCompression struct {
	Column            packing.Column
	Medium            packing.Medium
	Slurry            packing.Slurry
	SlurryStdErr      units.Fraction
	DeadVolume        units.Volume
	Rinse             units.Volume
	BedHeight         units.Length
	CompressionFactor float64

	FirstVelocity   units.Velocity // of a flow that helps the bed to settle; zero: none
	FirstBy         FirstBy        // where the liquid of step 1 comes from, and where it leaves
	Law             bed.Law        // gives the load of the adapter; nil: load not determined
	WallFriction    float64
	AdapterSpeed    units.Velocity // zero: 30 cm/h, common practice, no source
	TargetTolerance units.Length   // of the adapter in the end and of a gap under it; zero: 2 mm, common practice

	Liquid      string
	Temperature units.Temperature
	Viscosity   units.Viscosity

	Duties     []Duty
	DragMargin float64 // least drag at which flow alone would compress so far, over that of a duty; zero: 1.2
	Limits     packing.Limits
	Site       Site

	Test         efficiency.Recipe
	RulerZero    units.Length
	SettledFound units.Length // bed height found at rest, when it is not the planned one; zero: not read yet
}

// SuctionFill asks for a closed column whose adapter goes up and draws the slurry
// in through nozzle or side port, and that is packed by the adapter or by flow
// then. Fields that ConstantFlow has too mean the same.
type SuctionFill struct {
	Column            packing.Column
	Medium            packing.Medium
	Slurry            packing.Slurry
	SlurryStdErr      units.Fraction
	DeadVolume        units.Volume
	BedHeight         units.Length
	CompressionFactor float64

	DrawSpeed units.Velocity // of the adapter going up; zero: so that the slurry is in before 1 cm of it clears
	Lift      units.Length   // of the column's inlet above the slurry in the tank; zero: not given
	Then      Then           // how the bed is packed afterwards

	FirstVelocity   units.Velocity // zero: by flow 20 cm/h, common practice, no source; by the adapter none
	PackingVelocity units.Velocity // by flow; zero: where Curve has CompressionFactor
	RaiseSteps      int            // in which the flow is raised to the packing velocity, each by the same factor; zero: 4, common practice
	Ramp            units.Time     // over which it is raised evenly, in place of steps; zero: in steps
	Curve           bed.Curve
	Law             bed.Law
	WallFriction    float64
	Catch           Catch
	AdapterSpeed    units.Velocity // while packing; zero: 30 cm/h by the adapter, the second velocity by flow
	TargetTolerance units.Length   // of the adapter in the end and of a gap under it; zero: 2 mm, common practice

	Liquid      string
	Temperature units.Temperature
	Viscosity   units.Viscosity

	Duties     []Duty
	DragMargin float64
	Limits     packing.Limits
	Hardware   bed.Hardware
	Site       Site

	Test      efficiency.Recipe
	RulerZero units.Length
}

// PackInPlace asks for a bed of fixed height between two nets, into which slurry
// is pumped through a nozzle while the liquid leaves through the nets, until the
// column is full and the flow stops. Fields that ConstantFlow has too mean the
// same.
type PackInPlace struct {
	Column            packing.Column
	Medium            packing.Medium
	Slurry            packing.Slurry
	SlurryStdErr      units.Fraction
	DeadVolume        units.Volume
	BedHeight         units.Length
	CompressionFactor float64

	FillFlow        units.VolumeFlow // of the slurry; needed
	PackingPressure units.Pressure   // at which the pump is stopped; zero: where Curve has CompressionFactor
	Curve           bed.Curve
	Law             bed.Law
	WallFriction    float64

	Liquid      string
	Temperature units.Temperature
	Viscosity   units.Viscosity

	Duties     []Duty
	DragMargin float64
	Limits     packing.Limits
	Site       Site

	Test efficiency.Recipe
}

// Request is what was asked for by any of the methods, with what was taken where
// nothing was given. A field that the method does not have is zero.
type Request struct {
	Method string // in words

	Column            packing.Column
	Medium            packing.Medium
	Slurry            packing.Slurry
	SlurryStdErr      units.Fraction
	DeadVolume        units.Volume
	Rinse             units.Volume
	BedHeight         units.Length
	CompressionFactor float64

	FirstVelocity   units.Velocity
	FirstBy         FirstBy // where the liquid of step 1 comes from, and where it leaves
	PackingVelocity units.Velocity
	RaiseSteps      int        // in which the flow is raised to the packing velocity, each by the same factor; zero: 4, common practice
	Ramp            units.Time // over which it is raised evenly, in place of steps; zero: in steps
	ThirdVelocity   units.Velocity
	PackingPressure units.Pressure
	FillFlow        units.VolumeFlow
	DrawSpeed       units.Velocity
	Lift            units.Length
	Then            Then
	Curve           bed.Curve
	Law             bed.Law
	WallFriction    float64
	Catch           Catch
	AdapterSpeed    units.Velocity
	TargetTolerance units.Length // of the adapter in the end and of a gap under it; zero: 2 mm, common practice
	Recovery        Recovery

	Liquid      string
	Temperature units.Temperature
	Viscosity   units.Viscosity

	Duties     []Duty
	DragMargin float64
	Limits     packing.Limits
	Hardware   bed.Hardware
	Site       Site

	Test         efficiency.Recipe
	RulerZero    units.Length
	SettledFound units.Length
}

// Site is what a plan needs to know of the place where the column stands.
type Site struct {
	Gauge        string            // which pressures are read at, and where it stands; empty: not named
	ActAbove     units.Fraction    // of the expected pressure, beyond which the operator acts; zero: left open on the sheet
	HeightPoints int               // at which the height of the bed is read: 1, 3 or 4; zero: 4 from 30 cm diameter on, else 1
	Coldest      units.Temperature // that the room or a liquid reaches; zero: not given

	TransferFlow units.VolumeFlow // of slurry from the tank into the column; zero: not given
	ColumnMass   units.Mass       // of the empty column; zero: not given
}

// Recovery is how a bed rises after the flow has stopped, as the user's own record
// of heights shows it,
//
//	d(t) = (L0 - L)·[Fast·(1 - exp(-t/FastTime)) + Slow·(1 - exp(-t/SlowTime))]
//
// with the settled height L0 and the height L under the flow. What Fast and Slow
// leave of 1 stays compressed.
type Recovery struct {
	Fast     float64    // part of the compression that comes back first
	FastTime units.Time // zero: no record
	Slow     float64    // part that comes back later; zero: none
	SlowTime units.Time
}

// FirstBy is how liquid goes through the column in step 1.
type FirstBy int

const (
	// SealedAdapter: the adapter is sealed on the liquid above the slurry, and the
	// pump drives the liquid through it.
	SealedAdapter FirstBy = iota
	// OpenTop: the top is open, the outlet too; liquid is added above as it leaves.
	// Only the height of the liquid drives it.
	OpenTop
	// DrawnFromOutlet: the top is open, and a pump at the outlet draws the liquid down.
	DrawnFromOutlet
)

// String names the way.
func (f FirstBy) String() string {
	switch f {
	case SealedAdapter:
		return "adapter sealed on the liquid"
	case OpenTop:
		return "open top, outlet open"
	case DrawnFromOutlet:
		return "open top, drawn from the outlet"
	}
	return "unknown way"
}

// Then is how a column that was filled by suction is packed.
type Then int

const (
	// ByAdapter: the bed settles, and the adapter compresses it.
	ByAdapter Then = iota
	// ByFlow: two steps of constant flow, and the adapter catches the bed.
	ByFlow
)

// String names the way.
func (t Then) String() string {
	switch t {
	case ByAdapter:
		return "by adapter"
	case ByFlow:
		return "by flow"
	}
	return "unknown way"
}

// A Duty is a process step: a use of the packed column.
type Duty struct {
	Name        string
	Velocity    units.Velocity
	Liquid      string            // empty: that of Mixture, or water if Viscosity is zero
	Mixture     liquid.Liquid     // a liquid whose viscosity is known at every temperature; zero: water
	Product     bool              // the product at its highest concentration in the bed
	Temperature units.Temperature // zero: the coldest of the site, or that of packing
	Viscosity   units.Viscosity   // at Temperature; zero: that of Mixture
}

// Catch is how the adapter is driven to its target position after the second step.
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
	Request    Request

	Viscosity units.Viscosity // of the packing liquid
	Bed       Bed
	Pour      Pour
	First     FirstStep
	Second    SecondStep
	Third     ThirdStep
	Adapter   AdapterDrive
	Reach     Reach

	EmptyColumn EmptyColumn
	Rises       []Rise          // after a stop
	Lowering    []Lowering      // re-expansion against the speed of the adapter, slowest first
	Choices     []Choice        // if the settled height is not the planned one
	Pressures   []PressureLimit // lowest first
	Gauge       []GaugeRow      // what the gauge shows in each step
	Flows       []VelocityLimit // lowest first
	Duties      []DutyCheck     // in the order asked
	Stands      []Stand         // what other liquids may flow at
	Forces      []EndPlateForce
	Test        PulseTest
	Buffer      []BufferRow
	Large       []LargeRow // for columns from 30 cm

	Checklist []string // before packing
	Stages    []Stage
	Sheet     []SheetRow
	Cautions  []string // about these numbers
	Unknown   []string // what the method cannot predict
	Safety    []string

	phases []phase // to play it forward
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
	SlurryVolume units.Volume   // into the column
	Prepared     units.Volume   // with what stays behind
	SlurryHeight units.Length   // with the rinse
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
	Recovers          units.Length   // at most, while the adapter moves; NaN without a curve
}

// SecondStep compresses the bed.
type SecondStep struct {
	Velocity          units.Velocity // NaN: not determined
	Flow              units.VolumeFlow
	CompressionFactor float64        // by flow alone; NaN without a curve
	Pressure          units.Pressure // NaN without a curve
	BedHeight         units.Length   // under flow; NaN without a curve
	AdapterTravel     units.Length   // from the bed of the first step to its target position
	RiseBound         units.Velocity // at which the surface starts to rise when the flow stops
	Time              units.Time     // until 99 % of the compression, about; NaN without a curve
	Raise             []RaiseStep    // how the flow is raised; the last one is the packing velocity
}

// A RaiseStep is a stretch of the way up to the packing velocity. What the curve
// does not tell is NaN.
type RaiseStep struct {
	Velocity          units.Velocity
	Flow              units.VolumeFlow
	CompressionFactor float64
	Pressure          units.Pressure // over the bed
	BedHeight         units.Length
	After             units.Time // since the start of a ramp; NaN: in steps
}

// ThirdStep is the one further step if the bed is not at its target.
type ThirdStep struct {
	Velocity          units.Velocity
	Flow              units.VolumeFlow
	CompressionFactor float64        // NaN without a curve
	Pressure          units.Pressure // NaN without a curve
}

// AdapterDrive is the way of the adapter that ends at its target.
type AdapterDrive struct {
	From, To          units.Length // above the bottom net
	Speed             units.Velocity
	Time              units.Time
	Displaced         units.VolumeFlow // of liquid, while it moves sealed
	Risen             units.Length     // by the bed before the adapter meets it, at most
	CompressionFactor float64          // by the adapter alone; NaN: not by it
	Load              units.Pressure   // that holds the bed at its target; NaN without a law
	Force             units.Force      // of that load, without friction of the seal
	Margin            float64          // 1 - force/limit; NaN: not checked
	TopVoid           float64          // under the load; NaN without a law
	BottomVoid        float64
}

// Reach is how far flow alone compresses the bed.
type Reach struct {
	Curve    bed.Point      // end of the curve; NaN without one
	Ceiling  float64        // compression factor at the critical velocity, by the law; NaN without one
	Critical units.Velocity // by the law; NaN without one
}

// EmptyColumn is what nets, distributors and hoses add to the pressure, at the
// highest velocity of the pump; NaN if it was not given.
type EmptyColumn struct {
	Velocity units.Velocity
	Pressure units.Pressure
}

// A Rise is how far the bed has come up after a stop.
type Rise struct {
	After    units.Time
	AtMost   units.Length // at the velocity that was flowing, or all that was compressed
	ByRecord units.Length // by the user's record, as far as it does not pass AtMost; NaN without one
}

// A Lowering is what the stop and a speed of the adapter do to the bed, with the
// outlet shut and with it open. The adapter starts where it waits.
type Lowering struct {
	Speed units.Velocity
	Time  units.Time   // to the target position
	Shut  units.Length // by which the bed has risen at most when the adapter meets it, outlet shut
	Open  units.Length // the same, outlet open: the displaced liquid holds the bed; NaN: faster than the flow before

	Pressure units.Pressure // over the bed while the adapter moves, outlet open; NaN: not known
	Force    units.Force    // of that pressure on the adapter; NaN: not known
}

// A GaugeRow is what the gauge shows at the end of a step, when to act and when to
// stop. A bed that is still forming reads less. What is not known is NaN.
type GaugeRow struct {
	Step      string
	Velocity  units.Velocity
	BedHeight units.Length
	Expected  units.Pressure // with the empty column's part, if that was given
	Act       units.Pressure // NaN: not given by the user
	Stop      units.Pressure // the lowest limit; NaN: no limit was given
	StopBy    string         // which limit that is
	Error     units.Pressure // 95 % of the curve alone, as a half width; NaN: not known
}

// A Stand is the highest velocity at which a liquid drags no more than the packed
// bed stands, with the drag margin.
type Stand struct {
	Liquid      string
	Temperature units.Temperature
	Viscosity   units.Viscosity // NaN: not known at that temperature
	Velocity    units.Velocity  // NaN: not known
}

// A Choice is what to do when the bed after the first step stands at another
// height than planned.
type Choice struct {
	Found    units.Length // bed height, as it is read
	Way      packing.Decision
	Velocity units.Velocity // of the second step that keeps the height; NaN: not known, or out of reach
	Pressure units.Pressure // with it
	Load     units.Pressure // of the adapter that keeps the height, by the law; NaN: not known
}

// A BufferRow is liquid that the pack takes.
type BufferRow struct {
	What   string
	Volume units.Volume
}

// A LargeRow is what a large column asks for.
type LargeRow struct{ What, Value string }

// A PressureLimit is a limit against what the procedure needs.
type PressureLimit struct {
	Name     string
	Limit    units.Pressure
	Expected units.Pressure // by the curve itself; NaN: not known
	Used     units.Pressure // held against the limit: the upper end of the curve's 95 % interval if it has errors, else Expected
	Margin   float64        // 1 - used/limit; NaN: not checked
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
	Margin     float64        // drag of packing over that of the duty; where the adapter compressed, the drag at which flow alone would; NaN: not checked
	Wanted     float64
	Pressure   units.Pressure // of the packed bed, about, in proportion to drag; NaN without a curve
}

// An EndPlateForce is the force of a pressure on the end plate, F = PA.
type EndPlateForce struct {
	At       string
	Pressure units.Pressure
	Force    units.Force
	Margin   float64 // 1 - force/rating, the rating as typed from the plate; NaN: not given
}

// PulseTest is the test after packing: its recipe with what was taken, and what it
// leads to on this bed. Of a refused procedure it holds the refusal.
type PulseTest struct {
	efficiency.Expectation
	ColumnTime units.Time // for one column volume
}

// A Stage is what people do, and how they know that it is over. A number that is
// not known, or does not apply, is NaN.
type Stage struct {
	Name   string
	Valves string   // in words
	Open   []string // paths for liquid or air that are open throughout, and stay open at the end
	Do     string
	Watch  string
	Ends   string

	Time      units.Time // about
	Longest   units.Time // bound, whatever the beads' density
	Velocity  units.Velocity
	Flow      units.VolumeFlow
	Volume    units.Volume   // in Time
	Pressure  units.Pressure // over the bed
	BedHeight units.Length   // at the end
	Adapter   units.Length   // its lower face above the bottom net at the end; NaN: out of the tube
}

// A SheetRow is a line to fill in at the column.
type SheetRow struct{ What, Expected string }

// TotalBuffer returns all liquid that the pack takes.
func (p Procedure) TotalBuffer() units.Volume {
	var v units.Volume
	for _, b := range p.Buffer {
		v += b.Volume
	}
	return v
}
