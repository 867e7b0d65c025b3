package units

import "math"

// Length is a length in metres.
type Length float64

// Units of length.
const (
	Metre      Length = 1
	Centimetre        = 1e-2 * Metre
	Millimetre        = 1e-3 * Metre
	Micrometre        = 1e-6 * Metre
	Nanometre         = 1e-9 * Metre
)

// In returns the number of units in l.
func (l Length) In(unit Length) float64 { return float64(l) / float64(unit) }

// Times returns v times the length l: Centimetre.Times(v).
func (l Length) Times(v float64) Length { return Length(v * float64(l)) }

// Each returns values in the unit l: Centimetre.Each(1, 2.5).
func (l Length) Each(values ...float64) []Length {
	all := make([]Length, len(values))
	for i, x := range values {
		all[i] = l.Times(x)
	}
	return all
}

// String shows l in µm, mm (from 1 mm), cm (from 1 cm) or m (from 1 m).
func (l Length) String() string {
	return show(float64(l), "m",
		step{1e-6, "µm", 0}, step{1e-3, "mm", 1e-3}, step{1e-2, "cm", 1e-2}, step{1, "m", 1})
}

// Disc returns the area of a disc of diameter l, πl²/4.
func (l Length) Disc() Area { return Area(math.Pi / 4 * float64(l) * float64(l)) }

// Passed returns the time in which a front of velocity u passes the length l, l/u.
func (l Length) Passed(u Velocity) Time { return Time(float64(l) / float64(u)) }

// Within returns the velocity that passes the length l within t, l/t.
func (l Length) Within(t Time) Velocity { return Velocity(float64(l) / float64(t)) }

// Area is an area in square metres.
type Area float64

// Units of area.
const (
	SquareMetre      Area = 1
	SquareCentimetre      = 1e-4 * SquareMetre
	SquareMillimetre      = 1e-6 * SquareMetre
)

// In returns the number of units in a.
func (a Area) In(unit Area) float64 { return float64(a) / float64(unit) }

// Times returns v times the area a: SquareCentimetre.Times(v).
func (a Area) Times(v float64) Area { return Area(v * float64(a)) }

// String shows a in mm², cm² (from 1 cm²) or m² (from 1 m²).
func (a Area) String() string {
	return show(float64(a), "m²",
		step{1e-6, "mm²", 0}, step{1e-4, "cm²", 1e-4}, step{1, "m²", 1})
}

// Filled returns the volume of a tube of cross-section a filled to height h, ah.
func (a Area) Filled(h Length) Volume { return Volume(float64(a) * float64(h)) }

// Volume is a volume in cubic metres.
type Volume float64

// Units of volume.
const (
	CubicMetre Volume = 1
	Litre             = 1e-3 * CubicMetre
	Millilitre        = 1e-6 * CubicMetre
	Microlitre        = 1e-9 * CubicMetre
)

// In returns the number of units in v.
func (v Volume) In(unit Volume) float64 { return float64(v) / float64(unit) }

// Times returns n times the volume v: Litre.Times(n).
func (v Volume) Times(n float64) Volume { return Volume(n * float64(v)) }

// Each returns values in the unit v: Litre.Each(1, 2.5).
func (v Volume) Each(values ...float64) []Volume {
	all := make([]Volume, len(values))
	for i, x := range values {
		all[i] = v.Times(x)
	}
	return all
}

// String shows v in µL, mL (from 1 mL) or L (from 1 L).
func (v Volume) String() string {
	return show(float64(v), "L",
		step{1e-9, "µL", 0}, step{1e-6, "mL", 1e-6}, step{1e-3, "L", 1e-3})
}

// Height returns how high the volume v stands in a tube of cross-section a, v/a.
func (v Volume) Height(a Area) Length { return Length(float64(v) / float64(a)) }

// PumpedAt returns the time a flow q needs for the volume v, v/q.
func (v Volume) PumpedAt(q VolumeFlow) Time { return Time(float64(v) / float64(q)) }

// Within returns the flow that moves the volume v within t, v/t.
func (v Volume) Within(t Time) VolumeFlow { return VolumeFlow(float64(v) / float64(t)) }
