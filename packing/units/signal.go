package units

// Fraction is a part of a whole, or a ratio, as a number without dimension.
type Fraction float64

// Units of a fraction.
const (
	Percent  Fraction = 0.01
	Permille Fraction = 0.001
)

// In returns the number of units in f.
func (f Fraction) In(unit Fraction) float64 { return float64(f) / float64(unit) }

// Times returns v times the fraction f: Percent.Times(v).
func (f Fraction) Times(v float64) Fraction { return Fraction(v * float64(f)) }

// String shows f in percent.
func (f Fraction) String() string { return show(float64(f), "%", step{0.01, "%", 0}) }

// Absorbance is a decadic absorbance in absorbance units.
type Absorbance float64

// Units of absorbance.
const (
	AU      Absorbance = 1
	MilliAU            = 1e-3 * AU
)

// In returns the number of units in a.
func (a Absorbance) In(unit Absorbance) float64 { return float64(a) / float64(unit) }

// Times returns v times the absorbance a: MilliAU.Times(v).
func (a Absorbance) Times(v float64) Absorbance { return Absorbance(v * float64(a)) }

// String shows a in mAU or AU (from 1 AU).
func (a Absorbance) String() string {
	return show(float64(a), "mAU", step{1e-3, "mAU", 0}, step{1, "AU", 1})
}

// Conductivity is an electrolytic conductivity in siemens per metre.
type Conductivity float64

// Units of conductivity.
const (
	SiemensPerMetre           Conductivity = 1
	MillisiemensPerCentimetre              = 0.1 * SiemensPerMetre
	MicrosiemensPerCentimetre              = 1e-4 * SiemensPerMetre
)

// In returns the number of units in c.
func (c Conductivity) In(unit Conductivity) float64 { return float64(c) / float64(unit) }

// Times returns v times the conductivity c: MillisiemensPerCentimetre.Times(v).
func (c Conductivity) Times(v float64) Conductivity { return Conductivity(v * float64(c)) }

// String shows c in µS/cm or mS/cm (from 1 mS/cm).
func (c Conductivity) String() string {
	return show(float64(c), "mS/cm", step{1e-4, "µS/cm", 0}, step{0.1, "mS/cm", 0.1})
}
