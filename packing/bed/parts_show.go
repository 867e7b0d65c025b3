package bed

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

// String says velocity, compression factor and pressure.
func (p Point) String() string {
	return fmt.Sprintf("%v: compression factor %.4g, %v", p.Velocity, p.CompressionFactor, p.Pressure)
}

// String says both errors.
func (e PointError) String() string {
	return "compression factor " + withUnit("± ", number.Compact(e.CompressionFactor, 2), "") + ", pressure " + withUnit("± ", number.Compact(e.Pressure.In(units.Bar), 2), " bar")
}

// withUnit puts a sign before a number and its unit behind, unless it is missing.
func withUnit(sign, written, unit string) string {
	if written == number.Missing {
		return written
	}
	return sign + written + unit
}

// String says where bed and suspension end.
func (f Front) String() string {
	return fmt.Sprintf("%v: bed up to %v, suspension up to %v", f.Time, f.Bed, f.Interface)
}

// String says stress, void and lost pressure at the depth.
func (l Layer) String() string {
	return fmt.Sprintf("%v deep: stress %v, void %.4g, pressure lost %v", l.Depth, l.Stress, l.Void, l.Pressure)
}

// String says both states.
func (l Lag) String() string { return fmt.Sprintf("up %v; down %v", l.Up, l.Down) }

// String says what was read, and whether it was steady.
func (s Step) String() string {
	return fmt.Sprintf("%v to %v, %v, %v: pressure over the bed %s, height %s, %s", s.From, s.To, s.Direction, s.Velocity,
		withUnit("", number.Fixed(s.Pressure.In(units.Bar), 4), " bar"), withUnit("", number.Fixed(s.Height.In(units.Centimetre), 3), " cm"), s.verdict())
}

// cells are value, standard error, interval and unit of the parameter.
func (x Parameter) cells() []string {
	if x.Held {
		return []string{number.Compact(x.Value/x.one, 4), "held", "", x.unit}
	}
	low, high := x.Low/x.one, x.High/x.one
	// Value and both ends to the same place, to two or three digits of the width.
	places := 4
	if width := high - low; width > 0 && finite(width) {
		places = min(max(0, 1-int(math.Floor(math.Log10(width)))), 8)
	}
	return []string{number.Fixed(x.Value/x.one, places), number.Compact(x.StdErr/x.one, 2), number.Fixed(low, places) + " to " + number.Fixed(high, places), x.unit}
}

// String says the value with its standard error.
func (x Parameter) String() string {
	if x.one == 0 {
		return fmt.Sprintf("%s %.4g in SI units", x.Name, x.Value)
	}
	c := x.cells()
	if x.Held {
		return fmt.Sprintf("%s %s %s, held", x.Name, c[0], x.unit)
	}
	return fmt.Sprintf("%s %s ± %s %s", x.Name, c[0], c[1], x.unit)
}

// String says the bound.
func (b VelocityBound) String() string { return fmt.Sprintf("%s: %v", b.Name, b.Velocity) }

// String says slope, intercept and the ratios they were measured at.
func (l CriticalLine) String() string {
	return fmt.Sprintf("u·L0 = %.5g·(L0/D) + %.5g cm²/h at %v, settled height over diameter from %.3g to %.3g",
		l.Slope.In(SquareCentimetrePerHour), l.Intercept.In(SquareCentimetrePerHour), l.Viscosity, l.LeastRatio, l.MostRatio)
}

// Page shows the state.
func (s LineState) Page() page.Page {
	var p page.Page
	if s.Height == 0 {
		p.NoResult(s.Refusal, "nothing has been worked out.")
		return p
	}
	if s.Extrapolated {
		p.Notice("Doubt:", "the size lies outside of the measured ratios of height over diameter.")
	}
	t := table.Table{Caption: fmt.Sprintf("Bed at %v after the critical line", s.Velocity), RowHeaders: true, Columns: []table.Column{
		{Name: "what"}, {Name: "value", Right: true}, {Name: "unit"}}}
	t.Add("critical velocity", number.Fixed(s.Critical.In(units.CentimetrePerHour), 1), "cm/h")
	t.Add("part of the critical velocity", number.Fixed(100*s.Velocity.In(s.Critical), 1), "%")
	t.Add("height lost, of the settled height", number.Fixed(s.Loss, 4), "")
	t.Add("height", number.Fixed(s.Height.In(units.Centimetre), 2), "cm")
	t.Add("compression factor", number.Fixed(s.CompressionFactor, 4), "")
	t.Add("void", number.Fixed(s.Void, 4), "")
	t.Add("pressure drop", number.Compact(s.Pressure.In(units.Bar), 4), "bar")
	p.Table(t)
	p.List("Cautions", []string{caution})
	return p
}

// String returns the page as text.
func (s LineState) String() string { return s.Page().String() }

// Page shows what the size allows.
func (b ScaledBed) Page() page.Page {
	var p page.Page
	if b.Critical == 0 {
		p.NoResult(nil, "nothing has been worked out.")
		return p
	}
	t := scaledTable("What a bed of " + b.Size.String() + " allows")
	t.Add(b.row()...)
	p.Table(t)
	p.List("Cautions", []string{caution})
	return p
}

// String returns the page as text.
func (b ScaledBed) String() string { return b.Page().String() }
