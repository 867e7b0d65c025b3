package packing

import "fmt"

// MediumClass is the kind of a medium, as far as packing goes.
type MediumClass int

// The classes. A class that was not given is UnknownClass.
const (
	UnknownClass MediumClass = iota
	SoftGel
	RigidPolymer
	Mineral // silica, glass, apatite: beads that do not give way
)

// String names the class.
func (c MediumClass) String() string {
	switch c {
	case UnknownClass:
		return "not given"
	case SoftGel:
		return "soft gel"
	case RigidPolymer:
		return "rigid polymer"
	case Mineral:
		return "silica, glass or apatite"
	}
	return fmt.Sprintf("class %d", int(c))
}

// UsualCompression returns the compression factors that beds of the class
// usually are packed to (common practice, no source); both are zero if the class
// was not given. In a bed of minerals the beads move closer without giving way,
// and laws of stress do not apply.
func (c MediumClass) UsualCompression() (low, high float64) {
	switch c {
	case SoftGel:
		return 1.10, 1.20
	case RigidPolymer:
		return 1.03, 1.10
	case Mineral:
		return 1.00, 1.05
	}
	return 0, 0
}

// Check refuses a class that is none.
func (c MediumClass) Check() error {
	if c < UnknownClass || c > Mineral {
		return &InputError{"", c.String(), "there is no such class", "write packing.SoftGel, packing.RigidPolymer or packing.Mineral"}
	}
	return nil
}
