package packing

import "github.com/evenbed/evenbed/packing/units"

// Limits are bounds of the installation around column and medium. A limit that
// is zero was not given, and is reported as not checked.
type Limits struct {
	SystemPressure units.Pressure   // of hoses, valves and instruments
	TubePressure   units.Pressure   // marked on the tube for its material, reduced for temperature, scratches and solvents
	PumpPressure   units.Pressure   // the most the pump may deliver against
	ReliefPressure units.Pressure   // at which the relief device or the pressure trip answers
	PumpFlow       units.VolumeFlow // the most the pump delivers
	LeastPumpFlow  units.VolumeFlow // the least the pump holds steady
	AdapterForce   units.Force      // the most the drive of the adapter may put on the bed
	EndPlateForce  units.Force      // rating of the end plate, as typed from the plate; none is worked out
}

// Check refuses limits that cannot be.
func (l Limits) Check() error {
	for _, p := range []struct {
		name string
		p    units.Pressure
	}{{"system pressure limit", l.SystemPressure}, {"tube pressure limit", l.TubePressure},
		{"pump pressure limit", l.PumpPressure}, {"relief pressure", l.ReliefPressure}} {
		if err := CheckPressure(p.name, p.p); err != nil {
			return err
		}
	}
	for _, q := range []struct {
		name string
		q    units.VolumeFlow
	}{{"pump flow limit", l.PumpFlow}, {"least pump flow", l.LeastPumpFlow}} {
		if err := optional("", q.name, q.q,
			1e-12, 0.1, "0.06 mL/min", "360000 L/h", "300 * LitrePerHour"); err != nil {
			return err
		}
	}
	for _, f := range []struct {
		name string
		f    units.Force
	}{{"adapter force limit", l.AdapterForce}, {"rating of the end plate", l.EndPlateForce}} {
		if err := optional("", f.name, f.f, 0.1, 1e8, "0.1 N", "100000 kN", "20 * Kilonewton"); err != nil {
			return err
		}
	}
	return nil
}
