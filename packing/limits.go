package packing

import "github.com/evenbed/evenbed/packing/units"

// Limits are bounds of the installation around column and medium. A limit that
// is zero was not given, and is reported as not checked.
type Limits struct {
	SystemPressure units.Pressure   // of pump, hoses and valves, or the set point of the relief device
	PumpFlow       units.VolumeFlow // the most the pump delivers
}

// Check refuses limits that cannot be.
func (l Limits) Check() error {
	if err := CheckPressure("system pressure limit", l.SystemPressure); err != nil {
		return err
	}
	return optional("", "pump flow limit", l.PumpFlow.String(), float64(l.PumpFlow),
		1e-12, 0.1, "0.06 mL/min", "360000 L/h", "300 * LitrePerHour")
}
