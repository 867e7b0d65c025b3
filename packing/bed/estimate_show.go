package bed

import (
	"fmt"
	"math"

	"github.com/evenbed/evenbed/packing/figure"
	"github.com/evenbed/evenbed/packing/fit"
	"github.com/evenbed/evenbed/packing/internal/number"
	"github.com/evenbed/evenbed/packing/internal/page"
	"github.com/evenbed/evenbed/packing/table"
	"github.com/evenbed/evenbed/packing/units"
)

func (r EstimationResult) title() string {
	if r.Estimation.Label == "" {
		return "Parameters of the compressible bed"
	}
	return "Parameters of the compressible bed, " + r.Estimation.Label
}

// Page shows the laws compared, the parameters of the best and the picture.
func (r EstimationResult) Page() page.Page {
	var p page.Page
	if len(r.Fits) == 0 {
		p.NoResult(r.Refusal, "nothing has been fitted.")
		return p
	}
	p.Heading(r.title())
	p.List("Doubts", r.Doubts)
	p.Table(r.Table())
	if r.Best.Bed.Law != nil {
		r.Best.add(&p)
	}
	p.Figure(r.Figure())
	p.List("Taken for granted", r.Taken)
	p.List("Cautions", []string{caution})
	return p
}

// Table returns the laws compared.
func (r EstimationResult) Table() table.Table {
	t := table.Table{Caption: "The laws compared", RowHeaders: true, Columns: []table.Column{{Name: "law"}, {Name: "search"},
		{Name: "pressure off by", Unit: "%", Right: true}, {Name: "height off by", Unit: "mm", Right: true}, {Name: "AICc above best", Right: true},
		{Name: "critical, first bed", Unit: "cm/h", Right: true}}}
	for _, f := range r.Fits {
		above := "no comparison"
		if f.Fit.Converged() {
			above = number.Fixed(f.AICc-r.Best.AICc, 1)
		}
		t.Add(lawName(f.Bed.Law), f.Fit.Status.String(), number.Fixed(f.PressureSD.In(units.Percent), 2), number.Fixed(f.HeightSD.In(units.Millimetre), 2),
			above, r.critical(f))
	}
	return t
}

func (r EstimationResult) critical(f LawFit) string {
	if !f.Fit.Converged() || f.AICc-r.Best.AICc > excluded {
		return "does not fit"
	}
	return f.Critical[0].short()
}

// short writes a critical velocity with its interval.
func (c CriticalEstimate) short() string {
	switch {
	case !finite(float64(c.Velocity)):
		return "none"
	case !c.Determined:
		return "not determined"
	}
	return fmt.Sprintf("%.0f (%.0f to %.0f)", c.Velocity.In(units.CentimetrePerHour), c.Low.In(units.CentimetrePerHour), c.High.In(units.CentimetrePerHour))
}

// Page shows the critical velocity with its interval, and whether the data
// determine it.
func (c CriticalEstimate) Page() page.Page {
	var p page.Page
	if c.Size == (Size{}) || c.Refusal != nil {
		p.NoResult(c.Refusal, "no critical velocity has been worked out.")
		return p
	}
	p.Heading(fmt.Sprintf("Critical velocity of a bed of %v", c.Size))
	switch {
	case !c.Determined:
		p.Notice("Not determined:", c.Reason+".")
	case c.Reason != "":
		p.Notice("Doubt:", c.Reason+".")
	}
	t := table.Table{RowHeaders: true, Columns: []table.Column{{Name: "what"}, {Name: "value", Right: true}, {Name: "unit"}}}
	t.Add("critical velocity", number.Cell(number.Fixed(c.Velocity.In(units.CentimetrePerHour), 0)), "cm/h")
	t.Add("standard error", number.Cell(number.Compact(c.StdErr.In(units.CentimetrePerHour), 2)), "cm/h")
	t.Add("confidence interval", fmt.Sprintf("%.0f to %.0f", c.Low.In(units.CentimetrePerHour), c.High.In(units.CentimetrePerHour)), "cm/h")
	t.Add("viscosity", number.Compact(c.Viscosity.In(units.MillipascalSecond), 4), "mPa·s")
	p.Table(t)
	return p
}

// String returns the page as text.
func (c CriticalEstimate) String() string { return c.Page().String() }

// add puts the parameters of one law on a page.
func (f LawFit) add(p *page.Page) {
	p.Table(f.Table())
	p.Table(f.CorrelationTable())
	p.Table(f.CriticalTable())
}

// CriticalTable returns the critical velocity of each bed.
func (f LawFit) CriticalTable() table.Table {
	percent := f.problem.e.interval()
	t := table.Table{Caption: "Critical velocity", RowHeaders: true, Columns: []table.Column{{Name: "bed"}, {Name: "diameter", Unit: "cm", Right: true},
		{Name: "settled height", Unit: "cm", Right: true}, {Name: "critical", Unit: "cm/h", Right: true}, {Name: percent, Unit: "cm/h", Right: true}, {Name: "determined"}}}
	for i, c := range f.Critical {
		yes := "yes"
		if !c.Determined {
			yes = "no"
		}
		t.Add(f.problem.e.Curves[i].name(), number.Compact(c.Size.InnerDiameter.In(units.Centimetre), 4), number.Compact(c.Size.SettledHeight.In(units.Centimetre), 4),
			number.Cell(number.Fixed(c.Velocity.In(units.CentimetrePerHour), 0)), fmt.Sprintf("%.0f to %.0f", c.Low.In(units.CentimetrePerHour), c.High.In(units.CentimetrePerHour)), yes)
	}
	return t
}

// interval is how headings call the confidence interval.
func (e Estimation) interval() string { return fmt.Sprintf("%.4g %% interval", 100*e.confidence()) }

// Table returns the parameters with their errors.
func (f LawFit) Table() table.Table {
	percent := f.problem.e.interval()
	t := table.Table{Caption: "Best law: " + lawName(f.Bed.Law), RowHeaders: true, Columns: []table.Column{{Name: "parameter"}, {Name: "value", Right: true},
		{Name: "standard error", Right: true}, {Name: percent, Right: true}, {Name: "unit"}}}
	for _, x := range f.Parameters {
		t.Add(append([]string{x.Name}, x.cells()...)...)
	}
	return t
}

// CorrelationTable returns how the parameters that were found go together; it is
// empty for less than two.
func (f LawFit) CorrelationTable() table.Table {
	t := table.Table{Caption: "Correlation of the parameters", RowHeaders: true, Columns: []table.Column{{Name: "parameter"}}}
	var which []int
	for i, x := range f.Parameters {
		if !x.Held && finite(x.StdErr) {
			which = append(which, i)
			t.Columns = append(t.Columns, table.Column{Name: x.Name, Right: true})
		}
	}
	if len(which) < 2 {
		return table.Table{}
	}
	for _, i := range which {
		row := []string{f.Parameters[i].Name}
		for _, j := range which {
			row = append(row, number.Fixed(f.Fit.Correlation[i][j], 3))
		}
		t.Add(row...)
	}
	return t
}

// Page shows the parameters and critical velocities.
func (f LawFit) Page() page.Page {
	var p page.Page
	if f.Bed.Law == nil {
		p.NoResult(nil, "nothing has been fitted.")
		return p
	}
	p.Heading("Parameters for " + lawName(f.Bed.Law))
	if f.Fit.Status != fit.Converged {
		p.Notice("Not a plain success, "+f.Fit.Status.String()+":", f.Fit.Reason+".")
	}
	f.add(&p)
	p.List("Cautions", []string{caution})
	return p
}

// String returns the page as text.
func (r EstimationResult) String() string { return r.Page().String() }

// String returns the page as text.
func (f LawFit) String() string { return f.Page().String() }

// Figure draws pressure and compression factor of the readings with the best law
// through them, and below by how much the pressure of each law is off.
func (r EstimationResult) Figure() figure.Stack {
	s := figure.Stack{Title: r.title(), Description: "Readings of pressure and compression factor against velocity with the best law through them; below, how far the pressure of each law is from the readings."}
	if len(r.Fits) == 0 {
		return s
	}
	x := velocityAxis()
	pressure := figure.Figure{X: x, Y: figure.Axis{Label: "Pressure", Unit: "bar", One: float64(units.Bar)}, Height: 240}
	factor := figure.Figure{X: x, Y: figure.Axis{Label: "Compression factor"}, Height: 190}
	off := figure.Figure{X: x, Y: figure.Axis{Label: "Pressure off by", Unit: "%"}, Height: 170}
	for i, c := range r.Estimation.Curves {
		points, _ := flowing(c)
		var p, cf figure.Points
		for _, y := range points {
			p.X, p.Y = append(p.X, float64(y.Velocity)), append(p.Y, float64(y.Pressure))
			cf.X, cf.Y = append(cf.X, float64(y.Velocity)), append(cf.Y, y.CompressionFactor)
		}
		pressure.Lines = append(pressure.Lines, figure.Line{Name: c.name(), Points: p, Dots: true, Bare: true})
		factor.Lines = append(factor.Lines, figure.Line{Points: cf, Dots: true, Bare: true})
		if r.Best.Bed.Law == nil {
			continue
		}
		b := r.Best.problem.bed(i, r.Best.Fit.Values())
		var mp, mcf figure.Points
		for k := range 41 {
			if y, err := b.At(c.Last().Velocity.Times(float64(k) / 40)); err == nil {
				mp.X, mp.Y = append(mp.X, float64(y.Velocity)), append(mp.Y, float64(y.Pressure))
				mcf.X, mcf.Y = append(mcf.X, float64(y.Velocity)), append(mcf.Y, y.CompressionFactor)
			}
		}
		pressure.Lines = append(pressure.Lines, figure.Line{Points: mp, Faint: true})
		factor.Lines = append(factor.Lines, figure.Line{Points: mcf, Faint: true})
	}
	for _, f := range r.Fits {
		var d figure.Points
		for i, c := range r.Estimation.Curves {
			b := f.problem.bed(i, f.Fit.Values())
			points, _ := flowing(c)
			for _, y := range points {
				if m, err := b.At(y.Velocity); err == nil {
					d.X, d.Y = append(d.X, float64(y.Velocity)), append(d.Y, 100*(m.Pressure.In(y.Pressure)-1))
				}
			}
		}
		off.Lines = append(off.Lines, figure.Line{Name: lawName(f.Bed.Law), Points: d, Dots: true, Bare: true})
	}
	if len(off.Lines) > 0 {
		off.Levels = []figure.Level{{Y: 0}}
	}
	s.Panels = []figure.Figure{pressure, factor, off}
	return s
}

// atEdge tells whether a law ran into its own critical velocity, which happens
// where the readings bend less than it must.
func (f LawFit) atEdge() bool {
	for i, c := range f.problem.e.Curves {
		if u := float64(f.Critical[i].Velocity); u < 1.03*float64(c.Last().Velocity) && !math.IsNaN(u) {
			return true
		}
	}
	return false
}
