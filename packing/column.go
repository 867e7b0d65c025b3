package packing

import (
	"fmt"

	"github.com/evenbed/evenbed/packing/units"
)

// Column is an empty column: a tube with a movable adapter.
type Column struct {
	Tag           string         // the plant's own name: "column 04"
	InnerDiameter units.Length   // of the tube
	TubeHeight    units.Length   // inside, from the bottom net to the rim; zero: not given
	Extension     units.Length   // of a packing tube set on top; zero: none
	Allowance     units.Length   // kept free of slurry below the rim, for adapter and overlay; zero: none
	MaxPressure   units.Pressure // marked on the column, derated by the user; zero: not given
}

// longestTube is the most that a tube, or an extension, may be.
const longestTube = 5 * units.Metre

// Check refuses a column that cannot be. What was not given passes, except the
// diameter.
func (c Column) Check() error {
	if err := span(c.name(), "inner diameter", c.InnerDiameter,
		1e-3, 3, "1 mm", "3 m", "30 * Centimetre"); err != nil {
		return err
	}
	for _, l := range []struct {
		what string
		l    units.Length
	}{{"tube height", c.TubeHeight}, {"extension", c.Extension}, {"allowance", c.Allowance}} {
		if err := optional(c.name(), l.what, l.l,
			1e-3, float64(longestTube), "1 mm", "5 m", "60 * Centimetre"); err != nil {
			return err
		}
	}
	if c.TubeHeight > 0 && c.Usable() <= 0 {
		return &InputError{c.name(), fmt.Sprintf("allowance %v", c.Allowance),
			fmt.Sprintf("leaves nothing of the tube of %v", c.TubeHeight+c.Extension), "give a smaller allowance"}
	}
	return optional(c.name(), "maximum pressure", c.MaxPressure,
		100, 1e8, "1 mbar", "1000 bar", "3 * Bar")
}

// name is how messages call the column.
func (c Column) name() string {
	if c.Tag == "" {
		return "column"
	}
	return c.Tag
}

// Area returns the inner cross-section, A = πD²/4.
func (c Column) Area() units.Area { return c.InnerDiameter.Disc() }

// Volume returns the volume of a bed of the given height, V = AL; for the
// packed bed it is one column volume.
func (c Column) Volume(bed units.Length) units.Volume { return c.Area().Filled(bed) }

// Flow returns the flow that runs at superficial velocity u, Q = uA.
func (c Column) Flow(u units.Velocity) units.VolumeFlow { return u.Across(c.Area()) }

// Velocity returns the superficial velocity of a flow, u = Q/A.
func (c Column) Velocity(q units.VolumeFlow) units.Velocity { return q.Through(c.Area()) }

// ResidenceTime returns the time in which flow q moves one column volume of a
// bed, V/Q = L/u.
func (c Column) ResidenceTime(bed units.Length, q units.VolumeFlow) units.Time {
	return bed.Passed(c.Velocity(q))
}

// Usable returns how high slurry may stand: tube and extension less allowance.
// It means nothing while the tube height is not given.
func (c Column) Usable() units.Length { return c.TubeHeight + c.Extension - c.Allowance }

// CheckSlurry refuses a slurry that would stand higher than the tube takes, and
// names the height needed, the least concentration and the extension that would
// do. The settled height is that of the bed after settling by gravity. A column
// without a tube height passes: its caller says "not checked".
func (c Column) CheckSlurry(s Slurry, settled units.Length) error {
	return c.checkSlurry(s, settled, 0)
}

// checkSlurry is CheckSlurry with a rinse that stands in the tube too.
func (c Column) checkSlurry(s Slurry, settled units.Length, rinse units.Volume) error {
	above := rinse.Height(c.Area())
	need := s.Height(settled) + above
	if c.TubeHeight == 0 || need <= c.Usable() {
		return nil
	}
	extension := fmt.Sprintf("an extension of %.1f cm more", ceilTenth((need - c.Usable()).In(units.Centimetre)))
	if c.Extension+need-c.Usable() > longestTube-units.Millimetre {
		extension = "another column, no extension is that long"
	}
	var remedy string
	room := c.Usable() - above // for the slurry itself
	switch least := ceilTenth(settled.In(room) * 100); {
	case settled > c.Usable():
		remedy = fmt.Sprintf("even the settled bed of %v does not fit: use %s", settled, extension)
	case room <= 0 || least > 100:
		remedy = fmt.Sprintf("with the rinse even the settled bed of %v does not fit: use %s, or less rinse", settled, extension)
	default:
		remedy = fmt.Sprintf("use a slurry of at least %.1f %%, %s, or fill in stages", least, extension)
	}
	stands := fmt.Sprintf("stands %.1f cm high", need.In(units.Centimetre))
	if rinse > 0 {
		stands = fmt.Sprintf("stands %.1f cm high with %v of rinse", need.In(units.Centimetre), rinse)
	}
	tube := fmt.Sprintf("the tube takes %.1f cm", c.Usable().In(units.Centimetre))
	if c.Extension != 0 || c.Allowance != 0 {
		tube += fmt.Sprintf(" (tube %.1f cm + extension %.1f cm - allowance %.1f cm)",
			c.TubeHeight.In(units.Centimetre), c.Extension.In(units.Centimetre), c.Allowance.In(units.Centimetre))
	}
	return &InputError{c.name(), fmt.Sprintf("slurry of %v %s", s.Concentration, stands), tube, remedy}
}
