package units

// Time is a time in seconds.
type Time float64

// Units of time.
const (
	Second      Time = 1
	Millisecond      = 1e-3 * Second
	Minute           = 60 * Second
	Hour             = 3600 * Second
)

// In returns the number of units in t.
func (t Time) In(unit Time) float64 { return float64(t) / float64(unit) }

// Times returns v times the time t: Minute.Times(v).
func (t Time) Times(v float64) Time { return Time(v * float64(t)) }

// Each returns values in the unit t: Minute.Each(1, 2.5).
func (t Time) Each(values ...float64) []Time {
	all := make([]Time, len(values))
	for i, x := range values {
		all[i] = t.Times(x)
	}
	return all
}

// String shows t in ms, s (from 1 s), min (from 1 min) or h (from 2 h).
func (t Time) String() string {
	return show(float64(t), "s",
		step{1e-3, "ms", 0}, step{1, "s", 1}, step{60, "min", 60}, step{3600, "h", 7200})
}

// Velocity is a superficial velocity, flow over the area of the empty tube, in
// metres per second.
type Velocity float64

// Units of velocity.
const (
	MetrePerSecond      Velocity = 1
	CentimetrePerHour            = MetrePerSecond / 360000
	CentimetrePerMinute          = MetrePerSecond / 6000
	MillimetrePerSecond          = 1e-3 * MetrePerSecond
)

// In returns the number of units in u.
func (u Velocity) In(unit Velocity) float64 { return float64(u) / float64(unit) }

// Times returns v times the velocity u: CentimetrePerHour.Times(v).
func (u Velocity) Times(v float64) Velocity { return Velocity(v * float64(u)) }

// Each returns values in the unit u: CentimetrePerHour.Each(1, 2.5).
func (u Velocity) Each(values ...float64) []Velocity {
	all := make([]Velocity, len(values))
	for i, x := range values {
		all[i] = u.Times(x)
	}
	return all
}

// String shows u in cm/h.
func (u Velocity) String() string {
	return show(float64(u), "cm/h", step{float64(CentimetrePerHour), "cm/h", 0})
}

// Across returns the flow of velocity u through an area a, ua.
func (u Velocity) Across(a Area) VolumeFlow { return VolumeFlow(float64(u) * float64(a)) }

// For returns the length that velocity u covers in t, ut.
func (u Velocity) For(t Time) Length { return Length(float64(u) * float64(t)) }

// VolumeFlow is a volumetric flow in cubic metres per second.
type VolumeFlow float64

// Units of flow.
const (
	CubicMetrePerSecond VolumeFlow = 1
	LitrePerHour                   = CubicMetrePerSecond / 3600e3
	LitrePerMinute                 = CubicMetrePerSecond / 60e3
	MillilitrePerMinute            = CubicMetrePerSecond / 60e6
)

// In returns the number of units in q.
func (q VolumeFlow) In(unit VolumeFlow) float64 { return float64(q) / float64(unit) }

// Times returns v times the flow q: LitrePerHour.Times(v).
func (q VolumeFlow) Times(v float64) VolumeFlow { return VolumeFlow(v * float64(q)) }

// Each returns values in the unit q: LitrePerHour.Each(1, 2.5).
func (q VolumeFlow) Each(values ...float64) []VolumeFlow {
	all := make([]VolumeFlow, len(values))
	for i, x := range values {
		all[i] = q.Times(x)
	}
	return all
}

// String shows q in mL/min or L/h (from 6 L/h, which is 100 mL/min).
func (q VolumeFlow) String() string {
	return show(float64(q), "L/h",
		step{float64(MillilitrePerMinute), "mL/min", 0},
		step{float64(LitrePerHour), "L/h", 100 * float64(MillilitrePerMinute)})
}

// Through returns the mean velocity of flow q through an open area a, u = q/a.
func (q VolumeFlow) Through(a Area) Velocity { return Velocity(float64(q) / float64(a)) }

// For returns the volume that flow q moves in t, qt.
func (q VolumeFlow) For(t Time) Volume { return Volume(float64(q) * float64(t)) }
