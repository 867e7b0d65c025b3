package bed

import (
	"errors"
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// A Size is that of a bed in its column.
type Size struct {
	InnerDiameter units.Length
	SettledHeight units.Length
}

// String says diameter by height.
func (s Size) String() string { return fmt.Sprintf("%v by %v", s.InnerDiameter, s.SettledHeight) }

// Ratio returns settled height over inner diameter.
func (s Size) Ratio() float64 { return s.SettledHeight.In(s.InnerDiameter) }

// In returns the same medium and liquid as a bed of another size.
func (b Compressible) In(s Size) Compressible {
	b.InnerDiameter, b.SettledHeight = s.InnerDiameter, s.SettledHeight
	return b
}

// VelocityForPressure returns the velocity at which the bed has a pressure drop.
// It refuses what CriticalVelocity refuses, a pressure that is not above zero, and
// with a *CriticalError one that the bed does not reach before its critical
// velocity.
func (b Compressible) VelocityForPressure(p units.Pressure) (units.Velocity, error) {
	nan := units.Velocity(math.NaN())
	critical, err := b.CriticalVelocity()
	if err != nil {
		return nan, err
	}
	if !(p > 0) || math.IsInf(float64(p), 0) {
		return nan, &packing.InputError{Where: b.name(), What: fmt.Sprintf("pressure %v", p), Problem: "it must be above zero"}
	}
	miss := func(u float64) float64 {
		y, ok := b.solve(units.Velocity(u), nil)
		if !ok {
			return float64(p)
		}
		return y.pressure - float64(p)
	}
	u := root(miss, 0, float64(critical), -float64(p), float64(p))
	if math.Abs(miss(u)) > 1e-6*float64(p) {
		return nan, &CriticalError{b.name(), units.Velocity(u), critical}
	}
	return units.Velocity(u), nil
}

// ScaleUp asks what one medium in one liquid does in columns of several sizes. A
// wide column gives less support than the narrow one in which the medium was
// tried: the same velocity compresses it more.
type ScaleUp struct {
	Bed Compressible // its diameter and settled height are not used
	// Fit stands for Bed if that has no law: its beds carry the errors of what was
	// estimated and of a friction that was guessed, and Part is of the lower end of the
	// critical velocity's interval. Bed then gives the viscosity alone; zero: that of
	// the first measured curve.
	Fit         LawFit
	Sizes       []Size
	Part        float64        // of the critical velocity that is allowed; zero: not given
	MaxPressure units.Pressure // over the bed; zero: not given
}

// A ScaledBed is the bed in one of the sizes.
type ScaledBed struct {
	Size     Size
	Critical units.Velocity
	Ceiling  float64 // compression factor at the critical velocity
	Allowed  State   // at the allowed velocity; zero without one
	By       string  // which limit sets the allowed velocity; empty: none does
	// Standard errors of Critical, and of Allowed at its velocity; zero without a Fit.
	CriticalStdErr units.Velocity
	AllowedStdErr  PointError
	// NotDetermined says why the data of a Fit do not determine Critical; empty: they
	// do, or there is no Fit.
	NotDetermined string
}

// ScaleUpResult holds the beds in the order of the sizes.
type ScaleUpResult struct {
	ScaleUp ScaleUp
	Beds    []ScaledBed
	Refusal error // why there are no numbers, or nil
}

// Evaluate returns critical velocity, ceiling and allowed velocity of every size;
// the allowed velocity is the lowest that the limits give. It refuses sizes and
// limits that cannot be, and what the bed's Check refuses.
func (s ScaleUp) Evaluate() (ScaleUpResult, error) {
	r, err := s.evaluate()
	if err != nil {
		return ScaleUpResult{ScaleUp: s, Refusal: err}, err
	}
	return r, nil
}

func (s ScaleUp) evaluate() (ScaleUpResult, error) {
	bad := func(what, problem, remedy string) (ScaleUpResult, error) {
		return ScaleUpResult{}, &packing.InputError{Where: s.Bed.name(), What: what, Problem: problem, Remedy: remedy}
	}
	switch {
	case len(s.Sizes) == 0:
		return bad("sizes", "there are none", "write for example []bed.Size{{InnerDiameter: 30 * Centimetre, SettledHeight: 20 * Centimetre}}")
	case s.Part != 0 && !(s.Part > 0 && s.Part < 1):
		return bad(fmt.Sprintf("part %v of the critical velocity", s.Part), "it must be between 0 and 1", "0.7 to 0.8 is common practice")
	case !(s.MaxPressure >= 0 && s.MaxPressure <= 1e8):
		return bad(fmt.Sprintf("maximum pressure %v", s.MaxPressure), "it must be between 0 and 1000 bar", "write for example 2 * Bar")
	}
	fitted := s.Bed.Law == nil && s.Fit.problem.law != nil
	if fitted {
		label, mu := s.Bed.Label, s.Bed.Viscosity
		s.Bed = s.Fit.In(Size{}, mu)
		s.Bed.Label = label
	}
	r := ScaleUpResult{ScaleUp: s}
	for _, size := range s.Sizes {
		b := s.Bed.In(size)
		critical, err := b.CriticalVelocity()
		if err != nil {
			return ScaleUpResult{}, fmt.Errorf("%v: %w", size, err)
		}
		ceiling, err := b.Ceiling()
		if err != nil {
			return ScaleUpResult{}, fmt.Errorf("%v: %w", size, err)
		}
		scaled := ScaledBed{Size: size, Critical: critical, Ceiling: ceiling}
		lowest, of := critical, "critical"
		if fitted {
			e, err := s.Fit.CriticalAt(size, b.Viscosity)
			if err != nil {
				return ScaleUpResult{}, fmt.Errorf("%v: %w", size, err)
			}
			scaled.CriticalStdErr = e.StdErr
			lowest, of = e.Low, "critical's lower end"
			if !e.Determined {
				scaled.NotDetermined = e.Reason
			}
		}
		allowed := units.Velocity(math.Inf(1))
		if s.Part > 0 {
			allowed, scaled.By = lowest.Times(s.Part), fmt.Sprintf("%.0f %% of %s", 100*s.Part, of)
		}
		if s.MaxPressure > 0 {
			u, err := b.VelocityForPressure(s.MaxPressure)
			var beyond *CriticalError // the pressure limit is not reached
			if err != nil && !errors.As(err, &beyond) {
				return ScaleUpResult{}, fmt.Errorf("%v: %w", size, err)
			}
			if err == nil && u < allowed {
				allowed, scaled.By = u, "pressure limit"
			}
		}
		if scaled.By != "" {
			if scaled.Allowed, err = b.At(allowed); err != nil {
				return ScaleUpResult{}, fmt.Errorf("%v: %w", size, err)
			}
			if fitted {
				scaled.AllowedStdErr, _ = s.Fit.errorAt(b, allowed)
			}
		}
		r.Beds = append(r.Beds, scaled)
	}
	return r, nil
}

// title is how headings call it.
func (r ScaleUpResult) title() string {
	if r.ScaleUp.Bed.Label == "" {
		return "Sizes"
	}
	return "Sizes, " + r.ScaleUp.Bed.Label
}

// Page shows what each size allows, and the picture.
func (r ScaleUpResult) Page() page.Page {
	var p page.Page
	if len(r.Beds) == 0 {
		p.NoResult(r.Refusal, "nothing has been worked out.")
		return p
	}
	p.Heading(r.title())
	if r.ScaleUp.Part == 0 {
		p.Notice("Not checked:", "the distance from the critical velocity (no Part given).")
	}
	if r.ScaleUp.MaxPressure == 0 {
		p.Notice("Not checked:", "the pressure over the bed (no MaxPressure given).")
	}
	if r.ScaleUp.Bed.WallFriction == 0 {
		p.Notice("Doubt:", "without friction at the wall all diameters are alike.")
	}
	if r.ScaleUp.Fit.problem.law != nil {
		p.List("Doubts", r.ScaleUp.Fit.doubts)
	}
	for _, b := range r.Beds {
		if b.NotDetermined != "" {
			p.Notice("Not determined:", fmt.Sprintf("the critical velocity of %v: %s.", b.Size, b.NotDetermined))
		}
	}
	p.Table(r.Table())
	p.Figure(r.Figure())
	p.List("Cautions", []string{caution, "Friction at the wall is known from beds of at least two diameters only; columns, pumps and nets have limits of their own."})
	return p
}

// Table returns what each size allows.
func (r ScaleUpResult) Table() table.Table {
	t := scaledTable("What each size allows")
	for _, b := range r.Beds {
		t.Add(b.row()...)
	}
	return t
}

func scaledTable(caption string) table.Table {
	return table.Table{Caption: caption, Columns: []table.Column{
		{Name: "diameter", Unit: "cm", Right: true}, {Name: "settled height", Unit: "cm", Right: true}, {Name: "critical", Unit: "cm/h", Right: true},
		{Name: "largest factor by flow", Right: true}, {Name: "allowed", Unit: "cm/h", Right: true}, {Name: "set by"},
		{Name: "factor there", Right: true}, {Name: "pressure there", Unit: "bar", Right: true}}}
}

func (b ScaledBed) row() []string {
	pm := func(text, format string, err float64) string {
		if err > 0 {
			text += " ± " + fmt.Sprintf(format, err)
		}
		return text
	}
	row := []string{number.Compact(b.Size.InnerDiameter.In(units.Centimetre), 4), number.Compact(b.Size.SettledHeight.In(units.Centimetre), 4),
		pm(number.Fixed(b.Critical.In(units.CentimetrePerHour), 0), "%.0f", b.CriticalStdErr.In(units.CentimetrePerHour)), number.Fixed(b.Ceiling, 3)}
	if b.By == "" {
		return append(row, "", "no limit below critical")
	}
	return append(row, number.Fixed(b.Allowed.Velocity.In(units.CentimetrePerHour), 0), b.By,
		pm(number.Fixed(b.Allowed.CompressionFactor, 3), "%.3f", b.AllowedStdErr.CompressionFactor),
		pm(number.Fixed(b.Allowed.Pressure.In(units.Bar), 3), "%.3f", b.AllowedStdErr.Pressure.In(units.Bar)))
}

// String returns the page as text.
func (r ScaleUpResult) String() string { return r.Page().String() }

// Figure draws the pressure of all sizes against velocity, up to nine tenths of
// each critical velocity, with a dot where each is allowed.
func (r ScaleUpResult) Figure() figure.Figure {
	f := figure.Figure{Title: r.title(), Description: "Pressure against velocity for each size, up to nine tenths of its critical velocity; dots stand at the allowed velocities.",
		X: figure.Axis{Label: "Velocity", Unit: "cm/h", One: float64(units.CentimetrePerHour)},
		Y: figure.Axis{Label: "Pressure", Unit: "bar", One: float64(units.Bar)}}
	for i, scaled := range r.Beds {
		b := r.ScaleUp.Bed.In(scaled.Size)
		var line figure.Points
		for k := range 51 {
			s, err := b.At(scaled.Critical.Times(0.9 * float64(k) / 50))
			if err != nil {
				break
			}
			line.X, line.Y = append(line.X, float64(s.Velocity)), append(line.Y, float64(s.Pressure))
		}
		f.Lines = append(f.Lines, figure.Line{Name: scaled.Size.String(), Points: line})
		if scaled.By != "" {
			x, y := float64(scaled.Allowed.Velocity), float64(scaled.Allowed.Pressure)
			f.Marks = append(f.Marks, figure.Mark{X1: x, Y1: y, X2: x, Y2: y, Colour: i})
		}
	}
	if r.ScaleUp.MaxPressure > 0 {
		f.Levels = []figure.Level{{Y: float64(r.ScaleUp.MaxPressure), Label: "limit of the bed"}}
	}
	return f
}

// A HeightVelocity is a velocity times a bed height, in square metres per second.
type HeightVelocity float64

// SquareCentimetrePerHour is 1 cm/h times 1 cm.
const SquareCentimetrePerHour HeightVelocity = 1e-4 / 3600

// In returns the number of units in v.
func (v HeightVelocity) In(unit HeightVelocity) float64 { return float64(v / unit) }

// A CriticalLine is the correlation of critical velocities measured in columns of
// several proportions,
//
//	u_crit·L0 = m·(L0/D) + b
//
// with slope m and intercept b, both for one medium in one liquid at one
// temperature. They go with the inverse of the viscosity. The values are the
// user's own: no published ones are known here. Source: J. J. Stickel and
// A. Fotopoulos, Biotechnol. Prog. 17 (2001) 740-751, from memory.
type CriticalLine struct {
	Slope, Intercept      HeightVelocity
	Viscosity             units.Viscosity // of the liquid they were measured in
	CriticalLoss          float64         // λ at the critical velocity, height lost over settled height, a property of the medium
	MeanBead              units.Length
	SettledVoid           float64
	LeastRatio, MostRatio float64 // of the measured beds, L0/D
	Extrapolate           bool    // answer outside of these ratios too
}

// A LineState is a bed at a velocity after a CriticalLine.
type LineState struct {
	Velocity, Critical units.Velocity
	Loss               float64 // λ
	Void               float64
	Height             units.Length
	CompressionFactor  float64
	Pressure           units.Pressure
	Extrapolated       bool  // the size lies outside of the measured ratios
	Refusal            error // why there are no numbers, or nil
}

// Check refuses a line that cannot be.
func (l CriticalLine) Check() error {
	bad := func(what, problem string) error {
		return &packing.InputError{Where: "critical line", What: what, Problem: problem, Remedy: "give what was measured"}
	}
	switch {
	case !(l.Slope >= 0) || math.IsInf(float64(l.Slope), 0):
		return bad(fmt.Sprintf("slope %v", float64(l.Slope)), "walls support a bed, so it must not be negative")
	case !(l.Intercept > 0) || math.IsInf(float64(l.Intercept), 0):
		return bad(fmt.Sprintf("intercept %v", float64(l.Intercept)), "it must be above zero")
	case !(l.Viscosity > 0):
		return bad(fmt.Sprintf("viscosity %v", l.Viscosity), "it must be above zero")
	case !(l.SettledVoid > 0 && l.SettledVoid < 1):
		return bad(fmt.Sprintf("settled void %v", l.SettledVoid), "it must be between 0 and 1")
	case !(l.CriticalLoss > 0 && l.CriticalLoss < l.SettledVoid):
		return bad(fmt.Sprintf("critical loss %v", l.CriticalLoss), "it must be between 0 and the settled void")
	case !(l.MeanBead >= 1e-6 && l.MeanBead <= 2e-3):
		return bad(fmt.Sprintf("mean bead %v", l.MeanBead), "it must be between 1 µm and 2 mm")
	case !(l.LeastRatio >= 0 && l.MostRatio >= l.LeastRatio):
		return bad(fmt.Sprintf("ratios %v to %v", l.LeastRatio, l.MostRatio), "they must rise")
	}
	return nil
}

// sameRatio is by how much settled heights over diameter may differ and still be the
// same.
const sameRatio = 0.01

// outside reports whether a settled height over diameter lies outside of the measured
// ones.
func (l CriticalLine) outside(ratio float64) bool {
	return ratio < l.LeastRatio*(1-sameRatio) || ratio > l.MostRatio*(1+sameRatio)
}

// At returns the bed of a size at a velocity u in a liquid of viscosity mu,
//
//	λ = λc·u/u_crit,  ε = (ε0-λ)/(1-λ),  Δp = 150 µu(1-ε)²·L0(1-λ)/(d²ε³)
//
// It refuses what Check refuses, velocities from the critical one on with a
// *CriticalError, and a size outside of the measured ratios unless Extrapolate is
// set.
func (l CriticalLine) At(size Size, mu units.Viscosity, u units.Velocity) (LineState, error) {
	s, err := l.state(size, mu, u)
	if err != nil {
		return LineState{Velocity: u, Refusal: err}, err
	}
	return s, nil
}

func (l CriticalLine) state(size Size, mu units.Viscosity, u units.Velocity) (LineState, error) {
	if err := l.Check(); err != nil {
		return LineState{}, err
	}
	bad := func(what, problem, remedy string) (LineState, error) {
		return LineState{}, &packing.InputError{Where: "critical line", What: what, Problem: problem, Remedy: remedy}
	}
	switch {
	case !(size.InnerDiameter > 0 && size.SettledHeight > 0):
		return bad(fmt.Sprintf("size %v", size), "diameter and height must be above zero", "write for example bed.Size{InnerDiameter: 30 * Centimetre, SettledHeight: 20 * Centimetre}")
	case !(mu > 0):
		return bad(fmt.Sprintf("viscosity %v", mu), "it must be above zero", "write for example 1 * MillipascalSecond")
	case !(u >= 0):
		return bad(fmt.Sprintf("velocity %v", u), "it must not be negative", "")
	}
	ratio := size.Ratio()
	outside := l.outside(ratio)
	if outside && !l.Extrapolate {
		return bad(fmt.Sprintf("height over diameter %.3g", ratio), fmt.Sprintf("it was measured from %.3g to %.3g", l.LeastRatio, l.MostRatio),
			"measure there, or set Extrapolate and keep a margin")
	}
	height := float64(size.SettledHeight)
	critical := units.Velocity((float64(l.Slope)*ratio + float64(l.Intercept)) / height * l.Viscosity.In(mu))
	if u >= critical {
		return LineState{}, &CriticalError{"critical line", u, critical}
	}
	λ := l.CriticalLoss * u.In(critical)
	ε := (l.SettledVoid - λ) / (1 - λ)
	d := float64(l.MeanBead)
	return LineState{Velocity: u, Critical: critical, Loss: λ, Void: ε, Height: units.Length(height * (1 - λ)), CompressionFactor: 1 / (1 - λ),
		Pressure:     units.Pressure(150 * float64(mu) * float64(u) * (1 - ε) * (1 - ε) * height * (1 - λ) / (d * d * ε * ε * ε)),
		Extrapolated: outside}, nil
}
